/* SPDX-License-Identifier: Apache-2.0 */
/* DEX/UCS sessions, both ends. A session is three legs of the same kind: the sender bids, the receiver
 * answers, frames pass with alternating acknowledgements, the sender says EOT. Leg 1 is the carrier's
 * handshake, leg 2 the machine's, leg 3 the file (docs/dataport.md). */
#include <stdio.h>

#include "dex_rx.h"

enum {
	WACKS_MAX = 40,                    /* ours: how often a busy peer is asked again */
	SAME_MAX = 3,                      /* ours: repeats of the last block after which EOT is no proof of a whole file */
	STUFFED_MAX = FT_LINK_OUT_MAX - 8, /* a block's bytes with doubled DLE, start, end and check apart */
	HANDSHAKE_MIN = 11,                /* communication ID and operation request */
};
#define WACK_WAIT_US (FT_SECOND / 2) /* ours */
#define WAKE_UP      "check that the machine is on, the plug is home and the right socket is used"
#define TRY_LINE     "check plug, cable and ground, keep the cable away from the supply, and read again"

static bool sends(const struct ft_link *k)
{
	return (k->u.dex.leg == 1) == (k->role == FT_LINK_CARRIER);
}

static void send_pair(struct ft_link *k, uint8_t second, int64_t now_us, int64_t wait_us)
{
	link_begin(k, now_us, wait_us);
	link_put(k, (uint8_t[]){ DEX_DLE, second }, 2);
	dex_rx_reset(k);
}

static void send_one(struct ft_link *k, uint8_t b, int64_t now_us, int64_t wait_us)
{
	link_begin(k, now_us, wait_us);
	link_put(k, &b, 1);
	dex_rx_reset(k);
}

static void give_up(struct ft_link *k, int64_t now_us)
{
	send_one(k, DEX_EOT, now_us, FT_NEVER);
	k->u.dex.state = DEX_OVER;
}

static void send_ack(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	send_pair(k, d->last_ack ? DEX_ACK1 : DEX_ACK0, now_us,
	          d->state == DEX_CLOSED ? 2 * k->s.block_answer_us : k->s.silence_us);
	k->out_ack = k->role == FT_LINK_CARRIER && d->leg == 3 && d->have_last && !d->last_soh ? 2 : 0;
}

/* --- legs --- */

static void bid(struct ft_link *k, int64_t now_us)
{
	k->u.dex.state = DEX_BID;
	send_one(k, DEX_ENQ, now_us, k->s.answer_us);
}

static void start_leg(struct ft_link *k, uint8_t leg, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	d->leg = leg;
	d->enqs = d->wacks = 0;
	d->expect = d->last_ack = 0;
	d->cut_before = 0;
	k->tries = k->naks = 0;
	if (!sends(k)) {
		d->state = DEX_AWAIT;
		link_wait(k, now_us, leg == 1 ? FT_NEVER : k->s.silence_us);
	} else if (leg == 3 && !k->offered) {
		d->state = DEX_HOLD;
		link_wait(k, now_us, k->s.silence_us);
	} else {
		bid(k, now_us);
	}
}

static void dex_start(struct ft_link *k, int64_t now_us)
{
	start_leg(k, 1, now_us);
	if (k->role == FT_LINK_CARRIER)
		k->out_due_us = now_us > k->gone_us ? now_us : k->gone_us; /* nobody spoke before us */
}

static void dex_offered(struct ft_link *k)
{
	if (k->u.dex.state == DEX_HOLD)
		bid(k, k->now_us);
}

/* The EOT of a leg came, or all else says that it is over. */
static void leg_done(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	if (k->role == FT_LINK_MACHINE) { /* leg 1: the carrier's handshake is complete */
		if (!d->response)
			link_event(k, FT_LINK_EV_WANT_FILE, 1, (struct ft_slice){ 0 });
		start_leg(k, 2, now_us);
	} else if (d->leg == 2 && d->response) {
		d->state = DEX_OVER;
		link_fail(k, "see in its menu whether reading is allowed, or whether it wants another revision",
		          "the machine refused with response code %02u", d->response);
	} else if (d->leg == 2) {
		start_leg(k, 3, now_us);
	} else if (d->same >= SAME_MAX) {
		d->state = DEX_OVER;
		link_fail(k, TRY_LINE, "the machine did not take our answers to its last block, so a block may be missing");
	} else {
		d->state = DEX_OVER;
		link_done(k);
	}
}

static void dex_sent(struct ft_link *k, int64_t gone_us)
{
	struct dex *d = &k->u.dex;

	if (d->state != DEX_LEAVE)
		return;
	if (k->role == FT_LINK_CARRIER || d->leg == 2) {
		if (k->role == FT_LINK_MACHINE && d->response) {
			d->state = DEX_OVER;
			link_fail(k, "read with operation R", "the carrier's request was refused with response code %02u",
			          d->response);
		} else {
			start_leg(k, (uint8_t)(d->leg + 1), gone_us);
		}
	} else {
		d->state = DEX_OVER;
		link_done(k);
	}
}

/* --- the sender's side --- */

static void send_frame(struct ft_link *k, uint8_t open, const uint8_t *text, size_t n, uint8_t close, int64_t now_us)
{
	static const uint8_t dle = DEX_DLE;
	uint16_t crc = ft_crc16(ft_crc16(0, text, n), &close, 1);

	link_begin(k, now_us, k->s.block_answer_us);
	link_put(k, (uint8_t[]){ DEX_DLE, open }, 2);
	for (size_t i = 0; i < n; i++) {
		if (text[i] == DEX_DLE)
			link_put(k, &dle, 1);
		link_put(k, &text[i], 1);
	}
	link_put(k, (uint8_t[]){ DEX_DLE, close, (uint8_t)crc, (uint8_t)(crc >> 8) }, 4);
	k->out_block = open == DEX_STX ? (unsigned)k->out_n : 0;
	dex_rx_reset(k);
}

/* Cuts the next block: never more than fits with doubled DLEs, never equal to the one before, because
 * a receiver takes an equal block for a repeat. */
static size_t cut(const struct ft_link *k)
{
	const struct dex *d = &k->u.dex;
	const char *p = k->file.p + k->file_at;
	size_t left = k->file.n - k->file_at, n = 0, stuffed = 0;

	while (n < left && n < k->s.block_text && stuffed < STUFFED_MAX - 1)
		stuffed += p[n++] == DEX_DLE ? 2 : 1;
	if (n && n == d->cut_before && n < left && memcmp(p, p - n, n) == 0)
		n = n > 1 ? n - 1 : n + 1;
	return n;
}

static void send_file_block(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	d->sent_etx = k->file_at + d->cut >= k->file.n;
	send_frame(k, DEX_STX, (const uint8_t *)(d->cut ? k->file.p + k->file_at : ""), d->cut,
	           d->sent_etx ? DEX_ETX : DEX_ETB, now_us);
}

/* Sends the present frame of the leg, for the first time or again. */
static void send_present(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	char text[2 + FT_LINK_ID_MAX + 8];
	int n;

	d->state = DEX_SENT;
	d->asked = d->paused = false;
	if (d->leg == 3) {
		send_file_block(k, now_us);
		return;
	}
	if (d->leg == 1)
		n = snprintf(text, sizeof text, "%-10.10sRR01L01", k->s.id);
	else
		n = snprintf(text, sizeof text, "%02u%-10.10sR01L01", d->response, k->s.id);
	d->sent_etx = true;
	send_frame(k, DEX_SOH, (const uint8_t *)text, (size_t)n, DEX_ETX, now_us);
}

static const char *subject(const struct ft_link *k, char out[32])
{
	if (k->u.dex.leg == 3)
		snprintf(out, 32, "block %u", k->stats.blocks + 1);
	else
		snprintf(out, 32, "the %s handshake", k->u.dex.leg == 1 ? "first" : "second");
	return out;
}

static void on_linked(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	(void)symbol;
	d->expect = 1;
	k->tries = k->naks = 0;
	d->cut = d->leg == 3 ? cut(k) : 0;
	send_present(k, now_us);
}

/* The receiver gives the acknowledgement of the frame before: our EOT was lost. */
static void on_bid_not_parted(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	(void)symbol;
	if (k->u.dex.leg == 1 || link_sending(k))
		return;
	k->stats.retries++;
	link_retry(k, "the end mark was lost, gave it again");
	send_one(k, DEX_EOT, now_us, k->s.answer_us / 4);
}

static void on_bid_timeout(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	(void)symbol;
	if (link_next_turn(k, now_us))
		return;
	if (++k->tries >= k->s.bids) {
		k->u.dex.state = DEX_OVER;
		if (k->u.dex.leg > 1)
			give_up(k, now_us);
		link_fail(k, WAKE_UP, "nothing answered %u bids", k->tries);
		return;
	}
	link_retry(k, "no answer to bid %u", k->tries);
	bid(k, now_us);
}

/* Both bid: the machine yields and the carrier repeats. */
static void on_both_bid(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	(void)symbol;
	if (k->role == FT_LINK_CARRIER) {
		if (link_sending(k))
			return;
		if (link_stalled(k)) {
			give_up(k, now_us);
			link_fail(k, "switch the machine off and on and read again",
			          "the machine keeps bidding and does not yield");
			return;
		}
		link_retry(k, "both sides bid at once, bid again");
		bid(k, now_us);
		return;
	}
	start_leg(k, 1, now_us);
	d->state = DEX_LINKED;
	d->expect = 1;
	d->last_ack = 0;
	send_ack(k, now_us);
}

static void on_acked(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	char what[32];

	if (link_sending(k) && (!d->paused || k->out_at_byte))
		return; /* an answer before the frame has gone belongs to an earlier one */
	if ((symbol == DEX_S_ACK1) != (d->expect == 1)) {
		if (link_sending(k))
			return;
		int64_t pause_us = d->asked ? 0 : link_time(k, d->cut + 32);
		if (++k->tries > k->s.retries || link_stalled(k)) {
			give_up(k, now_us);
			link_fail(k, TRY_LINE, "%s was answered out of turn %u times", subject(k, what), k->tries);
			return;
		}
		k->stats.retries++;
		link_retry(k, "%s was not received, sent it again", subject(k, what));
		/* Unasked, it may be an answer given twice: the right one may still come while we wait. */
		send_present(k, now_us);
		d->paused = true;
		k->out_due_us += pause_us;
		k->out_latest_us += pause_us;
		return;
	}
	if (d->leg == 1 && k->role == FT_LINK_CARRIER)
		link_found(k);
	k->tries = k->naks = k->stall = 0;
	d->wacks = d->enqs = 0;
	d->expect ^= 1;
	if (d->leg == 3) {
		k->file_at += d->cut;
		d->cut_before = d->cut;
		k->stats.blocks++;
		k->stats.text_bytes += d->cut;
		k->stats.counted_bytes += 2;
		k->stats.last_ack_us = now_us;
		link_event(k, FT_LINK_EV_ACKED, k->stats.blocks, (struct ft_slice){ 0 });
	}
	if (d->sent_etx) {
		send_one(k, DEX_EOT, now_us, FT_NEVER);
		d->state = DEX_LEAVE;
		return;
	}
	d->cut = cut(k);
	send_present(k, now_us);
}

static void on_nak(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	char what[32];

	(void)symbol;
	if (link_sending(k))
		return;
	k->stats.naks++;
	if (++k->naks > k->s.retries) {
		give_up(k, now_us);
		link_fail(k, TRY_LINE, "%s arrived damaged %u times", subject(k, what), k->naks);
		return;
	}
	k->stats.retries++;
	link_retry(k, "%s arrived damaged, sent it again", subject(k, what));
	send_present(k, now_us);
}

static void on_wack(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	(void)symbol;
	if (link_sending(k))
		return;
	if (++d->wacks > WACKS_MAX) {
		give_up(k, now_us);
		link_fail(k, "leave the machine's menu and read again", "the other side stayed busy");
		return;
	}
	link_retry(k, "the other side is busy, waiting");
	d->asked = d->peer_busy = true;
	link_wait(k, now_us, WACK_WAIT_US);
}

/* ENQ asks for the last answer again. */
static void on_sent_timeout(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	char what[32];
	bool busy = d->peer_busy; /* asking a busy peer again is no repeat */

	(void)symbol;
	d->peer_busy = false;
	if (!busy && ++k->tries > k->s.retries) {
		if (d->leg == 1 && !k->found) { /* what answered the bid was chance */
			k->turn_bids = UINT8_MAX - 1;
			if (link_next_turn(k, now_us))
				return;
		}
		give_up(k, now_us);
		link_fail(k, TRY_LINE, "the other side fell silent at %s", subject(k, what));
		return;
	}
	if (!busy) {
		k->stats.retries++;
		link_retry(k, "no answer to %s, asked for it again", subject(k, what));
	}
	d->asked = true;
	send_one(k, DEX_ENQ, now_us, k->s.block_answer_us);
}

/* A carrier that bids while we wait for its answer has begun anew; one ENQ alone may be noise. */
static void on_sent_enq(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	if (k->role == FT_LINK_MACHINE && ++k->u.dex.enqs >= 2)
		on_both_bid(k, symbol, now_us);
}

static void on_broken_off(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	(void)symbol;
	(void)now_us;
	k->u.dex.state = DEX_OVER;
	link_fail(k, "read again; if it happens at the same block, switch the machine off and on first",
	          "the %s ended the session", k->role == FT_LINK_CARRIER ? "machine" : "carrier");
}

static void on_offer_timeout(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	(void)symbol;
	give_up(k, now_us);
	link_fail(k, "try again", "no audit was ready in time");
}

/* --- the receiver's side --- */

static void on_bid(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	(void)symbol;
	d->state = DEX_LINKED;
	d->expect = 1;
	d->last_ack = 0;
	d->same = d->enqs = 0;
	send_ack(k, now_us);
}

static void on_silence(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	(void)symbol;
	give_up(k, now_us);
	link_fail(k, "check plug and cable and read again", "the other side fell silent");
}

static bool patience(struct ft_link *k, int64_t now_us)
{
	if (!link_stalled(k))
		return true;
	give_up(k, now_us);
	link_fail(k, TRY_LINE, "too much arrived damaged or twice");
	return false;
}

static void on_bad(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	char what[32];

	(void)symbol;
	if (!patience(k, now_us))
		return;
	k->stats.naks++;
	k->stats.retries++;
	link_retry(k, "%s arrived damaged, asked for it again", subject(k, what));
	send_one(k, DEX_NAK, now_us, k->s.silence_us);
}

/* Takes what a handshake says; false when it cannot be one. */
static bool handshake(struct ft_link *k)
{
	struct dex *d = &k->u.dex;
	const char *text = (const char *)k->rx;

	if (k->role == FT_LINK_MACHINE) {
		if (d->text_n < FT_LINK_ID_MAX)
			return false;
		link_event(k, FT_LINK_EV_PEER, 0, (struct ft_slice){ text, FT_LINK_ID_MAX });
		/* From memory: 02 says that the operation is not known here. Only reading is. */
		d->response = d->text_n >= HANDSHAKE_MIN && text[FT_LINK_ID_MAX] == 'R' ? 0 : 2;
		return true;
	}
	if (d->text_n < 2 || !ft_is_digit(k->rx[0]) || !ft_is_digit(k->rx[1]))
		return false;
	d->response = (uint8_t)((k->rx[0] - '0') * 10 + k->rx[1] - '0');
	link_event(k, FT_LINK_EV_PEER, d->response,
	           (struct ft_slice){ text + 2, d->text_n - 2U < FT_LINK_ID_MAX ? d->text_n - 2U : FT_LINK_ID_MAX });
	return true;
}

static void on_repeated(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	if (!patience(k, now_us))
		return;
	d->same++;
	d->enqs = 0;
	k->stats.retries++;
	link_retry(k, "a frame came twice, acknowledged it again");
	if (d->soh && d->leg == 3 && k->role == FT_LINK_CARRIER) { /* its ENQ was a question, not a bid */
		d->leg = 2;
		d->state = DEX_CLOSED;
		d->last_ack = 1;
		d->expect = 0;
	}
	send_ack(k, now_us);
}

static void on_frame(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	bool handshakes = d->leg < 3;

	if (d->have_last && d->soh == d->last_soh && d->crc == d->last_crc && d->text_n == k->block_n &&
	    memcmp(k->rx, k->block, d->text_n) == 0) {
		if (!d->soh && k->role == FT_LINK_CARRIER)
			k->stats.counted_bytes += d->raw_n;
		if (d->soh && k->role == FT_LINK_MACHINE && d->state == DEX_LINKED && d->last_ack == 0) {
			/* A new session with the same handshake: it is not a repeat. */
		} else {
			on_repeated(k, now_us);
			return;
		}
	}
	if (d->soh != handshakes || (handshakes && !handshake(k))) {
		on_bad(k, symbol, now_us);
		return;
	}
	if (handshakes) {
		memcpy(k->block, k->rx, d->text_n);
		k->block_n = d->text_n;
	} else {
		link_accept(k, k->rx, d->text_n);
		k->stats.counted_bytes += d->raw_n;
	}
	d->have_last = true;
	d->last_soh = d->soh;
	d->last_crc = d->crc;
	d->same = d->enqs = 0;
	k->stall = 0;
	d->last_ack = d->expect;
	d->expect ^= 1;
	d->state = d->etx ? DEX_CLOSED : DEX_LINKED;
	d->ack_owed = k->hold;
	if (k->hold)
		send_pair(k, DEX_WACK, now_us, k->s.silence_us);
	else
		send_ack(k, now_us);
}

static void on_asked_again(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	if (d->ack_owed && k->hold) {
		send_pair(k, DEX_WACK, now_us, k->s.silence_us);
		return;
	}
	if (!d->ack_owed && !patience(k, now_us))
		return;
	/* Asked twice behind a complete handshake: the EOT was lost and this is the next bid. */
	if (!d->ack_owed && d->state == DEX_CLOSED && d->leg == 2 && ++d->enqs >= 2 && !d->response) {
		start_leg(k, 3, now_us);
		on_bid(k, symbol, now_us);
		return;
	}
	d->ack_owed = false;
	send_ack(k, now_us);
}

static void on_leg_closed(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	if (symbol == DEX_S_TIMEOUT)
		link_retry(k, "no end mark came, went on without it");
	leg_done(k, now_us);
}

/* --- the tables --- */

struct dex_edge {
	enum dex_symbol symbol;
	void (*act)(struct ft_link *k, enum dex_symbol symbol, int64_t now_us); /* NULL: stay */
};

static const struct dex_edge await_edges[] = {
	{ DEX_S_ENQ, on_bid },
	{ DEX_S_TIMEOUT, on_silence },
	{ DEX_S_ANY, NULL },
};
static const struct dex_edge linked_edges[] = {
	{ DEX_S_FRAME, on_frame },    { DEX_S_BAD, on_bad },         { DEX_S_ENQ, on_asked_again },
	{ DEX_S_EOT, on_broken_off }, { DEX_S_TIMEOUT, on_silence }, { DEX_S_ANY, NULL },
};
static const struct dex_edge closed_edges[] = {
	{ DEX_S_FRAME, on_frame },        { DEX_S_BAD, on_bad },
	{ DEX_S_ENQ, on_asked_again },    { DEX_S_EOT, on_leg_closed },
	{ DEX_S_TIMEOUT, on_leg_closed }, { DEX_S_ANY, NULL },
};
static const struct dex_edge hold_edges[] = {
	{ DEX_S_ENQ, on_both_bid },
	{ DEX_S_EOT, on_broken_off },
	{ DEX_S_TIMEOUT, on_offer_timeout },
	{ DEX_S_ANY, NULL },
};
static const struct dex_edge bid_edges[] = {
	{ DEX_S_ACK0, on_linked },  { DEX_S_ACK1, on_bid_not_parted },
	{ DEX_S_ENQ, on_both_bid }, { DEX_S_TIMEOUT, on_bid_timeout },
	{ DEX_S_ANY, NULL },
};
static const struct dex_edge sent_edges[] = {
	{ DEX_S_ACK0, on_acked },
	{ DEX_S_ACK1, on_acked },
	{ DEX_S_NAK, on_nak },
	{ DEX_S_WACK, on_wack },
	{ DEX_S_EOT, on_broken_off },
	{ DEX_S_ENQ, on_sent_enq },
	{ DEX_S_TIMEOUT, on_sent_timeout },
	{ DEX_S_ANY, NULL },
};
static const struct dex_edge no_edges[] = { { DEX_S_ANY, NULL } };

static const struct {
	const char *names[4]; /* by leg */
	const struct dex_edge *edges;
} states[DEX_STATES] = {
	[DEX_AWAIT] = { { "", "waiting for a bid", "waiting for the machine's bid", "waiting for the file" }, await_edges },
	[DEX_LINKED] = { { "", "first handshake", "second handshake", "receiving" }, linked_edges },
	[DEX_CLOSED] = { { "", "first handshake taken", "second handshake taken", "last block taken" }, closed_edges },
	[DEX_HOLD] = { { "", "", "", "waiting for the audit" }, hold_edges },
	[DEX_BID] = { { "", "bidding", "bidding for the handshake", "bidding for the file" }, bid_edges },
	[DEX_SENT] = { { "", "first handshake sent", "second handshake sent", "sending" }, sent_edges },
	[DEX_LEAVE] = { { "", "first handshake done", "second handshake done", "all sent" }, no_edges },
	[DEX_OVER] = { { "", "over", "over", "over" }, no_edges },
};

void dex_symbol(struct ft_link *k, enum dex_symbol symbol, int64_t now_us)
{
	const struct dex_edge *edge = states[k->u.dex.state].edges;

	while (edge->symbol != symbol && edge->symbol != DEX_S_ANY)
		edge++;
	if (edge->act)
		edge->act(k, symbol, now_us);
}

static void dex_timeout(struct ft_link *k, int64_t now_us)
{
	dex_symbol(k, DEX_S_TIMEOUT, now_us);
}

static const char *dex_state_name(const struct ft_link *k)
{
	return states[k->u.dex.state].names[k->u.dex.leg & 3];
}

static void dex_abort(struct ft_link *k, int64_t now_us)
{
	if (k->u.dex.state != DEX_OVER && !(k->u.dex.state == DEX_AWAIT && k->u.dex.leg == 1))
		give_up(k, now_us);
	k->u.dex.state = DEX_OVER;
}

const struct link_ops dex_ops = {
	.name = "DEX/UCS",
	.start = dex_start,
	.byte = dex_rx_byte,
	.in_frame = dex_rx_in_frame,
	.gap = dex_rx_gap,
	.timeout = dex_timeout,
	.sent = dex_sent,
	.offered = dex_offered,
	.held = NULL, /* the peer asks again by itself */
	.abort = dex_abort,
	.state = dex_state_name,
};
