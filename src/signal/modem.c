/* SPDX-License-Identifier: Apache-2.0 */
/* The exchange with a modem: wake it, find its rate, ask how it stands, then take one reading after the other. */
#include <stdarg.h>
#include <stdio.h>

#include "fettle/modem.h"

enum step { WAKE, ECHO, VERBOSE, ERRORS, SIM, NET, READ_CESQ, READ_CSQ, REST, RESYNC, DONE, FAILED };
enum failure { NO_FAILURE, SILENT, LOOPED, NO_MODEM, WENT_QUIET, NOTHING_KNOWN, GARBLED, STOPPED };

/* Rates of modems, the usual ones first; common practice. */
static const int rates[] = { 115200, 9600, 57600, 38400, 19200, 230400, 460800, 921600, 4800 };
static const char *const nets[] = { "AT+CEREG?", "AT+CGREG?", "AT+CREG?" };

enum { RATES = sizeof rates / sizeof *rates, FAILS_MAX = 5, RESYNCS_MAX = 3, NETS_MAX = 200 };

#define FIRST_US INT64_C(1500000) /* for the first answer at the rate asked for, and ... */
#define OTHER_US INT64_C(500000)  /* ... at each of the others */
#define AGAIN_US INT64_C(3000000) /* for a sign of life in the middle */
#define PAUSE_US INT64_C(300000)  /* before a reading that failed is asked for again */

struct ft_modem_settings ft_modem_defaults(void)
{
	return (struct ft_modem_settings){
		.baud = rates[0], .samples = 12, .every_us = 5 * FT_SECOND, .soft_us = 3 * FT_SECOND, .hard_us = 20 * FT_SECOND
	};
}

static struct ft_modem_event *event(struct ft_modem *m, enum ft_modem_event_kind kind)
{
	struct ft_modem_event *ev;

	if (m->event_n == FT_MODEM_EVENTS) { /* nobody fetches: the oldest goes */
		m->event_at = (m->event_at + 1) % FT_MODEM_EVENTS;
		m->event_n--;
	}
	ev = &m->events[(m->event_at + m->event_n++) % FT_MODEM_EVENTS];
	*ev = (struct ft_modem_event){ .kind = kind };
	return ev;
}

static void note(struct ft_modem *m, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void note(struct ft_modem *m, const char *format, ...)
{
	struct ft_modem_event *ev = event(m, FT_MODEM_EV_NOTE);
	va_list args;

	va_start(args, format);
	vsnprintf(ev->text, sizeof ev->text, format, args);
	va_end(args);
}

static void keep(struct ft_modem *m, const char *line)
{
	snprintf(event(m, FT_MODEM_EV_LINE)->text, FT_MODEM_LINE, "%s", line);
}

static void fail(struct ft_modem *m, enum failure why)
{
	m->failure = (int)why;
	m->step = FAILED;
	m->asked = false;
	m->out_n = m->out_at = 0;
	m->deadline_us = FT_NEVER;
	event(m, FT_MODEM_EV_FAILED);
}

static void say(struct ft_modem *m, const char *command)
{
	m->out_n = (size_t)snprintf(m->out, sizeof m->out, "%s\r", command);
	m->out_at = 0;
	m->asked = true;
	m->late = false;
	m->got = false;
	m->deadline_us = FT_NEVER; /* counts from when the last byte has left */
	if (m->step >= SIM && m->step <= READ_CSQ)
		keep(m, command);
}

static int rate_of(const struct ft_modem *m)
{
	return m->rate == 0 ? m->settings.baud : rates[m->rate - 1];
}

/* ---- from step to step ---- */

static void ask(struct ft_modem *m)
{
	static const char *const words[] = {
		[WAKE] = "AT",           [ECHO] = "ATE0",       [VERBOSE] = "ATV1", [ERRORS] = "AT+CMEE=1", [SIM] = "AT+CPIN?",
		[READ_CESQ] = "AT+CESQ", [READ_CSQ] = "AT+CSQ", [REST] = NULL,      [RESYNC] = "AT"
	};

	say(m, m->step == NET ? nets[m->tries] : words[m->step]);
}

static void go(struct ft_modem *m, enum step to)
{
	m->step = (int)to;
	m->tries = 0;
	ask(m);
}

static void round_begins(struct ft_modem *m, int64_t now_us)
{
	m->round_us = now_us;
	go(m, m->cesq ? READ_CESQ : READ_CSQ);
}

/* The next kind of net that was not refused, or on to what comes behind them. */
static void ask_net(struct ft_modem *m, int from, int64_t now_us)
{
	while (from < 3 && !m->knows[from])
		from++;
	if (from < 3) {
		m->step = NET;
		m->tries = from;
		ask(m);
	} else if (m->after == DONE) {
		m->step = DONE;
		m->asked = false;
		m->deadline_us = FT_NEVER;
		event(m, FT_MODEM_EV_DONE);
	} else {
		round_begins(m, now_us);
	}
}

static void round_ends(struct ft_modem *m)
{
	m->asked = false;
	if (++m->round >= m->settings.samples) {
		m->after = DONE;
		ask_net(m, 0, 0); /* asked at first and again: it may have come or gone in between */
		return;
	}
	m->step = REST;
	m->deadline_us = m->round_us + m->settings.every_us;
}

/* A reading did not come out; it is asked for again after a moment. */
static void round_fails(struct ft_modem *m, int64_t now_us)
{
	m->asked = false;
	m->stats.wrong++;
	if (++m->fails >= FAILS_MAX) {
		fail(m, GARBLED);
		return;
	}
	m->step = REST;
	m->deadline_us = now_us + PAUSE_US;
}

static void count(struct ft_modem *m)
{
	struct ft_modem_event *ev;

	m->fails = m->resyncs = 0;
	m->stats.samples++;
	m->stats.unknown += m->got_said == FT_SIGNAL_SAYS_UNKNOWN;
	ev = event(m, FT_MODEM_EV_SAMPLE);
	ev->number = m->round + 1;
	ev->unknown = m->got_said == FT_SIGNAL_SAYS_UNKNOWN;
	ev->sample = m->got_line.sample;
}

static void read_answered(struct ft_modem *m, bool good, int64_t now_us)
{
	bool cesq = m->step == READ_CESQ;
	bool unknown = m->got && m->got_said == FT_SIGNAL_SAYS_UNKNOWN;

	if (cesq && !m->cesq_worked && (!good || (!m->got && m->fails > 0))) {
		m->cesq = false;
		m->csq = true;
		note(m, "This modem does not answer +CESQ; +CSQ is asked instead.");
		go(m, READ_CSQ);
	} else if (!good && !cesq && !m->cesq_worked && m->fails + 1 >= FAILS_MAX) {
		fail(m, NOTHING_KNOWN);
	} else if (!good && !cesq && m->cesq) { /* +CESQ, which is not known at the moment, stands in the log already */
		m->csq = false;
		m->got_said = FT_SIGNAL_SAYS_UNKNOWN;
		count(m);
		round_ends(m);
	} else if (!good || !m->got) {
		round_fails(m, now_us);
	} else if (cesq && unknown && m->csq) { /* some fill +CSQ only: asked beside it, and the better one stays */
		m->cesq_worked = true;
		keep(m, m->got_text);
		go(m, READ_CSQ);
	} else {
		if (cesq) {
			m->cesq_worked = true;
			m->csq = m->csq && unknown;
		} else if (m->cesq && !unknown) {
			m->cesq = false;
			note(m, "This modem tells its level in +CSQ only.");
		}
		keep(m, m->got_text);
		count(m);
		round_ends(m);
	}
}

static void answered(struct ft_modem *m, bool good, int64_t now_us)
{
	m->asked = false;
	m->deadline_us = FT_NEVER;
	switch ((enum step)m->step) {
	case WAKE:
		if (m->rate)
			note(m, "The modem answers at %d bit/s, not at %d.", m->stats.baud, m->settings.baud);
		go(m, ECHO);
		break;
	case ECHO:
		if (!good)
			note(m, "The modem does not let its echo be switched off; its echoes are passed over.");
		go(m, VERBOSE);
		break;
	case VERBOSE:
		go(m, ERRORS);
		break;
	case ERRORS:
		go(m, SIM);
		break;
	case SIM:
		if (!good)
			note(m, "The modem has no SIM that is ready%s%s.", m->error[0] == '+' ? ": " : "",
			     m->error[0] == '+' ? m->error : "");
		m->after = READ_CESQ;
		ask_net(m, 0, now_us);
		break;
	case NET:
		if (!good)
			m->knows[m->tries] = false;
		ask_net(m, m->tries + 1, now_us);
		break;
	case READ_CESQ:
	case READ_CSQ:
		read_answered(m, good, now_us);
		break;
	case RESYNC:
		if (m->after == DONE)
			ask_net(m, 0, now_us);
		else
			round_begins(m, now_us);
		break;
	default:
		break;
	}
}

/* ---- lines ---- */

static bool printable(struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i++)
		if (s.p[i] < 32 || s.p[i] > 126)
			return false;
	return true;
}

static void remember(struct ft_modem *m, struct ft_slice line)
{
	size_t n = 0;
	bool first = !m->first[0];

	m->heard_other = true;
	for (size_t i = 0; first && i < line.n && n + 1 < sizeof m->first; i++)
		if (line.p[i] >= 32 && line.p[i] < 127 && line.p[i] != '"')
			m->first[n++] = line.p[i];
}

/* The last line of an answer; also as numbers, for a modem that was told to. */
static bool is_final(const struct ft_modem *m, struct ft_slice line, bool *ret_good)
{
	*ret_good = ft_slice_is(line, "OK") || (m->step <= VERBOSE && ft_slice_is(line, "0"));
	return *ret_good || ft_slice_is(line, "ERROR") || (m->step <= VERBOSE && ft_slice_is(line, "4")) ||
		(line.n >= 11 && ft_slice_eq((struct ft_slice){ line.p, 11 }, FT_SLICE("+CME ERROR:"))) ||
		(line.n >= 11 && ft_slice_eq((struct ft_slice){ line.p, 11 }, FT_SLICE("+CMS ERROR:")));
}

static void hold(struct ft_modem *m, const struct ft_signal_line *l, enum ft_signal_said said, struct ft_slice line)
{
	m->got = true;
	m->got_line = *l;
	m->got_said = said;
	snprintf(m->got_text, sizeof m->got_text, "%.*s", FT_P(line));
}

static void say_about(struct ft_modem *m, struct ft_slice line)
{
	struct ft_signal_line l;
	enum ft_signal_said said = line.p[0] == '+' ? ft_signal_line(line, &l) : FT_SIGNAL_OTHER;
	bool cesq = line.n > 2 && (line.p[2] == 'E' || line.p[2] == 'e');
	char text[FT_MODEM_LINE];

	snprintf(text, sizeof text, "%.*s", FT_P(line));
	switch (said) {
	case FT_SIGNAL_SAYS_LEVEL:
	case FT_SIGNAL_SAYS_UNKNOWN:
		if (m->asked && m->step == (cesq ? READ_CESQ : READ_CSQ))
			hold(m, &l, said, line);
		else
			m->stats.foreign++;
		break;
	case FT_SIGNAL_SAYS_WRONG: /* damaged on its way; the answer counts as failed when it ends */
		m->got = false;
		break;
	case FT_SIGNAL_SAYS_NET:
		if (m->step >= SIM && ++m->nets <= NETS_MAX)
			keep(m, text);
		break;
	case FT_SIGNAL_SAYS_SIM:
		if (m->step == SIM && !l.number)
			note(m, "The SIM is not ready: %.100s.", text);
		if (m->step >= SIM && ++m->nets <= NETS_MAX)
			keep(m, text);
		break;
	case FT_SIGNAL_OTHER:
		m->stats.foreign++;
		remember(m, line);
		break;
	}
}

static void take_line(struct ft_modem *m, int64_t now_us)
{
	struct ft_slice line = ft_slice_trim((struct ft_slice){ m->line, m->line_n });
	struct ft_slice said = { m->out, m->out_n ? m->out_n - 1 : 0 };
	bool good, over = m->line_over;

	m->line_n = 0;
	m->line_over = false;
	if (over) {
		m->stats.overlong++;
		remember(m, line);
	} else if (!line.n || ft_slice_eq_nocase(line, said)) {
		return; /* nothing, or the echo of what was asked */
	} else if (!printable(line)) {
		m->stats.foreign++;
		remember(m, line);
	} else if (m->asked && m->out_at == m->out_n && is_final(m, line, &good)) {
		if (!good) {
			snprintf(m->error, sizeof m->error, "%.*s", FT_P(line));
			if (m->step >= SIM && m->step <= READ_CSQ)
				keep(m, m->error);
		}
		answered(m, good, now_us);
	} else if (m->step <= DONE) {
		say_about(m, line);
	}
}

size_t ft_modem_feed(struct ft_modem *m, const uint8_t *p, size_t n, int64_t now_us)
{
	size_t at = 0;

	/* one line says little, so there is always room for what it causes */
	while (at < n && m->event_n <= FT_MODEM_EVENTS / 2) {
		uint8_t b = p[at++];
		m->stats.bytes_in++;
		if (b == '\r' || b == '\n')
			take_line(m, now_us);
		else if (b == 0)
			continue; /* a break, or a wrong rate */
		else if (m->line_n < FT_MODEM_LINE - 1)
			m->line[m->line_n++] = (char)b;
		else
			m->line_over = true;
	}
	return at;
}

const uint8_t *ft_modem_out(const struct ft_modem *m, size_t *ret_n)
{
	*ret_n = m->out_n - m->out_at;
	return *ret_n ? (const uint8_t *)m->out + m->out_at : NULL;
}

void ft_modem_sent(struct ft_modem *m, size_t n, int64_t gone_us)
{
	int64_t wait = m->settings.soft_us;

	m->out_at += n <= m->out_n - m->out_at ? n : m->out_n - m->out_at;
	m->stats.bytes_out += n;
	if (m->out_at < m->out_n || !m->asked)
		return;
	if (m->step == WAKE)
		wait = m->rate ? OTHER_US : FIRST_US;
	if (m->step == RESYNC)
		wait = AGAIN_US;
	m->deadline_us = gone_us + wait;
	m->soft_at_us = gone_us;
}

bool ft_modem_next(struct ft_modem *m, struct ft_modem_event *ret)
{
	if (!m->event_n)
		return false;
	*ret = m->events[m->event_at];
	m->event_at = (m->event_at + 1) % FT_MODEM_EVENTS;
	m->event_n--;
	return true;
}

int64_t ft_modem_due(const struct ft_modem *m)
{
	return m->deadline_us;
}

/* ---- time ---- */

static void next_rate(struct ft_modem *m)
{
	int last = m->settings.only ? 0 : RATES;

	do
		m->rate++;
	while (m->rate <= last && rate_of(m) == m->settings.baud);
	if (m->rate > last) {
		m->rate = 0;
		fail(m, m->heard_other ? NO_MODEM : m->stats.bytes_in ? LOOPED : SILENT);
		return;
	}
	m->stats.baud = rate_of(m);
	m->line_n = 0;
	m->line_over = false;
	event(m, FT_MODEM_EV_BAUD)->number = m->stats.baud;
	go(m, WAKE);
}

static void no_answer(struct ft_modem *m, int64_t now_us)
{
	if (m->step == WAKE || m->step == RESYNC) {
		if (m->tries++ == 0)
			ask(m);
		else if (m->step == WAKE)
			next_rate(m);
		else
			fail(m, WENT_QUIET);
		return;
	}
	if (!m->late) { /* slow; it may still come */
		m->late = true;
		m->stats.late++;
		if (!m->slow_told)
			note(m, "The modem is slow to answer; it is given more time.");
		m->slow_told = true;
		m->deadline_us = m->soft_at_us + m->settings.hard_us;
		if (m->deadline_us > now_us)
			return;
	}
	if (++m->resyncs > RESYNCS_MAX) {
		fail(m, WENT_QUIET);
		return;
	}
	go(m, RESYNC);
}

void ft_modem_tick(struct ft_modem *m, int64_t now_us)
{
	if (now_us < m->deadline_us || m->step >= DONE)
		return;
	if (m->step == REST)
		round_begins(m, now_us);
	else if (m->asked)
		no_answer(m, now_us);
}

void ft_modem_init(struct ft_modem *m, const struct ft_modem_settings *settings, int64_t now_us)
{
	*m = (struct ft_modem){ .settings = *settings, .cesq = true, .csq = true, .knows = { true, true, true } };
	(void)now_us; /* the first wait begins when the first byte has left */
	if (m->settings.baud <= 0)
		m->settings.baud = rates[0];
	if (!m->settings.samples)
		m->settings.samples = 1;
	m->stats.baud = m->settings.baud;
	go(m, WAKE);
}

void ft_modem_more(struct ft_modem *m, int64_t now_us)
{
	if (m->step != DONE)
		return;
	m->round = 0;
	m->after = READ_CESQ;
	round_begins(m, now_us);
}

void ft_modem_abort(struct ft_modem *m)
{
	if (m->step < DONE)
		fail(m, STOPPED);
}

bool ft_modem_ended(const struct ft_modem *m)
{
	return m->step >= DONE;
}

const struct ft_modem_stats *ft_modem_stats(const struct ft_modem *m)
{
	return &m->stats;
}

enum ft_status ft_modem_failure(const struct ft_modem *m, struct ft_error *e)
{
	const char *others = m->settings.only ? "" : " or any other usual rate";

	switch ((enum failure)m->failure) {
	case NO_FAILURE:
		return FT_OK;
	case SILENT:
		return ft_fail(e, FT_E_LINE,
		               "Nothing answered at %d bit/s%s. Is the modem on, is this its command port (modems often have "
		               "several), and are the leads the right way round?",
		               m->settings.baud, others);
	case LOOPED:
		return ft_fail(e, FT_E_LINE,
		               "What is sent comes straight back and nobody answers it: are the two data leads joined, or does "
		               "the modem hang? Part them, or switch it off and on.");
	case NO_MODEM:
		return ft_fail(e, FT_E_LINE,
		               "Something speaks on this port, but not as a modem does, at %d bit/s%s%s%s%s. Choose the "
		               "modem's command port; fettle ports lists them.",
		               m->settings.baud, others, m->first[0] ? ": it said \"" : "", m->first, m->first[0] ? "\"" : "");
	case WENT_QUIET:
		return ft_fail(e, FT_E_LINE,
		               "The modem went quiet after %u reading%s. Look whether its lead sits firmly and it still has "
		               "power, then survey again.",
		               m->stats.samples, m->stats.samples == 1 ? "" : "s");
	case NOTHING_KNOWN:
		return ft_fail(e, FT_E_LINE,
		               "The modem answers neither +CESQ nor +CSQ (%s). Choose its other port, or put in a SIM; some "
		               "measure nothing without one.",
		               m->error[0] ? m->error : "no reading");
	case GARBLED:
		return ft_fail(e, FT_E_LINE,
		               "Five answers in a row came without a reading that makes sense, after %u good one%s. Look at "
		               "the lead and name the rate with --baud.",
		               m->stats.samples, m->stats.samples == 1 ? "" : "s");
	case STOPPED:
		return ft_fail(e, FT_E_LINE, "The survey was stopped after %u reading%s.", m->stats.samples,
		               m->stats.samples == 1 ? "" : "s");
	}
	return ft_fail(e, FT_E_INTERNAL, "The survey ended without a reason.");
}
