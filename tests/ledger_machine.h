/* SPDX-License-Identifier: Apache-2.0 */
/* A small machine for testing the ledger: its own books in a few lines, written without a look at the
 * table of effects, so that the two can contradict each other. Invented throughout. */
#ifndef FETTLE_TESTS_LEDGER_MACHINE_H
#define FETTLE_TESTS_LEDGER_MACHINE_H

#include <stdio.h>

#include "fettle/ledger.h"

enum dialect { SNACK, EURO, OLD, DIALECTS };
enum { PLACES_MAX = 64, LISTS = 3 };
enum { DEV_CA, DEV_DA, DEV_TA };

struct tally {
	int64_t n[2], v[2];
}; /* [0] since initialisation, [1] since reset */

struct machine {
	enum dialect dialect;
	int places;
	int64_t price[PLACES_MAX];
	struct tally paid, test, free, cash, card, token;
	struct tally sel[PLACES_MAX], sel_test[PLACES_MAX], sel_free[PLACES_MAX];
	struct tally list[PLACES_MAX][LISTS]; /* 0: cash, 1 and 2: card */
	int64_t in[2], box[2], tubes[2], bills[2], change[2];
	int64_t stored; /* in the tubes now */
	int reads, resets;
};

struct vend {
	int place;
	enum ft_paid paid;
	int64_t price, tendered;
	int list;
};

static inline int64_t list_price(const struct machine *m, int place, int list)
{
	return m->price[place] - 10 * list;
}

static inline void tally(struct tally *t, int64_t value, int times)
{
	for (int k = 0; k < 2; k++) {
		t->n[k] += times;
		t->v[k] += value * times;
	}
}

/* What the machine writes down for a vend. */
static inline void book(struct machine *m, const struct vend *v, int times)
{
	if (v->paid == FT_PAID_TEST) {
		tally(&m->test, v->price, times);
		tally(&m->sel_test[v->place], v->price, times);
		return;
	}
	if (v->paid == FT_PAID_FREE) {
		tally(&m->free, v->price, times);
		tally(&m->sel_free[v->place], v->price, times);
		return;
	}
	tally(&m->paid, v->price, times);
	tally(&m->sel[v->place], v->price, times);
	if (v->paid == FT_PAID_CARD_1)
		tally(&m->card, v->price, times);
	else if (v->paid == FT_PAID_TOKEN)
		tally(&m->token, v->price, times);
	else
		tally(&m->cash, v->price, times);
	tally(&m->list[v->place][v->list], v->price, times);
}

/* What its money does. */
static inline void take_cash(struct machine *m, const struct vend *v, unsigned dice)
{
	int64_t coins = v->paid == FT_PAID_COIN ? v->tendered : 0;
	int64_t to_box = dice & 1 ? coins : coins / 2, change;

	if (v->paid != FT_PAID_COIN && v->paid != FT_PAID_BILL)
		return;
	change = v->tendered - v->price;
	for (int k = 0; k < 2; k++) {
		m->in[k] += v->tendered;
		m->box[k] += to_box;
		m->tubes[k] += coins - to_box;
		m->bills[k] += v->tendered - coins;
		m->change[k] += change;
	}
	m->stored += coins - to_box - change;
}

static inline void reset_interval(struct machine *m)
{
	struct tally *all[] = { &m->paid, &m->test, &m->free, &m->cash, &m->card, &m->token };
	int64_t *cash[] = { m->in, m->box, m->tubes, m->bills, m->change };

	for (size_t i = 0; i < sizeof all / sizeof *all; i++)
		all[i]->n[1] = all[i]->v[1] = 0;
	for (size_t i = 0; i < sizeof cash / sizeof *cash; i++)
		cash[i][1] = 0;
	for (int p = 0; p < m->places; p++) {
		m->sel[p].n[1] = m->sel[p].v[1] = m->sel_test[p].n[1] = m->sel_test[p].v[1] = m->sel_free[p].n[1] =
			m->sel_free[p].v[1] = 0;
		for (int l = 0; l < LISTS; l++)
			m->list[p][l].n[1] = m->list[p][l].v[1] = 0;
	}
	m->resets++;
}

#define LL(x) ((long long)(x))

static inline void write_totals(struct ft_buf *b, const char *id, const struct tally *t)
{
	ft_buf_printf(b, "%s*%lld*%lld*%lld*%lld\r\n", id, LL(t->v[0]), LL(t->n[0]), LL(t->v[1]), LL(t->n[1]));
}

static inline void write_rows(struct ft_buf *b, const struct machine *m, int p)
{
	ft_buf_printf(b, "PA1*%d*%lld\r\n", p + 10, LL(m->price[p]));
	if (m->dialect == OLD) {
		ft_buf_printf(b, "PA2*%lld*%lld\r\n", LL(m->sel[p].n[0]), LL(m->sel[p].v[0]));
		return;
	}
	ft_buf_printf(b, "PA2*%lld*%lld*%lld*%lld\r\n", LL(m->sel[p].n[0]), LL(m->sel[p].v[0]), LL(m->sel[p].n[1]),
	              LL(m->sel[p].v[1]));
	ft_buf_printf(b, "PA3*%lld*%lld*%lld*%lld\r\n", LL(m->sel_test[p].n[0]), LL(m->sel_test[p].v[0]),
	              LL(m->sel_test[p].n[1]), LL(m->sel_test[p].v[1]));
	ft_buf_printf(b, "PA4*%lld*%lld*%lld*%lld\r\n", LL(m->sel_free[p].n[0]), LL(m->sel_free[p].v[0]),
	              LL(m->sel_free[p].n[1]), LL(m->sel_free[p].v[1]));
	for (int l = 0; l < LISTS && m->dialect == EURO; l++) {
		const struct tally *t = &m->list[p][l];
		ft_buf_printf(b, "PA7*%d*%s*%d*%lld*%lld*%lld*%lld*%lld\r\n", p + 10, l ? "DA" : "CA", l,
		              LL(list_price(m, p, l)), LL(t->n[0]), LL(t->v[0]), LL(t->n[1]), LL(t->v[1]));
	}
}

static inline void write_machine(struct ft_buf *b, const struct machine *m)
{
	ft_buf_puts(b, "DXS*QQT0000009*VA*V0/6*1\r\nST*001*0001\r\nID1*T-900*TRIAL*1***T-1\r\nID4*2*978*EUR\r\n");
	write_totals(b, "VA1", &m->paid);
	if (m->dialect != OLD) {
		write_totals(b, "VA2", &m->test);
		write_totals(b, "VA3", &m->free);
	}
	write_totals(b, "CA2", &m->cash);
	ft_buf_printf(b, "CA3*%lld*%lld*%lld**%lld*%lld*%lld**%lld*%lld\r\n", LL(m->in[1]), LL(m->box[1]), LL(m->tubes[1]),
	              LL(m->in[0]), LL(m->box[0]), LL(m->tubes[0]), LL(m->bills[1]), LL(m->bills[0]));
	ft_buf_printf(b, "CA4*%lld*0*%lld*0\r\nCA15*%lld\r\n", LL(m->change[1]), LL(m->change[0]), LL(m->stored));
	if (m->dialect != OLD)
		write_totals(b, "DA2", &m->card);
	if (m->dialect == SNACK)
		write_totals(b, "TA2", &m->token);
	for (int p = 0; p < m->places; p++)
		write_rows(b, m, p);
	ft_buf_printf(b, "EA3*%d**********%d*%d\r\nSE*9*0001\r\nDXE*1*1\r\n", m->reads, m->reads, m->resets);
}

/* splitmix64: the same numbers everywhere. */
static inline unsigned roll(uint64_t *state, unsigned below)
{
	uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);

	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	return (unsigned)((z ^ z >> 31) >> 16) % below;
}

static inline struct vend random_vend(const struct machine *m, uint64_t *state)
{
	static const enum ft_paid ways[] = { FT_PAID_COIN,   FT_PAID_COIN,   FT_PAID_COIN,  FT_PAID_BILL, FT_PAID_CARD_1,
		                                 FT_PAID_CARD_1, FT_PAID_CARD_1, FT_PAID_TOKEN, FT_PAID_TEST, FT_PAID_FREE };
	struct vend v = { .place = (int)roll(state, (unsigned)m->places),
		              .paid = ways[roll(state, 10)],
		              .tendered = FT_ABSENT };

	if (m->dialect == OLD || (m->dialect == EURO && v.paid == FT_PAID_TOKEN))
		v.paid = FT_PAID_COIN;
	if (m->dialect == EURO && v.paid == FT_PAID_CARD_1)
		v.list = 1 + (int)roll(state, 2);
	v.price = list_price(m, v.place, v.list);
	if (v.paid == FT_PAID_COIN)
		v.tendered = v.price + 10 * (int64_t)roll(state, 6);
	if (v.paid == FT_PAID_BILL)
		v.tendered = (v.price / 500 + 1) * 500;
	return v;
}

static inline void random_machine(struct machine *m, enum dialect dialect, int places, uint64_t *state)
{
	memset(m, 0, sizeof *m);
	m->dialect = dialect;
	m->places = places;
	m->reads = 3 + (int)roll(state, 50);
	m->resets = m->reads / 2;
	m->stored = 5000;
	for (int p = 0; p < places; p++)
		m->price[p] = 50 + 10 * (int64_t)roll(state, 20);
	for (int i = 0; i < 200; i++) {
		struct vend v = random_vend(m, state);
		book(m, &v, 1);
		take_cash(m, &v, roll(state, 2));
	}
}

/* An audit opened from text; everything lives in the arena. */
static inline struct ft_read open_audit(struct ft_slice text, struct ft_arena *a)
{
	struct ft_audit *d = FT_NEW(a, struct ft_audit);
	struct ft_facts *f = FT_NEW(a, struct ft_facts);
	char *copy = ft_arena_text(a, text);

	if (!d || !f || !copy || ft_audit_read((struct ft_slice){ copy, text.n }, a, d, NULL) != FT_OK ||
	    d->set_count == 0 || ft_audit_facts(d, &d->sets[0], a, f, NULL) != FT_OK)
		return (struct ft_read){ NULL, NULL };
	return (struct ft_read){ "audit", f };
}

#endif
