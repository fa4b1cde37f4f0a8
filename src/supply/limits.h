/* SPDX-License-Identifier: Apache-2.0 */
/* The limits of data/supply-limits.csv, in the units named there. */
#ifndef FETTLE_SUPPLY_LIMITS_H
#define FETTLE_SUPPLY_LIMITS_H

enum supply_limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "supply-limits.inc"
#undef ROW
};

#endif
