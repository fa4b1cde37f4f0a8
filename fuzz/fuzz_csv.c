/* SPDX-License-Identifier: Apache-2.0 */
/* Tables of any content: what was read is written again and must come back field by field. */
#include <stdlib.h>

#include "fettle/buf.h"
#include "fettle/csv.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static void put_row(struct ft_buf *out, const struct ft_csv_row *row)
{
	if (row->count == 1 && row->fields[0].n == 0)
		ft_buf_puts(out, "\"\""); /* a bare line end would be a blank line, which is no row */
	for (unsigned i = 0; i < row->count; i++) {
		if (i)
			ft_buf_byte(out, ',');
		ft_csv_put(out, row->fields[i]);
	}
	ft_buf_byte(out, '\n');
}

static void same_row(const struct ft_csv_row *a, const struct ft_csv_row *b)
{
	must(a->count == b->count && a->count >= 1 && a->line >= 1);
	for (unsigned i = 0; i < a->count; i++) {
		must(ft_slice_eq(a->fields[i], b->fields[i]));
		must(ft_csv_field(a, (int)i).n <= a->fields[i].n);
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_buf out = { 0 };
	struct ft_error e = { 0 };
	struct ft_csv first, again;

	if (ft_csv_read((struct ft_slice){ (const char *)data, size }, "the table", &a, &first, &e) != FT_OK) {
		must(e.status == FT_E_INPUT && e.text[0]);
	} else {
		ft_buf_puts(&out, "\xef\xbb\xbf"); /* else a heading that begins with a mark of its own would lose it */
		put_row(&out, &first.head);
		for (size_t i = 0; i < first.count; i++)
			put_row(&out, &first.rows[i]);
		must(ft_csv_read(ft_buf_text(&out), "the copy", &a, &again, NULL) == FT_OK);
		must(again.separator == ',' && again.count == first.count);
		same_row(&first.head, &again.head);
		for (size_t i = 0; i < first.count; i++)
			same_row(&first.rows[i], &again.rows[i]);
		must(ft_csv_column(&first, "no such column, surely") == -1 || first.head.count > 0);
	}
	ft_buf_done(&out);
	ft_arena_done(&a);
	return 0;
}
