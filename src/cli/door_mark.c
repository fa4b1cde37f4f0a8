/* SPDX-License-Identifier: Apache-2.0 */
/* One key, one mark: what a fitter presses with the door in the other hand. */
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "door.h"
#include "fettle/door.h"
#include "fettle/time.h"

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
	if (write(fd, text, n) == (ssize_t)n && (fsync(fd) == 0 || errno == EINVAL))
		return FT_OK;
	return ft_fail(&c->error, FT_E_STORE, "The mark could not be kept in %s: %s.", path, strerror(errno));
}

static int open_marks(struct cli *c, const char *path, bool *ret_fresh)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
	struct stat st;

	if (fd < 0 || fstat(fd, &st) < 0) {
		ft_fail(&c->error, FT_E_STORE, "The file %s for the marks cannot be written: %s.", path, strerror(errno));
		return -1;
	}
	*ret_fresh = st.st_size == 0;
	return fd;
}

/* Next key, 'q' at the end; `lines`: keys come with a line end each, which is not one of them. */
static int next_key(bool lines)
{
	char key, rest;
	ssize_t got;

	while ((got = read(STDIN_FILENO, &key, 1)) < 0 && errno == EINTR)
		;
	if (got <= 0)
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
	bool fresh, open = false, keys;
	size_t marks = 0;
	enum ft_status s = FT_OK;
	int fd = open_marks(c, path, &fresh);

	if (fd < 0)
		return cli_failed(c);
	if (fresh)
		s = keep(c, fd, path, FT_DOOR_MARKS_HEAD "\n");
	keys = isatty(STDIN_FILENO) && single_keys(&before);
	if (keys)
		fputs("The door must be closed now. Press any key at each opening and closing; q ends, o and c say which.\n",
		      stderr);
	while (s == FT_OK) {
		int key = next_key(!keys);
		if (key == 'q')
			break;
		open = key == 'o' ? true : key == 'c' ? false : !open;
		s = mark(c, fd, path, open);
		marks++;
	}
	if (keys)
		tcsetattr(STDIN_FILENO, TCSANOW, &before);
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
