/* SPDX-License-Identifier: Apache-2.0 */
/* A log of temperatures as a drawing. */
#ifndef FETTLE_COLD_PICTURE_H
#define FETTLE_COLD_PICTURE_H

#include "fettle/buf.h"
#include "fettle/cold.h"

struct ft_cold_picture {
	const char *title; /* what is drawn */
	const char *about; /* the verdict in a sentence */
	const struct ft_cold_log *log;
	const struct ft_cold_result *result;
	int offset_minutes; /* of the times written */
};

/* An SVG: the readings in ink, the limit dashed, the alarm dotted, marks of the door as arrows below, and the
 * pull-down by itself with its fitted curve and the band it lies in. The same picture gives the same bytes. Fails
 * without memory only. */
enum ft_status ft_cold_svg(const struct ft_cold_picture *p, struct ft_arena *a, struct ft_buf *out, struct ft_error *e);

#endif
