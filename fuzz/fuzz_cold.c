/* SPDX-License-Identifier: Apache-2.0 */
/* Logs of temperature of any content, and behind a line "====" a table of marks. What is taken must be in order and
 * possible, what is judged must add up, and an alarm made from a log must never fire on it. */
#include <math.h>
#include <stdlib.h>

#include "fettle/cold.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static void look(const struct ft_cold_log *log, const struct ft_cold_result *r)
{
	double span = (double)(log->samples[log->count - 1].at_us - log->samples[0].at_us) / 1e6;

	must(r->time_above_s >= 0 && r->excused_s >= 0 && r->band_s >= 0);
	must(r->time_above_s + r->excused_s <= span * (1 + 1e-9) + 1e-3);
	must(r->longest_s <= r->time_above_s + 1e-3 && r->judged_s <= span * (1 + 1e-9) + 1e-3);
	must(r->least_c <= r->most_c && r->mean_c >= r->least_c - 1e-9 && r->mean_c <= r->most_c + 1e-9);
	must(r->cycle.cycles == 0 || (r->cycle.period_s > 0 && r->cycle.duty >= 0 && r->cycle.duty <= 1));
	if (r->fit.found) {
		double lo, hi;
		must(r->fit.tau_s > 0 && !(r->fit.tau_lo > r->fit.tau_s) && !(r->fit.tau_hi < r->fit.tau_s));
		must(r->fit.settles_lo <= r->fit.settles_hi);
		ft_cold_fit_at(&r->fit, 60, &lo, &hi);
		must(lo <= hi);
	}
	if (r->alarm.found)
		must(
			!ft_cold_alarm_fires(log->samples, log->count, r->rule.side, r->alarm.threshold_c, r->alarm.delay_s, NULL));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_slice text = { (const char *)data, size }, marks = { NULL, 0 };
	size_t at = ft_slice_find(text, FT_SLICE("====\n"));
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_error e = { 0 };
	struct ft_cold_log log;
	struct ft_cold_result r;

	if (at < size) {
		marks = (struct ft_slice){ text.p + at + 5, size - at - 5 };
		text.n = at;
	}
	for (enum ft_cold_kind k = FT_COLD_COLD; k < FT_COLD_KINDS; k++) {
		struct ft_cold_read_options o = { .kind = k };
		struct ft_cold_options how = { .kind = k,
			                           .limit_c = NAN,
			                           .allowance_s = -1,
			                           .guard_c = NAN,
			                           .probe_error_c = NAN,
			                           .room_c = NAN,
			                           .name = "log" };
		e = (struct ft_error){ 0 };
		if (ft_cold_read(text, "log", &o, &a, &log, &e) != FT_OK) {
			must(e.status != FT_OK && e.text[0]);
			continue;
		}
		must(log.count >= 2);
		for (size_t i = 0; i < log.count; i++)
			must(isfinite(log.samples[i].c) && (i == 0 || log.samples[i].at_us > log.samples[i - 1].at_us));
		if (marks.n && ft_cold_marks_read(marks, "marks", 0, &a, &log, &e) != FT_OK)
			must(e.text[0]);
		for (size_t i = 1; i < log.mark_count; i++)
			must(log.marks[i].at_us >= log.marks[i - 1].at_us);
		if (ft_cold_judge(&log, &how, &a, &f, &r, NULL) == FT_OK)
			look(&log, &r);
	}
	ft_arena_done(&a);
	return 0;
}
