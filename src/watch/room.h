/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the watch room share. */
#ifndef FETTLE_WATCH_ROOM_H
#define FETTLE_WATCH_ROOM_H

#include "fettle/csv.h"
#include "fettle/hash.h"
#include "fettle/time.h"
#include "fettle/watch.h"
#include "limits.h"

/* Foreign numbers are hostile: sums stop at the ends. */
static inline int64_t watch_add(int64_t a, int64_t b)
{
	int64_t r;
	return __builtin_add_overflow(a, b, &r) ? (b < 0 ? -INT64_MAX : INT64_MAX) : r;
}

static inline int64_t watch_less(int64_t a, int64_t b)
{
	int64_t r;
	return __builtin_sub_overflow(a, b, &r) ? (b > 0 ? -INT64_MAX : INT64_MAX) : r;
}

static inline int64_t watch_mul(int64_t a, int64_t b)
{
	int64_t r;
	return __builtin_mul_overflow(a, b, &r) ? ((a < 0) != (b < 0) ? -INT64_MAX : INT64_MAX) : r;
}

/* The machine while its reads are gone through. */
struct watch_walk {
	struct ft_watch_result *r;
	struct ft_arena *scratch;          /* as long as the walk: what no result points into */
	const struct ft_watch_read *reads; /* whole, each once, in order of time */
	size_t count;
	const struct ft_baseline *base; /* NULL: no handover */
	size_t handed;                  /* the first read after the handover; `count`: none, or there is no handover */
	const char *as, *than;          /* what is compared with: "as before", "before"; or the handover's words */
	int64_t now_us;
	/* union of all selections */
	struct ft_slice *ids;
	size_t id_count;
	int32_t *cell_of; /* [read * id_count + id]: index of its cell, -1: not sent */
	/* by read, to its predecessor: corrected by wraps; FT_ABSENT where they cannot be told */
	int64_t *sold;      /* all paid sales */
	int64_t *sold_each; /* [read * id_count + id] */
	bool *visited;      /* somebody was there between the one before and this read */
};

const char *watch_money(struct ft_watch_result *r, int64_t minor); /* "12.50 EUR", in the result's arena */
const char *watch_day(struct ft_watch_result *r, int64_t at_us);   /* "2026-03-09" */
const char *watch_file(struct ft_watch_result *r, const struct ft_watch_read *x);
bool watch_median(double *list, size_t n, double *ret); /* puts the list in order */

/* Dates of tables people keep: 2026-03-09, 9.3.2026 or 20260309 as a day since 1970. */
bool watch_date(struct ft_slice s, int32_t *ret);

/* order.c */
size_t watch_order(struct ft_watch_read *reads, size_t count, struct ft_watch_result *r);
/* counters.c */
bool watch_counters(struct watch_walk *w);
/* What the first read after the handover says against it; it stands behind no other read. */
void watch_counters_handed(struct watch_walk *w);
/* handover.c */
void watch_handover(struct watch_walk *w);
/* clock.c */
void watch_clock(struct watch_walk *w);
void watch_arrivals(struct watch_walk *w);
void watch_outages(struct watch_walk *w);
void watch_prices(struct watch_walk *w);
/* sales.c */
bool watch_sales(struct watch_walk *w);
/* box.c */
bool watch_box(struct watch_walk *w);

/* Results by asset, for tables that name one. */
struct watch_index {
	struct ft_watch_result **list; /* in order of their asset */
	size_t count;
};
bool watch_index_make(struct ft_watch_result *results, size_t count, struct ft_arena *a, struct watch_index *ret);
struct ft_watch_result *watch_index_find(const struct watch_index *x, const char *asset);

#endif
