/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the command watch: the files of a fleet go in, the reads of its machines come out. */
#ifndef FETTLE_CLI_WATCH_H
#define FETTLE_CLI_WATCH_H

#include "cli.h"
#include "fettle/hash.h"
#include "fettle/watch.h"

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
};

struct watch_tally {
	uint64_t seen, read, bytes, unreadable, without_audit;
};

/* Goes through a folder or an archive. False with c->error. */
bool watch_gather(struct cli *c, const char *root, int jobs, const struct watch_taker *t, struct watch_tally *ret);

/* ---- the fleet ---- */

struct watch_machine {
	char *key;
	struct ft_buf kept; /* streams that are in the book already, each behind its length */
	int64_t *parts;     /* their numbers in the book, as far as they are known */
	size_t part_count, part_room;
	struct ft_stream stream;     /* what came since */
	int64_t first_us, newest_us; /* arrivals in it */
};

struct watch_fleet {
	struct cli *c;
	struct watch_machine **machines; /* in order of their key once sorted */
	size_t count, room;
	size_t *slots; /* hash table of index + 1 */
	size_t slot_count;
	int64_t newest_us;
	struct ft_arena keys;
	/* what came of it */
	struct ft_watch_result *results;
	size_t result_count;
	struct ft_arena arena; /* of the results */
	struct ft_cash cash;
	bool counted;
	const struct ft_watch_result *asked; /* the machine of --asset, NULL: none, with its reads in order */
	struct ft_watch_read *reads;
	size_t read_count;
};

uint64_t watch_hash(const char *p, size_t n);

/* The machine of a key, made when it is new; NULL without memory. */
struct watch_machine *watch_machine_of(struct watch_fleet *f, const char *key);
/* A stream that is in the book under this number; 0: not known. False without memory. */
bool watch_machine_keep(struct watch_machine *m, struct ft_slice stream, int64_t number);
/* All reads of a machine, into the arena. */
enum ft_status watch_machine_reads(const struct watch_machine *m, struct ft_arena *a, struct ft_watch_read **ret,
                                   size_t *ret_count, struct ft_error *e);
/* Adds the reads of a file to their machines. */
bool watch_fleet_add(struct watch_fleet *f, struct ft_slice reads);
/* Judges every machine up to `now_us`; reads before `since_us` are left out. */
enum ft_status watch_fleet_judge(struct watch_fleet *f, int64_t since_us, int64_t now_us);
void watch_fleet_done(struct watch_fleet *f);

/* ---- what the book remembers ---- */

struct watch_memory;
/* Loads what the book holds of a fleet into it. NULL with c->error. */
struct watch_memory *watch_memory_open(struct cli *c, struct watch_fleet *f, const char *root, int64_t horizon_us);
struct watch_memory *watch_memory_free(struct watch_memory *m); /* takes NULL */
bool watch_memory_known(struct watch_memory *m, const char *path, int64_t size, int64_t mtime_ns);
bool watch_memory_folder(struct watch_memory *m, const char *path, int64_t mtime_ns);
/* Notes a file, and writes everything down every so many. */
bool watch_memory_took(struct watch_memory *m, const struct watch_found *f);
/* All was read: the fleet holds again what is to be judged. */
bool watch_memory_fetch(struct watch_memory *m);
/* Marks what is known, adds words for what `c` acknowledges, and writes the rest down. */
bool watch_memory_close(struct watch_memory *m, int64_t now_us);

/* ---- showing ---- */

struct watch_line {
	const struct ft_watch_result *r;
	const struct ft_exception *x;
	double rank;
};

/* Open exceptions of all machines, the most urgent first, in the command's arena. */
struct watch_line *watch_lines(struct watch_fleet *f, int64_t now_us, bool acknowledged, size_t *ret_count);
/* Writes the report into every file of --report. */
enum ft_status watch_report(struct watch_fleet *f, int64_t now_us);
/* Takes the reads of the machine of --asset, while they are at hand. False with c->error. */
bool watch_reads_asked(struct watch_fleet *f, int64_t now_us);
/* Prints the documents (one a machine) or the list for people; returns the exit code. */
int watch_show(struct watch_fleet *f, int64_t now_us, bool history, const struct watch_tally *t);

#endif
