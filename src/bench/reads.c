/* SPDX-License-Identifier: Apache-2.0 */
/* Reads of a machine: a child each, its progress told as it goes, its audit filed where that was asked for. */
#include "jobs.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <time.h>
#include <unistd.h>

#define READ_US        (1800 * SECOND) /* ours: the longest audits at the slowest rates take minutes */
#define GRACE_US       (3 * SECOND)    /* to end the session in the link's own way */
#define DOCUMENT_BYTES (1 << 20)
#define UNIX98_FIRST   136 /* majors of /dev/pts, which sysfs does not list (Linux, devices.txt) */
#define UNIX98_LAST    143

enum read_state { READ_RUNNING, READ_FILING, READ_DONE, READ_FAILED, READ_STOPPED };

struct read {
	struct read *next;
	struct bench *b;
	int64_t id;
	enum read_state state;
	struct child child;
	struct lines progress;
	int out;
	char *folder, *port, *visit, *stage, *audit; /* the last: its path */
	int64_t started_us, ended_us, begun_us, told_us;
	char told[400];         /* the latest progress, a document */
	struct ft_buf document; /* of read, when it has ended */
	int64_t filed;          /* 0: not */
	bool child_told;        /* it was asked to end */
	char error[FT_TEXT_MAX];
	struct ft_arena arena;
};

static const char *const state_words[] = { "running", "running", "done", "failed", "stopped" };

static void put_read(struct ft_json *j, const char *key, const struct read *x)
{
	ft_json_object(j, key);
	ft_json_i64(j, "id", x->id);
	ft_json_text(j, "kind", "read");
	ft_json_text(j, "state", state_words[x->state]);
	ft_json_text(j, "port", x->port);
	ft_json_text(j, "visit", x->visit);
	put_wall(j, "started", x->started_us);
	put_wall(j, "ended", x->ended_us);
	put_document(j, "progress", ft_slice_of(x->told));
	put_document(j, "document", ft_buf_text(&x->document));
	ft_json_count(j, "filed", x->filed ? x->filed : FT_ABSENT);
	ft_json_text(j, "error", *x->error ? x->error : NULL);
	ft_json_object_end(j);
}

static void tell(struct read *x)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	put_read(&j, "job", x);
	ft_json_object_end(&j);
	event_put(x->b, "job", ft_buf_text(&out));
	ft_buf_done(&out);
}

static void answer_read(struct request *r, unsigned status, const struct read *x)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	put_read(&j, "job", x);
	document_end(&j);
	answer_json(r, status, &out);
}

static struct read *find(struct request *r)
{
	int64_t id;

	if (!request_number(r, "A job's id", request_part(r, "id"), 1, INT64_MAX, &id))
		return NULL;
	for (struct read *x = r->b->reads; x; x = x->next)
		if (x->id == id)
			return x;
	answer_error(r, 404, "There is no job %lld; the bench keeps the last %d.", (long long)id, JOBS_KEPT);
	return NULL;
}

static void free_read(struct read *x)
{
	if (x->child.pid > 0)
		child_wait(&x->child);
	lines_done(&x->progress);
	if (x->out >= 0)
		close(x->out);
	if (x->folder)
		remove_tree(x->folder);
	ft_buf_done(&x->document);
	ft_arena_done(&x->arena);
	free(x);
}

/* ---- beginning ---- */

/* False for a device that is no serial port: to open another may do harm by itself (a watchdog, a tape). One that is
 * not there is left to the command, which says so. */
static bool is_terminal(const char *path)
{
	struct ft_buf name = { 0 };
	char kind[256];
	struct stat st;
	ssize_t n = -1;

	if (stat(path, &st) != 0)
		return errno == ENOENT;
	if (!S_ISCHR(st.st_mode))
		return false;
	if (major(st.st_rdev) >= UNIX98_FIRST && major(st.st_rdev) <= UNIX98_LAST)
		return true;
	ft_buf_printf(&name, "/sys/dev/char/%u:%u/subsystem", major(st.st_rdev), minor(st.st_rdev));
	ft_buf_byte(&name, 0);
	if (name.status == FT_OK)
		n = readlink(name.p, kind, sizeof kind);
	ft_buf_done(&name);
	return n > 4 && n < (ssize_t)sizeof kind && memcmp(kind + n - 4, "/tty", 4) == 0;
}

/* A serial port below /dev by a plain path: what a browser names is opened by us. */
static bool port_good(const char *port)
{
	if (!port || strncmp(port, "/dev/", 5) != 0 || strstr(port, "..") || strlen(port) > 100)
		return false;
	for (const char *p = port; *p; p++)
		if (!ft_is_digit(*p) && !ft_is_upper(*p) && !(*p >= 'a' && *p <= 'z') && !strchr("/._:-", *p))
			return false;
	return is_terminal(port);
}

/* The name that the audit bears in a visit. */
static char *audit_name(struct read *x)
{
	time_t now = time(NULL);
	struct tm t;
	char at[32] = "now";

	if (localtime_r(&now, &t))
		(void)strftime(at, sizeof at, "%Y-%m-%dT%H%M%S", &t);
	return ft_arena_printf(&x->arena, "%s/audit-%s.dts", x->folder, at);
}

static enum ft_status start(struct read *x, const struct request *r, struct ft_error *e)
{
	const char *words[WORDS_MAX] = { "fettle",
		                             "--json",
		                             "read",
		                             "--progress=json",
		                             "--trace=read.trace",
		                             "--keep-part=part.dts",
		                             "-o",
		                             strrchr(x->audit, '/') + 1,
		                             "--",
		                             x->port };
	int n = 10, theirs = -1;
	struct child_setup setup = { .argv = words, .folder = x->folder, .in = -1, .out = x->out, .lasting = true };
	enum ft_status s;

	for (int i = 0; i < r->body_count; i++) {
		const struct parameter *p = parameter_of(r->route, r->body[i].name);
		bool flag = p->kind == P_FLAG;
		if (!p->option || (flag && strcmp(r->body[i].value, "1") != 0 && strcmp(r->body[i].value, "true") != 0))
			continue;
		words[n] = words[n - 1]; /* in front of the port and the dashes */
		words[n - 1] = words[n - 2];
		words[n - 2] = flag ? p->option : ft_arena_printf(&x->arena, "%s=%s", p->option, r->body[i].value);
		n++;
	}
	x->progress.text = malloc(LINE_BYTES);
	if (!x->progress.text || !pipe_to(&x->progress.fd, &theirs, true))
		return ft_fail_memory(e, "a read");
	setup.err = theirs;
	s = child_start(x->b, &setup, &x->child, e);
	close(theirs);
	return s;
}

static struct read *make(struct request *r, const char *visit, struct ft_error *e)
{
	struct read *x = calloc(1, sizeof *x);
	const char *stage = request_field(r, "stage");

	if (!x)
		return NULL;
	x->b = r->b;
	x->id = ++r->b->job_id;
	x->child.pidfd = x->progress.fd = -1;
	x->out = desk_scratch(r->b);
	x->folder = folder_inside(r->b, &x->arena, "r", x->id);
	x->port = ft_arena_text(&x->arena, ft_slice_of(request_field(r, "port")));
	x->visit = visit ? ft_arena_text(&x->arena, ft_slice_of(visit)) : NULL;
	x->stage = stage ? ft_arena_text(&x->arena, ft_slice_of(stage)) : NULL;
	x->audit = x->folder ? audit_name(x) : NULL;
	x->started_us = bench_wall(NULL);
	x->begun_us = bench_now();
	snprintf(
		x->told, sizeof x->told,
		"{\"phase\":\"waiting\",\"link\":null,\"baud\":null,\"bytes\":0,\"blocks\":0,\"retries\":0,\"seconds\":0.0}");
	if (x->out >= 0 && x->audit && x->port && start(x, r, e) == FT_OK)
		return x;
	free_read(x);
	return NULL;
}

/* The oldest that has ended makes room. */
static void forget_one(struct bench *b)
{
	struct read **oldest = NULL;
	int count = 0;

	for (struct read **at = &b->reads; *at; at = &(*at)->next) {
		count++;
		if ((*at)->state >= READ_DONE)
			oldest = at; /* new ones come in front */
	}
	if (count >= JOBS_KEPT && oldest) {
		struct read *x = *oldest;
		*oldest = x->next;
		free_read(x);
	}
}

void read_begin(struct request *r)
{
	const char *port = request_field(r, "port"), *visit = NULL;
	struct ft_error e = { 0 };
	int running = 0;
	struct read *x;

	if (!port_good(port)) {
		answer_error(r, 400, "port is a serial port, such as one of GET /api/ports or of a practice machine.");
		return;
	}
	if (request_field(r, "visit") && !(visit = request_visit(r)))
		return;
	for (x = r->b->reads; x; x = x->next)
		if (x->state < READ_DONE) {
			running++;
			if (strcmp(x->port, port) == 0) {
				answer_error(r, 409, "%s is being read already.", port);
				return;
			}
		}
	if (running >= READS_MAX) {
		answer_header(r, "Retry-After", "10");
		answer_error(r, 503, "%d machines are being read already; wait for one or stop it.", running);
		return;
	}
	forget_one(r->b);
	x = make(r, visit, &e);
	if (!x) {
		ft_fail(&e, FT_E_STORE, "The read could not be begun; the disk may be full.");
		answer_failure(r, &e);
		return;
	}
	x->next = r->b->reads;
	r->b->reads = x;
	answer_read(r, 202, x);
	tell(x);
}

/* ---- while it goes on ---- */

static void on_line(void *context, struct ft_slice line)
{
	static const char before[] = "{\"progress\":";
	struct read *x = context;
	size_t head = sizeof before - 1;

	if (line.n <= head + 1 || memcmp(line.p, before, head) != 0 || line.n - head - 1 >= sizeof x->told)
		return; /* words for people */
	memcpy(x->told, line.p + head, line.n - head - 1);
	x->told[line.n - head - 1] = 0;
	tell(x);
}

static void take_document(struct read *x)
{
	struct stat st;
	char *room;

	if (fstat(x->out, &st) != 0 || st.st_size <= 0 || st.st_size > DOCUMENT_BYTES)
		return;
	room = malloc((size_t)st.st_size);
	if (room && pread(x->out, room, (size_t)st.st_size, 0) == st.st_size)
		ft_buf_put(&x->document, room, (size_t)st.st_size);
	free(room);
}

/* What the document says went wrong. */
static void take_error(struct read *x, const char *otherwise)
{
	json_t *d = json_loadb(x->document.p ? x->document.p : "", x->document.n, JSON_DISABLE_EOF_CHECK, NULL);
	const char *said = json_string_value(json_object_get(d, "error"));

	snprintf(x->error, sizeof x->error, "%s", said ? said : otherwise);
	json_decref(d);
}

static void end(struct read *x, enum read_state state)
{
	x->state = state;
	x->ended_us = bench_wall(NULL);
	tell(x);
}

/* The piece that has the bytes of the audit. */
static int64_t number_of(struct read *x)
{
	json_t *d = json_loadb(x->document.p ? x->document.p : "", x->document.n, JSON_DISABLE_EOF_CHECK, NULL);
	const char *hash = json_string_value(json_object_get(d, "hash"));
	struct ft_arena a = { 0 };
	struct ft_visit v;
	char text[FT_HASH_TEXT];
	int64_t number = 0;

	if (hash && x->visit && ft_book_visit_load(x->b->book, x->visit, FT_LOAD_LIST, &a, &v, NULL) == FT_OK)
		for (size_t i = 0; i < v.evidence_count; i++)
			if (strcmp(ft_hash_text(&v.evidence[i].hash, text), hash) == 0)
				number = v.evidence[i].number;
	json_decref(d);
	ft_arena_done(&a);
	return number;
}

static void on_filed(struct errand *errand, int code)
{
	struct read *x = errand->context;

	x->filed = number_of(x);
	if (code != 0 && code != 1)
		snprintf(x->error, sizeof x->error, "The audit came whole and is kept here, but could not be filed in %s.",
		         x->visit);
	end(x, READ_DONE);
}

static void ended(struct read *x, int code)
{
	struct ft_error e = { 0 };

	lines_read(&x->progress, on_line, x);
	take_document(x);
	if (code == 0 || code == 1) {
		x->state = READ_FILING;
		if (!x->visit)
			end(x, READ_DONE);
		else if (add_file_for(x->b, x->visit, x->stage, x->audit, x, on_filed, &e) != FT_OK) {
			snprintf(x->error, sizeof x->error, "%s", e.text);
			end(x, READ_DONE);
		}
		return;
	}
	take_error(x, x->child_told ? "The read was stopped." : "The read broke off.");
	end(x, x->child_told ? READ_STOPPED : READ_FAILED);
}

void reads_turn(struct bench *b, int64_t now_us)
{
	for (struct read *x = b->reads; x; x = x->next) {
		int code;
		if (x->state != READ_RUNNING)
			continue;
		(void)lines_read(&x->progress, on_line, x);
		if (now_us - x->begun_us > READ_US)
			child_tell(&x->child);
		if (x->child.told && !x->told_us)
			x->told_us = now_us;
		if (x->told_us && now_us - x->told_us > GRACE_US)
			child_kill(&x->child);
		x->child_told |= x->child.told;
		if (child_ended(&x->child, &code))
			ended(x, code);
	}
}

void reads_wait(struct bench *b, struct waits *w)
{
	for (const struct read *x = b->reads; x; x = x->next) {
		if (x->state != READ_RUNNING)
			continue;
		wait_for(w, x->progress.fd);
		wait_for(w, x->child.pidfd);
		wait_until(w, x->told_us ? x->told_us + GRACE_US : x->begun_us + READ_US);
	}
}

void reads_done(struct bench *b)
{
	for (struct read *x = b->reads, *next; x; x = next) {
		next = x->next;
		free_read(x);
	}
	b->reads = NULL;
}

/* ---- what is asked of them ---- */

void read_list(struct request *r)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	ft_json_array(&j, "jobs");
	for (const struct read *x = r->b->reads; x; x = x->next)
		put_read(&j, NULL, x);
	ft_json_array_end(&j);
	document_end(&j);
	answer_json(r, 200, &out);
}

void read_get(struct request *r)
{
	const struct read *x = find(r);

	if (x)
		answer_read(r, 200, x);
}

void read_stop(struct request *r)
{
	struct read *x = find(r);

	if (!x)
		return;
	if (x->state == READ_RUNNING)
		child_tell(&x->child);
	answer_read(r, 200, x);
}

static bool has_audit(struct request *r, const struct read *x)
{
	if (x && access(x->audit, F_OK) == 0)
		return true;
	if (x)
		answer_error(r, 404, "This read has no whole audit.");
	return false;
}

void read_bytes(struct request *r)
{
	const struct read *x = find(r);

	if (has_audit(r, x))
		answer_kept(r, x->audit, strrchr(x->audit, '/') + 1);
}

void read_trace(struct request *r)
{
	const struct read *x = find(r);
	char *path = x ? ft_arena_printf(&r->arena, "%s/read.trace", x->folder) : NULL;
	struct stat st;
	int fd;

	if (!x)
		return;
	fd = path ? open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW) : -1;
	if (fd >= 0 && fstat(fd, &st) == 0) {
		answer_fd(r, 200, fd, st.st_size, "text/plain; charset=utf-8");
		return;
	}
	if (fd >= 0)
		close(fd);
	answer_error(r, 404, "This read has no trace.");
}

void read_explain(struct request *r)
{
	const struct read *x = find(r);
	struct errand *errand = has_audit(r, x) ? errand_new(r) : NULL;
	struct step *s = errand ? errand_step(errand) : NULL;

	if (!s)
		return;
	/* under its own name where the command works, for the document names it */
	const char *name = ft_arena_text(&errand->arena, ft_slice_of(strrchr(x->audit, '/') + 1));
	const char *there = name ? ft_arena_printf(&errand->arena, "%s/%s", errand->folder, name) : NULL;
	const char *words[] = { "fettle", "--json", "explain", "--", name, NULL };
	if (!there || link(x->audit, there) != 0) {
		r->errand = NULL;
		errand_free(errand);
		answer_error(r, 500, "The audit could not be laid ready.");
		return;
	}
	memcpy(s->words, words, sizeof words);
	errand->done = errand_answer;
	errand_send(r->b, errand);
}

static void on_added(struct errand *errand, int code)
{
	struct request *r = errand->request;
	int64_t id;

	if ((code == 0 || code == 1) && ft_slice_i64(ft_slice_of(request_part(r, "id")), &id))
		for (struct read *x = r->b->reads; x; x = x->next)
			if (x->id == id) {
				x->visit = ft_arena_text(&x->arena, ft_slice_of(request_visit(r)));
				x->filed = number_of(x);
				tell(x);
			}
	errand_answer(errand, code);
}

void read_add(struct request *r)
{
	const struct read *x = find(r);

	if (has_audit(r, x))
		add_file(r, x->audit, on_added);
}
