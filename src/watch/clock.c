/* SPDX-License-Identifier: Apache-2.0 */
/* Reads that did not come, clocks that went wrong, the mains that failed, prices that are no longer those agreed. */
#include <math.h>

#include "room.h"

static double *gaps_of(struct watch_walk *w, size_t *ret_n)
{
	double *gaps = ft_arena_raw(w->scratch, (w->count + 1) * sizeof *gaps);
	size_t n = 0;

	for (size_t i = 1; gaps && i < w->count; i++) {
		double gap = (double)(w->reads[i].at_us - w->reads[i - 1].at_us);
		if (gap > 0)
			gaps[n++] = gap;
	}
	*ret_n = n;
	return gaps;
}

static void missing_from(struct watch_walk *w, size_t i, int64_t until, bool came)
{
	struct ft_watch_result *r = w->r;
	int64_t limit = (int64_t)(WATCH_MISSING_PERIODS * (double)r->period_us);
	struct ft_exception *x;
	double periods;

	if (until - w->reads[i].at_us <= limit)
		return;
	periods = (double)(until - w->reads[i].at_us) / (double)r->period_us;
	x = ft_watch_raise(r, FT_RULE_WATCH_READS_MISSING, NULL, w->reads[i].at_us + r->period_us,
	                   w->reads[i].at_us + limit);
	x->ended_us = came ? until : FT_NEVER;
	x->seen = ft_arena_printf(r->arena, "no audit since %s, %.0f are missing", watch_day(r, w->reads[i].at_us),
	                          fmax(2, floor(periods - (came ? 0.5 : 0))));
	x->expected = ft_arena_printf(r->arena, "one every %.1f days", (double)r->period_us / (double)FT_DAY);
	x->before = watch_file(r, &w->reads[i]);
	x->after = came ? watch_file(r, &w->reads[i + 1]) : NULL;
}

void watch_arrivals(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	size_t n;
	double *gaps = gaps_of(w, &n), period;

	if (!gaps) {
		r->failed = true;
		return;
	}
	if (n + 1 < WATCH_PERIOD_READS || !watch_median(gaps, n, &period))
		return;
	r->period_us = (int64_t)fmax(period, 3600e6); /* more often than hourly is no rhythm of days */
	for (size_t i = 0; i + 1 < w->count; i++)
		missing_from(w, i, w->reads[i + 1].at_us, true);
	missing_from(w, w->count - 1, w->now_us, false);
}

/* ---- the clock ---- */

static bool clock_at(const struct watch_walk *w, size_t i, double *ret)
{
	if (w->reads[i].number[FT_WATCH_CLOCK] == FT_ABSENT)
		return false;
	*ret = (double)w->reads[i].number[FT_WATCH_CLOCK] - (double)w->reads[i].at_us;
	return true;
}

/* An hour to the minute is summer time, nobody's fault. */
static bool summer_time(double off)
{
	return fabs(fabs(off) - 3600e6) < 300e6;
}

void watch_clock(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	double first[7], base = 0, off;
	size_t n = 0, beyond = 0, began = 0;
	struct ft_exception *x = NULL;

	for (size_t i = 0; i < w->count && n < 7; i++)
		if (clock_at(w, i, &off))
			first[n++] = off;
	if (n < WATCH_CLOCK_READS || !watch_median(first, n, &base))
		return;
	for (size_t i = 0; i < w->count; i++) {
		if (!clock_at(w, i, &off))
			continue;
		off -= base;
		if (summer_time(off)) {
			base += off > 0 ? 3600e6 : -3600e6;
			off += off > 0 ? -3600e6 : 3600e6;
		}
		if (fabs(off) <= (double)WATCH_CLOCK_US) {
			if (beyond >= WATCH_CLOCK_READS && x)
				x->ended_us = w->reads[i].at_us;
			beyond = 0;
			x = NULL;
			continue;
		}
		if (beyond++ == 0)
			began = i;
		if (beyond < WATCH_CLOCK_READS)
			continue;
		if (!x)
			x = ft_watch_raise(r, FT_RULE_WATCH_CLOCK_OFF, NULL, w->reads[began].at_us, w->reads[i].at_us);
		x->seen = fabs(off) < 86400e6
			? ft_arena_printf(r->arena, "its clock is %.0f minutes %s what it was against ours", fabs(off) / 60e6,
		                      off > 0 ? "ahead of" : "behind")
			: ft_arena_printf(r->arena, "its clock is %.0f days %s", fabs(off) / 86400e6, off > 0 ? "ahead" : "behind");
		x->after = watch_file(r, &w->reads[i]);
	}
}

/* ---- the mains ---- */

static int64_t outages_between(const struct watch_walk *w, size_t i)
{
	int64_t a = w->reads[i - 1].number[FT_WATCH_OUTAGES], b = w->reads[i].number[FT_WATCH_OUTAGES];

	return a == FT_ABSENT || b == FT_ABSENT || b < a ? 0 : b - a;
}

void watch_outages(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	struct ft_exception *x = NULL;
	int64_t week = 0, before = 0;
	size_t from = 0;

	for (size_t i = 1; i < w->count; i++) {
		double weeks;
		week = watch_add(week, outages_between(w, i));
		while (w->reads[i].at_us - w->reads[from].at_us > 7 * FT_DAY) {
			int64_t gone = outages_between(w, ++from);
			week -= gone;
			before = watch_add(before, gone);
		}
		weeks = (double)(w->reads[from].at_us - w->reads[0].at_us) / (7.0 * (double)FT_DAY);
		if (week >= WATCH_CUTS_LEAST &&
		    ft_poisson_least(week, ((double)before + WATCH_CUTS_PRIOR) / (weeks + 1)) < WATCH_CUTS_CHANCE &&
		    ft_poisson_least(week, WATCH_CUTS_PRIOR) < WATCH_CUTS_CHANCE) {
			if (!x)
				x = ft_watch_raise(r, FT_RULE_WATCH_POWER_CUTS, NULL, w->reads[from].at_us, w->reads[i].at_us);
			x->seen = ft_arena_printf(r->arena, "%lld power cuts within a week", (long long)week);
			x->after = watch_file(r, &w->reads[i]);
		} else if (x && week == 0) {
			x->ended_us = w->reads[i].at_us;
			x = NULL;
		}
	}
}

/* ---- prices ---- */

static int64_t price_in(const struct ft_watch_read *x, struct ft_slice id)
{
	for (size_t k = 0; k < x->cell_count; k++)
		if (ft_slice_eq(x->cells[k].id, id))
			return x->cells[k].price;
	return FT_ABSENT;
}

static int64_t price_at(const struct watch_walk *w, size_t i, size_t s)
{
	int32_t k = w->cell_of[i * w->id_count + s];

	return k < 0 ? FT_ABSENT : w->reads[i].cells[k].price;
}

/* What a week of this selection's sales would be worth more or less. */
static int64_t weekly_sales(const struct watch_walk *w, size_t s)
{
	int64_t sum = 0, span = w->reads[w->count - 1].at_us - w->reads[0].at_us;

	for (size_t i = 1; i < w->count; i++) {
		int64_t n = w->sold_each[i * w->id_count + s];
		if (n != FT_ABSENT)
			sum = watch_add(sum, n);
	}
	return span < FT_DAY ? 0 : (int64_t)((double)sum * 7 * (double)FT_DAY / (double)span);
}

/* A price other than the one agreed, from read i on. */
static struct ft_exception *raise_price(struct watch_walk *w, size_t s, size_t i, int64_t now, int64_t agreed,
                                        bool handed)
{
	struct ft_watch_result *r = w->r;
	const char *id = ft_arena_text(r->arena, w->ids[s]);
	struct ft_exception *x = ft_watch_raise(r, FT_RULE_WATCH_PRICE_DIFFERS, id, w->reads[i].at_us, w->reads[i].at_us);

	x->money = watch_mul(now < agreed ? watch_less(agreed, now) : watch_less(now, agreed), weekly_sales(w, s));
	x->seen = ft_arena_printf(r->arena, "selection %s costs %s", id, watch_money(r, now));
	x->expected = handed ? ft_arena_printf(r->arena, "%s as handed over (%s)", watch_money(r, agreed), w->base->name)
						 : ft_arena_printf(r->arena, "%s as first seen", watch_money(r, agreed));
	x->before = i && i != w->handed ? watch_file(r, &w->reads[i - 1]) : NULL;
	x->after = watch_file(r, &w->reads[i]);
	return x;
}

void watch_prices(struct watch_walk *w)
{
	for (size_t s = 0; s < w->id_count; s++) {
		int64_t agreed = FT_ABSENT, before = FT_ABSENT, handed;
		bool by_handover = false;
		struct ft_exception *x = NULL;
		for (size_t i = 0; i < w->count; i++) {
			int64_t now = price_at(w, i, s);
			/* at a handover all that was changed until then is settled */
			if (i == w->handed && (handed = price_in(w->base->read, w->ids[s])) != FT_ABSENT) {
				if (x)
					x->ended_us = w->base->at_us;
				x = NULL;
				before = FT_ABSENT;
				agreed = handed;
				by_handover = true;
			}
			if (now == FT_ABSENT)
				continue;
			if (agreed == FT_ABSENT)
				agreed = now;
			if (x && now == agreed) {
				x->ended_us = w->reads[i].at_us;
				x = NULL;
			} else if (now != agreed && now != before) {
				if (x)
					x->ended_us = w->reads[i].at_us;
				x = raise_price(w, s, i, now, agreed, by_handover);
			}
			before = now;
		}
	}
}
