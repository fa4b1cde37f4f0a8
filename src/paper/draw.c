/* SPDX-License-Identifier: Apache-2.0 */
#include "draw.h"

#include <math.h>

static const struct look looks[STYLE_COUNT] = {
	[STYLE_BODY] = { 9.5, 13, false, false },   [STYLE_STRONG] = { 9.5, 13, true, false },
	[STYLE_SMALL] = { 8.25, 11, false, false }, [STYLE_LABEL] = { 8.25, 10, true, false },
	[STYLE_FINE] = { 7.25, 10, false, false },  [STYLE_MONO] = { 6.5, 9, false, true },
	[STYLE_HEAD] = { 12, 16, true, false },     [STYLE_VERDICT] = { 16, 24, true, false },
	[STYLE_TITLE] = { 26, 32, true, false },
};

const struct look *look_of(enum style style)
{
	return &looks[style];
}

void use_ink(struct sheet *s, enum ink ink)
{
	static const double inks[][3] = {
		{ 0.12, 0.14, 0.16 }, { 0.36, 0.38, 0.41 }, { 0.114, 0.310, 0.486 }, { 1, 1, 1 }
	};

	cairo_set_source_rgb(s->cr, inks[ink][0], inks[ink][1], inks[ink][2]);
}

const char *text_of(struct sheet *s, struct ft_slice t)
{
	gchar *valid = g_utf8_make_valid(t.p ? t.p : "", (gssize)t.n);
	char *copy = ft_arena_text(s->arena, ft_slice_of(valid));

	g_free(valid);
	for (char *p = copy; p && *p; p++)
		if ((unsigned char)*p < 0x20 || *p == 0x7f)
			*p = ' ';
	return copy ? copy : "";
}

/* The condensed face keeps long sentences on one line; its figures are all of one width. */
static PangoLayout *layout_of(struct sheet *s, double w, enum style style, int lines, const char *text)
{
	PangoLayout *l = pango_layout_new(s->context);
	PangoFontDescription *d = pango_font_description_from_string(
		looks[style].mono ? "DejaVu Sans Mono, monospace" : "DejaVu Sans Condensed, DejaVu Sans, sans");

	if (!looks[style].mono)
		pango_font_description_set_stretch(d, PANGO_STRETCH_SEMI_CONDENSED);
	pango_font_description_set_absolute_size(d, looks[style].size * PANGO_SCALE);
	if (looks[style].bold)
		pango_font_description_set_weight(d, PANGO_WEIGHT_BOLD);
	pango_layout_set_font_description(l, d);
	pango_font_description_free(d);
	pango_layout_set_text(l, text_of(s, ft_slice_of(text)), -1);
	pango_layout_set_auto_dir(l, FALSE);
	if (w > 0) {
		pango_layout_set_width(l, (int)(w * PANGO_SCALE));
		pango_layout_set_wrap(l, PANGO_WRAP_WORD_CHAR);
	}
	if (lines > 0) {
		pango_layout_set_ellipsize(l, PANGO_ELLIPSIZE_END);
		pango_layout_set_height(l, -lines);
	}
	return l;
}

double pitch_of(enum style style)
{
	return looks[style].pitch;
}

double height_of(struct sheet *s, double w, enum style style, const char *text)
{
	PangoLayout *l = layout_of(s, w, style, 0, text);
	double h = pango_layout_get_line_count(l) * looks[style].pitch;

	g_object_unref(l);
	return h;
}

double width_of(struct sheet *s, enum style style, const char *text)
{
	PangoLayout *l = layout_of(s, 0, style, 0, text);
	PangoRectangle r;

	pango_layout_get_extents(l, NULL, &r);
	g_object_unref(l);
	return (double)r.width / PANGO_SCALE;
}

double put_text(struct sheet *s, double x, double y, double w, enum style style, enum ink ink, enum side side,
                int lines, const char *text)
{
	const struct look *k = &looks[style];
	PangoLayout *l = layout_of(s, w, style, lines, text);
	int n = pango_layout_get_line_count(l);

	use_ink(s, ink);
	for (int i = 0; i < n; i++) {
		PangoLayoutLine *line = pango_layout_get_line_readonly(l, i);
		PangoRectangle r;
		pango_layout_line_get_extents(line, NULL, &r);
		/* The baseline of a figure sits at three quarters of the pitch, whatever face a script falls back to. */
		cairo_move_to(s->cr, side == SIDE_RIGHT ? x + w - (double)r.width / PANGO_SCALE : x,
		              y + i * k->pitch + k->pitch * 0.5 + k->size * 0.36);
		pango_cairo_show_layout_line(s->cr, line);
	}
	g_object_unref(l);
	return n * k->pitch;
}

void put_rule(struct sheet *s, double x, double y, double w, enum ink ink, double thick)
{
	use_ink(s, ink);
	cairo_rectangle(s->cr, x, y - thick / 2, w, thick);
	cairo_fill(s->cr);
}

void put_mark(struct sheet *s, double x, double y, double size, enum ft_stands stands)
{
	double r = size / 2, stroke = size * 0.13;

	use_ink(s, INK_BLACK);
	cairo_set_line_width(s->cr, stroke);
	cairo_set_line_cap(s->cr, CAIRO_LINE_CAP_BUTT);
	cairo_set_line_join(s->cr, CAIRO_LINE_JOIN_MITER);
	cairo_new_path(s->cr);
	switch (stands) {
	case FT_STANDS_SHOWN:
		cairo_rectangle(s->cr, x - r, y - r, size, size);
		cairo_fill(s->cr);
		use_ink(s, INK_WHITE);
		cairo_set_line_width(s->cr, stroke * 1.15);
		cairo_move_to(s->cr, x - r * 0.58, y + r * 0.02);
		cairo_line_to(s->cr, x - r * 0.14, y + r * 0.48);
		cairo_line_to(s->cr, x + r * 0.60, y - r * 0.48);
		break;
	case FT_STANDS_CONTRADICTED:
		cairo_move_to(s->cr, x, y - r * 1.12);
		cairo_line_to(s->cr, x + r * 1.12, y);
		cairo_line_to(s->cr, x, y + r * 1.12);
		cairo_line_to(s->cr, x - r * 1.12, y);
		cairo_close_path(s->cr);
		cairo_stroke(s->cr);
		cairo_move_to(s->cr, x - r * 1.6, y);
		cairo_line_to(s->cr, x + r * 1.6, y);
		break;
	case FT_STANDS_WAIVED:
		cairo_arc(s->cr, x, y, r - stroke / 2, M_PI / 2, 3 * M_PI / 2);
		cairo_close_path(s->cr);
		cairo_fill(s->cr);
		cairo_arc(s->cr, x, y, r - stroke / 2, 0, 2 * M_PI);
		break;
	default:
		cairo_arc(s->cr, x, y, r - stroke / 2, 0, 2 * M_PI);
		break;
	}
	cairo_stroke(s->cr);
}

/* ---- pages ---- */

double text_width(const struct sheet *s)
{
	return s->width - LEFT - RIGHT;
}

double room_left(const struct sheet *s)
{
	return s->height - BOTTOM - s->y;
}

static const char *grouped(struct sheet *s, const char *hash)
{
	char *text = ft_arena_alloc(s->arena, FT_HASH_TEXT + 8);
	size_t n = 0;

	for (size_t i = 0; text && hash[i] && n < FT_HASH_TEXT + 6; i++) {
		if (i && i % 8 == 0)
			text[n++] = ' ';
		text[n++] = hash[i];
	}
	return text ? text : "";
}

static void put_foot(struct sheet *s)
{
	const struct ft_visit *v = s->h ? s->h->visit : NULL;
	double y = s->height - BOTTOM + 24;
	const char *left = v ? ft_arena_printf(s->arena, "%s%s%s  \302\267  visit %s", v->asset,
	                                       v->site ? "  \302\267  " : "", v->site ? v->site : "", v->id)
						 : s->foot;
	const char *right = ft_arena_printf(s->arena, "page %d of %d", s->page, s->pages ? s->pages : s->page);

	use_ink(s, INK_ACCENT);
	cairo_rectangle(s->cr, MARGIN_LINE - 0.35, TOP - 16, 0.7, s->height - BOTTOM - TOP + 28);
	cairo_fill(s->cr);
	put_text(s, LEFT, y, text_width(s) - 96, STYLE_FINE, INK_BLACK, SIDE_LEFT, 1, left ? left : "");
	put_text(s, LEFT + text_width(s) - 88, y, 88, STYLE_FINE, INK_BLACK, SIDE_RIGHT, 1, right ? right : "");
	if (!v) {
		put_text(s, LEFT, y + 12, text_width(s), STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, s->foot_small);
		return;
	}
	put_text(s, LEFT, y + 12, 40, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, "package");
	put_text(s, LEFT + 36, y + 12.5, text_width(s) - 36, STYLE_MONO, INK_PENCIL, SIDE_LEFT, 1,
	         grouped(s, s->seal->content));
}

void new_page(struct sheet *s)
{
	if (s->page)
		cairo_show_page(s->cr);
	s->page++;
	s->y = TOP;
	put_foot(s);
}

void need(struct sheet *s, double h)
{
	if (room_left(s) < h && s->y > TOP)
		new_page(s);
}

void skip(struct sheet *s, int steps)
{
	s->y = TOP + ceil((s->y - TOP - 0.01) / GRID) * GRID + steps * GRID;
}

void put_heading(struct sheet *s, const char *text, double h)
{
	if (s->y > TOP)
		skip(s, 2);
	need(s, 24 + h);
	if (s->outline)
		cairo_pdf_surface_add_outline(s->surface, CAIRO_PDF_OUTLINE_ROOT, text,
		                              ft_arena_printf(s->arena, "page=%d pos=[0 %d]", s->page, (int)s->y),
		                              CAIRO_PDF_OUTLINE_FLAG_OPEN);
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_HEAD, INK_ACCENT, SIDE_LEFT, 1, text);
	skip(s, 1);
}

void put_paragraph(struct sheet *s, enum style style, enum ink ink, const char *text)
{
	need(s, height_of(s, text_width(s), style, text));
	s->y += put_text(s, LEFT, s->y, text_width(s), style, ink, SIDE_LEFT, 0, text);
}

/* ---- tables ---- */

static double table_width(const struct cells *t)
{
	return t->columns[t->count - 1].x + t->columns[t->count - 1].w;
}

void put_table_head(struct sheet *s, const struct cells *t)
{
	for (int i = 0; i < t->count; i++)
		put_text(s, LEFT + t->offset + t->columns[i].x, s->y, t->columns[i].w, STYLE_FINE, INK_PENCIL,
		         t->columns[i].side, 1, t->columns[i].head);
	s->y += 12;
	put_rule(s, LEFT + t->offset, s->y, table_width(t), INK_PENCIL, 0.5);
	s->y += 4;
}

void put_row(struct sheet *s, const struct cells *t, const char *const *texts, unsigned bold, unsigned underline)
{
	double h = 0;

	for (int i = 0; i < t->count; i++) {
		enum style style = bold & 1U << i ? STYLE_STRONG : STYLE_BODY;
		double own = texts[i] ? height_of(s, t->columns[i].w, style, texts[i]) : 0;
		h = own > h ? own : h;
	}
	if (room_left(s) < h + 2) {
		new_page(s);
		put_table_head(s, t);
	}
	for (int i = 0; i < t->count; i++) {
		enum style style = bold & 1U << i ? STYLE_STRONG : STYLE_BODY;
		const struct cell_column *c = &t->columns[i];
		double x = LEFT + t->offset + c->x, w;
		if (!texts[i] || !*texts[i])
			continue;
		put_text(s, x, s->y, c->w, style, INK_BLACK, c->side, 0, texts[i]);
		if (!(underline & 1U << i))
			continue;
		w = fmin(width_of(s, style, texts[i]), c->w);
		put_rule(s, c->side == SIDE_RIGHT ? x + c->w - w : x, s->y + 12.2, w, INK_ACCENT, 1.2);
	}
	s->y += h + 2;
}

/* ---- words ---- */

const char *time_text(struct sheet *s, int64_t us, int offset)
{
	char t[FT_TIME_TEXT];
	const char *text;

	if (us == FT_ABSENT)
		return "";
	ft_time_text(us, offset, t);
	text = strlen(t) >= 25 ? ft_arena_printf(s->arena, "%.10s %.5s %s", t, t + 11, t + 19) : NULL;
	return text ? text : "";
}

const char *money_text(struct sheet *s, int64_t v, int decimals)
{
	char t[FT_MONEY_TEXT];
	const char *text = v == FT_ABSENT ? "" : ft_arena_printf(s->arena, "%s", ft_money_text(v, decimals, t));

	return text ? text : "";
}

const char *number_text(struct sheet *s, int64_t v)
{
	const char *text = v == FT_ABSENT ? "" : ft_arena_printf(s->arena, "%lld", (long long)v);

	return text ? text : "";
}

const char *evidence_text(struct sheet *s, const struct ft_claim_state *c)
{
	const char *text = NULL;

	for (size_t i = 0; i < c->evidence_count; i++) {
		long long n = s->h->visit->evidence[c->evidence[i]].number;
		text = text ? ft_arena_printf(s->arena, "%s, %lld", text, n) : ft_arena_printf(s->arena, "evidence %lld", n);
	}
	return text ? text : "";
}
