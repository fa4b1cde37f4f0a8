/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of time and levels: a row a change or a row a sample, logic levels or volts. */
#include <math.h>
#include <stdio.h>

#include "capture.h"

#include "fettle/stamp.h"

enum {
	COLUMNS = FT_BUS_CHANNELS_MAX + 1,
	LEARN_ROWS = 2000, /* held back until it is known what is a volt and what is high */
};

struct table {
	char separator;
	int time; /* column; -1: there is none, rows are samples of a rate told in a remark */
	unsigned columns;
	double to_ns; /* of the time column */
	bool headed, settled;
	bool decimal_comma;
	double least[COLUMNS], most[COLUMNS], threshold[COLUMNS];
	double (*held)[COLUMNS]; /* rows until settled */
	unsigned held_count;
	double first, before, last;
	double steps; /* sum of time steps, to guess the unit */
	double rate;  /* samples a second, from a remark; 0: none */
	uint64_t rows;
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

static enum ft_status begin(struct bus_capture *c, struct ft_error *e)
{
	struct table *t = c->reader;

	t->time = -2;
	t->held = ft_arena_array(c->arena, LEARN_ROWS, sizeof *t->held);
	return t->held ? FT_OK : ft_fail_memory(e, "reading the capture");
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

static unsigned split(const struct table *t, struct ft_slice line, struct ft_slice *ret)
{
	unsigned n = 0;
	struct ft_slice part;

	while (n < COLUMNS && ft_slice_split(&line, t->separator, &part))
		ret[n++] = unquoted(part);
	while (n && !ret[n - 1].n) /* a separator at the end opens no column */
		n--;
	return n;
}

static char separator_of(struct ft_slice line)
{
	static const char candidates[] = { '\t', ';', ',' };

	for (size_t i = 0; i < sizeof candidates; i++)
		if (memchr(line.p, candidates[i], line.n))
			return candidates[i];
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
	return heading.n > 2 && heading.p[heading.n - 1] == 's' && heading.p[heading.n - 2] == '_' ? 1e9 : 0;
}

static bool is_time(struct ft_slice heading)
{
	return ft_slice_holds(heading, "time") || ft_slice_eq_nocase(heading, FT_SLICE("t")) ||
		ft_slice_eq_nocase(heading, FT_SLICE("x")) || ft_slice_holds(heading, "second");
}

static enum ft_status columns(struct bus_capture *c, struct table *t, const struct ft_slice *f, unsigned n,
                              bool heading, struct ft_error *e)
{
	t->columns = n;
	t->time = -1;
	for (unsigned i = 0; heading && i < n; i++)
		if (t->time < 0 && is_time(f[i])) {
			t->time = (int)i;
			t->to_ns = unit_of(f[i]);
		}
	if (t->time < 0 && t->rate <= 0) /* no heading says it: the first column then */
		t->time = 0;
	if (n < (t->time >= 0 ? 2U : 1U))
		return wrong(c, "a capture needs a time and at least one level", e);
	for (unsigned i = 0; i < n; i++) {
		char name[16];
		snprintf(name, sizeof name, "%u", (unsigned)c->info.channel_count);
		t->least[i] = INFINITY;
		t->most[i] = -INFINITY;
		if ((int)i != t->time)
			bus_capture_channel(c, heading && f[i].n ? f[i] : ft_slice_of(name));
	}
	t->headed = true;
	return FT_OK;
}

/* "; Samplerate: 1 MHz", "# rate 1000000". */
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
	t->rate = rate * (ft_slice_holds(line, "mhz") ? 1e6 : ft_slice_holds(line, "khz") ? 1e3 : 1);
}

/* The unit of times that no heading names: a bus word lasts a millisecond, so its edges lie 0.1 to 1 ms apart and a
 * capture of many rows is neither a nanosecond nor a month long. */
static void guess_unit(struct table *t)
{
	double step = t->held_count > 1 ? (t->last - t->first) / (t->held_count - 1) : 0;

	if (t->to_ns > 0)
		return;
	if (step < 0.05)
		t->to_ns = 1e9; /* seconds */
	else if (step < 5)
		t->to_ns = 1e6;
	else if (step < 20000)
		t->to_ns = 1e3;
	else
		t->to_ns = 1;
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
		levels |= (uint32_t)(row[i] > t->threshold[i]) << channel++;
	}
	c->info.end_ns = (int64_t)at;
	if (c->begun && levels == t->sent)
		return FT_OK;
	c->begun = true;
	t->sent = levels;
	return bus_capture_edge(c, (int64_t)(at + 0.5), levels, e);
}

/* Between the lowest and the highest value seen; bare 0 and 1 give a half. One that never moves is logic. */
static enum ft_status settle(struct bus_capture *c, struct table *t, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	t->settled = true;
	guess_unit(t);
	for (unsigned i = 0; i < t->columns; i++)
		t->threshold[i] = t->most[i] - t->least[i] > 0.2 ? (t->most[i] + t->least[i]) / 2 : 0.5;
	for (unsigned i = 0; s == FT_OK && i < t->held_count; i++)
		s = send(c, t, t->held[i], e);
	return s;
}

static enum ft_status row(struct bus_capture *c, struct table *t, const struct ft_slice *f, unsigned n,
                          struct ft_error *e)
{
	double values[COLUMNS] = { 0 };

	if (n < t->columns)
		return wrong(c, "the row has fewer columns than the first", e);
	for (unsigned i = 0; i < t->columns; i++)
		if (!ft_figure(f[i], &values[i]))
			return wrong(c, "a field is no number", e);
	if (t->time >= 0) {
		double now = values[t->time];
		if ((t->rows || t->held_count) && now < t->last)
			return wrong(c, "the time runs backwards", e);
		if (!t->rows && !t->held_count)
			t->first = now;
		t->last = now;
	}
	for (unsigned i = 0; i < t->columns; i++) {
		t->least[i] = fmin(t->least[i], values[i]);
		t->most[i] = fmax(t->most[i], values[i]);
	}
	if (t->settled)
		return send(c, t, values, e);
	memcpy(t->held[t->held_count++], values, sizeof values);
	return t->held_count == LEARN_ROWS ? settle(c, t, e) : FT_OK;
}

static enum ft_status line(struct bus_capture *c, struct ft_slice s, struct ft_error *e)
{
	struct table *t = c->reader;
	struct ft_slice f[COLUMNS];
	unsigned n;
	double first;
	enum ft_status status;

	if (c->info.line == 1 && s.n >= 3 && memcmp(s.p, "\xef\xbb\xbf", 3) == 0)
		s = (struct ft_slice){ s.p + 3, s.n - 3 };
	if (!ft_slice_trim(s).n)
		return FT_OK;
	if (s.p[0] == ';' || s.p[0] == '#') {
		remark(t, s);
		return FT_OK;
	}
	if (!t->headed) {
		bool heading;
		t->separator = separator_of(s);
		n = split(t, s, f);
		heading = n && !ft_figure(f[0], &first);
		status = columns(c, t, f, n, heading, e);
		return status != FT_OK || heading ? status : row(c, t, f, n, e);
	}
	n = split(t, s, f);
	/* oscilloscopes write units under the headings */
	if (!t->rows && !t->held_count && n && !ft_figure(f[0], &first)) {
		if (t->time >= 0 && (unsigned)t->time < n && unit_of(f[t->time]) > 0)
			t->to_ns = unit_of(f[t->time]);
		return FT_OK;
	}
	return row(c, t, f, n, e);
}

static enum ft_status end(struct bus_capture *c, struct ft_error *e)
{
	struct table *t = c->reader;

	if (!t->headed || (!t->held_count && !t->rows))
		return ft_fail(e, FT_E_INPUT, "%s holds no row of times and levels.", c->o.name);
	return t->settled ? FT_OK : settle(c, t, e);
}

const struct bus_format bus_format_table = { .format = FT_BUS_CSV,
	                                         .reader_size = sizeof(struct table),
	                                         .looks_like = looks_like,
	                                         .begin = begin,
	                                         .line = line,
	                                         .end = end };
