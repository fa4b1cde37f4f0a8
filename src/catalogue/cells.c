/* SPDX-License-Identifier: Apache-2.0 */
/* What stands in one cell. */
#include "fettle/money.h"
#include "fettle/stamp.h"

#include "room.h"

static const struct {
	enum quantity what;
	const char *unit;
	double factor;
} units[] = {
	{ METRES, "m", 1 },          { METRES, "cm", 0.01 },     { METRES, "mm", 0.001 },
	{ METRES, "ft", 0.3048 },    { METRES, "in", 0.0254 },   { VOLTS, "v", 1 },
	{ VOLTS, "mv", 0.001 },      { AMPERES, "a", 1 },        { AMPERES, "ma", 0.001 },
	{ WATTS, "w", 1 },           { WATTS, "mw", 0.001 },     { BYTES, "b", 1 },
	{ BYTES, "bytes", 1 },       { BYTES, "kb", 1000 },      { BYTES, "kib", 1024 },
	{ BYTES, "mb", 1e6 },        { MINUTES, "min", 1 },      { MINUTES, "minutes", 1 },
	{ MINUTES, "h", 60 },        { MINUTES, "s", 1 / 60.0 }, { GRAMS, "g", 1 },
	{ GRAMS, "kg", 1000 },       { DBM, "dbm", 1 },          { MEGAHERTZ, "mhz", 1 },
	{ MEGAHERTZ, "ghz", 1000 },  { DECIBELS, "db", 1 },      { DECIBELS, "db per 100 m", 1 },
	{ DECIBELS, "db/100 m", 1 }, { DECIBELS, "db/100m", 1 }, { DEGREES, "\xc2\xb0", 1 },
};

bool cell_unknown(struct ft_slice s)
{
	static const char *const words[] = { "?", "??", "???", "-", "unknown", "not known", "tbc", "\xe2\x80\x93" };

	s = ft_slice_trim(s);
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (ft_slice_eq_nocase(s, ft_slice_of(words[i])))
			return true;
	return !s.n;
}

/* A figure and what stands behind it; spreadsheets write a true minus sign now and then. */
static bool figure(struct ft_slice s, double *ret, struct ft_slice *ret_unit)
{
	bool minus = s.n > 3 && memcmp(s.p, "\xe2\x88\x92", 3) == 0;
	size_t n = 0;

	if (minus)
		s = (struct ft_slice){ s.p + 3, s.n - 3 };
	while (n < s.n && (ft_is_digit(s.p[n]) || s.p[n] == '.' || s.p[n] == ',' || s.p[n] == '-' || s.p[n] == '+'))
		n++;
	if (!n || !ft_figure((struct ft_slice){ s.p, n }, ret))
		return false;
	if (minus)
		*ret = -*ret;
	*ret_unit = ft_slice_trim((struct ft_slice){ s.p + n, s.n - n });
	return true;
}

static bool unit_of(struct ft_slice unit, enum quantity *ret_what, double *ret_factor)
{
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (ft_slice_eq_nocase(unit, ft_slice_of(units[i].unit))) {
			*ret_what = units[i].what;
			*ret_factor = units[i].factor;
			return true;
		}
	return false;
}

static const char *read_figure(const struct column *c, struct ft_slice s, double *ret)
{
	enum quantity what = c->quantity;
	double value, factor = 1;
	struct ft_slice unit;

	if (c->quantity == BYTES && ft_slice_eq_nocase(s, FT_SLICE("any"))) /* a limit that is none */
		return NULL;
	if (!figure(s, &value, &unit))
		return "is no figure";
	if (unit.n && (!unit_of(unit, &what, &factor) || what != c->quantity))
		return "has a unit that does not belong here";
	value *= factor;
	if (!(value >= c->least && value <= c->most))
		return "cannot be; it is out of all range";
	*ret = value;
	return NULL;
}

/* Watts are known by the struct's flag, which stands before the three loads of a unit. */
static const char *read_load(struct ft_slice s, struct ft_unit *u, double *ret)
{
	enum quantity what;
	double value, factor;
	struct ft_slice unit;
	bool other = false;

	if (!figure(s, &value, &unit) || !unit_of(unit, &what, &factor) || (what != AMPERES && what != WATTS))
		return "is no load with its unit, such as 200 mA or 10 W";
	value *= factor;
	for (int i = 0; i < 3; i++)
		other |= !isnan(u->load[i]);
	if (other && u->power != (what == WATTS))
		return "mixes amperes and watts in one row; give the row in one of them";
	if (!(value >= 0 && value <= (what == WATTS ? 1000 : 30)))
		return "cannot be; a unit draws 0 to 30 A or 0 to 1000 W";
	u->power = what == WATTS;
	*ret = value;
	return NULL;
}

static bool find_word(const struct word_list *l, struct ft_slice s, int *ret)
{
	for (size_t i = 1; i < l->count; i++)
		if (same_heading(ft_slice_of(l->words[i].word), s) || one_of(l->words[i].also, s)) {
			*ret = (int)i;
			return true;
		}
	return false;
}

/* 8, 08:30, 8.30, 08:30:00, 8 pm */
static const char *read_hour(struct ft_slice s, int *ret)
{
	static const char no[] = "is no time of day, such as 08:30";
	int64_t part[3] = { 0 };
	size_t at = 0;
	int n = 0, half = 0;

	while (n < 3) {
		size_t from = at;
		while (at < s.n && ft_is_digit(s.p[at]))
			at++;
		if (at - from < 1 || at - from > 2 || !ft_slice_i64((struct ft_slice){ s.p + from, at - from }, &part[n]))
			return no;
		n++;
		if (at >= s.n || (s.p[at] != ':' && s.p[at] != '.' && s.p[at] != 'h'))
			break;
		at++;
	}
	s = ft_slice_trim((struct ft_slice){ s.p + at, s.n - at });
	if (same_heading(s, FT_SLICE("pm")))
		half = 2;
	else if (same_heading(s, FT_SLICE("am")))
		half = 1;
	else if (s.n)
		return no;
	if (part[1] > 59 || part[2] > 59 || (half && (part[0] < 1 || part[0] > 12)))
		return no;
	if (half)
		part[0] = part[0] % 12 + (half == 2 ? 12 : 0);
	if (part[0] * 60 + part[1] > 24 * 60)
		return no;
	*ret = (int)(part[0] * 60 + part[1]);
	return NULL;
}

/* The next word of letters and digits, or the dash between two. */
static bool next_word(struct ft_slice *s, struct ft_slice *ret)
{
	size_t n = 0;

	while (s->n &&
	       (s->p[0] == ' ' || s->p[0] == ',' || s->p[0] == ';' || s->p[0] == '+' || s->p[0] == '/' || s->p[0] == '\n' ||
	        s->p[0] == '\r' || s->p[0] == '\t' || s->p[0] == '|'))
		*s = (struct ft_slice){ s->p + 1, s->n - 1 };
	while (n < s->n && !strchr(" ,;+/\n\r\t|", s->p[n]))
		n++;
	*ret = (struct ft_slice){ s->p, n };
	*s = (struct ft_slice){ s->p + n, s->n - n };
	return n > 0;
}

static int day_of(struct ft_slice s)
{
	static const char *const names[] = { "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday" };

	for (int i = 0; s.n >= 2 && i < 7; i++)
		if (s.n <= strlen(names[i]) && ft_slice_eq_nocase(s, (struct ft_slice){ names[i], s.n }))
			return i;
	return s.n == 1 && s.p[0] >= '1' && s.p[0] <= '7' ? s.p[0] - '1' : -1;
}

static const char *read_days(struct ft_slice s, unsigned *ret)
{
	struct ft_slice word;
	unsigned days = 0;

	if (same_heading(s, FT_SLICE("daily")) || same_heading(s, FT_SLICE("every day"))) {
		*ret = FT_EVERY_DAY;
		return NULL;
	}
	while (next_word(&s, &word)) {
		size_t dash = ft_slice_find(word, FT_SLICE("-"));
		int from = day_of((struct ft_slice){ word.p, dash });
		int to = dash < word.n ? day_of((struct ft_slice){ word.p + dash + 1, word.n - dash - 1 }) : from;
		if (from < 0 || to < 0)
			return "names no days, such as Mon-Fri or Mon Wed";
		for (int d = from;; d = (d + 1) % 7) {
			days |= 1U << d;
			if (d == to)
				break;
		}
	}
	*ret = days;
	return days ? NULL : "names no days, such as Mon-Fri or Mon Wed";
}

static const char *read_list(struct ft_slice s, struct ft_arena *a, struct ft_words *ret, bool *ret_memory)
{
	struct ft_slice word;
	size_t room = 0;

	ret->known = true;
	if (ft_slice_eq_nocase(s, FT_SLICE("none")))
		return NULL;
	while (next_word(&s, &word)) {
		struct ft_slice *grown = ft_arena_grow(a, ret->list, ret->count, &room, sizeof *grown);
		if (!grown) {
			*ret_memory = true;
			return NULL;
		}
		ret->list = grown;
		ret->list[ret->count++] = word;
	}
	return NULL;
}

static const char *read_money(struct ft_slice s, int64_t *ret)
{
	int64_t v;

	if (!ft_money_parse(s, 2, &v) || v < 0)
		return "is no price, such as 12.50";
	*ret = v;
	return NULL;
}

/* Square millimetres of a gauge by ASTM B258: 0.127 mm at 36, a step is the 39th root of 92. */
static double awg_area(double awg)
{
	double d = 0.127 * pow(92, (36 - awg) / 39);

	return 3.14159265358979323846 / 4 * d * d;
}

static const char *run_figure(double value, struct ft_slice unit, struct ft_survey_device *d)
{
	enum quantity what;
	double factor;

	if (same_heading(unit, FT_SLICE("awg"))) {
		if (value < 10 || value > 30 || value != floor(value))
			return "has a gauge that cannot be; harnesses have AWG 10 to 30";
		d->area_mm2 = awg_area(value);
	} else if (ft_slice_eq_nocase(unit, FT_SLICE("mm2")) || ft_slice_eq_nocase(unit, FT_SLICE("mm\xc2\xb2"))) {
		if (!(value >= 0.05 && value <= 10))
			return "has a gauge that cannot be; harnesses have 0.05 to 10 mm2";
		d->area_mm2 = value;
	} else if (unit_of(unit, &what, &factor) && what == METRES) {
		if (!(value * factor >= 0 && value * factor <= 100))
			return "has a run that cannot be";
		d->length_m = value * factor;
	} else {
		return "has a figure without a unit; write validator 0.5 m AWG 22";
	}
	return NULL;
}

/* validator 0.5 m AWG 22 */
static const char *read_device(struct ft_slice s, struct ft_survey_device *d)
{
	struct ft_slice word, unit;
	const char *wrong = NULL;
	double value;

	*d = (struct ft_survey_device){ .length_m = NAN, .area_mm2 = NAN };
	/* a blank alone parts the words here, since 0,5 m is one figure */
	while (s.n && !wrong) {
		size_t n = ft_slice_find(s, FT_SLICE(" "));
		word = ft_slice_trim((struct ft_slice){ s.p, n });
		s = ft_slice_trim((struct ft_slice){ s.p + n, s.n - n });
		if (word.n >= 3 && ft_slice_eq_nocase((struct ft_slice){ word.p, 3 }, FT_SLICE("awg"))) {
			word = (struct ft_slice){ word.p + 3, word.n - 3 };
			if (!word.n) {
				n = ft_slice_find(s, FT_SLICE(" "));
				word = (struct ft_slice){ s.p, n };
				s = ft_slice_trim((struct ft_slice){ s.p + n, s.n - n });
			}
			wrong = figure(word, &value, &unit) && !unit.n ? run_figure(value, FT_SLICE("awg"), d)
														   : "has AWG without its number";
		} else if (word.n && figure(word, &value, &unit)) {
			if (!unit.n) {
				n = ft_slice_find(s, FT_SLICE(" "));
				unit = (struct ft_slice){ s.p, n };
				s = ft_slice_trim((struct ft_slice){ s.p + n, s.n - n });
			}
			wrong = run_figure(value, unit, d);
		} else if (!d->kind.n) {
			d->kind = word;
		} else if (!cell_unknown(word)) {
			wrong = "has two names in one place; put > between devices";
		}
	}
	return wrong ? wrong : d->kind.n ? NULL : "has a device without a name";
}

static const char *read_chain(struct ft_slice s, struct ft_arena *a, struct ft_survey_row *row, bool *ret_memory)
{
	struct ft_survey_device d;
	struct ft_slice part;

	if (ft_slice_eq_nocase(s, FT_SLICE("none"))) {
		row->peripherals_known = true;
		return NULL;
	}
	row->peripherals = FT_NEW_ARRAY(a, FT_SURVEY_DEVICES_MAX, struct ft_survey_device);
	if (!row->peripherals) {
		*ret_memory = true;
		return NULL;
	}
	while (ft_slice_split(&s, '>', &part)) {
		const char *wrong = read_device(ft_slice_trim(part), &d);
		if (!wrong && row->peripheral_count == FT_SURVEY_DEVICES_MAX)
			wrong = "has more devices than a bus carries";
		if (wrong) {
			row->peripheral_count = 0;
			return wrong;
		}
		row->peripherals[row->peripheral_count++] = d;
	}
	row->peripherals_known = true;
	return NULL;
}

static const char *read_purpose(struct ft_slice s, struct ft_part_row *row)
{
	size_t colon = ft_slice_find(s, FT_SLICE(":"));
	struct ft_slice of = { 0 };
	int v;

	if (colon < s.n)
		of = ft_slice_trim((struct ft_slice){ s.p + colon + 1, s.n - colon - 1 });
	if (!find_word(&purpose_words, ft_slice_trim((struct ft_slice){ s.p, colon }), &v))
		return "is none of the things a part is for";
	row->purpose = (enum ft_purpose)v;
	if (!cell_unknown(of))
		row->of = of;
	return NULL;
}

const char *cell_read(const struct column *c, struct ft_slice s, struct ft_arena *a, void *row, bool *ret_memory)
{
	void *at = (char *)row + c->at;
	int v;

	switch (c->kind) {
	case CELL_TEXT:
		*(struct ft_slice *)at = s;
		return NULL;
	case CELL_LIST:
		return read_list(s, a, at, ret_memory);
	case CELL_FIGURE:
		return read_figure(c, s, at);
	case CELL_LOAD:
		return read_load(s, row, at);
	case CELL_WORD:
		if (!find_word(c->words, s, &v))
			return "is no word that is known here";
		*(int *)at = v; /* enums are as wide as an int; see the assertion below */
		return NULL;
	case CELL_HOUR:
		return read_hour(s, at);
	case CELL_DAYS:
		return read_days(s, at);
	case CELL_MONEY:
		return read_money(s, at);
	case CELL_CHAIN:
		return read_chain(s, a, row, ret_memory);
	case CELL_PURPOSE:
		return read_purpose(s, row);
	case CELL_DATE:
		break; /* when the column is known */
	}
	return NULL;
}

_Static_assert(sizeof(enum ft_tri) == sizeof(int) && sizeof(enum ft_purpose) == sizeof(int), "words are read as int");

void row_blank(const struct table *t, void *row)
{
	memset(row, 0, t->row_size);
	for (size_t i = 0; i < t->count; i++) {
		void *at = (char *)row + t->columns[i].at;
		switch (t->columns[i].kind) {
		case CELL_FIGURE:
		case CELL_LOAD:
			*(double *)at = NAN;
			break;
		case CELL_HOUR:
			*(int *)at = -1;
			break;
		case CELL_DATE:
		case CELL_MONEY:
			*(int64_t *)at = FT_ABSENT;
			break;
		default:
			break;
		}
	}
}
