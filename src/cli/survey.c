/* SPDX-License-Identifier: Apache-2.0 */
/* Can each machine be fitted, and with what? */
#include <stdlib.h>
#include <unistd.h>

#include "survey.h"
#include "verbs.h"

/* Reads one table; what is to be said of it goes to standard error. */
static enum ft_status read_table(struct survey_run *d, enum ft_table t, const char *path)
{
	struct cli *c = d->c;
	struct ft_table_notes notes = { 0 };
	struct ft_slice bytes;
	enum ft_status s = cli_read_file(c, path, ft_table_word(t), FT_CSV_BYTES_MAX, &bytes);

	if (s == FT_OK)
		s = ft_table_read(t, bytes, path, &c->arena, &d->catalogue, &notes, &c->error);
	for (size_t i = 0; i < notes.count && (notes.list[i].wrong ? notes.wrong > 1 : !c->json); i++)
		fprintf(stderr, "%s\n", notes.list[i].sentence);
	if (notes.dropped)
		fprintf(stderr, "%s: and %zu more.\n", path, notes.dropped);
	return s;
}

static enum ft_status read_folder(struct survey_run *d, const char *folder)
{
	struct cli *c = d->c;
	const char *path = ft_arena_printf(&c->arena, "%s/priors.csv", folder);
	const char *given = cli_value(c, "priors");
	struct ft_slice bytes;
	enum ft_status s = FT_OK;

	for (int t = 0; s == FT_OK && t < FT_TABLE_SURVEY; t++) {
		const char *table = ft_arena_printf(&c->arena, "%s/%s.csv", folder, ft_table_word((enum ft_table)t));
		bool needed = t == FT_TABLE_FAMILIES || t == FT_TABLE_UNITS;
		if (!table || !path)
			return ft_fail_memory(&c->error, "reading the catalogue");
		if (needed || access(table, F_OK) == 0)
			s = read_table(d, (enum ft_table)t, table);
	}
	if (given)
		path = given;
	if (s == FT_OK && path && (given || access(path, F_OK) == 0)) {
		s = cli_read_file(c, path, "the priors", FT_CSV_BYTES_MAX, &bytes);
		if (s == FT_OK)
			s = ft_survey_priors_read(bytes, path, &c->arena, &d->priors, &c->error);
	}
	return s;
}

static int by_worth(const void *a, const void *b)
{
	const struct survey_question *x = a, *y = b;

	if (x->question->worth_min != y->question->worth_min)
		return x->question->worth_min < y->question->worth_min ? 1 : -1;
	if (x->machine != y->machine)
		return x->machine < y->machine ? -1 : 1;
	return (x->question > y->question) - (x->question < y->question);
}

static enum ft_status rank_questions(struct survey_run *d)
{
	size_t n = 0;

	for (size_t i = 0; i < d->count; i++)
		n += d->machines[i].question_count;
	d->questions = FT_NEW_ARRAY(&d->c->arena, n + 1, struct survey_question);
	if (!d->questions)
		return ft_fail_memory(&d->c->error, "ranking the questions");
	for (size_t i = 0; i < d->count; i++)
		for (size_t k = 0; k < d->machines[i].question_count; k++)
			d->questions[d->question_count++] =
				(struct survey_question){ &d->machines[i], &d->machines[i].questions[k], 0 };
	qsort(d->questions, d->question_count, sizeof *d->questions, by_worth);
	for (size_t i = 0; i < d->question_count; i++)
		d->questions[i].rank = i + 1;
	return FT_OK;
}

static enum ft_status judge_all(struct survey_run *d)
{
	struct cli *c = d->c;
	const char *asset = cli_value(c, "asset");
	enum ft_status s = ft_survey_begin(&d->catalogue, &d->priors, &c->arena, &d->survey, &c->error);

	if (!d->catalogue.row_count)
		return ft_fail(&c->error, FT_E_INPUT,
		               "%s names no machine; fettle survey --template survey prints a table to fill in.", d->name);
	d->machines = FT_NEW_ARRAY(&c->arena, d->catalogue.row_count + 1, struct ft_survey_machine);
	if (!d->machines)
		return ft_fail_memory(&c->error, "judging the survey");
	for (size_t i = 0; s == FT_OK && i < d->catalogue.row_count; i++) {
		const struct ft_survey_row *row = &d->catalogue.rows[i];
		if (!asset || ft_slice_eq_nocase(row->asset, ft_slice_of(asset)))
			s = ft_survey_judge(d->survey, row, d->name, &c->arena, &d->machines[d->count++], &c->error);
	}
	if (s == FT_OK && asset && !d->count)
		s = ft_fail(&c->error, FT_E_USAGE, "%s has no machine %s.", d->name, asset);
	return s == FT_OK ? rank_questions(d) : s;
}

static int template(struct cli *c, const char *word)
{
	struct ft_survey_priors priors;
	struct ft_buf out = { 0 };
	enum ft_table t;

	if (strcmp(word, "priors") == 0) {
		ft_survey_priors(&priors);
		ft_survey_priors_write(&priors, &out);
	} else if (ft_table_parse(ft_slice_of(word), &t)) {
		ft_table_template(t, &out);
	} else {
		cli_usage(c, "--template takes families, units, parts, leads, technicians, survey or priors, not \"%s\".",
		          word);
		return cli_failed(c);
	}
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return FT_OK;
}

static enum ft_status write_record(struct survey_run *d, const char *path)
{
	struct ft_buf out = { 0 };
	enum ft_status s;

	ft_survey_record(d->survey, d->machines[0].row, &out);
	s = out.status == FT_OK ? cli_write_file(d->c, path, ft_buf_text(&out))
							: ft_fail_memory(&d->c->error, "writing the record");
	ft_buf_done(&out);
	return s;
}

enum ft_status survey_gather(struct survey_run *d, const char *folder)
{
	enum ft_status s;

	d->name = d->c->arguments[0];
	ft_survey_priors(&d->priors);
	s = read_folder(d, folder);
	if (s == FT_OK)
		s = read_table(d, FT_TABLE_SURVEY, d->name);
	return s == FT_OK ? judge_all(d) : s;
}

static int run(struct cli *c)
{
	struct survey_run *d = FT_NEW(&c->arena, struct survey_run);
	const char *word = cli_value(c, "template"), *folder = cli_value(c, "catalogue"), *record = cli_value(c, "record");
	enum ft_status s;

	if (word)
		return template(c, word);
	if (!c->count || !folder) {
		cli_usage(
			c,
			"Name the survey and, with --catalogue, the folder of its catalogues; fettle survey --template survey "
			"prints a table to fill in.");
		return cli_failed(c);
	}
	if (record && !cli_value(c, "asset")) {
		cli_usage(c, "--record is of one machine; name it with --asset.");
		return cli_failed(c);
	}
	if (!d)
		return ft_fail_memory(&c->error, "judging the survey"), cli_failed(c);
	d->c = c;
	s = survey_gather(d, folder);
	if (s == FT_OK && record)
		s = write_record(d, record);
	if (s != FT_OK)
		return cli_failed(c);
	d->record = record;
	return c->json ? survey_documents(d) : survey_print(d);
}

static const struct cli_option options[] = {
	{ "catalogue", "DIR", "folder with families.csv, units.csv, parts.csv, leads.csv" },
	{ "asset", "NUMBER", "only this machine, with all that is to be said of it" },
	{ "all", NULL, "the reasons and the kit of every machine" },
	{ "questions", "N", "how many questions to list; 8 if not given" },
	{ "priors", "FILE", "chances of what nobody knows, instead of priors.csv of the folder" },
	{ "record", "FILE", "write the machine's record, evidence for its visit" },
	{ "template", "NAME", "print families, units, parts, leads, technicians, survey or priors to fill in" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_survey = {
	.name = "survey",
	.arguments = "FILE.csv --catalogue DIR | --template NAME",
	.summary = "can each machine be fitted, and with what",
	.about =
		"Takes what is known of each machine, some of it not, and says whether it can be fitted: ready, with-parts, "
		"with-update, look-first or cannot, with the reasons, the kit, the minutes on site, and the questions whose answers "
		"would change the plan most.\n\n"
		"Tables are CSV as spreadsheets write them, with their columns in any order. A field that is empty or a ? is not known "
		"and is not guessed: it gets a chance, learned from the machines of the same family in the same file.\n\n"
		"Exit code 1: at least one machine cannot be fitted, and the last line says how many. Chances, weights and the column "
		"what of --template priors are told in docs/survey.md.\n\n"
		"The record of a machine (--record) holds its row and the rows of the catalogue it was judged by; added to a visit "
		"it shows or contradicts that the machine can be fitted.",
	.options = options,
	.examples = "$ fettle survey --template survey > fleet.csv\n$ fettle survey fleet.csv --catalogue catalogue\n"
				"$ fettle survey fleet.csv --catalogue catalogue --asset A-1001 \\\n"
				"      --record A-1001.survey\n",
	.least = 0,
	.most = 1,
	.run = run,
};
