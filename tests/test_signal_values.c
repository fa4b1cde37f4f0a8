/* SPDX-License-Identifier: Apache-2.0 */
/* Whole tables of the radio path, row by row. Sources: cable classes by public code that cites data sheets, public
 * tables and from memory, as data/cable.csv says of each; free space by ITU-R P.525 (rounded constant) against the
 * exact 20 log(4 pi d / lambda); index edges by 3GPP TS 27.007 8.5 and 8.69, TS 36.133 9.1.4 and 9.1.7, TS 45.008
 * 8.1.4 and 8.2.4 (several public sources agree; section numbers from memory); the Q function is mathematics; the
 * link budget is computed from invented figures. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "fettle/signal.h"

static void near(double got, double wanted, double within, const char *what)
{
	if (!(fabs(got - wanted) <= within))
		fail_msg("%s: %.4f where %.4f is wanted", what, got, wanted);
}

static const struct ft_signal_cable *cable(const char *name)
{
	size_t n;
	const struct ft_signal_cable *all = ft_signal_cables(&n);

	for (size_t i = 0; i < n; i++)
		if (strcmp(all[i].name, name) == 0)
			return &all[i];
	fail_msg("no cable %s", name);
	return NULL;
}

static void every_cable_at_every_band(void **state)
{
	static const double mhz[] = { 450, 700, 850, 900, 1800, 1900, 2100, 2600 };
	static const struct {
		const char *name;
		double db_100m[8];
	} rows[] = {
		{ "RG-174", { 66.8, 87.9, 99.5, 103.2, 163.6, 169.8, 182.0, 211.3 } },
		{ "RG-58", { 40.9, 55.1, 63.1, 65.7, 108.6, 113.1, 122.0, 143.6 } },
		{ "low-loss-100", { 51.9, 65.6, 72.7, 74.9, 109.0, 112.3, 118.6, 133.5 } },
		{ "low-loss-195", { 25.5, 32.1, 35.5, 36.5, 52.5, 54.0, 56.9, 63.7 } },
		{ "low-loss-200", { 22.8, 28.6, 31.6, 32.6, 46.6, 47.9, 50.5, 56.5 } },
		{ "low-loss-240", { 17.3, 21.8, 24.1, 24.8, 35.6, 36.7, 38.7, 43.3 } },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		for (size_t k = 0; k < sizeof mhz / sizeof *mhz; k++)
			near(ft_signal_loss(cable(rows[i].name), mhz[k], 100, 0), rows[i].db_100m[k], 0.1, rows[i].name);
	/* a county radio page lists 3.0 dB/100 ft at 150 MHz, the formula gives 3.01 */
	near(ft_signal_loss(cable("low-loss-240"), 150, 30.48, 0), 3.01, 0.05, "240-class at 150 MHz");
	near(ft_signal_loss(cable("low-loss-240"), 450, 30.48, 0), 5.28, 0.01, "240-class at 450 MHz");
	near(ft_signal_loss(cable("low-loss-100"), 450, 30.48, 0), 15.83, 0.01, "100-class at 450 MHz");
	/* a repeater guide lists 35.5 and 58.2 at 450 and 850 MHz: within what the row says that tables differ by */
	near(ft_signal_loss(cable("RG-58"), 450, 100, 0), 35.5, 35.5 * (cable("RG-58")->spread + 0.01), "RG-58 at 450 MHz");
	near(ft_signal_loss(cable("RG-58"), 850, 100, 0), 58.2, 58.2 * cable("RG-58")->spread, "RG-58 at 850 MHz");
}

static void free_space_by_both_constants(void **state)
{
	static const struct {
		double mhz, km, rounded, exact;
	} rows[] = { { 900, 1, 91.48, 91.533 },
		         { 1800, 1, 97.51, 97.553 },
		         { 2600, 1, 100.70, 100.747 },
		         { 850, 2.5, 98.95, 98.995 },
		         { 700, 5, 103.28, 103.329 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		near(ft_signal_free_space(rows[i].mhz, rows[i].km), rows[i].rounded, 0.006, "the rounded constant");
		near(ft_signal_free_space(rows[i].mhz, rows[i].km), rows[i].exact, 0.05, "the exact one");
	}
}

/* From a cell of 43 dBm over 1200 subcarriers to the level that the modem reports, by the room's own steps. */
static void a_link_from_cell_to_index(void **state)
{
	double element = 43 - 10 * log10(1200), sent = element + 17 - 2 - ft_signal_free_space(1800, 1.5) - 20;
	double lead = ft_signal_loss(cable("low-loss-100"), 1800, 3, 0);
	double outside = sent - lead - 0.3, inside = sent - 15, low, high;

	(void)state;
	near(ft_signal_free_space(1800, 1.5), 101.03, 0.005, "free space");
	near(lead, 3.27, 0.005, "the lead");
	near(outside, -97.39, 0.01, "an antenna outside");
	near(inside, -108.82, 0.01, "a stub inside");
	near(outside - inside, 11.43, 0.01, "what the outside gains");
	assert_true(ft_signal_level(FT_SIGNAL_RSRP, 43, &low, &high) && low <= outside && outside < high);
	assert_true(ft_signal_level(FT_SIGNAL_RSRP, 32, &low, &high) && low <= inside && inside < high);
}

static void every_index(void **state)
{
	static const struct {
		enum ft_signal_metric m;
		int last;
		double base, step;
	} rows[] = { { FT_SIGNAL_RSSI, 31, -113, 2 },
		         { FT_SIGNAL_RXLEV, 63, -111, 1 },
		         { FT_SIGNAL_RSCP, 96, -121, 1 },
		         { FT_SIGNAL_RSRP, 97, -141, 1 },
		         { FT_SIGNAL_NR, 126, -157, 1 } };
	/* extended RSRP of TS 36.133: -17 is below -156, -1 and 0 lie below -140 and above */
	static const struct {
		int index;
		double low, high;
	} extended[] = { { -17, -INFINITY, -156 }, { -16, -156, -155 }, { -1, -141, -140 } };
	double low, high, before;

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_true(ft_signal_level(rows[i].m, 0, &low, &before));
		assert_true(low == -INFINITY);
		for (int n = 1; n <= rows[i].last; n++, before = high) {
			assert_true(ft_signal_level(rows[i].m, n, &low, &high));
			assert_true(low == rows[i].base + n * rows[i].step);
			/* they lie side by side; "-113 dBm or less" and "-111" leave the step between to nobody */
			assert_true(low == before || (rows[i].m == FT_SIGNAL_RSSI && n == 1));
		}
		assert_true(high == INFINITY);
		assert_false(ft_signal_level(rows[i].m, rows[i].last + 1, &low, &high));
	}
	for (size_t i = 0; i < sizeof extended / sizeof *extended; i++) {
		assert_true(ft_signal_level(FT_SIGNAL_RSRP, extended[i].index, &low, &high));
		assert_true(low == extended[i].low && high == extended[i].high);
	}
	assert_false(ft_signal_level(FT_SIGNAL_RSRP, -18, &low, &high));
}

static void qualities(void **state)
{
	static const struct {
		int index;
		double low;
	} rsrq[] = { { 1, -19.5 }, { 15, -12.5 }, { 20, -10 }, { 34, -3 }, { -1, -20 }, { -29, -34 }, { 46, 2.5 } };
	static const double ber[] = { 0.14, 0.28, 0.57, 1.13, 2.26, 4.53, 9.05, 18.10 }; /* assumed value of each band */
	double low, high, parts = ft_signal_rsrq(50, -95, -66);

	(void)state;
	for (size_t i = 0; i < sizeof rsrq / sizeof *rsrq; i++)
		assert_true(ft_signal_rsrq_low(rsrq[i].index) == rsrq[i].low);
	assert_true(isinf(ft_signal_rsrq_low(0)) && isinf(ft_signal_rsrq_low(-30)) && isnan(ft_signal_rsrq_low(47)));
	/* 10 log 50 - 95 + 66 = -12.01 dB is reported as 15 */
	near(parts, -12.01, 0.005, "RSRQ of 50 blocks");
	near(-ft_signal_rsrp_of(0, 50), 27.78, 0.005, "what a carrier has of 50 blocks");
	near(ft_signal_rsrq(50, ft_signal_rsrp_of(-66, 50), -66), -10 * log10(12), 1e-9, "all carriers alike");
	assert_true(ft_signal_rsrq_low(15) <= parts && parts < ft_signal_rsrq_low(16));
	assert_true(ft_signal_ecno_low(30) == -9.5 && ft_signal_ecno_low(1) == -24 && ft_signal_ecno_low(49) == 0);
	assert_true(isinf(ft_signal_ecno_low(0)) && isnan(ft_signal_ecno_low(255)));
	assert_true(ft_signal_nr_rsrq_low(1) == -43 && ft_signal_nr_sinr_low(1) == -23 && ft_signal_nr_sinr_low(127) == 40);
	for (int i = 0; i < 8; i++)
		assert_true(ft_signal_ber(i, &low, &high) && low <= ber[i] && ber[i] < high);
	assert_false(ft_signal_ber(99, &low, &high));
}

/* ITU-R P.2109 (coefficients from memory, values computed and rounded twice); the rule of a single slot (computed). */
static void walls_and_openings(void **state)
{
	static const struct {
		double ghz, traditional, insulated;
	} rows[] = { { 0.9, 12.5, 28.4 }, { 1.8, 13.7, 28.0 }, { 2.6, 14.4, 28.4 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		near(ft_signal_building_loss(FT_SIGNAL_TRADITIONAL, rows[i].ghz * 1000), rows[i].traditional, 0.06,
		     "traditional");
		near(ft_signal_building_loss(FT_SIGNAL_INSULATED, rows[i].ghz * 1000), rows[i].insulated, 0.06, "insulated");
	}
	near(ft_signal_opening_loss(900, 0.020), 18.4, 0.05, "a hole of 20 mm at 900 MHz");
	near(ft_signal_opening_loss(898, 0.167), 0, 0.01, "a slot of half a wave");
	near(ft_signal_opening_loss(800, 0.167), 20 * log10(898.0 / 800), 0.01, "a longer wave");
	near(ft_signal_opening_loss(2600, 0.167), 0, 0, "a window");
}

struct heard {
	struct ft_findings f;
	struct ft_signal_log log;
	struct ft_signal_result r;
};

static struct heard judge(const char *text, double opening, struct ft_arena *a)
{
	struct heard h = { .f = { .arena = a } };
	struct ft_error e = { 0 };

	if (ft_signal_read(ft_slice_of(text), "log", a, &h.log, &e) != FT_OK)
		fail_msg("%s", e.text);
	assert_int_equal(ft_signal_judge(&h.log, "log", NAN, a, &h.f, &h.r, &e), FT_OK);
	ft_signal_walls_judge(&h.log, &h.r, 900, opening, "log", a, &h.f);
	return h;
}

static const char *found(const struct heard *h, enum ft_rule_id rule)
{
	for (size_t i = 0; i < h->f.count; i++)
		if (h->f.list[i].rule == rule)
			return h->f.list[i].seen;
	return NULL;
}

/* RSSI -66, RSRP -95 and RSRQ -12 are a cell of 50 blocks (above); with RSSI -90 there is no such cell. */
static void figures_that_belong_together(void **state)
{
	static const struct {
		const char *text;
		bool disagree;
	} rows[] = { { "rsrp,rssi,rsrq\n-95,-66,-12\n", false },
		         { "rsrp,rssi,rsrq\n-95,-90,-12\n", true },
		         { "rsrp,rssi,rsrq\n-95,-50,-12\n", true },
		         { "rsrp,rssi,rsrq\n-95,-90,\n", false }, /* a figure is missing: nothing to hold them by */
		         { "rsrp,rssi,rsrq\n-95,,-12\n", false },
		         { "+CSQ: 23,99\n+CESQ: 99,99,255,255,15,46\n", false },
		         { "+CSQ: 11,99\n+CESQ: 99,99,255,255,15,46\n", true },
		         { "+CSQ: 11,99\nposition door\n+CESQ: 99,99,255,255,15,46\n", false } }; /* of two places */

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct heard h = judge(rows[i].text, NAN, &a);
		const struct ft_signal_place *p = &h.r.places[h.r.judged];
		if (!found(&h, FT_RULE_SIGNAL_FIGURES_DISAGREE) == rows[i].disagree)
			fail_msg("row %zu: %zu findings", i, h.f.count);
		if (h.log.position_count > 1) { /* neither stands beside the other */
			ft_arena_done(&a);
			continue;
		}
		assert_int_equal(p->metric, FT_SIGNAL_RSRP);
		assert_int_equal(p->count, 1);
		assert_int_equal(p->others, 0); /* what was read beside it is of no other net */
		ft_arena_done(&a);
	}
}

static void rssi_alone_on_lte(void **state)
{
	struct ft_arena a = { 0 };
	struct heard h = judge("+CEREG: 0,1\n+CSQ: 15,99\n", NAN, &a);

	(void)state;
	/* the middle of -83 to -81 less 10 log 72 and 10 log 1200 */
	assert_string_equal(found(&h, FT_RULE_SIGNAL_TOTAL_POWER),
	                    "-82.0 dBm are an RSRP of -100.6 dBm in a cell of 1.4 MHz, of -112.8 in one of 20 MHz");
	h = judge("+CREG: 0,1\n+CSQ: 15,99\n", NAN, &a);
	assert_null(found(&h, FT_RULE_SIGNAL_TOTAL_POWER));
	ft_arena_done(&a);
}

static void only_the_outside(void **state)
{
	struct ft_arena a = { 0 };
	struct heard h = judge("position,rsrp\noutside,-93\n", NAN, &a);

	(void)state;
	assert_string_equal(found(&h, FT_RULE_SIGNAL_OUTSIDE_ONLY),
	                    "-93.0 dBm at outside; behind glass -103 to -113 dBm, behind a metal front -113 to -123");
	h = judge("position,rsrp\nstreet,-80\n", 0.020, &a);
	assert_string_equal(
		found(&h, FT_RULE_SIGNAL_OUTSIDE_ONLY),
		"-80.0 dBm at street; behind metal with an opening of 20 mm -98 dBm at 900 MHz; a building takes "
		"12.5 dB besides, 28.3 where it is insulated against heat");
	h = judge("position,rsrp\noutside,-93\ninside,-97\n", NAN, &a);
	assert_null(found(&h, FT_RULE_SIGNAL_OUTSIDE_ONLY));
	h = judge("rsrp\n-93\n", NAN, &a); /* nobody said where */
	assert_null(found(&h, FT_RULE_SIGNAL_OUTSIDE_ONLY));
	ft_arena_done(&a);
}

/* What falls short by less than the last place that is printed is told with one more. */
static void what_falls_short_reads_so(void **state)
{
	/* 5 dB of spread by four readings, so 8 dB by default: 13.13 dB make 94.96 %, and -96.87 is 13.13 above -110 */
	static const char near_share[] = "rsrp\n-96.87\n-96.87\n-96.87\n-96.87\n";
	static const char near_least[] = "rsrp\n-110.04\n-110.04\n";
	struct ft_arena a = { 0 };
	struct heard h = judge(near_share, NAN, &a);

	(void)state;
	assert_string_equal(found(&h, FT_RULE_SIGNAL_LITTLE_MARGIN),
	                    "13.1 dB above what is needed, above it 94.96 % of the time");
	h = judge(near_least, NAN, &a);
	assert_string_equal(found(&h, FT_RULE_SIGNAL_TOO_WEAK), "-110.04 dBm in the mean");
	h = judge("rsrp\n-104\n-104\n", NAN, &a);
	assert_string_equal(found(&h, FT_RULE_SIGNAL_LITTLE_MARGIN),
	                    "6.0 dB above what is needed, above it 77 % of the time");
	ft_arena_done(&a);
}

static void states_that_carry_data(void **state)
{
	bool usable;

	(void)state;
	for (int stat = 0; stat <= 11; stat++) {
		assert_non_null(ft_signal_net_word(stat, &usable));
		assert_int_equal(usable, stat == 1 || stat == 5);
	}
	assert_true(!ft_signal_net_word(90, &usable) || !usable); /* one maker's own: known or not, it carries nothing */
	assert_null(ft_signal_net_word(77, &usable));
}

static void the_q_function(void **state)
{
	static const struct {
		double x, q;
	} rows[] = { { 0, 0.5 },          { 0.5, 0.30854 }, { 1, 0.15866 },      { 1.2816, 0.09999 },
		         { 1.6449, 0.05000 }, { 2, 0.02275 },   { 2.3263, 0.01000 }, { 3, 0.00135 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		near(ft_signal_share(-rows[i].x, 1, 0), rows[i].q, 0.000006, "Q");
		near(ft_signal_share(rows[i].x * 8, 8, 0), 1 - rows[i].q, 0.000006, "the margin that is needed");
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_cable_at_every_band),
		cmocka_unit_test(free_space_by_both_constants),
		cmocka_unit_test(a_link_from_cell_to_index),
		cmocka_unit_test(every_index),
		cmocka_unit_test(qualities),
		cmocka_unit_test(walls_and_openings),
		cmocka_unit_test(figures_that_belong_together),
		cmocka_unit_test(rssi_alone_on_lte),
		cmocka_unit_test(only_the_outside),
		cmocka_unit_test(what_falls_short_reads_so),
		cmocka_unit_test(states_that_carry_data),
		cmocka_unit_test(the_q_function),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
