/* SPDX-License-Identifier: Apache-2.0 */
/* The morning report as a table, a document and the body of an e-mail. */
#include "paper.h"

#include "fettle/csv.h"
#include "fettle/paper_watch.h"

#include <math.h>

static const char *or_empty(const char *text)
{
	return text ? text : "";
}

static void field(struct ft_buf *out, const char *text)
{
	ft_buf_byte(out, ',');
	ft_csv_put(out, ft_slice_of(or_empty(text)));
}

void ft_morning_csv(const struct ft_morning *m, struct ft_buf *out)
{
	char money[FT_MONEY_TEXT];

	ft_buf_puts(
		out,
		"asset,machine,rule,selection,weight,since,seen_at,money,currency,money_is,sure,sentence,expected,do,before,after\r\n");
	for (size_t i = 0; i < m->line_count; i++) {
		const struct ft_morning_line *l = &m->lines[i];
		ft_csv_put(out, ft_slice_of(l->asset));
		field(out, l->machine);
		field(out, l->rule);
		field(out, l->selection);
		field(out, ft_weight_word(l->weight));
		field(out, l->since);
		field(out, l->seen);
		field(out, l->money == FT_ABSENT ? "" : ft_money_text(l->money, l->decimals, money));
		field(out, l->currency);
		field(out, l->per);
		ft_buf_printf(out, ",%.4f", l->sure);
		field(out, l->sentence);
		field(out, l->expected);
		field(out, l->todo);
		field(out, l->before);
		field(out, l->after);
		ft_buf_puts(out, "\r\n");
	}
}

static void sums_json(struct ft_json *j, const char *key, const struct ft_morning_sum *s, size_t n)
{
	ft_json_array(j, key);
	for (size_t i = 0; i < n; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "name", s[i].name);
		ft_json_i64(j, "collections", (int64_t)s[i].collections);
		ft_json_i64(j, "expected", s[i].expected);
		ft_json_i64(j, "counted", s[i].counted);
		ft_json_bool(j, "less_and_less", s[i].less);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

void ft_morning_json(const struct ft_morning *m, struct ft_buf *out)
{
	struct ft_json j = { .out = out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "until", m->until);
	ft_json_text(&j, "made", m->made);
	ft_json_text(&j, "alone", m->alone);
	ft_json_i64(&j, "machines", (int64_t)m->machines);
	ft_json_i64(&j, "machines_open", (int64_t)m->machines_open);
	ft_json_i64(&j, "acknowledged", (int64_t)m->acknowledged);
	ft_json_array(&j, "lines");
	for (size_t i = 0; i < m->line_count; i++) {
		const struct ft_morning_line *l = &m->lines[i];
		ft_json_object(&j, NULL);
		ft_json_text(&j, "asset", l->asset);
		ft_json_text(&j, "machine", l->machine);
		ft_json_text(&j, "rule", l->rule);
		ft_json_text(&j, "selection", l->selection);
		ft_json_text(&j, "weight", ft_weight_word(l->weight));
		ft_json_text(&j, "since", l->since);
		ft_json_text(&j, "seen_at", l->seen);
		ft_json_count(&j, "money", l->money);
		ft_json_i64(&j, "decimals", l->decimals);
		ft_json_text(&j, "currency", l->currency);
		ft_json_text(&j, "money_is", l->per);
		ft_json_real(&j, "sure", l->sure, 4);
		ft_json_text(&j, "sentence", l->sentence);
		ft_json_text(&j, "expected", l->expected);
		ft_json_text(&j, "do", l->todo);
		ft_json_text(&j, "before", l->before);
		ft_json_text(&j, "after", l->after);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_array(&j, "known");
	for (size_t i = 0; i < m->acknowledged; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "asset", m->known[i].asset);
		ft_json_text(&j, "machine", m->known[i].machine);
		ft_json_text(&j, "rule", m->known[i].rule);
		ft_json_text(&j, "selection", m->known[i].selection);
		ft_json_text(&j, "sentence", m->known[i].sentence);
		ft_json_text(&j, "known", m->known[i].known);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	sums_json(&j, "persons", m->persons, m->person_count);
	sums_json(&j, "routes", m->routes, m->route_count);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}

/* "12.50 USD" or, where the machine tells none, "12.50, currency not told" */
static void put_money(const struct ft_morning *m, int64_t money, int decimals, const char *currency, struct ft_buf *out)
{
	char text[FT_MONEY_TEXT];

	ft_buf_printf(out, "%s%s%s%s", ft_money_text(money, decimals, text), *currency ? " " : "", currency,
	              !*currency && *m->currency ? " of a currency not told" : "");
}

/* "at stake: 12.50 USD a week, 99 % sure" */
static void stake(const struct ft_morning *m, const struct ft_morning_line *l, struct ft_buf *out)
{
	if (l->money != FT_ABSENT) {
		ft_buf_puts(out, "at stake: ");
		put_money(m, l->money, l->decimals, l->currency, out);
		ft_buf_printf(out, " %s, ", l->per);
	}
	ft_buf_printf(out, "%s%.0f %% sure", l->sure > 0.995 ? "more than " : "", fmin(99, floor(l->sure * 100 + 0.5)));
}

const char *morning_title(const struct ft_morning *m)
{
	return m->alone ? "What is open at one machine" : "Machines that need a person";
}

void ft_morning_opening(const struct ft_morning *m, struct ft_buf *out)
{
	if (m->alone)
		ft_buf_printf(out, "%s alone: ", m->alone);
	else
		ft_buf_printf(out, "%zu of %zu machine%s a person. ", m->machines_open, m->machines,
		              m->machines == 1 ? " needs" : "s need");
	ft_buf_printf(out, "%zu %s open", m->line_count, m->line_count == 1 ? "thing stands" : "things stand");
	if (m->once || m->week) {
		ft_buf_puts(out, "; lost or at stake are ");
		if (m->once) {
			put_money(m, m->once, m->decimals, m->currency, out);
			ft_buf_printf(out, " once%s", m->week ? " and " : "");
		}
		if (m->week) {
			put_money(m, m->week, m->decimals, m->currency, out);
			ft_buf_puts(out, " a week");
		}
	}
	ft_buf_puts(out, ".");
	if (m->not_summed)
		ft_buf_printf(out, " %zu %s no currency or another and %s not in %s.", m->not_summed,
		              m->not_summed == 1 ? "amount has" : "amounts have", m->not_summed == 1 ? "is" : "are",
		              m->once && m->week ? "these sums" : "a sum");
	if (m->acknowledged)
		ft_buf_printf(out, " %zu more %s known and stay%s quiet.", m->acknowledged, m->acknowledged == 1 ? "is" : "are",
		              m->acknowledged == 1 ? "s" : "");
}

static void paragraph(struct ft_buf *out, struct ft_buf *text, int indent)
{
	ft_buf_byte(text, 0);
	for (int i = 0; i < indent; i++)
		ft_buf_byte(out, ' ');
	if (text->status == FT_OK)
		ft_wrap(out, text->p, 72, indent);
	ft_buf_byte(out, '\n');
	ft_buf_clear(text);
}

static void sums_text(struct ft_buf *out, const char *what, const struct ft_morning_sum *s, size_t n, int decimals)
{
	if (n)
		ft_buf_printf(out, "\n%-12s counts  expected   counted  variance\n", what);
	for (size_t i = 0; i < n; i++) {
		char a[FT_MONEY_TEXT], b[FT_MONEY_TEXT], d[FT_MONEY_TEXT];
		ft_buf_printf(out, "%-12.12s %6zu %9s %9s %9s  %s\n", s[i].name, s[i].collections,
		              ft_money_text(s[i].expected, decimals, a), ft_money_text(s[i].counted, decimals, b),
		              ft_money_text(s[i].counted - s[i].expected, decimals, d), s[i].usual);
	}
}

void ft_morning_text(const struct ft_morning *m, struct ft_buf *out)
{
	struct ft_buf text = { 0 };

	ft_buf_printf(out, "%s, %.10s\n\n", morning_title(m), m->until);
	ft_morning_opening(m, &text);
	paragraph(out, &text, 0);
	for (size_t i = 0; i < m->line_count; i++) {
		const struct ft_morning_line *l = &m->lines[i];
		ft_buf_byte(out, '\n');
		ft_buf_printf(&text, "%s %s: %s (", ft_weight_mark(l->weight), l->asset, l->sentence);
		stake(m, l, &text);
		ft_buf_puts(&text, ").");
		paragraph(out, &text, 0);
		if (l->expected) {
			ft_buf_printf(&text, "Expected: %s.", l->expected);
			paragraph(out, &text, 2);
		}
		ft_buf_printf(&text, "Do: %s.", l->todo);
		paragraph(out, &text, 2);
		if (l->after || l->before) {
			ft_buf_printf(&text, "See %s", l->after ? l->after : l->before);
			paragraph(out, &text, 2);
		}
	}
	sums_text(out, "person", m->persons, m->person_count, m->decimals);
	sums_text(out, "route", m->routes, m->route_count, m->decimals);
	for (size_t i = 0; i < m->acknowledged; i++) {
		ft_buf_puts(out, i ? "" : "\nKnown, and quiet until it changes\n");
		ft_buf_printf(&text, "%s: %s; known: %s.", m->known[i].asset, m->known[i].sentence, m->known[i].known);
		paragraph(out, &text, 0);
	}
	ft_buf_printf(out, "\nMade %s by %s.\n", m->made, m->program);
	ft_buf_done(&text);
}

static void escaped(struct ft_buf *out, const char *text)
{
	for (const char *p = or_empty(text); *p; p++) {
		if (*p == '&')
			ft_buf_puts(out, "&amp;");
		else if (*p == '<')
			ft_buf_puts(out, "&lt;");
		else if (*p == '>')
			ft_buf_puts(out, "&gt;");
		else if (*p == '"')
			ft_buf_puts(out, "&quot;");
		else
			ft_buf_byte(out, (uint8_t)*p);
	}
}

static void sums_html(struct ft_buf *out, const char *what, const struct ft_morning_sum *s, size_t n, int decimals)
{
	if (!n)
		return;
	ft_buf_printf(out,
	              "<h2>By %s</h2>\n<table><tr><th>%s</th><th class=n>collections</th><th class=n>expected</th>"
	              "<th class=n>counted</th><th class=n>variance</th><th></th></tr>\n",
	              what, what);
	for (size_t i = 0; i < n; i++) {
		char a[FT_MONEY_TEXT], b[FT_MONEY_TEXT], d[FT_MONEY_TEXT];
		ft_buf_puts(out, "<tr><td>");
		escaped(out, s[i].name);
		ft_buf_printf(
			out, "</td><td class=n>%zu</td><td class=n>%s</td><td class=n>%s</td><td class=n>%s</td><td>%s</td></tr>\n",
			s[i].collections, ft_money_text(s[i].expected, decimals, a), ft_money_text(s[i].counted, decimals, b),
			ft_money_text(s[i].counted - s[i].expected, decimals, d), s[i].usual);
	}
	ft_buf_puts(out, "</table>\n");
}

void ft_morning_html(const struct ft_morning *m, struct ft_buf *out)
{
	/* colours and widths of the project's own look; everything is in the file, readers of e-mail fetch nothing */
	static const char head[] =
		"<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport content=\"width=device-width\">\n"
		"<style>body{background:#FAF8F3;color:#1F2328;font:16px/1.5 system-ui,sans-serif;max-width:68ch;margin:24px auto;"
		"padding:0 16px}h1{font-size:20px}h2{font-size:17px;margin-top:32px}table{border-collapse:collapse}"
		"th,td{text-align:left;padding:2px 12px 2px 0;border-bottom:1px solid #DAD5C8}.n{text-align:right;"
		"font-variant-numeric:tabular-nums}li{margin:16px 0;padding-left:8px}.d{color:#6B7075}"
		"b.fault{color:#9A3324}</style>\n";
	struct ft_buf text = { 0 };

	ft_buf_puts(out, head);
	ft_buf_printf(out, "<title>%s, %.10s</title></head><body>\n<h1>%s, %.10s</h1>\n<p>", morning_title(m), m->until,
	              morning_title(m), m->until);
	ft_morning_opening(m, &text);
	ft_buf_byte(&text, 0);
	escaped(out, text.status == FT_OK ? text.p : "");
	ft_buf_puts(out, "</p>\n<ol>\n");
	for (size_t i = 0; i < m->line_count; i++) {
		const struct ft_morning_line *l = &m->lines[i];
		ft_buf_printf(out, "<li><b class=%s>%s</b> <b>", ft_weight_word(l->weight), ft_weight_mark(l->weight));
		escaped(out, l->asset);
		ft_buf_puts(out, "</b> ");
		escaped(out, l->sentence);
		ft_buf_puts(out, " (");
		ft_buf_clear(&text);
		stake(m, l, &text);
		ft_buf_slice(out, ft_buf_text(&text));
		ft_buf_puts(out, ").");
		if (l->expected) {
			ft_buf_puts(out, "<br><span class=d>Expected: ");
			escaped(out, l->expected);
			ft_buf_puts(out, ".</span>");
		}
		ft_buf_puts(out, "<br>Do: ");
		escaped(out, l->todo);
		if (l->after || l->before) {
			ft_buf_puts(out, ".<br><span class=d>See ");
			escaped(out, l->after ? l->after : l->before);
			ft_buf_puts(out, "</span>");
		}
		ft_buf_puts(out, "</li>\n");
	}
	ft_buf_puts(out, "</ol>\n");
	sums_html(out, "person", m->persons, m->person_count, m->decimals);
	sums_html(out, "route", m->routes, m->route_count, m->decimals);
	ft_buf_puts(out, m->acknowledged ? "<h2>Known, and quiet until it changes</h2>\n" : "");
	for (size_t i = 0; i < m->acknowledged; i++) {
		ft_buf_puts(out, "<p><b>");
		escaped(out, m->known[i].asset);
		ft_buf_puts(out, "</b> ");
		escaped(out, m->known[i].sentence);
		ft_buf_puts(out, "; known: ");
		escaped(out, m->known[i].known);
		ft_buf_puts(out, ".</p>\n");
	}
	ft_buf_puts(out, "<p class=d>Made ");
	escaped(out, m->made);
	ft_buf_puts(out, " by ");
	escaped(out, m->program);
	ft_buf_puts(out, ".</p>\n</body></html>\n");
	ft_buf_done(&text);
}
