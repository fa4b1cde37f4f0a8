/* SPDX-License-Identifier: Apache-2.0 */
/* Children that last: reads of a machine, and practice machines. */
#ifndef FETTLE_BENCH_JOBS_H
#define FETTLE_BENCH_JOBS_H

#include "bench.h"

enum {
	LINE_BYTES = 65536, /* one line of a child */
	JOBS_KEPT = 32,
	READS_MAX = 4,
	MACHINES_MAX = 4,
	MACHINE_EVENTS = 200,
	FAULTS_MAX = 8,
};

/* A pipe that a child writes whole lines into. */
struct lines {
	int fd;
	char *text; /* owned, LINE_BYTES */
	size_t n;
};

/* Reads what is there; `line` gets each whole line without its end. False: the other side is closed. */
bool lines_read(struct lines *l, void (*line)(void *context, struct ft_slice text), void *context);
void lines_done(struct lines *l);

/* Both ends are closed on exec; *ret_child is the end that the child is given. */
bool pipe_to(int *ret_ours, int *ret_child, bool we_read);

/* A document of another command as the value of a key, as it is. */
void put_document(struct ft_json *j, const char *key, struct ft_slice document);
void put_wall(struct ft_json *j, const char *key, int64_t at_us);

char *folder_inside(struct bench *b, struct ft_arena *a, const char *kind, int64_t id);

void reads_wait(struct bench *b, struct waits *w);
void reads_turn(struct bench *b, int64_t now_us);
void reads_done(struct bench *b);
void machines_wait(struct bench *b, struct waits *w);
void machines_turn(struct bench *b, int64_t now_us);
void machines_done(struct bench *b);

void read_begin(struct request *r);
void read_list(struct request *r);
void read_get(struct request *r);
void read_stop(struct request *r);
void read_bytes(struct request *r);
void read_trace(struct request *r);
void read_explain(struct request *r);
void read_add(struct request *r);

void machine_choices(struct request *r);
void machine_begin(struct request *r);
void machine_list(struct request *r);
void machine_get(struct request *r);
void machine_line(struct request *r);
void machine_file(struct request *r);
void machine_file_add(struct request *r);
void machine_reveal(struct request *r);
void machine_stop(struct request *r);

/* Runs `fettle visit add` on a file of ours for the request, which it answers. `after` in place of errand_answer. */
void add_file(struct request *r, const char *path, void (*after)(struct errand *x, int code));
/* The same for nobody; `done` gets the context, errand and code. */
enum ft_status add_file_for(struct bench *b, const char *visit, const char *stage, const char *path, void *context,
                            void (*done)(struct errand *x, int code), struct ft_error *e);

#endif
