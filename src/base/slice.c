/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/slice.h"

int ft_slice_cmp(struct ft_slice a, struct ft_slice b)
{
	size_t n = a.n < b.n ? a.n : b.n;
	int c = n ? memcmp(a.p, b.p, n) : 0;

	return c ? c : (a.n > b.n) - (a.n < b.n);
}

static int lower(int c)
{
	return ft_is_upper(c) ? c + ('a' - 'A') : c;
}

bool ft_slice_eq_nocase(struct ft_slice a, struct ft_slice b)
{
	if (a.n != b.n)
		return false;
	for (size_t i = 0; i < a.n; i++)
		if (lower(a.p[i]) != lower(b.p[i]))
			return false;
	return true;
}

static bool is_blank(char c)
{
	return c == ' ' || c == '\t';
}

struct ft_slice ft_slice_trim(struct ft_slice s)
{
	while (s.n && is_blank(s.p[0]))
		s.p++, s.n--;
	while (s.n && is_blank(s.p[s.n - 1]))
		s.n--;
	return s;
}

bool ft_slice_split(struct ft_slice *rest, char separator, struct ft_slice *ret_part)
{
	const char *at;

	if (!rest->p)
		return false;
	at = rest->n ? memchr(rest->p, separator, rest->n) : NULL;
	if (!at) {
		*ret_part = *rest;
		*rest = (struct ft_slice){ NULL, 0 };
		return true;
	}
	*ret_part = (struct ft_slice){ rest->p, (size_t)(at - rest->p) };
	rest->n -= ret_part->n + 1;
	rest->p = at + 1;
	return true;
}

bool ft_slice_i64(struct ft_slice s, int64_t *ret)
{
	bool negative = s.n && s.p[0] == '-';
	uint64_t v = 0;
	size_t i = s.n && (s.p[0] == '-' || s.p[0] == '+');

	if (i == s.n)
		return false;
	for (; i < s.n; i++) {
		unsigned digit = (unsigned char)s.p[i] - (unsigned)'0';
		if (digit > 9 || v > ((uint64_t)INT64_MAX - digit) / 10)
			return false;
		v = v * 10 + digit;
	}
	*ret = negative ? -(int64_t)v : (int64_t)v;
	return true;
}

bool ft_slice_hex(struct ft_slice s, uint32_t *ret)
{
	uint32_t v = 0;

	if (s.n < 1 || s.n > 8)
		return false;
	for (size_t i = 0; i < s.n; i++) {
		int c = lower((unsigned char)s.p[i]);
		if (ft_is_digit(c))
			v = v << 4 | (uint32_t)(c - '0');
		else if (c >= 'a' && c <= 'f')
			v = v << 4 | (uint32_t)(c - 'a' + 10);
		else
			return false;
	}
	*ret = v;
	return true;
}

size_t ft_slice_find(struct ft_slice s, struct ft_slice needle)
{
	if (needle.n == 0)
		return 0;
	for (size_t i = 0; i + needle.n <= s.n; i++) {
		const char *at = memchr(s.p + i, needle.p[0], s.n - needle.n - i + 1);
		if (!at)
			break;
		i = (size_t)(at - s.p);
		if (memcmp(at, needle.p, needle.n) == 0)
			return i;
	}
	return s.n;
}

size_t ft_utf8_length(const unsigned char *p, size_t n)
{
	uint32_t c;
	size_t len;

	if (p[0] < 0x80)
		return 1;
	len = p[0] >= 0xf0 ? 4 : p[0] >= 0xe0 ? 3 : 2;
	if (p[0] < 0xc2 || p[0] > 0xf4 || len > n)
		return 0;
	c = p[0] & (0x7fU >> len);
	for (size_t i = 1; i < len; i++) {
		if ((p[i] & 0xc0) != 0x80)
			return 0;
		c = c << 6 | (p[i] & 0x3fU);
	}
	if ((len == 3 && c < 0x800) || (len == 4 && (c < 0x10000 || c > 0x10ffff)) || (c >= 0xd800 && c <= 0xdfff))
		return 0;
	return len;
}

bool ft_utf8(struct ft_slice s)
{
	for (size_t i = 0, n; i < s.n; i += n) {
		n = ft_utf8_length((const unsigned char *)s.p + i, s.n - i);
		if (n == 0)
			return false;
	}
	return true;
}

bool ft_slice_holds(struct ft_slice s, const char *part)
{
	struct ft_slice p = ft_slice_of(part);

	for (size_t at = 0; at + p.n <= s.n; at++)
		if (ft_slice_eq_nocase((struct ft_slice){ s.p + at, p.n }, p))
			return true;
	return false;
}
