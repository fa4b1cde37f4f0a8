/* SPDX-License-Identifier: Apache-2.0 */
#include "ring.h"

#include <pthread.h>
#include <stdlib.h>

enum { TRAYS_A_HAND = 4 }; /* ours: nobody waits for the slowest */

enum state { FREE, FULL, WORKED_ON, READY };

struct hand {
	struct cli_ring *ring;
	int number;
	pthread_t thread;
	bool running;
};

struct cli_ring {
	struct cli_ring_use use;
	int jobs, hand_count;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	bool closing;
	char *trays;
	enum state *states;
	size_t count, filling, next_work, next_take; /* the last three count on without end */
	struct hand *hands;
};

static void *tray_at(const struct cli_ring *r, size_t i)
{
	return r->trays + i % r->count * r->use.tray_size;
}

static enum state *state_at(const struct cli_ring *r, size_t i)
{
	return &r->states[i % r->count];
}

static void *work(void *argument)
{
	struct hand *me = argument;
	struct cli_ring *r = me->ring;

	pthread_mutex_lock(&r->lock);
	for (;;) {
		size_t i = r->next_work;
		if (*state_at(r, i) == FULL) {
			*state_at(r, i) = WORKED_ON;
			r->next_work++;
			pthread_mutex_unlock(&r->lock);
			r->use.work(r->use.to, me->number, tray_at(r, i));
			pthread_mutex_lock(&r->lock);
			*state_at(r, i) = READY;
			pthread_cond_broadcast(&r->changed);
		} else if (r->closing) {
			break;
		} else {
			pthread_cond_wait(&r->changed, &r->lock);
		}
	}
	pthread_mutex_unlock(&r->lock);
	return NULL;
}

struct cli_ring *cli_ring_new(int jobs, const struct cli_ring_use *use)
{
	struct cli_ring *r = calloc(1, sizeof *r);

	if (!r)
		return NULL;
	r->use = *use;
	r->jobs = jobs < 1 ? 1 : jobs;
	r->count = r->jobs == 1 ? 1 : (size_t)r->jobs * TRAYS_A_HAND;
	r->trays = calloc(r->count, use->tray_size);
	r->states = calloc(r->count, sizeof *r->states);
	r->hands = calloc((size_t)r->jobs, sizeof *r->hands);
	pthread_mutex_init(&r->lock, NULL);
	pthread_cond_init(&r->changed, NULL);
	if (!r->trays || !r->states || !r->hands) {
		cli_ring_free(r);
		return NULL;
	}
	r->hand_count = r->jobs == 1 ? 0 : r->jobs;
	for (int i = 0; i < r->hand_count; i++) {
		r->hands[i].ring = r;
		r->hands[i].number = i;
		r->hands[i].running = pthread_create(&r->hands[i].thread, NULL, work, &r->hands[i]) == 0;
	}
	if (r->hand_count && !r->hands[0].running)
		r->jobs = 1;
	return r;
}

void *cli_ring_tray(struct cli_ring *r)
{
	return tray_at(r, r->filling);
}

/* The oldest tray, back to whoever fills; with the lock held, which it lets go meanwhile: nobody else touches one that
 * is ready. Waits when it is not. */
static void take_oldest(struct cli_ring *r)
{
	size_t i = r->next_take;

	if (*state_at(r, i) != READY) {
		pthread_cond_wait(&r->changed, &r->lock);
		return;
	}
	pthread_mutex_unlock(&r->lock);
	r->use.take(r->use.to, tray_at(r, i));
	pthread_mutex_lock(&r->lock);
	*state_at(r, i) = FREE;
	r->next_take++;
}

void cli_ring_pass(struct cli_ring *r)
{
	if (r->jobs == 1) {
		r->use.work(r->use.to, 0, tray_at(r, 0));
		r->use.take(r->use.to, tray_at(r, 0));
		return;
	}
	pthread_mutex_lock(&r->lock);
	*state_at(r, r->filling++) = FULL;
	pthread_cond_broadcast(&r->changed);
	while (*state_at(r, r->filling) != FREE)
		take_oldest(r);
	pthread_mutex_unlock(&r->lock);
}

void cli_ring_drain(struct cli_ring *r)
{
	pthread_mutex_lock(&r->lock);
	while (r->next_take < r->filling)
		take_oldest(r);
	pthread_mutex_unlock(&r->lock);
}

void cli_ring_free(struct cli_ring *r)
{
	if (!r)
		return;
	pthread_mutex_lock(&r->lock);
	r->closing = true;
	pthread_cond_broadcast(&r->changed);
	pthread_mutex_unlock(&r->lock);
	for (int i = 0; i < r->hand_count; i++)
		if (r->hands[i].running)
			pthread_join(r->hands[i].thread, NULL);
	for (size_t i = 0; r->trays && i < r->count; i++)
		r->use.done(tray_at(r, i));
	pthread_mutex_destroy(&r->lock);
	pthread_cond_destroy(&r->changed);
	free(r->trays);
	free(r->states);
	free(r->hands);
	free(r);
}
