/* SPDX-License-Identifier: Apache-2.0 */
/* Brings together what a handover says: the judgement, the two audits, what changed, what was sold. */
#include "paper.h"

#include <stdlib.h>

static enum ft_status read_audit(const struct ft_visit *v, int index, struct ft_arena *a, struct ft_audit_shown *ret,
                                 struct ft_error *e)
{
	enum ft_status s;

	if (index < 0)
		return FT_OK;
	ret->evidence = &v->evidence[index];
	s = ft_audit_read(ret->evidence->bytes, a, &ret->audit, e);
	if (s != FT_OK)
		return s == FT_E_INPUT ? FT_OK : s; /* the judgement says that it cannot be read */
	if (!ret->audit.set_count)
		return FT_OK;
	ret->facts = FT_NEW(a, struct ft_facts);
	if (!ret->facts)
		return ft_fail_memory(e, "the handover");
	s = ft_audit_facts(&ret->audit, &ret->audit.sets[0], a, ret->facts, e);
	if (s == FT_OK)
		s = ft_audit_summary(ret->facts, a, &ret->summary, e);
	ret->there = s == FT_OK;
	return s;
}

static int by_selection(const void *x, const void *y)
{
	const struct ft_grid_row *p = x, *q = y;
	const struct ft_selection *a = p->after ? p->after : p->before;
	const struct ft_selection *b = q->after ? q->after : q->before;
	int c = ft_selection_cmp(a->id, b->id);

	return c ? c : (a->line > b->line) - (a->line < b->line);
}

/* Rows of the earlier audit find their twin in the later one; what is only in the later follows. */
static enum ft_status make_grid(struct ft_handover *h, struct ft_arena *a, struct ft_error *e)
{
	const struct ft_summary *b = &h->before.summary, *c = &h->after.summary;
	size_t nb = h->before.there ? b->selection_count : 0, nc = h->after.there ? c->selection_count : 0;
	bool *used = FT_NEW_ARRAY(a, nc + 1, bool);

	h->grid = FT_NEW_ARRAY(a, nb + nc + 1, struct ft_grid_row);
	if (!h->grid || !used)
		return ft_fail_memory(e, "the handover");
	for (size_t i = 0; i < nb; i++) {
		struct ft_grid_row *row = &h->grid[h->grid_count++];
		row->before = &b->selections[i];
		for (size_t k = 0; k < nc && !row->after; k++)
			if (!used[k] && ft_selection_cmp(row->before->id, c->selections[k].id) == 0) {
				used[k] = true;
				row->after = &c->selections[k];
			}
	}
	for (size_t k = 0; k < nc; k++)
		if (!used[k])
			h->grid[h->grid_count++].after = &c->selections[k];
	for (size_t i = 0; i < h->grid_count; i++) {
		struct ft_grid_row *row = &h->grid[i];
		if (row->before && row->after) {
			row->name_changed = !ft_slice_eq(row->before->name, row->after->name);
			row->price_changed = row->before->price != row->after->price;
		}
	}
	if (h->grid_count)
		qsort(h->grid, h->grid_count, sizeof *h->grid, by_selection);
	return FT_OK;
}

/* The lists of sales that the proof of the visit takes, one behind the other. A list that cannot be read is left
 * out: the judgement has a finding for it. */
static enum ft_status read_sales(struct ft_handover *h, int decimals, struct ft_arena *a, struct ft_error *e)
{
	size_t room = 0;

	for (size_t i = h->proved_anew ? (size_t)h->judgement.proved_from : 0; i < h->visit->evidence_count; i++) {
		const struct ft_evidence *ev = &h->visit->evidence[i];
		struct ft_error ignored = { 0 };
		struct ft_sale *list;
		size_t count;
		enum ft_status s;
		if (ev->kind != FT_EVIDENCE_SALES || !ev->bytes.p)
			continue;
		s = ft_sales_read(ev->bytes, ev->name, decimals, a, &list, &count, &ignored);
		if (s == FT_E_MEMORY)
			return ft_fail_memory(e, "the handover");
		for (size_t k = 0; s == FT_OK && k < count; k++) {
			h->sales = ft_arena_grow(a, h->sales, h->sale_count, &room, sizeof *h->sales);
			if (!h->sales)
				return ft_fail_memory(e, "the handover");
			h->sales[h->sale_count++] = list[k];
		}
	}
	return FT_OK;
}

/* The witnesses of the judgement's proof beside the lists; without a list the capture that took its place. */
static enum ft_status take_accounts(struct ft_handover *h, struct ft_arena *a, struct ft_prove_input *in,
                                    struct ft_error *e)
{
	const struct ft_judgement *g = &h->judgement;
	int from = h->proved_anew ? g->proved_from : -1;
	struct ft_account *list = FT_NEW_ARRAY(a, g->capture_count + 1, struct ft_account);

	if (!list)
		return ft_fail_memory(e, "the handover");
	in->accounts = g->sold_by_bus ? g->sold_by_bus : list;
	in->account_count = g->sold_by_bus != NULL;
	for (size_t i = 0; i < g->capture_count && h->sale_count; i++)
		if (!g->captures[i].unreadable && g->captures[i].evidence > from && g->captures[i].report.exchanges)
			list[in->account_count++] = g->captures[i].account;
	if (h->sale_count) {
		in->sales = h->sales;
		in->sale_count = h->sale_count;
	} else if (g->sold_by_bus) {
		h->sale_count = g->sold_by_bus->sale_count;
		h->sales = FT_NEW_ARRAY(a, h->sale_count + 1, struct ft_sale);
		if (!h->sales)
			return ft_fail_memory(e, "the handover");
		memcpy(h->sales, g->sold_by_bus->sales, h->sale_count * sizeof *h->sales);
	}
	return FT_OK;
}

/* Comparison and proof are computed again here for their tables; their findings are in the judgement. */
static enum ft_status compare_and_prove(struct ft_handover *h, struct ft_arena *a, struct ft_error *e)
{
	struct ft_findings unused = { .arena = a };
	struct ft_prove_input in = { .counted = FT_ABSENT };
	struct ft_error ignored = { 0 };
	struct ft_read before = { h->before.evidence->name, h->before.facts };
	struct ft_read after = { h->after.evidence->name, h->after.facts };
	enum ft_status s = ft_compare(&before, &after, a, &unused, &h->comparison, e);

	if (s != FT_OK)
		return s;
	h->compared = true;
	h->proved_anew =
		h->judgement.proved_from >= 0 && &h->visit->evidence[h->judgement.proved_from] != h->before.evidence;
	if (h->proved_anew) {
		struct ft_audit_shown *from = FT_NEW(a, struct ft_audit_shown);
		if (!from)
			return ft_fail_memory(e, "the handover");
		s = read_audit(h->visit, h->judgement.proved_from, a, from, e);
		if (s != FT_OK)
			return s;
		before = (struct ft_read){ from->evidence->name, from->facts };
	}
	h->proof_from = before.name;
	s = read_sales(h, h->after.summary.decimals, a, e);
	if (s == FT_OK)
		s = take_accounts(h, a, &in, e);
	if (s != FT_OK || !h->sale_count ||
	    h->judgement.proved_from < 0) /* where the judgement proved nothing, nor do we */
		return s;
	s = ft_prove(&before, &after, &in, a, &unused, &h->proof, &ignored);
	if (s == FT_E_MEMORY)
		return ft_fail_memory(e, "the handover");
	h->proved = s == FT_OK;
	return FT_OK;
}

enum ft_status ft_handover_prepare(const struct ft_visit *v, struct ft_arena *a, struct ft_handover *ret,
                                   struct ft_error *e)
{
	enum ft_status s;
	int before, after;

	memset(ret, 0, sizeof *ret);
	ret->visit = v;
	ret->at_us = v->closed_us != FT_ABSENT ? v->closed_us : v->changed_us;
	ret->at_offset = v->closed_us != FT_ABSENT ? v->closed_offset : v->opened_offset;
	s = ft_visit_judge(v, a, &ret->judgement, e);
	if (s != FT_OK)
		return s;
	ft_visit_audits(v, &before, &after);
	s = read_audit(v, before, a, &ret->before, e);
	if (s == FT_OK)
		s = read_audit(v, after, a, &ret->after, e);
	if (s == FT_OK)
		s = make_grid(ret, a, e);
	if (s == FT_OK && ret->before.there && ret->after.there && ret->judgement.compared)
		s = compare_and_prove(ret, a, e);
	return s;
}

/* ---- the name of a piece of evidence ---- */

static const char *ending_of_photograph(struct ft_slice b)
{
	if (b.n > 3 && memcmp(b.p, "\xff\xd8\xff", 3) == 0)
		return "jpg";
	if (b.n > 8 && memcmp(b.p, "\x89PNG", 4) == 0)
		return "png";
	if (b.n > 12 && memcmp(b.p + 8, "WEBP", 4) == 0)
		return "webp";
	return "heic";
}

static const char *ending_of_capture(struct ft_slice b)
{
	struct ft_slice head = { b.p, b.n < 4096 ? b.n : 4096 };

	if (b.n > 2 && memcmp(b.p, "PK", 2) == 0)
		return "sr";
	if (ft_slice_find(head, FT_SLICE("bus-words ")) < head.n)
		return "words";
	return ft_slice_find(b, FT_SLICE("$enddefinitions")) < b.n ? "vcd" : "csv";
}

/* Computed from kind and bytes alone, so that a hostile file name has no say. */
static const char *ending_of(const struct ft_evidence *ev)
{
	switch (ev->kind) {
	case FT_EVIDENCE_AUDIT:
		return "audit";
	case FT_EVIDENCE_TRACE:
		return "trace";
	case FT_EVIDENCE_NOTE:
		return "txt";
	case FT_EVIDENCE_PHOTOGRAPH:
		return ending_of_photograph(ev->bytes);
	case FT_EVIDENCE_BUS:
		return ending_of_capture(ev->bytes);
	case FT_EVIDENCE_UNKNOWN:
	case FT_EVIDENCE_KINDS:
		return "bin";
	default:
		return "csv";
	}
}

const char *ft_evidence_member(const struct ft_evidence *ev, struct ft_arena *a)
{
	char text[FT_HASH_TEXT];

	return ft_arena_printf(a, "evidence/%s.%s", ft_hash_text(&ev->hash, text), ending_of(ev));
}
