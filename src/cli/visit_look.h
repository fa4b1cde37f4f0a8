/* SPDX-License-Identifier: Apache-2.0 */
/* How a visit looks on a terminal: the path of six stages, what is contradicted first, one next step. */
#ifndef FETTLE_CLI_VISIT_LOOK_H
#define FETTLE_CLI_VISIT_LOOK_H

#include "cli.h"
#include "fettle/visit.h"

enum visit_look {
	VISIT_SHORT, /* the path and what is contradicted */
	VISIT_USUAL, /* also what is open or waived */
	VISIT_ALL,   /* every claim with what it rests on */
};

void visit_look(const struct cli *c, struct ft_buf *out, const struct ft_visit *v, const struct ft_judgement *g,
                enum visit_look look);
/* How a visit of a list stands, where that was asked. */
struct visit_row {
	bool judged;
	enum ft_verdict verdict;
	size_t stands[FT_STANDS_COUNT]; /* open: due at closing */
};
/* A row for each visit. */
void visit_list(const struct cli *c, struct ft_buf *out, const struct ft_visit *list, const struct visit_row *rows,
                size_t count);
void visit_row_json(struct ft_json *j, const struct ft_visit *v, const struct visit_row *row);

#endif
