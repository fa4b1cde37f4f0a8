/* SPDX-License-Identifier: Apache-2.0 */
/* Door events as an audit tells them: its log of events (EA1) with the codes of the cabinet door. */
#include <stdlib.h>

#include "judge.h"

#include "fettle/stamp.h"
#include "fettle/time.h"

/* EVA-DTS event codes, tables of the cabinet (data/event-codes.csv). */
static const struct {
	const char *code;
	bool open;
} door_codes[] = { { "EGS", true }, { "EGT", false } };

/* "250309" or "20250309" with "1422" or "101533". */
static bool when(struct ft_slice date, struct ft_slice time, int64_t *ret_us, bool *ret_seconds)
{
	struct ft_civil c = { 0 };
	int64_t d, t;

	if ((date.n != 6 && date.n != 8) || (time.n != 4 && time.n != 6) || !ft_slice_i64(date, &d) ||
	    !ft_slice_i64(time, &t))
		return false;
	if (time.n == 4)
		t *= 100;
	c = (struct ft_civil){ (int)(d / 10000), (int)(d / 100 % 100), (int)(d % 100),
		                   (int)(t / 10000), (int)(t / 100 % 100), (int)(t % 100) };
	if (date.n == 6)
		c.year += 2000;
	if (!ft_date_valid(c.year, c.month, c.day) || c.hour > 23 || c.minute > 59 || c.second > 59)
		return false;
	*ret_us = ft_unix_of(&c, 0);
	*ret_seconds |= time.n == 6 && c.second != 0;
	return true;
}

static int by_time(const void *a, const void *b)
{
	const struct ft_door_event *x = a, *y = b;

	return x->at_us < y->at_us ? -1 : x->at_us > y->at_us;
}

enum ft_status ft_door_of_audit(const struct ft_summary *s, int offset_minutes, struct ft_arena *a,
                                struct ft_door_event **ret, size_t *ret_count, int *ret_resolution_s,
                                struct ft_error *e)
{
	struct ft_door_event *list = FT_NEW_ARRAY(a, 2 * s->event_count + 1, struct ft_door_event);
	size_t n = 0;
	bool seconds = false;

	if (!list)
		return ft_fail_memory(e, "reading the door events");
	for (size_t i = 0; i < s->event_count; i++) {
		const struct ft_event_row *row = &s->events[i];
		int64_t us, minutes;
		for (size_t k = 0; k < sizeof door_codes / sizeof *door_codes; k++) {
			if (row->counted || !ft_slice_is(row->code, door_codes[k].code) ||
			    !when(row->date, row->time, &us, &seconds))
				continue;
			us -= offset_minutes * 60 * FT_SECOND; /* the machine's clock is local */
			list[n++] = (struct ft_door_event){ us, door_codes[k].open, 0 };
			/* an opening with its length tells the closing too */
			if (door_codes[k].open && row->duration.n && ft_slice_i64(row->duration, &minutes) && minutes >= 0 &&
			    minutes < 100000)
				list[n++] = (struct ft_door_event){ us + minutes * 60 * FT_SECOND, false, 0 };
		}
	}
	qsort(list, n, sizeof *list, by_time);
	*ret = list;
	*ret_count = n;
	*ret_resolution_s = seconds ? 1 : 60;
	return FT_OK;
}

/* ---- the claim ---- */

struct gathered {
	struct ft_door_event *list;
	size_t count, room;
	const char *name;
	int evidence; /* the last one that held some; -1: none */
	int resolution_s;
	bool ambiguous_days;
};

static void add(struct judging *j, struct gathered *g, const struct ft_door_event *list, size_t n, int evidence,
                const char *name, int resolution_s)
{
	for (size_t i = 0; i < n; i++) {
		struct ft_door_event *grown = ft_arena_grow(j->a, g->list, g->count, &g->room, sizeof *grown);
		if (!grown) {
			j->no_room = true;
			return;
		}
		g->list = grown;
		g->list[g->count++] = list[i];
	}
	if (!n)
		return;
	g->evidence = evidence;
	g->name = name;
	g->resolution_s = resolution_s > g->resolution_s ? resolution_s : g->resolution_s;
}

static void sort(struct gathered *g)
{
	if (g->count) /* qsort takes no NULL, even for nothing */
		qsort(g->list, g->count, sizeof *g->list, by_time);
}

/* Tables under the heading of our own marks are marks, every other one tells events. */
static void gather_tables(struct judging *j, struct gathered *marks, struct gathered *events)
{
	for (size_t i = 0; i < j->v->evidence_count; i++) {
		const struct ft_evidence *x = &j->v->evidence[i];
		struct ft_door_event *list = NULL;
		struct ft_door_table about = { 0 };
		struct ft_error own = { 0 };
		size_t n = 0;
		if (x->kind != FT_EVIDENCE_DOOR)
			continue;
		if (ft_door_read(x->bytes, x->name, j->v->opened_offset, j->a, &list, &n, &about, &own) != FT_OK)
			judge_unreadable(j, (int)i, own.text);
		else
			add(j, about.marks ? marks : events, list, n, (int)i, x->name, about.resolution_s);
		if (n && !about.marks)
			events->ambiguous_days |= about.ambiguous_days;
	}
	sort(marks);
	sort(events);
}

enum ft_status judge_door(struct judging *j, struct ft_error *e)
{
	struct gathered marks = { .evidence = -1 }, events = { .evidence = -1 };
	struct ft_door_options o = { 0 };
	enum ft_status s = FT_OK;

	j->door_marks = j->door_events = -1;
	j->door_found.from = j->door_found.to = (int)j->g->findings.count;
	gather_tables(j, &marks, &events);
	if (marks.count && !events.count && j->after.summary && j->after.facts) {
		struct ft_door_event *list = NULL;
		size_t n = 0;
		int resolution_s = 60;
		s = ft_door_of_audit(j->after.summary, j->v->opened_offset, j->a, &list, &n, &resolution_s, e);
		if (s == FT_OK)
			add(j, &events, list, n, j->after.evidence, j->v->evidence[j->after.evidence].name, resolution_s);
	}
	j->door_marks = marks.evidence;
	j->door_events = events.evidence;
	if (s == FT_OK && marks.count && events.count) {
		j->door = FT_NEW(j->a, struct ft_door_result);
		if (!j->door)
			return ft_fail_memory(e, "judging the visit");
		o.marks_name = marks.name;
		o.events_name = events.name;
		o.resolution_s = events.resolution_s;
		o.offset_minutes = j->v->opened_offset;
		o.ambiguous_days = events.ambiguous_days;
		s = ft_door_match(marks.list, marks.count, events.list, events.count, &o, j->a, &j->g->findings, j->door, e);
	}
	j->door_found.to = (int)j->g->findings.count;
	return s;
}
