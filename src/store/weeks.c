/* SPDX-License-Identifier: Apache-2.0 */
/* Handovers with the audit they left behind, and the tables of the weeks after that are filed with them. */
#include "book.h"

static const char handed_over[] =
	"SELECT v.id, v.asset, v.unit, e.name, e.hash, c.bytes, e.added_us, e.added_offset, w.hash, d.bytes "
	"FROM visit v "
	"JOIN evidence e ON e.visit = v.number "
	/* one filed under keep after the others is still the audit of before */
	"AND e.number = (SELECT x.number FROM evidence x WHERE x.visit = v.number AND x.kind = 'audit' "
	"ORDER BY CASE x.stage WHEN 'keep' THEN 1 ELSE 0 END, x.number DESC LIMIT 1) "
	"JOIN content c ON c.hash = e.hash "
	"LEFT JOIN evidence w ON w.visit = v.number "
	"AND w.number = (SELECT max(x.number) FROM evidence x WHERE x.visit = v.number AND x.kind = 'weeks') "
	"LEFT JOIN content d ON d.hash = w.hash "
	"WHERE v.closed_us IS NOT NULL OR EXISTS (SELECT 1 FROM package p WHERE p.visit = v.number) "
	"ORDER BY v.opened_us, v.number";

/* A blob and the hash before it; an empty one needs none. */
static bool take_sound(struct book_query *q, int column, struct ft_arena *a, struct ft_slice *ret, enum ft_status *s,
                       struct ft_error *e)
{
	struct ft_slice hash;
	struct ft_hash h;

	if (!book_blob(q, column, a, &hash) || !book_blob(q, column + 1, a, ret))
		return false;
	if (hash.n == FT_HASH_BYTES) {
		memcpy(h.b, hash.p, FT_HASH_BYTES);
		*s = book_sound(q->book, &h, *ret, e);
	}
	return *s == FT_OK;
}

enum ft_status ft_book_handed_over(struct ft_book *b, bool (*each)(void *to, const struct ft_handed_over *x), void *to,
                                   struct ft_error *e)
{
	struct book_query q = book_ask(b, handed_over);
	struct ft_arena a = { 0 };
	enum ft_status s = FT_OK, asked;

	q.stream = true;
	while (s == FT_OK && book_row(&q)) {
		struct ft_handed_over x = { .visit = book_text(&q, 0, &a),
			                        .asset = book_text(&q, 1, &a),
			                        .unit = book_text(&q, 2, &a),
			                        .audit = book_text(&q, 3, &a),
			                        .at_us = book_i64(&q, 6),
			                        .at_offset = (int)book_i64(&q, 7) };
		if (!take_sound(&q, 4, &a, &x.bytes, &s, e) || !take_sound(&q, 8, &a, &x.weeks, &s, e))
			break;
		if (!x.visit || !x.asset || !x.audit || !each(to, &x))
			s = ft_fail_memory(e, "the handovers");
		ft_arena_reset(&a);
	}
	asked = book_asked(&q, "reading the handovers from", s == FT_OK ? e : NULL);
	ft_arena_done(&a);
	return s == FT_OK ? asked : s;
}

static enum ft_status replace(struct ft_book *b, int64_t visit, int64_t number, const struct ft_hash *was,
                              const struct ft_evidence *x, struct ft_error *e)
{
	enum ft_status s = book_put_content(b, x, e);
	struct book_query q;

	if (s != FT_OK)
		return s;
	q = book_ask(b, "UPDATE evidence SET hash = ?, added_us = ?, added_offset = ? WHERE visit = ? AND number = ?");
	book_put_blob(&q, x->hash.b, FT_HASH_BYTES);
	book_put_i64(&q, x->added_us);
	book_put_i64(&q, x->added_offset);
	book_put_i64(&q, visit);
	book_put_i64(&q, number);
	s = book_run(&q, "filing the weeks after into", e);
	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "DELETE FROM content WHERE hash = ?1 AND NOT EXISTS (SELECT 1 FROM evidence WHERE hash = ?1) "
	             "AND NOT EXISTS (SELECT 1 FROM taken_out WHERE hash = ?1)");
	book_put_blob(&q, was->b, FT_HASH_BYTES);
	return book_run(&q, "filing the weeks after into", e);
}

static enum ft_status put_one(struct ft_book *b, const char *id, struct ft_evidence *x, struct ft_arena *a,
                              struct ft_error *e)
{
	int64_t visit = 0, number = FT_ABSENT;
	struct ft_slice hash = { "", 0 };
	struct ft_hash was;
	enum ft_status s = book_visit_to_change(b, id, true, &visit, e);
	struct book_query q;

	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "SELECT number, hash FROM evidence WHERE visit = ? AND kind = 'weeks' ORDER BY number DESC LIMIT 1");
	book_put_i64(&q, visit);
	if (book_row(&q)) {
		number = book_i64(&q, 0);
		book_blob(&q, 1, a, &hash);
	}
	s = book_asked(&q, "filing the weeks after into", e);
	if (s != FT_OK || (hash.n == FT_HASH_BYTES && memcmp(hash.p, x->hash.b, FT_HASH_BYTES) == 0))
		return s;
	if (hash.n == FT_HASH_BYTES) {
		memcpy(was.b, hash.p, FT_HASH_BYTES);
		return replace(b, visit, number, &was, x, e);
	}
	s = book_next_piece(b, visit, &x->number, e);
	return s == FT_OK ? book_put_evidence(b, visit, x, e) : s;
}

enum ft_status ft_book_weeks_put(struct ft_book *b, const struct ft_weeks_filed *list, size_t count, int64_t at_us,
                                 int at_offset, struct ft_error *e)
{
	struct ft_arena a = { 0 };
	enum ft_status s = count ? book_begin_write(b, e) : FT_OK;

	if (!count || s != FT_OK)
		return s;
	for (size_t i = 0; s == FT_OK && i < count; i++) {
		struct ft_evidence x = { .kind = FT_EVIDENCE_WEEKS,
			                     .stage = FT_STAGE_WATCH,
			                     .name = "weeks-after.csv",
			                     .hash = ft_hash_of(list[i].bytes.p, list[i].bytes.n),
			                     .size = (int64_t)list[i].bytes.n,
			                     .bytes = list[i].bytes,
			                     .added_us = at_us,
			                     .added_offset = at_offset };
		s = put_one(b, list[i].visit, &x, &a, e);
		ft_arena_reset(&a);
	}
	s = book_end(b, s, "filing the weeks after into", e);
	ft_arena_done(&a);
	return s;
}
