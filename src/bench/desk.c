/* SPDX-License-Identifier: Apache-2.0 */
/* The folder the children work in: private, gone when the bench ends. Pieces of evidence are kept there under
 * their hash while there is room, since pages look at the same piece many times. */
#include "bench.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define KEPT_BYTES (INT64_C(1) << 30) /* ours: four of the largest pieces */
#define NAME_BYTES 80                 /* ours: longer names of files tell nobody more */

static const char prefix[] = "fettle-bench-";

static int remove_one(const char *path, const struct stat *st, int what, struct FTW *at)
{
	(void)st;
	(void)what;
	(void)at;
	(void)remove(path);
	return 0;
}

void remove_tree(const char *path)
{
	(void)nftw(path, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

/* A bench that was killed left its folder: nobody holds the lock in it any more. */
static void remove_left(const char *base)
{
	DIR *d = opendir(base);
	const struct dirent *x;

	while (d && (x = readdir(d))) {
		struct ft_buf path = { 0 };
		struct stat st;
		int fd;
		if (strncmp(x->d_name, prefix, sizeof prefix - 1) != 0)
			continue;
		ft_buf_printf(&path, "%s/%s/lock", base, x->d_name);
		ft_buf_byte(&path, 0);
		fd = path.status == FT_OK ? open(path.p, O_RDWR | O_CLOEXEC | O_NOFOLLOW) : -1;
		if (fd >= 0 && fstat(fd, &st) == 0 && st.st_uid == getuid() && flock(fd, LOCK_EX | LOCK_NB) == 0) {
			path.p[path.n - 1 - sizeof "/lock" + 1] = 0;
			remove_tree(path.p);
		}
		if (fd >= 0)
			close(fd);
		ft_buf_done(&path);
	}
	if (d)
		closedir(d);
}

static bool make_inside(struct bench *b, const char *name)
{
	struct ft_buf path = { 0 };
	bool good;

	ft_buf_printf(&path, "%s/%s", b->desk, name);
	ft_buf_byte(&path, 0);
	good = path.status == FT_OK && mkdir(path.p, 0700) == 0;
	ft_buf_done(&path);
	return good;
}

enum ft_status desk_make(struct bench *b, struct ft_error *e)
{
	const char *base = getenv("TMPDIR");
	struct ft_buf path = { 0 };

	base = base && *base == '/' ? base : P_tmpdir;
	remove_left(base);
	ft_buf_printf(&path, "%s/%sXXXXXX", base, prefix);
	ft_buf_byte(&path, 0);
	if (path.status != FT_OK || !mkdtemp(path.p)) {
		ft_buf_done(&path);
		return ft_fail(e, FT_E_STORE, "No folder to work in can be made in %s: %s.", base, strerror(errno));
	}
	b->desk = path.p; /* owned from here */
	path = (struct ft_buf){ 0 };
	ft_buf_printf(&path, "%s/lock", b->desk);
	ft_buf_byte(&path, 0);
	b->desk_lock = path.status == FT_OK ? open(path.p, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600) : -1;
	ft_buf_done(&path);
	if (b->desk_lock < 0 || flock(b->desk_lock, LOCK_EX | LOCK_NB) != 0 || !make_inside(b, "kept") ||
	    !make_inside(b, "come"))
		return ft_fail(e, FT_E_STORE, "The folder %s to work in cannot be written: %s.", b->desk, strerror(errno));
	return FT_OK;
}

void desk_done(struct bench *b)
{
	if (b->desk)
		remove_tree(b->desk);
	free(b->desk);
	b->desk = NULL;
	if (b->desk_lock >= 0)
		close(b->desk_lock);
	b->desk_lock = -1;
}

int desk_scratch(const struct bench *b)
{
	int fd = open(b->desk, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
	struct ft_buf path = { 0 };

	if (fd >= 0)
		return fd;
	/* a file system without nameless files */
	ft_buf_printf(&path, "%s/outXXXXXX", b->desk);
	ft_buf_byte(&path, 0);
	fd = path.status == FT_OK ? mkostemp(path.p, O_CLOEXEC) : -1;
	if (fd >= 0)
		unlink(path.p);
	ft_buf_done(&path);
	return fd;
}

bool name_plain(const char *name)
{
	size_t n = strlen(name);

	if (n == 0 || n > NAME_BYTES || name[0] == '.' || name[0] == '-')
		return false;
	for (const char *p = name; *p; p++)
		if (!ft_is_digit(*p) && !ft_is_upper(*p) && !(*p >= 'a' && *p <= 'z') && !strchr("._-", *p))
			return false;
	return true;
}

/* The end is kept where it is too long: it says of what kind the file is. */
char *plain_name(struct ft_arena *a, const char *name, const char *otherwise)
{
	const char *slash = name ? strrchr(name, '/') : NULL, *p = slash ? slash + 1 : name;
	char *copy;

	if (!p || !*p)
		p = otherwise;
	if (strlen(p) > NAME_BYTES) {
		p += strlen(p) - NAME_BYTES;
		while ((*p & 0xc0) == 0x80) /* not in the middle of a character */
			p++;
	}
	copy = ft_arena_text(a, ft_slice_of(p));
	for (char *q = copy; q && *q; q++)
		if ((unsigned char)*q < ' ' || *q == 0x7f || *q == '\\' || (q == copy && (*q == '-' || *q == '.' || *q == '@')))
			*q = '_';
	return copy;
}

struct kept {
	struct timespec used;
	int64_t bytes;
	char name[FT_HASH_TEXT];
};

static int older(const void *x, const void *y)
{
	const struct timespec *a = &((const struct kept *)x)->used, *b = &((const struct kept *)y)->used;

	if (a->tv_sec != b->tv_sec)
		return a->tv_sec < b->tv_sec ? -1 : 1;
	return a->tv_nsec < b->tv_nsec ? -1 : a->tv_nsec > b->tv_nsec;
}

void desk_trim(struct bench *b)
{
	char *folder = ft_arena_printf(&b->scratch, "%s/kept", b->desk);
	DIR *d = folder ? opendir(folder) : NULL;
	struct kept *list = NULL;
	size_t count = 0, room = 0;
	int64_t sum = 0;
	const struct dirent *x;
	struct stat st;

	while (d && (x = readdir(d))) {
		struct kept *grown;
		if (x->d_name[0] == '.' || strlen(x->d_name) >= FT_HASH_TEXT ||
		    fstatat(dirfd(d), x->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0)
			continue;
		grown = ft_arena_grow(&b->scratch, list, count, &room, sizeof *list);
		if (!grown)
			break;
		list = grown;
		list[count] = (struct kept){ .used = st.st_mtim, .bytes = st.st_size };
		memcpy(list[count].name, x->d_name, strlen(x->d_name) + 1);
		sum += list[count++].bytes;
	}
	if (list && sum > KEPT_BYTES) {
		qsort(list, count, sizeof *list, older);
		for (size_t i = 0; i < count && sum > KEPT_BYTES; i++) { /* a child that uses it has a link of its own */
			(void)unlinkat(dirfd(d), list[i].name, 0);
			sum -= list[i].bytes;
		}
	}
	if (d)
		closedir(d);
}
