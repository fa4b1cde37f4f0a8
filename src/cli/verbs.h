/* SPDX-License-Identifier: Apache-2.0 */
/* Every command of the program, each defined in its own file. */
#ifndef FETTLE_CLI_VERBS_H
#define FETTLE_CLI_VERBS_H

#include "cli.h"

extern const struct cli_verb verb_check;
extern const struct cli_verb verb_explain;
extern const struct cli_verb verb_handover;
extern const struct cli_verb verb_practice;
extern const struct cli_verb verb_compare;
extern const struct cli_verb verb_prove;
extern const struct cli_verb verb_visit;
extern const struct cli_verb verb_bus;
extern const struct cli_verb verb_bench;
extern const struct cli_verb verb_book;
extern const struct cli_verb verb_ports;
extern const struct cli_verb verb_read;
extern const struct cli_verb verb_door;
extern const struct cli_verb verb_signal;
extern const struct cli_verb verb_supply;
extern const struct cli_verb verb_survey;
extern const struct cli_verb verb_cold;
extern const struct cli_verb verb_number;
extern const struct cli_verb verb_rollout;
extern const struct cli_verb verb_rules;
extern const struct cli_verb verb_watch;

#endif
