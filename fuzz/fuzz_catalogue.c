/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of people: the first byte says which. What was read without fault is put together again from the texts that
 * were kept and must come back; a survey is judged, its chances must be chances, its record must come to the same. */
#include <stdlib.h>

#include "fettle/survey.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static struct ft_slice raw_of(const struct ft_catalogue *c, enum ft_table t, size_t i)
{
	switch (t) {
	case FT_TABLE_FAMILIES:
		return c->families[i].raw;
	case FT_TABLE_UNITS:
		return c->units[i].raw;
	case FT_TABLE_PARTS:
		return c->parts[i].raw;
	case FT_TABLE_LEADS:
		return c->leads[i].raw;
	case FT_TABLE_TECHNICIANS:
		return c->technicians[i].raw;
	default:
		return c->rows[i].raw;
	}
}

static size_t count_of(const struct ft_catalogue *c, enum ft_table t)
{
	const size_t counts[] = { c->family_count, c->unit_count,       c->part_count,
		                      c->lead_count,   c->technician_count, c->row_count };

	return counts[t];
}

static void again(const struct ft_catalogue *c, enum ft_table t, struct ft_arena *a)
{
	struct ft_buf text = { 0 };
	struct ft_catalogue other = { 0 };
	struct ft_table_notes notes = { 0 };
	struct ft_error e = { 0 };

	ft_buf_slice(&text, c->heads[t]);
	for (size_t i = 0; i < count_of(c, t); i++) {
		ft_buf_slice(&text, raw_of(c, t, i));
		ft_buf_puts(&text, "\n");
	}
	must(ft_table_read(t, ft_buf_text(&text), "again", a, &other, &notes, &e) == FT_OK);
	must(count_of(&other, t) == count_of(c, t));
	ft_buf_done(&text);
}

static void read_fixed(struct ft_catalogue *c, struct ft_arena *a)
{
	for (int t = 0; t < FT_TABLE_SURVEY; t++) {
		struct ft_table_notes notes = { 0 };
		struct ft_buf text = { 0 };
		struct ft_slice kept;
		ft_table_template((enum ft_table)t, &text);
		kept = ft_slice_of(ft_arena_text(a, ft_buf_text(&text)));
		must(ft_table_read((enum ft_table)t, kept, "fixed", a, c, &notes, NULL) == FT_OK);
		ft_buf_done(&text);
	}
}

static void judge(struct ft_catalogue *c, bool record, struct ft_arena *a)
{
	struct ft_survey_priors p;
	struct ft_survey_machine m, twin;
	struct ft_survey *s;
	struct ft_error e = { 0 };

	ft_survey_priors(&p);
	must(ft_survey_begin(c, &p, a, &s, &e) == FT_OK);
	for (size_t i = 0; i < c->row_count && i < 8; i++) {
		struct ft_buf out = { 0 };
		double sum = 0;
		must(ft_survey_judge(s, &c->rows[i], "survey", a, &m, &e) == FT_OK);
		for (int k = 0; k < FT_OUTCOMES; k++) {
			must(m.chance[k] >= 0 && m.chance[k] <= 1 + 1e-9);
			must(!(m.chance[k] > 1e-9) || (m.can >> k & 1));
			sum += m.chance[k];
		}
		must(m.can && fabs(sum - 1) < 1e-6 && m.minutes >= 0 && m.spread_min >= 0);
		for (size_t k = 0; k < m.item_count; k++)
			must(m.kit[k].chance > 0 && m.kit[k].chance <= 1);
		if (record) {
			ft_survey_record(s, &c->rows[i], &out);
			must(ft_survey_record_judge(ft_buf_text(&out), "record", a, &twin, &e) == FT_OK);
			must(twin.fit == m.fit && twin.can == m.can && fabs(twin.minutes - m.minutes) < 1e-6);
			ft_buf_done(&out);
		}
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_catalogue c = { 0 };
	struct ft_table_notes notes = { 0 };
	struct ft_survey_machine m;
	struct ft_error e = { 0 };
	struct ft_slice text = { (const char *)data + 1, size - 1 };
	enum ft_table t;

	if (size < 1 || size > 20000)
		return 0;
	t = (enum ft_table)(data[0] % FT_TABLE_COUNT);
	if (data[0] == 'R') { /* a record */
		if (ft_survey_record_judge(text, "record", &a, &m, &e) != FT_OK)
			must(e.text[0]);
	} else if (ft_table_read(t, text, "table", &a, &c, &notes, &e) != FT_OK) {
		must(e.text[0]);
	} else {
		/* a separator named above the heading is not kept with it */
		bool plain = !ft_slice_holds((struct ft_slice){ text.p, text.n < 16 ? text.n : 16 }, "sep");
		if (plain)
			again(&c, t, &a);
		if (t == FT_TABLE_SURVEY) {
			read_fixed(&c, &a);
			judge(&c, plain, &a);
		}
	}
	ft_arena_done(&a);
	return 0;
}
