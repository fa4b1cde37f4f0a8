/* SPDX-License-Identifier: Apache-2.0 */
/* What the tests of the book share: one arena, one failure, and a book with something in it. */
#ifndef FETTLE_TESTS_BOOKS_H
#define FETTLE_TESTS_BOOKS_H

#include "unit.h"

#include <stdio.h>
#include <stdlib.h>

#include "fettle/store.h"

static struct ft_arena arena;
static struct ft_error err;

static void shell(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void shell(const char *format, ...)
{
	char command[512];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof command, format, args);
	va_end(args);
	assert_int_equal(system(command), 0);
}

static struct ft_book *open_book(const char *path, enum ft_book_mode mode)
{
	struct ft_book *b = NULL;

	if (ft_book_open(path, mode, &b, &err) != FT_OK)
		fail_msg("%s", err.text);
	return b;
}

static const char *new_visit(struct ft_book *b, const char *asset, int64_t at)
{
	struct ft_visit v = {
		.asset = asset, .opened_us = at, .technician = "A. Fitter", .unit = "U-1", .machine_serial = "SN1"
	};
	const char *id = NULL;

	if (ft_book_visit_open(b, &v, &arena, &id, &err) != FT_OK)
		fail_msg("%s", err.text);
	return id;
}

static void add(struct ft_book *b, const char *id, struct ft_slice bytes, bool want_known)
{
	struct ft_evidence x = {
		.kind = FT_EVIDENCE_NOTE, .stage = FT_STAGE_KEEP, .name = "note.txt", .bytes = bytes, .added_us = 2000
	};
	bool known = !want_known;

	if (ft_book_evidence_add(b, id, &x, 1, &known, &err) != FT_OK)
		fail_msg("%s", err.text);
	assert_int_equal(known, want_known);
}

#endif
