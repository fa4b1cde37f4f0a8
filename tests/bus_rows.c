/* SPDX-License-Identifier: Apache-2.0 */
#include "bus_rows.h"

#include <stdio.h>
#include <stdlib.h>

#include "fettle/csv.h"

size_t play_bytes(struct ft_slice hex, uint8_t *bytes, uint64_t *ret_modes)
{
	struct ft_slice one;
	size_t n = 0;

	*ret_modes = 0;
	while (hex.n && ft_slice_split(&hex, ' ', &one)) {
		uint32_t value = 0;
		if (one.n < 2 || !ft_slice_hex((struct ft_slice){ one.p, 2 }, &value))
			abort();
		*ret_modes |= (uint64_t)(one.n == 3) << n;
		bytes[n++] = (uint8_t)value;
	}
	return n;
}

size_t play_rows(const char *folder, struct ft_arena *a, struct play_row **ret)
{
	char path[512], *bytes = ft_arena_alloc(a, 1 << 16);
	struct ft_csv t = { 0 };
	struct ft_error e = { 0 };
	size_t n;
	FILE *f;

	snprintf(path, sizeof path, "%s/bus/worked.csv", folder);
	f = fopen(path, "rb");
	if (!f)
		abort();
	n = fread(bytes, 1, 1 << 16, f);
	fclose(f);
	if (ft_csv_read((struct ft_slice){ bytes, n }, "the worked exchanges", a, &t, &e) != FT_OK)
		abort();
	*ret = FT_NEW_ARRAY(a, t.count, struct play_row);
	for (size_t i = 0; i < t.count; i++) {
		int64_t row = 0;
		ft_slice_i64(ft_csv_field(&t.rows[i], 0), &row);
		(*ret)[i] = (struct play_row){ .row = (unsigned)row,
			                           .controller = ft_csv_field(&t.rows[i], 1),
			                           .peripheral = ft_csv_field(&t.rows[i], 2),
			                           .closing = ft_csv_field(&t.rows[i], 3),
			                           .meaning = ft_csv_field(&t.rows[i], 4),
			                           .told = ft_csv_field(&t.rows[i], 5) };
	}
	return t.count;
}

enum { TURN_NS = 1500000 };

static size_t words_of(enum ft_bus_line line, struct ft_slice hex, int64_t *at_ns, struct ft_bus_word *ret)
{
	uint8_t bytes[64];
	uint64_t modes;
	size_t n = play_bytes(hex, bytes, &modes);

	if (!n)
		return 0;
	*at_ns = ft_bus_block_words(line, bytes, n, true, *at_ns + TURN_NS, 0, ret);
	for (size_t i = 0; i < n; i++)
		ret[i].mode = modes >> i & 1;
	return n;
}

size_t play_words(const struct play_row *r, int64_t *at_ns, struct ft_bus_word *ret)
{
	size_t n = words_of(FT_BUS_CONTROLLER, r->controller, at_ns, ret);

	if (r->peripheral.n)
		n += words_of(FT_BUS_PERIPHERAL, r->peripheral, at_ns, ret + n);
	else
		*at_ns += 2 * (int64_t)TURN_NS + 4000000; /* the controller waits its 5 ms out */
	n += words_of(FT_BUS_CONTROLLER, r->closing, at_ns, ret + n);
	*at_ns += 8000000;
	return n;
}
