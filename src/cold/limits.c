/* SPDX-License-Identifier: Apache-2.0 */
/* The limits and the classes of probes, from data. */
#include "room.h"

static const struct {
	const char *kind;
	enum ft_cold_side side;
	const char *limit_c;
	int allowance_min, service_max_min, likely_from_c, likely_to_c;
	const char *trust, *source;
} limits[] = {
#define ROW(ident, kind, side, ...) { kind, FT_COLD_##side, __VA_ARGS__ },
#include "cold-limits.inc"
#undef ROW
};

_Static_assert(sizeof limits / sizeof *limits == FT_COLD_KINDS,
               "a row of data/cold-limits.csv for each kind, in order");

static const struct {
	const char *name, *max_error_c, *per_degree, *of, *trust, *source;
} classes[] = {
#define ROW(ident, ...) { __VA_ARGS__ },
#include "sensor-classes.inc"
#undef ROW
};

static double number(const char *text)
{
	double v = 0;

	ft_figure(ft_slice_of(text), &v);
	return v;
}

void ft_cold_rule_of(enum ft_cold_kind k, struct ft_cold_rule *ret)
{
	*ret = (struct ft_cold_rule){
		limits[k].kind,
		limits[k].side,
		number(limits[k].limit_c),
		limits[k].allowance_min * 60,
		limits[k].service_max_min * 60,
		limits[k].likely_from_c,
		limits[k].likely_to_c,
		limits[k].trust,
		limits[k].source,
	};
}

bool ft_cold_kind_parse(struct ft_slice word, enum ft_cold_kind *ret)
{
	for (int k = 0; k < FT_COLD_KINDS; k++) {
		if (ft_slice_is(word, limits[k].kind)) {
			*ret = (enum ft_cold_kind)k;
			return true;
		}
	}
	return false;
}

bool ft_cold_class(struct ft_slice name, double at_c, double *ret_c, const char **ret_trust)
{
	for (size_t i = 0; i < sizeof classes / sizeof *classes; i++) {
		if (!ft_slice_eq_nocase(name, ft_slice_of(classes[i].name)))
			continue;
		*ret_c = number(classes[i].max_error_c) + number(classes[i].per_degree) * (at_c < 0 ? -at_c : at_c);
		if (ret_trust)
			*ret_trust = classes[i].trust;
		return true;
	}
	return false;
}
