/* SPDX-License-Identifier: Apache-2.0 */
/* The drawing of sheets is loaded when the first sheet is drawn: cairo, pango and what they bring would otherwise more
 * than double the time every command takes to start. */
#include "paper.h"

#include "fettle/late.h"
#include "fettle/paper_rollout.h"
#include "fettle/paper_watch.h"

static const struct paper_sheets *load(struct ft_error *e)
{
	return ft_late("fettle-sheets", "paper", "ft_sheets", PAPER_SHEETS_VERSION, "draws sheets", e);
}

enum ft_status ft_handover_pdf(const struct ft_handover *h, const struct ft_seal_text *seal, enum ft_sheet sheet,
                               struct ft_arena *a, struct ft_buf *out, int *ret_pages, struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->handover(h, seal, sheet, a, out, ret_pages, e) : e ? e->status : FT_E_INTERNAL;
}

enum ft_status ft_wiring_draw(const struct ft_wiring *w, enum ft_sheet sheet, enum ft_wiring_format format,
                              const char *program, struct ft_arena *a, struct ft_buf *out, struct ft_wiring_drawn *ret,
                              struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->wiring(w, sheet, format, program, a, out, ret, e) : e ? e->status : FT_E_INTERNAL;
}

enum ft_status ft_chain_svg(const struct ft_chain *c, const char *title, const char *about, struct ft_arena *a,
                            struct ft_buf *out, struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->chain(c, title, about, a, out, e) : e ? e->status : FT_E_INTERNAL;
}

enum ft_status ft_rollout_pdf(const struct ft_rollout *r, const char *program, int64_t now_us, int now_offset,
                              enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out, int *ret_pages,
                              struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->days(r, program, now_us, now_offset, sheet, a, out, ret_pages, e)
		: e       ? e->status
				  : FT_E_INTERNAL;
}

enum ft_status ft_morning_pdf(const struct ft_morning *m, enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out,
                              int *ret_pages, struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->morning(m, sheet, a, out, ret_pages, e) : e ? e->status : FT_E_INTERNAL;
}
