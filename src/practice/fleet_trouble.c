/* SPDX-License-Identifier: Apache-2.0 */
/* Which machine of a fleet has which trouble, from when on, and when a watcher can be sure of it. The kinds are rows of
 * data/practice/troubles.csv; each gets its turn, so that a small fleet has many kinds and not the same one thrice. */
#include <math.h>

#include "fettle/time.h"
#include "fleet.h"

enum suits { ANY, NEW, COLD, PAIR }; /* every machine; not the old coin machine; with a logger; with a neighbour */

static const struct {
	const char *kind, *rule;
	enum suits suits;
	int before, shows; /* days that must have been seen before it; until it shows at most, where that is not reckoned */
	bool selection;    /* it is about one selection */
} kinds[TROUBLES] = {
#define YES                                                          true
#define NO                                                           false
#define ROW(ident, kind, rule, suits, before, shows, selection, ...) { kind, rule, suits, before, shows, selection },
#include "practice-troubles.inc"
#undef ROW
#undef YES
#undef NO
};

/* What a watcher needs to be sure, as docs/practice.md states it for each kind. */
#define STOP_CHANCE  1e-4
#define OUT_CHANCE   0.05
#define NEVER_CHANCE 1e-3
#define NEVER_SHAPE  4.0
/* Ours: of a hundred machines so many have a trouble. */
#define TROUBLED 0.30

static double daily(const struct life *l, int s)
{
	double week = 0;

	for (int i = 0; i < 7; i++)
		week += l->days[i];
	return l->rate * week / 7 * l->share[s];
}

/* Days of silence that a watcher needs who knows the rate from the days before only: the conditional test. */
static double silence(const struct life *l, double chance)
{
	double seen = 56 * (1 - exp(-l->begins / 56.0)), sold = seen * daily(l, l->selection);

	return seen * (pow((double)l->selections / chance, 1 / sold) - 1);
}

/* Days until the others have sold so much that one that never sold is no chance: a gamma as wide as they differ. */
static double never(const struct life *l)
{
	double sum = 0, squares = 0, n = l->selections - 1, spread, shape;

	for (int s = 0; s < l->selections; s++) {
		double a = s == l->selection ? 0 : daily(l, s) / (1 - l->share[l->selection]);
		sum += a;
		squares += a * a;
	}
	spread = n > 0 ? squares / n - sum * sum / n / n : 0;
	if (n < 4 || spread <= 0)
		return 1e6;
	shape = fmin(NEVER_SHAPE, sum * sum / n / n / spread);
	return shape * (pow(NEVER_CHANCE / l->selections, -1 / shape) - 1) / (sum / n);
}

/* Five sales of seven hundred at least are missed in a day; on a weekend it takes longer, and who saw no more than two
 * weekends does not know how quiet they are. */
static double stopped(const struct life *l)
{
	double need = 14 / (l->rate * fmin(l->days[5], l->days[0]));

	return l->begins < 21 ? fmax(need, 5) : need;
}

int practice_shows(const struct life *l)
{
	double days;

	switch (l->trouble) {
	case SELECTION_STOPPED:
		days = silence(l, STOP_CHANCE);
		break;
	case SOLD_OUT:
		days = silence(l, OUT_CHANCE);
		break;
	case NEVER_SOLD:
		days = never(l);
		break;
	case MACHINE_STOPPED:
		days = stopped(l);
		break;
	case NO_TROUBLE:
		return 0;
	default:
		return kinds[l->trouble].shows;
	}
	return days < 1e6 ? (int)ceil(days) + 1 : 1000000;
}

/* Whether this machine can have it, and whether it can come into sight before the last day. Sets when it begins. */
static bool suits(struct life *l, enum trouble t)
{
	int room = l->plan->days - 1 - kinds[t].before - kinds[t].shows;

	if ((kinds[t].suits != ANY && kinds[t].suits != PAIR && l->dialect == OLD_COIN) ||
	    (kinds[t].suits == COLD && !l->logger) ||
	    (kinds[t].suits == PAIR && (l->index % 2 || l->index + 1 >= l->plan->machines)) || room < 0)
		return false;
	l->trouble = t;
	l->begins = t == NEVER_SOLD ? 0 : kinds[t].before + practice_below(l, room + 1);
	if (l->begins + practice_shows(l) < l->plan->days)
		return true;
	l->begins = kinds[t].before;
	return l->begins + practice_shows(l) < l->plan->days;
}

/* One of the kinds that were planted least. */
static void choose(struct life *l)
{
	const size_t *planted = l->planting->planted;
	enum trouble best = NO_TROUBLE;
	int begins = 0, alike = 0;

	for (int t = 0; t < TROUBLES; t++) {
		if (best != NO_TROUBLE && planted[t] > planted[best])
			continue;
		if (!suits(l, (enum trouble)t))
			continue;
		alike = best == NO_TROUBLE || planted[t] < planted[best] ? 1 : alike + 1;
		if (practice_below(l, alike))
			continue;
		best = (enum trouble)t;
		begins = l->begins;
	}
	l->trouble = best;
	l->begins = begins;
}

void practice_plant(struct life *l)
{
	struct planting *all = l->planting;
	double due = TROUBLED * (double)(l->index + 1) - (double)all->all;
	bool lasts = false;

	l->trouble = NO_TROUBLE;
	if (all->pair != NO_TROUBLE) { /* its neighbour's trouble is its own: where a unit was taken from nothing comes */
		l->trouble = all->pair == UNITS_SWAPPED ? UNITS_SWAPPED : READS_MISSING;
		l->begins = all->pair_begins;
		lasts = all->pair != UNITS_SWAPPED;
		all->pair = NO_TROUBLE;
	} else if (due > 1 || practice_even(&l->random) < due) {
		choose(l);
		all->pair = l->trouble != NO_TROUBLE && kinds[l->trouble].suits == PAIR ? l->trouble : NO_TROUBLE;
		all->pair_begins = l->begins;
	}
	if (l->trouble == NO_TROUBLE)
		return;
	all->planted[l->trouble]++;
	all->all++;
	lasts |= l->trouble == SELECTION_STOPPED || l->trouble == SOLD_OUT;
	l->until = lasts ? l->plan->days : l->begins + 4 + practice_below(l, 6);
	if (l->trouble == MACHINE_STOPPED)
		l->until = l->begins + practice_shows(l) + 2;
	if (l->trouble == FRIDGE_FAILS || l->trouble == ALARM_MISSED)
		l->alarms = l->trouble == FRIDGE_FAILS;
	if (l->trouble == NEVER_SOLD) {
		double rest = 1 - l->share[l->selection];
		l->share[l->selection] = 0;
		for (int s = 0; s < l->selections; s++)
			l->share[s] /= rest;
	}
}

void practice_key(struct life *l, int64_t visible_us)
{
	char begins[FT_TIME_TEXT], visible[FT_TIME_TEXT];

	if (l->told)
		return;
	l->told = true;
	l->planting->told[l->trouble]++;
	ft_time_text(practice_fleet_start() + l->begins * 86400 * FT_SECOND, 0, begins);
	ft_time_text(visible_us, 0, visible);
	practice_fleet_row(l, FT_FLEET_KEY, "%s,%s,%s,%s,%s,%.19s,%.19s", kinds[l->trouble].kind, kinds[l->trouble].rule,
	                   l->asset, l->p->machine.serial,
	                   kinds[l->trouble].selection ? l->p->selections[l->selection].id : "", begins, visible);
}

void practice_planted(const struct planting *all, int days, struct ft_fleet_planted *ret)
{
	for (int t = 0; t < TROUBLES; t++)
		ret[t] = (struct ft_fleet_planted){ kinds[t].kind, all->planted[t], all->told[t],
			                                days < kinds[t].before + kinds[t].shows + 1
			                                    ? kinds[t].before + kinds[t].shows + 1
			                                    : 0 };
}
