/* SPDX-License-Identifier: Apache-2.0 */
/* What the machine does, as its devices and its controller live through it. Each of these is called when
 * it has happened in the machine, and plays the traffic that goes with it. Nothing here changes the machine. */
#include "bus_inside.h"

enum { PLAY_LIMIT_MS = 15000, WAIT_LIMIT_S = 60, DARK_MS = 3000, TROUBLE_MS = 5000, BEFORE_MS = 200 };

/* The bus, when somebody listens to it. */
static struct practice_bus *live(const struct ft_practice *p)
{
	return p->bus && p->bus->tapped && p->bus->powered && !p->quiet ? p->bus : NULL;
}

static void settle(struct practice_bus *b)
{
	bus_settle(b, PLAY_LIMIT_MS * BUS_MS);
}

static void pause_ms(struct practice_bus *b, int64_t least, int64_t spread)
{
	bus_idle(b, (least + bus_chance(b, spread)) * BUS_MS);
}

/* ---- the tap ---- */

static void lay(struct practice_bus *b)
{
	const struct ft_practice *p = b->p;

	enum part other = p->bus_plan.second_reader_address ? READER : READER_2;
	bool reader = p->reader.serial[0], moved = reader && faulty(p, FAULT_BUS_READER_ELSEWHERE);

	b->reader = other == READER ? READER_2 : READER;
	b->controller_level = faulty(p, FAULT_BUS_LEVEL) ? 1 : 3;
	b->at[CHANGER].fitted = true;
	b->at[VALIDATOR].fitted = p->bill_count > 0;
	b->at[b->reader].fitted = reader && !moved;
	b->at[other].fitted = moved || (reader && faulty(p, FAULT_BUS_TWO_READERS));
	b->at[GATEWAY].fitted = p->bus_plan.gateway;
}

/* At power-up, or when its controller begins anew. */
static void start(struct practice_bus *b)
{
	lay(b);
	bus_controller_starts(b);
	settle(b);
}

enum ft_status ft_practice_tap(struct ft_practice *p, const struct ft_practice_tap *tap, bool from_power_up,
                               struct ft_error *e)
{
	struct practice_bus *b = p->bus ? p->bus : FT_NEW(p->arena, struct practice_bus);

	if (!b)
		return ft_fail_memory(e, "tapping the practice machine's bus");
	*b = (struct practice_bus){ .p = p, .tap = *tap, .tapped = true, .random = p->seed ^ 0xB5, .powered = p->powered };
	p->bus = b;
	lay(b);
	if (p->powered && from_power_up) {
		b->now_ns = BEFORE_MS * BUS_MS;
		start(b);
	} else if (p->powered) {
		bus_controller_runs(b);
	}
	return FT_OK;
}

int64_t ft_practice_untap(struct ft_practice *p)
{
	struct practice_bus *b = p->bus;

	if (!b || !b->tapped)
		return -1;
	bus_flush(b, INT64_MAX);
	b->tapped = false;
	return b->now_ns;
}

/* ---- money ---- */

void practice_bus_coin(const struct ft_practice *p, size_t type, enum coin_way way)
{
	struct practice_bus *b = live(p);
	uint8_t event[2];

	if (!b || type >= COINS_MAX) /* a token beside sixteen coins has no type left */
		return;
	event[0] = (uint8_t)(0x40 | way << 4 | type);
	event[1] = (uint8_t)(type < p->coin_count && p->coins[type].room ? p->coins[type].in_tube : 0);
	pause_ms(b, 250, 400);
	bus_tells(b, CHANGER, 0, event, sizeof event);
	settle(b);
}

/* A bill stands in escrow now. */
void practice_bus_bill(const struct ft_practice *p, size_t type)
{
	struct practice_bus *b = live(p);
	uint8_t event = (uint8_t)(0x90 | type);

	if (!b)
		return;
	pause_ms(b, 800, 600);
	bus_tells(b, VALIDATOR, 0, &event, 1);
	b->at[VALIDATOR].holds = true;
	b->at[VALIDATOR].held = (uint8_t)type;
	settle(b);
}

/* The controller wants no such bill now: one that already stands in escrow is stacked first by a machine that
 * takes another, so there is room for it only when none does. */
void practice_bus_refused_bill(const struct ft_practice *p, size_t type)
{
	if (p->escrow) {
		practice_bus_unknown_bill(p);
		return;
	}
	practice_bus_bill(p, type);
	practice_bus_escrow(p, false);
}

/* Nobody enabled it: the validator pushes it back and tells that somebody tried. */
void practice_bus_disabled_bill(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);
	const uint8_t event = 0x41;

	if (!b)
		return;
	pause_ms(b, 800, 600);
	bus_tells(b, VALIDATOR, 0, &event, 1);
	settle(b);
}

void practice_bus_unknown_bill(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);
	const uint8_t event = 0x0B;

	if (!b || !b->at[VALIDATOR].fitted)
		return;
	pause_ms(b, 800, 600);
	bus_tells(b, VALIDATOR, 0, &event, 1);
	settle(b);
}

/* The bill in escrow is stacked, or given back. */
void practice_bus_escrow(const struct ft_practice *p, bool stack)
{
	struct practice_bus *b = live(p);
	const uint8_t command[] = { 0x35, stack };

	if (!b)
		return;
	bus_say(b, VALIDATOR, command, sizeof command);
	settle(b);
}

/* A sum for whole coins each time, as much as one byte of it holds. */
static void pay_by_value(struct practice_bus *b, const int64_t *number)
{
	int64_t left[COINS_MAX], scale = bus_coin_scale(b), units = 1;

	memcpy(left, number, sizeof left);
	while (units) {
		struct peripheral *d = &b->at[CHANGER];
		uint8_t command[] = { 0x0F, 0x02, 0 };
		memset(d->pays, 0, sizeof d->pays);
		units = 0;
		for (size_t i = b->p->coin_count; i-- > 0;) {
			int64_t one = b->p->coins[i].value / scale, n = one ? (0xFF - units) / one : 0;
			n = n < left[i] ? n : left[i];
			d->pays[i] = (uint8_t)n;
			left[i] -= n;
			units += n * one;
		}
		command[2] = (uint8_t)units;
		if (units)
			bus_say(b, CHANGER, command, sizeof command);
		settle(b);
	}
}

void practice_bus_pays(const struct ft_practice *p, const int64_t *number)
{
	struct practice_bus *b = live(p);

	if (b && p->bus_plan.pays_by_value) {
		pay_by_value(b, number);
		return;
	}
	for (size_t i = p->coin_count; b && i-- > 0;)
		for (int64_t left = number[i]; left > 0; left -= 15) {
			const uint8_t command[] = { 0x0D, (uint8_t)((left < 15 ? left : 15) << 4 | (int64_t)i) };
			if (b->seats[CHANGER].queued == BUS_QUEUE)
				settle(b);
			bus_say(b, CHANGER, command, sizeof command);
		}
	if (b)
		settle(b);
}

/* Coins taken out with the buttons of the changer, at most seven told at a time. */
void practice_bus_paid_by_hand(const struct ft_practice *p, size_t type, int64_t number)
{
	struct practice_bus *b = live(p);
	int64_t there = p->coins[type].in_tube + number;

	for (int64_t left = number; b && left > 0; left -= 7) {
		int64_t n = left < 7 ? left : 7;
		uint8_t event[2] = { (uint8_t)(0x80 | n << 4 | (int64_t)type), 0 };
		there -= n;
		event[1] = (uint8_t)(there < 0xFF ? there : 0xFF);
		pause_ms(b, 150 * n, 100);
		bus_tells(b, CHANGER, 0, event, sizeof event);
		settle(b);
	}
}

/* The controller looks how many coins there are: after filling, and when somebody is at the door. */
void practice_bus_looks(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);
	const uint8_t stacker = 0x36;

	if (!b)
		return;
	b->seats[CHANGER].asks_tubes = true;
	if (b->at[VALIDATOR].fitted)
		bus_say(b, VALIDATOR, &stacker, 1);
	settle(b);
}

void practice_bus_lever(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);
	const uint8_t event = 0x01;

	if (!b)
		return;
	bus_tells(b, CHANGER, 0, &event, 1);
	settle(b);
}

/* ---- sales ---- */

/* The selection's number on the bus: as it is labelled where that is a number, else its place from 1 on. */
static uint32_t item_of(const struct ft_practice *p, int s)
{
	int64_t n;

	return ft_slice_i64(ft_slice_of(p->selections[s].id), &n) && n >= 0 && n < 0xFFFF ? (uint32_t)n : (uint32_t)s + 1;
}

static bool has_reader(const struct practice_bus *b)
{
	return b->at[b->reader].fitted && b->seats[b->reader].state == SEAT_READY;
}

/* 13 XX of the reader that serves. */
static struct bus_block reader_command(const struct practice_bus *b, unsigned command, uint8_t what)
{
	struct bus_block c = { .n = 0 };

	bus_add(&c, (uint32_t)(bus_addresses[b->reader] | command) << 8 | what, 2);
	return c;
}

static void say(struct practice_bus *b, const struct bus_block *c)
{
	bus_say(b, b->reader, c->bytes, c->n);
}

static void add_money(struct practice_bus *b, struct bus_block *c, int64_t minor)
{
	bus_add(c, bus_units(b, minor), b->at[b->reader].wide ? 4 : 2);
}

void practice_bus_motor(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);

	if (!b)
		return;
	b->vending = true;
	settle(b);
	pause_ms(b, 900, 900);
}

void practice_bus_cash_sale(const struct ft_practice *p, int s, int64_t price)
{
	struct practice_bus *b = live(p);
	struct bus_block c;

	if (!b || !has_reader(b))
		return;
	c = reader_command(b, 3, 0x05);
	add_money(b, &c, price);
	bus_add(&c, item_of(p, s), 2);
	if (b->at[b->reader].wide)
		bus_add(&c, bus_currency_code(b), 2);
	say(b, &c);
	settle(b);
}

static void begin_session(struct practice_bus *b, int64_t funds)
{
	struct bus_block d = { .n = 0 };
	const struct seat *seat = &b->seats[b->reader];
	bool wide = bus_reader_writes_wide(b, b->reader);

	bus_add(&d, 0x03, 1);
	bus_add(&d, bus_units(b, funds), wide ? 4 : 2);
	if (wide || faulty(b->p, FAULT_BUS_LEVEL) || (seat->level >= 2 && b->controller_level >= 2)) {
		bus_add(&d, 0xFFFFFFFF, 4); /* the card's own number is not told */
		bus_add(&d, 0, 3);
	}
	if (wide) {
		bus_add(&d, 'e' << 8 | 'n', 2);
		bus_add(&d, bus_currency_code(b), 2);
		bus_add(&d, 0, 1);
	}
	b->card_comes = true;
	settle(b);
	pause_ms(b, 300, 500);
	b->card = (struct card_part){ .answer = b->card.answer };
	bus_tells(b, b->reader, 0, d.bytes, d.n);
	b->at[b->reader].state = FT_BUS_SESSION_IDLE;
	settle(b);
	b->card_comes = false;
}

static void end_session(struct practice_bus *b)
{
	struct bus_block c = reader_command(b, 3, 0x04);
	int64_t until = b->now_ns + 10500 * BUS_MS; /* the reader says that it may take ten seconds */

	if (!b->card.ended)
		say(b, &c);
	while (b->now_ns < until && !b->card.ended)
		bus_step(b);
	if (!b->card.ended)
		bus_reset_anew(b, b->reader);
	b->card.session = false;
	settle(b);
}

/* VEND REQUEST, and then polls until the reader says yes or no. */
static void request(struct practice_bus *b, int s, int64_t price, int64_t limit_ns)
{
	struct bus_block c = reader_command(b, 3, 0x00);
	int64_t until = b->now_ns + limit_ns;

	add_money(b, &c, price);
	bus_add(&c, item_of(b->p, s), 2);
	say(b, &c);
	while (b->now_ns < until && b->card.verdict == NO_VERDICT && b->seats[b->reader].state == SEAT_READY)
		bus_step(b);
}

/* The host is out of reach: the controller cancels when the reader's own time is long over. */
static void hang(struct practice_bus *b, int s, int64_t price)
{
	struct bus_block c = reader_command(b, 3, 0x01);

	request(b, s, price, 12000 * BUS_MS);
	say(b, &c);
	settle(b);
	end_session(b);
}

void practice_bus_card(const struct ft_practice *p, int s, int64_t price, enum card_answer answer, bool asked)
{
	struct practice_bus *b = live(p);
	int64_t until;

	if (!b || !has_reader(b))
		return;
	b->card = (struct card_part){ .answer = answer };
	if (faulty(p, FAULT_BUS_SELECT_FIRST)) {
		request(b, s, price, 3000 * BUS_MS);
		settle(b);
		return;
	}
	if (practice_bus_stops_cards(p) && !faulty(p, FAULT_BUS_SESSION_HANGS))
		return;
	begin_session(b, price + (5 + bus_chance(b, 40)) * 100);
	pause_ms(b, 300, 500);
	if (!asked) { /* nothing to sell: the customer takes the card back */
		const uint8_t cancel = 0x04;
		bus_tells(b, b->reader, 0, &cancel, 1);
		until = b->now_ns + 5000 * BUS_MS;
		while (b->now_ns < until && !b->card.ended)
			bus_step(b);
		end_session(b);
		return;
	}
	if (faulty(p, FAULT_BUS_SESSION_HANGS)) {
		hang(b, s, price);
		return;
	}
	request(b, s, price, PLAY_LIMIT_MS * BUS_MS);
	if (answer != CARD_APPROVES)
		end_session(b);
}

void practice_bus_card_ends(const struct ft_practice *p, int s, bool delivered)
{
	struct practice_bus *b = live(p);
	struct bus_block c;

	if (!b || !has_reader(b))
		return;
	c = reader_command(b, 3, delivered ? 0x02 : 0x03);
	if (delivered)
		bus_add(&c, item_of(p, s), 2);
	if (!faulty(p, FAULT_BUS_NOT_CLOSED))
		say(b, &c);
	settle(b);
	if (!delivered && faulty(p, FAULT_BUS_REFUND_LOST))
		bus_idle(b, 400 * BUS_MS);
	end_session(b);
}

void practice_bus_top_up_begins(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);

	if (!b || !has_reader(b) || practice_bus_stops_cards(p))
		return;
	b->topping = true;
	begin_session(b, (5 + bus_chance(b, 40)) * 100);
}

void practice_bus_top_up_ends(const struct ft_practice *p, int64_t value)
{
	struct practice_bus *b = live(p);
	struct bus_block c;
	int64_t until;

	if (!b || !b->topping)
		return;
	c = reader_command(b, 5, 0x00);
	add_money(b, &c, value);
	if (value)
		say(b, &c);
	until = b->now_ns + 5000 * BUS_MS;
	while (value && b->now_ns < until && b->card.verdict == NO_VERDICT)
		bus_step(b);
	b->topping = false;
	end_session(b);
}

/* ---- time and power ---- */

/* What goes wrong by itself while nothing is sold. */
static void troubles(struct practice_bus *b)
{
	const uint8_t sensor = 0x04, own[] = { 0x19, 0x01 }; /* a code that the standard keeps for later */

	if (faulty(b->p, FAULT_BUS_BREAK_REPEATS))
		start(b);
	for (int i = 0; i < PARTS; i++)
		if (bus_faulty(b, FAULT_BUS_RESTARTS, (enum part)i))
			bus_peripheral_resets(b, (enum part)i);
	if (faulty(b->p, FAULT_BUS_TUBE_TROUBLE))
		bus_tells(b, CHANGER, 0, &sensor, 1);
	if (faulty(b->p, FAULT_BUS_UNKNOWN) && has_reader(b))
		bus_tells(b, b->reader, 0, own, sizeof own);
	settle(b);
}

/* A command is over: what is still open is closed, and a moment passes. */
void practice_bus_rests(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);

	if (!b)
		return;
	b->vending = b->topping = false;
	settle(b);
	troubles(b);
	pause_ms(b, 150, 200);
}

void practice_bus_waits(const struct ft_practice *p, int64_t seconds)
{
	struct practice_bus *b = live(p);

	int64_t until;

	if (!b)
		return;
	until = b->now_ns + (seconds < WAIT_LIMIT_S ? seconds : WAIT_LIMIT_S) * 1000 * BUS_MS;
	while (b->now_ns < until) {
		int64_t left = until - b->now_ns;
		bus_idle(b, left < TROUBLE_MS * BUS_MS ? left : TROUBLE_MS * BUS_MS);
		if (left > TROUBLE_MS * BUS_MS)
			troubles(b);
	}
}

/* Without power both lines are still; with it the bus begins with a reset. `held`: the bill that was in
 * escrow comes out when the validator starts; -1: none was. */
void practice_bus_power(const struct ft_practice *p, int held)
{
	struct practice_bus *b = p->bus;

	if (!b || !b->tapped)
		return;
	b->powered = p->powered;
	if (!p->powered) {
		b->now_ns += DARK_MS * BUS_MS;
		return;
	}
	lay(b);
	b->at[VALIDATOR].returns = held >= 0;
	b->at[VALIDATOR].held = held >= 0 ? (uint8_t)held : 0;
	bus_controller_starts(b);
	settle(b);
}

void practice_bus_restarts(const struct ft_practice *p)
{
	struct practice_bus *b = live(p);

	if (b)
		start(b);
}
