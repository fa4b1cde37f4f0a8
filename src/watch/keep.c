/* SPDX-License-Identifier: Apache-2.0 */
/* What a machine's reads came to, as bytes and back, so that one process judges and another goes on with it. The bytes
 * are images of the structures: whoever reads them must be of the same build and kind of computer, which
 * ft_watch_kept_form tells. */
#include "room.h"

/* A new member that is a pointer must be followed in walk(); one that is not comes along by itself. */
_Static_assert(sizeof(void *) != 8 ||
                   (sizeof(struct ft_watch_result) == 384 && sizeof(struct ft_exception) == 104 &&
                    sizeof(struct ft_collection) == 72 && sizeof(struct ft_name_run) == 48),
               "look whether walk() follows every pointer");

struct walk {
	struct ft_buf *out; /* NULL: the bytes are taken from `in` */
	struct ft_slice in;
	struct ft_arena *a;
	bool good;
};

static void image(struct walk *w, void *p, size_t n)
{
	if (w->out) {
		ft_buf_put(w->out, p, n);
		return;
	}
	w->good = w->good && n <= w->in.n;
	if (!w->good) {
		memset(p, 0, n);
		return;
	}
	memcpy(p, w->in.p, n);
	w->in.p += n;
	w->in.n -= n;
}

/* `count` is known to both sides: it came with the image of what holds the array. */
static void *array(struct walk *w, void *p, size_t count, size_t size)
{
	if (w->out) {
		ft_buf_put(w->out, p, count * size);
		return p;
	}
	w->good = w->good && count <= w->in.n / size;
	p = w->good ? ft_arena_array(w->a, count + 1, size) : NULL;
	w->good = p != NULL;
	if (p)
		image(w, p, count * size);
	return p;
}

static const char *text(struct walk *w, const char *t)
{
	uint32_t n = t && w->out ? (uint32_t)strlen(t) + 1 : 0;
	char *copy;

	image(w, &n, sizeof n); /* with the 0 at its end; 0: there is none */
	if (w->out) {
		ft_buf_put(w->out, t ? t : "", n);
		return t;
	}
	w->good = w->good && n <= w->in.n;
	if (!w->good || !n)
		return NULL;
	copy = ft_arena_text(w->a, (struct ft_slice){ w->in.p, n - 1 });
	w->good = copy != NULL;
	w->in.p += n;
	w->in.n -= n;
	return copy;
}

static void walk_exceptions(struct walk *w, struct ft_watch_result *r)
{
	r->exceptions = array(w, r->exceptions, r->exception_count, sizeof *r->exceptions);
	for (size_t i = 0; w->good && i < r->exception_count; i++) {
		struct ft_exception *x = &r->exceptions[i];
		w->good = (unsigned)x->rule < FT_RULE_COUNT;
		x->selection = text(w, x->selection);
		x->seen = text(w, x->seen);
		x->expected = text(w, x->expected);
		x->before = text(w, x->before);
		x->after = text(w, x->after);
		if (!w->out)
			x->known = NULL; /* who reads it asks the book anew */
	}
	r->exception_room = r->exception_count;
}

static void walk_collections(struct walk *w, struct ft_watch_result *r)
{
	r->collections = array(w, r->collections, r->collection_count, sizeof *r->collections);
	for (size_t i = 0; w->good && i < r->collection_count; i++) {
		struct ft_collection *c = &r->collections[i];
		c->by = text(w, c->by);
		c->route = text(w, c->route);
		c->bag = text(w, c->bag);
	}
	r->collection_room = r->collection_count;
}

static void walk_result(struct walk *w, struct ft_watch_result *r)
{
	image(w, r, sizeof *r);
	r->key = text(w, r->key);
	r->asset = text(w, r->asset);
	r->serial = text(w, r->serial);
	r->model = text(w, r->model);
	r->name = text(w, r->name);
	r->currency = text(w, r->currency);
	r->handover = text(w, r->handover);
	r->days = array(w, r->days, r->day_count, sizeof *r->days);
	r->cards = array(w, r->cards, r->card_count, sizeof *r->cards);
	r->visits = array(w, r->visits, r->visit_count, sizeof *r->visits);
	r->visit_room = r->visit_count;
	r->box_at_us = array(w, r->box_at_us, r->box_count, sizeof *r->box_at_us);
	r->box = array(w, r->box, r->box_count, sizeof *r->box);
	walk_exceptions(w, r);
	walk_collections(w, r);
}

static struct ft_name_run *walk_runs(struct walk *w, struct ft_name_run *runs, size_t count)
{
	runs = array(w, runs, count, sizeof *runs);
	for (size_t i = 0; w->good && i < count; i++) {
		runs[i].name = text(w, runs[i].name);
		runs[i].file = text(w, runs[i].file);
		w->good = w->out || (runs[i].name && runs[i].file);
	}
	return runs;
}

bool ft_watch_keep(const struct ft_watch_result *r, const struct ft_name_run *runs, size_t run_count,
                   struct ft_buf *out)
{
	struct walk w = { .out = out, .good = true };
	struct ft_watch_result shallow = *r;
	struct ft_arena a = { 0 };
	struct ft_name_run *list = ft_arena_array(&a, run_count + 1, sizeof *list);

	if (list && run_count)
		memcpy(list, runs, run_count * sizeof *list);
	image(&w, &run_count, sizeof run_count);
	if (list) {
		walk_result(&w, &shallow);
		walk_runs(&w, list, run_count);
	}
	ft_arena_done(&a);
	return list && out->status == FT_OK;
}

bool ft_watch_kept(struct ft_slice bytes, struct ft_arena *a, struct ft_watch_result *ret,
                   struct ft_name_run **ret_runs, size_t *ret_count)
{
	struct walk w = { .in = bytes, .a = a, .good = true };
	size_t count = 0;

	image(&w, &count, sizeof count);
	walk_result(&w, ret);
	ret->arena = a;
	*ret_runs = walk_runs(&w, NULL, count);
	*ret_count = w.good ? count : 0;
	return w.good && ret->key && ret->asset && ret->name;
}

uint32_t ft_watch_kept_form(void)
{
	static const uint32_t order = 0x01020304;
	unsigned char first;

	memcpy(&first, &order, 1);
	return (uint32_t)(sizeof(struct ft_watch_result) << 16 | sizeof(struct ft_exception) << 8) + FT_RULE_COUNT * 8U +
		first;
}
