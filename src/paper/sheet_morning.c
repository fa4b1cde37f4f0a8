/* SPDX-License-Identifier: Apache-2.0 */
/* The morning report on paper: a line an exception, what to do below it; the first page is enough for a manager. */
#include <math.h>

#include "draw.h"

#include "fettle/paper_watch.h"

static const char *some(const char *text)
{
	return text ? text : "";
}

static const char *one_line(struct sheet *s, const char *text)
{
	return text_of(s, ft_slice_of(some(text)));
}

static void put_line(struct sheet *s, const struct ft_morning_line *l)
{
	const double w = text_width(s) - 88 - 76;
	const char *sentence = one_line(s, l->sentence);
	const char *below = some(ft_arena_printf(s->arena, "%s%s%sDo: %s.", l->expected ? "Expected: " : "",
	                                         l->expected ? one_line(s, l->expected) : "", l->expected ? ". " : "",
	                                         one_line(s, l->todo)));
	const char *file = l->after ? l->after : l->before;
	double y, high = height_of(s, w, STYLE_BODY, sentence) + height_of(s, w, STYLE_SMALL, below);

	need(s, high + 18);
	y = s->y;
	put_mark(s, MARK_AT, y + 6, 9, l->weight == FT_FAULT ? FT_STANDS_CONTRADICTED : FT_STANDS_OPEN);
	put_text(s, LEFT, y, 84, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, one_line(s, l->asset));
	put_text(s, LEFT, y + 13, 84, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1,
	         some(ft_arena_printf(s->arena, "since %s", some(l->since))));
	if (l->money != FT_ABSENT)
		put_text(s, LEFT + 88 + w, y, 76, STYLE_STRONG, INK_BLACK, SIDE_RIGHT, 1,
		         some(ft_arena_printf(s->arena, "%s%s%s", some(money_text(s, l->money, l->decimals)),
		                              *l->currency ? " " : "", l->currency)));
	put_text(s, LEFT + 88 + w, y + 13, 76, STYLE_FINE, INK_PENCIL, SIDE_RIGHT, 1,
	         some(ft_arena_printf(s->arena, "%s%s%.0f %% sure", some(l->per), l->per ? ", " : "",
	                              fmin(99, floor(l->sure * 100 + 0.5)))));
	y += put_text(s, LEFT + 88, y, w, STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, sentence);
	y += put_text(s, LEFT + 88, y, w, STYLE_SMALL, INK_PENCIL, SIDE_LEFT, 0, below);
	if (file)
		y += put_text(s, LEFT + 88, y, w, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, one_line(s, file));
	s->y = fmax(y, s->y + 26) + 2;
	put_rule(s, LEFT, s->y, text_width(s), INK_PENCIL, 0.25);
	s->y += 4;
}

static void put_sums(struct sheet *s, const char *heading, const struct ft_morning_sum *list, size_t n, int decimals)
{
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 110, SIDE_LEFT, "name" },      { 118, 70, SIDE_RIGHT, "collections" }, { 196, 74, SIDE_RIGHT, "expected" },
		{ 278, 74, SIDE_RIGHT, "counted" }, { 360, 70, SIDE_RIGHT, "variance" },    { 438, w - 438, SIDE_LEFT, "" },
	};
	const struct cells t = { columns, 6, 0 };

	if (!n)
		return;
	put_heading(s, heading, 40);
	put_table_head(s, &t);
	for (size_t i = 0; i < n; i++) {
		const char *texts[6] = { one_line(s, list[i].name),
			                     some(ft_arena_printf(s->arena, "%zu", list[i].collections)),
			                     money_text(s, list[i].expected, decimals),
			                     money_text(s, list[i].counted, decimals),
			                     money_text(s, list[i].counted - list[i].expected, decimals),
			                     list[i].usual };
		put_row(s, &t, texts, list[i].less ? 1U : 0U, 0);
	}
}

/* What stands in the columns of the lines below. */
static void put_heads(struct sheet *s)
{
	const double w = text_width(s) - 88 - 76;
	double high;

	if (!(w > 0))
		return;
	high = put_text(s, LEFT, s->y, 84, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, "machine");
	put_text(s, LEFT + 88, s->y, w, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, "what was seen, and what to do");
	put_text(s, LEFT + 88 + w, s->y, 76, STYLE_FINE, INK_PENCIL, SIDE_RIGHT, 1, "lost or at stake");
	s->y += high + 2;
	put_rule(s, LEFT, s->y, text_width(s), INK_PENCIL, 0.25);
	s->y += 4;
}

/* Both tables of cash, with their headings, in points; rather too much than too little. */
static double sums_high(const struct ft_morning *m)
{
	return (double)(m->person_count + m->route_count) * 16 + (m->person_count > 0) * 64 + (m->route_count > 0) * 64;
}

void section_morning(struct sheet *s, const struct ft_morning *m)
{
	struct ft_buf text = { 0 };

	s->foot = some(ft_arena_printf(s->arena, "%s, %.10s", morning_title(m), m->until));
	new_page(s);
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_VERDICT, INK_BLACK, SIDE_LEFT, 1, morning_title(m));
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_HEAD, INK_ACCENT, SIDE_LEFT, 1,
	                 some(ft_arena_printf(s->arena, "%.10s", m->until)));
	s->y += 2;
	ft_morning_opening(m, &text);
	put_paragraph(s, STYLE_BODY, INK_BLACK, text.status == FT_OK ? text_of(s, ft_buf_text(&text)) : "");
	ft_buf_done(&text);
	skip(s, 1);
	put_heads(s);
	for (size_t i = 0; i < m->line_count; i++)
		put_line(s, &m->lines[i]);
	/* a table of a row or two does not go over alone */
	if (sums_high(m) < 240)
		need(s, sums_high(m));
	put_sums(s, "Cash by person", m->persons, m->person_count, m->decimals);
	put_sums(s, "Cash by route", m->routes, m->route_count, m->decimals);
	if (m->acknowledged)
		put_heading(s, "Known, and quiet until it changes", 40);
	for (size_t i = 0; i < m->acknowledged; i++)
		put_paragraph(s, STYLE_BODY, INK_BLACK,
		              one_line(s,
		                       ft_arena_printf(s->arena, "%s: %s; known: %s.", m->known[i].asset, m->known[i].sentence,
		                                       m->known[i].known)));
}
