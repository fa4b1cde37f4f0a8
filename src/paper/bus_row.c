/* SPDX-License-Identifier: Apache-2.0 */
/* One row of the bus on squared paper: the controller's lane above, the peripherals' below, what was meant
 * written over and under them, gaps measured between them. */
#include "bus_draw.h"

#include <math.h>

#define BOX        24.0
#define BETWEEN    48.0 /* the lanes: three squares */
#define EDGE       8.0
#define WAVE       32.0 /* under a box where bits are drawn */
#define BAND       112.0
#define LIMIT_NS   5000000.0 /* MDB/ICP section 3: an answer begins within 5 ms */
#define GAP_MOST   25.0      /* ms: a longer gap inside an exchange is drawn as long as this, with a cut */
#define BLOCK_MOST 90.0      /* ms: 36 bytes with gaps of 1 ms take 76 */
#define TEXT_MOST  208.0

static double ms_of(int64_t ns)
{
	return (double)ns / 1e6;
}

static double block_width(const struct drawing *d, const struct ft_bus_block *b, bool *squeezed)
{
	double ms = ms_of(b->end_ns - b->start_ns);

	if (ms > BLOCK_MOST) {
		ms = BLOCK_MOST;
		*squeezed = true;
	}
	return fmax(ms * d->per_ms, 6);
}

static double gap_width(const struct drawing *d, int64_t ns, bool *squeezed)
{
	double ms = ms_of(ns);

	if (ms > GAP_MOST) {
		ms = GAP_MOST;
		*squeezed = true;
	}
	return ms * d->per_ms;
}

static void lay_exchange(struct drawing *d, const struct ft_bus_exchange *x, struct cell *c)
{
	double at = 0, limit;

	c->closing = -1;
	if (!x->again) {
		at = block_width(d, &x->command, &c->squeezed);
		c->asked[1] = at;
	}
	limit = at + ms_of((int64_t)LIMIT_NS) * d->per_ms;
	if (x->answer.count) {
		c->answer[0] = at + gap_width(d, x->response_ns > 0 ? x->response_ns : 0, &c->squeezed);
		c->answer[1] = c->answer[0] + block_width(d, &x->answer, &c->squeezed);
		at = c->answer[1];
		if (x->closing_at_ns >= 0) {
			int64_t gap = x->closing_at_ns - x->answer.end_ns;
			c->closing = at + gap_width(d, gap > 0 ? gap : 0, &c->squeezed);
			at = c->closing + 11 / 9.6 * d->per_ms; /* eleven bits at 9600 a second */
		}
	}
	c->w = fmax(at, limit + 4);
}

static double widest(enum face face, const char *text, double most)
{
	return fmin(svg_width(face, ft_slice_of(text ? text : "")), most);
}

/* The width a cell needs for words of up to four lines. */
static double words_width(struct drawing *d, const char *text, double at_least)
{
	double w = fmax(at_least, widest(FACE_BODY, text, 120));

	while (w < TEXT_MOST) {
		struct lines l = svg_break(d->arena, FACE_BODY, text, w, 6);
		bool cut = l.count > 4;
		for (int i = 0; i < l.count && !cut; i++)
			cut = l.list[i].n >= 3 && memcmp(l.list[i].p + l.list[i].n - 3, "\342\200\246", 3) == 0;
		if (!cut)
			break;
		w += SQUARE;
	}
	return w;
}

static const char *pin_text(struct drawing *d, const struct ft_bus_pin *p)
{
	const char *t = ft_arena_printf(d->arena, "%s %s", ft_weight_mark(p->weight), p->word);

	return t ? t : "";
}

void cell_lay(struct drawing *d, const struct ft_bus_figure *f, struct cell *c)
{
	double w;

	c->closing = -1;
	if (f->kind == FT_BUS_FIGURE_EXCHANGE) {
		lay_exchange(d, &f->exchange, c);
	} else if (f->kind == FT_BUS_FIGURE_STRAY) {
		c->w = block_width(d, &f->block, &c->squeezed);
		if (f->line == FT_BUS_CONTROLLER)
			c->asked[1] = c->w;
		else
			c->answer[1] = c->w;
	} else {
		c->w = f->kind == FT_BUS_FIGURE_IDLE && f->exchanges == 1 ? BAND / 2 : BAND;
		c->squeezed = true;
	}
	w = fmax(c->w, fmax(widest(FACE_SMALL, f->who, TEXT_MOST), widest(FACE_STRONG, f->asked, 120)));
	w = words_width(d, f->told, w);
	for (int i = 0; i < c->pin_count; i++)
		w = fmax(w, svg_width(FACE_STRONG, ft_slice_of(pin_text(d, &d->p->pins[c->pins[i]]))));
	c->w = ceil((w + 6) / SQUARE) * SQUARE;
	c->above = svg_break(d->arena, FACE_STRONG, f->asked, c->w - 4, 2);
	c->below = svg_break(d->arena, FACE_BODY, f->told, c->w - 4, 4);
}

/* ---- drawing ---- */

struct lanes {
	double top;               /* of the squared ground */
	double controller, other; /* tops of the boxes */
	double bottom;
	bool bits;
};

static int worst_pin(const struct drawing *d, const struct cell *c)
{
	int worst = -1;

	for (int i = 0; i < c->pin_count; i++)
		if (worst < (int)d->p->pins[c->pins[i]].weight)
			worst = (int)d->p->pins[c->pins[i]].weight;
	return worst;
}

static void put_wave(struct drawing *d, const struct ft_bus_block *b, enum ft_bus_line line, double x0, double y)
{
	for (size_t i = 0; i < d->p->word_count; i++) {
		const struct ft_bus_word *w = &d->p->words[i];
		double bit = ms_of(w->end_ns - w->start_ns) / 11 * d->per_ms, x;
		unsigned bits = (unsigned)w->byte << 1 | (unsigned)w->mode << 9 | 1U << 10; /* start, data, mode, stop */
		int level = 1;
		if (w->line != line || w->kind == FT_BUS_BREAK || w->start_ns < b->start_ns || w->start_ns >= b->end_ns)
			continue;
		x = x0 + ms_of(w->start_ns - b->start_ns) * d->per_ms;
		if (w->kind == FT_BUS_FRAMING)
			bits &= ~(1U << 10);
		if (w->mode)
			svg_box(d->out, x + 9 * bit, y + 2, bit, WAVE - 12, "tint");
		ft_buf_puts(d->out, "<path class=\"wave\" d=\"M");
		svg_number(d->out, x - 2);
		ft_buf_byte(d->out, ' ');
		svg_number(d->out, y + 6);
		for (int k = 0; k < 11; k++) {
			int now = bits >> k & 1;
			if (now != level) {
				ft_buf_byte(d->out, 'H');
				svg_number(d->out, x + k * bit);
				ft_buf_byte(d->out, 'V');
				svg_number(d->out, now ? y + 6 : y + 20);
			}
			level = now;
		}
		ft_buf_byte(d->out, 'H');
		svg_number(d->out, x + 11 * bit);
		ft_buf_puts(d->out, "\"/>\n");
	}
}

/* A block as a row of bytes; the one that carries the mode bit is tinted. */
static void put_block(struct drawing *d, const struct ft_bus_block *b, double x, double w, double y, int mode_byte,
                      const char *kind)
{
	static const char hex[] = "0123456789ABCDEF";
	double each = b->count ? w / b->count : w;

	svg_box(d->out, x, y, w, BOX, kind);
	for (int i = 0; i < b->count; i++) {
		char two[2] = { hex[b->bytes[i] >> 4], hex[b->bytes[i] & 15] };
		if (i == mode_byte)
			svg_box(d->out, x + i * each + 0.8, y + 0.8, each - 1.6, BOX - 1.6, "tint");
		if (i)
			svg_line(d->out, x + i * each, y + 4, x + i * each, y + BOX - 4, "hair");
		if (each >= 13)
			svg_text(d->out, x + (i + 0.5) * each, y + 15.5, FACE_HEX, "ink", "middle", (struct ft_slice){ two, 2 });
	}
}

/* A dimension line between two edges with ticks, and the time over it. */
static void put_dimension(struct drawing *d, double x1, double x2, double y, int64_t ns, bool late, bool cut)
{
	const char *kind = late ? "dim late" : "dim";
	double at = (x1 + x2) / 2;
	char text[32];

	svg_line(d->out, x1, y, x2, y, kind);
	svg_line(d->out, x1 - 2.5, y + 2.5, x1 + 2.5, y - 2.5, kind);
	svg_line(d->out, x2 - 2.5, y + 2.5, x2 + 2.5, y - 2.5, kind);
	if (cut)
		for (int k = 0; k < 2; k++)
			svg_line(d->out, at - 3 + k * 4, y + 4, at + 1 + k * 4, y - 4, kind);
	snprintf(text, sizeof text, "%lld.%02lld ms", (long long)(ns / 1000000), (long long)(ns / 10000 % 100));
	svg_text(d->out, at, y - 6, late ? FACE_STRONG : FACE_SMALL, late ? "fault halo" : "pencil halo", "middle",
	         ft_slice_of(text));
}

static void put_limit(struct drawing *d, double x, const struct lanes *l, bool named)
{
	double top = l->controller + BOX + (l->bits ? WAVE : 0) + 4;

	svg_line(d->out, x, top, x, l->other - 4, "limit");
	if (named)
		svg_text(d->out, x + 3, l->other - 5, FACE_SMALL, "pencil", "start", FT_SLICE("5 ms"));
}

static void put_exchange(struct drawing *d, const struct cell *c, double x, const struct lanes *l, bool first)
{
	const struct ft_bus_exchange *e = &c->f->exchange;
	double middle = l->controller + BOX + (l->bits ? WAVE : 0) + BETWEEN / 2;
	int worst = worst_pin(d, c);
	const char *marked = worst == FT_FAULT ? "box fault" : worst == FT_DOUBT ? "box doubt" : "box";
	double limit = x + c->asked[1] + LIMIT_NS / 1e6 * d->per_ms;

	if (c->asked[1] > 0) {
		put_block(d, &e->command, x, c->asked[1], l->controller, 0, e->command.checksum_ok ? "box" : "box fault");
		if (l->bits)
			put_wave(d, &e->command, FT_BUS_CONTROLLER, x, l->controller + BOX + 4);
	}
	if (!e->cut_off)
		put_limit(d, limit, l, first);
	if (e->answer.count) {
		put_block(d, &e->answer, x + c->answer[0], c->answer[1] - c->answer[0], l->other, e->answer.count - 1,
		          e->kind == FT_BUS_GARBLED ? "box fault" : marked);
		if (l->bits)
			put_wave(d, &e->answer, FT_BUS_PERIPHERAL, x + c->answer[0], l->other + BOX + 4);
		if (e->response_ns >= 0)
			put_dimension(d, x + c->asked[1], x + c->answer[0], middle, e->response_ns, e->response_ns > LIMIT_NS,
			              ms_of(e->response_ns) > GAP_MOST);
	} else if (!e->cut_off) {
		svg_line(d->out, x + c->asked[1], middle, limit, middle, "dim");
		svg_text(d->out, (x + c->asked[1] + limit) / 2, middle - 6, FACE_SMALL, "pencil", "middle",
		         FT_SLICE("silence"));
	}
	if (c->closing >= 0) {
		static const uint8_t bytes[] = {
			[FT_BUS_CLOSED_ACK] = 0x00, [FT_BUS_CLOSED_NAK] = 0xff, [FT_BUS_CLOSED_RET] = 0xaa
		};
		struct ft_bus_block b = { .count = 1, .bytes = { bytes[e->closing] } };
		b.start_ns = e->closing_at_ns;
		b.end_ns = e->closing_at_ns + 1146000; /* eleven bits; only words that begin in it are drawn */
		put_block(d, &b, x + c->closing, 11 / 9.6 * d->per_ms, l->controller, -1,
		          e->closing == FT_BUS_CLOSED_ACK ? "box" : "box doubt");
		if (l->bits)
			put_wave(d, &b, FT_BUS_CONTROLLER, x + c->closing, l->controller + BOX + 4);
	}
}

static void put_band(struct drawing *d, const struct cell *c, double x, const struct lanes *l)
{
	double middle = (l->controller + l->other + BOX) / 2;
	char text[64];
	int64_t ms = (c->f->end_ns - c->f->start_ns) / 1000000;

	svg_box(d->out, x, l->controller + BOX / 2, c->w, l->other - l->controller, "idle");
	if (c->f->exchanges == 1)
		snprintf(text, sizeof text, c->f->odd ? "poll" : "idle");
	else
		snprintf(text, sizeof text, "%llu %sround%s", (unsigned long long)c->f->rounds, c->f->odd ? "" : "idle ",
		         c->f->rounds == 1 ? "" : "s");
	svg_text(d->out, x + c->w / 2, middle - 2, FACE_BODY, "ink", "middle", ft_slice_of(text));
	if (ms < 1000)
		snprintf(text, sizeof text, "%lld ms", (long long)ms);
	else
		snprintf(text, sizeof text, "%lld.%lld s", (long long)(ms / 1000), (long long)(ms / 100 % 10));
	svg_text(d->out, x + c->w / 2, middle + 12, FACE_SMALL, "pencil", "middle", ft_slice_of(text));
	if (c->f->odd) {
		snprintf(text, sizeof text, c->f->exchanges == 1 ? "odd" : "%llu late or odd", (unsigned long long)c->f->odd);
		svg_text(d->out, x + c->w / 2, middle + 25, FACE_SMALL, "doubt", "middle", ft_slice_of(text));
	}
}

static void put_reset(struct drawing *d, const struct cell *c, double x, const struct lanes *l)
{
	char text[48];

	svg_box(d->out, x, l->controller, c->w - SQUARE, BOX, worst_pin(d, c) > FT_NOTE ? "box doubt" : "box");
	snprintf(text, sizeof text, "%.0f ms active", ms_of(c->f->end_ns - c->f->start_ns));
	svg_text(d->out, x + (c->w - SQUARE) / 2, l->controller + 16, FACE_SMALL, "ink", "middle", ft_slice_of(text));
}

/* The lanes are cut where a gap is drawn shorter than it is, and the time that it takes stands there. */
static void put_cut(struct drawing *d, const struct cell *c, double x, const struct lanes *l)
{
	double y[2] = { l->controller + BOX / 2, l->other + BOX / 2 }, at = x - c->lead / 2;
	int64_t us = c->lead_ns / 1000;
	char text[32];

	for (int i = 0; i < 2; i++) {
		svg_box(d->out, at - 4, y[i] - 6, 8, 12, "gap");
		for (int k = 0; k < 2; k++)
			svg_line(d->out, at - 5 + k * 6, y[i] + 6, at - 1 + k * 6, y[i] - 6, "dim");
	}
	if (us >= 1000000)
		snprintf(text, sizeof text, "%lld.%lld s", (long long)(us / 1000000), (long long)(us / 100000 % 10));
	else
		snprintf(text, sizeof text, "%lld ms", (long long)((us + 500) / 1000));
	svg_text(d->out, at, (y[0] + y[1]) / 2 + 3, FACE_SMALL, "pencil", "middle", ft_slice_of(text));
}

static void put_hex(struct ft_buf *t, const struct ft_bus_block *b)
{
	for (int i = 0; i < b->count; i++)
		ft_buf_printf(t, "%s%02X", i ? " " : "", b->bytes[i]);
}

/* What a viewer shows when a block is pointed at. */
static void put_more(struct drawing *d, const struct ft_bus_figure *f)
{
	static const char *const closings[] = { "", ", then nothing", ", then ACK", ", then NAK", ", then RET" };
	const struct ft_bus_exchange *e = &f->exchange;
	struct ft_buf t = { 0 };

	ft_buf_printf(&t, "%lld.%06lld s", (long long)(f->start_ns / 1000000000),
	              (long long)(f->start_ns / 1000 % 1000000));
	if (f->who || f->asked)
		ft_buf_printf(&t, "  %s%s%s", f->who ? f->who : "", f->who && f->asked ? ": " : "", f->asked ? f->asked : "");
	if (f->told)
		ft_buf_printf(&t, " - %s", f->told);
	if (f->kind == FT_BUS_FIGURE_EXCHANGE) {
		ft_buf_byte(&t, '\n');
		put_hex(&t, &e->command);
		ft_buf_puts(&t, e->answer.count ? " -> " : " -> silence");
		put_hex(&t, &e->answer);
		ft_buf_puts(&t, closings[e->kind == FT_BUS_DATA ? (int)e->closing + 1 : 0]);
		if (e->response_ns >= 0)
			ft_buf_printf(&t, "\nanswered after %lld us", (long long)(e->response_ns / 1000));
	} else if (f->kind == FT_BUS_FIGURE_STRAY) {
		ft_buf_byte(&t, '\n');
		put_hex(&t, &f->block);
	}
	ft_buf_puts(d->out, "<title>");
	svg_escape(d->out, ft_buf_text(&t));
	ft_buf_puts(d->out, "</title>\n");
	ft_buf_done(&t);
}

static void put_words(struct drawing *d, const struct cell *c, double x, const struct lanes *l)
{
	double y = l->top - 6 - LINE * (c->above.count - 1);
	char time[32];

	for (int i = 0; i < c->above.count; i++)
		svg_text(d->out, x, y + LINE * i, FACE_STRONG, "ink", "start", c->above.list[i]);
	y -= c->above.count ? LINE : 0;
	if (c->f->who) {
		svg_text(d->out, x, y, FACE_SMALL, "pencil", "start", ft_slice_of(c->f->who));
		y -= LINE;
	}
	snprintf(time, sizeof time, "%lld.%03lld s", (long long)(c->f->start_ns / 1000000000),
	         (long long)(c->f->start_ns / 1000000 % 1000));
	svg_text(d->out, x, y, FACE_SMALL, "accent", "start", ft_slice_of(time));
	y = l->bottom + LINE;
	for (int i = 0; i < c->below.count; i++)
		svg_text(d->out, x, y + i * LINE, FACE_BODY, "ink", "start", c->below.list[i]);
	y += c->below.count * LINE;
	for (int i = 0; i < c->pin_count; i++) {
		const struct ft_bus_pin *p = &d->p->pins[c->pins[i]];
		svg_text(d->out, x, y + i * LINE, FACE_STRONG, ft_weight_word(p->weight), "start", ft_slice_of(pin_text(d, p)));
	}
}

static void put_cell(struct drawing *d, const struct cell *c, const struct lanes *l, bool first)
{
	double x = LANES_X + c->x;

	if (c->lead > 0 && c->lead_ns >= 0)
		put_cut(d, c, x, l);
	ft_buf_puts(d->out, "<g>\n");
	put_more(d, c->f);
	switch (c->f->kind) {
	case FT_BUS_FIGURE_EXCHANGE:
		put_exchange(d, c, x, l, first);
		break;
	case FT_BUS_FIGURE_RESET:
		put_reset(d, c, x, l);
		break;
	case FT_BUS_FIGURE_STRAY:
		put_block(d, &c->f->block, x, fmax(c->asked[1], c->answer[1]),
		          c->f->line == FT_BUS_CONTROLLER ? l->controller : l->other, -1, "box doubt");
		break;
	case FT_BUS_FIGURE_IDLE:
		put_band(d, c, x, l);
		break;
	}
	put_words(d, c, x, l);
	ft_buf_puts(d->out, "</g>\n");
}

void row_draw(struct drawing *d, const struct row *r, bool first)
{
	const double wave = d->p->word_count ? WAVE : 0, w = floor((d->width - LANES_X - MARGIN) / SQUARE) * SQUARE;
	const double high = 2 * EDGE + 2 * BOX + BETWEEN + 2 * wave;
	int above = 0, below = 0;
	struct lanes l = { .bits = wave > 0 };
	bool named = false;

	for (int i = 0; i < r->count; i++) {
		const struct cell *c = &r->cells[i];
		int over = c->above.count + (c->f->who != NULL) + 1, under = c->below.count + c->pin_count;
		above = over > above ? over : above;
		below = under > below ? under : below;
	}
	l.top = d->y + above * LINE + 4;
	l.controller = l.top + EDGE;
	l.other = l.controller + BOX + wave + BETWEEN;
	l.bottom = l.top + high;
	ft_buf_puts(d->out, "<g transform=\"translate(");
	svg_number(d->out, LANES_X);
	ft_buf_byte(d->out, ' ');
	svg_number(d->out, l.top);
	ft_buf_puts(d->out, ")\">");
	svg_box(d->out, 0, 0, w, high, "paper");
	svg_box(d->out, 0, 0, w, high, "squares");
	ft_buf_puts(d->out, "</g>\n");
	svg_line(d->out, LANES_X - 8, l.top, LANES_X - 8, l.bottom, "margin");
	svg_text(d->out, MARGIN, l.controller + 16, FACE_STRONG, "ink", "start", FT_SLICE("Controller"));
	svg_text(d->out, MARGIN, l.other + 16, FACE_STRONG, "ink", "start", FT_SLICE("Peripherals"));
	svg_line(d->out, LANES_X, l.controller + BOX / 2, LANES_X + r->width, l.controller + BOX / 2, "lane");
	svg_line(d->out, LANES_X, l.other + BOX / 2, LANES_X + r->width, l.other + BOX / 2, "lane");
	for (int i = 0; i < r->count; i++) {
		bool name = first && !named && r->cells[i].f->kind == FT_BUS_FIGURE_EXCHANGE;
		put_cell(d, &r->cells[i], &l, name);
		named |= name;
	}
	d->y = l.bottom + below * LINE + 26;
}
