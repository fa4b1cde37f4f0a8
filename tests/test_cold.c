/* SPDX-License-Identifier: Apache-2.0 */
/* Logs as loggers write them, and the limits laid over them. */
#include <math.h>
#include <stdio.h>

#include "unit.h"

#include "fettle/buf.h"
#include "fettle/cold.h"
#include "fettle/time.h"

static enum ft_status read_as(const char *text, enum ft_cold_kind kind, const char *column, struct ft_arena *a,
                              struct ft_cold_log *log, struct ft_error *e)
{
	struct ft_cold_read_options o = { .kind = kind, .column = column };

	*e = (struct ft_error){ 0 };
	return ft_cold_read(ft_slice_of(text), "log.csv", &o, a, log, e);
}

/* Three rows of the same three readings, 4.0, 4.5 and 3.5 C at 10:00, 10:01 and 10:02, in many layouts. */
static const struct {
	const char *text, *column;
	enum ft_cold_unit unit;
	enum ft_cold_told told;
} layouts[] = {
	{ "time,temperature_c\n2026-11-25 10:00:00,4.0\n2026-11-25 10:01:00,4.5\n2026-11-25 10:02:00,3.5\n", NULL,
	  FT_COLD_C, FT_COLD_TOLD_HEADING },
	{ "time,temperature_f\n2026-11-25 10:00:00,39.2\n2026-11-25 10:01:00,40.1\n2026-11-25 10:02:00,38.3\n", NULL,
	  FT_COLD_F, FT_COLD_TOLD_HEADING },
	/* index, date and time apart, decimal comma, semicolons, degree sign in UTF-8 */
	{ "Nr.;Date;Time;Temp. (\xc2\xb0"
	  "C)\r\n1;25.11.2026;10:00:00;4,0\r\n2;25.11.2026;10:01:00;4,5\r\n3;25.11.2026;10:02:00;3,5\r\n",
	  NULL, FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* the degree sign of Latin-1, month first, twelve hours */
	{ "#,Date Time,\"Temp, \xb0"
	  "F\"\n1,11/25/2026 10:00:00 AM,39.2\n2,11/25/2026 10:01:00 AM,40.1\n3,11/25/2026 10:02:00 AM,38.3\n",
	  NULL, FT_COLD_F, FT_COLD_TOLD_HEADING },
	/* lines before the table, a row of units below the heading */
	{ "Logger,LX-1\nSerial,0042\n\nDate,Time,Probe 1\n,,degC\n2026-11-25,10:00,4.0\n2026-11-25,10:01,4.5\n2026-11-25,10:02,3.5\n",
	  NULL, FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* remarks, tabs */
	{ "# made at the door\ntime\ttemp c\n2026-11-25T10:00:00Z\t4.0\n# a remark\n2026-11-25T10:01:00Z\t4.5\n2026-11-25T10:02:00Z\t3.5\n",
	  NULL, FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* units in the cells */
	{ "time,temperature\n2026-11-25 10:00,4.0 C\n2026-11-25 10:01,4.5 C\n2026-11-25 10:02,3.5 C\n", NULL, FT_COLD_C,
	  FT_COLD_TOLD_VALUES },
	/* a column of units */
	{ "time,temperature,unit\n2026-11-25 10:00,39.2,F\n2026-11-25 10:01,40.1,F\n2026-11-25 10:02,38.3,F\n", NULL,
	  FT_COLD_F, FT_COLD_TOLD_VALUES },
	/* no heading at all; the unit by what a cold cabinet likely reads */
	{ "2026-11-25 10:00,4.0\n2026-11-25 10:01,4.5\n2026-11-25 10:02,3.5\n", NULL, FT_COLD_C, FT_COLD_TOLD_LIKELY },
	{ "2026-11-25;10:00;39,2\n2026-11-25;10:01;40,1\n2026-11-25;10:02;38,3\n", NULL, FT_COLD_F, FT_COLD_TOLD_LIKELY },
	/* several probes, one by its heading and one by its number */
	{ "time,upper (C),lower (C)\n2026-11-25 10:00,9,4.0\n2026-11-25 10:01,9,4.5\n2026-11-25 10:02,9,3.5\n", "lower (C)",
	  FT_COLD_C, FT_COLD_TOLD_HEADING },
	{ "time,upper (C),lower (C)\n2026-11-25 10:00,9,4.0\n2026-11-25 10:01,9,4.5\n2026-11-25 10:02,9,3.5\n", "3",
	  FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* newest first */
	{ "time,temperature_c\n2026-11-25 10:02:00,3.5\n2026-11-25 10:01:00,4.5\n2026-11-25 10:00:00,4.0\n", NULL,
	  FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* seconds since 1970, humidity beside it */
	{ "timestamp,humidity %rh,celsius\n1795600800,80,4.0\n1795600860,81,4.5\n1795600920,79,3.5\n", NULL, FT_COLD_C,
	  FT_COLD_TOLD_HEADING },
	/* one reading out of the way is no air (here the value of a probe just switched on), and gets no third row */
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,4.5\n2026-11-25 10:01:30,85\n2026-11-25 10:02,3.5\n",
	  NULL, FT_COLD_C, FT_COLD_TOLD_HEADING },
	/* headings that name no temperature */
	{ "when,cabinet\n2026-11-25 10:00,4.0\n2026-11-25 10:01,4.5\n2026-11-25 10:02,3.5\n", NULL, FT_COLD_C,
	  FT_COLD_TOLD_LIKELY },
};

static void test_layouts(void **state)
{
	static const double want[] = { 4.0, 4.5, 3.5 };
	const int64_t first = INT64_C(1795600800) * FT_SECOND; /* 2026-11-25T10:00Z */

	(void)state;
	for (size_t i = 0; i < sizeof layouts / sizeof *layouts; i++) {
		struct ft_arena a = { 0 };
		struct ft_cold_log log;
		struct ft_error e;
		if (read_as(layouts[i].text, FT_COLD_COLD, layouts[i].column, &a, &log, &e) != FT_OK)
			fail_msg("layout %zu: %s", i, e.text);
		assert_int_equal(log.count, 3);
		for (size_t k = 0; k < 3; k++) {
			assert_true(fabs(log.samples[k].c - want[k]) < 1e-9);
			if (log.samples[k].at_us != first + (int64_t)k * 60 * FT_SECOND)
				fail_msg("layout %zu, reading %zu: time is %lld", i, k, (long long)log.samples[k].at_us);
		}
		if (log.unit != layouts[i].unit || log.told != layouts[i].told)
			fail_msg("layout %zu: unit %d told by %d", i, (int)log.unit, (int)log.told);
		assert_int_equal(log.step_us, 60 * FT_SECOND);
		ft_arena_done(&a);
	}
}

static const struct {
	const char *text;
	enum ft_cold_kind kind;
	const char *says; /* part of the sentence */
} refused[] = {
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,400\n2026-11-25 10:02,4\n", FT_COLD_COLD,
	  "line 3: 400.0" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,-127\n", FT_COLD_COLD, "line 3: -127.0" },
	{ "time,temperature_f\n2026-11-25 10:00,40\n2026-11-25 10:01,3000\n", FT_COLD_COLD, "line 3: 3000.0 degrees F" },
	{ "time,temperature\n2026-11-25 10:00,4.0 C\n2026-11-25 10:01,39.2 F\n", FT_COLD_COLD, "line 3 is in degrees F" },
	{ "time,temperature,unit\n2026-11-25 10:00,4.0,C\n2026-11-25 10:01,39.2,F\n", FT_COLD_COLD,
	  "line 3 is in degrees F" },
	{ "time,temperature_c\n2026-11-25 10:00,39.2 F\n2026-11-25 10:01,39.2 F\n", FT_COLD_COLD,
	  "line 2 is in degrees F" },
	/* the values themselves change over: 4 C is 39.2 F */
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,4.0\n2026-11-25 10:02,39.2\n2026-11-25 10:03,39.4\n",
	  FT_COLD_COLD, "line 4: the values go from degrees C to degrees F" },
	{ "time,temperature\n2026-11-25 10:00,39.2\n2026-11-25 10:01,39.2\n2026-11-25 10:02,4\n2026-11-25 10:03,4\n",
	  FT_COLD_COLD, "line 4: the values go from degrees F to degrees C" },
	/* 20 may be 20 C in a warm cabinet or 20 F in a freezer: nothing tells */
	{ "time,temperature\n2026-11-25 10:00,20\n2026-11-25 10:01,20.5\n", FT_COLD_COLD, "--unit" },
	/* -14 C and -14 F are both a freezer's */
	{ "time,temperature\n2026-11-25 10:00,-14\n2026-11-25 10:01,-14.2\n", FT_COLD_FROZEN, "--unit" },
	{ "time,temperature_k\n2026-11-25 10:00,277.1\n2026-11-25 10:01,277.2\n", FT_COLD_COLD, "is in kelvin" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\nyesterday,4.0\n", FT_COLD_COLD, "line 3: \"yesterday\" is no time" },
	/* what is refused far down, where nothing is learned any more */
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,4.0\n26.11.2026 10:02,4.0\n", FT_COLD_COLD,
	  "line 4: \"26.11.2026 10:02\" is no time as the other lines have it" },
	{ "time,temperature_c\n25.11.2026 10:00,4.0\n11/26/2026 10:01,4.0\n", FT_COLD_COLD, "line 3: \"11/26/2026" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,4,5\n", FT_COLD_COLD, "line 3 has more columns" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,39.2 F\n", FT_COLD_COLD, "line 3 is in degrees F" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:01,1e308\n", FT_COLD_COLD, "line 3: 1e+308 degrees C" },
	{ "time,temp_c\n2026-11-25 10:00,4,0\n2026-11-25 10:01,4,5\n", FT_COLD_COLD, "decimal comma" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n", FT_COLD_COLD, "at least two" },
	{ "time,temperature_c\n2026-11-25 10:00,---\n2026-11-25 10:01,---\n", FT_COLD_COLD, "no temperature" },
	{ "time,temperature_c\n2026-11-25 10:00,4.0\n2026-11-25 10:00,4.0\n", FT_COLD_COLD, "one time" },
	{ "asset,model\nBD-1,x\n", FT_COLD_COLD, "no line has a time" },
	{ "", FT_COLD_COLD, "no line has a time" },
};

/* The minus sign that spreadsheets write, and a nought below nought. */
static void test_signs(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_cold_log log;
	struct ft_error e;

	(void)state;
	assert_int_equal(read_as("time,temperature_c\n2026-11-25 10:00,\xe2\x88\x92"
	                         "18.5\n2026-11-25 10:01,-0.0\n2026-11-25 10:02,\xe2\x88\x92\n",
	                         FT_COLD_FROZEN, NULL, &a, &log, &e),
	                 FT_OK);
	assert_int_equal(log.count, 2);
	assert_int_equal(log.missing, 1);
	assert_true(log.samples[0].c == -18.5 && log.samples[1].c == 0 && !signbit(log.samples[1].c));
	ft_arena_done(&a);
}

/* Words of a column of notes: each is taken for what it says, and what only holds such a word for nothing. */
static void test_notes(void **state)
{
	static const struct {
		const char *note;
		int kind; /* -1: no mark */
	} rows[] = { { "service done", FT_COLD_SERVICE },
		         { "Ice check", FT_COLD_ICE },
		         { "probe in ice", FT_COLD_ICE },
		         { "ice", FT_COLD_ICE },
		         { "notice sent", -1 },
		         { "logger download", -1 },
		         { "loaded warm", FT_COLD_SERVICE },
		         { "refilled", FT_COLD_SERVICE },
		         { "restocked", FT_COLD_SERVICE },
		         { "defrost", FT_COLD_DEFROST },
		         { "opened", FT_COLD_OPENED },
		         { "Door not closed", FT_COLD_OPENED },
		         { "door ajar", FT_COLD_OPENED },
		         { "Door open cleared", FT_COLD_CLOSED },
		         { "closed", FT_COLD_CLOSED },
		         { "battery low", -1 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_cold_log log;
		struct ft_error e;
		const char *text =
			ft_arena_printf(&a, "time,temperature_c,note\n2026-11-25 10:00,4.0,\n2026-11-25 10:01,4.5,%s\n",
		                    rows[i].note);
		assert_int_equal(read_as(text, FT_COLD_COLD, NULL, &a, &log, &e), FT_OK);
		if (log.mark_count != (rows[i].kind >= 0) || (log.mark_count && (int)log.marks[0].kind != rows[i].kind))
			fail_msg("\"%s\": %zu marks, the first of kind %d", rows[i].note, log.mark_count,
			         log.mark_count ? (int)log.marks[0].kind : -1);
		ft_arena_done(&a);
	}
}

static void test_refused(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
		struct ft_arena a = { 0 };
		struct ft_cold_log log;
		struct ft_error e;
		if (read_as(refused[i].text, refused[i].kind, NULL, &a, &log, &e) != FT_E_INPUT)
			fail_msg("case %zu was taken", i);
		if (!strstr(e.text, refused[i].says))
			fail_msg("case %zu: %s", i, e.text);
		ft_arena_done(&a);
	}
}

/* ---- logs made minute by minute ---- */

struct made {
	struct ft_buf text;
	int64_t us;
};

static void begin(struct made *m, const char *heading)
{
	*m = (struct made){ .us = INT64_C(1795600800) * FT_SECOND };
	ft_buf_printf(&m->text, "%s\n", heading);
}

static void row(struct made *m, double c, const char *mark)
{
	char t[FT_TIME_TEXT];

	ft_time_text(m->us, 0, t);
	ft_buf_printf(&m->text, "%s,%.2f,%s\n", t, c, mark);
	m->us += 60 * FT_SECOND;
}

static void rows(struct made *m, int minutes, double c)
{
	for (int i = 0; i < minutes; i++)
		row(m, c + (i % 2 ? 0.05 : 0), "");
}

struct judged {
	struct ft_arena a;
	struct ft_cold_log log;
	struct ft_findings f;
	struct ft_cold_result r;
};

static const struct ft_cold_options plain = {
	.limit_c = NAN, .allowance_s = -1, .guard_c = NAN, .probe_error_c = NAN, .room_c = NAN
};

static void judge(struct made *m, const struct ft_cold_options *o, struct judged *g)
{
	struct ft_cold_read_options ro = { .kind = o->kind };
	struct ft_error e = { 0 };

	*g = (struct judged){ 0 };
	g->f.arena = &g->a;
	if (ft_cold_read(ft_buf_text(&m->text), "log.csv", &ro, &g->a, &g->log, &e) != FT_OK)
		fail_msg("%s", e.text);
	assert_int_equal(ft_cold_judge(&g->log, o, &g->a, &g->f, &g->r, &e), FT_OK);
}

static bool found(const struct judged *g, enum ft_rule_id rule)
{
	for (size_t i = 0; i < g->f.count; i++)
		if (g->f.list[i].rule == rule)
			return true;
	return false;
}

static void done(struct made *m, struct judged *g)
{
	ft_buf_done(&m->text);
	ft_arena_done(&g->a);
}

/* A fitter's four readings at 20 minutes of the curve 25 to 3 C with 40 minutes, to a tenth: what three of them say. */
static void a_handful_of_readings(void **state)
{
	static const double read[] = { 25.0, 16.3, 11.1 };
	struct ft_cold_options o = plain;
	struct made m;
	struct judged g;
	const char *seen = NULL;

	(void)state;
	o.kind = FT_COLD_COLD;
	begin(&m, "time,temperature_c,note");
	for (size_t i = 0; i < 3; i++) {
		row(&m, read[i], "");
		m.us += 19 * 60 * FT_SECOND;
	}
	judge(&m, &o, &g);
	for (size_t i = 0; i < g.f.count; i++)
		seen = g.f.list[i].rule == FT_RULE_COLD_FEW_POINTS ? g.f.list[i].seen : seen;
	assert_non_null(seen);
	/* tau 38.86 min, 3.37 C: 38.86 ln(21.63 / 1.63) = 100.4 min */
	assert_string_equal(
		seen,
		"by three of 3 it has a time constant of 39 min, settles near 3.4 C, and passes 5.0 C 101 min after the first");
	assert_false(g.r.fit.found);
	done(&m, &g);
}

/* Decision check values of the sheet on the Food Code (3-501.16, 4-204.111): the limit itself passes, a tenth beyond it
 * fails once the 30 (hot: 120) minutes after service are over; limits are exclusive as worded. */
static void test_decisions(void **state)
{
	static const struct {
		enum ft_cold_kind kind;
		double c;
		int after; /* minutes after the closing at which one reading stands at c */
		bool fault;
	} cases[] = {
		{ FT_COLD_COLD, 5.0, 31, false },     { FT_COLD_COLD, 5.1, 32, true },     { FT_COLD_COLD, 5.1, 28, false },
		{ FT_COLD_HOT, 57.0, 121, false },    { FT_COLD_HOT, 56.9, 122, true },    { FT_COLD_HOT, 56.9, 118, false },
		{ FT_COLD_FROZEN, -18.0, 60, false }, { FT_COLD_FROZEN, -17.9, 60, true },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_cold_options o = plain;
		double good = cases[i].kind == FT_COLD_COLD ? 2 : cases[i].kind == FT_COLD_HOT ? 60 : -22;
		struct made m;
		struct judged g;
		o.kind = cases[i].kind;
		begin(&m, "time,temperature_c,door");
		rows(&m, 30, good);
		row(&m, good, "open");
		row(&m, good, "closed");
		rows(&m, cases[i].after - 1, good);
		row(&m, cases[i].c, "");
		rows(&m, 120, good);
		judge(&m, &o, &g);
		if (found(&g, FT_RULE_COLD_LIMIT) != cases[i].fault || (g.r.time_above_s > 0) != cases[i].fault)
			fail_msg("case %zu: %.1f s beyond the limit", i, g.r.time_above_s);
		assert_int_equal(g.r.verdict == FT_CONTRADICTED, cases[i].fault);
		done(&m, &g);
	}
}

/* Guard band of the sheet: with a probe of class 1 only 4.0 C and less proves cold, only 58 C and more proves hot. */
static void test_guard_band(void **state)
{
	static const struct {
		enum ft_cold_kind kind;
		double c, guard;
		enum ft_verdict verdict;
	} cases[] = {
		{ FT_COLD_COLD, 3.95, NAN, FT_SHOWN }, { FT_COLD_COLD, 4.0, NAN, FT_OPEN }, /* rows() adds 0.05 in turn */
		{ FT_COLD_COLD, 4.4, 0.5, FT_SHOWN },  { FT_COLD_HOT, 58.0, NAN, FT_SHOWN },
		{ FT_COLD_HOT, 57.9, NAN, FT_OPEN },   { FT_COLD_COLD, 2.0, 3.5, FT_OPEN },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_cold_options o = plain;
		struct made m;
		struct judged g;
		o.kind = cases[i].kind;
		o.guard_c = cases[i].guard;
		begin(&m, "time,temperature_c,door");
		rows(&m, 180, cases[i].c);
		judge(&m, &o, &g);
		if (g.r.verdict != cases[i].verdict)
			fail_msg("case %zu: verdict %s", i, ft_verdict_word(g.r.verdict));
		assert_int_equal(found(&g, FT_RULE_COLD_BAND), cases[i].verdict == FT_OPEN);
		assert_true(g.r.time_above_s == 0);
		done(&m, &g);
	}
}

/* 41 F is 5.000 C: passes. 45 F is 7.222 C, which some local codes allow. 135 F is 57.222 C. */
static void test_fahrenheit(void **state)
{
	struct ft_cold_options o = plain;
	struct made m;
	struct judged g;

	(void)state;
	begin(&m, "time,temperature_f,door");
	rows(&m, 90, 41 - 0.05);
	row(&m, 41, "");
	rows(&m, 90, 41 - 0.05);
	judge(&m, &o, &g);
	assert_true(g.r.time_above_s == 0);
	assert_true(fabs(g.r.most_c - 5.0) < 1e-9);
	done(&m, &g);
	o.limit_c = (45 - 32) / 1.8;
	begin(&m, "time,temperature_f,door");
	rows(&m, 90, 44.9);
	row(&m, 45.1, "");
	rows(&m, 90, 44.9);
	judge(&m, &o, &g);
	assert_true(fabs(g.r.limit_c - 7.222) < 0.001);
	assert_true(g.r.time_above_s > 0);
	done(&m, &g);
	/* 135 F are 57.222 C, which the code rounds to 57; 140 F are 60 C */
	o = plain;
	o.kind = FT_COLD_HOT;
	begin(&m, "time,temperature_f,door");
	rows(&m, 90, 139);
	row(&m, 140, "");
	row(&m, 135, "");
	rows(&m, 90, 139);
	judge(&m, &o, &g);
	assert_true(g.r.time_above_s == 0);
	assert_true(fabs(g.r.least_c - 57.222) < 0.0005 && fabs(g.r.most_c - 60) < 1e-9);
	done(&m, &g);
}

/* Time beyond the limit by straight lines between readings: 4 to 6 C in a minute passes 5 C in its middle. */
static void test_time_above(void **state)
{
	struct ft_cold_options o = plain;
	struct made m;
	struct judged g;

	(void)state;
	begin(&m, "time,temperature_c,door");
	rows(&m, 99, 4);
	row(&m, 4, "");
	for (int i = 0; i < 10; i++)
		row(&m, 6, "");
	rows(&m, 100, 4);
	judge(&m, &o, &g);
	assert_true(fabs(g.r.time_above_s - (9 * 60 + 60)) < 0.01);
	assert_true(fabs(g.r.longest_s - g.r.time_above_s) < 0.01);
	done(&m, &g);
}

/* A service: 20 minutes of warm air after the door are excused, 40 are not, of which 10 count. */
static void test_service(void **state)
{
	(void)state;
	for (int warm = 20; warm <= 40; warm += 20) {
		struct ft_cold_options o = plain;
		struct made m;
		struct judged g;
		begin(&m, "time,temperature_c,door");
		rows(&m, 120, 3);
		row(&m, 3, "open");
		rows(&m, 9, 8);
		row(&m, 8, "closed");
		rows(&m, warm - 1, 8);
		row(&m, 3, "");
		rows(&m, 120, 3);
		judge(&m, &o, &g);
		assert_int_equal(found(&g, FT_RULE_COLD_SLOW_RECOVERY), warm == 40);
		assert_int_equal(g.r.verdict, warm == 40 ? FT_CONTRADICTED : FT_SHOWN);
		if (warm == 40)
			assert_true(g.r.time_above_s > 9 * 60 && g.r.time_above_s < 10 * 60);
		else
			assert_true(g.r.excused_s > 28 * 60 && g.r.excused_s < 32 * 60);
		done(&m, &g);
	}
}

static void test_odds(void **state)
{
	struct ft_cold_options o = plain;
	struct made m;
	struct judged g;

	(void)state;
	begin(&m, "time,temperature_c,door");
	rows(&m, 100, 3);
	m.us += 20 * 60 * FT_SECOND; /* a gap of 21 minutes */
	rows(&m, 100, 3);
	m.us -= 60 * FT_SECOND; /* a row twice */
	row(&m, 3.05, "");
	m.us -= 3600 * FT_SECOND; /* summer time ends */
	rows(&m, 100, 3.2);
	row(&m, 3, "open");
	rows(&m, 100, 3.2);
	judge(&m, &o, &g);
	assert_true(found(&g, FT_RULE_COLD_GAP) && found(&g, FT_RULE_COLD_REPEATS) && found(&g, FT_RULE_COLD_CLOCK));
	assert_false(found(&g, FT_RULE_COLD_STUCK));
	assert_int_equal(g.log.repeats, 1);
	assert_int_equal(g.log.count, 401);
	for (size_t i = 1; i < g.log.count; i++)
		assert_true(g.log.samples[i].at_us > g.log.samples[i - 1].at_us);
	assert_int_equal(g.log.mark_count, 1); /* the mark went with its row */
	assert_true(g.log.marks[0].at_us == g.log.samples[300].at_us);
	assert_int_equal(g.r.verdict, FT_SHOWN);
	done(&m, &g);

	begin(&m, "time,temperature_c,door");
	rows(&m, 200, 3);
	for (int i = 0; i < 240; i++)
		row(&m, 3, "");
	judge(&m, &o, &g);
	assert_true(found(&g, FT_RULE_COLD_STUCK));
	assert_int_equal(g.r.verdict, FT_OPEN);
	done(&m, &g);
}

static void test_probe(void **state)
{
	static const struct {
		const char *mark;
		double error;
		bool fault;
	} cases[] = { { "2026-11-25T10:30:00Z,reference,2.5", 0.5, false },
		          { "2026-11-25T10:30:00Z,reference,4.6", -1.6, true },
		          { "2026-11-25T10:30:00Z,ice,0.9", 0.9, false },
		          { "2026-11-25T10:30:00Z,ice,1.1", 1.1, true } };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_cold_options o = plain;
		struct made m;
		struct judged g = { 0 };
		struct ft_cold_read_options ro = { 0 };
		struct ft_error e = { 0 };
		char marks[100];
		begin(&m, "time,temperature_c,door");
		rows(&m, 180, 3);
		g.f.arena = &g.a;
		snprintf(marks, sizeof marks, "time,mark,value\n%s\n", cases[i].mark);
		assert_int_equal(ft_cold_read(ft_buf_text(&m.text), "log.csv", &ro, &g.a, &g.log, &e), FT_OK);
		assert_int_equal(ft_cold_marks_read(ft_slice_of(marks), "marks.csv", 0, &g.a, &g.log, &e), FT_OK);
		assert_int_equal(ft_cold_judge(&g.log, &o, &g.a, &g.f, &g.r, &e), FT_OK);
		assert_true(fabs(g.r.probe_error_c - cases[i].error) < 0.001);
		assert_int_equal(found(&g, FT_RULE_COLD_PROBE_OFF), cases[i].fault);
		done(&m, &g);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_handful_of_readings),
		cmocka_unit_test(test_layouts),
		cmocka_unit_test(test_refused),
		cmocka_unit_test(test_signs),
		cmocka_unit_test(test_notes),
		cmocka_unit_test(test_decisions),
		cmocka_unit_test(test_guard_band),
		cmocka_unit_test(test_fahrenheit),
		cmocka_unit_test(test_time_above),
		cmocka_unit_test(test_service),
		cmocka_unit_test(test_odds),
		cmocka_unit_test(test_probe),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
