/* SPDX-License-Identifier: Apache-2.0 */
#include "unit.h"

#include "fettle/buf.h"
#include "fettle/crc.h"
#include "fettle/csv.h"
#include "fettle/finding.h"
#include "fettle/hash.h"
#include "fettle/money.h"
#include "fettle/time.h"

/* CRC catalogue value of CRC-16/ARC; the handshake vector of the DEX/UCS link (public
 * implementations agree); DDCMP headers seen on a wire. */
static void crc_vectors(void **state)
{
	static const struct {
		const char *bytes;
		size_t n;
		uint16_t crc;
	} cases[] = {
		{ "123456789", 9, 0xBB3D },
		{ "6150210000RR01L01\x03", 18, 0x6D1A },
		{ "\x05\x06\x40\x00\x08\x01", 6, 0x955B },
		{ "\x81\x10\x00\x00\x01\x01", 6, 0x821F },
		{ "", 0, 0 },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		assert_int_equal(ft_crc16(0, cases[i].bytes, cases[i].n), cases[i].crc);
}

/* The fast form is the same function at every length and start, cut anywhere. */
static void crc_forms_agree(void **state)
{
	ft_crc16_fn *fast = ft_crc16_fastest();
	uint8_t bytes[700];
	uint32_t r = 1;

	(void)state;
	for (size_t i = 0; i < sizeof bytes; i++)
		bytes[i] = (uint8_t)((r = r * 1103515245U + 12345U) >> 16);
	for (size_t n = 0; n <= sizeof bytes; n++) {
		uint16_t plain = 0x1234;
		for (size_t i = 0; i < n; i++) {
			plain ^= bytes[i];
			for (int bit = 0; bit < 8; bit++)
				plain = (uint16_t)(plain >> 1 ^ (plain & 1 ? 0xA001 : 0));
		}
		assert_int_equal(ft_crc16(0x1234, bytes, n), plain);
		assert_int_equal(fast(0x1234, bytes, n), plain);
		assert_int_equal(fast(fast(0x1234, bytes, n / 3), bytes + n / 3, n - n / 3), plain);
	}
}

/* BLAKE2b-256 of the empty string and of "abc", as published with the reference implementation. */
static void hash_vectors(void **state)
{
	char text[FT_HASH_TEXT];
	struct ft_hash h = ft_hash_of("", 0);

	(void)state;
	assert_string_equal(ft_hash_text(&h, text), "0e5751c026e543b2e8ab2eb06099daa1d1e5df47778f7787faab45cdf12fe3a8");
	h = ft_hash_of("abc", 3);
	assert_string_equal(ft_hash_text(&h, text), "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319");
}

/* ISO 4217: yen has no decimals, Kuwaiti dinar three, Australian dollar has number 036. */
static void currencies(void **state)
{
	(void)state;
	assert_int_equal(ft_currency_by_alpha(FT_SLICE("JPY"))->digits, 0);
	assert_int_equal(ft_currency_by_alpha(FT_SLICE("kwd"))->digits, 3);
	assert_string_equal(ft_currency_by_number(36)->alpha, "AUD");
	assert_null(ft_currency_by_number(1978));
}

static void money(void **state)
{
	static const struct {
		const char *text;
		int decimals;
		bool ok;
		int64_t minor;
	} cases[] = {
		{ "12.50", 2, true, 1250 },
		{ "12,5", 2, true, 1250 },
		{ "12", 2, true, 1200 },
		{ "-0.05", 2, true, -5 },
		{ "1.234", 2, false, 0 },
		{ "", 2, false, 0 },
		{ "12.", 2, false, 0 },
		{ "1 2", 2, false, 0 },
		{ "150", 0, true, 150 },
		{ "1.5", 0, false, 0 },
		{ "99999999999999999999", 2, false, 0 },
		{ ".5", 2, false, 0 },
	};
	char text[FT_MONEY_TEXT];

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		int64_t minor = 0;
		assert_int_equal(ft_money_parse(ft_slice_of(cases[i].text), cases[i].decimals, &minor), cases[i].ok);
		if (cases[i].ok)
			assert_true(minor == cases[i].minor);
	}
	assert_string_equal(ft_money_text(-5, 2, text), "-0.05");
	assert_string_equal(ft_money_text(1250, 2, text), "12.50");
	assert_string_equal(ft_money_text(150, 0, text), "150");
	assert_string_equal(ft_money_text(INT64_MIN, 2, text), "-92233720368547758.08");
}

static void times(void **state)
{
	char text[FT_TIME_TEXT];
	int64_t t;

	(void)state;
	assert_true(ft_days_of(1970, 1, 1) == 0);
	assert_true(ft_days_of(2000, 3, 1) == 11017);
	for (int64_t day = -800000; day < 800000; day += 37) {
		struct ft_civil c = ft_civil_of(day * 86400 * FT_SECOND, 0);
		assert_true(ft_date_valid(c.year, c.month, c.day));
		assert_true(ft_days_of(c.year, c.month, c.day) == day);
	}
	assert_true(ft_time_parse(FT_SLICE("2026-03-09T14:05:11+01:00"), 0, &t));
	assert_true(t == INT64_C(1773061511) * FT_SECOND);
	assert_string_equal(ft_time_text(t, 60, text), "2026-03-09T14:05:11+01:00");
	assert_string_equal(ft_time_text(t, -330, text), "2026-03-09T07:35:11-05:30");
	assert_true(ft_time_parse(FT_SLICE("2026-03-09 13:05:11.5Z"), 0, &t));
	assert_true(t == INT64_C(1773061511) * FT_SECOND + 500000);
	assert_false(ft_time_parse(FT_SLICE("2026-02-30T00:00"), 0, &t));
	assert_false(ft_time_parse(FT_SLICE("2026-02-03T24:00"), 0, &t));
	assert_false(ft_time_parse(FT_SLICE("2026-02-03Tx"), 0, &t));
}

static void slices(void **state)
{
	struct ft_slice rest = FT_SLICE("a**b"), part;
	int64_t v = 7;
	uint32_t hex;

	(void)state;
	assert_true(ft_slice_split(&rest, '*', &part) && ft_slice_is(part, "a"));
	assert_true(ft_slice_split(&rest, '*', &part) && part.n == 0);
	assert_true(ft_slice_split(&rest, '*', &part) && ft_slice_is(part, "b"));
	assert_false(ft_slice_split(&rest, '*', &part));
	assert_true(ft_slice_i64(FT_SLICE("-12"), &v) && v == -12);
	assert_true(ft_slice_i64(FT_SLICE("9223372036854775807"), &v) && v == INT64_MAX);
	assert_false(ft_slice_i64(FT_SLICE("9223372036854775808"), &v));
	assert_false(ft_slice_i64(FT_SLICE("1a"), &v));
	assert_false(ft_slice_i64(FT_SLICE("-"), &v));
	assert_true(ft_slice_hex(FT_SLICE("b8Af"), &hex) && hex == 0xB8AF);
	assert_false(ft_slice_hex(FT_SLICE("123456789"), &hex));
	assert_int_equal(ft_slice_find(FT_SLICE("xxDXDXS*"), FT_SLICE("DXS*")), 4);
	assert_int_equal(ft_slice_find(FT_SLICE("DX"), FT_SLICE("DXS*")), 2);
}

static void csv(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	struct ft_csv c;
	struct ft_slice text =
		FT_SLICE("\xef\xbb\xbf# remark\r\n\r\nTime;Price ;note\r\n1;\"2,50\";\"say \"\"so\"\"\n twice\"\r\n3;4");

	(void)state;
	assert_int_equal(ft_csv_read(text, "the list", &a, &c, &e), FT_OK);
	assert_int_equal(c.separator, ';');
	assert_int_equal(c.count, 2);
	assert_true(ft_slice_is(ft_csv_field(&c.rows[0], ft_csv_column(&c, "price")), "2,50"));
	assert_true(ft_slice_is(ft_csv_field(&c.rows[0], 2), "say \"so\"\n twice"));
	assert_int_equal(c.rows[1].line, 6);
	assert_true(ft_csv_field(&c.rows[1], 2).n == 0);
	assert_int_equal(ft_csv_column(&c, "absent"), -1);
	assert_int_equal(ft_csv_read(FT_SLICE("a,b\n1,\"2"), "the list", &a, &c, &e), FT_E_INPUT);
	assert_non_null(strstr(e.text, "line 2"));
	e = (struct ft_error){ 0 };
	assert_int_equal(ft_csv_read(FT_SLICE("\n\n"), "the list", &a, &c, &e), FT_E_INPUT);
	ft_arena_done(&a);
}

static void json(void **state)
{
	struct ft_buf b = { 0 };
	struct ft_json j = { .out = &b };

	(void)state;
	ft_json_object(&j, NULL);
	ft_json_slice(&j, "a", FT_SLICE("q\"\\\n\x01\xff\xc3\xa9"));
	ft_json_array(&j, "b");
	ft_json_i64(&j, NULL, -3);
	ft_json_count(&j, NULL, FT_ABSENT);
	ft_json_real(&j, NULL, 1.25, 1);
	ft_json_array_end(&j);
	ft_json_bool(&j, "c", true);
	ft_json_object_end(&j);
	ft_buf_byte(&b, 0);
	assert_string_equal(b.p, "{\"a\":\"q\\\"\\\\\\n\\u0001\xef\xbf\xbd\xc3\xa9\",\"b\":[-3,null,1.2],\"c\":true}");
	ft_buf_done(&b);
}

static void buffer_ceiling(void **state)
{
	struct ft_buf b = { .ceiling = 4 };

	(void)state;
	ft_buf_puts(&b, "abc");
	ft_buf_puts(&b, "de");
	ft_buf_puts(&b, "f");
	assert_int_equal(b.n, 3);
	assert_int_equal(b.status, FT_E_INPUT);
	ft_buf_done(&b);
}

static void verdicts(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };

	(void)state;
	assert_int_equal(ft_verdict_of(&f, false), FT_SHOWN);
	ft_find(&f, FT_RULE_AUDIT_NO_CLOCK, (struct ft_where){ 0 }, NULL, NULL);
	assert_int_equal(ft_verdict_of(&f, false), FT_SHOWN);
	ft_find(&f, FT_RULE_AUDIT_SEGMENT_COUNT, (struct ft_where){ 0 }, "4", "5");
	assert_int_equal(ft_verdict_of(&f, false), FT_OPEN);
	assert_int_equal(ft_verdict_of(&f, true), FT_SHOWN);
	ft_finding_weigh(&f, &f.list[1], FT_FAULT);
	assert_int_equal(ft_verdict_of(&f, true), FT_CONTRADICTED);
	ft_arena_done(&a);
}

/* One cause in ten places counts once. */
static void what_follows_weighs_a_note(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_buf text = { 0 };
	struct ft_json j = { .out = &text };

	(void)state;
	ft_find(&f, FT_RULE_BUS_BAUD, (struct ft_where){ 0 }, NULL, NULL);
	assert_int_equal(f.list[0].follows, FT_RULE_NONE);
	ft_finding_follow(&f, ft_find(&f, FT_RULE_BUS_CHECKSUM, (struct ft_where){ 0 }, NULL, NULL), FT_RULE_BUS_BAUD);
	assert_int_equal(f.faults, 1);
	assert_int_equal(f.list[1].weight, FT_NOTE);
	ft_json_object(&j, NULL);
	ft_findings_json(&j, &f);
	ft_json_object_end(&j);
	ft_buf_byte(&text, 0);
	assert_non_null(strstr(text.p, "\"follows\":null"));
	assert_non_null(strstr(text.p, "\"follows\":\"bus.baud\""));
	ft_buf_clear(&text);
	ft_finding_text(&text, &f.list[1], 80);
	ft_buf_byte(&text, 0);
	assert_non_null(strstr(text.p, "It follows from: "));
	ft_buf_done(&text);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(crc_vectors),  cmocka_unit_test(crc_forms_agree),
		cmocka_unit_test(hash_vectors), cmocka_unit_test(currencies),
		cmocka_unit_test(money),        cmocka_unit_test(times),
		cmocka_unit_test(slices),       cmocka_unit_test(csv),
		cmocka_unit_test(json),         cmocka_unit_test(buffer_ceiling),
		cmocka_unit_test(verdicts),     cmocka_unit_test(what_follows_weighs_a_note),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
