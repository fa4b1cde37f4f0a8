/* SPDX-License-Identifier: Apache-2.0 */
/* The wire alone: all times are given, nothing waits. */
#include "unit.h"

#include <stdlib.h>

#include "fettle/port.h"

static struct ft_wire *make(bool paced, int baud, struct ft_wire_faults f)
{
	struct ft_wire *w = malloc(sizeof *w);

	assert_non_null(w);
	ft_wire_init(w, paced, baud, &f);
	return w;
}

static const uint8_t pattern[] = "The quick brown fox of nowhere in particular jumps 0123456789 times.";

/* A byte of 8N1 is ten bits: 1041.67 us at 9600. The 251 bytes of a long frame end after 261458.3 us,
 * whatever the rounding of the single byte. */
static void bytes_take_their_time(void **state)
{
	struct ft_wire *w = make(true, 9600, (struct ft_wire_faults){ 0 });
	uint8_t frame[251], got[251];

	(void)state;
	memset(frame, 0x55, sizeof frame);
	ft_wire_peer_sends(w, frame, sizeof frame, 9600, 1000);
	assert_int_equal(ft_wire_due(w), 1000 + 1042);
	assert_int_equal(ft_wire_at_us(w, got, sizeof got, 1000 + 1041), 0);
	assert_int_equal(ft_wire_at_us(w, got, sizeof got, 1000 + 1042), 1);
	assert_int_equal(ft_wire_at_us(w, got, sizeof got, 1000 + 10417), 9); /* ten bytes in ten byte times */
	assert_int_equal(ft_wire_at_us(w, got, sizeof got, 1000 + 261457), 240);
	assert_int_equal(ft_wire_at_us(w, got, sizeof got, 1000 + 261459), 1);
	assert_int_equal(ft_wire_due(w), FT_NEVER);
	free(w);
}

/* What is sent while the line is busy waits for it; what is sent later starts at once. */
static void sending_queues_behind_itself(void **state)
{
	struct ft_wire *w = make(true, 2400, (struct ft_wire_faults){ 0 });
	int64_t first, second;

	(void)state;
	first = ft_wire_we_send(w, pattern, 24, 0);
	second = ft_wire_we_send(w, pattern, 24, 500);
	assert_int_equal(first, 100000); /* 24 bytes of ten bits at 2400 */
	assert_int_equal(second, 200000);
	assert_int_equal(ft_wire_we_send(w, pattern, 24, 1000000), 1100000);
	free(w);
}

static void unpaced_is_at_once(void **state)
{
	struct ft_wire *w = make(false, 9600, (struct ft_wire_faults){ 0 });
	uint8_t got[sizeof pattern];

	(void)state;
	assert_int_equal(ft_wire_we_send(w, pattern, sizeof pattern, 7), 7);
	/* Rates are not compared either: 38400 is what a fresh pseudo-terminal says. */
	assert_int_equal(ft_wire_at_peer(w, got, sizeof got, 38400, 7), sizeof pattern);
	assert_memory_equal(got, pattern, sizeof pattern);
	free(w);
}

static size_t heard(int from, int to, const uint8_t *p, size_t n, uint8_t *ret, size_t room)
{
	struct ft_wire *w = make(true, to, (struct ft_wire_faults){ 0 });
	size_t got;

	ft_wire_peer_sends(w, p, n, from, 0);
	got = ft_wire_at_us(w, ret, room, FT_NEVER - 1);
	free(w);
	return got;
}

/* Two receivers, worked out by hand. 00 at 2400 is 9 low bits, 36 bits long at 9600: start and eight
 * zeros (00), the tenth bit still low where the stop bit belongs, three such bytes and then 6 low
 * bits and 3 high ones: start, five zeros, three ones: E0. FF at 9600 is low for a quarter of a bit
 * at 2400: a start, then all ones. */
static void wrong_rates_garble(void **state)
{
	static const uint8_t zero = 0, ones = 0xFF;
	uint8_t got[4096];

	(void)state;
	assert_int_equal(heard(2400, 9600, &zero, 1, got, sizeof got), 4);
	assert_memory_equal(got, "\x00\x00\x00\xE0", 4);
	assert_int_equal(heard(9600, 2400, &ones, 1, got, sizeof got), 1);
	assert_int_equal(got[0], 0xFF);
	/* Four fast bytes pass within one slow one. */
	assert_int_equal(heard(9600, 2400, pattern, 64, got, sizeof got), 16);
	/* No rate of the link hears another as it was sent; a rate 2 % off does. */
	for (int from = 1200; from <= 115200; from *= 2) {
		for (int to = 1200; to <= 115200; to *= 2) {
			size_t n = heard(from, to, pattern, sizeof pattern, got, sizeof got);
			assert_int_equal(n == sizeof pattern && memcmp(got, pattern, n) == 0, from == to);
		}
	}
	assert_int_equal(heard(9600, 9792, pattern, sizeof pattern, got, sizeof got), sizeof pattern);
	assert_memory_equal(got, pattern, sizeof pattern);
}

static size_t through(struct ft_wire *w, const uint8_t *p, size_t n, uint8_t *ret, size_t room)
{
	size_t got = 0;

	for (size_t i = 0; i < n; i++) {
		ft_wire_peer_sends(w, p + i, 1, 9600, 0);
		got += ft_wire_at_us(w, ret + got, room - got, FT_NEVER - 1);
	}
	return got;
}

static void faults_are_seeded(void **state)
{
	struct ft_wire_faults f = { .seed = 7, .damaged_ppm = 2000, .lost_ppm = 2000, .inserted_ppm = 2000 };
	enum { N = 200000 };
	uint8_t *sent = calloc(1, N), *a = malloc(2 * N), *b = malloc(2 * N);
	struct ft_wire *w = make(false, 9600, f);
	struct ft_wire *again = make(false, 9600, f);
	size_t n, flipped = 0;

	(void)state;
	n = through(w, sent, N, a, 2 * N);
	assert_int_equal(through(again, sent, N, b, 2 * N), n);
	assert_memory_equal(a, b, n);
	assert_int_equal(n, N - w->lost + w->inserted);
	/* 0.2 % of 200000 is 400 with a spread of 20; six times that would be no chance. */
	assert_in_range(w->damaged, 280, 520);
	assert_in_range(w->lost, 280, 520);
	assert_in_range(w->inserted, 280, 520);
	for (size_t i = 0; i < n; i++)
		flipped += a[i] != 0;
	assert_in_range(flipped, w->damaged, w->damaged + w->inserted);
	free(again);
	again = make(false, 9600, (struct ft_wire_faults){ .seed = 8, .lost_ppm = 2000 });
	through(again, sent, N, b, 2 * N);
	assert_int_not_equal(again->lost, w->lost);
	free(again);
	free(w);
	free(sent);
	free(a);
	free(b);
}

static void dead_late_and_slow(void **state)
{
	uint8_t got[sizeof pattern];
	struct ft_wire *w = make(true, 9600, (struct ft_wire_faults){ .dead = true });

	(void)state;
	ft_wire_peer_sends(w, pattern, sizeof pattern, 9600, 0);
	assert_int_equal(ft_wire_due(w), FT_NEVER);
	assert_int_equal(ft_wire_we_send(w, pattern, 48, 0), 50000); /* the sender notices nothing */
	free(w);

	w = make(false, 9600, (struct ft_wire_faults){ .dead_after = 10 });
	assert_int_equal(through(w, pattern, sizeof pattern, got, sizeof got), 10);
	free(w);

	w = make(true, 9600, (struct ft_wire_faults){ .delay_us = 50000, .gap_us = 1000 });
	ft_wire_peer_sends(w, pattern, 3, 9600, 0);
	assert_int_equal(ft_wire_at_us(w, got, 3, 50000 + 1041), 0);
	assert_int_equal(ft_wire_at_us(w, got, 3, 50000 + 1042), 1);
	assert_int_equal(ft_wire_at_us(w, got, 3, 50000 + 2 * 1042 + 1000), 1);
	assert_int_equal(ft_wire_at_us(w, got, 3, 50000 + 3 * 1042 + 2000), 1);
	free(w);
}

static void echo_returns_to_its_sender(void **state)
{
	struct ft_wire *w = make(true, 9600, (struct ft_wire_faults){ .echo = true });
	uint8_t got[8];

	(void)state;
	ft_wire_peer_sends(w, pattern, 2, 9600, 0);
	assert_int_equal(ft_wire_at_peer(w, got, 8, 9600, 2084), 2);
	assert_memory_equal(got, pattern, 2);
	assert_int_equal(ft_wire_at_us(w, got, 8, 2084), 2);
	free(w);
}

static void a_full_lane_loses(void **state)
{
	struct ft_wire *w = make(true, 9600, (struct ft_wire_faults){ 0 });
	uint8_t *many = calloc(1, FT_WIRE_ROOM + 100);

	(void)state;
	ft_wire_peer_sends(w, many, FT_WIRE_ROOM - 1, 9600, 0);
	assert_int_equal(ft_wire_room(&w->in), 1);
	ft_wire_peer_sends(w, many, 100, 9600, 0);
	assert_int_equal(ft_wire_room(&w->in), 0);
	assert_int_equal(ft_wire_at_us(w, many, FT_WIRE_ROOM + 100, FT_NEVER - 1), FT_WIRE_ROOM);
	free(many);
	free(w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(bytes_take_their_time),      cmocka_unit_test(sending_queues_behind_itself),
		cmocka_unit_test(unpaced_is_at_once),         cmocka_unit_test(wrong_rates_garble),
		cmocka_unit_test(faults_are_seeded),          cmocka_unit_test(dead_late_and_slow),
		cmocka_unit_test(echo_returns_to_its_sender), cmocka_unit_test(a_full_lane_loses),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
