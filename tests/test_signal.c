/* SPDX-License-Identifier: Apache-2.0 */
/* Levels, shares, cables. Sources of the rows: 3GPP TS 27.007, TS 36.133 and 45.008 (index edges, several public
 * sources agree); the normal distribution and Student's t computed exactly; ITU-R P.525 with its rounded constant;
 * cable values of public tables and of the formula. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "fettle/signal.h"

static void close_to(double got, double wanted, double within)
{
	if (!(fabs(got - wanted) <= within))
		fail_msg("%.6f where %.6f is wanted", got, wanted);
}

static void edges_of_indices(void **state)
{
	static const struct {
		enum ft_signal_metric m;
		int index;
		double low, high;
	} rows[] = {
		{ FT_SIGNAL_RSSI, 15, -83, -81 },       { FT_SIGNAL_RSSI, 0, -INFINITY, -113 },
		{ FT_SIGNAL_RSSI, 31, -51, INFINITY },  { FT_SIGNAL_RSSI, 1, -111, -109 },
		{ FT_SIGNAL_RSRP, 45, -96, -95 },       { FT_SIGNAL_RSRP, 1, -140, -139 },
		{ FT_SIGNAL_RSRP, 0, -INFINITY, -140 }, { FT_SIGNAL_RSRP, 97, -44, INFINITY },
		{ FT_SIGNAL_RXLEV, 30, -81, -80 },      { FT_SIGNAL_RXLEV, 63, -48, INFINITY },
		{ FT_SIGNAL_RSCP, 40, -81, -80 },       { FT_SIGNAL_RSCP, 0, -INFINITY, -120 },
		{ FT_SIGNAL_NR, 0, -INFINITY, -156 },   { FT_SIGNAL_NR, 126, -31, INFINITY },
	};
	double low, high;

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_true(ft_signal_level(rows[i].m, rows[i].index, &low, &high));
		assert_true(low == rows[i].low && high == rows[i].high);
	}
	assert_false(ft_signal_level(FT_SIGNAL_RSSI, 99, &low, &high)); /* never -113 + 198 */
	assert_false(ft_signal_level(FT_SIGNAL_RSRP, 255, &low, &high));
	assert_false(ft_signal_level(FT_SIGNAL_RSRP, 98, &low, &high));
	assert_false(ft_signal_level(FT_SIGNAL_RSSI, -1, &low, &high));
	close_to(ft_signal_rsrq_low(20), -10, 0);
	assert_true(isnan(ft_signal_rsrq_low(255)));
}

static void shares_of_the_time(void **state)
{
	static const struct {
		double margin, spread;
		size_t n;
		double share;
	} rows[] = { { -4, 8, 0, 0.3085 },    { 5, 8, 0, 0.7340 },  { 8, 8, 0, 0.8413 },     { 10, 8, 0, 0.8944 },
		         { 10, 6, 0, 0.9522 },    { 6, 4, 0, 0.9332 },  { 10.25, 8, 0, 0.8999 }, { 13.16, 8, 0, 0.9500 },
		         { 18.61, 8, 0, 0.9900 }, { 10, 6, 5, 0.8986 }, { 10, 6, 10, 0.9268 },   { 10, 6, 30, 0.9440 },
		         { 0, 6, 7, 0.5 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		close_to(ft_signal_share(rows[i].margin, rows[i].spread, rows[i].n), rows[i].share, 0.0001);
	close_to(ft_signal_share(-10, 6, 5) + ft_signal_share(10, 6, 5), 1, 1e-12);
	for (int half = -60; half < 60; half++)
		assert_true(ft_signal_share(half / 2.0, 5, 12) < ft_signal_share(half / 2.0 + 0.5, 5, 12));
}

static void cables_and_space(void **state)
{
	static const struct {
		const char *name;
		double mhz, db_100m, within;
	} rows[] = { { "RG-174", 450, 66.8, 0.1 },
		         { "RG-58", 850, 63.1, 0.1 },
		         { "low-loss-100", 1800, 109.0, 0.1 },
		         { "low-loss-195", 900, 36.5, 0.1 },
		         { "low-loss-200", 2100, 50.5, 0.1 },
		         { "low-loss-240", 450, 17.3, 0.1 },
		         /* a public table: 15.8 dB/100 ft at 450 MHz; a county radio page: 5.3 */
		         { "low-loss-100", 450, 15.8 * 3.28084, 0.2 },
		         { "low-loss-240", 450, 5.3 * 3.28084, 0.2 } };
	struct ft_signal_cable c;
	size_t n;
	const struct ft_signal_cable *all = ft_signal_cables(&n);

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		bool found = false;
		for (size_t k = 0; k < n; k++)
			if (strcmp(all[k].name, rows[i].name) == 0) {
				close_to(ft_signal_loss(&all[k], rows[i].mhz, 100, 0), rows[i].db_100m, rows[i].within);
				found = true;
			}
		assert_true(found);
	}
	/* two points of a data sheet */
	assert_true(ft_signal_fit(450, 17.34, 1800, 35.64, &c));
	close_to(c.k1, 0.7948, 0.0001);
	close_to(c.k2, 0.001067, 0.000001);
	close_to(ft_signal_loss(&c, 900, 100, 0), 24.80, 0.01);
	assert_false(ft_signal_fit(450, 17, 450, 18, &c));
	assert_false(ft_signal_fit(450, 50, 1800, 10, &c));
	close_to(ft_signal_free_space(900, 1), 91.48, 0.01);
	close_to(ft_signal_free_space(1800, 1), 97.51, 0.01);
	close_to(ft_signal_free_space(2600, 1), 100.70, 0.01);
	close_to(ft_signal_free_space(850, 2.5), 98.95, 0.01);
	close_to(ft_signal_free_space(700, 5), 103.28, 0.01);
}

static bool found(const struct ft_findings *f, enum ft_rule_id rule)
{
	for (size_t i = 0; i < f->count; i++)
		if (f->list[i].rule == rule)
			return true;
	return false;
}

static void logs_of_many_kinds(void **state)
{
	static const char modem[] = "AT+CEREG?\r\n+CEREG: 2,1,\"1A2B\",\"01C3D405\",7\r\nOK\r\nposition outside\n"
								"+CESQ: 99,99,255,255,20,45\n+CESQ: 99,99,255,255,20,46\r\nposition closed door\n"
								"+CESQ: 99,99,255,255,10,33\n+CESQ: 99,99,255,255,255,255\n";
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_signal_log log;
	struct ft_signal_result r;
	struct ft_error e = { 0 };

	(void)state;
	assert_int_equal(ft_signal_read(ft_slice_of(modem), "log", &a, &log, &e), FT_OK);
	assert_int_equal(log.count, 3);
	assert_int_equal(log.unknown, 1);
	assert_true(log.registered && log.registration == 1);
	assert_true(log.samples[0].index == 45 && log.samples[0].low == -96 && log.samples[0].quality == -10);
	assert_int_equal(ft_signal_judge(&log, "log", NAN, &a, &f, &r, &e), FT_OK);
	assert_string_equal(log.positions[r.judged], "closed door");
	assert_string_equal(log.positions[r.best], "outside");
	close_to(r.places[r.best].mean, -95, 1e-9);
	close_to(r.places[r.judged].mean, -107.5, 1e-9);
	assert_true(found(&f, FT_RULE_SIGNAL_BETTER_PLACE) && found(&f, FT_RULE_SIGNAL_FEW_READINGS) &&
	            found(&f, FT_RULE_SIGNAL_LITTLE_MARGIN));
	assert_int_equal(r.verdict, FT_OPEN);

	/* all nine fields; a modem in an old net; the unsolicited form of a registration; TD-SCDMA of some makers */
	static const char others[] = "+CESQ: 99,99,255,255,255,255,40,60,70\n+CESQ: 30,3,255,255,255,255\n"
								 "+CREG: 5\n+CSQ: 150,99\n";
	assert_int_equal(ft_signal_read(ft_slice_of(others), "log", &a, &log, &e), FT_OK);
	assert_int_equal(log.count, 3);
	assert_true(log.samples[0].metric == FT_SIGNAL_NR && log.samples[0].low == -97);
	assert_true(log.samples[1].metric == FT_SIGNAL_RXLEV && log.samples[1].low == -81);
	assert_true(log.registered && log.samples[2].high == -66);

	assert_int_equal(ft_signal_read(FT_SLICE("time;rsrp;position\n1;-97,5;roof\n2;-98;roof\n"), "log", &a, &log, &e),
	                 FT_OK);
	assert_true(log.count == 2 && log.samples[0].low == -98);

	static const char *const wrong[] = { "+CESQ: 1,2,3\n",
		                                 "+CESQ: 99,99,255,255,20,98\n",
		                                 "+CSQ: 40,99\n",
		                                 "time,rsrp\n1,97\n",
		                                 "time,rsrp\n1,x\n",
		                                 "time,level\n1,-97\n",
		                                 "" };
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
		e = (struct ft_error){ 0 };
		if (ft_signal_read(ft_slice_of(wrong[i]), "log", &a, &log, &e) != FT_E_INPUT || !e.text[0])
			fail_msg("log %zu was taken", i);
	}
	ft_arena_done(&a);
}

static void good_weak_and_nothing(void **state)
{
	static const struct {
		const char *line;
		int times;
		enum ft_verdict verdict;
		int rule;
	} rows[] = { { "+CESQ: 99,99,255,255,20,60\n", 20, FT_SHOWN, -1 },
		         { "+CESQ: 99,99,255,255,20,20\n", 20, FT_CONTRADICTED, FT_RULE_SIGNAL_TOO_WEAK },
		         { "+CESQ: 99,99,255,255,20,33\n", 20, FT_OPEN, FT_RULE_SIGNAL_LITTLE_MARGIN },
		         { "+CSQ: 99,99\n", 5, FT_OPEN, FT_RULE_SIGNAL_NONE },
		         { "+CEREG: 0,3\n+CSQ: 25,0\n", 12, FT_OPEN, FT_RULE_SIGNAL_NOT_REGISTERED } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_findings f = { .arena = &a };
		struct ft_signal_log log;
		struct ft_signal_result r;
		struct ft_error e = { 0 };
		struct ft_buf text = { 0 };
		for (int k = 0; k < rows[i].times; k++)
			ft_buf_puts(&text, rows[i].line);
		assert_int_equal(ft_signal_read(ft_buf_text(&text), "log", &a, &log, &e), FT_OK);
		assert_int_equal(ft_signal_judge(&log, "log", NAN, &a, &f, &r, &e), FT_OK);
		assert_int_equal(r.verdict, rows[i].verdict);
		if (rows[i].rule >= 0)
			assert_true(found(&f, (enum ft_rule_id)rows[i].rule));
		ft_buf_done(&text);
		ft_arena_done(&a);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(edges_of_indices),      cmocka_unit_test(shares_of_the_time),
		cmocka_unit_test(cables_and_space),      cmocka_unit_test(logs_of_many_kinds),
		cmocka_unit_test(good_weak_and_nothing),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
