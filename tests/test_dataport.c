/* SPDX-License-Identifier: Apache-2.0 */
/* The recordings in tests/traces, each fed in all slicings: the engine must send byte for byte what
 * the trace says and tell the events of the .want file beside it. Sources stand in the traces; their
 * bytes are the vectors of the DEX/UCS and DDCMP links (docs/dataport.md). */
#include "unit.h"

#include <stdio.h>
#include <stdlib.h>

#include "fettle/dataport.h"

static const char *folder;

#define DEX_FILE   "DXS*QQC0000003*VA*V0/6*1\r\nDXE*1*1\r\n"
#define DDCMP_FILE "DXS*QQC0000003*VA*V0/6*1\r\nID1*QQC0000003*PRACTICE\r\nVA1*1200*8\r\nDXE*1*1\r\n\r\n"

static const struct {
	const char *name;
	enum ft_link_kind kind;
	enum ft_link_role role;
	unsigned block_text;
	int baud_max;
	bool echo;
	const char *file;
} recordings[] = {
	{ "dex-carrier", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-machine", FT_LINK_DEX, FT_LINK_MACHINE, 26, 0, false, DEX_FILE },
	{ "dex-trouble", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-refused", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-broken-off", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-parity", FT_LINK_DEX, FT_LINK_MACHINE, 26, 0, false, DEX_FILE },
	{ "dex-dle", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-yields", FT_LINK_DEX, FT_LINK_MACHINE, 26, 0, false, DEX_FILE },
	{ "dex-writes", FT_LINK_DEX, FT_LINK_MACHINE, 26, 0, false, DEX_FILE },
	{ "dex-end-lost", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, false, NULL },
	{ "dex-echo", FT_LINK_DEX, FT_LINK_CARRIER, 0, 0, true, NULL },
	{ "ddcmp-carrier", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-machine", FT_LINK_DDCMP, FT_LINK_MACHINE, 0, 2400, false, DDCMP_FILE },
	{ "ddcmp-too-early", FT_LINK_DDCMP, FT_LINK_MACHINE, 0, 2400, false, DDCMP_FILE },
	{ "ddcmp-refused", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-trouble", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-anew", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-end-by-dxe", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-end-by-finis", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, false, NULL },
	{ "ddcmp-echo", FT_LINK_DDCMP, FT_LINK_CARRIER, 0, 115200, true, NULL },
};

static struct ft_buf read_text(const char *name, const char *suffix)
{
	char path[512], bytes[4096];
	struct ft_buf text = { 0 };
	size_t n;

	snprintf(path, sizeof path, "%s/%s%s", folder, name, suffix);
	FILE *f = fopen(path, "rb");
	if (!f)
		fail_msg("cannot open %s", path);
	while ((n = fread(bytes, 1, sizeof bytes, f)) > 0)
		ft_buf_put(&text, bytes, n);
	fclose(f);
	return text;
}

static void replays(void **state)
{
	struct ft_link *k = malloc(ft_link_size());

	(void)state;
	assert_non_null(k);
	for (size_t i = 0; i < sizeof recordings / sizeof *recordings; i++) {
		struct ft_buf trace = read_text(recordings[i].name, ".trace");
		struct ft_buf want = { 0 };
		struct ft_link_settings s = ft_link_defaults(recordings[i].kind, recordings[i].role);
		bool update = getenv("FETTLE_TRACES_UPDATE") != NULL;

		if (!update)
			want = read_text(recordings[i].name, ".want");
		ft_buf_byte(&want, 0);
		if (recordings[i].block_text)
			s.block_text = recordings[i].block_text;
		s.baud_max = recordings[i].baud_max;
		s.echo = recordings[i].echo;
		s.clock = (struct ft_civil){ 2019, 3, 1, 20, 19, 17 }; /* the reading of section 9 */
		for (size_t step = 0; step <= 32; step++) {
			struct ft_error e = { 0 };
			struct ft_buf events = { 0 };
			struct ft_link_replay how = { .kind = recordings[i].kind,
				                          .role = recordings[i].role,
				                          .settings = &s,
				                          .file = ft_slice_of(recordings[i].file),
				                          .step = step,
				                          .events = &events };

			if (ft_link_replay(k, &how, ft_buf_text(&trace), &e) != FT_OK)
				fail_msg("%s in steps of %zu: %s", recordings[i].name, step, e.text);
			ft_buf_byte(&events, 0);
			if (update && step == 0) {
				char path[512];
				snprintf(path, sizeof path, "%s/%s.want", folder, recordings[i].name);
				FILE *f = fopen(path, "wb");
				assert_non_null(f);
				fwrite(events.p, 1, events.n - 1, f);
				fclose(f);
			} else if (!update) {
				assert_string_equal(events.p, want.p);
			}
			ft_buf_done(&events);
		}
		ft_buf_done(&trace);
		ft_buf_done(&want);
	}
	free(k);
}

/* A replay must notice: one byte of what was sent or received changed, or a line left out. */
static void replay_notices(void **state)
{
	struct ft_buf trace = read_text("dex-carrier", ".trace");
	struct ft_link *k = malloc(ft_link_size());
	struct ft_link_replay how = { .kind = FT_LINK_DEX, .role = FT_LINK_CARRIER };
	struct ft_slice text = ft_buf_text(&trace);
	size_t noticed = 0, digits = 0;

	(void)state;
	assert_non_null(k);
	for (size_t i = ft_slice_find(text, FT_SLICE("\n0 >")); i < text.n; i++) {
		char was = trace.p[i];
		struct ft_error e = { 0 };

		if (i < 4 || trace.p[i - 1] != ' ' || (was != '0' && was != '1'))
			continue;
		digits++;
		trace.p[i] = was == '0' ? '7' : '6';
		noticed += ft_link_replay(k, &how, text, &e) == FT_E_INPUT && e.text[0];
		trace.p[i] = was;
	}
	assert_true(digits > 20);
	assert_int_equal(noticed, digits - 1); /* the last EOT brings nothing that is sent: only the events miss it */
	ft_buf_done(&trace);
	free(k);
}

static void trace_text(void **state)
{
	static const struct {
		const char *text, *complaint;
	} bad[] = {
		{ "x > 05", "Line 1" }, { "5", "Line 1" },       { "5 ?", "signs" },     { "\n\n7 > 0", "Line 3" },
		{ "7 > 0G", "0G" },     { "-1 > 05", "Line 1" }, { "7 <05 005", "005" },
	};
	struct ft_buf out = { 0 };
	struct ft_trace_line line;
	struct ft_slice rest;
	unsigned number = 0;
	bool more;
	uint8_t bytes[70];

	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct ft_error e = { 0 };
		enum ft_status status;

		rest = ft_slice_of(bad[i].text);
		number = 0;
		do
			status = ft_trace_next(&rest, &number, &line, &more, &e);
		while (status == FT_OK && more);
		assert_int_equal(status, FT_E_INPUT);
		assert_non_null(strstr(e.text, bad[i].complaint));
	}
	for (size_t i = 0; i < sizeof bytes; i++)
		bytes[i] = (uint8_t)(i * 37);
	ft_trace_head(&out, "a name", "here", "dex carrier 9600");
	ft_trace_bytes(&out, 5, true, bytes, sizeof bytes);
	ft_trace_remark(&out, 9, FT_SLICE("two\nlines\\"));
	rest = ft_buf_text(&out);
	number = 0;
	size_t at = 0;
	struct ft_error e = { 0 };
	while (ft_trace_next(&rest, &number, &line, &more, &e) == FT_OK && more) {
		if (line.kind == FT_TRACE_SENT) {
			assert_memory_equal(line.bytes, bytes + at, line.n);
			at += line.n;
		} else if (line.kind == FT_TRACE_REMARK) {
			assert_true(ft_slice_is(line.text, "two\\x0Alines\\x5C"));
		}
	}
	assert_int_equal(at, sizeof bytes);
	assert_int_equal(number, 8); /* the empty rest behind the last line end counts */
	ft_buf_done(&out);
}

/* Sends what is due and lets time pass until `until_us`; gives the first byte sent last. */
static int pass(struct ft_link *k, int64_t *now_us, int64_t until_us)
{
	int last = -1;

	while (ft_link_due(k) <= until_us) {
		struct ft_link_event ev;
		size_t n;

		*now_us = ft_link_due(k) > *now_us ? ft_link_due(k) : *now_us + 1;
		ft_link_tick(k, *now_us);
		while (ft_link_next(k, &ev))
			;
		const uint8_t *out = ft_link_out(k, &n, *now_us);
		if (out) {
			last = out[0];
			ft_link_sent(k, n, *now_us);
			while (ft_link_next(k, &ev))
				;
		}
	}
	*now_us = until_us;
	return last;
}

/* Noise that looks like ACK0 does not decide which link is spoken. */
static void noise_is_no_answer(void **state)
{
	struct ft_link *k = malloc(ft_link_size());
	struct ft_link_settings s = ft_link_defaults(FT_LINK_AUTO, FT_LINK_CARRIER);
	int64_t now_us = 0;
	int first = -1;
	bool start = false;

	(void)state;
	assert_non_null(k);
	ft_link_init(k, FT_LINK_AUTO, FT_LINK_CARRIER, &s, 0);
	first = pass(k, &now_us, 1000);
	assert_int_equal(first, 0x05);
	assert_int_equal(ft_link_feed(k, (const uint8_t *)"\x10\x30", 2, now_us), 2);
	while (now_us < 30 * FT_SECOND && !start)
		start = pass(k, &now_us, now_us + FT_SECOND / 2) == 0x05 && ft_link_stats(k)->baud == 2400;
	assert_true(start); /* STARTs have begun, at their rate */
	assert_int_equal(ft_link_kind_of(k), FT_LINK_AUTO);
	free(k);
}

/* A machine whose carrier goes away: 30 s of silence, then back to the starting rate (docs/dataport.md). */
static void carrier_goes_away(void **state)
{
	static const uint8_t start[] = { 0x05, 0x06, 0x40, 0x00, 0x08, 0x01, 0x5B, 0x95 };
	struct ft_link *k = malloc(ft_link_size());
	struct ft_link_settings s = ft_link_defaults(FT_LINK_DDCMP, FT_LINK_MACHINE);
	/* who are you, as seen on a wire (section 9) */
	static const uint8_t who[] = { 0x81, 0x10, 0x00, 0x00, 0x01, 0x01, 0x1F, 0x82, 0x77, 0xE0, 0x00, 0x00, 0x00,
		                           0x00, 0x00, 0x01, 0x03, 0x19, 0x20, 0x19, 0x17, 0x00, 0x00, 0x0C, 0x5D, 0xC9 };
	static const uint8_t ack[] = { 0x05, 0x01, 0x40, 0x01, 0x00, 0x01, 0xB8, 0x55 };
	int64_t now_us = 0;

	(void)state;
	assert_non_null(k);
	ft_link_init(k, FT_LINK_DDCMP, FT_LINK_MACHINE, &s, 0);
	assert_true(ft_link_due(k) == FT_NEVER);
	ft_link_feed(k, start, sizeof start, now_us);
	pass(k, &now_us, 100000);
	assert_int_equal(ft_link_stats(k)->baud, 9600);
	assert_int_equal(ft_link_feed(k, who, sizeof who, now_us), sizeof who);
	pass(k, &now_us, 200000);
	ft_link_feed(k, ack, sizeof ack, now_us);
	pass(k, &now_us, 30 * FT_SECOND);
	assert_false(ft_link_ended(k));
	pass(k, &now_us, 31 * FT_SECOND);
	assert_true(ft_link_ended(k));
	assert_int_equal(ft_link_stats(k)->baud, 2400);
	free(k);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(replays),           cmocka_unit_test(replay_notices),
		cmocka_unit_test(trace_text),        cmocka_unit_test(noise_is_no_answer),
		cmocka_unit_test(carrier_goes_away),
	};

	folder = argc > 1 ? argv[1] : "tests/traces";
	return cmocka_run_group_tests(tests, NULL, NULL);
}
