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

static bool tie(void *to, const struct ft_handed_over *x)
{
	struct tying *t = to;
	struct ft_arena *a = &t->f->handovers;
	struct ft_watch_read read;
	struct watch_machine *m = NULL;
	struct watch_handover *h;
	const char *key;

	ft_arena_reset(&t->scratch);
	t->facts = FT_NEW(&t->scratch, struct ft_facts);
	if (!t->facts)
		return false;
	if (read_of(t, x, &read) && (key = ft_watch_key(&read, &t->scratch)) != NULL)
		m = watch_machine_find(t->f, key);
	if (!m)
		return true; /* nothing has come of this machine yet */
	h = FT_NEW(a, struct watch_handover);
	if (!h)
		return false;
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
	m->handover = h; /* visits come by their opening: the latest stays */
	return !a->failed;
}

bool watch_handovers_tie(struct watch_fleet *f, struct ft_book *b)
{
	struct tying t = { .f = f };
	bool good = ft_book_handed_over(b, tie, &t, &f->c->error) == FT_OK;

	ft_arena_done(&t.scratch);
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

bool watch_handovers_file(struct watch_fleet *f, struct ft_book *b, int64_t now_us)
{
	const struct ft_weeks_told told = { cli_value(f->c, "counts") != NULL, cli_value(f->c, "doors") != NULL,
		                                cli_value(f->c, "temperatures") != NULL };
	struct ft_weeks_filed *list = NULL;
	size_t n = 0, room = 0;
	int offset;
	int64_t at = cli_now(&offset);

	for (size_t i = 0; i < f->result_count; i++) {
		const struct ft_watch_result *r = &f->results[i];
		const struct watch_machine *m = r->handover ? watch_machine_judged(f, r) : NULL;
		const struct watch_handover *h = m ? m->handover : NULL;
		struct ft_buf bytes = { 0 };
		struct ft_weeks_filed *grown;
		struct ft_weeks w;
		if (!h || now_us <= h->base.at_us || (h->before && h->before->fact[FT_WEEKS_UNTIL] > now_us))
			continue; /* what is on record was seen later */
		if (ft_weeks_of(r, now_us, told, h->before, &f->handovers, &w, &f->c->error) != FT_OK)
			return false;
		ft_weeks_write(&w, &bytes);
		grown = ft_arena_grow(&f->handovers, list, n, &room, sizeof *grown);
		if (grown) {
			list = grown;
			grown[n].visit = h->visit;
			grown[n].bytes = (struct ft_slice){ ft_arena_text(&f->handovers, ft_buf_text(&bytes)), bytes.n };
			n += grown[n].bytes.p != NULL;
		}
		ft_buf_done(&bytes);
	}
	if (f->handovers.failed)
		return ft_fail_memory(&f->c->error, "the weeks after") == FT_OK;
	return ft_book_weeks_put(b, list, n, at, offset, &f->c->error) == FT_OK;
}
