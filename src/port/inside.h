/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of this room share. */
#ifndef FETTLE_PORT_INSIDE_H
#define FETTLE_PORT_INSIDE_H

#include "fettle/port.h"

struct line_settings; /* struct termios2 of the kernel, known to line.c alone */

struct ft_port {
	int fd;
	int kept; /* served: our own hold on the reader's end, so that it never hangs up; else -1 */
	int baud;
	char *path;
	char *link_name;              /* served: symbolic link to remove; NULL: none */
	struct line_settings *before; /* opened: how we found it */
	struct ft_wire *wire;         /* served only */
	bool full;                    /* the last write did not take all: poll for room */
};

/* line.c: the kernel's own line settings, which know any rate (struct termios2, BOTHER). */
struct line_settings *line_settings_get(int fd); /* heap; NULL with errno */
int line_settings_put(int fd, const struct line_settings *s);
int line_raw(int fd, int baud);      /* raw, 8N1, no flow control; 0 or -1 with errno */
int line_marks(int fd);              /* space parity, wrong bytes marked; -1 where the device does not take it */
int line_baud_set(int fd, int baud); /* after what was written has left */
int line_baud_get(int fd);           /* output rate, also through the master of a pseudo-terminal; -1 */
void line_drain(int fd);
void line_flush(int fd);

/* device.c */
struct ft_port *port_new(const char *path, struct ft_error *e);
enum ft_status port_vanished(const struct ft_port *p, struct ft_error *e);

/* loop.c: bytes that have come, and how many bytes went and when the last of them leaves the line; -1 when the port is
 * gone. */
ssize_t port_take(struct ft_port *p, uint8_t *ret, size_t room, int64_t now_us);
ssize_t port_give(struct ft_port *p, const uint8_t *bytes, size_t n, int64_t now_us, int64_t *free_us);

/* pty.c */
void pty_release(struct ft_port *p, int64_t now_us);
/* Bytes that have arrived, from the peer through the wire; -1 with errno. */
ssize_t pty_take(struct ft_port *p, uint8_t *ret, size_t room, int64_t now_us);

#endif
