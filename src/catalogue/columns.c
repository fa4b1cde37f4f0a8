/* SPDX-License-Identifier: Apache-2.0 */
/* The columns of every table: heading, other names, kind, range and an example. The reader, the templates and the
 * documents follow from these rows alone. */
#include "room.h"

#define AT(member) offsetof(struct ROW_OF, member)
#define TEXT(heading, also, member, example, about)                                        \
	{                                                                                      \
		{ heading, also, about, false }, CELL_TEXT, AT(member), PLAIN, 0, 0, NULL, example \
	}
#define NAME(heading, also, member, example, about)                                       \
	{                                                                                     \
		{ heading, also, about, true }, CELL_TEXT, AT(member), PLAIN, 0, 0, NULL, example \
	}
#define WORDS(heading, also, member, example, about)                                       \
	{                                                                                      \
		{ heading, also, about, false }, CELL_LIST, AT(member), PLAIN, 0, 0, NULL, example \
	}
#define FIGURE(heading, also, member, quantity, least, most, example, about)                           \
	{                                                                                                  \
		{ heading, also, about, false }, CELL_FIGURE, AT(member), quantity, least, most, NULL, example \
	}
#define LOAD(heading, also, member, example, about)                                             \
	{                                                                                           \
		{ heading, also, about, false }, CELL_LOAD, AT(member), AMPERES, 0, 1000, NULL, example \
	}
#define WORD(heading, also, member, list, example, about)                                     \
	{                                                                                         \
		{ heading, also, about, false }, CELL_WORD, AT(member), PLAIN, 0, 0, &(list), example \
	}
#define CELL(heading, also, member, kind, example, about)                             \
	{                                                                                 \
		{ heading, also, about, false }, kind, AT(member), PLAIN, 0, 0, NULL, example \
	}
#define COUNT(c) (sizeof(c) / sizeof *(c))

#define ROW_OF ft_family
static const struct column families[] = {
	NAME("family", "controller|controller family|model", family, "Corvane 3", "name of the controller family"),
	WORD("audit_link", "link|audit", link, link_words, "dex", "dex, ddcmp or none"),
	TEXT("audit_from", "audit from revision|link from revision|from revision", audit_from, "2.10",
	     "revision from which on it serves the audit; empty: from the first on"),
	TEXT("card_from", "card from revision|cashless from revision", card_from, "2.04",
	     "revision from which on it serves card sales over the bus"),
	TEXT("connector", "audit connector|connector kind", connector, "jack", "usual kind of the audit connector"),
	TEXT("settings", "settings needed|setting", settings, "menu 14: long audit on",
	     "what is to be set before it serves a long audit; none: nothing"),
	FIGURE("longest_audit", "longest bytes|longest|longest segment", longest_bytes, BYTES, 100, 16e6, "32 kB",
	       "longest audit it serves whole, in bytes or with kB"),
	TEXT("quirk", "quirks|long audits", quirk, "lists beyond 4 are left out", "of long audits or segments, in words"),
	TEXT("update", "update path|firmware update", update, "chip on the board",
	     "how it is brought to a newer revision; none: it cannot be"),
	WORD("risk", "update risk", risk, risk_words, "middle", "of the update: none, low, middle or high"),
	FIGURE("update_minutes", "update time", update_minutes, MINUTES, 0, 600, "25", "what the update takes"),
	TEXT("wipes", "update wipes", wipes, "prices, motor groups", "what an update wipes; none: nothing"),
	FIGURE("bus_level", "level|mdb level", bus_level, PLAIN, 1, 3, "2", "level of the multi-drop bus, 1 to 3"),
	FIGURE("bus_volts", "supply volts", bus_volts, VOLTS, 5, 60, "32 V", "usual volts of its bus under load"),
	FIGURE("bus_rating", "supply rating|rating", bus_rating_a, AMPERES, 0.1, 50, "4 A",
	       "what its bus supply is rated for"),
	FIGURE("minutes", "fitting minutes", minutes, MINUTES, 0, 600, "10", "of fitting, beside unit and parts"),
};
#undef ROW_OF

#define ROW_OF ft_unit
static const struct column units[] = {
	NAME("unit", "name|device", unit, "Lark 4", "name of the unit to be fitted"),
	LOAD("idle", "idle current|idle load", load[0], "80 mA", "drawn idle, in mA, A, mW or W"),
	LOAD("continuous", "continuous current|typical", load[1], "250 mA", "drawn all the time"),
	LOAD("peak", "peak current|maximum", load[2], "1.2 A", "drawn at the worst"),
	FIGURE("least_volts", "minimum volts|least v|volts", least_v, VOLTS, 0, 60, "18 V", "least volts it works with"),
	FIGURE("longest_audit", "longest bytes|longest", longest_bytes, BYTES, 100, 16e6, "64 kB",
	       "longest audit it takes, in bytes or with kB"),
	WORDS("links", "audit links|link", links, "dex ddcmp", "audit links it reads: dex, ddcmp"),
	WORDS("bands", "band", bands, "B3 B8 B20", "radio bands"),
	FIGURE("least_level", "least dbm|sensitivity", least_dbm, DBM, -150, -20, "-110 dBm", "level it needs"),
	FIGURE("frequency", "mhz", mhz, MEGAHERTZ, 100, 6000, "800 MHz", "at which leads are reckoned"),
	TEXT("antenna_connector", "connector|antenna plug", antenna_connector, "S1", "kind of its antenna connector"),
	FIGURE("antennas", "antenna count", antennas, PLAIN, 0, 8, "1", "how many antennas it needs"),
	TEXT("lead", "lead supplied", lead, "L-075", "id of the lead supplied with it; none"),
	WORD("door_input", "door", door_input, tri_words, "yes", "takes a door switch: yes or no"),
	FIGURE("probe_inputs", "probes", probe_inputs, PLAIN, 0, 16, "2", "how many temperature probes it takes"),
	FIGURE("needs_level", "needs bus level|bus level", needs_bus_level, PLAIN, 1, 3, "2", "bus level it needs"),
	FIGURE("minutes", "fitting minutes", minutes, MINUTES, 0, 600, "25", "of fitting it alone"),
	CELL("price", "cost", price, CELL_MONEY, "189.00", "of one"),
	FIGURE("weight", "mass|grams", weight_g, GRAMS, 0, 1e5, "420 g", "of one, in g or kg"),
	FIGURE("stock", "on hand", stock, PLAIN, 0, 1e6, "30", "how many are on hand"),
};
#undef ROW_OF

#define ROW_OF ft_part_row
static const struct column parts[] = {
	NAME("part", "id|part number", part, "HJ-1", "its id"),
	TEXT("name", "description", name, "audit harness, jack", "what people call it"),
	CELL("for", "what for|purpose", purpose, CELL_PURPOSE, "harness:jack",
	     "what it is for: harness, tee, door-switch, probe, adapter, antenna, mounting, chip, supply or other, and "
	     "behind a colon for which kind"),
	TEXT("replaces", "instead of", replaces, "HJ-0", "id of the part it replaces"),
	CELL("price", "cost", price, CELL_MONEY, "7.40", "of one"),
	FIGURE("weight", "mass|grams", weight_g, GRAMS, 0, 1e5, "60 g", "of one, in g or kg"),
	FIGURE("per_bin", "fit a bin|bin", per_bin, PLAIN, 1, 1e5, "20", "how many fit a bin of the van"),
	FIGURE("minutes", "adds minutes|fitting minutes", minutes, MINUTES, 0, 600, "5", "what fitting it adds"),
	FIGURE("stock", "on hand", stock, PLAIN, 0, 1e6, "12", "how many are on hand"),
};
#undef ROW_OF

#define ROW_OF ft_lead
static const struct column leads[] = {
	NAME("lead", "id", lead, "L-075", "its id"),
	FIGURE("length", "metres", length_m, METRES, 0, 100, "0.75 m", "in m, cm, ft or in"),
	TEXT("cable", "cable class|class", cable, "RG-174", "class of its cable"),
	FIGURE("f1", "mhz 1", mhz[0], MEGAHERTZ, 1, 10000, "450 MHz", "first point of its data sheet"),
	FIGURE("loss1", "loss 1|db 1", db_per_100m[0], DECIBELS, 0.1, 1000, "60 dB per 100 m",
	       "loss there, in dB per 100 m"),
	FIGURE("f2", "mhz 2", mhz[1], MEGAHERTZ, 1, 10000, "900 MHz", "second point"),
	FIGURE("loss2", "loss 2|db 2", db_per_100m[1], DECIBELS, 0.1, 1000, "90 dB per 100 m",
	       "loss there, in dB per 100 m"),
	TEXT("from", "antenna end", from, "S1", "connector at the antenna's end"),
	TEXT("to", "unit end", to, "S1", "connector at the unit's end"),
	CELL("price", "cost", price, CELL_MONEY, "6.20", "of one"),
	FIGURE("weight", "mass|grams", weight_g, GRAMS, 0, 1e5, "40 g", "of one, in g or kg"),
	FIGURE("stock", "on hand", stock, PLAIN, 0, 1e6, "20", "how many are on hand"),
};
#undef ROW_OF

#define ROW_OF ft_technician
static const struct column technicians[] = {
	NAME("technician", "name", technician, "Tilda Moss", "name"),
	FIGURE("latitude", "lat|home latitude", latitude, DEGREES, -90, 90, "12.40", "of home, degrees"),
	FIGURE("longitude", "lon|lng|home longitude", longitude, DEGREES, -180, 180, "-31.20", "of home, degrees"),
	CELL("begins", "opens|from hour|start", opens, CELL_HOUR, "07:30", "leaves not before"),
	CELL("ends", "closes|until hour|end", closes, CELL_HOUR, "16:30", "is back not after"),
	CELL("days", "work days", days, CELL_DAYS, "Mon-Fri", "days of work"),
	WORDS("skills", "skill", skills, "mains", "what the technician may do"),
	CELL("from", "first day", from_us, CELL_DATE, "2026-11-30", "first day of work"),
	CELL("until", "last day", until_us, CELL_DATE, "2026-12-18", "last day of work"),
	FIGURE("bins", "van bins", bins, PLAIN, 0, 1000, "12", "bins of the van"),
};
#undef ROW_OF

#define ROW_OF ft_survey_row
static const struct column survey[] = {
	NAME("asset", "asset number|machine", asset, "A-1001", "number of the machine"),
	TEXT("site", "place|location", site, "Harbour canteen", "where it stands"),
	FIGURE("latitude", "lat", latitude, DEGREES, -90, 90, "12.41", "degrees"),
	FIGURE("longitude", "lon|lng", longitude, DEGREES, -180, 180, "-31.22", "degrees"),
	TEXT("family", "controller|controller family", family, "Corvane 3", "controller family, as in families.csv"),
	TEXT("revision", "firmware|software", revision, "2.11", "of the controller"),
	TEXT("serial", "serial number", serial, "C3-00417", "of the machine"),
	WORD("front", "front kind", front, front_words, "glass", "glass or metal"),
	WORD("cabinet", "cabinet kind|temperature class", cabinet, cabinet_words, "cold", "cold, frozen, hot or ambient"),
	WORD("hinge", "hinge side", hinge, hinge_words, "left", "left or right, seen from the front"),
	TEXT("connector", "audit connector", connector, "jack", "kind of the audit connector; none: it has none"),
	WORD("bus_free", "bus connector free|free bus connector", bus_free, tri_words, "yes", "is a bus connector free?"),
	WORD("door_switch", "door switch fitted", door_switch, tri_words, "no", "has it a door switch that can be used?"),
	CELL("peripherals", "chain|devices", peripherals, CELL_CHAIN, "validator 0.5 m AWG 22 > changer 0.5 m",
	     "on the bus, in order from the controller, > between, each with the run before it and its gauge; none"),
	FIGURE("bus_volts", "volts", volts, VOLTS, 5, 60, "32.4 V", "measured at the harness under load"),
	FIGURE("bus_rating", "rating", rating_a, AMPERES, 0.1, 50, "4 A", "of the supply, from its plate"),
	FIGURE("selections", "selection count", selections, PLAIN, 0, 10000, "42", "how many"),
	FIGURE("price_lists", "lists", price_lists, PLAIN, 0, 100, "2", "how many"),
	FIGURE("inside_dbm", "signal inside|inside", inside_dbm, DBM, -160, -10, "-98 dBm", "level inside, door closed"),
	FIGURE("outside_dbm", "signal outside|outside", outside_dbm, DBM, -160, -10, "-84 dBm",
	       "level at the antenna's place"),
	WORD("antenna", "antenna place", antenna, antenna_words, "top", "where it is to sit: inside, top or outside"),
	FIGURE("path", "antenna path|path metres", path_m, METRES, 0, 100, "0.6 m", "from there to the unit"),
	FIGURE("run", "controller to unit|run metres", run_m, METRES, 0, 100, "0.8 m",
	       "of the bus, from the controller to the unit"),
	FIGURE("probes", "probes wanted", probes, PLAIN, 0, 16, "1", "how many are wanted"),
	TEXT("unit", "unit to be fitted|unit wanted", unit, "Lark 4", "as in units.csv"),
	CELL("opens", "site opens", opens, CELL_HOUR, "08:00", "the site, hour"),
	CELL("closes", "site closes", closes, CELL_HOUR, "17:00", "the site, hour"),
	WORDS("skills", "skills needed", skills, "none", "that the work needs"),
	FIGURE("priority", "urgency", priority, PLAIN, 0, 100, "1", "higher is sooner"),
	TEXT("group", "belongs to", group, "harbour", "machines with the same word belong together"),
	CELL("surveyed", "date|looked at", surveyed_us, CELL_DATE, "2026-11-20", "day of looking"),
	WORDS(
		"places", "spots|where it sits", places, "controller=door-middle unit=cabinet-top",
		"what sits where, as a list of THING=PLACE; things are controller, unit, audit, switch, probe, antenna and the "
		"devices; places are roof, cabinet-top, cabinet-middle, cabinet-bottom, door-top, door-middle, door-bottom"),
	TEXT("notes", "note|remarks|remark", notes, "", "anything else"),
};
#undef ROW_OF

#define TABLE(word, columns, type, member, number)                                                                   \
	{                                                                                                                \
		word, columns, COUNT(columns), sizeof(struct type), offsetof(struct type, line), offsetof(struct type, raw), \
			offsetof(struct ft_catalogue, member), offsetof(struct ft_catalogue, number)                             \
	}

static const struct table tables[] = {
	[FT_TABLE_FAMILIES] = TABLE("families", families, ft_family, families, family_count),
	[FT_TABLE_UNITS] = TABLE("units", units, ft_unit, units, unit_count),
	[FT_TABLE_PARTS] = TABLE("parts", parts, ft_part_row, parts, part_count),
	[FT_TABLE_LEADS] = TABLE("leads", leads, ft_lead, leads, lead_count),
	[FT_TABLE_TECHNICIANS] = TABLE("technicians", technicians, ft_technician, technicians, technician_count),
	[FT_TABLE_SURVEY] = TABLE("survey", survey, ft_survey_row, rows, row_count),
};

const struct table *table_of(enum ft_table t)
{
	return &tables[t];
}

const char *ft_table_word(enum ft_table t)
{
	return (unsigned)t < FT_TABLE_COUNT ? tables[t].word : NULL;
}

bool ft_table_parse(struct ft_slice word, enum ft_table *ret)
{
	for (int t = 0; t < FT_TABLE_COUNT; t++)
		if (ft_slice_eq_nocase(word, ft_slice_of(tables[t].word))) {
			*ret = (enum ft_table)t;
			return true;
		}
	return false;
}

const struct ft_table_column *ft_table_column(enum ft_table t, size_t nth)
{
	return (unsigned)t < FT_TABLE_COUNT && nth < tables[t].count ? &tables[t].columns[nth].face : NULL;
}

void ft_table_template(enum ft_table t, struct ft_buf *out)
{
	if ((unsigned)t >= FT_TABLE_COUNT)
		return;
	for (size_t i = 0; i < tables[t].count; i++)
		ft_buf_printf(out, "%s%s", i ? "," : "", tables[t].columns[i].face.heading);
	ft_buf_puts(out, "\n# write over the row below; what is not known stays empty or is a ?\n");
	for (size_t i = 0; i < tables[t].count; i++) {
		if (i)
			ft_buf_byte(out, ',');
		ft_csv_put(out, ft_slice_of(tables[t].columns[i].example));
	}
	ft_buf_byte(out, '\n');
}
