/* SPDX-License-Identifier: Apache-2.0 */
/* fettle rollout: who visits which machines on which day, in what order, and with what in the van. */
#include "rollout.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

#include "fettle/limits.h"
#include "fettle/stamp.h"
#include "fettle/time.h"
#include "verbs.h"

enum {
	WORK_STEPS = 8000000, /* ours: steps times stops and shifts that take a few seconds */
	STEPS_MOST = 30000,
	STEPS_LEAST = 2000,
	BOUND_ROUNDS = 400,
	BOUND_WORK = 60000000, /* ours: rounds times stops squared */
	NEWS_US = 3000000,     /* a line of progress where there is no terminal */
};

/* A figure with a decimal point, or `otherwise`. */
static bool given(struct cli *c, const char *name, double least, double most, double otherwise, double *ret)
{
	const char *text = cli_value(c, name);

	*ret = otherwise;
	if (!text || (ft_figure(ft_slice_of(text), ret) && *ret >= least && *ret <= most))
		return true;
	cli_usage(c, "--%s takes a figure from %g to %g, not \"%s\".", name, least, most, text);
	return false;
}

static bool read_table(struct rollout *r, const char *path, const char *what,
                       enum ft_status (*read)(struct ft_slice, const char *, struct ft_arena *, struct ft_fleet *,
                                              struct ft_error *))
{
	struct ft_slice bytes;

	return cli_read_file(r->c, path, what, FT_CSV_BYTES_MAX, &bytes) == FT_OK &&
		read(bytes, path, &r->c->arena, &r->fleet, &r->c->error) == FT_OK;
}

/* A survey and its catalogue in place of plain tables. */
static bool read_survey(struct rollout *r, const char *folder)
{
	struct cli *c = r->c;
	const char *technicians = cli_value(c, "technicians"), *way = cli_value(c, "distances");

	if (cli_value(c, "parts"))
		return cli_usage(c, "With --catalogue the parts come from its parts.csv; leave --parts out."), false;
	r->survey.c = c;
	if (survey_gather(&r->survey, folder) != FT_OK ||
	    ft_fleet_survey(&r->survey.catalogue, r->survey.machines, r->survey.count, &c->arena, &r->fleet, &c->error) !=
	        FT_OK)
		return false;
	if (technicians) {
		r->fleet.technician_count = 0;
		if (!read_table(r, technicians, "the technicians", ft_fleet_technicians))
			return false;
	}
	if (!r->fleet.technician_count)
		return ft_fail(&c->error, FT_E_INPUT,
		               "%s/technicians.csv names nobody; fill it in, or name another table with --technicians.",
		               folder),
			   false;
	return !way || read_table(r, way, "the distances", ft_fleet_distances);
}

static bool read_tables(struct rollout *r)
{
	struct cli *c = r->c;
	const char *technicians = cli_value(c, "technicians"), *parts = cli_value(c, "parts"),
			   *way = cli_value(c, "distances");

	if (!technicians)
		return cli_usage(
				   c,
				   "Who goes? Name the table with --technicians; fettle rollout --template technicians prints one to "
				   "fill in."),
			   false;
	return (!parts || read_table(r, parts, "the parts", ft_fleet_parts)) &&
		read_table(r, c->arguments[0], "the machines", ft_fleet_machines) &&
		read_table(r, technicians, "the technicians", ft_fleet_technicians) &&
		(!way || read_table(r, way, "the distances", ft_fleet_distances));
}

/* ---- what was promised and what changed ---- */

/* The machine that an option names; -1 and the error: none. */
static int machine_of(struct rollout *r, const char *option, struct ft_slice asset)
{
	const int n = ft_fleet_machine_of(&r->fleet, asset);

	for (size_t i = 0; n < 0 && i < r->survey.count; i++)
		if (ft_slice_eq_nocase(r->survey.machines[i].row->asset, ft_slice_trim(asset)))
			return cli_usage(r->c, "--%s: machine \"%.*s\" is not planned; fettle survey says %s.", option, FT_P(asset),
			                 ft_fit_word(r->survey.machines[i].fit)),
				   -1;
	if (n < 0)
		cli_usage(r->c, "--%s: there is no machine \"%.*s\" in %s.", option, FT_P(asset), r->c->arguments[0]);
	return n;
}

/* --done and --not: machines by their asset number, each option as often as needed. */
static bool marks(struct rollout *r, const char *option, const bool **ret)
{
	struct cli *c = r->c;
	bool *list = FT_NEW_ARRAY(&c->arena, r->fleet.machine_count + 1, bool);
	const char *text;

	if (!list)
		return ft_fail_memory(&c->error, "planning"), false;
	*ret = list;
	for (int i = 0; (text = cli_value_nth(c, option, i)); i++) {
		struct ft_slice rest = ft_slice_of(text), one;
		while (ft_slice_split(&rest, ',', &one)) {
			const int n = machine_of(r, option, one);
			if (n < 0)
				return false;
			list[n] = true;
		}
	}
	return true;
}

/* --without TECHNICIAN[:DATE] */
static bool absences(struct rollout *r)
{
	struct cli *c = r->c;
	struct ft_absence *list = FT_NEW_ARRAY(&c->arena, CLI_OPTIONS_MAX, struct ft_absence);
	const char *text;

	if (!list)
		return ft_fail_memory(&c->error, "planning"), false;
	for (int i = 0; (text = cli_value_nth(c, "without", i)); i++) {
		struct ft_slice s = ft_slice_of(text), date;
		size_t colon = ft_slice_find(s, FT_SLICE(":"));
		struct ft_absence x = { ft_fleet_technician_of(&r->fleet, (struct ft_slice){ s.p, colon }), INT64_MIN };
		date = colon < s.n ? (struct ft_slice){ s.p + colon + 1, s.n - colon - 1 } : (struct ft_slice){ NULL, 0 };
		if (x.technician < 0)
			return cli_usage(c, "--without: there is no technician \"%.*s\".", (int)colon, s.p), false;
		if (colon < s.n && !ft_fleet_date(date, &x.day))
			return cli_usage(c, "--without: \"%.*s\" is no date as 2026-11-30.", FT_P(date)), false;
		list[r->terms.absence_count++] = x;
	}
	r->terms.absences = list;
	return true;
}

/* --used PART=N: so many fewer are on hand. */
static bool used(struct rollout *r)
{
	struct cli *c = r->c;
	const char *text;

	for (int i = 0; (text = cli_value_nth(c, "used", i)); i++) {
		struct ft_slice s = ft_slice_of(text);
		size_t sign = ft_slice_find(s, FT_SLICE("="));
		int64_t n = 0;
		struct ft_fleet_part *part = NULL;
		for (size_t p = 0; p < r->fleet.part_count; p++)
			if (ft_slice_eq_nocase(r->fleet.parts[p].part, ft_slice_trim((struct ft_slice){ s.p, sign })))
				part = &r->fleet.parts[p];
		if (sign == s.n || !ft_slice_i64((struct ft_slice){ s.p + sign + 1, s.n - sign - 1 }, &n) || n < 0 ||
		    n > 1000000)
			return cli_usage(c, "--used takes a part and a number, as HJ-1=3, not \"%s\".", text), false;
		if (!part)
			return cli_usage(c, "--used: no kit and no table names a part \"%.*s\".", (int)sign, s.p), false;
		if (part->stock < 0)
			return cli_usage(
					   c,
					   "--used: how many \"%.*s\" are on hand is not known; give it under stock in the table of parts.",
					   (int)sign, s.p),
				   false;
		part->stock = part->stock > n ? part->stock - (int)n : 0;
	}
	return true;
}

static bool earlier_plan(struct rollout *r)
{
	struct cli *c = r->c;
	const char *path = cli_value(c, "plan");
	struct ft_promise *list = NULL;
	struct ft_slice bytes;

	if (!path)
		return true;
	if (cli_read_file(c, path, "the earlier plan", FT_CSV_BYTES_MAX, &bytes) != FT_OK)
		return false;
	if (bytes.n && bytes.p[0] == '{' && !rollout_plan_text(c, bytes, &bytes))
		return false;
	if (ft_fleet_promises(bytes, path, &r->fleet, &c->arena, &list, &r->terms.promise_count, &r->promise_gone,
	                      &c->error) != FT_OK)
		return false;
	r->terms.promises = list;
	return true;
}

/* One --move ASSET=TECHNICIAN:DATE among the promises, of which `list` has room for one more. */
static bool move(struct rollout *r, const char *text, struct ft_promise *list)
{
	struct cli *c = r->c;
	const struct ft_slice s = ft_slice_of(text);
	const size_t sign = ft_slice_find(s, FT_SLICE("="));
	const struct ft_slice whom = sign < s.n ? (struct ft_slice){ s.p + sign + 1, s.n - sign - 1 } : FT_SLICE("");
	const size_t colon = ft_slice_find(whom, FT_SLICE(":"));
	struct ft_promise p = { .leave = -1, .was_technician = -1, .was_start = -1, .was_leave = -1 };

	p.technician = ft_fleet_technician_of(&r->fleet, (struct ft_slice){ whom.p, colon });
	if (colon >= whom.n || !ft_fleet_date((struct ft_slice){ whom.p + colon + 1, whom.n - colon - 1 }, &p.day))
		return cli_usage(c, "--move takes a machine and whose day it goes to, as BD-0417=Tilda Moss:2026-12-01."),
			   false;
	p.machine = machine_of(r, "move", (struct ft_slice){ s.p, sign });
	if (p.machine < 0)
		return false;
	if (p.technician < 0)
		return cli_usage(c, "--move: there is no technician \"%.*s\".", (int)colon, whom.p), false;
	for (size_t i = 0; i < r->terms.promise_count; i++)
		if (list[i].machine == p.machine) {
			/* What the site was told stays known, so that the move is told to it. */
			list[i].technician = p.technician;
			list[i].day = p.day;
			list[i].leave = -1;
			return true;
		}
	p.order = (int)r->terms.promise_count;
	list[r->terms.promise_count++] = p;
	return true;
}

/* --move: the promise is for that day from now on, and the others are kept as they are. */
static bool moves(struct rollout *r)
{
	struct cli *c = r->c;
	struct ft_promise *list;
	const char *text = cli_value(c, "move");

	if (!text)
		return true;
	if (!cli_value(c, "plan"))
		return cli_usage(c, "--move changes an earlier plan; name it with --plan."), false;
	list = FT_NEW_ARRAY(&c->arena, r->terms.promise_count + CLI_OPTIONS_MAX, struct ft_promise);
	if (!list)
		return ft_fail_memory(&c->error, "planning"), false;
	if (r->terms.promise_count)
		memcpy(list, r->terms.promises, r->terms.promise_count * sizeof *list);
	r->terms.promises = list;
	for (int i = 0; (text = cli_value_nth(c, "move", i)); i++)
		if (!move(r, text, list))
			return false;
	return true;
}

/* Nobody is asked to move a machine to a day that the plan has not. */
static bool moves_are_days(struct rollout *r)
{
	char from[FT_DATE_TEXT], until[FT_DATE_TEXT];
	const char *text;

	for (int i = 0; (text = cli_value_nth(r->c, "move", i)); i++) {
		const struct ft_slice s = ft_slice_of(text), asset = { s.p, ft_slice_find(s, FT_SLICE("=")) };
		for (size_t k = 0; k < r->problem.problem.stop_count; k++)
			if (r->problem.promised[k] == -2 && r->problem.machine[k] == ft_fleet_machine_of(&r->fleet, asset))
				return cli_usage(r->c,
				                 "--move %s: that technician has no such day from %s to %s; see --from, --days and the "
				                 "days of work.",
				                 text, ft_fleet_date_text(r->terms.first_day, from),
				                 ft_fleet_date_text(r->terms.first_day + r->terms.days - 1, until)),
					   false;
	}
	return true;
}

/* --at HH:MM, and --at NAME=HH:MM for one technician. */
static bool hours(struct rollout *r)
{
	struct cli *c = r->c;
	int *of = FT_NEW_ARRAY(&c->arena, r->fleet.technician_count + 1, int);
	const char *text;

	r->terms.at = -1;
	if (!of)
		return ft_fail_memory(&c->error, "planning"), false;
	for (size_t i = 0; i < r->fleet.technician_count; i++)
		of[i] = -1;
	for (int i = 0; (text = cli_value_nth(c, "at", i)); i++) {
		const struct ft_slice s = ft_slice_of(text);
		const size_t sign = ft_slice_find(s, FT_SLICE("="));
		const bool named = sign < s.n;
		const struct ft_slice hour = named ? (struct ft_slice){ s.p + sign + 1, s.n - sign - 1 } : s;
		const int who = named ? ft_fleet_technician_of(&r->fleet, (struct ft_slice){ s.p, sign }) : -1;
		if (named && who < 0)
			return cli_usage(c, "--at: there is no technician \"%.*s\".", (int)sign, s.p), false;
		if (!ft_fleet_hour(ft_slice_trim(hour), named ? &of[who] : &r->terms.at))
			return cli_usage(c, "--at takes an hour as 11:30, or one technician's as \"Tilda Moss=11:30\", not \"%s\".",
			                 text),
				   false;
	}
	r->terms.at_of = of;
	return true;
}

/* The first day: --from, else that of the earlier plan, else tomorrow. */
static bool first_day(struct rollout *r)
{
	struct cli *c = r->c;
	const char *from = cli_value(c, "from");
	int offset;
	int64_t now = cli_now(&offset);

	if (from && !ft_fleet_date(ft_slice_of(from), &r->terms.first_day))
		return cli_usage(c, "--from takes a date as 2026-11-30, not \"%s\".", from), false;
	if (from)
		return true;
	r->terms.first_day = (now + (int64_t)offset * 60 * FT_SECOND) / (86400 * FT_SECOND) + 1;
	for (size_t i = 0; i < r->terms.promise_count; i++)
		if (!i || r->terms.promises[i].day < r->terms.first_day)
			r->terms.first_day = r->terms.promises[i].day;
	return true;
}

static bool take_terms(struct rollout *r)
{
	struct cli *c = r->c;
	int64_t days;

	if (!cli_number(c, "days", 1, FT_PLAN_DAYS_MAX, 14, &days) || !given(c, "road", 1, 3, 1.3, &r->terms.road) ||
	    !given(c, "speed", 5, 130, 45, &r->terms.kmh) || !given(c, "parking", 0, 120, 3, &r->terms.stop_minutes) ||
	    !given(c, "cushion", 0, 5, 1, &r->terms.cushion) || !cli_number(c, "seed", 0, INT64_MAX, 1, &r->seed))
		return false;
	r->terms.days = (int)days;
	r->terms.on_hand = cli_flag(c, "on-hand");
	return hours(r) && earlier_plan(r) && first_day(r) && moves(r) && marks(r, "done", &r->terms.done) &&
		marks(r, "not", &r->terms.not_first) && absences(r) && used(r);
}

/* ---- planning ---- */

struct news {
	bool terminal, drawn;
	int64_t last_us;
};

static void say_news(struct rollout *r, struct news *n)
{
	int64_t now = cli_monotonic();
	int share = (int)(100 * r->steps_done / r->steps), full = share / 4;

	if (now - n->last_us < (n->terminal ? 100000 : NEWS_US))
		return;
	n->last_us = now;
	if (n->terminal)
		fprintf(stderr, "\rplanning  [%.*s%.*s] %3d %%", full, "#########################", 25 - full,
		        ".........................", share);
	else
		fprintf(stderr, "planning: %d %% of the steps\n", share);
	n->drawn = n->terminal;
}

static bool seek(struct rollout *r)
{
	struct cli *c = r->c;
	const struct ft_route_problem *p = &r->problem.problem;
	const int64_t work = (int64_t)(p->stop_count + p->shift_count + 1);
	struct news news = { .terminal = isatty(STDERR_FILENO), .last_us = cli_monotonic() };
	int64_t begun = cli_monotonic(), portion, metres, most = WORK_STEPS / work;
	double seconds;

	most = most > STEPS_MOST ? STEPS_MOST : most < STEPS_LEAST ? STEPS_LEAST : most;
	if (!cli_number(c, "steps", 0, 1000000000, most, &r->steps) || !given(c, "seconds", 0.1, 86400, 8, &seconds) ||
	    ft_route_begin(p, r->problem.angles, (uint64_t)r->seed, &c->arena, &r->search, &c->error) != FT_OK)
		return false;
	for (int m = 0; m < FT_ROUTE_METHODS; m++) {
		ft_route_first(r->search, (enum ft_route_method)m, &r->methods[m].cost, &metres, &r->methods[m].left_out);
		r->methods[m].km = (double)metres / 1000;
	}
	while (r->steps_done < r->steps) {
		portion = r->steps - r->steps_done < 100 ? r->steps - r->steps_done : 100;
		ft_route_improve(r->search, portion, r->steps);
		r->steps_done += portion;
		say_news(r, &news);
		/* Asked for by number, the steps are all done: that is what makes a plan come out the same again. */
		if (!cli_value(c, "steps") && (double)(cli_monotonic() - begun) > seconds * 1e6 && r->steps_done < r->steps) {
			r->by_clock = true;
			break;
		}
	}
	if (news.drawn)
		fprintf(stderr, "\r%50s\r", "");
	return true;
}

const char *rollout_promise(const struct rollout *r, int machine)
{
	char date[FT_DATE_TEXT];

	for (size_t i = 0; i < r->terms.promise_count; i++) {
		const struct ft_promise *p = &r->terms.promises[i];
		if (p->machine == machine && p->was_technician >= 0)
			return ft_arena_printf(&r->c->arena, "%.*s, %s as promised",
			                       FT_P(r->fleet.technicians[p->was_technician].name),
			                       ft_fleet_date_text(p->was_day, date));
	}
	return NULL;
}

/* What the plan itself has to say. */
static void judge(struct rollout *r)
{
	struct cli *c = r->c;
	const struct ft_rollout *t = &r->told;

	for (size_t i = 0; i < t->unserved_count; i++) {
		const struct ft_fleet_machine *m = &r->fleet.machines[t->unserved[i].machine];
		ft_find(&r->findings, FT_RULE_ROLLOUT_LEFT_OUT,
		        (struct ft_where){ c->arguments[0], m->line, ft_arena_text(&c->arena, m->asset), NULL, false, 0 },
		        ft_bar_sentence(t->unserved[i].why), NULL);
	}
	for (size_t i = 0; i < r->survey.count; i++) {
		const struct ft_survey_machine *m = &r->survey.machines[i];
		if (m->fit == FT_FIT_CANNOT || m->fit == FT_FIT_LOOK_FIRST)
			ft_find(&r->findings, FT_RULE_ROLLOUT_NOT_FIT,
			        (struct ft_where){ c->arguments[0], m->row->line, ft_arena_text(&c->arena, m->row->asset), NULL,
			                           false, 0 },
			        ft_fit_word(m->fit), NULL);
	}
	for (size_t d = 0; d < t->day_count; d++) {
		char date[FT_DATE_TEXT];
		const char *who = ft_arena_printf(&c->arena, "%.*s, %s", FT_P(r->fleet.technicians[t->days[d].technician].name),
		                                  ft_fleet_date_text(t->days[d].day, date));
		for (size_t i = 0; i < t->days[d].count; i++) {
			const struct ft_rollout_stop *stop = &t->days[d].stops[i];
			const struct ft_fleet_machine *m = &r->fleet.machines[stop->machine];
			if (stop->moved)
				ft_find(&r->findings, FT_RULE_ROLLOUT_MOVED,
				        (struct ft_where){ c->arguments[0], m->line, ft_arena_text(&c->arena, m->asset), NULL, false,
				                           0 },
				        ft_arena_printf(&c->arena, "now %s%s", who, stop->asked ? ", asked for" : ""),
				        rollout_promise(r, stop->machine));
		}
		if (t->days[d].late_risk > 0.25)
			ft_find(&r->findings, FT_RULE_ROLLOUT_LATE, (struct ft_where){ .element = who },
			        ft_arena_printf(&c->arena, "the chance of being back too late is %.0f %%",
			                        100 * t->days[d].late_risk),
			        NULL);
	}
}

static bool plan(struct rollout *r)
{
	struct cli *c = r->c;
	struct ft_route_plan p;
	double risk;
	int64_t every, bound = 0;
	size_t n = r->problem.problem.stop_count;
	int rounds = n > 1 && BOUND_WORK / (n * n) < BOUND_ROUNDS ? (int)(BOUND_WORK / (n * n)) + 1 : BOUND_ROUNDS;

	if (!given(c, "risk", 0.000001, 0.5, 0.05, &risk) || !cli_number(c, "refill", 0, FT_PLAN_DAYS_MAX, 1, &every) ||
	    !seek(r) || ft_route_plan(r->search, &c->arena, &p, &c->error) != FT_OK)
		return false;
	const char *wrong = ft_route_wrong(&r->problem.problem, &p, &c->arena);
	if (wrong)
		return ft_fail(&c->error, FT_E_INTERNAL, "The plan did not pass its own check: %s. Please report this.", wrong),
			   false;
	if (ft_rollout_tell(&r->fleet, &r->problem, &p, risk, (int)every, &c->arena, &r->told, &c->error) != FT_OK ||
	    ft_route_bound(&r->problem.problem, &p, rounds, &c->arena, &bound, &r->told.bound_routes, &c->error) != FT_OK)
		return false;
	r->told.bound_km = (double)bound / 1000;
	judge(r);
	return true;
}

static int template(struct cli *c)
{
	const char *which = cli_value(c, "template");
	struct ft_buf out = { 0 };

	if (strcmp(which, "machines") != 0 && strcmp(which, "technicians") != 0 && strcmp(which, "parts") != 0)
		return cli_usage(c, "--template knows machines, technicians and parts, not \"%s\".", which), cli_failed(c);
	ft_fleet_template(which, &out);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return FT_OK;
}

static int run(struct cli *c)
{
	struct rollout r = { .c = c, .findings = { .arena = &c->arena } };

	if (cli_value(c, "template"))
		return template(c);
	if (!c->count)
		return cli_usage(c, "Name the table of machines; fettle rollout --template machines prints one to fill in."),
			   cli_failed(c);
	if (!(cli_value(c, "catalogue") ? read_survey(&r, cli_value(c, "catalogue")) : read_tables(&r)) ||
	    !take_terms(&r) || ft_fleet_make(&r.fleet, &r.terms, &c->arena, &r.problem, &c->error) != FT_OK ||
	    !moves_are_days(&r) || !plan(&r))
		return cli_failed(c);
	r.folder = cli_value(c, "o");
	if (r.folder && !rollout_write_files(&r))
		return cli_failed(c);
	r.opening = cli_flag(c, "open");
	if (r.opening && !rollout_open_visits(&r))
		return cli_failed(c);
	return c->json ? rollout_document(&r) : rollout_print(&r);
}

static const struct cli_option options[] = {
	{ "catalogue", "DIR", "plan a survey: kits and minutes as fettle survey judges them, people and stock from there" },
	{ "technicians", "FILE", "who goes: home, hours, days, skills" },
	{ "parts", "FILE", "what parts cost and weigh, how many are on hand" },
	{ "distances", "FILE",
	  "a square table of distances in km, or a list with from, to and km, in place of great circles" },
	{ "template", "WHICH", "print a table to fill in: machines, technicians or parts" },
	{ "from", "DATE", "first day of the plan (tomorrow)" },
	{ "days", "N", "calendar days to be looked at (14)" },
	{ "road", "X", "metres of road for one as the crow flies (1.3)" },
	{ "speed", "KMH", "mean speed (45)" },
	{ "parking", "MINUTES", "for each new site (3)" },
	{ "cushion", "Z", "standard deviations of the work kept free at a day's end (1)" },
	{ "risk", "P", "that a van lacks anything between two fillings, at most (0.05)" },
	{ "refill", "DAYS", "between two fillings of a van (1); 0: one for the whole plan" },
	{ "on-hand", NULL, "plan no machine whose parts are not on hand or on their way" },
	{ "seed", "N", "of the search (1)" },
	{ "steps", "N", "of the search; asked for, the clock is not looked at" },
	{ "seconds", "S", "of searching at most (8)" },
	{ "o", "DIR", "write the papers there: days, load, buying list, calendars, map, day sheets" },
	{ "letter", NULL, "day sheets on Letter instead of A4" },
	{ "open", NULL, "open a visit in the book for each planned machine" },
	{ "plan", "FILE", "an earlier plan (days.csv, or what --json printed), whose promises are kept" },
	{ "move", "ASSET=NAME:DATE", "promise the machine to this technician and day instead; the others stay" },
	{ "done", "ASSET", "done already; several with commas" },
	{ "not", "ASSET", "cannot be reached on the first day" },
	{ "without", "NAME[:DATE]", "this technician is away, on that day or on all" },
	{ "used", "PART=N", "so many fewer are on hand" },
	{ "at", "[NAME=]HH:MM", "plan the first day from this hour on, or this technician's" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_rollout = {
	.name = "rollout",
	.arguments = "MACHINES.csv --technicians FILE | SURVEY.csv --catalogue DIR | --template WHICH",
	.summary = "who visits which machines when, and with what in the van",
	.about =
		"Plans the visits of technicians over days: opening hours of the sites, working hours, skills, minutes on site with their "
		"spread, priorities, machines that belong together. It says how short any plan could be at best, and what three simple "
		"methods would have given. The van carries what keeps the risk of missing a part at what is asked, and what must be bought is "
		"listed against the stock.\n\n"
		"With --plan an earlier plan is kept: a machine promised for a day keeps its day and technician unless that is impossible, and "
		"what moved is told. The same tables, seed and steps give the same plan.\n\n"
		"Distances are great circles times a road factor, unless a table of distances is given. docs/rollout.md has the columns.",
	.options = options,
	.examples = "$ fettle rollout machines.csv --technicians technicians.csv \\\n"
				"      --from 2026-11-30 -o plan\n"
				"$ fettle rollout survey.csv --catalogue catalogue -o plan --open\n"
				"$ fettle rollout machines.csv --technicians technicians.csv \\\n"
				"      --plan plan/days.csv --done BD-0417 --without \"Tilda Moss\"\n",
	.least = 0,
	.most = 1,
	.run = run,
};
