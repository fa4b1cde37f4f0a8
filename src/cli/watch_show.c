/* SPDX-License-Identifier: Apache-2.0 */
/* What the watch found, for people and as documents. */
#include "watch.h"

#include <math.h>
#include <stdlib.h>

enum { LINES_SHOWN = 40, SILENT_SHOWN = 20 };

static int by_rank(const void *x, const void *y)
{
	const struct watch_line *a = x, *b = y;
	int c;

	if (a->rank != b->rank)
		return a->rank > b->rank ? -1 : 1;
	c = strcmp(a->r->key, b->r->key);
	if (c)
		return c;
	return a->x->since_us != b->x->since_us ? (a->x->since_us < b->x->since_us ? -1 : 1)
											: (int)a->x->rule - (int)b->x->rule;
}

struct watch_line *watch_lines(struct watch_fleet *f, int64_t now_us, bool acknowledged, size_t *ret_count)
{
	const char *asset = cli_value(f->c, "asset");
	struct watch_line *list = NULL;
	size_t n = 0, room = 0;

	for (size_t i = 0; i < f->result_count; i++)
		for (size_t k = 0; k < f->results[i].exception_count; k++) {
			const struct ft_exception *x = &f->results[i].exceptions[k];
			struct watch_line *grown;
			if (!ft_exception_open(x, now_us) || x->acknowledged != acknowledged ||
			    ft_rule(x->rule)->weight == FT_NOTE || (asset && strcmp(asset, f->results[i].asset) != 0))
				continue;
			grown = ft_arena_grow(&f->c->arena, list, n, &room, sizeof *grown);
			if (!grown)
				break;
			list = grown;
			list[n++] = (struct watch_line){ &f->results[i], x, ft_exception_rank(x, f->results[i].decimals) };
		}
	if (n)
		qsort(list, n, sizeof *list, by_rank);
	*ret_count = n;
	return list;
}

const char *watch_known_text(const struct ft_exception *x, struct ft_arena *a)
{
	const struct ft_known *k = x->known;
	char at[FT_TIME_TEXT];
	const char *t = NULL;

	if (k) {
		ft_time_text(k->at_us, k->offset_minutes, at);
		t = ft_arena_printf(a, "%s (%s%s%.10s)", k->because, k->by ? k->by : "", k->by ? ", " : "", at);
	}
	return t ? t : "";
}

static void time_json(struct ft_json *j, const char *key, int64_t us)
{
	char text[FT_TIME_TEXT];

	if (us == FT_NEVER || us == FT_ABSENT) {
		ft_json_null(j, key);
		return;
	}
	ft_time_text(us, 0, text);
	text[19] = 0; /* the office's own time: nobody said with what offset */
	ft_json_text(j, key, text);
}

static void known_json(struct ft_json *j, const struct ft_known *k)
{
	char at[FT_TIME_TEXT];

	if (!k) {
		ft_json_null(j, "known");
		return;
	}
	ft_json_object(j, "known");
	ft_json_text(j, "because", k->because);
	ft_json_text(j, "by", k->by);
	ft_json_text(j, "at", ft_time_text(k->at_us, k->offset_minutes, at));
	ft_json_object_end(j);
}

static void exception_json(struct ft_json *j, const struct ft_exception *x, int decimals, int64_t now_us)
{
	ft_json_object(j, NULL);
	ft_json_text(j, "rule", ft_rule(x->rule)->id);
	ft_json_text(j, "weight", ft_weight_word(ft_rule(x->rule)->weight));
	ft_json_real(j, "rank", ft_exception_rank(x, decimals), 3);
	ft_json_text(j, "selection", x->selection);
	time_json(j, "since", x->since_us);
	time_json(j, "seen_at", x->seen_us);
	time_json(j, "ended", x->ended_us);
	ft_json_bool(j, "open", ft_exception_open(x, now_us));
	ft_json_count(j, "money", x->money);
	ft_json_text(j, "money_is", x->money == FT_ABSENT ? NULL : ft_stake_word(ft_stake_of(x->rule)));
	ft_json_real(j, "sure", x->sure, 4);
	ft_json_text(j, "seen", x->seen);
	ft_json_text(j, "expected", x->expected);
	ft_json_text(j, "before", x->before);
	ft_json_text(j, "after", x->after);
	ft_json_bool(j, "acknowledged", x->acknowledged);
	known_json(j, x->known);
	ft_json_object_end(j);
}

static void collections_json(struct ft_json *j, const struct ft_watch_result *r)
{
	ft_json_array(j, "collections");
	for (size_t i = 0; i < r->collection_count; i++) {
		const struct ft_collection *c = &r->collections[i];
		ft_json_object(j, NULL);
		time_json(j, "after", c->after_us);
		time_json(j, "at", c->at_us);
		ft_json_i64(j, "expected", c->expected);
		ft_json_count(j, "counted", c->counted);
		ft_json_i64(j, "unsure", c->unsure);
		ft_json_text(j, "by", *c->by ? c->by : NULL);
		ft_json_text(j, "bag", *c->bag ? c->bag : NULL);
		ft_json_text(j, "route", *c->route ? c->route : NULL);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void days_json(struct ft_json *j, const struct ft_watch_result *r)
{
	ft_json_array(j, "days");
	for (size_t i = 0; i < r->day_count; i++) {
		const struct ft_watch_day *d = &r->days[i];
		char text[FT_TIME_TEXT];
		ft_time_text((int64_t)d->day * FT_DAY, 0, text);
		text[10] = 0;
		ft_json_object(j, NULL);
		ft_json_text(j, "day", text);
		ft_json_bool(j, "expected", d->expected);
		ft_json_i64(j, "arrived", d->arrived);
		ft_json_i64(j, "part", d->part);
		ft_json_i64(j, "again", d->again);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

/* What was sold from read to read; nothing is said where a counter fell or was not sent. */
static void reads_json(struct ft_json *j, struct ft_watch_read *list, size_t count)
{
	static const struct {
		const char *key;
		enum ft_watch_number number;
	} sums[] = { { "sold", FT_WATCH_PAID_VALUE },
		         { "sold_count", FT_WATCH_PAID_COUNT },
		         { "cash", FT_WATCH_CASH_VALUE },
		         { "card", FT_WATCH_CARD_VALUE } };

	ft_json_array(j, "reads");
	for (size_t i = 0; i < count; i++) {
		ft_json_object(j, NULL);
		time_json(j, "at", list[i].at_us);
		ft_json_slice(j, "file", list[i].text[FT_WATCH_FILE]);
		for (size_t k = 0; k < sizeof sums / sizeof *sums; k++) {
			int64_t now = list[i].number[sums[k].number], was = i ? list[i - 1].number[sums[k].number] : FT_ABSENT;
			ft_json_count(j, sums[k].key, now == FT_ABSENT || was == FT_ABSENT || now < was ? FT_ABSENT : now - was);
		}
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

bool watch_reads_asked(struct watch_fleet *f, int64_t now_us)
{
	const char *asset = cli_value(f->c, "asset");

	for (size_t i = 0; asset && i < f->result_count; i++) {
		const struct ft_watch_result *r = &f->results[i];
		struct watch_machine *m;
		struct ft_watch_result again = { 0 };
		struct ft_watch_read *list = NULL;
		size_t n = 0, kept = 0;
		if (strcmp(asset, r->asset) != 0)
			continue;
		m = watch_machine_judged(f, r);
		if (!m || watch_machine_reads(f, m, &f->arena, &list, &n) != FT_OK)
			return false;
		for (size_t k = 0; k < n; k++)
			if (list[k].number[FT_WATCH_ARRIVED] >= r->first_us && list[k].number[FT_WATCH_ARRIVED] <= now_us)
				list[kept++] = list[k];
		/* judged once more to have them in their order */
		if (ft_watch_judge(r->key, list, kept, NULL, now_us, &f->arena, &again, &f->c->error) != FT_OK)
			return false;
		f->asked = r;
		f->reads = list;
		f->read_count = again.kept;
		return true;
	}
	return true;
}

static enum ft_verdict find_all(const struct ft_watch_result *r, int64_t now_us, struct ft_findings *f)
{
	for (size_t i = 0; i < r->exception_count; i++) {
		const struct ft_exception *x = &r->exceptions[i];
		if (ft_exception_open(x, now_us) && !x->acknowledged)
			ft_find(f, x->rule,
			        (struct ft_where){
						.file = x->after, .selection = x->selection, .timed = true, .at_us = x->seen_us },
			        x->seen, x->expected);
	}
	return ft_verdict_of(f, false);
}

static void handover_json(struct ft_json *j, const struct watch_fleet *f, const struct ft_watch_result *r)
{
	const struct watch_machine *m = watch_machine_judged(f, r);
	const struct watch_handover *h = m ? m->handover : NULL;

	if (!h) {
		ft_json_null(j, "handover");
		return;
	}
	ft_json_object(j, "handover");
	ft_json_text(j, "visit", h->visit);
	time_json(j, "at", h->base.at_us);
	ft_json_text(j, "unit", h->base.unit);
	ft_json_count(j, "reads_expected", r->period_us ? (int64_t)r->since_expected : FT_ABSENT);
	ft_json_i64(j, "reads_arrived", (int64_t)r->since_arrived);
	ft_json_object_end(j);
}

static void document(struct watch_fleet *f, const struct ft_watch_result *r, int64_t now_us, bool history,
                     struct ft_buf *out, bool *ret_bad)
{
	struct ft_arena a = { 0 };
	struct ft_findings list = { .arena = &a };
	enum ft_verdict v = find_all(r, now_us, &list);
	struct ft_json j;

	cli_document(f->c, &j, out, v, &list);
	ft_json_text(&j, "asset", r->asset);
	ft_json_text(&j, "serial", *r->serial ? r->serial : NULL);
	ft_json_text(&j, "model", *r->model ? r->model : NULL);
	ft_json_text(&j, "name", r->name);
	ft_json_text(&j, "currency", *r->currency ? r->currency : NULL);
	ft_json_i64(&j, "decimals", r->decimals);
	handover_json(&j, f, r);
	time_json(&j, "first_read", r->first_us);
	time_json(&j, "last_read", r->last_us);
	ft_json_count(&j, "reads_expected", r->period_us ? (int64_t)r->expected : FT_ABSENT);
	ft_json_i64(&j, "reads_arrived", (int64_t)r->kept - (int64_t)r->parts);
	ft_json_i64(&j, "reads_part", (int64_t)r->parts);
	ft_json_i64(&j, "reads_again", (int64_t)r->again);
	ft_json_i64(&j, "reads_late", (int64_t)r->late);
	ft_json_real(&j, "period_h", r->period_us ? (double)r->period_us / 3600e6 : NAN, 1);
	ft_json_i64(&j, "week_value", r->week_value);
	ft_json_count(&j, "cash_variance", r->cash_variance);
	ft_json_count(&j, "cash_spread", r->cash_variance == FT_ABSENT ? FT_ABSENT : (int64_t)(r->cash_spread + 0.5));
	collections_json(&j, r);
	ft_json_array(&j, "exceptions");
	for (size_t i = 0; i < r->exception_count; i++)
		if (history || ft_exception_open(&r->exceptions[i], now_us))
			exception_json(&j, &r->exceptions[i], r->decimals, now_us);
	ft_json_array_end(&j);
	if (f->asked == r) {
		days_json(&j, r);
		reads_json(&j, f->reads, f->read_count);
	}
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
	ft_arena_done(&a);
	*ret_bad |= v == FT_CONTRADICTED;
}

static void money_of(const struct watch_line *l, char out[FT_MONEY_TEXT])
{
	out[0] = 0;
	if (l->x->money != FT_ABSENT)
		ft_money_text(l->x->money, l->r->decimals, out);
}

static void heading(struct ft_buf *out)
{
	ft_buf_puts(out, "  machine       lost or at stake  what was seen; what was expected\n");
}

static void line(struct ft_buf *out, const struct watch_line *l, struct ft_arena *a, int columns)
{
	char money[FT_MONEY_TEXT];
	struct ft_buf text = { 0 };

	money_of(l, money);
	ft_buf_printf(out, "%s %-12.24s %10s %-6s  ", ft_weight_mark(ft_rule(l->x->rule)->weight), l->r->asset, money,
	              *money ? ft_stake_word(ft_stake_of(l->x->rule)) : "");
	ft_buf_printf(&text, "%s", l->x->seen ? l->x->seen : ft_rule(l->x->rule)->sentence);
	if (l->x->expected)
		ft_buf_printf(&text, "; expected %s", l->x->expected);
	if (l->x->acknowledged)
		ft_buf_printf(&text, "; known: %s", watch_known_text(l->x, a));
	ft_buf_byte(&text, 0);
	if (text.status == FT_OK)
		ft_wrap(out, text.p, columns, 34);
	ft_buf_byte(out, '\n');
	ft_buf_done(&text);
}

static void variances(struct ft_buf *out, const char *what, const struct ft_variance *v, size_t n, int decimals)
{
	if (n)
		ft_buf_printf(out, "\n%-12s counts  expected   counted  variance\n", what);
	for (size_t i = 0; i < n; i++) {
		char a[FT_MONEY_TEXT], b[FT_MONEY_TEXT], d[FT_MONEY_TEXT], usual[FT_VARIANCE_TEXT];
		ft_buf_printf(out, "%-12.12s %6zu %9s %9s %9s  %s\n", v[i].name, v[i].collections,
		              ft_money_text(v[i].expected, decimals, a), ft_money_text(v[i].counted, decimals, b),
		              ft_money_text(v[i].counted - v[i].expected, decimals, d),
		              ft_variance_words(v[i].counted - v[i].expected, v[i].spread, v[i].signal_us != FT_ABSENT, usual));
	}
}

/* What stands beside the exceptions of one machine: its handover, and its cash over all. */
static void about(const struct ft_watch_result *r, struct ft_buf *out)
{
	struct ft_civil c = ft_civil_of(r->handed_us, 0);
	char off[FT_MONEY_TEXT], usual[FT_VARIANCE_TEXT];

	if (r->handover)
		ft_buf_printf(out, "%s was handed over on %04d-%02d-%02d (%s): %zu of %zu days since then brought an audit.\n",
		              r->asset, c.year, c.month, c.day, r->handover, r->since_arrived, r->since_expected);
	else
		ft_buf_printf(out, "%s is tied to no handover: the book holds none of it.\n", r->asset);
	if (r->cash_variance != FT_ABSENT)
		ft_buf_printf(out, "Counted less expected over all its collections: %s, %s.\n",
		              ft_money_text(r->cash_variance, r->decimals, off),
		              ft_variance_words(r->cash_variance, r->cash_spread, false, usual));
}

/* Machines that were handed over and of which nothing has come at all: they are in no list of machines. */
static void silent(const struct watch_fleet *f, int64_t now_us, struct ft_buf *out)
{
	struct ft_buf text = { 0 };
	size_t n = 0;

	for (size_t i = 0; i < f->silent_count; i++) {
		const struct watch_handover *h = f->silent[i];
		struct ft_civil c = ft_civil_of(h->base.at_us, 0);
		if (!watch_handover_missed(f, h, now_us))
			continue;
		if (n++ < SILENT_SHOWN)
			ft_buf_printf(&text, "%s%s of %04d-%02d-%02d (%s)",
			              n > 1 ? ", " : "Handed over, and no audit came since: ", h->base.asset, c.year, c.month,
			              c.day, h->base.name);
	}
	if (n > SILENT_SHOWN)
		ft_buf_printf(&text, " and %zu more", n - SILENT_SHOWN);
	ft_buf_puts(&text, ".");
	ft_buf_byte(&text, 0);
	if (n && text.status == FT_OK) {
		ft_wrap(out, text.p, f->c->columns, 0);
		ft_buf_byte(out, '\n');
	}
	ft_buf_done(&text);
}

/* The machine that was asked for, or how many are tied to a handover. */
static void tied(const struct watch_fleet *f, int64_t now_us, struct ft_buf *out)
{
	const char *asset = cli_value(f->c, "asset");
	size_t n = 0;

	for (size_t i = 0; i < f->result_count; i++) {
		n += f->results[i].handover != NULL;
		if (asset && strcmp(asset, f->results[i].asset) == 0)
			about(&f->results[i], out);
	}
	if (!asset)
		silent(f, now_us, out);
	if (!asset && n)
		ft_buf_printf(out, "%zu of them %s tied to a handover in the book and held against it.\n", n,
		              n == 1 ? "is" : "are");
}

static void put_wrapped(struct ft_buf *out, struct ft_buf *text, int columns)
{
	ft_buf_byte(text, 0);
	if (text->status == FT_OK)
		ft_wrap(out, text->p, columns, 0);
	ft_buf_byte(out, '\n');
	ft_buf_done(text);
}

static void without_audit(struct ft_buf *out, const struct watch_tally *t, int columns)
{
	const unsigned long long n = t->unreadable + t->without_audit;
	unsigned long long named = 0;
	struct ft_buf text = { 0 };

	if (!n)
		return;
	ft_buf_printf(&text, "%llu %s no audit or cannot be read: ", n, n == 1 ? "file holds" : "files hold");
	for (; named < WATCH_NAMED && named < n && *t->names[named]; named++)
		ft_buf_printf(&text, "%s%s", named ? ", " : "", t->names[named]);
	if (named < n)
		ft_buf_printf(&text, " and %llu more", n - named);
	ft_buf_byte(&text, '.');
	put_wrapped(out, &text, columns);
}

/* Of each table beside the audits what names no machine: else a wrong column of names is passed over in silence. */
static void strangers(const struct watch_fleet *f, struct ft_buf *out)
{
	for (int i = 0; i < WATCH_TABLES; i++) {
		const struct ft_strangers *s = &f->tables[i].strangers;
		struct ft_buf text = { 0 };
		if (!f->tables[i].path || !s->strange)
			continue;
		if (s->strange == s->rows)
			ft_buf_printf(&text, "%s: none of its %zu rows names a machine of this fleet; the first names %s.",
			              f->tables[i].path, s->rows, s->first);
		else
			ft_buf_printf(&text, "%s: %zu of its %zu rows name no machine of this fleet; the first names %s.",
			              f->tables[i].path, s->strange, s->rows, s->first);
		put_wrapped(out, &text, f->c->columns);
	}
}

/* What the list leaves out, and where it stands. */
static void not_listed(const struct watch_fleet *f, int64_t now_us, struct ft_buf *out)
{
	const char *asset = cli_value(f->c, "asset");
	size_t ended = 0, notes = 0;
	struct ft_buf text = { 0 };

	for (size_t i = 0; i < f->result_count; i++)
		for (size_t k = 0; k < f->results[i].exception_count; k++) {
			const struct ft_exception *x = &f->results[i].exceptions[k];
			if (asset && strcmp(asset, f->results[i].asset) != 0)
				continue;
			if (!ft_exception_open(x, now_us))
				ended++;
			else
				notes += ft_rule(x->rule)->weight == FT_NOTE;
		}
	if (!ended && !notes)
		return;
	ft_buf_puts(&text, "Not listed: ");
	if (ended)
		ft_buf_printf(&text, "%zu that ended or grew old%s", ended, notes ? ", " : "");
	if (notes)
		ft_buf_printf(&text, "%zu that %s", notes, notes == 1 ? "is only a note" : "are only notes");
	ft_buf_puts(&text, "; --json --history tells all.");
	put_wrapped(out, &text, f->c->columns);
}

static void people(struct watch_fleet *f, int64_t now_us, const struct watch_tally *t, struct ft_buf *out)
{
	const char *asset = cli_value(f->c, "asset");
	unsigned long long audits = t->read - t->unreadable - t->without_audit;
	size_t n, quiet, shown;
	const struct watch_line *list = watch_lines(f, now_us, false, &n), *known;
	struct ft_civil c = ft_civil_of(now_us, 0);
	int decimals = f->result_count ? f->results[0].decimals : 2;
	struct ft_buf sum = { 0 };

	known = watch_lines(f, now_us, true, &quiet);
	shown = n > LINES_SHOWN && !cli_flag(f->c, "all") ? LINES_SHOWN : n;
	if (n)
		heading(out);
	for (size_t i = 0; i < shown; i++)
		line(out, &list[i], &f->c->arena, f->c->columns);
	if (n > shown)
		ft_buf_printf(out, "and %zu more; --all lists them.\n", n - shown);
	if (quiet && (asset || cli_flag(f->c, "all"))) {
		ft_buf_printf(out, "%sKnown, and quiet until it changes:\n", n ? "\n" : "");
		for (size_t i = 0; i < quiet; i++)
			line(out, &known[i], &f->c->arena, f->c->columns);
	}
	if (f->counted && !asset) { /* people and routes are of the whole fleet */
		variances(out, "person", f->cash.persons, f->cash.person_count, decimals);
		variances(out, "route", f->cash.routes, f->cash.route_count, decimals);
	}
	if (asset)
		ft_buf_printf(&sum, "%s alone", asset);
	else
		ft_buf_printf(&sum, "%zu machine%s", f->result_count, f->result_count == 1 ? "" : "s");
	ft_buf_printf(&sum, " up to %04d-%02d-%02d %02d:%02d, %llu new audit%s: %zu exception%s, %zu acknowledged.", c.year,
	              c.month, c.day, c.hour, c.minute, audits, audits == 1 ? "" : "s", n, n == 1 ? "" : "s", quiet);
	ft_buf_byte(&sum, 0);
	ft_buf_puts(out, out->n ? "\n" : "");
	if (sum.status == FT_OK)
		ft_wrap(out, sum.p, f->c->columns, 0);
	ft_buf_byte(out, '\n');
	ft_buf_done(&sum);
	tied(f, now_us, out);
	without_audit(out, t, f->c->columns);
	strangers(f, out);
	not_listed(f, now_us, out);
}

int watch_show(struct watch_fleet *f, int64_t now_us, bool history, const struct watch_tally *t)
{
	const char *asset = cli_value(f->c, "asset");
	struct ft_buf out = { 0 }, aside = { 0 };
	bool bad = false, found = false;

	for (size_t i = 0; i < f->result_count; i++) {
		if (asset && strcmp(asset, f->results[i].asset) != 0)
			continue;
		found = true;
		if (f->c->json) {
			document(f, &f->results[i], now_us, history, &out, &bad);
			if (out.n > (1U << 16) && !cli_flush(f->c, &out))
				return cli_failed(f->c);
		} else {
			struct ft_arena a = { 0 };
			struct ft_findings list = { .arena = &a };
			bad |= find_all(&f->results[i], now_us, &list) == FT_CONTRADICTED;
			ft_arena_done(&a);
		}
	}
	if (asset && !found) {
		ft_fail(&f->c->error, FT_E_USAGE, "None of these audits is of a machine %s.", asset);
		return cli_failed(f->c);
	}
	if (f->c->json)
		strangers(f, &aside);
	else
		people(f, now_us, t, &out);
	fwrite(aside.n ? aside.p : "", 1, aside.n, stderr); /* the documents are of machines, and these rows of none */
	ft_buf_done(&aside);
	if (!cli_flush(f->c, &out))
		return cli_failed(f->c);
	ft_buf_done(&out);
	return bad;
}
