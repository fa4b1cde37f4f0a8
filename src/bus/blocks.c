/* SPDX-License-Identifier: Apache-2.0 */
/* Words of both lines become exchanges: a command, its answer, the controller's last byte. MDB/ICP section 2; the
 * rules by which a bystander assembles blocks, also damaged ones, are our own (docs/bus.md). */
#include "room.h"

enum { BYTE_ACK = 0x00, BYTE_NAK = 0xFF, BYTE_RET = 0xAA, FIRST_ADDRESS = 0x08, ADDRESS_BITS = 0xF8 };

/* An answer that begins later belongs to no command; ours: ten times what is allowed. */
#define ANSWER_LOST_NS (10 * BUS_RESPONSE_NS)

void bus_blocks_init(struct bus_blocks *b, bool timing_known, void *to,
                     void (*item)(void *to, const struct ft_bus_item *i))
{
	*b = (struct bus_blocks){ .to = to, .item = item, .timing_known = timing_known };
}

static int64_t gap(const struct bus_blocks *b, int64_t from_ns, int64_t to_ns)
{
	return b->timing_known ? to_ns - from_ns : 0;
}

static void append(const struct bus_blocks *b, struct ft_bus_block *block, const struct ft_bus_word *w)
{
	if (block->count) {
		int64_t quiet = gap(b, block->end_ns, w->start_ns);
		if (quiet > block->longest_gap_ns)
			block->longest_gap_ns = (int32_t)(quiet < INT32_MAX ? quiet : INT32_MAX);
	} else {
		block->start_ns = w->start_ns;
	}
	block->end_ns = w->end_ns;
	block->framing_errors += w->kind == FT_BUS_FRAMING && block->framing_errors < UINT8_MAX;
	if (block->span_bits < UINT16_MAX - BUS_WORD_BITS) {
		block->span_ns += w->span_ns;
		block->span_bits = (uint16_t)(block->span_bits + w->span_bits);
	}
	if (block->count < FT_BUS_BLOCK_MAX)
		block->bytes[block->count++] = w->byte;
	else
		block->flags |= FT_BUS_TOO_LONG;
}

/* CHK is the sum of all bytes before it, modulo 256 (MDB/ICP section 2.2). */
static bool sums_up(const struct ft_bus_block *block)
{
	unsigned sum = 0;

	if (block->count < 2 || block->flags & FT_BUS_TOO_LONG)
		return false;
	for (unsigned i = 0; i + 1 < block->count; i++)
		sum += block->bytes[i];
	return (sum & 0xFF) == block->bytes[block->count - 1];
}

static void emit_stray(struct bus_blocks *b)
{
	if (!b->stray.block.count)
		return;
	b->stray.kind = FT_BUS_STRAY;
	b->stray.block.checksum_ok = sums_up(&b->stray.block);
	b->item(b->to, &b->stray);
	b->stray = (struct ft_bus_item){ 0 };
}

static void stray_word(struct bus_blocks *b, const struct ft_bus_word *w, uint8_t flags)
{
	struct ft_bus_block *block = &b->stray.block;

	if (block->count && (b->stray.line != w->line || gap(b, block->end_ns, w->start_ns) > BUS_RESPONSE_NS))
		emit_stray(b);
	b->stray.line = w->line;
	block->flags |= flags;
	append(b, block, w);
	if (w->line == FT_BUS_PERIPHERAL && w->mode)
		emit_stray(b);
}

/* What the answer is, once it is whole. */
static void weigh_answer(struct ft_bus_exchange *x, bool ended, bool two_senders)
{
	struct ft_bus_block *r = &x->answer;

	r->checksum_ok = sums_up(r);
	if (!r->count) {
		x->kind = FT_BUS_SILENCE;
		return;
	}
	x->kind = FT_BUS_GARBLED;
	if (!ended) {
		if (r->checksum_ok || (r->count == 1 && (r->bytes[0] == BYTE_ACK || r->bytes[0] == BYTE_NAK)))
			r->flags |= FT_BUS_MODE_FAULT;
		return;
	}
	if (r->framing_errors || r->flags & FT_BUS_TOO_LONG)
		return;
	if (r->count == 1 && (r->bytes[0] == BYTE_ACK || r->bytes[0] == BYTE_NAK)) {
		x->kind = r->bytes[0] == BYTE_ACK ? FT_BUS_ACK : FT_BUS_NAK;
		r->checksum_ok = true;
	} else if (r->checksum_ok && r->flags & FT_BUS_AFTER_LAST && !two_senders) {
		r->flags |= FT_BUS_MODE_FAULT; /* whole but for a mode bit too many in its middle */
		x->kind = FT_BUS_DATA;
	} else if (r->checksum_ok && !two_senders) {
		x->kind = FT_BUS_DATA;
	}
}

/* Hands on the exchange going on, if any. */
static void finish(struct bus_blocks *b)
{
	struct ft_bus_exchange *x = &b->now.exchange;

	if (b->state == BUS_BLOCKS_NONE)
		return;
	if (b->state == BUS_BLOCKS_ANSWER)
		weigh_answer(x, false, b->two_senders);
	x->command.checksum_ok = sums_up(&x->command);
	b->state = BUS_BLOCKS_NONE;
	if (b->unsure && !x->command.checksum_ok) {
		/* no command after all: what came is handed on as words that belong nowhere */
		struct ft_bus_item stray = { .kind = FT_BUS_STRAY, .line = FT_BUS_CONTROLLER, .block = x->command };
		stray.block.flags &= (uint8_t)~FT_BUS_MODE_FAULT;
		b->item(b->to, &stray);
		if (x->answer.count) {
			stray = (struct ft_bus_item){ .kind = FT_BUS_STRAY, .line = FT_BUS_PERIPHERAL, .block = x->answer };
			b->item(b->to, &stray);
		}
		return;
	}
	b->now.kind = FT_BUS_EXCHANGE;
	x->number = b->number++;
	b->item(b->to, &b->now);
}

static void begin_command(struct bus_blocks *b, const struct ft_bus_word *w, bool unsure)
{
	finish(b);
	b->now = (struct ft_bus_item){ .line = FT_BUS_CONTROLLER, .exchange = { .closing_at_ns = -1, .response_ns = -1 } };
	b->state = BUS_BLOCKS_COMMAND;
	b->unsure = unsure;
	b->two_senders = false;
	append(b, &b->now.exchange.command, w);
	if (unsure)
		b->now.exchange.command.flags |= FT_BUS_MODE_FAULT;
}

/* RET asks for the same answer once more: the same command goes on in an exchange of its own. */
static void again(struct bus_blocks *b, const struct ft_bus_word *w)
{
	struct ft_bus_block command = b->now.exchange.command;

	finish(b);
	command.end_ns = w->end_ns; /* the answer's time counts from the RET */
	b->now = (struct ft_bus_item){ .exchange = {
									   .command = command, .closing_at_ns = -1, .response_ns = -1, .again = true } };
	b->state = BUS_BLOCKS_COMMAND;
	b->unsure = b->two_senders = false;
}

static void close_exchange(struct bus_blocks *b, const struct ft_bus_word *w)
{
	struct ft_bus_exchange *x = &b->now.exchange;

	if (b->state == BUS_BLOCKS_ANSWER)
		weigh_answer(x, false, b->two_senders);
	x->closing_at_ns = w->start_ns;
	x->closing = w->byte == BYTE_ACK ? FT_BUS_CLOSED_ACK : w->byte == BYTE_NAK ? FT_BUS_CLOSED_NAK : FT_BUS_CLOSED_RET;
	b->state = BUS_BLOCKS_DONE;
	if (x->closing == FT_BUS_CLOSED_RET)
		again(b, w);
}

static bool closes(const struct bus_blocks *b, const struct ft_bus_word *w)
{
	int64_t quiet = gap(b, b->now.exchange.answer.end_ns, w->start_ns);

	if (w->byte != BYTE_ACK && w->byte != BYTE_NAK && w->byte != BYTE_RET)
		return false;
	/* beyond ten times the limit a lone byte belongs to nothing any more; within, it is late and judged so */
	return (b->state == BUS_BLOCKS_CLOSING || b->state == BUS_BLOCKS_ANSWER) && quiet <= ANSWER_LOST_NS;
}

/* Does a mode-1 byte open a command, or is it data that gained a mode bit? The controller waits for an answer before
 * it speaks again, so a byte that follows at once inside a block whose sum is still open is data. */
static bool gained_mode(const struct bus_blocks *b, const struct ft_bus_word *w)
{
	const struct ft_bus_block *c = &b->now.exchange.command;

	return b->timing_known && b->state == BUS_BLOCKS_COMMAND && !b->now.exchange.again && !sums_up(c) &&
		gap(b, c->end_ns, w->start_ns) <= BUS_INTER_BYTE_NS;
}

static void controller_word(struct bus_blocks *b, const struct ft_bus_word *w)
{
	struct ft_bus_block *c = &b->now.exchange.command;

	if (w->mode && gained_mode(b, w)) {
		c->flags |= FT_BUS_MODE_FAULT;
		append(b, c, w);
	} else if (w->mode) {
		begin_command(b, w, false);
	} else if (b->state == BUS_BLOCKS_COMMAND && !b->now.exchange.again &&
	           gap(b, c->end_ns, w->start_ns) <= BUS_RESPONSE_NS) {
		append(b, c, w);
	} else if (closes(b, w)) {
		close_exchange(b, w);
	} else {
		if (b->state == BUS_BLOCKS_COMMAND && !b->now.exchange.again)
			c->flags |= FT_BUS_CUT;
		if ((w->byte & ADDRESS_BITS) >= FIRST_ADDRESS && w->byte != BYTE_NAK)
			begin_command(b, w, true);
		else
			stray_word(b, w, 0);
	}
}

static void answer_word(struct bus_blocks *b, const struct ft_bus_word *w)
{
	struct ft_bus_exchange *x = &b->now.exchange;

	if (b->state == BUS_BLOCKS_COMMAND) {
		x->response_ns = w->start_ns - x->command.end_ns;
		b->state = BUS_BLOCKS_ANSWER;
	}
	append(b, &x->answer, w);
	if (!w->mode)
		return;
	weigh_answer(x, true, b->two_senders);
	b->state = x->kind == FT_BUS_ACK || x->kind == FT_BUS_NAK ? BUS_BLOCKS_DONE : BUS_BLOCKS_CLOSING;
}

static void peripheral_word(struct bus_blocks *b, const struct ft_bus_word *w)
{
	struct ft_bus_exchange *x = &b->now.exchange;
	int64_t quiet;

	if (b->stray.block.count && b->stray.line == FT_BUS_PERIPHERAL &&
	    gap(b, b->stray.block.end_ns, w->start_ns) <= BUS_INTER_BYTE_NS) {
		stray_word(b, w, b->stray.block.flags);
		return;
	}
	switch (b->state) {
	case BUS_BLOCKS_COMMAND:
		quiet = gap(b, x->command.end_ns, w->start_ns);
		if (quiet < 0)
			stray_word(b, w, FT_BUS_OVER_NEXT);
		else if (quiet > ANSWER_LOST_NS)
			stray_word(b, w, 0);
		else
			answer_word(b, w);
		return;
	case BUS_BLOCKS_ANSWER:
		if (gap(b, x->answer.end_ns, w->start_ns) <= BUS_RESPONSE_NS) {
			answer_word(b, w);
			return;
		}
		x->answer.flags |= FT_BUS_CUT;
		weigh_answer(x, false, b->two_senders);
		b->state = BUS_BLOCKS_DONE;
		stray_word(b, w, 0);
		return;
	case BUS_BLOCKS_CLOSING:
	case BUS_BLOCKS_DONE:
		/* bytes right behind the last one: a second sender, or a mode bit too many */
		if (x->closing == FT_BUS_CLOSED_NOT && gap(b, x->answer.end_ns, w->start_ns) <= BUS_INTER_BYTE_NS) {
			/* behind an answer that was whole nothing can be a mode bit too many */
			b->two_senders |= x->kind != FT_BUS_GARBLED;
			x->answer.flags |= FT_BUS_AFTER_LAST;
			answer_word(b, w);
			if (!w->mode)
				x->kind = FT_BUS_GARBLED;
			return;
		}
		stray_word(b, w, 0);
		return;
	default:
		stray_word(b, w, 0);
		return;
	}
}

void bus_blocks_word(struct bus_blocks *b, const struct ft_bus_word *w)
{
	if (w->kind == FT_BUS_BREAK) {
		struct ft_bus_item reset = { .kind = FT_BUS_BUS_RESET,
			                         .line = w->line,
			                         .block = { .start_ns = w->start_ns, .end_ns = w->end_ns } };
		if (w->line == FT_BUS_CONTROLLER) {
			emit_stray(b);
			finish(b);
		}
		b->item(b->to, &reset);
		return;
	}
	if (b->stray.block.count &&
	    (b->stray.line != w->line || gap(b, b->stray.block.end_ns, w->start_ns) > BUS_RESPONSE_NS) &&
	    !(b->stray.block.flags & FT_BUS_OVER_NEXT))
		emit_stray(b);
	if (w->line == FT_BUS_CONTROLLER)
		controller_word(b, w);
	else
		peripheral_word(b, w);
}

void bus_blocks_end(struct bus_blocks *b, int64_t now_ns)
{
	struct ft_bus_exchange *x = &b->now.exchange;

	if (b->state == BUS_BLOCKS_COMMAND || b->state == BUS_BLOCKS_ANSWER)
		x->cut_off =
			!b->timing_known || now_ns - (x->answer.count ? x->answer.end_ns : x->command.end_ns) < BUS_RESPONSE_NS;
	if (b->stray.block.start_ns > x->command.start_ns) /* in the order they came */
		finish(b);
	emit_stray(b);
	finish(b);
}
