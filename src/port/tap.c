/* SPDX-License-Identifier: Apache-2.0 */
/* The multi-drop bus through serial adapters: the ninth bit comes as a parity error. Receivers set to space parity
 * hold it for wrong whenever it is 1, and the kernel marks such a byte. */
#include <errno.h>
#include <unistd.h>

#include "inside.h"

#define WORD_NS (11 * INT64_C(1000000000) / 9600) /* MDB/ICP section 2.1: eleven bits at 9600 a second */

enum { PORTION = 256 };

bool ft_tap_mark(struct ft_tap_marks *m, uint8_t byte, uint8_t *ret_byte, bool *ret_mode)
{
	bool marked = m->seen == 2;

	if (m->seen == 0 && byte == 0xff) { /* FF 00 x: marked; FF FF: an FF of its own */
		m->seen = 1;
		return false;
	}
	if (m->seen == 1 && byte == 0) {
		m->seen = 2;
		return false;
	}
	m->seen = 0; /* FF and anything else does not occur; take it for the byte */
	*ret_byte = byte;
	*ret_mode = marked;
	return true;
}

struct taken {
	struct ft_bus_word words[FT_BUS_LINES * PORTION];
	size_t count;
};

/* When a byte was on the line is not known; those of one portion are taken to have come one behind the other up to
 * now. */
static void take(struct taken *t, struct ft_tap_marks *m, enum ft_bus_line line, const uint8_t *bytes, size_t n,
                 int64_t now_ns)
{
	size_t first = t->count;
	uint8_t byte;
	bool mode;

	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w = { .line = line };
		if (!ft_tap_mark(m, bytes[i], &byte, &mode))
			continue;
		w.byte = byte;
		w.mode = mode;
		/* a marked 00 on the controller's line is no address: the line was held, how long is not told */
		if (line == FT_BUS_CONTROLLER && mode && byte == 0)
			w.kind = FT_BUS_BREAK;
		t->words[t->count++] = w;
	}
	for (size_t i = first; i < t->count; i++) {
		t->words[i].start_ns = now_ns - (int64_t)(t->count - i) * WORD_NS;
		t->words[i].end_ns = t->words[i].start_ns + (t->words[i].kind == FT_BUS_BREAK ? 2 : 1) * WORD_NS;
	}
}

/* In order of time, the controller first where they are alike, and never before what was handed on already. */
static void put_in_order(struct taken *t, int64_t *last_ns)
{
	for (size_t i = 1; i < t->count; i++) {
		struct ft_bus_word w = t->words[i];
		size_t k = i;
		for (; k && t->words[k - 1].start_ns > w.start_ns; k--)
			t->words[k] = t->words[k - 1];
		t->words[k] = w;
	}
	for (size_t i = 0; i < t->count; i++) {
		struct ft_bus_word *w = &t->words[i];
		int64_t later = *last_ns - w->start_ns;
		if (later > 0) {
			w->start_ns += later;
			w->end_ns += later;
		}
		*last_ns = w->start_ns;
	}
}

static enum ft_status open_tap(const char *path, struct ft_port **ret, struct ft_error *e)
{
	enum ft_status s = ft_port_open(path, 9600, ret, e);

	if (s == FT_OK && line_marks((*ret)->fd) < 0) {
		*ret = ft_port_close(*ret);
		return ft_fail(e, FT_E_LINE,
		               "The port %s cannot check parity, so it cannot tell the bus's ninth bit; use another adapter.",
		               path);
	}
	return s;
}

static enum ft_status listen_once(struct ft_port *const ports[], struct ft_tap_marks marks[], int64_t began_us,
                                  struct taken *t, struct ft_error *e)
{
	struct pollfd fds[FT_BUS_LINES];
	uint8_t bytes[PORTION];

	t->count = 0;
	for (int i = 0; i < FT_BUS_LINES; i++)
		fds[i] = (struct pollfd){ .fd = ports[i] ? ports[i]->fd : -1, .events = POLLIN };
	if (poll(fds, FT_BUS_LINES, 100) < 0)
		return errno == EINTR ? FT_OK : ft_fail(e, FT_E_LINE, "Waiting for the adapters failed.");
	for (int i = 0; i < FT_BUS_LINES; i++) {
		ssize_t got;
		if (!ports[i] || !fds[i].revents)
			continue;
		got = read(ports[i]->fd, bytes, sizeof bytes);
		if (got < 0 && (errno == EAGAIN || errno == EINTR))
			continue;
		if (got <= 0)
			return port_vanished(ports[i], e);
		take(t, &marks[i], (enum ft_bus_line)i, bytes, (size_t)got, (ft_port_clock() - began_us) * 1000);
	}
	return FT_OK;
}

enum ft_status ft_tap_run(const char *const paths[FT_BUS_LINES], int64_t seconds, const volatile sig_atomic_t *stop,
                          void *to,
                          enum ft_status (*words)(void *to, const struct ft_bus_word *w, size_t n, struct ft_error *e),
                          struct ft_error *e)
{
	struct ft_port *ports[FT_BUS_LINES] = { 0 };
	struct ft_tap_marks marks[FT_BUS_LINES] = { 0 };
	int64_t began = ft_port_clock(), last_ns = 0;
	struct taken t;
	enum ft_status s = FT_OK;

	for (int i = 0; s == FT_OK && i < FT_BUS_LINES; i++)
		if (paths[i])
			s = open_tap(paths[i], &ports[i], e);
	while (s == FT_OK && !(stop && *stop) && ft_port_clock() - began < seconds * FT_SECOND) {
		s = listen_once(ports, marks, began, &t, e);
		put_in_order(&t, &last_ns);
		if (s == FT_OK && t.count)
			s = words(to, t.words, t.count, e);
	}
	for (int i = 0; i < FT_BUS_LINES; i++)
		ft_port_close(ports[i]);
	return s;
}
