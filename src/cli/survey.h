/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_CLI_SURVEY_H
#define FETTLE_CLI_SURVEY_H

#include "cli.h"
#include "fettle/survey.h"
#include "reads.h"

/* A question at one machine, in the order of what its answer is worth over the whole file. */
struct survey_question {
	const struct ft_survey_machine *machine;
	struct ft_survey_question *question;
	size_t rank; /* from 1 */
};

struct survey_run {
	struct cli *c;
	const char *name; /* of the survey's file */
	struct ft_catalogue catalogue;
	struct ft_survey_priors priors;
	struct ft_survey *survey;
	struct ft_survey_machine *machines; /* those that were asked for */
	size_t count;
	struct survey_question *questions; /* best first */
	size_t question_count;
	const char *record; /* file that the record was written to, or NULL */
};

/* Reads the folder and the survey that the command line names, and judges it. d->c must be set; d->c->error tells. */
enum ft_status survey_gather(struct survey_run *d, const char *folder);

/* For people, and as documents, one line a machine; both return the exit code. */
int survey_print(struct survey_run *d);
int survey_documents(struct survey_run *d);

#endif
