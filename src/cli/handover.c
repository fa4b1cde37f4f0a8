/* SPDX-License-Identifier: Apache-2.0 */
/* handover pack, verify, receive, key, trust: joins the paper room with the book and with files. */
#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "fettle/paper.h"
#include "fettle/store.h"
#include "verbs.h"

enum { KEY_FILE_MAX = 64 << 10, MAPPING_MAX = 256 << 10 }; /* ours: some hundred keys, some hundred columns */

static const char program[] = "fettle " FT_VERSION;

/* ---- keys on disk ---- */

/* $XDG_CONFIG_HOME/fettle or ~/.config/fettle, with the file's name behind it. */
static const char *config_path(struct cli *c, const char *name)
{
	const char *config = getenv("XDG_CONFIG_HOME");
	const char *home = getenv("HOME");

	if (config && *config)
		return ft_arena_printf(&c->arena, "%s/fettle/%s", config, name);
	return ft_arena_printf(&c->arena, "%s/.config/fettle/%s", home && *home ? home : ".", name);
}

/* Makes every folder above the file, readable by nobody else. */
static enum ft_status make_folders(struct cli *c, const char *path)
{
	char *p = ft_arena_printf(&c->arena, "%s", path);

	if (!p)
		return ft_fail_memory(&c->error, "the key");
	for (char *at = strchr(p + 1, '/'); at; at = strchr(at + 1, '/')) {
		*at = 0;
		if (mkdir(p, 0700) != 0 && errno != EEXIST)
			return ft_fail(&c->error, FT_E_STORE, "The folder %s for the key could not be made: %s.", p,
			               strerror(errno));
		*at = '/';
	}
	return FT_OK;
}

static const char *default_name(struct cli *c, char host[65])
{
	const char *name = cli_value(c, "name");
	const char *user = getenv("USER");

	if (name)
		return name;
	if (gethostname(host, 64) != 0)
		snprintf(host, 65, "this computer");
	host[64] = 0;
	return ft_arena_printf(&c->arena, "%s at %s", user && *user ? user : "a fitter", host);
}

static enum ft_status write_secret(struct cli *c, const char *path, const struct ft_key *k)
{
	struct ft_buf text = { 0 };
	enum ft_status s = FT_OK;
	int fd;

	ft_key_write(k, true, &text);
	/* O_EXCL: two first uses at once must not end with two keys. */
	fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
	if (fd < 0 || text.status != FT_OK || write(fd, text.p, text.n) != (ssize_t)text.n || fsync(fd) != 0)
		s = ft_fail(&c->error, FT_E_STORE, "The key could not be written to %s: %s.", path, strerror(errno));
	if (fd >= 0)
		close(fd);
	if (s != FT_OK && fd >= 0)
		unlink(path);
	if (text.p)
		sodium_memzero(text.p, text.n);
	ft_buf_done(&text);
	return s;
}

static enum ft_status new_key(struct cli *c, const char *path, struct ft_key *ret)
{
	uint8_t seed[FT_SEED_BYTES];
	char host[65] = "";
	const char *name = default_name(c, host);
	enum ft_status s;

	if (!name)
		return ft_fail_memory(&c->error, "the key");
	randombytes_buf(seed, sizeof seed);
	s = ft_key_make(seed, ft_slice_of(name), ret, &c->error);
	sodium_memzero(seed, sizeof seed);
	if (s == FT_OK)
		s = make_folders(c, path);
	if (s == FT_OK)
		s = write_secret(c, path, ret);
	if (s == FT_OK)
		fprintf(stderr, "Made a key for %s in %s; keep a copy where only you can read it.\n", ret->name, path);
	return s;
}

/* The same key under the name that was given: somebody who only looked at it may have had it made under a name of the
 * computer. A key in a file of its own belongs to whoever made it. */
static enum ft_status name_key(struct cli *c, const char *path, bool own, struct ft_key *k)
{
	const char *name = cli_value(c, "name");
	const char *beside = ft_arena_printf(&c->arena, "%s.new", path);
	struct ft_key named = { 0 };
	enum ft_status s;

	if (!name || strcmp(name, k->name) == 0)
		return FT_OK;
	if (!own) {
		fprintf(stderr, "The key in %s is that of %s and keeps this name.\n", path, k->name);
		return FT_OK;
	}
	if (!beside)
		return ft_fail_memory(&c->error, "the key");
	s = ft_key_make(k->seed, ft_slice_of(name), &named, &c->error);
	if (s != FT_OK)
		return s;
	unlink(beside); /* of a run that was cut off */
	s = write_secret(c, beside, &named);
	if (s == FT_OK && rename(beside, path) != 0) {
		s = ft_fail(&c->error, FT_E_STORE, "The key could not be written to %s: %s.", path, strerror(errno));
		unlink(beside);
	}
	if (s == FT_OK) {
		fprintf(stderr, "The key here was that of %s; from now on its name is %s.\n", k->name, named.name);
		*k = named;
	}
	ft_key_done(&named);
	return s;
}

/* The key to sign with: --key FILE, else the one in the user's folder, made on first use. */
static enum ft_status own_key(struct cli *c, struct ft_key *ret)
{
	const char *given = cli_value(c, "key");
	const char *path = given ? given : config_path(c, "key");
	struct ft_slice text;
	struct ft_key *keys;
	size_t count;
	struct stat st;
	enum ft_status s;

	if (!path)
		return ft_fail_memory(&c->error, "the key");
	if (!given && stat(path, &st) != 0 && errno == ENOENT)
		return new_key(c, path, ret);
	s = cli_read_file(c, path, "the key", KEY_FILE_MAX, &text);
	if (s != FT_OK)
		return s;
	if (stat(path, &st) == 0 && (st.st_mode & 077))
		fprintf(stderr, "fettle: the key %s can be read by others; chmod 600 it.\n", path);
	s = ft_keys_read(text, path, &c->arena, &keys, &count, &c->error);
	if (s == FT_OK && (count != 1 || !keys[0].secret))
		s = ft_fail(&c->error, FT_E_INPUT, "%s holds no secret key to sign with; fettle handover key makes one.", path);
	if (s == FT_OK) {
		*ret = keys[0];
		ft_key_done(&keys[0]);
		s = name_key(c, path, !given, ret);
	}
	sodium_memzero((void *)(uintptr_t)text.p, text.n); /* the copy in the arena */
	return s;
}

/* Adds the keys of one file to the trusted ones; a missing default file is an empty one. */
static enum ft_status add_keys(struct cli *c, const char *path, bool must, struct ft_key **keys, size_t *count,
                               size_t *room)
{
	struct ft_slice text;
	struct ft_key *more;
	size_t n;
	enum ft_status s;

	if (!path)
		return ft_fail_memory(&c->error, "the keys");
	if (!must && access(path, F_OK) != 0)
		return FT_OK;
	s = cli_read_file(c, path, "the keys", KEY_FILE_MAX, &text);
	if (s == FT_OK)
		s = ft_keys_read(text, path, &c->arena, &more, &n, &c->error);
	for (size_t i = 0; s == FT_OK && i < n; i++) {
		*keys = ft_arena_grow(&c->arena, *keys, *count, room, sizeof **keys);
		if (!*keys)
			return ft_fail_memory(&c->error, "the keys");
		(*keys)[*count] = more[i];
		(*keys)[*count].secret = false;
		sodium_memzero((*keys)[*count].seed, FT_SEED_BYTES);
		ft_key_done(&more[i]);
		(*count)++;
	}
	return s;
}

/* --key: only that key may have signed. Else the user's own key, the trusted ones and those of --trust. */
static enum ft_status trusted_keys(struct cli *c, struct ft_key **ret, size_t *ret_count, bool *ret_only)
{
	const char *only = cli_value(c, "key");
	size_t room = 0;
	enum ft_status s;

	*ret = NULL;
	*ret_count = 0;
	*ret_only = only != NULL;
	if (only)
		return add_keys(c, only, true, ret, ret_count, &room);
	s = add_keys(c, config_path(c, "key"), false, ret, ret_count, &room);
	if (s == FT_OK)
		s = add_keys(c, config_path(c, "trusted"), false, ret, ret_count, &room);
	for (int i = 0; s == FT_OK && cli_value_nth(c, "trust", i); i++)
		s = add_keys(c, cli_value_nth(c, "trust", i), true, ret, ret_count, &room);
	return s;
}

/* ---- what all of them say ---- */

static const char *plural(size_t n, const char *one, const char *many)
{
	return n == 1 ? one : many;
}

static int say_document(struct cli *c, const struct ft_findings *f, enum ft_verdict verdict, const char *content,
                        const char *signed_by, const struct ft_handover *h, const char *file,
                        const struct ft_conflict *conflicts, size_t conflict_count, const char *filed,
                        const char *visit)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	cli_document(c, &j, &out, verdict, f);
	ft_json_text(&j, "package", content);
	ft_json_text(&j, "signed_by", signed_by);
	ft_json_text(&j, "file", file);
	if (h) {
		ft_json_text(&j, "stated_verdict", ft_verdict_word(h->judgement.verdict));
		ft_visit_json(&j, h->visit);
		ft_claims_json(&j, h->visit, &h->judgement);
	} else {
		ft_json_array(&j, "claims");
		ft_json_array_end(&j);
	}
	ft_json_array(&j, "conflicts");
	for (size_t i = 0; i < conflict_count; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "kind", ft_conflict_word(conflicts[i].kind));
		ft_json_text(&j, "sentence", conflicts[i].sentence);
		ft_json_text(&j, "visit", conflicts[i].visit);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	if (filed) {
		ft_json_text(&j, "filed", filed);
		ft_json_text(&j, "filed_as", visit);
	}
	return cli_document_end(c, &j);
}

static void say_package(const struct ft_opened *p, const struct ft_handover *h)
{
	char print[FT_FINGERPRINT_TEXT];

	printf("Package %.16s of %s%s%s, visit %s.\n", p->content, h->visit->asset, h->visit->site ? ", " : "",
	       h->visit->site ? h->visit->site : "", h->visit->id);
	printf("Signed by %s, key %s%s.\n", p->signed_by, ft_key_fingerprint(p->public_key, print),
	       p->known ? "" : ", not known here");
}

/* ---- pack ---- */

static enum ft_status read_mapping(struct cli *c, struct ft_pack_options *o)
{
	const char *path = cli_value(c, "mapping");
	struct ft_column *columns;
	struct ft_slice text;
	enum ft_status s;

	if (!path)
		return FT_OK;
	s = cli_read_file(c, path, "the mapping", MAPPING_MAX, &text);
	if (s == FT_OK)
		s = ft_mapping_read(text, &c->arena, &columns, &o->column_count, &c->error);
	if (s == FT_OK)
		o->columns = columns;
	return s;
}

static bool read_sheet(struct cli *c, enum ft_sheet *ret)
{
	const char *paper = cli_value(c, "paper");

	if (paper && strcmp(paper, "a4") != 0 && strcmp(paper, "letter") != 0) {
		cli_usage(c, "--paper is a4 or letter, not \"%s\".", paper);
		return false;
	}
	*ret = paper && strcmp(paper, "letter") == 0 ? FT_SHEET_LETTER : FT_SHEET_A4;
	return true;
}

static enum ft_status load_visit(struct cli *c, struct ft_book **book, struct ft_visit *v)
{
	const char *path = cli_book_path(c);
	const char *id;
	enum ft_status s =
		path ? ft_book_open(path, FT_BOOK_WRITE, book, &c->error) : ft_fail_memory(&c->error, "the book");

	if (s == FT_OK)
		s = ft_book_visit_find(*book, c->arguments[1], &c->arena, &id, &c->error);
	if (s == FT_OK)
		s = ft_book_visit_load(*book, id, FT_LOAD_ALL, &c->arena, v, &c->error);
	return s;
}

static enum ft_status note_package(struct cli *c, struct ft_book *book, const char *id, const struct ft_package *p)
{
	return ft_book_package_add(book, id, p, &c->error);
}

static struct ft_package package_row(struct cli *c, struct ft_slice zip, const uint8_t public_key[FT_PUBLIC_BYTES],
                                     bool sent)
{
	struct ft_package p = { .hash = ft_hash_of(zip.p, zip.n), .sent = sent };
	struct ft_buf hex = { 0 };

	for (int i = 0; i < FT_PUBLIC_BYTES; i++)
		ft_buf_printf(&hex, "%02x", public_key[i]);
	p.signed_by = ft_arena_text(&c->arena, ft_buf_text(&hex));
	ft_buf_done(&hex);
	p.at_us = cli_now(&p.at_offset);
	return p;
}

static enum ft_status write_package(struct cli *c, struct ft_book *book, const struct ft_handover *h,
                                    struct ft_pack_options *o, const char *path, char content[FT_HASH_TEXT])
{
	struct ft_buf zip = { 0 };
	enum ft_status s = ft_handover_pack(h, o, &c->arena, &zip, content, &c->error);

	if (s == FT_OK)
		s = cli_write_file(c, path, ft_buf_text(&zip));
	if (s == FT_OK) {
		struct ft_package row = package_row(c, ft_buf_text(&zip), o->signer->public_key, true);
		s = note_package(c, book, h->visit->id, &row);
	}
	ft_buf_done(&zip);
	return s;
}

static int pack(struct cli *c)
{
	const char *path = cli_value(c, "o");
	struct ft_pack_options o = { .program = program };
	struct ft_book *book = NULL;
	struct ft_visit v;
	struct ft_handover h;
	struct ft_key key = { 0 };
	char content[FT_HASH_TEXT] = "";
	enum ft_status s;
	int code;

	if (!path) {
		cli_usage(c, "handover pack needs -o FILE.zip to write to.");
		return cli_failed(c);
	}
	if (!read_sheet(c, &o.sheet) || read_mapping(c, &o) != FT_OK)
		return cli_failed(c);
	s = load_visit(c, &book, &v);
	if (s == FT_OK)
		s = own_key(c, &key);
	if (s == FT_OK)
		s = ft_handover_prepare(&v, &c->arena, &h, &c->error);
	o.signer = &key;
	if (s == FT_OK)
		s = write_package(c, book, &h, &o, path, content);
	ft_book_free(book);
	if (s != FT_OK) {
		ft_key_done(&key);
		return cli_failed(c);
	}
	code = cli_exit(h.judgement.verdict);
	if (c->json) {
		int said = say_document(c, &h.judgement.findings, h.judgement.verdict, content, key.name, &h, path, NULL, 0,
		                        NULL, NULL);
		code = said ? said : code;
	} else if (strcmp(path, "-") != 0) {
		cli_say(c, "%s: %s.", v.asset, ft_judgement_words(&h.judgement, &c->arena));
		printf("Packed visit %s into %s, signed by %s.\nPackage %s\n", v.id, path, key.name, content);
		if (v.closed_us == FT_ABSENT)
			printf("The visit is still open: pack it again when it is closed.\n");
	}
	ft_key_done(&key);
	return code;
}

/* ---- verify and receive ---- */

struct arrival {
	struct ft_slice zip;
	struct ft_findings findings;
	struct ft_opened opened;
	struct ft_visit visit;
	struct ft_handover handover;
	bool read; /* visit and handover hold */
};

/* Opens and judges; a package whose seal is broken is not read any further. */
static enum ft_status take_in(struct cli *c, struct arrival *a)
{
	struct ft_key *trusted;
	size_t count;
	bool only;
	enum ft_status s = trusted_keys(c, &trusted, &count, &only);

	a->findings.arena = &c->arena;
	if (s == FT_OK)
		s = cli_read_file(c, c->arguments[1], "a package", FT_PACKAGE_BYTES_MAX, &a->zip);
	if (s == FT_OK)
		s = ft_package_open(a->zip, trusted, count, only, &c->arena, &a->findings, &a->opened, &c->error);
	if (s == FT_OK && a->opened.sealed) {
		s = ft_handover_check(&a->opened, program, &c->arena, &a->findings, &a->visit, &a->handover, &c->error);
		a->read = s == FT_OK;
	}
	return s;
}

static int verify(struct cli *c)
{
	struct arrival a = { 0 };
	enum ft_verdict verdict;

	if (take_in(c, &a) != FT_OK)
		return cli_failed(c);
	/* The question here is whether the package holds, not how the machine stands. */
	verdict = ft_verdict_of(&a.findings, false);
	if (c->json) {
		int said = say_document(c, &a.findings, verdict, a.opened.content, a.opened.signed_by,
		                        a.read ? &a.handover : NULL, c->arguments[1], NULL, 0, NULL, NULL);
		return said ? said : cli_exit(verdict);
	}
	if (!a.read)
		printf("The package %s does not hold:\n", c->arguments[1]);
	else
		say_package(&a.opened, &a.handover);
	if (a.read && verdict == FT_SHOWN)
		cli_say(c, "%zu %s as signed; the verdict follows from the evidence: %s.", a.opened.member_count,
		        plural(a.opened.member_count, "member stands", "members stand"),
		        ft_judgement_words(&a.handover.judgement, &c->arena));
	cli_print_findings(c, &a.findings);
	return cli_exit(verdict);
}

static void find_conflict(struct ft_findings *f, const struct ft_conflict *k)
{
	static const enum ft_rule_id rules[] = {
		[FT_CONFLICT_UNIT_ELSEWHERE] = FT_RULE_HANDOVER_UNIT_ELSEWHERE,
		[FT_CONFLICT_SIM_ELSEWHERE] = FT_RULE_HANDOVER_SIM_ELSEWHERE,
		[FT_CONFLICT_SERIAL_DIFFERS] = FT_RULE_HANDOVER_SERIAL_DIFFERS,
		[FT_CONFLICT_OLDER] = FT_RULE_HANDOVER_OLDER,
		[FT_CONFLICT_LATER_VISIT] = FT_RULE_HANDOVER_LATER_VISIT,
	};

	ft_find(f, rules[k->kind], (struct ft_where){ .file = k->visit }, k->sentence, NULL);
}

/* Where nobody wrote the serial number down the machine's own audit names it. */
static struct ft_visit as_seen(struct cli *c, const struct arrival *a)
{
	const struct ft_audit_shown *r = a->handover.after.there ? &a->handover.after : &a->handover.before;
	struct ft_visit seen = a->visit;

	if (!seen.machine_serial && r->there && ft_slice_trim(r->summary.serial).n)
		seen.machine_serial = ft_arena_text(&c->arena, ft_slice_trim(r->summary.serial));
	return seen;
}

static enum ft_status file_it(struct cli *c, struct arrival *a, struct ft_conflict **conflicts, size_t *count,
                              const char **id, enum ft_filed *filed)
{
	struct ft_package row = package_row(c, a->zip, a->opened.public_key, false);
	struct ft_book *book = NULL;
	const char *path = cli_book_path(c);
	struct ft_visit seen = as_seen(c, a);
	enum ft_status s =
		path ? ft_book_open(path, FT_BOOK_WRITE, &book, &c->error) : ft_fail_memory(&c->error, "the book");

	if (s == FT_OK)
		s = ft_book_conflicts(book, &seen, &c->arena, conflicts, count, &c->error);
	if (s == FT_OK)
		s = ft_book_file(book, &a->visit, &row, &c->arena, id, filed, &c->error);
	ft_book_free(book);
	for (size_t i = 0; s == FT_OK && i < *count; i++)
		find_conflict(&a->findings, &(*conflicts)[i]);
	return s;
}

static const char *filed_word(enum ft_filed f)
{
	static const char *const words[] = {
		[FT_FILED_NEW] = "new", [FT_FILED_UPDATED] = "updated", [FT_FILED_KNOWN] = "known", [FT_FILED_OLDER] = "older"
	};

	return words[f];
}

static const char *filed_sentence(enum ft_filed f)
{
	static const char *const sentences[] = {
		[FT_FILED_NEW] = "Filed as visit %s.\n",
		[FT_FILED_UPDATED] = "Visit %s was on record; it now stands as in the package.\n",
		[FT_FILED_KNOWN] = "Visit %s was on record just so; nothing had to be changed.\n",
		[FT_FILED_OLDER] = "Visit %s is on record as it stood later; nothing was changed.\n",
	};

	return sentences[f];
}

static int receive(struct cli *c)
{
	struct arrival a = { 0 };
	struct ft_conflict *conflicts = NULL;
	size_t count = 0;
	const char *id = NULL;
	enum ft_filed filed = FT_FILED_NEW;
	enum ft_verdict verdict;
	bool sound;

	if (take_in(c, &a) != FT_OK)
		return cli_failed(c);
	/* What does not hold never reaches the book; an unknown signer is named and the rest is filed. */
	sound = a.read && ft_verdict_of(&a.findings, false) != FT_CONTRADICTED;
	if (sound && file_it(c, &a, &conflicts, &count, &id, &filed) != FT_OK)
		return cli_failed(c);
	verdict = ft_verdict_of(&a.findings, false);
	if (c->json) {
		int said =
			say_document(c, &a.findings, verdict, a.opened.content, a.opened.signed_by, a.read ? &a.handover : NULL,
		                 c->arguments[1], conflicts, count, sound ? filed_word(filed) : "refused", id);
		return said ? said : cli_exit(verdict);
	}
	if (a.read)
		say_package(&a.opened, &a.handover);
	if (sound) {
		cli_say(c, "%s: %s.", a.visit.asset, ft_judgement_words(&a.handover.judgement, &c->arena));
		printf(filed_sentence(filed), id);
	} else {
		printf("The package %s does not hold; nothing was filed:\n", c->arguments[1]);
	}
	cli_print_findings(c, &a.findings);
	return cli_exit(verdict);
}

/* ---- keys ---- */

static int show_key(struct cli *c)
{
	struct ft_key key = { 0 };
	struct ft_buf out = { 0 };
	struct ft_json j;
	char print[FT_FINGERPRINT_TEXT];
	int code = FT_OK;

	if (own_key(c, &key) != FT_OK)
		return cli_failed(c);
	ft_key_fingerprint(key.public_key, print);
	if (c->json) {
		struct ft_package row = package_row(c, FT_SLICE(""), key.public_key, true);
		cli_document(c, &j, &out, FT_SHOWN, NULL);
		ft_json_text(&j, "signed_by", key.name);
		ft_json_text(&j, "public_key", row.signed_by);
		ft_json_text(&j, "fingerprint", print);
		code = cli_document_end(c, &j);
	} else {
		ft_buf_printf(&out, "# fingerprint %s\n", print);
		ft_key_write(&key, false, &out);
		if (!cli_flush(c, &out))
			code = cli_failed(c);
		ft_buf_done(&out);
	}
	ft_key_done(&key);
	return code;
}

/* Takes on the keys of a file, after a person has compared the fingerprints. */
static int trust(struct cli *c)
{
	const char *path = config_path(c, "trusted");
	struct ft_key *keys = NULL, *more = NULL;
	size_t count = 0, room = 0, more_count = 0, more_room = 0, added = 0;
	struct ft_buf out = { 0 };
	char print[FT_FINGERPRINT_TEXT];
	enum ft_status s = add_keys(c, path, false, &keys, &count, &room);

	if (s == FT_OK)
		s = add_keys(c, c->arguments[1], true, &more, &more_count, &more_room);
	if (s == FT_OK && !more_count)
		s = ft_fail(&c->error, FT_E_INPUT, "%s holds no key; fettle handover key prints one.", c->arguments[1]);
	for (size_t i = 0; s == FT_OK && i < more_count; i++) {
		bool known = false;
		for (size_t k = 0; k < count; k++)
			known |= memcmp(keys[k].public_key, more[i].public_key, FT_PUBLIC_BYTES) == 0;
		if (known)
			continue;
		ft_key_write(&more[i], false, &out);
		added++;
	}
	if (s == FT_OK && added) {
		struct ft_buf all = { 0 };
		for (size_t k = 0; k < count; k++)
			ft_key_write(&keys[k], false, &all);
		ft_buf_slice(&all, ft_buf_text(&out));
		s = all.status != FT_OK ? ft_fail_memory(&c->error, "the keys") : make_folders(c, path);
		if (s == FT_OK)
			s = cli_write_file(c, path, ft_buf_text(&all));
		ft_buf_done(&all);
	}
	ft_buf_done(&out);
	if (s != FT_OK)
		return cli_failed(c);
	if (c->json)
		return say_document(c, NULL, FT_SHOWN, NULL, more[0].name, NULL, c->arguments[1], NULL, 0, NULL, NULL);
	for (size_t i = 0; i < more_count; i++)
		printf("%s, key %s, is known now.\n", more[i].name, ft_key_fingerprint(more[i].public_key, print));
	return FT_OK;
}

static int run(struct cli *c)
{
	static const struct {
		const char *word;
		int words; /* that it takes, itself included */
		int (*run)(struct cli *c);
		const char *use;
	} parts[] = {
		{ "pack", 2, pack, "handover pack VISIT -o FILE.zip" }, { "verify", 2, verify, "handover verify FILE.zip" },
		{ "receive", 2, receive, "handover receive FILE.zip" }, { "key", 1, show_key, "handover key" },
		{ "trust", 2, trust, "handover trust FILE" },
	};

	if (sodium_init() < 0) {
		ft_fail(&c->error, FT_E_INTERNAL, "The signing library could not be started.");
		return cli_failed(c);
	}
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
		if (strcmp(c->arguments[0], parts[i].word) != 0)
			continue;
		if (c->count == parts[i].words)
			return parts[i].run(c);
		cli_usage(c, "It is used so: fettle %s.", parts[i].use);
		return cli_failed(c);
	}
	cli_usage(c, "handover knows pack, verify, receive, key and trust, not \"%s\".", c->arguments[0]);
	return cli_failed(c);
}

static const struct cli_option options[] = {
	{ "o", "FILE.zip", "pack: where the package is written (- for standard output)" },
	{ "key", "FILE", "pack: sign with the key in this file; verify, receive: nobody else may have signed" },
	{ "trust", "FILE", "verify, receive: take the keys in this file as known, this once" },
	{ "mapping", "FILE", "pack: which columns machines.csv has (column,from,format)" },
	{ "paper", "a4/letter", "pack: the sheet of the PDF (a4 when not given)" },
	{ "name", "NAME", "key, pack: whose key it is; also a key that is there takes the name" },
	{ NULL, NULL, NULL },
};

const struct cli_verb verb_handover = {
	.name = "handover",
	.arguments = "pack VISIT -o FILE.zip | verify FILE.zip | receive FILE.zip | key | trust FILE",
	.summary = "the office's package: made, tried, filed",
	.about =
		"pack writes all of a visit into one signed .zip: handover.json, handover.pdf, a line for the office's own "
		"system in machines.csv, every piece of evidence, a manifest of hashes and a signature. The first use makes a "
		"key in the user's own folder.\n\n"
		"verify tries the hashes and the signature, judges the evidence anew and compares the verdict byte for byte. "
		"receive does the same and files the visit into the book; twice is no harm. It names what in the book speaks "
		"against it: the unit at another machine, the asset with another serial number, a later state on record.\n\n"
		"key prints the public key to give to the office, trust takes on the key of somebody else.",
	.options = options,
	.examples = "$ fettle handover pack BD-0417-1 -o BD-0417-1.zip\n$ fettle handover verify BD-0417-1.zip\n"
				"$ fettle --book office.sqlite handover receive BD-0417-1.zip",
	.least = 1,
	.most = 2,
	.run = run,
};
