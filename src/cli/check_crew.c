/* SPDX-License-Identifier: Apache-2.0 */
/* A tray holds some inputs and then their results; results are printed in the order of the inputs. */
#include "check.h"
#include "ring.h"

#include <stdlib.h>
#include <string.h>

enum { TRAY_INPUTS = 64, TRAY_BYTES = 512 * 1024 }; /* ours: enough work that handing over costs nothing */

struct item {
	size_t path;     /* offset into names */
	size_t bytes, n; /* into data; with has_bytes */
	bool has_bytes;
	int error; /* not 0: `bytes` is the offset of a sentence in names */
};

struct tray {
	struct item items[TRAY_INPUTS];
	int count;
	struct ft_buf names, data, out;
	struct check_tally tally;
};

struct check_crew {
	struct cli *cli;
	struct cli_ring *ring;
	struct check_hand *hands;
	int jobs;
	struct check_tally tally;
	bool failed;
};

static void work_tray(void *to, int hand, void *tray)
{
	struct check_crew *w = to;
	struct check_hand *h = &w->hands[hand];
	struct tray *t = tray;

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

static void print_tray(void *to, void *tray)
{
	struct check_crew *w = to;
	struct tray *t = tray;

	check_tally_add(&w->tally, &t->tally);
	if (!w->failed && !cli_flush(w->cli, &t->out))
		w->failed = true;
	ft_buf_clear(&t->out);
	ft_buf_clear(&t->names);
	ft_buf_clear(&t->data);
	t->count = 0;
}

static void end_tray(void *tray)
{
	struct tray *t = tray;

	ft_buf_done(&t->names);
	ft_buf_done(&t->data);
	ft_buf_done(&t->out);
}

static void free_crew(struct check_crew *w)
{
	cli_ring_free(w->ring);
	for (int i = 0; w->hands && i < w->jobs; i++)
		check_hand_done(&w->hands[i]);
	free(w->hands);
	free(w);
}

struct check_crew *check_crew_new(struct cli *c, int jobs, bool details)
{
	struct check_crew *w = calloc(1, sizeof *w);
	ft_crc16_fn *crc16 = ft_crc16_fastest();

	if (!w)
		return NULL;
	w->cli = c;
	w->jobs = jobs;
	w->hands = calloc((size_t)jobs, sizeof *w->hands);
	for (int i = 0; w->hands && i < jobs; i++)
		check_hand_init(&w->hands[i], c, details, crc16);
	if (w->hands)
		w->ring = cli_ring_new(jobs, &(struct cli_ring_use){ sizeof(struct tray), work_tray, print_tray, end_tray, w });
	if (!w->ring) {
		free_crew(w);
		return NULL;
	}
	return w;
}

static struct tray *tray_of(struct check_crew *w)
{
	return cli_ring_tray(w->ring);
}

static struct item *next_item(struct check_crew *w, const char *path)
{
	struct tray *t = tray_of(w);
	struct item *x;

	if (t->count == TRAY_INPUTS || t->data.n > TRAY_BYTES) {
		cli_ring_pass(w->ring);
		t = tray_of(w);
	}
	x = &t->items[t->count++];
	*x = (struct item){ .path = t->names.n };
	ft_buf_put(&t->names, path, strlen(path) + 1);
	return x;
}

static bool still_well(struct check_crew *w)
{
	const struct tray *t = tray_of(w);

	if (t->names.status != FT_OK || t->data.status != FT_OK) {
		ft_fail_memory(&w->cli->error, "the audits");
		w->failed = true;
	}
	return !w->failed;
}

bool check_crew_give(struct check_crew *w, const char *path, struct ft_slice bytes)
{
	struct item *x = next_item(w, path);
	struct tray *t = tray_of(w);

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
	struct tray *t = tray_of(w);

	x->error = code;
	x->bytes = t->names.n;
	ft_buf_put(&t->names, sentence, strlen(sentence) + 1);
	return still_well(w);
}

bool check_crew_done(struct check_crew *w, struct check_tally *ret)
{
	bool ok;

	if (tray_of(w)->count)
		cli_ring_pass(w->ring);
	cli_ring_drain(w->ring);
	*ret = w->tally;
	ok = !w->failed;
	free_crew(w);
	return ok;
}
