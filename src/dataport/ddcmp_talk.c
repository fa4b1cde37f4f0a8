/* SPDX-License-Identifier: Apache-2.0 */
/* What DDCMP messages say when an audit is read (docs/dataport.md; layouts partly from memory). */
#include <stdio.h>

#include "ddcmp.h"

enum {
	COMMAND = 0x77,
	ANSWER = 0x88,
	BLOCK = 0x99,
	WHO = 0xE0,
	READ = 0xE2,
	WRITE = 0xE3,
	FINIS = 0xFF,
	REFUSED_MAX = 4, /* an answer so short is a refusal, a longer one accepts (one implementation) */
	AUDIT_LIST = 1,  /* from memory */
	REQUEST_USUAL = 0x0C,
	WHO_BYTES = 16,
	WHO_ANSWER = 21,
	LENGTH_UNKNOWN = 0xFFFF,
};

static uint8_t bcd(int value)
{
	return (uint8_t)((value / 10 % 10) << 4 | value % 10);
}

/* --- the carrier --- */

void ddcmp_who(struct ft_link *k, int64_t now_us)
{
	const struct ft_civil *c = &k->s.clock;
	uint8_t m[WHO_BYTES] = { COMMAND,
		                     WHO,
		                     0,
		                     (uint8_t)(k->s.security_code >> 8),
		                     (uint8_t)k->s.security_code,
		                     (uint8_t)(k->s.pass_code >> 8),
		                     (uint8_t)k->s.pass_code };

	if (c->year) {
		const uint8_t clock[] = {
			bcd(c->day), bcd(c->month), bcd(c->year), bcd(c->hour), bcd(c->minute), bcd(c->second)
		};
		memcpy(m + 7, clock, sizeof clock);
	}
	m[15] = REQUEST_USUAL;
	k->u.ddcmp.state = DDCMP_WHO;
	ddcmp_send(k, m, sizeof m, 0, false, now_us);
}

static void who_answer(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us)
{
	static const uint8_t read[] = { COMMAND, READ, 0, AUDIT_LIST, 1, 0, 0, 0xFF, 0xFF }; /* offset 0, count FFFF: all */
	char text[LINK_NOTE_MAX];
	size_t at = 0;

	if (n <= REFUSED_MAX) {
		ddcmp_ack(k, now_us, FT_NEVER);
		k->u.ddcmp.state = DDCMP_OVER;
		link_fail(k, "give the codes set in its menu, or have them reset there",
		          "the machine refused security code %04X and pass code %04X", k->s.security_code, k->s.pass_code);
		return;
	}
	for (size_t i = 2; i < n && at + 3 < sizeof text; i++)
		at += (size_t)snprintf(text + at, sizeof text - at, "%s%02X", i > 2 ? " " : "", p[i]);
	link_event(k, FT_LINK_EV_PEER, 0, (struct ft_slice){ text, at });
	k->u.ddcmp.state = DDCMP_READ;
	ddcmp_send(k, read, sizeof read, 0, true, now_us);
}

static void read_answer(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (n <= REFUSED_MAX) {
		ddcmp_ack(k, now_us, FT_NEVER);
		d->state = DDCMP_OVER;
		link_fail(k, "see in its menu whether reading is allowed", "the machine refused to give list %d", AUDIT_LIST);
		return;
	}
	if (n >= 9 && (p[7] | p[8] << 8) != LENGTH_UNKNOWN) { /* which byte comes first is not established */
		d->length_low = (uint16_t)(p[7] | p[8] << 8);
		d->length_high = (uint16_t)(p[8] | p[7] << 8);
	}
	d->state = DDCMP_DATA;
	ddcmp_ack(k, now_us, k->s.silence_us);
}

/* Does the text so far end with a complete DXE segment, empty lines aside? */
static bool ends_with_dxe(struct ddcmp *d, const uint8_t *p, size_t n)
{
	size_t keep = n < sizeof d->tail ? sizeof d->tail - n : 0, end, start;

	if (keep > d->tail_n)
		keep = d->tail_n;
	memmove(d->tail, d->tail + d->tail_n - keep, keep);
	if (n > sizeof d->tail) {
		p += n - sizeof d->tail;
		n = sizeof d->tail;
	}
	memcpy(d->tail + keep, p, n);
	d->tail_n = (unsigned)(keep + n);
	end = d->tail_n;
	while (end && (d->tail[end - 1] == '\r' || d->tail[end - 1] == '\n'))
		end--;
	if (end == d->tail_n)
		return false;
	start = end;
	while (start && d->tail[start - 1] != '\r' && d->tail[start - 1] != '\n')
		start--;
	return end - start >= 4 && memcmp(d->tail + start, "DXE*", 4) == 0;
}

static void finis(struct ft_link *k, bool with_ack, int64_t now_us)
{
	k->u.ddcmp.state = DDCMP_FINIS;
	ddcmp_send(k, (const uint8_t[]){ COMMAND, FINIS }, 2, 0, with_ack, now_us);
}

static void block(struct ft_link *k, uint8_t flags, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint64_t total;
	unsigned signs;

	if (n < 2 || (d->block_seen && p[1] != (uint8_t)(d->block_number + 1))) {
		ddcmp_ack(k, now_us, FT_NEVER);
		d->state = DDCMP_OVER;
		link_fail(k, "read again", "block %u followed block %u, so something between them is missing",
		          n < 2 ? 0U : p[1], d->block_number);
		return;
	}
	d->block_seen = true;
	d->block_number = p[1];
	link_accept(k, p + 2, n - 2);
	total = k->stats.text_bytes;
	d->end_select = flags & DDCMP_SELECT;
	d->end_dxe = ends_with_dxe(d, p + 2, n - 2);
	d->end_length = total && (total == d->length_low || total == d->length_high);
	signs = d->end_select + d->end_dxe + d->end_length;
	if (d->state == DDCMP_FINIS) { /* it was not the end after all */
		ddcmp_ack(k, now_us, k->s.block_answer_us);
		return;
	}
	d->state = DDCMP_DATA;
	/* Two signs of the end are enough; with one alone wait whether more comes. */
	if (signs >= 2 && !k->hold)
		finis(k, true, now_us);
	else
		ddcmp_ack(k, now_us, signs ? k->s.block_answer_us : k->s.silence_us);
}

static void carrier_hears(struct ft_link *k, uint8_t flags, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t what = n > 1 ? p[1] : 0;

	if (n && p[0] == BLOCK && d->state >= DDCMP_READ && d->state <= DDCMP_FINIS) {
		block(k, flags, p, n, now_us);
	} else if (n > 1 && p[0] == ANSWER && what == WHO && d->state == DDCMP_WHO) {
		who_answer(k, p, n, now_us);
	} else if (n > 1 && p[0] == ANSWER && what == READ && d->state == DDCMP_READ) {
		read_answer(k, p, n, now_us);
	} else if (n > 1 && what == FINIS && (d->state == DDCMP_DATA || d->state == DDCMP_FINIS)) {
		k->hold = false;
		ddcmp_ack(k, now_us, FT_NEVER);
		d->state = DDCMP_OVER;
		if (k->stats.blocks)
			link_done(k);
		else
			link_fail(k, "read again", "the machine ended without sending a block");
	} else {
		ddcmp_ack(k, now_us, k->s.silence_us); /* nothing we asked for: taken and passed over */
	}
}

/* --- the machine --- */

static void answer(struct ft_link *k, uint8_t what, bool yes, int64_t now_us)
{
	const uint8_t m[] = { ANSWER, what, 0, 1 };

	ddcmp_send(k, m, yes ? 2 : sizeof m, DDCMP_QSYNC, true, now_us);
}

static void hears_who(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint16_t security = n >= 7 ? (uint16_t)(p[3] << 8 | p[4]) : 0, pass = n >= 7 ? (uint16_t)(p[5] << 8 | p[6]) : 0;
	uint8_t m[WHO_ANSWER] = { ANSWER,       WHO, 1, (uint8_t)(security >> 8), (uint8_t)security, (uint8_t)(pass >> 8),
		                      (uint8_t)pass };

	d->accepted = n >= 7 && (!k->s.security_code || security == k->s.security_code) &&
		(!k->s.pass_code || pass == k->s.pass_code);
	d->told_code = security;
	if (!d->accepted) {
		d->state = DDCMP_REFUSED;
		answer(k, WHO, false, now_us);
		return;
	}
	if (!k->s.security_code)
		k->s.security_code = security; /* learned: the first code other than 0000 (handbook; from memory) */
	link_event(k, FT_LINK_EV_PEER, security, FT_SLICE("carrier"));
	memcpy(m + 7, k->s.id, strnlen(k->s.id, FT_LINK_ID_MAX));
	d->state = DDCMP_KNOWN;
	ddcmp_send(k, m, sizeof m, DDCMP_QSYNC, true, now_us);
}

void ddcmp_read_answer(struct ft_link *k, bool with_ack, int64_t now_us)
{
	size_t n = k->file.n < LENGTH_UNKNOWN ? k->file.n : LENGTH_UNKNOWN;
	const uint8_t m[] = { ANSWER, READ, 1, k->u.ddcmp.list, 1, 0, 0, (uint8_t)n, (uint8_t)(n >> 8) };

	k->u.ddcmp.state = DDCMP_ANSWER;
	k->file_at = 0;
	ddcmp_send(k, m, sizeof m, DDCMP_QSYNC, with_ack, now_us);
}

static void send_block(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	size_t left = k->file.n - k->file_at;
	uint8_t m[FT_LINK_BLOCK_MAX + 2] = { BLOCK, (uint8_t)k->stats.blocks };

	d->state = DDCMP_SEND;
	d->cut = left < k->s.block_text ? left : k->s.block_text;
	if (d->cut)
		memcpy(m + 2, k->file.p + k->file_at, d->cut);
	ddcmp_send(k, m, d->cut + 2, DDCMP_QSYNC | (d->cut == left ? DDCMP_SELECT : 0), false, now_us);
}

static void machine_hears(struct ft_link *k, const uint8_t *p, size_t n, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t what = n > 1 ? p[1] : 0;

	if (n < 2 || p[0] != COMMAND) {
		ddcmp_ack(k, now_us, k->s.silence_us);
	} else if (what == WHO) {
		hears_who(k, p, n, now_us);
	} else if (what == FINIS) {
		d->state = DDCMP_CLOSING;
		answer(k, FINIS, true, now_us);
	} else if (what == READ && d->accepted) {
		d->list = n > 3 ? p[3] : AUDIT_LIST;
		d->state = DDCMP_PREPARE;
		k->stats.blocks = 0;
		k->stats.text_bytes = 0;
		if (k->offered) {
			ddcmp_read_answer(k, true, now_us);
		} else {
			ddcmp_ack(k, now_us, k->s.silence_us);
			link_event(k, FT_LINK_EV_WANT_FILE, d->list, (struct ft_slice){ 0 });
		}
	} else {
		answer(k, what, false, now_us); /* writing, reading before "who are you", and what we do not know */
	}
}

/* --- both --- */

void ddcmp_talk(struct ft_link *k, uint8_t flags, const uint8_t *p, size_t n, int64_t now_us)
{
	if (k->role == FT_LINK_CARRIER)
		carrier_hears(k, flags, p, n, now_us);
	else
		machine_hears(k, p, n, now_us);
}

void ddcmp_acked(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	link_wait(k, now_us, d->state == DDCMP_FINIS ? k->s.block_answer_us : k->s.silence_us);
	if (d->state == DDCMP_ANSWER) {
		k->stats.blocks = 0;
		send_block(k, now_us);
	} else if (d->state == DDCMP_SEND) {
		k->file_at += d->cut;
		k->stats.blocks++;
		k->stats.text_bytes += d->cut;
		k->stats.last_ack_us = now_us;
		link_event(k, FT_LINK_EV_ACKED, k->stats.blocks, (struct ft_slice){ 0 });
		d->all_sent = k->file_at >= k->file.n;
		if (d->all_sent)
			d->state = DDCMP_ALL_SENT;
		else
			send_block(k, now_us);
	} else if (d->state == DDCMP_CLOSING) {
		(void)ddcmp_quiet(k, now_us);
	} else if (d->state == DDCMP_REFUSED) {
		d->state = DDCMP_OVER;
		link_fail(k, "reset the learned code in the machine's menu, or give its own",
		          "the carrier came with security code %04X and was refused", d->told_code);
	}
}

bool ddcmp_quiet(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	switch (d->state) {
	case DDCMP_DATA:
		if (!d->end_select && !d->end_dxe && !d->end_length)
			return false;
		finis(k, false, now_us);
		return true;
	case DDCMP_FINIS:
	case DDCMP_ALL_SENT:
		d->state = DDCMP_OVER;
		link_done(k);
		return true;
	case DDCMP_CLOSING:
		d->state = DDCMP_OVER;
		if (d->all_sent)
			link_done(k);
		else
			link_fail(k, "read again", "the carrier parted before all was sent");
		return true;
	default:
		return false;
	}
}
