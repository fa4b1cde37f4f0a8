/* SPDX-License-Identifier: Apache-2.0 */
/* Traffic as rows of hexadecimal, read by the whole room, and what came of it as text. */
#ifndef FETTLE_TESTS_BUS_SCENE_H
#define FETTLE_TESTS_BUS_SCENE_H

#include "bus_rows.h"

struct scene {
	struct ft_arena a;
	struct ft_findings f;
	struct ft_bus *b;
	const struct ft_bus_report *r;
	int64_t at_ns;
	struct ft_buf told; /* a line an exchange */
	unsigned events[FT_BUS_EVENT_KINDS], repeated;
};

void scene_begin(struct scene *s);
void scene_feed(struct scene *s, const struct ft_bus_word *w, size_t n);
void scene_row(struct scene *s, const char *controller, const char *peripheral, const char *closing);

/* A row with check bytes and mode bits put in. `answer`: "" silence, "ack", "nak", bytes, or "!" and bytes whose check
 * byte is wrong ("!ack": an acknowledgement that came damaged). */
void scene_say(struct scene *s, const char *command, const char *answer, const char *closing);

/* Setups of the worked machine, so that money has a scale: changer, validator, reader (level 3, 16-bit money). */
void scene_setups(struct scene *s);

/* A lone byte follows, so that the last silence is known to be one. */
void scene_end(struct scene *s);
void scene_done(struct scene *s);

/* "paid out -4.00, tube 0.50": every row of money. "card 1.50 item 12 sold": every sale. */
void scene_money(const struct scene *s, char *to, size_t room);
void scene_sales(const struct scene *s, char *to, size_t room);

#endif
