/* SPDX-License-Identifier: Apache-2.0 */
/* One audit in plain words, and how far the office can rely on this machine for each use. */
#include "fettle/audit.h"
#include "verbs.h"

struct explained {
	struct cli *c;
	const char *path;
	struct ft_audit audit;
	struct ft_facts *facts;
	struct ft_findings findings;
	struct ft_audit_check check;
	struct ft_summary s;
};

/* ---- for programs ---- */

static void put_machine(struct ft_json *j, const struct ft_summary *s)
{
	ft_json_object(j, "machine");
	ft_json_slice(j, "serial", s->serial);
	ft_json_slice(j, "model", s->model);
	ft_json_slice(j, "revision", s->revision);
	ft_json_slice(j, "asset", s->asset);
	ft_json_slice(j, "location", s->location);
	ft_json_object_end(j);
	ft_json_object(j, "currency");
	if (s->currency)
		ft_json_text(j, "code", s->currency->alpha);
	else
		ft_json_slice(j, "code", s->currency_sent);
	ft_json_count(j, "numeric", s->currency ? s->currency->numeric : s->currency_numeric);
	ft_decimals_json(j, s->decimals_known, s->decimals);
	ft_json_bool(j, "decimals_known", s->decimals_known);
	ft_json_object_end(j);
	ft_json_text(j, "clock", s->clock[0] ? s->clock : NULL);
}

static void put_totals(struct ft_json *j, const struct ft_summary *s)
{
	ft_json_object(j, "totals");
	ft_totals_json(j, s);
	ft_json_object_end(j);
	ft_json_object(j, "cash");
	ft_cash_json(j, s, "in");
	ft_json_object_end(j);
}

static void put_selections(struct ft_json *j, const struct ft_summary *s)
{
	ft_json_array(j, "selections");
	for (size_t i = 0; i < s->selection_count; i++) {
		const struct ft_selection *x = &s->selections[i];
		ft_json_object(j, NULL);
		ft_json_slice(j, "id", x->id);
		ft_json_count(j, "price", x->price);
		ft_json_slice(j, "name", x->name);
		ft_json_count(j, "status", x->status);
		ft_total_json(j, "paid", &x->paid);
		ft_total_json(j, "test", &x->test);
		ft_total_json(j, "free", &x->free);
		ft_json_array(j, "lists");
		for (size_t k = 0; k < x->list_count; k++) {
			const struct ft_list_row *l = &x->lists[k];
			ft_json_object(j, NULL);
			ft_json_slice(j, "device", l->device);
			ft_json_slice(j, "list", l->list);
			ft_json_count(j, "price", l->price);
			ft_json_count(j, "count", l->count);
			ft_json_count(j, "value", l->value);
			ft_json_count(j, "count_since_reset", l->count_since_reset);
			ft_json_count(j, "value_since_reset", l->value_since_reset);
			ft_json_object_end(j);
		}
		ft_json_array_end(j);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void put_events(struct ft_json *j, const struct ft_summary *s)
{
	ft_json_array(j, "events");
	for (size_t i = 0; i < s->event_count; i++) {
		const struct ft_event_row *x = &s->events[i];
		ft_json_object(j, NULL);
		ft_json_slice(j, "code", x->code);
		ft_json_text(j, "meaning", x->meaning);
		ft_json_slice(j, "date", x->date.n ? x->date : (struct ft_slice){ NULL, 0 });
		ft_json_slice(j, "time", x->time.n ? x->time : (struct ft_slice){ NULL, 0 });
		ft_json_slice(j, "duration_min", x->duration.n ? x->duration : (struct ft_slice){ NULL, 0 });
		ft_json_count(j, "count", x->count);
		ft_json_count(j, "count_since_reset", x->count_since_reset);
		if (x->counted)
			ft_json_bool(j, "active", x->active == 1);
		else
			ft_json_null(j, "active");
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_count(j, "reads", s->reads);
	ft_json_count(j, "resets", s->resets);
	ft_json_count(j, "power_outages", s->power_outages);
}

static void put_rest(struct explained *x, struct ft_json *j)
{
	struct ft_identity all[FT_IDENTITIES_MAX];
	size_t n = ft_audit_identities(x->facts, all);

	ft_reliances_json(j, &x->s.reliance);
	ft_json_object(j, "reliance_because");
	for (int i = 0; i < FT_USES; i++)
		ft_json_text(j, ft_use_word(i), x->s.reliance.because[i]);
	ft_json_object_end(j);
	ft_json_array(j, "identities");
	for (size_t i = 0; i < n; i++) {
		if (all[i].stands == FT_CANNOT_TELL)
			continue;
		ft_json_object(j, NULL);
		ft_json_text(j, "id", all[i].id);
		ft_json_text(j, "sentence", all[i].sentence);
		ft_json_bool(j, "holds", all[i].stands == FT_HOLDS);
		ft_json_count(j, "left", all[i].left);
		ft_json_count(j, "right", all[i].right);
		ft_json_text(j, "trust", all[i].trust);
		ft_json_text(j, "breakers", all[i].breakers);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static int print_json(struct explained *x, enum ft_verdict verdict)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	cli_document(x->c, &j, &out, verdict, &x->findings);
	ft_json_text(&j, "file", x->path);
	put_machine(&j, &x->s);
	put_totals(&j, &x->s);
	put_selections(&j, &x->s);
	put_events(&j, &x->s);
	put_rest(x, &j);
	return cli_document_end(x->c, &j);
}

/* ---- for people ---- */

static const char *amount(const struct explained *x, int64_t v, char text[FT_MONEY_TEXT])
{
	return v == FT_ABSENT ? "-" : ft_money_text(v, x->s.decimals, text);
}

static const char *plain(int64_t v, char text[FT_MONEY_TEXT])
{
	return v == FT_ABSENT ? "-" : ft_money_text(v, 0, text);
}

static void heading(const struct explained *x, struct ft_buf *b, const char *words)
{
	ft_buf_printf(b, "\n%s%s%s\n", x->c->colour ? "\033[1m" : "", words, x->c->colour ? "\033[0m" : "");
}

static void print_identity(const struct explained *x, struct ft_buf *b)
{
	const struct ft_summary *s = &x->s;
	struct ft_buf line = { 0 };

	ft_buf_printf(b, "%s%.*s%s", x->c->colour ? "\033[1m" : "", s->asset.n ? (int)s->asset.n : 12,
	              s->asset.n ? s->asset.p : "This machine", x->c->colour ? "\033[0m" : "");
	if (s->model.n)
		ft_buf_printf(b, "  %.*s", FT_P(s->model));
	if (s->serial.n)
		ft_buf_printf(b, ", serial %.*s", FT_P(s->serial));
	if (s->revision.n)
		ft_buf_printf(b, ", revision %.*s", FT_P(s->revision));
	ft_buf_byte(b, '\n');
	if (s->location.n)
		ft_buf_printf(b, "at %.*s\n", FT_P(s->location));
	ft_buf_printf(&line, "Its clock says %s. Money is in ", s->clock[0] ? s->clock : "nothing: it was never set");
	if (s->currency)
		ft_buf_puts(&line, s->currency->alpha);
	else if (s->currency_sent.n)
		ft_buf_slice(&line, s->currency_sent);
	else
		ft_buf_puts(&line, "an unnamed currency");
	ft_buf_printf(&line, " with %d decimals%s.", s->decimals,
	              s->decimals_known ? "" : ", which is a guess: the audit does not say");
	ft_buf_byte(&line, 0);
	if (line.status == FT_OK)
		ft_wrap(b, line.p, x->c->columns, 0);
	ft_buf_byte(b, '\n');
	ft_buf_done(&line);
}

static void total_line(const struct explained *x, struct ft_buf *b, const char *name, const struct ft_total *t)
{
	char v[4][FT_MONEY_TEXT];

	if (t->value == FT_ABSENT && t->count == FT_ABSENT)
		return;
	ft_buf_printf(b, "  %-16s %12s %8s %14s %8s\n", name, amount(x, t->value, v[0]), plain(t->count, v[1]),
	              amount(x, t->value_since_reset, v[2]), plain(t->count_since_reset, v[3]));
}

static void print_totals(const struct explained *x, struct ft_buf *b)
{
	const struct ft_summary *s = &x->s;

	heading(x, b, "Sales                   since the start             since the reset");
	ft_buf_printf(b, "  %-16s %12s %8s %14s %8s\n", "", "value", "number", "value", "number");
	total_line(x, b, "all paid", &s->paid);
	total_line(x, b, "  cash", &s->cash);
	total_line(x, b, "  cashless 1", &s->cashless_1);
	total_line(x, b, "  cashless 2", &s->cashless_2);
	total_line(x, b, "  tokens", &s->tokens);
	total_line(x, b, "test vends", &s->test);
	total_line(x, b, "free vends", &s->free);
}

static void print_cash(const struct explained *x, struct ft_buf *b)
{
	const struct ft_summary *s = &x->s;
	const struct {
		const char *name;
		struct ft_pair p;
	} lines[] = {
		{ "taken in", s->cash_in },      { "  to the box", s->to_box },     { "  to the tubes", s->to_tubes },
		{ "  bills", s->bills_in },      { "paid out", s->dispensed },      { "  of it by hand", s->dispensed_by_hand },
		{ "filled by hand", s->filled }, { "overpaid, kept", s->overpaid },
	};
	char v[2][FT_MONEY_TEXT];
	bool any = false;

	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		if (lines[i].p.init == FT_ABSENT && lines[i].p.reset == FT_ABSENT)
			continue;
		if (!any)
			heading(x, b, "Cash                    since the start             since the reset");
		any = true;
		ft_buf_printf(b, "  %-16s %12s %23s\n", lines[i].name, amount(x, lines[i].p.init, v[0]),
		              amount(x, lines[i].p.reset, v[1]));
	}
	if (s->tubes_now != FT_ABSENT)
		ft_buf_printf(b, "  %-16s %12s\n", "in the tubes now", amount(x, s->tubes_now, v[0]));
}

static void print_selections(const struct explained *x, struct ft_buf *b)
{
	char v[3][FT_MONEY_TEXT];
	char title[64];

	if (!x->s.selection_count)
		return;
	snprintf(title, sizeof title, "%zu selections", x->s.selection_count);
	heading(x, b, title);
	ft_buf_printf(b, "  %-8s %-24s %9s %8s %12s\n", "", "", "price", "sold", "for");
	for (size_t i = 0; i < x->s.selection_count; i++) {
		const struct ft_selection *s = &x->s.selections[i];
		ft_buf_printf(b, "  %-8.*s %-24.*s %9s %8s %12s%s\n", FT_P(s->id), s->name.n > 24 ? 24 : (int)s->name.n,
		              s->name.n ? s->name.p : "", amount(x, s->price, v[0]), plain(s->paid.count, v[1]),
		              amount(x, s->paid.value, v[2]), s->status == 1 ? "  not there now" : "");
		for (size_t k = 0; k < s->list_count; k++) {
			const struct ft_list_row *l = &s->lists[k];
			ft_buf_printf(b, "  %-8s   %.*s%slist %-*.*s %9s %8s %12s\n", "", FT_P(l->device), l->device.n ? " " : "",
			              (int)(17 - (l->device.n ? l->device.n + 1 : 0)), FT_P(l->list), amount(x, l->price, v[0]),
			              plain(l->count, v[1]), amount(x, l->value, v[2]));
		}
	}
}

/* 250310 0815 or 20250310 081530 as a person writes it; as sent when it is neither. */
static void put_when(struct ft_buf *b, struct ft_slice date, struct ft_slice time)
{
	if (date.n == 8)
		date.p += 2, date.n = 6;
	if (date.n == 6)
		ft_buf_printf(b, "20%.2s-%.2s-%.2s", date.p, date.p + 2, date.p + 4);
	else
		ft_buf_printf(b, "%-10.*s", FT_P(date));
	if (time.n >= 4)
		ft_buf_printf(b, " %.2s:%.2s", time.p, time.p + 2);
	else
		ft_buf_printf(b, "      ");
}

static const char *counts_text(const struct ft_event_row *e, char out[2 * FT_MONEY_TEXT + 16])
{
	char v[2][FT_MONEY_TEXT];

	snprintf(out, 2 * FT_MONEY_TEXT + 16, "%s time%s, %s new", plain(e->count, v[0]), e->count == 1 ? "" : "s",
	         plain(e->count_since_reset, v[1]));
	return out;
}

static void print_events(const struct explained *x, struct ft_buf *b)
{
	char v[2][FT_MONEY_TEXT], number[FT_MONEY_TEXT];
	char times[2 * FT_MONEY_TEXT + 16];

	if (x->s.event_count)
		heading(x, b, "Events");
	for (size_t i = 0; i < x->s.event_count; i++) {
		const struct ft_event_row *e = &x->s.events[i];
		const char *meaning = e->meaning ? e->meaning : "not in the standard's list";
		ft_buf_puts(b, "  ");
		if (e->counted)
			ft_buf_printf(b, "%-16s", counts_text(e, times));
		else
			put_when(b, e->date, e->time);
		ft_buf_printf(b, "  %-8.*s ", FT_P(e->code));
		ft_wrap(b, meaning, x->c->columns, 29);
		ft_buf_printf(b, "%s\n", e->counted && e->active == 1 ? ", and now" : "");
	}
	heading(x, b, "Reads");
	if (x->s.reads == FT_ABSENT && x->s.power_outages == FT_ABSENT)
		ft_buf_puts(b, "  The machine counts neither reads nor power outages.\n");
	if (x->s.reads != FT_ABSENT)
		ft_buf_printf(b, "  read %s times, reset %s times\n", plain(x->s.reads, v[0]), plain(x->s.resets, v[1]));
	if (x->s.power_outages != FT_ABSENT)
		ft_buf_printf(b, "  %s power outage%s\n", plain(x->s.power_outages, number),
		              x->s.power_outages == 1 ? "" : "s");
}

static void print_reliance(const struct explained *x, struct ft_buf *b)
{
	static const char *const words[FT_USES] = { "all sales",  "sales by selection", "cash taken in", "cash paid out",
		                                        "card sales", "price lists",        "events",        "the clock" };
	static const char *const marks[3] = { "\xe2\x97\x8b", "\xe2\x97\x90", "\xe2\x96\xa0" }; /* hollow, half, filled */

	heading(x, b, "How far the office can rely on it");
	for (int i = 0; i < FT_USES; i++) {
		enum ft_reliance r = ft_reliance_for(&x->s.reliance, i);
		ft_buf_printf(b, "  %s %-5s %-19s ", marks[r],
		              r == FT_RELY_FULL       ? "fully"
		                  : r == FT_RELY_PART ? "part"
		                                      : "no",
		              words[i]);
		ft_wrap(b, x->s.reliance.because[i], x->c->columns, 30);
		ft_buf_byte(b, '\n');
	}
}

/* What a machine sends may hold bytes that would steer a terminal: they are shown as a dot. */
static void make_plain(struct ft_arena *a, struct ft_slice *s)
{
	char *copy = NULL;

	for (size_t i = 0; i < s->n; i++) {
		unsigned char byte = (unsigned char)s->p[i];
		bool inside = i && (unsigned char)s->p[i - 1] >= 0x80; /* a later byte of UTF-8 */
		if (byte >= 0x20 && byte != 0x7f && (byte < 0x80 || byte > 0x9f || inside))
			continue;
		if (!copy && (copy = ft_arena_text(a, *s)) == NULL) {
			s->n = i;
			return;
		}
		copy[i] = '.';
	}
	if (copy)
		s->p = copy;
}

static void make_all_plain(struct explained *x)
{
	struct ft_summary *s = &x->s;
	struct ft_slice *texts[] = { &s->serial, &s->model, &s->revision,      &s->location,
		                         &s->asset,  &s->level, &s->currency_sent, NULL };
	struct ft_arena *a = &x->c->arena;

	for (int i = 0; texts[i]; i++)
		make_plain(a, texts[i]);
	for (size_t i = 0; i < s->selection_count; i++) {
		make_plain(a, &s->selections[i].id);
		make_plain(a, &s->selections[i].name);
		for (size_t k = 0; k < s->selections[i].list_count; k++) {
			make_plain(a, &s->selections[i].lists[k].device);
			make_plain(a, &s->selections[i].lists[k].list);
		}
	}
	for (size_t i = 0; i < s->event_count; i++) {
		make_plain(a, &s->events[i].code);
		make_plain(a, &s->events[i].date);
		make_plain(a, &s->events[i].time);
	}
}

static int print_people(struct explained *x, enum ft_verdict verdict)
{
	struct ft_buf b = { 0 };

	make_all_plain(x);
	print_identity(x, &b);
	print_totals(x, &b);
	print_cash(x, &b);
	print_selections(x, &b);
	print_events(x, &b);
	print_reliance(x, &b);
	heading(x, &b, x->findings.count ? "What the bench found" : "The bench found nothing amiss");
	if (!cli_flush(x->c, &b))
		return cli_failed(x->c);
	ft_buf_done(&b);
	cli_print_findings(x->c, &x->findings);
	printf("\nThe audit %s\n",
	       verdict == FT_CONTRADICTED ? "contradicts itself."
	           : verdict == FT_OPEN   ? "leaves doubts open."
	                                  : "agrees with itself and with the standard.");
	return FT_OK;
}

static enum ft_status look(struct explained *x, int64_t which)
{
	struct cli *c = x->c;
	struct ft_slice bytes;
	enum ft_status s = cli_read_file(c, x->path, "an audit", FT_AUDIT_BYTES_MAX, &bytes);

	if (s != FT_OK)
		return s;
	if ((s = ft_audit_read(bytes, &c->arena, &x->audit, &c->error)) != FT_OK)
		return s;
	if (x->audit.set_count == 0)
		return ft_fail(&c->error, FT_E_INPUT, "%s %s; choose the file that was read from the machine.", x->path,
		               bytes.n ? "holds no audit: no line in it is one of the standard's segments" : "is empty");
	if (which > (int64_t)x->audit.set_count)
		return ft_fail(&c->error, FT_E_USAGE, "%s holds %zu audits, so there is no number %lld.", x->path,
		               x->audit.set_count, (long long)which);
	x->facts = FT_NEW(&c->arena, struct ft_facts);
	if (!x->facts)
		return ft_fail_memory(&c->error, "the audit");
	if ((s = ft_audit_facts(&x->audit, &x->audit.sets[which - 1], &c->arena, x->facts, &c->error)) != FT_OK)
		return s;
	ft_audit_judge(x->facts, x->path, ft_crc16, &x->findings, &x->check);
	return ft_audit_summary(x->facts, &c->arena, &x->s, &c->error);
}

static int run(struct cli *c)
{
	struct explained x = { .c = c, .path = c->arguments[0], .findings = { .arena = &c->arena } };
	enum ft_verdict verdict;
	int64_t which;
	int code;

	if (!cli_number(c, "set", 1, FT_AUDIT_SEGMENTS_MAX, 1, &which) || look(&x, which) != FT_OK)
		return cli_failed(c);
	verdict = ft_verdict_of(&x.findings, false);
	code = c->json ? print_json(&x, verdict) : print_people(&x, verdict);
	return code != FT_OK ? code : cli_exit(verdict);
}

static const struct cli_option options[] = {
	{ "set", "N", "explain the Nth audit of a file that holds several (1 if not given)" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_explain = {
	.name = "explain",
	.arguments = "FILE",
	.summary = "an audit in plain words",
	.about = "Says what an audit file holds: the machine, its sales by means of payment, its cash, its selections and "
			 "price lists, its events; and how far the office can rely on this machine for each use, judged by "
			 "whether its own counters agree with each other.",
	.options = options,
	.examples = "$ fettle explain before.dts\n$ fettle explain before.dts --json",
	.least = 1,
	.most = 1,
	.run = run,
};
