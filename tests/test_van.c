/* SPDX-License-Identifier: Apache-2.0 */
/* The van's load: distributions against worked values, the load against days that are simulated. */
#include <math.h>
#include <stdlib.h>

#include "fettle/random.h"
#include "fettle/rollout.h"
#include "unit.h"

static double above(const struct ft_van_need *needs, size_t count, int s)
{
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	double *d, sum = 0, all = 0;
	int most;

	assert_int_equal(ft_van_demand(needs, count, &a, &d, &most, &e), FT_OK);
	for (int k = 0; k <= most; k++) {
		sum += k > s ? d[k] : 0;
		all += d[k];
	}
	assert_true(fabs(all - 1) < 1e-12);
	ft_arena_done(&a);
	return sum;
}

static void near_to(double got, double want, double by)
{
	if (!(fabs(got - want) <= by))
		fail_msg("%.9f, not %.9f", got, want);
}

/* Worked values, computed from the definition outside this program. */
static void binomials(void **state)
{
	static const struct {
		int n;
		double p;
		int s;
		double above;
	} rows[] = {
		{ 40, 0.05, 4, 0.048028 }, { 40, 0.05, 3, 0.138150 }, { 12, 0.1, 3, 0.025637 },
		{ 25, 0.02, 3, 0.001446 }, { 25, 0.02, 2, 0.013243 }, { 100, 0.01, 3, 0.018374 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_van_need needs[100];
		for (int k = 0; k < rows[i].n; k++)
			needs[k] = (struct ft_van_need){ 0, rows[i].p, 1 };
		near_to(above(needs, (size_t)rows[i].n, rows[i].s), rows[i].above, 1e-6);
	}
}

static void different_chances(void **state)
{
	const struct ft_van_need three[] = { { 0, 0.1, 1 }, { 0, 0.2, 1 }, { 0, 0.3, 1 } };
	const struct ft_van_need five[] = { { 0, 0.05, 1 }, { 0, 0.05, 1 }, { 0, 0.1, 1 }, { 0, 0.4, 1 }, { 0, 0.6, 1 } };
	const double five_is[] = { 0.19494, 0.46455, 0.28915, 0.04835, 0.00295, 0.00006 };
	const double three_is[] = { 0.504, 0.398, 0.092, 0.006 };
	struct ft_van_need ten[10];
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	double *d;
	int most;

	(void)state;
	assert_int_equal(ft_van_demand(three, 3, &a, &d, &most, &e), FT_OK);
	assert_int_equal(most, 3);
	for (int k = 0; k <= 3; k++)
		near_to(d[k], three_is[k], 1e-12);
	assert_int_equal(ft_van_demand(five, 5, &a, &d, &most, &e), FT_OK);
	for (int k = 0; k <= 5; k++)
		near_to(d[k], five_is[k], 1e-9);
	for (int k = 0; k < 10; k++)
		ten[k] = (struct ft_van_need){ 0, k < 5 ? 0.02 : k < 8 ? 0.1 : 0.25, 1 };
	near_to(above(ten, 10, 1), 0.220849, 1e-6);
	near_to(above(ten, 10, 2), 0.044199, 1e-6);
	near_to(above(ten, 10, 3), 0.005227, 1e-6);
	ft_arena_done(&a);
}

/* A need of two at once moves two steps; what is certain and what cannot be stay at their ends. */
static void counts_and_ends(void **state)
{
	const struct ft_van_need needs[] = { { 0, 0.5, 2 }, { 0, 1, 3 }, { 0, 0, 7 } };
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	double *d;
	int most;

	(void)state;
	assert_int_equal(ft_van_demand(needs, 3, &a, &d, &most, &e), FT_OK);
	assert_int_equal(most, 5);
	near_to(d[3], 0.5, 0);
	near_to(d[5], 0.5, 0);
	near_to(d[4] + d[0] + d[1] + d[2], 0, 0);
	assert_int_equal(ft_van_demand(&(struct ft_van_need){ 0, 1.5, 1 }, 1, &a, &d, &most, &e), FT_E_INPUT);
	assert_int_equal(ft_van_demand(&(struct ft_van_need){ 0, NAN, 1 }, 1, &a, &d, &most, &e), FT_E_INPUT);
	assert_int_equal(ft_van_demand(&(struct ft_van_need){ 0, 0.5, 1000000 }, 1, &a, &d, &most, &e), FT_E_INPUT);
	ft_arena_done(&a);
}

/* Parts and needs from a seed. */
static size_t make(struct ft_random *r, struct ft_van_part *parts, size_t part_count, struct ft_van_need *needs)
{
	size_t n = 0;

	for (size_t i = 0; i < part_count; i++)
		parts[i] = (struct ft_van_part){ .price = ft_random_below(r, 4) ? 1 + ft_random_below(r, 90) : 0, .most = -1 };
	for (size_t k = 0, stops = 3 + ft_random_below(r, 12); k < stops; k++)
		for (size_t i = 0; i < part_count; i++)
			if (ft_random_below(r, 3) == 0)
				needs[n++] = (struct ft_van_need){ (int)i, ft_random_below(r, 5) ? ft_random_share(r) * 0.5 : 1,
					                               1 + (int)ft_random_below(r, 2) };
	return n;
}

static void loads_meet_what_is_asked(void **state)
{
	struct ft_random r = { 11 };

	(void)state;
	for (int round = 0; round < 200; round++) {
		struct ft_arena a = { 0 };
		struct ft_error e = { 0 };
		struct ft_van_part parts[6];
		struct ft_van_need needs[6 * 15];
		struct ft_van van;
		size_t n = make(&r, parts, 6, needs);
		double risk = 0.001 + 0.1 * ft_random_share(&r), sum = 0, none = 1;
		assert_int_equal(ft_van_fill(parts, 6, needs, n, risk, &a, &van, &e), FT_OK);
		assert_true(van.met && van.bound <= risk && van.risk <= van.bound + 1e-12);
		for (int i = 0; i < 6; i++) {
			struct ft_van_need own[15];
			size_t m = 0;
			for (size_t k = 0; k < n; k++)
				if (needs[k].part == i)
					own[m++] = needs[k];
			near_to(van.loads[i].risk, above(own, m, van.loads[i].carry), 1e-12);
			assert_true(van.loads[i].carry >= van.loads[i].surely && van.loads[i].carry <= van.loads[i].most);
			/* one less of any part would be too few, or is certainly needed */
			if (van.loads[i].carry > van.loads[i].surely)
				assert_true(van.bound - van.loads[i].risk + above(own, m, van.loads[i].carry - 1) > risk);
			sum += van.loads[i].risk;
			none *= 1 - van.loads[i].risk;
		}
		near_to(van.bound, sum, 1e-12);
		near_to(van.risk, 1 - none, 1e-9);
		for (size_t k = 0; k < van.step_count; k++) {
			assert_true(van.steps[k].after <= van.steps[k].before);
			assert_true(!k || van.steps[k].before == van.steps[k - 1].after);
		}
		if (van.step_count)
			near_to(van.steps[van.step_count - 1].after, van.risk, 1e-12);
		ft_arena_done(&a);
	}
}

/* The same risk by playing days; the million is a benchmark, here forty thousand and four standard errors. */
static void days_are_played(void **state)
{
	const int days = 40000;
	struct ft_random r = { 5 };

	(void)state;
	for (int round = 0; round < 3; round++) {
		struct ft_arena a = { 0 };
		struct ft_error e = { 0 };
		struct ft_van_part parts[6];
		struct ft_van_need needs[6 * 15];
		struct ft_van van;
		size_t n = make(&r, parts, 6, needs);
		int missed = 0;
		assert_int_equal(ft_van_fill(parts, 6, needs, n, 0.08, &a, &van, &e), FT_OK);
		for (int d = 0; d < days; d++) {
			int used[6] = { 0 };
			bool miss = false;
			for (size_t k = 0; k < n; k++)
				used[needs[k].part] += ft_random_share(&r) < needs[k].p ? needs[k].count : 0;
			for (int i = 0; i < 6; i++)
				miss |= used[i] > van.loads[i].carry;
			missed += miss;
		}
		near_to((double)missed / days, van.risk, 4 * sqrt(van.risk * (1 - van.risk) / days));
		ft_arena_done(&a);
	}
}

/* Where less fits than is needed, the van says so and carries what it can. */
static void limits_are_kept(void **state)
{
	const struct ft_van_part parts[] = { { .price = 10, .most = 2 }, { .weight_g = 100, .most = -1 } };
	const struct ft_van_need needs[] = { { 0, 1, 1 }, { 0, 1, 1 }, { 0, 1, 1 }, { 1, 0.5, 1 } };
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	struct ft_van van;

	(void)state;
	assert_int_equal(ft_van_fill(parts, 2, needs, 4, 0.05, &a, &van, &e), FT_OK);
	assert_false(van.met);
	assert_int_equal(van.loads[0].carry, 2);
	assert_int_equal(van.loads[0].surely, 3);
	near_to(van.loads[0].risk, 1, 0);
	assert_int_equal(van.loads[1].carry, 1);
	assert_int_equal(ft_van_fill(parts, 2, needs, 0, 0.05, &a, &van, &e), FT_OK);
	assert_true(van.met && van.loads[0].carry == 0 && van.risk < 1e-12);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(binomials),       cmocka_unit_test(different_chances),
		cmocka_unit_test(counts_and_ends), cmocka_unit_test(loads_meet_what_is_asked),
		cmocka_unit_test(days_are_played), cmocka_unit_test(limits_are_kept),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
