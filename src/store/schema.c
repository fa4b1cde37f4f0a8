/* SPDX-License-Identifier: Apache-2.0 */
/* How a book looks, as the list of steps from an empty file to this version. A step that was ever
 * released is never edited again: a new one is added below it and BOOK_VERSION raised. Columns are INTEGER, TEXT or
 * BLOB: both engines know these and no others. A line "-- server: ..." is a comment to a file and stands for what ddl.c
 * has for a server under these words. */
#include "book.h"

static const char *const steps[BOOK_VERSION] = {
	/* 1: visits, what was added to them, what was said */
	"CREATE TABLE visit (\n"
	"	number INTEGER PRIMARY KEY,\n"
	"	id TEXT NOT NULL COLLATE NOCASE UNIQUE,\n"
	"	key TEXT NOT NULL UNIQUE,\n"
	"	asset TEXT NOT NULL COLLATE NOCASE,\n"
	"	site TEXT, machine_serial TEXT, unit TEXT, technician TEXT,\n"
	"	opened_us INTEGER NOT NULL, opened_offset INTEGER NOT NULL,\n"
	"	closed_us INTEGER, closed_offset INTEGER,\n"
	"	CHECK (length(id) > 0 AND length(asset) > 0 AND length(key) = 32)\n"
	") STRICT;\n"
	"CREATE INDEX visit_of_asset ON visit (asset);\n"
	"CREATE TABLE content (\n"
	"	hash BLOB PRIMARY KEY CHECK (length(hash) = 32),\n"
	"	size INTEGER NOT NULL CHECK (size = length(bytes)),\n"
	"	bytes BLOB NOT NULL\n"
	") STRICT;\n"
	"CREATE TABLE evidence (\n"
	"	visit INTEGER NOT NULL REFERENCES visit (number),\n"
	"	number INTEGER NOT NULL CHECK (number > 0),\n"
	"	hash BLOB NOT NULL REFERENCES content (hash),\n"
	"	kind TEXT NOT NULL, stage TEXT NOT NULL, name TEXT NOT NULL,\n"
	"	added_us INTEGER NOT NULL, added_offset INTEGER NOT NULL,\n"
	"	PRIMARY KEY (visit, number), UNIQUE (visit, hash)\n"
	") STRICT;\n"
	"CREATE INDEX evidence_of_content ON evidence (hash);\n"
	"CREATE TABLE statement (\n"
	"	number INTEGER PRIMARY KEY,\n"
	"	visit INTEGER NOT NULL REFERENCES visit (number),\n"
	"	claim TEXT NOT NULL, text TEXT NOT NULL, by_whom TEXT,\n"
	"	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL\n"
	") STRICT;\n"
	"CREATE INDEX statement_of_visit ON statement (visit);\n"
	"CREATE TABLE waiver (\n"
	"	number INTEGER PRIMARY KEY,\n"
	"	visit INTEGER NOT NULL REFERENCES visit (number),\n"
	"	claim TEXT NOT NULL, because TEXT NOT NULL CHECK (length(because) > 0), by_whom TEXT,\n"
	"	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL\n"
	") STRICT;\n"
	"CREATE INDEX waiver_of_visit ON waiver (visit);\n",
	/* 2: what goes to the office and comes from it; the SIM; parts a job is without; the latest change */
	"ALTER TABLE visit ADD COLUMN sim TEXT;\n"
	"ALTER TABLE visit ADD COLUMN without INTEGER NOT NULL DEFAULT 0;\n"
	"ALTER TABLE visit ADD COLUMN changed_us INTEGER NOT NULL DEFAULT 0;\n"
	"UPDATE visit SET changed_us = max(opened_us, coalesce(closed_us, opened_us),\n"
	"	coalesce((SELECT max(added_us) FROM evidence WHERE visit = visit.number), opened_us),\n"
	"	coalesce((SELECT max(at_us) FROM statement WHERE visit = visit.number), opened_us),\n"
	"	coalesce((SELECT max(at_us) FROM waiver WHERE visit = visit.number), opened_us));\n"
	"CREATE INDEX visit_of_unit ON visit (unit) WHERE unit IS NOT NULL;\n"
	"CREATE INDEX visit_of_sim ON visit (sim) WHERE sim IS NOT NULL;\n"
	"CREATE TABLE package (\n"
	"	visit INTEGER NOT NULL REFERENCES visit (number),\n"
	"	hash BLOB NOT NULL CHECK (length(hash) = 32),\n"
	"	signed_by TEXT, sent INTEGER NOT NULL CHECK (sent IN (0, 1)),\n"
	"	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL,\n"
	"	PRIMARY KEY (visit, hash, sent)\n"
	") STRICT;\n",
	/* 3: what stands half-written in a form; browsers that may ask the bench. Neither is part of a visit. */
	"CREATE TABLE draft (\n"
	"	key TEXT PRIMARY KEY CHECK (length(key) BETWEEN 1 AND 120),\n"
	"	version INTEGER NOT NULL CHECK (version > 0),\n"
	"	text TEXT NOT NULL, bytes INTEGER NOT NULL,\n"
	"	changed_us INTEGER NOT NULL, changed_offset INTEGER NOT NULL\n"
	") STRICT;\n"
	"CREATE TABLE browser (\n"
	"	number INTEGER PRIMARY KEY AUTOINCREMENT,\n"
	"	name TEXT NOT NULL,\n"
	"	cookie BLOB NOT NULL UNIQUE CHECK (length(cookie) = 32),\n"
	"	paired_us INTEGER NOT NULL, seen_us INTEGER NOT NULL\n"
	") STRICT;\n"
	"CREATE INDEX visit_changed ON visit (changed_us);\n",
	/* 4: the weeks after: files that were looked at, reads of machines by runs, what is open, what is known */
	"CREATE TABLE watch_folder (\n"
	"	folder TEXT PRIMARY KEY,\n"
	"	mtime_ns INTEGER NOT NULL\n"
	") STRICT;\n"
	"CREATE TABLE watch_files (\n"
	"	number INTEGER PRIMARY KEY AUTOINCREMENT,\n"
	"	folder TEXT NOT NULL, files BLOB NOT NULL\n"
	") STRICT;\n"
	"CREATE INDEX watch_files_of ON watch_files (folder);\n"
	"CREATE TABLE watch_part (\n"
	"	number INTEGER PRIMARY KEY AUTOINCREMENT,\n"
	"	machine TEXT NOT NULL,\n"
	"	reads INTEGER NOT NULL, first_us INTEGER NOT NULL, newest_us INTEGER NOT NULL,\n"
	"	bytes BLOB NOT NULL\n"
	") STRICT;\n"
	"CREATE INDEX watch_part_newest ON watch_part (newest_us);\n"
	"CREATE TABLE watch_exception (\n"
	"	number INTEGER PRIMARY KEY,\n"
	"	machine TEXT NOT NULL, asset TEXT NOT NULL, rule TEXT NOT NULL, selection TEXT,\n"
	"	since_us INTEGER NOT NULL, seen_us INTEGER NOT NULL, ended_us INTEGER,\n"
	"	is_open INTEGER NOT NULL, acknowledged INTEGER NOT NULL,\n"
	"	money INTEGER, decimals INTEGER NOT NULL, sure_ppm INTEGER NOT NULL,\n"
	"	seen TEXT, expected TEXT, file_before TEXT, file_after TEXT\n"
	") STRICT;\n"
	"CREATE INDEX watch_exception_of ON watch_exception (machine);\n"
	"CREATE TABLE watch_word (\n"
	"	number INTEGER PRIMARY KEY AUTOINCREMENT,\n"
	"	machine TEXT NOT NULL, rule TEXT NOT NULL, selection TEXT,\n"
	"	since_us INTEGER NOT NULL, money INTEGER,\n"
	"	because TEXT NOT NULL CHECK (length(because) > 0), by_whom TEXT,\n"
	"	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL\n"
	") STRICT;\n",
	/* 5: the reads of one machine are asked for alone */
	"CREATE INDEX watch_part_of ON watch_part (machine, newest_us);\n",
	/* 6: nothing new in a file; on a server reads lie by months, and what several watch at once is shared by claims */
	"-- server: stretches by month\n-- server: claims\n",
	/* 7: what was added to a visit by mistake. In the office's book its bytes need not lie. */
	"CREATE TABLE taken_out (\n"
	"	visit INTEGER NOT NULL REFERENCES visit (number),\n"
	"	number INTEGER NOT NULL CHECK (number > 0),\n"
	"	hash BLOB NOT NULL CHECK (length(hash) = 32), size INTEGER NOT NULL,\n"
	"	kind TEXT NOT NULL, stage TEXT NOT NULL, name TEXT NOT NULL,\n"
	"	added_us INTEGER NOT NULL, added_offset INTEGER NOT NULL,\n"
	"	because TEXT NOT NULL CHECK (length(because) > 0), by_whom TEXT,\n"
	"	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL,\n"
	"	PRIMARY KEY (visit, number)\n"
	") STRICT;\n"
	"CREATE INDEX taken_out_content ON taken_out (hash);\n",
};

static enum ft_status known(struct ft_book *b, int64_t *ret_version, struct ft_error *e)
{
	enum ft_status s = b->engine->known(b, ret_version, e);

	return s == FT_OK && *ret_version > BOOK_VERSION ? book_fail_newer(b, *ret_version, e) : s;
}

static enum ft_status take_steps(struct ft_book *b, struct ft_error *e)
{
	int64_t version = 0;
	enum ft_status s = known(b, &version, e); /* again: another program may have been quicker */

	for (; s == FT_OK && version < BOOK_VERSION; version++)
		s = b->engine->step(b, steps[version], e);
	return s == FT_OK ? b->engine->set_version(b, BOOK_VERSION, e) : s;
}

enum ft_status book_bring_up_to_date(struct ft_book *b, struct ft_error *e)
{
	int64_t version = 0;
	enum ft_status s = known(b, &version, e);

	if (s != FT_OK || version == BOOK_VERSION)
		return s;
	s = book_begin_write(b, e);
	if (s != FT_OK)
		return s;
	return book_end(b, take_steps(b, e), "bringing up to date", e);
}

const char *book_table(size_t index, struct ft_arena *a)
{
	static const char word[] = "CREATE TABLE ";

	for (size_t i = 0; i < BOOK_VERSION; i++)
		for (const char *p = steps[i]; (p = strstr(p, word)) != NULL;) {
			p += sizeof word - 1;
			if (index-- == 0)
				return ft_arena_text(a, (struct ft_slice){ p, strcspn(p, " (") });
		}
	return NULL;
}
