/* SPDX-License-Identifier: Apache-2.0 */
/* A table into its rows; what is wrong is told all at once. */
#include <stdlib.h>

#include "fettle/stamp.h"

#include "room.h"

/* A date waits until its column is known. */
struct pending {
	size_t row, column; /* column of the table's list */
	unsigned line, at;  /* of the file, 1-based */
	struct ft_slice cell;
};

struct reading {
	const struct table *t;
	const char *what;
	struct ft_arena *a;
	struct ft_table_notes *notes;
	const char *first; /* the first that is wrong */
	char *rows;
	size_t count, room;
	int *meaning; /* of each column of the file: which of the table's, or -1 */
	unsigned columns;
	struct pending *dates;
	size_t date_count, date_room;
	struct ft_slice raw, head; /* text of the row at hand, and of the heading */
	bool memory;
};

static void note(struct reading *r, bool wrong, unsigned line, unsigned column, const char *sentence)
{
	struct ft_table_notes *n = r->notes;
	struct ft_table_note *grown;

	if (!sentence) {
		r->memory = true;
		return;
	}
	n->wrong += wrong;
	if (wrong && !r->first)
		r->first = sentence;
	if (n->count >= FT_TABLE_NOTES_MAX) {
		n->dropped++;
		return;
	}
	grown = ft_arena_grow(r->a, n->list, n->count, &n->room, sizeof *grown);
	if (!grown) {
		r->memory = true;
		return;
	}
	n->list = grown;
	n->list[n->count++] = (struct ft_table_note){ line, column, wrong, sentence };
}

static int shown(struct ft_slice s)
{
	size_t n = s.n < 40 ? s.n : 40;

	while (n && n < s.n && ((unsigned char)s.p[n] & 0xC0) == 0x80)
		n--;
	return (int)n;
}

/* A unit in brackets is no part of a heading: "length (m)". */
static struct ft_slice heading_of(struct ft_slice s)
{
	size_t n = ft_slice_find(s, FT_SLICE("(")), square = ft_slice_find(s, FT_SLICE("["));

	n = n < square ? n : square;
	return ft_slice_trim((struct ft_slice){ s.p, n ? n : s.n });
}

static int column_named(const struct table *t, struct ft_slice name)
{
	for (size_t i = 0; i < t->count; i++)
		if (same_heading(name, ft_slice_of(t->columns[i].face.heading)))
			return (int)i;
	for (size_t i = 0; i < t->count; i++)
		if (one_of(t->columns[i].face.also, name))
			return (int)i;
	return -1;
}

static void read_heading(struct reading *r, const struct ft_csv_row *head)
{
	r->columns = head->count;
	r->meaning = FT_NEW_ARRAY(r->a, head->count ? head->count : 1, int);
	if (!r->meaning) {
		r->memory = true;
		return;
	}
	for (unsigned i = 0; i < head->count; i++) {
		struct ft_slice name = heading_of(head->fields[i]);
		r->meaning[i] = name.n ? column_named(r->t, name) : -1;
		if (name.n && r->meaning[i] < 0)
			note(r, false, head->line, i + 1,
			     ft_arena_printf(
					 r->a, "%s, line %u, column %u: \"%.*s\" is no heading that is known here; it is passed over.",
					 r->what, head->line, i + 1, shown(name), name.p));
		for (unsigned k = 0; k < i && r->meaning[i] >= 0; k++)
			if (r->meaning[k] == r->meaning[i]) {
				note(r, true, head->line, i + 1,
				     ft_arena_printf(r->a, "%s, line %u, column %u: \"%.*s\" stands there twice, first in column %u.",
				                     r->what, head->line, i + 1, shown(name), name.p, k + 1));
				r->meaning[i] = -1;
			}
	}
	for (size_t c = 0; c < r->t->count; c++) {
		bool there = !r->t->columns[c].face.needed;
		for (unsigned i = 0; i < head->count; i++)
			there |= r->meaning[i] == (int)c;
		if (!there)
			note(r, true, head->line, 0,
			     ft_arena_printf(r->a,
			                     "%s, line %u: there is no column %s; fettle survey --template %s prints the headings.",
			                     r->what, head->line, r->t->columns[c].face.heading, r->t->word));
	}
}

static void wait_for(struct reading *r, size_t column, unsigned line, unsigned at, struct ft_slice cell)
{
	struct pending *grown = ft_arena_grow(r->a, r->dates, r->date_count, &r->date_room, sizeof *grown);

	if (!grown) {
		r->memory = true;
		return;
	}
	r->dates = grown;
	r->dates[r->date_count++] = (struct pending){ r->count, column, line, at, cell };
}

static void read_row(struct reading *r, const struct ft_csv_row *row)
{
	char *to = r->rows + r->count * r->t->row_size;
	bool any = false;

	for (unsigned i = 0; i < row->count; i++)
		any |= ft_slice_trim(row->fields[i]).n > 0;
	if (!any) /* nothing but separators, as spreadsheets leave them below a table */
		return;
	row_blank(r->t, to);
	*(unsigned *)(void *)(to + r->t->line_at) = row->line;
	*(struct ft_slice *)(void *)(to + r->t->raw_at) = r->raw;
	for (unsigned i = 0; i < row->count; i++) {
		struct ft_slice cell = ft_slice_trim(row->fields[i]);
		const struct column *c;
		const char *wrong;
		if (i >= r->columns) {
			if (cell.n)
				note(r, true, row->line, i + 1,
				     ft_arena_printf(
						 r->a, "%s, line %u, column %u: \"%.*s\" stands under no heading; is a comma not in quotes?",
						 r->what, row->line, i + 1, shown(cell), cell.p));
			continue;
		}
		if (r->meaning[i] < 0 || cell_unknown(cell))
			continue;
		c = &r->t->columns[r->meaning[i]];
		if (c->kind == CELL_DATE) {
			wait_for(r, (size_t)r->meaning[i], row->line, i + 1, cell);
			continue;
		}
		wrong = cell_read(c, cell, r->a, to, &r->memory);
		if (wrong)
			note(r, true, row->line, i + 1,
			     ft_arena_printf(r->a, "%s, line %u, column %u (%s): \"%.*s\" %s%s%s.", r->what, row->line, i + 1,
			                     c->face.heading, shown(cell), cell.p, wrong,
			                     c->kind == CELL_WORD || c->kind == CELL_PURPOSE ? "; write " : "",
			                     c->kind == CELL_WORD          ? c->words->like
			                         : c->kind == CELL_PURPOSE ? purpose_words.like
			                                                   : ""));
	}
	r->count++;
}

static void settle_dates(struct reading *r)
{
	for (size_t c = 0; c < r->t->count; c++) {
		struct ft_stamp_form form = { 0 };
		struct ft_error own = { 0 };
		size_t learned = 0;
		if (r->t->columns[c].kind != CELL_DATE)
			continue;
		for (size_t i = 0; i < r->date_count; i++)
			learned += r->dates[i].column == c && ft_stamp_learn(&form, r->dates[i].cell, (struct ft_slice){ 0 });
		if (learned && ft_stamp_settle(&form, r->what, &own) != FT_OK) {
			note(r, true, 0, 0, ft_arena_printf(r->a, "%s", own.text));
			continue;
		}
		for (size_t i = 0; i < r->date_count; i++) {
			const struct pending *p = &r->dates[i];
			int64_t *to = (int64_t *)(void *)(r->rows + p->row * r->t->row_size + r->t->columns[c].at);
			if (p->column == c &&
			    (!learned || form.order >= FT_STAMP_UNIX ||
			     !ft_stamp_read(&form, p->cell, (struct ft_slice){ 0 }, to, NULL)))
				note(r, true, p->line, p->at,
				     ft_arena_printf(r->a, "%s, line %u, column %u (%s): \"%.*s\" is no date, such as 2026-11-25.",
				                     r->what, p->line, p->at, r->t->columns[c].face.heading, shown(p->cell),
				                     p->cell.p));
		}
	}
}

struct key {
	struct ft_slice name;
	unsigned line;
};

static int by_name(const void *a, const void *b)
{
	const struct key *x = a, *y = b;
	int c = ft_slice_cmp(x->name, y->name);

	return c ? c : (x->line > y->line) - (x->line < y->line);
}

/* The first column names the row; it must be there, and once. */
static void check_names(struct reading *r)
{
	struct key *keys = FT_NEW_ARRAY(r->a, r->count ? r->count : 1, struct key);
	size_t n = 0;

	if (!keys) {
		r->memory = true;
		return;
	}
	for (size_t i = 0; i < r->count; i++) {
		const char *row = r->rows + i * r->t->row_size;
		struct key k = { *(const struct ft_slice *)(const void *)(row + r->t->columns[0].at),
			             *(const unsigned *)(const void *)(row + r->t->line_at) };
		if (k.name.p)
			keys[n++] = k;
		else
			note(r, true, k.line, 0,
			     ft_arena_printf(r->a, "%s, line %u: the row has no %s, so that nothing can be said of it.", r->what,
			                     k.line, r->t->columns[0].face.heading));
	}
	if (n)
		qsort(keys, n, sizeof *keys, by_name);
	for (size_t i = 1; i < n; i++)
		if (ft_slice_eq(keys[i].name, keys[i - 1].name))
			note(r, true, keys[i].line, 0,
			     ft_arena_printf(r->a, "%s, line %u: %s \"%.*s\" stands there already, in line %u.", r->what,
			                     keys[i].line, r->t->columns[0].face.heading, shown(keys[i].name), keys[i].name.p,
			                     keys[i - 1].line));
}

/* "sep=;" above the heading tells a spreadsheet which separator was meant. */
static struct ft_slice without_sep(struct ft_slice text, char *ret_separator)
{
	size_t end = ft_slice_find(text, FT_SLICE("\n"));

	if (end < 5 || end >= text.n || end > 5U + (text.p[end - 1] == '\r') ||
	    !ft_slice_eq_nocase((struct ft_slice){ text.p, 4 }, FT_SLICE("sep=")) || !strchr(",;\t", text.p[4]))
		return text;
	*ret_separator = text.p[4];
	return (struct ft_slice){ text.p + end + 1, text.n - end - 1 };
}

static enum ft_status read_rows(struct reading *r, struct ft_slice text, struct ft_error *e)
{
	struct ft_csv_stream s = { 0 };
	char separator = 0;
	struct ft_slice rest = without_sep(text, &separator);
	bool more = true;
	enum ft_status st = ft_csv_start(&s, rest, r->what, r->a, e);

	if (st != FT_OK)
		return st;
	if (separator) {
		s.separator = separator;
		s.line++;
	}
	for (bool head = true; st == FT_OK && more && !r->memory; head = false) {
		const char *from = s.p;
		st = ft_csv_next(&s, &more);
		if (st != FT_OK || !more)
			break;
		r->raw = (struct ft_slice){ from, (size_t)(s.p - from) };
		if (head) {
			r->head = r->raw;
			read_heading(r, &s.row);
			continue;
		}
		if (r->count >= FT_TABLE_ROWS_MAX)
			return ft_fail(e, FT_E_INPUT, "%s has more than %d rows; split it and try again.", r->what,
			               FT_TABLE_ROWS_MAX);
		r->rows = ft_arena_grow(r->a, r->rows, r->count, &r->room, r->t->row_size);
		if (!r->rows)
			return ft_fail_memory(e, r->what);
		read_row(r, &s.row);
	}
	return st;
}

enum ft_status ft_table_read(enum ft_table t, struct ft_slice bytes, const char *what, struct ft_arena *a,
                             struct ft_catalogue *c, struct ft_table_notes *notes, struct ft_error *e)
{
	struct reading r = { .t = table_of(t), .what = what, .a = a, .notes = notes };
	size_t before = notes->wrong;
	struct ft_slice text;
	enum ft_status s = ft_table_text(bytes, what, a, &text, e);

	if (s == FT_OK)
		s = read_rows(&r, text, e);
	if (s != FT_OK)
		return s;
	if (!r.memory)
		settle_dates(&r);
	if (!r.memory)
		check_names(&r);
	if (r.memory)
		return ft_fail_memory(e, what);
	c->heads[t] = r.head;
	memcpy((char *)c + r.t->list_at, &r.rows, sizeof r.rows);
	memcpy((char *)c + r.t->count_at, &r.count, sizeof r.count);
	if (notes->wrong > before + 1)
		return ft_fail(e, FT_E_INPUT, "%.300s (and %zu more)", r.first, notes->wrong - before - 1);
	return notes->wrong > before ? ft_fail(e, FT_E_INPUT, "%s", r.first) : FT_OK;
}
