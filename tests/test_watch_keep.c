/* SPDX-License-Identifier: Apache-2.0 */
/* What came of a machine as bytes and back: nothing is lost, and bytes that are damaged are refused or harmless. */
#include "unit.h"

#include <stdlib.h>

#include "fettle/watch.h"

static struct ft_arena arena;

static struct ft_name_run runs[] = { { "HL-1", 7, 10, 20, 3, "HL-1_a.dts" }, { "HL-2", 7, 30, 40, 1, "HL-2_b.dts" } };

static struct ft_watch_result result(void)
{
	static struct ft_watch_day days[] = { { 20000, 1, 0, 2, true }, { 20001, 0, 1, 0, false } };
	static struct ft_exception exceptions[] = {
		{ (enum ft_rule_id)3, "21", 100, 200, FT_NEVER, 450, 0.75, "seen", "expected", "before", "after", true },
		{ (enum ft_rule_id)5, NULL, 1, 2, 3, FT_ABSENT, 1, NULL, NULL, NULL, NULL, false },
	};
	static struct ft_collection collections[] = { { .at_us = 5, .expected = 1200, .counted = FT_ABSENT, .seen = true },
		                                          { .at_us = 9, .by = "A. Clerk", .route = "", .bag = "7" } };
	static struct ft_card_day cards[] = { { 1, 2, 345 } };
	static struct ft_visit_seen visits[] = { { 4, 6, true } };
	static int64_t at[] = { 1, 2, 3 }, box[] = { 10, 20, -30 };

	return (struct ft_watch_result){ .key = "SN1 PLINTH",
		                             .asset = "HL-1",
		                             .name = "HL-1",
		                             .currency = "",
		                             .handover = "visit HL-1-1",
		                             .decimals = 2,
		                             .kept = 12,
		                             .days = days,
		                             .day_count = 2,
		                             .exceptions = exceptions,
		                             .exception_count = 2,
		                             .exception_room = 8,
		                             .collections = collections,
		                             .collection_count = 2,
		                             .cards = cards,
		                             .card_count = 1,
		                             .visits = visits,
		                             .visit_count = 1,
		                             .box_at_us = at,
		                             .box = box,
		                             .box_count = 3,
		                             .week_value = 77,
		                             .cash_variance = FT_ABSENT };
}

static struct ft_buf kept(void)
{
	struct ft_watch_result r = result();
	struct ft_buf out = { 0 };

	assert_true(ft_watch_keep(&r, runs, 2, &out));
	return out;
}

static void comes_back_whole(void **state)
{
	struct ft_buf out = kept();
	struct ft_watch_result was = result(), r;
	struct ft_name_run *list;
	size_t n;
	(void)state;

	assert_true(ft_watch_kept(ft_buf_text(&out), &arena, &r, &list, &n));
	ft_buf_done(&out); /* nothing points into the bytes */
	assert_string_equal(r.key, was.key);
	assert_string_equal(r.handover, was.handover);
	assert_string_equal(r.currency, "");
	assert_null(r.serial);
	assert_true(r.kept == 12 && r.week_value == 77 && r.cash_variance == FT_ABSENT && r.decimals == 2);
	assert_memory_equal(r.days, was.days, sizeof(struct ft_watch_day) * 2);
	assert_memory_equal(r.cards, was.cards, sizeof(struct ft_card_day));
	assert_true(r.visits[0].from_us == 4 && r.visits[0].at_us == 6 && r.visits[0].sure);
	assert_true(r.box_at_us[2] == 3 && r.box[2] == -30);
	assert_true(r.exceptions[0].rule == 3 && r.exceptions[0].acknowledged && r.exceptions[0].money == 450);
	assert_string_equal(r.exceptions[0].selection, "21");
	assert_string_equal(r.exceptions[0].after, "after");
	assert_null(r.exceptions[1].seen);
	assert_null(r.collections[0].by);
	assert_string_equal(r.collections[1].by, "A. Clerk");
	assert_string_equal(r.collections[1].route, "");
	assert_int_equal(n, 2);
	assert_string_equal(list[1].name, "HL-2");
	assert_string_equal(list[1].file, "HL-2_b.dts");
	assert_true(list[1].first_us == 30 && list[1].count == 1);
	/* and can be gone on with */
	assert_true(r.arena == &arena);
	assert_non_null(ft_watch_raise(&r, (enum ft_rule_id)1, NULL, 1, 2));
	assert_int_equal(r.exception_count, 3);
	assert_string_equal(r.exceptions[0].seen, "seen");
	ft_arena_done(&arena);
}

static void refuses_what_is_cut(void **state)
{
	struct ft_buf out = kept();
	(void)state;

	for (size_t n = 0; n < out.n; n++) {
		struct ft_watch_result r;
		struct ft_name_run *list;
		size_t count;
		char *exact = malloc(n + !n); /* so that a sanitizer sees a byte too far */
		assert_non_null(exact);
		memcpy(exact, out.p, n);
		assert_false(ft_watch_kept((struct ft_slice){ exact, n }, &arena, &r, &list, &count));
		assert_int_equal(count, 0);
		free(exact);
		ft_arena_done(&arena);
	}
	ft_buf_done(&out);
}

static void is_not_led_astray(void **state)
{
	struct ft_buf out = kept();
	size_t refused = 0;
	(void)state;

	for (size_t i = 0; i < out.n; i++) {
		struct ft_watch_result r;
		struct ft_name_run *list;
		size_t count;
		out.p[i] = (char)~out.p[i];
		refused += !ft_watch_kept(ft_buf_text(&out), &arena, &r, &list, &count);
		out.p[i] = (char)~out.p[i];
		ft_arena_done(&arena);
	}
	assert_true(refused > 50); /* counts and rules that cannot be */
	ft_buf_done(&out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(comes_back_whole),
		cmocka_unit_test(refuses_what_is_cut),
		cmocka_unit_test(is_not_led_astray),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
