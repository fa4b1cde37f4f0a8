/* SPDX-License-Identifier: Apache-2.0 */
/* The captures of a visit: read, judged, and made witnesses of the sales. */
#include "judge.h"

/* What a report points at lives as long as its bus; this outlives it. */
static bool keep_report(const struct ft_bus_report *r, struct ft_arena *a, struct ft_bus_report *ret)
{
	struct ft_bus_sale *sales = FT_NEW_ARRAY(a, r->sale_count + 1, struct ft_bus_sale);
	struct ft_bus_money *money = FT_NEW_ARRAY(a, r->money_count + 1, struct ft_bus_money);

	*ret = *r;
	if (!sales || !money)
		return false;
	if (r->sale_count)
		memcpy(sales, r->sales, r->sale_count * sizeof *sales);
	if (r->money_count)
		memcpy(money, r->money, r->money_count * sizeof *money);
	ret->sales = sales;
	ret->money = money;
	for (int i = 0; i < FT_BUS_LINES; i++)
		if (r->lines[i].channel && !(ret->lines[i].channel = ft_arena_text(a, ft_slice_of(r->lines[i].channel))))
			return false;
	return true;
}

/* The bytes of a session file, from memory and as often as it wants them. */
struct held {
	struct ft_slice bytes;
	bool given;
};

static ptrdiff_t give(void *from, const void **ret)
{
	struct held *h = from;

	if (h->given)
		return 0;
	h->given = true;
	*ret = h->bytes.p;
	return (ptrdiff_t)h->bytes.n;
}

static bool again(void *from)
{
	((struct held *)from)->given = false;
	return true;
}

static enum ft_status feed(struct ft_slice bytes, struct ft_bus *b, struct ft_error *e)
{
	struct held h = { bytes, false };
	const struct ft_bus_source source = { &h, give, again };

	return ft_bus_is_session(bytes.p, bytes.n) ? ft_bus_feed_session(b, &source, e)
											   : ft_bus_feed(b, bytes.p, bytes.n, e);
}

static enum ft_status read_capture(const struct ft_visit *v, int evidence, int decimals, struct ft_arena *a,
                                   struct ft_visit_capture *ret, struct ft_error *e)
{
	const struct ft_evidence *x = &v->evidence[evidence];
	struct ft_bus_options o = { .name = x->name, .inverted = { -1, -1 } };
	const struct ft_bus_report *r = NULL;
	struct ft_error own = { 0 };
	struct ft_bus *b = NULL;
	enum ft_status s;

	*ret = (struct ft_visit_capture){ .evidence = evidence, .findings = { .arena = a } };
	if (!x->bytes.p)
		return ft_fail(e, FT_E_INTERNAL, "The bytes of %s were not loaded before judging.", x->name);
	s = ft_bus_new(&o, NULL, &ret->findings, a, &b, &own);
	if (s == FT_OK)
		s = feed(x->bytes, b, &own);
	if (s == FT_OK)
		s = ft_bus_end(b, &r, &own);
	if (s == FT_OK && !keep_report(r, a, &ret->report))
		s = ft_fail_memory(&own, "reading the capture");
	ft_bus_done(b);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK) {
		ret->unreadable = ft_arena_text(a, ft_slice_of(own.text));
		return ret->unreadable ? FT_OK : ft_fail_memory(e, "judging the visit");
	}
	ret->verdict = ft_bus_verdict(&ret->report, &ret->findings);
	s = ft_sales_of_bus(&ret->report, x->name, decimals, a, &ret->account, e);
	ret->account.part = true;
	return s;
}

enum ft_status ft_visit_captures(const struct ft_visit *v, int decimals, struct ft_arena *a,
                                 struct ft_visit_capture **ret, size_t *ret_count, struct ft_error *e)
{
	struct ft_visit_capture *list;
	enum ft_status s = FT_OK;
	size_t count = 0, n = 0;

	for (size_t i = 0; i < v->evidence_count; i++)
		n += v->evidence[i].kind == FT_EVIDENCE_BUS;
	list = FT_NEW_ARRAY(a, n + 1, struct ft_visit_capture);
	if (!list)
		return ft_fail_memory(e, "judging the visit");
	for (size_t i = 0; s == FT_OK && i < v->evidence_count; i++)
		if (v->evidence[i].kind == FT_EVIDENCE_BUS)
			s = read_capture(v, (int)i, decimals, a, &list[count++], e);
	*ret = list;
	*ret_count = count;
	return s;
}

const struct ft_visit_capture *ft_visit_capture_last(const struct ft_visit_capture *list, size_t count)
{
	while (count)
		if (!list[--count].unreadable)
			return &list[count];
	return NULL;
}

/* The captures added after evidence `from`, as witnesses; `ret` has room for all. */
size_t judge_accounts(const struct judging *j, int from, struct ft_account *ret)
{
	size_t n = 0;

	for (size_t i = 0; i < j->g->capture_count; i++)
		if (!j->g->captures[i].unreadable && j->g->captures[i].evidence > from && j->g->captures[i].report.exchanges)
			ret[n++] = j->g->captures[i].account;
	return n;
}

/* Only the last capture speaks: an earlier one may show what was mended since. */
void judge_captures(struct judging *j)
{
	const struct ft_visit_capture *last = ft_visit_capture_last(j->g->captures, j->g->capture_count);

	j->bus_found.from = (int)j->g->findings.count;
	for (size_t i = 0; i < j->g->capture_count; i++)
		if (j->g->captures[i].unreadable)
			judge_unreadable(j, j->g->captures[i].evidence, j->g->captures[i].unreadable);
	if (last)
		judge_append(&j->g->findings, &last->findings);
	j->bus_found.to = (int)j->g->findings.count;
}
