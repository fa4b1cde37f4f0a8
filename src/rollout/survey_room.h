/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the survey: what is learned once, and what one look at a machine gathers. */
#ifndef ROLLOUT_SURVEY_ROOM_H
#define ROLLOUT_SURVEY_ROOM_H

#include "fettle/signal.h"
#include "fettle/survey.h"

enum {
#define ROW(ident, figure, value, ...) FIGURE_##ident = value,
#include "survey-figures.inc"
#undef ROW
};

/* Known rows of one family. */
struct learned {
	unsigned bus_known, bus_free, door_known, door_there, revision_known, revision_old;
	unsigned kind_known, *kinds; /* by harness; then none, then other */
};

struct ft_survey {
	const struct ft_catalogue *c;
	struct ft_survey_priors priors;
	struct learned *families; /* as the catalogue's, one more for no family */
	int *harness;             /* parts that are harnesses for a kind */
	size_t harness_count;
	struct ft_signal_lead *leads; /* those that can be reckoned */
	int *lead_of;                 /* index in the catalogue of each */
	size_t lead_count;
};

struct looking {
	const struct ft_survey *s;
	const struct ft_survey_row *row;
	const struct ft_family *family;
	const struct ft_unit *unit;
	const struct learned *known;
	const char *name; /* of the table */
	struct ft_arena *a;
	struct ft_survey_machine *m;
	struct ft_error *e;
	enum ft_status status;
	double more_minutes; /* beside unit and kit */
	double update;       /* chance of an update */
};

/* Adds what one fact decides; `chance` is of ready, parts, update, not. Never NULL. */
struct ft_survey_reason *survey_reason(struct looking *l, enum ft_rule_id rule, enum ft_fact fact, unsigned can,
                                       const double chance[FT_OUTCOMES]);

/* The same for an outcome that is certain. */
struct ft_survey_reason *survey_certain(struct looking *l, enum ft_rule_id rule, enum ft_fact fact, unsigned outcome);

/* Puts a row of the catalogue's list into the kit; index -1: there is none, and false. */
bool survey_take(struct looking *l, enum ft_kit_kind kind, int index, double chance, int count, enum ft_fact fact);

/* ft_part_for and ft_part_exactly as an index of the catalogue's parts; -1: none. */
int survey_part(const struct ft_survey *s, enum ft_purpose purpose, struct ft_slice of);
int survey_part_exactly(const struct ft_survey *s, enum ft_purpose purpose, struct ft_slice of);

/* Chance of a fact nobody knows: the prior against k of n known rows. */
double survey_chance(const struct looking *l, enum ft_prior_id id, unsigned k, unsigned n);

/* The newer of the revisions from which on audit and cards are served; p == NULL: from the first on. */
struct ft_slice survey_revision_needed(const struct ft_family *f);

int survey_harness(const struct ft_survey *s, struct ft_slice kind); /* index into s->harness, -1 */

void survey_look_at_machine(struct looking *l); /* survey_fit.c */
void survey_look_at_power(struct looking *l);   /* survey_power.c: supply and size of the audit */
void survey_look_at_radio(struct looking *l);   /* survey_radio.c */

static inline const char *survey_text(struct looking *l, struct ft_slice s)
{
	return s.p ? ft_arena_text(l->a, s) : NULL;
}

#endif
