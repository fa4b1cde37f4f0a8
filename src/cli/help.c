/* SPDX-License-Identifier: Apache-2.0 */
#include "help.h"

#include <stdlib.h>
#include <string.h>

static const char exit_codes[] =
	"0 nothing contradicted, 1 something contradicted, 2 wrong usage, 3 unreadable input, 4 line or port failed, "
	"5 book or disk failed.";

static void print_wrapped(FILE *to, const char *text, int indent)
{
	struct ft_buf b = { 0 };

	ft_wrap(&b, text, 78, indent);
	fprintf(to, "%*s%.*s\n", indent, "", FT_P(ft_buf_text(&b)));
	ft_buf_done(&b);
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
		print_wrapped(to, one, indent);
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
	      "Usage: fettle [--book FILE] [--json] COMMAND [options] [arguments]\n\nCommands:\n", to);
	for (int i = 0; cli_verbs[i]; i++)
		fprintf(to, "  %-10s %s\n", cli_verbs[i]->name, cli_verbs[i]->summary);
	fputs("\nfettle COMMAND --help says more about one. Exit codes: ", to);
	print_wrapped(to, exit_codes, 0);
	return code;
}

int help_verb(const struct cli_verb *v, FILE *to)
{
	fprintf(to, "fettle %s: %s.\n\nUsage: fettle %s %s\n\n", v->name, v->summary, v->name, v->arguments);
	print_paragraphs(to, v->about, 0);
	fputs("\nOptions:\n", to);
	for (const struct cli_option *o = v->options; o && o->name; o++) {
		char left[64];
		snprintf(left, sizeof left, "%s%s%s%s", o->name[1] ? "--" : "-", o->name, o->argument ? " " : "",
		         o->argument ? o->argument : "");
		fprintf(to, "  %s\n", left);
		print_wrapped(to, o->help, 6);
	}
	fputs("  --book FILE, --json, --help\n      as for every command\n", to);
	if (v->examples)
		fprintf(to, "\nExamples:\n%s\n", v->examples);
	fputs("\nExit codes: ", to);
	print_wrapped(to, exit_codes, 0);
	return FT_OK;
}

/* Text with what roff would take for its own escaped. */
static void roff(FILE *to, const char *text)
{
	bool start = true;

	for (; *text; text++) {
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
	fprintf(to, ".TH FETTLE\\-%s 1 \"\" \"fettle " FT_VERSION "\"\n.SH NAME\nfettle\\-%s \\- ", v->name, v->name);
	roff(to, v->summary);
	fprintf(to, "\n.SH SYNOPSIS\n.B fettle %s\n", v->name);
	roff(to, v->arguments);
	fputs("\n.SH DESCRIPTION\n", to);
	for (const char *p = v->about; *p; p++) {
		if (p[0] == '\n' && p[1] == '\n') {
			fputs("\n.PP\n", to);
			p++;
		} else {
			char one[2] = { *p, 0 };
			roff(to, one);
		}
	}
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
	fputs(".TH FETTLE 1 \"\" \"fettle " FT_VERSION "\"\n.SH NAME\nfettle \\- bench for fitting and proving vending machines\n"
	      ".SH SYNOPSIS\n.B fettle\n[\\-\\-book FILE] [\\-\\-json] COMMAND [options] [arguments]\n.SH COMMANDS\n", to);
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
	fprintf(stderr, "fettle has no command %s; fettle --help lists them.\n", name);
	return FT_E_USAGE;
}
