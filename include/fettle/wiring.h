/* SPDX-License-Identifier: Apache-2.0 */
/* The wiring sheet: one page that says, for this machine and this unit, what goes where and in which order; and the
 * supply chain as a drawing of its own. Filling is pure: the same visit and catalogue give the same sheet. What nobody
 * has said is unknown and is drawn so, never guessed. */
#ifndef FETTLE_WIRING_H
#define FETTLE_WIRING_H

#include "fettle/catalogue.h"
#include "fettle/paper.h"
#include "fettle/supply.h"

/* ---- the supply chain ---- */

struct ft_chain_knot {
	const char *name;
	double length_m;               /* of the run before it; NAN: not measured */
	double area_mm2;               /* of its wire; NAN: not known */
	double volts[FT_SUPPLY_CASES]; /* NAN: not reckoned, or it collapses */
	double least_v;                /* that it needs; NAN: not known */
	bool unit;                     /* the one that is fitted */
	bool assumed;                  /* a figure of it is from memory */
};

struct ft_chain {
	const char *first;           /* what the harness begins at: "supply", "controller" */
	bool reckoned;               /* volts hold; else none were measured yet */
	double supply_v, rating_a;   /* NAN: not known */
	bool measured;               /* supply_v was measured under load */
	struct ft_chain_knot *knots; /* in their order along the harness */
	size_t count;
	int weakest; /* the knot with the least margin of volts; -1 none */
	bool collapses[FT_SUPPLY_CASES];
	double amperes[FT_SUPPLY_CASES];
	double margin_v, margin_ma; /* NAN: not known */
	int place;                  /* the knot where margin_ma holds; -1 */
	bool rating_fails;          /* the rating and not the volts ends it */
};

/* A judged chain as it is drawn. NULL without memory. */
struct ft_chain *ft_chain_of(const struct ft_supply_chain *c, const struct ft_supply_result *r, struct ft_arena *a);

/* An SVG of the harness as a line with knots, volts above, metres below. The same chain gives the same bytes.
 * FT_E_MEMORY, or FT_E_INTERNAL where the part that draws cannot be loaded. */
enum ft_status ft_chain_svg(const struct ft_chain *c, const char *title, const char *about, struct ft_arena *a,
                            struct ft_buf *out, struct ft_error *e);

/* ---- what the sheet says ---- */

/* Where a thing sits, seen from the front with the door open. */
enum ft_spot {
	FT_SPOT_UNKNOWN,
	FT_SPOT_ROOF, /* outside, on top */
	FT_SPOT_CABINET_TOP,
	FT_SPOT_CABINET_MIDDLE,
	FT_SPOT_CABINET_BOTTOM,
	FT_SPOT_DOOR_TOP,
	FT_SPOT_DOOR_MIDDLE,
	FT_SPOT_DOOR_BOTTOM,
	FT_SPOT_COUNT
};

const char *ft_spot_word(enum ft_spot s); /* "" roof cabinet-top ... door-bottom */
/* False for a word it does not know; the empty word is FT_SPOT_UNKNOWN. */
bool ft_spot_parse(struct ft_slice word, enum ft_spot *ret);

enum ft_thing_kind {
	FT_THING_CONTROLLER,
	FT_THING_UNIT,
	FT_THING_READER,
	FT_THING_CHANGER,
	FT_THING_VALIDATOR,
	FT_THING_PERIPHERAL, /* another one on the bus */
	FT_THING_AUDIT_PORT,
	FT_THING_SWITCH,
	FT_THING_PROBE,
	FT_THING_ANTENNA,
	FT_THINGS
};

struct ft_thing {
	enum ft_thing_kind kind;
	const char *name; /* "coin changer" */
	const char *note; /* a few words below the name; NULL */
	enum ft_spot spot;
	enum ft_tri there; /* unknown: "look first" */
};

enum ft_wire { FT_WIRE_BUS, FT_WIRE_AUDIT, FT_WIRE_SWITCH, FT_WIRE_PROBE, FT_WIRE_ANTENNA, FT_WIRES };

const char *ft_wire_title(enum ft_wire w); /* "bus harness" */

struct ft_wiring_run {
	enum ft_wire wire;
	int from, to;      /* things */
	int step;          /* number in the order of work; 0: it is there already */
	double length_m;   /* NAN: measure it */
	const char *gauge; /* "AWG 22", "RG-174"; NULL: not known */
};

struct ft_wiring_step {
	int number; /* from 1 */
	const char *text;
	int wire; /* enum ft_wire, or -1: no wire of its own */
};

struct ft_connector_pin {
	const char *pin, *function;
	int column, row; /* from 1 */
	const char *trust;
};

enum ft_face { FT_FACE_GRID, FT_FACE_JACK, FT_FACE_COAX, FT_FACE_TERMINALS, FT_FACE_NONE };

/* A connector's face, from data/connectors.csv and data/connector-pins.csv. */
struct ft_connector {
	const char *id, *title;
	enum ft_face face;
	int columns, rows;
	const char *seen; /* from where it is drawn, and what to watch */
	const char *trust, *source;
	const struct ft_connector_pin *pins;
	size_t pin_count;
};

bool ft_connector(const char *id, struct ft_connector *ret); /* false: there is none of that name */

enum {
	FT_WIRING_THINGS_MAX = 26,
	FT_WIRING_RUNS_MAX = 26,
	FT_WIRING_STEPS_MAX = 12,
	FT_WIRING_FACES_MAX = 5,
	FT_WIRING_CAUTIONS_MAX = 10,
	FT_WIRING_LINES_MAX = 4,
};

struct ft_wiring {
	/* Texts are NULL where nobody gave them. */
	const char *asset, *site, *visit, *technician, *machine, *unit;
	const char *date;       /* of the visit, YYYY-MM-DD */
	const char *drawn_from; /* which evidence and catalogue */
	bool surveyed;          /* a survey row of this asset was found */
	enum ft_front front;
	enum ft_hinge hinge; /* as seen from the front */
	enum ft_cabinet cabinet;
	struct ft_thing things[FT_WIRING_THINGS_MAX];
	size_t thing_count;
	struct ft_wiring_run runs[FT_WIRING_RUNS_MAX];
	size_t run_count;
	struct ft_wiring_step steps[FT_WIRING_STEPS_MAX];
	size_t step_count;
	const char *off_first; /* what is switched off before anything else */
	struct ft_connector faces[FT_WIRING_FACES_MAX];
	size_t face_count;
	const struct ft_chain *chain;            /* never NULL; may have no knots */
	const char *supply[FT_WIRING_LINES_MAX]; /* what is known of the supply, in sentences */
	const char *signal[FT_WIRING_LINES_MAX]; /* and of the radio path */
	size_t supply_count, signal_count;
	const struct ft_caution *cautions[FT_WIRING_CAUTIONS_MAX];
	size_t caution_count;
};

/* What the sheet of this visit says. Evidence of supply and signal must have its bytes; `c` may be NULL. The survey row
 * is the one of `c` whose asset is the visit's. Everything points into the arena, the visit or the catalogue. Fails
 * without memory only. */
enum ft_status ft_wiring_fill(const struct ft_visit *v, const struct ft_catalogue *c, struct ft_arena *a,
                              struct ft_wiring *ret, struct ft_error *e);

enum ft_wiring_format { FT_WIRING_SVG, FT_WIRING_PDF };

/* How the page came out. */
struct ft_wiring_drawn {
	size_t overlaps;     /* texts that stand on another text: 0, or the page is a fault of ours */
	const char *overlap; /* the first such pair; NULL */
	size_t cut;          /* texts that did not fit and end in an ellipsis */
};

/* One page. The same wiring gives the same bytes. FT_E_MEMORY, or FT_E_INTERNAL where the part that draws cannot be
 * loaded. `ret` may be NULL. */
enum ft_status ft_wiring_draw(const struct ft_wiring *w, enum ft_sheet sheet, enum ft_wiring_format format,
                              const char *program, struct ft_arena *a, struct ft_buf *out, struct ft_wiring_drawn *ret,
                              struct ft_error *e);

#endif
