/* SPDX-License-Identifier: Apache-2.0 */
/* What is on the two lines: words in the order of their start, handed to whoever taps the bus. */
#include "bus_inside.h"

/* The bus has a chance of its own, so that tapping it changes nothing in the machine's life. */
int64_t bus_chance(struct practice_bus *b, int64_t below)
{
	return practice_chance(&b->random, below);
}

/* Past the tap's own faults. */
static void hand_over(const struct practice_bus *b, struct ft_bus_word w)
{
	if (faulty(b->p, FAULT_BUS_SWAPPED))
		w.line = w.line == FT_BUS_CONTROLLER ? FT_BUS_PERIPHERAL : FT_BUS_CONTROLLER;
	if (faulty(b->p, FAULT_BUS_CAPTURE_8N1) && w.kind == FT_BUS_WORD && !w.mode)
		w.kind = FT_BUS_FRAMING; /* the mode bit lies where this tool looks for the stop bit */
	b->tap.word(b->tap.to, &w);
}

/* Words that begin before `before_ns` can be preceded by none that is still to come. */
void bus_flush(struct practice_bus *b, int64_t before_ns)
{
	size_t n = 0;

	while (n < b->held_count && b->held[n].start_ns < before_ns) {
		if (b->tapped)
			hand_over(b, b->held[n]);
		n++;
	}
	b->held_count -= n;
	memmove(b->held, b->held + n, b->held_count * sizeof *b->held);
}

void bus_put(struct practice_bus *b, struct ft_bus_word w)
{
	size_t i;

	if (b->held_count == BUS_HELD)
		bus_flush(b, b->held[0].start_ns + 1);
	for (i = b->held_count; i && b->held[i - 1].start_ns > w.start_ns; i--)
		b->held[i] = b->held[i - 1];
	b->held[i] = w;
	b->held_count++;
}

/* The bit time of a sender, by its clock. */
static int64_t bit_of(const struct practice_bus *b, enum part sender)
{
	if (!bus_faulty(b, FAULT_BUS_BAUD, sender))
		return BUS_BIT_NS;
	return BUS_BIT_NS * 1000 / (1000 + b->p->faults[FAULT_BUS_BAUD].b);
}

int64_t bus_send(struct practice_bus *b, enum part sender, const uint8_t *bytes, size_t n, bool plain, int64_t at_ns)
{
	const int64_t bit = bit_of(b, sender),
				  gap = bus_faulty(b, FAULT_BUS_GAPS, sender) ? b->p->faults[FAULT_BUS_GAPS].b * BUS_MS : 0;
	bool unmarked = bus_strikes(b, FAULT_BUS_MODE_BIT, sender, 4);

	b->spoilt = unmarked && sender == CONTROLLER;
	for (size_t i = 0; i < n; i++) {
		bool marked = sender == CONTROLLER ? i == 0 : i + 1 == n;
		struct ft_bus_word w = {
			.start_ns = at_ns,
			.end_ns = at_ns + BUS_WORD_BITS * bit,
			.byte = bytes[i],
			.mode = marked && !plain && !unmarked,
			.line = sender == CONTROLLER ? FT_BUS_CONTROLLER : FT_BUS_PERIPHERAL,
		};
		if (bit != BUS_BIT_NS) { /* what is not said is the nominal rate */
			w.span_bits = BUS_WORD_BITS - 1;
			w.span_ns = (int32_t)((BUS_WORD_BITS - 1) * bit);
		}
		if (faulty(b->p, FAULT_BUS_NOISE) && bus_chance(b, 50) == 0) {
			w.kind = FT_BUS_FRAMING;
			w.byte ^= (uint8_t)(1 << bus_chance(b, 8));
			b->spoilt = true;
		}
		bus_put(b, w);
		at_ns = w.end_ns + (i + 1 < n ? gap : 0);
	}
	return at_ns;
}

void bus_break(struct practice_bus *b, int64_t length_ns, int64_t silence_ns)
{
	bus_put(b,
	        (struct ft_bus_word){
				.start_ns = b->now_ns,
				.end_ns = b->now_ns + length_ns,
				.line = FT_BUS_CONTROLLER,
				.kind = FT_BUS_BREAK,
			});
	b->now_ns += length_ns + silence_ns;
	bus_flush(b, b->now_ns);
}
