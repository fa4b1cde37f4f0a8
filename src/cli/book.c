/* SPDX-License-Identifier: Apache-2.0 */
/* fettle book: the file all visits live in. */
#include <string.h>

#include "fettle/store.h"
#include "verbs.h"

static int check(struct cli *c, struct ft_book *b, const char *path)
{
	struct ft_book_state s;
	struct ft_arena a = { 0 };
	struct ft_buf out = { 0 };
	struct ft_json j;
	enum ft_status st = ft_book_check(b, &a, &s, &c->error);

	ft_arena_done(&a);
	ft_book_free(b);
	if (st != FT_OK)
		return cli_failed(c);
	if (!c->json) {
		cli_say(c,
		        "The book %s is whole: %lld visit%s (%lld open), %lld piece%s of evidence with %lld bytes, every one "
		        "as it was added.",
		        path, (long long)s.visits, s.visits == 1 ? "" : "s", (long long)s.open_visits, (long long)s.contents,
		        s.contents == 1 ? "" : "s", (long long)s.bytes);
		return FT_OK;
	}
	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_text(&j, "book", path);
	ft_json_i64(&j, "version", s.version);
	ft_json_i64(&j, "visits", s.visits);
	ft_json_i64(&j, "open_visits", s.open_visits);
	ft_json_i64(&j, "contents", s.contents);
	ft_json_i64(&j, "bytes", s.bytes);
	return cli_document_end(c, &j);
}

static int run(struct cli *c)
{
	const char *path = cli_book_path(c);
	struct ft_book *b = NULL;
	bool backup = strcmp(c->arguments[0], "backup") == 0;
	struct ft_buf out = { 0 };
	struct ft_json j;

	if (!backup && strcmp(c->arguments[0], "check") != 0)
		return cli_usage(c, "book knows check and backup, not \"%s\".", c->arguments[0]), cli_failed(c);
	if (c->count != (backup ? 2 : 1))
		return cli_usage(c, backup ? "book backup takes the name of a new file." : "book check takes no more words."),
			   cli_failed(c);
	if (!path)
		return ft_fail_memory(&c->error, "the name of the book"), cli_failed(c);
	if (ft_book_open(path, FT_BOOK_READ, &b, &c->error) != FT_OK)
		return cli_failed(c);
	if (!backup)
		return check(c, b, path);
	if (ft_book_backup(b, c->arguments[1], &c->error) != FT_OK) {
		ft_book_free(b);
		return cli_failed(c);
	}
	ft_book_free(b);
	if (!c->json) {
		printf("The book %s was copied whole to %s.\n", path, c->arguments[1]);
		return FT_OK;
	}
	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_text(&j, "book", path);
	ft_json_text(&j, "file", c->arguments[1]);
	return cli_document_end(c, &j);
}

const struct cli_verb verb_book = {
	.name = "book",
	.arguments = "check | backup FILE",
	.summary = "looks the book over, or copies it while it is in use",
	.about =
		"check reads every page, every reference and every piece of evidence and says whether all is as it was. backup "
		"writes a whole copy into a new file, also while others use the book.",
	.examples = "$ fettle book check\n$ fettle book backup book-copy.sqlite",
	.least = 1,
	.most = 2,
	.run = run,
};
