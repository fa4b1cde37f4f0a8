/* SPDX-License-Identifier: Apache-2.0 */
/* Does the cabinet hold its temperature, does the probe tell the truth, and what alarm suits this machine?
 *
 * A log of temperatures is read into samples and marks; what is odd about it is kept beside them. The judgement lays
 * the limit that applies over it, leaves out the time that a service excuses, and looks for the curve of the pull-down,
 * the cycling of the compressor and defrosts. All temperatures are degrees Celsius.
 *
 * Sources: FDA Food Code 2022 (a model code; local code replaces it), EN 12830, IEC 60751; see data/cold-limits.csv,
 * data/sensor-classes.csv, data/sensor-curves.csv. What is our own choice says so. Pure: no clock, no file. */
#ifndef FETTLE_COLD_H
#define FETTLE_COLD_H

#include "fettle/finding.h"

/* ---- what a cabinet must hold ---- */

enum ft_cold_side { FT_COLD_ABOVE = 1, FT_COLD_BELOW = -1 }; /* on which side of the limit food spoils */

struct ft_cold_rule {
	const char *kind; /* cold, hot, frozen */
	enum ft_cold_side side;
	double limit_c;
	int allowance_s;                   /* beyond the limit right after service, filling or restocking */
	int service_max_s;                 /* a door open longer is no service */
	double likely_from_c, likely_to_c; /* what such a cabinet reads in the middle */
	const char *trust, *source;
};

enum ft_cold_kind { FT_COLD_COLD, FT_COLD_HOT, FT_COLD_FROZEN, FT_COLD_KINDS };

void ft_cold_rule_of(enum ft_cold_kind k, struct ft_cold_rule *ret);
bool ft_cold_kind_parse(struct ft_slice word, enum ft_cold_kind *ret);

/* The largest error a class of probes may have at `at_c` ("1", "2", "0.5" of EN 12830; "AA" to "C" of IEC 60751).
 * False on an unknown class. *ret_trust may be NULL. */
bool ft_cold_class(struct ft_slice name, double at_c, double *ret_c, const char **ret_trust);

/* ---- the log ---- */

struct ft_cold_sample {
	int64_t at_us; /* since 1970, or since the log's own beginning: see .elapsed */
	double c;
	unsigned line;
};

enum ft_cold_mark_kind {
	FT_COLD_OPENED,
	FT_COLD_CLOSED,
	FT_COLD_SERVICE, /* serviced, filled or restocked */
	FT_COLD_DEFROST,
	FT_COLD_REFERENCE, /* an independent thermometer read .value */
	FT_COLD_ICE,       /* the probe stood in melting ice and read .value (NaN: what the log says then) */
};

struct ft_cold_mark {
	int64_t at_us;
	enum ft_cold_mark_kind kind;
	double value;
	unsigned line;
};

enum ft_cold_odd_kind {
	FT_COLD_GAP,   /* nothing for .length_us */
	FT_COLD_BACK,  /* the clock went back by .length_us; later times were put right by as much */
	FT_COLD_AHEAD, /* a step of one hour between two readings: a clock put forward, or a gap */
	FT_COLD_STUCK, /* the same reading for .length_us */
};

struct ft_cold_odd {
	enum ft_cold_odd_kind kind;
	int64_t at_us, length_us;
	unsigned line;
};

enum ft_cold_unit { FT_COLD_UNIT_UNKNOWN, FT_COLD_C, FT_COLD_F };
enum ft_cold_told { FT_COLD_TOLD_ASKED, FT_COLD_TOLD_HEADING, FT_COLD_TOLD_VALUES, FT_COLD_TOLD_LIKELY };

struct ft_cold_log {
	struct ft_cold_sample *samples; /* in order of time, no two of one time */
	size_t count;
	struct ft_cold_mark *marks; /* in order of time */
	size_t mark_count;
	struct ft_cold_odd *odds;
	size_t odd_count;
	const char *column;     /* heading of the temperatures, "" without one */
	unsigned columns;       /* how many columns of temperatures there are */
	enum ft_cold_unit unit; /* as written */
	enum ft_cold_told told; /* what told it */
	double resolution_c;    /* the step between readings */
	int64_t step_us;        /* median time between samples */
	size_t rows;            /* with a time, repeats and missing ones included */
	size_t repeats, missing;
	size_t repeats_differ; /* repeats of a time with another reading */
	unsigned missing_line; /* the first */
	size_t spikes;         /* readings left out, since no air leaps so far and back at once */
	unsigned spike_line;   /* the first */
	bool elapsed;          /* counted from an unknown beginning */
	bool ambiguous_days, newest_first;
	int offset_minutes; /* of the first value that names one, else the default */
};

struct ft_cold_read_options {
	enum ft_cold_kind kind; /* to tell C from F where nothing says it */
	enum ft_cold_unit unit; /* FT_COLD_UNIT_UNKNOWN: find out */
	const char *column;     /* heading or number (from 1) of the temperatures; NULL: the first */
	int offset_minutes;     /* of times that name no offset */
};

/* Reads a log: heading or none, an index column, lines before the table, a row of units, date and time apart, decimal
 * comma, several probes, newest first. FT_E_INPUT with the line on impossible values, mixed units, times that are
 * none, and where the unit cannot be told. `what` names the log in messages. */
enum ft_status ft_cold_read(struct ft_slice bytes, const char *what, const struct ft_cold_read_options *o,
                            struct ft_arena *a, struct ft_cold_log *ret, struct ft_error *e);

/* Reads marks from a table of their own (time and words: opened, closed, service, filled, defrost, ice, reference with
 * a value) and adds them to those of the log. A table without a word that is known: FT_E_INPUT. */
enum ft_status ft_cold_marks_read(struct ft_slice bytes, const char *what, int offset_minutes, struct ft_arena *a,
                                  struct ft_cold_log *log, struct ft_error *e);

/* ---- the curve of a pull-down ---- */

/* T(t) = settles + (starts - settles) exp(-t / tau), by least squares that respects residuals which hang together.
 * The intervals are 95 of 100. Times in seconds from `from_us`. */
struct ft_cold_fit {
	bool found;
	size_t from, to;        /* samples, to not included */
	int64_t from_us, to_us; /* after the dead time */
	double dead_s;          /* from the beginning of the fall to from_us */
	double tau_s, tau_lo, tau_hi;
	double settles_c, settles_lo, settles_hi;
	double starts_c;                    /* at from_us */
	double noise_c, rho;                /* of the residuals, and how much one follows the last */
	double span_tau;                    /* how many tau were seen */
	bool settles_known;                 /* at least one tau was seen */
	double reach_s, reach_lo, reach_hi; /* from from_us to the limit; NaN: never, or not known */
	struct ft_cold_curve *curve;        /* for telling values of the curve */
};

/* Fits samples [from, to); no dead time is looked for. False when there are too few or they do not curve. Fails without
 * memory only, as not found. `resolution_c` is the least that the noise can be. */
bool ft_cold_fit(const struct ft_cold_sample *s, size_t from, size_t to, double resolution_c, struct ft_arena *a,
                 struct ft_cold_fit *ret);

/* The curve through three readings at equal steps: for a handful of readings, never instead of a fit, as a tenth of a
 * degree in one of them moves it far. False when they do not bend towards a level. */
bool ft_cold_three(const double c[3], double step_s, double *ret_tau_s, double *ret_settles_c);

/* The curve at `t_s` seconds after from_us, and between what it lies. */
double ft_cold_fit_at(const struct ft_cold_fit *f, double t_s, double *ret_lo, double *ret_hi);

/* When it passes `c`, in seconds; lo and hi NaN where the interval is open. */
double ft_cold_fit_reach(const struct ft_cold_fit *f, double c, double *ret_lo, double *ret_hi);

/* ---- compressor and defrost ---- */

struct ft_cold_cycle {
	size_t cycles;                          /* 0: none recognised */
	double period_s, duty, swing_c, mean_c; /* medians; duty: share of the time that it falls */
	double rise_c_s;                        /* how fast it warms while off, median */
};

struct ft_cold_defrost {
	size_t count; /* 0: none recognised */
	double every_s, peak_c, length_s;
	int64_t first_us;
};

/* ---- an alarm ---- */

struct ft_cold_alarm {
	bool found;
	double threshold_c, delay_s;
	double dead_s, ajar_s; /* from the failure to the alarm; NaN: never below the room's temperature */
	double dead_at_c;      /* what the probe reads when the alarm comes */
	double room_c;         /* assumed */
	double warm_tau_s;     /* of warming */
	bool warm_measured;    /* from this log; else assumed */
	bool ajar_measured;
};

/* Does an alarm with threshold and delay fire on these samples? On readings beyond the threshold (above it for
 * FT_COLD_ABOVE) without a break for at least the delay. *ret_at may be NULL. */
bool ft_cold_alarm_fires(const struct ft_cold_sample *s, size_t n, enum ft_cold_side side, double threshold_c,
                         double delay_s, int64_t *ret_at);

/* ---- the judgement ---- */

struct ft_cold_options {
	enum ft_cold_kind kind;
	double limit_c;       /* NaN: the rule's */
	int allowance_s;      /* after a service; -1: the rule's */
	double guard_c;       /* what the probe may be wrong by; NaN: class 1 */
	double probe_error_c; /* reading minus truth from a check made elsewhere; NaN: none, marks may tell */
	double room_c;        /* NaN: 25 */
	bool food;            /* the probe stood in food, not in air */
	const char *name;     /* of the log, for findings */
	int offset_minutes;   /* for times in sentences */
};

struct ft_cold_result {
	struct ft_cold_rule rule;
	double limit_c, guard_c;
	double time_above_s; /* beyond the limit and not excused by a service */
	double band_s;       /* within the guard band, not excused */
	double excused_s;    /* beyond the limit but excused */
	double judged_s;     /* time that counted */
	double longest_s;    /* the longest time beyond the limit in one piece, not excused */
	double least_c, most_c, mean_c;
	double probe_error_c; /* NaN: not checked */
	size_t probe_checks;
	struct ft_cold_fit fit;
	struct ft_cold_cycle cycle;
	struct ft_cold_defrost defrost;
	struct ft_cold_alarm alarm;
	enum ft_verdict verdict;
};

/* Findings cold.* go into `f`. Fails without memory only. */
enum ft_status ft_cold_judge(const struct ft_cold_log *log, const struct ft_cold_options *o, struct ft_arena *a,
                             struct ft_findings *f, struct ft_cold_result *ret, struct ft_error *e);

/* ---- sensors, both ways ---- */

enum ft_sensor_form { FT_SENSOR_BETA, FT_SENSOR_STEINHART, FT_SENSOR_PLATINUM };

struct ft_sensor {
	enum ft_sensor_form form;
	double c[3];                       /* BETA: R25, B. STEINHART: a, b, c. PLATINUM: R0 */
	const char *name, *trust, *source; /* of a row of data/sensor-curves.csv, else "" */
};

/* "ntc-10k", "pt100", "ntc:10000:3977", "sh:A:B:C", "fit:T1:R1:T2:R2:T3:R3", "pt:100". FT_E_USAGE otherwise. */
enum ft_status ft_sensor_parse(struct ft_slice text, struct ft_sensor *ret, struct ft_error *e);

/* Degrees of a resistance and back; NaN outside what the form can tell. */
double ft_sensor_c(const struct ft_sensor *s, double ohms);
double ft_sensor_ohms(const struct ft_sensor *s, double c);

/* By how many degrees a two-wire lead of `lead_ohms` (out and back) makes it read wrong at `c`. */
double ft_sensor_lead_error(const struct ft_sensor *s, double c, double lead_ohms);

/* Steinhart-Hart through three points (C, ohm), the points in any order. False when they do not make a curve. */
bool ft_sensor_fit(const double c[3], const double ohms[3], struct ft_sensor *ret);

/* B of the beta form through two points. NaN when they do not tell it. */
double ft_sensor_beta(double c1, double ohms1, double c2, double ohms2);

#endif
