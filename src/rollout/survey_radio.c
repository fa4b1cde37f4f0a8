/* SPDX-License-Identifier: Apache-2.0 */
/* Where the antenna sits, and which lead reaches it and leaves enough. */
#include "survey_room.h"

static bool same(struct ft_slice a, struct ft_slice b)
{
	return ft_slice_eq_nocase(a, b);
}

/* The adapter from a lead's plug to the unit's: its part, or -1 and *ret_fits whether none is needed. */
static int adapter(const struct ft_survey *s, const struct ft_unit *u, const struct ft_lead *lead, bool *ret_fits)
{
	struct ft_slice plug = lead->to, socket = u->antenna_connector;

	*ret_fits = !plug.p || !socket.p || same(plug, socket);
	if (*ret_fits)
		return -1;
	for (size_t i = 0; i < s->c->part_count; i++) {
		const struct ft_part_row *p = &s->c->parts[i];
		size_t at = ft_slice_find(p->of, FT_SLICE(">"));
		if (p->purpose == FT_PURPOSE_ADAPTER && at < p->of.n &&
		    same(ft_slice_trim((struct ft_slice){ p->of.p, at }), plug) &&
		    same(ft_slice_trim((struct ft_slice){ p->of.p + at + 1, p->of.n - at - 1 }), socket))
			return (int)i;
	}
	return -1;
}

/* The leads whose plug fits, or can be made to; `ret_of` their rows. */
static size_t usable(const struct ft_survey *s, const struct ft_unit *u, struct ft_signal_lead *ret, int *ret_of)
{
	size_t n = 0;

	for (size_t i = 0; i < s->lead_count; i++) {
		bool fits;
		int part = adapter(s, u, &s->c->leads[s->lead_of[i]], &fits);
		if (!fits && part < 0)
			continue;
		ret[n] = s->leads[i];
		ret[n].connectors += !fits;
		ret_of[n++] = s->lead_of[i];
	}
	return n;
}

/* Row of the lead that comes with the unit; -1: none, or not on record. */
static int supplied(const struct ft_survey *s, const struct ft_unit *u)
{
	const struct ft_lead *lead = u->lead.p ? ft_lead_of(s->c, u->lead) : NULL;

	return lead ? (int)(lead - s->c->leads) : -1;
}

bool ft_survey_lead(const struct ft_survey *s, const struct ft_unit *u, double path_m, double margin_db,
                    const char *name, struct ft_arena *a, struct ft_survey_lead *ret)
{
	struct ft_signal_lead *leads = FT_NEW_ARRAY(a, s->lead_count + 1, struct ft_signal_lead);
	int *of = FT_NEW_ARRAY(a, s->lead_count + 1, int);
	struct ft_signal_way way = { isnan(u->mhz) ? 900 : u->mhz, margin_db, path_m, NAN };
	struct ft_findings own = { .arena = a };
	int own_lead = supplied(s, u), chosen, shortest = -1, first = -1;
	bool fits;
	size_t n;

	*ret = (struct ft_survey_lead){ .lead = -1, .adapter = -1 };
	if (!leads || !of)
		return false;
	n = usable(s, u, leads, of);
	chosen = n ? ft_signal_leads_judge(leads, n, &way, name, a, &own) : -1;
	for (size_t i = 0; i < n; i++) {
		bool does = leads[i].fit == FT_SIGNAL_FITS || leads[i].fit == FT_SIGNAL_UNMEASURED;
		if (does && (shortest < 0 || leads[i].metres < leads[shortest].metres))
			shortest = (int)i;
		if (of[i] == own_lead)
			first = (int)i;
	}
	if (first >= 0 && (leads[first].fit == FT_SIGNAL_FITS || leads[first].fit == FT_SIGNAL_UNMEASURED))
		chosen = first;
	else if (chosen < 0)
		chosen = shortest;
	if (chosen < 0)
		return true;
	ret->lead = of[chosen];
	ret->judged = leads[chosen];
	ret->adapter = adapter(s, u, &s->c->leads[ret->lead], &fits);
	if (chosen != first && own_lead >= 0)
		ret->not_supplied = first >= 0 ? leads[first].why : "the lead supplied has another plug";
	return true;
}

static void take_lead(struct looking *l, int row, double chance, bool certain)
{
	bool fits;
	int part;

	if (row < 0)
		return;
	survey_take(l, FT_KIT_LEAD, row, chance, 1, FT_FACT_PATH);
	part = adapter(l->s, l->unit, &l->s->c->leads[row], &fits);
	survey_take(l, FT_KIT_PART, part, chance, 1, FT_FACT_PATH);
	if (!certain)
		return;
	l->m->lead = l->s->c->leads[row].lead;
	if (part >= 0)
		survey_certain(l, FT_RULE_SURVEY_LEAD, FT_FACT_PATH, FT_CAN_PARTS)->seen =
			ft_arena_printf(l->a, "its plug needs the adapter %.*s", FT_P(l->s->c->parts[part].part));
}

/* The way and perhaps the margin are known: one lead is chosen, or none does. */
static void choose_lead(struct looking *l, double margin)
{
	struct ft_survey_lead x;
	struct ft_survey_reason *r;

	if (!ft_survey_lead(l->s, l->unit, l->row->path_m, margin, l->name, l->a, &x))
		return;
	if (x.lead < 0) {
		r = survey_certain(l, FT_RULE_SURVEY_SIGNAL, FT_FACT_PATH, FT_CAN_NOT);
		r->seen = isnan(margin)
			? ft_arena_printf(l->a, "no lead reaches over %.2f m", l->row->path_m)
			: ft_arena_printf(l->a, "%.0f dB above what the unit needs, %.2f m to go, and no lead leaves enough",
		                      margin, l->row->path_m);
		return;
	}
	l->m->lead_margin_db = x.judged.margin;
	take_lead(l, x.lead, 1, true);
	if (x.not_supplied) {
		r = survey_certain(l, FT_RULE_SURVEY_LEAD, FT_FACT_PATH, FT_CAN_PARTS);
		r->seen = x.not_supplied;
		r->expected = survey_text(l, l->s->c->leads[x.lead].lead);
	}
}

/* The way is not known: the lead supplied, perhaps the next longer one. */
static void guess_lead(struct looking *l, double margin)
{
	double longer = l->s->priors.chance[FT_PRIOR_LEAD_LONGER], not = l->s->priors.chance[FT_PRIOR_SIGNAL_UNMEASURED];
	const struct ft_lead *leads = l->s->c->leads;
	int own = supplied(l->s, l->unit), next = -1;

	for (size_t i = 0; i < l->s->c->lead_count; i++)
		if (!isnan(leads[i].length_m) && (own < 0 || leads[i].length_m > leads[own].length_m) &&
		    (next < 0 || leads[i].length_m < leads[next].length_m))
			next = (int)i;
	if (own < 0)
		longer = 1;
	if (longer + not > 1)
		longer = 1 - not ;
	take_lead(l, own, 1 - longer, false);
	take_lead(l, next, longer, false);
	if (margin < 0)
		survey_certain(l, FT_RULE_SURVEY_SIGNAL, FT_FACT_SIGNAL, FT_CAN_NOT)->seen =
			ft_arena_printf(l->a, "%.0f dB under what the unit needs, before any lead", -margin);
	else
		survey_reason(l, FT_RULE_SURVEY_UNKNOWN, FT_FACT_PATH, FT_CAN_READY | FT_CAN_PARTS | FT_CAN_NOT,
		              (const double[FT_OUTCOMES]){ 1 - longer - not, longer, 0, not });
}

static void look_at_unknown_place(struct looking *l)
{
	double outside = l->s->priors.chance[FT_PRIOR_ANTENNA_OUTSIDE],
		   not = l->s->priors.chance[FT_PRIOR_SIGNAL_UNMEASURED];
	int top = survey_part_exactly(l->s, FT_PURPOSE_ANTENNA, FT_SLICE("top"));
	int out = survey_part_exactly(l->s, FT_PURPOSE_ANTENNA, FT_SLICE("outside"));

	if (outside + not > 1)
		outside = 1 - not ;
	survey_take(l, FT_KIT_PART, top, 1 - outside, 1, FT_FACT_ANTENNA);
	survey_take(l, FT_KIT_PART, out, outside, 1, FT_FACT_ANTENNA);
	take_lead(l, supplied(l->s, l->unit), 1, false);
	survey_reason(l, FT_RULE_SURVEY_UNKNOWN, FT_FACT_ANTENNA, FT_CAN_READY | FT_CAN_PARTS | FT_CAN_NOT,
	              (const double[FT_OUTCOMES]){ 1 - outside - not, outside, 0, not });
}

void survey_look_at_radio(struct looking *l)
{
	const struct ft_survey_row *row = l->row;
	double not = l->s->priors.chance[FT_PRIOR_SIGNAL_UNMEASURED], level, margin;
	struct ft_survey_reason *r;
	int part;

	if (!l->unit || !(l->unit->antennas >= 1))
		return;
	if (!row->antenna) {
		look_at_unknown_place(l);
		return;
	}
	level = row->antenna == FT_ANTENNA_INSIDE ? row->inside_dbm : row->outside_dbm;
	margin = level - l->unit->least_dbm;
	l->m->signal_margin_db = margin;
	part = survey_part_exactly(l->s, FT_PURPOSE_ANTENNA, ft_slice_of(ft_antenna_place_word(row->antenna)));
	survey_take(l, FT_KIT_PART, part, 1, 1, FT_FACT_ANTENNA);
	if (row->antenna == FT_ANTENNA_OUTSIDE) {
		r = survey_certain(l, FT_RULE_SURVEY_ANTENNA, FT_FACT_ANTENNA, part >= 0 ? FT_CAN_PARTS : FT_CAN_NOT);
		if (part < 0)
			r->seen = "the catalogue has no antenna for outside";
	}
	if (isnan(margin)) {
		r = survey_reason(l, FT_RULE_SURVEY_UNKNOWN, isnan(level) ? FT_FACT_SIGNAL : FT_FACT_CATALOGUE,
		                  FT_CAN_READY | FT_CAN_PARTS | FT_CAN_NOT, (const double[FT_OUTCOMES]){ 1 - not, 0, 0, not });
		if (!isnan(level))
			r->seen = "the level that the unit needs is not on record";
	}
	if (isnan(row->path_m))
		guess_lead(l, margin);
	else
		choose_lead(l, margin);
}
