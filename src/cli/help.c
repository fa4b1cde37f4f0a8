/* SPDX-License-Identifier: Apache-2.0 */
#include "help.h"

#include <stdlib.h>
#include <string.h>

#define RELEASED "2026-11-25" /* day of FT_VERSION, for the man pages */

static const char exit_codes[] =
	"0 nothing contradicted, 1 something contradicted, 2 wrong usage, 3 unreadable input, 4 line or port failed, "
	"5 book or disk failed.";

enum { PAGE_COLUMNS = 78 };

/* `before` opens the first line and is counted; the following lines begin at `indent`. */
static void print_wrapped(FILE *to, const char *before, const char *text, int indent, int first)
{
	struct ft_buf all = { 0 };
	struct ft_buf b = { 0 };

	ft_buf_puts(&all, before);
	ft_buf_puts(&all, text);
	ft_buf_byte(&all, 0);
	if (all.status == FT_OK)
		ft_wrap(&b, all.p, PAGE_COLUMNS, indent);
	fprintf(to, "%*s%.*s\n", first, "", FT_P(ft_buf_text(&b)));
	ft_buf_done(&b);
	ft_buf_done(&all);
}

/* Paragraphs, separated by blank lines in the table. */
static void print_paragraphs(FILE *to, const char *about, int indent)
{
	while (*about) {
		const char *end = strstr(about, "\n\n");
		size_t n = end ? (size_t)(end - about) : strlen(about);
		char *one = strndup(about, n);
		if (!one)
			return;
		print_wrapped(to, "", one, indent, indent);
		free(one);
		about += n;
		while (*about == '\n')
			about++;
		if (*about)
			fputc('\n', to);
	}
}

int help_page(FILE *to, int code)
{
	fputs("fettle: an independent bench for fitting and proving vending machines.\n\n"
	      "Usage: fettle [--book FILE] [--json] COMMAND [options] [arguments]\n\nCommands:\n",
	      to);
	for (int i = 0; cli_verbs[i]; i++)
		fprintf(to, "  %-10s %s\n", cli_verbs[i]->name, cli_verbs[i]->summary);
	fputs("\nfettle COMMAND --help says more about one.\n\n", to);
	print_wrapped(to, "Exit codes: ", exit_codes, 0, 0);
	return code;
}

int help_verb(const struct cli_verb *v, FILE *to)
{
	char before[48];

	snprintf(before, sizeof before, "fettle %s: ", v->name);
	print_wrapped(to, before, v->summary, 0, 0);
	fputc('\n', to);
	snprintf(before, sizeof before, "Usage: fettle %s ", v->name);
	print_wrapped(to, before, v->arguments, 7, 0);
	fputc('\n', to);
	print_paragraphs(to, v->about, 0);
	fputs("\nOptions:\n", to);
	for (const struct cli_option *o = v->options; o && o->name; o++) {
		char left[64];
		snprintf(left, sizeof left, "%s%s%s%s", o->name[1] ? "--" : "-", o->name, o->argument ? " " : "",
		         o->argument ? o->argument : "");
		fprintf(to, "  %s\n", left);
		print_wrapped(to, "", o->help, 6, 6);
	}
	fputs("  --book FILE, --json, --help\n      as for every command\n", to);
	if (v->examples)
		fprintf(to, "\nExamples:\n%s\n", v->examples);
	fputc('\n', to);
	print_wrapped(to, "Exit codes: ", exit_codes, 0, 0);
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

static void man_verb(const struct cli_verb *v, FILE *to)
{
	fprintf(to, ".TH FETTLE\\-%s 1 " RELEASED " \"fettle " FT_VERSION "\"\n.SH NAME\nfettle\\-%s \\- ", v->name,
	        v->name);
	roff(to, v->summary);
	fprintf(to, "\n.SH SYNOPSIS\n.B fettle %s\n", v->name);
	if (*v->arguments) {
		roff(to, v->arguments);
		fputc('\n', to);
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
	fputs(".SH EXIT STATUS\n", to);
	roff(to, exit_codes);
	fputc('\n', to);
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
	fputs(".SH EXIT STATUS\n", to);
	roff(to, exit_codes);
	fputc('\n', to);
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
