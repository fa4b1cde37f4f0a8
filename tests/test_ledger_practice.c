/* SPDX-License-Identifier: Apache-2.0 */
/* The ledger against the practice machine, which keeps its books by itself: what its faults do must be
 * told as the first story, and an honest practice machine must agree with its own sales. */
#include "unit.h"

#include "fettle/practice.h"
#include "ledger_machine.h"

struct visit {
	struct ft_practice *machine;
	struct ft_slice before, after;
	struct ft_sale sales[64];
	size_t sale_count;
};

static struct ft_slice read_audit(struct visit *v, struct ft_arena *a)
{
	struct ft_slice bytes;
	struct ft_error e = { 0 };

	assert_int_equal(ft_practice_read_begin(v->machine, 0, FT_SLICE("TRIAL01"), &bytes, &e), FT_OK);
	bytes = (struct ft_slice){ ft_arena_text(a, bytes), bytes.n };
	ft_practice_read_end(v->machine, 0, true);
	return bytes;
}

static enum ft_paid paid_of(const struct ft_practice_event *ev)
{
	static const struct {
		const char *word;
		enum ft_paid paid;
	} words[] = {
		{ "coin", FT_PAID_COIN }, { "bill", FT_PAID_BILL }, { "card", FT_PAID_CARD }, { "token", FT_PAID_TOKEN }
	};

	if (ev->kind != FT_PRACTICE_SALE)
		return ev->kind == FT_PRACTICE_TEST ? FT_PAID_TEST : FT_PAID_FREE;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (strcmp(words[i].word, ev->paid_with) == 0)
			return words[i].paid;
	return FT_PAID_CASH;
}

/* Lines parted by semicolons; what was sold goes on the list as a fitter would write it. */
static void act(struct visit *v, const char *lines, struct ft_arena *a)
{
	struct ft_slice rest = ft_slice_of(lines), line;
	struct ft_practice_event ev;

	while (ft_slice_split(&rest, ';', &line)) {
		struct ft_practice_wish w;
		struct ft_error e = { 0 };
		if (ft_practice_do(v->machine, line, 0, &w, &e) != FT_OK)
			fail_msg("%s", e.text);
		while (ft_practice_next(v->machine, &ev)) {
			if (ev.kind != FT_PRACTICE_SALE && ev.kind != FT_PRACTICE_TEST && ev.kind != FT_PRACTICE_FREE)
				continue;
			assert_true(v->sale_count < 64);
			v->sales[v->sale_count++] =
				(struct ft_sale){ .line = (unsigned)v->sale_count + 1,
				                  .selection = ft_slice_of(ft_arena_printf(a, "%s", ev.selection)),
				                  .price = ev.price,
				                  .paid_with = paid_of(&ev),
				                  .tendered = ev.tendered };
		}
	}
}

static struct ft_proof *visit(const char *machine, const char *fault, const char *lines, struct ft_arena *a)
{
	static struct visit v;
	struct ft_findings f = { .arena = a };
	struct ft_proof *p = FT_NEW(a, struct ft_proof);
	struct ft_prove_input in = { .counted = FT_ABSENT };
	struct ft_practice_event ev;
	struct ft_read before, after;
	struct ft_error e = { 0 };

	v = (struct visit){ 0 };
	assert_int_equal(ft_practice_new(ft_practice_builtin(ft_slice_of(machine))->description, machine, 7, a, &v.machine,
	                                 &e),
	                 FT_OK);
	while (ft_practice_next(v.machine, &ev))
		;
	v.before = read_audit(&v, a);
	if (fault)
		act(&v, ft_arena_printf(a, "fault %s", fault), a);
	act(&v, lines, a);
	v.after = read_audit(&v, a);
	before = open_audit(v.before, a);
	after = open_audit(v.after, a);
	in.sales = v.sales;
	in.sale_count = v.sale_count;
	assert_int_equal(ft_prove(&before, &after, &in, a, &f, p, &e), FT_OK);
	ft_practice_done(v.machine);
	return p;
}

static const char snack[] = "sell 11 coins 100 25 25;sell 13 bill 500;sell 13 card;sell 21 coins 100 25;sell 22 card;"
							"sell 15 bill 100 bill 100;test 21;free 22;sell 11 card;sell 11 card";
static const char hotdrink[] = "sell 1 coins 100;sell 2 bill 500;sell 2 card;sell 3 coins 200;sell 4 card list 2;"
							   "sell 5 card list 1;test 3;free 2;sell 1 card;topup bill 1000;sell 7 coins 50";
static const char coinbox[] = "sell 1 coins 100;sell 3 coins 50 20;sell 2 coins 50 5;sell 3 coins 100";

static void honest_practice(void **state)
{
	static const struct {
		const char *machine, *lines;
	} cases[] = { { "snack", snack }, { "hotdrink", hotdrink }, { "coinbox", coinbox } };
	struct ft_arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_proof *p = visit(cases[i].machine, NULL, cases[i].lines, &a);
		assert_int_equal(p->agree, 1);
		assert_int_equal(p->verdict, FT_SHOWN);
		assert_true(p->counter_count > 20);
		ft_arena_reset(&a);
	}
	ft_arena_done(&a);
}

static void faults_of_practice(void **state)
{
	static const struct {
		const char *machine, *fault, *lines;
		enum ft_story_kind kind;
		const char *about;
	} cases[] = {
		{ "snack", "crossed-selections 11 13", snack, FT_STORY_CROSSED_SELECTIONS, "11" },
		{ "snack", "counted-elsewhere 15 22", snack, FT_STORY_COUNTED_ELSEWHERE, "15" },
		{ "snack", "counted-elsewhere 11 22", snack, FT_STORY_COUNTED_ELSEWHERE, "11" },
		{ "snack", "not-counted 13", snack, FT_STORY_NOT_COUNTED, "13" },
		{ "snack", "counted-twice 13", snack, FT_STORY_COUNTED_TWICE, "13" },
		{ "snack", "counted-twice", snack, FT_STORY_COUNTED_TWICE, NULL },
		{ "snack", "cashless-as-cash", snack, FT_STORY_CASHLESS_AS_CASH, NULL },
		{ "snack", "cash-as-cashless", snack, FT_STORY_CASH_AS_CASHLESS, NULL },
		{ "snack", "cash-in-lost", snack, FT_STORY_CASH_NOT_REPORTED, NULL },
		{ "hotdrink", "crossed-selections 1 3", hotdrink, FT_STORY_CROSSED_SELECTIONS, "1" },
		{ "hotdrink", "counted-twice 2", hotdrink, FT_STORY_COUNTED_TWICE, "2" },
		{ "hotdrink", "cashless-as-cash", hotdrink, FT_STORY_CASHLESS_AS_CASH, NULL },
		{ "hotdrink", "cash-as-cashless", hotdrink, FT_STORY_CASH_AS_CASHLESS, NULL },
		{ "hotdrink", "cash-in-lost", hotdrink, FT_STORY_CASH_NOT_REPORTED, NULL },
		{ "coinbox", "crossed-selections 1 3", coinbox, FT_STORY_CROSSED_SELECTIONS, "1" },
		{ "coinbox", "not-counted 3", coinbox, FT_STORY_NOT_COUNTED, "3" },
	};
	struct ft_arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_proof *p = visit(cases[i].machine, cases[i].fault, cases[i].lines, &a);
		const struct ft_story_edit *e = &p->stories[0].edits[0];
		assert_int_equal(p->agree, 0);
		if (p->story_count == 0 || e->kind != cases[i].kind || p->stories[0].edit_count != 1 ||
		    (cases[i].about && !ft_slice_is(e->selections[0], cases[i].about)))
			fail_msg("%s with %s: told \"%s\"", cases[i].machine, cases[i].fault,
			         p->story_count ? p->stories[0].detail : "nothing");
		ft_arena_reset(&a);
	}
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(honest_practice), cmocka_unit_test(faults_of_practice) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
