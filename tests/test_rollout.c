/* SPDX-License-Identifier: Apache-2.0 */
/* Visiting order against published optima, and the rules that every plan must keep. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "fettle/csv.h"
#include "fettle/random.h"
#include "fettle/rollout.h"
#include "routes.h"
#include "unit.h"

/* Seeks `steps` steps and looks the plan over; the search in *ret where wanted. */
static struct ft_route_plan seek(const struct ft_route_problem *p, uint64_t seed, int64_t steps, struct ft_arena *a,
                                 struct ft_route_search **ret)
{
	struct ft_route_search *s;
	struct ft_route_plan plan;
	struct ft_error e = { 0 };
	const char *wrong;

	if (ft_route_begin(p, NULL, seed, a, &s, &e) != FT_OK)
		fail_msg("%s", e.text);
	ft_route_improve(s, steps, steps);
	assert_int_equal(ft_route_plan(s, a, &plan, &e), FT_OK);
	wrong = ft_route_wrong(p, &plan, a);
	if (wrong)
		fail_msg("%s", wrong);
	if (ret)
		*ret = s;
	return plan;
}

static int64_t bound_of(const struct ft_route_problem *p, const struct ft_route_plan *plan, struct ft_arena *a, int *k)
{
	struct ft_error e = { 0 };
	int64_t bound;

	assert_int_equal(ft_route_bound(p, plan, 400, a, &bound, k, &e), FT_OK);
	return bound;
}

static void great_circles(void **state)
{
	/* Check values of the haversine as printed with both radii; the last row follows from the radius alone. */
	static const struct {
		double lat1, lon1, lat2, lon2, radius, km;
	} rows[] = {
		{ 36.12, -86.67, 33.94, -118.40, 6371.0, 2886.4444428380 },
		{ 36.12, -86.67, 33.94, -118.40, 6372.8, 2887.2599506071 },
		{ 50.03333, 8.570556, 41.97861, -87.90472, 6371, 6971.059 },
		{ 0, 0, 1, 0, FT_EARTH_KM, 111.195080 },
		{ 60, 10, 60, 11, FT_EARTH_KM, 55.597011 },
		{ 10, 20, -10, -160, FT_EARTH_KM, 20015.114442 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double km = ft_great_circle(rows[i].lat1, rows[i].lon1, rows[i].lat2, rows[i].lon2, rows[i].radius);
		if (fabs(km - rows[i].km) > 0.001)
			fail_msg("row %zu: %.6f", i, km);
	}
}

/* Published optima of TSPLIB95, one technician and no hours. */
static void known_tours(void **state)
{
	struct ft_arena a = { 0 };
	const struct ft_route_problem berlin = routes_berlin52(*state, &a), ulysses = routes_ulysses22(&a);
	struct ft_route_plan plan;
	int64_t bound;

	for (uint64_t seed = 1; seed <= 3; seed++) {
		plan = seek(&berlin, seed, 30000, &a, NULL);
		assert_int_equal(plan.metres, 7542);
		plan = seek(&ulysses, seed, 4000, &a, NULL);
		assert_int_equal(plan.metres, 7013);
	}
	bound = bound_of(&ulysses, &plan, &a, NULL);
	assert_in_range(bound, 6900, 7013);
	plan = seek(&berlin, 1, 30000, &a, NULL);
	bound = bound_of(&berlin, &plan, &a, NULL);
	assert_in_range(bound, 7450, 7542);
	ft_arena_done(&a);
}

/* Solomon's problems with 25 customers: time windows, capacity 200, distances cut to one decimal. */
static void known_windows(void **state)
{
	struct ft_arena a = { 0 };
	const struct ft_route_problem r101 = routes_solomon(*state, "r101", &a), c101 = routes_solomon(*state, "c101", &a);
	struct ft_route_plan plan;
	int k;

	plan = seek(&r101, 1, 3000, &a, NULL);
	assert_int_equal(plan.metres, 6171);
	assert_int_equal(plan.day_count, 8);
	assert_true(bound_of(&r101, &plan, &a, &k) <= 6171);
	assert_in_range(k, 3, 8);
	plan = seek(&c101, 1, 3000, &a, NULL);
	assert_int_equal(plan.metres, 1913);
	assert_int_equal(plan.day_count, 3);
	assert_true(bound_of(&c101, &plan, &a, &k) <= 1913);
	assert_in_range(k, 3, 3);
	ft_arena_done(&a);
}

/* The second smallest of the three simple methods' costs. */
static int64_t second_best(const struct ft_route_search *s)
{
	int64_t c[3], metres, most = INT64_MIN, least = INT64_MAX, sum = 0;
	size_t left;

	for (int m = 0; m < 3; m++) {
		ft_route_first(s, (enum ft_route_method)m, &c[m], &metres, &left);
		most = c[m] > most ? c[m] : most;
		least = c[m] < least ? c[m] : least;
		sum += c[m];
	}
	return sum - most - least;
}

static bool same_plan(const struct ft_route_plan *a, const struct ft_route_plan *b)
{
	if (a->day_count != b->day_count || a->metres != b->metres || a->cost != b->cost)
		return false;
	for (size_t d = 0; d < a->day_count; d++) {
		if (a->days[d].shift != b->days[d].shift || a->days[d].count != b->days[d].count)
			return false;
		for (size_t k = 0; k < a->days[d].count; k++)
			if (a->days[d].visits[k].stop != b->days[d].visits[k].stop)
				return false;
	}
	return true;
}

/* What every plan must keep, whatever the problem: see ft_route_wrong. */
static void plans_keep_the_rules(void **state)
{
	(void)state;
	for (uint64_t seed = 1; seed <= 40; seed++) {
		struct ft_arena a = { 0 };
		int stops = 1 + (int)(seed * 7 % 90), technicians = 1 + (int)(seed % 4), days = 1 + (int)(seed % 5);
		const struct ft_route_problem p = routes_made(seed, stops, technicians, days, &a);
		struct ft_route_search *s;
		struct ft_route_plan plan = seek(&p, seed, 300, &a, &s), again = seek(&p, seed, 300, &a, NULL), parts;
		struct ft_error e = { 0 };
		assert_true(same_plan(&plan, &again));
		assert_true(plan.cost <= second_best(s) && plan.cost == ft_route_cost(s));
		assert_true(bound_of(&p, &plan, &a, NULL) <= plan.metres);
		/* in portions it is the same */
		assert_int_equal(ft_route_begin(&p, NULL, seed, &a, &s, &e), FT_OK);
		for (int done = 0; done < 300; done += 50)
			ft_route_improve(s, 50, 300);
		assert_int_equal(ft_route_plan(s, &a, &parts, &e), FT_OK);
		assert_true(same_plan(&plan, &parts));
		for (size_t i = 0; i < plan.unserved_count; i++)
			assert_non_null(ft_bar_sentence(plan.why[i]));
		ft_arena_done(&a);
	}
}

/* The check itself finds what is wrong: each kind of wrong is put into a good plan. */
static void wrong_plans_are_found(void **state)
{
	struct ft_arena a = { 0 };
	const struct ft_route_problem p = routes_made(5, 30, 2, 3, &a);
	struct ft_route_plan plan = seek(&p, 1, 200, &a, NULL);
	struct ft_route_day *d = &plan.days[0];
	struct ft_route_visit was = d->visits[0];

	(void)state;
	assert_true(plan.day_count > 1 && d->count > 1);
	d->visits[0].stop = d->visits[1].stop;
	assert_string_equal(ft_route_wrong(&p, &plan, &a), "a stop is there twice");
	d->visits[0] = was;
	d->visits[0].travel_m++;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "not that of the matrix"));
	d->visits[0] = was;
	d->visits[0].arrive_s--;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "do not follow"));
	d->visits[0] = was;
	d->leave_s -= 24 * 3600;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "before its hours"));
	d->leave_s += 24 * 3600;
	d->back_s++;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "back too late"));
	d->back_s--;
	d->metres++;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "not those of its ways"));
	d->metres--;
	plan.metres++;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "not the sum"));
	plan.metres--;
	plan.day_count--;
	assert_non_null(strstr(ft_route_wrong(&p, &plan, &a), "neither visited nor left out"));
	plan.day_count++;
	assert_null(ft_route_wrong(&p, &plan, &a));
	ft_arena_done(&a);
}

/* The bound is never above the shortest plan: every order of six stops is tried. */
static void bounds_hold(void **state)
{
	(void)state;
	for (uint64_t seed = 1; seed <= 60; seed++) {
		struct ft_arena a = { 0 };
		struct ft_route_problem p = routes_made(seed, 6, 1, 1, &a);
		struct ft_route_stop *stops = FT_NEW_ARRAY(&a, 6, struct ft_route_stop);
		struct ft_route_shift shift = { .closes_s = 900000, .capacity = INT32_MAX };
		struct ft_route_plan plan;
		int order[6] = { 0, 1, 2, 3, 4, 5 }, turn[6] = { 0 }, n = 1;
		int64_t best = INT64_MAX;
		memcpy(stops, p.stops, 6 * sizeof *stops);
		for (int i = 0; i < 6; i++)
			stops[i].opens_s = 0, stops[i].closes_s = 800000, stops[i].group = -1;
		p.stops = stops, p.shifts = &shift, p.bars = NULL, p.costs = NULL;
		plan = seek(&p, seed, 100, &a, NULL);
		while (n < 6) { /* Heap's order of permutations */
			int64_t m = p.metres[stops[order[0]].place] + p.metres[(size_t)stops[order[5]].place * p.place_count];
			for (int i = 0; i < 5; i++)
				m += p.metres[(size_t)stops[order[i]].place * p.place_count + (size_t)stops[order[i + 1]].place];
			best = m < best ? m : best;
			for (n = 1; n < 6 && turn[n] >= n; n++)
				turn[n] = 0;
			if (n == 6)
				break;
			int with = n % 2 ? turn[n] : 0, u = order[with];
			order[with] = order[n];
			order[n] = u;
			turn[n]++;
			n = 1;
		}
		assert_int_equal(plan.metres, best);
		assert_true(bound_of(&p, &plan, &a, NULL) <= best);
		ft_arena_done(&a);
	}
}

/* Each reason a stop may be left out for, by the least problem that has it. */
static void reasons(void **state)
{
	static const struct {
		enum ft_bar bar, want;
		int32_t opens, closes, service;
	} rows[] = {
		{ FT_BAR_SKILL, FT_BAR_SKILL, 0, 86400, 60 },     { FT_BAR_CLOSED, FT_BAR_CLOSED, 0, 86400, 60 },
		{ FT_BAR_PART, FT_BAR_PART, 0, 86400, 60 },       { FT_BAR_AWAY, FT_BAR_AWAY, 0, 86400, 60 },
		{ FT_BAR_NONE, FT_BAR_HOURS, 0, 3600, 60 },       { FT_BAR_NONE, FT_BAR_HOURS, 0, 86400, 9 * 3600 },
		{ FT_BAR_NONE, FT_BAR_ROOM, 0, 86400, 4 * 3600 },
	};
	const int32_t way[] = { 0, 900, 900, 0 };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		const struct ft_route_stop stops[] = {
			{ .place = 1, .service_s = 5 * 3600, .closes_s = 86400, .group = -1, .weight = 1000000 },
			{ .place = 1,
			  .service_s = rows[i].service,
			  .opens_s = rows[i].opens,
			  .closes_s = rows[i].closes,
			  .group = -1,
			  .weight = 500000 },
		};
		const struct ft_route_shift shift = { .opens_s = 8 * 3600, .closes_s = 16 * 3600, .capacity = 10 };
		const uint8_t bars[] = { FT_BAR_NONE, (uint8_t)rows[i].bar };
		const struct ft_route_problem p = { stops, 2, &shift, 1, 2, way, way, bars, NULL, 0 };
		struct ft_route_plan plan = seek(&p, 1, 20, &a, NULL);
		assert_int_equal(plan.unserved_count, 1);
		assert_int_equal(plan.unserved[0], 1);
		assert_int_equal(plan.why[0], rows[i].want);
		ft_arena_done(&a);
	}
}

int main(int argc, char **argv)
{
	char here[] = "tests";
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(great_circles),
		cmocka_unit_test_prestate(known_tours, argc > 1 ? argv[1] : here),
		cmocka_unit_test_prestate(known_windows, argc > 1 ? argv[1] : here),
		cmocka_unit_test(plans_keep_the_rules),
		cmocka_unit_test(wrong_plans_are_found),
		cmocka_unit_test(bounds_hold),
		cmocka_unit_test(reasons),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
