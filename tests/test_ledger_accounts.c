/* SPDX-License-Identifier: Apache-2.0 */
/* Proving with another witness than the fitter: what a capture of the bus saw, alone and beside a list. The
 * machine and its books are invented. */
#include "unit.h"

#include "ledger_machine.h"

static struct ft_arena arena;

/* What was sold in these tests: two by card (10 and 12), one for coins (11) with change. */
static const struct vend sold[] = {
	{ .place = 0, .paid = FT_PAID_CARD_1, .price = 150, .tendered = FT_ABSENT },
	{ .place = 1, .paid = FT_PAID_COIN, .price = 120, .tendered = 200 },
	{ .place = 2, .paid = FT_PAID_CARD_1, .price = 180, .tendered = FT_ABSENT },
};
enum { SOLD = sizeof sold / sizeof *sold };

static struct machine fresh(void)
{
	return (
		struct machine){ .dialect = SNACK, .places = 4, .price = { 150, 120, 180, 90 }, .reads = 3, .stored = 5000 };
}

static struct ft_read audit_of(const struct machine *m)
{
	struct ft_buf text = { 0 };
	struct ft_read r;

	write_machine(&text, m);
	r = open_audit(ft_buf_text(&text), &arena);
	ft_buf_done(&text);
	assert_non_null(r.facts);
	return r;
}

static void vend(struct machine *m, const struct vend *v)
{
	book(m, v, 1);
	take_cash(m, v, 1);
}

/* ---- a report of the bus, made by hand ---- */

struct seen {
	struct ft_bus_report report;
	struct ft_bus_sale sales[8];
	struct ft_bus_money money[8];
};

static void saw_sale(struct seen *b, int item, bool card, int64_t price, enum ft_bus_outcome outcome)
{
	int64_t at = (int64_t)(b->report.sale_count + b->report.money_count + 1) * 1000000000;

	b->sales[b->report.sale_count++] = (struct ft_bus_sale){ .at_ns = at,
		                                                     .address = 0x10,
		                                                     .item = item,
		                                                     .card = card,
		                                                     .price = price,
		                                                     .approved = card ? price : FT_ABSENT,
		                                                     .decimals = 2,
		                                                     .outcome = outcome };
}

static void saw_money(struct seen *b, int64_t value, enum ft_bus_route route)
{
	int64_t at = (int64_t)(b->report.sale_count + b->report.money_count + 1) * 1000000000;

	b->money[b->report.money_count++] = (struct ft_bus_money){
		.at_ns = at, .address = 0x08, .source = FT_BUS_CHANGER, .value = value, .decimals = 2, .route = route
	};
}

static void begin(struct seen *b, bool told_of_cash)
{
	*b = (struct seen){ 0 };
	b->report.devices[1] = (struct ft_bus_device){ .address = 0x08, .kind = FT_BUS_CHANGER, .answered = 9 };
	b->report.devices[2] = (struct ft_bus_device){ .address = 0x10, .kind = FT_BUS_CASHLESS, .answered = 9 };
	b->report.devices[2].setup.known = true;
	b->report.devices[2].setup.options = told_of_cash ? 0x09 : 0x01;
	b->report.decimals = 2;
}

/* Everything that was sold, as the bus carries it: the change before CASH SALE, as in the worked exchange. */
static void saw_all(struct seen *b)
{
	begin(b, true);
	saw_sale(b, 10, true, 150, FT_BUS_SOLD);
	saw_money(b, 100, FT_BUS_ROUTE_TUBE);
	saw_money(b, 100, FT_BUS_ROUTE_BOX);
	saw_money(b, -80, FT_BUS_ROUTE_OUT);
	saw_sale(b, 11, false, 120, FT_BUS_SOLD);
	saw_sale(b, 12, true, 180, FT_BUS_SOLD);
}

static struct ft_account account_of(struct seen *b)
{
	struct ft_account x;
	struct ft_error e = { 0 };

	b->report.sales = b->sales;
	b->report.money = b->money;
	assert_int_equal(ft_sales_of_bus(&b->report, "tap.vcd", 2, &arena, &x, &e), FT_OK);
	return x;
}

struct outcome {
	struct ft_findings findings;
	struct ft_proof p;
};

static struct outcome prove(const struct machine *before, const struct machine *after, const char *list,
                            const struct ft_account *x)
{
	struct outcome o = { .findings = { .arena = &arena } };
	struct ft_read b = audit_of(before), a = audit_of(after);
	struct ft_prove_input in = { .counted = FT_ABSENT, .accounts = x, .account_count = x != NULL };
	struct ft_error e = { 0 };
	struct ft_sale *sales;

	if (list) {
		assert_int_equal(ft_sales_read(ft_slice_of(list), "the list", 2, &arena, &sales, &in.sale_count, &e), FT_OK);
		in.sales = sales;
		in.sales_name = "list.csv";
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

static int agrees(const struct outcome *o, const char *witness)
{
	for (size_t i = 0; i < o->p.witness_count; i++)
		if (strcmp(o->p.witnesses[i].name, witness) == 0)
			return o->p.witnesses[i].agrees;
	fail_msg("no witness %s", witness);
	return -2;
}

static const char list[] = "time,selection,price,paid_with,tendered\n"
						   "1,10,1.50,card,\n2,11,1.20,coin,2.00\n3,12,1.80,card1,\n";

static void sales_from_the_bus(void **state)
{
	struct seen b;
	struct ft_account x;

	(void)state;
	saw_all(&b);
	saw_sale(&b, 13, true, 90, FT_BUS_FAILED);
	saw_sale(&b, 13, true, 90, FT_BUS_UNCLOSED);
	x = account_of(&b);
	assert_int_equal(x.sale_count, 3);
	assert_int_equal(x.unsettled, 1);
	assert_false(x.cash_unseen);
	assert_true(x.cash_in == 200 && x.cash_out == 80);
	assert_int_equal(x.sales[0].paid_with, FT_PAID_CARD_1);
	assert_int_equal(x.sales[1].paid_with, FT_PAID_CASH);
	assert_true(x.sales[1].tendered == 200 && x.sales[1].price == 120);
	assert_true(ft_slice_is(x.sales[2].selection, "12"));
	b.sales[0].address = 0x60;
	assert_int_equal(account_of(&b).sales[0].paid_with, FT_PAID_CARD_2);
	/* one credit, two sales: what came in stands with the first; the next credit begins anew */
	begin(&b, true);
	saw_money(&b, 500, FT_BUS_ROUTE_BOX);
	saw_sale(&b, 10, false, 150, FT_BUS_SOLD);
	saw_sale(&b, 11, false, 120, FT_BUS_SOLD);
	saw_money(&b, -230, FT_BUS_ROUTE_OUT);
	saw_money(&b, 150, FT_BUS_ROUTE_BOX);
	saw_sale(&b, 10, false, 150, FT_BUS_SOLD);
	x = account_of(&b);
	assert_true(x.sales[0].tendered == 380 && x.sales[1].tendered == 120 && x.sales[2].tendered == 150);
	/* money from before the capture: what was put in is not known */
	begin(&b, true);
	saw_sale(&b, 10, false, 150, FT_BUS_SOLD);
	assert_true(account_of(&b).sales[0].tendered == FT_ABSENT);
	/* a bill in escrow that came back was never put in */
	begin(&b, true);
	saw_money(&b, 500, FT_BUS_ROUTE_ESCROW);
	saw_money(&b, 500, FT_BUS_ROUTE_RETURNED);
	x = account_of(&b);
	assert_true(x.cash_in == 0 && x.cash_out == 0);
}

static void bus_alone(void **state)
{
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_all(&b);
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.findings.faults + o.findings.doubts, 0);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_int_equal(o.p.agree, 1);
	assert_int_equal(agrees(&o, "bus capture"), 1);
	assert_int_equal(agrees(&o, "audit"), 1);
	assert_int_equal(agrees(&o, "fitter's list"), -1);
	assert_null(finding(&o, FT_RULE_LEDGER_NOT_ON_THE_BUS));
	b.report.damaged = 3; /* said, and no doubt by itself */
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_string_equal(finding(&o, FT_RULE_LEDGER_NOT_ON_THE_BUS)->expected, "what stood in 3 damaged blocks");
	b.report.damaged = 0;
	x = account_of(&b);
	/* the machine counts selection 10 for 11: the bus finds it as the list would */
	after = before;
	for (int i = 0; i < SOLD; i++) {
		struct vend v = sold[i];
		v.place = v.place == 0 ? 1 : v.place == 1 ? 0 : v.place;
		vend(&after, &v);
	}
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	assert_int_equal(o.p.stories[0].edits[0].kind, FT_STORY_CROSSED_SELECTIONS);
	/* cash that went in and that the machine does not count */
	after = before;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_money(&b, 100, FT_BUS_ROUTE_BOX);
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	assert_non_null(finding(&o, FT_RULE_LEDGER_COUNTER_MISMATCH));
	/* test vends are not on the bus: said, and no fault of the machine */
	saw_all(&b);
	vend(&after, &(struct vend){ .place = 3, .paid = FT_PAID_TEST, .price = 90, .tendered = FT_ABSENT });
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_non_null(finding(&o, FT_RULE_LEDGER_NOT_ON_THE_BUS));
}

/* No reader takes CASH SALE: cash sales are not seen, which is said and never passed over. */
static void cash_unseen(void **state)
{
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	begin(&b, false);
	saw_sale(&b, 10, true, 150, FT_BUS_SOLD);
	saw_money(&b, 200, FT_BUS_ROUTE_TUBE);
	saw_money(&b, -80, FT_BUS_ROUTE_OUT);
	saw_sale(&b, 12, true, 180, FT_BUS_SOLD);
	x = account_of(&b);
	assert_true(x.cash_unseen);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.findings.faults, 0);
	assert_int_equal(o.p.verdict, FT_OPEN);
	assert_int_equal(o.p.agree, -1);
	assert_int_equal(finding(&o, FT_RULE_LEDGER_NOT_ON_THE_BUS)->weight, FT_DOUBT);
	/* the cards are judged all the same: one was counted nowhere */
	after = before;
	vend(&after, &sold[0]);
	vend(&after, &sold[1]);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	/* or at another selection, which only the least of a selection's counter tells */
	vend(&after, &(struct vend){ .place = 3, .paid = FT_PAID_CARD_1, .price = 180, .tendered = FT_ABSENT });
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	assert_true(strncmp(finding(&o, FT_RULE_LEDGER_COUNTER_MISMATCH)->expected, "at least ", 9) == 0);
	/* and the cash put in against the counter of cash in */
	after = before;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	b.money[0].value = 250;
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	/* where nothing was sold for cash there is nothing to doubt */
	after = before;
	vend(&after, &sold[0]);
	vend(&after, &sold[2]);
	b.report.money_count = 0;
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_int_equal(o.p.agree, 1);
}

static void list_and_bus(void **state)
{
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_all(&b);
	x = account_of(&b);
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_int_equal(o.p.agree, 1);
	assert_int_equal(o.p.differ, 0);
	assert_int_equal(agrees(&o, "fitter's list"), 1);
	assert_int_equal(agrees(&o, "bus capture"), 1);
	assert_null(o.p.alone);
	/* the bus lacks one, has one more, has another price, another selection, another means */
	x.sale_count = 2;
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.differ, 1);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	assert_int_equal(finding(&o, FT_RULE_LEDGER_ACCOUNTS_DIFFER)->where.line, 4);
	assert_string_equal(o.p.alone, "bus capture");
	x.sale_count = 3;
	for (int way = 0; way < 4; way++) {
		struct ft_sale own[4];
		memcpy(own, x.sales, 3 * sizeof *own);
		own[3] = own[0];
		if (way == 1)
			own[1].price = 130;
		else if (way == 2)
			own[2].selection = FT_SLICE("13");
		else if (way == 3)
			own[1].paid_with = FT_PAID_CARD_1;
		o = prove(&before, &after, list,
		          &(struct ft_account){ .witness = "bus capture",
		                                .name = "tap.vcd",
		                                .sales = own,
		                                .sale_count = way ? 3 : 4,
		                                .cash_in = FT_ABSENT,
		                                .cash_out = FT_ABSENT });
		assert_int_equal(o.p.differ, 1);
		assert_int_equal(agrees(&o, "bus capture"), 0);
		assert_int_equal(agrees(&o, "audit"), 1);
		assert_int_equal(o.p.agree, 0);
		assert_string_equal(o.p.alone, "bus capture");
	}
	/* a capture that ran for a part only: what it missed at its ends is no matter, in its middle it is */
	x.part = true;
	x.sale_count = 2;
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	assert_int_equal(finding(&o, FT_RULE_LEDGER_ACCOUNTS_DIFFER)->weight, FT_NOTE);
	x.sales = (const struct ft_sale[]){ x.sales[0], account_of(&b).sales[2] };
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
}

/* Two against one: who it is that stands alone. */
static void who_stands_alone(void **state)
{
	static const char wrong_list[] =
		"selection,price,paid_with,tendered\n10,1.50,card,\n11,1.20,coin,2.00\n13,1.80,card,\n";
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_all(&b);
	x = account_of(&b);
	o = prove(&before, &after, wrong_list, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
	assert_string_equal(o.p.alone, "fitter's list");
	assert_int_equal(agrees(&o, "fitter's list"), 0);
	after = before;
	vend(&after, &sold[0]);
	vend(&after, &sold[1]);
	o = prove(&before, &after, list, &x);
	assert_string_equal(o.p.alone, "audit");
	assert_int_equal(o.p.stories[0].edits[0].kind, FT_STORY_NOT_COUNTED);
}

/* Item numbers that are not the machine's selections: sold and paid, but where is not told. */
static void items_are_not_selections(void **state)
{
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_all(&b);
	for (int i = 0; i < 3; i++)
		b.sales[i].item = i == 1 ? -1 : 0x100 + i;
	x = account_of(&b);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.findings.faults, 0);
	assert_int_equal(o.p.verdict, FT_OPEN);
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.differ, 0);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	/* the machine's total is still held against it */
	after = before;
	vend(&after, &sold[0]);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
}

/* A capture that began after the setup: numbers of sales are told, money is not, and nobody is accused for it. */
static void scale_not_heard(void **state)
{
	struct machine before = fresh(), after = before;
	struct seen b;
	struct ft_account x;
	struct outcome o;

	(void)state;
	for (int i = 0; i < SOLD; i++)
		vend(&after, &sold[i]);
	saw_all(&b);
	for (int i = 0; i < 3; i++) {
		b.sales[i].price = b.money[i].value = FT_ABSENT;
		b.sales[i].decimals = b.money[i].decimals = -1;
	}
	x = account_of(&b);
	assert_int_equal(x.unpriced, 3);
	assert_true(x.cash_in == FT_ABSENT);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.findings.faults, 0);
	assert_int_equal(o.p.verdict, FT_OPEN);
	assert_int_equal(o.p.wrong_count, 0);
	assert_true(o.p.counter_count > 6);
	o = prove(&before, &after, list, &x);
	assert_int_equal(o.p.differ, 0);
	assert_int_equal(o.p.verdict, FT_SHOWN);
	/* the numbers still tell of a sale that was not counted */
	after = before;
	vend(&after, &sold[0]);
	vend(&after, &sold[1]);
	o = prove(&before, &after, NULL, &x);
	assert_int_equal(o.p.verdict, FT_CONTRADICTED);
}

static void written_and_read(void **state)
{
	struct seen b;
	struct ft_account x;
	struct ft_buf out = { 0 };
	struct ft_sale *sales;
	size_t n;

	(void)state;
	saw_all(&b);
	x = account_of(&b);
	ft_sales_write(x.sales, x.sale_count, 2, &out);
	assert_int_equal(ft_sales_read(ft_buf_text(&out), "it", 2, &arena, &sales, &n, NULL), FT_OK);
	assert_int_equal(n, 3);
	for (size_t i = 0; i < n; i++) {
		assert_true(ft_slice_eq(sales[i].selection, x.sales[i].selection));
		assert_true(sales[i].price == x.sales[i].price && sales[i].tendered == x.sales[i].tendered);
		assert_int_equal(sales[i].paid_with, x.sales[i].paid_with);
	}
	ft_buf_done(&out);
}

static int tidy(void **state)
{
	(void)state;
	ft_arena_reset(&arena);
	return 0;
}

#define T(f) cmocka_unit_test_teardown(f, tidy)

int main(void)
{
	const struct CMUnitTest tests[] = { T(sales_from_the_bus), T(bus_alone),        T(cash_unseen),
		                                T(list_and_bus),       T(who_stands_alone), T(items_are_not_selections),
		                                T(scale_not_heard),    T(written_and_read) };
	int failed = cmocka_run_group_tests(tests, NULL, NULL);

	ft_arena_done(&arena);
	return failed;
}
