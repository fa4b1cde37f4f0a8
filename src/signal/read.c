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
	int net[3], net_last; /* last <stat> of each kind, -1 none */
	bool asks_sim;        /* the command before was AT+CPIN? */
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
	if (name.n > FT_SIGNAL_NAME - 1) /* cut before it is compared, or each reading would make a place of its own */
		for (name.n = FT_SIGNAL_NAME - 1; name.n && ((unsigned char)name.p[name.n] & 0xc0) == 0x80;)
			name.n--;
	for (int i = 0; i < r->log->position_count; i++)
		if (ft_slice_eq_nocase(name, ft_slice_of(r->log->positions[i]))) {
			r->position = i;
			return FT_OK;
		}
	if (r->log->position_count == FT_SIGNAL_POSITIONS_MAX)
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: more than %d positions were surveyed; split the log.", r->what,
		               r->line, FT_SIGNAL_POSITIONS_MAX);
	r->position = r->log->position_count++;
	snprintf(r->log->positions[r->position], FT_SIGNAL_NAME, "%.*s", (int)name.n, name.p ? name.p : "");
	return FT_OK;
}

static enum ft_status answer(struct reading *r, struct ft_slice line)
{
	static const char word[] = "position";
	struct ft_signal_line said;
	struct ft_signal_sample *x = &said.sample;

	if (line.n >= strlen(word) && ft_slice_eq_nocase((struct ft_slice){ line.p, strlen(word) }, ft_slice_of(word)))
		return place(r, (struct ft_slice){ line.p + strlen(word), line.n - strlen(word) });
	switch (ft_signal_line(line, &said)) {
	case FT_SIGNAL_SAYS_LEVEL:
		return add(r, x->metric, x->index, x->low, x->high, x->quality);
	case FT_SIGNAL_SAYS_UNKNOWN:
		r->log->unknown++;
		break;
	case FT_SIGNAL_SAYS_WRONG:
		if (said.counted)
			return ft_fail(r->e, FT_E_INPUT, "%s, line %u: +CESQ has 6 or 9 values, not %d.", r->what, r->line,
			               said.number);
		return ft_fail(r->e, FT_E_INPUT, "%s, line %u: %d is no %s that a modem reports.", r->what, r->line,
		               said.number, ft_signal_metric_word(x->metric));
	case FT_SIGNAL_SAYS_NET:
		r->net[said.net] = said.number;
		r->net_last = said.net;
		break;
	case FT_SIGNAL_SAYS_SIM:
		r->log->sim = said.number;
		break;
	case FT_SIGNAL_OTHER:
		if (r->asks_sim && ft_slice_holds(line, "+CME ERROR"))
			r->log->sim = 0;
		break;
	}
	if (line.n && (line.p[0] == 'A' || line.p[0] == 'a')) /* the command itself, where the log holds it */
		r->asks_sim = ft_slice_holds(line, "+CPIN?");
	return FT_OK;
}

/* A modem may be in one kind of net and not in another; one that carries data is enough. */
static void net(struct reading *r)
{
	bool usable;

	if (r->net_last < 0)
		return;
	r->log->registration = r->net[r->net_last];
	for (int i = 0; i < 3; i++) {
		ft_signal_net_word(r->net[i], &usable);
		if (!usable)
			continue;
		r->log->registration = r->net[i];
		r->log->registered = true;
		r->log->lte |= i == 2;
	}
}

static enum ft_status answers(struct reading *r, struct ft_slice bytes)
{
	struct ft_slice line;
	enum ft_status s = FT_OK;

	while (s == FT_OK && ft_slice_split(&bytes, '\n', &line)) {
		r->line++;
		if (line.n && line.p[line.n - 1] == '\r')
			line.n--;
		line = ft_slice_trim(line);
		if (!line.n || line.p[0] != '#')
			s = answer(r, line);
	}
	net(r);
	return s;
}

static int heading_with(const struct ft_csv *t, const char *word)
{
	for (unsigned k = 0; k < t->head.count; k++)
		if (ft_slice_holds(t->head.fields[k], word))
			return (int)k;
	return -1;
}

/* A figure between `least` and `most`; an empty field is none where that may be. */
static enum ft_status cell(struct reading *r, const struct ft_csv_row *row, int column, bool may_lack, double least,
                           double most, double *ret)
{
	struct ft_slice f = ft_csv_field(row, column);

	*ret = NAN;
	if (may_lack && !f.n)
		return FT_OK;
	if (ft_figure(f, ret) && *ret >= least && *ret <= most)
		return FT_OK;
	return ft_fail(r->e, FT_E_INPUT, "%s, line %u: \"%.*s\" is no level in %s; it lies between %g and %g.", r->what,
	               r->line, (int)(f.n < 30 ? f.n : 30), f.p ? f.p : "", least < -100 ? "dBm" : "dB", least, most);
}

/* Beside a column rsrp those of rssi and rsrq are taken too, so that the three can be held against one another. */
static enum ft_status table(struct reading *r, struct ft_slice bytes)
{
	static const struct {
		const char *heading;
		enum ft_signal_metric metric;
	} headings[] = { { "rsrp", FT_SIGNAL_RSRP }, { "rssi", FT_SIGNAL_RSSI }, { "dbm", FT_SIGNAL_DBM } };
	struct ft_csv t = { 0 };
	enum ft_signal_metric metric = FT_SIGNAL_METRICS;
	enum ft_status s = ft_csv_read(bytes, r->what, r->a, &t, r->e);
	int column = -1, where, total = -1, quality = -1;

	if (s != FT_OK)
		return s;
	for (size_t i = 0; column < 0 && i < sizeof headings / sizeof *headings; i++) {
		column = heading_with(&t, headings[i].heading);
		metric = headings[i].metric;
	}
	if (column < 0)
		return ft_fail(r->e, FT_E_INPUT, "%s holds neither answers of a modem nor a column rsrp, rssi or dbm.",
		               r->what);
	if (metric == FT_SIGNAL_RSRP) {
		total = heading_with(&t, "rssi");
		quality = heading_with(&t, "rsrq");
	}
	where = ft_csv_column(&t, "position");
	for (size_t i = 0; s == FT_OK && i < t.count; i++) {
		double v, all = NAN, ratio = NAN;
		r->line = t.rows[i].line;
		if (where >= 0)
			s = place(r, ft_csv_field(&t.rows[i], where));
		if (s == FT_OK)
			s = cell(r, &t.rows[i], column, false, -160, -10, &v);
		if (s == FT_OK && total >= 0)
			s = cell(r, &t.rows[i], total, true, -160, -10, &all);
		if (s == FT_OK && quality >= 0)
			s = cell(r, &t.rows[i], quality, true, -43, 20, &ratio);
		if (s == FT_OK && isfinite(all))
			s = add(r, FT_SIGNAL_RSSI, -1, all - 0.5, all + 0.5, NAN);
		if (s == FT_OK) /* tools print whole decibels */
			s = add(r, metric, -1, v - 0.5, v + 0.5, ratio);
	}
	return s;
}

enum ft_status ft_signal_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_signal_log *ret,
                              struct ft_error *e)
{
	struct reading r = { .what = what, .a = a, .log = ret, .net = { -1, -1, -1 }, .net_last = -1, .e = e };
	bool modem = ft_slice_holds(bytes, "+CSQ:") || ft_slice_holds(bytes, "+CESQ:");
	enum ft_status s;

	*ret = (struct ft_signal_log){ .registration = -1, .sim = -1 };
	s = place(&r, FT_SLICE("here"));
	if (s == FT_OK)
		s = modem ? answers(&r, bytes) : table(&r, bytes);
	if (s == FT_OK && !ret->count && !ret->unknown)
		return ft_fail(e, FT_E_INPUT, "%s holds no reading of a level.", what);
	return s;
}
