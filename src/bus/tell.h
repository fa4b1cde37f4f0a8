/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_BUS_TELL_H
#define FETTLE_BUS_TELL_H

#include "meaning.h"

/* Fields of a command or of an answer without messages, in words and without a stop; false when there are none. */
bool bus_tell_fields(const struct meaning_step *s, struct ft_buf *out);

/* Option bits of a device in words, "none" where none is set. */
void bus_tell_options(enum ft_bus_device_kind k, uint32_t bits, struct ft_buf *out);

/* A message that is no event. */
void bus_tell_message(const struct meaning_step *s, const uint8_t *z, unsigned n, struct ft_buf *out);

#endif
