/* SPDX-License-Identifier: Apache-2.0 */
/* A capture file that is written while the practice machine speaks: memory does not grow with it. */
#ifndef FETTLE_CLI_BUS_TAP_H
#define FETTLE_CLI_BUS_TAP_H

#include "cli.h"
#include "fettle/practice.h"

struct bus_tap;

/* By its ending: .vcd (value change dump), .words (our words text) or .sr (session file, version 2). Writes
 * over what is there. FT_E_USAGE on another ending, FT_E_STORE when it cannot be written. */
enum ft_status bus_tap_open(struct cli *c, const char *path, struct bus_tap **ret);
struct ft_practice_tap bus_tap_listener(struct bus_tap *t);
/* What writing has come to so far; the first failure stays. */
enum ft_status bus_tap_status(const struct bus_tap *t, struct ft_error *e);
/* Ends the file at `end_ns`. NULL is fine. */
enum ft_status bus_tap_close(struct bus_tap *t, int64_t end_ns, struct ft_error *e);

#endif
