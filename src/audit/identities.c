/* SPDX-License-Identifier: Apache-2.0 */
/* The accounting identities A1 to A18 inside one file. What each says, who may break it and how far
 * it is trusted stands in data/audit-identities.csv; here stands only the arithmetic. */
#include "room.h"

enum {
#define ROW(ident, ...) ID_##ident,
#include "audit-identities.inc"
#undef ROW
	IDENTITIES
};

_Static_assert((int)IDENTITIES <= (int)FT_IDENTITIES_MAX, "the public array holds them all");

static const struct {
	const char *id, *sentence, *breakers, *trust;
} rows[IDENTITIES] = {
#define ROW(ident, id, sentence, rule, breakers, trust, source) { id, sentence, breakers, trust },
#include "audit-identities.inc"
#undef ROW
};

static const enum ft_rule_id rules[IDENTITIES] = {
#define ROW(ident, id, sentence, rule, ...) FT_RULE_##rule,
#include "audit-identities.inc"
#undef ROW
};

enum ft_rule_id identity_rule(const struct ft_identity *i)
{
	for (int k = 0; k < IDENTITIES; k++)
		if (rows[k].id == i->id)
			return rules[k];
	return FT_RULE_NONE;
}

static int64_t get(const struct ft_facts *f, enum ft_element_id el)
{
	return f->value[el];
}

static int64_t zero(const struct ft_facts *f, enum ft_element_id el)
{
	return or_zero(f->value[el]);
}

static void set(struct ft_identity *all, int which, int64_t left, int64_t right)
{
	struct ft_identity *i = &all[which];

	if (left == FT_ABSENT || right == FT_ABSENT)
		return;
	i->left = left;
	i->right = right;
	i->stands = left == right ? FT_HOLDS : FT_BROKEN;
}

/* Left at most right. */
static void set_at_most(struct ft_identity *all, int which, int64_t left, int64_t right)
{
	set(all, which, left, right);
	if (all[which].stands == FT_BROKEN && left < right)
		all[which].stands = FT_HOLDS;
}

static int64_t minus(int64_t a, int64_t b)
{
	return a == FT_ABSENT || b == FT_ABSENT ? FT_ABSENT : sat_add(a, -b);
}

/* The next line of the same kind; -1: that was the last. Lines of one kind mostly stand together. */
static int32_t next_of_kind(const struct ft_facts *f, int32_t i)
{
	const struct ft_segment *all = f->audit->segments;
	int id = all[i].id;

	while (++i <= f->last[id])
		if (all[i].id == id)
			return i;
	return -1;
}

static void a1(const struct ft_facts *f, struct ft_identity *all)
{
	static const struct {
		int which;
		int16_t whole, cash, rest[4];
	} t[] = {
		{ ID_A1_VALUE, FT_EL_VA101, FT_EL_CA201, { FT_EL_DA201, FT_EL_DB201, FT_EL_TA201, FT_EL_TA205 } },
		{ ID_A1_NUMBER, FT_EL_VA102, FT_EL_CA202, { FT_EL_DA202, FT_EL_DB202, FT_EL_TA202, FT_EL_TA206 } },
		{ ID_A1_VALUE_SINCE_RESET, FT_EL_VA103, FT_EL_CA203, { FT_EL_DA203, FT_EL_DB203, FT_EL_TA203, FT_EL_TA207 } },
		{ ID_A1_NUMBER_SINCE_RESET, FT_EL_VA104, FT_EL_CA204, { FT_EL_DA204, FT_EL_DB204, FT_EL_TA204, FT_EL_TA208 } },
	};

	for (size_t i = 0; i < sizeof t / sizeof *t; i++) {
		int64_t parts = get(f, t[i].cash);
		for (int k = 0; k < 4 && parts != FT_ABSENT; k++)
			parts = sat_add(parts, zero(f, t[i].rest[k]));
		set(all, t[i].which, get(f, t[i].whole), parts);
	}
}

static void a2(const struct ft_facts *f, struct ft_identity *all)
{
	for (int init = 0; init < 2; init++) {
		int64_t box = get(f, init ? FT_EL_CA306 : FT_EL_CA302);
		int64_t tubes = get(f, init ? FT_EL_CA307 : FT_EL_CA303);
		int64_t bills = init ? f->bills_in_init : f->bills_in_reset;
		int64_t raw = zero(f, init ? FT_EL_CA308 : FT_EL_CA304);
		if (box == FT_ABSENT || tubes == FT_ABSENT)
			continue;
		if (bills == FT_ABSENT)
			bills = raw; /* unsure: neither form closed, show the nearer one */
		set(all, init ? ID_A2 : ID_A2_SINCE_RESET, get(f, init ? FT_EL_CA305 : FT_EL_CA301),
		    sat_add(sat_add(box, tubes), sat_add(bills, zero(f, init ? FT_EL_CA312 : FT_EL_CA311))));
	}
}

/* Machines differ in whether CA3 holds the coins filled by hand and CA4 the coins paid out by hand:
 * all combinations are tried and the one that is exact is taken. */
static void a3(const struct ft_facts *f, struct ft_identity *all)
{
	int64_t by_type = 0; /* one field file closes with the coins filled by type instead of CA1002 */

	for (int32_t i = f->segment[FT_SEG_CA17]; i >= 0; i = next_of_kind(f, i))
		by_type =
			sat_add(by_type, sat_mul(or_zero(row_number(f, (uint32_t)i, 2)), or_zero(row_number(f, (uint32_t)i, 4))));
	for (int init = 0; init < 2; init++) {
		int64_t in = get(f, init ? FT_EL_CA305 : FT_EL_CA301);
		int64_t out = get(f, init ? FT_EL_CA403 : FT_EL_CA401);
		int64_t sold = get(f, init ? FT_EL_CA201 : FT_EL_CA203);
		int64_t fills[3] = { zero(f, init ? FT_EL_CA1002 : FT_EL_CA1001), 0, by_type };
		int64_t by_hand[2] = { zero(f, init ? FT_EL_CA404 : FT_EL_CA402), 0 };
		int64_t left = 0;
		int which = init ? ID_A3 : ID_A4;
		if (in == FT_ABSENT || out == FT_ABSENT || sold == FT_ABSENT)
			continue;
		sold = sat_add(sold,
		               sat_add(zero(f, init ? FT_EL_DA401 : FT_EL_DA402), zero(f, init ? FT_EL_DB401 : FT_EL_DB402)));
		sold = sat_add(sold, -zero(f, init ? FT_EL_CA1602 : FT_EL_CA1601));
		in = sat_add(in, -zero(f, init ? FT_EL_CA802 : FT_EL_CA801));
		for (int k = 0; k < 6; k++) {
			left = sat_add(sat_add(in, -fills[k % 3]), -sat_add(out, -by_hand[k / 3]));
			if (left == sold)
				break;
		}
		if (left != sold) /* show the combination that most machines use */
			left = sat_add(sat_add(in, -fills[0]), -sat_add(out, -by_hand[0]));
		set(all, which, left, sold);
	}
}

static void a5_to_a7(const struct ft_facts *f, struct ft_identity *all)
{
	static const struct {
		int which;
		int16_t part, whole;
	} t[] = {
		{ ID_A5_NUMBER, FT_EL_PA201, FT_EL_VA102 },
		{ ID_A5_VALUE, FT_EL_PA202, FT_EL_VA101 },
		{ ID_A6_NUMBER, FT_EL_PA203, FT_EL_VA104 },
		{ ID_A6_VALUE, FT_EL_PA204, FT_EL_VA103 },
		{ ID_A7_TEST_NUMBER, FT_EL_PA301, FT_EL_VA202 },
		{ ID_A7_TEST_VALUE, FT_EL_PA302, FT_EL_VA201 },
		{ ID_A7_FREE_NUMBER, FT_EL_PA401, FT_EL_VA302 },
		{ ID_A7_FREE_VALUE, FT_EL_PA402, FT_EL_VA301 },
		{ ID_A7_TEST_NUMBER_SINCE_RESET, FT_EL_PA303, FT_EL_VA204 },
		{ ID_A7_TEST_VALUE_SINCE_RESET, FT_EL_PA304, FT_EL_VA203 },
		{ ID_A7_FREE_NUMBER_SINCE_RESET, FT_EL_PA403, FT_EL_VA304 },
		{ ID_A7_FREE_VALUE_SINCE_RESET, FT_EL_PA404, FT_EL_VA303 },
	};

	for (size_t i = 0; i < sizeof t / sizeof *t; i++)
		if (f->value[t[i].part] != FT_ABSENT)
			set(all, t[i].which, f->sum[t[i].part], get(f, t[i].whole));
}

/* What the rows of one selection sum to, beside its own counters. */
struct share {
	int64_t own[4], pa7[4], la1[2]; /* number, value, number since reset, value since reset */
	bool has_own, has_pa7, has_la1;
};

static void compare_share(struct ft_identity *all, int which, int64_t sum, int64_t own)
{
	/* the first broken selection is the one shown; the others still keep it broken */
	if (all[which].stands != FT_BROKEN)
		set(all, which, sum, own);
}

static void close_selection(struct ft_identity *all, const struct share *s)
{
	static const int by_list[4] = { ID_A8_NUMBER, ID_A8_VALUE, ID_A8_NUMBER_SINCE_RESET, ID_A8_VALUE_SINCE_RESET };

	if (s->has_pa7 && s->has_own)
		for (int k = 0; k < 4; k++)
			compare_share(all, by_list[k], s->pa7[k], s->own[k]);
	if (s->has_la1 && s->has_own) {
		compare_share(all, ID_A11, s->la1[0], s->own[1]);
		compare_share(all, ID_A11_SINCE_RESET, s->la1[1], s->own[3]);
	}
}

static void add_row(const struct ft_facts *f, const struct ft_row *row, struct share *s, struct ft_identity *all)
{
	int id = f->audit->segments[row->segment].id;

	if (id == FT_SEG_PA2) {
		s->has_own = true;
		for (unsigned k = 0; k < 4; k++)
			s->own[k] = row_number(f, row->segment, k + 1);
	} else if (id == FT_SEG_PA7) {
		int64_t price = row_number(f, row->segment, 4), v[4];
		s->has_pa7 = true;
		for (unsigned k = 0; k < 4; k++) {
			v[k] = row_number(f, row->segment, k + 5);
			if (v[k] == FT_ABSENT || s->pa7[k] == FT_ABSENT)
				s->pa7[k] = FT_ABSENT; /* an empty counter is not 0 */
			else if (!audit_unset(v[k]))
				s->pa7[k] = sat_add(s->pa7[k], v[k]);
		}
		if (price != FT_ABSENT && !audit_unset(price) && v[0] != FT_ABSENT && v[1] != FT_ABSENT && !audit_unset(v[0]) &&
		    !audit_unset(v[1]))
			compare_share(all, ID_A10, v[1], sat_mul(price, v[0]));
	} else if (id == FT_SEG_LA1) {
		int64_t price = row_number(f, row->segment, 3);
		int64_t reset = row_number(f, row->segment, 4), init = row_number(f, row->segment, 5);
		if (price == FT_ABSENT || audit_unset(price)) /* makers' own lists of other sums carry no price */
			return;
		s->has_la1 = true;
		s->la1[0] = init == FT_ABSENT || s->la1[0] == FT_ABSENT ? FT_ABSENT : sat_add(s->la1[0], sat_mul(price, init));
		s->la1[1] =
			reset == FT_ABSENT || s->la1[1] == FT_ABSENT ? FT_ABSENT : sat_add(s->la1[1], sat_mul(price, reset));
	}
}

enum { SHARES_ON_STACK = 128 }; /* ours: most machines have fewer selections */

/* Selections are gone through in slices of SHARES_ON_STACK, so nothing needs memory of its own. */
static void a8_a10_a11(const struct ft_facts *f, struct ft_identity *all)
{
	struct share shares[SHARES_ON_STACK];

	if (f->value[FT_EL_PA705] == FT_ABSENT && f->value[FT_EL_LA103] == FT_ABSENT)
		return;
	for (size_t base = 0; base < f->selection_count; base += SHARES_ON_STACK) {
		size_t n = f->selection_count - base < SHARES_ON_STACK ? f->selection_count - base : SHARES_ON_STACK;
		memset(shares, 0, n * sizeof *shares);
		for (size_t i = 0; i < f->row_count; i++)
			if (f->rows[i].selection >= (int32_t)base && f->rows[i].selection < (int32_t)(base + n))
				add_row(f, &f->rows[i], &shares[(size_t)f->rows[i].selection - base], all);
		for (size_t i = 0; i < n; i++)
			close_selection(all, &shares[i]);
	}
}

static void a9(const struct ft_facts *f, struct ft_identity *all)
{
	static const struct {
		char device[3];
		struct {
			int which;
			int16_t whole[2];
		} span[2]; /* since initialisation (PA706), since reset (PA708) */
	} t[] = {
		{ "CA",
		  { { ID_A9_CASH, { FT_EL_CA201, FT_EL_NONE } }, { ID_A9_CASH_SINCE_RESET, { FT_EL_CA203, FT_EL_NONE } } } },
		{ "DA",
		  { { ID_A9_CASHLESS_1, { FT_EL_DA201, FT_EL_NONE } },
		    { ID_A9_CASHLESS_1_SINCE_RESET, { FT_EL_DA203, FT_EL_NONE } } } },
		{ "DB",
		  { { ID_A9_CASHLESS_2, { FT_EL_DB201, FT_EL_NONE } },
		    { ID_A9_CASHLESS_2_SINCE_RESET, { FT_EL_DB203, FT_EL_NONE } } } },
		{ "TA",
		  { { ID_A9_TOKENS, { FT_EL_TA201, FT_EL_TA205 } },
		    { ID_A9_TOKENS_SINCE_RESET, { FT_EL_TA203, FT_EL_TA207 } } } },
	};
	int64_t sums[4][2] = { { 0 } };
	bool any[4][2] = { { false } };

	if (f->value[FT_EL_PA706] == FT_ABSENT)
		return;
	for (size_t i = 0; i < f->row_count; i++) {
		const struct ft_segment *s = &f->audit->segments[f->rows[i].segment];
		struct ft_slice device;
		if (s->id != FT_SEG_PA7)
			continue;
		device = ft_audit_at(f->audit, s, 2);
		for (int k = 0; k < 4; k++) {
			if (device.n < 2 || memcmp(device.p, t[k].device, 2) != 0)
				continue;
			for (unsigned reset = 0; reset < 2; reset++) {
				int64_t v = row_number(f, f->rows[i].segment, reset ? 8 : 6);
				if (v == FT_ABSENT || audit_unset(v))
					continue;
				sums[k][reset] = sat_add(sums[k][reset], v);
				any[k][reset] = true;
			}
		}
	}
	for (int k = 0; k < 4; k++)
		for (int reset = 0; reset < 2; reset++) {
			int64_t whole = get(f, t[k].span[reset].whole[0]);
			if (whole != FT_ABSENT && t[k].span[reset].whole[1] != FT_EL_NONE)
				whole = sat_add(whole, zero(f, t[k].span[reset].whole[1]));
			if (any[k][reset])
				set(all, t[k].span[reset].which, sums[k][reset], whole);
		}
}

/* Sum of value times number over the rows of a segment; FT_ABSENT when a row lacks either or has the
 * value 0 (coin rows without a value are seen). */
static int64_t product(const struct ft_facts *f, int segment, unsigned value_at, unsigned number_at)
{
	int64_t sum = FT_ABSENT;

	for (int32_t i = f->segment[segment]; i >= 0; i = next_of_kind(f, i)) {
		int64_t v = row_number(f, (uint32_t)i, value_at), n = row_number(f, (uint32_t)i, number_at);
		if (v == FT_ABSENT || n == FT_ABSENT || (v == 0 && n != 0))
			return FT_ABSENT;
		sum = sat_add(or_zero(sum), sat_mul(v, n));
	}
	return sum;
}

static void a12_to_a15(const struct ft_facts *f, struct ft_identity *all)
{
	static const struct {
		int which;
		int16_t segment;
		uint8_t value_at, number_at;
		int16_t whole;
	} t[] = {
		{ ID_A12, FT_SEG_CA17, 2, 3, FT_EL_CA1501 },
		{ ID_A13_BOX, FT_SEG_CA11, 1, 6, FT_EL_CA306 },
		{ ID_A13_TUBES, FT_SEG_CA11, 1, 7, FT_EL_CA307 },
		{ ID_A13_BOX_SINCE_RESET, FT_SEG_CA11, 1, 3, FT_EL_CA302 },
		{ ID_A13_TUBES_SINCE_RESET, FT_SEG_CA11, 1, 4, FT_EL_CA303 },
		{ ID_A14_FILLED, FT_SEG_CA13, 1, 3, FT_EL_CA1002 },
		{ ID_A14_FILLED_SINCE_RESET, FT_SEG_CA13, 1, 2, FT_EL_CA1001 },
		{ ID_A15_PAID_OUT, FT_SEG_CA12, 1, 4, FT_EL_CA403 },
		{ ID_A15_BY_HAND, FT_SEG_CA12, 1, 5, FT_EL_CA404 },
		{ ID_A15_PAID_OUT_SINCE_RESET, FT_SEG_CA12, 1, 2, FT_EL_CA401 },
		{ ID_A15_BY_HAND_SINCE_RESET, FT_SEG_CA12, 1, 3, FT_EL_CA402 },
	};

	for (size_t i = 0; i < sizeof t / sizeof *t; i++)
		if (f->segment[t[i].segment] >= 0)
			set(all, t[i].which, product(f, t[i].segment, t[i].value_at, t[i].number_at), get(f, t[i].whole));
	if (f->segment[FT_SEG_CA11] >= 0) {
		set(all, ID_A13_IN, product(f, FT_SEG_CA11, 1, 5), minus(get(f, FT_EL_CA305), or_zero(f->bills_in_init)));
		set(all, ID_A13_IN_SINCE_RESET, product(f, FT_SEG_CA11, 1, 2),
		    minus(get(f, FT_EL_CA301), or_zero(f->bills_in_reset)));
	}
	if (f->segment[FT_SEG_CA14] >= 0) {
		set(all, ID_A14_BILLS, product(f, FT_SEG_CA14, 1, 5), f->bills_in_init);
		set(all, ID_A14_BILLS_SINCE_RESET, product(f, FT_SEG_CA14, 1, 3), f->bills_in_reset);
	}
}

static void a16(const struct ft_facts *f, struct ft_identity *all)
{
	if (f->above_at >= 0)
		set(all, ID_A16, f->above_reset, f->above_init);
	else
		set(all, ID_A16, 0, 0);
}

static void a17_a18(const struct ft_facts *f, struct ft_identity *all)
{
	int64_t lowest = INT64_MAX, highest = 0, value = get(f, FT_EL_VA101), count = get(f, FT_EL_VA102);

	set_at_most(all, ID_A17_RESETS, get(f, FT_EL_EA310), get(f, FT_EL_EA309));
	set_at_most(all, ID_A17_READS_WITH_RESET, get(f, FT_EL_EA301), get(f, FT_EL_EA309));
	for (size_t i = 0; i < f->selection_count; i++) {
		int64_t p = row_number(f, f->selections[i], 2);
		if (p == FT_ABSENT || audit_unset(p))
			continue;
		lowest = p < lowest ? p : lowest;
		highest = p > highest ? p : highest;
	}
	for (size_t i = 0; i < f->row_count && (f->value[FT_EL_PA704] != FT_ABSENT || f->value[FT_EL_LA103] != FT_ABSENT);
	     i++) { /* lower prices on other lists count too */
		const struct ft_segment *s = &f->audit->segments[f->rows[i].segment];
		int64_t p = s->id == FT_SEG_PA7 ? row_number(f, f->rows[i].segment, 4)
			: s->id == FT_SEG_LA1       ? row_number(f, f->rows[i].segment, 3)
										: FT_ABSENT;
		if (p == FT_ABSENT || audit_unset(p))
			continue;
		lowest = p < lowest ? p : lowest;
		highest = p > highest ? p : highest;
	}
	if (value == FT_ABSENT || count == FT_ABSENT || count <= 0 || lowest > highest)
		return;
	set(all, ID_A18, value / count, value / count);
	if (value < sat_mul(lowest, count)) {
		all[ID_A18].right = lowest;
		all[ID_A18].stands = FT_BROKEN;
	} else if (value > sat_mul(highest, count)) {
		all[ID_A18].right = highest;
		all[ID_A18].stands = FT_BROKEN;
	}
}

size_t ft_audit_identities(const struct ft_facts *f, struct ft_identity ret[FT_IDENTITIES_MAX])
{
	for (int i = 0; i < IDENTITIES; i++)
		ret[i] = (struct ft_identity){ rows[i].id, rows[i].sentence, FT_CANNOT_TELL, FT_ABSENT,
			                           FT_ABSENT,  rows[i].breakers, rows[i].trust };
	a1(f, ret);
	a2(f, ret);
	a3(f, ret);
	a5_to_a7(f, ret);
	a8_a10_a11(f, ret);
	a9(f, ret);
	a12_to_a15(f, ret);
	a16(f, ret);
	a17_a18(f, ret);
	return IDENTITIES;
}
