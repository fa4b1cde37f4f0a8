/* SPDX-License-Identifier: Apache-2.0 */
/* Door events against marks: tables as exports write them, and a made-up door whose truth is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "fettle/door.h"
#include "fettle/money.h"
#include "fettle/time.h"

enum { MOST = 64 };

struct door {
	struct ft_door_event marks[MOST], events[MOST];
	size_t mark_count, event_count;
	uint64_t seed;
};

static int64_t roll(struct door *d, int64_t from, int64_t to)
{
	d->seed = d->seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return from + (int64_t)((d->seed >> 33) % (uint64_t)(to - from + 1));
}

static int64_t tenths(struct door *d, int64_t from, int64_t to)
{
	return roll(d, from, to) * (FT_SECOND / 10);
}

/* `openings` openings at irregular distances, told truly by a clock `offset` off after 0.1 to 3 s. */
static void play(struct door *d, uint64_t seed, int openings, int64_t offset)
{
	int64_t t = INT64_C(1795000000) * FT_SECOND;

	*d = (struct door){ .seed = seed * 77 + 1 };
	for (int i = 0; i < 2 * openings; i++) {
		t += tenths(d, 120, 1500);
		d->marks[d->mark_count++] = (struct ft_door_event){ t, i % 2 == 0, (unsigned)i + 2 };
		d->events[d->event_count++] =
			(struct ft_door_event){ t + offset + tenths(d, 1, 30), i % 2 == 0, (unsigned)i + 2 };
	}
}

static struct ft_door_result judge(const struct door *d, const struct ft_door_options *o, struct ft_arena *a,
                                   struct ft_findings *f)
{
	struct ft_door_result r;
	struct ft_error e = { 0 };

	*f = (struct ft_findings){ .arena = a };
	assert_int_equal(ft_door_match(d->marks, d->mark_count, d->events, d->event_count, o, a, f, &r, &e), FT_OK);
	return r;
}

static bool found(const struct ft_findings *f, enum ft_rule_id rule)
{
	for (size_t i = 0; i < f->count; i++)
		if (f->list[i].rule == rule)
			return true;
	return false;
}

static const int64_t offsets_s[] = { 0, 3600, -7200, 37, -413, 20700, 86400 * 3 + 100 };

static void an_honest_door_is_shown_whatever_the_clock(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (uint64_t seed = 0; seed < 40; seed++)
		for (size_t i = 0; i < sizeof offsets_s / sizeof *offsets_s; i++) {
			struct door d;
			struct ft_findings f;
			struct ft_door_options o = { 0 };
			struct ft_door_result r;
			int64_t wrong;
			play(&d, seed, 2 + (int)(seed % 5), offsets_s[i] * FT_SECOND);
			r = judge(&d, &o, &a, &f);
			wrong = r.offset_us - offsets_s[i] * FT_SECOND;
			if (r.matched != d.mark_count || r.verdict != FT_SHOWN || r.inverted || wrong < 0 || wrong > 3 * FT_SECOND)
				fail_msg("seed %d, offset %lld: %zu matched of %zu, offset wrong by %lld us", (int)seed,
				         (long long)offsets_s[i], r.matched, d.mark_count, (long long)wrong);
			assert_true(r.delay_us >= 0 && r.delay_us <= 3 * FT_SECOND);
			ft_arena_reset(&a);
		}
	ft_arena_done(&a);
}

static void a_lost_event_is_missed_and_a_false_one_invented(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (uint64_t seed = 0; seed < 40; seed++) {
		struct door d;
		struct ft_findings f;
		struct ft_door_options o = { 0 };
		struct ft_door_result r;
		size_t lost;
		play(&d, seed, 4, 3600 * FT_SECOND);
		lost = (size_t)roll(&d, 0, 7);
		memmove(&d.events[lost], &d.events[lost + 1], (d.event_count - lost - 1) * sizeof *d.events);
		d.event_count--;
		r = judge(&d, &o, &a, &f);
		if (r.missed != 1 || r.matched != 7 || r.invented || r.inverted)
			fail_msg("seed %d: %zu missed, %zu invented, %zu matched", (int)seed, r.missed, r.invented, r.matched);
		assert_true(found(&f, FT_RULE_DOOR_MISSED) && r.verdict == FT_CONTRADICTED);

		play(&d, seed, 4, 3600 * FT_SECOND);
		/* an opening in the middle of an opening */
		memmove(&d.events[4], &d.events[3], (d.event_count - 3) * sizeof *d.events);
		d.events[3] = (struct ft_door_event){ (d.events[2].at_us + d.events[4].at_us) / 2, true, 99 };
		d.event_count++;
		r = judge(&d, &o, &a, &f);
		if (r.missed || r.invented != 1 || r.matched != 8)
			fail_msg("seed %d: %zu missed, %zu invented, %zu matched", (int)seed, r.missed, r.invented, r.matched);
		assert_true(found(&f, FT_RULE_DOOR_INVENTED));
		ft_arena_reset(&a);
	}
	ft_arena_done(&a);
}

static void a_switch_the_wrong_way_round(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (uint64_t seed = 0; seed < 40; seed++) {
		struct door d;
		struct ft_findings f;
		struct ft_door_options o = { 0 };
		struct ft_door_result r;
		play(&d, seed, 3, (seed % 2 ? 0 : 3600) * FT_SECOND);
		for (size_t i = 0; i < d.event_count; i++)
			d.events[i].open = !d.events[i].open;
		r = judge(&d, &o, &a, &f);
		if (!r.inverted || r.matched != 6)
			fail_msg("seed %d: inverted %d, %zu matched", (int)seed, r.inverted, r.matched);
		assert_true(found(&f, FT_RULE_DOOR_INVERTED) && r.verdict == FT_CONTRADICTED);
		ft_arena_reset(&a);
	}
	ft_arena_done(&a);
}

static void late_trembling_outside_and_nothing(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_findings f;
	struct ft_door_options o = { 0 };
	struct ft_door_result r;
	struct door d;

	(void)state;
	play(&d, 5, 3, 0);
	d.events[2].at_us = d.marks[2].at_us + 11 * FT_SECOND;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.late, 1);
	assert_int_equal(r.verdict, FT_OPEN);
	assert_true(found(&f, FT_RULE_DOOR_LATE));

	play(&d, 6, 3, 0); /* open, closed, open within half a second */
	memmove(&d.events[3], &d.events[1], (d.event_count - 1) * sizeof *d.events);
	d.events[1] = (struct ft_door_event){ d.events[0].at_us + FT_SECOND / 4, false, 50 };
	d.events[2] = (struct ft_door_event){ d.events[0].at_us + FT_SECOND / 2, true, 51 };
	d.event_count += 2;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.bounces, 2);
	assert_int_equal(r.invented, 0);
	assert_int_equal(r.matched, 6);
	assert_int_equal(r.verdict, FT_SHOWN);

	play(&d, 7, 3, 0); /* the day before does not count */
	memmove(&d.events[1], &d.events[0], d.event_count * sizeof *d.events);
	d.events[0].at_us -= 80000 * FT_SECOND;
	d.event_count++;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.outside, 1);
	assert_int_equal(r.verdict, FT_SHOWN);

	d.event_count = 0;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.missed, 6);
	assert_true(r.offset_us == FT_ABSENT && r.delay_us == FT_ABSENT);
	assert_int_equal(r.verdict, FT_CONTRADICTED);

	play(&d, 8, 3, 20 * FT_SECOND); /* told by one clock, twenty seconds are delay */
	o.same_clock = true;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.late, 6);
	assert_true(r.offset_us == 0 && r.delay_us >= 20 * FT_SECOND);

	o.same_clock = false;
	play(&d, 9, 1, 0);
	r = judge(&d, &o, &a, &f);
	assert_true(found(&f, FT_RULE_DOOR_FEW_MARKS) && r.verdict == FT_OPEN);
	d.mark_count = 0;
	r = judge(&d, &o, &a, &f);
	assert_int_equal(r.verdict, FT_OPEN);
	ft_arena_done(&a);
}

struct table {
	const char *text;
	const char *states; /* o and c in order; NULL: refused */
	int64_t first_s;    /* seconds after 2026-11-25T00:00:00Z; -1 any */
	int resolution;
	unsigned passed_over;
};

static const struct table tables[] = {
	{ "time,door\n2026-11-25 10:00:05,open\n2026-11-25 10:01:00,closed\n", "oc", 36005, 1, 0 },
	{ "marked_time,door\n2026-11-25T10:00:05+01:00,closed\n2026-11-25T10:00:00+01:00,open\n", "oc", 32400, 1, 0 },
	{ "Date;Time;Event\n25.11.2026;10:00;Door opened\n25.11.2026;10:07;Door closed\n25.11.2026;10:09;Power on\n", "oc",
	  36000, 60, 1 },
	{ "Timestamp,Alarm\n11/25/2026 1:00:01 PM,Door open\n11/25/2026 1:02:00 PM,Door open cleared\n", "oc", 46801, 1,
	  0 },
	{ "unix time,door closed\n1795600800,0\n1795600860,1\n", "oc", -1, 60, 0 },
	{ "at,door\n2026-11-25 10:00:05,1\n2026-11-25 10:00:09,0\n2026-11-25 11:00:00,true\n", "oco", 36005, 1, 0 },
	{ "opened,closed\n2026-11-25 10:00:05,2026-11-25 10:01:00\n2026-11-25 12:00:05,\n", "oco", 36005, 1, 0 },
	{ "door start time,duration s\n2026-11-25 10:00:05,55\n", "oc", 36005, 1, 0 },
	{ "time,event\n2026-11-25 10:00:05,Door not closed\n2026-11-25 10:01:00,Door closed\n2026-11-25 10:02:00,door ajar\n"
	  "2026-11-25 10:03:00,Door ajar: cleared\n",
	  "ococ", 36005, 1, 0 },
	{ "time,door\n", NULL, 0, 0, 0 },
	{ "time,temperature\n2026-11-25 10:00:05,4.5\n", NULL, 0, 0, 0 },
	{ "door,note\nopen,x\n", NULL, 0, 0, 0 },
	{ "time,door\nyesterday,open\n", NULL, 0, 0, 0 },
	{ "time,door\n60,open\n90,closed\n", NULL, 0, 0, 0 },
	{ "", NULL, 0, 0, 0 },
};

/* 2026-11-25 at 19:45 UTC: what is told is the local time, also where it is the next day there, and says its offset. */
static void findings_tell_local_time(void **state)
{
	static const struct {
		int minutes;
		const char *missed, *invented;
	} zones[] = { { 0, "closed at 19:55:00+00:00", "opened at 20:50:07+00:00" },
		          { 330, "closed at 01:25:00+05:30", "opened at 02:20:07+05:30" },
		          { -210, "closed at 16:25:00-03:30", "opened at 17:20:07-03:30" } };
	const int64_t base = INT64_C(1795635900) * FT_SECOND, minute = 60 * FT_SECOND;
	struct ft_arena a = { 0 };

	(void)state;
	for (size_t z = 0; z < sizeof zones / sizeof *zones; z++) {
		struct door d = { 0 };
		struct ft_findings f;
		struct ft_door_options o = { .offset_minutes = zones[z].minutes };
		const char *missed = NULL, *invented = NULL;
		for (int i = 0; i < 6; i++) {
			d.marks[d.mark_count++] = (struct ft_door_event){ base + i * 10 * minute, i % 2 == 0, (unsigned)i + 2 };
			if (i != 1)
				d.events[d.event_count++] =
					(struct ft_door_event){ base + i * 10 * minute + FT_SECOND, i % 2 == 0, (unsigned)i + 2 };
		}
		d.events[d.event_count++] = (struct ft_door_event){ base + 65 * minute + 7 * FT_SECOND, true, 50 };
		d.marks[d.mark_count++] = (struct ft_door_event){ base + 70 * minute, true, 8 };
		d.events[d.event_count++] = (struct ft_door_event){ base + 70 * minute + FT_SECOND, true, 51 };
		judge(&d, &o, &a, &f);
		for (size_t i = 0; i < f.count; i++) {
			missed = f.list[i].rule == FT_RULE_DOOR_MISSED ? f.list[i].expected : missed;
			invented = f.list[i].rule == FT_RULE_DOOR_INVENTED ? f.list[i].seen : invented;
		}
		assert_non_null(missed);
		assert_non_null(invented);
		assert_string_equal(missed, zones[z].missed);
		assert_string_equal(invented, zones[z].invented);
	}
	ft_arena_done(&a);
}

static void tables_of_many_kinds(void **state)
{
	int64_t midnight;

	(void)state;
	assert_true(ft_time_parse(FT_SLICE("2026-11-25T00:00:00Z"), 0, &midnight));
	for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
		const struct table *t = &tables[i];
		struct ft_arena a = { 0 };
		struct ft_door_event *list = NULL;
		size_t count = 0;
		struct ft_door_table about;
		struct ft_error e = { 0 };
		enum ft_status s = ft_door_read(ft_slice_of(t->text), "the events", 0, &a, &list, &count, &about, &e);
		if (!t->states) {
			if (s != FT_E_INPUT || !e.text[0])
				fail_msg("taken for door events: %s", t->text);
			ft_arena_done(&a);
			continue;
		}
		if (s != FT_OK || count != strlen(t->states))
			fail_msg("%s: %zu events; %s", t->text, count, e.text);
		for (size_t n = 0; n < count; n++)
			assert_int_equal(list[n].open, t->states[n] == 'o');
		if (t->first_s >= 0)
			assert_true(list[0].at_us == midnight + t->first_s * FT_SECOND);
		assert_int_equal(about.resolution_s, t->resolution);
		assert_int_equal(about.passed_over, t->passed_over);
		assert_int_equal(about.marks, strncmp(t->text, FT_DOOR_MARKS_HEAD, 11) == 0);
		ft_arena_done(&a);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(an_honest_door_is_shown_whatever_the_clock),
		cmocka_unit_test(a_lost_event_is_missed_and_a_false_one_invented),
		cmocka_unit_test(a_switch_the_wrong_way_round),
		cmocka_unit_test(late_trembling_outside_and_nothing),
		cmocka_unit_test(findings_tell_local_time),
		cmocka_unit_test(tables_of_many_kinds),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
