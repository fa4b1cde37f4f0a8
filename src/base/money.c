/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/money.h"

static const struct ft_currency currencies[] = {
#define ROW(ident, alpha, numeric, digits, name, source) { alpha, numeric, digits, name },
#include "currencies.inc"
#undef ROW
};

enum { CURRENCIES = sizeof currencies / sizeof *currencies };

const struct ft_currency *ft_currency_by_alpha(struct ft_slice alpha)
{
	for (size_t i = 0; i < CURRENCIES; i++)
		if (ft_slice_eq_nocase(ft_slice_of(currencies[i].alpha), alpha))
			return &currencies[i];
	return NULL;
}

const struct ft_currency *ft_currency_by_number(int numeric)
{
	for (size_t i = 0; i < CURRENCIES; i++)
		if (currencies[i].numeric == numeric)
			return &currencies[i];
	return NULL;
}

char *ft_money_text(int64_t minor, int decimals, char out[FT_MONEY_TEXT])
{
	uint64_t v = minor < 0 ? 0 - (uint64_t)minor : (uint64_t)minor;
	char digits[FT_MONEY_TEXT];
	size_t i = sizeof digits;

	digits[--i] = 0;
	for (int place = 0; v || place <= decimals; place++) {
		if (place && place == decimals)
			digits[--i] = '.';
		digits[--i] = (char)('0' + v % 10);
		v /= 10;
	}
	if (minor < 0)
		digits[--i] = '-';
	return memcpy(out, digits + i, sizeof digits - i);
}

bool ft_money_parse(struct ft_slice s, int decimals, int64_t *ret_minor)
{
	bool negative = s.n && s.p[0] == '-';
	bool pointed = false;
	bool digits = false;
	int places = 0;
	int64_t v = 0;

	for (size_t i = negative; i < s.n; i++) {
		if ((s.p[i] == '.' || s.p[i] == ',') && !pointed && digits) {
			pointed = true;
			continue;
		}
		if (!ft_is_digit(s.p[i]) || v > INT64_MAX / 10 - 10)
			return false;
		if (pointed && ++places > decimals)
			return false;
		v = v * 10 + (s.p[i] - '0');
		digits = true;
	}
	if (!digits || (pointed && places == 0))
		return false;
	for (; places < decimals; places++) {
		if (v > INT64_MAX / 10 - 10)
			return false;
		v *= 10;
	}
	*ret_minor = negative ? -v : v;
	return true;
}
