/* SPDX-License-Identifier: Apache-2.0 */
/* Shared inside the paper room. */
#ifndef FETTLE_SRC_PAPER_H
#define FETTLE_SRC_PAPER_H

#include "fettle/paper.h"
#include "fettle/time.h"
#include "fettle/wiring.h"

#include <stdio.h>

#define PAPER_TIME_TEXT 48

/* As ft_time_text with the microseconds where there are any: what is read back must be the same time. */
char *paper_time(int64_t unix_us, int offset_minutes, char out[PAPER_TIME_TEXT]);

/* What the late-loaded module of sheets offers, as its one symbol `ft_sheets`. Raise the version when anything that
 * passes between changes, so that a stale module is refused and not run. */
enum { PAPER_SHEETS_VERSION = 6 };

struct ft_rollout;
struct ft_morning;

const char *morning_title(const struct ft_morning *m);

struct paper_sheets {
	int version;
	enum ft_status (*handover)(const struct ft_handover *h, const struct ft_seal_text *seal, enum ft_sheet sheet,
	                           struct ft_arena *a, struct ft_buf *out, int *ret_pages, struct ft_error *e);
	enum ft_status (*wiring)(const struct ft_wiring *w, enum ft_sheet sheet, enum ft_wiring_format format,
	                         const char *program, struct ft_arena *a, struct ft_buf *out, struct ft_wiring_drawn *ret,
	                         struct ft_error *e);
	enum ft_status (*chain)(const struct ft_chain *c, const char *title, const char *about, struct ft_arena *a,
	                        struct ft_buf *out, struct ft_error *e);
	enum ft_status (*days)(const struct ft_rollout *r, const char *program, int64_t now_us, int now_offset,
	                       enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out, int *ret_pages,
	                       struct ft_error *e);
	enum ft_status (*morning)(const struct ft_morning *m, enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out,
	                          int *ret_pages, struct ft_error *e);
};

extern const struct paper_sheets ft_sheets;

#endif
