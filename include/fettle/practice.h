/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine: an invented vending machine that keeps its own books. Commands and a seed in,
 * events and audits out; it does no I/O and reads no clock, so the same machine, seed and commands
 * give the same bytes. The command `fettle practice` puts it on pseudo-terminals.
 *
 * Machine descriptions, commands and faults are documented in docs/practice.md.
 *
 * Everything a fault changes is what the machine books or sends; what really happened (money, goods)
 * is always told truly by the events. */
#ifndef FETTLE_PRACTICE_H
#define FETTLE_PRACTICE_H

#include "fettle/arena.h"
#include "fettle/buf.h"
#include "fettle/bus.h"
#include "fettle/error.h"
#include "fettle/json.h"

struct ft_practice; /* lives in the arena it was made in; ft_practice_done gives back its own buffers */

/* ---- making one ---- */

/* A description that is part of the program (data/practice/NAME.machine). */
struct ft_practice_builtin {
	const char *name;    /* "snack" */
	const char *summary; /* one line for people: the first comment of the file */
	struct ft_slice description;
};

const struct ft_practice_builtin *ft_practice_builtins(size_t *ret_count);   /* the first is the default */
const struct ft_practice_builtin *ft_practice_builtin(struct ft_slice name); /* NULL when there is none */

/* Reads a description, then lives the machine's past from `seed` up to the date the description
 * names, so that its meters agree with each other because they were counted. `what` names the
 * description in messages. FT_E_INPUT with the line number on a bad description. */
enum ft_status ft_practice_new(struct ft_slice description, const char *what, uint64_t seed, struct ft_arena *a,
                               struct ft_practice **ret, struct ft_error *e);
void ft_practice_done(struct ft_practice *p); /* NULL is fine */

/* ---- what happens ---- */

enum ft_practice_event_kind {
	FT_PRACTICE_SALE,    /* goods delivered and paid */
	FT_PRACTICE_REFUSED, /* a sale did not come about; money or card given back */
	FT_PRACTICE_FAILED,  /* the motor ran and nothing came; refunded */
	FT_PRACTICE_TEST,
	FT_PRACTICE_FREE,
	FT_PRACTICE_MONEY,    /* a coin, bill or token went in, or was rejected */
	FT_PRACTICE_RETURNED, /* credit given back without a sale */
	FT_PRACTICE_TOPPED,   /* cash credited to a card */
	FT_PRACTICE_FILLED,
	FT_PRACTICE_PAID_OUT,
	FT_PRACTICE_PRICE,
	FT_PRACTICE_STOCK,
	FT_PRACTICE_MOTOR,
	FT_PRACTICE_FIRMWARE,
	FT_PRACTICE_POWER,
	FT_PRACTICE_DOOR,
	FT_PRACTICE_CLOCK,
	FT_PRACTICE_TEMPERATURE,
	FT_PRACTICE_RESET,
	FT_PRACTICE_READ,
	FT_PRACTICE_SAVED,
	FT_PRACTICE_FAULT,   /* a fault was put in or taken out */
	FT_PRACTICE_TROUBLE, /* the machine notes an event of its own (EA1) */
	FT_PRACTICE_WAITED,
	FT_PRACTICE_MEASURED, /* a meter was put to the bus; amount: millivolts */
	FT_PRACTICE_QUIT,
	FT_PRACTICE_ANTENNA, /* the antenna of its modem was moved */
	FT_PRACTICE_EVENT_KINDS
};

struct ft_practice_event {
	enum ft_practice_event_kind kind;
	int64_t at_s;             /* machine time, local, seconds since 1970 as if it were UTC */
	char selection[12];       /* "" : none */
	char delivered[12];       /* selection whose goods came out; "" : none */
	const char *paid_with;    /* coin bill card token test free; NULL: nothing */
	int64_t price;            /* minor units; FT_ABSENT: none */
	int64_t tendered, change; /* minor units; FT_ABSENT: none */
	int64_t amount;           /* whatever the kind counts; FT_ABSENT: none */
	char text[FT_TEXT_MAX];   /* one plain sentence */
};

const char *ft_practice_event_word(enum ft_practice_event_kind kind); /* "sale" "refused" ... */

/* Oldest first; false when there is none. */
bool ft_practice_next(struct ft_practice *p, struct ft_practice_event *ret);

/* One object: event, at, selection, delivered, paid_with, price, tendered, change, amount, decimals, text;
 * what the event does not have is null. */
void ft_practice_event_json(const struct ft_practice *p, const struct ft_practice_event *ev, struct ft_json *j);

/* ---- commands ---- */

enum ft_practice_wish_kind {
	FT_PRACTICE_NOTHING,
	FT_PRACTICE_WRITE, /* write `bytes` to `path` */
	FT_PRACTICE_WAIT,  /* let `wait_us` pass; machine time has moved on already */
	FT_PRACTICE_TAP,   /* write the bus to `path` from now on: ft_practice_tap */
	FT_PRACTICE_UNTAP, /* ft_practice_untap, and close the file */
	FT_PRACTICE_END,   /* quit */
};

/* What a command wants from the world outside. `path` points into the command line, `bytes` into the
 * machine until its next command. */
struct ft_practice_wish {
	enum ft_practice_wish_kind kind;
	struct ft_slice path, bytes;
	int64_t wait_us;
};

/* One command line; blank lines and lines beginning with # do nothing. A machine that refuses (sold
 * out, too little money) answers with an event and FT_OK; a command that is not one gives FT_E_USAGE
 * and a sentence that names `line_number` (0: none) and changes nothing. */
enum ft_status ft_practice_do(struct ft_practice *p, struct ft_slice line, unsigned line_number,
                              struct ft_practice_wish *ret, struct ft_error *e);

/* ---- reading ---- */

/* The audit as the machine would send it now to `reader` (its identity, may be empty), faults of the
 * file included. Nothing is counted. */
enum ft_status ft_practice_audit(struct ft_practice *p, struct ft_slice reader, struct ft_buf *out, struct ft_error *e);

/* One reading, on link `slot` (0 or 1; both may run at once). Begin gives the bytes to send, which
 * stay until the same slot begins again; end counts the reading (and resets the interval meters where
 * the machine does so at each read) when `whole`, and forgets it otherwise. */
enum ft_status ft_practice_read_begin(struct ft_practice *p, unsigned slot, struct ft_slice reader,
                                      struct ft_slice *ret_bytes, struct ft_error *e);
void ft_practice_read_end(struct ft_practice *p, unsigned slot, bool whole);

/* ---- the lines ---- */

/* How the two links behave now, by faults and description. */
struct ft_practice_line {
	bool powered;                /* false: no answer on either link */
	bool dead_dex, dead_ddcmp;   /* fault dead-port */
	unsigned noise_per_million;  /* fault noisy-line: bytes damaged or lost, of a million */
	int64_t extra_turn_round_us; /* fault slow-line */
	bool refuses;                /* fault refusing-code, or a code was set */
	uint16_t security_code;      /* demanded when `refuses` */
};
struct ft_practice_line ft_practice_line(const struct ft_practice *p);

/* ---- the modem ---- */

/* The unit in the machine has a modem with a command port of its own (ITU-T V.250, 3GPP TS 27.007): bytes in, bytes
 * out after a while, one deadline, as the engines of dataport.h. It takes every byte it is given. */
size_t ft_practice_modem_feed(struct ft_practice *p, const uint8_t *bytes, size_t n, int64_t now_us);
const uint8_t *ft_practice_modem_out(const struct ft_practice *p, size_t *ret_n);
void ft_practice_modem_sent(struct ft_practice *p, size_t n);
int64_t ft_practice_modem_due(const struct ft_practice *p); /* FT_NEVER: nothing waits */
void ft_practice_modem_tick(struct ft_practice *p, int64_t now_us);

/* How its line behaves now, by faults and power. */
struct ft_practice_modem {
	int baud;
	bool dead;
};
struct ft_practice_modem ft_practice_modem(const struct ft_practice *p);

/* ---- the bus ---- */

/* Who listens on the machine's multi-drop bus: every word of both lines as it is sent, in the order of their
 * start, times in nanoseconds from the beginning of the tap. Called from within ft_practice_do. */
struct ft_practice_tap {
	void *to;
	void (*word)(void *to, const struct ft_bus_word *w);
};

/* Begins to listen; a tap that is open ends without a word. `from_power_up`: the machine is switched on
 * under the tap, so that its setup is heard; else it runs already. What the traffic and the pauses in it take
 * is the bus's own time (docs/practice.md). */
enum ft_status ft_practice_tap(struct ft_practice *p, const struct ft_practice_tap *tap, bool from_power_up,
                               struct ft_error *e);
/* Ends it, last words first; returns the time at which it ends, -1 when there was none. */
int64_t ft_practice_untap(struct ft_practice *p);

/* ---- what it is ---- */

struct ft_practice_about {
	const char *name;                                         /* of the description's dialect: "us-snack" */
	const char *serial, *model, *revision, *asset, *location; /* "" : none */
	const char *sender;                                       /* communication ID, 10 characters */
	const char *currency;                                     /* ISO 4217 letters */
	int decimals;
	size_t selections;
};
struct ft_practice_about ft_practice_about(const struct ft_practice *p);

/* ---- faults (data/practice/faults.csv) ---- */

struct ft_practice_fault {
	const char *name;      /* "crossed-selections" */
	const char *group;     /* where it sits: "books", "data port", "cabinet", "supply", "radio" or "bus" */
	const char *arguments; /* "A B", "[SELECTION]" or "" */
	const char *does;      /* what goes wrong in the machine */
	const char *seen;      /* what a fitter would see */
};
const struct ft_practice_fault *ft_practice_faults(size_t *ret_count);

/* ---- a fleet over weeks ---- */

struct ft_fleet_plan {
	size_t machines; /* to 99999 */
	int days;
	uint64_t seed;
};

enum ft_fleet_table {
	FT_FLEET_COUNTS,
	FT_FLEET_SETTLEMENTS,
	FT_FLEET_DOORS,
	FT_FLEET_TEMPERATURES,
	FT_FLEET_KEY, /* what was planted, and from when on it can be seen (docs/practice.md) */
	FT_FLEET_TABLES
};
const char *ft_fleet_heading(enum ft_fleet_table t); /* first line of the table */
const char *ft_fleet_table_name(enum ft_fleet_table t);

/* Who takes what the fleet makes; false ends it. Rows come without line end. */
struct ft_fleet_sink {
	void *to;
	bool (*file)(void *to, const char *path, struct ft_slice bytes, int64_t at_us);
	bool (*row)(void *to, enum ft_fleet_table t, const char *row);
};

/* What came of one kind of trouble (data/practice/troubles.csv). */
struct ft_fleet_planted {
	const char *kind;
	size_t machines;
	size_t in_key;  /* of these, those that came into sight and stand in the key */
	int least_days; /* 0: there were days enough; else how many it would take */
};
enum { FT_FLEET_KINDS_MAX = 64 };

/* Lives through the plan, machine by machine, from 2026-03-02 on. The same plan gives the same bytes. */
enum ft_status ft_practice_fleet(const struct ft_fleet_plan *plan, const struct ft_fleet_sink *sink,
                                 struct ft_fleet_planted ret[FT_FLEET_KINDS_MAX], size_t *ret_count,
                                 struct ft_error *e);

#endif
