/* SPDX-License-Identifier: Apache-2.0 */
/* The loop for engines that are no link of dataport.h. */
#include "inside.h"

#define TAKE_MAX   1024
#define ROUNDS_MAX 64 /* ours: a peer that never stops must not keep us from the clock */

static void listen(struct ft_port_talk *t)
{
	int baud = t->heard ? t->heard(t->context) : 0;

	if (baud)
		t->rate_next = baud;
}

static void feed(struct ft_port_talk *t, const uint8_t *p, size_t n, int64_t now_us)
{
	while (n) {
		size_t used = t->kind->feed(t->engine, p, n, now_us);
		listen(t);
		p += used;
		n -= used;
	}
}

/* 1: something was sent, 0: nothing, -1: the port is gone. */
static int speak(struct ft_port_talk *t, int64_t now_us)
{
	size_t n;
	const uint8_t *p;
	ssize_t put;

	if (t->rate_next)
		return 0;
	p = t->kind->out(t->engine, &n);
	if (!p || !n)
		return 0;
	put = port_give(t->port, p, n, now_us, &t->free_us);
	if (put <= 0)
		return (int)put;
	t->kind->sent(t->engine, (size_t)put, t->free_us);
	listen(t);
	return 1;
}

enum ft_status ft_port_talk(struct ft_port_talk *t, int64_t now_us, int64_t *ret_due_us, struct ft_error *e)
{
	uint8_t bytes[TAKE_MAX];

	for (int round = 0; round < ROUNDS_MAX; round++) {
		ssize_t n;
		int spoke;
		if (t->rate_next && now_us >= t->free_us) {
			/* An adapter that cannot run at it hears nothing there, which the engine finds out by itself; one that is
			 * gone is seen at the next byte. */
			ft_port_rate(t->port, t->rate_next, NULL);
			t->rate_next = 0;
		}
		n = port_take(t->port, bytes, sizeof bytes, now_us);
		if (n < 0)
			return port_vanished(t->port, e);
		feed(t, bytes, (size_t)n, now_us);
		t->kind->tick(t->engine, now_us);
		listen(t);
		spoke = speak(t, now_us);
		if (spoke < 0)
			return port_vanished(t->port, e);
		if (n == 0 && spoke == 0)
			break;
	}
	*ret_due_us = t->kind->due(t->engine);
	if (t->rate_next && t->free_us < *ret_due_us)
		*ret_due_us = t->free_us;
	if (t->port->wire && ft_wire_due(t->port->wire) < *ret_due_us)
		*ret_due_us = ft_wire_due(t->port->wire);
	return FT_OK;
}
