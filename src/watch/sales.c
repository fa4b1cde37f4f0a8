/* SPDX-License-Identifier: Apache-2.0 */
/* What sells, what stopped, and whether that can be chance.
 *
 * Time is measured in what it is worth: hours of the week weigh what they sold so far, mixed with an even rhythm worth
 * WATCH_PRIOR_HOURS, so that a machine of a few days is not believed to rest on Sundays. A selection's silence is held
 * against its own rate over such time, and against the machine's other sales in the same silence; only when neither
 * explains it by chance (exact conditional test, times the number of selections) it is raised. */
#include <math.h>

#include "room.h"

enum { WEEK_HOURS = 168 };

struct rhythm {
	double sold[WEEK_HOURS], hours[WEEK_HOURS];
	double all_sold, all_hours;
	double weight[WEEK_HOURS]; /* of an hour, 1 on average; renewed now and then */
	bool stale;
};

struct item {
	double x, own, others;          /* sales so far, and the exposures they came in; older ones fade */
	double quiet_own, quiet_others; /* since the last sale */
	int64_t sold_us;                /* the read before the silence; 0: never sold */
	size_t sold_read;
	int64_t since_visit, most_between; /* sold since the last visit; the most ever between two */
	int64_t all;                       /* ever, nothing faded */
	bool ever, out;
	size_t open; /* index + 1 of the exception that lasts, 0: none: the list moves when it grows */
};

struct shop {
	struct watch_walk *w;
	struct rhythm rhythm;
	struct item *items;
	double total, total_own; /* machine-wide */
	int64_t all;             /* sold by the machine, nothing faded */
	size_t never;            /* selections that did not sell yet */
	int64_t base;            /* what all selections had sold by the handover; 0: there is none */
	double quiet;
	size_t quiet_from;
	size_t open;
};

static size_t hour_of(int64_t at_us)
{
	int64_t h = at_us / (3600 * FT_SECOND) % WEEK_HOURS;

	return (size_t)(h < 0 ? h + WEEK_HOURS : h);
}

static void weigh(struct rhythm *t)
{
	double mean = t->all_hours > 0 ? t->all_sold / t->all_hours : 0;
	double prior = WATCH_PRIOR_HOURS / WEEK_HOURS;

	for (size_t h = 0; h < WEEK_HOURS; h++)
		t->weight[h] = mean > 0 ? (t->sold[h] + prior * mean) / ((t->hours[h] + prior) * mean) : 1;
	t->stale = false;
}

/* Calls for each hour of an interval with the share of it that lies inside; long silences are cut at four weeks. */
static double exposure(struct rhythm *t, int64_t from, int64_t to)
{
	double sum = 0;

	if (t->stale)
		weigh(t);
	if (to - from > 28 * FT_DAY)
		from = to - 28 * FT_DAY;
	for (int64_t at = from; at < to;) {
		int64_t next = (at / (3600 * FT_SECOND) + 1) * (3600 * FT_SECOND);
		if (next > to)
			next = to;
		sum += t->weight[hour_of(at)] * (double)(next - at) / 3600e6;
		at = next;
	}
	return sum;
}

/* The sales of an interval are spread over it; short intervals tell the hour, daily ones the day of the week. */
static void learn(struct rhythm *t, int64_t from, int64_t to, double sold)
{
	double span = (double)(to - from);

	if (span <= 0 || to - from > 7 * FT_DAY)
		return;
	for (int64_t at = from; at < to;) {
		int64_t next = (at / (3600 * FT_SECOND) + 1) * (3600 * FT_SECOND);
		size_t h = hour_of(at);
		if (next > to)
			next = to;
		t->sold[h] += sold * (double)(next - at) / span;
		t->hours[h] += (double)(next - at) / 3600e6;
		at = next;
	}
	t->all_sold += sold;
	t->all_hours += span / 3600e6;
	t->stale = true;
}

/* P(no sale in `quiet`) after x sales in `seen`: the conditional test at nothing seen. */
static double chance_of_none(double x, double seen, double quiet)
{
	return x > 0 && seen > 0 && quiet > 0 ? exp(x * log(seen / (seen + quiet))) : 1;
}

static int64_t value_of(const struct watch_walk *w, size_t read, size_t s)
{
	int32_t k = w->cell_of[read * w->id_count + s];

	return k < 0 || w->reads[read].cells[k].price == FT_ABSENT ? 0 : w->reads[read].cells[k].price;
}

static void end(struct shop *p, size_t *open, int64_t at_us)
{
	if (*open)
		p->w->r->exceptions[*open - 1].ended_us = at_us;
	*open = 0;
}

static size_t last_raised(struct shop *p, const struct ft_exception *x)
{
	struct ft_watch_result *r = p->w->r;

	return r->exception_count && x == &r->exceptions[r->exception_count - 1] ? r->exception_count : 0;
}

/* Sold out: the machine says so, or as much was sold since the last visit as ever went between two. */
static bool sold_out(const struct item *t)
{
	return t->out || (t->most_between >= 5 && t->since_visit >= t->most_between);
}

static void raise_stopped(struct shop *p, size_t s, size_t i, double chance)
{
	struct watch_walk *w = p->w;
	struct ft_watch_result *r = w->r;
	struct item *t = &p->items[s];
	const char *id = ft_arena_text(r->arena, w->ids[s]);
	bool out = sold_out(t);
	double week = t->own > 0 ? t->x / t->own * WEEK_HOURS : 0;
	struct ft_exception *x = ft_watch_raise(r, out ? FT_RULE_WATCH_SOLD_OUT : FT_RULE_WATCH_SELECTION_STOPPED, id,
	                                        t->sold_us, w->reads[i].at_us);

	x->money = (int64_t)(week * (double)value_of(w, i, s));
	x->sure = 1 - chance;
	x->seen = ft_arena_printf(r->arena, "selection %s sold nothing since %s%s", id, watch_day(r, t->sold_us),
	                          t->out    ? ", and the machine says that it is sold out"
	                              : out ? ", after as many as ever went between two visits"
	                                    : "");
	x->expected = ft_arena_printf(r->arena, "%.1f by its own rate; by chance once in %.0f",
	                              t->x / t->own * t->quiet_own, 1 / fmax(chance, 1e-12));
	x->before = watch_file(r, &w->reads[t->sold_read]);
	x->after = watch_file(r, &w->reads[i]);
	t->open = last_raised(p, x);
}

static const struct ft_watch_cell *handed_cell(const struct watch_walk *w, size_t s)
{
	const struct ft_watch_read *x = w->handed < w->count ? w->base->read : NULL;

	for (size_t k = 0; x && k < x->cell_count; k++)
		if (ft_slice_eq(x->cells[k].id, w->ids[s]))
			return x->cells[k].count > 0 ? &x->cells[k] : NULL;
	return NULL;
}

/* What sold before the fit sells after it, if not as well: the conditional test on its share of the machine's sales. */
static double chance_since_handed(const struct shop *p, const struct ft_watch_cell *before)
{
	return chance_of_none((double)before->count, WATCH_NEVER_WORSE * (double)p->base, (double)p->all);
}

/* A rate that nothing is known of but what the others sell: a gamma as wide as they differ. False: too few sell. */
static bool chance_by_others(const struct shop *p, double *ret, double *ret_mean)
{
	double sum = 0, squares = 0, n = 0, mean, spread, shape;

	for (size_t s = 0; s < p->w->id_count; s++)
		if (p->items[s].ever) {
			sum += (double)p->items[s].all;
			squares += (double)p->items[s].all * (double)p->items[s].all;
			n++;
		}
	if (n < 4)
		return false;
	mean = sum / n;
	spread = squares / n - mean * mean - mean; /* beyond what chance spreads */
	shape = spread > 0 ? fmin(mean * mean / spread, WATCH_NEVER_SHAPE) : WATCH_NEVER_SHAPE;
	*ret = exp(-shape * log1p(mean / shape));
	*ret_mean = mean;
	return true;
}

static void raise_never(struct shop *p, size_t s, size_t i, double chance, double usual, const char *as)
{
	struct watch_walk *w = p->w;
	const char *id = ft_arena_text(w->r->arena, w->ids[s]);
	int64_t since = w->handed == 0 && w->base ? w->base->at_us : w->reads[0].at_us;
	double weeks = fmax((double)(w->reads[i].at_us - since), (double)FT_DAY) / (7 * (double)FT_DAY);
	struct ft_exception *x = ft_watch_raise(w->r, FT_RULE_WATCH_NEVER_SOLD, id, since, w->reads[i].at_us);

	x->money = (int64_t)(usual / weeks * (double)value_of(w, i, s));
	x->sure = 1 - chance;
	x->seen = ft_arena_printf(w->r->arena, "selection %s never sold since %s", id, watch_day(w->r, since));
	x->expected = ft_arena_printf(w->r->arena, "%.0f, as %s; is it mapped rightly", usual, as);
	x->after = watch_file(w->r, &w->reads[i]);
	p->items[s].open = last_raised(p, x);
}

static void look_for_never(struct shop *p, size_t i)
{
	struct watch_walk *w = p->w;
	double others = 1, mean = 0, many = (double)w->id_count;
	bool known = p->never && chance_by_others(p, &others, &mean);

	for (size_t s = 0; p->never && s < w->id_count; s++) {
		const struct item *t = &p->items[s];
		const struct ft_watch_cell *before;
		double chance;
		/* what has no price is not for sale */
		if (t->ever || t->open || t->quiet_others <= 0 || !value_of(w, i, s))
			continue;
		before = handed_cell(w, s);
		chance = before ? chance_since_handed(p, before) * many : 1;
		if (chance <= WATCH_NEVER_CHANCE)
			raise_never(p, s, i, chance, (double)before->count / (double)p->base * (double)p->all, "before the fit");
		else if (!before && known && others * many <= WATCH_NEVER_CHANCE)
			raise_never(p, s, i, others * many, mean, "the others on average");
	}
}

/* What was sold between the handover and the first read after it, where nothing was read before. */
static void sold_since_handed(struct shop *p)
{
	struct watch_walk *w = p->w;

	if (!w->base || w->handed || !w->count)
		return;
	for (size_t k = 0; k < w->base->read->cell_count; k++)
		if (w->base->read->cells[k].count > 0)
			p->base = watch_add(p->base, w->base->read->cells[k].count);
	for (size_t s = 0; s < w->id_count; s++) {
		const struct ft_watch_cell *before = handed_cell(w, s);
		int32_t k = w->cell_of[s];
		int64_t now = k < 0 ? FT_ABSENT : w->reads[0].cells[k].count;
		p->items[s].ever = now != FT_ABSENT && now > (before ? before->count : 0);
		p->never -= p->items[s].ever;
	}
}

static void fade(struct shop *p, double days)
{
	double keep = exp(-days / WATCH_FORGET_DAYS);

	p->total *= keep;
	p->total_own *= keep;
	for (size_t s = 0; s < p->w->id_count; s++) {
		p->items[s].x *= keep;
		p->items[s].own *= keep;
		p->items[s].others *= keep;
	}
}

static void step_item(struct shop *p, size_t s, size_t i, double own, double all)
{
	struct watch_walk *w = p->w;
	struct item *t = &p->items[s];
	int64_t sold = w->sold_each[i * w->id_count + s];
	int32_t k = w->cell_of[i * w->id_count + s];
	double own_p, others_p, chance, limit;

	if (k < 0)
		return;
	t->out = w->reads[i].cells[k].out;
	limit =
		t->out ? WATCH_OUT_CHANCE : WATCH_STOP_CHANCE; /* the machine's own word and the figures need less together */
	if (w->visited[i]) {
		if (t->since_visit > t->most_between)
			t->most_between = t->since_visit;
		t->since_visit = 0;
	}
	if (sold == FT_ABSENT)
		return;
	t->quiet_own += own;
	t->quiet_others += all - (double)sold;
	if (sold > 0) {
		t->x += (double)sold;
		t->own += t->quiet_own;
		t->others += t->quiet_others;
		t->quiet_own = t->quiet_others = 0;
		t->all = watch_add(t->all, sold);
		p->never -= !t->ever;
		t->ever = true;
		t->sold_us = w->reads[i].at_us;
		t->sold_read = i;
		t->since_visit = watch_add(t->since_visit, sold);
		end(p, &t->open, w->reads[i].at_us);
		return;
	}
	if (!t->ever || t->open)
		return;
	own_p = chance_of_none(t->x, t->own, t->quiet_own);
	if (own_p * (double)w->id_count > limit)
		return;
	others_p = chance_of_none(t->x, t->others, t->quiet_others);
	chance = fmax(own_p, others_p) * (double)w->id_count;
	if (chance <= limit)
		raise_stopped(p, s, i, chance);
}

/* A machine that sells nothing at all. */
static void step_machine(struct shop *p, size_t i, double own, double sold)
{
	struct watch_walk *w = p->w;
	struct ft_watch_result *r = w->r;
	double chance;
	struct ft_exception *x;

	if (sold > 0) {
		p->total += sold;
		p->total_own += p->quiet + own;
		p->quiet = 0;
		p->quiet_from = i;
		end(p, &p->open, w->reads[i].at_us);
		return;
	}
	p->quiet += own;
	chance = chance_of_none(p->total, p->total_own, p->quiet);
	if (p->open || chance > WATCH_MACHINE_CHANCE)
		return;
	/* whoever saw no more than two weekends does not know how quiet they are */
	if (w->reads[i].at_us - w->reads[0].at_us < WATCH_WEEKS_US &&
	    w->reads[i].at_us - w->reads[p->quiet_from].at_us < WATCH_WEEKEND_US)
		return;
	x = ft_watch_raise(r, FT_RULE_WATCH_MACHINE_STOPPED, NULL, w->reads[p->quiet_from].at_us, w->reads[i].at_us);
	x->money = r->week_value;
	x->sure = 1 - chance;
	x->seen = ft_arena_printf(r->arena, "nothing was sold since %s", watch_day(r, w->reads[p->quiet_from].at_us));
	x->expected = ft_arena_printf(r->arena, "%.0f sales by its own rate", p->total / p->total_own * p->quiet);
	x->before = watch_file(r, &w->reads[p->quiet_from]);
	x->after = watch_file(r, &w->reads[i]);
	p->open = last_raised(p, x);
}

bool watch_sales(struct watch_walk *w)
{
	struct shop *p = FT_NEW(w->scratch, struct shop);

	if (p)
		p->items = FT_NEW_ARRAY(w->scratch, w->id_count + 1, struct item);
	if (!p || !p->items)
		return false;
	p->w = w;
	p->rhythm.stale = true;
	p->never = w->id_count;
	sold_since_handed(p);
	for (size_t i = 1; i < w->count; i++) {
		int64_t from = w->reads[i - 1].at_us, to = w->reads[i].at_us;
		double own, sold;
		if (w->sold[i] == FT_ABSENT || to <= from)
			continue;
		own = exposure(&p->rhythm, from, to);
		sold = (double)w->sold[i];
		fade(p, (double)(to - from) / (double)FT_DAY);
		for (size_t s = 0; s < w->id_count; s++)
			step_item(p, s, i, own, sold);
		step_machine(p, i, own, sold);
		p->all = watch_add(p->all, w->sold[i]);
		if (sold > 0 || !p->open)
			learn(&p->rhythm, from, to, sold);
		look_for_never(p, i);
	}
	return true;
}
