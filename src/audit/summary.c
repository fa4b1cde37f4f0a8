/* SPDX-License-Identifier: Apache-2.0 */
/* Facts to what a person or the office wants to know. */
#include "room.h"

#include <stdio.h>

static struct ft_slice text_at(const struct ft_facts *f, enum ft_segment_id id, unsigned position)
{
	struct ft_slice s = { NULL, 0 };

	if (f->segment[id] >= 0)
		s = ft_slice_trim(ft_audit_at(f->audit, &f->audit->segments[f->segment[id]], position));
	return s.n ? s : (struct ft_slice){ NULL, 0 };
}

static struct ft_total total_of(const struct ft_facts *f, enum ft_element_id first)
{
	/* value, number, value since reset, number since reset: in this order in VA, CA2, DA2, TA2 */
	return (struct ft_total){ f->value[first], f->value[first + 1], f->value[first + 2], f->value[first + 3] };
}

static struct ft_total row_total(const struct ft_facts *f, uint32_t segment)
{
	/* number, value, number since reset, value since reset: in this order in PA2, PA3, PA4 */
	return (struct ft_total){ .count = row_number(f, segment, 1),
		                      .value = row_number(f, segment, 2),
		                      .count_since_reset = row_number(f, segment, 3),
		                      .value_since_reset = row_number(f, segment, 4) };
}

static const struct ft_total no_total = { FT_ABSENT, FT_ABSENT, FT_ABSENT, FT_ABSENT };

static void put_clock(const struct ft_facts *f, char out[24])
{
	int y, mo, d, h = 0, mi = 0, s = 0;
	bool unset;

	out[0] = 0;
	if (!audit_date(text_at(f, FT_SEG_ID5, 1), &y, &mo, &d, &unset) || unset)
		return;
	if (text_at(f, FT_SEG_ID5, 2).n && !audit_time(text_at(f, FT_SEG_ID5, 2), &h, &mi, &s))
		return;
	snprintf(out, 24, "%04u-%02u-%02uT%02u:%02u:%02u", (unsigned)y % 10000U, (unsigned)mo % 100U, (unsigned)d % 100U,
	         (unsigned)h % 100U, (unsigned)mi % 100U, (unsigned)s % 100U);
}

static void identify(const struct ft_facts *f, struct ft_summary *s)
{
	s->serial = text_at(f, FT_SEG_ID1, 1);
	s->model = text_at(f, FT_SEG_ID1, 2);
	s->revision = text_at(f, FT_SEG_ID1, 3);
	s->location = text_at(f, FT_SEG_ID1, 4);
	s->asset = text_at(f, FT_SEG_ID1, 6);
	s->level = text_at(f, FT_SEG_DXS, 3);
	s->currency_sent = text_at(f, FT_SEG_ID4, 3);
	s->currency_numeric = f->value[FT_EL_ID402];
	if (s->currency_sent.n)
		s->currency = ft_currency_by_alpha(s->currency_sent);
	if (!s->currency && s->currency_numeric > 0 && s->currency_numeric < 1000)
		s->currency = ft_currency_by_number((int)s->currency_numeric);
	if (!s->currency && s->currency_numeric >= 1000 && s->currency_numeric < 2000)
		s->currency = ft_currency_by_number((int)s->currency_numeric - 1000); /* 1 + ISO number, seen in the field */
	s->decimals = f->decimals;
	s->decimals_known = f->decimals_known;
	put_clock(f, s->clock);
}

static void fill_totals(const struct ft_facts *f, struct ft_summary *s)
{
	s->paid = total_of(f, FT_EL_VA101);
	s->test = total_of(f, FT_EL_VA201);
	s->free = total_of(f, FT_EL_VA301);
	s->cash = total_of(f, FT_EL_CA201);
	s->cashless_1 = total_of(f, FT_EL_DA201);
	s->cashless_2 = total_of(f, FT_EL_DB201);
	s->tokens = total_of(f, FT_EL_TA201);
	if (f->value[FT_EL_TA205] != FT_ABSENT) { /* value tokens beside vend tokens */
		struct ft_total v = total_of(f, FT_EL_TA205);
		s->tokens.value = sat_add(or_zero(s->tokens.value), v.value);
		s->tokens.count = sat_add(or_zero(s->tokens.count), or_zero(v.count));
		s->tokens.value_since_reset = sat_add(or_zero(s->tokens.value_since_reset), or_zero(v.value_since_reset));
		s->tokens.count_since_reset = sat_add(or_zero(s->tokens.count_since_reset), or_zero(v.count_since_reset));
	}
	s->cash_in = (struct ft_pair){ f->value[FT_EL_CA305], f->value[FT_EL_CA301] };
	s->to_box = (struct ft_pair){ f->value[FT_EL_CA306], f->value[FT_EL_CA302] };
	s->to_tubes = (struct ft_pair){ f->value[FT_EL_CA307], f->value[FT_EL_CA303] };
	s->bills_in = (struct ft_pair){ f->bills_in_init, f->bills_in_reset };
	s->dispensed = (struct ft_pair){ f->value[FT_EL_CA403], f->value[FT_EL_CA401] };
	s->dispensed_by_hand = (struct ft_pair){ f->value[FT_EL_CA404], f->value[FT_EL_CA402] };
	s->filled = (struct ft_pair){ f->value[FT_EL_CA1002], f->value[FT_EL_CA1001] };
	s->overpaid = (struct ft_pair){ f->value[FT_EL_CA802], f->value[FT_EL_CA801] };
	s->tubes_now = f->value[FT_EL_CA1501];
	s->reads = f->value[FT_EL_EA309] != FT_ABSENT ? f->value[FT_EL_EA309] : f->value[FT_EL_EA301];
	s->resets = f->value[FT_EL_EA310] != FT_ABSENT ? f->value[FT_EL_EA310] : f->value[FT_EL_EA301];
	s->power_outages = f->value[FT_EL_EA702];
}

/* Rows of lists that nobody set up carry marks where others carry numbers; a mark is no price and no count. */
static int64_t told(const struct ft_facts *f, uint32_t segment, unsigned position)
{
	int64_t v = row_number(f, segment, position);

	return audit_unset(v) ? FT_ABSENT : v;
}

static struct ft_list_row list_of(const struct ft_facts *f, uint32_t segment)
{
	const struct ft_segment *s = &f->audit->segments[segment];
	struct ft_list_row r = { .price = FT_ABSENT };

	if (s->id == FT_SEG_PA7) {
		r.device = ft_slice_trim(ft_audit_at(f->audit, s, 2));
		r.list = ft_slice_trim(ft_audit_at(f->audit, s, 3));
		r.price = told(f, segment, 4);
		r.count = told(f, segment, 5);
		r.value = told(f, segment, 6);
		r.count_since_reset = told(f, segment, 7);
		r.value_since_reset = told(f, segment, 8);
		return r;
	}
	r.list = ft_slice_trim(ft_audit_at(f->audit, s, 1));
	r.price = told(f, segment, 3);
	r.count_since_reset = told(f, segment, 4);
	r.count = told(f, segment, 5);
	r.value = r.price == FT_ABSENT || r.count == FT_ABSENT ? FT_ABSENT : sat_mul(r.price, r.count);
	r.value_since_reset =
		r.price == FT_ABSENT || r.count_since_reset == FT_ABSENT ? FT_ABSENT : sat_mul(r.price, r.count_since_reset);
	return r;
}

/* Where a machine sends both LA1 and PA7 for a selection, PA7 says the same and more (note 1). */
static enum ft_status fill_lists(const struct ft_facts *f, struct ft_arena *a, struct ft_selection *list,
                                 struct ft_error *e)
{
	for (int pass = 0; pass < 3; pass++) { /* count, take, fill */
		for (size_t i = 0; i < f->selection_count && pass == 1; i++) {
			list[i].lists = FT_NEW_ARRAY(a, list[i].list_count + 1, struct ft_list_row);
			if (!list[i].lists)
				return ft_fail_memory(e, "the price lists");
			list[i].list_count = 0;
		}
		for (size_t i = 0; i < f->row_count && pass != 1; i++) {
			int id = f->audit->segments[f->rows[i].segment].id;
			int32_t at = f->rows[i].selection;
			if (at < 0 || (id != FT_SEG_PA7 && (id != FT_SEG_LA1 || f->value[FT_EL_PA703] != FT_ABSENT)))
				continue;
			if (pass == 2)
				list[at].lists[list[at].list_count] = list_of(f, f->rows[i].segment);
			list[at].list_count++;
		}
	}
	return FT_OK;
}

static enum ft_status fill_selections(const struct ft_facts *f, struct ft_arena *a, struct ft_summary *ret,
                                      struct ft_error *e)
{
	struct ft_selection *list = FT_NEW_ARRAY(a, f->selection_count + 1, struct ft_selection);

	if (!list)
		return ft_fail_memory(e, "the selections");
	for (size_t i = 0; i < f->selection_count; i++) {
		const struct ft_segment *s = &f->audit->segments[f->selections[i]];
		list[i].id = ft_slice_trim(ft_audit_at(f->audit, s, 1));
		list[i].price = row_number(f, f->selections[i], 2);
		list[i].name = ft_slice_trim(ft_audit_at(f->audit, s, 3));
		if (!list[i].name.n)
			list[i].name = (struct ft_slice){ NULL, 0 };
		list[i].capacity = row_number(f, f->selections[i], 4);
		list[i].status = row_number(f, f->selections[i], 7);
		list[i].level = row_number(f, f->selections[i], 8);
		list[i].paid = list[i].test = list[i].free = no_total;
		list[i].line = ft_audit_line(f->audit, s);
	}
	for (size_t i = 0; i < f->row_count; i++) {
		int32_t at = f->rows[i].selection;
		if (at < 0)
			continue;
		switch (f->audit->segments[f->rows[i].segment].id) {
		case FT_SEG_PA2:
			list[at].paid = row_total(f, f->rows[i].segment);
			break;
		case FT_SEG_PA3:
			list[at].test = row_total(f, f->rows[i].segment);
			break;
		case FT_SEG_PA4:
			list[at].free = row_total(f, f->rows[i].segment);
			break;
		default:
			break;
		}
	}
	ret->selections = list;
	ret->selection_count = f->selection_count;
	return fill_lists(f, a, list, e);
}

static enum ft_status fill_events(const struct ft_facts *f, struct ft_arena *a, struct ft_summary *ret,
                                  struct ft_error *e)
{
	ret->events = FT_NEW_ARRAY(a, f->row_count + 1, struct ft_event_row);
	if (!ret->events)
		return ft_fail_memory(e, "the events");
	for (size_t i = 0; i < f->row_count; i++) {
		uint32_t at = f->rows[i].segment;
		const struct ft_segment *s = &f->audit->segments[at];
		struct ft_event_row *x = &ret->events[ret->event_count];
		if (s->id != FT_SEG_EA1 && s->id != FT_SEG_EA2)
			continue;
		x->code = ft_slice_trim(ft_audit_at(f->audit, s, 1));
		x->meaning = ft_event_meaning(x->code, NULL);
		x->count = x->count_since_reset = x->active = FT_ABSENT;
		if (s->id == FT_SEG_EA1) {
			x->date = ft_slice_trim(ft_audit_at(f->audit, s, 2));
			x->time = ft_slice_trim(ft_audit_at(f->audit, s, 3));
			x->duration = ft_slice_trim(ft_audit_at(f->audit, s, 4));
		} else {
			x->counted = true;
			x->count_since_reset = row_number(f, at, 2);
			x->count = row_number(f, at, 3);
			x->active = row_number(f, at, 5);
		}
		ret->event_count++;
	}
	return FT_OK;
}

/* ---- how far the office can rely on this machine ---- */

static enum ft_identity_stands stand(const struct ft_identity *all, size_t n, const char *prefix)
{
	enum ft_identity_stands worst = FT_CANNOT_TELL;

	for (size_t i = 0; i < n; i++) {
		size_t len = strlen(prefix);
		if (strncmp(all[i].id, prefix, len) != 0 || (all[i].id[len] != ' ' && all[i].id[len] != 0))
			continue;
		if (all[i].stands == FT_BROKEN)
			return FT_BROKEN;
		if (all[i].stands == FT_HOLDS)
			worst = FT_HOLDS;
	}
	return worst;
}

static enum ft_reliance rely(enum ft_identity_stands a)
{
	return a == FT_HOLDS ? FT_RELY_FULL : FT_RELY_PART;
}

struct reasons {
	struct ft_reliances *r;
	const struct ft_identity *all;
	size_t n;
	const struct ft_facts *f;
};

static enum ft_reliance say(const struct reasons *x, int which, enum ft_reliance r, const char *because)
{
	x->r->because[which] = because;
	return r;
}

static enum ft_reliance rely_sales_total(const struct reasons *x)
{
	enum ft_identity_stands a1 = stand(x->all, x->n, "A1"), a5 = stand(x->all, x->n, "A5");

	if (x->f->value[FT_EL_VA101] == FT_ABSENT || x->f->value[FT_EL_VA102] == FT_ABSENT)
		return say(x, 0, FT_RELY_NONE, "the machine sends no total of paid sales");
	if (a1 == FT_BROKEN)
		return say(x, 0, FT_RELY_PART, "the total is not the sum of the payment devices");
	if (a1 == FT_HOLDS)
		return say(x, 0, FT_RELY_FULL, "value and number agree with the payment devices");
	if (a5 == FT_HOLDS)
		return say(x, 0, FT_RELY_FULL, "value and number agree with the selections");
	return say(x, 0, FT_RELY_PART, "nothing else in the audit confirms the total");
}

static size_t counted_selections(const struct ft_facts *f)
{
	size_t n = 0;

	for (size_t i = 0; i < f->row_count; i++)
		n += f->audit->segments[f->rows[i].segment].id == FT_SEG_PA2 &&
			row_number(f, f->rows[i].segment, 1) != FT_ABSENT;
	return n;
}

static enum ft_reliance rely_by_selection(const struct reasons *x)
{
	enum ft_identity_stands a5 = stand(x->all, x->n, "A5");

	if (x->f->value[FT_EL_PA201] == FT_ABSENT && x->f->value[FT_EL_PA705] == FT_ABSENT)
		return say(x, 1, FT_RELY_NONE, "the machine counts no sales by selection");
	if (a5 == FT_BROKEN)
		return say(x, 1, FT_RELY_PART, "the selections do not sum to the total");
	if (counted_selections(x->f) < x->f->selection_count)
		return say(x, 1, FT_RELY_PART, "some selections carry no counters");
	if (a5 == FT_HOLDS)
		return say(x, 1, FT_RELY_FULL, "the selections sum to the total");
	return say(x, 1, FT_RELY_PART, "there is no total to hold the selections against");
}

static enum ft_reliance rely_cash(const struct reasons *x, bool in)
{
	enum ft_identity_stands s = stand(x->all, x->n, in ? "A2" : "A3");
	int which = in ? 2 : 3;

	if (x->f->value[in ? FT_EL_CA305 : FT_EL_CA403] == FT_ABSENT)
		return say(x, which, FT_RELY_NONE,
		           in ? "the machine does not count the cash taken in"
		              : "the machine does not count the cash paid out");
	if (s == FT_BROKEN)
		return say(x, which, FT_RELY_PART,
		           in ? "cash in is not the sum of box, tubes and bills"
		              : "cash in less cash out is not the cash sold");
	if (s == FT_CANNOT_TELL)
		return say(x, which, FT_RELY_PART,
		           in ? "box or tubes are not counted apart" : "a counter is missing that would confirm it");
	return say(x, which, rely(s),
	           in ? "cash in is box, tubes and bills together" : "cash in less cash out is the cash sold");
}

static enum ft_reliance rely_cashless(const struct reasons *x)
{
	bool any = x->f->value[FT_EL_DA201] != FT_ABSENT || x->f->value[FT_EL_DB201] != FT_ABSENT;
	enum ft_identity_stands a1 = stand(x->all, x->n, "A1");

	if (!any)
		return say(x, 4, FT_RELY_NONE, "the machine counts no cashless sales");
	if (x->f->value[FT_EL_DA202] == FT_ABSENT && x->f->value[FT_EL_DB202] == FT_ABSENT)
		return say(x, 4, FT_RELY_PART, "cashless sales have a value but no number");
	return say(x, 4, rely(a1),
	           a1 == FT_HOLDS        ? "cashless and cash together are the total"
	               : a1 == FT_BROKEN ? "the devices do not sum to the total"
	                                 : "nothing else confirms the cashless sales");
}

static enum ft_reliance rely_lists(const struct reasons *x)
{
	enum ft_identity_stands a8 = stand(x->all, x->n, "A8"), a9 = stand(x->all, x->n, "A9"),
							a11 = stand(x->all, x->n, "A11");

	if (x->f->value[FT_EL_PA705] == FT_ABSENT && x->f->value[FT_EL_LA103] == FT_ABSENT)
		return say(x, 5, FT_RELY_NONE, "the machine sends no price lists");
	if (x->f->value[FT_EL_PA705] != FT_ABSENT && a8 == FT_HOLDS && a9 == FT_HOLDS)
		return say(x, 5, FT_RELY_FULL, "the rows of the lists sum to selections and devices");
	if (a8 == FT_BROKEN || a9 == FT_BROKEN || a11 == FT_BROKEN)
		return say(x, 5, FT_RELY_PART, "the rows of the lists do not sum to the selections");
	return say(x, 5, a11 == FT_HOLDS ? FT_RELY_FULL : FT_RELY_PART,
	           a11 == FT_HOLDS ? "price times number gives the sales of each selection"
	                           : "nothing else confirms the lists");
}

static void fill_reliance(const struct ft_facts *f, struct ft_summary *s)
{
	struct ft_identity all[FT_IDENTITIES_MAX];
	struct reasons x = { &s->reliance, all, ft_audit_identities(f, all), f };
	bool clock = s->clock[0] != 0;

	s->reliance.sales_total = rely_sales_total(&x);
	s->reliance.sales_by_selection = rely_by_selection(&x);
	s->reliance.cash_in = rely_cash(&x, true);
	s->reliance.cash_out = rely_cash(&x, false);
	s->reliance.cashless = rely_cashless(&x);
	s->reliance.price_lists = rely_lists(&x);
	if (f->segment[FT_SEG_EA2] < 0 && f->segment[FT_SEG_EA1] < 0)
		s->reliance.events = say(&x, 6, FT_RELY_NONE, "the machine reports no events");
	else if (!clock)
		s->reliance.events = say(&x, 6, FT_RELY_PART, "events carry no time that can be believed");
	else
		s->reliance.events =
			say(&x, 6, f->segment[FT_SEG_EA2] >= 0 ? FT_RELY_FULL : FT_RELY_PART,
		        f->segment[FT_SEG_EA2] >= 0 ? "events are counted and dated" : "events are dated but not counted");
	if (clock)
		s->reliance.clock = say(&x, 7, FT_RELY_FULL, "the machine tells its date and time");
	else if (text_at(f, FT_SEG_EA3, 2).n)
		s->reliance.clock = say(&x, 7, FT_RELY_PART, "only the reads carry a date");
	else
		s->reliance.clock = say(&x, 7, FT_RELY_NONE, "the machine does not tell the time");
}

const char *ft_reliance_word(enum ft_reliance r)
{
	return r == FT_RELY_FULL ? "full" : r == FT_RELY_PART ? "part" : "none";
}

enum ft_status ft_audit_summary(const struct ft_facts *f, struct ft_arena *a, struct ft_summary *ret,
                                struct ft_error *e)
{
	enum ft_status s;

	memset(ret, 0, sizeof *ret);
	identify(f, ret);
	fill_totals(f, ret);
	if ((s = fill_selections(f, a, ret, e)) != FT_OK || (s = fill_events(f, a, ret, e)) != FT_OK)
		return s;
	fill_reliance(f, ret);
	return FT_OK;
}
