/* SPDX-License-Identifier: Apache-2.0 */
/* One exchange: a command with its check byte, the answer or none, and the controller's closing byte. */
#include "bus_inside.h"

static uint8_t check_byte(const uint8_t *bytes, size_t n)
{
	unsigned sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += bytes[i];
	return (uint8_t)sum;
}

/* A block with its check byte, as it goes out. */
static size_t framed(const struct bus_block *block, uint8_t to[FT_BUS_BLOCK_MAX + 1])
{
	memcpy(to, block->bytes, block->n);
	to[block->n] = check_byte(block->bytes, block->n);
	return block->n + 1;
}

/* 1 to 2 ms between the end of one side and the start of the other. */
static int64_t turn_round(struct practice_bus *b)
{
	return BUS_MS + bus_chance(b, BUS_MS);
}

static bool unreachable(const struct practice_bus *b, enum part part)
{
	return !b->at[part].fitted || faulty(b->p, FAULT_BUS_DEAD) || faulty(b->p, FAULT_BUS_SWAPPED) ||
		bus_faulty(b, FAULT_BUS_SILENT, part);
}

static void ask(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[part];

	*ret = (struct bus_reply){ .kind = HEARD_NOTHING };
	d->telling = false;
	d->told_coins = 0;
	if (unreachable(b, part) || d->deaf || b->spoilt) {
		d->deaf = false;
		return;
	}
	if (bus_strikes(b, FAULT_BUS_NAK, part, 3)) {
		ret->kind = HEARD_NAK;
		return;
	}
	switch (part) {
	case CHANGER:
		bus_changer_answers(b, command, ret);
		break;
	case VALIDATOR:
		bus_validator_answers(b, command, ret);
		break;
	case READER:
	case READER_2:
		bus_reader_answers(b, part, command, ret);
		break;
	default:
		bus_gateway_answers(b, command, ret);
		break;
	}
}

/* A second reader at the same address answers in the same moment with what it is: on the wire stands the AND
 * of both, and the longer one goes on alone. */
static size_t overlaid(uint8_t *bytes, size_t n)
{
	uint8_t other[BUS_SENT_MAX];
	size_t m = n < BUS_SENT_MAX ? n + 1 : n;

	memset(other, 0, sizeof other);
	memcpy(other, bytes, n - 1);
	for (size_t i = 2; i + 1 < m; i++)
		other[i] = (uint8_t)(other[i] ^ (0x11 * i));
	other[m - 1] = check_byte(other, m - 1);
	for (size_t i = 0; i < m; i++)
		bytes[i] = i < n ? bytes[i] & other[i] : other[i];
	return m;
}

/* What the device sends for this reply, check byte and faults included. */
static size_t lay_out(const struct practice_bus *b, enum part part, const struct bus_block *command,
                      const struct bus_reply *r, uint8_t bytes[BUS_SENT_MAX])
{
	size_t n;

	if (r->kind != HEARD_DATA) {
		bytes[0] = r->kind == HEARD_ACK ? BUS_ACK : BUS_NAK;
		return 1;
	}
	n = framed(&r->data, bytes);
	if (bus_faulty(b, FAULT_BUS_TOO_LONG, part)) {
		for (bytes[n - 1] = 0; n < 40; n++)
			bytes[n] = 0;
		bytes[n - 1] = check_byte(bytes, n - 1);
	}
	if (bus_faulty(b, FAULT_BUS_CONSTANT_CHECKSUM, part))
		bytes[n - 1] = (uint8_t)(bytes[n - 1] + command->bytes[0]);
	return n;
}

static enum heard answer(struct practice_bus *b, enum part part, const struct bus_block *command,
                         const struct bus_reply *r)
{
	uint8_t bytes[BUS_SENT_MAX];
	size_t n = lay_out(b, part, command, r, bytes);
	int64_t at = b->now_ns + turn_round(b);
	bool wrong = false;

	if (bus_faulty(b, FAULT_BUS_LATE, part))
		at += (b->p->faults[FAULT_BUS_LATE].b - 2) * BUS_MS + bus_chance(b, 2 * BUS_MS);
	if (n > 1 && bus_strikes(b, FAULT_BUS_CHECKSUM, part, 3)) {
		bytes[n - 1] = (uint8_t)(bytes[n - 1] + 1 + bus_chance(b, 254));
		wrong = true;
	}
	if (n > 2 && part == b->reader && faulty(b->p, FAULT_BUS_CLASH)) {
		size_t m = overlaid(bytes, n); /* the byte behind the last one is the other's, marked as its last */
		b->now_ns = bus_send(b, part, bytes, n, false, at);
		b->now_ns = bus_send(b, part, bytes + n, m - n, false, b->now_ns);
		return HEARD_GARBLED;
	}
	b->now_ns = bus_send(b, part, bytes, n, false, at);
	return wrong || b->spoilt ? HEARD_GARBLED : r->kind;
}

/* What was told is told. */
static void acknowledged(struct peripheral *d)
{
	if (d->telling && d->events[0].block.bytes[0] >> 4 == 0xA)
		d->returns = false;
	if (d->telling)
		memmove(d->events, d->events + 1, --d->event_count * sizeof *d->events);
	d->pays[d->told_type] = (uint8_t)(d->pays[d->told_type] - d->told_coins);
	d->told_coins = 0;
	d->telling = d->repeated = false;
}

/* The controller's last byte after data: ACK, or RET and the same once more. Returns what it made of it. */
static enum heard close(struct practice_bus *b, enum part part, const struct bus_block *command,
                        const struct bus_reply *r, enum heard heard)
{
	static const uint8_t ack = BUS_ACK, ret = BUS_RET;
	struct peripheral *d = &b->at[part];

	for (int again = 0; again < 2 && (heard == HEARD_GARBLED || (!again && bus_strikes(b, FAULT_BUS_RET, part, 2)));
	     again++) {
		b->now_ns = bus_send(b, CONTROLLER, &ret, 1, true, b->now_ns + turn_round(b));
		heard = answer(b, part, command, r);
	}
	if (heard == HEARD_GARBLED)
		return heard;
	if (bus_strikes(b, FAULT_BUS_UNACKNOWLEDGED, part, 2)) {
		b->now_ns += BUS_PATIENCE_MS * BUS_MS;
		return HEARD_GARBLED;
	}
	if (d->telling && !d->repeated && bus_strikes(b, FAULT_BUS_EVENT_REPEATED, part, 3)) {
		d->repeated = true;
		b->now_ns += BUS_PATIENCE_MS * BUS_MS;
		return HEARD_GARBLED;
	}
	b->now_ns = bus_send(b, CONTROLLER, &ack, 1, true, b->now_ns + turn_round(b));
	if (b->spoilt)
		return HEARD_GARBLED; /* the device will tell it again */
	acknowledged(d);
	return heard;
}

/* The controller gives up before the answer comes and asks again at once: the answer runs into that. */
static void overlap(struct practice_bus *b, enum part part)
{
	static const uint8_t ack = BUS_ACK;

	bus_send(b, part, &ack, 1, false, b->now_ns + (BUS_PATIENCE_MS + 2) * BUS_MS);
	b->now_ns += BUS_PATIENCE_MS * BUS_MS + BUS_MS / 2;
	b->at[part].deaf = true;
	b->seats[part].due_ns = b->now_ns;
}

static void command_goes(struct practice_bus *b, const struct bus_block *command)
{
	uint8_t bytes[FT_BUS_BLOCK_MAX + 1];
	size_t n = framed(command, bytes);
	bool wrong = bus_strikes(b, FAULT_BUS_CHECKSUM, CONTROLLER, 3);

	if (wrong)
		bytes[n - 1] = (uint8_t)(bytes[n - 1] + 1 + bus_chance(b, 254));
	b->now_ns = bus_send(b, CONTROLLER, bytes, n, false, b->now_ns);
	b->spoilt |= wrong;
}

void bus_exchange(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret)
{
	enum heard heard;

	bus_flush(b, b->now_ns);
	command_goes(b, command);
	ask(b, part, command, ret);
	if (ret->kind == HEARD_NOTHING) {
		b->now_ns += BUS_PATIENCE_MS * BUS_MS + turn_round(b);
		return;
	}
	if (command->n == 1 && ret->kind == HEARD_ACK && bus_strikes(b, FAULT_BUS_LATE_OVERLAP, part, 3)) {
		overlap(b, part);
		ret->kind = HEARD_NOTHING;
		return;
	}
	heard = answer(b, part, command, ret);
	if (ret->kind == HEARD_DATA)
		heard = close(b, part, command, ret, heard);
	ret->kind = heard;
	b->now_ns += BUS_MS + bus_chance(b, BUS_MS);
}
