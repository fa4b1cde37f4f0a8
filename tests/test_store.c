/* SPDX-License-Identifier: Apache-2.0 */
/* The book as a file: made, brought up to date, refused, damaged, copied. The sqlite3 program is the outside witness
 * that a book is a plain SQLite database. What a book does wherever it lies is in test_book.c. */
#include "books.h"

#include <fcntl.h>
#include <sqlite3.h>
#include <unistd.h>

static char folder[] = "/tmp/fettle-store-XXXXXX", path[64];
static const char *tests_dir;

static const char *in_folder(const char *name)
{
	return ft_arena_printf(&arena, "%s/%s", folder, name);
}

static int fresh(void **state)
{
	(void)state;
	ft_arena_reset(&arena);
	err = (struct ft_error){ 0 };
	snprintf(path, sizeof path, "%s/book.sqlite", folder);
	shell("rm -rf %s/*", folder);
	return 0;
}

static struct ft_book *book(void)
{
	return open_book(path, FT_BOOK_WRITE);
}

static void refused(enum ft_book_mode mode, const char *words)
{
	struct ft_book *b = NULL;

	err = (struct ft_error){ 0 };
	assert_int_equal(ft_book_open(path, mode, &b, &err), FT_E_STORE);
	assert_null(b);
	if (!strstr(err.text, words))
		fail_msg("\"%s\" says nothing of \"%s\"", err.text, words);
}

static void begins_empty_and_keeps(void **state)
{
	struct ft_visit v;
	struct ft_book *b;
	const char *id;
	(void)state;

	close(open(path, O_CREAT | O_WRONLY, 0644)); /* an empty file is a new book */
	b = book();
	id = new_visit(b, "BD 0417", 1000);
	assert_string_equal(id, "BD-0417-1");
	assert_string_equal(new_visit(b, "BD 0417", 1001), "BD-0417-2");
	assert_string_equal(new_visit(b, "BD-0417", 1002), "BD-0417-3"); /* another asset, the same spoken name */
	add(b, id, ft_slice_of("hello"), false);
	add(b, id, ft_slice_of("hello"), true);
	add(b, "BD-0417-2", ft_slice_of("hello"), false);
	b = ft_book_free(b);
	b = book();
	assert_int_equal(ft_book_visit_load(b, id, FT_LOAD_ALL, &arena, &v, &err), FT_OK);
	assert_int_equal(v.evidence_count, 1);
	assert_true(ft_slice_is(v.evidence[0].bytes, "hello"));
	assert_string_equal(v.site ? v.site : "none", "none");
	assert_int_equal(v.changed_us, 2000);
	ft_book_free(b);
	shell("test \"$(sqlite3 %s 'select count(*) from content')\" = 1", path);
	shell("test \"$(sqlite3 %s 'select count(*) from evidence; pragma integrity_check' | tr '\\n' ' ')\" = '2 ok '",
	      path);
	shell(
		"test \"$(sqlite3 %s \"select count(*) from pragma_table_list where schema='main' and strict=0 and name not like 'sqlite%%'\")\" = 0",
		path);
	shell("test \"$(sqlite3 %s 'pragma journal_mode')\" = wal", path);
	shell(
		"test \"$(sqlite3 %s \"select count(*) from pragma_table_list l, pragma_table_info(l.name) c where l.schema='main' and "
		"l.name not like 'sqlite%%' and c.type not in ('INTEGER', 'TEXT', 'BLOB')\")\" = 0",
		path);
}

static void comes_from_version_1(void **state)
{
	struct ft_visit v;
	struct ft_book *b;
	(void)state;

	shell("sqlite3 %s < %s/books/version-1.sql", path, tests_dir);
	b = book();
	assert_int_equal(ft_book_visit_load(b, "OLD-7-1", FT_LOAD_ALL, &arena, &v, &err), FT_OK);
	assert_string_equal(v.site, "Ferry terminal");
	assert_true(ft_slice_is(v.evidence[0].bytes, "hello"));
	assert_int_equal(v.statement_count, 1);
	assert_true(v.changed_us == INT64_C(1700000200000000));
	assert_null(v.sim);
	ft_book_free(b);
	/* What was brought up to date has the same tables as what began new. */
	shell("sqlite3 %s .schema | sort > %s/old; mv %s %s/kept.sqlite", path, folder, path, folder);
	ft_book_free(book());
	shell("sqlite3 %s .schema | sort | cmp - %s/old", path, folder);
}

static void refuses_what_is_no_book(void **state)
{
	(void)state;
	refused(FT_BOOK_READ, "There is no book");
	shell(
		"echo 'a shopping list that is longer than the header of a database would be, but is none at all, as one sees' > %s",
		path);
	refused(FT_BOOK_WRITE, "is not a book");
	shell("rm %s; sqlite3 %s 'create table t(x)'", path, path);
	refused(FT_BOOK_WRITE, "some other program");
	shell("rm %s", path);
	ft_book_free(book());
	shell("sqlite3 %s 'pragma user_version = 99'", path);
	refused(FT_BOOK_WRITE, "newer fettle");
	snprintf(path, sizeof path, "%s", folder);
	refused(FT_BOOK_WRITE, "is a folder");
	snprintf(path, sizeof path, "/dev/null");
	refused(FT_BOOK_WRITE, "no ordinary file");
}

static void sees_damage(void **state)
{
	struct ft_book *b = book();
	const char *id = new_visit(b, "BD-1", 1000);
	struct ft_visit v;
	(void)state;

	add(b, id, ft_slice_of("what was added"), false);
	ft_book_free(b);
	shell("sqlite3 %s \"update content set bytes = cast('what was edited' as blob), size = 15\"", path);
	b = book();
	assert_int_equal(ft_book_visit_load(b, id, FT_LOAD_ALL, &arena, &v, &err), FT_E_STORE);
	assert_non_null(strstr(err.text, "not what was added"));
	err = (struct ft_error){ 0 };
	add(b, id, ft_slice_of("what was added"), true); /* adding it again heals it */
	assert_int_equal(ft_book_visit_load(b, id, FT_LOAD_ALL, &arena, &v, &err), FT_OK);
	ft_book_free(b);
	shell("printf '\\377%%.0s' $(seq 4096) | dd of=%s bs=4096 seek=2 conv=notrunc status=none", path);
	refused(FT_BOOK_READ, "is damaged");
	shell("truncate -s 8192 %s", path);
	refused(FT_BOOK_READ, "is damaged");
}

static void waits_and_gives_up(void **state)
{
	struct ft_book *b = book();
	sqlite3 *other = NULL;
	struct ft_visit v = { .asset = "BD-1", .opened_us = 1 };
	const char *id;
	(void)state;

	assert_int_equal(sqlite3_open(path, &other), SQLITE_OK);
	assert_int_equal(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
	ft_book_patience(b, 0);
	assert_int_equal(ft_book_visit_open(b, &v, &arena, &id, &err), FT_E_STORE);
	assert_non_null(strstr(err.text, "held by another program"));
	sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL);
	sqlite3_close(other);
	err = (struct ft_error){ 0 };
	assert_int_equal(ft_book_visit_open(b, &v, &arena, &id, &err), FT_OK);
	ft_book_free(b);
}

static void copies(void **state)
{
	struct ft_book *b = book(), *copy = NULL;
	struct ft_book_state was, is;
	const char *to = in_folder("copy.sqlite");
	struct ft_arena a = { 0 };
	(void)state;

	add(b, new_visit(b, "BD-1", 1000), ft_slice_of("hello"), false);
	assert_int_equal(ft_book_backup(b, to, &err), FT_OK);
	assert_int_equal(ft_book_backup(b, to, &err), FT_E_USAGE); /* never over something */
	err = (struct ft_error){ 0 };
	assert_int_equal(ft_book_backup(b, in_folder("none/copy.sqlite"), &err), FT_E_STORE);
	err = (struct ft_error){ 0 };
	assert_int_equal(ft_book_check(b, &a, &was, &err), FT_OK);
	assert_int_equal(ft_book_open(to, FT_BOOK_READ, &copy, &err), FT_OK);
	assert_int_equal(ft_book_check(copy, &a, &is, &err), FT_OK);
	assert_true(was.version == is.version && was.visits == is.visits && was.contents == is.contents &&
	            was.bytes == is.bytes);
	assert_int_equal(is.bytes, 5);
	ft_arena_done(&a);
	ft_book_free(copy);
	ft_book_free(b);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup(begins_empty_and_keeps, fresh),  cmocka_unit_test_setup(comes_from_version_1, fresh),
		cmocka_unit_test_setup(refuses_what_is_no_book, fresh), cmocka_unit_test_setup(sees_damage, fresh),
		cmocka_unit_test_setup(waits_and_gives_up, fresh),      cmocka_unit_test_setup(copies, fresh),
	};
	int failed;

	tests_dir = argc > 1 ? argv[1] : "tests";
	if (!mkdtemp(folder))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	shell("rm -rf %s", folder);
	ft_arena_done(&arena);
	return failed;
}
