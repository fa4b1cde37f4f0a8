/* SPDX-License-Identifier: Apache-2.0 */
/* Which lead of the kit reaches the antenna's place and still leaves what is asked. */
#include <math.h>

#include "fettle/csv.h"
#include "fettle/signal.h"
#include "fettle/stamp.h"

enum limit {
#define ROW(ident, limit, value, ...) LIMIT_##ident = value,
#include "signal-limits.inc"
#undef ROW
};

enum { METRES_MAX = 100, CONNECTORS_MAX = 10, CONNECTORS_USUAL = 2 }; /* ours: beyond them it is a slip of the pen */

static bool class_of(struct ft_slice name, struct ft_signal_cable *ret)
{
	size_t n;
	const struct ft_signal_cable *all = ft_signal_cables(&n);

	for (size_t i = 0; i < n; i++)
		if (ft_slice_eq_nocase(name, ft_slice_of(all[i].name))) {
			*ret = all[i];
			return true;
		}
	return false;
}

static bool whole(double v)
{
	return v >= 0 && v <= CONNECTORS_MAX && v == floor(v);
}

bool ft_signal_lead_of(const char *text, struct ft_signal_lead *ret)
{
	struct ft_slice rest = ft_slice_of(text), name, part, points, number;
	double v[4], connectors = CONNECTORS_USUAL;
	size_t k = 0;

	*ret = (struct ft_signal_lead){ .name = text };
	if (!ft_slice_split(&rest, ':', &name) || !ft_slice_split(&rest, ':', &part) || !ft_figure(part, &ret->metres) ||
	    !(ret->metres >= 0 && ret->metres <= METRES_MAX) ||
	    (rest.p && (!ft_figure(rest, &connectors) || !whole(connectors))))
		return false;
	ret->connectors = (int)connectors;
	if (class_of(name, &ret->cable))
		return true;
	for (points = name; k < 4 && ft_slice_split(&points, ',', &part);) {
		if (!ft_slice_split(&part, '=', &number) || !ft_figure(number, &v[k]) || !ft_figure(part, &v[k + 1]))
			return false;
		k += 2;
	}
	return k == 4 && !points.p && ft_signal_fit(v[0], v[1], v[2], v[3], &ret->cable);
}

struct kit {
	struct ft_csv table;
	const char *what;
	int name, length, cable, connectors, points[4];
	struct ft_error *e;
};

static enum ft_status wrong(const struct kit *k, const struct ft_csv_row *row, const char *why)
{
	return ft_fail(k->e, FT_E_INPUT, "%s, line %u: %s.", k->what, row->line, why);
}

static enum ft_status take_lead(const struct kit *k, const struct ft_csv_row *row, struct ft_arena *a,
                                struct ft_signal_lead *l)
{
	struct ft_slice cable = ft_csv_field(row, k->cable), connectors = ft_csv_field(row, k->connectors);
	double v[4], n = CONNECTORS_USUAL;
	int given = 0;

	*l = (struct ft_signal_lead){ .line = row->line, .name = ft_arena_text(a, ft_csv_field(row, k->name)) };
	if (!l->name)
		return ft_fail_memory(k->e, "reading the kit");
	if (!l->name[0])
		return wrong(k, row, "the lead has no name");
	if (!ft_figure(ft_csv_field(row, k->length), &l->metres) || !(l->metres > 0 && l->metres <= METRES_MAX))
		return wrong(k, row, "length_m takes metres, up to 100");
	if (connectors.n && (!ft_figure(connectors, &n) || !whole(n)))
		return wrong(k, row, "connectors takes a whole number up to 10");
	l->connectors = (int)n;
	for (int i = 0; i < 4; i++)
		given += ft_csv_field(row, k->points[i]).n > 0;
	if (!given)
		return class_of(cable, &l->cable)
			? FT_OK
			: wrong(k, row, "its cable is of no class known here; give two points of its data sheet");
	for (int i = 0; i < 4; i++)
		if (!ft_figure(ft_csv_field(row, k->points[i]), &v[i]))
			return wrong(k, row, "two points of a data sheet are four figures: f1_mhz, a1_db_100m, f2_mhz, a2_db_100m");
	return ft_signal_fit(v[0], v[1], v[2], v[3], &l->cable) ? FT_OK : wrong(k, row, "these two points make no cable");
}

enum ft_status ft_signal_kit_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                  struct ft_signal_lead **ret, size_t *ret_count, struct ft_error *e)
{
	static const char *const points[] = { "f1_mhz", "a1_db_100m", "f2_mhz", "a2_db_100m" };
	struct kit k = { .what = what, .e = e };
	enum ft_status s = ft_csv_read(bytes, what, a, &k.table, e);

	*ret_count = 0;
	if (s != FT_OK)
		return s;
	k.name = ft_csv_column(&k.table, "name");
	k.length = ft_csv_column(&k.table, "length_m");
	k.cable = ft_csv_column(&k.table, "cable");
	k.connectors = ft_csv_column(&k.table, "connectors");
	for (int i = 0; i < 4; i++)
		k.points[i] = ft_csv_column(&k.table, points[i]);
	if (k.name < 0 || k.length < 0)
		return ft_fail(e, FT_E_INPUT,
		               "%s is no kit: it needs the columns name and length_m; fettle signal --template "
		               "prints one to fill in.",
		               what);
	if (!k.table.count || k.table.count > FT_SIGNAL_LEADS_MAX)
		return ft_fail(e, FT_E_INPUT, "%s holds %zu leads; a kit has 1 to %d.", what, k.table.count,
		               FT_SIGNAL_LEADS_MAX);
	*ret = FT_NEW_ARRAY(a, k.table.count, struct ft_signal_lead);
	if (!*ret)
		return ft_fail_memory(e, "reading the kit");
	for (size_t i = 0; s == FT_OK && i < k.table.count; i++)
		s = take_lead(&k, &k.table.rows[i], a, &(*ret)[i]);
	*ret_count = s == FT_OK ? k.table.count : 0;
	return s;
}

static void judge(struct ft_signal_lead *l, const struct ft_signal_way *w, double ask, struct ft_arena *a)
{
	double cable = ft_signal_loss(&l->cable, w->mhz, l->metres, 0);

	l->loss = ft_signal_loss(&l->cable, w->mhz, l->metres, l->connectors);
	l->loss_most = l->loss + cable * l->cable.spread;
	l->margin = w->margin - l->loss;
	l->margin_least = w->margin - l->loss_most;
	l->surplus = l->metres - w->metres;
	l->surplus_loss = l->surplus > 0 ? ft_signal_loss(&l->cable, w->mhz, l->surplus, 0) : isnan(l->surplus) ? NAN : 0;
	l->recommended = false;
	if (l->surplus < 0) {
		l->fit = FT_SIGNAL_TOO_SHORT;
		l->why = ft_arena_printf(a, "%.1f m too short", -l->surplus);
	} else if (isnan(w->margin)) {
		l->fit = FT_SIGNAL_UNMEASURED;
		l->why = "no level was measured to hold it against";
	} else if (l->margin_least < ask) {
		l->fit = FT_SIGNAL_TOO_MUCH_LOSS;
		l->why = ft_arena_printf(a, "may leave %.1f dB where %.1f are asked", l->margin_least, ask);
	} else {
		l->fit = FT_SIGNAL_FITS;
		l->why = ft_arena_printf(a, "leaves %.1f dB or more", l->margin_least);
	}
}

int ft_signal_leads_judge(struct ft_signal_lead *leads, size_t n, const struct ft_signal_way *way, const char *name,
                          struct ft_arena *a, struct ft_findings *f)
{
	double ask = isnan(way->ask) ? LIMIT_MARGIN_ASKED / 10.0 : way->ask;
	struct ft_where where = { .file = name };
	int chosen = -1;

	for (size_t i = 0; i < n; i++) {
		const struct ft_signal_lead *best = chosen < 0 ? NULL : &leads[chosen];
		judge(&leads[i], way, ask, a);
		if (leads[i].fit == FT_SIGNAL_FITS &&
		    (!best || leads[i].metres < best->metres ||
		     (leads[i].metres == best->metres && leads[i].loss < best->loss)))
			chosen = (int)i;
	}
	if (isnan(way->metres))
		return -1; /* nobody said how far it is: they are only compared */
	if (chosen < 0) {
		if (n)
			ft_find(f, FT_RULE_SIGNAL_NO_LEAD, where, ft_arena_printf(a, "%zu lead%s", n, n == 1 ? "" : "s"),
			        ft_arena_printf(a, "one over %.1f m that leaves %.1f dB", way->metres, ask));
		return -1;
	}
	leads[chosen].recommended = true;
	for (size_t i = 0; i < n; i++)
		if ((int)i != chosen && leads[i].fit == FT_SIGNAL_FITS)
			leads[i].why = leads[i].metres > leads[chosen].metres ? "longer than it needs to be"
																  : "loses more than another of its length";
	if (leads[chosen].surplus > LIMIT_SURPLUS / 10.0)
		ft_find(f, FT_RULE_SIGNAL_LEAD_SURPLUS, where,
		        ft_arena_printf(a, "%.1f m of %s to spare, which lose %.1f dB", leads[chosen].surplus,
		                        leads[chosen].name, leads[chosen].surplus_loss),
		        ft_arena_printf(a, "%.1f m", way->metres));
	return chosen;
}
