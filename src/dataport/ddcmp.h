/* SPDX-License-Identifier: Apache-2.0 */
/* Between DDCMP's numbering (ddcmp.c) and what the messages say (ddcmp_talk.c). */
#ifndef FETTLE_SRC_DATAPORT_DDCMP_H
#define FETTLE_SRC_DATAPORT_DDCMP_H

#include "ddcmp_rx.h"

void ddcmp_ack(struct ft_link *k, int64_t now_us, int64_t wait_us);
/* The next numbered message, with an acknowledgement before it when `with_ack`. */
void ddcmp_send(struct ft_link *k, const uint8_t *p, size_t n, uint8_t flags, bool with_ack, int64_t now_us);

void ddcmp_who(struct ft_link *k, int64_t now_us);
void ddcmp_read_answer(struct ft_link *k, bool with_ack, int64_t now_us);
/* Our message was acknowledged. */
void ddcmp_acked(struct ft_link *k, int64_t now_us);
/* A new message of the peer. */
void ddcmp_talk(struct ft_link *k, uint8_t flags, const uint8_t *p, size_t n, int64_t now_us);
/* Nothing came for the whole wait although nothing of ours is open; false: that was not expected. */
bool ddcmp_quiet(struct ft_link *k, int64_t now_us);

#endif
