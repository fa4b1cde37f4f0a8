/* SPDX-License-Identifier: Apache-2.0 */
/* The weeks after a fit: what the audits of many machines and days say together, and which machine needs a person.
 *
 *   ft_watch_extract   one audit -> struct ft_watch_read, all that is watched of it
 *   ft_stream_put/get  reads <-> a compact stream of bytes, one a machine, in any order
 *   ft_watch_judge     the reads of one machine -> days, exceptions, collections (struct ft_watch_result)
 *   ft_watch_names     under which names the machines' audits came -> units that were swapped
 *   ft_watch_cash ...  what people counted, cards settled, doors and loggers told, held against the audits
 *
 * Pure: when an audit arrived and what time it is now are arguments. Money is in the machine's minor units. Times are
 * int64_t microseconds since 1970 on the clock of whoever brings the files; a machine's own clock is compared with it
 * and never believed. The same reads in any order, some of them twice, give the same result.
 *
 * Sources: NIST/SEMATECH e-Handbook 6.3.2 (CUSUM, EWMA); Garwood's limits and the conditional test are textbook; every
 * threshold is our own choice and stands in src/watch/limits.h. docs/watch.md explains. */
#ifndef FETTLE_WATCH_H
#define FETTLE_WATCH_H

#include "fettle/audit.h"
#include "fettle/finding.h"

#define FT_DAY (86400 * FT_SECOND)

/* ---- statistics ---- */

double ft_poisson_most(int64_t k, double lambda);  /* P(X <= k) */
double ft_poisson_least(int64_t k, double lambda); /* P(X >= k) */

/* x1 events in t1, then x2 in t2, of one unchanged rate: P(no more than x2), P(no fewer than x2) of the x1 + x2 fall
 * into t2. Exact (binomial). t1, t2 > 0; 1 when nothing was seen. */
double ft_conditional_most(int64_t x1, double t1, int64_t x2, double t2);
double ft_conditional_least(int64_t x1, double t1, int64_t x2, double t2);

/* Two-sided limits for the mean behind a count (Garwood); `level` 0.95. */
void ft_count_limits(int64_t count, double level, double *ret_low, double *ret_high);

/* Tabular CUSUM: sums of what lies beyond mean +- k; a signal when one passes h. Begin with zeros. */
struct ft_cusum {
	double high, low;
};
void ft_cusum_step(struct ft_cusum *c, double x, double mean, double k);

/* z = lambda x + (1 - lambda) z, and the half width of its limits after `steps` (0: for ever). */
double ft_ewma_step(double z, double x, double lambda);
double ft_ewma_width(double sigma, double lambda, double width, unsigned steps);

/* ---- one audit ---- */

enum ft_watch_text {
	FT_WATCH_SERIAL,
	FT_WATCH_MODEL,
	FT_WATCH_ASSET,
	FT_WATCH_BOARD,
	FT_WATCH_CHANGER,
	FT_WATCH_READER,
	FT_WATCH_CURRENCY,
	FT_WATCH_FILE, /* where it came from, as named */
	FT_WATCH_TEXTS
};

enum ft_watch_number {
	FT_WATCH_ARRIVED, /* us */
	FT_WATCH_CLOCK,   /* the machine's own, us as if it were UTC; FT_ABSENT: none */
	FT_WATCH_DECIMALS,
	FT_WATCH_READS,
	FT_WATCH_RESETS,
	FT_WATCH_OUTAGES,
	FT_WATCH_PAID_VALUE,
	FT_WATCH_PAID_COUNT,
	FT_WATCH_CASH_VALUE,
	FT_WATCH_CARD_VALUE, /* both cashless devices */
	FT_WATCH_CARD_COUNT,
	FT_WATCH_CASH_IN,
	FT_WATCH_TO_BOX,
	FT_WATCH_BILLS,
	FT_WATCH_BOX_SINCE, /* to the box since the last reset */
	FT_WATCH_BILLS_SINCE,
	FT_WATCH_TO_TUBES,
	FT_WATCH_DISPENSED,
	FT_WATCH_BY_HAND,
	FT_WATCH_FILLED,
	FT_WATCH_TUBES_NOW,
	FT_WATCH_TESTS,      /* test vends: somebody was there */
	FT_WATCH_DOOR_COUNT, /* of the event "door is open" */
	FT_WATCH_NUMBERS
};

enum { FT_WATCH_PART = 1, FT_WATCH_BAD_CHECK = 2 }; /* flags: the end is missing; G85 does not fit */

struct ft_watch_cell {
	struct ft_slice id;
	int64_t price, count, value; /* FT_ABSENT: not sent */
	bool out;                    /* an event says that it is sold out */
};

struct ft_watch_read {
	struct ft_slice text[FT_WATCH_TEXTS];
	int64_t number[FT_WATCH_NUMBERS];
	uint64_t content; /* of the bytes: the same audit again has the same */
	unsigned flags;
	struct ft_watch_cell *cells;
	size_t cell_count;
	int64_t at_us; /* where it belongs in time; set by ft_watch_judge */
};

enum {
	FT_WATCH_CELLS_MAX = 2000,
	FT_WATCH_WORD_MAX = 200
}; /* ours: longer texts are cut, further selections left out */

/* Takes from one set what is watched; texts point into the audit, cells into the arena. `crc16` NULL: not checked. */
enum ft_status ft_watch_extract(const struct ft_facts *f, const char *file, int64_t arrived_us, ft_crc16_fn *crc16,
                                struct ft_arena *a, struct ft_watch_read *ret, struct ft_error *e);

/* A time written in the name of a file (20260301T0600, 2026-03-01_06-00-12), as UTC. False when there is none. */
bool ft_watch_stamp(struct ft_slice file, int64_t *ret_us);
/* What stands before the time in the name of a file, else the name without its ending: who sends under this name. */
struct ft_slice ft_watch_name(struct ft_slice file);
/* What tells machines apart: serial and model, else the asset number, else the name. In the arena or NULL. */
const char *ft_watch_key(const struct ft_watch_read *r, struct ft_arena *a);

/* ---- streams ---- */

/* Reads put one behind the other into ->bytes, each as its difference to the one before. */
struct ft_stream {
	struct ft_buf bytes;
	size_t count;
	struct ft_watch_read last; /* its texts and cells are the stream's own */
	struct ft_arena arena;
	size_t cell_room;
};

bool ft_stream_put(struct ft_stream *s, const struct ft_watch_read *r); /* false without memory */
/* Reads of a stream, in the order put, into the arena. FT_E_INPUT when the bytes are damaged. */
enum ft_status ft_stream_get(struct ft_slice bytes, struct ft_arena *a, struct ft_watch_read **ret, size_t *ret_count,
                             struct ft_error *e);
void ft_stream_done(struct ft_stream *s);

/* ---- one machine ---- */

/* Who said that an exception is known, and why. */
struct ft_known {
	const char *because, *by; /* by NULL: nobody said who */
	int64_t at_us;
	int offset_minutes;
};

struct ft_exception {
	enum ft_rule_id rule;
	const char *selection;      /* NULL: the whole machine */
	int64_t since_us;           /* when it began, as far as can be told */
	int64_t seen_us;            /* the read that showed it */
	int64_t ended_us;           /* FT_NEVER: it lasts */
	int64_t money;              /* lost or at stake as ft_stake_of says, minor units, never negative; FT_ABSENT: none */
	double sure;                /* 0 to 1 */
	const char *seen;           /* one sentence */
	const char *expected;       /* what should have been, or NULL */
	const char *before, *after; /* files: the evidence, may be NULL */
	bool acknowledged;
	const struct ft_known *known; /* of one that is acknowledged, else NULL; ft_watch_judge and _kept leave it NULL */
};

struct ft_collection {
	int64_t at_us;    /* the read after it */
	int64_t after_us; /* the read before it */
	int64_t expected; /* in the box: coins and bills */
	int64_t counted;  /* FT_ABSENT: nobody counted */
	bool seen;        /* in the audit; false: told by a count only, `expected` is interpolated */
	int64_t unsure;   /* by how much `expected` may be off */
	const char *by, *route, *bag;
};

/* Somebody was at the machine between these two reads: reset, filled, tried, door. */
struct ft_visit_seen {
	int64_t from_us, at_us;
	bool sure; /* not only because counters began anew */
};

struct ft_watch_day {
	int32_t day; /* since 1970 */
	uint16_t arrived, part, again;
	bool expected;
};

struct ft_card_day {
	int64_t from_us, to_us, value;
};

struct ft_watch_result {
	const char *key, *asset, *serial, *model, *name, *currency;
	int decimals;
	size_t reads, kept; /* all; those left in front of `reads` once copies are out */
	size_t parts, again, late;
	int64_t first_us, last_us; /* of the reads */
	int64_t period_us;         /* its own rhythm; 0: not known yet */
	size_t expected, arrived;  /* reads by that rhythm */
	struct ft_watch_day *days;
	size_t day_count;
	struct ft_exception *exceptions;
	size_t exception_count, exception_room;
	struct ft_collection *collections;
	size_t collection_count, collection_room;
	struct ft_card_day *cards; /* card sales between reads */
	size_t card_count;
	struct ft_visit_seen *visits;
	size_t visit_count, visit_room;
	int64_t *box_at_us, *box; /* money to the box since initialisation, by read */
	size_t box_count;
	bool visits_told; /* its audits tell when somebody was there */
	/* since the handover it is tied to; without one since whenever */
	const char *handover;                 /* which: as struct ft_baseline names it; NULL: none */
	int64_t handed_us;                    /* FT_ABSENT: none */
	size_t since_expected, since_arrived; /* days by its rhythm, days that brought one */
	int64_t since_first_us;               /* FT_ABSENT: no whole read yet */
	int64_t since_sold, since_value;      /* paid sales; FT_ABSENT: not to be told */
	size_t since_openings;                /* of its door */
	size_t since_degrees;                 /* rows of its temperature log */
	int64_t week_value;                   /* paid sales in a week, lately */
	int64_t cash_variance; /* counted less expected over all collections; FT_ABSENT: nothing was counted */
	double cash_spread;    /* what that usually comes to either way, by how well people of this fleet count */
	bool failed;           /* without memory */
	struct ft_arena *arena;
};

/* What a handover wrote down of the machine: its prices count as agreed, its counters go on, its parts stay. */
struct ft_baseline {
	const struct ft_watch_read *read; /* the audit of after */
	const char *name;                 /* of the handover, for sentences: "visit BD-0417-1" */
	const char *unit;                 /* serial number of the unit fitted, NULL: nobody wrote it down */
	const char *asset;                /* a name under which audits may come just as well, or NULL */
	int64_t at_us;                    /* reads from then on are of the weeks after */
};

/* A machine that was handed over and of which nothing has come: reads missing, once some are due. */
void ft_watch_silent(const char *key, const struct ft_baseline *base, int64_t now_us, struct ft_arena *a,
                     struct ft_watch_result *ret);

/* `reads` are put in order. `base` NULL: the first read is the baseline. `now_us` is the end of what could have
 * arrived. Results live in `a`. */
enum ft_status ft_watch_judge(const char *key, struct ft_watch_read *reads, size_t count,
                              const struct ft_baseline *base, int64_t now_us, struct ft_arena *a,
                              struct ft_watch_result *ret, struct ft_error *e);

/* Adds an exception to a result; never NULL. */
struct ft_exception *ft_watch_raise(struct ft_watch_result *r, enum ft_rule_id rule, const char *selection,
                                    int64_t since_us, int64_t seen_us);

/* Which claim of a handover an exception speaks against (data/watch-kinds.csv). */
enum ft_weeks_claim { FT_WEEKS_NONE, FT_WEEKS_READS, FT_WEEKS_CASH, FT_WEEKS_EVENTS };
enum ft_weeks_claim ft_weeks_claim_of(enum ft_rule_id rule);

/* What its money is (data/watch-kinds.csv): missing or unexplained once, or at stake each week it lasts. */
enum ft_stake { FT_STAKE_NOTHING, FT_STAKE_ONCE, FT_STAKE_WEEK };
enum ft_stake ft_stake_of(enum ft_rule_id rule);
const char *ft_stake_word(enum ft_stake s); /* "" "once" "a week" */

/* For how long is it listed: those that last until they end, the others for some days. */
bool ft_exception_open(const struct ft_exception *x, int64_t now_us);
/* Orders by money and risk, the first is the most urgent. */
double ft_exception_rank(const struct ft_exception *x, int decimals);

/* ---- the fleet ---- */

/* A machine's audits under one name, run by run. */
struct ft_name_run {
	const char *name;
	size_t machine; /* index into results */
	int64_t first_us, last_us;
	size_t count;
	const char *file; /* the first of the run */
};

/* Runs of one machine's reads, in order of time, appended to the growing array in `a`. */
bool ft_watch_runs(const struct ft_watch_read *reads, size_t count, size_t machine, struct ft_arena *a,
                   struct ft_name_run **list, size_t *list_count, size_t *room);
/* A result and its runs as bytes behind what stands in `out`, and back into the arena: for another process of the same
 * build and kind of computer, of which ft_watch_kept_form is the same. Of ft_watch_kept false: damaged, or no memory;
 * the index `machine` of a run is that of who kept it. */
bool ft_watch_keep(const struct ft_watch_result *r, const struct ft_name_run *runs, size_t run_count,
                   struct ft_buf *out);
bool ft_watch_kept(struct ft_slice bytes, struct ft_arena *a, struct ft_watch_result *ret,
                   struct ft_name_run **ret_runs, size_t *ret_count);
uint32_t ft_watch_kept_form(void);

/* Raises swapped and moved units at the machines. `runs` are put in order. */
void ft_watch_names(struct ft_name_run *runs, size_t count, struct ft_watch_result *results);

/* ---- money counted ---- */

struct ft_count {
	int32_t day;
	const char *asset, *bag, *by, *route; /* "" : not said */
	int64_t bills, coins;                 /* minor units of `decimals` places */
	unsigned line;
};

/* Reads a table with the columns date, asset, bills, coins and perhaps bag, by, route, in any order. */
enum ft_status ft_counts_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                              struct ft_count **ret, size_t *ret_count, struct ft_error *e);

/* Variance by whom or what. */
struct ft_variance {
	const char *name;
	size_t collections;
	int64_t expected, counted;
	double spread;     /* one standard deviation of counted - expected, as people of this fleet count */
	double low;        /* CUSUM of small losses, in standard deviations */
	int64_t signal_us; /* when it passed its limit; FT_ABSENT */
};

struct ft_cash {
	double sigma; /* of counted over expected, of honest counting in this fleet */
	struct ft_variance *persons, *routes;
	size_t person_count, route_count;
	size_t unmatched; /* counts that belong to no machine or collection */
	size_t counted;   /* collections */
	int64_t expected; /* in those */
};

/* Joins counts to collections and raises what is short, over, slowly losing or not counted. */
enum ft_status ft_watch_cash(struct ft_watch_result *results, size_t count, struct ft_count *counts, size_t count_count,
                             struct ft_arena *a, struct ft_cash *ret, struct ft_error *e);

/* Is a variance usual? "usual" up to two spreads, else "2.4 times usual", "falls, 12 times usual" where it grows less
 * and less; "" where nothing is known. */
enum { FT_VARIANCE_TEXT = 32 };
const char *ft_variance_words(int64_t variance, double spread, bool falls, char out[FT_VARIANCE_TEXT]);

struct ft_settlement {
	int32_t day;
	const char *asset;
	int64_t amount;
};
enum ft_status ft_settlements_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                                   struct ft_settlement **ret, size_t *ret_count, struct ft_error *e);
enum ft_status ft_watch_settlements(struct ft_watch_result *results, size_t count, struct ft_settlement *list,
                                    size_t list_count, struct ft_arena *a, struct ft_error *e);

/* Rows of a table that name no machine of the fleet. */
struct ft_strangers {
	size_t rows, strange;
	const char *first; /* the first such name; NULL: none */
};
/* `assets` is the name in the first of `count` rows that lie `step` bytes apart. False without memory. */
bool ft_watch_strangers(struct ft_watch_result *results, size_t result_count, const char *const *assets, size_t step,
                        size_t count, struct ft_arena *a, struct ft_strangers *ret);

/* ---- doors and cold ---- */

struct ft_fleet_door {
	const char *asset;
	int64_t at_us;
	bool open;
};
enum ft_status ft_fleet_doors_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                   struct ft_fleet_door **ret, size_t *ret_count, struct ft_error *e);
enum ft_status ft_watch_doors(struct ft_watch_result *results, size_t count, struct ft_fleet_door *list,
                              size_t list_count, struct ft_arena *a, struct ft_error *e);

/* A table time, asset, c and perhaps alarm (0 or 1), rows of one asset in order of time; judged by the rules of cold
 * for chilled food. Excused after an opening of the door where doors are known (as ft_fleet_doors_read gives them). It
 * comes in pieces of whole lines, as two thousand cabinets fill a large file. In the arena; NULL without memory. */
struct ft_cabinets;
struct ft_cabinets *ft_cabinets_begin(struct ft_watch_result *results, size_t count, const struct ft_fleet_door *doors,
                                      size_t door_count, const char *what, struct ft_arena *a);
/* Rows later than this are read and not judged. */
void ft_cabinets_until(struct ft_cabinets *c, int64_t at_us);
/* `e` is the same at every piece. FT_E_INPUT names the line. */
enum ft_status ft_cabinets_take(struct ft_cabinets *c, struct ft_slice lines, struct ft_error *e);
struct ft_strangers ft_cabinets_strangers(const struct ft_cabinets *c); /* of what was taken; lives as long as it */

#endif
