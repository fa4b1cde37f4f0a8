/* SPDX-License-Identifier: Apache-2.0 */
/* Answer times of any number in a fixed room: bins that grow by a fixed share of their value. */
#include "room.h"

/* Sixteen bins an octave from 1 us on: 256 bins reach 65 ms, where no answer belongs to its command
 * any more. The last bin takes all that is longer. */
enum { BINS_AN_OCTAVE = 16 };

static size_t bin_of(int64_t ns)
{
	uint64_t us16 = (uint64_t)(ns > 0 ? ns : 0) * BINS_AN_OCTAVE / (uint64_t)BUS_NS_PER_US;
	unsigned octave;

	if (us16 < 2 * BINS_AN_OCTAVE)
		return us16 < BINS_AN_OCTAVE ? 0 : (size_t)(us16 - BINS_AN_OCTAVE);
	octave = (unsigned)(63 - __builtin_clzll(us16)) - 4;
	us16 >>= octave;
	return (size_t)octave * BINS_AN_OCTAVE + (size_t)(us16 - BINS_AN_OCTAVE);
}

/* The middle of a bin. */
static int64_t bin_ns(size_t bin)
{
	size_t octave = bin / BINS_AN_OCTAVE, step = bin % BINS_AN_OCTAVE;
	int64_t low = (int64_t)((BINS_AN_OCTAVE + step) << octave), width = INT64_C(1) << octave;

	return (2 * low + width) * BUS_NS_PER_US / (2 * BINS_AN_OCTAVE);
}

void ft_bus_times_add(struct ft_bus_times *t, int64_t ns)
{
	size_t bin = bin_of(ns);

	if (t->count == 0 || ns < t->min_ns)
		t->min_ns = ns;
	if (t->count == 0 || ns > t->max_ns)
		t->max_ns = ns;
	t->count++;
	t->bins[bin < FT_BUS_HISTOGRAM ? bin : FT_BUS_HISTOGRAM - 1]++;
}

int64_t ft_bus_times_at(const struct ft_bus_times *t, unsigned per_mille)
{
	uint64_t wanted = (t->count * per_mille + 999) / 1000, seen = 0;

	if (t->count == 0)
		return -1;
	for (size_t i = 0; i < FT_BUS_HISTOGRAM; i++) {
		seen += t->bins[i];
		if (seen >= wanted && seen > 0) {
			int64_t ns = i + 1 < FT_BUS_HISTOGRAM ? bin_ns(i) : t->max_ns;
			return ns < t->min_ns ? t->min_ns : ns > t->max_ns ? t->max_ns : ns;
		}
	}
	return t->max_ns;
}

int64_t ft_bus_baud(int64_t span_ns, int64_t span_bits)
{
	if (span_ns <= 0 || span_bits <= 0)
		return 0;
	return (int64_t)((double)span_bits * (double)BUS_NS_PER_S / (double)span_ns + 0.5);
}
