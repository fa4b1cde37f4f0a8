/* SPDX-License-Identifier: Apache-2.0 */
/* The first sheet, enough for a manager, and the claims in full. */
#include "draw.h"

enum { OPEN_IN_FULL = 8 }; /* more open claims than this stand on the first sheet without what to do */

static const char *or_dash(const char *text)
{
	return text && *text ? text : "\342\200\223";
}

static double put_fact(struct sheet *s, double x, double y, double w, const char *label, const char *value)
{
	put_text(s, x, y + 1, 48, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1, label);
	return put_text(s, x + 52, y, w - 52, STYLE_BODY, INK_BLACK, SIDE_LEFT, 2, or_dash(value));
}

static void put_identity(struct sheet *s)
{
	const struct ft_visit *v = s->h->visit;
	const struct ft_summary *m = s->h->after.there ? &s->h->after.summary : &s->h->before.summary;
	const char *serial = m->serial.n ? text_of(s, ft_slice_trim(m->serial)) : v->machine_serial;
	const char *model = m->model.n ? text_of(s, ft_slice_trim(m->model)) : NULL;
	const char *revision = m->revision.n ? text_of(s, ft_slice_trim(m->revision)) : NULL;
	const char *signer = ft_arena_printf(s->arena, "%s, key %s", s->seal->signed_by, s->seal->fingerprint);
	const char *const facts[][2] = {
		{ "machine", model },
		{ "fitter", v->technician },
		{ "serial", serial },
		{ "opened", time_text(s, v->opened_us, v->opened_offset) },
		{ "program", revision },
		{ "closed", v->closed_us == FT_ABSENT ? "still open" : time_text(s, v->closed_us, v->closed_offset) },
		{ "unit", v->unit },
		{ "visit", v->id },
		{ "SIM", v->sim },
		{ "signed by", signer },
	};
	double w = text_width(s) / 2 - GRID;

	for (size_t i = 0; i < sizeof facts / sizeof *facts; i += 2) {
		double left = put_fact(s, LEFT, s->y, w, facts[i][0], facts[i][1]);
		double right = put_fact(s, LEFT + w + 2 * GRID, s->y, w, facts[i + 1][0], facts[i + 1][1]);
		s->y += left > right ? left : right;
		s->y += 2;
	}
}

/* Contradicted by nothing but the weeks after. */
static bool after_only(const struct ft_judgement *g)
{
	bool after = true;

	for (size_t i = 0; i < g->claim_count; i++)
		after &= g->claims[i].stands != FT_STANDS_CONTRADICTED || g->claims[i].claim->due == FT_DUE_LATER;
	return after;
}

static const char *verdict_sentence(struct sheet *s)
{
	const struct ft_judgement *g = &s->h->judgement;

	if (g->verdict == FT_CONTRADICTED && after_only(g))
		return "The weeks after speak against the handover. Below stands what, and what to do.";
	if (g->verdict == FT_CONTRADICTED)
		return "Evidence speaks against what must be true before the door is closed. Below stands what, "
			   "and what to do.";
	if (g->verdict == FT_OPEN)
		return "Nothing is contradicted, but something that must be true before the door is closed has not been shown.";
	return g->stands[FT_STANDS_WAIVED]
		? "All that must be true before the door is closed was shown, or waived with a name and a reason."
		: "All that must be true before the door is closed was shown.";
}

/* What was contradicted in the course of the visit and put right. */
static void put_mended(struct sheet *s)
{
	const struct ft_findings *all = &s->h->judgement.findings;
	const char *text = NULL;

	for (size_t i = 0; i < all->count; i++)
		if (all->list[i].rule == FT_RULE_VISIT_PROVED_ANEW)
			text = ft_arena_printf(s->arena, "Contradicted, then mended and sold again: %s.",
			                       all->list[i].seen ? all->list[i].seen : "earlier sales moved other counters");
	if (text)
		s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, text);
}

/* The six stages as a path: a mark each, what stands in it below. */
static void put_path(struct sheet *s)
{
	const struct ft_judgement *g = &s->h->judgement;
	double step = text_width(s) / FT_STAGE_COUNT;

	put_rule(s, LEFT + 5, s->y + 6, step * (FT_STAGE_COUNT - 1), INK_PENCIL, 0.5);
	for (int i = 0; i < FT_STAGE_COUNT; i++) {
		enum ft_stage stage = (enum ft_stage)i;
		enum ft_stands stands = ft_judgement_stage(g, stage);
		double x = LEFT + i * step;
		size_t n = 0, of = 0;
		for (size_t k = 0; k < g->claim_count; k++) {
			if (g->claims[k].claim->stage != stage)
				continue;
			of++;
			n += g->claims[k].stands == FT_STANDS_SHOWN;
		}
		cairo_set_source_rgb(s->cr, 1, 1, 1);
		cairo_rectangle(s->cr, x - 1, s->y - 2, 15, 16);
		cairo_fill(s->cr);
		put_mark(s, x + 5, s->y + 6, 10, stands);
		put_text(s, x, s->y + 16, step, STYLE_STRONG, INK_BLACK, SIDE_LEFT, 1, ft_stage_title(stage));
		put_text(s, x, s->y + 28, step, STYLE_FINE, INK_PENCIL, SIDE_LEFT, 1,
		         ft_arena_printf(s->arena, "%zu of %zu shown", n, of));
	}
	s->y += 40;
}

/* Who or what shows, opens or waives a claim, in a few words. */
static const char *basis_of(struct sheet *s, const struct ft_claim_state *c)
{
	const char *evidence = evidence_text(s, c);
	const char *by;

	if (c->stands == FT_STANDS_WAIVED && c->waiver)
		by = ft_arena_printf(s->arena, "%s", c->waiver->by ? c->waiver->by : "nobody named");
	else if (*evidence || !c->said)
		by = evidence;
	else if (c->said->by)
		by = ft_arena_printf(s->arena, "said by %s", c->said->by);
	else
		by = "said by the fitter";
	return by ? by : "";
}

/* The sentence of a claim begins with a capital on paper. */
static const char *sentence_of(struct sheet *s, const char *text)
{
	char *copy = ft_arena_printf(s->arena, "%s", text);

	if (copy && *copy >= 'a' && *copy <= 'z')
		*copy = (char)(*copy - 'a' + 'A');
	return copy ? copy : "";
}

static const char *detail_of(struct sheet *s, const struct ft_claim_state *c)
{
	struct ft_slice all = ft_slice_of(c->because ? c->because : "");
	struct ft_slice first = { all.p, ft_slice_find(all, FT_SLICE(" ")) };
	bool file = ft_slice_find(first, FT_SLICE(".")) + 1 < first.n; /* a stop inside the first word */
	/* The name of a file keeps its letters. */
	const char *because = !c->because ? "" : file ? c->because : sentence_of(s, c->because);
	const char *text = because;

	if (c->stands == FT_STANDS_WAIVED && c->waiver)
		text = ft_arena_printf(s->arena, "Waived%s%s: %s", c->waiver->by ? " by " : "",
		                       c->waiver->by ? c->waiver->by : "", c->waiver->because);
	else if (c->stands != FT_STANDS_SHOWN && c->todo)
		text = ft_arena_printf(s->arena, "%s%sTo do: %s.", because, *because ? " " : "", c->todo);
	return text ? text : "";
}

/* One claim with its mark in the margin; false when the page has no room for it. */
static bool put_brief(struct sheet *s, const struct ft_claim_state *c, bool full, double spare)
{
	double basis = full ? 0 : 120;
	double w = text_width(s) - basis;
	enum style style = c->stands == FT_STANDS_CONTRADICTED ? STYLE_STRONG : full ? STYLE_BODY : STYLE_SMALL;
	const char *sentence = sentence_of(s, c->claim->sentence);
	const char *detail = full ? detail_of(s, c) : "";
	double h = height_of(s, w, style, sentence) + (*detail ? height_of(s, w, STYLE_SMALL, detail) + 2 : 0);

	if (room_left(s) < h + spare)
		return false;
	put_mark(s, MARK_AT, s->y + pitch_of(style) / 2, full ? 8 : 7, c->stands);
	if (!full && c->stands == FT_STANDS_SHOWN)
		put_text(s, LEFT + w, s->y, basis, STYLE_SMALL, INK_PENCIL, SIDE_RIGHT, 1, basis_of(s, c));
	s->y += put_text(s, LEFT, s->y, w - (full ? 0 : GRID), style, INK_BLACK, SIDE_LEFT, 0, sentence);
	if (*detail)
		s->y += put_text(s, LEFT, s->y, w, STYLE_SMALL, c->stands == FT_STANDS_CONTRADICTED ? INK_BLACK : INK_PENCIL,
		                 SIDE_LEFT, 0, detail) +
			2;
	return true;
}

static bool wanted(const struct ft_claim_state *c, enum ft_stands stands, bool later)
{
	return c->stands == stands && (stands != FT_STANDS_OPEN || (c->claim->due == FT_DUE_LATER) == later);
}

/* A group of claims on the first sheet: what does not fit is counted, never dropped in silence. */
static void put_group(struct sheet *s, const char *title, enum ft_stands stands, bool later)
{
	const struct ft_judgement *g = &s->h->judgement;
	const double spare = pitch_of(STYLE_SMALL);
	size_t of = 0, done = 0;
	bool room = true, full;

	for (size_t i = 0; i < g->claim_count; i++)
		of += wanted(&g->claims[i], stands, later);
	if (!of)
		return;
	/* Where much is open the sentences must do, so that what was waived still finds its place. */
	full = stands != FT_STANDS_SHOWN && (stands != FT_STANDS_OPEN || (!later && of <= OPEN_IN_FULL));
	if (room_left(s) < 48)
		room = false;
	else {
		s->y += 6;
		put_text(s, LEFT, s->y, text_width(s), STYLE_FINE, INK_ACCENT, SIDE_LEFT, 1,
		         ft_arena_printf(s->arena, "%s (%zu)", title, of));
		s->y += 12;
	}
	for (size_t i = 0; i < g->claim_count && room; i++)
		if (wanted(&g->claims[i], stands, later)) {
			room = put_brief(s, &g->claims[i], full, spare);
			done += room;
		}
	if (done < of && room_left(s) >= spare - 1)
		s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_SMALL, INK_PENCIL, SIDE_LEFT, 1,
		                 ft_arena_printf(s->arena, "%zu more %s on page %d and after.", of - done,
		                                 ft_stands_word(stands), s->claims_page));
}

void page_one(struct sheet *s)
{
	const struct ft_visit *v = s->h->visit;
	const struct ft_judgement *g = &s->h->judgement;
	enum ft_stands worst = g->verdict == FT_CONTRADICTED ? FT_STANDS_CONTRADICTED
		: g->verdict == FT_OPEN                          ? FT_STANDS_OPEN
														 : FT_STANDS_SHOWN;

	put_text(s, LEFT, s->y - 16, 300, STYLE_SMALL, INK_ACCENT, SIDE_LEFT, 1, "Handover of a machine");
	put_text(s, LEFT + text_width(s) - 160, s->y - 16, 160, STYLE_SMALL, INK_PENCIL, SIDE_RIGHT, 1,
	         time_text(s, s->h->at_us, s->h->at_offset));
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_TITLE, INK_BLACK, SIDE_LEFT, 2, v->asset);
	if (v->site)
		s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_HEAD, INK_BLACK, SIDE_LEFT, 2, v->site);
	skip(s, 1);
	put_identity(s);
	skip(s, 1);
	put_rule(s, LEFT, s->y, text_width(s), INK_PENCIL, 0.5);
	s->y += GRID;
	put_mark(s, MARK_AT - 2, s->y + 12, 16, worst);
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_VERDICT, INK_BLACK, SIDE_LEFT, 0,
	                 sentence_of(s, ft_judgement_words(g, s->arena)));
	s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, verdict_sentence(s));
	put_mended(s);
	skip(s, 1);
	put_path(s);
	skip(s, 0);
	put_rule(s, LEFT, s->y, text_width(s), INK_PENCIL, 0.5);
	s->y += 2;
	put_group(s, "Contradicted", FT_STANDS_CONTRADICTED, false);
	put_group(s, "Open before closing", FT_STANDS_OPEN, false);
	put_group(s, "Waived", FT_STANDS_WAIVED, false);
	put_group(s, "Open for the weeks after", FT_STANDS_OPEN, true);
	put_group(s, "Shown", FT_STANDS_SHOWN, false);
}

/* ---- every claim, with all that stands behind it ---- */

static const char *finding_words(struct sheet *s, const struct ft_finding *f)
{
	const char *at = f->where.selection ? ft_arena_printf(s->arena, "selection %s, ", f->where.selection) : "";
	const char *element = f->where.element ? ft_arena_printf(s->arena, "%s: ", f->where.element) : "";
	const char *text =
		ft_arena_printf(s->arena, "%s%s%s. Seen %s%s%s. %s%s", at, element, ft_rule(f->rule)->sentence,
	                    f->seen ? f->seen : "nothing", f->expected ? ", expected " : "", f->expected ? f->expected : "",
	                    f->todo ? sentence_of(s, f->todo) : "", f->todo ? "." : "");

	return text ? text : "";
}

static void put_claim_findings(struct sheet *s, const struct ft_claim_state *c)
{
	const struct ft_findings *all = &s->h->judgement.findings;
	double w = text_width(s) - 2 * GRID;

	for (size_t i = 0; i < c->finding_count; i++) {
		const struct ft_finding *f = &all->list[c->findings[i]];
		const char *text = finding_words(s, f);
		need(s, height_of(s, w, STYLE_SMALL, text));
		put_text(s, LEFT, s->y, GRID, STYLE_SMALL, INK_BLACK, SIDE_LEFT, 1, ft_weight_mark(f->weight));
		s->y += put_text(s, LEFT + 2 * GRID, s->y, w, STYLE_SMALL, INK_BLACK, SIDE_LEFT, 0, text);
	}
}

/* What stands below the sentence: an ink and a text a line. */
struct backing {
	enum ink ink;
	const char *text;
};

static int backing_of(struct sheet *s, const struct ft_claim_state *c, struct backing ret[3])
{
	const char *detail = detail_of(s, c);
	const char *evidence = evidence_text(s, c);
	bool quoted = c->said && c->because && strcmp(c->said->text, c->because) == 0; /* it follows, with its name */
	int n = 0;

	if (*detail && !quoted)
		ret[n++] = (struct backing){ INK_PENCIL, detail };
	if (c->said)
		ret[n++] = (struct backing){ INK_BLACK,
			                         ft_arena_printf(s->arena, "\342\200\234%s\342\200\235 \342\200\223 %s, %s",
			                                         c->said->text, c->said->by ? c->said->by : "the fitter",
			                                         time_text(s, c->said->at_us, c->said->at_offset)) };
	if (*evidence)
		ret[n++] = (struct backing){ INK_PENCIL, ft_arena_printf(s->arena, "Rests on %s.", evidence) };
	for (int i = 0; i < n; i++)
		ret[i].text = ret[i].text ? ret[i].text : "";
	return n;
}

enum { CLAIM_SIDE = 72 }; /* where it says how the claim stands */

static double height_of_claim(struct sheet *s, const struct ft_claim_state *c)
{
	struct backing lines[3];
	int n = backing_of(s, c, lines);
	double h = height_of(s, text_width(s) - CLAIM_SIDE, STYLE_BODY, sentence_of(s, c->claim->sentence));

	for (int i = 0; i < n; i++)
		h += height_of(s, text_width(s), STYLE_SMALL, lines[i].text);
	return h;
}

static void put_claim(struct sheet *s, const struct ft_claim_state *c)
{
	const double side = CLAIM_SIDE;
	double w = text_width(s) - side;
	const char *sentence = sentence_of(s, c->claim->sentence);
	struct backing lines[3];
	int n = backing_of(s, c, lines);

	need(s, height_of_claim(s, c));
	put_mark(s, MARK_AT, s->y + 6.5, 8, c->stands);
	put_text(s, LEFT + w, s->y, side, STYLE_SMALL, INK_PENCIL, SIDE_RIGHT, 1, ft_stands_word(c->stands));
	s->y += put_text(s, LEFT, s->y, w, STYLE_BODY, INK_BLACK, SIDE_LEFT, 0, sentence);
	for (int i = 0; i < n; i++)
		s->y += put_text(s, LEFT, s->y, text_width(s), STYLE_SMALL, lines[i].ink, SIDE_LEFT, 0, lines[i].text);
	put_claim_findings(s, c);
	s->y += 5;
}

void section_claims(struct sheet *s)
{
	const struct ft_judgement *g = &s->h->judgement;

	new_page(s);
	s->claims_page = s->page;
	put_heading(s, "Every claim", 64);
	for (int stage = 0; stage < FT_STAGE_COUNT; stage++) {
		bool any = false;
		for (size_t i = 0; i < g->claim_count; i++) {
			if (g->claims[i].claim->stage != (enum ft_stage)stage)
				continue;
			if (!any) {
				need(s, 24 + height_of_claim(s, &g->claims[i])); /* a heading stands with its first claim */
				s->y += any || stage ? 6 : 0;
				put_text(s, LEFT, s->y, text_width(s), STYLE_STRONG, INK_ACCENT, SIDE_LEFT, 1,
				         ft_stage_title((enum ft_stage)stage));
				s->y += 16;
			}
			any = true;
			put_claim(s, &g->claims[i]);
		}
	}
}
