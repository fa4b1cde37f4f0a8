/* SPDX-License-Identifier: Apache-2.0 */
/* The past: instead of typed numbers the machine lives through customers and visits before anybody
 * practises on it, so its meters agree because they were counted. */
#include "machine.h"

/* Coins as a hand finds them, or too much of them, until the price is reached. */
static void pay_coins(struct ft_practice *p, int64_t price)
{
	const char *why;

	for (int n = 0; p->credit < price && n < TENDER_MAX; n++) {
		int64_t least = (price - p->credit) / 5, i = practice_random(p, (int64_t)p->coin_count);
		while (p->coins[i].value < least && i + 1 < (int64_t)p->coin_count)
			i++;
		while (p->keeps_change && i && p->coins[i].value > price - p->credit && n < TENDER_MAX - 8 &&
		       practice_random(p, 12))
			i--; /* who knows that it gives no change looks for the right coins */
		practice_coin(p, p->coins[i].value, price, &why);
	}
}

static void pay_bill(struct ft_practice *p, int64_t price)
{
	const char *why;

	for (size_t i = 0; i < p->bill_count && p->credit + p->escrow < price; i++)
		if (p->bills[i] >= price || i + 1 == p->bill_count || practice_random(p, 3) == 0)
			practice_bill(p, p->bills[i], price, &why);
}

static void customer(struct ft_practice *p)
{
	int s = (int)practice_random(p, (int64_t)p->selection_count);
	int64_t dice = practice_random(p, 100);
	bool fails = practice_random(p, 400) == 0;

	p->selections[s].jammed |= practice_random(p, 700) == 0;
	practice_customer(p, s, dice, fails);
}

/* Somebody wants this selection and pays as people here do; `dice` of a hundred says with what. */
void practice_customer(struct ft_practice *p, int s, int64_t dice, bool fails)
{
	int64_t price = p->selections[s].price[0], kept;
	size_t list;

	if (p->reader.serial[0] && dice < p->past.cards) {
		list = (size_t)practice_random(p, (int64_t)p->list_count);
		practice_vend_card(p, s, p->lists[list].device == BY_CARD ? p->lists[list].number : -1,
		                   practice_random(p, 60) ? CARD_APPROVES : CARD_DENIES, fails);
	} else if (p->tokens && dice < p->past.cards + p->past.tokens) {
		practice_vend_token(p, s, fails);
	} else if (p->reader.serial[0] && p->list_count > 1 && practice_random(p, 12) == 0) {
		pay_coins(p, price * 4);
		practice_top_up(p, p->credit + p->escrow);
	} else {
		if (dice >= 100 - p->past.bills)
			pay_bill(p, price);
		pay_coins(p, price - p->escrow);
		practice_vend_cash(p, s, fails);
		practice_return(p, &kept);
	}
}

static void mend(struct ft_practice *p, struct selection *s)
{
	s->stock = s->capacity;
	if (s->jammed)
		practice_ends(p, "EJB_", s->id);
	s->jammed = false;
}

/* The round: fills goods and tubes, tries a selection or two, reads. */
static void visit(struct ft_practice *p, int64_t nth)
{
	bool at_read = p->reset_at_read;
	struct ft_slice bytes;

	practice_begins(p, "EGS", "");
	for (size_t i = 0; i < p->selection_count; i++)
		mend(p, &p->selections[i]);
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].in_tube < p->coins[i].room / 3)
			practice_fill(p, i, p->coins[i].room / 2);
		else if (p->coins[i].room && p->coins[i].in_tube == p->coins[i].room && practice_random(p, 4) == 0)
			practice_payout(p, i, 5);
	p->stacked = 0;
	if (p->dialect != OLD_COIN) {
		practice_vend_unpaid(p, (int)practice_random(p, (int64_t)p->selection_count), true);
		if (practice_random(p, 2))
			practice_vend_unpaid(p, (int)practice_random(p, (int64_t)p->selection_count), false);
	}
	practice_time(p, 300, 900);
	practice_ends(p, "EGS", "");
	p->reset_at_read |= nth % 2; /* where reading alone does not reset, every second round also collects and resets */
	if (ft_practice_read_begin(p, 0, FT_SLICE("ROUND07"), &bytes, NULL) == FT_OK)
		ft_practice_read_end(p, 0, true);
	p->reset_at_read = at_read;
}

void practice_live(struct ft_practice *p)
{
	int64_t until = p->now_s, stretch, share;
	bool known = p->clock_known;
	int64_t level[COINS_MAX] = { 0 }, stock[SELECTIONS_MAX] = { 0 };

	p->born_s = p->priced_s = p->clock_set_s = p->past.visits ? p->past.from_s : p->now_s;
	if (!p->past.visits)
		return;
	for (size_t i = 0; i < p->coin_count; i++)
		level[i] = p->coins[i].in_tube;
	for (size_t i = 0; i < p->selection_count; i++)
		stock[i] = p->selections[i].stock;
	p->quiet = true;
	p->now_s = p->past.from_s;
	stretch = (until - p->past.from_s) / (p->past.visits + 1);
	share = p->past.sales / (p->past.visits + 1);
	for (int64_t v = 0; v <= p->past.visits; v++) {
		int64_t begin = p->past.from_s + v * stretch;
		for (int64_t n = 0; n < share; n++) {
			p->now_s = begin + n * stretch / share;
			customer(p);
		}
		if (practice_random(p, 9) == 0)
			p->meters.outages++;
		p->now_s = begin + stretch - stretch / 20;
		if (v < p->past.visits)
			visit(p, v);
	}
	/* the last customers may leave tubes and trays empty; whoever practises finds them as described, or fuller tubes */
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].in_tube < level[i])
			practice_fill(p, i, level[i] - p->coins[i].in_tube);
	for (size_t i = 0; i < p->selection_count; i++) {
		mend(p, &p->selections[i]);
		p->selections[i].stock = stock[i];
	}
	p->now_s = until;
	p->clock_known = known;
	p->quiet = false;
}
