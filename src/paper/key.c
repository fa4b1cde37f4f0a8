/* SPDX-License-Identifier: Apache-2.0 */
/* Keys and signatures. The secret is the 32-byte seed of RFC 8032; everything else follows from it. */
#include "fettle/paper.h"

#include <sodium.h>

_Static_assert(FT_SEED_BYTES == crypto_sign_SEEDBYTES, "seed of RFC 8032");
_Static_assert(FT_PUBLIC_BYTES == crypto_sign_PUBLICKEYBYTES, "public key of RFC 8032");
_Static_assert(FT_SIGNATURE_BYTES == crypto_sign_BYTES, "signature of RFC 8032");

enum { TRUSTED_MAX = 500 }; /* ours: the fitters of one office */

/* A name is printed on paper and screens: no control characters, nothing that is not UTF-8. */
static bool name_good(struct ft_slice name)
{
	for (size_t i = 0; i < name.n; i++)
		if ((unsigned char)name.p[i] < 0x20 || name.p[i] == 0x7f)
			return false;
	return name.n > 0 && name.n <= FT_SIGNER_MAX && ft_utf8(name);
}

/* The 64-byte form that libsodium signs with is derived each time and wiped again. */
static void derive(const uint8_t seed[FT_SEED_BYTES], uint8_t public_key[FT_PUBLIC_BYTES],
                   uint8_t secret[crypto_sign_SECRETKEYBYTES])
{
	crypto_sign_seed_keypair(public_key, secret, seed);
}

enum ft_status ft_key_make(const uint8_t seed[FT_SEED_BYTES], struct ft_slice name, struct ft_key *ret,
                           struct ft_error *e)
{
	uint8_t secret[crypto_sign_SECRETKEYBYTES];

	name = ft_slice_trim(name);
	if (!name_good(name))
		return ft_fail(e, FT_E_USAGE, "A signer needs a name of 1 to %d bytes of plain text; give one with --name.",
		               FT_SIGNER_MAX);
	memset(ret, 0, sizeof *ret);
	memcpy(ret->name, name.p, name.n);
	memcpy(ret->seed, seed, sizeof ret->seed);
	ret->secret = true;
	derive(seed, ret->public_key, secret);
	sodium_memzero(secret, sizeof secret);
	return FT_OK;
}

void ft_key_done(struct ft_key *k)
{
	sodium_memzero(k, sizeof *k);
}

static void put_hex(struct ft_buf *out, const uint8_t *p, size_t n)
{
	static const char digits[] = "0123456789abcdef";

	for (size_t i = 0; i < n; i++) {
		ft_buf_byte(out, (uint8_t)digits[p[i] >> 4]);
		ft_buf_byte(out, (uint8_t)digits[p[i] & 15]);
	}
}

static bool take_hex(struct ft_slice s, uint8_t *ret, size_t n)
{
	uint32_t byte;

	if (s.n != 2 * n)
		return false;
	for (size_t i = 0; i < n; i++) {
		if (!ft_slice_hex((struct ft_slice){ s.p + 2 * i, 2 }, &byte))
			return false;
		ret[i] = (uint8_t)byte;
	}
	return true;
}

void ft_key_write(const struct ft_key *k, bool with_secret, struct ft_buf *out)
{
	ft_buf_printf(out, "name: %s\npublic: ", k->name);
	put_hex(out, k->public_key, sizeof k->public_key);
	ft_buf_byte(out, '\n');
	if (with_secret && k->secret) {
		ft_buf_puts(out, "secret: ");
		put_hex(out, k->seed, sizeof k->seed);
		ft_buf_byte(out, '\n');
	}
}

static enum ft_status take_secret(struct ft_key *k, struct ft_slice value, const char *what, unsigned line,
                                  struct ft_error *e)
{
	uint8_t public_key[FT_PUBLIC_BYTES], secret[crypto_sign_SECRETKEYBYTES];
	bool same;

	if (!take_hex(value, k->seed, sizeof k->seed))
		return ft_fail(e, FT_E_INPUT, "Line %u of %s: the secret must be 64 hexadecimal digits.", line, what);
	derive(k->seed, public_key, secret);
	sodium_memzero(secret, sizeof secret);
	same = memcmp(public_key, k->public_key, sizeof public_key) == 0;
	k->secret = same;
	if (!same)
		return ft_fail(e, FT_E_INPUT, "Line %u of %s: the secret does not belong to the public key above it.", line,
		               what);
	return FT_OK;
}

static enum ft_status take_line(struct ft_slice line, unsigned number, const char *what, struct ft_arena *a,
                                struct ft_key **keys, size_t *count, size_t *room, bool *named, struct ft_error *e)
{
	struct ft_slice value = line, word;
	struct ft_key *k = *count ? &(*keys)[*count - 1] : NULL;

	ft_slice_split(&value, ':', &word);
	word = ft_slice_trim(word);
	value = ft_slice_trim(value);
	if (ft_slice_is(word, "name")) {
		if (*count >= TRUSTED_MAX)
			return ft_fail(e, FT_E_INPUT, "%s has more than %d keys.", what, TRUSTED_MAX);
		if (!name_good(value))
			return ft_fail(e, FT_E_INPUT, "Line %u of %s: the name is empty, too long or no plain text.", number, what);
		*keys = ft_arena_grow(a, *keys, *count, room, sizeof **keys);
		if (!*keys)
			return ft_fail_memory(e, what);
		k = &(*keys)[(*count)++];
		memset(k, 0, sizeof *k);
		memcpy(k->name, value.p, value.n);
		*named = false;
		return FT_OK;
	}
	if (k && ft_slice_is(word, "public")) {
		if (!take_hex(value, k->public_key, sizeof k->public_key))
			return ft_fail(e, FT_E_INPUT, "Line %u of %s: a public key is 64 hexadecimal digits.", number, what);
		*named = true;
		return FT_OK;
	}
	if (k && *named && ft_slice_is(word, "secret"))
		return take_secret(k, value, what, number, e);
	return ft_fail(e, FT_E_INPUT, "Line %u of %s is none of \"name:\", then \"public:\", then \"secret:\".", number,
	               what);
}

enum ft_status ft_keys_read(struct ft_slice text, const char *what, struct ft_arena *a, struct ft_key **ret,
                            size_t *ret_count, struct ft_error *e)
{
	struct ft_key *keys = NULL;
	size_t count = 0, room = 0;
	struct ft_slice line;
	bool complete = true;

	for (unsigned number = 1; ft_slice_split(&text, '\n', &line); number++) {
		enum ft_status s;
		if (line.n && line.p[line.n - 1] == '\r')
			line.n--;
		line = ft_slice_trim(line);
		if (!line.n || line.p[0] == '#')
			continue;
		if (!complete && line.n > 4 && memcmp(line.p, "name", 4) == 0)
			break;
		s = take_line(line, number, what, a, &keys, &count, &room, &complete, e);
		if (s != FT_OK)
			return s;
	}
	if (!complete)
		return ft_fail(e, FT_E_INPUT, "In %s the key of %s has no line \"public:\".", what, keys[count - 1].name);
	*ret = keys;
	*ret_count = count;
	return FT_OK;
}

char *ft_key_fingerprint(const uint8_t public_key[FT_PUBLIC_BYTES], char out[FT_FINGERPRINT_TEXT])
{
	struct ft_hash h = ft_hash_of(public_key, FT_PUBLIC_BYTES);
	char text[FT_HASH_TEXT];

	ft_hash_text(&h, text);
	for (int i = 0; i < 4; i++) {
		memcpy(out + 5 * i, text + 4 * i, 4);
		out[5 * i + 4] = i < 3 ? ' ' : 0;
	}
	return out;
}

void ft_sign(const struct ft_key *k, struct ft_slice message, uint8_t ret[FT_SIGNATURE_BYTES])
{
	uint8_t public_key[FT_PUBLIC_BYTES], secret[crypto_sign_SECRETKEYBYTES];

	derive(k->seed, public_key, secret);
	crypto_sign_detached(ret, NULL, (const unsigned char *)(message.n ? message.p : ""), message.n, secret);
	sodium_memzero(secret, sizeof secret);
}

bool ft_sign_check(const uint8_t public_key[FT_PUBLIC_BYTES], struct ft_slice message,
                   const uint8_t signature[FT_SIGNATURE_BYTES])
{
	return crypto_sign_verify_detached(signature, (const unsigned char *)(message.n ? message.p : ""), message.n,
	                                   public_key) == 0;
}
