/* SPDX-License-Identifier: Apache-2.0 */
/* What a table does not say of itself: which volts are high, and what unit its times are in. */
#ifndef FETTLE_BUS_TABLE_H
#define FETTLE_BUS_TABLE_H

#include "room.h"

/* One column of levels. */
struct table_level {
	double threshold;
	double apart; /* between the two levels; 0: it has not moved so far */
	bool sure;    /* it moved often enough; nothing more is learnt */
};

/* `n` values, each `stride` doubles behind the one before. Finds the two clusters they lie in and puts the threshold
 * between; a column that rests has the threshold of its kind (0 and 1, or volts of the bus). */
void table_learn_level(struct table_level *l, const double *values, size_t stride, size_t n);

/* Nanoseconds in a unit of the times of `n` rows of `columns` doubles, `time` of which is the time: the unit that
 * brings the shortest distances between changes nearest to a bit, or without changes the one that makes the steps
 * samples. */
double table_learn_unit(const double *rows, unsigned columns, unsigned time, const struct table_level *levels,
                        size_t n);

/* The step of the times in ns: what all of them are whole multiples of, counted from the first. 0: not known, as too
 * few rows tell it or it is longer than any step that draws bits, which chance makes of a few round times. */
int64_t table_learn_tick(const double *rows, unsigned columns, unsigned time, size_t n, double to_ns);

#endif
