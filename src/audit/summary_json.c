/* SPDX-License-Identifier: Apache-2.0 */
/* The parts of a summary as JSON, so that explain and the handover write them alike. */
#include "fettle/audit.h"

void ft_total_json(struct ft_json *j, const char *key, const struct ft_total *t)
{
	ft_json_object(j, key);
	ft_json_count(j, "value", t->value);
	ft_json_count(j, "count", t->count);
	ft_json_count(j, "value_since_reset", t->value_since_reset);
	ft_json_count(j, "count_since_reset", t->count_since_reset);
	ft_json_object_end(j);
}

void ft_pair_json(struct ft_json *j, const char *key, const struct ft_pair *p)
{
	if (p->init == FT_ABSENT && p->reset == FT_ABSENT) {
		ft_json_null(j, key);
		return;
	}
	ft_json_object(j, key);
	ft_json_count(j, "init", p->init);
	ft_json_count(j, "reset", p->reset);
	ft_json_object_end(j);
}

void ft_totals_json(struct ft_json *j, const struct ft_summary *s)
{
	ft_total_json(j, "paid", &s->paid);
	ft_total_json(j, "cash", &s->cash);
	ft_total_json(j, "cashless_1", &s->cashless_1);
	ft_total_json(j, "cashless_2", &s->cashless_2);
	ft_total_json(j, "tokens", &s->tokens);
	ft_total_json(j, "test", &s->test);
	ft_total_json(j, "free", &s->free);
}

void ft_cash_json(struct ft_json *j, const struct ft_summary *s, const char *in_key)
{
	ft_pair_json(j, in_key, &s->cash_in);
	ft_pair_json(j, "to_box", &s->to_box);
	ft_pair_json(j, "to_tubes", &s->to_tubes);
	ft_pair_json(j, "bills_in", &s->bills_in);
	ft_pair_json(j, "dispensed", &s->dispensed);
	ft_pair_json(j, "dispensed_by_hand", &s->dispensed_by_hand);
	ft_pair_json(j, "filled", &s->filled);
	ft_pair_json(j, "overpaid", &s->overpaid);
	ft_json_count(j, "tubes_now", s->tubes_now);
}

void ft_reliances_json(struct ft_json *j, const struct ft_reliances *r)
{
	ft_json_object(j, "reliance");
	for (int i = 0; i < FT_USES; i++)
		ft_json_text(j, ft_use_word(i), ft_reliance_word(ft_reliance_for(r, i)));
	ft_json_object_end(j);
}

const char *ft_use_word(int use)
{
	static const char *const words[FT_USES] = { "sales_total", "sales_by_selection", "cash_in", "cash_out",
		                                        "cashless",    "price_lists",        "events",  "clock" };
	return words[use];
}

enum ft_reliance ft_reliance_for(const struct ft_reliances *r, int use)
{
	const enum ft_reliance all[FT_USES] = { r->sales_total, r->sales_by_selection, r->cash_in, r->cash_out,
		                                    r->cashless,    r->price_lists,        r->events,  r->clock };
	return all[use];
}

void ft_decimals_json(struct ft_json *j, bool known, int decimals)
{
	ft_json_count(j, "decimals", known ? decimals : FT_ABSENT);
}
