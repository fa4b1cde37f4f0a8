/* SPDX-License-Identifier: Apache-2.0 */
/* Times as loggers, units and spreadsheets write them: year, day or month first, with or without seconds,
 * twelve or twenty-four hours, seconds since 1970. How a column is written is learned from all its values
 * before any is read, since 03/04 alone tells nothing.
 *
 * Source: common practice of exports; ISO 8601 where it is one. */
#ifndef FETTLE_STAMP_H
#define FETTLE_STAMP_H

#include "fettle/error.h"
#include "fettle/slice.h"

enum ft_stamp_order {
	FT_STAMP_YEAR_FIRST, /* 2026-11-25 14:03:05, 2026/11/25 */
	FT_STAMP_DAY_FIRST,  /* 25.11.2026, 25/11/26 */
	FT_STAMP_MONTH_FIRST,
	FT_STAMP_UNIX,    /* seconds since 1970, a fraction may follow; thirteen digits are milliseconds */
	FT_STAMP_ELAPSED, /* seconds from a beginning of their own */
};

/* Zero-initialise, learn every value, settle once, then read. */
struct ft_stamp_form {
	int default_offset_minutes; /* of values that name no offset; set by whoever learns */
	enum ft_stamp_order order;  /* after ft_stamp_settle */
	bool ambiguous; /* day and month could not be told apart; day first was taken, with AM and PM month first */
	/* the rest is for learning */
	unsigned year_first, day_first, month_first, either, epoch, elapsed, twelve;
	unsigned back[2];        /* steps back in time when read day first, month first */
	int64_t last[2], far[2]; /* last value, and the sum of all steps, read either way */
	bool begun;
};

/* Takes in one value of the column; `time` may be empty, or the time of day where it has a column of its own.
 * False when it is no time at all. */
bool ft_stamp_learn(struct ft_stamp_form *f, struct ft_slice date, struct ft_slice time);

/* Nothing that follows could change how the column is read: what is written otherwise is refused by ft_stamp_read. The
 * rest of a long column need not be learned then. */
bool ft_stamp_certain(const struct ft_stamp_form *f);

/* Decides. FT_E_INPUT when the column mixes kinds that exclude each other; `what` names it ("the log"). */
enum ft_status ft_stamp_settle(struct ft_stamp_form *f, const char *what, struct ft_error *e);

/* Microseconds since 1970 (of FT_STAMP_ELAPSED: since its own beginning). *ret_offset (may be NULL) is the offset in
 * minutes that the value names, or the default. */
bool ft_stamp_read(const struct ft_stamp_form *f, struct ft_slice date, struct ft_slice time, int64_t *ret_us,
                   int *ret_offset);

/* A figure with a decimal point or comma, an optional sign (also U+2212) and exponent, nothing else; blanks around it
 * are passed over. Thousands are not grouped. False on anything else. */
bool ft_figure(struct ft_slice s, double *ret);

#endif
