/* SPDX-License-Identifier: Apache-2.0 */
#include "unit.h"

#include "fettle/paper.h"

static void unhex(const char *text, uint8_t *ret)
{
	for (size_t i = 0; text[2 * i]; i++) {
		uint32_t byte = 0;
		assert_true(ft_slice_hex((struct ft_slice){ text + 2 * i, 2 }, &byte));
		ret[i] = (uint8_t)byte;
	}
}

/* RFC 8032 section 7.1: TEST 1, 2, 3 and SHA(abc). */
static void signs_as_the_standard_says(void **state)
{
	static const struct {
		const char *seed, *public_key, *message, *signature;
	} cases[] = {
		{ "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
		  "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
		  "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
		  "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b" },
		{ "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
		  "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
		  "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
		  "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00" },
		{ "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
		  "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
		  "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
		  "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a" },
		{ "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
		  "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
		  "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
		  "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
		  "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b589"
		  "09351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704" },
	};
	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		uint8_t seed[FT_SEED_BYTES], public_key[FT_PUBLIC_BYTES], message[64], want[FT_SIGNATURE_BYTES],
			got[FT_SIGNATURE_BYTES];
		struct ft_slice text = { (const char *)message, strlen(cases[i].message) / 2 };
		struct ft_key k;
		unhex(cases[i].seed, seed);
		unhex(cases[i].public_key, public_key);
		unhex(cases[i].message, message);
		unhex(cases[i].signature, want);
		assert_int_equal(ft_key_make(seed, FT_SLICE("Test"), &k, NULL), FT_OK);
		assert_memory_equal(k.public_key, public_key, sizeof public_key);
		ft_sign(&k, text, got);
		assert_memory_equal(got, want, sizeof want);
		assert_true(ft_sign_check(public_key, text, want));
		want[i] ^= 1;
		assert_false(ft_sign_check(public_key, text, want));
		ft_key_done(&k);
		for (size_t b = 0; b < sizeof k; b++)
			assert_int_equal(((const char *)&k)[b], 0);
	}
}

static struct ft_key key_of(uint8_t first, const char *name)
{
	uint8_t seed[FT_SEED_BYTES] = { first };
	struct ft_key k;

	assert_int_equal(ft_key_make(seed, ft_slice_of(name), &k, NULL), FT_OK);
	return k;
}

static void keys_come_back(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_key one = key_of(1, "Ada Fitter"), two = key_of(2, "J\xc3\xb6rg Werk"), *got;
	struct ft_buf file = { 0 };
	struct ft_error e = { 0 };
	uint8_t seed[FT_SEED_BYTES] = { 0 };
	size_t count;
	(void)state;
	ft_buf_puts(&file, "# our people\r\n\n");
	ft_key_write(&one, true, &file);
	ft_key_write(&two, false, &file);
	assert_int_equal(ft_keys_read(ft_buf_text(&file), "the keys", &a, &got, &count, &e), FT_OK);
	assert_int_equal(count, 2);
	assert_memory_equal(&got[0], &one, sizeof one);
	assert_false(got[1].secret);
	assert_string_equal(got[1].name, two.name);
	assert_memory_equal(got[1].public_key, two.public_key, FT_PUBLIC_BYTES);

	static const struct {
		const char *text, *says;
	} bad[] = {
		{ "public: 00\n", "Line 1 of" },
		{ "name: A\npublic: 00\n", "Line 2 of" },
		{ "name: A\n", "has no line" },
		{ "name: A\nname: B\n", "has no line" },
		{ "name: \x01\n", "Line 1 of" },
		{ "name: A\npublic: d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a\nsecret: "
		  "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb\n",
		  "does not belong" },
	};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		e = (struct ft_error){ 0 };
		assert_int_equal(ft_keys_read(ft_slice_of(bad[i].text), "the keys", &a, &got, &count, &e), FT_E_INPUT);
		assert_non_null(strstr(e.text, bad[i].says));
	}
	assert_int_equal(ft_key_make(seed, FT_SLICE("  "), &one, NULL), FT_E_USAGE);
	assert_int_equal(ft_key_make(seed, FT_SLICE("two\nlines"), &one, NULL), FT_E_USAGE);
	assert_int_equal(ft_key_make(seed, FT_SLICE("\xff"), &one, NULL), FT_E_USAGE);
	ft_buf_done(&file);
	ft_arena_done(&a);
}

#define HEX32    "0123456789abcdef0123456789abcdef"
#define EVIDENCE "evidence/" HEX32 HEX32 ".audit"

static void names_are_only_ours(void **state)
{
	static const char *const good[] = { "handover.json",
		                                "handover.pdf",
		                                "machines.csv",
		                                "manifest.json",
		                                "signature.json",
		                                EVIDENCE,
		                                "evidence/" HEX32 HEX32 ".h264" };
	static const char *const bad[] = { "",
		                               "/handover.json",
		                               "../handover.json",
		                               "evidence/../../x",
		                               "HANDOVER.JSON",
		                               "evidence/",
		                               "evidence/" HEX32 ".csv",
		                               "evidence/" HEX32 HEX32,
		                               "evidence/" HEX32 HEX32 ".",
		                               "evidence/" HEX32 HEX32 "./x",
		                               "evidence/" HEX32 HEX32 ".CSV",
		                               EVIDENCE "longer",
		                               "evidence/0123456789ABCDEF0123456789abcdef" HEX32 ".csv",
		                               "evidence\\" HEX32 HEX32 ".csv" };
	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++)
		assert_true(ft_member_name_good(ft_slice_of(good[i])));
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
		assert_false(ft_member_name_good(ft_slice_of(bad[i])));
}

/* A small sealed package; `members` gets seven rows. */
static void seal(struct ft_member members[6], const struct ft_key *k, struct ft_buf *manifest, struct ft_buf *signature)
{
	members[0] = (struct ft_member){ "handover.json", FT_SLICE("{}\n") };
	members[1] = (struct ft_member){ "handover.pdf", FT_SLICE("%PDF") };
	members[2] = (struct ft_member){ "machines.csv", FT_SLICE("asset\nBD-0417\n") };
	members[3] = (struct ft_member){ EVIDENCE, FT_SLICE("DXS*\r\n") };
	ft_buf_clear(manifest);
	ft_buf_clear(signature);
	ft_manifest_write(members, 4, k, manifest);
	ft_signature_write(k, ft_buf_text(manifest), signature);
	members[4] = (struct ft_member){ "manifest.json", ft_buf_text(manifest) };
	members[5] = (struct ft_member){ "signature.json", ft_buf_text(signature) };
}

struct bench {
	struct ft_arena arena;
	struct ft_findings findings;
	struct ft_error error;
	struct ft_buf manifest, signature, zip;
	struct ft_member members[8];
	struct ft_opened opened;
	struct ft_key key;
};

static void bench_start(struct bench *b)
{
	memset(b, 0, sizeof *b);
	b->key = key_of(7, "Ada Fitter");
	seal(b->members, &b->key, &b->manifest, &b->signature);
}

static enum ft_status bench_open(struct bench *b, const struct ft_key *trusted, size_t count, bool only)
{
	b->findings = (struct ft_findings){ .arena = &b->arena };
	b->error = (struct ft_error){ 0 };
	return ft_package_open(ft_buf_text(&b->zip), trusted, count, only, &b->arena, &b->findings, &b->opened, &b->error);
}

static enum ft_status bench_pack(struct bench *b, size_t count)
{
	ft_buf_clear(&b->zip);
	return ft_zip_write(b->members, count, INT64_C(1773061511000000), 60, &b->zip, &b->error);
}

static void bench_end(struct bench *b)
{
	ft_buf_done(&b->manifest);
	ft_buf_done(&b->signature);
	ft_buf_done(&b->zip);
	ft_arena_done(&b->arena);
}

static void a_sealed_package_opens(void **state)
{
	struct bench b;
	struct ft_key other = key_of(9, "Somebody");
	struct ft_buf again = { 0 };
	(void)state;
	bench_start(&b);
	assert_int_equal(bench_pack(&b, 6), FT_OK);
	assert_int_equal(ft_zip_write(b.members, 6, INT64_C(1773061511000000), 60, &again, NULL), FT_OK);
	assert_int_equal(again.n, b.zip.n);
	assert_memory_equal(again.p, b.zip.p, again.n);
	assert_int_equal(bench_open(&b, &b.key, 1, true), FT_OK);
	assert_int_equal(b.findings.count, 0);
	assert_true(b.opened.sealed && b.opened.known);
	assert_string_equal(b.opened.signed_by, "Ada Fitter");
	assert_int_equal(b.opened.member_count, 6);
	assert_true(ft_slice_is(ft_package_member(&b.opened, EVIDENCE), "DXS*\r\n"));
	assert_null(ft_package_member(&b.opened, "evidence/none").p);

	assert_int_equal(bench_open(&b, NULL, 0, false), FT_OK);
	assert_true(b.opened.sealed && !b.opened.known);
	assert_int_equal(b.findings.count, 1);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_UNKNOWN_SIGNER);
	assert_int_equal(ft_verdict_of(&b.findings, false), FT_OPEN);
	assert_int_equal(bench_open(&b, &other, 1, true), FT_OK);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_OTHER_SIGNER);
	assert_int_equal(ft_verdict_of(&b.findings, false), FT_CONTRADICTED);
	ft_buf_done(&again);
	bench_end(&b);
}

/* Each tampering with the one rule that must name it. */
static void tampering_is_named(void **state)
{
	struct bench b;
	(void)state;
	bench_start(&b);
	b.members[3].bytes = FT_SLICE("DXS+\r\n");
	assert_int_equal(bench_pack(&b, 6), FT_OK);
	assert_int_equal(bench_open(&b, &b.key, 1, false), FT_OK);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_CHANGED_MEMBER);
	assert_string_equal(b.findings.list[0].where.file, EVIDENCE);
	assert_false(b.opened.sealed);

	seal(b.members, &b.key, &b.manifest, &b.signature);
	b.members[1] = b.members[5]; /* the PDF is left out */
	assert_int_equal(bench_pack(&b, 5), FT_OK);
	assert_int_equal(bench_open(&b, &b.key, 1, false), FT_OK);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_MISSING_MEMBER);
	assert_string_equal(b.findings.list[0].where.file, "handover.pdf");

	seal(b.members, &b.key, &b.manifest, &b.signature);
	b.members[6] = (struct ft_member){ "evidence/" HEX32 HEX32 ".csv", FT_SLICE("a,b\n") };
	assert_int_equal(bench_pack(&b, 7), FT_OK);
	assert_int_equal(bench_open(&b, &b.key, 1, false), FT_OK);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_EXTRA_MEMBER);

	seal(b.members, &b.key, &b.manifest, &b.signature);
	b.manifest.p[b.manifest.n - 1] = ' '; /* still JSON, still the same content, another byte */
	assert_int_equal(bench_pack(&b, 6), FT_OK);
	assert_int_equal(bench_open(&b, &b.key, 1, false), FT_OK);
	assert_int_equal(b.findings.count, 1);
	assert_int_equal(b.findings.list[0].rule, FT_RULE_HANDOVER_SIGNATURE);
	assert_false(b.opened.sealed);
	bench_end(&b);
}

static void no_package_is_refused(void **state)
{
	struct bench b;
	struct ft_buf big = { 0 };
	(void)state;
	bench_start(&b);
	assert_int_equal(bench_open(&b, NULL, 0, false), FT_E_INPUT); /* empty */
	ft_buf_puts(&b.zip, "DXS*ABC0000000*VA*V1/1*1**\r\nST*001*0001\r\n");
	assert_int_equal(bench_open(&b, NULL, 0, false), FT_E_INPUT);
	b.members[6] = b.members[0];
	assert_int_equal(bench_pack(&b, 7), FT_OK);
	assert_int_equal(bench_open(&b, NULL, 0, false), FT_E_INPUT);
	assert_non_null(strstr(b.error.text, "two members named handover.json"));
	assert_int_equal(bench_pack(&b, 4), FT_OK);
	assert_int_equal(bench_open(&b, NULL, 0, false), FT_E_INPUT);
	assert_non_null(strstr(b.error.text, "has no manifest.json"));
	b.members[4] = (struct ft_member){ "manifest.json", FT_SLICE("{\"manifest\":1,") };
	assert_int_equal(bench_pack(&b, 6), FT_OK);
	assert_int_equal(bench_open(&b, NULL, 0, false), FT_E_INPUT);

	/* Cut off anywhere, it is refused or at least never sealed. */
	seal(b.members, &b.key, &b.manifest, &b.signature);
	assert_int_equal(bench_pack(&b, 6), FT_OK);
	for (size_t whole = b.zip.n, n = whole; n-- > 0;) {
		b.zip.n = n;
		assert_int_equal(bench_open(&b, &b.key, 1, false), FT_E_INPUT);
		b.zip.n = whole;
	}
	/* Any byte changed: the content is what was signed, or the package is not sealed. */
	for (size_t i = 0; i < b.zip.n; i++) {
		b.zip.p[i] ^= 0x10;
		if (bench_open(&b, &b.key, 1, false) == FT_OK && b.opened.sealed) {
			assert_true(ft_slice_is(ft_package_member(&b.opened, EVIDENCE), "DXS*\r\n"));
			assert_true(ft_slice_is(ft_package_member(&b.opened, "handover.json"), "{}\n"));
		}
		b.zip.p[i] ^= 0x10;
		ft_arena_reset(&b.arena);
	}
	ft_buf_done(&big);
	bench_end(&b);
}

/* What we pack ourselves must open, however well it packs; what packs like a trap must not. */
static void traps_are_refused(void **state)
{
	struct bench b;
	size_t n = 24U << 20;
	char *zeros = test_calloc(1, n);
	(void)state;
	bench_start(&b);
	b.members[3].bytes = (struct ft_slice){ zeros, n };
	assert_int_equal(bench_pack(&b, 4), FT_OK);
	assert_true(b.zip.n > n); /* stored */
	struct ft_member *got;
	size_t count;
	assert_int_equal(ft_zip_read(ft_buf_text(&b.zip), &b.arena, &got, &count, &b.error), FT_OK);
	test_free(zeros);
	bench_end(&b);
}

static void cautions_stand_on_sources(void **state)
{
	const struct ft_caution *c;
	size_t n = ft_cautions(&c);
	(void)state;
	assert_true(n > 10);
	assert_string_equal(c[0].id, "first");
	assert_non_null(strstr(c[0].sentence, "local codes"));
	for (size_t i = 0; i < n; i++) {
		assert_true(*c[i].source && *c[i].title);
		assert_true(!strcmp(c[i].trust, "statute") || !strcmp(c[i].trust, "from memory") ||
		            !strcmp(c[i].trust, "common practice"));
		assert_int_equal(c[i].sentence[strlen(c[i].sentence) - 1], '.');
	}
}

static void mappings_are_checked_by_line(void **state)
{
	static const struct {
		const char *text, *says;
	} bad[] = {
		{ "column,form\na,asset\n", "no column \"from\"" },
		{ "column,from,format\nA,asset,text\nB,nothing,text\n", "Line 3" },
		{ "column,from,format\nA,asset,sideways\n", "Line 2" },
		{ "column,from,format\nA,asset,text\nA,unit,text\n", "twice" },
		{ "column,from,format\n,asset,text\n", "Line 2" },
		{ "column,from,format\n", "no columns" },
	};
	struct ft_arena a = { 0 };
	const struct ft_column *fixed;
	struct ft_column *c;
	size_t n;
	(void)state;
	assert_true(ft_mapping_default(&fixed) > 10);
	assert_int_equal(
		ft_mapping_read(FT_SLICE("column;from;format\nAnlage;asset;\nKasse;cash_in;money-comma\nArt;fixed;visit\n"), &a,
	                    &c, &n, NULL),
		FT_OK);
	assert_int_equal(n, 3);
	assert_string_equal(c[0].format, "text");
	assert_string_equal(c[1].from, "cash_in");
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct ft_error e = { 0 };
		assert_int_equal(ft_mapping_read(ft_slice_of(bad[i].text), &a, &c, &n, &e), FT_E_INPUT);
		assert_non_null(strstr(e.text, bad[i].says));
	}
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(signs_as_the_standard_says),
		cmocka_unit_test(keys_come_back),
		cmocka_unit_test(names_are_only_ours),
		cmocka_unit_test(a_sealed_package_opens),
		cmocka_unit_test(tampering_is_named),
		cmocka_unit_test(no_package_is_refused),
		cmocka_unit_test(traps_are_refused),
		cmocka_unit_test(cautions_stand_on_sources),
		cmocka_unit_test(mappings_are_checked_by_line),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
