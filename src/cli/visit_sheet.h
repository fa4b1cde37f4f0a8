/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_CLI_VISIT_SHEET_H
#define FETTLE_CLI_VISIT_SHEET_H

#include "cli.h"

/* fettle visit sheet: the wiring sheet of a visit. Returns the exit code. */
int visit_sheet(struct cli *c);

#endif
