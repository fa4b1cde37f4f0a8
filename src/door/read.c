/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of door events as units and offices export them. */
#include <stdlib.h>

#include "fettle/csv.h"
#include "fettle/door.h"
#include "fettle/money.h"
#include "fettle/stamp.h"
#include "fettle/time.h"

static bool holds_any(struct ft_slice s, const char *const *parts)
{
	for (; *parts; parts++)
		if (ft_slice_holds(s, *parts))
			return true;
	return false;
}

static bool is_any(struct ft_slice s, const char *const *words)
{
	for (; *words; words++)
		if (ft_slice_eq_nocase(s, ft_slice_of(*words)))
			return true;
	return false;
}

/* 1 opened, 0 closed, -1 says nothing of a door. `bare` also takes words that mean a state only under a heading
 * that speaks of the door. */
static int state_of(struct ft_slice s, bool bare)
{
	static const char *const over[] = { "clear", "ended", " end", "restor", "normal", "not open", "no longer", NULL };
	static const char *const closed[] = { "clos", "shut", NULL };
	static const char *const yes[] = { "1", "true", "on", "yes", "high", "active", "alarm", NULL };
	static const char *const no[] = { "0", "false", "off", "no", "low", "inactive", "ok", "idle", NULL };

	s = ft_slice_trim(s);
	if (ft_slice_holds(s, "not clos") || ft_slice_holds(s, "not shut") || ft_slice_holds(s, "ajar"))
		return holds_any(s, over) ? 0 : 1;
	if (ft_slice_holds(s, "open"))
		return holds_any(s, over) ? 0 : 1;
	if (holds_any(s, closed))
		return 0;
	if (bare && is_any(s, yes))
		return 1;
	if (bare && is_any(s, no))
		return 0;
	return -1;
}

struct columns {
	int date, time;           /* date -1: time holds both */
	int state;                /* -1: rows are spans */
	bool bare, turned;        /* turned: the column is true while the door is closed */
	int begin, end, duration; /* of spans */
};

static struct ft_slice heading(const struct ft_csv *t, unsigned i)
{
	return ft_slice_trim(t->head.fields[i]);
}

/* Does the column tell the state of a door in at least one row? */
static bool tells_state(const struct ft_csv *t, int column, bool bare)
{
	for (size_t i = 0; i < t->count; i++)
		if (state_of(ft_csv_field(&t->rows[i], column), bare) >= 0)
			return true;
	return false;
}

static void find_columns(const struct ft_csv *t, struct columns *c)
{
	static const char *const begins[] = {
		"begin", "start", "from", "opened", "open_time", "open time", "open at", NULL
	};
	static const char *const ends[] = { "end", "until", "closed", "close_time", "close time", "close at", "to", NULL };
	static const char *const durations[] = { "duration", "seconds", "length", NULL };
	static const char *const states[] = { "state",   "status", "event", "type", "value",
		                                  "message", "alarm",  "input", "code", NULL };

	*c = (struct columns){ -1, -1, -1, false, false, -1, -1, -1 };
	for (unsigned i = 0; i < t->head.count; i++) {
		struct ft_slice h = heading(t, i);
		bool door = ft_slice_holds(h, "door");
		if (c->date < 0 && ft_slice_holds(h, "date") && !ft_slice_holds(h, "time"))
			c->date = (int)i;
		else if (c->time < 0 &&
		         (ft_slice_holds(h, "time") || ft_slice_holds(h, "stamp") || ft_slice_eq_nocase(h, FT_SLICE("at"))) &&
		         !holds_any(h, ends) && !holds_any(h, begins))
			c->time = (int)i;
		else if (c->duration < 0 && holds_any(h, durations))
			c->duration = (int)i;
		else if (c->begin < 0 && holds_any(h, begins) && !tells_state(t, (int)i, true))
			c->begin = (int)i;
		else if (c->end < 0 &&
		         (is_any(h, ends) || holds_any(h, (const char *const[]){ "end", "until", "close", NULL })) &&
		         !tells_state(t, (int)i, true))
			c->end = (int)i;
		else if ((door || c->state < 0) && (door || holds_any(h, states)) && tells_state(t, (int)i, door)) {
			c->state = (int)i;
			c->bare = door;
			c->turned = ft_slice_holds(h, "clos") || ft_slice_holds(h, "shut");
		}
	}
	if (c->time < 0 && c->date >= 0) { /* a heading "date" over date and time */
		c->time = c->date;
		c->date = -1;
	}
}

struct reading {
	const struct ft_csv *t;
	const struct columns *c;
	struct ft_stamp_form form;
	const char *what;
	struct ft_arena *a;
	struct ft_door_event *list;
	size_t count, room;
	struct ft_door_table *about;
	bool seconds;
};

static struct ft_slice when(const struct reading *r, const struct ft_csv_row *row, int column,
                            struct ft_slice *ret_time)
{
	bool split = r->c->date >= 0 && column == r->c->time;

	*ret_time = split ? ft_csv_field(row, r->c->time) : (struct ft_slice){ 0 };
	return ft_csv_field(row, split ? r->c->date : column);
}

static enum ft_status no_time(const struct reading *r, const struct ft_csv_row *row, int column, struct ft_slice seen,
                              struct ft_error *e)
{
	return ft_fail(e, FT_E_INPUT, "%s, line %u, column %d: \"%.*s\" is no time; write 2026-11-25 14:03:05.", r->what,
	               row->line, column + 1, (int)(seen.n < 40 ? seen.n : 40), seen.p ? seen.p : "");
}

static enum ft_status learn(struct reading *r, const struct ft_csv_row *row, int column, struct ft_error *e)
{
	struct ft_slice time, date = when(r, row, column, &time);

	if (!date.n || ft_stamp_learn(&r->form, date, time))
		return FT_OK;
	return no_time(r, row, column, time.n ? time : date, e);
}

static enum ft_status add(struct reading *r, const struct ft_csv_row *row, int column, int64_t later_us, bool open,
                          struct ft_error *e)
{
	struct ft_slice time, date = when(r, row, column, &time);
	struct ft_door_event *grown;
	int64_t us;

	if (!ft_stamp_read(&r->form, date, time, &us, NULL))
		return no_time(r, row, column, time.n ? time : date, e);
	grown = ft_arena_grow(r->a, r->list, r->count, &r->room, sizeof *grown);
	if (!grown)
		return ft_fail_memory(e, "reading the door events");
	r->list = grown;
	us += later_us;
	r->seconds |= us % (60 * FT_SECOND) != 0;
	r->list[r->count++] = (struct ft_door_event){ us, open, row->line };
	return FT_OK;
}

static enum ft_status add_span(struct reading *r, const struct ft_csv_row *row, struct ft_error *e)
{
	int begin = r->c->begin >= 0 ? r->c->begin : r->c->time;
	enum ft_status s = add(r, row, begin, 0, true, e);
	struct ft_slice end = ft_csv_field(row, r->c->end);
	double seconds;

	if (s != FT_OK)
		return s;
	if (r->c->end >= 0)
		return end.n ? add(r, row, r->c->end, 0, false, e) : FT_OK; /* still open */
	end = ft_csv_field(row, r->c->duration);
	if (!end.n)
		return FT_OK;
	if (!ft_figure(end, &seconds) || seconds < 0 || seconds > 1e7)
		return ft_fail(e, FT_E_INPUT, "%s, line %u, column %d: a duration must be a number of seconds.", r->what,
		               row->line, r->c->duration + 1);
	return add(r, row, begin, (int64_t)(seconds * 1e6), false, e);
}

static enum ft_status read_rows(struct reading *r, struct ft_error *e)
{
	const struct columns *c = r->c;
	bool spans = c->state < 0;
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < r->t->count; i++) {
		const struct ft_csv_row *row = &r->t->rows[i];
		if (!spans && state_of(ft_csv_field(row, c->state), c->bare) < 0)
			continue;
		s = learn(r, row, spans && c->begin >= 0 ? c->begin : c->time, e);
		if (s == FT_OK && spans && c->end >= 0)
			s = learn(r, row, c->end, e);
	}
	if (s == FT_OK)
		s = ft_stamp_settle(&r->form, r->what, e);
	for (size_t i = 0; s == FT_OK && i < r->t->count; i++) {
		const struct ft_csv_row *row = &r->t->rows[i];
		int state = spans ? 1 : state_of(ft_csv_field(row, c->state), c->bare);
		if (state < 0)
			r->about->passed_over++;
		else
			s = spans ? add_span(r, row, e) : add(r, row, c->time, 0, (state == 1) != c->turned, e);
	}
	return s;
}

static int by_time(const void *a, const void *b)
{
	const struct ft_door_event *x = a, *y = b;

	if (x->at_us != y->at_us)
		return x->at_us < y->at_us ? -1 : 1;
	return x->line < y->line ? -1 : x->line > y->line;
}

enum ft_status ft_door_read(struct ft_slice bytes, const char *what, int offset_minutes, struct ft_arena *a,
                            struct ft_door_event **ret, size_t *ret_count, struct ft_door_table *about,
                            struct ft_error *e)
{
	struct columns c;
	struct ft_csv t = { 0 };
	struct reading r = {
		.t = &t, .c = &c, .form.default_offset_minutes = offset_minutes, .what = what, .a = a, .about = about
	};
	enum ft_status s;

	*about = (struct ft_door_table){ 0 };
	s = ft_csv_read(bytes, what, a, &t, e);
	if (s != FT_OK)
		return s;
	if (!t.count)
		return ft_fail(e, FT_E_INPUT,
		               "%s holds a heading and no row below it; export the hours of the marks once more.", what);
	find_columns(&t, &c);
	if (c.state < 0 && (c.end < 0 && c.duration < 0))
		return ft_fail(
			e, FT_E_INPUT,
			"%s has no column that tells when a door opened or closed; wanted are a time and open or closed, or a "
			"beginning and an end.",
			what);
	if (c.time < 0 && !(c.state < 0 && c.begin >= 0))
		return ft_fail(e, FT_E_INPUT, "%s has no column of times; give one the heading time.", what);
	s = read_rows(&r, e);
	if (s != FT_OK)
		return s;
	if (r.form.order == FT_STAMP_ELAPSED && r.count)
		return ft_fail(e, FT_E_INPUT, "%s counts seconds from an unknown beginning; wanted is the time of day.", what);
	if (r.count)
		qsort(r.list, r.count, sizeof *r.list, by_time);
	about->spans = c.state < 0;
	about->marks = ft_csv_column(&t, "marked_time") >= 0;
	about->ambiguous_days = r.form.ambiguous;
	about->resolution_s = r.seconds || !r.count ? 1 : 60;
	*ret = r.list;
	*ret_count = r.count;
	return FT_OK;
}
