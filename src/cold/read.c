/* SPDX-License-Identifier: Apache-2.0 */
/* Logs of temperature as loggers write them. Read in two passes: how times are written is known only when all of them
 * were seen. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "room.h"

#include "fettle/time.h"

#define IMPOSSIBLE_BELOW (-90.0) /* ours: beyond any cabinet and any recorder's range (EN 12830: -80 to 85 C) */
#define IMPOSSIBLE_ABOVE 150.0

#define SPIKE        20.0                  /* ours, C: no air warms or cools so far and back ... */
#define SPIKE_BACK   3.0                   /* ... to within this ... */
#define SPIKE_WITHIN (30 * 60 * FT_SECOND) /* ... in so short a time */

#define FAR_US (100000000000 * FT_SECOND) /* ours: some three thousand years; sums of times stay whole */

enum {
	PREAMBLE_MAX = 200, /* ours: lines before the table */
	LIKELY_SAMPLES = 4096,
	LINE_LEAST = 8, /* ours: a shorter line is no measure of the others */
};

/* What a column of marks said last: it mostly says the same again. */
struct said {
	struct ft_slice cell;
	bool known;
	enum ft_cold_mark_kind kind;
};

struct reading {
	const struct ft_cold_read_options *o;
	const char *what;
	struct ft_arena *a;
	struct ft_cold_log *log;
	struct ft_error *e;
	struct ft_slice table; /* from the heading on */
	unsigned table_line;
	struct cold_columns c;
	struct ft_stamp_form form;
	enum ft_cold_unit preamble_unit, row_unit; /* of lines before the table, of a row of units */
	enum ft_cold_unit cell_unit;               /* of the first value that names one */
	unsigned units_line;
	size_t room, mark_room;
	bool learned; /* the rows below can tell nothing more of how times and units are written */
	int last_door;
	struct said said[COLD_COLUMNS_MAX]; /* by column of marks */
};

static struct ft_slice short_of(struct ft_slice s)
{
	s.n = s.n < 40 ? s.n : 40;
	return s;
}

/* ---- where the table begins ---- */

static enum ft_cold_unit unit_of_preamble(const struct ft_csv_row *row)
{
	enum ft_cold_unit u = FT_COLD_UNIT_UNKNOWN;

	for (unsigned i = 0; i < row->count && u == FT_COLD_UNIT_UNKNOWN; i++) {
		struct cold_word w = cold_word_of(row->fields[i]);
		if (cold_has(&w, "unit") || cold_has(&w, "temp"))
			u = i + 1 < row->count ? cold_unit_of(row->fields[i + 1]) : cold_unit_in(row->fields[i]);
	}
	return u;
}

static enum ft_status find_table(struct reading *r, struct ft_slice bytes)
{
	const char *p = bytes.p, *end = bytes.p + bytes.n;
	unsigned line = 1;

	if (bytes.n >= 3 && memcmp(p, "\xef\xbb\xbf", 3) == 0)
		p += 3;
	while (p < end && line <= PREAMBLE_MAX) {
		const char *stop = p;
		struct ft_csv_stream s;
		bool more = false;
		while (stop < end && *stop != '\n' && *stop != '\r')
			stop++;
		/* "#" heads a column of numbers here and begins no remark */
		p += stop - p > 1 && *p == '#' && strchr(",;\t", p[1]);
		/* a line that is no row (a remark, an open quote) is passed over like any other before the table */
		if (ft_csv_start(&s, (struct ft_slice){ p, (size_t)(stop - p) }, r->what, r->a, NULL) == FT_OK &&
		    ft_csv_next(&s, &more) == FT_OK && more) {
			if (cold_is_heading(&s.row) || cold_is_data(&s.row)) {
				r->table = (struct ft_slice){ p, (size_t)(end - p) };
				r->table_line = line;
				return FT_OK;
			}
			if (r->preamble_unit == FT_COLD_UNIT_UNKNOWN)
				r->preamble_unit = unit_of_preamble(&s.row);
		}
		if (stop < end && *stop == '\r')
			stop++;
		if (stop < end && *stop == '\n')
			stop++;
		p = stop;
		line++;
	}
	return ft_fail(
		r->e, FT_E_INPUT,
		"%s is no log of temperatures: no line has a time and a temperature; save it as CSV with a heading such as time,temperature_c.",
		r->what);
}

/* ---- rows ---- */

static struct ft_slice when(const struct reading *r, const struct ft_csv_row *row, struct ft_slice *ret_time)
{
	*ret_time = r->c.date >= 0 ? ft_csv_field(row, r->c.time) : (struct ft_slice){ 0 };
	return ft_csv_field(row, r->c.date >= 0 ? r->c.date : r->c.time);
}

/* A row below the heading that says the units of the columns instead of values. */
static bool is_units_row(struct reading *r, const struct ft_csv_row *row)
{
	struct ft_slice time, date = when(r, row, &time);

	if (date.n && (ft_is_digit(date.p[0]) || cold_is_stamp(date)))
		return false;
	r->row_unit = cold_unit_of(ft_csv_field(row, r->c.temperature));
	if (r->row_unit == FT_COLD_UNIT_UNKNOWN)
		return false;
	r->units_line = row->line;
	return true;
}

static bool is_blank(const struct ft_csv_row *row)
{
	for (unsigned i = 0; i < row->count; i++)
		if (ft_slice_trim(row->fields[i]).n)
			return false;
	return true;
}

static enum ft_status too_wide(struct reading *r, const struct ft_csv_row *row)
{
	for (unsigned i = r->c.count; i < row->count; i++)
		if (ft_slice_trim(row->fields[i]).n)
			return ft_fail(
				r->e, FT_E_INPUT,
				"%s, line %u has more columns than its heading; a decimal comma needs quotes around it, or semicolons between the columns.",
				r->what, row->line);
	return FT_OK;
}

/* Does something name the unit that goes before what a cell may say? */
static bool told_unit(const struct reading *r)
{
	return r->o->unit || r->c.unit_told || r->row_unit || r->cell_unit;
}

static enum ft_status learn_row(struct reading *r, const struct ft_csv_row *row)
{
	struct ft_slice time, date = when(r, row, &time), cell;
	enum ft_cold_unit unit;
	double v;

	if (!ft_stamp_certain(&r->form) && !ft_stamp_learn(&r->form, date, time))
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: \"%.*s%s%.*s\" is no time; write 2026-11-25 14:03:05.", r->what,
		               row->line, FT_P(short_of(date)), time.n ? " " : "", FT_P(short_of(time)));
	r->learned = ft_stamp_certain(&r->form) && told_unit(r);
	if (told_unit(r))
		return FT_OK;
	cell = ft_csv_field(row, r->c.temperature);
	unit = r->c.unit >= 0 ? cold_unit_of(ft_csv_field(row, r->c.unit)) : FT_COLD_UNIT_UNKNOWN;
	if (unit == FT_COLD_UNIT_UNKNOWN && (!cell.n || ft_is_digit(cell.p[cell.n - 1]) || !cold_value(cell, &v, &unit)))
		return FT_OK;
	r->cell_unit = unit;
	return FT_OK;
}

static enum ft_status add_marks(struct reading *r, const struct ft_csv_row *row, int64_t us)
{
	struct ft_cold_log *log = r->log;
	enum ft_cold_mark_kind kind;
	enum ft_cold_unit unit;
	double v = NAN;

	for (int i = 0; i < r->c.mark_count; i++) {
		struct said *said = &r->said[i];
		struct ft_slice cell = ft_csv_field(row, r->c.marks[i]);
		if (!cell.n)
			continue;
		if (!said->cell.p || !ft_slice_eq(cell, said->cell)) {
			said->cell = cell;
			said->known = cold_mark_word(cell, r->c.mark_is_door[i], &said->kind);
		}
		kind = said->kind;
		if (!said->known)
			continue;
		if (r->c.mark_is_door[i]) { /* a state that stands in every row: only its changes are marks */
			int door = kind == FT_COLD_OPENED;
			bool same = door == r->last_door || (r->last_door < 0 && !door);
			r->last_door = door;
			if (same)
				continue;
		}
		if (!cold_mark_add(log, &r->mark_room, r->a, us, kind, NAN, row->line))
			return ft_fail_memory(r->e, "reading the log");
	}
	if (r->c.reference >= 0 && cold_value(ft_csv_field(row, r->c.reference), &v, &unit)) {
		if (unit == FT_COLD_F || (unit == FT_COLD_UNIT_UNKNOWN && log->unit == FT_COLD_F))
			v = (v - 32) * 5 / 9;
		if (!cold_mark_add(log, &r->mark_room, r->a, us, FT_COLD_REFERENCE, v, row->line))
			return ft_fail_memory(r->e, "reading the log");
	}
	return FT_OK;
}

/* Values of one log in two units: told by the cells themselves. */
static enum ft_status same_unit(struct reading *r, const struct ft_csv_row *row, enum ft_cold_unit in_cell)
{
	if (r->c.unit >= 0 && in_cell == FT_COLD_UNIT_UNKNOWN)
		in_cell = cold_unit_of(ft_csv_field(row, r->c.unit));
	if (in_cell == FT_COLD_UNIT_UNKNOWN || r->o->unit != FT_COLD_UNIT_UNKNOWN || in_cell == r->log->unit)
		return FT_OK;
	return ft_fail(
		r->e, FT_E_INPUT,
		"%s, line %u is in degrees %s, but other lines or the heading are in degrees %s; bring all into one unit.",
		r->what, row->line, in_cell == FT_COLD_C ? "C" : "F", in_cell == FT_COLD_C ? "F" : "C");
}

static enum ft_status add_row(struct reading *r, const struct ft_csv_row *row)
{
	struct ft_slice time, date = when(r, row, &time), cell = ft_csv_field(row, r->c.temperature);
	struct ft_cold_log *log = r->log;
	struct ft_cold_sample *grown;
	enum ft_cold_unit unit;
	enum ft_status s;
	int64_t us;
	int offset;
	double v;

	if (r->c.count < COLD_COLUMNS_MAX && row->count > r->c.count && too_wide(r, row) != FT_OK)
		return FT_E_INPUT;
	if (!ft_stamp_read(&r->form, date, time, &us, &offset))
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: \"%.*s%s%.*s\" is no time as the other lines have it.", r->what,
		               row->line, FT_P(short_of(date)), time.n ? " " : "", FT_P(short_of(time)));
	if (r->form.order == FT_STAMP_ELAPSED && r->c.seconds_each != 1)
		us = us > FAR_US || us < -FAR_US ? us : us * (int64_t)r->c.seconds_each;
	if (us > FAR_US || us < -FAR_US)
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: a time thousands of years away is no time of a log.", r->what,
		               row->line);
	if (!log->rows++)
		log->offset_minutes = offset;
	if ((s = add_marks(r, row, us)) != FT_OK)
		return s;
	if (!cold_value(cell, &v, &unit)) {
		if (!log->missing++)
			log->missing_line = row->line;
		return FT_OK;
	}
	if ((s = same_unit(r, row, unit)) != FT_OK)
		return s;
	grown = ft_arena_grow(r->a, log->samples, log->count, &r->room, sizeof *grown);
	if (!grown)
		return ft_fail_memory(r->e, "reading the log");
	log->samples = grown;
	log->samples[log->count++] = (struct ft_cold_sample){ us, v, row->line };
	return FT_OK;
}

/* As many samples as there are lines like the second: growing would touch four times as much memory. */
static void reserve(struct reading *r)
{
	const char *end = r->table.p + r->table.n, *first = memchr(r->table.p, '\n', r->table.n);
	const char *second = first && ++first < end ? memchr(first, '\n', (size_t)(end - first)) : NULL;

	if (!second || second - first < LINE_LEAST)
		return;
	r->room = r->table.n / (size_t)(second - first + 1) + 1;
	r->log->samples = ft_arena_raw(r->a, r->room * sizeof *r->log->samples);
	if (!r->log->samples)
		r->room = 0; /* the arena has failed: the first sample says so */
}

static enum ft_status each_row(struct reading *r, enum ft_status (*take)(struct reading *, const struct ft_csv_row *))
{
	struct ft_csv_stream s;
	enum ft_status st = ft_csv_start(&s, r->table, r->what, r->a, r->e);
	bool more = true, first = true;

	s.line = r->table_line;
	r->learned = false;
	while (st == FT_OK && !r->learned) {
		st = ft_csv_next(&s, &more);
		if (st != FT_OK || !more)
			break;
		if ((first && !r->c.headless) || s.row.line == r->units_line || is_blank(&s.row)) {
			first = false;
			continue;
		}
		first = false;
		st = take(r, &s.row);
	}
	return st;
}

/* ---- C or F ---- */

static bool kelvin(const char *heading)
{
	struct cold_word w = cold_word_of(ft_slice_of(heading));
	size_t n = strlen(w.text);

	return cold_has(&w, "kelvin") || cold_has(&w, "(k)") || cold_has(&w, "[k]") ||
		(n > 1 && w.text[n - 1] == 'k' && strchr(" _-,", w.text[n - 2]));
}

/* Where nothing says it: what a cabinet of this kind likely reads, taken one way or the other. */
static enum ft_status likely_unit(struct reading *r)
{
	const struct ft_cold_log *log = r->log;
	size_t step = log->count / LIKELY_SAMPLES + 1, as_c = 0, as_f = 0;
	struct ft_cold_rule rule;

	ft_cold_rule_of(r->o->kind, &rule);
	for (size_t i = 0; i < log->count; i += step) {
		double c = log->samples[i].c, f = (c - 32) * 5 / 9;
		as_c += c >= rule.likely_from_c && c <= rule.likely_to_c;
		as_f += f >= rule.likely_from_c && f <= rule.likely_to_c;
	}
	if (kelvin(r->log->column))
		return ft_fail(r->e, FT_E_INPUT,
		               "The column \"%.60s\" of %s is in kelvin; take 273.15 off and write degrees C.", r->log->column,
		               r->what);
	if (as_c == as_f || (as_c > as_f ? as_c < 4 * as_f : as_f < 4 * as_c))
		return ft_fail(
			r->e, FT_E_INPUT,
			"Nothing in %s tells whether it is in degrees C or F, and its values fit neither or both; say --unit C or --unit F.",
			r->what);
	r->log->unit = as_c > as_f ? FT_COLD_C : FT_COLD_F;
	r->log->told = FT_COLD_TOLD_LIKELY;
	return FT_OK;
}

static void decide_unit(struct reading *r)
{
	struct ft_cold_log *log = r->log;
	const struct {
		enum ft_cold_unit unit;
		enum ft_cold_told told;
	} by[] = { { r->o->unit, FT_COLD_TOLD_ASKED },
		       { r->c.unit_told, FT_COLD_TOLD_HEADING },
		       { r->row_unit, FT_COLD_TOLD_HEADING },
		       { r->cell_unit, FT_COLD_TOLD_VALUES },
		       { r->preamble_unit, FT_COLD_TOLD_HEADING } };

	for (size_t i = 0; i < sizeof by / sizeof *by; i++) {
		if (by[i].unit != FT_COLD_UNIT_UNKNOWN) {
			log->unit = by[i].unit;
			log->told = by[i].told;
			return;
		}
	}
}

/* A log that goes from one unit to the other leaps by just as much and stays there. */
static enum ft_status find_leap(struct reading *r)
{
	const struct ft_cold_sample *s = r->log->samples;

	for (size_t i = 1; i + 1 < r->log->count; i++) {
		double leap = s[i].c - s[i - 1].c;
		if ((leap > -15 && leap < 15) || fabs(s[i + 1].c - s[i].c) > 3)
			continue;
		if (fabs(s[i].c - (s[i - 1].c * 1.8 + 32)) < 1.5 || fabs(s[i].c - (s[i - 1].c - 32) / 1.8) < 1)
			return ft_fail(r->e, FT_E_INPUT,
			               "%s, line %u: the values go from degrees %s to degrees %s here; bring all into one unit.",
			               r->what, s[i].line, leap > 0 ? "C" : "F", leap > 0 ? "F" : "C");
	}
	return FT_OK;
}

static enum ft_status convert(struct reading *r)
{
	struct ft_cold_log *log = r->log;
	bool f = log->unit == FT_COLD_F;

	for (size_t i = 0; i < log->count; i++) {
		double told = log->samples[i].c, c = f ? (told - 32) * 5 / 9 : told;
		char figure[32];
		if (!(c >= IMPOSSIBLE_BELOW && c <= IMPOSSIBLE_ABOVE)) {
			snprintf(figure, sizeof figure, fabs(told) < 1e6 ? "%.1f" : "%.3g", told);
			return ft_fail(
				r->e, FT_E_INPUT,
				"%s, line %u: %s degrees %s is impossible in a cabinet; look at the probe and its plug, and take such lines out.",
				r->what, log->samples[i].line, figure, f ? "F" : "C");
		}
		log->samples[i].c = c;
	}
	return FT_OK;
}

/* One reading that leaps away and back between two that agree is the logger's and not the air's: a loose plug, or the
 * value a probe gives when it has just been switched on. Neighbours stay neighbours whichever way the log is sorted. */
static void drop_spikes(struct ft_cold_log *log)
{
	struct ft_cold_sample *s = log->samples;
	size_t kept = 1;

	for (size_t i = 1; i < log->count; i++) {
		const struct ft_cold_sample *before = &s[kept - 1], *after = &s[i + 1];
		if (i + 1 < log->count && fabs(s[i].c - before->c) > SPIKE && fabs(s[i].c - after->c) > SPIKE &&
		    fabs(after->c - before->c) < SPIKE_BACK && llabs(after->at_us - before->at_us) <= SPIKE_WITHIN) {
			if (!log->spikes++)
				log->spike_line = s[i].line;
			continue;
		}
		s[kept++] = s[i];
	}
	log->count = log->count ? kept : 0;
}

/* ---- the whole ---- */

static enum ft_status first_rows(struct reading *r)
{
	struct ft_csv_stream s;
	struct ft_csv_row head;
	struct ft_slice *fields;
	bool more = false;
	enum ft_status st = ft_csv_start(&s, r->table, r->what, r->a, r->e);

	s.line = r->table_line;
	if (st == FT_OK)
		st = ft_csv_next(&s, &more);
	if (st != FT_OK)
		return st;
	head = s.row;
	fields = FT_NEW_ARRAY(r->a, head.count, struct ft_slice);
	if (!fields)
		return ft_fail_memory(r->e, "reading the log");
	memcpy(fields, head.fields, head.count * sizeof *fields);
	head.fields = fields;
	st = ft_csv_next(&s, &more);
	if (st == FT_OK)
		st = cold_find_columns(&head, more ? &s.row : NULL, r->what, r->o->column, &r->c, r->e);
	if (st == FT_OK && r->c.temperature < 0)
		return ft_fail(r->e, FT_E_INPUT,
		               "%s has no column of temperatures; give one the heading temperature_c or temperature_f.",
		               r->what);
	if (st != FT_OK)
		return st;
	if (more && !r->c.headless)
		is_units_row(r, &s.row);
	r->log->columns = r->c.temperatures;
	r->log->column = r->c.headless ? "" : ft_arena_text(r->a, ft_csv_field(&head, r->c.temperature));
	return r->log->column ? FT_OK : ft_fail_memory(r->e, "reading the log");
}

enum ft_status ft_cold_read(struct ft_slice bytes, const char *what, const struct ft_cold_read_options *o,
                            struct ft_arena *a, struct ft_cold_log *ret, struct ft_error *e)
{
	struct reading r = { .o = o, .what = what, .a = a, .log = ret, .e = e, .last_door = -1 };
	enum ft_status s;

	*ret = (struct ft_cold_log){ 0 };
	r.form.default_offset_minutes = o->offset_minutes;
	if (bytes.n > FT_CSV_BYTES_MAX || (bytes.n && memchr(bytes.p, 0, bytes.n)))
		return ft_csv_start(&(struct ft_csv_stream){ 0 }, bytes, what, a, e);
	s = find_table(&r, bytes);
	if (s == FT_OK)
		s = first_rows(&r);
	if (s == FT_OK)
		s = each_row(&r, learn_row);
	if (s == FT_OK)
		s = ft_stamp_settle(&r.form, what, e);
	if (s == FT_OK) {
		decide_unit(&r);
		reserve(&r);
	}
	if (s == FT_OK)
		s = each_row(&r, add_row);
	if (s == FT_OK && ret->count < 2)
		s = ft_fail(e, FT_E_INPUT, "%s holds %s; a log needs at least two readings.", what,
		            ret->count ? "a single temperature" : "no temperature");
	if (s == FT_OK)
		s = find_leap(&r);
	if (s == FT_OK && ret->unit == FT_COLD_UNIT_UNKNOWN)
		s = likely_unit(&r);
	if (s == FT_OK)
		s = convert(&r);
	if (s == FT_OK)
		drop_spikes(ret);
	ret->elapsed = r.form.order == FT_STAMP_ELAPSED;
	ret->ambiguous_days = r.form.ambiguous;
	if (s == FT_OK)
		s = cold_order(ret, a, e);
	return s;
}
