/* SPDX-License-Identifier: Apache-2.0 */
/* Who visits which machines on which day and in what order, and what must be in the van.
 *
 * Pure: no clock, no file. Whoever calls brings the steps and the seed; the same problem, seed and steps give the
 * same plan on every machine. docs/rollout.md tells how. */
#ifndef FETTLE_ROLLOUT_H
#define FETTLE_ROLLOUT_H

#include "fettle/arena.h"
#include "fettle/error.h"

/* ---- distances ---- */

#define FT_EARTH_KM 6371.0088 /* mean radius, IUGG; the sphere errs up to about 0.5 % (from memory) */

/* Great circle between two points in degrees, by the haversine, in the unit of the radius. */
double ft_great_circle(double lat1, double lon1, double lat2, double lon2, double radius);

/* ---- the problem ---- */

enum {
	FT_ROUTE_STOPS_MAX = 3000,  /* ours: a matrix of distances of 36 MB */
	FT_ROUTE_SHIFTS_MAX = 1000, /* ours: twenty technicians for ten weeks */
	FT_ROUTE_GROUP_MAX = 64,    /* ours: machines that belong together */
	FT_ROUTE_DAY_S = 86400,
};

/* Why a stop cannot be on a shift whatever else happens; FT_BAR_NONE: it can. */
enum ft_bar {
	FT_BAR_NONE,
	FT_BAR_SKILL,  /* the technician cannot do it */
	FT_BAR_CLOSED, /* the site is closed that day */
	FT_BAR_PART,   /* a part that is surely needed is not there yet */
	FT_BAR_AWAY,   /* the technician is not there */
	FT_BAR_NOT,    /* the machine cannot be reached that day */
	FT_BAR_HOURS,  /* hours of site and technician leave no time for it; found by the engine */
	FT_BAR_GROUP,  /* what belongs together does not fit into one day; found by the engine */
	FT_BAR_ROOM,   /* the days are full; found by the engine */
	FT_BAR_COUNT
};

const char *ft_bar_sentence(enum ft_bar b); /* "no technician there has the skill"; NULL for FT_BAR_NONE */

/* Times are seconds of the day, distances metres (or any other whole unit, the same everywhere). */
struct ft_route_stop {
	int place;                 /* row of the matrices */
	int32_t service_s;         /* on site */
	int32_t spread_s;          /* standard deviation of it; 0: none */
	int32_t opens_s, closes_s; /* work must begin within, both included */
	bool done_by_close;        /* work must also end by closes_s */
	int32_t load;              /* of the van's capacity */
	int group;                 /* the same number: same shift; -1: none */
	int64_t weight;            /* what leaving it out costs, in metres */
};

/* One technician on one day. */
struct ft_route_shift {
	int from, to;              /* places where it begins and ends */
	int32_t opens_s, closes_s; /* leaves not before, is back not after */
	int32_t capacity;          /* of the van; INT32_MAX: none */
	int32_t use_m;             /* what using it at all costs */
};

/* A visit of an earlier plan. */
struct ft_route_promise {
	int stop, shift;
};

struct ft_route_problem {
	const struct ft_route_stop *stops;
	size_t stop_count;
	const struct ft_route_shift *shifts;
	size_t shift_count;
	size_t place_count;
	const int32_t *metres, *seconds; /* place_count x place_count, row: from */
	const uint8_t *bars;             /* stop x shift, enum ft_bar; NULL: none */
	const int32_t *costs;            /* stop x shift, metres it costs to be there (late, promised elsewhere); NULL */
	double cushion; /* the day must still end in time when the work takes so many standard deviations longer */
	const struct ft_route_promise
		*earlier; /* in the order of the visits, which is kept where it is no longer; or NULL */
	size_t earlier_count;
};

/* ---- the plan ---- */

struct ft_route_visit {
	int stop;
	int32_t arrive_s, start_s, leave_s;
	int32_t travel_s, travel_m; /* from the stop before it, or from home */
};

struct ft_route_day {
	int shift;
	struct ft_route_visit *visits;
	size_t count;
	int32_t leave_s, back_s; /* from where it begins, and there where it ends */
	int32_t back_m;          /* of the way home */
	int64_t metres;          /* of the whole day */
	double late_risk;        /* chance of being back too late, work normally distributed; 0 without spreads */
};

struct ft_route_plan {
	struct ft_route_day *days; /* shifts that are used, in their order */
	size_t day_count;
	int *unserved; /* stops, in order, with the reason beside each */
	enum ft_bar *why;
	size_t unserved_count;
	int64_t metres; /* travelled in all */
	int64_t cost;   /* metres, and what is left out, late, moved */
};

enum ft_route_method {
	FT_ROUTE_NEAREST,  /* nearest neighbour: on to the nearest stop that still fits */
	FT_ROUTE_SWEEP,    /* by the angle around the homes, one shift after the other */
	FT_ROUTE_CHEAPEST, /* cheapest insertion */
	FT_ROUTE_REGRET,   /* the stop whose second choice is dearest comes first */
	FT_ROUTE_METHODS
};

const char *ft_route_method_word(enum ft_route_method m);

struct ft_route_search;

/* Looks the problem over and makes four first plans. `angles` (may be NULL: by place number) has the angle of each
 * place for the sweep. The search lives in the arena and borrows the problem. FT_E_INPUT when the problem cannot be. */
enum ft_status ft_route_begin(const struct ft_route_problem *p, const double *angles, uint64_t seed, struct ft_arena *a,
                              struct ft_route_search **ret, struct ft_error *e);

/* Cost and metres of one of the first plans. */
void ft_route_first(const struct ft_route_search *s, enum ft_route_method m, int64_t *ret_cost, int64_t *ret_metres,
                    size_t *ret_unserved);

/* Goes on for `steps` of `all` steps (which set how fast the search cools). Calling with the steps in portions
 * gives what one call gives; whoever has a clock looks at it between portions. */
void ft_route_improve(struct ft_route_search *s, int64_t steps, int64_t all);

/* The best plan so far, with its times. */
enum ft_status ft_route_plan(const struct ft_route_search *s, struct ft_arena *a, struct ft_route_plan *ret,
                             struct ft_error *e);
int64_t ft_route_cost(const struct ft_route_search *s);

/* Reckons a plan anew from the problem alone, sharing nothing with the search: NULL when every stop is there at most
 * once, windows, hours, capacity, bars and groups hold and the metres are right; else a sentence in the arena. */
const char *ft_route_wrong(const struct ft_route_problem *p, const struct ft_route_plan *plan, struct ft_arena *a);

/* No plan that visits `plan`'s stops with these shifts is shorter than this many metres. A forest of n - K edges and 2K
 * edges home, each stop drawn towards two edges by multipliers (Held and Karp's ascent; with one shift it is their
 * 1-tree), for the least K that hours, van and windows allow. `ret_routes` (may be NULL) is that K. */
enum ft_status ft_route_bound(const struct ft_route_problem *p, const struct ft_route_plan *plan, int rounds,
                              struct ft_arena *a, int64_t *ret_metres, int *ret_routes, struct ft_error *e);

/* ---- the van ---- */

/* One part that a stop may need. */
struct ft_van_need {
	int part;
	double p;  /* chance that it is needed, 0 to 1 */
	int count; /* how many then; 1 or more */
};

struct ft_van_part {
	double price;    /* of one; 0: unknown */
	double weight_g; /* of one; 0: unknown */
	int most;        /* how many fit, or are on hand; -1: any number */
};

/* What to carry of one part between two fillings of the van. */
struct ft_van_load {
	double expected; /* mean demand */
	int carry;
	int surely;  /* demand that is certain; never carried less */
	int most;    /* demand that is possible at all */
	double risk; /* that demand is above carry */
	double next; /* what the risk would be with one more */
};

/* One more of a part and what it bought. */
struct ft_van_step {
	int part;
	int carry;            /* of this part from here on */
	double before, after; /* risk that anything is missing */
};

struct ft_van {
	struct ft_van_load *loads; /* as the parts */
	size_t part_count;
	double risk;               /* that anything is missing, parts taken as independent: exact given that */
	double bound;              /* the sum of the parts' risks: holds however they hang together */
	struct ft_van_step *steps; /* every part beyond what is certain, in the order it was bought */
	size_t step_count;
	bool met; /* `bound` is at most what was asked */
};

/* Distribution of the number needed: chances[k] for k of 0 to *ret_most, exact, by adding one stop after the other
 * (Poisson-binomial where every count is 1). */
enum ft_status ft_van_demand(const struct ft_van_need *needs, size_t count, struct ft_arena *a, double **ret_chances,
                             int *ret_most, struct ft_error *e);

/* Least load whose risk of missing anything is at most `risk`, greedily: the next part is the one that takes most risk
 * away for its price (weight where no price is known; each counts the same where neither is). */
enum ft_status ft_van_fill(const struct ft_van_part *parts, size_t part_count, const struct ft_van_need *needs,
                           size_t need_count, double risk, struct ft_arena *a, struct ft_van *ret, struct ft_error *e);

#endif
