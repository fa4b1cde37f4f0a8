/* SPDX-License-Identifier: Apache-2.0 */
/* Errands: what the children do, a few at once, the others in a queue. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum ft_status errand_make(struct bench *b, struct errand **ret, struct ft_error *e)
{
	struct errand *x = calloc(1, sizeof *x);

	if (!x)
		return ft_fail_memory(e, "a command");
	x->out = -1;
	x->child.pidfd = -1;
	x->id = ++b->errand_id;
	x->folder = ft_arena_printf(&x->arena, "%s/w%lld", b->desk, (long long)x->id);
	if (!x->folder || mkdir(x->folder, 0700) != 0) {
		ft_arena_done(&x->arena);
		free(x);
		return ft_fail(e, FT_E_STORE, "No folder for a command can be made in %s: %s.", b->desk, strerror(errno));
	}
	*ret = x;
	return FT_OK;
}

struct errand *errand_free(struct errand *x)
{
	if (x->child.pid > 0)
		child_wait(&x->child);
	if (x->out >= 0)
		close(x->out);
	remove_tree(x->folder);
	ft_buf_done(&x->tag);
	ft_arena_done(&x->arena);
	free(x);
	return NULL;
}

struct errand *errand_new(struct request *r)
{
	struct errand *x = NULL;
	struct ft_error e = { 0 };

	if (r->b->waiting_count >= ERRANDS_MAX) {
		answer_header(r, "Retry-After", "2");
		answer_error(r, 503, "The bench has %d things to do already; try again in a moment.", ERRANDS_MAX);
		return NULL;
	}
	if (errand_make(r->b, &x, &e) != FT_OK || !x) {
		answer_failure(r, &e);
		return NULL;
	}
	x->request = r;
	r->errand = x;
	return x;
}

struct step *errand_step(struct errand *x)
{
	return x->step_count < ERRAND_STEPS ? &x->steps[x->step_count++] : NULL;
}

const char *errand_fetch(struct bench *b, struct errand *x, const char *visit, int64_t number, struct ft_error *e)
{
	struct ft_visit v;
	const struct ft_evidence *found = NULL;
	const char *id, *name;
	char hash[FT_HASH_TEXT];
	struct step *s;

	if (ft_book_visit_find(b->book, visit, &x->arena, &id, e) != FT_OK ||
	    ft_book_visit_load(b->book, id, FT_LOAD_LIST, &x->arena, &v, e) != FT_OK)
		return NULL;
	for (size_t i = 0; i < v.evidence_count; i++)
		if (v.evidence[i].number == number)
			found = &v.evidence[i];
	if (!found) {
		ft_fail(e, FT_E_USAGE, "The visit %s has no piece of evidence %lld.", id, (long long)number);
		return NULL;
	}
	s = errand_step(x);
	name = plain_name(&x->arena, found->name, ft_evidence_word(found->kind));
	for (int i = 0; s && name && i < x->step_count - 1; i++) /* two pieces of one name */
		if (x->steps[i].link && strcmp(strrchr(x->steps[i].link, '/') + 1, name) == 0)
			name = ft_arena_printf(&x->arena, "%lld-%s", (long long)number, name);
	if (!s || !name) {
		ft_fail_memory(e, "a command");
		return NULL;
	}
	s->cache = ft_arena_printf(&x->arena, "%s/kept/%s", b->desk, ft_hash_text(&found->hash, hash));
	s->link = ft_arena_printf(&x->arena, "%s/%s", x->folder, name);
	const char *words[] = { "fettle", "--json", "visit",
		                    "get",    id,       ft_arena_printf(&x->arena, "%lld", (long long)number),
		                    "-o",     s->cache, NULL };
	memcpy(s->words, words, sizeof words);
	ft_buf_puts(&x->tag, hash);
	if (!s->cache || !s->link || !s->words[5]) {
		ft_fail_memory(e, "a command");
		return NULL;
	}
	return name;
}

void errand_send(struct bench *b, struct errand *x)
{
	x->next = NULL;
	*b->waiting_end = x;
	b->waiting_end = &x->next;
	b->waiting_count++;
	errands_turn(b, bench_now());
}

void errand_drop(struct bench *b, struct errand *x)
{
	(void)b;
	x->request = NULL; /* the next turn finds it so */
	if (x->running)
		child_kill(&x->child);
}

static void finish(struct errand *x, int code)
{
	if (x->request || x->context)
		x->done(x, code);
	errand_free(x);
}

/* Starts the step it stands at, passing over pieces that are kept; false: all is over, with this code. */
static bool start(struct bench *b, struct errand *x, int *ret_code)
{
	struct ft_error e = { 0 };
	struct child_setup setup = { .folder = x->folder, .in = -1, .err = -1, .writes_book = x->writes_book };

	*ret_code = 0;
	for (; x->step_at < x->step_count; x->step_at++) {
		const struct step *s = &x->steps[x->step_at];
		if (!s->cache || access(s->cache, F_OK) != 0)
			break;
		(void)utimensat(AT_FDCWD, s->cache, NULL, 0); /* used just now */
		if (link(s->cache, s->link) == 0 || errno == EEXIST)
			continue;
		if (errno == ENOENT)
			break;      /* trimmed in this moment: fetched again */
		*ret_code = -1; /* a disk that knows no links would have it fetched for ever */
		return false;
	}
	if (x->step_at == x->step_count)
		return false;
	if (x->out >= 0)
		close(x->out);
	x->out = desk_scratch(b);
	setup.out = x->out;
	setup.argv = x->steps[x->step_at].words;
	*ret_code = -1;
	if (x->out < 0 || child_start(b, &setup, &x->child, &e) != FT_OK)
		return false;
	x->running = true;
	return true;
}

/* After a child's end: the next step, or the end. */
static bool go_on(struct bench *b, struct errand *x, int code, int *ret_code)
{
	const struct step *s = &x->steps[x->step_at];

	*ret_code = code;
	if (code < 0 || code > 1 || (s->cache && access(s->cache, F_OK) != 0))
		return false;
	if (!s->cache)
		x->step_at++;
	if (x->step_at == x->step_count)
		return false;
	return start(b, x, ret_code);
}

static void look_at_running(struct bench *b, int64_t now_us)
{
	for (struct errand **at = &b->running; *at;) {
		struct errand *x = *at;
		int code;
		if (!x->child.killed && x->child.until_us && now_us >= x->child.until_us) {
			x->child.late = true;
			child_kill(&x->child);
		}
		bool late = x->child.late;
		if (!child_ended(&x->child, &code)) {
			at = &x->next;
			continue;
		}
		x->running = false;
		if (late)
			code = -2;
		else if ((x->request || x->context) && go_on(b, x, code, &code)) {
			at = &x->next;
			continue;
		}
		*at = x->next;
		b->running_count--;
		finish(x, code);
	}
}

void errands_turn(struct bench *b, int64_t now_us)
{
	if (b->in_errands) /* called from what a finished errand sets off */
		return;
	b->in_errands = true;
	look_at_running(b, now_us);
	while (b->waiting && b->running_count < CHILDREN_MAX) {
		struct errand *x = b->waiting;
		int code;
		b->waiting = x->next;
		if (!b->waiting)
			b->waiting_end = &b->waiting;
		b->waiting_count--;
		if (!x->request && !x->context) {
			errand_free(x);
		} else if (start(b, x, &code)) {
			x->next = b->running;
			b->running = x;
			b->running_count++;
		} else {
			finish(x, code);
		}
	}
	b->in_errands = false;
}

void errands_done(struct bench *b)
{
	for (struct errand *x = b->running, *next; x; x = next) {
		next = x->next;
		errand_free(x);
	}
	for (struct errand *x = b->waiting, *next; x; x = next) {
		next = x->next;
		errand_free(x);
	}
	b->running = b->waiting = NULL;
	b->waiting_end = &b->waiting;
	b->running_count = b->waiting_count = 0;
}

/* ---- what came of it, as an answer ---- */

static int take_output(struct errand *x, const struct route *t, int code, const char **ret_type, int64_t *ret_bytes)
{
	struct stat st;
	int fd = -1;

	*ret_type = t->answer == ANSWER_LINES ? "application/x-ndjson"
		: t->answer == ANSWER_TEXT        ? t->type
										  : "application/json";
	if (t->answer == ANSWER_FILE && (code == 0 || code == 1)) {
		char *path = ft_arena_printf(&x->arena, "%s/%s", x->folder, t->out);
		fd = path ? open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW) : -1;
		*ret_type = t->type;
	} else {
		fd = x->out;
		x->out = -1;
		if (code > 1)
			*ret_type = "application/json";
	}
	if (fd >= 0 && (fstat(fd, &st) != 0 || st.st_size == 0)) {
		close(fd);
		return -1;
	}
	*ret_bytes = fd >= 0 ? st.st_size : 0;
	return fd;
}

void errand_answer(struct errand *x, int code)
{
	struct request *r = x->request;
	const char *type = NULL;
	int64_t bytes = 0;
	int fd;

	r->errand = NULL;
	x->request = NULL;
	if (code == -2) {
		answer_error(r, 504, "It took longer than %lld s and was ended; look at a shorter piece.",
		             (long long)(COMMAND_US / SECOND));
		return;
	}
	if (code < 0) {
		answer_error(r, 500, "The command broke off, perhaps for want of memory; nothing was changed by it.");
		return;
	}
	fd = take_output(x, r->route, code, &type, &bytes);
	if (fd < 0) {
		answer_error(r, code > 1 ? status_of_exit(code) : 500, "The command ended without a word.");
		return;
	}
	answer_fd(r, code > 1 ? status_of_exit(code) : r->route->made ? r->route->made : 200, fd, bytes, type);
}
