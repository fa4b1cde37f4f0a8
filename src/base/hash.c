/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/hash.h"

#include <sodium.h>

struct ft_hash ft_hash_of(const void *p, size_t n)
{
	struct ft_hash h;

	crypto_generichash(h.b, sizeof h.b, n ? p : (const void *)"", n, NULL, 0);
	return h;
}

char *ft_hash_text(const struct ft_hash *h, char out[FT_HASH_TEXT])
{
	return sodium_bin2hex(out, FT_HASH_TEXT, h->b, sizeof h->b);
}
