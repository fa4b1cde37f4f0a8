/* SPDX-License-Identifier: Apache-2.0 */
/* What every peripheral has in common, and the coin changer (MDB/ICP section 5). */
#include "bus_inside.h"

void bus_add(struct bus_block *to, uint32_t value, unsigned bytes)
{
	while (bytes-- && to->n < sizeof to->bytes - 1)
		to->bytes[to->n++] = (uint8_t)(value >> 8 * bytes);
}

/* The device has something to tell at a POLL, not before `after_ns` have passed. */
void bus_tells(struct practice_bus *b, enum part part, int64_t after_ns, const uint8_t *bytes, size_t n)
{
	struct peripheral *d = &b->at[part];
	struct bus_event *ev = &d->events[d->event_count];

	if (d->event_count == BUS_EVENTS)
		return;
	ev->from_ns = b->now_ns + after_ns;
	ev->block = (struct bus_block){ .n = n };
	memcpy(ev->block.bytes, bytes, n);
	d->event_count++;
}

void bus_answers_poll(struct practice_bus *b, enum part part, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[part];

	ret->kind = HEARD_ACK;
	if (!d->event_count || d->events[0].from_ns > b->now_ns)
		return;
	ret->kind = HEARD_DATA;
	ret->data = d->events[0].block;
	d->telling = true;
}

/* Power-up, bus reset or RESET: everything lapses, and the first thing it tells is that. */
void bus_peripheral_resets(struct practice_bus *b, enum part part)
{
	static const uint8_t coin[] = { 0x0B }, bill[] = { 0x06, 0x09 }, other[] = { 0x00 };
	struct peripheral *d = &b->at[part];
	int64_t starting = (20 + bus_chance(b, 200)) * BUS_MS;

	*d = (struct peripheral){ .fitted = d->fitted, .state = FT_BUS_INACTIVE, .returns = d->returns, .held = d->held };
	if (part == CHANGER)
		bus_tells(b, part, starting, coin, sizeof coin);
	else if (part == VALIDATOR)
		bus_tells(b, part, starting, bill, sizeof bill);
	else
		bus_tells(b, part, starting, other, sizeof other);
	if (d->returns) {
		uint8_t out = (uint8_t)(0xA0 | d->held);
		bus_tells(b, part, starting + 800 * BUS_MS, &out, 1);
	}
}

/* ASCII to the left in a field of `room` bytes, blanks behind it. */
static void text(struct bus_block *to, const char *s, size_t room)
{
	for (size_t i = 0, n = strlen(s); i < room; i++)
		bus_add(to, i < n ? (uint8_t)s[i] : ' ', 1);
}

/* Maker, serial number, model and software in packed BCD, as every device lays them out. */
void bus_identity(struct bus_block *to, const char *maker, const struct unit *u)
{
	uint32_t version = 0;

	text(to, maker, 3);
	text(to, u->serial, 12);
	text(to, u->model, 12);
	for (const char *s = u->revision; *s; s++)
		if (ft_is_digit(*s))
			version = version << 4 | (uint32_t)(*s - '0');
	bus_add(to, version & 0xFFFF, 2);
}

int64_t bus_common_divisor(int64_t a, int64_t b)
{
	while (b) {
		int64_t rest = a % b;
		a = b;
		b = rest;
	}
	return a;
}

/* MDB/ICP section 6.7: a leading 1, then the ISO 4217 number in packed BCD. */
uint16_t bus_currency_code(const struct practice_bus *b)
{
	unsigned n = (unsigned)b->p->currency->numeric;

	return (uint16_t)(0x1000 | n / 100 % 10 << 8 | n / 10 % 10 << 4 | n % 10);
}

/* The greatest amount that goes into every coin; a value of over 254 of it cannot be told and stays unused. */
int64_t bus_coin_scale(const struct practice_bus *b)
{
	int64_t scale = 0;

	for (size_t i = 0; i < b->p->coin_count; i++)
		scale = bus_common_divisor(b->p->coins[i].value, scale);
	return scale < 255 ? scale : 1;
}

static uint8_t credit(int64_t value, int64_t scale)
{
	return (uint8_t)(value / scale < 0xFF ? value / scale : 0);
}

uint16_t bus_coin_mask(const struct practice_bus *b)
{
	return (uint16_t)((1U << (b->p->coin_count + (b->p->tokens && b->p->coin_count < 16))) - 1);
}

static uint16_t tube_mask(const struct practice_bus *b)
{
	uint16_t mask = 0;

	for (size_t i = 0; i < b->p->coin_count; i++)
		mask |= (uint16_t)((b->p->coins[i].room > 0) << i);
	return mask;
}

static void setup(const struct practice_bus *b, struct bus_block *to)
{
	const struct ft_practice *p = b->p;
	int64_t scale = bus_coin_scale(b);

	bus_add(to, p->bus_plan.changer_level, 1);
	bus_add(to, bus_currency_code(b), 2);
	bus_add(to, (uint32_t)scale, 1);
	bus_add(to, (uint32_t)p->currency->digits, 1);
	bus_add(to, tube_mask(b), 2);
	for (size_t i = 0; i < COINS_MAX; i++) /* the type behind the last coin is the token */
		bus_add(to,
		        i < p->coin_count                     ? credit(p->coins[i].value, scale)
		            : i == p->coin_count && p->tokens ? 0xFF
		                                              : 0,
		        1);
}

static size_t first_tube(const struct practice_bus *b)
{
	size_t i = 0;

	while (i + 1 < b->p->coin_count && !b->p->coins[i].room)
		i++;
	return i;
}

static void tubes(const struct practice_bus *b, struct bus_block *to)
{
	uint16_t full = 0;

	for (size_t i = 0; i < b->p->coin_count; i++)
		full |= (uint16_t)((b->p->coins[i].room && b->p->coins[i].in_tube >= b->p->coins[i].room) << i);
	if (faulty(b->p, FAULT_BUS_TUBE_TROUBLE))
		full |= (uint16_t)(1U << first_tube(b));
	bus_add(to, full, 2);
	for (size_t i = 0; i < COINS_MAX; i++) {
		int64_t n = i < b->p->coin_count && b->p->coins[i].room ? b->p->coins[i].in_tube : 0;
		if (faulty(b->p, FAULT_BUS_TUBE_TROUBLE) && i == first_tube(b))
			n = 0;
		bus_add(to, n < 0xFF ? (uint32_t)n : 0xFF, 1);
	}
}

/* What was paid since it was asked last, at most two coins in that time; ACK: that was all. */
static void paid(struct practice_bus *b, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[CHANGER];
	size_t i = b->p->coin_count;

	ret->kind = HEARD_ACK;
	while (i && !d->pays[i - 1])
		i--;
	if (!i)
		return;
	d->told_type = (uint8_t)(i - 1);
	d->told_coins = d->pays[i - 1] < 2 ? d->pays[i - 1] : 2;
	ret->kind = HEARD_DATA;
	bus_add(&ret->data, (uint32_t)(d->told_coins * (b->p->coins[i - 1].value / bus_coin_scale(b))), 1);
}

static void expansion(struct practice_bus *b, const struct bus_block *c, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[CHANGER];

	if (b->p->bus_plan.changer_level < 3 || c->n < 2)
		return; /* an old one does not know these */
	switch (c->bytes[1]) {
	case 0x00:
		ret->kind = HEARD_DATA;
		bus_identity(&ret->data, "QCN", &b->p->changer);
		bus_add(&ret->data, b->p->bus_plan.pays_by_value ? 0x03 : 0x02, 4); /* diagnostics, alternative payout */
		break;
	case 0x01:
		d->options_on = c->bytes[5];
		ret->kind = HEARD_ACK;
		break;
	case 0x02:
		if (c->n < 3 || !(d->options_on & 0x01))
			return;
		ret->kind = HEARD_ACK;
		break;
	case 0x04:
		paid(b, ret);
		break;
	case 0x05:
		ret->kind = HEARD_DATA;
		bus_add(&ret->data, 0x0300, 2); /* operational */
		break;
	default:
		break;
	}
}

void bus_changer_answers(struct practice_bus *b, const struct bus_block *c, struct bus_reply *ret)
{
	struct peripheral *d = &b->at[CHANGER];

	switch (c->bytes[0]) {
	case 0x08:
		bus_peripheral_resets(b, CHANGER);
		ret->kind = HEARD_ACK;
		break;
	case 0x09:
		ret->kind = HEARD_DATA;
		setup(b, &ret->data);
		break;
	case 0x0A:
		ret->kind = HEARD_DATA;
		tubes(b, &ret->data);
		break;
	case 0x0B:
		if (d->busy_until_ns > b->now_ns) { /* payout busy, as long as it lasts */
			ret->kind = HEARD_DATA;
			bus_add(&ret->data, 0x02, 1);
		} else {
			bus_answers_poll(b, CHANGER, ret);
		}
		break;
	case 0x0C:
		d->types_on = (uint16_t)(c->bytes[1] << 8 | c->bytes[2]);
		ret->kind = HEARD_ACK;
		break;
	case 0x0D: /* a motor gives about six coins a second */
		d->busy_until_ns = b->now_ns + (100 + 160 * (c->bytes[1] >> 4)) * BUS_MS;
		ret->kind = HEARD_ACK;
		break;
	case 0x0F:
		expansion(b, c, ret);
		break;
	default:
		break;
	}
}
