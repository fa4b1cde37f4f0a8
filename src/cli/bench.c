/* SPDX-License-Identifier: Apache-2.0 */
/* fettle bench: begins the bench and says where it is. All the rest is that room's work. */
#include <signal.h>
#include <stdlib.h>
#include <unistd.h>

#include "fettle/bench.h"
#include "verbs.h"

static volatile sig_atomic_t stopped; /* a signal handler can reach nothing else */

static void on_signal(int number)
{
	(void)number;
	stopped = 1;
}

/* Two rows of modules in one line of half blocks, with the four light modules around that a camera needs. Dark on
 * light whatever the terminal's colours, so the colours are set where there are any. */
static void draw_code(const struct cli *c, const struct ft_bench_door *d, struct ft_buf *out)
{
	static const char *const half[] = { "\342\226\210", "\342\226\200", "\342\226\204", " " }; /* light is full */
	const int margin = 4;

	for (int y = -margin; y < d->qr_side + margin; y += 2) {
		ft_buf_puts(out, c->colour ? "  \033[97;40m" : "  ");
		for (int x = -margin; x < d->qr_side + margin; x++) {
			int dark = 0;
			for (int k = 0; k < 2; k++)
				if (x >= 0 && x < d->qr_side && y + k >= 0 && y + k < d->qr_side &&
				    (d->qr[(y + k) * d->qr_side + x] & 1))
					dark |= k ? 1 : 2;
			ft_buf_puts(out, half[dark]);
		}
		ft_buf_puts(out, c->colour ? "\033[0m\n" : "\n");
	}
}

static void say_door(struct cli *c, const struct ft_bench_door *d, struct ft_buf *out)
{
	if (!d->anew) {
		ft_buf_printf(out, "%s\n\n", d->url);
		ft_buf_puts(out,
		            d->code ? "The bench listens on the network, for browsers that were paired.\n"
		                    : "The bench is open in any browser of this computer, and for no other.\n");
	}
	if (d->code) {
		ft_buf_printf(out, "%s", d->anew ? "\nThe code was used. The next one:\n" : "");
		ft_buf_printf(out, "Open that address or scan this, and enter the code %s\n\n", d->code);
		if (d->qr)
			draw_code(c, d, out);
	}
	if (!d->anew && !d->tables)
		ft_buf_puts(out, "\nThe tables of the office have no place beside this book: name one with --tables FOLDER.\n");
	if (!d->anew)
		ft_buf_puts(out, "\nCtrl-C closes it.\n");
}

static void on_door(void *context, const struct ft_bench_door *d)
{
	struct cli *c = context;
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	/* As practice does: whoever starts it from a script reads the first line, whatever was asked for. */
	if (c->json || (!isatty(STDOUT_FILENO) && !d->anew)) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "url", d->url);
		ft_json_text(&j, "code", d->code);
		ft_json_text(&j, "address", d->address);
		ft_json_object_end(&j);
		ft_buf_byte(&out, '\n');
	}
	if (!c->json)
		say_door(c, d, &out);
	(void)(cli_flush(c, &out) && fflush(stdout) == 0); /* nobody reads it: the bench goes on all the same */
	ft_buf_done(&out);
}

static int run(struct cli *c)
{
	struct sigaction act = { .sa_handler = on_signal };
	struct ft_bench_settings s = { .book = cli_book_path(c),
		                           .listen = cli_value(c, "listen"),
		                           .audits = cli_value(c, "audits"),
		                           .tables = cli_value(c, "tables"),
		                           .context = c,
		                           .door = on_door,
		                           .stop = &stopped };
	sigset_t held, before;
	int64_t port;

	if (!cli_number(c, "port", 0, 65535, FT_BENCH_PORT, &port))
		return cli_failed(c);
	s.port = (int)port;
	if (!s.book) {
		ft_fail_memory(&c->error, "the name of the book");
		return cli_failed(c);
	}
	/* signals come in only while waiting, so none is lost between a look at the flag and the wait */
	sigemptyset(&held);
	sigaddset(&held, SIGINT);
	sigaddset(&held, SIGTERM);
	sigaddset(&held, SIGHUP);
	sigprocmask(SIG_BLOCK, &held, &before);
	s.mask = &before;
	sigaction(SIGINT, &act, NULL);
	sigaction(SIGTERM, &act, NULL);
	sigaction(SIGHUP, &act, NULL);
	return ft_bench_run(&s, &c->error) == FT_OK ? FT_OK : cli_failed(c);
}

static const struct cli_option options[] = {
	{ "listen", "ADDRESS[:PORT]", "listen there instead of on this computer alone; browsers are paired by a code" },
	{ "audits", "FOLDER", "watch the audits of a fleet below this folder, as fettle watch does" },
	{ "tables", "FOLDER", "keep the tables of the office there; BOOK.tables if not given" },
	{ "port", "N", "the port where --listen names none; 7437 if not given, 0: any that is free" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_bench = {
	.name = "bench",
	.arguments = "[--listen ADDRESS[:PORT]] [--book FILE] [--audits FOLDER]",
	.summary = "pages to work from at the machine, served from this program",
	.about =
		"Serves pages for a phone, a tablet or a desk from this program: the visits of the book, reading, proving, the bus, "
		"handing over, practising; for the office the fleet, its plan of visits, and the weeks after. Nothing is fetched from anywhere, and it works with no network at all.\n\n"
		"It listens to this computer alone. With --listen it listens on a network, and a browser is let in once it has "
		"entered the code that stands in the terminal, as text and as a picture to scan; a code serves once. The address "
		"of a phone's browser begins with http: whoever shares the network may read along, so use a network of your own, such as "
		"the phone's hotspot.\n\n"
		"The first line says where it is. It ends with Ctrl-C.",
	.options = options,
	.examples =
		"$ fettle bench\n$ fettle bench --listen 192.168.7.4 --book van.sqlite\n$ fettle bench --book office.sqlite --audits audits/",
	.least = 0,
	.most = 0,
	.run = run,
};
