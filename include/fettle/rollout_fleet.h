/* SPDX-License-Identifier: Apache-2.0 */
/* A fleet to be fitted as people write it down, the problem it makes, and the plan in its words: who is where when,
 * what is in the van, what must be bought. Pure; texts point into the bytes that were read or into the arena. Days are
 * counted from 1970-01-01, hours are minutes of the day. docs/rollout.md has the columns. */
#ifndef FETTLE_ROLLOUT_FLEET_H
#define FETTLE_ROLLOUT_FLEET_H

#include "fettle/csv.h"
#include "fettle/rollout.h"
#include "fettle/survey.h"

enum {
	FT_DAYS_ALL = 127,
	FT_KIT_MAX = 64,
	FT_PLAN_DAYS_MAX = 366,
	FT_FLEET_PARTS_MAX = 10000, /* ours: kinds of parts in the kits and their table */
};

/* One machine to be visited. */
struct ft_fleet_machine {
	struct ft_slice asset, site, address;
	double latitude, longitude;    /* degrees; NAN where a matrix of distances names the machine */
	double minutes, spread;        /* on site, and its standard deviation */
	int opens, closes;             /* of the site */
	unsigned days;                 /* bit 0 Monday to bit 6 Sunday */
	double priority;               /* 0 to 9, higher is sooner */
	struct ft_slice together;      /* machines with the same word: same technician, same day */
	struct ft_slice skills;        /* words with blanks or semicolons between */
	const struct ft_van_need *kit; /* parts by their number in ft_fleet.parts */
	size_t kit_count;
	unsigned line;
};

struct ft_fleet_technician {
	struct ft_slice name;
	double latitude, longitude;
	int opens, closes;
	unsigned days;
	struct ft_slice skills;
	int64_t from, until; /* first and last day of work; INT64_MIN, INT64_MAX: any */
	unsigned line;
};

struct ft_fleet_part {
	struct ft_slice part, name;
	double price, weight_g; /* 0: unknown */
	int stock;              /* on hand; -1: not counted */
	int64_t arrives;        /* day of the next delivery; INT64_MAX: none is known */
	unsigned line;          /* 0: no table names it */
};

struct ft_fleet {
	struct ft_fleet_machine *machines;
	size_t machine_count;
	struct ft_fleet_technician *technicians;
	size_t technician_count;
	struct ft_fleet_part *parts;
	size_t part_count, part_room;
	/* Distances by a table: (machines, then technicians) squared, km; NULL: great circles. */
	const double *km;
};

/* Tables: machines (asset, latitude, longitude, minutes, spread, opens, closes, days, priority, together, skills, kit),
 * technicians (technician, latitude, longitude, begins, ends, days, skills, from, until), parts (part, name, price,
 * weight, stock, arrives), and a square table of distances in km or a list of them (from, to, km). FT_E_INPUT names
 * line and column. */
enum ft_status ft_fleet_machines(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                 struct ft_error *e);
enum ft_status ft_fleet_technicians(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                    struct ft_error *e);
enum ft_status ft_fleet_parts(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                              struct ft_error *e);
enum ft_status ft_fleet_distances(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                  struct ft_error *e);

/* The machines of a judged survey that can be fitted (neither cannot nor look-first), with kits, minutes and spread
 * from there, and the technicians and stock of its catalogue. */
enum ft_status ft_fleet_survey(const struct ft_catalogue *c, const struct ft_survey_machine *judged, size_t count,
                               struct ft_arena *a, struct ft_fleet *f, struct ft_error *e);

/* A table of each kind to write over. */
void ft_fleet_template(const char *which, struct ft_buf *out); /* "machines", "technicians", "parts" */

int ft_fleet_machine_of(const struct ft_fleet *f, struct ft_slice asset); /* -1: none */
int ft_fleet_technician_of(const struct ft_fleet *f, struct ft_slice name);
/* The number of a part, added where no table names it; -1 without memory. */
int ft_fleet_part_of(struct ft_fleet *f, struct ft_slice part, struct ft_arena *a);

bool ft_fleet_date(struct ft_slice s, int64_t *ret_day); /* 2026-11-30 */
bool ft_fleet_hour(struct ft_slice s, int *ret_minutes); /* 07:30, 24:00 */

#define FT_DATE_TEXT 16
char *ft_fleet_date_text(int64_t day, char out[FT_DATE_TEXT]);

/* ---- what was promised and what changed ---- */

/* A line of an earlier plan, or what is asked for in its place. */
struct ft_promise {
	int machine, technician;
	int64_t day;
	int order;          /* within its day */
	int leave;          /* minute it was to end, or -1 */
	int was_technician; /* whom the earlier plan named, before another was asked for; -1: nobody */
	int64_t was_day;
	int was_start, was_leave; /* minutes told to the site, or -1 */
};

/* Reads days.csv back. Lines whose machine or technician is gone are passed over and counted in *ret_gone. */
enum ft_status ft_fleet_promises(struct ft_slice csv, const char *what, const struct ft_fleet *f, struct ft_arena *a,
                                 struct ft_promise **ret, size_t *ret_count, size_t *ret_gone, struct ft_error *e);

struct ft_absence {
	int technician;
	int64_t day; /* INT64_MIN: on every day */
};

struct ft_fleet_terms {
	int64_t first_day;
	int days;            /* calendar days that are looked at */
	double road;         /* metres of road for one of the great circle; common practice 1.2 to 1.4 (from memory) */
	double kmh;          /* mean speed */
	double stop_minutes; /* parking and walking at each site that is not the last one's */
	double cushion;      /* standard deviations kept free at the end of a day */
	bool on_hand;        /* parts that are not there and have no date of arrival bar a machine that surely needs them */
	int at;              /* minute of the first day from which is planned, -1: its beginning; see ft_fleet_at */
	const int *at_of;    /* by technician, before `at`; -1 for those not named; NULL: nobody is */
	const bool *done;    /* by machine; NULL: none */
	const bool *not_first; /* by machine: cannot be reached on the first day */
	const struct ft_absence *absences;
	size_t absence_count;
	const struct ft_promise *promises;
	size_t promise_count;
};

/* From which minute of the first day a technician is planned: the own one, else ->at. Where something is said of the
 * first day of some technicians, ->at goes for them alone, and the others keep the morning that was promised. */
int ft_fleet_at(const struct ft_fleet_terms *t, int technician);

/* The problem with the keys back to the fleet. */
struct ft_fleet_problem {
	struct ft_route_problem problem;
	int *machine;    /* by stop */
	int *technician; /* by shift */
	int64_t *day;    /* by shift */
	double *angles;  /* by place */
	int *promised;   /* by stop: shift it was promised for, -1: none, -2: a day that is not in the plan any more */
	struct ft_promise *promise; /* by stop: what was promised or asked for; ->machine -1: nothing */
	size_t done;                /* machines left out since they are done */
};

/* FT_E_INPUT where nobody works in these days or a place is not known. */
enum ft_status ft_fleet_make(const struct ft_fleet *f, const struct ft_fleet_terms *t, struct ft_arena *a,
                             struct ft_fleet_problem *ret, struct ft_error *e);

/* ---- the plan in words ---- */

struct ft_rollout_stop {
	int machine;
	int arrive, start, leave; /* minutes of the day, arrivals rounded up, so that nobody comes too early */
	double km;                /* from the stop before */
	bool moved;               /* was promised for another day or technician */
	bool asked;               /* moved as it was asked for */
	bool other_hour;          /* not moved, but more than FT_HOUR_KEPT away from was_start */
	int was_start;            /* minute promised by the earlier plan, -1: none */
};

enum { FT_HOUR_KEPT = 60 }; /* minutes; ours: a site is told an hour, so what shifts by more must be told anew */

struct ft_rollout_day {
	int technician;
	int64_t day;
	struct ft_rollout_stop *stops;
	size_t count;
	int leave, back;
	double km, back_km, late_risk;
	int filling; /* of the van, index */
};

/* One filling of one van: from a day to the last before the next. */
struct ft_rollout_filling {
	int technician;
	int64_t from, until;
	struct ft_van van; /* loads by part */
};

struct ft_rollout_buy {
	int part;
	int needed, stock, buy; /* stock -1: not counted, then buy is needed */
	int64_t by;             /* day */
};

/* A visit of the earlier plan that its technician does not make any more: another goes, or nobody. */
struct ft_rollout_gone {
	int machine, technician;
	int64_t day;
	int start, leave; /* minutes it was promised for, -1: not known */
};

struct ft_rollout {
	const struct ft_fleet *fleet;
	struct ft_rollout_day *days;
	size_t day_count;
	struct {
		int machine;
		enum ft_bar why;
	} * unserved;
	size_t unserved_count;
	struct ft_rollout_filling *fillings;
	size_t filling_count;
	struct ft_rollout_buy *buys; /* parts that any machine may need */
	size_t buy_count;
	double km, bound_km;
	int bound_routes;
	double risk_asked, risk_worst; /* of a filling; worst as bound */
	size_t promised, kept, moved;  /* stops that an earlier plan had and that are not done */
	size_t other_hour;             /* of those kept */
	struct ft_rollout_gone *gone;  /* in the order of the machines; those done are none */
	size_t gone_count;
	size_t done;
};

/* Days, loads and the buying list of a plan. `every` is the number of days between two fillings, 0: one for all. */
enum ft_status ft_rollout_tell(const struct ft_fleet *f, const struct ft_fleet_problem *p,
                               const struct ft_route_plan *plan, double risk, int every, struct ft_arena *a,
                               struct ft_rollout *ret, struct ft_error *e);

#endif
