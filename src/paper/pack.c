/* SPDX-License-Identifier: Apache-2.0 */
/* Puts the package together and opens it again before it is given out. */
#include "paper.h"

struct packing {
	const struct ft_handover *h;
	const struct ft_pack_options *o;
	struct ft_arena *arena;
	struct ft_buf json, pdf, line, manifest, signature;
	struct ft_member *members;
	size_t count;
	struct ft_seal_text seal;
	char content[FT_HASH_TEXT], fingerprint[FT_FINGERPRINT_TEXT];
};

static void add(struct packing *k, const char *name, const struct ft_buf *b)
{
	k->members[k->count++] = (struct ft_member){ name, b ? ft_buf_text(b) : (struct ft_slice){ NULL, 0 } };
}

/* The fixed order of a package: the record, its papers, the evidence in the order of adding. The same
 * bytes added twice lie there once. */
static enum ft_status lay_out(struct packing *k, struct ft_error *e)
{
	const struct ft_visit *v = k->h->visit;

	k->members = FT_NEW_ARRAY(k->arena, v->evidence_count + 5, struct ft_member);
	if (!k->members)
		return ft_fail_memory(e, "packing");
	ft_handover_json(k->h, k->o->program, k->arena, &k->json);
	add(k, "handover.json", &k->json);
	add(k, "handover.pdf", NULL);
	add(k, "machines.csv", NULL);
	for (size_t i = 0; i < v->evidence_count; i++) {
		const char *name = ft_evidence_member(&v->evidence[i], k->arena);
		bool known = false;
		if (!name)
			return ft_fail_memory(e, "packing");
		for (size_t m = 3; m < k->count; m++)
			known |= strcmp(k->members[m].name, name) == 0;
		if (!known)
			k->members[k->count++] = (struct ft_member){ name, v->evidence[i].bytes };
	}
	return FT_OK;
}

static enum ft_status draw_papers(struct packing *k, struct ft_error *e)
{
	struct ft_hash content = ft_content_id(k->members, k->count);
	const struct ft_column *columns = k->o->columns;
	size_t count = columns ? k->o->column_count : ft_mapping_default(&columns);
	enum ft_status s;

	k->seal = (struct ft_seal_text){ k->o->program, ft_hash_text(&content, k->content), k->o->signer->name,
		                             ft_key_fingerprint(k->o->signer->public_key, k->fingerprint) };
	s = ft_handover_pdf(k->h, &k->seal, k->o->sheet, k->arena, &k->pdf, NULL, e);
	if (s != FT_OK)
		return s;
	ft_handover_line(k->h, &k->seal, columns, count, &k->line);
	k->members[1].bytes = ft_buf_text(&k->pdf);
	k->members[2].bytes = ft_buf_text(&k->line);
	ft_manifest_write(k->members, k->count, k->o->signer, &k->manifest);
	ft_signature_write(k->o->signer, ft_buf_text(&k->manifest), &k->signature);
	add(k, "manifest.json", &k->manifest);
	add(k, "signature.json", &k->signature);
	return FT_OK;
}

/* Nothing leaves that the other end would not take. */
static enum ft_status try_it(struct packing *k, const struct ft_buf *out, struct ft_error *e)
{
	struct ft_arena a = { 0 };
	struct ft_findings findings = { .arena = &a };
	struct ft_opened opened;
	struct ft_visit v;
	struct ft_handover h;
	enum ft_status s = ft_package_open(ft_buf_text(out), k->o->signer, 1, true, &a, &findings, &opened, e);

	if (s == FT_OK)
		s = ft_handover_check(&opened, k->o->program, &a, &findings, &v, &h, e);
	if (s == FT_OK && findings.count)
		s = ft_fail(e, FT_E_INTERNAL, "The package that was just made does not hold: %s (%s); nothing was written.",
		            ft_rule(findings.list[0].rule)->sentence, findings.list[0].seen ? findings.list[0].seen : "");
	ft_arena_done(&a);
	return s;
}

enum ft_status ft_handover_pack(const struct ft_handover *h, const struct ft_pack_options *o, struct ft_arena *a,
                                struct ft_buf *out, char *ret_content, struct ft_error *e)
{
	struct packing k = { .h = h, .o = o, .arena = a };
	enum ft_status s = lay_out(&k, e);

	if (s == FT_OK)
		s = draw_papers(&k, e);
	if (s == FT_OK &&
	    (k.json.status != FT_OK || k.line.status != FT_OK || k.manifest.status != FT_OK || k.signature.status != FT_OK))
		s = ft_fail_memory(e, "packing");
	if (s == FT_OK)
		s = ft_zip_write(k.members, k.count, h->at_us, h->at_offset, out, e);
	if (s == FT_OK)
		s = try_it(&k, out, e);
	if (s == FT_OK && ret_content)
		memcpy(ret_content, k.content, sizeof k.content);
	ft_buf_done(&k.json);
	ft_buf_done(&k.pdf);
	ft_buf_done(&k.line);
	ft_buf_done(&k.manifest);
	ft_buf_done(&k.signature);
	return s;
}
