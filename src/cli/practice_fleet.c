/* SPDX-License-Identifier: Apache-2.0 */
/* fettle practice fleet: weeks of audits and tables of a fleet, in a folder, with a key to what is planted. */
#include "practice_fleet.h"

#include <archive.h>
#include <archive_entry.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "fettle/practice.h"
#include "fettle/time.h"

enum { MACHINES_MAX = 99999, DAYS_MAX = 2000 };

struct writing {
	struct cli *c;
	const char *folder;
	struct ft_buf path;
	struct ft_buf made; /* the last folder made */
	FILE *tables[FT_FLEET_TABLES];
	struct archive *pack;
	uint64_t audits, bytes;
	int64_t said_at;
	struct ft_fleet_planted planted[FT_FLEET_KINDS_MAX];
	size_t kinds;
};

static bool cannot(struct writing *w, const char *what)
{
	ft_fail(&w->c->error, FT_E_STORE, "%s/%s cannot be written: %s.", w->folder, what, strerror(errno));
	return false;
}

static void say_progress(struct writing *w)
{
	int64_t now;

	if (++w->audits % 4096)
		return;
	now = cli_monotonic();
	if (now - w->said_at < (isatty(STDERR_FILENO) ? 200000 : 5000000))
		return;
	w->said_at = now;
	fprintf(stderr, isatty(STDERR_FILENO) ? "\r%llu audits" : "%llu audits\n", (unsigned long long)w->audits);
}

static bool pack_file(struct writing *w, const char *path, struct ft_slice bytes, int64_t at_us)
{
	struct archive_entry *e = archive_entry_new();
	bool good;

	if (!e)
		return false;
	archive_entry_set_pathname(e, path);
	archive_entry_set_filetype(e, AE_IFREG);
	archive_entry_set_perm(e, 0644);
	archive_entry_set_size(e, (la_int64_t)bytes.n);
	archive_entry_set_mtime(e, (time_t)(at_us / FT_SECOND), 0);
	good = archive_write_header(w->pack, e) == ARCHIVE_OK &&
		archive_write_data(w->pack, bytes.p, bytes.n) == (la_ssize_t)bytes.n;
	archive_entry_free(e);
	return good || cannot(w, "audits.tar");
}

static bool make_folder(struct writing *w, const char *path, size_t n)
{
	ft_buf_clear(&w->path);
	ft_buf_printf(&w->path, "%s/%.*s", w->folder, (int)n, path);
	ft_buf_byte(&w->path, 0);
	if (w->made.n == w->path.n && memcmp(w->made.p, w->path.p, w->path.n) == 0)
		return true;
	if (mkdir(w->path.p, 0777) && errno != EEXIST)
		return cannot(w, path);
	ft_buf_clear(&w->made);
	ft_buf_put(&w->made, w->path.p, w->path.n);
	return w->made.status == FT_OK;
}

static bool put_file(void *to, const char *path, struct ft_slice bytes, int64_t at_us)
{
	struct writing *w = to;
	const char *slash = strrchr(path, '/');
	struct timespec times[2] = { { at_us / FT_SECOND, 0 }, { at_us / FT_SECOND, 0 } };
	int fd;
	bool good;

	say_progress(w);
	w->bytes += bytes.n;
	if (w->pack)
		return pack_file(w, path, bytes, at_us);
	if (slash && !make_folder(w, path, (size_t)(slash - path)))
		return false;
	ft_buf_clear(&w->path);
	ft_buf_printf(&w->path, "%s/%s", w->folder, path);
	ft_buf_byte(&w->path, 0);
	fd = open(w->path.p, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
	if (fd < 0)
		return cannot(w, path);
	good = write(fd, bytes.p, bytes.n) == (ssize_t)bytes.n && futimens(fd, times) == 0;
	return (close(fd) == 0 && good) || cannot(w, path);
}

static bool put_row(void *to, enum ft_fleet_table t, const char *row)
{
	struct writing *w = to;

	return (fputs(row, w->tables[t]) >= 0 && fputc('\n', w->tables[t]) == '\n') || cannot(w, ft_fleet_table_name(t));
}

/* Audits of an earlier fleet between those of this one would be taken for its own. */
static bool is_empty(struct writing *w)
{
	DIR *d = opendir(w->folder);
	const struct dirent *x;
	bool empty = true;

	while (d && empty && (x = readdir(d)) != NULL)
		empty = strcmp(x->d_name, ".") == 0 || strcmp(x->d_name, "..") == 0;
	if (d)
		closedir(d);
	return empty ||
		(cli_usage(w->c, "%s holds something already; name a folder that is new or empty.", w->folder), false);
}

static bool begin(struct writing *w)
{
	if (!is_empty(w))
		return false;
	if (mkdir(w->folder, 0777) && errno != EEXIST)
		return cannot(w, "");
	for (int t = 0; t < FT_FLEET_TABLES; t++) {
		ft_buf_clear(&w->path);
		ft_buf_printf(&w->path, "%s/%s.csv", w->folder, ft_fleet_table_name((enum ft_fleet_table)t));
		ft_buf_byte(&w->path, 0);
		w->tables[t] = w->path.status == FT_OK ? fopen(w->path.p, "we") : NULL;
		if (!w->tables[t] || !put_row(w, (enum ft_fleet_table)t, ft_fleet_heading((enum ft_fleet_table)t)))
			return cannot(w, ft_fleet_table_name((enum ft_fleet_table)t));
	}
	if (!cli_flag(w->c, "pack"))
		return make_folder(w, "audits", 6);
	ft_buf_clear(&w->path);
	ft_buf_printf(&w->path, "%s/audits.tar", w->folder);
	ft_buf_byte(&w->path, 0);
	w->pack = archive_write_new();
	if (!w->pack)
		return false;
	archive_write_set_format_pax_restricted(w->pack);
	return archive_write_open_filename(w->pack, w->path.p) == ARCHIVE_OK || cannot(w, "audits.tar");
}

static bool end(struct writing *w)
{
	bool good = true;

	for (int t = 0; t < FT_FLEET_TABLES; t++)
		if (w->tables[t] && fclose(w->tables[t]))
			good = cannot(w, ft_fleet_table_name((enum ft_fleet_table)t));
	if (w->pack && archive_write_close(w->pack) != ARCHIVE_OK)
		good = cannot(w, "audits.tar");
	if (w->pack)
		archive_write_free(w->pack);
	ft_buf_done(&w->path);
	ft_buf_done(&w->made);
	return good;
}

/* What is to be said of a kind: that it is in the key, or why it is not, at least not as often as it was begun. */
enum told { TOLD_PLANTED, TOLD_TOO_LATE, TOLD_TOO_SHORT, TOLD_NO_MACHINE };

static enum told why_not(const struct ft_fleet_planted *x)
{
	return x->machines > x->in_key ? TOLD_TOO_LATE
		: x->machines              ? TOLD_PLANTED
		: x->least_days            ? TOLD_TOO_SHORT
								   : TOLD_NO_MACHINE;
}

/* A line of kinds, each with a number before or behind it. */
static void say_kinds(struct writing *w, const char *head, enum told told)
{
	struct ft_buf list = { 0 }, out = { 0 };

	for (size_t i = 0; i < w->kinds; i++) {
		const struct ft_fleet_planted *x = &w->planted[i];
		if (told == TOLD_PLANTED ? !x->in_key : why_not(x) != told)
			continue;
		ft_buf_puts(&list, list.n ? ", " : head);
		if (told == TOLD_PLANTED)
			ft_buf_printf(&list, "%zu %s", x->in_key, x->kind);
		else if (told == TOLD_TOO_SHORT)
			ft_buf_printf(&list, "%s (%d days)", x->kind, x->least_days);
		else
			ft_buf_puts(&list, x->kind);
	}
	if (!list.n)
		return;
	ft_buf_puts(&list, ".");
	ft_buf_byte(&list, 0);
	if (list.status == FT_OK)
		ft_wrap(&out, list.p, w->c->columns, 0);
	ft_buf_byte(&out, '\n');
	cli_flush(w->c, &out);
	ft_buf_done(&list);
	ft_buf_done(&out);
}

static void say_planted(struct writing *w)
{
	size_t all = 0;

	for (size_t i = 0; i < w->kinds; i++)
		all += w->planted[i].in_key;
	if (!all)
		cli_say(w->c, "Nothing was planted, and key.csv is empty.");
	say_kinds(w, "Planted, as key.csv says: ", TOLD_PLANTED);
	say_kinds(w, "Begun and not in the key, since nobody could see it before the last day: ", TOLD_TOO_LATE);
	say_kinds(w, "Not planted, as it takes more days: ", TOLD_TOO_SHORT);
	say_kinds(w, "Not planted, as no machine was left that can have it: ", TOLD_NO_MACHINE);
}

static void event_json(struct ft_buf *out, const char *event, int64_t amount, const char *text, const char *kind)
{
	struct ft_json j = { .out = out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "event", event);
	if (kind)
		ft_json_text(&j, "kind", kind);
	ft_json_i64(&j, "amount", amount);
	ft_json_text(&j, "text", text);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}

static int say(struct writing *w, const struct ft_fleet_plan *plan)
{
	struct ft_buf out = { 0 };

	if (!w->c->json) {
		cli_say(w->c, "%zu machines lived for %d days: %llu audits, %.0f MB, in %s.", plan->machines, plan->days,
		        (unsigned long long)w->audits, (double)w->bytes / 1e6, w->folder);
		say_planted(w);
		return FT_OK;
	}
	event_json(&out, "fleet", (int64_t)w->audits, w->folder, NULL);
	for (size_t i = 0; i < w->kinds; i++) {
		static const char *const words[] = { NULL, "too late to be seen", "too few days", "no machine left" };
		const struct ft_fleet_planted *x = &w->planted[i];
		event_json(&out, "planted", (int64_t)x->in_key, words[why_not(x)], x->kind);
	}
	if (!cli_flush(w->c, &out))
		return cli_failed(w->c);
	ft_buf_done(&out);
	return FT_OK;
}

int practice_fleet(struct cli *c)
{
	struct writing w = { .c = c, .folder = cli_value(c, "o"), .said_at = cli_monotonic() };
	struct ft_fleet_sink sink = { &w, put_file, put_row };
	struct ft_fleet_plan plan;
	int64_t machines, days, seed;
	bool good;

	if (!w.folder)
		return cli_usage(c, "A fleet needs a folder to be written into: -o DIR."), cli_failed(c);
	if (!cli_number(c, "machines", 1, MACHINES_MAX, 100, &machines) || !cli_number(c, "days", 1, DAYS_MAX, 60, &days) ||
	    !cli_number(c, "seed", 0, INT64_MAX, 1, &seed))
		return cli_failed(c);
	plan = (struct ft_fleet_plan){ (size_t)machines, (int)days, (uint64_t)seed };
	good = begin(&w) && ft_practice_fleet(&plan, &sink, w.planted, &w.kinds, &c->error) == FT_OK;
	good &= end(&w);
	if (!good) {
		if (c->error.status == FT_OK)
			ft_fail_memory(&c->error, "the fleet");
		return cli_failed(c);
	}
	return say(&w, &plan);
}
