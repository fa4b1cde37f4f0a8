/* SPDX-License-Identifier: Apache-2.0 */
/* From a file to a judged capture. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bus.h"

enum { PORTION = 1 << 18 };

bool bus_seconds(struct ft_slice text, int64_t *ret_ns)
{
	struct ft_slice whole, rest = text;
	int64_t s = 0, part = 0;

	if (!ft_slice_split(&rest, '.', &whole) || !whole.n || whole.n > 9 || !ft_slice_i64(whole, &s) || s < 0)
		return false;
	if (rest.p) {
		if (!rest.n || rest.n > 9 || rest.p[0] == '-' || rest.p[0] == '+' || !ft_slice_i64(rest, &part))
			return false;
		for (size_t i = rest.n; i < 9; i++)
			part *= 10;
	}
	*ret_ns = s * INT64_C(1000000000) + part;
	return true;
}

static bool take_raw(struct cli *c, const char *text, struct ft_bus_options *o)
{
	struct ft_slice rest = ft_slice_of(text), one[3] = { 0 };
	int64_t n[3] = { 0, 0, 1 };
	int count = 0;

	while (count < 3 && ft_slice_split(&rest, ':', &one[count]))
		count++;
	for (int i = 0; i < count; i++)
		if (!ft_slice_i64(one[i], &n[i]))
			count = 0;
	if (count >= 2 && count < 3)
		n[2] = (n[1] + 7) / 8;
	if (count < 2 || rest.p || n[0] < 1 || n[0] > 1000000000 || n[1] < 1 || n[1] > FT_BUS_CHANNELS_MAX ||
	    n[2] < (n[1] + 7) / 8 || n[2] > 4) {
		cli_usage(c,
		          "--raw takes samples a second, the number of channels and perhaps the bytes a sample, such as "
		          "1000000:8 or 1000000:8:1, not \"%s\".",
		          text);
		return false;
	}
	o->format = FT_BUS_RAW;
	o->raw_rate = n[0];
	o->raw_channels = (unsigned)n[1];
	o->raw_unit = (unsigned)n[2];
	return true;
}

bool cli_bus_options(struct cli *c, struct ft_bus_options *ret)
{
	static const char *const ways[] = { "none", "controller", "peripheral", "both" };
	const char *invert = cli_value(c, "invert"), *raw = cli_value(c, "raw");
	int way = 0;

	*ret = (struct ft_bus_options){ .controller = cli_value(c, "controller"),
		                            .peripheral = cli_value(c, "peripheral"),
		                            .inverted = { -1, -1 } };
	if (ret->controller && ret->peripheral && strcmp(ret->controller, ret->peripheral) == 0) {
		cli_usage(c, "--controller and --peripheral name the same channel %s; the lines are two wires.",
		          ret->controller);
		return false;
	}
	if (invert) {
		while (way < 4 && strcmp(ways[way], invert) != 0)
			way++;
		if (way == 4) {
			cli_usage(c, "--invert takes controller, peripheral, both or none, not \"%s\".", invert);
			return false;
		}
		ret->inverted[FT_BUS_CONTROLLER] = way & 1;
		ret->inverted[FT_BUS_PERIPHERAL] = way >> 1;
	}
	return !raw || take_raw(c, raw, ret);
}

struct progress {
	const char *path;
	int64_t size, done, said_us;
	bool terminal, drawn;
};

/* A line that stays where it is on a terminal; one every few seconds elsewhere. */
static void say_progress(struct progress *p)
{
	int64_t now = cli_monotonic();
	int64_t mb = p->done / 1000000;

	if (now - p->said_us < (p->terminal ? 200000 : 5000000))
		return;
	p->said_us = now;
	p->drawn |= p->terminal;
	fputs(p->terminal ? "\r\033[K" : "", stderr);
	if (p->size > 0)
		fprintf(stderr, "%s: %lld of %lld MB read (%lld %%)", p->path, (long long)mb, (long long)(p->size / 1000000),
		        (long long)(p->done / (p->size / 100 + 1)));
	else
		fprintf(stderr, "%s: %lld MB read", p->path, (long long)mb);
	fputs(p->terminal ? "" : "\n", stderr);
	fflush(stderr);
}

static enum ft_status cannot_open(struct cli *c, const char *path, int err)
{
	if (err == ENOENT || err == ENOTDIR)
		return ft_fail(&c->error, FT_E_INPUT, "There is no file %s to read as a bus capture; look at the name.", path);
	if (err == EISDIR)
		return ft_fail(&c->error, FT_E_INPUT, "%s is a folder, but a bus capture is one file; name the file in it.",
		               path);
	if (err == EACCES || err == EPERM)
		return ft_fail(&c->error, FT_E_INPUT,
		               "You have no permission to read %s as a bus capture; ask its owner or copy it.", path);
	return ft_fail(&c->error, FT_E_INPUT, "%s cannot be read as a bus capture: %s.", path, strerror(err));
}

/* A file given out in portions, from its beginning again where it has one. */
struct portions {
	struct cli *c;
	const char *path;
	int fd;
	char *portion;
	FILE *aside; /* of a pipe; NULL: none */
	size_t held; /* bytes of the first portion that were read ahead */
	struct progress progress;
};

static ptrdiff_t next_portion(void *from, const void **ret)
{
	struct portions *p = from;
	ssize_t got = (ssize_t)p->held;

	p->held = 0;
	while (!got) {
		got = read(p->fd, p->portion, PORTION);
		if (got >= 0 || errno != EINTR)
			break;
		got = 0;
	}
	if (got < 0)
		cannot_open(p->c, p->path, errno);
	*ret = p->portion;
	p->progress.done += got > 0 ? got : 0;
	say_progress(&p->progress);
	return got;
}

static bool first_portion(void *from)
{
	struct portions *p = from;

	if (p->held) /* nothing was given out yet */
		return true;
	p->progress.done = 0;
	return lseek(p->fd, 0, SEEK_SET) == 0;
}

/* What comes through a pipe is set aside, to be read back and forth. */
static enum ft_status set_aside(struct portions *p)
{
	FILE *f = tmpfile();
	const void *bytes;
	ptrdiff_t got;
	bool good = f != NULL;

	while (good && (got = next_portion(p, &bytes)) != 0) {
		if (got < 0) {
			fclose(f);
			return p->c->error.status;
		}
		good = fwrite(bytes, 1, (size_t)got, f) == (size_t)got;
	}
	if (!good || fflush(f) != 0) {
		int err = errno;
		if (f)
			fclose(f);
		return ft_fail(&p->c->error, FT_E_STORE,
		               "A capture that is read back and forth could not be set aside: %s. Name the file itself.",
		               strerror(err));
	}
	p->aside = f;
	p->fd = fileno(f);
	return FT_OK;
}

static enum ft_status feed_all(struct portions *p, struct ft_bus *b)
{
	struct ft_bus_source source = { p, next_portion, first_portion };
	struct ft_error *e = &p->c->error;
	enum ft_status s = FT_OK;
	const void *bytes;
	ptrdiff_t got = next_portion(p, &bytes);

	if (got > 0 && ft_bus_is_session(bytes, (size_t)got)) {
		p->held = (size_t)got;
		p->progress.done = 0;
		if (lseek(p->fd, 0, SEEK_CUR) < 0)
			s = set_aside(p);
		return s == FT_OK ? ft_bus_feed_session(b, &source, e) : s;
	}
	for (; got > 0 && s == FT_OK; got = s == FT_OK ? next_portion(p, &bytes) : 0)
		s = ft_bus_feed(b, bytes, (size_t)got, e);
	return got < 0 ? e->status : s;
}

static enum ft_status feed_file(struct cli *c, int fd, const char *path, struct ft_bus *b)
{
	struct portions p = { .c = c, .path = path, .fd = fd, .portion = ft_arena_raw(&c->arena, PORTION) };
	enum ft_status s;
	struct stat st;

	if (!p.portion)
		return ft_fail_memory(&c->error, "the bus capture");
	p.progress = (struct progress){ .path = path, .said_us = cli_monotonic(), .terminal = isatty(STDERR_FILENO) };
	p.progress.size = fstat(fd, &st) == 0 && S_ISREG(st.st_mode) ? st.st_size : 0;
	s = feed_all(&p, b);
	if (p.aside)
		fclose(p.aside);
	if (p.progress.drawn)
		fputs("\r\033[K", stderr);
	return s;
}

enum ft_status cli_bus_read(struct cli *c, const char *path, const struct ft_bus_options *o,
                            const struct ft_bus_listener *l, struct ft_findings *f, struct ft_bus **ret_bus,
                            const struct ft_bus_report **ret)
{
	struct ft_bus_options named = *o;
	bool in = strcmp(path, "-") == 0;
	enum ft_status s;
	struct stat st;
	int fd;

	named.name = in ? "standard input" : path;
	if (!*ret_bus && (s = ft_bus_new(&named, l, f, &c->arena, ret_bus, &c->error)) != FT_OK)
		return s;
	fd = in ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
	if (fd < 0)
		return cannot_open(c, path, errno);
	if (fstat(fd, &st) == 0 && S_ISDIR(st.st_mode))
		s = cannot_open(c, path, EISDIR);
	else
		s = feed_file(c, fd, named.name, *ret_bus);
	if (!in)
		close(fd);
	return s == FT_OK ? ft_bus_end(*ret_bus, ret, &c->error) : s;
}
