/* SPDX-License-Identifier: Apache-2.0 */
/* Both ends joined by a line made of a for-loop: whole files, damaged lines, echo, rates, refusals.
 * Time is simulated. `test_dataport_wire rates` prints how often damaged lines succeed. */
#include "unit.h"

#include <stdio.h>
#include <stdlib.h>

#include "wire.h"

static char content[65536];

static void make_content(void)
{
	for (size_t i = 0; i < sizeof content; i++)
		content[i] = (char)(i % 97 < 3 ? 0x10 : i % 89 == 0 ? i % 7 : ' ' + (i * i + i / 7) % 90);
}

static bool same(const struct wire *w)
{
	return w->got.n == w->file.n && (!w->got.n || memcmp(w->got.p, w->file.p, w->got.n) == 0);
}

/* A clean line brings every size whole, at 97 % of the line rate from 4 kB on with turn-rounds of 1 ms
 * (the mission's own measure). */
static void clean(void **state)
{
	static const size_t sizes[] = { 0, 1, 2, 25, 146, 147, 244, 245, 246, 490, 491, 4096, 16384, 65536 };

	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
			struct wire w;

			wire_init(&w, kind, kind, (struct ft_slice){ content, sizes[i] });
			w.rates_matter = true;
			wire_settings[0].turn_round_us = wire_settings[1].turn_round_us = 1000;
			wire_start(&w, kind, kind);
			assert_true(wire_run(&w));
			assert_true(w.end[1].done);
			assert_true(same(&w));
			assert_int_equal(ft_link_stats(w.end[0].k)->baud, 9600);
			assert_int_equal(ft_link_stats(w.end[0].k)->retries, 0);
			assert_int_equal(ft_link_stats(w.end[0].k)->noise_bytes, 0);
			assert_true(ft_link_stats(w.end[0].k)->text_bytes == sizes[i]);
			if (sizes[i] >= 4096)
				assert_true(wire_share(&w) >= 0.97 && wire_share(&w) <= 1.0);
			wire_done(&w);
		}
}

static unsigned block_after(unsigned block)
{
	if (block < 709)
		return block * 3 / 2 + 1;
	return block < FT_LINK_BLOCK_MAX ? FT_LINK_BLOCK_MAX : block + 1;
}

/* Every block size, and files that repeat themselves: an equal block must not pass for a repeat. */
static void block_sizes(void **state)
{
	static char dull[3000], dles[3000];

	(void)state;
	memset(dull, 'A', sizeof dull);
	memset(dles, 0x10, sizeof dles);
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (unsigned block = 1; block <= FT_LINK_BLOCK_MAX; block = block_after(block))
			for (int which = 0; which < 3; which++) {
				struct wire w;
				const char *p = which == 0 ? dull : which == 1 ? dles : content;

				wire_init(&w, kind, kind, (struct ft_slice){ p, block < 8 ? 300 : 3000 });
				wire_settings[1].block_text = block;
				wire_start(&w, kind, kind);
				assert_true(wire_run(&w));
				assert_true(same(&w));
				wire_done(&w);
			}
}

struct rates {
	unsigned ok, failed, wrong, unended, without_sentence;
};

static struct rates damaged(enum ft_link_kind kind, uint32_t ppm, unsigned runs, uint32_t seed)
{
	struct rates r = { 0 };

	for (unsigned i = 0; i < runs; i++) {
		struct wire w;
		struct ft_error e = { 0 };

		wire_init(&w, kind, kind, (struct ft_slice){ content, 4096 + (size_t)i * 12288 / runs });
		w.seed = seed + i * 7919;
		w.damage_ppm = ppm;
		w.rates_matter = true;
		wire_start(&w, kind, kind);
		if (wire_run(&w)) {
			if (same(&w))
				r.ok++;
			else
				r.wrong++;
		} else {
			r.failed++;
			if (!ft_link_ended(w.end[0].k))
				r.unended++;
			if (ft_link_failure(w.end[0].k, &e) != FT_E_LINE || strlen(e.text) < 60)
				r.without_sentence++;
		}
		wire_done(&w);
	}
	return r;
}

/* Whatever the damage, what comes is the file or a failure that says so. */
static void lossy(void **state)
{
	static const uint32_t ppm[] = { 200, 2000, 20000 };

	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (size_t i = 0; i < 3; i++) {
			unsigned runs = i == 2 ? 400 : 200;
			struct rates r = damaged(kind, ppm[i], runs, 1234567 + (uint32_t)i);

			assert_int_equal(r.wrong, 0);
			assert_int_equal(r.unended, 0);
			assert_int_equal(r.without_sentence, 0);
			if (i == 0)
				assert_true(r.ok >= runs * 39 / 40); /* the mission's 195 of 200 */
			if (i == 2)
				assert_true(r.failed > 0); /* the damage is real */
		}
}

/* An adapter that echoes, one that leaves some echoes out, one that has none though it should. */
static void echo(void **state)
{
	static const uint32_t lost[] = { 0, 100000, 1000000 };

	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (size_t i = 0; i < 3; i++) {
			struct wire w;

			wire_init(&w, kind, kind, (struct ft_slice){ content, 8000 });
			w.echo = wire_settings[0].echo = true;
			w.echo_lost_ppm = lost[i];
			wire_start(&w, kind, kind);
			assert_true(wire_run(&w));
			assert_true(same(&w));
			wire_done(&w);
		}
}

static void finds_out(void **state)
{
	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (int baud = 0; baud <= 9600; baud += 9600) {
			struct wire w;

			wire_init(&w, FT_LINK_AUTO, kind, (struct ft_slice){ content, 2000 });
			w.rates_matter = true;
			wire_settings[0].baud = wire_settings[1].baud = baud;
			wire_start(&w, FT_LINK_AUTO, kind);
			assert_int_equal(ft_link_kind_of(w.end[0].k), FT_LINK_AUTO);
			assert_true(wire_run(&w));
			assert_true(same(&w));
			assert_int_equal(w.end[0].speaks, kind);
			assert_int_equal(ft_link_kind_of(w.end[0].k), kind);
			wire_done(&w);
		}
}

/* Nobody there: every kind gives up by itself with a sentence. */
static void nobody(void **state)
{
	(void)state;
	for (enum ft_link_kind kind = FT_LINK_AUTO; kind <= FT_LINK_DDCMP; kind++) {
		struct wire w;
		struct ft_error e = { 0 };

		wire_init(&w, kind, FT_LINK_DEX, FT_SLICE(""));
		w.damage_ppm = 0;
		wire_start(&w, kind, FT_LINK_DEX);
		w.rates_matter = true;
		w.end[1].baud = 1; /* the machine hears rubbish only and says nothing */
		assert_false(wire_run(&w));
		assert_true(ft_link_ended(w.end[0].k));
		assert_int_equal(ft_link_failure(w.end[0].k, &e), FT_E_LINE);
		assert_non_null(strstr(e.text, "brought nothing"));
		assert_non_null(strstr(e.text, "check that the machine is on"));
		assert_true(w.now_us < 60 * FT_SECOND);
		wire_done(&w);
	}
}

/* The security code: refused, accepted, learned. */
static void codes(void **state)
{
	static const struct {
		uint16_t machine, carrier, after;
		bool ok;
	} cases[] = {
		{ 0, 0, 0, true },
		{ 0, 0x1234, 0x1234, true },
		{ 0x1234, 0x1234, 0x1234, true },
		{ 0x1234, 0, 0x1234, false },
		{ 0x1234, 0x4321, 0x1234, false },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct wire w;
		struct ft_error e = { 0 }, m = { 0 };

		wire_init(&w, FT_LINK_DDCMP, FT_LINK_DDCMP, (struct ft_slice){ content, 500 });
		wire_settings[0].security_code = cases[i].carrier;
		wire_settings[1].security_code = cases[i].machine;
		wire_start(&w, FT_LINK_DDCMP, FT_LINK_DDCMP);
		assert_int_equal(wire_run(&w), cases[i].ok);
		assert_int_equal(ft_link_security_code(w.end[1].k), cases[i].after);
		if (!cases[i].ok) {
			assert_int_equal(ft_link_failure(w.end[0].k, &e), FT_E_LINE);
			assert_non_null(strstr(e.text, "refused security code"));
			assert_int_equal(ft_link_failure(w.end[1].k, &m), FT_E_LINE);
			assert_non_null(strstr(m.text, "was refused"));
		}
		wire_done(&w);
	}
}

/* The machine takes the higher rate but its line does not follow: both fall back and start again. */
static void falls_back(void **state)
{
	struct wire w;

	(void)state;
	wire_init(&w, FT_LINK_DDCMP, FT_LINK_DDCMP, (struct ft_slice){ content, 700 });
	wire_start(&w, FT_LINK_DDCMP, FT_LINK_DDCMP);
	w.rates_matter = w.deaf_at_9600 = true;
	assert_true(wire_run(&w));
	assert_true(same(&w));
	assert_int_equal(ft_link_stats(w.end[0].k)->baud, 2400);
	assert_int_equal(ft_link_stats(w.end[1].k)->baud, 2400);
	wire_done(&w);
}

/* A carrier that is busy for a while: it says so (WACK, or keeps the acknowledgement back). */
static void busy(void **state)
{
	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++) {
		struct wire w;

		wire_init(&w, kind, kind, (struct ft_slice){ content, 3000 });
		w.hold_at_block = 3;
		w.hold_us = 3 * FT_SECOND;
		wire_start(&w, kind, kind);
		assert_true(wire_run(&w));
		assert_true(same(&w));
		assert_true(w.held);
		wire_done(&w);
	}
}

/* The machine's plug is pulled after some blocks; stopping from our side; both say how far it came. */
static void breaks(void **state)
{
	(void)state;
	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (int stop = 0; stop < 2; stop++) {
			struct wire w;
			struct ft_error e = { 0 };

			wire_init(&w, kind, kind, (struct ft_slice){ content, 5000 });
			if (stop)
				w.abort_at_block = 4;
			else
				w.dead_at_block = 4;
			wire_start(&w, kind, kind);
			assert_false(wire_run(&w));
			assert_true(ft_link_ended(w.end[0].k));
			assert_int_equal(ft_link_failure(w.end[0].k, &e), FT_E_LINE);
			assert_non_null(strstr(e.text, "broke off after 4 blocks"));
			assert_non_null(strstr(e.text, stop ? "stopped from this side" : "fell silent"));
			wire_done(&w);
		}
}

static void print_rates(void)
{
	static const uint32_t ppm[] = { 200, 2000 };

	for (enum ft_link_kind kind = FT_LINK_DEX; kind <= FT_LINK_DDCMP; kind++)
		for (size_t i = 0; i < 2; i++) {
			struct rates r = damaged(kind, ppm[i], 2000, 99);
			printf("%-5s %.2f %% of bytes damaged: %u of 2000 whole, %u failed, %u wrong\n", ft_link_kind_word(kind),
			       ppm[i] / 1e4, r.ok, r.failed, r.wrong);
		}
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(clean),  cmocka_unit_test(block_sizes), cmocka_unit_test(lossy),
		cmocka_unit_test(echo),   cmocka_unit_test(finds_out),   cmocka_unit_test(nobody),
		cmocka_unit_test(codes),  cmocka_unit_test(falls_back),  cmocka_unit_test(busy),
		cmocka_unit_test(breaks),
	};

	make_content();
	if (argc > 1 && strcmp(argv[1], "rates") == 0) {
		print_rates();
		return 0;
	}
	return cmocka_run_group_tests(tests, NULL, NULL);
}
