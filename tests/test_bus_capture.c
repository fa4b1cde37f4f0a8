/* SPDX-License-Identifier: Apache-2.0 */
/* Capture formats to edges, and which channel is which line. The corners of value change dumps are those of IEEE 1364
 * (seen in public readers and tables); the first dump is one frame of 0B with its mode bit, its times computed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "bus_rows.h"
#include "room.h"

static const char *folder;

enum { MOST = 64 };

struct got {
	struct ft_bus_edge edges[MOST];
	struct ft_bus_word words[MOST];
	size_t edge_count, word_count;
};

static enum ft_status edges(void *to, const struct ft_bus_edge *x, size_t n, struct ft_error *e)
{
	struct got *g = to;

	(void)e;
	for (size_t i = 0; i < n && g->edge_count < MOST; i++)
		g->edges[g->edge_count++] = x[i];
	return FT_OK;
}

static enum ft_status words(void *to, const struct ft_bus_word *x, size_t n, struct ft_error *e)
{
	struct got *g = to;

	(void)e;
	for (size_t i = 0; i < n && g->word_count < MOST; i++)
		g->words[g->word_count++] = x[i];
	return FT_OK;
}

static enum ft_status read_all(const struct ft_bus_options *o, struct ft_slice text, size_t portion, struct got *g,
                               struct bus_capture_info *info, struct ft_error *e)
{
	struct ft_arena a = { 0 };
	struct bus_capture *c = NULL;
	enum ft_status s;

	*g = (struct got){ 0 };
	*info = (struct bus_capture_info){ 0 };
	*e = (struct ft_error){ 0 };
	s = bus_capture_new(o, (struct bus_sink){ g, edges, words }, &a, &c, e);
	for (size_t at = 0; s == FT_OK && at < text.n; at += portion)
		s = bus_capture_feed(c, text.p + at, text.n - at < portion ? text.n - at : portion, e);
	if (s == FT_OK)
		s = bus_capture_end(c, e);
	if (c)
		*info = *bus_capture_info(c);
	ft_arena_done(&a);
	return s;
}

/* Edges as "at:levels"; times in ns, levels in hexadecimal. NULL: refused. */
struct dump {
	const char *text, *edges;
	const char *channels; /* names, blanks between */
	unsigned unknown;
	bool cut;
};

#define HEAD(scale) "$timescale " scale " $end $scope module m $end "
#define LINES       "$var wire 1 ! a $end $var wire 1 \" b $end $upscope $end $enddefinitions $end\n"

static const struct dump dumps[] = {
	{ "$timescale 1 us $end\n$scope module bus $end\n$var wire 1 ! line $end\n$upscope $end\n$enddefinitions $end\n"
	  "#0\n$dumpvars\n1!\n$end\n#1000\n0!\n#1104\n1!\n#1312\n0!\n#1417\n1!\n#1521\n0!\n#1938\n1!\n#2146\n",
	  "0:1 1000000:0 1104000:1 1312000:0 1417000:1 1521000:0 1938000:1", "line", 0, false },
	{ HEAD("10 ns") LINES "#0 1! 1\" #7 0! #9 0\"", "0:3 70:2 90:0", "a b", 0, false },
	{ HEAD("100ps") LINES "#0 1! #15 0! #26 1!", "0:1 2:0 3:1", "a b", 0, false },
	{ HEAD("1 fs") LINES "#0 1! #2600000 0!", "0:1 3:0", "a b", 0, false },
	{ HEAD("10 us") LINES "#0 1! #2 0!", "0:1 20000:0", "a b", 0, false },
	/* a vector: each bit a channel, values extended to the left */
	{ HEAD("1 ns") "$var reg 3 v bus [2:0] $end $enddefinitions $end #0 b101 v #5 b1 v #6 bx v #7 b0 v", "0:5 5:1 7:0",
	  "bus[0] bus[1] bus[2]", 3, false },
	{ HEAD("1 ns") "$var reg 2 v bus [1:0] $end $enddefinitions $end #0 b111 v #4 b10 v", "0:3 4:2", "bus[0] bus[1]", 0,
	  false },
	/* one code under two names, codes of more characters, a real variable whose code is # */
	{ HEAD(
		  "1 ns") "$var wire 1 xy a $end $var wire 1 xy also $end $var real 64 # r $end $var wire 1 z b $end $enddefinitions $end "
	              "#0 1xy 0z r1.5 # #3 0xy r2 # #4 1z",
	  "0:3 3:0 4:4", "a also b", 0, false },
	/* unknown levels keep the former one; comments and dumpoff between; several on a line */
	{ HEAD("1 ns") LINES
	  "#0 $dumpvars x! 1\" $end #2 1! $comment 0! is no change here $end #3 z! #5 $dumpoff x! x\" $end #9 $dumpon 0! 1\" $end",
	  "0:2 2:3 9:2", "a b", 4, false },
	{ HEAD("1 ns") LINES "#0 h! L\" #1 l! H\" #2 U! -\"", "0:1 1:2", "a b", 2, false },
	/* changes before the first time, times without a change, a change that changes nothing */
	{ HEAD("1 ns") LINES "1! #5 #6 #8 1! #9 0!", "0:1 9:0", "a b", 0, false },
	/* a low level before the first time is a level */
	{ HEAD("1 ns") LINES "0! #5 1! #6 ", "0:0 5:1", "a b", 0, false },
	/* a simulator's own numbers are no wires and leave the room to those */
	{ HEAD("1 ns") "$var integer 32 i n $end $var parameter 32 p P $end $var time 64 t T $end " LINES
	               "#0 b101 i 1! b0 p #3 b1 t 0!",
	  "0:1 3:0", "a b", 0, false },
	/* a range glued to its name, a single bit of one, and a name that stands in two scopes */
	{ HEAD(
		  "1 ns") "$var reg 2 v bus[1:0] $end $var wire 1 w bus[7] $end $scope module in $end $var wire 1 a bus[0] $end "
	              "$var wire 1 b x $end $upscope $end $var wire 1 c x $end $enddefinitions $end #0 b10 v 0w 1a 0b 1c #2 b0 v",
	  "0:2a 2:28", "bus[0] bus[1] bus[7] m.in.bus[0] x m.x", 0, false },
	/* broken off: in a time, in a code, behind a value, in a comment */
	{ HEAD("1 ns") LINES "#0 1! #100 0! #2", "0:1 100:0", "a b", 0, true },
	{ HEAD("1 ns") LINES "#0 1! #100 0", "0:1", "a b", 0, true },
	{ HEAD("1 ns") LINES "#0 1! #100 0! $comment x", "0:1 100:0", "a b", 0, true },
	{ HEAD("1 ns") LINES "#0 1! #100 0!", "0:1 100:0", "a b", 0, false },
	/* refused */
	{ HEAD("1 ns") LINES "#5 1! #4 0!", NULL, NULL, 0, false },
	{ HEAD("2 ns") LINES "#5 1!", NULL, NULL, 0, false },
	{ HEAD("1 ns") LINES "#5 1! (what) ", NULL, NULL, 0, false },
	{ HEAD("1 ns") LINES "#x 1!", NULL, NULL, 0, false },
	{ HEAD("1 ns") LINES "#1 1!\nbogus!\n#2 0!", NULL, NULL, 0, false },
	{ HEAD("10 us") LINES "#0 1! #999999999999999 0!", NULL, NULL, 0, false },
	{ HEAD("1 ns") "$enddefinitions $end #0", NULL, NULL, 0, false },
	{ HEAD("1 ns") "$var wire 1 ! a $end", NULL, NULL, 0, false },
};

static void write_edges(const struct got *g, char *text, size_t room)
{
	size_t at = 0;

	text[0] = '\0';
	for (size_t i = 0; i < g->edge_count && at + 40 < room; i++)
		at += (size_t)snprintf(text + at, room - at, "%s%lld:%x", i ? " " : "", (long long)g->edges[i].at_ns,
		                       g->edges[i].levels);
}

static void value_change_dumps(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof dumps / sizeof *dumps; i++)
		for (size_t portion = 1; portion < 300; portion = portion * 3 + 1) {
			const struct dump *d = &dumps[i];
			struct ft_bus_options o = { .name = "dump" };
			struct bus_capture_info info;
			struct ft_error e;
			struct got g;
			char text[600], names[200] = "";
			enum ft_status s = read_all(&o, ft_slice_of(d->text), portion, &g, &info, &e);
			if (!d->edges) {
				if (s != FT_E_INPUT || !e.text[0])
					fail_msg("dump %zu was taken", i);
				continue;
			}
			write_edges(&g, text, sizeof text);
			for (size_t c = 0, at = 0; c < info.channel_count; c++)
				at += (size_t)snprintf(names + at, sizeof names - at, "%s%s", c ? " " : "", info.channels[c].name);
			if (s != FT_OK || strcmp(text, d->edges) != 0 || strcmp(names, d->channels) != 0 ||
			    info.unknown_levels != d->unknown || info.cut != d->cut)
				fail_msg("dump %zu in portions of %zu: %s | %s | %d unknown, cut %d; %s", i, portion, text, names,
				         (int)info.unknown_levels, info.cut, e.text);
		}
}

/* A scale in which no bit can be drawn is said, and not taken for a bus on which nothing moves. */
static void scales_too_coarse(void **state)
{
	static const struct {
		const char *text;
		bool taken;
	} rows[] = { { HEAD("1 s") LINES "#0 1! #2 0!", false },
		         { HEAD("100 ms") LINES "#0 1! #2 0!", false },
		         { HEAD("100 us") LINES "#0 1! #2 0!", false },
		         { HEAD("10 us") LINES "#0 1! #2 0!", true },
		         { HEAD("1 us") LINES "#0 1! #2 0!", true } };
	struct ft_bus_options o = { .name = "dump" };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct bus_capture_info info;
		struct ft_error e = { 0 };
		struct got g;
		enum ft_status s = read_all(&o, ft_slice_of(rows[i].text), 7, &g, &info, &e);
		assert_int_equal(s, rows[i].taken ? FT_OK : FT_E_INPUT);
		if (!rows[i].taken && !strstr(e.text, "dump, line 1: the time scale is too coarse"))
			fail_msg("row %zu: %s", i, e.text);
	}
}

/* Wherever the portions break off, a message names the line. */
static void the_line_of_a_fault(void **state)
{
	static const char *const wrong[] = { "#5\n1!\n#4\n0!\n", "#5\n1!\n(what)\n0!\n#4\n",
		                                 "#5\n1!\n#99999999999999999999\n", "#5\n1!\nbogus! \n#4\n" };
	struct ft_bus_options o = { .name = "dump" };

	(void)state;
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
		for (size_t portion = 1; portion < 5000; portion = portion * 2 + 1) {
			struct bus_capture_info info;
			struct ft_error e;
			struct got g;
			char text[6000];
			size_t n = (size_t)snprintf(text, sizeof text, "%s", HEAD("1 ns") LINES);
			unsigned line = 1; /* the heads are one */
			for (unsigned k = 0; k < 1000; k++, line++)
				n += (size_t)snprintf(text + n, sizeof text - n, "#%d\n", (int)(k > 5 ? 5 : k));
			snprintf(text + n, sizeof text - n, "%s", wrong[i]);
			if (read_all(&o, ft_slice_of(text), portion, &g, &info, &e) != FT_E_INPUT)
				fail_msg("fault %zu was taken", i);
			snprintf(text, sizeof text, "dump, line %u:", line + 3);
			if (!strstr(e.text, text))
				fail_msg("fault %zu in portions of %zu: %s, not %s", i, portion, e.text, text);
		}
}

static void raw_samples(void **state)
{
	static const uint8_t one[] = { 3, 3, 3, 1, 1, 0xF3, 2 }, two[] = { 5, 1, 4, 0, 4, 0, 1 };
	struct ft_bus_options o = {
		.name = "raw", .format = FT_BUS_RAW, .raw_rate = 1000000, .raw_unit = 1, .raw_channels = 2
	};
	struct bus_capture_info info;
	struct ft_error e;
	struct got g;
	char text[200];

	(void)state;
	for (size_t portion = 1; portion < 10; portion++) {
		assert_int_equal(read_all(&o, (struct ft_slice){ (const char *)one, sizeof one }, portion, &g, &info, &e),
		                 FT_OK);
		write_edges(&g, text, sizeof text);
		assert_string_equal(text, "0:3 3000:1 5000:3 6000:2");
		assert_int_equal(info.end_ns, 7000);
	}
	/* two bytes a sample, lowest first; a sample that is cut off */
	o.raw_unit = 2;
	o.raw_channels = 9;
	for (size_t portion = 1; portion < 10; portion++) {
		assert_int_equal(read_all(&o, (struct ft_slice){ (const char *)two, sizeof two }, portion, &g, &info, &e),
		                 FT_OK);
		write_edges(&g, text, sizeof text);
		assert_string_equal(text, "0:105 1000:4");
		assert_true(info.cut);
	}
	o.raw_rate = 24000000; /* no whole number of nanoseconds a sample: no drift over a minute */
	o.raw_unit = 1;
	o.raw_channels = 1;
	char *long_one = calloc(1, 24000001);
	long_one[24000000] = 1;
	assert_int_equal(read_all(&o, (struct ft_slice){ long_one, 24000001 }, 1 << 16, &g, &info, &e), FT_OK);
	write_edges(&g, text, sizeof text);
	assert_string_equal(text, "0:0 1000000000:1");
	free(long_one);
	o.raw_rate = 40000; /* four samples a bit */
	assert_int_equal(read_all(&o, FT_SLICE("x"), 1, &g, &info, &e), FT_OK);
	o.raw_rate = 38000;
	assert_int_equal(read_all(&o, FT_SLICE("x"), 1, &g, &info, &e), FT_E_INPUT);
	assert_non_null(strstr(e.text, "too few for a bus"));
	o.raw_rate = 0;
	assert_int_equal(read_all(&o, FT_SLICE("x"), 1, &g, &info, &e), FT_E_USAGE);
}

static void tables(void **state)
{
	static const struct {
		const char *text, *edges, *names;
	} cases[] = {
		{ "time_us,mtx,mrx\n0,1,1\n1000,0,1\n1104,1,1\n", "0:3 1000000:2 1104000:3", "mtx mrx" },
		{ "Time [s];CH1;CH2\n0;0,1;4,9\n0,001;3,3;5\n0,002;0,2;0,1\n", "0:2 1000000:3 2000000:0", "CH1 CH2" },
		{ "# taken on the bench\n; Samplerate: 1 MHz\nD0,D1\n1,1\n1,1\n0,1\n", "0:3 2000:2", "D0 D1" },
		{ "Second,Volt\n-0.001,5\n0,0\n0.001,5\n", "0:1 1000000:0 2000000:1", "Volt" },
		{ "X,CH1\nsecond,Volt\n0.0,3.3\n0.001,0.0\n", "0:1 1000000:0", "CH1" },
		{ "0.000,1\n0.001,0\n0.002,1\n", "0:1 1000000:0 2000000:1",
		  "0" }, /* no heading: seconds, as steps of a millisecond are */
		{ "time ms\ta\n0\t1\n2\t0\n", "0:1 2000000:0", "a" },
		/* what stands ahead of the heading; units and a rule under it; separators between quotes */
		{ "Model,Q100\nRecord Length,4\n\nTIME (s),A,B\n----,-,-\n0,1,1\n0.002,0,1\n", "0:3 2000000:2", "A B" },
		{ "Bench 4\nt,A\nms,V\n0,5\n2,0\n", "0:1 2000000:0", "A" },
		{ "\"Time (ms)\",\"A, upper\"\n\"0,0\",\"1\"\n\"0,5\",\"0\"\n", "0:1 500000:0", "A, upper" },
		{ "logic,logic\n1,1\n1,1\n0,1\n", NULL, NULL }, /* samples of no rate */
		{ "time,a\n0,1\n0,x\n", NULL, NULL },
		{ "time,a\n5,1\n4,0\n", NULL, NULL },
		{ "time,a,b\n0,1\n", NULL, NULL },
		{ "time,a\n", NULL, NULL },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_bus_options o = { .name = "table" };
		struct bus_capture_info info;
		struct ft_error e;
		struct got g;
		char text[200], names[100] = "";
		enum ft_status s = read_all(&o, ft_slice_of(cases[i].text), 3, &g, &info, &e);
		if (!cases[i].edges) {
			if (s != FT_E_INPUT)
				fail_msg("table %zu was taken", i);
			continue;
		}
		write_edges(&g, text, sizeof text);
		for (size_t c = 0, at = 0; c < info.channel_count; c++)
			at += (size_t)snprintf(names + at, sizeof names - at, "%s%s", c ? " " : "", info.channels[c].name);
		if (s != FT_OK || strcmp(text, cases[i].edges) != 0 || strcmp(names, cases[i].names) != 0)
			fail_msg("table %zu: %s | %s; %s", i, text, names, e.text);
	}
}

/* The step of a table's times is found, for what it cannot show must not be judged: 20 us say nothing of a bit rate. */
static void the_step_of_a_table(void **state)
{
	static const struct {
		const char *head;
		double unit;
		int decimals, step_us, want_ns;
	} cases[] = { { "time_us,a", 1, 0, 1, 1000 },         { "time_us,a", 1, 0, 20, 20000 },
		          { "time [s],a", 1e-6, 6, 10, 10000 },   { "time_us,a", 1, 1, 0, 100 },
		          { "# rate 2 MS/s\na,b", 0, 0, 0, 500 }, { "# sample rate: 500 kHz\na,b", 0, 0, 0, 2000 } };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_bus_options o = { .name = "table" };
		struct ft_buf text = { 0 };
		struct bus_capture_info info;
		struct ft_error e;
		struct got g;
		int at = 0;
		ft_buf_printf(&text, "%s\n", cases[i].head);
		for (int k = 0; k < 100; k++) {
			at += (k * 37 % 11 + 1) * 104 + k % 3;
			if (cases[i].unit <= 0)
				ft_buf_printf(&text, "%d,1\n", k % 2);
			else
				ft_buf_printf(&text, "%.*f,%d\n", cases[i].decimals,
				              (cases[i].step_us ? at / cases[i].step_us * cases[i].step_us : at + k * 0.1) *
				                  cases[i].unit,
				              k % 2);
		}
		if (read_all(&o, ft_buf_text(&text), 50, &g, &info, &e) != FT_OK)
			fail_msg("case %zu: %s", i, e.text);
		assert_int_equal(info.resolution_ns, cases[i].want_ns);
		ft_buf_done(&text);
	}
	struct ft_bus_options o = { .name = "table" };
	struct bus_capture_info info;
	struct ft_error e;
	struct got g;
	assert_int_equal(read_all(&o, FT_SLICE("# rate 9600\na,b\n1,1\n0,1\n"), 50, &g, &info, &e), FT_E_INPUT);
	assert_non_null(strstr(e.text, "too slow"));
	assert_int_equal(read_all(&o, FT_SLICE("time_us,a\n0,1\n1000,0\n2000,1\n"), 50, &g, &info, &e), FT_OK);
	assert_int_equal(info.resolution_ns, 0); /* three round times prove no step */
}

static void no_event(void *to, const struct ft_bus_event *e)
{
	(void)to;
	(void)e;
}

/* The report that a verdict rests on calls nobody late by less than a step of the capture's times, like the judge. */
static void late_by_more_than_a_step(void **state)
{
	static const struct {
		int64_t response_ns, step_ns;
		unsigned late;
	} cases[] = { { 5000000, 0, 0 }, { 5000001, 0, 1 }, { 5009000, 10000, 0 }, { 5011000, 10000, 1 } };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_arena a = { 0 };
		struct ft_error e = { 0 };
		struct bus_meaning m;
		struct ft_bus_report r = { .timing_known = true, .resolution_ns = cases[i].step_ns };
		struct ft_bus_item x = { .kind = FT_BUS_EXCHANGE,
			                     .exchange = { .command = { .count = 2, .bytes = { 0x0B, 0x0B }, .checksum_ok = true },
			                                   .answer = { .count = 1, .checksum_ok = true },
			                                   .kind = FT_BUS_ACK,
			                                   .response_ns = cases[i].response_ns } };
		assert_int_equal(bus_meaning_init(&m, &r, &a, NULL, no_event, &e), FT_OK);
		bus_meaning_item(&m, &x);
		assert_int_equal(r.devices[1].late, cases[i].late);
		ft_arena_done(&a);
	}
}

/* Times near the end of what 64 bits hold are refused, not wrapped round. */
static void times_beyond_all_bounds(void **state)
{
	static const char *const texts[] = { "bus-words 1\n9223372036854773 C 0B*\n",
		                                 "bus-words 1\n9223372036854773 C 00 break 3600000000\n",
		                                 "bus-words 1\n4611686018427388 C 0B*\n" };
	struct ft_bus_options o = { .name = "words" };
	struct bus_capture_info info;
	struct ft_error e;
	struct got g;

	(void)state;
	for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
		assert_int_equal(read_all(&o, ft_slice_of(texts[i]), 99, &g, &info, &e), FT_E_INPUT);
		assert_int_equal(g.word_count, 0);
	}
	assert_int_equal(read_all(&o, FT_SLICE("bus-words 1\n4611686018427386 C 00 break 3600000000\n"), 99, &g, &info, &e),
	                 FT_OK);
	assert_true(g.word_count == 1 && g.words[0].end_ns > g.words[0].start_ns);
}

/* Samples whose unit nobody names and whose levels are volts: both are learnt from what the line does. */
static void tables_learn(void **state)
{
	/* a word of 11 bits begins at 104 ms, long after the first rows were sent on */
	static const int changes[] = { 104000, 104416, 104520, 105042, 210000, 210104 };
	static const char want[] = "0:1 104000000:0 104416000:1 104520000:0 105042000:1 210000000:0 210104000:1";
	static const char spiked[] = "0:1 104000000:0 104100000:1 104102000:0 104416000:1 104520000:0 105042000:1 "
								 "210000000:0 210104000:1";
	static const struct {
		double unit, high, low;
		int decimals;
		bool spike;
	} cases[] = {
		{ 1, 1, 0, 0, false },      { 1e-3, 5, 0.2, 3, false }, { 1e3, 4.2, 0.9, 0, false },
		{ 1e-6, 3.3, 0, 7, false }, { 1, 4.0, 1.0, 0, true },   { 1e-6, 12, 0.5, 7, true },
	};
	enum { STEP_US = 2, END_US = 230000, ROOM = 1 << 22 };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_bus_options o = { .name = "table" };
		struct bus_capture_info info;
		struct ft_error e;
		struct got g;
		char *text = malloc(ROOM), edges_got[300];
		size_t n = 0;
		bool high = true;
		for (int us = 0, next = 0; us < END_US && n + 60 < ROOM; us += STEP_US) {
			double noise = (us / STEP_US * 7919 % 101 - 50) / 500.0; /* up to 0.1 V, the same each time */
			double v;
			for (; next < 6 && us >= changes[next]; next++)
				high = !high;
			v = high ? cases[i].high : cases[i].low;
			if (cases[i].high > 1)
				v += noise + (cases[i].spike && us == 104100 ? 30 : 0);
			n += (size_t)snprintf(text + n, ROOM - n, "%.*f,%.2f\n", cases[i].decimals, us * cases[i].unit, v);
		}
		if (read_all(&o, (struct ft_slice){ text, n }, 1 << 16, &g, &info, &e) != FT_OK)
			fail_msg("table %d: %s", (int)i, e.text);
		write_edges(&g, edges_got, sizeof edges_got);
		/* the spike is a change of its own */
		if (strcmp(edges_got, cases[i].spike ? spiked : want) != 0)
			fail_msg("table %d: %s", (int)i, edges_got);
		free(text);
	}
}

static void words_text(void **state)
{
	static const char good[] = "# a capture\nbus-words 1\n\n12034.5 C 0B* # no remark here\n";
	static const char whole[] =
		"bus-words 1\ntiming unknown\n0 C 00 break 120000\n200000.125 C 0B*\n200000.125 P FF framing glitches 2\n"
		"300000 C 0b span 937503/9\r\n";
	static const char *const wrong[] = { "bus-words 2\n",
		                                 "bus-words 1\n1 C 0B* framing off\n",
		                                 "bus-words 1\n1 X 0B\n",
		                                 "bus-words 1\n1 C 0B**\n",
		                                 "bus-words 1\n1 C B\n",
		                                 "bus-words 1\n1.2345 C 0B\n",
		                                 "bus-words 1\n-1 C 0B\n",
		                                 "bus-words 1\n2 C 0B\n1 C 0B\n",
		                                 "bus-words 1\n1 C 0B break 0\n",
		                                 "bus-words 1\n1 C 0B span 1/0\n" };
	struct ft_bus_options o = { .name = "words" };
	struct bus_capture_info info;
	struct ft_error e;
	struct got g;

	(void)state;
	assert_int_equal(read_all(&o, FT_SLICE("bus-words 1\n"), 5, &g, &info, &e), FT_OK);
	assert_int_equal(read_all(&o, ft_slice_of(good), 5, &g, &info, &e), FT_E_INPUT);
	assert_int_equal(read_all(&o, ft_slice_of(whole), 7, &g, &info, &e), FT_OK);
	assert_int_equal(g.word_count, 4);
	assert_true(info.timing_unknown);
	assert_int_equal(g.words[0].kind, FT_BUS_BREAK);
	assert_true(g.words[0].end_ns == 120000000);
	assert_true(g.words[1].start_ns == 200000125 && g.words[1].mode && g.words[1].byte == 0x0B);
	assert_true(g.words[2].kind == FT_BUS_FRAMING && g.words[2].glitches == 2 && g.words[2].line == FT_BUS_PERIPHERAL);
	assert_true(g.words[3].span_bits == 9 && g.words[3].span_ns == 937503);
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
		size_t line = 0;
		for (const char *p = wrong[i]; *p; p++)
			line += *p == '\n';
		char where[20];
		snprintf(where, sizeof where, "line %zu:", line);
		if (read_all(&o, ft_slice_of(wrong[i]), 3, &g, &info, &e) != FT_E_INPUT || !strstr(e.text, where))
			fail_msg("words %zu: %s", i, e.text);
	}
}

static void no_captures(void **state)
{
	static const char *const wrong[] = { "", "hello", "\177ELF\1\2\3", "DXS*ABC*VA*V1/1\r\nST*001*0001\r\n" };
	struct ft_bus_options o = { .name = "thing" };
	struct bus_capture_info info;
	struct ft_error e;
	struct got g;

	(void)state;
	for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
		assert_int_equal(read_all(&o, ft_slice_of(wrong[i]), 4, &g, &info, &e), FT_E_INPUT);
}

/* ---- lines ---- */

/* The worked machine drawn on channels among others: MTX and MRX where and which way up they are asked for. */
struct wiring {
	int channel[FT_BUS_LINES]; /* -1: not tapped */
	bool inverted[FT_BUS_LINES];
	int clock; /* a channel that toggles every 5 us; -1 none */
	int slow;  /* one that toggles every 70 ms; -1 none */
	bool mrx_stuck;
	const char *names[8];
	const char *controller, *peripheral;
	int expect[FT_BUS_LINES];
	bool swapped;
};

struct player {
	struct ft_bus_edge *edges;
	size_t count;
	uint32_t levels;
};

static void put(struct player *p, int64_t at, uint32_t levels)
{
	if (p->count && p->edges[p->count - 1].at_ns == at)
		p->edges[p->count - 1].levels = levels;
	else if (!p->count || p->edges[p->count - 1].levels != levels)
		p->edges[p->count++] = (struct ft_bus_edge){ at, levels };
	p->levels = levels;
}

enum { EDGES_MOST = 400000 };

struct change {
	int64_t at_ns;
	uint32_t mask;
	int set; /* 1, 0; -1 toggles */
};

static int by_time(const void *a, const void *b)
{
	const struct change *x = a, *y = b;

	return x->at_ns < y->at_ns ? -1 : x->at_ns > y->at_ns;
}

static size_t draw(const struct wiring *w, struct ft_arena *a, struct ft_bus_edge **ret)
{
	struct play_row *rows;
	size_t n = play_rows(folder, a, &rows), count = 0;
	struct change *changes = FT_NEW_ARRAY(a, EDGES_MOST, struct change);
	struct player p = { .edges = FT_NEW_ARRAY(a, EDGES_MOST, struct ft_bus_edge) };
	int64_t at = 2 * BUS_NS_PER_MS;

	for (size_t i = 0; i < n; i++) {
		struct ft_bus_word words_of_row[128];
		size_t m = play_words(&rows[i], &at, words_of_row);
		for (size_t k = 0; k < m; k++) {
			const struct ft_bus_word *x = &words_of_row[k];
			unsigned bits = 1U | (unsigned)(uint8_t)~x->byte << 1 | (unsigned)!x->mode << 9;
			if (w->channel[x->line] < 0 || (w->mrx_stuck && x->line == FT_BUS_PERIPHERAL))
				continue;
			for (int b = 0; b <= BUS_WORD_BITS; b++)
				if ((bits >> b & 1) != (b ? bits >> (b - 1) & 1 : 0))
					changes[count++] =
						(struct change){ x->start_ns + b * BUS_BIT_NS, UINT32_C(1) << w->channel[x->line],
						                 (int)((bits >> b & 1) == w->inverted[x->line]) };
		}
	}
	for (int64_t t = 0; w->clock >= 0 && t < at && count < EDGES_MOST - 1000; t += 5000)
		changes[count++] = (struct change){ t, UINT32_C(1) << w->clock, -1 };
	for (int64_t t = 0; w->slow >= 0 && t < at; t += 70 * BUS_NS_PER_MS)
		changes[count++] = (struct change){ t, UINT32_C(1) << w->slow, -1 };
	qsort(changes, count, sizeof *changes, by_time);
	for (int line = 0; line < FT_BUS_LINES; line++)
		if (w->channel[line] >= 0 && !w->inverted[line] && !(w->mrx_stuck && line == FT_BUS_PERIPHERAL))
			p.levels |= UINT32_C(1) << w->channel[line];
	put(&p, 0, p.levels);
	for (size_t i = 0; i < count; i++)
		put(&p, changes[i].at_ns,
		    changes[i].set < 0   ? p.levels ^ changes[i].mask
		        : changes[i].set ? p.levels | changes[i].mask
		                         : p.levels & ~changes[i].mask);
	*ret = p.edges;
	return p.count;
}

static void no_edge(void *to, enum ft_bus_line line, int64_t at_ns, bool active)
{
	size_t *counts = to;

	(void)at_ns;
	(void)active;
	counts[line]++;
}

static void lines_are_found(void **state)
{
	static const struct wiring cases[] = {
		{ { 0, 1 }, { false, false }, -1, -1, false, { "D0", "D1" }, NULL, NULL, { 0, 1 }, false },
		{ { 1, 0 }, { true, false }, -1, -1, false, { "D0", "D1" }, NULL, NULL, { 1, 0 }, false },
		{ { 5, 2 }, { true, true }, -1, 3, false, { "D0", "D1", "D2", "D3", "D4", "D5" }, NULL, NULL, { 5, 2 }, false },
		{ { 3, 1 }, { false, true }, 0, 2, false, { "clk", "D1", "D2", "D3" }, NULL, NULL, { 3, 1 }, false },
		{ { 2, -1 },
		  { false, false },
		  -1,
		  -1,
		  false,
		  { "D0", "D1", "D2" },
		  NULL,
		  NULL,
		  { 2, -1 },
		  false },                                                                                   /* one line only */
		{ { 0, 1 }, { false, false }, -1, -1, true, { "MTX", "MRX" }, NULL, NULL, { 0, 1 }, false }, /* stuck low */
		{ { 0, 1 }, { false, false }, -1, -1, false, { "MTX", "MRX" }, "mtx", "1", { 0, 1 }, false },
		{ { 0, 1 },
		  { false, false },
		  -1,
		  -1,
		  false,
		  { "D0", "D1" },
		  "D1",
		  "D0",
		  { 1, 0 },
		  true }, /* the wrong way round */
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		const struct wiring *w = &cases[i];
		struct ft_arena a = { 0 };
		struct ft_bus_options o = {
			.name = "lines", .inverted = { -1, -1 }, .controller = w->controller, .peripheral = w->peripheral
		};
		struct bus_capture_info info = { 0 };
		struct ft_error e = { 0 };
		struct bus_lines *l = NULL;
		struct ft_bus_edge *list;
		size_t n = draw(w, &a, &list), counts[2] = { 0 };
		for (; info.channel_count < 8 && w->names[info.channel_count]; info.channel_count++)
			snprintf(info.channels[info.channel_count].name, sizeof info.channels[0].name, "%s",
			         w->names[info.channel_count]);
		assert_int_equal(bus_lines_new(&o, (struct bus_line_sink){ counts, no_edge }, &a, &l, &e), FT_OK);
		for (size_t at = 0; at < n; at += 1000)
			assert_int_equal(bus_lines_feed(l, &info, list + at, n - at < 1000 ? n - at : 1000, &e), FT_OK);
		assert_int_equal(bus_lines_end(l, &info, &e), FT_OK);
		for (int line = 0; line < FT_BUS_LINES; line++) {
			struct bus_choice c = bus_lines_choice(l, (enum ft_bus_line)line);
			if (c.channel != w->expect[line] ||
			    (!w->swapped && c.channel >= 0 && !w->mrx_stuck && c.inverted != w->inverted[line]))
				fail_msg("wiring %zu: line %d on channel %d, inverted %d", i, line, c.channel, c.inverted);
		}
		assert_int_equal(bus_lines_swapped(l), w->swapped);
		ft_arena_done(&a);
	}
}

static void a_channel_that_is_not_there(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_bus_options o = { .name = "dump", .inverted = { -1, -1 }, .controller = "D7" };
	const struct ft_bus_report *r;
	struct ft_bus *b = NULL;
	static const char text[] = HEAD("1 us") LINES "#0 1! 1\" #1000 0! #1104 1!";

	(void)state;
	assert_int_equal(ft_bus_new(&o, NULL, &f, &a, &b, &e), FT_OK);
	assert_int_equal(ft_bus_feed(b, text, sizeof text - 1, &e), FT_OK);
	assert_int_equal(ft_bus_end(b, &r, &e), FT_E_USAGE);
	assert_string_equal(e.text, "dump has no channel D7; it has a, b.");
	ft_bus_done(b);
	ft_arena_done(&a);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(value_change_dumps),
		cmocka_unit_test(scales_too_coarse),
		cmocka_unit_test(the_step_of_a_table),
		cmocka_unit_test(times_beyond_all_bounds),
		cmocka_unit_test(late_by_more_than_a_step),
		cmocka_unit_test(the_line_of_a_fault),
		cmocka_unit_test(raw_samples),
		cmocka_unit_test(tables),
		cmocka_unit_test(tables_learn),
		cmocka_unit_test(words_text),
		cmocka_unit_test(no_captures),
		cmocka_unit_test(lines_are_found),
		cmocka_unit_test(a_channel_that_is_not_there),
	};

	folder = argc > 1 ? argv[1] : ".";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
