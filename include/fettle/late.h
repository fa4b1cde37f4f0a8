/* SPDX-License-Identifier: Apache-2.0 */
/* Parts of the program that are loaded when they are first asked for: what they bring with them would otherwise make
 * every command slow to start. A part lies beside the program and nowhere else: where it was installed with it, or in
 * the tree it was built in. */
#ifndef FETTLE_LATE_H
#define FETTLE_LATE_H

#include "fettle/error.h"

/* The symbol `symbol` of the part `name` ("fettle-sheets"), which was built in the folder src/`room`. The symbol begins
 * with an int, which must be `version`: a stale part is refused and not run. It stays until the program ends. NULL
 * with a sentence, FT_E_INTERNAL, in which `what` names the part ("draws sheets"). */
const void *ft_late(const char *name, const char *room, const char *symbol, int version, const char *what,
                    struct ft_error *e);

#endif
