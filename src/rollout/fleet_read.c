/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of machines, technicians, parts and distances as people keep them. */
#include <math.h>
#include <stdio.h>

#include "fettle/buf.h"
#include "fettle/rollout_fleet.h"
#include "fettle/stamp.h"
#include "fettle/time.h"

/* A table being read: where one stands, for messages. */
struct table {
	struct ft_csv csv;
	const struct ft_csv_row *row;
	const char *what;
	struct ft_arena *a;
	struct ft_error *e;
};

static enum ft_status bad(const struct table *t, const char *column, const char *wants)
{
	struct ft_slice s = ft_csv_field(t->row, ft_csv_column(&t->csv, column));

	return ft_fail(t->e, FT_E_INPUT, "%s, line %u, column %s: \"%.*s\" is not %s.", t->what, t->row->line, column,
	               s.n > 60 ? 60 : (int)s.n, s.p ? s.p : "", wants);
}

static struct ft_slice text(const struct table *t, const char *column)
{
	return ft_csv_field(t->row, ft_csv_column(&t->csv, column));
}

/* A figure within bounds, or `otherwise` where the field is empty (NAN: it must be there). */
static bool figure(const struct table *t, const char *column, double least, double most, double otherwise, double *ret)
{
	struct ft_slice s = text(t, column);
	char wants[96];

	*ret = otherwise;
	if (!s.n && !isnan(otherwise))
		return true;
	if (ft_figure(s, ret) && *ret >= least && *ret <= most)
		return true;
	snprintf(wants, sizeof wants, "a figure from %g to %g", least, most);
	return bad(t, column, wants) == FT_OK;
}

bool ft_fleet_hour(struct ft_slice s, int *ret_minutes)
{
	size_t colon = ft_slice_find(s, FT_SLICE(":"));
	int64_t h, m = 0;

	if (!ft_slice_i64((struct ft_slice){ s.p, colon }, &h) || h < 0 || h > 24)
		return false;
	if (colon < s.n &&
	    (s.n - colon != 3 || !ft_is_digit(s.p[colon + 1]) ||
	     !ft_slice_i64((struct ft_slice){ s.p + colon + 1, 2 }, &m) || m < 0 || m > 59))
		return false;
	if (h == 24 && m)
		return false;
	*ret_minutes = (int)(60 * h + m);
	return true;
}

static bool hour(const struct table *t, const char *column, int otherwise, int *ret)
{
	struct ft_slice s = text(t, column);

	*ret = otherwise;
	return !s.n || ft_fleet_hour(s, ret) || bad(t, column, "an hour as 07:30") == FT_OK;
}

bool ft_fleet_date(struct ft_slice s, int64_t *ret_day)
{
	int64_t y, m, d;

	if (s.n != 10 || s.p[4] != '-' || s.p[7] != '-' || !ft_slice_i64((struct ft_slice){ s.p, 4 }, &y) ||
	    !ft_slice_i64((struct ft_slice){ s.p + 5, 2 }, &m) || !ft_slice_i64((struct ft_slice){ s.p + 8, 2 }, &d) ||
	    y < 1970 || !ft_date_valid((int)y, (int)m, (int)d))
		return false;
	*ret_day = ft_days_of((int)y, (int)m, (int)d);
	return true;
}

char *ft_fleet_date_text(int64_t day, char out[FT_DATE_TEXT])
{
	const struct ft_civil c = ft_civil_of(day * 86400 * FT_SECOND, 0);

	snprintf(out, FT_DATE_TEXT, "%04d-%02d-%02d", c.year % 10000, c.month % 100, c.day % 100);
	return out;
}

static bool date(const struct table *t, const char *column, int64_t otherwise, int64_t *ret)
{
	struct ft_slice s = text(t, column);

	*ret = otherwise;
	return !s.n || ft_fleet_date(s, ret) || bad(t, column, "a date as 2026-11-30") == FT_OK;
}

static int weekday(struct ft_slice s)
{
	static const char names[7][4] = { "mon", "tue", "wed", "thu", "fri", "sat", "sun" };

	for (int i = 0; i < 7; i++)
		if (s.n >= 3 && ft_slice_eq_nocase((struct ft_slice){ s.p, 3 }, (struct ft_slice){ names[i], 3 }))
			return i;
	return -1;
}

/* "Mon-Fri", "mon, wed", "tue sat-sun" */
static bool days(const struct table *t, const char *column, unsigned *ret)
{
	struct ft_slice s = text(t, column);
	size_t at = 0;

	*ret = FT_DAYS_ALL;
	if (!s.n)
		return true;
	*ret = 0;
	while (at < s.n) {
		size_t end = at, dash;
		struct ft_slice one;
		int from, to;
		while (end < s.n && !strchr(" ,;/", s.p[end]))
			end++;
		one = (struct ft_slice){ s.p + at, end - at };
		at = end + 1;
		if (!one.n)
			continue;
		dash = ft_slice_find(one, FT_SLICE("-"));
		from = weekday((struct ft_slice){ one.p, dash });
		to = dash < one.n ? weekday((struct ft_slice){ one.p + dash + 1, one.n - dash - 1 }) : from;
		if (from < 0 || to < 0)
			return bad(t, column, "days of the week as Mon-Fri") == FT_OK;
		for (int d = from;; d = (d + 1) % 7) {
			*ret |= 1U << d;
			if (d == to)
				break;
		}
	}
	return true;
}

/* `needed`: columns without which nothing can be done, NULL behind them; `form` is the template that has them. */
static enum ft_status begin(struct table *t, struct ft_slice csv, const char *const *needed, const char *form)
{
	enum ft_status s = ft_csv_read(csv, t->what, t->a, &t->csv, t->e);

	for (; s == FT_OK && *needed; needed++)
		if (ft_csv_column(&t->csv, *needed) < 0)
			s = ft_fail(t->e, FT_E_INPUT,
			            "%s has no column %s; fettle rollout --template %s prints a table to fill in.", t->what,
			            *needed, form);
	return s;
}

static enum ft_status too_many(const struct table *t, const char *whom, int most)
{
	return ft_fail(t->e, FT_E_INPUT, "%s names %zu %s; at most %d can be planned at once.", t->what, t->csv.count, whom,
	               most);
}

/* ---- parts ---- */

int ft_fleet_part_of(struct ft_fleet *f, struct ft_slice part, struct ft_arena *a)
{
	struct ft_fleet_part *list;

	for (size_t i = 0; i < f->part_count; i++)
		if (ft_slice_eq_nocase(f->parts[i].part, part))
			return (int)i;
	list = ft_arena_grow(a, f->parts, f->part_count, &f->part_room, sizeof *list);
	if (!list)
		return -1;
	f->parts = list;
	list[f->part_count] = (struct ft_fleet_part){ .part = part, .name = part, .stock = -1, .arrives = INT64_MAX };
	return (int)f->part_count++;
}

enum ft_status ft_fleet_parts(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                              struct ft_error *e)
{
	static const char *const needed[] = { "part", NULL };
	struct table t = { .what = what, .a = a, .e = e };
	enum ft_status s = begin(&t, csv, needed, "parts");

	if (s == FT_OK && t.csv.count > FT_FLEET_PARTS_MAX)
		return too_many(&t, "parts", FT_FLEET_PARTS_MAX);
	for (size_t i = 0; s == FT_OK && i < t.csv.count; i++) {
		struct ft_fleet_part *p;
		double stock;
		int n;
		t.row = &t.csv.rows[i];
		if (!text(&t, "part").n)
			return bad(&t, "part", "the name of a part");
		n = ft_fleet_part_of(f, text(&t, "part"), a);
		if (n < 0)
			return ft_fail_memory(e, "reading the parts");
		p = &f->parts[n];
		if (p->line)
			return ft_fail(e, FT_E_INPUT, "%s, line %u: part \"%.*s\" stands in line %u already.", what, t.row->line,
			               FT_P(p->part), p->line);
		p->line = t.row->line;
		p->name = text(&t, "name").n ? text(&t, "name") : p->part;
		if (!figure(&t, "price", 0, 1e6, 0, &p->price) || !figure(&t, "weight", 0, 1e6, 0, &p->weight_g) ||
		    !figure(&t, "stock", -1, 1e6, -1, &stock) || !date(&t, "arrives", INT64_MAX, &p->arrives))
			return FT_E_INPUT;
		p->stock = (int)stock;
	}
	return s;
}

/* "bracket:0.3; tee; tie*4; switch:20%*2": part, chance and number. */
static enum ft_status kit(const struct table *t, struct ft_fleet *f, struct ft_fleet_machine *m)
{
	struct ft_slice rest = text(t, "kit"), item;
	struct ft_van_need list[FT_KIT_MAX], *copy;

	while (rest.n && ft_slice_split(&rest, ';', &item)) {
		struct ft_van_need *n = &list[m->kit_count];
		size_t star = ft_slice_find(item, FT_SLICE("*")), colon;
		struct ft_slice head = { item.p, star }, chance;
		int64_t count = 1;
		double p = 1;
		bool percent;
		if (!ft_slice_trim(item).n)
			continue;
		colon = ft_slice_find(head, FT_SLICE(":"));
		chance =
			colon < head.n ? ft_slice_trim((struct ft_slice){ head.p + colon + 1, head.n - colon - 1 }) : FT_SLICE("1");
		percent = chance.n && chance.p[chance.n - 1] == '%';
		chance.n -= percent;
		if ((star < item.n &&
		     !ft_slice_i64(ft_slice_trim((struct ft_slice){ item.p + star + 1, item.n - star - 1 }), &count)) ||
		    !ft_figure(chance, &p) || count < 1 || count > 1000 || !(p >= 0) || p > (percent ? 100 : 1) ||
		    m->kit_count == FT_KIT_MAX)
			return bad(t, "kit", "a kit as \"bracket:0.3; tee; tie*4\" with chances from 0 to 1");
		head = ft_slice_trim((struct ft_slice){ head.p, colon });
		if (!head.n)
			return bad(t, "kit", "a kit as \"bracket:0.3; tee; tie*4\"");
		*n = (struct ft_van_need){ ft_fleet_part_of(f, head, t->a), percent ? p / 100 : p, (int)count };
		if (n->part < 0)
			return ft_fail_memory(t->e, "reading the kits");
		if (f->part_count > FT_FLEET_PARTS_MAX)
			return ft_fail(t->e, FT_E_INPUT, "%s, line %u: up to here the kits name more than %d parts.", t->what,
			               t->row->line, FT_FLEET_PARTS_MAX);
		m->kit_count++;
	}
	copy = FT_NEW_ARRAY(t->a, m->kit_count + 1, struct ft_van_need);
	if (!copy)
		return ft_fail_memory(t->e, "reading the kits");
	memcpy(copy, list, m->kit_count * sizeof *copy);
	m->kit = copy;
	return FT_OK;
}

/* ---- machines and technicians ---- */

int ft_fleet_machine_of(const struct ft_fleet *f, struct ft_slice asset)
{
	for (size_t i = 0; i < f->machine_count; i++)
		if (ft_slice_eq_nocase(f->machines[i].asset, ft_slice_trim(asset)))
			return (int)i;
	return -1;
}

int ft_fleet_technician_of(const struct ft_fleet *f, struct ft_slice name)
{
	for (size_t i = 0; i < f->technician_count; i++)
		if (ft_slice_eq_nocase(f->technicians[i].name, ft_slice_trim(name)))
			return (int)i;
	return -1;
}

/* A place may be left empty where a table of distances names it; see ft_fleet_make. */
static bool place(const struct table *t, double *latitude, double *longitude)
{
	if (!text(t, "latitude").n && !text(t, "longitude").n) {
		*latitude = *longitude = NAN;
		return true;
	}
	return figure(t, "latitude", -90, 90, NAN, latitude) && figure(t, "longitude", -180, 180, NAN, longitude);
}

enum ft_status ft_fleet_machines(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                 struct ft_error *e)
{
	static const char *const needed[] = { "asset", "minutes", NULL };
	struct table t = { .what = what, .a = a, .e = e };
	enum ft_status s = begin(&t, csv, needed, "machines");

	if (s != FT_OK)
		return s;
	if (t.csv.count > FT_ROUTE_STOPS_MAX)
		return too_many(&t, "machines", FT_ROUTE_STOPS_MAX);
	f->machines = FT_NEW_ARRAY(a, t.csv.count + 1, struct ft_fleet_machine);
	if (!f->machines)
		return ft_fail_memory(e, "reading the machines");
	for (size_t i = 0; i < t.csv.count; i++) {
		struct ft_fleet_machine *m = &f->machines[i];
		int before;
		t.row = &t.csv.rows[i];
		*m = (struct ft_fleet_machine){ .asset = text(&t, "asset"),
			                            .site = text(&t, "site"),
			                            .address = text(&t, "address"),
			                            .together = text(&t, "together"),
			                            .skills = text(&t, "skills"),
			                            .line = t.row->line };
		if (!m->asset.n)
			return bad(&t, "asset", "the number of a machine");
		before = ft_fleet_machine_of(f, m->asset);
		if (before >= 0)
			return ft_fail(e, FT_E_INPUT, "%s, line %u: machine \"%.*s\" stands in line %u already.", what, t.row->line,
			               FT_P(m->asset), f->machines[before].line);
		if (!place(&t, &m->latitude, &m->longitude) || !figure(&t, "minutes", 1, 1440, NAN, &m->minutes) ||
		    !figure(&t, "spread", 0, 600, 0, &m->spread) || !hour(&t, "opens", 0, &m->opens) ||
		    !hour(&t, "closes", 1440, &m->closes) || !days(&t, "days", &m->days) ||
		    !figure(&t, "priority", 0, 9, 0, &m->priority))
			return FT_E_INPUT;
		if (m->closes <= m->opens)
			return bad(&t, "closes", "an hour after the site opens; of hours across midnight give those before it");
		f->machine_count++;
		s = kit(&t, f, m);
		if (s != FT_OK)
			return s;
	}
	return f->machine_count ? FT_OK : ft_fail(e, FT_E_INPUT, "%s names no machine.", what);
}

enum ft_status ft_fleet_technicians(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                    struct ft_error *e)
{
	static const char *const needed[] = { "technician", NULL };
	struct table t = { .what = what, .a = a, .e = e };
	enum ft_status s = begin(&t, csv, needed, "technicians");

	if (s != FT_OK)
		return s;
	if (t.csv.count > FT_ROUTE_SHIFTS_MAX)
		return too_many(&t, "technicians", FT_ROUTE_SHIFTS_MAX);
	f->technicians = FT_NEW_ARRAY(a, t.csv.count + 1, struct ft_fleet_technician);
	if (!f->technicians)
		return ft_fail_memory(e, "reading the technicians");
	for (size_t i = 0; i < t.csv.count; i++) {
		struct ft_fleet_technician *p = &f->technicians[i];
		t.row = &t.csv.rows[i];
		*p = (struct ft_fleet_technician){ .name = text(&t, "technician"),
			                               .skills = text(&t, "skills"),
			                               .line = t.row->line };
		if (!p->name.n)
			return bad(&t, "technician", "a name");
		if (ft_fleet_technician_of(f, p->name) >= 0)
			return ft_fail(e, FT_E_INPUT, "%s, line %u: \"%.*s\" stands there twice.", what, t.row->line,
			               FT_P(p->name));
		if (!place(&t, &p->latitude, &p->longitude) || !hour(&t, "begins", 480, &p->opens) ||
		    !hour(&t, "ends", 1020, &p->closes) || !date(&t, "from", INT64_MIN, &p->from) ||
		    !date(&t, "until", INT64_MAX, &p->until))
			return FT_E_INPUT;
		p->days = 31; /* Monday to Friday unless said */
		if (text(&t, "days").n && !days(&t, "days", &p->days))
			return FT_E_INPUT;
		if (p->closes <= p->opens)
			return bad(&t, "ends", "an hour after the work begins; of hours across midnight give those before it");
		f->technician_count++;
	}
	return f->technician_count ? FT_OK : ft_fail(e, FT_E_INPUT, "%s names no technician.", what);
}

/* ---- distances ---- */

/* Machines first, then technicians; -1: neither. */
static int place_of(const struct ft_fleet *f, struct ft_slice name)
{
	int n = ft_fleet_machine_of(f, name);

	if (n >= 0)
		return n;
	n = ft_fleet_technician_of(f, name);
	return n < 0 ? -1 : (int)f->machine_count + n;
}

/* One cell of a table of distances, in column `column` of the row at hand. */
static enum ft_status way(const struct table *t, int column, int from, int to, size_t n, double *km)
{
	const struct ft_slice s = ft_csv_field(t->row, column);
	double v;

	if (from < 0 || to < 0 || from == to || !s.n)
		return FT_OK;
	if (!ft_figure(s, &v) || !(v >= 0) || v > 20000)
		return ft_fail(t->e, FT_E_INPUT, "%s, line %u, column %d: \"%.*s\" is no distance in km.", t->what,
		               t->row->line, column + 1, FT_P(s));
	km[(size_t)from * n + (size_t)to] = v;
	return FT_OK;
}

/* A square, or a list of from, to and km. What neither names is by great circle where both places are known. */
enum ft_status ft_fleet_distances(struct ft_slice csv, const char *what, struct ft_arena *a, struct ft_fleet *f,
                                  struct ft_error *e)
{
	static const char *const needed[] = { NULL };
	struct table t = { .what = what, .a = a, .e = e };
	size_t n = f->machine_count + f->technician_count;
	double *km = FT_NEW_ARRAY(a, n * n + 1, double);
	enum ft_status s = begin(&t, csv, needed, "machines");
	int *places, from_at, to_at, km_at; /* places: of the columns */

	if (s != FT_OK)
		return s;
	places = FT_NEW_ARRAY(a, t.csv.head.count + 1, int);
	if (!km || !places)
		return ft_fail_memory(e, "reading the distances");
	for (size_t i = 0; i < n * n; i++)
		km[i] = i % (n + 1) == 0 ? 0 : NAN;
	for (unsigned c = 1; c < t.csv.head.count; c++)
		places[c] = place_of(f, t.csv.head.fields[c]);
	from_at = ft_csv_column(&t.csv, "from");
	to_at = ft_csv_column(&t.csv, "to");
	km_at = ft_csv_column(&t.csv, "km");
	for (size_t i = 0; s == FT_OK && i < t.csv.count; i++) {
		t.row = &t.csv.rows[i];
		if (from_at >= 0 && to_at >= 0 && km_at >= 0) {
			s = way(&t, km_at, place_of(f, ft_csv_field(t.row, from_at)), place_of(f, ft_csv_field(t.row, to_at)), n,
			        km);
			continue;
		}
		const int from = place_of(f, ft_csv_field(t.row, 0));
		for (unsigned c = 1; s == FT_OK && c < t.csv.head.count; c++)
			s = way(&t, (int)c, from, places[c], n, km);
	}
	f->km = km;
	return s;
}

void ft_fleet_template(const char *which, struct ft_buf *out)
{
	if (strcmp(which, "technicians") == 0)
		ft_buf_puts(out,
		            "technician,latitude,longitude,begins,ends,days,skills,from,until\n"
		            "Tilda Moss,12.4000,-31.2000,07:30,16:30,Mon-Fri,mains,,\n");
	else if (strcmp(which, "parts") == 0)
		ft_buf_puts(out,
		            "part,name,price,weight,stock,arrives\n"
		            "HJ-1,\"audit harness, jack\",7.40,60,12,\n");
	else
		ft_buf_puts(
			out,
			"asset,site,address,latitude,longitude,minutes,spread,opens,closes,days,priority,together,skills,kit\n"
			"BD-0417,Harbour canteen,Quay 3,12.4100,-31.2200,45,10,08:00,15:00,Mon-Fri,0,,,HJ-1;tee:0.3;tie*4\n");
}
