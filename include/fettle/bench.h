/* SPDX-License-Identifier: Apache-2.0 */
/* The bench: the pages and their interface over HTTP (docs/bench.md says what it answers).
 *
 * One thread, one loop. What is computed is computed by children that run this same program with --json, so
 * bytes of others are read by nobody who has something to lose. Failures are FT_E_LINE for the address and
 * FT_E_STORE for the book and the disk. */
#ifndef FETTLE_BENCH_H
#define FETTLE_BENCH_H

#include <signal.h>

#include "fettle/error.h"
#include "fettle/slice.h"

#define FT_BENCH_PORT 7437 /* ours: unassigned, in the range of users */

/* How a browser gets in. Lent for the call. */
struct ft_bench_door {
	const char *url;         /* "http://127.0.0.1:7437/" */
	const char *code;        /* "ABCD-2345", serves once; NULL: loopback, nobody is asked */
	const char *address;     /* with the code behind #, as the QR code says it; NULL with `code` */
	const unsigned char *qr; /* qr_side rows of qr_side modules, bit 0 of each: dark; NULL with `code` */
	int qr_side;
	bool tables; /* the office's tables have a folder */
	bool anew;   /* the last code was used up: this is the next one */
};

struct ft_bench_settings {
	const char *book;    /* made when it does not exist */
	const char *program; /* what children run, an absolute path; NULL: this executable */
	const char *listen;  /* ADDRESS[:PORT], [ADDRESS]:PORT; NULL: loopback */
	const char *audits;  /* folder whose audits are watched; NULL: none */
	const char *tables;  /* folder of the office's tables; NULL: beside the book where that is a file */
	int port;            /* where `listen` names none; 0: any that is free */
	void *context;
	void (*door)(void *context, const struct ft_bench_door *d); /* called when it listens, and with each new code */
	const volatile sig_atomic_t *stop;                          /* ends it when it becomes true */
	const sigset_t *mask;                                       /* signals while waiting; NULL: as they are */
};

/* Serves until *stop. Ends its children before it returns. */
enum ft_status ft_bench_run(const struct ft_bench_settings *s, struct ft_error *e);

#endif
