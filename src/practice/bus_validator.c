/* SPDX-License-Identifier: Apache-2.0 */
/* The bill validator (MDB/ICP section 6) and the communications gateway (section 8), which only listens. */
#include "bus_inside.h"

int64_t bus_bill_scale(const struct practice_bus *b)
{
	int64_t scale = 0;

	for (size_t i = 0; i < b->p->bill_count; i++)
		scale = bus_common_divisor(b->p->bills[i], scale);
	return scale && scale <= UINT16_MAX ? scale : 1;
}

uint16_t bus_bill_mask(const struct practice_bus *b)
{
	return (uint16_t)((1U << b->p->bill_count) - 1);
}

static void setup(const struct practice_bus *b, struct bus_block *to)
{
	const struct ft_practice *p = b->p;
	int64_t scale = bus_bill_scale(b);

	bus_add(to, p->bus_plan.validator_level, 1);
	bus_add(to, bus_currency_code(b), 2);
	bus_add(to, (uint32_t)scale, 2);
	bus_add(to, (uint32_t)p->currency->digits, 1);
	bus_add(to, (uint32_t)(p->stacker_room < 0xFFFF ? p->stacker_room : 0xFFFF), 2);
	bus_add(to, 0, 2);
	bus_add(to, 0xFF, 1); /* it has escrow */
	for (size_t i = 0; i < COINS_MAX; i++) {
		int64_t units = i < p->bill_count ? p->bills[i] / scale : 0;
		bus_add(to, units < 0xFF ? (uint32_t)units : 0, 1);
	}
}

static void expansion(struct practice_bus *b, const struct bus_block *c, struct bus_reply *ret)
{
	bool old = b->p->bus_plan.validator_level < 2;

	if (c->n < 2)
		return;
	switch (c->bytes[1]) {
	case 0x00:
	case 0x02:
		if (c->bytes[1] && old)
			return;
		ret->kind = HEARD_DATA;
		bus_identity(&ret->data, "QBV", &b->p->validator);
		if (c->bytes[1])
			bus_add(&ret->data, 0, 4);
		break;
	case 0x01:
		ret->kind = old ? HEARD_NOTHING : HEARD_ACK;
		break;
	default:
		break;
	}
}

/* The bill held goes to the stacker or comes out again; told when it has got there. */
static void escrow(struct practice_bus *b, bool stack, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[VALIDATOR];
	uint8_t event = d->holds ? (uint8_t)((stack ? 0x80 : 0xA0) | d->held) : 0x0A; /* 0A: nothing is held */

	if (!faulty(b->p, FAULT_BUS_ESCROW))
		bus_tells(b, VALIDATOR, (400 + bus_chance(b, 500)) * BUS_MS, &event, 1);
	d->holds = false;
	ret->kind = HEARD_ACK;
}

void bus_validator_answers(struct practice_bus *b, const struct bus_block *c, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[VALIDATOR];
	int64_t n = b->p->stacked < 0x7FFF ? b->p->stacked : 0x7FFF;

	switch (c->bytes[0]) {
	case 0x30:
		bus_peripheral_resets(b, VALIDATOR);
		ret->kind = HEARD_ACK;
		break;
	case 0x31:
		ret->kind = HEARD_DATA;
		setup(b, &ret->data);
		break;
	case 0x33:
		bus_answers_poll(b, VALIDATOR, ret);
		if (ret->kind == HEARD_ACK && faulty(b->p, FAULT_BUS_VALIDATOR_OUT)) {
			ret->kind = HEARD_DATA;
			bus_add(&ret->data, 0x05, 1); /* jammed, as long as it lasts */
		}
		break;
	case 0x34:
		d->types_on = (uint16_t)(c->bytes[1] << 8 | c->bytes[2]);
		ret->kind = HEARD_ACK;
		break;
	case 0x32:
		ret->kind = HEARD_ACK;
		break;
	case 0x35:
		escrow(b, c->bytes[1] & 1, ret);
		break;
	case 0x36:
		ret->kind = HEARD_DATA;
		bus_add(&ret->data, (uint32_t)n | (b->p->stacked >= b->p->stacker_room ? 0x8000U : 0), 2);
		break;
	case 0x37:
		expansion(b, c, ret);
		break;
	default:
		break;
	}
}

void bus_gateway_answers(struct practice_bus *b, const struct bus_block *c, struct bus_reply *ret)
{
	static const struct unit unit = { "G0000418", "LANTERN", "0102" };

	switch (c->bytes[0]) {
	case 0x18:
		bus_peripheral_resets(b, GATEWAY);
		ret->kind = HEARD_ACK;
		break;
	case 0x19: /* level 3, at most five seconds to answer */
		ret->kind = HEARD_DATA;
		bus_add(&ret->data, 0x01030005, 4);
		break;
	case 0x1A:
		bus_answers_poll(b, GATEWAY, ret);
		break;
	case 0x1F:
		if (c->n >= 2 && c->bytes[1] == 0x00) {
			ret->kind = HEARD_DATA;
			bus_add(&ret->data, 0x06, 1);
			bus_identity(&ret->data, "QGW", &unit);
			bus_add(&ret->data, 0, 4);
		} else if (c->n >= 2 && c->bytes[1] == 0x01) {
			ret->kind = HEARD_ACK;
		}
		break;
	default:
		break;
	}
}
