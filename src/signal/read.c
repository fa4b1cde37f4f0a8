/* SPDX-License-Identifier: Apache-2.0 */
/* Modem answers and tables of levels. */
#include <math.h>
#include <stdio.h>

#include "fettle/csv.h"
#include "fettle/signal.h"
#include "fettle/stamp.h"

struct reading {
	const char *what;
	struct ft_arena *a;
	struct ft_signal_log *log;
	size_t room;
	unsigned line;
	int position;
	struct ft_error *e;
};

static enum ft_status add(struct reading *r, enum ft_signal_metric m, int index, double low, double high,
                          double quality)
{
	struct ft_signal_sample *grown = ft_arena_grow(r->a, r->log->samples, r->log->count, &r->room, sizeof *grown);

	if (!grown)
		return ft_fail_memory(r->e, "reading the signal log");
	r->log->samples = grown;
	grown[r->log->count++] = (struct ft_signal_sample){ m, index, low, high, quality, r->position, r->line };
	return FT_OK;
}

static enum ft_status place(struct reading *r, struct ft_slice name)
{
	name = ft_slice_trim(name);
	for (int i = 0; i < r->log->position_count; i++)
		if (ft_slice_eq_nocase(name, ft_slice_of(r->log->positions[i]))) {
			r->position = i;
			return FT_OK;
		}
	if (r->log->position_count == FT_SIGNAL_POSITIONS_MAX)
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: more than %d positions were surveyed; split the log.", r->what,
		               r->line, FT_SIGNAL_POSITIONS_MAX);
	r->position = r->log->position_count++;
	snprintf(r->log->positions[r->position], FT_SIGNAL_NAME, "%.*s",
	         (int)(name.n < FT_SIGNAL_NAME - 1 ? name.n : FT_SIGNAL_NAME - 1), name.p ? name.p : "");
	return FT_OK;
}

/* Whole numbers behind the colon; quoted parts count as absent (-1). */
static int numbers(struct ft_slice s, int *ret, int most)
{
	struct ft_slice part;
	int n = 0;

	while (n < most && ft_slice_split(&s, ',', &part)) {
		int64_t v;
		ret[n++] = ft_slice_i64(ft_slice_trim(part), &v) && v >= 0 && v < 1000 ? (int)v : -1;
	}
	return n;
}

static enum ft_status index_of(struct reading *r, enum ft_signal_metric m, int index, int unknown, double quality)
{
	double low, high;

	if (index == unknown)
		return FT_OK;
	if (!ft_signal_level(m, index, &low, &high))
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: %d is no %s that a modem reports.", r->what, r->line, index,
		               ft_signal_metric_word(m));
	return add(r, m, index, low, high, quality);
}

/* The best of what the modem measures: NR, else LTE, else UMTS, else GSM; all unknown counts as such. */
static enum ft_status cesq(struct reading *r, struct ft_slice values)
{
	int v[9] = { 99, 99, 255, 255, 255, 255, 255, 255, 255 };
	int n = numbers(values, v, 9);
	size_t before = r->log->count;
	enum ft_status s;

	if (n != 6 && n != 9)
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: +CESQ has 6 or 9 values, not %d.", r->what, r->line, n);
	if (n == 9 && v[7] != 255)
		s = index_of(r, FT_SIGNAL_NR, v[7], 255, NAN);
	else if (v[5] != 255)
		s = index_of(r, FT_SIGNAL_RSRP, v[5], 255, ft_signal_rsrq_low(v[4]));
	else if (v[2] != 255)
		s = index_of(r, FT_SIGNAL_RSCP, v[2], 255, NAN);
	else
		s = index_of(r, FT_SIGNAL_RXLEV, v[0], 99, NAN);
	r->log->unknown += s == FT_OK && r->log->count == before;
	return s;
}

static enum ft_status csq(struct reading *r, struct ft_slice values)
{
	int v[2] = { -1, -1 };
	size_t before = r->log->count;
	enum ft_status s;

	numbers(values, v, 2);
	if (v[0] >= 100 && v[0] <= 191) /* TD-SCDMA of some makers: -116 + (n - 100) */
		return add(r, FT_SIGNAL_DBM, v[0], -117.0 + v[0] - 100, -116.0 + v[0] - 100, NAN);
	s = index_of(r, FT_SIGNAL_RSSI, v[0], 99, NAN);
	r->log->unknown += s == FT_OK && r->log->count == before;
	return s;
}

/* Read form "<n>,<stat>[,...]", unsolicited form "<stat>[,...]": two leading whole numbers, or one. */
static void registration(struct reading *r, struct ft_slice values)
{
	int v[3] = { -1, -1, -1 };
	int n = numbers(values, v, 3);

	r->log->registration = n >= 2 && v[1] >= 0 ? v[1] : v[0];
	r->log->registered = r->log->registration == 1 || r->log->registration == 5;
}

static bool begins(struct ft_slice *line, const char *word)
{
	struct ft_slice head = { line->p, strlen(word) };

	if (line->n < head.n || !ft_slice_eq_nocase(head, ft_slice_of(word)))
		return false;
	line->p += head.n;
	line->n -= head.n;
	return true;
}

static enum ft_status answer(struct reading *r, struct ft_slice line)
{
	size_t at;

	if (begins(&line, "position"))
		return place(r, line);
	for (at = 0; at < line.n && line.p[at] != '+'; at++)
		;
	line = (struct ft_slice){ line.p + at, line.n - at };
	if (begins(&line, "+CSQ:"))
		return csq(r, line);
	if (begins(&line, "+CESQ:"))
		return cesq(r, line);
	if (begins(&line, "+CREG:") || begins(&line, "+CGREG:") || begins(&line, "+CEREG:"))
		registration(r, line);
	return FT_OK; /* OK, echoes, what was asked */
}

static enum ft_status answers(struct reading *r, struct ft_slice bytes)
{
	struct ft_slice line;
	enum ft_status s = FT_OK;

	while (s == FT_OK && ft_slice_split(&bytes, '\n', &line)) {
		r->line++;
		if (line.n && line.p[line.n - 1] == '\r')
			line.n--;
		s = answer(r, ft_slice_trim(line));
	}
	return s;
}

static enum ft_status table(struct reading *r, struct ft_slice bytes)
{
	static const struct {
		const char *heading;
		enum ft_signal_metric metric;
	} headings[] = { { "rsrp", FT_SIGNAL_RSRP }, { "rssi", FT_SIGNAL_RSSI }, { "dbm", FT_SIGNAL_DBM } };
	struct ft_csv t = { 0 };
	enum ft_signal_metric metric = FT_SIGNAL_METRICS;
	enum ft_status s = ft_csv_read(bytes, r->what, r->a, &t, r->e);
	int column = -1, where;

	if (s != FT_OK)
		return s;
	for (size_t i = 0; i < sizeof headings / sizeof *headings; i++)
		for (unsigned k = 0; column < 0 && k < t.head.count; k++)
			if (ft_slice_holds(t.head.fields[k], headings[i].heading)) {
				column = (int)k;
				metric = headings[i].metric;
			}
	if (column < 0)
		return ft_fail(r->e, FT_E_INPUT, "%s holds neither answers of a modem nor a column rsrp, rssi or dbm.",
		               r->what);
	where = ft_csv_column(&t, "position");
	for (size_t i = 0; s == FT_OK && i < t.count; i++) {
		struct ft_slice f = ft_csv_field(&t.rows[i], column);
		double v;
		r->line = t.rows[i].line;
		if (where >= 0)
			s = place(r, ft_csv_field(&t.rows[i], where));
		if (s == FT_OK && (!ft_figure(f, &v) || v > -10 || v < -160))
			s = ft_fail(r->e, FT_E_INPUT,
			            "%s, line %u: \"%.*s\" is no level in dBm; radio levels lie between -160 and -10.", r->what,
			            r->line, (int)(f.n < 30 ? f.n : 30), f.p ? f.p : "");
		if (s == FT_OK)
			s = add(r, metric, -1, v - 0.5, v + 0.5, NAN); /* tools print whole decibels */
	}
	return s;
}

enum ft_status ft_signal_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_signal_log *ret,
                              struct ft_error *e)
{
	struct reading r = { .what = what, .a = a, .log = ret, .e = e };
	bool modem = ft_slice_holds(bytes, "+CSQ:") || ft_slice_holds(bytes, "+CESQ:");
	enum ft_status s;

	*ret = (struct ft_signal_log){ .registration = -1 };
	s = place(&r, FT_SLICE("here"));
	if (s == FT_OK)
		s = modem ? answers(&r, bytes) : table(&r, bytes);
	if (s == FT_OK && !ret->count && !ret->unknown)
		return ft_fail(e, FT_E_INPUT, "%s holds no reading of a level.", what);
	return s;
}
