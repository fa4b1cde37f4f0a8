/* SPDX-License-Identifier: Apache-2.0 */
/* Lays the events beside the marks. For each likely shift between the clocks, and both ways round the switch may be
 * wired, the cheapest ordered pairing is found; the cheapest of all is what happened. */
#include <stdlib.h>

#include "fettle/door.h"
#include "fettle/money.h"
#include "fettle/time.h"

#define WITHIN_US (60 * FT_SECOND)
#define LATE_US   (10 * FT_SECOND)
#define BOUNCE_US (3 * FT_SECOND)
#define NEAR_US   (5 * FT_SECOND)       /* a shift below this is delay and no clock */
#define ZONE_US   (15 * 60 * FT_SECOND) /* time zones differ by quarters of an hour */

/* Costs are microseconds of delay; these are what the less likely explanation must save to be believed. */
#define TURNED_COST (8 * FT_SECOND)
#define CLOCK_COST  (8 * FT_SECOND)
#define BOUNCE_COST (2 * FT_SECOND)

enum {
	CELLS_MAX = 4 << 20, /* marks times events of one pairing */
	CANDIDATES_MAX = 48,
	TOLD_MAX = 10, /* findings of one kind; the rest is counted */
};

struct matching {
	const struct ft_door_event *marks, *events;
	int mark_count, event_count;
	struct ft_door_options o;
	int64_t early_us; /* how much earlier than the mark an event may be stamped */
	struct ft_arena *a;
	int64_t *cost;   /* of the two last rows */
	uint8_t *step;   /* (mark_count + 1) x (events in reach + 1) */
	int first, last; /* events in reach of the shift tried: first <= i < last */
	int64_t best, best_shift;
	bool best_turned;
};

enum { PAIR = 1, MISSED, INVENTED, TREMBLE };

static int first_at(const struct matching *m, int64_t us)
{
	int low = 0, high = m->event_count;

	while (low < high) {
		int mid = (low + high) / 2;
		if (m->events[mid].at_us < us)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

static int64_t lag_cost(const struct matching *m, int mark, int event, int64_t shift, bool turned)
{
	int64_t lag = m->events[event].at_us - m->marks[mark].at_us - shift;

	if ((m->events[event].open != turned) != m->marks[mark].open || lag < -m->early_us || lag > m->o.within_us)
		return INT64_MAX;
	return lag < 0 ? -lag : lag;
}

static bool trembles(const struct matching *m, int event)
{
	return event > m->first && m->events[event].at_us - m->events[event - 1].at_us <= m->o.bounce_us;
}

static void consider(int64_t cost, uint8_t step, int64_t *best, uint8_t *ret_step)
{
	if (cost < *best) {
		*best = cost;
		*ret_step = step;
	}
}

/* The cheapest pairing at one shift; steps are kept so that it can be walked back. */
static int64_t pair_up(struct matching *m, int64_t shift, bool turned)
{
	int64_t skip = m->o.within_us / 2, end = m->marks[m->mark_count - 1].at_us + shift + m->o.within_us;
	int width;
	int64_t *row = m->cost, *above;

	m->first = first_at(m, m->marks[0].at_us + shift - m->early_us);
	m->last = first_at(m, end + 1);
	width = m->last - m->first + 1;
	above = m->cost + width;
	if ((int64_t)width * (m->mark_count + 1) > CELLS_MAX)
		return INT64_MAX;
	for (int i = 0; i <= m->mark_count; i++) {
		int64_t *swap = above;
		above = row;
		row = swap;
		for (int k = 0; k < width; k++) {
			int64_t best = i == 0 && k == 0 ? 0 : INT64_MAX, lag;
			uint8_t step = 0;
			int event = m->first + k - 1;
			if (i > 0)
				consider(above[k] + skip, MISSED, &best, &step);
			if (k > 0)
				consider(row[k - 1] + (trembles(m, event) ? BOUNCE_COST : skip),
				         trembles(m, event) ? TREMBLE : INVENTED, &best, &step);
			if (i > 0 && k > 0 && (lag = lag_cost(m, i - 1, event, shift, turned)) != INT64_MAX)
				consider(above[k - 1] + lag, PAIR, &best, &step);
			row[k] = best;
			m->step[(size_t)i * (size_t)width + (size_t)k] = step;
		}
	}
	return row[width - 1];
}

/* A shift of up to a few seconds, or of whole quarters of an hour, needs no clock that is wrong. */
static int64_t clock_part(int64_t shift)
{
	int64_t zones = (shift >= 0 ? shift : shift - ZONE_US + 1) / ZONE_US * ZONE_US;

	return shift - zones <= NEAR_US ? zones : shift;
}

static void try_shift(struct matching *m, int64_t shift, bool turned)
{
	int64_t cost = pair_up(m, shift, turned);

	if (cost == INT64_MAX)
		return;
	cost += (turned ? TURNED_COST : 0) + (clock_part(shift) ? CLOCK_COST : 0);
	if (cost < m->best) {
		m->best = cost;
		m->best_shift = shift;
		m->best_turned = turned;
	}
}

static int by_value(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

/* Shifts at which many marks have an event of their kind within reach, most first. */
static enum ft_status try_likely(struct matching *m, bool turned, struct ft_error *e)
{
	size_t all = (size_t)m->mark_count * (size_t)m->event_count, n = 0;
	struct {
		int64_t shift;
		size_t votes;
	} best[CANDIDATES_MAX];
	size_t kept = 0;
	int64_t *shifts = ft_arena_raw(m->a, (all + 1) * sizeof *shifts);

	if (!shifts)
		return ft_fail_memory(e, "comparing the door events");
	for (int i = 0; i < m->mark_count; i++)
		for (int k = 0; k < m->event_count; k++)
			if ((m->events[k].open != turned) == m->marks[i].open)
				shifts[n++] = m->events[k].at_us - m->marks[i].at_us;
	qsort(shifts, n, sizeof *shifts, by_value);
	for (size_t i = 0, end = 0; i < n; i++) {
		size_t at;
		while (end < n && shifts[end] - shifts[i] <= m->o.within_us)
			end++;
		if (i && shifts[i] == shifts[i - 1])
			continue;
		for (at = kept; at > 0 && best[at - 1].votes < end - i; at--)
			if (at < CANDIDATES_MAX)
				best[at] = best[at - 1];
		if (at < CANDIDATES_MAX) {
			best[at].shift = shifts[i];
			best[at].votes = end - i;
			kept += kept < CANDIDATES_MAX;
		}
	}
	for (size_t i = 0; i < kept; i++)
		try_shift(m, best[i].shift, turned);
	return FT_OK;
}

static enum ft_status walk_back(struct matching *m, struct ft_door_result *r, struct ft_error *e)
{
	int width, i = m->mark_count, k;
	size_t n = 0, most;

	pair_up(m, m->best_shift, m->best_turned);
	width = m->last - m->first + 1;
	most = (size_t)m->mark_count + (size_t)width;
	r->pairs = FT_NEW_ARRAY(m->a, most, struct ft_door_pair);
	if (!r->pairs)
		return ft_fail_memory(e, "comparing the door events");
	for (k = width - 1; i > 0 || k > 0;) {
		uint8_t step = m->step[(size_t)i * (size_t)width + (size_t)k];
		struct ft_door_pair *p = &r->pairs[most - ++n];
		*p = (struct ft_door_pair){ .mark = -1, .event = -1, .bounce = step == TREMBLE };
		if (step == PAIR || step == MISSED)
			p->mark = --i;
		if (step != MISSED)
			p->event = m->first + --k;
	}
	memmove(r->pairs, r->pairs + (most - n), n * sizeof *r->pairs);
	r->pair_count = n;
	return FT_OK;
}

static void measure(struct matching *m, struct ft_door_result *r, int64_t *lags)
{
	int64_t least = INT64_MAX;

	for (size_t i = 0; i < r->pair_count; i++) {
		struct ft_door_pair *p = &r->pairs[i];
		r->missed += p->event < 0;
		r->invented += p->mark < 0 && !p->bounce;
		r->bounces += p->bounce;
		if (p->mark < 0 || p->event < 0)
			continue;
		p->delay_us = m->events[p->event].at_us - m->marks[p->mark].at_us;
		least = p->delay_us < least ? p->delay_us : least;
		r->matched++;
	}
	if (!r->matched)
		return;
	r->offset_us = m->o.same_clock ? 0 : clock_part(least);
	for (size_t i = 0, n = 0; i < r->pair_count; i++) {
		struct ft_door_pair *p = &r->pairs[i];
		if (p->mark < 0 || p->event < 0)
			continue;
		p->delay_us -= r->offset_us;
		r->late += p->delay_us >= m->o.late_us + m->early_us - FT_SECOND;
		lags[n++] = p->delay_us;
	}
	qsort(lags, r->matched, sizeof *lags, by_value);
	r->delay_us = lags[r->matched / 2];
	r->delay_max_us = lags[r->matched - 1];
}

/* Local, as the table beside it tells it. */
static const char *stamp(const struct matching *m, const struct ft_door_event *x)
{
	char text[FT_TIME_TEXT];

	ft_time_text(x->at_us, m->o.offset_minutes, text);
	return ft_arena_printf(m->a, "%s at %s", x->open ? "opened" : "closed", text + sizeof "2026-11-25");
}

static void tell_pairs(const struct matching *m, const struct ft_door_result *r, struct ft_findings *f)
{
	size_t missed = 0, invented = 0, late = 0;

	for (size_t i = 0; i < r->pair_count; i++) {
		const struct ft_door_pair *p = &r->pairs[i];
		const struct ft_door_event *mark = p->mark < 0 ? NULL : &m->marks[p->mark];
		const struct ft_door_event *event = p->event < 0 ? NULL : &m->events[p->event];
		struct ft_where at_mark = { .file = m->o.marks_name, .line = mark ? mark->line : 0 };
		struct ft_where at_event = { .file = m->o.events_name, .line = event ? event->line : 0 };
		if (mark && !event && missed++ < TOLD_MAX)
			ft_find(f, FT_RULE_DOOR_MISSED, at_mark, "no event", stamp(m, mark));
		else if (event && !mark && !p->bounce && invented++ < TOLD_MAX)
			ft_find(f, FT_RULE_DOOR_INVENTED, at_event, stamp(m, event), "nothing; nobody marked it");
		else if (event && mark && p->delay_us >= m->o.late_us + m->early_us - FT_SECOND && late++ < TOLD_MAX)
			ft_find(f, FT_RULE_DOOR_LATE, at_event,
			        ft_arena_printf(m->a, "%lld s late", (long long)(p->delay_us / FT_SECOND)),
			        ft_arena_printf(m->a, "within %lld s", (long long)(m->o.late_us / FT_SECOND)));
	}
}

static void tell(const struct matching *m, const struct ft_door_result *r, struct ft_findings *f)
{
	struct ft_where where = { .file = m->o.events_name };
	int openings = 0;

	for (int i = 0; i < m->mark_count; i++)
		openings += m->marks[i].open;
	if (r->inverted)
		ft_find(f, FT_RULE_DOOR_INVERTED, where, "every opening is told as a closing", "opened when it opens");
	tell_pairs(m, r, f);
	if (r->bounces)
		ft_find(f, FT_RULE_DOOR_BOUNCE, where,
		        ft_arena_printf(m->a, "%zu further event%s within %lld s of another", r->bounces,
		                        r->bounces == 1 ? "" : "s", (long long)(m->o.bounce_us / FT_SECOND)),
		        NULL);
	if (r->matched && r->offset_us)
		ft_find(f, FT_RULE_DOOR_CLOCK, where,
		        ft_arena_printf(m->a, "the events' clock is %lld s %s", (long long)llabs(r->offset_us / FT_SECOND),
		                        r->offset_us > 0 ? "ahead" : "behind"),
		        NULL);
	if (m->o.resolution_s > 1)
		ft_find(f, FT_RULE_DOOR_COARSE, where, ft_arena_printf(m->a, "times to %d s", m->o.resolution_s), NULL);
	if (m->o.ambiguous_days)
		ft_find(f, FT_RULE_DOOR_DAYS, where, NULL, NULL);
	if (openings < 2 || m->mark_count < 4)
		ft_find(f, FT_RULE_DOOR_FEW_MARKS, (struct ft_where){ .file = m->o.marks_name },
		        ft_arena_printf(m->a, "%d mark%s", m->mark_count, m->mark_count == 1 ? "" : "s"),
		        "two openings and closings");
}

enum ft_status ft_door_match(const struct ft_door_event *marks, size_t mark_count, const struct ft_door_event *events,
                             size_t event_count, const struct ft_door_options *o, struct ft_arena *a,
                             struct ft_findings *f, struct ft_door_result *ret, struct ft_error *e)
{
	struct matching m = { .marks = marks, .events = events, .o = *o, .a = a, .best = INT64_MAX };
	int64_t *lags;
	enum ft_status s;

	*ret = (struct ft_door_result){
		.marks = mark_count, .offset_us = FT_ABSENT, .delay_us = FT_ABSENT, .delay_max_us = FT_ABSENT
	};
	if (mark_count && event_count > CELLS_MAX / 4 / (mark_count + 1))
		return ft_fail(
			e, FT_E_INPUT,
			"%zu marks and %zu events are too many to compare; cut the list of events to the day of the marks.",
			mark_count, event_count);
	m.mark_count = (int)mark_count;
	m.event_count = (int)event_count;
	m.o.within_us = o->within_us ? o->within_us : WITHIN_US;
	m.o.late_us = o->late_us ? o->late_us : LATE_US;
	m.o.bounce_us = o->bounce_us ? o->bounce_us : BOUNCE_US;
	m.early_us = (o->resolution_s > 1 ? o->resolution_s : 1) * FT_SECOND;
	m.cost = ft_arena_raw(a, 2 * (event_count + 1) * sizeof *m.cost);
	m.step = ft_arena_raw(a, (mark_count + 1) * (event_count + 1));
	lags = FT_NEW_ARRAY(a, mark_count + 1, int64_t);
	if (!m.cost || !m.step || !lags)
		return ft_fail_memory(e, "comparing the door events");
	if (mark_count) {
		for (int turned = 0; turned < 2; turned++) {
			try_shift(&m, 0, turned);
			s = o->same_clock ? FT_OK : try_likely(&m, turned, e);
			if (s != FT_OK)
				return s;
		}
		s = walk_back(&m, ret, e);
		if (s != FT_OK)
			return s;
		measure(&m, ret, lags);
		ret->inverted = ret->matched && m.best_turned;
	}
	ret->events = ret->matched + ret->invented + ret->bounces;
	ret->outside = event_count - ret->events;
	tell(&m, ret, f);
	ret->verdict = ft_verdict_of(f, false);
	return FT_OK;
}
