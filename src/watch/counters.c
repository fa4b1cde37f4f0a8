/* SPDX-License-Identifier: Apache-2.0 */
/* What was sold between two reads, although counters wrap, fall and begin anew, and boards are exchanged. */
#include "room.h"

/* Where counters go round (rule B2): decimal displays and binary cells. */
static const int64_t moduli[] = { 65536, 100000, 1000000, 16777216, 100000000, INT64_C(4294967296) };

/* More than this many times what it usually rises by is not believed. */
enum { RISE_MOST = 6 };

static int64_t number(const struct watch_walk *w, size_t i, enum ft_watch_number n)
{
	return w->reads[i].number[n];
}

static int64_t usual_rise(const struct watch_walk *w, enum ft_watch_number n)
{
	double sum = 0;
	size_t rises = 0;

	for (size_t i = 1; i < w->count; i++) {
		int64_t a = number(w, i - 1, n), b = number(w, i, n);
		if (a != FT_ABSENT && b != FT_ABSENT && b >= a) {
			sum += (double)(b - a);
			rises++;
		}
	}
	return rises ? (int64_t)(sum / (double)rises) + 1 : 1;
}

/* The smallest modulus that makes the fall a plausible rise, 0: none. */
static int64_t wrapped_at(int64_t a, int64_t b, int64_t usual, int64_t *ret_rise)
{
	for (size_t i = 0; i < sizeof moduli / sizeof *moduli; i++) {
		int64_t rise;
		if (a >= moduli[i] || b < 0)
			continue;
		rise = watch_add(watch_less(b, a), moduli[i]);
		if (rise >= 0 && rise / RISE_MOST <= usual) {
			*ret_rise = rise;
			return moduli[i];
		}
	}
	return 0;
}

static const struct {
	enum ft_watch_number n;
	const char *element, *name;
	bool money;
} watched[] = {
	{ FT_WATCH_PAID_COUNT, "VA102", "the number of paid sales", false },
	{ FT_WATCH_PAID_VALUE, "VA101", "the value of paid sales", true },
	{ FT_WATCH_CASH_IN, "CA305", "cash in", true },
	{ FT_WATCH_TO_BOX, "CA306", "coins to the box", true },
	{ FT_WATCH_CARD_VALUE, "DA201", "card sales", true },
};
enum { WATCHED = sizeof watched / sizeof *watched };

/* "128.60 USD", or of what is counted by pieces "9030" */
static const char *figure(struct ft_watch_result *r, size_t k, int64_t v)
{
	const char *t = watched[k].money ? watch_money(r, v) : ft_arena_printf(r->arena, "%lld", (long long)v);

	return t ? t : "?";
}

static bool differ(struct ft_slice a, struct ft_slice b)
{
	return a.n && b.n && !ft_slice_eq(a, b);
}

static struct ft_exception *raise_at(struct watch_walk *w, enum ft_rule_id rule, size_t i)
{
	struct ft_exception *x = ft_watch_raise(w->r, rule, NULL, w->reads[i - 1].at_us, w->reads[i].at_us);

	x->before = watch_file(w->r, &w->reads[i - 1]);
	x->after = watch_file(w->r, &w->reads[i]);
	return x;
}

/* Raises what happened between reads i - 1 and i; true when differences across them mean nothing. */
static bool broken(struct watch_walk *w, size_t i, const int64_t usual[WATCHED], bool *ret_wrapped)
{
	struct ft_watch_result *r = w->r;
	struct ft_slice was = w->reads[i - 1].text[FT_WATCH_BOARD], is = w->reads[i].text[FT_WATCH_BOARD];
	struct ft_exception *x;
	size_t there = 0, fell = 0, wrapped = 0, which = 0;
	bool exchanged = differ(was, is);

	if (exchanged) {
		x = raise_at(w, FT_RULE_WATCH_BOARD_EXCHANGED, i);
		x->seen = ft_arena_printf(r->arena, "the control board is %.*s", FT_P(is));
		x->expected = ft_arena_printf(r->arena, "%.*s %s", FT_P(was), w->as);
	}
	for (size_t k = 0; k < WATCHED; k++) {
		int64_t a = number(w, i - 1, watched[k].n), b = number(w, i, watched[k].n), rise;
		if (a == FT_ABSENT || b == FT_ABSENT || a == 0)
			continue;
		there++;
		if (b >= a)
			continue;
		which = wrapped_at(a, b, usual[k], &rise) ? which : k;
		fell++;
		wrapped += wrapped_at(a, b, usual[k], &rise) != 0;
	}
	/* one total goes round at a time; two that fall together were lost */
	*ret_wrapped = fell == 1 && wrapped == 1;
	if (!fell || *ret_wrapped)
		return exchanged;
	if (exchanged)
		return true; /* a new board counts anew: said already */
	if (fell * 2 > there) {
		x = raise_at(w, FT_RULE_WATCH_COUNTERS_ANEW, i);
		x->seen = ft_arena_printf(r->arena, "%zu of %zu totals are lower than %s", fell, there, w->than);
		return true;
	}
	x = raise_at(w, FT_RULE_WATCH_COUNTER_FELL, i);
	x->seen = ft_arena_printf(r->arena, "%s since initialisation (%s) fell to %s", watched[which].name,
	                          watched[which].element, figure(r, which, number(w, i, watched[which].n)));
	x->expected =
		ft_arena_printf(r->arena, "at least %s %s", figure(r, which, number(w, i - 1, watched[which].n)), w->as);
	return watched[which].n == FT_WATCH_PAID_COUNT;
}

static void wraps(struct watch_walk *w, size_t i, const int64_t usual[WATCHED])
{
	for (size_t k = 0; k < WATCHED; k++) {
		int64_t a = number(w, i - 1, watched[k].n), b = number(w, i, watched[k].n), rise = 0, m;
		struct ft_exception *x;
		if (a == FT_ABSENT || b == FT_ABSENT || b >= a || !(m = wrapped_at(a, b, usual[k], &rise)))
			continue;
		x = raise_at(w, FT_RULE_WATCH_COUNTER_WRAPPED, i);
		x->seen = ft_arena_printf(w->r->arena, "%s since initialisation (%s) went from %s to %s", watched[k].name,
		                          watched[k].element, figure(w->r, k, a), figure(w->r, k, b));
		x->expected = ft_arena_printf(w->r->arena, "it goes round at %s: a rise of %s", figure(w->r, k, m),
		                              figure(w->r, k, rise));
	}
}

/* The rise of one selection's counter; whole falls that no modulus explains tell nothing. */
static int64_t rise_of(int64_t a, int64_t b, int64_t most)
{
	int64_t rise;

	if (a == FT_ABSENT || b == FT_ABSENT || a < 0 || b < 0)
		return FT_ABSENT;
	if (b >= a)
		return b - a;
	return wrapped_at(a, b, most, &rise) ? rise : FT_ABSENT;
}

static void sold_between(struct watch_walk *w, size_t i, bool nothing_known, int64_t usual)
{
	size_t n = w->id_count;
	int64_t sum = 0;
	bool any = false;

	for (size_t s = 0; s < n; s++) {
		int32_t a = w->cell_of[(i - 1) * n + s], b = w->cell_of[i * n + s];
		int64_t rise = FT_ABSENT;
		if (!nothing_known && a >= 0 && b >= 0)
			rise = rise_of(w->reads[i - 1].cells[a].count, w->reads[i].cells[b].count, usual);
		w->sold_each[i * n + s] = rise;
		if (rise != FT_ABSENT) {
			sum = watch_add(sum, rise);
			any = true;
		}
	}
	w->sold[i] = nothing_known
		? FT_ABSENT
		: rise_of(number(w, i - 1, FT_WATCH_PAID_COUNT), number(w, i, FT_WATCH_PAID_COUNT), usual);
	if (w->sold[i] == FT_ABSENT && any)
		w->sold[i] = sum; /* machines without a total have the sum of their selections */
}

static bool card_days(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	int64_t usual = usual_rise(w, FT_WATCH_CARD_VALUE);

	r->cards = ft_arena_raw(r->arena, (w->count + 1) * sizeof *r->cards);
	if (!r->cards)
		return false;
	for (size_t i = 1; i < w->count; i++) {
		int64_t a = number(w, i - 1, FT_WATCH_CARD_VALUE), b = number(w, i, FT_WATCH_CARD_VALUE), v;
		v = w->sold[i] == FT_ABSENT ? FT_ABSENT : rise_of(a, b, usual);
		if (v != FT_ABSENT)
			r->cards[r->card_count++] = (struct ft_card_day){ w->reads[i - 1].at_us, w->reads[i].at_us, v };
	}
	return true;
}

bool watch_counters(struct watch_walk *w)
{
	int64_t usual[WATCHED], value = 0, span;

	for (size_t k = 0; k < WATCHED; k++)
		usual[k] = usual_rise(w, watched[k].n);
	for (size_t i = 1; i < w->count; i++) {
		bool wrapped, unknown = broken(w, i, usual, &wrapped);
		w->visited[i] = unknown; /* boards and memories do not change by themselves */
		if (wrapped)
			wraps(w, i, usual);
		sold_between(w, i, unknown, usual[0]);
		if (w->reads[i].at_us >= w->now_us - 28 * FT_DAY && !unknown) {
			int64_t v = rise_of(number(w, i - 1, FT_WATCH_PAID_VALUE), number(w, i, FT_WATCH_PAID_VALUE), usual[1]);
			value = v == FT_ABSENT ? value : watch_add(value, v);
		}
	}
	span = w->now_us - (w->reads[0].at_us > w->now_us - 28 * FT_DAY ? w->reads[0].at_us : w->now_us - 28 * FT_DAY);
	w->r->week_value = span < FT_DAY ? 0 : (int64_t)((double)value * 7 * (double)FT_DAY / (double)span);
	return card_days(w);
}

void watch_counters_handed(struct watch_walk *w)
{
	struct ft_watch_read two[] = { *w->base->read, w->reads[w->handed] };
	struct watch_walk pair = *w;
	int64_t usual[WATCHED];
	bool wrapped;

	two[0].at_us = w->base->at_us;
	pair.reads = two;
	pair.count = 2;
	pair.as = ft_arena_printf(w->r->arena, "as handed over (%s)", w->base->name);
	pair.than = ft_arena_printf(w->r->arena, "at the handover (%s)", w->base->name);
	for (size_t k = 0; k < WATCHED; k++)
		usual[k] = usual_rise(w, watched[k].n);
	broken(&pair, 1, usual, &wrapped);
	if (wrapped)
		wraps(&pair, 1, usual);
}
