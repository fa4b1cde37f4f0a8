/* SPDX-License-Identifier: Apache-2.0 */
/* The table of commands: one row feeds dispatch, help and the man page. */
#include "verbs.h"

const struct cli_verb *const cli_verbs[] = {
	&verb_explain,
	&verb_check,
	&verb_visit,
	&verb_book,
	&verb_handover,
#ifdef FT_WITH_PRACTICE
	&verb_practice,
#endif
#ifdef FT_WITH_LEDGER
	&verb_compare,
	&verb_prove,
#endif
	&verb_rules,
	NULL,
};
