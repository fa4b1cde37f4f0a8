/* SPDX-License-Identifier: Apache-2.0 */
/* Machines tied to the visits they were handed over with, and what came of the weeks after filed with those. */
#include "watch.h"

#include <stdlib.h>
#include <unistd.h>

#include "fettle/crc.h"

struct tying {
	struct watch_fleet *f;
	struct ft_arena scratch;
	struct ft_facts *facts;
};

/* The last audit of the visit as a read; false when it is no whole one. */
static bool read_of(struct tying *t, const struct ft_handed_over *x, struct ft_watch_read *ret)
{
	struct ft_audit d;
	int64_t at_us = x->at_us + x->at_offset * INT64_C(60) * FT_SECOND; /* as the clock on the wall showed it */

	return ft_audit_read(x->bytes, &t->scratch, &d, NULL) == FT_OK && d.set_count &&
		ft_audit_facts(&d, &d.sets[0], &t->scratch, t->facts, NULL) == FT_OK &&
		ft_watch_extract(t->facts, x->asset, at_us, ft_crc16_fastest(), &t->scratch, ret, NULL) == FT_OK &&
		!(ret->flags & (FT_WATCH_PART | FT_WATCH_BAD_CHECK));
}

/* Texts and cells that outlive the bytes they point into. */
static void keep_read(struct ft_arena *a, const struct ft_watch_read *from, const char *file, struct ft_watch_read *to)
{
	struct ft_watch_cell *cells = FT_NEW_ARRAY(a, from->cell_count + 1, struct ft_watch_cell);

	*to = *from;
	to->cells = cells;
	to->cell_count = cells ? from->cell_count : 0;
	for (size_t i = 0; i < to->cell_count; i++) {
		cells[i] = from->cells[i];
		cells[i].id = (struct ft_slice){ ft_arena_text(a, from->cells[i].id), from->cells[i].id.n };
	}
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		to->text[i] = (struct ft_slice){ ft_arena_text(a, from->text[i]), from->text[i].n };
	to->text[FT_WATCH_FILE] = ft_slice_of(file ? file : "");
}

static bool silent(struct watch_fleet *f, const struct watch_handover *h)
{
	const struct watch_handover **grown =
		ft_arena_grow(&f->handovers, f->silent, f->silent_count, &f->silent_room, sizeof(void *));

	if (!grown)
		return false;
	f->silent = grown;
	grown[f->silent_count++] = h;
	return true;
}

static bool tie(void *to, const struct ft_handed_over *x)
{
	struct tying *t = to;
	struct ft_arena *a = &t->f->handovers;
	struct ft_watch_read read;
	struct watch_machine *m = NULL;
	struct watch_handover *h;
	const char *key = NULL;

	ft_arena_reset(&t->scratch);
	t->facts = FT_NEW(&t->scratch, struct ft_facts);
	if (!t->facts)
		return false;
	if (read_of(t, x, &read) && (key = ft_watch_key(&read, &t->scratch)) != NULL)
		m = watch_machine_find(t->f, key);
	if (!key)
		return !t->scratch.failed; /* its audit says too little */
	h = FT_NEW(a, struct watch_handover);
	if (!h)
		return false;
	h->key = ft_arena_text(a, ft_slice_of(key));
	keep_read(a, &read, ft_arena_text(a, ft_slice_of(x->audit)), &h->read);
	h->visit = ft_arena_text(a, ft_slice_of(x->visit));
	h->base = (struct ft_baseline){ .read = &h->read,
		                            .name = ft_arena_printf(a, "visit %s", x->visit),
		                            .unit = x->unit ? ft_arena_text(a, ft_slice_of(x->unit)) : NULL,
		                            .asset = ft_arena_text(a, ft_slice_of(x->asset)),
		                            .at_us = read.number[FT_WATCH_ARRIVED] };
	if (x->weeks.n) {
		struct ft_weeks *w = FT_NEW(a, struct ft_weeks);
		struct ft_slice own = { ft_arena_text(a, x->weeks), x->weeks.n };
		if (w && own.p && ft_weeks_read(own, "the weeks after", a, w, NULL) == FT_OK)
			h->before = w; /* what cannot be read is made anew */
	}
	if (m)
		m->handover = h; /* visits come by their opening: the latest stays */
	else if (!silent(t->f, h))
		return false;
	return !a->failed;
}

static int by_key(const void *x, const void *y)
{
	const struct watch_handover *const *a = x, *const *b = y;
	int c = strcmp((*a)->key, (*b)->key);

	return c ? c : (*a)->base.at_us < (*b)->base.at_us ? -1 : (*a)->base.at_us > (*b)->base.at_us;
}

/* The latest of each machine. */
static void sort_silent(struct watch_fleet *f)
{
	size_t kept = 0;

	if (f->silent_count)
		qsort(f->silent, f->silent_count, sizeof(void *), by_key);
	for (size_t i = 0; i < f->silent_count; i++) {
		if (kept && strcmp(f->silent[kept - 1]->key, f->silent[i]->key) == 0)
			kept--;
		f->silent[kept++] = f->silent[i];
	}
	f->silent_count = kept;
}

bool watch_handover_missed(const struct watch_fleet *f, const struct watch_handover *h, int64_t now_us)
{
	struct ft_arena a = { 0 };
	struct ft_watch_result r;
	bool missed;

	ft_watch_silent(h->key, &h->base, now_us, &a, &r);
	missed = r.exception_count > 0 && h->base.at_us >= f->since_us;
	ft_arena_done(&a);
	return missed;
}

bool watch_handovers_tie(struct watch_fleet *f, struct ft_book *b)
{
	struct tying t = { .f = f };
	bool good = ft_book_handed_over(b, tie, &t, &f->c->error) == FT_OK;

	ft_arena_done(&t.scratch);
	sort_silent(f);
	return good;
}

bool watch_handovers_look(struct watch_fleet *f)
{
	const char *path = cli_book_path(f->c);
	struct ft_book *b = NULL;
	bool good;

	if (!path || (!strstr(path, "://") && access(path, F_OK) != 0))
		return true;
	good = ft_book_open(path, FT_BOOK_READ, &b, &f->c->error) == FT_OK && watch_handovers_tie(f, b);
	ft_book_free(b);
	return good;
}

struct filing {
	struct watch_fleet *f;
	struct ft_weeks_told told;
	int64_t now_us;
	struct ft_weeks_filed *list;
	size_t count, room;
};

static bool add(struct filing *x, const struct watch_handover *h, const struct ft_watch_result *r)
{
	struct ft_arena *a = &x->f->handovers;
	struct ft_buf bytes = { 0 };
	struct ft_weeks_filed *grown;
	struct ft_weeks w;

	if (x->now_us <= h->base.at_us || (h->before && h->before->fact[FT_WEEKS_UNTIL] > x->now_us))
		return true; /* what is on record was seen later */
	if (ft_weeks_of(r, x->now_us, x->told, h->before, a, &w, &x->f->c->error) != FT_OK)
		return false;
	ft_weeks_write(&w, &bytes);
	grown = ft_arena_grow(a, x->list, x->count, &x->room, sizeof *grown);
	if (grown) {
		x->list = grown;
		grown[x->count].visit = h->visit;
		grown[x->count].bytes = (struct ft_slice){ ft_arena_text(a, ft_buf_text(&bytes)), bytes.n };
		x->count += grown[x->count].bytes.p != NULL;
	}
	ft_buf_done(&bytes);
	return !a->failed || ft_fail_memory(&x->f->c->error, "the weeks after") == FT_OK;
}

bool watch_handovers_file(struct watch_fleet *f, struct ft_book *b, int64_t now_us)
{
	struct filing x = { .f = f,
		                .told = { cli_value(f->c, "counts") != NULL, cli_value(f->c, "doors") != NULL,
		                          cli_value(f->c, "temperatures") != NULL },
		                .now_us = now_us };
	int offset;
	int64_t at = cli_now(&offset);

	for (size_t i = 0; i < f->result_count; i++) {
		const struct ft_watch_result *r = &f->results[i];
		const struct watch_machine *m = r->handover ? watch_machine_judged(f, r) : NULL;
		if (m && m->handover && !add(&x, m->handover, r))
			return false;
	}
	for (size_t i = 0; i < f->silent_count; i++) {
		struct ft_watch_result r;
		if (f->silent[i]->base.at_us < f->since_us)
			continue;
		ft_watch_silent(f->silent[i]->key, &f->silent[i]->base, now_us, &f->handovers, &r);
		if (!add(&x, f->silent[i], &r))
			return false;
	}
	return ft_book_weeks_put(b, x.list, x.count, at, offset, &f->c->error) == FT_OK;
}
