/* SPDX-License-Identifier: Apache-2.0 */
/* The cashless reader (MDB/ICP section 7): its states, and what it makes of each command in each of them. */
#include "bus_inside.h"

enum { APPROVAL_MS = 1200, SESSION_END_MS = 60 }; /* ours: what a host and a customer take */

static uint32_t options(const struct practice_bus *b)
{
	return b->p->bus_plan.wide ? 0x22 : 0x20; /* 32-bit money, always idle */
}

static int64_t scale(const struct practice_bus *b)
{
	return faulty(b->p, FAULT_BUS_SCALE) ? b->p->faults[FAULT_BUS_SCALE].b : b->p->bus_plan.scale;
}

static uint32_t level(const struct practice_bus *b)
{
	return faulty(b->p, FAULT_BUS_LEVEL) ? 3 : (uint32_t)b->p->bus_plan.reader_level;
}

uint32_t bus_units(const struct practice_bus *b, int64_t minor)
{
	int64_t units = minor / scale(b), most = b->p->bus_plan.wide ? 0xFFFFFFFE : 0xFFFE;

	return (uint32_t)(units < most ? units : most);
}

static void configuration(const struct practice_bus *b, struct bus_block *to)
{
	uint32_t own = bus_currency_code(b), other = own == 0x1978 ? 0x1826 : 0x1978; /* pounds, euro */
	int digits = b->p->currency->digits;

	bus_add(to, 0x01, 1);
	bus_add(to, level(b), 1);
	bus_add(to, faulty(b->p, FAULT_BUS_CURRENCY) ? other : own, 2);
	bus_add(to, (uint32_t)scale(b), 1);
	bus_add(to, (uint32_t)(digits && faulty(b->p, FAULT_BUS_DECIMALS) ? digits - 1 : digits), 1);
	bus_add(to, 10, 1);   /* seconds it may take */
	bus_add(to, 0x09, 1); /* refunds, and wants to hear of cash sales */
}

static void identity(const struct practice_bus *b, struct bus_block *to)
{
	bus_add(to, 0x09, 1);
	bus_identity(to, "QRD", &b->p->reader);
	if (faulty(b->p, FAULT_BUS_LEVEL) || (level(b) >= 3 && b->controller_level >= 3))
		bus_add(to, options(b), 4);
}

/* Data at once, or an ACK now and the data at a POLL: both are met in the field. */
static void gives(struct practice_bus *b, enum part part, const struct bus_block *data, struct bus_reply *ret)
{
	if (b->p->dialect == US_SNACK) {
		bus_tells(b, part, (30 + bus_chance(b, 150)) * BUS_MS, data->bytes, data->n);
		ret->kind = HEARD_ACK;
		return;
	}
	ret->kind = HEARD_DATA;
	ret->data = *data;
}

static void says(struct practice_bus *b, enum part part, int64_t after_ms, uint8_t code)
{
	bus_tells(b, part, after_ms * BUS_MS, &code, 1);
}

static void out_of_sequence(struct practice_bus *b, enum part part)
{
	const uint8_t event[] = { 0x0B, (uint8_t)b->at[part].state };

	bus_tells(b, part, 0, event, b->p->bus_plan.reader_level >= 2 ? 2 : 1);
}

/* In how many bits it writes sums, by what was agreed or by its fault. */
bool bus_reader_writes_wide(const struct practice_bus *b, enum part part)
{
	return b->at[part].wide != faulty(b->p, FAULT_BUS_MONEY_WIDTH);
}

/* 13 00: what the host says is the play's business, when it says so is ours. */
static void request(struct practice_bus *b, enum part part, const struct bus_block *c)
{
	struct bus_block data = { .n = 0 };
	size_t money = b->at[part].wide ? 4 : 2;
	uint32_t price = 0;

	b->at[part].state = FT_BUS_VEND;
	if (faulty(b->p, FAULT_BUS_SESSION_HANGS))
		return;
	if (b->card.answer != CARD_APPROVES) { /* no host: it denies before its own time is up */
		says(b, part, b->card.answer == CARD_DENIES ? APPROVAL_MS : 8000, 0x06);
		return;
	}
	bus_add(&data, 0x05, 1);
	for (size_t i = 0; i < money; i++)
		price = price << 8 | c->bytes[2 + i];
	bus_add(&data, price, bus_reader_writes_wide(b, part) ? 4 : 2);
	bus_tells(b, part, (APPROVAL_MS / 2 + bus_chance(b, APPROVAL_MS)) * BUS_MS, data.bytes, data.n);
}

static void vend(struct practice_bus *b, enum part part, const struct bus_block *c)
{
	struct peripheral *d = &b->at[part];
	bool session = d->state == FT_BUS_SESSION_IDLE, open = session || d->state == FT_BUS_VEND;
	size_t least[] = { d->wide ? 8 : 6, 2, 4, 2, 2, d->wide ? 8 : 6 };
	static const uint8_t lost[] = { 0x0A, 0xC0 }; /* refund error */
	uint8_t what = c->bytes[1];

	if (what >= sizeof least / sizeof *least || c->n < least[what])
		return;
	if (what == 0x00 && (session || (d->state == FT_BUS_ENABLED && d->options_on & 0x20))) {
		request(b, part, c);
	} else if (what == 0x01 && d->state == FT_BUS_VEND) {
		d->event_count = 0;
		d->state = FT_BUS_SESSION_IDLE;
		says(b, part, 0, 0x06);
	} else if ((what == 0x02 || what == 0x03) && d->state == FT_BUS_VEND) {
		d->state = FT_BUS_SESSION_IDLE;
		if (what == 0x03 && faulty(b->p, FAULT_BUS_REFUND_LOST))
			bus_tells(b, part, 200 * BUS_MS, lost, sizeof lost);
	} else if (what == 0x04 && open) {
		d->state = FT_BUS_ENABLED;
		if (!faulty(b->p, FAULT_BUS_NO_END_SESSION))
			says(b, part, SESSION_END_MS + bus_chance(b, SESSION_END_MS), 0x07);
	} else if (what != 0x05 || (d->state != FT_BUS_DISABLED && d->state != FT_BUS_ENABLED)) {
		out_of_sequence(b, part);
	}
}

static void control(struct practice_bus *b, enum part part, uint8_t what)
{
	struct peripheral *d = &b->at[part];

	if (what == 0x02)
		says(b, part, 0, 0x08);
	else if (what > 0x02 || d->state == FT_BUS_INACTIVE)
		out_of_sequence(b, part);
	else if (d->state == FT_BUS_DISABLED || d->state == FT_BUS_ENABLED)
		d->state = what ? FT_BUS_ENABLED : FT_BUS_DISABLED;
}

static void expansion(struct practice_bus *b, enum part part, const struct bus_block *c, struct bus_reply *ret)
{
	struct bus_block data = { .n = 0 };

	switch (c->bytes[1]) {
	case 0x00:
		identity(b, &data);
		gives(b, part, &data, ret);
		break;
	case 0x04:
		if (c->n < 6 || b->p->bus_plan.reader_level < 3)
			return;
		b->at[part].options_on = c->bytes[5] & options(b);
		b->at[part].wide = b->at[part].options_on & 0x02;
		ret->kind = HEARD_ACK;
		break;
	default:
		break;
	}
}

void bus_reader_answers(struct practice_bus *b, enum part part, const struct bus_block *c, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[part];
	struct bus_block data = { .n = 0 };
	unsigned command = c->bytes[0] & 7;

	if (command == 0 || command == 2) { /* RESET, POLL */
		if (command == 0)
			bus_peripheral_resets(b, part);
		ret->kind = HEARD_ACK;
		if (command == 2)
			bus_answers_poll(b, part, ret);
		return;
	}
	if (c->n < 2)
		return;
	switch (command) {
	case 1:
		ret->kind = HEARD_ACK;
		if (c->bytes[1] == 0x00) {
			configuration(b, &data);
			gives(b, part, &data, ret);
			d->state = FT_BUS_DISABLED;
		}
		break;
	case 3:
		ret->kind = HEARD_ACK;
		vend(b, part, c);
		break;
	case 4:
		ret->kind = HEARD_ACK;
		control(b, part, c->bytes[1]);
		break;
	case 5: /* revalue: 0D, the card took it */
		ret->kind = HEARD_ACK;
		if (d->state == FT_BUS_SESSION_IDLE)
			says(b, part, 300, 0x0D);
		else
			out_of_sequence(b, part);
		break;
	case 7:
		expansion(b, part, c, ret);
		break;
	default:
		break;
	}
}
