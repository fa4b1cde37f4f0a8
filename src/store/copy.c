/* SPDX-License-Identifier: Apache-2.0 */
/* A book into another one, table by table, compared row by row. */
#include "book.h"

enum { COLUMNS_MAX = 32, LANES = FT_HASH_BYTES / 8 };

/* The sum of the hashes of rows: the same whatever their order is. */
struct tally {
	int64_t rows;
	uint64_t lanes[LANES];
};

static void number_into(struct ft_buf *out, uint64_t v)
{
	for (int i = 0; i < 8; i++)
		ft_buf_byte(out, (uint8_t)(v >> (8 * i)));
}

/* Kind, length and bytes of every column of the row, so that no two different rows are written alike. */
static bool tally_row(struct tally *t, const struct book_value *values, int width, struct ft_buf *room)
{
	struct ft_hash h;

	ft_buf_clear(room);
	for (int i = 0; i < width; i++) {
		const struct book_value *v = &values[i];
		ft_buf_byte(room, (uint8_t)v->kind);
		number_into(room, v->kind == BOOK_I64 ? (uint64_t)v->i : v->n);
		if (v->n)
			ft_buf_put(room, v->p, v->n);
	}
	if (room->status != FT_OK)
		return false;
	h = ft_hash_of(room->p, room->n);
	for (int lane = 0; lane < LANES; lane++)
		for (int i = 0; i < 8; i++)
			t->lanes[lane] += (uint64_t)h.b[lane * 8 + i] << (8 * i);
	t->rows++;
	return true;
}

static struct book_query all_of(struct ft_book *b, const char *table, struct ft_arena *a)
{
	const char *sql = ft_arena_printf(a, "SELECT * FROM %s", table);
	struct book_query q = { .book = b, .no_room = !sql };

	if (sql)
		q = book_ask(b, sql);
	q.stream = true;
	return q;
}

/* "INSERT INTO visit (number, id) VALUES (?, ?)" for the columns of the row that stands ready. */
static const char *insert_like(const struct book_query *q, const char *table, struct ft_arena *a)
{
	struct ft_buf sql = { 0 };
	const char *text = NULL;
	int width = q->book->engine->width(q);

	ft_buf_printf(&sql, "INSERT INTO %s (", table);
	for (int i = 0; i < width; i++)
		ft_buf_printf(&sql, "%s%s", i ? ", " : "", q->book->engine->label(q, i));
	ft_buf_puts(&sql, ") VALUES (");
	for (int i = 0; i < width; i++)
		ft_buf_puts(&sql, i ? ", ?" : "?");
	ft_buf_puts(&sql, ")");
	if (sql.status == FT_OK)
		text = ft_arena_text(a, (struct ft_slice){ sql.p, sql.n });
	ft_buf_done(&sql);
	return text;
}

static enum ft_status put_row(struct ft_book *to, const char *insert, const struct book_value *values, int width,
                              struct ft_error *e)
{
	struct book_query q = book_ask(to, insert);

	for (int i = 0; i < width; i++)
		book_put(&q, &values[i]);
	return book_run(&q, "copying into", e);
}

/* Every row of the table into the tally, and into `to` unless that is NULL. */
static enum ft_status walk(struct ft_book *from, struct ft_book *to, const char *table, struct ft_arena *a,
                           struct tally *t, struct ft_error *e)
{
	struct book_query q = all_of(from, table, a);
	const char *insert = NULL;
	struct ft_buf room = { 0 };
	enum ft_status s = FT_OK;

	while (s == FT_OK && book_row(&q)) {
		struct book_value values[COLUMNS_MAX];
		int width = from->engine->width(&q);
		if (to && !insert)
			insert = insert_like(&q, table, a);
		if (width > COLUMNS_MAX || (to && !insert)) {
			q.no_room = true;
			break;
		}
		for (int i = 0; i < width; i++)
			from->engine->column(&q, i, &values[i]);
		q.no_room = !tally_row(t, values, width, &room);
		if (to)
			s = put_row(to, insert, values, width, e);
	}
	ft_buf_done(&room);
	if (s != FT_OK) {
		book_asked(&q, "copying", NULL);
		return s;
	}
	return book_asked(&q, "copying", e);
}

static enum ft_status copy_table(struct ft_book *from, struct ft_book *to, struct ft_arena *a,
                                 struct ft_book_table *table, struct ft_error *e)
{
	struct tally sent = { 0 }, arrived = { 0 };
	enum ft_status s = walk(from, to, table->name, a, &sent, e);

	if (s == FT_OK)
		s = to->engine->numbered(to, table->name, e);
	if (s == FT_OK)
		s = walk(to, NULL, table->name, a, &arrived, e);
	if (s == FT_OK && (sent.rows != arrived.rows || memcmp(sent.lanes, arrived.lanes, sizeof sent.lanes) != 0))
		s = ft_fail(e, FT_E_STORE,
		            "What arrived in the table %s of %s is not what was sent (%lld rows of %lld); nothing was kept.",
		            table->name, to->path, (long long)arrived.rows, (long long)sent.rows);
	table->rows = sent.rows;
	for (int i = 0; i < FT_HASH_BYTES; i++)
		table->hash.b[i] = (uint8_t)(sent.lanes[i / 8] >> (8 * (i % 8)));
	return s;
}

static enum ft_status must_be_empty(struct ft_book *to, const char *table, struct ft_arena *a, struct ft_error *e)
{
	const char *sql = ft_arena_printf(a, "SELECT count(*) FROM %s", table);
	struct book_query q;
	int64_t rows = 0;
	enum ft_status s;

	if (!sql)
		return ft_fail_memory(e, "copying the book");
	q = book_ask(to, sql);
	s = book_number(&q, "copying into", &rows, e);
	return s == FT_OK && rows
		? ft_fail(e, FT_E_USAGE, "%s holds something already; a book is copied into a new place.", to->path)
		: s;
}

static enum ft_status copy_all(struct ft_book *from, struct ft_book *to, struct ft_arena *a, struct ft_book_table **ret,
                               size_t *ret_count, struct ft_error *e)
{
	struct ft_book_table *list = NULL;
	size_t count = 0, room = 0;
	const char *name;
	enum ft_status s = book_watched_months(from, to, e);

	while (s == FT_OK && (name = book_table(count, a)) != NULL) {
		struct ft_book_table *grown = ft_arena_grow(a, list, count, &room, sizeof *list);
		if (!grown)
			return ft_fail_memory(e, "copying the book");
		list = grown;
		list[count] = (struct ft_book_table){ .name = name };
		s = must_be_empty(to, name, a, e);
		if (s == FT_OK)
			s = copy_table(from, to, a, &list[count++], e);
	}
	*ret = list;
	*ret_count = count;
	return s;
}

enum ft_status ft_book_copy(struct ft_book *from, struct ft_book *to, struct ft_arena *a, struct ft_book_table **ret,
                            size_t *ret_count, struct ft_error *e)
{
	enum ft_status s = book_begin_read(from, e);

	if (s != FT_OK)
		return s;
	s = book_begin_write(to, e);
	if (s == FT_OK)
		s = book_end(to, copy_all(from, to, a, ret, ret_count, e), "copying into", e);
	return book_end(from, s, "reading", s == FT_OK ? e : NULL);
}
