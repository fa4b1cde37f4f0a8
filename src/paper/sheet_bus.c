/* SPDX-License-Identifier: Apache-2.0 */
/* The bus: who answers how fast against the 5 ms that an answer has, what was sold, what was found. */
#include "draw.h"

#include <math.h>

enum { ROW_HIGH = 27, SCALE_WIDE = 120, LIMIT_MS = 5 /* MDB/ICP section 3 */, SCALE_MS = 10 };

static double on_scale(int64_t ns)
{
	double ms = (double)ns / 1e6;

	return (ms > SCALE_MS ? SCALE_MS : ms) / SCALE_MS * SCALE_WIDE;
}

static void ink(struct sheet *s, double grey)
{
	cairo_set_source_rgb(s->cr, grey, grey, grey);
}

static void stroke(struct sheet *s, double x1, double y1, double x2, double y2, double wide)
{
	cairo_set_line_width(s->cr, wide);
	cairo_move_to(s->cr, x1, y1);
	cairo_line_to(s->cr, x2, y2);
	cairo_stroke(s->cr);
}

/* From the fastest to the 99th of a hundred answers a beam, a knot at the median, a thin line to the slowest; the
 * limit is dashed. What goes beyond the scale ends in an arrow. */
static void put_scale(struct sheet *s, const struct ft_bus_times *t, double x, double y)
{
	static const double dashes[] = { 2.5, 2 };
	double limit = on_scale(LIMIT_MS * INT64_C(1000000)), low = on_scale(t->min_ns), most = on_scale(t->max_ns);
	double high = on_scale(ft_bus_times_at(t, 990));

	cairo_new_path(s->cr);
	ink(s, 0.72);
	stroke(s, x, y, x + SCALE_WIDE, y, 0.5);
	for (int ms = 0; ms <= SCALE_MS; ms++) {
		double at = x + on_scale(ms * INT64_C(1000000));
		stroke(s, at, y - 2, at, y + 2, 0.5);
	}
	ink(s, 0.12);
	cairo_set_dash(s->cr, dashes, 2, 0);
	stroke(s, x + limit, y - 9, x + limit, y + 9, 0.8);
	cairo_set_dash(s->cr, NULL, 0, 0);
	stroke(s, x + low, y, x + most, y, 0.8);
	stroke(s, x + most, y - 3, x + most, y + 3, 0.8);
	stroke(s, x + low, y, x + fmax(high, low + 1), y, 3.2);
	if (t->max_ns > SCALE_MS * INT64_C(1000000)) {
		stroke(s, x + SCALE_WIDE + 4, y, x + SCALE_WIDE, y - 3, 0.8);
		stroke(s, x + SCALE_WIDE + 4, y, x + SCALE_WIDE, y + 3, 0.8);
	}
	cairo_arc(s->cr, x + on_scale(ft_bus_times_at(t, 500)), y, 2.8, 0, 2 * M_PI);
	cairo_set_source_rgb(s->cr, 1, 1, 1);
	cairo_fill_preserve(s->cr);
	ink(s, 0.12);
	cairo_set_line_width(s->cr, 1);
	cairo_stroke(s->cr);
}

static const char *ms_text(struct sheet *s, int64_t ns)
{
	const char *t = ns < 0
		? ""
		: ft_arena_printf(s->arena, "%lld.%02lld", (long long)(ns / 1000000), (long long)(ns / 10000 % 100));

	return t ? t : "";
}

static const char *errors_text(struct sheet *s, const struct ft_bus_device *d)
{
	uint64_t n = d->checksum_errors + d->framing_errors + d->naks + d->controller_naks + d->rets;

	return n ? number_text(s, (int64_t)n) : "none";
}

/* Columns from the left edge: address, device, answered, median, 99 %, slowest, scale, errors. */
static void put_device(struct sheet *s, const struct ft_bus_device *d, bool timing_known)
{
	const struct ft_bus_identity *id = &d->identity;
	const double w = text_width(s);
	const struct ft_bus_times *t = &d->response;
	const char *share =
		ft_arena_printf(s->arena, "%llu of %llu", (unsigned long long)d->answered, (unsigned long long)d->addressed);
	const char *who = id->known ? ft_arena_printf(s->arena, "%s %s, serial %s", id->maker, id->model, id->serial) : "";
	char address[4];

	need(s, ROW_HIGH);
	snprintf(address, sizeof address, "%02X", d->address);
	put_text(s, LEFT, s->y, 20, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, address);
	put_text(s, LEFT + 22, s->y, 136, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, ft_bus_device_word(d->address));
	put_text(s, LEFT + 22, s->y + 13, 176, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, who ? who : "");
	put_text(s, LEFT + 142, s->y, 66, STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, share ? share : "");
	if (!d->answered || !timing_known || !t->count) {
		put_text(s, LEFT + 220, s->y, 160, STYLE_BODY, INK_PENCIL, SIDE_LEFT, 1,
		         d->answered ? "times are not known" : "never answered");
	} else {
		put_text(s, LEFT + 210, s->y, 32, STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, ms_text(s, ft_bus_times_at(t, 500)));
		put_text(s, LEFT + 244, s->y, 30, STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, ms_text(s, ft_bus_times_at(t, 990)));
		put_text(s, LEFT + 276, s->y, 32, t->max_ns > LIMIT_MS * INT64_C(1000000) ? STYLE_STRONG : STYLE_BODY,
		         INK_BLACK, SIDE_RIGHT, 1, ms_text(s, t->max_ns));
		put_scale(s, t, LEFT + 320, s->y + 7);
	}
	put_text(s, LEFT + w - 30, s->y, 30, STYLE_BODY, INK_BLACK, SIDE_RIGHT, 1, d->answered ? errors_text(s, d) : "");
	s->y += ROW_HIGH;
}

static void put_devices(struct sheet *s, const struct ft_bus_report *r)
{
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 120, SIDE_LEFT, "device" },      { 142, 66, SIDE_RIGHT, "answered of" },
		{ 210, 32, SIDE_RIGHT, "median" },    { 244, 30, SIDE_RIGHT, "99 %" },
		{ 276, 32, SIDE_RIGHT, "slowest" },   { 320, 124, SIDE_LEFT, "ms, 0 to 10; dashed: 5 ms" },
		{ w - 30, 30, SIDE_RIGHT, "errors" },
	};
	const struct cells t = { columns, 7, 0 };

	put_table_head(s, &t);
	s->y += 4;
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		if (r->devices[i].addressed)
			put_device(s, &r->devices[i], r->timing_known);
}

static const char *seconds(struct sheet *s, int64_t ns)
{
	const char *t =
		ft_arena_printf(s->arena, "%lld.%03lld s", (long long)(ns / 1000000000), (long long)(ns / 1000000 % 1000));

	return t ? t : "";
}

static void put_sold(struct sheet *s, const struct ft_bus_report *r)
{
	const double w = text_width(s);
	const struct cell_column columns[] = {
		{ 0, 24, SIDE_RIGHT, "no." },        { 32, 72, SIDE_RIGHT, "time" },
		{ 120, 72, SIDE_LEFT, "selection" }, { 200, 60, SIDE_LEFT, "paid with" },
		{ 264, 60, SIDE_RIGHT, "price" },    { 340, w - 340, SIDE_LEFT, "how it ended" },
	};
	const struct cells t = { columns, 6, 0 };
	const size_t most = 60; /* ours: all of them stand in the capture */

	if (!r->sale_count) {
		put_paragraph(s, STYLE_SMALL, INK_PENCIL, "No sale was made while the capture ran.");
		return;
	}
	need(s, 56);
	put_paragraph(s, STYLE_STRONG, INK_BLACK, "What was sold over the bus");
	s->y += 4;
	put_table_head(s, &t);
	for (size_t i = 0; i < r->sale_count && i < most; i++) {
		const struct ft_bus_sale *x = &r->sales[i];
		const char *texts[6] = { number_text(s, (int64_t)i + 1),
			                     seconds(s, x->at_ns),
			                     x->item < 0 ? "not told" : number_text(s, x->item),
			                     x->card ? "card" : "cash",
			                     x->decimals < 0 || x->decimals > 4 ? "" : money_text(s, x->price, x->decimals),
			                     ft_bus_outcome_word(x->outcome) };
		put_row(s, &t, texts, x->outcome == FT_BUS_SOLD ? 0 : 1U << 5, 0);
	}
	if (r->sale_count > most)
		put_paragraph(s, STYLE_SMALL, INK_PENCIL, ft_arena_printf(s->arena, "and %zu more.", r->sale_count - most));
}

static void put_found(struct sheet *s, const struct ft_findings *f)
{
	const double w = text_width(s) - 16;
	const size_t most = 24;

	if (!f->count)
		return;
	skip(s, 1);
	need(s, 48);
	put_paragraph(s, STYLE_STRONG, INK_BLACK, "What was found on the bus");
	s->y += 4;
	for (size_t i = 0; i < f->count && i < most; i++) {
		const struct ft_finding *x = &f->list[i];
		double in = ft_rule(x->follows) ? 16 : 0; /* what merely follows stands under its cause */
		const char *at = x->where.timed ? ft_arena_printf(s->arena, "At %s ", seconds(s, x->where.at_us * 1000)) : "";
		const char *who = x->where.element ? ft_arena_printf(s->arena, "%s: ", x->where.element) : "";
		const char *text = ft_arena_printf(s->arena, "%s%s%s%s%s%s%s.", at ? at : "", who ? who : "",
		                                   ft_rule(x->rule)->sentence, x->seen ? ": " : "", x->seen ? x->seen : "",
		                                   x->expected ? "; expected " : "", x->expected ? x->expected : "");
		need(s, height_of(s, w - in, STYLE_BODY, text ? text : "") + 2);
		put_text(s, LEFT + in, s->y, 12, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, ft_weight_mark(x->weight));
		s->y += put_text(s, LEFT + 14 + in, s->y, w - in, STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, text ? text : "") + 2;
	}
	if (f->count > most)
		put_paragraph(s, STYLE_SMALL, INK_PENCIL,
		              ft_arena_printf(s->arena, "and %zu more in the capture.", f->count - most));
}

void section_bus(struct sheet *s)
{
	const struct ft_judgement *g = &s->h->judgement;
	const struct ft_visit_capture *x = ft_visit_capture_last(g->captures, g->capture_count);
	size_t devices = 0;
	int64_t ms;

	if (!x || !x->report.exchanges)
		return;
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		devices += x->report.devices[i].addressed > 0;
	ms = (x->report.end_ns - x->report.start_ns) / 1000000;
	put_heading(s, "The bus", 64 + fmin((double)devices, 8) * ROW_HIGH);
	put_paragraph(
		s, STYLE_SMALL, INK_PENCIL,
		ft_arena_printf(s->arena,
	                    "From %s (evidence %lld): %lld.%lld s, %llu exchanges. An answer must begin within 5 ms of the "
	                    "command; beam: fastest to 99 of 100, ring: median.",
	                    s->h->visit->evidence[x->evidence].name, (long long)s->h->visit->evidence[x->evidence].number,
	                    (long long)(ms / 1000), (long long)(ms / 100 % 10), (unsigned long long)x->report.exchanges));
	skip(s, 1);
	put_devices(s, &x->report);
	skip(s, 1);
	put_sold(s, &x->report);
	put_found(s, &x->findings);
}
