/* SPDX-License-Identifier: Apache-2.0 */
/* The record of one visit: evidence, statements and waivers go in, claims and a verdict come out.
 *
 * A claim is a sentence that must be true before the door is closed. Claims are rows of
 * data/claims.csv. How each stands is computed here from what one visit holds, never typed; the
 * same visit gives the same judgement, byte for byte, on every machine and at every time.
 *
 * Pure: no clock, no file. Everything points into the caller's visit or into the arena. */
#ifndef FETTLE_VISIT_H
#define FETTLE_VISIT_H

#include "fettle/arena.h"
#include "fettle/door.h"
#include "fettle/error.h"
#include "fettle/finding.h"
#include "fettle/hash.h"
#include "fettle/json.h"
#include "fettle/ledger.h"

/* ---- stages and claims ---- */

enum ft_stage {
	FT_STAGE_KNOW,
	FT_STAGE_KEEP,
	FT_STAGE_FIT,
	FT_STAGE_PROVE,
	FT_STAGE_HAND_OVER,
	FT_STAGE_WATCH,
	FT_STAGE_COUNT
};

const char *ft_stage_word(enum ft_stage s);  /* know keep fit prove hand-over watch */
const char *ft_stage_title(enum ft_stage s); /* Know Keep Fit Prove "Hand over" Watch */
bool ft_stage_parse(struct ft_slice word, enum ft_stage *ret);

enum ft_claim_due { FT_DUE_CLOSE, FT_DUE_LATER }; /* must be settled to close the visit, or in the weeks after */

/* When a claim applies: always, or when the machine or the job has the part. */
enum ft_applies {
	FT_APPLIES_ALWAYS,
	FT_APPLIES_COINS,
	FT_APPLIES_BILLS,
	FT_APPLIES_CARD,
	FT_APPLIES_CASH, /* the last audit tells, else yes */
	FT_APPLIES_DOOR,
	FT_APPLIES_TEMPERATURE,
	FT_APPLIES_ANTENNA,
	FT_APPLIES_BUS,
	FT_APPLIES_SUPPLY,
	FT_APPLIES_EVENTS, /* door or temperature */
};

enum ft_by_words { FT_WORDS_NO, FT_WORDS_YES }; /* may a person show it by saying so? */

struct ft_claim {
	const char *id; /* "prove.sales", stable once released */
	enum ft_stage stage;
	enum ft_claim_due due;
	enum ft_applies applies;
	enum ft_by_words words;
	const char *sentence; /* what must be true */
	const char *shown_by; /* what shows it */
	const char *ask;      /* what to do while it is open */
	const char *source;
};

enum ft_claim_id {
#define ROW(ident, ...) FT_CLAIM_##ident,
#include "claims.inc"
#undef ROW
	FT_CLAIM_COUNT
};

const struct ft_claim *ft_claim(enum ft_claim_id id);
const struct ft_claim *ft_claim_by_name(struct ft_slice name); /* NULL when unknown */

/* ---- evidence ---- */

enum ft_evidence_kind {
	FT_EVIDENCE_UNKNOWN,
	FT_EVIDENCE_AUDIT,       /* an EVA-DTS audit */
	FT_EVIDENCE_SALES,       /* CSV time,selection,price,paid_with,tendered */
	FT_EVIDENCE_TRACE,       /* what passed on the data port, byte by byte */
	FT_EVIDENCE_PHOTOGRAPH,  /* JPEG, PNG, WebP, HEIC */
	FT_EVIDENCE_BUS,         /* capture: VCD, or a logic session archive (.sr) */
	FT_EVIDENCE_TEMPERATURE, /* CSV with a time and a temperature */
	FT_EVIDENCE_SIGNAL,      /* radio levels: modem answers or CSV */
	FT_EVIDENCE_DOOR,        /* CSV of marks at the door */
	FT_EVIDENCE_COUNT_CASH,  /* CSV of cash counted */
	FT_EVIDENCE_SURVEY,      /* CSV survey rows */
	FT_EVIDENCE_SUPPLY,      /* supply budget; only when named as such */
	FT_EVIDENCE_WEEKS,       /* CSV of what the watch found in the weeks after: fettle/weeks.h */
	FT_EVIDENCE_NOTE,        /* plain text somebody wrote */
	FT_EVIDENCE_KINDS
};

const char *ft_evidence_word(enum ft_evidence_kind k);  /* audit sales trace photograph bus ... */
const char *ft_evidence_title(enum ft_evidence_kind k); /* "an audit", "a list of sales", ... */
bool ft_evidence_parse(struct ft_slice word, enum ft_evidence_kind *ret);

/* Finds the kind out from the bytes alone. FT_E_INPUT with a sentence that says what would be
 * accepted when they are nothing we know. `name` is for the message only. */
enum ft_status ft_evidence_kind_of(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                   enum ft_evidence_kind *ret, struct ft_error *e);

/* May these bytes be filed as `kind` because a person says so? Refuses what the bytes contradict (a
 * photograph as an audit); texts and tables may be named freely. */
enum ft_status ft_evidence_accept(struct ft_slice bytes, const char *name, enum ft_evidence_kind kind,
                                  struct ft_arena *a, struct ft_error *e);

struct ft_evidence {
	int64_t number; /* from 1, in the order of adding within the visit */
	enum ft_evidence_kind kind;
	enum ft_stage stage;
	const char *name;      /* of the file, without its folders */
	struct ft_hash hash;   /* of the bytes: its name in the book and in the package */
	int64_t size;          /* of the bytes */
	struct ft_slice bytes; /* p == NULL: not loaded */
	int64_t added_us;      /* wall time */
	int added_offset;      /* minutes east of UTC */
};

/* A piece that was added by mistake. It counts for nothing and goes into no package; that it was there, who took it out
 * and why stays on record, and its bytes stay in the book they were added to (piece.bytes is never loaded). */
struct ft_taken_out {
	struct ft_evidence piece;
	const char *because;
	const char *by; /* NULL: not given */
	int64_t at_us;
	int at_offset;
};

/* ---- the visit ---- */

struct ft_statement {
	enum ft_claim_id claim;
	const char *text;
	const char *by; /* NULL: not given */
	int64_t at_us;
	int at_offset;
};

struct ft_waiver {
	enum ft_claim_id claim;
	const char *because;
	const char *by; /* NULL: not given */
	int64_t at_us;
	int at_offset;
};

/* Parts that a machine or a job may be without; bits of ft_visit.without. */
enum ft_part {
	FT_PART_DOOR = 1,
	FT_PART_TEMPERATURE = 2,
	FT_PART_ANTENNA = 4,
	FT_PART_CARD = 8,
	FT_PART_BILLS = 16,
	FT_PART_COINS = 32,
	FT_PART_BUS = 64,
	FT_PART_SUPPLY = 128,
};

/* "door,antenna" to bits and back. False on an unknown word, which `ret_bad` (may be NULL) names. */
bool ft_parts_parse(struct ft_slice list, unsigned *ret, struct ft_slice *ret_bad);
void ft_parts_text(struct ft_buf *out, unsigned parts); /* "door, antenna" */

#define FT_VISIT_KEY_TEXT 33

/* Texts are NULL when not given. Evidence is in the order of adding. */
struct ft_visit {
	const char *id;  /* short and speakable: "BD-0417-1"; unique in one book */
	const char *key; /* 32 hex digits, unique everywhere: see ft_visit_key */
	const char *asset;
	const char *site;
	const char *machine_serial; /* as ordered or read from the plate */
	const char *unit;           /* serial number of the unit fitted */
	const char *sim;            /* ICCID */
	const char *technician;
	unsigned without; /* bits of enum ft_part */
	int64_t opened_us;
	int opened_offset;
	int64_t closed_us; /* FT_ABSENT while open */
	int closed_offset;
	int64_t changed_us; /* when anything was last added, said, waived, set or closed */
	struct ft_evidence *evidence;
	size_t evidence_count;
	struct ft_taken_out *taken_out; /* by number; none of them is among the evidence, unless it was added again */
	size_t taken_out_count;
	struct ft_statement *statements;
	size_t statement_count;
	struct ft_waiver *waivers;
	size_t waiver_count;
};

/* The name that is the same in every book: from asset, opening time and technician. */
void ft_visit_key(const char *asset, int64_t opened_us, const char *technician, char ret[FT_VISIT_KEY_TEXT]);

/* Where the next piece of this kind belongs when nobody says: the first audit to keep, later ones to
 * prove, photographs to keep until something else than keeping was done, and so on. */
enum ft_stage ft_visit_stage_for(const struct ft_visit *v, enum ft_evidence_kind kind);

/* The audit of before (the first of stage keep, else the first) and of after (the last that is
 * another one); -1 when there is none. Indices into v->evidence. */
void ft_visit_audits(const struct ft_visit *v, int *ret_before, int *ret_after);

/* Does the judgement read the bytes of this kind? */
bool ft_evidence_judged(enum ft_evidence_kind k);

/* ---- captures of the bus ---- */

/* One capture of the visit, read and judged by itself. */
struct ft_visit_capture {
	int evidence;           /* index into v->evidence */
	const char *unreadable; /* why it could not be read; NULL: the rest holds */
	enum ft_verdict verdict;
	struct ft_bus_report report;
	struct ft_findings findings;
	struct ft_account account; /* what it saw of the sales; it may have run for a part of the time only */
};

/* Reads every capture of the visit, in the order of adding. `decimals` are the machine's. Fails without memory, and
 * with FT_E_INTERNAL where the bytes were not loaded. */
enum ft_status ft_visit_captures(const struct ft_visit *v, int decimals, struct ft_arena *a,
                                 struct ft_visit_capture **ret, size_t *ret_count, struct ft_error *e);

/* The one that counts: the last that could be read; NULL: there is none. */
const struct ft_visit_capture *ft_visit_capture_last(const struct ft_visit_capture *list, size_t count);

/* ---- door events of an audit ---- */

struct ft_summary;

/* The openings and closings of the cabinet door in an audit's log of events (codes EGS and EGT), in order of time. The
 * machine's clock is taken as local time at `offset_minutes`. *ret_resolution_s is 60 where no time has seconds. */
enum ft_status ft_door_of_audit(const struct ft_summary *s, int offset_minutes, struct ft_arena *a,
                                struct ft_door_event **ret, size_t *ret_count, int *ret_resolution_s,
                                struct ft_error *e);

/* ---- judgement ---- */

enum ft_stands { FT_STANDS_SHOWN, FT_STANDS_CONTRADICTED, FT_STANDS_OPEN, FT_STANDS_WAIVED, FT_STANDS_COUNT };

const char *ft_stands_word(enum ft_stands s); /* shown contradicted open waived */

struct ft_claim_state {
	const struct ft_claim *claim;
	enum ft_claim_id id;
	enum ft_stands stands;
	const char *because; /* one or two plain sentences: what shows it, what is against it, what is missing */
	const char *todo;    /* what to do next; NULL when nothing is */
	const int *evidence; /* indices into v->evidence that it rests on */
	size_t evidence_count;
	const int *findings; /* indices into ft_judgement.findings.list */
	size_t finding_count;
	const struct ft_statement *said; /* the last words for it, NULL for none */
	const struct ft_waiver *waiver;  /* NULL when not waived */
};

struct ft_judgement {
	enum ft_verdict verdict; /* contradicted when a claim is; open when one that is due at closing is; else shown */
	struct ft_claim_state *claims; /* those that apply, in the order of the table */
	size_t claim_count;
	size_t stands[FT_STANDS_COUNT];
	size_t open_to_close;             /* open claims that are due at closing */
	const struct ft_claim **left_out; /* those that do not apply */
	size_t left_out_count;
	struct ft_findings findings;
	/* Evidence index of the audit the proof of sales begins at: the audit of before, or one read after mending,
	 * and then only lists added after it count. -1: there was nothing to prove. */
	int proved_from;
	bool compared; /* the audits of before and after were compared: both were read and neither is cut */
	/* Captures of the bus, read once: see ft_visit_captures. */
	struct ft_visit_capture *captures;
	size_t capture_count;
	const struct ft_account *sold_by_bus; /* no list was written; these sales of a capture were proved; else NULL */
	const struct ft_claim_state *next;    /* what to do next, NULL when nothing is left */
};

/* Judges all claims of a visit. Evidence of a kind the judgement reads (ft_evidence_judged) must have its
 * bytes; FT_E_INTERNAL otherwise. Fails without memory only, besides. Evidence that cannot be read is a
 * finding, not a failure. */
enum ft_status ft_visit_judge(const struct ft_visit *v, struct ft_arena *a, struct ft_judgement *ret,
                              struct ft_error *e);

/* How one stage stands: the worst of its claims, contradicted first, then open, waived, shown. */
enum ft_stands ft_judgement_stage(const struct ft_judgement *j, enum ft_stage s);

/* "3 contradicted, 18 open, 4 of them for the weeks after" into the arena; "everything shown" when it is. */
const char *ft_judgement_words(const struct ft_judgement *j, struct ft_arena *a);

/* The keys `visit` (an object) and `claims` of the contract, inside an open object. */
void ft_visit_json(struct ft_json *j, const struct ft_visit *v);
void ft_claims_json(struct ft_json *j, const struct ft_visit *v, const struct ft_judgement *g);

#endif
