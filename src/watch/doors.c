/* SPDX-License-Identifier: Apache-2.0 */
/* Doors and cabinets of a fleet: openings nobody can explain, visits without one, cabinets too warm, alarms. */
#include <math.h>

#include "fettle/cold.h"
#include "fettle/csv.h"
#include "fettle/stamp.h"
#include "room.h"

/* Between two reads somebody was there, by the audits or by a collection. */
static bool visited(const struct ft_watch_result *r, int64_t at_us)
{
	for (size_t i = 0; i < r->visit_count; i++)
		if (r->visits[i].from_us <= at_us && at_us <= r->visits[i].at_us)
			return true;
	for (size_t i = 0; i < r->collection_count; i++)
		if (r->collections[i].after_us - (r->collections[i].seen ? 0 : FT_DAY / 2) <= at_us &&
		    at_us <= r->collections[i].at_us + (r->collections[i].seen ? 0 : FT_DAY / 2))
			return true;
	return false;
}

static void judge_doors(struct ft_watch_result *r, const struct ft_fleet_door *d, size_t n)
{
	int64_t last = 0;

	for (size_t i = 0; i < n; i++)
		r->since_openings += d[i].open && d[i].at_us >= r->handed_us;
	if (!r->visits_told)
		return;
	for (size_t i = 0; i < n; i++) {
		struct ft_exception *x;
		/* undecided until the next read has come; two openings within the hour are one going to and fro */
		if (!d[i].open || d[i].at_us < r->first_us || d[i].at_us > r->last_us || visited(r, d[i].at_us) ||
		    (last && d[i].at_us - last < 3600 * FT_SECOND))
			continue;
		last = d[i].at_us;
		x = ft_watch_raise(r, FT_RULE_WATCH_DOOR_UNEXPLAINED, NULL, d[i].at_us, d[i].at_us + r->period_us);
		x->sure = 0.9;
		x->seen = ft_arena_printf(r->arena, "the door was opened on %s at %02d:%02d", watch_day(r, d[i].at_us),
		                          ft_civil_of(d[i].at_us, 0).hour, ft_civil_of(d[i].at_us, 0).minute);
		x->expected = "a visit or a collection that the audit knows of";
	}
	for (size_t i = 0; n && i < r->visit_count; i++) {
		const struct ft_visit_seen *v = &r->visits[i];
		bool found = !v->sure || v->at_us < d[0].at_us || v->from_us > d[n - 1].at_us;
		for (size_t k = 0; k < n && !found; k++)
			found = d[k].open && d[k].at_us >= v->from_us && d[k].at_us <= v->at_us;
		if (!found) {
			struct ft_exception *x = ft_watch_raise(r, FT_RULE_WATCH_VISIT_WITHOUT_DOOR, NULL, v->at_us, v->at_us);
			x->sure = 0.9;
			x->seen = ft_arena_printf(r->arena, "somebody was at the machine before %s", watch_day(r, v->at_us));
			x->expected = "an opening of the door; does its switch still work";
		}
	}
}

static size_t same_asset(const struct ft_fleet_door *list, size_t count, size_t from)
{
	size_t n = 1;

	while (from + n < count && strcmp(list[from + n].asset, list[from].asset) == 0)
		n++;
	return n;
}

enum ft_status ft_watch_doors(struct ft_watch_result *results, size_t count, struct ft_fleet_door *list,
                              size_t list_count, struct ft_arena *a, struct ft_error *e)
{
	struct watch_index index;

	if (!watch_index_make(results, count, a, &index))
		return ft_fail_memory(e, "the door events");
	for (size_t i = 0, n; i < list_count; i += n) {
		struct ft_watch_result *r = watch_index_find(&index, list[i].asset);
		n = same_asset(list, list_count, i);
		if (r)
			judge_doors(r, &list[i], n);
	}
	return FT_OK;
}

/* ---- temperatures ---- */

struct cabinet {
	struct ft_watch_result *r; /* NULL: of no machine we know */
	char asset[FT_WATCH_WORD_MAX + 1];
	const struct ft_fleet_door *doors;
	size_t door_count;
	int64_t last_us, warm_us, opened_us; /* warm_us 0: not too warm */
	int64_t allowance_us;
	double most;
	size_t open;      /* index + 1 of the exception that lasts */
	bool alarm, told; /* an alarm stands; it came since it is too warm */
	size_t missed;
};

/* The last opening up to a time; the doors of one machine are in order. */
static void follow_doors(struct cabinet *c, int64_t at_us)
{
	while (c->door_count && c->doors->at_us <= at_us) {
		if (c->doors->open)
			c->opened_us = c->doors->at_us;
		c->doors++;
		c->door_count--;
	}
}

static void warm(struct cabinet *c, int64_t at_us, double value, double limit)
{
	struct ft_watch_result *r = c->r;
	struct ft_exception *x;

	if (!c->warm_us) {
		c->warm_us = at_us;
		c->most = value;
		c->told = c->alarm;
	}
	c->most = fmax(c->most, value);
	if (at_us - c->warm_us < c->allowance_us || at_us - c->opened_us < c->allowance_us)
		return;
	if (!c->open) {
		ft_watch_raise(r, FT_RULE_WATCH_TOO_WARM, NULL, c->warm_us, at_us);
		c->open = r->exception_count;
	}
	if (!c->open)
		return;
	x = &r->exceptions[c->open - 1];
	x->sure = 0.98;
	x->money = r->week_value;
	x->seen = ft_arena_printf(r->arena, "%.1f C at most, above the limit for %.1f h since %s", c->most,
	                          (double)(at_us - c->warm_us) / 3600e6, watch_day(r, c->warm_us));
	x->expected = ft_arena_printf(r->arena, "no more than %.1f C", limit);
}

static void cool(struct cabinet *c, int64_t at_us)
{
	if (c->open)
		c->r->exceptions[c->open - 1].ended_us = at_us;
	c->open = c->missed = 0;
	c->warm_us = 0;
}

/* An alarm is right while it is too warm, else wrong; none in three hours is missed. */
static void judge_alarm(struct cabinet *c, int64_t at_us, bool alarm, double value)
{
	struct ft_exception *x;

	if (alarm && !c->alarm && !c->warm_us) {
		x = ft_watch_raise(c->r, FT_RULE_WATCH_ALARM_WRONG, NULL, at_us, at_us);
		x->sure = 0.9;
		x->seen = ft_arena_printf(c->r->arena, "an alarm on %s at %.1f C", watch_day(c->r, at_us), value);
	}
	c->alarm = alarm;
	c->told |= alarm;
	if (c->open && !c->told && !c->missed && at_us - c->warm_us > 3 * 3600 * FT_SECOND) {
		x = ft_watch_raise(c->r, FT_RULE_WATCH_ALARM_MISSED, NULL, c->warm_us, at_us);
		c->missed = 1;
		x->sure = 0.95;
		x->seen = ft_arena_printf(c->r->arena, "three hours above the limit since %s and no alarm",
		                          watch_day(c->r, c->warm_us));
	}
}

static void begin_cabinet(struct cabinet *c, const struct watch_index *index, struct ft_slice asset,
                          const struct ft_fleet_door *doors, size_t door_count)
{
	size_t n = asset.n < sizeof c->asset - 1 ? asset.n : sizeof c->asset - 1, low = 0, high = door_count;
	int64_t allowance = c->allowance_us;

	memset(c, 0, sizeof *c);
	memcpy(c->asset, asset.p, n);
	c->allowance_us = allowance;
	c->r = watch_index_find(index, c->asset);
	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (strcmp(doors[mid].asset, c->asset) < 0)
			low = mid + 1;
		else
			high = mid;
	}
	c->opened_us = INT64_MIN / 2;
	if (low < door_count && strcmp(doors[low].asset, c->asset) == 0) {
		c->doors = &doors[low];
		c->door_count = same_asset(doors, door_count, low);
	}
}

static int column(const struct ft_csv_row *head, const char *name)
{
	for (unsigned i = 0; i < head->count; i++)
		if (ft_slice_eq_nocase(ft_slice_trim(head->fields[i]), ft_slice_of(name)))
			return (int)i;
	return -1;
}

struct ft_cabinets {
	struct cabinet now;
	struct watch_index index;
	const struct ft_fleet_door *doors;
	size_t door_count;
	struct ft_csv_stream rows;
	const char *what;
	struct ft_arena *arena;
	struct ft_cold_rule rule;
	int64_t until_us;
	bool begun;
	struct ft_strangers strangers;
	char first_strange[sizeof((struct cabinet *)0)->asset];
	int time, asset, value, alarm; /* columns; -1: the table has none */
};

struct ft_cabinets *ft_cabinets_begin(struct ft_watch_result *results, size_t count, const struct ft_fleet_door *doors,
                                      size_t door_count, const char *what, struct ft_arena *a)
{
	struct ft_cabinets *c = FT_NEW(a, struct ft_cabinets);

	if (!c || !watch_index_make(results, count, a, &c->index))
		return NULL;
	c->doors = doors;
	c->door_count = door_count;
	c->what = what;
	c->arena = a;
	c->until_us = FT_NEVER;
	ft_cold_rule_of(FT_COLD_COLD, &c->rule);
	c->now.allowance_us = c->rule.allowance_s * FT_SECOND;
	return c;
}

void ft_cabinets_until(struct ft_cabinets *c, int64_t at_us)
{
	c->until_us = at_us;
}

static enum ft_status read_heading(struct ft_cabinets *c, struct ft_slice lines, struct ft_error *e)
{
	bool more = false;
	enum ft_status s = ft_csv_start(&c->rows, lines, c->what, c->arena, e);

	if (s == FT_OK)
		s = ft_csv_next(&c->rows, &more);
	if (s != FT_OK)
		return s;
	c->time = column(&c->rows.row, "time");
	c->asset = column(&c->rows.row, "asset");
	c->value = column(&c->rows.row, "c");
	c->alarm = column(&c->rows.row, "alarm");
	if (c->time < 0 || c->asset < 0 || c->value < 0)
		return ft_fail(e, FT_E_INPUT, "%s needs the columns time, asset and c in its first line.", c->what);
	c->begun = true;
	return FT_OK;
}

static enum ft_status take_row(struct ft_cabinets *all, struct ft_error *e)
{
	const struct ft_csv_row *row = &all->rows.row;
	struct ft_slice asset = ft_csv_field(row, all->asset);
	struct cabinet *c = &all->now;
	int64_t us;
	double v;

	if (!ft_time_parse(ft_csv_field(row, all->time), 0, &us) || !ft_figure(ft_csv_field(row, all->value), &v))
		return ft_fail(e, FT_E_INPUT, "%s, line %u: a time and a temperature in degrees Celsius were expected.",
		               all->what, row->line);
	if (!ft_slice_is(asset, c->asset) || !c->last_us)
		begin_cabinet(c, &all->index, asset, all->doors, all->door_count);
	all->strangers.rows++;
	if (!c->r && !all->strangers.strange++)
		memcpy(all->first_strange, c->asset, sizeof all->first_strange);
	if (c->r && us > c->last_us && us <= all->until_us) {
		c->r->since_degrees += us >= c->r->handed_us;
		follow_doors(c, us);
		if (v > all->rule.limit_c)
			warm(c, us, v, all->rule.limit_c);
		else
			cool(c, us);
		if (all->alarm >= 0)
			judge_alarm(c, us, ft_slice_is(ft_csv_field(row, all->alarm), "1"), v);
	}
	c->last_us = us;
	return FT_OK;
}

enum ft_status ft_cabinets_take(struct ft_cabinets *c, struct ft_slice lines, struct ft_error *e)
{
	enum ft_status s = c->begun ? ft_csv_go_on(&c->rows, lines) : read_heading(c, lines, e);
	bool more = true;

	while (s == FT_OK && (s = ft_csv_next(&c->rows, &more)) == FT_OK && more)
		s = take_row(c, e);
	return s;
}

struct ft_strangers ft_cabinets_strangers(const struct ft_cabinets *c)
{
	struct ft_strangers s = c->strangers;

	s.first = s.strange ? c->first_strange : NULL;
	return s;
}
