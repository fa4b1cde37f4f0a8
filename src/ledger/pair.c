/* SPDX-License-Identifier: Apache-2.0 */
/* Two reads joined cell by cell, and how their interval counters can be followed. */
#include "room.h"

#include <stdio.h>

static uint64_t mix(uint64_t h, uint64_t v)
{
	h ^= v + UINT64_C(0x9e3779b97f4a7c15) + (h << 6) + (h >> 2);
	return h * UINT64_C(0xff51afd7ed558ccd);
}

static uint64_t mix_text(uint64_t h, struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i++)
		h = (h ^ (uint8_t)s.p[i]) * UINT64_C(0x100000001b3);
	return mix(h, s.n);
}

static uint64_t cell_hash(const struct ft_cell *c)
{
	uint64_t h = mix_text(UINT64_C(0xcbf29ce484222325), c->name);

	h = mix(h, c->position);
	h = mix_text(h, c->selection);
	h = mix_text(h, c->key[0]);
	h = mix_text(h, c->key[1]);
	h = mix(h, c->nth);
	return h ^ h >> 29;
}

static bool cell_same(const struct ft_cell *a, const struct ft_cell *b)
{
	return a->position == b->position && a->nth == b->nth && ft_slice_eq(a->name, b->name) &&
		ft_slice_eq(a->selection, b->selection) && ft_slice_eq(a->key[0], b->key[0]) &&
		ft_slice_eq(a->key[1], b->key[1]);
}

static struct joined **find_slot(const struct pair *p, const struct ft_cell *c)
{
	size_t i = (size_t)cell_hash(c) & p->slot_mask;

	while (p->slots[i]) {
		const struct ft_cell *there = p->slots[i]->after ? p->slots[i]->after : p->slots[i]->before;
		if (cell_same(there, c))
			break;
		i = (i + 1) & p->slot_mask;
	}
	return &p->slots[i];
}

static enum ft_status join(struct pair *p, struct ft_arena *a, struct ft_error *e)
{
	struct ft_cell *cells[2] = { NULL, NULL };
	size_t n[2] = { 0, 0 }, room = 16;
	enum ft_status s = ft_audit_cells(p->before, a, &cells[0], &n[0], e);

	if (s == FT_OK)
		s = ft_audit_cells(p->after, a, &cells[1], &n[1], e);
	if (s != FT_OK)
		return s;
	while (room < 2 * (n[0] + n[1]))
		room *= 2;
	p->slots = FT_NEW_ARRAY(a, room, struct joined *);
	p->list = FT_NEW_ARRAY(a, n[0] + n[1] + 1, struct joined);
	if (!p->slots || !p->list)
		return ft_fail_memory(e, "comparing the audits");
	p->slot_mask = room - 1;
	for (int side = 1; side >= 0; side--)
		for (size_t i = 0; i < n[side]; i++) {
			struct joined **slot = find_slot(p, &cells[side][i]);
			if (!*slot)
				*slot = &p->list[p->count++];
			if (side && !(*slot)->after)
				(*slot)->after = &cells[side][i];
			else if (!side && !(*slot)->before)
				(*slot)->before = &cells[side][i];
		}
	return FT_OK;
}

const struct joined *pair_find(const struct pair *p, enum ft_element_id id, struct ft_slice selection,
                               const struct ft_slice *keys)
{
	const struct ft_element_def *d = ft_element_def(id);
	struct ft_cell want = { .selection = selection };

	if (!d)
		return NULL;
	want.name = ft_slice_of(ft_segment_def(d->segment)->name);
	want.position = (unsigned)d->position;
	if (keys) {
		want.key[0] = keys[0];
		want.key[1] = keys[1];
	}
	return *find_slot(p, &want);
}

bool add_checked(int64_t a, int64_t b, int64_t *ret)
{
	return !__builtin_add_overflow(a, b, ret) && *ret != FT_ABSENT;
}

struct ft_slice cell_text(const struct ft_cell *c)
{
	return c ? c->value : (struct ft_slice){ NULL, 0 };
}

int64_t number_of(const struct ft_cell *c)
{
	static const int64_t not_set[] = { 65535, 4294967295 }; /* seen in audit files of real machines, in PA7 and LA1 */

	if (!c || c->value.n == 0)
		return FT_ABSENT;
	for (size_t i = 0; i < 2; i++)
		if (c->number == not_set[i] && (c->segment == FT_SEG_PA7 || c->segment == FT_SEG_LA1))
			return FT_ABSENT;
	return c->number;
}

int64_t money_factor(const struct ft_facts *f, enum ft_element_id id)
{
	const struct ft_element_def *d = ft_element_def(id);
	int64_t factor = 1;

	if (d && d->type == FT_TYPE_EITHER && f->bills == FT_BILLS_WHOLE)
		for (int i = 0; i < f->decimals && i < (int)FT_AUDIT_DECIMALS_MAX; i++)
			factor *= 10;
	return factor;
}

bool money_of(enum ft_element_id id)
{
	const struct ft_element_def *d = ft_element_def(id);

	return d && (d->type == FT_TYPE_MONEY || d->type == FT_TYPE_EITHER);
}

bool counts_from_init(const struct ft_cell *c)
{
	const struct ft_element_def *d = c ? ft_element_def(c->element) : NULL;

	return d && d->span == FT_SPAN_INIT;
}

int64_t wrap_of(int64_t before, int64_t after)
{
	static const int64_t widths[] = { 65536, 1000000, 16777216, 100000000, INT64_C(4294967296) };

	for (size_t i = 0; i < sizeof widths / sizeof *widths; i++)
		/* near the end before and near the start after: within a sixteenth of the width */
		if (before < widths[i] && after >= 0 && before - after > widths[i] - widths[i] / 16)
			return widths[i];
	return 0;
}

/* A row that only the later read has began at nothing; one that is gone tells nothing. */
int64_t movement(const struct pair *p, const struct joined *j, bool since_reset, int64_t factor)
{
	int64_t before, after, d;

	if (!j || (after = number_of(j->after)) == FT_ABSENT)
		return FT_ABSENT;
	before = number_of(j->before);
	if (before == FT_ABSENT)
		before = 0;
	if (since_reset && p->mode == RESET_UNCLEAR)
		return FT_ABSENT;
	if (since_reset && p->mode == RESET_ONCE)
		before = 0;
	if (!since_reset && counts_from_init(j->after))
		before -= wrap_of(before, after);
	if (__builtin_sub_overflow(after, before, &d) || __builtin_mul_overflow(d, factor, &d))
		return FT_ABSENT;
	return d;
}

bool selection_same(struct ft_slice a, struct ft_slice b)
{
	while (a.n > 1 && a.p[0] == '0') {
		a.p++;
		a.n--;
	}
	while (b.n > 1 && b.p[0] == '0') {
		b.p++;
		b.n--;
	}
	return ft_slice_eq_nocase(a, b);
}

/* ---- sums ---- */

static enum ft_element_id element_named(struct ft_slice name)
{
	for (int i = 0; i < FT_EL_COUNT; i++)
		if (ft_slice_is(name, ft_element_def((enum ft_element_id)i)->name))
			return (enum ft_element_id)i;
	return FT_EL_NONE;
}

static struct ft_slice take_name(const char **t)
{
	const char *from = *t;

	while (ft_is_digit(**t) || ft_is_upper(**t))
		(*t)++;
	return (struct ft_slice){ from, (size_t)(*t - from) };
}

bool sum_parse(const char *t, struct sum *ret)
{
	struct sum s = { 0 };

	while (*t && s.count < TERMS_MAX) {
		struct term *x = &s.terms[s.count++];
		struct ft_slice name;
		x->sign = *t == '-' ? -1 : 1;
		if (*t == '-' || *t == '+')
			t++;
		if (*t == '#') {
			x->all = true;
			t++;
		}
		name = take_name(&t);
		x->bills = ft_slice_is(name, "BILLS");
		x->id = x->bills ? FT_EL_NONE : element_named(name);
		x->times = FT_EL_NONE;
		if (!x->bills && x->id == FT_EL_NONE)
			return false;
		if (*t == '*') {
			t++;
			x->all = true;
			x->times = element_named(take_name(&t));
		} else if (*t == '@') {
			t++;
			x->all = true;
			x->device = take_name(&t);
		}
		if (*t == '?') {
			x->maybe = true;
			t++;
		}
	}
	*ret = s;
	return *t == 0 && s.count > 0;
}

/* Sum over rows: plain, times another element of the row, or of one device. */
static int64_t rows_movement(const struct pair *p, const struct term *t)
{
	int64_t total = 0;
	bool any = false;

	for (size_t i = 0; i < p->count; i++) {
		const struct ft_cell *c = p->list[i].after;
		int64_t d, by = 1;
		enum ft_element_id counted = t->times != FT_EL_NONE ? t->times : t->id;
		if (!c || c->element != counted)
			continue;
		if (t->device.n && !ft_slice_eq_nocase(c->key[0], t->device))
			continue;
		d = movement(p, &p->list[i], false, 1);
		if (d == FT_ABSENT)
			continue;
		/* the value names the row: it is the key of coin and bill rows */
		if (t->times != FT_EL_NONE && !ft_slice_i64(c->key[0], &by))
			return FT_ABSENT;
		if (t->times != FT_EL_NONE && by == 0 && d != 0)
			return FT_ABSENT; /* a coin type sent without its value */
		if (__builtin_mul_overflow(d, by, &d) || !add_checked(total, d, &total))
			return FT_ABSENT;
		any = true;
	}
	return any ? total : FT_ABSENT;
}

static int64_t term_movement(const struct pair *p, const struct term *t, bool since_reset)
{
	int64_t before, after, d;

	if (t->bills) {
		before = since_reset ? p->before->bills_in_reset : p->before->bills_in_init;
		after = since_reset ? p->after->bills_in_reset : p->after->bills_in_init;
		if (after == FT_ABSENT || (since_reset && p->mode == RESET_UNCLEAR))
			return FT_ABSENT;
		if (before == FT_ABSENT || (since_reset && p->mode == RESET_ONCE))
			before = 0;
		return __builtin_sub_overflow(after, before, &d) ? FT_ABSENT : d;
	}
	if (t->all)
		return rows_movement(p, t);
	return movement(p, pair_find(p, t->id, (struct ft_slice){ NULL, 0 }, NULL), since_reset,
	                money_factor(p->after, t->id));
}

/* What this machine keeps outside CA3 or CA4 plays no part in their sums. */
static bool left_out(const struct pair *p, const struct term *t)
{
	return (p->fill_apart && (t->id == FT_EL_CA1001 || t->id == FT_EL_CA1002)) ||
		(p->manual_apart && (t->id == FT_EL_CA402 || t->id == FT_EL_CA404));
}

bool sum_movement(const struct pair *p, const struct sum *s, bool since_reset, int64_t *ret)
{
	int64_t total = 0;
	bool any = false;

	for (int i = 0; i < s->count; i++) {
		const struct term *t = &s->terms[i];
		int64_t d;
		if (left_out(p, t))
			continue;
		d = term_movement(p, t, since_reset);
		if (d == FT_ABSENT && t->maybe)
			continue;
		if (d == FT_ABSENT || !add_checked(total, t->sign < 0 ? -d : d, &total))
			return false;
		any = true;
	}
	*ret = total;
	return any;
}

const char *sum_label(const struct pair *p, const struct sum *s, bool since_reset, struct ft_arena *a)
{
	char text[128];
	size_t n = 0;

	text[0] = 0;
	for (int i = 0; i < s->count && n < sizeof text; i++) {
		const struct term *t = &s->terms[i];
		int64_t d = left_out(p, t) ? FT_ABSENT : term_movement(p, t, since_reset);
		const char *name = t->bills ? "bills" : ft_element_def(t->id)->name;
		if (d == FT_ABSENT || (t->maybe && d == 0 && i))
			continue; /* what did not move would only make the name long */
		n += (size_t)snprintf(text + n, sizeof text - n, "%s%s%s%s%s%.*s",
		                      t->sign < 0 ? "-"
		                          : n     ? "+"
		                                  : "",
		                      name, t->times != FT_EL_NONE ? "*" : "",
		                      t->times != FT_EL_NONE ? ft_element_def(t->times)->name : "", t->device.n ? "@" : "",
		                      FT_P(t->device));
	}
	return ft_arena_printf(a, "%s", text);
}

/* ---- resets ---- */

/* Elements since initialisation with the same since reset, to see whether a reset came between. */
static const enum ft_element_id reset_pairs[][2] = {
	{ FT_EL_VA101, FT_EL_VA103 }, { FT_EL_VA102, FT_EL_VA104 },   { FT_EL_VA201, FT_EL_VA203 },
	{ FT_EL_VA202, FT_EL_VA204 }, { FT_EL_VA301, FT_EL_VA303 },   { FT_EL_VA302, FT_EL_VA304 },
	{ FT_EL_CA201, FT_EL_CA203 }, { FT_EL_CA202, FT_EL_CA204 },   { FT_EL_DA201, FT_EL_DA203 },
	{ FT_EL_DA202, FT_EL_DA204 }, { FT_EL_DB201, FT_EL_DB203 },   { FT_EL_DB202, FT_EL_DB204 },
	{ FT_EL_CA305, FT_EL_CA301 }, { FT_EL_CA306, FT_EL_CA302 },   { FT_EL_CA307, FT_EL_CA303 },
	{ FT_EL_CA310, FT_EL_CA309 }, { FT_EL_CA403, FT_EL_CA401 },   { FT_EL_CA404, FT_EL_CA402 },
	{ FT_EL_CA802, FT_EL_CA801 }, { FT_EL_CA1002, FT_EL_CA1001 },
};

static int64_t difference(int64_t before, int64_t after)
{
	int64_t d;

	if (before == FT_ABSENT || after == FT_ABSENT || __builtin_sub_overflow(after, before, &d))
		return FT_ABSENT;
	return d;
}

static void find_mode(struct pair *p)
{
	int none = 0, once = 0, told = 0;
	enum reset_mode counted = RESET_NONE;

	p->reads = difference(p->before->value[FT_EL_EA309], p->after->value[FT_EL_EA309]);
	p->resets = difference(p->before->value[FT_EL_EA310], p->after->value[FT_EL_EA310]);
	if (p->resets == FT_ABSENT)
		p->resets = difference(p->before->value[FT_EL_EA301], p->after->value[FT_EL_EA301]);
	if (p->resets != FT_ABSENT)
		counted = p->resets == 0 ? RESET_NONE : p->resets == 1 ? RESET_ONCE : RESET_UNCLEAR;
	for (size_t i = 0; i < sizeof reset_pairs / sizeof *reset_pairs; i++) {
		const int64_t *b = p->before->value, *n = p->after->value;
		enum ft_element_id init = reset_pairs[i][0], reset = reset_pairs[i][1];
		int64_t d = difference(b[init], n[init]);
		if (d == FT_ABSENT || b[reset] == FT_ABSENT || n[reset] == FT_ABSENT || b[reset] == 0)
			continue; /* from zero both ways look the same */
		told++;
		none += difference(b[reset], n[reset]) == d;
		once += n[reset] == d;
	}
	/* The machine's own count is believed unless most counters say otherwise. */
	if (told == 0)
		p->mode = counted;
	else if (counted == RESET_NONE && 2 * none >= told)
		p->mode = RESET_NONE;
	else if (counted == RESET_ONCE && 2 * once >= told)
		p->mode = RESET_ONCE;
	else
		p->mode = none > once && 2 * none > told ? RESET_NONE
			: once > none && 2 * once > told     ? RESET_ONCE
												 : RESET_UNCLEAR;
	p->mode_against_count = p->resets != FT_ABSENT && told && p->mode != counted && p->mode != RESET_UNCLEAR;
}

/* Identity A3 in four forms: the one that closes the earlier read is this machine's. */
static void find_cash_form(struct pair *p)
{
	const int64_t *v = p->before->value;
	int64_t fill = v[FT_EL_CA1002], manual = v[FT_EL_CA404], net, sold;
	bool closes[4];
	int found = 0;

	if (v[FT_EL_CA305] == FT_ABSENT || v[FT_EL_CA403] == FT_ABSENT || v[FT_EL_CA201] == FT_ABSENT)
		return;
	fill = fill == FT_ABSENT ? 0 : fill;
	manual = manual == FT_ABSENT ? 0 : manual;
	sold = v[FT_EL_CA201];
	net = v[FT_EL_CA305];
	if (__builtin_sub_overflow(net, v[FT_EL_CA403], &net))
		return;
	if (v[FT_EL_CA802] != FT_ABSENT && __builtin_sub_overflow(net, v[FT_EL_CA802], &net))
		return;
	for (int i = 0; i < 2; i++) {
		int64_t top = v[i ? FT_EL_DB401 : FT_EL_DA401];
		if (top != FT_ABSENT && !add_checked(sold, top, &sold))
			return;
	}
	for (int form = 0; form < 4; form++) {
		int64_t n = net;
		closes[form] =
			(form & 1 || !__builtin_sub_overflow(n, fill, &n)) && (form & 2 || add_checked(n, manual, &n)) && n == sold;
		found += closes[form];
	}
	if (found == 0 || closes[0])
		return; /* the usual form: both inside */
	for (int form = 1; form < 4; form++)
		if (closes[form]) {
			p->fill_apart = form & 1;
			p->manual_apart = form & 2;
			return;
		}
}

/* A payment device that was exchanged may bring counters of its own (rule B1): where any of them fell, all of
 * that device's counters begin anew, and nothing before is held against what they say now. */
static bool of_device(const struct ft_cell *c, const char *letters)
{
	bool by_key = c->segment == FT_SEG_PA7 && c->key[0].n >= 2;
	struct ft_slice name = by_key ? c->key[0] : c->name;

	return name.n >= 2 && memcmp(name.p, letters, 2) == 0 && c->number != FT_ABSENT;
}

static void restart_device(struct pair *p, enum ft_element_id serial, const char *letters)
{
	const struct joined *s = pair_find(p, serial, (struct ft_slice){ NULL, 0 }, NULL);
	bool fell = false;

	if (!s || !s->before || !s->after || !s->before->value.n || !s->after->value.n ||
	    ft_slice_eq(s->before->value, s->after->value))
		return;
	for (size_t i = 0; i < p->count; i++) {
		const struct joined *j = &p->list[i];
		const struct ft_element_def *d = j->after ? ft_element_def(j->after->element) : NULL;
		fell |= d && d->span == FT_SPAN_INIT && j->before && of_device(j->after, letters) &&
			j->before->number != FT_ABSENT && j->after->number < j->before->number;
	}
	for (size_t i = 0; fell && i < p->count; i++)
		if (p->list[i].after && of_device(p->list[i].after, letters))
			p->list[i].before = NULL;
}

enum ft_status pair_init(struct pair *p, const struct ft_facts *before, const struct ft_facts *after,
                         struct ft_arena *a, struct ft_error *e)
{
	*p = (struct pair){ .before = before, .after = after };
	find_mode(p);
	find_cash_form(p);
	enum ft_status s = join(p, a, e);
	if (s != FT_OK)
		return s;
	restart_device(p, FT_EL_CA101, "CA");
	restart_device(p, FT_EL_BA101, "BA");
	restart_device(p, FT_EL_DA101, "DA");
	restart_device(p, FT_EL_DB101, "DB");
	return FT_OK;
}
