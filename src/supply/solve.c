/* SPDX-License-Identifier: Apache-2.0 */
/* The volts along the chain. */
#include <math.h>

#include "fettle/supply.h"

#include "limits.h"

#define COPPER_20    (1.0 / 58) /* ohm mm2/m at 20 C: IEC 60028, annealed copper */
#define COPPER_ALPHA 0.00393    /* of a kelvin, at 20 C: IEC 60028, from memory */
#define SETTLED_V    1e-9       /* the end: all later steps together stay below this */
#define CLOSE_V      1e-8       /* the currents are those of the step before, so that must be a small one too */

enum { STEPS_MAX = 1000000 }; /* at the very edge of collapse steps grow small without end: that counts as collapse */

double ft_supply_awg_area(int awg)
{
	/* ASTM B258: each of 39 steps from 0.005 to 0.46 inch is a like ratio */
	double diameter = 25.4 * 0.005 * pow(92, (36.0 - awg) / 39);

	return acos(-1) / 4 * diameter * diameter;
}

double ft_supply_bridge(double rms_v)
{
	return fmax(0, rms_v * sqrt(2) - 2 * LIMIT_DIODE / 1000.0);
}

double ft_supply_hold_up(double amperes, double seconds, double drop_v)
{
	return amperes * seconds / drop_v;
}

double ft_supply_loop_ohm(double area_mm2, double temperature_c)
{
	return 2 * COPPER_20 / area_mm2 * (1 + COPPER_ALPHA * (temperature_c - 20));
}

static double run_ohm(const struct ft_supply_chain *c, size_t i)
{
	const struct ft_supply_device *d = &c->devices[i];

	if (d->length_m <= 0)
		return c->contact_ohm;
	return d->length_m * ft_supply_loop_ohm(d->area_mm2, d->temperature_c) * (1 + c->strand) + c->contact_ohm;
}

/* Lower volts never draw less, so from the unloaded chain the volts fall step by step to the highest state that can
 * last; where there is none they fall to nothing. */
bool ft_supply_solve(const struct ft_supply_chain *c, const double *load, int at, double extra_a, double *ret_volts,
                     double *ret_amperes)
{
	double ohm[FT_SUPPLY_DEVICES_MAX], ampere[FT_SUPPLY_DEVICES_MAX];
	double before = 0;
	size_t n = c->count;

	for (size_t i = 0; i < n; i++) {
		ohm[i] = run_ohm(c, i);
		ret_volts[i] = c->volts;
	}
	for (int step = 0; step < STEPS_MAX; step++) {
		double flow = 0, volts = c->volts, moved = 0;
		for (size_t i = n; i-- > 0;) {
			flow += c->devices[i].power ? load[i] / ret_volts[i] : load[i];
			flow += (int)i == at ? extra_a : 0;
			ampere[i] = flow;
		}
		for (size_t i = 0; i < n; i++) {
			volts -= ohm[i] * ampere[i];
			moved = fmax(moved, ret_volts[i] - volts);
			ret_volts[i] = volts;
			if (!(volts > 0))
				return false;
		}
		/* steps shrink by a like ratio from here on, so what is to come is the sum of their row */
		if (moved < SETTLED_V * 1e-3 || (moved < CLOSE_V && moved * moved <= SETTLED_V * (before - moved))) {
			*ret_amperes = n ? ampere[0] : 0;
			return true;
		}
		before = moved;
	}
	return false;
}
