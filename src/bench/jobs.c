/* SPDX-License-Identifier: Apache-2.0 */
/* What reads and practice machines share: their pipes, their folders, their routes. */
#include "jobs.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool lines_read(struct lines *l, void (*line)(void *context, struct ft_slice text), void *context)
{
	for (int rounds = 0; rounds < 16; rounds++) { /* others want their turn too */
		ssize_t got = read(l->fd, l->text + l->n, LINE_BYTES - l->n);
		size_t begin = 0;
		if (got < 0)
			return errno == EAGAIN || errno == EINTR;
		if (got == 0)
			return false;
		l->n += (size_t)got;
		for (char *end; (end = memchr(l->text + begin, '\n', l->n - begin)) != NULL;) {
			size_t at = (size_t)(end - l->text);
			line(context, (struct ft_slice){ l->text + begin, at - begin });
			begin = at + 1;
		}
		memmove(l->text, l->text + begin, l->n - begin);
		l->n -= begin;
		if (l->n == LINE_BYTES) /* no line of ours is so long: it is passed over */
			l->n = 0;
	}
	return true;
}

void lines_done(struct lines *l)
{
	if (l->fd >= 0)
		close(l->fd);
	free(l->text);
	*l = (struct lines){ .fd = -1 };
}

bool pipe_to(int *ret_ours, int *ret_child, bool we_read)
{
	int ends[2];

	if (pipe2(ends, O_CLOEXEC) != 0)
		return false;
	*ret_ours = ends[we_read ? 0 : 1];
	*ret_child = ends[we_read ? 1 : 0];
	return fcntl(*ret_ours, F_SETFL, O_NONBLOCK) == 0;
}

void put_document(struct ft_json *j, const char *key, struct ft_slice document)
{
	while (document.n && (document.p[document.n - 1] == '\n' || document.p[document.n - 1] == ' '))
		document.n--;
	ft_json_null(j, key);
	if (document.n == 0 || j->out->status != FT_OK)
		return;
	j->out->n -= 4; /* what was just written for it */
	ft_buf_slice(j->out, document);
}

void put_wall(struct ft_json *j, const char *key, int64_t at_us)
{
	char text[FT_TIME_TEXT];
	int offset;

	bench_wall(&offset);
	ft_json_text(j, key, at_us ? ft_time_text(at_us, offset, text) : NULL);
}

char *folder_inside(struct bench *b, struct ft_arena *a, const char *kind, int64_t id)
{
	char *path = ft_arena_printf(a, "%s/%s%lld", b->desk, kind, (long long)id);

	return path && mkdir(path, 0700) == 0 ? path : NULL;
}

static void add_words(struct errand *x, const char *visit, const char *kind, const char *stage, const char *path)
{
	struct step *s = errand_step(x);
	int n = 0;

	if (!s)
		return;
	s->words[n++] = "fettle";
	s->words[n++] = "--json";
	s->words[n++] = "visit";
	s->words[n++] = "add";
	if (kind)
		s->words[n++] = ft_arena_printf(&x->arena, "--kind=%s", kind);
	if (stage)
		s->words[n++] = ft_arena_printf(&x->arena, "--stage=%s", stage);
	s->words[n++] = "--";
	s->words[n++] = ft_arena_text(&x->arena, ft_slice_of(visit));
	s->words[n] = ft_arena_text(&x->arena, ft_slice_of(path));
	x->writes_book = true;
}

void add_file(struct request *r, const char *path, void (*after)(struct errand *x, int code))
{
	const char *visit = request_visit(r);
	struct errand *x = visit ? errand_new(r) : NULL;

	if (!x)
		return;
	add_words(x, visit, request_field(r, "kind"), request_field(r, "stage"), path);
	x->done = after ? after : errand_answer;
	errand_send(r->b, x);
}

enum ft_status add_file_for(struct bench *b, const char *visit, const char *stage, const char *path, void *context,
                            void (*done)(struct errand *x, int code), struct ft_error *e)
{
	struct errand *x = NULL;
	enum ft_status s = errand_make(b, &x, e);

	if (s != FT_OK || !x)
		return s;
	add_words(x, visit, NULL, stage, path);
	x->context = context;
	x->done = done;
	errand_send(b, x);
	return FT_OK;
}

void jobs_wait(struct bench *b, struct waits *w)
{
	reads_wait(b, w);
	machines_wait(b, w);
}

void jobs_turn(struct bench *b, int64_t now_us)
{
	reads_turn(b, now_us);
	machines_turn(b, now_us);
}

void jobs_done(struct bench *b)
{
	reads_done(b);
	machines_done(b);
}

/* ---- routes ---- */

#define END                \
	{                      \
		NULL, NULL, P_TEXT \
	}

static const struct parameter reads[] = { { "port", NULL, P_TEXT },
	                                      { "link", "--link", P_WORD },
	                                      { "baud", "--baud", P_NUMBER },
	                                      { "timeout", "--timeout", P_NUMBER },
	                                      { "turn_round", "--turn-round", P_NUMBER },
	                                      { "retries", "--retries", P_NUMBER },
	                                      { "security", "--security", P_WORD },
	                                      { "pass", "--pass", P_WORD },
	                                      { "echo", "--echo", P_FLAG },
	                                      { "visit", NULL, P_TEXT },
	                                      { "stage", NULL, P_WORD },
	                                      END };
static const struct parameter adds[] = {
	{ "visit", NULL, P_TEXT }, { "kind", NULL, P_WORD }, { "stage", NULL, P_WORD }, END
};
static const struct parameter machines[] = { { "machine", NULL, P_WORD },  { "faults", NULL, P_LIST },
	                                         { "hidden", NULL, P_FLAG },   { "seed", "--seed", P_NUMBER },
	                                         { "pace", "--pace", P_WORD }, END };
static const struct parameter said[] = { { "line", NULL, P_TEXT }, END };
static const struct parameter nothing[] = { END };

const struct route routes_jobs[] = {
	{ "POST", "/api/reads", BODY_FIELDS, .parameters = reads, .run = read_begin },
	{ "GET", "/api/jobs", .run = read_list },
	{ "GET", "/api/jobs/{id}", .run = read_get },
	{ "DELETE", "/api/jobs/{id}", .run = read_stop },
	{ "GET", "/api/jobs/{id}/audit", .run = read_bytes },
	{ "GET", "/api/jobs/{id}/trace", .run = read_trace },
	{ "GET", "/api/jobs/{id}/explain", .answer = ANSWER_DOCUMENT, .run = read_explain },
	{ "POST", "/api/jobs/{id}/add", BODY_FIELDS, ANSWER_DOCUMENT, .parameters = adds, .run = read_add },

	{ "GET", "/api/practice/choices", .run = machine_choices },
	{ "POST", "/api/practice", BODY_FIELDS, .parameters = machines, .run = machine_begin },
	{ "GET", "/api/practice", .run = machine_list },
	{ "GET", "/api/practice/{id}", .run = machine_get },
	{ "POST", "/api/practice/{id}/lines", BODY_FIELDS, .parameters = said, .run = machine_line },
	{ "GET", "/api/practice/{id}/files/{name}", .run = machine_file },
	{ "POST", "/api/practice/{id}/files/{name}/add", BODY_FIELDS, ANSWER_DOCUMENT, .parameters = adds,
	  .run = machine_file_add },
	{ "POST", "/api/practice/{id}/reveal", BODY_FIELDS, .parameters = nothing, .run = machine_reveal },
	{ "DELETE", "/api/practice/{id}", .run = machine_stop },
	{ NULL },
};
