/* SPDX-License-Identifier: Apache-2.0 */
/* What the readings of each position amount to. */
#include <math.h>
#include <stdlib.h>

#include "room.h"

enum limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "signal-limits.inc"
#undef ROW
};

/* An open interval counts as one step wide: the level lies there or beyond. */
static double middle(const struct ft_signal_sample *s)
{
	if (isinf(s->low))
		return s->high - 0.5;
	return isinf(s->high) ? s->low + 0.5 : (s->low + s->high) / 2;
}

static double width(const struct ft_signal_sample *s)
{
	return isinf(s->low) || isinf(s->high) ? 1 : s->high - s->low;
}

static int by_value(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return x < y ? -1 : x > y;
}

static void summarise(struct ft_signal_place *p, double *values, size_t n, double step)
{
	double sum = 0, squares = 0;

	p->count = n;
	if (!n)
		return;
	qsort(values, n, sizeof *values, by_value);
	for (size_t i = 0; i < n; i++)
		sum += values[i];
	p->mean = sum / (double)n;
	for (size_t i = 0; i < n; i++)
		squares += (values[i] - p->mean) * (values[i] - p->mean);
	p->median = n % 2 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
	p->p10 = values[(n - 1) / 10];
	/* The steps of the report add a twelfth of their square to the spread; less than half a step nobody can see. */
	p->spread = n > 1 ? sqrt(fmax(squares / (double)(n - 1) - step * step / 12, step * step / 12)) : LIMIT_SIGMA / 10.0;
}

/* The first place named closed, else the first named inside: "inside, door open" is not where the antenna will live when
 * "inside, door closed" was read too. */
static int closed(const struct ft_signal_log *log, const struct ft_signal_result *r)
{
	static const char *const words[] = { "closed", "inside" };

	for (size_t w = 0; w < sizeof words / sizeof *words; w++)
		for (int i = 0; i < log->position_count; i++)
			if (r->places[i].count && ft_slice_holds(ft_slice_of(log->positions[i]), words[w]))
				return i;
	return -1;
}

/* Holds whether a level was measured or not. */
static void tell_net(const struct ft_signal_log *log, struct ft_where where, struct ft_arena *a, struct ft_findings *f)
{
	bool usable;
	const char *word = ft_signal_net_word(log->registration, &usable);

	if (log->registration >= 0 && !log->registered)
		ft_find(f, FT_RULE_SIGNAL_NOT_REGISTERED, where,
		        ft_arena_printf(a, "registration state %d, %s", log->registration,
		                        word ? word : "which no standard knows"),
		        "1 or 5");
	if (log->sim == 0)
		ft_find(f, FT_RULE_SIGNAL_SIM_NOT_READY, where, "the modem does not call it ready", "ready");
}

/* So many decimals that what falls short does not read like what is asked: "95 % seen, 95 % asked" helps nobody. */
static int decimals(double seen, double asked, int least)
{
	double scale = pow(10, least);
	int n = least;

	while (n < 3 && seen < asked && round(seen * scale) >= round(asked * scale)) {
		scale *= 10;
		n++;
	}
	return n;
}

static void tell_little(const struct ft_signal_place *p, struct ft_where where, struct ft_arena *a,
                        struct ft_findings *f)
{
	double margin = LIMIT_MARGIN_ASKED / 10.0, share = LIMIT_SHARE_ASKED / 10.0;

	ft_find(f, FT_RULE_SIGNAL_LITTLE_MARGIN, where,
	        ft_arena_printf(a, "%.*f dB above what is needed, above it %.*f %% of the time",
	                        decimals(p->margin, margin, 1), p->margin, decimals(100 * p->share_above, share, 0),
	                        100 * p->share_above),
	        ft_arena_printf(a, "%.0f dB and %.0f %%", margin, share));
}

static void tell(const struct ft_signal_log *log, const char *name, struct ft_arena *a, struct ft_findings *f,
                 const struct ft_signal_result *r)
{
	struct ft_where where = { .file = name };
	const struct ft_signal_place *p = r->judged < 0 ? NULL : &r->places[r->judged];

	tell_net(log, where, a, f);
	if (!p || !p->count) {
		ft_find(f, FT_RULE_SIGNAL_NONE, where, ft_arena_printf(a, "%zu times not known", log->unknown), "a level");
		return;
	}
	if (p->mean < r->least_dbm)
		ft_find(f, FT_RULE_SIGNAL_TOO_WEAK, where,
		        ft_arena_printf(a, "%.*f dBm in the mean", decimals(p->mean, r->least_dbm, 1), p->mean),
		        ft_arena_printf(a, "at least %.0f dBm", r->least_dbm));
	else if (p->margin < LIMIT_MARGIN_ASKED / 10.0 || p->share_above < LIMIT_SHARE_ASKED / 1000.0)
		tell_little(p, where, a, f);
	if (p->count < LIMIT_READINGS)
		ft_find(f, FT_RULE_SIGNAL_FEW_READINGS, where,
		        ft_arena_printf(a, "%zu reading%s", p->count, p->count == 1 ? "" : "s"),
		        ft_arena_printf(a, "%d or more over a minute", LIMIT_READINGS));
	if (p->others)
		ft_find(f, FT_RULE_SIGNAL_OTHER_NET, where,
		        ft_arena_printf(a, "%zu of %zu readings are no %s", p->others, p->others + p->count,
		                        ft_signal_metric_word(p->metric)),
		        NULL);
	if (r->best >= 0 && r->best != r->judged && r->places[r->best].mean - p->mean >= LIMIT_DIFFERS / 10.0)
		ft_find(f, FT_RULE_SIGNAL_BETTER_PLACE, where,
		        ft_arena_printf(a, "%s is %.1f dB better than %s", log->positions[r->best],
		                        r->places[r->best].mean - p->mean, log->positions[r->judged]),
		        NULL);
}

/* The kind of level that most readings of a place have; of two the newer net. */
static enum ft_signal_metric usual(const struct ft_signal_log *log, int place)
{
	size_t count[FT_SIGNAL_METRICS] = { 0 };
	enum ft_signal_metric m = FT_SIGNAL_RSSI;

	for (size_t k = 0; k < log->count; k++)
		if (log->samples[k].position == place)
			count[log->samples[k].metric]++;
	for (int i = 1; i < FT_SIGNAL_METRICS; i++)
		if (count[i] && count[i] >= count[m])
			m = (enum ft_signal_metric)i;
	return m;
}

static void take_place(const struct ft_signal_log *log, int place, double *values, struct ft_signal_place *p)
{
	size_t n = 0, qualities = 0;
	double step = 1;

	p->metric = usual(log, place);
	p->quality = NAN;
	for (size_t k = 0; k < log->count; k++) {
		const struct ft_signal_sample *s = &log->samples[k];
		if (s->position == place && s->metric == p->metric && isfinite(s->quality))
			values[qualities++] = s->quality;
	}
	if (qualities) {
		qsort(values, qualities, sizeof *values, by_value);
		p->quality = values[qualities / 2];
	}
	for (size_t k = 0; k < log->count; k++) {
		const struct ft_signal_sample *s = &log->samples[k];
		if (s->position != place)
			continue;
		if (s->metric != p->metric) {
			p->others += !signal_partner(log, k);
			continue;
		}
		step = fmax(step, width(s));
		values[n++] = middle(s);
	}
	summarise(p, values, n, step);
}

static int best_of(const struct ft_signal_result *r, int count, int metric)
{
	int best = -1;

	for (int i = 0; i < count; i++)
		if (r->places[i].count && (metric < 0 || (int)r->places[i].metric == metric) &&
		    (best < 0 || r->places[i].mean > r->places[best].mean))
			best = i;
	return best;
}

enum ft_status ft_signal_judge(const struct ft_signal_log *log, const char *name, double least_dbm, struct ft_arena *a,
                               struct ft_findings *f, struct ft_signal_result *ret, struct ft_error *e)
{
	double *values = FT_NEW_ARRAY(a, log->count + 1, double);

	*ret = (struct ft_signal_result){ .best = -1, .judged = -1 };
	if (!values)
		return ft_fail_memory(e, "judging the signal");
	for (int i = 0; i < log->position_count; i++)
		take_place(log, i, values, &ret->places[i]);
	ret->best = best_of(ret, log->position_count, -1);
	ret->judged = closed(log, ret);
	if (ret->judged < 0)
		ret->judged = ret->best;
	if (ret->judged >= 0) /* levels of two kinds cannot be compared */
		ret->best = best_of(ret, log->position_count, (int)ret->places[ret->judged].metric);
	if (ret->judged >= 0) {
		enum ft_signal_metric m = ret->places[ret->judged].metric;
		bool reference = m == FT_SIGNAL_RSRP || m == FT_SIGNAL_NR || m == FT_SIGNAL_DBM;
		ret->least_dbm = !isnan(least_dbm) ? least_dbm : (reference ? LIMIT_RSRP_LEAST : LIMIT_RSSI_LEAST) / 10.0;
	}
	for (int i = 0; i < log->position_count; i++) {
		struct ft_signal_place *p = &ret->places[i];
		bool few = p->count < 5; /* a spread of so few says nothing */
		p->margin = p->mean - ret->least_dbm;
		p->share_above =
			p->count ? ft_signal_share(p->margin, few ? LIMIT_SIGMA / 10.0 : p->spread, few ? 0 : p->count) : 0;
	}
	tell(log, name, a, f, ret);
	signal_tell_figures(log, ret, (struct ft_where){ .file = name }, a, f);
	ret->verdict = ft_verdict_of(f, false);
	return FT_OK;
}
