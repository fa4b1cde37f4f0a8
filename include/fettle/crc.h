/* SPDX-License-Identifier: Apache-2.0 */
/* CRC-16 as EVA-DTS G85, DEX/UCS and DDCMP use it: x^16+x^15+x^2+1, reflected, start 0, no final xor.
 * Check value of "123456789": BB3D (the CRC catalogues' CRC-16/ARC). */
#ifndef FETTLE_CRC_H
#define FETTLE_CRC_H

#include <stddef.h>
#include <stdint.h>

/* Goes on from `crc` (0 to start) over `n` bytes. */
uint16_t ft_crc16(uint16_t crc, const void *p, size_t n);

/* The same function, fastest form for this processor. Asking costs a trapped instruction on
 * virtual machines: ask once at the start of a long run, never per file. */
typedef uint16_t ft_crc16_fn(uint16_t crc, const void *p, size_t n);
ft_crc16_fn *ft_crc16_fastest(void);

#endif
