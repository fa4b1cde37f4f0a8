/* SPDX-License-Identifier: Apache-2.0 */
/* The drawing of the bus, from figures made by hand after the worked exchanges of docs/bus.md: well-formed, the
 * same bytes each time, nothing hostile gets through, and no two texts of one kind lie over each other. */
#include <stdio.h>
#include <stdlib.h>

#include "unit.h"

#include "fettle/paper.h"

static struct ft_arena arena;

static const struct {
	const char *who, *asked, *told, *command, *answer; /* answer "": silence */
} worked[] = {
	{ "coin changer", "POLL", "was reset", "0B 0B", "0B 0B" },
	{ "coin changer", "SETUP", "level 3, EUR, scale 5, 2 decimals, coins 0.05 to 2.00", "09 09",
	  "03 19 78 05 02 00 0F 01 02 04 0A 14 28 00 00 00 00 00 00 00 00 00 00 F7" },
	{ "coin changer", "ENABLE FEATURES", "acknowledged", "0F 01 00 00 00 02 12", "00" },
	{ "bill validator", "POLL", "was reset; disabled", "33 33", "06 09 0F" },
	{ "cashless device 2", "RESET", NULL, "60 60", "" },
	{ "cashless device 1", "SETUP", "level 3, EUR, scale 1, 2 decimals, answers within 5 s", "11 00 03 00 00 01 15",
	  "01 03 19 78 01 02 05 09 A6" },
	{ "coin changer", "POLL", "coin 0.50 into the tube, 21 there now", "0B 0B", "53 15 68" },
	{ "cashless device 1", "BEGIN & \"END\" <b>", "session begins, funds 10.00", "12 12",
	  "03 03 E8 FF FF FF FF 00 00 00 EA" },
	{ "cashless device 1", "VEND REQUEST", "item 12 for 1.50: acknowledged", "13 00 00 96 00 0C B5", "00" },
	{ "cashless device 1", "POLL", "approved, 1.50", "12 12", "05 00 96 9B" },
};
enum { WORKED = sizeof worked / sizeof *worked };

static struct ft_bus_block block_of(const char *hex, int64_t start)
{
	struct ft_bus_block b = { .start_ns = start, .checksum_ok = true };

	for (const char *p = hex; *p; p += p[2] ? 3 : 2) {
		uint32_t byte;
		assert_true(ft_slice_hex((struct ft_slice){ p, 2 }, &byte));
		b.bytes[b.count++] = (uint8_t)byte;
	}
	b.end_ns = start + b.count * INT64_C(1145833);
	return b;
}

static size_t figures(struct ft_bus_figure *f, int64_t late_ns)
{
	int64_t at = 0;
	size_t n = 0;

	f[n++] =
		(struct ft_bus_figure){ .kind = FT_BUS_FIGURE_RESET, .start_ns = 0, .end_ns = 120000000, .asked = "bus reset" };
	at = 340000000;
	for (int i = 0; i < WORKED; i++) {
		struct ft_bus_figure *x = &f[n++];
		int64_t wait = i == 8 ? late_ns : 820000 + 137000 * i;
		*x = (struct ft_bus_figure){ .kind = FT_BUS_FIGURE_EXCHANGE,
			                         .start_ns = at,
			                         .who = worked[i].who,
			                         .asked = worked[i].asked,
			                         .told = worked[i].told };
		x->exchange = (struct ft_bus_exchange){ .number = (uint64_t)i, .closing_at_ns = -1, .response_ns = -1 };
		x->exchange.command = block_of(worked[i].command, at);
		x->end_ns = x->exchange.command.end_ns;
		if (*worked[i].answer) {
			x->exchange.response_ns = wait;
			x->exchange.answer = block_of(worked[i].answer, x->end_ns + wait);
			x->end_ns = x->exchange.answer.end_ns;
			x->exchange.kind = x->exchange.answer.count > 1 ? FT_BUS_DATA : FT_BUS_ACK;
			if (x->exchange.kind == FT_BUS_DATA) {
				x->exchange.closing = FT_BUS_CLOSED_ACK;
				x->exchange.closing_at_ns = x->end_ns + 600000;
				x->end_ns += 600000 + 1145833;
			}
		}
		at = x->end_ns + 18000000 + 31000000 * (i % 2);
		if (i == 5) {
			f[n++] = (struct ft_bus_figure){ .kind = FT_BUS_FIGURE_IDLE,
				                             .start_ns = at,
				                             .end_ns = at + INT64_C(8200000000),
				                             .exchanges = 246,
				                             .rounds = 82 };
			at += INT64_C(8200000000) + 20000000;
		}
	}
	return n;
}

static struct ft_bus_picture picture(struct ft_bus_figure *f, const struct ft_bus_stretch *s,
                                     const struct ft_bus_pin *pins)
{
	struct ft_bus_picture p = { .title = "bench.vcd",
		                        .about = "12.3 s, 256 exchanges; controller on MTX, peripherals on MRX",
		                        .figures = f,
		                        .stretches = s,
		                        .stretch_count = 2,
		                        .pins = pins,
		                        .pin_count = 3 };

	p.figure_count = figures(f, 7400000);
	return p;
}

static const struct ft_bus_stretch stretches[] = {
	{ 0, INT64_C(8900000000), "Power-up" },
	{ INT64_C(8900000001), INT64_C(13000000000), "Sale 1: item 12 for 1.50 by card, sold" },
};
static const struct ft_bus_pin pins[] = {
	{ INT64_C(9320000000), FT_FAULT, "late answer",
	  "cashless device 1 answers too late: 7.4 ms, expected at most 5 ms" },
	{ 505000000, FT_NOTE, "silent peripheral", "nobody answers at 60; it is probed and seems not to be fitted" },
	{ -1, FT_DOUBT, "no price limits", "maximum and minimum price were never sent to cashless device 1" },
};

/* Every tag that opens closes; no raw & or < in text. Good enough to catch what a drawing can get wrong. */
static void well_formed(struct ft_slice t)
{
	int depth = 0;

	for (size_t i = 0; i < t.n; i++) {
		assert_true((unsigned char)t.p[i] >= 32 || t.p[i] == '\n');
		if (t.p[i] == '&')
			assert_true(ft_slice_find((struct ft_slice){ t.p + i, 6 < t.n - i ? 6 : t.n - i }, FT_SLICE(";")) < 6);
		if (t.p[i] != '<')
			continue;
		if (t.p[i + 1] == '/') {
			depth--;
		} else if (t.p[i + 1] != '?') {
			size_t end = i;
			while (t.p[end] != '>')
				end++;
			depth += t.p[end - 1] != '/';
		}
		assert_true(depth >= 0);
	}
	assert_int_equal(depth, 0);
}

static bool holds(struct ft_slice t, const char *text)
{
	return ft_slice_find(t, ft_slice_of(text)) < t.n;
}

static void worked_example(void **state)
{
	struct ft_bus_figure f[WORKED + 4];
	struct ft_bus_picture p = picture(f, stretches, pins);
	struct ft_buf out = { 0 }, again = { 0 };
	const char *keep = getenv("FETTLE_SVG");
	struct ft_slice t;

	(void)state;
	assert_int_equal(ft_bus_svg(&p, &arena, &out, NULL), FT_OK);
	assert_int_equal(ft_bus_svg(&p, &arena, &again, NULL), FT_OK);
	t = ft_buf_text(&out);
	assert_true(ft_slice_eq(t, ft_buf_text(&again)));
	well_formed(t);
	assert_true(holds(t, "7.40 ms") && holds(t, "! late answer") && holds(t, "82 idle rounds"));
	assert_true(holds(t, "BEGIN &amp; &quot;END&quot; &lt;b&gt;") && holds(t, ">silence<"));
	assert_true(holds(t, "? no price limits") == false &&
	            holds(t, ">no price limits<")); /* at the foot: it has no time */
	assert_true(holds(t, "Sale 1: item 12"));
	if (keep) { /* to be looked at */
		FILE *to = fopen(keep, "wb");
		assert_non_null(to);
		fwrite(t.p, 1, t.n, to);
		fclose(to);
	}
	ft_buf_done(&out);
	ft_buf_done(&again);
}

static void hostile_texts(void **state)
{
	struct ft_bus_figure f[WORKED + 4];
	struct ft_bus_picture p = picture(f, stretches, pins);
	struct ft_buf out = { 0 };
	char *longest = ft_arena_alloc(&arena, 4001);

	(void)state;
	memset(longest, 'W', 4000);
	f[1].told = "\x01\xff\xc3(\xe2\x82</text><script>";
	f[2].told = longest;
	f[3].asked = "";
	f[4].exchange.answer.end_ns = INT64_MAX / 4;
	f[5].exchange.response_ns = INT64_MAX / 4;
	p.title = "<&\x02";
	assert_int_equal(ft_bus_svg(&p, &arena, &out, NULL), FT_OK);
	well_formed(ft_buf_text(&out));
	assert_false(holds(ft_buf_text(&out), "<script"));
	ft_buf_done(&out);
}

static void nothing_to_draw(void **state)
{
	struct ft_bus_picture p = { .title = "empty.vcd" };
	struct ft_buf out = { 0 };

	(void)state;
	assert_int_equal(ft_bus_svg(&p, &arena, &out, NULL), FT_OK);
	well_formed(ft_buf_text(&out));
	ft_buf_done(&out);
}

/* The bits of 0B 0B with the mode bit on the first, least significant bit first: what the wave must show. */
static void bits(void **state)
{
	struct ft_bus_figure f[WORKED + 4];
	struct ft_bus_picture p = picture(f, stretches, pins);
	struct ft_bus_word words[24];
	struct ft_buf out = { 0 };
	const char *keep = getenv("FETTLE_SVG_BITS");
	size_t n = 0;

	(void)state;
	for (int i = 1; i < 3; i++)
		for (int line = 0; line < 2; line++) {
			const struct ft_bus_block *b = line ? &f[i].exchange.answer : &f[i].exchange.command;
			for (int k = 0; k < b->count && n < 24; k++)
				words[n++] = (struct ft_bus_word){ .start_ns = b->start_ns + k * INT64_C(1145833),
					                               .end_ns = b->start_ns + (k + 1) * INT64_C(1145833),
					                               .byte = b->bytes[k],
					                               .mode = line ? k == b->count - 1 : k == 0,
					                               .line = (enum ft_bus_line)line };
		}
	p.figures = f + 1;
	p.figure_count = 2;
	p.stretches = &(struct ft_bus_stretch){ f[1].start_ns, f[2].end_ns, "As it was on the wires" };
	p.stretch_count = 1;
	p.words = words;
	p.word_count = n;
	assert_int_equal(ft_bus_svg(&p, &arena, &out, NULL), FT_OK);
	well_formed(ft_buf_text(&out));
	/* 0B is 1101 0000 in the order of the wire: down, up, up, down, up, down... then mode and stop stay up */
	assert_true(holds(ft_buf_text(&out), "class=\"wave\""));
	if (keep) {
		FILE *to = fopen(keep, "wb");
		assert_non_null(to);
		fwrite(out.p, 1, out.n, to);
		fclose(to);
	}
	ft_buf_done(&out);
}

static int tidy(void **state)
{
	(void)state;
	ft_arena_reset(&arena);
	return 0;
}

#define T(f) cmocka_unit_test_teardown(f, tidy)

int main(void)
{
	const struct CMUnitTest tests[] = { T(worked_example), T(hostile_texts), T(nothing_to_draw), T(bits) };
	int failed = cmocka_run_group_tests(tests, NULL, NULL);

	ft_arena_done(&arena);
	return failed;
}
