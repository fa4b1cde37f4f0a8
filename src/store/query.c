/* SPDX-License-Identifier: Apache-2.0 */
/* Asking the book: queries, transactions, and failures as sentences, whatever it lies in. */
#include "book.h"

struct book_query book_ask(struct ft_book *b, const char *sql)
{
	struct book_query q = { .book = b };

	b->engine->ask(&q, sql);
	return q;
}

void book_put(struct book_query *q, const struct book_value *v)
{
	int code;

	q->bound++;
	if (!q->st)
		return;
	code = q->book->engine->put(q, q->bound, v);
	if (!q->code)
		q->code = code;
}

/* A text or number that is not there is still one to a server that wants to know of what kind it is. */
void book_put_text(struct book_query *q, const char *text)
{
	book_put(q, &(struct book_value){ .kind = BOOK_TEXT, .p = text, .n = text ? strlen(text) : 0 });
}

void book_put_i64(struct book_query *q, int64_t v)
{
	book_put(q, &(struct book_value){ .kind = BOOK_I64, .i = v });
}

void book_put_blob(struct book_query *q, const void *p, size_t n)
{
	book_put(q,
	         &(struct book_value){ .kind = BOOK_BLOB, .p = n ? p : "", .n = n }); /* an empty file is an empty blob */
}

bool book_row(struct book_query *q)
{
	return !q->code && !q->no_room && q->st && q->book->engine->row(q);
}

void *book_row_of(struct book_query *q, struct ft_arena *a, void *list, size_t n, size_t *room, size_t size)
{
	void *grown;

	if (!book_row(q))
		return NULL;
	grown = ft_arena_grow(a, list, n, room, size);
	q->no_room |= grown == NULL;
	return grown;
}

static struct book_value column_of(const struct book_query *q, int column)
{
	struct book_value v = { .kind = BOOK_NULL };

	q->book->engine->column(q, column, &v);
	return v;
}

int64_t book_i64(const struct book_query *q, int column)
{
	struct book_value v = column_of(q, column);

	return v.kind == BOOK_I64 ? v.i : FT_ABSENT;
}

const char *book_text(struct book_query *q, int column, struct ft_arena *a)
{
	struct book_value v = column_of(q, column);
	char *copy;

	if (v.kind != BOOK_TEXT)
		return NULL;
	copy = ft_arena_text(a, (struct ft_slice){ v.p, v.n });
	if (!copy)
		q->no_room = true;
	return copy;
}

bool book_blob(struct book_query *q, int column, struct ft_arena *a, struct ft_slice *ret)
{
	struct book_value v = column_of(q, column);
	char *copy = ft_arena_alloc(a, v.n + 1); /* never NULL for an empty blob: NULL means not loaded */

	if (!copy || (v.kind != BOOK_BLOB && v.kind != BOOK_NULL)) {
		q->no_room = true;
		return false;
	}
	if (v.n)
		memcpy(copy, v.p, v.n);
	*ret = (struct ft_slice){ copy, v.n };
	return true;
}

enum ft_status book_asked(struct book_query *q, const char *doing, struct ft_error *e)
{
	enum ft_status s = q->no_room ? ft_fail_memory(e, doing) : q->code ? book_fail(q->book, q->code, doing, e) : FT_OK;

	if (q->st)
		q->book->engine->done(q);
	*q = (struct book_query){ .book = q->book };
	return s;
}

enum ft_status book_run(struct book_query *q, const char *doing, struct ft_error *e)
{
	while (book_row(q))
		;
	return book_asked(q, doing, e);
}

enum ft_status book_number(struct book_query *q, const char *doing, int64_t *ret, struct ft_error *e)
{
	int64_t v = FT_ABSENT;
	enum ft_status s;

	if (book_row(q))
		v = book_i64(q, 0);
	s = book_asked(q, doing, e);
	if (s == FT_OK)
		*ret = v;
	return s;
}

enum ft_status book_exec(struct ft_book *b, const char *sql, const char *doing, struct ft_error *e)
{
	int code = b->engine->exec(b, sql);

	return code ? book_fail(b, code, doing, e) : FT_OK;
}

enum ft_status book_fail(const struct ft_book *b, int code, const char *doing, struct ft_error *e)
{
	return b->engine->fail(b, code, doing, e);
}

enum ft_status book_fail_damaged(const struct ft_book *b, struct ft_error *e)
{
	return ft_fail(e, FT_E_STORE,
	               "The book %s is damaged; keep it, and go on with the last backup (fettle book backup makes one).",
	               b->path);
}

enum ft_status book_fail_newer(const struct ft_book *b, int64_t version, struct ft_error *e)
{
	return ft_fail(
		e, FT_E_STORE,
		"The book %s was written by a newer fettle (version %lld of the book, this one knows %d); use the newer program.",
		b->path, (long long)version, BOOK_VERSION);
}

enum ft_status book_begin_read(struct ft_book *b, struct ft_error *e)
{
	return b->engine->begin(b, false, e);
}

/* Takes the right to write at once: a transaction that reads first and writes later could find that
 * another program wrote in between. */
enum ft_status book_begin_write(struct ft_book *b, struct ft_error *e)
{
	return b->engine->begin(b, true, e);
}

enum ft_status book_end(struct ft_book *b, enum ft_status s, const char *doing, struct ft_error *e)
{
	if (s == FT_OK)
		s = book_exec(b, "COMMIT", doing, e);
	/* Some failures (disk full, no memory) have ended the transaction already. */
	if (s != FT_OK && b->engine->in_transaction(b))
		b->engine->exec(b, "ROLLBACK");
	return s;
}
