/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers with check digits against published examples. Sources of the rows:
 *   IMEI: 3GPP TS 23.003 Annex B example 26053179311383 -> 7 as public test suites attribute it; the others
 *     from several public implementations that agree.
 *   Luhn: ISO/IEC 7812-1 Annex B; 7992739871 -> 3 is the usual worked example.
 *   GTIN: 629104150021 (GS1 Hong Kong), 890400021003 (GS1 India), 730001100001 (GS1 Sweden); others computed.
 *   ICCID: a 20-digit sample published on one page; others computed.
 *   EUI: RFC 4291 Appendix A; the worked interface ids were computed by its rule. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "fettle/ident.h"

static void check_digits_of_published_numbers(void **state)
{
	static const struct {
		const char *body;
		int luhn, gs1;
	} rows[] = {
		{ "7992739871", 3, -1 },
		{ "411111111111111", 1, -1 },
		{ "26053179311383", 7, -1 },
		{ "49015420323751", 8, -1 },
		{ "89001004028070", 5, -1 },
		{ "35253609000039", 6, -1 },
		{ "29015420323751", 0, -1 },
		{ "35209908123456", 5, -1 },
		{ "894912345678901234", 7, -1 },
		{ "890100000000000000", 1, -1 },
		{ "893860538854599696", 0, -1 },
		{ "8945042118021625486", 4, -1 },
		{ "629104150021", -1, 3 },
		{ "890400021003", -1, 7 },
		{ "730001100001", -1, 7 },
		{ "03600029145", -1, 2 },
		{ "9638507", -1, 4 },
		{ "400638133393", -1, 1 },
		{ "37610425002123456", -1, 9 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		if (rows[i].luhn >= 0)
			assert_int_equal(ft_ident_luhn(ft_slice_of(rows[i].body)), rows[i].luhn);
		if (rows[i].gs1 >= 0)
			assert_int_equal(ft_ident_gs1(ft_slice_of(rows[i].body)), rows[i].gs1);
	}
	assert_int_equal(ft_ident_luhn(FT_SLICE("12x")), -1);
	assert_int_equal(ft_ident_gs1(FT_SLICE("12 ")), -1);
}

/* rule: the only finding, -1 for none. */
static const struct row {
	enum ft_ident_kind kind;
	const char *value;
	bool valid;
	const char *form;
	int rule;
} rows[] = {
	{ FT_IDENT_IMEI, "260531793113837", true, "IMEI", -1 },
	{ FT_IDENT_IMEI, "26-053179-311383-7", true, "IMEI", -1 },
	{ FT_IDENT_IMEI, "290154203237510", true, "IMEI", -1 }, /* the check digit may be 0 */
	{ FT_IDENT_IMEI, "490154203237519", false, "IMEI", FT_RULE_NUMBER_CHECK_DIGIT },
	{ FT_IDENT_IMEI, "490154203237510", false, "IMEI", FT_RULE_NUMBER_CHECK_DIGIT_ZERO },
	{ FT_IDENT_IMEI, "49015420323751", false, "IMEI", FT_RULE_NUMBER_CHECK_DIGIT_MISSING },
	{ FT_IDENT_IMEI, "4901542032375123", true, "IMEISV", FT_RULE_NUMBER_NO_CHECK_DIGIT },
	{ FT_IDENT_IMEI, "4901542032375", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_IMEI, "", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_IMEI, "000000000000000", false, "IMEI", FT_RULE_NUMBER_ZEROS },
	{ FT_IDENT_GTIN, "0000000000000", false, "GTIN-13", FT_RULE_NUMBER_ZEROS },
	{ FT_IDENT_EUI, "00:00:00:00:00:00", false, "EUI-48", FT_RULE_NUMBER_ZEROS },
	{ FT_IDENT_IMEI, "49015420323751O", false, NULL, FT_RULE_NUMBER_CHARACTERS }, /* the letter O */
	{ FT_IDENT_IMEI, "4901542032375184901542032375184901542032375184", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_ICCID, "8949123456789012347", true, "ICCID", -1 },
	{ FT_IDENT_ICCID, "89 4912 3456 7890 1234 7F", true, "ICCID", -1 },
	{ FT_IDENT_ICCID, "89450421180216254864", true, "ICCID", -1 },
	{ FT_IDENT_ICCID, "8938605388545996967", false, "ICCID", FT_RULE_NUMBER_CHECK_DIGIT_CARD },
	{ FT_IDENT_ICCID, "989421436587092143F7", false, NULL, FT_RULE_NUMBER_SWAPPED },
	{ FT_IDENT_ICCID, "7949123456789012347", false, NULL, FT_RULE_NUMBER_HEAD },
	{ FT_IDENT_ICCID, "894912345678", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_ICCID, "894912A456789012347", false, NULL, FT_RULE_NUMBER_CHARACTERS },
	{ FT_IDENT_GTIN, "6291041500213", true, "GTIN-13", -1 },
	{ FT_IDENT_GTIN, "036000291452", true, "GTIN-12", -1 },
	{ FT_IDENT_GTIN, "96385074", true, "GTIN-8", -1 },
	{ FT_IDENT_GTIN, "376104250021234569", true, "SSCC", -1 },
	{ FT_IDENT_GTIN, "6291041500214", false, "GTIN-13", FT_RULE_NUMBER_CHECK_DIGIT },
	{ FT_IDENT_GTIN, "62910415002", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_EUI, "00-88-88-88-88-88", true, "EUI-48", -1 },
	{ FT_IDENT_EUI, "34:56:78:9a:bc:de", true, "EUI-48", -1 },
	{ FT_IDENT_EUI, "AC-DE-48-00-00-00-00-01", true, "EUI-64", -1 },
	{ FT_IDENT_EUI, "02-00-5E-10-00-01", true, "EUI-48", FT_RULE_NUMBER_LOCAL },
	{ FT_IDENT_EUI, "01-00-5E-00-00-FB", false, "EUI-48", FT_RULE_NUMBER_GROUP },
	{ FT_IDENT_EUI, "01-00-5E-00-00", false, NULL, FT_RULE_NUMBER_LENGTH },
	{ FT_IDENT_EUI, "01-00-5E-00-00-GB", false, NULL, FT_RULE_NUMBER_CHARACTERS },
};

static void each_form_and_each_soft_case(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct row *r = &rows[i];
		struct ft_findings f = { .arena = &a };
		struct ft_ident got;
		ft_ident(r->kind, ft_slice_of(r->value), (struct ft_where){ 0 }, &f, &got);
		if (r->rule == FT_RULE_NUMBER_SWAPPED) { /* it is read on with the pairs put right */
			assert_true(f.count >= 1);
		} else if (f.count != (r->rule >= 0) || got.valid != r->valid) {
			fail_msg("%s: %zu findings, valid %d", r->value, f.count, got.valid);
		}
		if (r->rule >= 0)
			assert_int_equal(f.list[0].rule, r->rule);
		if (r->rule != FT_RULE_NUMBER_SWAPPED) {
			assert_int_equal(!got.form, !r->form);
			if (r->form)
				assert_string_equal(got.form, r->form);
		}
	}
	ft_arena_done(&a);
}

static const char *part_of(const struct ft_ident *r, const char *name)
{
	for (size_t i = 0; i < r->part_count; i++)
		if (strcmp(r->parts[i].name, name) == 0)
			return r->parts[i].value;
	return "";
}

static void parts_are_told(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_ident r;

	(void)state;
	ft_ident(FT_IDENT_IMEI, FT_SLICE("490154203237518"), (struct ft_where){ 0 }, &f, &r);
	assert_string_equal(part_of(&r, "type_allocation_code"), "49015420");
	assert_string_equal(part_of(&r, "serial_number"), "323751");
	/* 894912345678901234 -> 7, stored as 98 94 21 43 65 87 09 21 43 F7 */
	ft_ident(FT_IDENT_ICCID, FT_SLICE("8949123456789012347"), (struct ft_where){ 0 }, &f, &r);
	assert_string_equal(part_of(&r, "as_stored"), "989421436587092143F7");
	ft_ident(FT_IDENT_ICCID, FT_SLICE("989421436587092143F7"), (struct ft_where){ 0 }, &f, &r);
	assert_string_equal(r.text, "8949123456789012347");
	assert_true(r.valid);
	ft_ident(FT_IDENT_EUI, FT_SLICE("00-88-88-88-88-88"), (struct ft_where){ 0 }, &f, &r);
	assert_string_equal(part_of(&r, "interface_id"), "028888FFFE888888");
	ft_ident(FT_IDENT_EUI, FT_SLICE("34-56-78-9A-BC-DE"), (struct ft_where){ 0 }, &f, &r);
	assert_string_equal(part_of(&r, "interface_id"), "365678FFFE9ABCDE");
	ft_arena_done(&a);
}

static void any_one_wrong_digit_is_seen(void **state)
{
	static const struct {
		enum ft_ident_kind kind;
		const char *value;
	} whole[] = { { FT_IDENT_IMEI, "490154203237518" },
		          { FT_IDENT_ICCID, "8949123456789012347" },
		          { FT_IDENT_GTIN, "6291041500213" } };
	struct ft_arena a = { 0 };

	(void)state;
	for (size_t w = 0; w < 3; w++)
		for (size_t at = w == 1 ? 2 : 0; at < strlen(whole[w].value); at++)
			for (char d = '0'; d <= '9'; d++) {
				struct ft_findings f = { .arena = &a };
				struct ft_ident r;
				char text[FT_IDENT_TEXT];
				memcpy(text, whole[w].value, strlen(whole[w].value) + 1);
				text[at] = d;
				ft_ident(whole[w].kind, ft_slice_of(text), (struct ft_where){ 0 }, &f, &r);
				assert_int_equal(r.valid, d == whole[w].value[at]);
			}
	ft_arena_done(&a);
}

static void a_number_of_no_named_kind(void **state)
{
	enum ft_ident_kind k = FT_IDENT_KINDS;

	(void)state;
	assert_true(ft_ident_guess(FT_SLICE("490154203237519"), &k) && k == FT_IDENT_IMEI);
	assert_true(ft_ident_guess(FT_SLICE("8949123456789012340"), &k) && k == FT_IDENT_ICCID);
	assert_true(ft_ident_guess(FT_SLICE("AC-DE-48-00-00-01"), &k) && k == FT_IDENT_EUI);
	assert_false(ft_ident_guess(FT_SLICE("U-55201"), &k));
	assert_false(ft_ident_guess(FT_SLICE("12345678"), &k));
	assert_false(ft_ident_guess(FT_SLICE(""), &k));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(check_digits_of_published_numbers),
		cmocka_unit_test(each_form_and_each_soft_case),
		cmocka_unit_test(parts_are_told),
		cmocka_unit_test(any_one_wrong_digit_is_seen),
		cmocka_unit_test(a_number_of_no_named_kind),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
