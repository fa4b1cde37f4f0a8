/* SPDX-License-Identifier: Apache-2.0 */
/* Filling the wiring sheet: what is known, and the order of work that follows from it. */
#ifndef FETTLE_SRC_PAPER_WIRING_FILL_H
#define FETTLE_SRC_PAPER_WIRING_FILL_H

#include "fettle/signal.h"
#include "fettle/wiring.h"

struct filling {
	const struct ft_visit *v;
	const struct ft_catalogue *c;    /* NULL: none */
	const struct ft_survey_row *row; /* NULL: the machine was not surveyed */
	const struct ft_family *family;  /* NULL: not known */
	const struct ft_unit *unit;      /* NULL: not known */
	struct ft_arena *a;
	struct ft_wiring *w;
	const struct ft_lead *lead;   /* the one that was chosen */
	struct ft_signal_lead judged; /* and what becomes of it */
	bool lead_known;
	int at[FT_THINGS]; /* the first thing of a kind; -1 */
};

const char *fill_text(struct filling *f, struct ft_slice s); /* NULL where it is unknown */
bool fill_is(struct ft_slice s, const char *word);           /* whatever the case */
const struct ft_part_row *fill_part(const struct filling *f, enum ft_purpose purpose, struct ft_slice of);
void fill_signal(struct filling *f);
void fill_steps(struct filling *f);

#endif
