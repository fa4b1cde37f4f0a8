/* SPDX-License-Identifier: Apache-2.0 */
/* What the columns of a logger's table are: told by headings, and by the row below where there are none. */
#include <math.h>

#include "room.h"

struct cold_word cold_word_of(struct ft_slice s)
{
	struct cold_word w = { "" };
	size_t n = 0;

	s = ft_slice_trim(s);
	for (size_t i = 0; i < s.n && n + 1 < sizeof w.text; i++) {
		unsigned char c = (unsigned char)s.p[i];
		if (c < 128) /* the degree sign comes in several encodings and as several characters */
			w.text[n++] = (char)(ft_is_upper(c) ? c + 32 : c);
	}
	w.text[n] = 0;
	return w;
}

bool cold_has(const struct cold_word *w, const char *part)
{
	return strstr(w->text, part) != NULL;
}

static bool is_any(const struct cold_word *w, const char *const *words)
{
	for (; *words; words++)
		if (strcmp(w->text, *words) == 0)
			return true;
	return false;
}

static bool has_any(const struct cold_word *w, const char *const *parts)
{
	for (; *parts; parts++)
		if (cold_has(w, *parts))
			return true;
	return false;
}

enum ft_cold_unit cold_unit_of(struct ft_slice cell)
{
	static const char *const c[] = { "c",       "degc",      "deg c",          "deg. c",
		                             "(c)",     "[c]",       "(deg c)",        "[deg c]",
		                             "celsius", "degrees c", "degree celsius", "degrees celsius",
		                             NULL };
	static const char *const f[] = { "f",
		                             "degf",
		                             "deg f",
		                             "deg. f",
		                             "(f)",
		                             "[f]",
		                             "(deg f)",
		                             "[deg f]",
		                             "fahrenheit",
		                             "degrees f",
		                             "degree fahrenheit",
		                             "degrees fahrenheit",
		                             NULL };
	struct cold_word w = cold_word_of(cell);

	return is_any(&w, c) ? FT_COLD_C : is_any(&w, f) ? FT_COLD_F : FT_COLD_UNIT_UNKNOWN;
}

/* Does a letter stand alone at the end of the heading or behind a bracket: "temp_c", "T (F)", "temp, C", "air [C] 1"? */
static bool letter_alone(const struct cold_word *w, char letter)
{
	const char *t = w->text;
	size_t n = strlen(t);

	for (size_t i = 0; i < n; i++) {
		bool before = i == 0 || strchr(" _-,;.([/", t[i - 1]);
		bool after = i + 1 == n || strchr(")]", t[i + 1]) || (i > 0 && strchr("([", t[i - 1]) && t[i + 1] == ' ');
		if (t[i] == letter && before && after)
			return true;
	}
	return false;
}

enum ft_cold_unit cold_unit_in(struct ft_slice heading)
{
	static const char *const c[] = { "celsius", "degc", "deg c", NULL },
							 *const f[] = { "fahrenheit", "degf", "deg f", NULL };
	struct cold_word w = cold_word_of(heading);
	bool is_c = has_any(&w, c) || letter_alone(&w, 'c'), is_f = has_any(&w, f) || letter_alone(&w, 'f');

	if (is_c == is_f)
		return FT_COLD_UNIT_UNKNOWN;
	return is_c ? FT_COLD_C : FT_COLD_F;
}

static bool stamp_like(struct ft_slice date, struct ft_slice time)
{
	struct ft_stamp_form form = { 0 };

	return ft_stamp_learn(&form, date, time) && !form.epoch && !form.elapsed;
}

bool cold_is_stamp(struct ft_slice cell)
{
	return stamp_like(cell, (struct ft_slice){ 0 });
}

bool cold_is_clock(struct ft_slice cell)
{
	return cell.n && memchr(cell.p, ':', cell.n) && stamp_like(FT_SLICE("2026-01-01"), cell);
}

bool cold_value(struct ft_slice cell, double *ret, enum ft_cold_unit *ret_unit)
{
	struct ft_slice s = ft_slice_trim(cell);
	size_t n = s.n > 3 && memcmp(s.p, "\xe2\x88\x92", 3) == 0 ? 3 : 0; /* a minus sign of three bytes, see ft_figure */

	*ret_unit = FT_COLD_UNIT_UNKNOWN;
	for (; n < s.n; n++) {
		char c = s.p[n];
		if (!ft_is_digit(c) && c != '.' && c != ',' && c != '-' && c != '+' && c != 'e' && c != 'E')
			break;
	}
	if (n < s.n) {
		*ret_unit = cold_unit_of((struct ft_slice){ s.p + n, s.n - n });
		if (*ret_unit == FT_COLD_UNIT_UNKNOWN)
			return false;
	}
	return ft_figure((struct ft_slice){ s.p, n }, ret);
}

static bool is_figure(struct ft_slice cell)
{
	enum ft_cold_unit u;
	double v;

	return cold_value(cell, &v, &u);
}

static enum cold_role role_of(struct ft_slice heading)
{
	static const char *const index[] = { "#",  "no",  "no.",   "nr",     "nr.", "index",  "record", "row",
		                                 "id", "lfd", "count", "sample", "n",   "number", "line",   NULL };
	static const char *const dates[] = { "date", "datum", "fecha", NULL };
	static const char *const times[] = {
		"time", "zeit", "hora", "heure", "stamp", "elapsed", "second", "minute", NULL
	};
	static const char *const times_alone[] = { "at", "when", "t_s", "s", "sec", "min", "ora", NULL };
	static const char *const others[] = { "humid", "rh", "dew", "volt", "batt", "press", "%", "light", "lux", NULL };
	static const char *const references[] = { "reference", "thermometer", "standard", NULL };
	static const char *const temperatures[] = { "temp",  "celsius", "fahrenheit", "degc", "degf",
		                                        "probe", "sensor",  "channel",    NULL };
	static const char *const marks[] = {
		"door", "mark", "event", "service", "note", "comment", "action", "remark", NULL
	};
	struct cold_word w = cold_word_of(heading);

	if (is_any(&w, index))
		return COLD_INDEX;
	if (strcmp(w.text, "unit") == 0 || strcmp(w.text, "units") == 0)
		return COLD_UNIT;
	if (has_any(&w, dates) && !has_any(&w, times))
		return COLD_DATE;
	if (has_any(&w, marks) && !cold_has(&w, "time") && !cold_has(&w, "temp"))
		return COLD_MARK;
	if ((has_any(&w, times) && !cold_has(&w, "temp")) || is_any(&w, times_alone) || has_any(&w, dates))
		return COLD_TIME;
	if (has_any(&w, others))
		return COLD_OTHER;
	if (has_any(&w, references))
		return COLD_REFERENCE;
	if (has_any(&w, temperatures) || cold_unit_in(heading) != FT_COLD_UNIT_UNKNOWN)
		return COLD_TEMPERATURE;
	return COLD_OTHER;
}

bool cold_is_heading(const struct ft_csv_row *row)
{
	unsigned told = 0;
	bool time = false;

	for (unsigned i = 0; i < row->count; i++) {
		struct ft_slice cell = ft_slice_trim(row->fields[i]);
		enum cold_role role = role_of(cell);
		if (!cell.n)
			continue;
		if (is_figure(cell) || cold_is_stamp(cell) || cold_is_clock(cell))
			return false;
		told++;
		time |= role == COLD_TIME || role == COLD_DATE;
	}
	return time && told > 1;
}

bool cold_is_data(const struct ft_csv_row *row)
{
	bool stamp = false, figure = false;

	for (unsigned i = 0; i < row->count; i++) {
		stamp |= cold_is_stamp(ft_slice_trim(row->fields[i]));
		figure |= is_figure(ft_slice_trim(row->fields[i]));
	}
	return stamp && figure;
}

/* Without a heading: a date, perhaps a time of day behind it, then figures. */
static void roles_of_data(const struct ft_csv_row *row, enum cold_role *roles, unsigned n)
{
	bool date = false;

	for (unsigned i = 0; i < n; i++) {
		struct ft_slice cell = ft_csv_field(row, (int)i);
		roles[i] = COLD_OTHER;
		if (!date && cold_is_stamp(cell)) {
			bool clock = i + 1 < n && cold_is_clock(ft_csv_field(row, (int)i + 1));
			roles[i] = clock ? COLD_DATE : COLD_TIME;
			if (clock)
				roles[++i] = COLD_TIME;
			date = true;
		} else if (date && is_figure(cell)) {
			roles[i] = COLD_TEMPERATURE;
		} else if (date && cell.n && cold_unit_of(cell) != FT_COLD_UNIT_UNKNOWN) {
			roles[i] = COLD_UNIT;
		} else if (date && cell.n) {
			roles[i] = COLD_MARK;
		}
	}
}

/* The headings name no temperature: then every column of figures that is nothing else may be one. */
static void roles_of_figures(const struct ft_csv_row *head, const struct ft_csv_row *below, enum cold_role *roles,
                             unsigned n)
{
	static const char *const others[] = { "humid", "rh", "dew", "volt", "batt", "press", "%", "light", "lux", NULL };

	for (unsigned i = 0; below && i < n; i++) {
		struct cold_word w = cold_word_of(head->fields[i]);
		if (roles[i] == COLD_OTHER && !has_any(&w, others) && is_figure(ft_csv_field(below, (int)i)))
			roles[i] = COLD_TEMPERATURE;
	}
}

/* The column that was asked for, by number or heading; -1 when it is none. */
static int wanted_column(const struct ft_csv_row *head, const char *wanted, bool headless)
{
	int64_t number;

	for (unsigned i = 0; !headless && i < head->count; i++)
		if (ft_slice_eq_nocase(ft_slice_trim(head->fields[i]), ft_slice_trim(ft_slice_of(wanted))))
			return (int)i;
	if (ft_slice_i64(ft_slice_of(wanted), &number) && number >= 1 && number <= head->count)
		return (int)number - 1;
	return -1;
}

static void take(struct cold_columns *c, const enum cold_role *roles, const struct ft_csv_row *head)
{
	for (int i = 0; i < (int)c->count; i++) {
		struct cold_word w = cold_word_of(head->fields[i]);
		switch (roles[i]) {
		case COLD_DATE:
			c->date = c->date < 0 ? i : c->date;
			break;
		case COLD_TIME:
			c->time = c->time < 0 ? i : c->time;
			break;
		case COLD_TEMPERATURE:
			c->temperatures++;
			c->temperature = c->temperature < 0 ? i : c->temperature;
			break;
		case COLD_REFERENCE:
			c->reference = c->reference < 0 ? i : c->reference;
			break;
		case COLD_UNIT:
			c->unit = c->unit < 0 ? i : c->unit;
			break;
		case COLD_MARK:
			c->mark_is_door[c->mark_count] = cold_has(&w, "door");
			c->marks[c->mark_count++] = i;
			break;
		default:
			break;
		}
	}
}

enum ft_status cold_find_columns(const struct ft_csv_row *head, const struct ft_csv_row *below, const char *what,
                                 const char *wanted, struct cold_columns *ret, struct ft_error *e)
{
	enum cold_role roles[COLD_COLUMNS_MAX] = { COLD_OTHER };
	struct cold_columns c = { -1, -1, -1, -1, -1, .seconds_each = 1, .headless = !cold_is_heading(head) };
	bool temperature = false;
	struct cold_word time;

	c.count = head->count < COLD_COLUMNS_MAX ? head->count : COLD_COLUMNS_MAX;
	if (c.headless) {
		roles_of_data(head, roles, c.count);
	} else {
		for (unsigned i = 0; i < c.count; i++) {
			roles[i] = role_of(head->fields[i]);
			temperature |= roles[i] == COLD_TEMPERATURE;
		}
		if (!temperature)
			roles_of_figures(head, below, roles, c.count);
	}
	take(&c, roles, head);
	if (wanted && (c.temperature = wanted_column(head, wanted, c.headless)) < 0)
		return ft_fail(e, FT_E_USAGE, "%s has no column \"%.60s\"; name one of its headings or count from 1.", what,
		               wanted);
	if (c.time < 0) { /* a heading "date" over date and time */
		c.time = c.date;
		c.date = -1;
	}
	if (c.time < 0)
		return ft_fail(e, FT_E_INPUT, "%s has no column of times; give one the heading time.", what);
	if (!c.headless) {
		time = cold_word_of(head->fields[c.time]);
		c.seconds_each = cold_has(&time, "minute") || strcmp(time.text, "min") == 0 ? 60 : 1;
		c.unit_told = c.temperature >= 0 ? cold_unit_in(head->fields[c.temperature]) : FT_COLD_UNIT_UNKNOWN;
	}
	*ret = c;
	return FT_OK;
}
