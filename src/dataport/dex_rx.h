/* SPDX-License-Identifier: Apache-2.0 */
/* What a DEX/UCS line can say, one symbol at a time. */
#ifndef FETTLE_SRC_DATAPORT_DEX_RX_H
#define FETTLE_SRC_DATAPORT_DEX_RX_H

#include "link.h"

enum dex_symbol {
	DEX_S_ENQ,
	DEX_S_EOT,
	DEX_S_NAK,
	DEX_S_ACK0,
	DEX_S_ACK1,
	DEX_S_WACK,
	DEX_S_FRAME,   /* a good frame: text in k->rx, u.dex.text_n, soh, etx */
	DEX_S_BAD,     /* a frame or a burst that cannot be used and wants an answer */
	DEX_S_TIMEOUT, /* nothing came in time */
	DEX_S_ANY,
};

void dex_rx_byte(struct ft_link *k, uint8_t b, int64_t now_us);
bool dex_rx_in_frame(const struct ft_link *k);
void dex_rx_gap(struct ft_link *k, int64_t now_us);
void dex_rx_reset(struct ft_link *k);

/* The session's side: acts on a symbol. */
void dex_symbol(struct ft_link *k, enum dex_symbol symbol, int64_t now_us);

#endif
