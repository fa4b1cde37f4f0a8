/* SPDX-License-Identifier: Apache-2.0 */
/* Drafts: text under a key, with a version that tells two writers apart. */
#include "book.h"

bool ft_draft_key_good(struct ft_slice key)
{
	if (key.n == 0 || key.n > FT_DRAFT_KEY_MAX)
		return false;
	for (size_t i = 0; i < key.n; i++) {
		char c = key.p[i];
		if (!ft_is_digit(c) && !ft_is_upper(c) && !(c >= 'a' && c <= 'z') && !strchr("._:~-", c))
			return false;
	}
	return true;
}

static enum ft_status get(struct ft_book *b, const char *key, struct ft_arena *a, struct ft_draft *ret,
                          struct ft_error *e)
{
	struct book_query q =
		book_ask(b, "SELECT version, text, changed_us, changed_offset, bytes FROM draft WHERE key = ?");
	struct ft_draft d = { .key = key };

	book_put_text(&q, key);
	if (book_row(&q)) {
		d.version = book_i64(&q, 0);
		d.text = ft_slice_of(book_text(&q, 1, a));
		d.changed_us = book_i64(&q, 2);
		d.changed_offset = (int)book_i64(&q, 3);
		d.bytes = book_i64(&q, 4);
	}
	*ret = d;
	return book_asked(&q, "reading a draft from", e);
}

enum ft_status ft_book_draft_get(struct ft_book *b, const char *key, struct ft_arena *a, struct ft_draft *ret,
                                 struct ft_error *e)
{
	return get(b, key, a, ret, e);
}

static enum ft_status room_for_one(struct ft_book *b, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT count(*) FROM draft");
	int64_t count = 0;
	enum ft_status s = book_number(&q, "writing a draft into", &count, e);

	if (s == FT_OK && count >= (int64_t)FT_DRAFTS_MAX)
		return ft_fail(e, FT_E_USAGE, "The book holds %u drafts already; finish or drop some of them.", FT_DRAFTS_MAX);
	return s;
}

static enum ft_status write_draft(struct ft_book *b, const struct ft_draft *d, int64_t on, struct ft_arena *a,
                                  struct ft_draft *stands, bool *written, struct ft_error *e)
{
	const char *text = ft_arena_text(a, d->text);
	enum ft_status s = text ? get(b, d->key, a, stands, e) : ft_fail_memory(e, "a draft");
	struct book_query q;

	*written = s == FT_OK && stands->version == on;
	if (!*written)
		return s;
	if (on == 0)
		s = room_for_one(b, e);
	if (s != FT_OK)
		return s;
	q = book_ask(
		b,
		"INSERT INTO draft (key, version, text, bytes, changed_us, changed_offset) VALUES (?, ?, ?, ?, ?, ?) "
		"ON CONFLICT (key) DO UPDATE SET version = excluded.version, text = excluded.text, bytes = excluded.bytes, "
		"changed_us = excluded.changed_us, changed_offset = excluded.changed_offset");
	book_put_text(&q, d->key);
	book_put_i64(&q, on + 1);
	book_put_text(&q, text);
	book_put_i64(&q, (int64_t)d->text.n);
	book_put_i64(&q, d->changed_us);
	book_put_i64(&q, d->changed_offset);
	s = book_run(&q, "writing a draft into", e);
	*stands = (struct ft_draft){ .key = d->key,
		                         .version = on + 1,
		                         .bytes = (int64_t)d->text.n,
		                         .changed_us = d->changed_us,
		                         .changed_offset = d->changed_offset };
	return s;
}

enum ft_status ft_book_draft_put(struct ft_book *b, const struct ft_draft *d, int64_t on, struct ft_arena *a,
                                 struct ft_draft *ret_stands, bool *ret_written, struct ft_error *e)
{
	enum ft_status s;

	*ret_written = false;
	if (!ft_draft_key_good(ft_slice_of(d->key)))
		return ft_fail(e, FT_E_USAGE, "A draft's key has 1 to %u letters, digits or . _ : ~ -.", FT_DRAFT_KEY_MAX);
	if (d->text.n > FT_DRAFT_BYTES_MAX)
		return ft_fail(e, FT_E_USAGE, "A draft has at most %u bytes, not %zu.", FT_DRAFT_BYTES_MAX, d->text.n);
	if (!ft_utf8(d->text) || (d->text.n && memchr(d->text.p, 0, d->text.n)))
		return ft_fail(e, FT_E_USAGE, "A draft is text in UTF-8.");
	s = book_begin_write(b, e);
	return s == FT_OK ? book_end(b, write_draft(b, d, on, a, ret_stands, ret_written, e), "writing a draft into", e)
					  : s;
}

static enum ft_status drop(struct ft_book *b, const char *key, int64_t on, struct ft_arena *a, struct ft_draft *stands,
                           bool *dropped, struct ft_error *e)
{
	enum ft_status s = get(b, key, a, stands, e);
	struct book_query q;

	*dropped = s == FT_OK && (on == FT_ABSENT || on == stands->version);
	if (!*dropped)
		return s;
	q = book_ask(b, "DELETE FROM draft WHERE key = ?");
	book_put_text(&q, key);
	*stands = (struct ft_draft){ .key = key };
	return book_run(&q, "dropping a draft from", e);
}

enum ft_status ft_book_draft_drop(struct ft_book *b, const char *key, int64_t on, struct ft_arena *a,
                                  struct ft_draft *ret_stands, bool *ret_dropped, struct ft_error *e)
{
	enum ft_status s;

	*ret_dropped = false;
	s = book_begin_write(b, e);
	return s == FT_OK ? book_end(b, drop(b, key, on, a, ret_stands, ret_dropped, e), "dropping a draft from", e) : s;
}

enum ft_status ft_book_draft_list(struct ft_book *b, const char *prefix, struct ft_arena *a, struct ft_draft **ret,
                                  size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT key, version, bytes, changed_us, changed_offset FROM draft "
	                               "WHERE substr(key, 1, length(?1)) = ?1 ORDER BY key");
	struct ft_draft *list = NULL, *grown;
	size_t count = 0, room = 0;
	enum ft_status s;

	book_put_text(&q, prefix);
	while ((grown = book_row_of(&q, a, list, count, &room, sizeof *list)) != NULL) {
		list = grown;
		list[count++] = (struct ft_draft){ .key = book_text(&q, 0, a),
			                               .version = book_i64(&q, 1),
			                               .bytes = book_i64(&q, 2),
			                               .changed_us = book_i64(&q, 3),
			                               .changed_offset = (int)book_i64(&q, 4) };
	}
	s = book_asked(&q, "reading drafts from", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
	}
	return s;
}
