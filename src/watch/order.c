/* SPDX-License-Identifier: Apache-2.0 */
/* Reads into order of time: copies are taken out, late ones put where they belong, parts left aside. */
#include <stdlib.h>

#include "room.h"

static int by_arrival(const void *x, const void *y)
{
	const struct ft_watch_read *a = x, *b = y;

	if (a->number[FT_WATCH_ARRIVED] != b->number[FT_WATCH_ARRIVED])
		return a->number[FT_WATCH_ARRIVED] < b->number[FT_WATCH_ARRIVED] ? -1 : 1;
	if (a->content != b->content)
		return a->content < b->content ? -1 : 1;
	return ft_slice_cmp(a->text[FT_WATCH_FILE], b->text[FT_WATCH_FILE]);
}

static int by_content(const void *x, const void *y)
{
	const struct ft_watch_read *a = x, *b = y;

	if (a->content != b->content)
		return a->content < b->content ? -1 : 1;
	return by_arrival(x, y);
}

static int by_time(const void *x, const void *y)
{
	const struct ft_watch_read *a = x, *b = y;

	if (a->at_us != b->at_us)
		return a->at_us < b->at_us ? -1 : 1;
	return by_arrival(x, y);
}

/* The same bytes twice: the first to arrive stays. The same file looked at again is no second copy. */
static size_t drop_copies(struct ft_watch_read *reads, size_t count, struct ft_watch_result *r)
{
	size_t kept = 0;

	qsort(reads, count, sizeof *reads, by_content);
	for (size_t i = 0; i < count; i++) {
		if (kept && reads[kept - 1].content == reads[i].content) {
			r->again += !ft_slice_eq(reads[kept - 1].text[FT_WATCH_FILE], reads[i].text[FT_WATCH_FILE]);
			continue;
		}
		reads[kept++] = reads[i];
	}
	return kept;
}

static double clock_off(const struct ft_watch_read *x)
{
	return (double)x->number[FT_WATCH_CLOCK] - (double)x->number[FT_WATCH_ARRIVED];
}

/* How far the clock stands from the arrival, by the reads around: a late copy does not change it. */
static bool usual_off(const struct ft_watch_read *reads, size_t count, size_t i, double *ret)
{
	double near[7];
	size_t n = 0, from = i > 3 ? i - 3 : 0;

	for (size_t k = from; k < count && k <= i + 3; k++)
		if (reads[k].number[FT_WATCH_CLOCK] != FT_ABSENT)
			near[n++] = clock_off(&reads[k]);
	return n >= 3 && watch_median(near, n, ret);
}

/* A late copy was read not long before the machine was first heard of, and the counters go through it; a clock that
 * lost its time tells of a day of which nothing is known, or at which the counters stood lower. */
static bool goes_there(const struct ft_watch_read *reads, size_t count, size_t i, int64_t at_us)
{
	int64_t here = reads[i].number[FT_WATCH_PAID_COUNT], after;
	size_t low = 0, high = count;

	if (at_us < reads[0].number[FT_WATCH_ARRIVED] - WATCH_LATE_MOST)
		return false;
	while (low < high) { /* the first that arrived after it was read */
		size_t mid = low + (high - low) / 2;
		if (reads[mid].number[FT_WATCH_ARRIVED] <= at_us)
			low = mid + 1;
		else
			high = mid;
	}
	after = low < count ? reads[low].number[FT_WATCH_PAID_COUNT] : FT_ABSENT;
	return low >= i || here == FT_ABSENT || after == FT_ABSENT || here <= after;
}

/* Without a clock: counters lower than before that are higher again right after tell a late copy. */
static bool counters_back(const struct ft_watch_read *reads, size_t count, size_t i, size_t *ret_to)
{
	int64_t here = reads[i].number[FT_WATCH_PAID_COUNT], before, after;

	if (!i || here == FT_ABSENT)
		return false;
	before = reads[i - 1].number[FT_WATCH_PAID_COUNT];
	after = i + 1 < count ? reads[i + 1].number[FT_WATCH_PAID_COUNT] : before; /* of the last one nobody knows yet */
	if (before == FT_ABSENT || after == FT_ABSENT || here >= before || after < before)
		return false;
	for (size_t k = i - 1; k > 0; k--)
		if (reads[k - 1].number[FT_WATCH_PAID_COUNT] <= here) {
			*ret_to = k;
			return true;
		}
	return false;
}

size_t watch_order(struct ft_watch_read *reads, size_t count, struct ft_watch_result *r)
{
	count = drop_copies(reads, count, r);
	qsort(reads, count, sizeof *reads, by_arrival);
	for (size_t i = 0; i < count; i++)
		reads[i].at_us = reads[i].number[FT_WATCH_ARRIVED];
	for (size_t i = 0; i < count; i++) {
		int64_t was;
		double off;
		size_t to;
		if (reads[i].number[FT_WATCH_CLOCK] != FT_ABSENT) {
			if (!usual_off(reads, count, i, &off) || clock_off(&reads[i]) >= off - (double)WATCH_LATE_US)
				continue;
			was = watch_less(reads[i].number[FT_WATCH_CLOCK], (int64_t)off);
			if (!goes_there(reads, count, i, was))
				continue;
			reads[i].at_us = was;
			r->late++;
		} else if (counters_back(reads, count, i, &to)) {
			reads[i].at_us = reads[to].at_us - FT_SECOND;
			r->late++;
		}
	}
	qsort(reads, count, sizeof *reads, by_time);
	return count;
}
