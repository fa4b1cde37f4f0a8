/* SPDX-License-Identifier: Apache-2.0 */
/* Does the cabinet hold its temperature? */
#include <math.h>

#include "cold.h"
#include "fettle/limits.h"
#include "fettle/stamp.h"
#include "verbs.h"

bool cold_option(struct cli *c, const char *name, double least, double most, double *ret)
{
	const char *text = cli_value(c, name);

	*ret = NAN;
	if (!text || (ft_figure(ft_slice_of(text), ret) && *ret >= least && *ret <= most))
		return true;
	cli_usage(c, "--%s takes a number from %g to %g, not \"%s\".", name, least, most, text);
	return false;
}

static bool take_words(struct cold_run *d)
{
	struct cli *c = d->c;
	const char *kind = cli_value(c, "kind"), *unit = cli_value(c, "unit");

	if (kind && !ft_cold_kind_parse(ft_slice_of(kind), &d->o.kind)) {
		cli_usage(c, "--kind knows cold, hot and frozen, not \"%s\".", kind);
		return false;
	}
	if (unit && strcmp(unit, "C") != 0 && strcmp(unit, "F") != 0) {
		cli_usage(c, "--unit is C or F, not \"%s\".", unit);
		return false;
	}
	d->read.unit = !unit ? FT_COLD_UNIT_UNKNOWN : *unit == 'C' ? FT_COLD_C : FT_COLD_F;
	d->read.kind = d->o.kind;
	d->read.column = cli_value(c, "column");
	d->o.food = cli_flag(c, "food");
	return true;
}

static bool take_options(struct cold_run *d)
{
	struct cli *c = d->c;
	const char *class = cli_value(c, "probe-class");
	int64_t allow;
	struct ft_cold_rule rule;
	double ice;

	if (!take_words(d) || !cold_option(c, "limit", -60, 120, &d->o.limit_c) ||
	    !cold_option(c, "room", -40, 60, &d->o.room_c) || !cold_option(c, "ice", -20, 20, &ice) ||
	    !cli_number(c, "allow", 0, 600, -1, &allow))
		return false;
	d->o.allowance_s = allow < 0 ? -1 : (int)allow * 60;
	d->o.probe_error_c = ice;
	d->o.guard_c = NAN;
	ft_cold_rule_of(d->o.kind, &rule);
	if (class &&
	    !ft_cold_class(ft_slice_of(class), isnan(d->o.limit_c) ? rule.limit_c : d->o.limit_c, &d->o.guard_c, NULL)) {
		cli_usage(c, "--probe-class knows 0.5, 1 and 2 (EN 12830) and AA, A, B and C (IEC 60751), not \"%s\".", class);
		return false;
	}
	if (cli_value(c, "ice") && cli_value(c, "reference")) {
		cli_usage(c, "Give --ice or --reference, not both; several checks belong into a file of marks.");
		return false;
	}
	return true;
}

static enum ft_status read_all(struct cold_run *d)
{
	struct cli *c = d->c;
	const char *marks = cli_value(c, "marks");
	struct ft_slice bytes;
	double reference;
	enum ft_status s = cli_read_file(c, c->arguments[0], "the log", FT_CSV_BYTES_MAX, &bytes);

	if (s == FT_OK)
		s = ft_cold_read(bytes, c->arguments[0], &d->read, &c->arena, &d->log, &c->error);
	if (s == FT_OK && marks)
		s = cli_read_file(c, marks, "the marks", FT_CSV_BYTES_MAX, &bytes);
	if (s == FT_OK && marks)
		s = ft_cold_marks_read(bytes, marks, d->read.offset_minutes, &c->arena, &d->log, &c->error);
	if (s == FT_OK && !cold_option(c, "reference", -60, 120, &reference))
		return FT_E_USAGE;
	if (s == FT_OK && !isnan(reference)) /* it stood beside the probe when the log ended */
		d->o.probe_error_c = d->log.samples[d->log.count - 1].c - reference;
	return s;
}

static int run(struct cli *c)
{
	struct cold_run d = { .c = c, .f = { .arena = &c->arena } };
	int code;

	if (cli_value(c, "sensor"))
		return cold_sensor(c);
	if (c->count != 1)
		return cli_usage(c, "Name the log: fettle cold LOG.csv; resistances go with --sensor."), cli_failed(c);
	cli_now(&d.read.offset_minutes);
	if (!take_options(&d) || read_all(&d) != FT_OK)
		return cli_failed(c);
	d.o.name = c->arguments[0];
	d.o.offset_minutes = d.log.offset_minutes;
	if (ft_cold_judge(&d.log, &d.o, &c->arena, &d.f, &d.r, &c->error) != FT_OK)
		return cli_failed(c);
	if (cli_value(c, "svg") && cold_draw(&d, cli_value(c, "svg")) != FT_OK)
		return cli_failed(c);
	code = c->json ? cold_document(&d) : cold_print(&d);
	return code;
}

static const struct cli_option options[] = {
	{ "kind", "KIND", "what the cabinet holds: cold (unless given), hot or frozen" },
	{ "limit", "C", "the limit of the local code, in degrees C" },
	{ "allow", "MIN", "minutes beyond it that the local code allows after a service" },
	{ "marks", "FILE", "marks of door and service: a table of time and words" },
	{ "food", NULL, "the probe stood in food or a food dummy; it stood in air unless given" },
	{ "probe-class", "CLASS", "0.5, 1 or 2 (EN 12830), AA, A, B or C (platinum); 1 unless given" },
	{ "reference", "C", "what an independent thermometer beside the probe read when the log ended" },
	{ "ice", "C", "what the probe read in a slush of ice" },
	{ "room", "C", "temperature around the machine; 25 unless given" },
	{ "unit", "C|F", "unit of the log where nothing in it tells" },
	{ "column", "NAME", "heading or number of the probe's column" },
	{ "svg", "FILE", "draw the curve, the limit, the marks and the fit" },
	{ "sensor", "SENSOR", "turn resistances into degrees: see below" },
	{ "ohms", "R", "with --sensor: the resistance that was measured" },
	{ "at", "C", "with --sensor: the temperature whose resistance is wanted" },
	{ "lead", "R", "with --sensor: resistance of a two-wire lead, out and back" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_cold = {
	.name = "cold",
	.arguments = "LOG.csv | --sensor SENSOR (--ohms R | --at C)",
	.summary = "does the cabinet hold its temperature, is the probe true",
	.about =
		"Reads a logger's table of times and temperatures (C or F, decimal point or comma, date and time apart, several probes) and "
		"lays the limit over it: 5 C for cold, 57 C for hot, -18 C for frozen food, or that of your local code with --limit. What is "
		"beyond it within 30 minutes (hot: 120) after a marked service is excused. Readings nearer to the limit than the probe can "
		"tell prove nothing.\n\n"
		"It fits the curve of the pull-down (how fast, where it settles), recognises the compressor's cycling and defrosts, compares "
		"the probe with ice or another thermometer, and makes an alarm setting from this machine's own log: one that never fires on "
		"it, with the time it needs to tell of a dead compressor and of a door left ajar.\n\n"
		"Marks stand in a column of the log or in a file of their own: a time and opened, closed, service, filled, defrost, ice, or "
		"reference with a value.\n\n"
		"SENSOR is ntc-10k, ntc-10k-3435, ntc-10k-3950, pt100, pt1000, ntc:R25:B, sh:A:B:C, pt:R0, or fit:T1:R1:T2:R2:T3:R3.",
	.options = options,
	.examples =
		"$ fettle cold cabinet.csv --svg cabinet.svg\n$ fettle cold freezer.csv --kind frozen --marks marks.csv --reference -19.5\n"
		"$ fettle cold --sensor ntc:10000:3977 --ohms 32650.9\n",
	.least = 0,
	.most = 1,
	.run = run,
};
