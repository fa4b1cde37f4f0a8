/* SPDX-License-Identifier: Apache-2.0 */
/* The three dialects: which segments a machine of the kind sends, and in which order the elements
 * stand (init or reset first, value or number first: the order traps of the standard's list). */
#include "writer.h"

typedef long long ll; /* for printf */

/* Value first, init first: VA1 VA2 VA3 CA2 DA2 TA2. */
static void totals(struct writer *w, const char *name, const struct tally *m, const struct tally *r, const char *more)
{
	put(w, "%s*%lld*%lld*%lld*%lld%s", name, (ll)m->value, (ll)m->count, (ll)r->value, (ll)r->count, more);
}

/* Number first, init first: PA2 PA3 PA4. */
static void products(struct writer *w, const char *name, const struct tally *m, const struct tally *r, const char *more)
{
	put(w, "%s*%lld*%lld*%lld*%lld%s", name, (ll)m->count, (ll)m->value, (ll)r->count, (ll)r->value, more);
}

static void unit(struct writer *w, const char *name, const struct unit *u)
{
	if (u->serial[0])
		put(w, "%s*%s*%s*%s", name, u->serial, u->model, u->revision);
}

static void currency(struct writer *w)
{
	put(w, "ID4*%d*%d*%s", w->p->currency->digits, w->p->currency->numeric, w->p->currency->alpha);
}

static void clock_now(struct writer *w)
{
	char d[DATE_ROOM], t[DATE_ROOM];

	put(w, "ID5*%s*%s", put_date(w, w->p->now_s, w->p->clock_known, d), put_time(w, w->p->now_s, w->p->clock_known, t));
}

static void tubes(struct writer *w)
{
	const struct ft_practice *p = w->p;
	int type = 0;

	put(w, "CA15*%lld", (ll)practice_tubes(p));
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].room)
			put(w, "CA17*%d*%lld*%lld*%lld*%lld*%d", type++, (ll)p->coins[i].value, (ll)p->coins[i].in_tube,
			    (ll)w->r.coin[i].filled, (ll)w->r.coin[i].out_by_hand, p->coins[i].in_tube == p->coins[i].room);
}

static void events(struct writer *w)
{
	const struct ft_practice *p = w->p;

	for (size_t i = 0; i < p->log_count; i++) {
		const struct log_row *l = &p->log[i];
		char d[DATE_ROOM], t[DATE_ROOM];
		put_date(w, l->at_s, l->dated, d);
		put_time(w, l->at_s, l->dated, t);
		if (l->minutes < 0)
			put(w, "EA1*%s*%s*%s*", l->code, d, t);
		else
			put(w, "EA1*%s*%s*%s*%lld", l->code, d, t, (ll)l->minutes);
	}
	for (size_t i = 0; i < p->code_count; i++) /* reset first */
		put(w, "EA2*%s*%lld*%lld**%d", p->codes[i].code, (ll)w->r.code[i], (ll)w->m->code[i], p->codes[i].active);
}

/* The read under way counts itself, with its reset where it will reset. */
static void reads(struct writer *w)
{
	const struct ft_practice *p = w->p;
	int64_t resets = p->reset_at_read;
	char d[2][DATE_ROOM], t[2][DATE_ROOM];

	put_date(w, p->now_s, p->clock_known, d[0]);
	put_time(w, p->now_s, p->clock_known, t[0]);
	put_date(w, p->read_at_s, p->read_dated, d[1]);
	put_time(w, p->read_at_s, p->read_dated, t[1]);
	put(w, "EA3*%lld*%s*%s*%.*s*%s*%s*%s**%lld*%lld", (ll)(p->reads_with_reset + resets), d[0], t[0], FT_P(w->reader),
	    d[1], t[1], p->read_by, (ll)(p->reads + 1), (ll)(p->resets + resets));
}

/* V0/6; bills in CA304 and CA308 in whole currency units and once more in CA309 and CA310 in minor
 * ones (note 6 of the element list; seen in field files). */
static void us_cash(struct writer *w)
{
	const struct meters *m = w->m, *r = &w->r;
	int64_t unit_of = 1;

	for (int i = 0; i < w->p->currency->digits; i++)
		unit_of *= 10;
	totals(w, "CA2", &m->by[BY_CASH], &r->by[BY_CASH], "");
	put(w, "CA3*%lld*%lld*%lld*%lld*%lld*%lld*%lld*%lld*%lld*%lld", (ll)r->cash_in, (ll)r->to_box, (ll)r->to_tubes,
	    (ll)(r->bills_in / unit_of), (ll)m->cash_in, (ll)m->to_box, (ll)m->to_tubes, (ll)(m->bills_in / unit_of),
	    (ll)r->bills_in, (ll)m->bills_in);
	put(w, "CA4*%lld*%lld*%lld*%lld", (ll)r->out, (ll)r->out_by_hand, (ll)m->out, (ll)m->out_by_hand);
	put(w, "CA8*%lld*%lld", (ll)r->overpaid, (ll)m->overpaid);
	put(w, "CA10*%lld*%lld", (ll)r->filled, (ll)m->filled);
	tubes(w);
	put(w, "CA16*0*0");
}

static void us_snack(struct writer *w)
{
	struct ft_practice *p = w->p;
	const struct meters *m = w->m, *r = &w->r;

	put(w, "ID1*%s*%s*%s*%s**%s*6*0", p->machine.serial, p->machine.model, p->machine.revision, p->location, p->asset);
	currency(w);
	if (p->has_clock)
		clock_now(w);
	unit(w, "CB1", &p->board);
	totals(w, "VA1", &m->paid, &r->paid, "*0*0*0*0");
	totals(w, "VA2", &m->test, &r->test, "");
	totals(w, "VA3", &m->free, &r->free, "");
	unit(w, "CA1", &p->changer);
	unit(w, "BA1", &p->validator);
	unit(w, "DA1", &p->reader);
	us_cash(w);
	if (p->reader.serial[0]) {
		totals(w, "DA2", &m->by[BY_CARD], &r->by[BY_CARD], "");
		put(w, "DA4*%lld*%lld", (ll)m->topped, (ll)r->topped);
	}
	if (p->tokens)
		totals(w, "TA2", &m->by[BY_TOKEN], &r->by[BY_TOKEN], "");
	for (size_t i = 0; i < p->selection_count; i++) {
		const struct selection *s = &p->selections[i];
		char d[DATE_ROOM], t[DATE_ROOM];
		put(w, "PA1*%s*%lld*%s****0", s->id, (ll)s->price[0], s->name);
		products(w, "PA2", &m->selection[i].paid, &r->selection[i].paid, "*0*0*0*0");
		products(w, "PA3", &m->selection[i].test, &r->selection[i].test, "");
		products(w, "PA4", &m->selection[i].free, &r->selection[i].free, "");
		if (s->sold_s)
			put(w, "PA5*%s*%s", put_date(w, s->sold_s, p->clock_known, d), put_time(w, s->sold_s, p->clock_known, t));
	}
	put(w, "MA5*CABINET TEMP*%lld*%c", (ll)p->temperature_tenths, p->temperature_unit);
	events(w);
	reads(w);
	put(w, "EA7*%lld*%lld", (ll)r->outages, (ll)m->outages);
}

static void euro_cash(struct writer *w)
{
	const struct ft_practice *p = w->p;
	const struct meters *m = w->m, *r = &w->r;

	totals(w, "CA2", &m->by[BY_CASH], &r->by[BY_CASH], "");
	put(w, "CA3*%lld*%lld*%lld**%lld*%lld*%lld**%lld*%lld", (ll)r->cash_in, (ll)r->to_box, (ll)r->to_tubes,
	    (ll)m->cash_in, (ll)m->to_box, (ll)m->to_tubes, (ll)r->bills_in, (ll)m->bills_in);
	put(w, "CA4*%lld*%lld*%lld*%lld", (ll)r->out, (ll)r->out_by_hand, (ll)m->out, (ll)m->out_by_hand);
	put(w, "CA8*%lld*%lld", (ll)r->overpaid, (ll)m->overpaid);
	put(w, "CA10*%lld*%lld", (ll)r->filled, (ll)m->filled);
	for (size_t i = 0; i < p->coin_count; i++) {
		const struct coin_meter *a = &r->coin[i], *b = &m->coin[i];
		put(w, "CA11*%lld*%lld*%lld*%lld*%lld*%lld*%lld", (ll)p->coins[i].value, (ll)a->taken, (ll)a->to_box,
		    (ll)a->to_tube, (ll)b->taken, (ll)b->to_box, (ll)b->to_tube);
	}
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].room)
			put(w, "CA12*%lld*%lld*%lld*%lld*%lld", (ll)p->coins[i].value, (ll)r->coin[i].out,
			    (ll)r->coin[i].out_by_hand, (ll)m->coin[i].out, (ll)m->coin[i].out_by_hand);
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].room)
			put(w, "CA13*%lld*%lld*%lld", (ll)p->coins[i].value, (ll)r->coin[i].filled, (ll)m->coin[i].filled);
	for (size_t i = 0; i < p->bill_count; i++)
		put(w, "CA14*%lld*%lld*%lld*%lld*%lld", (ll)p->bills[i], (ll)r->bill[i], (ll)r->bill[i], (ll)m->bill[i],
		    (ll)m->bill[i]);
	tubes(w);
}

/* Price 65535 is "not set" on a list (seen in field files). */
static ll listed(int64_t price)
{
	return price ? price : 65535;
}

static void euro_products(struct writer *w)
{
	static const char *const devices[DEVICES] = { "CA", "DA", "TA" };
	const struct ft_practice *p = w->p;

	for (size_t i = 0; i < p->list_count; i++) /* reset first */
		for (size_t s = 0; s < p->selection_count; s++)
			put(w, "LA1*%lld*%s*%lld*%lld*%lld", (ll)p->lists[i].number, p->selections[s].id,
			    listed(p->selections[s].price[i]), (ll)w->r.selection[s].list[i].count,
			    (ll)w->m->selection[s].list[i].count);
	for (size_t s = 0; s < p->selection_count; s++) {
		const struct selection_meter *m = &w->m->selection[s], *r = &w->r.selection[s];
		const struct selection *sel = &p->selections[s];
		put(w, "PA1*%s*%lld*%s****0", sel->id, (ll)sel->price[0], sel->name);
		products(w, "PA2", &m->paid, &r->paid, "");
		products(w, "PA3", &m->test, &r->test, "");
		products(w, "PA4", &m->free, &r->free, "");
		for (size_t i = 0; i < p->list_count; i++)
			put(w, "PA7*%s*%s*%lld*%lld*%lld*%lld*%lld*%lld", sel->id, devices[p->lists[i].device],
			    (ll)p->lists[i].number, listed(sel->price[i]), (ll)m->list[i].count, (ll)m->list[i].value,
			    (ll)r->list[i].count, (ll)r->list[i].value);
	}
}

static void euro_hot(struct writer *w)
{
	struct ft_practice *p = w->p;
	const struct meters *m = w->m, *r = &w->r;
	char d[DATE_ROOM], t[DATE_ROOM];

	put(w, "ID1*%s*%s*%s*%s**%s*6*1", p->machine.serial, p->machine.model, p->machine.revision, p->location, p->asset);
	currency(w);
	if (p->has_clock)
		clock_now(w);
	unit(w, "CB1", &p->board);
	totals(w, "VA1", &m->paid, &r->paid, "*0*0*0*0*0*0*0*0");
	totals(w, "VA2", &m->test, &r->test, "");
	totals(w, "VA3", &m->free, &r->free, "");
	unit(w, "CA1", &p->changer);
	unit(w, "BA1", &p->validator);
	unit(w, "DA1", &p->reader);
	euro_cash(w);
	if (p->reader.serial[0]) {
		totals(w, "DA2", &m->by[BY_CARD], &r->by[BY_CARD], "");
		put(w, "DA4*%lld*%lld", (ll)m->topped, (ll)r->topped);
		put(w, "DA10*0*0*0*0");
	}
	euro_products(w);
	events(w);
	reads(w);
	put(w, "EA4*%s*%s*WORKS", put_date(w, p->born_s, true, d), put_time(w, p->born_s, true, t));
	put(w, "EA5*%s*%s", put_date(w, p->priced_s, true, d), put_time(w, p->priced_s, true, t));
	put(w, "EA7*%lld*%lld", (ll)r->outages, (ll)m->outages);
}

/* V0/6 with the least there is: no ID4, no clock, no CA15, no names, two elements of PA2, EA301 only. */
static void old_coin(struct writer *w)
{
	struct ft_practice *p = w->p;
	const struct meters *m = w->m, *r = &w->r;

	put(w, "ID1*%s*%s*%s", p->machine.serial, p->machine.model, p->machine.revision);
	totals(w, "VA1", &m->paid, &r->paid, "");
	unit(w, "CA1", &p->changer);
	totals(w, "CA2", &m->by[BY_CASH], &r->by[BY_CASH], "");
	put(w, "CA3*%lld*%lld*%lld*0*%lld*%lld*%lld*0", (ll)r->cash_in, (ll)r->to_box, (ll)r->to_tubes, (ll)m->cash_in,
	    (ll)m->to_box, (ll)m->to_tubes);
	put(w, "CA4*%lld*%lld*%lld*%lld", (ll)r->out, (ll)r->out_by_hand, (ll)m->out, (ll)m->out_by_hand);
	put(w, "CA8*%lld*%lld", (ll)r->overpaid, (ll)m->overpaid);
	put(w, "CA10*%lld*%lld", (ll)r->filled, (ll)m->filled);
	for (size_t i = 0; i < p->selection_count; i++) {
		put(w, "PA1*%s*%lld", p->selections[i].id, (ll)p->selections[i].price[0]);
		put(w, "PA2*%lld*%lld", (ll)m->selection[i].paid.count, (ll)m->selection[i].paid.value);
	}
	put(w, "EA3*%lld", (ll)(p->reads_with_reset + p->reset_at_read));
	put(w, "EA7*%lld*%lld", (ll)r->outages, (ll)m->outages);
}

dialect_fn *const practice_dialects[DIALECTS] = { us_snack, euro_hot, old_coin };
