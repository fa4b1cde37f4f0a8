/* SPDX-License-Identifier: Apache-2.0 */
/* Money in the cash box and the tubes, by the audits. A collection resets the interval counters: what the box held then
 * is what it had taken in by the reset, exactly, whenever the next read comes (rule B10). */
#include "room.h"

static int64_t boxed(const struct ft_watch_read *x, bool since_reset)
{
	int64_t coins = x->number[since_reset ? FT_WATCH_BOX_SINCE : FT_WATCH_TO_BOX];
	int64_t bills = x->number[since_reset ? FT_WATCH_BILLS_SINCE : FT_WATCH_BILLS];

	if (coins == FT_ABSENT)
		return bills;
	return bills == FT_ABSENT ? coins : watch_add(coins, bills);
}

static bool add_collection(struct watch_walk *w, size_t i, int64_t expected, int64_t unsure)
{
	struct ft_watch_result *r = w->r;
	struct ft_collection *grown =
		ft_arena_grow(r->arena, r->collections, r->collection_count, &r->collection_room, sizeof *grown);

	if (!grown)
		return false;
	r->collections = grown;
	grown[r->collection_count++] = (struct ft_collection){ .at_us = w->reads[i].at_us,
		                                                   .after_us = w->reads[i - 1].at_us,
		                                                   .expected = expected,
		                                                   .counted = FT_ABSENT,
		                                                   .seen = true,
		                                                   .unsure = unsure,
		                                                   .by = "",
		                                                   .route = "",
		                                                   .bag = "" };
	return true;
}

/* Does reading alone reset this machine? Then resets tell nothing of collections. */
static bool resets_at_reads(const struct watch_walk *w)
{
	size_t resets = 0;

	for (size_t i = 1; i < w->count; i++)
		resets += w->reads[i].number[FT_WATCH_RESETS] != FT_ABSENT &&
			w->reads[i - 1].number[FT_WATCH_RESETS] != FT_ABSENT &&
			w->reads[i].number[FT_WATCH_RESETS] > w->reads[i - 1].number[FT_WATCH_RESETS];
	return resets * 2 > w->count;
}

static bool collections(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	int64_t base = FT_ABSENT, held = 0, carried = 0, unsure = 0;
	bool by_reads = resets_at_reads(w);

	r->box = ft_arena_raw(r->arena, (w->count + 1) * sizeof *r->box);
	r->box_at_us = ft_arena_raw(r->arena, (w->count + 1) * sizeof *r->box_at_us);
	if (!r->box || !r->box_at_us)
		return false;
	for (size_t i = 0; i < w->count; i++) {
		int64_t all = boxed(&w->reads[i], false), since = boxed(&w->reads[i], true), here;
		if (all == FT_ABSENT)
			continue;
		if (r->box_count && all < r->box[r->box_count - 1]) {
			/* counters began anew from nothing; what lay in the box may be there or was taken */
			carried = base == FT_ABSENT ? 0 : held;
			unsure = watch_add(carried, (r->box[r->box_count - 1] - r->box[0]) / (int64_t)r->box_count * 2);
			base = base == FT_ABSENT ? FT_ABSENT : 0;
			r->box_count = 0;
		}
		r->box_at_us[r->box_count] = w->reads[i].at_us;
		r->box[r->box_count++] = all;
		if (since == FT_ABSENT || by_reads)
			continue;
		here = watch_less(all, since);
		held = watch_add(since, here == base ? carried : 0);
		if (base != FT_ABSENT && here > base && i) {
			if (!add_collection(w, i, watch_add(here - base, carried), unsure))
				return false;
			carried = unsure = 0;
		}
		base = here;
	}
	return true;
}

/* ---- tubes: dCA15 = dCA307 - dCA403 (rule B5), with fills and payouts by hand inside those or not ---- */

enum { FORMS = 4 };

static bool tube_step(const struct watch_walk *w, size_t i, int64_t ret[FORMS], int64_t *ret_now)
{
	static const enum ft_watch_number needed[] = { FT_WATCH_TUBES_NOW, FT_WATCH_TO_TUBES, FT_WATCH_DISPENSED };
	const struct ft_watch_read *a = &w->reads[i - 1], *b = &w->reads[i];
	int64_t d[3], filled, by_hand;

	for (int k = 0; k < 3; k++) {
		if (a->number[needed[k]] == FT_ABSENT || b->number[needed[k]] == FT_ABSENT)
			return false;
		d[k] = watch_less(b->number[needed[k]], a->number[needed[k]]);
	}
	if (d[1] < 0 || d[2] < 0)
		return false;
	filled = b->number[FT_WATCH_FILLED] == FT_ABSENT || a->number[FT_WATCH_FILLED] == FT_ABSENT
		? 0
		: watch_less(b->number[FT_WATCH_FILLED], a->number[FT_WATCH_FILLED]);
	by_hand = b->number[FT_WATCH_BY_HAND] == FT_ABSENT || a->number[FT_WATCH_BY_HAND] == FT_ABSENT
		? 0
		: watch_less(b->number[FT_WATCH_BY_HAND], a->number[FT_WATCH_BY_HAND]);
	for (int form = 0; form < FORMS; form++)
		ret[form] = watch_less(watch_less(d[0], watch_less(d[1], d[2])),
		                       watch_less(form & 1 ? filled : 0, form & 2 ? by_hand : 0));
	*ret_now = b->number[FT_WATCH_TUBES_NOW];
	return true;
}

static void tubes(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	size_t exact[FORMS] = { 0 }, tried = 0;
	int64_t off[FORMS], now;
	int best = 0;

	for (size_t i = 1; i < w->count; i++) {
		if (!tube_step(w, i, off, &now))
			continue;
		tried++;
		for (int form = 0; form < FORMS; form++)
			exact[form] += off[form] == 0;
	}
	for (int form = 1; form < FORMS; form++)
		if (exact[form] > exact[best])
			best = form;
	if (tried < WATCH_PERIOD_READS || exact[best] * 10 < tried * 8)
		return; /* this machine's tubes do not follow its counters: nothing can be told */
	for (size_t i = 1; i < w->count; i++) {
		struct ft_exception *x;
		if (!tube_step(w, i, off, &now) || (off[best] > -WATCH_TUBES_LEAST && off[best] < WATCH_TUBES_LEAST))
			continue;
		x = ft_watch_raise(r, FT_RULE_WATCH_TUBES_DIFFER, NULL, w->reads[i - 1].at_us, w->reads[i].at_us);
		x->money = off[best] < 0 ? watch_less(0, off[best]) : off[best];
		x->sure = (double)exact[best] / (double)tried;
		x->seen = ft_arena_printf(r->arena, "%s %s in the tubes than its counters say",
		                          watch_money(r, off[best] < 0 ? watch_less(0, off[best]) : off[best]),
		                          off[best] < 0 ? "less" : "more");
		x->expected = ft_arena_printf(r->arena, "%s", watch_money(r, watch_less(now, off[best])));
		x->before = watch_file(r, &w->reads[i - 1]);
		x->after = watch_file(r, &w->reads[i]);
	}
}

bool watch_box(struct watch_walk *w)
{
	if (!collections(w))
		return false;
	tubes(w);
	return true;
}
