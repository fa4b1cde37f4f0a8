/* SPDX-License-Identifier: Apache-2.0 */
/* Commands: one a line. A table of verbs; each takes its words and either acts or says what is wrong. */
#include "machine.h"

#include <math.h>
#include <stdio.h>

#include "fettle/csv.h"
#include "fettle/time.h"

enum { WORDS_MAX = 40 };

struct command {
	struct ft_practice *p;
	struct ft_slice words[WORDS_MAX];
	size_t n;
	unsigned line;
	struct ft_practice_wish *wish;
	struct ft_error *e;
};

static enum ft_status wrong(const struct command *c, const char *format, ...) __attribute__((format(printf, 2, 3)));
static enum ft_status wrong(const struct command *c, const char *format, ...)
{
	char text[FT_TEXT_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	if (c->line)
		return ft_fail(c->e, FT_E_USAGE, "Line %u, %.*s: %s", c->line, FT_P(c->words[0]), text);
	return ft_fail(c->e, FT_E_USAGE, "%.*s: %s", FT_P(c->words[0]), text);
}

static bool is(const struct command *c, size_t i, const char *word)
{
	return i < c->n && ft_slice_is(c->words[i], word);
}

static enum ft_status number(const struct command *c, size_t i, const char *what, int64_t least, int64_t most,
                             int64_t *ret)
{
	int64_t v;

	if (i >= c->n)
		return wrong(c, "%s is missing.", what);
	if (!ft_slice_i64(c->words[i], &v) || v < least || v > most)
		return wrong(c, "%s is a whole number from %lld to %lld, not %.*s.", what, (long long)least, (long long)most,
		             FT_P(c->words[i]));
	*ret = v;
	return FT_OK;
}

static enum ft_status selection(const struct command *c, size_t i, int *ret)
{
	if (i >= c->n)
		return wrong(c, "the selection is missing.");
	*ret = practice_selection(c->p, c->words[i]);
	return *ret < 0 ? wrong(c, "this machine has no selection %.*s.", FT_P(c->words[i])) : FT_OK;
}

static enum ft_status coin(const struct command *c, size_t i, size_t *ret)
{
	int64_t value;

	if (i >= c->n || !ft_slice_i64(c->words[i], &value))
		return wrong(c, "the value of the coin is missing.");
	for (*ret = 0; *ret < c->p->coin_count; (*ret)++)
		if (c->p->coins[*ret].value == value && c->p->coins[*ret].room)
			return FT_OK;
	return wrong(c, "the changer has no tube for coins of %.*s.", FT_P(c->words[i]));
}

/* ---- money in ---- */

enum tender_kind { TENDER_COINS = 1, TENDER_CARD, TENDER_TOKEN };
struct tender {
	enum tender_kind kind;
	struct {
		enum denomination what;
		int64_t value;
	} money[TENDER_MAX];
	size_t count;
	int64_t list;
	enum card_answer answer;
	bool fails;
};

/* coin V, coins V V, bill V, bills V V; returns the words used, 0 when words[i] begins no money. */
static enum ft_status money_words(const struct command *c, size_t *i, struct tender *t)
{
	bool bill = is(c, *i, "bill") || is(c, *i, "bills");
	size_t before = t->count;

	for (++*i; *i < c->n; ++*i) {
		int64_t value;
		if (!ft_slice_i64(c->words[*i], &value))
			break;
		if (value < 1 || value > 1000000)
			return wrong(c, "money is a whole number of minor units, not %.*s.", FT_P(c->words[*i]));
		if (t->count == TENDER_MAX)
			return wrong(c, "that is more than %d coins and bills at once.", TENDER_MAX);
		t->money[t->count].what = bill ? BILL : COIN;
		t->money[t->count++].value = value;
	}
	t->kind = TENDER_COINS;
	return t->count == before ? wrong(c, "the value of the %s is missing.", bill ? "bill" : "coin") : FT_OK;
}

static enum ft_status card_words(const struct command *c, size_t *i, struct tender *t)
{
	t->kind = TENDER_CARD;
	for (++*i; *i < c->n; ++*i) {
		if (is(c, *i, "deny") || is(c, *i, "denied"))
			t->answer = CARD_DENIES;
		else if (is(c, *i, "timeout"))
			t->answer = CARD_SILENT;
		else if (is(c, *i, "list")) {
			enum ft_status s = number(c, ++*i, "the price list", 0, 99, &t->list);
			if (s != FT_OK)
				return s;
		} else
			break;
	}
	if (!c->p->reader.serial[0])
		return wrong(c, "this machine has no card reader.");
	return practice_list(c->p, BY_CARD, t->list) < 0
		? wrong(c, "the card reader has no price list %lld.", (long long)t->list)
		: FT_OK;
}

static enum ft_status tender_words(const struct command *c, size_t i, struct tender *t)
{
	enum ft_status s = FT_OK;

	*t = (struct tender){ .list = -1 };
	while (i < c->n && s == FT_OK) {
		enum tender_kind before = t->kind;
		if (is(c, i, "coin") || is(c, i, "coins") || is(c, i, "bill") || is(c, i, "bills")) {
			s = money_words(c, &i, t);
		} else if (is(c, i, "card")) {
			s = card_words(c, &i, t);
		} else if (is(c, i, "token")) {
			t->kind = TENDER_TOKEN;
			i++;
			if (!c->p->tokens)
				s = wrong(c, "this machine takes no tokens.");
		} else if (is(c, i, "fail")) {
			t->fails = true;
			i++;
		} else {
			return wrong(c, "%.*s is no way to pay; say coin, coins, bill, bills, card or token.", FT_P(c->words[i]));
		}
		if (s == FT_OK && before && before != t->kind)
			return wrong(c, "pay with money, with a card or with a token, not with two of them.");
	}
	return s == FT_OK && !t->kind ? wrong(c, "say how it is paid: coin, coins, bill, bills, card or token.") : s;
}

static void insert(struct ft_practice *p, const struct tender *t, int64_t price, bool tell)
{
	char a[FT_MONEY_TEXT];
	const char *why;

	for (size_t i = 0; i < t->count; i++) {
		int64_t value = t->money[i].value;
		const char *what = t->money[i].what == COIN ? "coin" : "bill";
		bool taken =
			t->money[i].what == COIN ? practice_coin(p, value, price, &why) : practice_bill(p, value, price, &why);
		struct ft_practice_event *ev = NULL;
		if (!taken)
			ev = practice_tell(p, FT_PRACTICE_MONEY, "The %s of %s comes back: %s.", what, practice_money(p, value, a),
			                   why);
		else if (tell)
			ev = practice_tell(p, FT_PRACTICE_MONEY, "A %s of %s went in.", what, practice_money(p, value, a));
		if (ev) {
			ev->amount = taken ? value : 0;
			ev->tendered = value;
			ev->paid_with = what;
		}
		practice_time(p, 1, 3);
	}
}

static void give_back(struct ft_practice *p)
{
	char a[FT_MONEY_TEXT], b[FT_MONEY_TEXT];
	int64_t kept, paid;
	struct ft_practice_event *ev;

	if (!p->credit && !p->escrow)
		return;
	paid = practice_return(p, &kept);
	if (kept)
		ev =
			practice_tell(p, FT_PRACTICE_RETURNED, "%s came back; for %s there was no change and the machine keeps it.",
		                  practice_money(p, paid, a), practice_money(p, kept, b));
	else
		ev = practice_tell(p, FT_PRACTICE_RETURNED, "%s came back.", practice_money(p, paid, a));
	ev->amount = paid;
}

/* ---- verbs ---- */

static enum ft_status do_sell(struct command *c)
{
	struct ft_practice *p = c->p;
	struct tender t;
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (!status)
		status = tender_words(c, 2, &t);
	if (status)
		return status;
	practice_time(p, 12, 25);
	if (t.kind == TENDER_CARD) {
		practice_vend_card(p, s, t.list, t.answer, t.fails);
	} else if (t.kind == TENDER_TOKEN) {
		practice_vend_token(p, s, t.fails);
	} else {
		insert(p, &t, p->selections[s].price[0], false);
		if (!practice_vend_cash(p, s, t.fails))
			give_back(p);
	}
	return FT_OK;
}

static enum ft_status do_insert(struct command *c)
{
	struct tender t;
	enum ft_status s = tender_words(c, 1, &t);

	if (!s && t.kind != TENDER_COINS)
		return wrong(c, "coins and bills are inserted; a card or token pays with sell.");
	if (!s)
		insert(c->p, &t, practice_dearest(c->p), true);
	return s;
}

static enum ft_status do_press(struct command *c)
{
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (status)
		return status;
	practice_time(c->p, 5, 5);
	practice_vend_cash(c->p, s, is(c, 2, "fail")); /* refused: the credit waits for another button or for return */
	return FT_OK;
}

static enum ft_status do_return(struct command *c)
{
	practice_bus_lever(c->p);
	give_back(c->p);
	return FT_OK;
}

static enum ft_status do_topup(struct command *c)
{
	struct ft_practice *p = c->p;
	struct tender t;
	enum ft_status s = tender_words(c, 1, &t);
	char a[FT_MONEY_TEXT];
	int64_t value;

	if (s)
		return s;
	if (!p->reader.serial[0] || t.kind != TENDER_COINS)
		return wrong(c, "cash is put on a card, on a machine with a card reader.");
	practice_bus_top_up_begins(p);
	insert(p, &t, INT32_MAX, false); /* a card takes any sum */
	value = p->credit + p->escrow;
	if (value)
		practice_top_up(p, value);
	practice_bus_top_up_ends(p, value);
	if (!value)
		return FT_OK;
	practice_time(p, 10, 5);
	practice_tell(p, FT_PRACTICE_TOPPED, "%s went onto the card.", practice_money(p, value, a))->amount = value;
	return FT_OK;
}

static enum ft_status unpaid(struct command *c, bool test)
{
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (status)
		return status;
	practice_time(c->p, 8, 8);
	practice_vend_unpaid(c->p, s, test);
	return FT_OK;
}

static enum ft_status do_test(struct command *c)
{
	return unpaid(c, true);
}
static enum ft_status do_free(struct command *c)
{
	return unpaid(c, false);
}

static enum ft_status do_price(struct command *c)
{
	struct ft_practice *p = c->p;
	char a[FT_MONEY_TEXT];
	int64_t price = 0, list = -1;
	int s = 0, at = 0;
	enum ft_status status = selection(c, 1, &s);

	if (!status)
		status = number(c, 2, "the price in minor units", 0, 1000000, &price);
	if (!status && is(c, 3, "list"))
		status = number(c, 4, "the price list", 0, 99, &list);
	for (size_t i = 0; !status && list >= 0; i++) {
		if (i == p->list_count)
			return wrong(c, "this machine has no price list %lld.", (long long)list);
		at = (int)i;
		if (p->lists[i].number == list)
			break;
	}
	if (status)
		return status;
	practice_time(p, 20, 10);
	p->selections[s].price[at] = price;
	p->priced_s = p->now_s;
	practice_marks(p, "OAL", "");
	struct ft_practice_event *ev =
		practice_tell(p, FT_PRACTICE_PRICE, "Selection %s now costs %s%s.", p->selections[s].id,
	                  practice_money(p, price, a), at ? " on that list" : "");
	memcpy(ev->selection, p->selections[s].id, sizeof ev->selection);
	ev->price = price;
	return FT_OK;
}

static enum ft_status tube(struct command *c, bool fill)
{
	struct ft_practice *p = c->p;
	char a[FT_MONEY_TEXT];
	int64_t n = 0;
	size_t i = 0;
	enum ft_status s = coin(c, 1, &i);

	if (!s)
		s = number(c, 2, "the number of coins", 1, 1000, &n);
	if (s)
		return s;
	n = fill ? practice_fill(p, i, n) : practice_payout(p, i, n);
	practice_time(p, 10 + n, 5);
	practice_tell(p, fill ? FT_PRACTICE_FILLED : FT_PRACTICE_PAID_OUT, "%lld coins of %s %s by hand.", (long long)n,
	              practice_money(p, p->coins[i].value, a), fill ? "filled in" : "paid out")
		->amount = n * p->coins[i].value;
	return FT_OK;
}

static enum ft_status do_fill(struct command *c)
{
	return tube(c, true);
}
static enum ft_status do_payout(struct command *c)
{
	return tube(c, false);
}

static enum ft_status do_firmware(struct command *c)
{
	int64_t n = 0;
	/* ID103 is a whole number; its leading zeros stay */
	enum ft_status s = number(c, 1, "the revision", 0, 99999999, &n);

	if (s)
		return s;
	practice_time(c->p, 240, 60);
	give_back(c->p);
	practice_firmware(c->p, c->words[1]);
	return FT_OK;
}

static enum ft_status do_power(struct command *c)
{
	struct ft_practice *p = c->p;
	char a[FT_MONEY_TEXT];
	int held;

	if (!is(c, 1, "on") && !is(c, 1, "off"))
		return wrong(c, "power is on or off.");
	if (is(c, 1, "on") == p->powered) {
		practice_tell(p, FT_PRACTICE_POWER, "The power is %s already.", p->powered ? "on" : "off");
		return FT_OK;
	}
	practice_time(p, 5, 1);
	p->powered = is(c, 1, "on");
	if (!p->powered) {
		practice_bus_power(p, -1);
		practice_tell(p, FT_PRACTICE_POWER, "The power is off%s.",
		              p->credit || p->escrow ? ", with money in the machine" : "");
		return FT_OK;
	}
	p->meters.outages++;
	practice_modem_restarts(p);
	practice_tell(p, FT_PRACTICE_POWER, "The power is on again.");
	held = p->escrow ? (int)p->escrow_type : -1;
	if (p->escrow)
		practice_tell(p, FT_PRACTICE_RETURNED, "The validator gives back the bill of %s it held.",
		              practice_money(p, p->escrow, a))
			->amount = p->escrow;
	if (p->credit) /* the credit outlived the cut in memory, its customer did not */
		practice_tell(p, FT_PRACTICE_MONEY, "The credit of %s from before the cut is kept as overpay.",
		              practice_money(p, p->credit, a))
			->amount = p->credit;
	p->meters.overpaid += p->credit;
	p->credit = p->escrow = p->inserted = 0;
	p->bill_inserted = false;
	practice_bus_power(p, held);
	return FT_OK;
}

static enum ft_status do_door(struct command *c)
{
	struct ft_practice *p = c->p;

	if (!is(c, 1, "open") && !is(c, 1, "close"))
		return wrong(c, "door open or door close.");
	practice_time(p, 4, 4);
	p->door_open = is(c, 1, "open");
	practice_bus_looks(p);
	practice_tell(p, FT_PRACTICE_DOOR, "The door is %s.", p->door_open ? "open" : "closed");
	(p->door_open ? practice_begins : practice_ends)(p, "EGS", "");
	return FT_OK;
}

static enum ft_status do_clock(struct command *c)
{
	struct ft_practice *p = c->p;
	int64_t s;

	if (!p->has_clock)
		return wrong(c, "this machine has no clock.");
	if (c->n < 2 || !practice_time_of(c->words[1], &s))
		return wrong(c, "give date and time as 2026-03-09T14:05.");
	p->now_s = p->clock_set_s = s;
	p->clock_known = true;
	p->faults[FAULT_CLOCK_UNSET].on = false;
	practice_tell(p, FT_PRACTICE_CLOCK, "The clock is set.");
	return FT_OK;
}

static enum ft_status do_temperature(struct command *c)
{
	struct ft_practice *p = c->p;
	bool below = c->n > 1 && c->words[1].n && c->words[1].p[0] == '-';
	int64_t tenths;

	if (c->n < 2 || !ft_money_parse((struct ft_slice){ c->words[1].p + below, c->words[1].n - below }, 1, &tenths) ||
	    tenths > 2000)
		return wrong(c, "give degrees with at most one decimal, 4.5.");
	p->temperature_tenths = below ? -tenths : tenths;
	practice_tell(p, FT_PRACTICE_TEMPERATURE, "The cabinet stands at %.*s %c.", FT_P(c->words[1]), p->temperature_unit)
		->amount = p->temperature_tenths;
	(p->temperature_tenths > p->warm_tenths ? practice_begins : practice_ends)(p, "EJJ", "");
	return FT_OK;
}

static enum ft_status do_reset(struct command *c)
{
	practice_reset(c->p);
	return FT_OK;
}

static enum ft_status do_fault(struct command *c)
{
	if (c->n < 2)
		return wrong(c, "the name of the fault is missing.");
	if (is(c, 1, "off"))
		return c->n < 3 ? wrong(c, "the name of the fault is missing.") : practice_fault_off(c->p, c->words[2], c->e);
	return practice_fault(c->p, c->words + 1, c->n - 1, c->e);
}

static enum ft_status do_jam(struct command *c)
{
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (!status) {
		c->p->selections[s].jammed = true;
		practice_tell(c->p, FT_PRACTICE_MOTOR, "The motor of selection %s is jammed.", c->p->selections[s].id);
	}
	return status;
}

static enum ft_status do_clear(struct command *c)
{
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (status)
		return status;
	c->p->selections[s].jammed = false;
	practice_tell(c->p, FT_PRACTICE_MOTOR, "The motor of selection %s turns freely.", c->p->selections[s].id);
	practice_ends(c->p, "EJB_", c->p->selections[s].id);
	return FT_OK;
}

static enum ft_status do_motor(struct command *c)
{
	int64_t n = 0;
	int s = 0;
	enum ft_status status = selection(c, 1, &s);

	if (!status)
		status = number(c, 2, "the motor", 0, 999, &n);
	if (status)
		return status;
	c->p->selections[s].motor = n;
	practice_tell(c->p, FT_PRACTICE_MOTOR, "Selection %s runs motor %lld.", c->p->selections[s].id, (long long)n);
	return FT_OK;
}

static enum ft_status do_refill(struct command *c)
{
	int s = -1;
	enum ft_status status = c->n > 1 ? selection(c, 1, &s) : FT_OK;

	for (size_t i = 0; !status && i < c->p->selection_count; i++)
		if (s < 0 || s == (int)i)
			c->p->selections[i].stock = c->p->selections[i].capacity;
	if (!status && s < 0)
		practice_cold_loads(c->p);
	if (!status)
		practice_tell(c->p, FT_PRACTICE_STOCK, "%s%s filled with goods.", s < 0 ? "All selections are" : "Selection ",
		              s < 0 ? "" : c->p->selections[s].id);
	return status;
}

static enum ft_status do_collect(struct command *c)
{
	c->p->stacked = 0;
	practice_bus_looks(c->p);
	practice_marks(c->p, "OFA", "");
	practice_tell(c->p, FT_PRACTICE_PAID_OUT, "Cash box and stacker are emptied.");
	return FT_OK;
}

static enum ft_status write_to(struct command *c, const char *what)
{
	if (c->p->out.status != FT_OK)
		return ft_fail_memory(c->e, "writing the practice machine's audit");
	*c->wish = (struct ft_practice_wish){ FT_PRACTICE_WRITE, c->words[1], ft_buf_text(&c->p->out), 0 };
	practice_tell(c->p, FT_PRACTICE_SAVED, "%s written to %.*s.", what, FT_P(c->words[1]))->amount =
		(int64_t)c->p->out.n;
	return FT_OK;
}

static enum ft_status do_save(struct command *c)
{
	if (c->n < 2)
		return wrong(c, "the name of the file is missing.");
	ft_buf_clear(&c->p->out);
	ft_practice_audit(c->p, (struct ft_slice){ "", 0 }, &c->p->out, c->e);
	return write_to(c, "The audit, not counted as a read, is");
}

/* A reading without a line: what a reader would have got, counted as such. */
static enum ft_status do_read(struct command *c)
{
	struct ft_slice bytes;
	enum ft_status s;

	if (c->n < 2)
		return wrong(c, "the name of the file is missing.");
	s = ft_practice_read_begin(c->p, SLOTS - 1, c->n > 2 ? c->words[2] : (struct ft_slice){ "", 0 }, &bytes, c->e);
	if (s != FT_OK)
		return s;
	ft_buf_clear(&c->p->out);
	ft_buf_slice(&c->p->out, bytes);
	ft_practice_read_end(c->p, SLOTS - 1, true);
	return write_to(c, "The audit is");
}

/* The fitter's own list of what was sold, as `fettle prove --sales` takes it. */
static enum ft_status do_sales(struct command *c)
{
	struct ft_practice *p = c->p;
	struct ft_buf *b = &p->out;

	if (c->n < 2)
		return wrong(c, "the name of the file is missing, or the word forget.");
	if (is(c, 1, "forget")) {
		p->sold_count = 0;
		practice_tell(p, FT_PRACTICE_SAVED, "A new list of sales begins.");
		return FT_OK;
	}
	ft_buf_clear(b);
	ft_buf_puts(b, "time,selection,price,paid_with,tendered\r\n");
	for (size_t i = 0; i < p->sold_count; i++) {
		const struct sale_note *n = &p->sold[i];
		char at[FT_TIME_TEXT];
		ft_time_text(n->at_s * FT_SECOND, 0, at);
		at[19] = 0;
		ft_buf_printf(b, "%s,", at);
		ft_csv_put(b, ft_slice_of(n->selection));
		ft_buf_printf(b, ",%s,%s,", practice_money(p, n->price, at), n->paid_with);
		if (n->tendered != FT_ABSENT)
			ft_buf_puts(b, practice_money(p, n->tendered, at));
		ft_buf_puts(b, "\r\n");
	}
	return write_to(c, "The list of sales is");
}

/* A logger goes into the cabinet; later its log is written. */
static enum ft_status do_log(struct command *c)
{
	struct ft_slice bytes;
	int64_t step = 60;
	size_t rows;
	const char *why;

	if (c->n < 2)
		return wrong(c, "log start [SECONDS], and later log FILE.");
	if (is(c, 1, "start")) {
		enum ft_status s = c->n > 2 ? number(c, 2, "the number of seconds", 10, 3600, &step) : FT_OK;
		if (s)
			return s;
		why = practice_log_start(c->p, step);
		if (why)
			return wrong(c, "%s", why);
		practice_tell(c->p, FT_PRACTICE_SAVED, "A logger is in the cabinet and reads every %lld seconds.",
		              (long long)step);
		return FT_OK;
	}
	if (c->n > 2 || !practice_log(c->p, &bytes, &rows))
		return wrong(c, "no logger is in the cabinet; say log start first.");
	ft_buf_clear(&c->p->out);
	ft_buf_slice(&c->p->out, bytes);
	return write_to(c, "The log of the cabinet is");
}

static enum ft_status do_supply(struct command *c)
{
	if (c->n < 2)
		return wrong(c, "the name of the file is missing.");
	ft_buf_clear(&c->p->out);
	practice_supply_table(c->p, &c->p->out);
	return write_to(c, "The table of the bus supply is");
}

/* A meter at a plug: measure volts [WHERE] [idle|vend]. */
static enum ft_status do_measure(struct command *c)
{
	struct ft_slice at = c->n > 2 && !is(c, 2, "idle") && !is(c, 2, "vend") ? c->words[2] : FT_SLICE("unit");
	bool vend = is(c, c->n - 1, "vend"), told = vend || is(c, c->n - 1, "idle");
	const char *name,
		*when = !vend               ? "at rest"
		: c->p->validator.serial[0] ? "while a bill is drawn in"
									: "while a coin is paid out";
	double volts = 0;

	if (!is(c, 1, "volts") || c->n > (told ? 4 : 3))
		return wrong(c, "measure volts [WHERE] [idle|vend].");
	switch (practice_measure(c->p, at, vend, &volts, &name)) {
	case PRACTICE_METER_NOWHERE:
		return wrong(c, "there is no %.*s here; a meter goes to the supply, unit, validator, changer or reader.",
		             FT_P(at));
	case PRACTICE_METER_JUMPS:
		practice_tell(c->p, FT_PRACTICE_MEASURED,
		              "At the %s the meter jumps and the devices start anew %s: the bus collapses.", name, when);
		return FT_OK;
	default:
		practice_tell(c->p, FT_PRACTICE_MEASURED, "At the %s the meter shows %.2f V %s.", name, volts, when)->amount =
			llround(volts * 1000);
		return FT_OK;
	}
}

static enum ft_status do_wait(struct command *c)
{
	int64_t seconds = 0;
	enum ft_status s = number(c, 1, "the number of seconds", 0, 31536000, &seconds);

	if (s)
		return s;
	c->p->now_s += seconds;
	practice_bus_waits(c->p, seconds);
	*c->wish = (struct ft_practice_wish){ .kind = FT_PRACTICE_WAIT, .wait_us = seconds * FT_SECOND };
	practice_tell(c->p, FT_PRACTICE_WAITED, "%lld seconds went by.", (long long)seconds)->amount = seconds;
	return FT_OK;
}

/* The capture itself is the caller's file. */
static enum ft_status do_bus(struct command *c)
{
	if (is(c, 1, "start") && c->n > 2) {
		*c->wish = (struct ft_practice_wish){ .kind = FT_PRACTICE_TAP, .path = c->words[2] };
		practice_tell(c->p, FT_PRACTICE_SAVED, "The bus is tapped into %.*s from now on.", FT_P(c->words[2]));
		return FT_OK;
	}
	if (!is(c, 1, "stop") || c->n > 2)
		return wrong(c, "bus start FILE, or bus stop.");
	*c->wish = (struct ft_practice_wish){ .kind = FT_PRACTICE_UNTAP };
	practice_tell(c->p, FT_PRACTICE_SAVED, "The tap of the bus is closed.");
	return FT_OK;
}

static enum ft_status do_antenna(struct command *c)
{
	const char *told = c->n > 1 ? practice_antenna(c->p, c->words[1]) : NULL;

	if (!told)
		return wrong(c, "the antenna goes inside, top or outside.");
	practice_tell(c->p, FT_PRACTICE_ANTENNA, "%s", told);
	return FT_OK;
}

static enum ft_status do_quit(struct command *c)
{
	*c->wish = (struct ft_practice_wish){ .kind = FT_PRACTICE_END };
	practice_tell(c->p, FT_PRACTICE_QUIT, "The practice is over.");
	return FT_OK;
}

/* `dark`: works without power. `most`: words behind the verb. */
static const struct {
	const char *word;
	enum ft_status (*run)(struct command *c);
	size_t most;
	bool dark;
} verbs[] = {
	{ "sell", do_sell, WORDS_MAX, false },
	{ "insert", do_insert, WORDS_MAX, false },
	{ "press", do_press, 2, false },
	{ "return", do_return, 0, false },
	{ "topup", do_topup, WORDS_MAX, false },
	{ "test", do_test, 1, false },
	{ "free", do_free, 1, false },
	{ "price", do_price, 4, false },
	{ "fill", do_fill, 2, false },
	{ "payout", do_payout, 2, false },
	{ "firmware", do_firmware, 1, false },
	{ "power", do_power, 1, true },
	{ "door", do_door, 1, true },
	{ "clock", do_clock, 1, false },
	{ "temperature", do_temperature, 1, true },
	{ "reset", do_reset, 0, false },
	{ "fault", do_fault, 4, true },
	{ "jam", do_jam, 1, true },
	{ "clear", do_clear, 1, true },
	{ "motor", do_motor, 2, false },
	{ "refill", do_refill, 1, true },
	{ "collect", do_collect, 0, true },
	{ "save", do_save, 1, false },
	{ "read", do_read, 2, false },
	{ "sales", do_sales, 1, true },
	{ "log", do_log, 2, true },
	{ "measure", do_measure, 3, true },
	{ "supply", do_supply, 1, true },
	{ "wait", do_wait, 1, true },
	{ "bus", do_bus, 2, true },
	{ "antenna", do_antenna, 1, true },
	{ "quit", do_quit, 0, true },
};

enum ft_status ft_practice_do(struct ft_practice *p, struct ft_slice line, unsigned line_number,
                              struct ft_practice_wish *ret, struct ft_error *e)
{
	struct command c = { .p = p, .line = line_number, .wish = ret, .e = e };
	bool good;

	*ret = (struct ft_practice_wish){ 0 };
	c.n = practice_words(line, c.words, WORDS_MAX, &good);
	if (!c.n || c.words[0].p[0] == '#')
		return FT_OK;
	if (!good)
		return wrong(&c, "the line has more than %d words or an odd number of quotation marks.", WORDS_MAX);
	for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++) {
		enum ft_status s;
		if (!ft_slice_is(c.words[0], verbs[i].word))
			continue;
		if (c.n - 1 > verbs[i].most)
			return wrong(&c, "there is too much behind it, from %.*s on.", FT_P(c.words[verbs[i].most + 1]));
		if (!p->powered && !verbs[i].dark)
			return wrong(&c, "the machine has no power; say power on first.");
		practice_cold_lives(p); /* with doors and faults as they were until now */
		s = verbs[i].run(&c);
		practice_cold_lives(p);
		practice_bus_rests(p);
		if (s == FT_OK && p->arena->failed)
			return ft_fail_memory(e, "keeping the list of sales");
		return s;
	}
	return wrong(&c, "that is no command; docs/practice.md and fettle practice --help list them.");
}
