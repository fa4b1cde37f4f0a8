/* SPDX-License-Identifier: Apache-2.0 */
/* Last stage: what became of sales, cards, coins and bills. */
#include "judge.h"

typedef unsigned long long llu;

/* What should have come by `now_ns` and did not. A tally takes it once; the clock is then stopped. */
static void overdue(int64_t *since_ns, int64_t now_ns, int64_t limit_ns, struct bus_tally *t)
{
	if (*since_ns < 0 || now_ns - *since_ns <= limit_ns)
		return;
	bus_count(t, *since_ns);
	*since_ns = -1;
}

void bus_judge_clocks(struct bus_judge *j, const struct ft_bus_report *r, uint8_t address, int64_t now_ns)
{
	struct bus_setting *s = &bus_at(j, address)->set;
	int64_t patience;

	if (!r->timing_known || j->options->timing_unknown ||
	    (s->session_ns & s->asked_ns & s->complete_ns & s->escrow_ns & s->escrow_sent_ns) == -1)
		return; /* nothing is awaited: -1 has every bit set */
	patience = bus_judge_patience(j, r, address);
	overdue(&s->session_ns, now_ns, BUS_LIM_SESSION_S * BUS_NS_PER_S, &s->hang_idle);
	overdue(&s->asked_ns, now_ns, patience, s->always_idle ? &s->hang_idle : &s->hang_asked);
	overdue(&s->complete_ns, now_ns, patience, &s->end_missing);
	overdue(&s->escrow_ns, now_ns, BUS_LIM_ESCROW_S * BUS_NS_PER_S, &s->escrow_idle);
	overdue(&s->escrow_sent_ns, now_ns, BUS_LIM_ESCROW_S * BUS_NS_PER_S, &s->escrow_lost);
}

static void forget_tubes(struct bus_setting *s)
{
	for (size_t i = 0; i < 16; i++) {
		s->tube_count[i] = UINT16_MAX;
		s->tube_still[i] = 0;
	}
}

/* MDB/ICP 5.3, page 5-6: full bits, then a count a tube; what is not sent is 0. */
static void tube_status(struct bus_setting *s, const struct ft_bus_block *b)
{
	unsigned full = (unsigned)b->bytes[0] << 8 | b->bytes[1];

	for (unsigned i = 0; i < 16; i++) {
		unsigned coins = i + 3U < b->count ? b->bytes[i + 2] : 0;
		if (full >> i & 1 && coins == 0) {
			bus_count(&s->full_empty, b->start_ns);
			s->tube_type = (int)i;
			return;
		}
	}
}

void bus_judge_sale_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	uint8_t address = c->bytes[0] & 0xf8, command = c->bytes[0] & 7;
	struct bus_setting *s = &bus_at(j, address)->set;

	if (address == BUS_CONTROLLER_AT || x->cut_off)
		return;
	bus_judge_clocks(j, r, address, c->start_ns);
	if (address == BUS_CHANGER_AT && command == 2 && x->kind == FT_BUS_DATA && x->answer.count >= 3) {
		tube_status(s, &x->answer);
	} else if (address == BUS_CHANGER_AT && (command == 5 || command == 7)) {
		forget_tubes(s); /* payouts lower what deposits raise */
	} else if (address == BUS_VALIDATOR_AT && command == 5 && x->kind != FT_BUS_SILENCE) {
		s->escrow_ns = -1;
		s->escrow_sent_ns = c->start_ns;
	}
}

static void coin(struct bus_setting *s, const struct ft_bus_event *e)
{
	if (e->route != FT_BUS_ROUTE_TUBE || e->type < 0 || e->type > 15 || e->amount == FT_ABSENT)
		return;
	if (s->tube_count[e->type] == e->amount && e->amount < 255) {
		if (++s->tube_still[e->type] + 1 >= BUS_LIM_FEW) {
			bus_count(&s->no_rise, e->at_ns);
			s->tube_type = e->type;
			s->tube_still[e->type] = 0;
		}
	} else {
		s->tube_still[e->type] = 0;
	}
	s->tube_count[e->type] = (uint16_t)e->amount;
}

static void status(struct bus_judge *j, const struct ft_bus_event *e)
{
	struct bus_setting *s = &bus_at(j, e->address)->set;
	struct bus_streak *k;

	if (e->type < 0 || e->type >= BUS_STATUSES)
		return;
	if (e->address == BUS_VALIDATOR_AT && e->type == 0x0a)
		s->escrow_sent_ns = -1;
	if (e->address == BUS_VALIDATOR_AT && e->type == 0x09 && !s->on)
		return; /* as it was told to be */
	k = &s->status[e->type];
	if (k->n++ == 0 || e->at_ns - k->last_ns > BUS_LIM_STREAK_S * BUS_NS_PER_S)
		k->first_ns = e->at_ns;
	k->last_ns = e->at_ns;
	if (k->n == 1 || k->last_ns - k->first_ns > k->longest_ns) {
		k->longest_ns = k->last_ns - k->first_ns;
		k->longest_first_ns = k->first_ns;
	}
}

static void reader_event(struct bus_setting *s, const struct ft_bus_event *e)
{
	switch (e->kind) {
	case FT_BUS_EV_SESSION:
		bus_count(&s->sessions, e->at_ns);
		s->session_ns = e->at_ns;
		s->asked_ns = s->complete_ns = -1;
		break;
	case FT_BUS_EV_VEND_ASKED:
		bus_count(&s->asked, e->at_ns);
		s->session_ns = -1;
		s->asked_ns = e->at_ns;
		break;
	case FT_BUS_EV_VEND_APPROVED:
	case FT_BUS_EV_VEND_DENIED:
	case FT_BUS_EV_VEND_CANCEL:
	case FT_BUS_EV_OUT_OF_SEQUENCE:
		s->asked_ns = -1;
		break;
	case FT_BUS_EV_SESSION_CANCEL:
	case FT_BUS_EV_REVALUE_ASKED:
		s->session_ns = -1;
		break;
	case FT_BUS_EV_SESSION_COMPLETE:
		s->session_ns = s->asked_ns = -1;
		s->complete_ns = e->at_ns;
		break;
	case FT_BUS_EV_SESSION_END:
		s->session_ns = s->asked_ns = s->complete_ns = -1;
		break;
	case FT_BUS_EV_VEND_FAILURE:
		bus_count(&s->failed, e->at_ns);
		break;
	case FT_BUS_EV_REFUND_LOST:
		bus_count(&s->refund_lost, e->at_ns);
		break;
	case FT_BUS_EV_MALFUNCTION:
		if (s->malfunction.n == 0 || (s->malfunction_code >> 4) < 8)
			s->malfunction_code = e->type;
		bus_count(&s->malfunction, e->at_ns);
		break;
	default:
		break;
	}
}

void bus_judge_sale_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e)
{
	struct bus_setting *s = &bus_at(j, e->address)->set;

	(void)r;
	switch (e->kind) {
	case FT_BUS_EV_COIN:
		s->cash_ns = e->at_ns;
		coin(s, e);
		break;
	case FT_BUS_EV_COIN_BY_HAND:
		forget_tubes(s);
		break;
	case FT_BUS_EV_BILL:
		s->cash_ns = e->at_ns;
		if (e->route == FT_BUS_ROUTE_ESCROW)
			s->escrow_ns = e->at_ns;
		else
			s->escrow_ns = s->escrow_sent_ns = -1;
		break;
	case FT_BUS_EV_STATUS:
		status(j, e);
		break;
	default:
		reader_event(s, e);
		break;
	}
}

/* ---- concluding ---- */

static void unclosed_sales(struct bus_judge *j)
{
	const struct ft_bus_report *r = j->report;
	uint64_t n[FT_BUS_ADDRESSES] = { 0 };
	const struct ft_bus_sale *first[FT_BUS_ADDRESSES] = { NULL };

	for (size_t i = 0; i < r->sale_count; i++) {
		const struct ft_bus_sale *s = &r->sales[i];
		if (s->outcome == FT_BUS_UNCLOSED && n[s->address >> 3]++ == 0)
			first[s->address >> 3] = s;
	}
	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		char price[FT_MONEY_TEXT] = "price unknown";
		if (!first[i])
			continue;
		if (first[i]->price != FT_ABSENT && first[i]->decimals >= 0 && first[i]->decimals <= 4)
			ft_money_text(first[i]->price, first[i]->decimals, price);
		bus_hit(j, FT_RULE_BUS_APPROVED_NOT_CLOSED, (uint8_t)(i << 3), first[i]->at_ns,
		        bus_judge_text(j, "%llu sale%s approved and neither success nor failure told, the first at %s (%s)",
		                       (llu)n[i], n[i] == 1 ? "" : "s", bus_judge_seconds(j, first[i]->at_ns), price))
			->expected = "VEND SUCCESS or VEND FAILURE";
	}
}

static void reader_sales(struct bus_judge *j, uint8_t address)
{
	const struct bus_setting *s = &bus_at(j, address)->set;
	struct bus_hit *h;

	if (s->hang_asked.n) {
		h = bus_hit(j, FT_RULE_BUS_SESSION_HANGS, address, s->hang_asked.first_ns,
		            bus_judge_text(j, "%llu of %llu sales asked for were neither approved nor denied within %s",
		                           (llu)s->hang_asked.n, (llu)s->asked.n,
		                           bus_judge_seconds(j, bus_judge_patience(j, j->report, address))));
		if (s->hang_asked.n < BUS_LIM_FEW && s->hang_asked.n < s->asked.n)
			h->weight = FT_NOTE; /* others were answered: a card or a host that hung once */
	}
	if (s->hang_idle.n) {
		h = bus_hit(j, FT_RULE_BUS_SESSION_HANGS, address, s->hang_idle.first_ns,
		            bus_judge_text(j, "nothing happened for long while a card was in or awaited, %s",
		                           bus_judge_times(j, s->hang_idle.n)));
		h->weight = FT_NOTE;
		h->grade = "a hint";
	}
	if (s->failed.n) {
		h = bus_hit(j, FT_RULE_BUS_VEND_FAILURES, address, s->failed.first_ns,
		            bus_judge_text(j, "%llu of %llu sales failed, %llu refunds lost", (llu)s->failed.n, (llu)s->asked.n,
		                           (llu)s->refund_lost.n));
		if (s->failed.n < BUS_LIM_FAILURES || s->failed.n * 100 < s->asked.n * BUS_LIM_FAILURES_PER_100)
			h->weight = FT_NOTE;
	}
	if (s->refund_lost.n)
		bus_hit(j, FT_RULE_BUS_REFUND_LOST, address, s->refund_lost.first_ns,
		        bus_judge_text(j, "0A Cx after VEND FAILURE, %s", bus_judge_times(j, s->refund_lost.n)))
			->expected = "the refund of a failed sale";
	if (s->malfunction.n) {
		h = bus_hit(j, FT_RULE_BUS_READER_TROUBLE, address, s->malfunction.first_ns,
		            bus_judge_text(j, "0A %02X, %llu report%s in all", (unsigned)s->malfunction_code & 0xff,
		                           (llu)s->malfunction.n, s->malfunction.n == 1 ? "" : "s"));
		if ((s->malfunction_code >> 4) < 8 || (s->malfunction_code >> 4) > 11)
			h->weight = FT_NOTE; /* told once; the reader works on */
	}
}

/* Worth less when it went by. */
static bool lasts(const struct bus_judge *j, const struct bus_streak *k)
{
	return j->timed ? k->longest_ns >= BUS_LIM_LASTING_S * BUS_NS_PER_S : k->n >= BUS_LIM_ENABLE_POLLS;
}

static void told(struct bus_judge *j, enum ft_rule_id rule, uint8_t address, int code, const char *what,
                 bool lasting_only)
{
	const struct bus_streak *k = &bus_at(j, address)->set.status[code];
	struct bus_hit *h;

	if (k->n == 0)
		return;
	h = bus_hit(j, rule, address, k->longest_first_ns,
	            bus_judge_text(j, "status %02X, %s, %s%s%s", (unsigned)code, what, bus_judge_times(j, k->n),
	                           lasting_only ? ", at the longest for " : "",
	                           lasting_only ? bus_judge_seconds(j, k->longest_ns) : ""));
	if (lasting_only && !lasts(j, k))
		h->weight = FT_NOTE;
}

static void cash(struct bus_judge *j)
{
	const struct bus_setting *c = &bus_at(j, BUS_CHANGER_AT)->set, *v = &bus_at(j, BUS_VALIDATOR_AT)->set;

	told(j, FT_RULE_BUS_TUBE_TROUBLE, BUS_CHANGER_AT, 0x04, "defective tube sensor", false);
	told(j, FT_RULE_BUS_TUBE_TROUBLE, BUS_CHANGER_AT, 0x07, "tube jam", false);
	told(j, FT_RULE_BUS_TUBE_TROUBLE, BUS_CHANGER_AT, 0x09, "coin routed wrongly", false);
	if (c->full_empty.n)
		bus_hit(j, FT_RULE_BUS_TUBE_TROUBLE, BUS_CHANGER_AT, c->full_empty.first_ns,
		        bus_judge_text(j, "the tube of coin type %d says that it is full and holds none", c->tube_type));
	if (c->no_rise.n)
		bus_hit(j, FT_RULE_BUS_TUBE_TROUBLE, BUS_CHANGER_AT, c->no_rise.first_ns,
		        bus_judge_text(j, "coins of type %d went to their tube and its count did not rise", c->tube_type));
	told(j, FT_RULE_BUS_CHANGER_OUT, BUS_CHANGER_AT, 0x06, "acceptor unplugged", true);
	told(j, FT_RULE_BUS_CHANGER_OUT, BUS_CHANGER_AT, 0x08, "its program does not check", false);
	told(j, FT_RULE_BUS_CHANGER_OUT, BUS_CHANGER_AT, 0x0c, "coin jam", false);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x01, "defective motor", true);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x02, "sensor problem", true);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x04, "its program does not check", true);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x05, "jam", true);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x08, "cash box out of place", true);
	told(j, FT_RULE_BUS_VALIDATOR_OUT, BUS_VALIDATOR_AT, 0x09, "disabled though the controller enabled it", true);
	if (v->escrow_idle.n)
		bus_hit(j, FT_RULE_BUS_ESCROW_UNRESOLVED, BUS_VALIDATOR_AT, v->escrow_idle.first_ns,
		        bus_judge_text(j, "no ESCROW command (35) within %d s, %s", BUS_LIM_ESCROW_S,
		                       bus_judge_times(j, v->escrow_idle.n)));
	if (v->escrow_lost.n)
		bus_hit(j, FT_RULE_BUS_ESCROW_UNRESOLVED, BUS_VALIDATOR_AT, v->escrow_lost.first_ns,
		        bus_judge_text(j, "no result within %d s of ESCROW (35), %s", BUS_LIM_ESCROW_S,
		                       bus_judge_times(j, v->escrow_lost.n)));
}

void bus_judge_sale(struct bus_judge *j)
{
	unclosed_sales(j);
	reader_sales(j, BUS_READER_AT);
	reader_sales(j, BUS_READER_2_AT);
	cash(j);
	for (unsigned a = 0x08; a < 0x100; a += 8) {
		const struct bus_at *at = bus_at(j, (uint8_t)a);
		if (at->repeated.n)
			bus_hit(j, FT_RULE_BUS_EVENT_REPEATED, (uint8_t)a, at->repeated.first_ns,
			        bus_judge_text(j, "%llu event%s told again", (llu)at->repeated.n, at->repeated.n == 1 ? "" : "s"));
		if (at->unknown.n)
			bus_hit(j, FT_RULE_BUS_UNKNOWN_COMMAND, (uint8_t)a, at->unknown.first_ns,
			        bus_judge_text(j, "%s, the first: %02XH", bus_judge_times(j, at->unknown.n), at->unknown_byte));
	}
}
