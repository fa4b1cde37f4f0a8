/* SPDX-License-Identifier: Apache-2.0 */
/* The wiring sheet: the one page of it. The parts around the drawing are laid out first, at their own height; the
 * drawing takes what is left. */
#include "plate.h"

#include <math.h>

#define EDGE           40.0  /* right */
#define FACES          158.0 /* the column of connector faces */
#define COLUMN         12.0  /* between columns */
#define FOOT           30.0
#define LOWEST_PICTURE 160.0
enum { FEWEST_CAUTIONS = 3 };

static double wide(const struct plate *p)
{
	return p->s.width - LEFT - EDGE;
}

/* ---- marks ---- */

static const struct {
	enum dash dash;
	double thick;
} wires[FT_WIRES] = {
	[FT_WIRE_BUS] = { DASH_NONE, 2.4 },   [FT_WIRE_AUDIT] = { DASH_LONG, 1.5 },   [FT_WIRE_SWITCH] = { DASH_DOTS, 1.8 },
	[FT_WIRE_PROBE] = { DASH_BOTH, 1.3 }, [FT_WIRE_ANTENNA] = { DASH_NONE, 3.4 },
};

void wire_draw(struct plate *p, const struct point *points, int count, enum ft_wire wire, bool there)
{
	if (!there) /* a pale edge keeps crossings apart */
		plate_path(p, points, count, wires[wire].thick + 2.4, DASH_NONE, INK_WHITE);
	plate_path(p, points, count, there ? 0.9 : wires[wire].thick, wires[wire].dash, INK_BLACK);
	if (wire == FT_WIRE_ANTENNA && !there) /* a tube: screened */
		plate_path(p, points, count, 1.5, DASH_NONE, INK_WHITE);
}

void tag_draw(struct plate *p, double x, double y, bool right, int number, const char *role)
{
	double w = TAG_W, h = TAG_H, in = right ? 0 : 5;
	struct point around[] = { { x + (right ? 0 : w), y },
		                      { x + (right ? w - 5 : 5), y },
		                      { x + (right ? w : 0), y + h / 2 },
		                      { x + (right ? w - 5 : 5), y + h },
		                      { x + (right ? 0 : w), y + h } };
	const char *t = ft_arena_printf(p->s.arena, "%d", number);

	plate_shape(p, around, 5, 1, DASH_NONE, INK_WHITE);
	plate_words(p, x + in, y + 0.5, w - 5, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, role, t ? t : "");
}

/* ---- head and foot ---- */

static double head(struct plate *p, const struct ft_wiring *w)
{
	double x = LEFT, right = 150, y = 30;
	const char *t;

	plate_words(p, x, y, wide(p) - right - COLUMN, STYLE_TITLE, INK_BLACK, AT_LEFT, 1, "asset", w->asset);
	plate_words(p, x + wide(p) - right, y + 2, right, STYLE_HEAD, INK_ACCENT, AT_RIGHT, 1, NULL, "Wiring sheet");
	t = ft_arena_printf(p->s.arena, "visit %s  \302\267  %s", w->visit, w->date ? w->date : "no date");
	plate_words(p, x + wide(p) - right, y + 19, right, STYLE_SMALL, INK_BLACK, AT_RIGHT, 1, NULL, t);
	y += 34;
	t = ft_arena_printf(p->s.arena, "%s%s%s", w->site ? w->site : "", w->site && w->machine ? "  \302\267  " : "",
	                    w->machine ? w->machine : "");
	y += plate_words(p, x, y, wide(p), STYLE_BODY, INK_BLACK, AT_LEFT, 1, NULL, t);
	t = ft_arena_printf(p->s.arena, "to be fitted: %s%s%s", w->unit ? w->unit : "the unit is not named yet",
	                    w->technician ? "  \302\267  by " : "", w->technician ? w->technician : "");
	y += plate_words(p, x, y, wide(p), STYLE_BODY, INK_BLACK, AT_LEFT, 1, NULL, t);
	return y + 6;
}

static void foot(struct plate *p, const struct ft_wiring *w)
{
	double y = p->s.height - FOOT - 10, half = wide(p) * 0.62;
	const char *t = ft_arena_printf(p->s.arena, "%s  \302\267  visit %s  \302\267  page 1 of 1", w->asset, w->visit);

	plate_box(p, MARGIN_LINE - 0.35, 30, 0.7, p->s.height - 62, 0, DASH_NONE, INK_ACCENT);
	plate_words(p, LEFT, y, half, STYLE_FINE, INK_PENCIL, AT_LEFT, 1, NULL, w->drawn_from);
	plate_words(p, LEFT + half, y, wide(p) - half, STYLE_FINE, INK_BLACK, AT_RIGHT, 1, NULL, t);
}

/* ---- what comes before anything else ---- */

static double off_first(struct plate *p, const struct ft_wiring *w, double y)
{
	double h =
		plate_words(p, LEFT + 62, y + 5, wide(p) - 70, STYLE_STRONG, INK_BLACK, AT_LEFT, 3, "off-first", w->off_first);

	plate_box(p, LEFT, y, wide(p), h + 10, 1.6, DASH_NONE, FILL_NONE);
	plate_box(p, LEFT, y, 54, h + 10, 0, DASH_NONE, INK_BLACK);
	plate_words(p, LEFT, y + (h + 10) / 2 - 8, 54, STYLE_HEAD, INK_WHITE, AT_MIDDLE, 1, NULL, "First");
	return y + h + 16;
}

static double heading(struct plate *p, double x, double y, double w, const char *text)
{
	plate_words(p, x, y, w, STYLE_STRONG, INK_ACCENT, AT_LEFT, 1, NULL, text);
	plate_line(p, x, y + 14, x + w, y + 14, 0.5, DASH_NONE, INK_PENCIL);
	return y + 18;
}

/* ---- connector faces ---- */

#define CELL 16.0

static double face_grid(struct plate *p, const struct ft_connector *c, double x, double y)
{
	plate_box(p, x, y, c->columns * CELL + 6, c->rows * CELL + 6, 1.6, DASH_NONE, INK_WHITE);
	for (size_t i = 0; i < c->pin_count; i++) {
		const struct ft_connector_pin *n = &c->pins[i];
		double px = x + 3 + (n->column - 1) * CELL, py = y + 3 + (n->row - 1) * CELL;
		plate_box(p, px + 1.5, py + 1.5, CELL - 3, CELL - 3, 0.9, DASH_NONE, INK_WHITE);
		plate_words(p, px, py + 3, CELL, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, "pin", n->pin);
	}
	return c->rows * CELL + 6;
}

/* From the side: a rounded tip, a ring and a long sleeve, each apart from the next. */
static double face_jack(struct plate *p, double x, double y)
{
	double m = y + 7;

	plate_shape(p,
	            (struct point[]){ { x, m },
	                              { x + 4, m - 4.5 },
	                              { x + 10, m - 4.5 },
	                              { x + 12, m - 3 },
	                              { x + 12, m + 3 },
	                              { x + 10, m + 4.5 },
	                              { x + 4, m + 4.5 } },
	            7, 1.1, DASH_NONE, INK_WHITE);
	plate_box(p, x + 14, m - 4.5, 7, 9, 1.1, DASH_NONE, INK_WHITE);
	plate_box(p, x + 23, m - 4.5, 18, 9, 1.1, DASH_NONE, INK_WHITE);
	plate_box(p, x + 41, m - 7, 13, 14, 1.1, DASH_NONE, INK_WHITE);
	return 16;
}

static double face_shape(struct plate *p, const struct ft_connector *c, double x, double y)
{
	if (c->face == FT_FACE_GRID)
		return face_grid(p, c, x, y);
	if (c->face == FT_FACE_JACK)
		return face_jack(p, x, y);
	if (c->face == FT_FACE_COAX) {
		plate_disc(p, x + 12, y + 11, 10, 1.4, INK_WHITE);
		plate_disc(p, x + 12, y + 11, 6, 0.8, INK_WHITE);
		plate_disc(p, x + 12, y + 11, 2, 0, INK_BLACK);
		return 22;
	}
	if (c->face == FT_FACE_TERMINALS) {
		for (int k = 0; k < 2; k++) {
			plate_box(p, x + 22 * k, y, 18, 18, 1.2, DASH_NONE, INK_WHITE);
			plate_disc(p, x + 22 * k + 9, y + 9, 7, 0.8, INK_WHITE);
			plate_words(p, x + 22 * k, y + 4, 18, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, "pin",
			            k < (int)c->pin_count ? c->pins[k].pin : "");
		}
		return 18;
	}
	return 0;
}

/* Pins with what they do, from the right of the picture down. */
static double pins(struct plate *p, const struct ft_connector *c, double x, double y, double w)
{
	double h = 0, first = c->face == FT_FACE_GRID || c->face == FT_FACE_TERMINALS ? 12 : 32;

	for (size_t i = 0; i < c->pin_count; i++) {
		const struct ft_connector_pin *n = &c->pins[i];
		/* A pin whose number stands in the picture is not an entry of its own again. */
		plate_words(p, x, y + h, first, STYLE_LABEL, INK_BLACK, AT_LEFT, 1,
		            c->face == FT_FACE_GRID || c->face == FT_FACE_TERMINALS ? NULL : "pin", n->pin);
		h += plate_words(p, x + first, y + h, w - first, STYLE_FINE, INK_BLACK, AT_LEFT, 2, "function", n->function);
	}
	return h;
}

static double face(struct plate *p, const struct ft_connector *c, double x, double y, double w)
{
	double top = y, drawn, listed, left = c->face == FT_FACE_NONE ? 0 : 62;
	double named = plate_width(p, STYLE_LABEL, c->title) + 6;

	plate_words(p, x + named, y, w - named, STYLE_FINE, INK_PENCIL, AT_RIGHT, 1, "trust", c->trust);
	y += plate_words(p, x, y, w, STYLE_LABEL, INK_BLACK, AT_LEFT, 1, "face", c->title) + 1;
	drawn = face_shape(p, c, x + 1, y);
	listed = pins(p, c, x + left, y, w - left);
	y += fmax(drawn, listed) + 1;
	if (!p->tight || c->face == FT_FACE_GRID || c->face == FT_FACE_NONE)
		y += plate_words(p, x, y, w, STYLE_FINE, INK_PENCIL, AT_LEFT, 0, "seen", c->seen);
	return y - top + 5;
}

static double faces(struct plate *p, const struct ft_wiring *w, double x, double y, double width)
{
	double h = heading(p, x, y, width, "Plugs, enlarged") - y;

	for (size_t i = 0; i < w->face_count; i++)
		h += face(p, &w->faces[i], x, y + h, width);
	return h;
}

/* ---- the order of work and the figures ---- */

static double steps(struct plate *p, const struct ft_wiring *w, double x, double y, double width)
{
	double at = heading(p, x, y, width, "Order of work");

	for (size_t i = 0; i < w->step_count; i++) {
		const struct ft_wiring_step *s = &w->steps[i];
		double h, text = x + 50;
		tag_draw(p, x, at, true, s->number, "step");
		if (s->wire >= 0)
			wire_draw(p, (struct point[]){ { x + 20, at + 6 }, { x + 44, at + 6 } }, 2, (enum ft_wire)s->wire, false);
		h = plate_words(p, text, at, x + width - text, p->small ? STYLE_FINE : STYLE_SMALL, INK_BLACK, AT_LEFT, 0,
		                "work", s->text);
		at += fmax(h, TAG_H) + (p->small ? 1 : 3);
	}
	return at - y;
}

static double figures(struct plate *p, const struct ft_wiring *w, double x, double y, double width)
{
	double at = heading(p, x, y, width, "Supply");

	for (size_t i = 0; i < w->supply_count; i++)
		at += plate_words(p, x, at, width, STYLE_SMALL, INK_BLACK, AT_LEFT, 0, "supply", w->supply[i]) + 1;
	at = heading(p, x, at + 5, width, "Signal and antenna lead");
	for (size_t i = 0; i < w->signal_count; i++)
		at += plate_words(p, x, at, width, STYLE_SMALL, INK_BLACK, AT_LEFT, 0, "signal", w->signal[i]) + 1;
	return at - y;
}

static double cautions(struct plate *p, const struct ft_wiring *w, double x, double y, double width)
{
	double each = (width - COLUMN) / 2, at[2], top = heading(p, x, y, width, "Take care");

	at[0] = at[1] = top;
	for (size_t i = 0; i < w->caution_count; i++) {
		int k = at[1] < at[0]; /* the shorter column */
		const char *t = ft_arena_printf(p->s.arena, "%s. %s", w->cautions[i]->title, w->cautions[i]->sentence);
		at[k] +=
			plate_words(p, x + k * (each + COLUMN), at[k], each, STYLE_FINE, INK_BLACK, AT_LEFT, 0, "caution", t) + 2;
	}
	return fmax(at[0], at[1]) - y;
}

/* ---- the page ---- */

/* A part's height, without a trace of it. */
static double height_of_part(struct plate *p, const struct ft_wiring *w, double width,
                             double (*part)(struct plate *, const struct ft_wiring *, double, double, double))
{
	size_t count = p->count, cut = p->cut;
	double h = part(p, w, 0, 0, width);

	p->count = count;
	p->cut = cut;
	return h;
}

static double chain(struct plate *p, const struct ft_wiring *w, double x, double y, double width)
{
	double at = heading(p, x, y, width, "The bus, in its order");

	return at + chain_draw(p, w->chain, x, at, width) - y;
}

/* Left the picture, the chain and the order of work; right the plugs and the figures; below, over both, what to take
 * care of. */
struct lines_of {
	double bus, order, care; /* tops of the parts */
};

static struct lines_of lay(struct plate *p, const struct ft_wiring *w, double width, double left)
{
	struct lines_of l;

	l.care = p->s.height - FOOT - 16 - height_of_part(p, w, width, cautions);
	l.order = l.care - 2 - height_of_part(p, w, left, steps);
	l.bus = l.order - 4 - height_of_part(p, w, left, chain);
	return l;
}

static void page(struct plate *p, const struct ft_wiring *all)
{
	struct ft_wiring w = *all;
	double y = off_first(p, &w, head(p, &w)), x = LEFT, width = wide(p), left = width - FACES - COLUMN;
	double side = x + left + COLUMN, least = fmax(cabinet_least(&w) + 6, LOWEST_PICTURE);
	struct lines_of l = lay(p, &w, width, left);

	/* A full machine takes the room of the words: the least of the cautions give way, never the first ones. */
	while (l.bus - y < least && w.caution_count > FEWEST_CAUTIONS) {
		w.caution_count--;
		l = lay(p, &w, width, left);
	}
	if (l.bus - y < least) {
		p->small = true;
		l = lay(p, &w, width, left);
	}
	/* The words of the small plugs too. */
	p->tight = y + height_of_part(p, &w, FACES, faces) + 4 + height_of_part(p, &w, FACES, figures) > l.care - 4;
	cabinet_draw(p, &w, x, y, left, l.bus - 6 - y);
	chain(p, &w, x, l.bus, left);
	steps(p, &w, x, l.order, left);
	figures(p, &w, side, y + faces(p, &w, side, y, FACES) + 4, FACES);
	cautions(p, &w, x, l.care, width);
	foot(p, &w);
}

enum ft_status wiring_page(const struct ft_wiring *w, enum ft_sheet sheet, enum ft_wiring_format format,
                           const char *program, struct ft_arena *a, struct ft_buf *out, struct ft_wiring_drawn *ret,
                           struct ft_error *e)
{
	bool letter = sheet == FT_SHEET_LETTER;
	struct plate p;
	enum ft_status s = plate_begin(&p, letter ? 612 : 595.276, letter ? 792 : 841.890, a, e);
	const char *title = ft_arena_printf(a, "Wiring sheet of %s, visit %s", w->asset, w->visit);

	if (s == FT_OK) {
		page(&p, w);
		if (ret)
			plate_check(&p, ret);
		s = format == FT_WIRING_PDF ? plate_pdf(&p, title, program, w->date, out, e) : plate_svg(&p, title, out, e);
	}
	plate_done(&p);
	return s;
}
