/* SPDX-License-Identifier: Apache-2.0 */
/* Will the supply of the bus carry one more peripheral? The harness is a chain: what a device draws flows through every
 * run before it, out and back, so loads of constant current and of constant power are solved together.
 *
 * Sources: wire by ASTM B258 (diameters) and IEC 60028 (copper, 1/58 ohm mm2/m at 20 C, 0.393 % a kelvin); limits
 * of supply and currents of peripherals by MDB/ICP, from memory where data/supply-*.csv says so. */
#ifndef FETTLE_SUPPLY_H
#define FETTLE_SUPPLY_H

#include "fettle/finding.h"

enum ft_supply_case { FT_SUPPLY_IDLE, FT_SUPPLY_CONTINUOUS, FT_SUPPLY_PEAK, FT_SUPPLY_CASES };

const char *ft_supply_case_word(enum ft_supply_case c); /* idle continuous peak */

struct ft_supply_device {
	const char *name;
	bool power;                   /* constant power: the figures are watts; else amperes */
	double load[FT_SUPPLY_CASES]; /* of this device alone; peak is the whole draw while it lasts */
	double least_v;
	/* The run from the one before it in the chain, or from the supply. */
	double length_m, area_mm2, temperature_c;
	unsigned line;       /* in its table, 0 none */
	bool assumed;        /* some figure is a default from memory */
	bool unmeasured_run; /* nobody said how long the run is: it was reckoned without copper */
	bool unit;           /* the one that is to be fitted */
	double measured_v;   /* at its plug, under load; 0: nobody measured there */
};

struct ft_supply_chain {
	double volts;                     /* at the supply's terminals, at its lowest */
	double rating_a;                  /* NAN: not known */
	bool measured;                    /* volts were measured under load; else they are a figure less ten per cent */
	double transformer_v;             /* alternating volts that they were reckoned from; 0: they were not */
	double strand;                    /* 0.05: more ohms than the ideal wire */
	double contact_ohm;               /* of each run: its plugs, out and back */
	struct ft_supply_device *devices; /* in their order from the supply */
	size_t count;
	bool as_it_is; /* no changes are tried: of ten thousand machines one asks only whether each carries it */
};

enum {
	FT_SUPPLY_DEVICES_MAX = 32,
	FT_SUPPLY_EXTRA_MOST_MA = 20000, /* ours: more than any such supply gives; margins are not looked for beyond it */
};

/* Ohms of one metre, out and back, of copper of this area at this temperature; without strand and contacts. */
double ft_supply_loop_ohm(double area_mm2, double temperature_c);
double ft_supply_awg_area(int awg); /* mm2; AWG -3 (0000) to 40 */

/* Direct volts that a full-wave bridge makes of alternating ones (rms) without load: the peak less two diodes. */
double ft_supply_bridge(double rms_v);

/* Farads from which `amperes` are drawn for `seconds` while the volts fall by `drop_v` > 0: C = I t / dV. */
double ft_supply_hold_up(double amperes, double seconds, double drop_v);

/* Volts at each device when device i draws load[i] (amperes, or watts where power); false when there is no solution:
 * the bus collapses. Exact to 1 uV. `extra_a` more are drawn at device `at` (-1: nowhere). */
bool ft_supply_solve(const struct ft_supply_chain *c, const double *load, int at, double extra_a, double *ret_volts,
                     double *ret_amperes);

struct ft_supply_change {
	const char *what; /* "half the run to the reader" */
	double margin_v, margin_ma;
	bool collapses;
};

enum { FT_SUPPLY_CHANGES_MAX = 4 };

struct ft_supply_result {
	double volts[FT_SUPPLY_CASES][FT_SUPPLY_DEVICES_MAX]; /* peak: the lowest each one sees, whoever peaks */
	bool collapses[FT_SUPPLY_CASES];
	double amperes[FT_SUPPLY_CASES]; /* from the supply; peak: the most */
	int peaking;                     /* the device whose peak is worst; -1 none */
	int weakest;                     /* the device with the least margin of volts; -1 none */
	double margin_v;                 /* there; NAN when it collapses */
	/* More that may be drawn at the unit's place, all the time, before something fails; negative: so much less would
	 * do; NAN: not even without the unit would it do. */
	double margin_ma;
	bool measured_less; /* a meter at the plugs says less than the table, or less than a device needs */
	bool rating_fails;  /* the rating, not the volts, is what ends it */
	int place;          /* the device where margin_ma holds */
	struct ft_supply_change changes[FT_SUPPLY_CHANGES_MAX];
	size_t change_count;
	enum ft_verdict verdict;
};

/* Findings supply.* go into `f`. `name` is what they call the table. Fails without memory only. */
enum ft_status ft_supply_judge(const struct ft_supply_chain *c, const char *name, struct ft_arena *a,
                               struct ft_findings *f, struct ft_supply_result *ret, struct ft_error *e);

/* A chain as a table: device, kind, volts, idle, continuous, peak, length, gauge, temperature, and measured where
 * somebody put a meter to the plug of a device; figures with units.
 * The row of kind `supply` holds the source: its volts, and its rating under `continuous`. Missing figures of a known
 * kind are defaults, and said to be. FT_E_INPUT with line and column. */
enum ft_status ft_supply_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_supply_chain *ret,
                              struct ft_error *e);

/* The same table as an example to fill in. */
void ft_supply_template(struct ft_buf *out);

#endif
