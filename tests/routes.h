/* SPDX-License-Identifier: Apache-2.0 */
/* Problems whose answers are published, and problems made from a seed. */
#ifndef FETTLE_TESTS_ROUTES_H
#define FETTLE_TESTS_ROUTES_H

#include "fettle/rollout.h"

/* TSPLIB95 EUC_2D; `tests` is the folder whose routes/ holds the table, here and below. */
struct ft_route_problem routes_berlin52(const char *tests, struct ft_arena *a);
/* TSPLIB95 GEO. */
struct ft_route_problem routes_ulysses22(struct ft_arena *a);
/* "r101": R101.25, "c101": C101.25, in tenths. */
struct ft_route_problem routes_solomon(const char *tests, const char *name, struct ft_arena *a);
/* `stops` machines around `technicians` homes for `days` days, with hours, groups, bars and spreads. */
struct ft_route_problem routes_made(uint64_t seed, int stops, int technicians, int days, struct ft_arena *a);

#endif
