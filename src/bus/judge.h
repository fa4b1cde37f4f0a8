/* SPDX-License-Identifier: Apache-2.0 */
/* What the judge counts while the capture runs and how its parts hand over what they find. All of fixed
 * size: an address has its counters, a rule its first evidence. */
#ifndef FETTLE_BUS_JUDGE_H
#define FETTLE_BUS_JUDGE_H

#include "room.h"

/* data/bus-limits.csv */
enum bus_limit {
#define ROW(ident, name, value, ...) BUS_LIM_##ident = (value),
#include "bus-limits.inc"
#undef ROW
};

enum {
	BUS_WHOLE = 0xff,      /* a finding of the bus, not of one address */
	BUS_CONTROLLER_AT = 0, /* address 00 is the controller's own (MDB/ICP 2.3): its counters lie there */
	BUS_CHANGER_AT = 0x08, /* MDB/ICP 2.3 */
	BUS_READER_AT = 0x10,
	BUS_VALIDATOR_AT = 0x30,
	BUS_READER_2_AT = 0x60,
	BUS_RESERVED_FROM = 0x78, /* no standard device from here on */
	BUS_IDENTITY_BYTES = 27,  /* maker, serial and model as they are sent */
	BUS_HITS_MAX = 256,
};

/* How often, and when first. */
struct bus_tally {
	uint64_t n;
	int64_t first_ns;
};

static inline void bus_count(struct bus_tally *t, int64_t at_ns)
{
	if (t->n++ == 0)
		t->first_ns = at_ns;
}

/* The first block that shows it. */
struct bus_proof {
	uint8_t bytes[FT_BUS_BLOCK_MAX];
	uint8_t count;
};

/* Blocks of one command of one address, one direction: is it always wrong by the same amount? */
struct bus_slot {
	uint64_t right, wrong;
	uint64_t same; /* of the wrong ones, how many by `delta` */
	uint8_t delta; /* what was sent less what it should be */
};

/* One status that a changer, validator or reader tells. */
struct bus_streak {
	uint64_t n;
	int64_t first_ns, last_ns;
	int64_t longest_ns; /* of the streaks before, and of this one */
	int64_t longest_first_ns;
};

enum { BUS_STATUSES = 16 };

/* Money and readers: what happened since the last reset of the device. */
struct bus_setting {
	bool fresh;      /* a reset was seen, so what was not sent since is known to be missing */
	bool set_up;     /* SETUP was answered since */
	bool configured; /* reader: 11 00 was sent since */
	bool limits;     /* reader: 11 01 was sent since */
	bool tried;      /* an enable or disable was sent since */
	bool on;         /* the last of them enabled something */
	bool opened;     /* ... or one of those before */
	int64_t set_up_ns, off_ns;
	uint64_t polls_since;     /* since set_up_ns or off_ns, whichever is later */
	uint64_t enables;         /* in the whole capture */
	uint8_t last_command[2];  /* not POLL */
	bool wide;                /* 17 04 with bit 1 was acknowledged */
	bool always_idle;         /* ... bit 5 */
	uint8_t controller_level; /* of 11 00 */
	int64_t price_max;        /* of 11 01, in units of the reader; -1 none */
	struct bus_tally early, unlimited, over_limit, long_limits, narrow, broad, surplus, level, select_first, refused;
	struct bus_proof over_limit_block, width_block, level_block;
	uint32_t over_limit_price;
	uint32_t tenfold_card, tenfold_cash;
	bool select_pending; /* a 13 00 without a session waits for what the reader says */
	/* sessions */
	int64_t session_ns, asked_ns, complete_ns; /* when it began and nothing came since; -1: none */
	struct bus_tally hang_idle, hang_asked, end_missing;
	struct bus_tally sequence, asked, failed, refund_lost, malfunction, sessions;
	int sequence_state, malfunction_code;
	uint8_t sequence_command[2];
	struct bus_streak status[BUS_STATUSES];
	/* escrow */
	int64_t escrow_ns, escrow_sent_ns;
	struct bus_tally escrow_idle, escrow_lost;
	uint64_t refused_bills;
	int64_t cash_ns; /* last coin or bill */
	/* tubes */
	uint16_t tube_count[16];
	uint8_t tube_still[16];
	struct bus_tally full_empty, no_rise;
	int tube_type;
	/* sums for comparing */
	struct bus_tally tenfold;
	struct {
		uint32_t item, card, cash; /* units; 0 none */
	} sold[8];                     /* last prices by item */
};

/* One address. */
struct bus_at {
	/* electrical and timing: of this address's answers; at BUS_CONTROLLER_AT of all commands */
	uint64_t blocks, exchanges, answered, answers, right;
	uint64_t checked; /* blocks with a check byte */
	uint64_t data;    /* answers other than ACK and NAK */
	struct bus_tally checksum, framing, mode, too_long, past_last;
	struct bus_proof checksum_block, mode_block, too_long_block, past_last_block;
	struct bus_slot slots[2][8]; /* of commands, of answers; by the low three bits of the command */
	struct bus_tally late, overlap, gap, gap_lost, nak, closed_nak, ret, unclosed, unclosed_late;
	uint64_t nak_heard, closed_nak_heard, ret_heard; /* of these, where the capture saw the block sound */
	unsigned nak_row, closed_nak_row, ret_row;
	unsigned nak_row_max, closed_nak_row_max, ret_row_max;
	int64_t longest_gap_ns;
	int64_t span_ns, span_bits;
	uint64_t long_right, long_wrong, short_right;
	uint8_t identity[BUS_IDENTITY_BYTES], identity_other[BUS_IDENTITY_BYTES];
	bool identity_known;
	unsigned identity_changes;
	int64_t identity_changed_ns;
	/* presence */
	uint64_t commands; /* other than RESET */
	uint64_t resets;   /* RESET */
	uint64_t silent_run;
	uint64_t silent_polls; /* of the run, commands other than RESET */
	int64_t silent_from_ns, first_ns, last_ns;
	struct bus_tally missed;
	uint64_t missed_pending;
	int64_t missed_pending_ns;
	bool reset_seen; /* a RESET to it or a break was seen */
	/* pace */
	bool last_answered;
	int64_t last_start_ns, last_poll_ns;
	uint64_t paces, poll_paces;
	struct bus_tally slow, slower, fast;
	int64_t slowest_ns, slowest_at_ns;
	/* restarts */
	bool provoked; /* a RESET or a break since it last said that it was reset */
	bool worked;   /* it answered otherwise since; `worked_now` in the exchange going on */
	bool worked_now;
	unsigned since_provoked;
	struct bus_tally restarts, restarts_loaded;
	struct bus_tally resets_again; /* by the controller, for no reason that was seen */
	uint64_t same_step;
	uint8_t step[2], step_before[2];
	bool reset_excused, reset_once;
	struct bus_tally repeated, unknown;
	uint8_t unknown_byte;
	struct bus_setting set;
};

struct bus_hit {
	enum ft_rule_id rule;
	uint8_t address; /* BUS_WHOLE, BUS_CONTROLLER_AT or a device's */
	enum ft_weight weight;
	int64_t at_ns; /* -1: no time */
	const char *seen, *expected, *todo, *alike;
	const char *grade;       /* "sure" "likely" "a hint" */
	enum ft_rule_id because; /* known to follow from it; FT_RULE_NONE: looked up */
	int cause;               /* index of the hit it follows from; -1: itself */
};

struct bus_line_count {
	uint64_t words;
	uint64_t kinds[2][2];  /* by framing error, by mode bit */
	uint64_t like_command; /* a word with mode bit and its own copy without it: a command without data */
	int64_t first_ns, last_ns, gap_ns, gap_from_ns;
	bool gap_broken;                   /* ... and a reset of the bus ended it */
	int64_t active_ns, active_from_ns; /* longest time without end at the active level */
};

struct bus_judge {
	const struct ft_bus_options *options;
	struct ft_arena *arena;
	struct bus_line_count lines[FT_BUS_LINES];
	struct ft_bus_word last_word;
	bool any_word;
	struct bus_at at[FT_BUS_ADDRESSES];
	struct bus_tally breaks, short_breaks, short_rests;
	uint64_t switched; /* of these, after a silence: switched off and on */
	bool after_silence;
	int64_t break_end_ns, short_break_ns, short_rest_ns;
	bool rest_due;
	int64_t load_ns; /* last payout or transport of a bill */
	uint8_t load_address;
	uint8_t last_address; /* of the exchange before */
	uint8_t answer_first; /* first byte of the answer going on */
	bool any_exchange;
	/* while it judges */
	const struct ft_bus_report *report;
	bool timed; /* times of milliseconds can be relied on */
	bool one_line;
	struct bus_hit *hits;
	size_t hit_count;
	bool failed;
};

static inline struct bus_at *bus_at(struct bus_judge *j, uint8_t address)
{
	return &j->at[address >> 3];
}

/* "cashless device 1 at 10H", "the controller" */
const char *bus_judge_who(struct bus_judge *j, uint8_t address);
/* A text in the judge's arena; without memory it is "" and the judge says so at the end. */
const char *bus_judge_text(struct bus_judge *j, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* "once", "twice", "7 times" */
const char *bus_judge_times(struct bus_judge *j, uint64_t n);
/* "09* 09" of the first bytes of a block. */
const char *bus_judge_bytes(struct bus_judge *j, const uint8_t *bytes, size_t n, size_t starred);
/* "12.345 s" */
const char *bus_judge_seconds(struct bus_judge *j, int64_t ns);
/* "7.9 ms" */
const char *bus_judge_ms(struct bus_judge *j, int64_t ns);
/* "1.50" in units of a device */
const char *bus_judge_units(struct bus_judge *j, uint8_t address, uint64_t units);
/* Never NULL. The grade is the rule's own, the weight too; sharpen it before the next call. */
struct bus_hit *bus_hit(struct bus_judge *j, enum ft_rule_id rule, uint8_t address, int64_t at_ns, const char *seen);
const struct bus_hit *bus_hit_of(const struct bus_judge *j, enum ft_rule_id rule, uint8_t address);
/* How long a device may be silent. */
int64_t bus_judge_patience(const struct bus_judge *j, const struct ft_bus_report *r, uint8_t address);
/* Offset of POLL from RESET. */
uint8_t bus_judge_poll(uint8_t address);
bool bus_judge_is_reader(uint8_t address);
/* Parts in 10000, 0 of nothing. */
uint64_t bus_judge_share(uint64_t part, uint64_t whole);

/* What they count on the way. */
void bus_judge_setting_init(struct bus_setting *s);
void bus_judge_link_item(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_item *i);
void bus_judge_restart_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x);
void bus_judge_restart_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e);
void bus_judge_setup_break(struct bus_judge *j, int64_t at_ns);
void bus_judge_setup_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x);
void bus_judge_setup_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e);
void bus_judge_sale_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x);
void bus_judge_sale_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e);
/* What is overdue by now: sessions, sales, bills in escrow. */
void bus_judge_clocks(struct bus_judge *j, const struct ft_bus_report *r, uint8_t address, int64_t now_ns);
/* The stages, in the order of diagnosis. */
void bus_judge_tool(struct bus_judge *j);
void bus_judge_alive(struct bus_judge *j);
void bus_judge_electrical(struct bus_judge *j);
void bus_judge_timing(struct bus_judge *j);
void bus_judge_presence(struct bus_judge *j);
void bus_judge_restarts(struct bus_judge *j);
void bus_judge_setup(struct bus_judge *j);
void bus_judge_sale(struct bus_judge *j);

#endif
