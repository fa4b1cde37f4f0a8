/* SPDX-License-Identifier: Apache-2.0 */
/* A package from anybody. The first byte chooses the door: a whole .zip, a handover.json beside one audit, a
 * key file or a mapping. What is accepted must keep its promises. */
#include <stdlib.h>

#include "fettle/paper.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void need(bool holds)
{
	if (!holds)
		abort();
}

static void try_zip(struct ft_slice in, struct ft_arena *a)
{
	struct ft_findings f = { .arena = a };
	struct ft_error e = { 0 };
	struct ft_opened p;
	struct ft_visit v;
	struct ft_handover h;
	size_t total = 0;

	if (ft_package_open(in, NULL, 0, false, a, &f, &p, &e) != FT_OK) {
		need(e.status != FT_OK && e.text[0]);
		return;
	}
	need(p.member_count <= FT_MEMBERS_MAX && !p.known);
	for (size_t i = 0; i < p.member_count; i++) {
		need(ft_member_name_good(ft_slice_of(p.members[i].name)));
		total += p.members[i].bytes.n;
		for (size_t k = 0; k < i; k++)
			need(strcmp(p.members[i].name, p.members[k].name) != 0);
	}
	need(total <= FT_PACKAGE_BYTES_MAX);
	need(p.sealed || f.faults > 0);
	if (p.sealed && ft_handover_check(&p, "fettle", a, &f, &v, &h, &e) == FT_OK)
		need(v.id && v.key && v.asset && h.visit == &v);
}

/* handover.json as it would stand in a sealed package, with one piece of evidence to rest on. */
static void try_record(struct ft_slice in, struct ft_arena *a)
{
	static const char audit[] =
		"ST*001*0001\r\nID1*A*B*1\r\nID4*2*978\r\nVA1*100*1*100*1\r\nPA1*11*100\r\nPA2*1*100*1*100\r\nSE*6*0001\r\n";
	struct ft_evidence ev = { .kind = FT_EVIDENCE_AUDIT,
		                      .bytes = FT_SLICE(audit),
		                      .hash = ft_hash_of(audit, sizeof audit - 1) };
	struct ft_member members[2] = { { "handover.json", in }, { ft_evidence_member(&ev, a), ev.bytes } };
	struct ft_opened p = { .members = members, .member_count = 2, .sealed = true };
	struct ft_findings f = { .arena = a };
	struct ft_error e = { 0 };
	struct ft_visit v;
	struct ft_handover h;

	if (ft_handover_check(&p, "fettle", a, &f, &v, &h, &e) != FT_OK) {
		need(e.status != FT_OK && e.text[0]);
		return;
	}
	need(v.id && v.key && v.asset && *v.asset);
	for (size_t i = 0; i < v.evidence_count; i++)
		need(v.evidence[i].name && v.evidence[i].bytes.p && v.evidence[i].kind < FT_EVIDENCE_KINDS);
}

static void try_keys(struct ft_slice in, struct ft_arena *a)
{
	struct ft_buf one = { 0 }, two = { 0 };
	struct ft_key *keys, *again;
	size_t count, count_again;

	if (ft_keys_read(in, "the keys", a, &keys, &count, NULL) != FT_OK)
		return;
	for (size_t i = 0; i < count; i++)
		ft_key_write(&keys[i], true, &one);
	need(one.n == 0 || ft_keys_read(ft_buf_text(&one), "the keys", a, &again, &count_again, NULL) == FT_OK);
	for (size_t i = 0; one.n && i < count_again; i++)
		ft_key_write(&again[i], true, &two);
	need(ft_slice_eq(ft_buf_text(&one), ft_buf_text(&two)));
	ft_buf_done(&one);
	ft_buf_done(&two);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_slice in = { (const char *)data + 1, size - 1 };
	struct ft_column *columns;
	size_t count;

	if (!size)
		return 0;
	switch (data[0]) {
	case 'R':
		try_record(in, &a);
		break;
	case 'K':
		try_keys(in, &a);
		break;
	case 'M':
		if (ft_mapping_read(in, &a, &columns, &count, NULL) == FT_OK)
			need(count > 0 && *columns[0].column);
		break;
	default:
		try_zip(in, &a);
	}
	ft_arena_done(&a);
	return 0;
}
