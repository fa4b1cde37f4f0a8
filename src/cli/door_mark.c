/* SPDX-License-Identifier: Apache-2.0 */
/* One key, one mark: what a fitter presses with the door in the other hand. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "door.h"
#include "fettle/door.h"
#include "fettle/time.h"

static void on_end(int number)
{
	(void)number;
}

/* Keys come one by one and unseen on a terminal; `before` is to be put back. */
static bool single_keys(struct termios *before)
{
	struct termios now;

	if (tcgetattr(STDIN_FILENO, before) < 0)
		return false;
	now = *before;
	now.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
	now.c_cc[VMIN] = 1;
	now.c_cc[VTIME] = 0;
	return tcsetattr(STDIN_FILENO, TCSANOW, &now) == 0;
}

static enum ft_status keep(struct cli *c, int fd, const char *path, const char *text)
{
	size_t n = strlen(text);

	/* on the disk before the next key: a phone that dies loses nothing */
	errno = ENOSPC; /* a write that is cut short says nothing else */
	if (write(fd, text, n) == (ssize_t)n && (fsync(fd) == 0 || errno == EINVAL))
		return FT_OK;
	return ft_fail(&c->error, FT_E_STORE, "The mark could not be kept in %s: %s.", path, strerror(errno));
}

/* A new file, or one of marks: what is evidence of something else is not written into. *ret_head: what is to be written
 * before the first mark, the heading or the end of a line that was cut. */
static int open_marks(struct cli *c, const char *path, const char **ret_head)
{
	static const char wanted[] = FT_DOOR_MARKS_HEAD "\n";
	char head[sizeof wanted] = "", last = '\n';
	int fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
	struct stat st;

	if (fd < 0 || fstat(fd, &st) < 0) {
		ft_fail(&c->error, FT_E_STORE, "The file %s for the marks cannot be written: %s.", path, strerror(errno));
		if (fd >= 0)
			close(fd);
		return -1;
	}
	*ret_head = st.st_size == 0 ? wanted : "";
	if (!S_ISREG(st.st_mode) || st.st_size == 0)
		return fd;
	if (pread(fd, head, sizeof wanted - 1, 0) < 0 || strcmp(head, wanted) != 0) {
		ft_fail(&c->error, FT_E_INPUT, "%s holds something other than marks and stays as it is; name a new file.",
		        path);
		close(fd);
		return -1;
	}
	if (pread(fd, &last, 1, st.st_size - 1) == 1 && last != '\n')
		*ret_head = "\n";
	return fd;
}

/* Next key, 'q' at the end; `lines`: keys come with a line end each, which is not one of them. */
static int next_key(bool lines, const sigset_t *mask)
{
	struct pollfd keys = { .fd = STDIN_FILENO, .events = POLLIN };
	char key, rest;

	/* Ctrl-C is let in here only, so no mark is cut by it */
	if (ppoll(&keys, 1, NULL, mask) < 0 || read(STDIN_FILENO, &key, 1) <= 0)
		return 'q';
	while (lines && key != '\n' && read(STDIN_FILENO, &rest, 1) == 1 && rest != '\n')
		;
	return key;
}

static enum ft_status mark(struct cli *c, int fd, const char *path, bool open)
{
	int offset;
	int64_t now = cli_now(&offset);
	struct ft_civil civil = ft_civil_of(now, offset);
	char whole[FT_TIME_TEXT];
	const char *text;

	ft_time_text(now, offset, whole);
	text = ft_arena_printf(&c->arena, "%.19s.%03d%s,%s\n", whole, (int)(now % FT_SECOND / 1000), whole + 19,
	                       open ? "open" : "closed");
	if (!text)
		return ft_fail_memory(&c->error, "the mark");
	fprintf(stderr, "%02d:%02d:%02d  %s\n", civil.hour, civil.minute, civil.second, open ? "opened" : "closed");
	return keep(c, fd, path, text);
}

int door_mark(struct cli *c, const char *path)
{
	struct termios before;
	struct sigaction end = { .sa_handler = on_end }, was;
	sigset_t block, mask;
	const char *head;
	bool open = false, keys;
	size_t marks = 0;
	enum ft_status s = FT_OK;
	int fd = open_marks(c, path, &head);

	if (fd < 0)
		return cli_failed(c);
	if (*head)
		s = keep(c, fd, path, head);
	sigemptyset(&block);
	sigaddset(&block, SIGINT);
	sigprocmask(SIG_BLOCK, &block, &mask);
	sigaction(SIGINT, &end, &was);
	keys = isatty(STDIN_FILENO) && single_keys(&before);
	if (keys)
		fputs("The door must be closed now. Press any key at each opening and closing; q ends, o and c say which.\n",
		      stderr);
	while (s == FT_OK) {
		int key = next_key(!keys, &mask);
		if (key == 'q')
			break;
		open = key == 'o' ? true : key == 'c' ? false : !open;
		s = mark(c, fd, path, open);
		marks++;
	}
	if (keys)
		tcsetattr(STDIN_FILENO, TCSANOW, &before);
	sigaction(SIGINT, &was, NULL);
	sigprocmask(SIG_SETMASK, &mask, NULL);
	close(fd);
	if (s != FT_OK)
		return cli_failed(c);
	if (c->json) {
		struct ft_buf out = { 0 };
		struct ft_json j = { .out = &out };
		cli_document(c, &j, &out, FT_OPEN, NULL);
		ft_json_i64(&j, "marks", (int64_t)marks);
		ft_json_text(&j, "file", path);
		return cli_document_end(c, &j);
	}
	cli_say(c, "%zu mark%s kept in %s. Then: fettle door %s EVENTS", marks, marks == 1 ? "" : "s", path, path);
	return FT_OK;
}
