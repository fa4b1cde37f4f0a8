/* SPDX-License-Identifier: Apache-2.0 */
/* The wiring sheet: what is filled in, what stays unknown, and that whatever is filled in fits the page. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "unit.h"

#include "fettle/random.h"
#include "fettle/survey.h"
#include "fettle/wiring.h"

static const char families[] = "family,audit_link,connector,settings\n"
							   "Corvane 3,dex,jack,menu 14: long audit on\n"
							   "Tarn 7,ddcmp,plug,none\n";
static const char units[] = "unit,least_volts,frequency,least_level,antenna_connector,door_input,probe_inputs\n"
							"Lark 4,18 V,800 MHz,-110 dBm,S1,yes,2\n"
							"Finch 1,18 V,800 MHz,-110 dBm,S1,no,0\n";
static const char parts[] = "part,name,for\n"
							"HJ-1,audit harness,harness:jack\nT-2,tee,tee\nDS-1,switch,door-switch\nPR-1,probe,probe\n";
static const char leads[] = "lead,length,cable,from,to\n"
							"L-075,0.75 m,RG-174,S1,S1\nL-200,2 m,low-loss-100,S1,S1\n";
static const char survey[] =
	"asset,family,front,cabinet,hinge,connector,bus_free,door_switch,peripherals,bus_volts,antenna,path,run,probes,unit,places\n"
	"A-1,Corvane 3,glass,cold,left,jack,no,yes,validator 0.5 m AWG 22 > changer 0.4 m AWG 22,32.4 V,top,1.6 m,0.8 m,1,Lark 4,"
	"controller=door-middle unit=cabinet-top validator=door-top changer=door-bottom\n"
	"A-2,Tarn 7,metal,hot,right,plug,yes,no,reader 0.6 m AWG 20 > validator 0.7 m AWG 20 > changer 0.4 m,,inside,0.5 m,0.4 m,0,"
	"Lark 4,controller=cabinet-top unit=cabinet-top antenna=door-top\n"
	"A-3,,,,,,,,,,,,,,,\n"
	"A-4,Corvane 3,metal,ambient,left,none,yes,yes,none,30 V,outside,9 m,0.3 m,0,Finch 1,unit=door-top\n";
static const char chain[] = "device,kind,volts,idle,continuous,peak,length,gauge\n"
							"source,supply,33 V,,4 A,,,\n"
							"Lark 4,unit,20 V,100 mA,200 mA,1 A,0.8 m,AWG 22\n"
							"coin changer,changer,20 V,200 mA,200 mA,1.75 A,0.5 m,AWG 22\n";

struct scene {
	struct ft_arena a;
	struct ft_catalogue c;
	struct ft_visit v;
	struct ft_evidence evidence[2];
	struct ft_wiring w;
	struct ft_error e;
};

static void table(struct scene *s, enum ft_table t, const char *text)
{
	struct ft_table_notes notes = { 0 };

	if (ft_table_read(t, ft_slice_of(text), "a table", &s->a, &s->c, &notes, &s->e) != FT_OK)
		fail_msg("%s", s->e.text);
}

static void begin(struct scene *s, const char *rows)
{
	*s = (struct scene){
		.v = { .id = "A-1-1", .asset = "A-1", .opened_us = INT64_C(1764028800000000), .closed_us = FT_ABSENT }
	};
	table(s, FT_TABLE_FAMILIES, families);
	table(s, FT_TABLE_UNITS, units);
	table(s, FT_TABLE_PARTS, parts);
	table(s, FT_TABLE_LEADS, leads);
	table(s, FT_TABLE_SURVEY, rows);
}

static void fill(struct scene *s, const char *asset)
{
	s->v.asset = asset;
	if (ft_wiring_fill(&s->v, s->c.row_count ? &s->c : NULL, &s->a, &s->w, &s->e) != FT_OK)
		fail_msg("%s", s->e.text);
}

static void add(struct scene *s, enum ft_evidence_kind kind, const char *name, const char *text)
{
	s->evidence[s->v.evidence_count++] = (struct ft_evidence){ .kind = kind, .name = name, .bytes = ft_slice_of(text) };
	s->v.evidence = s->evidence;
}

/* The whole page as SVG; the caller frees the buffer. */
static void draw(struct scene *s, enum ft_sheet sheet, struct ft_buf *out, struct ft_wiring_drawn *d)
{
	*out = (struct ft_buf){ 0 };
	if (ft_wiring_draw(&s->w, sheet, FT_WIRING_SVG, "fettle", &s->a, out, d, &s->e) != FT_OK)
		fail_msg("%s", s->e.text);
}

static const struct ft_thing *thing(const struct scene *s, enum ft_thing_kind kind)
{
	for (size_t i = 0; i < s->w.thing_count; i++)
		if (s->w.things[i].kind == kind)
			return &s->w.things[i];
	return NULL;
}

static size_t times(const struct ft_buf *b, const char *what)
{
	size_t n = 0;
	struct ft_slice rest = ft_buf_text(b), needle = ft_slice_of(what);

	for (size_t at = ft_slice_find(rest, needle); at < rest.n; at = ft_slice_find(rest, needle)) {
		n++;
		rest = (struct ft_slice){ rest.p + at + needle.n, rest.n - at - needle.n };
	}
	return n;
}

/* ---- filling ---- */

static void a_surveyed_machine(void **state)
{
	struct scene s;

	(void)state;
	begin(&s, survey);
	fill(&s, "A-1");
	assert_true(s.w.surveyed);
	assert_int_equal(s.w.front, FT_FRONT_GLASS);
	assert_int_equal(s.w.hinge, FT_HINGE_LEFT);
	assert_string_equal(s.w.date, "2025-11-25");
	assert_int_equal(thing(&s, FT_THING_CONTROLLER)->spot, FT_SPOT_DOOR_MIDDLE);
	assert_int_equal(thing(&s, FT_THING_UNIT)->spot, FT_SPOT_CABINET_TOP);
	assert_int_equal(thing(&s, FT_THING_ANTENNA)->spot, FT_SPOT_ROOF);
	assert_string_equal(thing(&s, FT_THING_AUDIT_PORT)->note, "DEX, jack");
	assert_string_equal(thing(&s, FT_THING_SWITCH)->note, "the machine's own");
	/* the unit stands ahead of what was there, each with the run before it */
	assert_int_equal(s.w.chain->count, 3);
	assert_true(s.w.chain->knots[0].unit && fabs(s.w.chain->knots[0].length_m - 0.8) < 1e-9);
	assert_string_equal(s.w.chain->knots[1].name, "bill validator");
	assert_true(fabs(s.w.chain->knots[1].length_m - 0.5) < 1e-9);
	assert_string_equal(s.w.chain->knots[2].name, "coin changer");
	assert_false(s.w.chain->reckoned);
	/* fix, bus, audit, door, probe, antenna, tie, switch on: numbered from 1 without a gap */
	assert_int_equal(s.w.step_count, 8);
	for (size_t i = 0; i < s.w.step_count; i++)
		assert_int_equal(s.w.steps[i].number, i + 1);
	assert_true(ft_slice_holds(ft_slice_of(s.w.steps[1].text), "tee (T-2)"));
	assert_true(ft_slice_holds(ft_slice_of(s.w.steps[1].text), "bill validator, then coin changer"));
	assert_true(ft_slice_holds(ft_slice_of(s.w.steps[2].text), "menu 14"));
	/* 1.6 m of way: the lead of 0.75 m is too short */
	assert_true(ft_slice_holds(ft_slice_of(s.w.steps[5].text), "L-200"));
	assert_true(ft_slice_holds(ft_slice_of(s.w.supply[0]), "Not measured yet"));
	assert_true(ft_slice_holds(ft_slice_of(s.w.supply[1]), "32.4 V"));
	ft_arena_done(&s.a);
}

static void another_machine_is_another_sheet(void **state)
{
	struct scene s;
	struct ft_buf one, two;
	struct ft_wiring_drawn d;

	(void)state;
	begin(&s, survey);
	fill(&s, "A-1");
	draw(&s, FT_SHEET_A4, &one, &d);
	fill(&s, "A-2");
	draw(&s, FT_SHEET_A4, &two, &d);
	assert_int_equal(s.w.hinge, FT_HINGE_RIGHT);
	assert_int_equal(s.w.front, FT_FRONT_METAL);
	assert_int_equal(s.w.chain->count, 4);
	assert_string_equal(thing(&s, FT_THING_SWITCH)->note, "new, on a bracket");
	assert_null(thing(&s, FT_THING_PROBE));
	assert_true(ft_slice_holds(ft_slice_of(s.w.off_first), "boiler"));
	assert_true(ft_slice_holds(ft_slice_of(s.w.steps[1].text), "free bus connector"));
	assert_int_equal(times(&one, "glass door, open"), 1);
	assert_int_equal(times(&one, "metal door, open"), 0);
	assert_int_equal(times(&two, "metal door, open"), 1);
	assert_int_equal(times(&one, ">Audit jack (DEX)<"), 1);
	assert_int_equal(times(&two, ">Audit jack (DEX)<"), 0);
	ft_buf_done(&one);
	ft_buf_done(&two);
	ft_arena_done(&s.a);
}

static void what_nobody_said_stays_unknown(void **state)
{
	struct scene s;
	struct ft_buf out;
	struct ft_wiring_drawn d;

	(void)state;
	begin(&s, survey);
	for (int pass = 0; pass < 2; pass++) {
		if (pass) /* and without any survey at all it is the same but for the sentence at the foot */
			s.c = (struct ft_catalogue){ 0 };
		fill(&s, "A-3");
		assert_int_equal(s.w.surveyed, pass == 0);
		assert_int_equal(s.w.front, FT_FRONT_UNKNOWN);
		assert_int_equal(s.w.hinge, FT_HINGE_UNKNOWN);
		assert_int_equal(s.w.chain->count, 0);
		assert_null(s.w.machine);
		assert_null(thing(&s, FT_THING_PROBE));
		assert_int_equal(thing(&s, FT_THING_SWITCH)->there, FT_TRI_UNKNOWN);
		assert_int_equal(thing(&s, FT_THING_AUDIT_PORT)->there, FT_TRI_UNKNOWN);
		for (size_t i = 0; i < s.w.thing_count; i++)
			assert_int_equal(s.w.things[i].spot, FT_SPOT_UNKNOWN);
		for (size_t i = 0; i < s.w.run_count; i++)
			assert_true(isnan(s.w.runs[i].length_m));
		draw(&s, FT_SHEET_A4, &out, &d);
		assert_int_equal(d.overlaps, 0);
		assert_int_equal(times(&out, "hinge side: look first"), 1);
		assert_int_equal(times(&out, "front: look first"), 1);
		assert_int_equal(times(&out, "nobody has said what hangs on the bus"), 1);
		ft_buf_done(&out);
	}
	ft_arena_done(&s.a);
}

static void what_is_not_there_is_not_drawn(void **state)
{
	struct scene s;

	(void)state;
	begin(&s, survey);
	fill(&s, "A-4"); /* no audit connector, a unit without a door input */
	assert_null(thing(&s, FT_THING_AUDIT_PORT));
	assert_null(thing(&s, FT_THING_SWITCH));
	assert_int_equal(s.w.chain->count, 1);
	/* no lead reaches nine metres */
	assert_true(ft_slice_holds(ft_slice_of(s.w.signal[1]), "No lead of the kit"));
	s.v.without = FT_PART_DOOR | FT_PART_ANTENNA | FT_PART_TEMPERATURE | FT_PART_BUS;
	fill(&s, "A-1");
	assert_null(thing(&s, FT_THING_SWITCH));
	assert_null(thing(&s, FT_THING_PROBE));
	assert_null(thing(&s, FT_THING_ANTENNA));
	for (size_t i = 0; i < s.w.run_count; i++)
		assert_int_not_equal(s.w.runs[i].wire, FT_WIRE_BUS);
	ft_arena_done(&s.a);
}

static void figures_of_the_visit(void **state)
{
	static const char levels[] = "position closed\n+CESQ: 99,99,255,255,20,45\n+CESQ: 99,99,255,255,20,45\n"
								 "+CESQ: 99,99,255,255,20,45\n+CESQ: 99,99,255,255,20,45\n";
	struct scene s;
	struct ft_buf out;

	(void)state;
	begin(&s, survey);
	add(&s, FT_EVIDENCE_SUPPLY, "chain.csv", chain);
	add(&s, FT_EVIDENCE_SIGNAL, "levels.txt", levels);
	fill(&s, "A-1");
	assert_true(s.w.chain->reckoned);
	assert_int_equal(s.w.chain->count, 2);
	assert_string_equal(s.w.chain->first, "supply");
	/* 33 V less what both draw over 0.8 m and the changer's own over 0.5 m, as tests/cli/supply.py reckons by hand */
	assert_true(s.w.chain->knots[0].volts[FT_SUPPLY_PEAK] < 33);
	assert_true(s.w.chain->knots[1].volts[FT_SUPPLY_PEAK] < s.w.chain->knots[0].volts[FT_SUPPLY_PEAK]);
	assert_string_equal(s.w.supply[0], "33.0 V at the supply, measured under load.");
	/* index 45 is -96 to -95 dBm, its middle 14.5 dB above -110 */
	assert_true(ft_slice_holds(ft_slice_of(s.w.signal[0]), "14.5 dB above"));
	draw(&s, FT_SHEET_A4, &out, NULL);
	assert_int_equal(times(&out, ">weakest<"), 1);
	ft_buf_done(&out);
	ft_arena_done(&s.a);
}

/* What the sheet names is what the survey packs: by cabinet, unit, front, place, plug and way. */
static void the_parts_of_the_survey(void **state)
{
	static const char own_units[] =
		"unit,least_volts,frequency,least_level,antennas,antenna_connector,lead,door_input,probe_inputs\n"
		"Lark 4,18 V,800 MHz,-110 dBm,1,S1,L-150,yes,2\n"
		"Heron C,18 V,800 MHz,-110 dBm,1,F4,,yes,2\n";
	static const char own_parts[] =
		"part,name,for\n"
		"HJ-1,audit harness,harness:jack\nTP-C,cold probe,probe:cold\nTP-H,hot probe,probe:hot\n"
		"TP-A,probe,probe\nMH-1,mounting,mounting:Heron C\nMG-1,mounting,mounting:glass\n"
		"MM-1,mounting,mounting:metal\nAT-1,antenna,antenna:top\nAD-1,adapter,adapter:S1>F4\n";
	static const char own_leads[] = "lead,length,cable,from,to\n"
									"L-075,0.75 m,RG-174,S1,S1\nL-150,1.5 m,RG-174,S1,S1\n";
	static const char rows[] =
		"asset,family,front,cabinet,connector,door_switch,bus_free,inside_dbm,outside_dbm,antenna,path,probes,unit\n"
		"H-1,Corvane 3,metal,hot,jack,yes,yes,-90 dBm,-80 dBm,top,0.6 m,1,Heron C\n"
		"L-1,Corvane 3,glass,frozen,jack,yes,yes,-90 dBm,-80 dBm,inside,0.6 m,1,Lark 4\n"
		"L-2,Corvane 3,metal,cold,socket,yes,yes,-90 dBm,-80 dBm,inside,5 m,1,Lark 4\n";
	static const struct {
		const char *asset, *parts[4], *lead, *not_there[3];
	} wanted[] = {
		{ "H-1", { "MH-1", "TP-H", "AT-1", "AD-1" }, "lead L-075", { "TP-C", "MM-1", "L-150" } },
		{ "L-1", { "MG-1", "TP-A", "HJ-1", NULL }, "lead L-150", { "TP-C", "MH-1", "AT-1" } },
		{ "L-2", { "MM-1", "TP-C", NULL, NULL }, "no lead of the kit", { "HJ-1", "TP-H", "AD-1" } },
	};
	struct scene s;

	(void)state;
	begin(&s, survey);
	s.c = (struct ft_catalogue){ 0 };
	table(&s, FT_TABLE_FAMILIES, families);
	table(&s, FT_TABLE_UNITS, own_units);
	table(&s, FT_TABLE_PARTS, own_parts);
	table(&s, FT_TABLE_LEADS, own_leads);
	table(&s, FT_TABLE_SURVEY, rows);
	for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++) {
		struct ft_survey_priors priors;
		struct ft_survey_machine m;
		struct ft_survey *judge;
		struct ft_buf b = { 0 };
		ft_survey_priors(&priors);
		assert_int_equal(ft_survey_begin(&s.c, &priors, &s.a, &judge, &s.e), FT_OK);
		assert_int_equal(ft_survey_judge(judge, &s.c.rows[i], "a table", &s.a, &m, &s.e), FT_OK);
		fill(&s, wanted[i].asset);
		for (size_t k = 0; k < s.w.step_count; k++)
			ft_buf_puts(&b, s.w.steps[k].text);
		for (size_t k = 0; k < 4 && wanted[i].parts[k]; k++) {
			bool packed = false;
			assert_int_equal(times(&b, wanted[i].parts[k]), 1);
			for (size_t n = 0; n < m.item_count; n++)
				packed |= ft_slice_is(m.kit[n].part, wanted[i].parts[k]) && m.kit[n].chance >= 1;
			assert_true(packed);
		}
		for (size_t k = 0; k < 3; k++)
			assert_int_equal(times(&b, wanted[i].not_there[k]), 0);
		assert_int_equal(times(&b, wanted[i].lead), 1);
		if (m.lead.p)
			assert_int_equal(times(&b, ft_arena_text(&s.a, m.lead)), 1);
		ft_buf_done(&b);
	}
	ft_arena_done(&s.a);
}

/* ---- drawing ---- */

static void every_pin_and_every_number_once(void **state)
{
	struct scene s;
	struct ft_buf out;
	char text[80];

	(void)state;
	begin(&s, survey);
	fill(&s, "A-1");
	draw(&s, FT_SHEET_A4, &out, NULL);
	for (size_t i = 0; i < s.w.face_count; i++)
		for (size_t k = 0; k < s.w.faces[i].pin_count; k++) {
			const char *pin = s.w.faces[i].pins[k].pin;
			size_t wanted = 0;
			for (size_t n = 0; n < s.w.face_count; n++) /* A and B are pins of the switch and of the probe */
				for (size_t m = 0; m < s.w.faces[n].pin_count; m++)
					wanted += strcmp(s.w.faces[n].pins[m].pin, pin) == 0;
			size_t seen = 0;
			snprintf(text, sizeof text, "class=\"pin\" fill=\"#1F2328\">%s<", pin);
			seen = times(&out, text);
			if (seen != wanted)
				fail_msg("pin %s stands there %zu times, not %zu", pin, seen, wanted);
		}
	for (int n = 1; n <= (int)s.w.step_count; n++) {
		snprintf(text, sizeof text, "class=\"step\" fill=\"#1F2328\">%d<", n);
		assert_int_equal(times(&out, text), 1);
		snprintf(text, sizeof text, "class=\"tag\" fill=\"#1F2328\">%d<", n);
		assert_int_equal(times(&out, text), s.w.steps[n - 1].wire >= 0 ? 1 : 0);
	}
	assert_int_equal(times(&out, "page 1 of 1"), 1);
	ft_buf_done(&out);
	ft_arena_done(&s.a);
}

static void the_same_bytes_twice(void **state)
{
	struct scene s;
	struct ft_buf one = { 0 }, two = { 0 };

	(void)state;
	begin(&s, survey);
	fill(&s, "A-2");
	for (int f = FT_WIRING_SVG; f <= FT_WIRING_PDF; f++) {
		assert_int_equal(ft_wiring_draw(&s.w, FT_SHEET_A4, (enum ft_wiring_format)f, "fettle", &s.a, &one, NULL, &s.e),
		                 FT_OK);
		assert_int_equal(ft_wiring_draw(&s.w, FT_SHEET_A4, (enum ft_wiring_format)f, "fettle", &s.a, &two, NULL, &s.e),
		                 FT_OK);
		assert_true(one.n > 5000 && ft_slice_eq(ft_buf_text(&one), ft_buf_text(&two)));
		ft_buf_done(&one);
		ft_buf_done(&two);
	}
	ft_arena_done(&s.a);
}

static const char *any(struct ft_random *r, const char *const *list)
{
	uint32_t n = 0;

	while (list[n])
		n++;
	return list[ft_random_below(r, n)];
}

/* A survey row as anybody might write it, most of it unknown or all of it known. */
static void random_row(struct ft_random *r, char *out, size_t size)
{
	static const char *const fronts[] = { "", "glass", "metal", NULL }, *const hinges[] = { "", "left", "right", NULL };
	static const char *const cabinets[] = { "", "cold", "frozen", "hot", "ambient", NULL };
	static const char *const connectors[] = { "", "jack", "plug", "none", NULL },
							 *const yes[] = { "", "yes", "no", NULL };
	static const char *const antennas[] = { "", "inside", "top", "outside", NULL },
							 *const spots[] = { "roof",     "cabinet-top", "cabinet-middle", "cabinet-bottom",
		                                        "door-top", "door-middle", "door-bottom",    NULL };
	static const char *const names[] = { "controller", "unit",    "audit",     "switch", "probe",
		                                 "antenna",    "changer", "validator", "reader", NULL };
	static const char *const devices[] = { "changer", "validator", "reader", "display", NULL };
	char peripherals[300] = "", places[400] = "";
	uint32_t count = ft_random_below(r, 5);

	for (uint32_t i = 0; i < count; i++)
		snprintf(peripherals + strlen(peripherals), sizeof peripherals - strlen(peripherals), "%s%s 0.%u m AWG 22",
		         i ? " > " : "", any(r, devices), 1 + (unsigned)ft_random_below(r, 9));
	for (int i = 0; names[i]; i++)
		if (ft_random_below(r, 4))
			snprintf(places + strlen(places), sizeof places - strlen(places), "%s=%s ", names[i], any(r, spots));
	snprintf(
		out, size,
		"asset,family,front,cabinet,hinge,connector,bus_free,door_switch,peripherals,antenna,path,probes,unit,places\n"
		"A-1,%s,%s,%s,%s,%s,%s,%s,%s,%s,%s,%u,Lark 4,%s\n",
		ft_random_below(r, 2) ? "Corvane 3" : "Tarn 7", any(r, fronts), any(r, cabinets), any(r, hinges),
		any(r, connectors), any(r, yes), any(r, yes), peripherals, any(r, antennas),
		ft_random_below(r, 2) ? "1.2 m" : "", (unsigned)ft_random_below(r, 4), places);
}

static void nothing_stands_on_anything(void **state)
{
	struct ft_random r = { 7 };

	(void)state;
	for (int i = 0; i < 120; i++) {
		char row[1500];
		struct scene s;
		struct ft_buf out;
		struct ft_wiring_drawn d;
		random_row(&r, row, sizeof row);
		begin(&s, row);
		if (i % 3 == 0)
			add(&s, FT_EVIDENCE_SUPPLY, "chain.csv", chain);
		s.v.site = i % 2 ? "Harbour canteen, east wing, behind the second door" : NULL;
		fill(&s, "A-1");
		draw(&s, i % 2 ? FT_SHEET_A4 : FT_SHEET_LETTER, &out, &d);
		if (d.overlaps)
			fail_msg("%zu texts stand on another, first %s, for\n%s", d.overlaps, d.overlap, row);
		ft_buf_done(&out);
		ft_arena_done(&s.a);
	}
}

static void hostile_texts(void **state)
{
	struct scene s;
	struct ft_buf out;
	struct ft_wiring_drawn d;

	(void)state;
	begin(&s, survey);
	s.v.site =
		"a <b> & \"c\" \xff\xfe \xe6\x97\xa5 and so on, and so on, and so on, and so on, and so on, and so on, and so on, "
		"and so on, and so on";
	fill(&s, "A-1");
	draw(&s, FT_SHEET_A4, &out, &d);
	assert_int_equal(times(&out, "<b>"), 0);
	assert_int_equal(d.overlaps, 0);
	assert_true(d.cut > 0);
	ft_buf_done(&out);
	ft_arena_done(&s.a);
}

static void spots_and_connectors(void **state)
{
	enum ft_spot s;
	struct ft_connector c;

	(void)state;
	for (int i = 0; i < FT_SPOT_COUNT; i++) {
		assert_true(ft_spot_parse(ft_slice_of(ft_spot_word((enum ft_spot)i)), &s));
		assert_int_equal(s, i);
	}
	assert_false(ft_spot_parse(FT_SLICE("attic"), &s));
	assert_false(ft_connector("none", &c));
	assert_true(ft_connector("bus", &c));
	assert_int_equal(c.pin_count, 6);
	for (size_t i = 0; i < c.pin_count; i++) { /* 1/4, 2/5, 3/6 face each other */
		assert_int_equal(c.pins[i].pin[0] - '1', i);
		assert_int_equal(c.pins[i].column, i % 3 + 1);
		assert_int_equal(c.pins[i].row, i / 3 + 1);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_surveyed_machine),
		cmocka_unit_test(another_machine_is_another_sheet),
		cmocka_unit_test(what_nobody_said_stays_unknown),
		cmocka_unit_test(what_is_not_there_is_not_drawn),
		cmocka_unit_test(figures_of_the_visit),
		cmocka_unit_test(the_parts_of_the_survey),
		cmocka_unit_test(every_pin_and_every_number_once),
		cmocka_unit_test(the_same_bytes_twice),
		cmocka_unit_test(nothing_stands_on_anything),
		cmocka_unit_test(hostile_texts),
		cmocka_unit_test(spots_and_connectors),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
