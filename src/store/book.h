/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the store: the open book and one way to ask it. */
#ifndef FETTLE_STORE_BOOK_H
#define FETTLE_STORE_BOOK_H

#include "fettle/store.h"

enum {
	BOOK_VERSION = 7,        /* of a book this program writes */
	BOOK_PATIENCE_MS = 10000 /* how long another program may hold the book before we give up */
};

struct book_query;

enum book_kind { BOOK_NULL, BOOK_I64, BOOK_TEXT, BOOK_BLOB };

struct book_value {
	enum book_kind kind;
	int64_t i;
	const char *p; /* of a text or blob, a text has a 0 behind it; a text that is bound may be NULL: null */
	size_t n;
};

/* What a book lies in: one file (sqlite.c), or a database server (postgres.c, loaded late). The rooms above write SQL
 * that both understand: parameters ? or ?1, ON CONFLICT, IS DISTINCT FROM, CASE in place of a max of two. Codes are the
 * engine's own, 0 is none. */
struct book_engine {
	int version; /* BOOK_ENGINE_VERSION */
	enum ft_status (*open)(struct ft_book *b, enum ft_book_mode mode, struct ft_error *e);
	void (*close)(struct ft_book *b);
	void (*patience)(struct ft_book *b, int milliseconds);

	void (*ask)(struct book_query *q, const char *sql);
	int (*put)(struct book_query *q, int at, const struct book_value *v); /* at from 1 */
	int (*parameters)(const struct book_query *q);
	bool (*row)(struct book_query *q);
	void (*column)(const struct book_query *q, int column, struct book_value *ret); /* stays until the next row */
	int (*width)(const struct book_query *q);
	const char *(*label)(const struct book_query *q, int column);
	void (*done)(struct book_query *q);
	int (*exec)(struct ft_book *b, const char *sql); /* several statements, no results */
	enum ft_status (*begin)(struct ft_book *b, bool write, struct ft_error *e);
	/* Begins a transaction that claims rows, unless in one; begin() with `write` takes the right to write within it.
	 * NULL: rows cannot be claimed, one works alone. */
	enum ft_status (*claim)(struct ft_book *b, struct ft_error *e);
	/* Of one who cannot claim: see ft_book_watch_alone. */
	enum ft_status (*alone)(struct ft_book *b, bool wait, bool *ret_mine, struct ft_error *e);
	bool (*in_transaction)(struct ft_book *b);
	enum ft_status (*fail)(const struct ft_book *b, int code, const char *doing, struct ft_error *e);

	/* Tells a book from an empty place and from something else: *ret is its version, 0 for the empty place. */
	enum ft_status (*known)(struct ft_book *b, int64_t *ret, struct ft_error *e);
	enum ft_status (*step)(struct ft_book *b, const char *sql, struct ft_error *e); /* of schema.c */
	enum ft_status (*set_version)(struct ft_book *b, int version, struct ft_error *e);
	/* Rows were written with the numbers they have elsewhere: new ones go on after them. */
	enum ft_status (*numbered)(struct ft_book *b, const char *table, struct ft_error *e);
	/* Within a transaction that writes: stretches of reads whose newest is of the month of `us` may be put. */
	enum ft_status (*month)(struct ft_book *b, int64_t us, struct ft_error *e);
	enum ft_status (*look_over)(struct ft_book *b, bool whole, struct ft_error *e);
	enum ft_status (*backup)(struct ft_book *b, const char *path, struct ft_error *e);
};

enum { BOOK_ENGINE_VERSION = 3 };

/* The members that each engine has under the same name in its own file; the rest is its own to add. */
#define BOOK_ENGINE_MEMBERS                                                                                           \
	.version = BOOK_ENGINE_VERSION, .open = open_book, .close = close_book, .patience = patience, .ask = ask,         \
	.put = put, .parameters = parameters, .row = row, .column = column, .width = width, .label = label, .done = done, \
	.exec = exec, .begin = begin, .in_transaction = in_transaction, .fail = fail, .known = known, .step = step,       \
	.set_version = set_version, .numbered = numbered, .month = month, .look_over = look_over, .backup = backup

extern const struct book_engine book_sqlite;

struct ft_book {
	const struct book_engine *engine;
	void *db;
	char *path; /* as it may be shown: without a password */
	char *told; /* as it was given */
	int alone;  /* the file whose lock says who is the one watcher, -1: none was opened */
	bool is_alone;
	struct ft_book *beside; /* another connection, for what shall be seen while a claim is open; NULL: none yet */
};

/* One query with the first failure kept, so that a caller checks once at the end. */
struct book_query {
	struct ft_book *book;
	void *st;     /* the engine's own */
	int code;     /* the engine's own, 0 until something failed */
	int bound;    /* parameters bound so far */
	bool no_room; /* no memory for a result */
	bool stream;  /* set before the first row: rows one by one, where all together may not fit; until its end the book
	               * takes no other query */
};

struct book_query book_ask(struct ft_book *b, const char *sql);
void book_put_text(struct book_query *q, const char *text); /* NULL is written as null; `text` must outlive the query */
void book_put_i64(struct book_query *q, int64_t v);         /* FT_ABSENT is written as null */
void book_put_blob(struct book_query *q, const void *p, size_t n);
void book_put(struct book_query *q, const struct book_value *v);
bool book_row(struct book_query *q); /* true: a row stands ready */
/* The next row and room for it behind the `n` of a list that grows in the arena: the list, moved perhaps; NULL at the
 * end, and without memory. */
void *book_row_of(struct book_query *q, struct ft_arena *a, void *list, size_t n, size_t *room, size_t size);
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

/* A sentence for a failure of the engine. */
enum ft_status book_fail(const struct ft_book *b, int code, const char *doing, struct ft_error *e);
enum ft_status book_fail_damaged(const struct ft_book *b, struct ft_error *e);
enum ft_status book_fail_newer(const struct ft_book *b, int64_t version, struct ft_error *e);

enum ft_status book_begin_read(struct ft_book *b, struct ft_error *e);
enum ft_status book_begin_write(struct ft_book *b, struct ft_error *e);
/* Commits when `s` is FT_OK, else takes everything back; returns what came of it. */
enum ft_status book_end(struct ft_book *b, enum ft_status s, const char *doing, struct ft_error *e);

/* schema.c */
enum ft_status book_bring_up_to_date(struct ft_book *b, struct ft_error *e);
/* The tables in the order in which they were made, a table that others point to before them; NULL at the end. */
const char *book_table(size_t index, struct ft_arena *a);

/* visits.c: shared with filing */
enum ft_status book_visit_number(struct ft_book *b, const char *id, int64_t *ret, bool *ret_closed, struct ft_error *e);
/* The visit's number when it is open, else the refusal; `late` tells that a closed one will do. */
enum ft_status book_visit_to_change(struct ft_book *b, const char *id, bool late, int64_t *ret, struct ft_error *e);
enum ft_status book_free_id(struct ft_book *b, const char *asset, struct ft_arena *a, const char **ret,
                            struct ft_error *e);
/* The visit is touched: its state is a later one now. */
enum ft_status book_touch(struct ft_book *b, int64_t visit, int64_t at_us, struct ft_error *e);

/* watched.c: room at `to` for every month that `from` has stretches of reads of */
enum ft_status book_watched_months(struct ft_book *from, struct ft_book *to, struct ft_error *e);

/* claims.c: within a transaction that writes */
enum ft_status book_put_judged(struct ft_book *b, const struct ft_watched *w, struct ft_error *e);
/* Is it on this watcher to write the exceptions? Not when they stand there, nor when another knew more reads. */
enum ft_status book_tell_fleet(struct ft_book *b, const struct ft_watched *w, bool *ret, struct ft_error *e);

/* evidence.c: rows without a transaction of their own */
enum ft_status book_put_evidence(struct ft_book *b, int64_t visit, const struct ft_evidence *x, struct ft_error *e);
enum ft_status book_put_taken_out(struct ft_book *b, int64_t visit, const struct ft_taken_out *x, struct ft_error *e);
/* The number of the next piece of a visit: one that no other ever had. */
enum ft_status book_next_piece(struct ft_book *b, int64_t visit, int64_t *ret, struct ft_error *e);
enum ft_status book_put_content(struct ft_book *b, const struct ft_evidence *x, struct ft_error *e);
/* Are these bytes those that were added under the hash? */
enum ft_status book_sound(const struct ft_book *b, const struct ft_hash *hash, struct ft_slice bytes,
                          struct ft_error *e);
enum ft_status book_put_statement(struct ft_book *b, int64_t visit, const struct ft_statement *x, struct ft_error *e);
enum ft_status book_put_waiver(struct ft_book *b, int64_t visit, const struct ft_waiver *x, struct ft_error *e);
enum ft_status book_put_package(struct ft_book *b, int64_t visit, const struct ft_package *x, struct ft_error *e);

#endif
