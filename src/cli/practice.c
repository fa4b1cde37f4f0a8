/* SPDX-License-Identifier: Apache-2.0 */
/* fettle practice: puts the practice machine on two pseudo-terminals and drives it by lines. */
#include "bus_tap.h"
#include "practice_fleet.h"
#include "practice_help.h"
#include "practice_modem.h"
#include "verbs.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <unistd.h>

#include "fettle/limits.h"
#include "fettle/port.h"
#include "fettle/practice.h"

enum { LINKS = 2, INPUT_MAX = 65536 };

static volatile sig_atomic_t stopped;

static void on_signal(int number)
{
	(void)number;
	stopped = 1;
}

struct served {
	struct bench *b;
	unsigned slot; /* 0 DEX, 1 DDCMP */
	enum ft_link_kind kind;
	struct ft_port *port;
	struct ft_link *link;
	struct ft_link_settings settings;
	struct ft_port_session session;
	char peer[FT_LINK_ID_MAX + 1];
	uint16_t learned; /* DDCMP: the code it took from its first reader */
	bool reading;
};

struct bench {
	struct cli *c;
	struct ft_practice *p;
	struct bus_tap *tap; /* NULL: nobody listens on the bus */
	struct served links[LINKS];
	struct practice_modem_port modem;
	bool fast, until_eof, script;
	int64_t seed, turn_round_us, block, hold_until_us;
	char input[INPUT_MAX];
	size_t input_n, input_at;
	bool input_open;
	unsigned line;
	bool over;
	int code;
};

/* ---- telling ---- */

static void tell(struct bench *b)
{
	struct ft_practice_event ev;
	struct ft_buf out = { 0 };

	while (ft_practice_next(b->p, &ev)) {
		if (b->c->json) {
			struct ft_json j = { .out = &out };
			ft_practice_event_json(b->p, &ev, &j);
			ft_buf_byte(&out, '\n');
		} else {
			char at[FT_TIME_TEXT];
			ft_time_text(ev.at_s * FT_SECOND, 0, at);
			ft_buf_printf(&out, "%.8s  ", at + 11);
			ft_wrap(&out, ev.text, b->c->columns, 10);
			ft_buf_byte(&out, '\n');
		}
	}
	if (out.n && (!cli_flush(b->c, &out) || fflush(stdout))) {
		b->over = true; /* nobody listens any more */
		b->code = FT_E_STORE;
	}
	ft_buf_done(&out);
}

static void first_line(struct bench *b)
{
	struct ft_practice_about m = ft_practice_about(b->p);
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	ft_json_object(&j, "ports");
	for (int i = 0; i < LINKS; i++)
		ft_json_text(&j, ft_link_kind_word(b->links[i].kind), ft_port_path(b->links[i].port));
	ft_json_text(&j, "modem", ft_port_path(b->modem.port));
	ft_json_object_end(&j);
	ft_json_text(&j, "command", "practice");
	ft_json_object(&j, "machine");
	ft_json_text(&j, "dialect", m.name);
	ft_json_text(&j, "serial", m.serial);
	ft_json_text(&j, "model", m.model);
	ft_json_text(&j, "revision", m.revision);
	ft_json_text(&j, "asset", *m.asset ? m.asset : NULL);
	ft_json_text(&j, "location", *m.location ? m.location : NULL);
	ft_json_object_end(&j);
	ft_json_text(&j, "currency", m.currency);
	ft_json_i64(&j, "decimals", m.decimals);
	ft_json_i64(&j, "seed", b->seed);
	ft_json_text(&j, "pace", b->fast ? "fast" : "real");
	ft_json_object_end(&j);
	ft_buf_byte(&out, '\n');
	if (!cli_flush(b->c, &out) || fflush(stdout))
		b->over = true;
	ft_buf_done(&out);
}

/* ---- the links ---- */

static void on_link_event(void *context, const struct ft_link_event *ev)
{
	struct served *s = context;
	struct ft_slice bytes;
	size_t n = ev->text.n < FT_LINK_ID_MAX ? ev->text.n : FT_LINK_ID_MAX;

	switch (ev->kind) {
	case FT_LINK_EV_PEER:
		if (n)
			memcpy(s->peer, ev->text.p, n);
		s->peer[n] = 0;
		break;
	case FT_LINK_EV_WANT_FILE:
		if (ft_practice_read_begin(s->b->p, s->slot, ft_slice_of(s->peer), &bytes, NULL) == FT_OK) {
			s->reading = true;
			ft_link_offer(s->link, bytes);
		}
		break;
	case FT_LINK_EV_DONE:
	case FT_LINK_EV_FAILED:
		ft_practice_read_end(s->b->p, s->slot, ev->kind == FT_LINK_EV_DONE);
		s->reading = false;
		break;
	default:
		break;
	}
}

/* A machine waits for the next reader, with the manners its faults give it now. */
static enum ft_status wait_for_reader(struct served *s, int64_t now_us)
{
	struct ft_practice_line l = ft_practice_line(s->b->p);
	struct ft_link_settings set = s->settings;

	set.turn_round_us += l.extra_turn_round_us;
	set.security_code = l.refuses ? l.security_code : s->learned;
	s->peer[0] = 0;
	s->reading = false;
	ft_link_init(s->link, s->kind, FT_LINK_MACHINE, &set, now_us);
	s->session = (struct ft_port_session){ .port = s->port, .link = s->link, .context = s, .event = on_link_event };
	return ft_port_rate(s->port, set.baud, &s->b->c->error);
}

static enum ft_status serve(struct bench *b, struct served *s, unsigned slot, const char *link_name)
{
	struct ft_practice_about about = ft_practice_about(b->p);
	struct ft_pty_settings pty = { .link_name = link_name, .paced = !b->fast };
	enum ft_status status;

	s->b = b;
	s->slot = slot;
	s->kind = slot ? FT_LINK_DDCMP : FT_LINK_DEX;
	s->settings = ft_link_defaults(s->kind, FT_LINK_MACHINE);
	if (!s->settings.baud)
		s->settings.baud = slot ? 2400 : 9600; /* each link's own start (docs/dataport.md) */
	memcpy(s->settings.id, about.sender, FT_LINK_ID_MAX + 1);
	if (b->turn_round_us >= 0)
		s->settings.turn_round_us = b->turn_round_us;
	if (b->block)
		s->settings.block_text = (unsigned)b->block;
	s->link = ft_arena_alloc(&b->c->arena, ft_link_size());
	if (!s->link)
		return ft_fail_memory(&b->c->error, "serving the practice machine");
	pty.baud = s->settings.baud;
	pty.faults.seed = (uint64_t)b->seed * 2 + slot;
	status = ft_port_serve(&pty, &s->port, &b->c->error);
	return status == FT_OK ? wait_for_reader(s, ft_port_clock()) : status;
}

/* Faults and power come and go while the links are up. */
static void take_manners(struct bench *b, int64_t now_us)
{
	struct ft_practice_line l = ft_practice_line(b->p);

	practice_modem_manners(&b->modem);
	for (int i = 0; i < LINKS; i++) {
		struct served *s = &b->links[i];
		struct ft_wire *w = ft_port_wire(s->port);
		if (w) {
			w->faults.dead = !l.powered || (s->kind == FT_LINK_DEX ? l.dead_dex : l.dead_ddcmp);
			w->faults.damaged_ppm = l.noise_per_million / 2;
			w->faults.lost_ppm = l.noise_per_million - w->faults.damaged_ppm;
		}
		if (!l.powered && s->reading)
			ft_practice_read_end(b->p, s->slot, false);
		if (!l.powered || !s->reading)
			wait_for_reader(s, now_us);
	}
}

static enum ft_status step(struct served *s, int64_t now_us, int64_t *due_us)
{
	int64_t due = FT_NEVER;
	enum ft_status status = ft_port_step(&s->session, now_us, &due, &s->b->c->error);

	if (status != FT_OK)
		return status;
	if (ft_link_ended(s->link)) {
		if (s->reading) /* it ended without a word */
			ft_practice_read_end(s->b->p, s->slot, false);
		if (s->kind == FT_LINK_DDCMP && !ft_practice_line(s->b->p).refuses)
			s->learned = ft_link_security_code(s->link);
		status = wait_for_reader(s, now_us);
		due = now_us;
	}
	if (due < *due_us)
		*due_us = due;
	return status;
}

/* ---- the lines ---- */

static void failed_line(struct bench *b, struct ft_error *e)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	fprintf(stderr, "fettle: %s\n", e->text);
	if (b->c->json) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "event", "error");
		ft_json_i64(&j, "line", b->line);
		ft_json_text(&j, "text", e->text);
		ft_json_object_end(&j);
		ft_buf_byte(&out, '\n');
		cli_flush(b->c, &out);
		fflush(stdout);
	}
	ft_buf_done(&out);
	if (b->script) { /* a script is written once and should be right; a person may try again */
		b->over = true;
		b->code = ft_exit_code(e->status);
	}
}

static enum ft_status untap(struct bench *b, struct ft_error *e)
{
	int64_t end_ns = ft_practice_untap(b->p);
	enum ft_status s = bus_tap_close(b->tap, end_ns, e);

	b->tap = NULL;
	return s;
}

static enum ft_status tap(struct bench *b, const char *path, bool from_power_up)
{
	struct ft_practice_tap listener;
	enum ft_status s = untap(b, &b->c->error);

	if (s == FT_OK)
		s = path ? bus_tap_open(b->c, path, &b->tap) : ft_fail_memory(&b->c->error, "a name");
	if (s != FT_OK)
		return s;
	listener = bus_tap_listener(b->tap);
	return ft_practice_tap(b->p, &listener, from_power_up, &b->c->error);
}

/* What a command wants from the world outside. */
static enum ft_status fulfil(struct bench *b, const struct ft_practice_wish *wish, struct ft_error *e)
{
	const char *path = wish->path.p ? ft_arena_text(&b->c->arena, wish->path) : NULL;
	enum ft_status s = FT_OK;

	b->c->error = (struct ft_error){ 0 };
	if (wish->kind == FT_PRACTICE_WRITE)
		s = path ? cli_write_file(b->c, path, wish->bytes) : ft_fail_memory(&b->c->error, "a name");
	else if (wish->kind == FT_PRACTICE_TAP)
		s = tap(b, path, false);
	else if (wish->kind == FT_PRACTICE_UNTAP)
		s = untap(b, &b->c->error);
	else if (b->tap)
		s = bus_tap_status(b->tap, &b->c->error);
	*e = b->c->error;
	return s;
}

/* "clock now": the machine itself reads no clock, so the time here stands in its place. */
static struct ft_slice with_time(struct ft_slice line, char out[FT_TIME_TEXT + 8])
{
	struct ft_slice rest = ft_slice_trim(line);
	char time[FT_TIME_TEXT];
	int offset = 0;
	int64_t now_us;

	if (rest.n < 9 || memcmp(rest.p, "clock", 5) != 0)
		return line;
	rest.p += 5;
	rest.n -= 5;
	if (!ft_slice_is(ft_slice_trim(rest), "now") || (*rest.p != ' ' && *rest.p != '\t'))
		return line;
	now_us = cli_now(&offset);
	ft_time_text(now_us, offset, time);
	time[19] = 0; /* a machine's clock is local and has no offset */
	snprintf(out, FT_TIME_TEXT + 8, "clock %s", time);
	return ft_slice_of(out);
}

static void command(struct bench *b, struct ft_slice line)
{
	struct ft_practice_wish wish;
	struct ft_error e = { 0 };
	char timed[FT_TIME_TEXT + 8];
	enum ft_status s = ft_practice_do(b->p, with_time(line, timed), b->line, &wish, &e);

	if (s == FT_OK)
		s = fulfil(b, &wish, &e);
	if (s != FT_OK) {
		while (ft_practice_next(b->p, &(struct ft_practice_event){ 0 }))
			; /* what could not be written was not saved */
		failed_line(b, &e);
		return;
	}
	tell(b);
	if (wish.kind == FT_PRACTICE_WAIT && !b->fast)
		b->hold_until_us = ft_port_clock() + wish.wait_us;
	b->over |= wish.kind == FT_PRACTICE_END;
}

/* The next whole line, or the last one without its end when the input is closed. */
static bool next_line(struct bench *b, struct ft_slice *ret)
{
	size_t left = b->input_n - b->input_at;
	const char *p = b->input + b->input_at, *end = left ? memchr(p, '\n', left) : NULL;

	if (!end && (!left || b->input_open) && left < INPUT_MAX)
		return false;
	*ret = (struct ft_slice){ p, end ? (size_t)(end - p) : left };
	b->input_at += ret->n + (end != NULL);
	b->line++;
	return true;
}

static void run_lines(struct bench *b, int64_t now_us)
{
	struct ft_slice line;
	bool any = false;

	while (!b->over && now_us >= b->hold_until_us && next_line(b, &line)) {
		command(b, line);
		any = true;
	}
	if (any && !b->over)
		take_manners(b, now_us);
	if (!b->over && !b->input_open && b->input_at == b->input_n && b->until_eof && now_us >= b->hold_until_us)
		b->over = true;
}

static void take_input(struct bench *b)
{
	ssize_t n;

	memmove(b->input, b->input + b->input_at, b->input_n - b->input_at);
	b->input_n -= b->input_at;
	b->input_at = 0;
	if (b->input_n == INPUT_MAX)
		return;
	n = read(STDIN_FILENO, b->input + b->input_n, INPUT_MAX - b->input_n);
	if (n > 0)
		b->input_n += (size_t)n;
	else if (n == 0 || (errno != EINTR && errno != EAGAIN))
		b->input_open = false;
}

/* ---- the whole ---- */

static int loop(struct bench *b, const sigset_t *mask)
{
	struct pollfd fds[LINKS + 2];

	while (!b->over && !stopped) {
		int64_t now_us = ft_port_clock(), due_us = FT_NEVER;
		run_lines(b, now_us);
		for (int i = 0; i < LINKS && !b->over; i++) {
			if (step(&b->links[i], now_us, &due_us) != FT_OK)
				return cli_failed(b->c);
			fds[i] = ft_port_poll(b->links[i].port);
		}
		if (!b->over && practice_modem_step(&b->modem, now_us, &due_us, &b->c->error) != FT_OK)
			return cli_failed(b->c);
		fds[LINKS + 1] = ft_port_poll(b->modem.port);
		tell(b);
		if (b->over)
			break;
		if (b->hold_until_us > now_us && b->hold_until_us < due_us)
			due_us = b->hold_until_us;
		fds[LINKS] =
			(struct pollfd){ .fd = b->input_open && b->hold_until_us <= now_us ? STDIN_FILENO : -1, .events = POLLIN };
		if (ft_port_wait(fds, LINKS + 2, due_us, mask) > 0 && fds[LINKS].revents)
			take_input(b);
	}
	return b->code;
}

static enum ft_status load_script(struct bench *b, const char *path)
{
	struct ft_slice text;
	enum ft_status s = cli_read_file(b->c, path, "the script", INPUT_MAX, &text);

	if (s != FT_OK)
		return s;
	if (text.n > INPUT_MAX)
		return ft_fail(&b->c->error, FT_E_INPUT, "The script %s is longer than %d bytes; cut it in two.", path,
		               INPUT_MAX);
	memcpy(b->input, text.p, text.n);
	b->input_n = text.n;
	b->script = true;
	return FT_OK;
}

static enum ft_status make_machine(struct bench *b)
{
	struct cli *c = b->c;
	const char *name = cli_value(c, "machine"), *security = cli_value(c, "security"), *fault;
	size_t n;
	const struct ft_practice_builtin *own = name ? ft_practice_builtin(ft_slice_of(name)) : ft_practice_builtins(&n);
	struct ft_slice text = own ? own->description : (struct ft_slice){ 0 };
	struct ft_practice_wish wish;
	enum ft_status s = own ? FT_OK : cli_read_file(c, name, "the machine's description", FT_AUDIT_BYTES_MAX, &text);

	if (s == FT_OK)
		s = ft_practice_new(text, own ? own->name : name, (uint64_t)b->seed, &c->arena, &b->p, &c->error);
	if (s == FT_OK && cli_value(c, "temperature"))
		s = ft_practice_do(b->p, FT_SLICE("log start"), 0, &wish, &c->error);
	for (int i = 0; s == FT_OK && (fault = cli_value_nth(c, "fault", i)); i++) {
		const char *line = ft_arena_printf(&c->arena, "fault %s", fault);
		s = line ? ft_practice_do(b->p, ft_slice_of(line), 0, &wish, &c->error) : ft_fail_memory(&c->error, "a fault");
	}
	if (s == FT_OK && security) {
		const char *line = ft_arena_printf(&c->arena, "fault refusing-code %s", security);
		s = line ? ft_practice_do(b->p, ft_slice_of(line), 0, &wish, &c->error) : ft_fail_memory(&c->error, "a code");
	}
	if (s == FT_OK && cli_value(c, "bus"))
		s = tap(b, cli_value(c, "bus"), true);
	return s;
}

/* The log of a logger that was in from the beginning. */
static enum ft_status write_temperature(struct bench *b, const char *path)
{
	const char *line = ft_arena_printf(&b->c->arena, "log \"%s\"", path);
	struct ft_practice_wish wish;
	enum ft_status s;

	if (!line)
		return ft_fail_memory(&b->c->error, "the log of the cabinet");
	s = ft_practice_do(b->p, ft_slice_of(line), 0, &wish, &b->c->error);
	return s == FT_OK ? cli_write_file(b->c, path, wish.bytes) : s;
}

static bool take_options(struct bench *b)
{
	const char *pace = cli_value(b->c, "pace");
	int64_t turn_round_ms;

	if (!cli_number(b->c, "seed", 0, INT32_MAX, 1, &b->seed) ||
	    !cli_number(b->c, "turn-round", 0, 10000, -1, &turn_round_ms) ||
	    !cli_number(b->c, "block", 1, FT_LINK_BLOCK_MAX, 0, &b->block))
		return false;
	b->turn_round_us = turn_round_ms < 0 ? -1 : turn_round_ms * 1000;
	b->fast = pace && strcmp(pace, "fast") == 0;
	if (pace && !b->fast && strcmp(pace, "real") != 0) {
		cli_usage(b->c, "--pace is real or fast, not \"%s\".", pace);
		return false;
	}
	b->until_eof = cli_flag(b->c, "until-eof");
	return true;
}

static int run(struct cli *c)
{
	struct bench *b = ft_arena_alloc(&c->arena, sizeof *b);
	struct sigaction act = { .sa_handler = on_signal };
	const char *script = cli_value(c, "script");
	sigset_t block, before;
	int code;

	if (c->count && strcmp(c->arguments[0], "fleet") == 0)
		return practice_fleet(c);
	if (c->count)
		return cli_usage(c, "practice knows fleet, not \"%s\"; without it one machine is served.", c->arguments[0]),
			   cli_failed(c);
	if (!b) {
		ft_fail_memory(&c->error, "the practice machine");
		return cli_failed(c);
	}
	b->c = c;
	b->input_open = !script;
	if (!take_options(b) || (script && load_script(b, script) != FT_OK) || make_machine(b) != FT_OK) {
		ft_practice_done(b->p);
		return cli_failed(c);
	}
	sigemptyset(&block);
	sigaddset(&block, SIGINT);
	sigaddset(&block, SIGTERM);
	sigaddset(&block, SIGHUP);
	sigprocmask(SIG_BLOCK, &block, &before); /* they come while waiting only */
	sigaction(SIGINT, &act, NULL);
	sigaction(SIGTERM, &act, NULL);
	sigaction(SIGHUP, &act, NULL);
	signal(SIGPIPE, SIG_IGN);
	if (serve(b, &b->links[0], 0, cli_value(c, "dex-link")) != FT_OK ||
	    serve(b, &b->links[1], 1, cli_value(c, "ddcmp-link")) != FT_OK ||
	    practice_modem_serve(&b->modem, b->p, (uint64_t)b->seed, cli_value(c, "modem-link"), &c->error) != FT_OK) {
		code = cli_failed(c);
	} else {
		first_line(b);
		take_manners(b, ft_port_clock());
		tell(b);
		code = loop(b, &before);
	}
	if (b->tap && untap(b, &c->error) != FT_OK)
		code = cli_failed(c);
	if (cli_value(c, "temperature") && write_temperature(b, cli_value(c, "temperature")) != FT_OK)
		code = cli_failed(c);
	for (int i = 0; i < LINKS; i++)
		ft_port_close(b->links[i].port);
	ft_port_close(b->modem.port);
	ft_practice_done(b->p);
	return code;
}

static const struct cli_option options[] = {
	{ "machine", "NAME|FILE", "snack (when not said), hotdrink, coinbox, or a description of your own" },
	{ "fault", "\"NAME ARGUMENTS\"", "start with this fault; may be given several times" },
	{ "seed", "N", "the past and the chances of the machine; 1 when not said" },
	{ "pace", "real|fast", "real: bytes take their time at the line rate; fast: as fast as it can" },
	{ "turn-round", "MS", "silence the machine keeps before it answers" },
	{ "security", "CODE", "four hexadecimal digits demanded over DDCMP" },
	{ "bus", "FILE", "tap its bus from power-up on into FILE, as .vcd, .words or .sr" },
	{ "temperature", "FILE", "put a logger into its cabinet and write its log at the end" },
	{ "script", "FILE", "take the lines from FILE instead of standard input" },
	{ "dex-link", "PATH", "make a link to the DEX/UCS port under this name" },
	{ "ddcmp-link", "PATH", "make a link to the DDCMP port under this name" },
	{ "modem-link", "PATH", "make a link to the port of its modem under this name" },
	{ "block", "N", "characters of the audit in one block" },
	{ "until-eof", NULL, "end when the lines end" },
	{ "o", "DIR", "fleet: the folder that audits, tables and the key are written into" },
	{ "machines", "N", "fleet: how many machines; 100 when not said" },
	{ "days", "D", "fleet: for how many days; 60 when not said" },
	{ "pack", NULL, "fleet: the audits go into audits.tar, not into a folder" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_practice = {
	.name = "practice",
	.arguments = "[--machine NAME] [--fault NAME]... | fleet -o DIR",
	.summary = "a machine to practise on, on ports of its own, driven by lines",
	.about =
		"Puts an invented vending machine on two pseudo-terminals, DEX/UCS on one and DDCMP on the other, and lets it be "
		"read as often as you like; the modem of the unit in it is on a third. It keeps its own books; lines on standard input sell, test, fill, reprice, cut the "
		"power or put in a fault.\n\n"
		"fettle practice fleet -o DIR writes weeks of audits, counts, settlements, door events and temperatures of many "
		"machines instead, with troubles planted and key.csv that says which, for fettle watch.\n\n"
		"The first line it prints names the ports as JSON; every line after it is something that happened. The lines and faults it takes stand at "
		"the end of this page; docs/practice.md says what a fitter sees of each fault.",
	.options = options,
	.examples = "$ fettle practice\n$ fettle practice --machine hotdrink --fault \"other-list 2\" --pace fast\n"
				"$ fettle practice fleet -o fleet/ --machines 200 --days 60",
	.rows = practice_row,
	.least = 0,
	.most = 1,
	.run = run,
};
