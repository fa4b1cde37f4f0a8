/* SPDX-License-Identifier: Apache-2.0 */
/* The controller: asks each device in turn, sets up what says that it was reset, enables what the machine
 * is ready for, and looks for what has gone silent. */
#include "bus_inside.h"

const uint8_t bus_addresses[PARTS] = {
	[CHANGER] = 0x08, [VALIDATOR] = 0x30, [READER] = 0x10, [READER_2] = 0x60, [GATEWAY] = 0x18,
};

static bool is_reader(enum part part)
{
	return part == READER || part == READER_2;
}

static uint8_t poll_of(enum part part)
{
	return (uint8_t)(bus_addresses[part] | (part == CHANGER || part == VALIDATOR ? 3 : 2));
}

/* Seconds of silence after which a device counts as gone: MDB/ICP 5.4, 6.4, 7.5, partly from memory. */
static int64_t patience(enum part part)
{
	return (part == CHANGER ? 2000 : 5000) * BUS_MS;
}

void bus_say(struct practice_bus *b, enum part part, const uint8_t *bytes, size_t n)
{
	struct seat *s = &b->seats[part];

	if (s->queued == BUS_QUEUE || n > FT_BUS_BLOCK_MAX - 1)
		return;
	s->queue[s->queued].n = n;
	memcpy(s->queue[s->queued++].bytes, bytes, n);
}

/* It has been silent for so long that nobody waits for it. */
static bool gone(const struct practice_bus *b, const struct seat *s)
{
	return s->silent_ns >= 0 && b->now_ns - s->silent_ns > BUS_GONE_MS * BUS_MS;
}

/* A reader that the controller only looks at: it was told to work with the other address. */
static bool ignored(const struct practice_bus *b, enum part part)
{
	return is_reader(part) && faulty(b->p, FAULT_BUS_READER_ELSEWHERE) && part != b->reader;
}

/* Its setup never ends. */
static bool hopeless(const struct practice_bus *b, enum part part)
{
	return bus_faulty(b, FAULT_BUS_CONTROLLER_RESETS, part) || (part == b->reader && faulty(b->p, FAULT_BUS_CLASH));
}

/* Nobody is being set up any more: the machine may take money. */
bool bus_accepting(const struct practice_bus *b)
{
	for (int i = 0; i < PARTS; i++) {
		const struct seat *s = &b->seats[i];
		bool waits = ignored(b, (enum part)i) || hopeless(b, (enum part)i);
		if (s->state != SEAT_OFF && s->state != SEAT_READY && !gone(b, s) && !waits)
			return false;
	}
	return b->powered;
}

/* What this device should be enabled for now; -1: it is not enabled by anybody. */
static int32_t wanted(const struct practice_bus *b, enum part part)
{
	bool money = bus_accepting(b) && !b->vending && (!b->card.session || b->topping);
	bool credit = b->p->credit || b->p->escrow;

	money &= !faulty(b->p, FAULT_BUS_CASH_NOT_ENABLED);
	switch (part) {
	case CHANGER:
		return money ? bus_coin_mask(b) : 0;
	case VALIDATOR:
		return money ? bus_bill_mask(b) : 0;
	case READER:
	case READER_2: /* closed while there is cash credit; a session goes on to its end */
		if (b->card.session)
			return b->seats[part].told;
		return bus_accepting(b) && !b->vending && !faulty(b->p, FAULT_BUS_READER_NOT_ENABLED) &&
			(!credit || b->card_comes);
	default:
		return -1;
	}
}

static void enable(const struct practice_bus *b, enum part part, int32_t mask, struct bus_block *ret)
{
	ret->n = 0;
	if (is_reader(part)) {
		bus_add(ret, (uint32_t)(bus_addresses[part] | 4) << 8 | (uint32_t)mask, 2);
		return;
	}
	bus_add(ret, bus_addresses[part] | 4, 1);
	bus_add(ret, (uint32_t)mask, 2);
	if (part == CHANGER) { /* coins of the tubes may be given out by hand at any time */
		uint32_t tubes = 0;
		for (size_t i = 0; i < b->p->coin_count; i++)
			tubes |= (uint32_t)(b->p->coins[i].room > 0) << i;
		bus_add(ret, tubes, 2);
	} else {
		bus_add(ret, (uint32_t)mask, 2); /* every bill goes through escrow */
	}
}

/* One device is set up at a time, so that the others are polled in time meanwhile. */
static bool its_turn(const struct practice_bus *b, enum part part)
{
	for (int i = 0; i < (int)part; i++)
		if (b->seats[i].state == SEAT_SETUP && !gone(b, &b->seats[i]))
			return false;
	return true;
}

enum errand { POLL, RESET, SETUP, ENABLE, EARLY, QUEUED, PAID, TUBES, NONE };

static enum errand next(struct practice_bus *b, enum part part, struct bus_block *ret)
{
	struct seat *s = &b->seats[part];
	int32_t mask = wanted(b, part);

	*ret = (struct bus_block){ .bytes = { poll_of(part) }, .n = 1 };
	switch (s->state) {
	case SEAT_OFF:
		return NONE;
	case SEAT_PROBE:
		ret->bytes[0] = bus_addresses[part];
		return s->reset_ns >= 0 && s->tries >= BUS_TRIES && s->silent_ns >= 0 &&
				b->now_ns < s->reset_ns + BUS_RETRY_MS * BUS_MS / 2
			? NONE
			: RESET;
	case SEAT_SETUP:
		if (s->awaits || !its_turn(b, part))
			return POLL;
		if (is_reader(part) && !s->early && s->step == 0 && faulty(b->p, FAULT_BUS_READER_EARLY)) {
			enable(b, part, 1, ret);
			return EARLY;
		}
		for (; bus_setup_step(b, part, s->step, ret); s->step++)
			if (ret->n)
				return SETUP;
		s->state = SEAT_READY;
		s->told = -1;
		*ret = (struct bus_block){ .bytes = { poll_of(part) }, .n = 1 };
		return POLL;
	case SEAT_READY:
		if (s->dispensing && s->by_value) {
			*ret = (struct bus_block){ .bytes = { 0x0F, 0x04 }, .n = 2 };
			return PAID;
		}
		if (s->dispensing)
			return POLL;
		if (s->queued) {
			*ret = s->queue[0];
			return QUEUED;
		}
		if (mask >= 0 && s->told != mask) {
			enable(b, part, mask, ret);
			return ENABLE;
		}
		if (s->asks_tubes) {
			ret->bytes[0] = 0x0A;
			return TUBES;
		}
		return POLL;
	default:
		return POLL;
	}
}

/* The controller gives it up and begins with RESET. */
void bus_reset_anew(struct practice_bus *b, enum part part)
{
	struct seat *s = &b->seats[part];

	s->state = SEAT_PROBE;
	s->reset_ns = -1;
	s->tries = 0;
	s->queued = 0;
	if (part == b->reader)
		b->card.session = false;
}

static void restart(struct practice_bus *b, enum part part)
{
	struct seat *s = &b->seats[part];

	s->state = ignored(b, part) ? SEAT_WAIT : SEAT_SETUP;
	s->step = 0;
	s->awaits = s->dispensing = s->asks_tubes = false;
	s->level = 0;
	s->options = 0;
	s->told = -1;
}

/* What a reader says, one message after the other in a block. */
static void hear_reader(struct practice_bus *b, enum part part, const struct bus_block *d)
{
	struct seat *s = &b->seats[part];
	static const uint8_t complete = 0x04;
	uint8_t say[2] = { bus_addresses[part] | 3, complete };

	switch (d->bytes[0]) {
	case 0x00:
		restart(b, part);
		break;
	case 0x01:
	case 0x09:
		if (s->awaits)
			bus_setup_heard(b, part, d);
		break;
	case 0x03:
		b->card.session = true;
		break;
	case 0x04:
		bus_say(b, part, say, 2);
		break;
	case 0x05:
		b->card.verdict = APPROVED;
		break;
	case 0x06:
		b->card.verdict = DENIED;
		break;
	case 0x07:
		b->card.session = false;
		b->card.ended = true;
		break;
	case 0x0B:         /* a sequence is broken: begin anew */
		if (!s->early) /* else this controller asked for it */
			bus_reset_anew(b, part);
		break;
	case 0x0D:
		b->card.verdict = APPROVED;
		break;
	default:
		break;
	}
}

static void hear_poll(struct practice_bus *b, enum part part, const struct bus_reply *r)
{
	struct seat *s = &b->seats[part];
	uint8_t reset = part == CHANGER ? 0x0B : part == VALIDATOR ? 0x06 : 0x00;
	bool busy = part == CHANGER && r->kind == HEARD_DATA && r->data.bytes[0] == 0x02;

	if (s->dispensing && !busy) {
		s->dispensing = false;
		s->asks_tubes = true;
	}
	if (r->kind != HEARD_DATA)
		return;
	if (is_reader(part)) {
		hear_reader(b, part, &r->data);
	} else if (r->data.bytes[0] == reset) {
		restart(b, part);
	} else if (part == CHANGER && r->data.bytes[0] & 0x80) {
		s->asks_tubes = true; /* coins went out by hand */
	}
}

static void hear(struct practice_bus *b, enum part part, enum errand errand, const struct bus_block *command,
                 const struct bus_reply *r)
{
	struct seat *s = &b->seats[part];

	if (r->kind == HEARD_NAK || r->kind == HEARD_GARBLED)
		return; /* said again at the next turn */
	s->known = true;
	switch (errand) {
	case RESET:
		s->state = SEAT_WAIT;
		s->tries = 0;
		break;
	case POLL:
		hear_poll(b, part, r);
		break;
	case SETUP:
		s->awaits = r->kind == HEARD_ACK && is_reader(part) && (s->step == 0 || s->step == 2);
		if (!s->awaits)
			bus_setup_heard(b, part, &r->data);
		break;
	case ENABLE:
		s->told = is_reader(part) ? command->bytes[1] : command->bytes[1] << 8 | command->bytes[2];
		break;
	case EARLY:
		s->early = true;
		break;
	case QUEUED:
		s->by_value = part == CHANGER && command->bytes[0] == 0x0F;
		s->dispensing = s->by_value || (part == CHANGER && command->bytes[0] == 0x0D);
		memmove(s->queue, s->queue + 1, --s->queued * sizeof *s->queue);
		break;
	case PAID:
		s->dispensing = r->kind == HEARD_DATA;
		s->asks_tubes = true;
		break;
	case TUBES:
		s->asks_tubes = false;
		break;
	default:
		break;
	}
}

/* The controller's menu says that there is one, so it goes on calling. */
static bool expected(const struct practice_bus *b, enum part part)
{
	const struct ft_practice *p = b->p;

	return part == CHANGER || (part == VALIDATOR && p->bill_count) || (part == b->reader && p->reader.serial[0]) ||
		(part == GATEWAY && p->bus_plan.gateway);
}

static void missed(struct practice_bus *b, enum part part)
{
	struct seat *s = &b->seats[part];

	if (s->silent_ns < 0)
		s->silent_ns = b->now_ns;
	if (s->state == SEAT_PROBE) {
		if (++s->tries >= BUS_TRIES && !s->known && !expected(b, part))
			s->state = SEAT_OFF;
	} else if (b->now_ns - s->silent_ns > patience(part)) {
		bus_reset_anew(b, part);
	}
}

static void turn(struct practice_bus *b, enum part part)
{
	struct seat *s = &b->seats[part];
	struct bus_block command;
	struct bus_reply r;
	enum errand errand = next(b, part, &command);

	if (errand == NONE)
		return;
	if (errand == RESET)
		s->reset_ns = b->now_ns;
	bus_exchange(b, part, &command, &r);
	if (r.kind == HEARD_NOTHING) {
		missed(b, part);
		return;
	}
	s->silent_ns = -1;
	hear(b, part, errand, &command, &r);
}

/* The next device in time has its turn. */
void bus_step(struct practice_bus *b)
{
	int64_t period = faulty(b->p, FAULT_BUS_SLOW_POLL) ? b->p->faults[FAULT_BUS_SLOW_POLL].b * BUS_MS
		: faulty(b->p, FAULT_BUS_FAST_POLL)            ? 2 * BUS_MS
													   : BUS_POLL_MS * BUS_MS;
	int first = -1;

	for (int i = 0; i < PARTS; i++)
		if (b->seats[i].state != SEAT_OFF && (first < 0 || b->seats[i].due_ns < b->seats[first].due_ns))
			first = i;
	if (first < 0 || !b->powered || faulty(b->p, FAULT_BUS_CONTROLLER_SILENT)) { /* nobody asks or is there */
		b->now_ns += period;
		return;
	}
	if (b->seats[first].due_ns > b->now_ns)
		b->now_ns = b->seats[first].due_ns;
	b->seats[first].due_ns = b->now_ns + period - BUS_MS + bus_chance(b, 2 * BUS_MS);
	turn(b, (enum part)first);
}

void bus_idle(struct practice_bus *b, int64_t ns)
{
	int64_t until = b->now_ns + ns;

	while (b->now_ns < until && b->tapped)
		bus_step(b);
}

static bool settled(const struct practice_bus *b)
{
	for (int i = 0; i < PARTS; i++) {
		const struct seat *s = &b->seats[i];
		int32_t mask = wanted(b, (enum part)i);
		if (s->state == SEAT_OFF || gone(b, s) || ignored(b, (enum part)i) || hopeless(b, (enum part)i))
			continue;
		if (s->state != SEAT_READY || s->queued || s->dispensing || s->asks_tubes || b->at[i].event_count ||
		    (mask >= 0 && s->told != mask))
			return false;
	}
	return true;
}

/* Until everything is said and told, or for so long. */
void bus_settle(struct practice_bus *b, int64_t limit_ns)
{
	int64_t until = b->now_ns + limit_ns;

	while (b->now_ns < until && b->powered && !settled(b))
		bus_step(b);
}

/* Power-up: a bus reset, then every address it knows is tried. */
void bus_controller_starts(struct practice_bus *b)
{
	for (int i = 0; i < PARTS; i++) {
		b->seats[i] = (struct seat){
			.address = bus_addresses[i], .state = SEAT_PROBE, .silent_ns = -1, .reset_ns = -1, .told = -1
		};
		bus_peripheral_resets(b, (enum part)i);
	}
	b->card = (struct card_part){ 0 };
	b->vending = b->topping = false;
	if (faulty(b->p, FAULT_BUS_SHORT_BREAK))
		bus_break(b, 40 * BUS_MS, 90 * BUS_MS);
	else if (!faulty(b->p, FAULT_BUS_CONTROLLER_SILENT))
		bus_break(b, BUS_BREAK_MS * BUS_MS, BUS_SETUP_MS * BUS_MS);
	for (int i = 0; i < PARTS; i++)
		b->seats[i].due_ns = b->now_ns + i * BUS_POLL_MS * BUS_MS / PARTS;
}

/* Tapped in the middle of its life: everything that is there was set up long ago. */
void bus_controller_runs(struct practice_bus *b)
{
	bool tapped = b->tapped;

	b->tapped = false;
	bus_controller_starts(b);
	bus_settle(b, 30000 * BUS_MS);
	bus_flush(b, b->now_ns);
	b->tapped = tapped;
	for (int i = 0; i < PARTS; i++) {
		b->seats[i].due_ns -= b->now_ns;
		b->at[i].busy_until_ns = 0;
	}
	b->now_ns = 0;
}
