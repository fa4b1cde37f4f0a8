/* SPDX-License-Identifier: Apache-2.0 */
/* Which path means what. The tables of routes_*.c are the whole list; docs/bench.md says the same for people. */
#include "bench.h"

#include <string.h>

static const struct route *const tables[] = {
	routes_visits, routes_looks, routes_desk, routes_jobs, routes_office, NULL
};
static const struct route page = { .method = "GET", .path = "*", .answer = ANSWER_OWN, .run = page_get, .open = true };

bool percent_decoded(struct ft_arena *a, struct ft_slice text, const char **ret)
{
	char *out = ft_arena_alloc(a, text.n + 1);
	size_t n = 0;

	for (size_t i = 0; out && i < text.n; i++) {
		uint32_t v = (unsigned char)text.p[i];
		if (text.p[i] == '%') {
			if (i + 2 >= text.n || !ft_slice_hex((struct ft_slice){ text.p + i + 1, 2 }, &v))
				return false;
			i += 2;
		}
		if (v == 0)
			return false;
		out[n++] = (char)v;
	}
	*ret = out;
	return out && ft_utf8((struct ft_slice){ out, n });
}

/* Compares piece by piece and keeps what stands for {x}. */
static bool matches(struct request *r, const char *pattern)
{
	struct ft_slice left = ft_slice_of(pattern), right = ft_slice_of(r->path), a, b;
	int parts = 0;

	for (;;) {
		bool more = ft_slice_split(&left, '/', &a);
		if (ft_slice_split(&right, '/', &b) != more)
			return false;
		if (!more)
			break;
		if (a.n && a.p[0] == '{') {
			if (b.n == 0 || parts == PARTS_MAX || !percent_decoded(&r->arena, b, &r->part[parts].value))
				return false;
			r->part[parts++].name = a.p;
		} else if (!ft_slice_eq(a, b)) {
			return false;
		}
	}
	r->part_count = parts;
	return true;
}

const char *request_part(const struct request *r, const char *name)
{
	size_t n = strlen(name);

	for (int i = 0; i < r->part_count; i++)
		if (strncmp(r->part[i].name + 1, name, n) == 0 && r->part[i].name[n + 1] == '}')
			return r->part[i].value;
	return NULL;
}

const struct route *route_find(struct request *r)
{
	const char *method = strcmp(r->method, "HEAD") == 0 ? "GET" : r->method;
	struct ft_buf allow = { 0 };

	if (strncmp(r->path, "/api/", 5) != 0) {
		if (strcmp(method, "GET") == 0)
			return &page;
		answer_header(r, "Allow", "GET, HEAD");
		answer_error(r, 405, "Pages can only be read.");
		return NULL;
	}
	for (size_t i = 0; tables[i]; i++)
		for (const struct route *t = tables[i]; t->method; t++) {
			if (!matches(r, t->path))
				continue;
			if (strcmp(t->method, method) == 0) {
				ft_buf_done(&allow);
				return t;
			}
			ft_buf_printf(&allow, "%s%s", allow.n ? ", " : "", t->method);
		}
	if (allow.n) {
		ft_buf_byte(&allow, 0);
		answer_header(r, "Allow", allow.status == FT_OK ? allow.p : "GET");
		answer_error(r, 405, "%s is not asked with %.20s.", r->path, r->method);
	} else {
		answer_error(r, 404, "The bench has nothing at %.200s.", r->path);
	}
	ft_buf_done(&allow);
	return NULL;
}
