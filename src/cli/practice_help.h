/* SPDX-License-Identifier: Apache-2.0 */
/* The lists that the help of fettle practice ends with. */
#ifndef FETTLE_CLI_PRACTICE_HELP_H
#define FETTLE_CLI_PRACTICE_HELP_H

#include "cli.h"

bool practice_row(size_t nth, struct cli_row *ret);

#endif
