/* SPDX-License-Identifier: Apache-2.0 */
/* Cashless devices, MDB/ICP section 7: what the controller asks, what the reader answers, and the states between. */
#include "meaning.h"

enum { OFFSET_RESET, OFFSET_SETUP, OFFSET_POLL, OFFSET_VEND, OFFSET_READER, OFFSET_REVALUE, OFFSET_EXPANSION = 7 };
enum { VEND_REQUEST, VEND_CANCEL, VEND_SUCCESS, VEND_FAILURE, SESSION_COMPLETE, CASH_SALE, NEGATIVE_VEND };
enum { READER_DISABLE, READER_ENABLE, READER_CANCEL };
enum { SUB_CONFIGURATION, SUB_PRICES, SUB_OPTIONS = 4 };

/* Answers by code, section 7.4. */
enum {
	JUST_RESET,
	CONFIGURATION,
	DISPLAY_REQUEST,
	BEGIN_SESSION,
	SESSION_CANCEL,
	VEND_APPROVED,
	VEND_DENIED,
	END_SESSION,
	PERIPHERAL_ID = 9,
	MALFUNCTION,
	OUT_OF_SEQUENCE,
	REVALUE_APPROVED = 0x0D,
	REVALUE_DENIED,
	REVALUE_LIMIT,
};

enum { CASHLESS_LEVEL_WIDE = 3, REFUND_LOST = 0xC, CONFIGURATION_BYTES = 8, ID_SHORT = 30, ID_LONG = 34 };

static struct meaning_sale *open_sale(struct bus_meaning *m, const struct meaning_device *own)
{
	return own->open_sale >= 0 ? &m->in->sales[own->open_sale] : NULL;
}

static void close_sale(struct bus_meaning *m, struct meaning_device *own, enum ft_bus_outcome outcome, int64_t at_ns)
{
	struct meaning_sale *s = open_sale(m, own);

	if (!s)
		return;
	s->s.outcome = outcome;
	s->s.closed_ns = at_ns;
	own->open_sale = -1;
	own->approved = false;
}

/* Nobody said how it ended: an approved sale stays unclosed, a request without a verdict came to nothing. */
static void abandon(struct bus_meaning *m, struct meaning_device *own, int64_t at_ns)
{
	close_sale(m, own, own->approved ? FT_BUS_UNCLOSED : FT_BUS_CANCELLED, at_ns);
}

void meaning_cashless_dropped(struct bus_meaning *m, struct ft_bus_device *d, int64_t at_ns)
{
	abandon(m, &m->in->devices[d->address >> 3], at_ns);
	d->state = d->addressed ? FT_BUS_INACTIVE : d->state;
	d->enabled = d->wide_money = d->prices_sent = false;
	d->options_enabled = 0;
	d->price_max = d->price_min = FT_ABSENT;
}

static unsigned common_level(const struct ft_bus_device *d)
{
	unsigned reader = d->setup.known ? d->setup.level : 0;

	if (!d->controller_level || !reader)
		return d->controller_level ? d->controller_level : reader;
	return d->controller_level < reader ? d->controller_level : reader;
}

/* ---- answers ---- */

static unsigned begin_session_length(const struct ft_bus_device *d, unsigned left)
{
	unsigned wanted = d->wide_money ? 17 : common_level(d) >= CASHLESS_LEVEL_MEDIA ? 10 : 3;

	if (!common_level(d) && !d->wide_money) /* the capture began after the setup */
		wanted = left >= 17 ? 17 : left >= 10 ? 10 : 3;
	if (left == 17 || left == 10) /* whatever was agreed: nothing else has that length */
		wanted = left;
	if (left < wanted) /* readers that keep to a lower level than they said */
		wanted = left >= 10 ? 10 : 3;
	return wanted;
}

/* Bytes of the message that begins at z[0], at most `left`; 0 when nothing can be told of it. */
static unsigned length_of(const struct meaning_step *s, const uint8_t *z, unsigned left)
{
	const struct bus_response_row *row = bus_response_row(FT_BUS_CASHLESS, z[0]);
	const struct ft_bus_device *d = s->d;
	unsigned n;

	if (!row)
		return 0;
	switch (z[0]) {
	case JUST_RESET:
		n = z == s->answer && left == 1;
		break;
	case DISPLAY_REQUEST:
		n = s->own->rows && s->own->columns ? 2U + s->own->rows * s->own->columns : left;
		break;
	case BEGIN_SESSION:
		n = begin_session_length(d, left);
		break;
	case VEND_APPROVED:
	case REVALUE_LIMIT:
		if (d->wide_money && left == 4)
			return 0; /* a byte of 0 was lost, which the check byte cannot tell */
		n = left == 5 || (d->wide_money && left >= 5) ? 5 : 3; /* alone and five bytes long: 32 bits, agreed or not */
		break;
	case PERIPHERAL_ID:
		n = left >= ID_LONG ? ID_LONG : ID_SHORT;
		break;
	case OUT_OF_SEQUENCE: /* with a state from level 2 on; some say it below that too */
		n = common_level(d) >= 2 || (left == 2 && z[1] && z[1] <= FT_BUS_NEGATIVE_VEND) ? 2 : 1;
		break;
	default:
		n = row->least == row->most ? row->least : left;
	}
	return n < left ? n : left;
}

static void configuration(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	if (n < CONFIGURATION_BYTES)
		return;
	s->d->setup = (struct ft_bus_setup){ .known = true,
		                                 .level = z[1],
		                                 .currency = (uint16_t)meaning_16(z + 2),
		                                 .scale = z[4],
		                                 .decimals = z[5],
		                                 .max_response_s = z[6],
		                                 .options = z[7] };
	if (s->d->state == FT_BUS_INACTIVE || s->d->state == FT_BUS_STATE_UNKNOWN)
		s->d->state = FT_BUS_DISABLED;
	meaning_simple(s, FT_BUS_EV_SETUP);
}

static void begin_session(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	bool wide = n >= 17;
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_SESSION);
	uint32_t funds = n < 3 ? UINT32_MAX : wide ? meaning_32(z + 1) : meaning_16(z + 1);

	if (!s->repeated)
		s->d->state = FT_BUS_SESSION_IDLE;
	e.units = funds;
	if (n >= 3 && funds != (wide ? UINT32_MAX : (uint32_t)MEANING_NONE16))
		e.value = meaning_scaled(s->d, funds);
	meaning_send(s, &e);
}

/* Price and item: 4 bytes, with 32-bit money 6, with a currency behind them 8, in later versions more. Other
 * lengths are a block that lost a byte of 0, which its check byte cannot tell, unless no long form can be meant. */
static bool price_and_item(const struct ft_bus_device *d, const uint8_t *data, unsigned n, uint32_t *ret_units,
                           int *ret_item)
{
	bool wide = d->wide_money ? n >= 6 : n == 6 || n == 8;
	bool never = !d->wide_money && common_level(d) && common_level(d) < CASHLESS_LEVEL_WIDE;

	if (n < 4 || ((n == 5 || n == 7) && !never))
		return false;
	*ret_units = wide ? meaning_32(data) : meaning_16(data);
	if (!wide && *ret_units == MEANING_NONE16)
		*ret_units = UINT32_MAX;
	*ret_item = (int)meaning_16(data + (wide ? 4 : 2));
	return true;
}

/* An approval of a request that nobody was seen to acknowledge: the reader heard it after all. */
static void request_was_heard(struct meaning_step *s)
{
	enum { VEND_REQUEST_HEAD = 2, CHECK_BYTE = 1 };
	struct ft_bus_block *c = &s->own->unheard;
	uint32_t units;
	int item;

	if (s->own->open_sale >= 0 || c->count < VEND_REQUEST_HEAD + CHECK_BYTE || s->repeated)
		return;
	if (price_and_item(s->d, c->bytes + VEND_REQUEST_HEAD, c->count - (unsigned)(VEND_REQUEST_HEAD + CHECK_BYTE),
	                   &units, &item)) {
		s->own->open_sale = meaning_new_sale(s, true, units, item);
		if (s->own->open_sale >= 0)
			s->m->in->sales[s->own->open_sale].s.at_ns = c->start_ns;
	}
	c->count = 0;
}

static void approved(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	struct meaning_sale *sale;
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_VEND_APPROVED);
	uint32_t units = n >= 5 ? meaning_32(z + 1) : n >= 3 ? meaning_16(z + 1) : UINT32_MAX;
	bool told = n >= 3 && units != (n >= 5 ? UINT32_MAX : (uint32_t)MEANING_NONE16);

	request_was_heard(s);
	sale = open_sale(s->m, s->own);
	if (sale && !s->repeated) {
		s->own->approved = true;
		sale->approved_units = told ? units : UINT32_MAX;
	}
	e.units = units;
	e.value = told ? meaning_scaled(s->d, units) : FT_ABSENT;
	e.item = sale ? sale->s.item : -1;
	meaning_send(s, &e);
}

static void malfunction(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_MALFUNCTION);
	struct bus_meaning_inside *in = s->m->in;

	if (n < 2)
		return;
	e.type = z[1];
	if (z[1] >> 4 == REFUND_LOST) {
		e.kind = FT_BUS_EV_REFUND_LOST;
		for (size_t i = in->sale_count; i-- > 0 && !s->repeated;) /* the last sale of this reader, if it failed */
			if (in->sales[i].s.address == s->d->address && in->sales[i].s.card) {
				if (in->sales[i].s.outcome == FT_BUS_FAILED)
					in->sales[i].s.outcome = FT_BUS_LOST_REFUND;
				break;
			}
	}
	meaning_send(s, &e);
}

/* The reader did not carry out what it was asked, and says where it stands. */
static void out_of_sequence(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_OUT_OF_SEQUENCE);

	e.type = n >= 2 ? z[1] : -1;
	meaning_send(s, &e);
	if (s->repeated || e.type < FT_BUS_INACTIVE || e.type > FT_BUS_NEGATIVE_VEND)
		return;
	s->d->state = (enum ft_bus_state)e.type;
	if (e.type != FT_BUS_VEND && !s->own->approved)
		close_sale(s->m, s->own, FT_BUS_CANCELLED, s->x->answer.start_ns);
}

static void told(struct meaning_step *s, const uint8_t *z, unsigned n)
{
	int64_t at = s->x->answer.start_ns;

	meaning_message(s, z);
	switch (z[0]) {
	case JUST_RESET:
		if (!s->repeated) {
			s->d->was_reset++;
			meaning_cashless_dropped(s->m, s->d, at);
			s->d->state = FT_BUS_INACTIVE;
		}
		meaning_simple(s, FT_BUS_EV_WAS_RESET);
		break;
	case CONFIGURATION:
		configuration(s, z, n);
		break;
	case BEGIN_SESSION:
		begin_session(s, z, n);
		break;
	case SESSION_CANCEL:
		meaning_simple(s, FT_BUS_EV_SESSION_CANCEL);
		break;
	case VEND_APPROVED:
		approved(s, z, n);
		break;
	case VEND_DENIED:
		if (!s->repeated) {
			close_sale(s->m, s->own, FT_BUS_DENIED, at);
			s->d->state = FT_BUS_SESSION_IDLE;
		}
		meaning_simple(s, FT_BUS_EV_VEND_DENIED);
		break;
	case END_SESSION:
		if (!s->repeated) {
			abandon(s->m, s->own, at);
			s->d->state = s->d->enabled ? FT_BUS_ENABLED : FT_BUS_DISABLED;
		}
		meaning_simple(s, FT_BUS_EV_SESSION_END);
		break;
	case PERIPHERAL_ID:
		meaning_identity(s->d, z + 1, n - 1);
		meaning_simple(s, FT_BUS_EV_IDENTITY);
		break;
	case MALFUNCTION:
		malfunction(s, z, n);
		break;
	case OUT_OF_SEQUENCE:
		out_of_sequence(s, z, n);
		break;
	case REVALUE_APPROVED:
	case REVALUE_DENIED:
		if (!s->repeated)
			s->d->state = FT_BUS_SESSION_IDLE;
		meaning_simple(s, z[0] == REVALUE_APPROVED ? FT_BUS_EV_REVALUED : FT_BUS_EV_REVALUE_DENIED);
		break;
	case REVALUE_LIMIT:
		if (!s->repeated)
			s->d->state = FT_BUS_SESSION_IDLE;
		meaning_unsaid(s, z, n);
		break;
	default: /* display, time, data entry, files: nothing of money or state */
		meaning_unsaid(s, z, n);
		break;
	}
}

/* Several messages may stand in one block; a zero byte opens JUST RESET only where it is the whole of it. */
static void answers(struct meaning_step *s)
{
	for (unsigned i = 0; i < s->answer_count;) {
		const uint8_t *z = s->answer + i;
		unsigned n = length_of(s, z, s->answer_count - i);
		if (n == 0) {
			meaning_message(s, z);
			meaning_unknown(s, z[0]);
			return;
		}
		told(s, z, n);
		i += n;
	}
}

/* ---- commands ---- */

static void setup(struct meaning_step *s)
{
	struct ft_bus_device *d = s->d;

	if (!s->accepted)
		return;
	if (s->sub == SUB_CONFIGURATION && s->data_count >= 1) {
		d->controller_level = s->data[0];
		s->own->columns = s->data_count > 1 ? s->data[1] : 0;
		s->own->rows = s->data_count > 2 ? s->data[2] : 0;
	} else if (s->sub == SUB_PRICES && s->data_count >= 4) {
		bool wide = s->data_count >= 8;
		uint32_t most = wide ? meaning_32(s->data) : meaning_16(s->data);
		uint32_t least = wide ? meaning_32(s->data + 4) : meaning_16(s->data + 2);
		d->prices_sent = true;
		d->price_max = most == (wide ? UINT32_MAX : (uint32_t)MEANING_NONE16) ? FT_ABSENT : (int64_t)most;
		d->price_min = least ? (int64_t)least : FT_ABSENT;
	}
}

static void vend_request(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_VEND_ASKED);
	uint32_t units;

	if (!price_and_item(s->d, s->data, s->data_count, &units, &e.item))
		return;
	e.at_ns = s->x->command.start_ns;
	abandon(s->m, s->own, s->x->command.start_ns);
	s->own->open_sale = meaning_new_sale(s, true, units, e.item);
	s->own->approved = false;
	meaning_tell_value(s, &e, units);
	/* after the event, so that who listens still sees the state in which it was asked */
	s->d->state = FT_BUS_VEND;
}

/* A controller with two readers tells each of them of the same cash sale. */
static bool told_to_the_other(const struct meaning_step *s, uint32_t units, int item)
{
	enum { APART_S = 2 }; /* ours: no machine sells twice in it */
	struct meaning_cash_sale *last = &s->m->in->cash_sale;
	int64_t at = s->x->command.start_ns, value = meaning_scaled(s->d, units);
	uint32_t bit = UINT32_C(1) << (s->d->address >> 3);

	if (value == FT_ABSENT)
		value = units;
	if (last->at_ns >= 0 && at - last->at_ns <= APART_S * BUS_NS_PER_S && last->value == value && last->item == item &&
	    !(last->readers & bit)) {
		last->readers |= bit;
		return true;
	}
	*last = (struct meaning_cash_sale){ .at_ns = at, .value = value, .item = item, .readers = bit };
	return false;
}

static void cash_sale(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_CASH_SALE);
	uint32_t units;

	if (!price_and_item(s->d, s->data, s->data_count, &units, &e.item))
		return;
	if (!told_to_the_other(s, units, e.item))
		meaning_new_sale(s, false, units, e.item);
	meaning_tell_value(s, &e, units);
}

static void success(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_VEND_SUCCESS);

	if (s->data_count >= 2)
		e.item = (int)meaning_16(s->data);
	close_sale(s->m, s->own, FT_BUS_SOLD, s->x->command.end_ns);
	s->d->state = FT_BUS_SESSION_IDLE;
	meaning_send(s, &e);
}

static void negative_vend(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_REVALUE_ASKED);
	uint32_t units = UINT32_MAX;

	abandon(s->m, s->own, s->x->command.start_ns);
	if (!price_and_item(s->d, s->data, s->data_count, &units, &e.item))
		e.item = -1;
	meaning_tell_value(s, &e, units);
	s->d->state = FT_BUS_NEGATIVE_VEND;
}

static void vend(struct meaning_step *s)
{
	if (s->sub == VEND_REQUEST && s->x->kind == FT_BUS_SILENCE && !s->x->cut_off)
		s->own->unheard = s->x->command;
	else if (s->accepted)
		s->own->unheard.count = 0;
	if (!s->accepted)
		return;
	switch (s->sub) {
	case VEND_REQUEST:
		vend_request(s);
		break;
	case VEND_CANCEL:
		close_sale(s->m, s->own, FT_BUS_CANCELLED, s->x->command.end_ns);
		meaning_simple(s, FT_BUS_EV_VEND_CANCEL);
		break;
	case VEND_SUCCESS:
		success(s);
		break;
	case VEND_FAILURE:
		close_sale(s->m, s->own, FT_BUS_FAILED, s->x->command.end_ns);
		s->d->state = FT_BUS_SESSION_IDLE;
		meaning_simple(s, FT_BUS_EV_VEND_FAILURE);
		break;
	case SESSION_COMPLETE:
		abandon(s->m, s->own, s->x->command.end_ns);
		meaning_simple(s, FT_BUS_EV_SESSION_COMPLETE);
		break;
	case CASH_SALE:
		cash_sale(s);
		break;
	case NEGATIVE_VEND:
		negative_vend(s);
		break;
	default:
		break;
	}
}

static void reader(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, s->sub == READER_ENABLE ? FT_BUS_EV_ENABLED : FT_BUS_EV_DISABLED);

	if (!s->accepted || s->sub > READER_ENABLE)
		return;
	e.value = s->sub == READER_ENABLE;
	meaning_send(s, &e);
	s->d->enabled = s->sub == READER_ENABLE;
	s->d->enabled_ever |= s->d->enabled;
	if (s->d->enabled && s->d->state <= FT_BUS_ENABLED)
		s->d->state = FT_BUS_ENABLED;
	else if (!s->d->enabled && s->d->state == FT_BUS_ENABLED)
		s->d->state = FT_BUS_DISABLED; /* a session goes on to its end */
}

static void revalue(struct meaning_step *s)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_REVALUE_ASKED);

	if (!s->accepted)
		return;
	s->d->state = FT_BUS_REVALUE;
	if (s->sub == 0 && s->data_count >= 2)
		meaning_tell_value(s, &e, s->data_count >= 4 ? meaning_32(s->data) : meaning_16(s->data));
}

static void expansion(struct meaning_step *s)
{
	if (s->sub == SUB_OPTIONS && s->accepted && s->data_count >= 4) {
		s->d->options_enabled = meaning_32(s->data);
		s->d->wide_money = s->d->options_enabled & OPTION_WIDE_MONEY;
	}
}

void meaning_cashless(struct meaning_step *s)
{
	static void (*const rules[8])(
		struct meaning_step *) = { NULL, setup, NULL, vend, reader, revalue, NULL, expansion };

	if (rules[s->offset])
		rules[s->offset](s);
	answers(s);
}
