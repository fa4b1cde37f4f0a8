/* SPDX-License-Identifier: Apache-2.0 */
/* The interface of the bench against a server on a free port: every route of docs/bench.md is asked, and what it
 * answers is held against what the same program says on its command line.
 *
 * usage: test_bench FETTLE TESTS-FOLDER DOCS-FOLDER */
#include "bench_server.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fettle/store.h"

static const char *tests, *docs;

static int begin_all(void **state)
{
	char path[96];

	(void)state;
	snprintf(folder, sizeof folder, "/tmp/fettle-bench-test-XXXXXX");
	if (!mkdtemp(folder))
		return -1;
	snprintf(book, sizeof book, "%s/book.sqlite", folder);
	setenv("XDG_CONFIG_HOME", folder, 1);
	setenv("TMPDIR", folder, 1);
	snprintf(path, sizeof path, "%s/audits", folder);
	if (mkdir(path, 0700) != 0)
		return -1;
	own = serve(NULL, NULL, 0);
	return 0;
}

static int remove_one(const char *path, const struct stat *st, int what, struct FTW *at)
{
	(void)st;
	(void)what;
	(void)at;
	return remove(path);
}

static int end_all(void **state)
{
	(void)state;
	end(&own);
	return nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

#define VISIT "/api/visits/{visit}"
#define PIECE VISIT "/evidence/{n}"

/* ---- pages ---- */

static void pages_are_served(void **state)
{
	struct http_request q = { .method = "GET", .path = "/" };
	struct http_reply r = http_ask(own.port, &q);
	char tag[64];

	(void)state;
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "<!doctype html>"));
	must_have(&r, "Content-Type", "text/html");
	must_have(&r, "Content-Security-Policy", "default-src 'self'");
	must_have(&r, "Content-Security-Policy", "frame-ancestors 'none'");
	assert_null(strstr(r.head, "unsafe-inline"));
	must_have(&r, "X-Content-Type-Options", "nosniff");
	must_have(&r, "Referrer-Policy", "no-referrer");
	assert_true(http_header(&r, "ETag", tag, sizeof tag));
	http_done(&r);
	q.etag = tag;
	r = http_ask(own.port, &q);
	assert_int_equal(r.status, 304);
	assert_int_equal(r.n, 0);
	http_done(&r);
	q.etag = NULL;
	q.accept_encoding = "br, gzip;q=0.5";
	r = http_ask(own.port, &q);
	assert_int_equal(r.status, 200);
	must_have(&r, "Content-Encoding", "gzip");
	assert_memory_equal(r.body, "\x1f\x8b", 2);
	http_done(&r);
	q.accept_encoding = "gzip;q=0"; /* asked not to */
	r = http_ask(own.port, &q);
	assert_non_null(strstr(r.body, "<!doctype html>"));
	http_done(&r);
	q.path = "/visits/anything"; /* a path of the pages' own */
	r = http_ask(own.port, &q);
	assert_int_equal(r.status, 200);
	http_done(&r);
	q.path = "/nothing.js";
	r = http_ask(own.port, &q);
	assert_int_equal(r.status, 404);
	http_done(&r);
}

/* ---- visits ---- */

static void a_visit_from_opening_on(void **state)
{
	json_t *d =
		ask(201, "POST", "/api/visits", "/api/visits",
	        "{\"asset\":\"HB 7/3\",\"site\":\"Harbour \\u00e9tage\",\"by\":\"A. Fitter\",\"without\":\"door\"}");
	char quoted[96], path[300];
	struct http_reply r;
	size_t n;
	char *p;

	(void)state;
	assert_string_equal(text_at(d, "visit", "site"), "Harbour \xc3\xa9tage");
	json_decref(d);
	d = ask(200, "GET", VISIT, "/api/visits/HB%207%2F3", NULL); /* by its asset, with what a path cannot hold */
	assert_string_equal(text_at(d, "visit", "technician"), "A. Fitter");
	json_decref(d);
	d = ask(201, "POST", "/api/visits", "/api/visits", "{\"asset\":\"HL-0932\",\"by\":null}");
	snprintf(visit, sizeof visit, "%s", text_at(d, "visit", "id"));
	json_decref(d);
	d = ask(200, "POST", VISIT "/set", in_visit("/set"),
	        "{\"site\":\"Linden Hall\",\"unit\":\"--json\",\"sim\":\"S-1\"}");
	assert_string_equal(text_at(d, "visit", "unit"), "--json"); /* never an option */
	json_decref(d);
	d = ask(200, "POST", VISIT "/say", in_visit("/say"),
	        "{\"claim\":\"fit.level\",\"text\":\"-o level\\nboth\",\"by\":\"A.\"}");
	json_decref(d);
	d = ask(200, "POST", VISIT "/waive", in_visit("/waive"), "{\"claim\":\"prove.signal\",\"because\":\"no modem\"}");
	json_decref(d);
	snprintf(path, sizeof path, "%s/samples/sample-1.dts", tests);
	p = slurp(path, &n);
	r = ask_bytes("POST", VISIT "/evidence", in_visit("/evidence?name=..%2F..%2Fbefore.dts"), p, n);
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "\"name\":\"before.dts\"")); /* no folders */
	http_done(&r);
	r = ask_bytes("GET", PIECE, in_visit("/evidence/1"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_int_equal(r.n, n);
	assert_memory_equal(r.body, p, n);
	must_have(&r, "Content-Disposition", "attachment; filename=\"before.dts\"");
	must_have(&r, "Content-Security-Policy", "sandbox");
	http_done(&r);
	free(p);
	snprintf(quoted, sizeof quoted, "visit show %s", visit);
	same_as(VISIT, in_visit(""), quoted);
	same_as("/api/visits", "/api/visits", "visit show");
	d = ask(200, "GET", "/api/visits", "/api/visits?judged=1", NULL);
	assert_true(json_is_object(json_object_get(json_array_get(json_object_get(d, "visits"), 0), "stands")));
	json_decref(d);
	d = ask(200, "GET", VISIT "/sheet", in_visit("/sheet"), NULL);
	assert_true(json_is_object(json_object_get(d, "sheet")));
	json_decref(d);
	r = ask_bytes("GET", VISIT "/sheet.svg", in_visit("/sheet.svg"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "<svg"));
	must_have(&r, "Content-Type", "image/svg+xml");
	http_done(&r);
	r = ask_bytes("GET", VISIT "/sheet.pdf", in_visit("/sheet.pdf?paper=letter"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_memory_equal(r.body, "%PDF", 4);
	http_done(&r);
}

/* The sample files under short names, so that the command line names them as the bench does. */
static void copy_sample(const char *sample, const char *name)
{
	char path[300];
	size_t n;
	char *p;

	snprintf(path, sizeof path, "%s/samples/%s", tests, sample);
	p = slurp(path, &n);
	p[n] = 0;
	spill(name, p);
	free(p);
}

static void evidence_is_looked_at(void **state)
{
	struct http_request again = { .method = "GET" };
	struct http_reply r;
	char tag[64], path[200];

	(void)state;
	copy_sample("sample-1.dts", "before.dts");
	copy_sample("sample-1b.dts", "after.dts");
	assert_int_equal(add_piece("after.dts", NULL), 2);
	same_as(PIECE "/explain", in_visit("/evidence/1/explain"), "explain before.dts");
	same_as(PIECE "/check", in_visit("/evidence/2/check"), "check after.dts");
	same_as(VISIT "/compare", in_visit("/compare?before=1&after=2"), "compare before.dts after.dts");
	same_as(VISIT "/prove", in_visit("/prove?before=1&after=2&counted=7.50"),
	        "prove before.dts after.dts --counted 7.50");
	/* what hangs on evidence alone is not worked out again */
	snprintf(path, sizeof path, "%s", in_visit("/evidence/1/explain"));
	again.path = path;
	r = http_ask(own.port, &again);
	assert_true(http_header(&r, "ETag", tag, sizeof tag));
	http_done(&r);
	again.etag = tag;
	r = http_ask(own.port, &again);
	assert_int_equal(r.status, 304);
	http_done(&r);
	snprintf(path, sizeof path, "%s", in_visit("/evidence/2/explain"));
	r = http_ask(own.port, &again); /* another piece has another tag */
	assert_int_equal(r.status, 200);
	http_done(&r);
}

static void tables_are_looked_at(void **state)
{
	char path[200];
	int cabinet, survey, chain, marks, events;
	struct http_reply r;
	char log[8192] = "time,temperature_c\n";
	size_t n = strlen(log);

	(void)state;
	for (int i = 0; i < 120; i++)
		n += (size_t)snprintf(log + n, sizeof log - n, "2026-11-02T%02d:%02d:00Z,%.1f\n", i / 60, i % 60,
		                      i < 40 ? 20 - i * 0.4 : 3 + i % 10 * 0.1);
	spill("cabinet.csv", log);
	spill("survey.txt", "+CEREG: 2,1\nposition closed\n+CESQ: 99,99,255,255,20,45\n+CESQ: 99,99,255,255,21,46\n");
	spill("chain.csv",
	      "device,kind,volts,idle,continuous,peak,length,gauge\nsource,supply,33 V,,4 A,,,\n"
	      "unit,unit,20 V,100 mA,200 mA,1 A,1 m,AWG 22\nchanger,changer,,,,,1 m,AWG 22\n");
	spill("marks.csv", "marked_time,door\n2026-11-25T10:00:05Z,open\n2026-11-25T10:00:49Z,closed\n");
	spill("events.csv", "time,event\n2026-11-25 10:00:06Z,door open\n2026-11-25 10:00:51Z,door closed\n");
	cabinet = add_piece("cabinet.csv", "temperature");
	survey = add_piece("survey.txt", "signal");
	chain = add_piece("chain.csv", "supply");
	marks = add_piece("marks.csv", "door");
	events = add_piece("events.csv", "door");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/cold?kind=cold&limit=5", visit, cabinet);
	same_as(PIECE "/cold", path, "cold cabinet.csv --kind cold --limit 5");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/cold.svg", visit, cabinet);
	r = ask_bytes("GET", PIECE "/cold.svg", path, NULL, 0);
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "<svg"));
	http_done(&r);
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/signal?lead=low-loss-100:3&lead=RG-174:3", visit, survey);
	same_as(PIECE "/signal", path, "signal --log survey.txt --lead low-loss-100:3 --lead RG-174:3");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/supply?volts=31.5", visit, chain);
	same_as(PIECE "/supply", path, "supply chain.csv --volts 31.5");
	snprintf(path, sizeof path, "/api/visits/%s/door?marks=%d&events=%d&within=30", visit, marks, events);
	same_as(VISIT "/door", path, "door marks.csv events.csv --within 30");
}

static void bytes_without_a_visit(void **state)
{
	static const char *const looks[][2] = {
		{ "explain", "before.dts" },   { "check", "before.dts" },  { "cold", "cabinet.csv" },
		{ "cold.svg", "cabinet.csv" }, { "signal", "survey.txt" }, { "supply", "chain.csv" },
		{ "bus", "tap.words" },        { "words", "tap.words" },   { "blocks", "tap.words" },
		{ "bus.svg", "tap.words" },
	};

	(void)state;
	spill("tap.words", "bus-words 1\n1000 C 0B*\n2146 C 0B\n4500 P 00*\n20000 C 0B*\n21146 C 0B\n23500 P 00*\n");
	for (size_t i = 0; i < sizeof looks / sizeof *looks; i++) {
		char pattern[64], path[96], file[160];
		struct http_reply r;
		size_t n;
		char *p;
		snprintf(pattern, sizeof pattern, "/api/look/%s", looks[i][0]);
		snprintf(path, sizeof path, "%s?name=%s", pattern, looks[i][1]);
		snprintf(file, sizeof file, "%s/%s", folder, looks[i][1]);
		p = slurp(file, &n);
		r = ask_bytes("POST", pattern, path, p, n);
		if (r.status != 200)
			fail_msg("%s gives %d: %.300s", path, r.status, r.body);
		assert_non_null(strstr(r.body, strstr(looks[i][0], "svg") ? "<svg" : "\"command\":\""));
		http_done(&r);
		free(p);
	}
}

static void plain_questions(void **state)
{
	struct http_reply r;
	json_t *d;

	(void)state;
	same_as("/api/number", "/api/number?kind=imei&value=490154203237518", "number imei 490154203237518");
	same_as("/api/rules", "/api/rules", "rules");
	same_as("/api/ports", "/api/ports", "ports");
	r = ask_bytes("GET", "/api/supply/template", "/api/supply/template", NULL, 0);
	assert_int_equal(r.status, 200);
	must_have(&r, "Content-Type", "text/csv");
	http_done(&r);
	d = ask(200, "GET", "/api/bench", "/api/bench", NULL);
	assert_true(json_is_true(json_object_get(d, "loopback")));
	assert_true(json_is_true(json_object_get(d, "paired")));
	assert_string_equal(text_at(d, "book", NULL), "book.sqlite");
	json_decref(d);
}

/* ---- drafts ---- */

static void drafts_have_versions(void **state)
{
	json_t *d = ask(200, "PUT", "/api/drafts/{key}", "/api/drafts/HL:set?version=0", "half a sen");

	(void)state;
	assert_int_equal(number_at(d, "draft", "version"), 1);
	json_decref(d);
	d = ask(200, "PUT", "/api/drafts/{key}", "/api/drafts/HL:set?version=1", "half a sentence \xe2\x82\xac");
	json_decref(d);
	d = ask(409, "PUT", "/api/drafts/{key}", "/api/drafts/HL:set?version=1", "of another browser");
	assert_string_equal(text_at(d, "draft", "text"), "half a sentence \xe2\x82\xac"); /* what stands, to be merged */
	json_decref(d);
	d = ask(200, "GET", "/api/drafts/{key}", "/api/drafts/HL:set", NULL);
	assert_int_equal(number_at(d, "draft", "version"), 2);
	json_decref(d);
	d = ask(200, "GET", "/api/drafts", "/api/drafts?prefix=HL:", NULL);
	assert_int_equal(json_array_size(json_object_get(d, "drafts")), 1);
	json_decref(d);
	d = ask(200, "GET", "/api/drafts", "/api/drafts?prefix=hl", NULL);
	assert_int_equal(json_array_size(json_object_get(d, "drafts")), 0);
	json_decref(d);
	/* it is in the book, not in the server */
	end(&own);
	own = serve(NULL, NULL, 0);
	d = ask(409, "DELETE", "/api/drafts/{key}", "/api/drafts/HL:set?version=1", NULL);
	json_decref(d);
	d = ask(200, "DELETE", "/api/drafts/{key}", "/api/drafts/HL:set?version=2", NULL);
	assert_true(json_is_null(json_object_get(d, "draft")));
	json_decref(d);
	json_decref(ask(404, "GET", "/api/drafts/{key}", "/api/drafts/HL:set", NULL));
	json_decref(ask(400, "PUT", "/api/drafts/{key}", "/api/drafts/a%2Fb", "x"));
	json_decref(ask(400, "PUT", "/api/drafts/{key}", "/api/drafts/a", "\xff\xfe"));
}

/* ---- practising and reading ---- */

static int stream(const char *last)
{
	struct http_request q = { .method = "GET", .path = "/api/events", .last_event_id = last };
	int fd = http_open(own.port, &q);

	note_asked("GET", "/api/events");
	assert_true(fd >= 0);
	return fd;
}

static char seen[1 << 20];

static void wait_for_event(int fd, const char *text)
{
	if (!http_until(fd, seen, sizeof seen, text))
		fail_msg("the stream of events never said %s; it said %.600s", text, seen);
}

static int64_t begin_machine(const char *body, char port[64])
{
	json_t *d = ask(201, "POST", "/api/practice", "/api/practice", body), *m = json_object_get(d, "machine");
	int64_t id = json_integer_value(json_object_get(m, "id"));

	snprintf(port, 64, "%s", text_at(m, "ports", "dex"));
	json_decref(d);
	return id;
}

static char *of_machine(int64_t id, const char *rest)
{
	static char path[200];

	snprintf(path, sizeof path, "/api/practice/%lld%s", (long long)id, rest);
	return path;
}

/* Reads it into the visit; returns the number of the piece. */
static int64_t read_machine(const char *port, int64_t *ret_job)
{
	char body[160], path[64];
	int fd = stream(NULL);
	json_t *d, *j;
	int64_t filed;

	seen[0] = 0;
	wait_for_event(fd, "retry:");
	snprintf(body, sizeof body, "{\"port\":\"%s\",\"visit\":\"%s\",\"link\":\"dex\",\"turn_round\":1}", port, visit);
	d = ask(202, "POST", "/api/reads", "/api/reads", body);
	*ret_job = number_at(d, "job", "id");
	json_decref(d);
	wait_for_event(fd, "\"state\":\"done\"");
	assert_non_null(strstr(seen, "event: job"));
	close(fd);
	snprintf(path, sizeof path, "/api/jobs/%lld", (long long)*ret_job);
	d = ask(200, "GET", "/api/jobs/{id}", path, NULL);
	j = json_object_get(d, "job");
	assert_string_equal(text_at(j, "document", "link"), "dex");
	assert_true(number_at(j, "document", "bytes") > 1000);
	filed = number_at(d, "job", "filed");
	assert_true(json_is_null(json_object_get(j, "error")));
	json_decref(d);
	return filed;
}

static void say_line(int64_t id, const char *line)
{
	char body[160];

	snprintf(body, sizeof body, "{\"line\":\"%s\"}", line);
	json_decref(ask(202, "POST", "/api/practice/{id}/lines", of_machine(id, "/lines"), body));
}

static void looks_at_a_capture(int bus)
{
	char path[200];
	struct http_reply r;

	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/bus", visit, bus);
	same_as(PIECE "/bus", path, "bus tap.vcd");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/words?from=0.05&to=0.3", visit, bus);
	same_as(PIECE "/words", path, "bus tap.vcd --words --from 0.05 --to 0.3");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/blocks?from=0.05&to=0.3", visit, bus);
	same_as(PIECE "/blocks", path, "bus tap.vcd --blocks --from 0.05 --to 0.3");
	snprintf(path, sizeof path, "/api/visits/%s/evidence/%d/bus.svg?from=0.05&to=0.3", visit, bus);
	r = ask_bytes("GET", PIECE "/bus.svg", path, NULL, 0);
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "<svg"));
	http_done(&r);
}

static void files_of_a_machine(int64_t id, int64_t before, int64_t after)
{
	char path[200], body[100];
	struct http_reply r;
	json_t *d;
	int sales, bus;

	r = ask_bytes("GET", "/api/practice/{id}/files/{name}", of_machine(id, "/files/tap.vcd"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_true(r.n > 1000);
	spill("tap.vcd", r.body);
	http_done(&r);
	snprintf(body, sizeof body, "{\"visit\":\"%s\"}", visit);
	d = ask(200, "POST", "/api/practice/{id}/files/{name}/add", of_machine(id, "/files/sales.csv/add"), body);
	sales = (int)json_array_size(json_object_get(json_object_get(d, "visit"), "evidence"));
	json_decref(d);
	d = ask(200, "POST", "/api/practice/{id}/files/{name}/add", of_machine(id, "/files/tap.vcd/add"), body);
	bus = (int)json_array_size(json_object_get(json_object_get(d, "visit"), "evidence"));
	json_decref(d);
	snprintf(path, sizeof path, "/api/visits/%s/prove?before=%d&after=%d&sales=%d", visit, (int)before, (int)after,
	         sales);
	d = ask(200, "GET", VISIT "/prove", path, NULL);
	assert_string_equal(text_at(d, "verdict", NULL), "contradicted");
	assert_string_equal(text_at(json_array_get(json_object_get(d, "stories"), 0), "kind", NULL), "crossed-selections");
	json_decref(d);
	looks_at_a_capture(bus);
	json_decref(
		ask(404, "GET", "/api/practice/{id}/files/{name}", of_machine(id, "/files/..%2f..%2fbook.sqlite"), NULL));
	json_decref(ask(400, "POST", "/api/practice/{id}/lines", of_machine(id, "/lines"), "{\"line\":\"save ../x\"}"));
	json_decref(ask(400, "POST", "/api/practice/{id}/lines", of_machine(id, "/lines"), "{\"line\":\"save -\"}"));
	json_decref(ask(400, "POST", "/api/practice/{id}/lines", of_machine(id, "/lines"), "{\"line\":\"a\\nb\"}"));
}

static void a_machine_is_practised_on(void **state)
{
	char port[64], path[64], body[100];
	int64_t id, job, before, after;
	struct http_reply r;
	json_t *d = ask(200, "GET", "/api/practice/choices", "/api/practice/choices", NULL);
	int fd;

	(void)state;
	assert_true(json_array_size(json_object_get(d, "machines")) >= 3);
	assert_true(json_array_size(json_object_get(d, "faults")) > 10);
	json_decref(d);
	id = begin_machine("{\"machine\":\"snack\",\"faults\":[\"crossed-selections 21 23\"],\"pace\":\"fast\",\"seed\":3}",
	                   port);
	before = read_machine(port, &job);
	fd = stream(NULL);
	seen[0] = 0;
	wait_for_event(fd, "retry:");
	say_line(id, "sales forget");
	say_line(id, "bus start tap.vcd");
	say_line(id, "sell 21 coins 100 25");
	say_line(id, "sell 23 card");
	say_line(id, "bus stop");
	say_line(id, "sales sales.csv");
	say_line(id, "door open");
	wait_for_event(fd, "\"event\":\"door\"");
	assert_non_null(strstr(seen, "event: practice"));
	close(fd);
	after = read_machine(port, &job);
	assert_true(after == before + 1);
	files_of_a_machine(id, before, after);
	d = ask(200, "GET", "/api/practice/{id}", of_machine(id, ""), NULL);
	assert_true(json_array_size(json_object_get(json_object_get(d, "machine"), "events")) > 4);
	json_decref(d);
	json_decref(ask(200, "GET", "/api/practice", "/api/practice", NULL));
	snprintf(path, sizeof path, "/api/jobs/%lld/audit", (long long)job);
	r = ask_bytes("GET", "/api/jobs/{id}/audit", path, NULL, 0);
	assert_memory_equal(r.body, "DXS*", 4);
	http_done(&r);
	snprintf(path, sizeof path, "/api/jobs/%lld/trace", (long long)job);
	r = ask_bytes("GET", "/api/jobs/{id}/trace", path, NULL, 0);
	assert_non_null(strstr(r.body, "fettle trace of a read"));
	http_done(&r);
	snprintf(path, sizeof path, "/api/jobs/%lld/explain", (long long)job);
	d = ask(200, "GET", "/api/jobs/{id}/explain", path, NULL);
	assert_string_equal(text_at(d, "machine", "serial"), "PL7730418");
	json_decref(d);
	snprintf(path, sizeof path, "/api/jobs/%lld/add", (long long)job);
	snprintf(body, sizeof body, "{\"visit\":\"%s\"}", visit);
	json_decref(ask(200, "POST", "/api/jobs/{id}/add", path, body)); /* known already: no harm */
	json_decref(ask(200, "GET", "/api/jobs", "/api/jobs", NULL));
	json_decref(ask(200, "DELETE", "/api/practice/{id}", of_machine(id, ""), NULL));
}

static void a_hidden_fault_is_not_told(void **state)
{
	char port[64];
	int64_t id = begin_machine("{\"machine\":\"hotdrink\",\"hidden\":true,\"pace\":\"fast\"}", port);
	json_t *d = ask(200, "GET", "/api/practice/{id}", of_machine(id, ""), NULL), *m = json_object_get(d, "machine");
	size_t i;
	json_t *e;

	(void)state;
	assert_true(json_is_true(json_object_get(m, "hidden")));
	assert_true(json_is_null(json_object_get(m, "faults")));
	json_array_foreach(json_object_get(m, "events"), i, e) assert_string_not_equal(text_at(e, "event", NULL), "fault");
	json_decref(d);
	d = ask(200, "POST", "/api/practice/{id}/reveal", of_machine(id, "/reveal"), "{}");
	assert_int_equal(json_array_size(json_object_get(json_object_get(d, "machine"), "faults")), 1);
	json_decref(d);
	json_decref(ask(200, "DELETE", "/api/practice/{id}", of_machine(id, ""), NULL));
	d = ask(400, "POST", "/api/practice", "/api/practice", "{\"machine\":\"snack\",\"faults\":[\"no-such-fault\"]}");
	assert_non_null(strstr(text_at(d, "error", NULL), "no-such-fault"));
	json_decref(d);
	json_decref(ask(400, "POST", "/api/practice", "/api/practice", "{\"machine\":\"../etc\"}"));
}

static void a_read_is_stopped(void **state)
{
	char port[64], body[120], path[64];
	int64_t id = begin_machine("{\"machine\":\"snack\",\"faults\":[\"dead-port\"],\"pace\":\"fast\"}", port), job;
	int fd = stream(NULL);
	json_t *d;

	(void)state;
	seen[0] = 0;
	wait_for_event(fd, "retry:");
	snprintf(body, sizeof body, "{\"port\":\"%s\"}", port);
	d = ask(202, "POST", "/api/reads", "/api/reads", body);
	job = number_at(d, "job", "id");
	json_decref(d);
	json_decref(ask(409, "POST", "/api/reads", "/api/reads", body)); /* the port is taken */
	snprintf(path, sizeof path, "/api/jobs/%lld", (long long)job);
	json_decref(ask(200, "DELETE", "/api/jobs/{id}", path, NULL));
	wait_for_event(fd, "\"state\":\"stopped\"");
	close(fd);
	snprintf(path, sizeof path, "/api/jobs/%lld/audit", (long long)job);
	json_decref(ask(404, "GET", "/api/jobs/{id}/audit", path, NULL));
	json_decref(ask(400, "POST", "/api/reads", "/api/reads", "{\"port\":\"/dev/../etc/passwd\"}"));
	json_decref(ask(400, "POST", "/api/reads", "/api/reads", "{\"port\":\"--replay\"}"));
	json_decref(ask(200, "DELETE", "/api/practice/{id}", of_machine(id, ""), NULL));
}

/* ---- events ---- */

static void events_tell_of_other_programs(void **state)
{
	int fd = stream(NULL);
	char arguments[120], want[80];
	size_t n;

	(void)state;
	seen[0] = 0;
	wait_for_event(fd, "retry:");
	snprintf(arguments, sizeof arguments, "visit say %s fit.cables tied", visit);
	free(printed(arguments, &n)); /* on the command line, not over HTTP */
	assert_true(n > 0);
	snprintf(want, sizeof want, "{\"visits\":[\"%s\"]}", visit);
	wait_for_event(fd, want);
	assert_non_null(strstr(seen, "event: book"));
	close(fd);
}

static void events_go_on_where_they_broke_off(void **state)
{
	char id[64] = "";
	const char *at;
	int fd = stream(NULL);

	(void)state;
	seen[0] = 0;
	wait_for_event(fd, "retry:");
	json_decref(ask(200, "PUT", "/api/drafts/{key}", "/api/drafts/one", "1"));
	wait_for_event(fd, "\"key\":\"one\"");
	wait_for_event(fd, "\n\n");
	at = strstr(seen, "id: ");
	assert_non_null(at);
	snprintf(id, sizeof id, "%.*s", (int)strcspn(at + 4, "\n"), at + 4);
	close(fd);
	json_decref(ask(200, "PUT", "/api/drafts/{key}", "/api/drafts/two", "2")); /* nobody listens */
	fd = stream(id);
	seen[0] = 0;
	wait_for_event(fd, "\"key\":\"two\"");
	assert_null(strstr(seen, "\"key\":\"one\""));
	close(fd);
	fd = stream("ffffffff-3"); /* of another run of the bench */
	seen[0] = 0;
	wait_for_event(fd, "event: reset");
	close(fd);
}

/* ---- handing over ---- */

static void a_package_is_made_and_received(void **state)
{
	struct http_reply r;
	json_t *d;

	(void)state;
	json_decref(ask(404, "GET", VISIT "/handover.zip", in_visit("/handover.zip"), NULL));
	d = ask(200, "POST", VISIT "/handover", in_visit("/handover"), "{\"name\":\"A. Fitter\",\"paper\":\"a4\"}");
	assert_string_equal(text_at(d, "signed_by", NULL), "A. Fitter");
	json_decref(d);
	r = ask_bytes("GET", VISIT "/handover.pdf", in_visit("/handover.pdf"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_memory_equal(r.body, "%PDF", 4);
	http_done(&r);
	r = ask_bytes("GET", VISIT "/handover.zip", in_visit("/handover.zip"), NULL, 0);
	assert_int_equal(r.status, 200);
	assert_memory_equal(r.body, "PK", 2);
	struct http_reply v = ask_bytes("POST", "/api/look/verify", "/api/look/verify?name=a.zip", r.body, r.n);
	assert_int_equal(v.status, 200);
	assert_non_null(strstr(v.body, "\"verdict\":\"shown\""));
	http_done(&v);
	v = ask_bytes("POST", "/api/receive", "/api/receive?name=a.zip", r.body, r.n);
	assert_int_equal(v.status, 200);
	assert_non_null(strstr(v.body, "\"filed\":\"known\""));
	http_done(&v);
	r.body[r.n / 2] ^= 1; /* a package that was touched */
	v = ask_bytes("POST", "/api/look/verify", "/api/look/verify?name=a.zip", r.body, r.n);
	assert_null(strstr(v.body, "\"verdict\":\"shown\""));
	http_done(&v);
	http_done(&r);
	d = ask(200, "GET", "/api/handover/key", "/api/handover/key", NULL);
	assert_non_null(text_at(d, "fingerprint", NULL));
	json_decref(d);
}

static void a_visit_is_closed(void **state)
{
	json_t *d = ask(400, "POST", VISIT "/close", in_visit("/close"), "{}"); /* claims are open */

	(void)state;
	assert_int_equal(json_integer_value(json_object_get(d, "exit")), 2);
	json_decref(d);
	d = ask(200, "POST", VISIT "/close", in_visit("/close"), "{\"open_claims\":true}");
	assert_non_null(text_at(d, "visit", "closed"));
	json_decref(d);
}

/* ---- all of them ---- */

static bool was_asked(const char *both)
{
	for (size_t i = 0; i < asked_count; i++)
		if (strcmp(asked[i], both) == 0)
			return true;
	return false;
}

/* Rows "| GET /api/visits | ..." and, of what is looked at, "| /api/visits/... | ...". */
static void every_documented_route_was_asked(void **state)
{
	char path[300], both[200];
	size_t n, found = 0;
	char *text;

	(void)state;
	snprintf(path, sizeof path, "%s/bench.md", docs);
	text = slurp(path, &n);
	text[n] = 0;
	for (char *line = text; line; line = strchr(line, '\n'), line = line ? line + 1 : NULL) {
		size_t end_at;
		bool bare = strncmp(line, "| /api/", 7) == 0;
		if (!bare && strncmp(line, "| GET /", 7) && strncmp(line, "| POST /", 8) && strncmp(line, "| PUT /", 7) &&
		    strncmp(line, "| DELETE /", 10))
			continue;
		end_at = strcspn(line + 2, "?|,");
		while (end_at && line[end_at + 1] == ' ')
			end_at--;
		snprintf(both, sizeof both, "%s%.*s", bare ? "GET " : "", (int)end_at, line + 2);
		found++;
		if (!was_asked(both))
			fail_msg("docs/bench.md has %s, and no test asked it", both);
	}
	free(text);
	assert_true(found > 50);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest cases[] = {
		cmocka_unit_test(pages_are_served),
		cmocka_unit_test(a_visit_from_opening_on),
		cmocka_unit_test(evidence_is_looked_at),
		cmocka_unit_test(tables_are_looked_at),
		cmocka_unit_test(bytes_without_a_visit),
		cmocka_unit_test(plain_questions),
		cmocka_unit_test(drafts_have_versions),
		cmocka_unit_test(a_machine_is_practised_on),
		cmocka_unit_test(a_hidden_fault_is_not_told),
		cmocka_unit_test(a_read_is_stopped),
		cmocka_unit_test(events_tell_of_other_programs),
		cmocka_unit_test(events_go_on_where_they_broke_off),
		cmocka_unit_test(a_package_is_made_and_received),
		cmocka_unit_test(a_visit_is_closed),
		cmocka_unit_test(tables_of_the_office_are_kept),
		cmocka_unit_test(a_fleet_is_surveyed_and_planned),
		cmocka_unit_test(a_fleet_is_watched),
		cmocka_unit_test(no_path_leads_out_of_the_audits),
		cmocka_unit_test(wrong_questions_are_refused),
		cmocka_unit_test(only_own_pages_may_ask),
		cmocka_unit_test(browsers_are_paired_and_revoked),
		cmocka_unit_test(every_documented_route_was_asked),
	};

	if (argc < 4)
		return 2;
	fettle = realpath(argv[1], NULL);
	tests = argv[2];
	docs = argv[3];
	snprintf(demo, sizeof demo, "%s/../data/demo", docs);
	return fettle ? cmocka_run_group_tests(cases, begin_all, end_all) : 2;
}
