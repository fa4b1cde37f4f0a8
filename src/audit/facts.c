/* SPDX-License-Identifier: Apache-2.0 */
/* Lines and elements to numbers, sums and rows. Never judges: what is no number is counted, not blamed. */
#include "room.h"

int64_t audit_slow_number(const char *p, size_t n, bool *ret_bad)
{
	struct ft_slice s = ft_slice_trim((struct ft_slice){ p, n });
	int64_t v = FT_ABSENT;

	if (s.n && (s.n > 18 || !ft_slice_i64(s, &v))) {
		*ret_bad = true;
		return FT_ABSENT;
	}
	return v;
}

static inline void note_twins(struct ft_facts *f, const struct ft_segment *s, const struct segment_shape *shape,
                              const int64_t *line, unsigned mask)
{
	for (unsigned k = 0; k < shape->pairs; k++) {
		unsigned i = shape->twins[k].init, r = shape->twins[k].reset;
		if (!(mask >> i & mask >> r & 1) || line[r] <= line[i] || line[i] == FT_ABSENT || f->above_at >= 0)
			continue;
		if (audit_unset(line[r]) || audit_unset(line[i]))
			continue;
		f->above_at = (int32_t)(s - f->audit->segments);
		f->above_init = line[i];
		f->above_reset = line[r];
	}
}

static __attribute__((noinline)) int64_t odd_number(struct ft_facts *f, struct ft_span s)
{
	bool bad = false;
	int64_t v = audit_slow_number(f->audit->bytes.p + s.at, s.n, &bad);

	f->bad_numbers += bad;
	return v;
}

/* The numbers of one line go into value and sum; a counter since reset above its twin since
 * initialisation is noted. */
static inline __attribute__((always_inline)) void
take_numbers(struct ft_facts *f, const struct ft_segment *s, const struct segment_shape *shape, bool alone, bool marked)
{
	const char *bytes = f->audit->bytes.p;
	const struct ft_span *tokens = &f->audit->elements[s->first];
	unsigned most = s->count < shape->positions ? s->count : shape->positions;
	unsigned mask = shape->numbers & ((2U << most) - 1U);
	int64_t line[FT_POSITIONS_MAX + 1];

	for (unsigned m = mask; m; m &= m - 1) {
		unsigned position = (unsigned)__builtin_ctz(m);
		int el = shape->element[position];
		int64_t v = audit_digits(bytes, tokens[position]);
		if (v == FT_ABSENT) {
			if (tokens[position].n)
				v = odd_number(f, tokens[position]);
			line[position] = v;
			if (v == FT_ABSENT)
				continue;
		}
		line[position] = v;
		if (marked && audit_unset(v))
			continue;
		if (alone || f->value[el] == FT_ABSENT)
			f->value[el] = f->sum[el] = v;
		else if (__builtin_add_overflow(f->sum[el], v, &f->sum[el]))
			f->sum[el] = INT64_MAX; /* foreign numbers are hostile: stop at the end, do not go round */
	}
	note_twins(f, s, shape, line, mask);
}

/* PA2..PA9 belong to the nearest PA1 above; a PA7 or LA1 that names another selection is believed. */
static int32_t selection_of(const struct ft_facts *f, const struct ft_segment *s, unsigned named_at)
{
	struct ft_slice name = ft_slice_trim(ft_audit_at(f->audit, s, named_at));
	size_t n = f->selection_count, least = n > SELECTIONS_MAX ? n - SELECTIONS_MAX : 0;

	for (size_t i = n; i-- > least;) {
		const struct ft_segment *pa1 = &f->audit->segments[f->selections[i]];
		if (ft_slice_eq(ft_slice_trim(ft_audit_at(f->audit, pa1, 1)), name))
			return (int32_t)i;
	}
	return -1;
}

/* LA1 rows may stand before the PA1 they name, so rows are bound when all lines are known. Rows
 * come in the order of the selections, mostly: the one after the last hit is tried first. */
static void bind_lists(struct ft_facts *f)
{
	size_t guess = 0;

	for (size_t i = 0; i < f->row_count; i++) {
		const struct ft_segment *s = &f->audit->segments[f->rows[i].segment];
		struct ft_slice name;
		if (s->id != FT_SEG_LA1)
			continue;
		name = ft_slice_trim(ft_audit_at(f->audit, s, 2));
		if (guess >= f->selection_count)
			guess = 0;
		if (f->selection_count &&
		    ft_slice_eq(ft_slice_trim(ft_audit_at(f->audit, &f->audit->segments[f->selections[guess]], 1)), name))
			f->rows[i].selection = (int32_t)guess;
		else
			f->rows[i].selection = selection_of(f, s, 2);
		guess = f->rows[i].selection >= 0 ? (size_t)f->rows[i].selection + 1 : 0;
	}
}

static int32_t bind_pa7(const struct ft_facts *f, const struct ft_segment *s, int32_t under)
{
	struct ft_slice named = ft_slice_trim(ft_audit_at(f->audit, s, 1));

	if (under >= 0 && named.n &&
	    !ft_slice_eq(ft_slice_trim(ft_audit_at(f->audit, &f->audit->segments[f->selections[under]], 1)), named))
		return selection_of(f, s, 1);
	return under;
}

/* A date or time that the rules must look at more closely? Clean files have none. */
static inline bool odd_date(const struct ft_facts *f, const struct ft_segment *s, const struct segment_shape *shape)
{
	const struct ft_span *tokens = &f->audit->elements[s->first];
	unsigned most = s->count < FT_POSITIONS_MAX ? s->count : FT_POSITIONS_MAX;

	for (unsigned m = (unsigned)(shape->dates | shape->times) & ((2U << most) - 1U); m; m &= m - 1) {
		unsigned k = (unsigned)__builtin_ctz(m);
		if (tokens[k].n &&
		    !(shape->dates >> k & 1 ? audit_date_ok(f->audit->bytes, tokens[k])
		                            : audit_time_ok(f->audit->bytes, tokens[k])))
			return true;
	}
	return false;
}

static void find_decimals(struct ft_facts *f)
{
	const struct ft_segment *id4 = f->segment[FT_SEG_ID4] >= 0 ? &f->audit->segments[f->segment[FT_SEG_ID4]] : NULL;
	const struct ft_currency *c = NULL;
	int64_t d = f->value[FT_EL_ID401];

	f->decimals_known = d >= 0 && d <= FT_AUDIT_DECIMALS_MAX;
	if (f->decimals_known) {
		f->decimals = (int)d;
		return;
	}
	if (id4)
		c = ft_currency_by_alpha(ft_slice_trim(ft_audit_at(f->audit, id4, 3)));
	f->decimals = c && c->digits >= 0 ? c->digits : 2; /* 2 is the usual value; the flag says it is a guess */
}

/* Does CA3 close with the bills read this way? Absent parts count as nothing. */
static bool closes(const struct ft_facts *f, bool init, int64_t bills)
{
	int64_t in = f->value[init ? FT_EL_CA305 : FT_EL_CA301];
	int64_t parts = or_zero(f->value[init ? FT_EL_CA306 : FT_EL_CA302]);

	parts = sat_add(parts, or_zero(f->value[init ? FT_EL_CA307 : FT_EL_CA303]));
	parts = sat_add(parts, or_zero(f->value[init ? FT_EL_CA312 : FT_EL_CA311]));
	return in != FT_ABSENT && sat_add(parts, bills) == in;
}

/* Note 6 of the dictionary: CA304 and CA308 in whole units or in minor units. CA309 and CA310 say
 * it where they are sent; else whichever closes the cash identity, init first. */
static void find_bills(struct ft_facts *f)
{
	int64_t old_init = f->value[FT_EL_CA308], old_reset = f->value[FT_EL_CA304];
	int64_t scale = 1;
	bool minor, whole;

	for (int i = 0; i < f->decimals; i++)
		scale *= 10;
	f->bills_in_init = f->value[FT_EL_CA310];
	f->bills_in_reset = f->value[FT_EL_CA309];
	f->bills = FT_BILLS_NONE;
	if (or_zero(old_init) == 0 && or_zero(old_reset) == 0) {
		if (f->bills_in_init == FT_ABSENT)
			f->bills_in_init = old_init;
		if (f->bills_in_reset == FT_ABSENT)
			f->bills_in_reset = old_reset;
		return;
	}
	if (f->bills_in_init != FT_ABSENT && or_zero(old_init)) {
		minor = old_init == f->bills_in_init;
		whole = sat_mul(old_init, scale) == f->bills_in_init;
	} else if (f->bills_in_reset != FT_ABSENT && or_zero(old_reset)) {
		minor = old_reset == f->bills_in_reset;
		whole = sat_mul(old_reset, scale) == f->bills_in_reset;
	} else if (or_zero(old_init)) {
		minor = closes(f, true, old_init);
		whole = closes(f, true, sat_mul(old_init, scale));
	} else {
		minor = closes(f, false, old_reset);
		whole = closes(f, false, sat_mul(old_reset, scale));
	}
	f->bills = whole && !(minor && scale == 1) ? FT_BILLS_WHOLE : minor ? FT_BILLS_MINOR : FT_BILLS_UNSURE;
	if (f->bills == FT_BILLS_UNSURE)
		return;
	if (f->bills == FT_BILLS_MINOR)
		scale = 1;
	if (f->bills_in_init == FT_ABSENT && old_init != FT_ABSENT)
		f->bills_in_init = sat_mul(old_init, scale);
	if (f->bills_in_reset == FT_ABSENT && old_reset != FT_ABSENT)
		f->bills_in_reset = sat_mul(old_reset, scale);
}

AUDIT_HOT enum ft_status ft_audit_facts(const struct ft_audit *d, const struct ft_set *set, struct ft_arena *a,
                                        struct ft_facts *f, struct ft_error *e)
{
	size_t lines = (size_t)(set->last - set->first);
	int32_t under = -1;

	f->audit = d;
	f->set = set;
	for (int i = 0; i < FT_EL_COUNT; i++)
		f->value[i] = FT_ABSENT;
	memset(f->sum, 0, sizeof f->sum);
	memset(f->segment, 0xff, sizeof f->segment);
	f->selection_count = f->row_count = 0;
	f->bad_numbers = 0;
	f->above_at = -1;
	f->selections = ft_arena_raw(a, lines * sizeof *f->selections);
	f->rows = ft_arena_raw(a, lines * sizeof *f->rows);
	if (!f->selections || !f->rows)
		return ft_fail_memory(e, "reading the audit");
	f->odd = false;
	for (int32_t i = set->first; i < set->last; i++) {
		const struct ft_segment *s = &d->segments[i];
		const struct segment_shape *shape;
		bool first;
		if (s->id < 0) {
			f->odd |= s->id == FT_SEG_NONE;
			continue;
		}
		shape = segment_shape(s->id);
		first = f->segment[s->id] < 0;
		if (first)
			f->segment[s->id] = i;
		if (s->id == FT_SEG_PA1) {
			under = (int32_t)f->selection_count;
			f->selections[f->selection_count++] = (uint32_t)i;
		} else if (shape->row) {
			int32_t binding = !shape->under_pa1 ? -1 : s->id == FT_SEG_PA7 ? bind_pa7(f, s, under) : under;
			f->rows[f->row_count++] = (struct ft_row){ (uint32_t)i, binding };
		}
		if (shape->marked)
			take_numbers(f, s, shape, false, true);
		else if (first)
			take_numbers(f, s, shape, true, false);
		else
			take_numbers(f, s, shape, false, false);
		f->odd |= s->count > shape->positions || (shape->once && !first);
		if (shape->dates | shape->times)
			f->odd |= odd_date(f, s, shape);
	}
	if (f->segment[FT_SEG_LA1] >= 0)
		bind_lists(f);
	find_decimals(f);
	find_bills(f);
	return FT_OK;
}
