/* SPDX-License-Identifier: Apache-2.0 */
/* A book on a PostgreSQL server, for an office with many hands: the same tables and the same SQL in a schema of its
 * own. Loaded when such a book is named, as libpq brings much with it. */
#include "book.h"
#include "ddl.h"

#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>

/* Types by the numbers that PostgreSQL gives them in its catalogue (pg_type.dat). */
enum { OID_BOOL = 16, OID_BYTEA = 17, OID_INT8 = 20, OID_INT2 = 21, OID_INT4 = 23, OID_TEXT = 25 };

enum code { CODE_NONE, CODE_LOST, CODE_HELD, CODE_FULL, CODE_DENIED, CODE_MEMORY, CODE_DAMAGED, CODE_OTHER };

enum { PARAMETERS_MAX = 32, BINARY = 1 };

/* Any number would do, as long as every fettle takes the same: whoever writes waits for it. */
#define WRITE_LOCK "1718904940"

struct pg_query {
	char *sql;
	PGresult *rows;
	int at; /* the row that stands ready */
	int parameters;
	bool asked;
	Oid types[PARAMETERS_MAX];
	const char *values[PARAMETERS_MAX];
	int lengths[PARAMETERS_MAX], formats[PARAMETERS_MAX];
	char numbers[PARAMETERS_MAX][8]; /* big-endian */
	int64_t number;                  /* the column that was read last */
};

static void say_nothing(void *arg, const char *message)
{
	(void)arg, (void)message; /* notices are for administrators */
}

/* The class of a failure by its SQLSTATE (appendix A of the PostgreSQL manual). */
static enum code code_of(const PGconn *conn, const PGresult *r)
{
	static const struct {
		const char *state;
		enum code code;
	} table[] = {
		{ "08", CODE_LOST },   { "53100", CODE_FULL },    { "53", CODE_MEMORY },     { "55P03", CODE_HELD },
		{ "40", CODE_HELD },   { "57P", CODE_LOST },      { "42501", CODE_DENIED },  { "25006", CODE_DENIED },
		{ "28", CODE_DENIED }, { "XX001", CODE_DAMAGED }, { "XX002", CODE_DAMAGED },
	};
	const char *state = r ? PQresultErrorField(r, PG_DIAG_SQLSTATE) : NULL;

	if (PQstatus(conn) != CONNECTION_OK)
		return CODE_LOST;
	for (size_t i = 0; state && i < sizeof table / sizeof *table; i++)
		if (strncmp(state, table[i].state, strlen(table[i].state)) == 0)
			return table[i].code;
	return CODE_OTHER;
}

/* One line, without the line ends and details that a server adds. */
static int first_line(const char *message)
{
	return (int)strcspn(message, "\n");
}

static enum ft_status fail(const struct ft_book *b, int code, const char *doing, struct ft_error *e)
{
	const char *why = b->db ? PQerrorMessage(b->db) : "";

	switch ((enum code)code) {
	case CODE_LOST:
		return ft_fail(
			e, FT_E_STORE,
			"The server of the book %s was lost while %s it (%.*s); what was not confirmed is not in it; try again.",
			b->path, doing, first_line(why), why);
	case CODE_HELD:
		return ft_fail(e, FT_E_STORE,
		               "The book %s is held by another program; nothing was changed; try again when it is done.",
		               b->path);
	case CODE_FULL:
		return ft_fail(e, FT_E_STORE,
		               "The disk of the server is full: the book %s was left as it was; make room and try again.",
		               b->path);
	case CODE_DENIED:
		return ft_fail(e, FT_E_STORE, "The server allows you no %s the book %s (%.*s); ask who keeps it.", doing,
		               b->path, first_line(why), why);
	case CODE_MEMORY:
		return ft_fail_memory(e, doing);
	case CODE_DAMAGED:
		return book_fail_damaged(b, e);
	default:
		return ft_fail(e, FT_E_STORE, "The book %s did not allow %s it: %.*s.", b->path, doing, first_line(why), why);
	}
}

/* ---- queries ---- */

static void ask(struct book_query *q, const char *sql)
{
	struct pg_query *p = calloc(1, sizeof *p);

	if (p)
		p->sql = ddl_parameters(sql, &p->parameters);
	if (!p || !p->sql || p->parameters > PARAMETERS_MAX) {
		q->code = CODE_MEMORY;
		if (p)
			free(p->sql);
		free(p);
		return;
	}
	q->st = p;
}

static void write_big_endian(uint64_t v, char ret[8])
{
	for (int k = 0; k < 8; k++)
		ret[k] = (char)(v >> (56 - 8 * k));
}

static int put(struct book_query *q, int at, const struct book_value *v)
{
	static const Oid types[] = { [BOOK_I64] = OID_INT8, [BOOK_TEXT] = OID_TEXT, [BOOK_BLOB] = OID_BYTEA };
	struct pg_query *p = q->st;
	int i = at - 1;

	if (i < 0 || i >= PARAMETERS_MAX || v->n > INT32_MAX)
		return CODE_OTHER;
	p->types[i] = types[v->kind]; /* 0 of a null: the server finds out */
	p->formats[i] = v->kind != BOOK_TEXT;
	p->values[i] = v->p;
	p->lengths[i] = (int)v->n;
	if (v->kind == BOOK_I64 && v->i != FT_ABSENT) {
		write_big_endian((uint64_t)v->i, p->numbers[i]);
		p->values[i] = p->numbers[i];
		p->lengths[i] = 8;
	}
	return CODE_NONE;
}

static int parameters(const struct book_query *q)
{
	return ((const struct pg_query *)q->st)->parameters;
}

/* Takes `r` as the rows at hand; false when it is a failure, the end, or has none. */
static bool take(struct book_query *q, PGresult *r)
{
	struct pg_query *p = q->st;
	ExecStatusType s = PQresultStatus(r);

	PQclear(p->rows);
	p->rows = r;
	p->at = 0;
	if (r && (s == PGRES_SINGLE_TUPLE || s == PGRES_TUPLES_OK))
		return PQntuples(r) > 0;
	if (!r && !q->stream)
		q->code = CODE_MEMORY;
	else if (r && s != PGRES_COMMAND_OK)
		q->code = code_of(q->book->db, r);
	return false;
}

static bool row(struct book_query *q)
{
	struct pg_query *p = q->st;
	PGconn *conn = q->book->db;

	if (p->asked && !q->stream)
		return p->rows && ++p->at < PQntuples(p->rows);
	if (!p->asked) {
		p->asked = true;
		if (!q->stream)
			return take(q,
			            PQexecParams(conn, p->sql, p->parameters, p->types, p->values, p->lengths, p->formats, BINARY));
		if (!PQsendQueryParams(conn, p->sql, p->parameters, p->types, p->values, p->lengths, p->formats, BINARY) ||
		    !PQsetSingleRowMode(conn)) {
			q->code = code_of(conn, NULL);
			return false;
		}
	}
	return take(q, PQgetResult(conn));
}

static int64_t big_endian(const char *bytes, int n)
{
	uint64_t v = n && ((unsigned char)bytes[0] & 0x80) ? UINT64_MAX : 0;

	for (int i = 0; i < n; i++)
		v = v << 8 | (unsigned char)bytes[i];
	return (int64_t)v;
}

static void column(const struct book_query *q, int column, struct book_value *ret)
{
	const struct pg_query *p = q->st;
	const char *bytes = PQgetvalue(p->rows, p->at, column);
	int n = PQgetlength(p->rows, p->at, column);

	*ret = (struct book_value){ .kind = BOOK_NULL };
	if (PQgetisnull(p->rows, p->at, column))
		return;
	switch (PQftype(p->rows, column)) {
	case OID_BOOL:
	case OID_INT2:
	case OID_INT4:
	case OID_INT8:
		ret->kind = BOOK_I64;
		ret->i = PQftype(p->rows, column) == OID_BOOL ? n == 1 && bytes[0] != 0 : big_endian(bytes, n);
		return;
	case OID_BYTEA:
		ret->kind = BOOK_BLOB;
		break;
	default:
		ret->kind = BOOK_TEXT;
	}
	ret->p = bytes;
	ret->n = (size_t)n;
}

static int width(const struct book_query *q)
{
	return PQnfields(((const struct pg_query *)q->st)->rows);
}

static const char *label(const struct book_query *q, int column)
{
	return PQfname(((const struct pg_query *)q->st)->rows, column);
}

static void done(struct book_query *q)
{
	struct pg_query *p = q->st;
	PGresult *rest;

	PQclear(p->rows);
	if (q->stream && p->asked) /* what nobody read must be taken off the line */
		while ((rest = PQgetResult(q->book->db)) != NULL)
			PQclear(rest);
	free(p->sql);
	free(p);
}

static int exec(struct ft_book *b, const char *sql)
{
	PGresult *r = PQexec(b->db, sql);
	ExecStatusType s = PQresultStatus(r);
	int code = s == PGRES_COMMAND_OK || s == PGRES_TUPLES_OK || s == PGRES_EMPTY_QUERY ? CODE_NONE : code_of(b->db, r);

	/* A COMMIT after a failure succeeds as a ROLLBACK. */
	if (!code && strcmp(sql, "COMMIT") == 0 && strcmp(PQcmdStatus(r), "COMMIT") != 0)
		code = CODE_OTHER;
	PQclear(r);
	return code;
}

static bool in_transaction(struct ft_book *b)
{
	return PQtransactionStatus(b->db) != PQTRANS_IDLE;
}

/* Each statement sees what was written before it, whatever the server was told to do otherwise: who has waited for a
 * lock must see what came meanwhile. */
#define BEGIN_FRESH "BEGIN ISOLATION LEVEL READ COMMITTED"

/* A reader sees the book as it stood at one moment. Writers come one after the other, each for the few milliseconds
 * that a visit takes: what a transaction has read stays true until its end. */
static enum ft_status begin(struct ft_book *b, bool write, struct ft_error *e)
{
	enum ft_status s;

	if (!write)
		return book_exec(b, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", "reading", e);
	s = in_transaction(b) ? FT_OK : book_exec(b, BEGIN_FRESH, "changing", e);
	if (s == FT_OK)
		s = book_exec(b, "SELECT pg_advisory_xact_lock(" WRITE_LOCK ")", "changing", e);
	if (s != FT_OK && PQtransactionStatus(b->db) != PQTRANS_IDLE)
		exec(b, "ROLLBACK");
	return s;
}

/* Who holds a claim may be at it for long, and who waits for one waits. */
static enum ft_status claim(struct ft_book *b, struct ft_error *e)
{
	if (in_transaction(b))
		return FT_OK;
	return book_exec(b,
	                 BEGIN_FRESH "; SET LOCAL lock_timeout = 0; SET LOCAL idle_in_transaction_session_timeout = '1h'",
	                 "claiming work in", e);
}

/* ---- the place ---- */

static enum ft_status known(struct ft_book *b, int64_t *ret, struct ft_error *e)
{
	/* Asked of the catalogue itself: what a session believes of names may be older than its wait for the lock. */
	struct book_query q = book_ask(b,
	                               "SELECT count(*) FROM pg_catalog.pg_class c "
	                               "JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace "
	                               "WHERE n.nspname = 'fettle' AND c.relname = 'book_version'");
	int64_t there = 0, version = FT_ABSENT;
	enum ft_status s = book_number(&q, "reading", &there, e);

	*ret = 0;
	if (s != FT_OK || there != 1)
		return s;
	q = book_ask(b, "SELECT max(version) FROM book_version");
	s = book_number(&q, "reading", &version, e);
	*ret = version == FT_ABSENT ? 0 : version;
	return s;
}

static enum ft_status step(struct ft_book *b, const char *sql, struct ft_error *e)
{
	char *here = ddl_for_server(sql);
	enum ft_status s = here ? book_exec(b,
	                                    "CREATE SCHEMA IF NOT EXISTS fettle;"
	                                    "CREATE COLLATION IF NOT EXISTS fettle.nocase "
	                                    "(provider = icu, locale = 'und-u-ks-level2', deterministic = false);"
	                                    "CREATE TABLE IF NOT EXISTS fettle.book_version (version bigint NOT NULL)",
	                                    "beginning", e)
							: ft_fail_memory(e, "bringing the book up to date");

	if (s == FT_OK)
		s = book_exec(b, here, "bringing up to date", e);
	free(here);
	return s;
}

static enum ft_status set_version(struct ft_book *b, int version, struct ft_error *e)
{
	struct book_query q = book_ask(b, "INSERT INTO book_version (version) VALUES (?)");

	book_put_i64(&q, version);
	return book_run(&q, "bringing up to date", e);
}

static enum ft_status numbered(struct ft_book *b, const char *table, struct ft_error *e)
{
	char sql[256];
	int64_t has = 0;
	enum ft_status s;
	struct book_query q = book_ask(b,
	                               "SELECT count(*) FROM information_schema.columns WHERE table_schema = 'fettle' "
	                               "AND table_name = ? AND column_name = 'number' AND is_identity = 'YES'");

	book_put_text(&q, table);
	s = book_number(&q, "copying", &has, e);
	if (s != FT_OK || !has)
		return s;
	if ((size_t)snprintf(sql, sizeof sql,
	                     "SELECT setval(pg_get_serial_sequence('%s', 'number'), (SELECT max(number) FROM %s))", table,
	                     table) >= sizeof sql)
		return ft_fail(e, FT_E_INTERNAL, "The name of the table %s is too long.", table);
	return book_exec(b, sql, "copying", e);
}

static enum ft_status month(struct ft_book *b, int64_t us, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT watch_part_month(?)");

	book_put_i64(&q, us);
	return book_run(&q, "making room for a month in", e);
}

static void patience(struct ft_book *b, int milliseconds)
{
	char sql[64];

	snprintf(sql, sizeof sql, "SET lock_timeout = %d", milliseconds);
	exec(b, sql);
}

static void close_book(struct ft_book *b)
{
	PQfinish(b->db);
	b->db = NULL;
}

static enum ft_status open_book(struct ft_book *b, enum ft_book_mode mode, struct ft_error *e)
{
	/* What the address itself says comes last and counts. */
	const char *keys[] = { "connect_timeout", "application_name", "client_encoding", "dbname", NULL };
	const char *values[] = { "10", "fettle", "UTF8", b->told, NULL };
	int64_t version = 0;
	enum ft_status s;

	b->db = PQconnectdbParams(keys, values, 1);
	if (!b->db)
		return ft_fail_memory(e, "opening the book");
	if (PQstatus(b->db) != CONNECTION_OK) {
		const char *why = PQerrorMessage(b->db);
		return ft_fail(e, FT_E_STORE, "The server of the book %s cannot be reached: %.*s.", b->path, first_line(why),
		               why);
	}
	PQsetNoticeProcessor(b->db, say_nothing, NULL);
	/* A host that is gone without a word shall not hold its claims for two hours. */
	s = book_exec(b,
	              "SET search_path = fettle; SET extra_float_digits = 3; SET synchronous_commit = on; "
	              "SET tcp_keepalives_idle = 30; SET tcp_keepalives_interval = 10; SET tcp_keepalives_count = 3",
	              "opening", e);
	if (s != FT_OK)
		return s;
	patience(b, BOOK_PATIENCE_MS);
	s = known(b, &version, e);
	if (s == FT_OK && version == 0 && mode == FT_BOOK_READ)
		return ft_fail(e, FT_E_STORE, "There is no book in %s yet; fettle visit open ASSET begins one.", b->path);
	return s == FT_OK ? book_bring_up_to_date(b, e) : s;
}

/* The server keeps its pages and references whole by itself; that no reference lacks its target is asked once more,
 * as a restore with triggers off could have let one in. */
static enum ft_status look_over(struct ft_book *b, bool whole, struct ft_error *e)
{
	struct book_query q;
	int64_t broken = 0;
	enum ft_status s;

	if (!whole)
		return FT_OK;
	q = book_ask(
		b,
		"SELECT (SELECT count(*) FROM evidence e WHERE NOT EXISTS (SELECT 1 FROM content c WHERE c.hash = e.hash)) "
		"+ (SELECT count(*) FROM evidence e WHERE NOT EXISTS (SELECT 1 FROM visit v WHERE v.number = e.visit))");
	s = book_number(&q, "checking", &broken, e);
	return s == FT_OK && broken != 0 ? book_fail_damaged(b, e) : s;
}

static enum ft_status backup(struct ft_book *b, const char *path, struct ft_error *e)
{
	return ft_fail(
		e, FT_E_USAGE,
		"The book %s lies on a server: fettle book copy writes it into the file %s, pg_dump keeps all of the "
		"server.",
		b->path, path);
}

/* The one symbol of this part. */
extern const struct book_engine ft_postgres;
__attribute__((visibility("default"))) const struct book_engine ft_postgres = { BOOK_ENGINE_MEMBERS, .claim = claim };
