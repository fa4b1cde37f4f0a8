/* SPDX-License-Identifier: Apache-2.0 */
/* The simplest edits of the list of sales that explain every difference exactly.
 *
 * An edit changes the expected movements by a sparse vector. With a fixed random weight for each slot
 * the weighted sum of a vector is a linear hash: an edit explains the residual when the hashes are
 * equal (then proved exactly), two edits when their hashes add up to it, so pairs are found by looking
 * each edit's complement up in a table instead of trying all of them. Crossed selections move every
 * sale of two selections, so what comes on top of a crossing is searched on the crossed list. */
#include "stories.h"

static bool fits(const struct edit *e, const struct search *q, int sale)
{
	const struct plan_sale *s = &q->sales[sale];

	if (e->sale != ANY)
		return e->sale == sale;
	return e->means & mask_of(s->paid) && (e->from == ANY || e->from == s->selection) &&
		(e->old_price == FT_ABSENT || e->old_price == s->price);
}

static int64_t paired_price(const struct plan *p, const struct plan_sale *s, int to, int list)
{
	int d = device_of(p, s->paid);

	if (to < 0)
		return s->price; /* a selection the machine does not name */
	if (d >= 0 && list >= 0 && p->list_prices[list_at(p, to, d, list)] != FT_ABSENT)
		return p->list_prices[list_at(p, to, d, list)];
	return p->prices[to] != FT_ABSENT ? p->prices[to] : s->price;
}

static struct plan_sale changed(const struct edit *e, const struct plan *p, const struct plan_sale *s)
{
	struct plan_sale n = *s;
	int to = e->mode == CROSS ? (s->selection == e->from ? e->to : e->from) : e->to;

	if (e->paid != NEW_KEEP)
		n.paid = (enum ft_paid)e->paid;
	if (to >= 0)
		n.selection = to;
	if (e->list != NEW_KEEP)
		n.list = e->list;
	if (e->price == INT64_MAX) /* the price of where it is booked */
		n.price = paired_price(p, &n, n.selection, n.list);
	else if (e->price != FT_ABSENT)
		n.price = e->price;
	return n;
}

static void edit_delta(const struct search *q, const struct edit *e, struct delta *d)
{
	const struct plan *p = q->plan;

	delta_clear(d);
	if (e->mode == CASH_LOST && e->list == TOP_UPS_TOO)
		plan_emit_top_ups_lost(p, d);
	if (e->mode == ADD) {
		struct plan_sale s = { e->to, e->list, (enum ft_paid)e->paid, e->price, FT_ABSENT, 1 };
		plan_emit(p, &s, 1, e->layers, d);
		return;
	}
	for (int i = e->sale == ANY ? 0 : e->sale; i < (e->sale == ANY ? p->sale_count : e->sale + 1); i++) {
		const struct plan_sale *s = &q->sales[i];
		int64_t times = e->sale == ANY ? s->times : 1;
		struct plan_sale n;
		if (e->mode == CROSS ? s->selection != e->from && s->selection != e->to : !fits(e, q, i))
			continue;
		switch (e->mode) {
		case REMOVE:
			plan_emit(p, s, -times, e->layers, d);
			break;
		case DOUBLE:
			plan_emit(p, s, times, e->layers, d);
			break;
		case CASH_LOST:
			plan_emit_cash_in(p, s, -times, e->layers == LAYER_ALL, d);
			break;
		default:
			n = changed(e, p, s);
			plan_emit(p, s, -times, e->layers, d);
			plan_emit(p, &n, times, e->layers, d);
			break;
		}
	}
}

static uint64_t delta_hash(const struct plan *p, const struct delta *d)
{
	uint64_t h = 0;

	for (int i = 0; i < d->count; i++)
		if (p->slots[d->slots[i]].exact)
			h += p->slots[d->slots[i]].key * (uint64_t)d->amounts[i];
	return h;
}

/* An edit that moves a selection's own counter which is right already explains nothing. */
static bool disturbs(const struct search *q, const struct delta *d)
{
	for (int i = 0; i < d->count; i++) {
		const struct slot *s = &q->plan->slots[d->slots[i]];
		if (s->exact && d->amounts[i] && effects[s->effect].scope == SCOPE_SELECTION && !q->residual[d->slots[i]])
			return true;
	}
	return false;
}

static void offer(struct search *q, struct edit e)
{
	struct delta *d = &q->scratch[0];
	struct edit *grown;

	if (q->count >= EDITS_MAX || q->failed)
		return;
	edit_delta(q, &e, d);
	e.hash = delta_hash(q->plan, d);
	if (d->full || e.hash == 0 || (e.mode != CROSS && disturbs(q, d)))
		return;
	grown = ft_arena_grow(q->plan->arena, q->edits, q->count, &q->room, sizeof *grown);
	if (!grown) {
		q->failed = true;
		return;
	}
	q->edits = grown;
	q->edits[q->count++] = e;
}

static const struct edit blank = { .price = FT_ABSENT,
	                               .old_price = FT_ABSENT,
	                               .sale = ANY,
	                               .from = ANY,
	                               .to = NEW_KEEP,
	                               .list = NEW_KEEP,
	                               .layers = LAYER_BOOK,
	                               .means = ALL_MASK,
	                               .paid = NEW_KEEP };

static bool may_touch(const struct search *q, int selection)
{
	return !q->by_selection || selection < 0 || q->wrong[selection];
}

/* How many sales an edit over a scope would touch: one alone is already there as a single. */
static int touched(const struct search *q, const struct edit *e)
{
	int n = 0;

	for (int i = 0; i < q->plan->sale_count; i++)
		if (e->mode == CROSS ? q->sales[i].selection == e->from || q->sales[i].selection == e->to : fits(e, q, i))
			n += e->sale == ANY ? q->sales[i].times : 1;
	return n;
}

/* Both layers: only in the books, or with the money too. `e` carries kind, mode and scope. */
static void offer_layers(struct search *q, struct edit e)
{
	if (e.sale == ANY && e.mode != ADD && touched(q, &e) < 2)
		return;
	e.layers = LAYER_BOOK;
	offer(q, e);
	e.layers = LAYER_ALL;
	e.rank++;
	offer(q, e);
}

static void offer_removal(struct search *q, struct edit e)
{
	e.kind = FT_STORY_NOT_COUNTED;
	e.mode = REMOVE;
	e.rank = 20;
	offer_layers(q, e);
	if (e.sale == ANY && touched(q, &e) < 2)
		return;
	e.kind = FT_STORY_COUNTED_TWICE;
	e.mode = DOUBLE;
	e.rank = 30;
	offer(q, e);
	e.layers = LAYER_ALL; /* money came twice as well: rather a sale that nobody wrote down */
	e.rank = 35;
	offer(q, e);
}

static void offer_price(struct search *q, struct edit e, int64_t own, int64_t price)
{
	if (price == own || price < 0)
		return;
	e.kind = FT_STORY_OTHER_PRICE;
	e.mode = REPLACE;
	e.price = price;
	e.rank = 40;
	offer_layers(q, e);
}

/* The price that the value counters of the selection (or of all sales) ask for. */
static int64_t asked_price(const struct search *q, const struct plan_sale *s, int times)
{
	for (size_t i = 0; i < q->plan->slot_count; i++) {
		const struct slot *x = &q->plan->slots[i];
		const struct effect *f = &effects[x->effect];
		if (x->reset || !x->exact || f->measure != MEASURE_PRICE || f->layer != LAYER_BOOK || !q->residual[i] ||
		    times == 0)
			continue;
		if (f->scope == SCOPE_SELECTION
		        ? x->selection == s->selection && f->paid[s->paid == FT_PAID_CASH ? 0 : s->paid]
		        : f->scope == SCOPE_MACHINE && !q->by_selection && f->paid[FT_PAID_COIN] && f->paid[FT_PAID_CARD_1])
			return q->residual[i] % times == 0 ? s->price + q->residual[i] / times : FT_ABSENT;
	}
	return FT_ABSENT;
}

static void offer_prices(struct search *q, struct edit e, const struct plan_sale *s, int times)
{
	const struct plan *p = q->plan;
	int64_t known[2 + DEVICES * PLAN_LISTS_MAX];
	int n = 0;

	known[n++] = asked_price(q, s, times);
	if (s->selection >= 0) {
		known[n++] = p->prices[s->selection];
		for (int d = 0; d < DEVICES; d++)
			for (int l = 0; l < p->list_count; l++)
				known[n++] = p->list_prices[list_at(p, s->selection, d, l)];
	}
	for (int i = 0; i < n; i++) {
		bool again = known[i] == FT_ABSENT;
		for (int k = 0; k < i && !again; k++)
			again = known[k] == known[i];
		if (!again)
			offer_price(q, e, s->price, known[i]);
	}
	if (e.sale != ANY)
		for (int k = 0; k < p->selection_count && k < 64; k++)
			offer_price(q, e, s->price, p->prices[k]);
}

static void offer_lists(struct search *q, struct edit e, const struct plan_sale *s)
{
	int device = device_of(q->plan, s->paid);

	e.kind = FT_STORY_OTHER_LIST;
	e.mode = REPLACE;
	for (int l = 0; l < q->plan->list_count && device >= 0 && s->selection >= 0; l++) {
		if (l == s->list || q->plan->list_prices[list_at(q->plan, s->selection, device, l)] == FT_ABSENT)
			continue;
		e.list = (int16_t)l;
		e.price = INT64_MAX;
		e.rank = 38; /* before a bare other price: it says where the price comes from */
		offer_layers(q, e);
		e.price = FT_ABSENT;
		e.rank = 44;
		offer_layers(q, e);
	}
}

/* Cash booked as cashless or the other way, at its own price or that of the list it lands on. */
static void offer_means(struct search *q, struct edit e, bool from_cash)
{
	static const int8_t cards[] = { FT_PAID_CARD_1, FT_PAID_CARD_2 };
	const struct plan *p = q->plan;

	e.kind = from_cash ? FT_STORY_CASH_AS_CASHLESS : FT_STORY_CASHLESS_AS_CASH;
	e.mode = REPLACE;
	for (int k = 0; k < (from_cash && !p->together ? 2 : 1); k++) {
		if (from_cash && !p->together && p->pair->after->segment[k ? FT_SEG_DB2 : FT_SEG_DA2] < 0 &&
		    p->pair->after->segment[k ? FT_SEG_DA2 : FT_SEG_DB2] >= 0)
			continue; /* the machine has only the other device */
		e.paid = from_cash ? cards[k] : FT_PAID_COIN;
		for (int l = -1; l < p->list_count; l++) {
			e.list = (int16_t)(l < 0 ? NEW_KEEP : l);
			e.price = FT_ABSENT;
			e.rank = (uint8_t)(10 + (l >= 0));
			offer_layers(q, e);
			e.price = INT64_MAX;
			e.rank = 14;
			if (l >= 0)
				offer_layers(q, e);
		}
	}
}

static void offer_elsewhere(struct search *q, struct edit e, const struct plan_sale *s)
{
	e.kind = FT_STORY_COUNTED_ELSEWHERE;
	e.mode = REPLACE;
	if (s->selection < 0)
		return;
	for (int to = 0; to < q->plan->selection_count; to++) {
		if (to == s->selection || !may_touch(q, to))
			continue;
		e.to = to;
		e.price = FT_ABSENT;
		e.rank = 6;
		if (e.sale != ANY || touched(q, &e) > 1)
			offer(q, e);
		e.price = INT64_MAX;
		e.rank = 8;
		offer_layers(q, e);
	}
}

static void offer_single(struct search *q, int i)
{
	const struct plan_sale *s = &q->sales[i];
	struct edit e = blank;

	e.sale = i;
	if (mask_of(s->paid) & CASH_MASK) {
		e.kind = FT_STORY_CASH_NOT_REPORTED;
		e.mode = CASH_LOST;
		e.rank = 50;
		offer_layers(q, e);
		e.rank = 0;
		offer_means(q, e, true);
	}
	if (mask_of(s->paid) & CARD_MASK)
		offer_means(q, e, false);
	e = blank;
	e.sale = i;
	if (mask_of(s->paid) & PAID_MASK)
		offer_lists(q, e, s);
	if (!may_touch(q, s->selection))
		return;
	offer_removal(q, e);
	offer_prices(q, e, s, 1);
	offer_elsewhere(q, e, s);
}

/* Edits over all sales of a selection, of a means of payment, of the list. */
static void offer_scopes(struct search *q)
{
	static const int8_t groups[] = { CASH_MASK, CARD_MASK,  1 << FT_PAID_COIN, 1 << FT_PAID_BILL,
		                             PAID_MASK, TOKEN_MASK, 1 << FT_PAID_TEST, 1 << FT_PAID_FREE };
	const struct plan *p = q->plan;

	for (size_t g = 0; g < sizeof groups; g++) {
		struct edit e = blank;
		e.means = groups[g];
		offer_removal(q, e);
		if (!(groups[g] & ~CASH_MASK)) {
			e.kind = FT_STORY_CASH_NOT_REPORTED;
			e.mode = CASH_LOST;
			e.rank = 49;
			offer_layers(q, e);
			e.list = TOP_UPS_TOO;
			if (groups[g] == CASH_MASK && p->top_ups > 0)
				offer(q, e);
			e.list = NEW_KEEP;
		}
		if (groups[g] == CASH_MASK || groups[g] == CARD_MASK)
			offer_means(q, e, groups[g] == CASH_MASK);
		for (int l = 0; l < p->list_count && groups[g] == CARD_MASK; l++) {
			e.kind = FT_STORY_OTHER_LIST;
			e.mode = REPLACE;
			e.list = (int16_t)l;
			e.paid = NEW_KEEP;
			e.price = INT64_MAX;
			e.rank = 36;
			offer_layers(q, e);
		}
	}
	for (int s = 0; s < p->selection_count; s++) {
		int first = -1, times = 0;
		struct edit e = blank;
		e.from = s;
		e.means = PAID_MASK;
		for (int i = 0; i < p->sale_count; i++)
			if (q->sales[i].selection == s && mask_of(q->sales[i].paid) & PAID_MASK) {
				times += q->sales[i].times;
				first = first < 0 ? i : first;
			}
		if (times < 2)
			continue;
		if (may_touch(q, s)) {
			offer_removal(q, e);
			offer_elsewhere(q, e, &q->sales[first]);
			offer_prices(q, e, &q->sales[first], times);
		}
		for (int cash = 0; cash < 2; cash++) {
			e.means = cash ? CASH_MASK : CARD_MASK;
			offer_means(q, e, cash);
		}
	}
}

static void offer_unlisted(struct search *q)
{
	static const int8_t means[] = { FT_PAID_COIN,  FT_PAID_CARD_1, FT_PAID_CARD_2,
		                            FT_PAID_TOKEN, FT_PAID_TEST,   FT_PAID_FREE };
	const struct plan *p = q->plan;

	for (int s = 0; s < p->selection_count; s++)
		for (size_t m = 0; m < sizeof means && may_touch(q, s); m++) {
			int d = device_of(p, (enum ft_paid)means[m]);
			struct edit e = blank;
			struct plan_sale like = { .selection = s, .paid = (enum ft_paid)means[m], .list = -1 };
			int64_t prices[2 + PLAN_LISTS_MAX];
			int n = 0;
			if (p->together && means[m] == FT_PAID_CARD_2)
				continue;
			prices[n++] = p->prices[s];
			prices[n++] = asked_price(q, &like, 1);
			for (int l = 0; l < p->list_count && d >= 0; l++)
				prices[n++] = p->list_prices[list_at(p, s, d, l)];
			for (int i = 0; i < n; i++) {
				bool again = prices[i] == FT_ABSENT || prices[i] < 0;
				for (int k = 0; k < i && !again; k++)
					again = prices[k] == prices[i];
				if (again)
					continue;
				e.kind = FT_STORY_UNLISTED_SALE;
				e.mode = ADD;
				e.to = s;
				e.paid = means[m];
				e.price = prices[i];
				e.list = (int16_t)plan_list_for(p, s, d, prices[i], -1);
				e.layers = LAYER_ALL;
				e.rank = 31;
				offer(q, e);
				e.layers = LAYER_BOOK; /* for cash: in the books, but no money came */
				e.rank = 37;
				offer(q, e);
			}
		}
}

static void offer_crossings(struct search *q)
{
	const struct plan *p = q->plan;

	for (int a = 0; a < p->selection_count; a++)
		for (int b = a + 1; b < p->selection_count; b++) {
			struct edit e = blank;
			int at_a = 0, at_b = 0;
			if (!may_touch(q, a) && !may_touch(q, b))
				continue;
			for (int i = 0; i < p->sale_count; i++) {
				at_a += q->sales[i].selection == a;
				at_b += q->sales[i].selection == b;
			}
			e.kind = FT_STORY_CROSSED_SELECTIONS;
			e.mode = CROSS;
			e.from = a;
			e.to = b;
			e.rank = at_a && at_b ? 0 : 3; /* seen from one side only, the words say so */
			offer(q, e);
			e.price = INT64_MAX;
			e.rank++;
			offer(q, e);
			e.layers = LAYER_ALL;
			e.rank++;
			offer(q, e);
		}
}

/* ---- looking the edits up ---- */

/* Doubtful counters the story leaves wrong: they decide between equals. */
static bool explains(struct search *q, const struct edit *a, const struct edit *b, unsigned *ret_left)
{
	struct delta *d = q->scratch;
	unsigned left = 0;

	edit_delta(q, a, &d[0]);
	delta_clear(&d[1]);
	if (b)
		edit_delta(q, b, &d[1]);
	for (size_t i = 0; i < q->plan->slot_count; i++) {
		int64_t r = q->residual[i] - delta_at(&d[0], i) - delta_at(&d[1], i);
		if (r && q->plan->slots[i].exact)
			return false;
		left += r != 0;
	}
	*ret_left = left;
	return true;
}

static void keep(struct search *q, const struct edit *a, const struct edit *b, unsigned left)
{
	struct found *f;

	if (q->found_count == FOUND_MAX) {
		q->more++;
		return;
	}
	f = &q->found[q->found_count++];
	*f = (struct found){ .rank = left * 1000 + a->rank };
	if (q->rotate_a >= 0)
		f->e[f->n++] = q->crossing;
	f->e[f->n++] = *a;
	if (b) {
		f->e[f->n++] = *b;
		f->rank += b->rank;
	}
}

static void single_stories(struct search *q)
{
	unsigned left;

	for (size_t i = 0; i < q->count; i++)
		if (q->edits[i].hash == q->want && explains(q, &q->edits[i], NULL, &left))
			keep(q, &q->edits[i], NULL, left);
}

/* Two edits add up only where they do not touch the same sale. */
static bool apart(const struct search *q, const struct edit *a, const struct edit *b)
{
	if (a->mode == ADD || b->mode == ADD)
		return true;
	for (int i = 0; i < q->plan->sale_count; i++) {
		const struct edit *two[2] = { a, b };
		int taken = 0;
		for (int k = 0; k < 2; k++) {
			int s = q->sales[i].selection;
			bool in = two[k]->mode == CROSS ? s == two[k]->from || s == two[k]->to : fits(two[k], q, i);
			if (in)
				taken += two[k]->sale == ANY ? q->sales[i].times : 1;
		}
		if (taken > q->sales[i].times)
			return false;
	}
	return true;
}

static void pair_stories(struct search *q)
{
	size_t mask = 15;
	uint32_t *heads, *next;
	unsigned left;

	while (mask < 2 * q->count)
		mask = mask * 2 + 1;
	heads = FT_NEW_ARRAY(q->plan->arena, mask + 1, uint32_t);
	next = FT_NEW_ARRAY(q->plan->arena, q->count + 1, uint32_t);
	if (!heads || !next) {
		q->failed = true;
		return;
	}
	for (size_t i = 0; i < q->count && q->more < FOUND_MAX; i++) {
		uint64_t rest = q->want - q->edits[i].hash;
		size_t at = (size_t)(q->edits[i].hash >> 20) & mask;
		for (uint32_t k = heads[(size_t)(rest >> 20) & mask]; k && q->more < FOUND_MAX; k = next[k - 1]) {
			const struct edit *a = &q->edits[k - 1], *b = &q->edits[i];
			if (a->hash == rest && apart(q, a, b) && explains(q, a, b, &left))
				keep(q, a, b, left);
		}
		next[i] = heads[at];
		heads[at] = (uint32_t)i + 1;
	}
}

/* ---- one more edit on top of a crossing ---- */

static void find_wrong(struct search *q)
{
	q->want = 0;
	for (int s = 0; s < q->plan->selection_count; s++)
		q->wrong[s] = false;
	for (size_t i = 0; i < q->plan->slot_count; i++) {
		const struct slot *s = &q->plan->slots[i];
		if (!s->exact || !q->residual[i])
			continue;
		q->want += s->key * (uint64_t)q->residual[i];
		if (s->selection >= 0)
			q->wrong[s->selection] = true;
	}
}

static void offer_all(struct search *q)
{
	q->count = 0;
	offer_crossings(q);
	offer_scopes(q);
	for (int i = 0; i < q->plan->sale_count; i++)
		offer_single(q, i);
	offer_unlisted(q);
}

static bool on_crossing(struct search *base, const struct edit *crossing)
{
	const struct plan *p = base->plan;
	struct search q = *base;
	int touched_selections = 0;

	q.sales = FT_NEW_ARRAY(p->arena, (size_t)p->sale_count + 1, struct plan_sale);
	q.residual = FT_NEW_ARRAY(p->arena, p->slot_count + 1, int64_t);
	q.wrong = FT_NEW_ARRAY(p->arena, (size_t)p->selection_count + 1, bool);
	if (!q.sales || !q.residual || !q.wrong)
		return false;
	memcpy(q.residual, base->residual, p->slot_count * sizeof *q.residual);
	edit_delta(base, crossing, &q.scratch[0]);
	for (int i = 0; i < q.scratch[0].count; i++)
		q.residual[q.scratch[0].slots[i]] -= q.scratch[0].amounts[i];
	find_wrong(&q);
	for (int s = 0; s < p->selection_count; s++)
		touched_selections += q.wrong[s];
	base->scratch[0] = q.scratch[0]; /* shared memory: its count goes with it */
	if (touched_selections > 2)
		return true; /* no single edit mends more than two */
	base->crossings++;
	for (int i = 0; i < p->sale_count; i++) {
		q.sales[i] = base->sales[i];
		if (q.sales[i].selection == crossing->from || q.sales[i].selection == crossing->to)
			q.sales[i] = changed(crossing, p, &base->sales[i]);
	}
	q.edits = NULL;
	q.room = 0;
	q.rotate_a = crossing->from;
	q.crossing = *crossing;
	offer_all(&q);
	single_stories(&q);
	base->scratch[0] = q.scratch[0];
	base->scratch[1] = q.scratch[1];
	base->found_count = q.found_count;
	base->more = q.more;
	return !q.failed;
}

static void publish(struct search *q, struct ft_proof *ret)
{
	ret->story_count = 0;
	for (size_t i = 1; i < q->found_count; i++) { /* few: insertion keeps equal ranks in order */
		struct found f = q->found[i];
		size_t k = i;
		for (; k && q->found[k - 1].rank > f.rank; k--)
			q->found[k] = q->found[k - 1];
		q->found[k] = f;
	}
	ret->stories_more = q->more;
	for (size_t i = 0; i < q->found_count; i++) {
		struct ft_story s = { .edit_count = q->found[i].n };
		bool again = false;
		for (int k = 0; k < s.edit_count; k++)
			story_tell(q, &q->found[i].e[k], &s.edits[k]);
		s.detail = s.edit_count == 1
			? s.edits[0].detail
			: ft_arena_printf(q->plan->arena, "%s; and: %s", s.edits[0].detail, s.edits[1].detail);
		for (size_t k = 0; k < ret->story_count && s.detail; k++)
			again |= strcmp(ret->stories[k].detail, s.detail) == 0;
		if (again || !s.detail)
			continue;
		if (ret->story_count == FT_STORIES_MAX)
			ret->stories_more++;
		else
			ret->stories[ret->story_count++] = s;
	}
}

enum ft_status stories_search(const struct plan *p, struct ft_proof *ret, struct ft_error *e)
{
	struct search q = { .plan = p, .sales = p->sales, .rotate_a = -1 };

	q.residual = FT_NEW_ARRAY(p->arena, p->slot_count + 1, int64_t);
	q.wrong = FT_NEW_ARRAY(p->arena, (size_t)p->selection_count + 1, bool);
	q.found = FT_NEW_ARRAY(p->arena, FOUND_MAX, struct found);
	if (!q.residual || !q.wrong || !q.found || !delta_init(p, &q.scratch[0]) || !delta_init(p, &q.scratch[1]))
		return ft_fail_memory(e, "looking for a story");
	for (size_t i = 0; i < p->slot_count; i++) {
		const struct slot *s = &p->slots[i];
		if (__builtin_sub_overflow(s->observed, s->expected, &q.residual[i]))
			return FT_OK; /* nothing simple makes such a difference */
		q.by_selection |= s->exact && effects[s->effect].scope != SCOPE_MACHINE;
	}
	find_wrong(&q);
	if (q.want == 0)
		return FT_OK;
	offer_all(&q);
	single_stories(&q);
	if (q.found_count == 0) {
		size_t all = q.count;
		struct edit *edits = q.edits;
		pair_stories(&q);
		for (size_t i = 0; i < all && q.crossings < CROSSINGS_MAX; i++)
			if (edits[i].mode == CROSS)
				q.failed |= !on_crossing(&q, &edits[i]);
	}
	if (q.failed)
		return ft_fail_memory(e, "looking for a story");
	publish(&q, ret);
	return FT_OK;
}
