/* SPDX-License-Identifier: Apache-2.0 */
/* Bytes of a DDCMP line to messages: hunts for the next 05 or 81 whose header check is good. */
#include "ddcmp_rx.h"

enum { GARBAGE_FEW = 3 }; /* ours: so many bytes that fit nothing were a message once */

static void drop(struct ft_link *k, unsigned n)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (n > d->head_n)
		n = d->head_n;
	d->garbage += n;
	k->stats.noise_bytes += n;
	d->head_n -= n;
	memmove(d->head, d->head + n, d->head_n);
}

static bool opens(uint8_t b)
{
	return b == DDCMP_CONTROL || b == DDCMP_DATA_HEAD;
}

static void header(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t head[DDCMP_HEAD];

	if (ft_crc16(0, d->head, DDCMP_HEAD) != 0) { /* over its own check bytes a good header gives 0 */
		do
			drop(k, 1);
		while (d->head_n && !opens(d->head[0]));
		return;
	}
	d->garbage = 0;
	if (d->head[0] == DDCMP_DATA_HEAD) {
		d->data_n = 0;
		d->data_want = (d->head[1] | (d->head[2] & 0x3FU) << 8) + 2;
		return;
	}
	memcpy(head, d->head, sizeof head);
	d->head_n = 0;
	ddcmp_on_control(k, head, now_us);
}

static void data(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t head[DDCMP_HEAD];
	unsigned n = d->data_want;

	if (d->data_n < sizeof k->rx)
		k->rx[d->data_n] = b;
	if (++d->data_n < d->data_want)
		return;
	memcpy(head, d->head, sizeof head);
	d->data_want = 0;
	d->head_n = 0;
	if (n > sizeof k->rx) {
		ddcmp_on_damage(k, head, DDCMP_TOO_LONG, now_us);
	} else if (ft_crc16(0, k->rx, n) != 0) {
		k->stats.noise_bytes += n;
		ddcmp_on_damage(k, head, DDCMP_BAD_DATA, now_us);
	} else {
		ddcmp_on_data(k, head, k->rx, n - 2, now_us);
	}
}

void ddcmp_rx_byte(struct ft_link *k, uint8_t b, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;

	if (d->data_want) {
		data(k, b, now_us);
		return;
	}
	if (!d->head_n)
		d->frame_us = now_us;
	d->head[d->head_n++] = b;
	if (!opens(d->head[0]))
		drop(k, 1);
	else if (d->head_n == DDCMP_HEAD)
		header(k, now_us);
}

bool ddcmp_rx_in_frame(const struct ft_link *k)
{
	const struct ddcmp *d = &k->u.ddcmp;

	return d->data_want || d->head_n || d->garbage >= GARBAGE_FEW;
}

void ddcmp_rx_gap(struct ft_link *k, int64_t now_us)
{
	struct ddcmp *d = &k->u.ddcmp;
	uint8_t head[DDCMP_HEAD];
	bool in_data = d->data_want > 0;
	bool much;

	memcpy(head, d->head, sizeof head);
	if (in_data)
		k->stats.noise_bytes += d->data_n;
	else
		drop(k, d->head_n);
	much = d->garbage >= GARBAGE_FEW;
	d->data_want = 0;
	d->head_n = 0;
	d->garbage = 0;
	if (in_data || much)
		ddcmp_on_damage(k, in_data ? head : NULL, in_data ? DDCMP_BAD_DATA : DDCMP_BAD_HEAD, now_us);
}
