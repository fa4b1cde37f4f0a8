/* SPDX-License-Identifier: Apache-2.0 */
/* What counts on the bus counts once: coins, bills, payouts and sales that are told again, asked again or damaged. */
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
		scene_begin(&s);
		scene_setups(&s);
		scene_row(&s, "0B* 0B", "53 15 68*", cases[i].closing);
		scene_row(&s, "0B* 0B", "53 15 68*", "00");
		scene_end(&s);
		assert_int_equal(s.events[FT_BUS_EV_COIN], cases[i].coins);
		assert_int_equal(s.repeated, 2 - cases[i].coins);
		assert_int_equal(s.r->money_count, cases[i].coins);
		assert_true(s.r->money[0].value == 50 && s.r->money[0].route == FT_BUS_ROUTE_TUBE);
		scene_done(&s);
	}
	struct scene s; /* damaged first and asked for again: one; never acknowledged at the end: one all the same */
	scene_begin(&s);
	scene_setups(&s);
	scene_row(&s, "0B* 0B", "53 15 69*", "AA");
	struct ft_bus_word w[8];
	uint8_t again[] = { 0x53, 0x15, 0x68 };
	s.at_ns = ft_bus_block_words(FT_BUS_PERIPHERAL, again, 3, false, s.at_ns - 6500000, 0, w);
	scene_feed(&s, w, 3);
	scene_end(&s);
	assert_int_equal(s.r->money_count, 1);
	scene_done(&s);
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
		scene_begin(&s);
		scene_setups(&s);
		scene_row(&s, "13* 00 00 96 00 0C B5", "00*", "");
		for (size_t k = 0; k < 4 && cases[i].rows[k][0]; k++)
			scene_row(&s, cases[i].rows[k][0], cases[i].rows[k][1], cases[i].rows[k][2]);
		scene_end(&s);
		if (s.r->sale_count != 1 || s.r->sales[0].outcome != cases[i].outcome || s.r->sales[0].price != 150)
			fail_msg("case %zu: %zu sales, %s", i, s.r->sale_count, ft_bus_outcome_word(s.r->sales[0].outcome));
		scene_done(&s);
	}
}

struct told {
	const char *command, *answer, *closing;
};

enum { TOLD_MOST = 8 };

static void say_all(struct scene *s, const struct told *t)
{
	for (size_t i = 0; i < TOLD_MOST && t[i].command; i++)
		scene_say(s, t[i].command, t[i].answer, t[i].closing);
}

/* After the setups of the worked machine and what is told, `sum` tells of it as `wanted`. */
static void told_is(size_t row, const struct told *told, void (*sum)(const struct scene *, char *, size_t),
                    const char *wanted)
{
	struct scene s;
	char text[400];

	scene_begin(&s);
	scene_setups(&s);
	say_all(&s, told);
	scene_end(&s);
	sum(&s, text, sizeof text);
	if (strcmp(text, wanted) != 0)
		fail_msg("case %zu: \"%s\", not \"%s\"\n%.*s", row, text, wanted, FT_P(ft_buf_text(&s.told)));
	scene_done(&s);
}

/* What the money must be after the setups of the worked machine and these exchanges. */
static void money_is_counted_once(void **state)
{
	static const struct {
		const char *money;
		struct told told[TOLD_MOST];
	} cases[] = {
		/* not acknowledged, another command between, told again */
		{ "tube 0.50", { { "0B", "53 15", "FF" }, { "0A", "00 00 1E 28 23 15", "00" }, { "0B", "53 15", "00" } } },
		/* told again with more behind it, and in two portions */
		{ "tube 0.50, cash box 2.00", { { "0B", "53 15", "FF" }, { "0B", "53 15 45 00", "00" } } },
		{ "tube 0.50, cash box 2.00",
		  { { "0B", "53 15 45 00", "" }, { "0B", "53 15", "00" }, { "0B", "45 00", "00" } } },
		{ "tube 0.50, cash box 2.00, cash box 2.00",
		  { { "0B", "53 15 45 00", "" }, { "0B", "53 15", "00" }, { "0B", "45 00", "00" }, { "0B", "45 00", "00" } } },
		/* the acknowledgement that the tap missed: the device has nothing more to report, then a second bill */
		{ "cash box 5.00, cash box 5.00", { { "33", "80", "" }, { "33", "ack", "" }, { "33", "80", "00" } } },
		{ "cash box 5.00", { { "33", "80", "" }, { "33", "", "" }, { "33", "80", "00" } } },
		/* damaged for the tap alone: the controller took it, and the next is another one */
		{ "cash box 5.00, cash box 5.00", { { "33", "80", "" }, { "33", "!80", "00" }, { "33", "80", "00" } } },
		/* two bills told in one answer are two, told again they stay two */
		{ "cash box 5.00, cash box 5.00", { { "33", "80 80", "" }, { "33", "80 80", "00" } } },
		/* escrow, then stacked: one bill; returned: none; to the recycler: one; filled by hand: none */
		{ "cash box 10.00", { { "33", "91", "00" }, { "35 01", "ack", "" }, { "33", "81", "00" } } },
		{ "", { { "33", "91", "00" }, { "35 00", "ack", "" }, { "33", "A1", "00" } } },
		{ "recycler 10.00", { { "33", "91 B1", "00" }, { "33", "D1", "00" }, { "33", "C1", "00" } } },
		{ "", { { "0B", "73 15", "00" }, { "0B", "63 15", "00" } } }, /* rejected coin, and a route not used */
		/* payouts: acknowledged, refused, unheard; a damaged acknowledgement and the same again */
		{ "paid out -4.00", { { "0D 83", "ack", "" } } },
		{ "", { { "0D 83", "nak", "" }, { "0D 83", "", "" } } },
		{ "paid out -4.00", { { "0D 83", "nak", "" }, { "0D 83", "ack", "" } } },
		{ "paid out -4.00", { { "0D 83", "!ack", "" }, { "0D 83", "ack", "" } } },
		{ "paid out -4.00, paid out -4.00",
		  { { "0D 83", "!ack", "" }, { "0B", "02", "00" }, { "0B", "ack", "" }, { "0D 83", "ack", "" } } },
		/* by value: what the changer says it paid, in either way of asking, once */
		{ "paid out -4.00", { { "0F 02 50", "ack", "" }, { "0B", "02", "00" }, { "0B", "ack", "" } } },
		{ "paid out -2.00, paid out -1.50",
		  { { "0F 02 50", "ack", "" },
		    { "0F 04", "28", "00" },
		    { "0F 04", "1E", "00" },
		    { "0F 04", "ack", "" },
		    { "0F 03", "00 00 00 07", "00" } } },
		{ "paid out -3.00",
		  { { "0F 02 50", "ack", "" }, { "0F 03", "00 00 00 06", "00" }, { "0F 03", "00 00 00 06", "00" } } },
		{ "paid out -2.00, paid out -2.00",
		  { { "0F 02 28", "ack", "" },
		    { "0F 03", "00 00 00 04", "00" },
		    { "0F 02 28", "ack", "" },
		    { "0F 03", "00 00 00 04", "00" } } },
		{ "paid out -2.00",
		  { { "0F 02 50", "ack", "" }, { "0F 04", "28", "" }, { "0F 04", "28", "00" }, { "0F 04", "ack", "" } } },
		{ "", { { "0F 02 50", "nak", "" }, { "0F 04", "ack", "" } } },
		{ "paid out -4.00", { { "0D 83", "ack", "" }, { "0F 03", "00 00 00 08", "00" } } },
		/* a recycler, by bill and by value */
		{ "paid out -10.00", { { "37 06 00 00 02", "ack", "" } } },
		{ "paid out -5.00",
		  { { "37 06 00 00 02", "ack", "" }, { "37 08", "00 01", "00" }, { "37 08", "00 01", "00" } } },
		{ "paid out -5.00", { { "37 07 00 02", "ack", "" }, { "37 09", "00 01", "00" }, { "37 09", "ack", "" } } },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		told_is(i, cases[i].told, scene_money, cases[i].money);
}

static void sales_are_counted_once(void **state)
{
	static const struct {
		const char *sales;
		struct told told[TOLD_MOST];
	} cases[] = {
		{ "cash 1.50 item 12 sold", { { "13 05 00 96 00 0C", "", "" }, { "13 05 00 96 00 0C", "ack", "" } } },
		{ "cash 1.50 item 12 sold", { { "13 05 00 96 00 0C", "!ack", "" }, { "13 05 00 96 00 0C", "ack", "" } } },
		{ "cash 1.50 item 12 sold, cash 1.50 item 12 sold",
		  { { "13 05 00 96 00 0C", "ack", "" }, { "13 05 00 96 00 0C", "ack", "" } } },
		{ "", { { "13 05 00 96 00 0C", "nak", "" } } },
		/* told to both readers: one sale; another item: two */
		{ "cash 1.50 item 12 sold",
		  { { "61 00 03 00 00 01", "01 03 19 78 05 02 05 09", "00" },
		    { "13 05 00 96 00 0C", "ack", "" },
		    { "63 05 00 1E 00 0C", "ack", "" } } },
		{ "cash 1.50 item 12 sold, cash ? item 13 sold",
		  { { "13 05 00 96 00 0C", "ack", "" }, { "63 05 00 96 00 0D", "ack", "" } } },
		/* repeated until it is acknowledged */
		{ "card 1.50 item 12 sold",
		  { { "13 00 00 96 00 0C", "!ack", "" },
		    { "13 00 00 96 00 0C", "ack", "" },
		    { "12", "05 00 96", "00" },
		    { "13 02 00 0C", "", "" },
		    { "13 02 00 0C", "ack", "" } } },
		{ "card 1.50 item 12 unclosed",
		  { { "13 00 00 96 00 0C", "ack", "" },
		    { "12", "05 00 96", "00" },
		    { "13 02 00 0C", "nak", "" },
		    { "13 04", "ack", "" } } },
		/* answered on the spot, unheard, asked again */
		{ "card 1.50 item 12 sold",
		  { { "13 00 00 96 00 0C", "05 00 96", "FF" },
		    { "13 00 00 96 00 0C", "05 00 96", "00" },
		    { "13 02 00 0C", "ack", "" } } },
		/* nobody was seen to acknowledge it, but the reader approves: it heard */
		{ "card 1.50 item 12 sold",
		  { { "13 00 00 96 00 0C", "", "" }, { "12", "05 00 96", "00" }, { "13 02 00 0C", "ack", "" } } },
		{ "", { { "13 00 00 96 00 0C", "", "" }, { "12", "ack", "" }, { "13 04", "ack", "" }, { "12", "07", "00" } } },
		/* an approval told twice, without and with an acknowledgement */
		{ "card 1.50 item 12 pending",
		  { { "13 00 00 96 00 0C", "ack", "" }, { "12", "05 00 96", "" }, { "12", "05 00 96", "00" } } },
		/* the reader did not carry it out */
		{ "card 1.50 item 12 cancelled", { { "13 00 00 96 00 0C", "ack", "" }, { "12", "0B 03", "00" } } },
		/* money to the card is no sale */
		{ "", { { "13 06 00 96 00 0C", "ack", "" }, { "12", "05 00 96", "00" }, { "13 02 00 0C", "ack", "" } } },
		{ "", { { "15 00 00 96", "ack", "" }, { "12", "0D", "00" } } },
		/* a break or RESET of one reader leaves the other's sale alone */
		{ "card ? item 12 pending", { { "63 00 00 96 00 0C", "ack", "" }, { "10", "ack", "" } } },
		{ "card ? item 12 pending", { { "13 00 FF FF 00 0C", "ack", "" } } }, /* no price */
		{ "card 1.50 item -1 pending", { { "13 00 00 96 FF FF", "ack", "" } } },
		/* a lost byte of 0 keeps the sum; what is left has no form */
		{ "", { { "13 00 96 00 0C", "ack", "" } } },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		told_is(i, cases[i].told, scene_sales, cases[i].sales);
}

/* The worked machine with `told_first` of row `hit` put before it, or one of its words changed. */
struct change {
	size_t row;
	const char *closing; /* NULL: nothing is put before it; else the row once more with this at its end */
	int word;            /* -1: none is changed */
	unsigned bit;        /* 0 to 8 flipped (8: the mode bit), 9: framing, 10: the word is lost */
};

static void play_changed(struct scene *s, const struct play_row *rows, size_t n, const struct change *c)
{
	scene_begin(s);
	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w[128];
		size_t words;
		if (c->closing && i == c->row) {
			struct play_row first = rows[i];
			first.closing = ft_slice_of(c->closing);
			scene_feed(s, w, play_words(&first, &s->at_ns, w));
		}
		words = play_words(&rows[i], &s->at_ns, w);
		if (c->word >= 0 && i == c->row && (size_t)c->word < words) {
			if (c->bit < 8)
				w[c->word].byte ^= (uint8_t)(1U << c->bit);
			else if (c->bit == 8)
				w[c->word].mode = !w[c->word].mode;
			else if (c->bit == 9)
				w[c->word].kind = FT_BUS_FRAMING;
			else
				memmove(w + c->word, w + c->word + 1, (--words - (size_t)c->word) * sizeof *w);
		}
		scene_feed(s, w, words);
	}
	scene_end(s);
}

/* Every answer of the worked machine once more, before it was acknowledged. */
static void an_answer_told_twice_changes_nothing(void **state)
{
	static const char *const closings[] = { "", "FF" };
	struct ft_arena a = { 0 };
	struct play_row *rows;
	size_t n = play_rows(folder, &a, &rows), tried = 0;
	struct scene clean;
	char text[4][2000];

	(void)state;
	play_changed(&clean, rows, n, &(struct change){ .word = -1 });
	scene_money(&clean, text[0], sizeof text[0]);
	scene_sales(&clean, text[1], sizeof text[1]);
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < 2 && rows[i].closing.n; k++) {
			struct scene s;
			play_changed(&s, rows, n, &(struct change){ .row = i, .closing = closings[k], .word = -1 });
			scene_money(&s, text[2], sizeof text[2]);
			scene_sales(&s, text[3], sizeof text[3]);
			assert_string_equal(text[2], text[0]);
			assert_string_equal(text[3], text[1]);
			if (memcmp(s.events, clean.events, sizeof s.events) != 0)
				fail_msg("row %u told twice: other events", rows[i].row);
			assert_true(s.repeated > clean.repeated || !s.repeated);
			tried++;
			scene_done(&s);
		}
	assert_true(tried > 60);
	scene_done(&clean);
	ft_arena_done(&a);
}

static bool like_money(const struct ft_bus_money *a, const struct ft_bus_money *b)
{
	return a->address == b->address && a->type == b->type && a->route == b->route &&
		(a->value == b->value || b->value == FT_ABSENT);
}

static bool like_sale(const struct ft_bus_sale *a, const struct ft_bus_sale *b)
{
	return a->address == b->address && a->item == b->item && a->card == b->card &&
		(a->price == b->price || b->price == FT_ABSENT);
}

/* What one tells and the other does not, -1: nothing. Both are in the order of time. */
static int invented_money(const struct ft_bus_report *clean, const struct ft_bus_report *r)
{
	size_t at = 0;

	for (size_t i = 0; i < r->money_count; i++) {
		while (at < clean->money_count && !like_money(&clean->money[at], &r->money[i]))
			at++;
		if (at++ >= clean->money_count)
			return (int)i;
	}
	return -1;
}

static int invented_sale(const struct ft_bus_report *clean, const struct ft_bus_report *r)
{
	size_t at = 0;

	for (size_t i = 0; i < r->sale_count; i++) {
		while (at < clean->sale_count && !like_sale(&clean->sales[at], &r->sales[i]))
			at++;
		if (at >= clean->sale_count || (r->sales[i].outcome == FT_BUS_SOLD && clean->sales[at].outcome != FT_BUS_SOLD))
			return (int)i;
		at++;
	}
	return -1;
}

/* Every word of the worked machine damaged by a bit, its mode bit or its stop bit, or lost: no money and no sale may
 * appear that was not there. A setup may be unheard, but loses no word: a byte of 0 that is lost keeps the sum, and a
 * changer may send a shorter setup. */
static void damage_invents_nothing(void **state)
{
	struct ft_arena a = { 0 };
	struct play_row *rows;
	size_t n = play_rows(folder, &a, &rows), tried = 0;
	struct scene clean;

	(void)state;
	play_changed(&clean, rows, n, &(struct change){ .word = -1 });
	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w[128];
		int64_t at = 0;
		int words = (int)play_words(&rows[i], &at, w);
		for (int k = 0; k < words; k++)
			for (unsigned bit = 0; bit <= 10; bit++) {
				struct scene s;
				int money, sale;
				if (bit < 8 && bit != (unsigned)(k + (int)i) % 8)
					continue; /* one bit a word */
				if (bit == 10 && rows[i].peripheral.n > 60)
					continue;
				play_changed(&s, rows, n, &(struct change){ .row = i, .word = k, .bit = bit });
				money = invented_money(clean.r, s.r);
				sale = invented_sale(clean.r, s.r);
				if (money >= 0 || sale >= 0)
					fail_msg("row %u, word %d, %u: money %d, sale %d of %zu and %zu", rows[i].row, k, bit, money, sale,
					         s.r->money_count, s.r->sale_count);
				tried++;
				scene_done(&s);
			}
	}
	assert_true(tried > 2000);
	scene_done(&clean);
	ft_arena_done(&a);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_is_told_again_counts_once),
		cmocka_unit_test(ends_of_a_request),
		cmocka_unit_test(money_is_counted_once),
		cmocka_unit_test(sales_are_counted_once),
		cmocka_unit_test(an_answer_told_twice_changes_nothing),
		cmocka_unit_test(damage_invents_nothing),
	};

	folder = argc > 1 ? argv[1] : ".";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
