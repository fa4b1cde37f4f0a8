/* SPDX-License-Identifier: Apache-2.0 */
/* The cold in the cabinet: air, product and probe warm and cool towards each other, a thermostat runs the compressor, a
 * clock the defrosts. Nothing of it touches the machine's books or its dice.
 *
 * Every figure here is ours: chosen so that a sound cabinet holds 5 C with a probe of class 1 to spare. */
#include <math.h>

#include "machine.h"

#include "fettle/time.h"

#define STEP      10           /* s: of the model */
#define ROOM      23.0         /* C: around the machine */
#define GOODS     14.0         /* C: of what is loaded warm */
#define COLD_TAU  900.0        /* s: with the compressor on the air goes towards ... */
#define COLD_TO   (-9.0)       /* ... this, */
#define ICED_TO   9.0          /* or this while the evaporator is full of ice */
#define WARM_TAU  26000.0      /* s: towards the room through the walls */
#define AJAR_TAU  1500.0       /* s: through a gap of the door */
#define OPEN_TAU  300.0        /* s: through the open door */
#define GOODS_TAU 4000.0       /* s: air towards product */
#define LOAD_TAU  20000.0      /* s: product towards air */
#define HEATER    (1.3 / 1080) /* C a second: what the defrost puts into the air, over its time */
#define DEFROST   1080         /* s: it lasts */
#define EVERY     28800        /* s: between two of them */
#define ON_ABOVE  2.2          /* C: the thermostat */
#define OFF_BELOW 1.2
#define PROBE_TAU 60.0            /* s: the probe lags */
#define NOISE     0.04            /* C */
#define LONGEST   (366 * 86400LL) /* s: of a log; ours */

struct practice_cold {
	int64_t at_s;   /* the model stands here, machine time */
	int64_t born_s; /* the defrost clock began */
	double air, goods, probe;
	bool works, stuck;
	double stuck_at;
	uint64_t dice;
	int64_t step_s, next_s; /* the logger; step 0: none is in */
	size_t rows;
	struct ft_buf log;
};

static double noise(struct practice_cold *c)
{
	double sum = 0;

	for (int i = 0; i < 12; i++) /* twelve even dice are nearly a normal one */
		sum += (double)practice_chance(&c->dice, 1000000) / 1e6;
	return NOISE * (sum - 6);
}

static void model(struct ft_practice *p, struct practice_cold *c, double seconds)
{
	const struct fault_state *f = p->faults;
	bool defrost = p->powered && (c->at_s - c->born_s) % EVERY >= EVERY - DEFROST;
	double walls = p->door_open ? OPEN_TAU : f[FAULT_DOOR_AJAR].on ? AJAR_TAU : WARM_TAU, flow;

	if (c->air > ON_ABOVE)
		c->works = true;
	if (c->air < OFF_BELOW)
		c->works = false;
	flow = (ROOM - c->air) / walls + (c->goods - c->air) / GOODS_TAU;
	if (defrost)
		flow += HEATER;
	else if (c->works && p->powered && !f[FAULT_DEAD_COMPRESSOR].on)
		flow += ((f[FAULT_ICED_EVAPORATOR].on ? ICED_TO : COLD_TO) - c->air) / COLD_TAU;
	c->air += flow * seconds;
	c->goods += (c->air - c->goods) / LOAD_TAU * seconds;
	c->probe += (c->air - c->probe) * (1 - exp(-seconds / PROBE_TAU));
}

static void log_row(struct ft_practice *p, struct practice_cold *c, int64_t at_s)
{
	const struct fault_state *f = p->faults;
	double read = c->probe + noise(c) + (f[FAULT_PROBE_OFF].on ? (double)f[FAULT_PROBE_OFF].a / 10 : 0);
	char at[FT_TIME_TEXT];

	if (!f[FAULT_PROBE_STUCK].on)
		c->stuck = false;
	else if (!c->stuck) {
		c->stuck = true;
		c->stuck_at = read;
	}
	if (c->stuck)
		read = c->stuck_at;
	ft_time_text(at_s * FT_SECOND, 0, at);
	ft_buf_printf(&c->log, "%.19s,%.1f,%s\r\n", at, p->temperature_unit == 'F' ? read * 9 / 5 + 32 : read,
	              p->door_open ? "open" : "closed");
	c->rows++;
}

void practice_cold_lives(struct ft_practice *p)
{
	struct practice_cold *c = p->cold;

	if (!c)
		return;
	if (p->now_s < c->at_s) { /* its clock was put back: the logger has its own and goes on from here */
		c->born_s -= c->at_s - p->now_s;
		c->next_s -= c->at_s - p->now_s;
		c->at_s = p->now_s;
	}
	if (p->now_s - c->at_s > LONGEST) { /* or far ahead: nothing is told of that time */
		c->born_s += p->now_s - c->at_s;
		c->next_s += p->now_s - c->at_s;
		c->at_s = p->now_s;
	}
	while (c->at_s < p->now_s) {
		int64_t step = p->now_s - c->at_s < STEP ? p->now_s - c->at_s : STEP;
		if (c->step_s && c->next_s - c->at_s < step)
			step = c->next_s - c->at_s;
		model(p, c, (double)step);
		c->at_s += step;
		if (c->step_s && c->at_s >= c->next_s) {
			log_row(p, c, c->at_s);
			c->next_s += c->step_s;
		}
	}
}

void practice_cold_loads(struct ft_practice *p)
{
	if (p->cold) /* half of what is in is warm now */
		p->cold->goods = (p->cold->goods + GOODS) / 2;
}

const char *practice_log_start(struct ft_practice *p, int64_t step_s)
{
	struct practice_cold *c = p->cold;

	if (p->warm_tenths < INT32_MAX && p->temperature_unit == 'C' && p->temperature_tenths > 400)
		return "this machine heats and has no cabinet that must stay cold.";
	if (!c && !(c = p->cold = FT_NEW(p->arena, struct practice_cold)))
		return "there is no memory for a logger.";
	if (!c->at_s) {
		*c = (struct practice_cold){
			.at_s = p->now_s, .born_s = p->now_s, .air = 2, .goods = 2, .probe = 2, .dice = p->seed
		};
	}
	ft_buf_clear(&c->log);
	ft_buf_printf(&c->log, "time,temperature_%c,door\r\n", p->temperature_unit == 'F' ? 'f' : 'c');
	c->rows = 0;
	c->step_s = step_s;
	c->next_s = c->at_s;
	log_row(p, c, c->at_s);
	c->next_s += step_s;
	return NULL;
}

bool practice_log(const struct ft_practice *p, struct ft_slice *ret, size_t *ret_rows)
{
	if (!p->cold || !p->cold->step_s)
		return false;
	*ret = ft_buf_text(&p->cold->log);
	*ret_rows = p->cold->rows;
	return true;
}

void practice_cold_done(struct ft_practice *p)
{
	if (p->cold)
		ft_buf_done(&p->cold->log);
}
