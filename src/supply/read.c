/* SPDX-License-Identifier: Apache-2.0 */
/* A chain kept in a spreadsheet. Figures carry their units, so that nobody has to guess milliamperes from amperes. */
#include <math.h>
#include <stdio.h>

#include "fettle/csv.h"
#include "fettle/stamp.h"
#include "fettle/supply.h"

#include "limits.h"

static const struct {
	const char *device, *kind;
	enum { LOAD_CURRENT, LOAD_POWER } load;
	int milli[FT_SUPPLY_CASES], peak_s, least_mv;
} defaults[] = {
#define ROW(ident, device, kind, load, idle, continuous, peak, peak_s, least, what, source) \
	{ device, kind, LOAD_##load, { idle, continuous, peak }, peak_s, least },
#include "supply-devices.inc"
#undef ROW
};

enum quantity { VOLTS, AMPERES, WATTS, LENGTH, DEGREES };

static const struct {
	enum quantity what;
	const char *unit;
	double factor, offset;
} units[] = {
	{ VOLTS, "V", 1, 0 },
	{ VOLTS, "mV", 0.001, 0 },
	{ AMPERES, "A", 1, 0 },
	{ AMPERES, "mA", 0.001, 0 },
	{ WATTS, "W", 1, 0 },
	{ WATTS, "mW", 0.001, 0 },
	{ LENGTH, "m", 1, 0 },
	{ LENGTH, "cm", 0.01, 0 },
	{ LENGTH, "mm", 0.001, 0 },
	{ LENGTH, "ft", 0.3048, 0 },
	{ LENGTH, "in", 0.0254, 0 },
	{ DEGREES, "C", 1, 0 },
	{ DEGREES, "F", 5 / 9.0, -160 / 9.0 },
};

static const char *const columns[] = { "device", "kind",   "volts", "idle",        "continuous",
	                                   "peak",   "length", "gauge", "temperature", "measured" };
enum { DEVICE, KIND, VOLTS_AT, IDLE, CONTINUOUS, PEAK, LENGTH_AT, GAUGE, TEMPERATURE, MEASURED, COLUMNS };

enum { TRANSFORMER_LEAST = 6, TRANSFORMER_MOST = 42 }; /* ours: alternating volts that make a bus of 5 to 60 V */

struct reading {
	const char *what;
	const struct ft_csv *t;
	const struct ft_csv_row *row;
	int column[COLUMNS];
	struct ft_supply_chain *c;
	bool source_seen;
	struct ft_error *e;
};

static enum ft_status wrong(const struct reading *r, int column, const char *say)
{
	struct ft_slice f = ft_csv_field(r->row, r->column[column]);

	return ft_fail(r->e, FT_E_INPUT, "%s, line %u, %s: \"%.*s\" %s.", r->what, r->row->line, columns[column],
	               (int)(f.n < 40 ? f.n : 40), f.p ? f.p : "", say);
}

/* "1,500 mA" may be one and a half or fifteen hundred: a comma before the last three digits is refused. */
static bool may_be_thousands(struct ft_slice s)
{
	const char *comma = s.n ? memchr(s.p, ',', s.n) : NULL;
	size_t before = comma ? (size_t)(comma - s.p) : 0;

	return comma && s.n - before == 4 && before > 0 && !(before == 1 && s.p[0] == '0');
}

/* A figure and the unit behind it. `ret` is in V, A, W, m or degrees Celsius. False when it is none. */
static bool figure(struct ft_slice s, enum quantity *ret_what, double *ret)
{
	size_t n = s.n;
	struct ft_slice unit;
	double value;

	while (n && !ft_is_digit(s.p[n - 1]) && s.p[n - 1] != '.' && s.p[n - 1] != ',')
		n--;
	unit = ft_slice_trim((struct ft_slice){ s.p + n, s.n - n });
	if (unit.n > 1 && (unsigned char)unit.p[0] == 0xC2 && (unsigned char)unit.p[1] == 0xB0) /* a degree sign */
		unit = (struct ft_slice){ unit.p + 2, unit.n - 2 };
	if (may_be_thousands((struct ft_slice){ s.p, n }) || !ft_figure((struct ft_slice){ s.p, n }, &value))
		return false;
	if (unit.n > 2 && ft_slice_eq_nocase((struct ft_slice){ unit.p + unit.n - 2, 2 }, FT_SLICE("DC"))) /* "V DC" */
		unit = ft_slice_trim((struct ft_slice){ unit.p, unit.n - 2 });
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (ft_slice_eq_nocase(unit, ft_slice_of(units[i].unit))) {
			*ret_what = units[i].what;
			*ret = value * units[i].factor + units[i].offset;
			return true;
		}
	return false;
}

static enum ft_status no_figure(const struct reading *r, int column, const char *like)
{
	struct ft_slice f = ft_csv_field(r->row, r->column[column]);
	char say[120];
	size_t n = f.n;

	while (n && !ft_is_digit(f.p[n - 1]))
		n--;
	if (may_be_thousands((struct ft_slice){ f.p, n }))
		return wrong(r, column, "may mean thousands or a decimal comma; write it without the comma or with a point");
	snprintf(say, sizeof say, "is no %s", like);
	return wrong(r, column, say);
}

/* Leaves *ret as it is where the field is empty. */
static enum ft_status take(const struct reading *r, int column, enum quantity wanted, double least, double most,
                           const char *like, double *ret, bool *ret_given)
{
	struct ft_slice f = ft_csv_field(r->row, r->column[column]);
	enum quantity what;
	double value;
	char say[120];

	if (!f.n)
		return FT_OK;
	snprintf(say, sizeof say, "figure with its unit, such as %s", like);
	if (!figure(f, &what, &value) || what != wanted)
		return no_figure(r, column, say);
	snprintf(say, sizeof say, "cannot be; %g to %g are possible", least, most);
	if (value < least || value > most)
		return wrong(r, column, say);
	*ret = value;
	*ret_given = true;
	return FT_OK;
}

/* The three loads in one unit: all amperes, or all watts. */
static enum ft_status take_loads(const struct reading *r, struct ft_supply_device *d, int *ret_given)
{
	bool known = false;

	*ret_given = 0;
	for (int k = 0; k < FT_SUPPLY_CASES; k++) {
		struct ft_slice f = ft_csv_field(r->row, r->column[IDLE + k]);
		enum quantity what;
		double value;
		if (!f.n)
			continue;
		if (!figure(f, &what, &value) || (what != AMPERES && what != WATTS))
			return no_figure(r, IDLE + k, "load with its unit, such as 200 mA or 10 W");
		if (known && d->power != (what == WATTS))
			return wrong(r, IDLE + k, "mixes amperes and watts in one row; give the row in one of them");
		if (value < 0 || value > (what == WATTS ? 1000 : 30))
			return wrong(r, IDLE + k, "cannot be; a peripheral draws 0 to 30 A or 0 to 1000 W");
		d->power = what == WATTS;
		d->load[k] = value;
		known = true;
		++*ret_given;
	}
	if (d->load[FT_SUPPLY_CONTINUOUS] >= 0 && d->load[FT_SUPPLY_IDLE] > d->load[FT_SUPPLY_CONTINUOUS])
		return wrong(r, IDLE, "is more than what is drawn all the time; idle is the least a device draws");
	return FT_OK;
}

static enum ft_status take_gauge(const struct reading *r, struct ft_supply_device *d)
{
	struct ft_slice f = ft_csv_field(r->row, r->column[GAUGE]);
	char text[16];
	double value;
	size_t n = 0, at = 0;

	if (!f.n)
		return FT_OK;
	for (at = 0; at < f.n && n + 1 < sizeof text; at++)
		if (ft_is_digit(f.p[at]) || f.p[at] == '.' || f.p[at] == ',')
			text[n++] = f.p[at];
	if (!n || !ft_figure((struct ft_slice){ text, n }, &value))
		return wrong(r, GAUGE, "is no gauge, such as AWG 22 or 0.34 mm2");
	if (ft_slice_find(f, FT_SLICE("AWG")) < f.n || ft_slice_find(f, FT_SLICE("awg")) < f.n) {
		if (value != floor(value) || value < 10 || value > 30)
			return wrong(r, GAUGE, "cannot be; harnesses have AWG 10 to 30");
		d->area_mm2 = ft_supply_awg_area((int)value);
		return FT_OK;
	}
	if (ft_slice_find(f, FT_SLICE("mm")) == f.n)
		return wrong(r, GAUGE, "has no unit; write AWG 22 or 0.34 mm2");
	if (ft_slice_find(f, FT_SLICE("mm2")) < f.n) { /* the 2 of mm2 is no part of the figure */
		text[n - 1] = '\0';
		if (!ft_figure((struct ft_slice){ text, n - 1 }, &value))
			return wrong(r, GAUGE, "is no gauge, such as AWG 22 or 0.34 mm2");
	}
	if (value < 0.05 || value > 10)
		return wrong(r, GAUGE, "cannot be; harnesses have 0.05 to 10 mm2");
	d->area_mm2 = value;
	return FT_OK;
}

/* "24 V AC", read at the transformer: what stays of it behind the bridge, with the same allowance for load and mains as
 * where nobody measured. False when the field holds no alternating volts. */
static bool take_transformer(const struct reading *r)
{
	struct ft_slice f = ft_slice_trim(ft_csv_field(r->row, r->column[VOLTS_AT]));
	enum quantity what;
	double rms;

	if (f.n < 3 || !ft_slice_eq_nocase((struct ft_slice){ f.p + f.n - 2, 2 }, FT_SLICE("AC")))
		return false;
	f = ft_slice_trim((struct ft_slice){ f.p, f.n - 2 });
	if (!figure(f, &what, &rms) || what != VOLTS || rms < TRANSFORMER_LEAST || rms > TRANSFORMER_MOST)
		return false;
	r->c->transformer_v = rms;
	r->c->volts = ft_supply_bridge(rms) * LIMIT_MAINS_LOW / 1000.0;
	return true;
}

static enum ft_status take_source(struct reading *r)
{
	struct ft_supply_chain *c = r->c;
	bool rated = false, reckoned = take_transformer(r);

	if (r->source_seen)
		return wrong(r, KIND, "stands there twice; a chain has one supply");
	r->source_seen = true;
	if ((!reckoned && take(r, VOLTS_AT, VOLTS, 5, 60, "34 V", &c->volts, &c->measured) != FT_OK) ||
	    take(r, CONTINUOUS, AMPERES, 0.1, 50, "4 A", &c->rating_a, &rated) != FT_OK)
		return r->e->status;
	return FT_OK;
}

static void fill_in(struct ft_supply_device *d, size_t kind, int given)
{
	double volts = defaults[kind].least_mv / 1000.0;

	if (given == FT_SUPPLY_CASES)
		return;
	/* the standard's currents hold at the least volts: of a load of constant power that is its power there */
	if (!given)
		d->power = defaults[kind].load == LOAD_POWER;
	for (int k = 0; k < FT_SUPPLY_CASES; k++)
		if (d->load[k] < 0)
			d->load[k] = defaults[kind].milli[k] / 1000.0 * (d->power ? volts : 1);
	d->assumed = true;
}

static enum ft_status take_device(struct reading *r, struct ft_arena *a)
{
	struct ft_supply_device *d = &r->c->devices[r->c->count];
	struct ft_slice kind = ft_csv_field(r->row, r->column[KIND]), name = ft_csv_field(r->row, r->column[DEVICE]);
	size_t known = 0;
	bool given = false, length = false;
	int loads;

	if (r->c->count == FT_SUPPLY_DEVICES_MAX)
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: more than %d devices hang on no bus.", r->what, r->row->line,
		               FT_SUPPLY_DEVICES_MAX);
	*d = (struct ft_supply_device){ .load = { -1, -1, -1 },
		                            .least_v = LIMIT_VOLTS_LEAST / 1000.0,
		                            .area_mm2 = ft_supply_awg_area(22),
		                            .temperature_c = LIMIT_WARM / 1000.0,
		                            .line = r->row->line };
	while (known < sizeof defaults / sizeof *defaults && !ft_slice_eq_nocase(kind, ft_slice_of(defaults[known].device)))
		known++;
	d->name = ft_arena_text(a, name.n ? name : kind);
	if (!d->name)
		return ft_fail_memory(r->e, "reading the chain");
	if (take(r, VOLTS_AT, VOLTS, 0, 60, "20 V", &d->least_v, &given) != FT_OK || take_loads(r, d, &loads) != FT_OK ||
	    take(r, LENGTH_AT, LENGTH, 0, 100, "1.5 m", &d->length_m, &length) != FT_OK || take_gauge(r, d) != FT_OK ||
	    take(r, TEMPERATURE, DEGREES, -40, 105, "40 C", &d->temperature_c, &given) != FT_OK ||
	    take(r, MEASURED, VOLTS, 0.1, 60, "31.2 V", &d->measured_v, &given) != FT_OK)
		return r->e->status;
	d->unmeasured_run = !length;
	if (known < sizeof defaults / sizeof *defaults) {
		fill_in(d, known, loads);
	} else {
		if (d->load[FT_SUPPLY_CONTINUOUS] < 0)
			return wrong(r, CONTINUOUS, "is missing; only of changer, validator, reader and unit are figures known");
		d->load[FT_SUPPLY_IDLE] = d->load[FT_SUPPLY_IDLE] < 0 ? d->load[FT_SUPPLY_CONTINUOUS] : d->load[FT_SUPPLY_IDLE];
		d->load[FT_SUPPLY_PEAK] = d->load[FT_SUPPLY_PEAK] < 0 ? d->load[FT_SUPPLY_CONTINUOUS] : d->load[FT_SUPPLY_PEAK];
	}
	d->unit = ft_slice_eq_nocase(kind, FT_SLICE("unit"));
	r->c->count++;
	return FT_OK;
}

enum ft_status ft_supply_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_supply_chain *ret,
                              struct ft_error *e)
{
	struct ft_csv t = { 0 };
	struct reading r = { .what = what, .t = &t, .c = ret, .e = e };
	enum ft_status s = ft_csv_read(bytes, what, a, &t, e);

	/* the nominal volts less the mains' ten per cent, where nobody measured */
	*ret = (struct ft_supply_chain){ .volts = LIMIT_VOLTS_NOMINAL / 1000.0 * LIMIT_MAINS_LOW / 1000.0,
		                             .rating_a = NAN,
		                             .strand = LIMIT_STRAND / 1000.0,
		                             .contact_ohm = LIMIT_CONTACT / 1000.0 };
	if (s != FT_OK)
		return s;
	for (int i = 0; i < COLUMNS; i++)
		r.column[i] = ft_csv_column(&t, columns[i]);
	if (r.column[KIND] < 0)
		return ft_fail(e, FT_E_INPUT, "%s has no column kind; fettle supply --template prints a table to fill in.",
		               what);
	ret->devices = FT_NEW_ARRAY(a, FT_SUPPLY_DEVICES_MAX, struct ft_supply_device);
	if (!ret->devices)
		return ft_fail_memory(e, "reading the chain");
	for (size_t i = 0; s == FT_OK && i < t.count; i++) {
		r.row = &t.rows[i];
		s = ft_slice_eq_nocase(ft_csv_field(r.row, r.column[KIND]), FT_SLICE("supply")) ? take_source(&r)
																						: take_device(&r, a);
	}
	if (s == FT_OK && !ret->count)
		return ft_fail(e, FT_E_INPUT, "%s names no device; one row each, in their order along the harness.", what);
	return s;
}

void ft_supply_template(struct ft_buf *out)
{
	/* Nothing of the supply is filled in: a figure that stands there already would be taken for measured. */
	ft_buf_puts(out,
	            "device,kind,volts,idle,continuous,peak,length,gauge,temperature,measured\n"
	            "# The source first. volts: at its terminals while a bill is drawn in, such as 32 V;\n"
	            "# continuous: what its plate says it bears, such as 4 A.\n"
	            "bus supply,supply,,,,,,,,\n"
	            "# Then each device in its order along the harness, with the run of cable before it. Take the\n"
	            "# currents from data sheets, such as 250 mA or 6 W; those left empty are defaults from memory.\n"
	            "# measured: volts at its plug while a bill is drawn in; it may stay empty.\n"
	            "telemetry unit,unit,20 V,,,,1.5 m,AWG 22,40 C,\n"
	            "bill validator,validator,20 V,,,,0.5 m,AWG 22,40 C,\n"
	            "coin changer,changer,20 V,,,,0.5 m,AWG 22,40 C,\n"
	            "card reader,reader,20 V,,,,1 m,AWG 24,40 C,\n");
}
