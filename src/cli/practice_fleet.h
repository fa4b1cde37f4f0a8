/* SPDX-License-Identifier: Apache-2.0 */
/* The part of the command practice that makes a fleet instead of serving one machine. */
#ifndef FETTLE_CLI_PRACTICE_FLEET_H
#define FETTLE_CLI_PRACTICE_FLEET_H

#include "cli.h"

int practice_fleet(struct cli *c); /* returns the exit code */

#endif
