/* SPDX-License-Identifier: Apache-2.0 */
/* Names and tables of the wiring sheet. */
#include "fettle/wiring.h"

#include <math.h>

static const char *const spots[FT_SPOT_COUNT] = {
	[FT_SPOT_UNKNOWN] = "",
	[FT_SPOT_ROOF] = "roof",
	[FT_SPOT_CABINET_TOP] = "cabinet-top",
	[FT_SPOT_CABINET_MIDDLE] = "cabinet-middle",
	[FT_SPOT_CABINET_BOTTOM] = "cabinet-bottom",
	[FT_SPOT_DOOR_TOP] = "door-top",
	[FT_SPOT_DOOR_MIDDLE] = "door-middle",
	[FT_SPOT_DOOR_BOTTOM] = "door-bottom",
};

const char *ft_spot_word(enum ft_spot s)
{
	return spots[s];
}

bool ft_spot_parse(struct ft_slice word, enum ft_spot *ret)
{
	for (int i = 0; i < FT_SPOT_COUNT; i++)
		if (ft_slice_eq_nocase(ft_slice_trim(word), ft_slice_of(spots[i]))) {
			*ret = (enum ft_spot)i;
			return true;
		}
	return false;
}

const char *ft_wire_title(enum ft_wire w)
{
	static const char *const titles[FT_WIRES] = { "bus harness", "audit lead", "door switch lead", "probe lead",
		                                          "antenna lead" };

	return titles[w];
}

/* ---- connectors ---- */

static const struct ft_connector_pin pins[] = {
#define ROW(ident, place, connector, pin, column, row, function, trust, source) { pin, function, column, row, trust },
#include "connector-pins.inc"
#undef ROW
};

static const char *const owners[] = {
#define ROW(ident, place, connector, ...) connector,
#include "connector-pins.inc"
#undef ROW
};

static const struct ft_connector kinds[] = {
#define ROW(ident, id, title, face, columns, rows, seen, trust, source) \
	{ id, title, FT_FACE_##face, columns, rows, seen, trust, source, NULL, 0 },
#include "connectors.inc"
#undef ROW
};

enum { KINDS = sizeof kinds / sizeof *kinds, PINS = sizeof pins / sizeof *pins };

bool ft_connector(const char *id, struct ft_connector *ret)
{
	for (size_t k = 0; k < KINDS; k++) {
		if (strcmp(kinds[k].id, id) != 0)
			continue;
		*ret = kinds[k];
		for (size_t i = 0; i < PINS; i++) {
			if (strcmp(owners[i], id) != 0)
				continue;
			ret->pins = ret->pins ? ret->pins : &pins[i]; /* the rows of a connector stand together */
			ret->pin_count++;
		}
		return true;
	}
	return false;
}

/* ---- the chain ---- */

struct ft_chain *ft_chain_of(const struct ft_supply_chain *c, const struct ft_supply_result *r, struct ft_arena *a)
{
	struct ft_chain *n = FT_NEW(a, struct ft_chain);

	if (!n)
		return NULL;
	*n = (struct ft_chain){ "supply",   true,  c->volts, c->rating_a, c->measured,  NULL,     c->count,
		                    r->weakest, { 0 }, { 0 },    r->margin_v, r->margin_ma, r->place, r->rating_fails };
	n->knots = FT_NEW_ARRAY(a, c->count, struct ft_chain_knot);
	if (!n->knots)
		return NULL;
	for (int k = 0; k < FT_SUPPLY_CASES; k++) {
		n->collapses[k] = r->collapses[k];
		n->amperes[k] = r->amperes[k];
	}
	for (size_t i = 0; i < c->count; i++) {
		const struct ft_supply_device *d = &c->devices[i];
		n->knots[i] = (struct ft_chain_knot){
			.name = d->name,
			.length_m = d->unmeasured_run ? NAN : d->length_m,
			.area_mm2 = d->unmeasured_run ? NAN : d->area_mm2,
			.least_v = d->least_v,
			.unit = d->unit,
			.assumed = d->assumed,
		};
		for (int k = 0; k < FT_SUPPLY_CASES; k++)
			n->knots[i].volts[k] = r->collapses[k] ? NAN : r->volts[k][i];
	}
	return n;
}
