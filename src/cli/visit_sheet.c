/* SPDX-License-Identifier: Apache-2.0 */
/* fettle visit sheet: the machine, the unit and every harness between on one page. */
#include "visit_sheet.h"

#include <string.h>
#include <unistd.h>

#include "fettle/store.h"
#include "fettle/survey.h"
#include "fettle/wiring.h"

/* The tables of the folder that are there; a visit may do without any of them. */
static bool read_catalogue(struct cli *c, const char *folder, struct ft_catalogue *ret)
{
	struct ft_table_notes notes = { 0 };
	int found = 0;

	for (int t = 0; t < FT_TABLE_COUNT; t++) {
		const char *path = ft_arena_printf(&c->arena, "%s/%s.csv", folder, ft_table_word((enum ft_table)t));
		struct ft_slice bytes;
		if (!path)
			return ft_fail_memory(&c->error, "reading the catalogues") == FT_OK;
		if (access(path, F_OK) != 0)
			continue;
		found++;
		if (cli_read_file(c, path, "the catalogue", FT_CSV_BYTES_MAX, &bytes) != FT_OK ||
		    ft_table_read((enum ft_table)t, bytes, path, &c->arena, ret, &notes, &c->error) != FT_OK)
			return false;
	}
	if (!found)
		ft_fail(
			&c->error, FT_E_INPUT,
			"There is no table in %s; the folder holds survey.csv, families.csv, units.csv, parts.csv or leads.csv.",
			folder);
	return found > 0;
}

/* A survey row that was added to the visit counts before the one of the folder; a record brings its catalogue along. */
static bool read_survey(struct cli *c, const struct ft_visit *v, struct ft_catalogue *ret)
{
	struct ft_table_notes notes = { 0 };

	for (size_t i = v->evidence_count; i-- > 0;) {
		const struct ft_evidence *x = &v->evidence[i];
		if (x->kind == FT_EVIDENCE_SURVEY && x->bytes.p && ft_survey_is_record(x->bytes))
			return ft_survey_record_read(x->bytes, x->name, &c->arena, ret, &c->error) == FT_OK;
		if (x->kind == FT_EVIDENCE_SURVEY && x->bytes.p)
			return ft_table_read(FT_TABLE_SURVEY, x->bytes, x->name, &c->arena, ret, &notes, &c->error) == FT_OK;
	}
	return true;
}

static bool format_of(struct cli *c, const char *path, enum ft_wiring_format *ret, enum ft_sheet *ret_sheet)
{
	const char *paper = cli_value(c, "paper");
	size_t n = path ? strlen(path) : 0;

	if (!path)
		return cli_usage(c, "Say where the sheet is written: -o FILE.pdf or -o FILE.svg."), false;
	if (strcmp(path, "-") != 0 && (n < 5 || (strcmp(path + n - 4, ".pdf") != 0 && strcmp(path + n - 4, ".svg") != 0)))
		return cli_usage(c, "The sheet is written as a .pdf or a .svg file, not as \"%s\".", path), false;
	if (paper && strcmp(paper, "a4") != 0 && strcmp(paper, "letter") != 0)
		return cli_usage(c, "--paper is a4 or letter, not \"%s\".", paper), false;
	*ret = n > 4 && strcmp(path + n - 4, ".svg") == 0 ? FT_WIRING_SVG : FT_WIRING_PDF;
	*ret_sheet = paper && strcmp(paper, "letter") == 0 ? FT_SHEET_LETTER : FT_SHEET_A4;
	return true;
}

static void document(struct ft_json *j, const struct ft_visit *v, const struct ft_wiring *w, const char *path,
                     const struct ft_wiring_drawn *drawn)
{
	ft_visit_json(j, v);
	ft_json_object(j, "sheet");
	ft_json_text(j, "file", path);
	ft_json_bool(j, "surveyed", w->surveyed);
	ft_json_i64(j, "crowded", (int64_t)drawn->overlaps);
	ft_json_i64(j, "cut", (int64_t)drawn->cut);
	ft_json_array(j, "chain");
	for (size_t i = 0; i < w->chain->count; i++) {
		const struct ft_chain_knot *k = &w->chain->knots[i];
		ft_json_object(j, NULL);
		ft_json_text(j, "name", k->name);
		ft_json_bool(j, "unit", k->unit);
		ft_json_real(j, "length_m", k->length_m, 3);
		ft_json_real(j, "volts", k->volts[FT_SUPPLY_PEAK], 4);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "things");
	for (size_t i = 0; i < w->thing_count; i++) {
		ft_json_object(j, NULL);
		ft_json_text(j, "name", w->things[i].name);
		ft_json_text(j, "place", w->things[i].spot ? ft_spot_word(w->things[i].spot) : NULL);
		ft_json_bool(j, "known", w->things[i].there == FT_TRI_YES);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_array(j, "steps");
	for (size_t i = 0; i < w->step_count; i++) {
		ft_json_object(j, NULL);
		ft_json_i64(j, "number", w->steps[i].number);
		ft_json_text(j, "text", w->steps[i].text);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
	ft_json_object_end(j);
}

static int say(struct cli *c, const struct ft_visit *v, const struct ft_wiring *w, const char *path,
               const struct ft_wiring_drawn *drawn)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	struct ft_findings f = { .arena = &c->arena };
	enum ft_verdict verdict = drawn->overlaps ? FT_CONTRADICTED : FT_OPEN;
	size_t look = 0;
	int code;

	if (drawn->overlaps)
		ft_find(&f, FT_RULE_VISIT_SHEET_CROWDED, (struct ft_where){ .file = path },
		        ft_arena_printf(&c->arena, "%zu word%s on others, the first %s", drawn->overlaps,
		                        drawn->overlaps == 1 ? " that stands" : "s that stand", drawn->overlap),
		        NULL);
	if (c->json) {
		cli_document(c, &j, &out, verdict, &f);
		document(&j, v, w, path, drawn);
		code = cli_document_end(c, &j);
		return code ? code : cli_exit(verdict);
	}
	if (strcmp(path, "-") == 0) {
		if (drawn->overlaps)
			fputs("There is more on this machine than its wiring sheet holds: words stand on others.\n", stderr);
		return cli_exit(verdict);
	}
	for (size_t i = 0; i < w->thing_count; i++)
		look += w->things[i].there != FT_TRI_YES || w->things[i].spot == FT_SPOT_UNKNOWN;
	cli_say(c, "Drew the wiring sheet of %s as %s: %zu steps.", w->asset, path, w->step_count);
	if (drawn->cut)
		cli_say(c, "%zu text%s too long for the place and cut short.", drawn->cut, drawn->cut == 1 ? " was" : "s were");
	if (look)
		cli_say(c, "%zu of %zu things %s not known. fettle survey --help tells which columns say it.", look,
		        w->thing_count,
		        look == 1 ? "is drawn dashed: whether it is there or where it sits is"
		                  : "are drawn dashed: whether they are there or where they sit is");
	cli_print_findings(c, &f);
	return cli_exit(verdict);
}

int visit_sheet(struct cli *c)
{
	const char *path = cli_value(c, "o"), *folder = cli_value(c, "catalogue"), *book = cli_book_path(c), *id;
	struct ft_catalogue catalogue = { 0 };
	struct ft_wiring *w = FT_NEW(&c->arena, struct ft_wiring);
	enum ft_wiring_format format;
	enum ft_sheet sheet;
	struct ft_book *b = NULL;
	struct ft_visit v;
	struct ft_buf out = { 0 };
	struct ft_wiring_drawn drawn = { 0 };
	enum ft_status s;

	if (c->count != 2)
		return cli_usage(c, "visit sheet takes one visit: fettle visit sheet VISIT -o FILE.pdf."), cli_failed(c);
	if (!format_of(c, path, &format, &sheet))
		return cli_failed(c);
	if (c->json && strcmp(path, "-") == 0)
		return cli_usage(c, "Both the sheet and the document would go to standard output; name a file."), cli_failed(c);
	if (!w || !book)
		return ft_fail_memory(&c->error, "drawing the sheet"), cli_failed(c);
	s = ft_book_open(book, FT_BOOK_READ, &b, &c->error);
	if (s == FT_OK)
		s = ft_book_visit_find(b, c->arguments[1], &c->arena, &id, &c->error);
	if (s == FT_OK)
		s = ft_book_visit_load(b, id, FT_LOAD_ALL, &c->arena, &v, &c->error);
	ft_book_free(b);
	if (s != FT_OK || (folder && !read_catalogue(c, folder, &catalogue)) || !read_survey(c, &v, &catalogue) ||
	    ft_wiring_fill(&v, folder || catalogue.row_count ? &catalogue : NULL, &c->arena, w, &c->error) != FT_OK)
		return cli_failed(c);
	s = ft_wiring_draw(w, sheet, format, "fettle " FT_VERSION, &c->arena, &out, &drawn, &c->error);
	if (s == FT_OK)
		s = cli_write_file(c, path, ft_buf_text(&out));
	ft_buf_done(&out);
	return s == FT_OK ? say(c, &v, w, path, &drawn) : cli_failed(c);
}
