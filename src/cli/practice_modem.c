/* SPDX-License-Identifier: Apache-2.0 */
#include "practice_modem.h"

static size_t feed(void *engine, const uint8_t *p, size_t n, int64_t now_us)
{
	return ft_practice_modem_feed(engine, p, n, now_us);
}

static const uint8_t *out(const void *engine, size_t *ret_n)
{
	return ft_practice_modem_out(engine, ret_n);
}

static void sent(void *engine, size_t n, int64_t gone_us)
{
	(void)gone_us;
	ft_practice_modem_sent(engine, n);
}

static int64_t due(const void *engine)
{
	return ft_practice_modem_due(engine);
}

static void tick(void *engine, int64_t now_us)
{
	ft_practice_modem_tick(engine, now_us);
}

static const struct ft_port_engine kind = { feed, out, sent, due, tick };

enum ft_status practice_modem_serve(struct practice_modem_port *m, struct ft_practice *p, uint64_t seed,
                                    const char *link_name, struct ft_error *e)
{
	struct ft_pty_settings pty = { .link_name = link_name, .paced = true, .faults.seed = seed };

	m->p = p;
	pty.baud = ft_practice_modem(p).baud;
	if (ft_port_serve(&pty, &m->port, e) != FT_OK)
		return e->status;
	m->talk = (struct ft_port_talk){ .port = m->port, .kind = &kind, .engine = p };
	practice_modem_manners(m);
	return FT_OK;
}

enum ft_status practice_modem_step(struct practice_modem_port *m, int64_t now_us, int64_t *due_us, struct ft_error *e)
{
	int64_t next_us = FT_NEVER;
	enum ft_status s = ft_port_talk(&m->talk, now_us, &next_us, e);

	if (next_us < *due_us)
		*due_us = next_us;
	return s;
}

void practice_modem_manners(struct practice_modem_port *m)
{
	struct ft_practice_modem now = ft_practice_modem(m->p);

	ft_port_wire(m->port)->faults.dead = now.dead;
	ft_port_rate(m->port, now.baud, NULL);
}
