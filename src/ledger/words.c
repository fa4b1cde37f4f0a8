/* SPDX-License-Identifier: Apache-2.0 */
/* Stories as sentences a fitter understands. */
#include "stories.h"

static const char *paid_group(int mask)
{
	return mask == CASH_MASK        ? "cash sales"
		: mask == CARD_MASK         ? "card sales"
		: mask == 1 << FT_PAID_COIN ? "coin sales"
		: mask == 1 << FT_PAID_BILL ? "bill sales"
		: mask == TOKEN_MASK        ? "token sales"
		: mask == 1 << FT_PAID_TEST ? "test vends"
		: mask == 1 << FT_PAID_FREE ? "free vends"
		: mask == PAID_MASK         ? "sales"
									: "sales and vends";
}

static const char *paid_sale(enum ft_paid p)
{
	static const char *const words[] = { "coin sale",  "bill sale", "card sale", "card sale (cashless 2)",
		                                 "token sale", "test vend", "free vend", "card sale",
		                                 "cash sale" };
	return words[p];
}

static const char *money(const struct search *q, int64_t v)
{
	char text[FT_MONEY_TEXT];

	return ft_arena_printf(q->plan->arena, "%s", ft_money_text(v, q->plan->pair->after->decimals, text));
}

/* "A coin sale of 1.50 at selection 21", "All card sales", "All sales of selection 21". */
static const char *subject(const struct search *q, const struct edit *e)
{
	const struct plan *p = q->plan;

	if (e->sale != ANY) {
		const struct plan_sale *s = &q->sales[e->sale];
		/* on a crossed list the sale stands where it was booked; people know it by where it was made */
		int at = p->sales[e->sale].selection;
		if (at < 0)
			return ft_arena_printf(p->arena, "One %s of %s", paid_sale(s->paid), money(q, s->price));
		return ft_arena_printf(p->arena, "One %s of %s at selection %.*s", paid_sale(s->paid), money(q, s->price),
		                       FT_P(p->selections[at]));
	}
	if (e->from >= 0)
		return ft_arena_printf(p->arena, "All %s at selection %.*s", paid_group(e->means),
		                       FT_P(p->selections[e->from]));
	return ft_arena_printf(p->arena, "All %s", paid_group(e->means));
}

static const char *crossing_sentence(const struct search *q, const struct edit *e)
{
	const struct plan *p = q->plan;
	const char *priced = e->price == INT64_MAX ? ", each at the other's price" : "";
	int sold = 0, unsold;

	for (int i = 0; i < p->sale_count; i++)
		sold |= (p->sales[i].selection == e->from) | (p->sales[i].selection == e->to) << 1;
	unsold = sold == 1 ? e->to : e->from;
	if (sold == 3)
		return ft_arena_printf(p->arena, "Selections %.*s and %.*s count for each other%s",
		                       FT_P(p->selections[e->from]), FT_P(p->selections[e->to]), priced);
	return ft_arena_printf(p->arena, "Selections %.*s and %.*s count for each other%s (sell %.*s as well to be sure)",
	                       FT_P(p->selections[e->from]), FT_P(p->selections[e->to]), priced,
	                       FT_P(p->selections[unsold]));
}

static const char *sentence(const struct search *q, const struct edit *e)
{
	const struct plan *p = q->plan;
	struct ft_arena *a = p->arena;
	const char *who = e->mode == ADD || e->mode == CROSS ? "" : subject(q, e);
	const char *is = e->sale != ANY ? "was" : "were";
	const char *priced = e->price == INT64_MAX ? ", at the price there" : "";
	struct ft_slice to = e->to >= 0 ? p->selections[e->to] : (struct ft_slice){ "", 0 };
	struct ft_slice list = e->list >= 0 ? p->lists[e->list] : (struct ft_slice){ "", 0 };
	bool on_list = e->list >= 0 && p->list_count > 1;

	switch ((enum ft_story_kind)e->kind) {
	case FT_STORY_CROSSED_SELECTIONS:
		return crossing_sentence(q, e);
	case FT_STORY_COUNTED_ELSEWHERE:
		return ft_arena_printf(a, "%s %s counted for selection %.*s%s", who, is, FT_P(to), priced);
	case FT_STORY_NOT_COUNTED:
		return ft_arena_printf(a, "%s %s not counted%s", who, is,
		                       e->layers == LAYER_ALL && (e->sale == ANY || mask_of(q->sales[e->sale].paid) & CASH_MASK)
		                           ? ", nor any cash for it"
		                           : "");
	case FT_STORY_COUNTED_TWICE:
		return ft_arena_printf(a, "%s %s counted twice", who, is);
	case FT_STORY_OTHER_PRICE:
		return ft_arena_printf(a, "%s %s booked at %s", who, is, money(q, e->price));
	case FT_STORY_OTHER_LIST:
		return ft_arena_printf(a, "%s %s booked on price list %.*s%s", who, is, FT_P(list),
		                       e->price == INT64_MAX ? ", at its price" : "");
	case FT_STORY_CASH_AS_CASHLESS:
		return ft_arena_printf(a, "%s %s booked as card sale%s%s%s%.*s", who, is, e->sale != ANY ? "" : "s",
		                       e->paid == FT_PAID_CARD_2 ? " of cashless 2" : "", on_list ? " on price list " : "",
		                       FT_P(list));
	case FT_STORY_CASHLESS_AS_CASH:
		return ft_arena_printf(a, "%s %s booked as cash%s%.*s", who, is, on_list ? " on price list " : "", FT_P(list));
	case FT_STORY_UNLISTED_SALE:
		return ft_arena_printf(a, "One %s of %s at selection %.*s is missing from the list",
		                       paid_sale((enum ft_paid)e->paid), money(q, e->price), FT_P(to));
	case FT_STORY_CASH_NOT_REPORTED:
		return ft_arena_printf(a, "%s %s counted, but the cash taken for %s%s was not", who, is,
		                       e->sale != ANY ? "it" : "them", e->list == TOP_UPS_TOO ? " and for top-ups" : "");
	}
	return "";
}

void story_tell(const struct search *q, const struct edit *e, struct ft_story_edit *ret)
{
	const struct plan *p = q->plan;
	int first = e->mode == ADD ? e->to : e->sale != ANY ? p->sales[e->sale].selection : e->from;
	int second = e->mode == ADD ? -1 : e->to;

	*ret = (struct ft_story_edit){ .kind = (enum ft_story_kind)e->kind, .detail = sentence(q, e) };
	if (first >= 0)
		ret->selections[0] = p->selections[first];
	if (second >= 0)
		ret->selections[first >= 0] = p->selections[second];
}
