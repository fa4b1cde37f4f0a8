/* SPDX-License-Identifier: Apache-2.0 */
/* Which lines and faults the practice machine takes. The faults are those of its table. */
#include "practice_help.h"

#include <string.h>

#include "fettle/practice.h"

#define SALES   "Lines: selling (money in minor units)"
#define SERVICE "Lines: at the machine"
#define TAKING  "Lines: what to take away from it"
#define REST    "Lines: the rest"

static const struct cli_row lines[] = {
	{ SALES, "sell 21", "coins 100 50", "money in, button, goods, change" },
	{ SALES, "sell 14", "bill 500", "the same; both: bill 100 coins 25 25" },
	{ SALES, "sell 14", "card", "by card; [list N] [deny|timeout] behind it" },
	{ SALES, "sell 14", "token", "by token" },
	{ SALES, "sell", "... fail", "the motor runs and nothing comes: refund" },
	{ SALES, "insert", "coin 100", "a sale step by step; insert bill 500" },
	{ SALES, "press", "21", "then the button" },
	{ SALES, "return", "", "or the money back" },
	{ SALES, "topup", "bill 1000", "cash onto a card; topup coins 100 100" },
	{ SALES, "test", "21", "a vend nobody pays for, from the service menu" },
	{ SALES, "free", "21", "a vend nobody pays for, given away" },
	{ SERVICE, "price", "21 250 [list N]", "keys a price in; 0: none" },
	{ SERVICE, "fill", "25 40", "coins into a tube by hand" },
	{ SERVICE, "payout", "25 3", "coins out of a tube by hand" },
	{ SERVICE, "refill", "[21]", "goods in" },
	{ SERVICE, "collect", "", "cash box and stacker emptied" },
	{ SERVICE, "jam", "21", "a motor jams" },
	{ SERVICE, "clear", "21", "it turns again" },
	{ SERVICE, "motor", "21 23", "selection 21 runs motor 23" },
	{ SERVICE, "firmware", "0313", "a new revision, and what it takes with it" },
	{ SERVICE, "power", "off|on", "cuts the power, gives it back" },
	{ SERVICE, "door", "open|close", "the door and its switch" },
	{ SERVICE, "clock", "2026-03-09T14:05|now", "sets its clock; now: to the time of this computer" },
	{ SERVICE, "temperature", "4.5", "the temperature its audit tells" },
	{ SERVICE, "reset", "", "the interval meters, from the service menu" },
	{ SERVICE, "antenna", "inside|top|outside", "moves the antenna of its modem" },
	{ SERVICE, "measure", "volts [WHERE]",
	  "a meter at the supply, unit, validator, changer or reader; [idle|vend] behind it" },
	{ TAKING, "save", "FILE", "the audit the next read would get, not counted as one" },
	{ TAKING, "read", "FILE [READER]", "a read without a line, counted like any other" },
	{ TAKING, "sales", "FILE|forget", "the fitter's own true list of sales; begins it anew" },
	{ TAKING, "bus", "start FILE", "taps its bus, until bus stop" },
	{ TAKING, "log", "start [SECONDS]", "a logger goes into the cabinet" },
	{ TAKING, "log", "FILE", "its log, as fettle cold takes it" },
	{ TAKING, "supply", "FILE", "the table of its chain, as fettle supply takes it" },
	{ REST, "fault", "NAME ...", "puts a fault of the lists below in" },
	{ REST, "fault", "off NAME", "takes it out" },
	{ REST, "wait", "S", "seconds go by; at real pace really" },
	{ REST, "quit", "", "ends the practice" },
};

static const char *heading(const char *group)
{
	static const char *const of[][2] = {
		{ "books", "Faults of its books" },      { "data port", "Faults of its audit and data port" },
		{ "cabinet", "Faults in the cabinet" },  { "supply", "Faults of the bus supply" },
		{ "radio", "Faults of the radio path" }, { "bus", "Faults on the bus" },
	};

	for (size_t i = 0; i < sizeof of / sizeof *of; i++)
		if (strcmp(of[i][0], group) == 0)
			return of[i][1];
	return "Faults";
}

bool practice_row(size_t nth, struct cli_row *ret)
{
	size_t own = sizeof lines / sizeof *lines, n;
	const struct ft_practice_fault *f = ft_practice_faults(&n);

	if (nth < own) {
		*ret = lines[nth];
		return true;
	}
	if (nth - own >= n)
		return false;
	f += nth - own;
	*ret = (struct cli_row){ heading(f->group), f->name, f->arguments, f->does };
	return true;
}
