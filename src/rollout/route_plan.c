/* SPDX-License-Identifier: Apache-2.0 */
/* A plan with its times, why a stop has no place in it, and a check that shares nothing with the search. */
#include "route.h"

const char *ft_bar_sentence(enum ft_bar b)
{
	static const char *const sentences[FT_BAR_COUNT] = {
		[FT_BAR_SKILL] = "no technician has the skill",
		[FT_BAR_CLOSED] = "the site is closed on every day of the plan",
		[FT_BAR_PART] = "a part it surely needs is not there on any day of the plan",
		[FT_BAR_AWAY] = "no technician who could do it is there",
		[FT_BAR_NOT] = "it cannot be reached on any day of the plan",
		[FT_BAR_HOURS] = "way, work and opening hours do not fit into any technician's hours",
		[FT_BAR_GROUP] = "what belongs together with it does not fit into one day",
		[FT_BAR_ROOM] = "the days are full",
	};

	return (unsigned)b < FT_BAR_COUNT ? sentences[b] : NULL;
}

const char *ft_route_method_word(enum ft_route_method m)
{
	static const char *const words[] = { "nearest neighbour", "sweep", "cheapest insertion", "regret insertion" };

	return (unsigned)m < FT_ROUTE_METHODS ? words[m] : NULL;
}

/* Why a stop that was left out could not be helped: the obstacle that the most hopeful shift has. */
void route_bar_of(const struct ft_route_search *s, int stop, enum ft_bar *ret)
{
	const struct ft_route_problem *p = s->p;
	/* What is easiest to cure is told last, so that the closest miss wins. */
	enum ft_bar best = FT_BAR_NONE;

	for (int r = 0; r < (int)p->shift_count; r++) {
		enum ft_bar b = p->bars ? (enum ft_bar)p->bars[(size_t)stop * p->shift_count + (size_t)r] : FT_BAR_NONE;
		if (b == FT_BAR_NONE)
			b = route_walk(s, r, &stop, 1) < 0 ? FT_BAR_HOURS : FT_BAR_ROOM;
		best = b > best ? b : best;
	}
	if (best == FT_BAR_ROOM && s->units[s->unit_of[stop]].count > 1) {
		/* Would the group fit into an empty day? */
		const struct unit *u = &s->units[s->unit_of[stop]];
		struct state x = s->spare; /* holds nothing between steps */
		best = FT_BAR_GROUP;
		state_clear(s, &x);
		for (int r = 0; r < (int)p->shift_count && best == FT_BAR_GROUP; r++)
			if (state_try_unit(s, &x, u, r) != INT64_MAX)
				best = FT_BAR_ROOM;
	}
	*ret = best == FT_BAR_NONE ? FT_BAR_AWAY : best;
}

static double late_risk(const struct ft_route_problem *p, const struct tour *t, int32_t back)
{
	double slack = t->end - back + route_margin(p, t->variance);

	return t->variance > 0 ? 0.5 * erfc(slack / sqrt(2 * t->variance)) : 0;
}

/* Leaves home as late as the first stop allows without being later anywhere. */
static void time_day(const struct ft_route_search *s, const struct state *x, int r, struct ft_route_day *d)
{
	const struct ft_route_problem *p = s->p;
	const struct ft_route_shift *h = &p->shifts[r];
	int place = h->from;
	int32_t at;

	d->shift = r;
	d->count = 0;
	at = x->early[x->tours[r].first] - route_seconds(p, place, p->stops[x->tours[r].first].place);
	d->leave_s = at;
	for (int i = x->tours[r].first; i >= 0; i = x->next[i]) {
		const struct ft_route_stop *q = &p->stops[i];
		struct ft_route_visit *v = &d->visits[d->count++];
		v->stop = i;
		v->travel_s = route_seconds(p, place, q->place);
		v->travel_m = route_metres(p, place, q->place);
		v->arrive_s = at + v->travel_s;
		v->start_s = v->arrive_s < q->opens_s ? q->opens_s : v->arrive_s;
		v->leave_s = v->start_s + q->service_s;
		at = v->leave_s;
		place = q->place;
	}
	d->back_m = route_metres(p, place, h->to);
	d->back_s = at + route_seconds(p, place, h->to);
	d->metres = x->tours[r].metres;
	d->late_risk = late_risk(p, &x->tours[r], d->back_s);
}

enum ft_status ft_route_plan(const struct ft_route_search *s, struct ft_arena *a, struct ft_route_plan *ret,
                             struct ft_error *e)
{
	const struct ft_route_problem *p = s->p;
	struct state own = s->spare, *x = &own; /* its arrays hold nothing between steps */

	state_copy(s, x, &s->best);
	route_keep_order(s, x);
	*ret = (struct ft_route_plan){ .cost = x->cost };
	ret->days = FT_NEW_ARRAY(a, p->shift_count + 1, struct ft_route_day);
	ret->unserved = FT_NEW_ARRAY(a, p->stop_count + 1, int);
	ret->why = FT_NEW_ARRAY(a, p->stop_count + 1, enum ft_bar);
	if (!ret->days || !ret->unserved || !ret->why)
		return ft_fail_memory(e, "writing the plan");
	for (int r = 0; r < (int)p->shift_count; r++) {
		struct ft_route_day *d = &ret->days[ret->day_count];
		if (!x->tours[r].count)
			continue;
		d->visits = FT_NEW_ARRAY(a, (size_t)x->tours[r].count, struct ft_route_visit);
		if (!d->visits)
			return ft_fail_memory(e, "writing the plan");
		time_day(s, x, r, d);
		ret->metres += d->metres;
		ret->day_count++;
	}
	for (int i = 0; i < (int)p->stop_count; i++)
		if (x->route[i] < 0)
			ret->unserved[ret->unserved_count++] = i;
	for (size_t i = 0; i < ret->unserved_count; i++)
		route_bar_of(s, ret->unserved[i], &ret->why[i]); /* which needs the spare plan for itself */
	return FT_OK;
}

/* ---- the check ---- */

struct check {
	const struct ft_route_problem *p;
	struct ft_arena *a;
	const char *wrong;
};

#define WRONG(c, ...)                                      \
	do {                                                   \
		(c)->wrong = ft_arena_printf((c)->a, __VA_ARGS__); \
		if (!(c)->wrong)                                   \
			(c)->wrong = "no memory for what is wrong";    \
		return;                                            \
	} while (0)

static void check_visit(struct check *c, const struct ft_route_day *d, size_t k, int place, int32_t at)
{
	const struct ft_route_problem *p = c->p;
	const struct ft_route_visit *v = &d->visits[k];
	const struct ft_route_stop *q = &p->stops[v->stop];
	size_t way = (size_t)place * p->place_count + (size_t)q->place;

	if (v->travel_m != p->metres[way] || v->travel_s != p->seconds[way])
		WRONG(c, "the way to stop %d is not that of the matrix", v->stop);
	if (v->arrive_s != at + v->travel_s || v->start_s < v->arrive_s || v->leave_s != v->start_s + q->service_s)
		WRONG(c, "the times at stop %d do not follow from the way there", v->stop);
	if (v->start_s < q->opens_s || v->start_s > q->closes_s || (q->done_by_close && v->leave_s > q->closes_s))
		WRONG(c, "stop %d is worked at outside its hours", v->stop);
	if (p->bars && p->bars[(size_t)v->stop * p->shift_count + (size_t)d->shift] != FT_BAR_NONE)
		WRONG(c, "stop %d must not be on shift %d", v->stop, d->shift);
}

static void check_day(struct check *c, const struct ft_route_day *d)
{
	const struct ft_route_problem *p = c->p;
	const struct ft_route_shift *h = &p->shifts[d->shift];
	int place = h->from;
	int32_t at = d->leave_s;
	int64_t metres = 0, load = 0;
	double variance = 0;

	if (at < h->opens_s)
		WRONG(c, "shift %d leaves before its hours", d->shift);
	for (size_t k = 0; k < d->count && !c->wrong; k++) {
		const struct ft_route_stop *q = &p->stops[d->visits[k].stop];
		check_visit(c, d, k, place, at);
		place = q->place;
		at = d->visits[k].leave_s;
		metres += d->visits[k].travel_m;
		load += q->load;
		variance += (double)q->spread_s * q->spread_s;
	}
	if (c->wrong)
		return;
	at += p->seconds[(size_t)place * p->place_count + (size_t)h->to];
	metres += p->metres[(size_t)place * p->place_count + (size_t)h->to];
	if (at != d->back_s || at + p->cushion * sqrt(variance) > h->closes_s)
		WRONG(c, "shift %d is back too late", d->shift);
	if (load > h->capacity)
		WRONG(c, "shift %d carries too much", d->shift);
	if (metres != d->metres)
		WRONG(c, "the metres of shift %d are not those of its ways", d->shift);
}

const char *ft_route_wrong(const struct ft_route_problem *p, const struct ft_route_plan *plan, struct ft_arena *a)
{
	struct check c = { p, a, NULL };
	int *on = FT_NEW_ARRAY(a, p->stop_count + 1, int);
	int64_t metres = 0;

	if (!on)
		return "no memory for the check";
	for (size_t d = 0; d < plan->day_count; d++) {
		if (d && plan->days[d].shift <= plan->days[d - 1].shift)
			return "a shift is there twice";
		for (size_t k = 0; k < plan->days[d].count; k++) {
			if (on[plan->days[d].visits[k].stop])
				return "a stop is there twice";
			on[plan->days[d].visits[k].stop] = plan->days[d].shift + 1;
		}
		check_day(&c, &plan->days[d]);
		if (c.wrong)
			return c.wrong;
		metres += plan->days[d].metres;
	}
	for (size_t k = 0; k < plan->unserved_count; k++) {
		if (on[plan->unserved[k]])
			return "a stop is visited and left out";
		on[plan->unserved[k]] = -1;
	}
	for (size_t i = 0; i < p->stop_count; i++) {
		if (!on[i])
			return "a stop is neither visited nor left out";
		for (size_t k = 0; k < i; k++)
			if (p->stops[i].group >= 0 && p->stops[i].group == p->stops[k].group && on[i] != on[k])
				return "what belongs together is apart";
	}
	return metres == plan->metres ? NULL : "the metres in all are not the sum of the days";
}
