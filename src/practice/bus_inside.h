/* SPDX-License-Identifier: Apache-2.0 */
/* The bus of the practice machine: a controller and its peripherals, two state machines that know of each
 * other only what goes over the wire.
 *
 *   bus_play.c                          what the machine does -> what its devices see and its controller wants
 *   bus_controller.c bus_setup.c        the controller: whom to ask next, what to make of the answer
 *   bus_changer.c bus_validator.c bus_reader.c   the peripherals: a command in, an answer out
 *   bus_link.c                          one exchange, with the manners of both sides
 *   bus_wire.c                          blocks to words in the order of time, for whoever taps the bus
 *   bus_fault.c                         the bus faults: what they take and what they stop
 *
 * Facts of the standard: docs/bus.md says how far each is to be trusted. */
#ifndef FETTLE_PRACTICE_BUS_INSIDE_H
#define FETTLE_PRACTICE_BUS_INSIDE_H

#include "machine.h"

#include "fettle/bus.h"

#define BUS_MS     INT64_C(1000000) /* nanoseconds */
#define BUS_BIT_NS INT64_C(104167)  /* 9600 bit/s */

enum {
	BUS_WORD_BITS = 11,   /* MDB/ICP section 2: start, 8 data, mode, stop */
	BUS_PATIENCE_MS = 5,  /* MDB/ICP section 3: longest answer time */
	BUS_BREAK_MS = 120,   /* ours; the standard asks for 100 at least */
	BUS_SETUP_MS = 250,   /* ours; 200 at least from the break to the first block */
	BUS_POLL_MS = 80,     /* ours; 25 to 200 between two commands to one device */
	BUS_TRIES = 3,        /* seen in the field: probes of an address at power-up */
	BUS_RETRY_MS = 10000, /* RESET to a device gone silent, at least this often */
	BUS_EVENTS = 24,      /* ours: what a device has to tell */
	BUS_QUEUE = 8,        /* ours: what the controller has to say */
	BUS_HELD = 160,       /* ours: two blocks of words and more */
	BUS_SENT_MAX = 48,    /* longer than any block may be: some faults send more */
	BUS_GONE_MS = 1000,   /* silent for longer: no longer waited for */
	BUS_ACK = 0x00,
	BUS_RET = 0xAA,
	BUS_NAK = 0xFF,
};

/* Who may sit on the bus, in the order in which the controller asks. */
enum part { CHANGER, VALIDATOR, READER, READER_2, GATEWAY, PARTS, CONTROLLER = PARTS };

struct bus_block {
	uint8_t bytes[FT_BUS_BLOCK_MAX]; /* without the check byte */
	size_t n;
};

struct bus_event {
	struct bus_block block;
	int64_t from_ns; /* not told before */
};

enum heard { HEARD_NOTHING, HEARD_ACK, HEARD_NAK, HEARD_DATA, HEARD_GARBLED };
struct bus_reply {
	enum heard kind;
	struct bus_block data;
};

enum seat_state {
	SEAT_OFF,   /* nobody answered: left alone */
	SEAT_PROBE, /* RESET until it acknowledges */
	SEAT_WAIT,  /* POLL until it says that it was reset */
	SEAT_SETUP,
	SEAT_READY,
};

/* What the controller knows of an address. */
struct seat {
	uint8_t address; /* first byte of its RESET */
	enum seat_state state;
	unsigned step, tries;
	bool known;        /* it answered once */
	bool early;        /* fault bus-reader-early: enabled once before the setup */
	bool awaits;       /* the data of this step comes with a POLL */
	bool dispensing;   /* coins are on their way: POLL until it is done */
	bool by_value;     /* ... and their sum is asked for instead */
	int64_t due_ns;    /* its next turn */
	int64_t silent_ns; /* since when it has not answered; -1: it does */
	int64_t reset_ns;  /* last RESET */
	int32_t told;      /* enable mask last acknowledged; -1: none */
	bool asks_tubes;   /* coins moved: TUBE STATUS when there is time */
	uint8_t level;     /* as it said */
	uint32_t options;  /* as it said */
	struct bus_block queue[BUS_QUEUE];
	size_t queued;
};

/* What sits there. */
struct peripheral {
	bool fitted;
	struct bus_event events[BUS_EVENTS];
	size_t event_count;
	bool telling;  /* the head of events was sent and is not acknowledged yet */
	bool deaf;     /* it was still sending when the next command came */
	bool repeated; /* the head of events was told once already */
	uint16_t types_on;
	int64_t busy_until_ns; /* paying out, moving a bill */
	/* a payout by value: its coins not told yet, and what of them was told just now */
	uint8_t pays[COINS_MAX], told_type, told_coins;
	/* a reader */
	enum ft_bus_state state;
	bool wide;
	uint32_t options_on;
	/* a validator */
	uint8_t held; /* type in escrow */
	bool holds;
	bool returns; /* it comes out when the validator has started */
};

/* What a card and its host will say, set by whoever plays the customer. */
struct card_part {
	enum card_answer answer;
	bool session, ended; /* what the controller heard */
	enum { NO_VERDICT, APPROVED, DENIED } verdict;
};

struct practice_bus {
	struct ft_practice *p;
	struct ft_practice_tap tap;
	bool tapped;
	uint64_t random;
	int64_t now_ns;
	struct ft_bus_word held[BUS_HELD]; /* in order of start */
	size_t held_count;
	struct seat seats[PARTS];
	struct peripheral at[PARTS];
	enum part reader; /* where the machine's reader sits, READER or READER_2 */
	uint8_t controller_level;
	bool powered;
	bool spoilt;     /* the last block was damaged on its way */
	bool vending;    /* a motor runs: no money now */
	bool topping;    /* cash for a card: money also in a session */
	bool card_comes; /* the reader opens although there is cash credit */
	struct card_part card;
};

/* bus_wire.c */
int64_t bus_chance(struct practice_bus *b, int64_t below);
void bus_put(struct practice_bus *b, struct ft_bus_word w);
void bus_flush(struct practice_bus *b, int64_t before_ns);
/* Sends a whole block from at_ns on, check byte added by the caller; returns the end of its last word. */
int64_t bus_send(struct practice_bus *b, enum part sender, const uint8_t *bytes, size_t n, bool plain, int64_t at_ns);
void bus_break(struct practice_bus *b, int64_t length_ns, int64_t silence_ns);

/* bus_fault.c */
bool bus_faulty(const struct practice_bus *b, enum fault_id f, enum part part);
bool bus_strikes(struct practice_bus *b, enum fault_id f, enum part part, int64_t of); /* one time in `of` */

/* bus_link.c */
void bus_exchange(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret);

/* the peripherals; part is the seat they sit on */
void bus_changer_answers(struct practice_bus *b, const struct bus_block *command, struct bus_reply *ret);
void bus_validator_answers(struct practice_bus *b, const struct bus_block *command, struct bus_reply *ret);
void bus_reader_answers(struct practice_bus *b, enum part part, const struct bus_block *command, struct bus_reply *ret);
void bus_gateway_answers(struct practice_bus *b, const struct bus_block *command, struct bus_reply *ret);
void bus_peripheral_resets(struct practice_bus *b, enum part part);
void bus_tells(struct practice_bus *b, enum part part, int64_t after_ns, const uint8_t *bytes, size_t n);
void bus_answers_poll(struct practice_bus *b, enum part part, struct bus_reply *ret);
void bus_identity(struct bus_block *to, const char *maker, const struct unit *u);
int64_t bus_common_divisor(int64_t a, int64_t b);
int64_t bus_coin_scale(const struct practice_bus *b);
int64_t bus_bill_scale(const struct practice_bus *b);
uint16_t bus_currency_code(const struct practice_bus *b);
uint16_t bus_coin_mask(const struct practice_bus *b);
uint16_t bus_bill_mask(const struct practice_bus *b);
void bus_add(struct bus_block *to, uint32_t value, unsigned bytes); /* high byte first */
uint32_t bus_units(const struct practice_bus *b, int64_t minor);    /* money as the reader counts it */

bool bus_reader_writes_wide(const struct practice_bus *b, enum part part);

/* bus_controller.c */
extern const uint8_t bus_addresses[PARTS];
void bus_reset_anew(struct practice_bus *b, enum part part);
void bus_controller_starts(struct practice_bus *b);
void bus_controller_runs(struct practice_bus *b); /* finds everything set up and enabled */
void bus_step(struct practice_bus *b);
void bus_idle(struct practice_bus *b, int64_t ns);
void bus_settle(struct practice_bus *b, int64_t limit_ns);
void bus_say(struct practice_bus *b, enum part part, const uint8_t *bytes, size_t n);
bool bus_accepting(const struct practice_bus *b);

/* bus_setup.c: the next command of the setup; n 0: this step falls away; false: all steps are done */
bool bus_setup_step(const struct practice_bus *b, enum part part, unsigned step, struct bus_block *ret);
void bus_setup_heard(struct practice_bus *b, enum part part, const struct bus_block *data);

#endif
