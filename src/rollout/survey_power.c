/* SPDX-License-Identifier: Apache-2.0 */
/* Does the supply of the bus carry the unit, and is the audit short enough? */
#include "fettle/supply.h"

#include "survey_room.h"

enum {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "supply-limits.inc"
#undef ROW
};

static const struct {
	const char *kind;
	enum { LOAD_CURRENT, LOAD_POWER } load;
	int milli[FT_SUPPLY_CASES], peak_s, least_mv;
} usual[] = {
#define ROW(ident, device, kind, load, idle, continuous, peak, peak_s, least, ...) \
	{ device, LOAD_##load, { idle, continuous, peak }, peak_s, least },
#include "supply-devices.inc"
#undef ROW
};

/* A device of a usual kind; false: nobody knows what it draws, and it is taken for the last of the list. */
static bool usual_device(struct ft_slice kind, struct ft_supply_device *d)
{
	size_t k = 0, n = sizeof usual / sizeof *usual;

	while (k < n && !ft_slice_eq_nocase(kind, ft_slice_of(usual[k].kind)))
		k++;
	*d = (struct ft_supply_device){ .name = usual[k < n ? k : n - 1].kind, .assumed = true };
	d->power = usual[k < n ? k : n - 1].load == LOAD_POWER;
	d->least_v = usual[k < n ? k : n - 1].least_mv / 1000.0;
	for (int i = 0; i < FT_SUPPLY_CASES; i++) /* the figures hold at the least volts */
		d->load[i] = usual[k < n ? k : n - 1].milli[i] / 1000.0 * (d->power ? d->least_v : 1);
	d->area_mm2 = FIGURE_GAUGE / 1000.0;
	d->temperature_c = LIMIT_WARM / 1000.0;
	return k < n;
}

/* First after the controller, ahead of validator and changer: common practice. */
static bool unit_device(const struct looking *l, struct ft_supply_device *d)
{
	const struct ft_unit *u = l->unit;

	usual_device(FT_SLICE("unit"), d);
	d->unit = true;
	d->length_m = isnan(l->row->run_m) ? 1 : l->row->run_m;
	if (isnan(u->load[1]))
		return false;
	d->name = "unit";
	d->power = u->power;
	d->assumed = false;
	d->load[1] = u->load[1];
	d->load[0] = isnan(u->load[0]) ? u->load[1] : u->load[0];
	d->load[2] = isnan(u->load[2]) ? u->load[1] : u->load[2];
	if (!isnan(u->least_v))
		d->least_v = u->least_v;
	return !isnan(u->load[2]);
}

/* The chain with the unit in it. True: every figure it needs is known, or usual for its kind. */
static bool chain_of(const struct looking *l, struct ft_supply_device *list, struct ft_supply_chain *c)
{
	const struct ft_survey_row *row = l->row;
	bool known = row->peripherals_known && !isnan(row->volts) && !isnan(row->run_m) && !isnan(row->rating_a);
	double family_v = l->family ? l->family->bus_volts : NAN;

	*c = (struct ft_supply_chain){
		.as_it_is = true,
		.volts = !isnan(row->volts) ? row->volts
			: !isnan(family_v)      ? family_v * LIMIT_MAINS_LOW / 1000.0
									: LIMIT_VOLTS_NOMINAL / 1000.0 * LIMIT_MAINS_LOW / 1000.0,
		.measured = !isnan(row->volts),
		.rating_a = !isnan(row->rating_a) || !l->family ? row->rating_a : l->family->bus_rating_a,
		.strand = LIMIT_STRAND / 1000.0,
		.contact_ohm = LIMIT_CONTACT / 1000.0,
		.devices = list,
	};
	known &= unit_device(l, &list[c->count++]);
	if (!row->peripherals_known) {
		usual_device(FT_SLICE("validator"), &list[c->count++]);
		usual_device(FT_SLICE("changer"), &list[c->count++]);
		list[1].length_m = list[2].length_m = 0.5;
	}
	for (size_t i = 0; i < row->peripheral_count && c->count < FT_SUPPLY_DEVICES_MAX; i++) {
		const struct ft_survey_device *x = &row->peripherals[i];
		struct ft_supply_device *d = &list[c->count++];
		known &= usual_device(x->kind, d);
		known &= !isnan(x->length_m) && !isnan(x->area_mm2);
		d->length_m = isnan(x->length_m) ? 0.5 : x->length_m;
		if (!isnan(x->area_mm2))
			d->area_mm2 = x->area_mm2;
	}
	return known;
}

static void look_at_supply(struct looking *l)
{
	struct ft_supply_device list[FT_SUPPLY_DEVICES_MAX];
	struct ft_supply_result result, *r = &result;
	struct ft_findings own = { .arena = l->a };
	struct ft_supply_chain c;
	struct ft_survey_reason *x;
	const double *p = l->s->priors.chance;
	int part = survey_part(l->s, FT_PURPOSE_SUPPLY, (struct ft_slice){ 0 });
	unsigned lacking = part >= 0 ? FT_CAN_PARTS : FT_CAN_NOT;
	bool known, does;
	double fails;

	if (!l->unit)
		return;
	known = chain_of(l, list, &c);
	if (ft_supply_judge(&c, l->name, l->a, &own, r, l->e) != FT_OK) {
		l->status = l->e->status ? l->e->status : FT_E_MEMORY;
		return;
	}
	l->m->supply_margin_v = r->margin_v;
	l->m->supply_more_ma = r->margin_ma;
	does = r->margin_v >= 0 && r->margin_ma >= 0; /* false for what is no number: it collapses */
	if (known && does)
		return;
	fails = known ? 1 : p[does ? FT_PRIOR_SUPPLY_UNMEASURED : FT_PRIOR_SUPPLY_DOUBTFUL];
	survey_take(l, FT_KIT_PART, part, fails, 1, FT_FACT_VOLTS);
	x = survey_reason(l, known ? FT_RULE_SURVEY_SUPPLY : FT_RULE_SURVEY_UNKNOWN,
	                  !isnan(l->row->volts) && !l->row->peripherals_known ? FT_FACT_CHAIN : FT_FACT_VOLTS,
	                  known ? lacking : lacking | FT_CAN_READY,
	                  part >= 0 ? (const double[FT_OUTCOMES]){ 1 - fails, fails, 0, 0 }
	                            : (const double[FT_OUTCOMES]){ 1 - fails, 0, 0, fails });
	x->seen = isnan(r->margin_v)
		? (known ? "the bus collapses" : "by usual figures the bus collapses")
		: ft_arena_printf(l->a, "%s%.1f V %s the least at the worst peak", known ? "" : "by usual figures ",
	                      fabs(r->margin_v), r->margin_v < 0 ? "under" : "above");
}

static double tail(double mean, double spread, double limit)
{
	return spread > 0 ? 0.5 * erfc((limit - mean) / spread / sqrt(2)) : mean > limit;
}

/* The limit of the unit, and the controller's own where no setting lifts it. */
static double limit_of(const struct looking *l, bool *ret_setting)
{
	double of_unit = l->unit ? l->unit->longest_bytes : NAN, of_family = l->family ? l->family->longest_bytes : NAN;

	*ret_setting = l->family && l->family->settings.p && !ft_slice_eq_nocase(l->family->settings, FT_SLICE("none"));
	if (*ret_setting || isnan(of_family))
		return of_unit;
	return isnan(of_unit) ? of_family : fmin(of_unit, of_family);
}

static void look_at_audit_size(struct looking *l)
{
	const struct ft_survey_row *row = l->row;
	bool known = !isnan(row->selections) && !isnan(row->price_lists), setting;
	double selections = isnan(row->selections) ? FIGURE_SELECTIONS_USUAL : row->selections;
	double lists = isnan(row->price_lists) ? FIGURE_LISTS_USUAL : row->price_lists;
	double each = FIGURE_AUDIT_SELECTION + FIGURE_AUDIT_LIST * lists, limit = limit_of(l, &setting);
	double mean = FIGURE_AUDIT_HEAD + selections * each, sd = mean * FIGURE_AUDIT_SPREAD / 1000.0, over;
	/* sure bounds: two standard deviations, and none where nobody counted */
	double low = mean - 2 * sd, high = mean + 2 * sd;
	struct ft_survey_reason *r;

	if (isnan(row->selections))
		sd = hypot(sd, FIGURE_SELECTIONS_SPREAD * each);
	if (!known) {
		low = 0;
		high = INFINITY;
	}
	l->m->audit_bytes = mean;
	l->m->audit_spread = sd;
	l->m->audit_limit = limit;
	if (setting && !isnan(l->family->longest_bytes) && high > l->family->longest_bytes) {
		r = survey_certain(l, FT_RULE_SURVEY_SETTING, FT_FACT_FAMILY, FT_CAN_READY);
		r->seen = ft_arena_printf(l->a, "an audit of about %.1f kB", mean / 1000);
		r->expected = survey_text(l, l->family->settings);
		l->more_minutes += FIGURE_MINUTES_SETTING;
	}
	if (isnan(limit) || high <= limit)
		return;
	over = low > limit ? 1 : tail(mean, sd, limit);
	r = survey_reason(l, known || low > limit ? FT_RULE_SURVEY_AUDIT_SIZE : FT_RULE_SURVEY_UNKNOWN, FT_FACT_SELECTIONS,
	                  low > limit ? FT_CAN_NOT : FT_CAN_NOT | FT_CAN_READY,
	                  (const double[FT_OUTCOMES]){ 1 - over, 0, 0, over });
	r->seen = ft_arena_printf(l->a, "an audit of about %.1f kB, give or take %.1f", mean / 1000, sd / 1000);
	r->expected = ft_arena_printf(l->a, "at most %.1f kB", limit / 1000);
}

void survey_look_at_power(struct looking *l)
{
	look_at_supply(l);
	look_at_audit_size(l);
}
