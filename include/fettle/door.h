/* SPDX-License-Identifier: Apache-2.0 */
/* Does the door switch tell the truth? What a person marked at the door against what a unit, its office or the
 * machine's audit says of it.
 *
 * Two clocks are compared that nobody set together, so the shift between them is found out from the marks
 * themselves. A shift that is the same for all is the clocks'; what comes on top is the delay of the telling.
 * Everything here is our own choice of arithmetic; the rules door.* say what follows from it. */
#ifndef FETTLE_DOOR_H
#define FETTLE_DOOR_H

#include "fettle/finding.h"

struct ft_door_event {
	int64_t at_us; /* since 1970 */
	bool open;     /* it opened; false: it closed */
	unsigned line; /* in its file, 0 none */
};

/* What a table of door events turned out to be. */
struct ft_door_table {
	unsigned passed_over; /* rows that speak of something else */
	bool spans;           /* a row is an opening with its end */
	bool marks;           /* the heading is that of our own marks: see FT_DOOR_MARKS_HEAD */
	bool ambiguous_days;  /* day and month could not be told apart */
	int resolution_s;     /* 60 when no time has seconds */
};

/* The heading of a file of marks as `fettle door --mark` writes it. */
#define FT_DOOR_MARKS_HEAD "marked_time,door"

/* Reads marks or events from a table: columns for time (or date and time) and state, or for beginning and end (or
 * duration); which is which is found out from headings and values. In order of time. FT_E_INPUT with line and
 * column. `offset_minutes` holds for times that name none. */
enum ft_status ft_door_read(struct ft_slice bytes, const char *what, int offset_minutes, struct ft_arena *a,
                            struct ft_door_event **ret, size_t *ret_count, struct ft_door_table *about,
                            struct ft_error *e);

struct ft_door_pair {
	int mark, event;  /* indices; -1: there is none */
	bool bounce;      /* an event that only trembled after another */
	int64_t delay_us; /* of a matched one, after the offset */
};

struct ft_door_options {
	int64_t within_us;   /* the longest delay that still is one; 0: 60 s */
	int64_t late_us;     /* from here on it is called late; 0: 10 s */
	int64_t bounce_us;   /* 0: 3 s */
	bool same_clock;     /* both were stamped by one clock: the whole shift is delay */
	int resolution_s;    /* of the events */
	int offset_minutes;  /* of the local time that findings tell */
	bool ambiguous_days; /* of the events' table: finding door.days */
	const char *events_name, *marks_name;
};

struct ft_door_result {
	size_t marks, events; /* events: those within the time of the marks */
	size_t outside;       /* events before or after */
	size_t matched, missed, invented, bounces, late;
	int64_t offset_us;    /* how far the events' clock is ahead of the marks'; FT_ABSENT: nothing matched */
	int64_t delay_us;     /* median on top of it; FT_ABSENT */
	int64_t delay_max_us; /* FT_ABSENT */
	bool inverted;
	struct ft_door_pair *pairs; /* in order of time */
	size_t pair_count;
	enum ft_verdict verdict;
};

/* Both lists in order of time. Findings door.* go into `f`. Fails without memory only. */
enum ft_status ft_door_match(const struct ft_door_event *marks, size_t mark_count, const struct ft_door_event *events,
                             size_t event_count, const struct ft_door_options *o, struct ft_arena *a,
                             struct ft_findings *f, struct ft_door_result *ret, struct ft_error *e);

#endif
