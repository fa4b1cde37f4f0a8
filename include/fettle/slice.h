/* SPDX-License-Identifier: Apache-2.0 */
/* Text as a pointer and a length into somebody else's bytes. Never NUL-terminated, never owned. */
#ifndef FETTLE_SLICE_H
#define FETTLE_SLICE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct ft_slice {
	const char *p;
	size_t n;
};

#define FT_SLICE(literal) ((struct ft_slice){ (literal), sizeof(literal) - 1 })

/* printf("%.*s", FT_P(slice)) */
#define FT_P(s) (int)(s).n, (s).p ? (s).p : ""

/* The slice of a NUL-terminated string; NULL gives the empty slice. */
static inline struct ft_slice ft_slice_of(const char *text)
{
	return (struct ft_slice){ text, text ? strlen(text) : 0 };
}

static inline bool ft_slice_eq(struct ft_slice a, struct ft_slice b)
{
	return a.n == b.n && (a.n == 0 || memcmp(a.p, b.p, a.n) == 0);
}

static inline bool ft_slice_is(struct ft_slice a, const char *text)
{
	return ft_slice_eq(a, ft_slice_of(text));
}

/* ASCII order of bytes; a shorter slice comes before a longer one it begins. */
int ft_slice_cmp(struct ft_slice a, struct ft_slice b);

/* Equal but for the case of ASCII letters. */
bool ft_slice_eq_nocase(struct ft_slice a, struct ft_slice b);

/* Without blanks (space, tab) on both ends. */
struct ft_slice ft_slice_trim(struct ft_slice s);

/* Splits off what stands before `separator` and moves *rest behind it; the last part leaves *rest
 * with p == NULL. Returns false when *rest was already used up. */
bool ft_slice_split(struct ft_slice *rest, char separator, struct ft_slice *ret_part);

/* Decimal whole number with an optional sign, nothing else. False when it is not one or does not
 * fit; *ret is written on success only. */
bool ft_slice_i64(struct ft_slice s, int64_t *ret);

/* Exactly `s.n` (1 to 8) hexadecimal digits of either case. */
bool ft_slice_hex(struct ft_slice s, uint32_t *ret);

/* Length of the UTF-8 sequence at p, of n bytes (RFC 3629: no overlong forms, no surrogates), or 0. */
size_t ft_utf8_length(const unsigned char *p, size_t n);

/* All of it is UTF-8. */
bool ft_utf8(struct ft_slice s);

/* Does `part` stand anywhere in `s`, whatever the case of ASCII letters? */
bool ft_slice_holds(struct ft_slice s, const char *part);

/* Where `needle` first stands in `s`, or s.n. */
size_t ft_slice_find(struct ft_slice s, struct ft_slice needle);

static inline bool ft_is_digit(int c)
{
	return c >= '0' && c <= '9';
}
static inline bool ft_is_upper(int c)
{
	return c >= 'A' && c <= 'Z';
}

#endif
