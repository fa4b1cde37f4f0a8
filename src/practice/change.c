/* SPDX-License-Identifier: Apache-2.0 */
/* Resets, lost meters and firmware. */
#include "machine.h"

#include <stdio.h>

/* From the service menu: counts as a reset without a read (EA310). */
void practice_reset(struct ft_practice *p)
{
	p->base = p->meters;
	p->resets++;
	practice_tell(p, FT_PRACTICE_RESET, "The interval meters are reset.");
}

void practice_forget_meters(struct ft_practice *p)
{
	p->meters = p->base = (struct meters){ 0 };
	for (int i = 0; i < SLOTS; i++) /* a reading under way must not bring the old ones back */
		p->readings[i].meters = p->meters;
	p->reads = p->reads_with_reset = p->resets = 0;
	p->born_s = p->now_s;
	memset(p->codes, 0, sizeof p->codes);
	p->code_count = p->log_count = 0;
}

void practice_firmware(struct ft_practice *p, struct ft_slice revision)
{
	const struct wipe *w = &p->wipe;
	int64_t prices = 0;

	practice_bus_restarts(p);
	practice_plain(revision, p->machine.revision, sizeof p->machine.revision);
	if (w->interval)
		practice_reset(p);
	if (w->meters)
		practice_forget_meters(p);
	for (size_t i = 0; i < p->selection_count; i++) {
		if (w->price[i]) {
			memset(p->selections[i].price, 0, sizeof p->selections[i].price);
			prices++;
		}
		if (w->motors)
			p->selections[i].motor = (int64_t)i + 1; /* the maker's numbering, whatever was set for this cabinet */
	}
	if (w->clock)
		p->clock_known = false;
	if (w->events)
		p->log_count = 0;
	practice_tell(p, FT_PRACTICE_FIRMWARE, "The machine starts with revision %s.", p->machine.revision);
	if (prices)
		practice_tell(p, FT_PRACTICE_PRICE, "The update took the prices of %lld selections.", (long long)prices)
			->amount = prices;
}
