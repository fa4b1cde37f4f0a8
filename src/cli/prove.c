/* SPDX-License-Identifier: Apache-2.0 */
#include "bus.h"
#include "reads.h"
#include "verbs.h"

static void json_agrees(struct ft_json *j, const char *key, int agrees)
{
	if (agrees < 0)
		ft_json_null(j, key);
	else
		ft_json_bool(j, key, agrees);
}

static void json_counters(struct ft_json *j, const struct ft_proof *p)
{
	ft_json_array(j, "counters");
	for (size_t i = 0; i < p->counter_count; i++) {
		const struct ft_counter *x = &p->counters[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "element", x->element);
		ft_json_slice(j, "selection", x->selection);
		ft_json_i64(j, "expected", x->expected);
		ft_json_i64(j, "observed", x->observed);
		ft_json_bool(j, "at_least", x->at_least);
		ft_json_text(j, "title", x->title);
		ft_json_slice(j, "device", x->device);
		ft_json_slice(j, "list", x->list);
		ft_json_bool(j, "money", x->money);
		ft_json_bool(j, "since_reset", x->since_reset);
		ft_json_count(j, "before", x->before);
		ft_json_count(j, "after", x->after);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void json_edit(struct ft_json *j, const struct ft_story_edit *e)
{
	ft_json_array(j, "selections");
	for (int k = 0; k < 2; k++)
		if (e->selections[k].p)
			ft_json_slice(j, NULL, e->selections[k]);
	ft_json_array_end(j);
	ft_json_text(j, "detail", e->detail);
}

static void json_stories(struct ft_json *j, const struct ft_proof *p)
{
	ft_json_array(j, "stories");
	for (size_t i = 0; i < p->story_count; i++) {
		const struct ft_story *s = &p->stories[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "kind", ft_story_kind_word(s->edits[0].kind));
		ft_json_array(j, "selections");
		for (int k = 0; k < 2 * s->edit_count; k++) {
			struct ft_slice x = s->edits[k / 2].selections[k % 2];
			bool again = !x.p;
			for (int m = 0; m < k && !again; m++)
				again = s->edits[m / 2].selections[m % 2].p && ft_slice_eq(x, s->edits[m / 2].selections[m % 2]);
			if (!again)
				ft_json_slice(j, NULL, x);
		}
		ft_json_array_end(j);
		ft_json_text(j, "detail", s->detail);
		ft_json_i64(j, "edits", s->edit_count);
		ft_json_array(j, "parts");
		for (int k = 0; k < s->edit_count; k++) {
			ft_json_object(j, NULL);
			ft_json_text(j, "kind", ft_story_kind_word(s->edits[k].kind));
			json_edit(j, &s->edits[k]);
			ft_json_object_end(j);
		}
		ft_json_array_end(j);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_i64(j, "stories_more", (int64_t)p->stories_more);
}

static int print_json(struct cli *c, const struct ft_proof *p, const struct ft_findings *f,
                      const struct ft_facts *after)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	int code;

	cli_document(c, &j, &out, p->verdict, f);
	json_agrees(&j, "agree", p->agree);
	ft_decimals_json(&j, after->decimals_known, after->decimals);
	ft_json_array(&j, "witnesses");
	for (size_t i = 0; i < p->witness_count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", p->witnesses[i].name);
		ft_json_text(&j, "says", p->witnesses[i].says);
		json_agrees(&j, "agrees", p->witnesses[i].agrees);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_i64(&j, "differ", (int64_t)p->differ);
	ft_json_text(&j, "alone", p->alone);
	json_counters(&j, p);
	json_stories(&j, p);
	ft_json_array(&j, "sold");
	for (size_t i = 0; i < p->sold_count; i++) {
		const struct ft_sold *s = &p->sold[i];
		ft_json_object(&j, NULL);
		ft_json_slice(&j, "selection", s->selection);
		ft_json_slice(&j, "device", s->device);
		ft_json_slice(&j, "list", s->list);
		ft_json_count(&j, "count", s->count);
		ft_json_count(&j, "value", s->value);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	code = cli_document_end(c, &j);
	return code ? code : cli_exit(p->verdict);
}

static const char *headline(const struct ft_proof *p, bool sales)
{
	if (!p->counter_count && p->verdict == FT_CONTRADICTED)
		return "the two audits cannot be set against each other.";
	if (p->alone && strcmp(p->alone, "audit") != 0)
		return p->wrong_count ? "the machine counted what the bus saw; the list says otherwise."
							  : "the machine counted what the list says; the bus saw otherwise.";
	if (p->alone)
		return "list and bus agree, and the machine did not count it so.";
	if (p->differ)
		return "list and bus tell the sales differently.";
	if (p->verdict == FT_CONTRADICTED)
		return p->wrong_count
			? sales ? "the machine did not count what was sold." : "the machine's counters contradict each other."
			: "the cash counted is not what the audit demands.";
	if (p->verdict == FT_OPEN)
		return p->idle   ? "nothing was sold between the two reads, so nothing is proved."
			: p->unshown ? "something that was sold is shown by no counter."
						 : "not everything agrees.";
	return sales ? "every counter did exactly what the sales demand." : "the counters agree among themselves.";
}

static void print_wrapped(struct ft_buf *out, const char *mark, const char *text, const char *stop)
{
	struct ft_buf line = { 0 };

	ft_buf_printf(&line, "%s%s", text, stop);
	ft_buf_byte(&line, 0);
	ft_buf_printf(out, "  %-14s ", mark);
	if (line.status == FT_OK)
		ft_wrap(out, line.p, 80, 17);
	ft_buf_byte(out, '\n');
	ft_buf_done(&line);
}

static void print_stories(struct ft_buf *out, const struct ft_proof *p)
{
	size_t most = 5; /* ours: more possibilities than that are no help at the machine */

	if (!p->story_count) {
		bool faults = false;
		for (size_t i = 0; i < p->counter_count; i++)
			faults |= !ft_counter_right(&p->counters[i]) && p->counters[i].weight == FT_FAULT;
		if (p->wrong_count && !faults)
			print_wrapped(
				out, "perhaps",
				"money was put in and given back, or coins were filled in: what differs can be moved by other "
				"things than sales",
				".");
		else if (p->wrong_count)
			print_wrapped(out, "why", "no simple story explains every difference exactly; look at the counters below",
			              ".");
		return;
	}
	for (size_t i = 0; i < p->story_count && i < most; i++)
		print_wrapped(out,
		              i == 0       ? p->story_count == 1 ? "because" : "most likely"
		                  : i == 1 ? "or as well"
		                           : "",
		              p->stories[i].detail, ".");
	if (p->story_count > most || p->stories_more)
		ft_buf_printf(out, "%17sand %zu more that explain it as exactly; sell again to tell.\n", "",
		              p->story_count - (p->story_count < most ? p->story_count : most) + p->stories_more);
}

static void print_wrong(struct ft_buf *out, const struct ft_proof *p, int decimals)
{
	size_t most = 16, told = 0;

	if (!p->wrong_count)
		return;
	ft_buf_puts(out, "\n  counter                                     selection   expected   observed\n");
	for (size_t i = 0; i < p->counter_count && told < most; i++) {
		const struct ft_counter *x = &p->counters[i];
		char e[FT_MONEY_TEXT], o[FT_MONEY_TEXT], name[96];
		int places = x->money ? decimals : 0;
		if (ft_counter_right(x) || x->since_reset)
			continue; /* the interval says the same again */
		snprintf(name, sizeof name, "%-7s %s%s%.*s%s%.*s", x->element, x->title, x->device.p ? " " : "",
		         FT_P(x->device), x->list.p ? "/" : "", FT_P(x->list));
		ft_buf_puts(out, x->weight == FT_FAULT ? "  ! " : "  ? ");
		cli_column(out, ft_slice_of(name), 41);
		ft_buf_byte(out, ' ');
		cli_column(out, x->selection, 9);
		ft_buf_printf(out, " %10s %10s\n", ft_money_text(x->expected, places, e),
		              ft_money_text(x->observed, places, o));
		told++;
	}
	if (told < p->wrong_count)
		ft_buf_printf(out, "    and %zu more, those of the interval among them (--json lists all)\n",
		              p->wrong_count - told);
}

static void print_sold(struct ft_buf *out, const struct ft_proof *p, int decimals)
{
	size_t most = 24;

	if (!p->sold_count)
		return;
	ft_buf_puts(
		out,
		"\n  Sold between the two reads, by the machine's own account\n\n    selection   list       sales        value\n");
	for (size_t i = 0; i < p->sold_count && i < most; i++) {
		const struct ft_sold *s = &p->sold[i];
		char t[FT_MONEY_TEXT] = "-", list[24] = "";
		if (s->device.p)
			snprintf(list, sizeof list, "%.*s %.*s", FT_P(s->device), FT_P(s->list));
		if (s->value != FT_ABSENT)
			ft_money_text(s->value, decimals, t);
		ft_buf_puts(out, "    ");
		cli_column(out, s->selection, 11);
		ft_buf_byte(out, ' ');
		cli_column(out, ft_slice_of(list), 8);
		ft_buf_printf(out, " %7lld %12s\n", (long long)s->count, t);
	}
	if (p->sold_count > most)
		ft_buf_printf(out, "    and %zu more (--json lists them)\n", p->sold_count - most);
}

static void print_people(struct ft_buf *out, struct cli *c, const struct ft_proof *p, int decimals, bool sales)
{
	ft_buf_printf(out, "%s: %s\n", cli_verdict_text(c, p->verdict), headline(p, sales));
	if (!p->counter_count && !p->witness_count)
		return; /* the finding below says why nothing could be set against anything */
	ft_buf_byte(out, '\n');
	if (sales)
		print_stories(out, p);
	print_wrong(out, p, decimals);
	if (p->counter_count)
		ft_buf_printf(out, "%s  %zu of %zu counters and sums moved exactly as they should.\n",
		              p->wrong_count ? "\n" : "", p->counter_count - p->wrong_count, p->counter_count);
	if (!sales)
		print_sold(out, p, decimals);
	ft_buf_puts(out, "\n  witness         says                                              agrees\n");
	for (size_t i = 0; i < p->witness_count; i++) {
		const struct ft_witness *w = &p->witnesses[i];
		ft_buf_puts(out, "  ");
		cli_column(out, ft_slice_of(w->name), 15);
		ft_buf_byte(out, ' ');
		cli_column(out, ft_slice_of(w->says ? w->says : "-"), 49);
		ft_buf_printf(out, " %s\n", w->agrees > 0 ? "yes" : w->agrees == 0 ? "no" : "-");
	}
}

/* What the table of counters says already is not said again below it. */
static void print_other_findings(struct cli *c, const struct ft_findings *f)
{
	struct ft_findings rest = { .arena = &c->arena };

	struct ft_buf alike = { 0 };

	for (size_t i = 0; i < f->count; i++)
		if (f->list[i].rule == FT_RULE_LEDGER_SOLD_ALIKE) {
			print_wrapped(&alike, "not told",
			              ft_arena_printf(&c->arena,
			                              "%s were sold alike: were they crossed, nothing would show; sell one of "
			                              "them once more and read again",
			                              f->list[i].seen),
			              ".");
		} else if (f->list[i].rule != FT_RULE_LEDGER_COUNTER_MISMATCH) {
			struct ft_finding *x =
				ft_find(&rest, f->list[i].rule, f->list[i].where, f->list[i].seen, f->list[i].expected);
			x->todo = f->list[i].todo;
			ft_finding_weigh(&rest, x, f->list[i].weight);
		}
	if (rest.count || alike.n)
		puts("");
	fwrite(alike.p ? alike.p : "", 1, alike.n, stdout);
	ft_buf_done(&alike);
	cli_print_findings(c, &rest);
}

/* What the bus saw of the sales. Its own findings are the command bus's business, but for one: a capture in which
 * nothing was said is no witness. */
static enum ft_status read_bus(struct cli *c, const char *path, int decimals, struct ft_account *ret)
{
	struct ft_findings unused = { .arena = &c->arena };
	const struct ft_bus_report *r = NULL;
	struct ft_bus_options o;
	struct ft_bus *b = NULL;
	enum ft_status s;

	if (!cli_bus_options(c, &o))
		return c->error.status;
	s = cli_bus_read(c, path, &o, NULL, &unused, &b, &r);
	if (s == FT_OK && !r->exchanges)
		s = ft_fail(&c->error, FT_E_INPUT,
		            "In %s nobody speaks on the bus, so it is no witness of sales; fettle bus %s says more.", path,
		            path);
	if (s == FT_OK)
		s = ft_sales_of_bus(r, path, decimals, &c->arena, ret, &c->error);
	ft_bus_done(b);
	return s;
}

/* What the machine's clock said; a clock that tells the day alone stands for all of it. */
static int64_t clock_of(struct cli *c, const struct ft_read *r, bool end)
{
	struct ft_summary *s = FT_NEW(&c->arena, struct ft_summary);
	int64_t us;

	if (!s || ft_audit_summary(r->facts, &c->arena, s, NULL) != FT_OK || !s->clock[0] ||
	    !ft_time_parse(ft_slice_of(s->clock), 0, &us))
		return FT_ABSENT;
	return end && us % (86400 * FT_SECOND) == 0 ? us + 86400 * FT_SECOND : us;
}

static int run(struct cli *c)
{
	struct ft_read before, after;
	struct ft_findings f = { .arena = &c->arena };
	struct ft_prove_input in = { .counted = FT_ABSENT };
	struct ft_proof *p = FT_NEW(&c->arena, struct ft_proof);
	const char *sales = cli_value(c, "sales"), *bus = cli_value(c, "bus"), *counted = cli_value(c, "counted");
	struct ft_account seen;
	struct ft_buf out = { 0 };
	struct ft_slice bytes;

	if (!p || cli_two_reads(c, &before, &after) != FT_OK)
		return cli_failed(c);
	if (counted && (!ft_money_parse(ft_slice_of(counted), after.facts->decimals, &in.counted) || in.counted < 0)) {
		cli_usage(c, "--counted takes an amount such as 12.50, not \"%s\".", counted);
		return cli_failed(c);
	}
	if (sales) {
		struct ft_sale *list;
		if (cli_read_file(c, sales, "the list of sales", FT_CSV_BYTES_MAX, &bytes) != FT_OK ||
		    ft_sales_read(bytes, "the list of sales", after.facts->decimals, &c->arena, &list, &in.sale_count,
		                  &c->error) != FT_OK)
			return cli_failed(c);
		in.sales = list;
		in.sales_name = sales;
		ft_sales_times(list, in.sale_count, sales, clock_of(c, &before, false), clock_of(c, &after, true), &f);
	}
	if (bus) {
		if (read_bus(c, bus, after.facts->decimals, &seen) != FT_OK)
			return cli_failed(c);
		in.accounts = &seen;
		in.account_count = 1;
	}
	if (ft_prove(&before, &after, &in, &c->arena, &f, p, &c->error) != FT_OK)
		return cli_failed(c);
	if (c->json)
		return print_json(c, p, &f, after.facts);
	print_people(&out, c, p, after.facts->decimals, sales || bus);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	print_other_findings(c, &f);
	return cli_exit(p->verdict);
}

static const struct cli_option options[] = {
	{ "sales", "FILE", "the list of sales: time,selection,price,paid_with,tendered and perhaps list" },
	{ "bus", "CAPTURE", "a capture of the bus taken while it was sold: see fettle bus" },
	{ "controller", "CH", "the channel of the controller's line in it, where it is not found" },
	{ "peripheral", "CH", "the channel of the peripherals' line in it, where it is not found" },
	{ "counted", "AMOUNT", "cash counted in the box, coins and bills together, such as 12.50" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_prove = {
	.name = "prove",
	.arguments = "BEFORE AFTER [--sales FILE] [--bus CAPTURE] [--counted AMOUNT]",
	.summary = "did what was sold move exactly the right counters",
	.about =
		"Works out from the list of sales what every counter of the machine must have done between two audits, compares, and where "
		"they differ looks for the simplest story that explains every difference exactly. What no counter can show is said, never "
		"passed over.\n\nWithout a list it derives what was sold from the audits and checks that they agree among themselves.\n\n"
		"paid_with is coin, bill, card, card1, card2, token, test or free; tendered is what was put in for it.",
	.options = options,
	.examples = "$ fettle prove before.dts after.dts --sales sales.csv --counted 7.50\n"
				"$ fettle prove before.dts after.dts --bus sold.vcd\n",
	.least = 2,
	.most = 2,
	.run = run,
};
