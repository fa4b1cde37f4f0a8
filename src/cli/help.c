/* SPDX-License-Identifier: Apache-2.0 */
#include "help.h"

#include <stdlib.h>
#include <string.h>

#define RELEASED "2026-11-25" /* day of FT_VERSION, for the man pages */

/* How the program ends, by enum ft_status. */
static const char *const exit_codes[] = {
	"nothing contradicted", "something contradicted", "wrong usage",
	"unreadable input",     "line or port failed",    "book or disk failed",
};
enum { EXIT_CODES = sizeof exit_codes / sizeof *exit_codes };

enum { PAGE_COLUMNS = 80, NAME_COLUMNS = 26 };

/* Stands for a blank at which no line may end. */
#define GLUE '\x1f'

static bool is_capital(char ch)
{
	return ch >= 'A' && ch <= 'Z';
}

/* An option and its argument stay in one line, and so does what stands in brackets. */
static void put_glued(struct ft_buf *b, const char *text)
{
	int depth = 0;

	for (const char *word = text; *text; text++) {
		bool option = *word == '-' && is_capital(text[1]);
		if (*text == '[' || *text == ']')
			depth += *text == '[' ? 1 : -1;
		ft_buf_byte(b, *text == ' ' && (depth > 0 || option) ? GLUE : *text);
		if (*text == ' ' || *text == '[' || *text == '(')
			word = text + 1;
	}
}

/* Text wrapped between the columns `indent` and PAGE_COLUMNS, ended by a line end. What stands in the first line
 * before it is printed already and is as long as `indent`. */
static void print_wrapped(FILE *to, const char *text, int indent)
{
	struct ft_buf all = { 0 };
	struct ft_buf b = { 0 };

	put_glued(&all, text);
	ft_buf_byte(&all, 0);
	if (all.status == FT_OK)
		ft_wrap(&b, all.p, PAGE_COLUMNS, indent);
	ft_buf_byte(&b, '\n');
	for (size_t i = 0; b.status == FT_OK && i < b.n; i++)
		fputc(b.p[i] == GLUE ? ' ' : b.p[i], to);
	ft_buf_done(&b);
	ft_buf_done(&all);
}

/* Paragraphs, separated by blank lines in the table. */
static void print_paragraphs(FILE *to, const char *about)
{
	while (*about) {
		const char *end = strstr(about, "\n\n");
		size_t n = end ? (size_t)(end - about) : strlen(about);
		char *one = strndup(about, n);
		if (!one)
			return;
		print_wrapped(to, one, 0);
		free(one);
		about += n;
		while (*about == '\n')
			about++;
		if (*about)
			fputc('\n', to);
	}
}

static void print_exit_codes(FILE *to)
{
	fputs("\nExit codes:\n", to);
	for (int i = 0; i < EXIT_CODES; i++)
		fprintf(to, "  %d  %s\n", i, exit_codes[i]);
}

int help_page(FILE *to, int code)
{
	fputs("fettle: an independent bench for fitting and proving vending machines.\n\n"
	      "Usage: fettle [--book FILE] [--json] COMMAND [options] [arguments]\n\nCommands:\n",
	      to);
	for (int i = 0; cli_verbs[i]; i++)
		fprintf(to, "  %-10s %s\n", cli_verbs[i]->name, cli_verbs[i]->summary);
	fputs("\nfettle COMMAND --help says more about one.\n", to);
	print_exit_codes(to);
	return code;
}

/* The next way of use, cut off *arguments at a " | " outside brackets; NULL behind the last. */
static char *next_use(const char **arguments)
{
	const char *start = *arguments, *p = start;
	int depth = 0;

	if (!p)
		return NULL;
	for (; *p && (depth > 0 || strncmp(p, " | ", 3) != 0); p++)
		depth += (*p == '[' || *p == '(') - (*p == ']' || *p == ')');
	*arguments = *p ? p + 3 : NULL;
	return strndup(start, (size_t)(p - start));
}

static void print_uses(FILE *to, const struct cli_verb *v)
{
	const char *rest = v->arguments;
	char *one;

	for (const char *before = "Usage:"; (one = next_use(&rest)); before = "      ") {
		int n = fprintf(to, "%s fettle %s%s", before, v->name, *one ? " " : "");
		print_wrapped(to, one, n);
		free(one);
	}
}

static void print_rows(FILE *to, const struct cli_verb *v)
{
	struct cli_row r;
	const char *heading = "";
	int n;

	for (size_t i = 0; v->rows && v->rows(i, &r); i++) {
		if (strcmp(heading, r.heading) != 0)
			fprintf(to, "\n%s\n", r.heading);
		heading = r.heading;
		n = fprintf(to, "  %s%s%s", r.name, *r.behind ? " " : "", r.behind);
		if (n > 2 + NAME_COLUMNS)
			n = fprintf(to, "\n") - 1;
		fprintf(to, "%*s", NAME_COLUMNS + 4 - n, "");
		print_wrapped(to, r.does, NAME_COLUMNS + 4);
	}
}

int help_verb(const struct cli_verb *v, FILE *to)
{
	print_wrapped(to, v->summary, fprintf(to, "fettle %s: ", v->name));
	fputc('\n', to);
	print_uses(to, v);
	fputc('\n', to);
	print_paragraphs(to, v->about);
	fputs("\nOptions:\n", to);
	for (const struct cli_option *o = v->options; o && o->name; o++) {
		fprintf(to, "  %s%s%s%s\n      ", o->name[1] ? "--" : "-", o->name, o->argument ? " " : "",
		        o->argument ? o->argument : "");
		print_wrapped(to, o->help, 6);
	}
	fputs("  --book FILE, --json, --help\n      as for every command\n", to);
	if (v->examples) {
		size_t n = strlen(v->examples);
		while (n && v->examples[n - 1] == '\n')
			n--;
		fprintf(to, "\nExamples:\n%.*s\n", (int)n, v->examples);
	}
	print_rows(to, v);
	print_exit_codes(to);
	return FT_OK;
}

/* Text with what roff would take for its own escaped; a blank line begins a paragraph. */
static void roff(FILE *to, const char *text)
{
	bool start = true;

	for (; *text; text++) {
		if (text[0] == '\n' && text[1] == '\n') {
			fputs("\n.PP", to);
			while (text[1] == '\n')
				text++;
		}
		if (start && (*text == '.' || *text == '\''))
			fputs("\\&", to);
		if (*text == '\\')
			fputs("\\e", to);
		else if (*text == '-')
			fputs("\\-", to);
		else
			fputc(*text, to);
		start = *text == '\n';
	}
}

static void man_exit_codes(FILE *to)
{
	fputs(".SH EXIT STATUS\n", to);
	for (int i = 0; i < EXIT_CODES; i++)
		fprintf(to, ".TP\n.B %d\n%s\n", i, exit_codes[i]);
}

static void man_rows(const struct cli_verb *v, FILE *to)
{
	struct cli_row r;
	const char *heading = "";

	for (size_t i = 0; v->rows && v->rows(i, &r); i++) {
		if (strcmp(heading, r.heading) != 0) {
			fputs(".SH ", to);
			roff(to, r.heading);
			fputc('\n', to);
		}
		heading = r.heading;
		fputs(".TP\n.B ", to);
		roff(to, r.name);
		fputs(*r.behind ? " " : "", to);
		roff(to, r.behind);
		fputc('\n', to);
		roff(to, r.does);
		fputc('\n', to);
	}
}

static void man_verb(const struct cli_verb *v, FILE *to)
{
	const char *rest = v->arguments;
	char *one;

	fprintf(to, ".TH FETTLE\\-%s 1 " RELEASED " \"fettle " FT_VERSION "\"\n.SH NAME\nfettle\\-%s \\- ", v->name,
	        v->name);
	roff(to, v->summary);
	fputs("\n.SH SYNOPSIS\n", to);
	for (const char *br = ""; (one = next_use(&rest)); br = ".br\n") {
		fprintf(to, "%s.B fettle %s\n", br, v->name);
		roff(to, one);
		fputs(*one ? "\n" : "", to);
		free(one);
	}
	fputs(".SH DESCRIPTION\n", to);
	roff(to, v->about);
	fputs("\n.SH OPTIONS\n", to);
	for (const struct cli_option *o = v->options; o && o->name; o++) {
		fprintf(to, ".TP\n.B \\-%s%s%s%s\n", o->name[1] ? "\\-" : "", o->name, o->argument ? " " : "",
		        o->argument ? o->argument : "");
		roff(to, o->help);
		fputc('\n', to);
	}
	fputs(".TP\n.B \\-\\-book FILE, \\-\\-json, \\-\\-help\nas for every command\n", to);
	if (v->examples) {
		fputs(".SH EXAMPLES\n.nf\n", to);
		roff(to, v->examples);
		fputs("\n.fi\n", to);
	}
	man_rows(v, to);
	man_exit_codes(to);
}

static void man_page(FILE *to)
{
	fputs(".TH FETTLE 1 " RELEASED " \"fettle " FT_VERSION
	      "\"\n.SH NAME\nfettle \\- bench for fitting and proving vending machines\n"
	      ".SH SYNOPSIS\n.B fettle\n[\\-\\-book FILE] [\\-\\-json] COMMAND [options] [arguments]\n.SH COMMANDS\n",
	      to);
	for (int i = 0; cli_verbs[i]; i++) {
		fprintf(to, ".TP\n.B %s\n", cli_verbs[i]->name);
		roff(to, cli_verbs[i]->summary);
		fputc('\n', to);
	}
	man_exit_codes(to);
}

int help_command(int argc, char **argv)
{
	bool man = false;
	const char *name = NULL;

	for (int i = 0; i < argc; i++) {
		if (strcmp(argv[i], "--man") == 0)
			man = true;
		else
			name = argv[i];
	}
	if (!name && man) {
		man_page(stdout);
		return FT_OK;
	}
	if (!name)
		return help_page(stdout, FT_OK);
	for (int i = 0; cli_verbs[i]; i++) {
		if (strcmp(cli_verbs[i]->name, name) != 0)
			continue;
		if (man)
			man_verb(cli_verbs[i], stdout);
		else
			help_verb(cli_verbs[i], stdout);
		return FT_OK;
	}
	fprintf(stderr, "fettle: fettle has no command %s; fettle --help lists them.\n", name);
	return FT_E_USAGE;
}
