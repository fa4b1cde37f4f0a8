/* SPDX-License-Identifier: Apache-2.0 */
/* The survey through a modem, against modems made of rows: what each command is answered with, when, at which rate.
 * Every row is run with its answers cut into pieces of several lengths and must come to the same end. Answers are in
 * the form of ITU-T V.250 and 3GPP TS 27.007; their values are composed here. */
#include "unit.h"

#include <stdio.h>

#include "fettle/buf.h"
#include "fettle/modem.h"

struct say {
	const char *command, *reply; /* NULL: silence */
	int times;                   /* 0: always */
	int64_t after_ms;
};

struct row {
	const char *name;
	int baud; /* it answers at; 0: any */
	bool echo;
	bool quiet_else; /* what no row answers is not answered at all; else with OK */
	struct say says[10];
	unsigned samples, unknown, asked; /* as it must end */
	const char *log;                  /* must stand in the log; NULL */
	const char *end;                  /* it must end so; NULL */
	unsigned overlong;
	const char *note;    /* a note must hold; NULL */
	const char *failure; /* its sentence must hold; NULL: it is done */
};

#define CESQ "\r\n+CESQ: 99,99,255,255,20,45\r\n\r\nOK\r\n"
#define X40  "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
#define LONG X40 X40 X40 X40 X40

static const struct row rows[] = {
	{ "a plain one",
	  .says = { { "AT+CPIN?", "\r\n+CPIN: READY\r\n\r\nOK\r\n" },
	            { "AT+CEREG?", "\r\n+CEREG: 0,1\r\n\r\nOK\r\n" },
	            { "AT+CESQ", CESQ } },
	  .samples = 4,
	  .log =
	      "AT+CPIN?\n+CPIN: READY\nAT+CEREG?\n+CEREG: 0,1\nAT+CGREG?\nAT+CREG?\nAT+CESQ\n+CESQ: 99,99,255,255,20,45\n" },
	{ "states asked at first and again, those it refused not",
	  .says = { { "AT+CEREG?", "\r\n+CEREG: 0,2\r\nOK\r\n", 1 },
	            { "AT+CEREG?", "\r\n+CEREG: 0,5\r\nOK\r\n" },
	            { "AT+CGREG?", "ERROR\r\n", 1 },
	            { "AT+CREG?", "ERROR\r\n", 1 },
	            { "AT+CESQ", CESQ } },
	  .samples = 4, .end = "+CESQ: 99,99,255,255,20,45\nAT+CEREG?\n+CEREG: 0,5\n" },
	{ "an echo that stays", .echo = true, .says = { { "ATE0", "\r\nERROR\r\n" }, { "AT+CESQ", CESQ } }, .samples = 4,
	  .note = "does not let its echo be switched off" },
	{ "noise and lines of its own",
	  .says = { { "AT", "\r\n\r\n\n\r^BOOT: 1\r\nRDY\r\n\r\nOK\r\n" },
	            { "AT+CESQ",
	              "\r\n\r\nRING\r\n+CEREG: 5\r\n\n\r\n+CESQ: 99,99,255,255,20,45\r\n^MODE: 7\r\n\r\nOK\r\n" } },
	  .samples = 4, .log = "AT+CESQ\n+CEREG: 5\n+CESQ: 99,99,255,255,20,45\nAT+CESQ\n" },
	{ "+CESQ not known", .says = { { "AT+CESQ", "\r\nERROR\r\n" }, { "AT+CSQ", "\r\n+CSQ: 15,99\r\n\r\nOK\r\n" } },
	  .samples = 4, .log = "AT+CESQ\nERROR\nAT+CSQ\n+CSQ: 15,99\nAT+CSQ\n+CSQ: 15,99\n",
	  .note = "+CSQ is asked instead" },
	{ "+CESQ refused with a number",
	  .says = { { "AT+CESQ", "\r\n+CME ERROR: 100\r\n" }, { "AT+CSQ", "\r\n+CSQ: 15,99\r\nOK\r\n" } }, .samples = 4,
	  .log = "AT+CESQ\n+CME ERROR: 100\nAT+CSQ\n+CSQ: 15,99\n" },
	{ "+CESQ answered with nothing", .says = { { "AT+CESQ", "\r\nOK\r\n" }, { "AT+CSQ", "\r\n+CSQ: 15,99\r\nOK\r\n" } },
	  .samples = 4, .note = "+CSQ is asked instead" },
	{ "a level in +CSQ only",
	  .says = { { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,255,255\r\nOK\r\n" },
	            { "AT+CSQ", "\r\n+CSQ: 15,99\r\nOK\r\n" } },
	  .samples = 4, .log = "AT+CESQ\n+CESQ: 99,99,255,255,255,255\nAT+CSQ\n+CSQ: 15,99\nAT+CSQ\n",
	  .note = "in +CSQ only" },
	{ "nothing known at all",
	  .says = { { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,255,255\r\nOK\r\n" },
	            { "AT+CSQ", "\r\n+CSQ: 99,99\r\nOK\r\n" } },
	  .samples = 4, .unknown = 4 },
	{ "not known, and no +CSQ",
	  .says = { { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,255,255\r\nOK\r\n" }, { "AT+CSQ", "\r\nERROR\r\n" } },
	  .samples = 4, .unknown = 4 },
	{ "not known later on: +CSQ is another kind of level and is not asked",
	  .says = { { "AT+CESQ", CESQ, 1 }, { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,255,255\r\nOK\r\n" } }, .samples = 4,
	  .unknown = 3, .log = "AT+CESQ\n+CESQ: 99,99,255,255,255,255\nAT+CESQ\n" },
	{ "a level that nobody asked for",
	  .says = { { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,20,45\r\n+CSQ: 20,99\r\nOK\r\n" } }, .samples = 4,
	  .log = "AT+CESQ\n+CESQ: 99,99,255,255,20,45\nAT+CESQ\n" },
	{ "nine values", .says = { { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,255,255,60,80,70\r\n\r\nOK\r\n" } }, .samples = 4,
	  .log = "+CESQ: 99,99,255,255,255,255,60,80,70\n" },
	{ "a line longer than any", .says = { { "AT+CESQ", "\r\n" LONG "\r\n+CESQ: 99,99,255,255,20,45\r\nOK\r\n" } },
	  .overlong = 4, .samples = 4, .log = "AT+CESQ\n+CESQ: 99,99,255,255,20,45\nAT+CESQ\n" },
	{ "a reading damaged on its way is asked for again",
	  .says = { { "AT+CESQ", CESQ, 1 },
	            { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,20,98\r\nOK\r\n", 1 },
	            { "AT+CESQ", "\r\n+CESQ: 99,99,255,2\r\nOK\r\n", 1 },
	            { "AT+CESQ", "\r\n+CE\x07SQ: 99,99,255,255,20,45\r\nOK\r\n", 1 },
	            { "AT+CESQ", CESQ } },
	  .samples = 4,
	  .log = "AT+CESQ\n+CESQ: 99,99,255,255,20,45\nAT+CESQ\nAT+CESQ\nAT+CESQ\nAT+CESQ\n+CESQ: 99,99,255,255,20,45\n" },
	{ "busy for a moment",
	  .says = { { "AT+CESQ", CESQ, 1 }, { "AT+CESQ", "\r\n+CME ERROR: 14\r\n", 2 }, { "AT+CESQ", CESQ } },
	  .samples = 4 },
	{ "slow", .says = { { "AT+CESQ", CESQ, 0, 8000 } }, .samples = 4, .note = "slow to answer" },
	{ "so late that it was asked again: counted once",
	  .says = { { "AT+CESQ", CESQ, 1 }, { "AT+CESQ", CESQ, 1, 20500 }, { "AT+CESQ", CESQ } }, .samples = 4,
	  .note = "slow to answer" },
	{ "at another rate", .baud = 57600, .says = { { "AT+CESQ", CESQ } }, .samples = 4,
	  .note = "answers at 57600 bit/s, not at 115200" },
	{ "at a rate that only the person knew", .baud = 28800, .asked = 28800, .says = { { "AT+CESQ", CESQ } },
	  .samples = 4 },
	{ "results as numbers", .says = { { "AT", "0\r" }, { "ATE0", "0\r" }, { "AT+CESQ", CESQ } }, .samples = 4 },
	{ "no SIM", .says = { { "AT+CPIN?", "\r\n+CME ERROR: 10\r\n" }, { "AT+CESQ", CESQ } }, .samples = 4,
	  .log = "AT+CPIN?\n+CME ERROR: 10\nAT+CEREG?\n", .note = "no SIM that is ready: +CME ERROR: 10" },
	{ "a SIM that asks for its number", .says = { { "AT+CPIN?", "\r\n+CPIN: SIM PIN\r\nOK\r\n" }, { "AT+CESQ", CESQ } },
	  .samples = 4, .note = "not ready: +CPIN: SIM PIN" },
	{ "silence", .quiet_else = true, .failure = "Nothing answered at 115200 bit/s or any other usual rate" },
	{ "both leads joined", .echo = true, .quiet_else = true, .failure = "comes straight back" },
	{ "no modem",
	  .says = { { "AT",
	              "\r\nWelcome, login: "
	              "\r\nunknown command AT\r\n" } },
	  .failure = "not as a modem does, at 115200 bit/s or any other usual rate: it said \"Welcome, login:\"" },
	{ "it dies in the middle", .quiet_else = true,
	  .says = { { "AT", "\r\nOK\r\n", 1 },
	            { "ATE0", "\r\nOK\r\n" },
	            { "ATV1", "OK\r\n" },
	            { "AT+CMEE=1", "OK\r\n" },
	            { "AT+CPIN?", "OK\r\n" },
	            { "AT+CEREG?", "ERROR\r\n" },
	            { "AT+CGREG?", "ERROR\r\n" },
	            { "AT+CREG?", "ERROR\r\n" },
	            { "AT+CESQ", CESQ, 2 } },
	  .samples = 2, .failure = "went quiet after 2 readings" },
	{ "the lead is pulled within an answer", .quiet_else = true,
	  .says = { { "AT", "\r\nOK\r\n", 1 },
	            { "ATE0", "\r\nOK\r\n" },
	            { "ATV1", "OK\r\n" },
	            { "AT+CMEE=1", "OK\r\n" },
	            { "AT+CPIN?", "OK\r\n" },
	            { "AT+CEREG?", "ERROR\r\n" },
	            { "AT+CGREG?", "ERROR\r\n" },
	            { "AT+CREG?", "ERROR\r\n" },
	            { "AT+CESQ", CESQ, 1 },
	            { "AT+CESQ", "\r\n+CESQ: 99,99,255,255,20,4" } },
	  .samples = 1, .failure = "went quiet after 1 reading." },
	{ "it knows neither", .says = { { "AT+CESQ", "\r\nERROR\r\n" }, { "AT+CSQ", "\r\n+CME ERROR: 10\r\n" } },
	  .failure = "neither +CESQ nor +CSQ (+CME ERROR: 10)" },
	{ "nothing but nonsense", .says = { { "AT+CESQ", CESQ, 1 }, { "AT+CESQ", "\r\n+CESQ: 1,2\r\nOK\r\n" } },
	  .samples = 1, .failure = "Five answers in a row" },
};

struct outcome {
	struct ft_buf log, notes;
	unsigned told; /* FT_MODEM_EV_SAMPLE */
	unsigned ends;
	struct ft_modem modem;
	int64_t took_us;
};

struct under_way {
	const char *text;
	int64_t at_us;
};

static void fetch(struct outcome *o)
{
	struct ft_modem_event ev;

	while (ft_modem_next(&o->modem, &ev)) {
		if (ev.kind == FT_MODEM_EV_LINE)
			ft_buf_printf(&o->log, "%s\n", ev.text);
		if (ev.kind == FT_MODEM_EV_NOTE)
			ft_buf_printf(&o->notes, "%s\n", ev.text);
		o->told += ev.kind == FT_MODEM_EV_SAMPLE;
		o->ends += ev.kind == FT_MODEM_EV_DONE || ev.kind == FT_MODEM_EV_FAILED;
	}
}

static void deliver(struct outcome *o, const char *text, size_t slice, int64_t now_us)
{
	size_t n = strlen(text);

	for (size_t at = 0; at < n;) {
		size_t piece = slice && slice < n - at ? slice : n - at;
		size_t took = ft_modem_feed(&o->modem, (const uint8_t *)text + at, piece, now_us);
		assert_true(took <= piece);
		fetch(o);
		at += took;
	}
}

/* What the row answers to a command, and when; NULL: nothing. */
static const char *reply_to(const struct row *r, int *left, struct ft_slice command, int64_t *ret_after_us)
{
	for (size_t i = 0; i < sizeof r->says / sizeof *r->says; i++)
		if (r->says[i].command && ft_slice_is(command, r->says[i].command) && (!r->says[i].times || left[i] > 0)) {
			left[i]--;
			*ret_after_us = r->says[i].after_ms * 1000;
			return r->says[i].reply;
		}
	*ret_after_us = 1000;
	return r->quiet_else ? NULL : "\r\nOK\r\n";
}

static void play(const struct row *r, size_t slice, struct outcome *o)
{
	struct ft_modem_settings s = ft_modem_defaults();
	struct under_way queue[8];
	size_t queued = 0;
	int64_t now = 1000000;
	int left[10];

	for (int i = 0; i < 10; i++)
		left[i] = r->says[i].times;
	s.samples = 4;
	if (r->asked)
		s.baud = (int)r->asked;
	ft_modem_init(&o->modem, &s, now);
	for (int round = 0; round < 2000 && !ft_modem_ended(&o->modem); round++) {
		size_t n;
		const uint8_t *out = ft_modem_out(&o->modem, &n);
		int64_t due = ft_modem_due(&o->modem), after;
		fetch(o);
		if (out) {
			char command[32];
			assert_true(n < sizeof command && out[n - 1] == '\r');
			snprintf(command, sizeof command, "%.*s", (int)n, (const char *)out);
			ft_modem_sent(&o->modem, n, now + 500);
			if (r->echo)
				deliver(o, command, slice, now);
			if (r->baud && ft_modem_stats(&o->modem)->baud != r->baud)
				continue;
			queue[queued].text = reply_to(r, left, (struct ft_slice){ command, n - 1 }, &after);
			queue[queued].at_us = now + 500 + after;
			queued += queue[queued].text != NULL;
			assert_true(queued < 8);
			continue;
		}
		if (queued && queue[0].at_us <= due) {
			struct under_way first = queue[0];
			memmove(queue, queue + 1, --queued * sizeof *queue);
			now = first.at_us > now ? first.at_us : now;
			deliver(o, first.text, slice, now);
			continue;
		}
		assert_true(due != FT_NEVER); /* it must never wait for ever */
		now = due > now ? due : now;
		ft_modem_tick(&o->modem, now);
		fetch(o);
	}
	fetch(o);
	o->took_us = now;
}

static void done(struct outcome *o)
{
	ft_buf_done(&o->log);
	ft_buf_done(&o->notes);
}

static bool ends_with(const struct ft_buf *b, const char *end)
{
	size_t n = strlen(end);

	return b->n >= n && memcmp(b->p + b->n - n, end, n) == 0;
}

static void modems_of_all_kinds(void **state)
{
	static const size_t slices[] = { 0, 1, 2, 7 };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct row *r = &rows[i];
		struct outcome first = { 0 };
		for (size_t k = 0; k < sizeof slices / sizeof *slices; k++) {
			struct outcome o = { 0 };
			struct ft_error e = { 0 };
			play(r, slices[k], &o);
			if (!ft_modem_ended(&o.modem) || o.ends != 1)
				fail_msg("%s: no end, or two", r->name);
			if ((ft_modem_failure(&o.modem, &e) == FT_OK) != !r->failure ||
			    (r->failure && !ft_slice_holds(ft_slice_of(e.text), r->failure)))
				fail_msg("%s: \"%s\"", r->name, e.text);
			if (o.told != r->samples || ft_modem_stats(&o.modem)->unknown != r->unknown)
				fail_msg("%s: %u readings, %u not known", r->name, o.told, ft_modem_stats(&o.modem)->unknown);
			if (r->log && !ft_slice_holds(ft_buf_text(&o.log), r->log))
				fail_msg("%s: the log is\n%.*s", r->name, FT_P(ft_buf_text(&o.log)));
			if (r->end && !ends_with(&o.log, r->end))
				fail_msg("%s: the log is\n%.*s", r->name, FT_P(ft_buf_text(&o.log)));
			assert_int_equal(ft_modem_stats(&o.modem)->overlong, r->overlong);
			if (r->note ? !ft_slice_holds(ft_buf_text(&o.notes), r->note) : false)
				fail_msg("%s: the notes are\n%.*s", r->name, FT_P(ft_buf_text(&o.notes)));
			if (k == 0)
				first = o;
			else if (!ft_slice_eq(ft_buf_text(&o.log), ft_buf_text(&first.log)) ||
			         !ft_slice_eq(ft_buf_text(&o.notes), ft_buf_text(&first.notes)))
				fail_msg("%s: pieces of %zu give another log", r->name, slices[k]);
			if (k)
				done(&o);
		}
		done(&first);
	}
}

/* The log of a survey is what ft_signal_read takes, with the same readings. */
static void its_log_is_read_again(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct ft_arena a = { 0 };
		struct ft_error e = { 0 };
		struct ft_signal_log log;
		struct outcome o = { 0 };
		play(&rows[i], 0, &o);
		if (rows[i].samples) {
			assert_int_equal(ft_signal_read(ft_buf_text(&o.log), "log", &a, &log, &e), FT_OK);
			assert_int_equal(log.count, rows[i].samples - rows[i].unknown);
			assert_true(log.unknown >= rows[i].unknown);
		}
		done(&o);
		ft_arena_done(&a);
	}
}

static const struct row *row(const char *name)
{
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		if (strcmp(rows[i].name, name) == 0)
			return &rows[i];
	fail_msg("no row %s", name);
	return NULL;
}

static void readings_keep_their_distance(void **state)
{
	struct outcome o = { 0 };

	(void)state;
	play(row("a plain one"), 0, &o); /* four readings, five seconds from one to the next */
	assert_true(o.took_us >= 16000000 && o.took_us < 17000000);
	done(&o);
}

static void more_at_another_place_and_stopped(void **state)
{
	struct outcome o = { 0 };
	struct ft_error e = { 0 };
	size_t n;

	(void)state;
	play(row("a plain one"), 0, &o);
	ft_modem_more(&o.modem, o.took_us + 60000000);
	assert_false(ft_modem_ended(&o.modem));
	assert_non_null(ft_modem_out(&o.modem, &n));
	assert_int_equal(n, strlen("AT+CESQ\r"));
	ft_modem_abort(&o.modem);
	fetch(&o);
	assert_int_equal(o.ends, 2);
	assert_null(ft_modem_out(&o.modem, &n));
	assert_int_equal(ft_modem_failure(&o.modem, &e), FT_E_LINE);
	assert_true(ft_slice_holds(ft_slice_of(e.text), "stopped after 4 readings"));
	done(&o);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(modems_of_all_kinds),
		cmocka_unit_test(its_log_is_read_again),
		cmocka_unit_test(readings_keep_their_distance),
		cmocka_unit_test(more_at_another_place_and_stopped),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
