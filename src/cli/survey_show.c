/* SPDX-License-Identifier: Apache-2.0 */
/* A survey for people: a line a machine, what to take along, what to ask first; and its documents. */
#include <math.h>
#include <stdlib.h>

#include "fettle/money.h"
#include "survey.h"

#define WORTH_LEAST 0.05 /* minutes; a question that is worth less is not told */

/* ---- a line a machine ---- */

/* The part that a fact asks for, in a word or two. */
static const char *part_word(enum ft_fact f)
{
	switch (f) {
	case FT_FACT_BUS_FREE:
		return "bus tee";
	case FT_FACT_DOOR_SWITCH:
		return "door switch";
	case FT_FACT_PATH:
		return "another lead";
	case FT_FACT_ANTENNA:
		return "outside antenna";
	case FT_FACT_CONNECTOR:
		return "audit lead";
	case FT_FACT_VOLTS:
	case FT_FACT_CHAIN:
		return "relief of the supply";
	default:
		return ft_fact_title(f);
	}
}

enum said { NOT_KNOWN, NEEDS, MAY_NEED, TO_MEASURE, TO_ASK, SAID };

/* Does a reason belong under this heading? `least`: smaller chances are not told. */
static bool belongs(const struct ft_survey_reason *r, enum said what, double least)
{
	bool open = r->can & (r->can - 1), visit = ft_fact_way(r->fact) == FT_WAY_VISIT, part = r->chance[1] > 0;

	switch (what) {
	case NEEDS:
		return r->can == FT_CAN_PARTS;
	case NOT_KNOWN:
		return open && r->chance[2] + r->chance[3] >= least;
	case MAY_NEED:
		return open && 1 - r->chance[0] >= least && part;
	case TO_MEASURE:
		return open && 1 - r->chance[0] >= least && !part && visit;
	default:
		return open && 1 - r->chance[0] >= least && !part && !visit;
	}
}

/* Adds "; heading: one, another" to `words`, or nothing. NULL stands for no words yet. */
static const char *add_words(struct survey_run *d, const struct ft_survey_machine *m, enum said what, double least,
                             const char *words)
{
	static const char *const headings[SAID] = { "not known", "needs", "may need", "to measure", "to ask" };
	const char *list = NULL;

	for (size_t i = 0; i < m->reason_count; i++) {
		const struct ft_survey_reason *r = &m->reasons[i];
		const char *word = what == NEEDS || what == MAY_NEED ? part_word(r->fact) : ft_fact_title(r->fact);
		if (belongs(r, what, least) && !(list && strstr(list, word)))
			list = list ? ft_arena_printf(&d->c->arena, "%s, %s", list, word) : word;
	}
	if (!list)
		return words;
	return ft_arena_printf(&d->c->arena, "%s%s%s: %s", words ? words : "", words ? "; " : "", headings[what], list);
}

/* What rules it out, else what it needs, else what is not known. */
static const char *in_short(struct survey_run *d, const struct ft_survey_machine *m)
{
	static const double least[] = { 0.05, 0.01 };
	const char *words = NULL;

	for (size_t i = 0; i < m->reason_count; i++)
		if (m->reasons[i].can == FT_CAN_NOT || (m->reasons[i].can == FT_CAN_UPDATE && m->fit == FT_FIT_WITH_UPDATE))
			return ft_rule(m->reasons[i].rule)->sentence;
	/* small chances are told only where together they make the fit what it is */
	for (size_t i = 0; i < 2 && !words && (i == 0 || m->fit != FT_FIT_READY); i++) {
		if (m->fit == FT_FIT_LOOK_FIRST)
			words = add_words(d, m, NOT_KNOWN, least[i], NULL);
		else
			for (int what = NEEDS; what < SAID; what++)
				words = add_words(d, m, (enum said)what, least[i], words);
	}
	return words;
}

static void line(struct survey_run *d, const struct ft_survey_machine *m, struct ft_buf *out)
{
	enum { BEFORE = 40 };
	const char *why = in_short(d, m);

	ft_buf_puts(out, "  ");
	cli_name(out, m->row->asset, 10);
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

static void kit(const struct survey_run *d, const struct ft_survey_machine *m, struct ft_buf *out)
{
	ft_buf_puts(out, "    kit\n");
	for (size_t i = 0; i < m->item_count; i++) {
		const struct ft_survey_item *x = &m->kit[i];
		ft_buf_printf(out, "      %d x ", x->count);
		cli_name(out, x->part, 12);
		if (x->chance >= 1)
			ft_buf_puts(out, "  certain  ");
		else
			ft_buf_printf(out, "  %5.1f %%  ", 100 * x->chance);
		cli_last(d->c, x->name, 34, out);
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
	kit(d, m, out);
	for (size_t i = 0; i < m->findings.count; i++) {
		struct ft_finding f = m->findings.list[i];
		f.where = (struct ft_where){ 0 };
		ft_finding_text(out, &f, d->c->columns);
	}
	for (size_t i = 0; i < m->question_count && m->questions[i].worth_min >= 0.5; i++) {
		if (i == 0)
			ft_buf_puts(out, "    to find out, and the minutes that it is expected to save\n");
		ft_buf_printf(out, "      %4.0f  ", m->questions[i].worth_min);
		ft_wrap(out, ft_fact_ask(m->questions[i].fact), d->c->columns, 12);
		ft_buf_byte(out, '\n');
	}
	if (m != &d->machines[d->count - 1])
		ft_buf_byte(out, '\n');
}

/* ---- all of them ---- */

struct need {
	const struct ft_survey_item *item;
	double mean, variance;
};

struct wanted {
	const struct ft_survey_item *item;
};

static int by_part(const void *a, const void *b)
{
	const struct ft_survey_item *x = ((const struct wanted *)a)->item, *y = ((const struct wanted *)b)->item;

	return x->kind != y->kind ? (int)x->kind - (int)y->kind : (x->index > y->index) - (x->index < y->index);
}

static double stock_of(const struct ft_catalogue *c, const struct ft_survey_item *x)
{
	return x->kind == FT_KIT_UNIT ? c->units[x->index].stock
		: x->kind == FT_KIT_LEAD  ? c->leads[x->index].stock
								  : c->parts[x->index].stock;
}

/* What all that is to be bought comes to. */
struct bill {
	double pieces, without_price;
	int64_t cost;
	bool uncounted; /* a stock that nobody counted */
};

static void put_need(const struct survey_run *d, const struct need *n, struct bill *bill, struct ft_buf *out)
{
	enum { BEFORE = 48 };
	const struct ft_survey_item *x = n->item;
	double stock = stock_of(&d->catalogue, x), want = ft_survey_enough(n->mean, n->variance),
		   buy = fmax(0, want - stock);
	int64_t cost = 0;
	char money[FT_MONEY_TEXT];

	ft_buf_puts(out, "  ");
	cli_name(out, x->part, 10);
	ft_buf_printf(out, " %6.1f %6.0f ", n->mean, want);
	if (isnan(stock)) {
		bill->uncounted = true;
		ft_buf_puts(out, "   ?    ?         ?");
	} else {
		ft_buf_printf(out, "%4.0f ", stock);
		bill->pieces += buy;
		if (!(buy > 0)) {
			ft_buf_puts(out, "   -         -");
		} else if (x->price == FT_ABSENT || __builtin_mul_overflow(x->price, (int64_t)buy, &cost) ||
		           __builtin_add_overflow(bill->cost, cost, &bill->cost)) {
			bill->without_price += buy;
			ft_buf_printf(out, "%4.0f         ?", buy);
		} else {
			ft_buf_printf(out, "%4.0f %9s", buy, ft_money_text(cost, 2, money));
		}
	}
	ft_buf_puts(out, "  ");
	cli_last(d->c, x->name.p ? x->name : x->kind == FT_KIT_LEAD ? FT_SLICE("lead") : FT_SLICE("unit"), BEFORE, out);
}

static void put_bill(struct survey_run *d, const struct bill *bill, struct ft_buf *out)
{
	struct ft_arena *a = &d->c->arena;
	char money[FT_MONEY_TEXT];
	const char *text = "Nothing is to be bought";

	if (bill->pieces > 0)
		text = ft_arena_printf(a, "To buy: %.0f %s, %s", bill->pieces, bill->pieces == 1 ? "piece" : "pieces",
		                       ft_money_text(bill->cost, 2, money));
	if (text && bill->without_price > 0)
		text = ft_arena_printf(a, "%s and %.0f without a price", text, bill->without_price);
	if (text)
		text = ft_arena_printf(
			a, "%s. Average is what the kits come to by their chances; enough is what does in 98 of 100 cases.%s", text,
			bill->uncounted ? " A ? under have: the catalogue's column stock is empty." : "");
	ft_buf_puts(out, "\n  ");
	ft_wrap(out, text ? text : "", d->c->columns, 2);
	ft_buf_byte(out, '\n');
}

static bool totals(struct survey_run *d, struct ft_buf *out)
{
	struct wanted *all;
	struct bill bill = { 0 };
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
	ft_buf_puts(out, "\n  part      average enough have  buy      cost\n");
	for (size_t i = 0; i < n;) {
		struct need need = { .item = all[i].item };
		size_t k = i;
		for (; k < n && by_part(&all[k], &all[i]) == 0; k++) {
			need.mean += all[k].item->chance * all[k].item->count;
			need.variance += all[k].item->chance * (1 - all[k].item->chance) * all[k].item->count * all[k].item->count;
		}
		put_need(d, &need, &bill, out);
		i = k;
	}
	put_bill(d, &bill, out);
	return true;
}

/* ---- questions, each with the machines it is asked of ---- */

struct asked {
	enum ft_fact fact;
	double worth_min;
	size_t machines;
};

static int by_minutes(const void *a, const void *b)
{
	const struct asked *x = a, *y = b;

	if (x->worth_min != y->worth_min)
		return x->worth_min < y->worth_min ? 1 : -1;
	return (int)x->fact - (int)y->fact;
}

static void put_question(struct survey_run *d, const struct asked *asked, struct ft_buf *out)
{
	enum { BEFORE = 8, MACHINES_SHOWN = 12 };
	static const char *const ways[] = { "by call", "by photograph", "on a visit", "at the desk" };
	struct ft_arena *a = &d->c->arena;
	const char *text = NULL;
	size_t shown = 0;

	ft_buf_printf(out, "  %4.0f  ", asked->worth_min);
	ft_wrap(out, ft_fact_ask(asked->fact), d->c->columns, BEFORE);
	for (size_t i = 0; i < d->question_count && shown < asked->machines && shown < MACHINES_SHOWN; i++) {
		const struct survey_question *q = &d->questions[i];
		if (q->question->fact != asked->fact || q->question->worth_min < WORTH_LEAST)
			continue;
		text = ft_arena_printf(a, "%s%s %.*s (%.0f)", text ? text : ways[ft_fact_way(asked->fact)], shown++ ? "," : ":",
		                       FT_P(q->machine->row->asset), q->question->worth_min);
	}
	if (shown < asked->machines && text)
		text = ft_arena_printf(a, "%s and %zu more", text, asked->machines - shown);
	ft_buf_puts(out, "\n        ");
	ft_wrap(out, text ? text : "", d->c->columns, BEFORE);
	ft_buf_byte(out, '\n');
}

static void top_questions(struct survey_run *d, struct ft_buf *out, int64_t most)
{
	struct asked all[FT_FACT_COUNT];

	for (int f = 0; f < FT_FACT_COUNT; f++)
		all[f] = (struct asked){ .fact = (enum ft_fact)f };
	for (size_t i = 0; i < d->question_count && d->questions[i].question->worth_min >= WORTH_LEAST; i++) {
		struct asked *mine = &all[d->questions[i].question->fact];
		mine->worth_min += d->questions[i].question->worth_min;
		mine->machines++;
	}
	qsort(all, FT_FACT_COUNT, sizeof *all, by_minutes);
	if (!most || !all[0].machines)
		return;
	ft_buf_puts(out, "\n  What to ask first, by the minutes that all answers are expected to save:\n");
	for (int f = 0; f < FT_FACT_COUNT && f < most && all[f].machines; f++)
		put_question(d, &all[f], out);
}

/* A script sees the exit code; whoever reads this should know why it is 1. */
static void put_cannot(const struct survey_run *d, struct ft_buf *out)
{
	size_t n = 0;

	for (size_t i = 0; i < d->count; i++)
		n += d->machines[i].fit == FT_FIT_CANNOT;
	if (d->count == 1 && n)
		ft_buf_puts(out, "\n  Exit code 1: the machine cannot be fitted.\n");
	else if (n)
		ft_buf_printf(out, "\n  Exit code 1: %zu of %zu machines cannot be fitted.\n", n, d->count);
}

/* How many come to which fit; of one machine its own line says it. */
static void heading(struct survey_run *d, struct ft_buf *out)
{
	static const char *const words[] = { "ready", "with parts", "with an update", "to look at first", "not at all" };
	size_t fits[FT_FIT_COUNT] = { 0 };
	const char *text = ft_arena_printf(&d->c->arena, "%zu machines:", d->count), *between = "";
	double minutes = 0;

	if (d->count == 1)
		return;
	for (size_t i = 0; i < d->count; i++) {
		fits[d->machines[i].fit]++;
		minutes += d->machines[i].fit == FT_FIT_CANNOT ? 0 : d->machines[i].minutes;
	}
	for (int f = 0; f < FT_FIT_COUNT && text; f++) {
		if (!fits[f])
			continue;
		text = ft_arena_printf(&d->c->arena, "%s%s %zu %s", text, between, fits[f], words[f]);
		between = ",";
	}
	text = text ? ft_arena_printf(&d->c->arena, "%s. On site that is %.1f hours%s.", text, minutes / 60,
	                              fits[FT_FIT_CANNOT] ? ", those that cannot be fitted left out" : "")
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
	if (d->record) {
		ft_buf_puts(&out, "\n  ");
		ft_wrap(&out,
		        ft_arena_printf(&d->c->arena, "Its record is written to %s; fettle visit add takes it as evidence.",
		                        d->record),
		        d->c->columns, 2);
		ft_buf_byte(&out, '\n');
	}
	put_cannot(d, &out);
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
