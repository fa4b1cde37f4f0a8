/* SPDX-License-Identifier: Apache-2.0 */
/* Can the machine be fitted? The last record of a survey is judged again from its own bytes. A row without the
 * catalogue it is held against decides nothing. */
#include "fettle/survey.h"

#include "judge.h"

static enum ft_status judge_record(struct judging *j, const struct ft_evidence *x, struct ft_error *e)
{
	struct ft_survey_machine *m = FT_NEW(j->a, struct ft_survey_machine);
	struct ft_error own = { 0 };
	enum ft_status s;

	if (!m)
		return ft_fail_memory(e, "judging the visit");
	s = ft_survey_record_judge(x->bytes, x->name, j->a, m, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK) {
		judge_unreadable(j, j->fits_evidence, own.text);
		return FT_OK;
	}
	j->fits = m;
	judge_append(&j->g->findings, &m->findings);
	if (j->v->asset && !ft_slice_eq_nocase(m->row->asset, ft_slice_of(j->v->asset)))
		ft_find(&j->g->findings, FT_RULE_SURVEY_OTHER_MACHINE, (struct ft_where){ .file = x->name },
		        ft_arena_text(j->a, m->row->asset), j->v->asset);
	return FT_OK;
}

const struct ft_survey_row *judge_row(const struct judging *j)
{
	bool this_one = j->fits && (!j->v->asset || ft_slice_eq_nocase(j->fits->row->asset, ft_slice_of(j->v->asset)));

	return this_one ? j->fits->row : NULL;
}

const struct ft_unit *judge_unit(const struct judging *j)
{
	return judge_row(j) ? j->fits->unit : NULL;
}

enum ft_status judge_survey(struct judging *j, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	j->fits_found.from = j->fits_found.to = (int)j->g->findings.count;
	j->fits_evidence = -1;
	for (size_t i = 0; i < j->v->evidence_count; i++)
		if (j->v->evidence[i].kind == FT_EVIDENCE_SURVEY &&
		    (j->fits_evidence < 0 || ft_survey_is_record(j->v->evidence[i].bytes)))
			j->fits_evidence = (int)i;
	if (j->fits_evidence >= 0 && ft_survey_is_record(j->v->evidence[j->fits_evidence].bytes))
		s = judge_record(j, &j->v->evidence[j->fits_evidence], e);
	j->fits_found.to = (int)j->g->findings.count;
	return s;
}
