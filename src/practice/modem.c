/* SPDX-License-Identifier: Apache-2.0 */
/* The unit's modem: a command port with an antenna that can be moved, in a net made of a few figures. Nothing of it
 * touches the machine's books or its dice.
 *
 * The cell and the way to it are the worked example of docs/signal.md (every input invented): 43 dBm over 1200
 * subcarriers, 17 dBi less 2 dB of feeder, 1.5 km of free space at 1800 MHz, 20 dB of clutter. What cabinet and fading
 * take is ours. Levels are turned into indices here, on their own: what reads them is checked against it. */
#include <math.h>

#include "machine.h"

#include "fettle/time.h"

#define CELL_DBM   (12.21 + 17 - 2) /* of one subcarrier, at the mast's antenna */
#define CLUTTER_DB 20.0
#define MHZ        1800.0
#define KM         1.5
#define CLOSED_DB  15.0 /* the worked example's cabinet */
#define METAL_DB   30.0 /* fault weak-inside: a front all of metal; planning figures are 20 to 30, from memory */
#define OPEN_DB    5.0
#define TOP_DB     2.0
#define FADE_DB    2.5     /* of one reading to the next ... */
#define FADE_KEEPS 0.6     /* ... of which so much stays */
#define NOISE_DBM  (-97.5) /* of 10 MHz with a receiver of 7 dB; RSSI holds it too */
#define BLOCKS     50.0    /* resource blocks of 10 MHz */
#define ANSWER_US  INT64_C(20000)

enum place { INSIDE, TOP, OUTSIDE, PLACES };
enum { LINE_ROOM = 64, OUT_ROOM = 1024, USUAL_BAUD = 115200 };

struct practice_modem {
	enum place antenna;
	uint64_t dice;
	double fade;
	bool begun, echo, verbose;
	int errors; /* +CMEE */
	int states; /* +CEREG=n */
	unsigned readings;
	char line[LINE_ROOM];
	size_t line_n;
	uint8_t out[OUT_ROOM], later[OUT_ROOM]; /* echoes at once, answers after a while */
	size_t out_n, out_at, later_n;
	int64_t ready_us;
};

static bool on(const struct ft_practice *p, enum fault_id f)
{
	return p->faults[f].on;
}

/* ---- the net ---- */

static double bell(struct practice_modem *m)
{
	double sum = 0;

	for (int i = 0; i < 12; i++) /* twelve even dice are nearly a normal one */
		sum += (double)practice_chance(&m->dice, 1000000) / 1e6;
	return sum - 6;
}

/* RSRP at the modem now, in dBm. */
static double level(const struct ft_practice *p, struct practice_modem *m)
{
	double space = 32.4 + 20 * log10(MHZ) + 20 * log10(KM), wall = 0; /* ITU-R P.525 */

	if (m->antenna == TOP)
		wall = TOP_DB;
	else if (m->antenna == INSIDE)
		wall = p->door_open ? OPEN_DB : on(p, FAULT_WEAK_INSIDE) ? METAL_DB : CLOSED_DB;
	m->fade = FADE_KEEPS * m->fade + sqrt(1 - FADE_KEEPS * FADE_KEEPS) * FADE_DB * bell(m);
	return CELL_DBM - space - CLUTTER_DB - wall + m->fade;
}

/* RSSI of all subcarriers at equal power, and the noise. */
static double total(double rsrp)
{
	return 10 * log10(pow(10, (rsrp + 10 * log10(12 * BLOCKS)) / 10) + pow(10, NOISE_DBM / 10));
}

/* Index 0 lies below `first`, the last is open upwards (3GPP TS 27.007, TS 36.133). */
static int index_of(double value, double first, double step, int last)
{
	double n = value < first ? 0 : floor((value - first) / step) + 1;

	return n > last ? last : (int)n;
}

/* ---- answers ---- */

static void put(uint8_t *to, size_t *n, const char *text)
{
	for (; *text && *n < OUT_ROOM; text++)
		to[(*n)++] = (uint8_t)*text;
}

static void answer(struct practice_modem *m, const char *text)
{
	put(m->later, &m->later_n, "\r\n");
	put(m->later, &m->later_n, text);
	put(m->later, &m->later_n, "\r\n");
}

static void final(struct practice_modem *m, bool good, int code)
{
	char text[32];

	if (!m->verbose) { /* as a number and a CR alone (V.250) */
		put(m->later, &m->later_n, good ? "0\r" : "4\r");
		return;
	}
	if (!good && code && m->errors) {
		snprintf(text, sizeof text, "+CME ERROR: %d", code);
		answer(m, text);
	} else {
		answer(m, good ? "OK" : "ERROR");
	}
}

static void say_state(const struct ft_practice *p, struct practice_modem *m, const char *name, bool lte)
{
	int stat = on(p, FAULT_MODEM_NO_SIM) ? 0 : on(p, FAULT_MODEM_NOT_REGISTERED) ? 2 : lte ? 1 : 0;
	char text[64];

	if (m->states == 2 && lte && stat == 1)
		snprintf(text, sizeof text, "%s: 2,1,\"1A2B\",\"01C3D405\",7", name);
	else
		snprintf(text, sizeof text, "%s: %d,%d", name, lte ? m->states : 0, stat);
	answer(m, text);
}

/* Two readings of the same moment would differ; a modem measures once. */
static void say_level(const struct ft_practice *p, struct practice_modem *m, bool cesq)
{
	double rsrp = level(p, m), rssi = total(rsrp), rsrq = 10 * log10(BLOCKS) + rsrp - rssi;
	char text[64];

	m->readings++;
	if (practice_chance(&m->dice, 5) == 0) /* now and then it has something to say by itself */
		answer(m,
		       on(p, FAULT_MODEM_NO_SIM)               ? "+CEREG: 0"
		           : on(p, FAULT_MODEM_NOT_REGISTERED) ? "+CEREG: 2"
		                                               : "+CEREG: 1");
	if (on(p, FAULT_MODEM_NO_LEVEL))
		snprintf(text, sizeof text, cesq ? "+CESQ: 99,99,255,255,255,255" : "+CSQ: 99,99");
	else if (cesq)
		snprintf(text, sizeof text, "+CESQ: 99,99,255,255,%d,%d", index_of(rsrq, -19.5, 0.5, 34),
		         index_of(rsrp, -140, 1, 97));
	else
		snprintf(text, sizeof text, "+CSQ: %d,99", rssi < -111 ? 0 : index_of(rssi, -111, 2, 31));
	answer(m, text);
}

static bool is(struct ft_slice s, const char *word)
{
	return ft_slice_eq_nocase(s, ft_slice_of(word));
}

/* An extended command, behind "AT". Returns 0, or the number of the error (27.007 9.2, from memory). */
static int extended(const struct ft_practice *p, struct practice_modem *m, struct ft_slice s)
{
	static const char *const nets[] = { "+CEREG", "+CGREG", "+CREG" };

	if (is(s, "+CSQ")) {
		say_level(p, m, false);
	} else if (is(s, "+CESQ") && !on(p, FAULT_MODEM_NO_CESQ)) {
		say_level(p, m, true);
	} else if (is(s, "+CPIN?")) {
		if (on(p, FAULT_MODEM_NO_SIM))
			return 10;
		answer(m, "+CPIN: READY");
	} else if (s.n == 7 && is((struct ft_slice){ s.p, 6 }, "+CMEE=") && s.p[6] >= '0' && s.p[6] <= '2') {
		m->errors = s.p[6] - '0';
	} else if (s.n == 8 && is((struct ft_slice){ s.p, 7 }, "+CEREG=") && s.p[7] >= '0' && s.p[7] <= '2') {
		m->states = s.p[7] - '0';
	} else {
		for (int i = 0; i < 3; i++)
			if (s.n == strlen(nets[i]) + 1 && s.p[s.n - 1] == '?' && is((struct ft_slice){ s.p, s.n - 1 }, nets[i])) {
				say_state(p, m, nets[i], i == 0);
				return 0;
			}
		return 4;
	}
	return 0;
}

static int basic(const struct ft_practice *p, struct practice_modem *m, struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i += 2) {
		char c = (char)(s.p[i] & ~0x20);
		bool set = i + 1 < s.n && s.p[i + 1] == '1';
		if (i + 1 >= s.n || (!set && s.p[i + 1] != '0') || (c != 'E' && c != 'V'))
			return 4;
		if (c == 'E' && !set && on(p, FAULT_MODEM_ECHO_STAYS))
			return 4;
		*(c == 'E' ? &m->echo : &m->verbose) = set;
	}
	return 0;
}

static void command(const struct ft_practice *p, struct practice_modem *m, int64_t now_us)
{
	struct ft_slice s = ft_slice_trim((struct ft_slice){ m->line, m->line_n });
	int code;

	m->line_n = 0;
	if (on(p, FAULT_MODEM_STOPS) && m->readings >= p->faults[FAULT_MODEM_STOPS].a)
		return;
	while (s.n > 1 && !is((struct ft_slice){ s.p, 2 }, "AT")) { /* what came before is noise */
		s.p++;
		s.n--;
	}
	if (s.n < 2)
		return;
	s = (struct ft_slice){ s.p + 2, s.n - 2 };
	code = s.n && s.p[0] == '+' ? extended(p, m, s) : basic(p, m, s);
	final(m, code == 0, code);
	m->ready_us = now_us + ANSWER_US;
	if (on(p, FAULT_MODEM_SLOW) && (is(s, "+CESQ") || is(s, "+CSQ")))
		m->ready_us += p->faults[FAULT_MODEM_SLOW].a * 1000;
}

/* ---- as the port sees it ---- */

static struct practice_modem *modem(struct ft_practice *p)
{
	struct practice_modem *m = p->modem;

	if (m && !m->begun) {
		m->begun = m->echo = m->verbose = true;
		m->dice = p->seed ^ UINT64_C(0x6d6f64656d); /* its own, whatever the machine throws */
	}
	return m;
}

bool practice_modem_new(struct ft_practice *p)
{
	p->modem = FT_NEW(p->arena, struct practice_modem);
	return p->modem != NULL;
}

size_t ft_practice_modem_feed(struct ft_practice *p, const uint8_t *bytes, size_t n, int64_t now_us)
{
	struct practice_modem *m = modem(p);

	for (size_t i = 0; i < n; i++) {
		if (m->echo && m->out_n < OUT_ROOM)
			m->out[m->out_n++] = bytes[i];
		if (bytes[i] == '\r')
			command(p, m, now_us);
		else if (bytes[i] >= ' ' && m->line_n < LINE_ROOM)
			m->line[m->line_n++] = (char)bytes[i];
	}
	return n;
}

const uint8_t *ft_practice_modem_out(const struct ft_practice *p, size_t *ret_n)
{
	*ret_n = p->modem->out_n - p->modem->out_at;
	return *ret_n ? p->modem->out + p->modem->out_at : NULL;
}

void ft_practice_modem_sent(struct ft_practice *p, size_t n)
{
	struct practice_modem *m = p->modem;

	m->out_at += n <= m->out_n - m->out_at ? n : m->out_n - m->out_at;
	if (m->out_at == m->out_n)
		m->out_at = m->out_n = 0;
}

int64_t ft_practice_modem_due(const struct ft_practice *p)
{
	return p->modem->later_n ? p->modem->ready_us : FT_NEVER;
}

void ft_practice_modem_tick(struct ft_practice *p, int64_t now_us)
{
	struct practice_modem *m = p->modem;
	size_t n = m->later_n < OUT_ROOM - m->out_n ? m->later_n : OUT_ROOM - m->out_n;

	if (!m->later_n || now_us < m->ready_us)
		return;
	memcpy(m->out + m->out_n, m->later, n);
	m->out_n += n;
	m->later_n = 0;
}

void practice_modem_restarts(struct ft_practice *p)
{
	struct practice_modem *m = modem(p);

	m->echo = m->verbose = true; /* what it was told is forgotten; its antenna stays where it is */
	m->errors = m->states = 0;
	m->readings = 0;
	m->line_n = m->later_n = m->out_n = m->out_at = 0;
}

struct ft_practice_modem ft_practice_modem(const struct ft_practice *p)
{
	return (struct ft_practice_modem){
		.baud = on(p, FAULT_MODEM_RATE) ? (int)p->faults[FAULT_MODEM_RATE].a : USUAL_BAUD,
		.dead = !p->powered || on(p, FAULT_MODEM_DEAD),
	};
}

const char *practice_antenna(struct ft_practice *p, struct ft_slice word)
{
	static const char *const names[PLACES] = { "inside", "top", "outside" };
	static const char *const told[PLACES] = { "The antenna lies in the cabinet.", "The antenna sits on top.",
		                                      "The antenna is outside, in the free." };

	for (int i = 0; i < PLACES; i++)
		if (ft_slice_is(word, names[i])) {
			modem(p)->antenna = (enum place)i;
			return told[i];
		}
	return NULL;
}
