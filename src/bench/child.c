/* SPDX-License-Identifier: Apache-2.0 */
/* A child that runs this program: its own group, nothing inherited, bounded in all it can take. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/pidfd.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define SANITIZED 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(SANITIZED)
#define BOUND_MEMORY 0 /* the sanitizer maps terabytes that it never uses */
#else
#define BOUND_MEMORY 1
#endif

static void bound(int what, int64_t most)
{
	struct rlimit l = { .rlim_cur = (rlim_t)most, .rlim_max = (rlim_t)most };

	(void)setrlimit(what, &l);
}

/* In the child, between fork and exec. Nothing here may allocate. */
static void become(const struct bench *b, const struct child_setup *s, pid_t parent)
{
	int null = open("/dev/null", O_RDWR);
	int fds[3] = { s->in >= 0 ? s->in : null, s->out >= 0 ? s->out : null, s->err >= 0 ? s->err : null };
	sigset_t none;

	setpgid(0, 0);
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	if (getppid() != parent)
		_exit(127);
	for (int i = 0; i < 3; i++)
		if (fds[i] <= 2 && fds[i] != i) /* out of the way of the dup2 below */
			fds[i] = fcntl(fds[i], F_DUPFD, 3);
	for (int i = 0; i < 3; i++)
		if (dup2(fds[i], i) < 0)
			_exit(127);
	if (close_range(3, ~0U, 0) != 0)
		for (int fd = 3; fd < 4096; fd++)
			close(fd);
	if (chdir(s->folder) != 0)
		_exit(127);
	bound(RLIMIT_CORE, 0);
	if (!s->lasting)
		bound(RLIMIT_CPU, COMMAND_US / SECOND);
	if (BOUND_MEMORY)
		bound(RLIMIT_AS, COMMAND_MEMORY);
	if (!s->writes_book) /* the book itself may be larger than any answer */
		bound(RLIMIT_FSIZE, COMMAND_OUTPUT);
	for (int i = 1; i < NSIG; i++)
		(void)signal(i, SIG_DFL);
	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
	execv(b->program, (char *const *)(uintptr_t)s->argv);
	_exit(127);
}

enum ft_status child_start(const struct bench *b, const struct child_setup *s, struct child *ret, struct ft_error *e)
{
	pid_t parent = getpid(), pid = fork();
	int fd;

	if (pid == 0)
		become(b, s, parent);
	if (pid < 0)
		return ft_fail(e, FT_E_STORE, "No further command can be started: %s.", strerror(errno));
	setpgid(pid, pid); /* whoever comes first */
	fd = pidfd_open(pid, 0);
	*ret = (struct child){ .pid = pid, .pidfd = fd, .until_us = s->lasting ? 0 : bench_now() + COMMAND_US };
	if (fd < 0) {
		child_wait(ret);
		return ft_fail(e, FT_E_STORE, "No further command can be watched: %s.", strerror(errno));
	}
	return FT_OK;
}

bool child_ended(struct child *c, int *ret_code)
{
	int status = 0;
	pid_t got = waitpid(c->pid, &status, WNOHANG);

	if (got == 0)
		return false;
	*ret_code = got == c->pid && WIFEXITED(status) && WEXITSTATUS(status) != 127 ? WEXITSTATUS(status) : -1;
	(void)kill(-c->pid, SIGKILL); /* what it left behind */
	if (c->pidfd >= 0)
		close(c->pidfd);
	*c = (struct child){ .pidfd = -1 };
	return true;
}

void child_tell(struct child *c)
{
	if (c->pid > 0 && !c->told)
		(void)kill(-c->pid, SIGTERM);
	c->told = true;
}

void child_kill(struct child *c)
{
	if (c->pid > 0)
		(void)kill(-c->pid, SIGKILL);
	c->killed = true;
}

void child_wait(struct child *c)
{
	if (c->pid > 0) {
		(void)kill(-c->pid, SIGKILL);
		(void)kill(c->pid, SIGKILL); /* it may not have made its group yet */
		while (waitpid(c->pid, NULL, 0) < 0 && errno == EINTR)
			;
	}
	if (c->pidfd >= 0)
		close(c->pidfd);
	*c = (struct child){ .pidfd = -1 };
}
