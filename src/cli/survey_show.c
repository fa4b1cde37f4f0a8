/* SPDX-License-Identifier: Apache-2.0 */
/* A survey for people: a line a machine, what to take along, what to ask first; and its documents. */
#include <math.h>
#include <stdlib.h>

#include "fettle/money.h"
#include "survey.h"

/* ---- a line a machine ---- */

/* What is needed, in a word or two. */
static const char *word_of(const struct ft_survey_reason *r)
{
	switch (r->can == FT_CAN_PARTS ? r->rule : FT_RULE_NONE) {
	case FT_RULE_SURVEY_TEE:
		return "bus tee";
	case FT_RULE_SURVEY_DOOR_SWITCH:
		return "door switch";
	case FT_RULE_SURVEY_LEAD:
		return "another lead";
	case FT_RULE_SURVEY_ANTENNA:
		return "outside antenna";
	case FT_RULE_SURVEY_NO_SOCKET:
		return "audit lead";
	case FT_RULE_SURVEY_SUPPLY:
		return "relief of the supply";
	default:
		return ft_fact_title(r->fact);
	}
}

/* "titles of facts, with commas", of the reasons that `counts` says; NULL when there are none. */
static const char *facts_that(struct survey_run *d, const struct ft_survey_machine *m,
                              bool (*counts)(const struct ft_survey_machine *m, const struct ft_survey_reason *r))
{
	const char *words = NULL;

	for (size_t i = 0; i < m->reason_count; i++) {
		const char *title = word_of(&m->reasons[i]);
		if (!counts(m, &m->reasons[i]) || (words && strstr(words, title)))
			continue;
		words = words ? ft_arena_printf(&d->c->arena, "%s, %s", words, title) : title;
	}
	return words;
}

static bool one_outcome(const struct ft_survey_reason *r)
{
	return !(r->can & (r->can - 1));
}

static bool lacks(const struct ft_survey_machine *m, const struct ft_survey_reason *r)
{
	(void)m;
	return r->can == FT_CAN_PARTS;
}

static bool open_question(const struct ft_survey_machine *m, const struct ft_survey_reason *r)
{
	double counts = m->fit == FT_FIT_LOOK_FIRST ? r->chance[2] + r->chance[3] : 1 - r->chance[0];

	return !one_outcome(r) && counts >= 0.05;
}

static bool small_question(const struct ft_survey_machine *m, const struct ft_survey_reason *r)
{
	(void)m;
	return !one_outcome(r) && r->chance[0] < 0.99;
}

/* What rules it out, else what it needs, else what is not known. */
static const char *in_short(struct survey_run *d, const struct ft_survey_machine *m)
{
	struct ft_arena *a = &d->c->arena;
	const char *needs = facts_that(d, m, lacks), *open = facts_that(d, m, open_question), *words = "";

	for (size_t i = 0; i < m->reason_count; i++)
		if (m->reasons[i].can == FT_CAN_NOT || (m->reasons[i].can == FT_CAN_UPDATE && m->fit == FT_FIT_WITH_UPDATE))
			return ft_rule(m->reasons[i].rule)->sentence;
	if (!needs && !open && m->fit != FT_FIT_READY)
		open = facts_that(d, m, small_question);
	if (needs && m->fit != FT_FIT_LOOK_FIRST)
		words = ft_arena_printf(a, "needs: %s", needs);
	if (open && *words)
		return ft_arena_printf(a, "%s; perhaps: %s", words, open);
	if (open)
		return ft_arena_printf(a, "%s: %s", m->fit == FT_FIT_LOOK_FIRST ? "not known" : "perhaps", open);
	return words;
}

static void line(struct survey_run *d, const struct ft_survey_machine *m, struct ft_buf *out)
{
	enum { BEFORE = 40 };
	const char *why = in_short(d, m);

	ft_buf_puts(out, "  ");
	cli_column(out, m->row->asset, 10);
	ft_buf_byte(out, ' ');
	cli_column(out, ft_slice_of(ft_fit_word(m->fit)), 12);
	if (m->fit == FT_FIT_CANNOT)
		ft_buf_puts(out, "            -  ");
	else
		ft_buf_printf(out, "%4.0f ± %2.0f min  ", m->minutes, m->spread_min);
	if (why)
		ft_wrap(out, why, d->c->columns, BEFORE);
	while (out->n && out->p[out->n - 1] == ' ')
		out->n--;
	ft_buf_byte(out, '\n');
}

static void kit(const struct ft_survey_machine *m, struct ft_buf *out)
{
	ft_buf_puts(out, "    kit\n");
	for (size_t i = 0; i < m->item_count; i++) {
		const struct ft_survey_item *x = &m->kit[i];
		ft_buf_printf(out, "      %d x ", x->count);
		cli_column(out, x->part, 12);
		ft_buf_byte(out, ' ');
		cli_column(out, x->name.p ? x->name : FT_SLICE(""), 36);
		if (x->chance >= 1)
			ft_buf_puts(out, " certain\n");
		else
			ft_buf_printf(out, " %4.1f %%\n", 100 * x->chance);
	}
}

static void figures(const struct ft_survey_machine *m, struct ft_buf *out)
{
	ft_buf_printf(out, "    audit about %.1f kB, give or take %.1f", m->audit_bytes / 1000, m->audit_spread / 1000);
	if (!isnan(m->audit_limit))
		ft_buf_printf(out, "; at most %.1f kB are taken", m->audit_limit / 1000);
	ft_buf_byte(out, '\n');
	if (!isnan(m->supply_margin_v))
		ft_buf_printf(out, "    supply %.1f V above the least at the worst peak\n", m->supply_margin_v);
	if (!isnan(m->signal_margin_db))
		ft_buf_printf(out, "    signal %.0f dB above what the unit needs", m->signal_margin_db);
	if (!isnan(m->signal_margin_db) && m->lead.p && !isnan(m->lead_margin_db))
		ft_buf_printf(out, ", %.1f dB behind lead %.*s", m->lead_margin_db, FT_P(m->lead));
	if (!isnan(m->signal_margin_db))
		ft_buf_byte(out, '\n');
}

static void in_full(struct survey_run *d, const struct ft_survey_machine *m, struct ft_buf *out)
{
	static const char *const outcome[] = { "ready", "with parts", "with an update", "not at all" };

	ft_buf_puts(out, "    comes to ");
	for (int k = 0, said = 0; k < FT_OUTCOMES; k++)
		if (m->chance[k] >= 0.0005)
			ft_buf_printf(out, "%s%s %.1f %%", said++ ? ", " : "", outcome[k], 100 * m->chance[k]);
	ft_buf_byte(out, '\n');
	figures(m, out);
	kit(m, out);
	for (size_t i = 0; i < m->findings.count; i++) {
		struct ft_finding f = m->findings.list[i];
		f.where = (struct ft_where){ 0 };
		ft_finding_text(out, &f, d->c->columns);
	}
	for (size_t i = 0; i < m->question_count && m->questions[i].worth_min >= 0.5; i++) {
		ft_buf_printf(out, "    %4.1f min  ", m->questions[i].worth_min);
		ft_wrap(out, ft_fact_ask(m->questions[i].fact), d->c->columns, 14);
		ft_buf_byte(out, '\n');
	}
	ft_buf_byte(out, '\n');
}

/* ---- all of them ---- */

struct need {
	const struct ft_survey_item *item;
	double mean, variance;
	unsigned certain;
};

struct wanted {
	const struct ft_survey_item *item;
};

static int by_part(const void *a, const void *b)
{
	const struct ft_survey_item *x = ((const struct wanted *)a)->item, *y = ((const struct wanted *)b)->item;

	return x->kind != y->kind ? (int)x->kind - (int)y->kind : (x->index > y->index) - (x->index < y->index);
}

/* Hint: enough in all but one of fifty cases, by the normal distribution (mean and two standard deviations). */
static double enough(const struct need *n)
{
	return ceil(n->mean + 2.054 * sqrt(n->variance) - 1e-9);
}

static void put_need(const struct survey_run *d, const struct need *n, struct ft_buf *out)
{
	const struct ft_survey_item *x = n->item;
	double stock = x->kind == FT_KIT_PART ? d->catalogue.parts[x->index].stock : NAN, want = enough(n);
	char money[FT_MONEY_TEXT];

	ft_buf_puts(out, "  ");
	cli_column(out, x->part, 10);
	ft_buf_byte(out, ' ');
	cli_column(out, x->name.p ? x->name : x->kind == FT_KIT_LEAD ? FT_SLICE("lead") : FT_SLICE("unit"), 24);
	ft_buf_printf(out, " %7.1f %6.0f", n->mean, want);
	if (isnan(stock)) {
		ft_buf_puts(out, "       ?\n");
		return;
	}
	ft_buf_printf(out, " %7.0f", stock);
	if (want > stock) {
		ft_buf_printf(out, "  buy %.0f", want - stock);
		if (x->price != FT_ABSENT)
			ft_buf_printf(out, ": %s", ft_money_text(x->price * (int64_t)(want - stock), 2, money));
	}
	ft_buf_byte(out, '\n');
}

static bool totals(struct survey_run *d, struct ft_buf *out)
{
	struct wanted *all;
	size_t count = 0, n = 0;

	for (size_t i = 0; i < d->count; i++)
		count += d->machines[i].fit == FT_FIT_CANNOT ? 0 : d->machines[i].item_count;
	all = FT_NEW_ARRAY(&d->c->arena, count + 1, struct wanted);
	if (!all)
		return false;
	for (size_t i = 0; i < d->count; i++)
		for (size_t k = 0; d->machines[i].fit != FT_FIT_CANNOT && k < d->machines[i].item_count; k++)
			all[n++].item = &d->machines[i].kit[k];
	qsort(all, n, sizeof *all, by_part);
	ft_buf_puts(out, "\n  part                                expected enough on hand\n");
	for (size_t i = 0; i < n;) {
		struct need need = { .item = all[i].item };
		size_t k = i;
		for (; k < n && by_part(&all[k], &all[i]) == 0; k++) {
			need.mean += all[k].item->chance * all[k].item->count;
			need.variance += all[k].item->chance * (1 - all[k].item->chance) * all[k].item->count * all[k].item->count;
		}
		put_need(d, &need, out);
		i = k;
	}
	return true;
}

static void top_questions(const struct survey_run *d, struct ft_buf *out, int64_t most)
{
	if (!d->question_count || !most || d->questions[0].question->worth_min < 0.05)
		return;
	ft_buf_puts(out, "\n  What to ask first, by the minutes that an answer is expected to save:\n");
	for (size_t i = 0; i < d->question_count && (int64_t)i < most; i++) {
		const struct survey_question *q = &d->questions[i];
		if (q->question->worth_min < 0.05)
			break;
		ft_buf_printf(out, "  %4.0f  ", q->question->worth_min);
		cli_column(out, q->machine->row->asset, 10);
		ft_buf_byte(out, ' ');
		cli_column(out, ft_slice_of(ft_ask_way_word(ft_fact_way(q->question->fact))), 11);
		ft_wrap(out, ft_fact_ask(q->question->fact), d->c->columns, 30);
		ft_buf_byte(out, '\n');
	}
}

static void heading(struct survey_run *d, struct ft_buf *out)
{
	static const char *const words[] = { "ready", "with parts", "with an update", "to look at first", "not at all" };
	size_t fits[FT_FIT_COUNT] = { 0 };
	const char *text = ft_arena_printf(&d->c->arena, "%zu machine%s:", d->count, d->count == 1 ? "" : "s");
	double minutes = 0;
	bool said = false;

	for (size_t i = 0; i < d->count; i++) {
		fits[d->machines[i].fit]++;
		minutes += d->machines[i].fit == FT_FIT_CANNOT ? 0 : d->machines[i].minutes;
	}
	for (int f = 0; f < FT_FIT_COUNT && text; f++)
		if (fits[f]) {
			text = ft_arena_printf(&d->c->arena, "%s%s %zu %s", text, said ? "," : "", fits[f], words[f]);
			said = true;
		}
	text = text
		? ft_arena_printf(&d->c->arena, "%s%s. On site that is %.1f hours, those that cannot be fitted left out.", text,
	                      said ? "" : " none", minutes / 60)
		: NULL;
	ft_wrap(out, text ? text : "", d->c->columns, 0);
	ft_buf_puts(out, "\n\n");
}

int survey_print(struct survey_run *d)
{
	bool full = cli_flag(d->c, "all") || cli_value(d->c, "asset");
	struct ft_buf out = { 0 };
	int64_t questions;
	int code = 0;

	if (!cli_number(d->c, "questions", 0, 100000, 8, &questions))
		return cli_failed(d->c);
	heading(d, &out);
	for (size_t i = 0; i < d->count; i++) {
		line(d, &d->machines[i], &out);
		if (full)
			in_full(d, &d->machines[i], &out);
		code = code ? code : cli_exit(d->machines[i].verdict);
	}
	if (!cli_value(d->c, "asset")) {
		if (!totals(d, &out)) {
			ft_buf_done(&out);
			return ft_fail_memory(&d->c->error, "adding up the parts"), cli_failed(d->c);
		}
		top_questions(d, &out, questions);
	}
	if (!cli_flush(d->c, &out))
		return cli_failed(d->c);
	ft_buf_done(&out);
	return code;
}

/* ---- documents ---- */

static void put_outcomes(struct ft_json *j, unsigned can, const double chance[FT_OUTCOMES])
{
	static const char *const words[] = { "ready", "with-parts", "with-update", "cannot" };
	static const char *const keys[] = { "ready", "with_parts", "with_update", "cannot" };

	ft_json_array(j, "possible");
	for (int k = 0; k < FT_OUTCOMES; k++)
		if (can >> k & 1)
			ft_json_text(j, NULL, words[k]);
	ft_json_array_end(j);
	ft_json_object(j, "chances");
	for (int k = 0; k < FT_OUTCOMES; k++)
		ft_json_real(j, keys[k], chance[k], 6);
	ft_json_object_end(j);
}

static void put_kit(struct ft_json *j, const struct ft_survey_machine *m)
{
	static const char *const kinds[] = { "unit", "lead", "part" };

	ft_json_array(j, "kit");
	for (size_t i = 0; i < m->item_count; i++) {
		const struct ft_survey_item *x = &m->kit[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "kind", kinds[x->kind]);
		ft_json_slice(j, "part", x->part);
		ft_json_slice(j, "name", x->name);
		ft_json_i64(j, "count", x->count);
		ft_json_real(j, "chance", x->chance, 6);
		ft_json_count(j, "price", x->price);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void put_reasons(struct ft_json *j, const struct ft_survey_machine *m)
{
	ft_json_array(j, "reasons");
	for (size_t i = 0; i < m->reason_count; i++) {
		const struct ft_survey_reason *r = &m->reasons[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "rule", ft_rule(r->rule)->id);
		ft_json_text(j, "sentence", ft_rule(r->rule)->sentence);
		ft_json_text(j, "source", ft_rule(r->rule)->source);
		ft_json_text(j, "fact", ft_fact_word(r->fact));
		ft_json_text(j, "seen", r->seen);
		ft_json_text(j, "expected", r->expected);
		put_outcomes(j, r->can, r->chance);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

/* `ranks`: where each of the machine's questions stands among all. */
static void put_questions(struct ft_json *j, const struct ft_survey_machine *m, const size_t *ranks)
{
	ft_json_array(j, "questions");
	for (size_t i = 0; i < m->question_count; i++) {
		enum ft_fact f = m->questions[i].fact;
		ft_json_object(j, NULL);
		ft_json_text(j, "fact", ft_fact_word(f));
		ft_json_text(j, "way", ft_ask_way_word(ft_fact_way(f)));
		ft_json_text(j, "ask", ft_fact_ask(f));
		ft_json_real(j, "worth_min", m->questions[i].worth_min, 3);
		ft_json_i64(j, "rank", (int64_t)ranks[i]);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static int document(struct survey_run *d, const struct ft_survey_machine *m, const size_t *ranks)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int code;

	cli_document(d->c, &j, &out, m->verdict, &m->findings);
	ft_json_slice(&j, "asset", m->row->asset);
	ft_json_i64(&j, "line", m->row->line);
	ft_json_slice(&j, "site", m->row->site);
	ft_json_real(&j, "latitude", m->row->latitude, 6);
	ft_json_real(&j, "longitude", m->row->longitude, 6);
	ft_json_slice(&j, "family", m->row->family);
	ft_json_slice(&j, "unit", m->row->unit);
	ft_json_text(&j, "fit", ft_fit_word(m->fit));
	put_outcomes(&j, m->can, m->chance);
	put_reasons(&j, m);
	put_kit(&j, m);
	ft_json_i64(&j, "decimals", 2);
	ft_json_real(&j, "minutes", m->minutes, 1);
	ft_json_real(&j, "minutes_spread", m->spread_min, 1);
	ft_json_object(&j, "audit");
	ft_json_real(&j, "bytes", m->audit_bytes, 0);
	ft_json_real(&j, "spread", m->audit_spread, 0);
	ft_json_real(&j, "limit", m->audit_limit, 0);
	ft_json_object_end(&j);
	ft_json_object(&j, "supply");
	ft_json_real(&j, "margin_v", m->supply_margin_v, 3);
	ft_json_real(&j, "margin_ma", m->supply_more_ma, 0);
	ft_json_object_end(&j);
	ft_json_object(&j, "signal");
	ft_json_real(&j, "margin_db", m->signal_margin_db, 1);
	ft_json_slice(&j, "lead", m->lead);
	ft_json_real(&j, "lead_margin_db", m->lead_margin_db, 1);
	ft_json_object_end(&j);
	put_questions(&j, m, ranks);
	code = cli_document_end(d->c, &j);
	return code ? code : cli_exit(m->verdict);
}

int survey_documents(struct survey_run *d)
{
	size_t *ranks = FT_NEW_ARRAY(&d->c->arena, d->question_count + 1, size_t), *first;
	int code = 0;

	first = FT_NEW_ARRAY(&d->c->arena, d->count + 1, size_t);
	if (!ranks || !first)
		return ft_fail_memory(&d->c->error, "ranking the questions"), cli_failed(d->c);
	for (size_t i = 0; i < d->count; i++)
		first[i + 1] = first[i] + d->machines[i].question_count;
	for (size_t i = 0; i < d->question_count; i++) {
		const struct survey_question *q = &d->questions[i];
		ranks[first[q->machine - d->machines] + (size_t)(q->question - q->machine->questions)] = q->rank;
	}
	for (size_t i = 0; i < d->count; i++) {
		int one = document(d, &d->machines[i], ranks + first[i]);
		code = one > code ? one : code;
	}
	return code;
}
