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

/* A large table row by row, without keeping the rows. */
struct ft_csv_stream {
	struct ft_csv_row row; /* the last one read; its fields hold until the next */
	unsigned line;         /* of the next row; may be set by whoever begins in the middle of a file */
	char separator;
	/* the rest is the reader's */
	const char *p, *end, *what;
	size_t room;
	struct ft_arena *arena;
	struct ft_error *error;
};

/* Stands before the first row, which is the heading if the table has one; the separator is found from it. Fails as
 * ft_csv_read. */
enum ft_status ft_csv_start(struct ft_csv_stream *s, struct ft_slice bytes, const char *what, struct ft_arena *a,
                            struct ft_error *e);

/* Goes on with further whole lines of the same table, once all before them are read. FT_E_INPUT as ft_csv_read. */
enum ft_status ft_csv_go_on(struct ft_csv_stream *s, struct ft_slice bytes);

/* The next row into s->row. *ret_more false: there was none. */
enum ft_status ft_csv_next(struct ft_csv_stream *s, bool *ret_more);

/* Column of a heading (any case, blanks trimmed), or -1. */
int ft_csv_column(const struct ft_csv *c, const char *name);

/* Field `column` of a row with blanks trimmed; empty when the row is shorter or column is -1. */
struct ft_slice ft_csv_field(const struct ft_csv_row *row, int column);

/* Writes one field, quoted where RFC 4180 demands it or ft_csv_read could take it for something else. */
struct ft_buf;
void ft_csv_put(struct ft_buf *b, struct ft_slice s);

#endif
