/* SPDX-License-Identifier: Apache-2.0 */
/* Checks audits against the standard and their own arithmetic: files, folders, archives. */
#include "unpack.h"
#include "check.h"
#include "verbs.h"

#include <dirent.h>
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { JOBS_MAX = 64, FOLDERS_DEEP = 64, PATH_ROOM = 4096 };

struct walk {
	struct cli *c;
	struct check_crew *crew;
	struct ft_arena names; /* of members of an archive; the command's own arena holds the arguments */
	bool ok;
	bool progress;
	uint64_t given;
	int64_t said_at;
};

/* A line that stays where it is on a terminal; every few seconds a new one elsewhere. */
static void say_progress(struct walk *w)
{
	int64_t now;

	if (++w->given % 4096)
		return;
	now = cli_monotonic();
	if (now - w->said_at < (w->progress ? 200000 : 5000000))
		return;
	w->said_at = now;
	fprintf(stderr, w->progress ? "\r%llu files checked" : "%llu files checked\n", (unsigned long long)w->given);
}

static void give_file(struct walk *w, const char *path)
{
	w->ok = w->ok && check_crew_give(w->crew, path, (struct ft_slice){ NULL, 0 });
	say_progress(w);
}

static void give_error(struct walk *w, const char *path, const char *sentence)
{
	w->ok = w->ok && check_crew_give_error(w->crew, path, sentence, FT_E_INPUT);
}

struct opened {
	struct walk *walk;
	const char *path; /* of the archive */
};

static bool give_entry(void *to, const struct cli_entry *e)
{
	struct opened *o = to;
	struct walk *w = o->walk;
	char *name = ft_arena_printf(&w->names, "%s:%s", o->path, e->inside);

	if (!name)
		w->ok = ft_fail_memory(&w->c->error, "the archive") == FT_OK;
	else if (e->wrong)
		give_error(w, name, e->wrong);
	else
		w->ok = w->ok && check_crew_give(w->crew, name, e->bytes);
	say_progress(w);
	ft_arena_reset(&w->names); /* the name was copied */
	return w->ok;
}

static void give_archive(struct walk *w, const char *path)
{
	const char *wrong = cli_read_archive(path, give_entry, &(struct opened){ w, path });

	if (wrong)
		give_error(w, path, wrong);
}

/* Goes through a folder as it comes, holding one path: memory does not grow with the files. */
static void give_folder(struct walk *w, char path[PATH_ROOM], size_t n, int depth)
{
	DIR *dir = opendir(path);
	struct dirent *x;

	if (!dir || depth > FOLDERS_DEEP) {
		give_error(w, path,
		           dir ? "The folders are nested too deep." : "This folder cannot be opened; look at its permissions.");
		if (dir)
			closedir(dir);
		return;
	}
	while (w->ok && (x = readdir(dir)) != NULL) {
		size_t len = strlen(x->d_name);
		struct stat st;
		int type = x->d_type;
		if (x->d_name[0] == '.')
			continue;
		if (n + len + 2 > PATH_ROOM) {
			give_error(w, path, "A path in this folder is too long.");
			continue;
		}
		path[n] = '/';
		memcpy(path + n + 1, x->d_name, len + 1);
		if (type == DT_UNKNOWN && lstat(path, &st) == 0)
			type = S_ISDIR(st.st_mode) ? DT_DIR : S_ISREG(st.st_mode) ? DT_REG : DT_UNKNOWN;
		if (type == DT_DIR)
			give_folder(w, path, n + 1 + len, depth + 1);
		else if (type == DT_REG && cli_is_archive(path))
			give_archive(w, path);
		else if (type == DT_REG || (type == DT_LNK && stat(path, &st) == 0 && S_ISREG(st.st_mode)))
			give_file(w, path);
		path[n] = 0;
	}
	closedir(dir);
}

static void give(struct walk *w, const char *path)
{
	char room[PATH_ROOM];
	struct stat st;
	size_t n = strlen(path);

	if (strcmp(path, "-") == 0) {
		struct ft_slice bytes;
		if (cli_read_file(w->c, path, "an audit", FT_AUDIT_BYTES_MAX, &bytes) != FT_OK)
			w->ok = false;
		else
			w->ok = w->ok && check_crew_give(w->crew, "-", bytes);
		return;
	}
	if (n < PATH_ROOM && stat(path, &st) == 0 && S_ISDIR(st.st_mode)) {
		memcpy(room, path, n + 1);
		while (n > 1 && room[n - 1] == '/')
			room[--n] = 0;
		give_folder(w, room, n, 0);
		return;
	}
	if (cli_is_archive(path))
		give_archive(w, path);
	else
		give_file(w, path);
}

static void print_sum(const struct check_tally *t, int64_t took_us)
{
	uint64_t all = t->shown + t->open + t->contradicted + t->unreadable;
	double s = (double)took_us / 1e6;

	printf("%llu %s: %llu shown, %llu open, %llu contradicted, %llu unreadable.", (unsigned long long)all,
	       all == 1 ? "audit" : "audits", (unsigned long long)t->shown, (unsigned long long)t->open,
	       (unsigned long long)t->contradicted, (unsigned long long)t->unreadable);
	if (all >= 1000 && s > 0)
		printf(" %.1f MB in %.2f s, %.0f a second.", (double)t->bytes / 1e6, s, (double)all / s);
	putchar('\n');
}

static int run(struct cli *c)
{
	struct check_tally t;
	struct walk w = { .c = c, .ok = true, .said_at = cli_monotonic() };
	int64_t start = w.said_at;
	long cpus = sysconf(_SC_NPROCESSORS_ONLN);
	struct stat st;
	int64_t jobs;
	bool one;

	if (!cli_number(c, "jobs", 1, JOBS_MAX, cpus < 1 ? 1 : cpus > 8 ? 8 : cpus, &jobs))
		return cli_failed(c);
	one =
		c->count == 1 && !cli_is_archive(c->arguments[0]) && !(stat(c->arguments[0], &st) == 0 && S_ISDIR(st.st_mode));
	w.progress = isatty(STDERR_FILENO);
	w.crew = check_crew_new(c, c->count == 1 && one ? 1 : (int)jobs, one);
	if (!w.crew) {
		ft_fail_memory(&c->error, "the check");
		return cli_failed(c);
	}
	for (int i = 0; i < c->count && w.ok; i++)
		give(&w, c->arguments[i]);
	ft_arena_done(&w.names);
	if (w.progress && w.given >= 4096)
		fputs("\r                              \r", stderr);
	if (!check_crew_done(w.crew, &t) || !w.ok) {
		if (c->error.status == FT_OK)
			ft_fail(&c->error, FT_E_STORE, "The result could not be written: %s.", strerror(errno));
		return cli_failed(c);
	}
	if (!c->json && (!one || t.unreadable == 0))
		print_sum(&t, cli_monotonic() - start);
	return t.exit_code;
}

static const struct cli_option options[] = {
	{ "jobs", "N", "work on N files at once (the number of processors if not given)" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_check = {
	.name = "check",
	.arguments = "FILE...",
	.summary = "checks audits against the standard and their own arithmetic",
	.about =
		"Takes files, folders with all that is in them, and archives (.tar, .tar.gz, .tar.zst, .zip). Each audit's "
		"envelope, check value, segment count, dates and numbers are checked, and every accounting identity that "
		"its counters can tell. For people it names what is not in order and closes with a sum; with --json it "
		"prints one document a file.",
	.options = options,
	.examples = "$ fettle check before.dts\n$ fettle check audits/ --jobs 2\n$ fettle check fleet.tar.gz --json",
	.least = 1,
	.most = -1,
	.run = run,
};
