/* SPDX-License-Identifier: Apache-2.0 */
/* Hexadecimal rows of the worked exchanges become words, exchanges and traffic. */
#ifndef FETTLE_TESTS_BUS_ROWS_H
#define FETTLE_TESTS_BUS_ROWS_H

#include "fettle/bus_wave.h"

/* "0B* 0B" as bytes and the positions of its mode bits; returns the count. */
size_t play_bytes(struct ft_slice hex, uint8_t *bytes, uint64_t *ret_modes);

struct play_row {
	unsigned row;
	struct ft_slice controller, peripheral, closing, meaning, told;
};

/* Reads the table of worked exchanges from the folder of the tests. */
size_t play_rows(const char *folder, struct ft_arena *a, struct play_row **ret);

/* Words of one exchange, 1.5 ms to the answer and to the closing byte; *at_ns moves to its end. Returns the count. */
size_t play_words(const struct play_row *r, int64_t *at_ns, struct ft_bus_word *ret);

#endif
