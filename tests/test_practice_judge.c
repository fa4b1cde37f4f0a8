/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine before the audit room: honest machines give neither doubt nor fault, and the
 * faults that one file can show are found. */
#include "unit.h"

#include <stdio.h>

#include "fettle/audit.h"
#include "fettle/practice.h"

struct judged {
	size_t faults, doubts;
	bool whole;
	char first[300];
};

static struct judged judge(const char *machine, uint64_t seed, const char *const *lines)
{
	struct ft_arena a = { 0 };
	struct ft_findings findings = { .arena = &a };
	struct ft_buf b = { 0 };
	struct ft_error e = { 0 };
	struct ft_practice *p;
	struct ft_practice_wish w;
	struct ft_audit d;
	struct ft_facts *f = FT_NEW(&a, struct ft_facts);
	struct ft_audit_check check;
	struct judged j = { 0 };

	assert_int_equal(ft_practice_new(ft_practice_builtin(ft_slice_of(machine))->description, machine, seed, &a, &p, &e),
	                 FT_OK);
	for (; lines && *lines; lines++)
		if (ft_practice_do(p, ft_slice_of(*lines), 0, &w, &e) != FT_OK)
			fail_msg("%s", e.text);
	assert_int_equal(ft_practice_audit(p, FT_SLICE("TEST"), &b, &e), FT_OK);
	assert_int_equal(ft_audit_read(ft_buf_text(&b), &a, &d, &e), FT_OK);
	assert_int_equal(d.set_count, 1);
	assert_int_equal(ft_audit_facts(&d, &d.sets[0], &a, f, &e), FT_OK);
	ft_audit_judge(f, NULL, ft_crc16, &findings, &check);
	j.faults = findings.faults;
	j.doubts = findings.doubts;
	j.whole = check.whole;
	for (size_t i = 0; i < findings.count && !j.first[0]; i++)
		if (findings.list[i].weight != FT_NOTE)
			snprintf(j.first, sizeof j.first, "%s: %s", ft_rule(findings.list[i].rule)->id,
			         findings.list[i].seen ? findings.list[i].seen : "");
	ft_practice_done(p);
	ft_buf_done(&b);
	ft_arena_done(&a);
	return j;
}

static void honest_machines_are_clean(void **state)
{
	static const char *const lives[3][12] = {
		{ "sell 11 coins 100 25 25", "sell 21 bill 500", "sell 15 card", "sell 11 token", "test 31", "free 33",
		  "fill 25 10", "payout 10 3", "insert coin 100", "power off", "power on", NULL },
		{ "sell 1 coins 50 50", "sell 2 bill 500", "sell 3 card list 2", "topup bill 1000", "test 4", "free 5",
		  "fill 10 9", "payout 50 2", "sell 1 coins 50 50 fail", NULL },
		{ "sell 1 coins 50 5", "sell 2 coins 100", "fill 5 9", "payout 10 2", "jam 3", "sell 3 coins 50 20", NULL },
	};
	static const char *const names[] = { "snack", "hotdrink", "coinbox" };

	(void)state;
	for (int m = 0; m < 3; m++)
		for (uint64_t seed = 0; seed < 20; seed++) {
			struct judged j = judge(names[m], seed, seed % 2 ? lives[m] : NULL);
			if (j.faults || j.doubts || !j.whole)
				fail_msg("%s, seed %llu: %s", names[m], (unsigned long long)seed, j.first);
		}
}

static void faults_show_in_one_file(void **state)
{
	static const char *const cases[][4] = {
		{ "fault wrong-checksum", NULL },
		{ "fault cut-short", NULL },
		{ "fault cashless-as-cash", "sell 11 card", NULL },
		{ "fault cash-in-lost", "sell 11 coins 100 25 25", NULL },
		{ "fault not-counted", "sell 11 coins 100 25 25", NULL },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct judged j = judge("snack", 4, cases[i]);
		if (!j.faults && !j.doubts)
			fail_msg("%s goes unseen", cases[i][0]);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(honest_machines_are_clean),
		                                cmocka_unit_test(faults_show_in_one_file) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
