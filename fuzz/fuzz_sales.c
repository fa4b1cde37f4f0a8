/* SPDX-License-Identifier: Apache-2.0 */
/* Lists of sales and pairs of audits of any content: up to a line "====" a list, then two audits
 * parted by another such line. Whatever comes, the ledger must not read beyond its bytes, an accepted
 * list must hold only sales that make sense, and the stories it tells must be whole. */
#include <stdlib.h>

#include "fettle/ledger.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const struct ft_slice mark = { "====\n", 5 };

static void must(bool held)
{
	if (!held)
		abort();
}

static struct ft_slice cut(struct ft_slice *rest)
{
	size_t at = ft_slice_find(*rest, mark), skip = at < rest->n ? at + mark.n : at;
	struct ft_slice part = { rest->p, at };

	rest->p += skip;
	rest->n -= skip;
	return part;
}

static bool open_read(struct ft_slice text, struct ft_arena *a, struct ft_read *ret)
{
	struct ft_audit *d = FT_NEW(a, struct ft_audit);
	struct ft_facts *f = FT_NEW(a, struct ft_facts);

	if (!d || !f || ft_audit_read(text, a, d, NULL) != FT_OK || d->set_count == 0 ||
	    ft_audit_facts(d, &d->sets[0], a, f, NULL) != FT_OK)
		return false;
	*ret = (struct ft_read){ NULL, f };
	return true;
}

static void look(const struct ft_proof *p, size_t faults)
{
	size_t wrong = 0;

	for (size_t i = 0; i < p->counter_count; i++) {
		must(p->counters[i].element && p->counters[i].title);
		wrong += p->counters[i].expected != p->counters[i].observed;
	}
	must(wrong == p->wrong_count);
	must(p->agree != 1 || (faults == 0 && !p->unshown)); /* never a silent pass */
	for (size_t i = 0; i < p->story_count; i++) {
		must(p->stories[i].edit_count >= 1 && p->stories[i].edit_count <= FT_STORY_EDITS_MAX && p->stories[i].detail);
		must(p->stories[i].edit_count == p->stories[0].edit_count);
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_slice rest = { (const char *)data, size };
	struct ft_slice text = cut(&rest), first = cut(&rest);
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_error e = { 0 };
	struct ft_sale *sales = NULL;
	struct ft_prove_input in = { .counted = 100 };
	struct ft_read before, after;
	struct ft_comparison c;
	struct ft_proof p;

	if (ft_sales_read(text, "the list", 2, &a, &sales, &in.sale_count, &e) == FT_OK) {
		in.sales = sales;
		for (size_t i = 0; i < in.sale_count; i++)
			must(sales[i].price >= 0 && sales[i].selection.n > 0 && sales[i].line > 0);
	} else {
		must(e.status != FT_OK && e.text[0]);
	}
	if (size < 65536 && open_read(first, &a, &before) && open_read(rest, &a, &after)) {
		if (ft_compare(&before, &after, &a, &f, &c, NULL) == FT_OK)
			for (size_t i = 0; i < c.restore_count; i++)
				must(c.restore[i].what && c.restore[i].value.n > 0);
		f = (struct ft_findings){ .arena = &a };
		if (ft_prove(&before, &after, &in, &a, &f, &p, NULL) == FT_OK)
			look(&p, f.faults);
	}
	ft_arena_done(&a);
	return 0;
}
