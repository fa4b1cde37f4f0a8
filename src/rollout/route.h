/* SPDX-License-Identifier: Apache-2.0 */
/* Shared by the files that seek a plan. */
#ifndef FETTLE_SRC_ROLLOUT_ROUTE_H
#define FETTLE_SRC_ROLLOUT_ROUTE_H

#include <math.h>

#include "fettle/random.h"
#include "fettle/rollout.h"

/* The stops of one shift as a chain. */
struct tour {
	int first, last, count; /* -1, -1, 0: not used */
	int64_t metres;
	int64_t load;
	double variance; /* of the work, s^2 */
	int32_t end;     /* latest arrival at its end that the cushion allows */
};

/* One plan under work. Arrays by stop; route -1: absent, and then nothing else holds. */
struct state {
	int32_t *next, *prev, *route;
	int32_t *early, *late; /* earliest start of work; latest that leaves the rest of the tour possible */
	struct tour *tours;
	int64_t cost;
};

/* Stops that can only move together: one, or a group. */
struct unit {
	const int *members;
	int count;
};

struct ft_route_search {
	const struct ft_route_problem *p;
	struct ft_arena *arena;
	struct ft_random random;
	struct state now, best, spare;
	struct unit *units;
	int unit_count;
	int *unit_of; /* by stop */
	int *near;    /* stop x near_count: other stops, nearest first */
	int near_count;
	int32_t *last_start; /* by stop: work must begin by then */
	bool symmetric;      /* metres are the same both ways */
	int64_t done;        /* steps so far */
	double hot;          /* first temperature, metres */
	int *order;          /* scratch: units or stops in some order */
	double *key;
	int32_t *seen;   /* scratch: by shift */
	int64_t *prices; /* scratch: unit x shift */
	int *seq_a, *seq_b, *new_a, *new_b;
	int *turn;        /* by stop: its turn in the earlier plan, -1: none */
	int64_t polished; /* cost of `best` when it was last polished */
	struct {
		int64_t cost, metres;
		size_t unserved;
	} first[FT_ROUTE_METHODS];
};

/* Where a stop may go. */
struct spot {
	int tour, after; /* after -1: at the head */
	int64_t cost;    /* INT64_MAX: nowhere */
};

static inline int32_t route_metres(const struct ft_route_problem *p, int from, int to)
{
	return p->metres[(size_t)from * p->place_count + (size_t)to];
}

static inline int32_t route_seconds(const struct ft_route_problem *p, int from, int to)
{
	return p->seconds[(size_t)from * p->place_count + (size_t)to];
}

static inline bool route_barred(const struct ft_route_problem *p, int stop, int shift)
{
	return p->bars && p->bars[(size_t)stop * p->shift_count + (size_t)shift] != FT_BAR_NONE;
}

static inline int64_t route_being(const struct ft_route_problem *p, int stop, int shift)
{
	return p->costs ? p->costs[(size_t)stop * p->shift_count + (size_t)shift] : 0;
}

/* Seconds to be kept free at the end of a tour. */
static inline int32_t route_margin(const struct ft_route_problem *p, double variance)
{
	return variance > 0 && p->cushion > 0 ? (int32_t)ceil(p->cushion * sqrt(variance)) : 0;
}

/* Work at this stop must begin by then. */
int32_t route_last_start(const struct ft_route_stop *s);

/* ---- state ---- */

bool state_new(const struct ft_route_problem *p, struct ft_arena *a, struct state *ret);
void state_clear(const struct ft_route_search *s, struct state *x); /* every stop absent */
void state_copy(const struct ft_route_search *s, struct state *to, const struct state *from);

/* Cheapest place of a stop on one shift; `blink` skips one place in a hundred by chance (NULL: none). Cost beside the
 * stop's own weight. Leaves *best alone where nothing is cheaper. */
void state_spot(const struct ft_route_search *s, const struct state *x, int stop, int tour, struct ft_random *blink,
                struct spot *best);
void state_insert(const struct ft_route_search *s, struct state *x, int stop, int tour, int after);
void state_remove(const struct ft_route_search *s, struct state *x, int stop);

/* Puts a whole unit where it is cheapest on that shift; gives the cost added, INT64_MAX (and no change) when it does
 * not fit. */
int64_t state_place_unit(const struct ft_route_search *s, struct state *x, const struct unit *u, int tour,
                         struct ft_random *blink);
void state_remove_unit(const struct ft_route_search *s, struct state *x, const struct unit *u);

/* What putting the unit there would cost, and nothing else; INT64_MAX: it does not fit. */
int64_t state_try_unit(const struct ft_route_search *s, struct state *x, const struct unit *u, int tour);

/* Replaces the stops of a tour. They must fit: see route_walk. */
void state_set_tour(const struct ft_route_search *s, struct state *x, int tour, const int *stops, int count);

/* Metres of these stops in this order on this shift, or -1 when they do not fit. */
int64_t route_walk(const struct ft_route_search *s, int tour, const int *stops, int count);

/* ---- search ---- */

/* Numbers by their key, smallest first, ties by number. */
void route_sort(const double *key, int *order, int count);

void route_first_plan(struct ft_route_search *s, struct state *x, enum ft_route_method m, const double *angles);
void route_polish(struct ft_route_search *s, struct state *x);
void route_keep_order(const struct ft_route_search *s,
                      struct state *x); /* of the earlier plan, where it costs nothing */
void route_bar_of(const struct ft_route_search *s, int stop, enum ft_bar *ret);

#endif
