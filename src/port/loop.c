/* SPDX-License-Identifier: Apache-2.0 */
/* The loop that owns the file descriptor: the same for every link, both roles, real ports and
 * practice ports. */
#include <errno.h>
#include <time.h>
#include <unistd.h>

#include "inside.h"

#define TAKE_MAX    4096
#define ROUNDS_MAX  64                        /* ours: a peer that never stops must not keep us from the clock */
#define POLITE_US   INT64_C(1000000)          /* ours: time for the last words after a stop */
#define WAIT_MAX_US (INT64_C(60) * FT_SECOND) /* ours: how long one wait may last at most */

struct pollfd ft_port_poll(const struct ft_port *p)
{
	return (struct pollfd){ .fd = p->fd, .events = (short)(POLLIN | (p->full ? POLLOUT : 0)) };
}

int ft_port_wait(struct pollfd *fds, nfds_t n, int64_t due_us, const sigset_t *mask)
{
	int64_t left = due_us == FT_NEVER ? WAIT_MAX_US : due_us - ft_port_clock();
	struct timespec t;

	if (left < 0)
		left = 0;
	if (left > WAIT_MAX_US)
		left = WAIT_MAX_US;
	t.tv_sec = left / FT_SECOND;
	t.tv_nsec = left % FT_SECOND * 1000;
	return ppoll(fds, n, &t, mask);
}

ssize_t port_take(struct ft_port *p, uint8_t *ret, size_t room, int64_t now_us)
{
	ssize_t n;

	if (p->wire)
		return pty_take(p, ret, room, now_us);
	n = read(p->fd, ret, room);
	if (n < 0 && (errno == EAGAIN || errno == EINTR))
		return 0;
	return n == 0 ? -1 : n; /* end of file on a line: the other side hung up or the adapter is gone */
}

ssize_t port_give(struct ft_port *p, const uint8_t *bytes, size_t n, int64_t now_us, int64_t *free_us)
{
	ssize_t put;

	if (p->wire) {
		size_t room = ft_wire_room(&p->wire->out);
		if (n > room)
			n = room;
		if (n)
			*free_us = ft_wire_we_send(p->wire, bytes, n, now_us);
		pty_release(p, now_us);
		return (ssize_t)n;
	}
	put = write(p->fd, bytes, n);
	p->full = put < (ssize_t)n;
	if (put < 0)
		return errno == EAGAIN || errno == EINTR ? 0 : -1;
	if (*free_us < now_us)
		*free_us = now_us;
	*free_us += (put * FT_WIRE_BITS * FT_SECOND + p->baud - 1) / p->baud;
	return put;
}

static bool carries_on(enum ft_link_event_kind kind)
{
	return kind == FT_LINK_EV_SPEAKS || kind == FT_LINK_EV_PEER || kind == FT_LINK_EV_WANT_FILE ||
		kind == FT_LINK_EV_BLOCK || kind == FT_LINK_EV_ACKED || kind == FT_LINK_EV_DONE;
}

static void take_events(struct ft_port_session *s, int64_t now_us)
{
	struct ft_link_event ev;

	while (ft_link_next(s->link, &ev)) {
		if (ev.kind == FT_LINK_EV_BAUD)
			s->rate_next = (int)ev.number;
		if (ev.kind == FT_LINK_EV_DONE)
			s->done = true;
		if (carries_on(ev.kind))
			s->progress_us = now_us;
		if (s->event)
			s->event(s->context, &ev);
	}
}

static void feed(struct ft_port_session *s, const uint8_t *p, size_t n, int64_t now_us)
{
	if (s->trace)
		s->trace(s->context, false, p, n, now_us);
	while (n) {
		size_t used = ft_link_feed(s->link, p, n, now_us);
		take_events(s, now_us);
		p += used;
		n -= used;
	}
}

/* The new rate counts from the moment the last byte sent at the old one has left. */
static enum ft_status change_rate(struct ft_port_session *s, int64_t now_us, struct ft_error *e)
{
	int baud = s->rate_next;

	if (!baud || now_us < s->free_us)
		return FT_OK;
	s->rate_next = 0;
	return ft_port_rate(s->port, baud, e);
}

/* 1: something was sent, 0: nothing, -1: the port is gone. */
static int speak(struct ft_port_session *s, int64_t now_us)
{
	const uint8_t *p;
	size_t n;
	ssize_t put;

	if (s->rate_next)
		return 0;
	p = ft_link_out(s->link, &n, now_us);
	if (!p || !n)
		return 0;
	put = port_give(s->port, p, n, now_us, &s->free_us);
	if (put <= 0)
		return (int)put;
	if (s->trace)
		s->trace(s->context, true, p, (size_t)put, now_us);
	ft_link_sent(s->link, (size_t)put, s->free_us);
	take_events(s, now_us);
	return 1;
}

static int64_t next_due(const struct ft_port_session *s)
{
	int64_t due = ft_link_due(s->link);

	if (s->rate_next && s->free_us < due)
		due = s->free_us;
	if (s->port->wire && ft_wire_due(s->port->wire) < due)
		due = ft_wire_due(s->port->wire);
	return due;
}

enum ft_status ft_port_step(struct ft_port_session *s, int64_t now_us, int64_t *ret_due_us, struct ft_error *e)
{
	uint8_t bytes[TAKE_MAX];

	for (int round = 0; round < ROUNDS_MAX; round++) {
		enum ft_status status = change_rate(s, now_us, e);
		ssize_t n;
		int spoke;
		if (status != FT_OK)
			return status;
		n = port_take(s->port, bytes, sizeof bytes, now_us);
		if (n < 0)
			return port_vanished(s->port, e);
		if (n > 0)
			feed(s, bytes, (size_t)n, now_us);
		ft_link_tick(s->link, now_us);
		take_events(s, now_us);
		spoke = speak(s, now_us);
		if (spoke < 0)
			return port_vanished(s->port, e);
		if (n == 0 && spoke == 0)
			break;
	}
	*ret_due_us = next_due(s);
	return FT_OK;
}

/* The engine has ended; are its last words on their way still? */
static bool words_left(const struct ft_port_session *s, int64_t now_us)
{
	size_t n;

	return now_us < s->free_us || ft_link_out(s->link, &n, now_us);
}

static enum ft_port_end conclude(struct ft_port_session *s, enum ft_port_end why, int64_t quiet_us, struct ft_error *e)
{
	const struct ft_link_stats *st = ft_link_stats(s->link);

	if (why == FT_PORT_STOPPED) {
		ft_fail(e, FT_E_LINE, "The read was stopped by hand after %llu bytes of the audit in %u blocks.",
		        (unsigned long long)st->text_bytes, st->blocks);
	} else if (why == FT_PORT_QUIET && st->blocks) {
		ft_fail(e, FT_E_LINE,
		        "The machine went quiet after %llu bytes of the audit in %u blocks: nothing useful came for %lld s. "
		        "Look whether the plug sits firmly and the machine still runs, then read again.",
		        (unsigned long long)st->text_bytes, st->blocks, (long long)(quiet_us / FT_SECOND));
	} else if (why == FT_PORT_QUIET) {
		ft_fail(e, FT_E_LINE,
		        "Nothing useful came from %s for %lld s. Is the machine on, the plug fully home, and does the "
		        "machine speak %s?",
		        s->port->path, (long long)(quiet_us / FT_SECOND),
		        ft_link_kind_of(s->link) == FT_LINK_AUTO ? "DEX/UCS or DDCMP"
		                                                 : ft_link_kind_word(ft_link_kind_of(s->link)));
	} else if (!s->done) {
		ft_link_failure(s->link, e);
		return FT_PORT_FAILED;
	}
	return why;
}

enum ft_port_end ft_port_run(struct ft_port_session *s, const struct ft_port_limits *limits, struct ft_error *e)
{
	struct pollfd fds[2] = { { .fd = -1 }, { .fd = -1 } };
	enum ft_port_end why = FT_PORT_DONE;
	int64_t last = FT_NEVER; /* when even the last words must be out */
	int64_t now = s->progress_us = ft_port_clock();
	int64_t beat = now;

	for (;;) {
		int64_t due = FT_NEVER;
		if (ft_port_step(s, now, &due, e) != FT_OK)
			return FT_PORT_BROKEN;
		if (last == FT_NEVER && !ft_link_ended(s->link)) {
			if (limits->stop && *limits->stop)
				why = FT_PORT_STOPPED;
			else if (limits->quiet_us && now - s->progress_us >= limits->quiet_us)
				why = FT_PORT_QUIET;
			if (why != FT_PORT_DONE) {
				ft_link_abort(s->link, now);
				last = now + POLITE_US;
				continue;
			}
		}
		if (last == FT_NEVER && ft_link_ended(s->link))
			last = now + POLITE_US;
		if (now >= last || (ft_link_ended(s->link) && !words_left(s, now)))
			return conclude(s, why, limits->quiet_us, e);
		if (limits->beat && (!limits->beat_us || now >= beat)) {
			limits->beat(s->context, ft_link_stats(s->link), now);
			beat = now + limits->beat_us;
		}
		if (last == FT_NEVER && limits->quiet_us && s->progress_us + limits->quiet_us < due)
			due = s->progress_us + limits->quiet_us;
		if (limits->beat && limits->beat_us && beat < due)
			due = beat;
		if (ft_link_ended(s->link) && s->free_us > now && s->free_us < due)
			due = s->free_us;
		if (last < due)
			due = last;
		fds[0] = ft_port_poll(s->port);
		if (limits->also)
			fds[1] = *limits->also;
		ft_port_wait(fds, limits->also ? 2 : 1, due, limits->mask);
		if (limits->also)
			limits->also->revents = fds[1].revents;
		now = ft_port_clock();
	}
}
