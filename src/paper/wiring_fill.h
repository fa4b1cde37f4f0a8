/* SPDX-License-Identifier: Apache-2.0 */
/* Filling the wiring sheet: what is known, and the order of work that follows from it. */
#ifndef FETTLE_SRC_PAPER_WIRING_FILL_H
#define FETTLE_SRC_PAPER_WIRING_FILL_H

#include "fettle/survey.h"
#include "fettle/wiring.h"

struct filling {
	const struct ft_visit *v;
	const struct ft_catalogue *c;    /* NULL: none */
	const struct ft_survey_row *row; /* NULL: the machine was not surveyed */
	const struct ft_family *family;  /* NULL: not known */
	const struct ft_unit *unit;      /* NULL: not known */
	struct ft_arena *a;
	struct ft_wiring *w;
	struct ft_survey_lead lead; /* as the survey chooses it, by the level of the visit where there is one */
	bool lead_asked;            /* it was asked: unit and way are known */
	int at[FT_THINGS];          /* the first thing of a kind; -1 */
};

const char *fill_text(struct filling *f, struct ft_slice s); /* NULL where it is unknown */
bool fill_is(struct ft_slice s, const char *word);           /* whatever the case */
struct ft_slice fill_connector(const struct filling *f);     /* the kind of the audit connector; n == 0: not known */
enum ft_status fill_signal(struct filling *f, struct ft_error *e);
void fill_steps(struct filling *f);

#endif
