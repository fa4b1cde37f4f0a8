/* SPDX-License-Identifier: Apache-2.0 */
/* A plan for people and as a document. */
#include <math.h>
#include <string.h>

#include "reads.h"
#include "rollout.h"

enum { FILLINGS_SHOWN = 2, BUYS_SHOWN = 20 };

static const char *weekday(int64_t day)
{
	static const char *const names[] = { "Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed" };

	return names[(day % 7 + 7) % 7];
}

static void put_day(const struct rollout *r, const struct ft_rollout_day *d, struct ft_buf *out)
{
	char date[FT_DATE_TEXT];

	ft_buf_printf(out, "\n%s %s  ", weekday(d->day), ft_fleet_date_text(d->day, date));
	cli_name(out, r->fleet.technicians[d->technician].name, 22);
	ft_buf_printf(out, "  leave %02d:%02d  back %02d:%02d  %7.1f km\n", d->leave / 60, d->leave % 60, d->back / 60,
	              d->back % 60, d->km);
	for (size_t i = 0; i < d->count; i++) {
		const struct ft_rollout_stop *s = &d->stops[i];
		const struct ft_fleet_machine *m = &r->fleet.machines[s->machine];
		ft_buf_printf(out, "  %s %02d:%02d to %02d:%02d  ",
		              s->moved            ? ">"
		                  : s->other_hour ? "~"
		                                  : " ",
		              s->start / 60, s->start % 60, s->leave / 60, s->leave % 60);
		cli_name(out, m->asset, 14);
		ft_buf_puts(out, "  ");
		cli_name(out, m->site, 28);
		ft_buf_printf(out, " %7.1f km\n", s->km);
	}
}

/* One sentence of the summary; NULL: none. */
static void put_sentence(const struct rollout *r, const char *text, struct ft_buf *out)
{
	if (!text)
		return;
	ft_buf_puts(out, "  ");
	ft_wrap(out, text, r->c->columns, 4);
	ft_buf_puts(out, ".\n");
}

/* "  To be looked at first, so not planned: BD-1022, BD-1029." */
static void put_not_planned(const struct rollout *r, enum ft_fit fit, const char *why, struct ft_buf *out)
{
	const char *text = NULL;

	for (size_t i = 0; i < r->survey.count; i++)
		if (r->survey.machines[i].fit == fit)
			text = ft_arena_printf(&r->c->arena, "%s%s%.*s", text ? text : why, text ? ", " : "",
			                       FT_P(r->survey.machines[i].row->asset));
	if (!text)
		return;
	ft_buf_puts(out, "  ");
	ft_wrap(out, text, r->c->columns, 4);
	ft_buf_puts(out, ".\n");
}

/* "  Moved: BD-1071 to Tilda Moss, 2026-12-01 (Jorin Vale, 2026-11-30 as promised; asked for)." */
static void put_moved(const struct rollout *r, struct ft_buf *out)
{
	const char *text = "Moved: ";
	bool first = true;

	for (size_t d = 0; text && d < r->told.day_count; d++)
		for (size_t i = 0; text && i < r->told.days[d].count; i++) {
			const struct ft_rollout_stop *s = &r->told.days[d].stops[i];
			const char *was;
			char date[FT_DATE_TEXT];
			if (!s->moved)
				continue;
			was = rollout_promise(r, s->machine);
			text = ft_arena_printf(&r->c->arena, "%s%s%.*s to %.*s, %s (%s%s)", text, first ? "" : "; ",
			                       FT_P(r->fleet.machines[s->machine].asset),
			                       FT_P(r->fleet.technicians[r->told.days[d].technician].name),
			                       ft_fleet_date_text(r->told.days[d].day, date), was ? was : "?",
			                       s->asked ? "; asked for" : "");
			first = false;
		}
	put_sentence(r, text, out);
}

/* "  At another hour: BD-1225 11:45 (07:46 as promised)." */
static void put_hours(const struct rollout *r, struct ft_buf *out)
{
	const char *text = NULL;

	for (size_t d = 0; d < r->told.day_count; d++)
		for (size_t i = 0; i < r->told.days[d].count; i++) {
			const struct ft_rollout_stop *s = &r->told.days[d].stops[i];
			if (s->other_hour)
				text = ft_arena_printf(&r->c->arena, "%s%.*s %02d:%02d (%02d:%02d as promised)",
				                       text ? ft_arena_printf(&r->c->arena, "%s; ", text) : "At another hour: ",
				                       FT_P(r->fleet.machines[s->machine].asset), s->start / 60, s->start % 60,
				                       s->was_start / 60, s->was_start % 60);
		}
	put_sentence(r, text, out);
}

/* "  Not where it was asked for: BD-1008 (Tilda Moss, 2026-12-01)." */
static void put_refused(const struct rollout *r, struct ft_buf *out)
{
	const char *text = NULL;

	for (size_t k = 0; k < r->terms.promise_count; k++) {
		const struct ft_promise *p = &r->terms.promises[k];
		char date[FT_DATE_TEXT];
		bool there = r->terms.done && r->terms.done[p->machine];
		if (p->technician == p->was_technician && p->day == p->was_day)
			continue; /* nothing else was asked for */
		for (size_t d = 0; d < r->told.day_count; d++)
			for (size_t i = 0; i < r->told.days[d].count; i++)
				there |= r->told.days[d].stops[i].machine == p->machine &&
					r->told.days[d].technician == p->technician && r->told.days[d].day == p->day;
		if (!there)
			text = ft_arena_printf(&r->c->arena, "%s%.*s (%.*s, %s)",
			                       text ? ft_arena_printf(&r->c->arena, "%s; ", text)
			                            : "Does not fit where it was asked for: ",
			                       FT_P(r->fleet.machines[p->machine].asset),
			                       FT_P(r->fleet.technicians[p->technician].name), ft_fleet_date_text(p->day, date));
	}
	put_sentence(r, text, out);
}

/* Whose first day --at is not for, as nothing is said of it. */
static void put_mornings(const struct rollout *r, struct ft_buf *out)
{
	const char *text = NULL;

	for (size_t i = 0; r->terms.at >= 0 && i < r->fleet.technician_count; i++) {
		bool goes = false;
		for (size_t d = 0; d < r->told.day_count; d++)
			goes |= r->told.days[d].technician == (int)i && r->told.days[d].day == r->terms.first_day;
		if (goes && ft_fleet_at(&r->terms, (int)i) < 0)
			text = ft_arena_printf(&r->c->arena, "%s%s%.*s", text ? text : "", text ? ", " : "",
			                       FT_P(r->fleet.technicians[i].name));
	}
	if (!text)
		return;
	text =
		ft_arena_printf(&r->c->arena,
	                    "Nothing is said of the morning of %s: it is kept as promised; --at NAME=HH:MM says otherwise",
	                    text);
	ft_buf_puts(out, "  ");
	ft_wrap(out, text ? text : "", r->c->columns, 4);
	ft_buf_puts(out, ".\n");
}

static void put_summary(const struct rollout *r, struct ft_buf *out)
{
	const struct ft_rollout *t = &r->told;
	const size_t planned = r->problem.problem.stop_count - t->unserved_count;

	ft_buf_printf(out, "%s: %zu of %zu machines planned", cli_verdict_text(r->c, ft_verdict_of(&r->findings, false)),
	              planned, r->problem.problem.stop_count);
	if (t->done)
		ft_buf_printf(out, ", %zu done before", t->done);
	ft_buf_printf(out, ".\n\n  %zu %s out, %.1f km. No plan of these visits is shorter than %.1f km.\n", t->day_count,
	              t->day_count == 1 ? "day" : "days", t->km, t->bound_km);
	if (r->terms.promise_count) {
		ft_buf_printf(out, "  Of %zu promised, %zu keep day and technician, %zu moved (marked >).\n", t->promised,
		              t->kept, t->moved);
		if (t->moved)
			put_moved(r, out);
		if (t->other_hour) {
			ft_buf_printf(out, "  Of those kept, %zu at another hour by more than %d minutes (marked ~).\n",
			              t->other_hour, FT_HOUR_KEPT);
			put_hours(r, out);
		}
		if (t->moved || t->other_hour)
			ft_buf_puts(out, "  Tell their sites before the day.\n");
		put_refused(r, out);
		if (r->promise_gone)
			ft_buf_printf(out, "  %zu %s of the earlier plan %s not in the tables any more.\n", r->promise_gone,
			              r->promise_gone == 1 ? "line" : "lines", r->promise_gone == 1 ? "is" : "are");
	}
	put_mornings(r, out);
	put_not_planned(r, FT_FIT_LOOK_FIRST, "To be looked at first, so not planned: ", out);
	put_not_planned(r, FT_FIT_CANNOT, "Cannot be fitted, so not planned: ", out);
}

static void put_methods(const struct rollout *r, struct ft_buf *out)
{
	bool shorter = false;

	ft_buf_puts(out, "\nBeside it                       km   left out\n");
	ft_buf_printf(out, "  this plan            %12.1f %10zu\n", r->told.km, r->told.unserved_count);
	for (int m = 0; m < FT_ROUTE_REGRET; m++)
		ft_buf_printf(out, "  %-20s %12.1f %10zu\n", ft_route_method_word((enum ft_route_method)m), r->methods[m].km,
		              r->methods[m].left_out);
	for (int m = 0; m < FT_ROUTE_REGRET; m++)
		shorter |= r->methods[m].km < r->told.km;
	ft_buf_printf(out, "  %-20s %12.1f\n", "lower bound", r->told.bound_km);
	if (shorter && r->terms.promise_count)
		ft_buf_puts(out,
		            "  A promise that is kept weighs more than kilometres: a method may be shorter as\n"
		            "  it moves more of the machines promised.\n");
	if (r->by_clock)
		ft_buf_printf(
			out,
			"  The clock ended the search after %lld of %lld steps; --steps N gives the\n  same plan every time.\n",
			(long long)r->steps_done, (long long)r->steps);
}

static void put_risk(struct ft_buf *out, double risk)
{
	if (risk < 0.000005)
		ft_buf_puts(out, "      none");
	else
		ft_buf_printf(out, " %7.3f %%", 100 * risk);
}

static void put_filling(const struct rollout *r, const struct ft_rollout_filling *f, struct ft_buf *out)
{
	char from[FT_DATE_TEXT], until[FT_DATE_TEXT];
	size_t needed = 0;

	for (size_t p = 0; p < f->van.part_count; p++)
		needed += f->van.loads[p].most > 0;
	if (!needed)
		return;
	ft_buf_printf(out, "\nIn the van of %.*s, %s", FT_P(r->fleet.technicians[f->technician].name),
	              ft_fleet_date_text(f->from, from));
	if (f->until != f->from)
		ft_buf_printf(out, " to %s", ft_fleet_date_text(f->until, until));
	ft_buf_puts(out, "\n  expected  sure carry      risk  one more  part\n");
	for (size_t p = 0; p < f->van.part_count; p++) {
		const struct ft_van_load *l = &f->van.loads[p];
		if (!l->most)
			continue;
		ft_buf_printf(out, "  %8.2f %5d %5d", l->expected, l->surely, l->carry);
		put_risk(out, l->risk);
		put_risk(out, l->next);
		ft_buf_puts(out, "  ");
		cli_last(r->c, r->fleet.parts[p].name, 46, out);
	}
	ft_buf_printf(out, "  Risk of missing anything: at most %.3f %%, asked %.3f %%.\n", 100 * f->van.bound,
	              100 * r->told.risk_asked);
}

static void put_buys(const struct rollout *r, struct ft_buf *out)
{
	char date[FT_DATE_TEXT];
	size_t shown = 0, all = 0;

	for (size_t i = 0; i < r->told.buy_count; i++)
		all += r->told.buys[i].buy > 0;
	if (!all)
		return;
	ft_buf_puts(out, "\nTo be bought  needed  have   buy  by\n");
	for (size_t i = 0; i < r->told.buy_count && shown < BUYS_SHOWN; i++) {
		const struct ft_rollout_buy *b = &r->told.buys[i];
		if (!b->buy)
			continue;
		ft_buf_puts(out, "  ");
		cli_name(out, r->fleet.parts[b->part].part, 12);
		ft_buf_printf(out, " %5d ", b->needed);
		if (b->stock < 0)
			ft_buf_puts(out, "    ?");
		else
			ft_buf_printf(out, "%5d", b->stock);
		ft_buf_printf(out, " %5d  %s  ", b->buy, ft_fleet_date_text(b->by, date));
		cli_last(r->c,
		         ft_slice_eq(r->fleet.parts[b->part].name, r->fleet.parts[b->part].part) ? FT_SLICE("")
		                                                                                 : r->fleet.parts[b->part].name,
		         46, out);
		shown++;
	}
	if (all > shown)
		ft_buf_printf(out, "  and %zu more; buy.csv has all of them.\n", all - shown);
}

/* The findings that the lines above have not told already. */
static void print_findings(struct rollout *r)
{
	struct ft_findings rest = r->findings;

	rest.list = FT_NEW_ARRAY(&r->c->arena, r->findings.count + 1, struct ft_finding);
	rest.count = 0;
	for (size_t i = 0; rest.list && i < r->findings.count; i++)
		if (r->findings.list[i].rule != FT_RULE_ROLLOUT_NOT_FIT && r->findings.list[i].rule != FT_RULE_ROLLOUT_MOVED)
			rest.list[rest.count++] = r->findings.list[i];
	cli_print_findings(r->c, rest.list ? &rest : &r->findings);
}

int rollout_print(struct rollout *r)
{
	struct cli *c = r->c;
	struct ft_buf out = { 0 };

	put_summary(r, &out);
	for (size_t d = 0; d < r->told.day_count; d++)
		put_day(r, &r->told.days[d], &out);
	put_methods(r, &out);
	for (size_t i = 0; i < r->told.filling_count && i < FILLINGS_SHOWN; i++)
		put_filling(r, &r->told.fillings[i], &out);
	if (r->told.filling_count > FILLINGS_SHOWN && r->fleet.part_count)
		ft_buf_printf(&out, "\n  and %zu more %s of a van; load.csv of -o DIR has all of them.\n",
		              r->told.filling_count - FILLINGS_SHOWN,
		              r->told.filling_count - FILLINGS_SHOWN == 1 ? "filling" : "fillings");
	put_buys(r, &out);
	if (r->folder)
		ft_buf_printf(&out, "\nWritten to %s: %zu papers.\n", r->folder, r->file_count);
	if (r->opening)
		ft_buf_printf(&out, "\nOpened %zu %s in the book; %zu %s had one open already.\n", r->opened,
		              r->opened == 1 ? "visit" : "visits", r->open_before,
		              r->open_before == 1 ? "machine" : "machines");
	if (r->handed_on)
		put_sentence(r, ft_arena_printf(&c->arena, "Of these, another technician's now: %s", r->handed_on_text), &out);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	print_findings(r);
	return cli_exit(ft_verdict_of(&r->findings, false));
}

/* ---- the document ---- */

static void json_hour(struct ft_json *j, const char *key, int minutes)
{
	char text[16];

	snprintf(text, sizeof text, "%02d:%02d", minutes / 60 % 100, minutes % 60);
	ft_json_text(j, key, text);
}

static void json_date(struct ft_json *j, const char *key, int64_t day)
{
	char text[FT_DATE_TEXT];

	ft_json_text(j, key, ft_fleet_date_text(day, text));
}

static void json_days(const struct rollout *r, struct ft_json *j)
{
	ft_json_array(j, "days");
	for (size_t d = 0; d < r->told.day_count; d++) {
		const struct ft_rollout_day *day = &r->told.days[d];
		ft_json_object(j, NULL);
		ft_json_slice(j, "technician", r->fleet.technicians[day->technician].name);
		json_date(j, "date", day->day);
		json_hour(j, "leave", day->leave);
		json_hour(j, "back", day->back);
		ft_json_real(j, "distance_km", day->km, 3);
		ft_json_real(j, "late_risk", day->late_risk, 6);
		ft_json_array(j, "stops");
		for (size_t i = 0; i < day->count; i++) {
			const struct ft_rollout_stop *s = &day->stops[i];
			ft_json_object(j, NULL);
			ft_json_slice(j, "asset", r->fleet.machines[s->machine].asset);
			ft_json_slice(j, "site", r->fleet.machines[s->machine].site);
			json_hour(j, "arrive", s->arrive);
			json_hour(j, "start", s->start);
			json_hour(j, "leave", s->leave);
			ft_json_real(j, "km", s->km, 3);
			ft_json_bool(j, "moved", s->moved);
			ft_json_bool(j, "asked", s->asked);
			if (s->was_start >= 0)
				json_hour(j, "start_promised", s->was_start);
			else
				ft_json_null(j, "start_promised");
			ft_json_object_end(j);
		}
		ft_json_array_end(j);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void json_load(const struct rollout *r, struct ft_json *j)
{
	ft_json_array(j, "load");
	for (size_t i = 0; i < r->told.filling_count; i++) {
		const struct ft_rollout_filling *f = &r->told.fillings[i];
		for (size_t p = 0; p < f->van.part_count; p++) {
			const struct ft_van_load *l = &f->van.loads[p];
			if (!l->most)
				continue;
			ft_json_object(j, NULL);
			ft_json_slice(j, "technician", r->fleet.technicians[f->technician].name);
			json_date(j, "from", f->from);
			json_date(j, "until", f->until);
			ft_json_slice(j, "part", r->fleet.parts[p].part);
			ft_json_real(j, "expected", l->expected, 6);
			ft_json_i64(j, "sure", l->surely);
			ft_json_i64(j, "carry", l->carry);
			ft_json_real(j, "risk", l->risk, 9);
			ft_json_real(j, "risk_with_one_more", l->next, 9);
			ft_json_array(j, "bought");
			for (size_t k = 0; k < f->van.step_count; k++) {
				if (f->van.steps[k].part != (int)p)
					continue;
				ft_json_object(j, NULL);
				ft_json_i64(j, "carry", f->van.steps[k].carry);
				ft_json_real(j, "risk_before", f->van.steps[k].before, 9);
				ft_json_real(j, "risk_after", f->van.steps[k].after, 9);
				ft_json_object_end(j);
			}
			ft_json_array_end(j);
			ft_json_object_end(j);
		}
	}
	ft_json_array_end(j);
}

static void json_rest(const struct rollout *r, struct ft_json *j)
{
	ft_json_array(j, "buy");
	for (size_t i = 0; i < r->told.buy_count; i++) {
		const struct ft_rollout_buy *b = &r->told.buys[i];
		ft_json_object(j, NULL);
		ft_json_slice(j, "part", r->fleet.parts[b->part].part);
		ft_json_i64(j, "needed", b->needed);
		ft_json_count(j, "stock", b->stock < 0 ? FT_ABSENT : b->stock);
		ft_json_i64(j, "buy", b->buy);
		if (b->buy)
			json_date(j, "by", b->by);
		else
			ft_json_null(j, "by");
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "left_out");
	for (size_t i = 0; i < r->told.unserved_count; i++) {
		ft_json_object(j, NULL);
		ft_json_slice(j, "asset", r->fleet.machines[r->told.unserved[i].machine].asset);
		ft_json_text(j, "why", ft_bar_sentence(r->told.unserved[i].why));
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "methods");
	for (int m = 0; m < FT_ROUTE_REGRET; m++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "name", ft_route_method_word((enum ft_route_method)m));
		ft_json_real(j, "distance_km", r->methods[m].km, 3);
		ft_json_i64(j, "left_out", (int64_t)r->methods[m].left_out);
		ft_json_i64(j, "cost", r->methods[m].cost);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

int rollout_document(struct rollout *r)
{
	const enum ft_verdict v = ft_verdict_of(&r->findings, false);
	struct ft_buf out = { 0 };
	struct ft_json j;
	int code;

	cli_document(r->c, &j, &out, v, &r->findings);
	ft_json_real(&j, "distance_km", r->told.km, 3);
	ft_json_real(&j, "lower_bound_km", r->told.bound_km, 3);
	ft_json_i64(&j, "lower_bound_days", r->told.bound_routes);
	ft_json_i64(&j, "cost", ft_route_cost(r->search));
	json_days(r, &j);
	json_load(r, &j);
	ft_json_real(&j, "risk_asked", r->told.risk_asked, 9);
	ft_json_real(&j, "risk_worst", r->told.risk_worst, 9);
	json_rest(r, &j);
	ft_json_i64(&j, "promised", (int64_t)r->told.promised);
	ft_json_i64(&j, "kept", (int64_t)r->told.kept);
	ft_json_i64(&j, "moved", (int64_t)r->told.moved);
	ft_json_i64(&j, "other_hour", (int64_t)r->told.other_hour);
	ft_json_i64(&j, "done", (int64_t)r->told.done);
	ft_json_i64(&j, "seed", r->seed);
	ft_json_i64(&j, "steps", r->steps_done);
	ft_json_bool(&j, "ended_by_clock", r->by_clock);
	ft_json_count(&j, "visits_opened", r->opening ? (int64_t)r->opened : FT_ABSENT);
	ft_json_count(&j, "visits_handed_on", r->opening ? (int64_t)r->handed_on : FT_ABSENT);
	code = cli_document_end(r->c, &j);
	return code ? code : cli_exit(v);
}
