/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the judgement: everything that was read, before claims are decided one by one. */
#ifndef FETTLE_VISIT_JUDGE_H
#define FETTLE_VISIT_JUDGE_H

#include "fettle/audit.h"
#include "fettle/cold.h"
#include "fettle/ledger.h"
#include "fettle/signal.h"
#include "fettle/supply.h"
#include "fettle/survey.h"
#include "fettle/visit.h"
#include "fettle/weeks.h"

/* A run of findings: from <= i < to. */
struct judge_span {
	int from, to;
};

struct judge_audit {
	int evidence;           /* index, -1: there is none */
	struct ft_facts *facts; /* NULL: none, or it could not be read */
	struct ft_summary *summary;
	struct ft_audit_check check;
	struct judge_span found;
};

struct judging {
	const struct ft_visit *v;
	struct ft_arena *a;
	struct ft_judgement *g;
	struct judge_audit before, after;
	int decimals;
	struct ft_sale *sales;
	size_t sale_count, sales_lists;
	size_t *sales_before; /* by evidence index: sales in the lists added before it */
	const char *sales_name;
	const char *story_before; /* proved anew after mending: what the earlier sales told, or NULL */
	struct judge_span signal_found;
	struct ft_signal_log survey;
	struct ft_signal_result *signal; /* NULL: no survey, or it could not be read */
	int signal_evidence;             /* -1: none */
	struct judge_span cold_found;
	struct ft_cold_result *cold; /* NULL: no log of temperatures, or it could not be read */
	int cold_evidence;           /* -1: none */
	struct judge_span supply_found;
	struct ft_supply_chain chain;
	struct ft_supply_result *supply; /* NULL: no table of the chain, or it could not be read */
	int supply_evidence;             /* -1: none */
	struct judge_span fits_found;
	struct ft_survey_machine *fits; /* NULL: no record of a survey, or it could not be read */
	int fits_evidence;              /* record or mere row; -1: none */
	struct judge_span door_found;   /* of the marks and events of the door */
	struct ft_door_result *door;    /* NULL: nothing to compare */
	int door_marks, door_events;    /* evidence that holds some, -1: none */
	struct ft_weeks *weeks;         /* NULL: no table of the weeks after, or it could not be read */
	int weeks_evidence;             /* -1: none */
	struct judge_span weeks_unread; /* that it could not */
	struct judge_span sales_found, compare_found, prove_found, bus_found;
	struct ft_comparison *comparison; /* NULL: there are no two audits */
	struct ft_proof *proof;           /* NULL: nothing to prove */
	bool bus_unproved;                /* no list, and what the bus saw is not all that the counters tell */
	bool no_room;
};

bool judge_in(const struct judge_span *s, int index);
void judge_unreadable(struct judging *j, int evidence, const char *why);

/* Copies findings behind others. */
void judge_append(struct ft_findings *to, const struct ft_findings *from);

/* Findings of the captures, and the captures as witnesses of sales (bus.c). */
void judge_captures(struct judging *j);
size_t judge_accounts(const struct judging *j, int from, struct ft_account *ret);

/* Proves what was sold between the two audits, or between an audit read after mending and the last (rounds.c). */
enum ft_status judge_sales(struct judging *j, const struct ft_read *before, const struct ft_read *after,
                           struct ft_error *e);

/* The same by what the bus saw, where no list was written. */
enum ft_status judge_bus_sales(struct judging *j, const struct ft_read *before, const struct ft_read *after,
                               struct ft_error *e);

/* Judges the survey of the radio path (signal.c). */
enum ft_status judge_signal(struct judging *j, struct ft_error *e);

/* Judges the last log of temperatures (judge_cold.c). What it says of a cabinet that holds, NULL without memory. */
enum ft_status judge_cold(struct judging *j, struct ft_error *e);
const char *judge_cold_holds(const struct judging *j);

/* Reckons the supply through (supply.c). */
enum ft_status judge_supply(struct judging *j, struct ft_error *e);

/* Judges the last record of a survey (survey.c). */
enum ft_status judge_survey(struct judging *j, struct ft_error *e);

/* The machine as the survey saw it and the unit that is to be fitted, once that was judged; NULL: no record of this
 * machine, or it does not say. */
const struct ft_survey_row *judge_row(const struct judging *j);
const struct ft_unit *judge_unit(const struct judging *j);

/* Lays door events beside marks (door.c). */
enum ft_status judge_door(struct judging *j, struct ft_error *e);

/* Reads the last table of the weeks after (weeks.c). */
enum ft_status judge_weeks(struct judging *j, struct ft_error *e);

/* Its exceptions that speak against a claim, as findings. */
struct judge_span judge_weeks_against(struct judging *j, enum ft_claim_id id);

/* How such a claim stands where none does, why (NULL: nothing is told of it), and what to do (NULL: as the table of
 * claims asks). */
enum ft_stands judge_weeks_say(const struct judging *j, enum ft_claim_id id, const char **ret_because,
                               const char **ret_todo);

/* Decides one claim whose words and waiver are filled in (claims.c). */
void judge_claim(struct judging *j, struct ft_claim_state *c);

#endif
