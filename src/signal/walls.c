/* SPDX-License-Identifier: Apache-2.0 */
/* What metal and walls may take, where nobody has measured behind them. */
#include <math.h>

#include "fettle/signal.h"

enum limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "signal-limits.inc"
#undef ROW
};

#define LIGHT_M_MHZ 299.792458 /* metres in a microsecond */

/* Lh = r + s log f + t (log f)^2, f in GHz (ITU-R P.2109; coefficients from memory). */
static const struct {
	double r, s, t;
} buildings[FT_SIGNAL_BUILDINGS] = {
#define ROW(ident, building, r, s, t, source) { r / 100.0, s / 100.0, t / 100.0 },
#include "building.inc"
#undef ROW
};

double ft_signal_building_loss(enum ft_signal_building b, double mhz)
{
	double l = log10(mhz / 1000);

	return buildings[b].r + buildings[b].s * l + buildings[b].t * l * l;
}

double ft_signal_opening_loss(double mhz, double metres)
{
	return fmax(0, 20 * log10(LIGHT_M_MHZ / mhz / (2 * metres)));
}

static bool any_of(const char *name, const char *const *words, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (ft_slice_holds(ft_slice_of(name), words[i]))
			return true;
	return false;
}

void ft_signal_walls_judge(const struct ft_signal_log *log, const struct ft_signal_result *r, double mhz,
                           double opening_m, const char *name, struct ft_arena *a, struct ft_findings *f)
{
	static const char *const inside[] = { "closed", "inside" };
	static const char *const outside[] = { "outside", "on top", "outdoor", "street" };
	const char *place = r->judged < 0 ? "" : log->positions[r->judged], *building = "", *door;
	double dbm;

	/* a place of which nobody knows whether metal stands before it tells nothing to take off */
	if (any_of(place, inside, 2) || !any_of(place, outside, 4))
		return;
	dbm = r->places[r->judged].mean;
	if (isnan(opening_m))
		door = ft_arena_printf(a, "behind glass %.0f to %.0f dBm, behind a metal front %.0f to %.0f",
		                       dbm - LIMIT_GLASS_LEAST / 10.0, dbm - LIMIT_GLASS_MOST / 10.0,
		                       dbm - LIMIT_METAL_LEAST / 10.0, dbm - LIMIT_METAL_MOST / 10.0);
	else
		door = ft_arena_printf(a, "behind metal with an opening of %.0f mm %.0f dBm at %.0f MHz", opening_m * 1000,
		                       dbm - ft_signal_opening_loss(mhz, opening_m), mhz);
	if (any_of(place, outside + 2, 2))
		building = ft_arena_printf(a, "; a building takes %.1f dB besides, %.1f where it is insulated against heat",
		                           ft_signal_building_loss(FT_SIGNAL_TRADITIONAL, mhz),
		                           ft_signal_building_loss(FT_SIGNAL_INSULATED, mhz));
	ft_find(f, FT_RULE_SIGNAL_OUTSIDE_ONLY, (struct ft_where){ .file = name },
	        ft_arena_printf(a, "%.1f dBm at %s; %s%s", dbm, place, door ? door : "", building ? building : ""), NULL);
}
