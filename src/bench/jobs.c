/* SPDX-License-Identifier: Apache-2.0 */
#include "bench.h"

const struct route routes_jobs[] = { { NULL } };

void jobs_wait(struct bench *b, struct waits *w)
{
	(void)b;
	(void)w;
}

void jobs_turn(struct bench *b, int64_t now_us)
{
	(void)b;
	(void)now_us;
}

void jobs_done(struct bench *b)
{
	(void)b;
}
