/* SPDX-License-Identifier: Apache-2.0 */
/* Counting for the judge: words by line, blocks and answers by address. Nothing is concluded here. */
#include "judge.h"

static bool timed(const struct bus_judge *j, const struct ft_bus_report *r)
{
	return r->timing_known && !j->options->timing_unknown;
}

static void keep(struct bus_proof *p, const struct ft_bus_block *b)
{
	if (p->count)
		return;
	p->count = b->count;
	memcpy(p->bytes, b->bytes, sizeof p->bytes);
}

void bus_judge_word(struct bus_judge *j, const struct ft_bus_word *w)
{
	struct bus_line_count *l = &j->lines[w->line];
	const struct ft_bus_word *before = &j->last_word;

	if (w->kind == FT_BUS_BREAK) {
		if (w->end_ns - w->start_ns > l->active_ns) {
			l->active_ns = w->end_ns - w->start_ns;
			l->active_from_ns = w->start_ns;
		}
		if (w->line == FT_BUS_CONTROLLER && l->words && w->start_ns - l->last_ns > l->gap_ns) {
			l->gap_ns = w->start_ns - l->last_ns;
			l->gap_from_ns = l->last_ns;
			l->gap_broken = true;
		}
		if (w->line == FT_BUS_CONTROLLER)
			j->after_silence = j->any_word && w->start_ns - before->end_ns >= BUS_LIM_SWITCHED_MS * BUS_NS_PER_MS;
		l->last_ns = w->end_ns;
		return;
	}
	if (l->words++ == 0)
		l->first_ns = w->start_ns;
	else if (w->start_ns - l->last_ns > l->gap_ns) {
		l->gap_ns = w->start_ns - l->last_ns;
		l->gap_from_ns = l->last_ns;
		l->gap_broken = false;
	}
	l->last_ns = w->end_ns;
	l->kinds[w->kind == FT_BUS_FRAMING][w->mode]++;
	if (j->any_word && before->line == w->line && before->mode && !w->mode && before->byte == w->byte &&
	    w->byte >= BUS_CHANGER_AT && before->kind == FT_BUS_WORD && w->kind == FT_BUS_WORD)
		l->like_command++;
	j->last_word = *w;
	j->any_word = true;
}

/* By how much the check byte is off; 0 where it holds or the block is not whole. */
static uint8_t off_by(const struct ft_bus_block *b)
{
	unsigned sum = 0;

	if (b->count < 2 || b->framing_errors || b->flags & (FT_BUS_TOO_LONG | FT_BUS_CUT | FT_BUS_AFTER_LAST))
		return 0;
	for (unsigned i = 0; i + 1 < b->count; i++)
		sum += b->bytes[i];
	return (uint8_t)(b->bytes[b->count - 1] - sum);
}

static void fill_slot(struct bus_slot *s, const struct ft_bus_block *b)
{
	uint8_t delta = off_by(b);

	if (b->checksum_ok) {
		s->right++;
	} else if (delta) {
		if (s->wrong == 0)
			s->delta = delta;
		s->wrong++;
		s->same += s->delta == delta;
	}
}

/* What any block tells of its sender. */
static void count_block(struct bus_at *at, const struct ft_bus_block *b, int64_t inter_byte_ns)
{
	at->blocks++;
	at->checked += b->count >= 2;
	at->span_ns += b->span_ns;
	at->span_bits += b->span_bits;
	if (b->framing_errors)
		bus_count(&at->framing, b->start_ns);
	/* A block in pieces, too long or without its end is told as that. */
	if (!b->checksum_ok && b->framing_errors == 0 && !(b->flags & (FT_BUS_MODE_FAULT | FT_BUS_TOO_LONG | FT_BUS_CUT))) {
		bus_count(&at->checksum, b->start_ns);
		keep(&at->checksum_block, b);
	}
	if (b->flags & FT_BUS_TOO_LONG && b->count >= FT_BUS_BLOCK_MAX) {
		bus_count(&at->too_long, b->start_ns);
		keep(&at->too_long_block, b);
	} else if (b->flags & (FT_BUS_MODE_FAULT | FT_BUS_TOO_LONG)) {
		bus_count(&at->mode, b->start_ns);
		keep(&at->mode_block, b);
	}
	if (b->flags & FT_BUS_AFTER_LAST) {
		bus_count(&at->past_last, b->start_ns);
		keep(&at->past_last_block, b);
	}
	if (b->longest_gap_ns > at->longest_gap_ns)
		at->longest_gap_ns = b->longest_gap_ns;
	if (b->flags & FT_BUS_CUT && !b->checksum_ok)
		bus_count(&at->gap_lost, b->start_ns);
	else if (b->longest_gap_ns > inter_byte_ns)
		bus_count(&at->gap, b->start_ns);
}

/* Where identification stands in an answer of this device; NULL: it is none. */
static const uint8_t *identity_of(const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command, *b = &x->answer;
	uint8_t first = c->bytes[0], sub = c->count > 2 ? c->bytes[1] : 0xff;

	if (x->kind != FT_BUS_DATA)
		return NULL;
	if (bus_judge_is_reader(first & 0xf8)) /* MDB/ICP 7.4: 09 and its fields, at once or on a poll */
		return b->bytes[0] == 0x09 && b->count >= 31 ? b->bytes + 1 : NULL;
	if ((first == 0x0f && sub == 0) || (first == 0x37 && (sub == 0 || sub == 2)))
		return b->count >= 30 ? b->bytes : NULL;
	return NULL;
}

static void count_identity(struct bus_at *at, const struct ft_bus_exchange *x)
{
	const uint8_t *id = identity_of(x);

	if (id == NULL)
		return;
	if (at->identity_known && memcmp(id, at->identity, BUS_IDENTITY_BYTES) != 0) {
		if (at->identity_changes++ == 0)
			at->identity_changed_ns = x->answer.start_ns;
		memcpy(at->identity_other, at->identity, BUS_IDENTITY_BYTES);
	}
	memcpy(at->identity, id, BUS_IDENTITY_BYTES);
	at->identity_known = true;
}

static void row(bool one_more, unsigned *now, unsigned *most)
{
	*now = one_more ? *now + 1 : 0;
	if (*now > *most)
		*most = *now;
}

static void count_closing(struct bus_at *at, const struct ft_bus_exchange *x, int64_t answer_ns)
{
	bool sound = x->kind == FT_BUS_DATA;

	if (x->cut_off || (x->kind != FT_BUS_DATA && x->kind != FT_BUS_GARBLED))
		return;
	row(x->closing == FT_BUS_CLOSED_NAK, &at->closed_nak_row, &at->closed_nak_row_max);
	row(x->closing == FT_BUS_CLOSED_RET, &at->ret_row, &at->ret_row_max);
	switch (x->closing) {
	case FT_BUS_CLOSED_NAK:
		bus_count(&at->closed_nak, x->closing_at_ns);
		at->closed_nak_heard += sound;
		break;
	case FT_BUS_CLOSED_RET:
		bus_count(&at->ret, x->closing_at_ns);
		at->ret_heard += sound;
		break;
	case FT_BUS_CLOSED_NOT:
		if (sound)
			bus_count(&at->unclosed, x->answer.end_ns);
		break;
	case FT_BUS_CLOSED_ACK:
		if (answer_ns && x->closing_at_ns - x->answer.end_ns > answer_ns)
			bus_count(&at->unclosed_late, x->closing_at_ns);
		break;
	}
}

static void count_answer(struct bus_judge *j, const struct ft_bus_report *r, struct bus_at *at,
                         const struct ft_bus_exchange *x)
{
	int64_t slack = r->resolution_ns > 0 ? r->resolution_ns : 0;
	bool times = timed(j, r) && slack <= BUS_LIM_STAMP_US * BUS_NS_PER_US;
	const struct ft_bus_block *b = &x->answer;

	row(x->kind == FT_BUS_NAK, &at->nak_row, &at->nak_row_max);
	if (x->kind == FT_BUS_NAK) {
		bus_count(&at->nak, b->start_ns);
		at->nak_heard += x->command.checksum_ok;
	}
	count_block(at, b, times ? BUS_LIM_INTER_BYTE_US * BUS_NS_PER_US + slack : INT64_MAX);
	at->answers++;
	at->data += x->kind == FT_BUS_DATA || x->kind == FT_BUS_GARBLED;
	if (x->kind == FT_BUS_DATA || x->kind == FT_BUS_GARBLED) {
		fill_slot(&at->slots[1][x->command.bytes[0] & 7], b);
		if (b->count >= BUS_LIM_LONG_BYTES && !(b->flags & (FT_BUS_TOO_LONG | FT_BUS_CUT))) {
			at->long_right += x->kind == FT_BUS_DATA;
			at->long_wrong += x->kind == FT_BUS_GARBLED;
		}
	}
	at->right += x->kind != FT_BUS_GARBLED;
	at->short_right += x->kind == FT_BUS_ACK || (x->kind == FT_BUS_DATA && b->count < BUS_LIM_LONG_BYTES);
	if (b->flags & FT_BUS_OVER_NEXT)
		bus_count(&at->overlap, b->start_ns);
	else if (times && x->response_ns > BUS_LIM_ANSWER_US * BUS_NS_PER_US + slack)
		bus_count(&at->late, b->start_ns);
	count_closing(at, x, times ? BUS_LIM_ANSWER_US * BUS_NS_PER_US + slack : 0);
	count_identity(at, x);
}

/* Silences that ended stay pending for one more exchange: where the device then says that it was reset,
 * its restart explains them. */
static void count_presence(struct bus_at *at, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	bool reset = (c->bytes[0] & 7) == 0;

	if (at->missed_pending) {
		if (at->missed.n == 0)
			at->missed.first_ns = at->missed_pending_ns;
		at->missed.n += at->missed_pending;
		at->missed_pending = 0;
	}
	at->exchanges++;
	if (reset) {
		at->resets++;
		at->reset_seen = true;
	} else {
		at->commands++;
	}
	if (at->exchanges == 1)
		at->first_ns = c->start_ns;
	at->last_ns = c->start_ns;
	if (x->kind == FT_BUS_SILENCE) {
		if (at->silent_run++ == 0) {
			at->silent_from_ns = c->start_ns;
			at->silent_polls = 0;
		}
		at->silent_polls += !reset;
		return;
	}
	if (at->silent_run && at->answered && !at->provoked) {
		at->missed_pending = at->silent_run;
		at->missed_pending_ns = at->silent_from_ns;
	}
	at->silent_run = 0;
	at->answered++;
}

static void count_pace(struct bus_judge *j, const struct ft_bus_report *r, struct bus_at *at,
                       const struct ft_bus_exchange *x)
{
	int64_t now = x->command.start_ns, gap = now - at->last_start_ns;
	uint8_t address = x->command.bytes[0] & 0xf8;
	bool poll = (x->command.bytes[0] & 7) == bus_judge_poll(address);

	/* A RESET after a pause starts anew: switched off and on by hand. */
	if (timed(j, r) && at->last_start_ns >= 0 && at->last_answered && (x->command.bytes[0] & 7) != 0) {
		at->paces++;
		if (gap > BUS_LIM_POLL_MAX_US * BUS_NS_PER_US)
			bus_count(&at->slow, at->last_start_ns);
		if (gap > BUS_LIM_POLL_MAX_US * BUS_NS_PER_US && gap > bus_judge_patience(j, r, address))
			bus_count(&at->slower, at->last_start_ns);
		if (gap > at->slowest_ns) {
			at->slowest_ns = gap;
			at->slowest_at_ns = at->last_start_ns;
		}
	}
	if (timed(j, r) && poll && at->last_poll_ns >= 0 && at->last_poll_ns == at->last_start_ns) {
		at->poll_paces++;
		if (gap < BUS_LIM_POLL_MIN_US * BUS_NS_PER_US)
			bus_count(&at->fast, now);
	}
	at->last_start_ns = now;
	at->last_poll_ns = poll ? now : -1;
	at->last_answered = x->kind != FT_BUS_SILENCE;
}

static void count_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	struct bus_at *own = &j->at[BUS_CONTROLLER_AT], *at = bus_at(j, c->bytes[0]);
	struct bus_line_count *l = &j->lines[FT_BUS_CONTROLLER];
	int64_t slack = r->resolution_ns > 0 ? r->resolution_ns : 0;
	bool times = timed(j, r) && slack <= BUS_LIM_STAMP_US * BUS_NS_PER_US;

	if (j->rest_due && times && c->start_ns - j->break_end_ns < BUS_LIM_REST_US * BUS_NS_PER_US) {
		bus_count(&j->short_rests, c->start_ns);
		j->short_rest_ns = c->start_ns - j->break_end_ns;
	}
	j->rest_due = false;
	if ((c->bytes[0] & 7) == 0 && l->gap_from_ns + l->gap_ns == c->start_ns)
		l->gap_broken = true;
	if (!x->again) {
		count_block(own, c, times ? BUS_LIM_INTER_BYTE_US * BUS_NS_PER_US + slack : INT64_MAX);
		own->exchanges++;
		if ((c->bytes[0] & 0xf8) != BUS_CONTROLLER_AT)
			fill_slot(&at->slots[0][c->bytes[0] & 7], c);
	}
	/* A command that came to the tap in pieces may have meant another device, and silence is then right. */
	if ((c->bytes[0] & 0xf8) == BUS_CONTROLLER_AT || !c->checksum_ok || c->framing_errors)
		return;
	j->last_address = c->bytes[0] & 0xf8;
	j->any_exchange = true;
	if (x->answer.count)
		count_answer(j, r, at, x);
	if (x->again || (x->cut_off && x->kind == FT_BUS_SILENCE))
		return;
	count_presence(at, x);
	count_pace(j, r, at, x);
}

/* All settings and silences start anew; the times between commands are not held against it. */
static void start_anew(struct bus_judge *j)
{
	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++) {
		j->at[i].provoked = true;
		j->at[i].since_provoked = 0;
		j->at[i].reset_seen = true;
		j->at[i].reset_excused = true;
		j->at[i].last_start_ns = j->at[i].last_poll_ns = -1;
		j->at[i].silent_run = 0;
		j->at[i].missed_pending = 0;
	}
}

static void count_break(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_block *b)
{
	int64_t length = b->end_ns - b->start_ns;

	if (timed(j, r) && length < BUS_LIM_BREAK_US * BUS_NS_PER_US) {
		if (length > BUS_LIM_GLITCH_US * BUS_NS_PER_US) {
			bus_count(&j->short_breaks, b->start_ns);
			j->short_break_ns = length;
			start_anew(j); /* some devices may have taken it for a reset */
		}
		return;
	}
	bus_count(&j->breaks, b->start_ns);
	j->switched += j->after_silence;
	j->break_end_ns = b->end_ns;
	j->rest_due = true;
	start_anew(j);
}

static void count_stray(struct bus_judge *j, enum ft_bus_line line, const struct ft_bus_block *b)
{
	struct bus_at *at = bus_at(j, line == FT_BUS_CONTROLLER ? BUS_CONTROLLER_AT : j->last_address);

	if (line == FT_BUS_PERIPHERAL && !j->any_exchange)
		return; /* the rest of an answer whose command lies before the capture */
	if (b->flags & FT_BUS_OVER_NEXT)
		bus_count(&at->overlap, b->start_ns);
	if (b->framing_errors)
		bus_count(&at->framing, b->start_ns);
	else if (b->flags & FT_BUS_TOO_LONG && b->count >= FT_BUS_BLOCK_MAX) {
		bus_count(&at->too_long, b->start_ns);
		keep(&at->too_long_block, b);
	} else if (b->flags & (FT_BUS_MODE_FAULT | FT_BUS_TOO_LONG) && j->any_exchange) {
		bus_count(&at->mode, b->start_ns);
		keep(&at->mode_block, b);
	}
}

void bus_judge_link_item(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_item *i)
{
	switch (i->kind) {
	case FT_BUS_EXCHANGE:
		if (i->exchange.command.count)
			count_exchange(j, r, &i->exchange);
		break;
	case FT_BUS_BUS_RESET:
		if (i->line == FT_BUS_CONTROLLER)
			count_break(j, r, &i->block);
		break;
	case FT_BUS_STRAY:
		count_stray(j, i->line, &i->block);
		break;
	}
}
