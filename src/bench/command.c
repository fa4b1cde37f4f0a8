/* SPDX-License-Identifier: Apache-2.0 */
/* A request as a command line: words of the route's table, values of its parameters, files of the book. */
#include "bench.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define TEXT_MAX 4000 /* ours: a statement is a sentence or two */

const struct parameter *parameter_of(const struct route *t, const char *name)
{
	for (const struct parameter *p = t->parameters; p && p->name; p++)
		if (strcmp(p->name, name) == 0)
			return p;
	return NULL;
}

static bool all_of(const char *value, const char *beside)
{
	for (const char *p = value; *p; p++)
		if (!ft_is_digit(*p) && (!*beside || !strchr(beside, *p)))
			return false;
	return *value != 0;
}

bool parameter_good(const struct parameter *p, const char *value)
{
	static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ._:,+-";

	if (strlen(value) > TEXT_MAX || !ft_utf8(ft_slice_of(value)))
		return false;
	switch (p->kind) {
	case P_WORD:
	case P_REPEAT:
		return all_of(value, letters);
	case P_NUMBER:
		return strlen(value) < 24 && all_of(value, "+-.e");
	case P_PIECE:
		return strlen(value) < 10 && all_of(value, "");
	case P_FLAG:
		return !*value || strcmp(value, "1") == 0 || strcmp(value, "0") == 0 || strcmp(value, "true") == 0 ||
			strcmp(value, "false") == 0;
	default:
		for (const char *q = value; *q; q++)
			if (((unsigned char)*q < ' ' && *q != '\n' && *q != '\t') || *q == 0x7f)
				return false;
		return true;
	}
}

static bool flag_up(const char *value)
{
	return strcmp(value, "1") == 0 || strcmp(value, "true") == 0;
}

struct making {
	struct request *r;
	struct errand *x;
	const char *words[WORDS_MAX];
	int count;
	const char *visit; /* its id */
};

static bool put(struct making *m, const char *word)
{
	if (!word || m->count >= WORDS_MAX - 1) {
		answer_error(m->r, 500, "There is too little memory for this command.");
		return false;
	}
	m->words[m->count++] = word;
	return true;
}

/* The file of a piece, whose number came as text. */
static const char *piece(struct making *m, const char *number)
{
	struct ft_error e = { 0 };
	const char *name;
	int64_t n;

	if (!m->visit || !ft_slice_i64(ft_slice_of(number), &n)) {
		answer_error(m->r, 404, "\"%.20s\" is no number of a piece of evidence.", number);
		return NULL;
	}
	name = errand_fetch(m->r->b, m->x, m->visit, n, &e);
	if (!name && e.status == FT_E_USAGE)
		answer_error(m->r, 404, "%s", e.text);
	else if (!name)
		answer_failure(m->r, &e);
	return name;
}

/* The body's file under the name that was given. */
static const char *body_file(struct making *m)
{
	const char *name = plain_name(&m->x->arena, request_query(m->r, "name"), "file");
	const char *path = name ? ft_arena_printf(&m->x->arena, "%s/%s", m->x->folder, name) : NULL;

	if (!path || rename(m->r->file_path, path) != 0) {
		answer_error(m->r, 500, "What came could not be kept.");
		return NULL;
	}
	m->r->file_path = NULL;
	close(m->r->file);
	m->r->file = -1;
	return name;
}

/* The folder that is watched, behind the tables that belong to it. */
static bool put_watched(struct making *m)
{
	const char *options[4], *folder;
	int count;

	folder = office_watched(m->r, m->x, options, &count);
	for (int i = 0; folder && i < count; i++)
		if (!put(m, options[i]))
			return false;
	return folder && put(m, "--") && put(m, folder);
}

static bool put_options(struct making *m)
{
	const struct request *r = m->r;
	const struct field *f = r->route->body == BODY_FIELDS ? r->body : r->query;
	int count = r->route->body == BODY_FIELDS ? r->body_count : r->query_count;

	for (int i = 0; i < count; i++) {
		const struct parameter *p = parameter_of(r->route, f[i].name);
		const char *value = f[i].value;
		if (!p->option || (p->kind == P_FLAG && !flag_up(value)))
			continue;
		if (p->kind == P_PIECE)
			value = piece(m, value);
		if (!value || !put(m, p->kind == P_FLAG ? p->option : ft_arena_printf(&m->x->arena, "%s=%s", p->option, value)))
			return false;
	}
	return true;
}

/* {visit}, {n}, {body}, or a field that must be there. */
static bool put_named(struct making *m, const char *word)
{
	char name[32];
	const struct parameter *p;
	const char *value;

	snprintf(name, sizeof name, "%.*s", (int)(strlen(word) - 2), word + 1);
	if (strcmp(name, "visit") == 0)
		return put(m, m->visit);
	if (strcmp(name, "body") == 0) {
		value = body_file(m);
		return value && put(m, value);
	}
	if (strcmp(name, "n") == 0) {
		value = piece(m, request_part(m->r, name));
		return value && put(m, value);
	}
	if (strcmp(name, "survey") == 0) {
		value = office_survey(m->r, m->x);
		return value && put(m, value);
	}
	if (strcmp(name, "audits") == 0)
		return put_watched(m);
	p = parameter_of(m->r->route, name);
	value = m->r->route->body == BODY_FIELDS ? request_field(m->r, name) : request_query(m->r, name);
	if (!value || !*value) {
		answer_error(m->r, 400, "This needs %s to be given.", name);
		return false;
	}
	if (p->kind == P_PIECE)
		value = piece(m, value);
	else if (p->kind == P_AUDIT)
		value = office_audit(m->r, m->x, value);
	return value && put(m, value);
}

static bool put_words(struct making *m)
{
	const struct route *t = m->r->route;
	const char *const head[] = { "fettle", "--json" };

	for (size_t i = 0; i < sizeof head / sizeof *head; i++)
		if (!put(m, head[i]))
			return false;
	for (size_t i = 0; i < sizeof t->words / sizeof *t->words && t->words[i]; i++) {
		const char *w = t->words[i];
		bool good = *w == '?' ? put_options(m) : *w == '{' ? put_named(m, w) : put(m, w);
		if (!good)
			return false;
	}
	return true;
}

static bool query_known(struct request *r)
{
	for (int i = 0; i < r->query_count; i++) {
		const struct parameter *p = r->route->body == BODY_FIELDS ? NULL : parameter_of(r->route, r->query[i].name);
		if (!p || !parameter_good(p, r->query[i].value)) {
			answer_error(r, 400,
			             p ? "The parameter %.40s does not hold what it must."
			               : "This request knows no parameter %.40s.",
			             r->query[i].name);
			return false;
		}
		for (int k = 0; k < i; k++)
			if (p->kind != P_REPEAT && strcmp(r->query[k].name, r->query[i].name) == 0) {
				answer_error(r, 400, "The parameter %.40s is given twice.", p->name);
				return false;
			}
	}
	return true;
}

const char *request_visit(struct request *r)
{
	struct ft_error e = { 0 };
	const char *name = request_part(r, "visit"), *id = NULL;

	if (!name)
		name = request_field(r, "visit");
	if (!name) {
		answer_error(r, 400, "This needs visit to be given.");
		return NULL;
	}
	if (ft_book_visit_find(r->b->book, name, &r->arena, &id, &e) == FT_OK)
		return id;
	if (e.status == FT_E_USAGE)
		answer_error(r, 404, "%s", e.text);
	else
		answer_failure(r, &e);
	return NULL;
}

/* True: the browser has this answer already. */
static bool known_already(struct making *m)
{
	struct ft_buf all = { 0 };
	char hash[FT_HASH_TEXT], tag[40];
	const char *has = request_header(m->r, "If-None-Match");
	struct ft_hash h;

	ft_buf_puts(&all, m->r->b->stamp);
	ft_buf_puts(&all, m->r->route->path);
	for (int i = 2; i < m->count; i++) {
		ft_buf_puts(&all, m->words[i]);
		ft_buf_byte(&all, 0);
	}
	ft_buf_slice(&all, ft_buf_text(&m->x->tag));
	h = ft_hash_of(all.p, all.n);
	if (all.status != FT_OK) {
		ft_buf_done(&all);
		return false;
	}
	ft_buf_done(&all);
	snprintf(tag, sizeof tag, "\"%.32s\"", ft_hash_text(&h, hash));
	answer_header(m->r, "ETag", tag);
	answer_header(m->r, "Cache-Control", "private, no-cache");
	if (!has || !strstr(has, tag))
		return false;
	answer_bytes(m->r, 304, "", 0, "application/json");
	return true;
}

void command_run(struct request *r)
{
	struct making m = { .r = r };
	struct step *s;

	if (!query_known(r))
		return;
	if (request_part(r, "visit") && !(m.visit = request_visit(r)))
		return;
	m.x = errand_new(r);
	if (!m.x)
		return;
	m.x->writes_book = r->route->writes || strcmp(r->route->method, "GET") != 0;
	m.x->done = r->route->after ? r->route->after : errand_answer;
	if (put_words(&m) && !(r->route->cached && known_already(&m))) {
		s = errand_step(m.x);
		if (s) {
			memcpy(s->words, m.words, sizeof m.words);
			errand_send(r->b, m.x);
			return;
		}
		answer_error(r, 400, "Too many pieces of evidence at once.");
	}
	r->errand = NULL;
	errand_free(m.x);
}
