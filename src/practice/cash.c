/* SPDX-License-Identifier: Apache-2.0 */
/* Coins, bills, tubes and change, and the meters of cash. CA3 holds hand-filled coins too and CA4 the
 * coins paid out by hand, as three of the field files do (docs/practice.md). */
#include "machine.h"

int64_t practice_tubes(const struct ft_practice *p)
{
	int64_t sum = 0;

	for (size_t i = 0; i < p->coin_count; i++)
		sum += p->coins[i].value * p->coins[i].in_tube;
	return sum;
}

/* Greedy, the dearest coin first; ret_number may be NULL. Returns what cannot be paid. */
static int64_t greedy(const struct ft_practice *p, int64_t value, int64_t *ret_number)
{
	if (practice_bus_stops_coins(p) && !faulty(p, FAULT_BUS_CASH_NOT_ENABLED))
		return value; /* a changer that nobody reaches pays nothing */
	for (size_t i = p->coin_count; i-- > 0;) {
		const struct coin *c = &p->coins[i];
		int64_t n = value / c->value;
		if (n > c->in_tube)
			n = c->in_tube;
		value -= n * c->value;
		if (ret_number)
			ret_number[i] = n;
	}
	return value;
}

int64_t practice_unpayable(const struct ft_practice *p, int64_t value)
{
	return value > 0 ? greedy(p, value, NULL) : 0;
}

int64_t practice_pay(struct ft_practice *p, int64_t value)
{
	int64_t number[COINS_MAX] = { 0 };
	int64_t paid = 0;

	if (value <= 0)
		return 0;
	greedy(p, value, number);
	for (size_t i = 0; i < p->coin_count; i++) {
		p->coins[i].in_tube -= number[i];
		p->meters.coin[i].out += number[i];
		paid += number[i] * p->coins[i].value;
	}
	p->meters.out += paid;
	practice_bus_pays(p, number);
	return paid;
}

static size_t coin_of(const struct ft_practice *p, int64_t value)
{
	size_t i = 0;

	while (i < p->coin_count && p->coins[i].value != value)
		i++;
	return i;
}

/* Books coins of one type that came in; the fault keeps the changer silent about it. */
static void coins_in(struct ft_practice *p, size_t i, int64_t n, bool tube)
{
	int64_t value = n * p->coins[i].value;
	struct coin_meter *m = &p->meters.coin[i];

	if (tube)
		p->coins[i].in_tube += n;
	if (faulty(p, FAULT_CASH_IN_LOST))
		return;
	m->taken += n;
	*(tube ? &m->to_tube : &m->to_box) += n;
	p->meters.cash_in += value;
	*(tube ? &p->meters.to_tubes : &p->meters.to_box) += value;
}

/* Takes a coin unless nobody could give the money back: a machine without change still takes what
 * does not go beyond the price. */
bool practice_coin(struct ft_practice *p, int64_t value, int64_t price, const char **ret_why)
{
	size_t i = coin_of(p, value);
	struct coin *c = &p->coins[i];
	bool tube, payable;

	*ret_why = "the changer does not know this coin";
	if (i == p->coin_count)
		return false;
	*ret_why = practice_bus_stops_coins(p);
	if (*ret_why)
		return false;
	tube = c->in_tube < c->room;
	c->in_tube += tube;
	payable = practice_unpayable(p, p->credit + value) == 0;
	c->in_tube -= tube;
	*ret_why = "exact change only: it could not be given back";
	if (!payable && !p->keeps_change && p->credit + p->escrow + value > price) {
		practice_bus_coin(p, i, COIN_REJECTED);
		return false;
	}
	coins_in(p, i, 1, tube);
	p->credit += value;
	p->inserted += value;
	practice_bus_coin(p, i, tube ? COIN_TO_TUBE : COIN_TO_BOX);
	return true;
}

/* The bill in escrow becomes credit and lies in the stacker. */
void practice_stack(struct ft_practice *p)
{
	if (!p->escrow)
		return;
	p->stacked++;
	p->credit += p->escrow;
	if (!faulty(p, FAULT_CASH_IN_LOST)) {
		p->meters.bills_in += p->escrow;
		p->meters.cash_in += p->escrow;
		p->meters.bill[p->escrow_type]++;
	}
	practice_bus_escrow(p, true);
	p->escrow = 0;
}

/* Holds a bill in escrow, stacking the one before it, if change for the price could be given. */
bool practice_bill(struct ft_practice *p, int64_t value, int64_t price, const char **ret_why)
{
	int64_t total = p->credit + p->escrow + value;
	size_t i = 0;

	while (i < p->bill_count && p->bills[i] != value)
		i++;
	*ret_why = !p->bill_count ? "this machine takes no bills" : "the validator does not know this bill";
	if (practice_bus_stops_bills(p) && i < p->bill_count) {
		*ret_why = practice_bus_stops_bills(p);
		practice_bus_disabled_bill(p);
		return false;
	}
	if (i == p->bill_count || p->stacked + (p->escrow != 0) >= p->stacker_room) {
		*ret_why = i == p->bill_count ? *ret_why : "the stacker is full";
		practice_bus_unknown_bill(p);
		return false;
	}
	*ret_why = "exact change only: there is no change for it";
	if (total > price && practice_unpayable(p, total - price)) {
		practice_bus_refused_bill(p, i);
		return false;
	}
	practice_stack(p);
	p->escrow = value;
	p->escrow_type = i;
	p->inserted += value;
	p->bill_inserted = true;
	practice_bus_bill(p, i);
	return true;
}

/* Escrow return: the bill as it is, coins from the tubes; what cannot be paid is kept as overpay. */
int64_t practice_return(struct ft_practice *p, int64_t *ret_kept)
{
	int64_t paid = practice_pay(p, p->credit);

	*ret_kept = p->credit - paid;
	p->meters.overpaid += *ret_kept;
	paid += p->escrow;
	if (p->escrow)
		practice_bus_escrow(p, false);
	p->credit = p->escrow = p->inserted = 0;
	p->bill_inserted = false;
	return paid;
}

int64_t practice_fill(struct ft_practice *p, size_t coin, int64_t number)
{
	struct coin *c = &p->coins[coin];

	if (number > c->room - c->in_tube)
		number = c->room - c->in_tube;
	coins_in(p, coin, number, true);
	if (!faulty(p, FAULT_CASH_IN_LOST)) {
		p->meters.filled += number * c->value;
		p->meters.coin[coin].filled += number;
	}
	practice_bus_looks(p);
	return number;
}

int64_t practice_payout(struct ft_practice *p, size_t coin, int64_t number)
{
	struct coin *c = &p->coins[coin];

	if (number > c->in_tube)
		number = c->in_tube;
	c->in_tube -= number;
	p->meters.coin[coin].out += number;
	p->meters.coin[coin].out_by_hand += number;
	p->meters.out += number * c->value;
	p->meters.out_by_hand += number * c->value;
	practice_bus_paid_by_hand(p, coin, number);
	return number;
}
