/* SPDX-License-Identifier: Apache-2.0 */
/* What every command of the program shares: its table row, its options, its documents. */
#ifndef FETTLE_CLI_H
#define FETTLE_CLI_H

#include <stdio.h>

#include "fettle/buf.h"
#include "fettle/finding.h"

struct cli_option {
	const char *name;     /* without the dashes */
	const char *argument; /* "FILE", or NULL for a flag */
	const char *help;
};

struct cli;

/* A row of a list that a command's help ends with. */
struct cli_row {
	const char *heading; /* equal in all rows of one list */
	const char *name;    /* what is typed, */
	const char *behind;  /* and what may follow it, "" for nothing */
	const char *does;
};

/* One row feeds dispatch, --help and the man page. */
struct cli_verb {
	const char *name;
	const char *arguments;                         /* "PORT -o FILE"; " | " between the ways of use */
	const char *summary;                           /* one line */
	const char *about;                             /* paragraphs separated by blank lines */
	const struct cli_option *options;              /* ends with a row of NULL */
	const char *examples;                          /* lines "$ fettle ..." and what they do; NULL for none */
	bool (*rows)(size_t nth, struct cli_row *ret); /* lists of the help, false behind the last; or NULL */
	int least, most;                               /* positional arguments; most -1: any number */
	int (*run)(struct cli *c);                     /* returns the exit code */
};

enum { CLI_OPTIONS_MAX = 64 };

/* One run of the program. */
struct cli {
	const struct cli_verb *verb;
	const char *book; /* --book FILE, or NULL: see cli_book_path */
	bool json;
	bool colour; /* standard output is a terminal and NO_COLOR is not set */
	int columns; /* of the terminal, 80 elsewhere */
	int count;   /* positional arguments */
	char **arguments;
	struct {
		const struct cli_option *option;
		const char *value;
	} given[CLI_OPTIONS_MAX];
	int given_count;
	struct ft_arena arena; /* lives as long as the command */
	struct ft_error error;
};

extern const struct cli_verb *const cli_verbs[]; /* ends with NULL, in the order of the help page */

/* Value of an option, the last one given, or NULL. A flag that was given has the value "". */
const char *cli_value(const struct cli *c, const char *name);
bool cli_flag(const struct cli *c, const char *name);
/* The nth value (from 0) of an option that may be given several times, or NULL. */
const char *cli_value_nth(const struct cli *c, const char *name, int nth);

/* A whole number within bounds, or `otherwise` when not given. On a bad value fills c->error and
 * returns false. */
bool cli_number(struct cli *c, const char *name, int64_t least, int64_t most, int64_t otherwise, int64_t *ret);

/* Prints c->error on standard error (and as a JSON document with --json) and returns its exit code. */
int cli_failed(struct cli *c);

/* One or two sentences for people on standard output, wrapped at the terminal's width and ended by a line end. */
void cli_say(const struct cli *c, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Shorthand: records a wrong use and returns 2. */
int cli_usage(struct cli *c, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Starts the JSON document of a command: {"command":..,"verdict":..,"findings":[..] and leaves the
 * object open; cli_document_end closes it and prints it as one line. `f` may be NULL. */
void cli_document(struct cli *c, struct ft_json *j, struct ft_buf *out, enum ft_verdict verdict,
                  const struct ft_findings *f);
int cli_document_end(struct cli *c, struct ft_json *j);

/* All findings for people, worst first, on standard output. */
void cli_print_findings(const struct cli *c, const struct ft_findings *f);

/* 0 or 1 for a verdict. */
int cli_exit(enum ft_verdict v);

/* Writes `out` to standard output and empties it; false (with c->error) when that fails. */
bool cli_flush(struct cli *c, struct ft_buf *out);

/* Reads a whole file ("-": standard input) into the arena, at most `most` bytes. `what` names it in
 * messages ("the audit"). Missing file, folder, no permission, too large: one sentence, status 3. */
enum ft_status cli_read_file(struct cli *c, const char *path, const char *what, size_t most, struct ft_slice *ret);

/* A large table piece by piece: `take` gets whole lines (a line end inside quotes ends none), some MB at once. Fails as
 * cli_read_file, or as `take` did. An empty file is one piece of nothing. */
typedef enum ft_status cli_take_lines(void *to, struct ft_slice lines, struct ft_error *e);
enum ft_status cli_read_lines(struct cli *c, const char *path, const char *what, cli_take_lines *take, void *to);

/* Writes a whole file or nothing ("-": standard output): a new file beside it is filled, flushed to
 * the disk and renamed. Disk full, no permission, folder: one sentence, status 5. */
enum ft_status cli_write_file(struct cli *c, const char *path, struct ft_slice bytes);

/* The same for what cannot be made anew, such as the read of a machine: other bytes that the file held get the next
 * free of the names FILE.1.dts, FILE.2.dts..., and a sentence on standard error says so. */
enum ft_status cli_write_evidence(struct cli *c, const char *path, struct ft_slice bytes);

/* Whether cli_write_file could work there, as far as can be told: what would fail at the end of a long work is found
 * before its beginning. False with c->error. */
bool cli_can_write(struct cli *c, const char *path);

/* The book: --book, else $FETTLE_BOOK, else $XDG_DATA_HOME/fettle/book.sqlite, else
 * ~/.local/share/fettle/book.sqlite. In the arena. */
const char *cli_book_path(struct cli *c);

/* Wall clock in microseconds since 1970 and the local offset in minutes: the only place that asks. */
int64_t cli_now(int *ret_offset_minutes);
int64_t cli_monotonic(void);

#endif
