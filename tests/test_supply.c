/* SPDX-License-Identifier: Apache-2.0 */
/* Wire, drops and the chain. Sources of the rows: resistances by ASTM B258 and IEC 60028 against a published wire table
 * (ohm per 1000 ft, after a university's physics pages; two other tables agree); drops and constant power computed
 * from the closed form V = (Vs + sqrt(Vs2 - 4rP)) / 2. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "fettle/supply.h"

static void close_to(double got, double wanted, double within)
{
	if (!(fabs(got - wanted) <= within))
		fail_msg("%.6f where %.6f is wanted", got, wanted);
}

static void wire_by_its_table(void **state)
{
	static const struct {
		int awg;
		double area, ohm_km, published_kft;
	} rows[] = { { 16, 1.3087, 13.174, 4.016 },  { 17, 1.0378, 16.613, 5.064 },  { 18, 0.8230, 20.948, 6.385 },
		         { 19, 0.6527, 26.415, 8.051 },  { 20, 0.5176, 33.309, 10.15 },  { 21, 0.4105, 42.002, 12.80 },
		         { 22, 0.3255, 52.963, 16.14 },  { 23, 0.2582, 66.786, 20.36 },  { 24, 0.2047, 84.215, 25.67 },
		         { 25, 0.1624, 106.193, 32.37 }, { 26, 0.1288, 133.907, 40.81 }, { 27, 0.1021, 168.854, 51.47 },
		         { 28, 0.0810, 212.921, 64.90 } };

	static const struct {
		double t, kt, alpha;
	} degrees[] = { { 5, 1.064, 1.063 }, { 50, 0.893, 0.895 }, { 90, 0.781, 0.784 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double area = ft_supply_awg_area(rows[i].awg), loop = ft_supply_loop_ohm(area, 20);
		close_to(area, rows[i].area, 0.00006);
		close_to(loop * 500, rows[i].ohm_km, 0.001 * rows[i].ohm_km);
		close_to(loop * 500, rows[i].published_kft / 0.3048,
		         0.0005 * rows[i].ohm_km); /* the tables differ by 0.03 per cent at most */
	}
	close_to(ft_supply_loop_ohm(ft_supply_awg_area(22), -20) / ft_supply_loop_ohm(ft_supply_awg_area(22), 20), 0.8428,
	         0.0001);
	close_to(ft_supply_loop_ohm(ft_supply_awg_area(22), 50) / ft_supply_loop_ohm(ft_supply_awg_area(22), 20), 1.1179,
	         0.0001);
	close_to(ft_supply_loop_ohm(ft_supply_awg_area(22), 90) / ft_supply_loop_ohm(ft_supply_awg_area(22), 20), 1.2751,
	         0.0001);
	/* IEC 60228 brings back to 20 C with the rounder 250/(230+T): the two agree within 0.4 per cent */
	for (size_t i = 0; i < sizeof degrees / sizeof *degrees; i++) {
		double back = ft_supply_loop_ohm(1, 20) / ft_supply_loop_ohm(1, degrees[i].t);
		close_to(back, degrees[i].alpha, 0.0005);
		close_to(back, degrees[i].kt, 0.004 * degrees[i].kt + 0.0005);
		close_to(250 / (230 + degrees[i].t), degrees[i].kt, 0.0005);
	}
	/* 1.0 mm2 of ideal copper, 17.24 ohm/km; the maxima of IEC 60228 lie above it */
	close_to(ft_supply_loop_ohm(1, 20) * 500, 17.241, 0.001);
	close_to(ft_supply_loop_ohm(ft_supply_awg_area(22), 20), 0.10593, 0.00001);
	close_to(ft_supply_loop_ohm(ft_supply_awg_area(28), 20), 0.42584, 0.00001);
}

/* The rest of the worked values of a bus of 34 V (computed): what a constant power draws at 20 V and at 34 V, and that
 * 34 V are what a rectified 24 V give. */
static void the_bus_by_its_worked_values(void **state)
{
	struct ft_supply_device d = { .power = true, .area_mm2 = 1, .temperature_c = 20 };
	struct ft_supply_chain c = { .volts = 34, .rating_a = NAN, .devices = &d, .count = 1 };
	double watts = 10, v[FT_SUPPLY_DEVICES_MAX], at34 = 0, at20 = 0;
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };

	(void)state;
	assert_true(ft_supply_solve(&c, &watts, -1, 0, v, &at34));
	c.volts = 20;
	assert_true(ft_supply_solve(&c, &watts, -1, 0, v, &at20));
	close_to(at20 / at34, 1.70, 1e-9);
	/* a rectified 24 V peaks at 33.94 V: the nominal 34 V, which are reckoned ten per cent low where nobody measured */
	assert_int_equal(ft_supply_read(FT_SLICE("kind\nunit\n"), "chain", &a, &c, &e), FT_OK);
	close_to(c.volts / 0.9, 24 * sqrt(2), 0.1);
	/* and so they are where somebody read the transformer: 33.941 V less two diodes are 32.541 V (computed) */
	close_to(ft_supply_bridge(24), 32.541, 0.0005);
	close_to(ft_supply_bridge(24) + 1.4, 33.941, 0.0005);
	assert_true(ft_supply_bridge(0.5) == 0);
	/* trade sheet, section 2, worked value 6 (computed there): 1 A for 10 ms from 34 to 20 V */
	close_to(ft_supply_hold_up(1, 0.010, 14) * 1e6, 714.3, 0.5);
	assert_int_equal(ft_supply_read(FT_SLICE("kind,volts\nsupply,24 V AC\nunit,20 V\n"), "chain", &a, &c, &e), FT_OK);
	close_to(c.volts, 0.9 * 32.541, 0.0005);
	assert_false(c.measured);
	assert_int_equal(ft_supply_read(FT_SLICE("kind,volts\nsupply,24Vac\nunit,20 V\n"), "chain", &a, &c, &e), FT_OK);
	close_to(c.transformer_v, 24, 0);
	assert_int_equal(ft_supply_read(FT_SLICE("kind,volts\nsupply,230 V AC\nunit,20 V\n"), "chain", &a, &c, &e),
	                 FT_E_INPUT); /* the wrong side of the transformer */
	assert_int_equal(ft_supply_read(FT_SLICE("kind,volts\nunit,20 V AC\n"), "chain", &a, &c, &e), FT_E_INPUT);
	ft_arena_done(&a);
}

static struct ft_supply_chain chain(double volts, struct ft_supply_device *d, size_t n)
{
	return (struct ft_supply_chain){ .volts = volts, .rating_a = NAN, .devices = d, .count = n };
}

static void drops_of_one_run(void **state)
{
	static const struct {
		int awg;
		double length, temperature, volts;
		bool power;
		double load, amperes, seen;
	} rows[] = {
		{ 22, 3, 20, 34, false, 1.0, 1.0, 34 - 0.3178 },  { 24, 5, 20, 34, false, 0.5, 0.5, 34 - 0.4211 },
		{ 20, 10, 50, 34, false, 1.5, 1.5, 34 - 1.1171 }, { 18, 2, 40, 34, false, 2.0, 2.0, 34 - 0.1808 },
		{ 22, 3, 40, 34, true, 10, 0.29499, 33.899 },     { 24, 5, 50, 20, true, 12, 0.61798, 19.418 },
		{ 22, 4, 20, 24, true, 24, 1.01831, 23.569 },     { 26, 6, 50, 20, true, 40, 2.61347, 15.305 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_supply_device d = { .power = rows[i].power,
			                          .length_m = rows[i].length,
			                          .area_mm2 = ft_supply_awg_area(rows[i].awg),
			                          .temperature_c = rows[i].temperature };
		struct ft_supply_chain c = chain(rows[i].volts, &d, 1);
		double v[FT_SUPPLY_DEVICES_MAX], a = 0;
		assert_true(ft_supply_solve(&c, &rows[i].load, -1, 0, v, &a));
		close_to(v[0], rows[i].seen, 0.0006);
		close_to(a, rows[i].amperes, 0.00001);
	}
}

/* Beyond Vs2/4r no state can last; just before it the closed form holds. */
static void collapse_where_the_closed_form_says(void **state)
{
	struct ft_supply_device d = {
		.power = true, .length_m = 6, .area_mm2 = ft_supply_awg_area(26), .temperature_c = 50
	};
	struct ft_supply_chain c = chain(20, &d, 1);
	double r = 6 * ft_supply_loop_ohm(d.area_mm2, 50), limit = 20.0 * 20 / 4 / r, v[FT_SUPPLY_DEVICES_MAX], a;
	static const double shares[] = { 0.1, 0.5, 0.9, 0.999, 0.99999 };

	(void)state;
	close_to(limit, 55.67, 0.01);
	for (size_t i = 0; i < sizeof shares / sizeof *shares; i++) {
		double p = limit * shares[i];
		assert_true(ft_supply_solve(&c, &p, -1, 0, v, &a));
		close_to(v[0], (20 + sqrt(400 - 4 * r * p)) / 2, 1e-6);
	}
	for (int over = 0; over < 10; over++) {
		double p = limit * (1.00001 + over * over * 0.02);
		assert_false(ft_supply_solve(&c, &p, -1, 0, v, &a));
	}
}

static uint64_t seed;

static double roll(double from, double to)
{
	seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return from + (to - from) * (double)(seed >> 40) / (double)(1 << 24);
}

static size_t any_chain(struct ft_supply_device *d, double *load)
{
	size_t n = 1 + (size_t)roll(0, 5.99);

	for (size_t i = 0; i < n; i++) {
		bool power = roll(0, 1) < 0.5;
		d[i] = (struct ft_supply_device){ .name = "x",
			                              .power = power,
			                              .least_v = 20,
			                              .length_m = roll(0, 6),
			                              .area_mm2 = ft_supply_awg_area(18 + (int)roll(0, 9)),
			                              .temperature_c = roll(0, 60) };
		load[i] = power ? roll(0, 25) : roll(0, 1.5);
	}
	return n;
}

static void volts_fall_and_more_load_never_raises_them(void **state)
{
	size_t solved = 0, collapsed = 0;

	(void)state;
	for (seed = 1; solved + collapsed < 3000;) {
		struct ft_supply_device d[FT_SUPPLY_DEVICES_MAX];
		double load[FT_SUPPLY_DEVICES_MAX], v[FT_SUPPLY_DEVICES_MAX], w[FT_SUPPLY_DEVICES_MAX], a, b, flow = 0, volts;
		size_t n = any_chain(d, load), which = (size_t)roll(0, (double)n - 0.01);
		struct ft_supply_chain c = chain(roll(18, 40), d, n);
		if (!ft_supply_solve(&c, load, -1, 0, v, &a)) {
			collapsed++;
			load[which] *= 1.1; /* what collapses does so with more all the more */
			assert_false(ft_supply_solve(&c, load, -1, 0, w, &b));
			continue;
		}
		solved++;
		/* the equations hold to a microvolt */
		for (size_t i = n; i-- > 0;)
			flow += d[i].power ? load[i] / v[i] : load[i];
		close_to(a, flow, 1e-7);
		volts = c.volts;
		for (size_t i = 0; i < n; i++) {
			volts -= d[i].length_m * ft_supply_loop_ohm(d[i].area_mm2, d[i].temperature_c) * flow;
			close_to(v[i], volts, 1e-6);
			flow -= d[i].power ? load[i] / v[i] : load[i];
			assert_true(v[i] <= (i ? v[i - 1] : c.volts) + 1e-9);
		}
		load[which] = load[which] * 1.2 + 0.01;
		if (ft_supply_solve(&c, load, -1, 0, w, &b))
			for (size_t i = 0; i < n; i++)
				assert_true(w[i] <= v[i] + 1e-9);
	}
	assert_true(solved > 1000 && collapsed > 30);
}

static bool found(const struct ft_findings *f, enum ft_rule_id rule)
{
	for (size_t i = 0; i < f->count; i++)
		if (f->list[i].rule == rule)
			return true;
	return false;
}

static struct ft_supply_result judge(const char *table, struct ft_arena *a, struct ft_findings *f)
{
	struct ft_supply_chain c;
	struct ft_supply_result r;
	struct ft_error e = { 0 };

	*f = (struct ft_findings){ .arena = a };
	if (ft_supply_read(ft_slice_of(table), "chain.csv", a, &c, &e) != FT_OK)
		fail_msg("%s", e.text);
	assert_int_equal(ft_supply_judge(&c, "chain.csv", a, f, &r, &e), FT_OK);
	return r;
}

#define HEADING "device,kind,volts,idle,continuous,peak,length,gauge,temperature\n"

static void chains_are_judged(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_findings f;
	struct ft_supply_result r;

	(void)state;
	r = judge(HEADING "s,supply,33 V,,4 A,,,,\nunit,unit,20 V,0.1 A,0.25 A,1 A,1.5 m,AWG 22,40 C\n"
	                  "val,validator,20 V,0.2 A,0.2 A,2.5 A,50 cm,0.34 mm2,40 C\n",
	          &a, &f);
	assert_int_equal(r.verdict, FT_SHOWN);
	assert_int_equal(r.peaking, 1);
	assert_true(r.margin_v > 10 && r.margin_ma > 800);
	/* the margin is one: so much more carries, a little more than that does not */
	assert_true(r.rating_fails == false && r.margin_ma < 4000 - 2500 - 250 + 1);
	assert_int_equal(r.change_count, 3);

	r = judge(
		HEADING
		"s,supply,21 V,,4 A,,,,\nval,validator,20 V,0.2 A,0.2 A,2.5 A,4 m,AWG 26,40 C\nunit,unit,20 V,2 W,5 W,20 W,1.5 m,AWG 26,40 C\n",
		&a, &f);
	assert_int_equal(r.verdict, FT_CONTRADICTED);
	/* the validator's peak alone does that: no less at the unit would do */
	assert_true(found(&f, FT_RULE_SUPPLY_TOO_LOW) && r.margin_v < 0 && isnan(r.margin_ma));
	assert_true(r.changes[0].margin_v > r.margin_v && r.changes[1].margin_v > r.margin_v &&
	            r.changes[2].margin_v > r.margin_v);

	r = judge(HEADING "s,supply,20 V,,9 A,,,,\nunit,unit,5 V,5 W,60 W,60 W,6 m,AWG 26,50 C\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_COLLAPSES) && r.collapses[FT_SUPPLY_CONTINUOUS] && isnan(r.margin_v));

	r = judge(HEADING "s,supply,34 V,,2 A,,,,\nval,validator,20 V,0.2 A,0.2 A,2.5 A,1 m,AWG 22,40 C\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_OVER_RATING) && r.rating_fails);
	r = judge(HEADING "s,supply,34 V,,2 A,,,,\na,lamp,20 V,,1.9 A,,1 m,AWG 22,40 C\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_NO_RESERVE) && r.verdict == FT_OPEN);
	r = judge(HEADING "s,supply,48 V,,2 A,,,,\na,lamp,20 V,,0.1 A,,1 m,AWG 22,40 C\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_TOO_HIGH) && r.verdict == FT_CONTRADICTED);
	/* what hangs at the unit's place is not why: no less of it would do, and no figure pretends so */
	r = judge(HEADING "s,supply,19 V,,4 A,,,,\nunit,unit,20 V,0.1 A,0.25 A,1 A,1 m,AWG 22,40 C\n", &a, &f);
	assert_true(isnan(r.margin_ma) && r.verdict == FT_CONTRADICTED);
	/* but where less of it helps, so much less is just enough */
	r = judge(HEADING "s,supply,21 V,,9 A,,,,\nunit,unit,20 V,0.1 A,4 A,4 A,2 m,AWG 22,40 C\n", &a, &f);
	assert_true(r.margin_ma < 0 && r.margin_ma > -4000);
	{
		char table[300];
		snprintf(table, sizeof table, HEADING "s,supply,21 V,,9 A,,,,\nunit,unit,20 V,0.1 A,%.5f A,,2 m,AWG 22,40 C\n",
		         4 + r.margin_ma / 1000 - 0.00001);
		r = judge(table, &a, &f);
		assert_true(!found(&f, FT_RULE_SUPPLY_TOO_LOW) && r.margin_v < 0.0001);
	}
	/* a run without a length is not taken for none */
	r = judge(HEADING "s,supply,34 V,,4 A,,,,\nunit,unit,20 V,0.1 A,0.25 A,1 A,,,\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_NO_LENGTH) && r.verdict == FT_OPEN);
	/* loads that would collapse only far away are told soon: the edge is looked for in as many steps as it needs */
	r = judge(HEADING "s,supply,20 V,,9 A,,,,\nunit,unit,0 V,5 W,50 W,50 W,6 m,AWG 26,50 C\n", &a, &f);
	assert_true(r.margin_ma >= 0 && r.verdict != FT_CONTRADICTED);
	r = judge("kind,volts,idle,continuous,peak,length\nsupply,24 V AC,,4 A,,\nunit,20 V,0.1 A,0.25 A,1 A,1 m\n", &a,
	          &f);
	assert_true(found(&f, FT_RULE_SUPPLY_RECTIFIED) && !found(&f, FT_RULE_SUPPLY_NOT_MEASURED));
	/* only kinds: all from memory, and it says so */
	r = judge("kind\nunit\nvalidator\nchanger\nreader\n", &a, &f);
	assert_true(found(&f, FT_RULE_SUPPLY_ASSUMED) && found(&f, FT_RULE_SUPPLY_NO_RATING) &&
	            found(&f, FT_RULE_SUPPLY_NOT_MEASURED));
	assert_int_equal(r.verdict, FT_OPEN);
	ft_arena_done(&a);
}

/* A meter at the plugs against the reckoned chain: above the worst it is honest, below it something is in the way. */
static void measured_at_the_plugs(void **state)
{
#define MEASURED    "device,kind,volts,idle,continuous,peak,length,gauge,temperature,measured\ns,supply,33 V,,4 A,,,,,\n"
#define UNIT_AT(v)  "unit,unit,20 V,0.1 A,0.25 A,1 A,1.5 m,AWG 22,40 C," v "\n"
#define VALID_AT(v) "val,validator,20 V,0.2 A,0.2 A,2.5 A,0.5 m,AWG 22,40 C," v "\n"
	static const struct {
		const char *table;
		bool drop, low;
		unsigned line;
	} rows[] = {
		{ MEASURED UNIT_AT("32.6 V") VALID_AT("32.4 V"), false, false, 0 },
		{ MEASURED UNIT_AT("") VALID_AT("32.2 V"), false, false, 0 },
		{ MEASURED UNIT_AT("32.6 V") VALID_AT("27 V"), true, false, 4 },
		{ MEASURED UNIT_AT("26 V") VALID_AT("25.8 V"), true, false, 3 }, /* the step is before the unit */
		{ MEASURED UNIT_AT("28 V") VALID_AT("18 V"), true, true, 4 },
		/* the supply itself was not measured: nothing to compare with, but too low is too low */
		{ "kind,idle,continuous,peak,length,measured\nunit,0.1 A,0.2 A,1 A,1 m,18 V\n", false, true, 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_findings f;
		unsigned line = 0;
		judge(rows[i].table, &a, &f);
		for (size_t k = 0; k < f.count; k++)
			if (f.list[k].rule == FT_RULE_SUPPLY_DROP)
				line = f.list[k].where.line;
		if (found(&f, FT_RULE_SUPPLY_DROP) != rows[i].drop || found(&f, FT_RULE_SUPPLY_TOO_LOW) != rows[i].low ||
		    line != rows[i].line)
			fail_msg("row %zu: drop at line %u, too low %d", i, line, found(&f, FT_RULE_SUPPLY_TOO_LOW));
		ft_arena_done(&a);
	}
}

/* A peak alone is too much: what could carry it is said in microfarads; where it is too low all the time, it is not. */
static void short_peaks_and_capacitors(void **state)
{
	static const struct {
		const char *table, *says;
	} rows[] = {
		{ HEADING "s,supply,22 V,,6 A,,,,\nu,unit,20 V,0.2 A,0.5 A,5.5 A,4 m,AWG 22,40 C\n", "uF at u" },
		{ HEADING "s,supply,20.1 V,,6 A,,,,\nu,unit,20 V,0.2 A,0.5 A,5.5 A,4 m,AWG 22,40 C\n", NULL },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_findings f;
		const char *todo = NULL;
		judge(rows[i].table, &a, &f);
		for (size_t k = 0; k < f.count; k++)
			if (f.list[k].rule == FT_RULE_SUPPLY_TOO_LOW || f.list[k].rule == FT_RULE_SUPPLY_COLLAPSES)
				todo = f.list[k].todo;
		assert_non_null(todo);
		if (rows[i].says ? !strstr(todo, rows[i].says) : strstr(todo, " uF ") != NULL)
			fail_msg("row %zu: %s", i, todo);
		ft_arena_done(&a);
	}
}

static void tables_that_cannot_be(void **state)
{
	static const struct {
		const char *table;
		const char *says;
	} rows[] = {
		{ HEADING "u,unit,20 V,100,250 mA,,1 m,AWG 22,40 C\n", "line 2, idle: \"100\" is no load" },
		{ HEADING "u,unit,20 V,100 mA,5 W,,1 m,AWG 22,40 C\n", "line 2, continuous: \"5 W\" mixes amperes and watts" },
		{ HEADING "u,unit,20 A,1 A,1 A,,1 m,AWG 22,40 C\n", "line 2, volts: \"20 A\" is no figure" },
		{ HEADING "u,unit,20 V,\"1,000 mA\",2 A,,1 m,AWG 22,40 C\n", "line 2, idle: \"1,000 mA\" may mean thousands" },
		{ HEADING "u,unit,20 V,1 A,1 A,,\"1,000 mm\",AWG 22,40 C\n",
		  "line 2, length: \"1,000 mm\" may mean thousands" },
		{ HEADING "u,unit,20 V,2 A,1 A,,1 m,AWG 22,40 C\n", "line 2, idle: \"2 A\" is more than what is drawn all" },
		{ HEADING "u,unit,20 V,nan A,1 A,,1 m,AWG 22,40 C\n", "line 2, idle: \"nan A\" is no load" },
		{ HEADING "u,unit,20 V,1 A,1e308 A,,1 m,AWG 22,40 C\n", "line 2, continuous: \"1e308 A\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,99 A,,1 m,AWG 22,40 C\n", "line 2, continuous: \"99 A\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,1 A,,300 m,AWG 22,40 C\n", "line 2, length: \"300 m\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,1 A,,-1 m,AWG 22,40 C\n", "line 2, length: \"-1 m\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,1 A,,1 m,22,40 C\n", "line 2, gauge: \"22\" has no unit" },
		{ HEADING "u,unit,20 V,1 A,1 A,,1 m,AWG 99,40 C\n", "line 2, gauge: \"AWG 99\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,1 A,,1 m,50 mm2,40 C\n", "line 2, gauge: \"50 mm2\" cannot be" },
		{ HEADING "u,unit,20 V,1 A,1 A,,1 m,AWG 22,400 C\n", "line 2, temperature: \"400 C\" cannot be" },
		{ HEADING "x,lamp,20 V,,,,1 m,AWG 22,40 C\n", "line 2, continuous: \"\" is missing" },
		{ HEADING "s,supply,34 V,,,,,,\ns,supply,34 V,,,,,,\n", "stands there twice" },
		{ HEADING "s,supply,34 V,,4 A,,,,\n", "names no device" },
		{ "device,volts\nx,3\n", "no column kind" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_supply_chain c;
		struct ft_error e = { 0 };
		if (ft_supply_read(ft_slice_of(rows[i].table), "chain.csv", &a, &c, &e) != FT_E_INPUT ||
		    !strstr(e.text, rows[i].says))
			fail_msg("row %zu: %s", i, e.text);
		ft_arena_done(&a);
	}
}

static void units_are_what_they_say(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_supply_chain c;
	struct ft_error e = { 0 };
	struct ft_buf out = { 0 };

	(void)state;
	assert_int_equal(ft_supply_read(FT_SLICE(HEADING "x,lamp,20000 mV,,500 mA,,10 ft,AWG 20,104 \xC2\xB0"
	                                                 "F\ny,lamp,20 V,,1 W,2 W,12 in,\"0,5 mm2\",-4 F\n"),
	                                "chain.csv", &a, &c, &e),
	                 FT_OK);
	close_to(c.devices[0].least_v, 20, 1e-9);
	close_to(c.devices[0].load[FT_SUPPLY_CONTINUOUS], 0.5, 1e-9);
	close_to(c.devices[0].length_m, 3.048, 1e-9);
	close_to(c.devices[0].temperature_c, 40, 1e-9);
	close_to(c.devices[1].area_mm2, 0.5, 1e-9);
	close_to(c.devices[1].temperature_c, -20, 1e-9);
	assert_true(c.devices[1].power && !c.devices[0].power);
	close_to(c.volts, 30.6, 1e-9);
	assert_int_equal(ft_supply_read(FT_SLICE(HEADING
	                                         "s,supply,33.5 V DC,,4 a,,,,\nx,lamp,20 vdc,,\"0,125 A\",,1 m,22 AWG,\n"),
	                                "chain.csv", &a, &c, &e),
	                 FT_OK);
	close_to(c.volts, 33.5, 1e-9);
	close_to(c.rating_a, 4, 1e-9);
	close_to(c.devices[0].load[FT_SUPPLY_CONTINUOUS], 0.125, 1e-9);
	ft_supply_template(&out);
	assert_int_equal(ft_supply_read(ft_buf_text(&out), "template", &a, &c, &e), FT_OK);
	/* an example that nobody has filled in must not pass for a measurement */
	assert_true(c.count == 4 && c.devices[0].unit && !c.measured && isnan(c.rating_a) && c.devices[0].assumed);
	ft_buf_done(&out);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(wire_by_its_table),
		cmocka_unit_test(the_bus_by_its_worked_values),
		cmocka_unit_test(drops_of_one_run),
		cmocka_unit_test(collapse_where_the_closed_form_says),
		cmocka_unit_test(volts_fall_and_more_load_never_raises_them),
		cmocka_unit_test(chains_are_judged),
		cmocka_unit_test(measured_at_the_plugs),
		cmocka_unit_test(short_peaks_and_capacitors),
		cmocka_unit_test(tables_that_cannot_be),
		cmocka_unit_test(units_are_what_they_say),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
