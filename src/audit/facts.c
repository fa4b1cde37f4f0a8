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

/* Sums by segment and position while the lines are gone through; afterwards they go to the elements. */
struct tally {
	struct ft_facts *f;
	const uint8_t *digits; /* see audit_read_numbers */
	/* A number was met that could make a sum go round: from there on each is looked at. No file has lines enough
	 * to get there with smaller ones. */
	bool large;
	uint16_t has[FT_SEG_COUNT];                  /* bit n: position n has held a number */
	int64_t sum[FT_SEG_COUNT][FT_POSITIONS_MAX]; /* of segments that were met */
};

/* Bit n: token k + n is one to eight digits. */
AUDIT_BOTH unsigned digits_at(const uint8_t *digits, size_t k)
{
	uint32_t bits;

	memcpy(&bits, digits + k / 8, sizeof bits);
	return bits >> k % 8;
}

static __attribute__((noinline)) void note_twins(struct ft_facts *f, const struct ft_segment *s,
                                                 const struct segment_shape *shape, unsigned mask)
{
	const int64_t *line = line_numbers(f, s);

	for (unsigned k = 0; k < shape->pairs && f->above_at < 0; k++) {
		unsigned i = shape->twins[k].init, r = shape->twins[k].reset;
		if (!(mask >> i & mask >> r & 1) || line[r] <= line[i] || line[i] == FT_ABSENT)
			continue;
		if (audit_unset(line[r]) || audit_unset(line[i]))
			continue;
		f->above_at = (int32_t)(s - f->audit->segments);
		f->above_init = line[i];
		f->above_reset = line[r];
	}
}

/* A counter since reset above its twin since initialisation, among the positions up to `most`? */
AUDIT_BOTH bool any_above(const int64_t *line, const struct segment_shape *shape, unsigned most)
{
	bool above = false;

	for (unsigned k = 0; k < shape->pairs && shape->twins[k].reach <= most; k++)
		above |= line[shape->twins[k].reset] > line[shape->twins[k].init];
	return above;
}

static bool all_empty(const struct ft_facts *f, const struct ft_segment *s, unsigned positions)
{
	for (; positions; positions &= positions - 1)
		if (audit_token(f->audit, s->first + (unsigned)__builtin_ctz(positions)).n)
			return false;
	return true;
}

static void first_value(struct tally *t, const struct ft_segment *s, unsigned position, int64_t v)
{
	t->f->value[segment_shape(s->id)->element[position]] = v;
	t->has[s->id] |= (uint16_t)(1U << position);
}

/* Number by number, those in any form that is a number. */
static __attribute__((noinline)) void add_each(struct tally *t, const struct ft_segment *s, unsigned mask)
{
	const struct segment_shape *shape = segment_shape(s->id);
	int64_t *line = line_numbers(t->f, s), *sums = t->sum[s->id];

	for (; mask; mask &= mask - 1) {
		unsigned position = (unsigned)__builtin_ctz(mask);
		int64_t *v = &line[position], *sum = &sums[position - 1];
		if (*v == FT_ABSENT) {
			bool bad;
			*v = audit_number(t->f->audit->bytes, audit_token(t->f->audit, s->first + position), &bad);
			t->f->bad_numbers += bad;
			t->large |= *v > INT32_MAX || *v < -INT32_MAX;
		}
		if (*v == FT_ABSENT || (shape->marked && audit_unset(*v)))
			continue;
		if (!(t->has[s->id] >> position & 1))
			first_value(t, s, position, *v);
		if (__builtin_add_overflow(*sum, *v, sum))
			*sum = INT64_MAX; /* foreign numbers are hostile: stop at the end, do not go round */
	}
}

typedef int64_t four_numbers __attribute__((vector_size(32)));
_Static_assert(FT_POSITIONS_MAX % 4 == 0, "sums are added up four by four");

AUDIT_BOTH void sum_nothing(int64_t sums[FT_POSITIONS_MAX])
{
	const four_numbers nothing = { 0 };

	/* memset of this length becomes an instruction that takes longer to get going than all of it */
	for (size_t at = 0; at < FT_POSITIONS_MAX; at += 4)
		memcpy(sums + at, &nothing, sizeof nothing);
}

/* Adds what a line holds at positions 1..n; what is no number adds nothing. */
AUDIT_BOTH void add_all(int64_t sums[FT_POSITIONS_MAX], const int64_t *line, unsigned n)
{
	four_numbers position = { 1, 2, 3, 4 };

	for (unsigned at = 0; at < n; at += 4, position += 4) {
		four_numbers sum, v;
		memcpy(&sum, sums + at, sizeof sum);
		memcpy(&v, line + at + 1, sizeof v);
		sum += v & (v > -1) & (position <= (int64_t)n);
		memcpy(sums + at, &sum, sizeof sum);
	}
}

/* The numbers of one line go into values and sums; `digits` are those of its tokens. */
AUDIT_BOTH void take_numbers(struct tally *t, const struct ft_segment *s, const struct segment_shape *shape,
                             const int64_t *line, unsigned digits)
{
	unsigned most = s->count < shape->positions ? s->count : shape->positions;
	unsigned mask = shape->numbers & ((2U << most) - 1U); /* bits behind the line's last position belong to others */
	unsigned there = mask & digits;
	unsigned fresh = there & ~(unsigned)t->has[s->id];

	if (!mask)
		return;
	if (shape->marked || t->large || (there != mask && !all_empty(t->f, s, mask & ~there))) {
		add_each(t, s, mask);
	} else {
		for (; fresh; fresh &= fresh - 1)
			first_value(t, s, (unsigned)__builtin_ctz(fresh), line[__builtin_ctz(fresh)]);
		add_all(t->sum[s->id], line, most);
	}
	if (any_above(line, shape, most))
		note_twins(t->f, s, shape, mask);
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
static inline bool odd_date(const struct ft_facts *f, const struct ft_segment *s, const struct segment_shape *shape,
                            const int64_t *line)
{
	unsigned most = s->count < FT_POSITIONS_MAX ? s->count : FT_POSITIONS_MAX;

	for (unsigned m = (unsigned)(shape->dates | shape->times) & ((2U << most) - 1U); m; m &= m - 1) {
		unsigned k = (unsigned)__builtin_ctz(m);
		uint32_t n = audit_token(f->audit, s->first + k).n;
		if (n && !(shape->dates >> k & 1 ? audit_date_ok(line[k], n) : audit_time_ok(line[k], n)))
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

/* Everything that takes memory. */
static bool prepare(struct tally *t, struct ft_arena *a)
{
	struct ft_facts *f = t->f;
	const struct ft_segment *lines = f->audit->segments + f->set->first;
	size_t count = (size_t)(f->set->last - f->set->first), tokens;
	uint8_t *digits;

	f->first_token = lines->first;
	tokens = lines[count - 1].first + lines[count - 1].count + 1 - f->first_token;
	f->selections = ft_arena_raw(a, count * sizeof *f->selections);
	f->rows = ft_arena_raw(a, count * sizeof *f->rows);
	f->numbers = ft_arena_raw(a, (tokens + FT_POSITIONS_MAX) * sizeof *f->numbers);
	digits = ft_arena_raw(a, tokens / 8 + 1 + sizeof(uint32_t));
	if (!f->selections || !f->rows || !f->numbers || !digits)
		return false;
	audit_read_numbers(f->audit, f->first_token, tokens, f->numbers, digits);
	t->digits = digits;
	/* the last lines are read beyond their ends */
	for (int i = 0; i < FT_POSITIONS_MAX; i++)
		f->numbers[tokens + (size_t)i] = FT_ABSENT;
	memset(digits + (tokens + 7) / 8, 0, sizeof(uint32_t));
	return true;
}

AUDIT_BOTH void take_lines(struct tally *t)
{
	struct ft_facts *f = t->f;
	const struct ft_segment *s = f->audit->segments + f->set->first;
	const int64_t *const numbers = f->numbers;
	const uint8_t *const digits = t->digits;
	const uint32_t first_token = s->first;
	int32_t under = -1;
	bool odd = false;

	for (int32_t i = f->set->first; i < f->set->last; i++, s++) {
		const uint32_t token = s->first - first_token;
		const struct segment_shape *shape;
		bool first;
		if (s->id < 0) {
			odd |= s->id == FT_SEG_NONE;
			continue;
		}
		shape = segment_shape(s->id);
		first = f->segment[s->id] < 0;
		if (first) {
			f->segment[s->id] = i;
			sum_nothing(t->sum[s->id]);
		}
		f->last[s->id] = i;
		if (s->id == FT_SEG_PA1) {
			under = (int32_t)f->selection_count;
			f->selections[f->selection_count++] = (uint32_t)i;
		} else if (shape->row) {
			int32_t binding = !shape->under_pa1 ? -1 : s->id == FT_SEG_PA7 ? bind_pa7(f, s, under) : under;
			f->rows[f->row_count++] = (struct ft_row){ (uint32_t)i, binding };
		}
		take_numbers(t, s, shape, numbers + token, digits_at(digits, token));
		odd |= (s->count > shape->positions) | (shape->once & !first);
		if (shape->dates | shape->times)
			odd |= odd_date(f, s, shape, numbers + token);
	}
	f->odd = odd;
}

#if defined(AUDIT_WIDE)
AUDIT_WIDE static void take_lines_wide(struct tally *t)
{
	take_lines(t);
}
#endif

static void take_lines_plain(struct tally *t)
{
	take_lines(t);
}

static void take_all_lines(struct tally *t)
{
#if defined(AUDIT_WIDE)
	if (audit_wide()) {
		take_lines_wide(t);
		return;
	}
#endif
	take_lines_plain(t);
}

static void sums_to_elements(struct tally *t)
{
	for (int id = 0; id < FT_SEG_COUNT; id++)
		for (unsigned m = t->has[id]; m; m &= m - 1) {
			unsigned position = (unsigned)__builtin_ctz(m);
			t->f->sum[segment_shape(id)->element[position]] = t->sum[id][position - 1];
		}
}

enum ft_status ft_audit_facts(const struct ft_audit *d, const struct ft_set *set, struct ft_arena *a,
                              struct ft_facts *f, struct ft_error *e)
{
	struct tally t;

	t.f = f;
	t.large = false;
	memset(t.has, 0, sizeof t.has); /* the sums are set where they begin */
	f->audit = d;
	f->set = set;
	for (int i = 0; i < FT_EL_COUNT; i++)
		f->value[i] = FT_ABSENT;
	memset(f->sum, 0, sizeof f->sum);
	memset(f->segment, 0xff, sizeof f->segment);
	f->selection_count = f->row_count = 0;
	f->bad_numbers = 0;
	f->above_at = -1;
	if (!prepare(&t, a))
		return ft_fail_memory(e, "reading the audit");
	take_all_lines(&t);
	sums_to_elements(&t);
	if (f->segment[FT_SEG_LA1] >= 0)
		bind_lists(f);
	find_decimals(f);
	find_bills(f);
	return FT_OK;
}
