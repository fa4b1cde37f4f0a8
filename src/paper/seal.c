/* SPDX-License-Identifier: Apache-2.0 */
/* Manifest and signature: written for our own packages, tried on those of others. */
#include "fettle/paper.h"

#include <jansson.h>

enum { MANIFEST_BYTES_MAX = 4 << 20 }; /* ours: FT_MEMBERS_MAX rows of 200 bytes, ten times over */

static bool is_seal(const char *name)
{
	return strcmp(name, "manifest.json") == 0 || strcmp(name, "signature.json") == 0;
}

static char *hash_text(struct ft_slice bytes, char out[FT_HASH_TEXT])
{
	struct ft_hash h = ft_hash_of(bytes.p, bytes.n);

	return ft_hash_text(&h, out);
}

struct ft_hash ft_content_id(const struct ft_member *m, size_t count)
{
	struct ft_buf lines = { 0 };
	struct ft_hash h;
	char text[FT_HASH_TEXT];

	for (size_t i = 0; i < count; i++)
		if (strcmp(m[i].name, "handover.json") == 0 || strncmp(m[i].name, "evidence/", 9) == 0)
			ft_buf_printf(&lines, "%s %zu %s\n", hash_text(m[i].bytes, text), m[i].bytes.n, m[i].name);
	h = ft_hash_of(lines.p, lines.n);
	ft_buf_done(&lines);
	return h;
}

static void put_hex(struct ft_json *j, const char *key, const uint8_t *p, size_t n)
{
	char text[2 * FT_SIGNATURE_BYTES + 1];

	for (size_t i = 0; i < n && 2 * i + 2 < sizeof text; i++)
		snprintf(text + 2 * i, 3, "%02x", p[i]);
	ft_json_text(j, key, text);
}

void ft_manifest_write(const struct ft_member *m, size_t count, const struct ft_key *signer, struct ft_buf *out)
{
	struct ft_json j = { .out = out };
	struct ft_hash content = ft_content_id(m, count);
	char text[FT_HASH_TEXT];

	ft_json_object(&j, NULL);
	ft_json_i64(&j, "manifest", 1);
	ft_json_text(&j, "content", ft_hash_text(&content, text));
	ft_json_text(&j, "hash", "BLAKE2b-256");
	ft_json_text(&j, "signed_by", signer->name);
	put_hex(&j, "public_key", signer->public_key, FT_PUBLIC_BYTES);
	ft_json_array(&j, "members");
	for (size_t i = 0; i < count; i++) {
		if (is_seal(m[i].name))
			continue;
		ft_json_object(&j, NULL);
		ft_json_text(&j, "name", m[i].name);
		ft_json_i64(&j, "bytes", (int64_t)m[i].bytes.n);
		ft_json_text(&j, "hash", hash_text(m[i].bytes, text));
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}

void ft_signature_write(const struct ft_key *signer, struct ft_slice manifest, struct ft_buf *out)
{
	struct ft_json j = { .out = out };
	uint8_t signature[FT_SIGNATURE_BYTES];

	ft_sign(signer, manifest, signature);
	ft_json_object(&j, NULL);
	ft_json_text(&j, "of", "manifest.json");
	ft_json_text(&j, "algorithm", "Ed25519");
	put_hex(&j, "public_key", signer->public_key, FT_PUBLIC_BYTES);
	put_hex(&j, "signature", signature, sizeof signature);
	ft_json_object_end(&j);
	ft_buf_byte(out, '\n');
}

/* ---- opening ---- */

struct ft_slice ft_package_member(const struct ft_opened *p, const char *name)
{
	for (size_t i = 0; i < p->member_count; i++)
		if (strcmp(p->members[i].name, name) == 0)
			return p->members[i].bytes;
	return (struct ft_slice){ NULL, 0 };
}

struct opening {
	struct ft_opened *p;
	struct ft_findings *findings;
	struct ft_arena *arena;
	struct ft_error *e;
	bool *listed; /* by member: the manifest names it */
};

static void find(struct opening *o, enum ft_rule_id rule, const char *member, const char *seen, const char *expected)
{
	ft_find(o->findings, rule, (struct ft_where){ .file = member }, seen, expected);
	if (o->findings->list == NULL || ft_rule(rule)->weight == FT_FAULT)
		o->p->sealed = false;
}

/* The text of a key, at most `most` bytes and fit for a terminal, or NULL. */
static const char *text_of(const json_t *object, const char *key, size_t most)
{
	const json_t *v = json_object_get(object, key);

	const char *text = json_string_value(v);

	if (!text || json_string_length(v) > most || strlen(text) != json_string_length(v))
		return NULL;
	for (const char *p = text; *p; p++)
		if ((unsigned char)*p < 0x20 || *p == 0x7f)
			return NULL;
	return text;
}

static bool hex_of(const json_t *object, const char *key, uint8_t *ret, size_t n)
{
	struct ft_slice s = ft_slice_of(text_of(object, key, 2 * n));
	uint32_t byte;

	if (s.n != 2 * n)
		return false;
	for (size_t i = 0; i < n; i++) {
		if (!ft_slice_hex((struct ft_slice){ s.p + 2 * i, 2 }, &byte))
			return false;
		ret[i] = (uint8_t)byte;
	}
	return true;
}

static json_t *load(struct opening *o, const char *name)
{
	struct ft_slice text = ft_package_member(o->p, name);
	json_error_t why;
	json_t *root;

	if (!text.p || text.n > MANIFEST_BYTES_MAX) {
		ft_fail(o->e, FT_E_INPUT, "This is no package of fettle: the archive has no %s.", name);
		return NULL;
	}
	root = json_loadb(text.p, text.n, JSON_REJECT_DUPLICATES, &why);
	if (!json_is_object(root)) {
		ft_fail(o->e, FT_E_INPUT, "The package's %s cannot be read (line %d); ask for the package again.", name,
		        root ? 1 : why.line);
		json_decref(root);
		return NULL;
	}
	return root;
}

static void try_member(struct opening *o, const char *name, int64_t bytes, const char *hash)
{
	char text[FT_HASH_TEXT];

	for (size_t i = 0; i < o->p->member_count; i++) {
		const struct ft_member *m = &o->p->members[i];
		if (strcmp(m->name, name) != 0)
			continue;
		o->listed[i] = true;
		if ((int64_t)m->bytes.n != bytes || strcmp(hash_text(m->bytes, text), hash) != 0)
			find(o, FT_RULE_HANDOVER_CHANGED_MEMBER, m->name,
			     ft_arena_printf(o->arena, "%s of %zu bytes with the hash %.16s…", m->name, m->bytes.n, text),
			     ft_arena_printf(o->arena, "%lld bytes with the hash %.16s…", (long long)bytes, hash));
		return;
	}
	find(o, FT_RULE_HANDOVER_MISSING_MEMBER, ft_arena_printf(o->arena, "%s", name), NULL,
	     ft_arena_printf(o->arena, "%s, which the manifest names", name));
}

static enum ft_status try_manifest(struct opening *o, const json_t *root)
{
	const json_t *members = json_object_get(root, "members");
	const char *name = text_of(root, "signed_by", FT_SIGNER_MAX);
	const char *content = text_of(root, "content", FT_HASH_TEXT - 1);
	size_t i;
	const json_t *m;

	if (json_integer_value(json_object_get(root, "manifest")) != 1)
		return ft_fail(o->e, FT_E_INPUT,
		               "The package's manifest is of a kind this fettle does not know; a newer fettle may read it.");
	if (!name || !*name || !content || !json_is_array(members) || json_array_size(members) > FT_MEMBERS_MAX ||
	    !hex_of(root, "public_key", o->p->public_key, FT_PUBLIC_BYTES))
		return ft_fail(o->e, FT_E_INPUT,
		               "The package's manifest lacks the signer or the list of members; ask for the package again.");
	memcpy(o->p->signed_by, name, strlen(name));
	json_array_foreach(members, i, m)
	{
		const char *file = text_of(m, "name", FT_MEMBER_NAME_MAX);
		const char *hash = text_of(m, "hash", FT_HASH_TEXT - 1);
		if (!file || !ft_member_name_good(ft_slice_of(file)) || !hash || !json_is_integer(json_object_get(m, "bytes")))
			return ft_fail(o->e, FT_E_INPUT,
			               "Member %zu of the package's manifest cannot be read; ask for the package again.", i + 1);
		try_member(o, file, json_integer_value(json_object_get(m, "bytes")), hash);
	}
	for (i = 0; i < o->p->member_count; i++)
		if (!o->listed[i] && !is_seal(o->p->members[i].name))
			find(o, FT_RULE_HANDOVER_EXTRA_MEMBER, o->p->members[i].name,
			     ft_arena_printf(o->arena, "%s, which the manifest does not name", o->p->members[i].name), NULL);
	if (o->p->sealed && strcmp(content, o->p->content) != 0) /* else it is the echo of what was named above */
		find(o, FT_RULE_HANDOVER_CHANGED_MEMBER, "manifest.json", ft_arena_printf(o->arena, "package %.16s…", content),
		     ft_arena_printf(o->arena, "package %.16s…", o->p->content));
	return FT_OK;
}

static enum ft_status try_signature(struct opening *o)
{
	struct ft_slice manifest = ft_package_member(o->p, "manifest.json");
	uint8_t public_key[FT_PUBLIC_BYTES], signature[FT_SIGNATURE_BYTES];
	json_t *root = load(o, "signature.json");
	bool good;

	if (!root)
		return o->e ? o->e->status : FT_E_INPUT;
	good = hex_of(root, "public_key", public_key, sizeof public_key) &&
		hex_of(root, "signature", signature, sizeof signature);
	json_decref(root);
	if (!good)
		return ft_fail(o->e, FT_E_INPUT,
		               "The package's signature.json holds no Ed25519 signature; ask for the package again.");
	if (memcmp(public_key, o->p->public_key, sizeof public_key) != 0 || !ft_sign_check(public_key, manifest, signature))
		find(o, FT_RULE_HANDOVER_SIGNATURE, "signature.json", "a signature that does not fit the manifest",
		     ft_arena_printf(o->arena, "the signature of %s", o->p->signed_by));
	return FT_OK;
}

static void try_signer(struct opening *o, const struct ft_key *trusted, size_t count, bool only)
{
	char print[FT_FINGERPRINT_TEXT];
	const char *seen;

	for (size_t i = 0; i < count; i++)
		o->p->known |= memcmp(trusted[i].public_key, o->p->public_key, FT_PUBLIC_BYTES) == 0;
	if (o->p->known || (!o->p->sealed && !only)) /* who signed is no question while the seal is broken */
		return;
	seen =
		ft_arena_printf(o->arena, "signed by %s, key %s", o->p->signed_by, ft_key_fingerprint(o->p->public_key, print));
	find(o, only ? FT_RULE_HANDOVER_OTHER_SIGNER : FT_RULE_HANDOVER_UNKNOWN_SIGNER, NULL, seen,
	     only && count ? ft_arena_printf(o->arena, "signed by %s, key %s", trusted[0].name,
	                                     ft_key_fingerprint(trusted[0].public_key, print))
	                   : "a signer whose key you have taken on");
}

enum ft_status ft_package_open(struct ft_slice zip, const struct ft_key *trusted, size_t trusted_count, bool only,
                               struct ft_arena *a, struct ft_findings *findings, struct ft_opened *ret,
                               struct ft_error *e)
{
	struct opening o = { .p = ret, .findings = findings, .arena = a, .e = e };
	struct ft_hash content;
	enum ft_status s;
	json_t *root;

	memset(ret, 0, sizeof *ret);
	s = ft_zip_read(zip, a, &ret->members, &ret->member_count, e);
	if (s != FT_OK)
		return s;
	ret->sealed = true;
	content = ft_content_id(ret->members, ret->member_count);
	ft_hash_text(&content, ret->content);
	o.listed = FT_NEW_ARRAY(a, ret->member_count, bool);
	if (!o.listed)
		return ft_fail_memory(e, "opening the package");
	root = load(&o, "manifest.json");
	if (!root)
		return e ? e->status : FT_E_INPUT;
	s = try_manifest(&o, root);
	json_decref(root);
	if (s == FT_OK)
		s = try_signature(&o);
	if (s == FT_OK)
		try_signer(&o, trusted, trusted_count, only);
	if (s == FT_OK && a->failed)
		return ft_fail_memory(e, "opening the package");
	return s;
}
