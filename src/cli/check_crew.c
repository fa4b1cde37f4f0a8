/* SPDX-License-Identifier: Apache-2.0 */
/* Inputs go round in a ring of trays; a tray holds some inputs and then their results, and trays are
 * printed in the order they were filled. Memory is the ring, however many inputs there are. */
#include "check.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { TRAY_INPUTS = 64, TRAY_BYTES = 512 * 1024 }; /* ours: enough work that handing over costs nothing */

enum tray_state { TRAY_FREE, TRAY_FULL, TRAY_TAKEN, TRAY_READY };

struct item {
	size_t path;     /* offset into names */
	size_t bytes, n; /* into data; with has_bytes */
	bool has_bytes;
	int error; /* not 0: `bytes` is the offset of a sentence in names */
};

struct tray {
	enum tray_state state;
	struct item items[TRAY_INPUTS];
	int count;
	struct ft_buf names, data, out;
	struct check_tally tally;
};

struct worker {
	struct check_crew *crew;
	struct check_hand hand;
	pthread_t thread;
	bool running;
};

struct check_crew {
	struct cli *cli;
	int jobs;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	bool closing;
	struct tray *trays;
	size_t tray_count, filling, next_take, next_print;
	struct worker *workers;
	struct check_tally tally;
	bool failed;
};

static void work_tray(struct check_hand *h, struct tray *t)
{
	ft_buf_clear(&h->out);
	h->tally = (struct check_tally){ 0 };
	for (int i = 0; i < t->count; i++) {
		const struct item *x = &t->items[i];
		const char *path = t->names.p + x->path;
		if (x->error)
			check_unreadable(h, path, t->names.p + x->bytes, x->error);
		else if (x->has_bytes)
			check_bytes(h, path, (struct ft_slice){ t->data.p + x->bytes, x->n });
		else
			check_file(h, path);
	}
	/* the hand's output and the tray's change places: nothing is copied */
	struct ft_buf mine = h->out;
	h->out = t->out;
	t->out = mine;
	t->tally = h->tally;
}

static void *work(void *argument)
{
	struct worker *me = argument;
	struct check_crew *w = me->crew;

	pthread_mutex_lock(&w->lock);
	for (;;) {
		struct tray *t = &w->trays[w->next_take % w->tray_count];
		if (t->state == TRAY_FULL) {
			t->state = TRAY_TAKEN;
			w->next_take++;
			pthread_mutex_unlock(&w->lock);
			work_tray(&me->hand, t);
			pthread_mutex_lock(&w->lock);
			t->state = TRAY_READY;
			pthread_cond_broadcast(&w->changed);
		} else if (w->closing) {
			break;
		} else {
			pthread_cond_wait(&w->changed, &w->lock);
		}
	}
	pthread_mutex_unlock(&w->lock);
	return NULL;
}

/* Prints a tray that is ready and frees it. */
static void print_tray(struct check_crew *w, struct tray *t)
{
	check_tally_add(&w->tally, &t->tally);
	if (!w->failed && !cli_flush(w->cli, &t->out))
		w->failed = true;
	ft_buf_clear(&t->out);
	ft_buf_clear(&t->names);
	ft_buf_clear(&t->data);
	t->count = 0;
	t->state = TRAY_FREE;
	w->next_print++;
}

/* Hands the tray under way over, and takes the next free one, printing what stands before it. */
static void pass_on(struct check_crew *w)
{
	struct tray *t = &w->trays[w->filling % w->tray_count];

	if (w->jobs == 1) {
		work_tray(&w->workers[0].hand, t);
		print_tray(w, t);
		return;
	}
	pthread_mutex_lock(&w->lock);
	t->state = TRAY_FULL;
	w->filling++;
	pthread_cond_broadcast(&w->changed);
	t = &w->trays[w->filling % w->tray_count];
	while (t->state != TRAY_FREE) {
		struct tray *oldest = &w->trays[w->next_print % w->tray_count];
		if (oldest->state == TRAY_READY) {
			pthread_mutex_unlock(&w->lock); /* nobody else touches a tray that is ready */
			print_tray(w, oldest);
			pthread_mutex_lock(&w->lock);
		} else {
			pthread_cond_wait(&w->changed, &w->lock);
		}
	}
	pthread_mutex_unlock(&w->lock);
}

struct check_crew *check_crew_new(struct cli *c, int jobs, bool details)
{
	struct check_crew *w = calloc(1, sizeof *w);
	ft_crc16_fn *crc16 = ft_crc16_fastest();

	if (!w)
		return NULL;
	w->cli = c;
	w->jobs = jobs;
	w->tray_count = jobs == 1 ? 1 : (size_t)jobs * 4;
	w->trays = calloc(w->tray_count, sizeof *w->trays);
	w->workers = calloc((size_t)jobs, sizeof *w->workers);
	pthread_mutex_init(&w->lock, NULL);
	pthread_cond_init(&w->changed, NULL);
	if (!w->trays || !w->workers) {
		free(w->trays);
		free(w->workers);
		free(w);
		return NULL;
	}
	for (int i = 0; i < jobs; i++) {
		w->workers[i].crew = w;
		check_hand_init(&w->workers[i].hand, c, details, crc16);
		if (jobs > 1)
			w->workers[i].running = pthread_create(&w->workers[i].thread, NULL, work, &w->workers[i]) == 0;
	}
	if (jobs > 1 && !w->workers[0].running)
		w->jobs = 1; /* no thread to be had: one hand does it all */
	return w;
}

static struct item *next_item(struct check_crew *w, const char *path)
{
	struct tray *t = &w->trays[w->filling % w->tray_count];
	struct item *x;

	if (t->count == TRAY_INPUTS || t->data.n > TRAY_BYTES) {
		pass_on(w);
		t = &w->trays[w->filling % w->tray_count];
	}
	x = &t->items[t->count++];
	*x = (struct item){ .path = t->names.n };
	ft_buf_put(&t->names, path, strlen(path) + 1);
	return x;
}

static bool still_well(struct check_crew *w)
{
	struct tray *t = &w->trays[w->filling % w->tray_count];

	if (t->names.status != FT_OK || t->data.status != FT_OK) {
		ft_fail_memory(&w->cli->error, "the audits");
		w->failed = true;
	}
	return !w->failed;
}

bool check_crew_give(struct check_crew *w, const char *path, struct ft_slice bytes)
{
	struct item *x = next_item(w, path);
	struct tray *t = &w->trays[w->filling % w->tray_count];

	if (bytes.p) {
		x->has_bytes = true;
		x->bytes = t->data.n;
		x->n = bytes.n;
		ft_buf_slice(&t->data, bytes);
	}
	return still_well(w);
}

bool check_crew_give_error(struct check_crew *w, const char *path, const char *sentence, int code)
{
	struct item *x = next_item(w, path);
	struct tray *t = &w->trays[w->filling % w->tray_count];

	x->error = code;
	x->bytes = t->names.n;
	ft_buf_put(&t->names, sentence, strlen(sentence) + 1);
	return still_well(w);
}

bool check_crew_done(struct check_crew *w, struct check_tally *ret)
{
	bool ok;

	if (w->trays[w->filling % w->tray_count].count)
		pass_on(w);
	pthread_mutex_lock(&w->lock);
	while (w->jobs > 1 && w->next_print < w->filling) {
		struct tray *oldest = &w->trays[w->next_print % w->tray_count];
		if (oldest->state == TRAY_READY)
			print_tray(w, oldest);
		else
			pthread_cond_wait(&w->changed, &w->lock);
	}
	w->closing = true;
	pthread_cond_broadcast(&w->changed);
	pthread_mutex_unlock(&w->lock);
	for (int i = 0; i < w->jobs; i++) {
		if (w->workers[i].running)
			pthread_join(w->workers[i].thread, NULL);
		check_hand_done(&w->workers[i].hand);
	}
	for (size_t i = 0; i < w->tray_count; i++) {
		ft_buf_done(&w->trays[i].names);
		ft_buf_done(&w->trays[i].data);
		ft_buf_done(&w->trays[i].out);
	}
	pthread_mutex_destroy(&w->lock);
	pthread_cond_destroy(&w->changed);
	*ret = w->tally;
	ok = !w->failed;
	free(w->trays);
	free(w->workers);
	free(w);
	return ok;
}
