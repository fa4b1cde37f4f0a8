/* SPDX-License-Identifier: Apache-2.0 */
/* The record of one machine: the row as somebody wrote it, the rows of the catalogue it was judged by, and the chances
 * that were taken, learned ones included. Judged again from these bytes alone it comes to the same. */
#include "survey_room.h"

/* A section is counted in bytes, so that nothing a cell holds can be taken for the next one. */
static void put_section(struct ft_buf *out, const char *name, struct ft_buf *text)
{
	ft_buf_printf(out, "# table %s %zu\n", name, text->n);
	ft_buf_slice(out, ft_buf_text(text));
	if (text->status != FT_OK)
		out->status = text->status;
	ft_buf_clear(text);
}

static void put_lines(struct ft_buf *text, struct ft_slice raw)
{
	ft_buf_slice(text, raw);
	if (raw.n && raw.p[raw.n - 1] != '\n')
		ft_buf_byte(text, '\n');
}

/* What was learned of the row's family becomes the prior itself. */
static struct ft_survey_priors taken(const struct ft_survey *s, const struct ft_family *f)
{
	const struct learned *k = &s->families[f ? (size_t)(f - s->c->families) : s->c->family_count];
	struct ft_survey_priors p = s->priors;
	struct looking l = { .s = s };

	p.chance[FT_PRIOR_BUS_FREE] = survey_chance(&l, FT_PRIOR_BUS_FREE, k->bus_free, k->bus_known);
	p.chance[FT_PRIOR_DOOR_SWITCH] = survey_chance(&l, FT_PRIOR_DOOR_SWITCH, k->door_there, k->door_known);
	p.chance[FT_PRIOR_REVISION_OLD] = survey_chance(&l, FT_PRIOR_REVISION_OLD, k->revision_old, k->revision_known);
	return p;
}

/* Kinds of connectors that were seen at machines of the family. */
static void put_kinds(const struct ft_survey *s, const struct ft_family *f, struct ft_buf *text)
{
	const struct learned *k = &s->families[f ? (size_t)(f - s->c->families) : s->c->family_count];

	ft_buf_puts(text, "kind,seen\n");
	for (size_t i = 0; i < s->harness_count; i++) {
		ft_csv_put(text, s->c->parts[s->harness[i]].of);
		ft_buf_printf(text, ",%u\n", k->kinds[i]);
	}
	ft_buf_printf(text, "# none and others\n,%u\n,%u\n", k->kinds[s->harness_count], k->kinds[s->harness_count + 1]);
}

void ft_survey_record(const struct ft_survey *s, const struct ft_survey_row *row, struct ft_buf *out)
{
	const struct ft_catalogue *c = s->c;
	const struct ft_family *f = row->family.p ? ft_family_of(c, row->family) : NULL;
	const struct ft_unit *u = row->unit.p ? ft_unit_of(c, row->unit) : NULL;
	struct ft_survey_priors p = taken(s, f);
	struct ft_buf text = { 0 };

	ft_buf_puts(out, FT_SURVEY_RECORD "\n");
	put_lines(&text, c->heads[FT_TABLE_SURVEY]);
	put_lines(&text, row->raw);
	put_section(out, ft_table_word(FT_TABLE_SURVEY), &text);
	if (f) {
		put_lines(&text, c->heads[FT_TABLE_FAMILIES]);
		put_lines(&text, f->raw);
		put_section(out, ft_table_word(FT_TABLE_FAMILIES), &text);
	}
	if (u) {
		put_lines(&text, c->heads[FT_TABLE_UNITS]);
		put_lines(&text, u->raw);
		put_section(out, ft_table_word(FT_TABLE_UNITS), &text);
	}
	put_lines(&text, c->heads[FT_TABLE_PARTS]);
	for (size_t i = 0; i < c->part_count; i++)
		put_lines(&text, c->parts[i].raw);
	if (c->part_count)
		put_section(out, ft_table_word(FT_TABLE_PARTS), &text);
	ft_buf_clear(&text);
	put_lines(&text, c->heads[FT_TABLE_LEADS]);
	for (size_t i = 0; i < c->lead_count; i++)
		put_lines(&text, c->leads[i].raw);
	if (c->lead_count)
		put_section(out, ft_table_word(FT_TABLE_LEADS), &text);
	ft_buf_clear(&text);
	put_kinds(s, f, &text);
	put_section(out, "connectors", &text);
	ft_survey_priors_write(&p, &text);
	put_section(out, "priors", &text);
	ft_buf_done(&text);
}

/* The next section: "# table NAME BYTES" and so many bytes. */
static bool section(struct ft_slice *rest, struct ft_slice *ret_name, struct ft_slice *ret_text)
{
	static const char mark[] = "# table ";
	struct ft_slice line, name;
	size_t end = ft_slice_find(*rest, FT_SLICE("\n"));
	int64_t n;

	if (end == rest->n || end < sizeof mark - 1 || memcmp(rest->p, mark, sizeof mark - 1) != 0)
		return false;
	line = (struct ft_slice){ rest->p + sizeof mark - 1, end - (sizeof mark - 1) };
	if (!ft_slice_split(&line, ' ', &name) || !ft_slice_i64(line, &n) || n < 0 || (uint64_t)n > rest->n - end - 1)
		return false;
	*ret_name = name;
	*ret_text = (struct ft_slice){ rest->p + end + 1, (size_t)n };
	*rest = (struct ft_slice){ ret_text->p + n, rest->n - end - 1 - (size_t)n };
	return true;
}

struct record {
	struct ft_catalogue c;
	struct ft_survey_priors priors;
	struct ft_slice kinds;
};

static enum ft_status read_record(struct ft_slice rest, const char *name, struct ft_arena *a, struct record *r,
                                  struct ft_error *e)
{
	struct ft_table_notes notes = { 0 };
	struct ft_slice word, text;
	enum ft_status s = FT_OK;
	enum ft_table t;

	ft_survey_priors(&r->priors);
	r->priors.learn = false;
	while (s == FT_OK && section(&rest, &word, &text)) {
		if (ft_slice_is(word, "connectors"))
			r->kinds = text;
		else if (ft_slice_is(word, "priors"))
			s = ft_survey_priors_read(text, name, a, &r->priors, e);
		else if (ft_table_parse(word, &t))
			s = ft_table_read(t, text, name, a, &r->c, &notes, e);
		else
			s = ft_fail(e, FT_E_INPUT,
			            "%s: a record of a survey has no table \"%.*s\"; make it anew with fettle survey.", name,
			            (int)(word.n < 40 ? word.n : 40), word.p);
	}
	if (s == FT_OK && rest.n)
		s = ft_fail(e, FT_E_INPUT, "%s is no record of a survey; make it anew with fettle survey --record.", name);
	if (s == FT_OK && r->c.row_count != 1)
		s = ft_fail(e, FT_E_INPUT,
		            "%s is the record of %zu machines where one is wanted; make it anew with fettle survey.", name,
		            r->c.row_count);
	return s;
}

static enum ft_status read_kinds(struct ft_slice text, const char *name, struct ft_arena *a, struct ft_survey *s,
                                 const struct ft_family *f, struct ft_error *e)
{
	struct learned *k = &s->families[f ? (size_t)(f - s->c->families) : s->c->family_count];
	struct ft_csv t = { 0 };
	enum ft_status st = ft_csv_read(text, name, a, &t, e);

	for (size_t i = 0; st == FT_OK && i < t.count && i < s->harness_count + 2; i++) {
		int64_t n;
		if (!ft_slice_i64(ft_csv_field(&t.rows[i], 1), &n) || n < 0 || n > FT_TABLE_ROWS_MAX)
			return ft_fail(e, FT_E_INPUT, "%s: the number of connectors seen is none; make the record anew.", name);
		k->kinds[i] = (unsigned)n;
		k->kind_known += (unsigned)n;
	}
	return st;
}

bool ft_survey_is_record(struct ft_slice bytes)
{
	size_t n = sizeof FT_SURVEY_RECORD - 1;

	return bytes.n > n && memcmp(bytes.p, FT_SURVEY_RECORD, n) == 0 && (bytes.p[n] == '\n' || bytes.p[n] == '\r');
}

static enum ft_status open_record(struct ft_slice bytes, const char *name, struct ft_arena *a, struct record *r,
                                  struct ft_error *e)
{
	size_t end = ft_slice_find(bytes, FT_SLICE("\n"));

	if (!ft_survey_is_record(bytes) || end == bytes.n)
		return ft_fail(e, FT_E_INPUT, "%s is no record of a survey; make it with fettle survey --record.", name);
	return read_record((struct ft_slice){ bytes.p + end + 1, bytes.n - end - 1 }, name, a, r, e);
}

enum ft_status ft_survey_record_read(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                     struct ft_catalogue *ret, struct ft_error *e)
{
	struct record *r = FT_NEW(a, struct record);
	enum ft_status s = r ? open_record(bytes, name, a, r, e) : ft_fail_memory(e, "reading the record");

	if (s == FT_OK)
		*ret = r->c;
	return s;
}

enum ft_status ft_survey_record_judge(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                      struct ft_survey_machine *ret, struct ft_error *e)
{
	struct record *r = FT_NEW(a, struct record);
	struct ft_survey *s;
	enum ft_status st = r ? open_record(bytes, name, a, r, e) : ft_fail_memory(e, "reading the record");

	if (st == FT_OK)
		st = ft_survey_begin(&r->c, &r->priors, a, &s, e);
	if (st == FT_OK && r->kinds.n)
		st = read_kinds(r->kinds, name, a, s, ft_family_of(&r->c, r->c.rows[0].family), e);
	return st == FT_OK ? ft_survey_judge(s, &r->c.rows[0], name, a, ret, e) : st;
}
