/* SPDX-License-Identifier: Apache-2.0 */
/* The chain: the harness as a line with knots, volts written over, metres under. */
#include "plate.h"

#include <math.h>

#define LABELS 68.0 /* words before the volts */
#define STEP   54.0 /* from knot to knot at least */
#define VOLTS  11.0 /* pitch of the rows of volts */

static const char *said(struct plate *p, const char *format, double v)
{
	const char *t = isnan(v) ? NULL : ft_arena_printf(p->s.arena, format, v);

	return t ? t : "";
}

static void struck_diamond(struct plate *p, double x, double y, double r)
{
	plate_shape(p, (struct point[]){ { x, y - r }, { x + r, y }, { x, y + r }, { x - r, y } }, 4, 1.4, DASH_NONE,
	            INK_WHITE);
	plate_line(p, x - r * 1.5, y, x + r * 1.5, y, 1.4, DASH_NONE, INK_BLACK);
}

static void knot(struct plate *p, const struct ft_chain *c, int i, double x, double y)
{
	if (i == c->weakest)
		struck_diamond(p, x, y, 6.5);
	else if (c->knots[i].unit)
		plate_box(p, x - 5, y - 5, 10, 10, 0, DASH_NONE, INK_BLACK);
	else
		plate_disc(p, x, y, 3.5, 0, INK_BLACK);
}

/* "0.80 m" and, below it, "AWG 22" or its area. */
static void run(struct plate *p, const struct ft_chain_knot *k, double x, double y, double w)
{
	const char *gauge = "";

	for (int awg = 16; awg <= 28 && !isnan(k->area_mm2); awg++)
		if (fabs(ft_supply_awg_area(awg) - k->area_mm2) < 0.002)
			gauge = ft_arena_printf(p->s.arena, "AWG %d", awg);
	if (!*gauge && !isnan(k->area_mm2))
		gauge = said(p, "%.2f mm\302\262", k->area_mm2);
	if (!*gauge)
		gauge = "wire ?";
	plate_words(p, x, y, w, STYLE_FINE, INK_BLACK, AT_MIDDLE, 1, "run",
	            isnan(k->length_m) ? "? m" : said(p, "%.2f m", k->length_m));
	plate_words(p, x, y + 9, w, STYLE_FINE, INK_PENCIL, AT_MIDDLE, 1, "gauge", gauge);
}

static void volts(struct plate *p, const struct ft_chain *c, int i, double x, double y, double w)
{
	for (int k = 0; k < FT_SUPPLY_CASES; k++) {
		bool peak = k == FT_SUPPLY_PEAK;
		double v = i < 0 ? c->supply_v : c->knots[i].volts[k];
		if (i < 0 && k)
			break;
		plate_words(p, x, y + k * VOLTS, w, peak ? STYLE_LABEL : STYLE_SMALL, INK_BLACK, AT_MIDDLE, 1, "volts",
		            c->collapses[k] && i >= 0 ? "\342\200\223" : said(p, "%.2f V", v));
	}
}

static double names(struct plate *p, const struct ft_chain *c, int i, double x, double y, double w)
{
	const struct ft_chain_knot *k = &c->knots[i];
	double h = plate_words(p, x, y, w, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 2, "device", k->name);

	if (!isnan(k->least_v))
		h += plate_words(p, x, y + h, w, STYLE_FINE, INK_PENCIL, AT_MIDDLE, 1, NULL,
		                 said(p, k->assumed ? "needs %.1f V *" : "needs %.1f V", k->least_v));
	if (i == c->weakest)
		h += plate_words(p, x, y + h, w, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, NULL, "weakest");
	else if (k->unit && strcmp(k->name, "new unit") != 0)
		h += plate_words(p, x, y + h, w, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, NULL, "new unit");
	return h;
}

/* One row of knots from index `from`; gives its height. */
static double row(struct plate *p, const struct ft_chain *c, int from, int count, double x, double y, double step)
{
	double up = c->reckoned ? FT_SUPPLY_CASES * VOLTS + 12 : 10, at = x + LABELS, most = 0;

	for (int k = 0; k < FT_SUPPLY_CASES && c->reckoned; k++) {
		static const char *const words[] = { "idle", "all the time", "at the peak" };
		plate_words(p, x, y + k * VOLTS, LABELS - 24, STYLE_FINE, INK_PENCIL, AT_LEFT, 1, NULL, words[k]);
	}
	plate_line(p, at, y + up, at + step * count + (from + count < (int)c->count ? step / 3 : 0), y + up, 2.2, DASH_NONE,
	           INK_BLACK);
	if (from == 0) {
		plate_box(p, at - 6, y + up - 8, 12, 16, 1.4, DASH_NONE, INK_WHITE);
		plate_words(p, at - 32, y + up + 21, 64, STYLE_LABEL, INK_BLACK, AT_MIDDLE, 1, NULL, c->first);
		if (c->reckoned) {
			plate_words(p, at - 20, y + up - 20, 40, STYLE_SMALL, INK_BLACK, AT_MIDDLE, 1, "volts",
			            said(p, "%.1f V", c->supply_v));
		}
	} else {
		plate_words(p, at - 32, y + up - 5, 26, STYLE_SMALL, INK_BLACK, AT_RIGHT, 1, NULL, "\342\200\246");
	}
	for (int i = 0; i < count; i++) {
		double here = at + step * (i + 1), h;
		if (c->reckoned)
			volts(p, c, from + i, here - step / 2, y, step);
		run(p, &c->knots[from + i], here - step + 7, y + up + 2, step - 14);
		knot(p, c, from + i, here, y + up);
		h = names(p, c, from + i, here - step / 2 + 2, y + up + 21, step - 4);
		most = h > most ? h : most;
	}
	return up + 21 + (most > 10 ? most : 10);
}

static bool any_assumed(const struct ft_chain *c)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->knots[i].assumed)
			return true;
	return false;
}

double chain_draw(struct plate *p, const struct ft_chain *c, double x, double y, double w)
{
	int per = (int)((w - LABELS - STEP / 2 + 4) / STEP), left = (int)c->count, from = 0;
	double h = 0;

	if (!left)
		return plate_words(
			p, x, y, w, STYLE_BODY, INK_BLACK, AT_LEFT, 2, NULL,
			"Not known yet: nobody has said what hangs on the bus, and in which order. Follow the harness from the "
			"controller and write it down.");
	while (left > 0) {
		int n = left < per ? left : per;
		double step = fmin((w - LABELS) / (n + 0.5), 110);
		h += row(p, c, from, n, x, y + h, step) + (left > n ? 10 : 0);
		from += n;
		left -= n;
	}
	if (any_assumed(c))
		h += plate_words(p, x, y + h, w, STYLE_FINE, INK_PENCIL, AT_LEFT, 1, NULL,
		                 "* from memory: replace it by the device's own figure.");
	return h;
}

/* ---- by itself ---- */

#define SHEET_W 640.0

static const char *verdict_words(struct plate *p, const struct ft_chain *c)
{
	const char *t;

	for (int k = 0; k < FT_SUPPLY_CASES; k++)
		if (c->collapses[k]) {
			static const char *const when[] = { "Idle", "With what is drawn all the time", "At the peak" };
			t = ft_arena_printf(p->s.arena, "%s the bus collapses: no volts satisfy all that is drawn.", when[k]);
			return t ? t : "";
		}
	if (c->weakest < 0 || isnan(c->margin_v))
		return "";
	t = ft_arena_printf(p->s.arena, "%s is the weakest: %.2f V %s what it needs%s.", c->knots[c->weakest].name,
	                    fabs(c->margin_v), c->margin_v < 0 ? "below" : "above",
	                    c->rating_fails ? "; the rating of the supply ends it before" : "");
	return t ? t : "";
}

enum ft_status chain_page(const struct ft_chain *c, const char *title, const char *about, struct ft_arena *a,
                          struct ft_buf *out, struct ft_error *e)
{
	struct plate p;
	enum ft_status s = plate_begin(&p, SHEET_W, 400, a, e);
	double y = 24, x = 24, w = SHEET_W - 48;

	if (s != FT_OK) {
		plate_done(&p);
		return s;
	}
	y += plate_words(&p, x, y, w, STYLE_VERDICT, INK_BLACK, AT_LEFT, 2, NULL, title);
	y += plate_words(&p, x, y, w, STYLE_BODY, INK_PENCIL, AT_LEFT, 3, NULL, about) + 16;
	y += chain_draw(&p, c, x, y, w) + 14;
	y += plate_words(&p, x, y, w, STYLE_BODY, INK_BLACK, AT_LEFT, 3, "verdict", verdict_words(&p, c));
	p.s.height = ceil(y + 20);
	s = plate_svg(&p, title, out, e);
	plate_done(&p);
	return s;
}
