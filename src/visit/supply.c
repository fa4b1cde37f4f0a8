/* SPDX-License-Identifier: Apache-2.0 */
/* The supply of the bus: the last table of the chain decides. */
#include "judge.h"

enum ft_status judge_supply(struct judging *j, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	j->supply_found.from = j->supply_found.to = (int)j->g->findings.count;
	j->supply_evidence = -1;
	for (size_t i = 0; i < j->v->evidence_count; i++)
		if (j->v->evidence[i].kind == FT_EVIDENCE_SUPPLY)
			j->supply_evidence = (int)i;
	if (j->supply_evidence >= 0) {
		const struct ft_evidence *x = &j->v->evidence[j->supply_evidence];
		struct ft_supply_result *r = FT_NEW(j->a, struct ft_supply_result);
		struct ft_error own = { 0 };
		if (!r)
			return ft_fail_memory(e, "judging the visit");
		s = ft_supply_read(x->bytes, x->name, j->a, &j->chain, &own);
		if (s == FT_OK)
			s = ft_supply_judge(&j->chain, x->name, j->a, &j->g->findings, r, &own);
		if (s == FT_OK)
			j->supply = r;
		else if (s == FT_E_MEMORY)
			return ft_fail(e, s, "%s", own.text);
		else
			judge_unreadable(j, j->supply_evidence, own.text);
	}
	j->supply_found.to = (int)j->g->findings.count;
	return FT_OK;
}
