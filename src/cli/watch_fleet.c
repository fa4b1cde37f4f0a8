/* SPDX-License-Identifier: Apache-2.0 */
/* The machines of a fleet, each with its stream of reads; all of them judged. */
#include "watch.h"

#include <stdlib.h>

uint64_t watch_hash(const char *p, size_t n)
{
	uint64_t h = UINT64_C(14695981039346656037); /* FNV-1a */

	for (size_t i = 0; i < n; i++)
		h = (h ^ (unsigned char)p[i]) * UINT64_C(1099511628211);
	return h ^ h >> 29;
}

static uint64_t hash_of(const char *key)
{
	return watch_hash(key, strlen(key));
}

static bool grow_slots(struct watch_fleet *f)
{
	size_t n = f->slot_count ? f->slot_count * 2 : 4096;
	size_t *slots = calloc(n, sizeof *slots);

	if (!slots)
		return false;
	for (size_t i = 0; i < f->count; i++) {
		size_t k = hash_of(f->machines[i]->key) & (n - 1);
		while (slots[k])
			k = (k + 1) & (n - 1);
		slots[k] = i + 1;
	}
	free(f->slots);
	f->slots = slots;
	f->slot_count = n;
	return true;
}

/* Where a key stands in the table, or would. */
static size_t slot_of(const struct watch_fleet *f, const char *key)
{
	size_t k = hash_of(key) & (f->slot_count - 1);

	while (f->slots[k] && strcmp(f->machines[f->slots[k] - 1]->key, key) != 0)
		k = (k + 1) & (f->slot_count - 1);
	return k;
}

struct watch_machine *watch_machine_find(const struct watch_fleet *f, const char *key)
{
	size_t at = f->slot_count ? f->slots[slot_of(f, key)] : 0;

	return at ? f->machines[at - 1] : NULL;
}

struct watch_machine *watch_machine_of(struct watch_fleet *f, const char *key)
{
	struct watch_machine *m, **grown;
	size_t k;

	if (f->count * 2 >= f->slot_count && !grow_slots(f))
		return NULL;
	k = slot_of(f, key);
	if (f->slots[k])
		return f->machines[f->slots[k] - 1];
	if (f->count == f->room) {
		size_t room = f->room ? f->room * 2 : 256;
		grown = realloc(f->machines, room * sizeof(void *));
		if (!grown)
			return NULL;
		f->machines = grown;
		f->room = room;
	}
	m = calloc(1, sizeof *m);
	if (m)
		m->key = strdup(key);
	if (!m || !m->key) {
		free(m);
		return NULL;
	}
	f->machines[f->count++] = m;
	f->slots[k] = f->count;
	return m;
}

static enum ft_status add_reads(struct ft_slice stream, struct ft_arena *a, struct ft_watch_read **list, size_t *count,
                                size_t *room, struct ft_error *e)
{
	struct ft_watch_read *more;
	size_t n = 0;
	enum ft_status s = ft_stream_get(stream, a, &more, &n, e);

	for (size_t i = 0; s == FT_OK && i < n; i++) {
		struct ft_watch_read *grown = ft_arena_grow(a, *list, *count, room, sizeof *grown);
		if (!grown)
			return ft_fail_memory(e, "the reads of a machine");
		*list = grown;
		grown[(*count)++] = more[i];
	}
	return s;
}

enum ft_status watch_machine_reads(const struct watch_fleet *f, struct watch_machine *m, struct ft_arena *a,
                                   struct ft_watch_read **ret, size_t *ret_count)
{
	struct ft_watched_part *parts = NULL;
	size_t part_count = 0, room = 0;
	enum ft_status s = FT_OK;

	*ret = NULL;
	*ret_count = 0;
	if (f->memory)
		s = watch_memory_parts(f->memory, m->key, f->since_us, a, &parts, &part_count);
	m->part_count = part_count;
	for (size_t i = 0; s == FT_OK && i < part_count; i++)
		s = add_reads(parts[i].bytes, a, ret, ret_count, &room, &f->c->error);
	return s == FT_OK ? add_reads(ft_buf_text(&m->stream.bytes), a, ret, ret_count, &room, &f->c->error) : s;
}

bool watch_same_month(int64_t a_us, int64_t b_us)
{
	struct ft_civil a = ft_civil_of(a_us, 0), b = ft_civil_of(b_us, 0);

	return a.year == b.year && a.month == b.month;
}

void watch_machine_written(struct watch_machine *m)
{
	for (size_t i = 0; i < m->closed_count; i++)
		free((char *)(uintptr_t)m->closed[i].bytes.p);
	free(m->closed);
	m->closed = NULL;
	m->closed_count = 0;
	ft_stream_done(&m->stream);
}

/* Begins the stream anew for another month. Where audits come in no order of time at all, months stay mixed. */
static bool close_month(struct watch_machine *m)
{
	enum { CLOSED_MAX = 32 };
	struct ft_watched_part *grown;

	if (m->closed_count == CLOSED_MAX)
		return true;
	grown = realloc(m->closed, (m->closed_count + 1) * sizeof *grown);
	if (!grown)
		return false;
	m->closed = grown;
	grown[m->closed_count++] = (struct ft_watched_part){
		m->key, 0, (int64_t)m->stream.count, m->first_us, m->newest_us, ft_buf_text(&m->stream.bytes)
	};
	m->stream.bytes = (struct ft_buf){ 0 };
	ft_stream_done(&m->stream);
	return true;
}

bool watch_fleet_add(struct watch_fleet *f, struct ft_slice reads)
{
	struct ft_watch_read *list;
	size_t n = 0;

	ft_arena_reset(&f->keys);
	if (ft_stream_get(reads, &f->keys, &list, &n, &f->c->error) != FT_OK)
		return false;
	for (size_t i = 0; i < n; i++) {
		const char *key = ft_watch_key(&list[i], &f->keys);
		struct watch_machine *m = key ? watch_machine_of(f, key) : NULL;
		int64_t arrived = list[i].number[FT_WATCH_ARRIVED];
		if (m && f->by_months && m->stream.count && !watch_same_month(m->newest_us, arrived) && !close_month(m))
			m = NULL;
		if (!m || !ft_stream_put(&m->stream, &list[i]))
			return ft_fail_memory(&f->c->error, "the reads of the fleet") == FT_OK;
		if (m->stream.count == 1 || arrived < m->first_us)
			m->first_us = arrived;
		if (m->stream.count == 1 || arrived > m->newest_us)
			m->newest_us = arrived;
		if (arrived > f->newest_us)
			f->newest_us = arrived;
	}
	return true;
}

static int by_key(const void *x, const void *y)
{
	const struct watch_machine *const *a = x, *const *b = y;

	return strcmp((*a)->key, (*b)->key);
}

struct watch_machine *watch_machine_judged(const struct watch_fleet *f, const struct ft_watch_result *r)
{
	const struct watch_machine wanted = { .key = (char *)(uintptr_t)r->key }, *key = &wanted;
	struct watch_machine **at =
		f->count ? bsearch(&key, f->machines, f->count, sizeof(void *), by_key) : NULL; /* they were put in order */

	return at ? *at : NULL;
}

static size_t since(struct ft_watch_read *list, size_t n, int64_t since_us, int64_t now_us)
{
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (list[i].number[FT_WATCH_ARRIVED] >= since_us && list[i].number[FT_WATCH_ARRIVED] <= now_us)
			list[kept++] = list[i];
	return kept;
}

enum ft_status watch_machine_judge(struct watch_fleet *f, struct watch_machine *m, int64_t now_us,
                                   struct ft_arena *scratch, struct ft_arena *a, struct ft_watch_result *ret,
                                   struct watch_runs *runs, bool *ret_any)
{
	struct ft_watch_read *list = NULL;
	size_t n = 0;
	enum ft_status s;

	ft_arena_reset(scratch);
	s = watch_machine_reads(f, m, scratch, &list, &n);
	n = s == FT_OK ? since(list, n, f->since_us, now_us) : 0;
	*ret_any = n > 0;
	if (!n)
		return s;
	s = ft_watch_judge(m->key, list, n, m->handover ? &m->handover->base : NULL, now_us, a, ret, &f->c->error);
	if (s == FT_OK && !ft_watch_runs(list, ret->kept, f->result_count, a, &runs->list, &runs->count, &runs->room))
		s = ft_fail_memory(&f->c->error, "the fleet");
	return s;
}

static enum ft_status judge_alone(struct watch_fleet *f, int64_t now_us, struct watch_runs *runs)
{
	struct ft_arena scratch = { 0 };
	enum ft_status s = FT_OK;

	for (size_t i = 0; s == FT_OK && i < f->count; i++) {
		bool any;
		s = watch_machine_judge(f, f->machines[i], now_us, &scratch, &f->arena, &f->results[f->result_count], runs,
		                        &any);
		f->result_count += s == FT_OK && any;
	}
	ft_arena_done(&scratch);
	return s;
}

enum ft_status watch_fleet_judge(struct watch_fleet *f, int64_t now_us)
{
	struct ft_watched_round round;
	struct watch_runs runs = { 0 };
	enum ft_status s;

	if (f->count)
		qsort(f->machines, f->count, sizeof(void *), by_key);
	f->results = FT_NEW_ARRAY(&f->arena, f->count + 1, struct ft_watch_result);
	if (!f->results)
		return ft_fail_memory(&f->c->error, "the fleet");
	s = f->memory && watch_memory_shared(f->memory, &round) ? watch_share_judge(f, &round, now_us, &runs)
															: judge_alone(f, now_us, &runs);
	if (s == FT_OK)
		ft_watch_names(runs.list, runs.count, f->results);
	return s;
}

void watch_fleet_done(struct watch_fleet *f)
{
	for (size_t i = 0; i < f->count; i++) {
		free(f->machines[i]->key);
		watch_machine_written(f->machines[i]);
		free(f->machines[i]);
	}
	free(f->machines);
	free(f->slots);
	ft_arena_done(&f->keys);
	ft_arena_done(&f->handovers);
	ft_arena_done(&f->arena);
}
