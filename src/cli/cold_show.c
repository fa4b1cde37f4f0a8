/* SPDX-License-Identifier: Apache-2.0 */
/* What fettle cold says, for people and as a document; and its small sums of sensors. */
#include <math.h>

#include "cold.h"
#include "fettle/cold_picture.h"
#include "fettle/time.h"

/* "40 s", "12 min", "3 h 20 min", "2.5 days" */
static const char *span(struct cold_run *d, double s)
{
	long long minutes = llround(s / 60);

	if (isnan(s))
		return "not known";
	if (s < 120)
		return ft_arena_printf(&d->c->arena, "%lld s", llround(s));
	if (minutes < 120)
		return ft_arena_printf(&d->c->arena, "%lld min", minutes);
	if (minutes < 48 * 60)
		return ft_arena_printf(&d->c->arena, "%lld h %02lld min", minutes / 60, minutes % 60);
	return ft_arena_printf(&d->c->arena, "%.1f days", s / 86400);
}

static const char *sentence(const struct cold_run *d)
{
	bool food = d->o.food;

	if (d->r.verdict == FT_SHOWN)
		return food ? "the food keeps its temperature." : "the air in the cabinet keeps its temperature.";
	if (d->r.verdict == FT_CONTRADICTED)
		return d->r.time_above_s > 0 ? (food ? "the food does not keep its temperature."
		                                     : "the air in the cabinet does not keep its temperature.")
									 : "the probe does not tell the truth.";
	return food ? "it is not sure that the food keeps its temperature."
				: "it is not sure that the air in the cabinet keeps its temperature.";
}

static void print_log(struct cold_run *d, struct ft_buf *out)
{
	const struct ft_cold_log *log = &d->log;
	const struct ft_cold_result *r = &d->r;
	char from[FT_TIME_TEXT], to[FT_TIME_TEXT];
	int64_t first = log->samples[0].at_us, last = log->samples[log->count - 1].at_us;

	ft_time_text(first, log->offset_minutes, from);
	ft_time_text(last, log->offset_minutes, to);
	from[10] = to[10] = ' ';
	if (log->elapsed)
		ft_buf_printf(out, "    log        %zu readings over %s", log->count, span(d, (double)(last - first) / 1e6));
	else
		ft_buf_printf(out, "    log        %zu readings, %.16s to %.16s", log->count, from, to);
	ft_buf_printf(out, ", every %s\n", span(d, (double)log->step_us / 1e6));
	ft_buf_printf(out, "    readings   %.1f to %.1f C, %.1f C in the mean\n", r->least_c, r->most_c, r->mean_c);
	ft_buf_printf(out, "    limit      %.1f C for %s food, the probe within %.2g C\n", r->limit_c, r->rule.kind,
	              r->guard_c);
	ft_buf_printf(out, "    beyond it  %s%s\n", r->time_above_s > 0 ? span(d, r->time_above_s) : "never",
	              r->excused_s > 0
	                  ? ft_arena_printf(&d->c->arena, ", and %s that a service excuses", span(d, r->excused_s))
	                  : "");
	if (r->probe_checks)
		ft_buf_printf(out, "    probe      reads %.1f C too %s (%zu check%s)\n", fabs(r->probe_error_c),
		              r->probe_error_c < 0 ? "low" : "high", r->probe_checks, r->probe_checks == 1 ? "" : "s");
}

static void print_fit(struct cold_run *d, struct ft_buf *out)
{
	const struct ft_cold_fit *f = &d->r.fit;
	char at[FT_TIME_TEXT];

	if (!f->found)
		return;
	ft_time_text(f->from_us, d->log.offset_minutes, at);
	at[10] = ' ';
	ft_buf_printf(out, "    %s  from %.1f C", d->r.rule.side == FT_COLD_ABOVE ? "pull-down" : "warm-up  ", f->starts_c);
	if (!d->log.elapsed)
		ft_buf_printf(out, " at %.16s", at);
	ft_buf_printf(out, ", time constant %s", span(d, f->tau_s));
	if (!isnan(f->tau_lo) && !isnan(f->tau_hi))
		ft_buf_printf(out, " (%s to %s)", span(d, f->tau_lo), span(d, f->tau_hi));
	ft_buf_byte(out, '\n');
	if (f->settles_known)
		ft_buf_printf(out, "               settles at %.1f C (%.1f to %.1f)", f->settles_c, f->settles_lo,
		              f->settles_hi);
	else
		ft_buf_printf(out, "               too short to say where it settles");
	if (f->reach_s > 0)
		ft_buf_printf(out, ", reaches %.1f C after %s", d->r.limit_c, span(d, f->reach_s));
	ft_buf_byte(out, '\n');
}

static void print_machine(struct cold_run *d, struct ft_buf *out)
{
	const struct ft_cold_cycle *c = &d->r.cycle;
	const struct ft_cold_defrost *x = &d->r.defrost;
	const struct ft_cold_alarm *m = &d->r.alarm;

	if (c->cycles)
		ft_buf_printf(out, "    %s every %s, at work %.0f %% of it, swing %.1f C around %.1f C\n",
		              d->r.rule.side == FT_COLD_ABOVE ? "compressor" : "heater    ", span(d, c->period_s),
		              100 * c->duty, c->swing_c, c->mean_c);
	if (x->count)
		ft_buf_printf(out, "    defrost    %zu, every %s, up to %.1f C, back within %s\n", x->count,
		              span(d, x->every_s), x->peak_c, span(d, x->length_s));
	if (!m->found)
		return;
	ft_buf_printf(out, "    alarm      %s %.1f C for %s: never on this log\n",
	              d->r.rule.side == FT_COLD_ABOVE ? "above" : "below", m->threshold_c, span(d, m->delay_s));
	ft_buf_printf(out, "               tells of a dead %s after %s (at %.1f C), of a door ajar after %s\n",
	              d->r.rule.side == FT_COLD_ABOVE ? "compressor" : "heater", span(d, m->dead_s), m->dead_at_c,
	              span(d, m->ajar_s));
	ft_buf_printf(out, "               room at %.0f C; it %s as %s%s\n", m->room_c,
	              d->r.rule.side == FT_COLD_ABOVE ? "warms" : "cools",
	              m->warm_measured ? "between its runs" : "assumed: time constant 6 h",
	              m->ajar_measured ? "; ajar as in the openings of the log" : "; ajar assumed four times as fast");
}

enum ft_status cold_draw(struct cold_run *d, const char *path)
{
	struct ft_buf out = { 0 };
	const char *about = sentence(d), *name = d->o.name;
	struct ft_cold_picture p = { .log = &d->log, .result = &d->r, .offset_minutes = d->log.offset_minutes };
	enum ft_status s;

	for (const char *c = name; *c; c++) /* the name without its folders */
		name = *c == '/' && c[1] ? c + 1 : name;
	p.title = ft_arena_printf(&d->c->arena, "%s, %s food", name, d->r.rule.kind);
	p.about = ft_arena_printf(&d->c->arena, "%s: %s", ft_verdict_word(d->r.verdict), about);
	if (!p.title || !p.about)
		return ft_fail_memory(&d->c->error, "drawing the log");
	s = ft_cold_svg(&p, &d->c->arena, &out, &d->c->error);
	if (s == FT_OK)
		s = cli_write_file(d->c, path, ft_buf_text(&out));
	ft_buf_done(&out);
	return s;
}

int cold_print(struct cold_run *d)
{
	struct cli *c = d->c;
	struct ft_buf out = { 0 };

	ft_buf_printf(&out, "%s: %s\n\n", cli_verdict_text(c, d->r.verdict), sentence(d));
	print_log(d, &out);
	print_fit(d, &out);
	print_machine(d, &out);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	cli_print_findings(c, &d->f);
	return cli_exit(d->r.verdict);
}

static void document_fit(struct ft_json *j, const struct ft_cold_fit *f)
{
	bool known = f->found && f->settles_known;

	ft_json_real(j, "tau_s", f->found ? f->tau_s : NAN, 1);
	ft_json_real(j, "tau_low_s", f->found ? f->tau_lo : NAN, 1);
	ft_json_real(j, "tau_high_s", f->found ? f->tau_hi : NAN, 1);
	ft_json_real(j, "settles_at_c", known ? f->settles_c : NAN, 2);
	ft_json_real(j, "settles_low_c", known ? f->settles_lo : NAN, 2);
	ft_json_real(j, "settles_high_c", known ? f->settles_hi : NAN, 2);
	ft_json_real(j, "reach_s", f->found ? f->reach_s : NAN, 1);
}

static void document_machine(struct ft_json *j, const struct ft_cold_result *r)
{
	const struct ft_cold_alarm *m = &r->alarm;

	if (r->cycle.cycles) {
		ft_json_object(j, "cycle");
		ft_json_i64(j, "cycles", (int64_t)r->cycle.cycles);
		ft_json_real(j, "period_s", r->cycle.period_s, 1);
		ft_json_real(j, "duty", r->cycle.duty, 3);
		ft_json_real(j, "swing_c", r->cycle.swing_c, 2);
		ft_json_object_end(j);
	} else {
		ft_json_null(j, "cycle");
	}
	if (r->defrost.count) {
		ft_json_object(j, "defrost");
		ft_json_i64(j, "count", (int64_t)r->defrost.count);
		ft_json_real(j, "every_s", r->defrost.every_s, 0);
		ft_json_real(j, "peak_c", r->defrost.peak_c, 2);
		ft_json_object_end(j);
	} else {
		ft_json_null(j, "defrost");
	}
	if (!m->found) {
		ft_json_null(j, "alarm");
		return;
	}
	ft_json_object(j, "alarm");
	ft_json_real(j, "threshold_c", m->threshold_c, 1);
	ft_json_real(j, "delay_s", m->delay_s, 0);
	ft_json_real(j, "dead_compressor_s", m->dead_s, 0);
	ft_json_real(j, "door_ajar_s", m->ajar_s, 0);
	ft_json_real(j, "room_c", m->room_c, 1);
	ft_json_bool(j, "warming_measured", m->warm_measured);
	ft_json_bool(j, "ajar_measured", m->ajar_measured);
	ft_json_object_end(j);
}

int cold_document(struct cold_run *d)
{
	const struct ft_cold_result *r = &d->r;
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int code;

	cli_document(d->c, &j, &out, r->verdict, &d->f);
	ft_json_text(&j, "kind", r->rule.kind);
	ft_json_text(&j, "measured", d->o.food ? "food" : "air");
	ft_json_i64(&j, "readings", (int64_t)d->log.count);
	ft_json_real(&j, "step_s", (double)d->log.step_us / 1e6, 1);
	ft_json_real(&j, "limit_c", r->limit_c, 2);
	ft_json_real(&j, "guard_c", r->guard_c, 2);
	ft_json_real(&j, "time_above_s", r->time_above_s, 1);
	ft_json_real(&j, "time_excused_s", r->excused_s, 1);
	ft_json_real(&j, "time_in_band_s", r->band_s, 1);
	ft_json_real(&j, "time_judged_s", r->judged_s, 1);
	ft_json_real(&j, "least_c", r->least_c, 2);
	ft_json_real(&j, "most_c", r->most_c, 2);
	document_fit(&j, &r->fit);
	ft_json_real(&j, "probe_error_c", r->probe_error_c, 2);
	document_machine(&j, r);
	code = cli_document_end(d->c, &j);
	return code ? code : cli_exit(r->verdict);
}

/* ---- sensors ---- */

int cold_sensor(struct cli *c)
{
	struct ft_sensor s;
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	double ohms, at, lead, wrong;

	if (ft_sensor_parse(ft_slice_of(cli_value(c, "sensor")), &s, &c->error) != FT_OK ||
	    !cold_option(c, "ohms", 1e-3, 1e9, &ohms) || !cold_option(c, "at", -270, 1000, &at) ||
	    !cold_option(c, "lead", 0, 1e6, &lead))
		return cli_failed(c);
	if (c->count || isnan(ohms) == isnan(at))
		return cli_usage(c, "--sensor takes either --ohms R or --at C, and no log."), cli_failed(c);
	if (isnan(at))
		at = ft_sensor_c(&s, ohms - (isnan(lead) ? 0 : lead));
	else
		ohms = ft_sensor_ohms(&s, at) + (isnan(lead) ? 0 : lead);
	if (isnan(at) || isnan(ohms))
		return cli_usage(c, "This is beyond what such a sensor can tell."), cli_failed(c);
	wrong = isnan(lead) ? NAN : ft_sensor_lead_error(&s, at, lead);
	if (c->json) {
		cli_document(c, &j, &out, FT_SHOWN, NULL);
		ft_json_real(&j, "temperature_c", at, 3);
		ft_json_real(&j, "ohms", ohms, 4);
		ft_json_real(&j, "lead_error_c", wrong, 3);
		return cli_document_end(c, &j);
	}
	ft_buf_printf(&out, "%.10g ohm is %.2f C (%.2f F).\n", ohms, at, at * 9 / 5 + 32);
	if (!isnan(wrong))
		ft_buf_printf(&out, "Without taking the lead of %.3g ohm off it would read %+.2f C from the truth.\n", lead,
		              wrong);
	if (*s.source)
		ft_buf_printf(&out, "Curve: %s.\n", s.source);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return 0;
}
