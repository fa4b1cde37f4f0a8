/* SPDX-License-Identifier: Apache-2.0 */
/* One proof on its way, for the files that add to it. */
#ifndef FETTLE_SRC_LEDGER_PROVER_H
#define FETTLE_SRC_LEDGER_PROVER_H

#include "plan.h"

struct prover {
	const struct ft_read *before, *after;
	const struct ft_prove_input *in;  /* the sales of the account that took the list's place, where one did */
	const struct ft_account *primary; /* that account; NULL: a person's list, or nothing */
	struct pair pair;
	struct plan plan;
	struct ft_arena *arena;
	struct ft_findings *findings;
	struct ft_proof *proof;
	struct ft_error *error;
	size_t room;
};

const char *prover_money(const struct prover *v, int64_t m);
void prover_counter(struct prover *v, struct ft_counter c);
void prover_witness(struct prover *v, const char *name, const char *says, int agrees);
const char *prover_sales_text(const struct prover *v, const struct plan *p, bool cash_unseen); /* "3 paid sales, ..." */

/* What the account that stands for the list cannot see, and what can be checked all the same. */
void accounts_primary(struct prover *v);
/* The cash that each account saw move, against the counters of cash. */
void accounts_cash(struct prover *v);
/* Every further account: against the list, sale by sale, and against the audits; adds its witness. `list_right`: the
 * list agrees with the audits, 1 yes, 0 no, -1 cannot tell. */
void accounts_further(struct prover *v, int list_right);

#endif
