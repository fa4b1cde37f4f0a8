/* SPDX-License-Identifier: Apache-2.0 */
/* Resistances to degrees and back: NTC by beta or Steinhart-Hart, platinum by IEC 60751. */
#include <math.h>

#include "room.h"

#define KELVIN 273.15
#define T25    298.15 /* 25 C: where R25 is stated */

/* IEC 60751 (2008): R = R0 (1 + A t + B t^2), below zero C (t - 100) t^3 joins in; -200 to 850 C. */
#define PT_A     3.9083e-3
#define PT_B     (-5.775e-7)
#define PT_C     (-4.183e-12)
#define PT_LEAST (-200.0)
#define PT_MOST  850.0

static const struct {
	const char *name;
	enum ft_sensor_form form;
	const char *c[3], *trust, *source;
} curves[] = {
#define ROW(ident, name, form, c0, c1, c2, trust, source) { name, FT_SENSOR_##form, { c0, c1, c2 }, trust, source },
#include "sensor-curves.inc"
#undef ROW
};

static double sane(double v)
{
	return isfinite(v) ? v : NAN;
}

static double platinum_ratio(double t)
{
	return 1 + PT_A * t + PT_B * t * t + (t < 0 ? PT_C * (t - 100) * t * t * t : 0);
}

static double platinum_c(double ratio)
{
	double t = (-PT_A + sqrt(PT_A * PT_A - 4 * PT_B * (1 - ratio))) / (2 * PT_B);

	if (!(t < 0))
		return t <= PT_MOST + 1e-6 ? t : NAN;
	if (ratio < platinum_ratio(PT_LEAST) - 1e-9) /* the end itself must not be lost to rounding */
		return NAN;
	for (int i = 0; i < 20; i++) { /* Newton; the square form alone is near enough to begin with */
		double slope = PT_A + 2 * PT_B * t + PT_C * (4 * t - 300) * t * t;
		t -= (platinum_ratio(t) - ratio) / slope;
	}
	return t;
}

double ft_sensor_c(const struct ft_sensor *s, double ohms)
{
	double l;

	if (!(ohms > 0) || !isfinite(ohms))
		return NAN;
	switch (s->form) {
	case FT_SENSOR_BETA:
		return sane(1 / (1 / T25 + log(ohms / s->c[0]) / s->c[1]) - KELVIN);
	case FT_SENSOR_STEINHART:
		l = log(ohms);
		return sane(1 / (s->c[0] + s->c[1] * l + s->c[2] * l * l * l) - KELVIN);
	default:
		return sane(platinum_c(ohms / s->c[0]));
	}
}

double ft_sensor_ohms(const struct ft_sensor *s, double c)
{
	double kelvin = c + KELVIN, x, y, third;

	if (!(kelvin > 0) || !isfinite(c))
		return NAN;
	switch (s->form) {
	case FT_SENSOR_BETA:
		return sane(s->c[0] * exp(s->c[1] * (1 / kelvin - 1 / T25)));
	case FT_SENSOR_STEINHART:
		if (s->c[2] == 0)
			return sane(exp((1 / kelvin - s->c[0]) / s->c[1]));
		y = (s->c[0] - 1 / kelvin) / (2 * s->c[2]);
		third = s->c[1] / (3 * s->c[2]);
		x = sqrt(third * third * third + y * y);
		return sane(exp(cbrt(x - y) - cbrt(x + y)));
	default:
		return c < PT_LEAST || c > PT_MOST ? NAN : s->c[0] * platinum_ratio(c);
	}
}

double ft_sensor_lead_error(const struct ft_sensor *s, double c, double lead_ohms)
{
	return ft_sensor_c(s, ft_sensor_ohms(s, c) + lead_ohms) - c;
}

double ft_sensor_beta(double c1, double ohms1, double c2, double ohms2)
{
	return sane(log(ohms1 / ohms2) / (1 / (c1 + KELVIN) - 1 / (c2 + KELVIN)));
}

bool ft_sensor_fit(const double c[3], const double ohms[3], struct ft_sensor *ret)
{
	double l[3], y[3], g2, g3;
	struct ft_sensor s = { FT_SENSOR_STEINHART, { 0 }, "", "", "" };

	for (int i = 0; i < 3; i++) {
		if (!(ohms[i] > 0) || !(c[i] > -KELVIN))
			return false;
		l[i] = log(ohms[i]);
		y[i] = 1 / (c[i] + KELVIN);
	}
	g2 = (y[1] - y[0]) / (l[1] - l[0]);
	g3 = (y[2] - y[0]) / (l[2] - l[0]);
	s.c[2] = (g3 - g2) / (l[2] - l[1]) / (l[0] + l[1] + l[2]);
	s.c[1] = g2 - s.c[2] * (l[0] * l[0] + l[0] * l[1] + l[1] * l[1]);
	s.c[0] = y[0] - (s.c[1] + l[0] * l[0] * s.c[2]) * l[0];
	/* resistance must fall as it warms: else the points are none of an NTC */
	if (!isfinite(s.c[0]) || !isfinite(s.c[2]) || !(s.c[1] > 0) || !(g2 > 0) || !(g3 > 0))
		return false;
	*ret = s;
	return true;
}

static bool numbers(struct ft_slice rest, double *out, int count)
{
	struct ft_slice part;
	int n = 0;

	while (rest.p && ft_slice_split(&rest, ':', &part))
		if (n >= count || !ft_figure(part, &out[n++]))
			return false;
	return n == count;
}

static bool begins(struct ft_slice *s, const char *with)
{
	struct ft_slice w = ft_slice_of(with);

	if (s->n < w.n || !ft_slice_eq_nocase((struct ft_slice){ s->p, w.n }, w))
		return false;
	s->p += w.n;
	s->n -= w.n;
	return true;
}

enum ft_status ft_sensor_parse(struct ft_slice text, struct ft_sensor *ret, struct ft_error *e)
{
	struct ft_sensor s = { .name = "", .trust = "", .source = "" };
	struct ft_slice rest = text;
	double v[6];
	bool ok = false;

	for (size_t i = 0; i < sizeof curves / sizeof *curves; i++) {
		if (!ft_slice_eq_nocase(text, ft_slice_of(curves[i].name)))
			continue;
		s = (struct ft_sensor){ curves[i].form, { 0 }, curves[i].name, curves[i].trust, curves[i].source };
		for (int k = 0; k < 3; k++)
			ok = ft_figure(ft_slice_of(curves[i].c[k]), &s.c[k]);
	}
	if (!ok && begins(&rest, "ntc:")) {
		s.form = FT_SENSOR_BETA;
		ok = numbers(rest, s.c, 2) && s.c[0] > 0 && s.c[1] > 0;
	} else if (!ok && begins(&rest, "sh:")) {
		s.form = FT_SENSOR_STEINHART;
		ok = numbers(rest, s.c, 3) && s.c[1] > 0 && s.c[2] >= 0;
	} else if (!ok && begins(&rest, "pt:")) {
		s.form = FT_SENSOR_PLATINUM;
		ok = numbers(rest, s.c, 1) && s.c[0] > 0;
	} else if (!ok && begins(&rest, "fit:")) {
		if (numbers(rest, v, 6))
			ok = ft_sensor_fit((const double[]){ v[0], v[2], v[4] }, (const double[]){ v[1], v[3], v[5] }, &s);
	}
	if (!ok)
		return ft_fail(
			e, FT_E_USAGE,
			"\"%.*s\" is no sensor; write ntc-10k, pt100, pt1000, ntc:R25:B, sh:A:B:C, pt:R0, or fit: and three pairs of degrees and ohms.",
			(int)(text.n < 60 ? text.n : 60), text.p);
	*ret = s;
	return FT_OK;
}
