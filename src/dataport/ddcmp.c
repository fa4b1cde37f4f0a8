/* SPDX-License-Identifier: Apache-2.0 */
/* DDCMP between two stations: starting, the rate, numbers, acknowledgements, repeats (docs/dataport.md).
 * What the messages say is in ddcmp_talk.c. */
#include "ddcmp.h"

/* Baud codes, from memory; they fit the vectors of docs/dataport.md. */
static const int baud_codes[] = { 0, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200 };
enum { BAUD_CODES = sizeof baud_codes / sizeof *baud_codes };
#define SETTLE_US (FT_SECOND / 20) /* ours: time the peer gets to change its rate */
#define BUSY_US   (FT_SECOND / 2)  /* ours: pause before a repeat that a busy peer asked for */

static uint8_t code_of(int baud)
{
	uint8_t code = 0;

	for (unsigned i = 1; i < BAUD_CODES; i++)
		if (baud_codes[i] <= baud)
			code = (uint8_t)i;
	return code;
}

/* --- frames --- */

static void put_control(struct ft_link *k, uint8_t type, uint8_t sub, uint8_t resp, uint8_t num)
{
	uint8_t m[DDCMP_HEAD] = { DDCMP_CONTROL, type, DDCMP_QSYNC | sub, resp, num, DDCMP_STATION };
	uint16_t crc = ft_crc16(0, m, 6);

	m[6] = (uint8_t)crc;
	m[7] = (uint8_t)(crc >> 8);
	link_put(k, m, sizeof m);
}

static void send_control(struct ft_link *k, uint8_t type, uint8_t sub, uint8_t resp, uint8_t num, int64_t now_us,
                         int64_t wait_us)
{
	link_begin(k, now_us, wait_us);
	put_control(k, type, sub, resp, num);
}

void ddcmp_ack(struct ft_link *k, int64_t now_us, int64_t wait_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (k->hold) {
		d->ack_kept = true;
		link_wait(k, now_us, k->s.silence_us);
		return;
	}
	send_control(k, DDCMP_ACK, 0, d->rx_num, 0, now_us, wait_us);
	k->out_ack = k->role == FT_LINK_CARRIER && d->last_was_block ? DDCMP_HEAD : 0;
}

static void transmit(struct ft_link *k, bool with_ack, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t head[DDCMP_HEAD] = {
		DDCMP_DATA_HEAD, (uint8_t)d->message_n, (uint8_t)(d->flags | d->message_n >> 8), d->rx_num,
		d->tx_num,       DDCMP_STATION
	};
	uint16_t crc = ft_crc16(0, head, 6);

	head[6] = (uint8_t)crc;
	head[7] = (uint8_t)(crc >> 8);
	link_begin(k, now_us, k->s.block_answer_us);
	if (with_ack) {
		put_control(k, DDCMP_ACK, 0, d->rx_num, 0);
		k->out_ack = k->role == FT_LINK_CARRIER && d->last_was_block ? DDCMP_HEAD : 0;
	}
	crc = ft_crc16(0, d->message, d->message_n);
	link_put(k, head, sizeof head);
	link_put(k, d->message, d->message_n);
	link_put(k, (uint8_t[]){ (uint8_t)crc, (uint8_t)(crc >> 8) }, 2);
	if (k->role == FT_LINK_MACHINE && d->state == DDCMP_SEND)
		k->out_block = DDCMP_HEAD + d->message_n + 2U;
}

void ddcmp_send(struct ft_link *k, const uint8_t *p, size_t n, uint8_t flags, bool with_ack, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (n > sizeof d->message)
		n = sizeof d->message;
	if (p != d->message && n)
		memcpy(d->message, p, n);
	d->message_n = (uint16_t)n;
	d->flags = flags;
	d->tx_num++;
	d->waiting = true;
	k->tries = k->naks = 0;
	transmit(k, with_ack, now_us);
}

/* --- starting --- */

static void counters_to_zero(struct ft_link *k)
{
	struct ddcmp *d = &k->u.ddcmp;

	d->rx_num = d->tx_num = 0;
	d->waiting = d->proven = d->ack_kept = d->last_was_block = d->accepted = d->all_sent = false;
	d->spoilt = 0;
	d->next_baud = 0;
	k->tries = k->naks = k->stall = 0;
}

static void send_start(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	d->state = DDCMP_START;
	send_control(k, DDCMP_STRT, 0, 0, d->fell_back ? 0 : code_of(k->s.baud_max), now_us, k->s.answer_us);
}

static void start_again(struct ft_link *k, int64_t now_us)
{
	counters_to_zero(k);
	link_baud(k, k->u.ddcmp.start_baud);
	send_start(k, now_us);
}

static void ddcmp_start(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	d->start_baud = k->stats.baud;
	if (k->role == FT_LINK_MACHINE) {
		d->state = DDCMP_IDLE;
		link_wait(k, now_us, FT_NEVER);
		return;
	}
	send_start(k, now_us);
	k->out_due_us = now_us > k->gone_us ? now_us : k->gone_us; /* nobody spoke before us */
}

static void on_start(struct ft_link *k, const uint8_t *head, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	int own = k->s.baud_max > d->start_baud ? k->s.baud_max : d->start_baud;
	uint8_t code = 0;

	if (k->role == FT_LINK_CARRIER && d->state == DDCMP_START)
		return; /* both start: ours will be answered */
	if (k->role == FT_LINK_CARRIER && k->stats.blocks) {
		send_control(k, DDCMP_STACK, 0, 0, head[4], now_us, FT_NEVER);
		d->state = DDCMP_OVER;
		link_fail(k, "read again", "the machine started anew in the middle");
		return;
	}
	if (k->s.baud_max && head[4])
		code = head[4] < code_of(own) ? head[4] : code_of(own);
	if (d->state != DDCMP_IDLE)
		link_retry(k, "the other side started anew");
	counters_to_zero(k);
	k->file_at = 0;
	d->next_baud = baud_codes[code] != k->stats.baud ? baud_codes[code] : 0;
	d->state = k->role == FT_LINK_CARRIER ? DDCMP_WHO : DDCMP_LINKED;
	send_control(k, DDCMP_STACK, 0, code, head[4], now_us, d->next_baud ? 2 * k->s.block_answer_us : k->s.silence_us);
}

static void on_stack(struct ft_link *k, const uint8_t *head, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	int baud = head[3] < BAUD_CODES ? baud_codes[head[3]] : 0;

	if (k->role != FT_LINK_CARRIER || d->state != DDCMP_START)
		return;
	link_found(k);
	counters_to_zero(k);
	ddcmp_who(k, now_us);
	if (baud && baud != k->stats.baud) {
		link_baud(k, baud);
		k->out_due_us += SETTLE_US;
		k->out_latest_us += SETTLE_US;
	}
}

static void ddcmp_sent(struct ft_link *k, int64_t gone_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (d->next_baud) {
		link_baud(k, d->next_baud);
		d->next_baud = 0;
	}
	if (k->role == FT_LINK_CARRIER && d->state == DDCMP_WHO && !d->waiting && !d->proven)
		ddcmp_who(k, gone_us); /* we answered the machine's START */
	else if (d->state == DDCMP_PREPARE && k->offered)
		ddcmp_read_answer(k, false, gone_us);
}

/* --- numbers and acknowledgements --- */

static void fell_silent(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	bool changed = k->stats.baud != d->start_baud;

	if (k->role == FT_LINK_CARRIER && d->state == DDCMP_FINIS) {
		d->state = DDCMP_OVER;
		link_done(k); /* the file is whole, the farewell is a courtesy */
	} else if (k->role == FT_LINK_CARRIER && !k->stats.blocks && changed && !d->proven && !d->fell_back) {
		d->fell_back = true;
		k->stats.retries++;
		link_retry(k, "nothing understood at %d baud, starting again at %d", k->stats.baud, d->start_baud);
		start_again(k, now_us);
	} else if (k->role == FT_LINK_CARRIER && !k->stats.blocks && !d->restarted) {
		d->restarted = true;
		k->stats.retries++;
		link_retry(k, "no answer, starting again");
		start_again(k, now_us);
	} else {
		if (k->role == FT_LINK_MACHINE)
			link_baud(k, d->start_baud);
		d->state = DDCMP_OVER;
		link_fail(k, "hold the optics or plug steady and read again", "the other side fell silent");
	}
}

static bool patience(struct ft_link *k)
{
	if (!link_stalled(k))
		return true;
	k->u.ddcmp.state = DDCMP_OVER;
	link_fail(k, "hold the optics or plug steady, keep lamps and the supply away, and read again",
	          "too much arrived damaged or twice");
	return false;
}

static void repeat(struct ft_link *k, int64_t pause_us, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	k->stats.retries++;
	if (++k->naks > 3 * k->s.retries) { /* ours: a NAK shows the line alive, so more of them than of silences */
		d->state = DDCMP_OVER;
		link_fail(k, "hold the optics or plug steady and read again", "message %u arrived damaged %u times", d->tx_num,
		          k->naks);
		return;
	}
	link_retry(k, "message %u arrived damaged, sent it again", d->tx_num);
	transmit(k, false, now_us);
	k->out_due_us += pause_us;
	k->out_latest_us += pause_us;
}

static void on_ack(struct ft_link *k, uint8_t resp, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (!d->waiting || resp != d->tx_num || link_sending(k))
		return;
	d->waiting = false;
	k->tries = k->naks = k->stall = 0;
	ddcmp_acked(k, now_us);
}

static void on_nak(struct ft_link *k, uint8_t reason, uint8_t resp, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	k->stats.naks++;
	if (link_sending(k) || !d->waiting)
		return;
	if (resp == d->tx_num)
		on_ack(k, resp, now_us);
	else if (resp == (uint8_t)(d->tx_num - 1))
		repeat(k, reason == DDCMP_NO_BUFFER ? BUSY_US : 0, now_us);
}

static void send_nak(struct ft_link *k, uint8_t reason, uint8_t resp, int64_t now_us)
{
	k->stats.naks++;
	k->stats.retries++;
	send_control(k, DDCMP_NAK, reason, resp, 0, now_us, k->u.ddcmp.waiting ? k->s.block_answer_us : k->s.silence_us);
}

static void on_rep(struct ft_link *k, uint8_t num, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (!patience(k))
		return;
	if (num != d->rx_num) {
		link_retry(k, "a message was lost, asked for it again");
		send_nak(k, DDCMP_TO_REP, d->rx_num, now_us);
	} else if (k->hold) {
		send_nak(k, DDCMP_NO_BUFFER, (uint8_t)(d->rx_num - 1), now_us);
	} else {
		ddcmp_ack(k, now_us, k->s.silence_us);
	}
}

void ddcmp_on_control(struct ft_link *k, const uint8_t *head, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	bool linked = d->state != DDCMP_IDLE && d->state != DDCMP_START && d->state != DDCMP_OVER;

	if (d->state == DDCMP_OVER)
		return;
	if (head[1] == DDCMP_STRT) {
		on_start(k, head, now_us);
		return;
	}
	if (head[1] == DDCMP_STACK) {
		on_stack(k, head, now_us);
		return;
	}
	if (!linked)
		return;
	d->proven = true;
	if (head[1] == DDCMP_ACK) {
		if (k->role == FT_LINK_MACHINE && d->state == DDCMP_SEND && d->waiting && head[3] == d->tx_num)
			k->stats.counted_bytes += DDCMP_HEAD;
		on_ack(k, head[3], now_us);
	} else if (head[1] == DDCMP_NAK) {
		on_nak(k, head[2] & 0x3F, head[3], now_us);
	} else if (head[1] == DDCMP_REP) {
		on_rep(k, head[4], now_us);
	}
}

void ddcmp_on_data(struct ft_link *k, const uint8_t *head, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	unsigned size = DDCMP_HEAD + (unsigned)n + 2;
	bool block = n && p[0] == 0x99 && k->role == FT_LINK_CARRIER;

	if (d->state == DDCMP_IDLE || d->state == DDCMP_START || d->state == DDCMP_OVER)
		return;
	d->proven = true;
	on_ack(k, head[3], now_us); /* the header acknowledges too */
	if (k->ending != FT_LINK_EV_NONE)
		return;
	if (block) {
		if (k->stats.first_block_us == FT_NEVER)
			k->stats.first_block_us = d->frame_us;
		k->stats.counted_bytes += size;
	}
	if (head[4] == d->rx_num) { /* a repeat: our acknowledgement was lost */
		if (!patience(k))
			return;
		link_retry(k, "message %u came again, acknowledged it again", d->rx_num);
		k->stats.retries++;
		if (k->hold)
			send_nak(k, DDCMP_NO_BUFFER, (uint8_t)(d->rx_num - 1), now_us);
		else if (d->waiting && !link_sending(k))
			transmit(k, true, now_us);
		else if (!link_sending(k))
			ddcmp_ack(k, now_us, k->s.silence_us);
		return;
	}
	if (head[4] != (uint8_t)(d->rx_num + 1)) {
		if (patience(k))
			send_nak(k, DDCMP_TO_REP, d->rx_num, now_us);
		return;
	}
	d->rx_num = head[4];
	d->last_was_block = block;
	k->stall = 0;
	ddcmp_talk(k, head[2], p, n, now_us);
}

void ddcmp_on_damage(struct ft_link *k, const uint8_t *head, uint8_t reason, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (d->state == DDCMP_IDLE || d->state == DDCMP_START || d->state == DDCMP_OVER)
		return;
	if (k->role == FT_LINK_MACHINE && d->state == DDCMP_LINKED && !d->proven && k->stats.baud != d->start_baud &&
	    ++d->spoilt >= 3) { /* ours, as the carrier does it: three failures at the new rate */
		link_baud(k, d->start_baud);
		d->state = DDCMP_IDLE;
		link_wait(k, now_us, FT_NEVER);
		return;
	}
	if (head)
		on_ack(k, head[3], now_us);
	if (k->ending != FT_LINK_EV_NONE || link_sending(k) || !patience(k))
		return;
	link_retry(k, "a message arrived damaged, asked for it again");
	if (!head && d->waiting) { /* perhaps it was the acknowledgement */
		k->stats.retries++;
		send_control(k, DDCMP_REP, 0, 0, d->tx_num, now_us, k->s.block_answer_us);
	} else {
		send_nak(k, reason, d->rx_num, now_us);
	}
}

static void ddcmp_timeout(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (d->state == DDCMP_START) {
		if (link_next_turn(k, now_us))
			return;
		if (++k->tries >= k->s.bids) {
			d->state = DDCMP_OVER;
			link_fail(k, "check that the machine is on, the optics or plug are in place and the rate is right",
			          "nothing answered %u STARTs at %d baud", k->tries, k->stats.baud);
			return;
		}
		link_retry(k, "no answer to START %u", k->tries);
		send_start(k, now_us);
	} else if (d->waiting) {
		if (++k->tries > k->s.retries) {
			fell_silent(k, now_us);
			return;
		}
		k->stats.retries++;
		link_retry(k, "no answer to message %u, asked whether it arrived", d->tx_num);
		send_control(k, DDCMP_REP, 0, 0, d->tx_num, now_us, k->s.block_answer_us);
	} else if (k->role == FT_LINK_MACHINE && d->state == DDCMP_LINKED && !d->proven && k->stats.baud != d->start_baud) {
		link_baud(k, d->start_baud);
		d->state = DDCMP_IDLE;
		link_wait(k, now_us, FT_NEVER);
	} else if (!ddcmp_quiet(k, now_us)) {
		fell_silent(k, now_us);
	}
}

static void ddcmp_held(struct ft_link *k)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (k->hold || !d->ack_kept)
		return;
	d->ack_kept = false;
	if (!link_sending(k))
		ddcmp_ack(k, k->now_us, k->s.silence_us);
}

static void ddcmp_offered(struct ft_link *k)
{
	if (k->u.ddcmp.state == DDCMP_PREPARE && !k->out_at_byte)
		ddcmp_read_answer(k, link_sending(k), k->now_us);
}

static void ddcmp_abort(struct ft_link *k, int64_t now_us)
{
	(void)now_us; /* the link's own way is silence */
	k->out_n = k->out_at_byte = 0;
	k->u.ddcmp.state = DDCMP_OVER;
}

static const char *ddcmp_state_name(const struct ft_link *k)
{
	static const char *const names[DDCMP_STATES] = {
		[DDCMP_IDLE] = "waiting for START",
		[DDCMP_START] = "starting",
		[DDCMP_WHO] = "asking who it is",
		[DDCMP_READ] = "asking for the list",
		[DDCMP_DATA] = "receiving",
		[DDCMP_FINIS] = "parting",
		[DDCMP_LINKED] = "linked",
		[DDCMP_KNOWN] = "carrier known",
		[DDCMP_PREPARE] = "waiting for the audit",
		[DDCMP_ANSWER] = "announcing the list",
		[DDCMP_SEND] = "sending",
		[DDCMP_ALL_SENT] = "all sent",
		[DDCMP_CLOSING] = "parting",
		[DDCMP_REFUSED] = "refusing",
		[DDCMP_OVER] = "over",
	};

	return names[k->u.ddcmp.state];
}

const struct link_ops ddcmp_ops = {
	.name = "DDCMP",
	.start = ddcmp_start,
	.byte = ddcmp_rx_byte,
	.in_frame = ddcmp_rx_in_frame,
	.gap = ddcmp_rx_gap,
	.timeout = ddcmp_timeout,
	.sent = ddcmp_sent,
	.offered = ddcmp_offered,
	.held = ddcmp_held,
	.abort = ddcmp_abort,
	.state = ddcmp_state_name,
};
