/* SPDX-License-Identifier: Apache-2.0 */
/* Pairing: a code from the terminal, once, against a cookie that can be taken back. */
#include "bench.h"

#include <arpa/inet.h>
#include <qrencode.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#define CODE_LETTERS     "ABCDEFGHJKMNPQRSTUVWXYZ23456789" /* 31, none like another */
#define CODE_SIGNS       8                                 /* 31^8: 850 thousand million codes */
#define EXTRA_US         (600 * SECOND)
#define WRONG_US         (60 * SECOND)
#define WRONG_MAX        5  /* from one address within WRONG_US */
#define WRONG_MAX_ALL    30 /* from all together */
#define WRONG_BEFORE_NEW 20 /* then the code itself is changed */
#define COOKIE_DAYS      180

static void make_code(char code[12])
{
	for (int i = 0, at = 0; i < CODE_SIGNS; i++) {
		if (i == CODE_SIGNS / 2)
			code[at++] = '-';
		code[at++] = CODE_LETTERS[randombytes_uniform(sizeof CODE_LETTERS - 1)];
		code[at] = 0;
	}
}

static char *address_with(struct bench *b, const char *code)
{
	return ft_arena_printf(&b->scratch, "%s#pair=%s", b->url, code);
}

void pair_door(struct bench *b, bool anew)
{
	struct ft_bench_door d = { .url = b->url, .tables = b->tables != NULL, .anew = anew };
	QRcode *qr = NULL;

	if (b->pairing.wanted) {
		d.code = b->pairing.code;
		d.address = address_with(b, d.code);
		qr = d.address ? QRcode_encodeString8bit(d.address, 0, QR_ECLEVEL_M) : NULL;
		d.qr = qr ? qr->data : NULL;
		d.qr_side = qr ? qr->width : 0;
	}
	if (b->s->door)
		b->s->door(b->s->context, &d);
	QRcode_free(qr);
}

void pair_setup(struct bench *b)
{
	b->pairing.wanted = !b->loopback;
	if (b->pairing.wanted)
		make_code(b->pairing.code);
}

/* ---- wrong codes ---- */

static bool same_address(const struct sockaddr_storage *a, const struct sockaddr *b)
{
	if (a->ss_family != b->sa_family)
		return false;
	if (b->sa_family == AF_INET)
		return ((const struct sockaddr_in *)a)->sin_addr.s_addr ==
			((const struct sockaddr_in *)(const void *)b)->sin_addr.s_addr;
	return memcmp(&((const struct sockaddr_in6 *)a)->sin6_addr,
	              &((const struct sockaddr_in6 *)(const void *)b)->sin6_addr, sizeof(struct in6_addr)) == 0;
}

static const struct sockaddr *who(const struct request *r)
{
	const union MHD_ConnectionInfo *info = MHD_get_connection_info(r->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);

	return info ? info->client_addr : NULL;
}

static bool too_often(const struct request *r)
{
	const struct pairing *p = &r->b->pairing;
	const struct sockaddr *from = who(r);
	int64_t now = bench_now();
	int of_it = 0, of_all = 0;

	for (size_t i = 0; i < WRONG_KEPT; i++) {
		if (p->wrong[i].at_us == 0 || now - p->wrong[i].at_us > WRONG_US)
			continue;
		of_all++;
		of_it += from && same_address(&p->wrong[i].from, from);
	}
	return of_it >= WRONG_MAX || of_all >= WRONG_MAX_ALL;
}

static void count_wrong(struct request *r)
{
	struct pairing *p = &r->b->pairing;
	const struct sockaddr *from = who(r);

	p->wrong[p->wrong_at].at_us = bench_now();
	memset(&p->wrong[p->wrong_at].from, 0, sizeof p->wrong[0].from);
	if (from)
		memcpy(&p->wrong[p->wrong_at].from, from,
		       from->sa_family == AF_INET ? sizeof(struct sockaddr_in) : sizeof(struct sockaddr_in6));
	p->wrong_at = (p->wrong_at + 1) % WRONG_KEPT;
	if (++p->wrong_of_code < WRONG_BEFORE_NEW)
		return;
	p->wrong_of_code = 0;
	make_code(p->code);
	pair_door(r->b, true);
}

/* Letters of either case; blanks and dashes do not count. */
static bool code_is(const char *given, const char *code)
{
	char a[CODE_SIGNS] = { 0 }, b[CODE_SIGNS] = { 0 };
	int n = 0, m = 0;

	if (!*code)
		return false;
	for (const char *p = given; *p; p++) {
		if (*p == '-' || *p == ' ')
			continue;
		if (n == CODE_SIGNS)
			return false;
		a[n++] = (char)(*p >= 'a' && *p <= 'z' ? *p - 'a' + 'A' : *p);
	}
	for (const char *p = code; *p && m < CODE_SIGNS; p++)
		if (*p != '-')
			b[m++] = *p;
	return n == CODE_SIGNS && sodium_memcmp(a, b, CODE_SIGNS) == 0;
}

/* ---- what is answered ---- */

static void answer_bench(struct request *r, int64_t browser)
{
	struct bench *b = r->b;
	struct ft_buf out = { 0 };
	struct ft_json j;
	struct ft_slice book = { b->book_path, strcspn(b->book_path, "?") }; /* behind it: how to reach a server */

	document_begin(&j, &out);
	ft_json_text(&j, "version", FT_VERSION);
	for (size_t at; (at = ft_slice_find(book, FT_SLICE("/"))) < book.n;)
		book = (struct ft_slice){ book.p + at + 1, book.n - at - 1 };
	ft_json_slice(&j, "book", book);
	ft_json_bool(&j, "loopback", b->loopback);
	ft_json_bool(&j, "pairing", b->pairing.wanted);
	ft_json_bool(&j, "paired", !b->pairing.wanted || browser);
	ft_json_count(&j, "browser", browser ? browser : FT_ABSENT);
	document_end(&j);
	answer_json(r, 200, &out);
}

void pair_bench(struct request *r)
{
	answer_bench(r, r->browser);
}

static void let_in(struct request *r, const char *name)
{
	unsigned char raw[32];
	char cookie[65], *header;
	struct ft_browser x = { .name = name };
	struct ft_error e = { 0 };

	randombytes_buf(raw, sizeof raw);
	sodium_bin2hex(cookie, sizeof cookie, raw, sizeof raw);
	x.cookie = ft_hash_of(cookie, 64);
	x.paired_us = x.seen_us = bench_wall(NULL);
	if (ft_book_browser_add(r->b->book, &x, &e) != FT_OK) {
		answer_failure(r, &e);
		return;
	}
	header = ft_arena_printf(&r->arena, "fettle=%s; Path=/; HttpOnly; SameSite=Strict; Max-Age=%d", cookie,
	                         COOKIE_DAYS * 86400);
	answer_header(r, "Set-Cookie", header ? header : "");
	answer_bench(r, x.number);
	event_text(r->b, "browsers", "{}");
}

void pair_enter(struct request *r)
{
	struct pairing *p = &r->b->pairing;
	const char *code = request_field(r, "code"), *name = request_field(r, "name");

	if (!p->wanted) {
		answer_bench(r, 0);
		return;
	}
	if (too_often(r)) {
		answer_header(r, "Retry-After", "60");
		answer_error(r, 429, "Too many wrong codes; wait a minute.");
		return;
	}
	if (p->extra[0] && bench_now() > p->extra_until_us)
		p->extra[0] = 0;
	if (code && code_is(code, p->extra)) {
		p->extra[0] = 0;
	} else if (code && code_is(code, p->code)) {
		make_code(p->code);
		p->wrong_of_code = 0;
		pair_door(r->b, true);
	} else {
		count_wrong(r);
		answer_error(r, 403, "That is not the code; it stands in the terminal where the bench was begun.");
		return;
	}
	let_in(r, name && *name && strlen(name) <= 80 ? name : "a browser");
}

static void answer_list(struct request *r)
{
	struct ft_browser *list;
	size_t count;
	struct ft_error e = { 0 };
	struct ft_buf out = { 0 };
	struct ft_json j;
	char at[FT_TIME_TEXT];
	int offset;

	bench_wall(&offset);
	if (ft_book_browser_list(r->b->book, &r->arena, &list, &count, &e) != FT_OK) {
		answer_failure(r, &e);
		return;
	}
	document_begin(&j, &out);
	ft_json_array(&j, "browsers");
	for (size_t i = 0; i < count; i++) {
		ft_json_object(&j, NULL);
		ft_json_i64(&j, "id", list[i].number);
		ft_json_text(&j, "name", list[i].name);
		ft_json_text(&j, "paired", ft_time_text(list[i].paired_us, offset, at));
		ft_json_text(&j, "seen", ft_time_text(list[i].seen_us, offset, at));
		ft_json_bool(&j, "this", list[i].number == r->browser);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	document_end(&j);
	answer_json(r, 200, &out);
}

void pair_list(struct request *r)
{
	answer_list(r);
}

void pair_code(struct request *r)
{
	struct bench *b = r->b;
	struct ft_buf out = { 0 };
	struct ft_json j;
	char at[FT_TIME_TEXT], row[200];
	const char *address;
	QRcode *qr;
	int64_t now;
	int offset;

	if (!b->pairing.wanted) {
		answer_error(r, 400,
		             "This bench serves its own computer only and asks for no code; fettle bench --listen ADDRESS "
		             "serves others.");
		return;
	}
	make_code(b->pairing.extra);
	b->pairing.extra_until_us = bench_now() + EXTRA_US;
	now = bench_wall(&offset); /* before it is used: arguments of one call come in no order */
	address = address_with(b, b->pairing.extra);
	qr = address ? QRcode_encodeString8bit(address, 0, QR_ECLEVEL_M) : NULL;
	document_begin(&j, &out);
	ft_json_text(&j, "code", b->pairing.extra);
	ft_json_text(&j, "until", ft_time_text(now + EXTRA_US, offset, at));
	ft_json_text(&j, "url", address);
	ft_json_array(&j, "qr");
	for (int y = 0; qr && y < qr->width && qr->width < (int)sizeof row; y++) {
		for (int x = 0; x < qr->width; x++)
			row[x] = qr->data[y * qr->width + x] & 1 ? '1' : '0';
		row[qr->width] = 0;
		ft_json_text(&j, NULL, row);
	}
	ft_json_array_end(&j);
	document_end(&j);
	QRcode_free(qr);
	answer_json(r, 201, &out);
}

void pair_revoke(struct request *r)
{
	struct ft_error e = { 0 };
	bool was = false;
	int64_t id;

	if (!request_number(r, "A browser's id", request_part(r, "id"), 1, INT64_MAX, &id))
		return;
	if (ft_book_browser_drop(r->b->book, id, &was, &e) != FT_OK)
		answer_failure(r, &e);
	else if (!was)
		answer_error(r, 404, "No browser %lld is paired.", (long long)id);
	else {
		events_cut(r->b, id);
		answer_list(r);
		event_text(r->b, "browsers", "{}");
	}
}
