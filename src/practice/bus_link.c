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

static void ask(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret)
{
	*ret = (struct bus_reply){ .kind = HEARD_NOTHING };
	if (!b->at[part].fitted)
		return;
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

static void answer(struct practice_bus *b, enum part part, const struct bus_reply *r)
{
	static const uint8_t ack = BUS_ACK, nak = BUS_NAK;
	uint8_t bytes[FT_BUS_BLOCK_MAX + 1];
	int64_t at = b->now_ns + turn_round(b);

	if (r->kind == HEARD_DATA)
		b->now_ns = bus_send(b, part, bytes, framed(&r->data, bytes), false, at);
	else
		b->now_ns = bus_send(b, part, r->kind == HEARD_ACK ? &ack : &nak, 1, false, at);
}

/* The controller took the data: what was told is told. */
static void close_with_ack(struct practice_bus *b, struct peripheral *d)
{
	static const uint8_t ack = BUS_ACK;

	b->now_ns = bus_send(b, CONTROLLER, &ack, 1, true, b->now_ns + turn_round(b));
	if (d->telling)
		memmove(d->events, d->events + 1, --d->event_count * sizeof *d->events);
	d->telling = false;
}

void bus_exchange(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[part];
	uint8_t bytes[FT_BUS_BLOCK_MAX + 1];

	bus_flush(b, b->now_ns);
	b->now_ns = bus_send(b, CONTROLLER, bytes, framed(command, bytes), false, b->now_ns);
	d->telling = false;
	ask(b, part, command, ret);
	if (ret->kind == HEARD_NOTHING) {
		b->now_ns += BUS_PATIENCE_MS * BUS_MS + turn_round(b);
		return;
	}
	d->last = *ret;
	answer(b, part, ret);
	if (ret->kind == HEARD_DATA)
		close_with_ack(b, d);
	b->now_ns += BUS_MS + bus_chance(b, BUS_MS);
}
