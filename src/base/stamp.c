/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/stamp.h"

#include <math.h>

#include "fettle/time.h"

enum { CLEARLY = 60 }; /* ours: a day a day against a month a day is 30 */

/* What one value holds before it is known which number is the day. */
struct pieces {
	enum { A_DATE, A_COUNT } kind;
	int number[3], digits[3];
	bool dotted, twelve; /* twelve: hours with AM or PM */
	int hour, minute, second;
	int64_t fraction_us;
	bool offset_known;
	int offset;
	double count;
	size_t count_digits; /* before the decimal sign */
};

static bool number(struct ft_slice *s, int most_digits, int *ret, int *ret_digits)
{
	int v = 0, n = 0;

	while (s->n && n < most_digits && ft_is_digit(s->p[0])) {
		v = v * 10 + (s->p[0] - '0');
		s->p++;
		s->n--;
		n++;
	}
	*ret = v;
	*ret_digits = n;
	return n > 0;
}

static bool next_is(struct ft_slice *s, const char *any, char *ret)
{
	while (*any && s->n && *any != s->p[0]) /* one or two to choose from: a call would cost more */
		any++;
	if (!*any || !s->n)
		return false;
	*ret = s->p[0];
	s->p++;
	s->n--;
	return true;
}

static bool word(struct ft_slice *s, const char *w)
{
	struct ft_slice head = { s->p, strlen(w) };

	if (s->n < head.n || !ft_slice_eq_nocase(head, ft_slice_of(w)))
		return false;
	s->p += head.n;
	s->n -= head.n;
	return true;
}

static bool read_offset(struct ft_slice *s, struct pieces *r)
{
	char sign;
	int digits, hours, minutes = 0;

	if (word(s, "Z") || word(s, "UTC") || word(s, "GMT")) {
		r->offset_known = true;
		return true;
	}
	if (!next_is(s, "+-", &sign))
		return true;
	if (!number(s, 2, &hours, &digits) || hours > 14)
		return false;
	if (next_is(s, ":", &(char){ 0 }) || s->n)
		if (!number(s, 2, &minutes, &digits) || minutes > 59)
			return false;
	r->offset_known = true;
	r->offset = (sign == '-' ? -1 : 1) * (hours * 60 + minutes);
	return true;
}

/* "14:03", "2:03:05.250 PM", "140305" is none. */
static bool read_time(struct ft_slice s, struct pieces *r)
{
	int digits;
	char c;

	s = ft_slice_trim(s);
	if (!s.n)
		return true;
	if (!number(&s, 2, &r->hour, &digits) || !next_is(&s, ":", &c) || !number(&s, 2, &r->minute, &digits))
		return false;
	if (next_is(&s, ":", &c) && !number(&s, 2, &r->second, &digits))
		return false;
	if (next_is(&s, ".,", &c)) {
		int64_t scale = FT_SECOND / 10;
		for (; s.n && ft_is_digit(s.p[0]); s.p++, s.n--, scale /= 10)
			r->fraction_us += (s.p[0] - '0') * scale;
	}
	s = ft_slice_trim(s);
	if (word(&s, "AM") || word(&s, "A.M.")) {
		if (r->hour < 1 || r->hour > 12)
			return false;
		r->hour %= 12;
		r->twelve = true;
	} else if (word(&s, "PM") || word(&s, "P.M.")) {
		if (r->hour < 1 || r->hour > 12)
			return false;
		r->hour = r->hour % 12 + 12;
		r->twelve = true;
	}
	s = ft_slice_trim(s);
	return read_offset(&s, r) && !ft_slice_trim(s).n && r->hour < 24 && r->minute < 60 && r->second <= 60;
}

static bool read_count(struct ft_slice s, struct pieces *r)
{
	r->kind = A_COUNT;
	if (!ft_figure(s, &r->count) || fabs(r->count) > 9e15)
		return false;
	for (s = ft_slice_trim(s); s.n && ft_is_digit(s.p[0]); s.p++, s.n--)
		r->count_digits++;
	return true;
}

static bool take_apart(struct ft_slice date, struct ft_slice time, struct pieces *r)
{
	struct ft_slice s = ft_slice_trim(date);
	char first = 0, second = 0, c;

	*r = (struct pieces){ 0 };
	for (int i = 0; i < 3; i++) {
		if (!number(&s, 4, &r->number[i], &r->digits[i]) || (i == 0 && !next_is(&s, "-/.", &first)) ||
		    (i == 1 && (!next_is(&s, "-/.", &second) || first != second)))
			return read_count(date, r) && !ft_slice_trim(time).n;
	}
	r->dotted = first == '.';
	if (s.n && !next_is(&s, " T\t,", &c))
		return false;
	if (ft_slice_trim(s).n && ft_slice_trim(time).n)
		return false; /* two times of day */
	return read_time(ft_slice_trim(s).n ? s : time, r);
}

static int full_year(int year, int digits)
{
	return digits <= 2 ? 2000 + year : year;
}

/* With the day at one place, the month at another and the year at the third. */
static bool assemble(const struct pieces *p, int year, int month, int day, int default_offset, int64_t *ret_us)
{
	struct ft_civil c = {
		full_year(p->number[year], p->digits[year]), p->number[month], p->number[day], p->hour, p->minute, p->second
	};

	if (!ft_date_valid(c.year, c.month, c.day))
		return false;
	*ret_us = ft_unix_of(&c, p->offset_known ? p->offset : default_offset) + p->fraction_us;
	return true;
}

/* How time would run if the column were written this way: a log never goes back and makes no great leaps. */
static void follow(struct ft_stamp_form *f, int way, int64_t us)
{
	if (f->begun) {
		f->back[way] += us < f->last[way];
		f->far[way] += (us > f->last[way] ? us - f->last[way] : f->last[way] - us) / FT_SECOND;
	}
	f->last[way] = us;
}

bool ft_stamp_learn(struct ft_stamp_form *f, struct ft_slice date, struct ft_slice time)
{
	struct pieces p;
	int64_t us[2] = { 0 };
	bool day, month;

	if (!take_apart(date, time, &p))
		return false;
	if (p.kind == A_COUNT) {
		/* 10^8 seconds: in 1973; no log elapses three years in one sitting */
		*(p.count_digits >= 9 ? &f->epoch : &f->elapsed) += 1;
		return true;
	}
	if (p.digits[0] == 4) {
		f->year_first++;
		return assemble(&p, 0, 1, 2, 0, &us[0]);
	}
	if (p.digits[0] > 2 || p.digits[1] > 2)
		return false;
	day = assemble(&p, 2, 1, 0, f->default_offset_minutes, &us[0]);
	month = !p.dotted && assemble(&p, 2, 0, 1, f->default_offset_minutes, &us[1]);
	if (!day && !month)
		return false;
	f->day_first += day && !month;
	f->month_first += month && !day;
	f->either += day && month;
	f->twelve += p.twelve && !p.dotted;
	if (day)
		follow(f, 0, us[0]);
	if (month)
		follow(f, 1, us[1]);
	f->begun = true;
	return true;
}

bool ft_stamp_certain(const struct ft_stamp_form *f)
{
	return f->year_first || f->day_first || f->month_first;
}

/* The shorter way is taken. With AM and PM, which speak for the month first, it must be so much shorter that no log of
 * a few scattered events makes it by chance, else the reader is told. */
static void settle_by_distance(struct ft_stamp_form *f)
{
	f->order = f->far[0] < f->far[1] ? FT_STAMP_DAY_FIRST : FT_STAMP_MONTH_FIRST;
	f->ambiguous = f->twelve && f->order == FT_STAMP_DAY_FIRST && f->far[0] > f->far[1] / CLEARLY;
}

enum ft_status ft_stamp_settle(struct ft_stamp_form *f, const char *what, struct ft_error *e)
{
	unsigned slashed = f->day_first + f->month_first + f->either;
	unsigned kinds = (f->year_first > 0) + (slashed > 0) + (f->epoch > 0) + (f->elapsed > 0);

	if (f->epoch && f->elapsed && !f->year_first && !slashed) /* counts that pass 10^8 on the way are one kind */
		kinds = 1;
	if (kinds > 1 || (f->day_first && f->month_first))
		return ft_fail(e, FT_E_INPUT,
		               "The times of %s are written in more than one way; write them all as 2026-11-25 14:03:05.",
		               what);
	if (f->year_first)
		f->order = FT_STAMP_YEAR_FIRST;
	else if (f->epoch || f->elapsed)
		f->order = f->elapsed ? FT_STAMP_ELAPSED : FT_STAMP_UNIX;
	else if (f->day_first || f->month_first)
		f->order = f->day_first ? FT_STAMP_DAY_FIRST : FT_STAMP_MONTH_FIRST;
	else if (f->back[0] != f->back[1])
		f->order = f->back[0] < f->back[1] ? FT_STAMP_DAY_FIRST : FT_STAMP_MONTH_FIRST;
	else if (f->far[0] != f->far[1])
		settle_by_distance(f);
	else {
		/* AM and PM are written where the month stands first more often than not, which is a guess and no proof */
		f->order = f->twelve ? FT_STAMP_MONTH_FIRST : FT_STAMP_DAY_FIRST;
		f->ambiguous = slashed > 0;
	}
	return FT_OK;
}

bool ft_stamp_read(const struct ft_stamp_form *f, struct ft_slice date, struct ft_slice time, int64_t *ret_us,
                   int *ret_offset)
{
	struct pieces p;
	int standard = f->default_offset_minutes;

	if (!take_apart(date, time, &p))
		return false;
	if (ret_offset)
		*ret_offset = p.offset_known ? p.offset : standard;
	if ((p.kind == A_COUNT) != (f->order == FT_STAMP_UNIX || f->order == FT_STAMP_ELAPSED))
		return false;
	if (p.kind == A_COUNT) {
		bool thousandths = f->order == FT_STAMP_UNIX && p.count_digits >= 12;
		*ret_us = llround(p.count * (thousandths ? 1e3 : 1e6));
		return fabs(p.count) < 9e12 || thousandths;
	}
	if ((p.digits[0] == 4) != (f->order == FT_STAMP_YEAR_FIRST))
		return false;
	if (f->order == FT_STAMP_YEAR_FIRST)
		return assemble(&p, 0, 1, 2, standard, ret_us);
	if (f->order == FT_STAMP_DAY_FIRST)
		return assemble(&p, 2, 1, 0, standard, ret_us);
	return assemble(&p, 2, 0, 1, standard, ret_us);
}

bool ft_figure(struct ft_slice s, double *ret)
{
	double v = 0, scale = 1;
	int exponent = 0, digits = 0;
	bool minus = false, minus_exponent = false, fraction = false;

	s = ft_slice_trim(s);
	if (s.n > 3 && memcmp(s.p, "\xe2\x88\x92", 3) == 0) { /* the minus sign of spreadsheets, U+2212 */
		minus = true;
		s.p += 3;
		s.n -= 3;
	} else if (s.n && (s.p[0] == '-' || s.p[0] == '+')) {
		minus = s.p[0] == '-';
		s.p++;
		s.n--;
	}
	for (; s.n && (ft_is_digit(s.p[0]) || (!fraction && (s.p[0] == '.' || s.p[0] == ','))); s.p++, s.n--) {
		if (!ft_is_digit(s.p[0])) {
			fraction = true;
			continue;
		}
		v = v * 10 + (s.p[0] - '0');
		scale *= fraction ? 10 : 1;
		digits++;
	}
	if (!digits)
		return false;
	if (s.n && (s.p[0] == 'e' || s.p[0] == 'E')) {
		int n = 0;
		char c;
		s.p++;
		s.n--;
		if (next_is(&s, "+-", &c))
			minus_exponent = c == '-';
		if (!number(&s, 3, &exponent, &n))
			return false;
	}
	if (s.n)
		return false;
	v = v / scale * pow(10, minus_exponent ? -exponent : exponent);
	*ret = minus && v > 0 ? -v : v; /* no minus nought */
	return isfinite(v);
}
