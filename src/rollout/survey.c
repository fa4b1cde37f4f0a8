/* SPDX-License-Identifier: Apache-2.0 */
/* One machine: every fact says which outcomes it leaves and how likely each is; the worst of them is the machine's. The
 * facts are taken as independent, so the chance that all come to at most an outcome is a product. */
#include <stdlib.h>

#include "survey_room.h"

/* ---- what the rooms of this judgement share ---- */

struct ft_survey_reason *survey_reason(struct looking *l, enum ft_rule_id rule, enum ft_fact fact, unsigned can,
                                       const double chance[FT_OUTCOMES])
{
	struct ft_survey_machine *m = l->m;
	struct ft_survey_reason *r = &m->reasons[m->reason_count];

	/* each look adds a bounded number; the last place is lent again rather than written over the end */
	if (m->reason_count < FT_SURVEY_REASONS_MAX - 1)
		m->reason_count++;
	*r = (struct ft_survey_reason){ .rule = rule, .fact = fact, .can = can };
	for (int i = 0; i < FT_OUTCOMES; i++)
		r->chance[i] = fmin(1, fmax(0, chance[i]));
	return r;
}

static struct ft_survey_item *item_of(struct looking *l, enum ft_kit_kind kind, int index)
{
	for (size_t i = 0; i < l->m->item_count; i++)
		if (l->m->kit[i].kind == kind && l->m->kit[i].index == index)
			return &l->m->kit[i];
	return NULL;
}

bool survey_take(struct looking *l, enum ft_kit_kind kind, int index, double chance, int count, enum ft_fact fact)
{
	const struct ft_catalogue *c = l->s->c;
	struct ft_survey_item *x;

	if (index < 0)
		return false;
	if (!(chance > 0))
		return true;
	chance = fmin(1, chance);
	if ((x = item_of(l, kind, index))) {
		x->chance = 1 - (1 - x->chance) * (1 - chance);
		x->count = x->count > count ? x->count : count;
		return true;
	}
	if (l->m->item_count == FT_SURVEY_ITEMS_MAX)
		return false;
	x = &l->m->kit[l->m->item_count++];
	*x = (struct ft_survey_item){ .kind = kind, .chance = chance, .count = count, .index = index, .fact = fact };
	if (kind == FT_KIT_UNIT) {
		x->part = c->units[index].unit;
		x->price = c->units[index].price;
		x->minutes = c->units[index].minutes;
	} else if (kind == FT_KIT_LEAD) {
		x->part = c->leads[index].lead;
		x->price = c->leads[index].price;
		x->minutes = 0;
	} else {
		x->part = c->parts[index].part;
		x->name = c->parts[index].name;
		x->price = c->parts[index].price;
		x->minutes = c->parts[index].minutes;
	}
	return true;
}

static int index_of(const struct ft_survey *s, const struct ft_part_row *p)
{
	return p ? (int)(p - s->c->parts) : -1;
}

int survey_part_exactly(const struct ft_survey *s, enum ft_purpose purpose, struct ft_slice of)
{
	return index_of(s, ft_part_exactly(s->c, purpose, of));
}

int survey_part(const struct ft_survey *s, enum ft_purpose purpose, struct ft_slice of)
{
	return index_of(s, ft_part_for(s->c, purpose, of));
}

double survey_chance(const struct looking *l, enum ft_prior_id id, unsigned k, unsigned n)
{
	double w = l->s->priors.weight[id];

	return n > 0 ? (w * l->s->priors.chance[id] + k) / (w + n) : l->s->priors.chance[id];
}

struct ft_slice survey_revision_needed(const struct ft_family *f)
{
	if (!f->audit_from.p || !f->card_from.p)
		return f->audit_from.p ? f->audit_from : f->card_from;
	return ft_revision_cmp(f->audit_from, f->card_from) < 0 ? f->card_from : f->audit_from;
}

int survey_harness(const struct ft_survey *s, struct ft_slice kind)
{
	for (size_t i = 0; i < s->harness_count; i++)
		if (ft_slice_eq_nocase(s->c->parts[s->harness[i]].of, kind))
			return (int)i;
	return -1;
}

/* ---- learning ---- */

static void learn_row(struct ft_survey *s, const struct ft_survey_row *row)
{
	const struct ft_family *f = row->family.p ? ft_family_of(s->c, row->family) : NULL;
	struct learned *k = &s->families[f ? (size_t)(f - s->c->families) : s->c->family_count];
	struct ft_slice needed = f ? survey_revision_needed(f) : (struct ft_slice){ 0 };
	int harness;

	if (!f)
		return; /* rows of nobody's family have nothing in common */
	k->bus_known += row->bus_free != FT_TRI_UNKNOWN;
	k->bus_free += row->bus_free == FT_TRI_YES;
	k->door_known += row->door_switch != FT_TRI_UNKNOWN;
	k->door_there += row->door_switch == FT_TRI_YES;
	if (needed.p && row->revision.p) {
		k->revision_known++;
		k->revision_old += ft_revision_cmp(row->revision, needed) < 0;
	}
	if (row->connector.p) {
		harness = ft_slice_eq_nocase(row->connector, FT_SLICE("none")) ? (int)s->harness_count
																	   : survey_harness(s, row->connector);
		k->kind_known++;
		k->kinds[harness < 0 ? (int)s->harness_count + 1 : harness]++;
	}
}

static bool list_harnesses(struct ft_survey *s, struct ft_arena *a)
{
	s->harness = FT_NEW_ARRAY(a, s->c->part_count + 1, int);
	if (!s->harness)
		return false;
	for (size_t i = 0; i < s->c->part_count; i++)
		if (s->c->parts[i].purpose == FT_PURPOSE_HARNESS && s->c->parts[i].of.p &&
		    survey_harness(s, s->c->parts[i].of) < 0)
			s->harness[s->harness_count++] = (int)i;
	return true;
}

/* Leads of a known length and cable; no more than the room that judges them takes. */
static bool list_leads(struct ft_survey *s, struct ft_arena *a)
{
	size_t classes;
	const struct ft_signal_cable *known = ft_signal_cables(&classes);

	s->leads = FT_NEW_ARRAY(a, s->c->lead_count + 1, struct ft_signal_lead);
	s->lead_of = FT_NEW_ARRAY(a, s->c->lead_count + 1, int);
	if (!s->leads || !s->lead_of)
		return false;
	for (size_t i = 0; i < s->c->lead_count && s->lead_count < FT_SIGNAL_LEADS_MAX; i++) {
		const struct ft_lead *row = &s->c->leads[i];
		struct ft_signal_lead *l = &s->leads[s->lead_count];
		bool fits = false;
		*l = (struct ft_signal_lead){ .metres = row->length_m, .connectors = 2, .line = row->line };
		l->name = ft_arena_text(a, row->lead);
		if (!l->name)
			return false;
		if (!isnan(row->mhz[0] + row->mhz[1] + row->db_per_100m[0] + row->db_per_100m[1]))
			fits = ft_signal_fit(row->mhz[0], row->db_per_100m[0], row->mhz[1], row->db_per_100m[1], &l->cable);
		for (size_t k = 0; !fits && k < classes; k++)
			if (ft_slice_eq_nocase(row->cable, ft_slice_of(known[k].name))) {
				l->cable = known[k];
				fits = true;
			}
		if (fits && !isnan(l->metres))
			s->lead_of[s->lead_count++] = (int)i;
	}
	return true;
}

enum ft_status ft_survey_begin(const struct ft_catalogue *c, const struct ft_survey_priors *p, struct ft_arena *a,
                               struct ft_survey **ret, struct ft_error *e)
{
	struct ft_survey *s = FT_NEW(a, struct ft_survey);
	unsigned *kinds;

	if (!s)
		return ft_fail_memory(e, "judging the survey");
	s->c = c;
	s->priors = *p;
	s->families = FT_NEW_ARRAY(a, c->family_count + 1, struct learned);
	if (!s->families || !list_harnesses(s, a) || !list_leads(s, a))
		return ft_fail_memory(e, "judging the survey");
	kinds = FT_NEW_ARRAY(a, (c->family_count + 1) * (s->harness_count + 2), unsigned);
	if (!kinds)
		return ft_fail_memory(e, "judging the survey");
	for (size_t i = 0; i <= c->family_count; i++)
		s->families[i].kinds = kinds + i * (s->harness_count + 2);
	for (size_t i = 0; p->learn && i < c->row_count; i++)
		learn_row(s, &c->rows[i]);
	*ret = s;
	return FT_OK;
}

/* ---- from reasons to a fit ---- */

/* The outcome of all reasons; reason `fixed` (-1: none) is taken to come to `outcome`. */
static void combine(const struct ft_survey_machine *m, int fixed, int outcome, unsigned *ret_can,
                    double ret_chance[FT_OUTCOMES])
{
	double at_most[FT_OUTCOMES] = { 1, 1, 1, 1 };
	unsigned can = FT_CAN_READY;

	for (size_t i = 0; i < m->reason_count; i++) {
		const struct ft_survey_reason *r = &m->reasons[i];
		unsigned mine = (int)i == fixed ? 1U << outcome : r->can, both = 0;
		double sum = 0;
		for (int k = 0; k < FT_OUTCOMES; k++) {
			sum += (int)i == fixed ? k == outcome : r->chance[k];
			at_most[k] *= k == FT_OUTCOMES - 1 ? 1 : fmin(1, sum);
			/* the worse of two is k when one is k and the other k or better */
			both |= ((can >> k & 1) && (mine & ((2U << k) - 1))) || ((mine >> k & 1) && (can & ((2U << k) - 1)))
				? 1U << k
				: 0;
		}
		can = both;
	}
	*ret_can = can;
	for (int k = 0; k < FT_OUTCOMES; k++)
		ret_chance[k] = fmax(0, at_most[k] - (k ? at_most[k - 1] : 0));
}

static enum ft_fit fit_of(unsigned can, const double chance[FT_OUTCOMES])
{
	double look = FIGURE_LOOK_AT / 1000.0;

	if (can == FT_CAN_NOT)
		return FT_FIT_CANNOT;
	if (chance[3] >= look)
		return FT_FIT_LOOK_FIRST;
	if (chance[2] >= 1 - look)
		return FT_FIT_WITH_UPDATE;
	if (chance[2] + chance[3] >= look)
		return FT_FIT_LOOK_FIRST;
	return chance[0] >= 1 - look ? FT_FIT_READY : FT_FIT_WITH_PARTS;
}

/* Whether parts are needed changes what is carried, not whether somebody can go. */
static bool other_plan(enum ft_fit a, enum ft_fit b)
{
	return a != b && !(a <= FT_FIT_WITH_PARTS && b <= FT_FIT_WITH_PARTS);
}

/* ---- buying ---- */

double ft_survey_enough(double mean, double variance)
{
	return ceil(mean + FIGURE_BUY_RISK / 1000.0 * sqrt(variance) - 1e-9);
}

/* ---- minutes ---- */

static void reckon_minutes(struct looking *l)
{
	struct ft_survey_machine *m = l->m;
	double sure = l->more_minutes + (l->unit && !isnan(l->unit->minutes) ? 0 : FIGURE_MINUTES_UNIT), maybe = 0,
		   variance = 0;
	double update = l->family && !isnan(l->family->update_minutes) ? l->family->update_minutes : 0;

	if (l->family && !isnan(l->family->minutes))
		sure += l->family->minutes;
	for (size_t i = 0; i < m->item_count; i++) {
		double one = isnan(m->kit[i].minutes) ? 0 : m->kit[i].minutes * m->kit[i].count, p = m->kit[i].chance;
		if (p >= 1)
			sure += one;
		maybe += p < 1 ? p * one : 0;
		variance += p * (1 - p) * one * one;
	}
	if (l->update >= 1)
		sure += update;
	else
		maybe += l->update * update;
	variance += l->update * (1 - l->update) * update * update;
	m->minutes = sure + maybe;
	m->spread_min = sqrt(variance + sure * sure * FIGURE_MINUTES_SPREAD * FIGURE_MINUTES_SPREAD / 1e6);
}

/* ---- questions ---- */

static void ask(struct ft_survey_machine *m, enum ft_fact fact, double worth)
{
	size_t i = 0;

	while (i < m->question_count && m->questions[i].fact != fact)
		i++;
	if (i == m->question_count)
		m->questions[m->question_count++] = (struct ft_survey_question){ fact, 0 };
	m->questions[i].worth_min += worth;
}

static int by_worth(const void *a, const void *b)
{
	const struct ft_survey_question *x = a, *y = b;

	if (x->worth_min != y->worth_min)
		return x->worth_min < y->worth_min ? 1 : -1;
	return (int)x->fact - (int)y->fact;
}

/* What an answer is expected to change: a fit that turns out another costs a trip, a part carried in vain or missed and
 * the minutes of it cost theirs. Of a part with chance p either happens with 2p(1-p) by the plan without the answer. */
static void find_questions(struct looking *l)
{
	struct ft_survey_machine *m = l->m;
	double update = l->family && !isnan(l->family->update_minutes) ? l->family->update_minutes : 0,
		   spare = l->update * (1 - l->update);

	if (m->fit == FT_FIT_CANNOT) /* nobody goes and nothing is carried, whatever the answer */
		return;
	for (size_t i = 0; i < m->reason_count; i++) {
		const struct ft_survey_reason *r = &m->reasons[i];
		double changes = 0, chance[FT_OUTCOMES];
		unsigned can;
		if (!(r->can & (r->can - 1)))
			continue;
		for (int k = 0; k < FT_OUTCOMES; k++) {
			if (!(r->chance[k] > 0))
				continue;
			combine(m, (int)i, k, &can, chance);
			changes += other_plan(fit_of(can, chance), m->fit) ? r->chance[k] : 0;
		}
		ask(m, r->fact, changes * FIGURE_TRIP);
	}
	for (size_t i = 0; i < m->item_count; i++) {
		const struct ft_survey_item *x = &m->kit[i];
		if (x->chance < 1)
			ask(m, x->fact,
			    2 * x->chance * (1 - x->chance) * x->count *
			        (FIGURE_PART_WRONG + (isnan(x->minutes) ? 0 : x->minutes)));
	}
	if (spare > 0)
		ask(m, l->family ? FT_FACT_REVISION : FT_FACT_FAMILY, 2 * spare * update);
	if (m->question_count)
		qsort(m->questions, m->question_count, sizeof *m->questions, by_worth);
}

/* ---- what decides stands first ---- */

/* The larger, the more a reason has to do with the fit being what it is. */
static double decides(const struct ft_survey_machine *m, const struct ft_survey_reason *r)
{
	const bool open = r->can & (r->can - 1);
	const double grave = r->chance[2] + r->chance[3], parts = r->chance[1];

	if (m->fit == FT_FIT_CANNOT)
		return (r->can == FT_CAN_NOT ? 100 : 0) + 10 * grave + parts;
	if (m->fit == FT_FIT_LOOK_FIRST) /* what is not known decides, by how bad it may be */
		return (open ? 100 : 10) * grave + parts;
	return 10 * grave + parts;
}

/* Reasons that decide alike stay in the order of the look. */
static void put_in_order(struct ft_survey_machine *m)
{
	for (size_t i = 1; i < m->reason_count; i++) {
		const struct ft_survey_reason r = m->reasons[i];
		size_t k = i;
		for (; k > 0 && decides(m, &m->reasons[k - 1]) < decides(m, &r); k--)
			m->reasons[k] = m->reasons[k - 1];
		m->reasons[k] = r;
	}
}

/* ---- findings ---- */

static void tell(struct looking *l)
{
	struct ft_survey_machine *m = l->m;
	const char *asset = survey_text(l, l->row->asset);

	for (size_t i = 0; i < m->reason_count; i++) {
		const struct ft_survey_reason *r = &m->reasons[i];
		bool grave = r->chance[2] + r->chance[3] > 0.001;
		enum ft_weight w = r->can == FT_CAN_NOT                      ? FT_FAULT
			: m->fit == FT_FIT_CANNOT || !grave                      ? FT_NOTE
			: m->fit == FT_FIT_LOOK_FIRST || r->can == FT_CAN_UPDATE ? FT_DOUBT
																	 : FT_NOTE;
		bool unknown = r->rule == FT_RULE_SURVEY_UNKNOWN;
		struct ft_finding *f =
			ft_find(&m->findings, r->rule, (struct ft_where){ .file = l->name, .line = l->row->line, .element = asset },
		            unknown && !r->seen ? ft_arena_printf(l->a, "nothing of the %s", ft_fact_title(r->fact))
		                : unknown       ? ft_arena_printf(l->a, "%s: %s", ft_fact_title(r->fact), r->seen)
		                                : r->seen,
		            r->expected);
		ft_finding_weigh(&m->findings, f, w);
		if (unknown)
			f->todo = ft_fact_ask(r->fact);
	}
}

/* What was gathered on the stack moves into the arena, no larger than it is. */
static bool keep(struct ft_survey_machine *m, struct ft_arena *a)
{
	struct ft_survey_reason *reasons = FT_NEW_ARRAY(a, m->reason_count + 1, struct ft_survey_reason);
	struct ft_survey_item *kit = FT_NEW_ARRAY(a, m->item_count + 1, struct ft_survey_item);
	struct ft_survey_question *questions = FT_NEW_ARRAY(a, m->question_count + 1, struct ft_survey_question);

	if (!reasons || !kit || !questions)
		return false;
	memcpy(reasons, m->reasons, m->reason_count * sizeof *reasons);
	memcpy(kit, m->kit, m->item_count * sizeof *kit);
	memcpy(questions, m->questions, m->question_count * sizeof *questions);
	m->reasons = reasons;
	m->kit = kit;
	m->questions = questions;
	return true;
}

enum ft_status ft_survey_judge(const struct ft_survey *s, const struct ft_survey_row *row, const char *name,
                               struct ft_arena *a, struct ft_survey_machine *ret, struct ft_error *e)
{
	struct looking l = { .s = s, .row = row, .name = name, .a = a, .m = ret, .e = e };
	struct ft_survey_reason reasons[FT_SURVEY_REASONS_MAX];
	struct ft_survey_item kit[FT_SURVEY_ITEMS_MAX];
	struct ft_survey_question questions[FT_FACT_COUNT];
	bool kept;

	*ret = (struct ft_survey_machine){ .row = row,
		                               .audit_limit = NAN,
		                               .supply_margin_v = NAN,
		                               .supply_more_ma = NAN,
		                               .signal_margin_db = NAN,
		                               .lead_margin_db = NAN,
		                               .findings = { .arena = a } };
	ret->reasons = reasons;
	ret->kit = kit;
	ret->questions = questions;
	l.family = ret->family = row->family.p ? ft_family_of(s->c, row->family) : NULL;
	l.unit = ret->unit = row->unit.p ? ft_unit_of(s->c, row->unit) : NULL;
	l.known = &s->families[l.family ? (size_t)(l.family - s->c->families) : s->c->family_count];
	survey_look_at_machine(&l);
	survey_look_at_power(&l);
	survey_look_at_radio(&l);
	combine(ret, -1, 0, &ret->can, ret->chance);
	ret->fit = fit_of(ret->can, ret->chance);
	reckon_minutes(&l);
	find_questions(&l);
	put_in_order(ret);
	tell(&l);
	kept = keep(ret, a);
	if (l.status != FT_OK)
		return l.status;
	ret->verdict = ft_verdict_of(&ret->findings, false);
	return !kept || a->failed ? ft_fail_memory(e, "judging the survey") : FT_OK;
}
