/* SPDX-License-Identifier: Apache-2.0 */
/* Is the radio path good enough, and with which lead? */
#include <math.h>
#include <string.h>
#include <unistd.h>

#include "fettle/csv.h"
#include "fettle/money.h"
#include "fettle/stamp.h"
#include "signal_survey.h"
#include "verbs.h"

static const char template[] = "name,length_m,cable,f1_mhz,a1_db_100m,f2_mhz,a2_db_100m,connectors\r\n"
							   "lead 3 m,3,low-loss-100,,,,,2\r\n"
							   "lead 5 m with its data sheet,5,,450,17.3,1800,35.6,2\r\n";

/* ---- figures typed in ---- */

static const char *heading(struct cli *c)
{
	static const char *const words[] = { "dbm", "rsrp", "rssi" };
	const char *text = cli_value(c, "metric");

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (!text || strcmp(text, words[i]) == 0)
			return words[i];
	cli_usage(c, "--metric is dbm, rsrp or rssi, not \"%s\".", text);
	return NULL;
}

static void row(struct ft_buf *b, struct ft_slice place, struct ft_slice level)
{
	ft_csv_put(b, place.n ? place : FT_SLICE("here"));
	ft_buf_byte(b, ',');
	ft_csv_put(b, level);
	ft_buf_byte(b, '\n');
}

/* "inside=-97,-99" */
static bool typed_place(struct cli *c, const char *word, struct ft_buf *b)
{
	struct ft_slice rest = ft_slice_of(word), place, level;
	double v;

	if (!ft_slice_split(&rest, '=', &place) || !rest.n)
		return cli_usage(c, "Figures are typed as PLACE=DBM,DBM such as inside=-97,-99; \"%s\" is not.", word), false;
	while (ft_slice_split(&rest, ',', &level)) {
		if (!ft_figure(level, &v))
			return cli_usage(c, "\"%.*s\" in \"%s\" is no level in dBm.", FT_P(level), word), false;
		row(b, place, level);
	}
	return true;
}

/* A table as --log reads it, so that both are judged by the same code. */
static bool typed(struct cli *c, struct ft_buf *b)
{
	const char *head = heading(c), *place = "";
	double v;

	if (!head)
		return false;
	ft_buf_printf(b, "position,%s\n", head);
	for (int i = 0; i < c->given_count; i++) {
		const char *name = c->given[i].option->name, *value = c->given[i].value;
		if (strcmp(name, "position") == 0)
			place = value;
		if (strcmp(name, "dbm") != 0)
			continue;
		if (!ft_figure(ft_slice_of(value), &v))
			return cli_usage(c, "--dbm takes a level such as -97, not \"%s\".", value), false;
		row(b, ft_slice_of(place), ft_slice_of(value));
	}
	for (int i = 0; i < c->count; i++)
		if (!typed_place(c, c->arguments[i], b))
			return false;
	return true;
}

/* ---- where the readings come from ---- */

static bool earlier(struct cli *c, const char *path, struct ft_buf *b)
{
	struct ft_slice bytes;

	if (cli_read_file(c, path, "the signal log", FT_CSV_BYTES_MAX, &bytes) != FT_OK)
		return false;
	ft_buf_slice(b, bytes);
	if (!cli_value(c, "port"))
		return true;
	if (bytes.n && !ft_slice_holds(bytes, "+CSQ:") && !ft_slice_holds(bytes, "+CESQ:"))
		return cli_usage(c, "%s holds no answers of a modem, so that those of another survey cannot be added.", path),
			   false;
	if (bytes.n && bytes.p[bytes.n - 1] != '\n')
		ft_buf_byte(b, '\n');
	return true;
}

static void keep_part(struct cli *c, const struct ft_buf *b)
{
	const char *path = cli_value(c, "keep-part");
	struct ft_error why = c->error;

	if (!path || !b->n)
		return;
	c->error = (struct ft_error){ 0 };
	if (cli_write_evidence(c, path, ft_buf_text(b)) == FT_OK)
		fprintf(stderr, "What was read until then is in %s.\n", path);
	else
		fprintf(stderr, "fettle: %s\n", c->error.text);
	c->error = why;
}

/* All readings as the text of a log. */
static bool collect(struct survey *s, struct ft_buf *b)
{
	struct cli *c = s->c;
	const char *port = cli_value(c, "port"), *log = cli_value(c, "log"), *out = cli_value(c, "o");

	s->name = log && !port ? log : port ? port : "typed in";
	if (log && !earlier(c, log, b))
		return false;
	if ((out && !cli_can_write(c, out)) || (cli_value(c, "keep-part") && !cli_can_write(c, cli_value(c, "keep-part"))))
		return false;
	if (port && !signal_ask(s, b)) {
		keep_part(c, b);
		return false;
	}
	if (!log && !port && !typed(c, b))
		return false;
	if (b->status != FT_OK)
		return ft_fail_memory(&c->error, "the readings") == FT_OK;
	return !out || cli_write_evidence(c, out, ft_buf_text(b)) == FT_OK;
}

/* ---- leads ---- */

static bool take_leads(struct survey *s)
{
	struct cli *c = s->c;
	const char *kit = cli_value(c, "kit"), *text;
	struct ft_signal_lead *of_kit = NULL;
	size_t in_kit = 0, typed_in = 0;
	struct ft_slice bytes;

	while (cli_value_nth(c, "lead", (int)typed_in))
		typed_in++;
	if (kit &&
	    (cli_read_file(c, kit, "the kit", FT_CSV_BYTES_MAX, &bytes) != FT_OK ||
	     ft_signal_kit_read(bytes, kit, &c->arena, &of_kit, &in_kit, &c->error) != FT_OK))
		return false;
	s->leads = FT_NEW_ARRAY(&c->arena, in_kit + typed_in + 1, struct ft_signal_lead);
	if (!s->leads)
		return ft_fail_memory(&c->error, "the leads") == FT_OK;
	for (size_t i = 0; i < in_kit; i++)
		s->leads[s->lead_count++] = of_kit[i];
	for (size_t i = 0; i < typed_in; i++) {
		text = cli_value_nth(c, "lead", (int)i);
		if (!ft_signal_lead_of(text, &s->leads[s->lead_count++]))
			return cli_usage(c,
			                 "--lead takes CLASS:METRES, such as low-loss-100:3, or two points of its data sheet, such "
			                 "as 450=17.3,1800=35.6:3; \"%s\" is neither.",
			                 text),
				   false;
	}
	return true;
}

static bool figure(struct cli *c, const char *name, const char *unit, double least, double most, double otherwise,
                   double *ret)
{
	const char *text = cli_value(c, name);

	*ret = otherwise;
	if (!text || (ft_figure(ft_slice_of(text), ret) && *ret >= least && *ret <= most))
		return true;
	cli_usage(c, "--%s takes %s from %g to %g, not \"%s\".", name, unit, least, most, text);
	return false;
}

/* The place of the antenna: the one named, else the best. */
static bool antenna(struct survey *s)
{
	const char *name = cli_value(s->c, "at");

	s->at = s->r.best;
	for (int i = 0; name && i < s->log.position_count; i++)
		if (ft_slice_eq_nocase(ft_slice_of(name), ft_slice_of(s->log.positions[i])) && s->r.places[i].count) {
			s->at = i;
			return true;
		}
	return !name || (cli_usage(s->c, "Nothing was measured at a place \"%s\".", name), false);
}

/* ---- the whole ---- */

static bool is_name(const char *text)
{
	for (const char *p = text; *p; p++)
		if ((unsigned char)*p < 32)
			return false;
	return text[0] && strlen(text) < FT_SIGNAL_NAME;
}

static bool sources_fit(struct cli *c)
{
	bool port = cli_value(c, "port"), log = cli_value(c, "log"), by_hand = c->count || cli_value(c, "dbm");
	const char *out = cli_value(c, "o"), *place;

	if (!port && !log && !by_hand)
		cli_usage(c,
		          "Name where the readings come from: --port PORT with a modem, --log FILE, or type them: "
		          "inside=-97,-99.");
	else if (by_hand && (port || log))
		cli_usage(c, "Figures typed in stand alone, without --port and --log.");
	else if (port && cli_value_nth(c, "position", 1) && !isatty(STDIN_FILENO))
		cli_usage(c,
		          "To move the antenna between several places somebody must sit at the terminal; elsewhere name one "
		          "--position a run, and add to an earlier one with --log.");
	else if (out && c->json && strcmp(out, "-") == 0)
		cli_usage(c, "The log and the JSON document cannot both go to standard output; name a file with -o.");
	else {
		for (int i = 0; (place = cli_value_nth(c, "position", i)) != NULL; i++)
			if (!is_name(place))
				return cli_usage(c, "--position takes a name of at most %d letters.", FT_SIGNAL_NAME - 1), false;
		return true;
	}
	return false;
}

static bool survey(struct survey *s, struct ft_buf *text)
{
	struct cli *c = s->c;
	double least, opening;

	if (!sources_fit(c) || !figure(c, "least", "a level in dBm", -150, -20, NAN, &least) ||
	    !figure(c, "frequency", "MHz", 100, 6000, 900, &s->way.mhz) ||
	    !figure(c, "opening", "millimetres", 1, 2000, NAN, &opening) ||
	    !figure(c, "reach", "metres", 0, 100, NAN, &s->way.metres) ||
	    !figure(c, "ask", "decibels", 0, 60, NAN, &s->way.ask) || !take_leads(s) || !collect(s, text) ||
	    ft_signal_read(ft_buf_text(text), s->name, &c->arena, &s->log, &c->error) != FT_OK ||
	    ft_signal_judge(&s->log, s->name, least, &c->arena, &s->f, &s->r, &c->error) != FT_OK || !antenna(s))
		return false;
	if (!s->lead_count) /* with a lead the antenna lives where it was measured */
		ft_signal_walls_judge(&s->log, &s->r, s->way.mhz, opening / 1000, s->name, &c->arena, &s->f);
	s->way.margin = s->at < 0 ? NAN : s->r.places[s->at].margin;
	s->lead = ft_signal_leads_judge(s->leads, s->lead_count, &s->way, s->name, &c->arena, &s->f);
	s->r.verdict = ft_verdict_of(&s->f, false);
	return true;
}

static int run(struct cli *c)
{
	struct survey s = { .c = c, .f = { .arena = &c->arena }, .at = -1, .lead = -1 };
	struct ft_buf text = { 0 };
	bool good;
	int code;

	if (cli_flag(c, "template")) {
		if (c->json)
			return cli_usage(c, "--template prints a table to fill in, not a JSON document."), cli_failed(c);
		ft_buf_puts(&text, template);
		good = cli_flush(c, &text);
		ft_buf_done(&text);
		return good ? FT_OK : cli_failed(c);
	}
	code = !survey(&s, &text) ? cli_failed(c) : c->json ? signal_document(&s) : signal_print(&s);
	ft_buf_done(&text);
	return code;
}

static const struct cli_option options[] = {
	{ "port", "PORT", "ask the modem on this port" },
	{ "log", "FILE",
	  "answers of a modem (+CSQ, +CESQ, +CEREG), or a table of levels; with --port: its readings come first" },
	{ "dbm", "DBM", "a level read off by hand; may be given several times, at the --position before it" },
	{ "position", "NAME", "where the antenna is; several on a terminal: you are asked to move it" },
	{ "metric", "WORD", "what was typed in: dbm (as RSRP is judged), rsrp or rssi" },
	{ "samples", "N", "readings at a place; 12 unless given" },
	{ "seconds", "S", "time over which they are spread; 5 a reading unless given" },
	{ "baud", "N", "rate of the modem, 115200 unless given; the usual others are tried after it" },
	{ "timeout", "S", "how long an answer may take before it is asked for again; 20 unless given" },
	{ "o", "FILE", "keep the readings in the form that --log reads" },
	{ "keep-part", "FILE", "when the modem does not answer to the end, keep what came under this other name" },
	{ "least", "DBM", "the level the unit needs, by its data sheet" },
	{ "lead", "CLASS:METRES", "an antenna lead, with two connectors; several may be given" },
	{ "kit", "FILE", "the leads in the kit, a table" },
	{ "template", NULL, "print such a table to fill in" },
	{ "reach", "METRES", "the way from the unit to the antenna: recommends a lead" },
	{ "ask", "DB", "the margin a lead must leave; 6 unless given" },
	{ "at", "NAME", "the antenna's place for the leads; the best unless given" },
	{ "opening", "MM",
	  "longest slot or hole in a front all of metal: what it lets through, where only the outside was measured" },
	{ "frequency", "MHZ", "for the leads and the opening; 900 unless given" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_signal = {
	.name = "signal",
	.arguments = "--port PORT | --log FILE | PLACE=DBM,DBM...",
	.summary = "is the radio path good enough, and with which antenna lead",
	.about =
		"Asks a modem on a port for its level again and again (+CESQ, or +CSQ where it knows no other), reads a log of such "
		"answers or a table with a column rsrp, rssi or dbm, or takes figures typed in, and says how strong the path is, how "
		"much it has to spare, and what share of the time it stays above what the unit needs.\n\n"
		"Places: --position names the one the antenna is at. With several on a terminal you are asked to move it from one to "
		"the next. A place whose name holds closed or inside is the one that counts, for there the antenna will live; the "
		"others are compared with it.\n\n"
		"Leads are compared by what they leave of the margin at the antenna's place: a class of cable, or two points of a data "
		"sheet. With --reach the shortest of them is recommended that reaches and leaves --ask.",
	.options = options,
	.examples = "$ fettle signal --port /dev/ttyUSB2 --position inside -o survey.txt\n"
				"$ fettle signal --log survey.txt --least -110 --kit kit.csv --reach 2.5\n"
				"$ fettle signal inside=-104,-106,-105 outside=-93,-95 --lead low-loss-100:3",
	.least = 0,
	.most = 16,
	.run = run,
};
