/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>

#include "table.h"

enum {
	BINS = 256,
	SURE_ROWS = 16, /* ours: on the rarer level; fewer may be a spike */
	DISTANCES = 1024,
	TICK_ROWS = 32, /* ours: fewer have a step in common by chance */
};

#define LEAST_APART 0.2 /* ours: volts; less is no level */
#define NOISE_RATIO 3.0 /* ours: noise of one level, cut in two, lies 2.7 of its own width apart */
#define VOLTS_HIGH  1.5 /* at most 1 V is low and at least 4 V high on the bus (MDB/ICP section 4.2, from memory) */

struct bins {
	size_t count[BINS];
	double sum[BINS];
	double least, most;
	double total, squares;
	bool bits; /* nothing but 0 and 1 */
};

static void fill(struct bins *b, const double *values, size_t stride, size_t n)
{
	*b = (struct bins){ .least = INFINITY, .most = -INFINITY, .bits = true };
	for (size_t i = 0; i < n; i++) {
		double v = values[i * stride];
		b->least = fmin(b->least, v);
		b->most = fmax(b->most, v);
		b->bits &= v == 0 || v == 1;
	}
	for (size_t i = 0; i < n && b->most > b->least; i++) {
		double v = values[i * stride];
		unsigned k = (unsigned)((v - b->least) / (b->most - b->least) * (BINS - 1));
		b->count[k]++;
		b->sum[k] += v;
		b->total += v;
		b->squares += v * v;
	}
}

/* The cut that leaves two clusters furthest apart by their weight (Otsu's criterion): a single spike weighs nothing. */
void table_learn_level(struct table_level *l, const double *values, size_t stride, size_t n)
{
	struct bins b;
	double below = 0, best = 0, low = 0, high = 0, rarer = 0, mean, within;
	size_t count = 0;

	if (l->sure || !n)
		return;
	fill(&b, values, stride, n);
	if (l->apart <= 0)
		l->threshold = b.bits ? 0.5 : VOLTS_HIGH;
	for (unsigned k = 0; k + 1 < BINS; k++) {
		double share, a, z;
		count += b.count[k];
		below += b.sum[k];
		if (!b.count[k] || count == n)
			continue;
		share = (double)count / (double)n;
		a = below / (double)count;
		z = (b.total - below) / (double)(n - count);
		if (share * (1 - share) * (z - a) * (z - a) <= best)
			continue;
		best = share * (1 - share) * (z - a) * (z - a);
		low = a;
		high = z;
		rarer = fmin((double)count, (double)(n - count));
	}
	mean = b.total / (double)n;
	within = fmax(b.squares / (double)n - mean * mean - best, 0);
	if (high - low < LEAST_APART || (high - low) * (high - low) < NOISE_RATIO * NOISE_RATIO * within ||
	    high - low <= l->apart)
		return;
	l->apart = high - low;
	l->threshold = (high + low) / 2;
	l->sure = rarer >= SURE_ROWS;
}

static int by_size(const void *a, const void *b)
{
	const double *x = a, *y = b;

	return *x < *y ? -1 : *x > *y;
}

/* The distance between changes of a column that one in ten does not reach; 0: too few. */
static double short_distance(const double *rows, unsigned columns, unsigned time, unsigned column, double threshold,
                             size_t n)
{
	double distances[DISTANCES], last = 0;
	size_t count = 0;
	bool any = false;

	for (size_t i = 1; i < n && count < DISTANCES; i++) {
		const double *r = rows + i * columns, *before = r - columns;
		if ((r[column] > threshold) == (before[column] > threshold))
			continue;
		if (any && r[time] > last)
			distances[count++] = r[time] - last;
		last = r[time];
		any = true;
	}
	if (!count)
		return 0;
	qsort(distances, count, sizeof *distances, by_size);
	return distances[count / 10];
}

double table_learn_unit(const double *rows, unsigned columns, unsigned time, const struct table_level *levels, size_t n)
{
	static const double units[] = { 1e9, 1e6, 1e3, 1 };
	double found = 0, nearest = INFINITY,
		   step = n > 1 ? (rows[(n - 1) * columns + time] - rows[time]) / (double)(n - 1) : 0;

	for (unsigned i = 0; i < columns; i++) {
		double d = i == time ? 0 : short_distance(rows, columns, time, i, levels[i].threshold, n);
		for (size_t u = 0; d > 0 && u < sizeof units / sizeof *units; u++) {
			double off = fabs(log(d * units[u] / (double)BUS_BIT_NS));
			if (off < nearest) {
				nearest = off;
				found = units[u];
			}
		}
	}
	for (size_t u = 0; found <= 0 && u < sizeof units / sizeof *units; u++)
		if (step * units[u] <= (double)BUS_BIT_NS / 4)
			found = units[u];
	return found > 0 ? found : 1;
}

int64_t table_learn_tick(const double *rows, unsigned columns, unsigned time, size_t n, double to_ns)
{
	int64_t tick = 0;

	for (size_t i = 1; i < n && tick != 1; i++) {
		double ns = (rows[i * columns + time] - rows[time]) * to_ns;
		int64_t rest = ns < 9e18 ? (int64_t)(ns + 0.5) : 1; /* times never fall; what is beyond all bounds is refused */
		while (rest) {
			int64_t left = tick % rest;
			tick = rest;
			rest = left;
		}
	}
	return n < TICK_ROWS || tick > BUS_BIT_NS / 4 ? 0 : tick;
}
