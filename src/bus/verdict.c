/* SPDX-License-Identifier: Apache-2.0 */
/* How the claim "every peripheral on the bus answers in time" stands by one capture. */
#include "fettle/bus.h"

enum { LEAST_ANSWERS = 10 }; /* ours: fewer of all peripherals together are too little to see */

enum ft_verdict ft_bus_verdict(const struct ft_bus_report *r, const struct ft_findings *f)
{
	enum ft_verdict v = ft_verdict_of(f, false);
	uint64_t answered = 0, late = 0;

	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		answered += r->devices[i].answered;
		late += r->devices[i].late; /* a few are no more than a note, but "every" is not said of them */
	}
	return v == FT_SHOWN && (answered < LEAST_ANSWERS || late || !r->timing_known) ? FT_OPEN : v;
}
