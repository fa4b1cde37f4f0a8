/* SPDX-License-Identifier: Apache-2.0 */
/* Will the supply of the bus carry one more peripheral? */
#include <math.h>
#include <string.h>

#include "fettle/wiring.h"
#include "reads.h"
#include "verbs.h"

static void row(struct ft_buf *out, const struct ft_supply_chain *c, const struct ft_supply_result *r, size_t i)
{
	const struct ft_supply_device *d = &c->devices[i];

	ft_buf_printf(out, "  %s ", (int)i == r->weakest ? "!" : " ");
	cli_column(out, ft_slice_of(d->name), 22);
	ft_buf_printf(out, " %6.2f m", d->length_m);
	for (int k = 0; k < FT_SUPPLY_CASES; k++) {
		if (r->collapses[k])
			ft_buf_puts(out, "         -");
		else
			ft_buf_printf(out, " %9.2f", r->volts[k][i]);
	}
	ft_buf_printf(out, " %9.1f\n", d->least_v);
}

static void changes(const struct ft_supply_result *r, struct ft_buf *out)
{
	ft_buf_puts(out, "\n  what would change it                           margin        more at the unit\n");
	for (size_t i = 0; i < r->change_count; i++) {
		const struct ft_supply_change *x = &r->changes[i];
		ft_buf_puts(out, "    ");
		cli_column(out, ft_slice_of(x->what), 44);
		if (x->collapses)
			ft_buf_puts(out, " collapses\n");
		else if (isnan(x->margin_ma))
			ft_buf_printf(out, " %6.2f V          does not do\n", x->margin_v);
		else if (x->margin_ma > FT_SUPPLY_EXTRA_MOST_MA - 1)
			ft_buf_printf(out, " %6.2f V    20 A and more\n", x->margin_v);
		else
			ft_buf_printf(out, " %6.2f V %12.0f mA\n", x->margin_v, x->margin_ma);
	}
}

static void assumptions(struct ft_buf *out, int columns)
{
	ft_buf_puts(out, "\n  ");
	ft_wrap(
		out,
		"Reckoned so: the volts hold at the supply's terminals; the trough of the ripple counts and not its middle; copper of the "
		"harness, with five per cent for strands and twenty milliohms of plugs a run; the return is shared, so drops add up; the "
		"largest single peak counts on top of all that is drawn all the time; the rush at switching on is left out.",
		columns, 2);
	ft_buf_byte(out, '\n');
}

static int print(struct cli *c, const struct ft_supply_chain *chain, const struct ft_supply_result *r,
                 const struct ft_findings *f)
{
	struct ft_buf out = { 0 };
	const char *place = chain->devices[r->place].name;

	ft_buf_printf(&out, "%s: ", cli_verdict_text(c, r->verdict));
	if (isnan(r->margin_v))
		ft_buf_puts(&out, "the bus collapses.\n\n");
	else if (r->measured_less && r->margin_ma >= 0)
		ft_buf_puts(&out, "by its table it carries all of it, by the meter it does not.\n\n");
	else if (isnan(r->margin_ma))
		ft_buf_printf(&out, "it does not carry it, not even without %s.\n\n", place);
	else if (r->margin_ma > FT_SUPPLY_EXTRA_MOST_MA - 1)
		ft_buf_printf(&out, "its volts carry all of it, and 20 A more at %s.\n\n", place);
	else if (r->margin_ma >= 0)
		ft_buf_printf(&out, "it carries all of it, and %.0f mA more at %s.\n\n", r->margin_ma, place);
	else
		ft_buf_printf(&out, "it does not carry it; %.0f mA less at %s would do.\n\n", -r->margin_ma, place);
	ft_buf_printf(&out, "  %s %.2f V", chain->measured ? "supply" : "supply, reckoned low,", chain->volts);
	if (!isnan(chain->rating_a))
		ft_buf_printf(&out, ", rated %.2f A", chain->rating_a);
	ft_buf_printf(&out, "\n  drawn %.2f A idle, %.2f A all the time, %.2f A at the worst\n\n", r->amperes[0],
	              r->amperes[1], r->amperes[2]);
	ft_buf_puts(&out, "    along the harness         length      idle  all time      peak     least\n");
	for (size_t i = 0; i < chain->count; i++)
		row(&out, chain, r, i);
	changes(r, &out);
	assumptions(&out, c->columns);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	cli_print_findings(c, f);
	return cli_exit(r->verdict);
}

static int document(struct cli *c, const struct ft_supply_chain *chain, const struct ft_supply_result *r,
                    const struct ft_findings *f)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int code;

	cli_document(c, &j, &out, r->verdict, f);
	ft_json_real(&j, "margin_ma", r->margin_ma, 1);
	ft_json_real(&j, "margin_v", r->margin_v, 4);
	ft_json_text(&j, "weakest", r->rating_fails ? "rating" : r->weakest >= 0 ? chain->devices[r->weakest].name : NULL);
	ft_json_text(&j, "place", chain->devices[r->place].name);
	ft_json_bool(&j, "collapses", r->collapses[FT_SUPPLY_PEAK]);
	ft_json_object(&j, "volts_at");
	for (size_t i = 0; i < chain->count; i++)
		ft_json_real(&j, chain->devices[i].name, r->collapses[FT_SUPPLY_PEAK] ? NAN : r->volts[FT_SUPPLY_PEAK][i], 4);
	ft_json_object_end(&j);
	ft_json_array(&j, "devices");
	for (size_t i = 0; i < chain->count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", chain->devices[i].name);
		for (int k = 0; k < FT_SUPPLY_CASES; k++)
			ft_json_real(&j, ft_supply_case_word((enum ft_supply_case)k), r->collapses[k] ? NAN : r->volts[k][i], 4);
		ft_json_real(&j, "least", chain->devices[i].least_v, 4);
		ft_json_real(&j, "measured", chain->devices[i].measured_v > 0 ? chain->devices[i].measured_v : NAN, 4);
		ft_json_bool(&j, "assumed", chain->devices[i].assumed);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_array(&j, "changes");
	for (size_t i = 0; i < r->change_count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "what", r->changes[i].what);
		ft_json_real(&j, "margin_v", r->changes[i].collapses ? NAN : r->changes[i].margin_v, 4);
		ft_json_real(&j, "margin_ma", r->changes[i].margin_ma, 1);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	code = cli_document_end(c, &j);
	return code ? code : cli_exit(r->verdict);
}

/* The chain as a drawing, under the verdict in words. */
static enum ft_status draw(struct cli *c, const struct ft_supply_chain *chain, const struct ft_supply_result *r,
                           const char *path)
{
	const struct ft_chain *drawn = ft_chain_of(chain, r, &c->arena);
	const char *slash = strrchr(c->arguments[0], '/'), *name = slash ? slash + 1 : c->arguments[0];
	const char *about = ft_arena_printf(&c->arena, "%s: drawn %.2f A idle, %.2f A all the time, %.2f A at the worst.",
	                                    ft_verdict_word(r->verdict), r->amperes[0], r->amperes[1], r->amperes[2]);
	struct ft_buf out = { 0 };
	enum ft_status s;

	if (!drawn || !about)
		return ft_fail_memory(&c->error, "drawing the chain");
	s = ft_chain_svg(drawn, name, about, &c->arena, &out, &c->error);
	if (s == FT_OK)
		s = cli_write_file(c, path, ft_buf_text(&out));
	ft_buf_done(&out);
	return s;
}

static int template(struct cli *c)
{
	struct ft_buf out = { 0 };

	ft_supply_template(&out);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return FT_OK;
}

/* A figure with at most two places, in place of the table's. */
static bool take(struct cli *c, const char *name, double least, double most, double *ret, bool *ret_given)
{
	const char *text = cli_value(c, name);
	struct ft_slice s = ft_slice_of(text);
	int64_t hundredths;

	if (!text)
		return true;
	if (!ft_money_parse(s, 2, &hundredths) || (double)hundredths / 100 < least || (double)hundredths / 100 > most) {
		cli_usage(c, "--%s takes a figure from %g to %g, not \"%s\".", name, least, most, text);
		return false;
	}
	*ret = (double)hundredths / 100;
	*ret_given = true;
	return true;
}

static int run(struct cli *c)
{
	struct ft_findings f = { .arena = &c->arena };
	struct ft_supply_chain chain;
	struct ft_supply_result r;
	struct ft_slice bytes;
	bool rated;
	enum ft_status s;

	if (cli_flag(c, "template"))
		return template(c);
	if (!c->count)
		return cli_usage(c, "Name the table of the chain; fettle supply --template prints one to fill in."),
			   cli_failed(c);
	s = cli_read_file(c, c->arguments[0], "the chain", FT_CSV_BYTES_MAX, &bytes);
	if (s == FT_OK)
		s = ft_supply_read(bytes, c->arguments[0], &c->arena, &chain, &c->error);
	if (s != FT_OK || !take(c, "volts", 5, 60, &chain.volts, &chain.measured) ||
	    !take(c, "rating", 0.1, 50, &chain.rating_a, &rated))
		return cli_failed(c);
	s = ft_supply_judge(&chain, c->arguments[0], &c->arena, &f, &r, &c->error);
	if (s != FT_OK)
		return cli_failed(c);
	if (cli_value(c, "svg") && draw(c, &chain, &r, cli_value(c, "svg")) != FT_OK)
		return cli_failed(c);
	return c->json ? document(c, &chain, &r, &f) : print(c, &chain, &r, &f);
}

static const struct cli_option options[] = {
	{ "template", NULL, "print a table to fill in" },
	{ "volts", "V", "measured at the harness under load, in place of the table's" },
	{ "rating", "A", "what the supply is rated for, in place of the table's" },
	{ "svg", "FILE", "draw the chain: the harness with its knots, volts over, metres under" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_supply = {
	.name = "supply",
	.arguments = "CHAIN.csv | --template",
	.summary = "will the bus supply carry one more peripheral",
	.about =
		"Reckons the volts at every device along the harness, idle, all the time and at the worst peak, how much more can be drawn "
		"where the unit sits, what fails first, and what would change it.\n\n"
		"CHAIN.csv has one row a device in its order from the supply, each with the run of cable before it; figures carry their "
		"units. Loads in amperes stay as they are when the volts fall, loads in watts draw more. What is left empty for a changer, "
		"validator, reader or unit is a default from memory, and the verdict stays open until it is replaced.\n\n"
		"Never measure or connect on a live mains compartment; local rules and licensed practice come first.",
	.options = options,
	.examples = "$ fettle supply --template > chain.csv\n$ fettle supply chain.csv --volts 31.5 --rating 4\n",
	.least = 0,
	.most = 1,
	.run = run,
};
