/* SPDX-License-Identifier: Apache-2.0 */
/* One line's edges become words. Every word is sampled in the middle of its bits by the bit time that its own edges
 * show, so that a sender a few per cent off is read as rightly as one that is exact. */
#include "room.h"

/* In hundredths of a bit. */
enum {
	FALSE_START = 50, /* active for less is no start bit */
	GLITCH = 33,      /* a shorter pulse is no bit */
	/* Between the last data bit and the next start bit nothing else can be: a word's edges are complete when the
	 * slowest sender would have ended it. */
	WORD_OVER = 1120,
	STOP_READ = 1030, /* from here on an edge belongs to the next word */
	/* The longest inactive run inside a word that an active bit follows is eight data bits; after more, the next
	 * active edge is a start bit for certain. */
	SURE_IDLE = 850,
	BREAK_LEAST = 1150, /* 1.2 ms, section 3: longer than any word */
};

enum {
	SPAN_BITS_LEAST = 3, /* shorter spans measure the tick of the capture and not the sender */
	OFF_MOST = 7,        /* per cent: beyond, two bits are taken for one; the line reads as nonsense anyhow */
};

static int64_t bits(int hundredths)
{
	return BUS_BIT_NS * hundredths / 100;
}

void bus_uart_init(struct bus_uart *u, enum ft_bus_line line, void *to,
                   void (*word)(void *to, const struct ft_bus_word *w))
{
	*u = (struct bus_uart){ .line = line, .to = to, .word = word, .state = BUS_UART_BLIND };
}

struct measure {
	int64_t bit_ns;
	int64_t span_ns;
	int span_bits; /* 0: not measured */
};

/* From the shorter spans to the longer, so that the count of bits in a long one is right although the sender is off. */
static void measure_from(const int64_t *edges, unsigned count, unsigned first, struct measure *m)
{
	int64_t bit = BUS_BIT_NS;

	for (unsigned i = first + 2; i < count; i += 2) {
		int64_t span = edges[i] - edges[first];
		int64_t n = (span + bit / 2) / bit;
		if (n < SPAN_BITS_LEAST || n >= BUS_WORD_BITS)
			continue;
		if (100 * span < (100 - OFF_MOST) * n * BUS_BIT_NS || 100 * span > (100 + OFF_MOST) * n * BUS_BIT_NS)
			continue;
		bit = span / n;
		if (n > m->span_bits) {
			m->span_ns = span;
			m->span_bits = (int)n;
		}
	}
}

/* Edges of like direction only: an optocoupler delays rise and fall unlike. */
static struct measure measure(const int64_t *edges, unsigned count)
{
	struct measure m = { 0 };

	measure_from(edges, count, 0, &m);
	measure_from(edges, count, 1, &m);
	m.bit_ns = m.span_bits ? m.span_ns / m.span_bits : BUS_BIT_NS;
	return m;
}

/* Takes out pulses too short to be bits, the shortest first: beside an edge a spike makes two short pulses, and only
 * one of them is the spike. Returns how many edges are left. */
static unsigned without_glitches(struct bus_uart *u, unsigned *ret_glitches)
{
	unsigned n = u->edge_count;

	for (*ret_glitches = 0; n > 2; ++*ret_glitches, n -= 2) {
		unsigned shortest = 0;
		int64_t least = bits(GLITCH);
		for (unsigned i = 1; i + 1 < n; i++)
			if (u->edges[i + 1] - u->edges[i] < least) {
				least = u->edges[i + 1] - u->edges[i];
				shortest = i;
			}
		if (!shortest)
			break;
		memmove(u->edges + shortest, u->edges + shortest + 2, (n - shortest - 2) * sizeof *u->edges);
	}
	return n;
}

/* Bit i of the result: was the line active in the middle of bit i? */
static unsigned sample(const int64_t *edges, unsigned count, int64_t bit_ns)
{
	unsigned active = 1, next = 1, read = 0; /* active from the start edge on */

	for (unsigned i = 0; i < BUS_WORD_BITS; i++) {
		int64_t at = edges[0] + (2 * (int64_t)i + 1) * bit_ns / 2;
		while (next < count && edges[next] <= at) {
			active ^= 1;
			next++;
		}
		read |= active << i;
	}
	return read;
}

void bus_uart_finish(struct bus_uart *u)
{
	unsigned glitches, count = without_glitches(u, &glitches), read;
	/* where a spike was, an edge may lie some way from where it belongs: such a word measures nobody's clock */
	struct measure m = glitches ? (struct measure){ .bit_ns = BUS_BIT_NS } : measure(u->edges, count);
	bool all_active;

	read = sample(u->edges, count, m.bit_ns);
	all_active = read == (1U << BUS_WORD_BITS) - 1;
	u->state = u->active ? BUS_UART_HELD : BUS_UART_IDLE;
	u->bare = all_active && u->active;
	if (u->bare)
		return; /* how long it lasts decides what it is */
	struct ft_bus_word w = {
		.start_ns = u->start_ns,
		.end_ns = u->start_ns + BUS_WORD_BITS * m.bit_ns,
		.byte = (uint8_t) ~(read >> 1),
		.mode = !(read >> 9 & 1),
		.line = u->line,
		.kind = read >> 10 & 1 ? FT_BUS_FRAMING : FT_BUS_WORD,
		.glitches = (uint8_t)(glitches < 255 ? glitches : 255),
		.span_bits = (uint8_t)m.span_bits,
		.span_ns = (int32_t)m.span_ns,
	};
	u->word(u->to, &w);
}

static void begin(struct bus_uart *u, int64_t at_ns)
{
	u->state = BUS_UART_WORD;
	u->start_ns = u->edges[0] = at_ns;
	u->edge_count = 1;
	u->deadline_ns = at_ns + bits(WORD_OVER);
}

static void release(struct bus_uart *u, int64_t at_ns)
{
	struct ft_bus_word w = { .start_ns = u->start_ns, .end_ns = at_ns, .line = u->line, .kind = FT_BUS_BREAK };

	u->state = BUS_UART_IDLE;
	if (u->bare)
		u->word(u->to, &w);
}

/* An edge inside a word, before the next one can have begun. */
static void inside(struct bus_uart *u, int64_t at_ns, bool active)
{
	/* too short for a start bit, unless the line only twitches and is active again at once */
	if (!active && u->edge_count == 1 && at_ns - u->start_ns < bits(FALSE_START))
		u->state = BUS_UART_DOUBT;
	if (u->edge_count < BUS_UART_EDGES)
		u->edges[u->edge_count++] = at_ns;
}

/* Late in a word: does this edge still belong to it? By the sender's own bit time. */
static bool belongs(const struct bus_uart *u, int64_t at_ns, bool active)
{
	struct measure m;

	if (at_ns >= u->deadline_ns)
		return false;
	if (!active) /* no word begins with it, and a slow sender's last bit may end this late */
		return true;
	if (at_ns - u->start_ns < bits(STOP_READ - STOP_READ * OFF_MOST / 100))
		return true;
	m = measure(u->edges, u->edge_count);
	return (at_ns - u->start_ns) * 100 < m.bit_ns * STOP_READ;
}

void bus_uart_edge(struct bus_uart *u, int64_t at_ns, bool active)
{
	int64_t quiet = at_ns - u->changed_ns;
	bool heard = u->heard;

	if (heard && active == u->active)
		return;
	if (u->state == BUS_UART_WORD && !belongs(u, at_ns, active))
		bus_uart_finish(u);
	u->active = active;
	u->heard = true;
	u->changed_ns = at_ns;
	switch (u->state) {
	case BUS_UART_BLIND: /* the capture may have begun in the middle of a word */
		if (heard && active && quiet >= bits(SURE_IDLE))
			begin(u, at_ns);
		break;
	case BUS_UART_IDLE:
		if (active)
			begin(u, at_ns);
		break;
	case BUS_UART_DOUBT:
		if (quiet < bits(GLITCH)) {
			u->state = BUS_UART_WORD;
			inside(u, at_ns, active);
		} else {
			u->glitches++;
			begin(u, at_ns);
		}
		break;
	case BUS_UART_WORD:
		inside(u, at_ns, active);
		break;
	case BUS_UART_HELD:
		if (!active)
			release(u, at_ns);
		break;
	}
}

int64_t bus_uart_horizon(const struct bus_uart *u, int64_t now_ns)
{
	if (u->state == BUS_UART_DOUBT)
		return now_ns - u->changed_ns < bits(GLITCH) ? u->start_ns : now_ns;
	return u->state == BUS_UART_WORD || (u->state == BUS_UART_HELD && u->bare) ? u->start_ns : now_ns;
}

void bus_uart_end(struct bus_uart *u, int64_t now_ns)
{
	u->glitches += u->state == BUS_UART_DOUBT;
	if (u->state == BUS_UART_WORD && now_ns - u->start_ns >= bits(1050))
		bus_uart_finish(u);
	if (u->state == BUS_UART_HELD && now_ns - u->start_ns >= bits(BREAK_LEAST))
		release(u, now_ns);
}
