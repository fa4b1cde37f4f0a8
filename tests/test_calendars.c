/* SPDX-License-Identifier: Apache-2.0 */
/* Calendars of a plan over time: an event that moves replaces itself, one that is off is struck out. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "fettle/paper_rollout.h"
#include "fettle/time.h"

#define NOON INT64_C(1795780800000000) /* 2026-11-27 12:00 UTC */

/* The only event of a technician's calendar: its lines "UID:" and "STATUS:", and its SEQUENCE. */
struct event {
	char uid[64], status[32];
	int64_t sequence;
};

static void word(const char *text, const char *name, char *out, size_t room)
{
	const char *at = strstr(text, name);
	size_t n = 0;

	assert_non_null(at);
	for (at += strlen(name); *at != '\r' && n + 1 < room; at++)
		out[n++] = *at;
	out[n] = 0;
}

static struct event event_of(const struct ft_rollout *r, int technician, int64_t now_us)
{
	struct ft_arena a = { 0 };
	struct ft_buf b = { 0 };
	struct event found;
	char number[32];
	const char *text;

	ft_rollout_ical(r, technician, now_us, &a, &b);
	assert_int_equal(b.status, FT_OK);
	text = ft_arena_text(&a, ft_buf_text(&b));
	assert_non_null(text);
	word(text, "\r\nUID:", found.uid, sizeof found.uid);
	word(text, "\r\nSTATUS:", found.status, sizeof found.status);
	word(text, "\r\nSEQUENCE:", number, sizeof number);
	assert_null(strstr(strstr(text, "END:VEVENT"), "BEGIN:VEVENT"));
	assert_true(ft_slice_i64(ft_slice_of(number), &found.sequence));
	ft_buf_done(&b);
	ft_arena_done(&a);
	return found;
}

static void events_follow_the_visit(void **state)
{
	struct ft_fleet_machine machine = { .asset = FT_SLICE("BD-1008"), .latitude = 12.4, .longitude = -31.2 };
	struct ft_fleet_technician people[] = { { .name = FT_SLICE("Jorin Vale") }, { .name = FT_SLICE("Tilda Moss") } };
	const struct ft_fleet fleet = {
		.machines = &machine, .machine_count = 1, .technicians = people, .technician_count = 2
	};
	struct ft_rollout_stop stop = { .start = 480, .leave = 540 };
	struct ft_rollout_day day = { .technician = 0, .day = 20787, .stops = &stop, .count = 1 };
	struct ft_rollout_gone gone = { 0, 0, 20787, 480, 540 };
	struct ft_rollout plan = { .fleet = &fleet, .days = &day, .day_count = 1 };
	const struct event first = event_of(&plan, 0, NOON);

	(void)state;
	assert_string_equal(first.status, "CONFIRMED");
	day.day++; /* the same technician a day later, planned a second after */
	const struct event later = event_of(&plan, 0, NOON + FT_SECOND);
	assert_string_equal(later.uid, first.uid);
	assert_string_equal(later.status, "CONFIRMED");
	assert_true(later.sequence > first.sequence);
	day.technician = 1; /* another technician */
	plan.gone = &gone;
	plan.gone_count = 1;
	const struct event off = event_of(&plan, 0, NOON + FT_SECOND), on = event_of(&plan, 1, NOON + FT_SECOND);
	assert_string_equal(off.uid, first.uid);
	assert_string_equal(off.status, "CANCELLED");
	assert_true(off.sequence > first.sequence);
	assert_string_equal(on.uid, first.uid);
	assert_string_equal(on.status, "CONFIRMED");
	assert_true(on.sequence > off.sequence); /* whoever reads both keeps the visit */
	/* Calendars of before counted minutes since 1970: these are above them, and stay a signed 32-bit number. */
	assert_true(first.sequence > NOON / (60 * FT_SECOND));
	assert_true(event_of(&plan, 1, INT64_C(2808000000) * FT_SECOND).sequence < INT32_MAX); /* 2058 */
}

int main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(events_follow_the_visit) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
