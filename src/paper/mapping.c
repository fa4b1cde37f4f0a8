/* SPDX-License-Identifier: Apache-2.0 */
/* Which columns the office wants in machines.csv, in which order and how they are written. */
#include "paper.h"

#include "fettle/csv.h"

/* Fields a column can come from: the names stand in docs/handover.md too. */
static const char *const sources[] = {
	"asset",     "place",    "serial",    "model",       "revision",    "unit",           "sim",          "visit",
	"visit_key", "opened",   "closed",    "fitter",      "verdict",     "shown",          "contradicted", "open",
	"waived",    "currency", "decimals",  "sales_value", "sales_count", "cash_value",     "card_value",   "cash_in",
	"to_box",    "bills_in", "tubes_now", "reads",       "selections",  "prices_changed", "meters_lost",  "package",
	"signed_by", "program",  "fixed",     NULL,
};
static const char *const formats[] = { "text", "upper", "date", "time", "money", "money-comma", "minor", NULL };

static bool among(const char *const *list, struct ft_slice word)
{
	for (; *list; list++)
		if (ft_slice_is(word, *list))
			return true;
	return false;
}

size_t ft_mapping_default(const struct ft_column **ret)
{
	static const struct ft_column columns[] = {
#define ROW(ident, column, from, format, source) { column, from, format },
#include "handover-columns.inc"
#undef ROW
	};

	*ret = columns;
	return sizeof columns / sizeof *columns;
}

static enum ft_status take_row(const struct ft_csv_row *row, const int at[3], struct ft_arena *a, struct ft_column *ret,
                               struct ft_error *e)
{
	struct ft_slice column = ft_csv_field(row, at[0]);
	struct ft_slice from = ft_csv_field(row, at[1]);
	struct ft_slice format = ft_csv_field(row, at[2]);

	if (!column.n)
		return ft_fail(e, FT_E_INPUT, "Line %u of the mapping names no column.", row->line);
	if (!among(sources, from))
		return ft_fail(e, FT_E_INPUT,
		               "Line %u of the mapping: nothing is called \"%.*s\"; docs/handover.md lists the fields.",
		               row->line, FT_P(from));
	if (!format.n)
		format = FT_SLICE("text");
	if (!among(formats, format) && !ft_slice_is(from, "fixed"))
		return ft_fail(e, FT_E_INPUT,
		               "Line %u of the mapping: there is no format \"%.*s\"; text, upper, date, "
		               "time, money, money-comma and minor are known.",
		               row->line, FT_P(format));
	ret->column = ft_arena_text(a, column);
	ret->from = ft_arena_text(a, from);
	ret->format = ft_arena_text(a, format);
	return ret->column && ret->from && ret->format ? FT_OK : ft_fail_memory(e, "the mapping");
}

enum ft_status ft_mapping_read(struct ft_slice csv, struct ft_arena *a, struct ft_column **ret, size_t *ret_count,
                               struct ft_error *e)
{
	static const char *const heads[3] = { "column", "from", "format" };
	struct ft_csv table;
	struct ft_column *columns;
	enum ft_status s = ft_csv_read(csv, "the mapping", a, &table, e);
	int at[3];

	if (s != FT_OK)
		return s;
	for (int i = 0; i < 3; i++) {
		at[i] = ft_csv_column(&table, heads[i]);
		if (at[i] < 0 && i < 2)
			return ft_fail(e, FT_E_INPUT, "The mapping has no column \"%s\"; its heading is column,from,format.",
			               heads[i]);
	}
	if (!table.count)
		return ft_fail(e, FT_E_INPUT, "The mapping names no columns below its heading.");
	columns = FT_NEW_ARRAY(a, table.count, struct ft_column);
	if (!columns)
		return ft_fail_memory(e, "the mapping");
	for (size_t i = 0; i < table.count; i++) {
		s = take_row(&table.rows[i], at, a, &columns[i], e);
		if (s != FT_OK)
			return s;
		for (size_t k = 0; k < i; k++)
			if (strcmp(columns[k].column, columns[i].column) == 0)
				return ft_fail(e, FT_E_INPUT, "Line %u of the mapping: the column %s stands there twice.",
				               table.rows[i].line, columns[i].column);
	}
	*ret = columns;
	*ret_count = table.count;
	return FT_OK;
}
