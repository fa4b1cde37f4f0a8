/* SPDX-License-Identifier: Apache-2.0 */
/* One machine of a practice fleet: how it lives, and the one trouble that may be planted in it. */
#ifndef FETTLE_PRACTICE_FLEET_ROOM_H
#define FETTLE_PRACTICE_FLEET_ROOM_H

#include "machine.h"

enum trouble {
	NO_TROUBLE = -1,
#define ROW(ident, ...) ident,
#include "practice-troubles.inc"
#undef ROW
	TROUBLES
};

/* What was planted in the fleet so far, so that each kind gets its turn. */
struct planting {
	size_t planted[TROUBLES];
	size_t told[TROUBLES]; /* of these, in the key: they came into sight */
	size_t all;
	enum trouble pair; /* what the machine before this one shares with it; NO_TROUBLE: nothing */
	int pair_begins;
};

struct life {
	const struct ft_fleet_plan *plan;
	const struct ft_fleet_sink *sink;
	struct planting *planting;
	struct ft_practice *p;
	size_t index;
	uint64_t random;
	char asset[16], partner[16], by[8], route[8];
	enum dialect dialect;
	bool logger, alarms;
	int selections;
	double rate;      /* sales of a usual day */
	double days[7];   /* how much of it on each day of the week, Monday first */
	double share[64]; /* of each selection, summing to 1 */
	int every, phase; /* days between visits */
	enum trouble trouble;
	int begins, until; /* days */
	int selection;
	bool told; /* in the key */
	bool ok;
	/* what happens */
	int64_t drift_s;
	double temperature;
	int64_t carded_before, box_before;
	bool stopped_selling, counted, wrapped;
	struct ft_buf audit;
};

/* fleet_plan.c */
void practice_fleet_plan(struct life *l);
enum ft_status practice_fleet_machine(struct life *l, struct ft_arena *a, struct ft_error *e);

/* fleet_trouble.c */
void practice_plant(struct life *l);                   /* chooses a trouble, or none, and when it begins */
int practice_shows(const struct life *l);              /* days from its beginning until a watcher can be sure */
void practice_key(struct life *l, int64_t visible_us); /* the trouble goes into the key, once */
void practice_planted(const struct planting *all, int days, struct ft_fleet_planted *ret); /* by kind */

/* fleet_day.c */
void practice_fleet_day(struct life *l, int day);
void practice_fleet_row(struct life *l, enum ft_fleet_table t, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

int64_t practice_fleet_start(void);    /* us of the first day's midnight */
double practice_even(uint64_t *state); /* 0 <= x < 1 */
double practice_normal(uint64_t *state);
int practice_below(struct life *l, int n); /* 0 to n - 1 */

#endif
