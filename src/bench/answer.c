/* SPDX-License-Identifier: Apache-2.0 */
/* Answers: their status, their headers, their bytes. */
#include "bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char policy[] =
	"default-src 'self'; img-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; "
	"frame-ancestors 'none'";
static const char policy_of_bytes[] = "default-src 'none'; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'";

static void take(struct request *r, unsigned status, struct MHD_Response *m, const char *type)
{
	bool page = strncmp(r->path, "/api/", 5) != 0, own = strncmp(type, "application/json", 16) == 0;

	if (!m) { /* no memory: the connection is closed without an answer */
		r->status = 500;
		answer_ready(r);
		return;
	}
	(void)MHD_add_response_header(m, "Content-Type", type);
	(void)MHD_add_response_header(m, "Content-Security-Policy", page || own ? policy : policy_of_bytes);
	(void)MHD_add_response_header(m, "X-Content-Type-Options", "nosniff");
	(void)MHD_add_response_header(m, "Referrer-Policy", "no-referrer");
	(void)MHD_add_response_header(m, "X-Frame-Options", "DENY");
	(void)MHD_add_response_header(m, "Cross-Origin-Resource-Policy", "same-origin");
	/* No opener policy: for it a browser begins another process, and the first page takes twice as long. Who opened the
	 * window can read nothing of it, and frames are refused above. */
	for (int i = 0; i < r->header_count; i++)
		(void)MHD_add_response_header(m, r->headers[i].name, r->headers[i].value);
	if (!MHD_get_response_header(m, "Cache-Control"))
		(void)MHD_add_response_header(m, "Cache-Control", "no-store");
	r->response = m;
	r->status = status;
	answer_ready(r);
}

void answer_ready(struct request *r)
{
	r->answered = true;
	if (r->suspended) {
		r->suspended = false;
		MHD_resume_connection(r->connection);
	}
}

void answer_header(struct request *r, const char *name, const char *value)
{
	char *copy = ft_arena_text(&r->arena, ft_slice_of(value));

	if (copy && r->header_count < HEADERS_MAX)
		r->headers[r->header_count++] = (struct field){ name, copy };
}

void answer_bytes(struct request *r, unsigned status, const void *p, size_t n, const char *type)
{
	if (r->answered)
		return;
	if (r->link)
		r->link->bytes = (int64_t)n;
	/* the pages are part of the program and need no copy */
	take(r, status, MHD_create_response_from_buffer(n, (void *)(uintptr_t)p, MHD_RESPMEM_MUST_COPY), type);
}

void answer_stream(struct request *r, MHD_ContentReaderCallback reader, void *cls, MHD_ContentReaderFreeCallback end)
{
	struct MHD_Response *m = MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, reader, cls, end);

	if (!m)
		end(cls);
	take(r, 200, m, "text/event-stream");
}

void answer_json(struct request *r, unsigned status, struct ft_buf *json)
{
	if (json->status != FT_OK)
		answer_bytes(r, 500, "", 0, "application/json");
	else
		answer_bytes(r, status, json->p, json->n, "application/json");
	ft_buf_done(json);
}

void answer_fd(struct request *r, unsigned status, int fd, int64_t bytes, const char *type)
{
	if (r->answered) {
		close(fd);
		return;
	}
	if (r->link)
		r->link->bytes = bytes;
	take(r, status, MHD_create_response_from_fd64((uint64_t)bytes, fd), type);
	if (!r->response)
		close(fd);
}

void document_begin(struct ft_json *j, struct ft_buf *out)
{
	*j = (struct ft_json){ .out = out };
	ft_json_object(j, NULL);
	ft_json_text(j, "command", "bench");
	ft_json_text(j, "verdict", "open");
	ft_json_array(j, "findings");
	ft_json_array_end(j);
}

void document_end(struct ft_json *j)
{
	ft_json_object_end(j);
	ft_buf_byte(j->out, '\n');
}

static int exit_of_status(unsigned status)
{
	return status == 422 ? FT_E_INPUT : status == 502 ? FT_E_LINE : status >= 500 ? FT_E_STORE : FT_E_USAGE;
}

static void refuse(struct request *r, unsigned status, int code, const char *text)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	ft_json_text(&j, "error", text);
	ft_json_i64(&j, "exit", code);
	document_end(&j);
	answer_json(r, status, &out);
}

void answer_error(struct request *r, unsigned status, const char *format, ...)
{
	char text[FT_TEXT_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	refuse(r, status, exit_of_status(status), text);
}

unsigned status_of_exit(int code)
{
	static const unsigned status[] = { 200, 200, 400, 422, 502, 500 };

	return code >= 0 && code <= 5 ? status[code] : 500;
}

void answer_failure(struct request *r, const struct ft_error *e)
{
	int code = ft_exit_code(e->status);

	refuse(r, status_of_exit(code), code, e->text);
}
