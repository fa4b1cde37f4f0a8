/* SPDX-License-Identifier: Apache-2.0 */
/* The ledger on the invented sample pairs, on hand-made changes of them, and on lists people write. */
#include <stdlib.h>

#include "unit.h"

#include "ledger_machine.h"

static const char *folder; /* of the tests */
static struct ft_arena arena;

static struct ft_slice load(const char *name)
{
	char *path = ft_arena_printf(&arena, "%s/%s", folder, name);
	char *text = ft_arena_alloc(&arena, 65536);
	FILE *f = fopen(path, "rb");
	size_t n;

	assert_non_null(f);
	n = fread(text, 1, 65535, f);
	fclose(f);
	return (struct ft_slice){ text, n };
}

/* The text with one passage exchanged; the passage must be there. */
static struct ft_slice with(struct ft_slice text, const char *from, const char *to)
{
	size_t at = ft_slice_find(text, ft_slice_of(from)), n = strlen(from);
	char *out;

	assert_true(at < text.n);
	out = ft_arena_printf(&arena, "%.*s%s%.*s", (int)at, text.p, to, (int)(text.n - at - n), text.p + at + n);
	return ft_slice_of(out);
}

struct outcome {
	struct ft_findings findings;
	struct ft_comparison c;
	struct ft_proof p;
};

static struct outcome compare(struct ft_slice before, struct ft_slice after)
{
	struct outcome o = { .findings = { .arena = &arena } };
	struct ft_read b = open_audit(before, &arena), a = open_audit(after, &arena);

	assert_int_equal(ft_compare(&b, &a, &arena, &o.findings, &o.c, NULL), FT_OK);
	return o;
}

static struct outcome prove(struct ft_slice before, struct ft_slice after, const char *sales, int64_t counted)
{
	struct outcome o = { .findings = { .arena = &arena } };
	struct ft_read b = open_audit(before, &arena), a = open_audit(after, &arena);
	struct ft_prove_input in = { .counted = counted, .sales_name = "the list" };
	struct ft_sale *list;
	struct ft_error e = { 0 };

	if (sales) {
		assert_int_equal(ft_sales_read(ft_slice_of(sales), "the list", a.facts->decimals, &arena, &list, &in.sale_count,
		                               &e),
		                 FT_OK);
		in.sales = list;
	}
	assert_int_equal(ft_prove(&b, &a, &in, &arena, &o.findings, &o.p, &e), FT_OK);
	return o;
}

static const struct ft_finding *finding(const struct outcome *o, enum ft_rule_id rule)
{
	for (size_t i = 0; i < o->findings.count; i++)
		if (o->findings.list[i].rule == rule)
			return &o->findings.list[i];
	return NULL;
}

static const struct ft_counter *counter(const struct outcome *o, const char *element, const char *selection,
                                        bool since_reset)
{
	for (size_t i = 0; i < o->p.counter_count; i++) {
		const struct ft_counter *c = &o->p.counters[i];
		if (strcmp(c->element, element) == 0 && c->since_reset == since_reset &&
		    (selection ? ft_slice_is(c->selection, selection) : !c->selection.p))
			return c;
	}
	return NULL;
}

static void honest_pairs(void **state)
{
	(void)state;
	for (int i = 1; i <= 3; i++) {
		struct ft_slice b = load(ft_arena_printf(&arena, "samples/sample-%d.dts", i));
		struct ft_slice a = load(ft_arena_printf(&arena, "samples/sample-%db.dts", i));
		struct ft_slice s = load(ft_arena_printf(&arena, "sales/sample-%d.csv", i));
		struct outcome o = compare(b, a);
		assert_int_equal(o.findings.faults + o.findings.doubts, 0);
		assert_int_equal(o.c.pair, FT_PAIR_SAME);
		assert_int_equal(o.c.lost_count + o.c.restore_count, 0);
		assert_true(o.c.count_by_kind[FT_CHANGE_METER] > 20);
		assert_int_equal(o.c.count_by_kind[FT_CHANGE_SETTING] + o.c.count_by_kind[FT_CHANGE_IDENTITY], 0);
		o = prove(b, a, NULL, FT_ABSENT);
		assert_int_equal(o.findings.faults + o.findings.doubts, 0);
		assert_int_equal(o.p.agree, -1); /* one witness alone agrees with nobody */
		o = prove(b, a, ft_arena_text(&arena, s), FT_ABSENT);
		assert_int_equal(o.findings.faults + o.findings.doubts, 0);
		assert_int_equal(o.p.agree, 1);
		assert_int_equal(o.p.wrong_count, 0);
		assert_int_equal(o.p.verdict, FT_SHOWN);
	}
}

/* Worked out by hand: three sales on sample 1, every counter they touch and some they must not. */
static void table_by_hand(void **state)
{
	static const struct {
		const char *element, *selection;
		int64_t expected;
	} table[] = {
		{ "VA101", NULL, 600 }, { "VA102", NULL, 3 },   { "VA201", NULL, 225 }, { "VA202", NULL, 1 },
		{ "VA301", NULL, 0 },   { "CA201", NULL, 400 }, { "CA202", NULL, 2 },   { "DA201", NULL, 200 },
		{ "DA202", NULL, 1 },   { "TA201", NULL, 0 },   { "PA201", "10", 0 },   { "PA201", "12", 1 },
		{ "PA202", "12", 175 }, { "PA201", "14", 1 },   { "PA202", "14", 200 }, { "PA201", "32", 1 },
		{ "PA202", "32", 225 }, { "PA301", "32", 1 },   { "PA302", "32", 225 }, { "PA401", "32", 0 },
	};
	struct ft_slice b = load("samples/sample-1.dts");
	struct outcome o = prove(
		b, b,
		"selection,price,paid_with,tendered\n12,1.75,coin,2.00\n32,2.25,bill,5.00\n14,2.00,card,\n32,2.25,test,\n",
		FT_ABSENT);

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		const struct ft_counter *c = counter(&o, table[i].element, table[i].selection, false);
		assert_non_null(c);
		assert_true(c->expected == table[i].expected);
		assert_true(c->observed == 0);
		c = counter(&o, "PA203", "12", true); /* no reset between: the interval moves alike */
		assert_true(c && c->expected == 1);
	}
	for (size_t i = 0; i < o.p.counter_count; i++) {
		const struct ft_counter *c = &o.p.counters[i];
		if (c->since_reset)
			continue;
		if (strcmp(c->title, "cash taken in") == 0)
			assert_true(c->expected == 700);
		if (strcmp(c->title, "change given and kept") == 0)
			assert_true(c->expected == 300);
		if (strcmp(c->title, "bills taken in") == 0)
			assert_true(c->expected == 500);
		if (strcmp(c->title, "cash in less cash given back") == 0)
			assert_true(c->expected == 400);
	}
	assert_int_equal(o.p.agree, 0);
	assert_non_null(finding(&o, FT_RULE_LEDGER_COUNTER_MISMATCH));
}

static void wrong_pairs(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct outcome o = compare(a, b);

	(void)state;
	assert_non_null(finding(&o, FT_RULE_LEDGER_ORDER));
	assert_int_equal(o.c.pair, FT_PAIR_SWAPPED);
	assert_int_equal(o.c.restore_count, 0);
	o = compare(b, load("samples/sample-2.dts"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_OTHER_MACHINE));
	o = compare(load("samples/sample-3b.dts"), load("samples/sample-3.dts"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_ORDER));
	o = compare(b, with(a, "CD1200456", "CD9999999"));
	assert_string_equal(finding(&o, FT_RULE_LEDGER_SERIAL_CHANGED)->where.element, "DA101");
	assert_int_equal(o.c.pair, FT_PAIR_SAME);
}

static void lost_and_restored(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct ft_slice worse =
		with(with(with(a, "PA1*14*200*", "PA1*14*0*"), "PA1*31*100*GUM", "PA1*31*125*GUM"), "AST-2207", "");
	struct outcome o = compare(b, with(worse, "PA2*280*42000*49", "PA2*180*42000*49"));

	(void)state;
	assert_int_equal(o.c.lost_count, 1);
	assert_string_equal(o.c.lost[0].element, "PA201");
	assert_true(o.c.lost[0].before == 275 && o.c.lost[0].after == 180 && o.c.lost[0].how == FT_FELL_PLAIN);
	assert_int_equal(o.c.restore_count, 3);
	assert_true(ft_slice_is(o.c.restore[0].selection, "14") && ft_slice_is(o.c.restore[0].value, "2.00"));
	assert_true(ft_slice_is(o.c.restore[1].selection, "31") && ft_slice_is(o.c.restore[1].now, "1.25"));
	assert_string_equal(o.c.restore[2].what, "asset number");
	assert_true(o.c.restore[2].selection.p == NULL && ft_slice_is(o.c.restore[2].value, "AST-2207"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_PRICE_CHANGED));
	o = compare(with(b, "PA2*275*", "PA2*999990*"), with(a, "PA2*280*", "PA2*4*"));
	assert_int_equal(o.c.lost[0].how, FT_FELL_WRAPPED);
	assert_true(o.c.lost[0].modulus == 1000000);
	o = compare(b, with(a, "PA1*14*200*NUT MIX****0", "PA1*14*200*NUT MIX****1"));
	assert_string_equal(finding(&o, FT_RULE_LEDGER_SELECTION_GONE)->where.selection, "14");
	o = compare(b, with(a, "ID5*250317*0809", "ID5*000000*0000"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_CLOCK_BACK));
	o = compare(b, with(a, "**11*6", "**13*6"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_READ_COUNT));
	o = compare(b, with(a, "CA15*2380", "CA15*2280"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_TUBE_DRIFT));
	o = compare(load("samples/sample-2.dts"), with(load("samples/sample-2b.dts"), "**14*13", "**14*12"));
	assert_non_null(finding(&o, FT_RULE_LEDGER_RESET_WITHOUT_COUNT));
}

static void natural_order(void **state)
{
	static const char *const order[] = { "1", "2", "10", "A1", "A2", "a10", "B1" };

	(void)state;
	for (size_t i = 0; i + 1 < sizeof order / sizeof *order; i++) {
		assert_true(ft_selection_cmp(ft_slice_of(order[i]), ft_slice_of(order[i + 1])) < 0);
		assert_true(ft_selection_cmp(ft_slice_of(order[i + 1]), ft_slice_of(order[i])) > 0);
	}
	assert_int_equal(ft_selection_cmp(ft_slice_of("7"), ft_slice_of("7")), 0);
}

static void bad_lists(void **state)
{
	static const struct {
		const char *text, *says;
	} cases[] = {
		{ "time,price,paid_with\n1,2,coin\n", "no column selection" },
		{ "selection,price,paid_with\n21,1.505,coin\n", "line 2, column 2 (price)" },
		{ "selection,price,paid_with\n21,1.50,coin\n22,1.50,shells\n", "line 3, column 3 (paid_with)" },
		{ "selection,price,paid_with,tendered\n21,1.50,coin,1.00\n", "enough for the price" },
		{ "selection,price,paid_with\n,1.50,coin\n", "column 1 (selection)" },
		{ "selection,price,paid_with\n21,-1.50,coin\n", "(price)" },
		{ "", "is empty" },
	};
	struct ft_sale *list;
	size_t n;

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_error e = { 0 };
		assert_int_equal(ft_sales_read(ft_slice_of(cases[i].text), "the list", 2, &arena, &list, &n, &e), FT_E_INPUT);
		if (!strstr(e.text, cases[i].says))
			fail_msg("\"%s\" does not say \"%s\"", e.text, cases[i].says);
	}
	assert_int_equal(ft_sales_read(FT_SLICE("Paid With;Selection;Price\n BILL ;07;1,5\nTest Vend;8;2\n"), "x", 2,
	                               &arena, &list, &n, NULL),
	                 FT_OK);
	assert_int_equal(n, 2);
	assert_true(list[0].paid_with == FT_PAID_BILL && list[0].price == 150 && list[0].tendered == FT_ABSENT);
	assert_true(list[1].paid_with == FT_PAID_TEST && list[1].line == 3);
}

static void cannot_witness(void **state)
{
	struct ft_slice b = load("samples/sample-3.dts");
	struct outcome o = prove(b, b, "selection,price,paid_with\n1,0.50,card\n", FT_ABSENT);

	(void)state;
	assert_true(o.p.unshown); /* no DA2: nothing can show that it was a card */
	o = prove(b, b, "selection,price,paid_with\n77,0.50,coin\n", FT_ABSENT);
	assert_true(o.p.unshown);
	assert_string_equal(finding(&o, FT_RULE_LEDGER_CANNOT_WITNESS)->where.selection, "77");
	/* the counters agree, yet the test vend is shown by none: open, not shown */
	o = prove(b, b, "selection,price,paid_with\n1,0.50,test\n", FT_ABSENT);
	assert_int_equal(o.p.wrong_count, 0);
	assert_int_equal(o.p.verdict, FT_OPEN);
	assert_int_equal(o.p.agree, -1);
}

/* A controller that tells the cash it took but not the change, and its sales by number only. */
static void what_it_does_not_count(void **state)
{
	static const char start[] = "ST*001*1\r\nID1*S1\r\n", end[] = "EA3*1\r\nSE*9*1\r\n";
	struct ft_slice b = ft_slice_of(
		ft_arena_printf(&arena, "%sVA1*500*5\r\nCA2*500*5\r\nCA3*0*0*0**900*0*900\r\nPA1*1*100\r\nPA2*5\r\n%s", start,
	                    end));
	struct ft_slice a = ft_slice_of(
		ft_arena_printf(&arena, "%sVA1*600*6\r\nCA2*600*6\r\nCA3*200*0*200**1100*0*1100\r\nPA1*1*100\r\nPA2*6\r\n%s",
	                    start, end));
	struct outcome o = prove(b, a, "selection,price,paid_with,tendered\n1,1.00,coin,2.00\n", FT_ABSENT);
	bool change = false, prices = false;

	(void)state;
	assert_int_equal(o.findings.faults + o.findings.doubts, 0); /* no change counter is no wrong change */
	for (size_t i = 0; i < o.findings.count; i++)
		if (o.findings.list[i].rule == FT_RULE_LEDGER_CANNOT_WITNESS) {
			change |= strcmp(o.findings.list[i].expected, "the change given back") == 0;
			prices |= strcmp(o.findings.list[i].expected, "the prices paid at this selection") == 0;
		}
	assert_true(change && prices);
}

/* A meter of six digits that went round moved by what was sold; that it went round is a doubt, not a fault. */
static void round_its_end(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct outcome o =
		prove(with(b, "VA1*293075*", "VA1*999000*"), with(a, "VA1*298450*", "VA1*4375*"), NULL, FT_ABSENT);

	(void)state;
	assert_string_equal(finding(&o, FT_RULE_LEDGER_METER_WRAPPED)->where.element, "VA101");
	assert_int_equal(o.findings.faults, 0);
	assert_int_equal(o.p.wrong_count, 0);
	o = prove(with(b, "VA1*293075*", "VA1*999000*"), with(a, "VA1*298450*", "VA1*4275*"), NULL, FT_ABSENT);
	assert_true(o.findings.faults > 0);
}

/* A part that names itself before and not after fell silent, or was taken out. */
static void silent_part(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct outcome o = compare(b, with(a, "DA1*CD1200456*", "DA1**"));

	(void)state;
	assert_string_equal(finding(&o, FT_RULE_LEDGER_SERIAL_CHANGED)->where.element, "DA101");
	assert_int_equal(o.findings.faults, 0);
	assert_int_equal(o.findings.doubts, 1);
}

static void sold_alike(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts");
	struct outcome o = prove(b, b, "selection,price,paid_with\n10,1.00,coin\n12,1.00,coin\n", FT_ABSENT);

	(void)state;
	assert_string_equal(finding(&o, FT_RULE_LEDGER_SOLD_ALIKE)->seen, "10 and 12");
	/* test and free vends have counters of their own: crossed, they would show */
	o = prove(b, b, "selection,price,paid_with\n10,1.00,test\n12,1.00,free\n", FT_ABSENT);
	assert_null(finding(&o, FT_RULE_LEDGER_SOLD_ALIKE));
}

static void counted_cash(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct outcome o = prove(b, a, NULL, 1270 + 1900); /* 69680 - 68410 and 104000 - 102100 */

	(void)state;
	assert_int_equal(o.p.agree, 1);
	assert_int_equal(o.findings.faults, 0);
	o = prove(b, a, NULL, 3169);
	assert_int_equal(o.p.agree, 0);
	assert_string_equal(finding(&o, FT_RULE_LEDGER_CASH_COUNTED)->expected, "31.70");
}

/* Two things wrong at once, on a machine of 60 selections and 500 sales. */
static void two_edits(void **state)
{
	static struct machine before, after;
	struct ft_buf text[2] = { { 0 }, { 0 } }, csv = { 0 };
	uint64_t dice = 5;
	struct outcome o;
	bool found = false;

	(void)state;
	random_machine(&before, SNACK, 60, &dice);
	after = before;
	ft_buf_puts(&csv, "selection,price,paid_with,tendered\n");
	for (int i = 0; i < 500; i++) {
		struct vend v = random_vend(&before, &dice), as = v;
		char p[FT_MONEY_TEXT], t[FT_MONEY_TEXT] = "";
		ft_money_text(v.price, 2, p);
		if (v.tendered != FT_ABSENT)
			ft_money_text(v.tendered, 2, t);
		ft_buf_printf(&csv, "%d,%s,%s,%s\n", v.place + 10, p, ft_paid_word(v.paid), t);
		as.place = v.place == 11 ? 13 : v.place == 13 ? 11 : v.place;
		book(&after, &as, v.place == 40 && v.paid == FT_PAID_CARD_1 && !found ? 2 : 1);
		found |= v.place == 40 && v.paid == FT_PAID_CARD_1;
		take_cash(&after, &v, (unsigned)i);
	}
	assert_true(found);
	after.reads++;
	write_machine(&text[0], &before);
	write_machine(&text[1], &after);
	ft_buf_byte(&csv, 0);
	o = prove(ft_buf_text(&text[0]), ft_buf_text(&text[1]), csv.p, FT_ABSENT);
	found = false;
	assert_true(o.p.story_count > 0);
	for (size_t i = 0; i < o.p.story_count; i++) {
		assert_int_equal(o.p.stories[i].edit_count, 2);
		found |= strstr(o.p.stories[i].detail, "Selections 21 and 23 count for each other") &&
			strstr(o.p.stories[i].detail, "at selection 50 was counted twice");
	}
	assert_true(found);
	ft_buf_done(&text[0]);
	ft_buf_done(&text[1]);
	ft_buf_done(&csv);
}

static void nothing_simple(void **state)
{
	struct ft_slice b = load("samples/sample-1.dts"), a = load("samples/sample-1b.dts");
	struct outcome o = prove(b, a, "selection,price,paid_with,tendered\n10,1.50,coin,1.50\n", FT_ABSENT);

	(void)state;
	assert_int_equal(o.p.agree, 0);
	assert_int_equal(o.p.story_count, 0);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
}

static int tidy(void **state)
{
	(void)state;
	ft_arena_reset(&arena);
	return 0;
}

#define T(f) cmocka_unit_test_teardown(f, tidy)

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		T(honest_pairs), T(table_by_hand),  T(wrong_pairs), T(lost_and_restored), T(natural_order),
		T(bad_lists),    T(cannot_witness), T(sold_alike),  T(counted_cash),      T(what_it_does_not_count),
		T(silent_part),  T(round_its_end),  T(two_edits),   T(nothing_simple)
	};
	int failed;

	folder = argc > 1 ? argv[1] : "tests";
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	ft_arena_done(&arena);
	return failed;
}
