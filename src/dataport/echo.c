/* SPDX-License-Identifier: Apache-2.0 */
/* Half-duplex adapters give back what we send. Received bytes are held while they could be that echo.
 * They are dropped when it is complete; at the first sign that they are something else they are handed
 * on, so that a missing echo never costs the peer's answer. */
#include "link.h"

enum { MISSES_MAX = 2 }; /* ours: damaged bytes a long echo may carry; a peer's frame differs in more */

void echo_release(struct ft_link *k)
{
	k->echo.active = false;
	k->echo.release = k->echo.held_n > k->echo.held_at;
}

void echo_sent(struct ft_link *k, const uint8_t *p, size_t n, bool first)
{
	struct link_echo *e = &k->echo;

	if (first) {
		if (!e->release)
			e->held_n = e->held_at = 0; /* what is left of an older echo is of no use any more */
		e->want_n = e->at = e->misses = 0;
		e->active = true;
	}
	if (n > sizeof e->want - e->want_n)
		n = sizeof e->want - e->want_n;
	memcpy(e->want + e->want_n, p, n);
	e->want_n = (uint16_t)(e->want_n + n);
}

bool echo_take(struct ft_link *k, uint8_t b)
{
	struct link_echo *e = &k->echo;

	if (!e->active || e->release)
		return false;
	if (e->held_n == sizeof e->held) {
		echo_release(k);
		return false;
	}
	e->held[e->held_n++] = b;
	k->last_rx_us = k->now_us;
	if (e->at < e->want_n && e->want[e->at] == b) {
		e->at++;
	} else if (e->want_n >= LINK_ECHO_FIRM && e->at > 2 && e->misses < MISSES_MAX) {
		e->misses++;
		if (e->at + 1 < e->want_n && e->want[e->at + 1] == b)
			e->at = (uint16_t)(e->at + 2); /* a byte was lost */
		else if (e->want[e->at - 1] != b)
			e->at++; /* a byte was changed; else one came twice */
	} else {
		echo_release(k);
		return true;
	}
	if (e->at >= e->want_n) {
		e->active = false;
		e->held_n = e->held_at = 0;
	}
	return true;
}

bool echo_give(struct ft_link *k, uint8_t *ret)
{
	struct link_echo *e = &k->echo;

	if (!e->release)
		return false;
	*ret = e->held[e->held_at++];
	if (e->held_at >= e->held_n) {
		e->release = false;
		e->held_n = e->held_at = 0;
	}
	return true;
}
