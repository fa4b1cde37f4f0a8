/* SPDX-License-Identifier: Apache-2.0 */
/* Tables people keep: RFC 4180 as spreadsheets really write it (separator , ; or tab found from the
 * heading, BOM, any line end, blank lines and lines beginning with # passed over). */
#ifndef FETTLE_CSV_H
#define FETTLE_CSV_H

#include "fettle/arena.h"
#include "fettle/error.h"

struct ft_csv_row {
	unsigned line;           /* 1-based line in the file, for messages */
	unsigned count;          /* fields in this row */
	struct ft_slice *fields; /* quotes taken off, doubled quotes undone, blanks kept */
};

struct ft_csv {
	struct ft_csv_row head; /* the heading row */
	struct ft_csv_row *rows;
	size_t count;
	char separator;
};

/* Reads a whole table with a heading into the arena; fields that needed no change point into
 * `bytes`. `what` names the table in messages ("the list of sales"). */
enum ft_status ft_csv_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_csv *ret,
                           struct ft_error *e);

/* Column of a heading (any case, blanks trimmed), or -1. */
int ft_csv_column(const struct ft_csv *c, const char *name);

/* Field `column` of a row with blanks trimmed; empty when the row is shorter or column is -1. */
struct ft_slice ft_csv_field(const struct ft_csv_row *row, int column);

/* Writes one field, quoted where RFC 4180 demands it or ft_csv_read could take it for something else. */
struct ft_buf;
void ft_csv_put(struct ft_buf *b, struct ft_slice s);

#endif
