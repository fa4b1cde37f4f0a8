/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_CLI_DOOR_H
#define FETTLE_CLI_DOOR_H

#include "cli.h"

/* Makes marks until q or the end of input: one key on a terminal, one line elsewhere. Returns the exit code. */
int door_mark(struct cli *c, const char *path);

#endif
