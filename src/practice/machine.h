/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine from inside: what it is, what it holds, what it has counted. */
#ifndef FETTLE_PRACTICE_MACHINE_H
#define FETTLE_PRACTICE_MACHINE_H

#include <stdio.h>

#include "fettle/money.h"
#include "fettle/practice.h"

/* Ours: more than any machine of the three kinds has; a thousand selections give audits of 80 kB. */
enum {
	SELECTIONS_MAX = 1000,
	LISTS_MAX = 8,
	COINS_MAX = 16, /* the multi-drop bus knows sixteen coin types */
	BILLS_MAX = 8,
	CODES_MAX = 24,
	LOG_MAX = 10,
	QUEUE_MAX = 64,
	SLOTS = 2,
	TENDER_MAX = 24, /* coins and bills of one sale */
	ID_ROOM = 12,
	TEXT_ROOM = 32,
};

enum dialect { US_SNACK, EURO_HOT, OLD_COIN, DIALECTS };
enum device { BY_CASH, BY_CARD, BY_TOKEN, DEVICES };
enum denomination { COIN, BILL };

enum fault_id {
#define ROW(ident, ...) FAULT_##ident,
#include "practice-faults.inc"
#undef ROW
	FAULTS
};

/* Everything that only counts up since initialisation. What stands since the last reset is the
 * difference to a copy taken at the reset, so the two can never disagree. All members int64_t. */
struct tally {
	int64_t value, count;
};
struct coin_meter {
	int64_t taken, to_box, to_tube, out, out_by_hand, filled;
};
struct selection_meter {
	struct tally paid, test, free, list[LISTS_MAX];
};
struct meters {
	struct tally paid, test, free, by[DEVICES];
	int64_t cash_in, to_box, to_tubes, bills_in, out, out_by_hand, overpaid, filled, topped;
	struct coin_meter coin[COINS_MAX];
	int64_t bill[BILLS_MAX]; /* stacked */
	struct selection_meter selection[SELECTIONS_MAX];
	int64_t code[CODES_MAX]; /* occurrences */
	int64_t outages;
};

struct unit {
	char serial[TEXT_ROOM], model[TEXT_ROOM], revision[TEXT_ROOM];
}; /* serial "": not fitted */

struct price_list {
	enum device device;
	int64_t number;
};

struct selection {
	char id[ID_ROOM], name[TEXT_ROOM];
	int64_t price[LISTS_MAX]; /* 0: not set */
	int64_t capacity, stock;
	int64_t motor;      /* the motor this selection runs */
	int64_t motor_here; /* the motor its own goods hang on */
	bool jammed;        /* of the motor here */
	int64_t sold_s;     /* last sale, machine time; 0: none */
};

struct coin {
	int64_t value, room, in_tube;
}; /* room 0: no tube, always to the cash box */

struct code {
	char code[ID_ROOM];
	bool active;
};
struct log_row {
	char code[ID_ROOM];
	int64_t at_s, minutes;
	bool dated;
}; /* minutes -1: it lasts */

struct sale_note {
	int64_t at_s, price, tendered;
	const char *paid_with;
	char selection[ID_ROOM];
};

struct reading {
	bool open;
	struct meters meters; /* as they stood when it began */
	struct ft_buf bytes;
	char reader[ID_ROOM];
	int64_t at_s;
};

/* What a firmware update takes with it, from the description. */
struct wipe {
	bool price[SELECTIONS_MAX], motors, interval, meters, clock, events;
};

struct fault_state {
	bool on;
	int64_t a, b;
}; /* meaning of a and b: by fault, see fault.c */

/* How its devices speak on the multi-drop bus, from the description. */
struct bus_plan {
	int64_t changer_level, validator_level, reader_level;
	int64_t scale; /* of the reader: minor units in one of its own */
	bool second_reader_address, wide, gateway;
	bool pays_by_value; /* alternative payout: the controller names a sum, the changer finds the coins */
};

struct ft_practice {
	struct ft_arena *arena;
	uint64_t random, seed;

	/* what it is */
	enum dialect dialect;
	char sender[ID_ROOM];
	struct unit machine, board, changer, validator, reader;
	char asset[TEXT_ROOM], location[TEXT_ROOM];
	const struct ft_currency *currency;
	bool low_digit_first; /* of G85 */
	bool reset_at_read;
	bool keeps_change; /* sells when it cannot give change and keeps the rest (overpay) */
	bool tokens, has_clock;
	int64_t security_code;
	int64_t stacker_room;
	int64_t warm_tenths; /* temperature above which it complains */
	char temperature_unit;
	struct price_list lists[LISTS_MAX];
	size_t list_count;
	struct coin coins[COINS_MAX];
	size_t coin_count;
	int64_t bills[BILLS_MAX];
	size_t bill_count;
	struct selection selections[SELECTIONS_MAX];
	size_t selection_count;
	struct wipe wipe;
	struct bus_plan bus_plan;
	struct {
		int64_t from_s;
		int64_t visits, sales, cards, bills, tokens;
	} past; /* parts per hundred */

	/* how it stands */
	int64_t now_s; /* machine time */
	bool clock_known, powered, door_open;
	int64_t temperature_tenths;
	int64_t credit; /* coins and stacked bills not yet spent */
	int64_t escrow; /* value of the bill held, 0: none */
	size_t escrow_type;
	int64_t inserted; /* since the last sale or return */
	bool bill_inserted;
	int64_t stacked; /* bills in the stacker */
	struct code codes[CODES_MAX];
	size_t code_count;
	struct log_row log[LOG_MAX]; /* newest first */
	size_t log_count;
	struct fault_state faults[FAULTS];

	/* what it counted */
	struct meters meters, base;
	int64_t reads, reads_with_reset, resets;
	int64_t read_at_s; /* the last one; 0: never read */
	bool read_dated;
	char read_by[ID_ROOM];
	int64_t born_s, priced_s, clock_set_s;
	struct reading readings[SLOTS];

	/* what it tells */
	bool quiet; /* the past is lived without telling */
	struct ft_practice_event queue[QUEUE_MAX];
	size_t queue_head, queue_count;
	struct sale_note *sold; /* the fitter's own list */
	size_t sold_count, sold_room;
	struct ft_buf out;
	struct practice_bus *bus;   /* NULL: never tapped */
	struct practice_cold *cold; /* NULL: no logger was ever in */
	struct practice_modem *modem;
};

/* machine.c */
int64_t practice_chance(uint64_t *state, int64_t below); /* 0 <= r < below */
int64_t practice_random(struct ft_practice *p, int64_t below);
void practice_time(struct ft_practice *p, int64_t least_s, int64_t spread_s);
int practice_selection(const struct ft_practice *p, struct ft_slice id);            /* index or -1 */
int practice_list(const struct ft_practice *p, enum device device, int64_t number); /* number -1: its first; or -1 */
int64_t practice_dearest(const struct ft_practice *p);

/* describe.c */
enum ft_status practice_describe(struct ft_practice *p, struct ft_slice text, const char *what, struct ft_error *e);
size_t practice_words(struct ft_slice line, struct ft_slice *ret, size_t room, bool *ret_whole);
bool practice_time_of(struct ft_slice s, int64_t *ret_s);
bool practice_plain(struct ft_slice s, char *to, size_t room); /* printable, no '*', fits */

/* cash.c */
bool practice_coin(struct ft_practice *p, int64_t value, int64_t price, const char **ret_why);
bool practice_bill(struct ft_practice *p, int64_t value, int64_t price, const char **ret_why);
int64_t practice_unpayable(const struct ft_practice *p, int64_t value); /* what would be left over */
int64_t practice_pay(struct ft_practice *p, int64_t value);             /* what was really paid */
void practice_stack(struct ft_practice *p);
int64_t practice_return(struct ft_practice *p, int64_t *ret_kept);
int64_t practice_fill(struct ft_practice *p, size_t coin, int64_t number);
int64_t practice_payout(struct ft_practice *p, size_t coin, int64_t number);
int64_t practice_tubes(const struct ft_practice *p);

/* sale.c */
enum card_answer { CARD_APPROVES, CARD_DENIES, CARD_SILENT };
bool practice_vend_cash(struct ft_practice *p, int s, bool fails);
bool practice_vend_card(struct ft_practice *p, int s, int64_t list, enum card_answer answer, bool fails);
bool practice_vend_token(struct ft_practice *p, int s, bool fails);
bool practice_vend_unpaid(struct ft_practice *p, int s, bool test);
bool practice_top_up(struct ft_practice *p, int64_t value);

/* cold.c: the temperature of the cabinet, as a logger in it would see it */
void practice_cold_lives(struct ft_practice *p);                       /* up to the machine's time */
void practice_cold_loads(struct ft_practice *p);                       /* warm product goes in */
const char *practice_log_start(struct ft_practice *p, int64_t step_s); /* NULL, or why not */
bool practice_log(const struct ft_practice *p, struct ft_slice *ret, size_t *ret_rows);
void practice_cold_done(struct ft_practice *p);

/* supply.c: the volts of the bus, as a meter at a plug would show them, and the table of its chain */
enum practice_meter { PRACTICE_METER_SHOWS, PRACTICE_METER_JUMPS, PRACTICE_METER_NOWHERE };
enum practice_meter practice_measure(const struct ft_practice *p, struct ft_slice at, bool vend, double *ret_volts,
                                     const char **ret_name); /* `at`: supply, unit, or a device on the bus */
void practice_supply_table(const struct ft_practice *p, struct ft_buf *b);
bool practice_supply_has(const struct ft_practice *p, struct ft_slice word, int64_t *ret); /* for fault.c */

/* modem.c: the unit's modem and its antenna */
bool practice_modem_new(struct ft_practice *p);
void practice_modem_restarts(struct ft_practice *p);                     /* the power came back */
const char *practice_antenna(struct ft_practice *p, struct ft_slice to); /* moves it: a sentence; NULL: no such place */

/* event.c */
struct ft_practice_event *practice_tell(struct ft_practice *p, enum ft_practice_event_kind kind, const char *format,
                                        ...) __attribute__((format(printf, 3, 4)));
void practice_begins(struct ft_practice *p, const char *code, const char *selection); /* EA: it lasts */
void practice_ends(struct ft_practice *p, const char *code, const char *selection);
void practice_marks(struct ft_practice *p, const char *code, const char *selection); /* EA: over at once */
const char *practice_money(const struct ft_practice *p, int64_t minor, char *out);   /* FT_MONEY_TEXT */

/* fault.c */
enum ft_status practice_fault(struct ft_practice *p, const struct ft_slice *words, size_t n, struct ft_error *e);
enum ft_status practice_fault_off(struct ft_practice *p, struct ft_slice name, struct ft_error *e);
static inline bool faulty(const struct ft_practice *p, enum fault_id f)
{
	return p->faults[f].on;
}
bool practice_faulty_at(const struct ft_practice *p, enum fault_id f, int selection); /* for all, or for this one */
int practice_counts_at(const struct ft_practice *p, int selection);                   /* which record takes the count */

/* bus_fault.c */
const char *practice_bus_fault(const struct ft_practice *p, enum fault_id id, const struct ft_slice *words, size_t n,
                               struct fault_state *ret);
const char *practice_bus_stops_coins(const struct ft_practice *p);
const char *practice_bus_stops_bills(const struct ft_practice *p);
const char *practice_bus_stops_cards(const struct ft_practice *p);

/* audit.c, dialect.c */
void practice_write(struct ft_practice *p, const struct meters *m, struct ft_slice reader, struct ft_buf *out);
struct writer;
typedef void dialect_fn(struct writer *w);
extern dialect_fn *const practice_dialects[DIALECTS];

/* past.c */
void practice_live(struct ft_practice *p);
void practice_customer(struct ft_practice *p, int s, int64_t dice, bool fails);

/* bus_play.c: what happened, for whoever taps the bus; without a tap they do nothing */
enum coin_way { COIN_TO_BOX, COIN_TO_TUBE, COIN_REJECTED = 3 }; /* as the changer tells it */
void practice_bus_coin(const struct ft_practice *p, size_t type, enum coin_way way);
void practice_bus_bill(const struct ft_practice *p, size_t type);
void practice_bus_refused_bill(const struct ft_practice *p, size_t type);
void practice_bus_unknown_bill(const struct ft_practice *p);
void practice_bus_disabled_bill(const struct ft_practice *p);
void practice_bus_escrow(const struct ft_practice *p, bool stack);
void practice_bus_pays(const struct ft_practice *p, const int64_t *number); /* of each coin */
void practice_bus_paid_by_hand(const struct ft_practice *p, size_t type, int64_t number);
void practice_bus_looks(const struct ft_practice *p);
void practice_bus_lever(const struct ft_practice *p);
void practice_bus_motor(const struct ft_practice *p);
void practice_bus_cash_sale(const struct ft_practice *p, int s, int64_t price);
void practice_bus_card(const struct ft_practice *p, int s, int64_t price, enum card_answer answer, bool asked);
void practice_bus_card_ends(const struct ft_practice *p, int s, bool delivered);
void practice_bus_top_up_begins(const struct ft_practice *p);
void practice_bus_top_up_ends(const struct ft_practice *p, int64_t value);
void practice_bus_rests(const struct ft_practice *p);
void practice_bus_waits(const struct ft_practice *p, int64_t seconds);
void practice_bus_power(const struct ft_practice *p, int held);
void practice_bus_restarts(const struct ft_practice *p);

/* firmware and reset: change.c */
void practice_reset(struct ft_practice *p);
void practice_forget_meters(struct ft_practice *p);
void practice_firmware(struct ft_practice *p, struct ft_slice revision);

#endif
