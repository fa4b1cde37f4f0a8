/* SPDX-License-Identifier: Apache-2.0 */
#include "cli.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

const char *cli_value_nth(const struct cli *c, const char *name, int nth)
{
	for (int i = 0; i < c->given_count; i++)
		if (strcmp(c->given[i].option->name, name) == 0 && nth-- == 0)
			return c->given[i].value;
	return NULL;
}

const char *cli_value(const struct cli *c, const char *name)
{
	for (int i = c->given_count; i-- > 0;)
		if (strcmp(c->given[i].option->name, name) == 0)
			return c->given[i].value;
	return NULL;
}

bool cli_flag(const struct cli *c, const char *name)
{
	return cli_value(c, name) != NULL;
}

bool cli_number(struct cli *c, const char *name, int64_t least, int64_t most, int64_t otherwise, int64_t *ret)
{
	const char *text = cli_value(c, name);
	int64_t v = otherwise;

	if (text && (!ft_slice_i64(ft_slice_of(text), &v) || v < least || v > most)) {
		cli_usage(c, "--%s takes a whole number from %lld to %lld, not \"%s\".", name, (long long)least,
		          (long long)most, text);
		return false;
	}
	*ret = v;
	return true;
}

int cli_usage(struct cli *c, const char *format, ...)
{
	char text[FT_TEXT_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	ft_fail(&c->error, FT_E_USAGE, "%s", text);
	return FT_E_USAGE;
}

void cli_say(const struct cli *c, const char *format, ...)
{
	struct ft_buf out = { 0 };
	char text[FT_TEXT_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	ft_wrap(&out, text, c->columns, 0);
	ft_buf_byte(&out, '\n');
	if (out.status == FT_OK)
		fwrite(out.p, 1, out.n, stdout);
	ft_buf_done(&out);
}

int cli_failed(struct cli *c)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	fprintf(stderr, "fettle: %s\n", c->error.text);
	if (c->json) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "command", c->verb ? c->verb->name : NULL);
		ft_json_text(&j, "verdict", "open");
		ft_json_array(&j, "findings");
		ft_json_array_end(&j);
		ft_json_text(&j, "error", c->error.text);
		ft_json_i64(&j, "exit", ft_exit_code(c->error.status));
		ft_json_object_end(&j);
		ft_buf_byte(&out, '\n');
		fwrite(out.p, 1, out.n, stdout);
		ft_buf_done(&out);
	}
	return ft_exit_code(c->error.status);
}

void cli_document(struct cli *c, struct ft_json *j, struct ft_buf *out, enum ft_verdict verdict,
                  const struct ft_findings *f)
{
	*j = (struct ft_json){ .out = out };
	ft_json_object(j, NULL);
	ft_json_text(j, "command", c->verb->name);
	ft_json_text(j, "verdict", ft_verdict_word(verdict));
	if (f) {
		ft_findings_json(j, f);
	} else {
		ft_json_array(j, "findings");
		ft_json_array_end(j);
	}
}

int cli_document_end(struct cli *c, struct ft_json *j)
{
	ft_json_object_end(j);
	ft_buf_byte(j->out, '\n');
	if (!cli_flush(c, j->out))
		return cli_failed(c);
	ft_buf_done(j->out);
	return FT_OK;
}

bool cli_flush(struct cli *c, struct ft_buf *out)
{
	if (out->status != FT_OK)
		ft_fail_memory(&c->error, "the output");
	else if (out->n && fwrite(out->p, 1, out->n, stdout) != out->n)
		ft_fail(&c->error, FT_E_STORE, "Standard output could not be written: %s.", strerror(errno));
	else {
		ft_buf_clear(out);
		return true;
	}
	ft_buf_done(out); /* whoever fails here is done with it */
	return false;
}

void cli_print_findings(const struct cli *c, const struct ft_findings *f)
{
	struct ft_buf out = { 0 };

	for (int w = FT_FAULT; w >= FT_NOTE; w--)
		for (size_t i = 0; i < f->count; i++)
			if ((int)f->list[i].weight == w)
				ft_finding_text(&out, &f->list[i], c->columns);
	if (f->dropped)
		ft_buf_printf(&out, "  and %zu more that are not listed.\n", f->dropped);
	if (out.n)
		fwrite(out.p, 1, out.n, stdout);
	ft_buf_done(&out);
}

int cli_exit(enum ft_verdict v)
{
	return v == FT_CONTRADICTED;
}

static enum ft_status cannot_read(struct cli *c, const char *path, const char *what, int err)
{
	if (err == ENOENT || err == ENOTDIR)
		return ft_fail(&c->error, FT_E_INPUT, "There is no file %s to read as %s; look at the name.", path, what);
	if (err == EISDIR)
		return ft_fail(&c->error, FT_E_INPUT, "%s is a folder, but %s is one file; name the file in it.", path, what);
	if (err == EACCES || err == EPERM)
		return ft_fail(&c->error, FT_E_INPUT, "You have no permission to read %s as %s; ask its owner or copy it.",
		               path, what);
	return ft_fail(&c->error, FT_E_INPUT, "%s cannot be read as %s: %s.", path, what, strerror(err));
}

static enum ft_status read_all(struct cli *c, int fd, const char *path, const char *what, size_t most, size_t guess,
                               struct ft_slice *ret)
{
	size_t room = guess + 1;
	size_t n = 0;
	char *p = ft_arena_alloc(&c->arena, room);

	for (;;) {
		ssize_t got;
		if (p && n == room) {
			char *bigger = ft_arena_alloc(&c->arena, room * 2);
			if (bigger)
				memcpy(bigger, p, n);
			p = bigger;
			room *= 2;
		}
		if (!p)
			return ft_fail_memory(&c->error, what);
		got = read(fd, p + n, room - n);
		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0)
			return cannot_read(c, path, what, errno);
		if (got == 0)
			break;
		n += (size_t)got;
		if (n > most)
			return ft_fail(&c->error, FT_E_INPUT,
			               "%s is larger than the %zu MB that %s may have; is it the right file?", path, most >> 20,
			               what);
	}
	*ret = (struct ft_slice){ p, n };
	return FT_OK;
}

/* -1 with c->error. */
static int open_file(struct cli *c, const char *path, const char *what, struct stat *st)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);

	if (fd < 0) {
		cannot_read(c, path, what, errno);
	} else if (fstat(fd, st) || S_ISDIR(st->st_mode)) {
		cannot_read(c, path, what, S_ISDIR(st->st_mode) ? EISDIR : errno);
		close(fd);
		fd = -1;
	}
	return fd;
}

enum ft_status cli_read_file(struct cli *c, const char *path, const char *what, size_t most, struct ft_slice *ret)
{
	enum ft_status s;
	struct stat st = { 0 };
	int fd;

	if (strcmp(path, "-") == 0)
		return read_all(c, STDIN_FILENO, "standard input", what, most, 65535, ret);
	fd = open_file(c, path, what, &st);
	if (fd < 0)
		return c->error.status;
	s = read_all(c, fd, path, what, most, st.st_size > 0 && (size_t)st.st_size <= most ? (size_t)st.st_size : 65535,
	             ret);
	close(fd);
	return s;
}

/* How much of it are whole lines: up to the last line end that stands outside quotes. */
static size_t whole_lines(const char *p, size_t n)
{
	size_t whole = 0;
	bool quoted = false;

	if (!memchr(p, '"', n)) {
		const char *last = memrchr(p, '\n', n);
		return last ? (size_t)(last - p) + 1 : 0;
	}
	for (size_t i = 0; i < n; i++) {
		quoted ^= p[i] == '"';
		if (p[i] == '\n' && !quoted)
			whole = i + 1;
	}
	return whole;
}

enum ft_status cli_read_lines(struct cli *c, const char *path, const char *what, cli_take_lines *take, void *to)
{
	enum { PIECE = 1 << 20 };
	enum ft_status s = FT_OK;
	struct stat st = { 0 };
	bool from_input = strcmp(path, "-") == 0, first = true;
	char *p = ft_arena_raw(&c->arena, PIECE);
	size_t n = 0, whole;
	ssize_t got = 1;
	int fd;

	if (!p)
		return ft_fail_memory(&c->error, what);
	fd = from_input ? STDIN_FILENO : open_file(c, path, what, &st);
	if (fd < 0)
		return c->error.status;
	while (s == FT_OK && got) {
		got = read(fd, p + n, PIECE - n);
		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0) {
			s = cannot_read(c, path, what, errno);
			break;
		}
		n += (size_t)got;
		if (got && n < PIECE)
			continue;
		whole = got ? whole_lines(p, n) : n;
		if (got && !whole)
			s = ft_fail(&c->error, FT_E_INPUT, "%s has a line longer than %d kB; it is not such a table.", path,
			            PIECE >> 10);
		else if (whole || first)
			s = take(to, (struct ft_slice){ p, whole }, &c->error);
		first = false;
		memmove(p, p + whole, n - whole);
		n -= whole;
	}
	if (!from_input)
		close(fd);
	return s;
}

static enum ft_status cannot_write(struct cli *c, const char *path, int err)
{
	if (err == ENOSPC || err == EDQUOT)
		return ft_fail(&c->error, FT_E_STORE, "The disk is full: %s was not written; make room and try again.", path);
	if (err == EACCES || err == EPERM || err == EROFS)
		return ft_fail(&c->error, FT_E_STORE, "You have no permission to write %s; choose another place.", path);
	if (err == ENOENT)
		return ft_fail(&c->error, FT_E_STORE, "The folder for %s does not exist; make it or choose another.", path);
	return ft_fail(&c->error, FT_E_STORE, "%s could not be written: %s.", path, strerror(err));
}

static int write_all(int fd, struct ft_slice b)
{
	while (b.n) {
		ssize_t put = write(fd, b.p, b.n);
		if (put < 0 && errno == EINTR)
			continue;
		if (put < 0)
			return -1;
		b.p += put;
		b.n -= (size_t)put;
	}
	return 0;
}

/* As the file that is replaced, else as the person's umask wants it: mkostemp gives a private file. */
static mode_t mode_for_new(const char *path)
{
	struct stat st;
	mode_t mask;

	if (stat(path, &st) == 0)
		return st.st_mode & 0777;
	mask = umask(0);
	umask(mask);
	return 0666 & ~mask;
}

/* The new name itself must outlast a power cut. Some file systems flush no folders; then there is
 * nothing more to do. */
static void flush_folder(struct cli *c, const char *path)
{
	char *copy = ft_arena_text(&c->arena, ft_slice_of(path));
	int fd = copy ? open(dirname(copy), O_RDONLY | O_CLOEXEC | O_DIRECTORY) : -1;

	if (fd >= 0) {
		(void)fsync(fd);
		close(fd);
	}
}

bool cli_can_write(struct cli *c, const char *path)
{
	char *copy = ft_arena_text(&c->arena, ft_slice_of(path));
	struct stat st;

	if (strcmp(path, "-") == 0)
		return true;
	if (stat(path, &st) == 0 && S_ISDIR(st.st_mode))
		ft_fail(&c->error, FT_E_STORE, "%s is a folder; name a file in it.", path);
	else if (!copy)
		ft_fail_memory(&c->error, "the names of the files");
	else if (stat(copy = dirname(copy), &st) != 0 || !S_ISDIR(st.st_mode))
		ft_fail(&c->error, FT_E_STORE, "The folder for %s does not exist; make it or choose another.", path);
	else if (access(copy, W_OK) != 0)
		ft_fail(&c->error, FT_E_STORE, "You have no permission to write %s; choose another place.", path);
	else
		return true;
	return false;
}

/* Does the file hold anything that these bytes do not begin with? What cannot be read may be anything. */
static bool holds_other(const char *path, struct ft_slice bytes)
{
	char piece[65536];
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
	ssize_t got = fd < 0 ? -1 : 0;
	size_t at = 0;

	while (fd >= 0 && (got = read(fd, piece, sizeof piece)) > 0) {
		if ((size_t)got > bytes.n - at || memcmp(bytes.p + at, piece, (size_t)got) != 0)
			break;
		at += (size_t)got;
	}
	if (fd >= 0)
		close(fd);
	return got != 0;
}

/* "before.dts" -> "before.2.dts" */
static char *numbered(struct cli *c, const char *path, int n)
{
	const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path, *dot = strrchr(name, '.');
	int stem = (int)(dot && dot != name ? dot - path : (ptrdiff_t)strlen(path));

	return ft_arena_printf(&c->arena, "%.*s.%d%s", stem, path, n, path + stem);
}

/* Gives what the file holds another name; under its own it stays until the new bytes are renamed over it, so that
 * there is no moment in which either is lost. 0, or why not. */
static int keep_earlier(struct cli *c, const char *path, const char **ret_kept)
{
	enum { MOST = 9999 }; /* ours: reads of one name in one folder */

	for (int n = 1; n <= MOST; n++) {
		char *kept = numbered(c, path, n);
		int fd;
		*ret_kept = kept;
		if (!kept)
			return ENOMEM;
		if (link(path, kept) == 0)
			return 0;
		if (errno == EEXIST)
			continue;
		/* a disk without hard links, such as a FAT stick: the name is taken first, so that nobody else has it */
		fd = open(kept, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
		if (fd < 0 && errno == EEXIST)
			continue;
		if (fd < 0)
			return errno;
		close(fd);
		if (rename(path, kept) == 0)
			return 0;
		fd = errno;
		unlink(kept);
		return fd;
	}
	return EEXIST;
}

static int rename_over(struct cli *c, const char *beside, const char *path, struct ft_slice bytes, bool keep,
                       const char **ret_kept)
{
	struct stat st;
	int err = 0;

	if (keep && lstat(path, &st) == 0 && holds_other(path, bytes))
		err = keep_earlier(c, path, ret_kept);
	return err ? err : rename(beside, path) ? errno : 0;
}

static enum ft_status write_file(struct cli *c, const char *path, struct ft_slice bytes, bool keep)
{
	const char *kept = NULL;
	struct stat st;
	char *beside;
	int fd, err = 0;

	if (strcmp(path, "-") == 0)
		return fflush(stdout) || write_all(STDOUT_FILENO, bytes) ? cannot_write(c, "standard output", errno) : FT_OK;
	if (stat(path, &st) == 0 && S_ISDIR(st.st_mode))
		return ft_fail(&c->error, FT_E_STORE, "%s is a folder; name a file in it.", path);
	if (stat(path, &st) == 0 && !S_ISREG(st.st_mode)) { /* a device or pipe cannot be renamed over */
		fd = open(path, O_WRONLY | O_CLOEXEC | O_NOCTTY);
		if (fd < 0)
			return cannot_write(c, path, errno);
		if (write_all(fd, bytes))
			err = errno;
		if (close(fd) && !err)
			err = errno;
		return err ? cannot_write(c, path, err) : FT_OK;
	}
	beside = ft_arena_printf(&c->arena, "%s.part-XXXXXX", path);
	if (!beside)
		return ft_fail_memory(&c->error, path);
	fd = mkostemp(beside, O_CLOEXEC);
	if (fd < 0)
		return cannot_write(c, path, errno);
	if (write_all(fd, bytes) || fchmod(fd, mode_for_new(path)) || fsync(fd))
		err = errno;
	if (close(fd) && !err)
		err = errno;
	if (!err)
		err = rename_over(c, beside, path, bytes, keep, &kept);
	if (err) {
		unlink(beside);
		return cannot_write(c, path, err);
	}
	flush_folder(c, path);
	if (kept)
		fprintf(stderr, "What %s held is kept as %s.\n", path, kept);
	return FT_OK;
}

enum ft_status cli_write_file(struct cli *c, const char *path, struct ft_slice bytes)
{
	return write_file(c, path, bytes, false);
}

enum ft_status cli_write_evidence(struct cli *c, const char *path, struct ft_slice bytes)
{
	return write_file(c, path, bytes, true);
}

const char *cli_book_path(struct cli *c)
{
	const char *env = getenv("FETTLE_BOOK");
	const char *data = getenv("XDG_DATA_HOME");
	const char *home = getenv("HOME");

	if (c->book)
		return c->book;
	if (env && *env)
		return env;
	if (data && *data)
		return ft_arena_printf(&c->arena, "%s/fettle/book.sqlite", data);
	return ft_arena_printf(&c->arena, "%s/.local/share/fettle/book.sqlite", home && *home ? home : ".");
}

int64_t cli_now(int *ret_offset_minutes)
{
	struct timespec t;
	struct tm local;

	clock_gettime(CLOCK_REALTIME, &t);
	localtime_r(&t.tv_sec, &local);
	if (ret_offset_minutes)
		*ret_offset_minutes = (int)(local.tm_gmtoff / 60);
	return t.tv_sec * INT64_C(1000000) + t.tv_nsec / 1000;
}

int64_t cli_monotonic(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * INT64_C(1000000) + t.tv_nsec / 1000;
}
