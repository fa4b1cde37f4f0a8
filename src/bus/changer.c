/* SPDX-License-Identifier: Apache-2.0 */
/* The coin changer, MDB/ICP section 5. */
#include "meaning.h"

enum { SUB_IDENTITY, SUB_FEATURES, SUB_PAYOUT, SUB_PAYOUT_STATUS, SUB_PAYOUT_POLL };
enum { SETUP_HEAD = 7, STATUS_PAYOUT_BUSY = 0x02, STATUS_WAS_RESET = 0x0B };

static void setup(struct meaning_step *s)
{
	const uint8_t *z = s->answer;
	struct ft_bus_setup *u = &s->d->setup;

	if (s->answer_count < SETUP_HEAD)
		return;
	*u = (struct ft_bus_setup){ .known = true,
		                        .level = z[0],
		                        .currency = (uint16_t)meaning_16(z + 1),
		                        .scale = z[3],
		                        .decimals = z[4],
		                        .routing = (uint16_t)meaning_16(z + 5) };
	for (unsigned t = 0; t < 16 && SETUP_HEAD + t < s->answer_count; t++) /* unsent ones are zero */
		u->types[t] = z[SETUP_HEAD + t];
	meaning_simple(s, FT_BUS_EV_SETUP);
}

static void tubes(struct meaning_step *s)
{
	if (s->answer_count < 2)
		return;
	s->d->tubes_full = (uint16_t)meaning_16(s->answer);
	for (unsigned t = 0; t < 16; t++)
		s->d->tubes[t] = 2 + t < s->answer_count ? s->answer[2 + t] : 0;
	meaning_simple(s, FT_BUS_EV_TUBES);
}

/* 01yyxxxx zz */
static void coin(struct meaning_step *s, uint8_t first, uint8_t in_tube)
{
	static const enum ft_bus_route routes[] = { FT_BUS_ROUTE_BOX, FT_BUS_ROUTE_TUBE, FT_BUS_ROUTE_NONE,
		                                        FT_BUS_ROUTE_REJECTED };
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_COIN);

	e.type = first & 0x0F;
	e.route = routes[first >> 4 & 3];
	e.count = 1;
	e.amount = in_tube;
	e.value = meaning_type_value(s->d, e.type);
	if (e.route == FT_BUS_ROUTE_TUBE)
		s->d->tubes[e.type] = in_tube;
	meaning_send(s, &e);
	if (e.route == FT_BUS_ROUTE_BOX || e.route == FT_BUS_ROUTE_TUBE)
		meaning_money_type(s, e.type, 1, e.route);
}

/* 1yyyxxxx zz */
static void by_hand(struct meaning_step *s, uint8_t first, uint8_t in_tube)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_COIN_BY_HAND);

	e.type = first & 0x0F;
	e.count = first >> 4 & 7;
	e.amount = in_tube;
	e.route = FT_BUS_ROUTE_OUT;
	s->d->tubes[e.type] = in_tube;
	meaning_send(s, &e);
	meaning_money_type(s, e.type, -(int64_t)e.count, FT_BUS_ROUTE_OUT);
}

static void poll(struct meaning_step *s)
{
	for (unsigned i = 0; i < s->answer_count; i++) {
		uint8_t z = s->answer[i];
		bool two = i + 1 < s->answer_count;
		struct ft_bus_event e;
		meaning_message(s, s->answer + i);
		if (z & 0x80 && two) {
			by_hand(s, z, s->answer[++i]);
		} else if (z & 0x40 && two) {
			coin(s, z, s->answer[++i]);
		} else if ((z & 0xE0) == 0x20) {
			e = meaning_event(s, FT_BUS_EV_SLUG);
			e.count = z & 0x1F;
			meaning_send(s, &e);
		} else if (z < 0x10) {
			if (z == STATUS_PAYOUT_BUSY) /* the DISPENSE before is known to have been heard */
				s->own->doubtful.count = 0;
			meaning_status(s, z, STATUS_WAS_RESET);
		} else if (z >= MEANING_FILE_FIRST && z <= MEANING_FILE_LAST) {
			meaning_unsaid(s, s->answer + i, s->answer_count - i);
			return;
		} else { /* what no table knows: the rest cannot be told apart */
			meaning_unknown(s, z);
			return;
		}
	}
}

static void dispense(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_PAYOUT_ASKED);
	int64_t one;

	if (!s->accepted || !s->data_count)
		return;
	e.type = s->data[0] & 0x0F;
	e.count = s->data[0] >> 4;
	e.route = FT_BUS_ROUTE_OUT;
	one = meaning_type_value(s->d, e.type);
	e.value = one == FT_ABSENT ? FT_ABSENT : one * e.count;
	meaning_send(s, &e);
	meaning_payout_asked(s, e.type, e.count);
	s->own->payout_row = -1; /* a changer tells nothing more of a DISPENSE than that it is busy */
	s->own->paid = PAID_COUNTED;
}

static void payout_poll(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_PAYOUT_DONE);

	if (s->x->kind == FT_BUS_ACK) {
		meaning_send(s, &e);
		return;
	}
	if (!s->answer_count)
		return;
	meaning_paid_value(s, s->answer[0]);
	meaning_tell_value(s, &e, s->answer[0]);
}

static void expansion(struct meaning_step *s)
{
	struct ft_bus_event e;

	switch (s->sub) {
	case SUB_IDENTITY:
		meaning_said_identity(s);
		break;
	case SUB_FEATURES:
		meaning_features(s);
		break;
	case SUB_PAYOUT:
		if (!s->accepted || !s->data_count)
			break;
		e = meaning_event(s, FT_BUS_EV_PAYOUT_ASKED);
		e.route = FT_BUS_ROUTE_OUT;
		meaning_tell_value(s, &e, s->data[0]);
		meaning_payout_asked(s, -1, s->data[0]);
		break;
	case SUB_PAYOUT_STATUS:
		meaning_paid_types(s, 1);
		if (s->answer_count)
			meaning_simple(s, FT_BUS_EV_PAYOUT_DONE);
		break;
	case SUB_PAYOUT_POLL:
		payout_poll(s);
		break;
	default:
		break;
	}
}

void meaning_changer(struct meaning_step *s)
{
	static void (*const rules[8])(struct meaning_step *) = { NULL,          setup,    tubes, poll,
		                                                     meaning_types, dispense, NULL,  expansion };

	if (rules[s->offset])
		rules[s->offset](s);
}
