/* SPDX-License-Identifier: Apache-2.0 */
/* An alarm made for one machine: the tightest threshold for each delay that its own log never passed for so long, and
 * of these the one that tells of a dead compressor soonest. */
#include <math.h>

#include "room.h"

#include "fettle/time.h"

#define MARGIN_LEAST 0.5          /* ours, C: above what was seen */
#define ROUND_TO     0.5          /* ours, C: what units can be set to */
#define LOG_DELAYS   4            /* ours: the log must be this many times as long as the delay */
#define ROOM         25.0         /* ours, C: assumed unless told */
#define WARM_TAU     (6 * 3600.0) /* ours, s: assumed of a loaded cabinet whose own warming is not in the log */
#define AJAR_FASTER  4.0 /* ours: a door ajar warms the air this many times as fast, unless the log has openings */

static const int delays_min[] = { 5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240 }; /* ours: what units offer */

bool ft_cold_alarm_fires(const struct ft_cold_sample *s, size_t n, enum ft_cold_side side, double threshold_c,
                         double delay_s, int64_t *ret_at)
{
	bool beyond = false;
	int64_t since = 0;

	for (size_t i = 0; i < n; i++) {
		if (!((int)side * (s[i].c - threshold_c) > 0)) {
			beyond = false;
			continue;
		}
		if (!beyond)
			since = s[i].at_us;
		beyond = true;
		if ((double)(s[i].at_us - since) / 1e6 >= delay_s) {
			if (ret_at)
				*ret_at = s[i].at_us;
			return true;
		}
	}
	return false;
}

/* The highest level that was held for the delay: of all stretches just as long, the highest of their lowest. `queue`
 * holds indices of rising readings, the lowest first. */
static double held(const struct cold_judging *j, int64_t delay_us, size_t *queue)
{
	const struct ft_cold_sample *s = j->log->samples;
	size_t head = 0, tail = 0, from = 0;
	double most = -INFINITY;

	for (size_t i = 0; i < j->log->count; i++) {
		double y = j->sign * s[i].c;
		if (y <= most) { /* no stretch with this in it is higher */
			head = tail = 0;
			from = i + 1;
			continue;
		}
		while (tail > head && j->sign * s[queue[tail - 1]].c >= y)
			tail--;
		queue[tail++] = i;
		if (s[i].at_us - s[from].at_us < delay_us)
			continue;
		while (s[i].at_us - s[from + 1].at_us >= delay_us)
			from++;
		while (queue[head] < from)
			head++;
		most = fmax(most, j->sign * s[queue[head]].c);
	}
	return most;
}

/* Seconds from `start` to `level` while it warms towards `room` with tau; NaN: it never comes there. */
static double warms(double start, double room, double tau, double level)
{
	if (level <= start)
		return 0;
	return level >= room ? NAN : -tau * log((room - level) / (room - start));
}

/* How fast the air warmed while the door was open, from openings that stand in the log; the slowest. */
static double opening_rate(const struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	double slowest = NAN;
	size_t first = 0, end = 0; /* they walk along with the marks, which are in order */

	for (size_t m = 0; m + 1 < log->mark_count; m++) {
		double rate;
		size_t last;
		if (log->marks[m].kind != FT_COLD_OPENED || log->marks[m + 1].kind != FT_COLD_CLOSED)
			continue;
		while (first < log->count && log->samples[first].at_us < log->marks[m].at_us)
			first++;
		for (end = end > first ? end : first; end < log->count && log->samples[end].at_us <= log->marks[m + 1].at_us;)
			end++;
		last = end ? end - 1 : 0;
		if (end < first + 3 || j->sign * (log->samples[last].c - log->samples[first].c) < 1)
			continue;
		rate = j->sign * (log->samples[last].c - log->samples[first].c) /
			((double)(log->samples[last].at_us - log->samples[first].at_us) / 1e6);
		if (isnan(slowest) || rate < slowest)
			slowest = rate;
	}
	return slowest;
}

static double start_level(const struct cold_judging *j)
{
	return j->sign * (j->r->cycle.cycles ? j->r->cycle.mean_c : j->r->mean_c);
}

void cold_find_alarm(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	double span = (double)(log->samples[log->count - 1].at_us - log->samples[0].at_us) / 1e6;
	double start = start_level(j), room_y, margin = fmax(MARGIN_LEAST, 2 * log->resolution_c), ajar_tau, rate;
	struct ft_cold_alarm best = { .dead_s = NAN, .ajar_s = NAN };
	size_t *queue = ft_arena_raw(j->a, log->count * sizeof *queue);

	j->r->alarm = best;
	if (!queue)
		return;
	best.room_c = isnan(j->o->room_c) ? ROOM : j->o->room_c;
	room_y = j->sign * best.room_c;
	best.warm_measured = j->r->cycle.cycles && j->r->cycle.rise_c_s > 0 && room_y > start;
	best.warm_tau_s = best.warm_measured ? (room_y - start) / j->r->cycle.rise_c_s : WARM_TAU;
	rate = opening_rate(j);
	best.ajar_measured = !isnan(rate) && room_y > start;
	ajar_tau = best.ajar_measured ? (room_y - start) / rate : best.warm_tau_s / AJAR_FASTER;
	for (size_t i = 0; i < sizeof delays_min / sizeof *delays_min; i++) {
		double delay = delays_min[i] * 60, level, dead;
		if (best.found && delay >= best.dead_s) /* it could only be later */
			break;
		if (delay * LOG_DELAYS > span || delay * 1e6 < 2 * (double)log->step_us)
			continue;
		level = held(j, (int64_t)(delay * 1e6), queue);
		level = isfinite(level) ? ceil((level + margin) / ROUND_TO - 1e-9) * ROUND_TO : start + margin;
		dead = warms(start, room_y, best.warm_tau_s, level) + delay;
		if (isnan(dead) || (best.found && dead >= best.dead_s))
			continue;
		best.found = true;
		best.threshold_c = j->sign * level;
		best.delay_s = delay;
		best.dead_s = dead;
		best.ajar_s = warms(start, room_y, ajar_tau, level) + delay;
		best.dead_at_c = j->sign * (room_y - (room_y - start) * exp(-dead / best.warm_tau_s));
	}
	j->r->alarm = best;
}
