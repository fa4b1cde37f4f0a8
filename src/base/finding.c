/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/finding.h"

static const struct ft_rule rules[] = {
#define ROW(ident, id, weight, sentence, why, todo, source) { id, FT_##weight, sentence, why, todo, source },
#include "rules.inc"
#undef ROW
};

const struct ft_rule *ft_rule(enum ft_rule_id id)
{
	return id >= 0 && id < FT_RULE_COUNT ? &rules[id] : NULL;
}

const struct ft_rule *ft_rule_by_name(struct ft_slice name)
{
	for (size_t i = 0; i < FT_RULE_COUNT; i++)
		if (ft_slice_is(name, rules[i].id))
			return &rules[i];
	return NULL;
}

static void count_weight(struct ft_findings *f, enum ft_weight w, int by)
{
	if (w == FT_FAULT)
		f->faults += (size_t)by;
	else if (w == FT_DOUBT)
		f->doubts += (size_t)by;
}

struct ft_finding *ft_find(struct ft_findings *f, enum ft_rule_id rule, struct ft_where where, const char *seen,
                           const char *expected)
{
	const struct ft_rule *r = &rules[rule];
	struct ft_finding *grown = NULL;

	struct ft_finding *place = &f->spare;

	count_weight(f, r->weight, 1);
	if (f->count < FT_FINDINGS_MAX)
		grown = ft_arena_grow(f->arena, f->list, f->count, &f->room, sizeof *grown);
	if (grown) {
		f->list = grown;
		place = &f->list[f->count++];
	} else {
		f->dropped++; /* its text is lost, its weight stays counted */
	}
	*place = (struct ft_finding){ rule, r->weight, where, seen, expected, r->why, r->todo, FT_RULE_NONE };
	return place;
}

void ft_finding_weigh(struct ft_findings *f, struct ft_finding *finding, enum ft_weight weight)
{
	count_weight(f, finding->weight, -1);
	count_weight(f, weight, 1);
	finding->weight = weight;
}

void ft_finding_follow(struct ft_findings *f, struct ft_finding *finding, enum ft_rule_id cause)
{
	finding->follows = cause;
	ft_finding_weigh(f, finding, FT_NOTE);
}

enum ft_verdict ft_verdict_of(const struct ft_findings *f, bool shown_otherwise)
{
	if (f->faults)
		return FT_CONTRADICTED;
	if (f->dropped || (f->doubts && !shown_otherwise))
		return FT_OPEN;
	return FT_SHOWN;
}

const char *ft_weight_word(enum ft_weight w)
{
	return w == FT_FAULT ? "fault" : w == FT_DOUBT ? "doubt" : "note";
}

const char *ft_weight_mark(enum ft_weight w)
{
	return w == FT_FAULT ? "!" : w == FT_DOUBT ? "?" : "\xc2\xb7";
}

const char *ft_verdict_word(enum ft_verdict v)
{
	return v == FT_CONTRADICTED ? "contradicted" : v == FT_OPEN ? "open" : "shown";
}

static void where_json(struct ft_json *j, const struct ft_where *w)
{
	ft_json_object(j, "where");
	ft_json_text(j, "file", w->file);
	ft_json_count(j, "line", w->line ? (int64_t)w->line : FT_ABSENT);
	ft_json_text(j, "element", w->element);
	ft_json_text(j, "selection", w->selection);
	ft_json_count(j, "at_us", w->timed ? w->at_us : FT_ABSENT);
	ft_json_object_end(j);
}

void ft_findings_json(struct ft_json *j, const struct ft_findings *f)
{
	ft_json_array(j, "findings");
	for (size_t i = 0; i < f->count; i++) {
		const struct ft_finding *x = &f->list[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "rule", rules[x->rule].id);
		ft_json_text(j, "weight", ft_weight_word(x->weight));
		where_json(j, &x->where);
		ft_json_text(j, "seen", x->seen);
		ft_json_text(j, "expected", x->expected);
		ft_json_text(j, "why", x->why);
		ft_json_text(j, "do", x->todo);
		ft_json_text(j, "follows", ft_rule(x->follows) ? ft_rule(x->follows)->id : NULL);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

/* Width on a terminal: every UTF-8 sequence counts one; the texts here hold no wide letters. */
static int width(const char *p, const char *end)
{
	int n = 0;

	for (; p < end; p++)
		n += ((unsigned char)*p & 0xc0) != 0x80;
	return n;
}

void ft_wrap(struct ft_buf *out, const char *text, int columns, int indent)
{
	int column = indent;
	const char *p = text;

	while (*p) {
		const char *end = p;
		while (*end && *end != ' ')
			end++;
		if (column > indent && column + 1 + width(p, end) > columns) {
			ft_buf_printf(out, "\n%*s", indent, "");
			column = indent;
		} else if (p != text) {
			ft_buf_byte(out, ' ');
			column++;
		}
		ft_buf_put(out, p, (size_t)(end - p));
		column += width(p, end);
		for (p = end; *p == ' '; p++)
			;
	}
}

void ft_finding_text(struct ft_buf *out, const struct ft_finding *x, int columns)
{
	struct ft_buf line = { 0 };

	ft_buf_printf(out, "  %s ", ft_weight_mark(x->weight));
	ft_buf_printf(&line, "%s: ", ft_weight_word(x->weight));
	if (x->where.selection)
		ft_buf_printf(&line, "selection %s: ", x->where.selection);
	ft_buf_puts(&line, rules[x->rule].sentence);
	if (x->where.element)
		ft_buf_printf(&line, " (%s%s", x->where.element, x->where.line ? "" : ")");
	if (x->where.line)
		ft_buf_printf(&line, "%sline %u)", x->where.element ? ", " : " (", x->where.line);
	ft_buf_puts(&line, ".");
	if (x->seen)
		ft_buf_printf(&line, " Seen: %s.", x->seen);
	if (x->expected)
		ft_buf_printf(&line, " Expected: %s.", x->expected);
	if (ft_rule(x->follows))
		ft_buf_printf(&line, " It follows from: %s.", ft_rule(x->follows)->sentence);
	ft_buf_byte(&line, 0);
	if (line.status == FT_OK)
		ft_wrap(out, line.p, columns, 4);
	ft_buf_done(&line);
	if (x->todo && x->weight != FT_NOTE) {
		ft_buf_puts(out, "\n    Do: ");
		ft_wrap(out, x->todo, columns - 4, 8);
		ft_buf_puts(out, ".");
	}
	ft_buf_byte(out, '\n');
}
