/* SPDX-License-Identifier: Apache-2.0 */
/* What is neither a visit's record nor a look at evidence: bytes, packages, drafts, browsers, events. */
#include "bench.h"

#include <archive.h>
#include <archive_entry.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- the bytes of one piece ---- */

/* A picture may be shown by the browser; all else is only kept, since bytes of others must never be a page of ours. */
static const char *picture_type(const unsigned char *p, size_t n)
{
	if (n > 3 && memcmp(p, "\xff\xd8\xff", 3) == 0)
		return "image/jpeg";
	if (n > 8 && memcmp(p, "\x89PNG\r\n\x1a\n", 8) == 0)
		return "image/png";
	if (n > 12 && memcmp(p, "RIFF", 4) == 0 && memcmp(p + 8, "WEBP", 4) == 0)
		return "image/webp";
	return NULL;
}

void answer_kept(struct request *r, const char *path, const char *name)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
	unsigned char head[16];
	ssize_t n = fd >= 0 ? pread(fd, head, sizeof head, 0) : -1;
	const char *type = n > 0 ? picture_type(head, (size_t)n) : NULL;
	struct ft_buf said = { 0 };
	struct stat st;

	if (n < 0 || fstat(fd, &st) != 0) {
		if (fd >= 0)
			close(fd);
		answer_error(r, 404, "There is no such file any more.");
		return;
	}
	ft_buf_puts(&said, type ? "inline" : "attachment; filename=\"");
	for (const char *p = type ? "" : name; *p; p++) /* what a header cannot carry is left out */
		ft_buf_byte(&said, (unsigned char)*p >= 0x80 || *p == '"' || *p == '\\' ? '_' : (uint8_t)*p);
	if (!type)
		ft_buf_byte(&said, '"');
	ft_buf_byte(&said, 0);
	answer_header(r, "Content-Disposition", said.status == FT_OK ? said.p : "attachment");
	ft_buf_done(&said);
	answer_fd(r, 200, fd, st.st_size, type ? type : "application/octet-stream");
}

static void bytes_ready(struct errand *x, int code)
{
	struct request *r = x->request;
	const char *link = x->steps[0].link;

	if (code != 0) {
		errand_answer(x, code);
		return;
	}
	r->errand = NULL;
	x->request = NULL;
	answer_kept(r, link, strrchr(link, '/') + 1);
}

void evidence_bytes(struct request *r)
{
	const char *visit = request_visit(r), *has = request_header(r, "If-None-Match");
	struct ft_error e = { 0 };
	struct errand *x;
	char tag[40];
	int64_t n;

	if (!visit || !request_number(r, "The number of a piece", request_part(r, "n"), 1, INT32_MAX, &n))
		return;
	x = errand_new(r);
	if (!x)
		return;
	x->done = bytes_ready;
	if (errand_fetch(r->b, x, visit, n, &e)) {
		snprintf(tag, sizeof tag, "\"%.32s\"", x->tag.p);
		answer_header(r, "ETag", tag);
		answer_header(r, "Cache-Control", "private, no-cache");
		if (!has || !strstr(has, tag)) {
			errand_send(r->b, x);
			return;
		}
		answer_bytes(r, 304, "", 0, "application/octet-stream");
	} else if (e.status == FT_E_USAGE) {
		answer_error(r, 404, "%s", e.text);
	} else {
		answer_failure(r, &e);
	}
	r->errand = NULL;
	errand_free(x);
}

/* ---- packages ---- */

static char *package_path(struct request *r, const char *id)
{
	struct ft_hash h = ft_hash_of(id, strlen(id)); /* an id may hold what no name of a file may */
	char hash[FT_HASH_TEXT];

	return ft_arena_printf(&r->arena, "%s/%.32s.zip", r->b->desk, ft_hash_text(&h, hash));
}

void package_packed(struct errand *x, int code)
{
	struct request *r = x->request;
	const char *id = request_visit(r);
	char *to = id ? package_path(r, id) : NULL, *from = ft_arena_printf(&r->arena, "%s/package.zip", x->folder);

	if ((code == 0 || code == 1) && (!to || !from || rename(from, to) != 0)) {
		r->errand = NULL;
		x->request = NULL;
		answer_error(r, 500, "The package could not be kept.");
		return;
	}
	errand_answer(x, code);
}

static void package_get(struct request *r)
{
	const char *id = request_visit(r);
	char *path = id ? package_path(r, id) : NULL, *name;

	if (!id)
		return;
	name = ft_arena_printf(&r->arena, "%s.zip", id);
	if (!path || !name || access(path, F_OK) != 0)
		answer_error(r, 404, "The visit %s was not packed since the bench began; pack it first.", id);
	else
		answer_kept(r, path, plain_name(&r->arena, name, "package.zip"));
}

/* One member of a package of our own making, into a file without a name; -1. */
static int member_of(const struct bench *b, const char *path, const char *name, int64_t *ret_bytes)
{
	struct archive *z = archive_read_new();
	struct archive_entry *entry;
	int out = -1;
	struct stat st;

	if (!z)
		return -1;
	archive_read_support_format_zip(z);
	if (archive_read_open_filename(z, path, 65536) == ARCHIVE_OK)
		while (out < 0 && archive_read_next_header(z, &entry) == ARCHIVE_OK) {
			const char *here = archive_entry_pathname(entry);
			if (!here || strcmp(here, name) != 0)
				continue;
			out = desk_scratch(b);
			if (out >= 0 && (archive_read_data_into_fd(z, out) != ARCHIVE_OK || fstat(out, &st) != 0)) {
				close(out);
				out = -1;
				break;
			}
		}
	archive_read_free(z);
	*ret_bytes = out >= 0 ? st.st_size : 0;
	return out;
}

static void package_paper(struct request *r)
{
	const char *id = request_visit(r);
	char *path = id ? package_path(r, id) : NULL;
	int64_t bytes = 0;
	int fd;

	if (!id)
		return;
	fd = path ? member_of(r->b, path, "handover.pdf", &bytes) : -1;
	if (fd >= 0)
		answer_fd(r, 200, fd, bytes, "application/pdf");
	else
		answer_error(r, 404, "The visit %s was not packed since the bench began; pack it first.", id);
}

#define END                \
	{                      \
		NULL, NULL, P_TEXT \
	}

static const struct parameter packs[] = { { "name", "--name", P_TEXT }, { "paper", "--paper", P_WORD }, END };
static const struct parameter receives[] = { { "name", NULL, P_TEXT }, END };
static const struct parameter enters[] = { { "code", NULL, P_TEXT }, { "name", NULL, P_TEXT }, END };
static const struct parameter nothing[] = { END };

const struct route routes_desk[] = {
	{ "POST",
	  "/api/visits/{visit}/handover",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "handover", "pack", "?", "-o", "package.zip", "--", "{visit}" },
	  packs,
	  .after = package_packed },
	{ "GET", "/api/visits/{visit}/handover.zip", .run = package_get },
	{ "GET", "/api/visits/{visit}/handover.pdf", .run = package_paper },
	{ "POST", "/api/receive", BODY_BYTES, ANSWER_DOCUMENT, { "handover", "receive", "?", "--", "{body}" }, receives },
	{ "GET", "/api/handover/key", BODY_NONE, ANSWER_DOCUMENT, { "handover", "key" }, nothing },

	{ "GET", "/api/drafts", .run = draft_list },
	{ "GET", "/api/drafts/{key}", .run = draft_get },
	{ "PUT", "/api/drafts/{key}", BODY_TEXT, .run = draft_put },
	{ "DELETE", "/api/drafts/{key}", .run = draft_drop },

	{ "GET", "/api/bench", .run = pair_bench, .open = true },
	{ "POST", "/api/pair", BODY_FIELDS, .parameters = enters, .run = pair_enter, .open = true },
	{ "GET", "/api/browsers", .run = pair_list },
	{ "POST", "/api/browsers/code", .run = pair_code },
	{ "DELETE", "/api/browsers/{id}", .run = pair_revoke },

	{ "GET", "/api/events", .run = events_stream },
	{ NULL },
};
