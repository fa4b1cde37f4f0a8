/* SPDX-License-Identifier: Apache-2.0 */
/* Asking the book: prepared statements, transactions, and failures as sentences. */
#include "book.h"

#include <errno.h>

struct book_query book_ask(struct ft_book *b, const char *sql)
{
	struct book_query q = { .book = b };

	q.rc = sqlite3_prepare_v2(b->db, sql, -1, &q.st, NULL);
	return q;
}

static void bound(struct book_query *q, int rc)
{
	if (q->rc == SQLITE_OK)
		q->rc = rc;
}

void book_put_text(struct book_query *q, const char *text)
{
	q->bound++;
	if (q->st)
		bound(q,
		      text ? sqlite3_bind_text(q->st, q->bound, text, -1, SQLITE_STATIC) : sqlite3_bind_null(q->st, q->bound));
}

void book_put_i64(struct book_query *q, int64_t v)
{
	q->bound++;
	if (q->st)
		bound(q, v != FT_ABSENT ? sqlite3_bind_int64(q->st, q->bound, v) : sqlite3_bind_null(q->st, q->bound));
}

void book_put_blob(struct book_query *q, const void *p, size_t n)
{
	q->bound++;
	if (q->st) /* a NULL pointer would become null, an empty file is an empty blob */
		bound(q, sqlite3_bind_blob64(q->st, q->bound, n ? p : "", n, SQLITE_STATIC));
}

bool book_row(struct book_query *q)
{
	int rc;

	if (q->rc != SQLITE_OK || q->no_room)
		return false;
	rc = sqlite3_step(q->st);
	if (rc == SQLITE_ROW)
		return true;
	if (rc != SQLITE_DONE)
		q->rc = rc;
	return false;
}

int64_t book_i64(const struct book_query *q, int column)
{
	if (sqlite3_column_type(q->st, column) == SQLITE_NULL)
		return FT_ABSENT;
	return sqlite3_column_int64(q->st, column);
}

const char *book_text(struct book_query *q, int column, struct ft_arena *a)
{
	const char *text;
	char *copy;

	if (sqlite3_column_type(q->st, column) == SQLITE_NULL)
		return NULL;
	text = (const char *)sqlite3_column_text(q->st, column);
	copy = text ? ft_arena_text(a, ft_slice_of(text)) : NULL;
	if (!copy)
		q->no_room = true;
	return copy;
}

bool book_blob(struct book_query *q, int column, struct ft_arena *a, struct ft_slice *ret)
{
	const void *p = sqlite3_column_blob(q->st, column);
	size_t n = (size_t)sqlite3_column_bytes(q->st, column);
	char *copy = ft_arena_alloc(a, n + 1); /* never NULL for an empty blob: NULL means not loaded */

	if (!copy || (n && !p)) {
		q->no_room = true;
		return false;
	}
	if (n)
		memcpy(copy, p, n);
	*ret = (struct ft_slice){ copy, n };
	return true;
}

enum ft_status book_asked(struct book_query *q, const char *doing, struct ft_error *e)
{
	int rc = q->no_room ? SQLITE_NOMEM : q->rc;
	enum ft_status s = rc == SQLITE_OK ? FT_OK : book_fail(q->book, rc, doing, e);

	sqlite3_finalize(q->st);
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
	int rc = sqlite3_exec(b->db, sql, NULL, NULL, NULL);

	return rc == SQLITE_OK ? FT_OK : book_fail(b, rc, doing, e);
}

enum ft_status book_fail(const struct ft_book *b, int rc, const char *doing, struct ft_error *e)
{
	const char *path = b->path;
	int os = b->db ? sqlite3_system_errno(b->db) : 0;

	switch (rc & 0xff) {
	case SQLITE_NOMEM:
		return ft_fail_memory(e, doing);
	case SQLITE_NOTADB:
		return ft_fail(e, FT_E_STORE,
		               "%s is not a book; it is some other file, left as it was; look at the name after --book.", path);
	case SQLITE_CORRUPT:
		return ft_fail(
			e, FT_E_STORE,
			"The book %s is damaged; keep it, and go on with the last backup (fettle book backup makes one).", path);
	case SQLITE_BUSY:
	case SQLITE_LOCKED:
		return ft_fail(e, FT_E_STORE,
		               "The book %s is held by another program; nothing was changed; try again when it is done.", path);
	case SQLITE_READONLY:
	case SQLITE_PERM:
		return ft_fail(
			e, FT_E_STORE,
			"The book %s may only be read here; nothing was changed; ask for permission to write it or use another.",
			path);
	case SQLITE_FULL:
		return ft_fail(e, FT_E_STORE, "The disk is full: the book %s was left as it was; make room and try again.",
		               path);
	case SQLITE_CANTOPEN:
		if (os == EACCES || os == EPERM)
			return ft_fail(e, FT_E_STORE, "You have no permission to open the book %s; ask its owner.", path);
		return ft_fail(e, FT_E_STORE, "The book %s cannot be opened: %s.", path,
		               os ? strerror(os) : "its place does not allow it");
	case SQLITE_IOERR:
		if (rc == SQLITE_IOERR_NOMEM)
			return ft_fail_memory(e, doing);
		if (os == ENOSPC || os == EDQUOT)
			return ft_fail(e, FT_E_STORE, "The disk is full: the book %s was left as it was; make room and try again.",
			               path);
		return ft_fail(
			e, FT_E_STORE,
			"The disk failed while %s the book %s (%s); it was left as it was; look at the disk and try again.", doing,
			path, os ? strerror(os) : "read or write error");
	default:
		return ft_fail(e, FT_E_STORE, "The book %s did not allow %s it: %s.", path, doing,
		               b->db ? sqlite3_errmsg(b->db) : sqlite3_errstr(rc));
	}
}

enum ft_status book_begin_read(struct ft_book *b, struct ft_error *e)
{
	return book_exec(b, "BEGIN", "reading", e);
}

/* Takes the right to write at once: a transaction that reads first and writes later could find that
 * another program wrote in between. */
enum ft_status book_begin_write(struct ft_book *b, struct ft_error *e)
{
	return book_exec(b, "BEGIN IMMEDIATE", "changing", e);
}

enum ft_status book_end(struct ft_book *b, enum ft_status s, const char *doing, struct ft_error *e)
{
	if (s == FT_OK)
		s = book_exec(b, "COMMIT", doing, e);
	/* Some failures (disk full, no memory) have ended the transaction already. */
	if (s != FT_OK && !sqlite3_get_autocommit(b->db))
		sqlite3_exec(b->db, "ROLLBACK", NULL, NULL, NULL);
	return s;
}
