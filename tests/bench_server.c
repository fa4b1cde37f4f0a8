/* SPDX-License-Identifier: Apache-2.0 */
#include "bench_server.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "fettle/bench.h"
#include "fettle/slice.h"

const char *fettle;
char folder[64], book[96], visit[64], demo[300];

/* ---- the server ---- */

struct served own;

static volatile sig_atomic_t stopped;

static void on_term(int number)
{
	(void)number;
	stopped = 1;
}

static void on_door(void *context, const struct ft_bench_door *d)
{
	FILE *f = context;

	fprintf(f, "%s %s\n", d->url, d->code ? d->code : "-");
	fflush(f);
}

/* Reads one line of its door: "http://127.0.0.1:1234/ CODE". */
void read_door(struct served *s, char *code, size_t room)
{
	char line[300];
	size_t n = 0;
	const char *colon;
	int64_t port = 0;

	while (n + 1 < sizeof line && read(s->door, line + n, 1) == 1 && line[n] != '\n')
		n++;
	line[n] = 0;
	colon = strrchr(line, ':');
	assert_non_null(colon);
	assert_true(ft_slice_i64((struct ft_slice){ colon + 1, strcspn(colon + 1, "/") }, &port) && port > 0);
	s->port = (int)port;
	if (code)
		snprintf(code, room, "%s", strchr(line, ' ') + 1);
}

struct served serve(const char *listen, char *code, size_t room)
{
	struct served s = { 0 };
	int ends[2];

	assert_int_equal(pipe(ends), 0);
	fflush(NULL);
	s.pid = fork();
	assert_true(s.pid >= 0);
	if (s.pid == 0) {
		struct ft_error e = { 0 };
		FILE *f = fdopen(ends[1], "w");
		struct sigaction act = { .sa_handler = on_term };
		char audits[80];
		sigset_t held, before;
		struct ft_bench_settings set = { .book = book,
			                             .program = fettle,
			                             .audits = audits,
			                             .listen = listen,
			                             .port = 0,
			                             .context = f,
			                             .door = on_door,
			                             .stop = &stopped,
			                             .mask = &before };
		snprintf(audits, sizeof audits, "%s/audits", folder);
		prctl(PR_SET_PDEATHSIG, SIGKILL); /* a test that fails leaves nobody behind */
		close(ends[0]);
		sigemptyset(&held);
		sigaddset(&held, SIGTERM);
		sigprocmask(SIG_BLOCK, &held, &before);
		sigaction(SIGTERM, &act, NULL);
		if (ft_bench_run(&set, &e) != FT_OK)
			fprintf(stderr, "%s\n", e.text);
		fclose(f);
		exit(e.status == FT_OK ? 0 : 1); /* through exit, so that leaks are looked for */
	}
	close(ends[1]);
	s.door = ends[0];
	read_door(&s, code, room);
	return s;
}

void end(struct served *s)
{
	int status = -1;

	kill(s->pid, SIGTERM);
	waitpid(s->pid, &status, 0);
	close(s->door);
	assert_true(WIFEXITED(status));
	assert_int_equal(WEXITSTATUS(status), 0);
}

/* ---- asking ---- */

/* Every route that was asked, as the documentation writes it. */
char asked[200][96];
size_t asked_count;

void note_asked(const char *method, const char *pattern)
{
	char both[96];

	snprintf(both, sizeof both, "%s %s", method, pattern);
	for (size_t i = 0; i < asked_count; i++)
		if (strcmp(asked[i], both) == 0)
			return;
	assert_true(asked_count < sizeof asked / sizeof *asked);
	memcpy(asked[asked_count++], both, sizeof both);
}

/* `pattern` as in docs/bench.md; `path` what is really asked. */
struct http_reply ask_bytes(const char *method, const char *pattern, const char *path, const void *p, size_t n)
{
	struct http_request r = { .method = method, .path = path, .body = p, .body_n = n };

	note_asked(method, pattern);
	if (n && ((const char *)p)[0] == '{')
		r.type = "application/json";
	return http_ask(own.port, &r);
}

json_t *parsed(const struct http_reply *r)
{
	json_error_t why;
	json_t *d = json_loadb(r->body, r->n, 0, &why);

	if (!d)
		fail_msg("no JSON (%s): %.200s", why.text, r->body);
	assert_non_null(json_object_get(d, "command"));
	assert_true(json_is_array(json_object_get(d, "findings")));
	return d;
}

/* A document with the status that must come. */
json_t *ask(int status, const char *method, const char *pattern, const char *path, const char *body)
{
	struct http_reply r = ask_bytes(method, pattern, path, body, body ? strlen(body) : 0);
	json_t *d;

	if (r.status != status)
		fail_msg("%s %s gives %d, not %d: %.300s", method, path, r.status, status, r.body ? r.body : "nothing");
	d = parsed(&r);
	http_done(&r);
	return d;
}

const char *text_at(const json_t *d, const char *a, const char *b)
{
	const json_t *x = json_object_get(d, a);

	return json_string_value(b ? json_object_get(x, b) : x);
}

int64_t number_at(const json_t *d, const char *a, const char *b)
{
	const json_t *x = json_object_get(json_object_get(d, a), b);

	assert_true(json_is_integer(x));
	return json_integer_value(x);
}

const char *in_visit(const char *rest)
{
	static char path[256];

	snprintf(path, sizeof path, "/api/visits/%s%s", visit, rest);
	return path;
}

/* What the program prints on its own command line, in the folder of the tests. */
char *printed(const char *arguments, size_t *ret_n)
{
	char command[1024];
	size_t n = 0, room = 1 << 20;
	char *out = malloc(room);
	FILE *f;

	snprintf(command, sizeof command, "cd '%s' && FETTLE_BOOK='%s' '%s' --json %s 2>/dev/null", folder, book, fettle,
	         arguments);
	f = popen(command, "r");
	assert_non_null(f);
	assert_non_null(out);
	for (size_t got; (got = fread(out + n, 1, room - n - 1, f)) > 0; n += got)
		if (room - n < 65536)
			out = realloc(out, room *= 2);
	out[n] = 0;
	pclose(f);
	*ret_n = n;
	return out;
}

/* Asked over HTTP it is byte for byte what the command line prints. */
void same_as(const char *pattern, const char *path, const char *arguments)
{
	struct http_reply r = ask_bytes("GET", pattern, path, NULL, 0);
	size_t n;
	char *want = printed(arguments, &n);

	assert_int_equal(r.status, 200);
	assert_true(n > 2);
	if (r.n != n || memcmp(r.body, want, n) != 0)
		fail_msg("%s is not what fettle %s prints:\n%.200s\n%.200s", path, arguments, r.body, want);
	free(want);
	http_done(&r);
}

char *slurp(const char *path, size_t *ret_n)
{
	FILE *f = fopen(path, "rb");
	char *p = malloc(1 << 22);

	assert_non_null(f);
	assert_non_null(p);
	*ret_n = fread(p, 1, 1 << 22, f);
	fclose(f);
	return p;
}

void spill(const char *name, const char *text)
{
	char path[160];
	FILE *f;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	f = fopen(path, "wb");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
}

/* Files what lies in the folder with the visit; returns the number it got. */
int add_piece(const char *name, const char *kind)
{
	char path[256], file[160];
	struct http_reply r;
	json_t *d;
	size_t n;
	char *p;
	int count;

	snprintf(file, sizeof file, "%s/%s", folder, name);
	p = slurp(file, &n);
	snprintf(path, sizeof path, "/api/visits/%s/evidence?name=%s%s%s", visit, name, kind ? "&kind=" : "",
	         kind ? kind : "");
	r = ask_bytes("POST", "/api/visits/{visit}/evidence", path, p, n);
	free(p);
	if (r.status != 200)
		fail_msg("%s: %d %.300s", path, r.status, r.body);
	d = parsed(&r);
	http_done(&r);
	count = (int)json_array_size(json_object_get(json_object_get(d, "visit"), "evidence"));
	json_decref(d);
	return count;
}

void must_have(const struct http_reply *r, const char *name, const char *value)
{
	char got[512] = "";

	assert_true(http_header(r, name, got, sizeof got));
	if (!strstr(got, value))
		fail_msg("%s is \"%s\", which has no \"%s\"", name, got, value);
}
