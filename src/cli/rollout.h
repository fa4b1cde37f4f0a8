/* SPDX-License-Identifier: Apache-2.0 */
/* The parts of the command rollout. */
#ifndef FETTLE_CLI_ROLLOUT_H
#define FETTLE_CLI_ROLLOUT_H

#include "cli.h"
#include "fettle/paper_rollout.h"
#include "survey.h"

struct rollout {
	struct cli *c;
	struct survey_run survey; /* with --catalogue */
	struct ft_fleet fleet;
	struct ft_fleet_terms terms;
	struct ft_fleet_problem problem;
	struct ft_route_search *search;
	struct ft_rollout told;
	struct ft_findings findings;
	struct {
		int64_t cost;
		double km;
		size_t left_out;
	} methods[FT_ROUTE_METHODS];
	int64_t seed, steps, steps_done;
	bool by_clock;              /* the clock ended the search, so another run may give another plan */
	size_t promise_gone;        /* lines of the earlier plan whose machine or technician is not in the tables */
	size_t opened, open_before; /* visits in the book */
	size_t handed_on;           /* of those open before: visits that are another technician's now */
	const char *handed_on_text; /* "BD-1197 to Jorin Vale (was Tilda Moss)" and so on, NULL: none */
	bool opening;
	const char *folder; /* of -o, or NULL */
	size_t file_count;
};

bool rollout_write_files(struct rollout *r); /* -o DIR; c->error on failure */
bool rollout_open_visits(struct rollout *r); /* --open */
/* "Jorin Vale, 2026-11-30 as promised", in the arena; NULL: the machine was not promised. */
const char *rollout_promise(const struct rollout *r, int machine);
bool rollout_plan_text(struct cli *c, struct ft_slice bytes, struct ft_slice *ret); /* plan.json to lines of days.csv */
int rollout_print(struct rollout *r);
int rollout_document(struct rollout *r);

#endif
