/* SPDX-License-Identifier: Apache-2.0 */
/* Edges to words, words to exchanges. The worked exchanges and the link-level vectors are those of docs/bus.md;
 * bit times and limits are MDB/ICP sections 2 and 3. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "bus_rows.h"
#include "room.h"

enum { MOST = 4096 };

struct heard {
	struct ft_bus_word words[MOST];
	size_t count;
};

static void hear(void *to, const struct ft_bus_word *w)
{
	struct heard *h = to;

	if (h->count < MOST)
		h->words[h->count++] = *w;
}

static uint64_t seed;

static unsigned roll(unsigned below)
{
	seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (unsigned)(seed >> 33) % below;
}

/* A line drawn by hand: edges with their own delays and a clock of `tick_ns`. */
struct drawn {
	struct bus_uart u;
	struct heard heard;
	int64_t bit_ns, rise_ns, fall_ns, tick_ns;
	int64_t at_ns;
	bool active;
};

static void begin(struct drawn *d, int64_t bit_ns)
{
	*d = (struct drawn){ .bit_ns = bit_ns, .tick_ns = 1000 };
	bus_uart_init(&d->u, FT_BUS_PERIPHERAL, &d->heard, hear);
	bus_uart_edge(&d->u, 0, false);
	d->at_ns = 2 * BUS_NS_PER_MS;
}

static void edge(struct drawn *d, int64_t at_ns, bool active)
{
	at_ns += active ? d->fall_ns : d->rise_ns;
	bus_uart_edge(&d->u, at_ns / d->tick_ns * d->tick_ns, active);
}

/* Start, data, mode, stop; `stop_active` makes a framing error. */
static void draw(struct drawn *d, unsigned byte, bool mode, bool stop_active)
{
	unsigned bits = 1U | (~byte & 0xFF) << 1 | (unsigned)!mode << 9 | (unsigned)stop_active << 10;
	bool active = false;

	for (int i = 0; i <= BUS_WORD_BITS; i++) {
		bool now = bits >> i & 1;
		if (now != active)
			edge(d, d->at_ns + i * d->bit_ns, now);
		active = now;
	}
	d->at_ns += BUS_WORD_BITS * d->bit_ns;
}

static const struct ft_bus_word *only(struct drawn *d)
{
	bus_uart_end(&d->u, d->at_ns + 10 * BUS_NS_PER_MS);
	if (d->heard.count != 1)
		fail_msg("%zu words where one was drawn", d->heard.count);
	return &d->heard.words[0];
}

/* 3 % off is to be read rightly; the sampler holds to 4.5. */
static void every_word_at_every_rate(void **state)
{
	static const int off[] = { -45, -30, -20, 0, 10, 30, 45 };
	static const int64_t ticks[] = { 1, 1000, 10000 };

	(void)state;
	for (size_t o = 0; o < sizeof off / sizeof *off; o++)
		for (size_t t = 0; t < sizeof ticks / sizeof *ticks; t++)
			for (unsigned word = 0; word < 512; word++) {
				static struct drawn d;
				const struct ft_bus_word *w;
				begin(&d, BUS_BIT_NS * (1000 + off[o]) / 1000);
				d.tick_ns = ticks[t];
				draw(&d, word & 0xFF, word >> 8, false);
				w = only(&d);
				if (w->kind != FT_BUS_WORD || w->byte != (word & 0xFF) || w->mode != (word >> 8))
					fail_msg("%03X at %d per mille, tick %d ns: kind %d, %02X%s", word, off[o], (int)ticks[t], w->kind,
					         w->byte, w->mode ? "*" : "");
				if (w->span_bits >= 8 && ticks[t] == 1)
					assert_true(llabs((long long)w->span_ns / w->span_bits - d.bit_ns) < 60);
			}
}

static void words_back_to_back(void **state)
{
	static const int off[] = { -45, 0, 45 };

	(void)state;
	for (size_t o = 0; o < 3; o++)
		for (int seeds = 0; seeds < 20; seeds++) {
			static struct drawn d;
			unsigned sent[100];
			seed = (uint64_t)seeds;
			begin(&d, BUS_BIT_NS * (1000 + off[o]) / 1000);
			for (size_t i = 0; i < 100; i++) {
				sent[i] = roll(512);
				draw(&d, sent[i] & 0xFF, sent[i] >> 8, false);
			}
			bus_uart_end(&d.u, d.at_ns + 10 * BUS_NS_PER_MS);
			assert_int_equal(d.heard.count, 100);
			for (size_t i = 0; i < 100; i++)
				assert_int_equal(d.heard.words[i].byte | d.heard.words[i].mode << 8, sent[i]);
		}
}

/* An optocoupler delays the two edges unlike. */
static void unlike_edges_do_not_bend_the_rate(void **state)
{
	static struct drawn d;
	const struct ft_bus_word *w;

	(void)state;
	for (unsigned byte = 0; byte < 256; byte++) {
		begin(&d, BUS_BIT_NS);
		d.tick_ns = 1;
		d.rise_ns = 25000;
		draw(&d, byte, false, false);
		w = only(&d);
		assert_int_equal(w->byte, byte);
		assert_int_equal(w->kind, FT_BUS_WORD);
		if (w->span_bits)
			assert_true(llabs((long long)w->span_ns / w->span_bits - BUS_BIT_NS) < 50);
	}
}

static void glitches_are_counted_and_not_read(void **state)
{
	(void)state;
	for (int at = 1; at < 44; at++) {
		static struct drawn d;
		const struct ft_bus_word *w;
		int64_t start, when;
		begin(&d, BUS_BIT_NS);
		start = d.at_ns;
		when = start + at * BUS_BIT_NS / 4 + 7000;
		/* 55 alternates, so a pulse of 8 us lies inside a bit or beside an edge */
		for (int i = 0, active = 0; i <= BUS_WORD_BITS; i++) {
			int now = (1U | (~0x55U & 0xFF) << 1 | 1U << 9) >> i & 1;
			if (now != active)
				edge(&d, start + i * BUS_BIT_NS, now);
			if (when >= start + i * BUS_BIT_NS && when + 8000 < start + (i + 1) * BUS_BIT_NS) {
				edge(&d, when, !now);
				edge(&d, when + 8000, now);
			}
			active = now;
		}
		w = only(&d);
		assert_int_equal(w->byte, 0x55);
		assert_int_equal(w->kind, FT_BUS_WORD);
		assert_true(w->glitches >= 1 || d.u.glitches >= 1);
	}
}

static void false_start_framing_break(void **state)
{
	static struct drawn d;
	const struct ft_bus_word *w;

	(void)state;
	begin(&d, BUS_BIT_NS);
	edge(&d, d.at_ns, true);
	edge(&d, d.at_ns + 40000, false);
	bus_uart_end(&d.u, d.at_ns + 10 * BUS_NS_PER_MS);
	assert_int_equal(d.heard.count, 0);
	assert_int_equal(d.u.glitches, 1);

	begin(&d, BUS_BIT_NS);
	draw(&d, 0x5A, true, true);
	w = only(&d);
	assert_int_equal(w->kind, FT_BUS_FRAMING);
	assert_int_equal(w->byte, 0x5A);

	static const int64_t lengths[] = { 1250000, 50000000, 120000000 };
	for (size_t i = 0; i < 3; i++) {
		begin(&d, BUS_BIT_NS);
		edge(&d, d.at_ns, true);
		edge(&d, d.at_ns + lengths[i], false);
		d.at_ns += lengths[i];
		draw(&d, 0x12, true, false);
		bus_uart_end(&d.u, d.at_ns + 10 * BUS_NS_PER_MS);
		assert_int_equal(d.heard.count, 2);
		assert_int_equal(d.heard.words[0].kind, FT_BUS_BREAK);
		assert_true(d.heard.words[0].end_ns - d.heard.words[0].start_ns == lengths[i]);
		assert_int_equal(d.heard.words[1].byte, 0x12);
	}
	/* a break that the capture ends in has the length it had */
	begin(&d, BUS_BIT_NS);
	edge(&d, d.at_ns, true);
	bus_uart_end(&d.u, d.at_ns + 30 * BUS_NS_PER_MS);
	assert_int_equal(d.heard.count, 1);
	assert_true(d.heard.words[0].end_ns - d.heard.words[0].start_ns == 30 * BUS_NS_PER_MS);
}

/* A capture may begin anywhere in a word: what comes out must have been sent. */
static void a_beginning_in_the_middle_invents_nothing(void **state)
{
	(void)state;
	for (unsigned byte = 0; byte < 256; byte++)
		for (int cut = 1; cut < BUS_WORD_BITS; cut++) {
			static struct drawn d;
			unsigned bits = 1U | (~byte & 0xFF) << 1 | 1U << 9;
			bool active = bits >> cut & 1;
			int64_t start = -cut * BUS_BIT_NS;
			d = (struct drawn){ .bit_ns = BUS_BIT_NS, .tick_ns = 1 };
			bus_uart_init(&d.u, FT_BUS_CONTROLLER, &d.heard, hear);
			bus_uart_edge(&d.u, 0, active);
			for (int i = cut + 1; i <= BUS_WORD_BITS; i++) {
				bool now = bits >> i & 1;
				if (now != active)
					bus_uart_edge(&d.u, start + i * BUS_BIT_NS, now);
				active = now;
			}
			d.at_ns = start + 14 * BUS_BIT_NS + 9 * BUS_BIT_NS;
			draw(&d, 0x33, true, false);
			bus_uart_end(&d.u, d.at_ns + 10 * BUS_NS_PER_MS);
			if (d.heard.count != 1 || d.heard.words[0].byte != 0x33 || !d.heard.words[0].mode)
				fail_msg("%02X cut at bit %d: %zu words", byte, cut, d.heard.count);
		}
}

/* ---- blocks ---- */

struct traffic {
	struct ft_bus_item items[MOST];
	size_t count;
};

static void collect(void *to, const struct ft_bus_item *i)
{
	struct traffic *t = to;

	if (t->count < MOST)
		t->items[t->count++] = *i;
}

static void expect_bytes(const struct ft_bus_block *b, struct ft_slice hex, unsigned row)
{
	uint8_t bytes[64];
	uint64_t modes;
	size_t n = play_bytes(hex, bytes, &modes);

	if (b->count != n || memcmp(b->bytes, bytes, n) != 0)
		fail_msg("row %u: %d bytes where %zu were sent", row, b->count, n);
}

static const char *folder;

static void worked_exchanges_byte_for_byte(void **state)
{
	static struct traffic t;
	struct ft_arena a = { 0 };
	struct play_row *rows;
	size_t n = play_rows(folder, &a, &rows);
	struct bus_blocks b;
	int64_t at = 0;

	(void)state;
	assert_true(n >= 82);
	t.count = 0;
	bus_blocks_init(&b, true, &t, collect);
	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word w[128];
		size_t words = play_words(&rows[i], &at, w);
		for (size_t k = 0; k < words; k++)
			bus_blocks_word(&b, &w[k]);
	}
	bus_blocks_end(&b, at);
	assert_int_equal(t.count, n);
	for (size_t i = 0; i < n; i++) {
		const struct ft_bus_exchange *x = &t.items[i].exchange;
		assert_int_equal(t.items[i].kind, FT_BUS_EXCHANGE);
		expect_bytes(&x->command, rows[i].controller, rows[i].row);
		expect_bytes(&x->answer, rows[i].peripheral, rows[i].row);
		assert_true(x->command.checksum_ok);
		assert_int_equal(x->command.flags | x->answer.flags, 0);
		assert_int_equal(x->kind,
		                 !rows[i].peripheral.n                        ? FT_BUS_SILENCE
		                     : ft_slice_is(rows[i].peripheral, "00*") ? FT_BUS_ACK
		                                                              : FT_BUS_DATA);
		assert_int_equal(x->closing, rows[i].closing.n ? FT_BUS_CLOSED_ACK : FT_BUS_CLOSED_NOT);
		if (rows[i].peripheral.n)
			assert_true(llabs((long long)x->response_ns - 1500000) < 1000);
	}
	ft_arena_done(&a);
}

/* Blocks in order: C a command or closing byte, P an answer, with the pause before it in us. */
struct vector {
	const char *name;
	struct {
		char line;
		int pause_us;
		const char *hex;
	} blocks[8];
	size_t exchanges, strays;
	enum ft_bus_answer kind[3];
	enum ft_bus_closing closing[3];
	unsigned command_flags, answer_flags; /* of the first exchange */
	bool command_ok;
};

static const struct vector vectors[] = {
	{ "a wrong sum of the controller",
	  { { 'C', 0, "13* 00 00 96 00 0C B4" } },
	  1,
	  0,
	  { FT_BUS_SILENCE },
	  { 0 },
	  0,
	  0,
	  false },
	{ "RET",
	  { { 'C', 0, "12* 12" },
	    { 'P', 1500, "05 00 96 9A*" },
	    { 'C', 1500, "AA" },
	    { 'P', 1500, "05 00 96 9B*" },
	    { 'C', 1500, "00" } },
	  2,
	  0,
	  { FT_BUS_GARBLED, FT_BUS_DATA },
	  { FT_BUS_CLOSED_RET, FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "NAK of the controller",
	  { { 'C', 0, "0B* 0B" },
	    { 'P', 1500, "53 15 68*" },
	    { 'C', 1500, "FF" },
	    { 'C', 9000, "0B* 0B" },
	    { 'P', 1500, "53 15 68*" },
	    { 'C', 1500, "00" } },
	  2,
	  0,
	  { FT_BUS_DATA, FT_BUS_DATA },
	  { FT_BUS_CLOSED_NAK, FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "no acknowledgement",
	  { { 'C', 0, "0B* 0B" },
	    { 'P', 1500, "53 15 68*" },
	    { 'C', 9000, "0B* 0B" },
	    { 'P', 1500, "53 15 68*" },
	    { 'C', 1500, "00" } },
	  2,
	  0,
	  { FT_BUS_DATA, FT_BUS_DATA },
	  { FT_BUS_CLOSED_NOT, FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "ACK without its mode bit",
	  { { 'C', 0, "0B* 0B" }, { 'P', 1500, "00" } },
	  1,
	  0,
	  { FT_BUS_GARBLED },
	  { 0 },
	  0,
	  FT_BUS_MODE_FAULT,
	  true },
	/* the worked check byte of a third-party summary of the standard, recomputed: 2C */
	{ "a sum of twelve bytes",
	  { { 'C', 0, "0B* 0B" }, { 'P', 1500, "02 00 01 05 02 00 07 01 02 05 14 FF 2C*" }, { 'C', 1500, "00" } },
	  1,
	  0,
	  { FT_BUS_DATA },
	  { FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "a surplus byte",
	  { { 'C', 0, "12* 12" }, { 'P', 1500, "03 4E 20 FF 70*" }, { 'C', 1500, "00" } },
	  1,
	  0,
	  { FT_BUS_DATA },
	  { FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "NAK of a peripheral", { { 'C', 0, "0B* 0B" }, { 'P', 1500, "FF*" } }, 1, 0, { FT_BUS_NAK }, { 0 }, 0, 0, true },
	{ "an answer of data zero is no ACK",
	  { { 'C', 0, "12* 12" }, { 'P', 1500, "00 00*" }, { 'C', 1500, "00" } },
	  1,
	  0,
	  { FT_BUS_DATA },
	  { FT_BUS_CLOSED_ACK },
	  0,
	  0,
	  true },
	{ "a gap of 6 ms cuts an answer",
	  { { 'C', 0, "0B* 0B" }, { 'P', 1500, "53" }, { 'P', 6000, "15 68*" } },
	  1,
	  1,
	  { FT_BUS_GARBLED },
	  { 0 },
	  0,
	  FT_BUS_CUT,
	  true },
	{ "a gap of 3 ms does not",
	  { { 'C', 0, "0B* 0B" }, { 'P', 1500, "53" }, { 'P', 3000, "15 68*" } },
	  1,
	  0,
	  { FT_BUS_DATA },
	  { 0 },
	  0,
	  0,
	  true },
	{ "bytes behind the last one",
	  { { 'C', 0, "0B* 0B" }, { 'P', 1500, "00*" }, { 'P', 200, "53 15 68*" } },
	  1,
	  0,
	  { FT_BUS_GARBLED },
	  { 0 },
	  0,
	  FT_BUS_AFTER_LAST,
	  true },
	{ "a command that lost its mode bit",
	  { { 'C', 0, "0B 0B" }, { 'P', 1500, "00*" } },
	  1,
	  0,
	  { FT_BUS_ACK },
	  { 0 },
	  FT_BUS_MODE_FAULT,
	  0,
	  true },
	{ "data that gained one",
	  { { 'C', 0, "13* 00 00* 96 00 0C B5" }, { 'P', 1500, "00*" } },
	  1,
	  0,
	  { FT_BUS_ACK },
	  { 0 },
	  FT_BUS_MODE_FAULT,
	  0,
	  true },
	{ "two commands without an answer between are two",
	  { { 'C', 0, "0B* 0B" }, { 'C', 3000, "33* 33" }, { 'P', 1500, "00*" } },
	  2,
	  0,
	  { FT_BUS_SILENCE, FT_BUS_ACK },
	  { 0 },
	  0,
	  0,
	  true },
	{ "a lone byte of nobody", { { 'C', 0, "00" } }, 0, 1, { 0 }, { 0 }, 0, 0, false },
	{ "a peripheral that talks unasked", { { 'P', 0, "53 15 68*" } }, 0, 1, { 0 }, { 0 }, 0, 0, false },
	{ "an answer after 60 ms is none",
	  { { 'C', 0, "0B* 0B" }, { 'P', 60000, "00*" } },
	  1,
	  1,
	  { FT_BUS_SILENCE },
	  { 0 },
	  0,
	  0,
	  true },
};

static void link_level_vectors(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof vectors / sizeof *vectors; i++) {
		const struct vector *v = &vectors[i];
		static struct traffic t;
		struct bus_blocks b;
		int64_t at = BUS_NS_PER_MS;
		size_t exchanges = 0, strays = 0;
		t.count = 0;
		bus_blocks_init(&b, true, &t, collect);
		for (size_t k = 0; k < 8 && v->blocks[k].hex; k++) {
			enum ft_bus_line line = v->blocks[k].line == 'C' ? FT_BUS_CONTROLLER : FT_BUS_PERIPHERAL;
			struct ft_bus_word w[64];
			uint8_t bytes[64];
			uint64_t modes;
			size_t n = play_bytes(ft_slice_of(v->blocks[k].hex), bytes, &modes);
			at = ft_bus_block_words(line, bytes, n, true, at + v->blocks[k].pause_us * BUS_NS_PER_US, 0, w);
			for (size_t x = 0; x < n; x++) {
				w[x].mode = modes >> x & 1;
				bus_blocks_word(&b, &w[x]);
			}
		}
		bus_blocks_end(&b, at + 20 * BUS_NS_PER_MS);
		for (size_t k = 0; k < t.count; k++) {
			const struct ft_bus_exchange *x = &t.items[k].exchange;
			strays += t.items[k].kind == FT_BUS_STRAY;
			if (t.items[k].kind != FT_BUS_EXCHANGE)
				continue;
			if (exchanges < 3 && (x->kind != v->kind[exchanges] || x->closing != v->closing[exchanges]))
				fail_msg("%s: exchange %zu is of kind %d, closed %d", v->name, exchanges, x->kind, x->closing);
			if (exchanges == 0 &&
			    (x->command.flags != v->command_flags || x->answer.flags != v->answer_flags ||
			     x->command.checksum_ok != v->command_ok))
				fail_msg("%s: flags %d and %d, sum %d", v->name, x->command.flags, x->answer.flags,
				         x->command.checksum_ok);
			exchanges++;
		}
		if (exchanges != v->exchanges || strays != v->strays)
			fail_msg("%s: %zu exchanges, %zu strays", v->name, exchanges, strays);
	}
}

static void late_answer_over_the_next_command(void **state)
{
	static struct traffic t;
	struct bus_blocks b;
	struct ft_bus_word c[4], p[4];
	uint8_t command[] = { 0x33, 0x33 }, answer[] = { 0x53, 0x15, 0x68 };

	(void)state;
	t.count = 0;
	bus_blocks_init(&b, true, &t, collect);
	ft_bus_block_words(FT_BUS_CONTROLLER, command, 2, false, 10 * BUS_NS_PER_MS, 0, c);
	ft_bus_block_words(FT_BUS_PERIPHERAL, answer, 3, false, 10 * BUS_NS_PER_MS + 500000, 0, p);
	bus_blocks_word(&b, &c[0]);
	bus_blocks_word(&b, &p[0]);
	bus_blocks_word(&b, &c[1]);
	bus_blocks_word(&b, &p[1]);
	bus_blocks_word(&b, &p[2]);
	bus_blocks_end(&b, 40 * BUS_NS_PER_MS);
	assert_int_equal(t.count, 2);
	assert_int_equal(t.items[0].kind, FT_BUS_STRAY);
	assert_true(t.items[0].block.flags & FT_BUS_OVER_NEXT);
	assert_int_equal(t.items[0].block.count, 3);
	assert_int_equal(t.items[1].exchange.kind, FT_BUS_SILENCE);
	assert_true(t.items[1].exchange.command.checksum_ok);
}

/* Undamaged exchanges are all found and none is invented, whatever happens to others. */
static void damage_stays_where_it_is(void **state)
{
	struct ft_arena a = { 0 };
	struct play_row *rows;
	size_t n = play_rows(folder, &a, &rows), lost = 0, whole = 0;

	(void)state;
	for (seed = 1; seed < 400; seed += 2) {
		static struct traffic t;
		static bool damaged[128];
		struct bus_blocks b;
		int64_t at = 0, starts[128];
		uint64_t keep = seed;
		t.count = 0;
		bus_blocks_init(&b, true, &t, collect);
		for (size_t i = 0; i < n && i < 128; i++) {
			struct ft_bus_word w[128];
			size_t words = play_words(&rows[i], &at, w);
			damaged[i] = false;
			starts[i] = w[0].start_ns;
			for (size_t k = 0; k < words; k++) {
				if (roll(100) >= 2) {
					bus_blocks_word(&b, &w[k]);
					continue;
				}
				damaged[i] = true;
				switch (roll(3)) {
				case 0:
					continue; /* lost */
				case 1:
					w[k].kind = FT_BUS_FRAMING;
					w[k].byte ^= (uint8_t)(1U << roll(8));
					break;
				default:
					w[k].byte ^= (uint8_t)(1U << roll(8));
					w[k].mode ^= roll(4) == 0;
				}
				bus_blocks_word(&b, &w[k]);
			}
		}
		bus_blocks_end(&b, at);
		for (size_t i = 0; i < n; i++) {
			bool found = false;
			for (size_t k = 0; k < t.count && !damaged[i]; k++) {
				const struct ft_bus_exchange *x = &t.items[k].exchange;
				found |= t.items[k].kind == FT_BUS_EXCHANGE && x->command.start_ns == starts[i] &&
					x->command.checksum_ok && x->kind != FT_BUS_GARBLED;
			}
			whole += !damaged[i];
			lost += !damaged[i] && !found;
		}
		for (size_t k = 0; k < t.count; k++) { /* a command with a good sum begins where one was sent */
			const struct ft_bus_exchange *x = &t.items[k].exchange;
			bool sent = false;
			for (size_t i = 0; i < n; i++)
				sent |= x->command.start_ns == starts[i] || damaged[i];
			assert_true(t.items[k].kind != FT_BUS_EXCHANGE || !x->command.checksum_ok || sent);
		}
		seed = keep;
	}
	assert_true(whole > 10000);
	if (lost)
		fail_msg("%zu of %zu undamaged exchanges were not found", lost, whole);
	ft_arena_done(&a);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_word_at_every_rate),
		cmocka_unit_test(words_back_to_back),
		cmocka_unit_test(unlike_edges_do_not_bend_the_rate),
		cmocka_unit_test(glitches_are_counted_and_not_read),
		cmocka_unit_test(false_start_framing_break),
		cmocka_unit_test(a_beginning_in_the_middle_invents_nothing),
		cmocka_unit_test(worked_exchanges_byte_for_byte),
		cmocka_unit_test(link_level_vectors),
		cmocka_unit_test(late_answer_over_the_next_command),
		cmocka_unit_test(damage_stays_where_it_is),
	};

	folder = argc > 1 ? argv[1] : ".";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
