/* SPDX-License-Identifier: Apache-2.0 */
/* How the claim "every peripheral on the bus answers in time" stands by one capture. */
#include "fettle/bus.h"

enum ft_verdict ft_bus_verdict(const struct ft_bus_report *r, const struct ft_findings *f)
{
	enum ft_verdict v = ft_verdict_of(f, false);
	bool any = false, few = false, late = false;

	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		any |= d->answered > 0;
		few |= d->answered > 0 && d->answered < FT_BUS_ANSWERS_LEAST;
		late |= d->late > 0; /* a few are no more than a note, but "every" is not said of them */
	}
	return v == FT_SHOWN && (!any || few || late || !r->timing_known) ? FT_OPEN : v;
}
