/* SPDX-License-Identifier: Apache-2.0 */
/* Did what was sold move exactly the right counters, and who else says so. */
#include <stdlib.h>

#include "prover.h"

struct identity {
	const char *name, *left, *right;
	enum ft_weight weight;
	bool with_sales;
	const char *sentence, *breakers, *source;
};
#define IDENTITY_YES true
#define IDENTITY_NO  false
static const struct identity identities[] = {
#define ROW(id, name, left, right, weight, with_sales, sentence, breakers, source) \
	{ name, left, right, FT_##weight, IDENTITY_##with_sales, sentence, breakers, source },
#include "identities.inc"
#undef ROW
};
enum { IDENTITY_COUNT = sizeof identities / sizeof *identities };

const char *ft_story_kind_word(enum ft_story_kind k)
{
	static const char *const words[] = { "crossed-selections", "counted-elsewhere", "not-counted",
		                                 "counted-twice",      "other-price",       "other-list",
		                                 "cash-as-cashless",   "cashless-as-cash",  "unlisted-sale",
		                                 "cash-not-reported" };

	return (unsigned)k < sizeof words / sizeof *words ? words[k] : "unknown";
}

const char *prover_money(const struct prover *v, int64_t m)
{
	char t[FT_MONEY_TEXT];

	return ft_arena_printf(v->arena, "%s", ft_money_text(m, v->after->facts->decimals, t));
}

static const char *amount_text(const struct prover *v, bool money, int64_t n)
{
	return money ? prover_money(v, n) : ft_arena_printf(v->arena, "%lld", (long long)n);
}

void prover_counter(struct prover *v, struct ft_counter c)
{
	struct ft_proof *p = v->proof;
	struct ft_counter *grown = ft_arena_grow(v->arena, p->counters, p->counter_count, &v->room, sizeof *grown);

	if (!grown) {
		ft_fail_memory(v->error, "proving the sales");
		return;
	}
	p->counters = grown;
	p->counters[p->counter_count++] = c;
	p->wrong_count += !ft_counter_right(&c);
}

static void report_wrong(struct prover *v, const struct ft_counter *c, const char *todo)
{
	struct ft_where where = { .file = v->after->name, .element = c->element };
	struct ft_finding *f;

	if (c->selection.p)
		where.selection = ft_arena_text(v->arena, c->selection);
	f = ft_find(v->findings, FT_RULE_LEDGER_COUNTER_MISMATCH, where,
	            ft_arena_printf(v->arena, "%s moved by %s", c->title, amount_text(v, c->money, c->observed)),
	            ft_arena_printf(v->arena, "%s%s", c->at_least ? "at least " : "",
	                            amount_text(v, c->money, c->expected)));
	if (todo)
		f->todo = todo;
	ft_finding_weigh(v->findings, f, c->weight);
}

static int worse_first(const void *a, const void *b)
{
	const struct ft_counter *x = a, *y = b;
	int wrong = !ft_counter_right(y) - !ft_counter_right(x);

	if (wrong)
		return wrong;
	if (!ft_counter_right(x) && x->weight != y->weight)
		return (int)y->weight - (int)x->weight;
	if (x->since_reset != y->since_reset)
		return x->since_reset - y->since_reset;
	if (!x->selection.p != !y->selection.p)
		return !y->selection.p - !x->selection.p;
	if (x->selection.p && ft_selection_cmp(x->selection, y->selection))
		return ft_selection_cmp(x->selection, y->selection);
	return strcmp(x->element, y->element);
}

/* ---- the sales against the counters ---- */

static const struct slot *machine_slot(const struct plan *p, const char *name)
{
	for (size_t i = 0; i < p->slot_count; i++)
		if (!p->slots[i].reset && strcmp(effects[p->slots[i].effect].name, name) == 0)
			return &p->slots[i];
	return NULL;
}

/* Money put in and given back without a sale moves cash in and change alike: no fault of the machine. */
static void allow_returned_money(struct plan *p)
{
	const struct slot *in = machine_slot(p, "cash_in"), *change = machine_slot(p, "change"),
					  *net = machine_slot(p, "cash_net");

	if (!in || !change || !net || net->observed != net->expected || in->observed <= in->expected ||
	    in->observed - in->expected != change->observed - change->expected)
		return;
	for (size_t i = 0; i < p->slot_count; i++) {
		const char *name = effects[p->slots[i].effect].name;
		if (strcmp(name, "cash_in") == 0 || strcmp(name, "change") == 0)
			p->slots[i].exact = false;
	}
}

static void counters_of_slots(struct prover *v)
{
	static const char *const devices[] = { "CA", "DA", "DB", "TA" };
	const struct plan *p = &v->plan;

	for (size_t i = 0; i < p->slot_count; i++) {
		const struct slot *s = &p->slots[i];
		const struct effect *x = &effects[s->effect];
		struct ft_counter c = { .title = x->title,
			                    .money = x->measure != MEASURE_ONE && !strstr(x->title, "number"),
			                    .since_reset = s->reset,
			                    .before = s->before,
			                    .after = s->after,
			                    .expected = s->expected,
			                    .observed = s->observed,
			                    .weight = s->exact ? FT_FAULT : FT_DOUBT };
		c.element = x->scope == SCOPE_MACHINE ? sum_label(&v->pair, &p->sums[s->effect][s->reset], s->reset, v->arena)
											  : ft_element_def(p->sums[s->effect][s->reset].terms[0].id)->name;
		if (s->selection >= 0)
			c.selection = p->selections[s->selection];
		if (s->device >= 0)
			c.device = ft_slice_of(p->together && s->device == DEVICE_DA ? "DA+DB" : devices[s->device]);
		if (s->list >= 0)
			c.list = p->lists[s->list];
		if (!c.element)
			ft_fail_memory(v->error, "proving the sales");
		else
			prover_counter(v, c);
	}
}

static void counters_of_identities(struct prover *v)
{
	for (int i = 0; i < IDENTITY_COUNT; i++) {
		const struct identity *x = &identities[i];
		struct sum left, right;
		struct ft_counter c = { .title = x->sentence, .before = FT_ABSENT, .after = FT_ABSENT, .weight = x->weight };
		if (v->in->sales && !x->with_sales && !v->plan.unseen) /* then the sales demand all of it and more */
			continue;
		if (!sum_parse(x->left, &left) || !sum_parse(x->right, &right)) {
			ft_fail(v->error, FT_E_INTERNAL, "The table of identities is wrong at %s.", x->name);
			return;
		}
		if (!sum_movement(&v->pair, &left, false, &c.observed) || !sum_movement(&v->pair, &right, false, &c.expected))
			continue;
		/* a machine that counts on one side only what it never moved on the other does not carry it */
		if (c.observed == 0 && c.expected != 0 && left.terms[0].all)
			c.weight = FT_DOUBT;
		c.money = !strstr(x->name, "number") && !strstr(x->name, "test") && !strstr(x->name, "free") &&
			strcmp(x->name, "A8") != 0;
		c.element = ft_arena_printf(v->arena, "%s", sum_label(&v->pair, &left, false, v->arena));
		prover_counter(v, c);
	}
}

/* ---- what nothing can show ---- */

static int group_of(const char *shows)
{
	for (int i = 0; i < EFFECT_COUNT; i++)
		if (strcmp(effects[i].shows, shows) == 0)
			return i;
	return -1;
}

/* Which of group and selection have a counter: cell [group][selection + 1], 0 for the whole machine. */
static void mark_witnessed(const struct plan *p, bool *seen)
{
	size_t width = (size_t)p->selection_count + 1;

	for (size_t i = 0; i < p->slot_count; i++) {
		const struct effect *x = &effects[p->slots[i].effect];
		const char *groups[2] = { x->shows, x->also };
		for (int k = 0; k < 2; k++) {
			int g = *groups[k] ? group_of(groups[k]) : -1;
			if (g >= 0)
				seen[(size_t)g * width + (size_t)(p->slots[i].selection + 1)] = true;
		}
	}
}

static void find_unshown(struct prover *v)
{
	const struct plan *p = &v->plan;
	size_t width = (size_t)p->selection_count + 1;
	bool *seen = FT_NEW_ARRAY(v->arena, EFFECT_COUNT * width, bool);

	if (!seen) {
		ft_fail_memory(v->error, "proving the sales");
		return;
	}
	mark_witnessed(p, seen);
	for (int i = 0; i < EFFECT_COUNT; i++) {
		const struct effect *x = &effects[i];
		int g = group_of(x->shows);
		struct ft_slice only = { NULL, 0 };
		struct ft_finding *f;
		int lacking = 0;
		if (x->need == NEED_MAY || !plan_sees(p, x, -1) ||
		    (x->cards != CARDS_ALWAYS && (x->cards == CARDS_TOGETHER) != p->together))
			continue;
		if (g != i || ((x->measure == MEASURE_TENDERED || x->measure == MEASURE_CHANGE) && !p->tendered_known))
			continue;
		for (int k = 0; k < p->sale_count; k++) {
			const struct plan_sale *s = &p->sales[k];
			size_t at = (size_t)g * width + (size_t)(x->scope == SCOPE_MACHINE ? 0 : s->selection + 1);
			int paid = s->paid == FT_PAID_CASH ? FT_PAID_COIN : (int)s->paid;
			if (!x->paid[paid] || seen[at] || (x->scope != SCOPE_MACHINE && s->selection < 0) ||
			    (x->measure == MEASURE_CHANGE && s->tendered == s->price))
				continue;
			seen[at] = true; /* told once */
			lacking++;
			if (x->scope != SCOPE_MACHINE && s->selection >= 0)
				only = p->selections[s->selection];
		}
		if (!lacking)
			continue;
		f = ft_find(v->findings, FT_RULE_LEDGER_CANNOT_WITNESS,
		            (struct ft_where){ .file = v->after->name,
		                               .selection = lacking == 1 && only.p ? ft_arena_text(v->arena, only) : NULL },
		            NULL, lacking == 1 ? x->shows : ft_arena_printf(v->arena, "%s (%d selections)", x->shows, lacking));
		if (x->need == NEED_MUST) {
			ft_finding_weigh(v->findings, f, FT_DOUBT);
			v->proof->unshown = true;
		}
	}
}

static void find_strangers(struct prover *v)
{
	const struct plan *p = &v->plan;

	for (size_t i = 0; i < v->in->sale_count; i++) {
		const struct ft_sale *s = &v->in->sales[i];
		bool known = false, list = !s->list.p;
		for (int k = 0; k < p->selection_count && !known; k++)
			known = selection_same(p->selections[k], s->selection);
		for (int k = 0; k < p->list_count && !list; k++)
			list = selection_same(p->lists[k], s->list);
		if (!known) {
			struct ft_finding *f = ft_find(v->findings, FT_RULE_LEDGER_CANNOT_WITNESS,
			                               (struct ft_where){ .file = v->in->sales_name,
			                                                  .line = s->line,
			                                                  .selection = ft_arena_text(v->arena, s->selection) },
			                               "a sale at a selection that the audits do not name", NULL);
			f->todo = "look at the selection number in the list of sales";
			ft_finding_weigh(v->findings, f, FT_DOUBT);
			v->proof->unshown = true;
		} else if (!list) {
			ft_find(v->findings, FT_RULE_LEDGER_CANNOT_WITNESS,
			        (struct ft_where){ .file = v->in->sales_name,
			                           .line = s->line,
			                           .selection = ft_arena_text(v->arena, s->selection) },
			        ft_arena_printf(v->arena, "a sale on price list %.*s, which the audits do not count",
			                        FT_P(s->list)),
			        NULL);
		}
	}
}

/* Two selections with the same sales: crossed or not, the counters would be the same. */
static void find_alike(struct prover *v)
{
	const struct plan *p = &v->plan;
	uint64_t *marks = FT_NEW_ARRAY(v->arena, (size_t)p->selection_count + 1, uint64_t);
	struct ft_buf names = { 0 };
	int groups = 0;

	for (int k = 0; marks && k < p->sale_count; k++) {
		const struct plan_sale *s = &p->sales[k];
		/* what the counters tell apart: the device, or the kind of vend that was not paid for */
		int device = device_of(p, s->paid), kind = device >= 0 ? device : DEVICES + (int)s->paid;
		uint64_t h = ((uint64_t)s->price * 32 + (uint64_t)kind) * (PLAN_LISTS_MAX + 2) + (uint64_t)(s->list + 2);
		h = (h ^ h >> 31) * UINT64_C(0xbf58476d1ce4e5b9);
		if (s->selection >= 0)
			marks[s->selection] += (h ^ h >> 29) * (uint64_t)s->times;
	}
	for (int a = 0; marks && a < p->selection_count; a++) {
		bool any = false;
		for (int b = a + 1; b < p->selection_count && marks[a]; b++)
			if (marks[a] == marks[b]) {
				if (!any)
					ft_buf_printf(&names, "%s%.*s", groups++ ? "; " : "", FT_P(p->selections[a]));
				ft_buf_printf(&names, " and %.*s", FT_P(p->selections[b]));
				any = true;
				marks[b] = 0;
			}
	}
	if (groups && names.status == FT_OK)
		ft_find(v->findings, FT_RULE_LEDGER_SOLD_ALIKE, (struct ft_where){ .file = v->in->sales_name },
		        ft_arena_text(v->arena, ft_buf_text(&names)), NULL);
	ft_buf_done(&names);
}

static bool is_a_price(const struct prover *v, const struct plan_sale *s, bool *ret_any)
{
	const struct plan *p = &v->plan;

	for (size_t i = 0; i < v->pair.count; i++) {
		const struct joined *j = &v->pair.list[i];
		const struct ft_cell *c = j->after ? j->after : j->before;
		if ((c->element != FT_EL_PA102 && c->element != FT_EL_PA704 && c->element != FT_EL_LA103) ||
		    !ft_slice_eq(c->selection, p->selections[s->selection]))
			continue;
		*ret_any |= number_of(j->before) != FT_ABSENT || number_of(j->after) != FT_ABSENT;
		if (number_of(j->before) == s->price || number_of(j->after) == s->price)
			return true;
	}
	return false;
}

/* What was paid is none of the prices the machine tells: the counters may agree and yet the customer
 * pays what the office does not know of (rule B7). */
static void find_odd_prices(struct prover *v)
{
	const struct plan *p = &v->plan;

	for (int k = 0; k < p->sale_count; k++) {
		const struct plan_sale *s = &p->sales[k];
		bool any = false;
		if (s->selection < 0 || s->paid == FT_PAID_TEST || s->paid == FT_PAID_FREE || is_a_price(v, s, &any) || !any)
			continue;
		ft_find(v->findings, FT_RULE_LEDGER_PRICE_PAID,
		        (struct ft_where){ .file = v->in->sales_name,
		                           .selection = ft_arena_text(v->arena, p->selections[s->selection]) },
		        prover_money(v, s->price),
		        p->prices[s->selection] != FT_ABSENT ? prover_money(v, p->prices[s->selection]) : NULL);
	}
}

/* ---- witnesses ---- */

void prover_witness(struct prover *v, const char *name, const char *says, int agrees)
{
	v->proof->witnesses[v->proof->witness_count++] = (struct ft_witness){ name, says, agrees };
}

static int64_t moved(const struct prover *v, enum ft_element_id init, enum ft_element_id reset)
{
	struct ft_slice none = { NULL, 0 };
	int64_t d = movement(&v->pair, pair_find(&v->pair, init, none, NULL), false, 1);

	return d != FT_ABSENT ? d : movement(&v->pair, pair_find(&v->pair, reset, none, NULL), true, 1);
}

static const char *audit_says(const struct prover *v)
{
	int64_t n = moved(v, FT_EL_VA102, FT_EL_VA104), m = moved(v, FT_EL_VA101, FT_EL_VA103);
	int64_t cash = moved(v, FT_EL_CA202, FT_EL_CA204), da = moved(v, FT_EL_DA202, FT_EL_DA204),
			db = moved(v, FT_EL_DB202, FT_EL_DB204);
	const char *total, *split = "";

	if (n == FT_ABSENT || m == FT_ABSENT)
		return NULL;
	total = ft_arena_printf(v->arena, "%lld paid sale%s, %s", (long long)n, n == 1 ? "" : "s", prover_money(v, m));
	if (cash != FT_ABSENT && (da != FT_ABSENT || db != FT_ABSENT))
		split = ft_arena_printf(v->arena, " (%lld cash, %lld card)", (long long)cash,
		                        (long long)((da != FT_ABSENT ? da : 0) + (db != FT_ABSENT ? db : 0)));
	return ft_arena_printf(v->arena, "%s%s", total, split);
}

const char *prover_sales_text(const struct prover *v, const struct plan *p, bool cash_unseen)
{
	int64_t value = 0;
	int n = 0, cash = 0, cards = 0;

	for (int i = 0; i < p->sale_count; i++) {
		const struct plan_sale *s = &p->sales[i];
		if (s->paid == FT_PAID_TEST || s->paid == FT_PAID_FREE)
			continue;
		n += s->times;
		value += s->price * s->times;
		cash += device_of(p, s->paid) == DEVICE_CA ? s->times : 0;
		cards += s->paid == FT_PAID_CARD_1 || s->paid == FT_PAID_CARD_2 ? s->times : 0;
	}
	if (p->prices_unknown)
		return ft_arena_printf(v->arena, "%d %s sale%s; their prices are not told", n, cash_unseen ? "card" : "paid",
		                       n == 1 ? "" : "s");
	if (cash_unseen)
		return ft_arena_printf(v->arena, "%d card sale%s, %s; cash sales unseen", n, n == 1 ? "" : "s",
		                       prover_money(v, value));
	return ft_arena_printf(v->arena, "%d paid sale%s, %s (%d cash, %d card)", n, n == 1 ? "" : "s",
	                       prover_money(v, value), cash, cards);
}

/* What must lie in the box: since the first read, and since the last reset where that is longer ago. */
static bool box_demand(const struct prover *v, int64_t *ret, int64_t *ret_since_reset)
{
	const struct ft_facts *f = v->after->facts;
	struct sum init, reset;
	bool ok;

	if (!sum_parse("CA306+BILLS?", &init) || !sum_parse("CA302+BILLS?", &reset))
		return false;
	ok = sum_movement(&v->pair, &init, false, ret) || sum_movement(&v->pair, &reset, true, ret);
	*ret_since_reset = f->value[FT_EL_CA302];
	if (*ret_since_reset != FT_ABSENT && f->bills_in_reset != FT_ABSENT &&
	    !add_checked(*ret_since_reset, f->bills_in_reset, ret_since_reset))
		*ret_since_reset = FT_ABSENT;
	return ok;
}

static int judge_counted(struct prover *v)
{
	int64_t demand, since_reset, counted = v->in->counted;
	const char *says = ft_arena_printf(v->arena, "%s in the box", prover_money(v, counted));
	int agrees = -1;

	if (box_demand(v, &demand, &since_reset)) {
		agrees = counted == demand || counted == since_reset;
		if (!agrees)
			ft_find(v->findings, FT_RULE_LEDGER_CASH_COUNTED,
			        (struct ft_where){ .file = v->after->name, .element = "CA302+CA309" }, prover_money(v, counted),
			        prover_money(v, demand));
		else
			says = ft_arena_printf(v->arena, "%s in the box%s", prover_money(v, counted),
			                       counted == demand ? "" : ", as since the last reset");
	} else {
		ft_find(v->findings, FT_RULE_LEDGER_CANNOT_WITNESS,
		        (struct ft_where){ .file = v->after->name, .element = "CA302+CA309" }, NULL,
		        "the cash sent to the box");
	}
	prover_witness(v, "counted cash", says, agrees);
	return agrees;
}

/* ---- what the reads say was sold ---- */

static void list_sold(struct prover *v)
{
	struct ft_proof *p = v->proof;

	p->sold = FT_NEW_ARRAY(v->arena, v->pair.count + 1, struct ft_sold);
	for (size_t i = 0; p->sold && i < v->pair.count; i++) {
		const struct ft_cell *c = v->pair.list[i].after;
		struct ft_sold s;
		bool by_list;
		if (!c || c->nth || (c->element != FT_EL_PA201 && c->element != FT_EL_PA705))
			continue;
		by_list = c->element == FT_EL_PA705;
		if (!by_list && v->after->facts->segment[FT_SEG_PA7] >= 0)
			continue; /* the rows by list say the same in more detail */
		s = (struct ft_sold){ c->selection, c->key[0], c->key[1], movement(&v->pair, &v->pair.list[i], false, 1),
			                  FT_ABSENT };
		s.value =
			movement(&v->pair,
		             pair_find(&v->pair, by_list ? FT_EL_PA706 : FT_EL_PA202, c->selection, by_list ? c->key : NULL),
		             false, 1);
		if (s.count != 0 && s.count != FT_ABSENT)
			p->sold[p->sold_count++] = s;
	}
}

/* ---- the whole ---- */

static enum ft_status prove_sales(struct prover *v)
{
	enum ft_status s = plan_init(&v->plan, &v->pair, v->in, v->primary, v->arena, v->error);

	if (s != FT_OK)
		return s;
	allow_returned_money(&v->plan);
	counters_of_slots(v);
	find_unshown(v);
	if (!v->plan.places_unknown) {
		find_strangers(v);
		find_alike(v);
	}
	accounts_primary(v);
	if (!v->plan.prices_unknown)
		find_odd_prices(v);
	return stories_search(&v->plan, v->proof, v->error);
}

static void judge(struct prover *v)
{
	struct ft_proof *p = v->proof;
	const char *todo =
		p->story_count ? ft_arena_printf(v->arena, "%s; mend it and sell again", p->stories[0].detail) : NULL;
	size_t faults = 0, doubts = 0;
	int by_cash = -1, right;

	for (size_t i = 0; i < p->counter_count; i++)
		if (!ft_counter_right(&p->counters[i])) {
			report_wrong(v, &p->counters[i],
			             todo               ? todo
			                 : v->in->sales ? NULL
			                                : "read again; then sell one of each and prove with a list of sales");
			faults += p->counters[i].weight == FT_FAULT;
			doubts += p->counters[i].weight != FT_FAULT;
		}
	right = !v->in->sales ? -1 : faults ? 0 : p->unshown || doubts ? -1 : 1;
	prover_witness(v, "audit", audit_says(v), right);
	if (v->primary)
		prover_witness(v, "fitter's list", NULL, -1);
	prover_witness(v, v->in->sales_witness ? v->in->sales_witness : "fitter's list",
	               v->in->sales ? prover_sales_text(v, &v->plan, v->primary && v->primary->cash_unseen) : NULL, right);
	accounts_further(v, right);
	if (v->in->counted != FT_ABSENT)
		by_cash = judge_counted(v);
	else
		prover_witness(v, "counted cash", NULL, -1);
	if (!v->in->sales && v->in->counted != FT_ABSENT && by_cash >= 0 && !faults)
		p->witnesses[0].agrees = by_cash;
	p->verdict = ft_verdict_of(v->findings, false);
	p->agree = faults || by_cash == 0 || p->differ ? 0
		: doubts || p->unshown                     ? -1
		: v->in->sales || by_cash == 1             ? 1
												   : -1;
}

/* Such a counter is followed round its end, and that it was is said. */
static void find_wrapped(struct prover *v)
{
	for (size_t i = 0; i < v->pair.count; i++) {
		const struct joined *j = &v->pair.list[i];
		int64_t before = number_of(j->before), after = number_of(j->after);
		if (before == FT_ABSENT || after == FT_ABSENT || !counts_from_init(j->after) || !wrap_of(before, after))
			continue;
		ft_find(v->findings, FT_RULE_LEDGER_METER_WRAPPED,
		        (struct ft_where){ .file = v->after->name,
		                           .element = ft_element_def(j->after->element)->name,
		                           .selection =
		                               j->after->selection.p ? ft_arena_text(v->arena, j->after->selection) : NULL },
		        ft_arena_printf(v->arena, "%lld", (long long)after),
		        ft_arena_printf(v->arena, "%lld or more", (long long)before));
	}
}

enum ft_status ft_prove(const struct ft_read *before, const struct ft_read *after, const struct ft_prove_input *in,
                        struct ft_arena *a, struct ft_findings *findings, struct ft_proof *ret, struct ft_error *e)
{
	static const struct ft_sale none = { .price = 0 };
	struct ft_prove_input own_in = *in;
	struct prover v = {
		.before = before, .after = after, .in = in, .arena = a, .findings = findings, .proof = ret, .error = e
	};
	struct ft_error own = { 0 };
	enum ft_pair_stands stands;
	enum ft_status s;

	if (!e)
		v.error = e = &own;
	*ret = (struct ft_proof){ .agree = -1 };
	if (!in->sales && in->account_count) { /* the account of another witness takes the list's place */
		v.primary = &in->accounts[0];
		own_in.sales = v.primary->sales ? v.primary->sales : &none;
		own_in.sale_count = v.primary->sale_count;
		own_in.sales_name = v.primary->name;
		own_in.sales_witness = v.primary->witness;
		v.in = in = &own_in;
	}
	if ((s = pair_init(&v.pair, before->facts, after->facts, a, e)) != FT_OK)
		return s;
	stands = pair_judge(&v.pair, before, after, findings);
	if (stands == FT_PAIR_OTHER_MACHINE || stands == FT_PAIR_SWAPPED) {
		ret->agree = 0;
		ret->verdict = FT_CONTRADICTED;
		return FT_OK;
	}
	if (before->facts->decimals != after->facts->decimals) {
		struct ft_finding *f = ft_find(findings, FT_RULE_LEDGER_SETTING_CHANGED,
		                               (struct ft_where){ .file = after->name, .element = "ID401" },
		                               ft_arena_printf(a, "%d", after->facts->decimals),
		                               ft_arena_printf(a, "%d", before->facts->decimals));
		f->todo = "key the decimal places back in: no amount can be compared until then";
		ft_finding_weigh(findings, f, FT_FAULT);
	}
	if (v.pair.mode == RESET_UNCLEAR)
		ft_find(findings, FT_RULE_LEDGER_INTERVAL_UNCLEAR, (struct ft_where){ .file = after->name }, NULL, NULL);
	find_wrapped(&v);
	if (in->sales && (s = prove_sales(&v)) != FT_OK)
		return s;
	accounts_cash(&v);
	counters_of_identities(&v);
	if (ret->counter_count)
		qsort(ret->counters, ret->counter_count, sizeof *ret->counters, worse_first);
	list_sold(&v);
	judge(&v);
	/* nothing was sold and nobody says otherwise: then nothing was proved either */
	ret->idle = !in->sales && in->counted == FT_ABSENT && !ret->sold_count &&
		before->facts->value[FT_EL_VA102] == after->facts->value[FT_EL_VA102];
	if (ret->idle && ret->verdict == FT_SHOWN)
		ret->verdict = FT_OPEN;
	return e->status;
}
