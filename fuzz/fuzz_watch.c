/* SPDX-License-Identifier: Apache-2.0 */
/* The tables of an office, the stream of reads in its book and the table of the weeks after in a package, from anybody.
 * Byte 0 says which. */
#include <stdlib.h>

#include "fettle/weeks.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What is written is read back as it was. */
static void same_again(const struct ft_weeks *w, struct ft_arena *a)
{
	struct ft_buf out = { 0 };
	struct ft_weeks got;

	ft_weeks_write(w, &out);
	if (out.status == FT_OK && ft_weeks_read(ft_buf_text(&out), "again", a, &got, NULL) == FT_OK &&
	    got.found_count != w->found_count)
		abort();
	ft_buf_done(&out);
}

static void weeks_of(const struct ft_watch_result *r, struct ft_arena *a)
{
	struct ft_weeks w;

	if (ft_weeks_of(r, INT64_C(1772500000000000), (struct ft_weeks_told){ true, true, true }, NULL, a, &w, NULL) ==
	    FT_OK)
		same_again(&w, a);
}

static void weeks(struct ft_slice bytes, struct ft_arena *a)
{
	struct ft_weeks w;

	if (ft_weeks_read(bytes, "the weeks", a, &w, NULL) == FT_OK)
		same_again(&w, a);
}

static void stream(struct ft_slice bytes, struct ft_arena *a)
{
	struct ft_watch_read *list;
	struct ft_watch_result r;
	struct ft_stream again = { 0 };
	size_t n = 0;

	if (ft_stream_get(bytes, a, &list, &n, NULL) != FT_OK || !n || n > 200)
		return;
	for (size_t i = 0; i < n; i++)
		if (!ft_stream_put(&again, &list[i]))
			abort();
	ft_stream_done(&again);
	(void)ft_watch_judge("fuzz", list, n, NULL, INT64_C(1772500000000000), a, &r, NULL);
	if (n > 1) { /* tied to the first of them */
		struct ft_watch_read first = list[0];
		struct ft_baseline base = { &first, "visit F-1", "U-1", "F", first.number[FT_WATCH_ARRIVED] };
		if (ft_watch_judge("fuzz", list + 1, n - 1, &base, INT64_C(1772500000000000), a, &r, NULL) == FT_OK)
			weeks_of(&r, a);
	}
}

/* In two pieces, cut behind the line end in the middle. */
static void cabinets(struct ft_watch_result *r, struct ft_slice bytes, struct ft_arena *a)
{
	struct ft_cabinets *c = ft_cabinets_begin(r, 1, NULL, 0, "the cabinets", a);
	const char *cut = memchr(bytes.p + bytes.n / 2, '\n', bytes.n - bytes.n / 2);
	size_t n = cut ? (size_t)(cut - bytes.p) + 1 : bytes.n;

	if (c && ft_cabinets_take(c, (struct ft_slice){ bytes.p, n }, NULL) == FT_OK)
		(void)ft_cabinets_take(c, (struct ft_slice){ bytes.p + n, bytes.n - n }, NULL);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_slice bytes;
	struct ft_watch_result none = { .arena = &a, .asset = "A", .currency = "", .key = "" };
	struct ft_cash cash;
	struct ft_count *counts;
	struct ft_settlement *settled;
	struct ft_fleet_door *doors;
	size_t n = 0;
	int64_t at;

	if (!size)
		return 0;
	bytes = (struct ft_slice){ (const char *)data + 1, size - 1 };
	switch (data[0] % 6) {
	case 0:
		if (ft_counts_read(bytes, "the counts", 2, &a, &counts, &n, NULL) == FT_OK)
			(void)ft_watch_cash(&none, 1, counts, n, &a, &cash, NULL);
		break;
	case 1:
		if (ft_settlements_read(bytes, "the settlements", 2, &a, &settled, &n, NULL) == FT_OK)
			(void)ft_watch_settlements(&none, 1, settled, n, &a, NULL);
		break;
	case 2:
		if (ft_fleet_doors_read(bytes, "the doors", &a, &doors, &n, NULL) == FT_OK)
			(void)ft_watch_doors(&none, 1, doors, n, &a, NULL);
		break;
	case 3:
		cabinets(&none, bytes, &a);
		break;
	case 4:
		stream(bytes, &a);
		break;
	default:
		(void)ft_watch_stamp(bytes, &at);
		(void)ft_watch_name(bytes);
		if (ft_weeks_is(bytes))
			weeks(bytes, &a);
	}
	ft_arena_done(&a);
	return 0;
}
