/* SPDX-License-Identifier: Apache-2.0 */
/* The office: tables that people keep in a spreadsheet, in a folder beside the book, and the audits below the folder
 * that the operator named. No path ever comes from a client: tables have names of a fixed list, audits are looked up
 * beneath their folder by the kernel. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/openat2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

static const struct table {
	const char *name, *file;
	bool watched;     /* given to watch beside the audits, with the option of its name */
	bool surveyed;    /* read by every survey that finds it */
	const char *bare; /* what does for it in a survey where it is not there yet; NULL: nothing is needed */
} tables[] = {
	{ "survey", "survey.csv", false, true, "asset\n-\n" },
	{ "families", "families.csv", false, true, "family\n" },
	{ "units", "units.csv", false, true, "unit\n" },
	{ "parts", "parts.csv", false, true, "part\n" },
	{ "leads", "leads.csv", false, true, "lead\n" },
	{ "technicians", "technicians.csv", false, true, NULL },
	{ "priors", "priors.csv", false, true, NULL },
	{ "distances", "distances.csv", false, false, NULL },
	{ "plan", "plan.json", false, false, NULL },
	{ "counts", "counts.csv", true, false, NULL },
	{ "settlements", "settlements.csv", true, false, NULL },
	{ "doors", "doors.csv", true, false, NULL },
	{ "temperatures", "temperatures.csv", true, false, NULL },
};
#define TABLES (sizeof tables / sizeof *tables)

static const struct table *table_of(struct request *r)
{
	const char *name = request_part(r, "table");

	for (size_t i = 0; i < TABLES; i++)
		if (strcmp(tables[i].name, name) == 0)
			return &tables[i];
	answer_error(r, 404, "The office keeps no table %.40s.", name);
	return NULL;
}

static const char *path_of(struct request *r, const struct table *t)
{
	return ft_arena_printf(&r->arena, "%s/%s", r->b->tables, t->file);
}

/* False: answered. The folder is made with the first table that comes. */
static bool folder_ready(struct request *r)
{
	if (!r->b->tables) {
		answer_error(r, 400, "This book is no file with room beside it; begin the bench with --tables FOLDER.");
		return false;
	}
	if (mkdir(r->b->tables, 0700) == 0 || errno == EEXIST)
		return true;
	answer_error(r, 500, "The folder of the tables cannot be made: %s.", strerror(errno));
	return false;
}

/* What a table holds, as a name of it: the ETag, and `was` of whoever changes it. "none": it is not there. */
static bool tag_of(const char *path, char tag[FT_HASH_TEXT])
{
	int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
	struct stat st = { 0 };
	struct ft_hash h;
	char *room;
	bool good;

	if (fd < 0) {
		snprintf(tag, FT_HASH_TEXT, "none");
		return errno == ENOENT || !path;
	}
	good = fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size <= TABLE_BYTES_MAX;
	room = good ? malloc((size_t)st.st_size + 1) : NULL;
	good = room && pread(fd, room, (size_t)st.st_size, 0) == st.st_size;
	close(fd);
	if (good) {
		h = ft_hash_of(room, (size_t)st.st_size);
		ft_hash_text(&h, tag);
		tag[32] = 0;
	}
	free(room);
	return good;
}

static void answer_tables(struct request *r, unsigned status, const char *error)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	char at[FT_TIME_TEXT];
	int offset;

	bench_wall(&offset);
	document_begin(&j, &out);
	ft_json_bool(&j, "audits", r->b->audits != NULL);
	ft_json_array(&j, "tables");
	for (size_t i = 0; i < TABLES; i++) {
		const char *path = r->b->tables ? path_of(r, &tables[i]) : NULL;
		struct stat st;
		bool there = path && stat(path, &st) == 0;
		ft_json_object(&j, NULL);
		ft_json_text(&j, "table", tables[i].name);
		ft_json_count(&j, "bytes", there ? st.st_size : FT_ABSENT);
		ft_json_text(&j, "changed",
		             there ? ft_time_text(st.st_mtim.tv_sec * FT_SECOND + st.st_mtim.tv_nsec / 1000, offset, at)
		                   : NULL);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	if (error) {
		ft_json_text(&j, "error", error);
		ft_json_i64(&j, "exit", FT_E_USAGE);
	}
	document_end(&j);
	answer_json(r, status, &out);
}

void table_list(struct request *r)
{
	answer_tables(r, 200, NULL);
}

/* Whoever says from what their change began must have begun from what stands now. False: answered. */
static bool begun_from(struct request *r, const struct table *t, const char *path)
{
	const char *was = request_query(r, "was");
	char tag[FT_HASH_TEXT];

	if (!was || (tag_of(path, tag) && strcmp(was, tag) == 0))
		return true;
	answer_tables(
		r, 409,
		ft_arena_printf(&r->arena,
	                    "Somebody else changed the table %s meanwhile; look at what stands now and change that.",
	                    t->name));
	return false;
}

void table_get(struct request *r)
{
	const struct table *t = table_of(r);
	const char *path = t && r->b->tables ? path_of(r, t) : NULL;
	char tag[FT_HASH_TEXT], quoted[FT_HASH_TEXT + 2];

	if (!t)
		return;
	if (!path || access(path, F_OK) != 0) {
		answer_error(r, 404, "There is no table %s yet.", t->name);
		return;
	}
	if (tag_of(path, tag)) {
		snprintf(quoted, sizeof quoted, "\"%s\"", tag);
		answer_header(r, "ETag", quoted);
	}
	answer_kept(r, path, t->file);
}

static void tell(struct request *r, const char *what)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "what", what);
	ft_json_text(&j, "browser", r->page);
	ft_json_object_end(&j);
	event_put(r->b, "office", ft_buf_text(&out));
	ft_buf_done(&out);
}

/* The folder of the bodies may lie on another disk, so the bytes are copied; whole or not at all. */
static bool copied(int from, int to)
{
	char bytes[65536];
	ssize_t n;

	if (lseek(from, 0, SEEK_SET) != 0)
		return false;
	while ((n = read(from, bytes, sizeof bytes)) > 0)
		for (ssize_t did = 0, w; did < n; did += w)
			if ((w = write(to, bytes + did, (size_t)(n - did))) <= 0)
				return false;
	return n == 0 && fsync(to) == 0;
}

static void keep(struct request *r, const struct table *t)
{
	const char *path = path_of(r, t);
	char *fresh;
	int fd;
	bool good;

	if (!begun_from(r, t, path))
		return;
	fresh = ft_arena_printf(&r->arena, "%s/.%s.XXXXXX", r->b->tables, t->name);
	fd = path && fresh ? mkostemp(fresh, O_CLOEXEC) : -1;
	good = fd >= 0 && copied(r->file, fd);
	if (fd >= 0)
		close(fd);
	if (!good || rename(fresh, path) != 0) {
		if (fd >= 0)
			unlink(fresh);
		answer_error(r, 500, "The table %s cannot be kept: %s.", t->name, strerror(errno));
		return;
	}
	tell(r, t->name);
	table_list(r);
}

/* ---- a table is read by its command before it takes the place of the one that stands ---- */

static bool laid_out(struct request *r, struct errand *x, const struct table *t)
{
	const char *path = r->b->tables ? path_of(r, t) : NULL,
			   *here = ft_arena_printf(&x->arena, "%s/%s", x->folder, t->file);

	return path && here && access(path, F_OK) == 0 && symlink(path, here) == 0;
}

static bool laid_bare(struct errand *x, const struct table *t)
{
	const char *here = ft_arena_printf(&x->arena, "%s/%s", x->folder, t->file);
	int fd = here ? open(here, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600) : -1;
	bool good = fd >= 0 && write(fd, t->bare, strlen(t->bare)) == (ssize_t)strlen(t->bare);

	if (fd >= 0)
		close(fd);
	return good;
}

static bool begins(struct ft_slice s, const char *with)
{
	size_t n = strlen(with);

	return s.n >= n && memcmp(s.p, with, n) == 0;
}

/* Whether the refusal of a command is of this table: its sentence begins with the name of the file. */
static bool refused(const struct errand *x, const struct table *t)
{
	static const char before[] = "\"error\":\"";
	char text[8192];
	ssize_t n = x->out >= 0 ? pread(x->out, text, sizeof text, 0) : -1;
	struct ft_slice said = { text, n > 0 ? (size_t)n : 0 };
	size_t at = ft_slice_find(said, FT_SLICE(before));

	if (at >= said.n)
		return false;
	said = (struct ft_slice){ said.p + at + sizeof before - 1, said.n - at - (sizeof before - 1) };
	if (begins(said, "./"))
		said = (struct ft_slice){ said.p + 2, said.n - 2 };
	return begins(said, t->file);
}

static void looked_at(struct errand *x, int code)
{
	struct request *r = x->request;
	const struct table *t = table_of(r);

	if (code > 1 && t && refused(x, t)) {
		errand_answer(x, code);
		return;
	}
	r->errand = NULL;
	x->request = NULL;
	if (t)
		keep(r, t);
}

/* The command that reads the table, in a folder where nothing but the table can be at fault. False: answered. */
static bool look_at(struct request *r, struct errand *x, const struct table *t)
{
	static const char *const survey[] = { "fettle", "--json", "survey", "--catalogue=.", "--", "survey.csv", NULL };
	const char *watch[] = {
		"fettle", "--json", "watch", "--book=look.sqlite", ft_arena_printf(&x->arena, "--%s=%s", t->name, t->file),
		"--",     "none",   NULL
	};
	const char *here = ft_arena_printf(&x->arena, "%s/%s", x->folder, t->file),
			   *none = ft_arena_printf(&x->arena, "%s/none", x->folder);
	struct step *s = errand_step(x);
	bool good = s && here && none && watch[4] && symlink(r->file_path, here) == 0 && mkdir(none, 0700) == 0;

	for (size_t i = 0; good && t->surveyed && i < TABLES; i++)
		if (&tables[i] != t && tables[i].surveyed && !laid_out(r, x, &tables[i]) && tables[i].bare)
			good = laid_bare(x, &tables[i]);
	if (!good) {
		answer_error(r, 500, "The table %s cannot be looked at: %s.", t->name, strerror(errno));
		return false;
	}
	if (t->surveyed)
		memcpy(s->words, survey, sizeof survey);
	else
		memcpy(s->words, watch, sizeof watch);
	x->done = looked_at;
	return true;
}

void table_put(struct request *r)
{
	const struct table *t = table_of(r);
	struct errand *x;

	if (!t || !folder_ready(r))
		return;
	if (!t->surveyed && !t->watched) {
		keep(r, t);
		return;
	}
	if (!begun_from(r, t, path_of(r, t)))
		return;
	x = errand_new(r);
	if (!x)
		return;
	if (look_at(r, x, t)) {
		errand_send(r->b, x);
		return;
	}
	r->errand = NULL;
	errand_free(x);
}

void table_drop(struct request *r)
{
	const struct table *t = table_of(r);
	const char *path = t && r->b->tables ? path_of(r, t) : NULL;

	if (!t || !begun_from(r, t, path))
		return;
	if (path && unlink(path) != 0 && errno != ENOENT) {
		answer_error(r, 500, "The table %s cannot be taken away: %s.", t->name, strerror(errno));
		return;
	}
	tell(r, t->name);
	table_list(r);
}

/* ---- what commands are given ---- */

const char *office_survey(struct request *r, struct errand *x)
{
	bool survey = false;

	for (size_t i = 0; i < TABLES; i++)
		if (!tables[i].watched && laid_out(r, x, &tables[i]))
			survey |= i == 0;
	if (survey)
		return tables[0].file;
	answer_error(r, 404, "There is no survey yet; put one at /api/tables/survey.");
	return NULL;
}

const char *office_watched(struct request *r, struct errand *x, const char *options[], int *ret_count)
{
	*ret_count = 0;
	if (!r->b->audits) {
		answer_error(r, 404, "No folder of audits was named; begin the bench with --audits FOLDER.");
		return NULL;
	}
	for (size_t i = 0; i < TABLES; i++)
		if (tables[i].watched && laid_out(r, x, &tables[i]))
			options[(*ret_count)++] = ft_arena_printf(&x->arena, "--%s=%s", tables[i].name, tables[i].file);
	return r->b->audits;
}

/* Beneath the folder and through no link that leads out of it: the kernel sees to both. */
const char *office_audit(struct request *r, struct errand *x, const char *name)
{
	struct open_how how = { .flags = O_RDONLY | O_CLOEXEC | O_NONBLOCK,
		                    .resolve = RESOLVE_BENEATH | RESOLVE_NO_SYMLINKS | RESOLVE_NO_MAGICLINKS };
	int root = r->b->audits ? open(r->b->audits, O_PATH | O_DIRECTORY | O_CLOEXEC) : -1;
	int fd = root >= 0 ? (int)syscall(SYS_openat2, root, name, &how, sizeof how) : -1, out;
	const char *here = plain_name(&x->arena, name, "audit");
	const char *path = here ? ft_arena_printf(&x->arena, "%s/%s", x->folder, here) : NULL;
	struct stat st;
	bool good = false;

	if (path && access(path, F_OK) == 0) { /* two audits of one name */
		here = ft_arena_printf(&x->arena, "%d-%s", x->audit_count, here);
		path = here ? ft_arena_printf(&x->arena, "%s/%s", x->folder, here) : NULL;
	}
	if (root >= 0)
		close(root);
	if (fd >= 0 && path && fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size <= FT_EVIDENCE_BYTES_MAX) {
		out = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
		good = out >= 0 && copied(fd, out);
		if (out >= 0)
			close(out);
	}
	if (fd >= 0)
		close(fd);
	x->audit_count++;
	if (good)
		return here;
	answer_error(r, 404, "There is no audit %.200s in the folder that is watched.", name);
	return NULL;
}

/* ---- the papers of the plan that is kept ---- */

/* How often a key stands in a document; a figure behind it is added to *ret_sum. -1: it cannot be read. */
static int64_t counted(int fd, const char *key, int64_t *ret_sum)
{
	struct stat st = { 0 };
	char *text = fd >= 0 && fstat(fd, &st) == 0 && st.st_size >= 0 ? malloc((size_t)st.st_size + 1) : NULL;
	struct ft_slice left = { text, (size_t)st.st_size };
	int64_t n = 0;

	if (!text || pread(fd, text, left.n, 0) != (ssize_t)left.n) {
		free(text);
		return -1;
	}
	for (size_t at; (at = ft_slice_find(left, ft_slice_of(key))) < left.n; n++) {
		int64_t figure = 0;
		left = (struct ft_slice){ left.p + at + strlen(key), left.n - at - strlen(key) };
		for (size_t i = 0; i < left.n && i < 9 && ft_is_digit(left.p[i]); i++)
			figure = 10 * figure + (left.p[i] - '0');
		if (ret_sum)
			*ret_sum += figure;
	}
	free(text);
	return n;
}

/* Whether what was planned now has each stop of the plan that is kept on its day, and no other. */
static bool as_kept(struct errand *x)
{
	const char *path = ft_arena_printf(&x->arena, "%s/plan.json", x->folder);
	int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
	int64_t stops = counted(fd, "\"arrive\":", NULL), kept = 0;

	if (fd >= 0)
		close(fd);
	return counted(x->out, "\"kept\":", &kept) == 1 && kept == stops && counted(x->out, "\"arrive\":", NULL) == stops;
}

static void paper_ready(struct errand *x, int code)
{
	struct request *r = x->request;
	const char *name = request_part(r, "paper"), *path;
	struct stat st = { 0 };
	int fd;

	if (code < 0 || code > 1) {
		errand_answer(x, code);
		return;
	}
	if (!as_kept(x)) {
		r->errand = NULL;
		x->request = NULL;
		answer_error(
			r, 409,
			"The tables changed since this was planned, and not every machine can keep its day: plan anew, then "
			"take the papers.");
		return;
	}
	path = name_plain(name) ? ft_arena_printf(&r->arena, "%s/papers/%s", x->folder, name) : NULL;
	r->errand = NULL;
	x->request = NULL;
	if (!path || access(path, F_OK) != 0) {
		answer_error(r, 404, "The plan has no paper %.100s.", name);
	} else if (strcmp(name, "days.pdf") != 0) {
		answer_kept(r, path, name);
	} else { /* of our own making, so it may be shown */
		fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
		if (fd >= 0 && fstat(fd, &st) == 0) {
			answer_fd(r, 200, fd, st.st_size, "application/pdf");
			return;
		}
		if (fd >= 0)
			close(fd);
		answer_error(r, 500, "The paper %s cannot be read.", name);
	}
}

/* ---- acknowledging ---- */

static void acknowledged(struct errand *x, int code)
{
	if (code == 0 || code == 1)
		tell(x->request, "watch");
	errand_answer(x, code);
}

static void acknowledge(struct request *r)
{
	static const char *const must[] = { "exception", "because" };

	for (size_t i = 0; i < sizeof must / sizeof *must; i++)
		if (!request_field(r, must[i]) || !*request_field(r, must[i])) {
			answer_error(r, 400, "This needs %s to be given.", must[i]);
			return;
		}
	command_run(r);
}

/* ---- the routes ---- */

#define END                \
	{                      \
		NULL, NULL, P_TEXT \
	}

static const struct parameter surveys[] = { { "asset", "--asset", P_TEXT }, END };
static const struct parameter templates[] = { { "table", "--template", P_WORD }, END };
static const struct parameter plans[] = { { "from", "--from", P_WORD },
	                                      { "days", "--days", P_NUMBER },
	                                      { "seed", "--seed", P_NUMBER },
	                                      { "steps", "--steps", P_NUMBER },
	                                      { "risk", "--risk", P_NUMBER },
	                                      { "refill", "--refill", P_NUMBER },
	                                      { "on_hand", "--on-hand", P_FLAG },
	                                      { "plan", "--plan=plan.json", P_FLAG },
	                                      { "move", "--move", P_TEXT },
	                                      { "distances", "--distances=distances.csv", P_FLAG },
	                                      END };
static const struct parameter papers[] = { { "days", "--days", P_NUMBER }, END };
static const struct parameter watches[] = {
	{ "asset", "--asset", P_TEXT }, { "history", "--history", P_FLAG }, { "again", "--again", P_FLAG }, END
};
static const struct parameter words[] = {
	{ "exception", "--acknowledge", P_TEXT }, { "because", "--because", P_TEXT }, { "by", "--by", P_TEXT }, END
};
static const struct parameter audits[] = { { "file", NULL, P_AUDIT }, END };
static const struct parameter pairs[] = { { "before", NULL, P_AUDIT }, { "after", NULL, P_AUDIT }, END };

const struct route routes_office[] = {
	{ "GET", "/api/tables", .run = table_list },
	{ "GET", "/api/tables/{table}", .run = table_get },
	{ "PUT", "/api/tables/{table}", BODY_BYTES, .run = table_put, .most = TABLE_BYTES_MAX },
	{ "DELETE", "/api/tables/{table}", .run = table_drop },
	{ "GET", "/api/survey", BODY_NONE, ANSWER_LINES, { "survey", "?", "--catalogue=.", "--", "{survey}" }, surveys },
	{ "GET",
	  "/api/survey/template",
	  BODY_NONE,
	  ANSWER_TEXT,
	  { "survey", "?" },
	  templates,
	  .type = "text/csv; charset=utf-8" },
	{ "POST",
	  "/api/rollout",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "rollout", "?", "--catalogue=.", "--", "{survey}" },
	  plans },
	{ "GET",
	  "/api/rollout/papers/{paper}",
	  BODY_NONE,
	  ANSWER_DOCUMENT,
	  /* each machine keeps its promised day, so that the papers are of the plan that is shown */
	  { "rollout", "?", "--catalogue=.", "--plan=plan.json", "--steps=3000", "-o", "papers", "--", "{survey}" },
	  papers,
	  .after = paper_ready },
	{ "GET", "/api/watch", BODY_NONE, ANSWER_LINES, { "watch", "?", "{audits}" }, watches, .writes = true },
	{ "POST",
	  "/api/watch/acknowledge",
	  BODY_FIELDS,
	  ANSWER_LINES,
	  { "watch", "?", "{audits}" },
	  words,
	  .run = acknowledge,
	  .after = acknowledged },
	{ "GET", "/api/watch/explain", BODY_NONE, ANSWER_DOCUMENT, { "explain", "--", "{file}" }, audits },
	{ "GET", "/api/watch/compare", BODY_NONE, ANSWER_DOCUMENT, { "compare", "--", "{before}", "{after}" }, pairs },
	{ NULL },
};
