/* SPDX-License-Identifier: Apache-2.0 */
/* The day sheet: one technician, one day. Stops in their order with times, address and kit, what is in the van for it,
 * and the cautions. Fits a clipboard; reads in black and white. */
#include <math.h>

#include "draw.h"

#include "fettle/paper_rollout.h"

static const char *clock_of(struct sheet *s, int minutes)
{
	const char *t = ft_arena_printf(s->arena, "%02d:%02d", minutes / 60, minutes % 60);

	return t ? t : "";
}

/* "Monday 30 November 2026" */
static const char *long_date(struct sheet *s, int64_t day)
{
	static const char *const weekdays[] = {
		"Thursday", "Friday", "Saturday", "Sunday", "Monday", "Tuesday", "Wednesday"
	};
	static const char *const months[] = { "January", "February", "March",     "April",   "May",      "June",
		                                  "July",    "August",   "September", "October", "November", "December" };
	const struct ft_civil c = ft_civil_of(day * 86400 * FT_SECOND, 0);
	const char *t = ft_arena_printf(s->arena, "%s %d %s %d", weekdays[(day % 7 + 7) % 7], c.day,
	                                months[(c.month + 11) % 12], c.year);

	return t ? t : "";
}

static const char *kit_text(struct sheet *s, const struct ft_rollout *r, const struct ft_fleet_machine *m)
{
	struct ft_buf out = { 0 };
	const char *text;

	for (size_t k = 0; k < m->kit_count; k++) {
		ft_buf_puts(&out, k ? "; " : "");
		if (m->kit[k].count > 1)
			ft_buf_printf(&out, "%d \303\227 ", m->kit[k].count);
		ft_buf_slice(&out, r->fleet->parts[m->kit[k].part].name);
		if (m->kit[k].p < 1)
			ft_buf_printf(&out, " (%.0f %%)", 100 * m->kit[k].p);
	}
	text = text_of(s, ft_buf_text(&out));
	ft_buf_done(&out);
	return text;
}

static void put_stop(struct sheet *s, const struct ft_rollout *r, const struct ft_rollout_day *day, size_t i)
{
	const struct ft_rollout_stop *x = &day->stops[i];
	const struct ft_fleet_machine *m = &r->fleet->machines[x->machine];
	const double w = text_width(s) - 112;
	const char *kit = kit_text(s, r, m);
	const char *place = m->address.n ? text_of(s, m->address)
		: !isnan(m->latitude)        ? ft_arena_printf(s->arena, "%.5f, %.5f", m->latitude, m->longitude)
									 : "";
	const char *hours = m->opens > 0 || m->closes < 1440
		? ft_arena_printf(s->arena, "open %s to %s", clock_of(s, m->opens), clock_of(s, m->closes))
		: "";
	const double kit_high = *kit ? height_of(s, w, STYLE_SMALL, kit) : 0;
	double y;

	need(s, 34 + kit_high);
	y = s->y;
	/* The box is the only thing to tick by hand on this sheet. */
	cairo_set_source_rgb(s->cr, 0.12, 0.14, 0.16);
	cairo_set_line_width(s->cr, 0.8);
	cairo_rectangle(s->cr, MARK_AT - 5, y + 1.5, 9, 9);
	cairo_stroke(s->cr);
	put_text(s, LEFT, y, 60, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1,
	         ft_arena_printf(s->arena, "%s\342\200\223%s", clock_of(s, x->start), clock_of(s, x->leave)));
	put_text(s, LEFT, y + 13, 78, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1,
	         x->arrive < x->start ? ft_arena_printf(s->arena, "%.1f km, there %s", x->km, clock_of(s, x->arrive))
	                              : ft_arena_printf(s->arena, "%.1f km", x->km));
	put_text(s, LEFT + 80, y, w, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1,
	         ft_arena_printf(s->arena, "%s   %s", text_of(s, m->asset), text_of(s, m->site)));
	y += 13;
	if ((place && *place) || (hours && *hours))
		y += put_text(s, LEFT + 80, y, w, STYLE_SMALL, INK_PENCIL, SIDE_LEFT, 1,
		              ft_arena_printf(s->arena, "%s%s%s", place ? place : "",
		                              place && *place && hours && *hours ? "  \302\267  " : "", hours ? hours : ""));
	if (*kit)
		y += put_text(s, LEFT + 80, y, w, STYLE_SMALL, INK_BLACK, SIDE_LEFT, 0, kit);
	s->y = fmax(y, s->y + 24) + 3;
	put_rule(s, LEFT, s->y, text_width(s), INK_PENCIL, 0.25);
	s->y += 4;
}

static void put_van(struct sheet *s, const struct ft_rollout *r, const struct ft_rollout_day *day)
{
	const struct ft_rollout_filling *f = &r->fillings[day->filling];
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 90, SIDE_LEFT, "part" },
		{ 98, w - 98 - 190, SIDE_LEFT, "name" },
		{ w - 184, 56, SIDE_RIGHT, "expected" },
		{ w - 120, 44, SIDE_RIGHT, "carry" },
		{ w - 68, 68, SIDE_RIGHT, "risk" },
	};
	const struct cells t = { columns, 5, 0 };
	size_t rows = 0;

	for (size_t p = 0; p < f->van.part_count; p++)
		rows += f->van.loads[p].carry > 0;
	if (!rows || f->from != day->day)
		return;
	/* one packs by this list: it stays on one page where it is not longer than most of it */
	put_heading(s, f->from == f->until ? "In the van today" : "In the van from today on",
	            rows * 15 + 60 < 480 ? (double)rows * 15 + 60 : 40);
	if (f->from != f->until) {
		put_paragraph(s, STYLE_SMALL, INK_PENCIL,
		              ft_arena_printf(s->arena, "Filled today for all stops until %s.", long_date(s, f->until)));
		s->y += 4;
	}
	put_table_head(s, &t);
	for (size_t p = 0; p < f->van.part_count; p++) {
		const struct ft_van_load *l = &f->van.loads[p];
		const char *texts[5];
		if (!l->carry)
			continue;
		texts[0] = text_of(s, r->fleet->parts[p].part);
		texts[1] = text_of(s, r->fleet->parts[p].name);
		texts[2] = ft_arena_printf(s->arena, "%.2f", l->expected);
		texts[3] = ft_arena_printf(s->arena, "%d", l->carry);
		texts[4] = l->risk < 0.00005 ? "none" : ft_arena_printf(s->arena, "%.2f %%", 100 * l->risk);
		put_row(s, &t, texts, 1U << 3, 0);
	}
	s->y += 2;
	put_paragraph(s, STYLE_SMALL, INK_PENCIL,
	              ft_arena_printf(s->arena, "Risk that anything is missing: at most %.2f %%; %.2f %% was asked.",
	                              100 * f->van.bound, 100 * r->risk_asked));
}

static const char *caution_text(struct sheet *s, const struct ft_caution *c)
{
	const char *text = ft_arena_printf(s->arena, "%s: %s", c->title, c->sentence);

	return text ? text : "";
}

/* In two columns, the left one filled to the half, to be read each morning. */
static void put_cautions(struct sheet *s)
{
	const struct ft_caution *list;
	const size_t n = ft_cautions(&list);
	const double w = text_width(s) / 2 - GRID;
	double all = 0, left = 0, high = 0, y;
	size_t k;

	for (size_t i = 1; i < n; i++)
		all += height_of(s, w, STYLE_FINE, caution_text(s, &list[i])) + 2;
	for (k = 1; k < n && left < all / 2; k++)
		left += height_of(s, w, STYLE_FINE, caution_text(s, &list[k])) + 2;
	high = fmax(left, all - left);
	put_heading(s, "Before you open a machine", high + 26);
	put_paragraph(s, STYLE_SMALL, INK_BLACK, list[0].sentence);
	s->y += 4;
	y = s->y;
	for (size_t i = 1; i < n; i++) {
		if (i == k)
			y = s->y;
		y += put_text(s, i < k ? LEFT : LEFT + w + 2 * GRID, y, w, STYLE_FINE, INK_BLACK, SIDE_LEFT, 0,
		              caution_text(s, &list[i])) +
			2;
	}
	s->y += high;
}

static void put_day(struct sheet *s, const struct ft_rollout *r, size_t d)
{
	const struct ft_rollout_day *day = &r->days[d];
	const char *name = text_of(s, r->fleet->technicians[day->technician].name);

	s->foot = ft_arena_printf(s->arena, "%s  \302\267  %s", name, long_date(s, day->day));
	new_page(s);
	if (s->outline)
		cairo_pdf_surface_add_outline(s->surface, CAIRO_PDF_OUTLINE_ROOT, s->foot ? s->foot : name,
		                              ft_arena_printf(s->arena, "page=%d pos=[0 %d]", s->page, (int)s->y),
		                              CAIRO_PDF_OUTLINE_FLAG_OPEN);
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_VERDICT, INK_BLACK, SIDE_LEFT, 1, name);
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_HEAD, INK_ACCENT, SIDE_LEFT, 1, long_date(s, day->day));
	s->y += 2;
	put_paragraph(s, STYLE_BODY, INK_BLACK,
	              ft_arena_printf(s->arena, "Leave at %s, back at %s. %zu %s, %.1f km.%s", clock_of(s, day->leave),
	                              clock_of(s, day->back), day->count, day->count == 1 ? "machine" : "machines", day->km,
	                              day->late_risk >= 0.005
	                                  ? ft_arena_printf(s->arena, " The chance of being back too late is %.0f %%.",
	                                                    100 * day->late_risk)
	                                  : ""));
	skip(s, 1);
	for (size_t i = 0; i < day->count; i++)
		put_stop(s, r, day, i);
	put_text(s, LEFT, s->y, text_width(s), STYLE_SMALL, INK_PENCIL, SIDE_LEFT, 1,
	         ft_arena_printf(s->arena, "%s  home, %.1f km", clock_of(s, day->back), day->back_km));
	s->y += 12;
	put_van(s, r, day);
	put_cautions(s);
}

void section_days(struct sheet *s, const struct ft_rollout *r)
{
	for (size_t d = 0; d < r->day_count; d++)
		put_day(s, r, d);
}
