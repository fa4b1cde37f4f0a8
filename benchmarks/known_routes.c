/* SPDX-License-Identifier: Apache-2.0 */
/* Problems with published optima against the clock; tests/test_rollout.c holds the results without it. */
#include <stdio.h>
#include <time.h>

#include "routes.h"

static double seconds(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* Seeks until the optimum is there or the time is over, for several seeds; tells the slowest. */
static bool measure(const char *name, const struct ft_route_problem *p, int64_t optimum, double most)
{
	double slowest = 0;
	int reached = 0;
	const int seeds = 10;

	for (int seed = 1; seed <= seeds; seed++) {
		struct ft_arena a = { 0 };
		struct ft_route_search *s;
		struct ft_error e = { 0 };
		double begun = seconds();
		if (ft_route_begin(p, NULL, (uint64_t)seed, &a, &s, &e) != FT_OK)
			return false;
		while (ft_route_cost(s) > optimum && seconds() - begun < most)
			ft_route_improve(s, 100, 30000);
		reached += ft_route_cost(s) == optimum;
		slowest = seconds() - begun > slowest ? seconds() - begun : slowest;
		ft_arena_done(&a);
	}
	printf("  %-12s optimum %5lld reached for %d of %d seeds, the slowest in %.3f s\n", name, (long long)optimum,
	       reached, seeds, slowest);
	return reached == seeds;
}

int main(int argc, char **argv)
{
	struct ft_arena a = { 0 };
	const char *tests = argc > 1 ? argv[1] : "tests";
	const struct ft_route_problem berlin = routes_berlin52(tests, &a), ulysses = routes_ulysses22(&a);
	const struct ft_route_problem r101 = routes_solomon(tests, "r101", &a), c101 = routes_solomon(tests, "c101", &a);
	bool good = measure("berlin52", &berlin, 7542, 1);

	good &= measure("ulysses22", &ulysses, 7013, 1);
	good &= measure("R101.25", &r101, 6171, 2);
	good &= measure("C101.25", &c101, 1913, 2);
	ft_arena_done(&a);
	return good ? 0 : 1;
}
