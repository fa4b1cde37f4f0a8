/* SPDX-License-Identifier: Apache-2.0 */
/* From tables to planned days. A line "--" parts machines, technicians, parts, distances and an earlier plan; the first
 * byte says which of the terms hold. What is planned must pass its own check, stay above its bound, fill its vans, and
 * come back whole from the table it is written to. */
#include <stdlib.h>

#include "fettle/paper_rollout.h"

enum { MACHINES_MOST = 30, SHIFTS_MOST = 40, NEEDS_MOST = 400, STEPS = 20, ROUNDS = 5 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static struct ft_slice next_table(struct ft_slice *rest)
{
	static const char mark[] = "\n--\n";
	size_t n = ft_slice_find(*rest, (struct ft_slice){ mark, sizeof mark - 1 });
	struct ft_slice table = { rest->p, n };
	size_t past = n < rest->n ? n + sizeof mark - 1 : n;

	*rest = (struct ft_slice){ rest->p + past, rest->n - past };
	return table;
}

static bool read_all(struct ft_slice text, struct ft_arena *a, struct ft_fleet *f, struct ft_fleet_terms *t,
                     struct ft_error *e)
{
	const struct ft_slice machines = next_table(&text), technicians = next_table(&text), parts = next_table(&text);
	const struct ft_slice distances = next_table(&text), days = next_table(&text);
	struct ft_promise *list;
	size_t gone;

	if ((parts.n && ft_fleet_parts(parts, "parts", a, f, e) != FT_OK) ||
	    ft_fleet_machines(machines, "machines", a, f, e) != FT_OK ||
	    ft_fleet_technicians(technicians, "technicians", a, f, e) != FT_OK)
		return false;
	if (f->machine_count > MACHINES_MOST || f->technician_count * (size_t)t->days > SHIFTS_MOST)
		return false;
	if (distances.n && ft_fleet_distances(distances, "distances", a, f, e) != FT_OK)
		return false;
	if (days.n) {
		if (ft_fleet_promises(days, "days", f, a, &list, &t->promise_count, &gone, e) != FT_OK)
			return false;
		t->promises = list;
	}
	return true;
}

/* Every filling carries what is certain, and its risk is a risk. */
static void look_at_vans(const struct ft_rollout *r)
{
	for (size_t i = 0; i < r->filling_count; i++) {
		const struct ft_van *v = &r->fillings[i].van;
		must(v->bound >= 0 && v->bound <= 1 && v->risk <= v->bound + 1e-9);
		for (size_t p = 0; p < v->part_count; p++)
			must(v->loads[p].carry >= v->loads[p].surely && v->loads[p].carry <= v->loads[p].most);
	}
	for (size_t i = 0; i < r->buy_count; i++)
		must(r->buys[i].buy >= 0 && r->buys[i].part >= 0 && (size_t)r->buys[i].part < r->fleet->part_count);
}

/* The papers are made, and the table of days is read back. */
static void look_at_papers(const struct ft_rollout *r, struct ft_arena *a)
{
	struct ft_buf days = { 0 }, other = { 0 };
	struct ft_error e = { 0 };
	struct ft_promise *list;
	size_t count, gone, stops = 0;

	for (size_t d = 0; d < r->day_count; d++)
		stops += r->days[d].count;
	ft_rollout_days_csv(r, &days);
	must(ft_fleet_promises(ft_buf_text(&days), "days.csv", r->fleet, a, &list, &count, &gone, &e) == FT_OK);
	must(count == stops && gone == 0);
	ft_rollout_load_csv(r, &other);
	ft_rollout_buy_csv(r, &other);
	ft_rollout_geojson(r, &other);
	ft_rollout_ical(r, 0, 0, a, &other);
	must(other.status == FT_OK);
	ft_buf_done(&days);
	ft_buf_done(&other);
}

static void plan(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a, struct ft_error *e)
{
	struct ft_fleet_problem p;
	struct ft_route_search *s;
	struct ft_route_plan plan;
	struct ft_rollout told;
	int64_t bound;

	if (ft_fleet_make(f, t, a, &p, e) != FT_OK) {
		must(e->text[0]);
		return;
	}
	must(ft_route_begin(&p.problem, p.angles, 1, a, &s, e) == FT_OK);
	ft_route_improve(s, STEPS, STEPS);
	must(ft_route_plan(s, a, &plan, e) == FT_OK && !ft_route_wrong(&p.problem, &plan, a));
	for (size_t i = 0; i < plan.unserved_count; i++)
		must(ft_bar_sentence(plan.why[i]));
	must(ft_route_bound(&p.problem, &plan, ROUNDS, a, &bound, NULL, e) == FT_OK && bound <= plan.metres);
	if (ft_rollout_tell(f, &p, &plan, 0.05, 1, a, &told, e) != FT_OK) {
		must(e->text[0]); /* more of one part than a van is reckoned for */
		return;
	}
	look_at_vans(&told);
	look_at_papers(&told, a);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_fleet f = { 0 };
	struct ft_error e = { 0 };
	bool done[MACHINES_MOST] = { 0 };
	struct ft_fleet_terms t = { .days = 4, .road = 1.3, .kmh = 45, .stop_minutes = 3, .cushion = 1, .at = -1 };
	size_t needs = 0;

	if (size < 1 || size > 8000)
		return 0;
	t.first_day = 20787; /* 2026-11-30, a Monday */
	t.on_hand = data[0] & 1;
	t.at = data[0] & 2 ? 600 : -1;
	done[0] = true;
	t.done = data[0] & 4 ? done : NULL;
	t.not_first = data[0] & 8 ? done : NULL;
	if (!read_all((struct ft_slice){ (const char *)data + 1, size - 1 }, &a, &f, &t, &e)) {
		must(e.text[0] || f.machine_count > MACHINES_MOST || f.technician_count * (size_t)t.days > SHIFTS_MOST);
	} else {
		for (size_t i = 0; i < f.machine_count; i++)
			for (size_t k = 0; k < f.machines[i].kit_count; k++)
				needs += (size_t)f.machines[i].kit[k].count;
		if (needs <= NEEDS_MOST)
			plan(&f, &t, &a, &e);
	}
	ft_arena_done(&a);
	return 0;
}
