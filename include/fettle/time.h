/* SPDX-License-Identifier: Apache-2.0 */
/* Wall time as microseconds since 1970-01-01T00:00:00Z, written and read as ISO 8601. The clock is
 * never read here: whoever calls brings the time. Monotonic time is int64_t microseconds too. */
#ifndef FETTLE_TIME_H
#define FETTLE_TIME_H

#include "fettle/slice.h"

#define FT_SECOND INT64_C(1000000)
#define FT_NEVER  INT64_MAX

struct ft_civil {
	int year, month, day, hour, minute, second; /* proleptic Gregorian */
};

/* Days since 1970-01-01 of a civil date, and back. */
int64_t ft_days_of(int year, int month, int day);
struct ft_civil ft_civil_of(int64_t unix_us, int offset_minutes);
int64_t ft_unix_of(const struct ft_civil *c, int offset_minutes);
bool ft_date_valid(int year, int month, int day);

#define FT_TIME_TEXT 40

/* "2026-03-09T14:05:11+01:00" (whole seconds) into `out`; returns `out`. */
char *ft_time_text(int64_t unix_us, int offset_minutes, char out[FT_TIME_TEXT]);

/* ISO 8601 with date and time, seconds and fraction optional, 'Z', offset or none (then
 * `default_offset_minutes`). A blank may stand for the T. */
bool ft_time_parse(struct ft_slice s, int default_offset_minutes, int64_t *ret_unix_us);

#endif
