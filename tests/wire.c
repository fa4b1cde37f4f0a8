/* SPDX-License-Identifier: Apache-2.0 */
#include "wire.h"

#include <stdlib.h>

struct ft_link_settings wire_settings[2];

static uint32_t roll(struct wire *w)
{
	w->seed ^= w->seed << 13;
	w->seed ^= w->seed >> 17;
	w->seed ^= w->seed << 5;
	return w->seed;
}

static bool hit(struct wire *w, uint32_t ppm)
{
	return ppm && roll(w) % 1000000U < ppm;
}

void wire_init(struct wire *w, enum ft_link_kind carrier, enum ft_link_kind machine, struct ft_slice file)
{
	*w = (struct wire){ .file = file, .seed = 1, .limit_us = 3600 * FT_SECOND };
	wire_settings[0] = ft_link_defaults(carrier, FT_LINK_CARRIER);
	wire_settings[1] = ft_link_defaults(machine, FT_LINK_MACHINE);
	w->end[0].k = malloc(ft_link_size());
	w->end[1].k = malloc(ft_link_size());
	if (!w->end[0].k || !w->end[1].k)
		abort();
}

void wire_start(struct wire *w, enum ft_link_kind carrier, enum ft_link_kind machine)
{
	ft_link_init(w->end[0].k, carrier, FT_LINK_CARRIER, &wire_settings[0], 0);
	ft_link_init(w->end[1].k, machine, FT_LINK_MACHINE, &wire_settings[1], 0);
	for (int e = 0; e < 2; e++)
		w->end[e].baud = ft_link_stats(w->end[e].k)->baud;
}

void wire_done(struct wire *w)
{
	free(w->end[0].k);
	free(w->end[1].k);
	ft_buf_done(&w->got);
}

static void arrive(struct wire_end *to, uint8_t b, int64_t at_us)
{
	if (to->in_n == sizeof to->in)
		return;
	if (to->in_n && to->at[to->in_n - 1] > at_us)
		at_us = to->at[to->in_n - 1];
	to->in[to->in_n] = b;
	to->at[to->in_n++] = at_us;
}

static void carry(struct wire *w, int from, const uint8_t *p, size_t n)
{
	struct wire_end *me = &w->end[from], *to = &w->end[1 - from];
	int64_t byte_us = 10 * FT_SECOND / me->baud;
	bool echo = w->echo && from == 0 && !hit(w, w->echo_lost_ppm);

	for (size_t i = 0; i < n; i++) {
		int64_t at = w->now_us + (int64_t)(i + 1) * byte_us;
		uint8_t b = p[i];

		if (echo)
			arrive(me, b, at);
		if (w->dead || (w->deaf_at_9600 && me->baud == 9600))
			continue;
		if (w->rates_matter && me->baud != to->baud) {
			if (i % 3 == 0)
				arrive(to, (uint8_t)(b * 7 ^ 0xE5), at);
			continue;
		}
		if (hit(w, w->damage_ppm)) {
			switch (roll(w) % 4) {
			case 0:
				b ^= (uint8_t)(1U << roll(w) % 8);
				break;
			case 1:
				continue;
			case 2:
				arrive(to, b, at);
				break;
			case 3:
				arrive(to, (uint8_t)roll(w), at);
				break;
			}
		}
		arrive(to, b, at);
	}
}

static void fetch(struct wire *w, int e)
{
	struct ft_link_event ev;

	while (ft_link_next(w->end[e].k, &ev)) {
		if (ev.kind == FT_LINK_EV_BLOCK) {
			ft_buf_slice(&w->got, ev.text);
			w->blocks++;
			if (w->blocks == w->abort_at_block)
				ft_link_abort(w->end[e].k, w->now_us);
			w->dead = w->dead || w->blocks == w->dead_at_block;
			if (w->blocks + 1 == w->hold_at_block) {
				w->held = true;
				w->held_until_us = w->now_us + w->hold_us;
				ft_link_hold(w->end[e].k, true);
			}
		}
		if (ev.kind == FT_LINK_EV_WANT_FILE)
			ft_link_offer(w->end[e].k, w->file);
		else if (ev.kind == FT_LINK_EV_DONE)
			w->end[e].done = true;
		else if (ev.kind == FT_LINK_EV_FAILED)
			w->end[e].failed = true;
		else if (ev.kind == FT_LINK_EV_SPEAKS)
			w->end[e].speaks = (unsigned)ev.number;
		else if (ev.kind == FT_LINK_EV_BAUD)
			w->end[e].baud = (int)ev.number;
	}
}

static void step(struct wire *w, int e)
{
	struct wire_end *end = &w->end[e];
	size_t n = 0, took = 0;
	const uint8_t *out;

	fetch(w, e);
	while (n < end->in_n && end->at[n] <= w->now_us)
		n++;
	while (took < n) {
		/* byte by byte with its own time, as a paced port would */
		took += ft_link_feed(end->k, end->in + took, 1, end->at[took]);
		fetch(w, e);
	}
	memmove(end->in, end->in + took, end->in_n - took);
	memmove(end->at, end->at + took, (end->in_n - took) * sizeof *end->at);
	end->in_n -= took;
	ft_link_tick(end->k, w->now_us);
	fetch(w, e);
	while ((out = ft_link_out(end->k, &n, w->now_us)) && n) {
		carry(w, e, out, n);
		ft_link_sent(end->k, n, w->now_us + (int64_t)n * 10 * FT_SECOND / end->baud);
		fetch(w, e);
	}
}

bool wire_run(struct wire *w)
{
	while (!ft_link_ended(w->end[0].k) || !ft_link_ended(w->end[1].k)) {
		int64_t next = FT_NEVER;

		w->steps++;
		if (w->held_until_us && w->now_us >= w->held_until_us) {
			w->held_until_us = 0;
			ft_link_hold(w->end[0].k, false);
		}
		step(w, 0);
		step(w, 1);
		for (int e = 0; e < 2; e++) {
			int64_t due = ft_link_due(w->end[e].k);
			if (w->end[e].in_n && w->end[e].at[0] < due)
				due = w->end[e].at[0];
			next = due < next ? due : next;
		}
		if (w->held_until_us && w->held_until_us < next)
			next = w->held_until_us;
		if (next == FT_NEVER || next > w->limit_us)
			break;
		w->now_us = next > w->now_us ? next : w->now_us + 1;
	}
	return w->end[0].done;
}

double wire_share(const struct wire *w)
{
	const struct ft_link_stats *s = ft_link_stats(w->end[0].k);
	double us = (double)(s->last_ack_us - s->first_block_us) + 10e6 / s->baud;

	return (double)s->counted_bytes * 10e6 / s->baud / us;
}
