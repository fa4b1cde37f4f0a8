/* SPDX-License-Identifier: Apache-2.0 */
/* Devices that carry no money of their own: who they are and whether they were reset. */
#include "meaning.h"

enum { GATEWAY_CONFIGURATION = 1, GATEWAY_IDENTITY = 6, OFFSET_SETUP = 1, OFFSET_CONTROL = 4, OFFSET_EXPANSION = 7 };
enum { CONTROL_DISABLE, CONTROL_ENABLE, SUB_FEATURES = 1, SECONDS_MOST = 255 };

static void gateway_command(struct meaning_step *s)
{
	if (s->offset == OFFSET_SETUP && s->data_count >= 1) {
		s->d->controller_level = s->data[0];
	} else if (s->offset == OFFSET_CONTROL && (s->sub == CONTROL_DISABLE || s->sub == CONTROL_ENABLE)) {
		s->d->enabled = s->sub == CONTROL_ENABLE;
		s->d->enabled_ever |= s->d->enabled;
	} else if (s->offset == OFFSET_EXPANSION && s->sub == SUB_FEATURES) {
		meaning_features(s);
	}
}

void meaning_others(struct meaning_step *s)
{
	const struct bus_device_row *row = bus_device_row(s->d->address);
	const uint8_t *z = s->answer;

	if (s->d->kind == FT_BUS_GATEWAY && s->accepted)
		gateway_command(s);
	if (!row) {
		meaning_unknown(s, s->x->command.bytes[0]);
		return;
	}
	if (!s->answer_count)
		return;
	if (s->offset == (unsigned)row->poll && row->was_reset >= 0 && z[0] == row->was_reset && s->answer_count == 1) {
		s->d->was_reset += !s->repeated;
		meaning_simple(s, FT_BUS_EV_WAS_RESET);
	} else if (s->d->kind == FT_BUS_GATEWAY && z[0] == GATEWAY_CONFIGURATION && s->answer_count >= 4) {
		s->d->setup.known = true;
		s->d->setup.level = z[1];
		s->d->setup.currency = MEANING_NONE16;
		s->d->setup.max_response_s = (uint8_t)(meaning_16(z + 2) < SECONDS_MOST ? meaning_16(z + 2) : SECONDS_MOST);
		meaning_simple(s, FT_BUS_EV_SETUP);
	} else if (s->d->kind == FT_BUS_GATEWAY && z[0] == GATEWAY_IDENTITY) {
		meaning_identity(s->d, z + 1, s->answer_count - 1);
		meaning_simple(s, FT_BUS_EV_IDENTITY);
	} else {
		meaning_unsaid(s, z, s->answer_count);
	}
}
