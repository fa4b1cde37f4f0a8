/* SPDX-License-Identifier: Apache-2.0 */
/* The controller's setup of each device, in the usual order (MDB/ICP sections 5.3, 6.3, 7.3; the place of
 * the expansion steps is from memory). */
#include "bus_inside.h"

static void command(struct bus_block *to, uint32_t value, unsigned bytes)
{
	to->n = 0;
	bus_add(to, value, bytes);
}

static bool changer_step(const struct practice_bus *b, unsigned step, struct bus_block *ret)
{
	const struct seat *s = &b->seats[CHANGER];
	bool expanded = s->level >= 3;

	switch (step) {
	case 0:
		command(ret, 0x09, 1);
		return true;
	case 1:
		command(ret, 0x0F00, expanded ? 2 : 0);
		return true;
	case 2:
		command(ret, 0x0F01, expanded ? 2 : 0);
		if (expanded) /* of what it offers, diagnostics, and payout by value where the controller works with it */
			bus_add(ret, s->options & (b->p->bus_plan.pays_by_value ? 0x03 : 0x02), 4);
		return true;
	case 3:
		command(ret, 0x0F05, expanded && s->options & 0x02 ? 2 : 0);
		return true;
	case 4:
		command(ret, 0x0A, 1);
		return true;
	default:
		return false;
	}
}

static bool validator_step(const struct practice_bus *b, unsigned step, struct bus_block *ret)
{
	bool second = b->seats[VALIDATOR].level >= 2;

	switch (step) {
	case 0:
		command(ret, 0x31, 1);
		return true;
	case 1:
		command(ret, second ? 0x3702 : 0x3700, 2);
		return true;
	case 2:
		command(ret, 0x3701, second ? 2 : 0);
		if (second)
			bus_add(ret, 0, 4);
		return true;
	case 3:
		command(ret, 0x36, 1);
		return true;
	case 4:
		command(ret, 0x320000, 3);
		return true;
	default:
		return false;
	}
}

/* The controller says who it is: the machine's own maker, serial number and model. */
static void who_it_is(const struct practice_bus *b, struct bus_block *to)
{
	char maker[4] = { 0 };

	memcpy(maker, b->p->sender, 3);
	bus_identity(to, maker, &b->p->machine);
}

/* The highest price in the reader's units, -1 for not told: a machine whose prices may change keeps it open. */
static int64_t dearest(const struct practice_bus *b)
{
	const struct fault_state *f = &b->p->faults[FAULT_BUS_PRICE_LIMITS];

	if (!f->on)
		return -1;
	return bus_units(b, f->b ? f->b : practice_dearest(b->p) / 2);
}

static bool reader_step(const struct practice_bus *b, enum part part, unsigned step, struct bus_block *ret)
{
	const struct seat *s = &b->seats[part];
	uint32_t a = s->address;
	bool silent = faulty(b->p, FAULT_BUS_NO_PRICE_LIMITS);
	int64_t most = dearest(b);
	bool third = s->level >= 3 && b->controller_level >= 3, wide = third && s->options & 0x02 && b->p->bus_plan.wide;

	switch (step) {
	case 0: /* its level, and that it has no display for readers */
		command(ret, (a | 1) << 8, 2);
		bus_add(ret, (uint32_t)b->controller_level << 24, 4);
		return true;
	case 1: /* dearest and cheapest price */
		command(ret, (a | 1) << 8 | 0x01, silent ? 0 : 2);
		if (!silent) {
			bus_add(ret, most < 0 ? 0xFFFF : (uint32_t)most, 2);
			bus_add(ret, 0, 2);
		}
		return true;
	case 2:
		command(ret, (a | 7) << 8, 2);
		who_it_is(b, ret);
		return true;
	case 3:
		command(ret, (a | 7) << 8 | 0x04, third ? 2 : 0);
		if (third)
			bus_add(ret, wide ? 0x02 : 0, 4);
		return true;
	case 4: /* once more in the long form */
		wide &= !silent;
		command(ret, (a | 1) << 8 | 0x01, wide ? 2 : 0);
		if (wide) {
			bus_add(ret, most < 0 ? 0xFFFFFFFF : (uint32_t)most, 4);
			bus_add(ret, 0, 4);
			bus_add(ret, bus_currency_code(b), 2);
		}
		return true;
	default:
		return false;
	}
}

static bool gateway_step(const struct practice_bus *b, unsigned step, struct bus_block *ret)
{
	switch (step) {
	case 0:
		command(ret, 0x19, 1);
		bus_add(ret, b->controller_level, 1);
		bus_add(ret, (uint32_t)bus_coin_scale(b), 1);
		bus_add(ret, (uint32_t)b->p->currency->digits, 1);
		return true;
	case 1:
		command(ret, 0x1F00, 2);
		return true;
	case 2:
		command(ret, 0x1F01, 2);
		bus_add(ret, 0, 4);
		return true;
	default:
		return false;
	}
}

bool bus_setup_step(const struct practice_bus *b, enum part part, unsigned step, struct bus_block *ret)
{
	switch (part) {
	case CHANGER:
		return changer_step(b, step, ret);
	case VALIDATOR:
		return validator_step(b, step, ret);
	case READER:
	case READER_2:
		return reader_step(b, part, step, ret);
	default:
		return gateway_step(b, step, ret);
	}
}

static uint32_t last_four(const struct bus_block *d)
{
	uint32_t v = 0;

	for (size_t i = d->n - 4; i < d->n; i++)
		v = v << 8 | d->bytes[i];
	return v;
}

/* The answer to the step it is at, and the step is done. */
void bus_setup_heard(struct practice_bus *b, enum part part, const struct bus_block *d)
{
	struct seat *s = &b->seats[part];
	bool reader = part == READER || part == READER_2;

	if (s->step == 0 && d->n > 1)
		s->level = d->bytes[part == CHANGER || part == VALIDATOR ? 0 : 1];
	if (part == CHANGER && s->step == 1 && d->n == 33)
		s->options = last_four(d);
	if (reader && s->step == 2 && d->n == 34)
		s->options = last_four(d);
	s->awaits = false;
	s->step++;
	if (bus_faulty(b, FAULT_BUS_CONTROLLER_RESETS, part))
		bus_reset_anew(b, part);
}
