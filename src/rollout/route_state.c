/* SPDX-License-Identifier: Apache-2.0 */
/* One plan under work: chains of stops with the earliest and latest start of each, so that a stop's new place is
 * judged by its two neighbours alone. */
#include "route.h"

bool state_new(const struct ft_route_problem *p, struct ft_arena *a, struct state *ret)
{
	size_t n = p->stop_count + 1; /* never an array of nothing */

	ret->next = FT_NEW_ARRAY(a, n, int32_t);
	ret->prev = FT_NEW_ARRAY(a, n, int32_t);
	ret->route = FT_NEW_ARRAY(a, n, int32_t);
	ret->early = FT_NEW_ARRAY(a, n, int32_t);
	ret->late = FT_NEW_ARRAY(a, n, int32_t);
	ret->tours = FT_NEW_ARRAY(a, p->shift_count + 1, struct tour);
	ret->cost = 0;
	return ret->next && ret->prev && ret->route && ret->early && ret->late && ret->tours;
}

void state_clear(const struct ft_route_search *s, struct state *x)
{
	x->cost = 0;
	for (size_t i = 0; i < s->p->stop_count; i++) {
		x->route[i] = -1;
		x->cost += s->p->stops[i].weight;
	}
	for (size_t r = 0; r < s->p->shift_count; r++)
		x->tours[r] = (struct tour){ .first = -1, .last = -1, .end = s->p->shifts[r].closes_s };
}

void state_copy(const struct ft_route_search *s, struct state *to, const struct state *from)
{
	size_t n = s->p->stop_count * sizeof(int32_t);

	memcpy(to->next, from->next, n);
	memcpy(to->prev, from->prev, n);
	memcpy(to->route, from->route, n);
	memcpy(to->early, from->early, n);
	memcpy(to->late, from->late, n);
	memcpy(to->tours, from->tours, s->p->shift_count * sizeof *to->tours);
	to->cost = from->cost;
}

/* Times and metres of a tour from its chain. */
static void refresh(const struct ft_route_search *s, struct state *x, int r)
{
	const struct ft_route_problem *p = s->p;
	const struct ft_route_shift *h = &p->shifts[r];
	struct tour *t = &x->tours[r];
	int place = h->from;
	int32_t at = h->opens_s;

	t->metres = 0;
	t->load = 0;
	t->variance = 0;
	for (int i = t->first; i >= 0; i = x->next[i]) {
		const struct ft_route_stop *q = &p->stops[i];
		t->metres += route_metres(p, place, q->place);
		at += route_seconds(p, place, q->place);
		at = at < q->opens_s ? q->opens_s : at;
		x->early[i] = at;
		at += q->service_s;
		place = q->place;
		t->load += q->load;
		t->variance += (double)q->spread_s * q->spread_s;
	}
	t->metres += t->count ? route_metres(p, place, h->to) : 0;
	t->end = h->closes_s - route_margin(p, t->variance);
	at = t->end;
	place = h->to;
	for (int i = t->last; i >= 0; i = x->prev[i]) {
		const struct ft_route_stop *q = &p->stops[i];
		at -= route_seconds(p, q->place, place) + q->service_s;
		at = at > s->last_start[i] ? s->last_start[i] : at;
		x->late[i] = at;
		place = q->place;
	}
}

void state_spot(const struct ft_route_search *s, const struct state *x, int stop, int tour, struct ft_random *blink,
                struct spot *best)
{
	const struct ft_route_problem *p = s->p;
	const struct ft_route_shift *h = &p->shifts[tour];
	const struct ft_route_stop *q = &p->stops[stop];
	const struct tour *t = &x->tours[tour];
	const int32_t *out_m = &p->metres[(size_t)q->place * p->place_count];
	const int32_t *out_s = &p->seconds[(size_t)q->place * p->place_count];
	int64_t being = route_being(p, stop, tour) + (t->count ? 0 : h->use_m);
	int32_t more = 0, leave = h->opens_s;
	int place = h->from, before = -1;

	if (route_barred(p, stop, tour) || t->load + q->load > h->capacity || being >= best->cost)
		return;
	if (q->spread_s && p->cushion > 0)
		more = route_margin(p, t->variance + (double)q->spread_s * q->spread_s) - route_margin(p, t->variance);
	for (int after = t->first;; after = x->next[after]) {
		int there = after < 0 ? h->to : p->stops[after].place;
		int32_t start = leave + route_seconds(p, place, q->place);
		int64_t cost;
		if (leave > s->last_start[stop])
			return; /* and it only gets later */
		start = start < q->opens_s ? q->opens_s : start;
		cost = being + route_metres(p, place, q->place) + out_m[there] - (t->count ? route_metres(p, place, there) : 0);
		if (cost < best->cost && start <= s->last_start[stop] && !(blink && ft_random_below(blink, 100) == 0)) {
			int32_t then = start + q->service_s + out_s[there];
			then = after >= 0 && then < p->stops[after].opens_s ? p->stops[after].opens_s : then;
			if (then + more <= (after < 0 ? t->end : x->late[after]))
				*best = (struct spot){ tour, before, cost };
		}
		if (after < 0)
			return;
		place = there;
		leave = x->early[after] + p->stops[after].service_s;
		before = after;
	}
}

void state_insert(const struct ft_route_search *s, struct state *x, int stop, int tour, int after)
{
	struct tour *t = &x->tours[tour];
	int then = after < 0 ? t->first : x->next[after];

	x->cost -= t->metres + s->p->stops[stop].weight;
	x->cost += route_being(s->p, stop, tour) + (t->count ? 0 : s->p->shifts[tour].use_m);
	x->prev[stop] = after;
	x->next[stop] = then;
	*(after < 0 ? &t->first : &x->next[after]) = stop;
	*(then < 0 ? &t->last : &x->prev[then]) = stop;
	x->route[stop] = tour;
	t->count++;
	refresh(s, x, tour);
	x->cost += t->metres;
}

void state_remove(const struct ft_route_search *s, struct state *x, int stop)
{
	int tour = x->route[stop], before = x->prev[stop], then = x->next[stop];
	struct tour *t = &x->tours[tour];

	x->cost -= t->metres + route_being(s->p, stop, tour);
	*(before < 0 ? &t->first : &x->next[before]) = then;
	*(then < 0 ? &t->last : &x->prev[then]) = before;
	x->route[stop] = -1;
	t->count--;
	refresh(s, x, tour);
	x->cost += t->metres + s->p->stops[stop].weight - (t->count ? 0 : s->p->shifts[tour].use_m);
}

int64_t state_place_unit(const struct ft_route_search *s, struct state *x, const struct unit *u, int tour,
                         struct ft_random *blink)
{
	int64_t cost = 0;

	for (int i = 0; i < u->count; i++) {
		struct spot at = { -1, -1, INT64_MAX };
		state_spot(s, x, u->members[i], tour, blink, &at);
		if (at.cost == INT64_MAX) {
			while (i-- > 0)
				state_remove(s, x, u->members[i]);
			return INT64_MAX;
		}
		state_insert(s, x, u->members[i], tour, at.after);
		cost += at.cost;
	}
	return cost;
}

void state_remove_unit(const struct ft_route_search *s, struct state *x, const struct unit *u)
{
	for (int i = 0; i < u->count; i++)
		if (x->route[u->members[i]] >= 0)
			state_remove(s, x, u->members[i]);
}

int64_t state_try_unit(const struct ft_route_search *s, struct state *x, const struct unit *u, int tour)
{
	struct spot at = { -1, -1, INT64_MAX };
	int64_t cost;

	if (u->count == 1) {
		state_spot(s, x, u->members[0], tour, NULL, &at);
		return at.cost;
	}
	cost = state_place_unit(s, x, u, tour, NULL);
	if (cost != INT64_MAX)
		state_remove_unit(s, x, u);
	return cost;
}

int64_t route_walk(const struct ft_route_search *s, int tour, const int *stops, int count)
{
	const struct ft_route_problem *p = s->p;
	const struct ft_route_shift *h = &p->shifts[tour];
	int place = h->from;
	int32_t at = h->opens_s;
	int64_t metres = 0, load = 0;
	double variance = 0;

	if (!count)
		return 0;
	for (int i = 0; i < count; i++) {
		const struct ft_route_stop *q = &p->stops[stops[i]];
		metres += route_metres(p, place, q->place);
		at += route_seconds(p, place, q->place);
		at = at < q->opens_s ? q->opens_s : at;
		load += q->load;
		if (at > s->last_start[stops[i]] || load > h->capacity || route_barred(p, stops[i], tour))
			return -1;
		at += q->service_s;
		place = q->place;
		variance += (double)q->spread_s * q->spread_s;
	}
	if (at + route_seconds(p, place, h->to) > h->closes_s - route_margin(p, variance))
		return -1;
	return metres + route_metres(p, place, h->to);
}

void state_set_tour(const struct ft_route_search *s, struct state *x, int tour, const int *stops, int count)
{
	struct tour *t = &x->tours[tour];

	t->first = count ? stops[0] : -1;
	t->last = count ? stops[count - 1] : -1;
	t->count = count;
	for (int i = 0; i < count; i++) {
		x->route[stops[i]] = tour;
		x->prev[stops[i]] = i ? stops[i - 1] : -1;
		x->next[stops[i]] = i + 1 < count ? stops[i + 1] : -1;
	}
	refresh(s, x, tour);
}
