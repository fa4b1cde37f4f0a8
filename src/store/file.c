/* SPDX-License-Identifier: Apache-2.0 */
/* Filing a visit that came from another book, and what the book holds against it. */
#include "book.h"

static const char *const conflict_words[] = { "unit-elsewhere", "sim-elsewhere", "serial-differs", "older",
	                                          "later-visit" };

const char *ft_conflict_word(enum ft_conflict_kind k)
{
	return conflict_words[k];
}

/* Each query gives the visit and one text for the sentence, or no row. Parameters: 1 key, 2 asset,
 * 3 unit, 4 SIM, 5 machine serial, 6 changed_us, 7 opened_us. */
static const struct {
	enum ft_conflict_kind kind;
	const char *sql;
	const char *sentence; /* the visit in this book, then the text of the query */
} rules[] = {
	{ FT_CONFLICT_UNIT_ELSEWHERE,
	  "SELECT id, asset FROM visit WHERE unit = ?3 AND key <> ?1 ORDER BY opened_us DESC, number DESC LIMIT 1",
	  "The unit is at %2$s by the visit %1$s, which is the latest that names it; find out which of the two is right" },
	{ FT_CONFLICT_SIM_ELSEWHERE,
	  "SELECT id, asset FROM visit WHERE sim = ?4 AND key <> ?1 ORDER BY opened_us DESC, number DESC LIMIT 1",
	  "The SIM is at %2$s by the visit %1$s, which is the latest that names it; find out which of the two is right" },
	{ FT_CONFLICT_SERIAL_DIFFERS,
	  "SELECT id, machine_serial FROM visit WHERE asset = ?2 AND key <> ?1 AND machine_serial IS NOT NULL "
	  "ORDER BY opened_us DESC, number DESC LIMIT 1",
	  "The visit %1$s saw this asset with the machine serial %2$s; was the machine exchanged?" },
	{ FT_CONFLICT_OLDER, "SELECT id, '' FROM visit WHERE key = ?1 AND changed_us > ?6",
	  "The book holds this visit as %1$s in a later state; the later one is kept" },
	{ FT_CONFLICT_LATER_VISIT,
	  "SELECT id, '' FROM visit WHERE asset = ?2 COLLATE NOCASE AND key <> ?1 AND opened_us > ?7 "
	  "ORDER BY opened_us DESC LIMIT 1",
	  "The book holds a later visit of this asset, %1$s; this one is filed as the earlier of the two" },
};

/* Is what the query found the same as the visit says, and so no conflict? */
static bool agrees(enum ft_conflict_kind k, const struct ft_visit *v, const char *text)
{
	switch (k) {
	case FT_CONFLICT_UNIT_ELSEWHERE:
	case FT_CONFLICT_SIM_ELSEWHERE:
		return ft_slice_eq_nocase(ft_slice_of(text), ft_slice_of(v->asset));
	case FT_CONFLICT_SERIAL_DIFFERS:
		return !v->machine_serial || ft_slice_is(ft_slice_of(text), v->machine_serial);
	default:
		return false;
	}
}

static enum ft_status ask_conflict(struct ft_book *b, size_t rule, const struct ft_visit *v, struct ft_arena *a,
                                   struct ft_conflict *ret, bool *ret_found, struct ft_error *e)
{
	struct book_query q = book_ask(b, rules[rule].sql);
	const char *id = NULL, *text = NULL;
	const int wanted = q.st ? b->engine->parameters(&q) : 0;
	enum ft_status s;

	for (int i = 1; i <= wanted; i++) {
		const char *texts[] = { v->key, v->asset, v->unit, v->sim, v->machine_serial };
		if (i <= 5)
			book_put_text(&q, texts[i - 1]);
		else
			book_put_i64(&q, i == 6 ? v->changed_us : v->opened_us);
	}
	if (book_row(&q)) {
		id = book_text(&q, 0, a);
		text = book_text(&q, 1, a);
	}
	s = book_asked(&q, "looking for conflicts in", e);
	*ret_found = s == FT_OK && id && text && !agrees(rules[rule].kind, v, text);
	if (!*ret_found)
		return s;
	*ret = (struct ft_conflict){ rules[rule].kind, ft_arena_printf(a, rules[rule].sentence, id, text), id };
	return ret->sentence ? FT_OK : ft_fail_memory(e, "looking for conflicts");
}

enum ft_status ft_book_conflicts(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a,
                                 struct ft_conflict **ret, size_t *ret_count, struct ft_error *e)
{
	enum { RULES = sizeof rules / sizeof *rules };
	struct ft_conflict *list = FT_NEW_ARRAY(a, RULES, struct ft_conflict);
	size_t count = 0;
	enum ft_status s = list ? book_begin_read(b, e) : ft_fail_memory(e, "looking for conflicts");

	if (s != FT_OK)
		return s;
	for (size_t i = 0; s == FT_OK && i < RULES; i++) {
		bool found = false;
		s = ask_conflict(b, i, v, a, &list[count], &found, e);
		count += found;
	}
	s = book_end(b, s, "reading", e);
	if (s == FT_OK) {
		*ret = list;
		*ret_count = count;
	}
	return s;
}

static enum ft_status put_filed_visit(struct ft_book *b, const struct ft_visit *v, struct ft_arena *a,
                                      const char **ret_id, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT count(*) FROM visit WHERE id = ?");
	int64_t taken = 0;
	enum ft_status s;

	book_put_text(&q, v->id);
	s = book_number(&q, "filing into", &taken, e);
	*ret_id = v->id;
	if (s == FT_OK && taken)
		s = book_free_id(b, v->asset, a, ret_id, e);
	if (s != FT_OK)
		return s;
	q = book_ask(b, "INSERT INTO visit (id, key, asset, opened_us, opened_offset) VALUES (?, ?, ?, ?, ?)");
	book_put_text(&q, *ret_id);
	book_put_text(&q, v->key);
	book_put_text(&q, v->asset);
	book_put_i64(&q, v->opened_us);
	book_put_i64(&q, v->opened_offset);
	return book_run(&q, "filing into", e);
}

static enum ft_status clear_visit(struct ft_book *b, int64_t number, struct ft_error *e)
{
	static const char *const sql[] = { "DELETE FROM evidence WHERE visit = ?", "DELETE FROM statement WHERE visit = ?",
		                               "DELETE FROM waiver WHERE visit = ?", "DELETE FROM taken_out WHERE visit = ?" };
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < sizeof sql / sizeof *sql; i++) {
		struct book_query q = book_ask(b, sql[i]);
		book_put_i64(&q, number);
		s = book_run(&q, "filing into", e);
	}
	return s;
}

static enum ft_status fill_visit(struct ft_book *b, int64_t number, const struct ft_visit *v, struct ft_error *e)
{
	struct book_query q = book_ask(b,
	                               "UPDATE visit SET site = ?, machine_serial = ?, unit = ?, sim = ?, technician = ?, "
	                               "without = ?, closed_us = ?, closed_offset = ?, changed_us = ? WHERE number = ?");
	enum ft_status s;

	book_put_text(&q, v->site);
	book_put_text(&q, v->machine_serial);
	book_put_text(&q, v->unit);
	book_put_text(&q, v->sim);
	book_put_text(&q, v->technician);
	book_put_i64(&q, v->without);
	book_put_i64(&q, v->closed_us);
	book_put_i64(&q, v->closed_us == FT_ABSENT ? FT_ABSENT : v->closed_offset);
	book_put_i64(&q, v->changed_us);
	book_put_i64(&q, number);
	s = book_run(&q, "filing into", e);
	for (size_t i = 0; s == FT_OK && i < v->evidence_count; i++)
		s = book_put_evidence(b, number, &v->evidence[i], e);
	for (size_t i = 0; s == FT_OK && i < v->taken_out_count; i++)
		s = book_put_taken_out(b, number, &v->taken_out[i], e);
	for (size_t i = 0; s == FT_OK && i < v->statement_count; i++)
		s = book_put_statement(b, number, &v->statements[i], e);
	for (size_t i = 0; s == FT_OK && i < v->waiver_count; i++)
		s = book_put_waiver(b, number, &v->waivers[i], e);
	return s;
}

static enum ft_status file_visit(struct ft_book *b, const struct ft_visit *v, const struct ft_package *p,
                                 struct ft_arena *a, const char **ret_id, enum ft_filed *ret_filed, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT number, id, changed_us FROM visit WHERE key = ?");
	int64_t number = FT_ABSENT, changed = 0;
	bool closed;
	enum ft_status s;

	book_put_text(&q, v->key);
	if (book_row(&q)) {
		number = book_i64(&q, 0);
		*ret_id = book_text(&q, 1, a);
		changed = book_i64(&q, 2);
	}
	s = book_asked(&q, "filing into", e);
	if (s != FT_OK)
		return s;
	if (number == FT_ABSENT) {
		*ret_filed = FT_FILED_NEW;
		s = put_filed_visit(b, v, a, ret_id, e);
		if (s == FT_OK)
			s = book_visit_number(b, *ret_id, &number, &closed, e);
	} else {
		*ret_filed = v->changed_us > changed ? FT_FILED_UPDATED
			: v->changed_us == changed       ? FT_FILED_KNOWN
											 : FT_FILED_OLDER;
		if (*ret_filed == FT_FILED_UPDATED)
			s = clear_visit(b, number, e);
	}
	if (s == FT_OK && (*ret_filed == FT_FILED_NEW || *ret_filed == FT_FILED_UPDATED))
		s = fill_visit(b, number, v, e);
	return s == FT_OK && p ? book_put_package(b, number, p, e) : s;
}

enum ft_status ft_book_file(struct ft_book *b, const struct ft_visit *v, const struct ft_package *p, struct ft_arena *a,
                            const char **ret_id, enum ft_filed *ret_filed, struct ft_error *e)
{
	const char *id = NULL;
	enum ft_filed filed = FT_FILED_KNOWN;
	enum ft_status s;

	for (size_t i = 0; i < v->evidence_count; i++) {
		struct ft_hash h = ft_hash_of(v->evidence[i].bytes.p, v->evidence[i].bytes.n);
		if (!v->evidence[i].bytes.p || memcmp(h.b, v->evidence[i].hash.b, FT_HASH_BYTES) != 0)
			return ft_fail(e, FT_E_INPUT,
			               "The evidence %s of %s is not there or is not what its hash says; nothing was filed.",
			               v->evidence[i].name, v->id);
	}
	s = book_begin_write(b, e);
	if (s != FT_OK)
		return s;
	s = book_end(b, file_visit(b, v, p, a, &id, &filed, e), "filing into", e);
	if (s == FT_OK) {
		*ret_id = id;
		*ret_filed = filed;
	}
	return s;
}
