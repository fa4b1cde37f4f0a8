/* SPDX-License-Identifier: Apache-2.0 */
/* The supply of the bus and its harness, as a meter and a tape measure would find them. The chain is solved as the room
 * supply does it; what that room cannot see from a table (the supply's own resistance, a contact gone green) lies in
 * the runs of the chain that is solved here and not in the table that a fitter would write of it.
 *
 * Every figure here is ours: chosen so that a sound machine carries all its devices with something to spare. */
#include <math.h>

#include "machine.h"

#include "fettle/csv.h"
#include "fettle/supply.h"

#define OPEN_V    36.0  /* of the supply with nothing drawn from it */
#define OWN_OHM   0.7   /* inside a supply that is not regulated */
#define TIRED_OHM 5.5   /* the same after its capacitor has dried out */
#define RATING_A  4.0   /* on its plate */
#define STRAND    0.05  /* more ohms than the ideal wire */
#define PLUG_OHM  0.015 /* two contacts that are in order */
#define WARM_C    35.0
#define FAR_M     12.0 /* fault supply-thin-wire: the way through a neighbouring machine and back */
#define FAR_AWG   28
#define HUNGRY_W  70.0 /* fault supply-collapses: what the unit draws at its peak, whatever the volts */
#define HUNGRY_M  9.0
#define HEATED_A  1.6 /* fault supply-second-reader: with the heater of an outdoor reader */
#define FOR_COINS_ALONE \
	1.6 /* a machine without a validator draws less: what goes wrong in it must be worse to be felt */
#define LEAST_V     20.0
#define LEAST_METER 0.1 /* below this a meter on its 200 V range shows nothing */

/* In their order along the harness. */
enum place { UNIT, VALIDATOR, CHANGER, READER, SECOND, PLACES };

static const struct {
	const char *word, *name, *kind;
	bool power;
	double load[FT_SUPPLY_CASES];
	double length_m;
	int awg;
} parts[PLACES] = {
	[UNIT] = { "unit", "telemetry unit", "unit", true, { 2.4, 5, 20 }, 1.5, 22 },
	[VALIDATOR] = { "validator", "bill validator", "validator", false, { 0.15, 0.2, 2.3 }, 0.6, 22 },
	[CHANGER] = { "changer", "coin changer", "changer", false, { 0.12, 0.18, 1.6 }, 0.5, 22 },
	[READER] = { "reader", "card reader", "reader", true, { 4, 5, 15 }, 1, 24 },
	[SECOND] = { "second-reader", "second reader", "reader", false, { HEATED_A, HEATED_A, HEATED_A }, 1, 24 },
};

/* What there is on this machine and how it is wired, by the faults that are in. */
struct harness {
	enum place place[PLACES];
	double length_m[PLACES];
	int awg[PLACES];
	struct ft_supply_device chain[PLACES + 1]; /* the first run is the supply's own resistance */
	size_t count;
	struct ft_supply_chain c;
};

static bool fitted(const struct ft_practice *p, enum place x)
{
	switch (x) {
	case VALIDATOR:
		return p->validator.serial[0];
	case CHANGER:
		return p->changer.serial[0];
	case READER:
		return p->reader.serial[0];
	case SECOND:
		return faulty(p, FAULT_SUPPLY_SECOND_READER);
	default:
		return true;
	}
}

static int place_of(struct ft_slice word)
{
	int x = 0;

	while (x < PLACES && !ft_slice_is(word, parts[x].word))
		x++;
	return x;
}

bool practice_supply_has(const struct ft_practice *p, struct ft_slice word, int64_t *ret)
{
	int x = place_of(word);

	*ret = x;
	return x < PLACES && fitted(p, (enum place)x);
}

/* A run of so many ohms: a metre of wire just thin enough, at 20 C. */
static void run_of(struct ft_supply_device *d, double ohm)
{
	d->length_m = 1;
	d->area_mm2 = ft_supply_loop_ohm(1, 20) / ohm;
	d->temperature_c = 20;
}

static void wire(const struct ft_practice *p, struct harness *h)
{
	const struct fault_state *f = p->faults;
	double worse = p->validator.serial[0] ? 1 : FOR_COINS_ALONE;

	*h = (struct harness){ 0 };
	run_of(&h->chain[0], f[FAULT_SUPPLY_TIRED].on ? TIRED_OHM * worse : OWN_OHM);
	for (int x = 0; x < PLACES; x++) {
		size_t n = h->count;
		struct ft_supply_device *d = &h->chain[n + 1];
		if (!fitted(p, (enum place)x))
			continue;
		h->place[n] = (enum place)x;
		h->length_m[n] = parts[x].length_m;
		h->awg[n] = parts[x].awg;
		d->power = parts[x].power;
		memcpy(d->load, parts[x].load, sizeof d->load);
		if (x == UNIT && f[FAULT_SUPPLY_COLLAPSES].on) {
			d->load[FT_SUPPLY_PEAK] = HUNGRY_W;
			h->length_m[n] = HUNGRY_M * worse;
			h->awg[n] = FAR_AWG;
		}
		if (x == UNIT && f[FAULT_SUPPLY_THIN_WIRE].on) {
			h->length_m[n] = FAR_M * worse;
			h->awg[n] = FAR_AWG;
		}
		run_of(d,
		       h->length_m[n] * ft_supply_loop_ohm(ft_supply_awg_area(h->awg[n]), WARM_C) * (1 + STRAND) + PLUG_OHM +
		           (f[FAULT_SUPPLY_CONTACT].on && f[FAULT_SUPPLY_CONTACT].a == x
		                ? (double)f[FAULT_SUPPLY_CONTACT].b / 1000
		                : 0));
		h->count++;
	}
	h->c = (struct ft_supply_chain){ .volts = OPEN_V, .rating_a = NAN, .devices = h->chain, .count = h->count + 1 };
}

/* Volts at the supply's terminals and behind each run; while something is sold, the device whose peak adds most draws
 * it. False: there is no state that lasts. */
static bool solve(struct harness *h, bool vend, double volts[PLACES + 1])
{
	double load[FT_SUPPLY_DEVICES_MAX], v[FT_SUPPLY_DEVICES_MAX], amperes, most = 0;
	size_t peaking = 0;

	for (size_t i = 1; i <= h->count; i++) {
		const struct ft_supply_device *d = &h->chain[i];
		double more = (d->load[FT_SUPPLY_PEAK] - d->load[FT_SUPPLY_CONTINUOUS]) / (d->power ? LEAST_V : 1);
		load[i] = d->load[vend ? FT_SUPPLY_CONTINUOUS : FT_SUPPLY_IDLE];
		if (more > most) {
			most = more;
			peaking = i;
		}
	}
	load[0] = 0;
	if (vend && peaking)
		load[peaking] = h->chain[peaking].load[FT_SUPPLY_PEAK];
	if (!ft_supply_solve(&h->c, load, -1, 0, v, &amperes))
		return false;
	for (size_t i = 0; i <= h->count; i++)
		volts[i] = round(v[i] * 100) / 100; /* what a meter shows */
	return true;
}

enum practice_meter practice_measure(const struct ft_practice *p, struct ft_slice at, bool vend, double *ret_volts,
                                     const char **ret_name)
{
	struct harness h;
	double volts[PLACES + 1] = { 0 };
	int x = place_of(at);
	size_t i = 0;

	wire(p, &h);
	*ret_name = ft_slice_is(at, "supply") ? "supply" : x < PLACES ? parts[x].name : NULL;
	if (!ft_slice_is(at, "supply")) {
		while (i < h.count && (int)h.place[i] != x)
			i++;
		if (i++ == h.count)
			return PRACTICE_METER_NOWHERE;
	}
	*ret_volts = 0;
	if (!p->powered)
		return PRACTICE_METER_SHOWS;
	if (!solve(&h, vend, volts))
		return PRACTICE_METER_JUMPS;
	*ret_volts = volts[i] < LEAST_METER ? 0 : volts[i];
	return PRACTICE_METER_SHOWS;
}

static void figure(struct ft_buf *b, double v, bool power)
{
	ft_buf_printf(b, ",%g %s", power ? v : v * 1000, power ? "W" : "mA");
}

void practice_supply_table(const struct ft_practice *p, struct ft_buf *b)
{
	struct harness h;
	double volts[PLACES + 1];
	bool lasts;

	wire(p, &h);
	lasts = solve(&h, true, volts) || solve(&h, false, volts); /* a bus that collapses is measured at rest */
	ft_buf_puts(b, "device,kind,volts,idle,continuous,peak,length,gauge,temperature,measured\r\n");
	ft_buf_puts(b, "bus supply,supply,");
	if (lasts)
		ft_buf_printf(b, "%.2f V", volts[0]);
	ft_buf_printf(b, ",,%g A,,,,,\r\n", RATING_A);
	for (size_t i = 0; i < h.count; i++) {
		const struct ft_supply_device *d = &h.chain[i + 1];
		ft_buf_printf(b, "%s,%s,%g V", parts[h.place[i]].name, parts[h.place[i]].kind, LEAST_V);
		for (int k = 0; k < FT_SUPPLY_CASES; k++)
			figure(b, d->load[k], d->power);
		ft_buf_printf(b, ",%g m,AWG %d,%g C,", h.length_m[i], h.awg[i], WARM_C);
		if (lasts)
			ft_buf_printf(b, "%.2f V", volts[i + 1]);
		ft_buf_puts(b, "\r\n");
	}
}
