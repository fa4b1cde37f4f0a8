/* SPDX-License-Identifier: Apache-2.0 */
/* Exchanges become what devices are, do and tell. Here stands what holds for all of them: who is counted, what took
 * place, what was told before. */
#include "meaning.h"

enum { COMMAND_BITS = 0x07, COMMAND_RESET = 0 };

enum ft_status bus_meaning_init(struct bus_meaning *m, struct ft_bus_report *report, struct ft_arena *a, void *to,
                                void (*event)(void *to, const struct ft_bus_event *e), struct ft_error *e)
{
	*m = (struct bus_meaning){ .arena = a, .to = to, .event = event, .report = report };
	m->in = FT_NEW(a, struct bus_meaning_inside);
	if (!m->in)
		return ft_fail_memory(e, "reading the capture");
	report->decimals = -1;
	for (unsigned i = 0; i < FT_BUS_ADDRESSES; i++) {
		struct ft_bus_device *d = &report->devices[i];
		const struct bus_device_row *r = bus_device_row((uint8_t)(i << 3));
		*d = (struct ft_bus_device){ .address = (uint8_t)(i << 3), .kind = r ? r->kind : FT_BUS_OTHER };
		d->first_ns = d->last_ns = d->longest_poll_gap_ns = d->shortest_poll_gap_ns = -1;
		d->price_max = d->price_min = d->stacked = FT_ABSENT;
		for (int t = 0; t < 16; t++)
			d->tubes[t] = UINT16_MAX;
		m->in->devices[i].open_sale = -1;
		m->in->devices[i].polled_ns = -1;
	}
	return FT_OK;
}

/* ---- events ---- */

struct ft_bus_event meaning_event(const struct meaning_step *s, enum ft_bus_event_kind kind)
{
	const struct ft_bus_exchange *x = s->x;

	return (struct ft_bus_event){ .kind = kind,
		                          .at_ns = s->answer_count ? x->answer.start_ns : x->command.start_ns,
		                          .exchange = x->number,
		                          .address = s->d->address,
		                          .type = -1,
		                          .value = FT_ABSENT,
		                          .decimals = s->d->setup.known ? s->d->setup.decimals : -1,
		                          .item = -1,
		                          .amount = FT_ABSENT,
		                          .repeated = s->repeated };
}

void meaning_send(const struct meaning_step *s, const struct ft_bus_event *e)
{
	s->m->event(s->m->to, e);
}

void meaning_simple(const struct meaning_step *s, enum ft_bus_event_kind kind)
{
	struct ft_bus_event e = meaning_event(s, kind);

	meaning_send(s, &e);
}

int64_t meaning_scaled(const struct ft_bus_device *d, int64_t units)
{
	return d->setup.known && d->setup.scale ? units * d->setup.scale : FT_ABSENT;
}

int64_t meaning_type_value(const struct ft_bus_device *d, int type)
{
	if (type < 0 || type > 15 || !d->setup.known || !d->setup.types[type] || d->setup.types[type] == MEANING_TOKEN)
		return FT_ABSENT;
	return meaning_scaled(d, d->setup.types[type]);
}

void meaning_tell_value(const struct meaning_step *s, struct ft_bus_event *e, uint32_t units)
{
	e->units = units;
	e->value = meaning_scaled(s->d, units);
	meaning_send(s, e);
}

/* ---- rows of the report ---- */

static void money(const struct meaning_step *s, int type, int64_t units, int kind, enum ft_bus_route route)
{
	struct bus_meaning_inside *in = s->m->in;
	struct meaning_money *grown;

	if (s->repeated)
		return;
	grown = ft_arena_grow(s->m->arena, in->money, in->money_count, &in->money_room, sizeof *grown);
	if (!grown) {
		s->m->failed = true;
		return;
	}
	in->money = grown;
	grown[in->money_count++] =
		(struct meaning_money){ .m = { .at_ns = s->answer_count ? s->x->answer.start_ns : s->x->command.start_ns,
		                               .address = s->d->address,
		                               .source = s->d->kind,
		                               .type = type,
		                               .value = FT_ABSENT,
		                               .decimals = -1,
		                               .route = route },
		                        .units = units,
		                        .kind = kind };
}

void meaning_money_type(const struct meaning_step *s, int type, int64_t count, enum ft_bus_route route)
{
	money(s, type, count, 0, route);
}

void meaning_money_units(const struct meaning_step *s, int64_t units, enum ft_bus_route route)
{
	money(s, -1, units, 1, route);
}

int meaning_new_sale(const struct meaning_step *s, bool card, uint32_t units, int item)
{
	struct bus_meaning_inside *in = s->m->in;
	struct meaning_sale *grown = ft_arena_grow(s->m->arena, in->sales, in->sale_count, &in->sale_room, sizeof *grown);

	if (!grown) {
		s->m->failed = true;
		return -1;
	}
	in->sales = grown;
	grown[in->sale_count] = (struct meaning_sale){ .s = { .at_ns = s->x->command.start_ns,
		                                                  .address = s->d->address,
		                                                  .item = item == MEANING_NONE16 ? -1 : item,
		                                                  .card = card,
		                                                  .price = FT_ABSENT,
		                                                  .approved = FT_ABSENT,
		                                                  .decimals = -1,
		                                                  .outcome = card ? FT_BUS_PENDING : FT_BUS_SOLD,
		                                                  .closed_ns = card ? -1 : s->x->command.end_ns },
		                                           .units = units,
		                                           .approved_units = UINT32_MAX };
	return (int)in->sale_count++;
}

static void text_of(char *to, const uint8_t *p, unsigned n)
{
	unsigned used = 0;

	for (unsigned i = 0; i < n; i++) {
		to[i] = (char)(p[i] >= 0x20 && p[i] < 0x7F ? p[i] : ' ');
		if (to[i] != ' ')
			used = i + 1;
	}
	to[used] = '\0';
}

void meaning_identity(struct ft_bus_device *d, const uint8_t *p, unsigned n)
{
	enum { MAKER = 3, SERIAL = 12, MODEL = 12, WITHOUT_OPTIONS = 29, WITH_OPTIONS = 33 };

	if (n < WITHOUT_OPTIONS)
		return;
	d->identity.known = true;
	text_of(d->identity.maker, p, MAKER);
	text_of(d->identity.serial, p + MAKER, SERIAL);
	text_of(d->identity.model, p + MAKER + SERIAL, MODEL);
	d->identity.software = (uint16_t)meaning_16(p + MAKER + SERIAL + MODEL);
	d->identity.options_known = n >= WITH_OPTIONS;
	d->identity.options = n >= WITH_OPTIONS ? meaning_32(p + WITHOUT_OPTIONS) : 0;
}

void meaning_types(struct meaning_step *s)
{
	struct ft_bus_event e;

	if (!s->accepted || s->data_count < 2)
		return;
	s->d->types_enabled = (uint16_t)meaning_16(s->data);
	s->d->enabled = s->d->types_enabled != 0;
	s->d->enabled_ever |= s->d->enabled;
	e = meaning_event(s, s->d->enabled ? FT_BUS_EV_ENABLED : FT_BUS_EV_DISABLED);
	e.value = s->d->types_enabled;
	meaning_send(s, &e);
}

void meaning_status(const struct meaning_step *s, uint8_t code, uint8_t was_reset)
{
	struct ft_bus_event e = meaning_event(s, code == was_reset ? FT_BUS_EV_WAS_RESET : FT_BUS_EV_STATUS);

	e.type = code;
	if (code == was_reset) {
		s->d->was_reset += !s->repeated;
		s->d->enabled = false;
	}
	meaning_send(s, &e);
}

/* ---- traffic ---- */

static void count_times(struct bus_meaning *m, struct ft_bus_device *d, struct meaning_device *own,
                        const struct ft_bus_exchange *x)
{
	int64_t at = x->command.start_ns, quiet = at - own->polled_ns;

	if (d->first_ns < 0)
		d->first_ns = at;
	d->last_ns = at;
	if (m->report->timing_known && own->polled_ns >= 0) {
		if (quiet > d->longest_poll_gap_ns)
			d->longest_poll_gap_ns = quiet;
		if (d->shortest_poll_gap_ns < 0 || quiet < d->shortest_poll_gap_ns)
			d->shortest_poll_gap_ns = quiet;
	}
	own->polled_ns = at;
}

static void count_answer(struct bus_meaning *m, struct ft_bus_device *d, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *r = &x->answer;

	d->silent += x->kind == FT_BUS_SILENCE && !x->cut_off && !x->again;
	if (!r->count)
		return;
	d->answered += !x->again;
	d->naks += x->kind == FT_BUS_NAK;
	d->framing_errors += r->framing_errors;
	d->checksum_errors += x->kind == FT_BUS_GARBLED && !r->checksum_ok;
	d->span_ns += r->span_ns;
	d->span_bits += r->span_bits;
	d->controller_naks += x->closing == FT_BUS_CLOSED_NAK;
	d->rets += x->closing == FT_BUS_CLOSED_RET;
	d->unclosed += x->kind == FT_BUS_DATA && x->closing == FT_BUS_CLOSED_NOT && !x->cut_off;
	if (m->report->timing_known && !x->again && x->response_ns >= 0) {
		ft_bus_times_add(&d->response, x->response_ns);
		d->late += x->response_ns > BUS_RESPONSE_NS;
	}
}

static void count(struct bus_meaning *m, struct meaning_step *s)
{
	const struct ft_bus_exchange *x = s->x;
	const struct bus_device_row *row = bus_device_row(s->d->address);

	if (!x->command.checksum_ok) { /* nobody can know whom it meant */
		s->d->command_errors++;
		return;
	}
	if (!x->again) {
		s->d->addressed++;
		s->d->polls += row && row->poll >= 0 && s->offset == (unsigned)row->poll;
		s->d->resets_sent += s->offset == COMMAND_RESET;
		count_times(m, s->d, s->own, x);
	}
	count_answer(m, s->d, x);
}

/* ---- what was told before ---- */

/* An answer that the controller did not acknowledge comes again (L6, L7); the same bytes to the same command then tell
 * nothing new. */
static void find_repeats(struct meaning_step *s)
{
	struct meaning_device *own = s->own;
	const struct ft_bus_block *r = &s->x->answer;

	if (s->x->kind != FT_BUS_DATA)
		return;
	s->repeated = own->last_count == r->count && own->last_command == s->x->command.bytes[0] &&
		memcmp(own->last, r->bytes, r->count) == 0;
	if (s->x->closing == FT_BUS_CLOSED_ACK) {
		own->last_count = 0;
	} else {
		memcpy(own->last, r->bytes, r->count);
		own->last_count = r->count;
		own->last_command = s->x->command.bytes[0];
	}
}

static void forget(struct bus_meaning *m, struct ft_bus_device *d, int64_t at_ns)
{
	struct meaning_device *own = &m->in->devices[d->address >> 3];

	own->last_count = 0;
	if (d->kind == FT_BUS_CASHLESS)
		meaning_cashless_dropped(m, d, at_ns);
	d->enabled = false;
	d->types_enabled = 0;
}

/* A break of 100 ms puts all devices back to power-on; what they are stays known. */
static void bus_reset(struct bus_meaning *m, const struct ft_bus_item *i)
{
	struct ft_bus_event e = { .kind = FT_BUS_EV_BREAK,
		                      .at_ns = i->block.start_ns,
		                      .exchange = m->report->exchanges,
		                      .type = -1,
		                      .value = (i->block.end_ns - i->block.start_ns) / BUS_NS_PER_US,
		                      .decimals = -1,
		                      .item = -1,
		                      .amount = FT_ABSENT };

	if (i->line != FT_BUS_CONTROLLER)
		return;
	m->event(m->to, &e);
	if (i->block.end_ns - i->block.start_ns < BUS_BREAK_NS)
		return;
	for (unsigned n = 0; n < FT_BUS_ADDRESSES; n++)
		forget(m, &m->report->devices[n], i->block.end_ns);
}

static void take_apart(struct bus_meaning *m, const struct ft_bus_exchange *x, struct meaning_step *s)
{
	const struct ft_bus_block *c = &x->command;

	*s = (struct meaning_step){ .m = m, .x = x, .sub = -1 };
	s->d = &m->report->devices[c->bytes[0] >> 3];
	s->own = &m->in->devices[c->bytes[0] >> 3];
	s->offset = c->bytes[0] & COMMAND_BITS;
	s->data = c->bytes + 1;
	s->data_count = c->count >= 2 ? c->count - 2U : 0;
	if (s->data_count && bus_has_sub(s->d->kind, s->offset)) {
		s->sub = s->data[0];
		s->data++;
		s->data_count--;
	}
	if (x->kind == FT_BUS_DATA) {
		s->answer = x->answer.bytes;
		s->answer_count = x->answer.count - 1U;
	}
	/* A damaged answer still shows that the device took the command in, or else it had been silent. */
	s->accepted =
		c->checksum_ok && !x->again && (x->kind == FT_BUS_ACK || x->kind == FT_BUS_DATA || x->kind == FT_BUS_GARBLED);
}

static void by_kind(struct meaning_step *s)
{
	switch (s->d->kind) {
	case FT_BUS_CHANGER:
		meaning_changer(s);
		break;
	case FT_BUS_VALIDATOR:
		meaning_validator(s);
		break;
	case FT_BUS_CASHLESS:
		meaning_cashless(s);
		break;
	default:
		meaning_others(s);
		break;
	}
}

void bus_meaning_item(struct bus_meaning *m, const struct ft_bus_item *i)
{
	struct meaning_step s;

	if (i->kind == FT_BUS_BUS_RESET)
		bus_reset(m, i);
	if (i->kind != FT_BUS_EXCHANGE)
		return;
	take_apart(m, &i->exchange, &s);
	count(m, &s);
	if (!i->exchange.command.checksum_ok)
		return;
	find_repeats(&s);
	if (s.offset == COMMAND_RESET && !s.x->again) {
		if (s.accepted)
			forget(m, s.d, s.x->command.end_ns);
		meaning_simple(&s, FT_BUS_EV_RESET_SENT);
	}
	by_kind(&s);
}

void bus_meaning_apply(struct bus_meaning *m, const struct ft_bus_exchange *x, struct ft_bus_device *d,
                       struct meaning_device *own, struct meaning_step *s)
{
	take_apart(m, x, s);
	s->d = d;
	s->own = own;
	find_repeats(s);
	by_kind(s);
}

/* ---- the end ---- */

static int64_t brought_to(int64_t value, int from, int to)
{
	for (; value != FT_ABSENT && from < to; from++)
		value *= 10;
	return value;
}

static void find_decimals(struct ft_bus_report *r)
{
	for (unsigned i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		bool money = d->kind == FT_BUS_CHANGER || d->kind == FT_BUS_VALIDATOR || d->kind == FT_BUS_CASHLESS;
		if (money && d->setup.known && d->setup.decimals <= 4 && d->setup.decimals > r->decimals)
			r->decimals = d->setup.decimals;
	}
}

static int64_t final_value(const struct ft_bus_report *r, const struct ft_bus_device *d, int64_t value)
{
	return d->setup.known && d->setup.decimals <= 4 ? brought_to(value, d->setup.decimals, r->decimals) : FT_ABSENT;
}

void bus_meaning_end(struct bus_meaning *m, int64_t now_ns)
{
	struct bus_meaning_inside *in = m->in;
	struct ft_bus_report *r = m->report;
	struct ft_bus_sale *sales = FT_NEW_ARRAY(m->arena, in->sale_count + 1, struct ft_bus_sale);
	struct ft_bus_money *rows = FT_NEW_ARRAY(m->arena, in->money_count + 1, struct ft_bus_money);

	(void)now_ns;
	if (!sales || !rows) {
		m->failed = true;
		return;
	}
	find_decimals(r);
	for (size_t i = 0; i < in->sale_count; i++) {
		const struct meaning_sale *s = &in->sales[i];
		const struct ft_bus_device *d = &r->devices[s->s.address >> 3];
		sales[i] = s->s;
		sales[i].decimals = r->decimals;
		if (s->units != UINT32_MAX)
			sales[i].price = final_value(r, d, meaning_scaled(d, s->units));
		if (s->approved_units != UINT32_MAX)
			sales[i].approved = final_value(r, d, meaning_scaled(d, s->approved_units));
	}
	for (size_t i = 0; i < in->money_count; i++) {
		const struct meaning_money *x = &in->money[i];
		const struct ft_bus_device *d = &r->devices[x->m.address >> 3];
		int64_t one = x->kind ? meaning_scaled(d, 1) : meaning_type_value(d, x->m.type);
		rows[i] = x->m;
		rows[i].decimals = r->decimals;
		rows[i].value = one == FT_ABSENT ? FT_ABSENT : final_value(r, d, one * x->units);
	}
	r->sales = sales;
	r->sale_count = in->sale_count;
	r->money = rows;
	r->money_count = in->money_count;
}
