/* SPDX-License-Identifier: Apache-2.0 */
/* The data-port engines against hostile bytes, odd slicings and any course of time.
 *
 * Input: one byte kind and role, one byte settings, then orders: a byte with the order in its upper
 * three bits and a number in its lower five. Whatever comes, the engine must keep its promises, and
 * once the line is silent it must come to rest by itself. */
#include <stdlib.h>

#include "fettle/crc.h"
#include "fettle/dataport.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { FEED, TICK, OUT, LATE, OFFER, HOLD, FRAME, TO_DUE };
enum { STEPS_MAX = 20000 }; /* far beyond all retries of one session */

struct run {
	struct ft_link *k;
	int64_t now_us;
	uint64_t text_bytes;
	unsigned ends;
};

static void must(bool held)
{
	if (!held)
		abort();
}

static void fetch(struct run *r)
{
	struct ft_link_event ev;
	unsigned n = 0;
	volatile char seen = 0;
	(void)seen;

	while (ft_link_next(r->k, &ev)) {
		must(++n <= 8 && ev.kind != FT_LINK_EV_NONE);
		for (size_t i = 0; i < ev.text.n; i++)
			seen ^= ev.text.p[i]; /* all of it may be read */
		if (ev.kind == FT_LINK_EV_BLOCK) {
			must(ev.text.n <= FT_LINK_BLOCK_MAX);
			r->text_bytes += ev.text.n;
			must(r->text_bytes == ft_link_stats(r->k)->text_bytes);
		}
		if (ev.kind == FT_LINK_EV_DONE || ev.kind == FT_LINK_EV_FAILED)
			must(++r->ends == 1);
	}
}

static void give(struct run *r, size_t most)
{
	size_t n;
	const uint8_t *out = ft_link_out(r->k, &n, r->now_us);

	must(n <= FT_LINK_OUT_MAX && (out || !n));
	if (n > most)
		n = most;
	if (n)
		ft_link_sent(r->k, n, r->now_us + (int64_t)n * 100);
	fetch(r);
}

static void feed(struct run *r, const uint8_t *p, size_t n)
{
	uint8_t *exact = malloc(n ? n : 1); /* so that reading beyond is seen */

	must(exact != NULL);
	for (size_t i = 0; i < n; i++)
		exact[i] = p[i];
	for (size_t at = 0, took; at < n; at += took) {
		took = ft_link_feed(r->k, exact + at, n - at, r->now_us);
		must(took <= n - at);
		fetch(r);
	}
	free(exact);
}

/* The same bytes as a good frame of either link, so that what lies behind the checks is reached too. */
static void frame(struct run *r, unsigned style, const uint8_t *p, size_t n)
{
	uint8_t f[64];
	size_t at = 0;
	uint16_t crc;

	if (style < 4) { /* DEX/UCS: SOH or STX, ETX or ETB */
		uint8_t close = style & 2 ? 0x17 : 0x03;
		f[at++] = 0x10;
		f[at++] = style & 1 ? 0x01 : 0x02;
		for (size_t i = 0; i < n && i < 20; i++) {
			if (p[i] == 0x10)
				f[at++] = 0x10;
			f[at++] = p[i];
		}
		crc = ft_crc16(ft_crc16(0, p, n < 20 ? n : 20), &close, 1);
		f[at++] = 0x10;
		f[at++] = close;
	} else if (n >= 5) { /* DDCMP: a header, and data where there is more */
		f[at++] = style & 1 ? 0x81 : 0x05;
		for (size_t i = 0; i < 5; i++)
			f[at++] = p[i];
		if (style & 1) {
			f[1] = (uint8_t)(n - 5);
			f[2] &= 0xC0;
		}
		crc = ft_crc16(0, f, at);
		if (style & 1) {
			f[at++] = (uint8_t)crc;
			f[at++] = (uint8_t)(crc >> 8);
			for (size_t i = 5; i < n; i++)
				f[at++] = p[i];
			crc = ft_crc16(0, p + 5, n - 5);
		}
	} else {
		return;
	}
	f[at++] = (uint8_t)crc;
	f[at++] = (uint8_t)(crc >> 8);
	feed(r, f, at);
}

static void rest(struct run *r)
{
	for (unsigned i = 0; ft_link_due(r->k) != FT_NEVER; i++) {
		int64_t due = ft_link_due(r->k);

		must(i < STEPS_MAX);
		r->now_us = due > r->now_us ? due : r->now_us + 1;
		ft_link_tick(r->k, r->now_us);
		fetch(r);
		give(r, FT_LINK_OUT_MAX);
	}
	must(ft_link_ended(r->k) == (r->ends == 1));
	if (ft_link_ended(r->k)) {
		struct ft_error e = { 0 };
		must((ft_link_failure(r->k, &e) == FT_OK) == (e.text[0] == 0));
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const char file[] = "DXS*QQC0000003*VA*V0/6*1\r\nST*001*0001\r\n"
							   "\x10\x10\x04\x05\x15 VA1*1200*8\r\nDXE*1*1\r\n";
	struct run r = { 0 };

	if (size < 2)
		return 0;
	enum ft_link_kind kind = (enum ft_link_kind)(data[0] % 3);
	enum ft_link_role role = data[0] & 0x80 ? FT_LINK_MACHINE : FT_LINK_CARRIER;
	struct ft_link_settings s = ft_link_defaults(kind, role);
	s.echo = data[1] & 1;
	s.block_text = data[1] & 2 ? 1 : data[1] & 4 ? FT_LINK_BLOCK_MAX : 20;
	s.security_code = data[1] & 8 ? 0x1234 : 0;
	s.baud_max = data[1] & 16 ? 0 : 9600;
	s.turn_round_us = data[1] & 32 ? 0 : 1000;
	r.k = malloc(ft_link_size());
	must(r.k != NULL);
	ft_link_init(r.k, kind, role, &s, 0);
	for (size_t at = 2; at < size;) {
		unsigned order = data[at] >> 5, number = data[at] & 31U;
		size_t n = number + 1U;

		at++;
		switch (order) {
		case FEED:
			n = n < size - at ? n : size - at;
			feed(&r, data + at, n);
			at += n;
			break;
		case TICK:
			r.now_us += (int64_t)number * 1000;
			ft_link_tick(r.k, r.now_us);
			break;
		case OUT:
			give(&r, number ? n : FT_LINK_OUT_MAX);
			break;
		case LATE:
			r.now_us += (int64_t)number * 100000;
			ft_link_tick(r.k, r.now_us);
			break;
		case OFFER:
			ft_link_offer(r.k, (struct ft_slice){ file, number * sizeof file / 32 });
			break;
		case HOLD:
			ft_link_hold(r.k, number & 1);
			break;
		case FRAME:
			if (number == 31) {
				ft_link_abort(r.k, r.now_us);
			} else {
				n = 5 + number / 8 * 10;
				n = n < size - at ? n : size - at;
				frame(&r, number % 8, data + at, n);
				at += n;
			}
			break;
		case TO_DUE:
			if (ft_link_due(r.k) != FT_NEVER && ft_link_due(r.k) > r.now_us)
				r.now_us = ft_link_due(r.k);
			ft_link_tick(r.k, r.now_us);
			fetch(&r);
			give(&r, FT_LINK_OUT_MAX);
			break;
		}
		fetch(&r);
	}
	rest(&r);
	free(r.k);
	return 0;
}
