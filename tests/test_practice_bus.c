/* SPDX-License-Identifier: Apache-2.0 */
/* What the practice machine says on its bus, heard by a strict listener of the tests' own: legal traffic only,
 * and in it exactly the money and the sales that the machine's events tell. */
#include "unit.h"

#include <stdio.h>

#include "bus_witness.h"
#include "fettle/practice.h"

struct play {
	struct ft_arena arena;
	struct ft_practice *p;
	struct witness w;
	struct witness_sale sold[WITNESS_SALES]; /* as the events tell */
	size_t sold_count;
	int64_t net, topped, by_hand;
	uint32_t random;
	bool reader, bills;
};

static uint32_t chance(struct play *y, uint32_t below)
{
	y->random = y->random * 1664525 + 1013904223;
	return (y->random >> 8) % below;
}

static void begin(struct play *y, const char *machine, unsigned seed)
{
	const struct ft_practice_builtin *b = ft_practice_builtin(ft_slice_of(machine));
	struct ft_practice_tap tap = { &y->w, witness_word };
	struct ft_error e = { 0 };

	*y = (struct play){ .random = seed };
	witness_begins(&y->w);
	assert_int_equal(ft_practice_new(b->description, machine, seed, &y->arena, &y->p, &e), FT_OK);
	assert_int_equal(ft_practice_tap(y->p, &tap, true, &e), FT_OK);
	y->reader = strcmp(machine, "coinbox") != 0;
	y->bills = y->reader;
}

static void take_event(struct play *y, const struct ft_practice_event *ev)
{
	bool card = ev->paid_with && strcmp(ev->paid_with, "card") == 0;
	bool token = ev->paid_with && strcmp(ev->paid_with, "token") == 0;
	int64_t item = 0;

	switch (ev->kind) {
	case FT_PRACTICE_SALE:
		assert_true(ft_slice_i64(ft_slice_of(ev->selection), &item));
		assert_true(y->sold_count < WITNESS_SALES);
		y->sold[y->sold_count++] = (struct witness_sale){ card, (unsigned)item, ev->price };
		y->net += card || token ? 0 : ev->price;
		break;
	case FT_PRACTICE_MONEY: /* without `tendered`: kept by the machine */
		y->net += ev->tendered == FT_ABSENT ? ev->amount : 0;
		break;
	case FT_PRACTICE_TOPPED:
		y->net += ev->amount;
		y->topped += ev->amount;
		break;
	case FT_PRACTICE_PAID_OUT:
		y->by_hand += ev->amount == FT_ABSENT ? 0 : ev->amount;
		break;
	default:
		break;
	}
}

static void say(struct play *y, const char *line)
{
	struct ft_practice_wish wish;
	struct ft_practice_event ev;
	struct ft_error e = { 0 };

	if (ft_practice_do(y->p, ft_slice_of(line), 0, &wish, &e) != FT_OK)
		fail_msg("%s: %s", line, e.text);
	while (ft_practice_next(y->p, &ev))
		take_event(y, &ev);
	if (y->w.wrong[0])
		fail_msg("after \"%s\": %s", line, y->w.wrong);
}

static void end(struct play *y)
{
	int64_t end_ns = ft_practice_untap(y->p);

	witness_ends(&y->w);
	assert_string_equal(y->w.wrong, "");
	assert_true(end_ns >= y->w.last_end_ns);
	if (y->reader) {
		assert_int_equal(y->w.sale_count, y->sold_count);
		for (size_t i = 0; i < y->sold_count; i++) {
			assert_int_equal(y->w.sales[i].card, y->sold[i].card);
			assert_int_equal(y->w.sales[i].item, y->sold[i].item);
			assert_int_equal(y->w.sales[i].price, y->sold[i].price);
		}
	}
	assert_int_equal(y->w.coins_in + y->w.bills_in - y->w.paid_out, y->net);
	assert_int_equal(y->w.topped, y->topped);
	assert_int_equal(y->w.by_hand, y->by_hand);
	ft_practice_done(y->p);
	ft_arena_done(&y->arena);
}

static const char *const machines[] = { "snack", "hotdrink", "coinbox" };
enum { MACHINES = 3 };

static void power_up_alone(void **state)
{
	(void)state;
	for (int m = 0; m < MACHINES; m++) {
		struct play y;
		begin(&y, machines[m], 1);
		say(&y, "wait 2");
		assert_int_equal(y.w.breaks, 1);
		assert_true(y.w.was_reset[1]);
		assert_true(y.w.was_reset[6] == y.bills);
		assert_true(y.w.enabled == y.reader);
		assert_true(y.w.coin_value[0] == 5);
		end(&y);
	}
}

static void one_of_each(void **state)
{
	static const char *const lines[] = { "sell 21 coins 100 25",
		                                 "sell 14 bill 500",
		                                 "sell 11 bill 100 coins 25 25",
		                                 "sell 21 card",
		                                 "sell 22 card deny",
		                                 "sell 22 card timeout",
		                                 "sell 23 card fail",
		                                 "sell 11 coins 100 100",
		                                 "sell 31 token",
		                                 "sell 32 coins 100 fail",
		                                 "insert coin 25",
		                                 "return",
		                                 "insert bill 100",
		                                 "return",
		                                 "test 21",
		                                 "payout 25 9",
		                                 "fill 25 4",
		                                 "collect" };
	struct play y;

	(void)state;
	begin(&y, "snack", 1);
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
		if (strncmp(lines[i], "sell 14", 7) != 0)
			say(&y, lines[i]);
	assert_int_equal(y.w.refunds, 1);
	assert_int_equal(y.w.denials, 2);
	assert_int_equal(y.w.tokens, 1);
	assert_int_equal(y.w.bills_back, 100);
	end(&y);
}

static void random_line(struct play *y, int m, char *to, size_t room)
{
	static const char *const ids[MACHINES][4] = { { "11", "21", "23", "31" },
		                                          { "1", "3", "6", "7" },
		                                          { "1", "2", "3", "4" } };
	static const int coins[MACHINES][4] = { { 5, 10, 25, 100 }, { 10, 50, 100, 200 }, { 10, 20, 50, 100 } };
	static const int bills[MACHINES][2] = { { 100, 500 }, { 500, 1000 }, { 0, 0 } };
	const char *id = ids[m][chance(y, 4)];
	int a = coins[m][chance(y, 4)], b = coins[m][chance(y, 4)];

	switch (chance(y, 13)) {
	case 0:
	case 1:
	case 2:
		snprintf(to, room, "sell %s coins %d %d %d%s", id, a, b, coins[m][3], chance(y, 6) ? "" : " fail");
		return;
	case 3:
	case 4:
	case 5:
		if (y->reader)
			snprintf(to, room, "sell %s card%s", id, chance(y, 4) ? "" : chance(y, 2) ? " deny" : " fail");
		else
			snprintf(to, room, "sell %s coins %d", id, a);
		return;
	case 6:
		if (y->bills)
			snprintf(to, room, "sell %s bill %d", id, bills[m][chance(y, 2)]);
		else
			snprintf(to, room, "free %s", id);
		return;
	case 7:
		snprintf(to, room, "price %s %u", id, 5 * (10 + chance(y, 40)));
		return;
	case 8:
		snprintf(to, room, "insert coin %d", a);
		return;
	case 9:
		snprintf(to, room, "press %s", id);
		return;
	case 10:
		snprintf(to, room, "return");
		return;
	case 11:
		if (m == 1)
			snprintf(to, room, "topup coins %d %d", a, b);
		else
			snprintf(to, room, "test %s", id);
		return;
	default:
		snprintf(to, room, chance(y, 2) ? "wait %u" : "payout 10 %u", 1 + chance(y, 5));
		return;
	}
}

/* A hundred random lives of each machine, with a power cut in the middle. */
static void a_hundred_seeds(void **state)
{
	uint64_t words = 0;

	(void)state;
	for (int m = 0; m < MACHINES; m++)
		for (unsigned seed = 1; seed <= 100; seed++) {
			struct play y;
			char line[80];
			begin(&y, machines[m], seed);
			for (int i = 0; i < 24; i++) {
				random_line(&y, m, line, sizeof line);
				say(&y, line);
				if (i == 12) {
					say(&y, "return");
					say(&y, "power off");
					say(&y, "power on");
				}
			}
			say(&y, "return");
			assert_int_equal(y.w.breaks, 2);
			words += y.w.words;
			end(&y);
		}
	print_message("%llu words\n", (unsigned long long)words);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(power_up_alone),
		cmocka_unit_test(one_of_each),
		cmocka_unit_test(a_hundred_seeds),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
