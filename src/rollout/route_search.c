/* SPDX-License-Identifier: Apache-2.0 */
/* The search: pieces of neighbouring tours are taken out and put back where they cost least, accepted as in annealing,
 * and the best plan is polished by exchanges.
 *
 * Taking out strings of neighbouring stops and putting them back greedily with blinks is what the literature calls
 * slack induction by string removals (Christiaens and Vanden Berghe, 2020, from memory). */
#include "route.h"

enum {
	OUT_MEAN = 10,   /* stops taken out a step on average; from memory of that paper */
	STRING_MAX = 10, /* stops of one tour taken out at once */
	NEAR_MAX = 250,  /* ours: neighbours looked at around a stop */
	POLISH_EVERY = 2000,
	SPLIT_IN = 2, /* every second string keeps some stops in its middle */
};

int32_t route_last_start(const struct ft_route_stop *q)
{
	return q->done_by_close ? q->closes_s - q->service_s : q->closes_s;
}

/* Takes out a string of the tour that holds `stop`, of `length` stops, perhaps sparing some in its middle. */
static void take_string(struct ft_route_search *s, struct state *x, int stop, int length)
{
	const struct tour *t = &x->tours[x->route[stop]];
	int spare = 0, span = length, begin, at = 0, n = 0, i, list[2 * STRING_MAX + 1];

	if (length > 1 && length < t->count && ft_random_below(&s->random, SPLIT_IN) == 0) {
		while (span < t->count && span < 2 * STRING_MAX && ft_random_below(&s->random, 100) != 0 && spare < length)
			spare++, span++;
	}
	for (i = t->first; i >= 0 && i != stop; i = x->next[i])
		at++;
	/* Any window of the tour that holds the stop. */
	begin = at - (int)ft_random_below(&s->random, (uint32_t)span);
	begin = begin < 0 ? 0 : begin > t->count - span ? t->count - span : begin;
	i = t->first;
	for (int k = 0; k < begin; k++)
		i = x->next[i];
	for (; n < span && i >= 0; i = x->next[i])
		list[n++] = i;
	begin = spare ? (int)ft_random_below(&s->random, (uint32_t)(span - spare + 1)) : 0;
	for (int k = 0; k < n; k++)
		if ((k < begin || k >= begin + spare || list[k] == stop) && x->route[list[k]] >= 0)
			state_remove_unit(s, x, &s->units[s->unit_of[list[k]]]);
}

static void take_out(struct ft_route_search *s, struct state *x)
{
	size_t n = s->p->stop_count;
	int used = 0, quota, strings, longest, served = 0;
	int start = (int)ft_random_below(&s->random, (uint32_t)n);
	int32_t *seen = s->seen;
	double mean;

	for (size_t r = 0; r < s->p->shift_count; r++) {
		seen[r] = 0;
		used += x->tours[r].count > 0;
		served += x->tours[r].count;
	}
	if (!served || !used)
		return;
	mean = (double)served / used;
	longest = mean < STRING_MAX ? (int)mean : STRING_MAX;
	longest = longest < 1 ? 1 : longest;
	strings = 1 + (int)(ft_random_share(&s->random) * (4.0 * OUT_MEAN / (1 + longest) - 1));
	quota = (strings + used - 1) / used; /* of each tour: one, but where there are few tours */
	for (int k = -1; k < s->near_count && strings > 0; k++) {
		int stop = k < 0 ? start : s->near[(size_t)start * (size_t)s->near_count + (size_t)k];
		int tour = x->route[stop], most, length;
		if (tour < 0 || seen[tour] >= quota)
			continue;
		most = x->tours[tour].count < longest ? x->tours[tour].count : longest;
		length = 1 + (int)ft_random_below(&s->random, (uint32_t)most);
		seen[tour]++;
		take_string(s, x, stop, length);
		strings--;
	}
}

/* The order in which units go back: by chance, or first the largest, the farthest from the first home, the nearest,
 * that with the shortest window, the earliest to open or to close. */
static int order_out(struct ft_route_search *s, const struct state *x)
{
	const struct ft_route_problem *p = s->p;
	static const uint8_t ways[] = { 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6 };
	int way = ways[ft_random_below(&s->random, sizeof ways)], n = 0;

	for (int i = 0; i < s->unit_count; i++) {
		const struct ft_route_stop *q = &p->stops[s->units[i].members[0]];
		double far;
		if (x->route[s->units[i].members[0]] >= 0)
			continue;
		far = route_metres(p, p->shifts[0].from, q->place);
		s->order[n++] = i;
		s->key[i] = way == 0 ? ft_random_share(&s->random)
			: way == 1       ? -(double)q->load - q->service_s - 1e6 * (s->units[i].count - 1)
			: way == 2       ? -far
			: way == 3       ? far
			: way == 4       ? (double)q->closes_s - q->opens_s
			: way == 5       ? q->opens_s
							 : q->closes_s;
		s->key[i] -= (double)q->weight; /* what must not be left out goes first */
	}
	route_sort(s->key, s->order, n);
	return n;
}

static void put_back(struct ft_route_search *s, struct state *x)
{
	int n = order_out(s, x), shifts = (int)s->p->shift_count;

	for (int k = 0; k < n; k++) {
		const struct unit *u = &s->units[s->order[k]];
		int best = -1;
		int64_t least = INT64_MAX;
		if (u->count == 1) {
			struct spot at = { -1, -1, INT64_MAX };
			for (int r = 0; r < shifts; r++)
				state_spot(s, x, u->members[0], r, &s->random, &at);
			if (at.tour >= 0)
				state_insert(s, x, u->members[0], at.tour, at.after);
			continue;
		}
		for (int r = 0; r < shifts; r++) {
			int64_t c = state_try_unit(s, x, u, r);
			if (c < least)
				least = c, best = r;
		}
		if (best >= 0)
			state_place_unit(s, x, u, best, NULL);
	}
}

void ft_route_improve(struct ft_route_search *s, int64_t steps, int64_t all)
{
	if (!s->p->stop_count || !s->p->shift_count)
		return;
	for (; steps > 0; steps--, s->done++) {
		double share = all > 0 && s->done < all ? (double)s->done / (double)all : 1;
		double heat = s->hot * pow(0.01, share);
		double room;
		state_copy(s, &s->spare, &s->now);
		take_out(s, &s->now);
		put_back(s, &s->now);
		room = -heat * log(1 - ft_random_share(&s->random));
		if ((double)(s->now.cost - s->spare.cost) >= room) {
			state_copy(s, &s->now, &s->spare);
		} else if (s->now.cost < s->best.cost) {
			state_copy(s, &s->best, &s->now);
		}
		if ((s->done % POLISH_EVERY == POLISH_EVERY - 1 || s->done + 1 == all) && s->best.cost < s->polished) {
			route_polish(s, &s->best);
			s->polished = s->best.cost;
			state_copy(s, &s->now, &s->best);
		}
	}
}

/* ---- beginning ---- */

static enum ft_status look_over(const struct ft_route_problem *p, struct ft_error *e)
{
	if (p->stop_count > FT_ROUTE_STOPS_MAX || p->shift_count > FT_ROUTE_SHIFTS_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "There are %zu stops and %zu days of technicians; at most %d and %d can be planned.",
		               p->stop_count, p->shift_count, FT_ROUTE_STOPS_MAX, FT_ROUTE_SHIFTS_MAX);
	for (size_t i = 0; i < p->stop_count; i++) {
		const struct ft_route_stop *q = &p->stops[i];
		if (q->place < 0 || (size_t)q->place >= p->place_count || q->service_s < 0 || q->service_s > FT_ROUTE_DAY_S ||
		    q->spread_s < 0 || q->spread_s > FT_ROUTE_DAY_S || q->load < 0 || q->weight < 0)
			return ft_fail(e, FT_E_INPUT, "Stop %zu has a place, time or load that cannot be.", i + 1);
	}
	for (size_t r = 0; r < p->shift_count; r++) {
		const struct ft_route_shift *h = &p->shifts[r];
		if (h->from < 0 || (size_t)h->from >= p->place_count || h->to < 0 || (size_t)h->to >= p->place_count)
			return ft_fail(e, FT_E_INPUT, "Day %zu begins or ends at a place that is not there.", r + 1);
	}
	for (size_t i = 0; i < p->earlier_count; i++)
		if (p->earlier[i].stop < 0 || (size_t)p->earlier[i].stop >= p->stop_count || p->earlier[i].shift < 0 ||
		    (size_t)p->earlier[i].shift >= p->shift_count)
			return ft_fail(e, FT_E_INPUT, "Visit %zu of the earlier plan is of a stop or day that is not there.",
			               i + 1);
	for (size_t i = 0; i < p->place_count * p->place_count; i++)
		if (p->metres[i] < 0 || p->seconds[i] < 0 || p->metres[i] > 100000000 || p->seconds[i] > 100000000)
			return ft_fail(e, FT_E_INPUT, "The way from place %zu to place %zu has a length or time that cannot be.",
			               i / p->place_count + 1, i % p->place_count + 1);
	return FT_OK;
}

/* Stops of the same group become one unit. */
static bool make_units(struct ft_route_search *s)
{
	const struct ft_route_problem *p = s->p;
	int *members = FT_NEW_ARRAY(s->arena, p->stop_count + 1, int), used = 0;

	if (!members)
		return false;
	for (size_t i = 0; i < p->stop_count; i++)
		s->unit_of[i] = -1;
	for (size_t i = 0; i < p->stop_count; i++) {
		struct unit *u = &s->units[s->unit_count];
		if (s->unit_of[i] >= 0)
			continue;
		u->members = members + used;
		for (size_t k = i; k < p->stop_count; k++) {
			if (k != i && (p->stops[i].group < 0 || p->stops[k].group != p->stops[i].group))
				continue;
			members[used++] = (int)k;
			s->unit_of[k] = s->unit_count;
			u->count++;
		}
		s->unit_count++;
	}
	return true;
}

static bool make_near(struct ft_route_search *s)
{
	const struct ft_route_problem *p = s->p;
	size_t n = p->stop_count;

	s->near_count = n <= 1 ? 0 : n - 1 < NEAR_MAX ? (int)n - 1 : NEAR_MAX;
	s->near = FT_NEW_ARRAY(s->arena, n * (size_t)s->near_count + 1, int);
	if (!s->near)
		return false;
	for (size_t i = 0; i < n; i++) {
		int count = 0;
		for (size_t k = 0; k < n; k++) {
			s->key[k] = route_metres(p, p->stops[i].place, p->stops[k].place);
			if (k != i)
				s->order[count++] = (int)k;
		}
		route_sort(s->key, s->order, count);
		memcpy(&s->near[i * (size_t)s->near_count], s->order, (size_t)s->near_count * sizeof(int));
	}
	return true;
}

/* Starts as hot as a part of a usual edge is long. */
static double hot_of(const struct ft_route_search *s)
{
	int64_t metres = 0;
	int edges = 1;

	for (size_t r = 0; r < s->p->shift_count; r++) {
		metres += s->best.tours[r].metres;
		edges += s->best.tours[r].count ? s->best.tours[r].count + 1 : 0;
	}
	return 0.3 * (double)metres / edges + 0.01;
}

static bool make_scratch(struct ft_route_search *s)
{
	const struct ft_route_problem *p = s->p;
	size_t n = p->stop_count + 1, larger = n > p->shift_count ? n : p->shift_count + 1;
	struct ft_arena *a = s->arena;

	s->units = FT_NEW_ARRAY(a, n, struct unit);
	s->unit_of = FT_NEW_ARRAY(a, n, int);
	s->turn = FT_NEW_ARRAY(a, n, int);
	s->last_start = FT_NEW_ARRAY(a, n, int32_t);
	s->order = FT_NEW_ARRAY(a, larger, int);
	s->key = FT_NEW_ARRAY(a, larger, double);
	s->seen = FT_NEW_ARRAY(a, p->shift_count + 1, int32_t);
	s->seq_a = FT_NEW_ARRAY(a, n, int);
	s->seq_b = FT_NEW_ARRAY(a, n, int);
	s->new_a = FT_NEW_ARRAY(a, n, int);
	s->new_b = FT_NEW_ARRAY(a, n, int);
	s->prices = FT_NEW_ARRAY(a, n * (p->shift_count + 1), int64_t);
	return s->units && s->unit_of && s->turn && s->last_start && s->order && s->key && s->seen && s->seq_a &&
		s->seq_b && s->new_a && s->new_b && s->prices && state_new(p, a, &s->now) && state_new(p, a, &s->best) &&
		state_new(p, a, &s->spare);
}

enum ft_status ft_route_begin(const struct ft_route_problem *p, const double *angles, uint64_t seed, struct ft_arena *a,
                              struct ft_route_search **ret, struct ft_error *e)
{
	struct ft_route_search *s = FT_NEW(a, struct ft_route_search);
	enum ft_status status = look_over(p, e);

	if (status != FT_OK)
		return status;
	if (!s)
		return ft_fail_memory(e, "planning the visits");
	s->p = p;
	s->arena = a;
	s->random.state = seed;
	if (!make_scratch(s) || !make_units(s) || !make_near(s))
		return ft_fail_memory(e, "planning the visits");
	s->symmetric = true;
	for (size_t i = 0; i < p->place_count; i++)
		for (size_t k = 0; k < i; k++)
			s->symmetric &= p->metres[i * p->place_count + k] == p->metres[k * p->place_count + i];
	for (size_t i = 0; i < p->stop_count; i++)
		s->last_start[i] = route_last_start(&p->stops[i]);
	for (size_t i = 0; i < p->stop_count; i++)
		s->turn[i] = -1;
	for (size_t i = 0; i < p->earlier_count; i++)
		s->turn[p->earlier[i].stop] = (int)i;
	for (int m = 0; m < FT_ROUTE_METHODS; m++) {
		route_first_plan(s, &s->now, (enum ft_route_method)m, angles);
		s->first[m].cost = s->now.cost;
		for (size_t r = 0; r < p->shift_count; r++)
			s->first[m].metres += s->now.tours[r].metres;
		for (size_t i = 0; i < p->stop_count; i++)
			s->first[m].unserved += s->now.route[i] < 0;
		if (m == 0 || s->now.cost < s->best.cost)
			state_copy(s, &s->best, &s->now);
	}
	route_polish(s, &s->best);
	state_copy(s, &s->now, &s->best);
	s->polished = s->best.cost;
	s->hot = hot_of(s);
	*ret = s;
	return FT_OK;
}

void ft_route_first(const struct ft_route_search *s, enum ft_route_method m, int64_t *ret_cost, int64_t *ret_metres,
                    size_t *ret_unserved)
{
	*ret_cost = s->first[m].cost;
	*ret_metres = s->first[m].metres;
	*ret_unserved = s->first[m].unserved;
}

int64_t ft_route_cost(const struct ft_route_search *s)
{
	return s->best.cost;
}
