/* SPDX-License-Identifier: Apache-2.0 */
/* From what a visit holds to how its claims stand: reads the evidence once, then decides claim by claim. */
#include "judge.h"

#include "fettle/crc.h"

bool judge_in(const struct judge_span *s, int index)
{
	return index >= s->from && index < s->to;
}

void judge_unreadable(struct judging *j, int evidence, const char *why)
{
	struct ft_where where = { .file = j->v->evidence[evidence].name };
	struct ft_slice seen = ft_slice_of(why);

	if (seen.n && seen.p[seen.n - 1] == '.') /* whoever prints a finding puts the stop */
		seen.n--;
	ft_find(&j->g->findings, FT_RULE_VISIT_UNREADABLE, where, ft_arena_text(j->a, seen), NULL);
}

static enum ft_status read_audit(struct judging *j, int evidence, struct judge_audit *r, struct ft_error *e)
{
	const struct ft_evidence *x = evidence < 0 ? NULL : &j->v->evidence[evidence];
	struct ft_findings *f = &j->g->findings;
	struct ft_error own = { 0 };
	struct ft_audit *d;
	enum ft_status s;

	r->evidence = evidence;
	r->found.from = r->found.to = (int)f->count;
	if (!x)
		return FT_OK;
	if (!x->bytes.p)
		return ft_fail(e, FT_E_INTERNAL, "The bytes of %s were not loaded before judging.", x->name);
	d = FT_NEW(j->a, struct ft_audit);
	r->facts = FT_NEW(j->a, struct ft_facts);
	r->summary = FT_NEW(j->a, struct ft_summary);
	if (!d || !r->facts || !r->summary)
		return ft_fail_memory(e, "judging the visit");
	s = ft_audit_read(x->bytes, j->a, d, &own);
	if (s == FT_OK && d->set_count == 0) {
		ft_find(f, FT_RULE_AUDIT_EMPTY, (struct ft_where){ .file = x->name }, NULL, NULL);
		r->facts = NULL;
	} else if (s == FT_OK) {
		s = ft_audit_facts(d, &d->sets[0], j->a, r->facts, &own);
		if (s == FT_OK)
			s = ft_audit_summary(r->facts, j->a, r->summary, &own);
		if (s == FT_OK)
			ft_audit_judge(r->facts, x->name, ft_crc16, f, &r->check);
	}
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s != FT_OK) {
		judge_unreadable(j, evidence, own.text);
		r->facts = NULL;
	}
	r->found.to = (int)f->count;
	return FT_OK;
}

/* All lists of sales of the visit together, in the order of adding. */
static enum ft_status read_sales(struct judging *j, int decimals, struct ft_error *e)
{
	size_t room = 0;

	j->sales_found.from = (int)j->g->findings.count;
	j->sales_before = FT_NEW_ARRAY(j->a, j->v->evidence_count + 1, size_t);
	if (!j->sales_before)
		return ft_fail_memory(e, "judging the visit");
	for (size_t i = 0; i < j->v->evidence_count; i++) {
		const struct ft_evidence *x = &j->v->evidence[i];
		struct ft_error own = { 0 };
		struct ft_sale *list;
		size_t count = 0;
		enum ft_status s;
		j->sales_before[i] = j->sale_count;
		if (x->kind != FT_EVIDENCE_SALES)
			continue;
		if (!x->bytes.p)
			return ft_fail(e, FT_E_INTERNAL, "The bytes of %s were not loaded before judging.", x->name);
		j->sales_lists++;
		j->sales_name = x->name;
		s = ft_sales_read(x->bytes, x->name, decimals, j->a, &list, &count, &own);
		if (s == FT_E_MEMORY)
			return ft_fail(e, s, "%s", own.text);
		if (s != FT_OK)
			judge_unreadable(j, (int)i, own.text);
		for (size_t n = 0; s == FT_OK && n < count; n++) {
			struct ft_sale *grown = ft_arena_grow(j->a, j->sales, j->sale_count, &room, sizeof *grown);
			if (!grown)
				return ft_fail_memory(e, "judging the visit");
			j->sales = grown;
			j->sales[j->sale_count++] = list[n];
		}
	}
	j->sales_found.to = (int)j->g->findings.count;
	return FT_OK;
}

/* Whether the machine itself says by its clock and by its count of reads that `one` was read before `other`. One of the
 * two alone is not enough: a clock is set back, and a counter may be cleared. */
static bool read_earlier(const struct judging *j, const struct ft_summary *one, const struct ft_summary *other)
{
	int64_t early, late;

	if (one->reads == FT_ABSENT || other->reads == FT_ABSENT || one->reads >= other->reads ||
	    !ft_slice_eq_nocase(ft_slice_trim(one->serial), ft_slice_trim(other->serial)))
		return false;
	return one->clock[0] && other->clock[0] && ft_time_parse(ft_slice_of(one->clock), j->v->opened_offset, &early) &&
		ft_time_parse(ft_slice_of(other->clock), j->v->opened_offset, &late) && early < late;
}

/* An audit that was added last is taken as the one of after; where one added sooner was read later, no sale can
 * be proved up to it, and its counters would tell a story of a fault that is none. */
static enum ft_status find_late_adding(struct judging *j, bool *ret_found, struct ft_error *e)
{
	const struct ft_evidence *last = &j->v->evidence[j->after.evidence];
	struct ft_findings *f = &j->g->findings, unused = { .arena = j->a };

	*ret_found = false;
	for (int i = j->after.evidence - 1; i >= 0; i--) {
		const struct ft_evidence *x = &j->v->evidence[i];
		struct judging own = { .v = j->v, .a = j->a, .g = &(struct ft_judgement){ .findings = unused } };
		struct judge_audit r = { 0 };
		struct ft_finding *n;
		enum ft_status s;
		if (x->kind != FT_EVIDENCE_AUDIT || i == j->before.evidence)
			continue;
		s = read_audit(&own, i, &r, e);
		if (s != FT_OK)
			return s;
		if (!r.facts || !read_earlier(j, j->after.summary, r.summary))
			continue;
		n = ft_find(f, FT_RULE_LEDGER_ORDER, (struct ft_where){ .file = last->name },
		            ft_arena_printf(j->a, "%s was read before %s", last->name, x->name), NULL);
		ft_finding_weigh(f, n, FT_DOUBT);
		n->todo = ft_arena_printf(j->a, "fettle visit add %s --stage keep %s", j->v->id, last->name);
		*ret_found = true;
		return FT_OK;
	}
	return FT_OK;
}

static enum ft_status between_audits(struct judging *j, struct ft_error *e)
{
	struct ft_findings *f = &j->g->findings;
	struct ft_read before = { NULL, j->before.facts }, after = { NULL, j->after.facts };
	enum ft_status s;
	bool late;

	j->compare_found.from = j->compare_found.to = j->prove_found.from = j->prove_found.to = (int)f->count;
	/* what a cut audit lacks says nothing about the machine */
	if (!before.facts || !after.facts || !j->before.check.whole || !j->after.check.whole)
		return FT_OK;
	before.name = j->v->evidence[j->before.evidence].name;
	after.name = j->v->evidence[j->after.evidence].name;
	j->comparison = FT_NEW(j->a, struct ft_comparison);
	j->proof = FT_NEW(j->a, struct ft_proof);
	if (!j->comparison || !j->proof)
		return ft_fail_memory(e, "judging the visit");
	j->g->compared = true;
	s = ft_compare(&before, &after, j->a, f, j->comparison, e);
	j->compare_found.to = j->prove_found.from = j->prove_found.to = (int)f->count;
	if (s == FT_OK)
		s = find_late_adding(j, &late, e);
	if (s != FT_OK)
		return s;
	if (late) { /* said of the counters and of what was sold alike */
		j->compare_found.to = j->prove_found.to = (int)f->count;
		j->proof = NULL;
		return FT_OK;
	}
	s = j->sale_count ? judge_sales(j, &before, &after, e) : judge_bus_sales(j, &before, &after, e);
	j->prove_found.to = (int)f->count;
	return s;
}

static bool sent(const struct ft_facts *f, enum ft_segment_id id)
{
	return f->segment[id] >= 0;
}

static bool coins(const struct ft_facts *f)
{
	return sent(f, FT_SEG_CA1) || sent(f, FT_SEG_CA11) || sent(f, FT_SEG_CA15) || sent(f, FT_SEG_CA17);
}

static bool bills(const struct ft_facts *f)
{
	return sent(f, FT_SEG_BA1) || sent(f, FT_SEG_CA14) || (f->bills_in_init != FT_ABSENT && f->bills_in_init > 0);
}

static bool applies(const struct judging *j, enum ft_applies when)
{
	static const unsigned parts[] = {
		[FT_APPLIES_COINS] = FT_PART_COINS,     [FT_APPLIES_BILLS] = FT_PART_BILLS,
		[FT_APPLIES_CARD] = FT_PART_CARD,       [FT_APPLIES_CASH] = 0,
		[FT_APPLIES_DOOR] = FT_PART_DOOR,       [FT_APPLIES_TEMPERATURE] = FT_PART_TEMPERATURE,
		[FT_APPLIES_ANTENNA] = FT_PART_ANTENNA, [FT_APPLIES_BUS] = FT_PART_BUS,
		[FT_APPLIES_SUPPLY] = FT_PART_SUPPLY,   [FT_APPLIES_EVENTS] = 0
	};
	const unsigned cash = FT_PART_COINS | FT_PART_BILLS, events = FT_PART_DOOR | FT_PART_TEMPERATURE;
	const struct ft_facts *f =
		j->after.facts && (j->after.check.whole || !j->before.facts) ? j->after.facts : j->before.facts;

	if (j->v->without & parts[when] || (when == FT_APPLIES_CASH && (j->v->without & cash) == cash) ||
	    (when == FT_APPLIES_EVENTS && (j->v->without & events) == events))
		return false;
	if (!f)
		return true;
	switch (when) {
	case FT_APPLIES_COINS:
		return coins(f) || (!bills(f) && sent(f, FT_SEG_CA2));
	case FT_APPLIES_BILLS:
		return bills(f);
	case FT_APPLIES_CARD:
		return sent(f, FT_SEG_DA1) || sent(f, FT_SEG_DA2) || sent(f, FT_SEG_DB1) || sent(f, FT_SEG_DB2);
	case FT_APPLIES_CASH:
		return coins(f) || bills(f) || sent(f, FT_SEG_CA2) || sent(f, FT_SEG_CA3);
	default:
		return true;
	}
}

static void words_of(const struct judging *j, struct ft_claim_state *c)
{
	for (size_t i = 0; i < j->v->statement_count; i++)
		if (j->v->statements[i].claim == c->id)
			c->said = &j->v->statements[i];
	for (size_t i = 0; i < j->v->waiver_count; i++)
		if (j->v->waivers[i].claim == c->id)
			c->waiver = &j->v->waivers[i];
}

static void count_up(struct ft_judgement *g)
{
	const struct ft_claim_state *open = NULL, *later = NULL, *against = NULL;

	for (size_t i = 0; i < g->claim_count; i++) {
		const struct ft_claim_state *c = &g->claims[i];
		bool due = c->claim->due == FT_DUE_CLOSE;
		g->stands[c->stands]++;
		if (c->stands == FT_STANDS_CONTRADICTED && !against)
			against = c;
		if (c->stands != FT_STANDS_OPEN)
			continue;
		g->open_to_close += due;
		if (due && !open)
			open = c;
		if (!due && !later)
			later = c;
	}
	g->next = against ? against : open ? open : later;
	g->verdict = against ? FT_CONTRADICTED : open ? FT_OPEN : FT_SHOWN;
}

enum ft_status ft_visit_judge(const struct ft_visit *v, struct ft_arena *a, struct ft_judgement *ret,
                              struct ft_error *e)
{
	struct judging j = { .v = v, .a = a, .g = ret };
	const struct ft_facts *f;
	int before, after;
	enum ft_status s;

	*ret = (struct ft_judgement){ .findings = { .arena = a }, .proved_from = -1 };
	ret->claims = FT_NEW_ARRAY(a, FT_CLAIM_COUNT, struct ft_claim_state);
	ret->left_out = FT_NEW_ARRAY(a, FT_CLAIM_COUNT, const struct ft_claim *);
	if (!ret->claims || !ret->left_out)
		return ft_fail_memory(e, "judging the visit");
	ft_visit_audits(v, &before, &after);
	s = read_audit(&j, before, &j.before, e);
	if (s == FT_OK)
		s = read_audit(&j, after, &j.after, e);
	f = j.after.facts ? j.after.facts : j.before.facts;
	j.decimals = f ? f->decimals : 2;
	if (s == FT_OK)
		s = read_sales(&j, j.decimals, e);
	if (s == FT_OK)
		s = ft_visit_captures(v, j.decimals, a, &ret->captures, &ret->capture_count, e);
	if (s == FT_OK)
		judge_captures(&j);
	if (s == FT_OK)
		s = between_audits(&j, e);
	if (s == FT_OK)
		s = judge_door(&j, e);
	if (s == FT_OK)
		s = judge_supply(&j, e);
	if (s == FT_OK)
		s = judge_survey(&j, e);
	if (s == FT_OK)
		s = judge_cold(&j, e);
	if (s == FT_OK)
		s = judge_signal(&j, e);
	if (s == FT_OK)
		s = judge_weeks(&j, e);
	for (int i = 0; s == FT_OK && i < FT_CLAIM_COUNT; i++) {
		const struct ft_claim *claim = ft_claim((enum ft_claim_id)i);
		struct ft_claim_state *c = &ret->claims[ret->claim_count];
		if (!applies(&j, claim->applies)) {
			ret->left_out[ret->left_out_count++] = claim;
			continue;
		}
		*c = (struct ft_claim_state){ .claim = claim, .id = (enum ft_claim_id)i, .stands = FT_STANDS_OPEN };
		words_of(&j, c);
		judge_claim(&j, c);
		ret->claim_count++;
	}
	if (s == FT_OK && (a->failed || j.no_room))
		s = ft_fail_memory(e, "judging the visit");
	if (s == FT_OK)
		count_up(ret);
	return s;
}
