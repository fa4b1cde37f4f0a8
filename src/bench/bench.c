/* SPDX-License-Identifier: Apache-2.0 */
/* The loop: one thread that owns the sockets, the children and the book. */
#include "bench.h"

#include <errno.h>
#include <limits.h>
#include <poll.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

int64_t bench_now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000;
}

int64_t bench_wall(int *ret_offset_minutes)
{
	struct timespec t;
	struct tm local;

	clock_gettime(CLOCK_REALTIME, &t);
	if (ret_offset_minutes)
		*ret_offset_minutes = localtime_r(&t.tv_sec, &local) ? (int)(local.tm_gmtoff / 60) : 0;
	return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000;
}

/* ---- libmicrohttpd ---- */

/* Paths and parameters are decoded by us, where a bad one can be refused. */
static size_t leave(void *cls, struct MHD_Connection *c, char *s)
{
	(void)cls;
	(void)c;
	return strlen(s);
}

static enum ft_status start_daemon(struct bench *b, int fd, struct ft_error *e)
{
	unsigned each = b->loopback ? 0 : LINKS_EACH; /* 0: no bound of its own */

	b->daemon =
		MHD_start_daemon(MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL, request_access, b,
	                     MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT, (unsigned)LINKS_MAX,
	                     MHD_OPTION_PER_IP_CONNECTION_LIMIT, each, MHD_OPTION_CONNECTION_TIMEOUT,
	                     (unsigned)(REST_US / SECOND), MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)HEAD_BYTES + 8192,
	                     MHD_OPTION_NOTIFY_COMPLETED, request_completed, b, MHD_OPTION_NOTIFY_CONNECTION, link_notify,
	                     b, MHD_OPTION_UNESCAPE_CALLBACK, leave, b, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_END);
	if (b->daemon)
		return FT_OK;
	close(fd);
	return ft_fail(e, FT_E_LINE, "The bench could not begin to listen at %s: %s.", b->url, strerror(errno));
}

/* ---- waiting ---- */

enum { WAITS_MAX = 64 };

struct waits {
	struct pollfd fds[WAITS_MAX];
	nfds_t count;
	int64_t due_us;
};

void wait_for(struct waits *w, int fd)
{
	if (fd >= 0 && w->count < WAITS_MAX)
		w->fds[w->count++] = (struct pollfd){ .fd = fd, .events = POLLIN };
}

void wait_until(struct waits *w, int64_t at_us)
{
	if (at_us < w->due_us)
		w->due_us = at_us;
}

static void wait_turn(struct bench *b, int64_t now_us, int64_t links_us)
{
	struct waits w = { .due_us = now_us + 3600 * SECOND };
	const union MHD_DaemonInfo *info = MHD_get_daemon_info(b->daemon, MHD_DAEMON_INFO_EPOLL_FD);
	MHD_UNSIGNED_LONG_LONG ms;
	struct timespec t;
	int64_t us;

	wait_for(&w, info ? info->epoll_fd : -1);
	if (MHD_get_timeout(b->daemon, &ms) == MHD_YES)
		wait_until(&w, now_us + (int64_t)(ms > 3600000 ? 3600000 : ms) * 1000);
	for (const struct errand *x = b->running; x; x = x->next) {
		wait_for(&w, x->child.pidfd);
		if (x->child.until_us)
			wait_until(&w, x->child.until_us);
	}
	jobs_wait(b, &w);
	if (b->links)
		wait_until(&w, links_us);
	if (b->stream_count)
		wait_until(&w, b->looked_us + SECOND / 4);
	us = w.due_us - bench_now();
	if (us < 0)
		us = 0;
	t = (struct timespec){ .tv_sec = us / SECOND, .tv_nsec = us % SECOND * 1000 };
	(void)ppoll(w.fds, w.count, &t, b->s->mask);
}

static void turn(struct bench *b, int64_t *links_us)
{
	int64_t now = bench_now();

	MHD_run(b->daemon);
	errands_turn(b, now);
	jobs_turn(b, now);
	events_turn(b, now);
	if (now >= *links_us) {
		*links_us = links_look(b, now);
		desk_trim(b);
	}
	MHD_run(b->daemon); /* what was woken just now goes out at once, not at the next wait's end */
	ft_arena_reset(&b->scratch);
}

/* Every request that waits gets its answer, so that no connection is left asleep. */
static void wind_up(struct bench *b)
{
	b->stopping = true;
	events_stop(b);
	for (struct link *l = b->links; l; l = l->next)
		if (l->at && l->at->suspended && !l->at->answered) {
			if (l->at->errand)
				errand_drop(b, l->at->errand);
			l->at->errand = NULL;
			machine_left(l->at);
			answer_error(l->at, 503, "The bench is being closed.");
		}
	for (int i = 0; i < 3; i++)
		MHD_run(b->daemon);
	MHD_stop_daemon(b->daemon);
	b->daemon = NULL;
}

static void run_until_stopped(struct bench *b)
{
	int64_t links_us = 0;

	while (!(b->s->stop && *b->s->stop)) {
		turn(b, &links_us);
		wait_turn(b, bench_now(), links_us);
	}
	wind_up(b);
}

/* ---- beginning and end ---- */

static void raise_files(void)
{
	struct rlimit l;

	if (getrlimit(RLIMIT_NOFILE, &l) == 0 && l.rlim_cur < 4096) {
		l.rlim_cur = l.rlim_max < 4096 ? l.rlim_max : 4096;
		(void)setrlimit(RLIMIT_NOFILE, &l);
	}
}

/* Another build of the program may compute something else from the same bytes. */
static void stamp_program(struct bench *b)
{
	struct stat st = { 0 };

	(void)stat(b->program, &st);
	snprintf(b->stamp, sizeof b->stamp, "%llx-%llx", (unsigned long long)st.st_mtim.tv_sec,
	         (unsigned long long)st.st_size);
	snprintf(b->epoch, sizeof b->epoch, "%08x", randombytes_random());
}

static enum ft_status open_book(struct bench *b, struct ft_error *e)
{
	enum ft_status s = ft_book_open(b->s->book, FT_BOOK_WRITE, &b->book, e);
	const char **ids;
	size_t count;

	if (s != FT_OK)
		return s;
	ft_book_patience(b->book, 2000); /* everybody waits meanwhile */
	/* Children work elsewhere, and what names a server may hold a password, which no command line should. */
	b->book_path = strstr(b->s->book, "://") ? strdup(b->s->book) : realpath(b->s->book, NULL);
	if (!b->book_path || setenv("FETTLE_BOOK", b->book_path, 1) != 0 || setenv("FETTLE_BOOK_LOOKED_OVER", "1", 1) != 0)
		return ft_fail(e, FT_E_STORE, "The book %s cannot be found again: %s.", b->s->book, strerror(errno));
	s = ft_book_visits_changed(b->book, INT64_MAX, &b->scratch, &ids, &count, &b->changed_us, e);
	b->changed_us = bench_wall(NULL);
	return s == FT_OK ? ft_book_turn(b->book, &b->turn, e) : s;
}

/* Folders that the operator named, absolute since children work elsewhere. */
static enum ft_status find_folders(struct bench *b, struct ft_error *e)
{
	struct ft_buf beside = { 0 };
	struct stat st;

	if (b->s->audits) {
		b->audits = realpath(b->s->audits, NULL);
		if (!b->audits || stat(b->audits, &st) != 0 || !S_ISDIR(st.st_mode))
			return ft_fail(e, FT_E_USAGE, "There is no folder of audits %s; look at the name.", b->s->audits);
	}
	if (b->s->tables) {
		(void)mkdir(b->s->tables, 0700);
		b->tables = realpath(b->s->tables, NULL);
		if (!b->tables || stat(b->tables, &st) != 0 || !S_ISDIR(st.st_mode))
			return ft_fail(e, FT_E_USAGE, "There is no folder %s for the tables, and none can be made.", b->s->tables);
	} else if (!strstr(b->s->book, "://")) {
		ft_buf_printf(&beside, "%s.tables", b->book_path);
		ft_buf_byte(&beside, 0);
		b->tables = beside.status == FT_OK ? strdup(beside.p) : NULL;
		ft_buf_done(&beside);
		if (!b->tables)
			return ft_fail_memory(e, "the bench");
	}
	return FT_OK;
}

static enum ft_status serve(struct bench *b, struct ft_error *e)
{
	enum ft_status s = open_book(b, e);
	int fd = -1;

	if (s == FT_OK)
		s = find_folders(b, e);
	if (s == FT_OK)
		s = desk_make(b, e);
	if (s == FT_OK)
		s = listen_at(b, &fd, e);
	if (s == FT_OK)
		s = start_daemon(b, fd, e);
	if (s != FT_OK)
		return s;
	pair_setup(b);
	pair_door(b, false);
	run_until_stopped(b);
	return FT_OK;
}

enum ft_status ft_bench_run(const struct ft_bench_settings *settings, struct ft_error *e)
{
	struct bench *b = calloc(1, sizeof *b);
	enum ft_status s;

	if (!b)
		return ft_fail_memory(e, "the bench");
	if (sodium_init() < 0) {
		free(b);
		return ft_fail(e, FT_E_INTERNAL, "The library of cryptography does not work here.");
	}
	b->s = settings;
	b->desk_lock = -1;
	b->waiting_end = &b->waiting;
	b->event_id = 1;
	b->program = settings->program ? settings->program : "/proc/self/exe"; /* absolute: children work elsewhere */
	signal(SIGPIPE, SIG_IGN);
	raise_files();
	stamp_program(b);
	s = serve(b, e);
	jobs_done(b);
	errands_done(b);
	events_done(b);
	links_done(b);
	ft_book_free(b->book);
	desk_done(b);
	free((void *)(uintptr_t)b->book_path);
	free(b->audits);
	free(b->tables);
	ft_arena_done(&b->scratch);
	free(b);
	return s;
}
