/* SPDX-License-Identifier: Apache-2.0 */
#include "reads.h"
#include "verbs.h"

static void json_changes(struct ft_json *j, const struct ft_comparison *r)
{
	ft_json_array(j, "changes");
	for (size_t i = 0; i < r->change_count; i++) {
		const struct ft_change *x = &r->changes[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "element", x->element);
		ft_json_slice(j, "selection", x->selection);
		ft_json_slice(j, "key", x->key[0]);
		ft_json_slice(j, "list", x->key[1]);
		ft_json_text(j, "kind", ft_change_kind_word(x->kind));
		ft_json_slice(j, "before", x->before);
		ft_json_slice(j, "after", x->after);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static int print_json(struct cli *c, const struct ft_comparison *r, const struct ft_findings *f,
                      const struct ft_facts *after)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	int code;

	cli_document(c, &j, &out, ft_verdict_of(f, false), f);
	ft_decimals_json(&j, after->decimals_known, after->decimals);
	json_changes(&j, r);
	ft_json_array(&j, "lost");
	for (size_t i = 0; i < r->lost_count; i++) {
		const struct ft_loss *x = &r->lost[i];
		ft_json_object(&j, NULL);
		ft_json_text(&j, "element", x->element);
		ft_json_slice(&j, "selection", x->selection);
		ft_json_slice(&j, "key", x->key[0]);
		ft_json_slice(&j, "list", x->key[1]);
		ft_json_i64(&j, "before", x->before);
		ft_json_count(&j, "after", x->after);
		ft_json_text(&j, "how", ft_fall_word(x->how));
		ft_json_count(&j, "modulus", x->modulus ? x->modulus : FT_ABSENT);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_array(&j, "restore");
	for (size_t i = 0; i < r->restore_count; i++) {
		const struct ft_restore *x = &r->restore[i];
		ft_json_object(&j, NULL);
		ft_json_text(&j, "what", x->what);
		ft_json_slice(&j, "selection", x->selection);
		ft_json_slice(&j, "value", x->value);
		ft_json_slice(&j, "now", x->now);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_count(&j, "reads", r->reads);
	ft_json_count(&j, "resets", r->resets);
	code = cli_document_end(c, &j);
	return code ? code : cli_exit(ft_verdict_of(f, false));
}

static const char *headline(struct cli *c, const struct ft_comparison *r)
{
	size_t settings = r->count_by_kind[FT_CHANGE_SETTING];

	if (r->pair == FT_PAIR_OTHER_MACHINE)
		return "these are audits of two different machines.";
	if (r->pair == FT_PAIR_SWAPPED)
		return "the two audits are given the wrong way round.";
	if (r->cleared && !r->restore_count)
		return "the meters were cleared.";
	if (r->cleared)
		return ft_arena_printf(&c->arena, "the meters were cleared; %zu thing%s to key back in.", r->restore_count,
		                       r->restore_count == 1 ? "" : "s");
	if (r->restore_count)
		return ft_arena_printf(&c->arena, "%zu thing%s to key back in%s.", r->restore_count,
		                       r->restore_count == 1 ? "" : "s", r->lost_count ? ", and counters were lost" : "");
	if (r->lost_count)
		return "counters were lost.";
	return settings ? "settings changed." : "nothing was lost, no price or setting changed.";
}

static const char *counted(const struct ft_comparison *r)
{
	return r->resets == FT_ABSENT ? ""
		: r->resets == 0          ? "; no reset between"
		: r->resets == 1          ? "; one reset between"
		: r->resets > 1           ? "; resets between"
								  : "";
}

static void print_restore(struct ft_buf *out, const struct ft_comparison *r)
{
	struct ft_slice last = { NULL, 0 };

	if (!r->restore_count)
		return;
	ft_buf_puts(out, "\n  Key back in, in this order\n\n");
	ft_buf_puts(out, "        selection   what                    was                now\n");
	for (size_t i = 0; i < r->restore_count; i++) {
		const struct ft_restore *x = &r->restore[i];
		bool same = i && x->selection.p && last.p && ft_slice_eq(last, x->selection);
		ft_buf_puts(out, "    [ ] ");
		cli_column(out, same ? (struct ft_slice){ "", 0 } : x->selection.p ? x->selection : FT_SLICE("machine"), 11);
		ft_buf_byte(out, ' ');
		cli_column(out, ft_slice_of(x->what), 23);
		ft_buf_byte(out, ' ');
		cli_column(out, x->value, 18);
		ft_buf_byte(out, ' ');
		cli_column(out, x->now.p ? x->now : FT_SLICE("-"), x->now.p ? (int)(x->now.n < 14 ? x->now.n : 14) : 1);
		ft_buf_byte(out, '\n');
		last = x->selection;
	}
}

static void amount(const struct ft_loss *x, int64_t v, int decimals, char t[FT_MONEY_TEXT])
{
	ft_money_text(v, x->money ? decimals : 0, t);
}

static void print_lost(struct ft_buf *out, const struct ft_comparison *r, int decimals)
{
	size_t most = 20; /* a screen; the document has them all */

	if (!r->lost_count)
		return;
	ft_buf_puts(out, "\n  Counters lost: tell the office these values\n\n");
	ft_buf_puts(out, "    counter  selection          before             now\n");
	for (size_t i = 0; i < r->lost_count && i < most; i++) {
		const struct ft_loss *x = &r->lost[i];
		char b[FT_MONEY_TEXT], a[FT_MONEY_TEXT] = "not sent";
		amount(x, x->before, decimals, b);
		if (x->after != FT_ABSENT)
			amount(x, x->after, decimals, a);
		ft_buf_printf(out, "    %-8s ", x->element);
		cli_column(out, x->selection.p ? x->selection : x->key[0], 10);
		ft_buf_printf(out, " %14s  %14s", b, a);
		if (x->modulus)
			ft_buf_printf(out, "  went round at %lld", (long long)x->modulus);
		ft_buf_byte(out, '\n');
	}
	if (r->lost_count > most)
		ft_buf_printf(out, "    and %zu more (--json lists them)\n", r->lost_count - most);
}

static void print_changes(struct ft_buf *out, const struct ft_comparison *r)
{
	static const char *const names[] = { "identity", "setting", "meter", "state", "event entry" };
	bool any = false;

	ft_buf_puts(out, "\n  Different: ");
	for (int k = 0; k < FT_CHANGE_KINDS; k++) {
		size_t n = r->count_by_kind[k];
		if (!n)
			continue;
		if (n == 1)
			ft_buf_printf(out, "%s1 %s", any ? ", " : "", names[k]);
		else
			ft_buf_printf(out, "%s%zu %s", any ? ", " : "", n,
			              k == FT_CHANGE_IDENTITY      ? "identities"
			                  : k == FT_CHANGE_EVENT   ? "event entries"
			                  : k == FT_CHANGE_SETTING ? "settings"
			                  : k == FT_CHANGE_METER   ? "meters"
			                                           : "states");
		any = true;
	}
	ft_buf_puts(out, any ? ".\n" : "nothing.\n");
}

static void print_all(struct ft_buf *out, const struct ft_comparison *r)
{
	for (int k = 0; k < FT_CHANGE_KINDS; k++) {
		bool first = true;
		for (size_t i = 0; i < r->change_count; i++) {
			const struct ft_change *x = &r->changes[i];
			if ((int)x->kind != k)
				continue;
			if (first)
				ft_buf_printf(out, "\n  %s\n    element  selection  before               after\n",
				              ft_change_kind_word(x->kind));
			first = false;
			ft_buf_puts(out, "    ");
			cli_column(out, ft_slice_of(x->element), 8);
			ft_buf_byte(out, ' ');
			cli_column(out, x->selection.p ? x->selection : x->key[0], 10);
			ft_buf_byte(out, ' ');
			cli_column(out, x->before.p ? x->before : FT_SLICE("-"), 20);
			ft_buf_byte(out, ' ');
			cli_column(out, x->after.p ? x->after : FT_SLICE("-"),
			           x->after.p ? (int)(x->after.n < 30 ? x->after.n : 30) : 1);
			ft_buf_byte(out, '\n');
		}
	}
}

/* What the restore sheet says already is not said again below it. */
static void print_other_findings(struct cli *c, const struct ft_findings *f)
{
	struct ft_findings rest = { .arena = &c->arena };

	for (size_t i = 0; i < f->count; i++) {
		const struct ft_finding *x = &f->list[i];
		struct ft_finding *y;
		if (x->rule == FT_RULE_LEDGER_PRICE_CHANGED || x->rule == FT_RULE_LEDGER_SETTING_CHANGED)
			continue;
		y = ft_find(&rest, x->rule, x->where, x->seen, x->expected);
		y->todo = x->todo;
		ft_finding_weigh(&rest, y, x->weight);
	}
	if (rest.count)
		puts("");
	cli_print_findings(c, &rest);
}

static int run(struct cli *c)
{
	struct ft_read before, after;
	struct ft_findings f = { .arena = &c->arena };
	struct ft_comparison r;
	struct ft_buf out = { 0 };
	enum ft_verdict v;

	if (cli_two_reads(c, &before, &after) != FT_OK ||
	    ft_compare(&before, &after, &c->arena, &f, &r, &c->error) != FT_OK)
		return cli_failed(c);
	v = ft_verdict_of(&f, false);
	if (c->json)
		return print_json(c, &r, &f, after.facts);
	ft_buf_printf(&out, "%s: %s\n\n", cli_verdict_text(c, v), headline(c, &r));
	ft_buf_printf(&out, "  machine  %s\n  before   %s\n  after    %s%s\n", cli_machine_line(c, &after),
	              cli_read_line(c, &before), cli_read_line(c, &after), counted(&r));
	print_restore(&out, &r);
	print_lost(&out, &r, before.facts->decimals);
	print_changes(&out, &r);
	if (cli_flag(c, "all"))
		print_all(&out, &r);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	print_other_findings(c, &f);
	return cli_exit(v);
}

static const struct cli_option options[] = {
	{ "all", NULL, "list every difference, sorted by kind" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_compare = {
	.name = "compare",
	.arguments = "BEFORE AFTER",
	.summary = "what changed between two reads, what was lost, what to key back in",
	.about =
		"Sorts every difference between two audits of one machine into identity, setting, meter, state and event, names the "
		"counters that fell, and prints the restore sheet: what to key back in, by selection, in the order one stands at the "
		"keypad.\n\nIt says so when the two audits are of different machines or given the wrong way round.",
	.options = options,
	.examples = "$ fettle compare before.dts after.dts\n    what changed while the machine was open",
	.least = 2,
	.most = 2,
	.run = run,
};
