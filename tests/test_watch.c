/* SPDX-License-Identifier: Apache-2.0 */
/* The statistics of the watch against published values, and its streams. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "fettle/weeks.h"

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
		{ "HALL 3 LEFT_20260301T0600.dts", "HALL 3 LEFT", INT64_C(1772344800000000) },
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

/* ---- handovers ---- */

#define NOON INT64_C(1772366400000000) /* 2026-03-01 12:00 */

enum { LIFE_DAYS = 10, LIFE_CELLS = 3 };

/* A machine handed over on the first day and read on each day after: serial M1, reader R1, board B1, unit U1. */
struct handed {
	struct ft_watch_cell cells[LIFE_DAYS + 1][LIFE_CELLS];
	struct ft_watch_read reads[LIFE_DAYS + 1]; /* the first is that of the handover */
	char files[LIFE_DAYS + 1][40];
	struct ft_baseline base;
	struct ft_arena arena;
	struct ft_watch_result result;
};

static void live(struct handed *h)
{
	static const char *const ids[LIFE_CELLS] = { "11", "12", "13" };

	*h = (struct handed){ 0 };
	for (int day = 0; day <= LIFE_DAYS; day++) {
		struct ft_watch_read *r = &h->reads[day];
		for (int i = 0; i < FT_WATCH_TEXTS; i++)
			r->text[i] = FT_SLICE("");
		for (int i = 0; i < FT_WATCH_NUMBERS; i++)
			r->number[i] = FT_ABSENT;
		snprintf(h->files[day], sizeof h->files[day], "U1_202603%02dT1200.dts", day + 1);
		r->text[FT_WATCH_SERIAL] = FT_SLICE("M1");
		r->text[FT_WATCH_BOARD] = FT_SLICE("B1");
		r->text[FT_WATCH_READER] = FT_SLICE("R1");
		r->text[FT_WATCH_FILE] = ft_slice_of(h->files[day]);
		r->number[FT_WATCH_ARRIVED] = NOON + day * FT_DAY;
		r->number[FT_WATCH_DECIMALS] = 2;
		r->number[FT_WATCH_PAID_COUNT] = 9000 + day * 30;
		r->number[FT_WATCH_PAID_VALUE] = 1350000 + day * 4500;
		r->number[FT_WATCH_CASH_IN] = 1400000 + day * 4500;
		r->content = (uint64_t)day + 1;
		r->cells = h->cells[day];
		r->cell_count = LIFE_CELLS;
		for (int i = 0; i < LIFE_CELLS; i++)
			r->cells[i] =
				(struct ft_watch_cell){ ft_slice_of(ids[i]), 150, 3000 + day * 10, 450000 + day * 1500, false };
	}
	h->base = (struct ft_baseline){ &h->reads[0], "visit X-1", "U1", "X", NOON };
}

static const struct ft_exception *judge(struct handed *h, enum ft_rule_id rule, size_t wanted)
{
	static struct handed own;
	struct ft_error e = { 0 };
	const struct ft_exception *found = NULL;

	ft_arena_done(&own.arena);
	own = *h;
	assert_int_equal(ft_watch_judge("M1", own.reads + 1, LIFE_DAYS, &h->base, NOON + LIFE_DAYS * FT_DAY, &own.arena,
	                                &own.result, &e),
	                 FT_OK);
	h->result = own.result;
	for (size_t i = 0; i < h->result.exception_count; i++)
		if (h->result.exceptions[i].rule == rule)
			found = &h->result.exceptions[i];
	if (h->result.exception_count != wanted || (wanted && !found))
		fail_msg("%zu exceptions, the first %s", h->result.exception_count,
		         h->result.exception_count ? ft_rule(h->result.exceptions[0].rule)->id : "none");
	return found;
}

static void honest(void **state)
{
	struct handed h;

	(void)state;
	live(&h);
	judge(&h, FT_RULE_NONE, 0);
	assert_string_equal(h.result.handover, "visit X-1");
	assert_int_equal(h.result.since_arrived, LIFE_DAYS);
	assert_int_equal(h.result.since_expected, LIFE_DAYS);
	assert_int_equal(h.result.since_sold, LIFE_DAYS * 30);
	assert_int_equal(h.result.since_value, LIFE_DAYS * 4500);
}

/* What was fitted is another by the first audit, or later on; put back it is over. */
static void parts(void **state)
{
	const struct ft_exception *x;
	struct handed h;

	(void)state;
	live(&h);
	for (int day = 1; day <= LIFE_DAYS; day++)
		h.reads[day].text[FT_WATCH_BOARD] = FT_SLICE("B2");
	x = judge(&h, FT_RULE_WATCH_BOARD_EXCHANGED, 1);
	assert_string_equal(x->expected, "B1 as handed over (visit X-1)");
	assert_null(x->before);
	assert_string_equal(x->after, h.files[1]);
	live(&h);
	for (int day = 4; day <= 6; day++)
		h.reads[day].text[FT_WATCH_READER] = FT_SLICE("R2");
	x = judge(&h, FT_RULE_WATCH_UNIT_DIFFERS, 1);
	assert_string_equal(x->seen, "the card reader is R2");
	assert_string_equal(x->expected, "R1 as handed over (visit X-1)");
	assert_int_equal(x->since_us, NOON + 4 * FT_DAY);
	assert_int_equal(x->ended_us, NOON + 7 * FT_DAY);
	live(&h);
	for (int day = 5; day <= LIFE_DAYS; day++)
		h.files[day][1] = '2';
	x = judge(&h, FT_RULE_WATCH_UNIT_DIFFERS, 1);
	assert_string_equal(x->seen, "its audits come under the name U2");
	assert_true(x->ended_us == FT_NEVER);
	/* an office that names audits after the place says nothing of units */
	h.base.unit = "something else";
	judge(&h, FT_RULE_NONE, 0);
}

static void counters(void **state)
{
	const struct ft_exception *x;
	struct handed h;

	(void)state;
	live(&h);
	h.reads[0].number[FT_WATCH_PAID_COUNT] = 9500; /* only the handover knows that it was higher */
	x = judge(&h, FT_RULE_WATCH_COUNTER_FELL, 1);
	assert_string_equal(x->seen, "the number of paid sales since initialisation (VA102) fell to 9030");
	assert_string_equal(x->expected, "at least 9500 as handed over (visit X-1)");
	assert_null(x->before);
	live(&h);
	for (int i = 1; i <= LIFE_DAYS; i++)
		h.reads[i].text[FT_WATCH_CURRENCY] = FT_SLICE("USD");
	h.reads[0].number[FT_WATCH_PAID_VALUE] = 1897500; /* money is told as money of the machine */
	x = judge(&h, FT_RULE_WATCH_COUNTER_FELL, 1);
	assert_string_equal(x->seen, "the value of paid sales since initialisation (VA101) fell to 13545.00 USD");
	assert_string_equal(x->expected, "at least 18975.00 USD as handed over (visit X-1)");
	live(&h);
	for (int i = FT_WATCH_PAID_VALUE; i <= FT_WATCH_PAID_COUNT; i++)
		h.reads[0].number[i] += 100000000;
	x = judge(&h, FT_RULE_WATCH_COUNTERS_ANEW, 1);
	assert_string_equal(x->seen, "2 of 3 totals are lower than at the handover (visit X-1)");
	/* reads from before the handover tell it already, and once is enough */
	live(&h);
	h.base.at_us = NOON + 4 * FT_DAY + FT_DAY / 4;
	h.reads[0].number[FT_WATCH_PAID_COUNT] = h.reads[4].number[FT_WATCH_PAID_COUNT] = 9500;
	judge(&h, FT_RULE_WATCH_COUNTER_FELL, 1);
}

static void prices(void **state)
{
	const struct ft_exception *x;
	struct handed h;

	(void)state;
	live(&h);
	h.cells[0][1].price = 175;
	x = judge(&h, FT_RULE_WATCH_PRICE_DIFFERS, 1);
	assert_string_equal(x->seen, "selection 12 costs 1.50");
	assert_string_equal(x->expected, "1.75 as handed over (visit X-1)");
	/* changed at the handover itself: what it was before is settled */
	live(&h);
	h.base.at_us = NOON + 4 * FT_DAY + FT_DAY / 4;
	h.cells[0][1].price = 175;
	for (int day = 5; day <= LIFE_DAYS; day++)
		h.cells[day][1].price = 175;
	judge(&h, FT_RULE_NONE, 0);
	assert_int_equal(h.result.since_arrived, LIFE_DAYS - 4);
}

/* What sold before the fit and never since: a conditional test on its share, allowing that it sells a third as well. */
static void never(void **state)
{
	const struct ft_exception *x;
	struct handed h;

	(void)state;
	live(&h);
	for (int day = 0; day <= LIFE_DAYS; day++)
		h.cells[day][2].count = 3000;
	x = judge(&h, FT_RULE_WATCH_NEVER_SOLD, 1);
	assert_string_equal(x->selection, "13");
	/* 27000 / (27000 + sold) to the 3000th: 73 sold are enough for a chance of one in three thousand */
	assert_int_equal(x->seen_us, NOON + 4 * FT_DAY);
	near(x->sure, 1 - 3 * exp(3000 * log(27000.0 / (27000 + 90))), 1e-9);
	/* sold between the handover and the first audit */
	h.cells[0][2].count = 2999;
	judge(&h, FT_RULE_NONE, 0);
}

/* The last read of a machine whose clock lost its time stays where it arrived; a late copy goes where it was read. */
static void order(void **state)
{
	const struct ft_exception *x;
	struct handed h;

	(void)state;
	for (int days = 3; days <= 900; days += 897) {
		live(&h);
		for (int day = 0; day <= LIFE_DAYS; day++)
			h.reads[day].number[FT_WATCH_CLOCK] = NOON + day * FT_DAY;
		h.reads[LIFE_DAYS].number[FT_WATCH_CLOCK] -= days * FT_DAY;
		judge(&h, FT_RULE_NONE, 0);
		assert_int_equal(h.result.late, 0);
		assert_int_equal(h.result.last_us, NOON + LIFE_DAYS * FT_DAY);
	}
	live(&h);
	for (int day = 0; day <= LIFE_DAYS; day++)
		h.reads[day].number[FT_WATCH_CLOCK] = NOON + day * FT_DAY;
	h.reads[5].number[FT_WATCH_ARRIVED] += 3 * FT_DAY + FT_DAY / 3;
	judge(&h, FT_RULE_NONE, 0);
	assert_int_equal(h.result.late, 1);
	/* also when it is the first of all, read before any arrived */
	live(&h);
	for (int day = 0; day <= LIFE_DAYS; day++)
		h.reads[day].number[FT_WATCH_CLOCK] = NOON + day * FT_DAY;
	h.reads[1].number[FT_WATCH_ARRIVED] += 2 * FT_DAY + FT_DAY / 3;
	judge(&h, FT_RULE_NONE, 0);
	assert_int_equal(h.result.late, 1);
	/* where three in a row say so it is the clock */
	live(&h);
	for (int day = 0; day <= LIFE_DAYS; day++)
		h.reads[day].number[FT_WATCH_CLOCK] = NOON + day * FT_DAY - (day > 6 ? 900 * FT_DAY : 0);
	x = judge(&h, FT_RULE_WATCH_CLOCK_OFF, 1);
	assert_int_equal(x->since_us, NOON + 7 * FT_DAY);
}

/* The table of the weeks after says back what went in, and nothing of it can be made to lie outside. */
static void weeks(void **state)
{
	struct ft_weeks_told all = { true, true, true }, none = { false, false, false };
	struct ft_weeks w, got, later;
	struct ft_buf out = { 0 };
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	struct handed h;

	(void)state;
	live(&h);
	h.cells[0][1].price = 175;
	judge(&h, FT_RULE_WATCH_PRICE_DIFFERS, 1);
	ft_watch_raise(&h.result, FT_RULE_WATCH_DOOR_UNEXPLAINED, NULL, NOON + FT_DAY, NOON + FT_DAY)->seen = "a, \"b\"";
	ft_watch_raise(&h.result, FT_RULE_WATCH_POWER_CUTS, NULL, NOON + FT_DAY, NOON + FT_DAY);
	ft_watch_raise(&h.result, FT_RULE_WATCH_CASH_SHORT, NULL, NOON - FT_DAY, NOON - FT_DAY); /* before the handover */
	ft_watch_raise(&h.result, FT_RULE_WATCH_CASH_SHORT, NULL, NOON + FT_DAY, NOON + FT_DAY)->acknowledged = true;
	h.result.since_openings = 7;
	assert_int_equal(ft_weeks_of(&h.result, NOON + 10 * FT_DAY, all, NULL, &a, &w, &e), FT_OK);
	assert_int_equal(w.found_count, 2);
	ft_weeks_write(&w, &out);
	assert_true(ft_weeks_is(ft_buf_text(&out)));
	assert_int_equal(ft_weeks_read(ft_buf_text(&out), "weeks", &a, &got, &e), FT_OK);
	assert_memory_equal(got.fact, w.fact, sizeof w.fact);
	assert_int_equal(got.found_count, 2);
	for (size_t i = 0; i < 2; i++) {
		assert_int_equal(got.found[i].rule, w.found[i].rule);
		assert_string_equal(got.found[i].seen, w.found[i].seen);
		assert_int_equal(got.found[i].seen_us, w.found[i].seen_us);
	}
	/* a run that is not told of doors keeps what is known of them, and judges the rest anew */
	h.result.exception_count = h.result.since_openings = 0;
	assert_int_equal(ft_weeks_of(&h.result, NOON + 11 * FT_DAY, none, &got, &a, &later, &e), FT_OK);
	assert_int_equal(later.fact[FT_WEEKS_OPENINGS], 7);
	assert_int_equal(later.fact[FT_WEEKS_DOORS_UNTIL], NOON + 10 * FT_DAY);
	assert_int_equal(later.found_count, 1);
	assert_int_equal(later.found[0].rule, FT_RULE_WATCH_DOOR_UNEXPLAINED);
	for (size_t cut = 0; cut < out.n; cut++)
		if (ft_weeks_read((struct ft_slice){ out.p, cut }, "weeks", &a, &got, &e) == FT_OK)
			assert_true(got.found_count <= 2);
	assert_int_equal(ft_weeks_read(FT_SLICE("what,value\nfrom,noon\n"), "weeks", &a, &got, &e), FT_E_INPUT);
	ft_buf_done(&out);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(poisson), cmocka_unit_test(conditional), cmocka_unit_test(garwood), cmocka_unit_test(cusum),
		cmocka_unit_test(ewma),    cmocka_unit_test(names),       cmocka_unit_test(streams), cmocka_unit_test(honest),
		cmocka_unit_test(parts),   cmocka_unit_test(counters),    cmocka_unit_test(prices),  cmocka_unit_test(never),
		cmocka_unit_test(weeks),   cmocka_unit_test(order),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
