/* SPDX-License-Identifier: Apache-2.0 */
/* Bytes of a DEX/UCS line to symbols: single controls, pairs behind DLE, frames with their check. */
#include "dex_rx.h"

/* ours: so many bytes that fit nothing, in one burst, and a lone control character behind them is
 * taken for a part of a damaged frame (its check bytes are raw and may have any value). */
enum { GARBAGE_FEW = 3, BURST_US = 20000 };

void dex_rx_reset(struct ft_link *k)
{
	struct dex *d = &k->u.dex;

	d->rx = DEX_RX_HUNT;
	d->garbage = 0;
	d->spoilt = false;
}

static void noise(struct ft_link *k, unsigned n)
{
	k->u.dex.garbage += n;
	k->stats.noise_bytes += n;
}

static void open_frame(struct ft_link *k, bool soh)
{
	struct dex *d = &k->u.dex;

	d->soh = soh;
	d->spoilt = false;
	d->text_n = 0;
	d->raw_n = 2;
	d->crc = 0;
	d->rx = DEX_RX_TEXT;
	if (!soh && k->role == FT_LINK_CARRIER && d->leg == 3 && k->stats.first_block_us == FT_NEVER)
		k->stats.first_block_us = d->frame_us;
}

static void hunt(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	enum dex_symbol symbol;

	switch (b) {
	case DEX_DLE:
		d->rx = DEX_RX_DLE;
		d->frame_us = now_us;
		return;
	case DEX_ENQ:
		symbol = DEX_S_ENQ;
		break;
	case DEX_EOT:
		symbol = DEX_S_EOT;
		break;
	case DEX_NAK:
		symbol = DEX_S_NAK;
		break;
	default:
		noise(k, 1);
		return;
	}
	if (d->garbage >= GARBAGE_FEW && d->state != DEX_AWAIT && d->state != DEX_BID) {
		noise(k, 1);
		return;
	}
	d->garbage = 0;
	dex_symbol(k, symbol, now_us);
}

static void after_dle(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	enum dex_symbol symbol;

	d->rx = DEX_RX_HUNT;
	switch (b) {
	case DEX_SOH:
	case DEX_STX:
		open_frame(k, b == DEX_SOH);
		return;
	case DEX_ACK0:
		symbol = DEX_S_ACK0;
		break;
	case DEX_ACK1:
		symbol = DEX_S_ACK1;
		break;
	case DEX_WACK:
		symbol = DEX_S_WACK;
		break;
	case DEX_DLE:
		noise(k, 1);
		d->rx = DEX_RX_DLE;
		d->frame_us = now_us;
		return;
	default:
		noise(k, 1);
		hunt(k, b, now_us); /* the DLE was noise, this byte may be a control character */
		return;
	}
	d->garbage = 0;
	dex_symbol(k, symbol, now_us);
}

static void text_byte(struct ft_link *k, uint8_t b)
{
	struct dex *d = &k->u.dex;

	d->crc = ft_crc16(d->crc, &b, 1);
	if (d->text_n < FT_LINK_BLOCK_MAX)
		k->rx[d->text_n++] = b;
	else
		d->spoilt = true;
}

static void text_after_dle(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	d->rx = DEX_RX_TEXT;
	switch (b) {
	case DEX_DLE: /* sent twice, counted once in the check (BSC rule, from memory) */
		text_byte(k, b);
		return;
	case DEX_ETX:
	case DEX_ETB:
		d->etx = b == DEX_ETX;
		d->crc = ft_crc16(d->crc, &b, 1);
		d->rx = DEX_RX_CRC_LOW;
		return;
	case DEX_SOH:
	case DEX_STX: /* the end of the frame before was lost, here is another */
		noise(k, d->raw_n);
		d->frame_us = now_us;
		open_frame(k, b == DEX_SOH);
		d->garbage = 0;
		return;
	default:
		d->spoilt = true;
	}
}

static void closed(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	bool good = !d->spoilt && (d->crc_got | b << 8) == d->crc;

	d->rx = DEX_RX_HUNT;
	d->garbage = 0;
	if (!good)
		k->stats.noise_bytes += d->raw_n;
	dex_symbol(k, good ? DEX_S_FRAME : DEX_S_BAD, now_us);
}

void dex_rx_byte(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct dex *d = &k->u.dex;

	if (now_us - k->last_rx_us > BURST_US && d->rx == DEX_RX_HUNT)
		d->garbage = 0;
	if (d->rx > DEX_RX_DLE && d->raw_n < UINT16_MAX)
		d->raw_n++;
	switch (d->rx) {
	case DEX_RX_HUNT:
		hunt(k, b, now_us);
		break;
	case DEX_RX_DLE:
		after_dle(k, b, now_us);
		break;
	case DEX_RX_TEXT:
		if (b == DEX_DLE)
			d->rx = DEX_RX_TEXT_DLE;
		else
			text_byte(k, b);
		break;
	case DEX_RX_TEXT_DLE:
		text_after_dle(k, b, now_us);
		break;
	case DEX_RX_CRC_LOW:
		d->crc_got = b;
		d->rx = DEX_RX_CRC_HIGH;
		break;
	case DEX_RX_CRC_HIGH:
		closed(k, b, now_us);
		break;
	}
}

bool dex_rx_in_frame(const struct ft_link *k)
{
	const struct dex *d = &k->u.dex;

	return d->rx != DEX_RX_HUNT || (d->garbage >= GARBAGE_FEW && (d->state == DEX_LINKED || d->state == DEX_CLOSED));
}

void dex_rx_gap(struct ft_link *k, int64_t now_us)
{
	struct dex *d = &k->u.dex;
	bool frame = d->rx > DEX_RX_DLE;
	bool rubbish = d->garbage >= GARBAGE_FEW;

	if (frame)
		noise(k, d->raw_n);
	else if (d->rx == DEX_RX_DLE)
		noise(k, 1);
	dex_rx_reset(k);
	if (frame || rubbish)
		dex_symbol(k, DEX_S_BAD, now_us);
}
