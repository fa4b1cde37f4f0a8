/* SPDX-License-Identifier: Apache-2.0 */
/* The bill validator, MDB/ICP section 6, with its recycler. */
#include "meaning.h"

enum {
	SUB_IDENTITY = 0x00,
	SUB_FEATURES,
	SUB_IDENTITY_OPTIONS,
	SUB_DISPENSE_BILL = 0x06,
	SUB_DISPENSE_VALUE,
	SUB_PAYOUT_STATUS,
	SUB_PAYOUT_POLL
};
enum { SETUP_HEAD = 11, STATUS_WAS_RESET = 0x06 };

static void setup(struct meaning_step *s)
{
	const uint8_t *z = s->answer;
	struct ft_bus_setup *u = &s->d->setup;

	if (s->answer_count < SETUP_HEAD)
		return;
	*u = (struct ft_bus_setup){ .known = true,
		                        .level = z[0],
		                        .currency = (uint16_t)meaning_16(z + 1),
		                        .scale = (uint16_t)meaning_16(z + 3),
		                        .decimals = z[5],
		                        .capacity = (uint16_t)meaning_16(z + 6),
		                        .escrow = z[10] == 0xFF };
	for (unsigned t = 0; t < 16 && SETUP_HEAD + t < s->answer_count; t++)
		u->types[t] = z[SETUP_HEAD + t];
	meaning_simple(s, FT_BUS_EV_SETUP);
}

/* 1yyyxxxx */
static void bill(struct meaning_step *s, uint8_t z)
{
	static const enum ft_bus_route routes[8] = {
		FT_BUS_ROUTE_BOX,      FT_BUS_ROUTE_ESCROW,   FT_BUS_ROUTE_RETURNED, FT_BUS_ROUTE_RECYCLER,
		FT_BUS_ROUTE_REJECTED, FT_BUS_ROUTE_RECYCLER, FT_BUS_ROUTE_OUT,      FT_BUS_ROUTE_BOX,
	};
	enum { STACKED, ESCROW, RETURNED, TO_RECYCLER, REJECTED, BY_HAND_IN, BY_HAND_OUT, MOVED };
	unsigned what = z >> 4 & 7;
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_BILL);

	e.type = z & 0x0F;
	e.count = 1;
	e.route = routes[what];
	e.value = meaning_type_value(s->d, e.type);
	e.amount = what;
	if ((what == STACKED || what == MOVED) && s->d->stacked != FT_ABSENT && !s->repeated)
		s->d->stacked++;
	meaning_send(s, &e);
	/* filling by hand and moving inside the machine is no customer's money */
	if (what == STACKED || what == TO_RECYCLER)
		meaning_money_type(s, e.type, 1, e.route);
	else if (what == BY_HAND_OUT)
		meaning_money_type(s, e.type, -1, e.route);
}

static void poll(struct meaning_step *s)
{
	for (unsigned i = 0; i < s->answer_count; i++) {
		uint8_t z = s->answer[i];
		struct ft_bus_event e;
		meaning_message(s, s->answer + i);
		if (z & 0x80) {
			bill(s, z);
		} else if ((z & 0xE0) == 0x40) {
			e = meaning_event(s, FT_BUS_EV_BILL_REFUSED);
			e.count = z & 0x1F;
			meaning_send(s, &e);
		} else if (z < 0x10 || (z & 0xF0) == 0x20) {
			meaning_status(s, z, STATUS_WAS_RESET);
		} else if (z >= MEANING_FILE_FIRST && z <= MEANING_FILE_LAST) {
			meaning_unsaid(s, s->answer + i, s->answer_count - i);
			return;
		} else {
			meaning_unknown(s, z);
			return;
		}
	}
}

static void stacker(struct meaning_step *s)
{
	if (s->answer_count >= 2)
		s->d->stacked = meaning_16(s->answer) & 0x7FFF; /* the top bit says full */
}

static void dispense(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_PAYOUT_ASKED);

	if (!s->accepted || s->data_count < 2)
		return;
	e.route = FT_BUS_ROUTE_OUT;
	if (s->sub == SUB_DISPENSE_VALUE) {
		meaning_tell_value(s, &e, meaning_16(s->data));
		meaning_payout_asked(s, -1, meaning_16(s->data));
		return;
	}
	if (s->data_count < 3)
		return;
	e.type = s->data[0] & 0x0F;
	e.count = meaning_16(s->data + 1);
	e.value = meaning_type_value(s->d, e.type);
	e.value = e.value == FT_ABSENT ? FT_ABSENT : e.value * e.count;
	meaning_send(s, &e);
	meaning_payout_asked(s, e.type, e.count);
}

static void expansion(struct meaning_step *s)
{
	struct ft_bus_event e;

	switch (s->sub) {
	case SUB_IDENTITY:
	case SUB_IDENTITY_OPTIONS:
		meaning_said_identity(s);
		break;
	case SUB_FEATURES:
		meaning_features(s);
		break;
	case SUB_DISPENSE_BILL:
	case SUB_DISPENSE_VALUE:
		dispense(s);
		break;
	case SUB_PAYOUT_STATUS:
		meaning_paid_types(s, 2);
		if (s->answer_count)
			meaning_simple(s, FT_BUS_EV_PAYOUT_DONE);
		break;
	case SUB_PAYOUT_POLL:
		e = meaning_event(s, FT_BUS_EV_PAYOUT_DONE);
		if (s->answer_count >= 2) {
			meaning_paid_value(s, meaning_16(s->answer));
			meaning_tell_value(s, &e, meaning_16(s->answer));
		} else if (s->x->kind == FT_BUS_ACK) {
			meaning_send(s, &e);
		}
		break;
	default:
		break;
	}
}

void meaning_validator(struct meaning_step *s)
{
	static void (*const rules[8])(struct meaning_step *) = { NULL,          setup, NULL,    poll,
		                                                     meaning_types, NULL,  stacker, expansion };

	if (rules[s->offset])
		rules[s->offset](s);
}
