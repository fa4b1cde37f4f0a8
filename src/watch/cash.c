/* SPDX-License-Identifier: Apache-2.0 */
/* What was counted against what must have been there. How well people count is learned from the whole fleet (median
 * deviation, so that thefts do not make it wide); small steady losses show in a CUSUM, large ones at once. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "room.h"

struct tally {
	const char *name;
	int64_t at_us;
	double z, spread;
	const struct ft_collection *c;
};

struct till {
	struct ft_watch_result *results;
	size_t count;
	struct ft_arena *arena;
	struct ft_cash *cash;
	int32_t first_day, last_day; /* of all counts */
	struct tally *tallies;
	size_t tally_count, tally_room;
};

static int by_asset_and_day(const void *x, const void *y)
{
	const struct ft_count *a = x, *b = y;
	int c = strcmp(a->asset, b->asset);

	if (c)
		return c;
	return a->day != b->day ? (a->day < b->day ? -1 : 1) : a->line < b->line ? -1 : a->line > b->line;
}

static int32_t day_of(int64_t at_us)
{
	return (int32_t)(at_us / FT_DAY);
}

/* Days between a count and the stretch in which the collection fell. */
static int32_t days_off(const struct ft_collection *c, int32_t day)
{
	if (day < day_of(c->after_us))
		return day_of(c->after_us) - day;
	return day > day_of(c->at_us) ? day - day_of(c->at_us) : 0;
}

static struct ft_collection *nearest(struct ft_watch_result *r, int32_t day)
{
	struct ft_collection *best = NULL;

	for (size_t i = 0; i < r->collection_count; i++) {
		struct ft_collection *c = &r->collections[i];
		int32_t off = days_off(c, day);
		if (off > 2 || (c->counted != FT_ABSENT && off > 0))
			continue;
		if (!best || off < days_off(best, day))
			best = c;
	}
	return best;
}

/* Money in since initialisation at noon of a day, from the reads around it; how far it may be off. */
static bool boxed_at(const struct ft_watch_result *r, int32_t day, int64_t *ret, int64_t *ret_unsure)
{
	int64_t at = day * FT_DAY + FT_DAY / 2;

	for (size_t i = 1; i < r->box_count; i++) {
		int64_t span = r->box_at_us[i] - r->box_at_us[i - 1], rise = r->box[i] - r->box[i - 1];
		if (r->box_at_us[i] < at || r->box_at_us[i - 1] > at || span <= 0)
			continue;
		*ret = r->box[i - 1] + (int64_t)((double)rise * (double)(at - r->box_at_us[i - 1]) / (double)span);
		*ret_unsure = rise;
		return true;
	}
	return false;
}

/* A machine whose audits tell no collections: between two counts the counters tell what must have come in. */
static struct ft_collection *interpolated(struct ft_watch_result *r, int32_t before, int32_t day)
{
	int64_t from, to, unsure[2];
	struct ft_collection *grown;

	if (!boxed_at(r, before, &from, &unsure[0]) || !boxed_at(r, day, &to, &unsure[1]))
		return NULL;
	grown = ft_arena_grow(r->arena, r->collections, r->collection_count, &r->collection_room, sizeof *grown);
	if (!grown) {
		r->failed = true;
		return NULL;
	}
	r->collections = grown;
	grown[r->collection_count] = (struct ft_collection){ .at_us = day * FT_DAY + FT_DAY / 2,
		                                                 .after_us = day * FT_DAY + FT_DAY / 2,
		                                                 .expected = to - from,
		                                                 .counted = FT_ABSENT,
		                                                 .unsure = unsure[0] + unsure[1],
		                                                 .by = "",
		                                                 .route = "",
		                                                 .bag = "" };
	return &grown[r->collection_count++];
}

static void join(struct till *t, struct ft_count *counts, size_t n)
{
	struct watch_index index;

	if (!watch_index_make(t->results, t->count, t->arena, &index))
		return;
	if (n)
		qsort(counts, n, sizeof *counts, by_asset_and_day);
	for (size_t i = 0; i < n; i++) {
		struct ft_watch_result *r = watch_index_find(&index, counts[i].asset);
		struct ft_collection *c = NULL;
		bool follows = i && strcmp(counts[i - 1].asset, counts[i].asset) == 0;
		t->first_day = counts[i].day < t->first_day ? counts[i].day : t->first_day;
		t->last_day = counts[i].day > t->last_day ? counts[i].day : t->last_day;
		if (r && r->collection_count && r->collections[0].seen)
			c = nearest(r, counts[i].day);
		else if (r && follows && counts[i - 1].day < counts[i].day)
			c = interpolated(r, counts[i - 1].day, counts[i].day);
		if (!c) {
			t->cash->unmatched +=
				!(r && !follows && !r->collection_count); /* the first of such a machine is its beginning */
			continue;
		}
		c->counted = watch_add(c->counted == FT_ABSENT ? 0 : c->counted, watch_add(counts[i].bills, counts[i].coins));
		c->by = counts[i].by;
		c->route = counts[i].route;
		c->bag = counts[i].bag;
	}
}

static double unit_of(const struct ft_watch_result *r)
{
	return pow(10, r->decimals);
}

static bool told(const struct ft_collection *c)
{
	return c->counted != FT_ABSENT && c->expected > 0;
}

static void learn_sigma(struct till *t)
{
	size_t n = 0;
	double *share, median = 0;

	for (size_t i = 0; i < t->count; i++)
		n += t->results[i].collection_count;
	share = ft_arena_raw(t->arena, (n + 1) * sizeof *share);
	n = 0;
	for (size_t i = 0; share && i < t->count; i++)
		for (size_t k = 0; k < t->results[i].collection_count; k++) {
			const struct ft_collection *c = &t->results[i].collections[k];
			if (told(c) && c->seen)
				share[n++] = fabs((double)(c->counted - c->expected) / (double)c->expected);
		}
	t->cash->sigma = 0.01; /* few counts tell nothing of how well people count */
	if (n >= 20 && watch_median(share, n, &median))
		t->cash->sigma = fmax(median * 1.4826, WATCH_SIGMA_LEAST);
}

/* One standard deviation of a count; half a unit of money is always the counter's own. */
static double spread_of(const struct till *t, const struct ft_watch_result *r, const struct ft_collection *c)
{
	double sigma = t->cash->sigma * (double)c->expected, least = 0.5 * unit_of(r), unsure = (double)c->unsure / 2;

	return sqrt(sigma * sigma + least * least + unsure * unsure);
}

static double deviation(const struct till *t, const struct ft_watch_result *r, const struct ft_collection *c)
{
	return (double)(c->counted - c->expected) / spread_of(t, r, c);
}

const char *ft_variance_words(int64_t variance, double spread, bool falls, char out[FT_VARIANCE_TEXT])
{
	double times = spread > 0 ? fabs((double)variance) / spread : 0;

	if (!(spread > 0))
		return "";
	if (times <= WATCH_USUAL && !falls)
		return "usual";
	snprintf(out, FT_VARIANCE_TEXT, times < 9.95 ? "%s%.1f times usual" : "%s%.0f times usual", falls ? "falls, " : "",
	         fmin(times, 1e6));
	return out;
}

static const char *by_whom(struct ft_watch_result *r, const struct ft_collection *c)
{
	return *c->by ? ft_arena_printf(r->arena, ", counted by %s", c->by) : "";
}

/* Large at once: true when it was. */
static bool large(struct ft_watch_result *r, const struct ft_collection *c, double z)
{
	int64_t v = c->counted - c->expected, off = v < 0 ? -v : v;
	double limit = fmax(WATCH_SHORT_SHARE * (double)c->expected, WATCH_SHORT_LEAST * unit_of(r) / 100);
	struct ft_exception *x;

	if ((double)off < limit + (double)c->unsure || fabs(z) < WATCH_SHORT_SIGMA)
		return false;
	x = ft_watch_raise(r, v < 0 ? FT_RULE_WATCH_CASH_SHORT : FT_RULE_WATCH_CASH_OVER, NULL, c->at_us, c->at_us);
	x->money = off;
	x->sure = 1 - fmin(0.5, erfc(fabs(z) / sqrt(2)));
	x->seen = ft_arena_printf(r->arena, "the collection of %s was %s %s, %.0f times its usual spread%s%s%s",
	                          watch_day(r, c->at_us), watch_money(r, off), v < 0 ? "short" : "over", fabs(z),
	                          by_whom(r, c), *c->bag ? ", bag " : "", c->bag);
	x->expected =
		ft_arena_printf(r->arena, "%s, and %s was counted", watch_money(r, c->expected), watch_money(r, c->counted));
	return true;
}

static int by_when(const void *x, const void *y)
{
	const struct ft_collection *a = x, *b = y;

	return a->at_us < b->at_us ? -1 : a->at_us > b->at_us;
}

static void note(struct till *t, const char *name, const struct ft_watch_result *r, const struct ft_collection *c)
{
	struct tally *grown = ft_arena_grow(t->arena, t->tallies, t->tally_count, &t->tally_room, sizeof *grown);

	if (!grown)
		return;
	t->tallies = grown;
	grown[t->tally_count++] = (struct tally){ name, c->at_us, deviation(t, r, c), spread_of(t, r, c), c };
}

static void judge_machine(struct till *t, struct ft_watch_result *r)
{
	struct ft_cusum sum = { 0, 0 };
	int64_t lost = 0, since = 0;
	double spread = 0;
	size_t open = 0, n = 0;

	if (r->collection_count)
		qsort(r->collections, r->collection_count, sizeof *r->collections, by_when);
	for (size_t i = 0; i < r->collection_count; i++) {
		const struct ft_collection *c = &r->collections[i];
		double z;
		if (!told(c))
			continue;
		z = deviation(t, r, c);
		n++;
		spread += spread_of(t, r, c) * spread_of(t, r, c);
		r->cash_variance = watch_add(r->cash_variance == FT_ABSENT ? 0 : r->cash_variance, c->counted - c->expected);
		t->cash->expected = watch_add(t->cash->expected, c->expected);
		t->cash->counted++;
		if (large(r, c, z))
			z = 0; /* said already */
		if (sum.low <= 0) {
			lost = 0;
			since = c->at_us;
		}
		lost += c->counted - c->expected;
		ft_cusum_step(&sum, z, 0, WATCH_CUSUM_K);
		if (sum.low > WATCH_CUSUM_H) {
			struct ft_exception *x =
				open ? &r->exceptions[open - 1] : ft_watch_raise(r, FT_RULE_WATCH_CASH_LOSING, NULL, since, c->at_us);
			if (!open)
				open = r->exception_count;
			x->money = lost < 0 ? -lost : 0;
			x->sure = 1 - exp(-sum.low);
			x->seen = ft_arena_printf(r->arena, "%s less than there must be since %s, a little at each collection%s",
			                          watch_money(r, lost < 0 ? -lost : 0), watch_day(r, since), by_whom(r, c));
			x->expected = ft_arena_printf(r->arena, "counts within %.1f %% of the audits, as in this fleet",
			                              t->cash->sigma * 200);
		} else if (open && sum.low <= 0) {
			r->exceptions[open - 1].ended_us = c->at_us;
			open = 0;
		}
	}
	r->cash_spread = sqrt(spread);
	n = 0; /* what was collected before the first count was perhaps never meant to be counted */
	for (size_t i = 0; i < r->collection_count; i++) {
		const struct ft_collection *c = &r->collections[i];
		struct ft_exception *x;
		n += c->counted != FT_ABSENT;
		if (!n)
			continue;
		if (c->counted != FT_ABSENT || c->expected <= 0 || day_of(c->at_us) + WATCH_COUNT_DAYS > t->last_day ||
		    day_of(c->at_us) < t->first_day)
			continue;
		x = ft_watch_raise(r, FT_RULE_WATCH_NOT_COUNTED, NULL, c->at_us, c->at_us + WATCH_COUNT_DAYS * FT_DAY);
		x->money = c->expected;
		x->sure = 0.9;
		x->seen = ft_arena_printf(r->arena, "the collection of %s was never counted", watch_day(r, c->at_us));
		x->expected = ft_arena_printf(r->arena, "%s", watch_money(r, c->expected));
	}
}

static int by_tally(const void *x, const void *y)
{
	const struct tally *a = x, *b = y;
	int c = strcmp(a->name, b->name);

	return c ? c : a->at_us < b->at_us ? -1 : a->at_us > b->at_us;
}

/* Variances by name, with the CUSUM over the order of time. */
static struct ft_variance *sum_up(struct till *t, size_t *ret_count)
{
	struct ft_variance *list = NULL;
	struct ft_cusum sum = { 0, 0 };
	size_t room = 0, n = 0;

	if (t->tally_count)
		qsort(t->tallies, t->tally_count, sizeof *t->tallies, by_tally);
	for (size_t i = 0; i < t->tally_count; i++) {
		const struct tally *x = &t->tallies[i];
		if (!n || strcmp(list[n - 1].name, x->name) != 0) {
			struct ft_variance *grown = ft_arena_grow(t->arena, list, n, &room, sizeof *grown);
			if (!grown)
				break;
			list = grown;
			list[n++] = (struct ft_variance){ .name = x->name, .signal_us = FT_ABSENT };
			sum = (struct ft_cusum){ 0, 0 };
		}
		list[n - 1].collections++;
		list[n - 1].expected = watch_add(list[n - 1].expected, x->c->expected);
		list[n - 1].counted = watch_add(list[n - 1].counted, x->c->counted);
		list[n - 1].spread = hypot(list[n - 1].spread, x->spread);
		ft_cusum_step(&sum, fmax(-3, fmin(3, x->z)), 0, WATCH_CUSUM_K); /* one large theft is not a habit */
		if (sum.low > list[n - 1].low)
			list[n - 1].low = sum.low;
		if (sum.low > 2 * WATCH_CUSUM_H && list[n - 1].signal_us == FT_ABSENT)
			list[n - 1].signal_us = x->at_us;
	}
	*ret_count = n;
	return list;
}

static void by_names(struct till *t)
{
	for (int route = 0; route < 2; route++) {
		t->tallies = NULL;
		t->tally_count = t->tally_room = 0;
		for (size_t i = 0; i < t->count; i++)
			for (size_t k = 0; k < t->results[i].collection_count; k++) {
				const struct ft_collection *c = &t->results[i].collections[k];
				const char *name = route ? c->route : c->by;
				if (told(c) && *name)
					note(t, name, &t->results[i], c);
			}
		if (route)
			t->cash->routes = sum_up(t, &t->cash->route_count);
		else
			t->cash->persons = sum_up(t, &t->cash->person_count);
	}
}

enum ft_status ft_watch_cash(struct ft_watch_result *results, size_t count, struct ft_count *counts, size_t count_count,
                             struct ft_arena *a, struct ft_cash *ret, struct ft_error *e)
{
	struct till t = {
		.results = results, .count = count, .arena = a, .cash = ret, .first_day = INT32_MAX, .last_day = INT32_MIN
	};

	*ret = (struct ft_cash){ 0 };
	join(&t, counts, count_count);
	learn_sigma(&t);
	for (size_t i = 0; i < count; i++)
		judge_machine(&t, &results[i]);
	by_names(&t);
	return a->failed ? ft_fail_memory(e, "the counts") : FT_OK;
}

/* ---- card settlements ---- */

static int by_settled(const void *x, const void *y)
{
	const struct ft_settlement *a = x, *b = y;
	int c = strcmp(a->asset, b->asset);

	return c ? c : a->day < b->day ? -1 : a->day > b->day;
}

/* Card sales by the machine from the beginning of its reads up to the end of a day. */
static double carded(const struct ft_watch_result *r, int64_t until)
{
	double sum = 0;

	for (size_t i = 0; i < r->card_count && r->cards[i].from_us < until; i++) {
		const struct ft_card_day *c = &r->cards[i];
		double span = (double)(c->to_us - c->from_us);
		sum += c->to_us <= until ? (double)c->value : (double)c->value * (double)(until - c->from_us) / span;
	}
	return sum;
}

static void settle(struct ft_watch_result *r, const struct ft_settlement *list, size_t n)
{
	struct ft_exception *x = NULL;
	int beyond = 0;

	/* weeks, so that the hour at which a day ends matters little */
	for (size_t i = 0; i < n; i++) {
		int64_t from = (list[i].day - 6) * FT_DAY, to = (list[i].day + 1) * FT_DAY, covered = 0;
		double sold, settled = 0, off;
		if (i + 1 < n && list[i + 1].day == list[i].day)
			continue;
		for (size_t k = 0; k < r->card_count; k++)
			if (r->cards[k].to_us > from && r->cards[k].from_us < to)
				covered += (r->cards[k].to_us < to ? r->cards[k].to_us : to) -
					(r->cards[k].from_us > from ? r->cards[k].from_us : from);
		if (from < r->first_us || to > r->last_us || covered < to - from)
			continue; /* across counters that began anew nothing can be said */
		for (size_t k = i + 1; k-- > 0 && list[k].day > list[i].day - 7;)
			settled += (double)list[k].amount;
		sold = carded(r, to) - carded(r, from);
		off = settled - sold;
		if (fabs(off) < fmax(WATCH_SETTLE_SHARE * sold, WATCH_SETTLE_LEAST * unit_of(r) / 100) + sold / 7) {
			if (x)
				x->ended_us = to;
			x = NULL;
			beyond = 0;
			continue;
		}
		if (++beyond < 2)
			continue; /* a read that came late is no theft */
		if (!x)
			x = ft_watch_raise(r, FT_RULE_WATCH_SETTLEMENT_DIFFERS, NULL, from, to);
		x->money = (int64_t)fabs(off);
		x->sure = 0.95;
		x->seen = ft_arena_printf(r->arena, "cards settled %s in the week to %s", watch_money(r, (int64_t)settled),
		                          watch_day(r, to - 1));
		x->expected = ft_arena_printf(r->arena, "%s by the machine", watch_money(r, (int64_t)sold));
	}
}

enum ft_status ft_watch_settlements(struct ft_watch_result *results, size_t count, struct ft_settlement *list,
                                    size_t list_count, struct ft_arena *a, struct ft_error *e)
{
	struct watch_index index;

	if (!watch_index_make(results, count, a, &index))
		return ft_fail_memory(e, "the settlements");
	if (list_count)
		qsort(list, list_count, sizeof *list, by_settled);
	for (size_t i = 0, n; i < list_count; i += n) {
		struct ft_watch_result *r = watch_index_find(&index, list[i].asset);
		for (n = 1; i + n < list_count && strcmp(list[i + n].asset, list[i].asset) == 0; n++)
			;
		if (r)
			settle(r, &list[i], n);
	}
	return FT_OK;
}
