/* SPDX-License-Identifier: Apache-2.0 */
/* A machine that is tied to a handover: its counters go on from there, and what was fitted is still in it. */
#include "room.h"

/* What the reads before and after the handover say anyway is not said twice. */
static void drop_said(struct ft_watch_result *r, size_t from)
{
	size_t kept = from;

	for (size_t i = from; i < r->exception_count; i++) {
		bool said = false;
		for (size_t k = 0; k < from && !said; k++)
			said =
				r->exceptions[k].rule == r->exceptions[i].rule && r->exceptions[k].seen_us == r->exceptions[i].seen_us;
		r->exceptions[i].before = NULL; /* the audit of the handover lies in the book, not among the files */
		if (!said)
			r->exceptions[kept++] = r->exceptions[i];
	}
	r->exception_count = kept;
}

static void differs(struct watch_walk *w, size_t i, const char *what, struct ft_slice is, const char *expected)
{
	struct ft_watch_result *r = w->r;
	struct ft_exception *x = ft_watch_raise(r, FT_RULE_WATCH_UNIT_DIFFERS, NULL, w->reads[i].at_us, w->reads[i].at_us);

	x->seen = ft_arena_printf(r->arena, "%s %.*s", what, FT_P(is));
	x->expected = expected;
	x->before = i > w->handed ? watch_file(r, &w->reads[i - 1]) : NULL;
	x->after = watch_file(r, &w->reads[i]);
}

static void end_last(struct watch_walk *w, size_t raised, size_t i)
{
	w->r->exceptions[raised - 1].ended_us = w->reads[i].at_us;
}

/* The card reader names itself in each audit. */
static void watch_reader(struct watch_walk *w)
{
	struct ft_slice fitted = w->base->read->text[FT_WATCH_READER], said = fitted;
	const char *expected = ft_arena_printf(w->r->arena, "%.*s as handed over (%s)", FT_P(fitted), w->base->name);
	size_t open = 0;

	for (size_t i = w->handed; fitted.n && i < w->count; i++) {
		struct ft_slice is = w->reads[i].text[FT_WATCH_READER];
		if (!is.n || ft_slice_eq(is, said))
			continue;
		if (open)
			end_last(w, open, i);
		open = 0;
		said = is;
		if (ft_slice_eq(is, fitted))
			continue;
		differs(w, i, "the card reader is", is, expected);
		open = w->r->exception_count;
	}
}

/* A unit is known by the name its audits come under, where that is its number: another name from then on is another
 * unit. Where audits come under other names from the first nothing can be said. */
static void watch_unit(struct watch_walk *w)
{
	struct ft_slice unit = ft_slice_of(w->base->unit ? w->base->unit : ""), said = unit;
	struct ft_slice asset = ft_slice_of(w->base->asset ? w->base->asset : "");
	const char *expected = ft_arena_printf(w->r->arena, "under %.*s, the unit fitted (%s)", FT_P(unit), w->base->name);
	bool under = false;
	size_t open = 0;

	for (size_t i = w->handed; unit.n && i < w->count; i++) {
		struct ft_slice name = ft_watch_name(w->reads[i].text[FT_WATCH_FILE]);
		bool fits = ft_slice_eq_nocase(name, unit);
		under |= fits;
		if (!under || ft_slice_eq(name, said) || ft_slice_eq_nocase(name, asset))
			continue;
		if (open)
			end_last(w, open, i);
		open = 0;
		said = name;
		if (fits)
			continue;
		differs(w, i, "its audits come under the name", name, expected);
		open = w->r->exception_count;
	}
}

static int64_t rise(const struct watch_walk *w, enum ft_watch_number n)
{
	int64_t from = w->base->read->number[n], to = w->reads[w->count - 1].number[n];

	return from == FT_ABSENT || to == FT_ABSENT || to < from ? FT_ABSENT : to - from;
}

void watch_handover(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	size_t before = r->exception_count;

	w->handed = w->count;
	if (!w->base)
		return;
	r->handover = ft_arena_text(r->arena, ft_slice_of(w->base->name));
	while (w->handed && w->reads[w->handed - 1].at_us >= w->base->at_us)
		w->handed--;
	for (size_t i = 0; i < r->day_count; i++) {
		bool since = r->days[i].day > r->handed_us / FT_DAY;
		r->since_expected += since && r->days[i].expected;
		r->since_arrived += since && r->days[i].arrived > 0;
	}
	if (r->period_us && r->day_count && r->days[0].day > r->handed_us / FT_DAY)
		/* those before the first audit were waited for as well */
		r->since_expected += (size_t)((r->days[0].day - 1 - r->handed_us / FT_DAY) * FT_DAY /
		                              (r->period_us > FT_DAY ? r->period_us : FT_DAY));
	if (r->since_expected < r->since_arrived)
		r->since_expected = r->since_arrived;
	if (w->handed == w->count)
		return;
	r->since_first_us = w->reads[w->handed].at_us;
	r->since_sold = rise(w, FT_WATCH_PAID_COUNT);
	r->since_value = rise(w, FT_WATCH_PAID_VALUE);
	watch_counters_handed(w);
	drop_said(r, before);
	watch_reader(w);
	watch_unit(w);
}
