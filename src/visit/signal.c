/* SPDX-License-Identifier: Apache-2.0 */
/* The radio path: the last survey decides, at the place with the door closed where it has one. */
#include <math.h>

#include "judge.h"

enum ft_status judge_signal(struct judging *j, struct ft_error *e)
{
	struct ft_signal_result *r;
	struct ft_error own = { 0 };
	const struct ft_unit *unit = judge_unit(j);
	const struct ft_evidence *x;
	enum ft_status s;

	j->signal_found.from = j->signal_found.to = (int)j->g->findings.count;
	j->signal_evidence = -1;
	for (size_t i = 0; i < j->v->evidence_count; i++)
		if (j->v->evidence[i].kind == FT_EVIDENCE_SIGNAL)
			j->signal_evidence = (int)i;
	if (j->signal_evidence < 0)
		return FT_OK;
	x = &j->v->evidence[j->signal_evidence];
	r = FT_NEW(j->a, struct ft_signal_result);
	if (!r)
		return ft_fail_memory(e, "judging the visit");
	s = ft_signal_read(x->bytes, x->name, j->a, &j->survey, &own);
	if (s == FT_OK)
		s = ft_signal_judge(&j->survey, x->name, unit ? unit->least_dbm : NAN, j->a, &j->g->findings, r, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s == FT_OK)
		j->signal = r;
	else
		judge_unreadable(j, j->signal_evidence, own.text);
	j->signal_found.to = (int)j->g->findings.count;
	return FT_OK;
}
