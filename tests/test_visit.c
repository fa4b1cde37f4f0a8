/* SPDX-License-Identifier: Apache-2.0 */
/* Kinds of evidence from their bytes, and how claims stand. The two audits and the list of sales are the
 * invented pairs of tests/samples and tests/sales, which close every identity by construction. */
#include "unit.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "fettle/store.h"

static const char *tests_dir;
static struct ft_arena arena;
static struct ft_error err;

/* 2025-03-17T07:30:00Z: the second sample was read at 08:09 by its own clock. */
#define OPENED INT64_C(1742196600000000)
#define MINUTE INT64_C(60000000)

static struct ft_slice load(const char *name)
{
	FILE *f = fopen(ft_arena_printf(&arena, "%s/%s", tests_dir, name), "rb");
	char *p = ft_arena_alloc(&arena, 65536);
	size_t n;

	assert_non_null(f);
	n = fread(p, 1, 65536, f);
	fclose(f);
	return (struct ft_slice){ p, n };
}

static struct ft_evidence piece(enum ft_evidence_kind kind, enum ft_stage stage, const char *name,
                                struct ft_slice bytes)
{
	return (struct ft_evidence){
		.kind = kind, .stage = stage, .name = name, .bytes = bytes, .added_us = OPENED + 50 * MINUTE
	};
}

static struct ft_evidence three[4];

static struct ft_visit whole_visit(void)
{
	three[0] = piece(FT_EVIDENCE_AUDIT, FT_STAGE_KEEP, "before.dts", load("samples/sample-1.dts"));
	three[1] = piece(FT_EVIDENCE_AUDIT, FT_STAGE_PROVE, "after.dts", load("samples/sample-1b.dts"));
	three[2] = piece(FT_EVIDENCE_SALES, FT_STAGE_PROVE, "sales.csv", load("sales/sample-1.csv"));
	for (int i = 0; i < 3; i++) {
		three[i].number = i + 1;
		three[i].hash = ft_hash_of(three[i].bytes.p, three[i].bytes.n);
		three[i].size = (int64_t)three[i].bytes.n;
	}
	return (struct ft_visit){ .id = "BD-0417-1",
		                      .key = "k",
		                      .asset = "AST-2207",
		                      .machine_serial = "SN4471203",
		                      .opened_us = OPENED,
		                      .closed_us = FT_ABSENT,
		                      .evidence = three,
		                      .evidence_count = 3 };
}

static struct ft_judgement judge(const struct ft_visit *v)
{
	struct ft_judgement g;

	if (ft_visit_judge(v, &arena, &g, &err) != FT_OK)
		fail_msg("%s", err.text);
	return g;
}

static const struct ft_claim_state *claim(const struct ft_judgement *g, enum ft_claim_id id)
{
	for (size_t i = 0; i < g->claim_count; i++)
		if (g->claims[i].id == id)
			return &g->claims[i];
	return NULL;
}

static void stands(const struct ft_judgement *g, enum ft_claim_id id, const char *want)
{
	const struct ft_claim_state *c = claim(g, id);

	assert_non_null(c);
	if (strcmp(ft_stands_word(c->stands), want) != 0)
		fail_msg("%s stands %s, not %s: %s", c->claim->id, ft_stands_word(c->stands), want, c->because);
}

static void finds_the_kind(void **state)
{
	static const struct {
		const char *bytes;
		size_t n;
		enum ft_evidence_kind kind;
	} cases[] = {
#define CASE(text, kind) { text, sizeof text - 1, FT_EVIDENCE_##kind }
		CASE("DXS*AAA0000001*VA*V0/6*1\r\nST*001*0001\r\n", AUDIT),
		CASE("\xef\xbb\xbfST*001*0001\rID1*X\r", AUDIT),
		CASE("VA1*100*2*0*0\n", AUDIT),
		CASE("time,selection,price,paid_with,tendered\n", SALES),
		CASE("Selection;Price;Paid_with\n21;1,50;coin\n", SALES),
		CASE("\xff\xd8\xff\xe0\0\x10JFIF", PHOTOGRAPH),
		CASE("\x89PNG\r\n\x1a\n\0\0", PHOTOGRAPH),
		CASE("RIFF\x10\0\0\0WEBPVP8 ", PHOTOGRAPH),
		CASE("\0\0\0\x18"
		     "ftypheic\0\0\0\0",
		     PHOTOGRAPH),
		CASE("$timescale 1 us $end\n$var wire 1 ! line $end\n$enddefinitions $end\n#0\n", BUS),
		CASE("PK\3\4....version2PK\3\4....metadata[..]PK\3\4...logic-1-1", BUS),
		CASE("time,temperature_c\n2026-01-01T10:00:00,4.1\n", TEMPERATURE),
		CASE("time,rsrp\n2026-01-01T10:00:00,-95\n", SIGNAL),
		CASE("+CESQ: 99,99,255,255,20,45\r\n", SIGNAL),
		CASE("time,door\n10:00,open\n", DOOR),
		CASE("time,counted,amount\n10:00,box,12.50\n", COUNT_CASH),
		CASE("asset,model,controller\nBD-1,X,Y\n", SURVEY),
		CASE("the door sticks, planed it\n", NOTE),
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		enum ft_evidence_kind k = FT_EVIDENCE_UNKNOWN;
		char *exact = malloc(cases[i].n); /* so that a read beyond the end is seen */
		memcpy(exact, cases[i].bytes, cases[i].n);
		assert_int_equal(ft_evidence_kind_of((struct ft_slice){ exact, cases[i].n }, "x", &arena, &k, &err), FT_OK);
		if (k != cases[i].kind)
			fail_msg("case %zu is %s, not %s", i, ft_evidence_word(k), ft_evidence_word(cases[i].kind));
		for (size_t n = 0; n < cases[i].n; n++) /* every shorter piece is read without going beyond it */
			ft_evidence_kind_of((struct ft_slice){ exact + cases[i].n - n, n }, "x", &arena, &k, NULL);
		free(exact);
	}
}

static void refuses_the_unknown(void **state)
{
	enum ft_evidence_kind k;
	struct ft_error e = { 0 };
	(void)state;

	assert_int_equal(ft_evidence_kind_of((struct ft_slice){ "\1\2\0\3", 4 }, "x.bin", &arena, &k, &e), FT_E_INPUT);
	assert_non_null(strstr(e.text, "it takes audits"));
	e = (struct ft_error){ 0 };
	assert_int_equal(ft_evidence_kind_of((struct ft_slice){ "", 0 }, "x", &arena, &k, &e), FT_E_INPUT);
	assert_int_equal(ft_evidence_accept(FT_SLICE("\x89PNG\r\n\x1a\n"), "x", FT_EVIDENCE_AUDIT, &arena, NULL),
	                 FT_E_INPUT);
	assert_int_equal(ft_evidence_accept(FT_SLICE("volts 34.1\n"), "x", FT_EVIDENCE_SUPPLY, &arena, NULL), FT_OK);
}

static void judges_a_clean_visit(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_judgement g = judge(&v);
	(void)state;

	stands(&g, FT_CLAIM_KNOW_MACHINE, "shown");
	stands(&g, FT_CLAIM_KEEP_AUDIT, "shown");
	stands(&g, FT_CLAIM_KEEP_PRICES, "shown");
	stands(&g, FT_CLAIM_PROVE_AUDIT, "shown");
	stands(&g, FT_CLAIM_PROVE_METERS, "shown");
	stands(&g, FT_CLAIM_PROVE_PRICES, "shown");
	stands(&g, FT_CLAIM_PROVE_SALES, "shown");
	stands(&g, FT_CLAIM_PROVE_COIN, "shown");
	stands(&g, FT_CLAIM_PROVE_CARD, "shown");
	stands(&g, FT_CLAIM_PROVE_CASH, "shown");
	stands(&g, FT_CLAIM_PROVE_CLOCK, "shown");
	stands(&g, FT_CLAIM_PROVE_BUS, "open");
	stands(&g, FT_CLAIM_HAND_OVER_NUMBERS, "open");
	assert_int_equal(g.verdict, FT_OPEN);
	assert_int_equal(g.stands[FT_STANDS_CONTRADICTED], 0);
	assert_int_equal(ft_judgement_stage(&g, FT_STAGE_KEEP), FT_STANDS_OPEN);
}

static void sees_what_speaks_against(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_judgement g;
	char *edited;
	(void)state;

	v.machine_serial = "SN0000000";
	g = judge(&v);
	stands(&g, FT_CLAIM_KNOW_MACHINE, "contradicted");
	assert_int_equal(g.verdict, FT_CONTRADICTED);
	assert_true(g.next->id == FT_CLAIM_KNOW_MACHINE);

	v = whole_visit();
	v.opened_us += 24 * 60 * MINUTE; /* the clock is a day behind the visit */
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_CLOCK, "contradicted");

	v = whole_visit(); /* a digit of an audit changed: its check value no longer fits */
	edited = ft_arena_text(&arena, three[1].bytes);
	edited[ft_slice_find(three[1].bytes, FT_SLICE("VA1*")) + 5] ^= 1;
	three[1].bytes.p = edited;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_AUDIT, "contradicted");

	v = whole_visit(); /* swapped audits */
	struct ft_slice keep = three[0].bytes;
	three[0].bytes = three[1].bytes;
	three[1].bytes = keep;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_METERS, "contradicted");

	v = whole_visit(); /* the list leaves the first sale out */
	struct ft_slice list = three[2].bytes;
	size_t head = ft_slice_find(list, FT_SLICE("tendered")) + 9;
	size_t first = head + ft_slice_find((struct ft_slice){ list.p + head, list.n - head }, FT_SLICE("\n")) + 1;
	const char *shorter = ft_arena_printf(&arena, "%.*s%.*s", (int)head, list.p, (int)(list.n - first), list.p + first);
	three[2].bytes = ft_slice_of(shorter);
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "contradicted");
	assert_non_null(strstr(claim(&g, FT_CLAIM_PROVE_SALES)->because, "simplest story"));

	v = whole_visit(); /* not a list of sales at all any more */
	three[2].bytes = FT_SLICE("time,selection,price,paid_with\nx,30,abc,coin\n");
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "open");
}

/* Added last, but read before the one of after: the counters tell of no fault, and the step puts it right. */
static void tells_an_audit_added_late(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_evidence four[4] = { three[0], three[1], three[2], three[0] };
	const struct ft_claim_state *c;
	struct ft_judgement g;
	char *cleared;
	(void)state;

	four[3].name = "keyed.dts";
	four[3].number = 4;
	four[3].stage = FT_STAGE_PROVE;
	v.evidence = four;
	v.evidence_count = 4;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "open");
	stands(&g, FT_CLAIM_PROVE_METERS, "open");
	c = claim(&g, FT_CLAIM_PROVE_SALES);
	assert_non_null(strstr(c->because, ft_arena_printf(&arena, "keyed.dts was read before %s", three[1].name)));
	assert_null(strstr(c->because, "story"));
	assert_string_equal(c->todo, ft_arena_printf(&arena, "fettle visit add %s --stage keep keyed.dts", v.id));
	assert_int_equal(g.proved_from, -1);

	four[0].stage = FT_STAGE_PROVE; /* the step */
	four[3].stage = FT_STAGE_KEEP;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "shown");
	stands(&g, FT_CLAIM_PROVE_METERS, "shown");

	four[0].stage = FT_STAGE_KEEP;
	four[3].stage = FT_STAGE_PROVE;
	cleared = ft_arena_text(&arena, four[3].bytes); /* its count of reads is not older: one witness is not enough */
	memcpy(cleared + ft_slice_find(four[3].bytes, FT_SLICE("**10*6")), "**99*6", 6);
	four[3].bytes.p = cleared;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "contradicted");
}

/* What a cut audit lacks is no selection gone and no counter lost. */
static void blames_no_machine_for_a_cut_audit(void **state)
{
	static const enum ft_claim_id held[] = { FT_CLAIM_PROVE_METERS, FT_CLAIM_PROVE_PRICES, FT_CLAIM_PROVE_SETTINGS,
		                                     FT_CLAIM_PROVE_SALES };
	struct ft_visit v = whole_visit();
	size_t counted;
	struct ft_judgement g = judge(&v);
	(void)state;

	counted = g.claim_count;
	for (int cut = 0; cut < 2; cut++) {
		v = whole_visit();
		three[cut].bytes.n = ft_slice_find(three[cut].bytes, FT_SLICE("PA1*30"));
		assert_true(three[cut].bytes.n > 200);
		g = judge(&v);
		stands(&g, cut ? FT_CLAIM_PROVE_AUDIT : FT_CLAIM_KEEP_AUDIT, "contradicted");
		for (size_t i = 0; i < sizeof held / sizeof *held; i++) {
			stands(&g, held[i], "open");
			assert_non_null(strstr(claim(&g, held[i])->because, "stops before its end"));
			assert_non_null(strstr(claim(&g, held[i])->todo, "read the machine again"));
		}
		for (size_t i = 0; i < g.findings.count; i++)
			assert_true(strncmp(ft_rule(g.findings.list[i].rule)->id, "ledger.", 7) != 0);
		assert_false(g.compared);
		assert_int_equal(g.claim_count, counted); /* the parts are those of the audit that is whole */
	}
}

/* Sold wrongly, mended, sold again: the proof begins at the audit read after mending, and says so. */
static void proves_anew_after_mending(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_evidence rounds[6] = { three[0], three[0], three[2], three[0], three[1], three[2] };
	struct ft_judgement g;
	size_t notes = 0;
	(void)state;

	rounds[1].name = "second.dts";
	rounds[2].name = "wrong.csv"; /* one sale that the machine did not count */
	rounds[2].bytes = FT_SLICE("time,selection,price,paid_with,tendered\n2025-03-10T08:07,30,1.75,coin,1.75\n");
	rounds[3].name = "mended.dts";
	for (int i = 0; i < 6; i++)
		rounds[i].number = i + 1;
	v.evidence = rounds;
	v.evidence_count = 6;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "shown");
	stands(&g, FT_CLAIM_PROVE_CARD, "shown");
	assert_int_equal(g.proved_from, 3);
	assert_non_null(strstr(claim(&g, FT_CLAIM_PROVE_SALES)->because, "after mended.dts"));
	assert_int_equal(claim(&g, FT_CLAIM_PROVE_SALES)->evidence_count, 3);
	for (size_t i = 0; i < g.findings.count; i++) {
		if (g.findings.list[i].rule == FT_RULE_VISIT_PROVED_ANEW) {
			assert_int_equal(g.findings.list[i].weight, FT_NOTE);
			assert_non_null(g.findings.list[i].seen);
			notes++;
		}
	}
	assert_int_equal(notes, 1);

	v.evidence_count = 5; /* sold again, but nobody wrote down what */
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "contradicted");
	assert_int_equal(g.proved_from, 0);

	v.evidence_count = 6; /* and still wrong after mending */
	rounds[5] = rounds[2];
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "contradicted");

	v = whole_visit(); /* two lists and a read between them agree as a whole: nothing is begun anew */
	rounds[0] = three[0];
	rounds[1] = three[1];
	rounds[2] = three[2];
	rounds[3] = three[1];
	v.evidence = rounds;
	v.evidence_count = 4;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_SALES, "shown");
	assert_int_equal(g.proved_from, 0);
}

/* When more is found than fits the list, what is missing from it shows nothing. */
static void never_shows_by_what_was_dropped(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_judgement g;
	struct ft_buf noisy = { 0 };
	size_t at = ft_slice_find(three[1].bytes, FT_SLICE("G85*"));
	(void)state;

	stands((g = judge(&v), &g), FT_CLAIM_PROVE_METERS, "shown");
	ft_buf_put(&noisy, three[1].bytes.p, at);
	for (unsigned i = 0; i < FT_FINDINGS_MAX + 10; i++)
		ft_buf_puts(&noisy, "EA2*EA**x\r\n");
	ft_buf_put(&noisy, three[1].bytes.p + at, three[1].bytes.n - at);
	three[1].bytes = ft_buf_text(&noisy);
	g = judge(&v);
	assert_true(g.findings.dropped > 0);
	stands(&g, FT_CLAIM_PROVE_METERS, "open");
	stands(&g, FT_CLAIM_PROVE_PRICES, "open");
	ft_buf_done(&noisy);
}

static void takes_words_and_waivers(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_statement said[] = { { .claim = FT_CLAIM_FIT_LEVEL, .text = "level, two anchors", .by = "A. Fitter" },
		                           { .claim = FT_CLAIM_PROVE_BUS, .text = "it is fine" },
		                           { .claim = FT_CLAIM_KNOW_MACHINE, .text = "I looked" } };
	struct ft_waiver waived[] = { { .claim = FT_CLAIM_PROVE_BUS, .because = "no capture device" },
		                          { .claim = FT_CLAIM_KEEP_AUDIT, .because = "not needed" },
		                          { .claim = FT_CLAIM_PROVE_CLOCK, .because = "no battery" } };
	struct ft_judgement g;
	(void)state;

	v.statements = said;
	v.statement_count = 3;
	v.machine_serial = "SN0";
	g = judge(&v);
	stands(&g, FT_CLAIM_FIT_LEVEL, "shown");
	stands(&g, FT_CLAIM_PROVE_BUS, "open");            /* no words show it */
	stands(&g, FT_CLAIM_KNOW_MACHINE, "contradicted"); /* and no words outweigh evidence */
	v.opened_us += 24 * 60 * MINUTE;
	v.waivers = waived;
	v.waiver_count = 3;
	g = judge(&v);
	stands(&g, FT_CLAIM_PROVE_BUS, "waived");
	stands(&g, FT_CLAIM_KEEP_AUDIT, "shown"); /* what is shown needs no waiver */
	stands(&g, FT_CLAIM_PROVE_CLOCK, "waived");
	assert_non_null(strstr(claim(&g, FT_CLAIM_PROVE_CLOCK)->because, "It stood contradicted"));
	v.without = FT_PART_DOOR | FT_PART_BUS;
	g = judge(&v);
	assert_null(claim(&g, FT_CLAIM_PROVE_DOOR));
	assert_null(claim(&g, FT_CLAIM_PROVE_BUS));
	assert_int_equal(g.claim_count + g.left_out_count, FT_CLAIM_COUNT);
}

static void every_claim_can_be_settled(void **state)
{
	struct ft_visit v = whole_visit();
	struct ft_waiver *all = FT_NEW_ARRAY(&arena, FT_CLAIM_COUNT, struct ft_waiver);
	struct ft_judgement g;
	(void)state;

	for (int i = 0; i < FT_CLAIM_COUNT; i++)
		all[i] = (struct ft_waiver){ .claim = (enum ft_claim_id)i, .because = "because" };
	v.waivers = all;
	v.waiver_count = FT_CLAIM_COUNT;
	g = judge(&v);
	assert_int_equal(g.verdict, FT_SHOWN);
	assert_int_equal(g.open_to_close, 0);
	assert_null(g.next);
	v.evidence_count = 0;
	v.waiver_count = 0;
	g = judge(&v);
	assert_int_equal(g.stands[FT_STANDS_OPEN], g.claim_count); /* nothing is shown by nothing */
}

/* The claims of the visit as they are published, as one text. */
static const char *published(const struct ft_visit *v)
{
	struct ft_judgement g = judge(v);
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	const char *text;

	ft_json_object(&j, NULL);
	ft_claims_json(&j, v, &g);
	ft_findings_json(&j, &g.findings);
	ft_json_object_end(&j);
	text = ft_arena_text(&arena, ft_buf_text(&out));
	ft_buf_done(&out);
	return text;
}

static void same_verdict_from_the_book(void **state)
{
	char path[] = "/tmp/fettle-visit-XXXXXX";
	struct ft_visit v = whole_visit(), again;
	struct ft_book *b = NULL;
	const char *id, *first;
	int fd = mkstemp(path);
	(void)state;

	assert_true(fd >= 0);
	close(fd);
	assert_int_equal(ft_book_open(path, FT_BOOK_WRITE, &b, &err), FT_OK);
	assert_int_equal(ft_book_visit_open(b, &v, &arena, &id, &err), FT_OK);
	assert_int_equal(ft_book_evidence_add(b, id, three, 3, NULL, &err), FT_OK);
	first = published(&v);
	b = ft_book_free(b);
	assert_int_equal(ft_book_open(path, FT_BOOK_READ, &b, &err), FT_OK);
	assert_int_equal(ft_book_visit_load(b, id, FT_LOAD_JUDGED, &arena, &again, &err), FT_OK);
	assert_string_equal(first, published(&again));
	assert_string_equal(first, published(&again));
	ft_book_free(b);
	unlink(path);
}

static int start(void **state)
{
	(void)state;
	ft_arena_reset(&arena);
	err = (struct ft_error){ 0 };
	return 0;
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup(finds_the_kind, start),
		cmocka_unit_test_setup(refuses_the_unknown, start),
		cmocka_unit_test_setup(judges_a_clean_visit, start),
		cmocka_unit_test_setup(sees_what_speaks_against, start),
		cmocka_unit_test_setup(proves_anew_after_mending, start),
		cmocka_unit_test_setup(tells_an_audit_added_late, start),
		cmocka_unit_test_setup(blames_no_machine_for_a_cut_audit, start),
		cmocka_unit_test_setup(never_shows_by_what_was_dropped, start),
		cmocka_unit_test_setup(takes_words_and_waivers, start),
		cmocka_unit_test_setup(every_claim_can_be_settled, start),
		cmocka_unit_test_setup(same_verdict_from_the_book, start),
	};
	int failed;

	tests_dir = argc > 1 ? argv[1] : "tests";
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	ft_arena_done(&arena);
	return failed;
}
