/* SPDX-License-Identifier: Apache-2.0 */
/* Indices to levels, shares of the time, cables. */
#include <math.h>

#include "fettle/signal.h"

/* Index n of `first` to `last` is the interval from base + n * step to the next; below the first and from the
 * last on it is open. 3GPP TS 27.007 8.5 and 8.69, TS 36.133 9.1.4; the edges of NR from memory. */
static const struct {
	const char *word;
	int last, unknown;
	double base, step; /* lower edge of index n is base + n step */
} metrics[FT_SIGNAL_METRICS] = {
	[FT_SIGNAL_RSSI] = { "RSSI", 31, 99, -113, 2 },    [FT_SIGNAL_RXLEV] = { "RXLEV", 63, 99, -111, 1 },
	[FT_SIGNAL_RSCP] = { "RSCP", 96, 255, -121, 1 },   [FT_SIGNAL_RSRP] = { "RSRP", 97, 255, -141, 1 },
	[FT_SIGNAL_NR] = { "SS-RSRP", 126, 255, -157, 1 }, [FT_SIGNAL_DBM] = { "level", -1, 0, 0, 0 },
};

static const struct ft_signal_cable cables[] = {
#define ROW(ident, class, k1, k2, spread, source) { class, k1 / 1000.0, k2 / 100000.0, spread / 100.0 },
#include "cable.inc"
#undef ROW
};

enum limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "signal-limits.inc"
#undef ROW
};

const char *ft_signal_metric_word(enum ft_signal_metric m)
{
	return (unsigned)m < FT_SIGNAL_METRICS ? metrics[m].word : NULL;
}

bool ft_signal_level(enum ft_signal_metric m, int index, double *ret_low, double *ret_high)
{
	if (m == FT_SIGNAL_RSRP && index >= -17 && index < 0) { /* the extended range of TS 36.133: below index 1 */
		*ret_low = index == -17 ? -INFINITY : -140.0 + index;
		*ret_high = -139.0 + index;
		return true;
	}
	if ((unsigned)m >= FT_SIGNAL_METRICS || index < 0 || index > metrics[m].last || index == metrics[m].unknown)
		return false;
	*ret_low = index == 0 ? -INFINITY : metrics[m].base + index * metrics[m].step;
	*ret_high = index == metrics[m].last ? INFINITY : metrics[m].base + (index + 1) * metrics[m].step;
	if (m == FT_SIGNAL_RSSI && index == 0)
		*ret_high = metrics[m].base; /* -113 dBm or less */
	return true;
}

/* TS 36.133 9.1.7: 0 to 34, and the extended range on both sides of it, which overlaps its open ends. */
double ft_signal_rsrq_low(int index)
{
	if (index < -30 || index > 46)
		return NAN;
	if (index <= 0)
		return index == 0 || index == -30 ? -INFINITY : -19.5 + index / 2.0;
	return (index <= 34 ? -20 : -20.5) + index / 2.0;
}

static double half_decibels(int index, int last, double base)
{
	return index < 0 || index > last ? NAN : index == 0 ? -INFINITY : base + index / 2.0;
}

double ft_signal_ecno_low(int index)
{
	return half_decibels(index, 49, -24.5); /* TS 27.007 8.69 */
}

double ft_signal_nr_rsrq_low(int index)
{
	return half_decibels(index, 126, -43.5); /* edges of NR from memory */
}

double ft_signal_nr_sinr_low(int index)
{
	return half_decibels(index, 127, -23.5);
}

bool ft_signal_ber(int index, double *ret_low, double *ret_high)
{
	static const double edges[] = { 0, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8, 100 }; /* TS 45.008 8.2.4 */

	if (index < 0 || index > 7)
		return false;
	*ret_low = edges[index];
	*ret_high = edges[index + 1];
	return true;
}

const char *ft_signal_net_word(int stat, bool *ret_usable)
{
	static const struct {
		int stat;
		const char *word;
		int usable;
	} rows[] = {
#define ROW(ident, stat, word, usable, source) { stat, word, usable },
#include "registration.inc"
#undef ROW
	};

	*ret_usable = false;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		if (rows[i].stat == stat) {
			*ret_usable = rows[i].usable;
			return rows[i].word;
		}
	return NULL;
}

/* Regularised incomplete beta by its continued fraction (Lentz). */
static double beta_share(double a, double b, double x)
{
	double front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x)) / a;
	double f = 1, c = 1, d = 0;

	if (x > (a + 1) / (a + b + 2))
		return 1 - beta_share(b, a, 1 - x);
	for (int i = 0; i <= 300; i++) {
		int m = i / 2;
		double term = i == 0 ? 1
			: i % 2 == 0     ? m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
							 : -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
		d = 1 + term * d;
		d = 1 / (fabs(d) < 1e-300 ? 1e-300 : d);
		c = 1 + term / c;
		c = fabs(c) < 1e-300 ? 1e-300 : c;
		f *= c * d;
		if (fabs(1 - c * d) < 1e-14)
			break;
	}
	return front * (f - 1);
}

/* Student's t with v degrees of freedom, at most t. */
static double student(double t, double v)
{
	double tail = t == 0 ? 0.5 : 0.5 * beta_share(v / 2, 0.5, v / (v + t * t));

	return t > 0 ? 1 - tail : tail;
}

double ft_signal_share(double margin_db, double spread_db, size_t n)
{
	if (!(spread_db > 0))
		return margin_db >= 0 ? 1 : 0;
	if (n < 2)
		return 0.5 * erfc(-margin_db / spread_db / sqrt(2));
	/* the next reading, when mean and spread come from n: a wider curve than the normal one */
	return student(margin_db / (spread_db * sqrt(1 + 1.0 / (double)n)), (double)n - 1);
}

const struct ft_signal_cable *ft_signal_cables(size_t *ret_count)
{
	*ret_count = sizeof cables / sizeof *cables;
	return cables;
}

bool ft_signal_fit(double f1, double a1, double f2, double a2, struct ft_signal_cable *ret)
{
	double k2;

	if (!(f1 > 0) || !(f2 > 0) || f1 == f2 || !(a1 > 0) || !(a2 > 0))
		return false;
	k2 = (a2 / sqrt(f2) - a1 / sqrt(f1)) / (sqrt(f2) - sqrt(f1));
	*ret = (struct ft_signal_cable){ "by its data sheet", a1 / sqrt(f1) - k2 * sqrt(f1), k2, 0.05 };
	return ret->k1 > 0 && k2 > -0.01;
}

double ft_signal_loss(const struct ft_signal_cable *c, double mhz, double metres, int connectors)
{
	return (c->k1 * sqrt(mhz) + c->k2 * mhz) * metres / 100 + connectors * LIMIT_CONNECTOR / 100.0;
}

double ft_signal_free_space(double mhz, double km)
{
	return 32.4 + 20 * log10(mhz) + 20 * log10(km);
}
