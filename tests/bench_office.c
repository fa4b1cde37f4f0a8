/* SPDX-License-Identifier: Apache-2.0 */
/* The office's routes: tables that are kept, a survey and a plan of them, the audits that are watched. */
#include "bench_server.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define TABLE "/api/tables/{table}"

static const char *const names[] = { "survey", "families", "units", "parts", "leads", "technicians" };
enum { NAMES = sizeof names / sizeof *names };

/* The table's bytes as they stand in the list; -1: not there. */
static int64_t bytes_told(const json_t *d, const char *table)
{
	const json_t *row;
	size_t i;

	json_array_foreach(json_object_get(d, "tables"), i, row)
	{
		if (strcmp(json_string_value(json_object_get(row, "table")), table) == 0)
			return json_is_null(json_object_get(row, "bytes")) ? -1 : json_integer_value(json_object_get(row, "bytes"));
	}
	fail_msg("no row of the table %s", table);
	return -1;
}

static const char *sample(const char *table)
{
	static char path[400];

	snprintf(path, sizeof path, "%s/%s.csv", demo, table);
	return path;
}

static void put(const char *table)
{
	char route[60];
	struct http_reply r;
	json_t *d;
	size_t n;
	char *p;

	snprintf(route, sizeof route, "/api/tables/%s", table);
	p = slurp(sample(table), &n);
	r = ask_bytes("PUT", TABLE, route, p, n);
	assert_int_equal(r.status, 200);
	d = parsed(&r);
	assert_int_equal(bytes_told(d, table), n);
	json_decref(d);
	http_done(&r);
	r = ask_bytes("GET", TABLE, route, NULL, 0);
	assert_int_equal(r.status, 200);
	assert_int_equal(r.n, n);
	assert_memory_equal(r.body, p, n);
	must_have(&r, "Content-Security-Policy", "sandbox");
	http_done(&r);
	free(p);
}

/* A table that its command cannot read takes no place: what stood there stands. */
static void what_cannot_be_read_is_not_kept(void)
{
	static const char *const wrong[] = { "survey", "families", "technicians", "priors", "counts", "temperatures" };
	char route[60], *p, *r_before = NULL;
	struct http_reply r;
	json_t *d;
	size_t n = 0;

	p = slurp(sample("units"), &n);
	r = ask_bytes("GET", TABLE, "/api/tables/survey", NULL, 0);
	r_before = strndup(r.body, r.n);
	http_done(&r);
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
		snprintf(route, sizeof route, "/api/tables/%s", wrong[i]);
		r = ask_bytes("PUT", TABLE, route, p, n);
		assert_int_equal(r.status, 422);
		d = parsed(&r);
		assert_non_null(strstr(text_at(d, "error", NULL), wrong[i]));
		json_decref(d);
		http_done(&r);
	}
	r = ask_bytes("GET", TABLE, "/api/tables/survey", NULL, 0);
	assert_int_equal(r.n, strlen(r_before));
	assert_memory_equal(r.body, r_before, r.n);
	http_done(&r);
	json_decref(ask(404, "GET", TABLE, "/api/tables/counts", NULL));
	free(r_before);
	free(p);
}

/* Two who change one table: the second began from what stands no more. */
static void only_what_was_seen_is_changed(void)
{
	static const char first[] = "/api/tables/plan?was=none";
	char tag[80] = "", again[160];
	struct http_reply r;
	json_t *d;

	json_decref(ask(200, "PUT", TABLE, first, "{\"days\":[1]}"));
	d = ask(409, "PUT", TABLE, first, "{\"days\":[2]}"); /* there was none when it began */
	assert_non_null(strstr(text_at(d, "error", NULL), "plan"));
	assert_int_equal(bytes_told(d, "plan"), 12);
	json_decref(d);
	r = ask_bytes("GET", TABLE, "/api/tables/plan", NULL, 0);
	assert_true(http_header(&r, "ETag", tag, sizeof tag));
	assert_int_equal(r.n, 12);
	assert_memory_equal(r.body, "{\"days\":[1]}", 12);
	http_done(&r);
	tag[strlen(tag) - 1] = 0;
	snprintf(again, sizeof again, "/api/tables/plan?was=%s", tag + 1);
	json_decref(ask(200, "PUT", TABLE, again, "{\"days\":[3]}"));
	json_decref(ask(409, "PUT", TABLE, again, "{\"days\":[4]}"));
	json_decref(ask(409, "DELETE", TABLE, again, NULL));
	r = ask_bytes("GET", TABLE, "/api/tables/plan", NULL, 0);
	assert_memory_equal(r.body, "{\"days\":[3]}", 12);
	http_done(&r);
	json_decref(ask(200, "DELETE", TABLE, "/api/tables/plan", NULL));
}

void tables_of_the_office_are_kept(void **state)
{
	char path[128], *large;
	struct http_reply r;
	json_t *d = ask(200, "GET", "/api/tables", "/api/tables", NULL);

	(void)state;
	assert_true(json_is_true(json_object_get(d, "audits")));
	assert_int_equal(bytes_told(d, "survey"), -1);
	json_decref(d);
	json_decref(ask(404, "GET", "/api/survey", "/api/survey", NULL)); /* nothing to judge yet */
	json_decref(ask(404, "GET", TABLE, "/api/tables/survey", NULL));
	json_decref(ask(404, "GET", TABLE, "/api/tables/..%2Fbook", NULL));
	json_decref(ask(404, "PUT", TABLE, "/api/tables/passwd", "x"));
	large = calloc(1, (16 << 20) + 1);
	assert_non_null(large);
	r = ask_bytes("PUT", TABLE, "/api/tables/survey", large, (16 << 20) + 1);
	assert_int_equal(r.status, 413);
	http_done(&r);
	free(large);
	for (int i = 0; i < NAMES; i++)
		put(names[i]);
	put("survey"); /* again, over the first */
	what_cannot_be_read_is_not_kept();
	only_what_was_seen_is_changed();
	d = ask(200, "DELETE", TABLE, "/api/tables/leads", NULL);
	assert_int_equal(bytes_told(d, "leads"), -1);
	json_decref(d);
	snprintf(path, sizeof path, "%s.tables/leads.csv", book);
	assert_int_not_equal(access(path, F_OK), 0);
	put("leads");
}

/* The papers tell of the plan that is kept, stop by stop, and of nothing outside their folder. */
static void papers_of_the_plan(const json_t *d)
{
	static const char route[] = "/api/rollout/papers/{paper}";
	char *text = json_dumps(d, JSON_COMPACT), *line;
	struct http_reply r;
	const json_t *day, *stop;
	size_t i, k;

	json_decref(ask(200, "PUT", TABLE, "/api/tables/plan", text));
	free(text);
	r = ask_bytes("GET", route, "/api/rollout/papers/days.csv?days=10", NULL, 0);
	assert_int_equal(r.status, 200);
	must_have(&r, "Content-Disposition", "days.csv");
	line = strchr(r.body, '\n');
	json_array_foreach(json_object_get(d, "days"), i, day) json_array_foreach(json_object_get(day, "stops"), k, stop)
	{
		assert_non_null(line);
		const char *end = strchr(line + 1, '\n');
		assert_non_null(end);
		assert_non_null(
			memmem(line, (size_t)(end - line), text_at(stop, "asset", NULL), strlen(text_at(stop, "asset", NULL))));
		assert_non_null(memmem(line, (size_t)(end - line), text_at(day, "date", NULL), 10));
		line = strchr(line + 1, '\n');
	}
	http_done(&r);
	r = ask_bytes("GET", route, "/api/rollout/papers/days.pdf", NULL, 0);
	must_have(&r, "Content-Type", "application/pdf");
	assert_memory_equal(r.body, "%PDF-", 5);
	http_done(&r);
	r = ask_bytes("GET", route, "/api/rollout/papers/tilda-moss.ics", NULL, 0);
	assert_non_null(strstr(r.body, "BEGIN:VCALENDAR"));
	http_done(&r);
	json_decref(ask(404, "GET", route, "/api/rollout/papers/..%2Fplan.json", NULL));
	json_decref(ask(404, "GET", route, "/api/rollout/papers/nobody.ics", NULL));
	/* nobody who was to go goes any more: papers would tell another plan than the one that is kept */
	json_decref(ask(200, "PUT", TABLE, "/api/tables/technicians",
	                "technician,latitude,longitude,begins,ends,days\nSomebody,12.40,-31.20,07:30,16:30,Mon-Fri\n"));
	json_decref(ask(409, "GET", route, "/api/rollout/papers/days.csv", NULL));
	put("technicians");
	json_decref(ask(200, "DELETE", TABLE, "/api/tables/plan", NULL));
}

void a_fleet_is_surveyed_and_planned(void **state)
{
	char command[700], path[700];
	char *want;
	size_t n;
	struct http_reply r;
	json_t *d;

	(void)state;
	/* as on the command line, in a folder that holds the tables and nothing else */
	snprintf(command, sizeof command,
	         "rules >/dev/null; cd '%s.tables' && '%s' --json survey --catalogue=. -- survey.csv", book, fettle);
	want = printed(command, &n);
	r = ask_bytes("GET", "/api/survey", "/api/survey", NULL, 0);
	assert_int_equal(r.status, 200);
	must_have(&r, "Content-Type", "application/x-ndjson");
	assert_int_equal(r.n, n);
	assert_memory_equal(r.body, want, n);
	http_done(&r);
	free(want);
	json_decref(ask(200, "GET", "/api/survey", "/api/survey?asset=BD-1001", NULL));
	json_decref(ask(400, "GET", "/api/survey", "/api/survey?catalogue=%2Fetc", NULL));
	r = ask_bytes("GET", "/api/survey/template", "/api/survey/template?table=units", NULL, 0);
	assert_int_equal(r.status, 200);
	must_have(&r, "Content-Type", "text/csv");
	assert_non_null(strstr(r.body, "least_volts"));
	http_done(&r);
	snprintf(path, sizeof path, "{\"from\":\"2026-11-30\",\"days\":10,\"steps\":200}");
	d = ask(200, "POST", "/api/rollout", "/api/rollout", path);
	assert_true(json_array_size(json_object_get(d, "days")) > 0);
	papers_of_the_plan(d);
	json_decref(d);
	json_decref(ask(400, "POST", "/api/rollout", "/api/rollout", "{\"technicians\":\"/etc/passwd\"}"));
}

/* The audits before and after the first open exception that has both, and what acknowledges it. */
static bool pair_of(char *body, char before[200], char after[200], char exception[200])
{
	for (char *line = body, *end; (end = strchr(line, '\n')) != NULL; line = end + 1) {
		json_t *d = json_loadb(line, (size_t)(end - line), 0, NULL), *x;
		size_t i;
		assert_non_null(d);
		json_array_foreach(json_object_get(d, "exceptions"), i, x)
		{
			const char *b = json_string_value(json_object_get(x, "before")),
					   *a = json_string_value(json_object_get(x, "after")),
					   *s = json_string_value(json_object_get(x, "selection"));
			if (!b || !a || json_is_false(json_object_get(x, "open")))
				continue;
			snprintf(before, 200, "%s", b);
			snprintf(after, 200, "%s", a);
			snprintf(exception, 200, "%s %s%s%s", json_string_value(json_object_get(d, "asset")),
			         json_string_value(json_object_get(x, "rule")), s ? " " : "", s ? s : "");
			json_decref(d);
			return true;
		}
		json_decref(d);
	}
	return false;
}

void a_fleet_is_watched(void **state)
{
	char before[200] = "", after[200] = "", exception[200] = "", path[700], body[400];
	struct http_reply r;
	char *made;
	size_t n;

	(void)state;
	made = printed("practice fleet -o fleet --machines 16 --days 40 --seed 3", &n);
	assert_true(n > 2);
	free(made);
	snprintf(path, sizeof path, "%s/fleet/audits", folder);
	snprintf(body, sizeof body, "%s/audits", folder);
	assert_int_equal(rename(path, body), 0); /* over the empty one that the bench was given */
	r = ask_bytes("GET", "/api/watch", "/api/watch", NULL, 0);
	assert_int_equal(r.status, 200);
	assert_true(pair_of(r.body, before, after, exception));
	http_done(&r);
	same_as("/api/watch", "/api/watch?history=1", "watch --history audits");
	snprintf(path, sizeof path, "/api/watch?asset=%.*s", (int)strcspn(exception, " "), exception);
	r = ask_bytes("GET", "/api/watch", path, NULL, 0);
	assert_int_equal(r.status, 200);
	assert_non_null(strstr(r.body, "\"reads\":[{"));
	assert_null(strchr(r.body, '\n')[1] ? "more than one machine" : NULL);
	http_done(&r);
	for (int i = 1; i <= 16; i++) { /* each machine with its own reads */
		snprintf(path, sizeof path, "/api/watch?asset=PF-%05d", i);
		r = ask_bytes("GET", "/api/watch", path, NULL, 0);
		assert_int_equal(r.status, 200);
		assert_non_null(strstr(r.body, "\"reads\":[{"));
		http_done(&r);
	}
	snprintf(path, sizeof path, "/api/watch/explain?file=%s", after);
	json_decref(ask(200, "GET", "/api/watch/explain", path, NULL));
	snprintf(path, sizeof path, "/api/watch/compare?before=%s&after=%s", before, after);
	json_decref(ask(200, "GET", "/api/watch/compare", path, NULL));

	snprintf(body, sizeof body, "{\"exception\":\"%s\",\"because\":\"the shelf is out\",\"by\":\"A. Clerk\"}",
	         exception);
	r = ask_bytes("POST", "/api/watch/acknowledge", "/api/watch/acknowledge", body, strlen(body));
	assert_int_equal(r.status, 200);
	http_done(&r);
	r = ask_bytes("GET", "/api/watch", "/api/watch", NULL, 0);
	assert_non_null(strstr(r.body, "\"acknowledged\":true")); /* by the book, also next time */
	http_done(&r);
	json_decref(ask(400, "POST", "/api/watch/acknowledge", "/api/watch/acknowledge", "{\"exception\":\"PF-00001 x\"}"));
	json_decref(ask(400, "POST", "/api/watch/acknowledge", "/api/watch/acknowledge",
	                "{\"exception\":\"NO-SUCH watch.none\",\"because\":\"x\"}"));
}

void no_path_leads_out_of_the_audits(void **state)
{
	static const char *const paths[] = { "..%2Fbook.sqlite",
		                                 "%2Fetc%2Fpasswd",
		                                 "way%2Fout%2Fbook.sqlite",
		                                 "loop",
		                                 ".",
		                                 "--json",
		                                 "2026-03-02%2F..%2F..%2Fbook.sqlite" };
	char path[200], out[200], target[200];

	(void)state;
	snprintf(path, sizeof path, "%s/audits/way", folder);
	snprintf(out, sizeof out, "%s/audits/loop", folder);
	snprintf(target, sizeof target, "%s", book);
	assert_int_equal(symlink(folder, path), 0);
	assert_int_equal(symlink(target, out), 0);
	for (size_t i = 0; i < sizeof paths / sizeof *paths; i++) {
		snprintf(path, sizeof path, "/api/watch/explain?file=%s", paths[i]);
		json_decref(ask(404, "GET", "/api/watch/explain", path, NULL));
	}
	json_decref(ask(400, "GET", "/api/watch", "/api/watch?folder=%2Fetc", NULL));
	snprintf(path, sizeof path, "%s/audits/way", folder);
	unlink(path);
	unlink(out);
}
