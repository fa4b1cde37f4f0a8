/* SPDX-License-Identifier: Apache-2.0 */
/* What a survey amounts to, for people and for programs. */
#include <math.h>
#include <string.h>

#include "reads.h"
#include "signal_survey.h"

enum { WHY_AT = 60 }; /* column of the words behind a lead */

/* The place of readings without a name is called here. */
static const char *at_word(const char *place)
{
	return strcmp(place, "here") == 0 ? "" : "at ";
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

static void lead(const struct survey *s, const struct ft_signal_lead *l, struct ft_buf *out)
{
	ft_buf_puts(out, l->recommended ? "  > " : "    ");
	cli_column(out, ft_slice_of(l->name), 24);
	ft_buf_printf(out, " %5.1f m %6.1f dB ", l->metres, l->loss);
	if (isnan(l->margin))
		ft_buf_puts(out, "       -   ");
	else
		ft_buf_printf(out, "%7.1f dB", l->margin);
	if (!isnan(s->way.metres)) {
		ft_buf_puts(out, "   ");
		ft_wrap(out, l->recommended || !l->why ? "take this one" : l->why, s->c->columns, WHY_AT);
	}
	ft_buf_byte(out, '\n');
}

static void leads(const struct survey *s, struct ft_buf *out)
{
	const struct ft_signal_lead *l = s->lead < 0 ? NULL : &s->leads[s->lead];

	if (!s->lead_count)
		return;
	ft_buf_byte(out, '\n');
	if (s->at >= 0)
		ft_buf_printf(out, "    With the antenna %s%s\n", at_word(s->log.positions[s->at]), s->log.positions[s->at]);
	ft_buf_printf(out, "    lead, at %.0f MHz          length      loss    leaves\n", s->way.mhz);
	for (size_t i = 0; i < s->lead_count; i++)
		lead(s, &s->leads[i], out);
	if (l && l->surplus > 0.05) {
		const char *t = ft_arena_printf(&s->c->arena,
		                                "%.1f m of it are more than the way and lose %.1f dB: lay them in a wide loop "
		                                "away from metal and mains; a tight coil loses more (common practice).",
		                                l->surplus, l->surplus_loss);
		ft_buf_puts(out, "\n    ");
		ft_wrap(out, t ? t : "", s->c->columns, 4);
		ft_buf_byte(out, '\n');
	} else if (isnan(s->way.metres)) {
		ft_buf_puts(out, "    Coil no surplus: what is not needed still costs, and a tight coil more.\n");
	}
}

int signal_print(struct survey *s)
{
	struct cli *c = s->c;
	const struct ft_signal_place *p = s->r.judged < 0 ? NULL : &s->r.places[s->r.judged];
	struct ft_buf out = { 0 };

	if (p) {
		const char *place = s->log.positions[s->r.judged];
		cli_say(c, "%s: %s %.1f dBm on average %s%s, %.1f dB %s the %.0f that are needed.",
		        cli_verdict_text(c, s->r.verdict), ft_signal_metric_word(p->metric), p->mean, at_word(place), place,
		        fabs(p->margin), p->margin < 0 ? "below" : "above", s->r.least_dbm);
	} else {
		cli_say(c, "%s: no level was measured.", cli_verdict_text(c, s->r.verdict));
	}
	ft_buf_byte(&out, '\n');
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
	ft_json_real(j, "quality_db", p ? p->quality : NAN, 1);
}

static void lead_document(struct ft_json *j, const struct ft_signal_lead *l)
{
	static const char *const words[] = { "fits", "too-short", "too-much-loss", "unmeasured" };

	ft_json_object(j, NULL);
	ft_json_text(j, "lead", l->name);
	ft_json_real(j, "length_m", l->metres, 2);
	ft_json_i64(j, "connectors", l->connectors);
	ft_json_real(j, "loss_db", l->loss, 2);
	ft_json_real(j, "loss_most_db", l->loss_most, 2);
	ft_json_real(j, "margin_db", l->margin, 1);
	ft_json_real(j, "surplus_m", l->surplus > 0 ? l->surplus : isnan(l->surplus) ? NAN : 0, 2);
	ft_json_real(j, "surplus_db", l->surplus_loss, 2);
	ft_json_text(j, "fit", words[l->fit]);
	ft_json_text(j, "reason", l->why);
	ft_json_bool(j, "recommended", l->recommended);
	ft_json_object_end(j);
}

int signal_document(struct survey *s)
{
	const struct ft_signal_place *p = s->r.judged < 0 ? NULL : &s->r.places[s->r.judged];
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	bool usable;
	int code;

	cli_document(s->c, &j, &out, s->r.verdict, &s->f);
	ft_json_i64(&j, "samples", (int64_t)s->log.count);
	ft_json_i64(&j, "unknown", (int64_t)s->log.unknown);
	ft_json_text(&j, "metric", p ? ft_signal_metric_word(p->metric) : NULL);
	ft_json_text(&j, "position", p ? s->log.positions[s->r.judged] : NULL);
	ft_json_real(&j, "least_dbm", p ? s->r.least_dbm : NAN, 1);
	level(&j, p);
	ft_json_bool(&j, "registered", s->log.registered);
	ft_json_text(&j, "registration", ft_signal_net_word(s->log.registration, &usable));
	if (s->baud)
		ft_json_i64(&j, "baud", s->baud);
	else
		ft_json_null(&j, "baud");
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
	ft_json_real(&j, "reach_m", s->way.metres, 2);
	ft_json_text(&j, "antenna_at", s->at < 0 ? NULL : s->log.positions[s->at]);
	ft_json_text(&j, "lead", s->lead < 0 ? NULL : s->leads[s->lead].name);
	ft_json_array(&j, "leads");
	for (size_t i = 0; i < s->lead_count; i++)
		lead_document(&j, &s->leads[i]);
	ft_json_array_end(&j);
	code = cli_document_end(s->c, &j);
	return code ? code : cli_exit(s->r.verdict);
}
