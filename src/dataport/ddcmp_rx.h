/* SPDX-License-Identifier: Apache-2.0 */
/* What a DDCMP line can say, one good message at a time (docs/dataport.md). */
#ifndef FETTLE_SRC_DATAPORT_DDCMP_RX_H
#define FETTLE_SRC_DATAPORT_DDCMP_RX_H

#include "link.h"

enum {
	DDCMP_CONTROL = 0x05,
	DDCMP_DATA_HEAD = 0x81, /* first bytes */
	DDCMP_ACK = 1,
	DDCMP_NAK = 2,
	DDCMP_REP = 3,
	DDCMP_STRT = 6,
	DDCMP_STACK = 7,
	DDCMP_SELECT = 0x80,
	DDCMP_QSYNC = 0x40,
	DDCMP_STATION = 1,
	DDCMP_HEAD = 8,
	/* reasons of a NAK, from the DDCMP specification 4.1 (from memory) */
	DDCMP_BAD_HEAD = 1,
	DDCMP_BAD_DATA = 2,
	DDCMP_TO_REP = 3,
	DDCMP_NO_BUFFER = 8,
	DDCMP_TOO_LONG = 16,
};

void ddcmp_rx_byte(struct ft_link *k, uint8_t b, int64_t now_us);
bool ddcmp_rx_in_frame(const struct ft_link *k);
void ddcmp_rx_gap(struct ft_link *k, int64_t now_us);

/* The session's side. `head` is the good header, `p` the good data. */
void ddcmp_on_control(struct ft_link *k, const uint8_t *head, int64_t now_us);
void ddcmp_on_data(struct ft_link *k, const uint8_t *head, const uint8_t *p, size_t n, int64_t now_us);
/* Something arrived damaged; `head` is its good header, or NULL. */
void ddcmp_on_damage(struct ft_link *k, const uint8_t *head, uint8_t reason, int64_t now_us);

#endif
