/* SPDX-License-Identifier: Apache-2.0 */
/* Sixth stage: are the devices set up to fit each other, and opened. */
#include "judge.h"

typedef unsigned long long llu;

/* MDB/ICP 7.2 and 7.4: sub-commands of 11, 13, 14, 17 and answers of a reader. */
enum { CONFIG = 0, LIMITS = 1, VEND_REQUEST = 0, CASH_SALE = 5, DISABLE = 0, ENABLE = 1, OPTIONS = 4 };
enum { BEGIN_SESSION = 0x03, VEND_APPROVED = 0x05, PERIPHERAL_ID = 0x09 };
enum { OPTION_WIDE = 1 << 1, OPTION_ALWAYS_IDLE = 1 << 5 };

static uint32_t number(const uint8_t *p, size_t n)
{
	uint32_t v = 0;

	for (size_t i = 0; i < n; i++)
		v = v << 8 | p[i];
	return v;
}

void bus_judge_setting_init(struct bus_setting *s)
{
	s->set_up_ns = s->off_ns = s->price_max = s->cash_ns = -1;
	s->session_ns = s->asked_ns = s->complete_ns = s->escrow_ns = s->escrow_sent_ns = -1;
	s->sequence_state = s->tube_type = -1;
	for (size_t i = 0; i < 16; i++)
		s->tube_count[i] = UINT16_MAX;
}

/* MDB/ICP 3: no restoring of settings after a reset. */
static void anew(struct bus_setting *s)
{
	s->fresh = true;
	s->set_up = s->configured = s->limits = s->tried = s->on = s->opened = s->wide = s->always_idle = false;
	s->select_pending = false;
	s->set_up_ns = s->off_ns = s->price_max = -1;
	s->session_ns = s->asked_ns = s->complete_ns = s->escrow_ns = s->escrow_sent_ns = -1;
	s->polls_since = 0;
}

void bus_judge_setup_break(struct bus_judge *j, int64_t at_ns)
{
	(void)at_ns;
	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++)
		anew(&j->at[i].set);
}

static void keep(struct bus_proof *p, const struct ft_bus_block *b)
{
	if (p->count == 0) {
		p->count = b->count;
		memcpy(p->bytes, b->bytes, sizeof p->bytes);
	}
}

static void opened(struct bus_setting *s, bool on, int64_t at_ns)
{
	s->enables += on;
	s->opened = s->opened || on;
	if (!on && (s->on || !s->tried)) {
		s->off_ns = at_ns;
		s->polls_since = 0;
	}
	s->on = on;
	s->tried = true;
}

/* A price in cash that is ten or a hundred times the one by card tells of a scale or decimals gone wrong. */
static void price_seen(struct bus_setting *s, bool card, uint32_t item, uint32_t units, int64_t at_ns)
{
	size_t slot = item % (sizeof s->sold / sizeof *s->sold);
	uint64_t a, b;

	if (item == 0xffff || units == 0)
		return;
	if (s->sold[slot].item != item)
		s->sold[slot].card = s->sold[slot].cash = 0;
	s->sold[slot].item = item;
	if (card)
		s->sold[slot].card = units;
	else
		s->sold[slot].cash = units;
	a = s->sold[slot].card;
	b = s->sold[slot].cash;
	if (a && b && (a == b * 10 || a == b * 100 || b == a * 10 || b == a * 100)) {
		bus_count(&s->tenfold, at_ns);
		s->tenfold_card = (uint32_t)a;
		s->tenfold_cash = (uint32_t)b;
	}
}

static void vend(const struct ft_bus_device *d, struct bus_setting *s, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	bool broad = c->count == 9;
	uint32_t price, item;

	if (c->count != 7 && c->count != 9)
		return;
	price = number(c->bytes + 2, broad ? 4 : 2);
	item = number(c->bytes + (broad ? 6 : 4), 2);
	if (s->fresh && broad != s->wide) {
		bus_count(broad ? &s->broad : &s->narrow, c->start_ns);
		keep(&s->width_block, c);
	}
	if (s->price_max >= 0 && price > s->price_max) {
		bus_count(&s->over_limit, c->start_ns);
		s->over_limit_price = price;
	}
	price_seen(s, true, item, price, c->start_ns);
	s->select_pending = d->state == FT_BUS_ENABLED && !s->always_idle && s->fresh;
	if (s->select_pending)
		bus_count(&s->select_first, c->start_ns);
}

static void limits(struct bus_setting *s, const struct ft_bus_block *c)
{
	bool broad = c->count == 13;
	uint32_t most;

	if (c->count != 7 && !broad)
		return;
	s->limits = true;
	most = number(c->bytes + 2, broad ? 4 : 2);
	s->price_max = most == (broad ? UINT32_MAX : UINT32_C(0xffff)) ? -1 : (int64_t)most;
	if (broad && !s->wide && s->fresh)
		bus_count(&s->long_limits, c->start_ns);
}

static void reader_command(const struct ft_bus_report *r, struct bus_setting *s, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	const struct ft_bus_device *d = &r->devices[c->bytes[0] >> 3];
	uint8_t sub = c->count > 2 ? c->bytes[1] : 0xff;
	bool heard = x->kind != FT_BUS_SILENCE;

	switch (c->bytes[0] & 7) {
	case 1:
		if (sub == CONFIG && c->count >= 4) {
			s->configured = true;
			s->controller_level = c->bytes[2];
		} else if (sub == LIMITS) {
			limits(s, c);
		}
		break;
	case 3:
		if (sub == VEND_REQUEST)
			vend(d, s, x);
		else if (sub == CASH_SALE && (c->count == 7 || c->count >= 9))
			price_seen(s, false, number(c->bytes + (c->count == 7 ? 4 : 6), 2),
			           number(c->bytes + 2, c->count == 7 ? 2 : 4), c->start_ns);
		break;
	case 4:
		if (!heard || (sub != DISABLE && sub != ENABLE))
			break;
		if (sub == ENABLE && s->fresh && !s->configured)
			bus_count(&s->early, c->start_ns);
		if (sub == ENABLE && s->fresh && s->configured && s->set_up && !s->limits)
			bus_count(&s->unlimited, c->start_ns);
		opened(s, sub == ENABLE, c->start_ns);
		break;
	case 7:
		if (sub == OPTIONS && c->count == 7 && (x->kind == FT_BUS_ACK || x->kind == FT_BUS_DATA)) {
			uint32_t options = number(c->bytes + 2, 4);
			s->wide = options & OPTION_WIDE;
			s->always_idle = options & OPTION_ALWAYS_IDLE &&
				(!d->identity.options_known || d->identity.options & OPTION_ALWAYS_IDLE);
		}
		break;
	default:
		break;
	}
}

/* Blocks with one message only: in chained ones lengths tell nothing. */
static void reader_answer(struct bus_setting *s, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *b = &x->answer;
	uint8_t first = b->bytes[0], n = b->count;
	bool narrow = (first == VEND_APPROVED && n == 4) || (first == BEGIN_SESSION && (n == 4 || n == 11));
	bool broad = (first == VEND_APPROVED && n == 6) || (first == BEGIN_SESSION && n == 18);

	if (x->kind != FT_BUS_DATA)
		return;
	if (s->fresh && ((s->wide && narrow) || (!s->wide && broad))) {
		bus_count(broad ? &s->broad : &s->narrow, b->start_ns);
		keep(&s->width_block, b);
	}
	if ((s->controller_level == 1 && first == BEGIN_SESSION && n == 11) ||
	    ((s->controller_level == 1 || s->controller_level == 2) && first == PERIPHERAL_ID && n == 35)) {
		bus_count(&s->level, b->start_ns);
		keep(&s->level_block, b);
	}
	if (first == BEGIN_SESSION && n == 5)
		bus_count(&s->surplus, b->start_ns);
}

static void cash_command(struct bus_setting *s, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	uint8_t command = c->bytes[0] & 7;

	if (command == 4 && c->count >= 4 && x->kind != FT_BUS_SILENCE) {
		opened(s, number(c->bytes + 1, 2) != 0, c->start_ns);
	} else if (command == 1 && x->kind == FT_BUS_DATA && !s->set_up) {
		s->set_up = true;
		s->set_up_ns = c->start_ns;
		s->polls_since = 0;
	}
}

void bus_judge_setup_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	uint8_t address = c->bytes[0] & 0xf8, command = c->bytes[0] & 7;
	struct bus_setting *s = &bus_at(j, address)->set;

	if (address == BUS_CONTROLLER_AT || x->cut_off)
		return;
	if (command == 0)
		anew(s);
	else if (command == bus_judge_poll(address))
		s->polls_since += x->kind != FT_BUS_SILENCE;
	else {
		s->last_command[0] = c->bytes[0];
		s->last_command[1] = c->count > 2 ? c->bytes[1] : 0;
	}
	if (bus_judge_is_reader(address)) {
		reader_command(r, s, x);
		reader_answer(s, x);
	} else if (address == BUS_CHANGER_AT || address == BUS_VALIDATOR_AT) {
		cash_command(s, x);
	}
}

void bus_judge_setup_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e)
{
	struct bus_setting *s = &bus_at(j, e->address)->set;

	(void)r;
	switch (e->kind) {
	case FT_BUS_EV_WAS_RESET:
		anew(s);
		break;
	case FT_BUS_EV_SETUP:
		if (!s->set_up) {
			s->set_up = true;
			s->set_up_ns = e->at_ns;
			s->polls_since = 0;
		}
		break;
	case FT_BUS_EV_OUT_OF_SEQUENCE:
		if (s->sequence.n == 0) {
			s->sequence_state = e->type;
			memcpy(s->sequence_command, s->last_command, sizeof s->sequence_command);
		}
		bus_count(&s->sequence, e->at_ns);
		if (s->select_pending)
			bus_count(&s->refused, e->at_ns);
		else if ((s->last_command[0] & 7) == 4 && s->last_command[1] == ENABLE && (e->type == 1 || e->type == 2))
			bus_count(&s->early, e->at_ns);
		s->select_pending = false;
		break;
	case FT_BUS_EV_VEND_APPROVED:
	case FT_BUS_EV_VEND_DENIED:
		s->select_pending = false;
		break;
	case FT_BUS_EV_BILL_REFUSED:
		s->refused_bills += e->count;
		break;
	default:
		break;
	}
}

/* ---- concluding ---- */

/* Telephone prefix 1 is the dollar of ISO 4217 number 840; other prefixes cannot be compared with numbers. */
static uint16_t currency_of(const struct ft_bus_setup *s)
{
	return s->currency == 0x0001 ? 0x1840 : s->currency == 0xffff ? 0 : s->currency;
}

static void compare_money(struct bus_judge *j, uint8_t reference, uint8_t address)
{
	const struct ft_bus_setup *a = &j->report->devices[reference >> 3].setup,
							  *b = &j->report->devices[address >> 3].setup;
	uint16_t ca = currency_of(a), cb = currency_of(b);
	char ta[24], tb[24];

	if (ca && cb && ca != cb && (ca >> 12) == (cb >> 12)) {
		ft_bus_currency(a->currency, ta);
		ft_bus_currency(b->currency, tb);
		bus_hit(j, FT_RULE_BUS_CURRENCY_DIFFER, address, -1,
		        bus_judge_text(j, "it is set to %s (%04X), %s to %s (%04X)", tb, b->currency,
		                       bus_judge_who(j, reference), ta, a->currency));
	}
	if (a->decimals != b->decimals)
		bus_hit(j, FT_RULE_BUS_DECIMALS_DIFFER, address, -1,
		        bus_judge_text(j, "it counts with %u decimal places, %s with %u", b->decimals,
		                       bus_judge_who(j, reference), a->decimals));
}

static uint64_t scaled(uint64_t units, unsigned decimals, unsigned to)
{
	for (; decimals < to; decimals++)
		units *= 10;
	return units;
}

static void compare_scale(struct bus_judge *j, uint8_t cash, uint8_t reader)
{
	const struct ft_bus_setup *a = &j->report->devices[cash >> 3].setup, *b = &j->report->devices[reader >> 3].setup;
	unsigned to = a->decimals > b->decimals ? a->decimals : b->decimals;
	uint64_t step;
	char coin[FT_MONEY_TEXT];

	if (to > 6 || b->scale == 0)
		return;
	step = scaled(b->scale, b->decimals, to);
	for (size_t i = 0; i < 16; i++) {
		uint64_t value = scaled((uint64_t)a->types[i] * a->scale, a->decimals, to);
		if (a->types[i] == 0 || a->types[i] == 0xff || value % step == 0)
			continue;
		bus_hit(j, FT_RULE_BUS_SCALE_MISFIT, reader, -1,
		        bus_judge_text(j, "its scale is %u with %u decimal places, so %s of %s cannot be expressed", b->scale,
		                       b->decimals, cash == BUS_CHANGER_AT ? "a coin" : "a bill",
		                       ft_money_text((int64_t)value, to <= 4 ? (int)to : 4, coin)))
			->expected = "a divisor of every coin";
		return;
	}
}

static bool lasted(const struct bus_judge *j, int64_t from_ns, uint64_t polls, int64_t seconds)
{
	if (from_ns < 0 || polls < BUS_LIM_ENABLE_POLLS)
		return false;
	return j->timed ? j->report->end_ns - from_ns >= seconds * BUS_NS_PER_S : polls >= BUS_LIM_UNTIMED_COMMANDS;
}

/* Cash moved about when the reader was closed, or since: a sale for cash is going on. */
static bool cash_going_on(const struct bus_judge *j, int64_t off_ns)
{
	int64_t a = j->at[BUS_CHANGER_AT >> 3].set.cash_ns, b = j->at[BUS_VALIDATOR_AT >> 3].set.cash_ns;
	int64_t last = a > b ? a : b;

	return last >= 0 && last >= off_ns - BUS_LIM_IDLE_S * BUS_NS_PER_S;
}

static bool card_going_on(const struct bus_judge *j)
{
	for (unsigned a = BUS_READER_AT; a <= BUS_READER_2_AT; a += BUS_READER_2_AT - BUS_READER_AT) {
		enum ft_bus_state state = j->report->devices[a >> 3].state;
		if (state == FT_BUS_SESSION_IDLE || state == FT_BUS_VEND)
			return true;
	}
	return false;
}

static void reader_closed(struct bus_judge *j, uint8_t address)
{
	const struct bus_setting *s = &bus_at(j, address)->set;
	struct bus_hit *h;

	if (s->on)
		return;
	if (s->fresh && s->set_up && !s->opened && lasted(j, s->set_up_ns, s->polls_since, BUS_LIM_ENABLE_S)) {
		h = bus_hit(j, FT_RULE_BUS_READER_NOT_ENABLED, address, s->set_up_ns,
		            bus_judge_text(j, "set up, polled %llu times since, and %s", (llu)s->polls_since,
		                           s->tried ? "only READER DISABLE was sent" : "READER ENABLE was never sent"));
	} else if (s->tried && !s->on && lasted(j, s->off_ns, s->polls_since, BUS_LIM_DISABLED_S) &&
	           !cash_going_on(j, s->off_ns)) {
		h = bus_hit(j, FT_RULE_BUS_READER_NOT_ENABLED, address, s->off_ns,
		            bus_judge_text(j, "READER DISABLE at %s and no READER ENABLE in %llu polls since",
		                           bus_judge_seconds(j, s->off_ns), (llu)s->polls_since));
		if (s->sessions.n)
			h->weight = FT_DOUBT;
	} else {
		return;
	}
	h->expected = "READER ENABLE (14 01) after the setup";
}

/* Coins in the tubes, as far as they were told; INT64_MAX: not at all. */
static int64_t change_there(const struct bus_judge *j)
{
	const struct ft_bus_device *d = &j->report->devices[BUS_CHANGER_AT >> 3];
	int64_t n = 0;
	bool told = false;

	for (size_t i = 0; i < 16; i++) {
		told = told || d->tubes[i] != UINT16_MAX;
		n += d->tubes[i] != UINT16_MAX ? d->tubes[i] : 0;
	}
	return told ? n : INT64_MAX;
}

static void cash_closed(struct bus_judge *j, uint8_t address)
{
	const struct bus_setting *s = &bus_at(j, address)->set, *changer = &bus_at(j, BUS_CHANGER_AT)->set;
	const char *refused = "", *what = address == BUS_CHANGER_AT ? "COIN TYPE (0C)" : "BILL TYPE (34)";
	struct bus_hit *h = NULL;

	if (s->on || card_going_on(j))
		return;
	if (s->refused_bills)
		refused = bus_judge_text(j, "; %llu bills refused", (llu)s->refused_bills);
	if (s->fresh && s->set_up && !s->opened && lasted(j, s->set_up_ns, s->polls_since, BUS_LIM_CASH_ENABLE_S)) {
		h = bus_hit(j, FT_RULE_BUS_CASH_NOT_ENABLED, address, s->set_up_ns,
		            bus_judge_text(j, "set up, polled %llu times since, and %s%s", (llu)s->polls_since,
		                           s->tried ? bus_judge_text(j, "every %s disabled all types", what)
		                                    : bus_judge_text(j, "no %s was sent", what),
		                           refused));
		if (address == BUS_VALIDATOR_AT && changer->on)
			h->weight = FT_DOUBT; /* bills wait for change in the tubes in many machines */
	} else if (s->tried && lasted(j, s->off_ns, s->polls_since, BUS_LIM_DISABLED_S)) {
		h = bus_hit(j, FT_RULE_BUS_CASH_NOT_ENABLED, address, s->off_ns,
		            bus_judge_text(j, "all types disabled at %s and none enabled in %llu polls since%s",
		                           bus_judge_seconds(j, s->off_ns), (llu)s->polls_since, refused));
		h->weight = FT_DOUBT;
	} else if (s->refused_bills >= BUS_LIM_FEW && !s->tried) {
		h = bus_hit(j, FT_RULE_BUS_CASH_NOT_ENABLED, address, -1,
		            bus_judge_text(j, "%llu bills refused because they are disabled", (llu)s->refused_bills));
		h->weight = FT_DOUBT;
	}
	if (h && address == BUS_VALIDATOR_AT && change_there(j) < BUS_LIM_CHANGE_COINS) {
		h->seen = bus_judge_text(j, "%s; the tubes hold %lld coins: bills may wait for change", h->seen,
		                         (long long)change_there(j));
		h->weight = FT_NOTE;
	}
}

static void with_block(struct bus_judge *j, enum ft_rule_id rule, uint8_t address, const struct bus_tally *t,
                       const char *what, const struct bus_proof *p)
{
	if (t->n)
		bus_hit(j, rule, address, t->first_ns,
		        bus_judge_text(j, "%s %s, the first: %s", what, bus_judge_times(j, t->n),
		                       bus_judge_bytes(j, p->bytes, p->count, SIZE_MAX)));
}

static void reader_prices(struct bus_judge *j, uint8_t address)
{
	const struct bus_setting *s = &bus_at(j, address)->set;

	if (s->unlimited.n)
		bus_hit(j, FT_RULE_BUS_NO_PRICE_LIMITS, address, s->unlimited.first_ns,
		        "READER ENABLE came and no SETUP 11 01 before it");
	if (s->over_limit.n)
		bus_hit(j, FT_RULE_BUS_PRICE_LIMITS, address, s->over_limit.first_ns,
		        bus_judge_text(j, "%s asked for, above the highest price that was told",
		                       bus_judge_units(j, address, s->over_limit_price)));
	if (s->long_limits.n)
		bus_hit(j, FT_RULE_BUS_PRICE_LIMITS, address, s->long_limits.first_ns,
		        "the long form of the price limits was sent without 32 bit money enabled");
	if (s->tenfold.n) {
		struct bus_hit *h = bus_hit(j, FT_RULE_BUS_SCALE_MISFIT, address, s->tenfold.first_ns,
		                            bus_judge_text(j, "one selection is sold at %s by card and at %s for cash",
		                                           bus_judge_units(j, address, s->tenfold_card),
		                                           bus_judge_units(j, address, s->tenfold_cash)));
		h->grade = "likely";
		h->alike = "two prices of one selection that are meant so";
	}
}

static void reader_setup(struct bus_judge *j, uint8_t address)
{
	const struct bus_setting *s = &bus_at(j, address)->set;
	struct bus_hit *h;

	if (s->early.n) {
		h = bus_hit(j, FT_RULE_BUS_READER_ENABLED_EARLY, address, s->early.first_ns,
		            bus_judge_text(j, "READER ENABLE before the setup was done, %s", bus_judge_times(j, s->early.n)));
		h->expected = "SETUP (11 00) and its answer first";
	}
	with_block(j, FT_RULE_BUS_LEVEL_MISMATCH, address, &s->level,
	           bus_judge_text(j, "the controller is at level %u and the reader sends a longer form",
	                          s->controller_level),
	           &s->level_block);
	if (s->surplus.n)
		bus_hit(j, FT_RULE_BUS_SURPLUS_BYTE, address, s->surplus.first_ns,
		        bus_judge_text(j, "%llu BEGIN SESSION of four bytes", (llu)s->surplus.n));
	with_block(j, FT_RULE_BUS_MONEY_WIDTH, address, &s->narrow, "a 16 bit amount though 32 bit was enabled",
	           &s->width_block);
	with_block(j, FT_RULE_BUS_MONEY_WIDTH, address, &s->broad, "a 32 bit amount though it was not enabled",
	           &s->width_block);
	if (s->select_first.n) {
		h = bus_hit(j, FT_RULE_BUS_SELECT_FIRST, address, s->select_first.first_ns,
		            bus_judge_text(j, "VEND REQUEST without a session %s, %llu refused with 0B",
		                           bus_judge_times(j, s->select_first.n), (llu)s->refused.n));
		if (s->refused.n) {
			h->weight = FT_FAULT;
			h->grade = "sure";
		}
	}
}

void bus_judge_setup(struct bus_judge *j)
{
	static const uint8_t with_money[] = { BUS_CHANGER_AT, BUS_VALIDATOR_AT, BUS_READER_AT, BUS_READER_2_AT };
	uint8_t reference = 0;

	for (size_t i = 0; i < sizeof with_money; i++) {
		uint8_t address = with_money[i];
		if (!j->report->devices[address >> 3].setup.known)
			continue;
		if (reference)
			compare_money(j, reference, address);
		else
			reference = address;
		if (reference && bus_judge_is_reader(address) && !bus_judge_is_reader(reference))
			compare_scale(j, reference, address);
	}
	for (unsigned a = BUS_READER_AT; a <= BUS_READER_2_AT; a += BUS_READER_2_AT - BUS_READER_AT) {
		reader_setup(j, (uint8_t)a);
		reader_prices(j, (uint8_t)a);
		reader_closed(j, (uint8_t)a);
	}
	cash_closed(j, BUS_CHANGER_AT);
	cash_closed(j, BUS_VALIDATOR_AT);
}
