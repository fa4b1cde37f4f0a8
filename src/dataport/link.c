/* SPDX-License-Identifier: Apache-2.0 */
/* The part of an engine that both links share: doors, waiting, events, endings. */
#include <stdarg.h>
#include <stdio.h>

#include "link.h"

/* Rates tried for DDCMP in turns: lines start at 2400, but some machines are fixed to another rate by
 * their menu (handbook; docs/dataport.md). */
static const int turn_bauds[] = { 2400, 9600, 2400, 19200, 4800 };
enum { TURN_BIDS = 2 }; /* ours: bids a turn, enough for a machine that sleeps through the first */

struct ft_link_settings ft_link_defaults(enum ft_link_kind kind, enum ft_link_role role)
{
	bool ddcmp = kind == FT_LINK_DDCMP;

	/* docs/dataport.md tells where each number comes from; all timers are ours, near the standard's. */
	struct ft_link_settings s = {
		.block_text = ddcmp ? 146 : 245,
		.turn_round_us = 10000,
		.inter_byte_us = 200000,
		.answer_us = FT_SECOND,
		.block_answer_us = ddcmp ? 2 * FT_SECOND : 1500000,
		.silence_us = ddcmp && role == FT_LINK_MACHINE ? 30 * FT_SECOND : 10 * FT_SECOND,
		.bids = 10,
		.retries = ddcmp ? 3 : 5,
		.baud_max = role == FT_LINK_MACHINE ? 9600 : 115200,
	};
	memcpy(s.id, role == FT_LINK_MACHINE ? "QQC0000003" : "QQT0000001", FT_LINK_ID_MAX + 1);
	return s;
}

size_t ft_link_size(void)
{
	return sizeof(struct ft_link);
}

static void speak(struct ft_link *k, enum ft_link_kind kind)
{
	k->speaks = kind;
	k->ops = kind == FT_LINK_DDCMP ? &ddcmp_ops : &dex_ops;
	memset(&k->u, 0, sizeof k->u);
	k->tries = k->naks = k->stall = 0;
}

void ft_link_init(struct ft_link *k, enum ft_link_kind kind, enum ft_link_role role,
                  const struct ft_link_settings *settings, int64_t now_us)
{
	memset(k, 0, sizeof *k);
	k->s = settings ? *settings : ft_link_defaults(kind, role);
	if (k->s.block_text == 0 || k->s.block_text > FT_LINK_BLOCK_MAX)
		k->s.block_text = k->s.block_text ? FT_LINK_BLOCK_MAX : ft_link_defaults(kind, role).block_text;
	k->kind = kind == FT_LINK_AUTO && role == FT_LINK_MACHINE ? FT_LINK_DEX : kind;
	k->role = role;
	k->found = k->kind != FT_LINK_AUTO;
	k->now_us = k->last_rx_us = k->gone_us = now_us;
	k->wait_until_us = FT_NEVER;
	k->stats.first_block_us = k->stats.last_ack_us = FT_NEVER;
	k->stats.baud = k->s.baud ? k->s.baud : k->kind == FT_LINK_DDCMP ? 2400 : 9600; /* docs/dataport.md */
	speak(k, k->kind == FT_LINK_AUTO ? FT_LINK_DEX : k->kind);
	k->ops->start(k, now_us);
}

static int64_t later(struct ft_link *k, int64_t now_us)
{
	if (now_us > k->now_us)
		k->now_us = now_us;
	return k->now_us;
}

static int64_t add(int64_t at_us, int64_t us)
{
	return us == FT_NEVER || at_us > FT_NEVER - us ? FT_NEVER : at_us + us;
}

/* --- sending and waiting --- */

void link_begin(struct ft_link *k, int64_t now_us, int64_t wait_us)
{
	int64_t from = now_us > k->gone_us ? now_us : k->gone_us;

	k->out_n = k->out_at_byte = 0;
	k->out_ack = k->out_block = 0;
	k->out_due_us = add(from, k->s.turn_round_us);
	k->out_latest_us = add(k->out_due_us, FT_SECOND); /* ours: a babbling line is answered all the same */
	k->wait_us = wait_us;
	k->wait_until_us = FT_NEVER;
}

void link_put(struct ft_link *k, const void *p, size_t n)
{
	if (n > sizeof k->out - k->out_n)
		n = sizeof k->out - k->out_n; /* the cutters keep below; a frame cut here fails its check */
	memcpy(k->out + k->out_n, p, n);
	k->out_n += n;
}

void link_wait(struct ft_link *k, int64_t now_us, int64_t wait_us)
{
	k->wait_until_us = add(now_us, wait_us);
}

bool link_sending(const struct ft_link *k)
{
	return k->out_n > 0;
}

static bool baud_pending(const struct ft_link *k)
{
	for (unsigned i = 0; i < k->event_n; i++)
		if (k->events[(k->event_first + i) % LINK_EVENTS].kind == FT_LINK_EV_BAUD)
			return true;
	return false;
}

const uint8_t *ft_link_out(const struct ft_link *k, size_t *ret_n, int64_t now_us)
{
	*ret_n = 0;
	if (!link_sending(k) || now_us < k->out_due_us || baud_pending(k))
		return NULL;
	*ret_n = k->out_n - k->out_at_byte;
	return k->out + k->out_at_byte;
}

static void close_if_decided(struct ft_link *k)
{
	if (k->ended || k->ending == FT_LINK_EV_NONE || link_sending(k))
		return;
	k->ended = true;
	k->wait_until_us = FT_NEVER;
	link_event(k, k->ending, k->stats.blocks, ft_slice_of(k->why));
}

void ft_link_sent(struct ft_link *k, size_t n, int64_t gone_us)
{
	size_t left = k->out_n - k->out_at_byte;

	if (n > left)
		n = left;
	if (!n)
		return;
	k->stats.bytes_out += n;
	if (k->out_block && k->role == FT_LINK_MACHINE && k->stats.first_block_us == FT_NEVER)
		k->stats.first_block_us = gone_us - link_time(k, n);
	if (k->s.echo)
		echo_sent(k, k->out + k->out_at_byte, n, k->out_at_byte == 0);
	k->out_at_byte += n;
	if (gone_us > k->gone_us)
		k->gone_us = gone_us;
	if (k->out_at_byte < k->out_n)
		return;
	if (k->out_ack || k->out_block)
		k->stats.counted_bytes += k->out_ack + k->out_block;
	if (k->out_ack)
		k->stats.last_ack_us = gone_us - link_time(k, k->out_n - k->out_ack - k->out_block);
	k->out_n = k->out_at_byte = 0;
	k->out_ack = k->out_block = 0;
	link_wait(k, k->gone_us, k->wait_us);
	if (k->ending == FT_LINK_EV_NONE)
		k->ops->sent(k, k->gone_us);
	close_if_decided(k);
}

/* --- events --- */

void link_event(struct ft_link *k, enum ft_link_event_kind kind, int64_t number, struct ft_slice text)
{
	struct link_slot *slot;
	bool small = kind == FT_LINK_EV_RETRY || kind == FT_LINK_EV_ACKED;

	if (k->event_n >= LINK_EVENTS / 2 && small)
		return; /* nobody fetches: keep room for what matters */
	if (k->event_n == LINK_EVENTS) {
		k->event_first = (k->event_first + 1) % LINK_EVENTS;
		k->event_n--;
	}
	slot = &k->events[(k->event_first + k->event_n++) % LINK_EVENTS];
	*slot = (struct link_slot){ .kind = kind, .at_us = k->now_us, .number = number };
	slot->n = (uint16_t)(text.n < sizeof slot->text ? text.n : sizeof slot->text);
	if (slot->n)
		memcpy(slot->text, text.p, slot->n);
}

bool ft_link_next(struct ft_link *k, struct ft_link_event *ret)
{
	struct link_slot *slot;

	if (!k->event_n)
		return false;
	slot = &k->events[k->event_first];
	k->event_first = (k->event_first + 1) % LINK_EVENTS;
	k->event_n--;
	*ret = (struct ft_link_event){
		.kind = slot->kind, .at_us = slot->at_us, .number = slot->number, .text = { slot->text, slot->n }
	};
	if (slot->kind == FT_LINK_EV_BLOCK)
		ret->text = (struct ft_slice){ (const char *)k->block, k->block_n };
	else if (slot->kind == FT_LINK_EV_FAILED)
		ret->text = ft_slice_of(k->why);
	return true;
}

void link_retry(struct ft_link *k, const char *format, ...)
{
	char text[LINK_NOTE_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	link_event(k, FT_LINK_EV_RETRY, k->stats.retries, ft_slice_of(text));
}

void link_baud(struct ft_link *k, int baud)
{
	if (baud == k->stats.baud)
		return;
	k->stats.baud = baud;
	link_event(k, FT_LINK_EV_BAUD, baud, (struct ft_slice){ 0 });
}

void link_accept(struct ft_link *k, const uint8_t *p, size_t n)
{
	if (n > sizeof k->block)
		n = sizeof k->block;
	if (n)
		memcpy(k->block, p, n);
	k->block_n = n;
	k->stats.blocks++;
	k->stats.text_bytes += n;
	link_event(k, FT_LINK_EV_BLOCK, k->stats.blocks, (struct ft_slice){ 0 });
}

bool link_stalled(struct ft_link *k)
{
	return ++k->stall > 4 * k->s.retries + 10; /* ours: well beyond what an honest peer tries */
}

/* --- endings --- */

void link_fail(struct ft_link *k, const char *todo, const char *what, ...)
{
	char happened[FT_TEXT_MAX / 2], far[80];
	bool reads = k->role == FT_LINK_CARRIER;
	va_list args;

	if (k->ending != FT_LINK_EV_NONE)
		return;
	va_start(args, what);
	vsnprintf(happened, sizeof happened, what, args);
	va_end(args);
	if (k->stats.blocks)
		snprintf(far, sizeof far, "broke off after %u block%s (%llu bytes)", k->stats.blocks,
		         k->stats.blocks == 1 ? "" : "s", (unsigned long long)k->stats.text_bytes);
	else
		snprintf(far, sizeof far, "brought nothing");
	snprintf(k->why, sizeof k->why, "%s the audit over %s %s: %s; %s.", reads ? "Reading" : "Serving",
	         k->found ? k->ops->name : "DEX/UCS or DDCMP", far, happened, todo);
	k->ending = FT_LINK_EV_FAILED;
	k->wait_until_us = FT_NEVER;
	close_if_decided(k);
}

void link_done(struct ft_link *k)
{
	if (k->ending == FT_LINK_EV_NONE)
		k->ending = FT_LINK_EV_DONE;
	k->wait_until_us = FT_NEVER;
	close_if_decided(k);
}

enum ft_status ft_link_failure(const struct ft_link *k, struct ft_error *e)
{
	return k->ending == FT_LINK_EV_FAILED ? ft_fail(e, FT_E_LINE, "%s", k->why) : FT_OK;
}

/* --- finding out which link the machine speaks --- */

bool link_next_turn(struct ft_link *k, int64_t now_us)
{
	unsigned turns;

	if (k->found)
		return false;
	if (++k->turn_bids < TURN_BIDS)
		return false;
	turns = 2 * ((k->s.bids + TURN_BIDS - 1) / TURN_BIDS); /* each link gets its number of bids */
	k->turn_bids = 0;
	if (++k->turn >= turns || k->turn == UINT8_MAX) {
		link_fail(k,
		          "check that the machine is on, the plug is home and the right socket is used, open the door if "
		          "the port needs it, and swap the adapter if another machine is silent too",
		          "nothing answered %u bids over either link", k->s.bids);
		return true;
	}
	speak(k, k->turn % 2 ? FT_LINK_DDCMP : FT_LINK_DEX);
	if (!k->s.baud)
		link_baud(k, k->turn % 2 ? turn_bauds[k->turn / 2 % (sizeof turn_bauds / sizeof *turn_bauds)] : 9600);
	k->ops->start(k, now_us);
	return true;
}

void link_found(struct ft_link *k)
{
	if (k->found)
		return;
	k->found = true;
	link_event(k, FT_LINK_EV_SPEAKS, k->speaks, ft_slice_of(ft_link_kind_word(k->speaks)));
}

/* --- bytes and time --- */

static bool gap_over(const struct ft_link *k, int64_t now_us)
{
	return k->ops->in_frame(k) && now_us - k->last_rx_us >= k->s.inter_byte_us;
}

static void take(struct ft_link *k, uint8_t b)
{
	int64_t now_us = k->now_us;

	if (gap_over(k, now_us) && k->ending == FT_LINK_EV_NONE)
		k->ops->gap(k, now_us);
	if (link_sending(k) && !k->out_at_byte) { /* the line is not free yet */
		int64_t due = add(now_us, k->s.turn_round_us);
		if (due > k->out_due_us)
			k->out_due_us = due < k->out_latest_us ? due : k->out_latest_us;
	}
	if (k->ending == FT_LINK_EV_NONE)
		k->ops->byte(k, b, now_us);
	k->last_rx_us = now_us;
}

size_t ft_link_feed(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us)
{
	size_t i = 0;
	uint8_t b;

	later(k, now_us);
	while (!k->event_n) {
		if (echo_give(k, &b)) {
			take(k, b);
			continue;
		}
		if (i == n)
			break;
		b = p[i++];
		k->stats.bytes_in++;
		if (!echo_take(k, b))
			take(k, b);
	}
	return i;
}

int64_t ft_link_due(const struct ft_link *k)
{
	int64_t due = k->wait_until_us, t;

	if (k->ended)
		return FT_NEVER;
	if (link_sending(k))
		return k->out_due_us;
	if (k->ops->in_frame(k) && k->ending == FT_LINK_EV_NONE)
		due = add(k->last_rx_us, k->s.inter_byte_us); /* no wait ends in the middle of a frame */
	if (k->echo.active && k->echo.held_n > k->echo.held_at) {
		t = add(k->last_rx_us, k->s.inter_byte_us);
		due = t < due ? t : due;
	}
	return due;
}

void ft_link_tick(struct ft_link *k, int64_t now_us)
{
	uint8_t b;

	now_us = later(k, now_us);
	if (k->ended)
		return;
	if (k->echo.active && k->echo.held_n > k->echo.held_at && now_us - k->last_rx_us >= k->s.inter_byte_us)
		echo_release(k);
	while (!k->event_n && echo_give(k, &b))
		take(k, b);
	if (k->ending != FT_LINK_EV_NONE || link_sending(k))
		return;
	if (gap_over(k, now_us))
		k->ops->gap(k, now_us);
	if (k->ending == FT_LINK_EV_NONE && !link_sending(k) && !k->ops->in_frame(k) && now_us >= k->wait_until_us) {
		k->wait_until_us = FT_NEVER;
		k->ops->timeout(k, now_us);
	}
}

/* --- the caller's wishes --- */

void ft_link_offer(struct ft_link *k, struct ft_slice file)
{
	k->file = file.p ? file : FT_SLICE("");
	k->file_at = 0;
	k->offered = true;
	if (!k->ended && k->ending == FT_LINK_EV_NONE)
		k->ops->offered(k);
}

void ft_link_hold(struct ft_link *k, bool hold)
{
	k->hold = hold;
	if (!k->ended && k->ending == FT_LINK_EV_NONE && k->ops->held)
		k->ops->held(k);
}

void ft_link_abort(struct ft_link *k, int64_t now_us)
{
	now_us = later(k, now_us);
	if (k->ended || k->ending != FT_LINK_EV_NONE)
		return;
	k->ops->abort(k, now_us);
	link_fail(k, "start again when you are ready", "it was stopped from this side");
}

bool ft_link_ended(const struct ft_link *k)
{
	return k->ended;
}

const struct ft_link_stats *ft_link_stats(const struct ft_link *k)
{
	return &k->stats;
}

enum ft_link_kind ft_link_kind_of(const struct ft_link *k)
{
	return k->found ? k->speaks : FT_LINK_AUTO;
}

const char *ft_link_kind_word(enum ft_link_kind kind)
{
	static const char *const words[] = { "auto", "dex", "ddcmp" };

	return (unsigned)kind < sizeof words / sizeof *words ? words[kind] : "unknown";
}

const char *ft_link_state(const struct ft_link *k)
{
	return k->ended ? "ended" : k->ops->state(k);
}

uint16_t ft_link_security_code(const struct ft_link *k)
{
	return k->s.security_code;
}
