/* SPDX-License-Identifier: Apache-2.0 */
/* Exchanges that make a plan better as long as there are any: parts of a tour moved or turned round (Or-opt, 2-opt),
 * and tails or short parts exchanged between two tours (2-opt*, cross exchange; with one part empty a relocation). */
#include "route.h"

enum { PART_MAX = 3 }; /* stops of a part that is moved or exchanged, as Or had it */

static int chain(const struct state *x, int tour, int *out)
{
	int n = 0;

	for (int i = x->tours[tour].first; i >= 0; i = x->next[i])
		out[n++] = i;
	return n;
}

/* Place of the i-th stop of a sequence; before the first and after the last are the ends of the shift. */
static int place_at(const struct ft_route_search *s, int tour, const int *seq, int n, int i)
{
	return i < 0 ? s->p->shifts[tour].from : i >= n ? s->p->shifts[tour].to : s->p->stops[seq[i]].place;
}

static int64_t way(const struct ft_route_search *s, int tour, const int *seq, int n, int i)
{
	return route_metres(s->p, place_at(s, tour, seq, n, i), place_at(s, tour, seq, n, i + 1));
}

/* ---- within one tour ---- */

/* Takes the new order when it fits and is shorter. */
static bool take_order(struct ft_route_search *s, struct state *x, int tour, int n)
{
	int64_t metres = route_walk(s, tour, s->new_a, n), before = x->tours[tour].metres;

	if (metres < 0 || metres >= before)
		return false;
	state_set_tour(s, x, tour, s->new_a, n);
	x->cost += metres - before;
	return true;
}

static bool turn_round(struct ft_route_search *s, struct state *x, int tour)
{
	int n = chain(x, tour, s->seq_a);
	const int *q = s->seq_a;

	for (int i = 0; i < n - 1; i++) {
		for (int k = i + 1; k < n; k++) {
			if (s->symmetric) {
				int a = place_at(s, tour, q, n, i - 1), b = place_at(s, tour, q, n, i);
				int c = place_at(s, tour, q, n, k), d = place_at(s, tour, q, n, k + 1);
				if (route_metres(s->p, a, c) + route_metres(s->p, b, d) >=
				    route_metres(s->p, a, b) + route_metres(s->p, c, d))
					continue;
			}
			memcpy(s->new_a, q, (size_t)n * sizeof *q);
			for (int m = i; m <= k; m++)
				s->new_a[m] = q[k - (m - i)];
			if (take_order(s, x, tour, n))
				return true;
		}
	}
	return false;
}

/* The part of `len` stops at i to stand before what is now at k (k outside the part), turned round or not. */
static void move_part(const int *q, int n, int i, int len, int k, bool turned, int *out)
{
	int m = 0;

	for (int at = 0; at <= n; at++) {
		if (at == k)
			for (int j = 0; j < len; j++)
				out[m++] = turned ? q[i + len - 1 - j] : q[i + j];
		if (at < n && (at < i || at >= i + len))
			out[m++] = q[at];
	}
}

static bool move_within(struct ft_route_search *s, struct state *x, int tour)
{
	int n = chain(x, tour, s->seq_a);
	const int *q = s->seq_a;

	for (int len = 1; len <= PART_MAX && len < n; len++) {
		for (int i = 0; i + len <= n; i++) {
			int a = place_at(s, tour, q, n, i - 1), b = place_at(s, tour, q, n, i);
			int c = place_at(s, tour, q, n, i + len - 1), d = place_at(s, tour, q, n, i + len);
			int64_t gain = route_metres(s->p, a, b) + route_metres(s->p, c, d) - route_metres(s->p, a, d);
			for (int k = 0; k <= n; k++) {
				if (k >= i && k <= i + len)
					continue;
				int e = place_at(s, tour, q, n, k - 1), f = place_at(s, tour, q, n, k);
				int64_t open = gain + route_metres(s->p, e, f);
				for (int turned = 0; turned < (len > 1 ? 2 : 1); turned++) {
					int from = turned ? c : b, to = turned ? b : c;
					if ((!turned || s->symmetric) && route_metres(s->p, e, from) + route_metres(s->p, to, f) >= open)
						continue;
					move_part(q, n, i, len, k, turned, s->new_a);
					if (take_order(s, x, tour, n))
						return true;
				}
			}
		}
	}
	return false;
}

/* ---- between two tours ---- */

struct pair {
	int a, b;   /* tours */
	int na, nb; /* their stops, in seq_a and seq_b */
};

static int64_t cost_of(const struct ft_route_search *s, int tour, const int *seq, int n, int64_t metres)
{
	int64_t c = metres + (n ? s->p->shifts[tour].use_m : 0);

	if (s->p->costs)
		for (int i = 0; i < n; i++)
			c += route_being(s->p, seq[i], tour);
	return c;
}

/* seq_a[i .. i+la) and seq_b[j .. j+lb) change places. */
static bool exchange(struct ft_route_search *s, struct state *x, const struct pair *t, int i, int la, int j, int lb)
{
	int na = t->na - la + lb, nb = t->nb - lb + la;
	int64_t before, after, ma, mb;

	for (int k = i; k < i + la; k++)
		if (s->units[s->unit_of[s->seq_a[k]]].count > 1 || route_barred(s->p, s->seq_a[k], t->b))
			return false;
	for (int k = j; k < j + lb; k++)
		if (s->units[s->unit_of[s->seq_b[k]]].count > 1 || route_barred(s->p, s->seq_b[k], t->a))
			return false;
	memcpy(s->new_a, s->seq_a, (size_t)i * sizeof(int));
	memcpy(s->new_a + i, s->seq_b + j, (size_t)lb * sizeof(int));
	memcpy(s->new_a + i + lb, s->seq_a + i + la, (size_t)(t->na - i - la) * sizeof(int));
	memcpy(s->new_b, s->seq_b, (size_t)j * sizeof(int));
	memcpy(s->new_b + j, s->seq_a + i, (size_t)la * sizeof(int));
	memcpy(s->new_b + j + la, s->seq_b + j + lb, (size_t)(t->nb - j - lb) * sizeof(int));
	ma = route_walk(s, t->a, s->new_a, na);
	mb = ma < 0 ? -1 : route_walk(s, t->b, s->new_b, nb);
	if (mb < 0)
		return false;
	before = cost_of(s, t->a, s->seq_a, t->na, x->tours[t->a].metres) +
		cost_of(s, t->b, s->seq_b, t->nb, x->tours[t->b].metres);
	after = cost_of(s, t->a, s->new_a, na, ma) + cost_of(s, t->b, s->new_b, nb, mb);
	if (after >= before)
		return false;
	state_set_tour(s, x, t->a, s->new_a, na);
	state_set_tour(s, x, t->b, s->new_b, nb);
	x->cost += after - before;
	return true;
}

/* Can the metres alone make it worth a look? Where being somewhere has a cost, every pair is looked at. */
static bool worth(const struct ft_route_search *s, const struct pair *t, int i, int la, int j, int lb)
{
	const struct ft_route_problem *p = s->p;
	int a0 = place_at(s, t->a, s->seq_a, t->na, i - 1), a1 = place_at(s, t->a, s->seq_a, t->na, i + la);
	int b0 = place_at(s, t->b, s->seq_b, t->nb, j - 1), b1 = place_at(s, t->b, s->seq_b, t->nb, j + lb);
	int64_t before, after;

	if (p->costs || p->shifts[t->a].use_m || p->shifts[t->b].use_m)
		return true;
	before = way(s, t->a, s->seq_a, t->na, i - 1) + way(s, t->b, s->seq_b, t->nb, j - 1);
	before += la ? way(s, t->a, s->seq_a, t->na, i + la - 1) : 0;
	before += lb ? way(s, t->b, s->seq_b, t->nb, j + lb - 1) : 0;
	after = lb
		? route_metres(p, a0, p->stops[s->seq_b[j]].place) + route_metres(p, p->stops[s->seq_b[j + lb - 1]].place, a1)
		: route_metres(p, a0, a1);
	after += la
		? route_metres(p, b0, p->stops[s->seq_a[i]].place) + route_metres(p, p->stops[s->seq_a[i + la - 1]].place, b1)
		: route_metres(p, b0, b1);
	return after < before || t->na == la || t->nb == lb;
}

static bool between(struct ft_route_search *s, struct state *x, int a, int b)
{
	struct pair t = { a, b, 0, 0 };

	t.na = chain(x, a, s->seq_a);
	t.nb = chain(x, b, s->seq_b);
	if (!t.na && !t.nb)
		return false;
	for (int i = 0; i <= t.na; i++) {
		for (int j = 0; j <= t.nb; j++) {
			for (int la = 0; la <= PART_MAX && i + la <= t.na; la++)
				for (int lb = la ? 0 : 1; lb <= PART_MAX && j + lb <= t.nb; lb++)
					if (worth(s, &t, i, la, j, lb) && exchange(s, x, &t, i, la, j, lb))
						return true;
			if ((i < t.na || j < t.nb) && worth(s, &t, i, t.na - i, j, t.nb - j) &&
			    exchange(s, x, &t, i, t.na - i, j, t.nb - j))
				return true;
		}
	}
	return false;
}

void route_polish(struct ft_route_search *s, struct state *x)
{
	int shifts = (int)s->p->shift_count;
	bool better = true;

	while (better) {
		better = false;
		for (int a = 0; a < shifts; a++) {
			while (turn_round(s, x, a) || move_within(s, x, a))
				better = true;
			for (int b = a + 1; b < shifts; b++)
				while (between(s, x, a, b))
					better = true;
		}
	}
}

/* ---- the order of an earlier plan ---- */

/* The stops of seq_a by their turn on this tour; one that had none stays behind the stop it is behind. */
static void by_turn(const struct ft_route_search *s, int tour, int n)
{
	double last = -1;

	for (int i = 0; i < n; i++) {
		const int turn = s->turn[s->seq_a[i]];
		last = turn >= 0 && s->p->earlier[turn].shift == tour ? turn : last;
		s->key[i] = last;
		s->order[i] = i;
	}
	route_sort(s->key, s->order, n);
	for (int i = 0; i < n; i++)
		s->new_a[i] = s->seq_a[s->order[i]];
}

void route_keep_order(const struct ft_route_search *s, struct state *x)
{
	for (int r = 0; s->p->earlier_count && r < (int)s->p->shift_count; r++) {
		const int n = chain(x, r, s->seq_a);
		bool kept = false;
		for (int turned = 0; turned < 2 && !kept; turned++) {
			for (int i = 0; turned && i < n / 2; i++) {
				const int stop = s->seq_a[i];
				s->seq_a[i] = s->seq_a[n - 1 - i];
				s->seq_a[n - 1 - i] = stop;
			}
			by_turn(s, r, n);
			kept = n && route_walk(s, r, s->new_a, n) == x->tours[r].metres;
		}
		if (kept)
			state_set_tour(s, x, r, s->new_a, n);
	}
}
