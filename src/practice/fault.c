/* SPDX-License-Identifier: Apache-2.0 */
/* Faults: which there are, what they take, what they do at once. What they do to later sales stands
 * in sale.c and cash.c, what they do to the audit in audit.c. */
#include "machine.h"

static const struct ft_practice_fault table[FAULTS] = {
#define ROW(ident, name, group, arguments, does, seen) { name, group, arguments, does, seen },
#include "practice-faults.inc"
#undef ROW
};

const struct ft_practice_fault *ft_practice_faults(size_t *ret_count)
{
	*ret_count = FAULTS;
	return table;
}

bool practice_faulty_at(const struct ft_practice *p, enum fault_id f, int selection)
{
	return p->faults[f].on && (p->faults[f].a < 0 || p->faults[f].a == selection);
}

int practice_counts_at(const struct ft_practice *p, int s)
{
	const struct fault_state *crossed = &p->faults[FAULT_CROSSED_SELECTIONS];
	const struct fault_state *elsewhere = &p->faults[FAULT_COUNTED_ELSEWHERE];

	if (crossed->on && (s == crossed->a || s == crossed->b))
		s = (int)(s == crossed->a ? crossed->b : crossed->a);
	return elsewhere->on && s == elsewhere->a ? (int)elsewhere->b : s;
}

struct call {
	struct ft_practice *p;
	enum fault_id id;
	const struct ft_slice *words; /* arguments */
	size_t n;
	struct fault_state state;
	struct ft_error *e;
};

static enum ft_status wrong(const struct call *c, const char *why)
{
	return ft_fail(c->e, FT_E_USAGE, "fault %s %s: %s.", table[c->id].name, table[c->id].arguments, why);
}

static enum ft_status selection_at(const struct call *c, size_t i, int64_t *ret)
{
	int s = i < c->n ? practice_selection(c->p, c->words[i]) : -1;

	if (i >= c->n)
		return wrong(c, "a selection is missing");
	if (s < 0)
		return wrong(c, "this machine has no such selection");
	*ret = s;
	return FT_OK;
}

static enum ft_status two(struct call *c)
{
	enum ft_status s = selection_at(c, 0, &c->state.a);

	if (!s)
		s = selection_at(c, 1, &c->state.b);
	return !s && c->state.a == c->state.b ? wrong(c, "the two selections must differ") : s;
}

static enum ft_status one_or_all(struct call *c)
{
	c->state.a = -1;
	return c->n ? selection_at(c, 0, &c->state.a) : FT_OK;
}

static enum ft_status price_lost(struct call *c)
{
	enum ft_status s = one_or_all(c);
	size_t start = (size_t)practice_random(c->p, 3);

	for (size_t i = 0; !s && i < c->p->selection_count; i++)
		if (c->state.a < 0 ? i % 3 == start % c->p->selection_count : (int64_t)i == c->state.a)
			memset(c->p->selections[i].price, 0, sizeof c->p->selections[i].price);
	return s;
}

static enum ft_status other_price(struct call *c)
{
	enum ft_status s = selection_at(c, 0, &c->state.a);

	if (!s && (c->n < 2 || !ft_slice_i64(c->words[1], &c->state.b) || c->state.b < 1 || c->state.b > 1000000))
		return wrong(c, "the price is missing; it is a whole number of minor units");
	return s;
}

static enum ft_status meters_lost(struct call *c)
{
	enum ft_status s = one_or_all(c);

	if (!s && c->state.a < 0)
		practice_forget_meters(c->p);
	else if (!s)
		for (int i = 0; i < 2 + SLOTS; i++) {
			struct meters *m = i == 0 ? &c->p->meters : i == 1 ? &c->p->base : &c->p->readings[i - 2].meters;
			m->selection[c->state.a] = (struct selection_meter){ 0 };
		}
	return s;
}

static enum ft_status plain(struct call *c)
{
	(void)c;
	return FT_OK;
}

static enum ft_status with_reader(struct call *c)
{
	return c->p->reader.serial[0] ? FT_OK : wrong(c, "this machine has no card reader");
}

static enum ft_status other_list(struct call *c)
{
	c->state.a = -1;
	if (c->p->list_count < 3)
		return wrong(c, "the card reader of this machine has no second price list");
	if (c->n && (!ft_slice_i64(c->words[0], &c->state.a) || practice_list(c->p, BY_CARD, c->state.a) < 0))
		return wrong(c, "the card reader has no such price list");
	return FT_OK;
}

static enum ft_status clock_unset(struct call *c)
{
	if (!c->p->has_clock)
		return wrong(c, "this machine has no clock to lose");
	c->p->clock_known = false;
	return FT_OK;
}

static enum ft_status number(struct call *c, int64_t least, int64_t most, int64_t otherwise)
{
	c->state.a = otherwise;
	if (c->n && (!ft_slice_i64(c->words[0], &c->state.a) || c->state.a < least || c->state.a > most))
		return wrong(c, "the number is too small, too large or none");
	return FT_OK;
}

static enum ft_status cut_short(struct call *c)
{
	/* b: where, in thousandths of the audit, when no number of bytes is named */
	c->state.b = 340 + practice_random(c->p, 640);
	return number(c, 1, INT32_MAX, -1);
}

static enum ft_status noisy(struct call *c)
{
	return number(c, 0, 1000000, 2000);
}
static enum ft_status slow(struct call *c)
{
	return number(c, 1, 60000, 300);
}

static enum ft_status modem_rate(struct call *c)
{
	return number(c, 300, 921600, 9600);
}

static enum ft_status modem_stops(struct call *c)
{
	return number(c, 0, 1000000, 3);
}

static enum ft_status modem_slow(struct call *c)
{
	return number(c, 1, 60000, 4000);
}

static enum ft_status probe_off(struct call *c)
{
	return number(c, -200, 200, 15);
}

static enum ft_status contact(struct call *c)
{
	c->state.b = 4000; /* milliohms: a pin gone green */
	if (!c->n || !practice_supply_has(c->p, c->words[0], &c->state.a))
		return wrong(c, "name the device behind the plug: unit, validator, changer or reader, as far as it is there");
	if (c->n > 1 && (!ft_slice_i64(c->words[1], &c->state.b) || c->state.b < 1 || c->state.b > 100000))
		return wrong(c, "the resistance is a whole number of milliohms from 1 to 100000");
	return FT_OK;
}

static enum ft_status dead(struct call *c)
{
	c->state.a = -1;
	if (c->n && !ft_slice_is(c->words[0], "dex") && !ft_slice_is(c->words[0], "ddcmp"))
		return wrong(c, "the links are dex and ddcmp");
	if (c->n)
		c->state.a = ft_slice_is(c->words[0], "ddcmp");
	return FT_OK;
}

static enum ft_status refusing(struct call *c)
{
	uint32_t code = 0x4321;

	if (c->n && (c->words[0].n != 4 || !ft_slice_hex(c->words[0], &code) || !code))
		return wrong(c, "a code is four hexadecimal digits, not 0000");
	c->state.a = code;
	return FT_OK;
}

static const struct {
	enum ft_status (*put_in)(struct call *c);
	size_t most;
} actions[FAULT_BUS_SILENT] = {
	[FAULT_CROSSED_SELECTIONS] = { two, 2 },
	[FAULT_COUNTED_ELSEWHERE] = { two, 2 },
	[FAULT_PRICE_LOST] = { price_lost, 1 },
	[FAULT_OTHER_PRICE] = { other_price, 2 },
	[FAULT_METERS_LOST] = { meters_lost, 1 },
	[FAULT_CASH_IN_LOST] = { plain, 0 },
	[FAULT_CASHLESS_AS_CASH] = { with_reader, 0 },
	[FAULT_CASH_AS_CASHLESS] = { with_reader, 0 },
	[FAULT_COUNTED_TWICE] = { one_or_all, 1 },
	[FAULT_NOT_COUNTED] = { one_or_all, 1 },
	[FAULT_OTHER_LIST] = { other_list, 1 },
	[FAULT_CLOCK_UNSET] = { clock_unset, 0 },
	[FAULT_CUT_SHORT] = { cut_short, 1 },
	[FAULT_WRONG_CHECKSUM] = { plain, 0 },
	[FAULT_NOISY_LINE] = { noisy, 1 },
	[FAULT_SLOW_LINE] = { slow, 1 },
	[FAULT_DEAD_PORT] = { dead, 1 },
	[FAULT_REFUSING_CODE] = { refusing, 1 },
	[FAULT_DEAD_COMPRESSOR] = { plain, 0 },
	[FAULT_ICED_EVAPORATOR] = { plain, 0 },
	[FAULT_PROBE_OFF] = { probe_off, 1 },
	[FAULT_PROBE_STUCK] = { plain, 0 },
	[FAULT_DOOR_AJAR] = { plain, 0 },
	[FAULT_WEAK_INSIDE] = { plain, 0 },
	[FAULT_MODEM_NOT_REGISTERED] = { plain, 0 },
	[FAULT_MODEM_NO_SIM] = { plain, 0 },
	[FAULT_MODEM_NO_LEVEL] = { plain, 0 },
	[FAULT_MODEM_NO_CESQ] = { plain, 0 },
	[FAULT_MODEM_ECHO_STAYS] = { plain, 0 },
	[FAULT_MODEM_RATE] = { modem_rate, 1 },
	[FAULT_MODEM_SLOW] = { modem_slow, 1 },
	[FAULT_MODEM_STOPS] = { modem_stops, 1 },
	[FAULT_MODEM_DEAD] = { plain, 0 },
	[FAULT_SUPPLY_TIRED] = { plain, 0 },
	[FAULT_SUPPLY_THIN_WIRE] = { plain, 0 },
	[FAULT_SUPPLY_CONTACT] = { contact, 2 },
	[FAULT_SUPPLY_SECOND_READER] = { with_reader, 0 },
	[FAULT_SUPPLY_COLLAPSES] = { plain, 0 },
};

static int fault_of(struct ft_slice name)
{
	int i = 0;

	while (i < FAULTS && !ft_slice_is(name, table[i].name))
		i++;
	return i;
}

static enum ft_status unknown(struct ft_slice name, struct ft_error *e)
{
	return ft_fail(e, FT_E_USAGE, "There is no fault %.*s; docs/practice.md and fettle practice --help list them.",
	               FT_P(name));
}

enum ft_status practice_fault(struct ft_practice *p, const struct ft_slice *words, size_t n, struct ft_error *e)
{
	struct call c = { .p = p, .words = words + 1, .n = n - 1, .state = { .on = true }, .e = e };
	int id = fault_of(words[0]);
	enum ft_status s;

	if (id == FAULTS)
		return unknown(words[0], e);
	c.id = (enum fault_id)id;
	if (id >= FAULT_BUS_SILENT) { /* the bus faults stand last in the table */
		const char *why = practice_bus_fault(c.p, c.id, c.words, c.n, &c.state);
		s = why ? wrong(&c, why) : FT_OK;
	} else {
		s = c.n > actions[id].most ? wrong(&c, "that is too much behind it") : actions[id].put_in(&c);
	}
	if (s != FT_OK)
		return s;
	p->faults[id] = c.state;
	practice_tell(p, FT_PRACTICE_FAULT, "Fault %s is in: %s.", table[id].name, table[id].does);
	return FT_OK;
}

enum ft_status practice_fault_off(struct ft_practice *p, struct ft_slice name, struct ft_error *e)
{
	int id = fault_of(name);

	if (id == FAULTS)
		return unknown(name, e);
	p->faults[id].on = false;
	if (id == FAULT_CLOCK_UNSET)
		p->clock_known = p->has_clock;
	practice_tell(p, FT_PRACTICE_FAULT, "Fault %s is out.", table[id].name);
	return FT_OK;
}
