/* SPDX-License-Identifier: Apache-2.0 */
/* What a capture of the bus tells of the sales, in the ledger's own terms. */
#include "room.h"

enum { CASH_SALE_OPTION = 1 << 3 }; /* MDB/ICP 7.4.2, reader configuration Z8: b3, the reader takes CASH SALE */

/* Money in which nobody pays any more is left alone: a token's value, a card's top-up. */
static bool is_cash(const struct ft_bus_money *m)
{
	return m->source == FT_BUS_CHANGER || m->source == FT_BUS_VALIDATOR || m->source == FT_BUS_HOPPER;
}

static bool kept(const struct ft_bus_money *m)
{
	return m->route == FT_BUS_ROUTE_BOX || m->route == FT_BUS_ROUTE_TUBE || m->route == FT_BUS_ROUTE_RECYCLER;
}

/* An amount of the bus in minor units of the audit. FT_ABSENT where it is not known or does not go in. */
static int64_t in_decimals(int64_t value, int from, int to)
{
	if (value == FT_ABSENT || from < 0)
		return FT_ABSENT;
	for (; from < to; from++)
		if (__builtin_mul_overflow(value, 10, &value))
			return FT_ABSENT;
	for (; from > to; from--) {
		if (value % 10)
			return FT_ABSENT;
		value /= 10;
	}
	return value;
}

static bool sum_up(int64_t *sum, int64_t value)
{
	if (*sum == FT_ABSENT || value == FT_ABSENT || !add_checked(*sum, value, sum))
		*sum = FT_ABSENT;
	return *sum != FT_ABSENT;
}

/* One stretch of credit: from the first coin until what came in has gone for sales and change. */
struct credit {
	int64_t in, out, sold;
	struct ft_sale *first;
	size_t count;
};

static bool spent(const struct credit *c)
{
	int64_t gone;

	return c->in == FT_ABSENT || c->out == FT_ABSENT || c->sold == FT_ABSENT ||
		(c->in > 0 && (!add_checked(c->out, c->sold, &gone) || gone >= c->in));
}

/* How the change is shared among several sales of one credit no counter tells, so the first one takes it all. */
static void close_credit(struct credit *c)
{
	bool known = c->in != FT_ABSENT && c->sold != FT_ABSENT && c->in >= c->sold;

	for (size_t i = 0; i < c->count; i++)
		c->first[i].tendered = known ? c->first[i].price : FT_ABSENT;
	if (c->count && known)
		c->first[0].tendered += c->in - c->sold;
	*c = (struct credit){ 0 };
}

static void credit_money(struct credit *c, const struct ft_bus_money *m, int decimals)
{
	int64_t v = in_decimals(m->value, m->decimals, decimals);

	if (kept(m)) {
		if (spent(c))
			close_credit(c);
		sum_up(&c->in, v);
	} else if (m->route == FT_BUS_ROUTE_OUT) {
		sum_up(&c->out, v == FT_ABSENT ? v : -v);
	}
}

static bool tells_cash_sales(const struct ft_bus_report *r)
{
	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		if (d->kind == FT_BUS_CASHLESS && d->answered && d->setup.known && d->setup.options & CASH_SALE_OPTION)
			return true;
	}
	return false;
}

static void total_cash(const struct ft_bus_report *r, int decimals, struct ft_account *ret)
{
	bool there = false;

	ret->cash_in = ret->cash_out = 0;
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		there |=
			(r->devices[i].kind == FT_BUS_CHANGER || r->devices[i].kind == FT_BUS_VALIDATOR) && r->devices[i].answered;
	for (size_t i = 0; i < r->money_count; i++) {
		const struct ft_bus_money *m = &r->money[i];
		int64_t v = in_decimals(m->value, m->decimals, decimals);
		if (!is_cash(m))
			continue;
		if (kept(m))
			sum_up(&ret->cash_in, v);
		else if (m->route == FT_BUS_ROUTE_OUT)
			sum_up(&ret->cash_out, v == FT_ABSENT ? v : -v);
	}
	if (!there)
		ret->cash_in = ret->cash_out = FT_ABSENT;
}

static enum ft_status take_sale(const struct ft_bus_sale *s, int decimals, struct ft_arena *a, struct ft_sale *ret)
{
	int64_t ms = s->at_ns / 1000000;
	char *time = ft_arena_printf(a, "%lld.%03lld s", (long long)(ms / 1000), (long long)(ms % 1000));
	char *item = s->item >= 0 ? ft_arena_printf(a, "%d", s->item) : ft_arena_text(a, FT_SLICE(""));

	if (!time || !item)
		return FT_E_MEMORY;
	*ret = (struct ft_sale){ .time = ft_slice_of(time),
		                     .selection = ft_slice_of(item),
		                     .price = in_decimals(s->price, s->decimals, decimals),
		                     .paid_with = !s->card    ? FT_PAID_CASH
		                         : s->address >= 0x60 ? FT_PAID_CARD_2 /* MDB/ICP 2.3: cashless device 2 */
		                                              : FT_PAID_CARD_1,
		                     .tendered = FT_ABSENT };
	return FT_OK;
}

enum ft_status ft_sales_of_bus(const struct ft_bus_report *r, const char *name, int decimals, struct ft_arena *a,
                               struct ft_account *ret, struct ft_error *e)
{
	struct ft_sale *list = FT_NEW_ARRAY(a, r->sale_count + 1, struct ft_sale), *cash;
	struct credit c = { 0 };
	size_t money = 0, n = 0, cash_count = 0;

	*ret = (struct ft_account){ .witness = "bus capture", .name = name, .sales = list, .damaged = r->damaged };
	cash = FT_NEW_ARRAY(a, r->sale_count + 1, struct ft_sale);
	if (!list || !cash)
		return ft_fail_memory(e, "the sales on the bus");
	total_cash(r, decimals, ret);
	/* cash sales by themselves first, so that those of one credit lie side by side */
	for (size_t i = 0; i < r->sale_count; i++) {
		const struct ft_bus_sale *s = &r->sales[i];
		if (s->card || s->outcome != FT_BUS_SOLD)
			continue;
		for (; money < r->money_count && r->money[money].at_ns <= s->at_ns; money++)
			if (is_cash(&r->money[money]))
				credit_money(&c, &r->money[money], decimals);
		if (take_sale(s, decimals, a, &cash[cash_count]) != FT_OK)
			return ft_fail_memory(e, "the sales on the bus");
		if (!c.count)
			c.first = &cash[cash_count];
		c.count++;
		sum_up(&c.sold, cash[cash_count++].price);
	}
	for (; money < r->money_count; money++)
		if (is_cash(&r->money[money]))
			credit_money(&c, &r->money[money], decimals);
	close_credit(&c);
	cash_count = 0;
	for (size_t i = 0; i < r->sale_count; i++) {
		const struct ft_bus_sale *s = &r->sales[i];
		struct ft_sale one;
		if (s->outcome == FT_BUS_UNCLOSED || s->outcome == FT_BUS_PENDING)
			ret->unsettled += s->approved != FT_ABSENT;
		if (s->outcome != FT_BUS_SOLD)
			continue;
		if (!s->card)
			one = cash[cash_count++];
		else if (take_sale(s, decimals, a, &one) != FT_OK)
			return ft_fail_memory(e, "the sales on the bus");
		ret->unpriced += one.price == FT_ABSENT;
		list[n++] = one;
	}
	ret->sale_count = n;
	ret->cash_unseen = !cash_count &&
		(!tells_cash_sales(r) ||
	     (ret->cash_in != FT_ABSENT && ret->cash_out != FT_ABSENT && ret->cash_in != ret->cash_out));
	return FT_OK;
}
