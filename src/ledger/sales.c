/* SPDX-License-Identifier: Apache-2.0 */
/* The list of sales a person keeps, read with the patience it needs. */
#include "fettle/csv.h"
#include "room.h"

static const struct {
	const char *word;
	enum ft_paid paid;
} spellings[] = {
	{ "coin", FT_PAID_COIN },        { "coins", FT_PAID_COIN },    { "bill", FT_PAID_BILL },
	{ "bills", FT_PAID_BILL },       { "note", FT_PAID_BILL },     { "notes", FT_PAID_BILL },
	{ "banknote", FT_PAID_BILL },    { "cash", FT_PAID_CASH },     { "card", FT_PAID_CARD },
	{ "cards", FT_PAID_CARD },       { "cashless", FT_PAID_CARD }, { "card1", FT_PAID_CARD_1 },
	{ "cashless1", FT_PAID_CARD_1 }, { "card2", FT_PAID_CARD_2 },  { "cashless2", FT_PAID_CARD_2 },
	{ "token", FT_PAID_TOKEN },      { "tokens", FT_PAID_TOKEN },  { "coupon", FT_PAID_TOKEN },
	{ "test", FT_PAID_TEST },        { "testvend", FT_PAID_TEST }, { "free", FT_PAID_FREE },
	{ "freevend", FT_PAID_FREE },
};

const char *ft_paid_word(enum ft_paid p)
{
	static const char *const words[] = { "coin", "bill", "card1", "card2", "token", "test", "free", "card", "cash" };

	return (unsigned)p < sizeof words / sizeof *words ? words[p] : "unknown";
}

/* Case, blanks, hyphens and underlines do not matter. */
static bool read_paid(struct ft_slice s, enum ft_paid *ret)
{
	char word[16];
	size_t n = 0;

	for (size_t i = 0; i < s.n; i++) {
		if (s.p[i] == ' ' || s.p[i] == '-' || s.p[i] == '_')
			continue;
		if (n >= sizeof word)
			return false;
		word[n++] = s.p[i];
	}
	for (size_t i = 0; i < sizeof spellings / sizeof *spellings; i++)
		if (ft_slice_eq_nocase((struct ft_slice){ word, n }, ft_slice_of(spellings[i].word))) {
			*ret = spellings[i].paid;
			return true;
		}
	return false;
}

struct columns {
	int time, selection, price, paid, tendered, list;
};

static enum ft_status bad(struct ft_error *e, const char *what, unsigned line, int column, const char *name,
                          struct ft_slice v, const char *want)
{
	return ft_fail(e, FT_E_INPUT, "In %s, line %u, column %d (%s): \"%.*s\" is not %s; mend it and try again.", what,
	               line, column + 1, name, (int)(v.n > 60 ? 60 : v.n), v.p ? v.p : "", want);
}

static enum ft_status read_sale(const struct ft_csv_row *row, const struct columns *k, const char *what, int decimals,
                                struct ft_sale *s, struct ft_error *e)
{
	struct ft_slice price = ft_csv_field(row, k->price), paid = ft_csv_field(row, k->paid);
	struct ft_slice tendered = ft_csv_field(row, k->tendered), list = ft_csv_field(row, k->list);
	/* beyond this a sum of a few sales would not fit; no machine sells for it */
	const int64_t most = INT64_C(1000000000000);

	*s = (struct ft_sale){ .line = row->line, .tendered = FT_ABSENT };
	s->time = ft_csv_field(row, k->time);
	s->selection = ft_csv_field(row, k->selection);
	if (s->selection.n == 0)
		return bad(e, what, row->line, k->selection, "selection", s->selection, "a selection");
	if (!ft_money_parse(price, decimals, &s->price) || s->price < 0 || s->price > most)
		return bad(e, what, row->line, k->price, "price", price, "a price of this machine such as 1.50");
	if (!read_paid(paid, &s->paid_with))
		return bad(e, what, row->line, k->paid, "paid_with", paid,
		           "coin, bill, card, card1, card2, token, test or free");
	if (tendered.n && (!ft_money_parse(tendered, decimals, &s->tendered) || s->tendered < 0 || s->tendered > most))
		return bad(e, what, row->line, k->tendered, "tendered", tendered, "an amount such as 2.00");
	if (s->tendered != FT_ABSENT && s->tendered < s->price &&
	    (s->paid_with == FT_PAID_COIN || s->paid_with == FT_PAID_BILL || s->paid_with == FT_PAID_CASH))
		return bad(e, what, row->line, k->tendered, "tendered", tendered, "enough for the price");
	if (list.n)
		s->list = list;
	return FT_OK;
}

enum ft_status ft_sales_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                             struct ft_sale **ret, size_t *ret_count, struct ft_error *e)
{
	struct ft_csv c;
	struct columns k;
	struct ft_sale *list;
	enum ft_status s = ft_csv_read(bytes, what, a, &c, e);

	if (s != FT_OK)
		return s;
	k = (struct columns){ ft_csv_column(&c, "time"),      ft_csv_column(&c, "selection"), ft_csv_column(&c, "price"),
		                  ft_csv_column(&c, "paid_with"), ft_csv_column(&c, "tendered"),  ft_csv_column(&c, "list") };
	if (k.paid < 0)
		k.paid = ft_csv_column(&c, "paid with");
	if (k.selection < 0 || k.price < 0 || k.paid < 0)
		return ft_fail(e, FT_E_INPUT,
		               "%s has no column %s; the heading is time,selection,price,paid_with,tendered and perhaps list.",
		               what,
		               k.selection < 0   ? "selection"
		                   : k.price < 0 ? "price"
		                                 : "paid_with");
	list = FT_NEW_ARRAY(a, c.count + 1, struct ft_sale);
	if (!list)
		return ft_fail_memory(e, what);
	for (size_t i = 0; i < c.count; i++)
		if ((s = read_sale(&c.rows[i], &k, what, decimals, &list[i], e)) != FT_OK)
			return s;
	*ret = list;
	*ret_count = c.count;
	return FT_OK;
}

void ft_sales_write(const struct ft_sale *sales, size_t count, int decimals, struct ft_buf *out)
{
	char price[FT_MONEY_TEXT], tendered[FT_MONEY_TEXT];

	ft_buf_puts(out, "time,selection,price,paid_with,tendered\n");
	for (size_t i = 0; i < count; i++) {
		const struct ft_sale *s = &sales[i];
		if (s->price == FT_ABSENT)
			continue;
		ft_csv_put(out, s->time);
		ft_buf_byte(out, ',');
		ft_csv_put(out, s->selection.n ? s->selection : FT_SLICE("-")); /* the table takes no empty one */
		ft_buf_printf(out, ",%s,%s,%s\n", ft_money_text(s->price, decimals, price), ft_paid_word(s->paid_with),
		              s->tendered == FT_ABSENT ? "" : ft_money_text(s->tendered, decimals, tendered));
	}
}

/* ---- when they were made ---- */

/* ours: a list is kept to the minute, and a watch may be a quarter of an hour from the machine's clock */
static const int64_t rounding_us = 60 * FT_SECOND, apart_us = 15 * 60 * FT_SECOND;

/* As the clock on the spot said: an offset behind it changes nothing. */
static bool made_at(struct ft_slice time, int64_t *ret_us)
{
	struct ft_slice t = ft_slice_trim(time);

	if (t.n < 16 || ft_is_digit(t.p[t.n - 1]) == false)
		return false; /* no time of day, or UTC */
	t.n = t.n < 19 || t.p[16] != ':' ? 16 : 19;
	return ft_time_parse(t, 0, ret_us);
}

void ft_sales_times(const struct ft_sale *sales, size_t count, const char *name, int64_t from_us, int64_t to_us,
                    struct ft_findings *findings)
{
	struct ft_slice first = { NULL, 0 }, last = { NULL, 0 };
	int64_t first_us = 0, last_us = 0, most = 0;
	char from[FT_TIME_TEXT] = "", to[FT_TIME_TEXT] = "";
	size_t outside = 0;
	struct ft_finding *f;

	for (size_t i = 0; i < count; i++) {
		int64_t us, off = 0;
		if (!made_at(sales[i].time, &us))
			continue;
		if (from_us != FT_ABSENT && us < from_us)
			off = from_us - us;
		else if (to_us != FT_ABSENT && us > to_us)
			off = us - to_us;
		if (off <= rounding_us)
			continue;
		most = off > most ? off : most;
		if (!outside || us < first_us) {
			first_us = us;
			first = sales[i].time;
		}
		if (!outside || us > last_us) {
			last_us = us;
			last = sales[i].time;
		}
		outside++;
	}
	if (!outside)
		return;
	if (from_us != FT_ABSENT)
		ft_time_text(from_us, 0, from)[16] = 0;
	if (to_us != FT_ABSENT)
		ft_time_text(to_us, 0, to)[16] = 0;
	f = ft_find(findings, FT_RULE_LEDGER_SALES_TIME, (struct ft_where){ .file = name },
	            ft_arena_printf(findings->arena, "%zu of %zu sales, %.*s%s%.*s", outside, count, FT_P(first),
	                            outside > 1 ? " to " : "", outside > 1 ? (int)last.n : 0, last.p),
	            ft_arena_printf(findings->arena, "%s%s%s%s by the machine's clock", *from ? "from " : "", from,
	                            *to ? *from ? " to " : "up to " : "", to));
	if (most <= apart_us)
		ft_finding_weigh(findings, f, FT_NOTE);
}
