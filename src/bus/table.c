/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of time and levels: a row a change or a row a sample, logic levels or volts. */
#include <math.h>
#include <stdio.h>

#include "capture.h"
#include "table.h"

#include "fettle/stamp.h"

enum {
	COLUMNS = FT_BUS_CHANNELS_MAX + 1,
	HELD_ROWS =
		16384, /* held back to learn what is high; a hundredth of a second of samples or some seconds of changes */
};

struct table {
	char separator;
	int time; /* column; -1: there is none, rows are samples of a rate told in a remark */
	unsigned columns;
	double to_ns;       /* of the time column; 0: not known yet */
	bool headed, timed; /* ... by a heading that names the time */
	bool bits;          /* the time column had nothing but 0 and 1: it is none */
	struct table_level levels[COLUMNS];
	double *held; /* rows of `columns` */
	unsigned held_count;
	bool any; /* there was a row */
	double first, last;
	double rate;   /* samples a second, from a remark; 0: none */
	uint64_t rows; /* sent */
	uint32_t sent;
};

static bool looks_like(struct ft_slice head)
{
	size_t commas = 0, digits = 0, odd = 0;

	for (size_t i = 0; i < head.n; i++) {
		unsigned char ch = (unsigned char)head.p[i];
		commas += ch == ',' || ch == ';' || ch == '\t';
		digits += ch >= '0' && ch <= '9';
		odd += ch == 0 || (ch < 32 && ch != '\n' && ch != '\r' && ch != '\t');
	}
	return !odd && commas && digits && head.p[0] != '$' && ft_slice_find(head, FT_SLICE("DXS*")) == head.n;
}

static enum ft_status wrong(struct bus_capture *c, const char *what, struct ft_error *e)
{
	return ft_fail(e, FT_E_INPUT, "%s, line %u: %s.", c->o.name, c->info.line, what);
}

static struct ft_slice unquoted(struct ft_slice s)
{
	s = ft_slice_trim(s);
	if (s.n >= 2 && s.p[0] == '"' && s.p[s.n - 1] == '"')
		s = (struct ft_slice){ s.p + 1, s.n - 2 };
	return s;
}

/* A separator between quotes separates nothing. */
static unsigned split(struct ft_slice line, char separator, struct ft_slice *ret)
{
	unsigned n = 0;
	size_t from = 0;
	bool quoted = false;

	for (size_t i = 0; i <= line.n && n < COLUMNS; i++) {
		quoted ^= i < line.n && line.p[i] == '"';
		if (i < line.n && (quoted || line.p[i] != separator))
			continue;
		ret[n++] = unquoted((struct ft_slice){ line.p + from, i - from });
		from = i + 1;
	}
	while (n && !ret[n - 1].n) /* a separator at the end opens no column */
		n--;
	return n;
}

static char separator_of(struct ft_slice line)
{
	static const char candidates[] = { '\t', ';', ',' };

	for (size_t i = 0; i < sizeof candidates; i++) {
		bool quoted = false;
		for (size_t k = 0; k < line.n; k++) {
			quoted ^= line.p[k] == '"';
			if (!quoted && line.p[k] == candidates[i])
				return candidates[i];
		}
	}
	return ',';
}

/* The unit in a heading such as "Time [s]", "time_us", "X (ms)"; 0: it names none. */
static double unit_of(struct ft_slice heading)
{
	static const struct {
		const char *mark;
		double ns;
	} units[] = { { "ns", 1 },       { "us", 1e3 },  { "\302\265s", 1e3 }, { "micro", 1e3 }, { "ms", 1e6 },
		          { "millis", 1e6 }, { "[s]", 1e9 }, { "(s)", 1e9 },       { "second", 1e9 } };

	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (ft_slice_holds(heading, units[i].mark) && !(units[i].ns == 1 && ft_slice_holds(heading, "transition")))
			return units[i].ns;
	if (ft_slice_eq_nocase(heading, FT_SLICE("s")) || ft_slice_eq_nocase(heading, FT_SLICE("sec")))
		return 1e9;
	return heading.n > 2 && heading.p[heading.n - 1] == 's' && heading.p[heading.n - 2] == '_' ? 1e9 : 0;
}

static bool is_time(struct ft_slice heading)
{
	return ft_slice_holds(heading, "time") || ft_slice_eq_nocase(heading, FT_SLICE("t")) ||
		ft_slice_eq_nocase(heading, FT_SLICE("x")) || ft_slice_holds(heading, "second");
}

static int time_column(const struct ft_slice *f, unsigned n)
{
	for (unsigned i = 0; i < n; i++)
		if (is_time(f[i]))
			return (int)i;
	return -1;
}

static enum ft_status columns(struct bus_capture *c, struct table *t, const struct ft_slice *f, unsigned n,
                              bool heading, struct ft_error *e)
{
	memset(c->info.channels, 0, sizeof c->info.channels); /* what stood before was no heading after all */
	c->info.channel_count = c->info.channels_passed_over = 0;
	t->columns = n;
	t->time = heading ? time_column(f, n) : -1;
	t->timed = t->time >= 0;
	t->to_ns = t->timed ? unit_of(f[t->time]) : 0;
	if (t->time < 0 && t->rate <= 0) /* no heading says it: the first column then */
		t->time = 0;
	if (t->time < 0) {
		c->info.resolution_ns = t->rate < 1e9 ? (int64_t)ceil(fmin(1e9 / t->rate, 9e18)) : 1;
		if (bus_capture_too_coarse(c->info.resolution_ns))
			return wrong(c, "the rate that the remark tells is too slow for a bus of 9600 bit/s; take 100000 or more",
			             e);
	}
	if (n < (t->time >= 0 ? 2U : 1U))
		return wrong(c, "a capture needs a time and at least one level", e);
	for (unsigned i = 0; i < n; i++) {
		char name[16];
		snprintf(name, sizeof name, "%u", (unsigned)c->info.channel_count);
		if ((int)i != t->time)
			bus_capture_channel(c, heading && f[i].n ? f[i] : ft_slice_of(name));
	}
	t->headed = true;
	return FT_OK;
}

/* "kHz", "MS/s", "GSa/s" behind a figure. */
static double times_of(struct ft_slice unit)
{
	static const struct {
		char letter;
		double factor;
	} prefixes[] = { { 'k', 1e3 }, { 'm', 1e6 }, { 'g', 1e9 } };

	unit = ft_slice_trim(unit);
	for (size_t i = 0; unit.n > 2 && i < sizeof prefixes / sizeof *prefixes; i++)
		if ((unit.p[0] | 0x20) == prefixes[i].letter && ((unit.p[1] | 0x20) == 'h' || (unit.p[1] | 0x20) == 's'))
			return prefixes[i].factor;
	return 1;
}

/* "; Samplerate: 1 MHz", "# rate 1000000", "# sample rate 2 MS/s". */
static void remark(struct table *t, struct ft_slice line)
{
	size_t at = 0;
	double rate;
	struct ft_slice number;

	if (!ft_slice_holds(line, "rate"))
		return;
	while (at < line.n && !ft_is_digit(line.p[at]))
		at++;
	number.p = line.p + at;
	for (number.n = 0; at < line.n && (ft_is_digit(line.p[at]) || line.p[at] == '.'); at++)
		number.n++;
	if (!ft_figure(number, &rate))
		return;
	t->rate = rate * times_of((struct ft_slice){ line.p + at, line.n - at });
}

static enum ft_status send(struct bus_capture *c, struct table *t, const double *row, struct ft_error *e)
{
	uint32_t levels = 0;
	unsigned channel = 0;
	double at = t->time >= 0 ? (row[t->time] - fmin(t->first, 0)) * t->to_ns : (double)t->rows * 1e9 / t->rate;

	t->rows++;
	if (!(at >= 0 && at < 9e18))
		return wrong(c, "the time is beyond all bounds", e);
	for (unsigned i = 0; i < t->columns; i++) {
		if ((int)i == t->time || channel >= FT_BUS_CHANNELS_MAX)
			continue;
		levels |= (uint32_t)(row[i] > t->levels[i].threshold) << channel++;
	}
	c->info.end_ns = (int64_t)at;
	if (c->begun && levels == t->sent)
		return FT_OK;
	c->begun = true;
	t->sent = levels;
	return bus_capture_edge(c, (int64_t)(at + 0.5), levels, e);
}

/* What the rows held tell of the levels, then the rows themselves. */
static enum ft_status send_held(struct bus_capture *c, struct table *t, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	for (unsigned i = 0; i < t->columns; i++)
		if ((int)i != t->time)
			table_learn_level(&t->levels[i], t->held + i, t->columns, t->held_count);
	if (t->time >= 0 && t->to_ns <= 0)
		t->to_ns = table_learn_unit(t->held, t->columns, (unsigned)t->time, t->levels, t->held_count);
	if (t->rows == 0 && t->time >= 0)
		c->info.resolution_ns = table_learn_tick(t->held, t->columns, (unsigned)t->time, t->held_count, t->to_ns);
	for (unsigned i = 0; s == FT_OK && i < t->held_count; i++)
		s = send(c, t, t->held + (size_t)i * t->columns, e);
	t->held_count = 0;
	return s;
}

static enum ft_status row(struct bus_capture *c, struct table *t, const struct ft_slice *f, unsigned n,
                          struct ft_error *e)
{
	double *values;

	if (n < t->columns)
		return wrong(c, "the row has fewer columns than the first", e);
	if (!t->held)
		t->held = ft_arena_array(c->arena, (size_t)HELD_ROWS * t->columns, sizeof *t->held);
	if (!t->held)
		return ft_fail_memory(e, "reading the capture");
	values = t->held + (size_t)t->held_count * t->columns;
	for (unsigned i = 0; i < t->columns; i++)
		if (f[i].n == 1 && ft_is_digit(f[i].p[0])) /* most are */
			values[i] = f[i].p[0] - '0';
		else if (!ft_figure(f[i], &values[i]))
			return wrong(c, "a field is no number", e);
	if (t->time >= 0) {
		double now = values[t->time];
		t->bits = (t->bits || !t->any) && (now == 0 || now == 1);
		if (t->any && now < t->last)
			return wrong(c,
			             t->bits ? "there is no column of times, nor a remark ahead that tells the rate, such as "
			                       "# rate 1000000"
			                     : "the time runs backwards",
			             e);
		if (!t->any)
			t->first = now;
		t->last = now;
	}
	t->any = true;
	return ++t->held_count == HELD_ROWS ? send_held(c, t, e) : FT_OK;
}

/* Ahead of the rows: a title, what the recorder was set to, the heading, and under it the units. The last line of two
 * columns or more is the heading. */
static enum ft_status ahead(struct bus_capture *c, struct table *t, const struct ft_slice *f, unsigned n,
                            struct ft_error *e)
{
	if (t->headed && n == t->columns && t->time >= 0 && unit_of(f[t->time]) > 0) {
		t->to_ns = unit_of(f[t->time]);
		return FT_OK;
	}
	if (n < (t->rate > 0 ? 1 : 2) || (t->timed && n == t->columns && time_column(f, n) < 0))
		return FT_OK;
	return columns(c, t, f, n, true, e);
}

static enum ft_status line(struct bus_capture *c, struct ft_slice s, struct ft_error *e)
{
	struct table *t = c->reader;
	struct ft_slice f[COLUMNS];
	unsigned n;
	double first;

	if (c->info.line == 1 && s.n >= 3 && memcmp(s.p, "\xef\xbb\xbf", 3) == 0)
		s = (struct ft_slice){ s.p + 3, s.n - 3 };
	if (!ft_slice_trim(s).n)
		return FT_OK;
	if (s.p[0] == ';' || s.p[0] == '#') {
		remark(t, s);
		return FT_OK;
	}
	if (!t->any) {
		t->separator = separator_of(s);
		n = split(s, t->separator, f);
		if (n && !ft_figure(f[0], &first))
			return ahead(c, t, f, n, e);
		if (!t->headed) {
			enum ft_status status = columns(c, t, f, n, false, e);
			if (status != FT_OK)
				return status;
		}
	} else {
		n = split(s, t->separator, f);
	}
	return row(c, t, f, n, e);
}

static enum ft_status end(struct bus_capture *c, struct ft_error *e)
{
	struct table *t = c->reader;

	if (!t->any)
		return ft_fail(e, FT_E_INPUT, "%s holds no row of times and levels.", c->o.name);
	return send_held(c, t, e);
}

const struct bus_format bus_format_table = {
	.format = FT_BUS_CSV, .reader_size = sizeof(struct table), .looks_like = looks_like, .line = line, .end = end
};
