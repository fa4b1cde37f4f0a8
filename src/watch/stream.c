/* SPDX-License-Identifier: Apache-2.0 */
/* Reads one behind the other, each as its difference to the one before: what did not change costs a bit. Differences
 * are taken around the whole range of int64_t, so that they always exist, FT_ABSENT included. */
#include "room.h"

_Static_assert(FT_WATCH_NUMBERS <= 32 && FT_WATCH_TEXTS <= 8, "the masks of a record");

static void put_number(struct ft_buf *b, uint64_t v)
{
	uint8_t out[10];
	size_t n = 0;

	do {
		out[n++] = (uint8_t)((v & 0x7f) | (v > 0x7f ? 0x80 : 0));
		v >>= 7;
	} while (v);
	ft_buf_put(b, out, n);
}

static void put_step(struct ft_buf *b, int64_t from, int64_t to)
{
	uint64_t d = (uint64_t)to - (uint64_t)from;

	put_number(b, d << 1 ^ (d >> 63 ? UINT64_MAX : 0));
}

/* What stands in the middle between the same beginning and the same end: file names differ by a date. */
static void put_text(struct ft_buf *b, struct ft_slice from, struct ft_slice to)
{
	size_t head = 0, tail = 0;

	while (head < from.n && head < to.n && from.p[head] == to.p[head])
		head++;
	while (tail < from.n - head && tail < to.n - head && from.p[from.n - 1 - tail] == to.p[to.n - 1 - tail])
		tail++;
	put_number(b, head);
	put_number(b, tail);
	put_number(b, to.n - head - tail);
	ft_buf_put(b, to.p + head, to.n - head - tail);
}

static bool same_cells(const struct ft_watch_read *a, const struct ft_watch_read *b)
{
	if (a->cell_count != b->cell_count)
		return false;
	for (size_t i = 0; i < a->cell_count; i++)
		if (!ft_slice_eq(a->cells[i].id, b->cells[i].id))
			return false;
	return true;
}

static bool keep_text(struct ft_stream *s, int which, struct ft_slice t)
{
	struct ft_slice *mine = &s->last.text[which];
	char *copy = ft_arena_text(&s->arena, t);

	if (!copy)
		return false;
	*mine = (struct ft_slice){ copy, t.n };
	return true;
}

static bool keep_cells(struct ft_stream *s, const struct ft_watch_read *r, bool same)
{
	struct ft_watch_read *last = &s->last;

	if (r->cell_count > s->cell_room) {
		last->cells = FT_NEW_ARRAY(&s->arena, r->cell_count, struct ft_watch_cell);
		s->cell_room = last->cells ? r->cell_count : 0;
	}
	if (r->cell_count > s->cell_room)
		return false;
	for (size_t i = 0; i < r->cell_count; i++) {
		struct ft_slice id = last->cells[i].id;
		if (!same) {
			char *copy = ft_arena_text(&s->arena, r->cells[i].id);
			if (!copy)
				return false;
			id = (struct ft_slice){ copy, r->cells[i].id.n };
		}
		last->cells[i] = r->cells[i];
		last->cells[i].id = id;
	}
	last->cell_count = r->cell_count;
	return true;
}

/* What was kept of earlier texts is of no more use: begin the arena anew once it holds much of it. */
static bool tidy(struct ft_stream *s)
{
	struct ft_watch_read old = s->last;
	struct ft_arena before = s->arena;
	bool good = true;

	s->arena = (struct ft_arena){ 0 };
	s->cell_room = 0;
	s->last.cells = NULL;
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		good = good && keep_text(s, i, old.text[i]);
	good = good && keep_cells(s, &old, false);
	ft_arena_done(&before);
	return good;
}

static void put_cells(struct ft_buf *b, const struct ft_watch_read *last, const struct ft_watch_read *r, bool same)
{
	static const struct ft_watch_cell none = { { "", 0 }, FT_ABSENT, FT_ABSENT, FT_ABSENT, false };

	put_number(b, same ? 0 : r->cell_count + 1);
	for (size_t i = 0; !same && i < r->cell_count; i++) {
		put_number(b, r->cells[i].id.n);
		ft_buf_slice(b, r->cells[i].id);
	}
	for (size_t i = 0; i < r->cell_count; i += 8) {
		uint8_t mask = 0;
		for (size_t k = i; k < i + 8 && k < r->cell_count; k++) {
			const struct ft_watch_cell *x = &r->cells[k], *y = same ? &last->cells[k] : &none;
			if (x->price != y->price || x->count != y->count || x->value != y->value || x->out != y->out)
				mask |= (uint8_t)(1U << (k - i));
		}
		ft_buf_byte(b, mask);
		for (size_t k = i; mask && k < i + 8 && k < r->cell_count; k++) {
			const struct ft_watch_cell *x = &r->cells[k], *y = same ? &last->cells[k] : &none;
			if (!(mask >> (k - i) & 1))
				continue;
			put_step(b, y->count, x->count);
			put_step(b, y->value, x->value);
			/* a price hardly ever changes: its step tells whether the machine says sold out, too */
			put_number(b, (uint64_t)x->out | (x->price != y->price ? 2U : 0U));
			if (x->price != y->price)
				put_step(b, y->price, x->price);
		}
	}
}

bool ft_stream_put(struct ft_stream *s, const struct ft_watch_read *r)
{
	struct ft_watch_read *last = &s->last;
	bool same = s->count && same_cells(last, r), good = true;
	unsigned texts = 0, flags = r->flags;
	uint32_t mask = 0;

	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		texts |= ft_slice_eq(last->text[i], r->text[i]) ? 0U : 1U << i;
	for (int i = 0; i < FT_WATCH_NUMBERS; i++)
		mask |= last->number[i] != r->number[i] ? 1U << i : 0U;
	put_number(&s->bytes, flags);
	put_number(&s->bytes, texts);
	put_number(&s->bytes, mask);
	ft_buf_put(&s->bytes, &r->content, sizeof r->content);
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		if (texts >> i & 1)
			put_text(&s->bytes, last->text[i], r->text[i]);
	for (int i = 0; i < FT_WATCH_NUMBERS; i++)
		if (mask >> i & 1)
			put_step(&s->bytes, last->number[i], r->number[i]);
	put_cells(&s->bytes, last, r, same);
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		if (texts >> i & 1)
			good = good && keep_text(s, i, r->text[i]);
	memcpy(last->number, r->number, sizeof last->number);
	good = good && keep_cells(s, r, same);
	if (++s->count % 64 == 0)
		good = good && tidy(s);
	return good && s->bytes.status == FT_OK;
}

void ft_stream_done(struct ft_stream *s)
{
	ft_buf_done(&s->bytes);
	ft_arena_done(&s->arena);
	*s = (struct ft_stream){ 0 };
}

/* ---- and back ---- */

struct cursor {
	const uint8_t *p, *end;
	bool bad;
};

static uint64_t get_number(struct cursor *c)
{
	uint64_t v = 0;

	for (unsigned shift = 0; shift < 64; shift += 7) {
		if (c->p == c->end)
			break;
		v |= (uint64_t)(*c->p & 0x7f) << shift;
		if (!(*c->p++ & 0x80))
			return v;
	}
	c->bad = true;
	return 0;
}

static int64_t get_step(struct cursor *c, int64_t from)
{
	uint64_t z = get_number(c), d = z >> 1 ^ (z & 1 ? UINT64_MAX : 0);

	return (int64_t)((uint64_t)from + d);
}

static struct ft_slice get_bytes(struct cursor *c, uint64_t n)
{
	struct ft_slice s = { (const char *)c->p, 0 };

	if (n > (uint64_t)(c->end - c->p)) {
		c->bad = true;
		return s;
	}
	s.n = (size_t)n;
	c->p += n;
	return s;
}

static struct ft_slice get_text(struct cursor *c, struct ft_slice from, struct ft_arena *a)
{
	uint64_t head = get_number(c), tail = get_number(c);
	struct ft_slice middle = get_bytes(c, get_number(c));
	struct ft_slice s = { "", 0 };
	char *p;

	from.p = from.p ? from.p : "";
	middle.p = middle.p ? middle.p : "";
	if (c->bad || head > from.n || tail > from.n - head) {
		c->bad = true;
		return s;
	}
	p = ft_arena_raw(a, (size_t)(head + tail) + middle.n + 1);
	if (!p)
		return s;
	memcpy(p, from.p, (size_t)head);
	memcpy(p + head, middle.p, middle.n);
	memcpy(p + head + middle.n, from.p + from.n - tail, (size_t)tail);
	s = (struct ft_slice){ p, (size_t)(head + tail) + middle.n };
	p[s.n] = 0;
	return s;
}

static void get_cells(struct cursor *c, const struct ft_watch_read *last, struct ft_arena *a, struct ft_watch_read *r)
{
	uint64_t n = get_number(c);
	bool same = n == 0;

	if (!same && n - 1 > FT_WATCH_CELLS_MAX) {
		c->bad = true;
		return;
	}
	r->cell_count = same ? last->cell_count : (size_t)n - 1;
	r->cells = ft_arena_raw(a, (r->cell_count + 1) * sizeof *r->cells);
	if (!r->cells) {
		r->cell_count = 0;
		return;
	}
	for (size_t i = 0; i < r->cell_count; i++)
		r->cells[i] = same
			? last->cells[i]
			: (struct ft_watch_cell){ get_bytes(c, get_number(c)), FT_ABSENT, FT_ABSENT, FT_ABSENT, false };
	for (size_t i = 0; i < r->cell_count && !c->bad; i += 8) {
		struct ft_slice byte = get_bytes(c, 1);
		unsigned mask = byte.n ? (uint8_t)byte.p[0] : 0;
		for (size_t k = i; mask && k < i + 8 && k < r->cell_count; k++) {
			struct ft_watch_cell *x = &r->cells[k];
			uint64_t more;
			if (!(mask >> (k - i) & 1))
				continue;
			x->count = get_step(c, x->count);
			x->value = get_step(c, x->value);
			more = get_number(c);
			x->out = more & 1;
			if (more & 2)
				x->price = get_step(c, x->price);
		}
	}
}

static void get_read(struct cursor *c, const struct ft_watch_read *last, struct ft_arena *a, struct ft_watch_read *r)
{
	unsigned texts;
	uint32_t mask;
	struct ft_slice content;

	memset(r, 0, sizeof *r);
	r->flags = (unsigned)get_number(c);
	texts = (unsigned)get_number(c);
	mask = (uint32_t)get_number(c);
	content = get_bytes(c, sizeof r->content);
	if (content.n)
		memcpy(&r->content, content.p, sizeof r->content);
	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		r->text[i] = texts >> i & 1 ? get_text(c, last->text[i], a) : last->text[i];
	for (int i = 0; i < FT_WATCH_NUMBERS; i++)
		r->number[i] = mask >> i & 1 ? get_step(c, last->number[i]) : last->number[i];
	get_cells(c, last, a, r);
}

enum ft_status ft_stream_get(struct ft_slice bytes, struct ft_arena *a, struct ft_watch_read **ret, size_t *ret_count,
                             struct ft_error *e)
{
	struct ft_watch_read first = { 0 };
	struct cursor c = { (const uint8_t *)bytes.p, (const uint8_t *)bytes.p + bytes.n, false };
	struct ft_watch_read *list = NULL;
	size_t count = 0, room = 0;

	for (int i = 0; i < FT_WATCH_TEXTS; i++)
		first.text[i] = (struct ft_slice){ "", 0 };
	while (c.p < c.end && !c.bad) {
		struct ft_watch_read *grown = ft_arena_grow(a, list, count, &room, sizeof *list);
		if (!grown)
			return ft_fail_memory(e, "the reads of a machine");
		list = grown;
		get_read(&c, count ? &list[count - 1] : &first, a, &list[count]);
		count++;
	}
	if (a->failed)
		return ft_fail_memory(e, "the reads of a machine");
	if (c.bad)
		return ft_fail(e, FT_E_INPUT,
		               "What the book keeps of a machine's reads is damaged; begin it anew from the audits.");
	*ret = list;
	*ret_count = count;
	return FT_OK;
}
