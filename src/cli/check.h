/* SPDX-License-Identifier: Apache-2.0 */
/* Checking one audit after the other, by one hand or several, with memory that does not grow. */
#ifndef FETTLE_CLI_CHECK_H
#define FETTLE_CLI_CHECK_H

#include "cli.h"
#include "fettle/audit.h"

/* What was seen over all inputs. */
struct check_tally {
	uint64_t shown, open, contradicted, unreadable;
	uint64_t bytes;
	int exit_code; /* the highest that occurred */
};

/* One hand: everything it needs for one audit, used again for the next. */
struct check_hand {
	bool json, details; /* details: say it even when all is well */
	int columns;
	ft_crc16_fn *crc16;
	struct ft_arena arena;
	struct ft_facts facts;
	struct ft_buf out;    /* what to print, in order */
	struct ft_buf bytes;  /* the file under way */
	struct ft_buf folder; /* of the file before, with its last slash */
	int folder_fd;        /* -1: not opened */
	struct check_tally tally;
};

void check_hand_init(struct check_hand *h, const struct cli *c, bool details, ft_crc16_fn *crc16);
void check_hand_done(struct check_hand *h);

/* Checks bytes that came from `name` and writes the result into h->out. */
void check_bytes(struct check_hand *h, const char *name, struct ft_slice bytes);

/* Reads and checks one file. */
void check_file(struct check_hand *h, const char *path);

/* An input that could not be read: `sentence` says why; `code` is 3 or 5. */
void check_unreadable(struct check_hand *h, const char *name, const char *sentence, int code);

void check_tally_add(struct check_tally *sum, const struct check_tally *part);

/* Hands out inputs to `jobs` hands and prints results in the order of the inputs. */
struct check_crew;
struct check_crew *check_crew_new(struct cli *c, int jobs, bool details);
/* Takes over: `path` is copied; `bytes` too when it has p (else the file is read by a hand). */
bool check_crew_give(struct check_crew *w, const char *path, struct ft_slice bytes);
/* An input that failed before its bytes were known. */
bool check_crew_give_error(struct check_crew *w, const char *path, const char *sentence, int code);
/* Waits for all, prints the rest, fills the tally and frees the crew. False when output failed. */
bool check_crew_done(struct check_crew *w, struct check_tally *ret);

#endif
