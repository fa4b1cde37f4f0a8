/* SPDX-License-Identifier: Apache-2.0 */
/* The survey's judgement: cases with what they must come to, and what must hold whatever is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "fettle/random.h"
#include "fettle/stamp.h"
#include "fettle/survey.h"

static const char *demo, *cases;
static struct ft_arena room;
static struct ft_catalogue fleet;

static struct ft_slice file(const char *folder, const char *name)
{
	char *path = ft_arena_printf(&room, "%s/%s.csv", folder, name), *p = ft_arena_raw(&room, 1 << 20);
	FILE *f = fopen(path, "rb");
	struct ft_slice s = { p, 0 };

	assert_non_null(f);
	s.n = fread(p, 1, 1 << 20, f);
	assert_int_equal(fclose(f), 0);
	return s;
}

static void read_into(enum ft_table t, struct ft_slice bytes, struct ft_catalogue *c)
{
	struct ft_table_notes notes = { 0 };
	struct ft_error e = { 0 };

	if (ft_table_read(t, bytes, ft_table_word(t), &room, c, &notes, &e) != FT_OK)
		fail_msg("%s", e.text);
}

static int open_fleet(void **state)
{
	(void)state;
	for (int t = 0; t < FT_TABLE_COUNT; t++)
		read_into((enum ft_table)t, file(demo, ft_table_word((enum ft_table)t)), &fleet);
	return 0;
}

static int close_fleet(void **state)
{
	(void)state;
	ft_arena_done(&room);
	return 0;
}

static struct ft_survey *begin(const struct ft_catalogue *c, bool learn)
{
	struct ft_survey_priors p;
	struct ft_survey *s = NULL;

	ft_survey_priors(&p);
	p.learn = learn;
	assert_int_equal(ft_survey_begin(c, &p, &room, &s, NULL), FT_OK);
	return s;
}

static struct ft_survey_machine judged(const struct ft_survey *s, const struct ft_survey_row *row)
{
	struct ft_survey_machine m;

	assert_int_equal(ft_survey_judge(s, row, "it", &room, &m, NULL), FT_OK);
	return m;
}

static const struct ft_survey_item *item(const struct ft_survey_machine *m, struct ft_slice part)
{
	for (size_t i = 0; i < m->item_count; i++)
		if (ft_slice_eq(m->kit[i].part, part))
			return &m->kit[i];
	return NULL;
}

static void check_kit(const struct ft_survey_machine *m, struct ft_slice wanted, const char *legend)
{
	struct ft_slice one;

	while (wanted.n && ft_slice_split(&wanted, ' ', &one)) {
		size_t colon = ft_slice_find(one, FT_SLICE(":"));
		const struct ft_survey_item *x = item(m, (struct ft_slice){ one.p, colon });
		struct ft_slice chance =
			colon < one.n ? (struct ft_slice){ one.p + colon + 1, one.n - colon - 1 } : FT_SLICE("1");
		bool none = ft_slice_is(chance, "none");
		double p = 0;
		assert_true(none || ft_figure(chance, &p));
		if (none != !x || (x && fabs(x->chance - p) > 1e-9))
			fail_msg("%s: %.*s has the chance %g", legend, FT_P(one), x ? x->chance : 0);
	}
}

static void each_case_comes_to_what_it_must(void **state)
{
	struct ft_slice bytes = file(cases, "cases");
	struct ft_catalogue c = fleet;
	struct ft_csv t = { 0 };
	struct ft_survey *s;

	(void)state;
	assert_int_equal(ft_csv_read(bytes, "cases", &room, &t, NULL), FT_OK);
	read_into(FT_TABLE_SURVEY, bytes, &c);
	assert_int_equal(c.row_count, t.count);
	assert_true(c.row_count >= 20);
	s = begin(&c, false);
	for (size_t i = 0; i < c.row_count; i++) {
		const char *legend = ft_arena_text(&room, ft_csv_field(&t.rows[i], ft_csv_column(&t, "legend")));
		struct ft_slice possible = ft_csv_field(&t.rows[i], ft_csv_column(&t, "possible"));
		struct ft_survey_machine m = judged(s, &c.rows[i]);
		unsigned can = 0;
		for (size_t k = 0; k < possible.n; k++)
			can |= 1U << (strchr("rpuc", possible.p[k]) - "rpuc");
		if (!ft_slice_is(ft_csv_field(&t.rows[i], ft_csv_column(&t, "fit")), ft_fit_word(m.fit)) || m.can != can)
			fail_msg("%s: %s, possible %u", legend, ft_fit_word(m.fit), m.can);
		check_kit(&m, ft_csv_field(&t.rows[i], ft_csv_column(&t, "kit")), legend);
		assert_int_equal(m.verdict,
		                 m.fit <= FT_FIT_WITH_PARTS   ? FT_SHOWN
		                     : m.fit == FT_FIT_CANNOT ? FT_CONTRADICTED
		                                              : FT_OPEN);
	}
}

/* Facts of `from` over to `to`, one after the other. */
enum { FACTS = 17 };

static void tell_fact(struct ft_survey_row *to, const struct ft_survey_row *from, unsigned fact)
{
	switch (fact) {
	case 0:
		to->family = from->family;
		break;
	case 1:
		to->revision = from->revision;
		break;
	case 2:
		to->front = from->front;
		break;
	case 3:
		to->cabinet = from->cabinet;
		break;
	case 4:
		to->connector = from->connector;
		break;
	case 5:
		to->bus_free = from->bus_free;
		break;
	case 6:
		to->door_switch = from->door_switch;
		break;
	case 7:
		to->peripherals = from->peripherals;
		to->peripheral_count = from->peripheral_count;
		to->peripherals_known = from->peripherals_known;
		break;
	case 8:
		to->volts = from->volts;
		break;
	case 9:
		to->rating_a = from->rating_a;
		break;
	case 10:
		to->selections = from->selections;
		break;
	case 11:
		to->price_lists = from->price_lists;
		break;
	case 12:
		to->inside_dbm = from->inside_dbm;
		to->outside_dbm = from->outside_dbm;
		break;
	case 13:
		to->antenna = from->antenna;
		break;
	case 14:
		to->path_m = from->path_m;
		break;
	case 15:
		to->probes = from->probes;
		break;
	default:
		to->unit = from->unit;
		to->run_m = from->run_m;
	}
}

static struct ft_survey_row nothing_known(void)
{
	struct ft_catalogue c = { 0 };

	read_into(FT_TABLE_SURVEY, FT_SLICE("asset\nT\n"), &c);
	return c.rows[0];
}

static void check_chances(const struct ft_survey_machine *m)
{
	double sum = 0;

	for (int k = 0; k < FT_OUTCOMES; k++) {
		assert_true(m->chance[k] >= 0 && m->chance[k] <= 1);
		assert_true(m->chance[k] < 1e-12 || m->can >> k & 1);
		sum += m->chance[k];
	}
	assert_true(fabs(sum - 1) < 1e-9);
	for (int k = 0; k < FT_OUTCOMES; k++)
		if (m->can == 1U << k)
			assert_true(m->chance[k] > 1 - 1e-9); /* what is certain has the chance one */
	for (size_t i = 0; i < m->item_count; i++)
		assert_true(m->kit[i].chance > 0 && m->kit[i].chance <= 1);
}

/* A fact more never adds an outcome, in whatever order the facts come to light. */
static void a_fact_more_never_leaves_what_was_possible(void **state)
{
	struct ft_survey *s = begin(&fleet, true);
	struct ft_random random = { 0 };
	size_t narrowed = 0;

	(void)state;
	random.state = 7;
	for (int turn = 0; turn < 1500; turn++) {
		struct ft_survey_row full = nothing_known(), row = full;
		struct ft_survey_machine m;
		unsigned order[FACTS], can = FT_CAN_ANY;
		/* a machine made of the facts of many */
		for (unsigned f = 0; f < FACTS; f++) {
			tell_fact(&full, &fleet.rows[ft_random_below(&random, (uint32_t)fleet.row_count)], f);
			order[f] = f;
		}
		for (unsigned f = FACTS; f-- > 1;) {
			unsigned k = (unsigned)ft_random_below(&random, f + 1), swap = order[f];
			order[f] = order[k];
			order[k] = swap;
		}
		for (unsigned f = 0; f < FACTS; f++) {
			tell_fact(&row, &full, order[f]);
			m = judged(s, &row);
			check_chances(&m);
			if (m.can & ~can)
				fail_msg("turn %d: fact %u adds to %u: %u", turn, order[f], can, m.can);
			narrowed += m.can != can;
			can = m.can;
		}
	}
	assert_true(narrowed > 1500);
}

static void facts_of_the_family_are_learned(void **state)
{
	struct ft_buf text = { 0 };
	struct ft_catalogue c = fleet;
	struct ft_survey_machine m;

	(void)state;
	ft_buf_puts(&text, "asset,family,bus_free,unit,revision\nQ,Corvane 5,?,Lark 4,5.1\n");
	for (int i = 0; i < 16; i++)
		ft_buf_printf(&text, "K%d,Corvane 5,%s,Lark 4,5.1\n", i, i < 12 ? "no" : "yes");
	read_into(FT_TABLE_SURVEY, ft_buf_text(&text), &c);
	m = judged(begin(&c, true), &c.rows[0]);
	/* four rows' worth of the prior 0.6, and 4 of 16 that have one free: (4 * 0.6 + 4) / 20 */
	assert_true(fabs(item(&m, FT_SLICE("BT-2"))->chance - (1 - 0.32)) < 1e-12);
	m = judged(begin(&c, false), &c.rows[0]);
	assert_true(fabs(item(&m, FT_SLICE("BT-2"))->chance - 0.4) < 1e-12);
	ft_buf_done(&text);
}

static void a_record_comes_to_the_same(void **state)
{
	struct ft_survey *s = begin(&fleet, true);

	(void)state;
	for (size_t i = 0; i < fleet.row_count; i++) {
		struct ft_survey_machine m = judged(s, &fleet.rows[i]), twin;
		struct ft_buf out = { 0 };
		struct ft_error e = { 0 };
		ft_survey_record(s, &fleet.rows[i], &out);
		assert_true(ft_survey_is_record(ft_buf_text(&out)));
		if (ft_survey_record_judge(ft_buf_text(&out), "record", &room, &twin, &e) != FT_OK)
			fail_msg("%s", e.text);
		assert_int_equal(twin.fit, m.fit);
		assert_int_equal(twin.can, m.can);
		assert_int_equal(twin.item_count, m.item_count);
		assert_int_equal(twin.reason_count, m.reason_count);
		assert_true(fabs(twin.minutes - m.minutes) < 1e-9 && fabs(twin.chance[0] - m.chance[0]) < 1e-12);
		/* cut anywhere, it is refused or a whole */
		for (size_t cut = 0; cut < out.n && i == 2; cut += 37)
			assert_true(ft_survey_record_judge((struct ft_slice){ out.p, cut }, "record", &room, &twin, NULL) ==
			                FT_E_INPUT ||
			            cut > out.n / 2);
		ft_buf_done(&out);
	}
}

static void the_question_that_settles_comes_first(void **state)
{
	struct ft_catalogue c = fleet;
	struct ft_survey_machine m;

	(void)state;
	read_into(FT_TABLE_SURVEY,
	          FT_SLICE("asset,family,connector,bus_free,door_switch,unit,front\nA,Corvane 3,jack,yes,?,Lark 4,?\n"),
	          &c);
	m = judged(begin(&c, false), &c.rows[0]);
	assert_int_equal(m.fit, FT_FIT_LOOK_FIRST);
	assert_int_equal(m.questions[0].fact, FT_FACT_REVISION);
	for (size_t i = 1; i < m.question_count; i++)
		assert_true(m.questions[i].worth_min <= m.questions[i - 1].worth_min);
	/* of a part with chance p either mistake happens with 2p(1-p), and costs 10 minutes and its own: 0.65 and 12 */
	for (size_t i = 0; i < m.question_count; i++)
		if (m.questions[i].fact == FT_FACT_DOOR_SWITCH)
			assert_true(fabs(m.questions[i].worth_min - 2 * 0.65 * 0.35 * 22) < 1e-9);
}

static void minutes_and_size_by_hand(void **state)
{
	struct ft_catalogue c = fleet;
	struct ft_survey_machine m;

	(void)state;
	read_into(FT_TABLE_SURVEY, file(cases, "cases"), &c);
	m = judged(begin(&c, false), &c.rows[0]);
	/* unit 25, family 5, harness 3, probe 8, antenna 5, mounting 5; ties and labels 1 */
	assert_true(fabs(m.minutes - 52) < 1e-9);
	assert_true(fabs(m.spread_min - 0.2 * 52) < 1e-9);
	/* 1500 + 30 * (110 + 45) */
	assert_true(fabs(m.audit_bytes - 6150) < 1e-9);
	assert_true(fabs(m.audit_limit - 64000) < 1e-9);
	assert_true(fabs(m.signal_margin_db - 25) < 1e-9);
	assert_true(m.lead_margin_db < 25 && m.lead_margin_db > 22);
	assert_true(m.supply_margin_v > 0);
	/* nothing that is known is asked */
	assert_int_equal(m.question_count, 0);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_case_comes_to_what_it_must),
		cmocka_unit_test(a_fact_more_never_leaves_what_was_possible),
		cmocka_unit_test(facts_of_the_family_are_learned),
		cmocka_unit_test(a_record_comes_to_the_same),
		cmocka_unit_test(the_question_that_settles_comes_first),
		cmocka_unit_test(minutes_and_size_by_hand),
	};

	if (argc < 3)
		return 2;
	demo = argv[1];
	cases = argv[2];
	return cmocka_run_group_tests(tests, open_fleet, close_fleet);
}
