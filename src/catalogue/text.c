/* SPDX-License-Identifier: Apache-2.0 */
/* What spreadsheets write to UTF-8. */
#include "room.h"

/* Windows-1252 from 0x80 to 0x9F (best fit table of the code page, from memory); 0: nothing stands there. */
static const uint16_t high[32] = { 0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021,
	                               0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0,      0x017D, 0,
	                               0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014,
	                               0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178 };

static size_t put(char *out, uint32_t c)
{
	if (c < 0x80) {
		out[0] = (char)c;
		return 1;
	}
	if (c < 0x800) {
		out[0] = (char)(0xC0 | c >> 6);
		out[1] = (char)(0x80 | (c & 63));
		return 2;
	}
	if (c < 0x10000) {
		out[0] = (char)(0xE0 | c >> 12);
		out[1] = (char)(0x80 | (c >> 6 & 63));
		out[2] = (char)(0x80 | (c & 63));
		return 3;
	}
	out[0] = (char)(0xF0 | c >> 18);
	out[1] = (char)(0x80 | (c >> 12 & 63));
	out[2] = (char)(0x80 | (c >> 6 & 63));
	out[3] = (char)(0x80 | (c & 63));
	return 4;
}

static size_t of_utf16(const unsigned char *p, size_t n, int big, char *out)
{
	size_t at = 0;

	for (size_t i = 0; i + 1 < n; i += 2) {
		uint32_t c = (uint32_t)p[i + !big] << 8 | p[i + big], low;
		/* big: high byte first */
		if (c >= 0xD800 && c < 0xDC00 && i + 3 < n) {
			low = (uint32_t)p[i + 2 + !big] << 8 | p[i + 2 + big];
			if (low >= 0xDC00 && low < 0xE000) {
				c = 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00);
				i += 2;
			}
		}
		at += put(out + at, c >= 0xD800 && c < 0xE000 ? 0xFFFD : c);
	}
	return at;
}

enum ft_status ft_table_text(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_slice *ret,
                             struct ft_error *e)
{
	const unsigned char *p = (const unsigned char *)bytes.p;
	bool little = bytes.n >= 2 && p[0] == 0xFF && p[1] == 0xFE, big = bytes.n >= 2 && p[0] == 0xFE && p[1] == 0xFF;
	char *out;

	if (bytes.n > FT_CSV_BYTES_MAX)
		return ft_fail(e, FT_E_INPUT, "%s is larger than %u MB; split it and try again.", what, FT_CSV_BYTES_MAX >> 20);
	if (bytes.n >= 3 && memcmp(bytes.p, "\xef\xbb\xbf", 3) == 0)
		bytes = (struct ft_slice){ bytes.p + 3, bytes.n - 3 };
	if (!little && !big && ft_utf8(bytes)) {
		*ret = bytes;
		return FT_OK;
	}
	out = ft_arena_raw(a, bytes.n * 3 + 4); /* a byte of a code page becomes three at most, two of UTF-16 as well */
	if (!out)
		return ft_fail_memory(e, what);
	*ret = (struct ft_slice){ out, 0 };
	if (little || big) {
		ret->n = of_utf16(p + 2, bytes.n - 2, big, out);
		return FT_OK;
	}
	p = (const unsigned char *)bytes.p;
	for (size_t i = 0; i < bytes.n; i++) {
		uint32_t c = p[i];
		if (c >= 0x80 && c < 0xA0)
			c = high[c - 0x80] ? high[c - 0x80] : 0xFFFD;
		ret->n += put(out + ret->n, c);
	}
	return FT_OK;
}
