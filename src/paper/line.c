/* SPDX-License-Identifier: Apache-2.0 */
/* machines.csv: one line for the office's own system. */
#include "paper.h"

#include "fettle/csv.h"

enum field_kind { FIELD_TEXT, FIELD_NUMBER, FIELD_MONEY, FIELD_TIME };

struct field {
	enum field_kind kind;
	struct ft_slice text;
	int64_t number; /* FT_ABSENT: the cell stays empty */
	int offset;
};

static struct field text_field(struct ft_slice s)
{
	return (struct field){ .kind = FIELD_TEXT, .text = ft_slice_trim(s) };
}

static struct field number_field(enum field_kind kind, int64_t n)
{
	return (struct field){ .kind = kind, .number = n };
}

static struct field time_field(int64_t us, int offset)
{
	return (struct field){ .kind = FIELD_TIME, .number = us, .offset = offset };
}

static const struct ft_audit_shown *audit_of(const struct ft_handover *h)
{
	return h->after.there ? &h->after : &h->before;
}

static bool visit_field(const struct ft_handover *h, const struct ft_seal_text *seal, const char *from,
                        struct field *ret)
{
	const struct ft_visit *v = h->visit;
	const struct {
		const char *from, *text;
	} texts[] = {
		{ "asset", v->asset },        { "place", v->site },
		{ "unit", v->unit },          { "sim", v->sim },
		{ "visit", v->id },           { "visit_key", v->key },
		{ "fitter", v->technician },  { "verdict", ft_verdict_word(h->judgement.verdict) },
		{ "package", seal->content }, { "signed_by", seal->signed_by },
		{ "program", seal->program },
	};

	for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
		if (strcmp(from, texts[i].from) == 0) {
			*ret = text_field(ft_slice_of(texts[i].text));
			return true;
		}
	for (int s = 0; s < FT_STANDS_COUNT; s++)
		if (strcmp(from, ft_stands_word((enum ft_stands)s)) == 0) {
			*ret = number_field(FIELD_NUMBER, (int64_t)h->judgement.stands[s]);
			return true;
		}
	if (strcmp(from, "opened") == 0)
		*ret = time_field(v->opened_us, v->opened_offset);
	else if (strcmp(from, "closed") == 0)
		*ret = time_field(v->closed_us, v->closed_offset);
	else
		return false;
	return true;
}

static int64_t card_value(const struct ft_summary *m)
{
	int64_t one = m->cashless_1.value, two = m->cashless_2.value, sum;

	if (one == FT_ABSENT || two == FT_ABSENT)
		return one == FT_ABSENT ? two : one;
	return __builtin_add_overflow(one, two, &sum) ? FT_ABSENT : sum;
}

/* What an audit says; everything is absent where the visit has none. */
static struct field audit_field(const struct ft_handover *h, const char *from)
{
	const struct ft_audit_shown *r = audit_of(h);
	const struct ft_summary *m = &r->summary;
	const struct {
		const char *from;
		struct field f;
	} fields[] = {
		{ "serial", text_field(m->serial) },
		{ "model", text_field(m->model) },
		{ "revision", text_field(m->revision) },
		{ "currency", text_field(ft_slice_of(m->currency ? m->currency->alpha : NULL)) },
		{ "decimals", number_field(FIELD_NUMBER, m->decimals) },
		{ "sales_value", number_field(FIELD_MONEY, m->paid.value) },
		{ "sales_count", number_field(FIELD_NUMBER, m->paid.count) },
		{ "cash_value", number_field(FIELD_MONEY, m->cash.value) },
		{ "card_value", number_field(FIELD_MONEY, card_value(m)) },
		{ "cash_in", number_field(FIELD_MONEY, m->cash_in.init) },
		{ "to_box", number_field(FIELD_MONEY, m->to_box.init) },
		{ "bills_in", number_field(FIELD_MONEY, m->bills_in.init) },
		{ "tubes_now", number_field(FIELD_MONEY, m->tubes_now) },
		{ "reads", number_field(FIELD_NUMBER, m->reads) },
		{ "selections", number_field(FIELD_NUMBER, (int64_t)m->selection_count) },
	};
	size_t changed = 0;

	if (!r->there && strcmp(from, "serial") == 0)
		return text_field(ft_slice_of(h->visit->machine_serial));
	for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
		if (r->there && strcmp(from, fields[i].from) == 0)
			return fields[i].f;
	for (size_t i = 0; i < h->grid_count; i++)
		changed += h->grid[i].price_changed;
	if (h->compared && strcmp(from, "prices_changed") == 0)
		return number_field(FIELD_NUMBER, (int64_t)changed);
	if (h->compared && strcmp(from, "meters_lost") == 0)
		return number_field(FIELD_NUMBER, (int64_t)h->comparison.lost_count);
	return number_field(FIELD_NUMBER, FT_ABSENT);
}

/* A spreadsheet takes a text that begins so for a formula; names come from machines and people. */
static bool like_formula(struct ft_slice s)
{
	return s.n && strchr("=+-@\t\r", s.p[0]);
}

static void write_text(struct ft_buf *out, struct ft_slice s, bool upper)
{
	struct ft_buf b = { 0 };

	if (like_formula(s))
		ft_buf_byte(&b, '\'');
	for (size_t i = 0; i < s.n; i++)
		ft_buf_byte(&b, (uint8_t)(upper && s.p[i] >= 'a' && s.p[i] <= 'z' ? s.p[i] - 'a' + 'A' : s.p[i]));
	ft_csv_put(out, ft_buf_text(&b));
	ft_buf_done(&b);
}

static void write_money(struct ft_buf *out, int64_t v, int decimals, char point)
{
	char text[FT_MONEY_TEXT];

	ft_money_text(v, decimals, text);
	for (char *p = text; *p; p++)
		if (*p == '.')
			*p = point;
	ft_csv_put(out, ft_slice_of(text));
}

static void write_field(struct ft_buf *out, const struct field *f, const char *format, int decimals)
{
	char text[FT_TIME_TEXT];

	if (f->kind == FIELD_TEXT) {
		write_text(out, f->text, strcmp(format, "upper") == 0);
	} else if (f->number == FT_ABSENT) {
		return;
	} else if (f->kind == FIELD_TIME) {
		ft_time_text(f->number, f->offset, text);
		ft_csv_put(out, (struct ft_slice){ text, strcmp(format, "date") == 0 ? 10 : strlen(text) });
	} else if (f->kind == FIELD_MONEY && strcmp(format, "minor") != 0) {
		write_money(out, f->number, decimals, strcmp(format, "money-comma") == 0 ? ',' : '.');
	} else {
		ft_buf_i64(out, f->number);
	}
}

void ft_handover_line(const struct ft_handover *h, const struct ft_seal_text *seal, const struct ft_column *columns,
                      size_t count, struct ft_buf *out)
{
	int decimals = audit_of(h)->there ? audit_of(h)->summary.decimals : 0;

	for (size_t i = 0; i < count; i++) {
		if (i)
			ft_buf_byte(out, ',');
		ft_csv_put(out, ft_slice_of(columns[i].column));
	}
	ft_buf_puts(out, "\r\n");
	for (size_t i = 0; i < count; i++) {
		struct field f;
		if (i)
			ft_buf_byte(out, ',');
		if (strcmp(columns[i].from, "fixed") == 0)
			ft_csv_put(out, ft_slice_of(columns[i].format));
		else {
			if (!visit_field(h, seal, columns[i].from, &f))
				f = audit_field(h, columns[i].from);
			write_field(out, &f, columns[i].format, decimals);
		}
	}
	ft_buf_puts(out, "\r\n");
}
