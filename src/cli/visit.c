/* SPDX-License-Identifier: Apache-2.0 */
/* fettle visit: the record of one visit, kept in the book. How it looks is visit_look.c's work. */
#include <string.h>

#include "fettle/store.h"
#include "fettle/time.h"
#include "visit_look.h"
#include "visit_sheet.h"
#include "verbs.h"

static bool open_book(struct cli *c, enum ft_book_mode mode, struct ft_book **ret)
{
	const char *path = cli_book_path(c);

	if (!path)
		return ft_fail_memory(&c->error, "the name of the book") == FT_OK;
	return ft_book_open(path, mode, ret, &c->error) == FT_OK;
}

static void say_lines(struct cli *c, struct ft_buf *out, const char *said)
{
	struct ft_slice rest = ft_slice_of(said), line;

	while (ft_slice_split(&rest, '\n', &line)) {
		const char *text = ft_arena_text(&c->arena, line);
		ft_wrap(out, text ? text : "", c->columns, 0);
		ft_buf_byte(out, '\n');
	}
	ft_buf_byte(out, '\n');
}

/* What is wrong with a number that was just set, before all else. */
static void say_numbers(struct cli *c, struct ft_buf *out, const struct ft_judgement *g)
{
	bool any = false;

	for (size_t i = 0; i < g->findings.count; i++) {
		const struct ft_finding *f = &g->findings.list[i];
		const char *at = f->where.element;
		if (f->weight == FT_NOTE || !at ||
		    !((cli_value(c, "sim") && strcmp(at, "SIM") == 0) || (cli_value(c, "unit") && strcmp(at, "unit") == 0) ||
		      (cli_value(c, "machine-serial") && strncmp(at, "ID10", 4) == 0)))
			continue;
		ft_finding_text(out, f, c->columns);
		any = true;
	}
	if (any)
		ft_buf_byte(out, '\n');
}

/* Loads, judges and prints the visit; the command's last act. `said` is what it did, for people. */
static int show_visit(struct cli *c, struct ft_book *b, const char *id, const char *said, enum visit_look look)
{
	struct ft_visit v;
	struct ft_judgement g;
	struct ft_buf out = { 0 };
	struct ft_json j;
	enum ft_status s = ft_book_visit_load(b, id, FT_LOAD_JUDGED, &c->arena, &v, &c->error);

	if (s == FT_OK)
		s = ft_visit_judge(&v, &c->arena, &g, &c->error);
	ft_book_free(b);
	if (s != FT_OK)
		return cli_failed(c);
	if (c->json) {
		cli_document(c, &j, &out, g.verdict, &g.findings);
		ft_visit_json(&j, &v);
		ft_claims_json(&j, &v, &g);
		return cli_document_end(c, &j) ? FT_E_STORE : cli_exit(g.verdict);
	}
	if (said)
		say_lines(c, &out, said);
	if (strcmp(c->arguments[0], "set") == 0)
		say_numbers(c, &out, &g);
	visit_look(c, &out, &v, &g, look);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return cli_exit(g.verdict);
}

static int give_up(struct cli *c, struct ft_book *b)
{
	ft_book_free(b);
	return cli_failed(c);
}

/* The word behind the sub-command that names the visit, as an id. */
static bool find(struct cli *c, struct ft_book *b, const char **ret_id)
{
	return ft_book_visit_find(b, c->arguments[1], &c->arena, ret_id, &c->error) == FT_OK;
}

static bool given_parts(struct cli *c, unsigned *ret)
{
	struct ft_slice bad;

	if (ft_parts_parse(ft_slice_of(cli_value(c, "without")), ret, &bad))
		return true;
	cli_usage(c, "--without knows door, temperature, antenna, card, bills, coins, bus and supply, not \"%.*s\".",
	          FT_P(bad));
	return false;
}

static const char *trimmed(struct cli *c, const char *text)
{
	struct ft_slice s = ft_slice_trim(ft_slice_of(text));

	return s.n ? ft_arena_text(&c->arena, s) : NULL;
}

/* A second open visit of one machine is nearly always the first one forgotten, and makes its asset ambiguous. */
static bool may_open(struct cli *c, struct ft_book *b, const char *asset)
{
	struct ft_visit *list;
	size_t count;
	char time[FT_TIME_TEXT];

	if (!asset || cli_flag(c, "again"))
		return true;
	if (ft_book_visit_list(b, FT_ABSENT, &c->arena, &list, &count, &c->error) != FT_OK)
		return false;
	for (size_t i = 0; i < count; i++) {
		if (list[i].closed_us != FT_ABSENT || !ft_slice_eq_nocase(ft_slice_of(list[i].asset), ft_slice_of(asset)))
			continue;
		ft_time_text(list[i].opened_us, list[i].opened_offset, time);
		return cli_usage(c,
		                 "The visit %s of %s is open since %.10s %.5s; go on with it: fettle visit show %s. For a "
		                 "second one add --again.",
		                 list[i].id, list[i].asset, time, time + 11, list[i].id),
			   false;
	}
	return true;
}

static int run_open(struct cli *c)
{
	struct ft_visit v = { .site = trimmed(c, cli_value(c, "site")),
		                  .technician = trimmed(c, cli_value(c, "by")),
		                  .machine_serial = trimmed(c, cli_value(c, "machine-serial")),
		                  .unit = trimmed(c, cli_value(c, "unit")),
		                  .sim = trimmed(c, cli_value(c, "sim")),
		                  .closed_us = FT_ABSENT };
	struct ft_book *b = NULL;
	const char *id;

	if (c->count != 2)
		return cli_usage(c, "visit open takes one asset number: fettle visit open ASSET."), cli_failed(c);
	v.asset = trimmed(c, c->arguments[1]);
	if (!given_parts(c, &v.without))
		return cli_failed(c);
	v.opened_us = cli_now(&v.opened_offset);
	if (!open_book(c, FT_BOOK_WRITE, &b) || !may_open(c, b, v.asset) ||
	    ft_book_visit_open(b, &v, &c->arena, &id, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id, ft_arena_printf(&c->arena, "Opened the visit %s.", id), VISIT_SHORT);
}

static int run_set(struct cli *c)
{
	unsigned parts = 0;
	struct ft_visit_change change = { .site = trimmed(c, cli_value(c, "site")),
		                              .technician = trimmed(c, cli_value(c, "by")),
		                              .machine_serial = trimmed(c, cli_value(c, "machine-serial")),
		                              .unit = trimmed(c, cli_value(c, "unit")),
		                              .sim = trimmed(c, cli_value(c, "sim")) };
	struct ft_book *b = NULL;
	const char *id;

	if (c->count != 2)
		return cli_usage(c, "visit set takes one visit: fettle visit set VISIT --unit S --sim S."), cli_failed(c);
	if (!given_parts(c, &parts))
		return cli_failed(c);
	change.without = cli_flag(c, "without") ? &parts : NULL;
	change.at_us = cli_now(NULL);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) || ft_book_visit_set(b, id, &change, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id, NULL, VISIT_SHORT);
}

/* Reads a file and finds out what it is. */
static bool take_file(struct cli *c, const char *path, const struct ft_visit *v, struct ft_evidence *x)
{
	const char *kind = cli_value(c, "kind"), *stage = cli_value(c, "stage"), *slash = strrchr(path, '/');
	struct ft_error *e = &c->error;

	x->name = slash ? slash + 1 : strcmp(path, "-") == 0 ? "standard input" : path;
	if (cli_read_file(c, path, "evidence", FT_EVIDENCE_BYTES_MAX, &x->bytes) != FT_OK)
		return false;
	if (kind && !ft_evidence_parse(ft_slice_of(kind), &x->kind))
		return cli_usage(
				   c,
				   "--kind knows audit, sales, trace, photograph, bus, temperature, signal, door, count, survey, supply and note, not \"%s\".",
				   kind),
			   false;
	if ((kind ? ft_evidence_accept(x->bytes, x->name, x->kind, &c->arena, e)
	          : ft_evidence_kind_of(x->bytes, x->name, &c->arena, &x->kind, e)) != FT_OK)
		return false;
	x->stage = ft_visit_stage_for(v, x->kind);
	if (stage && !ft_stage_parse(ft_slice_of(stage), &x->stage))
		return cli_usage(c, "--stage knows know, keep, fit, prove, hand-over and watch, not \"%s\".", stage), false;
	x->added_us = cli_now(&x->added_offset);
	return true;
}

static bool refile(struct cli *c, struct ft_book *b, const char *id, const struct ft_evidence *x)
{
	return ft_book_evidence_refile(b, id, x->number, x->kind, x->stage, x->added_us, &c->error) == FT_OK;
}

/* A file that is there already goes where it is asked for. The audit of before is the first under keep, so another one
 * that stands there before it takes its former stage. */
static bool file_anew(struct cli *c, struct ft_book *b, const char *id, struct ft_evidence *list, size_t had,
                      const struct ft_evidence *x, struct ft_buf *said)
{
	struct ft_evidence *was = list, want;

	while (was < list + had && was->number != x->number)
		was++;
	if (was == list + had) /* twice in one command */
		return ft_buf_printf(said, "%s was there already.", x->name), true;
	want = *was;
	want.added_us = x->added_us; /* when it is changed */
	if (cli_value(c, "stage"))
		want.stage = x->stage;
	if (cli_value(c, "kind"))
		want.kind = x->kind;
	if (want.stage == was->stage && want.kind == was->kind)
		return ft_buf_printf(said, "%s was there already, %s filed under %s.", x->name, ft_evidence_title(was->kind),
		                     ft_stage_word(was->stage)),
			   true;
	if (!refile(c, b, id, &want))
		return false;
	ft_buf_printf(said, "%s was there already; it is %s now, filed under %s.", x->name, ft_evidence_title(want.kind),
	              ft_stage_word(want.stage));
	for (struct ft_evidence *o = list;
	     want.kind == FT_EVIDENCE_AUDIT && want.stage == FT_STAGE_KEEP && was->stage != FT_STAGE_KEEP && o < was; o++) {
		if (o->kind != FT_EVIDENCE_AUDIT || o->stage != FT_STAGE_KEEP)
			continue;
		o->stage = was->stage;
		o->added_us = x->added_us;
		if (!refile(c, b, id, o))
			return false;
		ft_buf_printf(said, "\n%s stood there as the audit of before; it goes to %s.", o->name,
		              ft_stage_word(o->stage));
	}
	was->stage = want.stage;
	was->kind = want.kind;
	return true;
}

static int run_add(struct cli *c)
{
	struct ft_book *b = NULL;
	struct ft_visit v;
	struct ft_buf said = { 0 };
	const char *id, *text;
	size_t had, count = c->count > 2 ? (size_t)c->count - 2 : 0;
	bool *known = ft_arena_alloc(&c->arena, count + 1);

	if (!count)
		return cli_usage(c, "visit add takes a visit and files: fettle visit add VISIT FILE..."), cli_failed(c);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) ||
	    ft_book_visit_load(b, id, FT_LOAD_LIST, &c->arena, &v, &c->error) != FT_OK)
		return give_up(c, b);
	/* One list with what is there, so that each file's stage is found with the ones before it in sight. */
	had = v.evidence_count;
	struct ft_evidence *list = FT_NEW_ARRAY(&c->arena, had + count, struct ft_evidence);
	if (!list || !known)
		return ft_fail_memory(&c->error, "adding evidence"), give_up(c, b);
	if (had)
		memcpy(list, v.evidence, had * sizeof *list);
	v.evidence = list;
	for (size_t i = 0; i < count; i++, v.evidence_count++)
		if (!take_file(c, c->arguments[i + 2], &v, &list[had + i]))
			return give_up(c, b);
	if (ft_book_evidence_add(b, id, list + had, count, known, &c->error) != FT_OK)
		return give_up(c, b);
	for (size_t i = 0; i < count; i++) {
		const struct ft_evidence *x = &list[had + i];
		if (i)
			ft_buf_byte(&said, '\n');
		if (!known[i] && x->kind == FT_EVIDENCE_NOTE && !cli_value(c, "kind"))
			ft_buf_printf(&said,
			              "%s is plain text; nothing in it was recognised, and it is kept as a note, filed under %s.",
			              x->name, ft_stage_word(x->stage));
		else if (!known[i])
			ft_buf_printf(&said, "%s is %s, filed under %s.", x->name, ft_evidence_title(x->kind),
			              ft_stage_word(x->stage));
		else if (!file_anew(c, b, id, list, had, x, &said))
			return ft_buf_done(&said), give_up(c, b);
	}
	text = ft_arena_text(&c->arena, ft_buf_text(&said));
	ft_buf_done(&said);
	return show_visit(c, b, id, text, VISIT_SHORT);
}

/* A piece by its number or by the name of its file. */
static bool find_piece(struct cli *c, const struct ft_visit *v, const char *word, const struct ft_evidence **ret)
{
	int64_t number;
	bool counted = ft_slice_i64(ft_slice_of(word), &number);
	size_t found = 0;

	for (size_t i = 0; i < v->evidence_count; i++) {
		const struct ft_evidence *x = &v->evidence[i];
		if (counted ? x->number == number : strcmp(x->name, word) == 0) {
			*ret = x;
			found++;
		}
	}
	if (found > 1)
		cli_usage(c, "The visit %s has %zu pieces of evidence named %s; take the number: fettle visit show %s --all.",
		          v->id, found, word, v->id);
	if (!found)
		cli_usage(c, "The visit %s has no piece of evidence %s; fettle visit show %s --all lists them.", v->id, word,
		          v->id);
	return found == 1;
}

static int run_drop(struct cli *c)
{
	struct ft_taken_out x = { .because = trimmed(c, cli_value(c, "because")), .by = trimmed(c, cli_value(c, "by")) };
	const struct ft_evidence *piece = NULL;
	struct ft_book *b = NULL;
	struct ft_visit v;
	const char *id;

	if (c->count != 3)
		return cli_usage(c,
		                 "visit drop takes a visit and one piece of its evidence: fettle visit drop VISIT trace.txt "
		                 "--because \"of another machine\"."),
			   cli_failed(c);
	if (!x.because)
		return cli_usage(c, "A piece is taken out with a reason that others can read: add --because \"why\"."),
			   cli_failed(c);
	x.at_us = cli_now(&x.at_offset);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) ||
	    ft_book_visit_load(b, id, FT_LOAD_LIST, &c->arena, &v, &c->error) != FT_OK ||
	    !find_piece(c, &v, c->arguments[2], &piece))
		return give_up(c, b);
	x.piece = *piece;
	if (ft_book_evidence_drop(b, id, &x, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id,
	                  ft_arena_printf(&c->arena,
	                                  "%s is taken out: it counts no more and will not be packed. The book keeps it, "
	                                  "with the reason.",
	                                  piece->name),
	                  VISIT_SHORT);
}

/* The bytes as they came: found by their number, checked against their hash. */
static int run_get(struct cli *c)
{
	const char *out = cli_value(c, "o"), *id;
	const struct ft_evidence *x = NULL;
	struct ft_book *b = NULL;
	struct ft_slice bytes;
	struct ft_buf doc = { 0 };
	struct ft_json j;
	struct ft_visit v;
	char hash[FT_HASH_TEXT];
	int64_t number;

	if (c->count != 3 || !out || !ft_slice_i64(ft_slice_of(c->arguments[2]), &number))
		return cli_usage(c,
		                 "visit get takes a visit, the number of a piece of its evidence, and a file: "
		                 "fettle visit get VISIT 2 -o before.dts."),
			   cli_failed(c);
	if (c->json && strcmp(out, "-") == 0)
		return cli_usage(c, "The bytes and the JSON document cannot both go to standard output; name a file with -o."),
			   cli_failed(c);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) ||
	    ft_book_visit_load(b, id, FT_LOAD_LIST, &c->arena, &v, &c->error) != FT_OK)
		return give_up(c, b);
	for (size_t i = 0; i < v.evidence_count; i++)
		if (v.evidence[i].number == number)
			x = &v.evidence[i];
	for (size_t i = 0; i < v.taken_out_count; i++)
		if (v.taken_out[i].piece.number == number)
			x = &v.taken_out[i].piece;
	if (!x)
		return cli_usage(c, "The visit %s has no piece of evidence %lld; fettle visit show %s lists them.", id,
		                 (long long)number, id),
			   give_up(c, b);
	if (ft_book_content(b, &x->hash, &c->arena, &bytes, &c->error) != FT_OK ||
	    cli_write_evidence(c, out, bytes) != FT_OK)
		return give_up(c, b);
	ft_book_free(b);
	if (c->json) {
		cli_document(c, &j, &doc, FT_OPEN, NULL);
		ft_json_text(&j, "file", out);
		ft_json_text(&j, "hash", ft_hash_text(&x->hash, hash));
		return cli_document_end(c, &j);
	}
	if (strcmp(out, "-") != 0)
		cli_say(c, "%s, %s of %s, is in %s.", x->name, ft_evidence_title(x->kind), id, out);
	return FT_OK;
}

static const struct ft_claim *given_claim(struct cli *c, enum ft_claim_id *ret)
{
	const struct ft_claim *claim = ft_claim_by_name(ft_slice_of(c->arguments[2]));

	if (!claim)
		cli_usage(c, "There is no claim %s; fettle visit show VISIT --all lists them with their names.",
		          c->arguments[2]);
	else
		*ret = (enum ft_claim_id)(claim - ft_claim((enum ft_claim_id)0));
	return claim;
}

static int run_say(struct cli *c)
{
	struct ft_statement s = { .by = trimmed(c, cli_value(c, "by")) };
	const struct ft_claim *claim;
	struct ft_book *b = NULL;
	const char *id;

	if (c->count != 4 || !(s.text = trimmed(c, c->arguments[3])))
		return cli_usage(
				   c,
				   "visit say takes a visit, a claim and a sentence: fettle visit say VISIT fit.level \"level, two anchors\"."),
			   cli_failed(c);
	claim = given_claim(c, &s.claim);
	if (!claim)
		return cli_failed(c);
	if (claim->words == FT_WORDS_NO)
		return cli_usage(c, "%s cannot be shown by words; it is shown by %s.", claim->id, claim->shown_by),
			   cli_failed(c);
	s.at_us = cli_now(&s.at_offset);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) || ft_book_say(b, id, &s, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id, NULL, VISIT_SHORT);
}

/* A waiver bears a name: the one given, else that of the technician whose visit it is; without either that is said. */
static bool name_waiver(struct cli *c, struct ft_book *b, const char *id, struct ft_waiver *w)
{
	struct ft_visit v;

	if (w->by)
		return true;
	if (ft_book_visit_load(b, id, FT_LOAD_LIST, &c->arena, &v, &c->error) != FT_OK)
		return false;
	w->by = v.technician;
	if (!w->by)
		fprintf(stderr,
		        "Nobody is named for this waiver: waive it again with --by NAME, or name the technician of the\n"
		        "whole visit first: fettle visit set %s --by NAME\n",
		        id);
	return true;
}

static int run_waive(struct cli *c)
{
	struct ft_waiver w = { .by = trimmed(c, cli_value(c, "by")), .because = trimmed(c, cli_value(c, "because")) };
	struct ft_book *b = NULL;
	const char *id;

	if (c->count != 3)
		return cli_usage(
				   c, "visit waive takes a visit and a claim: fettle visit waive VISIT prove.bus --because \"why\"."),
			   cli_failed(c);
	if (!w.because)
		return cli_usage(c, "A claim is waived with a reason that others can read: add --because \"why\"."),
			   cli_failed(c);
	if (!given_claim(c, &w.claim))
		return cli_failed(c);
	w.at_us = cli_now(&w.at_offset);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) || !name_waiver(c, b, id, &w) ||
	    ft_book_waive(b, id, &w, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id, NULL, VISIT_SHORT);
}

/* How an open visit stands, for a list; a visit that cannot be judged stands open and does not spoil the list. */
static void judge_row(struct ft_book *b, const struct ft_visit *row, struct visit_row *ret)
{
	struct ft_arena a = { 0 };
	struct ft_visit v;
	struct ft_judgement g;

	*ret = (struct visit_row){ .judged = true };
	if (ft_book_visit_load(b, row->id, FT_LOAD_JUDGED, &a, &v, NULL) == FT_OK &&
	    ft_visit_judge(&v, &a, &g, NULL) == FT_OK) {
		ret->verdict = g.verdict;
		memcpy(ret->stands, g.stands, sizeof ret->stands);
		ret->stands[FT_STANDS_OPEN] = g.open_to_close; /* what is due later keeps nobody */
	} else {
		ret->verdict = FT_OPEN;
	}
	ft_arena_done(&a);
}

static int show_list_document(struct cli *c, struct ft_book *b, const struct ft_visit *list, size_t count)
{
	bool all = cli_flag(c, "all");
	struct ft_buf out = { 0 };
	struct ft_json j;

	cli_document(c, &j, &out, FT_OPEN, NULL);
	ft_json_array(&j, "visits");
	for (size_t i = 0; i < count; i++) {
		struct visit_row row = { 0 };
		if (all && list[i].closed_us == FT_ABSENT)
			judge_row(b, &list[i], &row);
		visit_row_json(&j, &list[i], &row);
	}
	ft_json_array_end(&j);
	ft_book_free(b);
	return cli_document_end(c, &j);
}

enum { JUDGED_MOST = 200 }; /* ours: of the latest visits in the list for people; some ms each */

static int run_show(struct cli *c)
{
	struct visit_row *rows;
	struct ft_book *b = NULL;
	struct ft_visit *list;
	struct ft_buf out = { 0 };
	size_t count;
	const char *id;
	enum ft_status s;

	if (!open_book(c, FT_BOOK_READ, &b))
		return give_up(c, b);
	if (c->count > 1)
		return find(c, b, &id) ? show_visit(c, b, id, NULL, cli_flag(c, "all") ? VISIT_ALL : VISIT_USUAL)
							   : give_up(c, b);
	s = ft_book_visit_list(b, FT_ABSENT, &c->arena, &list, &count, &c->error);
	if (s != FT_OK)
		return give_up(c, b);
	if (c->json)
		return show_list_document(c, b, list, count);
	rows = FT_NEW_ARRAY(&c->arena, count + 1, struct visit_row);
	if (!rows)
		return ft_fail_memory(&c->error, "the list"), give_up(c, b);
	for (size_t i = 0; i < count && i < JUDGED_MOST; i++)
		judge_row(b, &list[i], &rows[i]);
	ft_book_free(b);
	visit_list(c, &out, list, rows, count);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return FT_OK;
}

static int run_close(struct cli *c)
{
	struct ft_book *b = NULL;
	struct ft_visit v;
	struct ft_judgement g;
	struct ft_buf names = { 0 };
	const char *id;
	int64_t now;
	int offset;
	bool may = cli_flag(c, "open-claims");

	if (c->count != 2)
		return cli_usage(c, "visit close takes one visit: fettle visit close VISIT."), cli_failed(c);
	if (!open_book(c, FT_BOOK_READ, &b) || !find(c, b, &id) ||
	    ft_book_visit_load(b, id, FT_LOAD_JUDGED, &c->arena, &v, &c->error) != FT_OK ||
	    ft_visit_judge(&v, &c->arena, &g, &c->error) != FT_OK)
		return give_up(c, b);
	for (size_t i = 0, n = 0; i < g.claim_count; i++) {
		const struct ft_claim_state *s = &g.claims[i];
		if (s->stands == FT_STANDS_CONTRADICTED || (s->stands == FT_STANDS_OPEN && s->claim->due == FT_DUE_CLOSE)) {
			if (n++ < 10)
				ft_buf_printf(&names, "%s%s", n > 1 ? ", " : "", s->claim->id);
		}
	}
	ft_buf_byte(&names, 0);
	if (v.closed_us == FT_ABSENT && (g.stands[FT_STANDS_CONTRADICTED] || g.open_to_close) && !may) {
		cli_usage(
			c, "The visit %s stays open: %s (%s). Show them or waive them with a reason, or close with --open-claims.",
			id, ft_judgement_words(&g, &c->arena), names.status == FT_OK ? names.p : "too little memory to name them");
		ft_buf_done(&names);
		return give_up(c, b);
	}
	ft_buf_done(&names);
	now = cli_now(&offset);
	if (ft_book_visit_close(b, id, now, offset, &c->error) != FT_OK)
		return give_up(c, b);
	return show_visit(c, b, id, ft_arena_printf(&c->arena, "Closed the visit %s.", id), VISIT_USUAL);
}

static int run(struct cli *c)
{
	static const struct {
		const char *name;
		int (*run)(struct cli *c);
	} subs[] = {
		{ "open", run_open },     { "set", run_set },   { "add", run_add },     { "say", run_say },
		{ "waive", run_waive },   { "show", run_show }, { "close", run_close }, { "get", run_get },
		{ "sheet", visit_sheet }, { "drop", run_drop },
	};

	for (size_t i = 0; i < sizeof subs / sizeof *subs; i++) {
		if (strcmp(c->arguments[0], subs[i].name) != 0)
			continue;
		if (c->count < 2 && subs[i].run != run_show) {
			cli_usage(c, "visit %s needs to know which; see fettle visit --help.", subs[i].name);
			return cli_failed(c);
		}
		if ((subs[i].run == run_say && c->count < 4) || (subs[i].run == run_waive && c->count < 3)) {
			cli_usage(c, "visit %s needs a visit and a claim%s; see fettle visit --help.", subs[i].name,
			          subs[i].run == run_say ? " and a sentence" : "");
			return cli_failed(c);
		}
		return subs[i].run(c);
	}
	cli_usage(c, "visit knows open, set, add, drop, get, say, waive, show, close and sheet, not \"%s\".",
	          c->arguments[0]);
	return cli_failed(c);
}

static const struct cli_option options[] = {
	{ "again", NULL, "open: although a visit of this machine is open" },
	{ "site", "TEXT", "open, set: where the machine stands" },
	{ "by", "NAME", "open, set: the technician; say, waive, drop: who says so; waive without it: the technician" },
	{ "machine-serial", "S", "open, set: the machine's serial number, from the order or the plate" },
	{ "unit", "S", "open, set: serial number of the unit fitted" },
	{ "sim", "S", "open, set: number on the SIM" },
	{ "without", "LIST",
	  "open, set: what the machine or the job does not have: door, temperature, antenna, card, bills, coins, bus, supply" },
	{ "stage", "STAGE", "add: know, keep, fit, prove, hand-over or watch, where the usual one is not right" },
	{ "kind", "KIND", "add: what the file is, where its bytes do not tell" },
	{ "o", "FILE", "get, sheet: where it is written; - is standard output. A sheet is a .pdf or a .svg" },
	{ "because", "TEXT", "waive, drop: the reason, which the papers carry" },
	{ "open-claims", NULL, "close: also with claims that are open or contradicted" },
	{ "catalogue", "DIR", "sheet: the folder of the catalogues and the survey" },
	{ "paper", "a4/letter", "sheet: the page (a4 when not given)" },
	{ "all", NULL,
	  "show: every claim with what it rests on, also what is shown; of a list in JSON: how each open visit stands" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_visit = {
	.name = "visit",
	.arguments =
		"open ASSET | set VISIT | add VISIT FILE... | drop VISIT PIECE --because TEXT | get VISIT N -o FILE | say VISIT CLAIM TEXT | waive VISIT CLAIM --because TEXT | show [VISIT] | close VISIT | sheet VISIT -o FILE",
	.summary = "the record of one visit: evidence in, claims and verdict out",
	.about =
		"A visit holds evidence, statements and waivers. What must be true before the door is closed are claims; each stands "
		"shown, contradicted, open or waived, and that is computed from what the visit holds, never typed.\n\n"
		"open begins a visit and names it after the asset, such as BD-0417-1. add files evidence; what it is, is found out from "
		"its bytes. The first audit is the one of before, the last the one of after. A file that is there already is filed anew "
		"by --stage or --kind. drop takes out what was added by mistake, by its number or name: it counts for nothing and is not "
		"packed, and the record keeps its name and the reason. get writes a piece of "
		"evidence out again, by its number. say shows a claim by a person's word where "
		"the claim allows words. waive covers a claim that will not be shown, with a reason. show prints the visit, or the list of "
		"all. close refuses while a claim is contradicted or open. sheet draws the wiring sheet of the machine on one page: where each "
		"harness goes and in which order; what nobody wrote down is drawn as not known.\n\n"
		"VISIT is the visit's name, or the asset when only one visit of it is open.",
	.options = options,
	.examples = "$ fettle visit open BD-0417 --site \"Harbour canteen\" \\\n"
				"      --machine-serial SN4471203\n"
				"$ fettle visit add BD-0417 before.dts\n"
				"$ fettle visit say BD-0417 fit.level \"level, both anchors tight\" \\\n"
				"      --by \"A. Fitter\"\n"
				"$ fettle visit waive BD-0417 prove.bus \\\n"
				"      --because \"no capture device in the van\"\n"
				"$ fettle visit sheet BD-0417 --catalogue catalogue -o wiring.pdf\n"
				"$ fettle visit show BD-0417",
	.least = 1,
	.most = -1,
	.run = run,
};
