/* SPDX-License-Identifier: Apache-2.0 */
/* A survey through a modem with a standard command set, as an engine without I/O: bytes in by ft_modem_feed, bytes
 * out by ft_modem_out, events by ft_modem_next, one deadline. Times are monotonic microseconds brought by the caller.
 *
 * Commands and answers: ITU-T V.250 (a command ends with CR, answers stand between line ends, the last is OK or ERROR)
 * and 3GPP TS 27.007 (+CSQ, +CESQ, +CREG and kin, +CPIN, +CME ERROR). Nothing is changed in the modem but its echo and
 * the form of its answers, which it forgets when it is switched off. Waits and numbers of tries are ours. */
#ifndef FETTLE_MODEM_H
#define FETTLE_MODEM_H

#include "fettle/error.h"
#include "fettle/signal.h"
#include "fettle/time.h"

#define FT_MODEM_LINE 160 /* ours: the longest line that is kept; the longest answer asked for has some forty */

struct ft_modem_settings {
	int baud;         /* tried first, the usual rates after it */
	bool only;        /* no other rate is tried */
	unsigned samples; /* readings at a place, 1 or more */
	int64_t every_us; /* from the beginning of one reading to that of the next */
	int64_t soft_us;  /* an answer later than this is called slow */
	int64_t hard_us;  /* and later than this it is asked for again */
};

struct ft_modem_settings ft_modem_defaults(void);

enum ft_modem_event_kind {
	FT_MODEM_EV_NONE,
	FT_MODEM_EV_BAUD,   /* number = rate the line must take once everything sent has left */
	FT_MODEM_EV_LINE,   /* text = a line of the log, a command or an answer, as it came */
	FT_MODEM_EV_SAMPLE, /* number = readings of this place so far; sample, unless `unknown` */
	FT_MODEM_EV_NOTE,   /* text = a sentence for people */
	FT_MODEM_EV_DONE,   /* all readings of the place were taken: ft_modem_more, or over */
	FT_MODEM_EV_FAILED, /* see ft_modem_failure */
};

struct ft_modem_event {
	enum ft_modem_event_kind kind;
	int64_t number;
	bool unknown;
	struct ft_signal_sample sample;
	char text[FT_MODEM_LINE];
};

struct ft_modem_stats {
	uint64_t bytes_in, bytes_out;
	unsigned samples, unknown; /* readings, and those of them that said not known */
	unsigned foreign;          /* lines that belong to no question */
	unsigned wrong, late, overlong;
	int baud; /* in use */
};

enum { FT_MODEM_EVENTS = 16 };

/* A plain struct; its members are the engine's own. */
struct ft_modem {
	struct ft_modem_settings settings;
	int step, after; /* enum in modem.c; `after`: where the states of registration lead */
	bool asked;      /* a command is under way */
	bool slow_told, heard_other, late;
	bool knows[3];               /* +CEREG, +CGREG, +CREG: not refused so far */
	bool cesq, csq, cesq_worked; /* asked for; the first has answered */
	char out[24];
	size_t out_n, out_at;
	int64_t deadline_us, soft_at_us, round_us;
	char line[FT_MODEM_LINE];
	size_t line_n;
	bool line_over;
	char first[40]; /* of what was heard that is no answer */
	char error[FT_MODEM_LINE];
	int rate, tries, fails, resyncs;
	int failure;
	unsigned round, nets;
	bool got;
	struct ft_signal_line got_line;
	enum ft_signal_said got_said;
	char got_text[FT_MODEM_LINE];
	struct ft_modem_event events[FT_MODEM_EVENTS];
	unsigned event_at, event_n;
	struct ft_modem_stats stats;
};

void ft_modem_init(struct ft_modem *m, const struct ft_modem_settings *settings, int64_t now_us);

/* Takes up to `n` received bytes and returns how many; fewer than n: fetch events, then go on. */
size_t ft_modem_feed(struct ft_modem *m, const uint8_t *p, size_t n, int64_t now_us);

/* Bytes to send now, or NULL. Borrowed until ft_modem_sent; the last of `n` leaves the line at `gone_us`. */
const uint8_t *ft_modem_out(const struct ft_modem *m, size_t *ret_n);
void ft_modem_sent(struct ft_modem *m, size_t n, int64_t gone_us);

/* The next event, oldest first; false when there is none. */
bool ft_modem_next(struct ft_modem *m, struct ft_modem_event *ret);

/* When ft_modem_tick wants to be called next; FT_NEVER when only bytes, or nothing at all, can move it. */
int64_t ft_modem_due(const struct ft_modem *m);
void ft_modem_tick(struct ft_modem *m, int64_t now_us);

/* After FT_MODEM_EV_DONE: the antenna was moved, as many readings again. */
void ft_modem_more(struct ft_modem *m, int64_t now_us);

/* Ends it now; FT_MODEM_EV_FAILED follows. */
void ft_modem_abort(struct ft_modem *m);

bool ft_modem_ended(const struct ft_modem *m); /* done or failed */
const struct ft_modem_stats *ft_modem_stats(const struct ft_modem *m);

/* Why it failed, as a sentence with what to try (FT_E_LINE); FT_OK when it did not. */
enum ft_status ft_modem_failure(const struct ft_modem *m, struct ft_error *e);

#endif
