/* SPDX-License-Identifier: Apache-2.0 */
/* The statistics of the watch against published values, and its streams. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "fettle/watch.h"

static void near(double got, double want, double within)
{
	if (!(fabs(got - want) <= within))
		fail_msg("%.9g is not %.9g", got, want);
}

/* Poisson tails, standard tables. */
static void poisson(void **state)
{
	static const struct {
		int64_t k;
		double lambda, most;
	} low[] = { { 0, 3.0, 0.049787 }, { 0, 4.61, 0.009952 }, { 1, 6, 0.017351 },
		        { 2, 8, 0.013754 },   { 3, 10, 0.010336 },   { 5, 10, 0.067086 } },
	  high[] = {
		  { 3, 0.5, 0.014388 }, { 5, 1.5, 0.018576 }, { 10, 4, 0.008132 }, { 15, 8, 0.017257 }, { 1, 0.05, 0.048771 }
	  };

	(void)state;
	for (size_t i = 0; i < sizeof low / sizeof *low; i++)
		near(ft_poisson_most(low[i].k, low[i].lambda), low[i].most, 6e-7);
	for (size_t i = 0; i < sizeof high / sizeof *high; i++)
		near(ft_poisson_least(high[i].k, high[i].lambda), high[i].most, 6e-7);
	near(ft_poisson_most(5, 1e-9), 1, 0);
	near(ft_poisson_least(400, 200) + ft_poisson_most(399, 200), 1, 1e-12);
}

/* x2 ~ Binomial(x1 + x2, t2 / (t1 + t2)); the first is (14/17)^28. */
static void conditional(void **state)
{
	(void)state;
	near(ft_conditional_most(28, 14, 0, 3), 0.004355, 6e-7);
	near(ft_conditional_most(28, 14, 1, 3), 0.025875, 6e-7);
	near(ft_conditional_most(20, 10, 2, 5), 0.009323, 6e-7);
	near(ft_conditional_most(9, 30, 0, 10), 0.075085, 6e-7);
	/* no fewer than 20 of 22 in one part is no more than 2 of 22 in the other */
	near(ft_conditional_least(2, 5, 20, 10), 0.009323, 6e-7);
	near(ft_conditional_least(0, 7, 1, 3), 0.3, 1e-12);
	near(ft_conditional_most(0, 1, 0, 1), 1, 0);
}

/* Garwood 1936, standard table values for 95 %. */
static void garwood(void **state)
{
	static const struct {
		int64_t count;
		double low, high;
	} rows[] = { { 0, 0, 3.6889 },       { 1, 0.0253, 5.5716 },   { 2, 0.2422, 7.2247 },   { 3, 0.6187, 8.7673 },
		         { 5, 1.6235, 11.6683 }, { 10, 4.7954, 18.3904 }, { 20, 12.2165, 30.8884 } };
	double low, high;

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		ft_count_limits(rows[i].count, 0.95, &low, &high);
		near(low, rows[i].low, 6e-5);
		near(high, rows[i].high, 6e-5);
	}
	ft_count_limits(0, 0.90, &low, &high); /* one-sided 95 %: the rule of three */
	near(high, 2.9957, 6e-5);
}

/* NIST/SEMATECH e-Handbook 6.3.2.3: mean 325, k 0.3175, h 4.1959; the printed sums are rounded. */
static void cusum(void **state)
{
	static const double x[] = { 324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125,
		                        324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250,
		                        327.825, 328.500, 326.675, 327.775, 326.875, 328.350 };
	static const double high[] = { 0, 0, 0,    0,    .03,  0,     0,     0,     0,     0,
		                           0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04 };
	static const double low[] = { 0, .01, 0, .33, 0, 0, .56, .72, .17, .25, .31, 0, 0, 0, 0, 0, 0, 0, 0, 0 };
	struct ft_cusum c = { 0, 0 };
	int signal = 0;

	(void)state;
	for (int i = 0; i < 20; i++) {
		ft_cusum_step(&c, x[i], 325, 0.3175);
		near(c.high, high[i], 0.006);
		near(c.low, low[i], 0.006);
		if (c.high > 4.1959 && !signal)
			signal = i + 1;
	}
	assert_int_equal(signal, 14);
	near(c.high, 19.035, 1e-9);
}

/* NIST/SEMATECH e-Handbook 6.3.2.4: mean 50, s 2.0539, lambda 0.3. */
static void ewma(void **state)
{
	static const double y[] = { 52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
		                        49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1 };
	static const double want[] = { 50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
		                           50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99 };
	double z = 50;

	(void)state;
	for (int i = 0; i < 20; i++) {
		z = ft_ewma_step(z, y[i], 0.3);
		near(z, want[i], 0.006);
	}
	near(50 + ft_ewma_width(2.0539, 0.3, 3, 0), 52.5884, 6e-5);
	near(50 - ft_ewma_width(2.0539, 0.3, 3, 0), 47.4116, 6e-5);
	near(50 + ft_ewma_width(2.0539, 0.3, 3, 1), 51.8485, 6e-5);
}

/* ---- names and streams ---- */

static void names(void **state)
{
	static const struct {
		const char *file, *name;
		int64_t at_us;
	} rows[] = {
		{ "2026/HL-0932_20260301T0600.dts", "HL-0932", INT64_C(1772344800000000) },
		{ "HL-0932-2026-03-01_06-00-12.txt", "HL-0932", INT64_C(1772344812000000) },
		{ "fleet.tar:HL-0932/20260301060000.dts", "HL-0932", 0 },
		{ "HL-0932/2026-03-01.dts", "HL-0932", INT64_C(1772323200000000) },
		{ "HL-0932.dts", "HL-0932", 0 },
		{ "00119911.dts", "00119911", 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_slice file = ft_slice_of(rows[i].file), name = ft_watch_name(file);
		int64_t at = 0;
		bool stamped = ft_watch_stamp(file, &at);
		if (i == 2) { /* date and time in one piece */
			assert_true(stamped);
			assert_int_equal(at, INT64_C(1772344800000000));
		} else {
			assert_int_equal(stamped, rows[i].at_us != 0);
			assert_int_equal(at, rows[i].at_us);
		}
		if (!ft_slice_is(name, rows[i].name))
			fail_msg("%s comes under the name %.*s", rows[i].file, FT_P(name));
	}
}

/* What goes into a stream comes out of it, whatever the numbers are; a cut stream is refused or shorter. */
static void streams(void **state)
{
	struct ft_watch_cell cells[3] = { { FT_SLICE("11"), 150, 5, 750, false },
		                              { FT_SLICE("12"), FT_ABSENT, INT64_MAX, INT64_MIN + 1, true },
		                              { FT_SLICE(""), 0, 0, 0, false } };
	struct ft_watch_read r = { .content = UINT64_C(0x0123456789abcdef), .cells = cells, .cell_count = 3 }, *got;
	struct ft_stream s = { 0 };
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	size_t n;

	(void)state;
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		r.text[i] = FT_SLICE("");
	for (int round = 0; round < 200; round++) {
		char file[40];
		snprintf(file, sizeof file, "day-%03d/HL-1.dts", round);
		r.text[FT_WATCH_FILE] = ft_slice_of(file);
		r.text[FT_WATCH_BOARD] = round % 3 ? FT_SLICE("PB-1") : FT_SLICE("");
		r.number[round % FT_WATCH_NUMBERS] = round % 5 ? round * INT64_C(1000003) : FT_ABSENT;
		cells[0].count += round % 2;
		cells[1].out = round % 7 == 0;
		r.cell_count = round % 50 == 49 ? 2 : 3;
		r.flags = round % 11 == 0;
		assert_true(ft_stream_put(&s, &r));
	}
	assert_int_equal(ft_stream_get(ft_buf_text(&s.bytes), &a, &got, &n, &e), FT_OK);
	assert_int_equal(n, 200);
	assert_memory_equal(got[199].number, r.number, sizeof r.number);
	assert_true(ft_slice_is(got[123].text[FT_WATCH_FILE], "day-123/HL-1.dts"));
	assert_int_equal(got[149].cell_count, 2);
	assert_int_equal(got[199].cells[1].count, INT64_MAX);
	assert_int_equal(got[199].cells[0].count, 5 + 100);
	assert_true(got[7].cells[1].out && !got[8].cells[1].out);
	for (size_t cut = 0; cut < s.bytes.n; cut += 7) {
		struct ft_watch_read *part;
		size_t m = 0;
		e = (struct ft_error){ 0 };
		if (ft_stream_get((struct ft_slice){ s.bytes.p, cut }, &a, &part, &m, &e) == FT_OK)
			assert_true(m < 200);
		else
			assert_int_equal(e.status, FT_E_INPUT);
	}
	ft_stream_done(&s);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(poisson), cmocka_unit_test(conditional), cmocka_unit_test(garwood), cmocka_unit_test(cusum),
		cmocka_unit_test(ewma),    cmocka_unit_test(names),       cmocka_unit_test(streams),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
