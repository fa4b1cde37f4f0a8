/* SPDX-License-Identifier: Apache-2.0 */
/* From sales to slots: which counters the machine has, and what the sales do to them. */
#include "plan.h"

const struct effect effects[] = {
#define ROW(id, name, cards, coin, bill, card_1, card_2, token, test, free, scope, measure, layer, init, reset, need, \
            weight, shows, also, title, source)                                                                       \
	{ name,                                                                                                           \
	  CARDS_##cards,                                                                                                  \
	  { coin, bill, card_1, card_2, token, test, free },                                                              \
	  SCOPE_##scope,                                                                                                  \
	  MEASURE_##measure,                                                                                              \
	  LAYER_##layer,                                                                                                  \
	  init,                                                                                                           \
	  reset,                                                                                                          \
	  NEED_##need,                                                                                                    \
	  FT_##weight,                                                                                                    \
	  shows,                                                                                                          \
	  also,                                                                                                           \
	  title,                                                                                                          \
	  source },
#include "effects.inc"
#undef ROW
};

int device_of(const struct plan *p, enum ft_paid paid)
{
	switch (paid) {
	case FT_PAID_COIN:
	case FT_PAID_BILL:
	case FT_PAID_CASH:
		return DEVICE_CA;
	case FT_PAID_CARD:
	case FT_PAID_CARD_1:
		return DEVICE_DA;
	case FT_PAID_CARD_2:
		return p->together ? DEVICE_DA : DEVICE_DB;
	case FT_PAID_TOKEN:
		return DEVICE_TA;
	default:
		return -1;
	}
}

static int device_named(const struct plan *p, struct ft_slice s)
{
	static const char *const names[] = { "CA", "DA", "DB", "TA" };

	for (int i = 0; i < DEVICES; i++)
		if (ft_slice_eq_nocase(s, ft_slice_of(names[i])))
			return p->together && i == DEVICE_DB ? DEVICE_DA : i;
	return -1;
}

int place_count(const struct plan *p, int scope)
{
	return scope == SCOPE_MACHINE  ? 1
		: scope == SCOPE_SELECTION ? p->selection_count
		: scope == SCOPE_LIST      ? p->selection_count * (p->list_count + 1)
								   : p->selection_count * DEVICES * (p->list_count + 1);
}

/* Where in the index of an effect; the place behind the last list is the sum over all of them. -1: nowhere. */
int place_of(const struct plan *p, int scope, int selection, int device, int list)
{
	if (scope == SCOPE_MACHINE)
		return 0;
	if (selection < 0)
		return -1;
	if (scope == SCOPE_SELECTION)
		return selection;
	if (scope == SCOPE_LIST) {
		if (p->merged_lists[selection])
			list = p->list_count;
		return list < 0 ? -1 : selection * (p->list_count + 1) + list;
	}
	if (device < 0)
		return -1;
	if (p->merged[selection * DEVICES + device])
		list = p->list_count;
	return list < 0 ? -1 : (int)list_at(p, selection, device, list);
}

bool delta_init(const struct plan *p, struct delta *d)
{
	*d = (struct delta){ .slots = FT_NEW_ARRAY(p->arena, p->slot_count + 1, int),
		                 .amounts = FT_NEW_ARRAY(p->arena, p->slot_count + 1, int64_t),
		                 .place = FT_NEW_ARRAY(p->arena, p->slot_count + 1, int) };
	return d->slots && d->amounts && d->place;
}

void delta_clear(struct delta *d)
{
	while (d->count)
		d->place[d->slots[--d->count]] = 0;
	d->full = false;
}

static void delta_add(struct delta *d, int slot, int64_t amount)
{
	int i = d->place[slot] - 1;

	if (i < 0) {
		i = d->count++;
		d->place[slot] = i + 1;
		d->slots[i] = slot;
		d->amounts[i] = 0;
	}
	d->full |= !add_checked(d->amounts[i], amount, &d->amounts[i]);
}

static bool touches(const struct plan *p, const struct effect *x, enum ft_paid paid)
{
	if (x->cards != CARDS_ALWAYS && (x->cards == CARDS_TOGETHER) != p->together)
		return false;
	if (paid == FT_PAID_CARD)
		return x->paid[p->card_2_only ? FT_PAID_CARD_2 : FT_PAID_CARD_1];
	if (paid == FT_PAID_CASH)
		return x->paid[FT_PAID_COIN] && x->paid[FT_PAID_BILL];
	return x->paid[paid];
}

static int64_t measure_of(const struct effect *x, const struct plan_sale *s)
{
	int64_t tendered = s->tendered == FT_ABSENT ? s->price : s->tendered;

	switch (x->measure) {
	case MEASURE_ONE:
		return 1;
	case MEASURE_PRICE:
		return s->price;
	case MEASURE_TENDERED:
		return tendered;
	case MEASURE_CHANGE:
		return tendered - s->price;
	default:
		return 0;
	}
}

static void emit_effect(const struct plan *p, int effect, const struct plan_sale *s, int64_t amount, struct delta *d)
{
	int place = place_of(p, effects[effect].scope, s->selection, device_of(p, s->paid), s->list);

	for (int form = 0; form < 2 && place >= 0; form++)
		if (p->index[effect][form] && p->index[effect][form][place])
			delta_add(d, p->index[effect][form][place] - 1, amount);
}

void plan_emit(const struct plan *p, const struct plan_sale *s, int64_t times, int layers, struct delta *d)
{
	for (int i = 0; i < EFFECT_COUNT; i++) {
		int64_t amount;
		if (!(effects[i].layer & layers) || !touches(p, &effects[i], s->paid))
			continue;
		if (__builtin_mul_overflow(measure_of(&effects[i], s), times, &amount))
			d->full = true;
		else
			emit_effect(p, i, s, amount, d);
	}
}

void plan_emit_cash_in(const struct plan *p, const struct plan_sale *s, int64_t times, bool change_too, struct delta *d)
{
	for (int i = 0; i < EFFECT_COUNT; i++) {
		const struct effect *x = &effects[i];
		int64_t tendered = s->tendered == FT_ABSENT ? s->price : s->tendered;
		if (x->layer != LAYER_CASH || !touches(p, x, s->paid) || (x->measure == MEASURE_CHANGE && !change_too))
			continue;
		if (x->measure == MEASURE_PRICE && !change_too) /* the change was given and counted, the money was not */
			emit_effect(p, i, s, tendered * times, d);
		else
			emit_effect(p, i, s, measure_of(x, s) * times, d);
	}
}

void plan_emit_top_ups_lost(const struct plan *p, struct delta *d)
{
	for (int i = 0; i < EFFECT_COUNT; i++)
		for (int form = 0; form < 2; form++)
			if (effects[i].layer == LAYER_CASH && effects[i].weight == FT_FAULT &&
			    effects[i].measure != MEASURE_CHANGE && p->index[i][form] && p->index[i][form][0])
				delta_add(d, p->index[i][form][0] - 1, -p->top_ups);
}

/* ---- the machine's selections, lists and prices ---- */

static int selection_exact(const struct plan *p, struct ft_slice s)
{
	for (int i = 0; i < p->selection_count; i++)
		if (ft_slice_eq(p->selections[i], s))
			return i;
	return -1;
}

static int selection_named(const struct plan *p, struct ft_slice s)
{
	int i = selection_exact(p, s);

	for (int k = 0; i < 0 && k < p->selection_count; k++)
		if (selection_same(p->selections[k], s))
			i = k;
	return i;
}

static int list_named(const struct plan *p, struct ft_slice s)
{
	for (int i = 0; i < p->list_count; i++)
		if (selection_same(p->lists[i], s))
			return i;
	return -1;
}

static void note_list(struct plan *p, struct ft_slice s)
{
	if (s.n && p->list_count < PLAN_LISTS_MAX && list_named(p, s) < 0)
		p->lists[p->list_count++] = s;
}

static const struct ft_cell *either(const struct joined *j)
{
	return j->after ? j->after : j->before;
}

static enum ft_status find_selections(struct plan *p, struct ft_error *e)
{
	int total = 0;

	for (size_t i = 0; i < p->pair->count; i++)
		total += either(&p->pair->list[i])->element == FT_EL_PA101;
	if (total > PLAN_SELECTIONS_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "The audits name %d selections, more than the %d that can be proved; look at the file.", total,
		               PLAN_SELECTIONS_MAX);
	p->selections = FT_NEW_ARRAY(p->arena, (size_t)total + 1, struct ft_slice);
	if (!p->selections)
		return ft_fail_memory(e, "proving the sales");
	for (size_t i = 0; i < p->pair->count; i++) {
		const struct ft_cell *c = either(&p->pair->list[i]);
		if (c->element == FT_EL_PA101 && selection_exact(p, c->selection) < 0)
			p->selections[p->selection_count++] = c->selection;
		else if (c->element == FT_EL_PA703)
			note_list(p, c->key[1]);
		else if (c->element == FT_EL_LA101)
			note_list(p, c->key[0]);
	}
	return FT_OK;
}

static int64_t price_of(const struct joined *j)
{
	int64_t v = number_of(j->before);

	return v != FT_ABSENT ? v : number_of(j->after);
}

static enum ft_status find_prices(struct plan *p, struct ft_error *e)
{
	size_t places = list_at(p, p->selection_count, 0, 0);

	p->prices = FT_NEW_ARRAY(p->arena, (size_t)p->selection_count + 1, int64_t);
	p->list_prices = FT_NEW_ARRAY(p->arena, places + 1, int64_t);
	p->list_rows = FT_NEW_ARRAY(p->arena, places + 1, bool);
	p->merged = FT_NEW_ARRAY(p->arena, (size_t)p->selection_count * DEVICES + 1, bool);
	p->merged_lists = FT_NEW_ARRAY(p->arena, (size_t)p->selection_count + 1, bool);
	if (!p->prices || !p->list_prices || !p->list_rows || !p->merged || !p->merged_lists)
		return ft_fail_memory(e, "proving the sales");
	for (int i = 0; i < p->selection_count; i++)
		p->prices[i] = FT_ABSENT;
	for (size_t i = 0; i < places; i++)
		p->list_prices[i] = FT_ABSENT;
	for (size_t i = 0; i < p->pair->count; i++) {
		const struct joined *j = &p->pair->list[i];
		const struct ft_cell *c = either(j);
		int s, d, l;
		if (c->nth || (c->element != FT_EL_PA102 && c->element != FT_EL_PA704 && c->element != FT_EL_LA103))
			continue;
		if ((s = selection_exact(p, c->selection)) < 0)
			continue;
		if (c->element == FT_EL_PA102) {
			p->prices[s] = price_of(j);
		} else if (c->element == FT_EL_PA704) {
			if ((d = device_named(p, c->key[0])) < 0 || (l = list_named(p, c->key[1])) < 0)
				continue;
			p->list_prices[list_at(p, s, d, l)] = price_of(j);
			p->list_rows[list_at(p, s, d, l)] = true;
		}
	}
	for (size_t i = 0; i < p->pair->count; i++) { /* LA1 knows no device: it fills what PA7 left open */
		const struct joined *j = &p->pair->list[i];
		const struct ft_cell *c = either(j);
		int s, l;
		if (c->nth || c->element != FT_EL_LA103 || (s = selection_exact(p, c->selection)) < 0 ||
		    (l = list_named(p, c->key[0])) < 0)
			continue;
		for (int d = 0; d < DEVICES; d++)
			if (p->list_prices[list_at(p, s, d, l)] == FT_ABSENT)
				p->list_prices[list_at(p, s, d, l)] = price_of(j);
	}
	return FT_OK;
}

/* The list a sale belongs to: the wanted one, else the only row of the device at that price, else the
 * only row of the device, else the only list at that price. -1: cannot be told. */
int plan_list_for(const struct plan *p, int s, int d, int64_t price, int wanted)
{
	int rows = 0, row = -1, priced = 0, at_price = -1, lists = 0, list = -1;

	if (wanted >= 0 || s < 0 || d < 0)
		return wanted;
	for (int l = 0; l < p->list_count; l++) {
		size_t at = list_at(p, s, d, l);
		if (p->list_rows[at]) {
			rows++;
			row = l;
		}
		if (p->list_prices[at] == price) {
			lists++;
			list = l;
			if (p->list_rows[at]) {
				priced++;
				at_price = l;
			}
		}
	}
	return priced == 1 ? at_price : rows == 1 ? row : rows == 0 && lists == 1 ? list : -1;
}

/* ---- slots ---- */

static struct slot *new_slot(struct plan *p, int effect, bool reset, int place, struct ft_error *e)
{
	struct slot *grown = ft_arena_grow(p->arena, p->slots, p->slot_count, &p->slot_room, sizeof *grown);
	uint64_t z;

	if (!grown) {
		ft_fail_memory(e, "proving the sales");
		return NULL;
	}
	p->slots = grown;
	z = (p->slot_count + 1) * UINT64_C(0x9e3779b97f4a7c15); /* splitmix64: any fixed, well mixed weights do */
	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	p->slots[p->slot_count] = (struct slot){ .effect = effect,
		                                     .selection = -1,
		                                     .device = -1,
		                                     .list = -1,
		                                     .reset = reset,
		                                     .exact = effects[effect].weight == FT_FAULT,
		                                     .before = FT_ABSENT,
		                                     .after = FT_ABSENT,
		                                     .key = (z ^ z >> 31) | 1 };
	p->index[effect][reset][place] = (int)++p->slot_count;
	return &p->slots[p->slot_count - 1];
}

bool plan_sees(const struct plan *p, const struct effect *x, int device)
{
	if (p->prices_unknown &&
	    (x->measure == MEASURE_PRICE || x->measure == MEASURE_TENDERED || x->measure == MEASURE_CHANGE))
		return false;
	if (p->places_unknown && x->scope != SCOPE_MACHINE)
		return false;
	for (int paid = 0; paid <= FT_PAID_FREE; paid++)
		if (p->unseen & 1U << paid && x->paid[paid] &&
		    (x->scope != SCOPE_DEVICE_LIST || device < 0 || device_of(p, (enum ft_paid)paid) == device))
			return false;
	return true;
}

static bool effect_usable(const struct plan *p, const struct effect *x)
{
	if (x->cards != CARDS_ALWAYS && (x->cards == CARDS_TOGETHER) != p->together)
		return false;
	if ((x->measure == MEASURE_TENDERED || x->measure == MEASURE_CHANGE) && !p->tendered_known)
		return false;
	return x->measure != MEASURE_TENDERED || x->weight == FT_FAULT || p->split_known;
}

static enum ft_status machine_slots(struct plan *p, struct ft_error *e)
{
	for (int i = 0; i < EFFECT_COUNT; i++)
		for (int form = 0; form < 2 && effects[i].scope == SCOPE_MACHINE; form++) {
			const struct sum *sum = &p->sums[i][form];
			const struct joined *only;
			struct slot *s;
			int64_t d;
			if (!effect_usable(p, &effects[i]) || !plan_sees(p, &effects[i], -1) ||
			    !sum_movement(p->pair, sum, form, &d))
				continue;
			if (!(s = new_slot(p, i, form, 0, e)))
				return FT_E_MEMORY;
			s->observed = d;
			if (sum->count == 1 && !sum->terms[0].bills) {
				only = pair_find(p->pair, sum->terms[0].id, (struct ft_slice){ NULL, 0 }, NULL);
				s->before = only ? number_of(only->before) : FT_ABSENT;
				s->after = only ? number_of(only->after) : FT_ABSENT;
			}
		}
	return FT_OK;
}

static enum ft_status row_slot(struct plan *p, int effect, bool reset, const struct joined *j, struct ft_error *e)
{
	const struct ft_cell *c = j->after;
	int scope = effects[effect].scope;
	int s = selection_exact(p, c->selection), d = -1, l = -1, place;
	int64_t moved = movement(p->pair, j, reset, 1);
	struct slot *x;

	if (s < 0 || moved == FT_ABSENT)
		return FT_OK;
	if (scope == SCOPE_DEVICE_LIST) {
		d = device_named(p, c->key[0]);
		l = list_named(p, c->key[1]);
	} else if (scope == SCOPE_LIST) {
		const struct joined *price = pair_find(p->pair, FT_EL_LA103, c->selection, c->key);
		l = list_named(p, c->key[0]);
		if (!price || price_of(price) == FT_ABSENT)
			return FT_OK; /* a list of the maker's own without a price: holds sums of other things */
	}
	if ((scope == SCOPE_DEVICE_LIST && d < 0) || (scope != SCOPE_SELECTION && l < 0) ||
	    !plan_sees(p, &effects[effect], d) || (place = place_of(p, scope, s, d, l)) < 0)
		return FT_OK;
	if (p->index[effect][reset][place]) {
		x = &p->slots[p->index[effect][reset][place] - 1];
		x->before = x->after = FT_ABSENT; /* a sum over lists */
		x->list = -1;
	} else {
		if (!(x = new_slot(p, effect, reset, place, e)))
			return FT_E_MEMORY;
		x->selection = s;
		x->device = d;
		x->list = l;
		x->before = number_of(j->before);
		x->after = number_of(j->after);
	}
	return add_checked(x->observed, moved, &x->observed)
		? FT_OK
		: ft_fail(e, FT_E_INPUT, "A counter of selection %.*s is too large to be added up; read the machine again.",
	              FT_P(c->selection));
}

static enum ft_status row_slots(struct plan *p, struct ft_error *e)
{
	int16_t owner[FT_EL_COUNT];

	for (int i = 0; i < FT_EL_COUNT; i++)
		owner[i] = -1;
	for (int i = 0; i < EFFECT_COUNT; i++)
		for (int form = 0; form < 2 && effects[i].scope != SCOPE_MACHINE; form++)
			owner[p->sums[i][form].terms[0].id] = (int16_t)(2 * i + form);
	for (size_t i = 0; i < p->pair->count; i++) {
		const struct ft_cell *c = p->pair->list[i].after;
		enum ft_status s;
		if (!c || c->nth || c->element < 0 || owner[c->element] < 0)
			continue;
		if ((s = row_slot(p, owner[c->element] / 2, owner[c->element] % 2, &p->pair->list[i], e)) != FT_OK)
			return s;
	}
	return FT_OK;
}

/* ---- the sales ---- */

static bool both_cashless(const struct ft_facts *f)
{
	return (f->segment[FT_SEG_DA2] >= 0 || f->segment[FT_SEG_DA1] >= 0) &&
		(f->segment[FT_SEG_DB2] >= 0 || f->segment[FT_SEG_DB1] >= 0);
}

static void look_at_sales(struct plan *p, const struct ft_prove_input *in)
{
	const struct ft_facts *f = p->pair->after;
	static const enum ft_element_id tops[] = { FT_EL_DA401, FT_EL_DB401 };

	p->tendered_known = p->split_known = true;
	for (size_t i = 0; i < in->sale_count; i++) {
		const struct ft_sale *s = &in->sales[i];
		bool cash = s->paid_with == FT_PAID_COIN || s->paid_with == FT_PAID_BILL || s->paid_with == FT_PAID_CASH;
		p->tendered_known &= !cash || s->tendered != FT_ABSENT;
		p->split_known &= s->paid_with != FT_PAID_CASH;
		p->together |= s->paid_with == FT_PAID_CARD && both_cashless(f);
	}
	p->card_2_only = f->segment[FT_SEG_DA2] < 0 && f->segment[FT_SEG_DB2] >= 0;
	for (int i = 0; i < 2; i++) { /* what a top-up was paid with is not told */
		int64_t d = movement(p->pair, pair_find(p->pair, tops[i], (struct ft_slice){ NULL, 0 }, NULL), false, 1);
		p->split_known &= d == FT_ABSENT || d == 0;
		if (d != FT_ABSENT && !add_checked(p->top_ups, d, &p->top_ups))
			p->top_ups = 0; /* beyond all sense: no story about it */
	}
}

static enum ft_status take_sales(struct plan *p, const struct ft_prove_input *in, struct ft_error *e)
{
	p->sales = FT_NEW_ARRAY(p->arena, in->sale_count + 1, struct plan_sale);
	if (!p->sales)
		return ft_fail_memory(e, "proving the sales");
	for (size_t i = 0; i < in->sale_count; i++) {
		const struct ft_sale *s = &in->sales[i];
		struct plan_sale x = { .selection = selection_named(p, s->selection),
			                   .paid = s->paid_with,
			                   .price = p->prices_unknown ? 0 : s->price,
			                   .tendered = p->prices_unknown ? FT_ABSENT : s->tendered,
			                   .times = 1 };
		int d, k;
		if (x.paid == FT_PAID_CARD)
			x.paid = p->card_2_only ? FT_PAID_CARD_2 : FT_PAID_CARD_1;
		d = device_of(p, x.paid);
		x.list = plan_list_for(p, x.selection, d, x.price, s->list.p ? list_named(p, s->list) : -1);
		if (x.list < 0 && x.selection >= 0 && d >= 0) {
			p->merged[x.selection * DEVICES + d] = true;
			p->merged_lists[x.selection] = true;
		}
		for (k = 0; k < p->sale_count; k++) {
			struct plan_sale *y = &p->sales[k];
			if (y->selection == x.selection && y->paid == x.paid && y->price == x.price && y->tendered == x.tendered &&
			    y->list == x.list)
				break;
		}
		if (k == p->sale_count)
			p->sales[p->sale_count++] = x;
		else
			p->sales[k].times++;
	}
	return FT_OK;
}

/* What a witness other than the fitter does not see, and whether its item numbers are the machine's selections. */
static void look_at_account(struct plan *p, const struct ft_account *account)
{
	static const enum ft_element_id tokens[] = { FT_EL_TA202, FT_EL_TA206 };
	size_t named = 0, nameless = 0;

	if (!account)
		return;
	p->unseen = 1U << FT_PAID_TEST | 1U << FT_PAID_FREE;
	if (account->cash_unseen)
		p->unseen |= 1U << FT_PAID_COIN | 1U << FT_PAID_BILL;
	for (int i = 0; i < 2; i++) { /* a token is a coin to the bus; what was sold for it cannot be told there */
		int64_t d = movement(p->pair, pair_find(p->pair, tokens[i], (struct ft_slice){ NULL, 0 }, NULL), false, 1);
		if (d != FT_ABSENT && d != 0)
			p->unseen |= 1U << FT_PAID_TOKEN;
	}
	for (size_t i = 0; i < account->sale_count; i++) {
		named += selection_named(p, account->sales[i].selection) >= 0;
		nameless += account->sales[i].selection.n == 0;
		p->prices_unknown |= account->sales[i].price == FT_ABSENT;
	}
	p->places_unknown = nameless || (account->sale_count && !named);
}

enum ft_status plan_init(struct plan *p, const struct pair *pair, const struct ft_prove_input *in,
                         const struct ft_account *account, struct ft_arena *a, struct ft_error *e)
{
	enum ft_status s;
	struct delta d;

	*p = (struct plan){ .pair = pair, .arena = a };
	look_at_sales(p, in);
	if ((s = find_selections(p, e)) != FT_OK || (s = find_prices(p, e)) != FT_OK)
		return s;
	look_at_account(p, account);
	if ((s = take_sales(p, in, e)) != FT_OK)
		return s;
	for (int i = 0; i < EFFECT_COUNT; i++)
		for (int form = 0; form < 2; form++) {
			if (!sum_parse(form ? effects[i].reset : effects[i].init, &p->sums[i][form]))
				return ft_fail(e, FT_E_INTERNAL, "The table of effects is wrong at %s.", effects[i].name);
			p->index[i][form] = FT_NEW_ARRAY(a, (size_t)place_count(p, effects[i].scope) + 1, int);
			if (!p->index[i][form])
				return ft_fail_memory(e, "proving the sales");
		}
	if ((s = machine_slots(p, e)) != FT_OK || (s = row_slots(p, e)) != FT_OK)
		return s;
	if (!delta_init(p, &d))
		return ft_fail_memory(e, "proving the sales");
	for (int k = 0; k < p->sale_count; k++) {
		delta_clear(&d);
		plan_emit(p, &p->sales[k], p->sales[k].times, LAYER_ALL, &d);
		for (int i = 0; i < d.count; i++)
			d.full |= !add_checked(p->slots[d.slots[i]].expected, d.amounts[i], &p->slots[d.slots[i]].expected);
		if (d.full)
			return ft_fail(e, FT_E_INPUT,
			               "The amounts in the list of sales are too large to be added up; look at its prices.");
	}
	return FT_OK;
}
