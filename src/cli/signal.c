/* SPDX-License-Identifier: Apache-2.0 */
/* Is the radio path good enough, and with which lead? */
#include <math.h>
#include <string.h>

#include "fettle/money.h"
#include "fettle/signal.h"
#include "fettle/stamp.h"
#include "reads.h"
#include "verbs.h"

enum { LEADS_MAX = 8 };

struct lead {
	const char *text;
	struct ft_signal_cable cable;
	double metres, loss;
	int connectors;
};

struct survey {
	struct cli *c;
	struct ft_signal_log log;
	struct ft_signal_result r;
	struct ft_findings f;
	double mhz;
	struct lead leads[LEADS_MAX];
	size_t lead_count;
};

/* "CLASS:METRES[:CONNECTORS]", or two points of a data sheet for the class: "MHZ=DB,MHZ=DB:METRES" in dB per 100 m. */
static bool take_lead(struct survey *s, const char *text)
{
	struct lead *l = &s->leads[s->lead_count++];
	struct ft_slice rest = ft_slice_of(text), name, part, points, number;
	const struct ft_signal_cable *all;
	double v[4], connectors = 2;
	size_t n, k = 0;

	*l = (struct lead){ .text = text };
	if (!ft_slice_split(&rest, ':', &name) || !ft_slice_split(&rest, ':', &part) || !ft_figure(part, &l->metres) ||
	    l->metres < 0 || l->metres > 100 ||
	    (rest.p && (!ft_figure(rest, &connectors) || connectors < 0 || connectors > 10)))
		return false;
	l->connectors = (int)connectors;
	all = ft_signal_cables(&n);
	for (size_t i = 0; i < n; i++)
		if (ft_slice_eq_nocase(name, ft_slice_of(all[i].name))) {
			l->cable = all[i];
			return true;
		}
	for (points = name; k < 4 && ft_slice_split(&points, ',', &part);) {
		if (!ft_slice_split(&part, '=', &number) || !ft_figure(number, &v[k]) || !ft_figure(part, &v[k + 1]))
			return false;
		k += 2;
	}
	return k == 4 && ft_signal_fit(v[0], v[1], v[2], v[3], &l->cable);
}

static bool take_options(struct survey *s, double *least)
{
	struct cli *c = s->c;
	const char *text = cli_value(c, "least"), *mhz = cli_value(c, "frequency"), *lead;

	*least = NAN;
	s->mhz = 900;
	if (text && (!ft_figure(ft_slice_of(text), least) || *least > -20 || *least < -150))
		return cli_usage(c, "--least takes a level in dBm from -150 to -20, not \"%s\".", text), false;
	if (mhz && (!ft_figure(ft_slice_of(mhz), &s->mhz) || s->mhz < 100 || s->mhz > 6000))
		return cli_usage(c, "--frequency takes MHz from 100 to 6000, not \"%s\".", mhz), false;
	for (int i = 0; (lead = cli_value_nth(c, "lead", i)) != NULL; i++) {
		if (i == LEADS_MAX)
			return cli_usage(c, "Eight leads can be compared at once."), false;
		if (!take_lead(s, lead))
			return cli_usage(
					   c,
					   "--lead takes CLASS:METRES, such as low-loss-100:3, or two points of its data sheet, such as "
					   "450=17.3,1800=35.6:3; \"%s\" is neither.",
					   lead),
				   false;
		s->leads[i].loss = ft_signal_loss(&s->leads[i].cable, s->mhz, s->leads[i].metres, s->leads[i].connectors);
	}
	return true;
}

static void places(const struct survey *s, struct ft_buf *out)
{
	ft_buf_puts(out, "    position             readings   median      10 %   spread   margin   above\n");
	for (int i = 0; i < s->log.position_count; i++) {
		const struct ft_signal_place *p = &s->r.places[i];
		if (!p->count)
			continue;
		ft_buf_puts(out, i == s->r.judged ? "  > " : "    ");
		cli_column(out, ft_slice_of(s->log.positions[i]), 20);
		ft_buf_printf(out, " %8zu %8.1f %9.1f %8.1f %8.1f %6.0f%%\n", p->count, p->median, p->p10, p->spread, p->margin,
		              100 * p->share_above);
	}
}

static void leads(const struct survey *s, struct ft_buf *out)
{
	const struct ft_signal_place *best = s->r.best < 0 ? NULL : &s->r.places[s->r.best];

	if (!s->lead_count || !best)
		return;
	ft_buf_printf(out, "\n    lead to %s, at %.0f MHz", s->log.positions[s->r.best], s->mhz);
	ft_buf_puts(out, "\n");
	for (size_t i = 0; i < s->lead_count; i++) {
		const struct lead *l = &s->leads[i];
		ft_buf_puts(out, "    ");
		cli_column(out, ft_slice_of(l->text), 28);
		ft_buf_printf(out, " loses %5.1f dB, leaves %6.1f dB of margin\n", l->loss, best->margin - l->loss);
	}
	ft_buf_puts(out, "    Coil no surplus: what is not needed still costs, and a tight coil more.\n");
}

static int print(struct survey *s)
{
	struct cli *c = s->c;
	const struct ft_signal_place *p = s->r.judged < 0 ? NULL : &s->r.places[s->r.judged];
	struct ft_buf out = { 0 };

	ft_buf_printf(&out, "%s: ", cli_verdict_text(c, s->r.verdict));
	if (p)
		ft_buf_printf(&out, "%s %.1f dBm at %s, %.1f dB above the %.0f that are needed.\n\n",
		              ft_signal_metric_word(p->metric), p->mean, s->log.positions[s->r.judged], p->margin,
		              s->r.least_dbm);
	else
		ft_buf_puts(&out, "no level was measured.\n\n");
	places(s, &out);
	leads(s, &out);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	cli_print_findings(c, &s->f);
	return cli_exit(s->r.verdict);
}

static void level(struct ft_json *j, const struct ft_signal_place *p)
{
	ft_json_object(j, "level_dbm");
	ft_json_real(j, "median", p ? p->median : NAN, 1);
	ft_json_real(j, "p10", p ? p->p10 : NAN, 1);
	ft_json_object_end(j);
	ft_json_real(j, "margin_db", p ? p->margin : NAN, 1);
	ft_json_real(j, "share_above", p ? p->share_above : NAN, 4);
}

static int document(struct survey *s)
{
	const struct ft_signal_place *p = s->r.judged < 0 ? NULL : &s->r.places[s->r.judged];
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int code;

	cli_document(s->c, &j, &out, s->r.verdict, &s->f);
	ft_json_i64(&j, "samples", (int64_t)s->log.count);
	ft_json_i64(&j, "unknown", (int64_t)s->log.unknown);
	ft_json_text(&j, "metric", p ? ft_signal_metric_word(p->metric) : NULL);
	ft_json_text(&j, "position", p ? s->log.positions[s->r.judged] : NULL);
	ft_json_real(&j, "least_dbm", p ? s->r.least_dbm : NAN, 1);
	level(&j, p);
	ft_json_bool(&j, "registered", s->log.registered);
	ft_json_array(&j, "positions");
	for (int i = 0; i < s->log.position_count; i++) {
		if (!s->r.places[i].count)
			continue;
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", s->log.positions[i]);
		ft_json_i64(&j, "samples", (int64_t)s->r.places[i].count);
		level(&j, &s->r.places[i]);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_array(&j, "leads");
	for (size_t i = 0; i < s->lead_count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "lead", s->leads[i].text);
		ft_json_real(&j, "loss_db", s->leads[i].loss, 2);
		ft_json_real(&j, "margin_db", s->r.best < 0 ? NAN : s->r.places[s->r.best].margin - s->leads[i].loss, 1);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	code = cli_document_end(s->c, &j);
	return code ? code : cli_exit(s->r.verdict);
}

static int run(struct cli *c)
{
	struct survey s = { .c = c, .f = { .arena = &c->arena } };
	const char *path = cli_value(c, "log");
	struct ft_slice bytes;
	double least;
	enum ft_status status;

	if (!path)
		return cli_usage(c, "Name the log of the survey: fettle signal --log FILE."), cli_failed(c);
	if (!take_options(&s, &least))
		return cli_failed(c);
	status = cli_read_file(c, path, "the signal log", FT_CSV_BYTES_MAX, &bytes);
	if (status == FT_OK)
		status = ft_signal_read(bytes, path, &c->arena, &s.log, &c->error);
	if (status == FT_OK)
		status = ft_signal_judge(&s.log, path, least, &c->arena, &s.f, &s.r, &c->error);
	if (status != FT_OK)
		return cli_failed(c);
	return c->json ? document(&s) : print(&s);
}

static const struct cli_option options[] = {
	{ "log", "FILE", "answers of a modem (+CSQ, +CESQ, +CEREG), or a table of levels" },
	{ "least", "DBM", "the level the unit needs, by its data sheet" },
	{ "lead", "CLASS:METRES", "an antenna lead of the kit, with two connectors; several may be given" },
	{ "frequency", "MHZ", "for the leads; 900 unless given" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_signal = {
	.name = "signal",
	.arguments = "--log FILE",
	.summary = "is the radio path good enough, and with which antenna lead",
	.about =
		"Reads what a modem answered to +CSQ, +CESQ and +CEREG, line by line, or a table with a column rsrp, rssi or dbm, and says how "
		"strong the path is, how much it has to spare, and what share of the time it stays above what the unit needs.\n\n"
		"A line \"position NAME\" (or a column position) parts the places of a survey. A place whose name holds closed or inside is "
		"the one that counts, for there the antenna will live; the others are compared with it. Leads are compared by what they "
		"leave of the margin at the best place: a class of cable, or two points of a data sheet.",
	.options = options,
	.examples =
		"$ fettle signal --log survey.txt --least -110\n$ fettle signal --log survey.txt --lead low-loss-100:3 --lead RG-174:3\n",
	.least = 0,
	.most = 0,
	.run = run,
};
