/* SPDX-License-Identifier: Apache-2.0 */
/* fettle book: the file all visits live in. */
#include <string.h>

#include "fettle/store.h"
#include "verbs.h"

static int check(struct cli *c, struct ft_book *b)
{
	struct ft_book_state s;
	struct ft_arena a = { 0 };
	struct ft_buf out = { 0 };
	struct ft_json j;
	enum ft_status st = ft_book_check(b, &a, &s, &c->error);

	ft_arena_done(&a);
	if (st != FT_OK)
		return cli_failed(c);
	if (!c->json) {
		cli_say(c,
		        "The book %s is whole: %lld visit%s (%lld open), %lld piece%s of evidence with %lld bytes, every one "
		        "as it was added.",
		        ft_book_name(b), (long long)s.visits, s.visits == 1 ? "" : "s", (long long)s.open_visits,
		        (long long)s.contents, s.contents == 1 ? "" : "s", (long long)s.bytes);
		return FT_OK;
	}
	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_text(&j, "book", ft_book_name(b));
	ft_json_i64(&j, "version", s.version);
	ft_json_i64(&j, "visits", s.visits);
	ft_json_i64(&j, "open_visits", s.open_visits);
	ft_json_i64(&j, "contents", s.contents);
	ft_json_i64(&j, "bytes", s.bytes);
	return cli_document_end(c, &j);
}

static void print_tables(const struct ft_book_table *tables, size_t count)
{
	char hash[FT_HASH_TEXT];

	printf("\n  %-24s%10s  %s\n", "table", "rows", "hash over all rows");
	for (size_t i = 0; i < count; i++)
		printf("  %-24s%10lld  %.16s\n", tables[i].name, (long long)tables[i].rows,
		       ft_hash_text(&tables[i].hash, hash));
}

static int say_copied(struct cli *c, const char *from, const char *to, const struct ft_book_table *tables, size_t count)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	char hash[FT_HASH_TEXT];

	if (!c->json) {
		cli_say(c, "The book %s was copied to %s; every row was read there again and is as it was.", from, to);
		print_tables(tables, count);
		return FT_OK;
	}
	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_text(&j, "book", from);
	ft_json_text(&j, "to", to);
	ft_json_array(&j, "tables");
	for (size_t i = 0; i < count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "table", tables[i].name);
		ft_json_i64(&j, "rows", tables[i].rows);
		ft_json_text(&j, "hash", ft_hash_text(&tables[i].hash, hash));
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	return cli_document_end(c, &j);
}

static int copy(struct cli *c, struct ft_book *from)
{
	struct ft_book *to = NULL;
	struct ft_book_table *tables = NULL;
	size_t count = 0;
	enum ft_status s = ft_book_open(c->arguments[1], FT_BOOK_WRITE, &to, &c->error);

	if (s == FT_OK)
		s = ft_book_copy(from, to, &c->arena, &tables, &count, &c->error);
	if (s == FT_OK)
		s = say_copied(c, ft_book_name(from), ft_book_name(to), tables, count) == FT_OK ? FT_OK : FT_E_STORE;
	else
		cli_failed(c);
	ft_book_free(to);
	return s == FT_OK ? FT_OK : s == FT_E_USAGE ? 2 : 5;
}

static int backup(struct cli *c, struct ft_book *b)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	if (ft_book_backup(b, c->arguments[1], &c->error) != FT_OK)
		return cli_failed(c);
	if (!c->json) {
		printf("The book %s was copied whole to %s.\n", ft_book_name(b), c->arguments[1]);
		return FT_OK;
	}
	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_text(&j, "book", ft_book_name(b));
	ft_json_text(&j, "file", c->arguments[1]);
	return cli_document_end(c, &j);
}

static int run(struct cli *c)
{
	static const struct {
		const char *word;
		int words; /* with those behind it */
		const char *wrong;
		int (*does)(struct cli *c, struct ft_book *b);
	} tasks[] = {
		{ "check", 1, "book check takes no more words.", check },
		{ "backup", 2, "book backup takes the name of a new file.", backup },
		{ "copy", 2, "book copy takes the place of a new book: a file, or postgresql://HOST/DATABASE.", copy },
	};
	const char *path = cli_book_path(c);
	struct ft_book *b = NULL;
	size_t i = 0;
	int code;

	while (i < sizeof tasks / sizeof *tasks && strcmp(c->arguments[0], tasks[i].word) != 0)
		i++;
	if (i == sizeof tasks / sizeof *tasks)
		return cli_usage(c, "book knows check, backup and copy, not \"%s\".", c->arguments[0]), cli_failed(c);
	if (c->count != tasks[i].words)
		return cli_usage(c, "%s", tasks[i].wrong), cli_failed(c);
	if (!path)
		return ft_fail_memory(&c->error, "the name of the book"), cli_failed(c);
	if (ft_book_open(path, FT_BOOK_READ, &b, &c->error) != FT_OK)
		return cli_failed(c);
	code = tasks[i].does(c, b);
	ft_book_free(b);
	return code;
}

const struct cli_verb verb_book = {
	.name = "book",
	.arguments = "check | backup FILE | copy PLACE",
	.summary = "looks the book over, or copies it while it is in use",
	.about =
		"check reads every page, every reference and every piece of evidence and says whether all is as it was. backup "
		"writes a whole copy into a new file, also while others use the book.\n\n"
		"copy moves a book to where it shall be kept: from a file to a PostgreSQL server, where an office has outgrown one "
		"file, or back. Every row is read again at the new place and compared; either all is there or nothing.\n\n"
		"A book on a server is named by its address, as in --book postgresql://office@host/fettle, and every command "
		"works on it as on a file. It lies in the schema fettle of that database, which the first command makes.",
	.examples = "$ fettle book check\n$ fettle book backup book-copy.sqlite\n"
				"$ fettle --book book.sqlite book copy postgresql://office@host/fettle",
	.least = 1,
	.most = 2,
	.run = run,
};
