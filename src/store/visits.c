/* SPDX-License-Identifier: Apache-2.0 */
/* Visits: opened, found, loaded, listed, changed, closed. */
#include "book.h"

#define VISIT_COLUMNS                                                                           \
	"number, id, key, asset, site, machine_serial, unit, sim, technician, without, opened_us, " \
	"opened_offset, closed_us, closed_offset, changed_us"

static int64_t take_visit(struct book_query *q, struct ft_arena *a, struct ft_visit *v)
{
	*v = (struct ft_visit){
		.id = book_text(q, 1, a),
		.key = book_text(q, 2, a),
		.asset = book_text(q, 3, a),
		.site = book_text(q, 4, a),
		.machine_serial = book_text(q, 5, a),
		.unit = book_text(q, 6, a),
		.sim = book_text(q, 7, a),
		.technician = book_text(q, 8, a),
		.without = (unsigned)book_i64(q, 9),
		.opened_us = book_i64(q, 10),
		.opened_offset = (int)book_i64(q, 11),
		.closed_us = book_i64(q, 12),
		.changed_us = book_i64(q, 14),
	};
	v->closed_offset = v->closed_us != FT_ABSENT ? (int)book_i64(q, 13) : 0;
	return book_i64(q, 0);
}

enum ft_status book_visit_number(struct ft_book *b, const char *id, int64_t *ret, bool *ret_closed, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT number, closed_us IS NOT NULL FROM visit WHERE id = ?");
	int64_t number = FT_ABSENT, closed = 0;
	enum ft_status s;

	book_put_text(&q, id);
	if (book_row(&q)) {
		number = book_i64(&q, 0);
		closed = book_i64(&q, 1);
	}
	s = book_asked(&q, "looking for a visit in", e);
	if (s == FT_OK && number == FT_ABSENT)
		return ft_fail(e, FT_E_USAGE, "The book has no visit %s; fettle visit show lists those it has.", id);
	if (s == FT_OK) {
		*ret = number;
		*ret_closed = closed != 0;
	}
	return s;
}

enum ft_status book_visit_to_change(struct ft_book *b, const char *id, bool late, int64_t *ret, struct ft_error *e)
{
	bool closed = false;
	enum ft_status s = book_visit_number(b, id, ret, &closed, e);

	if (s == FT_OK && closed && !late)
		return ft_fail(e, FT_E_USAGE, "The visit %s is closed and stays as it is; open another with fettle visit open.",
		               id);
	return s;
}

enum ft_status book_touch(struct ft_book *b, int64_t visit, int64_t at_us, struct ft_error *e)
{
	/* A clock that was put back must not make a later state look like the earlier one. */
	struct book_query q = book_ask(b,
	                               "UPDATE visit SET changed_us = CASE WHEN changed_us >= ?1 THEN changed_us + 1 "
	                               "ELSE ?1 END WHERE number = ?2");

	book_put_i64(&q, at_us);
	book_put_i64(&q, visit);
	return book_run(&q, "changing", e);
}

/* Ids are spoken on the telephone and become names of files: nothing but letters, digits, - . _ in them. */
enum ft_status book_free_id(struct ft_book *b, const char *asset, struct ft_arena *a, const char **ret,
                            struct ft_error *e)
{
	char *stem = ft_arena_text(a, ft_slice_of(asset));
	struct book_query q = book_ask(b, "SELECT 1 + count(*) FROM visit WHERE asset = ?");
	int64_t n = 0, taken = 1;
	enum ft_status s;

	book_put_text(&q, asset);
	s = book_number(&q, "counting visits in", &n, e);
	if (s != FT_OK)
		return s;
	for (char *p = stem; p && *p; p++)
		if (!ft_is_digit(*p) && !ft_is_upper(*p & ~0x20) && *p != '-' && *p != '.' && *p != '_')
			*p = '-';
	for (; stem; n++) {
		const char *id = ft_arena_printf(a, "%s-%lld", stem, (long long)n);
		if (!id)
			break;
		q = book_ask(b, "SELECT count(*) FROM visit WHERE id = ?");
		book_put_text(&q, id);
		s = book_number(&q, "counting visits in", &taken, e);
		if (s != FT_OK)
			return s;
		if (!taken) {
			*ret = id;
			return FT_OK;
		}
	}
	return ft_fail_memory(e, "opening a visit");
}

static enum ft_status put_visit(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a, const char **ret_id,
                                struct ft_error *e)
{
	char key[FT_VISIT_KEY_TEXT];
	const char *id = NULL;
	struct book_query q;
	int64_t known = 0;
	enum ft_status s;

	ft_visit_key(v->asset, v->opened_us, v->technician, key);
	q = book_ask(b, "SELECT count(*) FROM visit WHERE key = ?");
	book_put_text(&q, key);
	s = book_number(&q, "opening a visit in", &known, e);
	if (s == FT_OK && known)
		return ft_fail(e, FT_E_USAGE, "A visit of %s was opened by the same person at this very moment already.",
		               v->asset);
	if (s == FT_OK)
		s = book_free_id(b, v->asset, a, &id, e);
	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "INSERT INTO visit (id, key, asset, site, machine_serial, unit, sim, technician, without, opened_us, "
	             "opened_offset, changed_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
	book_put_text(&q, id);
	book_put_text(&q, key);
	book_put_text(&q, v->asset);
	book_put_text(&q, v->site);
	book_put_text(&q, v->machine_serial);
	book_put_text(&q, v->unit);
	book_put_text(&q, v->sim);
	book_put_text(&q, v->technician);
	book_put_i64(&q, v->without);
	book_put_i64(&q, v->opened_us);
	book_put_i64(&q, v->opened_offset);
	book_put_i64(&q, v->opened_us);
	s = book_run(&q, "opening a visit in", e);
	if (s == FT_OK)
		*ret_id = id;
	return s;
}

enum ft_status ft_book_visit_open(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a, const char **ret_id,
                                  struct ft_error *e)
{
	enum ft_status s;

	if (!v->asset || !*v->asset || strlen(v->asset) > 64)
		return ft_fail(e, FT_E_USAGE, "An asset number has 1 to 64 characters.");
	s = book_begin_write(b, e);
	if (s != FT_OK)
		return s;
	return book_end(b, put_visit(b, v, a, ret_id, e), "opening a visit in", e);
}

static enum ft_status set_visit(struct ft_book *b, const char *id, const struct ft_visit_change *c, struct ft_error *e)
{
	struct book_query q;
	int64_t number = 0;
	enum ft_status s = book_visit_to_change(b, id, false, &number, e);

	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "UPDATE visit SET site = coalesce(?, site), machine_serial = coalesce(?, machine_serial), "
	             "unit = coalesce(?, unit), sim = coalesce(?, sim), technician = coalesce(?, technician), "
	             "without = coalesce(?, without) WHERE number = ?");
	book_put_text(&q, c->site);
	book_put_text(&q, c->machine_serial);
	book_put_text(&q, c->unit);
	book_put_text(&q, c->sim);
	book_put_text(&q, c->technician);
	book_put_i64(&q, c->without ? (int64_t)*c->without : FT_ABSENT);
	book_put_i64(&q, number);
	s = book_run(&q, "changing", e);
	return s == FT_OK ? book_touch(b, number, c->at_us, e) : s;
}

enum ft_status ft_book_visit_set(struct ft_book *b, const char *id, const struct ft_visit_change *c, struct ft_error *e)
{
	enum ft_status s = book_begin_write(b, e);

	return s == FT_OK ? book_end(b, set_visit(b, id, c, e), "changing", e) : s;
}

static enum ft_status close_visit(struct ft_book *b, const char *id, int64_t at_us, int at_offset, struct ft_error *e)
{
	struct book_query q;
	int64_t number = 0;
	enum ft_status s = book_visit_to_change(b, id, false, &number, e);

	if (s != FT_OK)
		return s;
	q = book_ask(b, "UPDATE visit SET closed_us = ?, closed_offset = ? WHERE number = ?");
	book_put_i64(&q, at_us);
	book_put_i64(&q, at_offset);
	book_put_i64(&q, number);
	s = book_run(&q, "closing a visit in", e);
	return s == FT_OK ? book_touch(b, number, at_us, e) : s;
}

enum ft_status ft_book_visit_close(struct ft_book *b, const char *id, int64_t at_us, int at_offset, struct ft_error *e)
{
	enum ft_status s = book_begin_write(b, e);

	return s == FT_OK ? book_end(b, close_visit(b, id, at_us, at_offset, e), "closing a visit in", e) : s;
}

/* By asset: the open one, or the only one. Names the choices in `choices`. */
static enum ft_status find_by_asset(struct ft_book *b, const char *name, struct ft_arena *a, const char **ret_id,
                                    struct ft_buf *choices, struct ft_error *e)
{
	struct book_query q =
		book_ask(b, "SELECT id, closed_us IS NULL FROM visit WHERE asset = ? ORDER BY opened_us DESC, number DESC");
	const char *open_id = NULL, *any = NULL;
	size_t open_count = 0, count = 0;
	enum ft_status s;

	book_put_text(&q, name);
	while (book_row(&q)) {
		const char *id = book_text(&q, 0, a);
		bool open = book_i64(&q, 1) == 1;
		if (!id)
			break;
		if (count++ < 8)
			ft_buf_printf(choices, "%s%s", count > 1 ? ", " : "", id);
		any = id;
		if (open) {
			open_count++;
			open_id = id;
		}
	}
	s = book_asked(&q, "looking for a visit in", e);
	ft_buf_byte(choices, 0);
	if (s != FT_OK)
		return s;
	if (count == 0)
		return ft_fail(e, FT_E_USAGE, "The book has no visit %s; fettle visit show lists those it has.", name);
	if (open_count != 1 && count != 1)
		return ft_fail(e, FT_E_USAGE, "%s has %zu visits and %s of them is open; name one: %s.", name, count,
		               open_count ? "more than one" : "none",
		               choices->status == FT_OK ? choices->p : "see fettle visit show");
	*ret_id = open_count == 1 ? open_id : any;
	return FT_OK;
}

enum ft_status ft_book_visit_find(struct ft_book *b, const char *name, struct ft_arena *a, const char **ret_id,
                                  struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT id FROM visit WHERE id = ?");
	struct ft_buf choices = { 0 };
	const char *id = NULL;
	enum ft_status s;

	book_put_text(&q, name);
	if (book_row(&q))
		id = book_text(&q, 0, a);
	s = book_asked(&q, "looking for a visit in", e);
	if (s != FT_OK)
		return s;
	if (id) {
		*ret_id = id;
		return FT_OK;
	}
	s = find_by_asset(b, name, a, ret_id, &choices, e);
	ft_buf_done(&choices);
	return s;
}

static enum ft_status load_words(struct ft_book *b, int64_t number, struct ft_arena *a, struct ft_visit *v,
                                 struct ft_error *e)
{
	size_t room[2] = { 0, 0 };
	struct book_query q = book_ask(
		b,
		"SELECT 0, claim, text, by_whom, at_us, at_offset, number FROM statement WHERE visit = ?1 UNION ALL "
		"SELECT 1, claim, because, by_whom, at_us, at_offset, number FROM waiver WHERE visit = ?1 ORDER BY 1, 7");

	book_put_i64(&q, number);
	while (book_row(&q)) {
		const char *name = book_text(&q, 1, a);
		const struct ft_claim *known = ft_claim_by_name(ft_slice_of(name));
		const char *text = book_text(&q, 2, a), *by = book_text(&q, 3, a);
		enum ft_claim_id claim;
		void *grown;
		if (!known)
			continue; /* of a claim that this version no longer has */
		claim = (enum ft_claim_id)(known - ft_claim((enum ft_claim_id)0));
		if (book_i64(&q, 0) == 0) {
			grown = ft_arena_grow(a, v->statements, v->statement_count, &room[0], sizeof *v->statements);
			if (!grown)
				break;
			v->statements = grown;
			v->statements[v->statement_count++] =
				(struct ft_statement){ claim, text, by, book_i64(&q, 4), (int)book_i64(&q, 5) };
		} else {
			grown = ft_arena_grow(a, v->waivers, v->waiver_count, &room[1], sizeof *v->waivers);
			if (!grown)
				break;
			v->waivers = grown;
			v->waivers[v->waiver_count++] =
				(struct ft_waiver){ claim, text, by, book_i64(&q, 4), (int)book_i64(&q, 5) };
		}
	}
	q.no_room |= a->failed;
	return book_asked(&q, "reading", e);
}

static enum ft_status load_evidence(struct ft_book *b, int64_t number, enum ft_book_load load, struct ft_arena *a,
                                    struct ft_visit *v, struct ft_error *e)
{
	size_t room = 0;
	enum ft_status s;
	struct book_query q =
		book_ask(b,
	             "SELECT e.number, e.kind, e.stage, e.name, e.hash, c.size, e.added_us, e.added_offset "
	             "FROM evidence e JOIN content c ON c.hash = e.hash WHERE e.visit = ? ORDER BY e.number");

	book_put_i64(&q, number);
	while (book_row(&q)) {
		struct ft_evidence *grown = ft_arena_grow(a, v->evidence, v->evidence_count, &room, sizeof *grown), *x;
		struct ft_slice hash;
		if (!grown || !book_blob(&q, 4, a, &hash))
			break;
		v->evidence = grown;
		x = &grown[v->evidence_count++];
		*x = (struct ft_evidence){ .number = book_i64(&q, 0),
			                       .name = book_text(&q, 3, a),
			                       .size = book_i64(&q, 5),
			                       .added_us = book_i64(&q, 6),
			                       .added_offset = (int)book_i64(&q, 7) };
		if (hash.n == FT_HASH_BYTES)
			memcpy(x->hash.b, hash.p, FT_HASH_BYTES);
		ft_evidence_parse(ft_slice_of(book_text(&q, 1, a)), &x->kind);
		ft_stage_parse(ft_slice_of(book_text(&q, 2, a)), &x->stage);
	}
	q.no_room |= a->failed;
	s = book_asked(&q, "reading", e);
	for (size_t i = 0; s == FT_OK && i < v->evidence_count; i++)
		if (load == FT_LOAD_ALL || (load == FT_LOAD_JUDGED && ft_evidence_judged(v->evidence[i].kind)))
			s = ft_book_content(b, &v->evidence[i].hash, a, &v->evidence[i].bytes, e);
	return s;
}

static enum ft_status load_taken_out(struct ft_book *b, int64_t number, struct ft_arena *a, struct ft_visit *v,
                                     struct ft_error *e)
{
	size_t room = 0;
	struct book_query q = book_ask(
		b,
		"SELECT number, kind, stage, name, hash, size, added_us, added_offset, because, by_whom, at_us, at_offset "
		"FROM taken_out WHERE visit = ? ORDER BY number");

	book_put_i64(&q, number);
	while (book_row(&q)) {
		struct ft_taken_out *grown = ft_arena_grow(a, v->taken_out, v->taken_out_count, &room, sizeof *grown), *x;
		struct ft_slice hash;
		if (!grown || !book_blob(&q, 4, a, &hash))
			break;
		v->taken_out = grown;
		x = &grown[v->taken_out_count++];
		*x = (struct ft_taken_out){ .piece = { .number = book_i64(&q, 0),
			                                   .name = book_text(&q, 3, a),
			                                   .size = book_i64(&q, 5),
			                                   .added_us = book_i64(&q, 6),
			                                   .added_offset = (int)book_i64(&q, 7) },
			                        .because = book_text(&q, 8, a),
			                        .by = book_text(&q, 9, a),
			                        .at_us = book_i64(&q, 10),
			                        .at_offset = (int)book_i64(&q, 11) };
		if (hash.n == FT_HASH_BYTES)
			memcpy(x->piece.hash.b, hash.p, FT_HASH_BYTES);
		ft_evidence_parse(ft_slice_of(book_text(&q, 1, a)), &x->piece.kind);
		ft_stage_parse(ft_slice_of(book_text(&q, 2, a)), &x->piece.stage);
	}
	q.no_room |= a->failed;
	return book_asked(&q, "reading", e);
}

static enum ft_status load_visit(struct ft_book *b, const char *id, enum ft_book_load load, struct ft_arena *a,
                                 struct ft_visit *v, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT " VISIT_COLUMNS " FROM visit WHERE id = ?");
	int64_t number = FT_ABSENT;
	enum ft_status s;

	book_put_text(&q, id);
	if (book_row(&q))
		number = take_visit(&q, a, v);
	s = book_asked(&q, "reading", e);
	if (s == FT_OK && number == FT_ABSENT)
		return ft_fail(e, FT_E_USAGE, "The book has no visit %s; fettle visit show lists those it has.", id);
	if (s == FT_OK)
		s = load_words(b, number, a, v, e);
	if (s == FT_OK)
		s = load_taken_out(b, number, a, v, e);
	return s == FT_OK ? load_evidence(b, number, load, a, v, e) : s;
}

enum ft_status ft_book_visit_load(struct ft_book *b, const char *id, enum ft_book_load load, struct ft_arena *a,
                                  struct ft_visit *ret, struct ft_error *e)
{
	struct ft_visit v = { 0 };
	enum ft_status s = book_begin_read(b, e);

	if (s != FT_OK)
		return s;
	s = book_end(b, load_visit(b, id, load, a, &v, e), "reading", e);
	if (s == FT_OK)
		*ret = v;
	return s;
}

enum ft_status ft_book_visit_list(struct ft_book *b, int64_t since_us, struct ft_arena *a, struct ft_visit **ret,
                                  size_t *ret_count, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "SELECT " VISIT_COLUMNS " FROM visit WHERE ?1 IS NULL OR opened_us >= ?1 OR "
	                               "closed_us IS NULL ORDER BY opened_us DESC, number DESC");
	struct ft_visit *list = NULL, *grown;
	size_t count = 0, room = 0;
	enum ft_status s;

	book_put_i64(&q, since_us);
	while ((grown = book_row_of(&q, a, list, count, &room, sizeof *list)) != NULL) {
		list = grown;
		take_visit(&q, a, &list[count++]);
	}
	s = book_asked(&q, "reading", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
	}
	return s;
}
