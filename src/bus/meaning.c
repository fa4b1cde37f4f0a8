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
		m->in->devices[i].open_sale = m->in->devices[i].payout_row = -1;
		m->in->devices[i].polled_ns = -1;
	}
	m->in->cash_sale.at_ns = -1;
	m->in->decimals = -1;
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
	e->value = units == UINT32_MAX ? FT_ABSENT : meaning_scaled(s->d, units);
	meaning_send(s, e);
}

/* ---- rows of the report ---- */

static bool counts_money(const struct ft_bus_setup *u)
{
	return u->known && u->decimals <= 4;
}

static void remember_decimals(const struct meaning_step *s)
{
	if (counts_money(&s->d->setup) && s->d->setup.decimals > s->m->in->decimals)
		s->m->in->decimals = s->d->setup.decimals;
}

static int64_t row_value(const struct ft_bus_device *d, const struct meaning_money *m)
{
	int64_t one = m->by_type ? meaning_type_value(d, m->m.type) : meaning_scaled(d, 1);

	return one == FT_ABSENT || !counts_money(&d->setup) ? FT_ABSENT : one * m->units;
}

static void money(const struct meaning_step *s, int type, int64_t units, bool by_type, enum ft_bus_route route)
{
	struct bus_meaning_inside *in = s->m->in;
	struct meaning_money *grown;

	if (s->repeated || !units)
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
		                        .by_type = by_type,
		                        .known = counts_money(&s->d->setup) };
	grown += in->money_count - 1;
	if (grown->known) {
		grown->m.value = row_value(s->d, grown);
		grown->m.decimals = s->d->setup.decimals;
	}
	remember_decimals(s);
}

void meaning_money_type(const struct meaning_step *s, int type, int64_t count, enum ft_bus_route route)
{
	money(s, type, count, true, route);
}

void meaning_money_units(const struct meaning_step *s, int64_t units, enum ft_bus_route route)
{
	money(s, -1, units, false, route);
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
		                                           .approved_units = UINT32_MAX,
		                                           .scale = counts_money(&s->d->setup) ? s->d->setup.scale : 0,
		                                           .decimals = s->d->setup.decimals };
	remember_decimals(s);
	return (int)in->sale_count++;
}

/* ---- payouts ---- */

void meaning_payout_asked(struct meaning_step *s, int type, uint32_t count)
{
	size_t before = s->m->in->money_count;

	if (type >= 0)
		meaning_money_type(s, type, -(int64_t)count, FT_BUS_ROUTE_OUT);
	else
		meaning_money_units(s, -(int64_t)count, FT_BUS_ROUTE_OUT);
	s->own->payout_row = s->m->in->money_count > before ? (int)before : -1;
	s->own->paid = PAID_UNTOLD;
	memset(s->own->paid_types, 0, sizeof s->own->paid_types);
}

/* The device tells what it paid: the row of what it was asked for gives way. False where it told so another way. */
static bool paid(struct meaning_step *s, enum meaning_paid way)
{
	struct meaning_device *own = s->own;

	if (s->repeated || (own->paid != PAID_UNTOLD && own->paid != way))
		return false;
	own->paid = way;
	if (own->payout_row >= 0)
		s->m->in->money[own->payout_row].replaced = true;
	own->payout_row = -1;
	return true;
}

void meaning_paid_value(struct meaning_step *s, uint32_t units)
{
	if (paid(s, PAID_BY_VALUE))
		meaning_money_units(s, -(int64_t)units, FT_BUS_ROUTE_OUT);
}

/* Asked twice it tells the same pieces twice; only what is more than before is counted. */
void meaning_paid_types(struct meaning_step *s, unsigned bytes)
{
	if (s->answer_count < bytes || !paid(s, PAID_BY_TYPE))
		return;
	for (unsigned t = 0; t < 16 && (t + 1) * bytes <= s->answer_count; t++) {
		unsigned n = bytes == 2 ? meaning_16(s->answer + 2 * t) : s->answer[t];
		if (n > s->own->paid_types[t])
			meaning_money_type(s, (int)t, (int64_t)s->own->paid_types[t] - n, FT_BUS_ROUTE_OUT);
		s->own->paid_types[t] = (uint16_t)n;
	}
}

/* ---- what every device tells alike ---- */

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

void meaning_said_identity(struct meaning_step *s)
{
	meaning_identity(s->d, s->answer, s->answer_count);
	if (s->answer_count)
		meaning_simple(s, FT_BUS_EV_IDENTITY);
}

void meaning_features(struct meaning_step *s)
{
	if (s->accepted && s->data_count >= 4)
		s->d->options_enabled = meaning_32(s->data);
}

void meaning_unknown(const struct meaning_step *s, uint8_t code)
{
	struct ft_bus_event e = meaning_event(s, FT_BUS_EV_UNKNOWN);

	e.type = code;
	meaning_send(s, &e);
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
		/* by no more than a step of the capture's times nobody is late; the judge counts alike */
		int64_t step = m->report->resolution_ns > 0 ? m->report->resolution_ns : 0;
		ft_bus_times_add(&d->response, x->response_ns);
		d->late += x->response_ns > BUS_RESPONSE_NS + step;
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

enum { DOUBT_S = 2 }; /* ours: a controller repeats at once, and nobody buys or is paid twice within it */

/* Cashless devices and gateways open each message with a code of its own, whatever they are asked. */
static bool coded(const struct meaning_step *s)
{
	return s->d->kind == FT_BUS_CASHLESS || s->d->kind == FT_BUS_GATEWAY;
}

static bool polls(const struct meaning_step *s)
{
	const struct bus_device_row *row = bus_device_row(s->d->address);

	return row && row->poll >= 0 && s->offset == (unsigned)row->poll;
}

/* How many bytes both begin with; 0 where neither begins with the whole of the other. */
static unsigned common(const struct meaning_pending *p, const struct meaning_step *s, bool several)
{
	unsigned n = p->count < s->answer_count ? p->count : s->answer_count;

	if (!n || (!coded(s) && p->sub != s->sub) || (!several && p->count != s->answer_count) ||
	    memcmp(p->bytes, s->answer, n) != 0)
		return 0;
	return n;
}

/* An answer that the controller did not acknowledge comes again (L6, L7), maybe with more behind it or in portions;
 * what it holds of the earlier one is no news. A device that then has nothing to report knows that it was heard. */
static void find_repeats(struct meaning_step *s)
{
	struct meaning_pending *p = &s->own->pending[coded(s) ? 0 : s->offset];
	bool acknowledged = s->x->closing == FT_BUS_CLOSED_ACK, several = coded(s) || polls(s);
	unsigned n;

	if ((s->x->kind == FT_BUS_ACK && (polls(s) || !coded(s))) || (s->x->kind == FT_BUS_GARBLED && acknowledged))
		p->count = 0;
	if (s->x->kind != FT_BUS_DATA || !s->answer_count)
		return;
	n = common(p, s, several);
	s->told_before = n;
	if (acknowledged) {
		p->count = n ? (uint8_t)(p->count - n) : 0;
		memmove(p->bytes, p->bytes + n, p->count);
	} else if (!n || n < s->answer_count) {
		memcpy(p->bytes, s->answer, s->answer_count);
		p->count = (uint8_t)s->answer_count;
		p->sub = s->sub;
	}
	s->repeated = s->told_before == s->answer_count;
}

void meaning_message(struct meaning_step *s, const uint8_t *z)
{
	s->repeated = (unsigned)(z - s->answer) < s->told_before;
}

void meaning_unsaid(const struct meaning_step *s, const uint8_t *z, unsigned n)
{
	if (s->m->in->unsaid)
		s->m->in->unsaid(s->m->to, s, z, n);
}

/* A command whose answer came damaged or was not acknowledged took place, but the controller may not know it and send
 * it again (L9). */
static void find_doubles(struct meaning_step *s)
{
	const struct ft_bus_exchange *x = s->x;
	struct ft_bus_block *d = &s->own->doubtful;

	if (x->again) { /* RET: the controller has heard it after all */
		if (x->kind != FT_BUS_GARBLED)
			d->count = 0;
		return;
	}
	if (polls(s))
		return;
	if (s->accepted && d->count == x->command.count && memcmp(d->bytes, x->command.bytes, d->count) == 0 &&
	    x->command.start_ns - d->end_ns <= DOUBT_S * BUS_NS_PER_S)
		s->accepted = false;
	d->count = 0;
	if ((x->kind == FT_BUS_GARBLED || x->kind == FT_BUS_DATA) && x->closing != FT_BUS_CLOSED_ACK)
		*d = x->command;
}

static void forget(struct bus_meaning *m, struct ft_bus_device *d, int64_t at_ns)
{
	struct meaning_device *own = &m->in->devices[d->address >> 3];

	memset(own->pending, 0, sizeof own->pending);
	own->doubtful.count = own->unheard.count = 0;
	own->payout_row = -1;
	own->paid = PAID_UNTOLD;
	memset(own->paid_types, 0, sizeof own->paid_types);
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

/* What no table of a device whose commands are known has: the maker's own or a newer version. */
static void unknown_command(struct meaning_step *s)
{
	const struct ft_bus_block *c = &s->x->command;
	bool listed = s->d->kind == FT_BUS_CHANGER || s->d->kind == FT_BUS_VALIDATOR || s->d->kind == FT_BUS_CASHLESS ||
		s->d->kind == FT_BUS_GATEWAY;

	if (!listed || s->x->again || bus_command_row(c->bytes, c->count - 1U))
		return;
	meaning_unknown(s, c->bytes[0]);
}

static void by_kind(struct meaning_step *s)
{
	unknown_command(s);
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
	find_doubles(&s);
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
	/* what was asked is told whether it was answered or not */
	s->accepted = x->command.checksum_ok && !x->again;
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

/* The most decimals that any device says now or said when money moved. */
static void find_decimals(struct bus_meaning *m)
{
	struct ft_bus_report *r = m->report;

	r->decimals = m->in->decimals;
	for (unsigned i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		bool money = d->kind == FT_BUS_CHANGER || d->kind == FT_BUS_VALIDATOR || d->kind == FT_BUS_CASHLESS;
		if (money && counts_money(&d->setup) && d->setup.decimals > r->decimals)
			r->decimals = d->setup.decimals;
	}
}

/* What the sale was worth by the setup of its time, or by the one that came later. */
static void value_sale(const struct ft_bus_report *r, const struct meaning_sale *s, struct ft_bus_sale *ret)
{
	const struct ft_bus_setup *u = &r->devices[s->s.address >> 3].setup;
	unsigned scale = s->scale ? s->scale : counts_money(u) ? u->scale : 0;
	int decimals = s->scale ? (int)s->decimals : u->decimals;

	*ret = s->s;
	ret->decimals = r->decimals;
	if (scale && s->units != UINT32_MAX)
		ret->price = brought_to((int64_t)s->units * scale, decimals, r->decimals);
	if (scale && s->approved_units != UINT32_MAX)
		ret->approved = brought_to((int64_t)s->approved_units * scale, decimals, r->decimals);
}

static void value_money(const struct ft_bus_report *r, const struct meaning_money *m, struct ft_bus_money *ret)
{
	const struct ft_bus_device *d = &r->devices[m->m.address >> 3];

	*ret = m->m;
	if (!m->known)
		ret->value = row_value(d, m);
	ret->value = brought_to(ret->value, m->known ? m->m.decimals : d->setup.decimals, r->decimals);
	ret->decimals = r->decimals;
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
	find_decimals(m);
	for (size_t i = 0; i < in->sale_count; i++) {
		struct ft_bus_sale s;
		size_t at = i;
		value_sale(r, &in->sales[i], &s);
		for (; at > 0 && sales[at - 1].at_ns > s.at_ns; at--) /* one that its approval alone made known came late */
			sales[at] = sales[at - 1];
		sales[at] = s;
	}
	for (size_t i = 0; i < in->money_count; i++)
		if (!in->money[i].replaced)
			value_money(r, &in->money[i], &rows[r->money_count++]);
	r->sales = sales;
	r->sale_count = in->sale_count;
	r->money = rows;
}
