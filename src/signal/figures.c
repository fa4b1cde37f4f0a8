/* SPDX-License-Identifier: Apache-2.0 */
/* What the three figures of LTE say of one another: RSSI is all that the antenna takes in over N resource blocks, RSRP
 * one carrier of it, RSRQ their ratio (3GPP TS 36.214, from memory). */
#include <math.h>

#include "room.h"

enum limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "signal-limits.inc"
#undef ROW
};

/* 3GPP TS 36.101: 1.4 to 20 MHz have 6 to 100 blocks; the narrow band of things has one. From memory. */
enum { BLOCKS_NARROW = 1, BLOCKS_LEAST = 6, BLOCKS_MOST = 100, CARRIERS_A_BLOCK = 12 };

double ft_signal_rsrq(int blocks, double rsrp_dbm, double rssi_dbm)
{
	return 10 * log10(blocks) + rsrp_dbm - rssi_dbm;
}

double ft_signal_rsrp_of(double rssi_dbm, int blocks)
{
	return rssi_dbm - 10 * log10(CARRIERS_A_BLOCK * blocks);
}

const struct ft_signal_sample *signal_partner(const struct ft_signal_log *log, size_t k)
{
	const struct ft_signal_sample *s = &log->samples[k];
	enum ft_signal_metric other = s->metric == FT_SIGNAL_RSRP ? FT_SIGNAL_RSSI : FT_SIGNAL_RSRP;

	if (s->metric != FT_SIGNAL_RSRP && s->metric != FT_SIGNAL_RSSI)
		return NULL;
	if (k > 0 && s[-1].metric == other && s[-1].position == s->position)
		return &s[-1];
	return k + 1 < log->count && s[1].metric == other && s[1].position == s->position ? &s[1] : NULL;
}

struct sums {
	size_t n;
	double rsrp, rssi, rsrq, unsure;
};

static double middle(const struct ft_signal_sample *s)
{
	return (s->low + s->high) / 2;
}

/* Open intervals tell no figure. */
static struct sums of_place(const struct ft_signal_log *log, int place)
{
	struct sums r = { 0 };

	for (size_t k = 0; k < log->count; k++) {
		const struct ft_signal_sample *s = &log->samples[k], *total = signal_partner(log, k);
		if (s->position != place || s->metric != FT_SIGNAL_RSRP || !total || !isfinite(s->quality) ||
		    !isfinite(middle(s)) || !isfinite(middle(total)))
			continue;
		r.n++;
		r.rsrp += middle(s);
		r.rssi += middle(total);
		r.rsrq += s->quality + 0.25; /* the lower edge of half a decibel */
		r.unsure += (s->high - s->low + total->high - total->low + 0.5) / 2;
	}
	return r;
}

/* No number of blocks makes these three: they are of two cells, or one of them is no measurement. */
static void tell_disagreement(const struct sums *s, const char *position, struct ft_where where, struct ft_arena *a,
                              struct ft_findings *f)
{
	double n = (double)s->n, rsrp = s->rsrp / n, rssi = s->rssi / n, rsrq = s->rsrq / n;
	double unsure = s->unsure / n + LIMIT_DIFFERS / 10.0; /* they are measured one after the other */
	double least = ft_signal_rsrq(BLOCKS_NARROW, rsrp, 0) - rsrq, most = ft_signal_rsrq(BLOCKS_MOST, rsrp, 0) - rsrq;

	if (rssi < least - unsure || rssi > most + unsure)
		ft_find(f, FT_RULE_SIGNAL_FIGURES_DISAGREE, where,
		        ft_arena_printf(a, "RSSI %.1f dBm beside RSRP %.1f dBm and RSRQ %.1f dB at %s", rssi, rsrp, rsrq,
		                        position),
		        ft_arena_printf(a, "RSSI of %.1f to %.1f dBm", least, most));
}

void signal_tell_figures(const struct ft_signal_log *log, const struct ft_signal_result *r, struct ft_where where,
                         struct ft_arena *a, struct ft_findings *f)
{
	for (int i = 0; i < log->position_count; i++) {
		struct sums s = of_place(log, i);
		if (s.n)
			tell_disagreement(&s, log->positions[i], where, a, f);
	}
	if (log->lte && r->judged >= 0 && r->places[r->judged].metric == FT_SIGNAL_RSSI)
		ft_find(f, FT_RULE_SIGNAL_TOTAL_POWER, where,
		        ft_arena_printf(a, "%.1f dBm are an RSRP of %.1f dBm in a cell of 1.4 MHz, of %.1f in one of 20 MHz",
		                        r->places[r->judged].mean, ft_signal_rsrp_of(r->places[r->judged].mean, BLOCKS_LEAST),
		                        ft_signal_rsrp_of(r->places[r->judged].mean, BLOCKS_MOST)),
		        NULL);
}
