/* SPDX-License-Identifier: Apache-2.0 */
/* One machine of a practice fleet: how it lives, and the one trouble that may be planted in it. */
#ifndef FETTLE_PRACTICE_FLEET_ROOM_H
#define FETTLE_PRACTICE_FLEET_ROOM_H

#include "machine.h"

enum trouble {
	NO_TROUBLE,
	READS_MISSING,
	UNITS_SWAPPED, /* with its neighbour */
	SELECTION_STOPPED,
	SOLD_OUT,
	PRICE_CHANGED,
	CASH_LOSING,
	CASH_SHORT,
	CLOCK_DRIFTS,
	CLOCK_LOST,
	BOARD_EXCHANGED,
	COUNTER_WRAPS,
	COUNTERS_ANEW,
	POWER_CUTS,
	MACHINE_STOPPED,
	FRIDGE_FAILS,
	DOOR_OPENED,
	TUBES_EMPTIED,
	CARDS_UNSETTLED,
	BAG_LOST,
	TROUBLES
};

struct life {
	const struct ft_fleet_plan *plan;
	const struct ft_fleet_sink *sink;
	struct ft_practice *p;
	size_t index;
	uint64_t random;
	char asset[16], partner[16], by[8], route[8];
	enum dialect dialect;
	bool logger, alarms;
	double rate;      /* sales of a usual day */
	double days[7];   /* how much of it on each day of the week, Monday first */
	double share[64]; /* of each selection, summing to 1 */
	int every, phase; /* days between visits */
	enum trouble trouble;
	int begins, until; /* days */
	int selection;
	int64_t visible_us;
	bool told; /* in the key */
	bool ok;
	/* what happens */
	int64_t drift_s;
	double temperature;
	int64_t boxed; /* into the box since the last collection, really */
	int64_t carded_before, box_before;
	bool stopped_selling, counted, wrapped;
	struct ft_buf audit;
};

/* fleet_plan.c */
void practice_fleet_plan(struct life *l);
enum ft_status practice_fleet_machine(struct life *l, struct ft_arena *a, struct ft_error *e);
const char *practice_trouble_kind(enum trouble t);
const char *practice_trouble_rule(enum trouble t);

/* fleet_day.c */
void practice_fleet_day(struct life *l, int day);

int64_t practice_fleet_start(void);                    /* us of the first day's midnight */
double practice_even(uint64_t *state);                 /* 0 <= x < 1 */
double practice_normal(uint64_t *state);               /* mean 0, deviation 1 */
void practice_key(struct life *l, int64_t visible_us); /* the trouble goes into the key, once */

#endif
