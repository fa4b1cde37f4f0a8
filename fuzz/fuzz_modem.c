/* SPDX-License-Identifier: Apache-2.0 */
/* The survey through a modem against hostile bytes, odd slicings and any course of time, and the practice machine's
 * modem beside it.
 *
 * Input: one byte settings, then orders: a byte with the order in its upper three bits and a number in its lower five.
 * Whatever comes, the engine keeps its promises, its log is one that is read again to as many readings, and once the
 * line is silent it comes to its end by itself. */
#include <stdlib.h>

#include "fettle/modem.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { FEED, TICK, OUT, LATE, ANSWER, GOOD, MORE, TO_DUE };
enum { STEPS_MAX = 4000 }; /* far beyond all tries of one survey */

struct run {
	struct ft_modem m;
	struct ft_buf log;
	int64_t now_us;
	unsigned ends, begun;
	uint64_t told, unknown;
};

static void must(bool held)
{
	if (!held)
		abort();
}

static void fetch(struct run *r)
{
	struct ft_modem_event ev;

	for (unsigned n = 0; ft_modem_next(&r->m, &ev); n++) {
		must(n <= FT_MODEM_EVENTS && ev.kind != FT_MODEM_EV_NONE);
		must(memchr(ev.text, 0, sizeof ev.text) != NULL);
		if (ev.kind == FT_MODEM_EV_LINE) {
			must(ev.text[0] && !strchr(ev.text, '\n') && !strchr(ev.text, '\r'));
			ft_buf_printf(&r->log, "%s\n", ev.text);
		}
		if (ev.kind == FT_MODEM_EV_NOTE)
			must(ev.text[0] != 0);
		if (ev.kind == FT_MODEM_EV_SAMPLE) {
			r->told += !ev.unknown;
			r->unknown += ev.unknown;
			must(ev.unknown || ev.sample.low < ev.sample.high);
		}
		r->ends += ev.kind == FT_MODEM_EV_DONE || ev.kind == FT_MODEM_EV_FAILED;
	}
	must(r->ends <= r->begun);
}

static void give(struct run *r, size_t most)
{
	size_t n;
	const uint8_t *out = ft_modem_out(&r->m, &n);

	must(out ? n > 0 && n < 32 : n == 0);
	if (out)
		ft_modem_sent(&r->m, n < most ? n : most, r->now_us);
	fetch(r);
}

static void feed(struct run *r, const void *p, size_t n)
{
	uint8_t *exact = malloc(n ? n : 1); /* so that reading beyond is seen */

	must(exact != NULL);
	if (n)
		memcpy(exact, p, n);
	for (size_t at = 0, took; at < n; at += took) {
		took = ft_modem_feed(&r->m, exact + at, n - at, r->now_us);
		must(took > 0 && took <= n - at); /* events are fetched each time, so it goes on */
		fetch(r);
	}
	free(exact);
}

static void order(struct run *r, unsigned what, unsigned number, const uint8_t *p, size_t n)
{
	static const char *const answers[] = { "\r\nOK\r\n",
		                                   "\r\nERROR\r\n",
		                                   "\r\n+CME ERROR: 10\r\n",
		                                   "\r\n+CESQ: 99,99,255,255,20,45\r\nOK\r\n",
		                                   "\r\n+CESQ: 99,99,255,255,255,255\r\nOK\r\n",
		                                   "+CESQ: 99,99,255,255,255,255,60,80,70\r\n",
		                                   "+CSQ: 15,99\r\nOK\r\n",
		                                   "+CSQ: 99,99\r\nOK\r\n",
		                                   "+CSQ: 150,99\r\n",
		                                   "+CEREG: 0,1\r\nOK\r\n",
		                                   "+CREG: 5\r\n",
		                                   "+CPIN: SIM PIN\r\nOK\r\n",
		                                   "+CESQ: 30,3,255,255,255,255\r\nOK\r\n",
		                                   "0\r" };

	switch (what) {
	case FEED:
		feed(r, p, n);
		break;
	case TICK:
	case LATE:
		r->now_us += (int64_t)number * (what == TICK ? 10000 : 1000000);
		ft_modem_tick(&r->m, r->now_us);
		break;
	case OUT:
		give(r, number ? number : 32);
		break;
	case ANSWER:
		feed(r, answers[number % 14], strlen(answers[number % 14]));
		break;
	case GOOD: /* as many good answers, so that what lies behind the first ones is reached */
		for (unsigned i = 0; i < number && !ft_modem_ended(&r->m); i++) {
			give(r, 32);
			if (ft_modem_due(&r->m) != FT_NEVER && ft_modem_due(&r->m) > r->now_us && i % 4 == 3)
				r->now_us = ft_modem_due(&r->m);
			ft_modem_tick(&r->m, r->now_us);
			feed(r, answers[i % 2 ? 3 : 0], strlen(answers[i % 2 ? 3 : 0]));
		}
		break;
	case MORE:
		if (number == 31) {
			ft_modem_abort(&r->m);
		} else if (ft_modem_ended(&r->m)) {
			struct ft_error e = { 0 };
			if (ft_modem_failure(&r->m, &e) == FT_OK)
				r->begun++;
			ft_modem_more(&r->m, r->now_us);
		}
		break;
	default:
		if (ft_modem_due(&r->m) != FT_NEVER && ft_modem_due(&r->m) > r->now_us)
			r->now_us = ft_modem_due(&r->m);
		ft_modem_tick(&r->m, r->now_us);
		fetch(r);
		give(r, 32);
	}
	fetch(r);
}

/* Silence until it ends. */
static void rest(struct run *r)
{
	struct ft_error e = { 0 };

	for (unsigned i = 0; !ft_modem_ended(&r->m); i++) {
		int64_t due = ft_modem_due(&r->m);
		size_t n;
		must(i < STEPS_MAX);
		must(due != FT_NEVER || ft_modem_out(&r->m, &n)); /* never does it wait for ever */
		if (due != FT_NEVER && due > r->now_us)
			r->now_us = due;
		ft_modem_tick(&r->m, r->now_us);
		fetch(r);
		give(r, 32);
	}
	must(r->ends == r->begun);
	must((ft_modem_failure(&r->m, &e) == FT_OK) == (e.text[0] == 0));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_modem_settings s = ft_modem_defaults();
	struct run r = { .begun = 1 };
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	struct ft_signal_log log;

	if (size < 1)
		return 0;
	s.samples = data[0] & 7U;
	s.only = data[0] & 8;
	s.every_us = (data[0] >> 4) * FT_SECOND;
	ft_modem_init(&r.m, &s, 0);
	for (size_t at = 1; at < size;) {
		unsigned what = data[at] >> 5, number = data[at] & 31U;
		size_t n = what == FEED ? number + 1U : 0;
		at++;
		n = n < size - at ? n : size - at;
		order(&r, what, number, data + at, n);
		at += n;
	}
	rest(&r);
	if (r.told + r.unknown) {
		must(ft_signal_read(ft_buf_text(&r.log), "log", &a, &log, &e) == FT_OK);
		must(log.count == r.told && log.unknown >= r.unknown);
	}
	ft_buf_done(&r.log);
	ft_arena_done(&a);
	return 0;
}
