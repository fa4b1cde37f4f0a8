/* SPDX-License-Identifier: Apache-2.0 */
/* Can each machine be fitted, and with what? Facts of a survey, some unknown, to a fit with reasons, a kit with the
 * chance of each part, minutes, and the questions whose answers would change most. docs/survey.md tells how.
 *
 * Pure: the same rows, catalogue and priors give the same judgement. */
#ifndef FETTLE_SURVEY_H
#define FETTLE_SURVEY_H

#include "fettle/catalogue.h"
#include "fettle/finding.h"
#include "fettle/signal.h"

enum ft_fit {
	FT_FIT_READY,       /* nothing beside the unit and what every fitting takes */
	FT_FIT_WITH_PARTS,  /* parts beyond that are needed, or may be */
	FT_FIT_WITH_UPDATE, /* the controller must be updated first */
	FT_FIT_LOOK_FIRST,  /* something unknown decides whether it can be fitted, or whether it needs an update */
	FT_FIT_CANNOT,
	FT_FIT_COUNT
};

const char *ft_fit_word(enum ft_fit f); /* ready with-parts with-update look-first cannot */

/* What a judgement may come to once everything is known; look-first is no outcome. */
enum { FT_CAN_READY = 1, FT_CAN_PARTS = 2, FT_CAN_UPDATE = 4, FT_CAN_NOT = 8, FT_CAN_ANY = 15, FT_OUTCOMES = 4 };

/* ---- what one fact decides ---- */

enum ft_ask_way { FT_WAY_CALL, FT_WAY_PHOTOGRAPH, FT_WAY_VISIT, FT_WAY_DESK };

enum ft_fact {
#define ROW(ident, ...) FT_FACT_##ident,
#include "survey-facts.inc"
#undef ROW
	FT_FACT_COUNT
};

const char *ft_fact_word(enum ft_fact f);  /* "bus_free" */
const char *ft_fact_title(enum ft_fact f); /* "bus connector" */
const char *ft_fact_ask(enum ft_fact f);   /* how it is settled, such as "ask which unit is to be fitted" */
enum ft_ask_way ft_fact_way(enum ft_fact f);
const char *ft_ask_way_word(enum ft_ask_way w); /* call photograph visit desk */

/* ---- priors ---- */

enum ft_prior_id {
#define ROW(ident, ...) FT_PRIOR_##ident,
#include "survey-priors.inc"
#undef ROW
	FT_PRIOR_COUNT
};

/* Chance of a fact nobody knows, and how many known rows it weighs against. */
struct ft_survey_priors {
	double chance[FT_PRIOR_COUNT], weight[FT_PRIOR_COUNT];
	bool learn; /* from known rows of the same family in the survey; off where a record is judged again */
};

void ft_survey_priors(struct ft_survey_priors *ret); /* those of data/survey-priors.csv */

/* A table prior,per_mille,weight that replaces some; what stands in other columns is for its reader. FT_E_INPUT with
 * the line. */
enum ft_status ft_survey_priors_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                     struct ft_survey_priors *p, struct ft_error *e);

void ft_survey_priors_write(const struct ft_survey_priors *p, struct ft_buf *out); /* as such a table */

/* ---- judgement ---- */

struct ft_survey_reason {
	enum ft_rule_id rule;
	enum ft_fact fact;
	unsigned can;               /* outcomes that are possible by this alone */
	double chance[FT_OUTCOMES]; /* of each; their sum is 1 */
	const char *seen, *expected;
};

enum ft_kit_kind { FT_KIT_UNIT, FT_KIT_LEAD, FT_KIT_PART };

struct ft_survey_item {
	enum ft_kit_kind kind;
	struct ft_slice part; /* its id in the catalogue */
	struct ft_slice name; /* p == NULL: none */
	double chance;        /* 0 to 1; 1: certain */
	int count;            /* how many then */
	int64_t price;        /* of one; FT_ABSENT */
	double minutes;       /* NAN: not known */
	int index;            /* of its row in the catalogue's list of that kind */
	enum ft_fact fact;    /* what decides it, where it is not certain */
};

struct ft_survey_question {
	enum ft_fact fact;
	double worth_min; /* minutes that the answer is expected to save; see docs/survey.md */
};

enum { FT_SURVEY_REASONS_MAX = 32, FT_SURVEY_ITEMS_MAX = 48 };

struct ft_survey_machine {
	const struct ft_survey_row *row;
	const struct ft_family *family; /* NULL: not known */
	const struct ft_unit *unit;
	enum ft_fit fit;
	unsigned can;               /* outcomes that are possible */
	double chance[FT_OUTCOMES]; /* of each */
	struct ft_survey_reason *reasons;
	size_t reason_count;
	struct ft_survey_item *kit;
	size_t item_count;
	struct ft_survey_question *questions; /* most worth first */
	size_t question_count;
	double minutes, spread_min;             /* on site, and one standard deviation */
	double audit_bytes, audit_spread;       /* expected size of the audit; NAN never */
	double audit_limit;                     /* NAN: none known */
	double supply_margin_v, supply_more_ma; /* NAN: not reckoned */
	double signal_margin_db;                /* at the antenna's place before the lead; NAN */
	double lead_margin_db;                  /* what the lead leaves; NAN */
	struct ft_slice lead;                   /* that was chosen; p == NULL: none */
	struct ft_findings findings;
	enum ft_verdict verdict;
};

struct ft_survey;

/* Learns from the known rows. Borrows catalogue and arena. */
enum ft_status ft_survey_begin(const struct ft_catalogue *c, const struct ft_survey_priors *p, struct ft_arena *a,
                               struct ft_survey **ret, struct ft_error *e);

/* Judges one row (of the catalogue's, or like one) into `a`. `name` is what they call the table in findings. */
enum ft_status ft_survey_judge(const struct ft_survey *s, const struct ft_survey_row *row, const char *name,
                               struct ft_arena *a, struct ft_survey_machine *ret, struct ft_error *e);

/* The lead over a way: the one supplied with the unit where it does, else the shortest that does. */
struct ft_survey_lead {
	int lead;                     /* index of the catalogue's leads; -1: none does */
	int adapter;                  /* index of its parts; -1: none is needed */
	struct ft_signal_lead judged; /* where one does */
	const char *not_supplied;     /* why it is not the lead supplied; NULL: it is, or none is on record */
};

/* `margin_db` NAN: not measured, then by its length alone. False without memory. */
bool ft_survey_lead(const struct ft_survey *s, const struct ft_unit *u, double path_m, double margin_db,
                    const char *name, struct ft_arena *a, struct ft_survey_lead *ret);

/* How many of a part do in 98 of 100 cases, by the normal distribution. */
double ft_survey_enough(double mean, double variance);

/* ---- the record of one machine: its row, the rows of the catalogue that it was judged by, the chances taken ---- */

#define FT_SURVEY_RECORD "# fettle survey record" /* the first line of it */

void ft_survey_record(const struct ft_survey *s, const struct ft_survey_row *row, struct ft_buf *out);

bool ft_survey_is_record(struct ft_slice bytes);

/* The tables of a record: one row of the survey, and what of the catalogue it was judged by. FT_E_INPUT. */
enum ft_status ft_survey_record_read(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                     struct ft_catalogue *ret, struct ft_error *e);

/* Reads a record and judges its machine: the same as when it was written, since nothing else goes in. */
enum ft_status ft_survey_record_judge(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                      struct ft_survey_machine *ret, struct ft_error *e);

#endif
