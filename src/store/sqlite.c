/* SPDX-License-Identifier: Apache-2.0 */
/* A book in one file: SQLite. */
#include "book.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { APPLICATION = 0x66746c62 }; /* "ftlb" in the header: other programs' databases are told apart */

/* A whole quick check reads every page. Up to this size it costs no time a person notices; a larger
 * book is large by its photographs, whose hashes are checked when they are read, so only the tables
 * of words are looked over. */
#define LOOK_OVER_ALL (INT64_C(32) << 20)

/* ---- queries ---- */

static void ask(struct book_query *q, const char *sql)
{
	sqlite3_stmt *st = NULL;

	q->code = sqlite3_prepare_v2(q->book->db, sql, -1, &st, NULL);
	q->st = st;
}

static int put(struct book_query *q, int at, const struct book_value *v)
{
	switch (v->kind) {
	case BOOK_I64:
		return v->i == FT_ABSENT ? sqlite3_bind_null(q->st, at) : sqlite3_bind_int64(q->st, at, v->i);
	case BOOK_TEXT:
		return sqlite3_bind_text64(q->st, at, v->p, v->n, SQLITE_STATIC, SQLITE_UTF8);
	case BOOK_BLOB:
		return sqlite3_bind_blob64(q->st, at, v->p, v->n, SQLITE_STATIC);
	default:
		return sqlite3_bind_null(q->st, at);
	}
}

static int parameters(const struct book_query *q)
{
	return sqlite3_bind_parameter_count(q->st);
}

static bool row(struct book_query *q)
{
	int rc = sqlite3_step(q->st);

	if (rc != SQLITE_ROW && rc != SQLITE_DONE)
		q->code = rc;
	return rc == SQLITE_ROW;
}

static void column(const struct book_query *q, int column, struct book_value *ret)
{
	*ret = (struct book_value){ .kind = BOOK_NULL };
	switch (sqlite3_column_type(q->st, column)) {
	case SQLITE_INTEGER:
		ret->kind = BOOK_I64;
		ret->i = sqlite3_column_int64(q->st, column);
		return;
	case SQLITE_TEXT:
		ret->kind = BOOK_TEXT;
		ret->p = (const char *)sqlite3_column_text(q->st, column);
		break;
	case SQLITE_BLOB:
		ret->kind = BOOK_BLOB;
		ret->p = sqlite3_column_blob(q->st, column);
		break;
	default:
		return;
	}
	ret->n = (size_t)sqlite3_column_bytes(q->st, column);
	if (!ret->p)
		ret->p = "";
}

static int width(const struct book_query *q)
{
	return sqlite3_column_count(q->st);
}

static const char *label(const struct book_query *q, int column)
{
	return sqlite3_column_name(q->st, column);
}

static void done(struct book_query *q)
{
	sqlite3_finalize(q->st);
}

static int exec(struct ft_book *b, const char *sql)
{
	return sqlite3_exec(b->db, sql, NULL, NULL, NULL);
}

static enum ft_status begin(struct ft_book *b, bool write, struct ft_error *e)
{
	return book_exec(b, write ? "BEGIN IMMEDIATE" : "BEGIN", write ? "changing" : "reading", e);
}

static bool in_transaction(struct ft_book *b)
{
	return !sqlite3_get_autocommit(b->db);
}

static enum ft_status fail(const struct ft_book *b, int rc, const char *doing, struct ft_error *e)
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
		return book_fail_damaged(b, e);
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

/* ---- the file ---- */

/* The name of the file beside the book that its one watcher locks; the caller frees it, NULL without memory. The system
 * lets go of the lock when its program ends; the book itself is SQLite's to lock. */
static char *name_of_lock(const struct ft_book *b)
{
	char *name;

	return asprintf(&name, "%s-watch", b->path) < 0 ? NULL : name;
}

/* Has another taken the file away since it was opened? Then it has been locked for nobody to see. */
static bool is_gone(int fd, const char *name)
{
	struct stat ours, there;

	return fstat(fd, &ours) || stat(name, &there) || ours.st_dev != there.st_dev || ours.st_ino != there.st_ino;
}

static void stand_back(struct ft_book *b)
{
	char *name = b->alone >= 0 ? name_of_lock(b) : NULL;

	if (name && b->is_alone)
		unlink(name);
	free(name);
	if (b->alone >= 0)
		close(b->alone);
	b->alone = -1;
	b->is_alone = false;
}

static enum ft_status alone(struct ft_book *b, bool wait, bool *ret_mine, struct ft_error *e)
{
	char *name = name_of_lock(b);
	enum ft_status s = FT_OK;

	if (!name)
		return ft_fail_memory(e, "watching");
	while (s == FT_OK && !b->is_alone) {
		if (b->alone < 0)
			b->alone = open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644);
		if (b->alone >= 0 && flock(b->alone, wait ? LOCK_EX : LOCK_EX | LOCK_NB) == 0) {
			b->is_alone = !is_gone(b->alone, name);
			if (!b->is_alone)
				stand_back(b);
		} else if (b->alone >= 0 && errno == EWOULDBLOCK) {
			break;
		} else if (b->alone < 0 || errno != EINTR) {
			s = ft_fail(e, FT_E_STORE, "The file %s, which says who watches, cannot be made or locked: %s.", name,
			            strerror(errno));
		}
	}
	free(name);
	*ret_mine = b->is_alone;
	return s;
}

static void close_book(struct ft_book *b)
{
	sqlite3_close(b->db); /* takes NULL; every query was ended by whoever asked it */
	b->db = NULL;
	stand_back(b);
}

static void patience(struct ft_book *b, int milliseconds)
{
	sqlite3_busy_timeout(b->db, milliseconds);
}

static enum ft_status pragma_number(struct ft_book *b, const char *sql, int64_t *ret, struct ft_error *e)
{
	struct book_query q = book_ask(b, sql);

	return book_number(&q, "reading", ret, e);
}

/* Tells a book from an empty file, from another program's database, and from a newer book. */
static enum ft_status known(struct ft_book *b, int64_t *ret_version, struct ft_error *e)
{
	int64_t application = 0, tables = 0, version = 0;
	enum ft_status s = pragma_number(b, "PRAGMA application_id", &application, e);

	if (s == FT_OK)
		s = pragma_number(b, "PRAGMA user_version", &version, e);
	if (s == FT_OK)
		s = pragma_number(b, "SELECT count(*) FROM sqlite_schema", &tables, e);
	if (s != FT_OK)
		return s;
	if (application != APPLICATION && (application != 0 || tables != 0))
		return ft_fail(
			e, FT_E_STORE,
			"%s is a database of some other program, not a book; it was left as it was; look at the name after --book.",
			b->path);
	if (application == APPLICATION && version < 1)
		return book_fail_damaged(b, e);
	*ret_version = version;
	return FT_OK;
}

static enum ft_status step(struct ft_book *b, const char *sql, struct ft_error *e)
{
	return book_exec(b, sql, "bringing up to date", e);
}

static enum ft_status set_version(struct ft_book *b, int version, struct ft_error *e)
{
	char sql[96];

	snprintf(sql, sizeof sql, "PRAGMA user_version = %d; PRAGMA application_id = %d", version, APPLICATION);
	return book_exec(b, sql, "bringing up to date", e);
}

static enum ft_status numbered(struct ft_book *b, const char *table, struct ft_error *e)
{
	(void)b, (void)table, (void)e; /* the next number is one above the highest */
	return FT_OK;
}

static enum ft_status month(struct ft_book *b, int64_t us, struct ft_error *e)
{
	(void)b, (void)us, (void)e; /* all of a table lies together */
	return FT_OK;
}

/* The folders of `path`, made one by one; what cannot be made shows when the file is opened. */
static void make_folders(const char *path)
{
	char *copy = strdup(path);

	for (char *p = copy ? strchr(copy + 1, '/') : NULL; p; p = strchr(p + 1, '/')) {
		*p = 0;
		(void)mkdir(copy, 0755);
		*p = '/';
	}
	free(copy);
}

static enum ft_status look_at_path(const char *path, enum ft_book_mode mode, struct ft_error *e)
{
	struct stat st;

	if (stat(path, &st) == 0) {
		if (S_ISDIR(st.st_mode))
			return ft_fail(e, FT_E_STORE, "%s is a folder; a book is one file, such as %s/book.sqlite.", path, path);
		if (!S_ISREG(st.st_mode))
			return ft_fail(e, FT_E_STORE, "%s is no ordinary file and cannot hold a book; choose another name.", path);
		return FT_OK;
	}
	if (errno == EACCES)
		return ft_fail(e, FT_E_STORE, "You have no permission to reach the book %s; ask its owner.", path);
	if (mode == FT_BOOK_READ)
		return ft_fail(e, FT_E_STORE, "There is no book %s yet; fettle visit open ASSET begins one.", path);
	make_folders(path);
	return FT_OK;
}

/* The switch to a write-ahead log needs the file alone for a moment, and SQLite does not wait for
 * that by itself when two programs begin a book together. */
static enum ft_status settle(struct ft_book *b, struct ft_error *e)
{
	static const char rest[] = "PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; "
							   "PRAGMA cell_size_check = ON";
	int rc = SQLITE_OK;

	for (int waited = 0; waited <= BOOK_PATIENCE_MS; waited += 10) {
		rc = sqlite3_exec(b->db, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
		if ((rc & 0xff) != SQLITE_BUSY)
			break;
		sqlite3_sleep(10);
	}
	if (rc != SQLITE_OK && (rc & 0xff) != SQLITE_READONLY)
		return book_fail(b, rc, "opening", e);
	return book_exec(b, rest, "opening", e);
}

static enum ft_status look_over_table(struct ft_book *b, const char *sql, struct ft_error *e)
{
	struct book_query q = book_ask(b, sql);
	bool sound = true;

	while (book_row(&q)) {
		struct book_value said;
		column(&q, 0, &said);
		sound &= said.kind == BOOK_TEXT && strcmp(said.p, "ok") == 0;
	}
	if (!sound && q.code == SQLITE_OK)
		q.code = SQLITE_CORRUPT;
	return book_asked(&q, "looking over", e);
}

static enum ft_status look_over_quickly(struct ft_book *b, struct ft_error *e)
{
	static const char *const tables[] = { "PRAGMA quick_check(visit)",          "PRAGMA quick_check(evidence)",
		                                  "PRAGMA quick_check(statement)",      "PRAGMA quick_check(waiver)",
		                                  "PRAGMA quick_check(package)",        "PRAGMA quick_check(draft)",
		                                  "PRAGMA quick_check(browser)",        "PRAGMA quick_check(watch_word)",
		                                  "PRAGMA quick_check(watch_exception)" };
	struct book_query q = book_ask(b, "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size");
	int64_t size = 0;
	enum ft_status s = book_number(&q, "looking over", &size, e);

	if (s != FT_OK || size <= LOOK_OVER_ALL)
		return s != FT_OK ? s : look_over_table(b, "PRAGMA quick_check", e);
	for (size_t i = 0; s == FT_OK && i < sizeof tables / sizeof *tables; i++)
		s = look_over_table(b, tables[i], e);
	return s;
}

static enum ft_status look_over(struct ft_book *b, bool whole, struct ft_error *e)
{
	int64_t broken = FT_ABSENT;
	enum ft_status s;

	if (!whole)
		return look_over_quickly(b, e);
	s = look_over_table(b, "PRAGMA integrity_check", e);
	if (s == FT_OK)
		s = pragma_number(b, "SELECT count(*) FROM pragma_foreign_key_check", &broken, e);
	return s == FT_OK && broken != 0 ? book_fail_damaged(b, e) : s;
}

static enum ft_status connect_as(struct ft_book *b, const char *name, int flags, struct ft_error *e)
{
	sqlite3 *db = NULL;
	int rc;

	sqlite3_close(b->db);
	rc = sqlite3_open_v2(name, &db, flags | SQLITE_OPEN_EXRESCODE, NULL);
	b->db = db; /* also of a failure: it holds the reason */
	if (rc != SQLITE_OK)
		return book_fail(b, rc, "opening", e);
	sqlite3_busy_timeout(b->db, BOOK_PATIENCE_MS);
	return FT_OK;
}

/* A book on a medium that cannot be written at all (a write-protected card): SQLite must be told that
 * nobody else writes it either. Only where no log stands beside it. */
static enum ft_status connect_frozen(struct ft_book *b, struct ft_error *e)
{
	struct ft_buf name = { 0 };
	struct stat st;
	enum ft_status s;

	ft_buf_printf(&name, "%s-wal", b->path);
	ft_buf_byte(&name, 0);
	if (name.status != FT_OK || (stat(name.p, &st) == 0 && st.st_size > 0)) {
		ft_buf_done(&name);
		return ft_fail(
			e, FT_E_STORE,
			"The book %s cannot be read from where it lies; copy it and the file %s-wal to a place that can be written.",
			b->path, b->path);
	}
	ft_buf_clear(&name);
	ft_buf_puts(&name, "file:");
	for (const char *p = b->path; *p; p++) {
		if (*p == '?' || *p == '#' || *p == '%')
			ft_buf_printf(&name, "%%%02X", (unsigned)(unsigned char)*p);
		else
			ft_buf_byte(&name, (uint8_t)*p);
	}
	ft_buf_puts(&name, "?immutable=1");
	ft_buf_byte(&name, 0);
	s = name.status != FT_OK ? ft_fail_memory(e, "opening the book")
							 : connect_as(b, name.p, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, e);
	ft_buf_done(&name);
	return s;
}

static enum ft_status make_ready(struct ft_book *b, struct ft_error *e)
{
	enum ft_status s = settle(b, e);

	if (s == FT_OK)
		s = book_bring_up_to_date(b, e);
	/* The bench looked it over when it began; its children, many in a minute, need not do so again. */
	return s == FT_OK && !getenv("FETTLE_BOOK_LOOKED_OVER") ? look_over_quickly(b, e) : s;
}

static enum ft_status connect_book(struct ft_book *b, enum ft_book_mode mode, struct ft_error *e)
{
	struct ft_error first = { 0 };
	enum ft_status s;
	int rc;

	s = connect_as(b, b->path, SQLITE_OPEN_READWRITE | (mode == FT_BOOK_WRITE ? SQLITE_OPEN_CREATE : 0), &first);
	if (s == FT_OK)
		s = make_ready(b, &first);
	rc = b->db ? sqlite3_errcode(b->db) & 0xff : SQLITE_NOMEM;
	if (s != FT_OK && mode == FT_BOOK_READ && (rc == SQLITE_CANTOPEN || rc == SQLITE_READONLY)) {
		s = connect_frozen(b, e);
		return s == FT_OK ? make_ready(b, e) : s;
	}
	return s == FT_OK ? FT_OK : ft_fail(e, s, "%s", first.text);
}

static enum ft_status open_book(struct ft_book *b, enum ft_book_mode mode, struct ft_error *e)
{
	enum ft_status s = look_at_path(b->path, mode, e);

	return s == FT_OK ? connect_book(b, mode, e) : s;
}

static int copy_pages(sqlite3 *to, sqlite3 *from)
{
	sqlite3_backup *copy = sqlite3_backup_init(to, "main", from, "main");
	int rc = SQLITE_OK;

	if (!copy)
		return sqlite3_extended_errcode(to);
	for (int waited = 0; waited <= BOOK_PATIENCE_MS;) {
		rc = sqlite3_backup_step(copy, 1024);
		if (rc == SQLITE_BUSY || rc == SQLITE_LOCKED) {
			sqlite3_sleep(10);
			waited += 10;
		} else if (rc != SQLITE_OK) {
			break;
		}
	}
	sqlite3_backup_finish(copy);
	return rc == SQLITE_DONE ? SQLITE_OK : rc;
}

static bool flush_to_disk(const char *path)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	bool good = fd >= 0 && fsync(fd) == 0;

	if (fd >= 0)
		close(fd);
	return good;
}

/* A new name is safe only when its folder is: without this a power cut may leave a whole file without one.
 * Some file systems flush no folders; then there is nothing more to do. */
static void flush_folder(const char *path)
{
	char *copy = strdup(path);

	if (copy)
		(void)flush_to_disk(dirname(copy));
	free(copy);
}

/* Never replaces what somebody else put there meanwhile, where the file system can promise that. */
static int move_new(const char *from, const char *to)
{
	if (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0)
		return 0;
	return errno == EINVAL || errno == ENOSYS ? rename(from, to) : -1;
}

/* `part` is a path that does not exist yet. */
static enum ft_status backup_into(struct ft_book *b, char *part, const char *path, struct ft_error *e)
{
	struct ft_book to = { .engine = &book_sqlite, .path = part };
	sqlite3 *db = NULL;
	enum ft_status s = FT_OK;
	int rc = sqlite3_open_v2(part, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_EXRESCODE, NULL);

	to.db = db;
	if (rc == SQLITE_OK)
		rc = copy_pages(db, b->db);
	if (rc == SQLITE_CANTOPEN || (rc & 0xff) == SQLITE_CANTOPEN)
		s = ft_fail(e, FT_E_STORE,
		            "The backup %s cannot be written there; look whether the folder exists and may be written.", path);
	else if (rc != SQLITE_OK)
		s = book_fail(&to, rc, "copying", e);
	if (sqlite3_close(db) != SQLITE_OK && s == FT_OK)
		s = ft_fail(e, FT_E_STORE, "The backup %s could not be finished.", path);
	if (s == FT_OK && (!flush_to_disk(part) || move_new(part, path) != 0))
		s = ft_fail(e, FT_E_STORE, "The backup %s could not be finished: %s.", path, strerror(errno));
	if (s == FT_OK)
		flush_folder(path);
	unlink(part);
	return s;
}

static enum ft_status backup(struct ft_book *b, const char *path, struct ft_error *e)
{
	struct ft_buf part = { 0 };
	struct stat st;
	enum ft_status s;

	if (stat(path, &st) == 0)
		return ft_fail(e, FT_E_USAGE, "%s is there already; give the backup a new name, such as one with today's date.",
		               path);
	ft_buf_printf(&part, "%s.part-%ld", path, (long)getpid());
	ft_buf_byte(&part, 0);
	s = part.status != FT_OK ? ft_fail_memory(e, "copying the book") : backup_into(b, part.p, path, e);
	ft_buf_done(&part);
	return s;
}

const struct book_engine book_sqlite = { BOOK_ENGINE_MEMBERS, .alone = alone };
