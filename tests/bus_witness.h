/* SPDX-License-Identifier: Apache-2.0 */
/* A strict listener on the practice machine's bus, for tests: written from the standard's rules as the fact
 * list gives them, not from the bus room, so that each can be held against the other. */
#ifndef FETTLE_TESTS_BUS_WITNESS_H
#define FETTLE_TESTS_BUS_WITNESS_H

#include "fettle/bus.h"

enum { WITNESS_SALES = 400, WITNESS_WORDS = 80 };

struct witness_sale {
	bool card;
	unsigned item;
	int64_t price; /* minor units */
};

struct witness {
	char wrong[200]; /* the first thing that is not as it must be; "" : all is well */
	int64_t at_ns;   /* where */
	uint64_t words, exchanges, silent;
	/* the exchange going on */
	struct ft_bus_word command[WITNESS_WORDS], answer[WITNESS_WORDS];
	size_t command_n, answer_n;
	bool closed;
	int64_t last_end_ns, break_end_ns;
	int64_t asked_ns[32]; /* last command to an address; -1: none */
	/* devices */
	int64_t coin_value[16], bill_value[16], coin_scale, owed, reader_scale;
	bool was_reset[32], wide, enabled, session;
	int reader_level;
	/* what it saw */
	int64_t coins_in, bills_in, bills_back, paid_out, by_hand, topped;
	unsigned tokens, tube_reports, breaks, refunds, denials, sessions, asked_price, asked_item;
	struct witness_sale sales[WITNESS_SALES];
	size_t sale_count;
};

void witness_begins(struct witness *w);
void witness_word(void *witness, const struct ft_bus_word *word); /* as struct ft_practice_tap wants it */
void witness_ends(struct witness *w);

#endif
