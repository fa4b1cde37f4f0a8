/* SPDX-License-Identifier: Apache-2.0 */
#include "bus_play.h"

#include <stdio.h>

#include "unit.h"

const char *const play_machines[MACHINES] = { "snack", "hotdrink", "coinbox" };

static uint32_t chance(struct play *y, uint32_t below)
{
	y->random = y->random * 1664525 + 1013904223;
	return (y->random >> 8) % below;
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

void play_say(struct play *y, const char *line)
{
	struct ft_practice_wish wish;
	struct ft_practice_event ev;
	struct ft_error e = { 0 };

	if (ft_practice_do(y->p, ft_slice_of(line), 0, &wish, &e) != FT_OK)
		fail_msg("%s: %s", line, e.text);
	while (ft_practice_next(y->p, &ev))
		take_event(y, &ev);
}

void play_begin(struct play *y, int machine, unsigned seed, const char *fault, struct ft_practice_tap tap)
{
	const char *name = play_machines[machine];
	const struct ft_practice_builtin *b = ft_practice_builtin(ft_slice_of(name));
	struct ft_error e = { 0 };

	*y = (struct play){ .random = seed, .machine = machine, .tap = tap, .reader = machine != 2, .bills = machine != 2 };
	assert_int_equal(ft_practice_new(b->description, name, seed, &y->arena, &y->p, &e), FT_OK);
	if (fault)
		play_say(y, fault);
	assert_int_equal(ft_practice_tap(y->p, &y->tap, true, &e), FT_OK);
}

int64_t play_end(struct play *y)
{
	return ft_practice_untap(y->p);
}

void play_done(struct play *y)
{
	ft_practice_done(y->p);
	ft_arena_done(&y->arena);
}

static void random_line(struct play *y, char *to, size_t room)
{
	static const char *const ids[MACHINES][4] = { { "11", "21", "23", "31" },
		                                          { "1", "3", "6", "7" },
		                                          { "1", "2", "3", "4" } };
	static const int coins[MACHINES][4] = { { 5, 10, 25, 100 }, { 10, 50, 100, 200 }, { 10, 20, 50, 100 } };
	static const int bills[MACHINES][2] = { { 100, 500 }, { 500, 1000 }, { 0, 0 } };
	int m = y->machine, a = coins[m][chance(y, 4)], b = coins[m][chance(y, 4)];
	const char *id = ids[m][chance(y, 4)];

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
			snprintf(to, room, "sell %s card%s", id,
			         chance(y, 4)                             ? ""
			             : chance(y, 2) || y->failures++ >= 2 ? " deny"
			                                                  : " fail");
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

void play_random(struct play *y, int lines)
{
	char line[80];

	while (lines-- > 0) {
		random_line(y, line, sizeof line);
		play_say(y, line);
	}
}
