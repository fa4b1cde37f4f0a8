/* SPDX-License-Identifier: Apache-2.0 */
/* First plans: three simple methods, which also stand beside the result for comparison, and regret insertion. */
#include "route.h"

void route_sort(const double *key, int *order, int count)
{
	for (int gap = count / 2; gap > 0; gap /= 2) {
		for (int i = gap; i < count; i++) {
			int u = order[i], k = i;
			for (; k >= gap; k -= gap) {
				int v = order[k - gap];
				if (key[v] < key[u] || (key[v] <= key[u] && v < u))
					break;
				order[k] = v;
			}
			order[k] = u;
		}
	}
}

/* Adds the stop at the end of the tour, and the others of its group where they cost least. */
static bool append(const struct ft_route_search *s, struct state *x, int stop, int tour)
{
	const struct unit *u = &s->units[s->unit_of[stop]];
	struct tour *t = &x->tours[tour];
	int n = 0;

	for (int i = t->first; i >= 0; i = x->next[i])
		s->seq_a[n++] = i;
	s->seq_a[n++] = stop;
	if (route_walk(s, tour, s->seq_a, n) < 0)
		return false;
	state_insert(s, x, stop, tour, t->last);
	for (int k = 0; k < u->count; k++) {
		const struct unit one = { &u->members[k], 1 };
		if (x->route[u->members[k]] < 0 && state_place_unit(s, x, &one, tour, NULL) == INT64_MAX) {
			state_remove_unit(s, x, u);
			return false;
		}
	}
	return true;
}

/* On to the nearest stop that still fits. */
static bool go_nearest(const struct ft_route_search *s, struct state *x, int tour)
{
	const struct ft_route_problem *p = s->p;
	int place = x->tours[tour].count ? p->stops[x->tours[tour].last].place : p->shifts[tour].from;
	int n = 0;

	for (int i = 0; i < (int)p->stop_count; i++) {
		s->key[i] = route_metres(p, place, p->stops[i].place);
		if (x->route[i] < 0)
			s->order[n++] = i;
	}
	route_sort(s->key, s->order, n);
	for (int i = 0; i < n; i++)
		if (append(s, x, s->order[i], tour))
			return true;
	return false;
}

/* Around the homes by angle; what no longer fits today goes on the next shift it may be on, then on any. */
static void sweep(const struct ft_route_search *s, struct state *x, const double *angles)
{
	const struct ft_route_problem *p = s->p;
	int shifts = (int)p->shift_count, now = 0;

	for (int i = 0; i < s->unit_count; i++) {
		int place = p->stops[s->units[i].members[0]].place;
		s->key[i] = angles ? angles[place] : place;
		s->order[i] = i;
	}
	route_sort(s->key, s->order, s->unit_count);
	for (int i = 0; i < s->unit_count; i++) {
		const struct unit *u = &s->units[s->order[i]];
		for (int k = 0; k < shifts; k++) {
			int r = (now + k) % shifts;
			if (state_place_unit(s, x, u, r, NULL) == INT64_MAX)
				continue;
			now = r;
			break;
		}
	}
}

/* The unit to go in next: the cheapest, or the one whose second and third choice are dearest. */
static int choose(const struct ft_route_search *s, const struct state *x, const int64_t *cost, bool regret,
                  int *ret_tour)
{
	int shifts = (int)s->p->shift_count, best = -1;
	double most = 0;

	for (int i = 0; i < s->unit_count; i++) {
		const int64_t none = INT64_C(1000000000000);
		int64_t least[3] = { none, none, none };
		int tour = -1;
		double worth;
		if (x->route[s->units[i].members[0]] >= 0)
			continue;
		for (int r = 0; r < shifts; r++) {
			int64_t c = cost[(size_t)i * s->p->shift_count + (size_t)r];
			if (c < least[0]) {
				least[2] = least[1], least[1] = least[0], least[0] = c;
				tour = r;
			} else if (c < least[1]) {
				least[2] = least[1], least[1] = c;
			} else if (c < least[2]) {
				least[2] = c;
			}
		}
		if (tour < 0)
			continue;
		worth = regret ? (double)(least[1] - least[0]) + (double)(least[2] - least[0]) : -(double)least[0];
		if (best < 0 || worth > most) {
			best = i;
			most = worth;
			*ret_tour = tour;
		}
	}
	return best;
}

static void insertion(const struct ft_route_search *s, struct state *x, int64_t *cost, bool regret)
{
	int shifts = (int)s->p->shift_count, tour = -1;

	for (int i = 0; i < s->unit_count; i++)
		for (int r = 0; r < shifts; r++)
			cost[(size_t)i * s->p->shift_count + (size_t)r] = state_try_unit(s, x, &s->units[i], r);
	for (;;) {
		int u = choose(s, x, cost, regret, &tour);
		if (u < 0)
			return;
		state_place_unit(s, x, &s->units[u], tour, NULL);
		for (int i = 0; i < s->unit_count; i++)
			if (x->route[s->units[i].members[0]] < 0)
				cost[(size_t)i * s->p->shift_count + (size_t)tour] = state_try_unit(s, x, &s->units[i], tour);
	}
}

void route_first_plan(struct ft_route_search *s, struct state *x, enum ft_route_method m, const double *angles)
{
	state_clear(s, x);
	switch (m) {
	case FT_ROUTE_NEAREST:
		for (int r = 0; r < (int)s->p->shift_count; r++)
			while (go_nearest(s, x, r))
				;
		break;
	case FT_ROUTE_SWEEP:
		sweep(s, x, angles);
		break;
	default:
		insertion(s, x, s->prices, m == FT_ROUTE_REGRET);
		break;
	}
}
