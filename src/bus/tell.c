/* SPDX-License-Identifier: Apache-2.0 */
/* One exchange in plain words: its meaning is worked out on copies, so that telling changes nothing. */
#include <stdio.h>

#include "tell.h"

struct telling {
	struct ft_buf *out;
	const struct ft_bus_device *d;
	const struct meaning_step *step;
	unsigned said;
};

static const char *money_of(const struct ft_bus_event *e, char text[FT_MONEY_TEXT])
{
	if (e->value != FT_ABSENT && e->decimals >= 0 && e->decimals <= 4)
		return ft_money_text(e->value, e->decimals, text);
	if (e->type >= 0)
		snprintf(text, FT_MONEY_TEXT, "of type %d", e->type);
	else
		snprintf(text, FT_MONEY_TEXT, "%lu units", (unsigned long)e->units);
	return text;
}

static void item(struct ft_buf *out, const struct ft_bus_event *e)
{
	if (e->item >= 0 && e->item != MEANING_NONE16)
		ft_buf_printf(out, " for item %d", e->item);
}

static void coin(struct ft_buf *out, const struct ft_bus_event *e)
{
	char m[FT_MONEY_TEXT];

	switch (e->route) {
	case FT_BUS_ROUTE_TUBE:
		ft_buf_printf(out, "coin %s into the tube, %lld there now", money_of(e, m), (long long)e->amount);
		break;
	case FT_BUS_ROUTE_BOX:
		ft_buf_printf(out, "coin %s to the cash box", money_of(e, m));
		break;
	case FT_BUS_ROUTE_REJECTED:
		ft_buf_printf(out, "coin %s rejected", money_of(e, m));
		break;
	default:
		ft_buf_printf(out, "coin %s, route not known", money_of(e, m));
	}
}

/* In the order of the three bits that tell it. */
static void bill(struct ft_buf *out, const struct ft_bus_event *e)
{
	char m[FT_MONEY_TEXT];
	static const char *const where[8] = {
		"stacked",
		"in escrow",
		"returned",
		"to the recycler",
		"rejected while disabled",
		"to the recycler, filled by hand",
		"dispensed by hand",
		"moved from the recycler to the cash box",
	};

	ft_buf_printf(out, "bill %s %s", money_of(e, m), where[e->amount & 7]);
}

/* A coin or bill type by its value where that is known. */
static void type_word(struct telling *t, int type)
{
	int64_t value = meaning_type_value(t->d, type);
	char m[FT_MONEY_TEXT];

	if (value != FT_ABSENT && t->d->setup.decimals <= 4)
		ft_buf_puts(t->out, ft_money_text(value, t->d->setup.decimals, m));
	else
		ft_buf_printf(t->out, "type %d", type);
}

static void type_words(struct telling *t, const char *before, unsigned types)
{
	ft_buf_puts(t->out, before);
	for (int i = 0; i < 16; i++)
		if (types >> i & 1) {
			ft_buf_byte(t->out, ' ');
			type_word(t, i);
		}
}

/* COIN TYPE and BILL TYPE; behind the types that are accepted stand those that may be paid out by hand, or those
 * whose bills wait in escrow. */
static void accepted(struct telling *t, unsigned types)
{
	unsigned more = t->step->data_count >= 4 ? meaning_16(t->step->data + 2) : 0;

	type_words(t, "accept", types);
	if (!more)
		return;
	if (t->d->kind == FT_BUS_CHANGER)
		type_words(t, ", by hand", more);
	else if ((more & types) == types)
		ft_buf_puts(t->out, ", all by escrow");
	else
		type_words(t, ", by escrow", more);
}

static void reader_options(struct ft_buf *out, unsigned options)
{
	static const char *const words[] = { "can refund", "several vends a session", "has its own display",
		                                 "takes cash sales" };

	for (unsigned i = 0; i < sizeof words / sizeof *words; i++)
		if (options >> i & 1)
			ft_buf_printf(out, ", %s", words[i]);
}

static void setup(struct telling *t)
{
	const struct ft_bus_setup *u = &t->d->setup;
	char currency[24];

	ft_bus_currency(u->currency, currency);
	if (t->d->kind == FT_BUS_GATEWAY) {
		ft_buf_printf(t->out, "level %d, answers within %d s", u->level, u->max_response_s);
		return;
	}
	ft_buf_printf(t->out, "level %d, %s, scale %d, %d decimals", u->level,
	              currency[0] ? currency : "currency not known", u->scale, u->decimals);
	if (t->d->kind == FT_BUS_CASHLESS) {
		ft_buf_printf(t->out, ", answers within %d s", u->max_response_s);
		reader_options(t->out, u->options);
	}
	for (int i = 0, n = 0; i < 16 && t->d->kind != FT_BUS_CASHLESS; i++) {
		char m[FT_MONEY_TEXT];
		if (!u->types[i])
			continue;
		ft_buf_puts(t->out, n++ ? " " : t->d->kind == FT_BUS_CHANGER ? ", coins " : ", bills ");
		if (u->types[i] == MEANING_TOKEN)
			ft_buf_puts(t->out, "token");
		else if (u->decimals <= 4)
			ft_buf_puts(t->out, ft_money_text((int64_t)u->types[i] * u->scale, u->decimals, m));
	}
}

static void tubes(struct telling *t)
{
	ft_buf_puts(t->out, "tubes hold");
	for (int i = 0, n = 0; i < 16; i++) {
		if (t->d->tubes[i] == UINT16_MAX || (!t->d->tubes[i] && !(t->d->setup.routing >> i & 1)))
			continue;
		ft_buf_printf(t->out, "%s %d of ", n++ ? "," : "", t->d->tubes[i]);
		type_word(t, i);
	}
	if (t->d->tubes_full)
		type_words(t, ", full:", t->d->tubes_full);
}

static void status(struct telling *t, const struct ft_bus_event *e)
{
	const char *text = bus_status_word(t->d->kind, e->type);

	if (text)
		ft_buf_puts(t->out, text);
	else
		ft_buf_printf(t->out, "status %02X, which no table knows", e->type);
}

static void of_session(struct telling *t, const struct ft_bus_event *e)
{
	char m[FT_MONEY_TEXT];

	switch (e->kind) {
	case FT_BUS_EV_SESSION:
		ft_buf_printf(t->out, "session begins, %s%s", e->value == FT_ABSENT ? "funds not told" : "funds ",
		              e->value == FT_ABSENT ? "" : money_of(e, m));
		break;
	case FT_BUS_EV_VEND_ASKED:
	case FT_BUS_EV_CASH_SALE:
		ft_buf_puts(t->out, money_of(e, m));
		item(t->out, e);
		break;
	case FT_BUS_EV_VEND_APPROVED:
		ft_buf_printf(t->out, "vend approved%s%s", e->value == FT_ABSENT ? "" : ", ",
		              e->value == FT_ABSENT ? "" : money_of(e, m));
		break;
	case FT_BUS_EV_VEND_SUCCESS:
		if (e->item >= 0 && e->item != MEANING_NONE16)
			ft_buf_printf(t->out, "item %d ", e->item);
		ft_buf_puts(t->out, "delivered");
		break;
	case FT_BUS_EV_MALFUNCTION: {
		const char *text = bus_status_word(FT_BUS_CASHLESS, e->type >> 4);
		ft_buf_printf(t->out, "malfunction %02X: %s", e->type, text ? text : "not assigned");
		break;
	}
	case FT_BUS_EV_OUT_OF_SEQUENCE: {
		const char *state = e->type >= 0 ? ft_bus_state_word((enum ft_bus_state)e->type) : NULL;
		ft_buf_printf(t->out, "command out of sequence%s%s", state ? ", state " : "", state ? state : "");
		break;
	}
	case FT_BUS_EV_REVALUE_ASKED:
		ft_buf_puts(t->out, money_of(e, m));
		item(t->out, e);
		break;
	default:
		ft_buf_puts(t->out, ft_bus_event_word(e->kind));
	}
}

/* By value since it was last asked, by pieces of each type, or nothing more to come. */
static void paid(struct telling *t, const struct ft_bus_event *e)
{
	unsigned bytes = t->d->kind == FT_BUS_VALIDATOR ? 2 : 1, pieces = t->step->answer_count / bytes;
	const char *between = "paid ";
	char m[FT_MONEY_TEXT];

	if (t->step->x->kind == FT_BUS_ACK) {
		ft_buf_puts(t->out, "payout finished");
		return;
	}
	if (pieces <= 1) {
		ft_buf_printf(t->out, "paid since last asked %s", money_of(e, m));
		return;
	}
	for (unsigned i = 0; i < pieces && i < 16; i++) {
		unsigned n = bytes == 2 ? meaning_16(t->step->answer + 2 * i) : t->step->answer[i];
		if (!n)
			continue;
		ft_buf_printf(t->out, "%s%u of ", between, n);
		type_word(t, (int)i);
		between = ", ";
	}
	if (between[0] == 'p')
		ft_buf_puts(t->out, "nothing paid");
}

static void of_money(struct telling *t, const struct ft_bus_event *e)
{
	char m[FT_MONEY_TEXT];

	switch (e->kind) {
	case FT_BUS_EV_COIN:
		coin(t->out, e);
		break;
	case FT_BUS_EV_COIN_BY_HAND:
		ft_buf_printf(t->out, "%u coin%s %s paid out by hand, %lld left", e->count, e->count == 1 ? "" : "s",
		              t->d->setup.known && meaning_type_value(t->d, e->type) != FT_ABSENT && t->d->setup.decimals <= 4
		                  ? ft_money_text(meaning_type_value(t->d, e->type), t->d->setup.decimals, m)
		                  : money_of(e, m),
		              (long long)e->amount);
		break;
	case FT_BUS_EV_SLUG:
		ft_buf_printf(t->out, "%u slug%s", e->count, e->count == 1 ? "" : "s");
		break;
	case FT_BUS_EV_BILL:
		bill(t->out, e);
		break;
	case FT_BUS_EV_BILL_REFUSED:
		ft_buf_printf(t->out, "%u attempt%s to insert a bill while disabled", e->count, e->count == 1 ? "" : "s");
		break;
	case FT_BUS_EV_PAYOUT_ASKED:
		if (e->count && e->type >= 0) {
			ft_buf_printf(t->out, "pay %u of ", e->count);
			type_word(t, e->type);
			ft_buf_puts(t->out, e->value == FT_ABSENT ? "" : ", ");
		}
		if (e->value != FT_ABSENT || !e->count)
			ft_buf_puts(t->out, money_of(e, m));
		break;
	case FT_BUS_EV_PAYOUT_DONE:
		paid(t, e);
		break;
	default:
		break;
	}
}

static void on_event(void *to, const struct ft_bus_event *e)
{
	struct telling *t = to;

	if (e->kind == FT_BUS_EV_RESET_SENT || e->kind == FT_BUS_EV_SESSION_COMPLETE || e->kind == FT_BUS_EV_VEND_CANCEL ||
	    e->kind == FT_BUS_EV_VEND_FAILURE)
		return; /* the command's name says it */
	if ((e->kind == FT_BUS_EV_ENABLED || e->kind == FT_BUS_EV_DISABLED) && t->d->kind == FT_BUS_CASHLESS)
		return;
	ft_buf_puts(t->out, t->said++ ? ", " : ": ");
	switch (e->kind) {
	case FT_BUS_EV_SETUP:
		setup(t);
		break;
	case FT_BUS_EV_IDENTITY:
		ft_buf_printf(t->out, "made by %s, serial %s, model %s, software %04X", t->d->identity.maker,
		              t->d->identity.serial, t->d->identity.model, t->d->identity.software);
		if (t->d->identity.options_known) {
			ft_buf_puts(t->out, ", options: ");
			bus_tell_options(t->d->kind, t->d->identity.options, t->out);
		}
		break;
	case FT_BUS_EV_ENABLED:
		accepted(t, (unsigned)e->value);
		break;
	case FT_BUS_EV_DISABLED:
		ft_buf_puts(t->out, "accept none");
		break;
	case FT_BUS_EV_TUBES:
		tubes(t);
		break;
	case FT_BUS_EV_STATUS:
		status(t, e);
		break;
	case FT_BUS_EV_UNKNOWN:
		ft_buf_printf(t->out, "%02X, which no table knows", e->type);
		break;
	case FT_BUS_EV_COIN:
	case FT_BUS_EV_COIN_BY_HAND:
	case FT_BUS_EV_SLUG:
	case FT_BUS_EV_BILL:
	case FT_BUS_EV_BILL_REFUSED:
	case FT_BUS_EV_PAYOUT_ASKED:
	case FT_BUS_EV_PAYOUT_DONE:
		of_money(t, e);
		break;
	default:
		of_session(t, e);
	}
	if (e->repeated)
		ft_buf_puts(t->out, " (told before)");
}

static void on_unsaid(void *to, const struct meaning_step *s, const uint8_t *z, unsigned n)
{
	struct telling *t = to;

	ft_buf_puts(t->out, t->said++ ? ", " : ": ");
	bus_tell_message(s, z, n, t->out);
}

static void fields(struct telling *t, const struct meaning_step *s)
{
	struct ft_buf words = { 0 };

	if (bus_tell_fields(s, &words)) {
		ft_buf_puts(t->out, ": ");
		ft_buf_slice(t->out, ft_buf_text(&words));
		t->said++;
	}
	ft_buf_done(&words);
}

static void ending(const struct ft_bus_exchange *x, struct telling *t, bool poll)
{
	struct ft_buf *out = t->out;

	switch (x->kind) {
	case FT_BUS_SILENCE:
		ft_buf_puts(out, x->cut_off ? " - the capture ends here" : " - no answer");
		break;
	case FT_BUS_ACK:
		ft_buf_puts(out, poll && !t->said ? " - nothing to report" : " - acknowledged");
		break;
	case FT_BUS_NAK:
		ft_buf_puts(out, " - refused (NAK)");
		break;
	case FT_BUS_GARBLED:
		ft_buf_puts(out, " - the answer is damaged");
		break;
	case FT_BUS_DATA:
		if (!t->said)
			ft_buf_printf(out, " - answers with %d byte%s", x->answer.count - 1, x->answer.count == 2 ? "" : "s");
		break;
	}
	if (x->closing == FT_BUS_CLOSED_NAK)
		ft_buf_puts(out, " - the controller did not take it (NAK)");
	else if (x->closing == FT_BUS_CLOSED_RET)
		ft_buf_puts(out, " - the controller asks again (RET)");
	else if (x->kind == FT_BUS_DATA && x->closing == FT_BUS_CLOSED_NOT && !x->cut_off)
		ft_buf_puts(out, " - the controller did not acknowledge");
}

/* A command of another length than the tables have. */
static void odd_length(const struct meaning_step *s, struct ft_buf *out)
{
	const struct bus_command_row *r = bus_command_row(s->x->command.bytes, s->x->command.count);
	unsigned n = s->data_count;

	if (r && n > r->most)
		ft_buf_printf(out, ", %u byte%s more than known", n - r->most, n - r->most == 1 ? "" : "s");
	else if (r && n < r->least)
		ft_buf_printf(out, ", %u byte%s short", r->least - n, r->least - n == 1 ? "" : "s");
}

void bus_meaning_tell(const struct bus_meaning *m, const struct ft_bus_exchange *x, struct ft_buf *out)
{
	unsigned slot = x->command.bytes[0] >> 3;
	struct ft_arena scratch = { 0 };
	struct ft_bus_device device = m->report->devices[slot];
	struct bus_meaning_inside *in = FT_NEW(&scratch, struct bus_meaning_inside);
	struct meaning_step step = { 0 };
	struct telling t = { .out = out, .d = &device, .step = &step };
	struct bus_meaning copy = *m;
	const struct bus_device_row *row = bus_device_row(device.address);

	ft_buf_printf(out, "%s %s", ft_bus_device_word(x->command.bytes[0]),
	              ft_bus_command_word(x->command.bytes, x->command.count));
	if (!x->command.checksum_ok)
		ft_buf_puts(out, " - the command is damaged");
	if (in && x->command.checksum_ok) {
		in->devices[slot] = m->in->devices[slot];
		in->devices[slot].open_sale = in->devices[slot].payout_row = -1; /* rows are no concern here */
		in->devices[slot].unheard.count = 0;
		in->cash_sale.at_ns = -1;
		in->unsaid = on_unsaid;
		copy.in = in;
		copy.arena = &scratch;
		copy.to = &t;
		copy.event = on_event;
		bus_meaning_apply(&copy, x, &device, &in->devices[slot], &step);
		if (!t.said && step.answer_count + step.data_count)
			fields(&t, &step);
		odd_length(&step, out);
	}
	ending(x, &t, row && row->poll >= 0 && (x->command.bytes[0] & 7) == row->poll);
	ft_arena_done(&scratch);
}
