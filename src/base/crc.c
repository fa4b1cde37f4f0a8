/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/crc.h"

#include <string.h>

#include "crc_tables.inc"

#if defined(__x86_64__)
#include <immintrin.h>
#endif

/* Sixteen bytes a step: each byte's share of the result is looked up by its distance to the end. */
uint16_t ft_crc16(uint16_t crc, const void *data, size_t n)
{
	const uint8_t *p = data;

	for (; n >= 16; p += 16, n -= 16) {
		uint16_t c = crc_tables[15][(uint8_t)(p[0] ^ crc)] ^ crc_tables[14][(uint8_t)(p[1] ^ crc >> 8)];
		for (int i = 2; i < 16; i++)
			c ^= crc_tables[15 - i][p[i]];
		crc = c;
	}
	for (; n; n--)
		crc = (uint16_t)(crc_tables[0][(uint8_t)(crc ^ *p++)] ^ crc >> 8);
	return crc;
}

#if defined(__x86_64__)

/* Moves a 128-bit piece of the message `distance` bits further on modulo P. Bits are reflected, so
 * the product of two 64-bit halves comes out one bit low and the constants are x^(k-1). */
__attribute__((target("pclmul,sse4.1"))) static inline __m128i fold(__m128i x, __m128i k)
{
	return _mm_xor_si128(_mm_clmulepi64_si128(x, k, 0x00), _mm_clmulepi64_si128(x, k, 0x11));
}

__attribute__((target("pclmul,sse4.1"))) static uint16_t crc16_clmul(uint16_t crc, const void *data, size_t n)
{
	const __m128i by128 = _mm_set_epi64x((int64_t)FOLD_128_SECOND, (int64_t)FOLD_128_FIRST);
	const __m128i by512 = _mm_set_epi64x((int64_t)FOLD_512_SECOND, (int64_t)FOLD_512_FIRST);
	const uint8_t *p = data;
	uint8_t rest[16];
	__m128i x[4];

	if (n < 64)
		return ft_crc16(crc, data, n);
	for (int i = 0; i < 4; i++)
		x[i] = _mm_loadu_si128((const __m128i *)(const void *)(p + (ptrdiff_t)16 * i));
	x[0] = _mm_xor_si128(x[0], _mm_cvtsi32_si128(crc));
	for (p += 64, n -= 64; n >= 64; p += 64, n -= 64)
		for (int i = 0; i < 4; i++)
			x[i] = _mm_xor_si128(fold(x[i], by512),
			                     _mm_loadu_si128((const __m128i *)(const void *)(p + (ptrdiff_t)16 * i)));
	for (int i = 1; i < 4; i++)
		x[0] = _mm_xor_si128(fold(x[0], by128), x[i]);
	for (; n >= 16; p += 16, n -= 16)
		x[0] = _mm_xor_si128(fold(x[0], by128), _mm_loadu_si128((const __m128i *)(const void *)p));
	_mm_storeu_si128((__m128i *)(void *)rest, x[0]);
	return ft_crc16(ft_crc16(0, rest, sizeof rest), p, n);
}

ft_crc16_fn *ft_crc16_fastest(void)
{
	__builtin_cpu_init();
	return __builtin_cpu_supports("pclmul") && __builtin_cpu_supports("sse4.1") ? crc16_clmul : ft_crc16;
}

#else

ft_crc16_fn *ft_crc16_fastest(void)
{
	return ft_crc16;
}

#endif
