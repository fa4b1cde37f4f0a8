/* SPDX-License-Identifier: Apache-2.0 */
/* Proving what was sold. A fault that was mended stays in the counters for good, so where the whole visit
 * contradicts, the proof may begin again at an audit that was read after mending. */
#include "judge.h"

/* Evidence index of the audit at which the last round of sales began: a round is two audits and a list of sales, in
 * any order of list and second audit. -1: there is one round only. */
static int last_round(const struct ft_visit *v, int before)
{
	bool list = false, second = false; /* of the round that is being gathered */
	int start = before, found = -1;

	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *x = &v->evidence[i];
		if (x->kind == FT_EVIDENCE_SALES) {
			list = true;
		} else if (x->kind == FT_EVIDENCE_AUDIT && (int)i != before) {
			if (list && second) { /* the round before is whole: this audit may begin another */
				start = (int)i;
				list = second = false;
			} else {
				second = true;
			}
		}
		if (list && second && start != before)
			found = start;
	}
	return found;
}

void judge_append(struct ft_findings *to, const struct ft_findings *from)
{
	for (size_t i = 0; i < from->count; i++) {
		const struct ft_finding *x = &from->list[i];
		struct ft_finding *n = ft_find(to, x->rule, x->where, x->seen, x->expected);
		ft_finding_weigh(to, n, x->weight);
		n->why = x->why;
		n->todo = x->todo;
		n->follows = x->follows;
	}
	to->dropped += from->dropped;
}

/* Reads an audit of the visit for proving only; false where it cannot be read. */
static enum ft_status facts_of(struct judging *j, int evidence, struct ft_read *ret, bool *ret_read, struct ft_error *e)
{
	const struct ft_evidence *x = &j->v->evidence[evidence];
	struct ft_audit *d = FT_NEW(j->a, struct ft_audit);
	struct ft_facts *facts = FT_NEW(j->a, struct ft_facts);
	struct ft_error own = { 0 };
	enum ft_status s;

	*ret_read = false;
	if (!x->bytes.p)
		return ft_fail(e, FT_E_INTERNAL, "The bytes of %s were not loaded before judging.", x->name);
	if (!d || !facts)
		return ft_fail_memory(e, "judging the visit");
	s = ft_audit_read(x->bytes, j->a, d, &own);
	if (s == FT_OK && d->set_count)
		s = ft_audit_facts(d, &d->sets[0], j->a, facts, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	*ret = (struct ft_read){ x->name, facts };
	*ret_read = s == FT_OK && d->set_count;
	return FT_OK;
}

/* What the sales up to the audit `round` told: the simplest story, or how many counters went wrong. */
static enum ft_status story_before(struct judging *j, const struct ft_read *before, int round, const char **ret,
                                   struct ft_error *e)
{
	struct ft_findings unused = { .arena = j->a };
	struct ft_prove_input in = { .sales = j->sales, .sale_count = j->sales_before[round], .counted = FT_ABSENT };
	struct ft_proof p = { 0 };
	struct ft_error own = { 0 };
	struct ft_read last;
	bool readable = false;
	enum ft_status s = FT_OK;
	int audit = -1;

	*ret = NULL;
	for (int i = 0; i < round; i++)
		if (j->v->evidence[i].kind == FT_EVIDENCE_AUDIT && i != j->before.evidence)
			audit = i;
	if (audit >= 0)
		s = facts_of(j, audit, &last, &readable, e);
	if (s != FT_OK || !readable || !in.sale_count)
		return s;
	s = ft_prove(before, &last, &in, j->a, &unused, &p, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK || !p.wrong_count)
		return FT_OK;
	*ret = p.story_count ? p.stories[0].detail
						 : ft_arena_printf(j->a, "%zu of %zu counters moved otherwise", p.wrong_count, p.counter_count);
	return FT_OK;
}

/* Takes the last round for the proof if everything in it agrees. */
static enum ft_status prove_anew(struct judging *j, const struct ft_read *before, const struct ft_read *after,
                                 bool *ret_taken, struct ft_error *e)
{
	struct ft_findings *f = &j->g->findings, own_findings = { .arena = j->a };
	int round = last_round(j->v, j->before.evidence);
	struct ft_error own = { 0 };
	struct ft_account *accounts = FT_NEW_ARRAY(j->a, j->g->capture_count + 1, struct ft_account);
	struct ft_prove_input in = { .sales_name = j->sales_name, .counted = FT_ABSENT, .accounts = accounts };
	struct ft_proof p = { 0 };
	struct ft_read from;
	const char *story;
	bool readable;
	enum ft_status s;

	*ret_taken = false;
	if (!accounts)
		return ft_fail_memory(e, "judging the visit");
	if (round < 0 || round == j->after.evidence || j->sales_before[round] == j->sale_count)
		return FT_OK;
	s = facts_of(j, round, &from, &readable, e);
	if (s != FT_OK || !readable)
		return s;
	in.sales = j->sales + j->sales_before[round];
	in.sale_count = j->sale_count - j->sales_before[round];
	in.account_count = judge_accounts(j, round, accounts);
	s = ft_prove(&from, after, &in, j->a, &own_findings, &p, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK || p.verdict != FT_SHOWN || p.agree != 1)
		return FT_OK;
	s = story_before(j, before, round, &story, e);
	if (s != FT_OK)
		return s;
	ft_find(f, FT_RULE_VISIT_PROVED_ANEW, (struct ft_where){ .file = from.name }, story, NULL);
	judge_append(f, &own_findings);
	*j->proof = p;
	j->sales += j->sales_before[round];
	j->sale_count = in.sale_count;
	j->story_before = story;
	j->g->proved_from = round;
	*ret_taken = true;
	return FT_OK;
}

enum ft_status judge_sales(struct judging *j, const struct ft_read *before, const struct ft_read *after,
                           struct ft_error *e)
{
	struct ft_findings *f = &j->g->findings, whole = { .arena = j->a };
	struct ft_account *accounts = FT_NEW_ARRAY(j->a, j->g->capture_count + 1, struct ft_account);
	struct ft_prove_input in = { .sales = j->sales,
		                         .sale_count = j->sale_count,
		                         .sales_name = j->sales_name,
		                         .counted = FT_ABSENT,
		                         .accounts = accounts };
	struct ft_error own = { 0 };
	bool taken = false;
	enum ft_status s;

	if (!accounts)
		return ft_fail_memory(e, "judging the visit");
	in.account_count = judge_accounts(j, -1, accounts);
	s = ft_prove(before, after, &in, j->a, &whole, j->proof, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	j->g->proved_from = j->before.evidence;
	if (s != FT_OK) {
		for (size_t i = 0; i < j->v->evidence_count; i++)
			if (j->v->evidence[i].kind == FT_EVIDENCE_SALES)
				judge_unreadable(j, (int)i, own.text);
		j->proof = NULL;
		return FT_OK;
	}
	if (j->proof->verdict != FT_SHOWN || j->proof->agree != 1) {
		s = prove_anew(j, before, after, &taken, e);
		if (s != FT_OK)
			return s;
	}
	if (!taken)
		judge_append(f, &whole);
	return FT_OK;
}

/* Without a list the last capture's sales may be proved. A capture that ran for a part of the time contradicts
 * nothing: only where everything agrees is its account taken. */
enum ft_status judge_bus_sales(struct judging *j, const struct ft_read *before, const struct ft_read *after,
                               struct ft_error *e)
{
	const struct ft_visit_capture *last = ft_visit_capture_last(j->g->captures, j->g->capture_count);
	struct ft_prove_input in = { .counted = FT_ABSENT };
	struct ft_findings own_findings = { .arena = j->a };
	struct ft_error own = { 0 };
	enum ft_status s;

	if (!last || !last->account.sale_count) {
		j->proof = NULL;
		return FT_OK;
	}
	in.accounts = &last->account;
	in.account_count = 1;
	s = ft_prove(before, after, &in, j->a, &own_findings, j->proof, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK || j->proof->verdict != FT_SHOWN || j->proof->agree != 1) {
		j->proof = NULL;
		j->bus_unproved = true;
		return FT_OK;
	}
	judge_append(&j->g->findings, &own_findings);
	j->g->proved_from = j->before.evidence;
	j->g->sold_by_bus = &last->account;
	j->sales = FT_NEW_ARRAY(j->a, last->account.sale_count, struct ft_sale);
	if (!j->sales)
		return ft_fail_memory(e, "judging the visit");
	memcpy(j->sales, last->account.sales, last->account.sale_count * sizeof *j->sales);
	j->sale_count = last->account.sale_count;
	return FT_OK;
}
