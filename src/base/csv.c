/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/csv.h"

#include "fettle/buf.h"

struct reader {
	const char *p, *end;
	unsigned line;
	char separator;
	const char *what;
	struct ft_arena *arena;
	struct ft_error *error;
};

/* The separator that stands most often in the heading; a comma when none does. */
static char find_separator(const char *p, const char *end)
{
	static const char known[] = { ',', ';', '\t' };
	size_t counts[sizeof known] = { 0 };
	size_t best = 0;
	bool quoted = false;

	for (; p < end && *p != '\n' && *p != '\r'; p++) {
		if (*p == '"')
			quoted = !quoted;
		for (size_t k = 0; k < sizeof known; k++)
			counts[k] += !quoted && *p == known[k];
	}
	for (size_t k = 1; k < sizeof known; k++)
		if (counts[k] > counts[best])
			best = k;
	return known[best];
}

static void end_line(struct reader *r)
{
	if (r->p < r->end && *r->p == '\r')
		r->p++;
	if (r->p < r->end && *r->p == '\n')
		r->p++;
	r->line++;
}

/* A quoted field, standing behind its opening quote. */
static enum ft_status read_quoted(struct reader *r, struct ft_slice *ret)
{
	unsigned start_line = r->line;
	const char *begin = r->p;
	size_t doubled = 0;
	char *copy;
	size_t n = 0;

	for (;; r->p++) {
		if (r->p >= r->end)
			return ft_fail(r->error, FT_E_INPUT,
			               "In %s, the quote opened in line %u is never closed; close it and try again.", r->what,
			               start_line);
		if (*r->p == '\n')
			r->line++;
		if (*r->p != '"')
			continue;
		if (r->p + 1 < r->end && r->p[1] == '"') {
			doubled++;
			r->p++;
			continue;
		}
		break;
	}
	*ret = (struct ft_slice){ begin, (size_t)(r->p - begin) };
	r->p++;
	if (!doubled)
		return FT_OK;
	copy = ft_arena_alloc(r->arena, ret->n);
	if (!copy)
		return ft_fail_memory(r->error, r->what);
	for (size_t i = 0; i < ret->n; i++) {
		copy[n++] = begin[i];
		i += begin[i] == '"';
	}
	*ret = (struct ft_slice){ copy, n };
	return FT_OK;
}

static enum ft_status read_field(struct reader *r, struct ft_slice *ret)
{
	const char *begin = r->p;

	if (r->p < r->end && *r->p == '"') {
		enum ft_status s;
		r->p++;
		if ((s = read_quoted(r, ret)) != FT_OK)
			return s;
		if (r->p < r->end && *r->p != r->separator && *r->p != '\r' && *r->p != '\n')
			return ft_fail(r->error, FT_E_INPUT,
			               "In %s, something follows a closing quote in line %u; quote the whole field or none of it.",
			               r->what, r->line);
		return FT_OK;
	}
	while (r->p < r->end && *r->p != r->separator && *r->p != '\r' && *r->p != '\n')
		r->p++;
	*ret = (struct ft_slice){ begin, (size_t)(r->p - begin) };
	return FT_OK;
}

/* `row` may own fields for *room already; they are used again. */
static enum ft_status read_row(struct reader *r, struct ft_csv_row *row, size_t *room)
{
	row->line = r->line;
	row->count = 0;
	for (;;) {
		struct ft_slice field;
		struct ft_slice *grown;
		enum ft_status s = read_field(r, &field);
		if (s != FT_OK)
			return s;
		if (row->count >= FT_CSV_COLUMNS_MAX)
			return ft_fail(r->error, FT_E_INPUT, "In %s, line %u has more than %u columns; this is not such a table.",
			               r->what, r->line, FT_CSV_COLUMNS_MAX);
		if (row->count == *room) {
			grown = ft_arena_grow(r->arena, row->fields, row->count, room, sizeof *grown);
			if (!grown)
				return ft_fail_memory(r->error, r->what);
			row->fields = grown;
		}
		row->fields[row->count++] = field;
		if (r->p >= r->end || *r->p != r->separator)
			break;
		r->p++;
	}
	end_line(r);
	return FT_OK;
}

/* Blank lines and remarks are not rows. */
static bool skip_line(struct reader *r)
{
	const char *p = r->p;

	while (p < r->end && (*p == ' ' || *p == '\t') && *p != r->separator)
		p++;
	if (p < r->end && *p == '#') {
		while (p < r->end && *p != '\n' && *p != '\r')
			p++;
	} else if (p < r->end && *p != '\n' && *p != '\r') {
		return false;
	}
	r->p = p;
	end_line(r);
	return true;
}

static enum ft_status refuse_binary(struct ft_slice bytes, const char *what, struct ft_error *e)
{
	if (bytes.n && memchr(bytes.p, 0, bytes.n))
		return ft_fail(e, FT_E_INPUT, "%s holds binary bytes; save it as CSV in UTF-8 and try again.", what);
	return FT_OK;
}

/* Up to the first row: what cannot be a table is refused, the separator is found. */
static enum ft_status begin(struct reader *r, struct ft_slice bytes)
{
	enum ft_status s;

	if (bytes.n > FT_CSV_BYTES_MAX)
		return ft_fail(r->error, FT_E_INPUT, "%s is larger than %u MB; split it and try again.", r->what,
		               FT_CSV_BYTES_MAX >> 20);
	if ((s = refuse_binary(bytes, r->what, r->error)) != FT_OK)
		return s;
	if (bytes.n >= 3 && memcmp(bytes.p, "\xef\xbb\xbf", 3) == 0)
		r->p += 3;
	while (r->p < r->end && skip_line(r))
		;
	if (r->p >= r->end)
		return ft_fail(r->error, FT_E_INPUT, "%s is empty; it needs a heading line and at least one row.", r->what);
	r->separator = find_separator(r->p, r->end);
	return FT_OK;
}

enum ft_status ft_csv_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_csv *ret,
                           struct ft_error *e)
{
	struct reader r = { bytes.p, bytes.p + bytes.n, 1, ',', what, a, e };
	struct ft_csv c = { 0 };
	size_t room = 0, fields_room = 0;
	enum ft_status s = begin(&r, bytes);

	if (s != FT_OK)
		return s;
	c.separator = r.separator;
	if ((s = read_row(&r, &c.head, &fields_room)) != FT_OK)
		return s;
	while (r.p < r.end) {
		struct ft_csv_row *grown;
		if (skip_line(&r))
			continue;
		grown = ft_arena_grow(a, c.rows, c.count, &room, sizeof *grown);
		if (!grown)
			return ft_fail_memory(e, what);
		c.rows = grown;
		fields_room = 0;
		c.rows[c.count] = (struct ft_csv_row){ 0 };
		if ((s = read_row(&r, &c.rows[c.count], &fields_room)) != FT_OK)
			return s;
		c.count++;
	}
	*ret = c;
	return FT_OK;
}

enum ft_status ft_csv_start(struct ft_csv_stream *s, struct ft_slice bytes, const char *what, struct ft_arena *a,
                            struct ft_error *e)
{
	struct reader r = { bytes.p, bytes.p + bytes.n, 1, ',', what, a, e };
	enum ft_status st = begin(&r, bytes);

	if (st == FT_OK)
		*s = (struct ft_csv_stream){
			.line = r.line, .separator = r.separator, .p = r.p, .end = r.end, .what = what, .arena = a, .error = e
		};
	return st;
}

enum ft_status ft_csv_go_on(struct ft_csv_stream *s, struct ft_slice bytes)
{
	s->p = bytes.p;
	s->end = bytes.p + bytes.n;
	return refuse_binary(bytes, s->what, s->error);
}

enum ft_status ft_csv_next(struct ft_csv_stream *s, bool *ret_more)
{
	struct reader r = { s->p, s->end, s->line, s->separator, s->what, s->arena, s->error };
	enum ft_status st = FT_OK;

	while (r.p < r.end && skip_line(&r))
		;
	*ret_more = r.p < r.end;
	if (*ret_more)
		st = read_row(&r, &s->row, &s->room);
	s->p = r.p;
	s->line = r.line;
	return st;
}

int ft_csv_column(const struct ft_csv *c, const char *name)
{
	for (unsigned i = 0; i < c->head.count; i++)
		if (ft_slice_eq_nocase(ft_slice_trim(c->head.fields[i]), ft_slice_of(name)))
			return (int)i;
	return -1;
}

struct ft_slice ft_csv_field(const struct ft_csv_row *row, int column)
{
	if (column < 0 || (unsigned)column >= row->count)
		return (struct ft_slice){ "", 0 };
	return ft_slice_trim(row->fields[column]);
}

void ft_csv_put(struct ft_buf *b, struct ft_slice s)
{
	/* Beyond what the RFC asks: what would be taken for a remark, another separator or mere layout. */
	bool quote = s.n && (s.p[0] == '#' || s.p[0] == ' ');

	for (size_t i = 0; i < s.n; i++)
		quote |= s.p[i] == '"' || s.p[i] == ',' || s.p[i] == ';' || s.p[i] == '\t' || s.p[i] == '\n' || s.p[i] == '\r';
	if (!quote) {
		ft_buf_slice(b, s);
		return;
	}
	ft_buf_byte(b, '"');
	for (size_t i = 0; i < s.n; i++) {
		if (s.p[i] == '"')
			ft_buf_byte(b, '"');
		ft_buf_byte(b, (uint8_t)s.p[i]);
	}
	ft_buf_byte(b, '"');
}
