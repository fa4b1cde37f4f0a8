/* SPDX-License-Identifier: Apache-2.0 */
/* Who may ask the bench, and what it refuses. */
#include "bench_server.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void wrong_questions_are_refused(void **state)
{
	static const struct {
		int status;
		const char *method, *path, *body;
	} rows[] = {
		{ 404, "GET", "/api/nothing", NULL },
		{ 404, "GET", "/api/visits/NO-SUCH", NULL },
		{ 404, "GET", "/api/visits/NO-SUCH/evidence/1", NULL },
		{ 404, "GET", "/api/jobs/99", NULL },
		{ 400, "GET", "/api/jobs/x", NULL },
		{ 404, "GET", "/api/practice/99", NULL },
		{ 405, "DELETE", "/api/visits", NULL },
		{ 405, "GET", "/api/pair", NULL },
		{ 400, "POST", "/api/visits", "{\"asset\":\"X\",\"shell\":\"rm\"}" },
		{ 400, "POST", "/api/visits", "{\"asset\":[\"X\"]}" },
		{ 400, "POST", "/api/visits", "{\"asset\":\"a\\u0000b\"}" },
		{ 400, "POST", "/api/visits", "{\"asset\":\"X\",\"asset\":\"Y\"}" },
		{ 400, "POST", "/api/visits", "{\"site\":\"no asset\"}" },
		{ 400, "POST", "/api/visits", "{broken" },
		{ 415, "POST", "/api/visits", "asset=X" },
		{ 400, "GET", "/api/visits?judged=maybe", NULL },
		{ 400, "GET", "/api/visits?book=/etc/passwd", NULL },
		{ 400, "GET", "/api/number?kind=imei", NULL },
		{ 400, "GET", "/api/number?kind=imei&kind=gtin&value=1", NULL },
		{ 400, "GET", "/api/number?kind=imei&value=%ff", NULL },
		{ 400, "GET", "/api/number?kind=imei&value=%00", NULL },
		{ 400, "GET", "/api/number?kind=$(id)&value=1", NULL },
		{ 422, "POST", "/api/look/explain", "no audit" },
		{ 400, "POST", "/api/reads", "{\"port\":\"/dev/zero\"}" }, /* a device, but no serial port */
		{ 400, "POST", "/api/reads", "{\"port\":\"/dev/fd/0\"}" },
		{ 400, "POST", "/api/reads", "{\"port\":\"/dev/../etc/passwd\"}" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		json_t *d = ask(rows[i].status, rows[i].method, "", rows[i].path, rows[i].body);
		assert_non_null(text_at(d, "error", NULL));
		assert_true(json_integer_value(json_object_get(d, "exit")) >= 2);
		json_decref(d);
	}
	asked_count--; /* the empty pattern of this test is none */
}

void only_own_pages_may_ask(void **state)
{
	char named[64], other[64], origin[80];
	struct http_request q = { .method = "GET", .path = "/api/visits" };
	struct http_reply r;

	(void)state;
	snprintf(named, sizeof named, "localhost:%d", own.port);
	snprintf(other, sizeof other, "127.0.0.1:%d", own.port + 1);
	snprintf(origin, sizeof origin, "http://%s", named);
	const struct {
		int status;
		const char *method, *host, *origin;
	} rows[] = {
		{ 200, "GET", named, NULL },
		{ 421, "GET", "rebound.example:80", NULL },
		{ 421, "GET", other, NULL },
		{ 421, "GET", "127.0.0.1", NULL },
		{ 421, "GET", "10.1.2.3:7437", NULL },
		{ 403, "GET", named, "http://elsewhere.example" },
		{ 403, "DELETE", NULL, "" },
		{ 403, "DELETE", NULL, "null" },
		{ 403, "DELETE", NULL, "http://elsewhere.example" },
		{ 403, "DELETE", NULL, origin },  /* another name of the same place is another origin */
		{ 405, "DELETE", named, origin }, /* let in, and there is no such method */
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		q.method = rows[i].method;
		q.host = rows[i].host;
		q.origin = rows[i].origin;
		r = http_ask(own.port, &q);
		if (r.status != rows[i].status)
			fail_msg("row %zu: %d in place of %d", i, r.status, rows[i].status);
		http_done(&r);
	}
}

/* ---- pairing ---- */

static int status_with(int port, const char *method, const char *path, const char *cookie, const char *body,
                       struct http_reply *ret)
{
	struct http_request q = { .method = method,
		                      .path = path,
		                      .cookie = cookie,
		                      .body = body,
		                      .body_n = body ? strlen(body) : 0,
		                      .type = body ? "application/json" : NULL };
	struct http_reply r = http_ask(port, &q);
	int status = r.status;

	if (ret)
		*ret = r;
	else
		http_done(&r);
	return status;
}

static void enter(int port, const char *code, char *cookie, size_t room)
{
	char body[100], header[300];
	struct http_reply r;

	snprintf(body, sizeof body, "{\"code\":\"%s\",\"name\":\"a phone\"}", code);
	note_asked("POST", "/api/pair");
	if (status_with(port, "POST", "/api/pair", NULL, body, &r) != 200)
		fail_msg("the code %s is not taken: %d %.300s", code, r.status, r.body);
	assert_true(http_header(&r, "Set-Cookie", header, sizeof header));
	assert_non_null(strstr(header, "HttpOnly"));
	assert_non_null(strstr(header, "SameSite=Strict"));
	snprintf(cookie, room, "%.*s", (int)strcspn(header, ";"), header);
	http_done(&r);
}

void browsers_are_paired_and_revoked(void **state)
{
	char code[32], next[32], first[100], second[100], body[64], seen_by_second[4096] = "";
	struct served s;
	struct http_reply r;
	json_t *d;

	(void)state;
	setenv("TZ", "XXX-5:30", 1); /* somewhere, so that the offset of a time tells whether it was looked up */
	s = serve("0.0.0.0", code, sizeof code);
	unsetenv("TZ");
	assert_int_equal(strlen(code), 9);
	assert_int_equal(status_with(s.port, "GET", "/", NULL, NULL, NULL), 200); /* the pages are no secret */
	assert_int_equal(status_with(s.port, "GET", "/api/bench", NULL, NULL, NULL), 200);
	assert_int_equal(status_with(s.port, "GET", "/api/visits", NULL, NULL, NULL), 401);
	assert_int_equal(status_with(s.port, "GET", "/api/events", NULL, NULL, NULL), 401);
	assert_int_equal(status_with(s.port, "PUT", "/api/drafts/x", "fettle=00", NULL, NULL), 401);
	assert_int_equal(status_with(s.port, "POST", "/api/pair", NULL, "{\"code\":\"AAAA-AAAA\"}", NULL), 403);
	enter(s.port, code, first, sizeof first);
	read_door(&s, next, sizeof next);
	assert_string_not_equal(code, next);
	snprintf(body, sizeof body, "{\"code\":\"%s\"}", code);
	assert_int_equal(status_with(s.port, "POST", "/api/pair", NULL, body, NULL), 403); /* it served once */
	assert_int_equal(status_with(s.port, "GET", "/api/visits", first, NULL, NULL), 200);
	note_asked("POST", "/api/browsers/code");
	assert_int_equal(status_with(s.port, "POST", "/api/browsers/code", first, NULL, &r), 201);
	d = parsed(&r);
	assert_true(json_array_size(json_object_get(d, "qr")) >= 21);
	assert_non_null(strstr(text_at(d, "until", NULL), "+05:30"));
	enter(s.port, text_at(d, "code", NULL), second, sizeof second);
	json_decref(d);
	http_done(&r);
	note_asked("GET", "/api/browsers");
	assert_int_equal(status_with(s.port, "GET", "/api/browsers", second, NULL, &r), 200);
	d = parsed(&r);
	assert_int_equal(json_array_size(json_object_get(d, "browsers")), 2);
	json_decref(d);
	http_done(&r);
	/* the second one's cookie is taken back while it listens */
	struct http_request q = { .method = "GET", .path = "/api/events", .cookie = second };
	int fd = http_open(s.port, &q);
	assert_true(http_until(fd, seen_by_second, sizeof seen_by_second, "retry:"));
	note_asked("DELETE", "/api/browsers/{id}");
	assert_int_equal(status_with(s.port, "DELETE", "/api/browsers/2", first, NULL, NULL), 200);
	assert_false(http_until(fd, seen_by_second, sizeof seen_by_second, "never said")); /* it ends */
	close(fd);
	assert_int_equal(status_with(s.port, "GET", "/api/visits", second, NULL, NULL), 401);
	assert_int_equal(status_with(s.port, "GET", "/api/visits", first, NULL, NULL), 200);
	for (int i = 0; i < 3; i++) /* two wrong ones were entered above */
		assert_int_equal(status_with(s.port, "POST", "/api/pair", NULL, "{\"code\":\"BBBB-BBBB\"}", NULL), 403);
	snprintf(body, sizeof body, "{\"code\":\"%s\"}", next);
	assert_int_equal(status_with(s.port, "POST", "/api/pair", NULL, body, &r), 429); /* the right one, too late */
	must_have(&r, "Retry-After", "60");
	http_done(&r);
	end(&s);
	s = serve("0.0.0.0", NULL, 0); /* a paired browser stays paired */
	assert_int_equal(status_with(s.port, "GET", "/api/visits", first, NULL, NULL), 200);
	end(&s);
}
