/* SPDX-License-Identifier: Apache-2.0 */
/* The way back: words on two lines become a capture file. The practice machine and the tests make their
 * captures with it. No I/O: what is written grows in a buffer that the caller empties. */
#ifndef FETTLE_BUS_WAVE_H
#define FETTLE_BUS_WAVE_H

#include "fettle/bus.h"

struct ft_bus_wave_options {
	int64_t resolution_ns;           /* tick of the VCD or sample period; 1000 where 0 */
	bool inverted[FT_BUS_LINES];     /* idle is low */
	const char *names[FT_BUS_LINES]; /* channel names; "controller" and "peripheral" where NULL */
};

/* One VCD: ft_bus_wave_begin, words in order of their start (both lines may overlap), ft_bus_wave_end.
 * Every word is drawn with its own bit time: span_ns / span_bits, 9600 bit/s where span_bits is 0. */
struct ft_bus_wave;

enum ft_status ft_bus_wave_begin(const struct ft_bus_wave_options *o, struct ft_arena *a, struct ft_buf *out,
                                 struct ft_bus_wave **ret, struct ft_error *e);
enum ft_status ft_bus_wave_word(struct ft_bus_wave *w, const struct ft_bus_word *word, struct ft_error *e);
/* The level of a line from then on, outside words: for glitches, a line stuck, noise. */
enum ft_status ft_bus_wave_level(struct ft_bus_wave *w, enum ft_bus_line line, int64_t at_ns, bool active,
                                 struct ft_error *e);
enum ft_status ft_bus_wave_end(struct ft_bus_wave *w, int64_t end_ns, struct ft_error *e);

/* One word as a line of the words text ("12.345678 C 0B*"), its heading, and a whole block as words. */
void ft_bus_words_head(struct ft_buf *out);
void ft_bus_words_line(const struct ft_bus_word *w, struct ft_buf *out);

/* Fills `ret` (room for `n`) with the words of a block: the bytes one after the other from start_ns with
 * `gap_ns` between them; returns the end of the last stop bit. The mode bit stands on the first byte of the
 * controller's command, on the last one of a peripheral's answer, and nowhere in `plain`. */
int64_t ft_bus_block_words(enum ft_bus_line line, const uint8_t *bytes, size_t n, bool plain, int64_t start_ns,
                           int64_t gap_ns, struct ft_bus_word *ret);

#endif
