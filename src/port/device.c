/* SPDX-License-Identifier: Apache-2.0 */
/* Opening, holding and giving back a serial device. A pseudo-terminal is one of them. */
#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <time.h>
#include <unistd.h>

#include "inside.h"

/* Numbers of pseudo-terminals, from the kernel's list of device numbers. */
#define PTY_MAJOR_FIRST 136
#define PTY_MAJOR_LAST  143

/* A rate this far off still reads well: half a bit in ten, with margin for the other end. */
#define RATE_OFF_PERMILLE FT_WIRE_RATE_PERMILLE

int64_t ft_port_clock(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * FT_SECOND + t.tv_nsec / 1000;
}

struct ft_port *port_new(const char *path, struct ft_error *e)
{
	struct ft_port *p = calloc(1, sizeof *p);

	if (p) {
		p->fd = p->kept = -1;
		p->path = strdup(path);
	}
	if (!p || !p->path) {
		ft_fail_memory(e, "opening the port");
		return ft_port_close(p);
	}
	return p;
}

static enum ft_status no_permission(const char *path, const struct stat *st, struct ft_error *e)
{
	const struct group *g = getgrgid(st->st_gid);

	if (g && st->st_mode & S_IWGRP && st->st_gid != 0)
		return ft_fail(e, FT_E_LINE,
		               "You may not use %s: it is open to the group %s only; have yourself added "
		               "(sudo usermod -aG %s YOUR-NAME), log out and in, and try again.",
		               path, g->gr_name, g->gr_name);
	return ft_fail(e, FT_E_LINE, "You may not use %s: its owner (%s) lets nobody else; ask who runs this computer.",
	               path, g ? g->gr_name : "another user");
}

static enum ft_status cannot_open(const char *path, const struct stat *st, int err, struct ft_error *e)
{
	switch (err) {
	case ENOENT:
	case ENOTDIR:
		return ft_fail(e, FT_E_LINE, "There is no port %s; plug the adapter in, then fettle ports lists what is there.",
		               path);
	case EACCES:
	case EPERM:
		return no_permission(path, st, e);
	case EBUSY:
	case EWOULDBLOCK:
		return ft_fail(e, FT_E_LINE, "The port %s is in use by another program; close that and try again.", path);
	case ENXIO:
	case ENODEV:
	case EIO:
		return ft_fail(e, FT_E_LINE,
		               "Nothing answers behind %s; the adapter is unplugged or this port is only a name. "
		               "fettle ports lists what is there.",
		               path);
	default:
		return ft_fail(e, FT_E_LINE, "The port %s could not be opened: %s.", path, strerror(err));
	}
}

static enum ft_status look_first(const char *path, struct stat *st, struct ft_error *e)
{
	memset(st, 0, sizeof *st);
	if (stat(path, st) < 0) {
		if (errno == EACCES)
			return ft_fail(e, FT_E_LINE, "You may not look at %s; ask who runs this computer.", path);
		return cannot_open(path, st, errno, e);
	}
	if (S_ISDIR(st->st_mode))
		return ft_fail(e, FT_E_LINE, "%s is a folder, not a serial port; fettle ports lists the ports.", path);
	if (S_ISREG(st->st_mode))
		return ft_fail(e, FT_E_LINE,
		               "%s is a file, not a serial port; fettle ports lists the ports. "
		               "A trace of an earlier read is read with --replay.",
		               path);
	if (!S_ISCHR(st->st_mode))
		return ft_fail(e, FT_E_LINE, "%s is not a serial port; fettle ports lists the ports.", path);
	return FT_OK;
}

static enum ft_status take_rate(struct ft_port *p, int baud, struct ft_error *e)
{
	int64_t got = line_baud_get(p->fd);
	int64_t off = got - baud;

	if ((off < 0 ? -off : off) * 1000 > (int64_t)baud * RATE_OFF_PERMILLE)
		return ft_fail(e, FT_E_LINE,
		               "The port %s cannot run at %d bit/s; it offers %lld. Use another adapter or another --baud.",
		               p->path, baud, (long long)got);
	p->baud = baud;
	return FT_OK;
}

static enum ft_status set_up(struct ft_port *p, const struct stat *st, int baud, struct ft_error *e)
{
	int lines = TIOCM_DTR | TIOCM_RTS;
	unsigned major_number = major(st->st_rdev);

	if (!isatty(p->fd)) {
		if (errno == EIO || errno == ENODEV || errno == ENXIO)
			return cannot_open(p->path, st, errno, e);
		return ft_fail(e, FT_E_LINE, "%s is not a serial port; fettle ports lists the ports.", p->path);
	}
	if (flock(p->fd, LOCK_EX | LOCK_NB) < 0)
		return cannot_open(p->path, st, errno, e);
	/* The lock keeps out programs that ask; this keeps out the others. Not on a pseudo-terminal: there
	 * the mark outlives a reader that was killed, as long as the other end is held open. */
	if (major_number < PTY_MAJOR_FIRST || major_number > PTY_MAJOR_LAST)
		ioctl(p->fd, TIOCEXCL);
	p->before = line_settings_get(p->fd);
	if (!p->before || line_raw(p->fd, baud) < 0) {
		if (errno == EINVAL)
			return ft_fail(e, FT_E_LINE, "The port %s cannot run at %d bit/s; use another adapter or another --baud.",
			               p->path, baud);
		return cannot_open(p->path, st, errno, e);
	}
	ioctl(p->fd, TIOCMBIS, &lines); /* adapters that live on these lines need them; a pseudo-terminal has none */
	line_flush(p->fd);
	return take_rate(p, baud, e);
}

enum ft_status ft_port_open(const char *path, int baud, struct ft_port **ret, struct ft_error *e)
{
	struct ft_port *p;
	enum ft_status s;
	struct stat st;

	s = look_first(path, &st, e);
	if (s != FT_OK)
		return s;
	p = port_new(path, e);
	if (!p)
		return FT_E_MEMORY;
	/* Not blocking: a modem line that is down must not hold us up. */
	p->fd = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
	s = p->fd < 0 ? cannot_open(path, &st, errno, e) : set_up(p, &st, baud, e);
	if (s != FT_OK) {
		ft_port_close(p);
		return s;
	}
	*ret = p;
	return FT_OK;
}

enum ft_status port_vanished(const struct ft_port *p, struct ft_error *e)
{
	return ft_fail(e, FT_E_LINE,
	               "The port %s went away in the middle of the work; was the adapter pulled out? "
	               "Plug it in firmly and read again.",
	               p->path);
}

enum ft_status ft_port_rate(struct ft_port *p, int baud, struct ft_error *e)
{
	if (p->wire) {
		p->wire->our_baud = p->baud = baud;
		return FT_OK;
	}
	if (line_baud_set(p->fd, baud) < 0) {
		if (errno == EIO || errno == ENXIO || errno == ENODEV)
			return port_vanished(p, e);
		return ft_fail(e, FT_E_LINE, "The port %s cannot run at %d bit/s: %s; use another adapter or another --baud.",
		               p->path, baud, strerror(errno));
	}
	return take_rate(p, baud, e);
}

/* Only our own link: another practice machine may have taken the name since. */
static void remove_link(const struct ft_port *p)
{
	char target[256];
	ssize_t n = readlink(p->link_name, target, sizeof target);

	if (n > 0 && (size_t)n == strlen(p->path) && memcmp(target, p->path, (size_t)n) == 0)
		unlink(p->link_name);
}

struct ft_port *ft_port_close(struct ft_port *p)
{
	if (!p)
		return NULL;
	if (p->before) {
		line_drain(p->fd);
		line_settings_put(p->fd, p->before);
		ioctl(p->fd, TIOCNXCL);
	}
	if (p->link_name)
		remove_link(p);
	if (p->kept >= 0)
		close(p->kept);
	if (p->fd >= 0)
		close(p->fd);
	free(p->before);
	free(p->wire);
	free(p->link_name);
	free(p->path);
	free(p);
	return NULL;
}

const char *ft_port_path(const struct ft_port *p)
{
	return p->path;
}

struct ft_wire *ft_port_wire(struct ft_port *p)
{
	return p->wire;
}
