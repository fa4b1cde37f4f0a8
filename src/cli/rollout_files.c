/* SPDX-License-Identifier: Apache-2.0 */
/* Papers of a plan into a folder, visits into the book, and an earlier plan back out of its document. */
#include <errno.h>
#include <jansson.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "fettle/csv.h"
#include "fettle/store.h"
#include "rollout.h"

static bool put(struct rollout *r, const char *name, struct ft_buf *b)
{
	const char *path = ft_arena_printf(&r->c->arena, "%s/%s", r->folder, name);
	bool good = path && b->status == FT_OK && cli_write_file(r->c, path, ft_buf_text(b)) == FT_OK;

	if (!path || b->status != FT_OK)
		ft_fail_memory(&r->c->error, "writing the papers");
	ft_buf_done(b);
	*b = (struct ft_buf){ 0 };
	r->file_count += good;
	return good;
}

/* A paper with nothing in it is not written, and that of an earlier plan must not stay beside this one. */
static bool drop(struct rollout *r, const char *name)
{
	const char *path = name ? ft_arena_printf(&r->c->arena, "%s/%s", r->folder, name) : NULL;

	if (!path)
		ft_fail_memory(&r->c->error, "writing the papers");
	else if (unlink(path) != 0 && errno != ENOENT)
		ft_fail(&r->c->error, FT_E_STORE, "%s of an earlier plan cannot be removed: %s.", path, strerror(errno));
	else
		return true;
	return false;
}

/* Whether there is anything to tell this technician's calendar: visits, or visits of the earlier plan to strike out. */
static bool has_events(const struct ft_rollout *r, size_t technician)
{
	for (size_t i = 0; i < r->gone_count; i++)
		if ((size_t)r->gone[i].technician == technician)
			return true;
	for (size_t d = 0; d < r->day_count; d++)
		if ((size_t)r->days[d].technician == technician)
			return true;
	return false;
}

enum { NAME_MAX_BYTES = 64 };

/* "tilda-moss": letters and figures of the name, a hyphen for each run of others. */
static void plain_name(struct ft_slice name, char out[NAME_MAX_BYTES])
{
	size_t n = 0;

	for (size_t i = 0; i < name.n;) {
		size_t takes = ft_utf8_length((const unsigned char *)name.p + i, name.n - i);
		const char c = name.p[i];
		takes = takes ? takes : 1;
		if (n + takes >= NAME_MAX_BYTES)
			break;
		if (takes > 1) {
			memcpy(out + n, name.p + i, takes);
			n += takes;
		} else if (ft_is_digit(c) || ft_is_upper(c) || (c >= 'a' && c <= 'z')) {
			out[n++] = ft_is_upper(c) ? (char)(c - 'A' + 'a') : c;
		} else if (n && out[n - 1] != '-') {
			out[n++] = '-';
		}
		i += takes;
	}
	n -= n && out[n - 1] == '-';
	memcpy(out + n, "", 1);
	if (!n)
		memcpy(out, "technician", sizeof "technician");
}

/* The name of a technician's calendar; a number tells two apart that would be alike. */
static const char *calendar_name(struct rollout *r, size_t technician)
{
	char own[NAME_MAX_BYTES], other[NAME_MAX_BYTES];
	bool twin = false;

	plain_name(r->fleet.technicians[technician].name, own);
	for (size_t i = 0; i < technician; i++) {
		plain_name(r->fleet.technicians[i].name, other);
		twin |= strcmp(own, other) == 0;
	}
	return twin ? ft_arena_printf(&r->c->arena, "%s-%zu.ics", own, technician + 1)
				: ft_arena_printf(&r->c->arena, "%s.ics", own);
}

bool rollout_write_files(struct rollout *r)
{
	struct cli *c = r->c;
	struct ft_buf b = { 0 };
	int offset;
	const int64_t now = cli_now(&offset);
	const enum ft_sheet sheet = cli_flag(c, "letter") ? FT_SHEET_LETTER : FT_SHEET_A4;

	if (mkdir(r->folder, 0777) != 0 && errno != EEXIST)
		return ft_fail(&c->error, FT_E_STORE, "The folder %s cannot be made: %s.", r->folder, strerror(errno)), false;
	ft_rollout_days_csv(&r->told, &b);
	if (!put(r, "days.csv", &b))
		return false;
	ft_rollout_load_csv(&r->told, &b);
	if (!put(r, "load.csv", &b))
		return false;
	ft_rollout_buy_csv(&r->told, &b);
	if (!put(r, "buy.csv", &b))
		return false;
	ft_rollout_geojson(&r->told, &b);
	if (!put(r, "plan.geojson", &b))
		return false;
	for (size_t i = 0; i < r->fleet.technician_count; i++) {
		const char *name = calendar_name(r, i);
		if (!has_events(&r->told, i)) { /* RFC 5545, 3.6, from memory: at least one component */
			if (!drop(r, name))
				return false;
			continue;
		}
		ft_rollout_ical(&r->told, (int)i, now, &c->arena, &b);
		if (!name || !put(r, name, &b))
			return false;
	}
	if (!r->told.day_count)
		return drop(r, "days.pdf");
	return ft_rollout_pdf(&r->told, "fettle " FT_VERSION, now, offset, sheet, &c->arena, &b, NULL, &c->error) ==
		FT_OK &&
		put(r, "days.pdf", &b);
}

/* ---- the book ---- */

/* The newest open visit of an asset, which needs no other then; NULL: none. */
static const struct ft_visit *open_visit(const struct ft_visit *list, size_t count, struct ft_slice asset)
{
	for (size_t i = 0; i < count; i++)
		if (list[i].closed_us == FT_ABSENT && ft_slice_eq_nocase(ft_slice_of(list[i].asset), asset))
			return &list[i];
	return NULL;
}

/* A visit that is open already goes to whom the plan names; who had it is told. */
static enum ft_status hand_on(struct rollout *r, struct ft_book *b, const struct ft_visit *open, const char *technician)
{
	const struct ft_visit_change change = { .technician = technician, .at_us = cli_now(NULL) };
	const char *was = open->technician ? open->technician : "";
	enum ft_status s;

	r->open_before++;
	if (ft_slice_eq_nocase(ft_slice_of(was), ft_slice_of(technician)))
		return FT_OK;
	s = ft_book_visit_set(b, open->id, &change, &r->c->error);
	if (s != FT_OK)
		return s;
	r->handed_on++;
	r->handed_on_text = ft_arena_printf(&r->c->arena, "%s%s%s to %s%s%s%s", r->handed_on_text ? r->handed_on_text : "",
	                                    r->handed_on_text ? "; " : "", open->asset, technician, *was ? " (was " : "",
	                                    was, *was ? ")" : "");
	return r->handed_on_text ? FT_OK : ft_fail_memory(&r->c->error, "the book");
}

bool rollout_open_visits(struct rollout *r)
{
	struct cli *c = r->c;
	const char *path = cli_book_path(c), *id;
	struct ft_book *b = NULL;
	struct ft_visit *list = NULL;
	size_t count = 0;
	enum ft_status s = path ? ft_book_open(path, FT_BOOK_WRITE, &b, &c->error) : ft_fail_memory(&c->error, "the book");

	if (s == FT_OK)
		s = ft_book_visit_list(b, INT64_MAX, &c->arena, &list, &count, &c->error);
	for (size_t d = 0; s == FT_OK && d < r->told.day_count; d++) {
		const struct ft_rollout_day *day = &r->told.days[d];
		for (size_t i = 0; s == FT_OK && i < day->count; i++) {
			const struct ft_fleet_machine *m = &r->fleet.machines[day->stops[i].machine];
			struct ft_visit v = { .asset = ft_arena_text(&c->arena, m->asset),
				                  .site = m->site.n ? ft_arena_text(&c->arena, m->site) : NULL,
				                  .technician = ft_arena_text(&c->arena, r->fleet.technicians[day->technician].name),
				                  .closed_us = FT_ABSENT };
			const struct ft_visit *open = open_visit(list, count, m->asset);
			if (open) {
				s = v.technician ? hand_on(r, b, open, v.technician) : ft_fail_memory(&c->error, "the book");
				continue;
			}
			v.opened_us = cli_now(&v.opened_offset);
			s = ft_book_visit_open(b, &v, &c->arena, &id, &c->error);
			r->opened += s == FT_OK;
		}
	}
	ft_book_free(b);
	return s == FT_OK;
}

/* ---- plan.json ---- */

static void put_field(struct ft_buf *out, json_t *text, char end)
{
	ft_csv_put(out, ft_slice_of(json_is_string(text) ? json_string_value(text) : ""));
	ft_buf_byte(out, (uint8_t)end);
}

bool rollout_plan_text(struct cli *c, struct ft_slice bytes, struct ft_slice *ret)
{
	json_error_t why;
	json_t *all = json_loadb(bytes.p, bytes.n, 0, &why), *day, *stop;
	struct ft_buf out = { 0 };
	size_t i, k;
	const char *text;

	if (!all || !json_is_array(json_object_get(all, "days"))) {
		if (all)
			ft_fail(&c->error, FT_E_INPUT, "The earlier plan is no document of rollout: it has no list \"days\".");
		else
			ft_fail(&c->error, FT_E_INPUT, "The earlier plan, line %d: %s.", why.line, why.text);
		json_decref(all);
		return false;
	}
	ft_buf_puts(&out, "date,technician,asset,start,leave\n");
	json_array_foreach(json_object_get(all, "days"), i, day)
	{
		json_array_foreach(json_object_get(day, "stops"), k, stop)
		{
			put_field(&out, json_object_get(day, "date"), ',');
			put_field(&out, json_object_get(day, "technician"), ',');
			put_field(&out, json_object_get(stop, "asset"), ',');
			put_field(&out, json_object_get(stop, "start"), ',');
			put_field(&out, json_object_get(stop, "leave"), '\n');
		}
	}
	text = ft_arena_text(&c->arena, ft_buf_text(&out));
	ft_buf_done(&out);
	json_decref(all);
	*ret = ft_slice_of(text);
	return text || (ft_fail_memory(&c->error, "reading the earlier plan"), false);
}
