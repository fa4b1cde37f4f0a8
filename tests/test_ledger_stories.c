/* SPDX-License-Identifier: Apache-2.0 */
/* Random machines, random sales, every kind of story: an honest machine is never accused, and what was
 * done to a dishonest one is found. FETTLE_RUNS in the environment sets how many runs of each. */
#include <stdlib.h>

#include "unit.h"

#include "ledger_machine.h"

struct trial {
	struct machine m;
	struct vend sales[48];
	int count;
	uint64_t state;
};

/* The deed: what the machine does wrong. Returns the selections it is about through `ret`. */
struct deed {
	enum ft_story_kind kind;
	int at, to; /* places */
	int sale;   /* one sale; -1 all */
};

static struct vend as_booked(const struct trial *t, const struct deed *d, int i)
{
	struct vend v = t->sales[i];

	if (!d)
		return v;
	if (d->kind == FT_STORY_CROSSED_SELECTIONS && (v.place == d->at || v.place == d->to))
		v.place = v.place == d->at ? d->to : d->at;
	if (d->sale >= 0 && d->sale != i)
		return v;
	switch (d->kind) {
	case FT_STORY_COUNTED_ELSEWHERE:
		v.place = d->to;
		break;
	case FT_STORY_OTHER_PRICE:
		v.price += 30;
		break;
	case FT_STORY_OTHER_LIST:
		v.list = 3 - v.list;
		v.price = list_price(&t->m, v.place, v.list);
		break;
	case FT_STORY_CASH_AS_CASHLESS:
		if (v.paid == FT_PAID_COIN || v.paid == FT_PAID_BILL) {
			v.paid = FT_PAID_CARD_1;
			v.list = t->m.dialect == EURO ? 1 : 0;
		}
		break;
	case FT_STORY_CASHLESS_AS_CASH:
		if (v.paid == FT_PAID_CARD_1) {
			v.paid = FT_PAID_COIN;
			v.list = 0;
		}
		break;
	default:
		break;
	}
	return v;
}

static void live(struct machine *m, const struct trial *t, const struct deed *d)
{
	for (int i = 0; i < t->count; i++) {
		bool it = d && (d->sale < 0 || d->sale == i);
		struct vend v = as_booked(t, d, i);
		int times = it && d->kind == FT_STORY_NOT_COUNTED ? 0 : it && d->kind == FT_STORY_COUNTED_TWICE ? 2 : 1;
		book(m, &v, times);
		if (!(it && d->kind == FT_STORY_CASH_NOT_REPORTED && t->sales[i].paid == FT_PAID_BILL))
			take_cash(m, &t->sales[i], (unsigned)i);
	}
	if (d && d->kind == FT_STORY_UNLISTED_SALE) {
		struct vend v = { d->at, FT_PAID_COIN, m->price[d->at], m->price[d->at], 0 };
		book(m, &v, 1);
		take_cash(m, &v, 0);
	}
	m->reads++;
}

/* Proves what the machine did; counts say whether the deed was found first, or among equals. */
static struct ft_proof *prove(const struct trial *t, const struct machine *after, bool with_tendered,
                              struct ft_arena *a)
{
	struct ft_buf b[2] = { { 0 }, { 0 } };
	struct ft_sale *list = FT_NEW_ARRAY(a, (size_t)t->count + 1, struct ft_sale);
	struct ft_findings f = { .arena = a };
	struct ft_proof *p = FT_NEW(a, struct ft_proof);
	struct ft_prove_input in = { .sales = list, .sale_count = (size_t)t->count, .counted = FT_ABSENT };
	struct ft_read before, later;
	struct ft_error e = { 0 };

	write_machine(&b[0], &t->m);
	write_machine(&b[1], after);
	before = open_audit(ft_buf_text(&b[0]), a);
	later = open_audit(ft_buf_text(&b[1]), a);
	assert_non_null(before.facts);
	assert_non_null(later.facts);
	for (int i = 0; i < t->count; i++)
		list[i] = (struct ft_sale){ .selection = ft_slice_of(ft_arena_printf(a, "%d", t->sales[i].place + 10)),
			                        .price = t->sales[i].price,
			                        .paid_with = t->sales[i].paid,
			                        .tendered = with_tendered ? t->sales[i].tendered : FT_ABSENT };
	assert_int_equal(ft_prove(&before, &later, &in, a, &f, p, &e), FT_OK);
	if (getenv("FETTLE_SHOW"))
		for (size_t i = 0; i < f.count; i++)
			if (f.list[i].weight != FT_NOTE)
				fprintf(stderr, "%s %s sel %s: %s / %s\n", ft_rule(f.list[i].rule)->id, f.list[i].where.element,
				        f.list[i].where.selection, f.list[i].seen, f.list[i].expected);
	ft_buf_done(&b[0]);
	ft_buf_done(&b[1]);
	return p;
}

static void new_trial(struct trial *t, uint64_t seed)
{
	t->state = seed * 7919 + 3;
	random_machine(&t->m, (enum dialect)roll(&t->state, DIALECTS), 3 + (int)roll(&t->state, 30), &t->state);
	t->count = 4 + (int)roll(&t->state, 40);
	for (int i = 0; i < t->count; i++)
		t->sales[i] = random_vend(&t->m, &t->state);
}

static bool choose(struct deed *d, enum ft_story_kind kind, struct trial *t)
{
	int sale = (int)roll(&t->state, (unsigned)t->count);
	const struct vend *v = &t->sales[sale];
	bool cash = v->paid == FT_PAID_COIN || v->paid == FT_PAID_BILL, card = v->paid == FT_PAID_CARD_1,
		 paid = v->paid < FT_PAID_TEST;

	*d = (struct deed){ kind, v->place, (v->place + 1 + (int)roll(&t->state, (unsigned)t->m.places - 1)) % t->m.places,
		                sale };
	switch (kind) {
	case FT_STORY_CROSSED_SELECTIONS:
		d->sale = -1;
		return true;
	case FT_STORY_OTHER_LIST:
		return card && t->m.dialect == EURO;
	case FT_STORY_CASHLESS_AS_CASH:
		d->sale = roll(&t->state, 2) ? sale : -1;
		return card;
	case FT_STORY_CASH_AS_CASHLESS:
		d->sale = roll(&t->state, 2) ? sale : -1;
		return cash && t->m.dialect != OLD;
	case FT_STORY_CASH_NOT_REPORTED:
		d->sale = -1;
		return v->paid == FT_PAID_BILL;
	default:
		return paid;
	}
}

static bool told(const struct ft_story *s, const struct deed *d)
{
	char at[16];

	snprintf(at, sizeof at, "%d", d->at + 10);
	if (s->edit_count != 1 || s->edits[0].kind != d->kind)
		return false;
	/* where one sale, or a selection, is meant it must be named */
	return d->sale < 0 ? d->kind != FT_STORY_CROSSED_SELECTIONS || ft_slice_is(s->edits[0].selections[0], at) ||
			ft_slice_is(s->edits[0].selections[1], at)
					   : ft_slice_is(s->edits[0].selections[0], at);
}

static int runs(int usual)
{
	int64_t n;

	return getenv("FETTLE_RUNS") && ft_slice_i64(ft_slice_of(getenv("FETTLE_RUNS")), &n) ? (int)n : usual;
}

static void honest_machines(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (int i = 0; i < runs(300); i++) {
		static struct trial t;
		struct machine after;
		struct ft_proof *p;
		new_trial(&t, (uint64_t)i + 1);
		if (i % 3 == 1) { /* the first read resets the interval */
			after = t.m;
			reset_interval(&after);
			after.resets = t.m.resets + 1;
		} else {
			after = t.m;
		}
		live(&after, &t, NULL);
		p = prove(&t, &after, i % 2, &a);
		if (p->verdict != FT_SHOWN || p->agree != 1 || p->wrong_count || p->story_count) {
			fprintf(stderr, "honest run %d accused: verdict %d, agree %d, wrong %zu\n", i, p->verdict, p->agree,
			        p->wrong_count);
			assert_true(false);
		}
		ft_arena_reset(&a);
	}
	ft_arena_done(&a);
}

static void every_story(void **state)
{
	struct ft_arena a = { 0 };

	(void)state;
	for (int kind = 0; kind <= FT_STORY_CASH_NOT_REPORTED; kind++) {
		int tried = 0, first = 0, among = 0, silent = 0, accused = 0;
		for (int i = 0; i < runs(150); i++) {
			static struct trial t;
			static struct machine after, honest;
			struct deed d;
			struct ft_proof *p;
			bool found = false;
			new_trial(&t, (uint64_t)i * 31 + (uint64_t)kind * 1009 + 5);
			if (!choose(&d, (enum ft_story_kind)kind, &t))
				continue;
			honest = after = t.m;
			live(&honest, &t, NULL);
			live(&after, &t, &d);
			honest.stored = after.stored;
			if (memcmp(&honest, &after, sizeof after) == 0) {
				silent++; /* nothing moved otherwise: there is nothing to find */
				continue;
			}
			p = prove(&t, &after, i % 2, &a);
			tried++;
			accused += p->agree != 1;
			for (size_t k = 0; k < p->story_count; k++)
				found |= told(&p->stories[k], &d);
			among += found;
			first += p->story_count && told(&p->stories[0], &d);
			if (!found && getenv("FETTLE_SHOW"))
				fprintf(stderr, "%s run %d dialect %d places %d at %d to %d sale %d: %zu stories, first %s\n",
				        ft_story_kind_word((enum ft_story_kind)kind), i, t.m.dialect, t.m.places, d.at + 10, d.to + 10,
				        d.sale, p->story_count, p->story_count ? p->stories[0].detail : "-");
			ft_arena_reset(&a);
		}
		print_message("%-20s tried %4d, noticed %4d, told first %4d, told among equals %4d (%d moved nothing)\n",
		              ft_story_kind_word((enum ft_story_kind)kind), tried, accused, first, among, silent);
		assert_true(tried > 0);
		assert_true(among * 100 >= tried * 95);
	}
	ft_arena_done(&a);
}

/* Two deeds at once, on different sales: some story of at most two edits must explain them. */
static void two_deeds(void **state)
{
	static const enum ft_story_kind kinds[] = { FT_STORY_CROSSED_SELECTIONS, FT_STORY_COUNTED_ELSEWHERE,
		                                        FT_STORY_NOT_COUNTED, FT_STORY_COUNTED_TWICE, FT_STORY_OTHER_PRICE };
	struct ft_arena a = { 0 };
	int tried = 0, explained = 0, named = 0;

	(void)state;
	for (int i = 0; i < runs(150); i++) {
		static struct trial t;
		static struct machine after;
		struct deed d[2];
		struct ft_proof *p;
		bool found = false;
		new_trial(&t, (uint64_t)i * 53 + 11);
		if (!choose(&d[0], kinds[i % 5], &t) || !choose(&d[1], kinds[1 + i / 5 % 4], &t) || d[0].sale == d[1].sale)
			continue;
		after = t.m;
		for (int k = 0; k < t.count; k++) {
			struct vend v = t.sales[k];
			int times = 1;
			for (int n = 1; n >= 0; n--) { /* the crossing is in the wiring: it comes last */
				bool it = d[n].sale < 0 || d[n].sale == k;
				struct trial one = t;
				one.sales[k] = v;
				v = as_booked(&one, &d[n], k);
				times = it && d[n].kind == FT_STORY_NOT_COUNTED ? 0
					: it && d[n].kind == FT_STORY_COUNTED_TWICE ? 2
																: times;
			}
			book(&after, &v, times);
			take_cash(&after, &t.sales[k], (unsigned)k);
		}
		after.reads++;
		p = prove(&t, &after, i % 2, &a);
		if (p->agree == 1)
			continue; /* one undid the other */
		tried++;
		explained += p->story_count > 0;
		for (size_t k = 0; k < p->story_count; k++) {
			const struct ft_story *y = &p->stories[k];
			found |= y->edit_count == 2 &&
				((y->edits[0].kind == d[0].kind && y->edits[1].kind == d[1].kind) ||
			     (y->edits[0].kind == d[1].kind && y->edits[1].kind == d[0].kind));
		}
		named += found;
		ft_arena_reset(&a);
	}
	print_message("two deeds            tried %4d, explained %4d, told among equals %4d\n", tried, explained, named);
	assert_true(tried > 0);
	assert_true(explained * 100 >= tried * 90);
	ft_arena_done(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(honest_machines), cmocka_unit_test(every_story),
		                                cmocka_unit_test(two_deeds) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
