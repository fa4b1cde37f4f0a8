/* SPDX-License-Identifier: Apache-2.0 */
/* The saw of a compressor (or heater) at work, and the peaks that defrosts put into it. */
#include <math.h>
#include <stdlib.h>

#include "room.h"

#include "fettle/time.h"

enum {
	CYCLES_LEAST = 4,  /* ours: fewer may be chance */
	SAMPLES_LEAST = 5, /* ours: of a cycle, or the logger is too slow to see it */
	BLOCKS_MAX = 4096,
};
#define BLOCK         (2 * 3600 * FT_SECOND) /* ours: a cycle fits into it */
#define REGULAR       0.5  /* ours: the middle half of the periods lies within this share of the median */
#define DEFROST_TOP   0.75 /* ours: a peak stands out by this share of the swing, and at least 0.5 C */
#define DEFROST_MAX   (2 * 3600 * FT_SECOND)
#define DEFROST_APART 4   /* ours: so many cycles at least */
#define DEFROST_FIT   0.2 /* ours: intervals between defrosts agree within this share */

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return x < y ? -1 : x > y;
}

double cold_median(double *list, size_t n)
{
	if (!n)
		return NAN;
	qsort(list, n, sizeof *list, by_size);
	return n % 2 ? list[n / 2] : (list[n / 2 - 1] + list[n / 2]) / 2;
}

/* How far the readings move within two hours, usually. */
static double usual_range(const struct cold_judging *j, double *ranges)
{
	const struct ft_cold_log *log = j->log;
	double lo = INFINITY, hi = -INFINITY;
	size_t n = 0, at = 0;
	int64_t until = log->samples[0].at_us + BLOCK;

	for (size_t i = 0; i < log->count && n < BLOCKS_MAX; i++) {
		const struct ft_cold_sample *s = &log->samples[i];
		if (s->at_us > until) {
			if (hi > lo)
				ranges[n++] = hi - lo;
			lo = INFINITY;
			hi = -INFINITY;
			until = s->at_us + BLOCK;
		}
		if (cold_excused(j, s->at_us, &at))
			continue;
		lo = fmin(lo, s->c);
		hi = fmax(hi, s->c);
	}
	if (!n && hi > lo)
		ranges[n++] = hi - lo;
	return n ? cold_median(ranges, n) : 0;
}

struct turn {
	size_t at;
	bool top;   /* of sign * c */
	bool fresh; /* nothing before it belongs to it */
};

struct turns {
	struct turn *list;
	size_t count, room;
};

static bool add(struct cold_judging *j, struct turns *t, size_t at, bool top, bool fresh)
{
	struct turn *grown = ft_arena_grow(j->a, t->list, t->count, &t->room, sizeof *grown);

	if (!grown)
		return false;
	t->list = grown;
	t->list[t->count++] = (struct turn){ at, top, fresh };
	return true;
}

/* Tops and bottoms that are apart by at least `least`. Gaps and services break the row. */
static bool find_turns(struct cold_judging *j, double least, struct turns *t)
{
	const struct ft_cold_sample *s = j->log->samples;
	size_t hi = 0, lo = 0, at = 0;
	int way = 0; /* 1 rising, -1 falling, 0 not known */
	bool fresh = true, begun = false;

	for (size_t i = 0; i < j->log->count; i++) {
		double y = j->sign * s[i].c;
		bool out = cold_excused(j, s[i].at_us, &at);
		if (out || !begun || s[i].at_us - s[i - 1].at_us > j->gap_us) {
			begun = !out;
			way = 0;
			fresh = true;
			hi = lo = i;
			continue;
		}
		if (y > j->sign * s[hi].c)
			hi = i;
		if (y < j->sign * s[lo].c)
			lo = i;
		if (way >= 0 && j->sign * s[hi].c - y >= least) {
			if (way > 0 && !add(j, t, hi, true, fresh))
				return false;
			fresh = way > 0 ? false : fresh;
			way = -1;
			lo = i;
		} else if (way <= 0 && y - j->sign * s[lo].c >= least) {
			if (way < 0 && !add(j, t, lo, false, fresh))
				return false;
			fresh = way < 0 ? false : fresh;
			way = 1;
			hi = i;
		}
	}
	return true;
}

static double seconds(const struct cold_judging *j, size_t from, size_t to)
{
	return (double)(j->log->samples[to].at_us - j->log->samples[from].at_us) / 1e6;
}

struct saw {
	double *period, *duty, *swing, *rise, *mean;
	size_t n;
};

/* From bottom over top to bottom is one cycle. */
static void measure(const struct cold_judging *j, const struct turns *t, struct saw *w)
{
	const struct ft_cold_sample *s = j->log->samples;

	for (size_t i = 0; i + 2 < t->count; i++) {
		const struct turn *a = &t->list[i], *b = &t->list[i + 1], *c = &t->list[i + 2];
		double period = seconds(j, a->at, c->at);
		if (a->top || !b->top || c->top || b->fresh || c->fresh || c->at - a->at < SAMPLES_LEAST)
			continue;
		w->period[w->n] = period;
		w->duty[w->n] = seconds(j, b->at, c->at) / period;
		w->swing[w->n] = j->sign * (s[b->at].c - (s[a->at].c + s[c->at].c) / 2);
		w->rise[w->n] = j->sign * (s[b->at].c - s[a->at].c) / seconds(j, a->at, b->at);
		w->mean[w->n] = (s[b->at].c + (s[a->at].c + s[c->at].c) / 2) / 2;
		w->n++;
	}
}

static bool marked_defrost(const struct cold_judging *j, int64_t from, int64_t to)
{
	for (size_t i = 0; i < j->log->mark_count; i++)
		if (j->log->marks[i].kind == FT_COLD_DEFROST && j->log->marks[i].at_us >= from - BLOCK / 8 &&
		    j->log->marks[i].at_us <= to)
			return true;
	return false;
}

static void find_defrosts(struct cold_judging *j, const struct turns *t, double top, double swing)
{
	const struct ft_cold_sample *s = j->log->samples;
	double least = top + fmax(DEFROST_TOP * swing, 0.5), *every, *length, *peak;
	struct cold_window *list = FT_NEW_ARRAY(j->a, t->count + 1, struct cold_window);
	size_t n = 0, fits = 0, marked = 0;

	every = FT_NEW_ARRAY(j->a, t->count + 1, double);
	length = FT_NEW_ARRAY(j->a, t->count + 1, double);
	peak = FT_NEW_ARRAY(j->a, t->count + 1, double);
	if (!list || !every || !length || !peak)
		return;
	for (size_t i = 1; i + 1 < t->count; i++) {
		size_t a = t->list[i - 1].at, b = t->list[i].at, c = t->list[i + 1].at;
		if (!t->list[i].top || t->list[i].fresh || t->list[i + 1].fresh || j->sign * s[b].c < least ||
		    s[c].at_us - s[a].at_us > DEFROST_MAX)
			continue;
		if (n && s[b].at_us - list[n - 1].to < BLOCK / 4) /* two tops of one */
			continue;
		marked += marked_defrost(j, s[a].at_us, s[c].at_us);
		peak[n] = s[b].c;
		length[n] = seconds(j, a, c);
		list[n++] = (struct cold_window){ s[a].at_us, s[c].at_us, false };
	}
	if (n < 2 && marked == 0)
		return;
	for (size_t i = 1; i < n; i++)
		every[i - 1] = (double)(list[i].from - list[i - 1].from) / 1e6;
	j->r->defrost.every_s = cold_median(every, n - 1);
	for (size_t i = 0; i + 1 < n; i++) {
		double times = every[i] / j->r->defrost.every_s;
		fits += times > 0.5 && fabs(times - round(times)) < DEFROST_FIT;
	}
	/* what comes when it likes is no defrost */
	if (marked < n &&
	    (n < 2 || fits * 10 < (n - 1) * 7 || j->r->defrost.every_s < DEFROST_APART * j->r->cycle.period_s)) {
		j->r->defrost.every_s = 0;
		return;
	}
	j->r->defrost.count = n;
	j->r->defrost.peak_c = cold_median(peak, n);
	j->r->defrost.length_s = cold_median(length, n);
	j->r->defrost.first_us = list[0].from;
	j->defrosts = list;
	j->defrost_count = n;
}

static void recognise(struct cold_judging *j, const struct turns *t, struct saw *w)
{
	const struct ft_cold_sample *s = j->log->samples;
	struct ft_cold_cycle c = { .cycles = w->n };
	double *tops, middle;
	size_t n = 0;

	c.period_s = cold_median(w->period, w->n);
	middle = w->period[w->n * 3 / 4] - w->period[w->n / 4];
	if (middle > REGULAR * c.period_s)
		return;
	c.duty = cold_median(w->duty, w->n);
	c.swing_c = cold_median(w->swing, w->n);
	c.rise_c_s = cold_median(w->rise, w->n);
	c.mean_c = cold_median(w->mean, w->n);
	j->r->cycle = c;
	tops = FT_NEW_ARRAY(j->a, t->count, double);
	if (!tops)
		return;
	for (size_t i = 0; i < t->count; i++)
		if (t->list[i].top)
			tops[n++] = j->sign * s[t->list[i].at].c;
	find_defrosts(j, t, cold_median(tops, n), c.swing_c);
}

void cold_cycles(struct cold_judging *j)
{
	double *ranges = FT_NEW_ARRAY(j->a, BLOCKS_MAX, double), range;
	struct turns t = { 0 };
	struct saw w = { 0 };

	j->r->cycle = (struct ft_cold_cycle){ 0 };
	j->r->defrost = (struct ft_cold_defrost){ 0 };
	if (!ranges)
		return;
	range = usual_range(j, ranges);
	if (range < 2 * j->log->resolution_c || range <= 0 || !find_turns(j, range / 2, &t) || !t.count)
		return;
	w = (struct saw){ FT_NEW_ARRAY(j->a, t.count, double), FT_NEW_ARRAY(j->a, t.count, double),
		              FT_NEW_ARRAY(j->a, t.count, double), FT_NEW_ARRAY(j->a, t.count, double),
		              FT_NEW_ARRAY(j->a, t.count, double), 0 };
	if (!w.period || !w.duty || !w.swing || !w.rise || !w.mean)
		return;
	measure(j, &t, &w);
	if (w.n >= CYCLES_LEAST)
		recognise(j, &t, &w);
}
