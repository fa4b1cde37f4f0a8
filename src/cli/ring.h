/* SPDX-License-Identifier: Apache-2.0 */
/* Trays of work that go round: one fills them, several hands work on them, and they come back in the order they were
 * filled. Memory is the ring, however much goes round. */
#ifndef FETTLE_CLI_RING_H
#define FETTLE_CLI_RING_H

#include <stdbool.h>
#include <stddef.h>

struct cli_ring;

struct cli_ring_use {
	size_t tray_size;                             /* of the caller's tray, which begins as zeros */
	void (*work)(void *to, int hand, void *tray); /* in a thread of its own; hands count from 0 */
	void (*take)(void *to, void *tray);           /* in the thread that fills; leaves it empty */
	void (*done)(void *tray);                     /* lets go of what a tray holds */
	void *to;
};

/* With `jobs` hands; with one, or where no thread is to be had, the thread that fills works itself. NULL: no memory. */
struct cli_ring *cli_ring_new(int jobs, const struct cli_ring_use *use);

/* The tray to fill now. */
void *cli_ring_tray(struct cli_ring *r);

/* Hands that tray over and makes a free one the next, taking back what stands before it. */
void cli_ring_pass(struct cli_ring *r);

/* Until everything handed over was taken back. */
void cli_ring_drain(struct cli_ring *r);

/* Ends the hands; what was not taken back is not. Takes NULL. */
void cli_ring_free(struct cli_ring *r);

#endif
