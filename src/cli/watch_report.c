/* SPDX-License-Identifier: Apache-2.0 */
/* The morning report: what is open, into files by the ending of their names. */
#include "watch.h"

#include <stdlib.h>

#include "fettle/paper_watch.h"

static const char *day_text(struct cli *c, int64_t us)
{
	struct ft_civil d = ft_civil_of(us, 0);
	const char *t = ft_arena_printf(&c->arena, "%04d-%02d-%02d", d.year, d.month, d.day);

	return t ? t : "";
}

static const struct ft_morning_sum *sums(struct cli *c, const struct ft_variance *v, size_t n)
{
	struct ft_morning_sum *list = FT_NEW_ARRAY(&c->arena, n + 1, struct ft_morning_sum);

	for (size_t i = 0; list && i < n; i++) {
		bool less = v[i].signal_us != FT_ABSENT;
		char *words = ft_arena_alloc(&c->arena, FT_VARIANCE_TEXT);
		if (!words)
			return NULL;
		list[i] = (struct ft_morning_sum){
			v[i].name,     v[i].collections,
			v[i].expected, v[i].counted,
			less,          ft_variance_words(v[i].counted - v[i].expected, v[i].spread, less, words)
		};
	}
	return list;
}

static struct ft_morning_line line_of(struct cli *c, const struct ft_watch_result *r, const struct ft_exception *x)
{
	const struct ft_rule *rule = ft_rule(x->rule);

	return (struct ft_morning_line){
		.weight = rule->weight,
		.asset = r->asset,
		.machine = r->key,
		.rule = rule->id,
		.selection = x->selection,
		.sentence = x->seen ? x->seen : rule->sentence,
		.expected = x->expected,
		.todo = rule->todo,
		.money = x->money,
		.per = x->money == FT_ABSENT ? NULL : ft_stake_word(ft_stake_of(x->rule)),
		.decimals = r->decimals,
		.currency = r->currency,
		.sure = x->sure,
		.since = day_text(c, x->since_us),
		.seen = day_text(c, x->seen_us),
		.before = x->before,
		.after = x->after,
	};
}

/* Sums are of one currency: what has another or none is counted and not added. */
static void add_up(struct ft_morning *m, const struct watch_line *l)
{
	int64_t *sum = ft_stake_of(l->x->rule) == FT_STAKE_WEEK ? &m->week : &m->once;

	if (l->x->money == FT_ABSENT)
		return;
	if (strcmp(l->r->currency, m->currency) != 0 || l->r->decimals != m->decimals)
		m->not_summed++;
	else if (__builtin_add_overflow(*sum, l->x->money, sum))
		*sum = INT64_MAX;
}

enum { CURRENCIES_TOLD = 16 }; /* ours: a fleet of more has no usual one */

/* A machine with the currency of most machines that tell one; NULL: no machine at all. */
static const struct ft_watch_result *usual_money(const struct watch_fleet *f)
{
	struct {
		const struct ft_watch_result *r;
		size_t n;
	} seen[CURRENCIES_TOLD];
	size_t count = 0, best = 0;

	for (size_t i = 0; i < f->result_count; i++) {
		size_t k = 0;
		if (!*f->results[i].currency)
			continue;
		while (k < count && strcmp(seen[k].r->currency, f->results[i].currency) != 0)
			k++;
		if (k == CURRENCIES_TOLD)
			continue;
		if (k == count) {
			seen[count].r = &f->results[i];
			seen[count++].n = 0;
		}
		best = ++seen[k].n > seen[best].n ? k : best;
	}
	return count ? seen[best].r : f->result_count ? &f->results[0] : NULL;
}

static bool fill(struct watch_fleet *f, int64_t now_us, struct ft_morning *m)
{
	struct cli *c = f->c;
	size_t n, quiet;
	const struct watch_line *list = watch_lines(f, now_us, false, &n), *quiet_list;
	struct ft_morning_line *lines = FT_NEW_ARRAY(&c->arena, n + f->silent_count + 1, struct ft_morning_line), *known;
	char *made = ft_arena_alloc(&c->arena, FT_TIME_TEXT), *until = ft_arena_alloc(&c->arena, FT_TIME_TEXT);
	int64_t at = cli_now(&m->offset_minutes);
	const struct ft_watch_result *usual = f->asked ? f->asked : usual_money(f);

	quiet_list = watch_lines(f, now_us, true, &quiet);
	known = FT_NEW_ARRAY(&c->arena, quiet + 1, struct ft_morning_line);
	m->alone = cli_value(c, "asset");
	if (!lines || !known || !made || !until)
		return false;
	m->made = ft_time_text(at, m->offset_minutes, made);
	ft_time_text(now_us, 0, until);
	until[19] = 0;
	m->until = until;
	m->program = "fettle " FT_VERSION;
	m->machines = m->alone ? 1 : f->result_count;
	m->acknowledged = quiet;
	for (size_t i = 0; i < quiet; i++) {
		known[i] = line_of(c, quiet_list[i].r, quiet_list[i].x);
		known[i].known = watch_known_text(quiet_list[i].x, &c->arena);
	}
	m->known = known;
	m->decimals = usual ? usual->decimals : 2;
	m->currency = usual ? usual->currency : "";
	for (size_t i = 0; i < n; i++) {
		const struct ft_exception *x = list[i].x;
		bool first = true;
		for (size_t k = 0; k < i && first; k++)
			first = list[k].r != list[i].r;
		m->machines_open += first;
		add_up(m, &list[i]);
		lines[i] = line_of(c, list[i].r, x);
	}
	for (size_t i = 0; i < f->silent_count && !cli_value(c, "asset"); i++) { /* they are no machines of the fleet yet */
		struct ft_watch_result r;
		if (!watch_handover_missed(f, f->silent[i], now_us))
			continue;
		ft_watch_silent(f->silent[i]->key, &f->silent[i]->base, now_us, &c->arena, &r);
		if (!r.exception_count)
			continue; /* without memory */
		m->machines_open++;
		lines[n++] = line_of(c, &r, &r.exceptions[0]);
	}
	m->lines = lines;
	m->line_count = n;
	if (f->counted && !m->alone) { /* people and routes are of the whole fleet */
		m->persons = sums(c, f->cash.persons, f->cash.person_count);
		m->person_count = m->persons ? f->cash.person_count : 0;
		m->routes = sums(c, f->cash.routes, f->cash.route_count);
		m->route_count = m->routes ? f->cash.route_count : 0;
	}
	return true;
}

static bool ends_in(const char *text, const char *end)
{
	size_t n = strlen(text), k = strlen(end);

	return n >= k && ft_slice_eq_nocase((struct ft_slice){ text + n - k, k }, ft_slice_of(end));
}

static enum ft_status write_one(struct cli *c, const struct ft_morning *m, const char *path)
{
	struct ft_buf out = { 0 };
	enum ft_status s = FT_OK;

	if (ends_in(path, ".csv"))
		ft_morning_csv(m, &out);
	else if (ends_in(path, ".json"))
		ft_morning_json(m, &out);
	else if (ends_in(path, ".txt"))
		ft_morning_text(m, &out);
	else if (ends_in(path, ".html") || ends_in(path, ".htm"))
		ft_morning_html(m, &out);
	else if (ends_in(path, ".pdf"))
		s = ft_morning_pdf(m, FT_SHEET_A4, &c->arena, &out, NULL, &c->error);
	else
		s = ft_fail(&c->error, FT_E_USAGE, "A report ends in .csv, .json, .txt, .html or .pdf, not as %s does.", path);
	if (s == FT_OK)
		s = out.status == FT_OK ? cli_write_file(c, path, ft_buf_text(&out)) : ft_fail_memory(&c->error, "the report");
	ft_buf_done(&out);
	return s;
}

enum ft_status watch_report(struct watch_fleet *f, int64_t now_us)
{
	struct ft_morning m = { 0 };
	const char *path;
	enum ft_status s = FT_OK;

	if (!cli_value(f->c, "report"))
		return FT_OK;
	if (!fill(f, now_us, &m))
		return ft_fail_memory(&f->c->error, "the report");
	for (int i = 0; s == FT_OK && (path = cli_value_nth(f->c, "report", i)) != NULL; i++)
		s = write_one(f->c, &m, path);
	return s;
}
