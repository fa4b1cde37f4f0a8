/* SPDX-License-Identifier: Apache-2.0 */
/* The connections. libmicrohttpd ends those that are silent; a sender of one byte now and then is ended here. */
#include "bench.h"

#include <poll.h>
#include <stdlib.h>
#include <sys/socket.h>

void link_phase_to(struct bench *b, struct link *l, enum link_phase phase)
{
	(void)b;
	if (!l)
		return;
	l->phase = phase;
	l->since_us = bench_now();
	if (phase != LINK_HEAD)
		l->first = false;
}

void link_notify(void *cls, struct MHD_Connection *c, void **socket_context, enum MHD_ConnectionNotificationCode code)
{
	struct bench *b = cls;
	struct link *l = *socket_context;
	const union MHD_ConnectionInfo *info;

	if (code == MHD_CONNECTION_NOTIFY_STARTED) {
		info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
		l = calloc(1, sizeof *l);
		if (!l)
			return; /* served without a watch; libmicrohttpd's own bound on silence remains */
		l->fd = info ? info->connect_fd : -1;
		l->first = true;
		l->since_us = bench_now();
		l->next = b->links;
		l->self = &b->links;
		if (l->next)
			l->next->self = &l->next;
		b->links = l;
		b->link_count++;
		*socket_context = l;
	} else if (l) {
		*l->self = l->next;
		if (l->next)
			l->next->self = l->self;
		b->link_count--;
		free(l);
		*socket_context = NULL;
	}
}

static int64_t may_take(const struct bench *b, const struct link *l)
{
	switch (l->phase) {
	case LINK_HEAD:
		if (b->link_count > LINKS_CROWD)
			return CROWD_US;
		return l->first ? HEAD_US : REST_US;
	case LINK_BODY:
	case LINK_ANSWER:
		return BODY_FREE_US + l->bytes / BODY_RATE * SECOND;
	default:
		return INT64_MAX;
	}
}

static bool gone(const struct link *l)
{
	struct pollfd p = { .fd = l->fd, .events = POLLRDHUP };

	return poll(&p, 1, 0) > 0 && (p.revents & (POLLRDHUP | POLLHUP | POLLERR));
}

int64_t links_look(struct bench *b, int64_t now_us)
{
	for (struct link *l = b->links; l; l = l->next) {
		int64_t most = may_take(b, l);
		if (l->fd < 0)
			continue;
		if (most != INT64_MAX && now_us - l->since_us > most) {
			(void)shutdown(l->fd, SHUT_RDWR); /* libmicrohttpd sees its end and closes it */
			l->since_us = now_us;
		} else if (l->phase == LINK_STREAM && l->at && gone(l)) {
			events_gone(b, l->at); /* libmicrohttpd looks at it only when there is something to tell */
		} else if (l->phase == LINK_WORK && l->at && l->at->errand && gone(l)) {
			/* whoever asked has gone: what is done for it ends too */
			errand_drop(b, l->at->errand);
			l->at->errand = NULL;
			answer_error(l->at, 503, "Nobody waits for this any more.");
		}
	}
	return now_us + SECOND;
}

void links_done(struct bench *b)
{
	for (struct link *l = b->links, *next; l; l = next) {
		next = l->next;
		free(l);
	}
	b->links = NULL;
}
