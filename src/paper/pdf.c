/* SPDX-License-Identifier: Apache-2.0 */
/* handover.pdf: the sheets are drawn twice, once to count them and once to write them. */
#include "draw.h"
#include "plate.h"

#include "fettle/paper_rollout.h"
#include "fettle/paper_watch.h"

cairo_status_t take_bytes(void *closure, const unsigned char *p, unsigned n)
{
	struct ft_buf *out = closure;

	ft_buf_put(out, p, n);
	return out->status == FT_OK ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

PangoContext *make_context(cairo_t *cr)
{
	PangoFontMap *fonts = pango_cairo_font_map_new();
	PangoContext *context = pango_font_map_create_context(fonts);
	cairo_font_options_t *options = cairo_font_options_create();

	g_object_unref(fonts);
	cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
	cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
	pango_cairo_context_set_font_options(context, options);
	pango_cairo_context_set_resolution(context, 72);
	pango_context_set_round_glyph_positions(context, FALSE);
	pango_context_set_language(context, pango_language_from_string("en"));
	cairo_font_options_destroy(options);
	pango_cairo_update_context(cr, context);
	return context;
}

static void describe(struct sheet *s)
{
	const struct ft_visit *v = s->h->visit;
	char at[FT_TIME_TEXT];
	const char *title = ft_arena_printf(s->arena, "Handover of %s, visit %s", v->asset, v->id);

	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_TITLE, title ? text_of(s, ft_slice_of(title)) : "");
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_AUTHOR, text_of(s, ft_slice_of(s->seal->signed_by)));
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_CREATOR, s->seal->program);
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_SUBJECT, s->seal->content);
	ft_time_text(s->h->at_us, s->h->at_offset, at);
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_CREATE_DATE, at);
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_MOD_DATE, at);
}

static void sections(struct sheet *s)
{
	new_page(s);
	page_one(s);
	section_claims(s);
	section_totals(s);
	section_settings(s);
	section_sales(s);
	section_bus(s);
	section_restore(s);
	section_evidence(s);
	section_cautions(s);
}

static void describe_days(struct sheet *s)
{
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_TITLE,
	                               s->morning ? "Machines that need a person" : "Day sheets");
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_CREATE_DATE, s->made);
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_MOD_DATE, s->made);
}

/* A handover, or the day sheets of `r`. */
static enum ft_status draw(struct sheet *s, const struct ft_rollout *r, struct ft_buf *out, struct ft_error *e)
{
	cairo_status_t failed;

	s->surface = cairo_pdf_surface_create_for_stream(out ? take_bytes : NULL, out, s->width, s->height);
	cairo_pdf_surface_restrict_to_version(s->surface, CAIRO_PDF_VERSION_1_5);
	if (out && s->h)
		describe(s);
	else if (out)
		describe_days(s);
	s->cr = cairo_create(s->surface);
	s->context = make_context(s->cr);
	s->outline = out != NULL;
	s->page = 0;
	if (s->morning)
		section_morning(s, s->morning);
	else if (r)
		section_days(s, r);
	else
		sections(s);
	cairo_show_page(s->cr);
	g_object_unref(s->context);
	failed = cairo_status(s->cr);
	cairo_destroy(s->cr);
	cairo_surface_finish(s->surface);
	if (!failed)
		failed = cairo_surface_status(s->surface);
	cairo_surface_destroy(s->surface);
	if (failed == CAIRO_STATUS_NO_MEMORY || s->arena->failed || (out && out->status != FT_OK))
		return ft_fail_memory(e,
		                      s->h             ? "drawing the handover"
		                          : s->morning ? "drawing the report"
		                                       : "drawing the day sheets");
	if (failed)
		return ft_fail(e, FT_E_INTERNAL, "The %s could not be drawn: %s.",
		               s->h             ? "handover"
		                   : s->morning ? "report"
		                                : "day sheets",
		               cairo_status_to_string(failed));
	return FT_OK;
}

static enum ft_status handover(const struct ft_handover *h, const struct ft_seal_text *seal, enum ft_sheet sheet,
                               struct ft_arena *a, struct ft_buf *out, int *ret_pages, struct ft_error *e)
{
	/* ISO 216 A4 is 210 x 297 mm, ANSI A (Letter) 8.5 x 11 inches. */
	struct sheet s = {
		.h = h,
		.seal = seal,
		.arena = a,
		.width = sheet == FT_SHEET_LETTER ? 612 : 595.276,
		.height = sheet == FT_SHEET_LETTER ? 792 : 841.890,
	};
	enum ft_status status = draw(&s, NULL, NULL, e);

	if (status != FT_OK)
		return status;
	s.pages = s.page;
	status = draw(&s, NULL, out, e);
	if (status == FT_OK && ret_pages)
		*ret_pages = s.pages;
	return status;
}

static enum ft_status days(const struct ft_rollout *r, const char *program, int64_t now_us, int now_offset,
                           enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out, int *ret_pages,
                           struct ft_error *e)
{
	char made[FT_TIME_TEXT];
	struct sheet s = {
		.made = ft_time_text(now_us, now_offset, made),
		.arena = a,
		.width = sheet == FT_SHEET_LETTER ? 612 : 595.276,
		.height = sheet == FT_SHEET_LETTER ? 792 : 841.890,
	};
	enum ft_status status;

	s.foot_small = ft_arena_printf(a, "made %.10s %.5s by %s", made, made + 11, program);
	if (!s.foot_small)
		return ft_fail_memory(e, "drawing the day sheets");
	status = draw(&s, r, NULL, e);
	if (status != FT_OK)
		return status;
	s.pages = s.page;
	status = draw(&s, r, out, e);
	if (status == FT_OK && ret_pages)
		*ret_pages = s.pages;
	return status;
}

static enum ft_status morning(const struct ft_morning *m, enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out,
                              int *ret_pages, struct ft_error *e)
{
	struct sheet s = {
		.morning = m,
		.made = m->made,
		.arena = a,
		.width = sheet == FT_SHEET_LETTER ? 612 : 595.276,
		.height = sheet == FT_SHEET_LETTER ? 792 : 841.890,
	};
	enum ft_status status;

	s.foot_small = ft_arena_printf(a, "made %.10s %.5s by %s", m->made, m->made + 11, m->program);
	if (!s.foot_small)
		return ft_fail_memory(e, "drawing the report");
	status = draw(&s, NULL, NULL, e);
	if (status != FT_OK)
		return status;
	s.pages = s.page;
	status = draw(&s, NULL, out, e);
	if (status == FT_OK && ret_pages)
		*ret_pages = s.pages;
	return status;
}

const struct paper_sheets ft_sheets = { PAPER_SHEETS_VERSION, handover, wiring_page, chain_page, days, morning };
