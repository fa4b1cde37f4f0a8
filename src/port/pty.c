/* SPDX-License-Identifier: Apache-2.0 */
/* The practice side of a pseudo-terminal: its reader opens the other end like any serial port, and
 * between the two lies a wire (wire.c) that takes its time. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "inside.h"

#define PTY_NAME_MAX 64
#define PTY_BAUD     9600

/* A link left behind by a machine that was killed is replaced; anything else is left alone. */
static enum ft_status make_link(struct ft_port *p, const char *name, struct ft_error *e)
{
	struct stat st;

	if (lstat(name, &st) == 0) {
		char target[PTY_NAME_MAX];
		ssize_t n = S_ISLNK(st.st_mode) ? readlink(name, target, sizeof target) : -1;
		if (n < 9 || memcmp(target, "/dev/pts/", 9) != 0)
			return ft_fail(e, FT_E_LINE, "%s exists and is no link to a practice port; choose another name.", name);
		if (unlink(name) < 0)
			return ft_fail(e, FT_E_LINE, "The old link %s could not be replaced: %s.", name, strerror(errno));
	}
	if (symlink(p->path, name) < 0)
		return ft_fail(e, FT_E_LINE, "The link %s could not be made: %s; choose another place.", name, strerror(errno));
	p->link_name = strdup(name);
	if (!p->link_name) {
		unlink(name);
		return ft_fail_memory(e, "making the practice port");
	}
	return FT_OK;
}

static enum ft_status open_both(struct ft_port *p, int baud, struct ft_error *e)
{
	char name[PTY_NAME_MAX];
	char *path;

	p->fd = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
	if (p->fd < 0 || grantpt(p->fd) < 0 || unlockpt(p->fd) < 0 || ptsname_r(p->fd, name, sizeof name) != 0)
		return ft_fail(e, FT_E_LINE, "This computer gives no pseudo-terminal for the practice port: %s.",
		               strerror(errno));
	path = strdup(name);
	if (!path)
		return ft_fail_memory(e, "making the practice port");
	free(p->path);
	p->path = path;
	p->kept = open(name, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
	/* Raw from the start: a terminal that echoes would answer for the reader. */
	if (p->kept < 0 || line_raw(p->kept, baud) < 0)
		return ft_fail(e, FT_E_LINE, "The practice port %s could not be set up: %s.", name, strerror(errno));
	return FT_OK;
}

enum ft_status ft_port_serve(const struct ft_pty_settings *s, struct ft_port **ret, struct ft_error *e)
{
	struct ft_port *p = port_new("", e);
	enum ft_status status;

	if (!p)
		return FT_E_MEMORY;
	p->baud = s->baud ? s->baud : PTY_BAUD;
	p->wire = malloc(sizeof *p->wire);
	if (p->wire) {
		ft_wire_init(p->wire, s->paced, p->baud, &s->faults);
		status = open_both(p, p->baud, e);
	} else {
		status = ft_fail_memory(e, "making the practice port");
	}
	if (status == FT_OK && s->link_name)
		status = make_link(p, s->link_name, e);
	if (status != FT_OK) {
		ft_port_close(p);
		return status;
	}
	*ret = p;
	return FT_OK;
}

/* Hands over what has arrived at the reader. What its buffer does not take is lost, as in a UART. */
void pty_release(struct ft_port *p, int64_t now_us)
{
	uint8_t bytes[256];
	size_t n;

	if (!p->wire->out.count || p->wire->out.due_us[p->wire->out.head] > now_us)
		return;
	int baud = line_baud_get(p->fd);
	while ((n = ft_wire_at_peer(p->wire, bytes, sizeof bytes, baud, now_us)) > 0) {
		ssize_t put = write(p->fd, bytes, n);
		if (put < 0 && errno != EAGAIN && errno != EINTR)
			return;
	}
}

ssize_t pty_take(struct ft_port *p, uint8_t *ret, size_t room, int64_t now_us)
{
	uint8_t bytes[512];
	size_t free_room = ft_wire_room(&p->wire->in);

	pty_release(p, now_us);
	if (free_room) {
		ssize_t n = read(p->fd, bytes, free_room < sizeof bytes ? free_room : sizeof bytes);
		if (n > 0)
			ft_wire_peer_sends(p->wire, bytes, (size_t)n, line_baud_get(p->fd), now_us);
		else if (n < 0 && errno != EAGAIN && errno != EINTR)
			return -1;
	}
	return (ssize_t)ft_wire_at_us(p->wire, ret, room, now_us);
}
