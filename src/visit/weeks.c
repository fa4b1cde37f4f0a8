/* SPDX-License-Identifier: Apache-2.0 */
/* Do the weeks after agree? The table that the watch files is read, and its exceptions become findings. */
#include <stdio.h>

#include "judge.h"

#include "fettle/time.h"

/* All our own choice: a week has a weekend in it, and one collection may hold what lay there before the visit. */
enum { WEEKS_DAYS = 7, WEEKS_READS = 5, WEEKS_COUNTS = 2, WEEKS_DEGREES = 24 };

enum ft_status judge_weeks(struct judging *j, struct ft_error *e)
{
	const struct ft_evidence *x;
	struct ft_error own = { 0 };
	struct ft_weeks *w;
	enum ft_status s;

	j->weeks_evidence = -1;
	for (size_t i = 0; i < j->v->evidence_count; i++)
		if (j->v->evidence[i].kind == FT_EVIDENCE_WEEKS)
			j->weeks_evidence = (int)i;
	j->weeks_unread.from = j->weeks_unread.to = (int)j->g->findings.count;
	if (j->weeks_evidence < 0)
		return FT_OK;
	x = &j->v->evidence[j->weeks_evidence];
	if (!x->bytes.p)
		return ft_fail(e, FT_E_INTERNAL, "The bytes of %s were not loaded before judging.", x->name);
	w = FT_NEW(j->a, struct ft_weeks);
	if (!w)
		return ft_fail_memory(e, "judging the visit");
	s = ft_weeks_read(x->bytes, x->name, j->a, w, &own);
	if (s == FT_E_MEMORY)
		return ft_fail(e, s, "%s", own.text);
	if (s == FT_OK)
		j->weeks = w;
	else
		judge_unreadable(j, j->weeks_evidence, own.text);
	j->weeks_unread.to = (int)j->g->findings.count;
	return FT_OK;
}

struct judge_span judge_weeks_against(struct judging *j, enum ft_claim_id id)
{
	const enum ft_weeks_claim about = id == FT_CLAIM_WATCH_READS ? FT_WEEKS_READS
		: id == FT_CLAIM_WATCH_CASH                              ? FT_WEEKS_CASH
																 : FT_WEEKS_EVENTS;
	struct judge_span run = { (int)j->g->findings.count, 0 };

	for (size_t i = 0; i < j->weeks->found_count; i++) {
		const struct ft_weeks_found *x = &j->weeks->found[i];
		if (ft_weeks_claim_of(x->rule) == about)
			ft_find(&j->g->findings, x->rule,
			        (struct ft_where){ .file = x->file,
			                           .selection = x->selection,
			                           .timed = x->seen_us != FT_ABSENT,
			                           .at_us = x->seen_us },
			        x->seen, x->expected);
	}
	run.to = (int)j->g->findings.count;
	return run;
}

static const char *date(int64_t us, char out[FT_TIME_TEXT])
{
	ft_time_text(us == FT_ABSENT ? 0 : us, 0, out);
	out[10] = 0;
	return out;
}

enum { AMOUNT_ROOM = FT_MONEY_TEXT + 16 };

/* "12.50 EUR" */
static const char *amount(const struct ft_weeks *w, int64_t minor, char out[AMOUNT_ROOM])
{
	const int64_t decimals = w->fact[FT_WEEKS_DECIMALS];
	char text[FT_MONEY_TEXT];

	ft_money_text(minor, decimals >= 0 && decimals <= FT_AUDIT_DECIMALS_MAX ? (int)decimals : 2, text);
	snprintf(out, AMOUNT_ROOM, "%s%s%.8s", text, *w->currency ? " " : "", w->currency);
	return out;
}

/* Whole days since the handover, up to a time. */
static int64_t days_to(const struct ft_weeks *w, int64_t until)
{
	int64_t from = w->fact[FT_WEEKS_FROM];

	return from == FT_ABSENT || until == FT_ABSENT || until < from ? 0 : (until - from) / FT_DAY;
}

static enum ft_stands say_reads(const struct judging *j, const char **ret_because, const char **ret_todo)
{
	const int64_t *fact = j->weeks->fact, arrived = fact[FT_WEEKS_READS_ARRIVED];
	const int64_t days = days_to(j->weeks, fact[FT_WEEKS_UNTIL]);
	char from[FT_TIME_TEXT], to[FT_TIME_TEXT], money[AMOUNT_ROOM], sold[AMOUNT_ROOM + 40] = "";

	if (days < WEEKS_DAYS) {
		*ret_because =
			ft_arena_printf(j->a,
		                    "%lld of %d days have passed since the handover; audits came on %lld of them and "
		                    "nothing is wrong so far.",
		                    (long long)days, WEEKS_DAYS, (long long)arrived);
		*ret_todo = "wait; fettle watch decides it as the days come in";
		return FT_STANDS_OPEN;
	}
	if (arrived < WEEKS_READS) { /* where none came at all an exception of the table says so */
		*ret_because =
			ft_arena_printf(j->a,
		                    "Audits came on %lld of %lld days since the handover; %d are needed to know its rhythm.",
		                    (long long)arrived, (long long)days, WEEKS_READS);
		*ret_todo = "see why so few audits come";
		return FT_STANDS_OPEN;
	}
	if (fact[FT_WEEKS_SOLD] != FT_ABSENT && fact[FT_WEEKS_SOLD_VALUE] != FT_ABSENT)
		snprintf(sold, sizeof sold, "%lld sales for %s, ", (long long)fact[FT_WEEKS_SOLD],
		         amount(j->weeks, fact[FT_WEEKS_SOLD_VALUE], money));
	*ret_because = ft_arena_printf(j->a,
	                               "Audits came on %lld of %lld days from %s to %s and go on from the audit of after: "
	                               "%sno counter lower, every price as handed over.",
	                               (long long)arrived, (long long)fact[FT_WEEKS_READS_EXPECTED],
	                               date(fact[FT_WEEKS_FIRST_READ], from), date(fact[FT_WEEKS_LAST_READ], to), sold);
	return FT_STANDS_SHOWN;
}

static enum ft_stands say_cash(const struct judging *j, const char **ret_because)
{
	const int64_t *fact = j->weeks->fact;
	char to[FT_TIME_TEXT], counted[AMOUNT_ROOM], expected[AMOUNT_ROOM], off_text[AMOUNT_ROOM];
	int64_t off;

	if (fact[FT_WEEKS_CASH_UNTIL] == FT_ABSENT)
		return FT_STANDS_OPEN;
	date(fact[FT_WEEKS_CASH_UNTIL], to);
	if (fact[FT_WEEKS_COUNTED] < WEEKS_COUNTS || fact[FT_WEEKS_CASH_COUNTED] == FT_ABSENT) {
		*ret_because =
			ft_arena_printf(j->a, "Up to %s %lld of %lld collections since the handover were counted; %d are needed.",
		                    to, (long long)fact[FT_WEEKS_COUNTED], (long long)fact[FT_WEEKS_COLLECTIONS], WEEKS_COUNTS);
		return FT_STANDS_OPEN;
	}
	if (__builtin_sub_overflow(fact[FT_WEEKS_CASH_COUNTED], fact[FT_WEEKS_CASH_EXPECTED], &off))
		off = INT64_MAX;
	*ret_because =
		ft_arena_printf(j->a, "%lld collections counted up to %s hold %s, and the audits demand %s: %s.",
	                    (long long)fact[FT_WEEKS_COUNTED], to, amount(j->weeks, fact[FT_WEEKS_CASH_COUNTED], counted),
	                    amount(j->weeks, fact[FT_WEEKS_CASH_EXPECTED], expected), amount(j->weeks, off, off_text));
	return FT_STANDS_SHOWN;
}

/* What of door or cabinet is wanted and has not come, or not for long enough; NULL: nothing. */
static const char *wanting(const struct judging *j, unsigned part, const char *what, int64_t until, int64_t came,
                           int64_t least)
{
	if (j->v->without & part)
		return NULL;
	if (until == FT_ABSENT || came <= 0)
		return ft_arena_printf(j->a, "nothing of %s has come", what);
	if (came < least || days_to(j->weeks, until) < WEEKS_DAYS)
		return ft_arena_printf(j->a, "what came of %s spans %lld of %d days", what, (long long)days_to(j->weeks, until),
		                       WEEKS_DAYS);
	return NULL;
}

static enum ft_stands say_events(const struct judging *j, const char **ret_because)
{
	const int64_t *fact = j->weeks->fact;
	const bool doors = !(j->v->without & FT_PART_DOOR), degrees = !(j->v->without & FT_PART_TEMPERATURE);
	const char *door, *cold;
	char told[80] = "";

	if (fact[FT_WEEKS_DOORS_UNTIL] == FT_ABSENT && fact[FT_WEEKS_DEGREES_UNTIL] == FT_ABSENT)
		return FT_STANDS_OPEN;
	door = wanting(j, FT_PART_DOOR, "the door", fact[FT_WEEKS_DOORS_UNTIL], fact[FT_WEEKS_OPENINGS], 1);
	cold = wanting(j, FT_PART_TEMPERATURE, "the cabinet", fact[FT_WEEKS_DEGREES_UNTIL], fact[FT_WEEKS_DEGREES],
	               WEEKS_DEGREES);
	if (door || cold) {
		*ret_because = ft_arena_printf(j->a, "Since the handover %s%s%s.", door ? door : "",
		                               door && cold ? ", and " : "", cold ? cold : "");
		return FT_STANDS_OPEN;
	}
	if (degrees)
		snprintf(told, sizeof told, "%s%lld temperatures of the cabinet", doors ? " and " : "",
		         (long long)fact[FT_WEEKS_DEGREES]);
	*ret_because = doors
		? ft_arena_printf(j->a, "%lld openings of the door%s came, and none contradicts the audits or the limit.",
	                      (long long)fact[FT_WEEKS_OPENINGS], told)
		: ft_arena_printf(j->a, "%s came, and none contradicts the limit.", told);
	return FT_STANDS_SHOWN;
}

enum ft_stands judge_weeks_say(const struct judging *j, enum ft_claim_id id, const char **ret_because,
                               const char **ret_todo)
{
	*ret_because = *ret_todo = NULL;
	switch (id) {
	case FT_CLAIM_WATCH_READS:
		return say_reads(j, ret_because, ret_todo);
	case FT_CLAIM_WATCH_CASH:
		return say_cash(j, ret_because);
	default:
		return say_events(j, ret_because);
	}
}
