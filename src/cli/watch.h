/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the command watch: the files of a fleet go in, the reads of its machines come out. */
#ifndef FETTLE_CLI_WATCH_H
#define FETTLE_CLI_WATCH_H

#include "cli.h"
#include "fettle/hash.h"
#include "fettle/store.h"
#include "fettle/weeks.h"

/* ---- gathering: files are read by several hands and handed on one after the other, in the order found ---- */

struct watch_found {
	const char *path; /* below the folder that is watched */
	int64_t size, mtime_ns;
	uint64_t content;      /* of the bytes, 0: the file could not be read */
	struct ft_slice reads; /* a stream of what was extracted, empty when there is no audit in it */
};

/* Called in the one thread that gives. */
struct watch_taker {
	void *to;
	bool (*known)(void *to, const char *path, int64_t size, int64_t mtime_ns); /* looked at before, and unchanged */
	bool (*folder_known)(void *to, const char *path, int64_t mtime_ns);        /* nothing in it was added or renamed */
	bool (*take)(void *to, const struct watch_found *f);                       /* false ends it */
	/* Asked before the files of a folder (so many, some perhaps folders) or an archive are read: which slices of them
	 * shall be, beside those that are done; and so again until none is left. */
	unsigned (*turn)(void *to, const char *path, size_t files, unsigned done);
	bool (*due)(void *to); /* all that was read is to be handed on before the next turn */
};

/* A folder's files are read in slices, so that several may share a large one. */
enum { WATCH_SLICES = 16, WATCH_ALL = (1 << WATCH_SLICES) - 1 };
unsigned watch_slice(const char *name);

enum { WATCH_NAMED = 3, WATCH_TABLES = 4 };

struct watch_tally {
	uint64_t seen, read, bytes, unreadable, without_audit;
	char names[WATCH_NAMED][200]; /* the first of those that are unreadable or hold no audit; "" */
};

/* A table beside the audits, and its rows that name no machine of the fleet. */
struct watch_table {
	const char *path; /* NULL: was not given */
	struct ft_strangers strangers;
};

/* Goes through a folder or an archive. False with c->error. */
bool watch_gather(struct cli *c, const char *root, int jobs, const struct watch_taker *t, struct watch_tally *ret);

/* ---- the fleet ---- */

/* A visit in the book that the machine was handed over with. */
struct watch_handover {
	const char *visit, *key;   /* key: of the machine */
	struct ft_watch_read read; /* its last audit */
	struct ft_baseline base;
	struct ft_weeks *before; /* what was filed of the weeks after so far; NULL: nothing */
};

struct watch_machine {
	char *key;
	const struct watch_handover *handover; /* NULL: it is tied to none */
	struct ft_stream stream;               /* what the book does not hold yet */
	int64_t first_us, newest_us;           /* arrivals in it */
	struct ft_watched_part *closed; /* of other months, where a stretch is to hold one month's; bytes are owned */
	size_t closed_count;
	size_t part_count; /* of its reads in the book, when they were last fetched */
};

struct watch_memory;

struct watch_runs {
	struct ft_name_run *list;
	size_t count, room;
};

struct watch_fleet {
	struct cli *c;
	struct watch_memory *memory;     /* what the book remembers; NULL: nothing is kept */
	bool by_months;                  /* a stretch of reads holds those of one month, as far as they come in order */
	int64_t since_us;                /* what is older is left out */
	struct watch_machine **machines; /* in order of their key once sorted */
	size_t count, room;
	size_t *slots; /* hash table of index + 1 */
	size_t slot_count;
	int64_t newest_us;
	struct ft_arena keys, handovers;
	const struct watch_handover **silent; /* of machines of which nothing has come, each the latest, by key */
	size_t silent_count, silent_room;
	/* what came of it */
	struct ft_watch_result *results;
	size_t result_count;
	struct ft_arena arena; /* of the results */
	struct ft_cash cash;
	bool counted;
	struct watch_table tables[WATCH_TABLES]; /* in the order of the options */
	const struct ft_watch_result *asked;     /* the machine of --asset, NULL: none, with its reads in order */
	struct ft_watch_read *reads;
	size_t read_count;
};

uint64_t watch_hash(const char *p, size_t n);

/* The machine of a key, made when it is new; NULL without memory. */
struct watch_machine *watch_machine_of(struct watch_fleet *f, const char *key);
/* The same, NULL when there is none; until the fleet is judged. */
struct watch_machine *watch_machine_find(const struct watch_fleet *f, const char *key);
/* The machine a result is of, once the fleet is judged. */
struct watch_machine *watch_machine_judged(const struct watch_fleet *f, const struct ft_watch_result *r);
/* All reads of a machine not older than asked for: those of the book, then those that are new. Into the arena. */
enum ft_status watch_machine_reads(const struct watch_fleet *f, struct watch_machine *m, struct ft_arena *a,
                                   struct ft_watch_read **ret, size_t *ret_count);
bool watch_same_month(int64_t a_us, int64_t b_us);
void watch_machine_written(struct watch_machine *m); /* nothing of it is new any more */
/* Adds the reads of a file to their machines. */
bool watch_fleet_add(struct watch_fleet *f, struct ft_slice reads);
/* Judges one machine into `a`; *ret_any false: nothing of it is of this time. Its runs are appended. */
enum ft_status watch_machine_judge(struct watch_fleet *f, struct watch_machine *m, int64_t now_us,
                                   struct ft_arena *scratch, struct ft_arena *a, struct ft_watch_result *ret,
                                   struct watch_runs *runs, bool *ret_any);
/* Judges every machine up to `now_us`; reads before ->since_us are left out. */
enum ft_status watch_fleet_judge(struct watch_fleet *f, int64_t now_us);
/* Judges what others do not, and takes from the book what they made of the rest; ->machines are in order. */
enum ft_status watch_share_judge(struct watch_fleet *f, const struct ft_watched_round *round, int64_t now_us,
                                 struct watch_runs *runs);
void watch_fleet_done(struct watch_fleet *f);

/* ---- what the book remembers ---- */

/* Names the machines that the book holds reads of to the fleet. NULL with c->error. */
struct watch_memory *watch_memory_open(struct cli *c, struct watch_fleet *f, const char *root);
struct watch_memory *watch_memory_free(struct watch_memory *m); /* takes NULL */
bool watch_memory_known(struct watch_memory *m, const char *path, int64_t size, int64_t mtime_ns);
bool watch_memory_folder(struct watch_memory *m, const char *path, int64_t mtime_ns);
/* Notes a file, and writes everything down every so many. */
bool watch_memory_took(struct watch_memory *m, const struct watch_found *f);
/* The parts of a machine in the book with a read of `since_us` or later. */
enum ft_status watch_memory_parts(struct watch_memory *m, const char *key, int64_t since_us, struct ft_arena *a,
                                  struct ft_watched_part **ret, size_t *ret_count);
/* Marks what is known, adds words for what `c` acknowledges, and writes the rest down. */
bool watch_memory_close(struct watch_memory *m, int64_t now_us);

/* Where several watch at once: which slices of the folder's files, or whether the archive, are ours: see
 * watch_taker. */
unsigned watch_memory_turn(struct watch_memory *m, const char *path, size_t files, unsigned done);
bool watch_memory_due(struct watch_memory *m);
/* True: others were at some of it; what is gathered once more then is that, waited for piece by piece. */
bool watch_memory_waits(struct watch_memory *m);
/* All was gathered: where work is shared, the book has it and the fleet knows all machines. */
bool watch_memory_gathered(struct watch_memory *m);
bool watch_memory_shared(const struct watch_memory *m, struct ft_watched_round *ret);
/* Writes down what was made of the machines that are claimed. */
bool watch_memory_judged(struct watch_memory *m, const char *round, struct watch_machine *const *machines,
                         const struct ft_watched_judged *list, size_t count);

/* Its book, which stays its own. */
struct ft_book *watch_memory_book(struct watch_memory *m);

/* ---- handovers ---- */

/* Ties machines to the visits of a book by what is inside their audits, each to the latest. False with c->error. */
bool watch_handovers_tie(struct watch_fleet *f, struct ft_book *b);
/* The same from the book of the command line, where nothing is to be kept; without a book nothing is tied. */
bool watch_handovers_look(struct watch_fleet *f);
/* Has nothing come of it for so long that somebody should look? */
bool watch_handover_missed(const struct watch_fleet *f, const struct watch_handover *h, int64_t now_us);
/* Files what came of the weeks after with their visits. False with c->error. */
bool watch_handovers_file(struct watch_fleet *f, struct ft_book *b, int64_t now_us);

/* ---- showing ---- */

struct watch_line {
	const struct ft_watch_result *r;
	const struct ft_exception *x;
	double rank;
};

/* Open exceptions of all machines, the most urgent first, in the command's arena. */
struct watch_line *watch_lines(struct watch_fleet *f, int64_t now_us, bool acknowledged, size_t *ret_count);
/* "new list (A. Clerk, 2026-04-30)" of one that is acknowledged, in `a`; "" where nothing is known. */
const char *watch_known_text(const struct ft_exception *x, struct ft_arena *a);
/* Writes the report into every file of --report. */
enum ft_status watch_report(struct watch_fleet *f, int64_t now_us);
/* Takes the reads of the machine of --asset, while they are at hand. False with c->error. */
bool watch_reads_asked(struct watch_fleet *f, int64_t now_us);
/* Prints the documents (one a machine) or the list for people; returns the exit code. */
int watch_show(struct watch_fleet *f, int64_t now_us, bool history, const struct watch_tally *t);

#endif
