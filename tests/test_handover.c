/* SPDX-License-Identifier: Apache-2.0 */
/* A whole package from a whole visit: made, opened, judged anew, and lied about. */
#include "unit.h"

#include "handover_sample.h"

#define OPENED INT64_C(1773058511123456)

static const char before[] =
	"DXS*ABC0000000*VA*V1/1*1\r\nST*001*0001\r\nID1*QX-220719-004*Kestrel 40*0312*Caf\351**BD-0417\r\n"
	"ID4*2*978*EUR\r\n"
	"VA1*30000*200*3000*20\r\nPA1*21*150*Oat bar\r\nPA2*100*15000*10*1500\r\nPA1*23*250*Nuts\r\n"
	"PA2*100*15000*10*1500\r\n"
	"G85*1234\r\nSE*9*0001\r\nDXE*1*1\r\n";
static const char after[] =
	"DXS*ABC0000000*VA*V1/1*1\r\nST*001*0001\r\nID1*QX-220719-004*Kestrel 40*0312*Caf\351**BD-0417\r\n"
	"ID4*2*978*EUR\r\n"
	"VA1*30150*201*3150*21\r\nPA1*21*175*Oat bar\r\nPA2*101*15150*11*1650\r\nPA1*23*250*Nuts\r\n"
	"PA2*100*15000*10*1500\r\n"
	"G85*1234\r\nSE*9*0001\r\nDXE*1*1\r\n";

struct office {
	struct ft_arena arena;
	struct ft_evidence evidence[3];
	struct ft_statement said;
	struct ft_waiver waived;
	struct ft_visit visit;
	struct ft_handover handover;
	struct ft_key key;
	struct ft_pack_options options;
	struct ft_buf zip;
	struct ft_error error;
	char content[FT_HASH_TEXT];
};

static void piece(struct office *o, int i, enum ft_evidence_kind kind, const char *name, struct ft_slice bytes)
{
	o->evidence[i] = (struct ft_evidence){ .number = i + 1,
		                                   .kind = kind,
		                                   .stage = i ? FT_STAGE_PROVE : FT_STAGE_KEEP,
		                                   .name = name,
		                                   .hash = ft_hash_of(bytes.p, bytes.n),
		                                   .size = (int64_t)bytes.n,
		                                   .bytes = bytes,
		                                   .added_us = OPENED + i * 1000,
		                                   .added_offset = -210 };
}

static void start(struct office *o)
{
	uint8_t seed[FT_SEED_BYTES] = { 42 };

	memset(o, 0, sizeof *o);
	piece(o, 0, FT_EVIDENCE_AUDIT, "before.dts", FT_SLICE(before));
	piece(o, 1, FT_EVIDENCE_AUDIT, "after.dts", FT_SLICE(after));
	piece(o, 2, FT_EVIDENCE_SALES, "sales \"one\".csv",
	      FT_SLICE("time,selection,price,paid_with,tendered\n14:02,21,1.50,coin,2.00\n"));
	o->said = (struct ft_statement){ .claim = FT_CLAIM_FIT_CABLES,
		                             .text = "opened and closed: \"free\"",
		                             .by = "Ada Fitter",
		                             .at_us = OPENED + 7,
		                             .at_offset = -210 };
	o->waived = (struct ft_waiver){
		.claim = FT_CLAIM_PROVE_BUS, .because = "no capture device here", .at_us = OPENED + 8, .at_offset = -210
	};
	o->visit = (struct ft_visit){ .id = "BD-0417-1",
		                          .key = "00112233445566778899aabbccddeeff",
		                          .asset = "BD-0417",
		                          .site = "Harbour canteen",
		                          .technician = "Ada Fitter",
		                          .without = FT_PART_TEMPERATURE,
		                          .opened_us = OPENED,
		                          .opened_offset = -210,
		                          .closed_us = FT_ABSENT,
		                          .changed_us = OPENED + 9,
		                          .evidence = o->evidence,
		                          .evidence_count = 3,
		                          .statements = &o->said,
		                          .statement_count = 1,
		                          .waivers = &o->waived,
		                          .waiver_count = 1 };
	assert_int_equal(ft_key_make(seed, FT_SLICE("Ada Fitter"), &o->key, NULL), FT_OK);
	o->options = (struct ft_pack_options){ .signer = &o->key, .program = "fettle 9.9" };
	assert_int_equal(ft_handover_prepare(&o->visit, &o->arena, &o->handover, &o->error), FT_OK);
	assert_int_equal(ft_handover_pack(&o->handover, &o->options, &o->arena, &o->zip, o->content, &o->error), FT_OK);
}

static void end(struct office *o)
{
	ft_buf_done(&o->zip);
	ft_key_done(&o->key);
	ft_arena_done(&o->arena);
}

static void a_visit_comes_back_whole(void **state)
{
	struct office o;
	struct ft_opened p;
	struct ft_visit v;
	struct ft_handover h;
	struct ft_buf again = { 0 };
	(void)state;
	start(&o);
	struct ft_findings f = { .arena = &o.arena };
	assert_int_equal(ft_package_open(ft_buf_text(&o.zip), &o.key, 1, true, &o.arena, &f, &p, &o.error), FT_OK);
	assert_int_equal(ft_handover_check(&p, "fettle 9.9", &o.arena, &f, &v, &h, &o.error), FT_OK);
	assert_int_equal(f.count, 0);
	assert_string_equal(p.content, o.content);
	assert_string_equal(v.key, o.visit.key);
	assert_null(v.unit);
	assert_true(v.opened_us == OPENED && v.opened_offset == -210 && v.closed_us == FT_ABSENT);
	assert_int_equal(v.without, FT_PART_TEMPERATURE);
	assert_int_equal(v.evidence_count, 3);
	assert_string_equal(v.evidence[2].name, "sales \"one\".csv");
	assert_true(ft_slice_is(v.evidence[1].bytes, after));
	assert_true(v.statement_count == 1 && v.statements[0].claim == FT_CLAIM_FIT_CABLES &&
	            v.statements[0].at_us == OPENED + 7);
	assert_true(v.waiver_count == 1 && v.waivers[0].by == NULL);
	assert_int_equal(h.judgement.verdict, o.handover.judgement.verdict);
	/* The same visit gives the same bytes, from the way back too. */
	assert_int_equal(ft_handover_pack(&h, &o.options, &o.arena, &again, NULL, &o.error), FT_OK);
	assert_int_equal(again.n, o.zip.n);
	assert_memory_equal(again.p, o.zip.p, again.n);
	ft_buf_done(&again);
	end(&o);
}

/* The signer himself writes something else into handover.json and signs that. */
static void lie(struct office *o, const char *what, const char *instead, const char *program, struct ft_findings *f,
                enum ft_status *ret)
{
	struct ft_member *m;
	size_t n;
	struct ft_buf json = { 0 }, manifest = { 0 }, signature = { 0 }, zip = { 0 };
	struct ft_opened p;
	struct ft_visit v;
	struct ft_handover h;

	assert_int_equal(ft_zip_read(ft_buf_text(&o->zip), &o->arena, &m, &n, NULL), FT_OK);
	size_t at = ft_slice_find(m[0].bytes, ft_slice_of(what));
	assert_true(at < m[0].bytes.n);
	ft_buf_put(&json, m[0].bytes.p, at);
	ft_buf_puts(&json, instead);
	ft_buf_put(&json, m[0].bytes.p + at + strlen(what), m[0].bytes.n - at - strlen(what));
	m[0].bytes = ft_buf_text(&json);
	ft_manifest_write(m, n - 2, &o->key, &manifest);
	ft_signature_write(&o->key, ft_buf_text(&manifest), &signature);
	m[n - 2].bytes = ft_buf_text(&manifest);
	m[n - 1].bytes = ft_buf_text(&signature);
	assert_int_equal(ft_zip_write(m, n, OPENED, 0, &zip, NULL), FT_OK);
	*f = (struct ft_findings){ .arena = &o->arena };
	o->error = (struct ft_error){ 0 };
	*ret = ft_package_open(ft_buf_text(&zip), &o->key, 1, true, &o->arena, f, &p, &o->error);
	assert_true(p.sealed);
	if (*ret == FT_OK)
		*ret = ft_handover_check(&p, program, &o->arena, f, &v, &h, &o->error);
	ft_buf_done(&json);
	ft_buf_done(&manifest);
	ft_buf_done(&signature);
	ft_buf_done(&zip);
}

static void a_typed_verdict_is_found_out(void **state)
{
	struct office o;
	struct ft_findings f;
	enum ft_status s;
	(void)state;
	start(&o);
	lie(&o, "\"verdict\":\"", "\"verdict\":\"very ", "fettle 9.9", &f, &s);
	assert_int_equal(s, FT_OK);
	assert_int_equal(f.count, 1);
	assert_int_equal(f.list[0].rule, FT_RULE_HANDOVER_VERDICT);
	assert_non_null(strstr(f.list[0].seen, "verdict"));
	lie(&o, "\"stands\":\"", "\"stands\":\"well ", "fettle 9.9", &f, &s);
	assert_int_equal(f.list[0].rule, FT_RULE_HANDOVER_VERDICT);
	assert_non_null(strstr(f.list[0].seen, "claims"));
	/* Another program may judge otherwise: that is a doubt. */
	lie(&o, "\"stands\":\"", "\"stands\":\"well ", "fettle 10.0", &f, &s);
	assert_int_equal(f.list[0].rule, FT_RULE_HANDOVER_OTHER_VERSION);
	assert_int_equal(ft_verdict_of(&f, false), FT_OPEN);

	static const struct {
		const char *what, *instead, *says;
	} broken[] = {
		{ "\"handover\":1", "\"handover\":2", "newer fettle" },
		{ "\"key\":\"00", "\"key\":\"0g", "\"key\"" },
		{ "\"asset\":\"BD-0417\"", "\"asset\":\"\"", "\"asset\"" },
		{ "\"member\":\"evidence/", "\"member\":\"handover.pdf", "lacks the evidence" },
		{ "\"site\":\"Har", "\"site\":\"\\u001b[2JHar", "\"site\"" },
		{ "\"kind\":\"audit\"", "\"kind\":\"poem\"", "\"kind\"" },
		{ "\"opened\":\"2026", "\"opened\":\"20-26", "\"opened\"" },
		{ "\"record\":{", "\"record\":7,\"x\":{", "\"evidence\"" },
		{ "{\"handover\"", "[\"handover\"", "no JSON" },
	};
	for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
		lie(&o, broken[i].what, broken[i].instead, "fettle 9.9", &f, &s);
		assert_int_equal(s, FT_E_INPUT);
		if (!strstr(o.error.text, broken[i].says))
			fail_msg("%s", o.error.text);
	}
	end(&o);
}

static void the_line_follows_the_mapping(void **state)
{
	struct office o;
	struct ft_column *columns;
	size_t n;
	struct ft_buf out = { 0 };
	const struct ft_seal_text seal = { "fettle 9.9", "abcd", "Ada Fitter", "x" };
	(void)state;
	start(&o);
	o.visit.unit = "=1+1";
	assert_int_equal(
		ft_mapping_read(
			FT_SLICE("column,from,format\nAnlage,asset,\n\"Ort, Platz\",place,upper\nEinheit,unit,\nTag,opened,date\n"
	                 "Umsatz,sales_value,money-comma\nMinor,sales_value,minor\nSIM,sim,\n"
	                 "Preise,prices_changed,\nArt,fixed,commissioned\n"),
			&o.arena, &columns, &n, NULL),
		FT_OK);
	ft_handover_line(&o.handover, &seal, columns, n, &out);
	assert_true(ft_slice_is(ft_buf_text(&out),
	                        "Anlage,\"Ort, Platz\",Einheit,Tag,Umsatz,Minor,SIM,Preise,Art\r\n"
	                        "BD-0417,HARBOUR CANTEEN,'=1+1,2026-03-09,\"301,50\",30150,,1,commissioned\r\n"));
	ft_buf_done(&out);
	end(&o);
}

static void sheets_hold_whatever_comes(void **state)
{
	static const struct {
		int selections, sales, restore;
		bool bad;
		enum ft_sheet sheet;
		int least;
	} cases[] = {
		{ 0, 0, 0, false, FT_SHEET_A4, 4 },
		{ 12, 1, 1, true, FT_SHEET_A4, 5 },
		{ 64, 30, 40, false, FT_SHEET_LETTER, 7 },
		{ 120, 400, 300, true, FT_SHEET_A4, 20 },
	};
	const struct ft_seal_text seal = { "fettle 9.9", "3f2a9c1e07d4b8113f2a9c1e07d4b8113f2a9c1e07d4b8113f2a9c1e07d4b811",
		                               "Ada Fitter", "3f2a 9c1e 07d4 b811" };
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct sample *s = test_malloc(sizeof *s);
		struct ft_buf one = { 0 }, two = { 0 };
		struct ft_error e = { 0 };
		int pages = 0;
		sample_make(s, cases[i].selections, cases[i].sales, cases[i].restore, cases[i].bad);
		assert_int_equal(ft_handover_pdf(&s->handover, &seal, cases[i].sheet, &s->arena, &one, &pages, &e), FT_OK);
		assert_int_equal(ft_handover_pdf(&s->handover, &seal, cases[i].sheet, &s->arena, &two, NULL, &e), FT_OK);
		assert_true(pages >= cases[i].least);
		assert_int_equal(one.n, two.n);
		assert_memory_equal(one.p, two.p, one.n);
		assert_memory_equal(one.p, "%PDF-1.5", 8);
		ft_buf_done(&one);
		ft_buf_done(&two);
		ft_arena_done(&s->arena);
		test_free(s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_visit_comes_back_whole),
		cmocka_unit_test(a_typed_verdict_is_found_out),
		cmocka_unit_test(the_line_follows_the_mapping),
		cmocka_unit_test(sheets_hold_whatever_comes),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
