/* SPDX-License-Identifier: Apache-2.0 */
#include "bus_scene.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static void on_item(void *to, const struct ft_bus_item *i)
{
	struct scene *s = to;

	if (i->kind == FT_BUS_EXCHANGE)
		ft_bus_tell(s->b, &i->exchange, &s->told);
	else
		ft_buf_puts(&s->told, i->kind == FT_BUS_STRAY ? "stray" : "break");
	ft_buf_byte(&s->told, '\n');
}

static void on_event(void *to, const struct ft_bus_event *e)
{
	struct scene *s = to;

	if (e->repeated)
		s->repeated++;
	else
		s->events[e->kind]++;
}

void scene_begin(struct scene *s)
{
	struct ft_bus_options o = { .name = "scene", .format = FT_BUS_EDGES, .inverted = { -1, -1 } };
	struct ft_bus_listener l = { s, NULL, on_item, on_event };
	struct ft_error e = { 0 };

	*s = (struct scene){ 0 };
	s->f.arena = &s->a;
	assert_int_equal(ft_bus_new(&o, &l, &s->f, &s->a, &s->b, &e), FT_OK);
}

void scene_feed(struct scene *s, const struct ft_bus_word *w, size_t n)
{
	struct ft_error e = { 0 };

	assert_int_equal(ft_bus_feed_words(s->b, w, n, &e), FT_OK);
}

void scene_row(struct scene *s, const char *controller, const char *peripheral, const char *closing)
{
	struct play_row r = { 0, ft_slice_of(controller), ft_slice_of(peripheral), ft_slice_of(closing), { 0 }, { 0 } };
	struct ft_bus_word w[128];

	scene_feed(s, w, play_words(&r, &s->at_ns, w));
}

void scene_say(struct scene *s, const char *command, const char *answer, const char *closing)
{
	char rows[2][160];
	const char *from[2] = { command, answer + (*answer == '!') };

	for (int side = 0; side < 2; side++) {
		uint8_t bytes[64];
		uint64_t modes;
		unsigned sum = *answer == '!' && side;
		size_t n, at = 0;
		rows[side][0] = '\0';
		if (!strcmp(from[side], "ack") || !strcmp(from[side], "nak")) {
			snprintf(rows[side], sizeof rows[side], "%s*", sum ? "10" : from[side][0] == 'a' ? "00" : "FF");
			continue;
		}
		n = play_bytes(ft_slice_of(from[side]), bytes, &modes);
		for (size_t i = 0; i < n; i++) {
			sum += bytes[i];
			at += (size_t)snprintf(rows[side] + at, sizeof rows[side] - at, "%02X%s", bytes[i],
			                       side == 0 && i == 0 ? "* " : " ");
		}
		if (n)
			snprintf(rows[side] + at, sizeof rows[side] - at, "%02X%s", sum & 0xFF, side ? "*" : "");
	}
	scene_row(s, rows[0], rows[1], closing);
}

void scene_setups(struct scene *s)
{
	scene_row(s, "09* 09", "03 19 78 05 02 00 0F 01 02 04 0A 14 28 00 00 00 00 00 00 00 00 00 00 F7*", "00");
	scene_row(s, "31* 31", "01 19 78 01 F4 02 02 58 00 00 FF 01 02 04 00 00 00 00 00 00 00 00 00 00 00 00 00 E9*",
	          "00");
	scene_row(s, "11* 00 03 00 00 01 15", "01 03 19 78 01 02 05 09 A6*", "00");
}

void scene_end(struct scene *s)
{
	struct ft_bus_word late = { .start_ns = s->at_ns + 20000000,
		                        .end_ns = s->at_ns + 21145837,
		                        .line = FT_BUS_CONTROLLER };
	struct ft_error e = { 0 };

	scene_feed(s, &late, 1); /* a lone byte, so that the last silence is known to be one */
	assert_int_equal(ft_bus_end(s->b, &s->r, &e), FT_OK);
}

void scene_done(struct scene *s)
{
	ft_buf_done(&s->told);
	ft_bus_done(s->b);
	ft_arena_done(&s->a);
}

void scene_money(const struct scene *s, char *to, size_t room)
{
	size_t at = 0;

	*to = '\0';
	for (size_t i = 0; i < s->r->money_count; i++) {
		const struct ft_bus_money *m = &s->r->money[i];
		char text[FT_MONEY_TEXT] = "?";
		if (m->value != FT_ABSENT)
			ft_money_text(m->value, m->decimals, text);
		at += (size_t)snprintf(to + at, room - at, "%s%s %s", i ? ", " : "", ft_bus_route_word(m->route), text);
	}
}

void scene_sales(const struct scene *s, char *to, size_t room)
{
	size_t at = 0;

	*to = '\0';
	for (size_t i = 0; i < s->r->sale_count; i++) {
		const struct ft_bus_sale *x = &s->r->sales[i];
		char text[FT_MONEY_TEXT] = "?";
		if (x->price != FT_ABSENT)
			ft_money_text(x->price, x->decimals, text);
		at += (size_t)snprintf(to + at, room - at, "%s%s %s item %d %s", i ? ", " : "", x->card ? "card" : "cash", text,
		                       x->item, ft_bus_outcome_word(x->outcome));
	}
}
