/* SPDX-License-Identifier: Apache-2.0 */
/* The whole way: the program serves the practice machine on pseudo-terminals, an engine of ours reads
 * it through a port, and what came is what the machine says it would have sent. argv[1]: the program. */
#include "unit.h"

#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#include "fettle/buf.h"
#include "fettle/port.h"

static const char *program;
static char folder[] = "/tmp/fettle-practice-XXXXXX";

struct machine {
	pid_t pid;
	FILE *to, *from;
	char dex[64], ddcmp[64];
};

extern char **environ;

static void text_after(const char *line, const char *key, char *to, size_t room)
{
	const char *p = strstr(line, key);
	size_t n;

	assert_non_null(p);
	p += strlen(key);
	n = strcspn(p, "\"");
	assert_true(n < room);
	memcpy(to, p, n);
	to[n] = 0;
}

static struct machine start(const char *name, const char *fault)
{
	struct machine m;
	int in[2], out[2];
	char line[1024];
	posix_spawn_file_actions_t acts;
	char command[] = "practice", json[] = "--json", pace[] = "--pace", fast[] = "fast", turn[] = "--turn-round",
		 one[] = "1", machine[] = "--machine", with[] = "--fault";
	char *args[] = { strdup(program),
		             command,
		             json,
		             pace,
		             fast,
		             turn,
		             one,
		             machine,
		             strdup(name),
		             fault ? with : NULL,
		             fault ? strdup(fault) : NULL,
		             NULL };

	assert_int_equal(pipe(in) | pipe(out), 0);
	posix_spawn_file_actions_init(&acts);
	posix_spawn_file_actions_adddup2(&acts, in[0], 0);
	posix_spawn_file_actions_adddup2(&acts, out[1], 1);
	for (int i = 0; i < 2; i++) {
		posix_spawn_file_actions_addclose(&acts, in[i]);
		posix_spawn_file_actions_addclose(&acts, out[i]);
	}
	assert_int_equal(posix_spawn(&m.pid, program, &acts, NULL, args, environ), 0);
	posix_spawn_file_actions_destroy(&acts);
	close(in[0]);
	close(out[1]);
	m.to = fdopen(in[1], "w");
	m.from = fdopen(out[0], "r");
	assert_non_null(fgets(line, sizeof line, m.from));
	assert_memory_equal(line, "{\"ports\":", 9);
	text_after(line, "\"dex\":\"", m.dex, sizeof m.dex);
	text_after(line, "\"ddcmp\":\"", m.ddcmp, sizeof m.ddcmp);
	free(args[0]);
	free(args[8]);
	free(args[10]);
	return m;
}

/* Says a line and waits for its event. */
static void say(struct machine *m, const char *text, const char *event)
{
	char line[2048];

	fprintf(m->to, "%s\n", text);
	fflush(m->to);
	do
		assert_non_null(fgets(line, sizeof line, m->from));
	while (!strstr(line, event));
}

static void stop(struct machine *m)
{
	int status;

	say(m, "quit", "\"event\":\"quit\"");
	assert_int_equal(waitpid(m->pid, &status, 0), m->pid);
	assert_true(WIFEXITED(status));
	assert_int_equal(WEXITSTATUS(status), 0);
	fclose(m->to);
	fclose(m->from);
}

static void on_event(void *context, const struct ft_link_event *ev)
{
	if (ev->kind == FT_LINK_EV_BLOCK)
		ft_buf_slice(context, ev->text);
}

static enum ft_port_end read_port(const char *path, enum ft_link_kind kind, uint16_t code, struct ft_buf *got)
{
	struct ft_link_settings set = ft_link_defaults(kind, FT_LINK_CARRIER);
	struct ft_link *link = calloc(1, ft_link_size());
	struct ft_port *port = NULL;
	struct ft_error e = { 0 };
	struct ft_port_limits limits = { .quiet_us = 3 * FT_SECOND / 2 };
	enum ft_port_end end;

	ft_buf_clear(got);
	if (!set.baud)
		set.baud = kind == FT_LINK_DEX ? 9600 : 2400;
	set.turn_round_us = 1000;
	set.security_code = code;
	if (ft_port_open(path, set.baud, &port, &e) != FT_OK)
		fail_msg("%s", e.text);
	ft_link_init(link, kind, FT_LINK_CARRIER, &set, ft_port_clock());
	struct ft_port_session s = { .port = port, .link = link, .context = got, .event = on_event };
	end = ft_port_run(&s, &limits, &e);
	if (end != FT_PORT_DONE)
		print_message("%s\n", e.text);
	ft_port_close(port);
	free(link);
	return end;
}

static void load(const char *name, struct ft_buf *to)
{
	char path[128], bytes[4096];
	FILE *f;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	f = fopen(path, "rb");
	assert_non_null(f);
	ft_buf_clear(to);
	for (size_t n; (n = fread(bytes, 1, sizeof bytes, f)) > 0;)
		ft_buf_put(to, bytes, n);
	fclose(f);
	unlink(path);
}

static void next_line(struct ft_slice *rest, struct ft_slice *ret)
{
	if (!ft_slice_split(rest, '\n', ret))
		*ret = (struct ft_slice){ "", 0 };
}

/* The same but for the lines that a reading changes: EA3 names the reader, G85 sums it up. */
static void same_but_reading(const struct ft_buf *a, const struct ft_buf *b)
{
	struct ft_slice x = ft_buf_text(a), y = ft_buf_text(b), lx, ly;

	assert_true(a->n > 300);
	while (x.p || y.p) {
		next_line(&x, &lx);
		next_line(&y, &ly);
		assert_int_equal(lx.n >= 3, ly.n >= 3);
		if (lx.n >= 4 && ly.n >= 4 && memcmp(lx.p, ly.p, 4) == 0 &&
		    (memcmp(lx.p, "EA3*", 4) == 0 || memcmp(lx.p, "G85*", 4) == 0))
			continue;
		if (!ft_slice_eq(lx, ly))
			fail_msg("read \"%.*s\" where it would send \"%.*s\"", FT_P(ly), FT_P(lx));
	}
}

static void reads_are_what_it_sends(void **state)
{
	static const char *const names[] = { "snack", "hotdrink", "coinbox" };
	struct ft_buf saved = { 0 }, got = { 0 };

	(void)state;
	for (int i = 0; i < 3; i++) {
		struct machine m = start(names[i], NULL);
		for (int round = 0; round < 2; round++) { /* one read after the other, on both links */
			for (int link = 0; link < 2; link++) {
				char text[160];
				snprintf(text, sizeof text, "save %s/saved", folder);
				say(&m, text, "\"event\":\"saved\"");
				load("saved", &saved);
				assert_int_equal(read_port(link ? m.ddcmp : m.dex, link ? FT_LINK_DDCMP : FT_LINK_DEX, 0, &got),
				                 FT_PORT_DONE);
				same_but_reading(&saved, &got);
				say(&m, "sell 1 coin 5", i == 0 ? "no selection" : "\"event\":\"refused\"");
			}
		}
		stop(&m);
	}
	ft_buf_done(&saved);
	ft_buf_done(&got);
}

static void lines_with_faults(void **state)
{
	struct ft_buf got = { 0 };
	struct machine m = start("snack", "refusing-code 4321");

	(void)state;
	assert_int_not_equal(read_port(m.ddcmp, FT_LINK_DDCMP, 0x1111, &got), FT_PORT_DONE);
	assert_int_equal(read_port(m.ddcmp, FT_LINK_DDCMP, 0x4321, &got), FT_PORT_DONE);
	say(&m, "fault dead-port dex", "\"event\":\"fault\"");
	assert_int_not_equal(read_port(m.dex, FT_LINK_DEX, 0, &got), FT_PORT_DONE);
	say(&m, "fault off dead-port", "\"event\":\"fault\"");
	assert_int_equal(read_port(m.dex, FT_LINK_DEX, 0, &got), FT_PORT_DONE);
	say(&m, "fault noisy-line 2000", "\"event\":\"fault\"");
	read_port(m.dex, FT_LINK_DEX, 0, &got); /* may end either way; the machine must be there afterwards */
	say(&m, "fault off noisy-line", "\"event\":\"fault\"");
	say(&m, "power off", "\"event\":\"power\"");
	assert_int_not_equal(read_port(m.dex, FT_LINK_DEX, 0, &got), FT_PORT_DONE);
	say(&m, "power on", "\"event\":\"power\"");
	assert_int_equal(read_port(m.dex, FT_LINK_DEX, 0, &got), FT_PORT_DONE);
	stop(&m);
	ft_buf_done(&got);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(reads_are_what_it_sends),
		                                cmocka_unit_test(lines_with_faults) };
	int failed;

	program = argc > 1 ? argv[1] : "fettle";
	if (!mkdtemp(folder))
		return 99;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	rmdir(folder);
	return failed;
}
