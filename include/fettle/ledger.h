/* SPDX-License-Identifier: Apache-2.0 */
/* Two reads of one machine: what changed, what was lost, and whether what was sold moved exactly
 * the right counters.
 *
 *   ft_compare     two reads -> changes, meters that fell, what to key back in, findings
 *   ft_sales_read  a list of sales kept by a person -> struct ft_sale
 *   ft_sales_of_bus  what a capture of the bus saw of the sales -> struct ft_account
 *   ft_prove       two reads and the sales (from a list, a bus capture, anywhere) -> expected and
 *                  observed movement of every counter, witnesses, and the simplest stories that
 *                  explain a difference exactly
 *
 * Sources: the identities between two reads (B1 to B10) of docs/ledger.md; what a sale moves stands in
 * data/effects.csv, what a person keys in in data/settings.csv. Everything in a result lives in the
 * caller's arena and points into the bytes of the audits and the list, which must outlive it. */
#ifndef FETTLE_LEDGER_H
#define FETTLE_LEDGER_H

#include "fettle/audit.h"
#include "fettle/bus.h"
#include "fettle/time.h"

/* One read. `name` is what findings call it (the file's name), may be NULL. */
struct ft_read {
	const char *name;
	const struct ft_facts *facts;
};

/* ---- compare ---- */

enum ft_change_kind { FT_CHANGE_IDENTITY, FT_CHANGE_SETTING, FT_CHANGE_METER, FT_CHANGE_STATE, FT_CHANGE_EVENT };
enum { FT_CHANGE_KINDS = FT_CHANGE_EVENT + 1 };

struct ft_change {
	const char *element;       /* "PA202"; unknown ones by segment and position, "ZZ1 position 3" */
	struct ft_slice selection; /* p == NULL: of the whole machine */
	struct ft_slice key[2];    /* as in struct ft_cell: device and list, coin value, event code */
	enum ft_change_kind kind;
	bool money;                          /* the numbers are minor units */
	struct ft_slice before, after;       /* as sent; p == NULL: not there */
	int64_t before_number, after_number; /* FT_ABSENT: no number, or not there */
	const char *meaning;                 /* from the dictionary; NULL when unknown */
};

enum ft_fall {
	FT_FELL_PLAIN,   /* lower than before */
	FT_FELL_WRAPPED, /* went round: fell by nearly `modulus` */
	FT_FELL_CLEARED, /* together with most others: the meters were initialised or lost */
	FT_FELL_GONE,    /* not sent any more */
};

struct ft_loss {
	const char *element;
	struct ft_slice selection, key[2];
	bool money;
	int64_t before, after; /* after: FT_ABSENT when gone */
	enum ft_fall how;
	int64_t modulus; /* of a wrap: 10^6, 10^8, 2^16, 2^24, 2^32; else 0 */
};

/* One line of the restore sheet. Selections in natural order (9 before 10 before A1), in each the
 * price before the product before the rest, then the settings of the machine. */
struct ft_restore {
	const char *what;          /* "price", "price for DA on list 2", "product", "capacity", "clock" */
	struct ft_slice selection; /* p == NULL: of the whole machine */
	struct ft_slice value;     /* as the machine sent it before; money written with decimals */
	struct ft_slice now;       /* what stands there now, written alike; p == NULL: nothing */
};

enum ft_pair_stands {
	FT_PAIR_SAME,      /* two reads of one machine, in order */
	FT_PAIR_EXCHANGED, /* the machine's serial or its board's is another, but the asset or the counters go on */
	FT_PAIR_OTHER_MACHINE,
	FT_PAIR_SWAPPED, /* the second read is the older one */
};

struct ft_comparison {
	enum ft_pair_stands pair;
	struct ft_change *changes; /* in the order of the later read, then what is only in the earlier one */
	size_t change_count;
	size_t count_by_kind[FT_CHANGE_KINDS];
	struct ft_loss *lost;
	size_t lost_count;
	struct ft_restore *restore; /* empty when pair is OTHER_MACHINE or SWAPPED */
	size_t restore_count;
	int64_t reads, resets; /* between the two, as the machine counts them; FT_ABSENT: it does not */
	bool cleared;          /* most meters fell together */
};

/* Findings ledger.* go into `findings`. Fails only without memory. */
enum ft_status ft_compare(const struct ft_read *before, const struct ft_read *after, struct ft_arena *a,
                          struct ft_findings *findings, struct ft_comparison *ret, struct ft_error *e);

const char *ft_change_kind_word(enum ft_change_kind k); /* identity setting meter state event */
const char *ft_fall_word(enum ft_fall f);               /* fell wrapped cleared gone */

/* Natural order of selections: digits by their number, letters without case; "A2" before "A10". */
int ft_selection_cmp(struct ft_slice a, struct ft_slice b);

/* ---- sales ---- */

enum ft_paid {
	FT_PAID_COIN,
	FT_PAID_BILL,
	FT_PAID_CARD_1,
	FT_PAID_CARD_2, /* cashless device 1 (DA) and 2 (DB) */
	FT_PAID_TOKEN,
	FT_PAID_TEST,
	FT_PAID_FREE,
	FT_PAID_CARD, /* some cashless device, which one is not known */
	FT_PAID_CASH, /* coins or bills, which is not known (a bus capture's) */
};

struct ft_sale {
	unsigned line;             /* in the list it came from; 0: none */
	struct ft_slice time;      /* as written; for people only, nothing is computed from it */
	struct ft_slice selection; /* matched with PA101 without case and leading zeros */
	int64_t price;             /* minor units; FT_ABSENT only in another witness's account */
	enum ft_paid paid_with;
	int64_t tendered;     /* cash put in, minor units; FT_ABSENT: not known */
	struct ft_slice list; /* price list; p == NULL: not known, found by the price where it can be */
};

/* A table with the columns time, selection, price, paid_with, tendered and perhaps list, in any
 * order; time, tendered and list may be missing. `what` names it in messages, which give line and
 * column (FT_E_INPUT). `decimals` are the machine's. */
enum ft_status ft_sales_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                             struct ft_sale **ret, size_t *ret_count, struct ft_error *e);

const char *ft_paid_word(enum ft_paid p); /* coin bill card1 card2 token test free card cash */

/* ---- the account of another witness ---- */

/* What somebody else than the fitter saw of the sales. Such a witness sees no test and no free vends. */
struct ft_account {
	const char *witness; /* "bus capture": what it is called among the witnesses */
	const char *name;    /* of its file, for findings */
	const struct ft_sale *sales;
	size_t sale_count;
	bool part;                 /* it may have run for a part of the time only: what it did not see says nothing */
	bool cash_unseen;          /* it tells sales by card only; that it shows none in cash says nothing */
	size_t unpriced;           /* of `sales`: price FT_ABSENT, because the scale of the money was not heard */
	size_t unsettled;          /* card sales that it saw approved and not closed; not among `sales` */
	uint64_t damaged;          /* blocks that could not be read: a sale may stand in them */
	int64_t cash_in, cash_out; /* all cash it saw taken in and paid out as change; FT_ABSENT: not known */
};

/* Sales with outcome `sold`; card by the reader's address, cash with what was put in for it as the money on the
 * bus tells. `decimals` are the machine's. Lives in the arena; `name` is kept. Fails without memory only. */
enum ft_status ft_sales_of_bus(const struct ft_bus_report *r, const char *name, int decimals, struct ft_arena *a,
                               struct ft_account *ret, struct ft_error *e);

/* The list of sales as ft_sales_read takes it, with its heading; `decimals` as there. Sales without a price are
 * left out. */
void ft_sales_write(const struct ft_sale *sales, size_t count, int decimals, struct ft_buf *out);

/* Were the sales made between the two reads? `from_us` and `to_us` are what the machine's clock said then, FT_ABSENT
 * where it says nothing. Finds at most one thing: sales up to 15 minutes outside are a note, since clocks are apart.
 * Sales without a date and time say nothing, nor do those in UTC: the machine's clock is local. */
void ft_sales_times(const struct ft_sale *sales, size_t count, const char *name, int64_t from_us, int64_t to_us,
                    struct ft_findings *findings);

/* ---- prove ---- */

/* What one counter, or a sum of counters where only the sum can be known, did between the reads. */
struct ft_counter {
	const char *element;          /* "VA101", or a sum: "CA305-CA403-CA802" */
	const char *title;            /* "value of paid sales" */
	struct ft_slice selection;    /* p == NULL: of the whole machine */
	struct ft_slice device, list; /* p == NULL: none */
	bool money;
	bool since_reset;           /* the counter of the interval, not of the lifetime */
	int64_t before, after;      /* FT_ABSENT: not sent in that read (then counted from 0), or a sum */
	int64_t expected, observed; /* movement between the two reads */
	bool at_least;              /* `expected` is the least it must have moved: sales nobody saw may move it too */
	enum ft_weight weight;      /* what it means when they differ: fault, or doubt where others may move it */
};

static inline bool ft_counter_right(const struct ft_counter *c)
{
	return c->at_least ? c->observed >= c->expected : c->observed == c->expected;
}

enum ft_story_kind {
	FT_STORY_CROSSED_SELECTIONS,
	FT_STORY_COUNTED_ELSEWHERE,
	FT_STORY_NOT_COUNTED,
	FT_STORY_COUNTED_TWICE,
	FT_STORY_OTHER_PRICE,
	FT_STORY_OTHER_LIST,
	FT_STORY_CASH_AS_CASHLESS,
	FT_STORY_CASHLESS_AS_CASH,
	FT_STORY_UNLISTED_SALE,
	FT_STORY_CASH_NOT_REPORTED, /* the sales were counted, the cash taken for them was not */
};

enum { FT_STORY_EDITS_MAX = 2, FT_STORIES_MAX = 12 };

struct ft_story_edit {
	enum ft_story_kind kind;
	struct ft_slice selections[2]; /* p == NULL: none */
	const char *detail;            /* a plain sentence without the stop */
};

/* One explanation of every difference. */
struct ft_story {
	struct ft_story_edit edits[FT_STORY_EDITS_MAX];
	int edit_count;     /* its cost */
	const char *detail; /* the sentences of its edits together */
};

struct ft_witness {
	const char *name; /* "audit", "fitter's list", "counted cash" */
	const char *says; /* NULL: it said nothing */
	int agrees;       /* 1 yes, 0 no, -1 cannot tell or nothing to agree with */
};

/* What the two reads say was sold, by selection and, where the machine tells, by device and list. */
struct ft_sold {
	struct ft_slice selection, device, list;
	int64_t count, value; /* FT_ABSENT: the machine does not tell */
};

struct ft_prove_input {
	const struct ft_sale *sales; /* NULL: none were written down */
	size_t sale_count;
	const char *sales_name;    /* for findings */
	const char *sales_witness; /* "fitter's list" when NULL; "bus capture" and the like otherwise */
	int64_t counted;           /* cash counted in the box, minor units; FT_ABSENT: not counted */
	/* Further witnesses of the sales: each is set against the list, sale by sale, and against the audits. Without
	 * a list the first of them takes its place. */
	const struct ft_account *accounts;
	size_t account_count;
};

enum { FT_WITNESSES_MAX = 12 };

struct ft_proof {
	struct ft_counter *counters; /* all that could be compared, wrong ones first */
	size_t counter_count, wrong_count;
	struct ft_story stories[FT_STORIES_MAX]; /* best first, all of the same cost */
	size_t story_count;
	size_t stories_more; /* further ones of the same cost that are not kept */
	struct ft_witness witnesses[FT_WITNESSES_MAX];
	size_t witness_count;
	size_t differ;     /* sales that two witnesses tell differently */
	const char *alone; /* the one witness that all others contradict; NULL: there is no such */
	struct ft_sold *sold;
	size_t sold_count;
	bool unshown; /* something the sales demand is shown by nothing */
	bool idle;    /* nothing was sold between the reads and no list says so: nothing is proved */
	int agree;    /* 1 yes, 0 no, -1 cannot tell */
	enum ft_verdict verdict;
};

/* Findings ledger.* go into `findings`. Fails without memory, and with FT_E_INPUT where a sale makes
 * no sense for this machine. */
enum ft_status ft_prove(const struct ft_read *before, const struct ft_read *after, const struct ft_prove_input *in,
                        struct ft_arena *a, struct ft_findings *findings, struct ft_proof *ret, struct ft_error *e);

const char *ft_story_kind_word(enum ft_story_kind k); /* as in the contract of the command: "crossed-selections" */

#endif
