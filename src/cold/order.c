/* SPDX-License-Identifier: Apache-2.0 */
/* Time in a log: repeats, gaps, steps of the clock, and readings that never move. */
#include <math.h>
#include <stdlib.h>

#include "room.h"

#include "fettle/time.h"

enum {
	STEPS_MAX = 4096,  /* ours: enough for a median */
	ODDS_MAX = 1000,   /* ours: what is kept; all of them count */
	STUCK_RUNS = 20,   /* ours: this many times the usual length of a run of one reading, */
	STUCK_SAMPLES = 30 /* so many readings, */
};
#define STUCK_LEAST (2 * 3600 * FT_SECOND)     /* and so long; ours: a compressor moves the air within two hours */
#define SHIFT_MOST  (400000000000 * FT_SECOND) /* ours: all steps back together; sums of times stay whole */
#define GAP_STEPS   2.5                        /* ours: this many usual steps without a reading are a gap */

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return x < y ? -1 : x > y;
}

static void turn(struct ft_cold_log *log)
{
	for (size_t i = 0, k = log->count; i + 1 < k; i++) {
		struct ft_cold_sample s = log->samples[i];
		log->samples[i] = log->samples[--k];
		log->samples[k] = s;
	}
	log->newest_first = true;
}

static int64_t median_step(const struct ft_cold_log *log, struct ft_arena *a)
{
	size_t every = log->count / STEPS_MAX + 1, n = 0;
	double *steps = FT_NEW_ARRAY(a, STEPS_MAX + 1, double);

	if (!steps)
		return -1;
	for (size_t i = 1; i < log->count; i += every) {
		int64_t step = log->samples[i].at_us - log->samples[i - 1].at_us;
		if (step > 0 && n < STEPS_MAX)
			steps[n++] = (double)step;
	}
	if (!n)
		return 0;
	qsort(steps, n, sizeof *steps, by_size);
	return (int64_t)steps[n / 2];
}

static bool odd(struct ft_cold_log *log, size_t *room, struct ft_arena *a, enum ft_cold_odd_kind kind, int64_t at,
                int64_t length, unsigned line)
{
	struct ft_cold_odd *grown;

	if (log->odd_count >= ODDS_MAX)
		return true;
	grown = ft_arena_grow(a, log->odds, log->odd_count, room, sizeof *grown);
	if (!grown)
		return false;
	log->odds = grown;
	log->odds[log->odd_count++] = (struct ft_cold_odd){ kind, at, length, line };
	return true;
}

/* Did the log say the same at this very time before? Two exports that overlap do. */
static bool said_before(const struct ft_cold_log *log, size_t n, const struct ft_cold_sample *s)
{
	size_t low = 0, high = n;

	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (log->samples[mid].at_us < s->at_us)
			low = mid + 1;
		else
			high = mid;
	}
	return low < n && log->samples[low].at_us == s->at_us && log->samples[low].c == s->c;
}

static bool walk(struct ft_cold_log *log, size_t *room, struct ft_arena *a, bool *ret_wild)
{
	int64_t shift = 0, gap = (int64_t)(GAP_STEPS * (double)log->step_us);
	size_t n = 0;
	bool ok = true;

	for (size_t i = 0; ok && i < log->count; i++) {
		struct ft_cold_sample s = log->samples[i];
		int64_t step;
		if (shift == 0 && n && s.at_us < log->samples[n - 1].at_us && said_before(log, n, &s)) {
			log->repeats++;
			continue;
		}
		s.at_us += shift;
		step = n ? s.at_us - log->samples[n - 1].at_us : 1;
		if (step == 0) {
			log->repeats++;
			log->repeats_differ += s.c != log->samples[n - 1].c;
			continue;
		}
		if (step < 0) {
			int64_t back = log->step_us - step;
			ok = odd(log, room, a, FT_COLD_BACK, log->samples[n - 1].at_us, back, s.line);
			shift += back;
			s.at_us += back;
			if (shift > SHIFT_MOST) {
				*ret_wild = true;
				return true;
			}
		} else if (n && step > gap) {
			int64_t hour = step - log->step_us - 3600 * FT_SECOND;
			bool ahead = hour < log->step_us / 2 && -hour < log->step_us / 2 && log->step_us < 1200 * FT_SECOND;
			ok = odd(log, room, a, ahead ? FT_COLD_AHEAD : FT_COLD_GAP, log->samples[n - 1].at_us, step, s.line);
		}
		log->samples[n++] = s;
	}
	log->count = n;
	return ok;
}

/* The finest step between neighbouring readings: what the logger can tell apart. */
static double resolution(const struct ft_cold_log *log)
{
	size_t every = log->count / (8 * STEPS_MAX) + 1;
	double least = INFINITY;

	for (size_t i = 1; i < log->count; i += every) {
		double d = fabs(log->samples[i].c - log->samples[i - 1].c);
		if (d > 1e-6 && d < least)
			least = d;
	}
	return isfinite(least) ? least : 0;
}

static bool find_stuck(struct ft_cold_log *log, size_t *room, struct ft_arena *a)
{
	size_t runs = 0, from = 0, best = 0, best_n = 0;
	int64_t length;
	double usual;

	for (size_t i = 1; i <= log->count; i++) {
		if (i < log->count && log->samples[i].c == log->samples[i - 1].c)
			continue;
		if (i - from > best_n) {
			best_n = i - from;
			best = from;
		}
		runs++;
		from = i;
	}
	if (best_n < STUCK_SAMPLES)
		return true;
	/* what stands still for long does not count into what is usual */
	usual = runs > 1 ? (double)(log->count - best_n) / (double)(runs - 1) : 1;
	length = log->samples[best + best_n - 1].at_us - log->samples[best].at_us;
	if (length < STUCK_LEAST || (double)best_n < STUCK_RUNS * usual)
		return true;
	return odd(log, room, a, FT_COLD_STUCK, log->samples[best].at_us, length, log->samples[best].line);
}

/* Marks of the log's own column go with the rows beside them when the clock is put right. */
static void shift_marks(struct ft_cold_log *log)
{
	for (size_t i = 0; i < log->odd_count; i++) {
		const struct ft_cold_odd *o = &log->odds[i];
		for (size_t k = 0; o->kind == FT_COLD_BACK && k < log->mark_count; k++)
			if (log->newest_first ? log->marks[k].line <= o->line : log->marks[k].line >= o->line)
				log->marks[k].at_us += o->length_us;
	}
}

enum ft_status cold_order(struct ft_cold_log *log, struct ft_arena *a, struct ft_error *e)
{
	size_t forward = 0, back = 0, room = 0;
	bool ok, wild = false;

	for (size_t i = 1; i < log->count; i++) {
		forward += log->samples[i].at_us > log->samples[i - 1].at_us;
		back += log->samples[i].at_us < log->samples[i - 1].at_us;
	}
	if (back > forward)
		turn(log);
	log->step_us = median_step(log, a);
	ok = log->step_us >= 0 && walk(log, &room, a, &wild);
	if (wild)
		return ft_fail(e, FT_E_INPUT, "The times of the log go back again and again; sort it by time and try again.");
	log->resolution_c = resolution(log);
	shift_marks(log);
	cold_marks_sort(log);
	if (!ok || !find_stuck(log, &room, a))
		return ft_fail_memory(e, "reading the log");
	if (log->count < 2)
		return ft_fail(e, FT_E_INPUT, "All readings of the log bear one time; a log needs at least two times.");
	return FT_OK;
}
