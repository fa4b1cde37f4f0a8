/* SPDX-License-Identifier: Apache-2.0 */
/* Practice machines: a child each, lines to it, events from it, and now and then a fault that is not told. */
#include "jobs.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fettle/practice.h"

#define LINE_MAX_BYTES 200           /* ours: of a line to a machine */
#define QUIT_US        (3 * SECOND)  /* to close its ports in order */
#define FIRST_US       (20 * SECOND) /* to live its past */

struct machine {
	struct machine *next;
	struct bench *b;
	struct request *starts; /* whoever began it, until the first line is here */
	int64_t id;
	bool running, hidden, revealed;
	struct child child;
	struct lines out;
	int in;
	char *folder;
	const char *name;
	const char *faults[FAULTS_MAX];
	int fault_count;
	struct ft_buf first; /* its first line */
	int64_t started_us, begun_us, told_us;
	char *events[MACHINE_EVENTS]; /* a ring of lines, owned */
	int64_t event_count;
	struct ft_arena arena;
};

static const struct {
	const char *machine, *fault;
} drills[] = {
#define ROW(ident, drill, machine, fault, source) { machine, fault },
#include "drills.inc"
#undef ROW
};

static bool tells_fault(const struct machine *m, const char *event)
{
	return m->hidden && !m->revealed && strstr(event, "\"event\":\"fault\"") != NULL;
}

/* What its first line says of it, without the keys that every document has. */
static void put_about(struct ft_json *j, const struct machine *m)
{
	static const char *const machine_keys[] = { "dialect", "serial", "model", "revision", "asset", "location" };
	json_t *d = json_loadb(m->first.p ? m->first.p : "", m->first.n, 0, NULL);
	const json_t *about = json_object_get(d, "machine"), *ports = json_object_get(d, "ports");

	if (json_is_object(ports) && m->running) {
		ft_json_object(j, "ports");
		ft_json_text(j, "dex", json_string_value(json_object_get(ports, "dex")));
		ft_json_text(j, "ddcmp", json_string_value(json_object_get(ports, "ddcmp")));
		ft_json_object_end(j);
	} else {
		ft_json_null(j, "ports");
	}
	ft_json_object(j, "machine");
	ft_json_text(j, "name", m->name);
	for (size_t i = 0; i < sizeof machine_keys / sizeof *machine_keys; i++)
		ft_json_text(j, machine_keys[i], json_string_value(json_object_get(about, machine_keys[i])));
	ft_json_object_end(j);
	ft_json_text(j, "currency", json_string_value(json_object_get(d, "currency")));
	ft_json_i64(j, "decimals", json_integer_value(json_object_get(d, "decimals")));
	ft_json_i64(j, "seed", json_integer_value(json_object_get(d, "seed")));
	ft_json_text(j, "pace", json_string_value(json_object_get(d, "pace")));
	json_decref(d);
}

static void put_machine(struct ft_json *j, const char *key, const struct machine *m, bool events)
{
	ft_json_object(j, key);
	ft_json_i64(j, "id", m->id);
	ft_json_text(j, "state", m->running ? "running" : "ended");
	put_wall(j, "started", m->started_us);
	put_about(j, m);
	ft_json_bool(j, "hidden", m->hidden);
	if (m->hidden && !m->revealed) {
		ft_json_null(j, "faults");
	} else {
		ft_json_array(j, "faults");
		for (int i = 0; i < m->fault_count; i++)
			ft_json_text(j, NULL, m->faults[i]);
		ft_json_array_end(j);
	}
	if (events) {
		int64_t from = m->event_count > MACHINE_EVENTS ? m->event_count - MACHINE_EVENTS : 0;
		ft_json_array(j, "events");
		for (; from < m->event_count; from++) {
			const char *e = m->events[from % MACHINE_EVENTS];
			if (e && !tells_fault(m, e))
				put_document(j, NULL, ft_slice_of(e));
		}
		ft_json_array_end(j);
	}
	ft_json_object_end(j);
}

static void answer_machine(struct request *r, unsigned status, const struct machine *m, bool events)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	put_machine(&j, "machine", m, events);
	document_end(&j);
	answer_json(r, status, &out);
}

static void tell(struct machine *m, const char *event)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	ft_json_i64(&j, "id", m->id);
	if (event)
		put_document(&j, "event", ft_slice_of(event));
	else
		put_machine(&j, "machine", m, false);
	ft_json_object_end(&j);
	event_put(m->b, "practice", ft_buf_text(&out));
	ft_buf_done(&out);
}

static struct machine *find(struct request *r)
{
	int64_t id;

	if (!request_number(r, "A machine's id", request_part(r, "id"), 1, INT64_MAX, &id))
		return NULL;
	for (struct machine *m = r->b->machines; m; m = m->next)
		if (m->id == id)
			return m;
	answer_error(r, 404, "There is no practice machine %lld.", (long long)id);
	return NULL;
}

static void free_machine(struct machine *m)
{
	if (m->child.pid > 0)
		child_wait(&m->child);
	lines_done(&m->out);
	if (m->in >= 0)
		close(m->in);
	if (m->folder)
		remove_tree(m->folder);
	for (int i = 0; i < MACHINE_EVENTS; i++)
		free(m->events[i]);
	ft_buf_done(&m->first);
	ft_arena_done(&m->arena);
	free(m);
}

/* ---- beginning ---- */

void machine_choices(struct request *r)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	size_t machines, faults;
	const struct ft_practice_builtin *m = ft_practice_builtins(&machines);
	const struct ft_practice_fault *f = ft_practice_faults(&faults);

	document_begin(&j, &out);
	ft_json_array(&j, "machines");
	for (size_t i = 0; i < machines; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", m[i].name);
		ft_json_text(&j, "title", m[i].summary);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_array(&j, "faults");
	for (size_t i = 0; i < faults; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", f[i].name);
		ft_json_text(&j, "arguments", f[i].arguments);
		ft_json_text(&j, "about", f[i].does);
		ft_json_text(&j, "seen", f[i].seen);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	document_end(&j);
	answer_json(r, 200, &out);
}

/* One of the drills for this machine. */
static const char *any_fault(const char *name)
{
	uint32_t count = 0, at;

	for (size_t i = 0; i < sizeof drills / sizeof *drills; i++)
		count += strcmp(drills[i].machine, name) == 0;
	if (!count)
		return NULL;
	at = randombytes_uniform(count);
	for (size_t i = 0; i < sizeof drills / sizeof *drills; i++)
		if (strcmp(drills[i].machine, name) == 0 && at-- == 0)
			return drills[i].fault;
	return NULL;
}

static bool line_good(const char *line)
{
	size_t n = strlen(line);

	if (n == 0 || n > LINE_MAX_BYTES)
		return false;
	for (const char *p = line; *p; p++)
		if ((unsigned char)*p < ' ' || *p == 0x7f || *p == '/' || *p == '\\')
			return false;
	/* "-" would be its standard output, which carries its events */
	return !strstr(line, " - ") && !(n > 1 && strcmp(line + n - 2, " -") == 0) && !strstr(line, "\"-\"");
}

static bool take_faults(struct request *r, struct machine *m)
{
	for (int i = 0; i < r->list_count; i++) {
		if (m->fault_count == FAULTS_MAX || !line_good(r->list[i])) {
			answer_error(r, 400, "faults are at most %d names of GET /api/practice/choices with their arguments.",
			             FAULTS_MAX);
			return false;
		}
		m->faults[m->fault_count++] = ft_arena_text(&m->arena, ft_slice_of(r->list[i]));
	}
	if (!m->hidden)
		return true;
	if (m->fault_count || !(m->faults[m->fault_count++] = any_fault(m->name))) {
		answer_error(r, 400, "Either faults are named or one is hidden.");
		return false;
	}
	return true;
}

static enum ft_status start(struct machine *m, const struct request *r, struct ft_error *e)
{
	const char *words[WORDS_MAX] = { "fettle", "--json", "practice" };
	int n = 3, in = -1, out = -1;
	struct child_setup setup = { .argv = words, .folder = m->folder, .err = -1, .lasting = true };
	enum ft_status s;

	words[n++] = ft_arena_printf(&m->arena, "--machine=%s", m->name);
	for (int i = 0; i < m->fault_count; i++)
		words[n++] = ft_arena_printf(&m->arena, "--fault=%s", m->faults[i]);
	for (int i = 0; i < r->body_count; i++) {
		const struct parameter *p = parameter_of(r->route, r->body[i].name);
		if (p->option)
			words[n++] = ft_arena_printf(&m->arena, "%s=%s", p->option, r->body[i].value);
	}
	m->out.text = malloc(LINE_BYTES);
	if (!m->out.text || m->arena.failed || !pipe_to(&m->out.fd, &out, true))
		return ft_fail_memory(e, "a practice machine");
	if (!pipe_to(&m->in, &in, false)) {
		close(out);
		return ft_fail_memory(e, "a practice machine");
	}
	setup.in = in;
	setup.out = out;
	s = child_start(m->b, &setup, &m->child, e);
	close(in);
	close(out);
	m->running = s == FT_OK;
	return s;
}

/* Those that have ended make room. */
static int count_running(struct bench *b)
{
	int running = 0, kept = 0;

	for (struct machine **at = &b->machines; *at;) {
		struct machine *m = *at;
		if (m->running)
			running++;
		else if (++kept > MACHINES_MAX) {
			*at = m->next;
			free_machine(m);
			continue;
		}
		at = &m->next;
	}
	return running;
}

static struct machine *make(struct request *r)
{
	const char *name = request_field(r, "machine"), *hidden = request_field(r, "hidden");
	size_t count;
	const struct ft_practice_builtin *known =
		name ? ft_practice_builtin(ft_slice_of(name)) : ft_practice_builtins(&count);
	struct machine *m = known ? calloc(1, sizeof *m) : NULL;

	if (!m) {
		answer_error(r, 400, "There is no practice machine of the kind %s.", name ? name : "");
		return NULL;
	}
	m->b = r->b;
	m->id = ++r->b->job_id;
	m->in = m->out.fd = m->child.pidfd = -1;
	m->name = known->name;
	m->hidden = hidden && (strcmp(hidden, "1") == 0 || strcmp(hidden, "true") == 0);
	m->started_us = bench_wall(NULL);
	m->begun_us = bench_now();
	m->folder = folder_inside(r->b, &m->arena, "m", m->id);
	return m;
}

void machine_begin(struct request *r)
{
	struct ft_error e = { 0 };
	struct machine *m;
	int running = count_running(r->b);

	if (running >= MACHINES_MAX) {
		answer_header(r, "Retry-After", "10");
		answer_error(r, 503, "%d practice machines run already; end one of them.", running);
		return;
	}
	m = make(r);
	if (!m)
		return;
	if (!take_faults(r, m)) {
		free_machine(m);
		return;
	}
	if (!m->folder || start(m, r, &e) != FT_OK) {
		ft_fail(&e, FT_E_STORE, "No folder for a practice machine can be made; the disk may be full.");
		answer_failure(r, &e);
		free_machine(m);
		return;
	}
	m->next = r->b->machines;
	r->b->machines = m;
	m->starts = r;
	r->starts = m;
}

/* ---- while it runs ---- */

static void first_line(struct machine *m, struct ft_slice line)
{
	ft_buf_slice(&m->first, line);
	json_t *d = json_loadb(line.p, line.n, 0, NULL);
	const json_t *ports = json_object_get(d, "ports");
	const char *dex = json_string_value(json_object_get(ports, "dex"));

	if (dex && m->starts)
		answer_machine(m->starts, 201, m, false);
	else if (m->starts) /* it says why not: a fault that this machine does not know, say */
		answer_error(m->starts, 400, "%s",
		             json_is_string(json_object_get(d, "error")) ? json_string_value(json_object_get(d, "error"))
		                                                         : "The practice machine did not start.");
	if (m->starts)
		m->starts->starts = NULL;
	m->starts = NULL;
	json_decref(d);
	if (dex)
		tell(m, NULL);
}

static void on_line(void *context, struct ft_slice line)
{
	struct machine *m = context;
	char **slot = &m->events[m->event_count % MACHINE_EVENTS];

	if (m->first.n == 0) {
		first_line(m, line);
		return;
	}
	free(*slot);
	*slot = strndup(line.p, line.n);
	m->event_count++;
	if (*slot && !tells_fault(m, *slot))
		tell(m, *slot);
}

static void ended(struct machine *m)
{
	(void)lines_read(&m->out, on_line, m);
	m->running = false;
	lines_done(&m->out);
	if (m->in >= 0)
		close(m->in);
	m->in = -1;
	if (m->starts) {
		answer_error(m->starts, 500, "The practice machine did not start.");
		m->starts->starts = NULL;
		m->starts = NULL;
	}
	tell(m, NULL);
}

void machines_turn(struct bench *b, int64_t now_us)
{
	for (struct machine *m = b->machines; m; m = m->next) {
		int code;
		if (!m->running)
			continue;
		(void)lines_read(&m->out, on_line, m);
		if (m->first.n == 0 && now_us - m->begun_us > FIRST_US)
			child_kill(&m->child);
		if (m->child.told && !m->told_us)
			m->told_us = now_us;
		if (m->told_us && now_us - m->told_us > QUIT_US)
			child_kill(&m->child);
		if (child_ended(&m->child, &code))
			ended(m);
	}
}

void machines_wait(struct bench *b, struct waits *w)
{
	for (const struct machine *m = b->machines; m; m = m->next) {
		if (!m->running)
			continue;
		wait_for(w, m->out.fd);
		wait_for(w, m->child.pidfd);
		if (m->told_us)
			wait_until(w, m->told_us + QUIT_US);
		else if (m->first.n == 0)
			wait_until(w, m->begun_us + FIRST_US);
	}
}

/* Whoever began one does not wait any more. */
void machine_left(struct request *r)
{
	if (r->starts)
		r->starts->starts = NULL;
	r->starts = NULL;
}

void machines_done(struct bench *b)
{
	for (struct machine *m = b->machines, *next; m; m = next) {
		next = m->next;
		free_machine(m);
	}
	b->machines = NULL;
}

/* ---- what is asked of them ---- */

void machine_list(struct request *r)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	ft_json_array(&j, "machines");
	for (const struct machine *m = r->b->machines; m; m = m->next)
		put_machine(&j, NULL, m, false);
	ft_json_array_end(&j);
	document_end(&j);
	answer_json(r, 200, &out);
}

void machine_get(struct request *r)
{
	const struct machine *m = find(r);

	if (m)
		answer_machine(r, 200, m, true);
}

void machine_line(struct request *r)
{
	const char *line = request_field(r, "line");
	struct machine *m = find(r);
	struct ft_buf text = { 0 };
	ssize_t did;

	if (!m)
		return;
	if (!line || !line_good(line)) {
		answer_error(r, 400, "A line has 1 to %d characters and names files without folders.", LINE_MAX_BYTES);
		return;
	}
	if (!m->running) {
		answer_error(r, 409, "This practice machine has ended.");
		return;
	}
	ft_buf_printf(&text, "%s\n", line);
	did = text.status == FT_OK ? write(m->in, text.p, text.n) : -1; /* below PIPE_BUF: all of it or nothing */
	if (did == (ssize_t)text.n)
		answer_machine(r, 202, m, false);
	else
		answer_error(r, 503, "The practice machine takes nothing now; try again in a moment.");
	ft_buf_done(&text);
}

/* A file that a line of it wrote. */
static const char *file_of(struct request *r, const struct machine *m)
{
	const char *name = request_part(r, "name");
	const char *path;

	if (!m)
		return NULL;
	path = name_plain(name) ? ft_arena_printf(&r->arena, "%s/%s", m->folder, name) : NULL;
	if (path && access(path, R_OK) == 0)
		return path;
	answer_error(r, 404, "This practice machine has written no file %.80s.", name);
	return NULL;
}

void machine_file(struct request *r)
{
	const char *path = file_of(r, find(r));

	if (path)
		answer_kept(r, path, request_part(r, "name"));
}

void machine_file_add(struct request *r)
{
	const char *path = file_of(r, find(r));

	if (path)
		add_file(r, path, NULL);
}

void machine_reveal(struct request *r)
{
	struct machine *m = find(r);

	if (!m)
		return;
	if (m->hidden && !m->revealed) {
		m->revealed = true;
		tell(m, NULL);
	}
	answer_machine(r, 200, m, true);
}

void machine_stop(struct request *r)
{
	struct machine *m = find(r);

	if (!m)
		return;
	if (m->running)
		child_tell(&m->child);
	answer_machine(r, 200, m, false);
}
