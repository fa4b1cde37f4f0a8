/* SPDX-License-Identifier: Apache-2.0 */
/* The two links an audit travels over, DEX/UCS and DDCMP, as engines without I/O.
 *
 * An engine is a plain struct: bytes in by ft_link_feed, bytes out by ft_link_out, events out by
 * ft_link_next, and one deadline. It reads no clock, owns no memory and can be copied with =.
 * Both ends are engines, so two can be joined by a for-loop in a test. All times are monotonic
 * microseconds brought by the caller.
 *
 * Facts: docs/dataport.md gives each rule with how far it is to be trusted. */
#ifndef FETTLE_DATAPORT_H
#define FETTLE_DATAPORT_H

#include "fettle/buf.h"
#include "fettle/error.h"
#include "fettle/slice.h"
#include "fettle/time.h"

enum ft_link_kind {
	FT_LINK_AUTO, /* carrier only: finds out which of the two the machine speaks */
	FT_LINK_DEX,
	FT_LINK_DDCMP,
};

enum ft_link_role {
	FT_LINK_CARRIER, /* reads: the fitter's side */
	FT_LINK_MACHINE, /* serves the audit */
};

#define FT_LINK_BLOCK_MAX 1024 /* text of one block; DEX/UCS senders use up to 245, receivers allow 1024 */
#define FT_LINK_OUT_MAX   1100 /* the longest frame with its header and check bytes */
#define FT_LINK_ID_MAX    10   /* communication ID: 3-character maker code + 7 digits */

/* Timers, retries and identities. ft_link_defaults gives the values of docs/dataport.md. */
struct ft_link_settings {
	char id[FT_LINK_ID_MAX + 1]; /* our communication ID */
	uint16_t security_code;      /* DDCMP, 0 = anyone may read; machine role: the code it demands */
	uint16_t pass_code;
	int baud;                /* line rate to start with; 0: the link's own start (DEX 9600, DDCMP 2400) */
	int baud_max;            /* DDCMP: highest rate offered in START; 0: do not negotiate */
	unsigned block_text;     /* machine role: text bytes a block, 1 to FT_LINK_BLOCK_MAX */
	int64_t turn_round_us;   /* silence kept before an answer */
	int64_t inter_byte_us;   /* a frame is dropped when its next byte is later than this */
	int64_t answer_us;       /* wait for an answer to a bid or START */
	int64_t block_answer_us; /* wait for an answer to a block or message */
	int64_t silence_us;      /* no byte at all for this long ends the session */
	unsigned bids;           /* bids (ENQ) or STARTs before giving up */
	unsigned retries;        /* repeats of one block or message before giving up */
	bool echo;               /* the adapter gives back what we send: expect and discard it */
	struct ft_civil clock;   /* carrier, DDCMP: date and time told to the machine; year 0: zeros are sent */
							 /* Machine role, DDCMP: date and time for its answers are taken from the carrier. */
};

struct ft_link_settings ft_link_defaults(enum ft_link_kind kind, enum ft_link_role role);

enum ft_link_event_kind {
	FT_LINK_EV_NONE,
	FT_LINK_EV_SPEAKS,    /* AUTO found the link: number = enum ft_link_kind */
	FT_LINK_EV_PEER,      /* handshake: text = the peer's identity as it sent it (DEX: the communication ID;
	                         DDCMP carrier: the answer in hexadecimal, as its layout is not established) */
	FT_LINK_EV_BAUD,      /* number = rate the line must take once everything sent has left */
	FT_LINK_EV_WANT_FILE, /* machine: a carrier asks for the audit; answer with ft_link_offer */
	FT_LINK_EV_BLOCK,     /* carrier: text = content of a good new block, in order */
	FT_LINK_EV_ACKED,     /* machine: a block was acknowledged; number = blocks so far */
	FT_LINK_EV_RETRY,     /* something was repeated; text says what and why, for people */
	FT_LINK_EV_DONE,      /* the transfer ended whole */
	FT_LINK_EV_FAILED,    /* the session ended otherwise: see ft_link_failure */
};

struct ft_link_event {
	enum ft_link_event_kind kind;
	int64_t at_us;
	int64_t number;
	struct ft_slice text; /* borrowed until the next call that takes bytes or time */
};

/* What passed, for the reader's account of itself. */
struct ft_link_stats {
	uint64_t bytes_in, bytes_out; /* everything on the line, noise included */
	uint64_t text_bytes;          /* accepted block text */
	unsigned blocks, retries, naks, noise_bytes;
	uint64_t counted_bytes; /* bytes of blocks and of their acknowledgements, repeats included once each */
	int64_t first_block_us; /* when the first byte of the first block came; FT_NEVER before */
	int64_t last_ack_us;    /* when the last acknowledgement was handed out */
	int baud;               /* rate in use */
};

struct ft_link; /* complete in src/dataport/link.h; size by ft_link_size for callers outside the room */

/* A new engine in the caller's memory of ft_link_size() bytes aligned for any object. */
size_t ft_link_size(void);
void ft_link_init(struct ft_link *k, enum ft_link_kind kind, enum ft_link_role role,
                  const struct ft_link_settings *settings, int64_t now_us);

/* Takes up to `n` received bytes and returns how many; fewer than n means: fetch events, then go on. */
size_t ft_link_feed(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us);

/* Bytes to send now, or NULL; they become due at ft_link_due. Borrowed until ft_link_sent. */
const uint8_t *ft_link_out(const struct ft_link *k, size_t *ret_n, int64_t now_us);

/* `n` of them were handed to the line and the last leaves it at `gone_us` (now, or later where the
 * caller knows the rate). */
void ft_link_sent(struct ft_link *k, size_t n, int64_t gone_us);

/* The next event, oldest first; false when there is none. */
bool ft_link_next(struct ft_link *k, struct ft_link_event *ret);

/* When ft_link_tick or ft_link_out wants to be called next; FT_NEVER when only bytes can move it. */
int64_t ft_link_due(const struct ft_link *k);
void ft_link_tick(struct ft_link *k, int64_t now_us);

/* Machine: the audit to serve, borrowed until the session ends. Answers FT_LINK_EV_WANT_FILE. */
void ft_link_offer(struct ft_link *k, struct ft_slice file);

/* Busy or no longer: while held, good blocks are answered "wait" (DEX: WACK; DDCMP: the
 * acknowledgement is kept back) and the peer asks again later. */
void ft_link_hold(struct ft_link *k, bool hold);

/* Ends the session in the link's own way (EOT, silence). FT_LINK_EV_FAILED follows once the
 * farewell has been sent: go on until ft_link_ended. */
void ft_link_abort(struct ft_link *k, int64_t now_us);

/* The session is over and nothing is left to send. For another one, initialise anew. */
bool ft_link_ended(const struct ft_link *k);

/* Machine, DDCMP: the code demanded by now. With settings.security_code 0 a machine learns the first
 * code other than 0000; hand it to the next session. */
uint16_t ft_link_security_code(const struct ft_link *k);

const struct ft_link_stats *ft_link_stats(const struct ft_link *k);
enum ft_link_kind ft_link_kind_of(const struct ft_link *k); /* AUTO until found */
const char *ft_link_kind_word(enum ft_link_kind kind);      /* "auto" "dex" "ddcmp" */
const char *ft_link_state(const struct ft_link *k);         /* name of the state, for traces */

/* Why the session failed, as a sentence with what to try; status is FT_E_LINE. */
enum ft_status ft_link_failure(const struct ft_link *k, struct ft_error *e);

/* --- Traces: every byte with its time, as text (docs/dataport.md) --- */

#define FT_TRACE_BYTES 64 /* ours: bytes of one line; the writer uses 32 */

enum ft_trace_kind {
	FT_TRACE_HEAD,     /* "# name: value": text = the line behind '#' */
	FT_TRACE_SENT,     /* ">" */
	FT_TRACE_RECEIVED, /* "<" */
	FT_TRACE_REMARK,   /* "!": text */
};

struct ft_trace_line {
	enum ft_trace_kind kind;
	int64_t at_us;
	uint8_t bytes[FT_TRACE_BYTES];
	size_t n;
	struct ft_slice text; /* borrowed from the trace */
	unsigned line;        /* counted from 1 */
};

/* The header: what it is, where it comes from, and the line ("dex carrier 9600"). */
void ft_trace_head(struct ft_buf *out, const char *name, const char *origin, const char *line);
void ft_trace_bytes(struct ft_buf *out, int64_t at_us, bool sent, const uint8_t *p, size_t n);
void ft_trace_remark(struct ft_buf *out, int64_t at_us, struct ft_slice text);
/* An event as a remark: "block 3 245 bytes", "retry ...". */
void ft_trace_event(struct ft_buf *out, const struct ft_link_event *ev);

/* The next line that says something; *ret_more is false at the end. FT_E_INPUT with the line number
 * for what is no trace. `*line` counts lines, start with 0. */
enum ft_status ft_trace_next(struct ft_slice *rest, unsigned *line, struct ft_trace_line *ret, bool *ret_more,
                             struct ft_error *e);

struct ft_link_replay {
	enum ft_link_kind kind;
	enum ft_link_role role;
	const struct ft_link_settings *settings; /* NULL: the defaults */
	struct ft_slice file;                    /* machine: what to offer */
	size_t step;                             /* bytes fed at once, 0: a line of the trace */
	struct ft_buf *events;                   /* may be NULL: the events as ft_trace_event writes them */
	struct ft_buf *text;                     /* may be NULL: the text of the blocks, joined */
	bool *done;                              /* may be NULL: set when the transfer ended whole */
};

/* Feeds what the trace says was received, at its times, into a new engine in `k` and compares what the
 * engine sends with what the trace says was sent. FT_E_INPUT with the first difference. */
enum ft_status ft_link_replay(struct ft_link *k, const struct ft_link_replay *how, struct ft_slice trace,
                              struct ft_error *e);

#endif
