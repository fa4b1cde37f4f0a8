/* SPDX-License-Identifier: Apache-2.0 */
/* The judge of the bus: counts on the way (judge_count.c and the parts that know more), concludes at the
 * end stage by stage, and folds what merely follows from something else under it.
 *
 * What follows from what stands in data/bus-diagnosis.csv, whose rows are in the order of diagnosis. */
#include <stdlib.h>

#include "judge.h"

struct diagnosis {
	enum ft_rule_id rule;
	const char *stage, *grade, *causes, *alike;
};

static const struct diagnosis order[] = {
#define ROW(ident, rule, stage, grade, causes, alike, source) { FT_RULE_##ident, stage, grade, causes, alike },
#include "bus-diagnosis.inc"
#undef ROW
};

static size_t place_of(enum ft_rule_id rule)
{
	size_t i = 0;

	while (i < sizeof order / sizeof *order && order[i].rule != rule)
		i++;
	return i;
}

/* ---- words for people ---- */

const char *bus_judge_text(struct bus_judge *j, const char *format, ...)
{
	va_list args;
	const char *text;

	va_start(args, format);
	text = ft_arena_vprintf(j->arena, format, args);
	va_end(args);
	if (text == NULL)
		j->failed = true;
	return text ? text : "";
}

const char *bus_judge_who(struct bus_judge *j, uint8_t address)
{
	if (address == BUS_WHOLE)
		return "the bus";
	if (address == BUS_CONTROLLER_AT)
		return "the controller";
	return bus_judge_text(j, "%s at %02XH", ft_bus_device_word(address), address);
}

const char *bus_judge_times(struct bus_judge *j, uint64_t n)
{
	return n == 1 ? "once" : n == 2 ? "twice" : bus_judge_text(j, "%llu times", (unsigned long long)n);
}

const char *bus_judge_bytes(struct bus_judge *j, const uint8_t *bytes, size_t n, size_t starred)
{
	char line[FT_BUS_BLOCK_MAX * 4 + 8];
	static const char digits[] = "0123456789ABCDEF";
	size_t to = 0, shown = n > 12 ? 10 : n; /* a finding is a sentence, not a dump */

	for (size_t i = 0; i < shown; i++) {
		if (i)
			line[to++] = ' ';
		line[to++] = digits[bytes[i] >> 4];
		line[to++] = digits[bytes[i] & 15];
		if (i == starred)
			line[to++] = '*';
	}
	line[to] = 0;
	return shown < n ? bus_judge_text(j, "%s ... (%zu bytes)", line, n) : bus_judge_text(j, "%s", line);
}

const char *bus_judge_seconds(struct bus_judge *j, int64_t ns)
{
	return bus_judge_text(j, "%lld.%03lld s", (long long)(ns / BUS_NS_PER_S),
	                      (long long)(ns % BUS_NS_PER_S / BUS_NS_PER_MS));
}

const char *bus_judge_ms(struct bus_judge *j, int64_t ns)
{
	int64_t tenths = (ns + BUS_NS_PER_MS / 20) / (BUS_NS_PER_MS / 10);

	if (ns >= BUS_NS_PER_S)
		return bus_judge_seconds(j, ns);
	return bus_judge_text(j, "%lld.%lld ms", (long long)(tenths / 10), (long long)(tenths % 10));
}

const char *bus_judge_units(struct bus_judge *j, uint8_t address, uint64_t units)
{
	const struct ft_bus_setup *s = &j->report->devices[address >> 3].setup;
	char text[FT_MONEY_TEXT];

	if (!s->known || s->decimals > 4)
		return bus_judge_text(j, "%llu units", (unsigned long long)units);
	return bus_judge_text(j, "%s", ft_money_text((int64_t)(units * s->scale), s->decimals, text));
}

/* ---- what is known of devices ---- */

bool bus_judge_is_reader(uint8_t address)
{
	return address == BUS_READER_AT || address == BUS_READER_2_AT;
}

/* MDB/ICP 5, 6 and the hoppers poll with the fourth command, the others with the third. */
uint8_t bus_judge_poll(uint8_t address)
{
	return address == BUS_CHANGER_AT || address == BUS_VALIDATOR_AT || address == 0x58 || address == 0x70 ? 3 : 2;
}

int64_t bus_judge_patience(const struct bus_judge *j, const struct ft_bus_report *r, uint8_t address)
{
	int64_t ms = BUS_LIM_OTHER_SILENT_MS, said = 0;

	(void)j;
	if (address == BUS_CHANGER_AT)
		ms = BUS_LIM_CHANGER_SILENT_MS;
	else if (address == BUS_VALIDATOR_AT)
		ms = BUS_LIM_VALIDATOR_SILENT_MS;
	else if (address == 0x58 || address == 0x70)
		ms = BUS_LIM_HOPPER_SILENT_MS;
	if (bus_judge_is_reader(address)) {
		ms = BUS_LIM_READER_SILENT_MS;
		said = r->devices[address >> 3].setup.max_response_s * 1000;
	}
	return (said > ms ? said : ms) * BUS_NS_PER_MS;
}

uint64_t bus_judge_share(uint64_t part, uint64_t whole)
{
	return whole ? part * 10000 / whole : 0;
}

/* ---- hits ---- */

struct bus_hit *bus_hit(struct bus_judge *j, enum ft_rule_id rule, uint8_t address, int64_t at_ns, const char *seen)
{
	size_t place = place_of(rule);
	struct bus_hit *h = &j->hits[j->hit_count < BUS_HITS_MAX ? j->hit_count++ : BUS_HITS_MAX];

	j->failed = j->failed || h == &j->hits[BUS_HITS_MAX];

	*h =
		(struct bus_hit){ rule, address, ft_rule(rule)->weight, at_ns, seen, NULL, NULL, NULL, NULL, FT_RULE_NONE, -1 };
	if (place < sizeof order / sizeof *order) {
		h->grade = order[place].grade;
		h->alike = order[place].alike;
	}
	return h;
}

const struct bus_hit *bus_hit_of(const struct bus_judge *j, enum ft_rule_id rule, uint8_t address)
{
	for (size_t i = 0; i < j->hit_count; i++)
		if (j->hits[i].rule == rule && (j->hits[i].address == address || address == BUS_WHOLE))
			return &j->hits[i];
	return NULL;
}

static int cause_of_rule(const struct bus_judge *j, size_t effect, enum ft_rule_id cause)
{
	for (size_t i = 0; i < j->hit_count; i++) {
		const struct bus_hit *h = &j->hits[i];
		/* What the controller sends reaches all; a late answer spoils the command of whoever comes next. */
		bool reaches = h->address == BUS_WHOLE || h->address == BUS_CONTROLLER_AT ||
			cause == FT_RULE_BUS_LATE_OVERLAP || h->address == j->hits[effect].address ||
			j->hits[effect].because == cause;
		if (i != effect && h->rule == cause && reaches && h->weight > FT_NOTE)
			return (int)i;
	}
	return -1;
}

/* The first of a rule's causes, in the order of the table, that was found on the same address or on the
 * whole bus. A note explains nothing. */
static int cause_of(const struct bus_judge *j, size_t effect)
{
	const struct bus_hit *h = &j->hits[effect];
	size_t place = place_of(h->rule);
	struct ft_slice rest, name;

	if (h->because != FT_RULE_NONE)
		return cause_of_rule(j, effect, h->because);
	rest = ft_slice_of(place < sizeof order / sizeof *order ? order[place].causes : "");
	while (rest.n && ft_slice_split(&rest, ' ', &name)) {
		const struct ft_rule *r = ft_rule_by_name(name);
		for (int i = 0; r && i < FT_RULE_COUNT; i++) {
			int found = ft_rule((enum ft_rule_id)i) == r ? cause_of_rule(j, effect, (enum ft_rule_id)i) : -1;
			if (found >= 0)
				return found;
		}
	}
	return -1;
}

/* The root takes the heaviest weight of what is folded under it, so folding never makes a verdict lighter. */
static void fold(struct bus_judge *j)
{
	for (size_t i = 0; i < j->hit_count; i++)
		j->hits[i].cause = cause_of(j, i);
	for (size_t i = 0; i < j->hit_count; i++) {
		int up = j->hits[i].cause;
		for (size_t step = 0; up >= 0 && up != (int)i && step < BUS_HITS_MAX; step++)
			up = j->hits[up].cause;
		if (up >= 0)
			j->hits[i].cause = -1; /* nothing explains itself */
	}
	for (size_t i = 0; i < j->hit_count; i++) {
		int root = j->hits[i].cause;
		for (size_t step = 0; root >= 0 && j->hits[root].cause >= 0 && step < BUS_HITS_MAX; step++)
			root = j->hits[root].cause;
		if (root >= 0 && j->hits[root].weight < j->hits[i].weight)
			j->hits[root].weight = j->hits[i].weight;
	}
}

static void tell(struct bus_judge *j, const struct bus_hit *h, const char *name, struct ft_findings *f)
{
	struct ft_where where = { .file = name };
	const char *seen;
	struct ft_finding *x;

	if (h->address != BUS_WHOLE)
		where.element = bus_judge_who(j, h->address);
	if (h->at_ns >= 0) {
		where.timed = true;
		where.at_us = h->at_ns / BUS_NS_PER_US;
	}
	if (h->alike && *h->alike && h->cause < 0)
		seen = bus_judge_text(j, "%s (%s; %s: %s)", h->seen, h->grade,
		                      strstr(h->alike, "cannot tell") ? "behind it may be" : "looks the same", h->alike);
	else
		seen = bus_judge_text(j, "%s (%s)", h->seen, h->grade);
	x = ft_find(f, h->rule, where, seen, h->expected);
	if (h->todo)
		x->todo = h->todo;
	if (where.element)
		x->todo = bus_judge_text(j, "%s: %s", where.element, x->todo);
	if (h->cause >= 0)
		ft_finding_follow(f, x, j->hits[h->cause].rule);
	else
		ft_finding_weigh(f, x, h->weight);
}

static void tell_under(struct bus_judge *j, size_t i, const char *name, struct ft_findings *f, unsigned depth)
{
	tell(j, &j->hits[i], name, f);
	for (size_t k = 0; k < j->hit_count && depth < FT_BUS_ADDRESSES; k++)
		if (j->hits[k].cause == (int)i)
			tell_under(j, k, name, f, depth + 1);
}

/* In the order of diagnosis; what is only noted comes behind what must be done. */
static void tell_all(struct bus_judge *j, const char *name, struct ft_findings *f, bool notes)
{
	for (size_t k = 0; k < sizeof order / sizeof *order; k++)
		for (size_t i = 0; i < j->hit_count; i++)
			if (j->hits[i].rule == order[k].rule && j->hits[i].cause < 0 && notes == (j->hits[i].weight == FT_NOTE))
				tell_under(j, i, name, f, 0);
}

/* ---- the room's face ---- */

enum ft_status bus_judge_new(const struct ft_bus_options *o, struct ft_arena *a, struct bus_judge **ret,
                             struct ft_error *e)
{
	struct bus_judge *j = FT_NEW(a, struct bus_judge);

	if (j)
		j->hits = FT_NEW_ARRAY(a, BUS_HITS_MAX + 1, struct bus_hit); /* the last one is lent when all are taken */
	if (j == NULL || j->hits == NULL)
		return ft_fail(e, FT_E_MEMORY, "There is no memory to judge the bus. Close other programs and try again.");
	j->options = o;
	j->arena = a;
	j->load_ns = -1;
	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		struct bus_at *at = &j->at[i];
		at->last_start_ns = at->last_poll_ns = at->first_ns = at->last_ns = -1;
		bus_judge_setting_init(&at->set);
	}
	*ret = j;
	return FT_OK;
}

void bus_judge_item(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_item *i)
{
	bus_judge_link_item(j, r, i);
	j->answer_first = i->kind == FT_BUS_EXCHANGE ? i->exchange.answer.bytes[0] : 0;
	if (i->kind == FT_BUS_BUS_RESET && i->line == FT_BUS_CONTROLLER) {
		bus_judge_setup_break(j, i->block.start_ns);
	} else if (i->kind == FT_BUS_EXCHANGE && i->exchange.command.count && i->exchange.command.checksum_ok &&
	           i->exchange.command.framing_errors == 0) {
		bus_judge_restart_exchange(j, r, &i->exchange);
		bus_judge_setup_exchange(j, r, &i->exchange);
		bus_judge_sale_exchange(j, r, &i->exchange);
	}
}

void bus_judge_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e)
{
	struct bus_at *at = bus_at(j, e->address);

	if (e->repeated) {
		bus_count(&at->repeated, e->at_ns);
		return;
	}
	/* A zero behind another message of a reader is a byte too many and no JUST RESET. */
	if (e->kind == FT_BUS_EV_WAS_RESET && bus_judge_is_reader(e->address) && j->answer_first != 0)
		return;
	bus_judge_restart_event(j, r, e);
	bus_judge_setup_event(j, r, e);
	bus_judge_sale_event(j, r, e);
}

void bus_judge_end(struct bus_judge *j, const struct ft_bus_report *r, const char *name, struct ft_findings *f)
{
	j->report = r;
	j->timed = r->timing_known && !j->options->timing_unknown;
	j->hit_count = 0;
	for (unsigned a = 0x08; a < 0x100; a += 8)
		bus_judge_clocks(j, r, (uint8_t)a, r->end_ns);
	bus_judge_tool(j);
	bus_judge_alive(j);
	bus_judge_electrical(j);
	bus_judge_timing(j);
	bus_judge_presence(j);
	bus_judge_restarts(j);
	bus_judge_setup(j);
	bus_judge_sale(j);
	fold(j);
	tell_all(j, name, f, false);
	tell_all(j, name, f, true);
	if (j->failed)
		f->dropped++; /* a text is missing: the verdict may not say shown */
}
