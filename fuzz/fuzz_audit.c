/* SPDX-License-Identifier: Apache-2.0 */
/* Any bytes whatever through the audit room: what is read is written back bit for bit, and judging,
 * summing up and listing never run over. */
#include <stdlib.h>
#include <string.h>

#include "fettle/audit.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n);

static void look_at_set(const struct ft_audit *d, size_t which, struct ft_arena *a)
{
	struct ft_findings findings = { .arena = a };
	struct ft_facts *f = FT_NEW(a, struct ft_facts);
	struct ft_summary *s = FT_NEW(a, struct ft_summary);
	struct ft_audit_check check;
	struct ft_cell *cells;
	size_t count;

	if (!f || !s || ft_audit_facts(d, &d->sets[which], a, f, NULL) != FT_OK)
		return;
	ft_audit_judge(f, "fuzz", ft_crc16, &findings, &check);
	if (ft_audit_summary(f, a, s, NULL) != FT_OK || ft_audit_cells(f, a, &cells, &count, NULL) != FT_OK)
		return;
	if (s->selection_count != f->selection_count)
		abort();
	for (size_t i = 0; i < count; i++)
		if (cells[i].position < 1 || cells[i].segment_index >= d->segment_count)
			abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
	struct ft_arena a = { 0 };
	struct ft_buf back = { 0 };
	struct ft_audit d;

	if (ft_audit_read((struct ft_slice){ (const char *)data, n }, &a, &d, NULL) == FT_OK) {
		ft_audit_write(&d, 0, d.segment_count, &back);
		if (back.n != n || (n && memcmp(back.p, data, n) != 0))
			abort();
		for (size_t i = 0; i < d.set_count && i < 64; i++)
			look_at_set(&d, i, &a);
	}
	ft_buf_done(&back);
	ft_arena_done(&a);
	return 0;
}
