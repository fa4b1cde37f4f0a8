/* SPDX-License-Identifier: Apache-2.0 */
/* Words become edges, edges become a value change dump. */
#include "fettle/bus_wave.h"

#include "room.h"

enum {
	PENDING_MAX = 64, /* edges of two words that overlap, and levels set meanwhile */
};

struct pending {
	int64_t at_ns;
	uint8_t line;
	bool active;
};

struct ft_bus_wave {
	struct ft_buf *out;
	int64_t resolution_ns;
	bool inverted[FT_BUS_LINES];
	int level[FT_BUS_LINES]; /* as last written; -1 nothing yet */
	struct pending pending[PENDING_MAX];
	size_t count;
	int64_t tick; /* as last written; -1 nothing yet */
};

/* One printable character each, as IEEE 1364 names variables. */
static const char id_codes[FT_BUS_LINES] = { '!', '"' };

enum ft_status ft_bus_wave_begin(const struct ft_bus_wave_options *o, struct ft_arena *a, struct ft_buf *out,
                                 struct ft_bus_wave **ret, struct ft_error *e)
{
	static const char *const names[FT_BUS_LINES] = { "controller", "peripheral" };
	struct ft_bus_wave *w = FT_NEW(a, struct ft_bus_wave);
	int64_t resolution = o->resolution_ns > 0 ? o->resolution_ns : 1000, unit = resolution;
	static const char *const units[] = { "ns", "us", "ms", "s" };
	size_t u = 0;

	if (!w)
		return ft_fail_memory(e, "writing the capture");
	while (unit % 1000 == 0 && u < 3) {
		unit /= 1000;
		u++;
	}
	/* The standard knows 1, 10 and 100 of a unit; any other tick is counted in the unit itself. */
	if (unit != 1 && unit != 10 && unit != 100) {
		resolution /= unit;
		unit = 1;
	}
	*w = (struct ft_bus_wave){ .out = out, .resolution_ns = resolution, .level = { -1, -1 }, .tick = -1 };
	ft_buf_printf(out, "$timescale %d %s $end\n$scope module bus $end\n", (int)unit, units[u]);
	for (int line = 0; line < FT_BUS_LINES; line++) {
		w->inverted[line] = o->inverted[line];
		ft_buf_printf(out, "$var wire 1 %c %s $end\n", id_codes[line], o->names[line] ? o->names[line] : names[line]);
	}
	ft_buf_printf(out, "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n");
	w->tick = 0;
	for (int line = 0; line < FT_BUS_LINES; line++) {
		w->level[line] = !w->inverted[line];
		ft_buf_printf(out, "%d%c\n", w->level[line], id_codes[line]);
	}
	ft_buf_printf(out, "$end\n");
	*ret = w;
	return FT_OK;
}

static void put(struct ft_bus_wave *w, const struct pending *p)
{
	int64_t tick = (p->at_ns + w->resolution_ns / 2) / w->resolution_ns;
	int level = p->active == w->inverted[p->line];

	if (level == w->level[p->line])
		return;
	if (tick > w->tick) {
		ft_buf_printf(w->out, "#%lld\n", (long long)tick);
		w->tick = tick;
	}
	w->level[p->line] = level;
	ft_buf_byte(w->out, (char)('0' + level));
	ft_buf_byte(w->out, id_codes[p->line]);
	ft_buf_byte(w->out, '\n');
}

/* All edges before `now_ns` are final, since whatever comes begins later. */
static void flush(struct ft_bus_wave *w, int64_t now_ns)
{
	size_t n = 0;

	while (n < w->count && w->pending[n].at_ns < now_ns)
		put(w, &w->pending[n++]);
	memmove(w->pending, w->pending + n, (w->count - n) * sizeof *w->pending);
	w->count -= n;
}

static enum ft_status add(struct ft_bus_wave *w, enum ft_bus_line line, int64_t at_ns, bool active, struct ft_error *e)
{
	size_t at = w->count;

	if (w->count == PENDING_MAX)
		return ft_fail(e, FT_E_INTERNAL, "Words of the capture overlap more than two lines can carry.");
	for (; at > 0 && w->pending[at - 1].at_ns > at_ns; at--)
		w->pending[at] = w->pending[at - 1];
	w->pending[at] = (struct pending){ at_ns, (uint8_t)line, active };
	w->count++;
	return w->out->status;
}

enum ft_status ft_bus_wave_level(struct ft_bus_wave *w, enum ft_bus_line line, int64_t at_ns, bool active,
                                 struct ft_error *e)
{
	flush(w, at_ns);
	return add(w, line, at_ns, active, e);
}

/* The active level of each bit in order: start, data from the lowest, mode, stop. */
static unsigned shape(const struct ft_bus_word *word)
{
	unsigned bits = 1U | ((unsigned)(uint8_t)~word->byte << 1) | ((unsigned)!word->mode << 9);

	return bits | (word->kind == FT_BUS_FRAMING ? 1U << 10 : 0);
}

enum ft_status ft_bus_wave_word(struct ft_bus_wave *w, const struct ft_bus_word *word, struct ft_error *e)
{
	int64_t span = word->span_bits ? word->span_ns : BUS_BIT_NS;
	int bits = word->span_bits ? word->span_bits : 1;
	unsigned active = shape(word);
	enum ft_status s = FT_OK;

	flush(w, word->start_ns);
	if (word->kind == FT_BUS_BREAK) {
		s = add(w, word->line, word->start_ns, true, e);
		return s == FT_OK ? add(w, word->line, word->end_ns, false, e) : s;
	}
	for (int bit = 0; s == FT_OK && bit <= BUS_WORD_BITS; bit++) {
		bool now = active >> bit & 1, before = bit && (active >> (bit - 1) & 1);
		if (now != before)
			s = add(w, word->line, word->start_ns + span * bit / bits, now, e);
	}
	return s;
}

enum ft_status ft_bus_wave_end(struct ft_bus_wave *w, int64_t end_ns, struct ft_error *e)
{
	int64_t tick = end_ns / w->resolution_ns;

	flush(w, INT64_MAX);
	if (tick > w->tick)
		ft_buf_printf(w->out, "#%lld\n", (long long)tick);
	return w->out->status == FT_OK ? FT_OK : ft_fail_memory(e, "writing the capture");
}

void ft_bus_words_head(struct ft_buf *out)
{
	ft_buf_printf(out, "bus-words 1\n");
}

void ft_bus_words_line(const struct ft_bus_word *w, struct ft_buf *out)
{
	ft_buf_printf(out, "%lld.%03d %c %02X%s", (long long)(w->start_ns / 1000), (int)(w->start_ns % 1000),
	              w->line == FT_BUS_CONTROLLER ? 'C' : 'P', w->byte, w->mode ? "*" : "");
	if (w->kind == FT_BUS_FRAMING)
		ft_buf_printf(out, " framing");
	if (w->kind == FT_BUS_BREAK)
		ft_buf_printf(out, " break %lld", (long long)((w->end_ns - w->start_ns) / 1000));
	if (w->glitches)
		ft_buf_printf(out, " glitches %d", w->glitches);
	if (w->span_bits)
		ft_buf_printf(out, " span %ld/%d", (long)w->span_ns, w->span_bits);
	ft_buf_byte(out, '\n');
}

int64_t ft_bus_block_words(enum ft_bus_line line, const uint8_t *bytes, size_t n, bool plain, int64_t start_ns,
                           int64_t gap_ns, struct ft_bus_word *ret)
{
	int64_t length = BUS_BIT_NS * BUS_WORD_BITS;

	for (size_t i = 0; i < n; i++) {
		size_t marked = line == FT_BUS_CONTROLLER ? 0 : n - 1;
		ret[i] = (struct ft_bus_word){ .start_ns = start_ns,
			                           .end_ns = start_ns + length,
			                           .byte = bytes[i],
			                           .mode = !plain && i == marked,
			                           .line = line };
		start_ns += length + gap_ns;
	}
	return n ? start_ns - gap_ns : start_ns;
}
