/* SPDX-License-Identifier: Apache-2.0 */
/* How each claim is decided. A claim begins open; what is found may show or contradict it; a word
 * may show it where the table says so; a waiver covers whatever is not shown. */
#include <stdio.h>

#include "judge.h"

#include "fettle/ident.h"

#define CLOCK_MARGIN (15 * 60 * FT_SECOND) /* our own choice: what a fitter's watch and the reading may differ by */

static const char *text(struct judging *j, const char *format, ...) __attribute__((format(printf, 2, 3)));
static const char *text(struct judging *j, const char *format, ...)
{
	va_list args;
	const char *t;

	va_start(args, format);
	t = ft_arena_vprintf(j->a, format, args);
	va_end(args);
	j->no_room |= !t;
	return t ? t : "";
}

static void stand(struct ft_claim_state *c, enum ft_stands s, const char *because)
{
	c->stands = s;
	c->because = because;
}

/* Adds an index to a list in the arena, once. */
static void add_index(struct judging *j, const int **list, size_t *count, size_t most, int index)
{
	int *own;

	for (size_t i = 0; i < *count; i++)
		if ((*list)[i] == index)
			return;
	own = FT_NEW_ARRAY(j->a, *count + 1, int);
	if (!own || *count >= most) {
		j->no_room |= !own;
		return;
	}
	if (*count)
		memcpy(own, *list, *count * sizeof *own);
	own[(*count)++] = index;
	*list = own;
}

static void rest_on(struct judging *j, struct ft_claim_state *c, int evidence)
{
	if (evidence >= 0)
		add_index(j, &c->evidence, &c->evidence_count, j->v->evidence_count, evidence);
}

static size_t rest_on_kind(struct judging *j, struct ft_claim_state *c, enum ft_evidence_kind k, int stage)
{
	size_t n = 0;

	for (size_t i = 0; i < j->v->evidence_count; i++) {
		if (j->v->evidence[i].kind == k && (stage < 0 || (int)j->v->evidence[i].stage == stage)) {
			rest_on(j, c, (int)i);
			n++;
		}
	}
	return n;
}

struct heaviest {
	const struct ft_finding *one; /* the first of the heaviest */
	size_t faults, doubts;
};

enum { CITED_MAX = 40 }; /* ours: what a person reads under one claim; the rest stands in the whole list */

/* Cites the findings of a run by the given rules (FT_RULE_NONE ends them; NULL: all) that weigh a doubt or more. */
static struct heaviest cite(struct judging *j, struct ft_claim_state *c, const struct judge_span *run,
                            const enum ft_rule_id *rules)
{
	struct heaviest h = { 0 };

	for (int i = run->from; i < run->to; i++) {
		const struct ft_finding *f = &j->g->findings.list[i];
		const enum ft_rule_id *r = rules;
		while (r && *r != FT_RULE_NONE && *r != f->rule)
			r++;
		if ((r && *r == FT_RULE_NONE) || f->weight == FT_NOTE)
			continue;
		add_index(j, &c->findings, &c->finding_count, CITED_MAX, i);
		if (!h.one || (f->weight == FT_FAULT && h.one->weight != FT_FAULT))
			h.one = f;
		h.faults += f->weight == FT_FAULT;
		h.doubts += f->weight == FT_DOUBT;
	}
	return h;
}

/* "the check value does not fit its bytes: 1A2B, should be 3C4D" */
static const char *in_words(struct judging *j, const struct ft_finding *f)
{
	const char *sentence = ft_rule(f->rule)->sentence;
	bool device =
		f->where.element && strncmp(ft_rule(f->rule)->id, "bus.", 4) == 0; /* elsewhere it is an element's name */
	const char *where = f->where.selection ? text(j, "selection %s: ", f->where.selection)
		: device                           ? text(j, "%s: ", f->where.element)
										   : "";

	if (f->seen && f->expected)
		return text(j, "%s%s: seen %s, expected %s", where, sentence, f->seen, f->expected);
	return f->seen ? text(j, "%s%s: %s", where, sentence, f->seen) : text(j, "%s%s", where, sentence);
}

/* Faults contradict, doubts leave open. True when it was decided. */
static bool against(struct judging *j, struct ft_claim_state *c, struct heaviest h)
{
	size_t more = h.faults + h.doubts;
	const char *words;

	if (!h.one && !j->g->findings.dropped)
		return false;
	if (!h.one) { /* the very fault may be among those that were dropped */
		stand(c, FT_STANDS_OPEN, "So much was found in the evidence that not all of it could be listed.");
		c->todo = "check each audit by itself; a file like this hardly comes from a machine";
		return true;
	}
	words = in_words(j, h.one);
	stand(c, h.faults ? FT_STANDS_CONTRADICTED : FT_STANDS_OPEN,
	      more > 1 ? text(j, "%s; and %zu more.", words, more - 1) : text(j, "%s.", words));
	/* in a visit the two are swapped by their stages */
	c->todo = h.one->rule == FT_RULE_LEDGER_ORDER && h.one->weight == FT_FAULT
		? "file the older one as that of before: fettle visit add VISIT --stage keep FILE"
		: h.one->todo;
	return true;
}

static void decide_audit(struct judging *j, struct ft_claim_state *c, const struct judge_audit *r)
{
	static const enum ft_rule_id rules[] = {
		FT_RULE_AUDIT_CRC,       FT_RULE_AUDIT_SEGMENT_COUNT, FT_RULE_AUDIT_CONTROL_NUMBER, FT_RULE_AUDIT_BAD_NUMBER,
		FT_RULE_AUDIT_TRUNCATED, FT_RULE_AUDIT_EMPTY,         FT_RULE_VISIT_UNREADABLE,     FT_RULE_NONE
	};
	const char *name;

	if (r->evidence < 0)
		return;
	name = j->v->evidence[r->evidence].name;
	rest_on(j, c, r->evidence);
	if (against(j, c, cite(j, c, &r->found, rules)) || !r->facts)
		return;
	if (r->check.whole && r->check.crc_stated && r->check.crc_sound)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%s: %lld segments, check value %04X fits.", name, (long long)r->check.count_computed,
		           r->check.computed));
	else if (r->check.whole && r->check.count_stated != FT_ABSENT)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%s: all %lld segments are there; the machine sends no check value.", name,
		           (long long)r->check.count_computed));
	else
		stand(c, FT_STANDS_OPEN,
		      text(j, "%s carries neither check value nor count, so nothing tells whether it is whole.", name));
}

/* Letters and digits alone count, as people write HL-0932, HL 0932 and hl0932. Blank, or nothing but zeros: nobody ever
 * keyed it in. */
static bool asset_plain(struct ft_slice s, char out[65])
{
	size_t n = 0;
	bool any = false;

	for (size_t i = 0; i < s.n && n < 64; i++) {
		char ch = s.p[i];
		if (!ft_is_digit(ch) && !ft_is_upper(ch & ~0x20) && (unsigned char)ch < 0x80)
			continue;
		any |= ch != '0';
		out[n++] = (char)(ch >= 'a' && ch <= 'z' ? ch - 'a' + 'A' : ch);
	}
	out[n] = 0;
	return any;
}

/* The machine may be left without its number, or with that of an earlier place: another one is a doubt, but the serial
 * number on the plate decides which machine it is. */
static void find_other_asset(struct judging *j, const struct judge_audit *r)
{
	struct ft_slice seen = ft_slice_trim(r->summary->asset);
	char own[65], meant[65];

	if (!asset_plain(seen, own) || !asset_plain(ft_slice_of(j->v->asset), meant) || strcmp(own, meant) == 0)
		return;
	ft_find(&j->g->findings, FT_RULE_VISIT_ASSET_DIFFERS,
	        (struct ft_where){ .file = j->v->evidence[r->evidence].name, .element = "ID106" },
	        text(j, "%.*s", FT_P(seen)), j->v->asset);
}

static void decide_machine(struct judging *j, struct ft_claim_state *c)
{
	const struct judge_audit *r = j->after.facts ? &j->after : &j->before;
	static const enum ft_rule_id by_serial[] = { FT_RULE_VISIT_SERIAL_DIFFERS, FT_RULE_NONE };
	static const enum ft_rule_id by_asset[] = { FT_RULE_VISIT_ASSET_DIFFERS, FT_RULE_NONE };
	const char *meant = j->v->machine_serial, *asset = "";
	struct judge_span found = { .from = (int)j->g->findings.count };
	struct ft_slice serial;
	struct heaviest h, other;

	if (!r->facts)
		return;
	serial = ft_slice_trim(r->summary->serial);
	find_other_asset(j, r);
	if (meant && serial.n && !ft_slice_eq_nocase(serial, ft_slice_trim(ft_slice_of(meant))))
		ft_find(&j->g->findings, FT_RULE_VISIT_SERIAL_DIFFERS,
		        (struct ft_where){ .file = j->v->evidence[r->evidence].name, .element = "ID101" },
		        text(j, "%.*s", FT_P(serial)), meant);
	found.to = (int)j->g->findings.count;
	if (serial.n || found.to > found.from)
		rest_on(j, c, r->evidence);
	h = cite(j, c, &found, by_serial);
	other = cite(j, c, &found, by_asset);
	if (other.one)
		asset = text(j, " It says asset %s, the visit is for %s.", other.one->seen, j->v->asset);
	if (!serial.n) {
		against(j, c, other);
		return;
	}
	if (meant) {
		if (!against(j, c, h))
			stand(c, FT_STANDS_SHOWN,
			      text(j, "The audit names the machine %s, which is the one that was meant.%s", meant, asset));
		return;
	}
	stand(c, FT_STANDS_OPEN,
	      text(j, "The audit names the machine %.*s; no serial number was given for the visit.%s", FT_P(serial),
	           asset));
	c->todo = text(j, "compare it with the plate and give it: fettle visit set %s --machine-serial S", j->v->id);
}

static void decide_prices_kept(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_summary *s = j->before.facts ? j->before.summary : NULL;
	size_t priced = 0;

	if (!s)
		return;
	rest_on(j, c, j->before.evidence);
	for (size_t i = 0; i < s->selection_count; i++)
		priced += s->selections[i].price != FT_ABSENT;
	if (s->selection_count && priced == s->selection_count)
		stand(c, FT_STANDS_SHOWN, text(j, "%zu selections with their prices stand in the audit of before.", priced));
	else if (s->selection_count)
		stand(c, FT_STANDS_OPEN,
		      text(j, "%zu of %zu selections in the audit of before have no price.", s->selection_count - priced,
		           s->selection_count));
	else
		stand(c, FT_STANDS_OPEN, "This machine's audit lists no selections.");
}

/* What a cut audit lacks says nothing about the machine. True when one of the two is cut, and then it was said. */
static bool cut_off(struct judging *j, struct ft_claim_state *c, bool before_too)
{
	const struct judge_audit *r = before_too && j->before.facts && !j->before.check.whole ? &j->before : &j->after;

	if (!r->facts || r->check.whole)
		return false;
	stand(c, FT_STANDS_OPEN,
	      text(j, "%s stops before its end, and what it lacks tells nothing.", j->v->evidence[r->evidence].name));
	c->todo = ft_rule(FT_RULE_AUDIT_TRUNCATED)->todo;
	return true;
}

static bool two_audits(struct judging *j, struct ft_claim_state *c)
{
	rest_on(j, c, j->before.evidence);
	rest_on(j, c, j->after.evidence);
	if (!j->comparison)
		cut_off(j, c, true);
	return j->comparison != NULL;
}

static void decide_meters(struct judging *j, struct ft_claim_state *c)
{
	static const enum ft_rule_id rules[] = { FT_RULE_LEDGER_METER_FELL,
		                                     FT_RULE_LEDGER_METER_WRAPPED,
		                                     FT_RULE_LEDGER_ORDER,
		                                     FT_RULE_LEDGER_OTHER_MACHINE,
		                                     FT_RULE_LEDGER_SERIAL_CHANGED,
		                                     FT_RULE_LEDGER_RESET_WITHOUT_COUNT,
		                                     FT_RULE_NONE };

	if (!two_audits(j, c) || against(j, c, cite(j, c, &j->compare_found, rules)))
		return;
	stand(c, FT_STANDS_SHOWN, "No counter is lower than in the audit of before and none went missing.");
}

/* A change is settled by a word for it; until then its finding speaks. */
static void decide_unchanged(struct judging *j, struct ft_claim_state *c, const enum ft_rule_id *rules,
                             const char *same)
{
	struct heaviest h;

	if (!two_audits(j, c))
		return;
	h = cite(j, c, &j->compare_found, rules);
	if (h.one && c->said)
		stand(c, FT_STANDS_SHOWN, text(j, "%zu changed, and it was said why: %s", h.faults + h.doubts, c->said->text));
	else if (!against(j, c, h))
		stand(c, FT_STANDS_SHOWN, same);
}

static bool proved_anew(const struct judging *j)
{
	return j->g->proved_from >= 0 && j->g->proved_from != j->before.evidence;
}

/* The two audits around the sales and the lists that count; the number of lists. */
static size_t rest_on_proof(struct judging *j, struct ft_claim_state *c)
{
	size_t n = 0;

	rest_on(j, c, proved_anew(j) ? j->g->proved_from : j->before.evidence);
	rest_on(j, c, j->after.evidence);
	for (size_t i = proved_anew(j) ? (size_t)j->g->proved_from : 0; i < j->v->evidence_count; i++) {
		if (j->v->evidence[i].kind == FT_EVIDENCE_SALES) {
			rest_on(j, c, (int)i);
			n++;
		}
	}
	for (size_t i = 0; j->proof && i < j->g->capture_count; i++) {
		const struct ft_visit_capture *x = &j->g->captures[i];
		if (!x->unreadable && x->account.sale_count && (!proved_anew(j) || x->evidence > j->g->proved_from))
			rest_on(j, c, x->evidence);
	}
	return n;
}

static void decide_sales(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_proof *p = j->proof;
	struct heaviest h;

	if (!rest_on_proof(j, c) && !j->g->sold_by_bus) {
		if (j->bus_unproved)
			stand(c, FT_STANDS_OPEN,
			      "The bus saw sales, but the counters tell of others as well or do not show them all.");
		return;
	}
	if (against(j, c, cite(j, c, &j->sales_found, NULL)))
		return;
	if (!j->comparison && cut_off(j, c, true))
		return;
	if (!j->comparison) {
		stand(c, FT_STANDS_OPEN, "A list of sales is here, but not the two audits around it.");
		c->todo = "read the audit again and add it";
		return;
	}
	h = cite(j, c, &j->prove_found, NULL);
	if (!p) {
		if (!against(j, c, h))
			stand(c, FT_STANDS_OPEN, "The list of sales names no sale.");
		return;
	}
	if (p->verdict == FT_SHOWN && p->agree == 1) {
		const char *sold =
			text(j, "%zu sales moved %zu counters exactly as they must.", j->sale_count, p->counter_count);
		if (j->g->sold_by_bus)
			sold = text(j, "%s They were seen on the bus (%s).", sold, j->g->sold_by_bus->name);
		if (proved_anew(j))
			sold = text(j, "%s They were made after %s; what was sold before it told: %s.", sold,
			            j->v->evidence[j->g->proved_from].name,
			            j->story_before ? j->story_before : "counters that moved otherwise");
		stand(c, FT_STANDS_SHOWN, sold);
		return;
	}
	if (p->agree == 0 && p->story_count) {
		stand(c, p->verdict == FT_CONTRADICTED ? FT_STANDS_CONTRADICTED : FT_STANDS_OPEN,
		      text(j, "%zu of %zu counters moved otherwise. The simplest story: %s.", p->wrong_count, p->counter_count,
		           p->stories[0].detail));
		c->todo = h.one ? h.one->todo : "mend it and sell again";
		return;
	}
	if (!against(j, c, h))
		stand(c, FT_STANDS_OPEN, "The machine's counters cannot tell whether each sale was counted.");
}

static void decide_sold(struct judging *j, struct ft_claim_state *c, const char *word)
{
	size_t n = 0;

	for (size_t i = 0; i < j->sale_count; i++) {
		const char *paid = ft_paid_word(j->sales[i].paid_with);
		n += strncmp(paid, word, strlen(word)) == 0;
	}
	if (!n)
		return;
	rest_on_proof(j, c);
	if (j->proof && j->proof->verdict == FT_SHOWN && j->proof->agree == 1)
		stand(c, FT_STANDS_SHOWN, text(j, "%zu such sale%s moved the right counters.", n, n == 1 ? "" : "s"));
	else {
		stand(c, FT_STANDS_OPEN,
		      text(j, "%zu such sale%s in the list, but the counters do not bear it out yet.", n,
		           n == 1 ? " is" : "s are"));
		c->todo = "settle prove.sales first";
	}
}

static bool is_cash_identity(const char *id)
{
	static const char *const cash[] = { "A2 ", "A3 ", "A4 ", "A12", "A13", "A14", "A15" };

	for (size_t i = 0; i < sizeof cash / sizeof *cash; i++)
		if (strncmp(id, cash[i], strlen(cash[i])) == 0)
			return true;
	return strcmp(id, "A2") == 0 || strcmp(id, "A3") == 0 || strcmp(id, "A4") == 0;
}

static void decide_cash(struct judging *j, struct ft_claim_state *c)
{
	static const enum ft_rule_id rules[] = { FT_RULE_AUDIT_CASH_IN, FT_RULE_AUDIT_CASH_PATHS, FT_RULE_AUDIT_TUBES,
		                                     FT_RULE_NONE };
	struct ft_identity *list = FT_NEW_ARRAY(j->a, FT_IDENTITIES_MAX, struct ft_identity);
	size_t count, holds = 0;
	bool sold = false;
	struct heaviest h;

	if (!j->after.facts || !list)
		return;
	rest_on(j, c, j->after.evidence);
	for (size_t i = 0; i < j->sale_count; i++)
		sold |= j->sales[i].paid_with == FT_PAID_COIN || j->sales[i].paid_with == FT_PAID_BILL;
	count = ft_audit_identities(j->after.facts, list);
	for (size_t i = 0; i < count; i++)
		holds += list[i].stands == FT_HOLDS && is_cash_identity(list[i].id);
	h = cite(j, c, &j->after.found, rules);
	/* A constant from long ago may keep the lifetime form from closing; between the two reads it cancels out. */
	if (h.one && !h.faults && sold && j->proof && j->proof->verdict == FT_SHOWN && j->proof->agree == 1) {
		rest_on(j, c, j->g->proved_from);
		stand(c, FT_STANDS_SHOWN, "The lifetime counters do not close, but what moved between the two reads does.");
		return;
	}
	if (against(j, c, h) || (!holds && cut_off(j, c, false)))
		return;
	if (holds)
		stand(c, FT_STANDS_SHOWN, text(j, "%zu cash identities of the audit of after hold.", holds));
	else
		stand(c, FT_STANDS_OPEN, "The machine does not report enough of its cash to tell.");
}

static void decide_clock(struct judging *j, struct ft_claim_state *c)
{
	const struct judge_audit *r = &j->after;
	const struct ft_evidence *x = r->facts ? &j->v->evidence[r->evidence] : NULL;
	char from[FT_TIME_TEXT], to[FT_TIME_TEXT];
	int64_t clock;

	if (!x)
		return;
	rest_on(j, c, r->evidence);
	if (!r->summary->clock[0] && cut_off(j, c, false))
		return;
	if (!r->summary->clock[0] || !ft_time_parse(ft_slice_of(r->summary->clock), j->v->opened_offset, &clock)) {
		stand(c, FT_STANDS_OPEN,
		      "The audit of after carries no time: the clock was never set, or the machine has none.");
		return;
	}
	if (clock >= j->v->opened_us - CLOCK_MARGIN && clock <= x->added_us + CLOCK_MARGIN) {
		stand(c, FT_STANDS_SHOWN,
		      text(j, "The machine's clock said %s, within the time of the visit.", r->summary->clock));
		return;
	}
	ft_time_text(j->v->opened_us, j->v->opened_offset, from);
	ft_time_text(x->added_us, j->v->opened_offset, to);
	ft_find(&j->g->findings, FT_RULE_VISIT_CLOCK_OFF, (struct ft_where){ .file = x->name, .element = "ID501" },
	        text(j, "%s", r->summary->clock), text(j, "%.19s to %.19s", from, to));
	against(j, c, cite(j, c, &(struct judge_span){ (int)j->g->findings.count - 1, (int)j->g->findings.count }, NULL));
}

/* A SIM is known by its card number; a unit's number may be of its maker's own making and is checked where it has
 * the form of one with a check digit. */
static void check_numbers(struct judging *j)
{
	struct ft_findings *f = &j->g->findings;
	enum ft_ident_kind kind;
	struct ft_ident parts;

	if (j->v->sim)
		ft_ident(FT_IDENT_ICCID, ft_slice_of(j->v->sim), (struct ft_where){ .element = "SIM" }, f, &parts);
	if (j->v->unit && ft_ident_guess(ft_slice_of(j->v->unit), &kind))
		ft_ident(kind, ft_slice_of(j->v->unit), (struct ft_where){ .element = "unit" }, f, &parts);
}

static void decide_numbers(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_visit *v = j->v;
	struct judge_span found = { .from = (int)j->g->findings.count };

	check_numbers(j);
	found.to = (int)j->g->findings.count;
	for (int i = found.from; i < found.to; i++) /* no words show this claim; what stands on the card is waived */
		if (j->g->findings.list[i].rule == FT_RULE_NUMBER_CHECK_DIGIT_CARD)
			j->g->findings.list[i].todo =
				text(j, "read it again off the card; if it reads the same: fettle visit waive %s %s --because \"%s\"",
			         v->id, c->claim->id, "the card reads so");
	if (against(j, c, cite(j, c, &found, NULL)))
		return;
	if (v->unit && v->sim)
		stand(c, FT_STANDS_SHOWN, text(j, "Asset %s, unit %s, SIM %s.", v->asset, v->unit, v->sim));
	else
		stand(c, FT_STANDS_OPEN,
		      text(j, "%s not recorded.",
		           v->unit      ? "The SIM is"
		               : v->sim ? "The unit is"
		                        : "Unit and SIM are"));
}

static void decide_photographs(struct judging *j, struct ft_claim_state *c, enum ft_stage stage)
{
	size_t n = rest_on_kind(j, c, FT_EVIDENCE_PHOTOGRAPH, (int)stage);

	if (n)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%zu photograph%s filed under %s.", n, n == 1 ? " is" : "s are", ft_stage_word(stage)));
}

/* The slowest answer of all peripherals, and how many of them there are. */
static int64_t slowest(const struct ft_bus_report *r, size_t *ret_present, uint64_t *ret_answers)
{
	int64_t most = -1;

	*ret_present = 0;
	*ret_answers = 0;
	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		*ret_present += d->answered > 0;
		*ret_answers += d->answered;
		if (d->response.count && d->response.max_ns > most)
			most = d->response.max_ns;
	}
	return most;
}

/* The last capture that can be read decides; an earlier one may show what was mended since, and is told. */
static void decide_bus(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_visit_capture *x = ft_visit_capture_last(j->g->captures, j->g->capture_count), *earlier = NULL;
	size_t present;
	uint64_t answers;
	int64_t most;
	const char *told = "", *name;

	for (size_t i = 0; i < j->g->capture_count; i++)
		if (!x || (&j->g->captures[i] < x && j->g->captures[i].verdict == FT_CONTRADICTED))
			earlier = &j->g->captures[i];
	if (!x) {
		rest_on_kind(j, c, FT_EVIDENCE_BUS, -1);
		against(j, c, cite(j, c, &j->bus_found, NULL));
		return;
	}
	rest_on(j, c, x->evidence);
	name = j->v->evidence[x->evidence].name;
	most = slowest(&x->report, &present, &answers);
	if (x->verdict != FT_SHOWN) {
		if (!against(j, c, cite(j, c, &j->bus_found, NULL)))
			stand(c, FT_STANDS_OPEN,
			      text(j, "%s shows too little: %zu peripheral%s answered %llu time%s%s.", name, present,
			           present == 1 ? "" : "s", (unsigned long long)answers, answers == 1 ? "" : "s",
			           x->report.timing_known ? "" : ", and it tells no times"));
		return;
	}
	if (earlier)
		told =
			text(j, " In %s before it something was wrong, and it is mended.", j->v->evidence[earlier->evidence].name);
	stand(c, FT_STANDS_SHOWN,
	      text(j, "%s: %zu peripheral%s answered %llu times, the slowest after %lld.%02lld ms of the 5 ms it has.%s",
	           name, present, present == 1 ? "" : "s", (unsigned long long)answers, (long long)(most / 1000000),
	           (long long)(most / 10000 % 100), told));
}

static void decide_fits(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_survey_machine *m = j->fits;
	size_t certain = 0;

	if (j->fits_evidence < 0)
		return;
	rest_on(j, c, j->fits_evidence);
	if (against(j, c, cite(j, c, &j->fits_found, NULL)))
		return;
	if (!m) {
		stand(c, FT_STANDS_OPEN, "A survey row is here, but not the catalogue that it is held against.");
		c->todo = "make the record with fettle survey --asset --record and add it, or say what was looked at";
		return;
	}
	for (size_t i = 0; i < m->item_count; i++)
		certain += m->kit[i].chance >= 1;
	stand(c, FT_STANDS_SHOWN,
	      text(j, "%s: %zu parts are certain and %zu may be needed, %.0f minutes give or take %.0f.",
	           m->fit == FT_FIT_READY ? "Ready" : "With parts", certain, m->item_count - certain, m->minutes,
	           m->spread_min));
}

static void decide_signal(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_signal_result *r = j->signal;

	if (j->signal_evidence >= 0)
		rest_on(j, c, j->signal_evidence);
	if (!against(j, c, cite(j, c, &j->signal_found, NULL)) && r && r->judged >= 0)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%.1f dBm at %s, %.1f dB above what is needed, and above it %.0f %% of the time.",
		           r->places[r->judged].mean, j->survey.positions[r->judged], r->places[r->judged].margin,
		           100 * r->places[r->judged].share_above));
}

static void decide_supply(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_supply_result *r = j->supply;

	if (j->supply_evidence >= 0)
		rest_on(j, c, j->supply_evidence);
	if (!against(j, c, cite(j, c, &j->supply_found, NULL)) && r)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%.2f V above the least at %s at the worst peak, and %.0f mA more could be drawn at %s.",
		           r->margin_v, j->chain.devices[r->weakest].name, r->margin_ma, j->chain.devices[r->place].name));
}

static void decide_door(struct judging *j, struct ft_claim_state *c)
{
	const struct ft_door_result *r = j->door;
	struct heaviest found;

	rest_on_kind(j, c, FT_EVIDENCE_DOOR, -1);
	if (r)
		rest_on(j, c, j->door_events);
	found = cite(j, c, &j->door_found, NULL);
	if (against(j, c, found) || (!r && j->door_marks < 0 && j->door_events < 0))
		return;
	if (r)
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%zu of %zu marks were told, the latest %lld s after the door moved.", r->matched, r->marks,
		           (long long)(r->delay_max_us / 1000000)));
	else
		stand(c, FT_STANDS_OPEN,
		      j->door_marks < 0 ? "What was told of the door is here, but no marks made at it."
		                        : "The marks made at the door are here, but nothing that tells of it.");
	if (!r)
		c->todo = j->door_marks < 0 ? "mark openings and closings with fettle door --mark and add the file"
									: "add the events that the unit or its office tells";
}

static void decide_cold(struct judging *j, struct ft_claim_state *c)
{
	const char *holds;

	if (j->cold_evidence >= 0)
		rest_on(j, c, j->cold_evidence);
	if (against(j, c, cite(j, c, &j->cold_found, NULL)) || !j->cold)
		return;
	holds = judge_cold_holds(j);
	j->no_room |= !holds;
	stand(c, j->cold->probe_checks ? FT_STANDS_SHOWN : FT_STANDS_OPEN, holds);
	if (!j->cold->probe_checks)
		c->todo =
			"read a second thermometer beside the probe, and add a table of time, mark and value: reference and what it read";
}

static void decide_weeks(struct judging *j, struct ft_claim_state *c)
{
	const char *because, *todo;
	struct judge_span run;
	enum ft_stands s;

	if (j->weeks_evidence < 0)
		return;
	rest_on(j, c, j->weeks_evidence);
	if (against(j, c, cite(j, c, &j->weeks_unread, NULL)) || !j->weeks)
		return;
	run = judge_weeks_against(j, c->id);
	if (against(j, c, cite(j, c, &run, NULL)))
		return;
	s = judge_weeks_say(j, c->id, &because, &todo);
	if (because)
		stand(c, s, because);
	c->todo = todo;
}

static void decide_by_evidence(struct judging *j, struct ft_claim_state *c)
{
	static const enum ft_rule_id price[] = { FT_RULE_LEDGER_PRICE_CHANGED, FT_RULE_LEDGER_SELECTION_GONE,
		                                     FT_RULE_NONE };
	static const enum ft_rule_id setting[] = { FT_RULE_LEDGER_SETTING_CHANGED, FT_RULE_NONE };

	switch (c->id) {
	case FT_CLAIM_KNOW_MACHINE:
		decide_machine(j, c);
		break;
	case FT_CLAIM_KNOW_FITS:
		decide_fits(j, c);
		break;
	case FT_CLAIM_KNOW_SUPPLY:
		decide_supply(j, c);
		break;
	case FT_CLAIM_KEEP_AUDIT:
		decide_audit(j, c, &j->before);
		break;
	case FT_CLAIM_KEEP_PRICES:
		decide_prices_kept(j, c);
		break;
	case FT_CLAIM_KEEP_CONDITION:
		decide_photographs(j, c, FT_STAGE_KEEP);
		break;
	case FT_CLAIM_FIT_PHOTOGRAPHS:
		decide_photographs(j, c, FT_STAGE_FIT);
		break;
	case FT_CLAIM_PROVE_AUDIT:
		decide_audit(j, c, &j->after);
		break;
	case FT_CLAIM_PROVE_METERS:
		decide_meters(j, c);
		break;
	case FT_CLAIM_PROVE_PRICES:
		decide_unchanged(j, c, price, "Every price is as it was.");
		break;
	case FT_CLAIM_PROVE_SETTINGS:
		decide_unchanged(j, c, setting, "Every setting the audit carries is as it was.");
		break;
	case FT_CLAIM_PROVE_SALES:
		decide_sales(j, c);
		break;
	case FT_CLAIM_PROVE_COIN:
		decide_sold(j, c, "coin");
		break;
	case FT_CLAIM_PROVE_BILL:
		decide_sold(j, c, "bill");
		break;
	case FT_CLAIM_PROVE_CARD:
		decide_sold(j, c, "card");
		break;
	case FT_CLAIM_PROVE_CASH:
		decide_cash(j, c);
		break;
	case FT_CLAIM_PROVE_CLOCK:
		decide_clock(j, c);
		break;
	case FT_CLAIM_PROVE_BUS:
		decide_bus(j, c);
		break;
	case FT_CLAIM_PROVE_DOOR:
		decide_door(j, c);
		break;
	case FT_CLAIM_PROVE_TEMPERATURE:
		decide_cold(j, c);
		break;
	case FT_CLAIM_PROVE_SIGNAL:
		decide_signal(j, c);
		break;
	case FT_CLAIM_HAND_OVER_NUMBERS:
		decide_numbers(j, c);
		break;
	default: /* the weeks after; words alone */
		if (c->claim->stage == FT_STAGE_WATCH)
			decide_weeks(j, c);
		break;
	}
}

void judge_claim(struct judging *j, struct ft_claim_state *c)
{
	decide_by_evidence(j, c);
	if (c->stands == FT_STANDS_OPEN && c->said && c->claim->words == FT_WORDS_YES) {
		stand(c, FT_STANDS_SHOWN,
		      text(j, "%s%s%s", c->said->by ? c->said->by : "", c->said->by ? ": " : "", c->said->text));
		c->todo = NULL;
	}
	if (c->stands != FT_STANDS_SHOWN && c->waiver) {
		stand(c, FT_STANDS_WAIVED,
		      c->because
		          ? text(j, "Waived: %s. It stood %s: %s", c->waiver->because, ft_stands_word(c->stands), c->because)
		          : text(j, "Waived: %s.", c->waiver->because));
		c->todo = NULL;
	}
	if (!c->because)
		c->because = text(j, "Nothing is here yet. It is shown by %s.", c->claim->shown_by);
	if (c->stands == FT_STANDS_OPEN && !c->todo)
		c->todo = c->claim->ask;
	if (c->stands == FT_STANDS_SHOWN)
		c->todo = NULL;
}
