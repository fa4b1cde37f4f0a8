/* SPDX-License-Identifier: Apache-2.0 */
/* Units are known by the name under which audits come, machines by what is inside. When a name begins to bring another
 * machine, either two units were swapped, or one was moved, or the machine in its place was exchanged. */
#include <stdlib.h>

#include "room.h"

static int by_name(const void *x, const void *y)
{
	const struct ft_name_run *a = x, *b = y;
	int c = strcmp(a->name ? a->name : "", b->name ? b->name : "");

	if (c)
		return c;
	if (a->first_us != b->first_us)
		return a->first_us < b->first_us ? -1 : 1;
	return a->machine < b->machine ? -1 : a->machine > b->machine;
}

/* A change of what stands behind a name: run `i` after run `i - 1`. */
static bool changes(const struct ft_name_run *runs, size_t i)
{
	return i && runs[i].name && runs[i - 1].name && strcmp(runs[i].name, runs[i - 1].name) == 0 &&
		runs[i].machine != runs[i - 1].machine;
}

static int by_pair(const void *x, const void *y)
{
	const struct ft_name_run *const *a = x, *const *b = y;

	if ((*a)->machine != (*b)->machine)
		return (*a)->machine < (*b)->machine ? -1 : 1;
	return (*a)->first_us < (*b)->first_us ? -1 : (*a)->first_us > (*b)->first_us;
}

static int64_t apart(int64_t a, int64_t b)
{
	return a > b ? a - b : b - a;
}

/* Another name that went the other way within a week: from our machine to the one before us. */
static const struct ft_name_run *partner(const struct ft_name_run *run, const struct ft_name_run *const *changed,
                                         size_t count)
{
	size_t machine = run[-1].machine, low = 0, high = count;

	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (changed[mid]->machine < machine)
			low = mid + 1;
		else
			high = mid;
	}
	for (; low < count && changed[low]->machine == machine; low++)
		if (changed[low][-1].machine == run->machine && apart(changed[low]->first_us, run->first_us) < 7 * FT_DAY)
			return changed[low];
	return NULL;
}

static void tell(const struct ft_name_run *run, const struct ft_name_run *other, struct ft_watch_result *results)
{
	struct ft_watch_result *r = &results[run->machine], *was = &results[run[-1].machine];
	struct ft_exception *x;

	x = ft_watch_raise(r, other ? FT_RULE_WATCH_UNITS_SWAPPED : FT_RULE_WATCH_UNIT_MOVED, NULL, run->first_us,
	                   run->first_us);
	if (other) {
		x->seen = ft_arena_printf(r->arena, "%s comes under the name %s, and %s under %s", r->key, run->name, was->key,
		                          other->name);
		x->expected =
			ft_arena_printf(r->arena,
		                    "each under its own name, as until then; swap the units %s and %s back, or their numbers",
		                    run->name, other->name);
	} else {
		x->seen = ft_arena_printf(r->arena, "%s comes under the name %s", r->key, run->name);
		x->expected = ft_arena_printf(r->arena, "%s, as before", was->key);
	}
	x->before = run[-1].file;
	x->after = run->file;
}

void ft_watch_names(struct ft_name_run *runs, size_t count, struct ft_watch_result *results)
{
	const struct ft_name_run **changed;
	struct ft_arena a = { 0 };
	size_t n = 0;

	if (!count)
		return;
	qsort(runs, count, sizeof *runs, by_name);
	changed = ft_arena_raw(&a, (count + 1) * sizeof(void *));
	for (size_t i = 1; changed && i < count; i++)
		if (changes(runs, i))
			changed[n++] = &runs[i];
	if (changed)
		qsort(changed, n, sizeof(void *), by_pair);
	else
		results[runs[0].machine].failed = true;
	for (size_t i = 0; i < n; i++) {
		const struct ft_name_run *run = changed[i], *back = changed[i];
		/* the way back to what was under this name at first is a mending, not a second trouble */
		while (back > runs && back[-1].name && strcmp(back[-1].name, run->name) == 0)
			back--;
		if (back->machine != run->machine)
			tell(run, partner(run, changed, n), results);
	}
	ft_arena_done(&a);
}
