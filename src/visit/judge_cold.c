/* SPDX-License-Identifier: Apache-2.0 */
/* Logs of temperature in a visit: the last one decides, with the marks that were made at the door and the checks of the
 * probe that stand in it or in a table of their own. */
#include <math.h>

#include "judge.h"

#include "fettle/cold.h"

/* What the cabinet is stands in the record of the survey. Without one the readings tell a freezer and a hot one, and
 * all else must keep cold: a failed freezer is then judged as a cold cabinet, and left open (cold.kind). */
static enum ft_cold_kind kind_of(const struct judging *j, const struct ft_cold_log *log)
{
	const struct ft_survey_row *row = judge_row(j);

	switch (row ? row->cabinet : FT_CABINET_UNKNOWN) {
	case FT_CABINET_COLD:
		return FT_COLD_COLD;
	case FT_CABINET_FROZEN:
		return FT_COLD_FROZEN;
	case FT_CABINET_HOT:
		return FT_COLD_HOT;
	default:
		break;
	}
	for (enum ft_cold_kind k = FT_COLD_HOT; k < FT_COLD_KINDS; k++) {
		struct ft_cold_rule rule;
		size_t likely = 0;
		ft_cold_rule_of(k, &rule);
		for (size_t i = 0; i < log->count; i++)
			likely += log->samples[i].c >= rule.likely_from_c && log->samples[i].c <= rule.likely_to_c;
		if (likely > log->count / 2)
			return k;
	}
	return FT_COLD_COLD;
}

static enum ft_status read_log(struct judging *j, int evidence, struct ft_cold_log *ret, struct ft_error *e)
{
	const struct ft_evidence *x = &j->v->evidence[evidence];
	struct ft_cold_read_options o = { .kind = FT_COLD_COLD, .offset_minutes = j->v->opened_offset };

	return ft_cold_read(x->bytes, x->name, &o, j->a, ret, e);
}

/* Marks of the door and tables of checks; what is none of it is somebody else's to read. */
static void add_marks(struct judging *j, struct ft_cold_log *log)
{
	for (size_t i = 0; i < j->v->evidence_count; i++) {
		const struct ft_evidence *x = &j->v->evidence[i];
		struct ft_error own = { 0 };
		struct ft_slice head = { x->bytes.p, x->bytes.n < 256 ? x->bytes.n : 256 };
		bool ours = x->kind == FT_EVIDENCE_DOOR && ft_slice_find(head, FT_SLICE("marked_time")) < head.n;
		if (!ours && (x->kind != FT_EVIDENCE_TEMPERATURE || (int)i == j->cold_evidence))
			continue;
		if (ft_cold_marks_read(x->bytes, x->name, j->v->opened_offset, j->a, log, &own) == FT_E_MEMORY)
			j->no_room = true;
	}
}

/* A table of checks alone is no log, and no fault either. */
static bool is_marks(struct judging *j, int evidence)
{
	const struct ft_evidence *x = &j->v->evidence[evidence];
	struct ft_cold_log none = { 0 };

	return ft_cold_marks_read(x->bytes, x->name, j->v->opened_offset, j->a, &none, NULL) == FT_OK;
}

enum ft_status judge_cold(struct judging *j, struct ft_error *e)
{
	struct ft_cold_options o = {
		.limit_c = NAN, .allowance_s = -1, .guard_c = NAN, .probe_error_c = NAN, .room_c = NAN
	};
	struct ft_cold_log *log = FT_NEW(j->a, struct ft_cold_log);
	enum ft_status s = FT_OK;
	int unread = -1;

	j->cold_evidence = -1;
	j->cold_found.from = j->cold_found.to = (int)j->g->findings.count;
	if (!log)
		return ft_fail_memory(e, "judging the visit");
	for (size_t i = j->v->evidence_count; i-- > 0 && j->cold_evidence < 0;) {
		struct ft_error own = { 0 };
		if (j->v->evidence[i].kind != FT_EVIDENCE_TEMPERATURE)
			continue;
		s = read_log(j, (int)i, log, &own);
		if (s == FT_E_MEMORY)
			return ft_fail(e, s, "%s", own.text);
		if (s == FT_OK)
			j->cold_evidence = (int)i;
		else if (!is_marks(j, (int)i))
			judge_unreadable(j, unread = (int)i, own.text);
	}
	if (j->cold_evidence >= 0) {
		add_marks(j, log);
		o.kind = kind_of(j, log);
		o.name = j->v->evidence[j->cold_evidence].name;
		o.offset_minutes = log->offset_minutes;
		j->cold = FT_NEW(j->a, struct ft_cold_result);
		if (!j->cold)
			return ft_fail_memory(e, "judging the visit");
		s = ft_cold_judge(log, &o, j->a, &j->g->findings, j->cold, e);
	} else {
		j->cold_evidence = unread;
		s = FT_OK;
	}
	j->cold_found.to = (int)j->g->findings.count;
	return s;
}

const char *judge_cold_holds(const struct judging *j)
{
	const struct ft_cold_result *r = j->cold;
	double hours = r->judged_s / 3600;

	return ft_arena_printf(j->a, "The air stayed at %.1f to %.1f C for %.1f hours, the limit being %.1f C (%s)%s",
	                       r->least_c, r->most_c, hours, r->limit_c, r->rule.kind,
	                       r->probe_checks ? ft_arena_printf(j->a, ", and the probe is right within %.1f C.",
	                                                         fabs(r->probe_error_c) + 0.05)
	                                       : ", but nothing tells whether the probe reads right.");
}
