/* SPDX-License-Identifier: Apache-2.0 */
/* A bench on a free port, and asking it: shared by the tests of its interface. */
#ifndef FETTLE_TESTS_BENCH_SERVER_H
#define FETTLE_TESTS_BENCH_SERVER_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <jansson.h>
#include <sys/types.h>

#include "http.h"

extern const char *fettle;                   /* the program */
extern char demo[300];                       /* the folder of the invented set */
extern char folder[64], book[96], visit[64]; /* a folder for the tests, the book in it, the visit that they share */

struct served {
	pid_t pid;
	int port, door; /* the pipe on which it tells its doors */
};
extern struct served own;

/* Begins one at `listen` (NULL: loopback) on a free port; the code it shows into `code` (may be NULL). */
struct served serve(const char *listen, char *code, size_t room);
void read_door(struct served *s, char *code, size_t room); /* its next door: after a code was used */
void end(struct served *s);                                /* it must end with 0 */

/* Every route that was asked, as docs/bench.md writes it. */
extern char asked[200][96];
extern size_t asked_count;
void note_asked(const char *method, const char *pattern);

/* `pattern` as in docs/bench.md, `path` what is really asked; a body that begins with { is JSON. */
struct http_reply ask_bytes(const char *method, const char *pattern, const char *path, const void *p, size_t n);
/* A document, with the status that must come. */
json_t *ask(int status, const char *method, const char *pattern, const char *path, const char *body);
json_t *parsed(const struct http_reply *r);
const char *text_at(const json_t *d, const char *a, const char *b); /* b NULL: the key a itself */
int64_t number_at(const json_t *d, const char *a, const char *b);
const char *in_visit(const char *rest); /* "/api/visits/ID" and the rest; until the next call */

/* What the program prints on its own command line, in the folder. The caller frees it. */
char *printed(const char *arguments, size_t *ret_n);
/* Asked over HTTP it is byte for byte what the command line prints. */
void same_as(const char *pattern, const char *path, const char *arguments);

char *slurp(const char *path, size_t *ret_n); /* the caller frees it */
void spill(const char *name, const char *text);
/* Files what lies in the folder with the visit; returns the number it got. */
int add_piece(const char *name, const char *kind);

/* The header is there and has the value in it. */
void must_have(const struct http_reply *r, const char *name, const char *value);

/* Cases of bench_office.c. */
void tables_of_the_office_are_kept(void **state);
void a_fleet_is_surveyed_and_planned(void **state);
void a_fleet_is_watched(void **state);
void no_path_leads_out_of_the_audits(void **state);

/* Cases of bench_gate.c. */
void wrong_questions_are_refused(void **state);
void only_own_pages_may_ask(void **state);
void browsers_are_paired_and_revoked(void **state);

#endif
