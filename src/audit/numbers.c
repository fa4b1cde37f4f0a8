/* SPDX-License-Identifier: Apache-2.0 */
/* What the tokens read as numbers. Nearly all of an audit is numbers of one to eight digits, whose lengths
 * cannot be foreseen; where the processor can, four are read at a time without a branch. */
#include "room.h"

static void read_plain(const struct ft_audit *d, size_t first, size_t n, int64_t *ret, uint8_t *ret_digits)
{
	for (size_t k = 0; k < n; k++) {
		ret[k] = first + k ? audit_digits(d->bytes.p, audit_token(d, first + k)) : FT_ABSENT;
		if (k % 8 == 0)
			ret_digits[k / 8] = 0;
		ret_digits[k / 8] |= (uint8_t)((ret[k] != FT_ABSENT) << k % 8);
	}
}

#if defined(AUDIT_WIDE)

AUDIT_WIDE static inline int64_t eight_before(const char *p, uint32_t stop)
{
	int64_t v;

	memcpy(&v, p + stop - 8, sizeof v);
	return v;
}

/* The tokens that stop at stop[0..3], all 8 or more, and begin behind stop[-1..2]. Each lane holds the eight
 * bytes before its stop; those of the token are the highest, what stands before them is shifted out
 * and reads as leading zeros. Returns a bit for each that is digits. */
AUDIT_WIDE static inline unsigned read_four(const char *p, const uint32_t *stop, int64_t *ret)
{
	const __m256i tens = _mm256_set1_epi16(1 << 8 | 10), hundreds = _mm256_set1_epi32(1 << 16 | 100);
	__m256i v = _mm256_set_epi64x(eight_before(p, stop[3]), eight_before(p, stop[2]), eight_before(p, stop[1]),
	                              eight_before(p, stop[0]));
	__m128i behind = _mm_loadu_si128((const __m128i *)(const void *)stop);
	__m128i before = _mm_loadu_si128((const __m128i *)(const void *)(stop - 1));
	/* the lengths less one */
	__m256i less = _mm256_cvtepu32_epi64(_mm_sub_epi32(_mm_sub_epi32(behind, before), _mm_set1_epi32(2)));
	__m256i shift = _mm256_slli_epi64(_mm256_andnot_si256(less, _mm256_set1_epi64x(7)), 3);
	__m256i wrong, good;

	v = _mm256_xor_si256(v, _mm256_set1_epi8('0'));
	v = _mm256_sllv_epi64(_mm256_srlv_epi64(v, shift), shift);
	wrong = _mm256_or_si256(_mm256_subs_epu8(v, _mm256_set1_epi8(9)), _mm256_andnot_si256(_mm256_set1_epi64x(7), less));
	good = _mm256_cmpeq_epi64(wrong, _mm256_setzero_si256());
	v = _mm256_madd_epi16(_mm256_maddubs_epi16(v, tens), hundreds);
	v = _mm256_add_epi64(_mm256_mul_epu32(v, _mm256_set1_epi64x(10000)), _mm256_srli_epi64(v, 32));
	v = _mm256_blendv_epi8(_mm256_set1_epi64x(FT_ABSENT), v, good);
	_mm256_storeu_si256((__m256i *)(void *)ret, v);
	return (unsigned)_mm256_movemask_pd(_mm256_castsi256_pd(good));
}

AUDIT_WIDE static void read_wide(const struct ft_audit *d, size_t first, size_t n, int64_t *ret, uint8_t *ret_digits)
{
	const uint32_t *stop = d->stops + first;
	size_t k = n < 8 ? n : 8;

	/* no stop stands so early behind these that the eight bytes before it were not there */
	read_plain(d, first, k, ret, ret_digits);
	for (; k + 8 <= n; k += 8) {
		unsigned low = read_four(d->bytes.p, stop + k, ret + k);
		ret_digits[k / 8] = (uint8_t)(low | read_four(d->bytes.p, stop + k + 4, ret + k + 4) << 4);
	}
	read_plain(d, first + k, n - k, ret + k, ret_digits + k / 8);
}

#endif

void audit_read_numbers(const struct ft_audit *d, size_t first, size_t n, int64_t *ret, uint8_t *ret_digits)
{
#if defined(AUDIT_WIDE)
	if (audit_wide()) {
		read_wide(d, first, n, ret, ret_digits);
		return;
	}
#endif
	read_plain(d, first, n, ret, ret_digits);
}
