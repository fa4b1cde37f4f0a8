/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine's modem, surveyed by the engine of modem.h in a for-loop: no port, no clock. Levels are held
 * against the worked link budget of docs/signal.md: 12.21 + 17 - 2 - 101.03 - 20 dBm outside, 15 dB less in the closed
 * cabinet (-108.82 dBm). */
#include "unit.h"

#include <math.h>
#include <stdio.h>

#include "fettle/modem.h"
#include "fettle/practice.h"

struct survey {
	struct ft_arena arena;
	struct ft_practice *p;
	struct ft_modem modem;
	struct ft_buf log, notes;
	struct ft_signal_log read;
	struct ft_signal_result r;
	struct ft_findings f;
	int64_t now_us;
	unsigned told;
};

static void fetch(struct survey *s)
{
	struct ft_modem_event ev;

	while (ft_modem_next(&s->modem, &ev)) {
		if (ev.kind == FT_MODEM_EV_LINE)
			ft_buf_printf(&s->log, "%s\n", ev.text);
		if (ev.kind == FT_MODEM_EV_NOTE)
			ft_buf_printf(&s->notes, "%s\n", ev.text);
		s->told += ev.kind == FT_MODEM_EV_SAMPLE;
	}
}

/* Both ends joined; bytes of another rate are lost whole. */
static void join(struct survey *s)
{
	for (int i = 0; i < 100000 && !ft_modem_ended(&s->modem); i++) {
		struct ft_practice_modem line = ft_practice_modem(s->p);
		bool heard = !line.dead && line.baud == ft_modem_stats(&s->modem)->baud;
		size_t n;
		const uint8_t *bytes = ft_modem_out(&s->modem, &n);
		int64_t a = ft_modem_due(&s->modem), b = ft_practice_modem_due(s->p);
		fetch(s);
		if (bytes) {
			if (heard)
				ft_practice_modem_feed(s->p, bytes, n, s->now_us);
			ft_modem_sent(&s->modem, n, s->now_us);
			continue;
		}
		bytes = ft_practice_modem_out(s->p, &n);
		if (bytes) {
			n = heard ? ft_modem_feed(&s->modem, bytes, n, s->now_us) : n;
			ft_practice_modem_sent(s->p, n);
			continue;
		}
		assert_true(a != FT_NEVER || b != FT_NEVER);
		if ((a < b ? a : b) > s->now_us)
			s->now_us = a < b ? a : b;
		ft_practice_modem_tick(s->p, s->now_us);
		ft_modem_tick(&s->modem, s->now_us);
	}
	fetch(s);
	assert_true(ft_modem_ended(&s->modem));
}

static void say(struct survey *s, const char *line)
{
	struct ft_practice_wish wish;
	struct ft_practice_event ev;
	struct ft_error e = { 0 };

	assert_int_equal(ft_practice_do(s->p, ft_slice_of(line), 0, &wish, &e), FT_OK);
	while (ft_practice_next(s->p, &ev))
		;
}

static void begin(struct survey *s, uint64_t seed, unsigned samples)
{
	struct ft_modem_settings set = ft_modem_defaults();
	struct ft_error e = { 0 };

	*s = (struct survey){ .now_us = 1 };
	s->f.arena = &s->arena;
	set.samples = samples;
	assert_int_equal(ft_practice_new(ft_practice_builtin(FT_SLICE("snack"))->description, "snack", seed, &s->arena,
	                                 &s->p, &e),
	                 FT_OK);
	ft_modem_init(&s->modem, &set, s->now_us);
}

static void place(struct survey *s, const char *name)
{
	ft_buf_printf(&s->log, "position %s\n", name);
	if (ft_modem_ended(&s->modem))
		ft_modem_more(&s->modem, s->now_us);
	join(s);
}

static void judge(struct survey *s)
{
	struct ft_error e = { 0 };

	assert_int_equal(ft_signal_read(ft_buf_text(&s->log), "log", &s->arena, &s->read, &e), FT_OK);
	assert_int_equal(ft_signal_judge(&s->read, "log", NAN, &s->arena, &s->f, &s->r, &e), FT_OK);
}

static void end(struct survey *s)
{
	ft_practice_done(s->p);
	ft_buf_done(&s->log);
	ft_buf_done(&s->notes);
	ft_arena_done(&s->arena);
}

static bool found(const struct survey *s, enum ft_rule_id rule)
{
	for (size_t i = 0; i < s->f.count; i++)
		if (s->f.list[i].rule == rule)
			return true;
	return false;
}

static void close_to(double got, double wanted, double within)
{
	if (!(fabs(got - wanted) <= within))
		fail_msg("%.2f where %.2f is wanted", got, wanted);
}

/* The mean of many readings comes back through quantising and reading; so does the spread that was put in (2.5 dB). */
static void levels_of_the_link_budget(void **state)
{
	static const struct {
		const char *line, *name;
		double dbm;
	} rows[] = { { "antenna inside", "closed", -108.82 },
		         { "door open", "ajar", -98.82 },
		         { "antenna top", "roof", -95.82 },
		         { "antenna outside", "free", -93.82 } };
	struct survey s;

	(void)state;
	begin(&s, 7, 1000);
	for (size_t i = 0; i < 4; i++) {
		say(&s, rows[i].line);
		place(&s, rows[i].name);
	}
	judge(&s);
	for (int i = 0; i < 4; i++) { /* fading holds on (0.6): a thousand readings tell as much as 250 */
		close_to(s.r.places[i + 1].mean, rows[i].dbm, 0.6);
		close_to(s.r.places[i + 1].spread, 2.5, 0.3);
		assert_int_equal(s.r.places[i + 1].metric, FT_SIGNAL_RSRP);
	}
	assert_string_equal(s.read.positions[s.r.judged], "closed");
	assert_string_equal(s.read.positions[s.r.best], "free");
	end(&s);
}

/* RSRP and RSSI of the same place differ by 10 log 12 N, N 50, where the noise is far below (27.78 dB). */
static void both_kinds_of_level_agree(void **state)
{
	struct survey a, b;

	(void)state;
	begin(&a, 7, 600);
	begin(&b, 7, 600);
	say(&a, "antenna outside");
	say(&b, "antenna outside");
	say(&b, "fault modem-no-cesq");
	place(&a, "free");
	place(&b, "free");
	judge(&a);
	judge(&b);
	assert_int_equal(b.r.places[1].metric, FT_SIGNAL_RSSI);
	close_to(b.r.places[1].mean - a.r.places[1].mean, 27.78, 0.3);
	/* steps of 2 dB hide nothing of the spread, nor of the share that follows from it */
	close_to(b.r.places[1].spread, a.r.places[1].spread, 0.2);
	end(&a);
	end(&b);
}

static void same_seed_same_answers(void **state)
{
	struct survey a, b, c;

	(void)state;
	begin(&a, 7, 50);
	begin(&b, 7, 50);
	begin(&c, 8, 50);
	place(&a, "here");
	place(&b, "here");
	place(&c, "here");
	assert_true(ft_slice_eq(ft_buf_text(&a.log), ft_buf_text(&b.log)));
	assert_false(ft_slice_eq(ft_buf_text(&a.log), ft_buf_text(&c.log)));
	end(&a);
	end(&b);
	end(&c);
}

static void each_fault_shows(void **state)
{
	static const struct {
		const char *fault;
		unsigned samples;
		enum ft_verdict verdict;
		int rule; /* -1 none of these */
		const char *note, *failure;
	} rows[] = {
		{ "fault off weak-inside", 12, FT_SHOWN, -1, NULL, NULL },
		{ "fault weak-inside", 12, FT_CONTRADICTED, FT_RULE_SIGNAL_TOO_WEAK, NULL, NULL },
		{ "fault modem-not-registered", 12, FT_OPEN, FT_RULE_SIGNAL_NOT_REGISTERED, NULL, NULL },
		{ "fault modem-no-sim", 12, FT_OPEN, FT_RULE_SIGNAL_SIM_NOT_READY, "no SIM", NULL },
		{ "fault modem-no-level", 12, FT_OPEN, FT_RULE_SIGNAL_NONE, NULL, NULL },
		{ "fault modem-no-cesq", 12, FT_SHOWN, -1, "+CSQ is asked instead", NULL },
		{ "fault modem-echo-stays", 12, FT_SHOWN, -1, "echo", NULL },
		{ "fault modem-rate", 12, FT_SHOWN, -1, "at 9600 bit/s", NULL },
		{ "fault modem-rate 460800", 12, FT_SHOWN, -1, "at 460800 bit/s", NULL },
		{ "fault modem-slow", 12, FT_SHOWN, -1, "slow", NULL },
		{ "fault modem-stops 5", 5, FT_OPEN, -1, NULL, "went quiet after 5 readings" },
		{ "fault modem-dead", 0, FT_OPEN, -1, NULL, "Nothing answered" },
		{ "power off", 0, FT_OPEN, -1, NULL, "Nothing answered" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_error e = { 0 };
		struct survey s;
		begin(&s, 3, 12);
		say(&s, "antenna outside");
		if (strcmp(rows[i].fault, "fault weak-inside") == 0)
			say(&s, "antenna inside");
		say(&s, rows[i].fault);
		place(&s, "here");
		if (s.told != rows[i].samples)
			fail_msg("%s: %u readings", rows[i].fault, s.told);
		if (rows[i].note && !ft_slice_holds(ft_buf_text(&s.notes), rows[i].note))
			fail_msg("%s: notes %.*s", rows[i].fault, FT_P(ft_buf_text(&s.notes)));
		if ((ft_modem_failure(&s.modem, &e) == FT_OK) != !rows[i].failure ||
		    (rows[i].failure && !ft_slice_holds(ft_slice_of(e.text), rows[i].failure)))
			fail_msg("%s: %s", rows[i].fault, e.text);
		if (!rows[i].failure) {
			judge(&s);
			if (s.r.verdict != rows[i].verdict || (rows[i].rule >= 0 && !found(&s, (enum ft_rule_id)rows[i].rule)))
				fail_msg("%s: verdict %s", rows[i].fault, ft_verdict_word(s.r.verdict));
			assert_int_equal(s.read.registered,
			                 strstr(rows[i].fault, "registered") == NULL && strstr(rows[i].fault, "no-sim") == NULL);
		}
		end(&s);
	}
}

/* Whatever comes over its port, the machine's books stay as they are. */
static void its_books_know_nothing_of_it(void **state)
{
	struct ft_buf before = { 0 }, after = { 0 };
	struct survey s;

	(void)state;
	begin(&s, 3, 20);
	assert_int_equal(ft_practice_audit(s.p, (struct ft_slice){ "", 0 }, &before, NULL), FT_OK);
	place(&s, "here");
	assert_int_equal(ft_practice_audit(s.p, (struct ft_slice){ "", 0 }, &after, NULL), FT_OK);
	assert_true(ft_slice_eq(ft_buf_text(&before), ft_buf_text(&after)));
	ft_buf_done(&before);
	ft_buf_done(&after);
	end(&s);
}

static void nonsense_does_no_harm(void **state)
{
	struct survey s;
	uint8_t bytes[600];
	uint64_t dice = 11;

	(void)state;
	begin(&s, 3, 4);
	for (int i = 0; i < 2000; i++) {
		size_t n;
		for (size_t k = 0; k < sizeof bytes; k++) {
			dice = dice * UINT64_C(6364136223846793005) + 1442695040888963407U;
			bytes[k] = k % 9 == 8 ? '\r' : (uint8_t)(dice >> 56);
		}
		assert_int_equal(ft_practice_modem_feed(s.p, bytes, sizeof bytes, s.now_us), sizeof bytes);
		s.now_us += 20000;
		ft_practice_modem_tick(s.p, s.now_us);
		while (i % 3 && ft_practice_modem_out(s.p, &n) != NULL)
			ft_practice_modem_sent(s.p, n);
	}
	place(&s, "here");
	assert_int_equal(s.told, 4);
	end(&s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(levels_of_the_link_budget),    cmocka_unit_test(both_kinds_of_level_agree),
		cmocka_unit_test(same_seed_same_answers),       cmocka_unit_test(each_fault_shows),
		cmocka_unit_test(its_books_know_nothing_of_it), cmocka_unit_test(nonsense_does_no_harm),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
