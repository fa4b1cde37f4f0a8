/* SPDX-License-Identifier: Apache-2.0 */
/* Folders and archives to extracted reads: hands read and extract, the one who gives takes the results in the order
 * given. */
#include "unpack.h"
#include "ring.h"
#include "watch.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

enum { TRAY_FILES = 64, DEEP_MAX = 64, PATH_ROOM = 4096 };

struct item {
	size_t path, bytes, n;
	bool has_bytes;
	int64_t size, mtime_ns;
	size_t out, out_n;
	uint64_t content;
};

struct tray {
	struct item items[TRAY_FILES];
	int count;
	struct ft_buf names, data, out;
};

struct hand {
	struct gather *g;
	struct ft_arena arena;
	struct ft_facts facts;
	struct ft_buf file;
};

enum { OWN_MAX = 16 }; /* ours: tables and reports named beside the folder */

struct own {
	dev_t device;
	ino_t number;
};

struct gather {
	struct own own[OWN_MAX]; /* files of this very run that lie in the folder and were never meant to be audits */
	size_t own_count;
	struct cli *c;
	const struct watch_taker *taker;
	struct watch_tally *tally;
	const char *root;
	size_t root_n;
	bool ok, progress;
	struct cli_ring *ring;
	struct hand *hands;
	int64_t said_at;
	ft_crc16_fn *crc16;
};

/* ---- one file ---- */

/* Every set of the file, each as a read; what is no audit leaves nothing. */
static void extract(struct hand *h, struct tray *t, struct item *x, struct ft_slice bytes)
{
	struct ft_stream s = { 0 };
	struct ft_audit d;
	const char *path = t->names.p + x->path;
	int64_t arrived = x->mtime_ns / 1000;

	x->content = 1; /* it was read; what it holds is known from its first set on */
	ft_arena_reset(&h->arena);
	if (ft_audit_read(bytes, &h->arena, &d, NULL) != FT_OK)
		return;
	ft_watch_stamp(ft_slice_of(path), &arrived);
	for (size_t i = 0; i < d.set_count; i++) {
		struct ft_watch_read r;
		if (ft_audit_facts(&d, &d.sets[i], &h->arena, &h->facts, NULL) != FT_OK ||
		    ft_watch_extract(&h->facts, path, arrived, h->g->crc16, &h->arena, &r, NULL) != FT_OK)
			break;
		x->content = i || !r.content ? x->content : r.content;
		r.content += i; /* sets of one file are not the same audit */
		if (!ft_stream_put(&s, &r))
			break;
	}
	x->out = t->out.n;
	x->out_n = s.bytes.n;
	ft_buf_put(&t->out, s.bytes.p ? s.bytes.p : "", s.bytes.n);
	ft_stream_done(&s);
}

static bool read_file(struct hand *h, const char *path)
{
	char full[PATH_ROOM * 2];
	char step[65536];
	int fd;
	ssize_t got;

	ft_buf_clear(&h->file);
	h->file.ceiling = FT_AUDIT_BYTES_MAX;
	if (h->g->root_n + strlen(path) + 2 > sizeof full)
		return false;
	memcpy(full, h->g->root, h->g->root_n);
	full[h->g->root_n] = '/';
	memcpy(full + h->g->root_n + 1, path, strlen(path) + 1);
	fd = open(*path ? full : h->g->root, O_RDONLY | O_CLOEXEC | O_NOCTTY);
	if (fd < 0)
		return false;
	while ((got = read(fd, step, sizeof step)) > 0 && h->file.status == FT_OK)
		ft_buf_put(&h->file, step, (size_t)got);
	close(fd);
	return got == 0 && h->file.status == FT_OK;
}

static void work_tray(void *to, int hand, void *tray)
{
	struct gather *g = to;
	struct hand *h = &g->hands[hand];
	struct tray *t = tray;

	ft_buf_clear(&t->out);
	for (int i = 0; i < t->count; i++) {
		struct item *x = &t->items[i];
		x->content = 0;
		x->out_n = 0;
		if (x->has_bytes)
			extract(h, t, x, (struct ft_slice){ t->data.p + x->bytes, x->n });
		else if (read_file(h, t->names.p + x->path))
			extract(h, t, x, h->file.n ? ft_buf_text(&h->file) : (struct ft_slice){ "", 0 });
	}
}

/* A file of which nothing comes; the first are named. */
static void note_nothing(struct gather *g, const char *path)
{
	for (int i = 0; i < WATCH_NAMED; i++)
		if (!*g->tally->names[i]) {
			snprintf(g->tally->names[i], sizeof g->tally->names[i], "%s", path);
			return;
		}
}

static void take_tray(void *to, void *tray)
{
	struct gather *g = to;
	struct tray *t = tray;

	for (int i = 0; i < t->count && g->ok; i++) {
		const struct item *x = &t->items[i];
		struct watch_found f = {
			t->names.p + x->path, x->size, x->mtime_ns, x->content, { t->out.p ? t->out.p + x->out : "", x->out_n }
		};
		g->tally->read++;
		g->tally->bytes += (uint64_t)x->size;
		g->tally->unreadable += x->content == 0;
		g->tally->without_audit += x->content != 0 && x->out_n == 0;
		if (!x->content || !x->out_n)
			note_nothing(g, f.path);
		g->ok = g->taker->take(g->taker->to, &f);
	}
	ft_buf_clear(&t->names);
	ft_buf_clear(&t->data);
	t->count = 0;
}

static void end_tray(void *tray)
{
	struct tray *t = tray;

	ft_buf_done(&t->names);
	ft_buf_done(&t->data);
	ft_buf_done(&t->out);
}

/* Until everything given so far was taken. */
static void drain(struct gather *g)
{
	const struct tray *t = cli_ring_tray(g->ring);

	if (t->count)
		cli_ring_pass(g->ring);
	cli_ring_drain(g->ring);
}

/* ---- giving ---- */

static void say_progress(struct gather *g)
{
	int64_t now;

	if (++g->tally->seen % 4096)
		return;
	now = cli_monotonic();
	if (now - g->said_at < (g->progress ? 200000 : 5000000))
		return;
	g->said_at = now;
	fprintf(stderr, g->progress ? "\r%llu files" : "%llu files\n", (unsigned long long)g->tally->seen);
}

static void give(struct gather *g, const char *path, int64_t size, int64_t mtime_ns, const struct ft_slice *bytes)
{
	struct tray *t = cli_ring_tray(g->ring);
	struct item *x = &t->items[t->count];

	say_progress(g);
	if (!g->ok || g->taker->known(g->taker->to, path, size, mtime_ns))
		return;
	*x = (struct item){ .path = t->names.n, .size = size, .mtime_ns = mtime_ns };
	ft_buf_put(&t->names, path, strlen(path) + 1);
	if (bytes) {
		x->has_bytes = true;
		x->bytes = t->data.n;
		x->n = bytes->n;
		ft_buf_put(&t->data, bytes->n ? bytes->p : "", bytes->n);
	}
	if (t->names.status != FT_OK || t->data.status != FT_OK) {
		g->ok = ft_fail_memory(&g->c->error, "the audits") == FT_OK;
		return;
	}
	if (++t->count == TRAY_FILES || t->data.n > (1U << 20))
		cli_ring_pass(g->ring);
}

struct opened {
	struct gather *gather;
	const char *name; /* of the archive */
};

static bool give_entry(void *to, const struct cli_entry *e)
{
	struct opened *o = to;
	struct gather *g = o->gather;
	struct ft_buf path = { 0 };

	ft_buf_printf(&path, "%s:%s", o->name, e->inside);
	ft_buf_byte(&path, 0);
	if (e->wrong || path.status != FT_OK) {
		g->tally->unreadable++;
		note_nothing(g, path.status == FT_OK ? path.p : o->name);
	} else
		give(g, path.p, (int64_t)e->bytes.n, e->mtime_ns, &e->bytes);
	ft_buf_done(&path);
	return g->ok;
}

static void give_archive(struct gather *g, const char *full, const char *name)
{
	if (cli_read_archive(full, give_entry, &(struct opened){ g, name }) != NULL) {
		g->tally->unreadable++;
		note_nothing(g, name);
	}
}

static int64_t mtime_of(const struct stat *st)
{
	return st->st_mtim.tv_sec * INT64_C(1000000000) + st->st_mtim.tv_nsec;
}

static void give_folder(struct gather *g, char path[PATH_ROOM], size_t n, int depth);

struct name {
	char *text;
	int type;
};

static int by_name(const void *x, const void *y)
{
	const struct name *a = x, *b = y;

	return strcmp(a->text, b->text);
}

static void note_own(struct gather *g, const char *path)
{
	struct stat st;

	if (!path || g->own_count == OWN_MAX || stat(path, &st))
		return;
	g->own[g->own_count].device = st.st_dev;
	g->own[g->own_count++].number = st.st_ino;
}

static void note_all_own(struct gather *g)
{
	static const char *const options[] = { "counts", "settlements", "doors", "temperatures" };
	const char *report, *book = cli_book_path(g->c);

	for (size_t i = 0; i < sizeof options / sizeof *options; i++)
		note_own(g, cli_value(g->c, options[i]));
	note_own(g, book);
	note_own(g, ft_arena_printf(&g->c->arena, "%s-wal", book ? book : ""));
	note_own(g, ft_arena_printf(&g->c->arena, "%s-shm", book ? book : ""));
	note_own(g, ft_arena_printf(&g->c->arena, "%s-watch", book ? book : ""));
	for (int i = 0; (report = cli_value_nth(g->c, "report", i)) != NULL; i++)
		note_own(g, report);
}

static bool is_own(const struct gather *g, const struct stat *st)
{
	for (size_t i = 0; i < g->own_count; i++)
		if (g->own[i].number == st->st_ino && g->own[i].device == st->st_dev)
			return true;
	return false;
}

unsigned watch_slice(const char *name)
{
	return watch_hash(name, strlen(name)) % WATCH_SLICES;
}

/* Which slices of a folder's files, or of an archive, are ours to read now; 0: no more. */
static unsigned turn(struct gather *g, const char *path, size_t files, unsigned done)
{
	unsigned mine;

	if (g->ok && g->taker->due(g->taker->to))
		drain(g);
	mine = g->ok ? g->taker->turn(g->taker->to, path, files, done) : 0;
	g->ok = g->ok && g->c->error.status == FT_OK;
	return g->ok ? mine : 0;
}

static void give_whole(struct gather *g, const char *full, const char *name, const struct stat *st)
{
	struct watch_found whole = { name, st->st_size, mtime_of(st), 1, { "", 0 } };

	if (!turn(g, name, 1, 0) || g->taker->known(g->taker->to, name, st->st_size, mtime_of(st)))
		return;
	give_archive(g, full, name);
	drain(g); /* known as a whole only when all of it was taken */
	g->ok = g->ok && g->taker->take(g->taker->to, &whole);
}

/* `slices` of its folder's files are ours; 0: it is the turn of folders and archives. */
static void give_name(struct gather *g, int folder, const struct name *x, char path[PATH_ROOM], size_t n,
                      unsigned slices, int depth)
{
	struct stat st;
	size_t len = strlen(x->text);
	bool packed = cli_is_archive(x->text);

	if (n + len + 2 > PATH_ROOM || (x->type == DT_REG && packed == (slices != 0)))
		return;
	if (slices && (x->type == DT_DIR || !(slices >> watch_slice(x->text) & 1)))
		return;
	if (fstatat(folder, x->text, &st, 0) || is_own(g, &st))
		return;
	path[n] = '/';
	memcpy(path + n + 1, x->text, len + 1);
	if (!slices && S_ISDIR(st.st_mode))
		give_folder(g, path, n + 1 + len, depth + 1);
	else if (!slices && packed && S_ISREG(st.st_mode))
		give_whole(g, path, path + g->root_n + 1, &st);
	else if (slices && !packed && S_ISREG(st.st_mode))
		give(g, path + g->root_n + 1, st.st_size, mtime_of(&st), NULL);
	path[n] = 0;
}

/* Files first: what lies deeper may have to wait, and nobody shall wait for these meanwhile. */
static void give_names(struct gather *g, int folder, const struct name *list, size_t count, char path[PATH_ROOM],
                       size_t n, bool settled, int depth)
{
	const char *below = n > g->root_n ? path + g->root_n + 1 : "";
	unsigned slices;

	for (unsigned done = 0; !settled && (slices = turn(g, below, count, done)) != 0; done |= slices)
		for (size_t i = 0; g->ok && i < count; i++)
			give_name(g, folder, &list[i], path, n, slices, depth);
	for (size_t i = 0; g->ok && i < count; i++)
		give_name(g, folder, &list[i], path, n, 0, depth);
}

static void give_folder(struct gather *g, char path[PATH_ROOM], size_t n, int depth)
{
	DIR *dir = depth > DEEP_MAX ? NULL : opendir(path);
	struct ft_arena names = { 0 };
	struct name *list = NULL;
	size_t count = 0, room = 0;
	struct dirent *x;
	struct stat st;
	bool settled;

	if (!dir || fstat(dirfd(dir), &st)) {
		g->tally->unreadable++;
		note_nothing(g, n > g->root_n ? path + g->root_n + 1 : path);
		if (dir)
			closedir(dir);
		return;
	}
	settled = g->taker->folder_known(g->taker->to, n > g->root_n ? path + g->root_n + 1 : "", mtime_of(&st));
	while ((x = readdir(dir)) != NULL) {
		struct name *grown;
		if (x->d_name[0] == '.' || (settled && x->d_type == DT_REG && !cli_is_archive(x->d_name)))
			continue;
		grown = ft_arena_grow(&names, list, count, &room, sizeof *grown);
		if (!grown)
			break;
		list = grown;
		list[count].text = ft_arena_text(&names, ft_slice_of(x->d_name));
		list[count].type = x->d_type;
		count += list[count].text != NULL;
	}
	if (names.failed)
		g->ok = ft_fail_memory(&g->c->error, "the folder") == FT_OK;
	if (count) /* folders of days come in their order: what belongs together is kept together */
		qsort(list, count, sizeof *list, by_name);
	give_names(g, dirfd(dir), list, count, path, n, settled, depth);
	ft_arena_done(&names);
	closedir(dir);
}

bool watch_gather(struct cli *c, const char *root, int jobs, const struct watch_taker *taker, struct watch_tally *ret)
{
	struct gather g = { .c = c,
		                .taker = taker,
		                .tally = ret,
		                .ok = true,
		                .said_at = cli_monotonic(),
		                .progress = isatty(STDERR_FILENO) == 1,
		                .crc16 = ft_crc16_fastest() };
	char path[PATH_ROOM];
	size_t n = strlen(root);
	struct stat st;

	while (n > 1 && root[n - 1] == '/')
		n--;
	if (n + 1 >= PATH_ROOM || stat(root, &st)) {
		ft_fail(&c->error, FT_E_INPUT, "There is no folder %s to watch; look at the name.", root);
		return false;
	}
	memcpy(path, root, n);
	path[n] = 0;
	g.root = root;
	g.root_n = n;
	note_all_own(&g);
	g.hands = calloc((size_t)jobs, sizeof *g.hands);
	for (int i = 0; g.hands && i < jobs; i++)
		g.hands[i].g = &g;
	if (g.hands)
		g.ring = cli_ring_new(jobs, &(struct cli_ring_use){ sizeof(struct tray), work_tray, take_tray, end_tray, &g });
	if (!g.ring) {
		ft_fail_memory(&c->error, "the audits");
	} else {
		if (S_ISDIR(st.st_mode))
			give_folder(&g, path, n, 0);
		else if (cli_is_archive(root))
			give_whole(&g, path, strrchr(path, '/') ? strrchr(path, '/') + 1 : path, &st);
		else
			g.ok = ft_fail(&c->error, FT_E_INPUT, "%s is neither a folder nor an archive of audits.", root) == FT_OK;
		drain(&g);
	}
	if (g.progress && ret->seen >= 4096)
		fputs("\r                    \r", stderr);
	cli_ring_free(g.ring);
	for (int i = 0; g.hands && i < jobs; i++) {
		ft_arena_done(&g.hands[i].arena);
		ft_buf_done(&g.hands[i].file);
	}
	free(g.hands);
	return g.ok && c->error.status == FT_OK;
}
