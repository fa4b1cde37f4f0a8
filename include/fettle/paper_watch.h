/* SPDX-License-Identifier: Apache-2.0 */
/* The morning report of the office: which machines need a person today, the most urgent first. As a table, a document,
 * the body of an e-mail (text and HTML) and a sheet of paper. Plain texts in, bytes out. */
#ifndef FETTLE_PAPER_WATCH_H
#define FETTLE_PAPER_WATCH_H

#include "fettle/paper.h"

struct ft_morning_line {
	enum ft_weight weight;
	const char *asset, *machine;            /* machine: what tells it apart */
	const char *rule, *selection;           /* selection NULL: the whole machine */
	const char *sentence, *expected, *todo; /* expected may be NULL */
	int64_t money;                          /* lost or at stake, minor units, FT_ABSENT: none */
	const char *per;                        /* "once" or "a week"; NULL with no money */
	int decimals;
	const char *currency;
	double sure;                /* 0 to 1 */
	const char *since, *seen;   /* days, ISO 8601 */
	const char *before, *after; /* files; may be NULL */
	const char *known;          /* of a known one: "new list (A. Clerk, 2026-04-30)" */
};

struct ft_morning_sum {
	const char *name; /* "P01" */
	size_t collections;
	int64_t expected, counted;
	bool less;         /* less and less */
	const char *usual; /* "usual", "2.4 times usual": as ft_variance_words says */
};

struct ft_morning {
	const char *until, *made, *program; /* times ISO 8601 */
	int offset_minutes;
	const char *alone; /* it is of this machine; NULL: of the whole fleet */
	size_t machines, machines_open, acknowledged;
	int64_t once, week; /* sums of the lines in `currency` */
	size_t not_summed;  /* amounts of another currency or of none */
	int decimals;       /* of sums */
	const char *currency;
	const struct ft_morning_line *lines;
	size_t line_count;
	const struct ft_morning_line *known; /* `acknowledged` of them: what is open and stays quiet */
	const struct ft_morning_sum *persons, *routes;
	size_t person_count, route_count;
};

/* "11 of 60 machines need a person. ..." or "HL-0932 alone: ..." with the sums; without the NUL at its end. */
void ft_morning_opening(const struct ft_morning *m, struct ft_buf *out);
void ft_morning_csv(const struct ft_morning *m, struct ft_buf *out);
void ft_morning_json(const struct ft_morning *m, struct ft_buf *out); /* the keys of the table's heading */
void ft_morning_text(const struct ft_morning *m, struct ft_buf *out); /* 72 columns */
void ft_morning_html(const struct ft_morning *m, struct ft_buf *out); /* one file, nothing to fetch */
enum ft_status ft_morning_pdf(const struct ft_morning *m, enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out,
                              int *ret_pages, struct ft_error *e);

#endif
