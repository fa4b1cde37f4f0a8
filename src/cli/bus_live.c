/* SPDX-License-Identifier: Apache-2.0 */
/* A capture taken on the spot: sigrok-cli drives a logic analyser and writes what it sees as VCD into a pipe; or serial
 * adapters hear the words themselves. */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bus.h"
#include "fettle/bus_wave.h"
#include "fettle/port.h"

extern char **environ;

/* An interrupt ends the analyser and not the report of what it saw; so the child must not inherit that we ignore it. */
static int start(char *const arguments[], int out, pid_t *ret)
{
	posix_spawn_file_actions_t files;
	posix_spawnattr_t how;
	sigset_t interrupt;
	int err;

	sigemptyset(&interrupt);
	sigaddset(&interrupt, SIGINT);
	posix_spawn_file_actions_init(&files);
	posix_spawn_file_actions_adddup2(&files, out, STDOUT_FILENO);
	posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
	posix_spawnattr_init(&how);
	posix_spawnattr_setsigdefault(&how, &interrupt);
	posix_spawnattr_setflags(&how, POSIX_SPAWN_SETSIGDEF);
	err = posix_spawnp(ret, arguments[0], &files, &how, arguments, environ);
	posix_spawnattr_destroy(&how);
	posix_spawn_file_actions_destroy(&files);
	return err;
}

static enum ft_status take_all(struct cli *c, int fd, struct ft_bus *b, struct ft_buf *keep, bool *ret_any)
{
	static char portion[1 << 16];
	enum ft_status s = FT_OK;
	ssize_t got;

	while (s == FT_OK && ((got = read(fd, portion, sizeof portion)) > 0 || (got < 0 && errno == EINTR))) {
		if (got < 0)
			continue;
		*ret_any = true;
		ft_buf_put(keep, portion, (size_t)got);
		s = ft_bus_feed(b, portion, (size_t)got, &c->error);
	}
	return s;
}

static enum ft_status listen_to(struct cli *c, const char *driver, int64_t seconds, struct ft_bus *b,
                                struct ft_buf *keep)
{
	char *ms = ft_arena_printf(&c->arena, "%lld", (long long)seconds * 1000);
	char *which = ft_arena_text(&c->arena, ft_slice_of(driver));
	/* a million samples a second: a hundred a bit */
	char program[] = "sigrok-cli", d[] = "-d", config[] = "--config", rate[] = "samplerate=1m", time[] = "--time",
		 o[] = "-O", vcd[] = "vcd";
	char *const arguments[] = { program, d, which, config, rate, time, ms, o, vcd, NULL };
	bool any = false;
	enum ft_status s;
	int ends[2], err, status = 0;
	pid_t child;

	if (!ms || !which)
		return ft_fail_memory(&c->error, "the capture");
	if (pipe2(ends, O_CLOEXEC) != 0)
		return ft_fail(&c->error, FT_E_LINE, "No pipe to the logic analyser could be made: %s.", strerror(errno));
	err = start(arguments, ends[1], &child);
	close(ends[1]);
	if (err) {
		close(ends[0]);
		return ft_fail(
			&c->error, FT_E_LINE,
			err == ENOENT
				? "sigrok-cli, which drives the logic analyser, is not installed (Debian: sigrok-cli); install it, "
				  "or record with another tool and name the file.%s"
				: "sigrok-cli could not be started: %s.",
			err == ENOENT ? "" : strerror(err));
	}
	s = take_all(c, ends[0], b, keep, &any);
	close(ends[0]);
	while (waitpid(child, &status, 0) < 0 && errno == EINTR)
		;
	if (s == FT_OK && !any)
		return ft_fail(
			&c->error, FT_E_LINE,
			"The logic analyser %s gave nothing (sigrok-cli ended with %d); look at its plug and its driver's "
			"name with sigrok-cli --scan.",
			driver, WIFEXITED(status) ? WEXITSTATUS(status) : -1);
	return s;
}

/* ---- serial adapters ---- */

static volatile sig_atomic_t stopped;

static void stop(int signal)
{
	(void)signal;
	stopped = 1;
}

struct tapping {
	struct ft_bus *bus;
	struct ft_buf *keep;
};

static enum ft_status hear_words(void *to, const struct ft_bus_word *w, size_t n, struct ft_error *e)
{
	struct tapping *t = to;

	for (size_t i = 0; i < n; i++)
		ft_bus_words_line(&w[i], t->keep);
	return ft_bus_feed_words(t->bus, w, n, e);
}

/* "PORT,PORT": the controller's line and the peripherals'. */
static enum ft_status tap(struct cli *c, const char *ports, int64_t seconds, struct ft_bus *b, struct ft_buf *keep)
{
	struct ft_slice rest = ft_slice_of(ports), one = { 0 };
	const char *paths[FT_BUS_LINES] = { 0 };
	struct tapping t = { b, keep };

	for (int i = 0; i < FT_BUS_LINES && ft_slice_split(&rest, ',', &one); i++)
		if (one.n && !(paths[i] = ft_arena_text(&c->arena, one)))
			return ft_fail_memory(&c->error, "the capture");
	if (rest.p || (!paths[0] && !paths[1]))
		return ft_fail(
			&c->error, FT_E_USAGE,
			"--adapter takes the port at the controller's line and, behind a comma, the one at the peripherals', not "
			"\"%s\".",
			ports);
	ft_bus_words_head(keep);
	ft_buf_puts(keep, "timing unknown\n");
	return ft_tap_run(paths, seconds, &stopped, &t, hear_words, &c->error);
}

enum ft_status bus_live(struct cli *c, const char *driver, const char *adapters, int64_t seconds, struct ft_bus *b,
                        const char *keep_path)
{
	struct ft_buf keep = { .ceiling = FT_EVIDENCE_BYTES_MAX };
	void (*before)(int) = signal(SIGINT, driver ? SIG_IGN : stop);
	enum ft_status s;

	fprintf(stderr, "Listening for %lld s; an interrupt ends it earlier.\n", (long long)seconds);
	s = driver ? listen_to(c, driver, seconds, b, &keep) : tap(c, adapters, seconds, b, &keep);
	signal(SIGINT, before);
	if (s == FT_OK && keep_path && keep.status != FT_OK)
		s = ft_fail(&c->error, FT_E_STORE, "The capture is too large to be kept whole; listen for a shorter time.");
	if (s == FT_OK && keep_path)
		s = cli_write_evidence(c, keep_path, ft_buf_text(&keep));
	ft_buf_done(&keep);
	return s;
}
