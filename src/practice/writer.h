/* SPDX-License-Identifier: Apache-2.0 */
/* One audit being written: what it says and where it goes. */
#ifndef FETTLE_PRACTICE_WRITER_H
#define FETTLE_PRACTICE_WRITER_H

#include "machine.h"

struct writer {
	struct ft_practice *p;
	const struct meters *m; /* since initialisation */
	struct meters r;        /* since the last reset */
	struct ft_slice reader;
	struct ft_buf *out;
	int segments; /* from ST on */
};

/* "PA2*275*41250" and the line end; counts the segment. */
void put(struct writer *w, const char *format, ...) __attribute__((format(printf, 2, 3)));

enum { DATE_ROOM = 12 };
/* The date or time of machine time `at_s` in the dialect's form; all zeros when it is not known. */
const char *put_date(const struct writer *w, int64_t at_s, bool known, char to[DATE_ROOM]);
const char *put_time(const struct writer *w, int64_t at_s, bool known, char to[DATE_ROOM]);

#endif
