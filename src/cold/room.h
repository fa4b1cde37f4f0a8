/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the room: words of headings, and the steps of judging. */
#ifndef FETTLE_COLD_ROOM_H
#define FETTLE_COLD_ROOM_H

#include "fettle/cold.h"
#include "fettle/csv.h"
#include "fettle/stamp.h"

enum { COLD_COLUMNS_MAX = 32 }; /* ours: what a logger writes side by side */

enum cold_role {
	COLD_OTHER,
	COLD_INDEX,
	COLD_DATE,
	COLD_TIME, /* alone: date and time, or seconds */
	COLD_TEMPERATURE,
	COLD_REFERENCE, /* an independent thermometer beside it */
	COLD_UNIT,
	COLD_MARK,
};

struct cold_columns {
	int date, time; /* date -1: time holds both */
	int temperature, reference, unit;
	int marks[COLD_COLUMNS_MAX];
	bool mark_is_door[COLD_COLUMNS_MAX]; /* the heading speaks of the door: 0 and 1 are states */
	int mark_count;
	unsigned count, temperatures;
	double seconds_each; /* of counts of time: 1, or 60 under a heading of minutes */
	bool headless;
	enum ft_cold_unit unit_told; /* by the heading */
};

/* Lower case, ASCII only: what is left of a heading for comparing. */
struct cold_word {
	char text[64];
};
struct cold_word cold_word_of(struct ft_slice s);
bool cold_has(const struct cold_word *w, const char *part);

enum ft_cold_unit cold_unit_of(struct ft_slice cell);    /* "C", "°F", "[deg C]", "celsius": the cell says a unit */
enum ft_cold_unit cold_unit_in(struct ft_slice heading); /* the same at the end of a heading */
bool cold_is_stamp(struct ft_slice cell);                /* a date, not a mere number */
bool cold_is_clock(struct ft_slice cell);                /* a time of day alone */

/* A cell of temperatures: the figure, and the unit if it names one. */
bool cold_value(struct ft_slice cell, double *ret, enum ft_cold_unit *ret_unit);

bool cold_is_heading(const struct ft_csv_row *row);
bool cold_is_data(const struct ft_csv_row *row);

/* What each column is, from the heading and the row below it (NULL: there is none). */
enum ft_status cold_find_columns(const struct ft_csv_row *head, const struct ft_csv_row *below, const char *what,
                                 const char *wanted, struct cold_columns *ret, struct ft_error *e);

/* A word that marks something; false when the cell says nothing known. `door`: 0 and 1 are states of the door. */
bool cold_mark_word(struct ft_slice cell, bool door, enum ft_cold_mark_kind *ret);

struct ft_cold_mark *cold_mark_add(struct ft_cold_log *log, size_t *room, struct ft_arena *a, int64_t at_us,
                                   enum ft_cold_mark_kind kind, double value, unsigned line);
void cold_marks_sort(struct ft_cold_log *log);

/* Puts samples in order of time, drops repeats, finds gaps and steps of the clock, and runs of one reading. */
enum ft_status cold_order(struct ft_cold_log *log, struct ft_arena *a, struct ft_error *e);

/* ---- judging ---- */

/* Time that a service excuses, in order and apart. */
struct cold_window {
	int64_t from, to;
	bool after_close; /* its end is the end of an allowance */
};

struct cold_judging {
	const struct ft_cold_log *log;
	const struct ft_cold_options *o;
	struct ft_cold_result *r;
	struct ft_arena *a;
	struct ft_findings *f;
	int sign;       /* FT_COLD_ABOVE 1, FT_COLD_BELOW -1: sign * c rises where food spoils */
	int64_t gap_us; /* a step longer than this is a gap */
	struct cold_window *windows;
	size_t window_count;
	struct cold_window *defrosts; /* from the rise to the return */
	size_t defrost_count;
	bool start_excused; /* the log began beyond the limit, and that is taken for the end of a service */
};

const char *cold_text(struct cold_judging *j, const char *format, ...) __attribute__((format(printf, 2, 3)));
const char *cold_time(struct cold_judging *j, int64_t us);
const char *cold_span(struct cold_judging *j, double seconds); /* "12 min", "3 h 20 min" */

void cold_cycles(struct cold_judging *j);
void cold_pull_down(struct cold_judging *j);
void cold_find_alarm(struct cold_judging *j);

/* Is `us` within a time that a service excuses? *at walks along with rising times; begin with 0. */
bool cold_excused(const struct cold_judging *j, int64_t us, size_t *at);

double cold_median(double *list, size_t n); /* sorts it; NaN of none */

#endif
