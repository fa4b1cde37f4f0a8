/* SPDX-License-Identifier: Apache-2.0 */
/* Controller, connector, bus, door, probes, mounting: what each fact of a row decides. */
#include "survey_room.h"

#define CERTAIN(outcome)                                                                                          \
	(const double[FT_OUTCOMES])                                                                                   \
	{                                                                                                             \
		(outcome) == FT_CAN_READY, (outcome) == FT_CAN_PARTS, (outcome) == FT_CAN_UPDATE, (outcome) == FT_CAN_NOT \
	}

struct ft_survey_reason *survey_certain(struct looking *l, enum ft_rule_id rule, enum ft_fact fact, unsigned outcome)
{
	return survey_reason(l, rule, fact, outcome, CERTAIN(outcome));
}

static void look_at_unit(struct looking *l)
{
	double not = l->s->priors.chance[FT_PRIOR_UNIT_CANNOT];
	struct ft_survey_reason *r;

	if (l->unit) {
		survey_take(l, FT_KIT_UNIT, (int)(l->unit - l->s->c->units), 1, 1, FT_FACT_UNIT);
		return;
	}
	r = survey_reason(l, l->row->unit.p ? FT_RULE_SURVEY_NOT_IN_CATALOGUE : FT_RULE_SURVEY_UNKNOWN, FT_FACT_UNIT,
	                  FT_CAN_ANY, (const double[FT_OUTCOMES]){ 1 - not, 0, 0, not });
	r->seen = survey_text(l, l->row->unit);
}

static void look_at_old_revision(struct looking *l, struct ft_slice needed, double old, bool certain)
{
	const struct ft_family *f = l->family;
	bool none = ft_slice_eq_nocase(f->update, FT_SLICE("none")), way = f->update.p && !none;
	double not = way ? 0 : none ? old : old * l->s->priors.chance[FT_PRIOR_UPDATE_UNKNOWN], update = old - not ;
	unsigned can = way ? FT_CAN_UPDATE : none ? FT_CAN_NOT : FT_CAN_UPDATE | FT_CAN_NOT;
	struct ft_survey_reason *r;

	r = survey_reason(l,
	                  !certain   ? FT_RULE_SURVEY_UNKNOWN
	                      : none ? FT_RULE_SURVEY_NO_UPDATE
	                             : FT_RULE_SURVEY_REVISION,
	                  certain && !way && !none ? FT_FACT_CATALOGUE : FT_FACT_REVISION,
	                  certain ? can : can | FT_CAN_READY, (const double[FT_OUTCOMES]){ 1 - old, 0, update, not });
	r->seen = survey_text(l, l->row->revision);
	r->expected = ft_arena_printf(l->a, "%.*s or newer", FT_P(needed));
	if (way && certain)
		r->expected =
			ft_arena_printf(l->a, "%.*s or newer, by %.*s (risk %s); it wipes %.*s", FT_P(needed), FT_P(f->update),
		                    f->risk ? ft_risk_word(f->risk) : "not on record", f->wipes.p ? (int)f->wipes.n : 20,
		                    f->wipes.p ? f->wipes.p : "what is not on record");
	if (update > 0) {
		survey_take(l, FT_KIT_PART, survey_part_exactly(l->s, FT_PURPOSE_CHIP, f->family), update, 1, FT_FACT_REVISION);
		l->update = update;
	}
}

static void look_at_link(struct looking *l)
{
	const struct ft_family *f = l->family;
	const double *p = l->s->priors.chance;
	double update = p[FT_PRIOR_FAMILY_UPDATE], not = p[FT_PRIOR_FAMILY_CANNOT];
	struct ft_slice needed;
	struct ft_survey_reason *r;
	const char *link;

	if (update + not > 1)
		update = 1 - not ;
	if (!f || !f->link) {
		r = survey_reason(l, !f && l->row->family.p ? FT_RULE_SURVEY_NOT_IN_CATALOGUE : FT_RULE_SURVEY_UNKNOWN,
		                  f ? FT_FACT_CATALOGUE : FT_FACT_FAMILY, FT_CAN_ANY,
		                  (const double[FT_OUTCOMES]){ 1 - update - not, 0, update, not });
		r->seen = survey_text(l, l->row->family);
		l->update = update;
		return;
	}
	if (f->quirk.p && !ft_slice_eq_nocase(f->quirk, FT_SLICE("none")))
		survey_certain(l, FT_RULE_SURVEY_QUIRK, FT_FACT_FAMILY, FT_CAN_READY)->seen = survey_text(l, f->quirk);
	link = ft_audit_link_word(f->link);
	if (f->link == FT_AUDIT_LINK_NONE) {
		survey_certain(l, FT_RULE_SURVEY_NO_AUDIT, FT_FACT_FAMILY, FT_CAN_NOT)->seen = survey_text(l, f->family);
		return;
	}
	if (l->unit && l->unit->links.known && !ft_words_hold(&l->unit->links, ft_slice_of(link)))
		survey_certain(l, FT_RULE_SURVEY_LINK_MISFIT, FT_FACT_UNIT, FT_CAN_NOT)->seen = link;
	needed = survey_revision_needed(f);
	if (!needed.p)
		return;
	if (!l->row->revision.p)
		look_at_old_revision(l, needed,
		                     survey_chance(l, FT_PRIOR_REVISION_OLD, l->known->revision_old, l->known->revision_known),
		                     false);
	else if (ft_revision_cmp(l->row->revision, needed) < 0)
		look_at_old_revision(l, needed, 1, true);
}

/* Nobody knows the kind: every harness with its chance. */
static void look_at_unknown_connector(struct looking *l)
{
	const struct ft_survey *s = l->s;
	const double *p = s->priors.chance;
	int usual = l->family && l->family->connector.p ? survey_harness(s, l->family->connector) : -1;
	int none = survey_harness(s, FT_SLICE("none"));
	size_t kinds = s->harness_count - (none >= 0);
	bool elsewhere = l->family && l->family->connector.p && usual < 0; /* usual, but without a harness */
	double rest = 1 - p[FT_PRIOR_CONNECTOR_NONE] - p[FT_PRIOR_CONNECTOR_OTHER],
		   weight = s->priors.weight[FT_PRIOR_CONNECTOR_USUAL];
	double first = fmin(p[FT_PRIOR_CONNECTOR_USUAL], rest), other = p[FT_PRIOR_CONNECTOR_OTHER];
	double ready = 0, missing, not ;
	unsigned n = l->known->kind_known;

	rest = fmax(rest, 0);
	first = kinds == 1 && usual >= 0 ? rest : fmax(first, 0);
	if (!kinds)
		other += rest;
	else if (elsewhere)
		other += first;
	for (size_t i = 0; i < s->harness_count; i++) {
		double share;
		if ((int)i == none)
			continue;
		if (usual >= 0)
			share = (int)i == usual ? first : (rest - first) / (double)(kinds - 1);
		else
			share = (elsewhere ? rest - first : rest) / (double)kinds;
		share = weight + n > 0 ? (weight * share + l->known->kinds[i]) / (weight + n) : share;
		ready += share;
		survey_take(l, FT_KIT_PART, s->harness[i], share, 1, FT_FACT_CONNECTOR);
	}
	missing = weight + n > 0 ? (weight * p[FT_PRIOR_CONNECTOR_NONE] + l->known->kinds[s->harness_count]) / (weight + n)
							 : p[FT_PRIOR_CONNECTOR_NONE];
	not = weight + n > 0 ? (weight * other + l->known->kinds[s->harness_count + 1]) / (weight + n) : other;
	if (none >= 0)
		survey_take(l, FT_KIT_PART, s->harness[none], missing, 1, FT_FACT_CONNECTOR);
	survey_reason(l, FT_RULE_SURVEY_UNKNOWN, FT_FACT_CONNECTOR,
	              (kinds ? FT_CAN_READY : 0) | (none >= 0 ? FT_CAN_PARTS : 0) | FT_CAN_NOT,
	              (const double[FT_OUTCOMES]){ ready, none >= 0 ? missing : 0, 0, none >= 0 ? not : not +missing });
}

static void look_at_connector(struct looking *l)
{
	struct ft_slice kind = l->row->connector;
	int harness = kind.p ? survey_harness(l->s, kind) : -1;
	bool none = ft_slice_eq_nocase(kind, FT_SLICE("none"));

	if (l->family && l->family->link == FT_AUDIT_LINK_NONE)
		return;
	if (!kind.p) {
		look_at_unknown_connector(l);
	} else if (harness < 0) {
		survey_certain(l, FT_RULE_SURVEY_NO_HARNESS, FT_FACT_CONNECTOR, FT_CAN_NOT)->seen = survey_text(l, kind);
	} else {
		survey_take(l, FT_KIT_PART, l->s->harness[harness], 1, 1, FT_FACT_CONNECTOR);
		if (none)
			survey_certain(l, FT_RULE_SURVEY_NO_SOCKET, FT_FACT_CONNECTOR, FT_CAN_PARTS);
	}
}

/* A part where the machine lacks something: `there` unknown gives a chance. `must`: without the part it cannot be. */
static void look_at_lack(struct looking *l, enum ft_tri there, double chance_there, enum ft_purpose purpose,
                         enum ft_rule_id rule, enum ft_fact fact, bool must)
{
	int part = survey_part(l->s, purpose, (struct ft_slice){ 0 });
	unsigned lacking = part >= 0 ? FT_CAN_PARTS : must ? FT_CAN_NOT : FT_CAN_READY;
	double no = there == FT_TRI_UNKNOWN ? 1 - chance_there : 1;
	struct ft_survey_reason *r;

	if (there == FT_TRI_YES)
		return;
	survey_take(l, FT_KIT_PART, part, no, 1, fact);
	if (there == FT_TRI_NO) {
		r = survey_certain(l, rule, fact, lacking);
		if (part < 0)
			r->seen = "and the catalogue has no part for it";
		return;
	}
	survey_reason(l, FT_RULE_SURVEY_UNKNOWN, fact, FT_CAN_READY | lacking,
	              lacking == FT_CAN_PARTS     ? (const double[FT_OUTCOMES]){ 1 - no, no, 0, 0 }
	                  : lacking == FT_CAN_NOT ? (const double[FT_OUTCOMES]){ 1 - no, 0, 0, no }
	                                          : (const double[FT_OUTCOMES]){ 1, 0, 0, 0 });
}

static void look_at_bus(struct looking *l)
{
	double low = l->s->priors.chance[FT_PRIOR_LEVEL_LOW], needs = l->unit ? l->unit->needs_bus_level : NAN;
	struct ft_survey_reason *r;

	look_at_lack(l, l->row->bus_free, survey_chance(l, FT_PRIOR_BUS_FREE, l->known->bus_free, l->known->bus_known),
	             FT_PURPOSE_TEE, FT_RULE_SURVEY_TEE, FT_FACT_BUS_FREE, true);
	if (!l->family || isnan(needs) || needs <= 1)
		return;
	if (isnan(l->family->bus_level)) {
		survey_reason(l, FT_RULE_SURVEY_UNKNOWN, FT_FACT_CATALOGUE, FT_CAN_READY | FT_CAN_NOT,
		              (const double[FT_OUTCOMES]){ 1 - low, 0, 0, low })
			->seen = "the bus level of the family is not on record";
	} else if (l->family->bus_level < needs) {
		r = survey_certain(l, FT_RULE_SURVEY_BUS_LEVEL, FT_FACT_FAMILY, FT_CAN_NOT);
		r->seen = ft_arena_printf(l->a, "level %g", l->family->bus_level);
		r->expected = ft_arena_printf(l->a, "level %g or higher", needs);
	}
}

static void look_at_probes(struct looking *l)
{
	double inputs = l->unit ? l->unit->probe_inputs : NAN, wanted = l->row->probes, chance;
	int part = survey_part(l->s, FT_PURPOSE_PROBE, ft_slice_of(ft_cabinet_word(l->row->cabinet)));
	bool warm = l->row->cabinet == FT_CABINET_AMBIENT;
	struct ft_survey_reason *r;

	if (isnan(inputs))
		return;
	if (isnan(wanted)) {
		chance = warm || !(inputs >= 1) ? 0 : l->s->priors.chance[FT_PRIOR_PROBE_WANTED];
		survey_take(l, FT_KIT_PART, part, chance, 1, FT_FACT_PROBES);
		survey_reason(l, FT_RULE_SURVEY_UNKNOWN, FT_FACT_PROBES, FT_CAN_READY | FT_CAN_NOT, CERTAIN(FT_CAN_READY));
	} else if (wanted > inputs) {
		r = survey_certain(l, FT_RULE_SURVEY_PROBES, FT_FACT_PROBES, FT_CAN_NOT);
		r->seen = ft_arena_printf(l->a, "%g wanted", wanted);
		r->expected = ft_arena_printf(l->a, "at most %g", inputs);
	} else if (wanted >= 1) {
		survey_take(l, FT_KIT_PART, part, 1, (int)wanted, FT_FACT_PROBES);
	}
}

/* A mounting for this unit, or for this front; where the front is not known both have their chance. */
static void look_at_mounting(struct looking *l)
{
	int part = l->unit ? survey_part_exactly(l->s, FT_PURPOSE_MOUNTING, l->unit->unit) : -1;
	int glass = survey_part_exactly(l->s, FT_PURPOSE_MOUNTING, FT_SLICE("glass"));
	int metal = survey_part_exactly(l->s, FT_PURPOSE_MOUNTING, FT_SLICE("metal"));

	for (size_t i = 0; i < l->s->c->part_count; i++)
		if (l->s->c->parts[i].purpose == FT_PURPOSE_OTHER &&
		    ft_slice_eq_nocase(l->s->c->parts[i].of, FT_SLICE("every")))
			survey_take(l, FT_KIT_PART, (int)i, 1, 1, FT_FACT_CATALOGUE);
	if (part >= 0 || (glass < 0 && metal < 0)) {
		survey_take(l, FT_KIT_PART, part, 1, 1, FT_FACT_FRONT);
	} else if (l->row->front) {
		survey_take(l, FT_KIT_PART, l->row->front == FT_FRONT_GLASS ? glass : metal, 1, 1, FT_FACT_FRONT);
	} else {
		survey_take(l, FT_KIT_PART, glass, 0.5, 1, FT_FACT_FRONT);
		survey_take(l, FT_KIT_PART, metal, 0.5, 1, FT_FACT_FRONT);
	}
}

void survey_look_at_machine(struct looking *l)
{
	look_at_unit(l);
	look_at_link(l);
	look_at_connector(l);
	look_at_bus(l);
	if (l->unit && l->unit->door_input == FT_TRI_YES)
		look_at_lack(l, l->row->door_switch,
		             survey_chance(l, FT_PRIOR_DOOR_SWITCH, l->known->door_there, l->known->door_known),
		             FT_PURPOSE_DOOR_SWITCH, FT_RULE_SURVEY_DOOR_SWITCH, FT_FACT_DOOR_SWITCH, false);
	look_at_probes(l);
	look_at_mounting(l);
}
