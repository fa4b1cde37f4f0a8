/* SPDX-License-Identifier: Apache-2.0 */
/* From a fleet in words to stops and shifts, with what was promised and what changed. */
#include <math.h>
#include <stdio.h>

#include "fettle/rollout_fleet.h"

/* What a plan is worth besides its metres; all ours. A promise outweighs any number of new machines that may be at
 * hand, a new machine any way within a country. */
enum {
	LEFT_OUT_M = 10000000,           /* a machine without a visit, times one and its priority */
	MOVED_DAY_M = 1500000000,        /* a promised machine on another day */
	MOVED_TECHNICIAN_M = 1000000000, /* on the same day with somebody else */
	LATER_M = 100,                   /* a day later */
	LATER_BY_PRIORITY_M = 2000,      /* a day later, for each step of priority */
	DAY_M = 20000,                   /* a technician going out at all */
};
static const int64_t left_out_promised_m = INT64_C(1000000000000);

/* ---- promises ---- */

enum ft_status ft_fleet_promises(struct ft_slice csv, const char *what, const struct ft_fleet *f, struct ft_arena *a,
                                 struct ft_promise **ret, size_t *ret_count, size_t *ret_gone, struct ft_error *e)
{
	static const char *const names[] = { "date", "technician", "asset", "leave", "start" };
	struct ft_csv t;
	int at[5];
	enum ft_status s = ft_csv_read(csv, what, a, &t, e);

	*ret_count = *ret_gone = 0;
	if (s != FT_OK)
		return s;
	for (int k = 0; k < 5; k++) {
		at[k] = ft_csv_column(&t, names[k]);
		if (at[k] < 0 && k < 3)
			return ft_fail(e, FT_E_INPUT, "%s has no column %s; an earlier plan is a days.csv that rollout wrote.",
			               what, names[k]);
	}
	if (t.count > FT_ROUTE_STOPS_MAX)
		return ft_fail(e, FT_E_INPUT, "%s has more than %d lines; it is no plan that rollout wrote.", what,
		               FT_ROUTE_STOPS_MAX);
	*ret = FT_NEW_ARRAY(a, t.count + 1, struct ft_promise);
	if (!*ret)
		return ft_fail_memory(e, "reading the earlier plan");
	for (size_t i = 0; i < t.count; i++) {
		const struct ft_csv_row *row = &t.rows[i];
		struct ft_promise p = { .order = (int)i, .leave = -1, .was_start = -1 };
		if (!ft_fleet_date(ft_csv_field(row, at[0]), &p.day))
			return ft_fail(e, FT_E_INPUT, "%s, line %u, column date: \"%.*s\" is no date as 2026-11-30.", what,
			               row->line, FT_P(ft_csv_field(row, at[0])));
		p.technician = ft_fleet_technician_of(f, ft_csv_field(row, at[1]));
		p.machine = ft_fleet_machine_of(f, ft_csv_field(row, at[2]));
		if (at[3] >= 0 && !ft_fleet_hour(ft_csv_field(row, at[3]), &p.leave))
			p.leave = -1;
		if (at[4] >= 0 && !ft_fleet_hour(ft_csv_field(row, at[4]), &p.was_start))
			p.was_start = -1;
		p.was_technician = p.technician;
		p.was_day = p.day;
		p.was_leave = p.leave;
		if (p.machine < 0 || p.technician < 0)
			(*ret_gone)++;
		else
			(*ret)[(*ret_count)++] = p;
	}
	return FT_OK;
}

/* ---- shifts ---- */

static bool away(const struct ft_fleet_terms *t, int technician, int64_t day)
{
	for (size_t i = 0; i < t->absence_count; i++)
		if (t->absences[i].technician == technician && (t->absences[i].day == INT64_MIN || t->absences[i].day == day))
			return true;
	return false;
}

static unsigned weekday_bit(int64_t day)
{
	return 1U << ((day % 7 + 10) % 7); /* 1970-01-01 was a Thursday */
}

/* Is anything said of a technician's first day: a machine done, or not to be reached? Technician -1: of anybody's. */
static bool spoken_of(const struct ft_fleet_terms *t, int technician)
{
	for (size_t i = 0; i < t->promise_count; i++) {
		const struct ft_promise *p = &t->promises[i];
		if (p->day == t->first_day && (technician < 0 || p->technician == technician) &&
		    ((t->done && t->done[p->machine]) || (t->not_first && t->not_first[p->machine])))
			return true;
	}
	return false;
}

int ft_fleet_at(const struct ft_fleet_terms *t, int technician)
{
	if (t->at_of && t->at_of[technician] >= 0)
		return t->at_of[technician];
	return spoken_of(t, technician) || !spoken_of(t, -1) ? t->at : -1;
}

/* Where and when a technician goes on from on the first day, when something was done already. */
static void go_on(const struct ft_fleet_terms *t, int technician, int64_t day, struct ft_route_shift *h)
{
	const int at = ft_fleet_at(t, technician);
	int last = -1;

	for (size_t i = 0; t->done && i < t->promise_count; i++) {
		const struct ft_promise *p = &t->promises[i];
		if (p->technician != technician || p->day != day || !t->done[p->machine] || p->order < last)
			continue;
		last = p->order;
		h->from = p->machine;
		if (at < 0 && p->leave * 60 > h->opens_s)
			h->opens_s = p->leave * 60; /* as it was planned; whoever names the hour knows better */
	}
	if (at * 60 > h->opens_s)
		h->opens_s = at * 60;
}

static enum ft_status make_shifts(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                                  struct ft_fleet_problem *r, struct ft_error *e)
{
	size_t room = f->technician_count * (size_t)t->days, n = 0;
	struct ft_route_shift *shifts = FT_NEW_ARRAY(a, room + 1, struct ft_route_shift);

	r->technician = FT_NEW_ARRAY(a, room + 1, int);
	r->day = FT_NEW_ARRAY(a, room + 1, int64_t);
	if (!shifts || !r->technician || !r->day)
		return ft_fail_memory(e, "laying out the days");
	for (int64_t day = t->first_day; day < t->first_day + t->days; day++) {
		for (size_t i = 0; i < f->technician_count; i++) {
			const struct ft_fleet_technician *p = &f->technicians[i];
			struct ft_route_shift *h = &shifts[n];
			if (!(p->days & weekday_bit(day)) || day < p->from || day > p->until || away(t, (int)i, day))
				continue;
			if (n == FT_ROUTE_SHIFTS_MAX)
				return ft_fail(e, FT_E_INPUT, "More than %d days of technicians; plan fewer days at once.",
				               FT_ROUTE_SHIFTS_MAX);
			*h = (struct ft_route_shift){ .from = (int)(f->machine_count + i),
				                          .to = (int)(f->machine_count + i),
				                          .opens_s = p->opens * 60,
				                          .closes_s = p->closes * 60,
				                          .capacity = INT32_MAX,
				                          .use_m = DAY_M };
			if (day == t->first_day)
				go_on(t, (int)i, day, h);
			r->technician[n] = (int)i;
			r->day[n++] = day;
		}
	}
	if (!n)
		return ft_fail(e, FT_E_INPUT,
		               "No technician works on any day of the plan; see --from, --days and the technicians' days.");
	r->problem.shifts = shifts;
	r->problem.shift_count = n;
	return FT_OK;
}

/* ---- ways ---- */

static enum ft_status unknown_place(const struct ft_fleet *f, size_t place, struct ft_error *e)
{
	const bool machine = place < f->machine_count;
	const struct ft_slice name = machine ? f->machines[place].asset : f->technicians[place - f->machine_count].name;

	return ft_fail(
		e, FT_E_INPUT,
		"Where %s \"%.*s\" (line %u) is cannot be told: give latitude and longitude, or a table of distances "
		"that names it.",
		machine ? "machine" : "technician", FT_P(name),
		machine ? f->machines[place].line : f->technicians[place - f->machine_count].line);
}

static enum ft_status make_ways(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                                struct ft_fleet_problem *r, struct ft_error *e)
{
	size_t n = f->machine_count + f->technician_count;
	int32_t *metres = FT_NEW_ARRAY(a, n * n, int32_t), *seconds = FT_NEW_ARRAY(a, n * n, int32_t);
	double *at = FT_NEW_ARRAY(a, 2 * n, double), mid[2] = { 0, 0 };

	r->angles = FT_NEW_ARRAY(a, n, double);
	if (!metres || !seconds || !at || !r->angles)
		return ft_fail_memory(e, "measuring the ways");
	for (size_t i = 0; i < n; i++) {
		const size_t k = i - f->machine_count;
		at[2 * i] = i < f->machine_count ? f->machines[i].latitude : f->technicians[k].latitude;
		at[2 * i + 1] = i < f->machine_count ? f->machines[i].longitude : f->technicians[k].longitude;
		if (i >= f->machine_count) {
			mid[0] += at[2 * i] / (double)f->technician_count;
			mid[1] += at[2 * i + 1] / (double)f->technician_count;
		}
	}
	for (size_t i = 0; i < n; i++) {
		r->angles[i] =
			isnan(at[2 * i]) || isnan(mid[0]) ? (double)i : atan2(at[2 * i] - mid[0], at[2 * i + 1] - mid[1]);
		for (size_t k = 0; k < n; k++) {
			double km = f->km ? f->km[i * n + k] : NAN;
			if (isnan(km))
				km = t->road * ft_great_circle(at[2 * i], at[2 * i + 1], at[2 * k], at[2 * k + 1], FT_EARTH_KM);
			if (i != k && isnan(km))
				return unknown_place(f, isnan(at[2 * i]) || isnan(at[2 * i + 1]) ? i : k, e);
			if (i == k)
				km = 0;
			metres[i * n + k] = (int32_t)lround(km * 1000);
			/* A machine at the same spot needs no new parking. */
			seconds[i * n + k] =
				(int32_t)lround(km / t->kmh * 3600 + (km > 0.02 && k < f->machine_count ? 60 * t->stop_minutes : 0));
		}
	}
	r->problem.metres = metres;
	r->problem.seconds = seconds;
	r->problem.place_count = n;
	return FT_OK;
}

/* ---- stops ---- */

static bool has_skills(struct ft_slice needed, struct ft_slice have)
{
	while (needed.n) {
		struct ft_slice word, rest = have, own;
		size_t n = 0;
		bool found = false;
		while (n < needed.n && !strchr(" ;,", needed.p[n]))
			n++;
		word = (struct ft_slice){ needed.p, n };
		needed.p += n < needed.n ? n + 1 : n;
		needed.n -= n < needed.n ? n + 1 : n;
		while (word.n && rest.n && !found) {
			for (n = 0; n < rest.n && !strchr(" ;,", rest.p[n]); n++)
				;
			own = (struct ft_slice){ rest.p, n };
			found = ft_slice_eq_nocase(own, word);
			rest.p += n < rest.n ? n + 1 : n;
			rest.n -= n < rest.n ? n + 1 : n;
		}
		if (word.n && !found)
			return false;
	}
	return true;
}

/* The first day on which every part that each machine surely needs is there: what is on hand goes to the highest
 * priority first, then in the order of the table. `left`: by part, scratch. */
static void part_days(const struct ft_fleet *f, const struct ft_fleet_terms *t, int64_t *from, int64_t *left)
{
	for (size_t p = 0; p < f->part_count; p++)
		left[p] = f->parts[p].stock;
	for (size_t i = 0; i < f->machine_count; i++)
		from[i] = INT64_MIN;
	for (int priority = 9; priority >= 0; priority--) {
		for (size_t i = 0; i < f->machine_count; i++) {
			const struct ft_fleet_machine *m = &f->machines[i];
			if ((int)m->priority != priority || (t->done && t->done[i]))
				continue;
			for (size_t k = 0; k < m->kit_count; k++) {
				const struct ft_fleet_part *p = &f->parts[m->kit[k].part];
				if (m->kit[k].p < 1 || p->stock < 0 || (p->arrives == INT64_MAX && !t->on_hand))
					continue; /* perhaps not needed, not counted, or bought in time */
				left[m->kit[k].part] -= m->kit[k].count;
				if (left[m->kit[k].part] < 0 && p->arrives > from[i])
					from[i] = p->arrives;
			}
		}
	}
}

static enum ft_bar bar_of(const struct ft_fleet *f, const struct ft_fleet_terms *t, const struct ft_fleet_problem *r,
                          int machine, size_t shift, int64_t parts_from)
{
	const struct ft_fleet_machine *m = &f->machines[machine];

	if (!has_skills(m->skills, f->technicians[r->technician[shift]].skills))
		return FT_BAR_SKILL;
	if (!(m->days & weekday_bit(r->day[shift])))
		return FT_BAR_CLOSED;
	if (r->day[shift] < parts_from)
		return FT_BAR_PART;
	if (t->not_first && t->not_first[machine] && r->day[shift] == t->first_day)
		return FT_BAR_NOT;
	return FT_BAR_NONE;
}

/* The shift that a machine was promised for, and the promise. */
static int promised(const struct ft_fleet_terms *t, const struct ft_fleet_problem *r, int machine,
                    struct ft_promise *ret)
{
	int found = -1;

	ret->machine = -1;
	for (size_t i = 0; i < t->promise_count; i++) {
		if (t->promises[i].machine != machine)
			continue;
		found = -2;
		*ret = t->promises[i];
		for (size_t k = 0; k < r->problem.shift_count; k++)
			if (r->technician[k] == t->promises[i].technician && r->day[k] == t->promises[i].day)
				return (int)k;
	}
	return found;
}

static enum ft_status make_stops(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                                 struct ft_fleet_problem *r, struct ft_error *e)
{
	const size_t shifts = r->problem.shift_count;
	struct ft_route_stop *stops = FT_NEW_ARRAY(a, f->machine_count + 1, struct ft_route_stop);
	uint8_t *bars = FT_NEW_ARRAY(a, f->machine_count * shifts + 1, uint8_t);
	int32_t *costs = FT_NEW_ARRAY(a, f->machine_count * shifts + 1, int32_t);
	int64_t *from = FT_NEW_ARRAY(a, f->machine_count + 1, int64_t), *left = FT_NEW_ARRAY(a, f->part_count + 1, int64_t);
	size_t n = 0;

	r->machine = FT_NEW_ARRAY(a, f->machine_count + 1, int);
	r->promised = FT_NEW_ARRAY(a, f->machine_count + 1, int);
	r->promise = FT_NEW_ARRAY(a, f->machine_count + 1, struct ft_promise);
	if (!stops || !bars || !costs || !from || !left || !r->machine || !r->promised || !r->promise)
		return ft_fail_memory(e, "laying out the visits");
	part_days(f, t, from, left);
	for (size_t i = 0; i < f->machine_count; i++) {
		const struct ft_fleet_machine *m = &f->machines[i];
		if (t->done && t->done[i]) {
			r->done++;
			continue;
		}
		r->promised[n] = promised(t, r, (int)i, &r->promise[n]);
		stops[n] = (struct ft_route_stop){ .place = (int)i,
			                               .service_s = (int32_t)lround(60 * m->minutes),
			                               .spread_s = (int32_t)lround(60 * m->spread),
			                               .opens_s = 60 * m->opens,
			                               .closes_s = 60 * m->closes,
			                               .done_by_close = true,
			                               .group = -1 };
		stops[n].weight = r->promised[n] != -1 ? left_out_promised_m : LEFT_OUT_M * (int64_t)(1 + m->priority);
		for (size_t k = 0; m->together.n && k <= i && stops[n].group < 0; k++)
			if (ft_slice_eq_nocase(f->machines[k].together, m->together))
				stops[n].group = (int)k;
		for (size_t k = 0; k < shifts; k++) {
			int64_t late = r->day[k] - t->first_day;
			bars[n * shifts + k] = (uint8_t)bar_of(f, t, r, (int)i, k, from[i]);
			costs[n * shifts + k] = (int32_t)(late * (LATER_M + LATER_BY_PRIORITY_M * m->priority));
			if (r->promised[n] != -1 && r->promised[n] != (int)k)
				costs[n * shifts + k] += r->day[k] == r->promise[n].day ? MOVED_TECHNICIAN_M : MOVED_DAY_M;
		}
		r->machine[n++] = (int)i;
	}
	r->problem.stops = stops;
	r->problem.stop_count = n;
	r->problem.bars = bars;
	r->problem.costs = costs;
	r->problem.cushion = t->cushion;
	return FT_OK;
}

/* Visits of the earlier plan that can still be as they were, in their order. */
static enum ft_status make_earlier(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                                   struct ft_fleet_problem *r, struct ft_error *e)
{
	int *stop_of = FT_NEW_ARRAY(a, f->machine_count + 1, int);
	struct ft_route_promise *list = FT_NEW_ARRAY(a, t->promise_count + 1, struct ft_route_promise);

	if (!stop_of || !list)
		return ft_fail_memory(e, "laying out the visits");
	for (size_t i = 0; i < f->machine_count; i++)
		stop_of[i] = -1;
	for (size_t k = 0; k < r->problem.stop_count; k++)
		stop_of[r->machine[k]] = (int)k;
	for (size_t i = 0; i < t->promise_count; i++) {
		const int stop = stop_of[t->promises[i].machine];
		if (stop >= 0 && r->promised[stop] >= 0)
			list[r->problem.earlier_count++] = (struct ft_route_promise){ stop, r->promised[stop] };
	}
	r->problem.earlier = list;
	return FT_OK;
}

enum ft_status ft_fleet_make(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                             struct ft_fleet_problem *ret, struct ft_error *e)
{
	enum ft_status s;

	*ret = (struct ft_fleet_problem){ 0 };
	if (f->machine_count + f->technician_count > FT_ROUTE_STOPS_MAX)
		return ft_fail(e, FT_E_INPUT, "More than %d places; plan fewer machines at once.", FT_ROUTE_STOPS_MAX);
	s = make_shifts(f, t, a, ret, e);
	if (s == FT_OK)
		s = make_ways(f, t, a, ret, e);
	if (s == FT_OK)
		s = make_stops(f, t, a, ret, e);
	return s == FT_OK ? make_earlier(f, t, a, ret, e) : s;
}
