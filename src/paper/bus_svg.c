/* SPDX-License-Identifier: Apache-2.0 */
/* The sheet: a head, the stretches of time with a cut between them, the findings at the foot. */
#include "bus_draw.h"

#include <math.h>

/* Colours of docs' one look: light by itself, dark where the screen asks for it; print stays light. */
static const char style[] =
	"<style>\n"
	"text{font-family:\"DejaVu Sans Condensed\",\"Liberation Sans\",Arial,Helvetica,sans-serif}\n"
	".s{font-size:10px}.b{font-size:11.5px}.st{font-size:11.5px;font-weight:bold}.h{font-size:15px;font-weight:bold}\n"
	".t{font-size:22px;font-weight:bold}.x{font-size:9.5px;font-family:\"DejaVu Sans Mono\",\"Liberation Mono\",monospace}\n"
	"text.ink{fill:#1F2328}text.pencil,text.note{fill:#5F656A}text.accent{fill:#1D4F7C}\n"
	"text.fault{fill:#9A3324}text.doubt{fill:#7A5C16}.after{font-size:11.5px;font-weight:normal;fill:#5F656A}\n"
	".halo{paint-order:stroke;stroke:#FFFFFF;stroke-width:4px}\n"
	".ground{fill:#FAF8F3}.paper{fill:#FFFFFF}.squares{fill:url(#squares)}\n"
	"path{fill:none}.fine{stroke:#DAD5C8;stroke-width:.8}.rule{stroke:#DAD5C8;stroke-width:1}\n"
	".lane{stroke:#1F2328;stroke-width:1}.margin{stroke:#1D4F7C;stroke-width:1}\n"
	".box{fill:#FFFFFF;stroke:#1F2328;stroke-width:1.2}.box.fault{stroke:#9A3324;stroke-width:2.2}\n"
	".box.doubt{stroke:#7A5C16;stroke-width:2.2;stroke-dasharray:5 2}\n"
	".tint{fill:#1D4F7C;fill-opacity:.13}.hair{stroke:#6B7075;stroke-width:.5}\n"
	".dim{stroke:#5F656A;stroke-width:.9}.dim.late{stroke:#9A3324;stroke-width:1.6}\n"
	".limit{stroke:#9A3324;stroke-width:1;stroke-dasharray:4 3}.gap{fill:#FFFFFF}\n"
	".idle{fill:url(#idle);stroke:#DAD5C8}.wave{stroke:#1D4F7C;stroke-width:1.3}\n"
	"@media screen and (prefers-color-scheme:dark){\n"
	"text.ink{fill:#E9E5DB}text.pencil,text.note{fill:#9AA0A6}text.accent{fill:#8DB8DE}text.fault{fill:#E59A8B}\n"
	"text.doubt{fill:#D9B968}.ground{fill:#15181C}.paper,.gap{fill:#1C2025}.fine,.rule{stroke:#343A41}\n"
	".after{fill:#9AA0A6}.halo{stroke:#1C2025}.lane{stroke:#E9E5DB}.margin,.wave{stroke:#8DB8DE}.box{fill:#1C2025;stroke:#E9E5DB}.box.fault{stroke:#E59A8B}\n"
	".box.doubt{stroke:#D9B968}.tint{fill:#8DB8DE;fill-opacity:.22}.hair,.dim{stroke:#9AA0A6}\n"
	".dim.late,.limit{stroke:#E59A8B}.idle{stroke:#343A41}}\n"
	"</style>\n"
	"<defs><pattern id=\"squares\" width=\"16\" height=\"16\" patternUnits=\"userSpaceOnUse\">"
	"<path class=\"fine\" d=\"M16 0H0V16\"/></pattern>\n"
	"<pattern id=\"idle\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">"
	"<rect class=\"paper\" width=\"8\" height=\"8\"/><path class=\"fine\" d=\"M-2 2L2 -2M0 8L8 0M6 10L10 6\"/></pattern></defs>\n";

static const char *seconds(struct drawing *d, int64_t ns)
{
	const char *t =
		ft_arena_printf(d->arena, "%lld.%03lld s", (long long)(ns / 1000000000), (long long)(ns / 1000000 % 1000));

	return t ? t : "";
}

static void put_head(struct drawing *d)
{
	const struct ft_bus_picture *p = d->p;
	bool bits = p->word_count > 0;
	double x = MARGIN;

	d->y = MARGIN + 20;
	svg_text(d->out, x, d->y, FACE_TITLE, "ink", "start",
	         svg_break(d->arena, FACE_TITLE, p->title, d->width - 2 * MARGIN, 1).list[0]);
	d->y += 8;
	if (p->about) {
		struct lines l = svg_break(d->arena, FACE_BODY, p->about, d->width - 2 * MARGIN, 3);
		for (int i = 0; i < l.count; i++)
			svg_text(d->out, x, d->y += LINE, FACE_BODY, "pencil", "start", l.list[i]);
	}
	/* the key: what the signs stand for, drawn as they are used */
	d->y += 18;
	svg_box(d->out, x, d->y - 11, 14, 14, "tint");
	svg_text(d->out, x += 20, d->y, FACE_BODY, "pencil", "start", FT_SLICE("byte with the mode bit"));
	x += svg_width(FACE_BODY, FT_SLICE("byte with the mode bit")) + 24;
	svg_line(d->out, x + 6, d->y - 12, x + 6, d->y + 4, "limit");
	svg_text(d->out, x += 16, d->y, FACE_BODY, "pencil", "start", FT_SLICE("an answer must begin by here: 5 ms"));
	x += svg_width(FACE_BODY, FT_SLICE("an answer must begin by here: 5 ms")) + 24;
	svg_line(d->out, x, d->y + 2, x + 4, d->y - 10, "dim");
	svg_line(d->out, x + 6, d->y + 2, x + 10, d->y - 10, "dim");
	svg_text(d->out, x += 18, d->y, FACE_BODY, "pencil", "start", FT_SLICE("time left out"));
	x += svg_width(FACE_BODY, FT_SLICE("time left out")) + 24;
	svg_text(d->out, x, d->y, FACE_BODY, "pencil", "start",
	         bits ? FT_SLICE("one square is 0.2 ms") : FT_SLICE("one square is 1 ms"));
	d->y += 12;
	svg_line(d->out, MARGIN, d->y, d->width - MARGIN, d->y, "rule");
	d->y += 16;
}

static void put_heading(struct drawing *d, const struct ft_bus_stretch *s)
{
	struct ft_slice title;
	const char *span = ft_arena_printf(d->arena, "%s to %s", seconds(d, s->from_ns), seconds(d, s->to_ns));

	d->y += 14;
	title = svg_break(d->arena, FACE_HEAD, s->title, d->width - 2 * MARGIN - 200, 1).list[0];
	ft_buf_puts(d->out, "<text class=\"h accent\" x=\"24\" y=\"");
	svg_number(d->out, d->y);
	ft_buf_puts(d->out, "\">");
	svg_escape(d->out, title);
	ft_buf_printf(d->out, "<tspan class=\"after\" dx=\"14\">%s</tspan></text>\n", span ? span : "");
	d->y += 18;
}

/* What lies between two stretches, in one line. */
static void put_between(struct drawing *d, int64_t from, int64_t to, size_t first, size_t last)
{
	uint64_t exchanges = 0;
	char text[128];

	for (size_t i = first; i < last; i++)
		exchanges += d->p->figures[i].kind == FT_BUS_FIGURE_IDLE ? d->p->figures[i].exchanges
			: d->p->figures[i].kind == FT_BUS_FIGURE_EXCHANGE    ? 1
																 : 0;
	if (to - from < 1000000)
		return;
	snprintf(text, sizeof text, "%lld.%lld s with %llu exchange%s not drawn", (long long)((to - from) / 1000000000),
	         (long long)((to - from) / 100000000 % 10), (unsigned long long)exchanges, exchanges == 1 ? "" : "s");
	svg_line(d->out, LANES_X, d->y - 4, LANES_X + 40, d->y - 4, "dim");
	for (int k = 0; k < 2; k++)
		svg_line(d->out, LANES_X + 44 + k * 6, d->y + 2, LANES_X + 48 + k * 6, d->y - 10, "dim");
	svg_text(d->out, LANES_X + 68, d->y, FACE_BODY, "pencil", "start", ft_slice_of(text));
	d->y += 20;
}

/* The pins that belong to a figure: those from its start to the start of the next one. */
static void take_pins(struct drawing *d, struct cell *c, int64_t until)
{
	const int most = sizeof c->pins / sizeof *c->pins;

	for (size_t i = 0; i < d->p->pin_count && c->pin_count < most; i++) {
		const struct ft_bus_pin *p = &d->p->pins[i];
		if (d->pinned[i] || p->at_ns < c->f->start_ns || p->at_ns >= until)
			continue;
		c->pins[c->pin_count++] = (int)i;
		d->pinned[i] = true;
	}
}

static double lead_of(const struct drawing *d, int64_t ns)
{
	double w = (double)ns / 1e6 * d->per_ms;

	if (w < SQUARE)
		return w > 0 ? SQUARE : 0;
	return 3 * SQUARE;
}

static void put_stretch(struct drawing *d, const struct ft_bus_stretch *s, size_t first, size_t last)
{
	const double room = floor((d->width - LANES_X - MARGIN) / SQUARE) * SQUARE;
	struct row *r = FT_NEW(d->arena, struct row);
	bool begun = false;

	put_heading(d, s);
	for (size_t i = first; r && i < last; i++) {
		const struct ft_bus_figure *f = &d->p->figures[i];
		struct cell c = { .f = f, .lead_ns = -1 };
		if (i > first) {
			c.lead_ns = f->start_ns - d->p->figures[i - 1].end_ns;
			c.lead = lead_of(d, c.lead_ns);
		}
		take_pins(d, &c, i + 1 < last ? d->p->figures[i + 1].start_ns : s->to_ns + 1);
		cell_lay(d, f, &c);
		if (r->count == CELLS_MAX || (r->count && r->width + c.lead + c.w > room)) {
			row_draw(d, r, !begun);
			begun = true;
			*r = (struct row){ 0 };
		}
		c.x = r->width + c.lead;
		r->width = c.x + c.w;
		r->cells[r->count++] = c;
	}
	if (r && r->count)
		row_draw(d, r, !begun);
}

static void put_findings(struct drawing *d)
{
	const struct ft_bus_picture *p = d->p;
	const size_t most = 60; /* ours: further ones are in the command's own list */

	if (!p->pin_count)
		return;
	d->y += 8;
	svg_line(d->out, MARGIN, d->y, d->width - MARGIN, d->y, "rule");
	d->y += 24;
	svg_text(d->out, MARGIN, d->y, FACE_HEAD, "accent", "start", FT_SLICE("What was found"));
	d->y += 8;
	for (size_t i = 0; i < p->pin_count && i < most; i++) {
		const struct ft_bus_pin *f = &p->pins[i];
		struct lines l = svg_break(d->arena, FACE_BODY, f->sentence, d->width - MARGIN - 300, 3);
		const char *ink = ft_weight_word(f->weight);
		d->y += 18;
		svg_text(d->out, MARGIN + 8, d->y, FACE_STRONG, ink, "middle", ft_slice_of(ft_weight_mark(f->weight)));
		svg_text(d->out, MARGIN + 20, d->y, FACE_STRONG, ink, "start",
		         svg_break(d->arena, FACE_STRONG, f->word, 156, 1).list[0]);
		if (f->at_ns >= 0)
			svg_text(d->out, MARGIN + 240, d->y, FACE_SMALL, "pencil", "end", ft_slice_of(seconds(d, f->at_ns)));
		for (int k = 0; k < l.count; k++)
			svg_text(d->out, 276, d->y + k * LINE, FACE_BODY, "ink", "start", l.list[k]);
		d->y += l.count > 1 ? (l.count - 1) * LINE : 0;
	}
	if (p->pin_count > most) {
		const char *more = ft_arena_printf(d->arena, "and %zu more", p->pin_count - most);
		svg_text(d->out, 276, d->y += 18, FACE_BODY, "pencil", "start", ft_slice_of(more ? more : ""));
	}
	d->y += 16;
}

static void put_body(struct drawing *d)
{
	const struct ft_bus_picture *p = d->p;
	size_t at = 0;
	int64_t end = p->stretch_count ? p->stretches[0].from_ns : 0;

	put_head(d);
	for (size_t s = 0; s < p->stretch_count; s++) {
		const struct ft_bus_stretch *x = &p->stretches[s];
		size_t first, last;
		for (first = at; first < p->figure_count && p->figures[first].start_ns < x->from_ns; first++)
			;
		if (s)
			put_between(d, end, x->from_ns, at, first);
		for (last = first; last < p->figure_count && p->figures[last].start_ns <= x->to_ns; last++)
			;
		put_stretch(d, x, first, last);
		at = last;
		end = x->to_ns;
	}
	if (p->left_out) {
		const char *more =
			ft_arena_printf(d->arena, "%zu further exchanges are not drawn; choose a shorter time", p->left_out);
		svg_text(d->out, LANES_X, d->y, FACE_STRONG, "doubt", "start", ft_slice_of(more ? more : ""));
		d->y += 20;
	}
	put_findings(d);
	d->y += MARGIN;
}

/* The sheet is as wide as its widest exchange, but not narrower than a page. */
static double sheet_width(struct drawing *d)
{
	double w = WIDTH;

	for (size_t i = 0; i < d->p->figure_count; i++) {
		struct cell c = { .f = &d->p->figures[i] };
		cell_lay(d, c.f, &c);
		w = fmax(w, LANES_X + c.w + MARGIN + 4 * SQUARE); /* and a cut before it */
	}
	return w;
}

enum ft_status ft_bus_svg(const struct ft_bus_picture *p, struct ft_arena *a, struct ft_buf *out, struct ft_error *e)
{
	struct ft_buf body = { 0 };
	struct drawing d = { .p = p, .arena = a, .out = &body, .per_ms = p->word_count ? 5 * SQUARE : SQUARE };

	d.pinned = FT_NEW_ARRAY(a, p->pin_count + 1, bool);
	if (!d.pinned)
		return ft_fail_memory(e, "drawing the bus");
	d.width = sheet_width(&d);
	put_body(&d);
	ft_buf_puts(
		out,
		"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"");
	svg_number(out, d.width);
	ft_buf_puts(out, "\" height=\"");
	svg_number(out, ceil(d.y));
	ft_buf_puts(out, "\" viewBox=\"0 0 ");
	svg_number(out, d.width);
	ft_buf_byte(out, ' ');
	svg_number(out, ceil(d.y));
	ft_buf_puts(out, "\">\n<title>");
	svg_escape(out, ft_slice_of(p->title));
	ft_buf_puts(out, "</title>\n");
	ft_buf_puts(out, style);
	svg_box(out, 0, 0, d.width, ceil(d.y), "ground");
	ft_buf_slice(out, ft_buf_text(&body));
	ft_buf_puts(out, "</svg>\n");
	if (a->failed || body.status != FT_OK || out->status != FT_OK) {
		ft_buf_done(&body);
		return ft_fail_memory(e, "drawing the bus");
	}
	ft_buf_done(&body);
	return FT_OK;
}
