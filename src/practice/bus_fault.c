/* SPDX-License-Identifier: Apache-2.0 */
/* The bus faults: what they take, whom they concern, and what can no longer be paid because of them. What
 * they do to the traffic stands where that traffic is made. */
#include "bus_inside.h"

enum takes { TAKES_NOTHING, TAKES_DEVICE, TAKES_SENDER, TAKES_NUMBER };

static const struct {
	enum fault_id id;
	enum takes takes;
	bool number;                /* may be followed by one */
	int64_t least, most, usual; /* of the number */
} rows[] = {
	{ FAULT_BUS_SILENT, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_LATE, TAKES_DEVICE, true, 6, 60, 8 },
	{ FAULT_BUS_LATE_OVERLAP, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_GAPS, TAKES_SENDER, true, 1, 4, 2 },
	{ FAULT_BUS_CHECKSUM, TAKES_SENDER, false, 0, 0, 0 },
	{ FAULT_BUS_CONSTANT_CHECKSUM, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_RESTARTS, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_CONTROLLER_RESETS, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_NAK, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_RET, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_BAUD, TAKES_SENDER, true, -60, 60, 0 }, /* tenths of a percent */
	{ FAULT_BUS_SLOW_POLL, TAKES_NUMBER, true, 201, 10000, 400 },
	{ FAULT_BUS_PRICE_LIMITS, TAKES_NUMBER, true, 1, 1000000, 0 },
	{ FAULT_BUS_SCALE, TAKES_NUMBER, true, 1, 255, 100 },
	{ FAULT_BUS_EVENT_REPEATED, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_UNACKNOWLEDGED, TAKES_DEVICE, false, 0, 0, 0 },
	{ FAULT_BUS_MODE_BIT, TAKES_SENDER, false, 0, 0, 0 },
	{ FAULT_BUS_TOO_LONG, TAKES_DEVICE, false, 0, 0, 0 },
};

static bool fitted(const struct ft_practice *p, enum part part)
{
	return part == CONTROLLER || part == CHANGER || (part == VALIDATOR && p->bill_count) ||
		(part == READER && p->reader.serial[0]) || (part == GATEWAY && p->bus_plan.gateway);
}

static bool device(struct ft_slice word, bool or_controller, enum part *ret)
{
	static const struct {
		const char *word;
		enum part part;
	} words[] = { { "changer", CHANGER },
		          { "validator", VALIDATOR },
		          { "reader", READER },
		          { "gateway", GATEWAY },
		          { "controller", CONTROLLER } };

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (ft_slice_is(word, words[i].word)) {
			*ret = words[i].part;
			return words[i].part != CONTROLLER || or_controller;
		}
	return false;
}

/* A whole number, or a percentage as tenths: "-2.5" is -25. */
static bool value(struct ft_slice word, bool percent, int64_t *ret)
{
	bool below = percent && word.n && word.p[0] == '-';

	if (!percent)
		return ft_slice_i64(word, ret);
	if (!ft_money_parse((struct ft_slice){ word.p + below, word.n - below }, 1, ret))
		return false;
	*ret = below ? -*ret : *ret;
	return true;
}

/* Faults that concern the reader alone, or bills. */
static const char *lacking(const struct ft_practice *p, enum fault_id id)
{
	static const enum fault_id of_reader[] = {
		FAULT_BUS_CLASH,
		FAULT_BUS_NO_END_SESSION,
		FAULT_BUS_READER_NOT_ENABLED,
		FAULT_BUS_READER_EARLY,
		FAULT_BUS_PRICE_LIMITS,
		FAULT_BUS_NO_PRICE_LIMITS,
		FAULT_BUS_DECIMALS,
		FAULT_BUS_SCALE,
		FAULT_BUS_CURRENCY,
		FAULT_BUS_READER_ELSEWHERE,
		FAULT_BUS_TWO_READERS,
		FAULT_BUS_LEVEL,
		FAULT_BUS_MONEY_WIDTH,
		FAULT_BUS_SELECT_FIRST,
		FAULT_BUS_SESSION_HANGS,
		FAULT_BUS_NOT_CLOSED,
		FAULT_BUS_VEND_FAILS,
		FAULT_BUS_REFUND_LOST,
		FAULT_BUS_UNKNOWN,
	};

	for (size_t i = 0; i < sizeof of_reader / sizeof *of_reader; i++)
		if (of_reader[i] == id && !p->reader.serial[0])
			return "this machine has no card reader";
	if ((id == FAULT_BUS_VALIDATOR_OUT || id == FAULT_BUS_ESCROW) && !p->bill_count)
		return "this machine has no bill validator";
	return NULL;
}

/* NULL and *ret filled, or why not. */
const char *practice_bus_fault(const struct ft_practice *p, enum fault_id id, const struct ft_slice *words, size_t n,
                               struct fault_state *ret)
{
	size_t row = 0, at = 0;
	enum part part = CONTROLLER;

	while (row < sizeof rows / sizeof *rows && rows[row].id != id)
		row++;
	ret->a = -1;
	if (row == sizeof rows / sizeof *rows)
		return n ? "it takes nothing behind it" : lacking(p, id);
	ret->b = rows[row].usual;
	if (rows[row].takes != TAKES_NUMBER) {
		if (!n || !device(words[0], rows[row].takes == TAKES_SENDER, &part))
			return rows[row].takes == TAKES_SENDER ? "name changer, validator, reader, gateway or controller"
												   : "name changer, validator, reader or gateway";
		if (!fitted(p, part))
			return "this machine has no such device";
		ret->a = part;
		at = 1;
	}
	if (at < n &&
	    (!rows[row].number || !value(words[at], id == FAULT_BUS_BAUD, &ret->b) || ret->b < rows[row].least ||
	     ret->b > rows[row].most || at + 1 < n))
		return "what stands behind it is too small, too large or too much";
	if (id == FAULT_BUS_BAUD && n < 2)
		return "the percentage is missing";
	return lacking(p, id);
}

bool bus_faulty(const struct practice_bus *b, enum fault_id f, enum part part)
{
	const struct fault_state *s = &b->p->faults[f];
	enum part at = s->a == READER ? b->reader : (enum part)s->a;

	return s->on && (s->a < 0 || at == part);
}

/* One time in `of`. */
bool bus_strikes(struct practice_bus *b, enum fault_id f, enum part part, int64_t of)
{
	return bus_faulty(b, f, part) && bus_chance(b, of) == 0;
}

static bool at(const struct ft_practice *p, enum fault_id f, enum part part)
{
	return p->faults[f].on && p->faults[f].a == (int64_t)part;
}

/* Why nothing can be paid with this device, whether somebody taps the bus or not; NULL: it works. */
static const char *stops(const struct ft_practice *p, enum part part)
{
	if (p->faults[FAULT_BUS_DEAD].on || p->faults[FAULT_BUS_SWAPPED].on || at(p, FAULT_BUS_SILENT, part))
		return "the controller gets no answer from it";
	if (p->faults[FAULT_BUS_CONTROLLER_SILENT].on)
		return "the controller does not ask for it";
	if (at(p, FAULT_BUS_CONTROLLER_RESETS, part))
		return "the controller resets it again and again";
	return NULL;
}

const char *practice_bus_stops_coins(const struct ft_practice *p)
{
	return p->faults[FAULT_BUS_CASH_NOT_ENABLED].on ? "coins are not enabled" : stops(p, CHANGER);
}

const char *practice_bus_stops_bills(const struct ft_practice *p)
{
	return p->faults[FAULT_BUS_CASH_NOT_ENABLED].on ? "bills are not enabled"
		: p->faults[FAULT_BUS_VALIDATOR_OUT].on     ? "the validator is jammed"
													: stops(p, VALIDATOR);
}

const char *practice_bus_stops_cards(const struct ft_practice *p)
{
	const struct fault_state *f = p->faults;

	return f[FAULT_BUS_READER_NOT_ENABLED].on ? "the reader is not enabled"
		: f[FAULT_BUS_READER_ELSEWHERE].on    ? "the reader is not where the controller looks for it"
		: f[FAULT_BUS_CLASH].on               ? "the reader was never set up"
		: f[FAULT_BUS_SELECT_FIRST].on        ? "the reader does not take a selection before a card"
		: f[FAULT_BUS_SESSION_HANGS].on       ? "no answer came for the card in time"
											  : stops(p, READER);
}
