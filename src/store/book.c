/* SPDX-License-Identifier: Apache-2.0 */
/* The book as a whole: opened in whatever it lies, looked over, backed up. */
#include "book.h"

#include <stdlib.h>

#include "fettle/late.h"

struct ft_book *ft_book_free(struct ft_book *b)
{
	if (b) {
		ft_book_free(b->beside);
		if (b->engine)
			b->engine->close(b);
		free(b->told);
		free(b->path);
		free(b);
	}
	return NULL;
}

const char *ft_book_name(const struct ft_book *b)
{
	return b->path;
}

/* An address as it may be shown: what stands between the first : behind the // and the @ is a password. */
static void hide_password(char *address)
{
	char *user = strstr(address, "//"), *at, *colon;

	if (!user)
		return;
	user += 2;
	at = user + strcspn(user, "@/?");
	colon = memchr(user, ':', (size_t)(at - user));
	if (*at == '@' && colon)
		memmove(colon, at, strlen(at) + 1);
	while ((at = strstr(user, "password=")) != NULL) /* of the server, of its certificate */
		memmove(at, at + strcspn(at, "&"), strlen(at + strcspn(at, "&")) + 1);
}

static bool on_server(const char *path)
{
	return strncmp(path, "postgresql://", 13) == 0 || strncmp(path, "postgres://", 11) == 0;
}

enum ft_status ft_book_open(const char *path, enum ft_book_mode mode, struct ft_book **ret, struct ft_error *e)
{
	struct ft_book *b = calloc(1, sizeof *b);
	enum ft_status s;

	if (b) {
		b->alone = -1;
		b->path = strdup(path);
		b->told = strdup(path);
	}
	if (!b || !b->path || !b->told) {
		ft_book_free(b);
		return ft_fail_memory(e, "opening the book");
	}
	b->engine = &book_sqlite;
	if (on_server(path)) {
		hide_password(b->path);
		b->engine = ft_late("fettle-postgres", "store", "ft_postgres", BOOK_ENGINE_VERSION,
		                    "keeps books on a PostgreSQL server", e);
	}
	s = b->engine ? b->engine->open(b, mode, e) : FT_E_INTERNAL;
	if (s != FT_OK) {
		ft_book_free(b);
		return s;
	}
	*ret = b;
	return FT_OK;
}

void ft_book_patience(struct ft_book *b, int milliseconds)
{
	b->engine->patience(b, milliseconds);
}

static enum ft_status check_contents(struct ft_book *b, struct ft_arena *a, struct ft_error *e)
{
	struct book_query q = book_ask(b, "SELECT hash, bytes FROM content");
	enum ft_status s = FT_OK;

	q.stream = true;
	while (s == FT_OK && book_row(&q)) {
		struct ft_slice stated, bytes;
		struct ft_hash h;
		char text[FT_HASH_TEXT];
		ft_arena_reset(a);
		if (!book_blob(&q, 0, a, &stated) || !book_blob(&q, 1, a, &bytes))
			break;
		h = ft_hash_of(bytes.p, bytes.n);
		if (stated.n != FT_HASH_BYTES || memcmp(stated.p, h.b, FT_HASH_BYTES) != 0)
			s = ft_fail(
				e, FT_E_STORE,
				"The book %s is damaged: a piece of evidence is not what it was (it has the hash %.16s now); add it again or take the last backup.",
				b->path, ft_hash_text(&h, text));
	}
	if (s != FT_OK) {
		book_asked(&q, "checking", NULL);
		return s;
	}
	return book_asked(&q, "checking", e);
}

enum ft_status ft_book_check(struct ft_book *b, struct ft_arena *a, struct ft_book_state *ret, struct ft_error *e)
{
	struct ft_book_state state = { .version = BOOK_VERSION };
	struct book_query q;
	enum ft_status s = b->engine->look_over(b, true, e);

	if (s == FT_OK)
		s = check_contents(b, a, e);
	if (s != FT_OK)
		return s;
	q = book_ask(b,
	             "SELECT (SELECT count(*) FROM visit), (SELECT count(*) FROM visit WHERE closed_us IS NULL), "
	             "(SELECT count(*) FROM content), (SELECT CAST(coalesce(sum(size), 0) AS BIGINT) FROM content)");
	if (book_row(&q)) {
		state.visits = book_i64(&q, 0);
		state.open_visits = book_i64(&q, 1);
		state.contents = book_i64(&q, 2);
		state.bytes = book_i64(&q, 3);
	}
	s = book_asked(&q, "checking", e);
	if (s == FT_OK)
		*ret = state;
	return s;
}

enum ft_status ft_book_backup(struct ft_book *b, const char *path, struct ft_error *e)
{
	return b->engine->backup(b, path, e);
}
