/* SPDX-License-Identifier: Apache-2.0 */
/* Marks made at the door beside the events that tell of it. */
#include <string.h>
#include <time.h>

#include "door.h"
#include "fettle/audit.h"
#include "fettle/door.h"
#include "fettle/time.h"
#include "fettle/visit.h"
#include "reads.h"
#include "verbs.h"

struct door {
	struct cli *c;
	int offset_minutes; /* of times that name none */
	struct ft_door_event *marks, *events;
	size_t mark_count, event_count;
	struct ft_door_table marked, told;
	struct ft_door_options o;
	struct ft_findings f;
	struct ft_door_result r;
};

/* Events out of an audit, or out of a table. */
static enum ft_status read_events(struct door *d, const char *path)
{
	struct cli *c = d->c;
	enum ft_evidence_kind kind;
	struct ft_audit *audit = FT_NEW(&c->arena, struct ft_audit);
	struct ft_facts *facts = FT_NEW(&c->arena, struct ft_facts);
	struct ft_summary *summary = FT_NEW(&c->arena, struct ft_summary);
	struct ft_slice bytes;
	enum ft_status s;

	if (!audit || !facts || !summary)
		return ft_fail_memory(&c->error, "reading the door events");
	s = cli_read_file(c, path, "the door events", FT_CSV_BYTES_MAX, &bytes);
	if (s == FT_OK)
		s = ft_evidence_kind_of(bytes, path, &c->arena, &kind, &c->error);
	if (s != FT_OK || kind != FT_EVIDENCE_AUDIT)
		return s != FT_OK
			? s
			: ft_door_read(bytes, path, d->offset_minutes, &c->arena, &d->events, &d->event_count, &d->told, &c->error);
	s = ft_audit_read(bytes, &c->arena, audit, &c->error);
	if (s == FT_OK && audit->set_count == 0)
		s = ft_fail(&c->error, FT_E_INPUT, "%s holds no audit.", path);
	if (s == FT_OK)
		s = ft_audit_facts(audit, &audit->sets[0], &c->arena, facts, &c->error);
	if (s == FT_OK)
		s = ft_audit_summary(facts, &c->arena, summary, &c->error);
	if (s == FT_OK)
		s = ft_door_of_audit(summary, d->offset_minutes, &c->arena, &d->events, &d->event_count, &d->told.resolution_s,
		                     &c->error);
	return s;
}

static const char *seconds_text(struct cli *c, int64_t us)
{
	return us == FT_ABSENT ? "not known" : ft_arena_printf(&c->arena, "%.1f s", (double)us / 1e6);
}

static void print_pairs(const struct door *d, struct ft_buf *out)
{
	ft_buf_puts(out, "\n    marked     what      told       delay\n");
	for (size_t i = 0; i < d->r.pair_count; i++) {
		const struct ft_door_pair *p = &d->r.pairs[i];
		const struct ft_door_event *mark = p->mark < 0 ? NULL : &d->marks[p->mark];
		const struct ft_door_event *event = p->event < 0 ? NULL : &d->events[p->event];
		char at[2][FT_TIME_TEXT] = { "", "" };
		bool open = mark ? mark->open : event && event->open != d->r.inverted;
		if (mark)
			ft_time_text(mark->at_us, d->offset_minutes, at[0]);
		if (event)
			ft_time_text(event->at_us, d->offset_minutes, at[1]);
		ft_buf_printf(out, "    %-9.8s  %-8s  %-9.8s", mark ? at[0] + 11 : "-", open ? "opened" : "closed",
		              event ? at[1] + 11 : "-");
		if (mark && event)
			ft_buf_printf(out, "%7.1f s", (double)p->delay_us / 1e6);
		else
			ft_buf_puts(out, !event ? "   missed" : p->bounce ? "   trembled" : "   nobody marked it");
		ft_buf_byte(out, '\n');
	}
}

static int print(struct door *d)
{
	struct cli *c = d->c;
	const struct ft_door_result *r = &d->r;
	struct ft_buf out = { 0 };

	ft_buf_printf(&out, "%s: %s\n\n", cli_verdict_text(c, r->verdict),
	              r->verdict == FT_SHOWN              ? "the door switch tells the truth."
	                  : r->verdict == FT_CONTRADICTED ? "the door switch does not tell the truth."
	                                                  : "it is not sure that the door switch tells the truth.");
	ft_buf_printf(&out, "    marks    %zu\n    events   %zu in the time of the marks, %zu outside it\n", r->marks,
	              r->events, r->outside);
	ft_buf_printf(&out, "    matched  %zu, missed %zu, nobody marked %zu\n", r->matched, r->missed, r->invented);
	ft_buf_printf(&out, "    delay    %s in the middle, %s at most\n", seconds_text(c, r->delay_us),
	              seconds_text(c, r->delay_max_us));
	if (r->matched && r->offset_us)
		ft_buf_printf(&out, "    clocks   the events' clock is %s %s\n",
		              seconds_text(c, r->offset_us < 0 ? -r->offset_us : r->offset_us),
		              r->offset_us > 0 ? "ahead" : "behind");
	if (r->pair_count)
		print_pairs(d, &out);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	cli_print_findings(c, &d->f);
	return cli_exit(r->verdict);
}

static void json_seconds(struct ft_json *j, const char *key, int64_t us)
{
	if (us == FT_ABSENT)
		ft_json_null(j, key);
	else
		ft_json_real(j, key, (double)us / 1e6, 3);
}

static int document(struct door *d)
{
	const struct ft_door_result *r = &d->r;
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int code;

	cli_document(d->c, &j, &out, r->verdict, &d->f);
	ft_json_i64(&j, "marks", (int64_t)r->marks);
	ft_json_i64(&j, "events", (int64_t)r->events);
	ft_json_i64(&j, "outside", (int64_t)r->outside);
	ft_json_i64(&j, "matched", (int64_t)r->matched);
	ft_json_i64(&j, "missed", (int64_t)r->missed);
	ft_json_i64(&j, "invented", (int64_t)r->invented);
	ft_json_i64(&j, "bounces", (int64_t)r->bounces);
	ft_json_i64(&j, "late", (int64_t)r->late);
	json_seconds(&j, "delay_s", r->delay_us);
	json_seconds(&j, "delay_max_s", r->delay_max_us);
	json_seconds(&j, "offset_s", r->offset_us);
	ft_json_bool(&j, "inverted", r->inverted);
	code = cli_document_end(d->c, &j);
	return code ? code : cli_exit(r->verdict);
}

static bool take_options(struct door *d)
{
	struct cli *c = d->c;
	int64_t within, late;

	if (!cli_number(c, "within", 1, 3600, 60, &within) || !cli_number(c, "late", 1, 3600, 10, &late))
		return false;
	d->o.within_us = within * FT_SECOND;
	d->o.late_us = late * FT_SECOND;
	d->o.same_clock = cli_flag(c, "same-clock");
	return true;
}

static int run(struct cli *c)
{
	struct door d = { .c = c, .f = { .arena = &c->arena } };
	struct ft_slice bytes;
	enum ft_status s;

	cli_now(&d.offset_minutes);
	if (cli_value(c, "mark")) {
		if (c->count)
			return cli_usage(c, "--mark FILE makes marks and takes no other file."), cli_failed(c);
		return door_mark(c, cli_value(c, "mark"));
	}
	if (c->count != 2)
		return cli_usage(
				   c, "Name the marks and the events: fettle door MARKS.csv EVENTS; marks are made with --mark FILE."),
			   cli_failed(c);
	if (!take_options(&d))
		return cli_failed(c);
	s = cli_read_file(c, c->arguments[0], "the marks", FT_CSV_BYTES_MAX, &bytes);
	if (s == FT_OK)
		s = ft_door_read(bytes, c->arguments[0], d.offset_minutes, &c->arena, &d.marks, &d.mark_count, &d.marked,
		                 &c->error);
	if (s == FT_OK)
		s = read_events(&d, c->arguments[1]);
	d.o.marks_name = c->arguments[0];
	d.o.events_name = c->arguments[1];
	d.o.resolution_s = d.told.resolution_s;
	d.o.offset_minutes = d.offset_minutes;
	d.o.ambiguous_days = d.told.ambiguous_days;
	if (s == FT_OK)
		s = ft_door_match(d.marks, d.mark_count, d.events, d.event_count, &d.o, &c->arena, &d.f, &d.r, &c->error);
	if (s != FT_OK)
		return cli_failed(c);
	return c->json ? document(&d) : print(&d);
}

static const struct cli_option options[] = {
	{ "mark", "FILE", "make marks now: one key each time the door opens or closes" },
	{ "within", "S", "the longest delay that still counts as the same event; 60 unless given" },
	{ "late", "S", "from how many seconds on an event is late; 10 unless given" },
	{ "same-clock", NULL, "marks and events were stamped by one clock: all of the shift is delay" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_door = {
	.name = "door",
	.arguments = "MARKS.csv EVENTS | --mark FILE",
	.summary = "does the door switch tell the truth",
	.about =
		"Lays the events that a unit, its office or the machine's audit tells of the door beside the marks that were made at it, and "
		"says what was missed, what nobody marked, how late it was told, and whether the switch works the wrong way round.\n\n"
		"EVENTS is a table (time and open or closed, or beginning and end) or an audit. The two clocks need not agree: the shift is "
		"found from the marks. Times without an offset are taken as local.\n\n"
		"With --mark a key is pressed each time the door is opened or closed; each mark is on the disk before the next key.",
	.options = options,
	.examples =
		"$ fettle door --mark marks.csv\n$ fettle door marks.csv events.csv\n$ fettle door marks.csv after.dts\n",
	.least = 0,
	.most = 2,
	.run = run,
};
