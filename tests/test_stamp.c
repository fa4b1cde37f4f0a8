/* SPDX-License-Identifier: Apache-2.0 */
/* How columns of times are written, and figures with point or comma. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "fettle/stamp.h"
#include "fettle/time.h"

static int64_t at(const char *iso)
{
	int64_t us = -1;

	assert_true(ft_time_parse(ft_slice_of(iso), 0, &us));
	return us;
}

struct column {
	const char *values[4];
	const char *iso[4]; /* what they mean; NULL at [0]: the column is refused */
	enum ft_stamp_order order;
	bool ambiguous;
};

static void columns_are_learned(void **state)
{
	static const struct column columns[] = {
		{ { "2026-11-25 14:03:05", "2026/11/25 14:03" },
		  { "2026-11-25T14:03:05Z", "2026-11-25T14:03:00Z" },
		  FT_STAMP_YEAR_FIRST,
		  false },
		{ { "2026-11-25T14:03:05.250+01:00" }, { "2026-11-25T13:03:05.250Z" }, FT_STAMP_YEAR_FIRST, false },
		{ { "25.11.2026 14:03", "26.11.2026 14:03" },
		  { "2026-11-25T14:03:00Z", "2026-11-26T14:03:00Z" },
		  FT_STAMP_DAY_FIRST,
		  false },
		{ { "03.04.26 09:00" }, { "2026-04-03T09:00:00Z" }, FT_STAMP_DAY_FIRST, false },
		/* nothing tells: with AM and PM the month is taken to stand first, and it stays unsure */
		{ { "03/04/26 9:00 AM", "03/04/26 9:05 PM" },
		  { "2026-03-04T09:00:00Z", "2026-03-04T21:05:00Z" },
		  FT_STAMP_MONTH_FIRST,
		  true },
		/* two events a day apart, or a month: the shorter way is taken, and it stays unsure */
		{ { "11/03/2026 9:00 AM", "12/03/2026 9:00 AM" },
		  { "2026-03-11T09:00:00Z", "2026-03-12T09:00:00Z" },
		  FT_STAMP_DAY_FIRST,
		  true },
		/* over midnight within a minute: no month passes there */
		{ { "11/03/2026 11:59 PM", "12/03/2026 12:00 AM" },
		  { "2026-03-11T23:59:00Z", "2026-03-12T00:00:00Z" },
		  FT_STAMP_DAY_FIRST,
		  false },
		{ { "03.04.26 9:00 AM" }, { "2026-04-03T09:00:00Z" }, FT_STAMP_DAY_FIRST, false },
		{ { "03/04/26 09:00" }, { "2026-04-03T09:00:00Z" }, FT_STAMP_DAY_FIRST, true },
		/* only the last value tells that the month stands first */
		{ { "11/11/2026 11:59 PM", "11/12/2026 12:00 AM", "11/13/2026 1:00 pm" },
		  { "2026-11-11T23:59:00Z", "2026-11-12T00:00:00Z", "2026-11-13T13:00:00Z" },
		  FT_STAMP_MONTH_FIRST,
		  false },
		/* no value tells, but read day first time would leap by months */
		{ { "1/2/2026 10:00", "1/3/2026 10:00", "1/4/2026 10:00" },
		  { "2026-01-02T10:00:00Z", "2026-01-03T10:00:00Z", "2026-01-04T10:00:00Z" },
		  FT_STAMP_MONTH_FIRST,
		  false },
		{ { "1/2/2026 10:00", "2/2/2026 10:00", "3/2/2026 10:00" },
		  { "2026-02-01T10:00:00Z", "2026-02-02T10:00:00Z", "2026-02-03T10:00:00Z" },
		  FT_STAMP_DAY_FIRST,
		  false },
		{ { "1764079385", "1764079386.5" },
		  { "2025-11-25T14:03:05Z", "2025-11-25T14:03:06.5Z" },
		  FT_STAMP_UNIX,
		  false },
		{ { "1764079385250" }, { "2025-11-25T14:03:05.250Z" }, FT_STAMP_UNIX, false },
		{ { "0", "60,5" }, { "1970-01-01T00:00:00Z", "1970-01-01T00:01:00.5Z" }, FT_STAMP_ELAPSED, false },
		{ { "25.11.2026 14:03", "2026-11-25 14:03" }, { NULL }, 0, false },
		{ { "13/11/2026 14:03", "11/13/2026 14:03" }, { NULL }, 0, false },
		{ { "60", "2026-11-25 14:03" }, { NULL }, 0, false },
	};

	(void)state;
	for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
		const struct column *c = &columns[i];
		struct ft_stamp_form f = { 0 };
		struct ft_error e = { 0 };
		for (size_t n = 0; n < 4 && c->values[n]; n++)
			assert_true(ft_stamp_learn(&f, ft_slice_of(c->values[n]), (struct ft_slice){ 0 }));
		if (!c->iso[0]) {
			assert_int_equal(ft_stamp_settle(&f, "the log", &e), FT_E_INPUT);
			continue;
		}
		assert_int_equal(ft_stamp_settle(&f, "the log", &e), FT_OK);
		assert_int_equal(f.order, c->order);
		assert_int_equal(f.ambiguous, c->ambiguous);
		for (size_t n = 0; n < 4 && c->values[n]; n++) {
			int64_t us = 0;
			assert_true(ft_stamp_read(&f, ft_slice_of(c->values[n]), (struct ft_slice){ 0 }, &us, NULL));
			if (us != at(c->iso[n]))
				fail_msg("%s was read %lld us off", c->values[n], (long long)(us - at(c->iso[n])));
		}
	}
}

static void time_of_day_may_have_its_own_column(void **state)
{
	struct ft_stamp_form f = { .default_offset_minutes = 60 };
	struct ft_error e = { 0 };
	int64_t us = 0;
	int offset = 0;

	(void)state;
	assert_true(ft_stamp_learn(&f, FT_SLICE("25/11/2026"), FT_SLICE(" 02:03:05 PM")));
	assert_int_equal(ft_stamp_settle(&f, "the log", &e), FT_OK);
	assert_true(ft_stamp_read(&f, FT_SLICE("25/11/2026"), FT_SLICE(" 02:03:05 PM"), &us, &offset));
	assert_true(us == at("2026-11-25T13:03:05Z"));
	assert_int_equal(offset, 60);
	assert_true(ft_stamp_read(&f, FT_SLICE("25/11/2026"), FT_SLICE("14:03-05:00"), &us, &offset));
	assert_true(us == at("2026-11-25T19:03:00Z"));
	assert_int_equal(offset, -300);
	assert_false(ft_stamp_read(&f, FT_SLICE("25/11/2026 14:03"), FT_SLICE("14:03"), &us, NULL));
}

static void no_times(void **state)
{
	static const char *const wrong[] = { "",
		                                 "door",
		                                 "2026-02-30 10:00",
		                                 "2026-11-25 25:00",
		                                 "2026-11-25 10:61",
		                                 "25-11.2026",
		                                 "13:00 PM",
		                                 "2026-11-25 0:00 PM",
		                                 "2026-11-25 10:00+25:00",
		                                 "32/13/2026",
		                                 "2026-11-25 10:00 x",
		                                 "1e400",
		                                 "--5" };

	(void)state;
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
		struct ft_stamp_form f = { 0 };
		if (ft_stamp_learn(&f, ft_slice_of(wrong[i]), (struct ft_slice){ 0 }))
			fail_msg("%s was taken for a time", wrong[i]);
	}
}

static void figures(void **state)
{
	static const struct {
		const char *text;
		bool good;
		double value;
	} rows[] = { { "5", true, 5 },      { "-0.5", true, -0.5 }, { " 4,25 ", true, 4.25 }, { "+1e-3", true, 0.001 },
		         { ".5", true, 0.5 },   { "1.5E2", true, 150 }, { "", false, 0 },         { "-", false, 0 },
		         { "1.2.3", false, 0 }, { "5 C", false, 0 },    { "1e", false, 0 },       { "nan", false, 0 },
		         { "1e999", false, 0 }, { "1,234.5", false, 0 } };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double v = 0;
		assert_int_equal(ft_figure(ft_slice_of(rows[i].text), &v), rows[i].good);
		if (rows[i].good)
			assert_true(v > rows[i].value - 1e-12 && v < rows[i].value + 1e-12);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(columns_are_learned),
		cmocka_unit_test(time_of_day_may_have_its_own_column),
		cmocka_unit_test(no_times),
		cmocka_unit_test(figures),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
