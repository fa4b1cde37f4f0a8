/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of this room tell one another. */
#ifndef SIGNAL_ROOM_H
#define SIGNAL_ROOM_H

#include "fettle/signal.h"

/* The sample beside `k` that is the RSSI of the same moment as its RSRP, or the other way round; NULL none. */
const struct ft_signal_sample *signal_partner(const struct ft_signal_log *log, size_t k);

/* Findings of what the figures of LTE say of one another. */
void signal_tell_figures(const struct ft_signal_log *log, const struct ft_signal_result *r, struct ft_where where,
                         struct ft_arena *a, struct ft_findings *f);

#endif
