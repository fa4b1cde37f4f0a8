/* SPDX-License-Identifier: Apache-2.0 */
/* A line made of arithmetic: every byte has a time of arrival, and time is an argument. */
#include <string.h>

#include "fettle/port.h"

#define NS_PER_SECOND INT64_C(1000000000)
#define MILLION       1000000U

/* splitmix64: small, seedable with anything, good enough for faults. */
static uint64_t draw(uint64_t *state)
{
	uint64_t z = *state += UINT64_C(0x9E3779B97F4A7C15);

	z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
	return z ^ z >> 31;
}

static bool happens(uint64_t chance, unsigned ppm)
{
	return chance % MILLION < ppm;
}

void ft_wire_init(struct ft_wire *w, bool paced, int baud, const struct ft_wire_faults *faults)
{
	memset(w, 0, sizeof *w);
	w->paced = paced;
	w->our_baud = baud;
	if (faults)
		w->faults = *faults;
	w->in.random = w->faults.seed;
	w->out.random = ~w->faults.seed;
}

size_t ft_wire_room(const struct ft_wire_lane *lane)
{
	return FT_WIRE_ROOM - lane->count;
}

static void put(struct ft_wire_lane *lane, uint8_t byte, int baud, int64_t due_us)
{
	uint32_t at = (lane->head + lane->count) % FT_WIRE_ROOM;

	if (lane->count == FT_WIRE_ROOM)
		return;
	if (lane->count) { /* nothing overtakes on a wire */
		int64_t before = lane->due_us[(at + FT_WIRE_ROOM - 1) % FT_WIRE_ROOM];
		if (due_us < before)
			due_us = before;
	}
	lane->bytes[at] = byte;
	lane->due_us[at] = due_us;
	lane->from_baud[at] = baud;
	lane->count++;
}

static bool cut(const struct ft_wire *w)
{
	return w->faults.dead || (w->faults.dead_after && w->passed >= w->faults.dead_after);
}

/* One byte with what may happen to it. A lost byte takes its time all the same. */
static void pass(struct ft_wire *w, struct ft_wire_lane *lane, uint8_t byte, int baud, int64_t due_us)
{
	const struct ft_wire_faults *f = &w->faults;
	uint64_t damage = draw(&lane->random);
	uint64_t loss = draw(&lane->random);
	uint64_t noise = draw(&lane->random);

	if (cut(w))
		return;
	w->passed++;
	if (happens(noise, f->inserted_ppm)) {
		w->inserted++;
		put(lane, (uint8_t)(noise >> 32), baud, due_us);
	}
	if (happens(loss, f->lost_ppm)) {
		w->lost++;
		return;
	}
	if (happens(damage, f->damaged_ppm)) {
		w->damaged++;
		byte ^= (uint8_t)(1U << (damage >> 32) % 8);
	}
	put(lane, byte, baud, due_us);
}

/* Bytes start when the sender's line is free and arrive one byte's time later. */
static void send(struct ft_wire *w, struct ft_wire_lane *lane, const uint8_t *p, size_t n, int baud, int64_t now_us)
{
	int64_t byte_ns = w->paced && baud > 0 ? FT_WIRE_BITS * NS_PER_SECOND / baud : 0;
	int64_t now_ns = now_us * 1000;

	if (lane->free_ns < now_ns)
		lane->free_ns = now_ns;
	for (size_t i = 0; i < n; i++) {
		int64_t due_us;
		lane->free_ns += byte_ns;
		due_us = (lane->free_ns + 999) / 1000 + w->faults.delay_us;
		pass(w, lane, p[i], baud, due_us);
		if (w->faults.echo && lane == &w->in && !cut(w))
			put(&w->out, p[i], baud, due_us);
		lane->free_ns += w->faults.gap_us * 1000;
	}
}

void ft_wire_peer_sends(struct ft_wire *w, const uint8_t *p, size_t n, int peer_baud, int64_t now_us)
{
	send(w, &w->in, p, n, peer_baud, now_us);
}

int64_t ft_wire_we_send(struct ft_wire *w, const uint8_t *p, size_t n, int64_t now_us)
{
	send(w, &w->out, p, n, w->our_baud, now_us);
	return (w->out.free_ns + 999) / 1000;
}

/* Level of the line in the kth bit of a byte on it: start, eight data bits, stop and rest. */
static unsigned level(uint8_t byte, int64_t k)
{
	return k == 0 ? 0 : k <= 8 ? byte >> (k - 1) & 1U : 1;
}

/* What a receiver at `to` makes of a byte sent at `from`: it waits for a low level, then samples in
 * the middle of its own bits. Times are in halves of the receiver's bits. */
static size_t misread(struct ft_wire_lane *lane, uint8_t byte, int from, int to, int64_t due_us, uint8_t *ret,
                      size_t room)
{
	int64_t start_us = due_us - FT_WIRE_BITS * INT64_C(1000000) / from;
	int64_t end = INT64_C(2) * FT_WIRE_BITS * to / from;
	size_t n = 0;

	if (start_us < lane->busy_us) /* still taking an earlier byte apart */
		return 0;
	for (int64_t half = 0; half < end && n < room; half++) {
		unsigned v = 0;
		if (level(byte, half * from / (2 * to)))
			continue;
		for (int bit = 0; bit < 8; bit++)
			v |= level(byte, (half + 3 + 2 * bit) * from / (2 * to)) << bit;
		ret[n++] = (uint8_t)v;
		half += 2 * FT_WIRE_BITS - 1;
		lane->busy_us = start_us + (half + 1) * INT64_C(500000) / to;
	}
	return n;
}

static bool rates_agree(int a, int b)
{
	int64_t apart = (int64_t)a - b;

	return (apart < 0 ? -apart : apart) * 1000 <= (int64_t)b * FT_WIRE_RATE_PERMILLE;
}

static size_t take(const struct ft_wire *w, struct ft_wire_lane *lane, uint8_t *ret, size_t room, int to,
                   int64_t now_us)
{
	size_t n = 0;

	while (lane->count && n < room && lane->due_us[lane->head] <= now_us) {
		uint8_t byte = lane->bytes[lane->head];
		int from = lane->from_baud[lane->head];
		if (!w->paced || from <= 0 || to <= 0 || rates_agree(from, to))
			ret[n++] = byte;
		else
			n += misread(lane, byte, from, to, lane->due_us[lane->head], ret + n, room - n);
		lane->head = (lane->head + 1) % FT_WIRE_ROOM;
		lane->count--;
	}
	return n;
}

size_t ft_wire_at_us(struct ft_wire *w, uint8_t *ret, size_t room, int64_t now_us)
{
	return take(w, &w->in, ret, room, w->our_baud, now_us);
}

size_t ft_wire_at_peer(struct ft_wire *w, uint8_t *ret, size_t room, int peer_baud, int64_t now_us)
{
	return take(w, &w->out, ret, room, peer_baud, now_us);
}

int64_t ft_wire_due(const struct ft_wire *w)
{
	int64_t in = w->in.count ? w->in.due_us[w->in.head] : FT_NEVER;
	int64_t out = w->out.count ? w->out.due_us[w->out.head] : FT_NEVER;

	return in < out ? in : out;
}
