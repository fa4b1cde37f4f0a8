/* SPDX-License-Identifier: Apache-2.0 */
/* The name of a piece of evidence: BLAKE2b-256 of its bytes (RFC 7693, through libsodium). */
#ifndef FETTLE_HASH_H
#define FETTLE_HASH_H

#include <stddef.h>
#include <stdint.h>

#define FT_HASH_BYTES 32
#define FT_HASH_TEXT  (2 * FT_HASH_BYTES + 1)

struct ft_hash {
	uint8_t b[FT_HASH_BYTES];
};

struct ft_hash ft_hash_of(const void *p, size_t n);

/* Lower-case hexadecimal with a closing NUL; returns `out`. */
char *ft_hash_text(const struct ft_hash *h, char out[FT_HASH_TEXT]);

#endif
