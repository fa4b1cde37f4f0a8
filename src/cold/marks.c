/* SPDX-License-Identifier: Apache-2.0 */
/* Marks of the door, of services and of checks, in a column of the log or in a table of their own. */
#include <math.h>
#include <stdlib.h>

#include "room.h"

#include "fettle/time.h"

#define MARK_FAR_US (100000000000 * FT_SECOND) /* as in a log; nothing is marked there */

static bool is(const struct cold_word *w, const char *const *words)
{
	for (; *words; words++)
		if (strcmp(w->text, *words) == 0)
			return true;
	return false;
}

static bool letter(char c)
{
	return c >= 'a' && c <= 'z';
}

/* Does a word of the cell begin so, or (`whole`) is one just that? "service" holds "ice" and "download" holds "load". */
static bool has_word(const struct cold_word *w, const char *part, bool whole)
{
	size_t n = strlen(part);

	for (const char *at = strstr(w->text, part); at; at = strstr(at + 1, part))
		if ((at == w->text || !letter(at[-1])) && !(whole && letter(at[n])))
			return true;
	return false;
}

bool cold_mark_word(struct ft_slice cell, bool door, enum ft_cold_mark_kind *ret)
{
	static const struct {
		const char *part;
		enum ft_cold_mark_kind kind;
		bool whole;
	} parts[] = { /* what turns another about stands before it */
		          { "ice", FT_COLD_ICE, true },
		          { "defrost", FT_COLD_DEFROST, false },
		          { "reference", FT_COLD_REFERENCE, false },
		          { "thermometer", FT_COLD_REFERENCE, false },
		          { "service", FT_COLD_SERVICE, false },
		          { "fill", FT_COLD_SERVICE, false },
		          { "refill", FT_COLD_SERVICE, false },
		          { "stock", FT_COLD_SERVICE, false },
		          { "restock", FT_COLD_SERVICE, false },
		          { "load", FT_COLD_SERVICE, false },
		          { "reload", FT_COLD_SERVICE, false },
		          { "not clos", FT_COLD_OPENED, false },
		          { "not shut", FT_COLD_OPENED, false },
		          { "not open", FT_COLD_CLOSED, false },
		          { "open cleared", FT_COLD_CLOSED, false },
		          { "clos", FT_COLD_CLOSED, false },
		          { "shut", FT_COLD_CLOSED, false },
		          { "open", FT_COLD_OPENED, false },
		          { "ajar", FT_COLD_OPENED, true }
	};
	static const char *const yes[] = { "1", "true", "on", "yes", NULL },
							 *const no[] = { "0", "false", "off", "no", NULL };
	struct cold_word w = cold_word_of(cell);

	if (!w.text[0])
		return false;
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
		if (has_word(&w, parts[i].part, parts[i].whole)) {
			*ret = parts[i].kind;
			return true;
		}
	}
	if (door && (is(&w, yes) || is(&w, no))) {
		*ret = is(&w, yes) ? FT_COLD_OPENED : FT_COLD_CLOSED;
		return true;
	}
	return false;
}

struct ft_cold_mark *cold_mark_add(struct ft_cold_log *log, size_t *room, struct ft_arena *a, int64_t at_us,
                                   enum ft_cold_mark_kind kind, double value, unsigned line)
{
	struct ft_cold_mark *grown = ft_arena_grow(a, log->marks, log->mark_count, room, sizeof *grown);

	if (!grown)
		return NULL;
	log->marks = grown;
	log->marks[log->mark_count] = (struct ft_cold_mark){ at_us, kind, value, line };
	return &log->marks[log->mark_count++];
}

static int by_time(const void *a, const void *b)
{
	const struct ft_cold_mark *x = a, *y = b;

	if (x->at_us != y->at_us)
		return x->at_us < y->at_us ? -1 : 1;
	return x->line < y->line ? -1 : x->line > y->line;
}

void cold_marks_sort(struct ft_cold_log *log)
{
	if (log->mark_count) /* qsort takes no NULL, even for nothing */
		qsort(log->marks, log->mark_count, sizeof *log->marks, by_time);
}

/* The first cell beside the time that marks something, and a figure beside that. */
static bool mark_of(const struct ft_csv *t, const struct ft_csv_row *row, const struct cold_columns *c,
                    enum ft_cold_mark_kind *ret, double *ret_value)
{
	bool found = false;
	enum ft_cold_unit unit;
	double v;

	*ret_value = NAN;
	for (int i = 0; i < (int)row->count && i < COLD_COLUMNS_MAX; i++) {
		struct cold_word head = cold_word_of(ft_csv_field(&t->head, i));
		struct ft_slice cell = ft_csv_field(row, i);
		if (i == c->time || i == c->date)
			continue;
		if (!found && cold_mark_word(cell, cold_has(&head, "door"), ret)) {
			found = true;
		} else if (cold_value(cell, &v, &unit)) {
			bool f = unit == FT_COLD_F ||
				(unit == FT_COLD_UNIT_UNKNOWN && cold_unit_in(ft_csv_field(&t->head, i)) == FT_COLD_F);
			*ret_value = f ? (v - 32) * 5 / 9 : v;
		}
	}
	return found;
}

/* What the log brought stays as it is: the list is begun anew with the first mark of the file. */
static bool keep_mark(struct ft_cold_log *log, size_t before, size_t *room, struct ft_arena *a, int64_t us,
                      enum ft_cold_mark_kind kind, double value, unsigned line)
{
	if (!*room) {
		struct ft_cold_mark *list = FT_NEW_ARRAY(a, before + 16, struct ft_cold_mark);
		if (!list)
			return false;
		if (before)
			memcpy(list, log->marks, before * sizeof *list);
		log->marks = list;
		*room = before + 16;
	}
	return cold_mark_add(log, room, a, us, kind, value, line);
}

enum ft_status ft_cold_marks_read(struct ft_slice bytes, const char *what, int offset_minutes, struct ft_arena *a,
                                  struct ft_cold_log *log, struct ft_error *e)
{
	struct ft_stamp_form form = { .default_offset_minutes = offset_minutes };
	struct ft_csv t = { 0 };
	struct cold_columns c;
	enum ft_status s = ft_csv_read(bytes, what, a, &t, e);
	size_t room = 0, before = log->mark_count;
	enum ft_cold_mark_kind kind;
	double value;

	if (s == FT_OK)
		s = cold_find_columns(&t.head, t.count ? &t.rows[0] : NULL, what, NULL, &c, e);
	for (int pass = 0; s == FT_OK && pass < 2; pass++) {
		for (size_t i = 0; s == FT_OK && i < t.count; i++) {
			struct ft_slice time = ft_csv_field(&t.rows[i], c.time), date = time;
			int64_t us;
			if (!mark_of(&t, &t.rows[i], &c, &kind, &value))
				continue;
			if (c.date >= 0)
				date = ft_csv_field(&t.rows[i], c.date);
			else
				time = (struct ft_slice){ 0 };
			us = 0;
			if (!(pass ? ft_stamp_read(&form, date, time, &us, NULL) : ft_stamp_learn(&form, date, time)))
				s = ft_fail(e, FT_E_INPUT, "%s, line %u: \"%.*s\" is no time; write 2026-11-25 14:03:05.", what,
				            t.rows[i].line, (int)(date.n < 40 ? date.n : 40), date.p ? date.p : "");
			else if (us > MARK_FAR_US || us < -MARK_FAR_US)
				continue;
			else if (pass && !keep_mark(log, before, &room, a, us, kind, value, t.rows[i].line))
				return ft_fail_memory(e, "reading the marks");
		}
		if (s == FT_OK && !pass)
			s = ft_stamp_settle(&form, what, e);
	}
	if (s == FT_OK && log->mark_count == before)
		s = ft_fail(
			e, FT_E_INPUT,
			"%s holds no mark that is known; wanted are a time and opened, closed, service, filled, defrost, ice or reference.",
			what);
	if (s == FT_OK && (form.order == FT_STAMP_ELAPSED) != log->elapsed)
		s = ft_fail(e, FT_E_INPUT,
		            "%s and the log count time differently: one from a beginning of its own, one by the calendar.",
		            what);
	cold_marks_sort(log);
	return s;
}
