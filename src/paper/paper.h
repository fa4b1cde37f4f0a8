/* SPDX-License-Identifier: Apache-2.0 */
/* Shared inside the paper room. */
#ifndef FETTLE_SRC_PAPER_H
#define FETTLE_SRC_PAPER_H

#include "fettle/paper.h"
#include "fettle/time.h"

#include <stdio.h>

#define PAPER_TIME_TEXT 48

/* As ft_time_text with the microseconds where there are any: what is read back must be the same time. */
char *paper_time(int64_t unix_us, int offset_minutes, char out[PAPER_TIME_TEXT]);

#endif
