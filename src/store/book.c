/* SPDX-License-Identifier: Apache-2.0 */
/* The book as a file: opening, looking over, copying. */
#include "book.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

/* A whole quick check reads every page. Up to this size it costs no time a person notices; a larger
 * book is large by its photographs, whose hashes are checked when they are read, so only the tables
 * of words are looked over. */
#define LOOK_OVER_ALL (INT64_C(32) << 20)

struct ft_book *ft_book_free(struct ft_book *b)
{
	if (b) {
		sqlite3_close(b->db); /* takes NULL; every query was ended by whoever asked it */
		free(b->path);
		free(b);
	}
	return NULL;
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
		const char *said = (const char *)sqlite3_column_text(q.st, 0);
		sound &= said && strcmp(said, "ok") == 0;
	}
	if (!sound && q.rc == SQLITE_OK)
		q.rc = SQLITE_CORRUPT;
	return book_asked(&q, "looking over", e);
}

static enum ft_status look_over(struct ft_book *b, struct ft_error *e)
{
	static const char *const tables[] = { "PRAGMA quick_check(visit)", "PRAGMA quick_check(evidence)",
		                                  "PRAGMA quick_check(statement)", "PRAGMA quick_check(waiver)",
		                                  "PRAGMA quick_check(package)" };
	struct book_query q = book_ask(b, "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size");
	int64_t size = 0;
	enum ft_status s = book_number(&q, "looking over", &size, e);

	if (s != FT_OK || size <= LOOK_OVER_ALL)
		return s != FT_OK ? s : look_over_table(b, "PRAGMA quick_check", e);
	for (size_t i = 0; s == FT_OK && i < sizeof tables / sizeof *tables; i++)
		s = look_over_table(b, tables[i], e);
	return s;
}

static enum ft_status connect_as(struct ft_book *b, const char *name, int flags, struct ft_error *e)
{
	int rc;

	sqlite3_close(b->db);
	b->db = NULL;
	rc = sqlite3_open_v2(name, &b->db, flags | SQLITE_OPEN_EXRESCODE, NULL);
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
	return s == FT_OK ? look_over(b, e) : s;
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

enum ft_status ft_book_open(const char *path, enum ft_book_mode mode, struct ft_book **ret, struct ft_error *e)
{
	enum ft_status s = look_at_path(path, mode, e);
	struct ft_book *b = s == FT_OK ? calloc(1, sizeof *b) : NULL;

	if (s != FT_OK)
		return s;
	if (b)
		b->path = strdup(path);
	if (!b || !b->path) {
		ft_book_free(b);
		return ft_fail_memory(e, "opening the book");
	}
	s = connect_book(b, mode, e);
	if (s != FT_OK) {
		ft_book_free(b);
		return s;
	}
	*ret = b;
	return FT_OK;
}

void ft_book_patience(struct ft_book *b, int milliseconds)
{
	sqlite3_busy_timeout(b->db, milliseconds);
}

static enum ft_status check_contents(struct ft_book *b, struct ft_arena *a, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT hash, bytes FROM content");
	enum ft_status s = FT_OK;

	while (s == FT_OK && book_row(&q)) {
		struct ft_hash h = ft_hash_of(sqlite3_column_blob(q.st, 1), (size_t)sqlite3_column_bytes(q.st, 1));
		struct ft_slice stated;
		char text[FT_HASH_TEXT];
		ft_arena_reset(a);
		if (!book_blob(&q, 0, a, &stated))
			break;
		if (stated.n != FT_HASH_BYTES || memcmp(stated.p, h.b, FT_HASH_BYTES) != 0)
			s = ft_fail(
				e, FT_E_STORE,
				"The book %s is damaged: a piece of evidence is not what it was (it has the hash %.16s now); add it again or take the last backup.",
				b->path, ft_hash_text(&h, text));
	}
	if (s != FT_OK) {
		book_asked(&q, "checking", NULL);
		return s;
	}
	return book_asked(&q, "checking", e);
}

enum ft_status ft_book_check(struct ft_book *b, struct ft_arena *a, struct ft_book_state *ret, struct ft_error *e)
{
	struct ft_book_state state = { .version = BOOK_VERSION };
	struct book_query q;
	int64_t broken = FT_ABSENT;
	enum ft_status s = look_over_table(b, "PRAGMA integrity_check", e);

	if (s == FT_OK) {
		q = book_ask(b, "SELECT count(*) FROM pragma_foreign_key_check");
		s = book_number(&q, "checking", &broken, e);
	}
	if (s == FT_OK && broken != 0)
		s = book_fail(b, SQLITE_CORRUPT, "checking", e);
	if (s == FT_OK)
		s = check_contents(b, a, e);
	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "SELECT (SELECT count(*) FROM visit), (SELECT count(*) FROM visit WHERE closed_us IS NULL), "
	             "(SELECT count(*) FROM content), (SELECT coalesce(sum(size), 0) FROM content)");
	if (book_row(&q)) {
		state.visits = book_i64(&q, 0);
		state.open_visits = book_i64(&q, 1);
		state.contents = book_i64(&q, 2);
		state.bytes = book_i64(&q, 3);
	}
	s = book_asked(&q, "checking", e);
	if (s == FT_OK)
		*ret = state;
	return s;
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
	struct ft_book to = { .path = part };
	enum ft_status s = FT_OK;
	int rc = sqlite3_open_v2(part, &to.db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_EXRESCODE, NULL);

	if (rc == SQLITE_OK)
		rc = copy_pages(to.db, b->db);
	if (rc == SQLITE_CANTOPEN || (rc & 0xff) == SQLITE_CANTOPEN)
		s = ft_fail(e, FT_E_STORE,
		            "The backup %s cannot be written there; look whether the folder exists and may be written.", path);
	else if (rc != SQLITE_OK)
		s = book_fail(&to, rc, "copying", e);
	if (sqlite3_close(to.db) != SQLITE_OK && s == FT_OK)
		s = ft_fail(e, FT_E_STORE, "The backup %s could not be finished.", path);
	if (s == FT_OK && (!flush_to_disk(part) || move_new(part, path) != 0))
		s = ft_fail(e, FT_E_STORE, "The backup %s could not be finished: %s.", path, strerror(errno));
	if (s == FT_OK)
		flush_folder(path);
	unlink(part);
	return s;
}

enum ft_status ft_book_backup(struct ft_book *b, const char *path, struct ft_error *e)
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
