/* SPDX-License-Identifier: Apache-2.0 */
/* One request from its first line to its answer. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BODY_BYTES_MAX ((int64_t)FT_EVIDENCE_BYTES_MAX)

const char *request_header(const struct request *r, const char *name)
{
	return MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, name);
}

static const char *value_of(const struct field *f, int count, const char *name)
{
	for (int i = 0; i < count; i++)
		if (strcmp(f[i].name, name) == 0)
			return f[i].value;
	return NULL;
}

const char *request_query(const struct request *r, const char *name)
{
	return value_of(r->query, r->query_count, name);
}

const char *request_field(const struct request *r, const char *name)
{
	return value_of(r->body, r->body_count, name);
}

bool request_number(struct request *r, const char *name, const char *text, int64_t least, int64_t most, int64_t *ret)
{
	int64_t v;

	if (ft_slice_i64(ft_slice_of(text), &v) && v >= least && v <= most) {
		*ret = v;
		return true;
	}
	answer_error(r, 400, "%s is a whole number from %lld to %lld.", name, (long long)least, (long long)most);
	return false;
}

/* ---- its head ---- */

static enum MHD_Result take_query(void *cls, enum MHD_ValueKind kind, const char *name, const char *value)
{
	struct request *r = cls;
	const char *n, *v;

	(void)kind;
	if (r->query_count == FIELDS_MAX) {
		answer_error(r, 400, "More than %d parameters.", FIELDS_MAX);
		return MHD_NO;
	}
	if (!percent_decoded(&r->arena, ft_slice_of(name), &n) ||
	    !percent_decoded(&r->arena, ft_slice_of(value ? value : ""), &v)) {
		answer_error(r, 400, "A parameter is no text in UTF-8.");
		return MHD_NO;
	}
	r->query[r->query_count++] = (struct field){ n, v };
	return MHD_YES;
}

static int64_t most_bytes(const struct request *r)
{
	switch (r->route->body) {
	case BODY_FIELDS:
		return BODY_FIELDS_MAX;
	case BODY_TEXT:
		return FT_DRAFT_BYTES_MAX;
	case BODY_BYTES:
		return r->route->most ? r->route->most : BODY_BYTES_MAX;
	default:
		return 0;
	}
}

static void too_large(struct request *r)
{
	answer_error(r, 413, "The body of this request may have %lld bytes.", (long long)most_bytes(r));
}

/* The file that a body of bytes goes to while it comes. */
static bool open_file(struct request *r)
{
	r->file_path = ft_arena_printf(&r->arena, "%s/come/bodyXXXXXX", r->b->desk);
	r->file = r->file_path ? mkostemp(r->file_path, O_CLOEXEC) : -1;
	if (r->file >= 0)
		return true;
	r->file_path = NULL;
	answer_error(r, 500, "Nothing can be written to the disk now: %s.", strerror(errno));
	return false;
}

static bool look_at_head(struct request *r)
{
	const char *length, *type;
	int64_t n = 0;

	if (!gate_host(r) || !gate_origin(r))
		return false;
	MHD_get_connection_values(r->connection, MHD_GET_ARGUMENT_KIND, take_query, r);
	if (r->answered)
		return false;
	r->route = route_find(r);
	if (!r->route || !gate_cookie(r))
		return false;
	length = request_header(r, "Content-Length");
	if (length && (!ft_slice_i64(ft_slice_of(length), &n) || n < 0 || n > most_bytes(r))) {
		too_large(r);
		return false;
	}
	type = request_header(r, "Content-Type");
	if (r->route->body == BODY_FIELDS && (!type || strncmp(type, "application/json", 16) != 0)) {
		answer_error(r, 415, "This body is one JSON object: Content-Type: application/json.");
		return false;
	}
	if (r->link)
		r->link->bytes = 0;
	return r->route->body != BODY_BYTES || open_file(r);
}

static struct request *begin(struct bench *b, struct MHD_Connection *c, const char *url, const char *method)
{
	const union MHD_ConnectionInfo *info = MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
	struct request *r = calloc(1, sizeof *r);
	const char *page;

	if (!r)
		return NULL;
	r->b = b;
	r->connection = c;
	r->file = -1;
	r->link = info ? info->socket_context : NULL;
	r->text.ceiling = FT_DRAFT_BYTES_MAX;
	r->method = ft_arena_text(&r->arena, ft_slice_of(method));
	r->path = ft_arena_text(&r->arena, ft_slice_of(url));
	page = request_header(r, "X-Fettle-Page");
	r->page = page && name_plain(page) ? ft_arena_text(&r->arena, ft_slice_of(page)) : NULL;
	if (r->link) {
		r->link->at = r;
		link_phase_to(b, r->link, LINK_BODY);
	}
	return r;
}

/* ---- its body ---- */

/* False: it is cut off, since libmicrohttpd takes no answer in the middle of a body. */
static bool take_body(struct request *r, const char *data, size_t n)
{
	r->body_bytes += (int64_t)n;
	if (r->link)
		r->link->bytes = r->body_bytes;
	if (r->answered) /* refused before: what still comes is passed over, within the bound */
		return r->body_bytes <= BODY_FIELDS_MAX;
	if (r->body_bytes > most_bytes(r))
		return false;
	if (r->route->body != BODY_BYTES) {
		ft_buf_put(&r->text, data, n);
		return r->text.status == FT_OK;
	}
	while (n > 0 && r->file >= 0) {
		ssize_t did = write(r->file, data, n);
		if (did < 0 && errno == EINTR)
			continue;
		if (did <= 0) {
			answer_error(r, 500, "The disk is full or failed: %s.", strerror(errno));
			return true;
		}
		data += did;
		n -= (size_t)did;
	}
	return true;
}

static void run(struct request *r)
{
	r->whole = true;
	link_phase_to(r->b, r->link, LINK_WORK);
	if (r->route->body == BODY_FIELDS && !body_fields(r))
		return;
	if (r->route->run)
		r->route->run(r);
	else
		command_run(r);
}

static enum MHD_Result send_answer(struct request *r)
{
	enum MHD_Result did;

	if (!r->response)
		return MHD_NO;
	link_phase_to(r->b, r->link, r->streams ? LINK_STREAM : LINK_ANSWER);
	did = MHD_queue_response(r->connection, r->status, r->response);
	MHD_destroy_response(r->response); /* it lives until it is sent */
	r->response = NULL;
	return did;
}

enum MHD_Result request_access(void *cls, struct MHD_Connection *c, const char *url, const char *method,
                               const char *version, const char *data, size_t *size, void **con_cls)
{
	struct bench *b = cls;
	struct request *r = *con_cls;

	(void)version;
	if (!r) {
		r = begin(b, c, url, method);
		*con_cls = r;
		if (!r || !r->method || !r->path)
			return MHD_NO;
		if (b->stopping)
			answer_error(r, 503, "The bench is being closed.");
		return b->stopping || !look_at_head(r) ? send_answer(r) : MHD_YES;
	}
	if (*size > 0) {
		if (!take_body(r, data, *size))
			return MHD_NO;
		*size = 0;
		return MHD_YES;
	}
	if (!r->whole && !r->answered)
		run(r);
	if (r->answered)
		return send_answer(r);
	r->suspended = true;
	MHD_suspend_connection(c);
	return MHD_YES;
}

void request_completed(void *cls, struct MHD_Connection *c, void **con_cls, enum MHD_RequestTerminationCode why)
{
	struct bench *b = cls;
	struct request *r = *con_cls;

	(void)c;
	(void)why;
	if (!r)
		return;
	*con_cls = NULL;
	if (r->errand)
		errand_drop(b, r->errand);
	machine_left(r);
	if (r->link) {
		r->link->at = NULL;
		link_phase_to(b, r->link, LINK_HEAD);
	}
	if (r->response)
		MHD_destroy_response(r->response);
	if (r->file >= 0)
		close(r->file);
	if (r->file_path)
		unlink(r->file_path);
	ft_buf_done(&r->text);
	ft_arena_done(&r->arena);
	free(r);
}
