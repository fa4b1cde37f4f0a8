/* SPDX-License-Identifier: Apache-2.0 */
#include "visit_look.h"

#include <string.h>

#include "fettle/time.h"

/* Marks of the look: filled square, struck diamond, hollow ring, half ring. The word always stands with them. */
static const struct {
	const char *mark, *colour;
} marks[FT_STANDS_COUNT] = {
	[FT_STANDS_SHOWN] = { "\xe2\x96\xa0", "\033[32m" },
	[FT_STANDS_CONTRADICTED] = { "\xe2\x97\x86", "\033[31m" },
	[FT_STANDS_OPEN] = { "\xe2\x97\x8b", "\033[90m" },
	[FT_STANDS_WAIVED] = { "\xe2\x97\x90", "\033[33m" },
};

static void mark(const struct cli *c, struct ft_buf *out, enum ft_stands s)
{
	if (c->colour)
		ft_buf_printf(out, "%s%s\033[0m", marks[s].colour, marks[s].mark);
	else
		ft_buf_puts(out, marks[s].mark);
}

static void rule(const struct cli *c, struct ft_buf *out)
{
	for (int i = 0; i < c->columns; i++)
		ft_buf_puts(out, "\xe2\x94\x80");
	ft_buf_byte(out, '\n');
}

static void wrapped(const struct cli *c, struct ft_buf *out, const char *lead, const char *text, int indent)
{
	ft_buf_printf(out, "%*s%s", indent - (int)strlen(lead), "", lead);
	ft_wrap(out, text, c->columns, indent);
	ft_buf_byte(out, '\n');
}

static void one_claim(const struct cli *c, struct ft_buf *out, const struct ft_visit *v, const struct ft_judgement *g,
                      const struct ft_claim_state *s, enum visit_look look, struct ft_arena *a)
{
	char *sentence = ft_arena_printf(a, "%s (%s)", s->claim->sentence, s->claim->id);
	ft_buf_puts(out, "  ");
	mark(c, out, s->stands);
	ft_buf_printf(out, " %-13s", ft_stands_word(s->stands));
	ft_wrap(out, sentence ? sentence : s->claim->sentence, c->columns, 17);
	ft_buf_byte(out, '\n');
	if (s->stands != FT_STANDS_OPEN || s->evidence_count || look == VISIT_ALL)
		wrapped(c, out, "", s->because, 17);
	if (look == VISIT_ALL)
		for (size_t i = 0; i < s->evidence_count; i++) {
			const struct ft_evidence *x = &v->evidence[s->evidence[i]];
			char hash[FT_HASH_TEXT];
			ft_buf_printf(out, "%17sby %lld %s (%.12s)\n", "", (long long)x->number, x->name,
			              ft_hash_text(&x->hash, hash));
		}
	if ((s->stands == FT_STANDS_CONTRADICTED && s->finding_count > 1 && look != VISIT_SHORT) || look == VISIT_ALL)
		for (size_t i = 0; i < s->finding_count; i++)
			ft_finding_text(out, &g->findings.list[s->findings[i]], c->columns);
	if (s->todo)
		wrapped(c, out, "Do: ", s->todo, 17);
}

static void path_line(const struct cli *c, struct ft_buf *out, const struct ft_judgement *g, enum ft_stage stage)
{
	enum ft_stands s = ft_judgement_stage(g, stage);
	size_t n[FT_STANDS_COUNT] = { 0 }, all = 0;
	bool any = false;

	for (size_t i = 0; i < g->claim_count; i++) {
		if (g->claims[i].claim->stage == stage) {
			n[g->claims[i].stands]++;
			all++;
		}
	}
	ft_buf_puts(out, "  ");
	mark(c, out, s);
	ft_buf_printf(out, " %-13s", ft_stage_title(stage));
	if (n[FT_STANDS_SHOWN] == all) {
		ft_buf_printf(out, "all %zu shown\n", all);
		return;
	}
	static const enum ft_stands order[] = { FT_STANDS_CONTRADICTED, FT_STANDS_OPEN, FT_STANDS_WAIVED, FT_STANDS_SHOWN };
	for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
		if (n[order[i]]) {
			ft_buf_printf(out, "%s%zu %s", any ? ", " : "", n[order[i]], ft_stands_word(order[i]));
			any = true;
		}
	}
	if (stage == FT_STAGE_WATCH)
		ft_buf_puts(out, ", in the weeks after");
	ft_buf_byte(out, '\n');
}

static void head(const struct cli *c, struct ft_buf *out, const struct ft_visit *v, const struct ft_judgement *g,
                 struct ft_arena *a)
{
	char time[FT_TIME_TEXT];

	ft_buf_printf(out, "%s%s%s\n", v->asset, v->site ? "  " : "", v->site ? v->site : "");
	ft_time_text(v->opened_us, v->opened_offset, time);
	ft_buf_printf(out, "visit %s, opened %.10s %.5s", v->id, time, time + 11);
	if (v->technician)
		ft_buf_printf(out, " by %s", v->technician);
	if (v->closed_us != FT_ABSENT)
		ft_buf_printf(out, ", closed %.10s %.5s", ft_time_text(v->closed_us, v->closed_offset, time), time + 11);
	ft_buf_printf(out, "\n%s: %s\n", ft_verdict_word(g->verdict), ft_judgement_words(g, a));
	rule(c, out);
}

static void pieces(struct ft_buf *out, const struct ft_visit *v)
{
	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *x = &v->evidence[i];
		ft_buf_printf(out, "  %3lld %-9s %s: %s\n", (long long)x->number, ft_stage_word(x->stage), x->name,
		              ft_evidence_title(x->kind));
	}
}

static void taken_out(const struct cli *c, struct ft_buf *out, const struct ft_taken_out *x, struct ft_arena *a)
{
	char hash[FT_HASH_TEXT];
	const char *text = ft_arena_printf(a, "%s (%.12s): %s%s%s", x->piece.name, ft_hash_text(&x->piece.hash, hash),
	                                   x->because, x->by ? ", says " : "", x->by ? x->by : "");

	wrapped(c, out, "Taken out: ", text ? text : x->piece.name, 13);
}

void visit_look(const struct cli *c, struct ft_buf *out, const struct ft_visit *v, const struct ft_judgement *g,
                enum visit_look look)
{
	static const enum ft_stands order[] = { FT_STANDS_CONTRADICTED, FT_STANDS_OPEN, FT_STANDS_WAIVED, FT_STANDS_SHOWN };
	struct ft_arena a = { 0 };

	head(c, out, v, g, &a);
	for (int s = 0; s < FT_STAGE_COUNT; s++)
		path_line(c, out, g, (enum ft_stage)s);
	for (size_t o = 0; o < sizeof order / sizeof *order; o++) {
		bool first = true;
		if ((look == VISIT_SHORT && order[o] != FT_STANDS_CONTRADICTED) ||
		    (look == VISIT_USUAL && order[o] == FT_STANDS_SHOWN))
			continue;
		for (size_t i = 0; i < g->claim_count; i++) {
			const struct ft_claim_state *s = &g->claims[i];
			if (s->stands != order[o] ||
			    (look == VISIT_USUAL && s->stands == FT_STANDS_OPEN && s->claim->due == FT_DUE_LATER))
				continue;
			if (first)
				ft_buf_byte(out, '\n');
			first = false;
			one_claim(c, out, v, g, s, look, &a);
		}
	}
	rule(c, out);
	if (look == VISIT_ALL)
		pieces(out, v);
	for (size_t i = 0; look != VISIT_SHORT && i < v->taken_out_count; i++)
		taken_out(c, out, &v->taken_out[i], &a);
	for (size_t i = 0; i < g->left_out_count; i++)
		ft_buf_printf(out, "%s%s%s", i ? ", " : "  Left out, not fitted here: ", g->left_out[i]->id,
		              i + 1 == g->left_out_count ? "\n" : "");
	if (g->next && v->closed_us == FT_ABSENT) {
		ft_buf_puts(out, "  Next: ");
		ft_wrap(out, g->next->todo ? g->next->todo : g->next->claim->ask, c->columns, 8);
		ft_buf_printf(out, " (%s)\n", g->next->claim->id);
	}
	ft_arena_done(&a);
}

void visit_list(const struct cli *c, struct ft_buf *out, const struct ft_visit *list, const struct visit_row *rows,
                size_t count)
{
	char time[FT_TIME_TEXT];
	int site = c->columns - 20 - 18 - 8 - 14;

	if (!count)
		ft_buf_puts(out, "The book has no visits yet; fettle visit open ASSET begins one.\n");
	else
		ft_buf_printf(out, "%-20s%-18s%-8s%-14s%s\n", "visit", "opened", "", "verdict", "place");
	for (size_t i = 0; i < count; i++) {
		const struct ft_visit *v = &list[i];
		const char *place = v->site ? v->site : "";
		size_t n = strlen(place) < (size_t)site ? strlen(place) : (size_t)site;
		while (n && n < strlen(place) && ((unsigned char)place[n] & 0xc0) == 0x80)
			n--; /* never half a letter */
		ft_time_text(v->opened_us, v->opened_offset, time);
		time[10] = ' ';
		ft_buf_printf(out, "%-19s %-17.16s %-7s %-13s %.*s\n", v->id, time,
		              v->closed_us == FT_ABSENT ? "open" : "closed",
		              rows[i].judged ? ft_verdict_word(rows[i].verdict) : "", (int)n, place);
	}
}

void visit_row_json(struct ft_json *j, const struct ft_visit *v, const struct visit_row *row)
{
	char time[FT_TIME_TEXT];

	ft_json_object(j, NULL);
	ft_json_text(j, "id", v->id);
	ft_json_text(j, "asset", v->asset);
	ft_json_text(j, "site", v->site);
	ft_json_text(j, "machine_serial", v->machine_serial);
	ft_json_text(j, "unit", v->unit);
	ft_json_text(j, "technician", v->technician);
	ft_json_text(j, "opened", ft_time_text(v->opened_us, v->opened_offset, time));
	ft_json_text(j, "closed", v->closed_us == FT_ABSENT ? NULL : ft_time_text(v->closed_us, v->closed_offset, time));
	ft_json_text(j, "verdict", row->judged ? ft_verdict_word(row->verdict) : NULL);
	if (row->judged) {
		ft_json_object(j, "stands");
		for (int i = 0; i < FT_STANDS_COUNT; i++)
			ft_json_i64(j, ft_stands_word((enum ft_stands)i), (int64_t)row->stands[i]);
		ft_json_object_end(j);
	} else {
		ft_json_null(j, "stands");
	}
	ft_json_object_end(j);
}
