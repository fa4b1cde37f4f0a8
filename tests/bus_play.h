/* SPDX-License-Identifier: Apache-2.0 */
/* A practice machine that is played while its bus is tapped: lines in, true events and words out. */
#ifndef FETTLE_TESTS_BUS_PLAY_H
#define FETTLE_TESTS_BUS_PLAY_H

#include "bus_witness.h"
#include "fettle/practice.h"

enum { MACHINES = 3 };
extern const char *const play_machines[MACHINES]; /* snack hotdrink coinbox */

struct play {
	struct ft_arena arena;
	struct ft_practice *p;
	struct ft_practice_tap tap;
	struct witness_sale sold[WITNESS_SALES]; /* as the events tell */
	size_t sold_count;
	int64_t net, topped, by_hand; /* cash that stays; of it on cards; paid out by hand */
	uint32_t random;
	int machine;
	bool reader, bills;
	unsigned failures; /* random sales that failed: more than two would be trouble with a motor */
};

/* `fault` may be NULL, or a whole line put in before the power comes on. */
void play_begin(struct play *y, int machine, unsigned seed, const char *fault, struct ft_practice_tap tap);
void play_say(struct play *y, const char *line);
void play_random(struct play *y, int lines); /* sales of all kinds, prices, returns, top-ups ... */
int64_t play_end(struct play *y);            /* the end of the tap; the machine stays until play_done */
void play_done(struct play *y);

#endif
