/* SPDX-License-Identifier: Apache-2.0 */
/* The sheets behind the claims: figures, settings, sales, what to key back in, evidence, cautions. */
#include "draw.h"

#include <math.h>

static int decimals_of(const struct sheet *s)
{
	return s->h->after.there ? s->h->after.summary.decimals : s->h->before.summary.decimals;
}

/* "+1.50", "0.00", "-3"; empty where one side is missing. */
static const char *difference(struct sheet *s, int64_t before, int64_t after, int decimals)
{
	int64_t d;
	const char *text;

	if (before == FT_ABSENT || after == FT_ABSENT || __builtin_sub_overflow(after, before, &d))
		return "";
	text = money_text(s, d, decimals);
	text = d > 0 ? ft_arena_printf(s->arena, "+%s", text) : text;
	return text ? text : "";
}

static void put_figures(struct sheet *s, const struct cells *t, const char *title, int64_t value_before,
                        int64_t value_after, int64_t count_before, int64_t count_after)
{
	int decimals = decimals_of(s);
	const char *texts[7] = { title };

	if (value_before == FT_ABSENT && value_after == FT_ABSENT && count_before == FT_ABSENT && count_after == FT_ABSENT)
		return;
	texts[1] = money_text(s, value_before, decimals);
	texts[2] = money_text(s, value_after, decimals);
	texts[3] = difference(s, value_before, value_after, decimals);
	texts[4] = number_text(s, count_before);
	texts[5] = number_text(s, count_after);
	texts[6] = difference(s, count_before, count_after, 0);
	put_row(s, t, texts, 1U << 3 | 1U << 6, 0);
}

static int64_t of(const struct ft_audit_shown *r, int64_t v)
{
	return r->there ? v : FT_ABSENT;
}

enum { TOTALS_HIGH = 320 }; /* the totals are read across, so they stay on one sheet: 18 rows, heading and head */

void section_totals(struct sheet *s)
{
	const struct ft_audit_shown *b = &s->h->before, *a = &s->h->after;
	const struct ft_summary *x = &b->summary, *y = &a->summary;
	const double w = text_width(s), n = 56;
	const struct cell_column columns[] = {
		{ 0, w - 6 * n - 40, SIDE_LEFT, "since initialisation" },
		{ w - 6 * n - 32, n, SIDE_RIGHT, "money before" },
		{ w - 5 * n - 32, n, SIDE_RIGHT, "after" },
		{ w - 4 * n - 32, n, SIDE_RIGHT, "difference" },
		{ w - 3 * n, n, SIDE_RIGHT, "count before" },
		{ w - 2 * n, n, SIDE_RIGHT, "after" },
		{ w - n, n, SIDE_RIGHT, "difference" },
	};
	const struct cells t = { columns, 7, 0 };
	const char *currency = a->there && y->currency ? y->currency->alpha
		: b->there && x->currency                  ? x->currency->alpha
												   : NULL;

	if (!b->there && !a->there)
		return;
	put_heading(s, "Before and after", TOTALS_HIGH);
	put_paragraph(s, STYLE_SMALL, INK_PENCIL,
	              ft_arena_printf(s->arena, "From the machine's own audits%s%s%s%s%s.", currency ? ", money in " : "",
	                              currency ? currency : "", b->there ? "" : "; there is none of before",
	                              a->there ? "" : "; there is none of after",
	                              decimals_of(s) ? "" : ", no decimal places"));
	skip(s, 1);
	put_table_head(s, &t);
#define TOTAL(title, m) \
	put_figures(s, &t, title, of(b, x->m.value), of(a, y->m.value), of(b, x->m.count), of(a, y->m.count))
#define PAIR(title, m) put_figures(s, &t, title, of(b, x->m.init), of(a, y->m.init), FT_ABSENT, FT_ABSENT)
	TOTAL("paid sales", paid);
	TOTAL("by cash", cash);
	TOTAL("by card", cashless_1);
	TOTAL("by second card unit", cashless_2);
	TOTAL("by token", tokens);
	TOTAL("test sales", test);
	TOTAL("free sales", free);
	PAIR("cash taken in", cash_in);
	PAIR("to the cash box", to_box);
	PAIR("to the tubes", to_tubes);
	PAIR("in bills", bills_in);
	PAIR("change given", dispensed);
	PAIR("paid out by hand", dispensed_by_hand);
	PAIR("tubes filled by hand", filled);
	PAIR("overpaid and kept", overpaid);
#undef TOTAL
#undef PAIR
	put_figures(s, &t, "in the tubes now", of(b, x->tubes_now), of(a, y->tubes_now), FT_ABSENT, FT_ABSENT);
	put_figures(s, &t, "reads of the audit", FT_ABSENT, FT_ABSENT, of(b, x->reads), of(a, y->reads));
	put_figures(s, &t, "resets of the interval", FT_ABSENT, FT_ABSENT, of(b, x->resets), of(a, y->resets));
	put_figures(s, &t, "power cuts", FT_ABSENT, FT_ABSENT, of(b, x->power_outages), of(a, y->power_outages));
}

/* ---- settings ---- */

enum { GRID_PITCH = 14, PRICE_WIDTH = 40, GRID_ALONE = 344 };

static void put_grid_row(struct sheet *s, const struct ft_grid_row *r, double x, double y, double w)
{
	const int decimals = decimals_of(s);
	const struct ft_selection *any = r->after ? r->after : r->before;
	const char *name = text_of(s, ft_slice_trim(any->name));
	const char *before = r->before ? money_text(s, r->before->price, decimals) : "gone";
	const char *after = r->after ? money_text(s, r->after->price, decimals) : "gone";
	bool changed = r->price_changed || (!r->before != !r->after);
	double at = x + w - PRICE_WIDTH, name_w = w - 32 - 2 * PRICE_WIDTH - 8;

	if (!r->before)
		before = s->h->before.there ? "new" : "";
	if (!r->after)
		after = s->h->after.there ? "gone" : "";
	changed = changed && s->h->before.there && s->h->after.there;
	put_text(s, x, y, 30, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, text_of(s, any->id));
	put_text(s, x + 32, y, name_w, STYLE_BODY, INK_BLACK, SIDE_LEFT, 1, name);
	if (r->name_changed)
		put_rule(s, x + 32, y + 12.2, fmin(name_w, width_of(s, STYLE_BODY, name)), INK_ACCENT, 1.2);
	put_text(s, at - PRICE_WIDTH, y, PRICE_WIDTH, STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, before);
	put_text(s, at, y, PRICE_WIDTH, changed ? STYLE_STRONG : STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, after);
	if (changed) {
		double under = fmin(PRICE_WIDTH, width_of(s, STYLE_STRONG, after));
		put_rule(s, at + PRICE_WIDTH - under, y + 12.2, under, INK_ACCENT, 1.2);
	}
}

static void put_grid_head(struct sheet *s, double x, double w)
{
	put_text(s, x, s->y, 40, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, "sel.");
	put_text(s, x + 32, s->y, 80, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, "name");
	put_text(s, x + w - 2 * PRICE_WIDTH, s->y, PRICE_WIDTH, STYLE_FINE, INK_PENCIL, SIDE_RIGHT, 1, "before");
	put_text(s, x + w - PRICE_WIDTH, s->y, PRICE_WIDTH, STYLE_FINE, INK_PENCIL, SIDE_RIGHT, 1, "after");
	put_rule(s, x, s->y + 12, w, INK_PENCIL, 0.5);
}

/* Few selections stand below each other, many in two columns that are read downwards. */
static int grid_across(const struct ft_handover *h)
{
	return h->grid_count > 12 ? 2 : 1;
}

static void put_grid(struct sheet *s)
{
	const struct ft_handover *h = s->h;
	int across = grid_across(h);
	double w = across == 2 ? text_width(s) / 2 - GRID : GRID_ALONE;

	for (size_t done = 0; done < h->grid_count;) {
		size_t rest = h->grid_count - done, down, fit;
		need(s, 16 + 3 * GRID_PITCH);
		fit = (size_t)((room_left(s) - 16) / GRID_PITCH);
		down = (rest + (size_t)across - 1) / (size_t)across;
		down = down > fit ? fit : down;
		for (int c = 0; c < across; c++) {
			double x = LEFT + c * (w + 2 * GRID);
			if ((size_t)c * down >= rest)
				continue;
			put_grid_head(s, x, w);
			for (size_t i = 0; i < down && (size_t)c * down + i < rest; i++)
				put_grid_row(s, &h->grid[done + (size_t)c * down + i], x, s->y + 16 + (double)i * GRID_PITCH, w);
		}
		done += down * (size_t)across;
		s->y += 16 + (double)down * GRID_PITCH;
		if (done < h->grid_count)
			new_page(s);
	}
}

/* Settings other than what the grid shows already. */
static void put_other_settings(struct sheet *s)
{
	const struct ft_comparison *c = &s->h->comparison;
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 56, SIDE_LEFT, "element" },
		{ 60, 40, SIDE_LEFT, "selection" },
		{ 104, w - 104 - 168, SIDE_LEFT, "what it is" },
		{ w - 160, 76, SIDE_RIGHT, "before" },
		{ w - 78, 78, SIDE_RIGHT, "after" },
	};
	const struct cells t = { columns, 5, 0 };
	bool any = false;

	for (size_t i = 0; s->h->compared && i < c->change_count; i++) {
		const struct ft_change *d = &c->changes[i];
		bool setting = d->kind == FT_CHANGE_SETTING || d->kind == FT_CHANGE_IDENTITY;
		const char *texts[5] = { d->element, text_of(s, d->selection), d->meaning ? d->meaning : "" };
		if (!setting || strcmp(d->element, "PA102") == 0 || strcmp(d->element, "PA103") == 0)
			continue;
		texts[3] = d->money && d->before_number != FT_ABSENT ? money_text(s, d->before_number, decimals_of(s))
															 : text_of(s, d->before);
		texts[4] = d->money && d->after_number != FT_ABSENT ? money_text(s, d->after_number, decimals_of(s))
															: text_of(s, d->after);
		if (!any) {
			skip(s, 1);
			need(s, 56);
			put_paragraph(s, STYLE_STRONG, INK_BLACK, "Other settings that changed");
			s->y += 4;
			put_table_head(s, &t);
		}
		any = true;
		put_row(s, &t, texts, 0, 1U << 4);
	}
}

void section_settings(struct sheet *s)
{
	size_t changed = 0;
	double high = 48 + (double)(s->h->grid_count + 1) / grid_across(s->h) * GRID_PITCH;

	if (!s->h->grid_count)
		return;
	if (high > (s->height - TOP - BOTTOM) * 0.6)
		high = 96; /* a long grid is split anyway; a short one stays on one page */
	for (size_t i = 0; i < s->h->grid_count; i++)
		changed += s->h->grid[i].price_changed;
	put_heading(s, "Selections and prices", high);
	if (s->h->before.there && s->h->after.there)
		put_paragraph(s, STYLE_SMALL, INK_PENCIL,
		              changed ? ft_arena_printf(s->arena, "%zu selections; %zu %s changed. What changed is underlined.",
		                                        s->h->grid_count, changed, changed == 1 ? "price" : "prices")
		                      : ft_arena_printf(s->arena, "%zu selections; no price changed.", s->h->grid_count));
	skip(s, 1);
	put_grid(s);
	put_other_settings(s);
}

/* ---- sales ---- */

static void put_sales_list(struct sheet *s)
{
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 24, SIDE_RIGHT, "no." },        { 32, 152, SIDE_LEFT, "time" },       { 192, 60, SIDE_LEFT, "selection" },
		{ 256, 72, SIDE_LEFT, "paid with" }, { w - 120, 56, SIDE_RIGHT, "price" }, { w - 60, 60, SIDE_RIGHT, "put in" },
	};
	const struct cells t = { columns, 6, 0 };

	put_table_head(s, &t);
	for (size_t i = 0; i < s->h->sale_count; i++) {
		const struct ft_sale *d = &s->h->sales[i];
		const char *texts[6] = { number_text(s, (int64_t)i + 1),
			                     text_of(s, d->time),
			                     text_of(s, d->selection),
			                     ft_paid_word(d->paid_with),
			                     money_text(s, d->price, decimals_of(s)),
			                     money_text(s, d->tendered, decimals_of(s)) };
		put_row(s, &t, texts, 0, 0);
	}
}

static void put_counters(struct sheet *s)
{
	const struct ft_proof *p = &s->h->proof;
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 84, SIDE_LEFT, "counter" },
		{ 90, 52, SIDE_LEFT, "selection" },
		{ 146, w - 146 - 140, SIDE_LEFT, "what it counts" },
		{ w - 132, 64, SIDE_RIGHT, "expected" },
		{ w - 64, 64, SIDE_RIGHT, "observed" },
	};
	const struct cells t = { columns, 5, 0 };
	size_t still = 0;

	skip(s, 1);
	need(s, 56);
	put_table_head(s, &t);
	for (size_t i = 0; i < p->counter_count; i++) {
		const struct ft_counter *c = &p->counters[i];
		int decimals = c->money ? decimals_of(s) : 0;
		bool wrong = !ft_counter_right(c);
		const char *texts[5] = { c->element, text_of(s, c->selection), c->title, money_text(s, c->expected, decimals),
			                     money_text(s, c->observed, decimals) };
		if (!wrong && c->expected == 0) {
			still++;
			continue;
		}
		if (c->since_reset)
			texts[2] = ft_arena_printf(s->arena, "%s, since reset", c->title);
		put_row(s, &t, texts, wrong ? 1U << 4 : 0, wrong ? 1U << 4 : 0);
	}
	if (still)
		put_paragraph(s, STYLE_SMALL, INK_PENCIL,
		              ft_arena_printf(s->arena, "%zu more %s still, as %s should.", still,
		                              still == 1 ? "counter stood" : "counters stood", still == 1 ? "it" : "they"));
}

void section_sales(struct sheet *s)
{
	const struct ft_proof *p = &s->h->proof;

	if (!s->h->proved)
		return;
	put_heading(s, "The sales and the counters", 80);
	put_paragraph(s, STYLE_BODY, INK_BLACK,
	              ft_arena_printf(s->arena, "Between %s and %s %zu %s %s; %zu of %zu counters did exactly what %s.",
	                              s->h->proof_from, s->h->after.evidence->name, s->h->sale_count,
	                              s->h->sale_count == 1 ? "sale was" : "sales were",
	                              s->h->judgement.sold_by_bus ? "seen on the bus" : "written down",
	                              p->counter_count - p->wrong_count, p->counter_count,
	                              s->h->sale_count == 1 ? "it demands" : "they demand"));
	for (size_t i = 0; i < p->witness_count; i++)
		if (p->witnesses[i].says)
			put_paragraph(s, STYLE_SMALL, INK_PENCIL,
			              ft_arena_printf(s->arena, "Witness %s: %s.", p->witnesses[i].name, p->witnesses[i].says));
	if (p->agree == 0 && !p->story_count)
		put_paragraph(s, STYLE_STRONG, INK_BLACK, "No simple story explains the difference.");
	for (size_t i = 0; i < p->story_count && i < 3; i++)
		put_paragraph(s, i ? STYLE_BODY : STYLE_STRONG, INK_BLACK,
		              ft_arena_printf(s->arena, "%s %s", i ? "Or:" : "What explains it:",
		                              p->stories[i].detail ? p->stories[i].detail
		                                                   : ft_story_kind_word(p->stories[i].edits[0].kind)));
	skip(s, 1);
	put_sales_list(s);
	put_counters(s);
}

/* ---- restore sheet ---- */

void section_restore(struct sheet *s)
{
	const struct ft_comparison *c = &s->h->comparison;
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 24, 72, SIDE_LEFT, "selection" },
		{ 104, w - 104 - 176, SIDE_LEFT, "what" },
		{ w - 168, 80, SIDE_RIGHT, "key in" },
		{ w - 80, 80, SIDE_RIGHT, "stands there now" },
	};
	const struct cells t = { columns, 4, 0 };

	if (!s->h->compared || !c->restore_count)
		return;
	put_heading(s, "Restore sheet", 64);
	put_paragraph(s, STYLE_SMALL, INK_PENCIL,
	              "To key back in, in the order of the keypad. Tick what is done; leave what was changed on purpose.");
	skip(s, 1);
	put_table_head(s, &t);
	for (size_t i = 0; i < c->restore_count; i++) {
		const struct ft_restore *r = &c->restore[i];
		const char *texts[4] = { r->selection.p ? text_of(s, r->selection) : "machine", r->what, text_of(s, r->value),
			                     r->now.p ? text_of(s, r->now) : "nothing" };
		put_row(s, &t, texts, 1U << 2, 0);
		cairo_set_source_rgb(s->cr, 0.12, 0.14, 0.16);
		cairo_set_line_width(s->cr, 0.8);
		cairo_rectangle(s->cr, LEFT + 2, s->y - 13, 8.5, 8.5);
		cairo_stroke(s->cr);
	}
}

/* ---- evidence and cautions ---- */

void section_evidence(struct sheet *s)
{
	const struct ft_visit *v = s->h->visit;
	const double w = text_width(s);
	char hash[FT_HASH_TEXT];

	if (!v->evidence_count && !v->taken_out_count)
		return;
	put_heading(s, "Evidence", 56);
	put_paragraph(s, STYLE_SMALL, INK_PENCIL,
	              "Every piece lies in the package under its BLAKE2b-256 hash, which stands below its name.");
	skip(s, 1);
	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *ev = &v->evidence[i];
		const char *about = ft_arena_printf(s->arena, "%s \302\267 %s \302\267 %lld bytes", ft_evidence_word(ev->kind),
		                                    time_text(s, ev->added_us, ev->added_offset), (long long)ev->size);
		const char *name = text_of(s, ft_slice_of(ev->name));
		need(s, 26);
		put_text(s, LEFT, s->y, 20, STYLE_STRONG, INK_BLACK, SIDE_RIGHT, 1, number_text(s, ev->number));
		put_text(s, LEFT + 28, s->y, w - 28 - 224, STYLE_BODY, INK_BLACK, SIDE_LEFT, 1, name);
		put_text(s, LEFT + w - 220, s->y, 220, STYLE_SMALL, INK_PENCIL, SIDE_RIGHT, 1, about ? about : "");
		put_text(s, LEFT + 28, s->y + 12, w - 28, STYLE_MONO, INK_PENCIL, SIDE_LEFT, 1, ft_hash_text(&ev->hash, hash));
		s->y += 26;
	}
	for (size_t i = 0; i < v->taken_out_count; i++) {
		const struct ft_taken_out *x = &v->taken_out[i];
		const char *text = ft_arena_printf(s->arena, "Taken out: %s, added %s, hash %.16s. %s: %s", x->piece.name,
		                                   time_text(s, x->piece.added_us, x->piece.added_offset),
		                                   ft_hash_text(&x->piece.hash, hash), x->by ? x->by : "Reason", x->because);
		put_paragraph(s, STYLE_SMALL, INK_PENCIL, text ? text : x->piece.name);
	}
}

/* The cautions stay together on one sheet, where somebody will pin them up. */
void section_cautions(struct sheet *s)
{
	const struct ft_caution *c;
	const size_t n = ft_cautions(&c);
	const double title = 80, w = text_width(s) - title;
	double high = 2 * GRID + height_of(s, text_width(s), STYLE_STRONG, c[0].sentence);

	for (size_t i = 1; i < n; i++)
		high += height_of(s, w, STYLE_BODY, c[i].sentence) + pitch_of(STYLE_FINE) + 4;
	put_heading(s, "Cautions for whoever works on it next", high);
	put_paragraph(s, STYLE_STRONG, INK_BLACK, c[0].sentence);
	skip(s, 1);
	for (size_t i = 1; i < n; i++) {
		const char *source = ft_arena_printf(s->arena, "%s: %s", c[i].trust, c[i].source);
		need(s, height_of(s, w, STYLE_BODY, c[i].sentence) + height_of(s, w, STYLE_FINE, source ? source : "") + 4);
		put_text(s, LEFT, s->y, title - GRID, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, c[i].title);
		s->y += put_text(s, LEFT + title, s->y, w, STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, c[i].sentence);
		s->y += put_text(s, LEFT + title, s->y, w, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 0, source ? source : "") + 4;
	}
}
