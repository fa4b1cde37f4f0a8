/* SPDX-License-Identifier: Apache-2.0 */
/* Machines of a fleet judged by several processes at once. Each claims some, judges them and leaves what came of it in
 * the book; what others left there it takes. It waits only for machines that another has in hand at the end, and does
 * them itself when that other is gone. */
#include "watch.h"

#include <stdlib.h>

enum { MACHINES_A_CLAIM = 16 };

struct share {
	struct watch_fleet *f;
	struct ft_book *book;
	const char *round;
	int64_t now_us;
	struct ft_arena arena, scratch;
	struct ft_watched_judged *kept; /* by machine; without a name: not yet */
};

static struct watch_machine **machine_at(const struct share *x, const char *key)
{
	const struct ft_watch_result wanted = { .key = key };
	const struct watch_machine *m = watch_machine_judged(x->f, &wanted);

	for (size_t i = 0; m && i < x->f->count; i++)
		if (x->f->machines[i] == m)
			return &x->f->machines[i];
	return NULL;
}

/* What came of the machine as bytes; none when nothing of it is of this time. */
static bool judge(struct share *x, struct watch_machine **at)
{
	struct ft_watched_judged *kept = &x->kept[at - x->f->machines];
	struct ft_watch_result r = { 0 };
	struct watch_runs runs = { 0 };
	struct ft_arena a = { 0 };
	struct ft_buf out = { 0 };
	bool any = false;
	enum ft_status s = watch_machine_judge(x->f, *at, x->now_us, &x->scratch, &a, &r, &runs, &any);
	bool good = s == FT_OK && (!any || ft_watch_keep(&r, runs.list, runs.count, &out));
	char *bytes = good ? ft_arena_raw(&x->arena, out.n + 1) : NULL;

	if (bytes) {
		if (out.n)
			memcpy(bytes, out.p, out.n);
		*kept = (struct ft_watched_judged){ (*at)->key, { bytes, out.n } };
	} else if (s == FT_OK) {
		ft_fail_memory(&x->f->c->error, "the fleet");
	}
	ft_buf_done(&out);
	ft_arena_done(&a);
	return bytes != NULL;
}

/* Judges machines that are claimed and writes what came of them, with which they are free again. */
static bool judge_claimed(struct share *x, const char *const *keys, size_t count)
{
	struct watch_machine *machines[MACHINES_A_CLAIM];
	struct ft_watched_judged list[MACHINES_A_CLAIM];
	size_t n = 0;

	for (size_t i = 0; i < count; i++) {
		struct watch_machine **at = machine_at(x, keys[i]);
		if (!at)
			continue; /* it came after we looked what there is */
		if (!judge(x, at))
			return false;
		machines[n] = *at;
		list[n++] = x->kept[at - x->f->machines];
	}
	return watch_memory_judged(x->f->memory, x->round, machines, list, n);
}

static bool judge_free_ones(struct share *x)
{
	struct ft_arena a = { 0 };
	const char *after = NULL, **keys = NULL;
	size_t n = 0;
	bool good;

	do {
		good = ft_book_claim_machines(x->book, x->round, after, MACHINES_A_CLAIM, &a, &keys, &n, &x->f->c->error) ==
				FT_OK &&
			judge_claimed(x, keys, n);
		after = n ? keys[n - 1] : after;
	} while (good && n);
	ft_arena_done(&a);
	return good;
}

/* What others left in the book. */
static bool take_theirs(struct share *x)
{
	struct ft_watched_judged *list = NULL;
	size_t n = 0;

	if (ft_book_watched_judged(x->book, x->round, &x->arena, &list, &n, &x->f->c->error) != FT_OK)
		return false;
	for (size_t i = 0, k = 0; i < n && k < x->f->count;) { /* both are in order of their key */
		int way = strcmp(list[i].machine, x->f->machines[k]->key);
		if (way == 0 && !x->kept[k].machine)
			x->kept[k] = list[i];
		i += way <= 0;
		k += way >= 0;
	}
	return true;
}

/* Waits for whoever has the machine in hand; it is ours to do when that one is gone, or was at another round. */
static bool judge_one(struct share *x, const char *key)
{
	bool judged = false;

	if (ft_book_claim_machine(x->book, x->round, key, &judged, &x->f->c->error) != FT_OK)
		return false;
	if (judged)
		return ft_book_claims_drop(x->book, &x->f->c->error) == FT_OK && take_theirs(x);
	return judge_claimed(x, &key, 1);
}

static bool judge_rest(struct share *x)
{
	for (size_t k = 0; k < x->f->count; k++)
		while (!x->kept[k].machine)
			if (!judge_one(x, x->f->machines[k]->key))
				return false;
	return true;
}

static enum ft_status unpack(struct share *x, struct watch_runs *runs)
{
	struct watch_fleet *f = x->f;

	for (size_t k = 0; k < f->count; k++) {
		struct ft_name_run *list = NULL;
		size_t n = 0;
		if (!x->kept[k].bytes.n)
			continue;
		if (!ft_watch_kept(x->kept[k].bytes, &f->arena, &f->results[f->result_count], &list, &n))
			return ft_fail(&f->c->error, FT_E_STORE,
			               "What another watch made of the machine %s cannot be read from the book; try again.",
			               f->machines[k]->key);
		for (size_t i = 0; i < n; i++) {
			struct ft_name_run *grown = ft_arena_grow(&f->arena, runs->list, runs->count, &runs->room, sizeof *grown);
			if (!grown)
				return ft_fail_memory(&f->c->error, "the fleet");
			runs->list = grown;
			grown[runs->count] = list[i];
			grown[runs->count++].machine = f->result_count;
		}
		f->result_count++;
	}
	return FT_OK;
}

enum ft_status watch_share_judge(struct watch_fleet *f, const struct ft_watched_round *round, int64_t now_us,
                                 struct watch_runs *runs)
{
	struct share x = { .f = f, .book = watch_memory_book(f->memory), .now_us = now_us };
	bool good;

	/* what decides the result: the build, the reads, the handovers, the time looked at */
	x.round = ft_arena_printf(&x.arena, "%s %x %lld %lld %lld %lld %lld", FT_VERSION, ft_watch_kept_form(),
	                          (long long)round->reads, (long long)round->visits_us, (long long)round->packages,
	                          (long long)f->since_us, (long long)now_us);
	x.kept = FT_NEW_ARRAY(&x.arena, f->count + 1, struct ft_watched_judged);
	good = x.round && x.kept ? judge_free_ones(&x) && take_theirs(&x) && judge_rest(&x)
							 : ft_fail_memory(&f->c->error, "the fleet") == FT_OK;
	if (good)
		unpack(&x, runs);
	ft_arena_done(&x.scratch);
	ft_arena_done(&x.arena);
	return f->c->error.status;
}
