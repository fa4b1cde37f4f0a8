/* SPDX-License-Identifier: Apache-2.0 */
/* Reads a machine's audit through its data port, and keeps it only when it came whole and checked. */
#include "read.h"
#include "verbs.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static volatile sig_atomic_t stopped; /* a signal handler can reach nothing else */

static void on_signal(int number)
{
	(void)number;
	stopped = 1;
}

/* ---- what was asked for ---- */

static bool take_code(struct cli *c, const char *name, uint16_t *ret)
{
	const char *text = cli_value(c, name);
	uint32_t v = 0;

	if (text && (strlen(text) != 4 || !ft_slice_hex(ft_slice_of(text), &v))) {
		cli_usage(c, "--%s takes four hexadecimal digits, such as 12AB, not \"%s\".", name, text);
		return false;
	}
	*ret = (uint16_t)v;
	return true;
}

static bool take_link(struct cli *c, enum ft_link_kind *ret)
{
	const char *word = cli_value(c, "link");

	*ret = FT_LINK_AUTO;
	for (int k = FT_LINK_AUTO; word && k <= FT_LINK_DDCMP; k++)
		if (strcmp(word, ft_link_kind_word((enum ft_link_kind)k)) == 0) {
			*ret = (enum ft_link_kind)k;
			return true;
		}
	if (word)
		cli_usage(c, "--link is auto, dex or ddcmp, not \"%s\".", word);
	return !word;
}

static bool take_settings(struct reading *r, enum ft_link_kind kind, int64_t *ret_quiet_us)
{
	struct cli *c = r->c;
	int64_t baud, turn_us, retries, timeout_s, now_us;
	int offset;

	r->settings = ft_link_defaults(kind, FT_LINK_CARRIER);
	if (!cli_number(c, "baud", 300, 4000000, r->settings.baud, &baud) ||
	    !cli_number(c, "turn-round", 0, 1000, r->settings.turn_round_us / 1000, &turn_us) ||
	    !cli_number(c, "retries", 0, 100, r->settings.retries, &retries) ||
	    !cli_number(c, "timeout", 1, 86400, 0, &timeout_s) || !take_code(c, "security", &r->settings.security_code) ||
	    !take_code(c, "pass", &r->settings.pass_code))
		return false;
	r->settings.baud = (int)baud;
	if (cli_value(c, "turn-round"))
		r->settings.turn_round_us = turn_us * 1000;
	r->settings.retries = (unsigned)retries;
	r->settings.echo = cli_flag(c, "echo");
	now_us = cli_now(&offset);
	r->settings.clock = ft_civil_of(now_us, offset);
	*ret_quiet_us = timeout_s * FT_SECOND;
	return true;
}

/* The same file under two names, or a name that will be the same file. */
static bool same_file(const char *a, const char *b)
{
	struct stat x, y;

	if (strcmp(a, b) == 0)
		return true;
	return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev && x.st_ino == y.st_ino;
}

/* What would mix up two results is refused before anything is read. */
static bool outputs_apart(struct reading *r)
{
	const char *trace = cli_value(r->c, "trace");

	if (r->c->json && strcmp(r->out, "-") == 0)
		cli_usage(r->c, "The audit and the JSON document cannot both go to standard output; name a file with -o.");
	else if (trace && strcmp(trace, "-") == 0)
		cli_usage(r->c, "The trace needs a file; standard output is for the result.");
	else if (r->part && same_file(r->out, r->part))
		cli_usage(r->c, "--keep-part needs another name than -o: a part must never stand under the name of the whole.");
	else if (trace && (same_file(trace, r->out) || (r->part && same_file(trace, r->part))))
		cli_usage(r->c, "--trace needs a name of its own.");
	else
		return true;
	return false;
}

/* ---- while it goes on ---- */

static void put_trace(struct reading *r, const struct ft_buf *line)
{
	if (!r->trace || r->trace_failed)
		return;
	if (line->status != FT_OK || fwrite(line->p, 1, line->n, r->trace) != line->n)
		r->trace_failed = true;
}

static void on_bytes(void *context, bool sent, const uint8_t *p, size_t n, int64_t at_us)
{
	struct reading *r = context;
	struct ft_buf b = { 0 };

	if (!r->trace)
		return;
	ft_trace_bytes(&b, at_us - r->trace_start_us, sent, p, n);
	put_trace(r, &b);
	ft_buf_done(&b);
}

static void on_event(void *context, const struct ft_link_event *ev)
{
	struct reading *r = context;
	struct ft_link_event moved = *ev;
	struct ft_buf b = { 0 };

	if (ev->kind == FT_LINK_EV_BLOCK)
		ft_buf_slice(&r->text, ev->text);
	if (r->trace) {
		moved.at_us -= r->trace_start_us;
		ft_trace_event(&b, &moved);
		put_trace(r, &b);
		ft_buf_done(&b);
	}
	read_show_event(r, ev);
}

static void on_beat(void *context, const struct ft_link_stats *stats, int64_t now_us)
{
	read_show_beat(context, stats, now_us);
}

/* What else the bytes hang on, so that a replay asks the same way at the same time. */
static void put_trace_settings(const struct reading *r, struct ft_buf *b)
{
	const struct ft_link_settings *s = &r->settings;
	char clock[FT_TIME_TEXT];

	ft_time_text(ft_unix_of(&s->clock, 0), 0, clock);
	ft_buf_printf(b, "# settings: %lld %u %04X %04X %d %.19s\n", (long long)s->turn_round_us, s->retries,
	              s->security_code, s->pass_code, s->echo, clock);
}

static bool open_trace(struct reading *r, enum ft_link_kind kind)
{
	const char *path = cli_value(r->c, "trace");
	struct ft_buf b = { 0 };
	char line[64];

	if (!path)
		return true;
	r->trace = fopen(path, "wbe");
	if (!r->trace) {
		ft_fail(&r->c->error, FT_E_STORE, "The trace %s cannot be written: %s.", path, strerror(errno));
		return false;
	}
	snprintf(line, sizeof line, "%s carrier %d", ft_link_kind_word(kind), ft_link_stats(r->link)->baud);
	ft_trace_head(&b, "fettle trace of a read", r->port_path, line);
	put_trace_settings(r, &b);
	put_trace(r, &b);
	ft_buf_done(&b);
	return true;
}

static void close_trace(struct reading *r)
{
	if (r->trace && (fclose(r->trace) != 0 || r->trace_failed))
		fprintf(stderr, "fettle: the trace %s is not whole: the disk may be full.\n", cli_value(r->c, "trace"));
	r->trace = NULL;
}

static bool run_session(struct reading *r, struct ft_port *port, int64_t quiet_us)
{
	struct ft_port_session s = { .port = port, .link = r->link, .context = r, .trace = on_bytes, .event = on_event };
	struct sigaction act = { .sa_handler = on_signal }, old[3];
	struct ft_port_limits limits = {
		.quiet_us = quiet_us, .stop = &stopped, .beat = on_beat, .beat_us = read_show_beat_us(r)
	};
	sigset_t held, before;
	enum ft_port_end end;

	/* signals come in only while waiting, so none is lost between a look at the flag and the wait */
	sigemptyset(&held);
	sigaddset(&held, SIGINT);
	sigaddset(&held, SIGTERM);
	sigaddset(&held, SIGHUP);
	sigprocmask(SIG_BLOCK, &held, &before);
	limits.mask = &before;
	sigaction(SIGINT, &act, &old[0]);
	sigaction(SIGTERM, &act, &old[1]);
	sigaction(SIGHUP, &act, &old[2]);
	r->started_us = ft_port_clock();
	end = ft_port_run(&s, &limits, &r->c->error);
	r->ended_us = ft_port_clock();
	sigaction(SIGINT, &old[0], NULL);
	sigaction(SIGTERM, &old[1], NULL);
	sigaction(SIGHUP, &old[2], NULL);
	sigprocmask(SIG_SETMASK, &before, NULL);
	read_show_clear(r);
	return end == FT_PORT_DONE;
}

static bool read_port(struct reading *r, enum ft_link_kind kind, int64_t quiet_us)
{
	struct ft_port *port = NULL;
	bool whole = false;

	ft_link_init(r->link, kind, FT_LINK_CARRIER, &r->settings, ft_port_clock());
	if (ft_port_open(r->port_path, ft_link_stats(r->link)->baud, &port, &r->c->error) != FT_OK)
		return false;
	r->trace_start_us = ft_port_clock();
	/* the engine's time begins when the port is open */
	ft_link_init(r->link, kind, FT_LINK_CARRIER, &r->settings, r->trace_start_us);
	if (open_trace(r, kind))
		whole = run_session(r, port, quiet_us);
	close_trace(r);
	ft_port_close(port);
	return whole;
}

/* "dex carrier 9600" */
static void replayed_line(struct ft_slice line, enum ft_link_kind *kind, struct ft_link_settings *s)
{
	struct ft_slice word;
	int64_t baud;

	for (int n = 0; ft_slice_split(&line, ' ', &word); n++) {
		for (int k = FT_LINK_AUTO; n == 0 && k <= FT_LINK_DDCMP; k++)
			if (ft_slice_is(word, ft_link_kind_word((enum ft_link_kind)k)))
				*kind = (enum ft_link_kind)k;
		if (n == 2 && *kind != FT_LINK_AUTO && ft_slice_i64(word, &baud) && baud > 0 && baud < 4000000)
			s->baud = (int)baud;
	}
}

/* As put_trace_settings wrote them. */
static void replayed_settings(struct ft_slice line, struct ft_link_settings *s)
{
	struct ft_slice word;
	int64_t v;
	uint32_t hex;

	for (int n = 0; ft_slice_split(&line, ' ', &word); n++) {
		if (n == 0 && ft_slice_i64(word, &v) && v >= 0 && v <= FT_SECOND)
			s->turn_round_us = v;
		if (n == 1 && ft_slice_i64(word, &v) && v >= 0 && v <= 100)
			s->retries = (unsigned)v;
		if ((n == 2 || n == 3) && ft_slice_hex(word, &hex))
			*(n == 2 ? &s->security_code : &s->pass_code) = (uint16_t)hex;
		if (n == 4)
			s->echo = ft_slice_is(word, "1");
		if (n == 5 && ft_time_parse(word, 0, &v))
			s->clock = ft_civil_of(v, 0);
	}
}

static void replayed_head(struct ft_slice trace, enum ft_link_kind *kind, struct ft_link_settings *s)
{
	static const struct ft_slice names[2] = { { "line:", 5 }, { "settings:", 9 } };
	struct ft_slice rest = trace, line;

	while (ft_slice_split(&rest, '\n', &line) && line.n && line.p[0] == '#')
		for (int i = 0; i < 2; i++) {
			size_t at = ft_slice_find(line, names[i]);
			struct ft_slice value;
			if (at == line.n)
				continue;
			value = ft_slice_trim((struct ft_slice){ line.p + at + names[i].n, line.n - at - names[i].n });
			if (i == 0)
				replayed_line(value, kind, s);
			else
				replayed_settings(value, s);
		}
}

static bool read_trace(struct reading *r, enum ft_link_kind kind)
{
	struct ft_link_replay how = { .role = FT_LINK_CARRIER, .settings = &r->settings, .text = &r->text };
	struct ft_slice trace;
	bool done = false;

	if (cli_read_file(r->c, r->port_path, "a trace", FT_EVIDENCE_BYTES_MAX, &trace) != FT_OK)
		return false;
	replayed_head(trace, &kind, &r->settings);
	how.kind = kind;
	how.done = &done;
	if (ft_link_replay(r->link, &how, trace, &r->c->error) != FT_OK)
		return false;
	if (done)
		return true;
	ft_link_failure(r->link, &r->c->error);
	ft_fail(&r->c->error, FT_E_LINE, "The trace ends before the audit does, after %zu bytes of it.", r->text.n);
	return false;
}

/* ---- afterwards ---- */

/* One set of it, just judged. */
static bool sound(struct reading *r, size_t lines)
{
	struct ft_error *e = &r->c->error;

	if (!r->check.whole)
		ft_fail(
			e, FT_E_LINE,
			"The machine ended its audit too early, after %zu bytes and %zu lines; nothing was written. Read it again; "
			"if it stops at the same place, the machine's memory or settings are at fault.",
			r->text.n, lines);
	else if (r->check.crc_stated && r->check.crc_sound && r->check.stated != r->check.computed)
		ft_fail(
			e, FT_E_LINE,
			"All %zu bytes came, but the audit's own check value G85 says %04X where its bytes give %04X; nothing was "
			"written. Read it again; if it stays so, keep it with --keep-part and tell the office.",
			r->text.n, r->check.stated, r->check.computed);
	else
		return true;
	return false;
}

/* Whole and checked, or why not. */
static bool examine(struct reading *r)
{
	struct ft_slice text = ft_buf_text(&r->text);
	struct ft_error *e = &r->c->error;
	struct ft_facts *f = FT_NEW(&r->c->arena, struct ft_facts);
	struct ft_audit d;

	if (r->text.status != FT_OK || !f)
		return ft_fail_memory(e, "the audit") == FT_OK;
	if (ft_audit_read(text, &r->c->arena, &d, e) != FT_OK)
		return false;
	if (d.set_count == 0)
		return ft_fail(e, FT_E_LINE,
		               "The machine sent %zu bytes that are no audit; nothing was written. Read it again, and if it "
		               "stays so, keep it with --keep-part for the office.",
		               text.n) == FT_OK;
	r->checked = true;
	for (size_t i = 0; i < d.set_count; i++) {
		if (ft_audit_facts(&d, &d.sets[i], &r->c->arena, f, e) != FT_OK)
			return false;
		ft_audit_judge(f, r->out, ft_crc16, &r->findings, &r->check);
		if (!sound(r, d.segment_count))
			return false;
	}
	return true;
}

static void keep_part(struct reading *r)
{
	struct ft_error why = r->c->error;

	if (!r->part || r->text.n == 0)
		return;
	r->c->error = (struct ft_error){ 0 };
	if (cli_write_evidence(r->c, r->part, ft_buf_text(&r->text)) == FT_OK)
		r->part_written = r->part;
	else
		fprintf(stderr, "fettle: %s\n", r->c->error.text);
	r->c->error = why;
}

static int finish(struct reading *r, bool whole)
{
	struct ft_hash h = ft_hash_of(r->text.p, r->text.n);
	struct ft_buf out = { 0 };
	char hash[FT_HASH_TEXT];
	int code;

	r->stats = *ft_link_stats(r->link);
	r->spoke = ft_link_kind_of(r->link);
	whole = whole && examine(r);
	if (whole && cli_write_evidence(r->c, r->out, ft_buf_text(&r->text)) != FT_OK)
		whole = false;
	if (!whole)
		keep_part(r);
	code = whole ? cli_exit(ft_verdict_of(&r->findings, true)) : ft_exit_code(r->c->error.status);
	ft_hash_text(&h, hash);
	if (!whole) {
		fprintf(stderr, "fettle: %s\n", r->c->error.text);
		if (!r->checked && r->text.n)
			fprintf(stderr, "It had come to %zu bytes of the audit in %u blocks.\n", r->text.n, r->stats.blocks);
		if (r->part_written)
			fprintf(stderr, "What came (%zu bytes) is in %s; it is no whole audit.\n", r->text.n, r->part_written);
	}
	if (r->c->json)
		return read_show_document(r, whole ? hash : NULL, code);
	if (!whole || strcmp(r->out, "-") == 0)
		return code;
	read_show_account(r, &out);
	ft_buf_printf(&out, "Written to %s.\n", r->out);
	if (!cli_flush(r->c, &out))
		code = cli_failed(r->c);
	ft_buf_done(&out);
	return code;
}

static int run(struct cli *c)
{
	struct reading r = { .c = c,
		                 .port_path = c->arguments[0],
		                 .out = cli_value(c, "o"),
		                 .part = cli_value(c, "keep-part"),
		                 .replay = cli_flag(c, "replay"),
		                 .terminal = isatty(STDERR_FILENO),
		                 .text = { .ceiling = FT_AUDIT_BYTES_MAX },
		                 .findings = { .arena = &c->arena } };
	const char *progress = cli_value(c, "progress");
	enum ft_link_kind kind;
	int64_t quiet_us;
	int code;

	if (progress && strcmp(progress, "json") != 0) {
		cli_usage(c, "--progress is json, not \"%s\".", progress);
		return cli_failed(c);
	}
	r.documents = progress != NULL;
	if (!r.out) {
		cli_usage(c, "read needs -o FILE: where the audit shall be written.");
		return cli_failed(c);
	}
	if (!take_link(c, &kind) || !take_settings(&r, kind, &quiet_us) || !outputs_apart(&r) || !cli_can_write(c, r.out) ||
	    (r.part && !cli_can_write(c, r.part)))
		return cli_failed(c);
	r.link = ft_arena_alloc(&c->arena, ft_link_size());
	if (!r.link) {
		ft_fail_memory(&c->error, "the data link");
		return cli_failed(c);
	}
	ft_link_init(r.link, kind, FT_LINK_CARRIER, &r.settings, 0);
	code = finish(&r, r.replay ? read_trace(&r, kind) : read_port(&r, kind, quiet_us));
	ft_buf_done(&r.text);
	return code;
}

static const struct cli_option options[] = {
	{ "o", "FILE", "where the audit is written, whole and checked or not at all; - is standard output" },
	{ "link", "KIND", "auto, dex or ddcmp; auto, which finds out, if not given" },
	{ "baud", "N", "line rate to begin with (DEX/UCS 9600, DDCMP 2400 if not given)" },
	{ "timeout", "S", "give up when nothing useful comes for S seconds (as long as the link allows if not given)" },
	{ "turn-round", "MS", "silence kept before each answer (10 if not given; most machines take 1)" },
	{ "retries", "N", "how often one block may be sent again before giving up (5 if not given)" },
	{ "security", "HEX", "DDCMP security code, four hexadecimal digits (0000 if not given)" },
	{ "pass", "HEX", "DDCMP pass code, four hexadecimal digits (0000 if not given)" },
	{ "echo", NULL, "the adapter gives back what it sends, as on one pair of wires" },
	{ "trace", "FILE", "keep every byte with its time, also when the read fails" },
	{ "keep-part", "FILE", "when the audit does not come whole and checked, keep what came under this other name" },
	{ "progress", "json", "tell how it goes as one document a line on standard error, for other programs" },
	{ "replay", NULL, "PORT is a trace: play it into the link again instead of reading a machine" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_read = {
	.name = "read",
	.arguments = "PORT -o FILE [options]",
	.summary = "reads the machine's audit through the data port",
	.about =
		"Reads over DEX/UCS or DDCMP from a serial port or a practice port and finds out which the machine speaks. "
		"The audit is written only when it came whole, every block checked, and its own check value fits; otherwise "
		"the command says how far it came, ends with 4, and writes nothing under the name asked for.\n\n"
		"Isolate nothing and open nothing for this: the data port is on the low-voltage side, but keep clear of a "
		"mains compartment that stands open.",
	.options = options,
	.examples =
		"$ fettle read /dev/ttyUSB0 -o before.dts\n$ fettle read /dev/ttyUSB0 -o before.dts --link ddcmp --trace read.trace",
	.least = 1,
	.most = 1,
	.run = run,
};
