/* SPDX-License-Identifier: Apache-2.0 */
/* How a function says that it failed: a status and one sentence a fitter can act on. */
#ifndef FETTLE_ERROR_H
#define FETTLE_ERROR_H

#include "fettle/limits.h"

/* The numbers 0 to 5 are the exit codes of the program (docs/exit-codes in README). */
enum ft_status {
	FT_OK = 0,
	FT_E_USAGE = 2,    /* asked for wrongly */
	FT_E_INPUT = 3,    /* the input cannot be read or is not what it claims */
	FT_E_LINE = 4,     /* the line or port failed */
	FT_E_STORE = 5,    /* the book or disk failed */
	FT_E_MEMORY = 6,   /* no memory; leaves the program as 5 */
	FT_E_INTERNAL = 7, /* our own mistake; leaves the program as 5 */
};

/* Filled by whoever fails first; later failures on the same struct change nothing, so what is
 * shown is the cause and not its echo. Zero-initialised means no error. */
struct ft_error {
	enum ft_status status;
	char text[FT_TEXT_MAX]; /* UTF-8, one sentence: what was being done, to what, what happened, what to try */
};

/* Records the first failure in `e` (may be NULL) and returns `status`. printf-style. */
enum ft_status ft_fail(struct ft_error *e, enum ft_status status, const char *format, ...)
	__attribute__((format(printf, 3, 4)));

/* Shorthand for running out of memory while doing `what` ("reading the audit"). */
enum ft_status ft_fail_memory(struct ft_error *e, const char *what);

/* The process exit code, 0 to 5, for a status. */
int ft_exit_code(enum ft_status status);

#endif
