/* SPDX-License-Identifier: Apache-2.0 */
/* The weeks after: audits of many machines and days, and which machine needs a person today. */
#include "verbs.h"
#include "watch.h"

#include <unistd.h>

enum { JOBS_MAX = 64, HORIZON_DAYS = 120 };

struct run {
	struct watch_fleet fleet;
	bool again; /* look at every file, known or not */
};

static bool known(void *to, const char *path, int64_t size, int64_t mtime_ns)
{
	struct run *r = to;

	return r->fleet.memory && watch_memory_known(r->fleet.memory, path, size, mtime_ns);
}

static bool folder_known(void *to, const char *path, int64_t mtime_ns)
{
	struct run *r = to;

	return r->fleet.memory && watch_memory_folder(r->fleet.memory, path, mtime_ns) && !r->again;
}

static bool take(void *to, const struct watch_found *f)
{
	struct run *r = to;

	if (f->reads.n && !watch_fleet_add(&r->fleet, f->reads))
		return false;
	return !r->fleet.memory || watch_memory_took(r->fleet.memory, f);
}

static unsigned turn(void *to, const char *path, size_t files, unsigned done)
{
	struct run *r = to;

	return r->fleet.memory ? watch_memory_turn(r->fleet.memory, path, files, done) : WATCH_ALL & ~done;
}

static bool due(void *to)
{
	struct run *r = to;

	return r->fleet.memory && watch_memory_due(r->fleet.memory);
}

static bool gather(struct cli *c, struct run *r, int jobs, struct watch_tally *tally)
{
	const struct watch_taker taker = { r, known, folder_known, take, turn, due };
	struct watch_memory *m = r->fleet.memory;

	if (!watch_gather(c, c->arguments[0], jobs, &taker, tally))
		return false;
	if (m && watch_memory_waits(m) && !watch_gather(c, c->arguments[0], jobs, &taker, tally))
		return false;
	return !m || watch_memory_gathered(m);
}

static bool time_option(struct cli *c, const char *name, int64_t otherwise, int64_t *ret)
{
	const char *v = cli_value(c, name);
	struct ft_buf whole = { 0 };
	bool good;

	*ret = otherwise;
	if (!v)
		return true;
	good = ft_time_parse(ft_slice_of(v), 0, ret);
	if (!good) {
		ft_buf_printf(&whole, "%sT00:00:00", v);
		good = whole.status == FT_OK && ft_time_parse(ft_buf_text(&whole), 0, ret);
		ft_buf_done(&whole);
	}
	if (!good)
		cli_usage(c, "--%s %s is neither a day nor a time, such as 2026-03-09 or 2026-03-09T06:00:00.", name, v);
	return good;
}

/* Rows that name no machine are told of, else a table of other names would be passed over in silence. */
static enum ft_status look_for_strangers(struct watch_fleet *f, struct watch_table *t, const char *path,
                                         const char *const *assets, size_t step, size_t n)
{
	t->path = path;
	return ft_watch_strangers(f->results, f->result_count, assets, step, n, &f->arena, &t->strangers)
		? FT_OK
		: ft_fail_memory(&f->c->error, path);
}

/* Nobody knew yet what was counted or settled on a day that began no earlier than `until`. */
static bool count_known(const void *row, int64_t until)
{
	return ((const struct ft_count *)row)->day * FT_DAY < until;
}

static bool settlement_known(const void *row, int64_t until)
{
	return ((const struct ft_settlement *)row)->day * FT_DAY < until;
}

static bool door_known(const void *row, int64_t until)
{
	return ((const struct ft_fleet_door *)row)->at_us <= until;
}

/* Leaves in front the rows that were known by `until`; how many those are. */
static size_t rows_by(void *list, size_t n, size_t size, bool (*is_known)(const void *row, int64_t until),
                      int64_t until)
{
	char *p = list;
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (is_known(p + i * size, until))
			memmove(p + kept++ * size, p + i * size, size);
	return kept;
}

static enum ft_status money_tables(struct cli *c, struct watch_fleet *f, int64_t until)
{
	int decimals = f->result_count ? f->results[0].decimals : 2;
	const char *counts = cli_value(c, "counts"), *settlements = cli_value(c, "settlements");
	enum ft_status s = FT_OK;
	struct ft_slice bytes;

	if (counts) {
		struct ft_count *list = NULL;
		size_t n = 0;
		s = cli_read_file(c, counts, "the counts", FT_CSV_BYTES_MAX, &bytes);
		if (s == FT_OK)
			s = ft_counts_read(bytes, counts, decimals, &c->arena, &list, &n, &c->error);
		if (s == FT_OK && n)
			s = look_for_strangers(f, &f->tables[0], counts, &list->asset, sizeof *list, n);
		if (s == FT_OK)
			s = ft_watch_cash(f->results, f->result_count, list, rows_by(list, n, sizeof *list, count_known, until),
			                  &f->arena, &f->cash, &c->error);
		f->counted = s == FT_OK;
	}
	if (settlements && s == FT_OK) {
		struct ft_settlement *list = NULL;
		size_t n = 0;
		s = cli_read_file(c, settlements, "the settlements", FT_CSV_BYTES_MAX, &bytes);
		if (s == FT_OK)
			s = ft_settlements_read(bytes, settlements, decimals, &c->arena, &list, &n, &c->error);
		if (s == FT_OK && n)
			s = look_for_strangers(f, &f->tables[1], settlements, &list->asset, sizeof *list, n);
		if (s == FT_OK)
			s = ft_watch_settlements(f->results, f->result_count, list,
			                         rows_by(list, n, sizeof *list, settlement_known, until), &f->arena, &c->error);
	}
	return s;
}

static enum ft_status take_temperatures(void *to, struct ft_slice lines, struct ft_error *e)
{
	return ft_cabinets_take(to, lines, e);
}

static enum ft_status door_tables(struct cli *c, struct watch_fleet *f, int64_t until)
{
	const char *doors = cli_value(c, "doors"), *temperatures = cli_value(c, "temperatures");
	struct ft_fleet_door *list = NULL;
	size_t n = 0;
	enum ft_status s = FT_OK;
	struct ft_slice bytes;

	if (doors) {
		s = cli_read_file(c, doors, "the door events", FT_CSV_BYTES_MAX, &bytes);
		if (s == FT_OK)
			s = ft_fleet_doors_read(bytes, doors, &c->arena, &list, &n, &c->error);
		if (s == FT_OK && n)
			s = look_for_strangers(f, &f->tables[2], doors, &list->asset, sizeof *list, n);
		n = s == FT_OK ? rows_by(list, n, sizeof *list, door_known, until) : 0;
		if (s == FT_OK)
			s = ft_watch_doors(f->results, f->result_count, list, n, &f->arena, &c->error);
	}
	if (temperatures && s == FT_OK) {
		struct ft_cabinets *cabinets = ft_cabinets_begin(f->results, f->result_count, list, n, temperatures, &f->arena);
		if (cabinets)
			ft_cabinets_until(cabinets, until);
		s = cabinets ? cli_read_lines(c, temperatures, "the temperatures", take_temperatures, cabinets)
					 : ft_fail_memory(&c->error, "the temperatures");
		if (s == FT_OK)
			f->tables[3] = (struct watch_table){ temperatures, ft_cabinets_strangers(cabinets) };
	}
	return s;
}

static int watch(struct cli *c, struct run *r, int jobs)
{
	struct watch_tally tally = { 0 };
	struct watch_fleet *f = &r->fleet;
	int64_t since, until, known_until;
	enum ft_status s;

	if (!time_option(c, "since", FT_ABSENT, &since) || !time_option(c, "until", FT_ABSENT, &until))
		return cli_failed(c);
	if (!cli_flag(c, "fresh")) {
		f->memory = watch_memory_open(c, f, c->arguments[0]);
		if (!f->memory)
			return cli_failed(c);
	}
	r->again = cli_flag(c, "again");
	if (!gather(c, r, jobs, &tally))
		return cli_failed(c);
	if (!(f->memory ? watch_handovers_tie(f, watch_memory_book(f->memory)) : watch_handovers_look(f)))
		return cli_failed(c);
	known_until = until == FT_ABSENT ? FT_NEVER : until; /* loggers tell of the hours behind the last audit, too */
	if (until == FT_ABSENT)
		until = f->newest_us;
	f->since_us = since == FT_ABSENT ? until - HORIZON_DAYS * FT_DAY : since;
	s = watch_fleet_judge(f, until);
	if (s == FT_OK)
		s = money_tables(c, f, known_until);
	if (s == FT_OK)
		s = door_tables(c, f, known_until);
	if (s != FT_OK || !watch_reads_asked(f, until) || (f->memory && !watch_memory_close(f->memory, until)))
		return cli_failed(c);
	if (f->memory && !watch_handovers_file(f, watch_memory_book(f->memory), until))
		return cli_failed(c);
	f->memory = watch_memory_free(f->memory); /* whoever reads what is said may take long: others may watch meanwhile */
	if (watch_report(f, until) != FT_OK)
		return cli_failed(c);
	return watch_show(f, until, cli_flag(c, "history"), &tally);
}

static int run(struct cli *c)
{
	struct run r = { .fleet = { .c = c } };
	long cpus = sysconf(_SC_NPROCESSORS_ONLN);
	int64_t jobs;
	int code;

	if (!cli_number(c, "jobs", 1, JOBS_MAX, cpus < 1 ? 1 : cpus > 8 ? 8 : cpus, &jobs))
		return cli_failed(c);
	code = watch(c, &r, (int)jobs);
	watch_memory_free(r.fleet.memory);
	watch_fleet_done(&r.fleet);
	return code;
}

static const struct cli_option options[] = {
	{ "counts", "FILE", "money counted: a table with date, asset, bills, coins and perhaps bag, by, route" },
	{ "settlements", "FILE", "cards settled: a table with date, asset, amount" },
	{ "doors", "FILE", "door events: a table with time, asset, door (open, closed)" },
	{ "temperatures", "FILE", "cabinets: a table with time, asset, c and perhaps alarm (0, 1)" },
	{ "since", "DAY", "leave out what came before; 120 days if not given" },
	{ "until", "TIME", "judge as of this time; the newest audit if not given" },
	{ "asset", "NAME", "this machine alone; with --json also its days and reads" },
	{ "history", NULL, "with --json: also exceptions that ended or grew old" },
	{ "all", NULL, "list every exception, not the first forty" },
	{ "report", "FILE", "write what is open into FILE: .csv, .json, .txt, .html or .pdf; may be given several times" },
	{ "acknowledge", "\"ASSET RULE [SELECTION]\"", "keep it quiet until it changes; may be given several times" },
	{ "because", "TEXT", "why it is acknowledged" },
	{ "by", "NAME", "who says so" },
	{ "again", NULL, "look at every file, also in folders that did not change" },
	{ "fresh", NULL, "read everything anew and keep nothing in the book" },
	{ "jobs", "N", "work on N files at once (the number of processors if not given)" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_watch = {
	.name = "watch",
	.arguments = "FOLDER",
	.summary = "says which machines need a person today, from the audits of a fleet",
	.about =
		"Takes a folder (or an archive) with audits of many machines and days, in any order, with copies, late ones "
		"and parts, and what people counted, cards settled, doors and cabinets told. Machines are told apart by what "
		"is inside their audits. Each exception says how much money is at stake and how sure it is; the most urgent "
		"stand first. The book keeps what was read, so that the next run reads only what is new. With --json it prints one document a machine.",
	.options = options,
	.examples = "$ fettle watch audits/\n$ fettle watch audits/ --counts counts.csv --doors doors.csv --json\n"
				"$ fettle watch audits/ --acknowledge \"HL-0932 watch.price-differs\" \\\n"
				"      --because \"new list\"",
	.least = 1,
	.most = 1,
	.run = run,
};
