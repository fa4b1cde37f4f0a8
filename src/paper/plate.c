/* SPDX-License-Identifier: Apache-2.0 */
#include "plate.h"

#include "bus_draw.h"

#include <math.h>

static const double dashes[][4] = {
	[DASH_NONE] = { 0 },         [DASH_LONG] = { 9, 3 }, [DASH_DOTS] = { 1.4, 2.8 }, [DASH_BOTH] = { 8, 2.6, 1.6, 2.6 },
	[DASH_SHORT] = { 3.2, 2.4 },
};

static int dash_count(enum dash d)
{
	return d == DASH_NONE ? 0 : d == DASH_BOTH ? 4 : 2;
}

static struct plate_item *add(struct plate *p)
{
	struct plate_item *all = ft_arena_grow(p->s.arena, p->items, p->count, &p->room, sizeof *all);

	if (!all)
		return NULL;
	p->items = all;
	all[p->count] = (struct plate_item){ .fill = FILL_NONE };
	return &all[p->count++];
}

static struct plate_item *add_points(struct plate *p, const struct point *points, int count)
{
	struct plate_item *i = count <= PLATE_POINTS ? add(p) : NULL;

	if (i) {
		memcpy(i->points, points, (size_t)count * sizeof *points);
		i->count = count;
	}
	return i;
}

void plate_path(struct plate *p, const struct point *points, int count, double thick, enum dash dash, enum ink ink)
{
	struct plate_item *i = add_points(p, points, count);

	if (i) {
		i->thick = thick;
		i->dash = dash;
		i->ink = ink;
	}
}

void plate_line(struct plate *p, double x1, double y1, double x2, double y2, double thick, enum dash dash, enum ink ink)
{
	plate_path(p, (struct point[]){ { x1, y1 }, { x2, y2 } }, 2, thick, dash, ink);
}

void plate_shape(struct plate *p, const struct point *points, int count, double thick, enum dash dash, int fill)
{
	struct plate_item *i = add_points(p, points, count);

	if (i) {
		i->thick = thick;
		i->dash = dash;
		i->fill = fill;
		i->closed = true;
	}
}

void plate_box(struct plate *p, double x, double y, double w, double h, double thick, enum dash dash, int fill)
{
	plate_shape(p, (struct point[]){ { x, y }, { x + w, y }, { x + w, y + h }, { x, y + h } }, 4, thick, dash, fill);
}

void plate_disc(struct plate *p, double x, double y, double r, double thick, int fill)
{
	struct plate_item *i = add(p);

	if (i) {
		i->x = x;
		i->y = y;
		i->w = r;
		i->thick = thick;
		i->fill = fill;
	}
}

/* ---- text ---- */

double plate_width(struct plate *p, enum style style, const char *text)
{
	return text && *text ? width_of(&p->s, style, text) : 0;
}

static const char *piece(struct plate *p, const char *from, size_t n)
{
	return text_of(&p->s, (struct ft_slice){ from, n });
}

/* Shortened letter by letter until it fits with its ellipsis. */
static const char *shortened(struct plate *p, enum style style, const char *text, double w)
{
	size_t n = strlen(text);
	const char *t = text;

	p->cut++;
	while (n) {
		do
			n--;
		while (n && ((unsigned char)text[n] & 0xc0) == 0x80);
		t = ft_arena_printf(p->s.arena, "%.*s\342\200\246", (int)n, text);
		if (!t || width_of(&p->s, style, t) <= w)
			break;
	}
	return t ? t : "";
}

static void put_line(struct plate *p, double x, double y, double w, enum style style, enum ink ink, enum at at,
                     const char *role, const char *text)
{
	struct plate_item *i;
	double own = plate_width(p, style, text);

	if (own > w) {
		text = shortened(p, style, text, w);
		own = plate_width(p, style, text);
	}
	i = add(p);
	if (!i)
		return;
	i->text = text;
	i->role = role;
	i->style = style;
	i->ink = ink;
	i->w = own;
	i->x = at == AT_LEFT ? x : at == AT_RIGHT ? x + w - own : x + (w - own) / 2;
	i->y = y;
}

/* A figure keeps its unit on the same line: the blank at `at` has a digit before and a short word behind it. */
static bool holds_together(const char *text, size_t at)
{
	size_t n = at + 1;

	while (text[n] && text[n] != ' ')
		n++;
	return at > 0 && ft_is_digit(text[at - 1]) && n - at <= 4;
}

/* Bytes of `text` that go on one line of this width: whole words, at least one. */
static size_t line_end(struct plate *p, enum style style, const char *text, double w)
{
	size_t end = 0, n = strlen(text);

	for (;;) {
		size_t next = end;
		while (next < n && text[next] == ' ')
			next++;
		while (next < n && (text[next] != ' ' || holds_together(text, next)))
			next++;
		if (next == end || (end && plate_width(p, style, piece(p, text, next)) > w))
			return end;
		end = next;
	}
}

double plate_words(struct plate *p, double x, double y, double w, enum style style, enum ink ink, enum at at, int lines,
                   const char *role, const char *text)
{
	const struct look *k = look_of(style);
	int n = 0;

	text = text_of(&p->s, ft_slice_trim(ft_slice_of(text)));
	while (*text) {
		bool last = lines && n == lines - 1;
		size_t end = last ? strlen(text) : line_end(p, style, text, w);
		if (!end)
			break;
		put_line(p, x, y + n * k->pitch, w, style, ink, at, role, piece(p, text, end));
		n++;
		text += end;
		while (*text == ' ')
			text++;
	}
	return n * k->pitch;
}

/* ---- the frame ---- */

enum ft_status plate_begin(struct plate *p, double width, double height, struct ft_arena *a, struct ft_error *e)
{
	*p = (struct plate){ .s = { .arena = a, .width = width, .height = height } };
	/* Texts are measured before anything is written, so on a sheet that goes nowhere. */
	p->s.surface = cairo_pdf_surface_create_for_stream(NULL, NULL, width, height);
	p->s.cr = cairo_create(p->s.surface);
	if (cairo_status(p->s.cr))
		return ft_fail_memory(e, "drawing the sheet");
	p->s.context = make_context(p->s.cr);
	return FT_OK;
}

void plate_done(struct plate *p)
{
	if (p->s.context)
		g_object_unref(p->s.context);
	cairo_destroy(p->s.cr);
	cairo_surface_finish(p->s.surface);
	cairo_surface_destroy(p->s.surface);
	*p = (struct plate){ 0 };
}

void plate_check(const struct plate *p, struct ft_wiring_drawn *ret)
{
	*ret = (struct ft_wiring_drawn){ .cut = p->cut };
	for (size_t i = 0; i < p->count; i++) {
		const struct plate_item *x = &p->items[i];
		double size = look_of(x->style)->size;
		if (!x->text)
			continue;
		if (x->x < 0 || x->y < 0 || x->x + x->w > p->s.width || x->y + size > p->s.height) {
			ret->overlap = ret->overlap ? ret->overlap : ft_arena_printf(p->s.arena, "%s / edge of the page", x->text);
			ret->overlaps++;
		}
		for (size_t k = i + 1; k < p->count; k++) {
			const struct plate_item *y = &p->items[k];
			double other = look_of(y->style)->size;
			double top = x->y + (look_of(x->style)->pitch - size) / 2,
				   below = y->y + (look_of(y->style)->pitch - other) / 2;
			/* A tenth of the size may touch: ascenders and descenders seldom meet. */
			if (!y->text || x->x + x->w <= y->x + 0.5 || y->x + y->w <= x->x + 0.5 || top + 0.9 * size <= below ||
			    below + 0.9 * other <= top)
				continue;
			ret->overlap = ret->overlap ? ret->overlap : ft_arena_printf(p->s.arena, "%s / %s", x->text, y->text);
			ret->overlaps++;
		}
	}
}

static double baseline(const struct plate_item *i)
{
	const struct look *k = look_of(i->style);

	return i->y + k->pitch * 0.5 + k->size * 0.36;
}

/* ---- PDF ---- */

static void pdf_shape(struct sheet *s, const struct plate_item *i)
{
	cairo_new_path(s->cr);
	if (!i->count)
		cairo_arc(s->cr, i->x, i->y, i->w, 0, 2 * M_PI);
	for (int k = 0; k < i->count; k++)
		cairo_line_to(s->cr, i->points[k].x, i->points[k].y);
	if (i->closed)
		cairo_close_path(s->cr);
	if (i->fill != FILL_NONE) {
		use_ink(s, (enum ink)i->fill);
		cairo_fill_preserve(s->cr);
	}
	if (i->thick > 0) {
		use_ink(s, i->ink);
		cairo_set_line_width(s->cr, i->thick);
		cairo_set_dash(s->cr, dashes[i->dash], dash_count(i->dash), 0);
		cairo_stroke(s->cr);
	}
}

enum ft_status plate_pdf(struct plate *p, const char *title, const char *program, const char *date, struct ft_buf *out,
                         struct ft_error *e)
{
	struct sheet *s = &p->s;
	cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(take_bytes, out, s->width, s->height);
	cairo_t *cr = cairo_create(surface);
	cairo_status_t failed;

	cairo_pdf_surface_restrict_to_version(surface, CAIRO_PDF_VERSION_1_5);
	cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, text_of(s, ft_slice_of(title)));
	cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, program);
	/* Without a date of its own the file would carry the time it was written at. */
	cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, date ? date : "1970-01-01");
	cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, date ? date : "1970-01-01");
	cairo_destroy(s->cr);
	cairo_surface_finish(s->surface);
	cairo_surface_destroy(s->surface);
	s->surface = surface;
	s->cr = cr;
	pango_cairo_update_context(cr, s->context);
	cairo_set_line_join(cr, CAIRO_LINE_JOIN_MITER);
	for (size_t i = 0; i < p->count; i++) {
		const struct plate_item *x = &p->items[i];
		if (x->text)
			put_text(s, x->x, x->y, 0, x->style, x->ink, SIDE_LEFT, 0, x->text);
		else
			pdf_shape(s, x);
	}
	cairo_show_page(cr);
	failed = cairo_status(cr);
	cairo_surface_finish(surface);
	if (!failed)
		failed = cairo_surface_status(surface);
	if (failed == CAIRO_STATUS_NO_MEMORY || s->arena->failed || out->status != FT_OK)
		return ft_fail_memory(e, "drawing the sheet");
	if (failed)
		return ft_fail(e, FT_E_INTERNAL, "The sheet could not be drawn: %s.", cairo_status_to_string(failed));
	return FT_OK;
}

/* ---- SVG ---- */

static const char *const inks[] = {
	[INK_BLACK] = "#1F2328", [INK_PENCIL] = "#5C6168", [INK_ACCENT] = "#1D4F7C", [INK_WHITE] = "#FFFFFF"
};

/* Two places after the point: one is too coarse for small type. */
static void number(struct ft_buf *out, double v)
{
	long long h = llround(v * 100), whole = (h < 0 ? -h : h) / 100, rest = (h < 0 ? -h : h) % 100;

	ft_buf_printf(out, rest ? rest % 10 ? "%s%lld.%02lld" : "%s%lld.%lld" : "%s%lld", h < 0 ? "-" : "", whole,
	              rest % 10 ? rest : rest / 10);
}

static void attribute(struct ft_buf *out, const char *name, double v)
{
	ft_buf_printf(out, " %s=\"", name);
	number(out, v);
	ft_buf_byte(out, '"');
}

static void svg_shape(struct ft_buf *out, const struct plate_item *i)
{
	ft_buf_puts(out, i->count ? "<path d=\"" : "<circle");
	if (!i->count) {
		attribute(out, "cx", i->x);
		attribute(out, "cy", i->y);
		attribute(out, "r", i->w);
	}
	for (int k = 0; k < i->count; k++) {
		ft_buf_byte(out, k ? 'L' : 'M');
		number(out, i->points[k].x);
		ft_buf_byte(out, ' ');
		number(out, i->points[k].y);
	}
	if (i->count)
		ft_buf_puts(out, i->closed ? "Z\"" : "\"");
	ft_buf_printf(out, " fill=\"%s\"", i->fill == FILL_NONE ? "none" : inks[i->fill]);
	if (i->thick > 0) {
		ft_buf_printf(out, " stroke=\"%s\"", inks[i->ink]);
		attribute(out, "stroke-width", i->thick);
		for (int k = 0; k < dash_count(i->dash); k++) {
			ft_buf_puts(out, k ? " " : " stroke-dasharray=\"");
			number(out, dashes[i->dash][k]);
		}
		if (dash_count(i->dash))
			ft_buf_byte(out, '"');
	}
	ft_buf_puts(out, "/>\n");
}

static void svg_words(struct ft_buf *out, const struct plate_item *i)
{
	const struct look *k = look_of(i->style);

	ft_buf_puts(out, "<text");
	attribute(out, "x", i->x);
	attribute(out, "y", baseline(i));
	attribute(out, "font-size", k->size);
	/* On another face the text still takes the room it was given. */
	attribute(out, "textLength", i->w);
	ft_buf_puts(out, " lengthAdjust=\"spacingAndGlyphs\"");
	if (k->bold)
		ft_buf_puts(out, " font-weight=\"bold\"");
	if (i->role)
		ft_buf_printf(out, " class=\"%s\"", i->role);
	ft_buf_printf(out, " fill=\"%s\">", inks[i->ink]);
	svg_escape(out, ft_slice_of(i->text));
	ft_buf_puts(out, "</text>\n");
}

enum ft_status plate_svg(struct plate *p, const char *title, struct ft_buf *out, struct ft_error *e)
{
	ft_buf_puts(out,
	            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\"");
	ft_buf_puts(out, " width=\"");
	number(out, p->s.width);
	ft_buf_puts(out, "pt\" height=\"");
	number(out, p->s.height);
	ft_buf_puts(out, "pt\" viewBox=\"0 0 ");
	number(out, p->s.width);
	ft_buf_byte(out, ' ');
	number(out, p->s.height);
	ft_buf_puts(
		out,
		"\" font-family=\"'DejaVu Sans Condensed','DejaVu Sans','Liberation Sans',Arial,sans-serif\" xml:space=\"preserve\">\n<title>");
	svg_escape(out, ft_slice_of(text_of(&p->s, ft_slice_of(title))));
	ft_buf_puts(out, "</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#FFFFFF\"/>\n");
	for (size_t i = 0; i < p->count; i++) {
		if (p->items[i].text)
			svg_words(out, &p->items[i]);
		else
			svg_shape(out, &p->items[i]);
	}
	ft_buf_puts(out, "</svg>\n");
	return p->s.arena->failed || out->status != FT_OK ? ft_fail_memory(e, "drawing the sheet") : FT_OK;
}
