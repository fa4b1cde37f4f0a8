/* SPDX-License-Identifier: Apache-2.0 */
/* Curves, cycles, defrosts, alarms and sensors: published values, and made-up cabinets whose truth is known. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "unit.h"

#include "fettle/cold.h"
#include "fettle/time.h"

enum { MOST = 6000 };

struct dice {
	uint64_t seed;
};

static double roll(struct dice *d) /* 0 to 1 */
{
	d->seed = d->seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return ((double)(d->seed >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(struct dice *d)
{
	double r = sqrt(-2 * log(roll(d)));

	return r * cos(6.283185307179586 * roll(d));
}

static void near(double seen, double want, double within, const char *what)
{
	if (!(fabs(seen - want) <= within))
		fail_msg("%s: %.6f where %.6f is wanted", what, seen, want);
}

static double curve(double t_min, double t0, double ta, double tau_min)
{
	return ta + (t0 - ta) * exp(-t_min / tau_min);
}

/* The worked pull-downs of the sheet (computed from the formula). */
static void test_worked(void **state)
{
	static const struct {
		double t0, ta, tau, t, c;
	} values[] = { { 25, 3, 40, 10, 20.134 }, { 25, 3, 40, 20, 16.344 }, { 25, 3, 40, 40, 11.093 },
		           { 25, 3, 40, 60, 7.909 },  { 25, 3, 40, 80, 5.977 },  { 25, 3, 40, 95.92, 5.000 },
		           { 9, 2, 15, 12.71, 5 },    { 9, 2, 15, 30, 2.947 },   { 40, 63, 50, 67.19, 57 } };
	static const struct {
		double t0, ta, tau, limit, after;
	} reach[] = { { 25, 3, 40, 5, 95.92 }, { 9, 2, 15, 5, 12.71 }, { 40, 63, 50, 57, 67.19 } };
	struct ft_cold_sample s[200];

	(void)state;
	for (size_t i = 0; i < sizeof values / sizeof *values; i++)
		assert_true(fabs(curve(values[i].t, values[i].t0, values[i].ta, values[i].tau) - values[i].c) < 0.001);
	for (size_t i = 0; i < sizeof reach / sizeof *reach; i++) {
		struct ft_arena a = { 0 };
		struct ft_cold_fit f;
		for (int k = 0; k < 160; k++)
			s[k] = (struct ft_cold_sample){ k * 60 * FT_SECOND, curve(k, reach[i].t0, reach[i].ta, reach[i].tau), 0 };
		assert_true(ft_cold_fit(s, 0, 160, 0, &a, &f));
		assert_true(fabs(f.tau_s / 60 - reach[i].tau) < 0.01);
		assert_true(fabs(f.settles_c - reach[i].ta) < 0.01);
		assert_true(fabs(ft_cold_fit_reach(&f, reach[i].limit, NULL, NULL) / 60 - reach[i].after) < 0.02);
		ft_arena_done(&a);
	}
}

/* Three equally spaced readings of the curve above (computed): exact ones return it, rounded ones do not. */
static void test_three(void **state)
{
	static const struct {
		double c[3], step, tau, settles, within;
	} rows[] = { { { 25, 16.3437, 11.0934 }, 20, 40.000, 3.000, 0.002 },
		         { { 25.0, 16.3, 11.1 }, 20, 38.86, 3.37, 0.006 },
		         { { 40, 47.5822, 52.6650 }, 20, 50.0, 63.0, 0.01 } };
	static const double none[][3] = { { 5, 5, 5 }, { 9, 8, 7 }, { 9, 8, 6 }, { 9, 8, 8.5 }, { 9, 9, 8 } };
	double tau = 0, settles = 0;

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_true(ft_cold_three(rows[i].c, rows[i].step * 60, &tau, &settles));
		near(tau / 60, rows[i].tau, rows[i].within, "tau of three");
		near(settles, rows[i].settles, rows[i].within, "where three settle");
	}
	for (size_t i = 0; i < sizeof none / sizeof *none; i++)
		assert_false(ft_cold_three(none[i], 60, &tau, &settles));
	assert_false(ft_cold_three(rows[0].c, 0, &tau, &settles));
}

struct covered {
	int tau, settles, at, n;
	double width; /* of the interval of where it settles, in the mean */
};

/* 400 pull-downs through noise of one kind: how often do the intervals hold the truth? */
static struct covered try_noise(double sigma, double rho, double rounded, int minutes, uint64_t seed)
{
	struct covered r = { 0 };

	for (int k = 0; k < 400; k++) {
		struct dice d = { seed + (uint64_t)k * 7919 };
		struct ft_arena a = { 0 };
		struct ft_cold_sample s[MOST];
		struct ft_cold_fit f;
		double tau = 25 + 30 * roll(&d), ta = 1 + 3 * roll(&d), t0 = 15 + 12 * roll(&d), e = sigma * normal(&d), lo, hi;
		for (int i = 0; i < minutes; i++) {
			double c = curve(i, t0, ta, tau) + e;
			e = rho * e + sigma * sqrt(1 - rho * rho) * normal(&d);
			s[i] = (struct ft_cold_sample){ i * 60 * FT_SECOND, rounded > 0 ? round(c / rounded) * rounded : c, 0 };
		}
		assert_true(ft_cold_fit(s, 0, (size_t)minutes, rounded, &a, &f));
		r.n++;
		r.tau += !(f.tau_lo > tau * 60) && !(f.tau_hi < tau * 60);
		r.width += (f.settles_hi - f.settles_lo) / 400;
		r.settles += f.settles_lo <= ta && ta <= f.settles_hi;
		ft_cold_fit_at(&f, minutes * 30, &lo, &hi);
		r.at += lo <= curve(minutes / 2.0, t0, ta, tau) && curve(minutes / 2.0, t0, ta, tau) <= hi;
		ft_arena_done(&a);
	}
	return r;
}

static void test_intervals(void **state)
{
	static const struct {
		double sigma, rho, rounded;
		int minutes;
	} kinds[] = {
		{ 0.1, 0, 0, 120 },    { 0.1, 0, 0, 60 },     { 0.3, 0, 0, 240 },
		{ 0.2, 0.8, 0, 240 },  { 0.2, 0.9, 0, 480 },  { 0.2, 0.6, 0.1, 180 },
		{ 0.02, 0, 0.1, 180 }, { 0.05, 0, 0.5, 180 }, { 0.1, 0, 0, 1000 },
	};

	const double least = (0.95 - 2 * sqrt(0.95 * 0.05 / 400)) * 400; /* two standard errors less may come by chance */

	(void)state;
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		struct covered r = try_noise(kinds[i].sigma, kinds[i].rho, kinds[i].rounded, kinds[i].minutes, 1000 * (i + 1));
		if (r.tau < least || r.settles < least || r.at < least)
			fail_msg("kind %zu: of %d fits %d hold tau, %d where it settles, %d the curve", i, r.n, r.tau, r.settles,
			         r.at);
		if (r.width > 12 * kinds[i].sigma + 2 * kinds[i].rounded) /* wide enough to hold anything is no answer */
			fail_msg("kind %zu: the interval of where it settles is %.2f C wide in the mean", i, r.width);
	}
}

/* Less than one tau tells nothing of settling; three rounded samples of the sheet err by 0.37 C, many do not. */
static void test_short_and_rounded(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_cold_sample s[200];
	struct ft_cold_fit f;

	(void)state;
	for (int k = 0; k < 200; k++)
		s[k] = (struct ft_cold_sample){ k * 60 * FT_SECOND, round(10 * curve(k, 25, 3, 40)) / 10, 0 };
	assert_true(ft_cold_fit(s, 0, 36, 0.1, &a, &f));
	assert_false(f.settles_known);
	assert_true(ft_cold_fit(s, 0, 81, 0.1, &a, &f));
	assert_true(f.settles_known && fabs(f.tau_s / 60 - 40) < 0.5 && fabs(f.settles_c - 3) < 0.15);
	assert_true(f.settles_lo <= 3 && 3 <= f.settles_hi);
	assert_false(ft_cold_fit(s, 0, 7, 0.1, &a, &f)); /* too few */
	ft_arena_done(&a);
}

/* ---- a cabinet at work ---- */

struct cabinet {
	struct ft_cold_sample s[MOST];
	size_t n;
	struct ft_cold_mark marks[8];
	size_t marks_n;
};

/* Between `low` and `low + swing` with a period of `on + off` minutes; a defrost of `peak` C every `every` minutes. */
static void work(struct cabinet *c, struct dice *d, int minutes, double low, double swing, int on, int off, int every,
                 double peak, double noise)
{
	*c = (struct cabinet){ 0 };
	for (int i = 0; i < minutes; i++) {
		int at = i % (on + off), into = every ? i % every : 0;
		double t = at < off ? low + swing * at / off : low + swing * (on + off - at) / on;
		if (every && i >= every && into < 30)
			t += peak * (1 - abs(into - 15) / 15.0);
		c->s[c->n++] =
			(struct ft_cold_sample){ (int64_t)i * 60 * FT_SECOND, round(10 * (t + noise * normal(d))) / 10, 0 };
	}
}

static struct ft_cold_result ask(struct cabinet *c, enum ft_cold_kind kind, struct ft_arena *a, struct ft_findings *f)
{
	struct ft_cold_options o = {
		.kind = kind, .limit_c = NAN, .allowance_s = -1, .guard_c = 0.5, .probe_error_c = NAN, .room_c = NAN
	};
	struct ft_cold_log log = { .samples = c->s,
		                       .count = c->n,
		                       .marks = c->marks,
		                       .mark_count = c->marks_n,
		                       .resolution_c = 0.1,
		                       .step_us = 60 * FT_SECOND,
		                       .rows = c->n,
		                       .elapsed = true,
		                       .column = "" };
	struct ft_cold_result r;

	*f = (struct ft_findings){ .arena = a };
	assert_int_equal(ft_cold_judge(&log, &o, a, f, &r, NULL), FT_OK);
	return r;
}

static void test_cycles(void **state)
{
	static struct cabinet c;
	struct dice d = { 5 };

	(void)state;
	for (int k = 0; k < 40; k++) {
		struct ft_arena a = { 0 };
		struct ft_findings f;
		int on = 6 + (int)(10 * roll(&d)), off = 8 + (int)(15 * roll(&d));
		double swing = 1 + roll(&d);
		struct ft_cold_result r;
		work(&c, &d, 3000, 1, swing, on, off, 480, 5, 0.05);
		r = ask(&c, FT_COLD_COLD, &a, &f);
		assert_true(r.cycle.cycles > 50);
		assert_true(fabs(r.cycle.period_s / 60 - on - off) < 1);
		assert_true(fabs(r.cycle.duty - (double)on / (on + off)) < 0.12);
		assert_true(fabs(r.cycle.swing_c - swing) < 0.3);
		if (r.defrost.count != 6 || fabs(r.defrost.every_s / 3600 - 8) > 0.3)
			fail_msg("log %d: %zu defrosts every %.1f h", k, r.defrost.count, r.defrost.every_s / 3600);
		ft_arena_done(&a);
	}
	/* noise alone is no compressor */
	for (int k = 0; k < 20; k++) {
		struct ft_arena a = { 0 };
		struct ft_findings f;
		struct ft_cold_result r;
		work(&c, &d, 3000, 2, 0, 10, 10, 0, 0, 0.2);
		r = ask(&c, FT_COLD_COLD, &a, &f);
		assert_int_equal(r.cycle.cycles, 0);
		assert_int_equal(r.defrost.count, 0);
		ft_arena_done(&a);
	}
}

/* Whatever the log, the alarm made from it never fires on it; and on a compressor that then dies it does, about when it
 * was told. */
static void test_alarm(void **state)
{
	static struct cabinet c;
	struct dice d = { 11 };
	int made = 0;

	(void)state;
	for (int k = 0; k < 150; k++) {
		struct ft_arena a = { 0 };
		struct ft_findings f;
		struct ft_cold_result r;
		bool hot = k % 5 == 4;
		int every = k % 3 ? 480 : 0, opened = 200 + (int)(2000 * roll(&d));
		int64_t at = 0;
		size_t n;
		work(&c, &d, 2880, hot ? 62 : 0.5, 1 + roll(&d), 8, 20, every, 2 * roll(&d), 0.1 * roll(&d));
		if (k % 2) { /* a service with warm (hot: cool) air */
			for (int i = 0; i < 12; i++)
				c.s[opened + i].c += (hot ? -1 : 1) * (12.0 - i) * roll(&d);
			c.marks[c.marks_n++] = (struct ft_cold_mark){ c.s[opened].at_us, FT_COLD_OPENED, NAN, 0 };
			c.marks[c.marks_n++] = (struct ft_cold_mark){ c.s[opened + 6].at_us, FT_COLD_CLOSED, NAN, 0 };
		}
		r = ask(&c, hot ? FT_COLD_HOT : FT_COLD_COLD, &a, &f);
		if (!r.alarm.found) {
			ft_arena_done(&a);
			continue;
		}
		made++;
		if (ft_cold_alarm_fires(c.s, c.n, r.rule.side, r.alarm.threshold_c, r.alarm.delay_s, &at))
			fail_msg("log %d: %.1f C for %.0f s fires at minute %lld", k, r.alarm.threshold_c, r.alarm.delay_s,
			         (long long)(at / (60 * FT_SECOND)));
		n = c.n;
		for (int i = 0; n < MOST; i++, n++) /* it dies and goes to the room's 25 C */
			c.s[n] = (struct ft_cold_sample){
				(int64_t)n * 60 * FT_SECOND,
				curve(i, r.cycle.cycles ? r.cycle.mean_c : r.mean_c, 25, r.alarm.warm_tau_s / 60), 0
			};
		assert_true(ft_cold_alarm_fires(c.s, n, r.rule.side, r.alarm.threshold_c, r.alarm.delay_s, &at));
		assert_true(fabs((double)(at - c.s[c.n].at_us) / 1e6 - r.alarm.dead_s) <= 180);
		ft_arena_done(&a);
	}
	assert_true(made > 100);
}

/* Pull-downs of whole logs, where beginning and end are found as well: a dead time before the curve, and behind it a
 * compressor that cycles or, without one, a curve that settles until the door lets warmth in. */
static const struct pull {
	const char *what;
	double sigma, rho, rounded;
	bool settles; /* else the thermostat acts long before */
	double
		width; /* where it settles is told to within this, in the mean: an interval that holds anything is no answer */
} pulls[] = {
	{ "noise", 0.05, 0, 0, false, 2 },
	{ "much noise", 0.15, 0, 0, false, 6 },
	{ "noise that hangs together", 0.05, 0.7, 0, false, 3 },
	{ "a logger of tenths", 0.05, 0, 0.1, false, 2.5 },
	{ "a logger of halves", 0.05, 0, 0.5, false, 7 },
	{ "no thermostat", 0.05, 0, 0, true, 0.1 },
	{ "no thermostat, noise that hangs together", 0.1, 0.8, 0.1, true, 0.6 },
};

static struct ft_cold_fit pulled(struct cabinet *c, const struct pull *kind, struct dice *d, double tau, double ta,
                                 int dead, struct ft_arena *a)
{
	struct ft_findings f;
	struct ft_cold_result r;
	double e = kind->sigma * normal(d);

	work(c, d, 1500, kind->settles ? 8 : 1, kind->settles ? 0 : 1.4, 8, 14, 0, 0, 0.03);
	for (int i = 0; i < 1500; i++) {
		double t = i < dead ? 22 : curve(i - dead, 22, ta, tau), read = t + (i < dead ? 0 : e);
		c->s[i].c = kind->rounded > 0 ? round(read / kind->rounded) * kind->rounded : read;
		e = kind->rho * e + kind->sigma * sqrt(1 - kind->rho * kind->rho) * normal(d);
		if (kind->settles ? i > 400 : t <= 1.1)
			break;
	}
	r = ask(c, FT_COLD_COLD, a, &f);
	assert_true(r.fit.found);
	return r.fit;
}

/* 95 of 100 is what is told of the intervals; of 400 logs two standard errors less than that may come by chance. */
static void test_pull_down(void **state)
{
	enum { LOGS = 400 };
	const double least = (0.95 - 2 * sqrt(0.95 * 0.05 / LOGS)) * LOGS;
	static struct cabinet c;
	struct dice d = { 21 };

	(void)state;
	for (size_t i = 0; i < sizeof pulls / sizeof *pulls; i++) {
		const struct pull *kind = &pulls[i];
		int tau_held = 0, settles_held = 0;
		double width = 0;
		for (int k = 0; k < LOGS; k++) {
			struct ft_arena a = { 0 };
			double tau = kind->settles ? 25 + 30 * roll(&d) : 10 + 4 * roll(&d);
			double ta = kind->settles ? 1.2 + 0.6 * roll(&d) : -8 + 2 * roll(&d);
			int dead = 5 + (int)(5 * roll(&d));
			struct ft_cold_fit f = pulled(&c, kind, &d, tau, ta, dead, &a);
			tau_held += !(f.tau_lo > tau * 60) && !(f.tau_hi < tau * 60);
			settles_held += f.settles_lo <= ta && ta <= f.settles_hi;
			width += (f.settles_hi - f.settles_lo) / LOGS;
			if (fabs((double)f.from_us / 60e6 - dead) > (kind->settles ? 10 : 3))
				fail_msg("%s, log %d: the curve begins at %.1f min, not %d", kind->what, k, (double)f.from_us / 60e6,
				         dead);
			ft_arena_done(&a);
		}
		if (tau_held < least || settles_held < least || width > kind->width)
			fail_msg("%s: of %d logs %d hold tau, %d where it settles, which is told to %.2f C", kind->what, LOGS,
			         tau_held, settles_held, width);
	}
}

/* ---- sensors ---- */

static struct ft_sensor sensor(const char *text)
{
	struct ft_sensor s;
	struct ft_error e = { 0 };

	if (ft_sensor_parse(ft_slice_of(text), &s, &e) != FT_OK)
		fail_msg("%s", e.text);
	return s;
}

/* The published 10 kohm curve: the table of two independent pages, and the set of constants beside it. */
static void test_ntc(void **state)
{
	static const struct {
		double c, ohms, says;
	} table[] = { { -40, 336103.2, -40.003 }, { -40, 335671, -39.983 }, { -20, 97006.9, -20.002 },
		          { -10, 55303.9, -10.001 },  { 0, 32650.9, -0.001 },   { 20, 12490, 20.006 },
		          { 25, 10000, 25.000 },      { 30, 8057, 29.997 },     { 55, 2986, 54.992 },
		          { 100, 680, 99.92 } };
	struct ft_sensor s = sensor("ntc-10k"), fit = sensor("fit:-20:97006.9:0:32650.9:25:10000");

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		near(ft_sensor_c(&s, table[i].ohms), table[i].says, 0.006, "Steinhart-Hart");
		near(ft_sensor_c(&s, table[i].ohms), table[i].c, 0.1, "the table");
		near(ft_sensor_ohms(&s, ft_sensor_c(&s, table[i].ohms)), table[i].ohms, table[i].ohms * 1e-9, "and back");
	}
	/* three-point fit (computed): constants, and two more points of the table */
	near(fit.c[0] * 1e3, 1.1291459, 5e-7, "a");
	near(fit.c[1] * 1e4, 2.3412492, 5e-7, "b");
	near(fit.c[2] * 1e8, 8.767293, 5e-6, "c");
	near(ft_sensor_c(&fit, 55303.9), -10.00001, 2e-5, "-10 C");
	near(ft_sensor_c(&fit, 336103.2), -39.99998, 2e-5, "-40 C");
	assert_true(isnan(ft_sensor_c(&s, 0)) && isnan(ft_sensor_c(&s, -5)) && isnan(ft_sensor_ohms(&s, -300)));
}

/* Values of the pure beta form (computed; no maker's table). */
static void test_beta(void **state)
{
	static const struct {
		double c, b3435, b3950;
	} table[] = { { -20, 77522.5, 105384.7 }, { -10, 46290.2, 58245.7 }, { 0, 28704.3, 33620.6 },
		          { 5, 22896.6, 25924.6 },    { 10, 18410.4, 20174.6 },  { 25, 10000, 10000 },
		          { 50, 4101.2, 3588.2 },     { 57, 3273.6, 2769.0 },    { 85, 1451.3, 1086.7 } };
	struct ft_sensor a = sensor("ntc-10k-3435"), b = sensor("ntc:10000:3950"), maker;
	char text[40];

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		near(ft_sensor_ohms(&a, table[i].c), table[i].b3435, 0.06, "B 3435");
		near(ft_sensor_ohms(&b, table[i].c), table[i].b3950, 0.06, "B 3950");
		near(ft_sensor_c(&a, ft_sensor_ohms(&a, table[i].c)), table[i].c, 1e-9, "and back");
	}
	near(ft_sensor_c(&a, 27280), 1.11, 0.006, "a real 3435 at 0 C (resistance from memory)");
	near(ft_sensor_c(&a, 67770), -17.47, 0.006, "a real 3435 at -20 C (resistance from memory)");
	near(ft_sensor_c(&b, 32650.9), 0.55, 0.006, "the 3977 curve through B 3950");
	near(ft_sensor_c(&b, 25000), 5.713, 0.0006, "the worked inverse");
	near(ft_sensor_beta(25, 10000, 85, 1451.3), 3435, 0.3, "B of two points");
	/* A maker's published interpolation: R25 4.7 kohm, ratio 2.2739 at 5 C (10.6873 kohm), 4.4 % a degree there, so
	 * 9.7932 kohm at 7 C. B through its two points agrees within what a straight exponent may err. */
	snprintf(text, sizeof text, "ntc:4700:%.3f", ft_sensor_beta(25, 4700, 5, 10687.3));
	maker = sensor(text);
	near(ft_sensor_ohms(&maker, 5), 10687.3, 0.1, "R at 5 C");
	near(ft_sensor_ohms(&maker, 7), 9793.2, 10, "R at 7 C");
	near(log(ft_sensor_ohms(&maker, 4.5) / ft_sensor_ohms(&maker, 5.5)), 0.044, 0.0002, "4.4 % a degree at 5 C");
}

/* IEC 60751 (2008), against the published table. */
static void test_platinum(void **state)
{
	static const struct {
		double c, calc, published;
	} table[] = { { -200, 18.5201, 18.52 },  { -100, 60.2558, 60.26 }, { -40, 84.2707, 84.27 },
		          { -20, 92.1599, 92.16 },   { -18, 92.9461, 0 },      { -10, 96.0859, 96.09 },
		          { 0, 100, 100 },           { 5, 101.9527, 0 },       { 10, 103.9025, 103.90 },
		          { 20, 107.7935, 107.79 },  { 50, 119.3971, 119.40 }, { 57, 122.0897, 0 },
		          { 100, 138.5055, 138.51 }, { 850, 390.4811, 390.48 } };
	static const struct {
		const char *class;
		double at5, at57;
	} classes[] = { { "AA", 0.109, 0.197 }, { "A", 0.160, 0.264 }, { "B", 0.325, 0.585 }, { "C", 0.650, 1.170 } };
	struct ft_sensor p = sensor("pt100"), k = sensor("pt1000");
	double e;

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		near(ft_sensor_ohms(&p, table[i].c), table[i].calc, 0.00006, "Pt100");
		near(ft_sensor_ohms(&k, table[i].c), 10 * table[i].calc, 0.0006, "Pt1000");
		if (table[i].published > 0)
			near(ft_sensor_ohms(&p, table[i].c), table[i].published, 0.0051, "the published table");
		near(ft_sensor_c(&p, ft_sensor_ohms(&p, table[i].c)), table[i].c, 1e-6, "and back");
	}
	near(ft_sensor_c(&p, 101.95), 4.993, 0.0006, "101.95 ohm");
	near(ft_sensor_c(&p, 107.79), 19.991, 0.0006, "107.79 ohm");
	near(ft_sensor_c(&p, 92.16), -19.9997, 0.00006, "92.16 ohm");
	near(ft_sensor_ohms(&p, 0.5) - ft_sensor_ohms(&p, -0.5), 0.39083, 0.00001, "slope at 0 C");
	near(ft_sensor_ohms(&p, 100.5) - ft_sensor_ohms(&p, 99.5), 0.37928, 0.00001, "slope at 100 C");
	/* 5 m of AWG 24, out and back: 0.842 ohm */
	near(ft_sensor_lead_error(&p, 0, 0.842), 2.15, 0.006, "a lead on Pt100");
	near(ft_sensor_lead_error(&k, 0, 0.842), 0.22, 0.006, "a lead on Pt1000");
	for (size_t i = 0; i < sizeof classes / sizeof *classes; i++) {
		assert_true(ft_cold_class(ft_slice_of(classes[i].class), 5, &e, NULL));
		near(e, classes[i].at5, 0.0006, "class at 5 C");
		assert_true(ft_cold_class(ft_slice_of(classes[i].class), 57, &e, NULL));
		near(e, classes[i].at57, 0.0006, "class at 57 C");
	}
	assert_true(ft_cold_class(FT_SLICE("B"), 100, &e, NULL));
	near(e, 0.8, 1e-9, "class B at 100 C");
	near(ft_sensor_ohms(&p, 100 + e) - ft_sensor_ohms(&p, 100), 0.30, 0.005, "class B at 100 C in ohms");
	assert_true(ft_cold_class(FT_SLICE("1"), 5, &e, NULL) && e == 1); /* EN 12830 */
	assert_false(ft_cold_class(FT_SLICE("D"), 5, &e, NULL));
	assert_true(isnan(ft_sensor_c(&p, 10)) && isnan(ft_sensor_c(&p, 500)) && isnan(ft_sensor_ohms(&p, 900)));
}

static void test_no_sensor(void **state)
{
	static const char *const wrong[] = {
		"",       "ntc",     "ntc:10000", "ntc:-1:3950",  "ntc:10000:3950:1",        "pt:",        "pt:0",
		"sh:1:2", "fit:0:1", "pt-100",    "sh:1e-3:-1:0", "fit:0:100:25:200:50:300", "ntc:x:3950", "fit:0:1:0:1:0:1"
	};

	(void)state;
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
		struct ft_sensor s;
		struct ft_error e = { 0 };
		if (ft_sensor_parse(ft_slice_of(wrong[i]), &s, &e) != FT_E_USAGE)
			fail_msg("\"%s\" was taken", wrong[i]);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_worked),    cmocka_unit_test(test_intervals), cmocka_unit_test(test_short_and_rounded),
		cmocka_unit_test(test_cycles),    cmocka_unit_test(test_alarm),     cmocka_unit_test(test_pull_down),
		cmocka_unit_test(test_ntc),       cmocka_unit_test(test_beta),      cmocka_unit_test(test_platinum),
		cmocka_unit_test(test_no_sensor), cmocka_unit_test(test_three),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
