/* SPDX-License-Identifier: Apache-2.0 */
/* One machine, read by read: who it is, what is prepared for the rules, and what is raised. */
#include <math.h>
#include <stdlib.h>

#include "room.h"

static int by_number(const void *x, const void *y)
{
	double a = *(const double *)x, b = *(const double *)y;

	return a < b ? -1 : a > b;
}

bool watch_median(double *list, size_t n, double *ret)
{
	if (!n)
		return false;
	qsort(list, n, sizeof *list, by_number);
	*ret = n % 2 ? list[n / 2] : (list[n / 2 - 1] + list[n / 2]) / 2;
	return true;
}

const char *watch_money(struct ft_watch_result *r, int64_t minor)
{
	char text[FT_MONEY_TEXT];
	const char *s = ft_arena_printf(r->arena, "%s%s%s", ft_money_text(minor, r->decimals, text),
	                                *r->currency ? " " : "", r->currency);

	return s ? s : "?";
}

const char *watch_day(struct ft_watch_result *r, int64_t at_us)
{
	struct ft_civil c = ft_civil_of(at_us, 0);
	const char *s = ft_arena_printf(r->arena, "%04d-%02d-%02d", c.year, c.month, c.day);

	return s ? s : "?";
}

const char *watch_file(struct ft_watch_result *r, const struct ft_watch_read *x)
{
	return ft_arena_text(r->arena, x->text[FT_WATCH_FILE]);
}

struct ft_exception *ft_watch_raise(struct ft_watch_result *r, enum ft_rule_id rule, const char *selection,
                                    int64_t since_us, int64_t seen_us)
{
	static _Thread_local struct ft_exception spare;
	struct ft_exception *grown =
		ft_arena_grow(r->arena, r->exceptions, r->exception_count, &r->exception_room, sizeof *grown);
	struct ft_exception *x = &spare;

	if (grown) {
		r->exceptions = grown;
		x = &grown[r->exception_count++];
	} else {
		r->failed = true;
	}
	*x = (struct ft_exception){ .rule = rule,
		                        .selection = selection,
		                        .since_us = since_us,
		                        .seen_us = seen_us,
		                        .ended_us = FT_NEVER,
		                        .money = FT_ABSENT,
		                        .sure = 1 };
	return x;
}

/* ---- how they are listed and ranked (data/watch-kinds.csv) ---- */

struct kind {
	enum ft_rule_id rule;
	bool lasts;
	int days, risk;
	enum ft_weeks_claim claim;
	enum ft_stake stake;
};

static const struct kind kinds[] = {
#define YES true
#define NO  false
#define ROW(ident, rule, lasts, days, risk, claim, money, ...) \
	{ FT_RULE_##rule, lasts, days, risk, FT_WEEKS_##claim, FT_STAKE_##money },
#include "watch-kinds.inc"
#undef ROW
#undef YES
#undef NO
};

static const struct kind *kind_of(enum ft_rule_id rule)
{
	static const struct kind none = { FT_RULE_NONE, false, WATCH_POINT_DAYS, 0, FT_WEEKS_NONE, FT_STAKE_NOTHING };

	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (kinds[i].rule == rule)
			return &kinds[i];
	return &none;
}

enum ft_weeks_claim ft_weeks_claim_of(enum ft_rule_id rule)
{
	return kind_of(rule)->claim;
}

enum ft_stake ft_stake_of(enum ft_rule_id rule)
{
	return kind_of(rule)->stake;
}

const char *ft_stake_word(enum ft_stake s)
{
	static const char *const words[] = { "", "once", "a week" };

	return words[s];
}

bool ft_exception_open(const struct ft_exception *x, int64_t now_us)
{
	const struct kind *k = kind_of(x->rule);

	if (x->ended_us <= now_us)
		return false;
	return k->lasts || x->seen_us >= now_us - k->days * FT_DAY;
}

double ft_exception_rank(const struct ft_exception *x, int decimals)
{
	double unit = pow(10, decimals);
	double money = x->money == FT_ABSENT ? 0 : fabs((double)x->money) / unit;

	return (money + kind_of(x->rule)->risk) * x->sure;
}

/* ---- preparing ---- */

static const char *keep(struct ft_watch_result *r, struct ft_slice s)
{
	const char *t = ft_arena_text(r->arena, s);

	return t ? t : "";
}

static void identify(struct ft_watch_result *r, const char *key, const struct ft_watch_read *reads, size_t count)
{
	const struct ft_watch_read *last = &reads[count - 1];

	r->key = keep(r, ft_slice_of(key));
	r->serial = keep(r, last->text[FT_WATCH_SERIAL]);
	r->model = keep(r, last->text[FT_WATCH_MODEL]);
	r->name = keep(r, ft_watch_name(last->text[FT_WATCH_FILE]));
	r->asset = r->currency = "";
	for (size_t i = count; i-- > 0;) {
		if (!*r->asset && reads[i].text[FT_WATCH_ASSET].n)
			r->asset = keep(r, reads[i].text[FT_WATCH_ASSET]);
		if (!*r->currency && reads[i].text[FT_WATCH_CURRENCY].n)
			r->currency = keep(r, reads[i].text[FT_WATCH_CURRENCY]);
	}
	if (!*r->asset) /* units may be exchanged later on: the first name is where it stands */
		r->asset = keep(r, ft_watch_name(reads[0].text[FT_WATCH_FILE]));
	r->decimals = last->number[FT_WATCH_DECIMALS] >= 0 && last->number[FT_WATCH_DECIMALS] <= FT_AUDIT_DECIMALS_MAX
		? (int)last->number[FT_WATCH_DECIMALS]
		: 2;
}

static int id_of(struct watch_walk *w, struct ft_slice id, size_t guess)
{
	if (guess < w->id_count && ft_slice_eq(w->ids[guess], id))
		return (int)guess;
	for (size_t i = 0; i < w->id_count; i++)
		if (ft_slice_eq(w->ids[i], id))
			return (int)i;
	return -1;
}

/* All selections of all reads, and where each read holds them. */
static bool index_cells(struct watch_walk *w)
{
	size_t room = 0;

	for (size_t i = 0; i < w->count; i++)
		for (size_t k = 0; k < w->reads[i].cell_count; k++) {
			struct ft_slice *grown;
			if (i && k < w->reads[i - 1].cell_count && w->reads[i].cells[k].id.p == w->reads[i - 1].cells[k].id.p)
				continue; /* the stream shares what did not change */
			if (id_of(w, w->reads[i].cells[k].id, k) >= 0 || w->id_count >= FT_WATCH_CELLS_MAX)
				continue;
			grown = ft_arena_grow(w->scratch, w->ids, w->id_count, &room, sizeof *grown);
			if (!grown)
				return false;
			w->ids = grown;
			w->ids[w->id_count++] = w->reads[i].cells[k].id;
		}
	w->cell_of = ft_arena_raw(w->scratch, (w->count * w->id_count + 1) * sizeof *w->cell_of);
	w->sold = ft_arena_raw(w->scratch, (w->count + 1) * sizeof *w->sold);
	w->sold_each = ft_arena_raw(w->scratch, (w->count * w->id_count + 1) * sizeof *w->sold_each);
	w->visited = FT_NEW_ARRAY(w->scratch, w->count + 1, bool);
	if (!w->cell_of || !w->sold || !w->sold_each || !w->visited)
		return false;
	memset(w->cell_of, 0xff, w->count * w->id_count * sizeof *w->cell_of);
	for (size_t i = 0; i < w->count; i++)
		for (size_t k = 0; k < w->reads[i].cell_count; k++) {
			int id = id_of(w, w->reads[i].cells[k].id, k);
			if (id >= 0 && w->cell_of[i * w->id_count + (size_t)id] < 0)
				w->cell_of[i * w->id_count + (size_t)id] = (int32_t)k;
		}
	return true;
}

static bool rose(const struct ft_watch_read *a, const struct ft_watch_read *b, enum ft_watch_number n)
{
	return a->number[n] != FT_ABSENT && b->number[n] != FT_ABSENT && b->number[n] > a->number[n];
}

static void add_visit(struct ft_watch_result *r, int64_t from_us, int64_t at_us, bool sure)
{
	struct ft_visit_seen *grown = ft_arena_grow(r->arena, r->visits, r->visit_count, &r->visit_room, sizeof *grown);

	r->failed |= !grown;
	if (!grown)
		return;
	r->visits = grown;
	grown[r->visit_count++] = (struct ft_visit_seen){ from_us, at_us, sure };
}

/* Somebody was at the machine: filled, tried, opened, took coins out by hand; a reset where reads do not reset. */
static void find_visits(struct watch_walk *w)
{
	struct ft_watch_result *r = w->r;
	size_t resets = 0;

	for (size_t i = 1; i < w->count; i++)
		resets += rose(&w->reads[i - 1], &w->reads[i], FT_WATCH_RESETS);
	r->visits_told = w->reads[0].number[FT_WATCH_TESTS] != FT_ABSENT ||
		w->reads[0].number[FT_WATCH_DOOR_COUNT] != FT_ABSENT || resets * 2 < w->count;
	for (size_t i = 1; i < w->count; i++) {
		const struct ft_watch_read *a = &w->reads[i - 1], *b = &w->reads[i];
		bool anew = w->visited[i];
		w->visited[i] |= rose(a, b, FT_WATCH_FILLED) || rose(a, b, FT_WATCH_TESTS) || rose(a, b, FT_WATCH_DOOR_COUNT) ||
			rose(a, b, FT_WATCH_BY_HAND) || (rose(a, b, FT_WATCH_RESETS) && resets * 2 < w->count);
		if (w->visited[i])
			add_visit(r, a->at_us, b->at_us, !anew);
	}
}

static bool count_days(struct watch_walk *w, const struct ft_watch_read *all, size_t count)
{
	struct ft_watch_result *r = w->r;
	int64_t first = all[0].at_us / FT_DAY, last = w->now_us / FT_DAY;
	double every;

	if (last < all[count - 1].at_us / FT_DAY)
		last = all[count - 1].at_us / FT_DAY;
	r->day_count = last - first < 4000 ? (size_t)(last - first + 1) : 4000; /* ours: eleven years are enough */
	r->days = FT_NEW_ARRAY(r->arena, r->day_count, struct ft_watch_day);
	if (!r->days)
		return false;
	for (size_t i = 0; i < r->day_count; i++)
		r->days[i].day = (int32_t)(first + (int64_t)i);
	for (size_t i = 0; i < count; i++) {
		size_t d = (size_t)(all[i].at_us / FT_DAY - first);
		if (d >= r->day_count)
			continue;
		if (all[i].flags & FT_WATCH_PART)
			r->days[d].part += r->days[d].part < UINT16_MAX;
		else
			r->days[d].arrived += r->days[d].arrived < UINT16_MAX;
	}
	if (!r->period_us)
		return true;
	every = (double)r->period_us / (double)FT_DAY;
	r->expected = 0;
	every = every > 1 ? every : 1;
	for (; (double)r->expected * every < (double)r->day_count - 0.5; r->expected++) {
		size_t at = (size_t)((double)r->expected * every + 0.5);
		r->days[at < r->day_count ? at : r->day_count - 1].expected = true;
	}
	for (size_t i = 0; i < r->day_count; i++)
		r->arrived += r->days[i].arrived > 0;
	if (r->arrived > r->expected)
		r->expected = r->arrived;
	return true;
}

static size_t set_parts_aside(struct ft_watch_read *reads, size_t count, struct ft_watch_read *whole,
                              struct ft_watch_result *r)
{
	size_t n = 0;

	for (size_t i = 0; i < count; i++) {
		bool bad = (reads[i].flags & (FT_WATCH_PART | FT_WATCH_BAD_CHECK)) != 0;
		r->parts += bad;
		if (bad) {
			struct ft_exception *x = ft_watch_raise(r, FT_RULE_WATCH_PART_READ, NULL, reads[i].at_us, reads[i].at_us);
			x->seen = reads[i].flags & FT_WATCH_PART ? "an audit ends before its end"
													 : "an audit does not fit its check value";
			x->after = watch_file(r, &reads[i]);
		} else {
			whole[n++] = reads[i];
		}
	}
	return n;
}

static bool walk(struct watch_walk *w, struct ft_watch_read *reads, size_t count)
{
	struct ft_watch_read *whole = ft_arena_raw(w->scratch, (count + 1) * sizeof *whole);

	if (!whole)
		return false;
	w->count = set_parts_aside(reads, count, whole, w->r);
	w->reads = whole;
	watch_arrivals(w);
	if (!count_days(w, reads, count))
		return false;
	if (!w->count)
		return true;
	if (!index_cells(w) || !watch_counters(w))
		return false;
	watch_handover(w);
	find_visits(w);
	if (!watch_sales(w) || !watch_box(w))
		return false;
	watch_clock(w);
	watch_outages(w);
	watch_prices(w);
	return true;
}

static struct ft_watch_result nothing_yet(const struct ft_baseline *base, struct ft_arena *a)
{
	return (struct ft_watch_result){ .arena = a,
		                             .cash_variance = FT_ABSENT,
		                             .decimals = 2,
		                             .handed_us = base ? base->at_us : FT_ABSENT,
		                             .since_first_us = FT_ABSENT,
		                             .since_sold = FT_ABSENT,
		                             .since_value = FT_ABSENT };
}

void ft_watch_silent(const char *key, const struct ft_baseline *base, int64_t now_us, struct ft_arena *a,
                     struct ft_watch_result *ret)
{
	const int64_t due = base->at_us + (int64_t)(WATCH_MISSING_PERIODS * (double)FT_DAY);
	struct ft_exception *x;

	*ret = nothing_yet(base, a);
	ret->key = keep(ret, ft_slice_of(key));
	ret->asset = base->asset;
	ret->serial = ret->model = ret->name = ret->currency = "";
	ret->handover = base->name;
	if (now_us <= due)
		return;
	x = ft_watch_raise(ret, FT_RULE_WATCH_READS_MISSING, NULL, base->at_us, due);
	x->seen = ft_arena_printf(a, "no audit since %s", watch_day(ret, base->at_us));
	x->expected = ft_arena_printf(a, "one a day since it was handed over (%s)", base->name);
}

enum ft_status ft_watch_judge(const char *key, struct ft_watch_read *reads, size_t count,
                              const struct ft_baseline *base, int64_t now_us, struct ft_arena *a,
                              struct ft_watch_result *ret, struct ft_error *e)
{
	struct ft_arena scratch = { 0 };
	struct watch_walk w = {
		.r = ret, .scratch = &scratch, .base = base, .now_us = now_us, .as = "as before", .than = "before"
	};
	bool good;

	*ret = nothing_yet(base, a);
	if (!count)
		return ft_fail(e, FT_E_INTERNAL, "A machine without reads cannot be watched.");
	ret->reads = count;
	count = ret->kept = watch_order(reads, count, ret);
	identify(ret, key, reads, count);
	ret->first_us = reads[0].at_us;
	ret->last_us = reads[count - 1].at_us;
	good = walk(&w, reads, count) && !ret->failed && !a->failed && !scratch.failed;
	ft_arena_done(&scratch);
	return good ? FT_OK : ft_fail_memory(e, "watching a machine");
}

bool ft_watch_runs(const struct ft_watch_read *reads, size_t count, size_t machine, struct ft_arena *a,
                   struct ft_name_run **list, size_t *list_count, size_t *room)
{
	struct ft_slice under = { NULL, 0 };

	for (size_t i = 0; i < count; i++) {
		struct ft_slice name = ft_watch_name(reads[i].text[FT_WATCH_FILE]);
		struct ft_name_run *grown;
		if (under.p && ft_slice_eq(name, under)) {
			(*list)[*list_count - 1].last_us = reads[i].at_us;
			(*list)[*list_count - 1].count++;
			continue;
		}
		under = name;
		grown = ft_arena_grow(a, *list, *list_count, room, sizeof *grown);
		if (!grown)
			return false;
		*list = grown;
		grown[(*list_count)++] =
			(struct ft_name_run){ ft_arena_text(a, name), machine, reads[i].at_us,
			                      reads[i].at_us,         1,       ft_arena_text(a, reads[i].text[FT_WATCH_FILE]) };
	}
	return !a->failed;
}
