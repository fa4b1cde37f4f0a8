/* SPDX-License-Identifier: Apache-2.0 */
/* What happens between the button and the goods, and how it is booked. */
#include "machine.h"

static const char *const device_words[DEVICES] = { "coin", "card", "token" };

static void count(struct tally *t, int64_t value, int64_t times)
{
	t->value += value * times;
	t->count += times;
}

/* Books a paid vend of selection `s`: here the faults of the books do their work. */
static void book(struct ft_practice *p, int s, enum device device, int list, int64_t price)
{
	int64_t times = practice_faulty_at(p, FAULT_NOT_COUNTED, s) ? 0
		: practice_faulty_at(p, FAULT_COUNTED_TWICE, s)         ? 2
																: 1;
	struct selection_meter *m = &p->meters.selection[practice_counts_at(p, s)];

	if (device == BY_CARD && faulty(p, FAULT_CASHLESS_AS_CASH)) {
		device = BY_CASH;
		list = 0;
	} else if (device == BY_CASH && faulty(p, FAULT_CASH_AS_CASHLESS)) {
		device = BY_CARD;
		list = practice_list(p, BY_CARD, -1);
	}
	count(&p->meters.paid, price, times);
	count(&p->meters.by[device], price, times);
	count(&m->paid, price, times);
	count(&m->list[list], price, times);
}

/* The selection whose goods hang on the motor that `s` runs, or -1. */
static int shelf_of(const struct ft_practice *p, int s)
{
	for (size_t i = 0; i < p->selection_count; i++)
		if (p->selections[i].motor_here == p->selections[s].motor)
			return (int)i;
	return -1;
}

static bool refuse(struct ft_practice *p, int s, const char *paid_with, const char *why)
{
	struct ft_practice_event *ev =
		practice_tell(p, FT_PRACTICE_REFUSED, "Selection %s refuses: %s.", p->selections[s].id, why);

	memcpy(ev->selection, p->selections[s].id, sizeof ev->selection);
	ev->paid_with = paid_with;
	return false;
}

/* Runs the motor. What comes out of which shelf, or -1. */
static int deliver(struct ft_practice *p, int s, bool fails)
{
	int shelf = shelf_of(p, s);

	practice_bus_motor(p);
	if (shelf < 0 || p->selections[shelf].jammed)
		practice_begins(p, "EJB_", p->selections[s].id);
	if (shelf < 0 || p->selections[shelf].jammed || fails)
		return -1;
	p->selections[shelf].stock--;
	return shelf;
}

/* Everything that stops a vend before money is looked at. */
static const char *hindrance(const struct ft_practice *p, int s, int64_t price)
{
	int shelf = shelf_of(p, s);

	if (price == 0)
		return "its price is not set";
	if (shelf >= 0 && p->selections[shelf].stock == 0)
		return "it is sold out";
	return NULL;
}

static int64_t price_of(const struct ft_practice *p, int s, int list)
{
	const struct fault_state *f = &p->faults[FAULT_OTHER_PRICE];

	return f->on && f->a == s ? f->b : p->selections[s].price[list];
}

static void note_sale(struct ft_practice *p, int s, int shelf, const char *paid_with, int64_t price, int64_t tendered,
                      int64_t change)
{
	struct selection *sel = &p->selections[s];
	struct ft_practice_event *ev;
	enum ft_practice_event_kind kind = FT_PRACTICE_SALE;
	char a[FT_MONEY_TEXT], b[FT_MONEY_TEXT];

	sel->sold_s = p->now_s;
	if (p->quiet)
		return;
	if (strcmp(paid_with, "test") == 0 || strcmp(paid_with, "free") == 0) {
		kind = paid_with[0] == 't' ? FT_PRACTICE_TEST : FT_PRACTICE_FREE;
		ev = practice_tell(p, kind, "Selection %s gives a %s vend.", sel->id, paid_with);
	} else if (tendered != FT_ABSENT && tendered != price) {
		ev = practice_tell(p, kind, "Selection %s sold for %s, paid by %s with %s.", sel->id,
		                   practice_money(p, price, a), paid_with, practice_money(p, tendered, b));
	} else {
		ev = practice_tell(p, kind, "Selection %s sold for %s, paid by %s.", sel->id, practice_money(p, price, a),
		                   paid_with);
	}
	memcpy(ev->selection, sel->id, sizeof ev->selection);
	memcpy(ev->delivered, p->selections[shelf].id, sizeof ev->delivered);
	ev->paid_with = paid_with;
	ev->price = price;
	ev->tendered = tendered;
	ev->change = change;
	if (shelf != s)
		practice_tell(p, FT_PRACTICE_MOTOR, "The goods of selection %s came out.", p->selections[shelf].id);
	void *grown = ft_arena_grow(p->arena, p->sold, p->sold_count, &p->sold_room, sizeof *p->sold);
	if (!grown)
		return; /* the arena remembers; ft_practice_do reports it */
	p->sold = grown;
	p->sold[p->sold_count] = (struct sale_note){ p->now_s, price, tendered, paid_with, "" };
	memcpy(p->sold[p->sold_count++].selection, sel->id, sizeof sel->id);
}

static bool vend_failed(struct ft_practice *p, int s, const char *paid_with)
{
	bool lost = paid_with == device_words[BY_CARD] && faulty(p, FAULT_BUS_REFUND_LOST);
	struct ft_practice_event *ev =
		practice_tell(p, FT_PRACTICE_FAILED, "Selection %s ran its motor and nothing came; the %s.",
	                  p->selections[s].id, lost ? "refund to the card is lost" : "customer is refunded");

	memcpy(ev->selection, p->selections[s].id, sizeof ev->selection);
	ev->paid_with = paid_with;
	return false;
}

/* Pays out of the credit. On refusal and failure the credit stays; the caller gives it back. */
bool practice_vend_cash(struct ft_practice *p, int s, bool fails)
{
	const char *with = p->bill_inserted ? "bill" : device_words[BY_CASH];
	int64_t price = price_of(p, s, 0), total = p->credit + p->escrow, tendered = p->inserted;
	int64_t rest = total - price, change;
	const char *why = hindrance(p, s, price);
	int shelf;

	if (!why && total < price)
		why = "too little money";
	/* in escrow the bill itself cannot serve as change, so the rest must come from the tubes */
	if (!why && rest > 0 && practice_unpayable(p, rest) && !p->keeps_change)
		why = "there is no change; exact change only";
	if (why)
		return refuse(p, s, with, why);
	shelf = deliver(p, s, fails);
	if (shelf < 0)
		return vend_failed(p, s, with);
	practice_stack(p);
	book(p, s, BY_CASH, 0, price);
	change = practice_pay(p, rest);
	p->meters.overpaid += rest - change;
	p->credit = p->inserted = 0;
	p->bill_inserted = false;
	practice_bus_cash_sale(p, s, price);
	note_sale(p, s, shelf, with, price, tendered, change);
	if (rest > change && !p->quiet) {
		char a[FT_MONEY_TEXT];
		practice_tell(p, FT_PRACTICE_MONEY, "There was no change for %s; the machine keeps it.",
		              practice_money(p, rest - change, a))
			->amount = rest - change;
	}
	return true;
}

bool practice_vend_card(struct ft_practice *p, int s, int64_t number, enum card_answer answer, bool fails)
{
	const char *with = device_words[BY_CARD];
	int list = practice_list(p, BY_CARD, number);
	const struct fault_state *f = &p->faults[FAULT_OTHER_LIST];
	int64_t price;
	const char *why;
	int shelf;

	if (f->on) { /* the list named, or the next one of the reader */
		int other = f->a >= 0 ? practice_list(p, BY_CARD, f->a) : -1;
		for (size_t i = 1; other < 0 && i < p->list_count; i++)
			if (p->lists[i].device == BY_CARD && (int)i != list)
				other = (int)i;
		list = other >= 0 ? other : list;
	}
	price = price_of(p, s, list);
	why = hindrance(p, s, price);
	practice_bus_card(p, s, price, answer, !why);
	if (!why)
		why = practice_bus_stops_cards(p);
	fails |= faulty(p, FAULT_BUS_VEND_FAILS);
	if (answer == CARD_SILENT)
		practice_time(p, 30, 1); /* the reader gives up after its session timeout */
	if (!why && answer != CARD_APPROVES)
		why = answer == CARD_DENIES ? "the card was denied" : "no answer came for the card in time";
	if (why)
		return refuse(p, s, with, why);
	shelf = deliver(p, s, fails);
	practice_bus_card_ends(p, s, shelf >= 0);
	if (shelf < 0)
		return vend_failed(p, s, with);
	book(p, s, BY_CARD, list, price);
	note_sale(p, s, shelf, with, price, price, FT_ABSENT);
	return true;
}

bool practice_vend_token(struct ft_practice *p, int s, bool fails)
{
	const char *with = device_words[BY_TOKEN];
	int64_t price = price_of(p, s, 0);
	const char *why = hindrance(p, s, price);
	int shelf;

	if (why)
		return refuse(p, s, with, why);
	practice_bus_coin(p, p->coin_count, COIN_TO_BOX); /* the type behind the last coin */
	shelf = deliver(p, s, fails);
	if (shelf < 0)
		return vend_failed(p, s, with);
	practice_bus_cash_sale(p, s, price);
	book(p, s, BY_TOKEN, 0, price);
	note_sale(p, s, shelf, with, price, FT_ABSENT, FT_ABSENT);
	return true;
}

bool practice_vend_unpaid(struct ft_practice *p, int s, bool test)
{
	const char *with = test ? "test" : "free";
	int64_t price = p->selections[s].price[0];
	struct selection_meter *m = &p->meters.selection[practice_counts_at(p, s)];
	int shelf = shelf_of(p, s);

	if (shelf >= 0 && p->selections[shelf].stock == 0)
		return refuse(p, s, with, "it is sold out");
	shelf = deliver(p, s, false);
	if (shelf < 0)
		return vend_failed(p, s, with);
	count(test ? &p->meters.test : &p->meters.free, price, 1);
	count(test ? &m->test : &m->free, price, 1);
	note_sale(p, s, shelf, with, price, FT_ABSENT, FT_ABSENT);
	return true;
}

/* The credit, all of it, goes onto the card in the reader. */
bool practice_top_up(struct ft_practice *p, int64_t value)
{
	practice_stack(p);
	p->meters.topped += value;
	p->credit = p->inserted = 0;
	p->bill_inserted = false;
	return true;
}
