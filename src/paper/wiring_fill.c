/* SPDX-License-Identifier: Apache-2.0 */
/* What is drawn, from the visit, its survey row and the catalogues. Nothing is guessed: what nobody wrote down stays
 * unknown and is drawn so. */
#include "wiring_fill.h"

#include "fettle/time.h"

#include <math.h>

const char *fill_text(struct filling *f, struct ft_slice s)
{
	s = ft_slice_trim(s);
	return s.n ? ft_arena_text(f->a, s) : NULL;
}

bool fill_is(struct ft_slice s, const char *word)
{
	return ft_slice_eq_nocase(ft_slice_trim(s), ft_slice_of(word));
}

struct ft_slice fill_connector(const struct filling *f)
{
	if (f->row && f->row->connector.n)
		return f->row->connector;
	return f->family ? f->family->connector : (struct ft_slice){ 0 };
}

/* The spot written for a thing in the survey's places ("unit=door-middle"). */
static enum ft_spot spot_of(const struct filling *f, const char *name)
{
	for (size_t i = 0; f->row && i < f->row->places.count; i++) {
		struct ft_slice rest = f->row->places.list[i], key;
		enum ft_spot spot;
		if (ft_slice_split(&rest, '=', &key) && fill_is(key, name) && ft_spot_parse(rest, &spot))
			return spot;
	}
	return FT_SPOT_UNKNOWN;
}

static int add_thing(struct filling *f, enum ft_thing_kind kind, const char *name, const char *note, enum ft_spot spot,
                     enum ft_tri there)
{
	struct ft_wiring *w = f->w;

	if (w->thing_count == FT_WIRING_THINGS_MAX || !name)
		return -1;
	w->things[w->thing_count] = (struct ft_thing){ kind, name, note, spot, there };
	if (f->at[kind] < 0)
		f->at[kind] = (int)w->thing_count;
	return (int)w->thing_count++;
}

/* ---- the bus ---- */

static enum ft_thing_kind kind_of(struct ft_slice s)
{
	static const struct {
		const char *word;
		enum ft_thing_kind kind;
	} words[] = { { "changer", FT_THING_CHANGER },
		          { "validator", FT_THING_VALIDATOR },
		          { "reader", FT_THING_READER },
		          { "cashless", FT_THING_READER } };

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (ft_slice_holds(s, words[i].word))
			return words[i].kind;
	return FT_THING_PERIPHERAL;
}

static const char *const kind_names[FT_THINGS] = {
	[FT_THING_CHANGER] = "coin changer", [FT_THING_VALIDATOR] = "bill validator", [FT_THING_READER] = "card reader"
};

static const char *unit_name(struct filling *f)
{
	const char *t = f->row ? fill_text(f, f->row->unit) : NULL;

	return t ? t : "new unit";
}

/* The chain as it will be: controller, unit, then what was there before in its order. */
static bool fill_peripherals(struct filling *f)
{
	const struct ft_survey_row *r = f->row;
	struct ft_chain *chain = FT_NEW(f->a, struct ft_chain);
	size_t count = r && r->peripherals_known ? r->peripheral_count : 0;

	if (!chain)
		return false;
	*chain = (struct ft_chain){ .first = "controller",
		                        .supply_v = NAN,
		                        .rating_a = NAN,
		                        .weakest = -1,
		                        .margin_v = NAN,
		                        .margin_ma = NAN,
		                        .place = -1 };
	chain->knots = FT_NEW_ARRAY(f->a, count + 1, struct ft_chain_knot);
	if (!chain->knots)
		return false;
	for (size_t i = 0; i <= count; i++)
		chain->knots[i] = (struct ft_chain_knot){ .volts = { NAN, NAN, NAN }, .least_v = NAN };
	chain->knots[0].name = unit_name(f);
	chain->knots[0].unit = true;
	chain->knots[0].length_m = r ? r->run_m : NAN;
	chain->knots[0].area_mm2 = NAN;
	chain->knots[0].least_v = f->unit ? f->unit->least_v : NAN;
	for (size_t i = 0; i < count; i++) {
		const struct ft_survey_device *d = &r->peripherals[i];
		enum ft_thing_kind kind = kind_of(d->kind);
		const char *own = fill_text(f, d->kind), *name = kind_names[kind] ? kind_names[kind] : own;
		chain->knots[i + 1].name = name ? name : "a device";
		chain->knots[i + 1].length_m = d->length_m;
		chain->knots[i + 1].area_mm2 = d->area_mm2;
		add_thing(f, kind, chain->knots[i + 1].name, NULL, own ? spot_of(f, own) : FT_SPOT_UNKNOWN, FT_TRI_YES);
	}
	/* Without a survey nobody knows what hangs there; one row alone would look like knowledge. */
	chain->count = r && r->peripherals_known ? count + 1 : 0;
	f->w->chain = chain;
	return true;
}

/* A supply table of the visit says the order and the figures; where there is one it is drawn in place of the survey's
 * chain. */
static enum ft_status fill_supply(struct filling *f, struct ft_error *e)
{
	struct ft_wiring *w = f->w;
	const struct ft_evidence *x = NULL;
	struct ft_supply_chain chain;
	struct ft_supply_result *r = FT_NEW(f->a, struct ft_supply_result);
	struct ft_findings findings = { .arena = f->a };
	struct ft_error own = { 0 };
	const struct ft_chain *c;

	for (size_t i = 0; i < f->v->evidence_count; i++)
		if (f->v->evidence[i].kind == FT_EVIDENCE_SUPPLY && f->v->evidence[i].bytes.p)
			x = &f->v->evidence[i];
	if (!r)
		return ft_fail_memory(e, "filling the wiring sheet");
	if (!x || ft_supply_read(x->bytes, x->name, f->a, &chain, &own) != FT_OK ||
	    ft_supply_judge(&chain, x->name, f->a, &findings, r, &own) != FT_OK) {
		w->supply[w->supply_count++] = x ? "The table of the chain cannot be read: fettle supply says where."
										 : "Not measured yet: fill in fettle supply --template under load.";
		if (f->row && !isnan(f->row->volts))
			w->supply[w->supply_count++] = isnan(f->row->rating_a)
				? ft_arena_printf(f->a, "The survey found %.1f V.", f->row->volts)
				: ft_arena_printf(f->a, "The survey found %.1f V, rated %.2f A.", f->row->volts, f->row->rating_a);
		return own.status == FT_E_MEMORY ? ft_fail(e, own.status, "%s", own.text) : FT_OK;
	}
	c = w->chain = ft_chain_of(&chain, r, f->a);
	if (!c)
		return ft_fail_memory(e, "filling the wiring sheet");
	w->supply[w->supply_count++] = ft_arena_printf(f->a, "%.1f V at the supply, %s.", c->supply_v,
	                                               c->measured ? "measured under load" : "reckoned low");
	if (c->collapses[FT_SUPPLY_PEAK])
		w->supply[w->supply_count++] = "At the peak the bus collapses. Do not add to it.";
	else if (c->weakest >= 0 && !isnan(c->margin_v))
		w->supply[w->supply_count++] =
			ft_arena_printf(f->a, "Weakest: %s, %.2f V %s what it needs.", c->knots[c->weakest].name, fabs(c->margin_v),
		                    c->margin_v < 0 ? "below" : "above");
	if (!isnan(c->margin_ma))
		w->supply[w->supply_count++] = c->margin_ma < 0
			? ft_arena_printf(f->a, "It does not carry it: %.0f mA too much.", -c->margin_ma)
			: ft_arena_printf(f->a, "It carries it, and %.0f mA more at %s.", c->margin_ma, c->knots[c->place].name);
	return FT_OK;
}

/* ---- what else hangs on the unit ---- */

static const char *port_note(struct filling *f, struct ft_slice kind)
{
	const char *link = f->family && f->family->link ? ft_audit_link_word(f->family->link) : NULL;
	const char *k = fill_text(f, kind);

	if (f->family && f->family->link == FT_AUDIT_LINK_DEX)
		link = "DEX";
	else if (f->family && f->family->link == FT_AUDIT_LINK_DDCMP)
		link = "DDCMP";
	if (!link)
		return k ? k : "link: look first";
	return k ? ft_arena_printf(f->a, "%s, %s", link, k) : ft_arena_printf(f->a, "%s", link);
}

static void fill_port(struct filling *f)
{
	struct ft_slice kind = fill_connector(f);

	if (fill_is(kind, "none") || (f->family && f->family->link == FT_AUDIT_LINK_NONE))
		return;
	add_thing(f, FT_THING_AUDIT_PORT, "audit port", port_note(f, kind), spot_of(f, "audit"),
	          kind.n ? FT_TRI_YES : FT_TRI_UNKNOWN);
}

static void fill_switch(struct filling *f)
{
	enum ft_tri own = f->row ? f->row->door_switch : FT_TRI_UNKNOWN;
	const char *note = own == FT_TRI_YES ? "the machine's own"
		: own == FT_TRI_NO               ? "new, on a bracket"
										 : "own one? look";

	if (f->v->without & FT_PART_DOOR || (f->unit && f->unit->door_input == FT_TRI_NO))
		return;
	add_thing(f, FT_THING_SWITCH, "door switch", note, spot_of(f, "switch"),
	          own == FT_TRI_UNKNOWN ? FT_TRI_UNKNOWN : FT_TRI_YES);
}

static void fill_probes(struct filling *f)
{
	double wanted = f->row ? f->row->probes : NAN;
	bool holds = f->row && f->row->cabinet && f->row->cabinet != FT_CABINET_AMBIENT;
	int n;

	if (f->v->without & FT_PART_TEMPERATURE || (isnan(wanted) && !holds))
		return;
	n = isnan(wanted) ? 1 : wanted > 3 ? 3 : (int)wanted;
	if (f->unit && !isnan(f->unit->probe_inputs) && f->unit->probe_inputs < n)
		n = (int)f->unit->probe_inputs;
	for (int i = 0; i < n; i++)
		add_thing(f, FT_THING_PROBE, n > 1 ? ft_arena_printf(f->a, "probe %d", i + 1) : "probe",
		          isnan(wanted) ? "wanted? ask" : NULL, spot_of(f, "probe"),
		          isnan(wanted) ? FT_TRI_UNKNOWN : FT_TRI_YES);
}

static void fill_antenna(struct filling *f)
{
	enum ft_antenna_place place = f->row ? f->row->antenna : FT_ANTENNA_UNKNOWN;
	enum ft_spot spot = spot_of(f, "antenna");

	if (f->v->without & FT_PART_ANTENNA)
		return;
	if (place == FT_ANTENNA_TOP || place == FT_ANTENNA_OUTSIDE)
		spot = FT_SPOT_ROOF;
	add_thing(f, FT_THING_ANTENNA, "antenna",
	          place == FT_ANTENNA_OUTSIDE      ? "outside, apart"
	              : place == FT_ANTENNA_INSIDE ? "inside"
	              : place == FT_ANTENNA_TOP    ? "on top"
	                                           : NULL,
	          spot, place ? FT_TRI_YES : FT_TRI_UNKNOWN);
}

/* ---- plugs and cautions ---- */

static void add_face(struct filling *f, const char *id)
{
	if (f->w->face_count < FT_WIRING_FACES_MAX && ft_connector(id, &f->w->faces[f->w->face_count]))
		f->w->face_count++;
}

static void fill_faces(struct filling *f)
{
	struct ft_slice kind = fill_connector(f);

	if (!(f->v->without & FT_PART_BUS))
		add_face(f, "bus");
	if (f->at[FT_THING_AUDIT_PORT] >= 0)
		add_face(f, ft_slice_holds(kind, "jack") ? "audit-jack" : kind.n ? "audit-other" : "audit-unknown");
	if (f->at[FT_THING_SWITCH] >= 0)
		add_face(f, "switch");
	if (f->at[FT_THING_PROBE] >= 0)
		add_face(f, "probe");
	if (f->at[FT_THING_ANTENNA] >= 0)
		add_face(f, "coax");
}

static void fill_cautions(struct filling *f)
{
	enum ft_cabinet cabinet = f->row ? f->row->cabinet : FT_CABINET_UNKNOWN;
	bool drills = f->at[FT_THING_SWITCH] >= 0 && (!f->row || f->row->door_switch != FT_TRI_YES);
	bool cold = cabinet == FT_CABINET_COLD || cabinet == FT_CABINET_FROZEN || !cabinet;
	const struct {
		const char *id;
		bool wanted;
	} wanted[] = {
		{ "first", true },
		{ "isolate-mains", true },
		{ "prove-dead", true },
		{ "stored-energy", true },
		{ "esd", true },
		{ "tip-over", true },
		{ "hot-parts", cabinet == FT_CABINET_HOT || !cabinet },
		{ "refrigerant", cold },
		{ "sharp-edges", drills },
	};
	const struct ft_caution *all;
	size_t count = ft_cautions(&all);

	for (size_t k = 0; k < sizeof wanted / sizeof *wanted; k++)
		for (size_t i = 0; wanted[k].wanted && i < count; i++)
			if (strcmp(all[i].id, wanted[k].id) == 0 && f->w->caution_count < FT_WIRING_CAUTIONS_MAX)
				f->w->cautions[f->w->caution_count++] = &all[i];
}

/* ---- all of it ---- */

static void fill_names(struct filling *f)
{
	const struct ft_visit *v = f->v;
	struct ft_wiring *w = f->w;
	const char *family = f->row ? fill_text(f, f->row->family) : NULL,
			   *unit = f->row ? fill_text(f, f->row->unit) : NULL;
	char date[FT_TIME_TEXT];

	w->asset = v->asset;
	w->site = v->site ? v->site : f->row ? fill_text(f, f->row->site) : NULL;
	w->visit = v->id;
	w->technician = v->technician;
	ft_time_text(v->opened_us, v->opened_offset, date);
	w->date = ft_arena_printf(f->a, "%.10s", date);
	if (family) {
		const char *revision = fill_text(f, f->row->revision);
		const char *cabinet = f->row->cabinet ? ft_cabinet_word(f->row->cabinet) : NULL;
		w->machine = ft_arena_printf(f->a, "controller %s%s%s%s%s", family, revision ? " " : "",
		                             revision ? revision : "", cabinet ? ", " : "", cabinet ? cabinet : "");
	}
	if (unit || v->unit)
		w->unit = ft_arena_printf(f->a, "%s%s%s", unit ? unit : "", unit && v->unit ? ", serial " : "",
		                          v->unit ? v->unit : "");
	w->drawn_from = f->row
		? ft_arena_printf(f->a, "Drawn from the survey, line %u, and what the visit holds.", f->row->line)
		: f->c ? "The survey has no row of this asset: look first."
			   : "Drawn without a survey: look first.";
}

enum ft_status ft_wiring_fill(const struct ft_visit *v, const struct ft_catalogue *c, struct ft_arena *a,
                              struct ft_wiring *ret, struct ft_error *e)
{
	struct filling f = { .v = v, .c = c, .a = a, .w = ret };
	enum ft_status s;

	*ret = (struct ft_wiring){ 0 };
	for (int i = 0; i < FT_THINGS; i++)
		f.at[i] = -1;
	for (size_t i = 0; c && v->asset && i < c->row_count; i++)
		if (ft_slice_eq_nocase(ft_slice_trim(c->rows[i].asset), ft_slice_of(v->asset)))
			f.row = &c->rows[i];
	if (f.row) {
		f.family = f.row->family.n ? ft_family_of(c, f.row->family) : NULL;
		f.unit = f.row->unit.n ? ft_unit_of(c, f.row->unit) : NULL;
		ret->surveyed = true;
		ret->front = f.row->front;
		ret->hinge = f.row->hinge;
		ret->cabinet = f.row->cabinet;
	}
	fill_names(&f);
	add_thing(&f, FT_THING_CONTROLLER, "controller", f.row ? fill_text(&f, f.row->family) : NULL,
	          spot_of(&f, "controller"), FT_TRI_YES);
	add_thing(&f, FT_THING_UNIT, unit_name(&f), f.row && f.row->unit.n ? "the new unit" : NULL, spot_of(&f, "unit"),
	          FT_TRI_YES);
	if (!fill_peripherals(&f))
		return ft_fail_memory(e, "filling the wiring sheet");
	fill_port(&f);
	fill_switch(&f);
	fill_probes(&f);
	fill_antenna(&f);
	s = fill_supply(&f, e);
	if (s != FT_OK)
		return s;
	s = fill_signal(&f, e);
	if (s != FT_OK)
		return s;
	fill_steps(&f);
	fill_faces(&f);
	fill_cautions(&f);
	return a->failed ? ft_fail_memory(e, "filling the wiring sheet") : FT_OK;
}
