/* SPDX-License-Identifier: Apache-2.0 */
/* handover.json: all of a visit in one document. The record (visit, evidence, statements, waivers) is
 * what a person put in and is read back by record.c; everything else follows from it and the bytes. */
#include "paper.h"

char *paper_time(int64_t unix_us, int offset_minutes, char out[PAPER_TIME_TEXT])
{
	char plain[FT_TIME_TEXT];
	int64_t rest = unix_us % FT_SECOND;

	ft_time_text(unix_us, offset_minutes, plain);
	rest += rest < 0 ? FT_SECOND : 0;
	if (rest && strlen(plain) > 6) { /* the fraction stands before the offset */
		size_t head = strlen(plain) - 6;
		snprintf(out, PAPER_TIME_TEXT, "%.*s.%06d%s", (int)head, plain, (int)rest, plain + head);
	} else {
		snprintf(out, PAPER_TIME_TEXT, "%s", plain);
	}
	return out;
}

static void put_time(struct ft_json *j, const char *key, int64_t us, int offset)
{
	char text[PAPER_TIME_TEXT];

	if (us == FT_ABSENT)
		ft_json_null(j, key);
	else
		ft_json_text(j, key, paper_time(us, offset, text));
}

/* Without their bytes, which stay where they were added. */
static void put_taken_out(struct ft_json *j, const struct ft_visit *v)
{
	char hash[FT_HASH_TEXT];

	ft_json_array(j, "taken_out");
	for (size_t i = 0; i < v->taken_out_count; i++) {
		const struct ft_taken_out *x = &v->taken_out[i];
		ft_json_object(j, NULL);
		ft_json_i64(j, "number", x->piece.number);
		ft_json_text(j, "kind", ft_evidence_word(x->piece.kind));
		ft_json_text(j, "stage", ft_stage_word(x->piece.stage));
		ft_json_text(j, "name", x->piece.name);
		ft_json_text(j, "hash", ft_hash_text(&x->piece.hash, hash));
		ft_json_i64(j, "bytes", x->piece.size);
		put_time(j, "added", x->piece.added_us, x->piece.added_offset);
		ft_json_text(j, "because", x->because);
		ft_json_text(j, "by", x->by);
		put_time(j, "at", x->at_us, x->at_offset);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void put_record(struct ft_json *j, const struct ft_visit *v, struct ft_arena *a)
{
	struct ft_buf parts = { 0 };
	char hash[FT_HASH_TEXT];

	ft_parts_text(&parts, v->without);
	ft_json_object(j, "record");
	ft_json_text(j, "id", v->id);
	ft_json_text(j, "key", v->key);
	ft_json_text(j, "asset", v->asset);
	ft_json_text(j, "site", v->site);
	ft_json_text(j, "machine_serial", v->machine_serial);
	ft_json_text(j, "unit", v->unit);
	ft_json_text(j, "sim", v->sim);
	ft_json_text(j, "technician", v->technician);
	ft_json_i64(j, "without_bits", v->without);
	ft_json_slice(j, "without", parts.n ? ft_buf_text(&parts) : FT_SLICE(""));
	put_time(j, "opened", v->opened_us, v->opened_offset);
	put_time(j, "closed", v->closed_us, v->closed_offset);
	put_time(j, "changed", v->changed_us, v->opened_offset);
	ft_json_array(j, "evidence");
	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *ev = &v->evidence[i];
		ft_json_object(j, NULL);
		ft_json_i64(j, "number", ev->number);
		ft_json_text(j, "kind", ft_evidence_word(ev->kind));
		ft_json_text(j, "stage", ft_stage_word(ev->stage));
		ft_json_text(j, "name", ev->name);
		ft_json_text(j, "member", ft_evidence_member(ev, a));
		ft_json_text(j, "hash", ft_hash_text(&ev->hash, hash));
		ft_json_i64(j, "bytes", ev->size);
		put_time(j, "added", ev->added_us, ev->added_offset);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	if (v->taken_out_count) /* only then: a package of before has no such key, and is compared byte for byte */
		put_taken_out(j, v);
	ft_json_array(j, "statements");
	for (size_t i = 0; i < v->statement_count; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "claim", ft_claim(v->statements[i].claim)->id);
		ft_json_text(j, "text", v->statements[i].text);
		ft_json_text(j, "by", v->statements[i].by);
		put_time(j, "at", v->statements[i].at_us, v->statements[i].at_offset);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "waivers");
	for (size_t i = 0; i < v->waiver_count; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "claim", ft_claim(v->waivers[i].claim)->id);
		ft_json_text(j, "because", v->waivers[i].because);
		ft_json_text(j, "by", v->waivers[i].by);
		put_time(j, "at", v->waivers[i].at_us, v->waivers[i].at_offset);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_object_end(j);
	ft_buf_done(&parts);
}

static void put_audit(struct ft_json *j, const char *key, const struct ft_audit_shown *r)
{
	const struct ft_summary *s = &r->summary;

	if (!r->there) {
		ft_json_null(j, key);
		return;
	}
	ft_json_object(j, key);
	ft_json_i64(j, "evidence", r->evidence->number);
	ft_json_slice(j, "serial", s->serial);
	ft_json_slice(j, "model", s->model);
	ft_json_slice(j, "revision", s->revision);
	ft_json_slice(j, "location", s->location);
	ft_json_slice(j, "asset", s->asset);
	ft_json_text(j, "currency", s->currency ? s->currency->alpha : NULL);
	ft_decimals_json(j, s->decimals_known, s->decimals);
	ft_json_text(j, "clock", *s->clock ? s->clock : NULL);
	ft_totals_json(j, s);
	ft_cash_json(j, s, "cash_in");
	ft_json_count(j, "reads", s->reads);
	ft_json_count(j, "resets", s->resets);
	ft_json_count(j, "power_outages", s->power_outages);
	ft_reliances_json(j, &s->reliance);
	ft_json_object_end(j);
}

static void put_grid(struct ft_json *j, const struct ft_handover *h)
{
	ft_json_array(j, "settings");
	for (size_t i = 0; i < h->grid_count; i++) {
		const struct ft_grid_row *r = &h->grid[i];
		const struct ft_slice none = { NULL, 0 };
		ft_json_object(j, NULL);
		ft_json_slice(j, "selection", r->after ? r->after->id : r->before->id);
		ft_json_slice(j, "name_before", r->before ? r->before->name : none);
		ft_json_slice(j, "name_after", r->after ? r->after->name : none);
		ft_json_count(j, "price_before", r->before ? r->before->price : FT_ABSENT);
		ft_json_count(j, "price_after", r->after ? r->after->price : FT_ABSENT);
		ft_json_bool(j, "changed", r->name_changed || r->price_changed || !r->before != !r->after);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void put_comparison(struct ft_json *j, const struct ft_comparison *c)
{
	ft_json_array(j, "changes");
	for (size_t i = 0; i < c->change_count; i++) {
		const struct ft_change *d = &c->changes[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "element", d->element);
		ft_json_slice(j, "selection", d->selection);
		ft_json_text(j, "kind", ft_change_kind_word(d->kind));
		ft_json_slice(j, "before", d->before);
		ft_json_slice(j, "after", d->after);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "lost");
	for (size_t i = 0; i < c->lost_count; i++) {
		const struct ft_loss *l = &c->lost[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "element", l->element);
		ft_json_slice(j, "selection", l->selection);
		ft_json_count(j, "before", l->before);
		ft_json_count(j, "after", l->after);
		ft_json_text(j, "how", ft_fall_word(l->how));
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "restore");
	for (size_t i = 0; i < c->restore_count; i++) {
		const struct ft_restore *r = &c->restore[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "what", r->what);
		ft_json_slice(j, "selection", r->selection);
		ft_json_slice(j, "value", r->value);
		ft_json_slice(j, "now", r->now);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void put_proof(struct ft_json *j, const struct ft_handover *h)
{
	const struct ft_proof *p = &h->proof;

	if (!h->proved) {
		ft_json_null(j, "proof");
		return;
	}
	ft_json_object(j, "proof");
	ft_json_text(j, "verdict", ft_verdict_word(p->verdict));
	if (p->agree < 0)
		ft_json_null(j, "agree");
	else
		ft_json_bool(j, "agree", p->agree);
	ft_json_text(j, "from", h->proof_from);
	ft_json_text(j, "to", h->after.evidence->name);
	ft_json_i64(j, "sales", (int64_t)h->sale_count);
	ft_json_array(j, "witnesses");
	for (size_t i = 0; i < p->witness_count; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "name", p->witnesses[i].name);
		ft_json_text(j, "says", p->witnesses[i].says);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "counters");
	for (size_t i = 0; i < p->counter_count; i++) {
		const struct ft_counter *c = &p->counters[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "element", c->element);
		ft_json_slice(j, "selection", c->selection);
		ft_json_count(j, "expected", c->expected);
		ft_json_count(j, "observed", c->observed);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "stories");
	for (size_t i = 0; i < p->story_count; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "kind", p->stories[i].edit_count ? ft_story_kind_word(p->stories[i].edits[0].kind) : NULL);
		ft_json_text(j, "detail", p->stories[i].detail);
		ft_json_i64(j, "edits", p->stories[i].edit_count);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_object_end(j);
}

void ft_handover_json(const struct ft_handover *h, const char *program, struct ft_arena *a, struct ft_buf *out)
{
	const struct ft_judgement *g = &h->judgement;
	struct ft_json j = { .out = out };

	ft_json_object(&j, NULL);
	ft_json_i64(&j, "handover", 1);
	ft_json_text(&j, "program", program);
	ft_json_text(&j, "verdict", ft_verdict_word(g->verdict));
	ft_json_text(&j, "words", ft_judgement_words(g, a));
	put_record(&j, h->visit, a);
	ft_json_object(&j, "stages");
	for (int s = 0; s < FT_STAGE_COUNT; s++)
		ft_json_text(&j, ft_stage_word((enum ft_stage)s), ft_stands_word(ft_judgement_stage(g, (enum ft_stage)s)));
	ft_json_object_end(&j);
	ft_claims_json(&j, h->visit, g);
	ft_json_array(&j, "left_out");
	for (size_t i = 0; i < g->left_out_count; i++)
		ft_json_text(&j, NULL, g->left_out[i]->id);
	ft_json_array_end(&j);
	ft_findings_json(&j, &g->findings);
	put_audit(&j, "before", &h->before);
	put_audit(&j, "after", &h->after);
	put_grid(&j, h);
	if (h->compared)
		put_comparison(&j, &h->comparison);
	put_proof(&j, h);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}
