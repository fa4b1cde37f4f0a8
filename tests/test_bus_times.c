/* SPDX-License-Identifier: Apache-2.0 */
/* Answer times in bins against the same times sorted. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>

#include <cmocka.h>

#include "fettle/bus.h"

static int by_value(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

static void quantiles_lie_within_four_per_cent(void **state)
{
	enum { N = 5000 };
	static int64_t all[N];
	static const unsigned asked[] = { 1, 100, 500, 950, 990, 1000 };
	struct ft_bus_times t = { 0 };
	uint64_t seed = 1;

	(void)state;
	for (size_t i = 0; i < N; i++) {
		seed = seed * UINT64_C(6364136223846793005) + 1442695040888963407U;
		all[i] = (int64_t)(1000 + (seed >> 33) % (1U << (12 + i % 14)));
		ft_bus_times_add(&t, all[i]);
	}
	qsort(all, N, sizeof *all, by_value);
	assert_int_equal(t.min_ns, all[0]);
	assert_int_equal(t.max_ns, all[N - 1]);
	for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
		int64_t exact = all[((size_t)N * asked[i] + 999) / 1000 - 1], got = ft_bus_times_at(&t, asked[i]);
		assert_true(llabs(got - exact) * 25 <= exact);
	}
}

static void nothing_has_no_quantile_and_extremes_hold(void **state)
{
	struct ft_bus_times t = { 0 };

	(void)state;
	assert_int_equal(ft_bus_times_at(&t, 500), -1);
	ft_bus_times_add(&t, -5);
	ft_bus_times_add(&t, INT64_C(90000000000));
	assert_int_equal(ft_bus_times_at(&t, 1000), INT64_C(90000000000));
	assert_int_equal(t.min_ns, -5);
}

static void bit_rate_from_a_span(void **state)
{
	(void)state;
	assert_int_equal(ft_bus_baud(1041667, 10), 9600);
	assert_int_equal(ft_bus_baud(0, 10), 0);
	assert_int_equal(ft_bus_baud(10, 0), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(quantiles_lie_within_four_per_cent),
		cmocka_unit_test(nothing_has_no_quantile_and_extremes_hold),
		cmocka_unit_test(bit_rate_from_a_span),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
