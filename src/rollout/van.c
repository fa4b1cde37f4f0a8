/* SPDX-License-Identifier: Apache-2.0 */
/* What must be in the van so that nobody drives back for a part. The number needed of one part is a sum over stops that
 * do not hang together, so its distribution is exact by adding one stop after the other. */
#include <math.h>

#include "fettle/rollout.h"

enum { NEEDED_MAX = 20000 }; /* ours: of one part between two fillings */

enum ft_status ft_van_demand(const struct ft_van_need *needs, size_t count, struct ft_arena *a, double **ret_chances,
                             int *ret_most, struct ft_error *e)
{
	int64_t room = 0;
	int most = 0;
	double *d;

	for (size_t i = 0; i < count; i++) {
		if (!(needs[i].p >= 0 && needs[i].p <= 1) || needs[i].count < 0 || needs[i].count > NEEDED_MAX)
			return ft_fail(e, FT_E_INPUT,
			               "A part is needed with a chance from 0 to 1 and at most %d times, not %g and %d.",
			               NEEDED_MAX, needs[i].p, needs[i].count);
		room += needs[i].count;
	}
	if (room > NEEDED_MAX)
		return ft_fail(e, FT_E_INPUT, "More than %d of one part may be needed; plan fewer machines at once.",
		               NEEDED_MAX);
	d = FT_NEW_ARRAY(a, (size_t)room + 1, double);
	if (!d)
		return ft_fail_memory(e, "reckoning the parts");
	d[0] = 1;
	for (size_t i = 0; i < count; i++) {
		const int c = needs[i].count;
		const double p = needs[i].p;
		if (c == 0 || p <= 0)
			continue;
		most += c;
		for (int k = most; k >= 0; k--)
			d[k] = d[k] * (1 - p) + (k >= c ? d[k - c] * p : 0);
	}
	*ret_chances = d;
	*ret_most = most;
	return FT_OK;
}

/* One part while the van is filled. */
struct filling {
	double *above; /* chance that more than k are needed, k of 0 to most */
	int most, surely, carry, limit;
	double price;
};

static enum ft_status prepare(struct filling *f, const struct ft_van_part *part, int number,
                              const struct ft_van_need *needs, size_t need_count, struct ft_arena *a, double *ret_mean,
                              struct ft_error *e)
{
	struct ft_van_need *own;
	size_t n = 0;
	double *d = NULL, tail = 0;
	enum ft_status s;

	for (size_t i = 0; i < need_count; i++)
		n += needs[i].part == number;
	own = FT_NEW_ARRAY(a, n + 1, struct ft_van_need);
	if (!own)
		return ft_fail_memory(e, "reckoning the parts");
	n = 0;
	*ret_mean = 0;
	for (size_t i = 0; i < need_count; i++) {
		if (needs[i].part != number)
			continue;
		own[n++] = needs[i];
		*ret_mean += needs[i].p * needs[i].count;
		f->surely += needs[i].p >= 1 ? needs[i].count : 0;
	}
	s = ft_van_demand(own, n, a, &d, &f->most, e);
	if (s != FT_OK || !d)
		return s;
	/* From the far end, so that small tails keep their digits. */
	for (int k = f->most; k >= 0; k--) {
		double here = d[k];
		d[k] = tail;
		tail += here;
	}
	f->above = d;
	f->limit = part->most < 0 || part->most > f->most ? f->most : part->most;
	f->price = part->price > 0 ? part->price : part->weight_g > 0 ? part->weight_g : 1;
	return FT_OK;
}

/* Risk taken away for each unit of price by the best run of further parts; the chance of a demand falls ever faster
 * before its peak, so one part alone may look poorer than it is. */
static double worth(const struct filling *f)
{
	double best = 0;

	for (int k = f->carry + 1; k <= f->limit; k++)
		best = fmax(best, (f->above[f->carry] - f->above[k]) / ((k - f->carry) * f->price));
	return best;
}

static double bound_of(const struct filling *f, size_t count)
{
	double sum = 0;

	for (size_t i = 0; i < count; i++)
		sum += f[i].above[f[i].carry];
	return sum < 1 ? sum : 1;
}

static double risk_of(const struct filling *f, size_t count)
{
	double none = 0;

	for (size_t i = 0; i < count; i++)
		none += log1p(-fmin(f[i].above[f[i].carry], 1));
	return -expm1(none);
}

/* Buys until the bound is met or nothing is left to buy; tells of each step where `steps` is given. */
static size_t buy(struct filling *f, size_t count, double risk, struct ft_van_step *steps)
{
	size_t n = 0;

	for (;;) {
		size_t best = count;
		double most = 0, before = risk_of(f, count);
		/* The sum of many small figures: a hair above what was asked is met. */
		if (bound_of(f, count) <= risk * (1 + 1e-12))
			return n;
		for (size_t i = 0; i < count; i++) {
			double w = worth(&f[i]);
			if (w > most) {
				most = w;
				best = i;
			}
		}
		if (best == count)
			return n;
		f[best].carry++;
		if (steps)
			steps[n] = (struct ft_van_step){ (int)best, f[best].carry, before, risk_of(f, count) };
		n++;
	}
}

/* Puts back what turned out not to be needed, the dearest first. */
static void put_back(struct filling *f, size_t count, double risk)
{
	for (;;) {
		size_t best = count;
		double bound = bound_of(f, count);
		for (size_t i = 0; i < count; i++) {
			int least = f[i].surely < f[i].limit ? f[i].surely : f[i].limit;
			if (f[i].carry > least && bound - f[i].above[f[i].carry] + f[i].above[f[i].carry - 1] <= risk &&
			    (best == count || f[i].price > f[best].price))
				best = i;
		}
		if (best == count)
			return;
		f[best].carry--;
	}
}

enum ft_status ft_van_fill(const struct ft_van_part *parts, size_t part_count, const struct ft_van_need *needs,
                           size_t need_count, double risk, struct ft_arena *a, struct ft_van *ret, struct ft_error *e)
{
	struct filling *f = FT_NEW_ARRAY(a, part_count + 1, struct filling);
	size_t steps;

	*ret = (struct ft_van){ .part_count = part_count };
	ret->loads = FT_NEW_ARRAY(a, part_count + 1, struct ft_van_load);
	if (!f || !ret->loads)
		return ft_fail_memory(e, "filling the van");
	for (size_t i = 0; i < part_count; i++) {
		enum ft_status s = prepare(&f[i], &parts[i], (int)i, needs, need_count, a, &ret->loads[i].expected, e);
		if (s != FT_OK)
			return s;
		f[i].carry = f[i].surely < f[i].limit ? f[i].surely : f[i].limit;
	}
	buy(f, part_count, risk, NULL);
	if (bound_of(f, part_count) <= risk)
		put_back(f, part_count, risk);
	/* Once more with what is carried as the limit, to tell what each part buys. */
	steps = 0;
	for (size_t i = 0; i < part_count; i++) {
		int begin = f[i].surely < f[i].limit ? f[i].surely : f[i].limit;
		f[i].limit = f[i].carry;
		steps += (size_t)(f[i].carry - begin);
		f[i].carry = begin;
	}
	ret->steps = FT_NEW_ARRAY(a, steps + 1, struct ft_van_step);
	if (!ret->steps)
		return ft_fail_memory(e, "filling the van");
	ret->step_count = buy(f, part_count, 0, ret->steps);
	ret->bound = bound_of(f, part_count);
	ret->risk = risk_of(f, part_count);
	ret->met = ret->bound <= risk * (1 + 1e-12);
	for (size_t i = 0; i < part_count; i++) {
		struct ft_van_load *l = &ret->loads[i];
		/* Demand that is possible only on paper (chance 0) leaves parts unbought that were carried: none. */
		l->carry = f[i].carry;
		l->surely = f[i].surely;
		l->most = f[i].most;
		l->risk = f[i].above[l->carry];
		l->next = l->carry < l->most ? f[i].above[l->carry + 1] : 0;
	}
	return FT_OK;
}
