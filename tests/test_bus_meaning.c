/* SPDX-License-Identifier: Apache-2.0 */
/* Exchanges to meaning: the worked exchanges of docs/bus.md told in words, money and sales counted once, and nothing
 * invented from damage. Amounts and currencies are the worked examples of MDB/ICP 6.7 (computed from its rule). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "bus_rows.h"

static const char *folder;

/* Traffic as rows of hexadecimal, read by the whole room. */
struct scene {
	struct ft_arena a;
	struct ft_findings f;
	struct ft_bus *b;
	const struct ft_bus_report *r;
	int64_t at_ns;
	struct ft_buf told; /* a line an exchange */
	unsigned events[FT_BUS_EVENT_KINDS], repeated;
};

static void item(void *to, const struct ft_bus_item *i)
{
	struct scene *s = to;

	if (i->kind == FT_BUS_EXCHANGE)
		ft_bus_tell(s->b, &i->exchange, &s->told);
	else
		ft_buf_puts(&s->told, i->kind == FT_BUS_STRAY ? "stray" : "break");
	ft_buf_byte(&s->told, '\n');
}

static void event(void *to, const struct ft_bus_event *e)
{
	struct scene *s = to;

	if (e->repeated)
		s->repeated++;
	else
		s->events[e->kind]++;
}

static void begin(struct scene *s)
{
	struct ft_bus_options o = { .name = "scene", .format = FT_BUS_EDGES, .inverted = { -1, -1 } };
	struct ft_bus_listener l = { s, NULL, item, event };
	struct ft_error e = { 0 };

	*s = (struct scene){ 0 };
	s->f.arena = &s->a;
	assert_int_equal(ft_bus_new(&o, &l, &s->f, &s->a, &s->b, &e), FT_OK);
}

static void feed(struct scene *s, const struct ft_bus_word *w, size_t n)
{
	struct ft_error e = { 0 };

	assert_int_equal(ft_bus_feed_words(s->b, w, n, &e), FT_OK);
}

static void row(struct scene *s, const char *controller, const char *peripheral, const char *closing)
{
	struct play_row r = { 0, ft_slice_of(controller), ft_slice_of(peripheral), ft_slice_of(closing), { 0 }, { 0 } };
	struct ft_bus_word w[128];

	feed(s, w, play_words(&r, &s->at_ns, w));
}

static void end(struct scene *s)
{
	struct ft_bus_word late = { .start_ns = s->at_ns + 20000000,
		                        .end_ns = s->at_ns + 21145837,
		                        .line = FT_BUS_CONTROLLER };
	struct ft_error e = { 0 };

	feed(s, &late, 1); /* a lone byte, so that the last silence is known to be one */
	assert_int_equal(ft_bus_end(s->b, &s->r, &e), FT_OK);
}

static void done(struct scene *s)
{
	ft_buf_done(&s->told);
	ft_bus_done(s->b);
	ft_arena_done(&s->a);
}

/* Setups of the worked machine, so that money has a scale: changer, validator, reader (level 3, 16-bit money). */
static void setups(struct scene *s)
{
	row(s, "09* 09", "03 19 78 05 02 00 0F 01 02 04 0A 14 28 00 00 00 00 00 00 00 00 00 00 F7*", "00");
	row(s, "31* 31", "01 19 78 01 F4 02 02 58 00 00 FF 01 02 04 00 00 00 00 00 00 00 00 00 00 00 00 00 E9*", "00");
	row(s, "11* 00 03 00 00 01 15", "01 03 19 78 01 02 05 09 A6*", "00");
}

static void worked_exchanges_are_told(void **state)
{
	struct play_row *rows;
	struct scene s;
	struct ft_slice told, line;
	size_t n;

	(void)state;
	begin(&s);
	n = play_rows(folder, &s.a, &rows);
	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w[128];
		feed(&s, w, play_words(&rows[i], &s.at_ns, w));
	}
	end(&s);
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
	done(&s);
}

/* The same coin told twice without an acknowledgement between is one coin; with one it is two. */
static void what_is_told_again_counts_once(void **state)
{
	static const struct {
		const char *closing;
		unsigned coins;
	} cases[] = { { "FF", 1 }, { "", 1 }, { "00", 2 } };

	(void)state;
	for (size_t i = 0; i < 3; i++) {
		struct scene s;
		begin(&s);
		setups(&s);
		row(&s, "0B* 0B", "53 15 68*", cases[i].closing);
		row(&s, "0B* 0B", "53 15 68*", "00");
		end(&s);
		assert_int_equal(s.events[FT_BUS_EV_COIN], cases[i].coins);
		assert_int_equal(s.repeated, 2 - cases[i].coins);
		assert_int_equal(s.r->money_count, cases[i].coins);
		assert_true(s.r->money[0].value == 50 && s.r->money[0].route == FT_BUS_ROUTE_TUBE);
		done(&s);
	}
	struct scene s; /* damaged first and asked for again: one; never acknowledged at the end: one all the same */
	begin(&s);
	setups(&s);
	row(&s, "0B* 0B", "53 15 69*", "AA");
	struct ft_bus_word w[8];
	uint8_t again[] = { 0x53, 0x15, 0x68 };
	s.at_ns = ft_bus_block_words(FT_BUS_PERIPHERAL, again, 3, false, s.at_ns - 6500000, 0, w);
	feed(&s, w, 3);
	end(&s);
	assert_int_equal(s.r->money_count, 1);
	done(&s);
}

static void a_setup_heard_late_gives_values_after_all(void **state)
{
	struct scene s;

	(void)state;
	begin(&s);
	row(&s, "0B* 0B", "45 00 45*", "00");
	row(&s, "13* 00 00 96 00 0C B5", "00*", "");
	row(&s, "12* 12", "05 00 96 9B*", "00");
	row(&s, "13* 02 00 0C 21", "00*", "");
	setups(&s);
	end(&s);
	assert_int_equal(s.r->sale_count, 1);
	assert_true(s.r->sales[0].price == 150 && s.r->sales[0].approved == 150);
	assert_true(s.r->money_count == 1 && s.r->money[0].value == 200);
	done(&s);
}

/* How a request ends. Each play begins with a request of 1.50 that the reader acknowledged. */
static void ends_of_a_request(void **state)
{
	static const struct {
		const char *rows[4][3];
		enum ft_bus_outcome outcome;
	} cases[] = {
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "13* 02 00 0C 21", "00*", "" } }, FT_BUS_SOLD },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "13* 02 00 0C 21", "00*", "" }, { "13* 02 00 0C 21", "00*", "" } },
		  FT_BUS_SOLD },
		{ { { "12* 12", "06 06*", "00" }, { "13* 04 17", "00*", "" } }, FT_BUS_DENIED },
		{ { { "13* 01 14", "00*", "" }, { "12* 12", "06 06*", "00" } }, FT_BUS_CANCELLED },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "13* 03 16", "00*", "" }, { "12* 12", "00*", "" } }, FT_BUS_FAILED },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "13* 03 16", "00*", "" }, { "12* 12", "0A C0 CA*", "00" } },
		  FT_BUS_LOST_REFUND },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "13* 04 17", "00*", "" } }, FT_BUS_UNCLOSED },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "10* 10", "00*", "" } }, FT_BUS_UNCLOSED },
		{ { { "12* 12", "05 00 96 9B*", "00" }, { "12* 12", "00 00*", "00" } }, FT_BUS_UNCLOSED },
		{ { { "12* 12", "00*", "" } }, FT_BUS_PENDING },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct scene s;
		begin(&s);
		setups(&s);
		row(&s, "13* 00 00 96 00 0C B5", "00*", "");
		for (size_t k = 0; k < 4 && cases[i].rows[k][0]; k++)
			row(&s, cases[i].rows[k][0], cases[i].rows[k][1], cases[i].rows[k][2]);
		end(&s);
		if (s.r->sale_count != 1 || s.r->sales[0].outcome != cases[i].outcome || s.r->sales[0].price != 150)
			fail_msg("case %zu: %zu sales, %s", i, s.r->sale_count, ft_bus_outcome_word(s.r->sales[0].outcome));
		done(&s);
	}
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
		begin(&s);
		row(&s, "11* 00 03 00 00 01 15", cases[i].setup, "00");
		row(&s, cases[i].request, "00*", "");
		end(&s);
		assert_int_equal(s.r->sale_count, 1);
		assert_true(s.r->sales[0].price == 150 && s.r->sales[0].decimals == 2);
		done(&s);
	}
	begin(&s);
	row(&s, "11* 00 03 00 00 01 15", "01 03 19 78 01 02 05 09 A6*", "00");
	row(&s, "17* 04 00 00 00 02 1D", "00*", "");
	row(&s, "13* 00 00 00 00 96 00 0C B5", "00*", "");
	row(&s, "12* 12", "05 00 00 00 96 9B*", "00");
	row(&s, "13* 05 00 00 00 96 00 0C 19 78 4B", "00*", ""); /* a cash sale in its long form */
	end(&s);
	assert_true(s.r->devices[2].wide_money);
	assert_int_equal(s.r->sale_count, 2);
	for (size_t i = 0; i < 2; i++)
		assert_true(s.r->sales[i].price == 150 && s.r->sales[i].item == 12);
	done(&s);
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
	begin(&s);
	row(&s, "11* 00 01 00 00 01 13", "00*", "");
	row(&s, "12* 12", "01 01 19 78 01 02 05 09 A4*", "00"); /* the configuration on a later POLL */
	row(&s, "12* 12", "03 4E 20 FF 70*", "00");             /* level 1 with one byte too many */
	row(&s, "33* 33", "06 09 0F*", "00");                   /* two events in one answer */
	row(&s, "0B* 0B", "53 15 53 16 21 F2*", "00");          /* two coins and a slug */
	end(&s);
	assert_int_equal(s.events[FT_BUS_EV_SETUP], 1);
	assert_int_equal(s.events[FT_BUS_EV_SESSION], 1);
	assert_int_equal(s.events[FT_BUS_EV_WAS_RESET], 1);
	assert_int_equal(s.events[FT_BUS_EV_STATUS], 1);
	assert_int_equal(s.events[FT_BUS_EV_COIN], 2);
	assert_int_equal(s.events[FT_BUS_EV_SLUG], 1);
	assert_int_equal(s.r->devices[1].tubes[3], 0x16);
	assert_int_equal(s.r->devices[6].was_reset, 1);
	done(&s);
}

/* One damaged word in one exchange of the worked machine: neither money nor a sale may appear that was not there. */
static void damage_invents_nothing(void **state)
{
	struct ft_arena a = { 0 };
	struct play_row *rows;
	size_t n = play_rows(folder, &a, &rows), tried = 0;

	(void)state;
	for (size_t hit = 0; hit < n; hit++)
		for (unsigned how = 0; how < 12; how++) {
			struct scene s;
			size_t sold = 0;
			begin(&s);
			for (size_t i = 0; i < n; i++) {
				struct ft_bus_word w[128];
				size_t words = play_words(&rows[i], &s.at_ns, w);
				if (i == hit) {
					size_t at = how % words;
					w[at].byte ^= (uint8_t)(1U << (how * 7 + hit) % 8);
					w[at].kind = how % 3 == 0 ? FT_BUS_FRAMING : FT_BUS_WORD;
					tried++;
				}
				feed(&s, w, words);
			}
			end(&s);
			for (size_t i = 0; i < s.r->sale_count; i++)
				sold += s.r->sales[i].outcome == FT_BUS_SOLD;
			if (s.r->sale_count > 3 || sold > 2 || s.r->money_count > 7)
				fail_msg("row %u damaged: %zu sales, %zu sold, %zu rows of money", rows[hit].row, s.r->sale_count, sold,
				         s.r->money_count);
			done(&s);
		}
	assert_int_equal(tried, n * 12);
	ft_arena_done(&a);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(worked_exchanges_are_told),
		cmocka_unit_test(what_is_told_again_counts_once),
		cmocka_unit_test(a_setup_heard_late_gives_values_after_all),
		cmocka_unit_test(ends_of_a_request),
		cmocka_unit_test(money_by_scale_and_width),
		cmocka_unit_test(currencies_by_number_and_by_prefix),
		cmocka_unit_test(answers_of_many_kinds),
		cmocka_unit_test(damage_invents_nothing),
	};

	folder = argc > 1 ? argv[1] : ".";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
