/* SPDX-License-Identifier: Apache-2.0 */
/* Any bytes as a capture of the bus: the first one chooses format and options, the second one the portions they come
 * in. Whatever it is, it ends in a report or in one sentence, and the portions make no difference. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "fettle/bus.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct heard {
	struct ft_bus *b;
	uint64_t words, items, events, told;
};

static void word(void *to, const struct ft_bus_word *w)
{
	struct heard *h = to;

	h->words = h->words * 31 + w->byte + w->mode + (uint64_t)w->start_ns;
}

static void item(void *to, const struct ft_bus_item *i)
{
	struct heard *h = to;
	struct ft_buf out = { .ceiling = 4096 };

	h->items++;
	if (i->kind == FT_BUS_EXCHANGE)
		ft_bus_tell(h->b, &i->exchange, &out);
	h->told = h->told * 31 + out.n;
	ft_buf_done(&out);
}

static void event(void *to, const struct ft_bus_event *e)
{
	struct heard *h = to;

	h->events = h->events * 31 + (uint64_t)e->kind + (uint64_t)e->value;
}

struct memory {
	const uint8_t *p;
	size_t n, at;
};

static ptrdiff_t read_on(void *from, const void **ret)
{
	struct memory *m = from;
	size_t n = m->n - m->at < 700 ? m->n - m->at : 700;

	*ret = m->p + m->at;
	m->at += n;
	return (ptrdiff_t)n;
}

static bool rewind_to_start(void *from)
{
	((struct memory *)from)->at = 0;
	return true;
}

static enum ft_status play(const uint8_t *p, size_t n, unsigned how, size_t portion, struct heard *h,
                           size_t *ret_findings)
{
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_error e = { 0 };
	const struct ft_bus_report *r;
	struct ft_bus_listener l = { h, word, item, event };
	struct ft_bus_options o = { .name = "fuzz",
		                        .format = how & 1 ? FT_BUS_RAW : FT_BUS_UNKNOWN,
		                        .inverted = { how & 2 ? 1 : -1, how & 4 ? 0 : -1 },
		                        .controller = how & 8 ? "0" : NULL,
		                        .peripheral = how & 16 ? "1" : NULL,
		                        .raw_rate = how & 32 ? 100000 : 1000000,
		                        .raw_unit = 1 + (how >> 6 & 1),
		                        .raw_channels = 3,
		                        .timing_unknown = how >> 7 & 1 };
	enum ft_status s;

	*h = (struct heard){ 0 };
	s = ft_bus_new(&o, &l, &f, &a, &h->b, &e);
	if (s == FT_OK && ft_bus_is_session(p, n)) {
		struct memory m = { p, n, 0 };
		s = ft_bus_feed_session(h->b, &(struct ft_bus_source){ &m, read_on, rewind_to_start }, &e);
	} else {
		for (size_t at = 0; s == FT_OK && at < n; at += portion)
			s = ft_bus_feed(h->b, p + at, n - at < portion ? n - at : portion, &e);
	}
	if (s == FT_OK)
		s = ft_bus_end(h->b, &r, &e);
	if (s != FT_OK && !e.text[0])
		abort();
	*ret_findings = f.count;
	ft_bus_done(h->b);
	ft_arena_done(&a);
	return s;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct heard whole, parts;
	size_t found[2];
	enum ft_status s[2];

	if (size < 3)
		return 0;
	s[0] = play(data + 2, size - 2, data[0], size, &whole, &found[0]);
	s[1] = play(data + 2, size - 2, data[0], 1U + data[1] % 64U, &parts, &found[1]);
	if (s[0] != s[1] ||
	    (s[0] == FT_OK &&
	     (found[0] != found[1] || whole.words != parts.words || whole.items != parts.items ||
	      whole.events != parts.events || whole.told != parts.told)))
		abort();
	return 0;
}
