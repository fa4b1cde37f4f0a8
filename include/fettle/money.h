/* SPDX-License-Identifier: Apache-2.0 */
/* Money as whole minor units beside its decimal places. No floating point touches it. */
#ifndef FETTLE_MONEY_H
#define FETTLE_MONEY_H

#include "fettle/slice.h"

/* A row of ISO 4217 (data/currencies.csv). */
struct ft_currency {
	const char *alpha;
	int numeric;
	int digits; /* decimal places; -1 where the standard gives none */
	const char *name;
};

/* By letters (any case) or by number; NULL when unknown. */
const struct ft_currency *ft_currency_by_alpha(struct ft_slice alpha);
const struct ft_currency *ft_currency_by_number(int numeric);

#define FT_MONEY_TEXT 32

/* "12.50", "-0.05", "150" into `out`; returns `out`. decimals 0 to 4. */
char *ft_money_text(int64_t minor, int decimals, char out[FT_MONEY_TEXT]);

/* Reads "12.50", "12,5" or "12" as minor units of `decimals` places. False when it is no amount or
 * has more places than fit. */
bool ft_money_parse(struct ft_slice s, int decimals, int64_t *ret_minor);

#endif
