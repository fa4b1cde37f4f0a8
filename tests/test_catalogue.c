/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of people: how spreadsheets write them, what is said of what is wrong, what stays unknown. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "fettle/catalogue.h"

struct bench {
	struct ft_arena a;
	struct ft_catalogue c;
	struct ft_table_notes notes;
	struct ft_error e;
	enum ft_status status;
};

static struct bench read_bytes(enum ft_table t, const char *p, size_t n)
{
	struct bench b = { 0 };

	b.status = ft_table_read(t, (struct ft_slice){ p, n }, "it", &b.a, &b.c, &b.notes, &b.e);
	return b;
}

static struct bench read_text(enum ft_table t, const char *text)
{
	return read_bytes(t, text, strlen(text));
}

static void says(const struct bench *b, size_t nth, bool wrong, const char *words)
{
	assert_true(nth < b->notes.count);
	if (!strstr(b->notes.list[nth].sentence, words) || b->notes.list[nth].wrong != wrong)
		fail_msg("\"%s\" where \"%s\" is wanted", b->notes.list[nth].sentence, words);
}

static void near_to(double got, double wanted)
{
	if (!(fabs(got - wanted) < 1e-9 * (1 + fabs(wanted))))
		fail_msg("%g where %g is wanted", got, wanted);
}

static void templates_are_read_without_a_word(void **state)
{
	(void)state;
	for (int t = 0; t < FT_TABLE_COUNT; t++) {
		struct ft_buf out = { 0 };
		struct bench b;
		ft_table_template((enum ft_table)t, &out);
		b = read_bytes((enum ft_table)t, out.p, out.n);
		if (b.notes.count)
			fail_msg("%s: %s", ft_table_word((enum ft_table)t), b.notes.list[0].sentence);
		assert_int_equal(b.status, FT_OK);
		ft_arena_done(&b.a);
		ft_buf_done(&out);
	}
}

static void every_cell_of_a_template_is_known(void **state)
{
	struct ft_buf out = { 0 };
	const struct ft_survey_row *r;
	struct bench b;

	(void)state;
	ft_table_template(FT_TABLE_SURVEY, &out);
	b = read_bytes(FT_TABLE_SURVEY, out.p, out.n);
	assert_int_equal(b.c.row_count, 1);
	r = &b.c.rows[0];
	assert_true(ft_slice_is(r->asset, "A-1001"));
	assert_int_equal(r->cabinet, FT_CABINET_COLD);
	assert_int_equal(r->front, FT_FRONT_GLASS);
	assert_int_equal(r->bus_free, FT_TRI_YES);
	assert_int_equal(r->door_switch, FT_TRI_NO);
	assert_int_equal(r->peripheral_count, 2);
	near_to(r->peripherals[0].length_m, 0.5);
	assert_true(fabs(r->peripherals[0].area_mm2 - 0.3255) < 0.0001); /* AWG 22 by ASTM B258 */
	assert_true(isnan(r->peripherals[1].area_mm2));
	near_to(r->volts, 32.4);
	near_to(r->inside_dbm, -98);
	near_to(r->longitude, -31.22);
	assert_int_equal(r->opens, 8 * 60);
	assert_true(r->skills.known && r->skills.count == 0);
	assert_true(r->surveyed_us == INT64_C(1795132800000000)); /* 2026-11-20 */
	assert_null(r->notes.p);
	ft_arena_done(&b.a);
	ft_buf_done(&out);
}

/* The same row, as different spreadsheets write it. */
static void the_same_however_it_is_written(void **state)
{
	static const struct {
		const char *legend, *bytes;
		size_t n;
	} cases[] = {
#define CASE(legend, bytes) { legend, bytes, sizeof(bytes) - 1 }
		CASE("plain", "asset,site,bus volts\nA1,Caf\xc3\xa9,32.5\n"),
		CASE("semicolons and a decimal comma", "asset;site;bus volts\r\nA1;Caf\xc3\xa9;32,5 V\r\n"),
		CASE("tabs", "asset\tsite\tbus volts\rA1\tCaf\xc3\xa9\t32,5\r"),
		CASE("a BOM",
		     "\xef\xbb\xbf"
		     "asset,site,bus volts\nA1,Caf\xc3\xa9,32.5\n"),
		CASE("Windows-1252", "asset,site,bus volts\nA1,Caf\xe9,32.5\n"),
		CASE("other order and names", "Volts (V);ASSET NUMBER;Place\n32500 mV;A1;Caf\xc3\xa9\n"),
		CASE("a separator named above", "sep=;\nasset;site;bus volts\nA1;Caf\xc3\xa9;32,5\n"),
		CASE("all in quotes", "\"asset\",\"site\",\"bus volts\"\n\"A1\",\"Caf\xc3\xa9\",\"32,5\"\n"),
		CASE("remarks and rows of separators", "# invented\n\nasset,site,bus volts\nA1,Caf\xc3\xa9,32.5\n,,\n,,\n"),
		CASE(
			"UTF-16, low byte first",
			"\xff\xfe"
			"a\0s\0s\0e\0t\0,\0s\0i\0t\0e\0,\0v\0o\0l\0t\0s\0\n\0A\0\x31\0,\0C\0a\0f\0\xe9\0,\0\x33\0\x32\0.\0\x35\0\n\0"),
		CASE(
			"UTF-16, high byte first",
			"\xfe\xff"
			"\0a\0s\0s\0e\0t\0,\0s\0i\0t\0e\0,\0v\0o\0l\0t\0s\0\n\0A\0\x31\0,\0C\0a\0f\0\xe9\0,\0\x33\0\x32\0.\0\x35\0\n"),
#undef CASE
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct bench b = read_bytes(FT_TABLE_SURVEY, cases[i].bytes, cases[i].n);
		if (b.status != FT_OK || b.c.row_count != 1 || b.notes.count || !ft_slice_is(b.c.rows[0].asset, "A1") ||
		    !ft_slice_is(b.c.rows[0].site, "Caf\xc3\xa9") || fabs(b.c.rows[0].volts - 32.5) > 1e-9)
			fail_msg("%s: status %d, %zu rows, %s", cases[i].legend, b.status, b.c.row_count, b.e.text);
		ft_arena_done(&b.a);
	}
}

static void a_quoted_line_end_stays(void **state)
{
	struct bench b = read_text(FT_TABLE_SURVEY, "asset,notes,site\nA1,\"first\nsecond, \"\"so\"\"\",Quay\nA2,,Mill\n");

	(void)state;
	assert_int_equal(b.status, FT_OK);
	assert_true(ft_slice_is(b.c.rows[0].notes, "first\nsecond, \"so\""));
	assert_true(ft_slice_is(b.c.rows[0].raw, "A1,\"first\nsecond, \"\"so\"\"\",Quay\n"));
	assert_int_equal(b.c.rows[1].line, 4);
	assert_true(ft_slice_is(b.c.heads[FT_TABLE_SURVEY], "asset,notes,site\n"));
	ft_arena_done(&b.a);
}

static void unknown_stays_unknown(void **state)
{
	struct bench b =
		read_text(FT_TABLE_SURVEY,
	              "asset,site,family,front,bus_free,bus_volts,opens,peripherals,skills,surveyed,selections\n"
	              "A1,?,unknown,,-,??,Unknown,?,,not known,\nA2\n");

	(void)state;
	assert_int_equal(b.status, FT_OK);
	for (size_t i = 0; i < 2; i++) {
		const struct ft_survey_row *r = &b.c.rows[i];
		assert_null(r->site.p);
		assert_null(r->family.p);
		assert_int_equal(r->front, FT_FRONT_UNKNOWN);
		assert_int_equal(r->bus_free, FT_TRI_UNKNOWN);
		assert_true(isnan(r->volts) && isnan(r->selections) && isnan(r->latitude));
		assert_int_equal(r->opens, -1);
		assert_false(r->peripherals_known || r->skills.known);
		assert_true(r->surveyed_us == FT_ABSENT);
	}
	ft_arena_done(&b.a);
}

static void what_is_wrong_is_said_at_once(void **state)
{
	struct bench b = read_text(FT_TABLE_SURVEY,
	                           "asset,bus volts,colour,front,opens\n"
	                           "A1,many,red,wood,8:75\nA2,99 V,,,\n,32,,,\nA1,32 A,,,,more\n");

	(void)state;
	assert_int_equal(b.status, FT_E_INPUT);
	says(&b, 0, false, "line 1, column 3: \"colour\" is no heading");
	says(&b, 1, true, "line 2, column 2 (bus_volts): \"many\" is no figure");
	says(&b, 2, true, "line 2, column 4 (front): \"wood\" is no word that is known here; write glass or metal.");
	says(&b, 3, true, "line 2, column 5 (opens): \"8:75\" is no time of day");
	says(&b, 4, true, "line 3, column 2 (bus_volts): \"99 V\" cannot be");
	says(&b, 5, true, "line 5, column 2 (bus_volts): \"32 A\" has a unit that does not belong here");
	says(&b, 6, true, "line 5, column 6: \"more\" stands under no heading");
	says(&b, 7, true, "line 4: the row has no asset");
	says(&b, 8, true, "line 5: asset \"A1\" stands there already, in line 2");
	assert_int_equal(b.notes.wrong, 8);
	assert_non_null(strstr(b.e.text, "\"many\""));
	assert_non_null(strstr(b.e.text, "7 more"));
	assert_true(isnan(b.c.rows[0].volts)); /* what is wrong stays unknown */
	ft_arena_done(&b.a);
}

static void a_missing_name_column_is_said(void **state)
{
	struct bench b = read_text(FT_TABLE_PARTS, "name,price\nharness,3\n");

	(void)state;
	assert_int_equal(b.status, FT_E_INPUT);
	says(&b, 0, true, "there is no column part; fettle survey --template parts");
	ft_arena_done(&b.a);
}

static void other_cells(void **state)
{
	struct bench b =
		read_text(FT_TABLE_UNITS,
	              "unit,idle,continuous,peak,longest audit,links,price,lead,on hand\n"
	              "U1,500 mW,2 W,9 W,64 kB,\"dex, ddcmp\",\"189,00\",none,7\nU2,80 mA,1 W,2 A,any,dex,1.2.3,,\n");

	(void)state;
	near_to(b.c.units[0].load[0], 0.5);
	assert_true(b.c.units[0].power);
	near_to(b.c.units[0].longest_bytes, 64000);
	assert_int_equal(b.c.units[0].links.count, 2);
	assert_true(ft_words_hold(&b.c.units[0].links, FT_SLICE("DDCMP")));
	assert_true(b.c.units[0].price == 18900);
	near_to(b.c.units[0].stock, 7);
	assert_true(isnan(b.c.units[1].stock));
	says(&b, 0, true, "mixes amperes and watts");
	says(&b, 1, true, "is no price");
	assert_true(isnan(b.c.units[1].longest_bytes));
	ft_arena_done(&b.a);

	b = read_text(FT_TABLE_LEADS, "lead;loss1;loss2;stock\nL1;60 dB per 100 m;90 dB/100m;3\nL2;60;90 dB;\nL3;6 m;;\n");
	near_to(b.c.leads[0].db_per_100m[0], 60);
	near_to(b.c.leads[0].db_per_100m[1], 90);
	near_to(b.c.leads[0].stock, 3);
	near_to(b.c.leads[1].db_per_100m[1], 90);
	says(&b, 0, true, "has a unit that does not belong here");
	ft_arena_done(&b.a);

	b = read_text(FT_TABLE_PARTS, "part;for;minutes\nP1;Harness: Jack;5\nP2;tee;\nP3;rocket;\n");
	assert_int_equal(b.c.parts[0].purpose, FT_PURPOSE_HARNESS);
	assert_true(ft_slice_is(b.c.parts[0].of, "Jack"));
	assert_null(b.c.parts[1].of.p);
	says(&b, 0, true, "is none of the things a part is for; write harness, tee");
	ft_arena_done(&b.a);

	b = read_text(
		FT_TABLE_TECHNICIANS,
		"technician,begins,ends,days,from\nT1,7.30,4:30 pm,Mon-Wed Fri,30.11.2026\nT2,8,17:00:00,Sat-Mon,1.12.2026\n");
	assert_int_equal(b.status, FT_OK);
	assert_int_equal(b.c.technicians[0].opens, 450);
	assert_int_equal(b.c.technicians[0].closes, 16 * 60 + 30);
	assert_int_equal(b.c.technicians[0].days, 1 + 2 + 4 + 16);
	assert_int_equal(b.c.technicians[1].days, 32 + 64 + 1);
	/* the first date tells that days stand first, so that 1.12. is the first of December */
	assert_true(b.c.technicians[1].from_us - b.c.technicians[0].from_us == INT64_C(86400000000));
	ft_arena_done(&b.a);

	b = read_text(
		FT_TABLE_SURVEY,
		"asset;peripherals\nA1;validator 0,5m AWG22 > changer 20 in 0.34 mm2 > reader\nA2;none\nA3;validator 0.5\n");
	assert_int_equal(b.c.rows[0].peripheral_count, 3);
	near_to(b.c.rows[0].peripherals[0].length_m, 0.5);
	near_to(b.c.rows[0].peripherals[1].length_m, 0.508);
	near_to(b.c.rows[0].peripherals[1].area_mm2, 0.34);
	assert_true(b.c.rows[1].peripherals_known && b.c.rows[1].peripheral_count == 0);
	says(&b, 0, true, "has a figure without a unit");
	assert_false(b.c.rows[2].peripherals_known);
	ft_arena_done(&b.a);
}

static void revisions_in_their_order(void **state)
{
	static const char *const order[] = { "1.9", "2", "2.0", "2.09a", "2.9b", "2.10", "2.10.1", "10", "R2" };

	(void)state;
	for (size_t i = 0; i < sizeof order / sizeof *order; i++)
		for (size_t k = 0; k < sizeof order / sizeof *order; k++) {
			int c = ft_revision_cmp(ft_slice_of(order[i]), ft_slice_of(order[k]));
			if (c != (i > k) - (i < k))
				fail_msg("%s against %s: %d", order[i], order[k], c);
		}
	assert_int_equal(ft_revision_cmp(FT_SLICE("v2.01"), FT_SLICE("V2.1")), 0);
}

static void rows_by_their_names(void **state)
{
	struct bench b = read_text(FT_TABLE_FAMILIES, "family,link\nCorvane 3,DEX\nQuillon 2,none\n");

	(void)state;
	assert_int_equal(ft_family_of(&b.c, FT_SLICE("CORVANE 3"))->link, FT_AUDIT_LINK_DEX);
	assert_null(ft_family_of(&b.c, FT_SLICE("Corvane")));
	assert_null(ft_unit_of(&b.c, FT_SLICE("Lark 4")));
	ft_arena_done(&b.a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(templates_are_read_without_a_word),
		cmocka_unit_test(every_cell_of_a_template_is_known),
		cmocka_unit_test(the_same_however_it_is_written),
		cmocka_unit_test(a_quoted_line_end_stays),
		cmocka_unit_test(unknown_stays_unknown),
		cmocka_unit_test(what_is_wrong_is_said_at_once),
		cmocka_unit_test(a_missing_name_column_is_said),
		cmocka_unit_test(other_cells),
		cmocka_unit_test(revisions_in_their_order),
		cmocka_unit_test(rows_by_their_names),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
