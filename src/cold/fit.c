/* SPDX-License-Identifier: Apache-2.0 */
/* The curve of a pull-down by least squares.
 *
 * For a given tau the curve is linear in the other two, so only tau is searched for. Residuals of a cabinet hang
 * together (cycling, rounding, a probe that lags), so they are whitened by how much one follows the last; without that
 * the intervals would be far too narrow. Intervals come from the profile: every tau, and with it every pair of the
 * other two, whose squares are not larger than F allows. */
#include <math.h>

#include "room.h"

enum {
	POINTS_MAX = 160, /* ours: a longer stretch is averaged in blocks, which loses nothing of a slow curve */
	POINTS_LEAST = 8,
	GRID = 60,   /* of the first search */
	GOLDEN = 30, /* narrower by a third each: to a millionth of a step */
	CURVES = 81  /* kept for telling values of the band */
};
#define TAU_LEAST 0.02 /* ours: of the span; what is faster is not seen */
#define TAU_MOST  20.0 /* ours: of the span; what is slower looks like a straight line */
#define RHO_MOST  0.97
#define WIDER     1.04 /* ours: on t, which knows of the variance only and not of a curve that is not straight in tau */

struct points {
	double t[POINTS_MAX], y[POINTS_MAX];
	int n;
	double span;
};

/* What one tau gives: the sum of squares, the two others, and the inverse of their normal equations. */
struct at_tau {
	double tau, rss, settles, drop, i11, i12, i22;
};

struct ft_cold_curve {
	struct at_tau best, list[CURVES];
	double pad;   /* on both sides of a value: what rounding may hide where it is larger than the noise */
	double bound; /* sums of squares up to this are within the interval */
};

static void gather(const struct ft_cold_sample *s, size_t from, size_t to, struct points *p)
{
	size_t n = to - from, blocks = n < POINTS_MAX ? n : POINTS_MAX;

	p->n = (int)blocks;
	for (size_t b = 0; b < blocks; b++) {
		size_t first = from + n * b / blocks, end = from + n * (b + 1) / blocks;
		double t = 0, y = 0;
		for (size_t i = first; i < end; i++) {
			t += (double)(s[i].at_us - s[from].at_us) / 1e6;
			y += s[i].c;
		}
		p->t[b] = t / (double)(end - first);
		p->y[b] = y / (double)(end - first);
	}
	p->span = (double)(s[to - 1].at_us - s[from].at_us) / 1e6;
}

static struct at_tau solve(const struct points *p, double tau, double rho)
{
	struct at_tau r = { .tau = tau, .rss = INFINITY };
	double s11 = 0, s12 = 0, s22 = 0, b1 = 0, b2 = 0, yy = 0, det;
	double last_e = 0, last_y = 0, first = sqrt(1 - rho * rho);

	for (int i = 0; i < p->n; i++) {
		double e = exp(-p->t[i] / tau), y = p->y[i] - p->y[p->n - 1]; /* near zero: fewer digits are lost */
		double x1 = i ? 1 - rho : first, x2 = i ? e - rho * last_e : first * e, z = i ? y - rho * last_y : first * y;
		s11 += x1 * x1;
		s12 += x1 * x2;
		s22 += x2 * x2;
		b1 += x1 * z;
		b2 += x2 * z;
		yy += z * z;
		last_e = e;
		last_y = y;
	}
	det = s11 * s22 - s12 * s12;
	if (!(det > 1e-14 * s11 * s22))
		return r;
	r.i11 = s22 / det;
	r.i12 = -s12 / det;
	r.i22 = s11 / det;
	r.settles = r.i11 * b1 + r.i12 * b2;
	r.drop = r.i12 * b1 + r.i22 * b2;
	r.rss = yy - r.settles * b1 - r.drop * b2;
	r.settles += p->y[p->n - 1];
	if (r.rss < 0)
		r.rss = 0;
	return r;
}

/* The best tau: a coarse look over all, then golden section. */
static struct at_tau search(const struct points *p, double rho)
{
	const double golden = 0.6180339887498949;
	double low = log(TAU_LEAST * p->span), high = log(TAU_MOST * p->span), step = (high - low) / (GRID - 1);
	struct at_tau best = { .rss = INFINITY };
	double a, b, x1, x2;
	struct at_tau f1, f2;

	for (int i = 0; i < GRID; i++) {
		struct at_tau r = solve(p, exp(low + i * step), rho);
		if (r.rss < best.rss)
			best = r;
	}
	if (!isfinite(best.rss))
		return best;
	a = fmax(low, log(best.tau) - step);
	b = fmin(high, log(best.tau) + step);
	x1 = b - golden * (b - a);
	x2 = a + golden * (b - a);
	f1 = solve(p, exp(x1), rho);
	f2 = solve(p, exp(x2), rho);
	for (int i = 0; i < GOLDEN; i++) {
		if (f1.rss < f2.rss) {
			b = x2;
			x2 = x1;
			f2 = f1;
			x1 = b - golden * (b - a);
			f1 = solve(p, exp(x1), rho);
		} else {
			a = x1;
			x1 = x2;
			f1 = f2;
			x2 = a + golden * (b - a);
			f2 = solve(p, exp(x2), rho);
		}
	}
	return f1.rss < f2.rss ? f1 : f2;
}

/* How much one residual follows the last. Three figures fitted to a short row hide some of it, which is put back; and
 * as what is left is an estimate still, one standard error of it is added: with less the intervals of short rows hold
 * too seldom. */
static double follows(const struct points *p, const struct at_tau *r)
{
	double last = 0, both = 0, all = 0, rho;

	for (int i = 0; i < p->n; i++) {
		double e = p->y[i] - r->settles - r->drop * exp(-p->t[i] / r->tau);
		both += i ? e * last : 0;
		all += e * e;
		last = e;
	}
	if (!(all > 0))
		return 0;
	rho = both / all;
	rho += (3 + 4 * rho) / p->n;
	rho += sqrt(fmax(1 - rho * rho, 0) / p->n);
	return rho < 0 ? 0 : rho > RHO_MOST ? RHO_MOST : rho;
}

/* Student's t for 95 of 100, both sides; Cornish-Fisher, good to 1 % from 3 degrees of freedom on. */
static double student(double dof)
{
	const double z = 1.959964, z3 = z * z * z, z5 = z3 * z * z;

	if (dof < 3)
		dof = 3;
	return z + (z3 + z) / (4 * dof) + (5 * z5 + 16 * z3 + 3 * z) / (96 * dof * dof) +
		(3 * z5 * z * z + 19 * z5 + 17 * z3 - 15 * z) / (384 * dof * dof * dof);
}

/* Where the profile passes the bound, between the best tau and the edge; NaN: nowhere. */
static double edge_of(const struct points *p, double rho, double bound, double best, double edge)
{
	double in = log(best), out = log(edge);

	if (solve(p, edge, rho).rss <= bound)
		return NAN;
	for (int i = 0; i < GOLDEN; i++) { /* halved as often */
		double mid = (in + out) / 2;
		if (solve(p, exp(mid), rho).rss <= bound)
			in = mid;
		else
			out = mid;
	}
	return exp(in);
}

static void value(const struct at_tau *r, double bound, double e, double *lo, double *hi)
{
	double m = r->settles + r->drop * e, spare = bound - r->rss;
	double v = r->i11 + 2 * e * r->i12 + e * e * r->i22, half = sqrt(fmax(spare, 0) * fmax(v, 0));

	*lo = fmin(*lo, m - half);
	*hi = fmax(*hi, m + half);
}

double ft_cold_fit_at(const struct ft_cold_fit *f, double t_s, double *ret_lo, double *ret_hi)
{
	const struct ft_cold_curve *c = f->curve;
	double lo = INFINITY, hi = -INFINITY;

	for (int i = 0; i < CURVES; i++)
		value(&c->list[i], c->bound, exp(-t_s / c->list[i].tau), &lo, &hi);
	if (ret_lo)
		*ret_lo = lo - c->pad;
	if (ret_hi)
		*ret_hi = hi + c->pad;
	return c->best.settles + c->best.drop * exp(-t_s / c->best.tau);
}

enum which { MIDDLE, LOW, HIGH };

static double told(const struct ft_cold_fit *f, double t, enum which w)
{
	double lo, hi, m = ft_cold_fit_at(f, t, &lo, &hi);

	return w == MIDDLE ? m : w == LOW ? lo : hi;
}

/* When a line of the band passes `c`; 0 when it is beyond from the first, NaN when it never is. */
static double pass(const struct ft_cold_fit *f, double c, enum which w)
{
	double sign = f->curve->best.drop > 0 ? 1 : -1, low = 0, high = 40 * f->tau_s;

	if (sign * (told(f, 0, w) - c) <= 0)
		return 0;
	if (sign * (told(f, high, w) - c) >= 0)
		return NAN;
	for (int i = 0; i < 60; i++) {
		double mid = (low + high) / 2;
		if (sign * (told(f, mid, w) - c) > 0)
			low = mid;
		else
			high = mid;
	}
	return high;
}

double ft_cold_fit_reach(const struct ft_cold_fit *f, double c, double *ret_lo, double *ret_hi)
{
	bool falls = f->curve->best.drop > 0;

	if (ret_lo)
		*ret_lo = pass(f, c, falls ? LOW : HIGH);
	if (ret_hi)
		*ret_hi = pass(f, c, falls ? HIGH : LOW);
	return pass(f, c, MIDDLE);
}

static void profile(const struct points *p, double rho, struct ft_cold_curve *c, struct ft_cold_fit *r)
{
	double least = TAU_LEAST * p->span, most = TAU_MOST * p->span, from, to;

	r->tau_lo = edge_of(p, rho, c->bound, c->best.tau, least);
	r->tau_hi = edge_of(p, rho, c->bound, c->best.tau, most);
	from = log(isnan(r->tau_lo) ? least : r->tau_lo);
	to = log(isnan(r->tau_hi) ? most : r->tau_hi);
	for (int i = 0; i < CURVES; i++)
		c->list[i] = solve(p, exp(from + (to - from) * i / (CURVES - 1)), rho);
}

bool ft_cold_three(const double c[3], double step_s, double *ret_tau_s, double *ret_settles_c)
{
	double ratio = (c[2] - c[1]) / (c[1] - c[0]), bend = c[0] + c[2] - 2 * c[1];

	if (!(ratio > 0 && ratio < 1) || !(step_s > 0))
		return false;
	*ret_tau_s = -step_s / log(ratio);
	*ret_settles_c = (c[0] * c[2] - c[1] * c[1]) / bend;
	return isfinite(*ret_tau_s) && isfinite(*ret_settles_c);
}

bool ft_cold_fit(const struct ft_cold_sample *s, size_t from, size_t to, double resolution_c, struct ft_arena *a,
                 struct ft_cold_fit *ret)
{
	struct points p;
	struct ft_cold_fit r = { .from = from, .to = to, .reach_s = NAN, .reach_lo = NAN, .reach_hi = NAN };
	struct ft_cold_curve *c;
	double rho = 0, variance, free, t;

	*ret = r;
	if (to <= from || to - from < POINTS_LEAST)
		return false;
	gather(s, from, to, &p);
	c = FT_NEW(a, struct ft_cold_curve);
	if (!c || !(p.span > 0))
		return false;
	for (int round = 0; round < 4; round++) {
		c->best = search(&p, rho);
		if (!isfinite(c->best.rss))
			return false;
		if (round < 3)
			rho = follows(&p, &c->best);
	}
	/* Rounding alone makes this much noise, even where all residuals are nil; it does not average out in a block,
	 * since a curve that lies still is always rounded the same way. */
	variance = fmax(c->best.rss / (p.n - 3), resolution_c * resolution_c / 12);
	variance = fmax(variance, 1e-12);
	c->pad = variance < resolution_c * resolution_c / 6 ? resolution_c / 4 : 0;
	free = p.n * (1 - rho) / (1 + rho) - 3;
	t = WIDER * student(free);
	c->bound = c->best.rss + t * t * variance;
	r.curve = c;
	r.tau_s = c->best.tau;
	profile(&p, rho, c, &r);
	r.settles_c = c->best.settles;
	r.settles_lo = INFINITY;
	r.settles_hi = -INFINITY;
	for (int i = 0; i < CURVES; i++)
		value(&c->list[i], c->bound, 0, &r.settles_lo, &r.settles_hi);
	r.settles_lo -= c->pad;
	r.settles_hi += c->pad;
	r.starts_c = c->best.settles + c->best.drop;
	r.from_us = s[from].at_us;
	r.to_us = s[to - 1].at_us;
	r.noise_c = sqrt(variance / fmax(1 - rho * rho, 0.05));
	r.rho = rho;
	r.span_tau = p.span / r.tau_s;
	r.settles_known = r.span_tau >= 1;
	r.found = true;
	*ret = r;
	return true;
}
