/* SPDX-License-Identifier: Apache-2.0 */
/* Finds the command, sorts options from arguments, runs it. */
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli.h"
#include "help.h"

static const struct cli_option common[] = {
	{ "book", "FILE", "the book to use instead of the usual one" },
	{ "json", NULL, "print one JSON document instead of sentences" },
	{ "help", NULL, "say what the command does and how" },
	{ NULL, NULL, NULL },
};

static const struct cli_verb *find_verb(const char *name)
{
	for (int i = 0; cli_verbs[i]; i++)
		if (strcmp(cli_verbs[i]->name, name) == 0)
			return cli_verbs[i];
	return NULL;
}

static const struct cli_option *find_option(const struct cli_option *o, const char *name, size_t n)
{
	for (; o && o->name; o++)
		if (strlen(o->name) == n && memcmp(o->name, name, n) == 0)
			return o;
	return NULL;
}

/* Takes one option at argv[i]; returns the index of the last word it used, or -1. */
static int take_option(struct cli *c, int argc, char **argv, int i)
{
	const char *name = argv[i] + (argv[i][1] == '-' ? 2 : 1);
	size_t n = strcspn(name, "=");
	const struct cli_option *o = find_option(common, name, n);
	const char *value = name[n] == '=' ? name + n + 1 : NULL;

	if (!o && c->verb)
		o = find_option(c->verb->options, name, n);
	if (!o) {
		cli_usage(c, "%s knows no option %s; fettle %s --help lists them.", c->verb ? c->verb->name : "fettle", argv[i],
		          c->verb ? c->verb->name : "");
		return -1;
	}
	if (o->argument && !value) {
		if (i + 1 >= argc) {
			cli_usage(c, "The option %s needs a %s behind it.", argv[i], o->argument);
			return -1;
		}
		value = argv[++i];
	} else if (!o->argument && value) {
		cli_usage(c, "The option --%s takes no value.", o->name);
		return -1;
	}
	if (c->given_count >= CLI_OPTIONS_MAX) {
		cli_usage(c, "More than %d options were given.", CLI_OPTIONS_MAX);
		return -1;
	}
	c->given[c->given_count].option = o;
	c->given[c->given_count++].value = value ? value : "";
	return i;
}

static bool is_option(const char *word)
{
	return word[0] == '-' && word[1] != 0;
}

/* The verb is the first word that is neither an option nor the value of a common one. */
static int find_verb_word(int argc, char **argv)
{
	for (int i = 1; i < argc; i++) {
		if (!is_option(argv[i]))
			return i;
		if (strcmp(argv[i], "--book") == 0)
			i++;
	}
	return 0;
}

static bool sort_words(struct cli *c, int argc, char **argv, int verb_at)
{
	bool options_over = false;

	for (int i = 1; i < argc; i++) {
		if (i == verb_at)
			continue;
		if (!options_over && strcmp(argv[i], "--") == 0) {
			options_over = true;
		} else if (!options_over && is_option(argv[i])) {
			i = take_option(c, argc, argv, i);
			if (i < 0)
				return false;
		} else {
			c->arguments[c->count++] = argv[i];
		}
	}
	return true;
}

static void look_at_terminal(struct cli *c)
{
	struct winsize w;
	const char *no = getenv("NO_COLOR");

	c->columns = 80;
	if (isatty(STDOUT_FILENO)) {
		c->colour = !no || !*no;
		if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col >= 40)
			c->columns = w.ws_col > 100 ? 100 : w.ws_col;
	}
}

/* Only options, or nothing at all. */
static int without_verb(struct cli *c, int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "--version") == 0)
		return puts("fettle " FT_VERSION) < 0 ? FT_E_STORE : FT_OK;
	for (int i = 1; i < argc; i++)
		if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0)
			return help_page(stdout, FT_OK);
	if (argc == 1)
		return help_page(stderr, FT_E_USAGE);
	cli_usage(c, "No command was given; fettle --help lists them.");
	return cli_failed(c);
}

/* The folder of the usual book is made on first use; where a book was named, a folder that is not there is a slip. */
static bool book_has_place(struct cli *c)
{
	char *copy = c->book && !strstr(c->book, "://") ? ft_arena_text(&c->arena, ft_slice_of(c->book)) : NULL;
	struct stat st;

	if (!copy || (stat(copy = dirname(copy), &st) == 0 && S_ISDIR(st.st_mode)))
		return true;
	ft_fail(&c->error, FT_E_STORE, "There is no folder %s for the book %s; look at the name or make the folder.", copy,
	        c->book);
	return false;
}

static int run(struct cli *c, int argc, char **argv)
{
	int at = find_verb_word(argc, argv);

	c->arguments = ft_arena_array(&c->arena, (size_t)argc + 1, sizeof *c->arguments);
	if (!c->arguments) {
		ft_fail_memory(&c->error, "the command line");
		return cli_failed(c);
	}
	if (at)
		c->verb = find_verb(argv[at]);
	for (int i = 1; i < argc; i++)
		c->json |= strcmp(argv[i], "--json") == 0;
	if (!at)
		return without_verb(c, argc, argv);
	if (strcmp(argv[at], "help") == 0)
		return help_command(argc - at - 1, argv + at + 1);
	if (!c->verb) {
		cli_usage(c, "fettle has no command %s; fettle --help lists them.", argv[at]);
		return cli_failed(c);
	}
	if (!sort_words(c, argc, argv, at))
		return cli_failed(c);
	if (cli_flag(c, "help"))
		return help_verb(c->verb, stdout);
	c->book = cli_value(c, "book");
	if (c->count < c->verb->least || (c->verb->most >= 0 && c->count > c->verb->most)) {
		cli_usage(c, "%s for %s; it is used so: fettle %s%s%s",
		          c->count < c->verb->least ? "Too few words" : "Too many words", c->verb->name, c->verb->name,
		          *c->verb->arguments ? " " : "", c->verb->arguments);
		return cli_failed(c);
	}
	return book_has_place(c) ? c->verb->run(c) : cli_failed(c);
}

int main(int argc, char **argv)
{
	struct cli c = { 0 };
	int code;

	look_at_terminal(&c);
	code = run(&c, argc, argv);
	/* the highest code wins: "contradicted" must not hide that nobody got to read it */
	if ((fflush(stdout) != 0 || ferror(stdout)) && code < FT_E_STORE) {
		fputs("fettle: standard output could not be written.\n", stderr);
		code = FT_E_STORE;
	}
	ft_arena_done(&c.arena);
	return code;
}
