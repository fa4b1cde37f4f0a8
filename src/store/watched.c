/* SPDX-License-Identifier: Apache-2.0 */
/* What the watch keeps: files looked at, reads by runs, what is open and what is known. */
#include <stdlib.h>

#include "book.h"
#include "fettle/time.h"

/* When the month after that of `us` begins; no two of what is so late are of different months. */
static int64_t next_month(int64_t us)
{
	struct ft_civil c = ft_civil_of(us, 0);

	if (c.year >= 2100)
		return FT_NEVER;
	return ft_days_of(c.year + c.month / 12, c.month % 12 + 1, 1) * 86400 * FT_SECOND;
}

enum ft_status book_watched_months(struct ft_book *from, struct ft_book *to, struct ft_error *e)
{
	int64_t us = INT64_MIN + 1; /* FT_ABSENT would be null */
	enum ft_status s = FT_OK;

	while (s == FT_OK && us < FT_NEVER) {
		struct book_query q = book_ask(from, "SELECT min(newest_us) FROM watch_part WHERE newest_us >= ?");
		book_put_i64(&q, us);
		s = book_number(&q, "reading the watch from", &us, e);
		if (s != FT_OK || us == FT_ABSENT)
			return s;
		s = to->engine->month(to, us, e);
		us = next_month(us);
	}
	return s;
}

static enum ft_status put_parts(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	enum ft_status s = FT_OK;
	int64_t low = 0, high = 0; /* of the month there is room for */

	for (size_t i = 0; s == FT_OK && i < w->part_count; i++) {
		const struct ft_watched_part *p = &w->parts[i];
		struct book_query q;
		if (!p->number && (p->newest_us < low || p->newest_us >= high)) {
			low = p->newest_us;
			high = next_month(low);
			s = b->engine->month(b, low, e);
			if (s != FT_OK)
				return s;
		}
		if (p->number) {
			q = book_ask(b, "DELETE FROM watch_part WHERE number = ?");
			book_put_i64(&q, p->number);
		} else {
			q = book_ask(b,
			             "INSERT INTO watch_part (machine, reads, first_us, newest_us, bytes) VALUES (?, ?, ?, ?, ?)");
			book_put_text(&q, p->machine);
			book_put_i64(&q, p->reads);
			book_put_i64(&q, p->first_us);
			book_put_i64(&q, p->newest_us);
			book_put_blob(&q, p->bytes.p, p->bytes.n);
		}
		s = book_run(&q, "writing reads into", e);
	}
	return s;
}

static enum ft_status put_files(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < w->file_count; i++) {
		struct book_query q = book_ask(b, "INSERT INTO watch_files (folder, files) VALUES (?, ?)");
		book_put_text(&q, w->files[i].folder);
		book_put_blob(&q, w->files[i].files.p, w->files[i].files.n);
		s = book_run(&q, "writing files into", e);
	}
	for (size_t i = 0; s == FT_OK && i < w->folder_count; i++) {
		struct book_query q = book_ask(b,
		                               "INSERT INTO watch_folder (folder, mtime_ns) VALUES (?, ?) ON CONFLICT (folder) "
		                               "DO UPDATE SET mtime_ns = excluded.mtime_ns");
		book_put_text(&q, w->folders[i].folder);
		book_put_i64(&q, w->folders[i].mtime_ns);
		s = book_run(&q, "writing folders into", e);
	}
	return s;
}

static enum ft_status put_exceptions(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	bool mine = w->exceptions != NULL;
	enum ft_status s = mine && ft_book_shared(b) ? book_tell_fleet(b, w, &mine, e) : FT_OK;

	if (s == FT_OK && mine)
		s = book_exec(b, "DELETE FROM watch_exception", "writing exceptions into", e);
	for (size_t i = 0; s == FT_OK && mine && i < w->exception_count; i++) {
		const struct ft_watched_exception *x = &w->exceptions[i];
		struct book_query q = book_ask(
			b,
			"INSERT INTO watch_exception (number, machine, asset, rule, selection, since_us, seen_us, ended_us, is_open, "
			"acknowledged, money, decimals, sure_ppm, seen, expected, file_before, file_after) VALUES "
			"(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
		book_put_i64(&q, (int64_t)i + 1);
		book_put_text(&q, x->machine);
		book_put_text(&q, x->asset);
		book_put_text(&q, x->rule);
		book_put_text(&q, x->selection);
		book_put_i64(&q, x->since_us);
		book_put_i64(&q, x->seen_us);
		book_put_i64(&q, x->ended_us);
		book_put_i64(&q, x->open);
		book_put_i64(&q, x->acknowledged);
		book_put_i64(&q, x->money);
		book_put_i64(&q, x->decimals);
		book_put_i64(&q, x->sure_ppm);
		book_put_text(&q, x->seen);
		book_put_text(&q, x->expected);
		book_put_text(&q, x->before);
		book_put_text(&q, x->after);
		s = book_run(&q, "writing exceptions into", e);
	}
	return s;
}

static enum ft_status put_words(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < w->word_count; i++) {
		const struct ft_watched_word *x = &w->words[i];
		struct book_query q =
			book_ask(b,
		             "INSERT INTO watch_word (machine, rule, selection, since_us, money, because, by_whom, "
		             "at_us, at_offset) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
		book_put_text(&q, x->machine);
		book_put_text(&q, x->rule);
		book_put_text(&q, x->selection);
		book_put_i64(&q, x->since_us);
		book_put_i64(&q, x->money);
		book_put_text(&q, x->because);
		book_put_text(&q, x->by);
		book_put_i64(&q, x->at_us);
		book_put_i64(&q, x->at_offset);
		s = book_run(&q, "acknowledging in", e);
	}
	return s;
}

enum ft_status ft_book_watched_put(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	enum ft_status s = book_begin_write(b, e);

	if (s != FT_OK)
		return s;
	s = put_parts(b, w, e);
	if (s == FT_OK)
		s = put_files(b, w, e);
	if (s == FT_OK)
		s = put_exceptions(b, w, e);
	if (s == FT_OK)
		s = put_words(b, w, e);
	if (s == FT_OK)
		s = book_put_judged(b, w, e);
	return book_end(b, s, "writing what was watched into", e);
}

/* ---- and back ---- */

enum ft_status ft_book_watched_machines(struct ft_book *b, struct ft_arena *a, const char ***ret, size_t *ret_count,
                                        int64_t *ret_newest_us, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT machine, max(newest_us) FROM watch_part GROUP BY machine");
	const char **list = NULL, **grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	*ret_newest_us = 0;
	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n] = book_text(&q, 0, a);
		if (book_i64(&q, 1) > *ret_newest_us)
			*ret_newest_us = book_i64(&q, 1);
		n += list[n] != NULL;
	}
	s = book_asked(&q, "reading the watch from", e);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

enum ft_status ft_book_watched_parts(struct ft_book *b, const char *machine, int64_t since_us, struct ft_arena *a,
                                     struct ft_watched_part **ret, size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT number, reads, first_us, newest_us, bytes FROM watch_part WHERE machine = ? "
	                               "AND newest_us >= ? ORDER BY number");
	struct ft_watched_part *list = NULL, *grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	book_put_text(&q, machine);
	book_put_i64(&q, since_us);
	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n] = (struct ft_watched_part){ .number = book_i64(&q, 0),
			                                .machine = machine,
			                                .reads = book_i64(&q, 1),
			                                .first_us = book_i64(&q, 2),
			                                .newest_us = book_i64(&q, 3) };
		if (!book_blob(&q, 4, a, &list[n].bytes))
			break;
		n++;
	}
	s = book_asked(&q, "reading the watch from", e);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

enum ft_status ft_book_watched_files(struct ft_book *b, const char *folder, struct ft_arena *a,
                                     struct ft_watched_files **ret, size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT files FROM watch_files WHERE folder = ? ORDER BY number");
	struct ft_watched_files *list = NULL, *grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	book_put_text(&q, folder);
	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n].folder = folder;
		if (!book_blob(&q, 0, a, &list[n].files))
			break;
		n++;
	}
	s = book_asked(&q, "reading the watch from", e);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

enum ft_status ft_book_watched_folder(struct ft_book *b, const char *folder, int64_t *ret_mtime_ns, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT mtime_ns FROM watch_folder WHERE folder = ?");

	book_put_text(&q, folder);
	return book_number(&q, "reading the watch from", ret_mtime_ns, e);
}

static int by_folder(const void *x, const void *y)
{
	const struct ft_watched_folder *a = x, *b = y;

	return strcmp(a->folder, b->folder);
}

enum ft_status ft_book_watched_folders(struct ft_book *b, struct ft_arena *a, struct ft_watched_folder **ret,
                                       size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT folder, mtime_ns FROM watch_folder");
	struct ft_watched_folder *list = NULL, *grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n] = (struct ft_watched_folder){ book_text(&q, 0, a), book_i64(&q, 1) };
		n += list[n].folder != NULL;
	}
	s = book_asked(&q, "reading the watch from", e);
	if (s == FT_OK && n) /* a server may order texts otherwise than bytes */
		qsort(list, n, sizeof *list, by_folder);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

enum ft_status ft_book_watched_words(struct ft_book *b, struct ft_arena *a, struct ft_watched_word **ret,
                                     size_t *ret_count, struct ft_error *e)
{
	struct book_query q =
		book_ask(b,
	             "SELECT machine, rule, selection, since_us, money, because, by_whom, at_us, at_offset "
	             "FROM watch_word ORDER BY number DESC");
	struct ft_watched_word *list = NULL, *grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n++] = (struct ft_watched_word){ .machine = book_text(&q, 0, a),
			                                  .rule = book_text(&q, 1, a),
			                                  .selection = book_text(&q, 2, a),
			                                  .since_us = book_i64(&q, 3),
			                                  .money = book_i64(&q, 4),
			                                  .because = book_text(&q, 5, a),
			                                  .by = book_text(&q, 6, a),
			                                  .at_us = book_i64(&q, 7),
			                                  .at_offset = (int)book_i64(&q, 8) };
	}
	s = book_asked(&q, "reading the watch from", e);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}
