/* SPDX-License-Identifier: Apache-2.0 */
/* Witnesses of the sales beside the fitter's list: what they cannot see is said, what they tell is set
 * against the list, sale by sale, and against the audits. */
#include "prover.h"

enum { PAIRS_MAX = 40000000 }; /* ours: beyond it two lists are not compared sale by sale, and that is said */

static int64_t moved(const struct prover *v, enum ft_element_id init, enum ft_element_id reset)
{
	struct ft_slice none = { NULL, 0 };
	int64_t d = movement(&v->pair, pair_find(&v->pair, init, none, NULL), false, 1);

	return d != FT_ABSENT ? d : movement(&v->pair, pair_find(&v->pair, reset, none, NULL), true, 1);
}

static struct ft_finding *unseen(struct prover *v, const struct ft_account *x, const char *what, const char *todo)
{
	struct ft_finding *f =
		ft_find(v->findings, FT_RULE_LEDGER_NOT_ON_THE_BUS, (struct ft_where){ .file = x->name }, NULL, what);

	f->todo = todo;
	return f;
}

/* ---- the money ---- */

static void cash_counter(struct prover *v, int64_t seen, const char *init, const char *reset, const char *title,
                         enum ft_weight weight)
{
	struct ft_counter c = {
		.title = title, .money = true, .before = FT_ABSENT, .after = FT_ABSENT, .expected = seen, .weight = weight
	};
	struct sum sums[2];

	if (seen == FT_ABSENT || !sum_parse(init, &sums[0]) || !sum_parse(reset, &sums[1]))
		return;
	c.since_reset = !sum_movement(&v->pair, &sums[0], false, &c.observed);
	if (c.since_reset && !sum_movement(&v->pair, &sums[1], true, &c.observed))
		return;
	c.element = sum_label(&v->pair, &sums[c.since_reset], c.since_reset, v->arena);
	if (!c.element)
		ft_fail_memory(v->error, "proving the sales");
	else
		prover_counter(v, c);
}

/* All money the witness saw, also what was given back without a sale (identities A2 and A3). What comes out is
 * asked of the changer, seldom told by it, so it weighs less. */
static void check_cash(struct prover *v, const struct ft_account *x)
{
	if (x->part) /* it saw what it saw, the counters more */
		return;
	cash_counter(v, x->cash_in, "CA305-CA1002?", "CA301-CA1001?", "cash put in, as the bus saw it", FT_FAULT);
	cash_counter(v, x->cash_out, "CA403-CA404?", "CA401-CA402?", "change paid out, as the bus saw it", FT_DOUBT);
}

/* Where cash sales are unseen, a selection must at least have counted its card sales. */
static void check_cards(struct prover *v)
{
	const struct plan *p = &v->plan;

	for (int i = 0; i < p->selection_count && !p->places_unknown; i++) {
		static const enum ft_element_id counters[] = { FT_EL_PA201, FT_EL_PA202 };
		static const char *const titles[] = { "number of paid sales", "value of paid sales" };
		int64_t sum[2] = { 0, 0 };
		for (int k = 0; k < p->sale_count; k++)
			if (p->sales[k].selection == i) {
				sum[0] += p->sales[k].times;
				sum[1] += p->sales[k].times * p->sales[k].price;
			}
		for (int k = 0; k < (p->prices_unknown ? 1 : 2) && sum[0]; k++) {
			const struct joined *j = pair_find(&v->pair, counters[k], p->selections[i], NULL);
			struct ft_counter c = { .element = ft_element_def(counters[k])->name,
				                    .title = titles[k],
				                    .selection = p->selections[i],
				                    .money = k == 1,
				                    .expected = sum[k],
				                    .observed = movement(&v->pair, j, false, 1),
				                    .at_least = true,
				                    .weight = FT_FAULT };
			if (c.observed == FT_ABSENT)
				continue;
			c.before = number_of(j->before);
			c.after = number_of(j->after);
			prover_counter(v, c);
		}
	}
}

static void say_cash_unseen(struct prover *v, const struct ft_account *x)
{
	int64_t counted = moved(v, FT_EL_CA202, FT_EL_CA204);
	struct ft_finding *f;

	if (counted == 0 && (x->cash_in == FT_ABSENT || x->cash_in == x->cash_out)) {
		unseen(v, x, "sales paid in cash, of which the audits count none", "nothing");
		return;
	}
	f = unseen(v, x,
	           counted == FT_ABSENT
	               ? "the sales paid in cash"
	               : ft_arena_printf(v->arena, "the %lld sales paid in cash that the audits count", (long long)counted),
	           "no reader on this bus is told of cash sales (CASH SALE); prove them with a list of sales");
	ft_finding_weigh(v->findings, f, FT_DOUBT);
	v->proof->unshown = true;
}

void accounts_primary(struct prover *v)
{
	const struct ft_account *x = v->primary;
	struct ft_finding *f;

	if (!x)
		return;
	if (x->unsettled) {
		ft_find(v->findings, FT_RULE_LEDGER_SALE_UNSETTLED, (struct ft_where){ .file = x->name },
		        ft_arena_printf(v->arena, "%zu such sale%s", x->unsettled, x->unsettled == 1 ? "" : "s"), NULL);
		v->proof->unshown = true;
	}
	if (x->unpriced) {
		f = unseen(v, x,
		           ft_arena_printf(v->arena, "the price of %zu sale%s: the scale of its money was not on the bus",
		                           x->unpriced, x->unpriced == 1 ? "" : "s"),
		           "begin the capture before the machine is switched on");
		ft_finding_weigh(v->findings, f, FT_DOUBT);
		v->proof->unshown = true;
	}
	if (x->cash_unseen) {
		say_cash_unseen(v, x);
		check_cards(v);
	}
	if (v->plan.places_unknown) {
		f = unseen(v, x, "at which selection it was sold: its item numbers are not the machine's selections",
		           "prove it with a list of sales");
		ft_finding_weigh(v->findings, f, FT_DOUBT);
		v->proof->unshown = true;
	}
	if (moved(v, FT_EL_VA202, FT_EL_VA204) > 0 || moved(v, FT_EL_VA302, FT_EL_VA304) > 0)
		unseen(v, x, "test and free vends, which the bus does not carry", "prove them with a list of sales");
}

void accounts_cash(struct prover *v)
{
	for (size_t i = 0; i < v->in->account_count; i++) {
		const struct ft_account *x = &v->in->accounts[i];
		check_cash(v, x);
		if (x->damaged)
			unseen(v, x,
			       ft_arena_printf(v->arena, "what stood in %llu damaged block%s", (unsigned long long)x->damaged,
			                       x->damaged == 1 ? "" : "s"),
			       "a sale that only the bus lacks may stand there; mend the tap and sell again");
	}
}

/* ---- sale by sale ---- */

enum means { BY_CASH, BY_CARD, BY_OTHER };

static enum means means_of(enum ft_paid p)
{
	switch (p) {
	case FT_PAID_COIN:
	case FT_PAID_BILL:
	case FT_PAID_CASH:
		return BY_CASH;
	case FT_PAID_CARD:
	case FT_PAID_CARD_1:
	case FT_PAID_CARD_2:
		return BY_CARD;
	default:
		return BY_OTHER;
	}
}

static bool same_means(enum ft_paid a, enum ft_paid b)
{
	bool apart = (a == FT_PAID_CARD_1 && b == FT_PAID_CARD_2) || (a == FT_PAID_CARD_2 && b == FT_PAID_CARD_1);

	return means_of(a) == means_of(b) && !apart;
}

struct match {
	struct prover *v;
	const struct ft_account *x;
	bool places; /* selections can be compared */
	int *of;     /* by sale of the list: sale of the account, -1 none */
	bool *taken; /* by sale of the account */
};

/* The passes from like to unlike: all the same; another selection; another price; other means. */
enum { PASS_SAME, PASS_PLACE, PASS_PRICE, PASS_MEANS, PASSES };

static bool fits(const struct match *m, const struct ft_sale *a, const struct ft_sale *b, int pass)
{
	bool place = !m->places || !b->selection.n || selection_same(a->selection, b->selection);
	bool price = b->price == FT_ABSENT || a->price == b->price, means = same_means(a->paid_with, b->paid_with);

	return pass == PASS_SAME ? place && price && means
		: pass == PASS_PLACE ? price && means
		: pass == PASS_PRICE ? place && means
							 : place && price;
}

static bool seen_by(const struct ft_account *x, const struct ft_sale *s)
{
	enum means m = means_of(s->paid_with);

	return m == BY_CARD || (m == BY_CASH && !x->cash_unseen);
}

static void pair_up(struct match *m)
{
	const struct ft_prove_input *in = m->v->in;

	for (int pass = 0; pass < PASSES; pass++)
		for (size_t i = 0; i < in->sale_count; i++) {
			if (m->of[i] >= 0 || !seen_by(m->x, &in->sales[i]))
				continue;
			for (size_t k = 0; m->x->sales && k < m->x->sale_count; k++)
				if (!m->taken[k] && fits(m, &in->sales[i], &m->x->sales[k], pass)) {
					m->of[i] = (int)k;
					m->taken[k] = true;
					break;
				}
		}
}

static const char *sale_text(const struct match *m, const char *whose, const struct ft_sale *s)
{
	static const char *const words[] = { "cash", "card", "other" };

	return ft_arena_printf(m->v->arena, "%s: a %s sale of %s%s%.*s", whose, words[means_of(s->paid_with)],
	                       s->price == FT_ABSENT ? "unknown price" : prover_money(m->v, s->price),
	                       s->time.n ? " at " : "", FT_P(s->time));
}

static void differ(struct match *m, const struct ft_sale *listed, const struct ft_sale *seen, const char *list_says,
                   const char *account_says, enum ft_weight weight)
{
	const struct ft_sale *either = listed ? listed : seen;
	struct ft_where where = { .file = listed ? m->v->in->sales_name : m->x->name,
		                      .line = listed ? listed->line : 0,
		                      .selection = either->selection.n ? ft_arena_text(m->v->arena, either->selection) : NULL };
	struct ft_finding *f = ft_find(m->v->findings, FT_RULE_LEDGER_ACCOUNTS_DIFFER, where, account_says, list_says);

	if (weight == FT_NOTE)
		f->todo = "nothing if the capture did not run then";
	ft_finding_weigh(m->v->findings, f, weight);
	m->v->proof->differ += weight == FT_FAULT;
}

static void tell_pair(struct match *m, const struct ft_sale *a, const struct ft_sale *b)
{
	const char *list = m->v->in->sales_witness ? m->v->in->sales_witness : "fitter's list";
	struct ft_arena *r = m->v->arena;
	static const char *const by[] = { "by cash", "by card", "otherwise" };

	if (m->places && b->selection.n && !selection_same(a->selection, b->selection))
		differ(m, a, b, ft_arena_printf(r, "%s: selection %.*s", list, FT_P(a->selection)),
		       ft_arena_printf(r, "%s: selection %.*s", m->x->witness, FT_P(b->selection)), FT_FAULT);
	else if (b->price != FT_ABSENT && a->price != b->price)
		differ(m, a, b, ft_arena_printf(r, "%s: %s", list, prover_money(m->v, a->price)),
		       ft_arena_printf(r, "%s: %s", m->x->witness, prover_money(m->v, b->price)), FT_FAULT);
	else if (!same_means(a->paid_with, b->paid_with))
		differ(m, a, b, ft_arena_printf(r, "%s: paid %s", list, by[means_of(a->paid_with)]),
		       ft_arena_printf(r, "%s: paid %s", m->x->witness, by[means_of(b->paid_with)]), FT_FAULT);
}

/* What is in the list only weighs a fault where the witness must have seen it: it saw sales before and after. */
static void tell_rest(struct match *m)
{
	const struct ft_prove_input *in = m->v->in;
	const char *list = in->sales_witness ? in->sales_witness : "fitter's list";
	size_t first = in->sale_count, last = 0;

	for (size_t i = 0; i < in->sale_count; i++)
		if (m->of[i] >= 0 && m->x->sales && fits(m, &in->sales[i], &m->x->sales[m->of[i]], PASS_SAME)) {
			first = first < i ? first : i;
			last = i;
		}
	for (size_t i = 0; i < in->sale_count; i++) {
		const struct ft_sale *s = &in->sales[i];
		if (m->of[i] >= 0 && m->x->sales)
			tell_pair(m, s, &m->x->sales[m->of[i]]);
		else if (seen_by(m->x, s))
			differ(m, s, NULL, sale_text(m, list, s), ft_arena_printf(m->v->arena, "%s: no such sale", m->x->witness),
			       m->x->part && (i < first || i > last) ? FT_NOTE : FT_FAULT);
	}
	for (size_t k = 0; k < m->x->sale_count; k++)
		if (!m->taken[k])
			differ(m, NULL, &m->x->sales[k], ft_arena_printf(m->v->arena, "%s: no such sale", list),
			       sale_text(m, m->x->witness, &m->x->sales[k]), FT_FAULT);
}

/* 1: list and account tell the same, 0: they differ, -1: not compared. */
static int against_list(struct prover *v, const struct ft_account *x, const struct plan *theirs)
{
	struct match m = { .v = v, .x = x, .places = !theirs->places_unknown };
	size_t before = v->proof->differ;

	if (!v->in->sales)
		return -1;
	if (v->in->sale_count && x->sale_count > PAIRS_MAX / v->in->sale_count) {
		ft_finding_weigh(v->findings,
		                 unseen(v, x, "each of so many sales one by one", "prove a smaller number of sales"), FT_DOUBT);
		return -1;
	}
	m.of = FT_NEW_ARRAY(v->arena, v->in->sale_count + 1, int);
	m.taken = FT_NEW_ARRAY(v->arena, x->sale_count + 1, bool);
	if (!m.of || !m.taken) {
		ft_fail_memory(v->error, "proving the sales");
		return -1;
	}
	for (size_t i = 0; i < v->in->sale_count; i++)
		m.of[i] = -1;
	pair_up(&m);
	tell_rest(&m);
	return v->proof->differ == before;
}

/* ---- against the audits ---- */

/* 1: every counter that its sales move did what they demand, 0: not, -1: nothing that it sees is counted. */
static int against_audit(const struct plan *p)
{
	size_t checked = 0, wrong = 0;

	for (size_t i = 0; i < p->slot_count; i++) {
		if (!p->slots[i].exact)
			continue;
		checked++;
		wrong += p->slots[i].observed != p->slots[i].expected;
	}
	return !checked ? -1 : !wrong;
}

static void further(struct prover *v, const struct ft_account *x, int list_right)
{
	static const struct ft_sale none = { .price = 0 };
	struct ft_prove_input theirs = { .sales = x->sales ? x->sales : &none, .sale_count = x->sale_count };
	struct plan *p = FT_NEW(v->arena, struct plan);
	struct ft_error own = { 0 };
	const char *list = v->in->sales_witness ? v->in->sales_witness : "fitter's list";
	int same, audit;
	enum ft_status s = p ? plan_init(p, &v->pair, &theirs, x, v->arena, &own) : FT_E_MEMORY;

	if (s == FT_E_MEMORY) {
		ft_fail_memory(v->error, "proving the sales");
		return;
	}
	if (s != FT_OK) {
		prover_witness(v, x->witness, NULL, -1);
		return;
	}
	same = against_list(v, x, p);
	audit = against_audit(p);
	if (x->part && audit == 0)
		audit = -1; /* what it did not run for may have moved them */
	prover_witness(v, x->witness, prover_sales_text(v, p, x->cash_unseen),
	               same == 0                        ? 0
	                   : audit >= 0                 ? audit
	                   : same == 1 && x->sale_count ? list_right
	                                                : -1);
	if (x->part || x->cash_unseen || v->proof->alone)
		return;
	if (same == 1 && list_right == 0 && audit == 0)
		v->proof->alone = "audit";
	else if (same == 0 && list_right == 0 && audit == 1)
		v->proof->alone = list;
	else if (same == 0 && list_right == 1)
		v->proof->alone = x->witness;
}

void accounts_further(struct prover *v, int list_right)
{
	size_t from = v->primary != NULL;

	for (size_t i = from; i < v->in->account_count; i++) {
		if (v->proof->witness_count >= FT_WITNESSES_MAX - 1) { /* the cash comes last */
			unseen(v, &v->in->accounts[i], "more than there is room for among the witnesses",
			       "prove with fewer captures");
			v->proof->unshown = true;
			return;
		}
		further(v, &v->in->accounts[i], list_right);
	}
}
