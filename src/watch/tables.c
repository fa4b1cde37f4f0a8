/* SPDX-License-Identifier: Apache-2.0 */
/* The tables an office brings: what was counted, what was settled, what doors told. Columns are found by their
 * headings, in any order. */
#include <stdlib.h>

#include "room.h"

static bool all_digits(struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i++)
		if (!ft_is_digit(s.p[i]))
			return false;
	return s.n > 0;
}

bool watch_date(struct ft_slice s, int32_t *ret)
{
	struct ft_slice part[3], rest;
	int64_t v[3];
	int n = 0;

	s = ft_slice_trim(s);
	if (s.n > 10 && (s.p[10] == 'T' || s.p[10] == ' '))
		s.n = 10; /* a time of day behind it */
	if (s.n == 8 && all_digits(s)) {
		part[0] = (struct ft_slice){ s.p, 4 };
		part[1] = (struct ft_slice){ s.p + 4, 2 };
		part[2] = (struct ft_slice){ s.p + 6, 2 };
		n = 3;
	}
	rest = s;
	while (n < 3) {
		struct ft_slice p = { rest.p, 0 };
		while (p.n < rest.n && ft_is_digit(rest.p[p.n]))
			p.n++;
		part[n++] = p;
		if (n < 3 && (p.n == rest.n || !strchr("-./", rest.p[p.n])))
			return false;
		rest.p += p.n + (n < 3);
		rest.n -= p.n + (n < 3);
		if (n == 3 && rest.n)
			return false;
	}
	for (int i = 0; i < 3; i++)
		if (!all_digits(part[i]) || part[i].n > 4 || !ft_slice_i64(part[i], &v[i]))
			return false;
	if (part[0].n != 4) { /* day first */
		int64_t t = v[0];
		v[0] = v[2];
		v[2] = t;
		if (part[2].n != 4)
			return false;
	}
	if (v[0] < 1990 || v[0] > 2200 || !ft_date_valid((int)v[0], (int)v[1], (int)v[2]))
		return false;
	*ret = (int32_t)ft_days_of((int)v[0], (int)v[1], (int)v[2]);
	return true;
}

/* Texts that come again and again are kept once when they equal the one before. */
static const char *keep(struct ft_arena *a, struct ft_slice s, const char *before)
{
	if (before && ft_slice_is(s, before))
		return before;
	return ft_arena_text(a, s);
}

struct columns {
	const char *name;
	bool needed;
	int at;
};

static enum ft_status find_columns(const struct ft_csv_row *head, struct columns *c, size_t n, const char *what,
                                   struct ft_error *e)
{
	for (size_t k = 0; k < n; k++) {
		c[k].at = -1;
		for (unsigned i = 0; i < head->count && c[k].at < 0; i++)
			if (ft_slice_eq_nocase(ft_slice_trim(head->fields[i]), ft_slice_of(c[k].name)))
				c[k].at = (int)i;
		if (c[k].at < 0 && c[k].needed)
			return ft_fail(e, FT_E_INPUT, "%s has no column %s; its first line must name the columns.", what,
			               c[k].name);
	}
	return FT_OK;
}

static enum ft_status begin(struct ft_csv_stream *s, struct ft_slice bytes, const char *what, struct columns *c,
                            size_t n, struct ft_arena *a, struct ft_error *e)
{
	bool more = false;
	enum ft_status st = ft_csv_start(s, bytes, what, a, e);

	if (st == FT_OK)
		st = ft_csv_next(s, &more);
	if (st == FT_OK && !more)
		return ft_fail(e, FT_E_INPUT, "%s is empty; its first line must name the columns.", what);
	return st == FT_OK ? find_columns(&s->row, c, n, what, e) : st;
}

static enum ft_status bad(const struct ft_csv_stream *s, const char *what, const char *column, struct ft_slice value,
                          struct ft_error *e)
{
	return ft_fail(e, FT_E_INPUT, "%s, line %u: \"%.*s\" is no %s; put it right and try again.", what, s->row.line,
	               value.n > 40 ? 40 : (int)value.n, value.p ? value.p : "", column);
}

static enum ft_status amount(const struct ft_csv_stream *s, const char *what, const struct columns *c, int decimals,
                             int64_t *ret, struct ft_error *e)
{
	struct ft_slice v = ft_csv_field(&s->row, c->at);

	*ret = 0;
	if (v.n && !ft_money_parse(v, decimals, ret))
		return bad(s, what, "amount of money", v, e);
	return FT_OK;
}

enum ft_status ft_counts_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                              struct ft_count **ret, size_t *ret_count, struct ft_error *e)
{
	struct columns c[] = { { "date", true, 0 }, { "asset", true, 0 }, { "bills", true, 0 }, { "coins", true, 0 },
		                   { "bag", false, 0 }, { "by", false, 0 },   { "route", false, 0 } };
	struct ft_csv_stream s;
	struct ft_count *list = NULL;
	size_t count = 0, room = 0;
	bool more = false;
	enum ft_status st = begin(&s, bytes, what, c, sizeof c / sizeof *c, a, e);

	while (st == FT_OK && (st = ft_csv_next(&s, &more)) == FT_OK && more) {
		struct ft_count *grown = ft_arena_grow(a, list, count, &room, sizeof *grown), *x;
		const struct ft_count *before;
		struct ft_slice date = ft_csv_field(&s.row, c[0].at), asset = ft_csv_field(&s.row, c[1].at);
		if (!grown)
			return ft_fail_memory(e, what);
		before = count ? &grown[count - 1] : NULL;
		list = grown;
		x = &list[count];
		x->line = s.row.line;
		if (!watch_date(date, &x->day))
			return bad(&s, what, "date", date, e);
		if (!asset.n)
			return bad(&s, what, "asset number", asset, e);
		if ((st = amount(&s, what, &c[2], decimals, &x->bills, e)) != FT_OK ||
		    (st = amount(&s, what, &c[3], decimals, &x->coins, e)) != FT_OK)
			return st;
		x->asset = keep(a, asset, NULL);
		x->bag = keep(a, ft_csv_field(&s.row, c[4].at), NULL);
		x->by = keep(a, ft_csv_field(&s.row, c[5].at), before ? before->by : NULL);
		x->route = keep(a, ft_csv_field(&s.row, c[6].at), before ? before->route : NULL);
		if (a->failed)
			return ft_fail_memory(e, what);
		count++;
	}
	*ret = list;
	*ret_count = count;
	return st;
}

enum ft_status ft_settlements_read(struct ft_slice bytes, const char *what, int decimals, struct ft_arena *a,
                                   struct ft_settlement **ret, size_t *ret_count, struct ft_error *e)
{
	struct columns c[] = { { "date", true, 0 }, { "asset", true, 0 }, { "amount", true, 0 } };
	struct ft_csv_stream s;
	struct ft_settlement *list = NULL;
	size_t count = 0, room = 0;
	bool more = false;
	enum ft_status st = begin(&s, bytes, what, c, sizeof c / sizeof *c, a, e);

	while (st == FT_OK && (st = ft_csv_next(&s, &more)) == FT_OK && more) {
		struct ft_settlement *grown = ft_arena_grow(a, list, count, &room, sizeof *grown);
		struct ft_slice date = ft_csv_field(&s.row, c[0].at), asset = ft_csv_field(&s.row, c[1].at);
		if (!grown)
			return ft_fail_memory(e, what);
		list = grown;
		if (!watch_date(date, &list[count].day))
			return bad(&s, what, "date", date, e);
		if (!asset.n)
			return bad(&s, what, "asset number", asset, e);
		if ((st = amount(&s, what, &c[2], decimals, &list[count].amount, e)) != FT_OK)
			return st;
		list[count].asset = keep(a, asset, count ? list[count - 1].asset : NULL);
		if (!list[count].asset)
			return ft_fail_memory(e, what);
		count++;
	}
	*ret = list;
	*ret_count = count;
	return st;
}

static bool opens(struct ft_slice v, bool *ret)
{
	static const char *const open[] = { "open", "opened", "1" }, *const shut[] = { "close", "closed", "0" };

	for (size_t i = 0; i < sizeof open / sizeof *open; i++) {
		if (ft_slice_eq_nocase(v, ft_slice_of(open[i])) || ft_slice_eq_nocase(v, ft_slice_of(shut[i]))) {
			*ret = ft_slice_eq_nocase(v, ft_slice_of(open[i]));
			return true;
		}
	}
	return false;
}

static int by_asset(const void *x, const void *y)
{
	const struct ft_fleet_door *a = x, *b = y;
	int c = strcmp(a->asset, b->asset);

	return c ? c : a->at_us < b->at_us ? -1 : a->at_us > b->at_us;
}

enum ft_status ft_fleet_doors_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                   struct ft_fleet_door **ret, size_t *ret_count, struct ft_error *e)
{
	struct columns c[] = { { "time", true, 0 }, { "asset", true, 0 }, { "door", true, 0 } };
	struct ft_csv_stream s;
	struct ft_fleet_door *list = NULL;
	size_t count = 0, room = 0;
	bool more = false;
	enum ft_status st = begin(&s, bytes, what, c, sizeof c / sizeof *c, a, e);

	while (st == FT_OK && (st = ft_csv_next(&s, &more)) == FT_OK && more) {
		struct ft_fleet_door *grown = ft_arena_grow(a, list, count, &room, sizeof *grown);
		struct ft_slice time = ft_csv_field(&s.row, c[0].at), asset = ft_csv_field(&s.row, c[1].at),
						door = ft_csv_field(&s.row, c[2].at);
		if (!grown)
			return ft_fail_memory(e, what);
		list = grown;
		if (!ft_time_parse(time, 0, &list[count].at_us))
			return bad(&s, what, "time", time, e);
		if (!opens(door, &list[count].open))
			return bad(&s, what, "state of a door (open, closed)", door, e);
		list[count].asset = keep(a, asset, count ? list[count - 1].asset : NULL);
		if (!list[count].asset)
			return ft_fail_memory(e, what);
		count++;
	}
	if (st == FT_OK && count)
		qsort(list, count, sizeof *list, by_asset);
	*ret = list;
	*ret_count = count;
	return st;
}

/* ---- results by asset ---- */

static int by_result(const void *x, const void *y)
{
	const struct ft_watch_result *const *a = x, *const *b = y;

	return strcmp((*a)->asset, (*b)->asset);
}

bool watch_index_make(struct ft_watch_result *results, size_t count, struct ft_arena *a, struct watch_index *ret)
{
	ret->list = ft_arena_raw(a, (count + 1) * sizeof(void *));
	ret->count = count;
	for (size_t i = 0; ret->list && i < count; i++)
		ret->list[i] = &results[i];
	if (ret->list)
		qsort(ret->list, count, sizeof(void *), by_result);
	return ret->list != NULL;
}

struct ft_watch_result *watch_index_find(const struct watch_index *x, const char *asset)
{
	size_t low = 0, high = x->count;

	while (low < high) {
		size_t mid = low + (high - low) / 2;
		int c = strcmp(x->list[mid]->asset, asset);
		if (c == 0)
			return x->list[mid];
		if (c < 0)
			low = mid + 1;
		else
			high = mid;
	}
	return NULL;
}

bool ft_watch_strangers(struct ft_watch_result *results, size_t result_count, const char *const *assets, size_t step,
                        size_t count, struct ft_arena *a, struct ft_strangers *ret)
{
	struct watch_index index;

	*ret = (struct ft_strangers){ .rows = count };
	if (!watch_index_make(results, result_count, a, &index))
		return false;
	for (size_t i = 0; i < count; i++) {
		const char *asset = *(const char *const *)(const void *)((const char *)assets + i * step);
		if (watch_index_find(&index, asset))
			continue;
		ret->first = ret->strange ? ret->first : asset;
		ret->strange++;
	}
	return true;
}
