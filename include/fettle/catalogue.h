/* SPDX-License-Identifier: Apache-2.0 */
/* Catalogues as people keep them in a spreadsheet: controller families, units to be fitted, parts, leads, technicians,
 * and the survey of the machines. Every field may be unknown (empty, "?", "unknown") and stays unknown:
 *   text      p == NULL            list   known == false      figure  NAN
 *   word      0 (..._UNKNOWN)      hour   -1                  money, date  FT_ABSENT
 * docs/survey.md has the columns. Pure: bytes in, structs in the arena out; texts point into the arena or the bytes. */
#ifndef FETTLE_CATALOGUE_H
#define FETTLE_CATALOGUE_H

#include <math.h>

#include "fettle/buf.h"
#include "fettle/csv.h"
#include "fettle/json.h"

/* ---- words ---- */

enum ft_tri { FT_TRI_UNKNOWN, FT_TRI_NO, FT_TRI_YES };
enum ft_audit_link { FT_AUDIT_LINK_UNKNOWN, FT_AUDIT_LINK_NONE, FT_AUDIT_LINK_DEX, FT_AUDIT_LINK_DDCMP };
enum ft_risk { FT_RISK_UNKNOWN, FT_RISK_NONE, FT_RISK_LOW, FT_RISK_MIDDLE, FT_RISK_HIGH };
enum ft_front { FT_FRONT_UNKNOWN, FT_FRONT_GLASS, FT_FRONT_METAL };
enum ft_cabinet { FT_CABINET_UNKNOWN, FT_CABINET_COLD, FT_CABINET_FROZEN, FT_CABINET_HOT, FT_CABINET_AMBIENT };
enum ft_hinge { FT_HINGE_UNKNOWN, FT_HINGE_LEFT, FT_HINGE_RIGHT };
enum ft_antenna_place { FT_ANTENNA_UNKNOWN, FT_ANTENNA_INSIDE, FT_ANTENNA_TOP, FT_ANTENNA_OUTSIDE };

/* What a part is for; what stands behind the colon in its column `for` ("harness:jack") is in `of`. */
enum ft_purpose {
	FT_PURPOSE_UNKNOWN,
	FT_PURPOSE_HARNESS,     /* audit lead; of: kind of the audit connector */
	FT_PURPOSE_TEE,         /* makes a free bus connector */
	FT_PURPOSE_DOOR_SWITCH, /* switch on its bracket where the machine has none */
	FT_PURPOSE_PROBE,       /* temperature; of: cabinet, or nothing */
	FT_PURPOSE_ADAPTER,     /* antenna plugs; of: "A>B" */
	FT_PURPOSE_ANTENNA,     /* of: inside, top or outside */
	FT_PURPOSE_MOUNTING,    /* of: unit, or glass or metal */
	FT_PURPOSE_CHIP,        /* of: family that it updates */
	FT_PURPOSE_SUPPLY,      /* heavier supply or relief of the bus */
	FT_PURPOSE_OTHER        /* ties, labels: goes to every machine when of is "every" */
};

/* "yes", "dex", "door-switch"; NULL for 0. The words that the tables write. */
const char *ft_tri_word(enum ft_tri v);
const char *ft_audit_link_word(enum ft_audit_link v);
const char *ft_risk_word(enum ft_risk v);
const char *ft_front_word(enum ft_front v);
const char *ft_cabinet_word(enum ft_cabinet v);
const char *ft_hinge_word(enum ft_hinge v);
const char *ft_antenna_place_word(enum ft_antenna_place v);
const char *ft_purpose_word(enum ft_purpose v);

struct ft_words {
	struct ft_slice *list;
	size_t count;
	bool known; /* "none" is known and has count 0 */
};

bool ft_words_hold(const struct ft_words *w, struct ft_slice word); /* whatever the case */

/* ---- rows; `line` is the 1-based line in the table, `raw` the row's own text with its line end ---- */

struct ft_family {
	struct ft_slice family;
	enum ft_audit_link link;
	struct ft_slice audit_from; /* revision from which on the link is served; unknown here: from the first on */
	struct ft_slice card_from;  /* revision from which on card sales over the bus are served */
	struct ft_slice connector;  /* usual kind of the audit connector */
	struct ft_slice settings;   /* to be set before it serves a long audit */
	double longest_bytes;       /* longest audit it serves whole */
	struct ft_slice quirk;      /* of long audits or segments, in words */
	struct ft_slice update;     /* how it is brought to a newer revision, in words; "none": there is no way */
	enum ft_risk risk;          /* of doing so */
	double update_minutes;
	struct ft_slice wipes; /* what an update wipes, in words; "none" */
	double bus_level;      /* 1, 2 or 3 */
	double bus_volts, bus_rating_a;
	double minutes; /* of fitting, beside what the unit and its parts take */
	unsigned line;
	struct ft_slice raw;
};

struct ft_unit {
	struct ft_slice unit;
	bool power;     /* loads are watts, else amperes */
	double load[3]; /* idle, continuous, peak */
	double least_v;
	double longest_bytes;  /* longest audit it takes */
	struct ft_words links; /* dex, ddcmp */
	struct ft_words bands;
	double least_dbm; /* level it needs */
	double mhz;       /* band at which leads are reckoned */
	struct ft_slice antenna_connector;
	double antennas;
	struct ft_slice lead;   /* id of the lead supplied with it; "none" */
	enum ft_tri door_input; /* takes a door switch */
	double probe_inputs;    /* how many probes it takes */
	double needs_bus_level;
	double minutes; /* of fitting it alone */
	int64_t price;  /* minor units, two decimals */
	double weight_g;
	double stock; /* on hand */
	unsigned line;
	struct ft_slice raw;
};

struct ft_part_row {
	struct ft_slice part; /* its id */
	struct ft_slice name;
	enum ft_purpose purpose;
	struct ft_slice of; /* see enum ft_purpose; p == NULL: for any */
	struct ft_slice replaces;
	int64_t price; /* minor units, two decimals */
	double weight_g;
	double per_bin; /* how many fit a bin of the van */
	double minutes; /* what fitting it adds */
	double stock;   /* on hand */
	unsigned line;
	struct ft_slice raw;
};

struct ft_lead {
	struct ft_slice lead; /* its id */
	double length_m;
	struct ft_slice cable;         /* class of data/cable.csv */
	double mhz[2], db_per_100m[2]; /* or two points of its data sheet */
	struct ft_slice from, to;      /* connectors: at the antenna's end, at the unit's */
	int64_t price;
	double weight_g;
	double stock; /* on hand */
	unsigned line;
	struct ft_slice raw;
};

enum { FT_MONDAY = 1, FT_SUNDAY = 64, FT_EVERY_DAY = 127 }; /* bits of days */

struct ft_technician {
	struct ft_slice technician;
	double latitude, longitude; /* of home, degrees */
	int opens, closes;          /* minutes of the day */
	unsigned days;              /* bit 0 Monday to bit 6 Sunday; 0 unknown */
	struct ft_words skills;
	int64_t from_us, until_us; /* days of the first and last work (midnight, microseconds since 1970) */
	double bins;               /* of the van */
	unsigned line;
	struct ft_slice raw;
};

/* One device on the bus, in its order from the controller. */
struct ft_survey_device {
	struct ft_slice kind; /* validator, changer, reader, ... */
	double length_m;      /* of the run before it; NAN */
	double area_mm2;      /* of that run; NAN */
};

enum { FT_SURVEY_DEVICES_MAX = 16 };

struct ft_survey_row {
	struct ft_slice asset, site;
	double latitude, longitude;
	struct ft_slice family, revision, serial;
	enum ft_front front;
	enum ft_cabinet cabinet;
	enum ft_hinge hinge;
	struct ft_slice connector; /* kind of the audit connector; "none": it has none */
	enum ft_tri bus_free;      /* is a bus connector free? */
	enum ft_tri door_switch;   /* has the machine a switch that can be used? */
	struct ft_survey_device *peripherals;
	size_t peripheral_count;
	bool peripherals_known;
	double volts, rating_a; /* of the bus, measured under load; on its plate */
	double selections, price_lists;
	double inside_dbm, outside_dbm;
	enum ft_antenna_place antenna;
	double path_m;        /* from the antenna's place to the unit */
	double run_m;         /* from the controller to the unit */
	double probes;        /* wanted */
	struct ft_slice unit; /* to be fitted */
	int opens, closes;    /* site hours, minutes of the day */
	struct ft_words skills;
	double priority;       /* higher is sooner */
	struct ft_slice group; /* machines that belong together */
	int64_t surveyed_us;   /* day of looking */
	struct ft_slice notes;
	struct ft_words places; /* "unit=door-middle": what sits where; the spots of include/fettle/wiring.h */
	unsigned line;
	struct ft_slice raw;
};

enum ft_table {
	FT_TABLE_FAMILIES,
	FT_TABLE_UNITS,
	FT_TABLE_PARTS,
	FT_TABLE_LEADS,
	FT_TABLE_TECHNICIANS,
	FT_TABLE_SURVEY,
	FT_TABLE_COUNT
};

struct ft_catalogue {
	struct ft_family *families;
	size_t family_count;
	struct ft_unit *units;
	size_t unit_count;
	struct ft_part_row *parts;
	size_t part_count;
	struct ft_lead *leads;
	size_t lead_count;
	struct ft_technician *technicians;
	size_t technician_count;
	struct ft_survey_row *rows;
	size_t row_count;
	struct ft_slice heads[FT_TABLE_COUNT]; /* text of each table's heading, by enum ft_table */
};

const struct ft_family *ft_family_of(const struct ft_catalogue *c, struct ft_slice name); /* NULL: none */
const struct ft_unit *ft_unit_of(const struct ft_catalogue *c, struct ft_slice name);
const struct ft_lead *ft_lead_of(const struct ft_catalogue *c, struct ft_slice id);
const struct ft_part_row *ft_part_of(const struct ft_catalogue *c, struct ft_slice id);

/* The first part for this purpose and of this kind; `of` p == NULL: none is. */
const struct ft_part_row *ft_part_exactly(const struct ft_catalogue *c, enum ft_purpose purpose, struct ft_slice of);
/* That one, else the first for any kind. `of` p == NULL: the first for the purpose, whatever its kind. */
const struct ft_part_row *ft_part_for(const struct ft_catalogue *c, enum ft_purpose purpose, struct ft_slice of);

/* Order of revisions as people number them: runs of digits by value ("2.10" is after "2.9"), the rest by letter. */
int ft_revision_cmp(struct ft_slice a, struct ft_slice b);

/* ---- reading ---- */

const char *ft_table_word(enum ft_table t); /* "families" ...: the table is kept as families.csv */
bool ft_table_parse(struct ft_slice word, enum ft_table *ret);

/* What a reader has to say of a table. */
struct ft_table_note {
	unsigned line, column; /* 1-based; column 0: of the whole line */
	bool wrong;            /* else it merely should be known, as a column nobody knows */
	const char *sentence;  /* with table, line and column named */
};

struct ft_table_notes {
	struct ft_table_note *list;
	size_t count, room, wrong, dropped; /* dropped: beyond FT_TABLE_NOTES_MAX */
};

enum { FT_TABLE_NOTES_MAX = 200, FT_TABLE_ROWS_MAX = 200000 };

/* Reads one table into its part of `c` (which it replaces). All that is wrong goes into `notes`, and then FT_E_INPUT
 * with the first of them and how many there are. A field that is wrong stays unknown. `what` names it. */
enum ft_status ft_table_read(enum ft_table t, struct ft_slice bytes, const char *what, struct ft_arena *a,
                             struct ft_catalogue *c, struct ft_table_notes *notes, struct ft_error *e);

/* The heading and an example to write over. */
void ft_table_template(enum ft_table t, struct ft_buf *out);

/* One column, for documents and forms. */
struct ft_table_column {
	const char *heading, *also; /* other headings that mean it, with | between */
	const char *about;          /* what it holds, and its unit */
	bool needed;
};

const struct ft_table_column *ft_table_column(enum ft_table t, size_t nth); /* NULL beyond the last */

/* Text of a spreadsheet to UTF-8: UTF-8 with or without BOM, UTF-16 with BOM, else Windows-1252. Bytes that are UTF-8
 * already are returned as they are, without their BOM. */
enum ft_status ft_table_text(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_slice *ret,
                             struct ft_error *e);

#endif
