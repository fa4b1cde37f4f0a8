/* SPDX-License-Identifier: Apache-2.0 */
/* The table of commands: one row feeds dispatch, help and the man page. */
#include "verbs.h"

const struct cli_verb *const cli_verbs[] = {
	&verb_read,     &verb_ports,   &verb_explain,  &verb_check,  &verb_compare, &verb_prove,  &verb_bus,  &verb_visit,
	&verb_handover, &verb_book,    &verb_practice, &verb_survey, &verb_supply,  &verb_signal, &verb_door, &verb_number,
	&verb_cold,     &verb_rollout, &verb_bench,    &verb_watch,  &verb_rules,   NULL,
};
