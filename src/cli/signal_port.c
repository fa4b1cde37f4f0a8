/* SPDX-License-Identifier: Apache-2.0 */
/* A survey through a modem on a port: one place after the other, told as it goes. */
#include <signal.h>
#include <string.h>
#include <unistd.h>

#include "fettle/modem.h"
#include "fettle/port.h"
#include "signal_survey.h"

enum { LOG_MAX = 8 << 20 }; /* ours: bytes of one survey, far beyond a day of readings */

static volatile sig_atomic_t stopped; /* a signal handler can reach nothing else */

static void on_signal(int number)
{
	(void)number;
	stopped = 1;
}

struct asking {
	struct survey *s;
	struct ft_buf *text;
	struct ft_modem modem;
	struct ft_port_talk talk;
	const char *place; /* NULL: it has no name */
	unsigned samples;
	sigset_t mask; /* signals come while waiting only */
	bool terminal, progress;
};

/* ---- the engine as the loop sees it ---- */

static size_t feed(void *engine, const uint8_t *p, size_t n, int64_t now_us)
{
	return ft_modem_feed(engine, p, n, now_us);
}

static const uint8_t *out(const void *engine, size_t *ret_n)
{
	return ft_modem_out(engine, ret_n);
}

static void sent(void *engine, size_t n, int64_t gone_us)
{
	ft_modem_sent(engine, n, gone_us);
}

static int64_t due(const void *engine)
{
	return ft_modem_due(engine);
}

static void tick(void *engine, int64_t now_us)
{
	ft_modem_tick(engine, now_us);
}

static const struct ft_port_engine kind = { feed, out, sent, due, tick };

/* ---- what it tells ---- */

static void clear_progress(struct asking *a)
{
	if (a->progress)
		fputs("\r\033[K", stderr);
	a->progress = false;
}

static void tell_sample(struct asking *a, const struct ft_modem_event *ev)
{
	const struct ft_signal_sample *x = &ev->sample;
	char level[48] = "level not known";

	if (!ev->unknown && x->low < -500)
		snprintf(level, sizeof level, "%s below %.0f dBm", ft_signal_metric_word(x->metric), x->high);
	else if (!ev->unknown)
		snprintf(level, sizeof level, "%s %.1f dBm", ft_signal_metric_word(x->metric),
		         x->high > 500 ? x->low + 0.5 : (x->low + x->high) / 2);
	fprintf(stderr, "%s%s %lld of %u: %s%s", a->terminal ? "\r\033[K" : "", a->place ? a->place : "reading",
	        (long long)ev->number, a->samples, level, a->terminal ? "" : "\n");
	a->progress = a->terminal;
}

static int heard(void *context)
{
	struct asking *a = context;
	struct ft_modem_event ev;
	int baud = 0;

	while (ft_modem_next(&a->modem, &ev))
		switch (ev.kind) {
		case FT_MODEM_EV_BAUD:
			baud = (int)ev.number;
			if (a->terminal) {
				fprintf(stderr, "\r\033[KNo answer yet; trying %d bit/s.", baud);
				a->progress = true;
			}
			break;
		case FT_MODEM_EV_LINE:
			ft_buf_printf(a->text, "%s\n", ev.text);
			break;
		case FT_MODEM_EV_SAMPLE:
			tell_sample(a, &ev);
			break;
		case FT_MODEM_EV_NOTE:
			clear_progress(a);
			fprintf(stderr, "%s\n", ev.text);
			break;
		default:
			break;
		}
	return baud;
}

/* ---- one place after the other ---- */

static bool take_place(struct asking *a)
{
	struct ft_error *e = &a->s->c->error;

	if (a->place)
		ft_buf_printf(a->text, "position %s\n", a->place);
	while (!ft_modem_ended(&a->modem)) {
		struct pollfd fd;
		int64_t next_us;
		if (ft_port_talk(&a->talk, ft_port_clock(), &next_us, e) != FT_OK)
			return false;
		if (stopped)
			ft_modem_abort(&a->modem);
		fd = ft_port_poll(a->talk.port);
		if (!ft_modem_ended(&a->modem))
			ft_port_wait(&fd, 1, next_us, &a->mask);
	}
	heard(a);
	clear_progress(a);
	/* stopped by hand with readings taken: they count */
	if (stopped && ft_modem_stats(&a->modem)->samples)
		return true;
	return ft_modem_failure(&a->modem, e) == FT_OK;
}

/* True: the fitter has moved the antenna. False: no more places. */
static bool moved(struct asking *a)
{
	struct pollfd fd = { .fd = STDIN_FILENO, .events = POLLIN };
	char key = 0, word = 0;

	fprintf(stderr, "Move the antenna: %s. Press Enter when it is there, q and Enter to end here.\n", a->place);
	while (!stopped && key != '\n') {
		if (ft_port_wait(&fd, 1, FT_NEVER, &a->mask) <= 0)
			continue;
		if (read(STDIN_FILENO, &key, 1) <= 0)
			return false;
		if (!word && key != '\n')
			word = key;
	}
	return !stopped && word != 'q';
}

static bool take_places(struct asking *a)
{
	struct cli *c = a->s->c;
	bool several = cli_value_nth(c, "position", 1) != NULL;

	for (int i = 0; i == 0 || cli_value_nth(c, "position", i); i++) {
		a->place = cli_value_nth(c, "position", i);
		if (several && !moved(a))
			break;
		if (i)
			ft_modem_more(&a->modem, ft_port_clock());
		if (!take_place(a))
			return false;
		if (stopped)
			break;
	}
	if (!ft_modem_stats(&a->modem)->samples)
		return ft_fail(&c->error, FT_E_LINE, "The survey was stopped before the first reading.") == FT_OK;
	return true;
}

static bool take_settings(struct cli *c, struct ft_modem_settings *m)
{
	int64_t baud, samples, seconds, timeout;

	*m = ft_modem_defaults();
	if (!cli_number(c, "samples", 1, 86400, m->samples, &samples) ||
	    !cli_number(c, "seconds", 1, 86400, samples * m->every_us / FT_SECOND, &seconds) ||
	    !cli_number(c, "timeout", 1, 3600, m->hard_us / FT_SECOND, &timeout) ||
	    !cli_number(c, "baud", 300, 4000000, m->baud, &baud))
		return false;
	m->hard_us = timeout * FT_SECOND;
	if (m->soft_us > m->hard_us)
		m->soft_us = m->hard_us;
	m->samples = (unsigned)samples;
	m->every_us = seconds * FT_SECOND / samples;
	m->baud = (int)baud;
	return true;
}

static void head(struct cli *c, struct ft_buf *text)
{
	int offset;
	char at[FT_TIME_TEXT];
	int64_t now = cli_now(&offset);

	(void)c;
	ft_time_text(now, offset, at);
	ft_buf_printf(text, "# Answers of a modem, asked from %s on. To judge them again: fettle signal --log FILE\n", at);
}

bool signal_ask(struct survey *s, struct ft_buf *text)
{
	struct cli *c = s->c;
	struct asking *a = ft_arena_alloc(&c->arena, sizeof *a);
	struct sigaction act = { .sa_handler = on_signal }, old[3];
	static const int numbers[] = { SIGINT, SIGTERM, SIGHUP };
	struct ft_modem_settings settings;
	struct ft_port *port = NULL;
	sigset_t held;
	bool good;

	if (!a)
		return ft_fail_memory(&c->error, "the survey") == FT_OK;
	if (!take_settings(c, &settings) || ft_port_open(cli_value(c, "port"), settings.baud, &port, &c->error) != FT_OK)
		return false;
	a->s = s;
	a->text = text;
	a->text->ceiling = LOG_MAX;
	a->samples = settings.samples;
	a->terminal = isatty(STDERR_FILENO);
	a->talk = (struct ft_port_talk){ .port = port, .kind = &kind, .engine = &a->modem, .context = a, .heard = heard };
	ft_modem_init(&a->modem, &settings, ft_port_clock());
	head(c, text);
	sigemptyset(&held);
	for (int i = 0; i < 3; i++)
		sigaddset(&held, numbers[i]);
	sigprocmask(SIG_BLOCK, &held, &a->mask);
	for (int i = 0; i < 3; i++)
		sigaction(numbers[i], &act, &old[i]);
	good = take_places(a);
	clear_progress(a);
	for (int i = 0; i < 3; i++)
		sigaction(numbers[i], &old[i], NULL);
	sigprocmask(SIG_SETMASK, &a->mask, NULL);
	ft_port_close(port);
	s->baud = ft_modem_stats(&a->modem)->baud;
	if (good && text->status != FT_OK)
		return ft_fail_memory(&c->error, "the survey") == FT_OK;
	return good;
}
