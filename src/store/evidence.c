/* SPDX-License-Identifier: Apache-2.0 */
/* What is added to a visit: evidence by its hash, statements, waivers, packages. */
#include "book.h"

/* Bytes that are there already are kept once. Should the disk have spoilt the stored ones, adding the
 * file again heals them: that is what the comparison is for. */
enum ft_status book_put_content(struct ft_book *b, const struct ft_evidence *x, struct ft_error *e)
{
	struct book_query q = book_ask(
		b,
		"INSERT INTO content (hash, size, bytes) VALUES (?, ?, ?) ON CONFLICT (hash) DO UPDATE "
		"SET size = excluded.size, bytes = excluded.bytes WHERE content.bytes IS DISTINCT FROM excluded.bytes");

	book_put_blob(&q, x->hash.b, FT_HASH_BYTES);
	book_put_i64(&q, (int64_t)x->bytes.n);
	book_put_blob(&q, x->bytes.p, x->bytes.n);
	return book_run(&q, "adding evidence to", e);
}

enum ft_status book_put_evidence(struct ft_book *b, int64_t visit, const struct ft_evidence *x, struct ft_error *e)
{
	enum ft_status s = book_put_content(b, x, e);
	struct book_query q;

	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "INSERT INTO evidence (visit, number, hash, kind, stage, name, added_us, added_offset) "
	             "VALUES (?, ?, ?, ?, ?, ?, ?, ?)");
	book_put_i64(&q, visit);
	book_put_i64(&q, x->number);
	book_put_blob(&q, x->hash.b, FT_HASH_BYTES);
	book_put_text(&q, ft_evidence_word(x->kind));
	book_put_text(&q, ft_stage_word(x->stage));
	book_put_text(&q, x->name ? x->name : "");
	book_put_i64(&q, x->added_us);
	book_put_i64(&q, x->added_offset);
	return book_run(&q, "adding evidence to", e);
}

enum ft_status book_put_statement(struct ft_book *b, int64_t visit, const struct ft_statement *x, struct ft_error *e)
{
	struct book_query q =
		book_ask(b, "INSERT INTO statement (visit, claim, text, by_whom, at_us, at_offset) VALUES (?, ?, ?, ?, ?, ?)");

	book_put_i64(&q, visit);
	book_put_text(&q, ft_claim(x->claim)->id);
	book_put_text(&q, x->text);
	book_put_text(&q, x->by);
	book_put_i64(&q, x->at_us);
	book_put_i64(&q, x->at_offset);
	return book_run(&q, "writing a statement into", e);
}

enum ft_status book_put_waiver(struct ft_book *b, int64_t visit, const struct ft_waiver *x, struct ft_error *e)
{
	struct book_query q =
		book_ask(b, "INSERT INTO waiver (visit, claim, because, by_whom, at_us, at_offset) VALUES (?, ?, ?, ?, ?, ?)");

	book_put_i64(&q, visit);
	book_put_text(&q, ft_claim(x->claim)->id);
	book_put_text(&q, x->because);
	book_put_text(&q, x->by);
	book_put_i64(&q, x->at_us);
	book_put_i64(&q, x->at_offset);
	return book_run(&q, "writing a waiver into", e);
}

enum ft_status book_put_package(struct ft_book *b, int64_t visit, const struct ft_package *x, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "INSERT INTO package (visit, hash, signed_by, sent, at_us, at_offset) "
	                               "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING");

	book_put_i64(&q, visit);
	book_put_blob(&q, x->hash.b, FT_HASH_BYTES);
	book_put_text(&q, x->signed_by);
	book_put_i64(&q, x->sent);
	book_put_i64(&q, x->at_us);
	book_put_i64(&q, x->at_offset);
	return book_run(&q, "writing a package into", e);
}

enum ft_status book_put_taken_out(struct ft_book *b, int64_t visit, const struct ft_taken_out *x, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "INSERT INTO taken_out (visit, number, hash, size, kind, stage, name, added_us, "
	                               "added_offset, because, by_whom, at_us, at_offset) "
	                               "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");

	book_put_i64(&q, visit);
	book_put_i64(&q, x->piece.number);
	book_put_blob(&q, x->piece.hash.b, FT_HASH_BYTES);
	book_put_i64(&q, x->piece.size);
	book_put_text(&q, ft_evidence_word(x->piece.kind));
	book_put_text(&q, ft_stage_word(x->piece.stage));
	book_put_text(&q, x->piece.name ? x->piece.name : "");
	book_put_i64(&q, x->piece.added_us);
	book_put_i64(&q, x->piece.added_offset);
	book_put_text(&q, x->because);
	book_put_text(&q, x->by);
	book_put_i64(&q, x->at_us);
	book_put_i64(&q, x->at_offset);
	return book_run(&q, "taking evidence out of a visit in", e);
}

enum ft_status book_next_piece(struct ft_book *b, int64_t visit, int64_t *ret, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT 1 + coalesce(max(number), 0) FROM (SELECT number FROM evidence WHERE visit "
	                               "= ?1 UNION ALL SELECT number FROM taken_out WHERE visit = ?1) AS used");

	book_put_i64(&q, visit);
	return book_number(&q, "adding evidence to", ret, e);
}

static enum ft_status known_already(struct ft_book *b, int64_t visit, const struct ft_evidence *x, int64_t *ret,
                                    struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT number FROM evidence WHERE visit = ? AND hash = ?");

	book_put_i64(&q, visit);
	book_put_blob(&q, x->hash.b, FT_HASH_BYTES);
	return book_number(&q, "adding evidence to", ret, e);
}

static enum ft_status add_one(struct ft_book *b, int64_t visit, struct ft_evidence *x, bool *ret_known,
                              struct ft_error *e)
{
	int64_t number;
	enum ft_status s = known_already(b, visit, x, &number, e);

	if (s != FT_OK)
		return s;
	*ret_known = number != FT_ABSENT;
	if (*ret_known) {
		x->number = number;
		return book_put_content(b, x, e);
	}
	s = book_next_piece(b, visit, &x->number, e);
	if (s == FT_OK)
		s = book_put_evidence(b, visit, x, e);
	return s == FT_OK ? book_touch(b, visit, x->added_us, e) : s;
}

enum ft_status ft_book_evidence_add(struct ft_book *b, const char *id, struct ft_evidence *list, size_t count,
                                    bool *ret_known, struct ft_error *e)
{
	int64_t visit = 0;
	enum ft_status s;

	/* Hashing takes time: it is done before others are kept from writing. */
	for (size_t i = 0; i < count; i++) {
		if (list[i].bytes.n > FT_EVIDENCE_BYTES_MAX)
			return ft_fail(e, FT_E_INPUT, "%s has more than the %u MB that one piece of evidence may have.",
			               list[i].name, FT_EVIDENCE_BYTES_MAX >> 20);
		list[i].hash = ft_hash_of(list[i].bytes.p, list[i].bytes.n);
		list[i].size = (int64_t)list[i].bytes.n;
	}
	s = book_begin_write(b, e);
	if (s != FT_OK)
		return s;
	s = book_visit_to_change(b, id, false, &visit, e);
	for (size_t i = 0; s == FT_OK && i < count; i++) {
		bool known = false;
		s = add_one(b, visit, &list[i], &known, e);
		if (ret_known)
			ret_known[i] = known;
	}
	return book_end(b, s, "adding evidence to", e);
}

enum ft_status ft_book_evidence_refile(struct ft_book *b, const char *id, int64_t number, enum ft_evidence_kind kind,
                                       enum ft_stage stage, int64_t at_us, struct ft_error *e)
{
	int64_t visit = 0;
	struct book_query q;
	enum ft_status s = book_begin_write(b, e);

	if (s != FT_OK)
		return s;
	s = book_visit_to_change(b, id, false, &visit, e);
	if (s == FT_OK) {
		q = book_ask(b, "UPDATE evidence SET kind = ?, stage = ? WHERE visit = ? AND number = ?");
		book_put_text(&q, ft_evidence_word(kind));
		book_put_text(&q, ft_stage_word(stage));
		book_put_i64(&q, visit);
		book_put_i64(&q, number);
		s = book_run(&q, "filing evidence in", e);
	}
	if (s == FT_OK)
		s = book_touch(b, visit, at_us, e);
	return book_end(b, s, "filing evidence in", e);
}

static enum ft_status take_out(struct ft_book *b, const char *id, const struct ft_taken_out *x, struct ft_error *e)
{
	static const char *const sql[] = {
		"INSERT INTO taken_out (visit, number, hash, size, kind, stage, name, added_us, added_offset, because, by_whom, "
		"at_us, at_offset) SELECT e.visit, e.number, e.hash, c.size, e.kind, e.stage, e.name, e.added_us, "
		"e.added_offset, ?3, ?4, ?5, ?6 FROM evidence e JOIN content c ON c.hash = e.hash "
		"WHERE e.visit = ?1 AND e.number = ?2",
		"DELETE FROM evidence WHERE visit = ?1 AND number = ?2"
	};
	struct book_query q;
	int64_t visit = 0, there = 0;
	enum ft_status s = book_visit_to_change(b, id, false, &visit, e);

	if (s != FT_OK)
		return s;
	q = book_ask(b, "SELECT count(*) FROM evidence WHERE visit = ? AND number = ?");
	book_put_i64(&q, visit);
	book_put_i64(&q, x->piece.number);
	s = book_number(&q, "taking evidence out of a visit in", &there, e);
	if (s == FT_OK && !there)
		return ft_fail(e, FT_E_USAGE,
		               "The visit %s has no piece of evidence %lld; fettle visit show %s --all lists them.", id,
		               (long long)x->piece.number, id);
	for (int i = 0; s == FT_OK && i < 2; i++) {
		q = book_ask(b, sql[i]);
		book_put_i64(&q, visit);
		book_put_i64(&q, x->piece.number);
		if (i == 0) {
			book_put_text(&q, x->because);
			book_put_text(&q, x->by);
			book_put_i64(&q, x->at_us);
			book_put_i64(&q, x->at_offset);
		}
		s = book_run(&q, "taking evidence out of a visit in", e);
	}
	return s == FT_OK ? book_touch(b, visit, x->at_us, e) : s;
}

enum ft_status ft_book_evidence_drop(struct ft_book *b, const char *id, const struct ft_taken_out *x,
                                     struct ft_error *e)
{
	enum ft_status s = book_begin_write(b, e);

	return s == FT_OK ? book_end(b, take_out(b, id, x, e), "taking evidence out of a visit in", e) : s;
}

enum ft_status book_sound(const struct ft_book *b, const struct ft_hash *hash, struct ft_slice bytes,
                          struct ft_error *e)
{
	const struct ft_hash now = ft_hash_of(bytes.p, bytes.n);
	char text[FT_HASH_TEXT];

	if (memcmp(now.b, hash->b, FT_HASH_BYTES) == 0)
		return FT_OK;
	return ft_fail(
		e, FT_E_STORE,
		"The book %s is damaged: the evidence %.16s is not what was added; add it again or take the last backup.",
		b->path, ft_hash_text(hash, text));
}

enum ft_status ft_book_content(struct ft_book *b, const struct ft_hash *hash, struct ft_arena *a, struct ft_slice *ret,
                               struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT bytes FROM content WHERE hash = ?");
	struct ft_slice bytes = { 0 };
	char text[FT_HASH_TEXT];
	enum ft_status s;

	book_put_blob(&q, hash->b, FT_HASH_BYTES);
	if (book_row(&q))
		book_blob(&q, 0, a, &bytes);
	s = book_asked(&q, "reading evidence from", e);
	if (s != FT_OK)
		return s;
	if (!bytes.p)
		return ft_fail(e, FT_E_STORE, "The book %s holds no evidence with the hash %.16s.", b->path,
		               ft_hash_text(hash, text));
	*ret = bytes;
	return book_sound(b, hash, bytes, e);
}

/* What a word is about, and which word: exactly one of the two is given. */
static enum ft_status add_word(struct ft_book *b, const char *id, const struct ft_statement *said,
                               const struct ft_waiver *waived, struct ft_error *e)
{
	const char *doing = said ? "writing a statement into" : "writing a waiver into";
	int64_t visit = 0;
	enum ft_claim_id claim;
	enum ft_status s;

	if (!said == !waived)
		return ft_fail(e, FT_E_INTERNAL, "A word for the book is neither a statement nor a waiver.");
	claim = said ? said->claim : waived->claim;
	s = book_begin_write(b, e);
	if (s != FT_OK)
		return s;
	s = book_visit_to_change(b, id, ft_claim(claim)->due == FT_DUE_LATER, &visit, e);
	if (s == FT_OK)
		s = said ? book_put_statement(b, visit, said, e) : book_put_waiver(b, visit, waived, e);
	if (s == FT_OK)
		s = book_touch(b, visit, said ? said->at_us : waived->at_us, e);
	return book_end(b, s, doing, e);
}

enum ft_status ft_book_say(struct ft_book *b, const char *id, const struct ft_statement *x, struct ft_error *e)
{
	return add_word(b, id, x, NULL, e);
}

enum ft_status ft_book_waive(struct ft_book *b, const char *id, const struct ft_waiver *x, struct ft_error *e)
{
	return add_word(b, id, NULL, x, e);
}

enum ft_status ft_book_package_add(struct ft_book *b, const char *id, const struct ft_package *x, struct ft_error *e)
{
	int64_t visit = 0;
	enum ft_status s = book_begin_write(b, e);

	if (s != FT_OK)
		return s;
	s = book_visit_to_change(b, id, true, &visit, e);
	if (s == FT_OK)
		s = book_put_package(b, visit, x, e);
	return book_end(b, s, "writing a package into", e);
}

enum ft_status ft_book_package_list(struct ft_book *b, const char *id, struct ft_arena *a, struct ft_package **ret,
                                    size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT p.hash, p.signed_by, p.sent, p.at_us, p.at_offset FROM package p "
	                               "JOIN visit v ON v.number = p.visit WHERE v.id = ? ORDER BY p.at_us, p.hash");
	struct ft_package *list = NULL, *grown;
	size_t count = 0, room = 0;
	enum ft_status s;

	book_put_text(&q, id);
	while ((grown = book_row_of(&q, a, list, count, &room, sizeof *list)) != NULL) {
		struct ft_slice hash;
		if (!book_blob(&q, 0, a, &hash) || hash.n != FT_HASH_BYTES) {
			q.no_room = true;
			break;
		}
		list = grown;
		list[count] = (struct ft_package){ .signed_by = book_text(&q, 1, a),
			                               .sent = book_i64(&q, 2) == 1,
			                               .at_us = book_i64(&q, 3),
			                               .at_offset = (int)book_i64(&q, 4) };
		memcpy(list[count++].hash.b, hash.p, FT_HASH_BYTES);
	}
	s = book_asked(&q, "reading", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
	}
	return s;
}
