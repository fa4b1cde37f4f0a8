/* SPDX-License-Identifier: Apache-2.0 */
/* The layers joined to one whole. */
#include "capture.h"

enum { QUEUE = 32 }; /* words of one line that wait until the other has gone as far; a word or two in practice */

struct queue {
	struct ft_bus_word words[QUEUE];
	unsigned first, count;
};

struct ft_bus {
	struct ft_bus_options o;
	struct ft_bus_listener listener;
	struct ft_findings *findings;
	struct bus_capture *capture; /* NULL while edges or words are handed over */
	struct bus_capture_info none;
	struct bus_lines *lines;
	struct bus_uart uart[FT_BUS_LINES];
	struct queue queue[FT_BUS_LINES];
	struct bus_blocks blocks;
	bool blocks_begun, words_seen;
	struct bus_meaning meaning;
	struct bus_judge *judge;
	uint64_t edges[FT_BUS_LINES];
	int64_t last_ns; /* end of the last word or edge */
	struct ft_bus_report report;
};

static const struct bus_capture_info *info(const struct ft_bus *b)
{
	return b->capture ? bus_capture_info(b->capture) : &b->none;
}

static void on_event(void *to, const struct ft_bus_event *e)
{
	struct ft_bus *b = to;

	bus_judge_event(b->judge, &b->report, e);
	if (b->listener.event)
		b->listener.event(b->listener.to, e);
}

static void on_item(void *to, const struct ft_bus_item *i)
{
	struct ft_bus *b = to;
	const struct ft_bus_exchange *x = &i->exchange;

	if (i->kind == FT_BUS_EXCHANGE) {
		b->report.exchanges++;
		b->report.damaged += !x->command.checksum_ok || x->command.framing_errors;
		b->report.damaged += x->kind == FT_BUS_GARBLED;
	} else if (i->kind == FT_BUS_STRAY) {
		b->report.strays++;
	}
	bus_judge_item(b->judge, &b->report, i);
	if (b->listener.item)
		b->listener.item(b->listener.to, i);
	bus_meaning_item(&b->meaning, i);
}

static void on_word(struct ft_bus *b, const struct ft_bus_word *w)
{
	struct ft_bus_line_report *l = &b->report.lines[w->line];

	if (!b->blocks_begun) {
		b->report.timing_known = !b->o.timing_unknown && !info(b)->timing_unknown;
		bus_blocks_init(&b->blocks, b->report.timing_known, b, on_item);
		b->report.resolution_ns = info(b)->resolution_ns; /* the judge measures with it on the way */
		b->blocks_begun = true;
	}
	if (w->kind == FT_BUS_BREAK) {
		l->breaks++;
	} else {
		l->words++;
		l->framing_errors += w->kind == FT_BUS_FRAMING;
		l->framing_mode0 += w->kind == FT_BUS_FRAMING && !w->mode;
		l->span_ns += w->span_ns;
		l->span_bits += w->span_bits;
	}
	l->glitches += w->glitches;
	if (w->end_ns > b->last_ns)
		b->last_ns = w->end_ns;
	if (b->listener.word)
		b->listener.word(b->listener.to, w);
	bus_judge_word(b->judge, w);
	bus_blocks_word(&b->blocks, w);
}

/* Hands on what can have no earlier word before it any more, by start. */
static void release(struct ft_bus *b, int64_t now_ns)
{
	while (b->queue[0].count || b->queue[1].count) {
		struct queue *q[2] = { &b->queue[0], &b->queue[1] };
		int line =
			!q[0]->count || (q[1]->count && q[1]->words[q[1]->first].start_ns < q[0]->words[q[0]->first].start_ns);
		const struct ft_bus_word *w = &q[line]->words[q[line]->first];
		if (!q[!line]->count && bus_uart_horizon(&b->uart[!line], now_ns) < w->start_ns && q[line]->count < QUEUE)
			return;
		q[line]->first = (q[line]->first + 1) % QUEUE;
		q[line]->count--;
		on_word(b, w);
	}
}

static void queue_word(void *to, const struct ft_bus_word *w)
{
	struct ft_bus *b = to;
	struct queue *q = &b->queue[w->line];

	if (q->count == QUEUE) /* the other line hangs in a break: order no longer matters to it */
		release(b, w->start_ns);
	q->words[(q->first + q->count++) % QUEUE] = *w;
}

static void on_edge(void *to, enum ft_bus_line line, int64_t at_ns, bool active)
{
	struct ft_bus *b = to;

	bus_uart_idle(&b->uart[!line], at_ns);
	bus_uart_edge(&b->uart[line], at_ns, active);
	b->edges[line]++;
	if (b->queue[0].count | b->queue[1].count)
		release(b, at_ns);
	b->last_ns = at_ns > b->last_ns ? at_ns : b->last_ns;
}

static enum ft_status take_edges(void *to, const struct ft_bus_edge *edges, size_t n, struct ft_error *e)
{
	struct ft_bus *b = to;

	b->report.edges += n;
	return bus_lines_feed(b->lines, info(b), edges, n, e);
}

static enum ft_status take_words(void *to, const struct ft_bus_word *words, size_t n, struct ft_error *e)
{
	struct ft_bus *b = to;

	(void)e;
	b->words_seen = true;
	for (size_t i = 0; i < n; i++)
		on_word(b, &words[i]);
	return FT_OK;
}

enum ft_status ft_bus_new(const struct ft_bus_options *o, const struct ft_bus_listener *l, struct ft_findings *findings,
                          struct ft_arena *a, struct ft_bus **ret, struct ft_error *e)
{
	struct ft_bus *b = FT_NEW(a, struct ft_bus);
	enum ft_status s;

	if (!b)
		return ft_fail_memory(e, "reading the capture");
	b->o = *o;
	b->o.name = o->name ? o->name : "the capture";
	b->findings = findings;
	if (l)
		b->listener = *l;
	b->report.format = o->format;
	b->report.timing_known = !o->timing_unknown;
	b->report.decimals = -1;
	s = bus_lines_new(&b->o, (struct bus_line_sink){ b, on_edge }, a, &b->lines, e);
	for (int line = 0; line < FT_BUS_LINES; line++)
		bus_uart_init(&b->uart[line], (enum ft_bus_line)line, b, queue_word);
	if (s == FT_OK)
		s = bus_meaning_init(&b->meaning, &b->report, a, b, on_event, e);
	if (s == FT_OK)
		s = bus_judge_new(&b->o, a, &b->judge, e);
	if (s == FT_OK && o->format != FT_BUS_EDGES)
		s = bus_capture_new(&b->o, (struct bus_sink){ b, take_edges, take_words }, a, &b->capture, e);
	*ret = b;
	return s;
}

void ft_bus_done(struct ft_bus *b)
{
	(void)b; /* all of it lives in the arena */
}

enum ft_status ft_bus_feed(struct ft_bus *b, const void *bytes, size_t n, struct ft_error *e)
{
	return bus_capture_feed(b->capture, bytes, n, e);
}

bool ft_bus_is_session(const void *head, size_t n)
{
	return n >= 4 && (memcmp(head, "PK\3\4", 4) == 0 || memcmp(head, "\037\213\010", 3) == 0);
}

enum ft_status ft_bus_feed_session(struct ft_bus *b, const struct ft_bus_source *s, struct ft_error *e)
{
	return bus_session(b->capture, b->o.name, s, e);
}

enum ft_status ft_bus_feed_edges(struct ft_bus *b, const struct ft_bus_edge *edges, size_t n, struct ft_error *e)
{
	return take_edges(b, edges, n, e);
}

enum ft_status ft_bus_feed_words(struct ft_bus *b, const struct ft_bus_word *words, size_t n, struct ft_error *e)
{
	return take_words(b, words, n, e);
}

static void report_lines(struct ft_bus *b)
{
	for (int line = 0; line < FT_BUS_LINES; line++) {
		struct ft_bus_line_report *l = &b->report.lines[line];
		struct bus_choice c = bus_lines_choice(b->lines, (enum ft_bus_line)line);
		if (c.channel >= 0 && c.channel < (int)info(b)->channel_count)
			l->channel = info(b)->channels[c.channel].name;
		l->inverted = c.inverted;
		l->flat = c.channel >= 0 && b->edges[line] <= 1; /* the first edge only tells the level */
		l->flat_low = l->flat && b->uart[line].active;
		l->glitches += b->uart[line].glitches;
	}
	b->report.swapped = bus_lines_swapped(b->lines);
}

enum ft_status ft_bus_end(struct ft_bus *b, const struct ft_bus_report **ret, struct ft_error *e)
{
	enum ft_status s = b->capture ? bus_capture_end(b->capture, e) : FT_OK;
	int64_t end_ns;

	if (s == FT_OK && !b->words_seen)
		s = bus_lines_end(b->lines, info(b), e);
	if (s != FT_OK)
		return s;
	end_ns = info(b)->end_ns > b->last_ns ? info(b)->end_ns : b->last_ns;
	for (int line = 0; line < FT_BUS_LINES; line++)
		bus_uart_end(&b->uart[line], end_ns);
	release(b, INT64_MAX);
	if (b->blocks_begun)
		bus_blocks_end(&b->blocks, end_ns);
	bus_meaning_end(&b->meaning, end_ns);
	if (b->meaning.failed)
		return ft_fail_memory(e, "reading the capture");
	b->report.format = b->capture ? info(b)->format : FT_BUS_EDGES;
	b->report.cut = info(b)->cut;
	b->report.end_ns = end_ns;
	b->report.resolution_ns = info(b)->resolution_ns;
	b->report.bytes_read = info(b)->bytes;
	b->report.unknown_levels = info(b)->unknown_levels;
	if (!b->words_seen)
		report_lines(b);
	bus_judge_end(b->judge, &b->report, b->o.name, b->findings);
	*ret = &b->report;
	return FT_OK;
}

void ft_bus_tell(const struct ft_bus *b, const struct ft_bus_exchange *x, struct ft_buf *out)
{
	bus_meaning_tell(&b->meaning, x, out);
}
