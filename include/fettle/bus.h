/* SPDX-License-Identifier: Apache-2.0 */
/* The multi-drop bus (MDB/ICP): a capture in, who is on the bus, who is late, what was sold out.
 *
 *   bytes -> edges -> words -> exchanges -> meaning (devices, money, sales) -> findings
 *
 * Everything streams: a capture may be larger than memory. No I/O and no clock here; bytes come in
 * with ft_bus_feed, what was found comes out through the listener and ft_bus_report.
 *
 * Sources: the rules of framing, timing and meaning stand in docs/bus.md and data/bus-*.csv with how
 * far each is to be trusted; no version of the standard's full text was at hand. */
#ifndef FETTLE_BUS_H
#define FETTLE_BUS_H

#include "fettle/arena.h"
#include "fettle/buf.h"
#include "fettle/error.h"
#include "fettle/finding.h"
#include "fettle/money.h"

/* Times on the bus are nanoseconds from the capture's own beginning, int64_t. */

enum {
	FT_BUS_CHANNELS_MAX = 32, /* ours: logic analysers have 8 or 16; further ones of a VCD are passed over */
	FT_BUS_BLOCK_MAX = 36,    /* MDB/ICP section 2: bytes of a block, check byte counted */
	FT_BUS_ADDRESSES = 32,    /* MDB/ICP section 2.3: five bits */
};

/* ---- captures ---- */

enum ft_bus_format {
	FT_BUS_UNKNOWN,
	FT_BUS_VCD,   /* IEEE 1364 value change dump */
	FT_BUS_RAW,   /* samples, one bit a channel, channel 0 lowest; unit bytes a sample, little end first */
	FT_BUS_CSV,   /* a table of time and levels */
	FT_BUS_WORDS, /* our own text: one word a line with its time (docs/bus.md) */
	FT_BUS_EDGES, /* handed over with ft_bus_feed_edges */
};

const char *ft_bus_format_word(enum ft_bus_format f); /* "vcd" "raw samples" "csv" "words" ... */

/* All channels after a change. Bit n of `levels` is channel n. */
struct ft_bus_edge {
	int64_t at_ns;
	uint32_t levels;
};

/* ---- words ---- */

enum ft_bus_line { FT_BUS_CONTROLLER, FT_BUS_PERIPHERAL };
enum { FT_BUS_LINES = 2 };

enum ft_bus_word_kind {
	FT_BUS_WORD,    /* start, eight data bits, mode bit, stop */
	FT_BUS_FRAMING, /* the stop bit was read as active; `byte` and `mode` hold what was read */
	FT_BUS_BREAK,   /* active from start_ns to end_ns without stop, longer than a word */
};

struct ft_bus_word {
	int64_t start_ns; /* leading edge of the start bit */
	int64_t end_ns;   /* end of the stop bit by the sender's own bit time; of a break: where it ended */
	uint8_t byte;
	bool mode; /* the ninth bit */
	enum ft_bus_line line;
	enum ft_bus_word_kind kind;
	uint8_t glitches; /* pulses too short to be bits inside the word */
	/* The sender's bit time, measured between edges of like direction in this word, where it has
	 * them: span_ns / span_bits. span_bits 0: not measured. */
	uint8_t span_bits;
	int32_t span_ns;
};

/* ---- blocks ---- */

enum ft_bus_block_flag {
	FT_BUS_TOO_LONG = 1 << 0,   /* more than 36 bytes, or an answer without a last byte */
	FT_BUS_MODE_FAULT = 1 << 1, /* a mode bit where none may be, or none where one must be */
	FT_BUS_CUT = 1 << 2,        /* silence of over 5 ms inside the block ended it */
	FT_BUS_AFTER_LAST = 1 << 3, /* further bytes followed the byte that must be the last */
	FT_BUS_OVER_NEXT = 1 << 4,  /* began when the next command had begun already */
};

struct ft_bus_block {
	int64_t start_ns, end_ns; /* first start edge, end of the last stop bit */
	uint8_t bytes[FT_BUS_BLOCK_MAX];
	uint8_t count;    /* with check byte; 0: there is none */
	bool checksum_ok; /* true as well for a lone acknowledgement, which has none */
	uint8_t framing_errors;
	uint8_t flags;          /* enum ft_bus_block_flag */
	int32_t longest_gap_ns; /* end of a stop bit to the next start edge inside the block */
	/* Sums over its words, for the sender's bit rate. */
	int32_t span_ns;
	uint16_t span_bits;
};

enum ft_bus_answer {
	FT_BUS_SILENCE,
	FT_BUS_ACK,
	FT_BUS_NAK,
	FT_BUS_DATA,    /* checksum holds */
	FT_BUS_GARBLED, /* something came that is none of these */
};

enum ft_bus_closing { FT_BUS_CLOSED_NOT, FT_BUS_CLOSED_ACK, FT_BUS_CLOSED_NAK, FT_BUS_CLOSED_RET };

/* One command, what came back, and the controller's last byte. */
struct ft_bus_exchange {
	uint64_t number;             /* from 0 in the capture */
	struct ft_bus_block command; /* bytes[0] is address and command */
	struct ft_bus_block answer;  /* count 0: silence */
	enum ft_bus_answer kind;
	enum ft_bus_closing closing;
	int64_t closing_at_ns; /* start edge of the closing byte; -1: there is none */
	int64_t response_ns;   /* end of the command (or of RET) to the answer's first edge; -1: no answer */
	bool again;            /* the answer to a RET: `command` repeats the one before */
	bool cut_off;          /* the capture ended inside it: silence says nothing */
};

enum ft_bus_item_kind {
	FT_BUS_EXCHANGE,
	FT_BUS_BUS_RESET, /* a break of the controller, any length over a word: block.start_ns .. end_ns */
	FT_BUS_STRAY,     /* words that belong to no exchange, in `block` */
};

struct ft_bus_item {
	enum ft_bus_item_kind kind;
	enum ft_bus_line line; /* of a break or stray */
	struct ft_bus_exchange exchange;
	struct ft_bus_block block;
};

/* ---- meaning ---- */

enum ft_bus_device_kind {
	FT_BUS_NO_DEVICE,
	FT_BUS_CHANGER,
	FT_BUS_CASHLESS,
	FT_BUS_GATEWAY,
	FT_BUS_DISPLAY,
	FT_BUS_ENERGY,
	FT_BUS_VALIDATOR,
	FT_BUS_SATELLITE,
	FT_BUS_HOPPER,
	FT_BUS_AGE,
	FT_BUS_OTHER,
};

/* The states of a cashless device, MDB/ICP 7.2; numbers as response 0B gives them. */
enum ft_bus_state {
	FT_BUS_STATE_UNKNOWN,
	FT_BUS_INACTIVE,
	FT_BUS_DISABLED,
	FT_BUS_ENABLED,
	FT_BUS_SESSION_IDLE,
	FT_BUS_VEND,
	FT_BUS_REVALUE,
	FT_BUS_NEGATIVE_VEND,
};

/* What a device said of itself. */
struct ft_bus_setup {
	bool known;
	uint8_t level;
	uint16_t currency; /* as sent, packed BCD; FFFF unknown */
	uint16_t scale;
	uint8_t decimals;
	uint8_t types[16];      /* credits of coin or bill types, in units of scale; 0 unused, FF token */
	uint16_t routing;       /* changer: types that can go to a tube */
	uint16_t capacity;      /* validator: bills the stacker takes */
	bool escrow;            /* validator */
	uint8_t max_response_s; /* cashless: seconds; 0: not said */
	uint8_t options;        /* cashless: Z8 of its configuration */
};

struct ft_bus_identity {
	bool known;
	char maker[4], serial[13], model[13]; /* printable ASCII, trailing blanks off, NUL-terminated */
	uint16_t software;                    /* packed BCD */
	uint32_t options;                     /* 0 where none are sent */
	bool options_known;
};

enum { FT_BUS_HISTOGRAM = 256 };

/* Answer times with two significant digits and no list kept: exact minimum and maximum, the rest from
 * bins of less than 4 % width. */
struct ft_bus_times {
	uint64_t count;
	int64_t min_ns, max_ns;
	uint32_t bins[FT_BUS_HISTOGRAM];
};

void ft_bus_times_add(struct ft_bus_times *t, int64_t ns);
int64_t ft_bus_times_at(const struct ft_bus_times *t, unsigned per_mille); /* 500 median; -1: none */

/* One address of the bus. */
struct ft_bus_device {
	uint8_t address; /* first byte of its RESET: 08, 10, 30, 60 ... */
	enum ft_bus_device_kind kind;
	/* traffic */
	uint64_t addressed, answered, silent; /* exchanges */
	uint64_t polls, resets_sent;          /* by the controller */
	uint64_t was_reset;                   /* times it said that it was reset */
	uint64_t checksum_errors;             /* of its answers */
	uint64_t command_errors;              /* of commands to it */
	uint64_t framing_errors;              /* in its answers */
	uint64_t naks, controller_naks, rets, unclosed;
	uint64_t late;                /* answers after more than 5 ms */
	struct ft_bus_times response; /* end of command to first edge of the answer */
	int64_t span_ns, span_bits;   /* its bit time: sums over all its words */
	int64_t first_ns, last_ns;    /* commands to it; -1: never */
	int64_t longest_poll_gap_ns, shortest_poll_gap_ns;
	/* what it is */
	struct ft_bus_setup setup;
	struct ft_bus_identity identity;
	uint8_t controller_level;     /* of 11 00 or 19; 0: not sent */
	uint32_t options_enabled;     /* of 17 04, 0F 01, 37 01 */
	bool wide_money;              /* 32-bit money is on */
	enum ft_bus_state state;      /* cashless */
	bool prices_sent;             /* 11 01 */
	int64_t price_max, price_min; /* in the reader's units; FT_ABSENT: not sent or unknown */
	bool enabled_ever;            /* 14 01, or a 0C / 34 that enables a type */
	bool enabled;                 /* at the end of the capture */
	uint16_t types_enabled;       /* last 0C / 34 */
	uint16_t tubes[16];           /* changer: coins last known; UINT16_MAX unknown */
	uint16_t tubes_full;
	int64_t stacked; /* validator: bills in the stacker; FT_ABSENT unknown */
};

enum ft_bus_event_kind {
	FT_BUS_EV_BREAK,      /* value: how long it lasted, us */
	FT_BUS_EV_RESET_SENT, /* the controller's RESET */
	FT_BUS_EV_WAS_RESET,  /* the device said so */
	FT_BUS_EV_SETUP,      /* configuration came */
	FT_BUS_EV_IDENTITY,
	FT_BUS_EV_ENABLED, /* coins, bills or reader; value: the types, 1 for a reader */
	FT_BUS_EV_DISABLED,
	FT_BUS_EV_COIN,         /* type, value, route; amount: coins in that tube now */
	FT_BUS_EV_COIN_BY_HAND, /* count coins of type dispensed by the manual buttons */
	FT_BUS_EV_SLUG,         /* count */
	FT_BUS_EV_PAYOUT_ASKED, /* the controller's DISPENSE or payout: value, type -1 when by value */
	FT_BUS_EV_PAYOUT_DONE,  /* value paid as the changer reports it (alternative payout), FT_ABSENT: finished */
	FT_BUS_EV_TUBES,        /* tube status came */
	FT_BUS_EV_BILL,         /* type, value, route; amount: the three bits that tell the route */
	FT_BUS_EV_BILL_REFUSED, /* count attempts while disabled */
	FT_BUS_EV_STATUS,       /* a status code of changer or validator: type = code */
	FT_BUS_EV_SESSION,      /* begin; value: funds, FT_ABSENT unknown */
	FT_BUS_EV_SESSION_CANCEL,
	FT_BUS_EV_VEND_ASKED,    /* value, item */
	FT_BUS_EV_VEND_APPROVED, /* value */
	FT_BUS_EV_VEND_DENIED,
	FT_BUS_EV_VEND_CANCEL,
	FT_BUS_EV_VEND_SUCCESS, /* item */
	FT_BUS_EV_VEND_FAILURE,
	FT_BUS_EV_REFUND_LOST,
	FT_BUS_EV_SESSION_END,
	FT_BUS_EV_SESSION_COMPLETE, /* the controller's 13 04 */
	FT_BUS_EV_CASH_SALE,        /* value, item */
	FT_BUS_EV_REVALUE_ASKED,    /* value */
	FT_BUS_EV_REVALUED,
	FT_BUS_EV_REVALUE_DENIED,
	FT_BUS_EV_OUT_OF_SEQUENCE, /* type: the state it said, -1 none */
	FT_BUS_EV_MALFUNCTION,     /* type: Z2 */
	FT_BUS_EV_UNKNOWN,         /* a command or answer of no table: type = first byte */
	FT_BUS_EVENT_KINDS
};

enum ft_bus_route {
	FT_BUS_ROUTE_NONE,
	FT_BUS_ROUTE_BOX, /* coin to the cash box; bill stacked */
	FT_BUS_ROUTE_TUBE,
	FT_BUS_ROUTE_REJECTED,
	FT_BUS_ROUTE_ESCROW,
	FT_BUS_ROUTE_RETURNED,
	FT_BUS_ROUTE_RECYCLER,
	FT_BUS_ROUTE_OUT, /* paid out */
};

const char *ft_bus_route_word(enum ft_bus_route r); /* "cash box" "tube" ...; NULL for none */

struct ft_bus_event {
	enum ft_bus_event_kind kind;
	int64_t at_ns;
	uint64_t exchange; /* struct ft_bus_exchange.number */
	uint8_t address;
	int type; /* coin or bill type or a code; -1 none */
	unsigned count;
	int64_t value;  /* minor units of `decimals`; FT_ABSENT: not told or the scale is not known */
	int decimals;   /* of value, as the device said; -1 not known */
	uint32_t units; /* the money as it stood on the bus, before scaling */
	int item;       /* FFFF: undefined; -1: none */
	int64_t amount; /* see the kind; FT_ABSENT none */
	enum ft_bus_route route;
	bool repeated; /* told again because its acknowledgement was lost: counts once, not counted here */
};

enum ft_bus_outcome {
	FT_BUS_SOLD,
	FT_BUS_FAILED,      /* goods did not come; the card was refunded */
	FT_BUS_LOST_REFUND, /* goods did not come and the refund was lost */
	FT_BUS_DENIED,
	FT_BUS_CANCELLED,
	FT_BUS_UNCLOSED, /* approved, and the controller never said how it ended */
	FT_BUS_PENDING,  /* the capture ended first */
};

const char *ft_bus_outcome_word(enum ft_bus_outcome o); /* "sold" "failed" "refund-lost" "denied" ... */

struct ft_bus_sale {
	int64_t at_ns;    /* VEND REQUEST or CASH SALE */
	uint8_t address;  /* the reader it went through */
	int item;         /* -1: undefined on the bus */
	bool card;        /* false: cash */
	int64_t price;    /* minor units of `decimals`; FT_ABSENT */
	int64_t approved; /* what the reader took; FT_ABSENT */
	int decimals;
	enum ft_bus_outcome outcome;
	int64_t closed_ns; /* -1: never */
};

struct ft_bus_money {
	int64_t at_ns;
	uint8_t address;
	enum ft_bus_device_kind source; /* changer, validator, cashless */
	int type;
	int64_t value; /* minor units of `decimals`; negative: paid out; FT_ABSENT: scale not known */
	int decimals;
	enum ft_bus_route route;
};

/* ---- the whole ---- */

struct ft_bus_options {
	const char *name;                    /* of the capture, for findings and messages */
	enum ft_bus_format format;           /* FT_BUS_UNKNOWN: found out from the bytes (never RAW) */
	const char *controller, *peripheral; /* channel by name or number from 0; NULL: found out from the traffic */
	int inverted[FT_BUS_LINES];          /* 0 or 1 given; -1 found out. 1: idle is low */
	int64_t raw_rate;                    /* samples a second, for RAW */
	unsigned raw_unit;                   /* bytes a sample, 1 to 4 */
	unsigned raw_channels;
	bool timing_unknown; /* the times of words say nothing (a serial adapter) */
};

/* Who wants to hear as it happens; every part may be NULL. Called in the order of the bus. */
struct ft_bus_listener {
	void *to;
	void (*word)(void *to, const struct ft_bus_word *w);
	void (*item)(void *to, const struct ft_bus_item *i); /* before its events */
	void (*event)(void *to, const struct ft_bus_event *e);
};

struct ft_bus_line_report {
	const char *channel; /* NULL: none was found */
	bool inverted;       /* the idle level is low */
	bool flat;           /* no edge in the whole capture */
	bool flat_low;       /* ... and it lies at the active level */
	uint64_t words, framing_errors, glitches, breaks;
	uint64_t framing_mode0;     /* framing errors among words read with mode 0 or bare of a ninth bit */
	int64_t span_ns, span_bits; /* its bit time */
};

/* Bits a second from a measured span; 0 when nothing was measured. */
int64_t ft_bus_baud(int64_t span_ns, int64_t span_bits);

struct ft_bus_report {
	enum ft_bus_format format;
	bool timing_known;
	bool cut;     /* the capture breaks off in the middle of a line or sample */
	bool swapped; /* the lines were given (or found) the wrong way round */
	int64_t start_ns, end_ns;
	int64_t resolution_ns;                      /* tick or sample; 0 not known */
	uint64_t bytes_read, edges, unknown_levels; /* x and z of a VCD */
	struct ft_bus_line_report lines[FT_BUS_LINES];
	uint64_t exchanges, strays, damaged;            /* damaged: blocks with wrong checksum or framing */
	struct ft_bus_device devices[FT_BUS_ADDRESSES]; /* by address >> 3; addressed == 0: never seen */
	int decimals;                                   /* of the machine's money, as the devices say it; -1 not known */
	const struct ft_bus_sale *sales;
	size_t sale_count;
	const struct ft_bus_money *money;
	size_t money_count;
};

struct ft_bus;

/* Lives in `a`; ft_bus_done gives back its own buffers. Findings go into `findings` at ft_bus_end. */
enum ft_status ft_bus_new(const struct ft_bus_options *o, const struct ft_bus_listener *l, struct ft_findings *findings,
                          struct ft_arena *a, struct ft_bus **ret, struct ft_error *e);
void ft_bus_done(struct ft_bus *b); /* NULL is fine */

/* Bytes of the capture, in any portions. FT_E_INPUT with the line where they are not what they claim. */
enum ft_status ft_bus_feed(struct ft_bus *b, const void *bytes, size_t n, struct ft_error *e);

/* Where the bytes of a session file come from: a ZIP is read more than once where its members lie in disorder. */
struct ft_bus_source {
	void *from;
	ptrdiff_t (*read)(void *from, const void **ret); /* the next bytes, 0 at the end, -1 on failure */
	bool (*rewind)(void *from);                      /* back to the beginning; false when that is not possible */
};

/* In place of ft_bus_feed for a session file of a logic analyser (.sr, version 2), which begins as ZIP files do, and
 * for any other capture packed with gzip. */
enum ft_status ft_bus_feed_session(struct ft_bus *b, const struct ft_bus_source *s, struct ft_error *e);

/* Does a capture that begins with these bytes (four are enough) have to go there? */
bool ft_bus_is_session(const void *head, size_t n);

/* For whoever has edges (a session file's samples) or words (a serial adapter) already. */
enum ft_status ft_bus_feed_edges(struct ft_bus *b, const struct ft_bus_edge *edges, size_t n, struct ft_error *e);
enum ft_status ft_bus_feed_words(struct ft_bus *b, const struct ft_bus_word *words, size_t n, struct ft_error *e);

/* The end of the capture: decides what is still open, judges, and gives the report, which lives as long as `b`. */
enum ft_status ft_bus_end(struct ft_bus *b, const struct ft_bus_report **ret, struct ft_error *e);

enum { FT_BUS_ANSWERS_LEAST = 10 }; /* ours: "every" is not said of a peripheral that answered less often */

/* "Every peripheral on the bus answers in time": contradicted by a fault; open where something doubts, where the
 * capture tells no times, or where too little answered; else shown. `f`: what ft_bus_end found. */
enum ft_verdict ft_bus_verdict(const struct ft_bus_report *r, const struct ft_findings *f);

/* ---- for people ---- */

const char *ft_bus_device_word(uint8_t address); /* "coin changer", "cashless device 1" ... */
const char *ft_bus_state_word(enum ft_bus_state s);
const char *ft_bus_event_word(enum ft_bus_event_kind k);

/* "POLL", "VEND REQUEST" ... of a command's bytes; "unknown command" otherwise. */
const char *ft_bus_command_word(const uint8_t *bytes, size_t n);

/* One line of plain words for an exchange, with its fields, by what is known of the device so far:
 * "coin changer: POLL - coin 0.50 into the tube, 21 there now". Call it from the listener's item. */
void ft_bus_tell(const struct ft_bus *b, const struct ft_bus_exchange *x, struct ft_buf *out);

/* The currency of a packed BCD code as ISO 4217 letters or as "country prefix 049"; "" unknown. */
void ft_bus_currency(uint16_t code, char ret[24]);

#endif
