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
	    ft_arena_printf(f->a, "%s %.0f dBm%s%s, %.1f dB %s what is needed.", ft_signal_metric_word(p->metric),
	                    p->median, log.position_count ? " " : "", log.position_count ? log.positions[r->judged] : "",
	                    fabs(p->margin), p->margin < 0 ? "below" : "above"));
	return p->margin;
}

static bool cable_of(const struct ft_lead *l, struct ft_signal_cable *ret)
{
	size_t n;
	const struct ft_signal_cable *all = ft_signal_cables(&n);

	if (!isnan(l->mhz[0]) && !isnan(l->mhz[1]))
		return ft_signal_fit(l->mhz[0], l->db_per_100m[0], l->mhz[1], l->db_per_100m[1], ret);
	for (size_t i = 0; i < n; i++)
		if (fill_is(l->cable, all[i].name)) {
			*ret = all[i];
			return true;
		}
	return false;
}

/* The lead of the catalogue that reaches and leaves the margin; where nothing was measured, the shortest that
 * reaches. */
static void fill_lead(struct filling *f, double margin)
{
	size_t n = f->c ? f->c->lead_count : 0, used = 0;
	struct ft_signal_lead *list = n ? FT_NEW_ARRAY(f->a, n, struct ft_signal_lead) : NULL;
	const struct ft_lead **from = n ? FT_NEW_ARRAY(f->a, n, const struct ft_lead *) : NULL;
	struct ft_findings findings = { .arena = f->a };
	struct ft_signal_way way = { f->unit ? f->unit->mhz : NAN, margin, f->row ? f->row->path_m : NAN, NAN };
	int best;

	if (!list || !from || isnan(way.metres) || isnan(way.mhz))
		return;
	for (size_t i = 0; i < n && used < FT_SIGNAL_LEADS_MAX; i++) {
		const struct ft_lead *l = &f->c->leads[i];
		struct ft_signal_lead x = { .name = fill_text(f, l->lead), .metres = l->length_m, .connectors = 2 };
		if (!x.name || isnan(l->length_m) || !cable_of(l, &x.cable) ||
		    (l->to.n && f->unit->antenna_connector.n && !ft_slice_eq_nocase(l->to, f->unit->antenna_connector)))
			continue;
		from[used] = l;
		list[used++] = x;
	}
	best = ft_signal_leads_judge(list, used, &way, "the catalogue", f->a, &findings);
	for (size_t i = 0; best < 0 && i < used; i++)
		if (list[i].fit == FT_SIGNAL_UNMEASURED && (best < 0 || list[i].metres < list[best].metres))
			best = (int)i;
	if (best < 0) {
		say(f->w->signal, &f->w->signal_count,
		    ft_arena_printf(f->a, "No lead of the kit reaches %.1f m and leaves enough: look for another place.",
		                    way.metres));
		return;
	}
	f->lead = from[best];
	f->judged = list[best];
	f->lead_known = true;
	say(f->w->signal, &f->w->signal_count,
	    ft_arena_printf(f->a, "Lead %s, %.1f m: takes %.1f dB on its way of %.1f m.", f->judged.name, f->judged.metres,
	                    f->judged.loss, way.metres));
	if (!isnan(f->judged.margin))
		say(f->w->signal, &f->w->signal_count, ft_arena_printf(f->a, "It leaves %.1f dB.", f->judged.margin));
}

void fill_signal(struct filling *f)
{
	if (f->v->without & FT_PART_ANTENNA)
		say(f->w->signal, &f->w->signal_count, "No antenna on this job.");
	else
		fill_lead(f, fill_level(f));
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

static const char *with_part(struct filling *f, enum ft_purpose purpose, struct ft_slice of)
{
	const struct ft_part_row *p = fill_part(f, purpose, of);
	const char *id = p ? fill_text(f, p->part) : NULL;

	return id ? ft_arena_printf(f->a, " (%s)", id) : "";
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
	const char *rest = rest_of_chain(f), *tee = with_part(f, FT_PURPOSE_TEE, (struct ft_slice){ 0 });
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
	struct ft_slice kind = f->row ? f->row->connector : (struct ft_slice){ 0 };

	if (port < 0)
		return;
	n = step(f, FT_WIRE_AUDIT,
	         ft_arena_printf(f->a, "Audit: lead%s from the unit to the audit port, %s; measure the way.%s",
	                         with_part(f, FT_PURPOSE_HARNESS, kind), f->w->things[port].note,
	                         f->family && f->family->settings.n && !fill_is(f->family->settings, "none")
	                             ? ft_arena_printf(f->a, " Set %.*s.", FT_P(f->family->settings))
	                             : ""));
	run(f, FT_WIRE_AUDIT, f->at[FT_THING_UNIT], port, n, NAN, NULL);
}

static void door(struct filling *f)
{
	int at = f->at[FT_THING_SWITCH], n;
	enum ft_tri own = f->row ? f->row->door_switch : FT_TRI_UNKNOWN;
	const char *part = with_part(f, FT_PURPOSE_DOOR_SWITCH, (struct ft_slice){ 0 });

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
	int n;

	if (f->at[FT_THING_PROBE] < 0)
		return;
	n = step(f, FT_WIRE_PROBE,
	         ft_arena_printf(f->a, "Probe%s: %s, in the air that comes back from the product, clear of walls and fan.",
	                         with_part(f, FT_PURPOSE_PROBE, (struct ft_slice){ 0 }),
	                         f->w->things[f->at[FT_THING_PROBE]].spot
	                             ? spot_words(f->w->things[f->at[FT_THING_PROBE]].spot)
	                             : "place: look first"));
	for (size_t i = 0; i < f->w->thing_count; i++)
		if (f->w->things[i].kind == FT_THING_PROBE)
			run(f, FT_WIRE_PROBE, f->at[FT_THING_UNIT], (int)i, n, NAN, NULL);
}

static void antenna(struct filling *f)
{
	int at = f->at[FT_THING_ANTENNA], n;
	const char *lead = "lead: choose it when the way is measured";

	if (at < 0)
		return;
	if (f->lead_known) {
		const char *cable = fill_text(f, f->lead->cable);
		lead = ft_arena_printf(f->a, "lead %s, %.1f m%s%s%s", f->judged.name, f->judged.metres, cable ? " " : "",
		                       cable ? cable : "",
		                       f->judged.surplus >= 0.3
		                           ? ft_arena_printf(f->a, "; %.1f m left over, laid in long bends and not coiled",
		                                             f->judged.surplus)
		                           : "");
	}
	n = step(f, FT_WIRE_ANTENNA,
	         ft_arena_printf(f->a, "Antenna: %s; %s.",
	                         f->w->things[at].spot ? spot_words(f->w->things[at].spot) : "place: look first", lead));
	run(f, FT_WIRE_ANTENNA, f->at[FT_THING_UNIT], at, n, f->lead_known ? f->judged.metres : NAN,
	    f->lead_known ? fill_text(f, f->lead->cable) : NULL);
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
	step(f, -1,
	     ft_arena_printf(f->a, "Fix the unit%s %s.", with_part(f, FT_PURPOSE_MOUNTING, ft_slice_of("unit")),
	                     spot_words(unit->spot)));
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
