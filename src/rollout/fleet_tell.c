/* SPDX-License-Identifier: Apache-2.0 */
/* A plan in the words of the fleet: days, fillings of the vans, what must be bought and by when. */
#include <math.h>
#include <stdlib.h>

#include "fettle/rollout_fleet.h"

/* Up for what begins, so that nobody stands at a closed door; the same way for ends keeps them in order. */
static int minute(int32_t seconds)
{
	return (seconds + 59) / 60;
}

/* How a stop of day `d` stands to what its site was told. Without an earlier plan of it, what was asked for is that. */
static void tell_promise(const struct ft_promise *was, const struct ft_rollout_day *d, struct ft_rollout_stop *s,
                         struct ft_rollout *r)
{
	s->was_start = -1;
	if (was->machine < 0)
		return;
	const bool there = was->technician == d->technician && was->day == d->day,
			   same = was->was_technician < 0 ? there : was->was_technician == d->technician && was->was_day == d->day;
	s->moved = !same;
	s->asked = s->moved && there;
	s->was_start = was->was_start;
	s->other_hour = same && was->was_start >= 0 && abs(s->start - was->was_start) > FT_HOUR_KEPT;
	r->promised++;
	r->kept += same;
	r->moved += s->moved;
	r->other_hour += s->other_hour;
}

static enum ft_status tell_day(const struct ft_fleet_problem *p, const struct ft_route_day *d, struct ft_arena *a,
                               struct ft_rollout *r, struct ft_error *e)
{
	struct ft_rollout_day *out = &r->days[r->day_count++];

	*out = (struct ft_rollout_day){ .technician = p->technician[d->shift],
		                            .day = p->day[d->shift],
		                            .count = d->count,
		                            .leave = d->leave_s / 60,
		                            .back = minute(d->back_s),
		                            .km = (double)d->metres / 1000,
		                            .back_km = (double)d->back_m / 1000,
		                            .late_risk = d->late_risk,
		                            .filling = -1 };
	out->stops = FT_NEW_ARRAY(a, d->count + 1, struct ft_rollout_stop);
	if (!out->stops)
		return ft_fail_memory(e, "writing the plan");
	for (size_t i = 0; i < d->count; i++) {
		const struct ft_route_visit *v = &d->visits[i];
		out->stops[i] = (struct ft_rollout_stop){ .machine = p->machine[v->stop],
			                                      .arrive = minute(v->arrive_s),
			                                      .start = minute(v->start_s),
			                                      .leave = minute(v->leave_s),
			                                      .km = (double)v->travel_m / 1000 };
		tell_promise(&p->promise[v->stop], out, &out->stops[i], r);
	}
	return FT_OK;
}

/* ---- the vans ---- */

/* Needs of one filling, or of all with filling -1. */
static size_t needs_of(const struct ft_rollout *r, int filling, struct ft_van_need *out)
{
	size_t n = 0;

	for (size_t d = 0; d < r->day_count; d++) {
		if (filling >= 0 && r->days[d].filling != filling)
			continue;
		for (size_t i = 0; i < r->days[d].count; i++) {
			const struct ft_fleet_machine *m = &r->fleet->machines[r->days[d].stops[i].machine];
			if (out)
				memcpy(out + n, m->kit, m->kit_count * sizeof *out);
			n += m->kit_count;
		}
	}
	return n;
}

/* Each technician's days fall into fillings of `every` days, counted from the first day of the plan. */
static enum ft_status make_fillings(struct ft_rollout *r, int every, struct ft_arena *a, struct ft_error *e)
{
	int64_t first = r->day_count ? r->days[0].day : 0;

	r->fillings = FT_NEW_ARRAY(a, r->day_count + 1, struct ft_rollout_filling);
	if (!r->fillings)
		return ft_fail_memory(e, "filling the vans");
	for (size_t d = 0; d < r->day_count; d++)
		first = r->days[d].day < first ? r->days[d].day : first;
	for (size_t d = 0; d < r->day_count; d++) {
		struct ft_rollout_day *day = &r->days[d];
		for (size_t i = 0; i < r->filling_count && day->filling < 0; i++) {
			struct ft_rollout_filling *f = &r->fillings[i];
			if (f->technician != day->technician || (every && (f->from - first) / every != (day->day - first) / every))
				continue;
			day->filling = (int)i;
			f->until = day->day > f->until ? day->day : f->until;
			f->from = day->day < f->from ? day->day : f->from;
		}
		if (day->filling >= 0)
			continue;
		day->filling = (int)r->filling_count;
		r->fillings[r->filling_count++] = (struct ft_rollout_filling){ day->technician, day->day, day->day, { 0 } };
	}
	return FT_OK;
}

/* What must be bought: as much as all stops together may need within the risk asked, and as much as the vans carry at
 * the same time; by the day on which what is on hand no longer fills them. */
static enum ft_status make_buys(struct ft_rollout *r, const struct ft_van *whole, struct ft_arena *a,
                                struct ft_error *e)
{
	r->buys = FT_NEW_ARRAY(a, r->fleet->part_count + 1, struct ft_rollout_buy);
	if (!r->buys)
		return ft_fail_memory(e, "writing the buying list");
	for (size_t p = 0; p < r->fleet->part_count; p++) {
		struct ft_rollout_buy *b = &r->buys[r->buy_count];
		const int stock = r->fleet->parts[p].stock;
		if (!whole->loads[p].most)
			continue;
		*b =
			(struct ft_rollout_buy){ .part = (int)p, .needed = whole->loads[p].carry, .stock = stock, .by = INT64_MAX };
		for (size_t i = 0; i < r->filling_count; i++) {
			const struct ft_rollout_filling *f = &r->fillings[i];
			int out = 0, sure = 0;
			for (size_t k = 0; k < r->filling_count; k++) {
				const struct ft_rollout_filling *g = &r->fillings[k];
				if (g->from <= f->from && g->until >= f->from)
					out += g->van.loads[p].carry;
				else if (g->until < f->from)
					sure += g->van.loads[p].surely;
			}
			b->needed = out + sure > b->needed ? out + sure : b->needed;
			if (out + sure > (stock < 0 ? 0 : stock) && f->from < b->by)
				b->by = f->from;
		}
		b->buy = b->needed - (stock < 0 ? 0 : stock);
		b->buy = b->buy < 0 ? 0 : b->buy;
		if (b->buy && b->by == INT64_MAX)
			b->by = r->fillings[r->filling_count - 1].until;
		r->buy_count++;
	}
	return FT_OK;
}

static enum ft_status fill(struct ft_rollout *r, double risk, struct ft_arena *a, struct ft_error *e)
{
	const size_t parts = r->fleet->part_count;
	struct ft_van_part *list = FT_NEW_ARRAY(a, parts + 1, struct ft_van_part);
	struct ft_van_need *needs = FT_NEW_ARRAY(a, needs_of(r, -1, NULL) + 1, struct ft_van_need);
	struct ft_van whole;
	enum ft_status s = FT_OK;

	if (!list || !needs)
		return ft_fail_memory(e, "filling the vans");
	for (size_t p = 0; p < parts; p++)
		list[p] = (struct ft_van_part){ r->fleet->parts[p].price, r->fleet->parts[p].weight_g, -1 };
	for (size_t i = 0; s == FT_OK && i < r->filling_count; i++) {
		size_t n = needs_of(r, (int)i, needs);
		s = ft_van_fill(list, parts, needs, n, risk, a, &r->fillings[i].van, e);
		r->risk_worst = fmax(r->risk_worst, r->fillings[i].van.bound);
	}
	if (s == FT_OK)
		s = ft_van_fill(list, parts, needs, needs_of(r, -1, needs), risk, a, &whole, e);
	return s == FT_OK ? make_buys(r, &whole, a, e) : s;
}

/* Which visits of the earlier plan their technicians do not make any more. */
static enum ft_status tell_gone(const struct ft_fleet_problem *p, struct ft_arena *a, struct ft_rollout *r,
                                struct ft_error *e)
{
	int *goes = FT_NEW_ARRAY(a, r->fleet->machine_count + 1, int); /* technician, by machine */

	r->gone = FT_NEW_ARRAY(a, p->problem.stop_count + 1, struct ft_rollout_gone);
	if (!goes || !r->gone)
		return ft_fail_memory(e, "writing the plan");
	for (size_t i = 0; i < r->fleet->machine_count; i++)
		goes[i] = -1;
	for (size_t d = 0; d < r->day_count; d++)
		for (size_t i = 0; i < r->days[d].count; i++)
			goes[r->days[d].stops[i].machine] = r->days[d].technician;
	for (size_t k = 0; k < p->problem.stop_count; k++) {
		const struct ft_promise *was = &p->promise[k];
		if (was->machine >= 0 && was->was_technician >= 0 && was->was_technician != goes[was->machine])
			r->gone[r->gone_count++] = (struct ft_rollout_gone){ was->machine, was->was_technician, was->was_day,
				                                                 was->was_start, was->was_leave };
	}
	return FT_OK;
}

enum ft_status ft_rollout_tell(const struct ft_fleet *f, const struct ft_fleet_problem *p,
                               const struct ft_route_plan *plan, double risk, int every, struct ft_arena *a,
                               struct ft_rollout *ret, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	*ret = (struct ft_rollout){ .fleet = f, .risk_asked = risk, .km = (double)plan->metres / 1000, .done = p->done };
	ret->days = FT_NEW_ARRAY(a, plan->day_count + 1, struct ft_rollout_day);
	ret->unserved = ft_arena_array(a, plan->unserved_count + 1, sizeof *ret->unserved);
	if (!ret->days || !ret->unserved)
		return ft_fail_memory(e, "writing the plan");
	for (size_t i = 0; s == FT_OK && i < plan->day_count; i++)
		s = tell_day(p, &plan->days[i], a, ret, e);
	for (size_t i = 0; i < plan->unserved_count; i++) {
		ret->unserved[ret->unserved_count].machine = p->machine[plan->unserved[i]];
		ret->unserved[ret->unserved_count++].why = plan->why[i];
		ret->promised += p->promised[plan->unserved[i]] != -1;
	}
	if (s == FT_OK)
		s = tell_gone(p, a, ret, e);
	if (s == FT_OK)
		s = make_fillings(ret, every, a, e);
	return s == FT_OK ? fill(ret, risk, a, e) : s;
}
