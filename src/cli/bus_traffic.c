/* SPDX-License-Identifier: Apache-2.0 */
/* The traffic inside the report: what is said again and again on a bus stands there once, and every block as a row of
 * numbers that names it. Ten minutes of polling are a tenth of what --blocks prints, which a page waits for. */
#include "bus.h"
#include "fettle/crc.h"

#include <string.h>

#define SLOTS 4096 /* ours: a bus at work says some hundred different things */

struct bus_traffic {
	struct ft_buf said, rows, one, keys;
	struct ft_json rows_json;
	int64_t said_count;
	struct {
		int64_t index;
		size_t at, n; /* its key in `keys`; n 0: nothing yet */
	} slots[SLOTS];
};

struct bus_traffic *bus_traffic_new(struct cli *c)
{
	struct bus_traffic *t = FT_NEW(&c->arena, struct bus_traffic);

	if (!t) {
		(void)ft_fail_memory(&c->error, "the traffic");
		return NULL;
	}
	t->rows_json.out = &t->rows;
	return t;
}

static void put_block(struct ft_buf *key, const struct ft_bus_block *b)
{
	ft_buf_byte(key, b->count);
	ft_buf_put(key, b->bytes, b->count);
	ft_buf_byte(key, b->checksum_ok);
	ft_buf_byte(key, b->framing_errors);
}

/* All that tells one document without times from another: that is written only for what was not said yet. */
static void put_key(struct ft_buf *key, const struct ft_bus_item *i, struct ft_slice told)
{
	const struct ft_bus_exchange *x = &i->exchange;

	ft_buf_clear(key);
	ft_buf_byte(key, (uint8_t)i->kind);
	if (i->kind == FT_BUS_EXCHANGE) {
		ft_buf_byte(key, (uint8_t)x->kind);
		ft_buf_byte(key, (uint8_t)x->closing);
		ft_buf_byte(key, x->again);
		put_block(key, &x->command);
		put_block(key, &x->answer);
		ft_buf_slice(key, told);
	} else {
		ft_buf_byte(key, (uint8_t)i->line);
		put_block(key, &i->block);
	}
}

/* Where it stands in `said`. What another one drove out of its slot is written again: that costs room, no truth. */
static int64_t said_index(struct bus_traffic *t, const struct ft_bus_item *i, struct ft_slice told)
{
	struct ft_json j = { .out = &t->said, .comma = t->said_count > 0 };
	size_t k;

	put_key(&t->one, i, told);
	k = ft_crc16(0, t->one.p, t->one.n) % SLOTS;
	if (t->slots[k].n == t->one.n && memcmp(t->keys.p + t->slots[k].at, t->one.p, t->one.n) == 0)
		return t->slots[k].index;
	bus_json_item(&j, NULL, i, told, false);
	t->slots[k].index = t->said_count++;
	t->slots[k].at = t->keys.n;
	t->slots[k].n = t->one.n;
	ft_buf_slice(&t->keys, ft_buf_text(&t->one));
	if (t->one.status != FT_OK || t->keys.status != FT_OK) {
		t->slots[k].n = 0;
		t->said.status = FT_E_MEMORY;
	}
	return t->slots[k].index;
}

void bus_traffic_item(struct bus_traffic *t, const struct ft_bus *bus, const struct ft_bus_item *i)
{
	const struct ft_bus_exchange *x = &i->exchange;
	bool exchange = i->kind == FT_BUS_EXCHANGE, answer = exchange && x->answer.count;
	const struct ft_bus_block *b = exchange ? &x->command : &i->block;
	struct ft_json *j = &t->rows_json;
	struct ft_buf told = { 0 };

	if (exchange)
		ft_bus_tell(bus, x, &told);
	ft_json_array(j, NULL);
	ft_json_i64(j, NULL, said_index(t, i, ft_buf_text(&told)));
	ft_json_i64(j, NULL, b->start_ns / 1000);
	ft_json_i64(j, NULL, b->end_ns / 1000 - b->start_ns / 1000);
	ft_json_count(j, NULL, answer ? x->answer.start_ns / 1000 - b->start_ns / 1000 : FT_ABSENT);
	ft_json_count(j, NULL, answer ? x->answer.end_ns / 1000 - x->answer.start_ns / 1000 : FT_ABSENT);
	ft_json_count(j, NULL, exchange && x->response_ns >= 0 ? x->response_ns / 1000 : FT_ABSENT);
	ft_json_array_end(j);
	if (told.status != FT_OK)
		t->said.status = told.status;
	ft_buf_done(&told);
}

void bus_traffic_write(struct bus_traffic *t, struct ft_json *j)
{
	ft_json_object(j, "traffic");
	ft_json_array(j, "said");
	ft_buf_slice(j->out, ft_buf_text(&t->said));
	ft_json_array_end(j);
	ft_json_array(j, "blocks");
	ft_buf_slice(j->out, ft_buf_text(&t->rows));
	ft_json_array_end(j);
	ft_json_object_end(j);
	if (t->said.status != FT_OK || t->rows.status != FT_OK)
		j->out->status = t->said.status != FT_OK ? t->said.status : t->rows.status;
}

void bus_traffic_done(struct bus_traffic *t)
{
	if (!t)
		return;
	ft_buf_done(&t->said);
	ft_buf_done(&t->rows);
	ft_buf_done(&t->one);
	ft_buf_done(&t->keys);
}
