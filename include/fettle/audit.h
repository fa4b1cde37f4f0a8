/* SPDX-License-Identifier: Apache-2.0 */
/* EVA-DTS audit files: read without loss, looked up in the dictionary, summed, judged, explained.
 *
 * Layers, each on the one before:
 *   ft_audit_read     bytes -> lines and elements (struct ft_audit); writes back bit for bit
 *   ft_audit_facts    one ST..SE set -> numbers by element, sums, selections (struct ft_facts)
 *   ft_audit_judge    facts -> findings by the rules of data/rules.csv
 *   ft_audit_summary  facts -> what a person or the office wants to know (struct ft_summary)
 * Readers never judge. Everything points into the caller's bytes, which must outlive it. */
#ifndef FETTLE_AUDIT_H
#define FETTLE_AUDIT_H

#include "fettle/arena.h"
#include "fettle/buf.h"
#include "fettle/crc.h"
#include "fettle/error.h"
#include "fettle/finding.h"
#include "fettle/money.h"
#include "fettle/time.h"

/* ---- dictionary (data/audit-segments.csv, data/audit-elements.csv, data/event-codes.csv) ---- */

enum ft_segment_id {
	FT_SEG_FOREIGN = -2, /* not a segment at all: noise, a line of some back office */
	FT_SEG_NONE = -1,    /* looks like a segment, but the dictionary does not know it */
#define ROW(ident, ...) FT_SEG_##ident,
#include "audit-segments.inc"
#undef ROW
	FT_SEG_COUNT
};

enum ft_element_id {
	FT_EL_NONE = -1,
#define ROW(ident, ...) FT_EL_##ident,
#include "audit-elements.inc"
#undef ROW
	FT_EL_COUNT
};

enum ft_element_type {
	FT_TYPE_TEXT,
	FT_TYPE_INTEGER,
	FT_TYPE_MONEY,
	FT_TYPE_EITHER, /* CA304, CA308: whole currency units or minor units; see struct ft_facts.bills */
	FT_TYPE_CODE,
	FT_TYPE_DATE,
	FT_TYPE_TIME,
	FT_TYPE_COMMAND,
};
enum ft_element_span { FT_SPAN_IDENT, FT_SPAN_INIT, FT_SPAN_RESET, FT_SPAN_STATE };
enum ft_element_need { FT_NEED_UNKNOWN, FT_NEED_MANDATORY, FT_NEED_OPTIONAL, FT_NEED_IF_FITTED, FT_NEED_BY_DEVICE };
enum ft_element_trust { FT_TRUST_SOUND, FT_TRUST_MEMORY, FT_TRUST_DOUBTFUL };

#define FT_POSITIONS_MAX 12 /* the dictionary knows no more elements in a segment */

struct ft_element_def {
	const char *name; /* "CA305" */
	enum ft_segment_id segment;
	int position; /* 1-based */
	enum ft_element_type type;
	enum ft_element_span span;
	enum ft_element_need need;
	enum ft_element_trust trust;
	const char *meaning;
	const char *source;
};

struct ft_segment_def {
	const char *name;          /* "CA3" */
	bool once;                 /* belongs into a set once */
	enum ft_segment_id parent; /* FT_SEG_PA1 or FT_SEG_PC1 for what binds to the nearest one above, else FT_SEG_NONE */
	const char *keys;          /* positions that name the row, "1 2 3" or "" */
	const char *title;
};

const struct ft_element_def *ft_element_def(enum ft_element_id id);         /* NULL for FT_EL_NONE */
const struct ft_segment_def *ft_segment_def(enum ft_segment_id id);         /* NULL for NONE and FOREIGN */
enum ft_segment_id ft_segment_find(struct ft_slice name);                   /* FT_SEG_NONE when unknown */
enum ft_element_id ft_element_at(enum ft_segment_id id, unsigned position); /* FT_EL_NONE when unknown */

/* What an event code means: the row of its code, or of its group; `ret_listed` tells which (may be
 * NULL). "EJB_12" gives the meaning of EJB. NULL when not even the group is known. */
const char *ft_event_meaning(struct ft_slice code, bool *ret_listed);

/* ---- reading ---- */

enum ft_eol { FT_EOL_NONE, FT_EOL_CR, FT_EOL_LF, FT_EOL_CRLF };

struct ft_span {
	uint32_t at, n; /* into ft_audit.bytes */
};

/* One line. Its bytes are: lead, name, then '*' and an element for each, then the line end. */
struct ft_segment {
	uint32_t at;         /* offset of the line; noise before the name stands here (lead = name.at - at) */
	struct ft_span name; /* empty in a foreign line, whose bytes are all lead */
	uint32_t first;      /* index of its name's token */
	uint32_t count;      /* elements, unknown ones included */
	uint32_t end;        /* offset behind the line end */
	int16_t id;          /* enum ft_segment_id */
	uint8_t eol;         /* enum ft_eol */
};

/* One ST..SE set, with the DXS..DXE around it where there is one. Indices into segments, -1: none. */
struct ft_set {
	int32_t first, last; /* segments that belong to it: first <= i < last */
	int32_t dxs, st, g85, se, dxe;
};

struct ft_audit {
	struct ft_slice bytes;
	struct ft_segment *segments;
	size_t segment_count;
	/* Tokens are what stands between delimiters: of each line its lead and name, then its elements. Token k
	 * reaches to before byte stops[k]; an element begins behind the delimiter at stops[k - 1]. */
	uint32_t *stops;
	size_t token_count;
	struct ft_set *sets;
	size_t set_count; /* 0 when there is no audit in the bytes */
	size_t foreign;   /* lines and leads that are no part of an audit */
};

/* Reads any bytes whatever. Fails only without memory or beyond the limits of limits.h; a file with
 * no audit in it gives set_count 0. `bytes` stays the caller's and must outlive `ret`. */
enum ft_status ft_audit_read(struct ft_slice bytes, struct ft_arena *a, struct ft_audit *ret, struct ft_error *e);

/* Writes segments first <= i < last back from their parts; over all segments this gives exactly
 * the bytes that were read. */
void ft_audit_write(const struct ft_audit *d, size_t first, size_t last, struct ft_buf *out);

/* Element at a 1-based position; p == NULL when the segment ends before it. Blanks kept. */
struct ft_slice ft_audit_at(const struct ft_audit *d, const struct ft_segment *s, unsigned position);
struct ft_slice ft_audit_name(const struct ft_audit *d, const struct ft_segment *s);
unsigned ft_audit_line(const struct ft_audit *d, const struct ft_segment *s); /* 1-based */

/* CRC-16 of a set as G85 demands: from the S of ST to the line end before G85 (or before SE). */
uint16_t ft_audit_crc(const struct ft_audit *d, const struct ft_set *s, ft_crc16_fn *crc16);
/* The same as if every line ended in CR LF, which is what a machine sums; *converted: some did not. */
uint16_t ft_audit_crc_crlf(const struct ft_audit *d, const struct ft_set *s, ft_crc16_fn *crc16, bool *converted);

/* ---- facts ---- */

/* How CA304 and CA308 are written (note 6 of the dictionary), decided by what closes the cash. */
enum ft_bills {
	FT_BILLS_NONE,   /* not sent, or zero */
	FT_BILLS_MINOR,  /* minor units, like all other money */
	FT_BILLS_WHOLE,  /* whole currency units */
	FT_BILLS_UNSURE, /* neither closes the cash identity */
};

struct ft_row {
	uint32_t segment;  /* index into ft_audit.segments */
	int32_t selection; /* index into ft_facts.selections, -1: belongs to none */
};

struct ft_facts {
	const struct ft_audit *audit;
	const struct ft_set *set;
	/* By element: the number of its first occurrence that holds one (FT_ABSENT when none does), and the
	 * sum over all occurrences. Unset marks (65535, 4294967295 in PA7, LA1) are left out. Text, dates
	 * and codes have no number. */
	int64_t value[FT_EL_COUNT];
	int64_t sum[FT_EL_COUNT];
	int32_t segment[FT_SEG_COUNT]; /* index of the first segment of this kind, -1: none */
	int32_t last[FT_SEG_COUNT];    /* and of the last, where there is a first */
	/* What the tokens of the set read as, from first_token on: one to eight digits their number, of elements
	 * that should be numbers any other whole number too, all else FT_ABSENT. */
	int64_t *numbers;
	size_t first_token;
	uint32_t *selections; /* segment indices of PA1, in file order */
	size_t selection_count;
	struct ft_row *rows; /* PA2..PA9, LA1, CA11..CA14, CA17, EA1, EA2, MA5: in file order */
	size_t row_count;
	int decimals; /* places of money: ID401, else the currency's, else 2 (decimals_known false) */
	bool decimals_known;
	enum ft_bills bills;
	int64_t bills_in_init, bills_in_reset; /* in minor units, FT_ABSENT when not sent */
	int32_t above_at; /* segment of the first counter since reset above its twin since initialisation, -1: none */
	int64_t above_init, above_reset; /* the two */
	bool odd;                        /* a line needs a closer look: unknown, repeated, too long, or an odd date */
	uint32_t bad_numbers;            /* elements that should be numbers and are not */
};

/* `ret` is large (about 9 kB): keep it in the arena or reuse one. */
enum ft_status ft_audit_facts(const struct ft_audit *d, const struct ft_set *s, struct ft_arena *a,
                              struct ft_facts *ret, struct ft_error *e);

/* One element of a set with the name that ties it to the same element of another audit. */
struct ft_cell {
	enum ft_segment_id segment; /* FT_SEG_NONE: unknown, see name */
	enum ft_element_id element; /* FT_EL_NONE: unknown position or segment */
	struct ft_slice name;       /* of the segment */
	unsigned position;
	struct ft_slice selection; /* the selection it belongs to (PA101, LA102); p == NULL: none */
	struct ft_slice key[2]; /* what else names the row: device and list, coin value, event code; p == NULL: nothing */
	unsigned nth;           /* among rows of the same name and keys, from 0 */
	struct ft_slice value;  /* blanks on the right trimmed; n == 0: sent empty */
	int64_t number;         /* FT_ABSENT when it is no number */
	uint32_t segment_index;
};

/* All elements of the set, in file order, foreign lines left out. */
enum ft_status ft_audit_cells(const struct ft_facts *f, struct ft_arena *a, struct ft_cell **ret, size_t *ret_count,
                              struct ft_error *e);

/* ---- judgement ---- */

struct ft_audit_check {
	bool crc_stated, crc_sound;           /* G85 is there; it is four hex digits */
	uint16_t stated, computed;            /* stated in the digit order that fits, else as written */
	bool swapped;                         /* fits with the low byte first */
	int64_t count_stated, count_computed; /* SE01; FT_ABSENT */
	bool whole;                           /* ST and SE are there, and DXE where DXS is */
};

/* Runs every audit rule over one set. `file` is the name for findings, may be NULL. */
void ft_audit_judge(const struct ft_facts *f, const char *file, ft_crc16_fn *crc16, struct ft_findings *findings,
                    struct ft_audit_check *ret);

/* The accounting identities A1..A18, for people and for the papers. */
enum ft_identity_stands { FT_HOLDS, FT_BROKEN, FT_CANNOT_TELL };
struct ft_identity {
	const char *id;       /* "A2 since initialisation" */
	const char *sentence; /* "cash in = cash box + tubes + bills" */
	enum ft_identity_stands stands;
	int64_t left, right;  /* FT_ABSENT when it cannot be told */
	const char *breakers; /* who may break it without anything being wrong */
	const char *trust;    /* "exact in field files", "from memory" */
};
enum { FT_IDENTITIES_MAX = 64 };
size_t ft_audit_identities(const struct ft_facts *f, struct ft_identity ret[FT_IDENTITIES_MAX]);

/* ---- summary ---- */

struct ft_total {
	int64_t value, count, value_since_reset, count_since_reset;
}; /* FT_ABSENT: not sent */
struct ft_pair {
	int64_t init, reset;
};

struct ft_list_row {
	struct ft_slice device, list; /* "CA", "0" */
	int64_t price, count, value, count_since_reset, value_since_reset;
};

struct ft_selection {
	struct ft_slice id, name;
	int64_t price;  /* FT_ABSENT: not sent */
	int64_t status; /* PA107; FT_ABSENT: not sent; 1 = not present any more */
	int64_t capacity, level;
	struct ft_total paid, test, free;
	struct ft_list_row *lists;
	size_t list_count;
	unsigned line;
};

struct ft_event_row {
	struct ft_slice code, date, time, duration; /* as sent */
	const char *meaning;                        /* NULL: not known */
	bool counted;                               /* EA2: the counts below */
	int64_t count_since_reset, count, active;   /* FT_ABSENT: not sent */
};

enum ft_reliance { FT_RELY_NONE, FT_RELY_PART, FT_RELY_FULL };
struct ft_reliances {
	enum ft_reliance sales_total, sales_by_selection, cash_in, cash_out, cashless, price_lists, events, clock;
	const char *because[8]; /* one sentence each, in that order */
};

struct ft_summary {
	struct ft_slice serial, model, revision, location, asset, level; /* p == NULL: not sent */
	struct ft_slice currency_sent;
	const struct ft_currency *currency; /* NULL when unknown */
	int64_t currency_numeric;           /* as sent; FT_ABSENT */
	int decimals;
	bool decimals_known;
	char clock[24]; /* "2025-03-10T08:15:00", "" when unknown */
	struct ft_total paid, cash, cashless_1, cashless_2, tokens, test, free;
	struct ft_pair cash_in, to_box, to_tubes, bills_in, dispensed, dispensed_by_hand, filled, overpaid;
	int64_t tubes_now;
	struct ft_selection *selections;
	size_t selection_count;
	struct ft_event_row *events;
	size_t event_count;
	int64_t reads, resets, power_outages;
	struct ft_reliances reliance;
};

enum ft_status ft_audit_summary(const struct ft_facts *f, struct ft_arena *a, struct ft_summary *ret,
                                struct ft_error *e);

const char *ft_reliance_word(enum ft_reliance r); /* none part full */

/* ---- a summary as JSON: every document writes its parts through these ---- */

enum { FT_USES = 8 };             /* in the order of struct ft_reliances */
const char *ft_use_word(int use); /* "sales_total" .. "clock"; 0 <= use < FT_USES */
enum ft_reliance ft_reliance_for(const struct ft_reliances *r, int use);

void ft_total_json(struct ft_json *j, const char *key, const struct ft_total *t);
void ft_pair_json(struct ft_json *j, const char *key, const struct ft_pair *p); /* null when neither was sent */
void ft_totals_json(struct ft_json *j, const struct ft_summary *s); /* paid, cash, ... into the open object */
/* to_box, ... and tubes_now into the open object; cash in under `in_key`. */
void ft_cash_json(struct ft_json *j, const struct ft_summary *s, const char *in_key);
void ft_reliances_json(struct ft_json *j, const struct ft_reliances *r); /* the object "reliance" */
void ft_decimals_json(struct ft_json *j, bool known,
                      int decimals); /* null when the audit does not say: never guessed */

#endif
