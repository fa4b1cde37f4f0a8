/* SPDX-License-Identifier: Apache-2.0 */
/* Reads a capture of the multi-drop bus and says what holds on it. */
#include "bus.h"
#include "fettle/ledger.h"
#include "verbs.h"

#include <string.h>

struct listening {
	struct bus_picture *picture; /* NULL: none is wanted */
	struct bus_stream stream;
	struct bus_traffic *traffic; /* NULL: none is wanted */
	int64_t from, to;            /* of the window; from -1: all of it */
};

static bool in_window(const struct listening *l, int64_t start_ns, int64_t end_ns)
{
	return l->from < 0 || (end_ns >= l->from && start_ns <= l->to);
}

static void hear_word(void *to, const struct ft_bus_word *w)
{
	struct listening *l = to;

	if (l->picture)
		bus_picture_word(l->picture, w);
	if (l->stream.words && in_window(l, w->start_ns, w->end_ns))
		bus_stream_word(&l->stream, w);
}

static void hear_item(void *to, const struct ft_bus_item *i)
{
	struct listening *l = to;
	int64_t last = i->exchange.answer.count ? i->exchange.answer.end_ns : i->exchange.command.end_ns;

	if (l->picture)
		bus_picture_item(l->picture, i);
	if (!(i->kind == FT_BUS_EXCHANGE ? in_window(l, i->exchange.command.start_ns, last)
	                                 : in_window(l, i->block.start_ns, i->block.end_ns)))
		return;
	if (l->stream.blocks)
		bus_stream_item(&l->stream, i);
	if (l->traffic)
		bus_traffic_item(l->traffic, l->stream.bus, i);
}

static void hear_event(void *to, const struct ft_bus_event *e)
{
	struct listening *l = to;

	if (l->picture)
		bus_picture_event(l->picture, e);
}

static bool take_window(struct cli *c, int64_t *from, int64_t *to)
{
	const char *a = cli_value(c, "from"), *b = cli_value(c, "to");

	*from = *to = -1;
	if (!a && !b)
		return true;
	if (!cli_value(c, "svg") && !cli_flag(c, "words") && !cli_flag(c, "blocks") && !cli_flag(c, "traffic"))
		cli_usage(c,
		          "--from and --to choose what --svg draws or --words and --blocks list; give one of these as well.");
	else if (!a || !b)
		cli_usage(c, "--from and --to go together: the seconds at which the drawing begins and ends.");
	else if (!bus_seconds(ft_slice_of(a), from))
		cli_usage(c, "--from takes seconds such as 12.5, not \"%s\".", a);
	else if (!bus_seconds(ft_slice_of(b), to))
		cli_usage(c, "--to takes seconds such as 12.75, not \"%s\".", b);
	else if (*from >= *to)
		cli_usage(c, "--from %s is not before --to %s; nothing would be left.", a, b);
	else
		return true;
	return false;
}

static enum ft_status write_sales(struct cli *c, const char *capture, const struct ft_bus_report *r, const char *path)
{
	struct ft_account x;
	struct ft_buf out = { 0 };
	int decimals = r->decimals >= 0 && r->decimals <= FT_AUDIT_DECIMALS_MAX ? r->decimals : 2;
	enum ft_status s = ft_sales_of_bus(r, capture, decimals, &c->arena, &x, &c->error);

	if (s != FT_OK)
		return s;
	ft_sales_write(x.sales, x.sale_count, decimals, &out);
	if (out.status != FT_OK)
		s = ft_fail_memory(&c->error, "the list of sales");
	else
		s = cli_write_file(c, path, ft_buf_text(&out));
	ft_buf_done(&out);
	if (s == FT_OK && x.unpriced)
		fprintf(stderr, "fettle: %zu of %zu sales are not in %s: the scale of the money was not in the capture.\n",
		        x.unpriced, x.sale_count, path);
	return s;
}

static int tell(struct cli *c, const char *path, const struct ft_bus_report *r, const struct ft_findings *f,
                struct bus_traffic *t)
{
	enum ft_verdict v = ft_bus_verdict(r, f);
	struct ft_buf out = { 0 };

	if (cli_flag(c, "words") || cli_flag(c, "blocks"))
		return cli_exit(v);
	if (c->json)
		return bus_document(c, path, r, f, v, t);
	bus_show(c, path, r, f, v, &out);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return cli_exit(v);
}

/* A file, or an analyser or adapters to listen to. */
static bool take_source(struct cli *c, const char **path, int64_t *seconds)
{
	const char *driver = cli_value(c, "analyser"), *adapters = cli_value(c, "adapter");

	*path = c->count ? c->arguments[0] : driver ? driver : adapters;
	if (!*path)
		cli_usage(c, "Name a capture to read, or listen with --analyser DRIVER or --adapter PORT,PORT.");
	else if (c->count + !!driver + !!adapters > 1)
		cli_usage(c, "Give a capture to read, --analyser or --adapter to listen with: one of them, not both.");
	else if (!c->count && cli_value(c, "raw"))
		cli_usage(c, "--raw says what a file holds; it does not go with listening.");
	else if (driver && driver[0] == '-')
		cli_usage(c, "--analyser takes the name of a driver such as fx2lafw, not \"%s\".", driver);
	else if (c->count && (cli_value(c, "seconds") || cli_value(c, "keep")))
		cli_usage(c, "--seconds and --keep go with --analyser or --adapter.");
	else
		return cli_number(c, "seconds", 1, 3600, 60, seconds);
	return false;
}

static int run(struct cli *c)
{
	const char *path, *svg = cli_value(c, "svg"), *sales = cli_value(c, "sales");
	struct listening l = { .stream = { .c = c, .words = cli_flag(c, "words"), .blocks = cli_flag(c, "blocks") } };
	struct ft_bus_listener listener = { .to = &l };
	struct ft_findings f = { .arena = &c->arena };
	const struct ft_bus_report *r = NULL;
	struct ft_bus_options o;
	struct ft_bus *b = NULL;
	int64_t from, to, seconds;
	enum ft_status s;
	int code;

	if (!take_source(c, &path, &seconds) || !cli_bus_options(c, &o) || !take_window(c, &from, &to))
		return cli_failed(c);
	if (cli_flag(c, "traffic") && (!c->json || l.stream.words || l.stream.blocks)) {
		cli_usage(c, "--traffic puts the traffic into the report of --json; for people there is --blocks.");
		return cli_failed(c);
	}
	if ((svg && !(l.picture = bus_picture_new(c, from, to))) ||
	    (cli_flag(c, "traffic") && !(l.traffic = bus_traffic_new(c))))
		return cli_failed(c);
	/* nobody is called who has nothing to do: most captures are only told of */
	l.from = from;
	l.to = to;
	listener.word = l.stream.words || from >= 0 ? hear_word : NULL;
	listener.item = l.stream.blocks || l.traffic || svg ? hear_item : NULL;
	listener.event = svg ? hear_event : NULL;
	o.timing_unknown = cli_value(c, "adapter") != NULL;
	o.name = strcmp(path, "-") == 0 ? "standard input" : path;
	s = ft_bus_new(&o, &listener, &f, &c->arena, &b, &c->error);
	if (s == FT_OK) {
		l.stream.bus = b;
		if (l.picture)
			bus_picture_bus(l.picture, b);
		if (!c->count)
			s = bus_live(c, cli_value(c, "analyser"), cli_value(c, "adapter"), seconds, b, cli_value(c, "keep"));
		else
			s = cli_bus_read(c, path, &o, &listener, &f, &b, &r);
	}
	if (s == FT_OK && !r)
		s = ft_bus_end(b, &r, &c->error);
	if (!bus_stream_end(&l.stream) && s == FT_OK)
		s = c->error.status;
	if (s == FT_OK && svg)
		s = bus_picture_write(l.picture, path, r, &f, svg);
	if (s == FT_OK && sales)
		s = write_sales(c, path, r, sales);
	code = s == FT_OK ? tell(c, path, r, &f, l.traffic) : cli_failed(c);
	bus_traffic_done(l.traffic);
	ft_bus_done(b);
	return code;
}

static const struct cli_option options[] = {
	{ "controller", "CH", "the channel of the controller's line (pin 5), by name or by number from 0" },
	{ "peripheral", "CH", "the channel of the peripherals' line (pin 4), by name or by number from 0" },
	{ "invert", "WHICH", "whose line lies low when idle: controller, peripheral, both or none" },
	{ "raw", "RATE:CHANNELS[:UNIT]", "the capture is bare samples: samples a second, channels, bytes a sample" },
	{ "words", NULL, "print every word of both lines instead of the report" },
	{ "blocks", NULL, "print every command with its answer and its meaning instead of the report" },
	{ "traffic", NULL, "with --json: the traffic in the report as well, what is said again and again only once" },
	{ "svg", "FILE", "draw the bus: power-up, each sale, each finding" },
	{ "from", "S", "with --to: draw every block, or list, from this second on" },
	{ "to", "S", "up to this second; short windows show the bits" },
	{ "analyser", "DRIVER", "listen with a logic analyser now, through sigrok-cli, instead of reading a file" },
	{ "adapter", "PORT[,PORT]",
	  "listen with serial adapters: the one at the controller's line, the one at the peripherals'" },
	{ "seconds", "N", "how long to listen; 60 unless given" },
	{ "keep", "FILE", "keep what was recorded: VCD of an analyser, words of adapters" },
	{ "sales", "FILE", "write the sales that were seen, as prove --sales takes them" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_bus = {
	.name = "bus",
	.arguments = "CAPTURE | --analyser DRIVER | --adapter PORT[,PORT]",
	.summary = "reads a capture of the multi-drop bus",
	.about =
		"Reads what was recorded on the machine's multi-drop bus (MDB/ICP): who is on it, how fast each peripheral answers against "
		"the 5 ms it has, what they say of themselves, every coin, bill and sale as it happened, and what is wrong, the root "
		"cause first and what merely follows from it under it.\n\n"
		"CAPTURE is a VCD file, a logic session (.sr), a table of time and levels (CSV), words as text (docs/bus.md) or, with --raw, "
		"bare samples. Which channel is which line, and which way up, is found out from the traffic; say it where that fails.\n\n"
		"With --analyser it records by itself: 1000000 samples a second of all channels of the analyser, for which sigrok-cli must "
		"be installed. With --adapter serial adapters behind the tap hear the words themselves, the ninth bit by its parity; their times "
		"are the computer's, so nothing is said of answer times.",
	.options = options,
	.examples =
		"$ fettle bus bench.vcd\n$ fettle bus bench.vcd --svg bench.svg\n$ fettle bus bench.sr --sales sold.csv\n"
		"$ fettle bus --analyser fx2lafw --seconds 180 --keep power-up.vcd\n",
	.least = 0,
	.most = 1,
	.run = run,
};
