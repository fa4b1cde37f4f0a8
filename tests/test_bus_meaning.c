/* SPDX-License-Identifier: Apache-2.0 */
/* What exchanges mean: the worked exchanges told in words, money by scale and width, messages and commands by name.
 * Amounts and currencies are the worked examples of MDB/ICP 6.7 (computed from its rule). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "bus_scene.h"

static const char *folder;

static void worked_exchanges_are_told(void **state)
{
	struct play_row *rows;
	struct scene s;
	struct ft_slice told, line;
	size_t n;

	(void)state;
	scene_begin(&s);
	n = play_rows(folder, &s.a, &rows);
	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w[128];
		scene_feed(&s, w, play_words(&rows[i], &s.at_ns, w));
	}
	scene_end(&s);
	told = ft_buf_text(&s.told);
	for (size_t i = 0; i < n; i++) {
		assert_true(ft_slice_split(&told, '\n', &line));
		if (!ft_slice_eq(line, rows[i].told))
			fail_msg("row %u is told as \"%.*s\", not as \"%.*s\"", rows[i].row, FT_P(line), FT_P(rows[i].told));
	}
	/* the cash sale, the card sale, and the long one that the rows leave open */
	assert_int_equal(s.r->decimals, 2);
	assert_int_equal(s.r->sale_count, 3);
	assert_true(!s.r->sales[0].card && s.r->sales[0].price == 150 && s.r->sales[0].item == 12);
	assert_true(s.r->sales[1].card && s.r->sales[1].approved == 150 && s.r->sales[1].outcome == FT_BUS_SOLD);
	assert_int_equal(s.r->sales[2].outcome, FT_BUS_PENDING);
	assert_int_equal(s.r->money_count, 7);
	scene_done(&s);
}

static void a_setup_heard_late_gives_values_after_all(void **state)
{
	struct scene s;

	(void)state;
	scene_begin(&s);
	scene_row(&s, "0B* 0B", "45 00 45*", "00");
	scene_row(&s, "13* 00 00 96 00 0C B5", "00*", "");
	scene_row(&s, "12* 12", "05 00 96 9B*", "00");
	scene_row(&s, "13* 02 00 0C 21", "00*", "");
	scene_setups(&s);
	scene_end(&s);
	assert_int_equal(s.r->sale_count, 1);
	assert_true(s.r->sales[0].price == 150 && s.r->sales[0].approved == 150);
	assert_true(s.r->money_count == 1 && s.r->money[0].value == 200);
	scene_done(&s);
}

/* Money keeps the worth it had when it moved, whatever a device says of itself later; all in the most decimals. */
static void a_later_setup_changes_no_earlier_money(void **state)
{
	struct scene s;
	char text[200];

	(void)state;
	scene_begin(&s);
	scene_setups(&s);
	scene_say(&s, "0B", "45 00", "00");
	scene_say(&s, "13 05 00 96 00 0C", "ack", "");
	scene_say(&s, "09", "03 19 78 01 00 00 0F 01 02 05", "00"); /* another changer: whole units, no decimals */
	scene_say(&s, "11 00 03 00 00 01", "01 03 19 78 64 03 05 09", "00");
	scene_say(&s, "0B", "41 00", "00");
	scene_say(&s, "13 05 00 0F 00 0C", "ack", "");
	scene_end(&s);
	assert_int_equal(s.r->decimals, 3);
	scene_money(&s, text, sizeof text);
	assert_string_equal(text, "cash box 2.000, cash box 2.000");
	scene_sales(&s, text, sizeof text);
	assert_string_equal(text, "cash 1.500 item 12 sold, cash 1.500 item 12 sold");
	scene_done(&s);
}

/* Numbers on the bus for 1.50 under three scales (MDB/ICP 6.7), and both widths of money. */
static void money_by_scale_and_width(void **state)
{
	static const struct {
		const char *setup, *sum, *request;
	} cases[] = {
		{ "01 03 19 78 01 02 05 09 A6*", "", "13* 00 00 96 00 0C B5" },
		{ "01 03 19 78 05 02 05 09 AA*", "", "13* 00 00 1E 00 0C 3D" },
		{ "01 03 19 78 0A 02 05 09 AF*", "", "13* 00 00 0F 00 0C 2E" },
	};
	struct scene s;

	(void)state;
	for (size_t i = 0; i < 3; i++) {
		scene_begin(&s);
		scene_row(&s, "11* 00 03 00 00 01 15", cases[i].setup, "00");
		scene_row(&s, cases[i].request, "00*", "");
		scene_end(&s);
		assert_int_equal(s.r->sale_count, 1);
		assert_true(s.r->sales[0].price == 150 && s.r->sales[0].decimals == 2);
		scene_done(&s);
	}
	scene_begin(&s);
	scene_row(&s, "11* 00 03 00 00 01 15", "01 03 19 78 01 02 05 09 A6*", "00");
	scene_row(&s, "17* 04 00 00 00 02 1D", "00*", "");
	scene_row(&s, "13* 00 00 00 00 96 00 0C B5", "00*", "");
	scene_row(&s, "12* 12", "05 00 00 00 96 9B*", "00");
	scene_row(&s, "13* 05 00 00 00 96 00 0C 19 78 4B", "00*", ""); /* a cash sale in its long form */
	scene_end(&s);
	assert_true(s.r->devices[2].wide_money);
	assert_int_equal(s.r->sale_count, 2);
	for (size_t i = 0; i < 2; i++)
		assert_true(s.r->sales[i].price == 150 && s.r->sales[i].item == 12);
	scene_done(&s);
}

static void currencies_by_number_and_by_prefix(void **state)
{
	static const struct {
		uint16_t code;
		const char *text;
	} cases[] = { { 0x1978, "EUR" }, { 0x1826, "GBP" }, { 0x1840, "USD" }, { 0x1756, "CHF" },
		          { 0x1203, "CZK" }, { 0x1036, "AUD" }, { 0xFFFF, "" },    { 0x0001, "country prefix 001" } };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		char text[24];
		ft_bus_currency(cases[i].code, text);
		assert_string_equal(text, cases[i].text);
	}
}

/* Messages chained in one answer, the surplus byte of a published capture, an identity given on a later POLL. */
static void answers_of_many_kinds(void **state)
{
	struct scene s;

	(void)state;
	scene_begin(&s);
	scene_row(&s, "11* 00 01 00 00 01 13", "00*", "");
	scene_row(&s, "12* 12", "01 01 19 78 01 02 05 09 A4*", "00"); /* the configuration on a later POLL */
	scene_row(&s, "12* 12", "03 4E 20 FF 70*", "00");             /* level 1 with one byte too many */
	scene_row(&s, "33* 33", "06 09 0F*", "00");                   /* two events in one answer */
	scene_row(&s, "0B* 0B", "53 15 53 16 21 F2*", "00");          /* two coins and a slug */
	scene_end(&s);
	assert_int_equal(s.events[FT_BUS_EV_SETUP], 1);
	assert_int_equal(s.events[FT_BUS_EV_SESSION], 1);
	assert_int_equal(s.events[FT_BUS_EV_WAS_RESET], 1);
	assert_int_equal(s.events[FT_BUS_EV_STATUS], 1);
	assert_int_equal(s.events[FT_BUS_EV_COIN], 2);
	assert_int_equal(s.events[FT_BUS_EV_SLUG], 1);
	assert_int_equal(s.r->devices[1].tubes[3], 0x16);
	assert_int_equal(s.r->devices[6].was_reset, 1);
	scene_done(&s);
}

/* Messages are parted by their lengths; bytes of a medium or of a surplus are no messages. */
static void messages_in_one_answer(void **state)
{
	static const struct {
		const char *setup, *answer;
		enum ft_bus_event_kind there, not ;
		const char *told;
	} cases[] = {
		{ "01 01 19 78 01 02 05 09", "03 03 E8 06 06 06 06 00 00 00", FT_BUS_EV_SESSION, FT_BUS_EV_VEND_DENIED,
		  "session begins, funds 10.00" },
		{ "01 01 19 78 01 02 05 09", "0B 03", FT_BUS_EV_OUT_OF_SEQUENCE, FT_BUS_EV_SESSION,
		  "command out of sequence, state enabled" },
		{ "01 01 19 78 01 02 05 09", "0B", FT_BUS_EV_OUT_OF_SEQUENCE, FT_BUS_EV_SESSION, "command out of sequence" },
		{ "01 03 19 78 01 02 05 09", "04 07", FT_BUS_EV_SESSION_END, FT_BUS_EV_UNKNOWN,
		  "session cancel asked, session ends" },
		{ "01 03 19 78 01 02 05 09", "0A A0 07", FT_BUS_EV_MALFUNCTION, FT_BUS_EV_UNKNOWN,
		  "malfunction A0: payment media jammed, session ends" },
		{ "01 03 19 78 01 02 05 09", "02 14 48 49 03 07", FT_BUS_EVENT_KINDS, FT_BUS_EV_SESSION,
		  "show \"HI..\" for 2.0 s" },
		{ "01 03 19 78 01 02 05 09", "11 04", FT_BUS_EV_SESSION_CANCEL, FT_BUS_EV_UNKNOWN,
		  "time and date request, session cancel asked" },
		{ "01 03 19 78 01 02 05 09", "1B 10 00 01 05 00", FT_BUS_EVENT_KINDS, FT_BUS_EV_UNKNOWN,
		  "file request to receive" },
		{ "01 03 19 78 01 02 05 09", "1A 04", FT_BUS_EV_UNKNOWN, FT_BUS_EV_SESSION_CANCEL, "1A, which no table knows" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct scene s;
		struct ft_slice told, line = { 0 };
		char wanted[120];
		scene_begin(&s);
		scene_say(&s, i < 3 ? "11 00 01 00 00 01" : "11 00 03 00 00 01", cases[i].setup, "00");
		scene_say(&s, "12", cases[i].answer, "00");
		scene_end(&s);
		told = ft_buf_text(&s.told);
		assert_true(ft_slice_split(&told, '\n', &line) && ft_slice_split(&told, '\n', &line));
		snprintf(wanted, sizeof wanted, "cashless device 1 POLL: %s", cases[i].told);
		if (!ft_slice_eq(line, ft_slice_of(wanted)))
			fail_msg("case %zu: \"%.*s\"", i, FT_P(line));
		if (cases[i].there != FT_BUS_EVENT_KINDS)
			assert_int_equal(s.events[cases[i].there], 1);
		assert_int_equal(s.events[cases[i].not ], 0);
		scene_done(&s);
	}
}

/* What was asked is told whether it was answered or not, and what no table has is said. */
static void commands_are_told_without_an_answer(void **state)
{
	static const struct {
		const char *command, *answer, *told;
	} cases[] = {
		{ "0D 83", "nak", "coin changer DISPENSE: pay 8 of 0.50, 4.00 - refused (NAK)" },
		{ "13 00 00 96 00 0C", "", "cashless device 1 VEND REQUEST: 1.50 for item 12 - no answer" },
		{ "13 06 00 96 00 0C", "ack", "cashless device 1 NEGATIVE VEND REQUEST: 1.50 for item 12 - acknowledged" },
		{ "0F 02 50", "nak", "coin changer EXPANSION PAYOUT: 4.00 - refused (NAK)" },
		{ "13 09", "ack", "cashless device 1 unknown command: 13, which no table knows - acknowledged" },
		{ "13 04 00", "ack", "cashless device 1 SESSION COMPLETE, 1 byte more than known - acknowledged" },
		{ "17 FD 10 00", "ack", "cashless device 1 FILE OK TO SEND - acknowledged" },
		{ "78", "", "reserved address unknown command: 78, which no table knows - no answer" },
		{ "33", "F1", "bill validator POLL: bill 10.00 moved from the recycler to the cash box" },
		{ "33", "D1", "bill validator POLL: bill 10.00 to the recycler, filled by hand" },
		{ "0A", "00 08 1E 28 23 3C",
		  "coin changer TUBE STATUS: tubes hold 30 of 0.05, 40 of 0.10, 35 of 0.20, 60 of "
		  "0.50, full: 0.50" },
		{ "34 00 07 00 01", "ack", "bill validator BILL TYPE: accept 5.00 10.00 20.00, by escrow 5.00 - acknowledged" },
		{ "19 03 01 02", "01 02 00 1E", "communications gateway SETUP: level 2, answers within 30 s" },
	};
	struct scene s;
	struct ft_slice told, line;

	(void)state;
	scene_begin(&s);
	scene_setups(&s);
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		scene_say(&s, cases[i].command, cases[i].answer, strlen(cases[i].answer) == 3 || !*cases[i].answer ? "" : "00");
	scene_end(&s);
	told = ft_buf_text(&s.told);
	for (int i = 0; i < 3; i++)
		ft_slice_split(&told, '\n', &line);
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		assert_true(ft_slice_split(&told, '\n', &line));
		if (!ft_slice_eq(line, ft_slice_of(cases[i].told)))
			fail_msg("case %zu: \"%.*s\"", i, FT_P(line));
	}
	assert_int_equal(s.events[FT_BUS_EV_UNKNOWN], 2);
	scene_done(&s);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(worked_exchanges_are_told),
		cmocka_unit_test(a_setup_heard_late_gives_values_after_all),
		cmocka_unit_test(a_later_setup_changes_no_earlier_money),
		cmocka_unit_test(money_by_scale_and_width),
		cmocka_unit_test(currencies_by_number_and_by_prefix),
		cmocka_unit_test(answers_of_many_kinds),
		cmocka_unit_test(messages_in_one_answer),
		cmocka_unit_test(commands_are_told_without_an_answer),
	};

	folder = argc > 1 ? argv[1] : ".";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
