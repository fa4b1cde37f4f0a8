/* SPDX-License-Identifier: Apache-2.0 */
/* Every element with the name that ties it to the same element of another audit of the machine. */
#include "room.h"

static struct ft_slice rtrim(struct ft_slice s)
{
	while (s.n && s.p[s.n - 1] == ' ')
		s.n--;
	return s;
}

static struct ft_slice key_at(const struct ft_audit *d, const struct ft_segment *s, unsigned position)
{
	struct ft_slice v = rtrim(ft_audit_at(d, s, position));

	return v.p ? v : (struct ft_slice){ "", 0 };
}

/* Where the keys of a line stand: the selection first, then up to two more. */
static void find_keys(const struct ft_facts *f, const struct ft_segment *s, struct ft_slice under, struct ft_cell *c)
{
	const struct ft_audit *d = f->audit;

	c->selection = (struct ft_slice){ NULL, 0 };
	c->key[0] = c->key[1] = (struct ft_slice){ NULL, 0 };
	switch (s->id) {
	case FT_SEG_PA1:
	case FT_SEG_PC1:
		c->selection = key_at(d, s, 1);
		return;
	case FT_SEG_PA7:
	case FT_SEG_PC7:
		c->selection = key_at(d, s, 1).n ? key_at(d, s, 1) : under;
		c->key[0] = key_at(d, s, 2);
		c->key[1] = key_at(d, s, 3);
		return;
	case FT_SEG_LA1:
		c->key[0] = key_at(d, s, 1);
		c->selection = key_at(d, s, 2);
		return;
	default:
		break;
	}
	if (s->id >= 0 && ft_segment_def((enum ft_segment_id)s->id)->parent != FT_SEG_NONE)
		c->selection = under;
	if (s->id >= 0 && strcmp(ft_segment_def((enum ft_segment_id)s->id)->keys, "1") == 0)
		c->key[0] = key_at(d, s, 1);
}

static bool same_row(const struct ft_cell *a, const struct ft_cell *b)
{
	return a->segment == b->segment && ft_slice_eq(a->name, b->name) && ft_slice_eq(a->selection, b->selection) &&
		ft_slice_eq(a->key[0], b->key[0]) && ft_slice_eq(a->key[1], b->key[1]);
}

/* Counts how often each row stood there before, by open addressing over the first cells of lines. */
struct counter {
	struct {
		size_t first;
		unsigned times;
	} * slots; /* first: index of a cell + 1, 0 = free */
	size_t mask;
};

static size_t mix(size_t h, struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i++)
		h = (h ^ (unsigned char)s.p[i]) * 1099511628211U;
	return (h ^ 0xff) * 1099511628211U;
}

static unsigned count_before(struct counter *k, const struct ft_cell *cells, size_t index, const struct ft_cell *c)
{
	size_t at = mix(mix(mix(mix(14695981039346656037U, c->name), c->selection), c->key[0]), c->key[1]);

	for (at ^= at >> 29;; at++) {
		size_t first = k->slots[at & k->mask].first;
		if (!first) {
			k->slots[at & k->mask].first = index + 1;
			k->slots[at & k->mask].times = 1;
			return 0;
		}
		if (same_row(&cells[first - 1], c))
			return k->slots[at & k->mask].times++;
	}
}

enum ft_status ft_audit_cells(const struct ft_facts *f, struct ft_arena *a, struct ft_cell **ret, size_t *ret_count,
                              struct ft_error *e)
{
	const struct ft_audit *d = f->audit;
	size_t lines = (size_t)(f->set->last - f->set->first), total = 0, n = 0;
	unsigned events = 0;
	struct counter k = { .mask = 15 };
	struct ft_slice under[2] = { { NULL, 0 }, { NULL, 0 } }; /* PA1, PC1 */
	struct ft_cell *cells;

	for (int32_t i = f->set->first; i < f->set->last; i++)
		total += d->segments[i].id == FT_SEG_FOREIGN ? 0 : d->segments[i].count;
	cells = FT_NEW_ARRAY(a, total + 1, struct ft_cell);
	while (k.mask < 2 * lines)
		k.mask = k.mask * 2 + 1;
	k.slots = ft_arena_array(a, k.mask + 1, sizeof *k.slots);
	if (!cells || !k.slots)
		return ft_fail_memory(e, "comparing the audits");
	for (int32_t i = f->set->first; i < f->set->last; i++) {
		const struct ft_segment *s = &d->segments[i];
		struct ft_cell c = { .segment = (enum ft_segment_id)s->id, .segment_index = (uint32_t)i };
		if (s->id == FT_SEG_FOREIGN || s->count == 0)
			continue;
		if (s->id == FT_SEG_PA1 || s->id == FT_SEG_PC1)
			under[s->id == FT_SEG_PC1] = key_at(d, s, 1);
		c.name = ft_audit_name(d, s);
		find_keys(f, s, under[s->id >= 0 && ft_segment_def(c.segment)->parent == FT_SEG_PC1], &c);
		/* the event log's rows may all look alike: their nth is their place in the log */
		c.nth = s->id == FT_SEG_EA1 ? events++ : count_before(&k, cells, n, &c);
		for (unsigned p = 1; p <= s->count; p++) {
			bool bad;
			c.position = p;
			c.element = ft_element_at(c.segment, p);
			c.value = rtrim(ft_audit_at(d, s, p));
			c.number = FT_ABSENT;
			if (c.segment == FT_SEG_NONE || (c.segment >= 0 && c.element == FT_EL_NONE) ||
			    (c.element != FT_EL_NONE && (segment_shape(s->id)->numbers >> p & 1)))
				c.number = audit_number(d->bytes, audit_token(d, s->first + p), &bad);
			cells[n++] = c;
		}
	}
	*ret = cells;
	*ret_count = n;
	return FT_OK;
}
