/* SPDX-License-Identifier: Apache-2.0 */
/* The pages, packed into the program by tools/pages.py. */
#include "bench.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>

struct page {
	const char *path, *type, *tag;
	size_t raw, packed;
	const unsigned char *bytes;
};

#define B(...)      \
	{               \
		__VA_ARGS__ \
	}
#define PAGE(path, type, tag, raw, packed, ...) { path, type, tag, raw, packed, (const unsigned char[])__VA_ARGS__ },
static const struct page pages[] = {
#include "pages.inc"
};

static const struct page *find(const char *path)
{
	size_t low = 0, high = sizeof pages / sizeof *pages;

	while (low < high) {
		size_t middle = (low + high) / 2;
		int order = strcmp(path, pages[middle].path);
		if (order == 0)
			return &pages[middle];
		if (order < 0)
			high = middle;
		else
			low = middle + 1;
	}
	return NULL;
}

/* RFC 9110, 12.5.3: gzip or * named, and not with a weight of nought. */
static bool takes_gzip(const char *accept)
{
	struct ft_slice rest = ft_slice_of(accept), part, coding;

	while (accept && ft_slice_split(&rest, ',', &part)) {
		struct ft_slice weight = { "1", 1 };
		ft_slice_split(&part, ';', &coding);
		coding = ft_slice_trim(coding);
		if (part.p)
			weight = ft_slice_trim(part);
		if (!ft_slice_eq_nocase(coding, FT_SLICE("gzip")) && !ft_slice_is(coding, "*"))
			continue;
		if (weight.n > 2 && (weight.p[0] == 'q' || weight.p[0] == 'Q') && weight.p[1] == '=') {
			bool some = false;
			for (size_t i = 2; i < weight.n; i++)
				some |= weight.p[i] >= '1' && weight.p[i] <= '9';
			return some;
		}
		return true;
	}
	return false;
}

/* For the few that do not take it: a copy, given back with the request. */
static const unsigned char *unpacked(struct request *r, const struct page *p)
{
	unsigned char *out = ft_arena_raw(&r->arena, p->raw + 1);
	z_stream z = { 0 };
	int rc;

	if (!out || inflateInit2(&z, 15 + 16) != Z_OK) /* 16: a gzip head */
		return NULL;
	z.next_in = (z_const Bytef *)(uintptr_t)p->bytes;
	z.avail_in = (uInt)p->packed;
	z.next_out = out;
	z.avail_out = (uInt)p->raw;
	rc = inflate(&z, Z_FINISH);
	inflateEnd(&z);
	return rc == Z_STREAM_END && z.avail_out == 0 ? out : NULL;
}

/* A path of the pages' own (such as /visits/BD-0417-1) is the first page; a file that is not there is not. */
static const struct page *look_up(struct request *r)
{
	const char *path, *slash;
	const struct page *p;

	if (!percent_decoded(&r->arena, ft_slice_of(r->path), &path))
		return NULL;
	p = find(path);
	slash = strrchr(path, '/');
	if (!p && slash && !strchr(slash, '.') && !strstr(path, "/.."))
		p = find("/index.html");
	return p;
}

void page_get(struct request *r)
{
	const struct page *p = look_up(r);
	const char *has = request_header(r, "If-None-Match");
	const unsigned char *plain;

	if (!p) {
		answer_error(r, 404, "The bench has no page %.200s.", r->path);
		return;
	}
	answer_header(r, "ETag", p->tag);
	answer_header(r, "Cache-Control", "no-cache");
	answer_header(r, "Vary", "Accept-Encoding");
	if (has && strstr(has, p->tag)) {
		answer_bytes(r, 304, "", 0, p->type);
	} else if (takes_gzip(request_header(r, "Accept-Encoding"))) {
		answer_header(r, "Content-Encoding", "gzip");
		answer_bytes(r, 200, p->bytes, p->packed, p->type);
	} else {
		plain = unpacked(r, p);
		if (plain)
			answer_bytes(r, 200, plain, p->raw, p->type);
		else
			answer_error(r, 500, "There is too little memory for this page.");
	}
}
