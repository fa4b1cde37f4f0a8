/* SPDX-License-Identifier: Apache-2.0 */
/* Our own text for words with times: see docs/bus.md. */
#include "capture.h"

/* Half of what a time in ns can hold, as in dumps: a break of an hour behind the last word must still fit. */
#define US_MOST (INT64_MAX / 2 / 1000)

struct words {
	bool headed;
	int64_t last_ns;
};

static bool looks_like(struct ft_slice head)
{
	return ft_slice_find(head, FT_SLICE("bus-words ")) < head.n;
}

/* Microseconds with at most three decimals. */
static bool time_of(struct ft_slice s, int64_t *ret_ns)
{
	struct ft_slice rest = s, whole, part = { 0 };
	int64_t us, ns = 0, scale = 100;

	if (!ft_slice_split(&rest, '.', &whole) || !ft_slice_i64(whole, &us) || us < 0 || us > US_MOST)
		return false;
	if (rest.p) {
		part = rest;
		if (part.n < 1 || part.n > 3)
			return false;
		for (size_t i = 0; i < part.n; i++, scale /= 10) {
			if (!ft_is_digit(part.p[i]))
				return false;
			ns += (part.p[i] - '0') * scale;
		}
	}
	*ret_ns = us * 1000 + ns;
	return true;
}

static bool next(struct ft_slice *line, struct ft_slice *ret)
{
	*line = ft_slice_trim(*line);
	if (!line->n)
		return false;
	ft_slice_split(line, ' ', ret);
	return true;
}

/* "framing", "break 120000", "glitches 2", "span 937503/9". */
static bool flag(struct ft_slice name, struct ft_slice *line, struct ft_bus_word *w)
{
	struct ft_slice value, span;
	int64_t n, bits;

	if (ft_slice_is(name, "framing")) {
		w->kind = FT_BUS_FRAMING;
		return true;
	}
	if (!next(line, &value))
		return false;
	if (ft_slice_is(name, "break")) {
		if (!ft_slice_i64(value, &n) || n < 1 || n > INT64_C(3600000000))
			return false;
		w->kind = FT_BUS_BREAK;
		w->end_ns = w->start_ns + n * 1000;
		return true;
	}
	if (ft_slice_is(name, "glitches")) {
		if (!ft_slice_i64(value, &n) || n < 0 || n > UINT8_MAX)
			return false;
		w->glitches = (uint8_t)n;
		return true;
	}
	if (!ft_slice_is(name, "span") || !ft_slice_split(&value, '/', &span) || !ft_slice_i64(span, &n) ||
	    !ft_slice_i64(value, &bits) || bits < 1 || bits >= BUS_WORD_BITS || n < 1 || n > 10 * BUS_NS_PER_MS)
		return false;
	w->span_ns = (int32_t)n;
	w->span_bits = (uint8_t)bits;
	w->end_ns = w->start_ns + n * BUS_WORD_BITS / bits;
	return true;
}

static bool word(struct ft_slice line, struct ft_bus_word *w)
{
	struct ft_slice time, who, byte, name;
	uint32_t value;

	*w = (struct ft_bus_word){ 0 };
	if (!next(&line, &time) || !time_of(time, &w->start_ns) || !next(&line, &who) || who.n != 1 || !next(&line, &byte))
		return false;
	if (who.p[0] != 'C' && who.p[0] != 'P')
		return false;
	w->line = who.p[0] == 'C' ? FT_BUS_CONTROLLER : FT_BUS_PERIPHERAL;
	w->mode = byte.n == 3 && byte.p[2] == '*';
	if (!(byte.n == 2 || w->mode) || !ft_slice_hex((struct ft_slice){ byte.p, 2 }, &value))
		return false;
	w->byte = (uint8_t)value;
	w->end_ns = w->start_ns + BUS_WORD_BITS * BUS_BIT_NS;
	while (next(&line, &name))
		if (!flag(name, &line, w))
			return false;
	return true;
}

static enum ft_status line(struct bus_capture *c, struct ft_slice s, struct ft_error *e)
{
	struct words *r = c->reader;
	struct ft_bus_word w;

	s = ft_slice_trim(s);
	if (!s.n || s.p[0] == '#')
		return FT_OK;
	if (!r->headed) {
		if (!ft_slice_is(s, "bus-words 1"))
			return ft_fail(e, FT_E_INPUT, "%s, line %u: the heading must be \"bus-words 1\".", c->o.name, c->info.line);
		r->headed = true;
		return FT_OK;
	}
	if (ft_slice_is(s, "timing unknown")) {
		c->info.timing_unknown = true;
		return FT_OK;
	}
	if (!word(s, &w))
		return ft_fail(e, FT_E_INPUT, "%s, line %u: \"%.*s\" is no word; one reads 12034.5 C 0B*.", c->o.name,
		               c->info.line, (int)(s.n < 40 ? s.n : 40), s.p);
	if (w.start_ns < r->last_ns)
		return ft_fail(e, FT_E_INPUT, "%s, line %u: the time runs backwards.", c->o.name, c->info.line);
	r->last_ns = w.start_ns;
	if (w.end_ns > c->info.end_ns)
		c->info.end_ns = w.end_ns;
	return c->sink.words(c->sink.to, &w, 1, e);
}

const struct bus_format bus_format_words = {
	.format = FT_BUS_WORDS, .reader_size = sizeof(struct words), .looks_like = looks_like, .line = line
};
