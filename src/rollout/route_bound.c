/* SPDX-License-Identifier: Apache-2.0 */
/* How short a plan could be at best.
 *
 * Take the home edges out of any plan of K tours over n stops: a forest of n - K edges is left, and 2K edges lead home,
 * at most K - 1 stops having both of theirs there. The cheapest such thing is found by greed. Multipliers on the stops
 * draw each towards two edges (Held and Karp 1970/71; for K tours as Fisher's K-trees; both from memory). All homes
 * count as one, as near to each stop as the nearest, so the bound holds for any number of technicians. */
#include "route.h"

enum { APART_MAX = 600 }; /* ours: beyond so many stops the cube of them takes seconds, and the hours alone tell most */

struct bound {
	const struct ft_route_problem *p;
	int m;           /* stops visited */
	const int *stop; /* their numbers */
	int32_t *d;      /* m x m metres, the shorter way of the two */
	double *home;    /* metres to the nearest home */
	double *pull;    /* multipliers */
	/* of one round */
	double *dist, *edge; /* Prim: distance to the tree; its edges */
	int *from, *edge_a, *edge_b, *order, *degree;
	bool *in;
};

/* All numbers by their key into `order`, smallest or largest first. */
static void sort_order(const double *key, int *order, int n, bool largest)
{
	for (int i = 0; i < n; i++)
		order[i] = i;
	route_sort(key, order, n);
	for (int i = 0; largest && i < n / 2; i++) {
		int u = order[i];
		order[i] = order[n - 1 - i];
		order[n - 1 - i] = u;
	}
}

/* Least spanning tree of the stops under the multipliers: m - 1 edges. */
static double span(struct bound *b)
{
	double sum = 0;
	int at = 0;

	for (int i = 0; i < b->m; i++) {
		b->in[i] = false;
		b->dist[i] = INFINITY;
	}
	for (int k = 0; k < b->m - 1; k++) {
		const int32_t *row = &b->d[(size_t)at * (size_t)b->m];
		int next = -1;
		b->in[at] = true;
		for (int i = 0; i < b->m; i++) {
			double c = row[i] + b->pull[at] + b->pull[i];
			if (b->in[i])
				continue;
			if (c < b->dist[i]) {
				b->dist[i] = c;
				b->from[i] = at;
			}
			if (next < 0 || b->dist[i] < b->dist[next])
				next = i;
		}
		b->edge[k] = b->dist[next];
		b->edge_a[k] = next;
		b->edge_b[k] = b->from[next];
		sum += b->dist[next];
		at = next;
	}
	return sum;
}

/* The best structure for any K from `least` to `most` tours; its value, and degrees less two in b->degree. */
static double round_of(struct bound *b, int least, int most)
{
	double value = span(b), best = INFINITY, sum = 0;
	int m = b->m, best_k = least, *homes = b->order, *dropped = b->order + m;

	for (int i = 0; i < m; i++) {
		b->dist[i] = b->home[i] + b->pull[i];
		b->degree[i] = -2;
		sum += b->pull[i];
	}
	sort_order(b->dist, homes, m, false);
	sort_order(b->edge, dropped, m - 1, true);
	for (int k = 1; k <= most; k++) {
		/* k - 1 stops with both edges home, two more with one each; the last stops of all have both */
		double ends = b->dist[homes[k - 1]] + b->dist[homes[k < m ? k : k - 1]];
		if (k > 1) {
			value += 2 * b->dist[homes[k - 2]];
			value -= b->edge[dropped[k - 2]];
		}
		if (k >= least && value + ends < best) {
			best = value + ends;
			best_k = k;
		}
	}
	for (int k = best_k - 1; k < m - 1; k++) {
		b->degree[b->edge_a[dropped[k]]]++;
		b->degree[b->edge_b[dropped[k]]]++;
	}
	for (int k = 0; k < best_k - 1; k++)
		b->degree[homes[k]] += 2;
	b->degree[homes[best_k - 1]]++;
	b->degree[homes[best_k < m ? best_k : best_k - 1]]++;
	return best - 2 * sum;
}

static double ascend(struct bound *b, int least, int most, int rounds, double aim)
{
	double best = 0, pace = 1;
	int stale = 0;

	for (int k = 0; k < rounds; k++) {
		double value = round_of(b, least, most), norm = 0, step;
		stale++;
		if (value > best) {
			best = value;
			stale = 0;
		}
		for (int i = 0; i < b->m; i++)
			norm += (double)b->degree[i] * b->degree[i];
		if (norm <= 0)
			break; /* every stop has its two edges: nothing can be shorter */
		if (stale >= 15) {
			pace /= 2;
			stale = 0;
		}
		step = pace * (aim * 1.01 - value) / norm;
		for (int i = 0; i < b->m; i++)
			b->pull[i] += step * b->degree[i];
	}
	return best;
}

/* ---- how many tours at least ---- */

/* Can work at one be followed by work at the other on the same day? `t`: least seconds from stop to stop. */
static bool follow(const struct bound *b, const int32_t *t, int i, int k)
{
	const struct ft_route_stop *from = &b->p->stops[b->stop[i]], *to = &b->p->stops[b->stop[k]];

	return (int64_t)from->opens_s + from->service_s + t[(size_t)i * (size_t)b->m + (size_t)k] <= route_last_start(to);
}

/* Least seconds from stop to stop, perhaps by others: a table of distances need not have the direct way as the
 * shortest, and one stop beside another needs no parking. */
static void shorten(const struct bound *b, int32_t *t)
{
	const size_t m = (size_t)b->m;

	for (size_t i = 0; i < m; i++)
		for (size_t k = 0; k < m; k++)
			t[i * m + k] = route_seconds(b->p, b->p->stops[b->stop[i]].place, b->p->stops[b->stop[k]].place);
	for (size_t by = 0; by < m; by++)
		for (size_t i = 0; i < m; i++)
			for (size_t k = 0; k < m; k++)
				if (t[i * m + by] + t[by * m + k] < t[i * m + k])
					t[i * m + k] = t[i * m + by] + t[by * m + k];
}

/* Stops of which no two can be on one tour, found by greed: each needs a tour of its own. */
static int apart(struct bound *b, struct ft_arena *a)
{
	int n = 0, *clique = b->from;
	int32_t *t;

	if (b->m > APART_MAX)
		return 1;
	t = FT_NEW_ARRAY(a, (size_t)b->m * (size_t)b->m, int32_t);
	if (!t)
		return 1; /* a weaker bound is one too */
	shorten(b, t);
	for (int i = 0; i < b->m; i++) {
		b->dist[i] = 0;
		for (int k = 0; k < b->m; k++)
			b->dist[i] += k != i && !follow(b, t, i, k) && !follow(b, t, k, i);
	}
	sort_order(b->dist, b->order, b->m, true);
	for (int i = 0; i < b->m; i++) {
		const int own = b->order[i];
		bool all = true;
		for (int k = 0; k < n && all; k++)
			all = !follow(b, t, own, clique[k]) && !follow(b, t, clique[k], own);
		if (all)
			clique[n++] = own;
	}
	return n;
}

/* Number of the largest `have` that are needed to reach `sum`. */
static int largest_needed(struct bound *b, double *have, size_t count, double sum)
{
	int *order = b->order;
	int k = 0;

	sort_order(have, order, (int)count, true);
	while (k < (int)count && sum > 0)
		sum -= have[order[k++]];
	return k < 1 ? 1 : k;
}

static int least_tours(struct bound *b, double *have, struct ft_arena *a)
{
	const struct ft_route_problem *p = b->p;
	double work = 0, load = 0;
	int least = apart(b, a), k;

	for (int i = 0; i < b->m; i++) {
		const struct ft_route_stop *q = &p->stops[b->stop[i]];
		int32_t in = INT32_MAX;
		for (int j = 0; j < b->m; j++)
			if (j != i && route_seconds(p, p->stops[b->stop[j]].place, q->place) < in)
				in = route_seconds(p, p->stops[b->stop[j]].place, q->place);
		for (size_t r = 0; r < p->shift_count; r++)
			if (route_seconds(p, p->shifts[r].from, q->place) < in)
				in = route_seconds(p, p->shifts[r].from, q->place);
		work += q->service_s + in;
		load += q->load;
	}
	for (size_t r = 0; r < p->shift_count; r++)
		have[r] = fmax(0, (double)p->shifts[r].closes_s - p->shifts[r].opens_s);
	k = largest_needed(b, have, p->shift_count, work);
	least = k > least ? k : least;
	for (size_t r = 0; r < p->shift_count; r++)
		have[r] = p->shifts[r].capacity;
	k = largest_needed(b, have, p->shift_count, load);
	return k > least ? k : least;
}

/* ---- the whole ---- */

static bool make(struct bound *b, const struct ft_route_plan *plan, struct ft_arena *a)
{
	const struct ft_route_problem *p = b->p;
	size_t m = p->stop_count - plan->unserved_count, wide = (m > p->shift_count ? m : p->shift_count) + 1;
	int *stop = FT_NEW_ARRAY(a, m + 1, int);

	b->d = FT_NEW_ARRAY(a, m * m + 1, int32_t);
	b->home = FT_NEW_ARRAY(a, m + 1, double);
	b->pull = FT_NEW_ARRAY(a, m + 1, double);
	b->dist = FT_NEW_ARRAY(a, wide, double);
	b->edge = FT_NEW_ARRAY(a, m + 1, double);
	b->from = FT_NEW_ARRAY(a, m + 1, int);
	b->edge_a = FT_NEW_ARRAY(a, m + 1, int);
	b->edge_b = FT_NEW_ARRAY(a, m + 1, int);
	b->order = FT_NEW_ARRAY(a, 2 * wide, int);
	b->degree = FT_NEW_ARRAY(a, m + 1, int);
	b->in = FT_NEW_ARRAY(a, m + 1, bool);
	if (!stop || !b->d || !b->home || !b->pull || !b->dist || !b->edge || !b->from || !b->edge_a || !b->edge_b ||
	    !b->order || !b->degree || !b->in)
		return false;
	for (size_t d = 0; d < plan->day_count; d++)
		for (size_t k = 0; k < plan->days[d].count; k++)
			stop[b->m++] = plan->days[d].visits[k].stop;
	b->stop = stop;
	for (int i = 0; i < b->m; i++) {
		int here = p->stops[stop[i]].place;
		b->home[i] = INFINITY;
		for (int k = 0; k < b->m; k++) {
			int32_t go = route_metres(p, here, p->stops[stop[k]].place);
			int32_t come = route_metres(p, p->stops[stop[k]].place, here);
			b->d[(size_t)i * m + (size_t)k] = go < come ? go : come;
		}
		for (int r = 0; r < (int)p->shift_count; r++) {
			if (route_barred(p, stop[i], r))
				continue;
			b->home[i] = fmin(b->home[i], route_metres(p, p->shifts[r].from, here));
			b->home[i] = fmin(b->home[i], route_metres(p, here, p->shifts[r].to));
		}
	}
	return true;
}

enum ft_status ft_route_bound(const struct ft_route_problem *p, const struct ft_route_plan *plan, int rounds,
                              struct ft_arena *a, int64_t *ret_metres, int *ret_routes, struct ft_error *e)
{
	struct bound b = { .p = p };
	double *have = FT_NEW_ARRAY(a, p->shift_count + 1, double);
	int least, most;

	*ret_metres = 0;
	if (ret_routes)
		*ret_routes = 0;
	if (!plan->day_count)
		return FT_OK;
	if (!have || !make(&b, plan, a))
		return ft_fail_memory(e, "reckoning the lower bound");
	least = least_tours(&b, have, a);
	most = b.m < (int)p->shift_count ? b.m : (int)p->shift_count;
	least = least > most ? most : least;
	if (b.m == 1)
		*ret_metres = (int64_t)(2 * b.home[0]);
	else
		*ret_metres = (int64_t)ceil(ascend(&b, least, most, rounds, (double)plan->metres) - 1e-6);
	if (ret_routes)
		*ret_routes = least;
	return FT_OK;
}
