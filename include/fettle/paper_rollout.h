/* SPDX-License-Identifier: Apache-2.0 */
/* What a plan of visits leaves the house as: tables, calendars, a map's lines, sheets for the van. Bytes only. */
#ifndef FETTLE_PAPER_ROLLOUT_H
#define FETTLE_PAPER_ROLLOUT_H

#include "fettle/paper.h"
#include "fettle/rollout_fleet.h"

/* days.csv: a line a stop; ft_fleet_promises reads it back. */
void ft_rollout_days_csv(const struct ft_rollout *r, struct ft_buf *out);

/* load.csv: the van's packing list, a line a part of each filling. */
void ft_rollout_load_csv(const struct ft_rollout *r, struct ft_buf *out);

/* buy.csv: what is needed, on hand, to be bought and by when. */
void ft_rollout_buy_csv(const struct ft_rollout *r, struct ft_buf *out);

/* One technician's calendar (RFC 5545), an event a stop. Times float (form 1 of 3.3.5): they are the clock on the wall
 * where the machine stands. The UID hangs on the asset alone and SEQUENCE rises with `now_us`, so a visit that moves
 * within the calendar replaces itself; one that another technician makes now, or nobody, stands in it as cancelled. */
void ft_rollout_ical(const struct ft_rollout *r, int technician, int64_t now_us, struct ft_arena *a,
                     struct ft_buf *out);

/* GeoJSON (RFC 7946): a line a day, a point a stop and a home; what has no coordinates is left out. */
void ft_rollout_geojson(const struct ft_rollout *r, struct ft_buf *out);

/* The day sheets: a page (or more) a technician and day. `program` is "fettle 0.1.0" and the like. */
enum ft_status ft_rollout_pdf(const struct ft_rollout *r, const char *program, int64_t now_us, int now_offset,
                              enum ft_sheet sheet, struct ft_arena *a, struct ft_buf *out, int *ret_pages,
                              struct ft_error *e);

#endif
