/* SPDX-License-Identifier: Apache-2.0 */
#include "bus_witness.h"

#include <stdio.h>
#include <string.h>

#define MS INT64_C(1000000)

static void wrong(struct witness *w, int64_t at_ns, const char *what, unsigned value)
{
	if (w->wrong[0])
		return;
	w->at_ns = at_ns;
	snprintf(w->wrong, sizeof w->wrong, "%s (%02X) at %lld us", what, value, (long long)(at_ns / 1000));
}

/* Scale, decimals and type credits of SETUP: every machine here keeps two decimals. */
static void setup(struct witness *w, bool coins, const uint8_t *d, size_t n)
{
	size_t head = coins ? 7 : 11;
	int64_t scale = coins ? d[3] : d[3] << 8 | d[4];

	if (coins)
		w->coin_scale = scale;
	if (n != (coins ? 23U : 27U))
		wrong(w, w->last_end_ns, "length of SETUP", (unsigned)n);
	for (size_t i = 0; i < 16 && head + i < n; i++)
		(coins ? w->coin_value : w->bill_value)[i] = d[head + i] == 0xFF ? -1 : d[head + i] * scale;
	if (d[coins ? 4 : 5] != 2)
		wrong(w, w->last_end_ns, "decimals", d[coins ? 4 : 5]);
}

static void sold(struct witness *w, bool card, unsigned item, int64_t price)
{
	if (w->sale_count < WITNESS_SALES)
		w->sales[w->sale_count++] = (struct witness_sale){ card, item, price };
}

static int64_t number(const uint8_t *d, size_t n)
{
	int64_t v = 0;

	while (n--)
		v = v << 8 | *d++;
	return v;
}

static void changer(struct witness *w, const uint8_t *c, const uint8_t *d, size_t n)
{
	switch (c[0] & 7) {
	case 1:
		setup(w, true, d, n);
		break;
	case 2:
		w->tube_reports++;
		if (n != 18)
			wrong(w, w->last_end_ns, "length of TUBE STATUS", (unsigned)n);
		break;
	case 3:
		if (!n)
			break; /* nothing to report */
		if (n == 2 && d[0] & 0x80) {
			w->by_hand += (d[0] >> 4 & 7) * w->coin_value[d[0] & 15];
		} else if (n == 2 && (d[0] & 0xC0) == 0x40) {
			if (w->coin_value[d[0] & 15] < 0)
				w->tokens++;
			else if (!w->coin_value[d[0] & 15])
				wrong(w, w->last_end_ns, "a coin of no type", d[0]);
			else if ((d[0] >> 4 & 3) < 2)
				w->coins_in += w->coin_value[d[0] & 15];
		} else if (n == 1 && d[0] == 0x0B) {
			w->was_reset[1] = true;
		} else if (n != 1 || d[0] > 0x02) {
			wrong(w, w->last_end_ns, "changer says", d[0]);
		}
		break;
	case 7: /* alternative payout: a sum is asked for, and told as it is paid */
		if (c[1] == 0x02)
			w->owed += c[2];
		if (c[1] == 0x04 && n)
			w->owed -= d[0];
		if (c[1] == 0x04 && n)
			w->paid_out += d[0] * w->coin_scale;
		if (c[1] == 0x04 && !n && w->owed)
			wrong(w, w->last_end_ns, "payout by value is over too soon", (unsigned)w->owed);
		break;
	case 5:
		w->paid_out += (c[1] >> 4) * w->coin_value[c[1] & 15];
		break;
	default:
		break;
	}
}

static void validator(struct witness *w, const uint8_t *c, const uint8_t *d, size_t n)
{
	if ((c[0] & 7) == 1)
		setup(w, false, d, n);
	if ((c[0] & 7) != 3 || !n)
		return;
	if ((d[0] & 0xF0) == 0x80)
		w->bills_in += w->bill_value[d[0] & 15];
	else if ((d[0] & 0xF0) == 0xA0)
		w->bills_back += w->bill_value[d[0] & 15];
	else if (d[0] == 0x06)
		w->was_reset[6] = true;
	else if ((d[0] & 0xF0) != 0x90 && d[0] != 0x0B)
		wrong(w, w->last_end_ns, "validator says", d[0]);
	if ((d[0] & 0x80) && !w->bill_value[d[0] & 15])
		wrong(w, w->last_end_ns, "a bill of no type", d[0]);
}

static void vend(struct witness *w, const uint8_t *c, size_t n)
{
	size_t m = w->wide ? 4 : 2;

	switch (c[1]) {
	case 0x00:
		if (n != 4 + m || !w->session)
			wrong(w, w->last_end_ns, "VEND REQUEST out of place or of wrong length", (unsigned)n);
		w->asked_price = (unsigned)number(c + 2, m);
		w->asked_item = (unsigned)number(c + 2 + m, 2);
		break;
	case 0x02:
		if (number(c + 2, 2) != w->asked_item)
			wrong(w, w->last_end_ns, "VEND SUCCESS of another item", c[3]);
		sold(w, true, w->asked_item, w->asked_price * w->reader_scale);
		break;
	case 0x03:
		w->refunds++;
		break;
	case 0x04:
		if (!w->session)
			wrong(w, w->last_end_ns, "SESSION COMPLETE without a session", 0);
		break;
	case 0x05:
		if (n != (w->wide ? 10U : 6U) || w->session)
			wrong(w, w->last_end_ns, "CASH SALE out of place or of wrong length", (unsigned)n);
		sold(w, false, (unsigned)number(c + 2 + m, 2), number(c + 2, m) * w->reader_scale);
		break;
	default:
		wrong(w, w->last_end_ns, "VEND", c[1]);
		break;
	}
}

static void reader_says(struct witness *w, const uint8_t *d, size_t n)
{
	size_t session = w->wide ? 17 : w->reader_level > 1 ? 10 : 3;

	switch (d[0]) {
	case 0x00:
		w->wide = w->enabled = w->session = false;
		break;
	case 0x01:
		w->reader_level = d[1];
		w->reader_scale = d[4];
		if (n != 8 || d[5] != 2)
			wrong(w, w->last_end_ns, "reader configuration", d[5]);
		break;
	case 0x03:
		if (n != session || !w->enabled || w->session)
			wrong(w, w->last_end_ns, "BEGIN SESSION out of place or of wrong length", (unsigned)n);
		w->session = true;
		w->sessions++;
		break;
	case 0x05:
		if (n != (w->wide ? 5U : 3U) || number(d + 1, n - 1) != w->asked_price)
			wrong(w, w->last_end_ns, "VEND APPROVED of another price", (unsigned)n);
		break;
	case 0x06:
		w->denials++;
		break;
	case 0x07:
		w->session = false;
		break;
	case 0x04:
	case 0x09:
	case 0x0D:
		break;
	default:
		wrong(w, w->last_end_ns, "the reader says", d[0]);
		break;
	}
}

static void reader(struct witness *w, const uint8_t *c, size_t cn, const uint8_t *d, size_t n)
{
	if ((c[0] & 7) == 3)
		vend(w, c, cn);
	if ((c[0] & 7) == 4 && c[1] < 2)
		w->enabled = c[1];
	if ((c[0] & 7) == 5)
		w->topped += number(c + 2, w->wide ? 4 : 2) * w->reader_scale;
	if ((c[0] & 7) == 7 && c[1] == 4)
		w->wide = c[5] & 2;
	if (n)
		reader_says(w, d, n);
}

static bool block(struct witness *w, const struct ft_bus_word *words, size_t n, bool answer, uint8_t *to)
{
	unsigned sum = 0;

	for (size_t i = 0; i < n; i++) {
		int64_t gap = i ? words[i].start_ns - words[i - 1].end_ns : 0;
		to[i] = words[i].byte;
		if (words[i].kind != FT_BUS_WORD)
			wrong(w, words[i].start_ns, "a framing error", words[i].byte);
		if (words[i].mode != (answer ? i + 1 == n : i == 0))
			wrong(w, words[i].start_ns, "mode bit", words[i].byte);
		if (gap < 0 || gap > MS)
			wrong(w, words[i].start_ns, "gap inside a block", (unsigned)i);
		if (i + 1 < n)
			sum += words[i].byte;
	}
	if (n > FT_BUS_BLOCK_MAX)
		wrong(w, words[0].start_ns, "a block too long", (unsigned)n);
	if (n > 1 && (sum & 0xFF) != words[n - 1].byte)
		wrong(w, words[0].start_ns, "check byte", words[n - 1].byte);
	return n > 1;
}

/* A whole exchange lies there: is it good, and what does it say? */
static void judge(struct witness *w)
{
	uint8_t c[WITNESS_WORDS], d[WITNESS_WORDS];
	unsigned address;
	size_t n = w->answer_n;

	if (!w->command_n)
		return;
	w->exchanges++;
	if (!block(w, w->command, w->command_n, false, c))
		wrong(w, w->command[0].start_ns, "a command without a check byte", c[0]);
	address = c[0] >> 3;
	block(w, w->answer, n, true, d);
	if (!n) {
		w->silent++;
		if (c[0] & 7)
			wrong(w, w->command[0].start_ns, "no answer", c[0]);
		return;
	}
	if (n > 1 && !w->closed)
		wrong(w, w->last_end_ns, "data not acknowledged", d[0]);
	if (n == 1 && d[0] != 0)
		wrong(w, w->last_end_ns, "a lone byte that is no ACK", d[0]);
	if (w->asked_ns[address] >= 0) {
		int64_t period = w->command[0].start_ns - w->asked_ns[address];
		if (period < 25 * MS || period > 200 * MS)
			wrong(w, w->command[0].start_ns, "time between two commands to one device", c[0]);
	}
	w->asked_ns[address] = w->command[0].start_ns;
	n -= n > 1; /* the check byte */
	n = w->answer_n == 1 ? 0 : n;
	if (address == 1)
		changer(w, c, d, n);
	else if (address == 6)
		validator(w, c, d, n);
	else if (address == 2 || address == 12)
		reader(w, c, w->command_n - 1, d, n);
}

static void controller_word(struct witness *w, const struct ft_bus_word *word)
{
	int64_t gap = word->start_ns - w->last_end_ns;

	if (word->mode) {
		judge(w);
		if (word->start_ns < w->break_end_ns + 200 * MS && w->breaks)
			wrong(w, word->start_ns, "a command too soon after a bus reset", word->byte);
		w->command[0] = *word;
		w->command_n = 1;
		w->answer_n = 0;
		w->closed = false;
	} else if (w->answer_n > 1 && !w->closed) {
		if (word->byte || gap < 0 || gap > 5 * MS)
			wrong(w, word->start_ns, "closing byte", word->byte);
		w->closed = true;
	} else if (!w->answer_n && w->command_n && w->command_n < WITNESS_WORDS) {
		w->command[w->command_n++] = *word;
	} else {
		wrong(w, word->start_ns, "a byte of the controller that belongs to nothing", word->byte);
	}
}

static void peripheral_word(struct witness *w, const struct ft_bus_word *word)
{
	int64_t gap = word->start_ns - w->last_end_ns;

	if (!w->command_n || w->closed || w->answer_n == WITNESS_WORDS)
		wrong(w, word->start_ns, "a byte of a peripheral that belongs to nothing", word->byte);
	else if (!w->answer_n && (gap <= 0 || gap > 5 * MS))
		wrong(w, word->start_ns, "answer time", word->byte);
	if (w->answer_n < WITNESS_WORDS)
		w->answer[w->answer_n++] = *word;
}

void witness_begins(struct witness *w)
{
	*w = (struct witness){ .reader_scale = 1 };
	memset(w->asked_ns, 0xFF, sizeof w->asked_ns);
}

void witness_word(void *witness, const struct ft_bus_word *word)
{
	struct witness *w = witness;

	w->words++;
	if (word->start_ns < w->last_end_ns)
		wrong(w, word->start_ns, "a word begins before the last one is over", word->byte);
	if (word->kind == FT_BUS_BREAK) {
		judge(w);
		w->command_n = w->answer_n = 0;
		w->breaks++;
		w->break_end_ns = word->end_ns;
		memset(w->asked_ns, 0xFF, sizeof w->asked_ns);
		if (word->end_ns - word->start_ns < 100 * MS)
			wrong(w, word->start_ns, "a bus reset too short", 0);
	} else if (word->line == FT_BUS_CONTROLLER) {
		controller_word(w, word);
	} else {
		peripheral_word(w, word);
	}
	w->last_end_ns = word->end_ns;
}

void witness_ends(struct witness *w)
{
	judge(w);
	w->command_n = 0;
}
