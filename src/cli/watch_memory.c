/* SPDX-License-Identifier: Apache-2.0 */
/* What the book remembers of a watch, so that a second run reads only what is new. Files and the reads that came of
 * them are written in one transaction: a run that is killed has either both or neither, and the next goes on there. */
#include "watch.h"

#include <math.h>
#include <stdlib.h>
#include <unistd.h>

#include "fettle/store.h"

/* ours: so many files between two writings; sixty-four reads a machine in a fleet of two thousand */
enum { FILES_A_WRITING = 131072, PARTS_MERGED = 24 };
#define RECENT_NS INT64_C(2000000000) /* a folder that changed just now may change again within the same instant */

struct entry {
	uint64_t name;
	int64_t size, mtime_ns;
	uint64_t content;
};

struct pending {
	char *folder;
	struct ft_buf files;
};

struct scanned {
	struct ft_watched_folder folder;
	bool whole;   /* all its files were ours and are taken */
	bool written; /* the book says so */
};

struct watch_memory {
	struct cli *c;
	struct watch_fleet *fleet;
	struct ft_book *book;
	struct ft_arena arena; /* as long as the memory */
	const char *root;
	struct ft_watched_folder *folders;
	struct scanned *scanned;
	size_t folder_count, scanned_count, scanned_room;
	/* the folder whose files are known now */
	struct ft_arena set_arena;
	char *set_folder;
	size_t set_folder_n;
	const struct entry **set;
	size_t set_slots;
	struct pending *pending;
	size_t pending_count, pending_room;
	size_t files;
	int64_t started_ns;
	/* where several watch at once: folders and archives that others were at, which are asked for again at the end */
	bool shared, waiting;
	struct ft_watched_folder *left; /* with their time, FT_ABSENT: not known */
	size_t left_count, left_room;
	struct ft_watched_round round;
};

struct watch_memory *watch_memory_free(struct watch_memory *m)
{
	if (m) {
		ft_book_free(m->book);
		ft_arena_done(&m->arena);
		ft_arena_done(&m->set_arena);
		for (size_t i = 0; i < m->pending_count; i++) {
			free(m->pending[i].folder);
			ft_buf_done(&m->pending[i].files);
		}
		free(m->pending);
		free(m->set_folder);
		free(m);
	}
	return NULL;
}

static bool name_machines(struct watch_memory *m)
{
	const char **keys;
	size_t n = 0;

	if (ft_book_watched_machines(m->book, &m->arena, &keys, &n, &m->fleet->newest_us, &m->c->error) != FT_OK)
		return false;
	for (size_t i = 0; i < n; i++)
		if (!watch_machine_of(m->fleet, keys[i]))
			return ft_fail_memory(&m->c->error, "the fleet") == FT_OK;
	return true;
}

/* A file is watched by one at a time; who comes second waits. On a server all share the work. */
static bool come_in(struct watch_memory *m)
{
	bool mine = false;

	m->shared = ft_book_shared(m->book);
	m->fleet->by_months = m->shared; /* there months lie apart */
	if (ft_book_watch_alone(m->book, false, &mine, &m->c->error) != FT_OK)
		return false;
	if (!mine) {
		fprintf(stderr, "Another watch is at work on the book %s; this one begins when that one is done.\n",
		        ft_book_name(m->book));
		if (ft_book_watch_alone(m->book, true, &mine, &m->c->error) != FT_OK)
			return false;
	}
	return true;
}

struct watch_memory *watch_memory_open(struct cli *c, struct watch_fleet *f, const char *root)
{
	struct watch_memory *m = calloc(1, sizeof *m);
	char *real = realpath(root, NULL);
	int offset;

	if (m) {
		m->c = c;
		m->fleet = f;
		m->started_ns = cli_now(&offset) * 1000;
		m->root = ft_arena_text(&m->arena, ft_slice_of(real ? real : root));
	}
	free(real);
	if (!m || !m->root) {
		ft_fail_memory(&c->error, "the watch");
		return watch_memory_free(m);
	}
	if (ft_book_open(cli_book_path(c), FT_BOOK_WRITE, &m->book, &c->error) != FT_OK || !come_in(m) ||
	    ft_book_watched_folders(m->book, &m->arena, &m->folders, &m->folder_count, &c->error) != FT_OK ||
	    (!m->shared && !name_machines(m)))
		return watch_memory_free(m);
	return m;
}

struct ft_book *watch_memory_book(struct watch_memory *m)
{
	return m->book;
}

/* ---- folders ---- */

static const char *whole_folder(struct watch_memory *m, struct ft_arena *a, const char *path, size_t n)
{
	return ft_arena_printf(a, "%s%s%.*s", m->root, n ? "/" : "", (int)n, path);
}

static int by_folder(const void *x, const void *y)
{
	const struct ft_watched_folder *a = x, *b = y;

	return strcmp(a->folder, b->folder);
}

static const struct ft_watched_folder *folder_among(const struct ft_watched_folder *list, size_t count,
                                                    const char *folder)
{
	const struct ft_watched_folder wanted = { .folder = folder };

	return count ? bsearch(&wanted, list, count, sizeof *list, by_folder) : NULL;
}

bool watch_memory_folder(struct watch_memory *m, const char *path, int64_t mtime_ns)
{
	const char *folder = whole_folder(m, &m->arena, path, strlen(path));
	const struct ft_watched_folder *before;
	struct scanned *grown;

	if (!folder)
		return false;
	if (m->waiting)
		return !folder_among(m->left, m->left_count, folder);
	before = folder_among(m->folders, m->folder_count, folder);
	if (before && before->mtime_ns == mtime_ns)
		return true;
	if (mtime_ns > m->started_ns - RECENT_NS)
		return false;
	grown = ft_arena_grow(&m->arena, m->scanned, m->scanned_count, &m->scanned_room, sizeof *grown);
	if (grown) {
		m->scanned = grown;
		grown[m->scanned_count++] = (struct scanned){ .folder = { folder, mtime_ns } };
	}
	return false;
}

/* ---- files ---- */

static size_t folder_part(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? (size_t)(slash - path) : 0;
}

static const struct entry **slot_of(struct watch_memory *m, uint64_t name)
{
	size_t k = name & (m->set_slots - 1);

	while (m->set[k] && m->set[k]->name != name)
		k = (k + 1) & (m->set_slots - 1);
	return &m->set[k];
}

/* The files of one folder that were looked at; the later word on a name counts. */
static bool load_set(struct watch_memory *m, const char *path, size_t n)
{
	struct ft_watched_files *list;
	size_t count = 0, all = 0;
	const char *folder;

	ft_arena_reset(&m->set_arena);
	free(m->set_folder);
	m->set_folder = strndup(path, n);
	m->set_folder_n = n;
	m->set = NULL;
	m->set_slots = 0;
	folder = whole_folder(m, &m->set_arena, path, n);
	if (!folder || !m->set_folder ||
	    ft_book_watched_files(m->book, folder, &m->set_arena, &list, &count, &m->c->error) != FT_OK)
		return false;
	for (size_t i = 0; i < count; i++)
		all += list[i].files.n / sizeof(struct entry);
	for (m->set_slots = 16; m->set_slots < all * 2; m->set_slots *= 2)
		;
	m->set = FT_NEW_ARRAY(&m->set_arena, m->set_slots, const struct entry *);
	for (size_t i = 0; m->set && i < count; i++)
		for (size_t k = 0; k + sizeof(struct entry) <= list[i].files.n; k += sizeof(struct entry)) {
			struct entry *x = FT_NEW(&m->set_arena, struct entry);
			if (!x)
				return false;
			memcpy(x, list[i].files.p + k, sizeof *x);
			*slot_of(m, x->name) = x;
		}
	return m->set != NULL;
}

bool watch_memory_known(struct watch_memory *m, const char *path, int64_t size, int64_t mtime_ns)
{
	size_t n = folder_part(path);
	const char *name = path + n + (n > 0);
	const struct entry *x;

	if (strchr(path, ':'))
		return false; /* in an archive, which is known as a whole */
	if ((!m->set_folder || n != m->set_folder_n || memcmp(path, m->set_folder, n) != 0) && !load_set(m, path, n))
		return false;
	x = *slot_of(m, watch_hash(name, strlen(name)));
	return x && x->size == size && x->mtime_ns == mtime_ns;
}

static struct pending *pending_of(struct watch_memory *m, const char *path, size_t n)
{
	struct pending *grown;

	for (size_t i = m->pending_count; i-- > 0;)
		if (strlen(m->pending[i].folder) == n && memcmp(m->pending[i].folder, path, n) == 0)
			return &m->pending[i];
	if (m->pending_count == m->pending_room) {
		size_t room = m->pending_room ? m->pending_room * 2 : 16;
		grown = realloc(m->pending, room * sizeof *grown);
		if (!grown)
			return NULL;
		m->pending = grown;
		m->pending_room = room;
	}
	grown = &m->pending[m->pending_count];
	*grown = (struct pending){ .folder = strndup(path, n) };
	m->pending_count += grown->folder != NULL;
	return grown->folder ? grown : NULL;
}

/* ---- writing down ---- */

struct parts {
	struct ft_arena arena;
	struct ft_watched_part *list;
	size_t count, room;
	bool good;
};

static void add_part(struct parts *p, struct ft_watched_part x)
{
	struct ft_watched_part *grown = ft_arena_grow(&p->arena, p->list, p->count, &p->room, sizeof *grown);

	p->good = p->good && grown;
	if (grown) {
		p->list = grown;
		grown[p->count++] = x;
	}
}

/* Puts the reads of a part behind those in `all`. */
static bool join(struct watch_memory *m, const struct ft_watched_part *old, struct ft_stream *all, struct ft_arena *a)
{
	struct ft_watch_read *list;
	size_t n = 0;
	bool good = ft_stream_get(old->bytes, a, &list, &n, &m->c->error) == FT_OK;

	for (size_t k = 0; good && k < n; k++)
		good = ft_stream_put(all, &list[k]);
	return good;
}

/* The parts of one month, the first of which is old[first]; those that were taken have no number any more. */
static void merge_month(struct watch_memory *m, struct ft_watched_part *old, size_t first, size_t count,
                        struct parts *p, struct ft_arena *a)
{
	struct ft_stream all = { 0 };
	struct ft_watched_part part = old[first];
	size_t n = 0;
	char *bytes;

	for (size_t i = first; i < count; i++)
		n += old[i].number && watch_same_month(old[i].newest_us, part.newest_us);
	for (size_t i = first; n > 1 && p->good && i < count; i++) {
		if (!old[i].number || !watch_same_month(old[i].newest_us, part.newest_us))
			continue;
		p->good = join(m, &old[i], &all, a);
		part.first_us = old[i].first_us < part.first_us ? old[i].first_us : part.first_us;
		part.newest_us = old[i].newest_us > part.newest_us ? old[i].newest_us : part.newest_us;
		add_part(p, (struct ft_watched_part){ .machine = part.machine, .number = old[i].number });
		old[i].number = 0;
	}
	bytes = n > 1 && p->good ? ft_arena_raw(&p->arena, all.bytes.n + 1) : NULL;
	if (bytes) {
		if (all.bytes.n)
			memcpy(bytes, all.bytes.p, all.bytes.n);
		part.number = 0;
		part.reads = (int64_t)all.count;
		part.bytes = (struct ft_slice){ bytes, all.bytes.n };
		add_part(p, part);
	}
	p->good = p->good && (bytes || n <= 1);
	ft_stream_done(&all);
}

/* By months, so that what is older than the watch looks back is not carried along with what is new. */
static void merge(struct watch_memory *m, struct watch_machine *x, struct parts *p)
{
	struct ft_arena a = { 0 };
	struct ft_watched_part *old = NULL;
	size_t count = 0;

	p->good = p->good && watch_memory_parts(m, x->key, m->fleet->since_us, &a, &old, &count) == FT_OK;
	for (size_t i = 0; p->good && i < count; i++)
		if (old[i].number)
			merge_month(m, old, i, count, p, &a);
	ft_arena_done(&a);
}

/* Many small parts become one of each month; at another number of them for each machine, so that it does not fall on
 * one day. */
static void merge_many(struct watch_memory *m, struct watch_machine *x, struct parts *p)
{
	if (x->part_count >= PARTS_MERGED + watch_hash(x->key, strlen(x->key)) % 16)
		merge(m, x, p);
}

/* `all`: every folder that was scanned was taken whole, by whomever; else only those that are known to be. */
static bool add_folders(struct watch_memory *m, bool all, struct ft_arena *a, struct ft_watched *w)
{
	struct ft_watched_folder *list = FT_NEW_ARRAY(a, m->scanned_count + 1, struct ft_watched_folder);

	for (size_t i = 0; list && i < m->scanned_count; i++)
		if (!m->scanned[i].written && (all || m->scanned[i].whole)) {
			list[w->folder_count++] = m->scanned[i].folder;
			m->scanned[i].written = true; /* or the run ends */
		}
	w->folders = list;
	return list != NULL;
}

static bool write_down(struct watch_memory *m, bool last, struct ft_watched *w)
{
	struct parts p = { .good = true };
	struct ft_watched_files *files = FT_NEW_ARRAY(&p.arena, m->pending_count + 1, struct ft_watched_files);
	bool good;

	for (size_t i = 0; i < m->fleet->count; i++) {
		struct watch_machine *x = m->fleet->machines[i];
		for (size_t k = 0; k < x->closed_count; k++)
			add_part(&p, x->closed[k]);
		if (!x->stream.count)
			continue;
		if (last)
			merge_many(m, x, &p);
		add_part(&p,
		         (struct ft_watched_part){ x->key, 0, (int64_t)x->stream.count, x->first_us, x->newest_us,
		                                   ft_buf_text(&x->stream.bytes) });
	}
	for (size_t i = 0; files && i < m->pending_count; i++) {
		files[i].folder = whole_folder(m, &p.arena, m->pending[i].folder, strlen(m->pending[i].folder));
		files[i].files = ft_buf_text(&m->pending[i].files);
		p.good = p.good && files[i].folder && m->pending[i].files.status == FT_OK;
	}
	p.good = p.good && add_folders(m, last, &p.arena, w);
	w->parts = p.list;
	w->part_count = p.count;
	w->files = files;
	w->file_count = m->pending_count;
	if (!files || !p.good)
		good = ft_fail_memory(&m->c->error, "the watch") == FT_OK;
	else
		good = ft_book_watched_put(m->book, w, &m->c->error) == FT_OK;
	for (size_t i = 0; good && (!last || m->shared) && i < m->fleet->count; i++)
		watch_machine_written(m->fleet->machines[i]);
	for (size_t i = 0; i < m->pending_count; i++) {
		free(m->pending[i].folder);
		ft_buf_done(&m->pending[i].files);
	}
	m->pending_count = m->files = 0;
	ft_arena_done(&p.arena);
	return good;
}

/* ---- sharing the work with others ---- */

/* Files a folder holds from which on it is shared by slices. */
enum { FILES_WIDE = 4096 };

/* Another has read all of the folder meanwhile. */
static bool others_did(struct watch_memory *m, const char *folder)
{
	const struct ft_watched_folder *x = folder_among(m->left, m->left_count, folder);
	int64_t then = FT_ABSENT;

	return x && ft_book_watched_folder(m->book, folder, &then, &m->c->error) == FT_OK && then != FT_ABSENT &&
		then == x->mtime_ns;
}

/* The folder that was scanned last, if it is this one. */
static struct scanned *scanned_now(struct watch_memory *m, const char *folder)
{
	struct scanned *last = m->scanned_count && !m->waiting ? &m->scanned[m->scanned_count - 1] : NULL;

	return last && strcmp(last->folder.folder, folder) == 0 ? last : NULL;
}

static bool leave(struct watch_memory *m, const char *folder)
{
	struct ft_watched_folder *grown = ft_arena_grow(&m->arena, m->left, m->left_count, &m->left_room, sizeof *grown);
	const struct scanned *x = scanned_now(m, folder);

	if (!grown)
		return ft_fail_memory(&m->c->error, "the watch") == FT_OK;
	m->left = grown;
	grown[m->left_count++] = (struct ft_watched_folder){ folder, x ? x->folder.mtime_ns : FT_ABSENT };
	return true;
}

static unsigned claim_next(struct watch_memory *m, const char *folder, bool wide, unsigned done)
{
	unsigned mine = 0;

	if (ft_book_claim_files(m->book, folder, wide, done, m->waiting, &mine, &m->c->error) != FT_OK)
		return 0;
	m->set_folder_n = SIZE_MAX; /* what others wrote of its files is asked for anew */
	if (!mine && !m->waiting)
		leave(m, folder);
	return mine && m->waiting && others_did(m, folder) ? 0 : mine;
}

unsigned watch_memory_turn(struct watch_memory *m, const char *path, size_t files, unsigned done)
{
	const char *folder;

	if (!m->shared)
		return WATCH_ALL & ~done;
	folder = whole_folder(m, &m->arena, path, strlen(path));
	if (!folder || (m->waiting && !folder_among(m->left, m->left_count, folder)))
		return 0;
	if (done == WATCH_ALL) {
		struct scanned *x = scanned_now(m, folder);
		if (x && files <= FILES_WIDE)
			x->whole = true;
		return 0;
	}
	/* Who waits for a claim must hold none; and all that was read so far has been handed on. */
	if (watch_memory_due(m) && !write_down(m, false, &(struct ft_watched){ 0 }))
		return 0;
	return claim_next(m, folder, files > FILES_WIDE, done);
}

bool watch_memory_due(struct watch_memory *m)
{
	return m->shared && (m->waiting || m->files >= FILES_A_WRITING);
}

bool watch_memory_waits(struct watch_memory *m)
{
	m->waiting = m->left_count > 0;
	if (m->waiting)
		qsort(m->left, m->left_count, sizeof *m->left, by_folder);
	return m->waiting;
}

bool watch_memory_gathered(struct watch_memory *m)
{
	if (!m->shared)
		return true;
	for (size_t i = 0; i < m->scanned_count; i++)
		m->scanned[i].whole = true; /* by us or by those we waited for */
	return write_down(m, false, &(struct ft_watched){ 0 }) && name_machines(m) &&
		ft_book_claim_begin(m->book, &m->c->error) == FT_OK &&
		ft_book_watched_round(m->book, &m->round, &m->c->error) == FT_OK;
}

bool watch_memory_shared(const struct watch_memory *m, struct ft_watched_round *ret)
{
	*ret = m->round;
	return m->shared;
}

bool watch_memory_judged(struct watch_memory *m, const char *round, struct watch_machine *const *machines,
                         const struct ft_watched_judged *list, size_t count)
{
	struct parts p = { .good = true };
	struct ft_watched w = { .round = round, .judged = list, .judged_count = count };
	bool good;

	for (size_t i = 0; i < count; i++)
		merge_many(m, machines[i], &p);
	w.parts = p.list;
	w.part_count = p.count;
	good = p.good ? ft_book_watched_put(m->book, &w, &m->c->error) == FT_OK
				  : ft_fail_memory(&m->c->error, "the watch") == FT_OK;
	ft_arena_done(&p.arena);
	return good;
}

enum ft_status watch_memory_parts(struct watch_memory *m, const char *key, int64_t since_us, struct ft_arena *a,
                                  struct ft_watched_part **ret, size_t *ret_count)
{
	return ft_book_watched_parts(m->book, key, since_us, a, ret, ret_count, &m->c->error);
}

bool watch_memory_took(struct watch_memory *m, const struct watch_found *f)
{
	size_t n = folder_part(f->path);
	const char *name = f->path + n + (n > 0);
	struct entry x = { watch_hash(name, strlen(name)), f->size, f->mtime_ns, f->content };
	struct pending *p;

	if (strchr(f->path, ':') || !f->content)
		return true; /* in an archive; or not to be read: tried again the next time */
	p = pending_of(m, f->path, n);
	if (!p)
		return ft_fail_memory(&m->c->error, "the watch") == FT_OK;
	ft_buf_put(&p->files, &x, sizeof x);
	if (++m->files < FILES_A_WRITING || m->shared)
		return true;
	return write_down(m, false, &(struct ft_watched){ 0 });
}

/* ---- what is known ---- */

static bool same_text(const char *a, const char *b)
{
	return strcmp(a ? a : "", b ? b : "") == 0;
}

/* Nothing has changed since it was acknowledged: begun at the same time, and not half as much money again. */
static bool still(const struct ft_exception *x, const struct ft_watched_word *w, int decimals)
{
	int64_t apart = x->since_us > w->since_us ? x->since_us - w->since_us : w->since_us - x->since_us;

	if (apart > 3 * FT_DAY)
		return false;
	if (x->money == FT_ABSENT || w->money == FT_ABSENT)
		return true;
	return fabs((double)x->money) <= fabs((double)w->money) * 1.5 + 5 * pow(10, decimals);
}

/* Kept longer than the memory is. */
static const struct ft_known *known_of(struct ft_arena *a, const struct ft_watched_word *w)
{
	struct ft_known *k = FT_NEW(a, struct ft_known);

	if (!k)
		return NULL;
	k->because = ft_arena_text(a, ft_slice_of(w->because));
	k->by = w->by && *w->by ? ft_arena_text(a, ft_slice_of(w->by)) : NULL;
	k->at_us = w->at_us;
	k->offset_minutes = w->at_offset;
	return k->because ? k : NULL;
}

/* The first of the words that is of an exception decides. False without memory. */
static bool mark(struct watch_fleet *f, const struct ft_watched_word *words, size_t count)
{
	for (size_t i = 0; i < f->result_count; i++)
		for (size_t k = 0; k < f->results[i].exception_count; k++) {
			struct ft_exception *x = &f->results[i].exceptions[k];
			size_t w = 0;
			while (w < count &&
			       (strcmp(words[w].machine, f->results[i].key) != 0 ||
			        strcmp(words[w].rule, ft_rule(x->rule)->id) != 0 || !same_text(words[w].selection, x->selection) ||
			        !still(x, &words[w], f->results[i].decimals)))
				w++;
			if (w == count)
				continue;
			x->acknowledged = true;
			x->known = known_of(&f->arena, &words[w]);
			if (!x->known)
				return ft_fail_memory(&f->c->error, "the watch") == FT_OK;
		}
	return true;
}

/* Takes `word` from the front of what is left, with the blank before it unless it is the first. */
static bool takes(const char **rest, const char *word, bool first)
{
	size_t n = strlen(word);

	if (!first && *(*rest)++ != ' ')
		return false;
	if (strncmp(*rest, word, n) != 0)
		return false;
	*rest += n;
	return true;
}

/* "ASSET RULE [SELECTION]": is it this one? Held against what is there, as an asset may have blanks in it. */
static bool names(const char *what, const struct ft_watch_result *r, const struct ft_exception *x)
{
	return takes(&what, r->asset, true) && takes(&what, ft_rule(x->rule)->id, false) &&
		(!*what || (x->selection && takes(&what, x->selection, false) && !*what));
}

/* "ASSET RULE [SELECTION]" of an option to a word for each open exception it names. */
static bool acknowledge(struct watch_memory *m, const char *what, int64_t now_us, struct ft_watched_word **list,
                        size_t *count, size_t *room)
{
	const char *because = cli_value(m->c, "because");
	size_t before = *count;
	int offset;
	int64_t at = cli_now(&offset);

	if (!because || !*because)
		return cli_usage(m->c, "--acknowledge \"ASSET RULE [SELECTION]\" goes with --because and the reason in words."),
			   false;
	for (size_t i = 0; i < m->fleet->result_count; i++) {
		const struct ft_watch_result *r = &m->fleet->results[i];
		for (size_t k = 0; k < r->exception_count; k++) {
			const struct ft_exception *x = &r->exceptions[k];
			struct ft_watched_word *grown;
			if ((!ft_exception_open(x, now_us) && !ft_weeks_speaks(r, x, now_us)) || !names(what, r, x))
				continue;
			grown = ft_arena_grow(&m->arena, *list, *count, room, sizeof *grown);
			if (!grown)
				return ft_fail_memory(&m->c->error, "the watch") == FT_OK;
			*list = grown;
			grown[(*count)++] =
				(struct ft_watched_word){ r->key,  ft_rule(x->rule)->id,  x->selection, x->since_us, x->money,
				                          because, cli_value(m->c, "by"), at,           offset };
		}
	}
	if (*count == before)
		return cli_usage(m->c, "Nothing that is open answers to --acknowledge \"%s\"; fettle watch lists what is.",
		                 what),
			   false;
	return true;
}

static struct ft_watched_exception *all_exceptions(struct watch_memory *m, int64_t now_us, size_t *ret_count)
{
	size_t n = 0;
	struct ft_watched_exception *list;

	for (size_t i = 0; i < m->fleet->result_count; i++)
		n += m->fleet->results[i].exception_count;
	list = FT_NEW_ARRAY(&m->arena, n + 1, struct ft_watched_exception);
	n = 0;
	for (size_t i = 0; list && i < m->fleet->result_count; i++) {
		const struct ft_watch_result *r = &m->fleet->results[i];
		for (size_t k = 0; k < r->exception_count; k++) {
			const struct ft_exception *x = &r->exceptions[k];
			list[n++] = (struct ft_watched_exception){
				r->key,
				r->asset,
				ft_rule(x->rule)->id,
				x->selection,
				x->since_us,
				x->seen_us,
				x->ended_us == FT_NEVER ? FT_ABSENT : x->ended_us,
				ft_exception_open(x, now_us),
				x->acknowledged,
				x->money,
				r->decimals,
				(int64_t)(x->sure * 1e6),
				x->seen,
				x->expected,
				x->before,
				x->after,
			};
		}
	}
	*ret_count = n;
	return list;
}

bool watch_memory_close(struct watch_memory *m, int64_t now_us)
{
	struct ft_watched_word *words = NULL, *said = NULL;
	struct ft_watched w = { 0 };
	size_t count = 0, said_count = 0, room = 0;
	const char *what;

	if (ft_book_watched_words(m->book, &m->arena, &words, &count, &m->c->error) != FT_OK)
		return false;
	if (!mark(m->fleet, words, count))
		return false;
	for (int i = 0; (what = cli_value_nth(m->c, "acknowledge", i)) != NULL; i++)
		if (!acknowledge(m, what, now_us, &said, &said_count, &room))
			return false;
	if (!mark(m->fleet, said, said_count))
		return false;
	w.words = said;
	w.word_count = said_count;
	w.reads = m->round.reads;
	w.exceptions = all_exceptions(m, now_us, &w.exception_count);
	if (!w.exceptions)
		return ft_fail_memory(&m->c->error, "the watch") == FT_OK;
	return write_down(m, true, &w);
}
