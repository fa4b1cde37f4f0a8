/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the store: the open book and one way to ask it. */
#ifndef FETTLE_STORE_BOOK_H
#define FETTLE_STORE_BOOK_H

#include <sqlite3.h>

#include "fettle/store.h"

struct ft_book {
	sqlite3 *db;
	char *path;
};

enum {
	BOOK_VERSION = 2,              /* user_version of a book this program writes */
	BOOK_APPLICATION = 0x66746c62, /* "ftlb" in the header: other programs' databases are told apart */
	BOOK_PATIENCE_MS = 10000,      /* how long another program may hold the book before we give up */
};

/* One prepared statement with the first failure kept, so that a caller checks once at the end. */
struct book_query {
	struct ft_book *book;
	sqlite3_stmt *st;
	int rc;       /* SQLITE_OK until something failed */
	int bound;    /* parameters bound so far */
	bool no_room; /* the arena had no memory for a result */
};

struct book_query book_ask(struct ft_book *b, const char *sql);
void book_put_text(struct book_query *q, const char *text); /* NULL is written as null; `text` must outlive the query */
void book_put_i64(struct book_query *q, int64_t v);         /* FT_ABSENT is written as null */
void book_put_blob(struct book_query *q, const void *p, size_t n);
bool book_row(struct book_query *q);                                         /* true: a row stands ready */
int64_t book_i64(const struct book_query *q, int column);                    /* FT_ABSENT for null */
const char *book_text(struct book_query *q, int column, struct ft_arena *a); /* NULL for null */
bool book_blob(struct book_query *q, int column, struct ft_arena *a, struct ft_slice *ret);

/* Ends the query and turns its failure into a sentence; `doing` ("adding evidence to"). */
enum ft_status book_asked(struct book_query *q, const char *doing, struct ft_error *e);
/* Runs a query without results to its end. */
enum ft_status book_run(struct book_query *q, const char *doing, struct ft_error *e);
/* One number from a query that gives one row, FT_ABSENT when it gives none. */
enum ft_status book_number(struct book_query *q, const char *doing, int64_t *ret, struct ft_error *e);

enum ft_status book_exec(struct ft_book *b, const char *sql, const char *doing, struct ft_error *e);

/* A sentence for an SQLite failure. */
enum ft_status book_fail(const struct ft_book *b, int rc, const char *doing, struct ft_error *e);

enum ft_status book_begin_read(struct ft_book *b, struct ft_error *e);
enum ft_status book_begin_write(struct ft_book *b, struct ft_error *e);
/* Commits when `s` is FT_OK, else takes everything back; returns what came of it. */
enum ft_status book_end(struct ft_book *b, enum ft_status s, const char *doing, struct ft_error *e);

/* schema.c */
enum ft_status book_bring_up_to_date(struct ft_book *b, struct ft_error *e);

/* visits.c: shared with filing */
enum ft_status book_visit_number(struct ft_book *b, const char *id, int64_t *ret, bool *ret_closed, struct ft_error *e);
/* The visit's number when it is open, else the refusal; `late` tells that a closed one will do. */
enum ft_status book_visit_to_change(struct ft_book *b, const char *id, bool late, int64_t *ret, struct ft_error *e);
enum ft_status book_free_id(struct ft_book *b, const char *asset, struct ft_arena *a, const char **ret,
                            struct ft_error *e);
/* The visit is touched: its state is a later one now. */
enum ft_status book_touch(struct ft_book *b, int64_t visit, int64_t at_us, struct ft_error *e);

/* evidence.c: rows without a transaction of their own */
enum ft_status book_put_evidence(struct ft_book *b, int64_t visit, const struct ft_evidence *x, struct ft_error *e);
enum ft_status book_put_statement(struct ft_book *b, int64_t visit, const struct ft_statement *x, struct ft_error *e);
enum ft_status book_put_waiver(struct ft_book *b, int64_t visit, const struct ft_waiver *x, struct ft_error *e);
enum ft_status book_put_package(struct ft_book *b, int64_t visit, const struct ft_package *x, struct ft_error *e);

#endif
