/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/time.h"

#include <stdio.h>
#include <stdlib.h>

static bool leap(int year)
{
	return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

bool ft_date_valid(int year, int month, int day)
{
	static const int lengths[12] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };

	if (month < 1 || month > 12 || day < 1)
		return false;
	return day <= lengths[month - 1] + (month == 2 && leap(year));
}

/* Days from civil and back by eras of 400 years with the year begun in March (the well-known
 * proleptic Gregorian arithmetic; checked against 1970-01-01 = 0 and 2000-03-01 = 11017). */
int64_t ft_days_of(int year, int month, int day)
{
	int64_t y = month <= 2 ? (int64_t)year - 1 : year;
	int64_t era = (y >= 0 ? y : y - 399) / 400;
	int64_t of_era = y - era * 400;
	int64_t of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;

	return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

static int64_t floor_div(int64_t a, int64_t b)
{
	return a / b - (a % b < 0);
}

struct ft_civil ft_civil_of(int64_t unix_us, int offset_minutes)
{
	int64_t s = floor_div(unix_us, FT_SECOND) + offset_minutes * INT64_C(60);
	int64_t days = floor_div(s, 86400);
	int64_t z = days + 719468;
	int64_t era = floor_div(z, 146097);
	int64_t doe = z - era * 146097;
	int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
	int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
	int64_t mp = (5 * doy + 2) / 153;
	int month = (int)(mp < 10 ? mp + 3 : mp - 9);

	s -= days * 86400;
	return (struct ft_civil){ .year = (int)(yoe + era * 400 + (month <= 2)),
		                      .month = month,
		                      .day = (int)(doy - (153 * mp + 2) / 5 + 1),
		                      .hour = (int)(s / 3600),
		                      .minute = (int)(s / 60 % 60),
		                      .second = (int)(s % 60) };
}

int64_t ft_unix_of(const struct ft_civil *c, int offset_minutes)
{
	int64_t minutes = ft_days_of(c->year, c->month, c->day) * 1440 + c->hour * 60 + c->minute - offset_minutes;

	return (minutes * 60 + c->second) * FT_SECOND;
}

char *ft_time_text(int64_t unix_us, int offset_minutes, char out[FT_TIME_TEXT])
{
	struct ft_civil c = ft_civil_of(unix_us, offset_minutes);
	int off = abs(offset_minutes);

	snprintf(out, FT_TIME_TEXT, "%04d-%02d-%02dT%02d:%02d:%02d%c%02d:%02d", c.year, c.month, c.day, c.hour, c.minute,
	         c.second, offset_minutes < 0 ? '-' : '+', off / 60 % 100, off % 60);
	return out;
}

/* Takes exactly `digits` digits off the front. */
static bool take(struct ft_slice *s, int digits, int *ret)
{
	int v = 0;

	if (s->n < (size_t)digits)
		return false;
	for (int i = 0; i < digits; i++) {
		if (!ft_is_digit(s->p[i]))
			return false;
		v = v * 10 + (s->p[i] - '0');
	}
	s->p += digits;
	s->n -= (size_t)digits;
	*ret = v;
	return true;
}

static bool take_char(struct ft_slice *s, const char *any)
{
	if (!s->n || !strchr(any, s->p[0]))
		return false;
	s->p++;
	s->n--;
	return true;
}

static bool take_fraction(struct ft_slice *s, int64_t *ret_us)
{
	int64_t scale = FT_SECOND / 10;

	if (!s->n || !ft_is_digit(s->p[0]))
		return false;
	for (*ret_us = 0; s->n && ft_is_digit(s->p[0]); s->p++, s->n--, scale /= 10)
		*ret_us += (s->p[0] - '0') * scale;
	return true;
}

static bool take_offset(struct ft_slice *s, int *ret_minutes)
{
	bool minus = s->n && s->p[0] == '-';
	int h, m = 0;

	if (take_char(s, "Zz")) {
		*ret_minutes = 0;
		return true;
	}
	if (!take_char(s, "+-") || !take(s, 2, &h))
		return false;
	(void)take_char(s, ":");
	if (s->n && !take(s, 2, &m))
		return false;
	if (h > 23 || m > 59)
		return false;
	*ret_minutes = (minus ? -1 : 1) * (h * 60 + m);
	return true;
}

bool ft_time_parse(struct ft_slice s, int default_offset_minutes, int64_t *ret_unix_us)
{
	struct ft_civil c = { 0 };
	int offset = default_offset_minutes;
	int64_t us = 0;

	if (!take(&s, 4, &c.year) || !take_char(&s, "-") || !take(&s, 2, &c.month) || !take_char(&s, "-") ||
	    !take(&s, 2, &c.day) || !ft_date_valid(c.year, c.month, c.day))
		return false;
	if (s.n) {
		if (!take_char(&s, "Tt ") || !take(&s, 2, &c.hour) || !take_char(&s, ":") || !take(&s, 2, &c.minute))
			return false;
		if (take_char(&s, ":") && !take(&s, 2, &c.second))
			return false;
		if (take_char(&s, ".,") && !take_fraction(&s, &us))
			return false;
		if (s.n && !take_offset(&s, &offset))
			return false;
	}
	if (s.n || c.hour > 23 || c.minute > 59 || c.second > 60)
		return false;
	*ret_unix_us = ft_unix_of(&c, offset) + us;
	return true;
}
