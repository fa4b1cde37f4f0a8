/* SPDX-License-Identifier: Apache-2.0 */
/* Reads the record back out of a handover.json that may come from anybody, and judges it anew. */
#include "paper.h"

#include <jansson.h>

enum {
	DOCUMENT_BYTES_MAX = 64 << 20, /* ours: the widest audits give some hundred kilobytes */
	TEXT_BYTES_MAX = 4000,         /* ours: a statement is a sentence or two */
	WORDS_MAX = 10000,             /* ours: statements or waivers of one visit */
};

struct record {
	const struct ft_opened *p;
	struct ft_arena *arena;
	struct ft_error *e;
	struct ft_visit *v;
	bool failed;
};

/* The first thing that is wrong sticks. */
static void refuse(struct record *r, const char *what)
{
	if (!r->failed)
		ft_fail(r->e, FT_E_INPUT, "The package's handover.json has no sound \"%s\"; ask for the package again.", what);
	r->failed = true;
}

/* What ends on a terminal must not steer it; lines and tabs in a statement are harmless. */
static bool text_good(const json_t *v)
{
	const char *p = json_string_value(v);

	if (!p || json_string_length(v) > TEXT_BYTES_MAX || strlen(p) != json_string_length(v))
		return false;
	for (; *p; p++)
		if (((unsigned char)*p < 0x20 && *p != '\n' && *p != '\t') || *p == 0x7f)
			return false;
	return true;
}

static const char *take_text(struct record *r, const json_t *o, const char *key, bool must)
{
	const json_t *v = json_object_get(o, key);
	char *copy;

	if (!must && (!v || json_is_null(v)))
		return NULL;
	if (!text_good(v)) {
		refuse(r, key);
		return "";
	}
	copy = ft_arena_text(r->arena, ft_slice_of(json_string_value(v)));
	return copy ? copy : "";
}

static int64_t take_number(struct record *r, const json_t *o, const char *key, int64_t least, int64_t most)
{
	const json_t *v = json_object_get(o, key);

	if (!json_is_integer(v) || json_integer_value(v) < least || json_integer_value(v) > most) {
		refuse(r, key);
		return least;
	}
	return json_integer_value(v);
}

/* "+01:00" at the end of a time, in minutes. */
static bool offset_of(struct ft_slice s, int *ret)
{
	int64_t h, m;
	const char *p;

	if (s.n < 6)
		return false;
	p = s.p + s.n - 6;
	if ((p[0] != '+' && p[0] != '-') || p[3] != ':' || !ft_slice_i64((struct ft_slice){ p + 1, 2 }, &h) ||
	    !ft_slice_i64((struct ft_slice){ p + 4, 2 }, &m) || h < 0 || h > 23 || m < 0 || m > 59)
		return false;
	*ret = (int)(h * 60 + m) * (p[0] == '-' ? -1 : 1);
	return true;
}

static int64_t take_time(struct record *r, const json_t *o, const char *key, bool must, int *ret_offset)
{
	struct ft_slice s = ft_slice_of(take_text(r, o, key, must));
	int64_t us = FT_ABSENT;
	int offset;

	if (!s.p && !must)
		return FT_ABSENT;
	if (!ft_time_parse(s, 0, &us) || !offset_of(s, &offset)) {
		refuse(r, key);
		return 0;
	}
	if (ret_offset)
		*ret_offset = offset;
	return us;
}

static const json_t *take_array(struct record *r, const json_t *o, const char *key, size_t most)
{
	const json_t *v = json_object_get(o, key);

	if (!json_is_array(v) || json_array_size(v) > most) {
		refuse(r, key);
		return NULL;
	}
	return v;
}

/* Array of `count` objects in the arena; one more than needed, so that NULL means no memory. */
static void *take_room(struct record *r, size_t count, size_t size)
{
	void *p = ft_arena_array(r->arena, count + 1, size);

	if (!p) {
		ft_fail_memory(r->e, "opening the package");
		r->failed = true;
	}
	return p;
}

static void take_evidence(struct record *r, const json_t *list)
{
	const json_t *o;
	size_t i;

	r->v->evidence = take_room(r, json_array_size(list), sizeof *r->v->evidence);
	json_array_foreach(list, i, o)
	{
		struct ft_evidence *ev = r->v->evidence + i;
		const char *member;
		if (r->failed)
			return;
		ev->number = take_number(r, o, "number", 1, INT32_MAX);
		ev->name = take_text(r, o, "name", true);
		member = take_text(r, o, "member", true);
		ev->added_us = take_time(r, o, "added", true, &ev->added_offset);
		if (!ft_evidence_parse(ft_slice_of(take_text(r, o, "kind", true)), &ev->kind))
			refuse(r, "kind");
		if (!ft_stage_parse(ft_slice_of(take_text(r, o, "stage", true)), &ev->stage))
			refuse(r, "stage");
		if (r->failed)
			return;
		if (memcmp(member, "evidence/", strlen(member) < 9 ? strlen(member) : 9) == 0)
			ev->bytes = ft_package_member(r->p, member);
		if (!ev->bytes.p) {
			ft_fail(r->e, FT_E_INPUT,
			        "The package lacks the evidence \"%s\" that its handover.json rests on; ask for it again.",
			        ev->name);
			r->failed = true;
			return;
		}
		/* Hash and size come from the bytes themselves; a lie about them shows in the comparison. */
		ev->hash = ft_hash_of(ev->bytes.p, ev->bytes.n);
		ev->size = (int64_t)ev->bytes.n;
		r->v->evidence_count = i + 1;
	}
}

static void take_hash(struct record *r, const json_t *o, struct ft_hash *ret)
{
	struct ft_slice s = ft_slice_of(take_text(r, o, "hash", true));
	uint32_t byte = 0;

	for (size_t i = 0; i < FT_HASH_BYTES; i++) {
		if (s.n != 2 * (size_t)FT_HASH_BYTES || !ft_slice_hex((struct ft_slice){ s.p + 2 * i, 2 }, &byte)) {
			refuse(r, "hash");
			return;
		}
		ret->b[i] = (uint8_t)byte;
	}
}

static void take_taken_out(struct record *r, const json_t *list)
{
	const json_t *o;
	size_t i;

	r->v->taken_out = take_room(r, json_array_size(list), sizeof *r->v->taken_out);
	json_array_foreach(list, i, o)
	{
		struct ft_taken_out x = { 0 };
		if (r->failed)
			return;
		x.piece.number = take_number(r, o, "number", 1, INT32_MAX);
		x.piece.name = take_text(r, o, "name", true);
		x.piece.size = take_number(r, o, "bytes", 0, INT32_MAX);
		x.piece.added_us = take_time(r, o, "added", true, &x.piece.added_offset);
		take_hash(r, o, &x.piece.hash);
		if (!ft_evidence_parse(ft_slice_of(take_text(r, o, "kind", true)), &x.piece.kind))
			refuse(r, "kind");
		if (!ft_stage_parse(ft_slice_of(take_text(r, o, "stage", true)), &x.piece.stage))
			refuse(r, "stage");
		x.because = take_text(r, o, "because", true);
		x.by = take_text(r, o, "by", false);
		x.at_us = take_time(r, o, "at", true, &x.at_offset);
		if (!r->failed && !*x.because)
			refuse(r, "because");
		r->v->taken_out[r->v->taken_out_count++] = x;
	}
}

static bool take_claim(struct record *r, const json_t *o, enum ft_claim_id *ret)
{
	const struct ft_claim *c = ft_claim_by_name(ft_slice_of(take_text(r, o, "claim", true)));

	for (int i = 0; c && i < FT_CLAIM_COUNT; i++)
		if (ft_claim((enum ft_claim_id)i) == c) {
			*ret = (enum ft_claim_id)i;
			return true;
		}
	return false;
}

/* Words for a claim this program does not know are left out; the comparison then shows it. */
static void take_words(struct record *r, const json_t *said, const json_t *waived)
{
	const json_t *o;
	size_t i;

	r->v->statements = take_room(r, json_array_size(said), sizeof *r->v->statements);
	r->v->waivers = take_room(r, json_array_size(waived), sizeof *r->v->waivers);
	json_array_foreach(said, i, o)
	{
		struct ft_statement s = { 0 };
		if (r->failed)
			return;
		s.text = take_text(r, o, "text", true);
		s.by = take_text(r, o, "by", false);
		s.at_us = take_time(r, o, "at", true, &s.at_offset);
		if (take_claim(r, o, &s.claim))
			r->v->statements[r->v->statement_count++] = s;
	}
	json_array_foreach(waived, i, o)
	{
		struct ft_waiver w = { 0 };
		if (r->failed)
			return;
		w.because = take_text(r, o, "because", true);
		w.by = take_text(r, o, "by", false);
		w.at_us = take_time(r, o, "at", true, &w.at_offset);
		if (take_claim(r, o, &w.claim))
			r->v->waivers[r->v->waiver_count++] = w;
	}
}

static bool key_good(const char *key)
{
	if (strlen(key) != FT_VISIT_KEY_TEXT - 1)
		return false;
	for (; *key; key++)
		if (!ft_is_digit(*key) && !(*key >= 'a' && *key <= 'f'))
			return false;
	return true;
}

static void take_record(struct record *r, const json_t *o)
{
	struct ft_visit *v = r->v;
	const json_t *evidence = take_array(r, o, "evidence", FT_MEMBERS_MAX);
	const json_t *said = take_array(r, o, "statements", WORDS_MAX);
	const json_t *waived = take_array(r, o, "waivers", WORDS_MAX);
	const json_t *out = json_object_get(o, "taken_out") ? take_array(r, o, "taken_out", FT_MEMBERS_MAX) : NULL;

	v->id = take_text(r, o, "id", true);
	v->key = take_text(r, o, "key", true);
	v->asset = take_text(r, o, "asset", true);
	v->site = take_text(r, o, "site", false);
	v->machine_serial = take_text(r, o, "machine_serial", false);
	v->unit = take_text(r, o, "unit", false);
	v->sim = take_text(r, o, "sim", false);
	v->technician = take_text(r, o, "technician", false);
	v->without = (unsigned)take_number(r, o, "without_bits", 0, 0xffff);
	v->opened_us = take_time(r, o, "opened", true, &v->opened_offset);
	v->closed_us = take_time(r, o, "closed", false, &v->closed_offset);
	v->changed_us = take_time(r, o, "changed", true, NULL);
	if (!r->failed && !key_good(v->key))
		refuse(r, "key");
	if (!r->failed && (!*v->asset || !*v->id))
		refuse(r, *v->asset ? "id" : "asset");
	if (!r->failed)
		take_evidence(r, evidence);
	if (!r->failed && out)
		take_taken_out(r, out);
	if (!r->failed)
		take_words(r, said, waived);
}

enum ft_status ft_record_read(const struct ft_opened *p, struct ft_arena *a, struct ft_visit *ret,
                              const char **ret_program, struct ft_error *e)
{
	struct ft_error own = { 0 };
	struct record r = { .p = p, .arena = a, .e = e ? e : &own, .v = ret };
	struct ft_slice text = ft_package_member(p, "handover.json");
	json_error_t why;
	json_t *root;

	memset(ret, 0, sizeof *ret);
	if (!text.p || text.n > DOCUMENT_BYTES_MAX)
		return ft_fail(r.e, FT_E_INPUT, "The package has no handover.json; ask for it again.");
	root = json_loadb(text.p, text.n, JSON_REJECT_DUPLICATES, &why);
	if (!json_is_object(root)) {
		json_decref(root);
		return ft_fail(r.e, FT_E_INPUT, "The package's handover.json is no JSON document; ask for the package again.");
	}
	if (json_integer_value(json_object_get(root, "handover")) != 1)
		ft_fail(r.e, FT_E_INPUT,
		        "The package's handover.json is of a kind this fettle does not know; a newer fettle may read it.");
	else {
		*ret_program = take_text(&r, root, "program", true);
		take_record(&r, json_object_get(root, "record"));
	}
	json_decref(root);
	if (a->failed)
		return ft_fail_memory(r.e, "opening the package");
	return r.e->status;
}

/* ---- judging anew ---- */

/* Names the first sections that came out otherwise, for a person to start looking. */
static const char *differing(struct ft_slice theirs, struct ft_slice ours, struct ft_arena *a)
{
	json_t *x = json_loadb(theirs.p, theirs.n, 0, NULL);
	json_t *y = json_loadb(ours.p, ours.n, 0, NULL);
	const char *names = NULL, *key;
	json_t *value;
	int count = 0;

	json_object_foreach(y, key, value) if (!json_equal(value, json_object_get(x, key)) && count++ < 4) names =
		names ? ft_arena_printf(a, "%s, %s", names, key) : ft_arena_printf(a, "%s", key);
	json_decref(x);
	json_decref(y);
	return names ? names : "the way it is written";
}

/* The verdict as the document states it, from its opening keys; for the sentence only. */
static const char *stated_verdict(struct ft_slice text, struct ft_arena *a)
{
	json_t *root = json_loadb(text.p, text.n, 0, NULL);
	const char *word = json_string_value(json_object_get(root, "verdict"));
	enum ft_verdict v = FT_SHOWN;

	while (v <= FT_CONTRADICTED && !(word && strcmp(word, ft_verdict_word(v)) == 0))
		v++;
	json_decref(root);
	(void)a;
	return v <= FT_CONTRADICTED ? ft_verdict_word(v) : "none that is known";
}

enum ft_status ft_handover_check(const struct ft_opened *p, const char *program, struct ft_arena *a,
                                 struct ft_findings *findings, struct ft_visit *v, struct ft_handover *h,
                                 struct ft_error *e)
{
	struct ft_slice theirs = ft_package_member(p, "handover.json");
	struct ft_buf ours = { 0 };
	const char *made_by = "";
	enum ft_status s = ft_record_read(p, a, v, &made_by, e);

	if (s == FT_OK)
		s = ft_handover_prepare(v, a, h, e);
	if (s != FT_OK)
		return s;
	ft_handover_json(h, made_by, a, &ours);
	if (ours.status != FT_OK || a->failed) {
		ft_buf_done(&ours);
		return ft_fail_memory(e, "judging the package");
	}
	if (!ft_slice_eq(theirs, ft_buf_text(&ours))) {
		bool same_program = strcmp(made_by, program) == 0;
		const char *what = differing(theirs, ft_buf_text(&ours), a);
		const char *seen =
			ft_arena_printf(a, "%s, by %.40s; not the same here: %s", stated_verdict(theirs, a), made_by, what);
		ft_find(findings, same_program ? FT_RULE_HANDOVER_VERDICT : FT_RULE_HANDOVER_OTHER_VERSION,
		        (struct ft_where){ .file = "handover.json" }, seen,
		        ft_arena_printf(a, "%s, computed from the evidence by %s", ft_verdict_word(h->judgement.verdict),
		                        program));
	}
	ft_buf_done(&ours);
	return a->failed ? ft_fail_memory(e, "judging the package") : FT_OK;
}
