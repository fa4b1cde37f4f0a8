/* SPDX-License-Identifier: Apache-2.0 */
/* Two engines joined by a for-loop: a line with a rate, damage by seed, and time that costs nothing. */
#ifndef FETTLE_TESTS_WIRE_H
#define FETTLE_TESTS_WIRE_H

#include "fettle/buf.h"
#include "fettle/dataport.h"

struct wire_end {
	struct ft_link *k;
	uint8_t in[4096]; /* bytes on their way to this end, with their times of arrival */
	int64_t at[4096];
	size_t in_n;
	bool done, failed;
	unsigned speaks;
	int baud;
};

struct wire {
	struct wire_end end[2]; /* 0 carrier, 1 machine */
	struct ft_buf got;
	struct ft_slice file;
	uint32_t seed;
	uint32_t damage_ppm;    /* of bytes changed, lost, doubled or joined by noise */
	bool echo;              /* the carrier's adapter gives its bytes back */
	uint32_t echo_lost_ppm; /* whole transmissions without echo */
	bool rates_matter;      /* bytes sent at another rate than the receiver's arrive as rubbish */
	bool deaf_at_9600;      /* nothing passes at 9600 baud */
	unsigned hold_at_block, abort_at_block, dead_at_block; /* 0: never */
	int64_t hold_us, held_until_us;
	unsigned blocks;
	bool held, dead;
	int64_t limit_us;
	int64_t now_us;
	unsigned steps;
};

void wire_init(struct wire *w, enum ft_link_kind carrier, enum ft_link_kind machine, struct ft_slice file);
void wire_done(struct wire *w);
/* Settings may be changed between init and start. */
extern struct ft_link_settings wire_settings[2];
void wire_start(struct wire *w, enum ft_link_kind carrier, enum ft_link_kind machine);
/* Until both ended or the time is over. True when the carrier is done. */
bool wire_run(struct wire *w);
double wire_share(const struct wire *w);

#endif
