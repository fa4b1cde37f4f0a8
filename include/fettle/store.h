/* SPDX-License-Identifier: Apache-2.0 */
/* The book: every visit of one technician or one office, in one SQLite file, or, where an office outgrows one file, on
 * a PostgreSQL server (a path that begins with postgresql://).
 *
 * Each call that changes something is one transaction: all of it is in the book or nothing, also when
 * the power goes. Evidence is kept once under its hash however often it is added, and its hash is
 * computed again whenever it is read. Many processes may use one book at once. Failures are
 * FT_E_STORE with one sentence (docs/book.md lists them), what is asked wrongly FT_E_USAGE. */
#ifndef FETTLE_STORE_H
#define FETTLE_STORE_H

#include "fettle/visit.h"

struct ft_book;

enum ft_book_mode {
	FT_BOOK_READ,  /* must exist; a book of an older version is brought up to date all the same */
	FT_BOOK_WRITE, /* made, with its folder, when it does not exist */
};

/* Opens, brings up to date and looks over a book (quick check). The caller owns *ret. */
enum ft_status ft_book_open(const char *path, enum ft_book_mode mode, struct ft_book **ret, struct ft_error *e);
struct ft_book *ft_book_free(struct ft_book *b); /* takes NULL, returns NULL */

/* Its path, or its address without a password: what may be shown. */
const char *ft_book_name(const struct ft_book *b);

/* How long to wait for another program that holds the book: 10 s unless said otherwise. */
void ft_book_patience(struct ft_book *b, int milliseconds);

/* ---- visits ---- */

/* Opens a visit from v->asset, site, machine_serial, unit, sim, technician, without, opened_us,
 * opened_offset; gives its id into the arena. An asset that has an open visit may get another. */
enum ft_status ft_book_visit_open(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a, const char **ret_id,
                                  struct ft_error *e);

/* Changes the fields that are not NULL; `without` NULL leaves it. Refuses on a closed visit. */
struct ft_visit_change {
	const char *site, *machine_serial, *unit, *sim, *technician;
	const unsigned *without;
	int64_t at_us;
};
enum ft_status ft_book_visit_set(struct ft_book *b, const char *id, const struct ft_visit_change *change,
                                 struct ft_error *e);

/* Id of the visit named by its id (any case), or by its asset when one visit of it is open, or the
 * only one when none is. FT_E_USAGE with the choices otherwise. */
enum ft_status ft_book_visit_find(struct ft_book *b, const char *name, struct ft_arena *a, const char **ret_id,
                                  struct ft_error *e);

enum ft_book_load {
	FT_LOAD_LIST,   /* evidence without bytes */
	FT_LOAD_JUDGED, /* with the bytes of the kinds that the judgement reads */
	FT_LOAD_ALL,    /* with all bytes */
};

/* Loads a visit whole, as it stood at one moment, into the arena. */
enum ft_status ft_book_visit_load(struct ft_book *b, const char *id, enum ft_book_load load, struct ft_arena *a,
                                  struct ft_visit *ret, struct ft_error *e);

/* All visits, newest first, without evidence, statements and waivers. `since_us` on the opening time or
 * while open; FT_ABSENT: all. */
enum ft_status ft_book_visit_list(struct ft_book *b, int64_t since_us, struct ft_arena *a, struct ft_visit **ret,
                                  size_t *ret_count, struct ft_error *e);

/* Adds pieces of evidence (kind, stage, name, bytes, added_us, added_offset; hash and size are
 * computed here) to an open visit, all in one transaction. `ret_known[i]` (may be NULL) tells that
 * the visit had these bytes already: then nothing is added for them. Numbers are filled in. */
enum ft_status ft_book_evidence_add(struct ft_book *b, const char *id, struct ft_evidence *list, size_t count,
                                    bool *ret_known, struct ft_error *e);

/* Files a piece of an open visit, named by its number, as another kind or under another stage: it went in under the
 * wrong one. */
enum ft_status ft_book_evidence_refile(struct ft_book *b, const char *id, int64_t number, enum ft_evidence_kind kind,
                                       enum ft_stage stage, int64_t at_us, struct ft_error *e);

/* Takes a piece that was added by mistake out of an open visit: x->piece.number says which, the book knows the rest of
 * the piece. Its number is not used again. */
enum ft_status ft_book_evidence_drop(struct ft_book *b, const char *id, const struct ft_taken_out *x,
                                     struct ft_error *e);

/* Bytes of one content by its hash, checked against it. */
enum ft_status ft_book_content(struct ft_book *b, const struct ft_hash *hash, struct ft_arena *a, struct ft_slice *ret,
                               struct ft_error *e);

/* Statements and waivers are only ever added, to an open visit. A word for a claim that is due later may
 * be added to a closed visit too. */
enum ft_status ft_book_say(struct ft_book *b, const char *id, const struct ft_statement *s, struct ft_error *e);
enum ft_status ft_book_waive(struct ft_book *b, const char *id, const struct ft_waiver *w, struct ft_error *e);
enum ft_status ft_book_visit_close(struct ft_book *b, const char *id, int64_t at_us, int at_offset, struct ft_error *e);

/* ---- packages: what left for the office, and what came ---- */

struct ft_package {
	struct ft_hash hash;   /* of the package file */
	const char *signed_by; /* public key in hex, NULL: not signed */
	bool sent;             /* true: packed from this book; false: received into it */
	int64_t at_us;
	int at_offset;
};

/* Writes down a package made from or received with a visit that is in the book. Twice is no harm. */
enum ft_status ft_book_package_add(struct ft_book *b, const char *id, const struct ft_package *p, struct ft_error *e);
enum ft_status ft_book_package_list(struct ft_book *b, const char *id, struct ft_arena *a, struct ft_package **ret,
                                    size_t *ret_count, struct ft_error *e);

/* What in the book speaks against a visit that is to be filed. */
enum ft_conflict_kind {
	FT_CONFLICT_UNIT_ELSEWHERE, /* the latest visit with this unit is at another asset */
	FT_CONFLICT_SIM_ELSEWHERE,  /* the same of the SIM */
	FT_CONFLICT_SERIAL_DIFFERS, /* the asset was seen with another machine serial */
	FT_CONFLICT_OLDER,          /* the book holds this visit as it stood later */
	FT_CONFLICT_LATER_VISIT,    /* the book holds a later visit of the asset */
};
struct ft_conflict {
	enum ft_conflict_kind kind;
	const char *sentence;
	const char *visit; /* id in this book */
};
const char *
ft_conflict_word(enum ft_conflict_kind k); /* unit-elsewhere sim-elsewhere serial-differs older later-visit */
enum ft_status ft_book_conflicts(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a,
                                 struct ft_conflict **ret, size_t *ret_count, struct ft_error *e);

enum ft_filed { FT_FILED_NEW, FT_FILED_UPDATED, FT_FILED_KNOWN, FT_FILED_OLDER };

/* Files a whole visit (all bytes loaded) that came from another book, with the package it came in (may
 * be NULL), in one transaction. The visit is known again by its key: the same state twice changes
 * nothing (KNOWN), a later state replaces the earlier (UPDATED), an earlier one changes nothing
 * (OLDER). When its id is taken by another visit it gets the next free number of the asset; `ret_id`
 * is the id it has here. */
enum ft_status ft_book_file(struct ft_book *b, const struct ft_visit *v, const struct ft_package *p, struct ft_arena *a,
                            const char **ret_id, enum ft_filed *ret_filed, struct ft_error *e);

/* ---- drafts: what stands half-written in a form ---- */

#define FT_DRAFT_KEY_MAX   120U         /* ours: a visit's id and the name of a form */
#define FT_DRAFT_BYTES_MAX (256U << 10) /* ours: a grid of sixty selections is 10 kB */
#define FT_DRAFTS_MAX      10000U       /* ours: in one book */

struct ft_draft {
	const char *key;
	int64_t version; /* from 1, one more with every writing; a draft that was dropped and begun anew goes on from 1 */
	struct ft_slice text; /* p NULL in lists */
	int64_t bytes;
	int64_t changed_us;
	int changed_offset;
};

/* 1 to FT_DRAFT_KEY_MAX of A-Z a-z 0-9 . _ : ~ - */
bool ft_draft_key_good(struct ft_slice key);

/* ret->version is 0 when there is none. */
enum ft_status ft_book_draft_get(struct ft_book *b, const char *key, struct ft_arena *a, struct ft_draft *ret,
                                 struct ft_error *e);

/* Writes d->text (UTF-8) under d->key when the version that stands is `on` (0: none). `ret_stands` is what
 * stands afterwards, also when *ret_written is false because somebody else was quicker; its text is not loaded
 * when it was written. */
enum ft_status ft_book_draft_put(struct ft_book *b, const struct ft_draft *d, int64_t on, struct ft_arena *a,
                                 struct ft_draft *ret_stands, bool *ret_written, struct ft_error *e);

/* Drops it when the version that stands is `on`; FT_ABSENT: whichever. None there is no failure. */
enum ft_status ft_book_draft_drop(struct ft_book *b, const char *key, int64_t on, struct ft_arena *a,
                                  struct ft_draft *ret_stands, bool *ret_dropped, struct ft_error *e);

/* Those whose key begins so, by key, without text. */
enum ft_status ft_book_draft_list(struct ft_book *b, const char *prefix, struct ft_arena *a, struct ft_draft **ret,
                                  size_t *ret_count, struct ft_error *e);

/* ---- browsers that were paired with the bench ---- */

#define FT_BROWSERS_MAX 64U /* ours: the longest unseen one makes room */

struct ft_browser {
	int64_t number; /* never used twice */
	const char *name;
	struct ft_hash cookie; /* the hash of the cookie, which itself is kept nowhere */
	int64_t paired_us, seen_us;
};

enum ft_status ft_book_browser_add(struct ft_book *b, struct ft_browser *x, struct ft_error *e); /* fills number */
/* ret->number is 0 when no browser has this cookie. */
enum ft_status ft_book_browser_by(struct ft_book *b, const struct ft_hash *cookie, struct ft_arena *a,
                                  struct ft_browser *ret, struct ft_error *e);
enum ft_status ft_book_browser_seen(struct ft_book *b, int64_t number, int64_t at_us, struct ft_error *e);
enum ft_status ft_book_browser_drop(struct ft_book *b, int64_t number, bool *ret_was, struct ft_error *e);
enum ft_status ft_book_browser_list(struct ft_book *b, struct ft_arena *a, struct ft_browser **ret, size_t *ret_count,
                                    struct ft_error *e);

/* ---- the weeks after (src/watch): what was read, what is open, what is known ---- */

/* A stretch of one machine's reads, as a stream of fettle/watch.h. */
struct ft_watched_part {
	const char *machine;
	int64_t number; /* in the book; 0: new */
	int64_t reads, first_us, newest_us;
	struct ft_slice bytes;
};

/* Files of one folder that were looked at, in a form of the caller's. */
struct ft_watched_files {
	const char *folder;
	struct ft_slice files;
};

struct ft_watched_folder {
	const char *folder;
	int64_t mtime_ns;
};

struct ft_watched_exception {
	const char *machine, *asset, *rule, *selection;
	int64_t since_us, seen_us, ended_us; /* ended FT_ABSENT: it lasts */
	bool open, acknowledged;
	int64_t money, decimals, sure_ppm;
	const char *seen, *expected, *before, *after;
};

struct ft_watched_word {
	const char *machine, *rule, *selection; /* selection NULL: the whole machine */
	int64_t since_us, money;                /* as they stood when it was said */
	const char *because, *by;
	int64_t at_us;
	int at_offset;
};

/* What was made of a machine's reads, in a form of the caller's. */
struct ft_watched_judged {
	const char *machine;
	struct ft_slice bytes;
};

/* Everything one run learned, in one transaction: all of it is in the book or nothing. What was claimed is free again
 * behind it, whether it came in or not. */
struct ft_watched {
	const struct ft_watched_part *parts; /* those with a number are dropped, the others added */
	size_t part_count;
	const struct ft_watched_files *files;
	size_t file_count;
	const struct ft_watched_folder *folders;
	size_t folder_count;
	const struct ft_watched_exception *exceptions; /* replace all that stood; NULL: they stay */
	size_t exception_count;
	int64_t reads; /* of the book, that they came of */
	const struct ft_watched_word *words;
	size_t word_count;
	const char *round; /* in which the machines below were judged */
	const struct ft_watched_judged *judged;
	size_t judged_count;
};
enum ft_status ft_book_watched_put(struct ft_book *b, const struct ft_watched *w, struct ft_error *e);

/* Keys of all machines of which the book holds reads, and their newest read (0: it holds none). */
enum ft_status ft_book_watched_machines(struct ft_book *b, struct ft_arena *a, const char ***ret, size_t *ret_count,
                                        int64_t *ret_newest_us, struct ft_error *e);
/* One machine's parts that hold a read of `since_us` or later, in the order put. */
enum ft_status ft_book_watched_parts(struct ft_book *b, const char *machine, int64_t since_us, struct ft_arena *a,
                                     struct ft_watched_part **ret, size_t *ret_count, struct ft_error *e);
enum ft_status ft_book_watched_files(struct ft_book *b, const char *folder, struct ft_arena *a,
                                     struct ft_watched_files **ret, size_t *ret_count, struct ft_error *e);
enum ft_status ft_book_watched_folders(struct ft_book *b, struct ft_arena *a, struct ft_watched_folder **ret,
                                       size_t *ret_count, struct ft_error *e); /* in order of their name */
enum ft_status ft_book_watched_folder(struct ft_book *b, const char *folder, int64_t *ret_mtime_ns,
                                      struct ft_error *e); /* FT_ABSENT: it is not known */
enum ft_status ft_book_watched_words(struct ft_book *b, struct ft_arena *a, struct ft_watched_word **ret,
                                     size_t *ret_count, struct ft_error *e); /* newest first */

/* ---- handovers, to which machines are tied in the weeks after ---- */

/* A visit that was closed, packed or received, with the last audit read at it. */
struct ft_handed_over {
	const char *visit, *asset;
	const char *unit;      /* NULL: nobody wrote it down */
	const char *audit;     /* its name */
	struct ft_slice bytes; /* of the audit */
	int64_t at_us;         /* when it was added */
	int at_offset;
	struct ft_slice weeks; /* the table of the weeks after that is filed with the visit, empty: none yet */
};

/* Calls `each` for every such visit, by the time of opening; what it is given holds during the call only, and the book
 * must not be asked meanwhile. False from it ends with FT_E_MEMORY. */
enum ft_status ft_book_handed_over(struct ft_book *b, bool (*each)(void *to, const struct ft_handed_over *x), void *to,
                                   struct ft_error *e);

/* Files tables of the weeks after with their visits, in one transaction: each takes the place of the one before and is
 * left alone when it says the same. The visit is no later state by it: what the fitter sends still takes its place. */
struct ft_weeks_filed {
	const char *visit;
	struct ft_slice bytes;
};
enum ft_status ft_book_weeks_put(struct ft_book *b, const struct ft_weeks_filed *list, size_t count, int64_t at_us,
                                 int at_offset, struct ft_error *e);

/* ---- several watchers of one book ----
 *
 * In a file one watcher is alone. On a server they share the work: what one is at is claimed, a row that stays locked
 * until what came of it is written (ft_book_watched_put), or until its program ends, however that comes: the server
 * lets go of it by itself. Nobody waits for anybody while holding a claim. */

/* Takes the place of the one watcher of a file until the book is freed; *ret_mine false: another has it. With `wait`,
 * waits for it. Always true on a server. */
enum ft_status ft_book_watch_alone(struct ft_book *b, bool wait, bool *ret_mine, struct ft_error *e);
bool ft_book_shared(const struct ft_book *b);

enum { FT_CLAIM_SLICES = 16, FT_CLAIM_ALL = (1 << FT_CLAIM_SLICES) - 1 };

/* Claims the files of a folder: all of them, or of a `wide` one the next slice that nobody holds and that is not among
 * `done`, a bit each. With `wait`, waits for whoever holds it; without, *ret is 0 then. */
enum ft_status ft_book_claim_files(struct ft_book *b, const char *folder, bool wide, unsigned done, bool wait,
                                   unsigned *ret, struct ft_error *e);

/* What machines are judged by: all is the same while no reads came and no handover. */
struct ft_watched_round {
	int64_t reads, visits_us, packages; /* FT_ABSENT: none yet */
};
enum ft_status ft_book_watched_round(struct ft_book *b, struct ft_watched_round *ret, struct ft_error *e);
/* Names all machines with reads to those who claim. */
enum ft_status ft_book_claim_begin(struct ft_book *b, struct ft_error *e);
/* Claims machines that were not judged in this round and that nobody holds, at most `most` of them, behind the machine
 * `after`, in order of their key. */
enum ft_status ft_book_claim_machines(struct ft_book *b, const char *round, const char *after, int most,
                                      struct ft_arena *a, const char ***ret, size_t *ret_count, struct ft_error *e);
/* Waits until nobody else holds the machine, and claims it; *ret_judged: it was judged in this round meanwhile. */
enum ft_status ft_book_claim_machine(struct ft_book *b, const char *round, const char *machine, bool *ret_judged,
                                     struct ft_error *e);
/* Gives up what is claimed. */
enum ft_status ft_book_claims_drop(struct ft_book *b, struct ft_error *e);
/* What was made of the machines in this round, in order of their key. */
enum ft_status ft_book_watched_judged(struct ft_book *b, const char *round, struct ft_arena *a,
                                      struct ft_watched_judged **ret, size_t *ret_count, struct ft_error *e);

/* ---- the book itself ---- */

/* A number that changes when another connection has changed the book. */
enum ft_status ft_book_turn(struct ft_book *b, int64_t *ret, struct ft_error *e);

/* Ids of visits changed at `since_us` or later, and the latest change of all (0: no visit yet). */
enum ft_status ft_book_visits_changed(struct ft_book *b, int64_t since_us, struct ft_arena *a, const char ***ret,
                                      size_t *ret_count, int64_t *ret_latest_us, struct ft_error *e);

/* The whole integrity check: pages, references, and the hash of every piece of evidence. */
struct ft_book_state {
	int version;
	int64_t visits, open_visits, contents, bytes;
};
enum ft_status ft_book_check(struct ft_book *b, struct ft_arena *a, struct ft_book_state *ret, struct ft_error *e);

/* One table of a book: rows, and a hash over them all that does not depend on their order. */
struct ft_book_table {
	const char *name;
	int64_t rows;
	struct ft_hash hash;
};

/* Copies everything in one book into another that holds nothing yet, whatever either lies in, reads it again there and
 * compares: all of it is there, alike, or nothing is. FT_E_USAGE when `to` holds something. */
enum ft_status ft_book_copy(struct ft_book *from, struct ft_book *to, struct ft_arena *a, struct ft_book_table **ret,
                            size_t *ret_count, struct ft_error *e);

/* Copies the book while it is in use into a new file, whole or not at all. */
enum ft_status ft_book_backup(struct ft_book *b, const char *path, struct ft_error *e);

#endif
