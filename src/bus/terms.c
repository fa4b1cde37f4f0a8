/* SPDX-License-Identifier: Apache-2.0 */
/* The words of the trade for what the bus room counts in numbers. */
#include "room.h"

#define WORD(table, i) ((size_t)(i) < sizeof(table) / sizeof *(table) ? (table)[i] : NULL)

const char *ft_bus_format_word(enum ft_bus_format f)
{
	static const char *const words[] = { "unknown", "vcd", "raw samples", "csv", "words", "edges" };

	return WORD(words, f);
}

const char *ft_bus_route_word(enum ft_bus_route r)
{
	static const char *const words[] = { NULL,     "cash box", "tube",     "rejected",
		                                 "escrow", "returned", "recycler", "paid out" };

	return WORD(words, r);
}

const char *ft_bus_outcome_word(enum ft_bus_outcome o)
{
	static const char *const words[] = {
		"sold", "failed", "refund-lost", "denied", "cancelled", "unclosed", "pending"
	};

	return WORD(words, o);
}

/* MDB/ICP section 7.2. */
const char *ft_bus_state_word(enum ft_bus_state s)
{
	static const char *const words[] = { NULL,           "inactive", "disabled", "enabled",
		                                 "session idle", "vend",     "revalue",  "negative vend" };

	return WORD(words, s);
}
