/* SPDX-License-Identifier: Apache-2.0 */
/* Line settings by the kernel's termios2, whose speeds are plain numbers. This file must not see
 * <termios.h>, which declares another struct under the same name. */
#include <asm/termbits.h>
#include <errno.h>
#include <stdlib.h>
#include <sys/ioctl.h>

#include "inside.h"

struct line_settings {
	struct termios2 t;
};

struct line_settings *line_settings_get(int fd)
{
	struct line_settings *s = malloc(sizeof *s);

	if (s && ioctl(fd, TCGETS2, &s->t) < 0) {
		int err = errno;
		free(s);
		errno = err;
		return NULL;
	}
	return s;
}

int line_settings_put(int fd, const struct line_settings *s)
{
	return ioctl(fd, TCSETS2, &s->t);
}

static void speed(struct termios2 *t, int baud)
{
	t->c_cflag &= ~(tcflag_t)(CBAUD | CBAUD << IBSHIFT);
	t->c_cflag |= BOTHER | BOTHER << IBSHIFT;
	t->c_ispeed = t->c_ospeed = (speed_t)baud;
}

int line_raw(int fd, int baud)
{
	struct termios2 t;

	if (ioctl(fd, TCGETS2, &t) < 0)
		return -1;
	t.c_iflag = IGNBRK;
	t.c_oflag = 0;
	t.c_lflag = 0;
	t.c_cflag &= ~(tcflag_t)(CSIZE | PARENB | CSTOPB | CRTSCTS);
	t.c_cflag |= CS8 | CREAD | CLOCAL;
	t.c_cc[VMIN] = 1; /* so that a read of nothing means that the port is gone */
	t.c_cc[VTIME] = 0;
	speed(&t, baud);
	return ioctl(fd, TCSETS2, &t);
}

int line_marks(int fd)
{
	struct termios2 t;

	if (ioctl(fd, TCGETS2, &t) < 0)
		return -1;
	t.c_iflag = INPCK | PARMRK;
	t.c_cflag &= ~(tcflag_t)PARODD;
	t.c_cflag |= PARENB | CMSPAR;
	if (ioctl(fd, TCSETS2, &t) < 0 || ioctl(fd, TCGETS2, &t) < 0)
		return -1;
	return t.c_cflag & PARENB && t.c_cflag & CMSPAR ? 0 : -1;
}

int line_baud_set(int fd, int baud)
{
	struct termios2 t;

	if (ioctl(fd, TCGETS2, &t) < 0)
		return -1;
	speed(&t, baud);
	return ioctl(fd, TCSETSW2, &t);
}

int line_baud_get(int fd)
{
	struct termios2 t;

	return ioctl(fd, TCGETS2, &t) < 0 ? -1 : (int)t.c_ospeed;
}

void line_drain(int fd)
{
	ioctl(fd, TCSBRK, 1); /* 1: no break, only wait */
}

void line_flush(int fd)
{
	ioctl(fd, TCFLSH, TCIOFLUSH);
}
