/* SPDX-License-Identifier: Apache-2.0 */
/* Several watchers of one book on a server. Each claim is a row that is locked within an open transaction: it needs no
 * clock and no sign of life, as the server ends the transaction of whoever is gone. The right to write the book is not
 * held meanwhile; it is taken only when what came of a claim is written. */
#include "book.h"

static const char claiming[] = "claiming work in";

enum ft_status ft_book_watch_alone(struct ft_book *b, bool wait, bool *ret_mine, struct ft_error *e)
{
	*ret_mine = true;
	return b->engine->alone ? b->engine->alone(b, wait, ret_mine, e) : FT_OK;
}

bool ft_book_shared(const struct ft_book *b)
{
	return b->engine->claim != NULL;
}

enum ft_status ft_book_claims_drop(struct ft_book *b, struct ft_error *e)
{
	return b->engine->in_transaction(b) ? book_exec(b, "ROLLBACK", claiming, e) : FT_OK;
}

/* ---- files ---- */

/* The rows of a folder: 0 stands for all of its files, 1 to 16 for a slice each. They are written beside the open
 * claim: within it they would keep all others waiting that come to the same folder. */
static enum ft_status make_rows(struct ft_book *b, const char *folder, bool wide, struct ft_error *e)
{
	struct book_query q;
	enum ft_status s = b->beside ? FT_OK : ft_book_open(b->told, FT_BOOK_WRITE, &b->beside, e);

	if (s != FT_OK)
		return s;
	q = book_ask(b->beside,
	             "INSERT INTO watch_claim (folder, slice) SELECT ?, n FROM generate_series(0, ?) n "
	             "ON CONFLICT DO NOTHING");
	book_put_text(&q, folder);
	book_put_i64(&q, wide ? FT_CLAIM_SLICES : 0);
	return book_run(&q, claiming, e);
}

/* The first row of the folder that is not among `not` (bit 0: row 0), locked; FT_ABSENT: none is free. */
static enum ft_status lock_row(struct ft_book *b, const char *folder, int64_t not, const char *how, struct ft_arena *a,
                               int64_t *ret, struct ft_error *e)
{
	const char *sql = ft_arena_printf(
		a,
		"SELECT slice FROM watch_claim WHERE folder = ? AND (?2 >> slice::int) & 1 = 0 ORDER BY slice LIMIT 1 FOR %s",
		how);
	struct book_query q;

	if (!sql)
		return ft_fail_memory(e, claiming);
	q = book_ask(b, sql);
	book_put_text(&q, folder);
	book_put_i64(&q, not );
	return book_number(&q, claiming, ret, e);
}

/* All of a folder is one row. Of a wide one that row is shared, so that nobody takes all of it, and the slice is one's
 * own. */
static enum ft_status lock_files(struct ft_book *b, const char *folder, bool wide, unsigned done, bool wait,
                                 struct ft_arena *a, unsigned *ret, struct ft_error *e)
{
	const int64_t but_all = ~INT64_C(1), of_slices = (int64_t)done << 1 | 1;
	int64_t row = FT_ABSENT;
	enum ft_status s = lock_row(b, folder, but_all,
	                            wide       ? wait ? "SHARE" : "SHARE SKIP LOCKED"
	                                : wait ? "UPDATE"
	                                       : "UPDATE SKIP LOCKED",
	                            a, &row, e);

	if (s != FT_OK || row == FT_ABSENT || !wide) {
		*ret = s == FT_OK && row == 0 ? FT_CLAIM_ALL : 0;
		return s;
	}
	s = lock_row(b, folder, of_slices, "UPDATE SKIP LOCKED", a, &row, e);
	if (s == FT_OK && row == FT_ABSENT && wait)
		s = lock_row(b, folder, of_slices, "UPDATE", a, &row, e);
	*ret = s == FT_OK && row != FT_ABSENT ? 1U << (row - 1) : 0;
	return s;
}

enum ft_status ft_book_claim_files(struct ft_book *b, const char *folder, bool wide, unsigned done, bool wait,
                                   unsigned *ret, struct ft_error *e)
{
	struct ft_arena a = { 0 };
	enum ft_status s;

	*ret = 0;
	if (done == FT_CLAIM_ALL)
		return FT_OK;
	s = make_rows(b, folder, wide, e);
	if (s == FT_OK)
		s = b->engine->claim(b, e);
	if (s == FT_OK)
		s = lock_files(b, folder, wide, done, wait, &a, ret, e);
	ft_arena_done(&a);
	return s;
}

/* ---- machines ---- */

enum ft_status ft_book_watched_round(struct ft_book *b, struct ft_watched_round *ret, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT (SELECT CAST(sum(reads) AS BIGINT) FROM watch_part), "
	                               "(SELECT max(changed_us) FROM visit), (SELECT count(*) FROM package)");

	*ret = (struct ft_watched_round){ FT_ABSENT, FT_ABSENT, FT_ABSENT };
	if (book_row(&q))
		*ret = (struct ft_watched_round){ book_i64(&q, 0), book_i64(&q, 1), book_i64(&q, 2) };
	return book_asked(&q, "reading the watch from", e);
}

/* In one order, so that two who do it at once do not wait for each other. */
enum ft_status ft_book_claim_begin(struct ft_book *b, struct ft_error *e)
{
	return book_exec(b,
	                 "INSERT INTO watch_judged (machine) SELECT DISTINCT machine FROM watch_part ORDER BY machine "
	                 "ON CONFLICT DO NOTHING",
	                 claiming, e);
}

enum ft_status ft_book_claim_machines(struct ft_book *b, const char *round, const char *after, int most,
                                      struct ft_arena *a, const char ***ret, size_t *ret_count, struct ft_error *e)
{
	const char **list = FT_NEW_ARRAY(a, (size_t)most, const char *);
	enum ft_status s = list ? b->engine->claim(b, e) : ft_fail_memory(e, claiming);
	struct book_query q;
	size_t n = 0;

	*ret = list;
	*ret_count = 0;
	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "SELECT machine FROM watch_judged WHERE round IS DISTINCT FROM ? AND (? IS NULL OR machine > ?2) "
	             "ORDER BY machine LIMIT ? FOR UPDATE SKIP LOCKED");
	book_put_text(&q, round);
	book_put_text(&q, after);
	book_put_i64(&q, most);
	while (n < (size_t)most && book_row(&q) && (list[n] = book_text(&q, 0, a)) != NULL)
		n++;
	s = book_asked(&q, claiming, e);
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

enum ft_status ft_book_claim_machine(struct ft_book *b, const char *round, const char *machine, bool *ret_judged,
                                     struct ft_error *e)
{
	enum ft_status s = b->engine->claim(b, e);
	struct book_query q;
	int64_t same = 0;

	*ret_judged = false;
	if (s != FT_OK)
		return s;
	q = book_ask(b, "SELECT round IS NOT DISTINCT FROM ? FROM watch_judged WHERE machine = ? FOR UPDATE");
	book_put_text(&q, round);
	book_put_text(&q, machine);
	s = book_number(&q, claiming, &same, e);
	*ret_judged = same == 1;
	return s;
}

enum ft_status book_put_judged(struct ft_book *b, const struct ft_watched *w, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < w->judged_count; i++) {
		struct book_query q = book_ask(b, "UPDATE watch_judged SET round = ?, bytes = ? WHERE machine = ?");
		book_put_text(&q, w->round);
		book_put_blob(&q, w->judged[i].bytes.p, w->judged[i].bytes.n);
		book_put_text(&q, w->judged[i].machine);
		s = book_run(&q, "writing what was judged into", e);
	}
	return s;
}

enum ft_status ft_book_watched_judged(struct ft_book *b, const char *round, struct ft_arena *a,
                                      struct ft_watched_judged **ret, size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT machine, bytes FROM watch_judged WHERE round = ? ORDER BY machine");
	struct ft_watched_judged *list = NULL, *grown;
	size_t n = 0, room = 0;
	enum ft_status s;

	book_put_text(&q, round);
	while ((grown = book_row_of(&q, a, list, n, &room, sizeof *list)) != NULL) {
		list = grown;
		list[n].machine = book_text(&q, 0, a);
		if (!list[n].machine || !book_blob(&q, 1, a, &list[n].bytes))
			break;
		n++;
	}
	s = book_asked(&q, "reading the watch from", e);
	*ret = list;
	*ret_count = s == FT_OK ? n : 0;
	return s;
}

/* ---- the fleet ---- */

static void put_text(struct ft_buf *out, const char *text)
{
	ft_buf_puts(out, text ? text : "");
	ft_buf_byte(out, text ? 0 : 1);
}

static struct ft_hash hash_of(const struct ft_watched *w, bool *ret_good)
{
	struct ft_buf out = { 0 };
	struct ft_hash h;

	for (size_t i = 0; i < w->exception_count; i++) {
		const struct ft_watched_exception *x = &w->exceptions[i];
		const char *texts[] = {
			x->machine, x->asset, x->rule, x->selection, x->seen, x->expected, x->before, x->after
		};
		for (size_t k = 0; k < sizeof texts / sizeof *texts; k++)
			put_text(&out, texts[k]);
		ft_buf_printf(&out, "%lld %lld %lld %d %d %lld %lld %lld\n", (long long)x->since_us, (long long)x->seen_us,
		              (long long)x->ended_us, x->open, x->acknowledged, (long long)x->money, (long long)x->decimals,
		              (long long)x->sure_ppm);
	}
	*ret_good = out.status == FT_OK;
	h = ft_hash_of(out.p, out.n);
	ft_buf_done(&out);
	return h;
}

enum ft_status book_tell_fleet(struct ft_book *b, const struct ft_watched *w, bool *ret, struct ft_error *e)
{
	bool good;
	struct ft_hash h = hash_of(w, &good);
	struct book_query q;
	int64_t told = 0;
	enum ft_status s;

	*ret = false;
	if (!good)
		return ft_fail_memory(e, "writing exceptions");
	/* More reads count while they are there: months may have been dropped since. */
	q = book_ask(b,
	             "SELECT count(*) FROM watch_told "
	             "WHERE (reads > ?1 AND (SELECT sum(p.reads) FROM watch_part p) > ?1) "
	             "OR (hash = ?2 AND (SELECT count(*) FROM watch_exception) = ?3)");
	book_put_i64(&q, w->reads);
	book_put_blob(&q, h.b, FT_HASH_BYTES);
	book_put_i64(&q, (int64_t)w->exception_count);
	s = book_number(&q, "writing exceptions into", &told, e);
	if (s != FT_OK || told)
		return s;
	s = book_exec(b, "DELETE FROM watch_told", "writing exceptions into", e);
	if (s != FT_OK)
		return s;
	q = book_ask(b, "INSERT INTO watch_told (reads, hash) VALUES (?, ?)");
	book_put_i64(&q, w->reads);
	book_put_blob(&q, h.b, FT_HASH_BYTES);
	s = book_run(&q, "writing exceptions into", e);
	*ret = s == FT_OK;
	return s;
}
