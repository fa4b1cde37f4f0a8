/* SPDX-License-Identifier: Apache-2.0 */
/* A log against its limit. Between two readings the temperature is taken to run straight; over a gap nothing is known,
 * but where it is beyond the limit on both sides it is taken to have been so all the time. */
#include <math.h>

#include "room.h"

#include "fettle/time.h"

#define GUARD_CLASS    "1"                   /* ours: assumed of a probe whose class nobody names */
#define JUDGED_LEAST   3600.0                /* ours, s: see cold.too-short */
#define ICE_AROUND     (10 * 60 * FT_SECOND) /* ours: around a check in ice the probe is not in the cabinet */
#define CHECK_NEAR     (15 * 60 * FT_SECOND) /* ours: a reading within this of a check is the one that was checked */
#define TOO_MANY       10                    /* ours: one in so many missing or unseen is too many */
#define SHARE_UNLIKELY 2   /* ours: less than one in so many readings likely: another kind of cabinet */
#define CHECKS_AGREE   0.5 /* ours, C: two checks with two thermometers */

const char *cold_text(struct cold_judging *j, const char *format, ...)
{
	va_list args;
	const char *t;

	va_start(args, format);
	t = ft_arena_vprintf(j->a, format, args);
	va_end(args);
	return t ? t : "";
}

const char *cold_time(struct cold_judging *j, int64_t us)
{
	char t[FT_TIME_TEXT];

	if (j->log->elapsed)
		return cold_text(j, "minute %lld", (long long)(us / (60 * FT_SECOND)));
	ft_time_text(us, j->o->offset_minutes, t);
	t[10] = ' ';
	return cold_text(j, "%.16s", t);
}

const char *cold_span(struct cold_judging *j, double seconds)
{
	long long minutes = llround(seconds / 60);

	if (seconds < 120)
		return cold_text(j, "%lld s", llround(seconds));
	if (minutes < 120)
		return cold_text(j, "%lld min", minutes);
	if (minutes < 48 * 60)
		return minutes % 60 ? cold_text(j, "%lld h %lld min", minutes / 60, minutes % 60)
							: cold_text(j, "%lld h", minutes / 60);
	return cold_text(j, "%.1f days", seconds / 86400);
}

/* ---- what a service excuses ---- */

bool cold_excused(const struct cold_judging *j, int64_t us, size_t *at)
{
	while (*at < j->window_count && j->windows[*at].to <= us)
		++*at;
	return *at < j->window_count && j->windows[*at].from <= us;
}

static void window(struct cold_judging *j, int64_t from, int64_t to, bool service)
{
	struct cold_window *last = j->window_count ? &j->windows[j->window_count - 1] : NULL;

	if (last && from <= last->to) {
		if (to >= last->to) {
			last->to = to;
			last->after_close = service;
		}
		if (from < last->from)
			last->from = from;
		while (j->window_count > 1 && last->from <= last[-1].to) { /* it may reach back over the one before */
			last[-1].to = last->to > last[-1].to ? last->to : last[-1].to;
			last[-1].from = last->from < last[-1].from ? last->from : last[-1].from;
			last[-1].after_close = last->after_close;
			j->window_count--;
			last--;
		}
		return;
	}
	if (j->windows) /* there is room: made for all marks before */
		j->windows[j->window_count++] = (struct cold_window){ from, to, service };
}

static void find_windows(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	const struct ft_cold_rule *rule = &j->r->rule;
	int64_t after = (int64_t)rule->allowance_s * FT_SECOND, most = (int64_t)rule->service_max_s * FT_SECOND;
	int64_t first = log->samples[0].at_us, end = log->samples[log->count - 1].at_us;

	if (j->sign * (log->samples[0].c - j->r->limit_c) > 0) {
		window(j, first, first + after, true);
		j->start_excused = true;
	}
	for (size_t i = 0; i < log->mark_count; i++) {
		const struct ft_cold_mark *m = &log->marks[i];
		int64_t closed = end;
		switch (m->kind) {
		case FT_COLD_OPENED:
			for (size_t k = i + 1; k < log->mark_count; k++) {
				if (log->marks[k].kind == FT_COLD_CLOSED || log->marks[k].kind == FT_COLD_OPENED) {
					closed = log->marks[k].at_us;
					break;
				}
			}
			if (closed - m->at_us > most && m->at_us < end)
				ft_find(j->f, FT_RULE_COLD_SERVICE_LONG,
				        (struct ft_where){ .file = j->o->name, .timed = !log->elapsed, .at_us = m->at_us },
				        cold_text(j, "%s from %s on", cold_span(j, (double)(closed - m->at_us) / 1e6),
				                  cold_time(j, m->at_us)),
				        NULL);
			/* the straight line up to the first reading after it begins at the last one before it */
			window(j, m->at_us - log->step_us, (closed - m->at_us > most ? m->at_us + most : closed) + after, true);
			break;
		case FT_COLD_CLOSED:
		case FT_COLD_SERVICE:
			window(j, m->at_us - log->step_us, m->at_us + after, true);
			break;
		case FT_COLD_ICE:
			window(j, m->at_us - ICE_AROUND, m->at_us + ICE_AROUND, false);
			break;
		default:
			break;
		}
	}
	if (j->start_excused && log->mark_count && log->marks[0].at_us <= first)
		j->start_excused = false; /* it is marked, so nothing had to be assumed */
	if (j->start_excused)
		ft_find(j->f, FT_RULE_COLD_START, (struct ft_where){ .file = j->o->name, .line = log->samples[0].line },
		        cold_text(j, "%.1f C", log->samples[0].c), NULL);
}

/* ---- time beyond a level ---- */

struct run {
	double from, to, peak; /* us */
};

/* Runs of one sort taken together. */
struct sort {
	double total, peak; /* us, sign * c */
	struct run first, longest;
	size_t runs;
};

struct beyond {
	double level;          /* of sign * c */
	double total, excused; /* us */
	struct run run, longest, first;
	struct sort late;    /* begins where the time after a service ends */
	struct sort defrost; /* short, and within a defrost */
	struct sort other;
	double known;                 /* us that was judged at all */
	size_t window_at, defrost_at; /* they walk along with the runs */
};

static void put(struct sort *x, const struct run *r)
{
	if (!x->runs++) {
		x->first = *r;
		x->peak = r->peak;
	}
	if (r->to - r->from > x->longest.to - x->longest.from)
		x->longest = *r;
	x->total += r->to - r->from;
	x->peak = fmax(x->peak, r->peak);
}

static bool within_defrost(const struct cold_judging *j, const struct run *r, size_t *at)
{
	while (*at < j->defrost_count && (double)j->defrosts[*at].to < r->to)
		++*at;
	return *at < j->defrost_count && r->from >= (double)j->defrosts[*at].from &&
		r->to - r->from <= j->r->rule.allowance_s * 1e6;
}

static bool after_service(const struct cold_judging *j, const struct run *r, size_t *at)
{
	while (*at < j->window_count && (double)j->windows[*at].to < r->from - 1)
		++*at;
	return *at < j->window_count && j->windows[*at].after_close && fabs(r->from - (double)j->windows[*at].to) <= 1;
}

static void end_run(const struct cold_judging *j, struct beyond *b)
{
	struct run *r = &b->run;

	if (!(r->to > r->from))
		return;
	if (!(b->first.to > b->first.from))
		b->first = *r;
	if (r->to - r->from > b->longest.to - b->longest.from)
		b->longest = *r;
	put(after_service(j, r, &b->window_at)         ? &b->late
	        : within_defrost(j, r, &b->defrost_at) ? &b->defrost
	                                               : &b->other,
	    r);
	*r = (struct run){ 0 };
}

/* A stretch beyond the level, of which the windows take their part. */
static void stretch(const struct cold_judging *j, struct beyond *b, double from, double to, double peak, size_t at)
{
	while (from < to) {
		double until = to;
		while (at < j->window_count && (double)j->windows[at].to <= from)
			at++;
		if (at < j->window_count && (double)j->windows[at].from <= from) {
			until = fmin(to, (double)j->windows[at].to);
			b->excused += until - from;
			from = until;
			continue;
		}
		if (at < j->window_count)
			until = fmin(to, (double)j->windows[at].from);
		if (!(b->run.to > b->run.from) || from > b->run.to + 0.5) {
			end_run(j, b);
			b->run = (struct run){ from, until, peak };
		}
		b->run.to = until;
		b->run.peak = fmax(b->run.peak, peak);
		b->total += until - from;
		from = until;
	}
}

static void add_known(const struct cold_judging *j, struct beyond *b, double from, double to, size_t at)
{
	b->known += to - from;
	for (; at < j->window_count && (double)j->windows[at].from < to; at++)
		b->known -= fmax(0, fmin(to, (double)j->windows[at].to) - fmax(from, (double)j->windows[at].from));
}

static struct beyond look(const struct cold_judging *j, double level_c)
{
	const struct ft_cold_sample *s = j->log->samples;
	struct beyond b = { .level = j->sign * level_c };
	size_t at = 0;

	for (size_t i = 1; i < j->log->count; i++) {
		double t0 = (double)s[i - 1].at_us, t1 = (double)s[i].at_us;
		double y0 = j->sign * s[i - 1].c - b.level, y1 = j->sign * s[i].c - b.level;
		bool gap = s[i].at_us - s[i - 1].at_us > j->gap_us;
		while (at < j->window_count && (double)j->windows[at].to <= t0)
			at++;
		if (!gap)
			add_known(j, &b, t0, t1, at);
		if ((y0 <= 1e-9 && y1 <= 1e-9) || (gap && (y0 <= 1e-9 || y1 <= 1e-9)))
			continue;
		if (y0 <= 1e-9)
			t0 += (t1 - t0) * (0 - y0) / (y1 - y0);
		else if (y1 <= 1e-9)
			t1 = t0 + (t1 - t0) * y0 / (y0 - y1);
		stretch(j, &b, t0, t1, fmax(y0, y1) + b.level, at);
	}
	end_run(j, &b);
	return b;
}

static const char *side(const struct cold_judging *j)
{
	return j->sign > 0 ? "above" : "below";
}

static struct ft_where at_time(const struct cold_judging *j, double us)
{
	return (struct ft_where){ .file = j->o->name, .timed = !j->log->elapsed, .at_us = (int64_t)us };
}

static void tell_sort(struct cold_judging *j, enum ft_rule_id rule, const struct sort *x)
{
	if (!x->runs)
		return;
	ft_find(j->f, rule, at_time(j, x->first.from),
	        cold_text(j, "the %s was %s it %zu time%s, %s in all, %s at the longest (from %s), up to %.1f C",
	                  j->o->food ? "food" : "air", side(j), x->runs, x->runs == 1 ? "" : "s",
	                  cold_span(j, x->total / 1e6), cold_span(j, (x->longest.to - x->longest.from) / 1e6),
	                  cold_time(j, (int64_t)x->longest.from), j->sign * x->peak),
	        cold_text(j, "%.1f C or %s", j->r->limit_c, j->sign > 0 ? "below" : "above"));
}

static void tell_limit(struct cold_judging *j, const struct beyond *b)
{
	tell_sort(j, FT_RULE_COLD_SLOW_RECOVERY, &b->late);
	tell_sort(j, FT_RULE_COLD_LIMIT, &b->other);
	tell_sort(j, j->o->food ? FT_RULE_COLD_LIMIT : FT_RULE_COLD_DEFROST_ABOVE, &b->defrost);
}

static void judge_limit(struct cold_judging *j)
{
	struct ft_cold_result *r = j->r;
	struct beyond over = look(j, r->limit_c), near = look(j, r->limit_c - j->sign * r->guard_c);

	r->time_above_s = over.total / 1e6;
	r->excused_s = over.excused / 1e6;
	r->band_s = fmax(0, (near.total - over.total) / 1e6);
	r->longest_s = (over.longest.to - over.longest.from) / 1e6;
	r->judged_s = over.known / 1e6;
	tell_limit(j, &over);
	if (r->band_s > 0 && !(over.total > 0))
		ft_find(j->f, FT_RULE_COLD_BAND, at_time(j, near.first.from),
		        cold_text(j, "%s between %.1f and %.1f C", cold_span(j, r->band_s), r->limit_c - j->sign * r->guard_c,
		                  r->limit_c),
		        cold_text(j, "%.1f C or %s, as the probe may be wrong by %.1f C", r->limit_c - j->sign * r->guard_c,
		                  j->sign > 0 ? "below" : "above", r->guard_c));
	if (r->judged_s < JUDGED_LEAST)
		ft_find(j->f, FT_RULE_COLD_TOO_SHORT, (struct ft_where){ .file = j->o->name }, cold_span(j, r->judged_s), NULL);
}

/* ---- what is odd about the log ---- */

static void tell_odds(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	int64_t span = log->samples[log->count - 1].at_us - log->samples[0].at_us, gaps = 0, longest = 0;
	const struct ft_cold_odd *gap = NULL;
	size_t gap_count = 0;

	for (size_t i = 0; i < log->odd_count; i++) {
		const struct ft_cold_odd *o = &log->odds[i];
		struct ft_where where = { j->o->name, o->line, .timed = !log->elapsed, .at_us = o->at_us };
		const char *length = cold_span(j, (double)o->length_us / 1e6);
		if (o->kind == FT_COLD_BACK)
			ft_find(j->f, FT_RULE_COLD_CLOCK, where, cold_text(j, "it went back by %s", length), NULL);
		else if (o->kind == FT_COLD_STUCK)
			ft_find(j->f, FT_RULE_COLD_STUCK, where, cold_text(j, "the same reading for %s", length), NULL);
		else {
			gap_count++;
			gaps += o->length_us;
			gap = o->length_us > longest ? o : gap;
			longest = o->length_us > longest ? o->length_us : longest;
		}
	}
	if (gap)
		ft_find(j->f, gaps > span / TOO_MANY ? FT_RULE_COLD_GAPS : FT_RULE_COLD_GAP,
		        (struct ft_where){ j->o->name, gap->line, .timed = !log->elapsed, .at_us = gap->at_us },
		        cold_text(j, "%zu, the longest of %s from %s on%s", gap_count, cold_span(j, (double)longest / 1e6),
		                  cold_time(j, gap->at_us),
		                  gap->kind == FT_COLD_AHEAD ? ", which may be a clock put forward by an hour" : ""),
		        NULL);
}

static void tell_reading(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	struct ft_where where = { .file = j->o->name };
	double days = (double)(log->samples[log->count - 1].at_us - log->samples[0].at_us) / 86400e6;
	int most_min = days <= 1 ? 5 : days <= 7 ? 15 : 60; /* EN 12830: see cold.interval */

	if (log->columns > 1)
		ft_find(j->f, FT_RULE_COLD_COLUMNS, where, cold_text(j, "%u, taken was \"%s\"", log->columns, log->column),
		        NULL);
	if (log->told == FT_COLD_TOLD_LIKELY)
		ft_find(j->f, FT_RULE_COLD_UNIT, where, log->unit == FT_COLD_F ? "taken for degrees F" : "taken for degrees C",
		        NULL);
	if (log->ambiguous_days)
		ft_find(j->f, FT_RULE_COLD_DAYS, where, NULL, NULL);
	if (log->repeats)
		ft_find(j->f, FT_RULE_COLD_REPEATS, where,
		        log->repeats_differ
		            ? cold_text(j, "%zu, %zu of them with another reading", log->repeats, log->repeats_differ)
		            : cold_text(j, "%zu", log->repeats),
		        NULL);
	if (log->missing)
		ft_find(j->f, log->missing > log->rows / TOO_MANY ? FT_RULE_COLD_MISSING_MANY : FT_RULE_COLD_MISSING,
		        (struct ft_where){ .file = j->o->name, .line = log->missing_line },
		        cold_text(j, "%zu of %zu", log->missing, log->rows), NULL);
	if (log->spikes)
		ft_find(j->f, FT_RULE_COLD_SPIKE, (struct ft_where){ .file = j->o->name, .line = log->spike_line },
		        cold_text(j, "%zu", log->spikes), NULL);
	if (log->step_us > (int64_t)most_min * 60 * FT_SECOND)
		ft_find(j->f, FT_RULE_COLD_INTERVAL, where, cold_text(j, "every %s", cold_span(j, (double)log->step_us / 1e6)),
		        cold_text(j, "every %d min", most_min));
	tell_odds(j);
}

/* ---- the whole run of readings ---- */

static void summarise(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	struct ft_cold_result *r = j->r;
	size_t at = 0, n = 0, likely = 0, safe = 0;

	for (int all = 0; all < 2 && !n; all++) {
		r->least_c = INFINITY;
		r->most_c = -INFINITY;
		r->mean_c = 0;
		for (size_t i = 0; i < log->count; i++) {
			double c = log->samples[i].c;
			if (!all && cold_excused(j, log->samples[i].at_us, &at))
				continue;
			n++;
			r->least_c = fmin(r->least_c, c);
			r->most_c = fmax(r->most_c, c);
			r->mean_c += c;
		}
	}
	r->mean_c /= (double)n;
	for (size_t i = 0; i < log->count; i++) {
		double c = log->samples[i].c;
		bool is = c >= r->rule.likely_from_c && c <= r->rule.likely_to_c;
		likely += is;
		safe += !is && j->sign * (c - r->limit_c) <= 0;
	}
	/* Too warm is judged by the limit. Colder than any such cabinet it may be of another kind, which would pass here
	 * and fail there; only a freezer may be as cold as it likes. */
	if (j->o->kind != FT_COLD_FROZEN && likely < log->count / SHARE_UNLIKELY && safe > log->count / SHARE_UNLIKELY)
		ft_find(j->f, FT_RULE_COLD_KIND, (struct ft_where){ .file = j->o->name },
		        cold_text(j, "%.1f to %.1f C, %.1f C in the mean", r->least_c, r->most_c, r->mean_c),
		        cold_text(j, "%.0f to %.0f C in a cabinet for %s food", r->rule.likely_from_c, r->rule.likely_to_c,
		                  r->rule.kind));
}

/* ---- the probe ---- */

static double reading_near(const struct ft_cold_log *log, int64_t us)
{
	double best = NAN;
	int64_t least = CHECK_NEAR + 1;

	for (size_t i = 0; i < log->count; i++) {
		int64_t off = log->samples[i].at_us > us ? log->samples[i].at_us - us : us - log->samples[i].at_us;
		if (off < least) {
			least = off;
			best = log->samples[i].c;
		}
	}
	return best;
}

static void judge_probe(struct cold_judging *j)
{
	const struct ft_cold_log *log = j->log;
	struct ft_cold_result *r = j->r;
	double *errors = FT_NEW_ARRAY(j->a, log->mark_count + 1, double), most = -INFINITY, least = INFINITY;
	size_t n = 0;

	if (!errors)
		return;
	if (!isnan(j->o->probe_error_c))
		errors[n++] = j->o->probe_error_c;
	for (size_t i = 0; i < log->mark_count && n < 1000; i++) {
		const struct ft_cold_mark *m = &log->marks[i];
		double read, truth = 0;
		if (m->kind != FT_COLD_ICE && (m->kind != FT_COLD_REFERENCE || isnan(m->value)))
			continue;
		read = m->kind == FT_COLD_ICE && !isnan(m->value) ? m->value : reading_near(log, m->at_us);
		truth = m->kind == FT_COLD_ICE ? 0 : m->value;
		if (!isnan(read))
			errors[n++] = read - truth;
	}
	for (size_t i = 0; i < n; i++) {
		most = fmax(most, errors[i]);
		least = fmin(least, errors[i]);
	}
	r->probe_checks = n;
	r->probe_error_c = cold_median(errors, n);
	if (!n)
		ft_find(j->f, FT_RULE_COLD_PROBE_UNCHECKED, (struct ft_where){ .file = j->o->name }, NULL, NULL);
	else if (fabs(r->probe_error_c) > r->guard_c + 1e-9)
		ft_find(j->f, FT_RULE_COLD_PROBE_OFF, (struct ft_where){ .file = j->o->name },
		        cold_text(j, "%.1f C too %s", fabs(r->probe_error_c), r->probe_error_c > 0 ? "high" : "low"),
		        cold_text(j, "within %.1f C", r->guard_c));
	else if (most - least > 2 * CHECKS_AGREE)
		ft_find(j->f, FT_RULE_COLD_PROBE_DRIFTS, (struct ft_where){ .file = j->o->name },
		        cold_text(j, "from %.1f to %.1f C off in %zu checks", least, most, n), NULL);
}

static void tell_fit(struct cold_judging *j)
{
	const struct ft_cold_fit *fit = &j->r->fit;
	double proof = j->r->limit_c - j->sign * j->r->guard_c;

	if (!fit->found)
		return;
	if (!fit->settles_known)
		ft_find(j->f, FT_RULE_COLD_SHORT_FIT, at_time(j, (double)fit->from_us),
		        cold_text(j, "%.1f of a time constant of %s", fit->span_tau, cold_span(j, fit->tau_s)), "at least 1.0");
	else if (fit->to == j->log->count &&
	         j->sign * (fit->settles_c - proof) > 0) /* later readings speak for themselves */
		ft_find(j->f, FT_RULE_COLD_SETTLES, at_time(j, (double)fit->from_us),
		        cold_text(j, "it settles at %.1f C (%.1f to %.1f)", fit->settles_c, fit->settles_lo, fit->settles_hi),
		        cold_text(j, "%.1f C or %s", proof, j->sign > 0 ? "below" : "above"));
}

static bool stuck(const struct ft_cold_log *log)
{
	for (size_t i = 0; i < log->odd_count; i++)
		if (log->odds[i].kind == FT_COLD_STUCK)
			return true;
	return false;
}

enum ft_status ft_cold_judge(const struct ft_cold_log *log, const struct ft_cold_options *o, struct ft_arena *a,
                             struct ft_findings *f, struct ft_cold_result *ret, struct ft_error *e)
{
	struct cold_judging j = { .log = log, .o = o, .r = ret, .a = a, .f = f };

	size_t faults = f->faults, doubts = f->doubts, dropped = f->dropped; /* the list may hold those of others */

	*ret = (struct ft_cold_result){ .probe_error_c = NAN };
	ft_cold_rule_of(o->kind, &ret->rule);
	ret->limit_c = isnan(o->limit_c) ? ret->rule.limit_c : o->limit_c;
	ret->guard_c = o->guard_c;
	if (o->allowance_s >= 0)
		ret->rule.allowance_s = o->allowance_s;
	if (isnan(o->guard_c))
		ft_cold_class(FT_SLICE(GUARD_CLASS), ret->limit_c, &ret->guard_c, NULL);
	j.sign = (int)ret->rule.side;
	j.gap_us = log->step_us * 5 / 2;
	j.windows = FT_NEW_ARRAY(a, log->mark_count + 1, struct cold_window);
	if (!j.windows)
		return ft_fail_memory(e, "judging the log");
	find_windows(&j);
	tell_reading(&j);
	summarise(&j);
	cold_cycles(&j);
	judge_limit(&j);
	cold_pull_down(&j);
	tell_fit(&j);
	judge_probe(&j);
	if (f->faults == faults && !stuck(log)) /* a probe that stands still would never trip any alarm */
		cold_find_alarm(&j);
	if (!ret->alarm.found)
		ft_find(f, FT_RULE_COLD_NO_ALARM, (struct ft_where){ .file = o->name }, NULL, NULL);
	if (a->failed)
		return ft_fail_memory(e, "judging the log");
	ret->verdict = f->faults > faults                ? FT_CONTRADICTED
		: f->doubts > doubts || f->dropped > dropped ? FT_OPEN
													 : FT_SHOWN;
	return FT_OK;
}
