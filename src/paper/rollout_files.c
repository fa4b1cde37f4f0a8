/* SPDX-License-Identifier: Apache-2.0 */
/* A plan of visits as tables, calendars and a map's lines. */
#include <math.h>

#include "paper.h"

#include "fettle/csv.h"
#include "fettle/paper_rollout.h"

/* "07:05" into `out`. */
static const char *clock_text(int minutes, char out[16])
{
	snprintf(out, 16, "%02d:%02d", minutes / 60 % 100, minutes % 60);
	return out;
}

/* A figure with what places it needs, without the noughts behind. */
static void put_chance(struct ft_buf *out, double v)
{
	ft_buf_printf(out, "%.6g", v < 1e-9 ? 0 : v);
}

void ft_rollout_days_csv(const struct ft_rollout *r, struct ft_buf *out)
{
	char date[FT_DATE_TEXT], text[16];

	ft_buf_puts(out, "date,technician,order,asset,site,arrive,start,leave,km,kit\n");
	for (size_t d = 0; d < r->day_count; d++) {
		const struct ft_rollout_day *day = &r->days[d];
		for (size_t i = 0; i < day->count; i++) {
			const struct ft_rollout_stop *s = &day->stops[i];
			const struct ft_fleet_machine *m = &r->fleet->machines[s->machine];
			ft_buf_printf(out, "%s,", ft_fleet_date_text(day->day, date));
			ft_csv_put(out, r->fleet->technicians[day->technician].name);
			ft_buf_printf(out, ",%zu,", i + 1);
			ft_csv_put(out, m->asset);
			ft_buf_byte(out, ',');
			ft_csv_put(out, m->site);
			ft_buf_printf(out, ",%s,", clock_text(s->arrive, text));
			ft_buf_printf(out, "%s,", clock_text(s->start, text));
			ft_buf_printf(out, "%s,%.1f,", clock_text(s->leave, text), s->km);
			struct ft_buf kit = { 0 };
			for (size_t k = 0; k < m->kit_count; k++) {
				ft_buf_puts(&kit, k ? "; " : "");
				ft_buf_slice(&kit, r->fleet->parts[m->kit[k].part].part);
				if (m->kit[k].p < 1)
					ft_buf_printf(&kit, ":%g", m->kit[k].p);
				if (m->kit[k].count > 1)
					ft_buf_printf(&kit, "*%d", m->kit[k].count);
			}
			ft_csv_put(out, ft_buf_text(&kit));
			ft_buf_done(&kit);
			ft_buf_byte(out, '\n');
		}
	}
}

void ft_rollout_load_csv(const struct ft_rollout *r, struct ft_buf *out)
{
	char date[FT_DATE_TEXT];

	ft_buf_puts(out, "technician,from,until,part,name,expected,sure,carry,risk,risk_with_one_more\n");
	for (size_t i = 0; i < r->filling_count; i++) {
		const struct ft_rollout_filling *f = &r->fillings[i];
		for (size_t p = 0; p < f->van.part_count; p++) {
			const struct ft_van_load *l = &f->van.loads[p];
			if (!l->most)
				continue;
			ft_csv_put(out, r->fleet->technicians[f->technician].name);
			ft_buf_printf(out, ",%s,", ft_fleet_date_text(f->from, date));
			ft_buf_printf(out, "%s,", ft_fleet_date_text(f->until, date));
			ft_csv_put(out, r->fleet->parts[p].part);
			ft_buf_byte(out, ',');
			ft_csv_put(out, r->fleet->parts[p].name);
			ft_buf_printf(out, ",%.3f,%d,%d,", l->expected, l->surely, l->carry);
			put_chance(out, l->risk);
			ft_buf_byte(out, ',');
			put_chance(out, l->next);
			ft_buf_byte(out, '\n');
		}
	}
}

void ft_rollout_buy_csv(const struct ft_rollout *r, struct ft_buf *out)
{
	char date[FT_DATE_TEXT];

	ft_buf_puts(out, "part,name,needed,stock,buy,by,price\n");
	for (size_t i = 0; i < r->buy_count; i++) {
		const struct ft_rollout_buy *b = &r->buys[i];
		ft_csv_put(out, r->fleet->parts[b->part].part);
		ft_buf_byte(out, ',');
		ft_csv_put(out, r->fleet->parts[b->part].name);
		ft_buf_printf(out, ",%d,", b->needed);
		if (b->stock >= 0)
			ft_buf_printf(out, "%d", b->stock);
		ft_buf_printf(out, ",%d,%s,", b->buy, b->buy ? ft_fleet_date_text(b->by, date) : "");
		if (r->fleet->parts[b->part].price > 0)
			ft_buf_printf(out, "%.2f", r->fleet->parts[b->part].price);
		ft_buf_byte(out, '\n');
	}
}

/* ---- iCalendar ---- */

enum { OCTETS_MAX = 75 }; /* RFC 5545, 3.1: of a line without its end */

/* One content line, folded with CRLF and a space, no UTF-8 character split. Foreign bytes become U+FFFD. */
static void put_line(struct ft_buf *out, struct ft_slice line)
{
	size_t room = OCTETS_MAX;

	for (size_t i = 0; i < line.n;) {
		size_t n = ft_utf8_length((const unsigned char *)line.p + i, line.n - i);
		const size_t takes = n ? n : 3;
		if (takes > room) {
			ft_buf_puts(out, "\r\n ");
			room = OCTETS_MAX - 1; /* the space is one of them */
		}
		if (n)
			ft_buf_put(out, line.p + i, n);
		else
			ft_buf_puts(out, "\xEF\xBF\xBD");
		room -= takes;
		i += n ? n : 1;
	}
	ft_buf_puts(out, "\r\n");
}

/* TEXT by 3.3.11: backslash, semicolon and comma behind a backslash, line ends as \n; other controls are left out. */
static void put_escaped(struct ft_buf *line, struct ft_slice s)
{
	for (size_t i = 0; i < s.n; i++) {
		const unsigned char c = (unsigned char)s.p[i];
		if (c == '\\' || c == ';' || c == ',')
			ft_buf_byte(line, '\\');
		if (c == '\n')
			ft_buf_puts(line, "\\n");
		else if (c == '\t')
			ft_buf_byte(line, ' ');
		else if (c >= 0x20 && c != 0x7f)
			ft_buf_byte(line, c);
	}
}

static void put_text_line(struct ft_buf *out, const char *name, struct ft_slice text)
{
	struct ft_buf line = { 0 };

	ft_buf_printf(&line, "%s:", name);
	put_escaped(&line, text);
	put_line(out, ft_buf_text(&line));
	ft_buf_done(&line);
}

static void put_stamp(struct ft_buf *out, const char *name, int64_t day, int minutes)
{
	const struct ft_civil c = ft_civil_of((day * 86400 + (int64_t)minutes * 60) * FT_SECOND, 0);

	ft_buf_printf(out, "%s:%04d%02d%02dT%02d%02d00\r\n", name, c.year, c.month, c.day, c.hour, c.minute);
}

static void describe_stop(const struct ft_rollout *r, const struct ft_rollout_stop *s, struct ft_buf *out)
{
	const struct ft_fleet_machine *m = &r->fleet->machines[s->machine];
	const struct ft_caution *cautions;

	ft_cautions(&cautions);
	if (m->kit_count)
		ft_buf_puts(out, "Kit: ");
	for (size_t k = 0; k < m->kit_count; k++) {
		ft_buf_puts(out, k ? "; " : "");
		if (m->kit[k].count > 1)
			ft_buf_printf(out, "%d x ", m->kit[k].count);
		ft_buf_slice(out, r->fleet->parts[m->kit[k].part].name);
		if (m->kit[k].p < 1)
			ft_buf_printf(out, " (%.0f %%)", 100 * m->kit[k].p);
	}
	ft_buf_puts(out, m->kit_count ? "\n" : "");
	ft_buf_puts(out, cautions[0].sentence);
}

/* SEQUENCE must rise with every writing, so that an event replaces its earlier self (RFC 5546, 2.1.4, from memory: the
 * higher one counts). Two a second since 2025, which stays an INTEGER of RFC 5545 until 2059: the even one cancels, the
 * odd one holds; so who reads both calendars, in any order, keeps the visit that another technician makes now. */
static long long sequence_of(int64_t now_us, bool cancelled)
{
	const int64_t since_2025 = now_us / FT_SECOND - INT64_C(1735689600);

	return 2 * (long long)(since_2025 > 0 ? since_2025 : 0) + !cancelled;
}

/* What an event begins with, whether it holds or is cancelled. */
static void begin_event(const struct ft_fleet_machine *m, int64_t now_us, bool cancelled, struct ft_buf *out)
{
	const struct ft_hash id = ft_hash_of(m->asset.p, m->asset.n);
	const struct ft_civil now = ft_civil_of(now_us, 0);
	struct ft_buf text = { 0 };
	char hash[FT_HASH_TEXT];

	ft_buf_puts(out, "BEGIN:VEVENT\r\n");
	ft_buf_printf(out, "UID:visit-%.24s\r\n", ft_hash_text(&id, hash));
	ft_buf_printf(out, "DTSTAMP:%04d%02d%02dT%02d%02d%02dZ\r\n", now.year, now.month, now.day, now.hour, now.minute,
	              now.second);
	ft_buf_printf(out, "SEQUENCE:%lld\r\n", sequence_of(now_us, cancelled));
	ft_buf_slice(&text, m->asset);
	if (m->site.n) {
		ft_buf_puts(&text, "  ");
		ft_buf_slice(&text, m->site);
	}
	put_text_line(out, "SUMMARY", ft_buf_text(&text));
	ft_buf_done(&text);
}

/* A visit that this technician does not make any more: a calendar that has the event drops it or strikes it out (RFC
 * 5545, 3.8.1.11, and RFC 5546, 3.2.5, from memory). Without METHOD, as these files are imported, not sent. */
static void put_cancelled(const struct ft_rollout *r, const struct ft_rollout_gone *g, int64_t now_us,
                          struct ft_buf *out)
{
	begin_event(&r->fleet->machines[g->machine], now_us, true, out);
	put_stamp(out, "DTSTART", g->day, g->start >= 0 ? g->start : 0);
	if (g->start >= 0 && g->leave > g->start)
		put_stamp(out, "DTEND", g->day, g->leave);
	ft_buf_puts(out, "STATUS:CANCELLED\r\nEND:VEVENT\r\n");
}

static void put_event(const struct ft_rollout *r, const struct ft_rollout_day *day, const struct ft_rollout_stop *s,
                      int64_t now_us, struct ft_buf *out)
{
	const struct ft_fleet_machine *m = &r->fleet->machines[s->machine];
	struct ft_buf text = { 0 };

	begin_event(m, now_us, false, out);
	put_stamp(out, "DTSTART", day->day, s->start);
	put_stamp(out, "DTEND", day->day, s->leave);
	if (m->site.n || m->address.n) {
		ft_buf_slice(&text, m->site);
		ft_buf_puts(&text, m->site.n && m->address.n ? ", " : "");
		ft_buf_slice(&text, m->address);
		put_text_line(out, "LOCATION", ft_buf_text(&text));
	}
	if (!isnan(m->latitude))
		ft_buf_printf(out, "GEO:%.6f;%.6f\r\n", m->latitude, m->longitude);
	ft_buf_clear(&text);
	describe_stop(r, s, &text);
	put_text_line(out, "DESCRIPTION", ft_buf_text(&text));
	ft_buf_puts(out, "STATUS:CONFIRMED\r\nEND:VEVENT\r\n");
	ft_buf_done(&text);
}

void ft_rollout_ical(const struct ft_rollout *r, int technician, int64_t now_us, struct ft_arena *a, struct ft_buf *out)
{
	(void)a;
	ft_buf_puts(out, "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//fettle//rollout//EN\r\n");
	for (size_t d = 0; d < r->day_count; d++)
		for (size_t i = 0; r->days[d].technician == technician && i < r->days[d].count; i++)
			put_event(r, &r->days[d], &r->days[d].stops[i], now_us, out);
	for (size_t i = 0; i < r->gone_count; i++)
		if (r->gone[i].technician == technician)
			put_cancelled(r, &r->gone[i], now_us, out);
	ft_buf_puts(out, "END:VCALENDAR\r\n");
}

/* ---- GeoJSON ---- */

static void put_position(struct ft_json *j, double latitude, double longitude)
{
	ft_json_array(j, NULL);
	ft_json_real(j, NULL, longitude, 6); /* RFC 7946, 3.1.1: longitude first */
	ft_json_real(j, NULL, latitude, 6);
	ft_json_array_end(j);
}

static void put_point(struct ft_json *j, double latitude, double longitude)
{
	ft_json_object(j, "geometry");
	ft_json_text(j, "type", "Point");
	ft_json_array(j, "coordinates");
	ft_json_real(j, NULL, longitude, 6);
	ft_json_real(j, NULL, latitude, 6);
	ft_json_array_end(j);
	ft_json_object_end(j);
}

static void put_day_line(struct ft_json *j, const struct ft_rollout *r, const struct ft_rollout_day *day)
{
	const struct ft_fleet_technician *t = &r->fleet->technicians[day->technician];
	char date[FT_DATE_TEXT];
	size_t known = 0;

	for (size_t i = 0; i < day->count; i++)
		known += !isnan(r->fleet->machines[day->stops[i].machine].latitude);
	if (known + 2 * !isnan(t->latitude) < 2)
		return; /* a line has two positions or more (3.1.4) */
	ft_json_object(j, NULL);
	ft_json_text(j, "type", "Feature");
	ft_json_object(j, "geometry");
	ft_json_text(j, "type", "LineString");
	ft_json_array(j, "coordinates");
	if (!isnan(t->latitude))
		put_position(j, t->latitude, t->longitude);
	for (size_t i = 0; i < day->count; i++) {
		const struct ft_fleet_machine *m = &r->fleet->machines[day->stops[i].machine];
		if (!isnan(m->latitude))
			put_position(j, m->latitude, m->longitude);
	}
	if (!isnan(t->latitude))
		put_position(j, t->latitude, t->longitude);
	ft_json_array_end(j);
	ft_json_object_end(j);
	ft_json_object(j, "properties");
	ft_json_slice(j, "technician", t->name);
	ft_json_text(j, "date", ft_fleet_date_text(day->day, date));
	ft_json_real(j, "km", day->km, 1);
	ft_json_i64(j, "stops", (int64_t)day->count);
	ft_json_object_end(j);
	ft_json_object_end(j);
}

static void put_stop_point(struct ft_json *j, const struct ft_rollout *r, const struct ft_rollout_day *day, size_t i)
{
	const struct ft_fleet_machine *m = &r->fleet->machines[day->stops[i].machine];
	char text[FT_DATE_TEXT];

	if (isnan(m->latitude))
		return;
	ft_json_object(j, NULL);
	ft_json_text(j, "type", "Feature");
	put_point(j, m->latitude, m->longitude);
	ft_json_object(j, "properties");
	ft_json_slice(j, "asset", m->asset);
	ft_json_slice(j, "site", m->site);
	ft_json_slice(j, "technician", r->fleet->technicians[day->technician].name);
	ft_json_text(j, "date", ft_fleet_date_text(day->day, text));
	ft_json_i64(j, "order", (int64_t)i + 1);
	ft_json_text(j, "start", clock_text(day->stops[i].start, text));
	ft_json_object_end(j);
	ft_json_object_end(j);
}

void ft_rollout_geojson(const struct ft_rollout *r, struct ft_buf *out)
{
	struct ft_json j = { .out = out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "type", "FeatureCollection");
	ft_json_array(&j, "features");
	for (size_t d = 0; d < r->day_count; d++) {
		put_day_line(&j, r, &r->days[d]);
		for (size_t i = 0; i < r->days[d].count; i++)
			put_stop_point(&j, r, &r->days[d], i);
	}
	for (size_t i = 0; i < r->unserved_count; i++) {
		const struct ft_fleet_machine *m = &r->fleet->machines[r->unserved[i].machine];
		if (isnan(m->latitude))
			continue;
		ft_json_object(&j, NULL);
		ft_json_text(&j, "type", "Feature");
		put_point(&j, m->latitude, m->longitude);
		ft_json_object(&j, "properties");
		ft_json_slice(&j, "asset", m->asset);
		ft_json_text(&j, "left_out", ft_bar_sentence(r->unserved[i].why));
		ft_json_object_end(&j);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}
