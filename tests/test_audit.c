/* SPDX-License-Identifier: Apache-2.0 */
#include "unit.h"

#include <stdio.h>
#include <stdlib.h>

#include "fettle/audit.h"

/* One audit read as far as it goes, in one arena. */
struct read_audit {
	struct ft_arena arena;
	struct ft_audit audit;
	struct ft_facts *facts;
	struct ft_findings findings;
	struct ft_audit_check check;
	struct ft_error error;
};

static void open_audit(struct read_audit *r, struct ft_slice bytes, size_t set)
{
	memset(r, 0, sizeof *r);
	r->findings.arena = &r->arena;
	assert_int_equal(ft_audit_read(bytes, &r->arena, &r->audit, &r->error), FT_OK);
	if (set >= r->audit.set_count)
		return;
	r->facts = FT_NEW(&r->arena, struct ft_facts);
	assert_int_equal(ft_audit_facts(&r->audit, &r->audit.sets[set], &r->arena, r->facts, &r->error), FT_OK);
	ft_audit_judge(r->facts, NULL, ft_crc16, &r->findings, &r->check);
}

static struct ft_slice load(const char *name, char **ret_owned)
{
	char path[512];
	long n;
	FILE *f;

	snprintf(path, sizeof path, "%s/samples/%s", getenv("TESTS_DIR"), name);
	f = fopen(path, "rb");
	assert_non_null(f);
	fseek(f, 0, SEEK_END);
	n = ftell(f);
	rewind(f);
	*ret_owned = malloc((size_t)n);
	assert_int_equal(fread(*ret_owned, 1, (size_t)n, f), n);
	fclose(f);
	return (struct ft_slice){ *ret_owned, (size_t)n };
}

static bool has(const struct read_audit *r, enum ft_rule_id rule, enum ft_weight weight)
{
	for (size_t i = 0; i < r->findings.count; i++)
		if (r->findings.list[i].rule == rule && r->findings.list[i].weight == weight)
			return true;
	return false;
}

static void assert_round_trip(const struct ft_audit *d)
{
	struct ft_buf out = { 0 };

	ft_audit_write(d, 0, d->segment_count, &out);
	assert_int_equal(out.n, d->bytes.n);
	if (out.n)
		assert_memory_equal(out.p, d->bytes.p, out.n);
	ft_buf_done(&out);
}

/* G85, SE01 and what holds in each sample: the table of section 7 of the audit facts. */
static void samples(void **state)
{
	static const struct {
		const char *file;
		uint16_t crc;
		int64_t segments;
		size_t holds; /* identities that can be told, all of which must hold */
		enum ft_bills bills;
	} cases[] = {
		{ "sample-1.dts", 0xE5E7, 63, 21, FT_BILLS_WHOLE }, { "sample-1b.dts", 0x80EB, 64, 21, FT_BILLS_WHOLE },
		{ "sample-2.dts", 0xC7B3, 97, 39, FT_BILLS_NONE },  { "sample-2b.dts", 0x166C, 96, 39, FT_BILLS_NONE },
		{ "sample-3.dts", 0xA4F2, 20, 10, FT_BILLS_NONE },  { "sample-3b.dts", 0x259C, 20, 10, FT_BILLS_NONE },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_identity all[FT_IDENTITIES_MAX];
		struct read_audit r;
		char *owned;
		size_t n, holds = 0;
		open_audit(&r, load(cases[i].file, &owned), 0);
		assert_int_equal(r.audit.set_count, 1);
		assert_round_trip(&r.audit);
		assert_int_equal(r.check.computed, cases[i].crc);
		assert_int_equal(r.check.stated, cases[i].crc);
		assert_false(r.check.swapped);
		assert_true(r.check.whole);
		assert_int_equal(r.check.count_computed, cases[i].segments);
		assert_int_equal(r.facts->bills, cases[i].bills);
		n = ft_audit_identities(r.facts, all);
		for (size_t k = 0; k < n; k++) {
			if (all[k].stands == FT_BROKEN)
				fail_msg("%s: %s: %lld and %lld", cases[i].file, all[k].id, (long long)all[k].left,
				         (long long)all[k].right);
			holds += all[k].stands == FT_HOLDS;
		}
		if (holds < cases[i].holds)
			fail_msg("%s: only %zu identities could be told", cases[i].file, holds);
		if (r.findings.faults || r.findings.doubts)
			fail_msg("%s: clean, yet %s", cases[i].file, ft_rule(r.findings.list[0].rule)->id);
		ft_arena_done(&r.arena);
		free(owned);
	}
}

/* What the reader keeps, whatever surrounds or cuts the audit: structure in, same bytes out. */
static void reading(void **state)
{
	static const struct {
		const char *legend, *bytes;
		size_t n, sets, foreign;
		bool whole; /* of the first set */
	} cases[] = {
#define CASE(legend, text, sets, foreign, whole) { legend, text, sizeof text - 1, sets, foreign, whole }
		CASE("LF", "DXS*A*VA*V0/6*1\nST*001*0001\nSE*2*0001\nDXE*1*1\n", 1, 0, true),
		CASE("CR", "DXS*A*VA*V0/6*1\rST*001*0001\rSE*2*0001\rDXE*1*1\r", 1, 0, true),
		CASE("no last end", "DXS*A*VA*V0/6*1\r\nST*001*0001\r\nSE*2*0001\r\nDXE*1*1", 1, 0, true),
		CASE("raw set", "ST*001*0001\r\nVA1*1*2\r\nSE*3*0001\r\n", 1, 0, true),
		CASE("no ST at all", "DXS*A*VA*V0/6*1\r\nVA1*1*2\r\nDXE*1*1\r\n\r\n", 1, 0, true),
		CASE("BOM",
		     "\xef\xbb\xbf"
		     "DXS*A*VA*V0/6*1\r\nST*001*0001\r\nSE*2*0001\r\nDXE*1*1\r\n",
		     1, 1, true),
		CASE("NULs and noise",
		     "\0\0~x\x7f"
		     "DXS*A*VA*V0/6*1\r\nST*001*0001\r\nSE*2*0001\r\nDXE*1*1\r\n\0\0\xff",
		     1, 2, true),
		CASE("two transmissions",
		     "DXS*A*VA*V0/6*1\r\nST*001*1\r\nSE*2*1\r\nDXE*1*1\r\nDXS*A*VA*V0/6*1\r\nST*001*1\r\nSE*2*1\r\nDXE*1*1\r\n",
		     2, 0, true),
		CASE("two sets in one", "DXS*A*VA*V0/6*1\r\nST*001*1\r\nSE*2*1\r\nST*001*2\r\nSE*2*2\r\nDXE*1*2\r\n", 2, 0,
		     true),
		CASE("back-office lines", "DXS*A*VA*V0/6*1\r\nST-1\r\nST*001*1\r\n@$..x*y\r\nSE*2*1\r\nSE-1\r\nDXE*1*1\r\n", 1,
		     3, true),
		CASE("cut before SE", "DXS*A*VA*V0/6*1\r\nST*001*1\r\nVA1*1*2\r\nCA", 1, 1, false),
		CASE("cut before DXE", "DXS*A*VA*V0/6*1\r\nST*001*1\r\nSE*2*1\r\n", 1, 0, false),
		CASE("a piece", "VA1*1*2\r\nCA2*1*2\r\n", 1, 0, false),
		CASE("second starts before the first ends",
		     "DXS*A*VA*V0/6*1\r\nST*001*1\r\nVA1*1\r\nDXS*A*VA*V0/6*1\r\nST*001*1\r\nSE*2*1\r\nDXE*1*1\r\n", 2, 0,
		     false),
		CASE("nothing", "", 0, 0, false),
		CASE("a letter", "Dear sir,\r\nOK\r\nthe machine * sells.\r\n", 0, 3, false),
		CASE("one line that only looks like a segment", "hello\r\nVA1*2\r\n", 0, 2, false),
		CASE("a program with names in it", "\0\0\0\0\0\0\nVA1*2\n\0\0\nCA2*4*\n\0\0", 0, 4, false),
		CASE("empty elements", "ST*001*1\r\nCA1***\r\nID1*  a  **\r\n*\r\nSE*5*1\r\n", 1, 1, true),
#undef CASE
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct read_audit r;
		char *exact = malloc(cases[i].n + 1);
		memcpy(exact, cases[i].bytes, cases[i].n);
		open_audit(&r, (struct ft_slice){ exact, cases[i].n }, 0);
		assert_round_trip(&r.audit);
		if (r.audit.set_count != cases[i].sets || r.audit.foreign != cases[i].foreign ||
		    (r.audit.set_count && r.check.whole != cases[i].whole))
			fail_msg("%s: %zu sets, %zu foreign, whole %d", cases[i].legend, r.audit.set_count, r.audit.foreign,
			         r.check.whole);
		if (r.audit.set_count)
			assert_int_equal(has(&r, FT_RULE_AUDIT_TRUNCATED, FT_FAULT), !cases[i].whole);
		ft_arena_done(&r.arena);
		free(exact);
	}
}

/* Lines of every length across the reader's blocks of sixty-four bytes, with every line end. */
static void block_edges(void **state)
{
	static const char *const ends[] = { "\r\n", "\n", "\r" };

	(void)state;
	for (size_t n = 0; n < 140; n++) {
		for (size_t k = 0; k < 3; k++) {
			char text[400];
			struct read_audit r;
			int len =
				snprintf(text, sizeof text, "ST*%.*s*1%sVA1*7*3%sSE*3*1%s", (int)n,
			             "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
			             "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx",
			             ends[k], ends[k], ends[k]);
			open_audit(&r, (struct ft_slice){ text, (size_t)len }, 0);
			assert_int_equal(r.audit.segment_count, 3);
			assert_true(r.facts->value[FT_EL_VA101] == 7 && r.facts->value[FT_EL_VA102] == 3);
			assert_round_trip(&r.audit);
			ft_arena_done(&r.arena);
		}
	}
}

static void numbers(void **state)
{
	static const struct {
		const char *text;
		int64_t value;
		bool bad;
	} cases[] = {
		{ "0", 0, false },
		{ "7", 7, false },
		{ "12345678", 12345678, false },
		{ "123456789", 123456789, false },
		{ "999999999999999999", 999999999999999999, false },
		{ "9999999999999999999", FT_ABSENT, true },
		{ "-5", -5, false },
		{ "12 ", 12, false },
		{ "", FT_ABSENT, false },
		{ "   ", FT_ABSENT, false },
		{ "1x", FT_ABSENT, true },
		{ "0112", 112, false },
		{ "\xff\xff", FT_ABSENT, true },
		{ "1:", FT_ABSENT, true },
		{ "1/2", FT_ABSENT, true },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		char text[80];
		struct read_audit r;
		int n = snprintf(text, sizeof text, "ST*001*1\r\nVA1*%s*1\r\nSE*3*1\r\n", cases[i].text);
		open_audit(&r, (struct ft_slice){ text, (size_t)n }, 0);
		if (r.facts->value[FT_EL_VA101] != cases[i].value)
			fail_msg("\"%s\" reads %lld", cases[i].text, (long long)r.facts->value[FT_EL_VA101]);
		assert_int_equal(has(&r, FT_RULE_AUDIT_BAD_NUMBER, FT_DOUBT), cases[i].bad);
		ft_arena_done(&r.arena);
	}
}

/* One change to a clean file, and the rule that must speak. */
static void each_rule(void **state)
{
	static const struct {
		const char *file, *from, *to;
		enum ft_rule_id rule;
		enum ft_weight weight;
	} cases[] = {
		{ "sample-1.dts", "PRETZEL", "PRETZAL", FT_RULE_AUDIT_CRC, FT_FAULT },
		{ "sample-1.dts", "G85*E5E7", "G85*1234", FT_RULE_AUDIT_CRC, FT_DOUBT },
		{ "sample-1.dts", "G85*E5E7", "G85*E5E7F", FT_RULE_AUDIT_CRC, FT_DOUBT },
		{ "sample-1.dts", "SE*63*", "SE*62*", FT_RULE_AUDIT_SEGMENT_COUNT, FT_DOUBT },
		{ "sample-1.dts", "SE*63*0001", "SE*63*0002", FT_RULE_AUDIT_CONTROL_NUMBER, FT_DOUBT },
		{ "sample-1.dts", "DXE*1*1", "DXE*2*1", FT_RULE_AUDIT_CONTROL_NUMBER, FT_DOUBT },
		{ "sample-1.dts", "DXE*1*1", "DXE*1*2", FT_RULE_AUDIT_CONTROL_NUMBER, FT_DOUBT },
		{ "sample-1.dts", "ID5*250310", "ID5*251310", FT_RULE_AUDIT_BAD_DATE, FT_DOUBT },
		{ "sample-1.dts", "ID5*250310*0815", "ID5*250310*2460", FT_RULE_AUDIT_BAD_DATE, FT_DOUBT },
		{ "sample-1.dts", "ID5*250310*0815", "ID5*000000*0000", FT_RULE_AUDIT_NO_CLOCK, FT_NOTE },
		{ "sample-1.dts", "ID4*2*", "ID4*0*", FT_RULE_AUDIT_DECIMALS, FT_DOUBT },
		{ "sample-1.dts", "PA1*12*", "PA1*10*", FT_RULE_AUDIT_DUPLICATE_SELECTION, FT_DOUBT },
		{ "sample-1.dts", "MA5*", "ZZ9*", FT_RULE_AUDIT_UNKNOWN_ELEMENT, FT_NOTE },
		{ "sample-1.dts", "AST-2207", "", FT_RULE_AUDIT_MISSING_ELEMENT, FT_NOTE },
		{ "sample-1.dts", "CA8*", "CA9*0*0\r\nCA9*", FT_RULE_AUDIT_REPEATED_SEGMENT, FT_DOUBT },
		{ "sample-1.dts", "VA1*293075", "VA1*293076", FT_RULE_AUDIT_SUM_BY_DEVICE, FT_DOUBT },
		{ "sample-1.dts", "PA2*275*", "PA2*276*", FT_RULE_AUDIT_SUM_BY_SELECTION, FT_DOUBT },
		{ "sample-1.dts", "PA4*4*800*3*600", "PA4*4*800*2*600", FT_RULE_AUDIT_SUM_BY_SELECTION, FT_DOUBT },
		{ "sample-1.dts", "VA2*2450*15*525*3", "VA2*2450*15*500*3", FT_RULE_AUDIT_SUM_BY_SELECTION, FT_DOUBT },
		{ "sample-1.dts", "*209685*", "*209680*", FT_RULE_AUDIT_CASH_IN, FT_DOUBT },
		{ "sample-1.dts", "CA4*6950*50*38950", "CA4*6950*50*38900", FT_RULE_AUDIT_CASH_PATHS, FT_DOUBT },
		{ "sample-1.dts", "CA15*2425", "CA15*2420", FT_RULE_AUDIT_TUBES, FT_DOUBT },
		{ "sample-1.dts", "CA2*166725*974*31150", "CA2*166725*974*931150", FT_RULE_AUDIT_PART_ABOVE_WHOLE, FT_DOUBT },
		{ "sample-1.dts", "RT07**10*6", "RT07**5*6", FT_RULE_AUDIT_READS_AND_RESETS, FT_DOUBT },
		{ "sample-2.dts", "PA7*1*DA*1*70*118*", "PA7*1*DA*1*70*117*", FT_RULE_AUDIT_SUM_BY_LIST, FT_DOUBT },
		{ "sample-2.dts", "245*19600*16*1280", "245*19600*16*1290", FT_RULE_AUDIT_SUM_BY_DEVICE, FT_DOUBT },
		{ "sample-2.dts", "CA13*5*1*1", "CA13*5*0*1", FT_RULE_AUDIT_CASH_IN, FT_DOUBT },
		{ "sample-2.dts", "LA1*1*3*100*7*150", "LA1*1*3*100*7*151", FT_RULE_AUDIT_SUM_BY_LIST, FT_DOUBT },
		{ "sample-2.dts", "CA11*100*32*32*0*401*401", "CA11*100*32*32*0*402*401", FT_RULE_AUDIT_CASH_IN, FT_DOUBT },
		{ "sample-2.dts", "CA12*50*52*4*624*14", "CA12*50*52*4*625*14", FT_RULE_AUDIT_TUBES, FT_DOUBT },
		{ "sample-2.dts", "DA2*86330*1292", "DA2*0*1292", FT_RULE_AUDIT_COUNT_WITHOUT_VALUE, FT_NOTE },
		{ "sample-3.dts", "PA1*1*50", "PA1*1*5000", FT_RULE_NONE, FT_NOTE },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct read_audit r;
		struct ft_buf changed = { 0 };
		char *owned;
		struct ft_slice bytes = load(cases[i].file, &owned);
		size_t at = ft_slice_find(bytes, ft_slice_of(cases[i].from));
		assert_true(at < bytes.n);
		ft_buf_put(&changed, bytes.p, at);
		ft_buf_puts(&changed, cases[i].to);
		at += strlen(cases[i].from);
		ft_buf_put(&changed, bytes.p + at, bytes.n - at);
		open_audit(&r, ft_buf_text(&changed), 0);
		assert_round_trip(&r.audit);
		if (cases[i].rule != FT_RULE_NONE && !has(&r, cases[i].rule, cases[i].weight))
			fail_msg("case %zu: %s to %s: %s did not speak", i, cases[i].from, cases[i].to, ft_rule(cases[i].rule)->id);
		ft_arena_done(&r.arena);
		ft_buf_done(&changed);
		free(owned);
	}
}

/* G85 with the low byte first is right too, and the check says so. */
static void crc_either_order(void **state)
{
	char *owned;
	struct ft_slice bytes = load("sample-1.dts", &owned);
	size_t at = ft_slice_find(bytes, FT_SLICE("E5E7"));
	struct read_audit r;

	(void)state;
	memcpy(owned + at, "E7e5", 4);
	open_audit(&r, bytes, 0);
	assert_true(r.check.swapped);
	assert_int_equal(r.findings.faults + r.findings.doubts, 0);
	ft_arena_done(&r.arena);
	free(owned);
}

/* A copy whose line ends were converted is as right as the machine's own bytes; a changed one shows nothing. */
static void crc_of_converted_copies(void **state)
{
	static const char *const ends[] = { "\n", "\r" };
	char *owned;
	struct ft_slice bytes = load("sample-2.dts", &owned);

	(void)state;
	for (size_t k = 0; k < 2 * sizeof ends / sizeof *ends; k++) {
		struct ft_buf copy = { 0 };
		struct read_audit r;
		for (size_t i = 0; i < bytes.n; i++)
			if (bytes.p[i] == '\n')
				ft_buf_puts(&copy, ends[k / 2]);
			else if (bytes.p[i] != '\r')
				ft_buf_byte(&copy, (uint8_t)(k % 2 && bytes.p[i] == 'W' ? 'V' : bytes.p[i]));
		open_audit(&r, ft_buf_text(&copy), 0);
		assert_int_equal(has(&r, FT_RULE_AUDIT_CRC, FT_DOUBT), k % 2);
		assert_int_equal(r.findings.faults, 0);
		assert_int_equal(r.findings.doubts, k % 2);
		assert_int_equal(r.check.computed == 0xC7B3, k % 2 == 0); /* G85 of the sample as it was made */
		ft_arena_done(&r.arena);
		ft_buf_done(&copy);
	}
	free(owned);
}

/* Note 6: CA304/308 whole or minor, by CA309/310 or by what closes; a yen machine has no difference. */
static void bills(void **state)
{
	static const struct {
		const char *text;
		enum ft_bills bills;
		int64_t init, reset;
	} cases[] = {
		{ "ID4*2\r\nCA3*1500*400*100*10*2500*400*100*20\r\n", FT_BILLS_WHOLE, 2000, 1000 },
		{ "ID4*2\r\nCA3*1500*400*100*1000*2500*400*100*2000\r\n", FT_BILLS_MINOR, 2000, 1000 },
		{ "CA3*1500*400*100*10*2500*400*100*20\r\n", FT_BILLS_WHOLE, 2000, 1000 },
		{ "ID4*0\r\nCA3*1500*400*100*1000*2500*400*100*2000\r\n", FT_BILLS_MINOR, 2000, 1000 },
		{ "ID4*2\r\nCA3*1500*400*100**2500*400*100**1000*2000\r\n", FT_BILLS_NONE, 2000, 1000 },
		{ "ID4*2\r\nCA3*0*0*0*150*0*0*0*150*15000*15000\r\n", FT_BILLS_WHOLE, 15000, 15000 },
		{ "ID4*2\r\nCA3*1500*400*100*7*2500*400*100*7\r\n", FT_BILLS_UNSURE, FT_ABSENT, FT_ABSENT },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		char text[200];
		struct read_audit r;
		int n = snprintf(text, sizeof text, "ST*001*1\r\n%sSE*3*1\r\n", cases[i].text);
		open_audit(&r, (struct ft_slice){ text, (size_t)n }, 0);
		if (r.facts->bills != cases[i].bills || r.facts->bills_in_init != cases[i].init ||
		    r.facts->bills_in_reset != cases[i].reset)
			fail_msg("case %zu: %d %lld %lld", i, r.facts->bills, (long long)r.facts->bills_in_init,
			         (long long)r.facts->bills_in_reset);
		assert_int_equal(has(&r, FT_RULE_AUDIT_CASH_IN, FT_DOUBT), cases[i].bills == FT_BILLS_UNSURE || i == 5);
		ft_arena_done(&r.arena);
	}
}

/* A file may hold as many sets or selections as it has lines; the test's time limit is what fails here. */
static void reads_hostile_numbers_of_rows(void **state)
{
	enum { LINES = 60000 };
	struct ft_buf b = { 0 };
	struct ft_slice text;
	struct read_audit r;
	size_t told = 0;

	(void)state;
	ft_buf_puts(&b, "DXS*QQC0000003*VA*V0/6*1\n");
	for (int i = 0; i < LINES; i++)
		ft_buf_puts(&b, "ST*001*0001\nSE*2*0001\n");
	ft_buf_puts(&b, "DXE*1*1\n");
	for (int i = 0; i < LINES; i++)
		ft_buf_puts(&b, "ST*001*0001\n");
	assert_int_equal(b.status, FT_OK);
	text = ft_buf_text(&b);
	open_audit(&r, text, 0);
	assert_int_equal(r.audit.set_count, 2 * LINES);
	for (size_t i = 0; i < r.audit.set_count; i++) {
		r.findings.count = 0;
		assert_int_equal(ft_audit_facts(&r.audit, &r.audit.sets[i], &r.arena, r.facts, &r.error), FT_OK);
		ft_audit_judge(r.facts, NULL, ft_crc16, &r.findings, &r.check);
		for (size_t k = 0; k < r.findings.count; k++)
			told += r.findings.list[k].where.element && strcmp(r.findings.list[k].where.element, "DXE02") == 0;
	}
	assert_int_equal(told, 1); /* one transmission, one wrong count of its sets */
	ft_arena_done(&r.arena);
	ft_buf_clear(&b);
	ft_buf_puts(&b, "ST*001*0001\n");
	for (int i = 0; i < LINES; i++)
		ft_buf_printf(&b, "PA1*%d*100\nLA1*0*none*100*1*1\n", i);
	ft_buf_puts(&b, "SE*3*0001\n");
	assert_int_equal(b.status, FT_OK);
	open_audit(&r, ft_buf_text(&b), 0);
	assert_int_equal(r.facts->selection_count, LINES);
	assert_int_equal(r.facts->rows[LINES - 1].selection, -1);
	ft_arena_done(&r.arena);
	ft_buf_done(&b);
}

static void unset_rows(void **state)
{
	static const char *const texts[] = { "ST*001*1\r\nPA1*1*80\r\nPA7*1*DB*3*65535*7*4294967295*0*0\r\nSE*4*1\r\n",
		                                 "ST*001*1\r\nPA1*1*80\r\nLA1*4*1*65535*0*7\r\nSE*4*1\r\n" };

	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct ft_summary s;
		struct ft_list_row row;
		struct read_audit r;
		open_audit(&r, ft_slice_of(texts[i]), 0);
		assert_int_equal(ft_audit_summary(r.facts, &r.arena, &s, &r.error), FT_OK);
		assert_int_equal(s.selections[0].list_count, 1);
		row = s.selections[0].lists[0];
		assert_true(row.price == FT_ABSENT && row.value == FT_ABSENT);
		assert_true(row.count == 7 && row.count_since_reset == 0);
		ft_arena_done(&r.arena);
	}
}

static void summary(void **state)
{
	struct ft_summary s;
	struct read_audit r;
	char *owned;

	(void)state;
	open_audit(&r, load("sample-2.dts", &owned), 0);
	assert_int_equal(ft_audit_summary(r.facts, &r.arena, &s, &r.error), FT_OK);
	assert_true(ft_slice_is(s.serial, "K20-118827") && ft_slice_is(s.location, "LOBBY EAST"));
	assert_string_equal(s.currency->alpha, "EUR");
	assert_string_equal(s.clock, "2025-04-04T16:42:10");
	assert_true(s.paid.value == 190830 && s.cashless_1.count_since_reset == 87);
	assert_true(s.to_tubes.init == 50670 && s.to_tubes.reset == 3345 && s.dispensed_by_hand.init == 700);
	assert_int_equal(s.selection_count, 5);
	assert_int_equal(s.selections[2].list_count, 3);
	assert_true(s.selections[2].lists[1].value == 15000 && ft_slice_is(s.selections[2].lists[1].device, "DA"));
	assert_int_equal(s.event_count, 5);
	assert_true(s.events[2].counted && s.events[2].count == 4);
	assert_true(s.reads == 13 && s.resets == 12 && s.power_outages == 3);
	assert_int_equal(s.reliance.price_lists, FT_RELY_FULL);
	assert_int_equal(s.reliance.cash_out, FT_RELY_FULL);
	ft_arena_done(&r.arena);
	free(owned);
	open_audit(&r, load("sample-3.dts", &owned), 0);
	assert_int_equal(ft_audit_summary(r.facts, &r.arena, &s, &r.error), FT_OK);
	assert_int_equal(s.reliance.cashless, FT_RELY_NONE);
	assert_int_equal(s.reliance.clock, FT_RELY_NONE);
	assert_true(s.test.value == FT_ABSENT && s.reads == 31);
	assert_false(s.decimals_known);
	ft_arena_done(&r.arena);
	free(owned);
}

static void event_codes(void **state)
{
	bool listed;

	(void)state;
	assert_non_null(ft_event_meaning(FT_SLICE("EAU_000C"), &listed));
	assert_true(listed);
	assert_string_equal(ft_event_meaning(FT_SLICE("EJB_12"), &listed), ft_event_meaning(FT_SLICE("EJB"), NULL));
	assert_string_equal(ft_event_meaning(FT_SLICE("EG"), &listed), "cabinet and door");
	assert_false(listed);
	assert_null(ft_event_meaning(FT_SLICE("NSA"), &listed));
}

/* Every element of the dictionary is found at its place, under the name it bears. */
static void dictionary(void **state)
{
	(void)state;
	for (int i = 0; i < FT_EL_COUNT; i++) {
		const struct ft_element_def *d = ft_element_def((enum ft_element_id)i);
		assert_int_equal(ft_element_at(d->segment, (unsigned)d->position), i);
		assert_int_equal(ft_segment_find(ft_slice_of(ft_segment_def(d->segment)->name)), d->segment);
	}
	assert_int_equal(FT_EL_COUNT, 399); /* rows of the minimum data list as we hold it */
	assert_int_equal(ft_segment_find(FT_SLICE("ZZ9")), FT_SEG_NONE);
	assert_int_equal(ft_element_at(FT_SEG_DA7, 5), FT_EL_NONE);
	assert_int_equal(ft_element_def(FT_EL_CA501)->trust, FT_TRUST_DOUBTFUL);
}

static void cells(void **state)
{
	struct read_audit r;
	struct ft_cell *c;
	size_t n, found = 0;
	char *owned;

	(void)state;
	open_audit(&r, load("sample-2.dts", &owned), 0);
	assert_int_equal(ft_audit_cells(r.facts, &r.arena, &c, &n, &r.error), FT_OK);
	for (size_t i = 0; i < n; i++) {
		if (c[i].element == FT_EL_PA706 && ft_slice_is(c[i].selection, "3") && ft_slice_is(c[i].key[0], "DA") &&
		    ft_slice_is(c[i].key[1], "2") && c[i].number == 8480)
			found |= 1;
		if (c[i].element == FT_EL_CA1105 && ft_slice_is(c[i].key[0], "50") && c[i].number == 781)
			found |= 2;
		if (c[i].element == FT_EL_PA202 && ft_slice_is(c[i].selection, "5") && c[i].number == 11810)
			found |= 4;
		if (c[i].element == FT_EL_EA203 && ft_slice_is(c[i].key[0], "EGN") && c[i].number == 5)
			found |= 8;
	}
	assert_int_equal(found, 15);
	ft_arena_done(&r.arena);
	free(owned);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(samples),
		cmocka_unit_test(reading),
		cmocka_unit_test(block_edges),
		cmocka_unit_test(numbers),
		cmocka_unit_test(each_rule),
		cmocka_unit_test(crc_either_order),
		cmocka_unit_test(crc_of_converted_copies),
		cmocka_unit_test(bills),
		cmocka_unit_test(reads_hostile_numbers_of_rows),
		cmocka_unit_test(summary),
		cmocka_unit_test(unset_rows),
		cmocka_unit_test(event_codes),
		cmocka_unit_test(dictionary),
		cmocka_unit_test(cells),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
