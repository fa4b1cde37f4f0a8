/* SPDX-License-Identifier: Apache-2.0 */
/* The radio path with its lead, and the order of work: first what is fixed, then the bus, then what hangs on the unit,
 * last what is proved. */
#include "wiring_fill.h"

#include <math.h>

/* ---- the radio path ---- */

static void say(const char **list, size_t *count, const char *text)
{
	if (text && *count < FT_WIRING_LINES_MAX)
		list[(*count)++] = text;
}

/* The margin of the place that counts; NAN: not measured. */
static double fill_level(struct filling *f)
{
	struct ft_wiring *w = f->w;
	const struct ft_evidence *x = NULL;
	struct ft_findings findings = { .arena = f->a };
	struct ft_signal_result *r = FT_NEW(f->a, struct ft_signal_result);
	struct ft_signal_log log;
	const struct ft_signal_place *p;

	for (size_t i = 0; i < f->v->evidence_count; i++)
		if (f->v->evidence[i].kind == FT_EVIDENCE_SIGNAL && f->v->evidence[i].bytes.p)
			x = &f->v->evidence[i];
	if (!x || !r) {
		say(w->signal, &w->signal_count, "Not measured yet: survey it with the door closed.");
		return NAN;
	}
	if (ft_signal_read(x->bytes, x->name, f->a, &log, NULL) != FT_OK ||
	    ft_signal_judge(&log, x->name, f->unit ? f->unit->least_dbm : NAN, f->a, &findings, r, NULL) != FT_OK ||
	    r->judged < 0) {
		say(w->signal, &w->signal_count, "The log cannot be read, or has no level: fettle signal says why.");
		return NAN;
	}
	p = &r->places[r->judged];
	say(w->signal, &w->signal_count,
	    ft_arena_printf(f->a, "%s %.1f dBm%s%s, %.1f dB %s what is needed.", ft_signal_metric_word(p->metric), p->mean,
	                    log.position_count ? " " : "", log.position_count ? log.positions[r->judged] : "",
	                    fabs(p->margin), p->margin < 0 ? "below" : "above"));
	return p->margin;
}

/* What the survey found at the antenna's place; NAN: nothing. */
static double surveyed_margin(const struct filling *f)
{
	return (f->row->antenna == FT_ANTENNA_INSIDE ? f->row->inside_dbm : f->row->outside_dbm) - f->unit->least_dbm;
}

/* The lead that the survey would choose, so that the sheet and what was packed say the same. */
static enum ft_status fill_lead(struct filling *f, double margin, struct ft_error *e)
{
	struct ft_survey_priors priors;
	struct ft_survey *survey;
	const struct ft_signal_lead *l = &f->lead.judged;
	bool measured = !isnan(margin);
	enum ft_status s;

	if (!f->row || !f->unit || isnan(f->row->path_m) || !f->c->lead_count)
		return FT_OK;
	ft_survey_priors(&priors);
	s = ft_survey_begin(f->c, &priors, f->a, &survey, e);
	if (s != FT_OK)
		return s;
	if (!measured)
		margin = surveyed_margin(f);
	if (!ft_survey_lead(survey, f->unit, f->row->path_m, margin, "the catalogue", f->a, &f->lead))
		return ft_fail_memory(e, "filling the wiring sheet");
	f->lead_asked = true;
	if (f->lead.lead < 0) {
		say(f->w->signal, &f->w->signal_count,
		    ft_arena_printf(f->a, "No lead of the kit reaches %.1f m and leaves enough: look for another place.",
		                    f->row->path_m));
		return FT_OK;
	}
	say(f->w->signal, &f->w->signal_count,
	    ft_arena_printf(f->a, "Lead %s, %.1f m: takes %.1f dB on its way of %.1f m.", l->name, l->metres, l->loss,
	                    f->row->path_m));
	if (!isnan(l->margin))
		say(f->w->signal, &f->w->signal_count,
		    ft_arena_printf(f->a, "It leaves %.1f dB%s.", l->margin, measured ? "" : " by the survey's level"));
	return FT_OK;
}

enum ft_status fill_signal(struct filling *f, struct ft_error *e)
{
	if (!(f->v->without & FT_PART_ANTENNA))
		return fill_lead(f, fill_level(f), e);
	say(f->w->signal, &f->w->signal_count, "No antenna on this job.");
	return FT_OK;
}

/* ---- the order of work ---- */

static int step(struct filling *f, int wire, const char *text)
{
	struct ft_wiring *w = f->w;

	if (w->step_count == FT_WIRING_STEPS_MAX || !text)
		return 0;
	w->steps[w->step_count] = (struct ft_wiring_step){ (int)w->step_count + 1, text, wire };
	return (int)++w->step_count;
}

static void run(struct filling *f, enum ft_wire wire, int from, int to, int number, double length, const char *gauge)
{
	struct ft_wiring *w = f->w;

	if (from >= 0 && to >= 0 && w->run_count < FT_WIRING_RUNS_MAX)
		w->runs[w->run_count++] = (struct ft_wiring_run){ wire, from, to, number, length, gauge };
}

static const char *spot_words(enum ft_spot s)
{
	static const char *const words[FT_SPOT_COUNT] = {
		[FT_SPOT_UNKNOWN] = "where it is dry, off moving parts and in reach of its leads (look first)",
		[FT_SPOT_ROOF] = "on top of the cabinet",
		[FT_SPOT_CABINET_TOP] = "at the top of the cabinet",
		[FT_SPOT_CABINET_MIDDLE] = "in the middle of the cabinet",
		[FT_SPOT_CABINET_BOTTOM] = "at the bottom of the cabinet",
		[FT_SPOT_DOOR_TOP] = "at the top of the door",
		[FT_SPOT_DOOR_MIDDLE] = "in the middle of the door",
		[FT_SPOT_DOOR_BOTTOM] = "at the bottom of the door",
	};

	return words[s];
}

static const char *metres(struct filling *f, double m)
{
	return isnan(m) ? "length: measure it" : ft_arena_printf(f->a, "%.1f m", m);
}

/* " (TP-C)"; "" without a part. */
static const char *in_brackets(struct filling *f, const struct ft_part_row *p)
{
	const char *id = p ? fill_text(f, p->part) : NULL, *t = id ? ft_arena_printf(f->a, " (%s)", id) : NULL;

	return t ? t : "";
}

/* A part of exactly this kind, or, where `or_any`, one for any kind. */
static const char *with_part(struct filling *f, enum ft_purpose purpose, struct ft_slice of, bool or_any)
{
	return in_brackets(f, !f->c ? NULL : or_any ? ft_part_for(f->c, purpose, of) : ft_part_exactly(f->c, purpose, of));
}

/* One for this unit, else one for this front. */
static const char *with_mounting(struct filling *f)
{
	enum ft_front front = f->row ? f->row->front : FT_FRONT_UNKNOWN;
	const char *own = with_part(f, FT_PURPOSE_MOUNTING, f->unit ? f->unit->unit : (struct ft_slice){ 0 }, false);

	if (*own || !front)
		return own;
	return with_part(f, FT_PURPOSE_MOUNTING, front == FT_FRONT_GLASS ? FT_SLICE("glass") : FT_SLICE("metal"), false);
}

/* The order of what was there, for the sentence: "bill validator, then coin changer". */
static const char *rest_of_chain(struct filling *f)
{
	const char *t = NULL;

	for (size_t i = 0; i < f->w->thing_count; i++) {
		const struct ft_thing *x = &f->w->things[i];
		if (x->kind >= FT_THING_READER && x->kind <= FT_THING_PERIPHERAL)
			t = t ? ft_arena_printf(f->a, "%s, then %s", t, x->name) : x->name;
	}
	return t;
}

static void bus(struct filling *f)
{
	enum ft_tri available = f->row ? f->row->bus_free : FT_TRI_UNKNOWN;
	int unit = f->at[FT_THING_UNIT], controller = f->at[FT_THING_CONTROLLER], last = unit, n;
	const char *rest = rest_of_chain(f), *tee = with_part(f, FT_PURPOSE_TEE, (struct ft_slice){ 0 }, true);
	const char *how;

	if (f->v->without & FT_PART_BUS)
		return;
	if (available == FT_TRI_YES)
		how = "Bus: plug the unit into the free bus connector at the controller";
	else if (available == FT_TRI_NO)
		how = ft_arena_printf(f->a, "Bus: pull the harness at the controller and put the tee%s between", tee);
	else
		how =
			ft_arena_printf(f->a, "Bus: look for a free bus connector at the controller; is there none, take the tee%s",
		                    tee);
	n = step(f, FT_WIRE_BUS,
	         ft_arena_printf(f->a, "%s, ahead of %s. Controller to unit: %s.", how ? how : "",
	                         rest ? rest : "validator and changer", metres(f, f->row ? f->row->run_m : NAN)));
	run(f, FT_WIRE_BUS, controller, unit, n, f->row ? f->row->run_m : NAN, NULL);
	for (size_t i = 0, k = 0; i < f->w->thing_count; i++) {
		if (f->w->things[i].kind < FT_THING_READER || f->w->things[i].kind > FT_THING_PERIPHERAL)
			continue;
		run(f, FT_WIRE_BUS, last, (int)i, 0, f->row ? f->row->peripherals[k].length_m : NAN, NULL);
		last = (int)i;
		k++;
	}
}

static void audit(struct filling *f)
{
	int port = f->at[FT_THING_AUDIT_PORT], n;

	if (port < 0)
		return;
	n = step(f, FT_WIRE_AUDIT,
	         ft_arena_printf(f->a, "Audit: lead%s from the unit to the audit port, %s; measure the way.%s",
	                         with_part(f, FT_PURPOSE_HARNESS, fill_connector(f), false), f->w->things[port].note,
	                         f->family && f->family->settings.n && !fill_is(f->family->settings, "none")
	                             ? ft_arena_printf(f->a, " Set %.*s.", FT_P(f->family->settings))
	                             : ""));
	run(f, FT_WIRE_AUDIT, f->at[FT_THING_UNIT], port, n, NAN, NULL);
}

static void door(struct filling *f)
{
	int at = f->at[FT_THING_SWITCH], n;
	enum ft_tri own = f->row ? f->row->door_switch : FT_TRI_UNKNOWN;
	const char *part = with_part(f, FT_PURPOSE_DOOR_SWITCH, (struct ft_slice){ 0 }, true);

	if (at < 0)
		return;
	n = step(f, FT_WIRE_SWITCH,
	         own == FT_TRI_YES
	             ? "Door: two wires to the machine's own switch; measure the way. If there is voltage on it, use a "
	               "switch of your own."
	             : own == FT_TRI_NO
	             ? ft_arena_printf(f->a, "Door: screw the switch on its bracket%s, closed only when the door is.", part)
	             : ft_arena_printf(f->a,
	                               "Door: look for a switch of the machine; is there none, take the one on "
	                               "a bracket%s.",
	                               part));
	run(f, FT_WIRE_SWITCH, f->at[FT_THING_UNIT], at, n, NAN, NULL);
}

static void probes(struct filling *f)
{
	const char *cabinet = f->row ? ft_cabinet_word(f->row->cabinet) : "";
	int n;

	if (f->at[FT_THING_PROBE] < 0)
		return;
	n = step(f, FT_WIRE_PROBE,
	         ft_arena_printf(f->a, "Probe%s: %s, in the air that comes back from the product, clear of walls and fan.",
	                         with_part(f, FT_PURPOSE_PROBE, ft_slice_of(cabinet), true),
	                         f->w->things[f->at[FT_THING_PROBE]].spot
	                             ? spot_words(f->w->things[f->at[FT_THING_PROBE]].spot)
	                             : "place: look first"));
	for (size_t i = 0; i < f->w->thing_count; i++)
		if (f->w->things[i].kind == FT_THING_PROBE)
			run(f, FT_WIRE_PROBE, f->at[FT_THING_UNIT], (int)i, n, NAN, NULL);
}

static const char *lead_words(struct filling *f)
{
	const struct ft_signal_lead *l = &f->lead.judged;
	const char *cable, *adapter, *surplus, *t;

	if (!f->lead_asked)
		return "lead: choose it when unit and way are known";
	if (f->lead.lead < 0)
		return "no lead of the kit does: see what is said of the signal";
	cable = fill_text(f, f->c->leads[f->lead.lead].cable);
	adapter = f->lead.adapter < 0
		? ""
		: ft_arena_printf(f->a, " with the adapter%s", in_brackets(f, &f->c->parts[f->lead.adapter]));
	surplus = l->surplus < 0.3
		? ""
		: ft_arena_printf(f->a, "; %.1f m left over, laid in long bends and not coiled", l->surplus);
	t = ft_arena_printf(f->a, "lead %s, %.1f m%s%s%s%s", l->name, l->metres, cable ? " " : "", cable ? cable : "",
	                    adapter ? adapter : "", surplus ? surplus : "");
	return t ? t : "";
}

static void antenna(struct filling *f)
{
	enum ft_antenna_place place = f->row ? f->row->antenna : FT_ANTENNA_UNKNOWN;
	bool known = f->lead_asked && f->lead.lead >= 0;
	int at = f->at[FT_THING_ANTENNA], n;

	if (at < 0)
		return;
	n = step(f, FT_WIRE_ANTENNA,
	         ft_arena_printf(f->a, "Antenna%s: %s; %s.",
	                         place ? with_part(f, FT_PURPOSE_ANTENNA, ft_slice_of(ft_antenna_place_word(place)), false)
	                               : "",
	                         f->w->things[at].spot ? spot_words(f->w->things[at].spot) : "place: look first",
	                         lead_words(f)));
	run(f, FT_WIRE_ANTENNA, f->at[FT_THING_UNIT], at, n, known ? f->lead.judged.metres : NAN,
	    known ? fill_text(f, f->c->leads[f->lead.lead].cable) : NULL);
}

void fill_steps(struct filling *f)
{
	const struct ft_thing *unit = &f->w->things[f->at[FT_THING_UNIT]];
	bool hot = f->row && f->row->cabinet == FT_CABINET_HOT;

	f->w->off_first = hot
		? "Switch off, pull the plug and keep it in your hand's reach. Let the boiler cool. Wait until the "
		  "meter says 0\302\240V between 1 and 2 of the bus plug; only then pull a plug of the bus."
		: "Switch off, pull the plug and keep it in your hand's reach. Wait until the meter says 0\302\240V between "
		  "1 and 2 of the bus plug; only then pull a plug of the bus.";
	step(f, -1, ft_arena_printf(f->a, "Fix the unit%s %s.", with_mounting(f), spot_words(unit->spot)));
	bus(f);
	audit(f);
	door(f);
	probes(f);
	antenna(f);
	step(
		f, -1,
		"Tie every harness to what runs there already, with a loop at the hinge. Open and close the door: nothing pulls, "
		"nothing pinches.");
	step(
		f, -1,
		"Switch on. Measure the volts at the unit, then at the last device, and watch every device come up before you sell.");
}
