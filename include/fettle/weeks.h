/* SPDX-License-Identifier: Apache-2.0 */
/* The weeks after a handover in one small table: what the watch found of the machine since then. It is evidence of the
 * visit like any other, and from its bytes alone the claims of the weeks after are decided, in every book alike.
 *
 * The table has the columns what, value, selection, since, seen_at, seen, expected, file. A row is a fact (from, until,
 * reads-expected ...) or an exception that stands, named by its rule. Times are those of whoever brings the files,
 * without an offset. Pure; floor 3. */
#ifndef FETTLE_WEEKS_H
#define FETTLE_WEEKS_H

#include "fettle/watch.h"

enum { FT_WEEKS_FOUND_MAX = 60 }; /* ours: more than anybody reads; the most urgent are kept */

/* Facts; FT_ABSENT where nobody told. Money in minor units, times in us. */
enum ft_weeks_fact {
	FT_WEEKS_FROM, /* the handover */
	FT_WEEKS_UNTIL,
	FT_WEEKS_READS_EXPECTED, /* days by the machine's own rhythm */
	FT_WEEKS_READS_ARRIVED,
	FT_WEEKS_FIRST_READ, /* the first and the last since the handover */
	FT_WEEKS_LAST_READ,
	FT_WEEKS_SOLD, /* paid sales since the audit of after */
	FT_WEEKS_SOLD_VALUE,
	FT_WEEKS_DECIMALS,
	FT_WEEKS_CASH_UNTIL, /* when counts were last held against it */
	FT_WEEKS_COLLECTIONS,
	FT_WEEKS_COUNTED, /* of these */
	FT_WEEKS_CASH_EXPECTED,
	FT_WEEKS_CASH_COUNTED,
	FT_WEEKS_DOORS_UNTIL,
	FT_WEEKS_OPENINGS,
	FT_WEEKS_DEGREES_UNTIL,
	FT_WEEKS_DEGREES, /* rows of the cabinet's temperatures */
	FT_WEEKS_FACTS
};

/* An exception that speaks and is not acknowledged. */
struct ft_weeks_found {
	enum ft_rule_id rule;
	const char *selection; /* NULL: the whole machine */
	int64_t since_us, seen_us;
	const char *seen, *expected, *file; /* may be NULL */
};

struct ft_weeks {
	int64_t fact[FT_WEEKS_FACTS];
	const char *machine, *currency;
	struct ft_weeks_found *found;
	size_t found_count;
};

/* Does an exception of a tied machine speak against a claim? What lasts does until it ends, what happened once does for
 * good: until somebody acknowledges it, or waives the claim. */
bool ft_weeks_speaks(const struct ft_watch_result *r, const struct ft_exception *x, int64_t now_us);

/* From a judged machine that is tied to a handover. What this run was not told of (`counts`, `doors`, `degrees` false)
 * is taken over from `before` (may be NULL) with its findings. */
struct ft_weeks_told {
	bool counts, doors, degrees;
};
enum ft_status ft_weeks_of(const struct ft_watch_result *r, int64_t now_us, struct ft_weeks_told told,
                           const struct ft_weeks *before, struct ft_arena *a, struct ft_weeks *ret, struct ft_error *e);

void ft_weeks_write(const struct ft_weeks *w, struct ft_buf *out);

bool ft_weeks_is(struct ft_slice bytes); /* by its heading */
enum ft_status ft_weeks_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_weeks *ret,
                             struct ft_error *e);

#endif
