/* SPDX-License-Identifier: Apache-2.0 */
/* Names of stages, claims, kinds and parts, and what a visit says about itself. */
#include <stdio.h>

#include "fettle/visit.h"

#include "fettle/buf.h"
#include "fettle/time.h"

static const struct ft_claim claims[] = {
#define ROW(ident, id, stage, due, applies, words, sentence, shown_by, ask, source) \
	{ id, FT_STAGE_##stage, FT_DUE_##due, FT_APPLIES_##applies, FT_WORDS_##words, sentence, shown_by, ask, source },
#include "claims.inc"
#undef ROW
};

static const char *const stage_words[] = { "know", "keep", "fit", "prove", "hand-over", "watch" };
static const char *const stage_titles[] = { "Know", "Keep", "Fit", "Prove", "Hand over", "Watch" };
static const char *const stands_words[] = { "shown", "contradicted", "open", "waived" };
static const struct {
	const char *word, *title;
} kinds[FT_EVIDENCE_KINDS] = {
	{ "unknown", "something unknown" },
	{ "audit", "an audit" },
	{ "sales", "a list of sales" },
	{ "trace", "a trace of the data port" },
	{ "photograph", "a photograph" },
	{ "bus", "a capture of the bus" },
	{ "temperature", "a temperature log" },
	{ "signal", "a signal log" },
	{ "door", "a list of door marks" },
	{ "count", "a count of cash" },
	{ "survey", "a survey row" },
	{ "supply", "a supply budget" },
	{ "weeks", "a table of the weeks after" },
	{ "note", "a note" },
};
static const char *const part_words[] = { "door", "temperature", "antenna", "card", "bills", "coins", "bus", "supply" };
enum { PARTS = sizeof part_words / sizeof *part_words };

const struct ft_claim *ft_claim(enum ft_claim_id id)
{
	return &claims[id];
}

const struct ft_claim *ft_claim_by_name(struct ft_slice name)
{
	for (size_t i = 0; i < FT_CLAIM_COUNT; i++)
		if (ft_slice_eq_nocase(name, ft_slice_of(claims[i].id)))
			return &claims[i];
	return NULL;
}

const char *ft_stage_word(enum ft_stage s)
{
	return stage_words[s];
}

const char *ft_stage_title(enum ft_stage s)
{
	return stage_titles[s];
}

bool ft_stage_parse(struct ft_slice word, enum ft_stage *ret)
{
	for (int i = 0; i < FT_STAGE_COUNT; i++) {
		if (ft_slice_eq_nocase(word, ft_slice_of(stage_words[i]))) {
			*ret = (enum ft_stage)i;
			return true;
		}
	}
	return false;
}

const char *ft_stands_word(enum ft_stands s)
{
	return stands_words[s];
}

const char *ft_evidence_word(enum ft_evidence_kind k)
{
	return kinds[k].word;
}

const char *ft_evidence_title(enum ft_evidence_kind k)
{
	return kinds[k].title;
}

bool ft_evidence_parse(struct ft_slice word, enum ft_evidence_kind *ret)
{
	for (int i = FT_EVIDENCE_AUDIT; i < FT_EVIDENCE_KINDS; i++) {
		if (ft_slice_eq_nocase(word, ft_slice_of(kinds[i].word))) {
			*ret = (enum ft_evidence_kind)i;
			return true;
		}
	}
	return false;
}

bool ft_evidence_judged(enum ft_evidence_kind k)
{
	return k == FT_EVIDENCE_AUDIT || k == FT_EVIDENCE_SALES || k == FT_EVIDENCE_BUS || k == FT_EVIDENCE_DOOR ||
		k == FT_EVIDENCE_TEMPERATURE || k == FT_EVIDENCE_SUPPLY || k == FT_EVIDENCE_SIGNAL || k == FT_EVIDENCE_SURVEY ||
		k == FT_EVIDENCE_WEEKS;
}

bool ft_parts_parse(struct ft_slice list, unsigned *ret, struct ft_slice *ret_bad)
{
	struct ft_slice part;
	unsigned bits = 0;

	while (ft_slice_split(&list, ',', &part)) {
		int i = 0;
		part = ft_slice_trim(part);
		while (i < PARTS && !ft_slice_eq_nocase(part, ft_slice_of(part_words[i])))
			i++;
		if (i == PARTS && part.n) {
			if (ret_bad)
				*ret_bad = part;
			return false;
		}
		if (i < PARTS)
			bits |= 1U << i;
	}
	*ret = bits;
	return true;
}

void ft_parts_text(struct ft_buf *out, unsigned parts)
{
	bool any = false;

	for (int i = 0; i < PARTS; i++) {
		if (parts & 1U << i) {
			ft_buf_printf(out, "%s%s", any ? ", " : "", part_words[i]);
			any = true;
		}
	}
}

void ft_visit_key(const char *asset, int64_t opened_us, const char *technician, char ret[FT_VISIT_KEY_TEXT])
{
	char text[256], hex[FT_HASH_TEXT];
	int n = snprintf(text, sizeof text, "%s\n%lld\n%s", asset, (long long)opened_us, technician ? technician : "");
	struct ft_hash h = ft_hash_of(text, n < 0 ? 0 : (size_t)n < sizeof text ? (size_t)n : sizeof text - 1);

	ft_hash_text(&h, hex);
	memcpy(ret, hex, FT_VISIT_KEY_TEXT - 1);
	ret[FT_VISIT_KEY_TEXT - 1] = 0;
}

void ft_visit_audits(const struct ft_visit *v, int *ret_before, int *ret_after)
{
	int first = -1, kept = -1;

	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *x = &v->evidence[i];
		if (x->kind != FT_EVIDENCE_AUDIT)
			continue;
		if (first < 0)
			first = (int)i;
		if (kept < 0 && x->stage == FT_STAGE_KEEP)
			kept = (int)i;
	}
	*ret_before = kept >= 0 ? kept : first;
	*ret_after = -1;
	for (size_t i = 0; i < v->evidence_count; i++)
		if (v->evidence[i].kind == FT_EVIDENCE_AUDIT && (int)i != *ret_before)
			*ret_after = (int)i;
}

enum ft_stage ft_visit_stage_for(const struct ft_visit *v, enum ft_evidence_kind kind)
{
	bool audit = false, beyond = false;

	for (size_t i = 0; i < v->evidence_count; i++) {
		audit |= v->evidence[i].kind == FT_EVIDENCE_AUDIT;
		beyond |= v->evidence[i].stage > FT_STAGE_KEEP;
	}
	switch (kind) {
	case FT_EVIDENCE_AUDIT:
		return audit ? FT_STAGE_PROVE : FT_STAGE_KEEP;
	case FT_EVIDENCE_TRACE:
	case FT_EVIDENCE_NOTE:
		return beyond ? FT_STAGE_PROVE : FT_STAGE_KEEP;
	case FT_EVIDENCE_PHOTOGRAPH:
		return beyond ? FT_STAGE_FIT : FT_STAGE_KEEP;
	case FT_EVIDENCE_SURVEY:
	case FT_EVIDENCE_SUPPLY:
		return FT_STAGE_KNOW;
	case FT_EVIDENCE_WEEKS:
		return FT_STAGE_WATCH;
	default:
		return FT_STAGE_PROVE;
	}
}

enum ft_stands ft_judgement_stage(const struct ft_judgement *j, enum ft_stage s)
{
	bool seen[FT_STANDS_COUNT] = { false };

	for (size_t i = 0; i < j->claim_count; i++)
		if (j->claims[i].claim->stage == s)
			seen[j->claims[i].stands] = true;
	return seen[FT_STANDS_CONTRADICTED] ? FT_STANDS_CONTRADICTED
		: seen[FT_STANDS_OPEN]          ? FT_STANDS_OPEN
		: seen[FT_STANDS_WAIVED]        ? FT_STANDS_WAIVED
										: FT_STANDS_SHOWN;
}

const char *ft_judgement_words(const struct ft_judgement *j, struct ft_arena *a)
{
	size_t c = j->stands[FT_STANDS_CONTRADICTED], o = j->open_to_close, w = j->stands[FT_STANDS_WAIVED];
	size_t later = j->stands[FT_STANDS_OPEN] - o;
	const char *text = "";

	if (c)
		text = ft_arena_printf(a, "%zu contradicted", c);
	if (o && text) /* all that are open in one number, as the office's line counts them */
		text = ft_arena_printf(a, "%s%s%zu open", text, *text ? ", " : "", o + later);
	if (o && later && text)
		text = ft_arena_printf(a, "%s, %zu of them for the weeks after", text, later);
	if (text && !*text)
		text = "everything shown that closing asks for";
	if (w && text)
		text = ft_arena_printf(a, "%s, %zu waived", text, w);
	if (later && !o && text)
		text = ft_arena_printf(a, "%s, %zu open for the weeks after", text, later);
	return text ? text : "";
}

static void time_json(struct ft_json *j, const char *key, int64_t us, int offset)
{
	char text[FT_TIME_TEXT];

	ft_json_text(j, key, us == FT_ABSENT ? NULL : ft_time_text(us, offset, text));
}

static void evidence_json(struct ft_json *j, const struct ft_evidence *x)
{
	char hash[FT_HASH_TEXT];

	ft_json_i64(j, "number", x->number);
	ft_json_text(j, "kind", ft_evidence_word(x->kind));
	ft_json_text(j, "stage", ft_stage_word(x->stage));
	ft_json_text(j, "name", x->name);
	ft_json_text(j, "hash", ft_hash_text(&x->hash, hash));
	ft_json_i64(j, "bytes", x->size);
	time_json(j, "added", x->added_us, x->added_offset);
}

void ft_visit_json(struct ft_json *j, const struct ft_visit *v)
{
	struct ft_buf parts = { 0 };

	ft_parts_text(&parts, v->without);
	ft_json_object(j, "visit");
	ft_json_text(j, "id", v->id);
	ft_json_text(j, "key", v->key);
	ft_json_text(j, "asset", v->asset);
	ft_json_text(j, "site", v->site);
	ft_json_text(j, "machine_serial", v->machine_serial);
	ft_json_text(j, "unit", v->unit);
	ft_json_text(j, "sim", v->sim);
	ft_json_text(j, "technician", v->technician);
	if (v->without)
		ft_json_slice(j, "without", ft_buf_text(&parts));
	else
		ft_json_null(j, "without");
	time_json(j, "opened", v->opened_us, v->opened_offset);
	time_json(j, "closed", v->closed_us, v->closed_offset);
	ft_json_array(j, "evidence");
	for (size_t i = 0; i < v->evidence_count; i++) {
		ft_json_object(j, NULL);
		evidence_json(j, &v->evidence[i]);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "taken_out");
	for (size_t i = 0; i < v->taken_out_count; i++) {
		const struct ft_taken_out *x = &v->taken_out[i];
		ft_json_object(j, NULL);
		evidence_json(j, &x->piece);
		ft_json_text(j, "because", x->because);
		ft_json_text(j, "by", x->by);
		time_json(j, "at", x->at_us, x->at_offset);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_object_end(j);
	ft_buf_done(&parts);
}

static void word_json(struct ft_json *j, const char *key, const char *text_key, const char *text, const char *by,
                      int64_t us, int offset)
{
	ft_json_object(j, key);
	ft_json_text(j, text_key, text);
	ft_json_text(j, "by", by);
	time_json(j, "at", us, offset);
	ft_json_object_end(j);
}

void ft_claims_json(struct ft_json *j, const struct ft_visit *v, const struct ft_judgement *g)
{
	char hash[FT_HASH_TEXT];

	ft_json_array(j, "claims");
	for (size_t i = 0; i < g->claim_count; i++) {
		const struct ft_claim_state *c = &g->claims[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "id", c->claim->id);
		ft_json_text(j, "stage", ft_stage_word(c->claim->stage));
		ft_json_text(j, "sentence", c->claim->sentence);
		ft_json_text(j, "stands", ft_stands_word(c->stands));
		ft_json_text(j, "because", c->because);
		ft_json_text(j, "do", c->todo);
		ft_json_bool(j, "due_later", c->claim->due == FT_DUE_LATER);
		ft_json_array(j, "evidence");
		for (size_t n = 0; n < c->evidence_count; n++)
			ft_json_text(j, NULL, ft_hash_text(&v->evidence[c->evidence[n]].hash, hash));
		ft_json_array_end(j);
		if (c->said)
			word_json(j, "said", "text", c->said->text, c->said->by, c->said->at_us, c->said->at_offset);
		else
			ft_json_null(j, "said");
		if (c->waiver)
			word_json(j, "waived", "because", c->waiver->because, c->waiver->by, c->waiver->at_us,
			          c->waiver->at_offset);
		else
			ft_json_null(j, "waived");
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}
