/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers that look like chance and come again with the same seed. Not for secrets.
 *
 * Source: splitmix64, public domain, as commonly printed. */
#ifndef FETTLE_RANDOM_H
#define FETTLE_RANDOM_H

#include <stdint.h>

/* Set to a seed, any number; every call moves it on. */
struct ft_random {
	uint64_t state;
};

static inline uint64_t ft_random_u64(struct ft_random *r)
{
	uint64_t z = r->state += UINT64_C(0x9e3779b97f4a7c15);

	z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
	return z ^ (z >> 31);
}

/* 0 to `below` - 1; 0 where below is 0. The bias is below 2^-32. */
static inline uint32_t ft_random_below(struct ft_random *r, uint32_t below)
{
	return (uint32_t)((ft_random_u64(r) >> 32) * below >> 32);
}

/* 0 included to 1 excluded. */
static inline double ft_random_share(struct ft_random *r)
{
	return (double)(ft_random_u64(r) >> 11) * 0x1p-53;
}

#endif
