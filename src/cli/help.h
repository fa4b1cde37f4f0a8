/* SPDX-License-Identifier: Apache-2.0 */
/* Help page, help of a command and man page, all from the table of commands. */
#ifndef FETTLE_CLI_HELP_H
#define FETTLE_CLI_HELP_H

#include "cli.h"

int help_page(FILE *to, int code);
int help_verb(const struct cli_verb *v, FILE *to);
int help_command(int argc, char **argv); /* fettle help [COMMAND] [--man] */

#endif
