/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine's modem on a pseudo-terminal of its own. */
#ifndef FETTLE_CLI_PRACTICE_MODEM_H
#define FETTLE_CLI_PRACTICE_MODEM_H

#include "fettle/port.h"
#include "fettle/practice.h"

struct practice_modem_port {
	struct ft_practice *p;
	struct ft_port *port; /* NULL: not served */
	struct ft_port_talk talk;
};

/* `link_name` may be NULL. Its bytes take their time at any pace: so short a time that nobody waits, and rates that
 * differ garble. */
enum ft_status practice_modem_serve(struct practice_modem_port *m, struct ft_practice *p, uint64_t seed,
                                    const char *link_name, struct ft_error *e);
enum ft_status practice_modem_step(struct practice_modem_port *m, int64_t now_us, int64_t *due_us, struct ft_error *e);
/* Faults and power come and go. */
void practice_modem_manners(struct practice_modem_port *m);

#endif
