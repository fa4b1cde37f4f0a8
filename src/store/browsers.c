/* SPDX-License-Identifier: Apache-2.0 */
/* Browsers paired with the bench, and how it sees that the book was changed by others. */
#include "book.h"

static enum ft_status add(struct ft_book *b, struct ft_browser *x, struct ft_error *e)
{
	struct book_query q = book_ask(
		b,
		"DELETE FROM browser WHERE number NOT IN (SELECT number FROM browser ORDER BY seen_us DESC, number DESC LIMIT ?)");
	enum ft_status s;

	book_put_i64(&q, FT_BROWSERS_MAX - 1);
	s = book_run(&q, "pairing a browser in", e);
	if (s != FT_OK)
		return s;
	q = book_ask(b, "INSERT INTO browser (name, cookie, paired_us, seen_us) VALUES (?, ?, ?, ?) RETURNING number");
	book_put_text(&q, x->name);
	book_put_blob(&q, x->cookie.b, FT_HASH_BYTES);
	book_put_i64(&q, x->paired_us);
	book_put_i64(&q, x->seen_us);
	if (book_row(&q))
		x->number = book_i64(&q, 0);
	return book_run(&q, "pairing a browser in", e);
}

enum ft_status ft_book_browser_add(struct ft_book *b, struct ft_browser *x, struct ft_error *e)
{
	enum ft_status s = book_begin_write(b, e);

	return s == FT_OK ? book_end(b, add(b, x, e), "pairing a browser in", e) : s;
}

static void take_browser(struct book_query *q, struct ft_arena *a, struct ft_browser *x)
{
	struct ft_slice cookie = { 0 };

	x->number = book_i64(q, 0);
	x->name = book_text(q, 1, a);
	if (book_blob(q, 2, a, &cookie) && cookie.n == FT_HASH_BYTES)
		memcpy(x->cookie.b, cookie.p, FT_HASH_BYTES);
	x->paired_us = book_i64(q, 3);
	x->seen_us = book_i64(q, 4);
}

enum ft_status ft_book_browser_by(struct ft_book *b, const struct ft_hash *cookie, struct ft_arena *a,
                                  struct ft_browser *ret, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT number, name, cookie, paired_us, seen_us FROM browser WHERE cookie = ?");

	*ret = (struct ft_browser){ 0 };
	book_put_blob(&q, cookie->b, FT_HASH_BYTES);
	if (book_row(&q))
		take_browser(&q, a, ret);
	return book_asked(&q, "looking for a browser in", e);
}

enum ft_status ft_book_browser_seen(struct ft_book *b, int64_t number, int64_t at_us, struct ft_error *e)
{
	struct book_query q = book_ask(b, "UPDATE browser SET seen_us = ?1 WHERE number = ?2 AND seen_us < ?1");

	book_put_i64(&q, at_us);
	book_put_i64(&q, number);
	return book_run(&q, "writing down a browser in", e);
}

enum ft_status ft_book_browser_drop(struct ft_book *b, int64_t number, bool *ret_was, struct ft_error *e)
{
	struct book_query q = book_ask(b, "DELETE FROM browser WHERE number = ? RETURNING number");
	bool was;
	enum ft_status s;

	book_put_i64(&q, number);
	was = book_row(&q);
	s = book_run(&q, "dropping a browser from", e);
	if (s == FT_OK)
		*ret_was = was;
	return s;
}

enum ft_status ft_book_browser_list(struct ft_book *b, struct ft_arena *a, struct ft_browser **ret, size_t *ret_count,
                                    struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT number, name, cookie, paired_us, seen_us FROM browser ORDER BY number");
	struct ft_browser *list = NULL, *grown;
	size_t count = 0, room = 0;
	enum ft_status s;

	while ((grown = book_row_of(&q, a, list, count, &room, sizeof *list)) != NULL) {
		list = grown;
		take_browser(&q, a, &list[count++]);
	}
	s = book_asked(&q, "reading browsers from", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
	}
	return s;
}

enum ft_status ft_book_turn(struct ft_book *b, int64_t *ret, struct ft_error *e)
{
	/* a server tells no such thing; there the latest change of a visit has to do */
	struct book_query q =
		book_ask(b, b->engine == &book_sqlite ? "PRAGMA data_version" : "SELECT max(changed_us) FROM visit");

	return book_number(&q, "looking at", ret, e);
}

enum ft_status ft_book_visits_changed(struct ft_book *b, int64_t since_us, struct ft_arena *a, const char ***ret,
                                      size_t *ret_count, int64_t *ret_latest_us, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT id, changed_us FROM visit WHERE changed_us >= ? ORDER BY changed_us");
	const char **list = NULL, **grown;
	size_t count = 0, room = 0;
	int64_t latest = since_us < 0 ? 0 : since_us;
	enum ft_status s;

	book_put_i64(&q, since_us);
	while ((grown = book_row_of(&q, a, list, count, &room, sizeof *list)) != NULL) {
		list = grown;
		list[count++] = book_text(&q, 0, a);
		if (book_i64(&q, 1) > latest)
			latest = book_i64(&q, 1);
	}
	s = book_asked(&q, "looking at", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
		*ret_latest_us = latest;
	}
	return s;
}
