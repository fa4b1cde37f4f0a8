/* SPDX-License-Identifier: Apache-2.0 */
/* The weeks after a handover as a table: made from what the watch found, written, and read back. */
#include <stdio.h>
#include <stdlib.h>

#include "fettle/weeks.h"
#include "room.h"

static const char heading[] = "what,value,selection,since,seen_at,seen,expected,file";
enum { WHAT, VALUE, SELECTION, SINCE, SEEN_AT, SEEN, EXPECTED, SHOWN_BY, COLUMNS };

static const struct {
	const char *word;
	bool time;
} facts[FT_WEEKS_FACTS] = {
	[FT_WEEKS_FROM] = { "from", true },
	[FT_WEEKS_UNTIL] = { "until", true },
	[FT_WEEKS_READS_EXPECTED] = { "reads-expected", false },
	[FT_WEEKS_READS_ARRIVED] = { "reads-arrived", false },
	[FT_WEEKS_FIRST_READ] = { "first-read", true },
	[FT_WEEKS_LAST_READ] = { "last-read", true },
	[FT_WEEKS_SOLD] = { "sold", false },
	[FT_WEEKS_SOLD_VALUE] = { "sold-value", false },
	[FT_WEEKS_DECIMALS] = { "decimals", false },
	[FT_WEEKS_CASH_UNTIL] = { "cash-until", true },
	[FT_WEEKS_COLLECTIONS] = { "collections", false },
	[FT_WEEKS_COUNTED] = { "counted", false },
	[FT_WEEKS_CASH_EXPECTED] = { "cash-expected", false },
	[FT_WEEKS_CASH_COUNTED] = { "cash-counted", false },
	[FT_WEEKS_DOORS_UNTIL] = { "doors-until", true },
	[FT_WEEKS_OPENINGS] = { "openings", false },
	[FT_WEEKS_DEGREES_UNTIL] = { "temperatures-until", true },
	[FT_WEEKS_DEGREES] = { "temperatures", false },
};

/* ---- from the watch ---- */

static void cash_facts(const struct ft_watch_result *r, int64_t *fact)
{
	for (size_t i = FT_WEEKS_COLLECTIONS; i <= FT_WEEKS_CASH_COUNTED; i++)
		fact[i] = 0;
	for (size_t i = 0; i < r->collection_count; i++) {
		const struct ft_collection *c = &r->collections[i];
		if (c->at_us <= r->handed_us)
			continue;
		fact[FT_WEEKS_COLLECTIONS]++;
		if (c->counted == FT_ABSENT)
			continue;
		fact[FT_WEEKS_COUNTED]++;
		fact[FT_WEEKS_CASH_EXPECTED] = watch_add(fact[FT_WEEKS_CASH_EXPECTED], c->expected);
		fact[FT_WEEKS_CASH_COUNTED] = watch_add(fact[FT_WEEKS_CASH_COUNTED], c->counted);
	}
}

static void take_over(int64_t *fact, const struct ft_weeks *before, size_t from, size_t to)
{
	for (size_t i = from; before && i <= to; i++)
		fact[i] = before->fact[i];
}

/* Was this run told enough to say whether such an exception stands? */
static bool judged(enum ft_rule_id rule, struct ft_weeks_told told)
{
	switch (rule) {
	case FT_RULE_WATCH_DOOR_UNEXPLAINED:
	case FT_RULE_WATCH_VISIT_WITHOUT_DOOR:
		return told.doors;
	case FT_RULE_WATCH_TOO_WARM:
	case FT_RULE_WATCH_ALARM_MISSED:
	case FT_RULE_WATCH_ALARM_WRONG:
		return told.degrees;
	case FT_RULE_WATCH_CASH_SHORT:
	case FT_RULE_WATCH_CASH_OVER:
	case FT_RULE_WATCH_CASH_LOSING:
	case FT_RULE_WATCH_NOT_COUNTED:
		return told.counts;
	default:
		return true;
	}
}

static int by_rank(const void *x, const void *y)
{
	const struct ft_exception *const *a = x, *const *b = y;
	double p = ft_exception_rank(*a, 0), q = ft_exception_rank(*b, 0);

	if (p != q)
		return p > q ? -1 : 1;
	return (*a)->seen_us != (*b)->seen_us ? ((*a)->seen_us < (*b)->seen_us ? -1 : 1) : (*a < *b ? -1 : *a > *b);
}

static bool put_found(struct ft_weeks *w, struct ft_weeks_found x)
{
	if (w->found_count == FT_WEEKS_FOUND_MAX)
		return false;
	w->found[w->found_count++] = x;
	return true;
}

bool ft_weeks_speaks(const struct ft_watch_result *r, const struct ft_exception *x, int64_t now_us)
{
	return r->handover && ft_weeks_claim_of(x->rule) != FT_WEEKS_NONE && x->seen_us > r->handed_us &&
		x->ended_us > now_us;
}

static enum ft_status put_exceptions(const struct ft_watch_result *r, int64_t now_us, struct ft_weeks *w,
                                     struct ft_arena *a, struct ft_error *e)
{
	const struct ft_exception **list = ft_arena_raw(a, (r->exception_count + 1) * sizeof(void *));
	size_t n = 0;

	if (!list)
		return ft_fail_memory(e, "the weeks after");
	for (size_t i = 0; i < r->exception_count; i++) {
		const struct ft_exception *x = &r->exceptions[i];
		if (ft_weeks_speaks(r, x, now_us) && !x->acknowledged)
			list[n++] = x;
	}
	if (n)
		qsort(list, n, sizeof(void *), by_rank);
	for (size_t i = 0; i < n; i++)
		put_found(w,
		          (struct ft_weeks_found){ list[i]->rule, list[i]->selection, list[i]->since_us, list[i]->seen_us,
		                                   list[i]->seen, list[i]->expected, list[i]->after });
	return FT_OK;
}

enum ft_status ft_weeks_of(const struct ft_watch_result *r, int64_t now_us, struct ft_weeks_told told,
                           const struct ft_weeks *before, struct ft_arena *a, struct ft_weeks *ret, struct ft_error *e)
{
	int64_t *fact = ret->fact;
	enum ft_status s;

	*ret = (struct ft_weeks){ .machine = r->key,
		                      .currency = r->currency,
		                      .found = FT_NEW_ARRAY(a, FT_WEEKS_FOUND_MAX, struct ft_weeks_found) };
	if (!ret->found)
		return ft_fail_memory(e, "the weeks after");
	for (size_t i = 0; i < FT_WEEKS_FACTS; i++)
		fact[i] = FT_ABSENT;
	fact[FT_WEEKS_FROM] = r->handed_us;
	fact[FT_WEEKS_UNTIL] = now_us;
	fact[FT_WEEKS_READS_EXPECTED] = (int64_t)r->since_expected;
	fact[FT_WEEKS_READS_ARRIVED] = (int64_t)r->since_arrived;
	fact[FT_WEEKS_FIRST_READ] = r->since_first_us;
	fact[FT_WEEKS_LAST_READ] = r->since_first_us == FT_ABSENT ? FT_ABSENT : r->last_us;
	fact[FT_WEEKS_SOLD] = r->since_sold;
	fact[FT_WEEKS_SOLD_VALUE] = r->since_value;
	fact[FT_WEEKS_DECIMALS] = r->decimals;
	if (told.counts) {
		fact[FT_WEEKS_CASH_UNTIL] = now_us;
		cash_facts(r, fact);
	} else {
		take_over(fact, before, FT_WEEKS_CASH_UNTIL, FT_WEEKS_CASH_COUNTED);
	}
	if (told.doors) {
		fact[FT_WEEKS_DOORS_UNTIL] = now_us;
		fact[FT_WEEKS_OPENINGS] = (int64_t)r->since_openings;
	} else {
		take_over(fact, before, FT_WEEKS_DOORS_UNTIL, FT_WEEKS_OPENINGS);
	}
	if (told.degrees) {
		fact[FT_WEEKS_DEGREES_UNTIL] = now_us;
		fact[FT_WEEKS_DEGREES] = (int64_t)r->since_degrees;
	} else {
		take_over(fact, before, FT_WEEKS_DEGREES_UNTIL, FT_WEEKS_DEGREES);
	}
	s = put_exceptions(r, now_us, ret, a, e);
	for (size_t i = 0; s == FT_OK && before && i < before->found_count; i++)
		if (!judged(before->found[i].rule, told))
			put_found(ret, before->found[i]);
	return s;
}

/* ---- writing ---- */

static const char *time_of(int64_t us, char out[FT_TIME_TEXT])
{
	if (us == FT_ABSENT)
		return "";
	ft_time_text(us, 0, out);
	out[19] = 0; /* nobody said with what offset */
	return out;
}

static void row(struct ft_buf *out, const char *const field[COLUMNS])
{
	for (int i = 0; i < COLUMNS; i++) {
		if (i)
			ft_buf_byte(out, ',');
		if (field[i])
			ft_csv_put(out, ft_slice_of(field[i]));
	}
	ft_buf_byte(out, '\n');
}

void ft_weeks_write(const struct ft_weeks *w, struct ft_buf *out)
{
	char text[FT_TIME_TEXT], since[FT_TIME_TEXT], number[24];

	ft_buf_printf(out, "%s\n", heading);
	row(out, (const char *const[COLUMNS]){ [WHAT] = "machine", [VALUE] = w->machine });
	row(out, (const char *const[COLUMNS]){ [WHAT] = "currency", [VALUE] = w->currency });
	for (size_t i = 0; i < FT_WEEKS_FACTS; i++) {
		if (w->fact[i] == FT_ABSENT)
			continue;
		snprintf(number, sizeof number, "%lld", (long long)w->fact[i]);
		row(out,
		    (const char *const[COLUMNS]){
				[WHAT] = facts[i].word, [VALUE] = facts[i].time ? time_of(w->fact[i], text) : number });
	}
	for (size_t i = 0; i < w->found_count; i++) {
		const struct ft_weeks_found *x = &w->found[i];
		row(out,
		    (const char *const[COLUMNS]){ [WHAT] = ft_rule(x->rule)->id,
		                                  [SELECTION] = x->selection,
		                                  [SINCE] = time_of(x->since_us, since),
		                                  [SEEN_AT] = time_of(x->seen_us, text),
		                                  [SEEN] = x->seen,
		                                  [EXPECTED] = x->expected,
		                                  [SHOWN_BY] = x->file });
	}
}

/* ---- and back ---- */

bool ft_weeks_is(struct ft_slice bytes)
{
	return bytes.n >= sizeof heading - 1 && memcmp(bytes.p, heading, sizeof heading - 1) == 0;
}

static const char *text_in(const struct ft_csv_row *r, int column, struct ft_arena *a)
{
	struct ft_slice s = ft_csv_field(r, column);

	return s.n ? ft_arena_text(a, s) : NULL;
}

static bool time_in(struct ft_slice s, int64_t *ret)
{
	*ret = FT_ABSENT;
	return !s.n || ft_time_parse(s, 0, ret);
}

static bool read_fact(const struct ft_csv_row *r, struct ft_weeks *w)
{
	struct ft_slice what = ft_csv_field(r, WHAT), value = ft_csv_field(r, VALUE);

	for (size_t i = 0; i < FT_WEEKS_FACTS; i++)
		if (ft_slice_is(what, facts[i].word))
			return facts[i].time ? time_in(value, &w->fact[i]) : ft_slice_i64(value, &w->fact[i]);
	return true; /* of a later version */
}

static bool read_found(const struct ft_csv_row *r, struct ft_arena *a, struct ft_weeks *w)
{
	struct ft_weeks_found x = { .rule = FT_RULE_NONE };

	for (int i = 0; i < FT_RULE_COUNT && x.rule == FT_RULE_NONE; i++)
		if (ft_slice_is(ft_csv_field(r, WHAT), ft_rule((enum ft_rule_id)i)->id))
			x.rule = (enum ft_rule_id)i;
	if (x.rule == FT_RULE_NONE || ft_weeks_claim_of(x.rule) == FT_WEEKS_NONE)
		return true;
	x.selection = text_in(r, SELECTION, a);
	x.seen = text_in(r, SEEN, a);
	x.expected = text_in(r, EXPECTED, a);
	x.file = text_in(r, SHOWN_BY, a);
	if (!time_in(ft_csv_field(r, SINCE), &x.since_us) || !time_in(ft_csv_field(r, SEEN_AT), &x.seen_us))
		return false;
	return put_found(w, x);
}

enum ft_status ft_weeks_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_weeks *ret,
                             struct ft_error *e)
{
	struct ft_csv c = { 0 };
	enum ft_status s = ft_weeks_is(bytes)
		? ft_csv_read(bytes, what, a, &c, e)
		: ft_fail(e, FT_E_INPUT, "%s is no table of the weeks after; fettle watch makes it.", what);

	if (s != FT_OK)
		return s;
	*ret = (struct ft_weeks){ .machine = "",
		                      .currency = "",
		                      .found = FT_NEW_ARRAY(a, FT_WEEKS_FOUND_MAX, struct ft_weeks_found) };
	if (!ret->found)
		return ft_fail_memory(e, "the weeks after");
	for (size_t i = 0; i < FT_WEEKS_FACTS; i++)
		ret->fact[i] = FT_ABSENT;
	for (size_t i = 0; i < c.count; i++) {
		const struct ft_csv_row *r = &c.rows[i];
		struct ft_slice word = ft_csv_field(r, WHAT);
		const char *value = text_in(r, VALUE, a);
		if (ft_slice_is(word, "machine"))
			ret->machine = value ? value : "";
		else if (ft_slice_is(word, "currency"))
			ret->currency = value ? value : "";
		else if (!read_fact(r, ret) || !read_found(r, a, ret))
			return ft_fail(e, FT_E_INPUT, "%s, line %u, is not as fettle watch writes it; let it be made anew.", what,
			               r->line);
	}
	return a->failed ? ft_fail_memory(e, "the weeks after") : FT_OK;
}
