/* SPDX-License-Identifier: Apache-2.0 */
/* What the practice machine says on its bus, heard by a strict listener of the tests' own: legal traffic only,
 * and in it exactly the money and the sales that the machine's events tell. */
#include "unit.h"

#include <stdio.h>

#include "bus_play.h"

static void all_is_well(const struct witness *w)
{
	if (w->wrong[0])
		fail_msg("%s", w->wrong);
}

static void begin(struct play *y, struct witness *w, int machine, unsigned seed)
{
	witness_begins(w);
	play_begin(y, machine, seed, NULL, (struct ft_practice_tap){ w, witness_word });
}

static void end(struct play *y, struct witness *w)
{
	int64_t end_ns = play_end(y);

	witness_ends(w);
	all_is_well(w);
	assert_true(end_ns >= w->last_end_ns);
	if (y->reader) {
		assert_int_equal(w->sale_count, y->sold_count);
		for (size_t i = 0; i < y->sold_count; i++) {
			assert_int_equal(w->sales[i].card, y->sold[i].card);
			assert_int_equal(w->sales[i].item, y->sold[i].item);
			assert_int_equal(w->sales[i].price, y->sold[i].price);
		}
	}
	assert_int_equal(w->coins_in + w->bills_in - w->paid_out, y->net);
	assert_int_equal(w->topped, y->topped);
	assert_int_equal(w->by_hand, y->by_hand);
	play_done(y);
}

static void power_up_alone(void **state)
{
	(void)state;
	for (int m = 0; m < MACHINES; m++) {
		struct play y;
		struct witness w;
		begin(&y, &w, m, 1);
		play_say(&y, "wait 2");
		assert_int_equal(w.breaks, 1);
		assert_true(w.was_reset[1]);
		assert_true(w.was_reset[6] == y.bills);
		assert_true(w.enabled == y.reader);
		assert_true(w.coin_value[0] == 5);
		end(&y, &w);
	}
}

static void one_of_each(void **state)
{
	static const char *const lines[] = { "sell 21 coins 100 25",
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
	struct witness w;

	(void)state;
	begin(&y, &w, 0, 1);
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		play_say(&y, lines[i]);
		all_is_well(&w);
	}
	assert_int_equal(w.refunds, 1);
	assert_int_equal(w.denials, 2);
	assert_int_equal(w.tokens, 1);
	assert_int_equal(w.bills_back, 100);
	assert_int_equal(y.sold_count, 5);
	end(&y, &w);
}

/* A hundred random lives of each machine, with a power cut in the middle. */
static void a_hundred_seeds(void **state)
{
	(void)state;
	for (int m = 0; m < MACHINES; m++)
		for (unsigned seed = 1; seed <= 100; seed++) {
			struct play y;
			struct witness w;
			begin(&y, &w, m, seed);
			play_random(&y, 12);
			play_say(&y, "insert coin 10");
			play_say(&y, "power off");
			play_say(&y, "power on");
			play_random(&y, 12);
			play_say(&y, "return");
			assert_int_equal(w.breaks, 2);
			end(&y, &w);
		}
}

/* A bill in escrow when the power fails comes out when the validator starts again. */
static void escrow_outlives_a_cut(void **state)
{
	struct play y;
	struct witness w;

	(void)state;
	begin(&y, &w, 0, 3);
	play_say(&y, "insert bill 100");
	play_say(&y, "power off");
	assert_int_equal(w.bills_back, 0);
	play_say(&y, "power on");
	assert_int_equal(w.bills_back, 100);
	end(&y, &w);
}

static void nothing(void *to, const struct ft_bus_word *w)
{
	(void)w;
	++*(uint64_t *)to;
}

static void audit_of(struct play *y, struct ft_buf *out)
{
	struct ft_error e = { 0 };

	assert_int_equal(ft_practice_audit(y->p, FT_SLICE("TEST"), out, &e), FT_OK);
}

/* The same life with and without a tap: the audits agree byte for byte. Bus faults included. */
static void tapping_changes_nothing(void **state)
{
	size_t n;
	const struct ft_practice_fault *faults = ft_practice_faults(&n);

	(void)state;
	for (unsigned seed = 1; seed <= 3; seed++)
		for (size_t f = 0; f < n; f++) {
			struct play tapped, alone;
			struct ft_buf a = { 0 }, b = { 0 };
			uint64_t words = 0;
			char line[80];
			bool device = strncmp(faults[f].arguments, "DEVICE", strlen("DEVICE")) == 0;
			if (strncmp(faults[f].name, "bus-", strlen("bus-")) != 0)
				continue;
			snprintf(line, sizeof line, "fault %s%s%s", faults[f].name, device ? " reader" : "",
			         strstr(faults[f].arguments, "PERCENT") ? " 2" : "");
			play_begin(&tapped, 1, seed, line, (struct ft_practice_tap){ &words, nothing });
			play_begin(&alone, 1, seed, line, (struct ft_practice_tap){ &words, nothing });
			play_end(&alone);
			play_random(&tapped, 14);
			play_random(&alone, 14);
			audit_of(&tapped, &a);
			audit_of(&alone, &b);
			assert_true(ft_slice_eq(ft_buf_text(&a), ft_buf_text(&b)));
			assert_true(words > 0 || strcmp(faults[f].name, "bus-controller-silent") == 0);
			play_end(&tapped);
			play_done(&tapped);
			play_done(&alone);
			ft_buf_done(&a);
			ft_buf_done(&b);
		}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(power_up_alone),          cmocka_unit_test(one_of_each),
		cmocka_unit_test(a_hundred_seeds),         cmocka_unit_test(escrow_outlives_a_cut),
		cmocka_unit_test(tapping_changes_nothing),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
