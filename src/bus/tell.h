/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_BUS_TELL_H
#define FETTLE_BUS_TELL_H

#include "meaning.h"

/* Fields that are no event, in words and without a stop; false when there are none. */
bool bus_tell_fields(const struct meaning_step *s, struct ft_buf *out);

#endif
