/* SPDX-License-Identifier: Apache-2.0 */
/* Counts that came by chance, and sums that tell when they did not. Everything in logarithms, so that no large count
 * overflows and no small probability vanishes. */
#include <math.h>

#include "fettle/watch.h"

static double clamp(double p)
{
	return p < 0 ? 0 : p > 1 ? 1 : p;
}

/* lgamma writes a global (the sign); its reentrant form does not. */
static double log_gamma(double x)
{
	int sign;

	return lgamma_r(x, &sign);
}

static double poisson_term(int64_t k, double lambda)
{
	return exp((double)k * log(lambda) - lambda - log_gamma((double)k + 1));
}

double ft_poisson_most(int64_t k, double lambda)
{
	double sum = 0, term;

	if (k < 0)
		return 0;
	if (lambda <= 0)
		return 1;
	/* from the largest term downwards: what no longer counts ends it */
	for (int64_t i = k; i >= 0; i--) {
		term = poisson_term(i, lambda);
		sum += term;
		if ((double)i < lambda && term < sum * 1e-17)
			break;
	}
	return clamp(sum);
}

double ft_poisson_least(int64_t k, double lambda)
{
	double sum = 0, term;

	if (k <= 0)
		return 1;
	if (lambda <= 0)
		return 0;
	if ((double)k <= lambda)
		return clamp(1 - ft_poisson_most(k - 1, lambda));
	for (int64_t i = k;; i++) {
		term = poisson_term(i, lambda);
		sum += term;
		if (term <= sum * 1e-17)
			break;
	}
	return clamp(sum);
}

static double binomial_most(int64_t n, double p, int64_t k)
{
	double sum = 0;

	if (k >= n)
		return 1;
	for (int64_t i = k; i >= 0; i--) {
		double term = exp(log_gamma((double)n + 1) - log_gamma((double)i + 1) - log_gamma((double)(n - i) + 1) +
		                  (double)i * log(p) + (double)(n - i) * log1p(-p));
		sum += term;
		if ((double)i < (double)n * p && term < sum * 1e-17)
			break;
	}
	return clamp(sum);
}

double ft_conditional_most(int64_t x1, double t1, int64_t x2, double t2)
{
	if (x1 < 0 || x2 < 0 || x1 + x2 == 0 || !(t1 > 0) || !(t2 > 0))
		return 1;
	return binomial_most(x1 + x2, t2 / (t1 + t2), x2);
}

double ft_conditional_least(int64_t x1, double t1, int64_t x2, double t2)
{
	if (x2 <= 0 || x1 < 0 || !(t1 > 0) || !(t2 > 0))
		return 1;
	/* no fewer than x2 in t2 is no more than x1 in t1 */
	return binomial_most(x1 + x2, t1 / (t1 + t2), x1);
}

void ft_count_limits(int64_t count, double level, double *ret_low, double *ret_high)
{
	double tail = (1 - level) / 2, low, high;

	low = 0;
	high = (double)count;
	for (int i = 0; i < 200 && count > 0; i++) {
		double mid = (low + high) / 2;
		if (ft_poisson_least(count, mid) < tail)
			low = mid;
		else
			high = mid;
	}
	*ret_low = count > 0 ? low : 0;
	low = (double)count;
	high = (double)count + 20 + 10 * sqrt((double)count);
	for (int i = 0; i < 200; i++) {
		double mid = (low + high) / 2;
		if (ft_poisson_most(count, mid) > tail)
			low = mid;
		else
			high = mid;
	}
	*ret_high = low;
}

void ft_cusum_step(struct ft_cusum *c, double x, double mean, double k)
{
	c->high = fmax(0, c->high + x - mean - k);
	c->low = fmax(0, c->low + mean - k - x);
}

double ft_ewma_step(double z, double x, double lambda)
{
	return lambda * x + (1 - lambda) * z;
}

double ft_ewma_width(double sigma, double lambda, double width, unsigned steps)
{
	double share = lambda / (2 - lambda);

	if (steps)
		share *= 1 - pow(1 - lambda, 2.0 * steps);
	return width * sigma * sqrt(share);
}
