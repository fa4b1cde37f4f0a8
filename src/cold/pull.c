/* SPDX-License-Identifier: Apache-2.0 */
/* Where in a log the pull-down is: from the start, or from a closing of the door, down to the first turn. */
#include <math.h>

#include "room.h"

#include "fettle/time.h"

#define FALL_LEAST 2.0 /* ours, C: less is no pull-down */
#define STEEP      0.8 /* ours: the dead time ends where this share of the steepest fall is reached */
#define TOUCH      0.2 /* ours, C: so near the lowest it is met */
#define LONGEST    (48 * 3600 * FT_SECOND) /* ours */
#define RISE_MOST  (3600 * FT_SECOND)      /* ours: within this the warmest point after a closing is looked for */

enum {
	FEW_MOST = 7, /* fewer than a fit takes */
	EQUAL = 25,   /* ours: steps that differ by less than this part of one are equal */
};

enum { LATER = 6 }; /* ours: of the window, later: the curve bends within it, and any later part is the same curve */

struct stretch {
	size_t from, to; /* warmest, and the turn */
	double fall;
};

static size_t first_at(const struct ft_cold_log *log, int64_t us)
{
	size_t low = 0, high = log->count;

	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (log->samples[mid].at_us < us)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

/* A flat end belongs to the curve, a thermostat that acts does not: where the compressor is known to cycle the curve is
 * over in the middle of its saw, since the bottom may first be met by a later tooth; where it only rises again it is
 * over when the lowest is met for the first time. */
static size_t where_it_ends(const struct cold_judging *j, const struct stretch *r, size_t low)
{
	const struct ft_cold_sample *s = j->log->samples;
	const struct ft_cold_cycle *saw = &j->r->cycle;
	bool rises = r->to > low + 1 && r->to < j->log->count;
	double level = j->sign * s[low].c + fmax(TOUCH, 2 * j->log->resolution_c);

	if (saw->cycles)
		level = fmax(j->sign * saw->mean_c, j->sign * s[low].c);
	else if (!rises)
		return r->to;
	for (size_t i = r->from; i < low; i++)
		if (j->sign * s[i].c <= level)
			return i + 1;
	return low + 1;
}

/* Down from the warmest point near `begin` to the lowest before it rises again by `back`. */
static struct stretch follow(const struct cold_judging *j, size_t begin, double back)
{
	const struct ft_cold_sample *s = j->log->samples;
	struct stretch r = { begin, begin, 0 };
	size_t low;

	for (size_t i = begin; i < j->log->count && s[i].at_us - s[begin].at_us <= RISE_MOST; i++) {
		if (i > begin && s[i].at_us - s[i - 1].at_us > j->gap_us)
			break;
		if (j->sign * s[i].c > j->sign * s[r.from].c)
			r.from = i;
	}
	low = r.from;
	for (size_t i = r.from + 1; i < j->log->count; i++) {
		if (s[i].at_us - s[i - 1].at_us > j->gap_us || s[i].at_us - s[r.from].at_us > LONGEST)
			break;
		if (j->sign * s[i].c < j->sign * s[low].c)
			low = i;
		if (j->sign * (s[i].c - s[low].c) > back)
			break;
		r.to = i + 1;
	}
	r.fall = j->sign * (s[r.from].c - s[low].c);
	r.to = where_it_ends(j, &r, low);
	return r;
}

/* A thermometer in a cabinet goes on as before for a while; the curve begins where it falls in earnest. */
static size_t skip_dead(const struct cold_judging *j, const struct stretch *r)
{
	const struct ft_cold_sample *s = j->log->samples;
	size_t n = r->to - r->from, w = n / 12 + 1, half = n / 2;
	double steepest = 0;

	for (size_t k = r->from; k < r->from + half && k + w < r->to; k++)
		steepest = fmax(steepest, j->sign * (s[k].c - s[k + w].c) / (double)(s[k + w].at_us - s[k].at_us));
	for (size_t k = r->from; k < r->from + half && k + w < r->to; k++) {
		double fall = j->sign * (s[k].c - s[k + w].c) / (double)(s[k + w].at_us - s[k].at_us);
		if (fall >= STEEP * steepest) /* what is missing is the part of the window that is still dead */
			return k + (size_t)ceil((double)w * (1 - fall / steepest)) + w / LATER;
	}
	return r->from;
}

static void look(struct cold_judging *j, size_t begin, double back, struct stretch *best)
{
	struct stretch r;

	if (begin >= j->log->count)
		return;
	r = follow(j, begin, back);
	if (r.fall > best->fall)
		*best = r;
}

/* The widest three of a handful of readings that lie at equal steps. */
static bool equal_steps(const struct cold_judging *j, const struct stretch *r, size_t ret[3])
{
	const struct ft_cold_sample *s = j->log->samples;

	for (size_t last = r->to; last-- > r->from + 2;) {
		int64_t half = (s[last].at_us - s[r->from].at_us) / 2;
		for (size_t k = r->from + 1; k < last; k++) {
			int64_t off = s[k].at_us - s[r->from].at_us - half;
			if (half > 0 && (off < 0 ? -off : off) <= half / EQUAL) {
				memcpy(ret, (size_t[3]){ r->from, k, last }, 3 * sizeof *ret);
				return true;
			}
		}
	}
	return false;
}

/* Too few for a fit: the curve through three of them is a first estimate, and told as no more. */
static void tell_three(struct cold_judging *j, const struct stretch *r)
{
	const struct ft_cold_sample *s = j->log->samples;
	double tau, settles, span, limit = j->r->limit_c;
	const char *reach = "";
	size_t at[3];

	if (r->to - r->from > FEW_MOST || !equal_steps(j, r, at))
		return;
	span = (double)(s[at[2]].at_us - s[at[0]].at_us) / 1e6;
	if (!ft_cold_three((const double[]){ s[at[0]].c, s[at[1]].c, s[at[2]].c }, span / 2, &tau, &settles))
		return;
	if (span >= tau && j->sign * (s[at[0]].c - limit) > 0 && j->sign * (limit - settles) > 0)
		reach = cold_text(j, ", and passes %.1f C %s after the first", limit,
		                  cold_span(j, tau * log((s[at[0]].c - settles) / (limit - settles))));
	ft_find(j->f, FT_RULE_COLD_FEW_POINTS,
	        (struct ft_where){ j->o->name, s[at[0]].line, .timed = !j->log->elapsed, .at_us = s[at[0]].at_us },
	        span >= tau ? cold_text(j, "by three of %zu it has a time constant of %s, settles near %.1f C%s",
	                                r->to - r->from, cold_span(j, tau), settles, reach)
	                    : cold_text(j, "by three of %zu it has a time constant of %s; less than one was seen",
	                                r->to - r->from, cold_span(j, tau)),
	        NULL);
}

void cold_pull_down(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	struct stretch best = { 0 };
	struct ft_cold_fit *fit = &j->r->fit;
	double back = fmax(0.5, fmax(4 * log->resolution_c, 0.6 * j->r->cycle.swing_c));
	size_t from;

	*fit = (struct ft_cold_fit){ .reach_s = NAN, .reach_lo = NAN, .reach_hi = NAN };
	look(j, 0, back, &best);
	for (size_t i = 0; i < log->mark_count; i++)
		if (log->marks[i].kind == FT_COLD_CLOSED || log->marks[i].kind == FT_COLD_SERVICE)
			look(j, first_at(log, log->marks[i].at_us), back, &best);
	if (best.fall < FALL_LEAST)
		return;
	from = skip_dead(j, &best);
	if (!ft_cold_fit(log->samples, from, best.to, log->resolution_c, j->a, fit)) {
		tell_three(j, &best);
		return;
	}
	fit->dead_s = (double)(log->samples[from].at_us - log->samples[best.from].at_us) / 1e6;
	fit->reach_s = ft_cold_fit_reach(fit, j->r->limit_c, &fit->reach_lo, &fit->reach_hi);
	/* what lies beyond the log is told only of a curve that was seen for one tau */
	if (!fit->settles_known && !(fit->reach_s <= fit->span_tau * fit->tau_s))
		fit->reach_s = fit->reach_lo = fit->reach_hi = NAN;
}
