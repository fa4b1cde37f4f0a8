/* SPDX-License-Identifier: Apache-2.0 */
/* Tables people and units give: door events, the chain of a supply, columns of times, numbers with check digits. The
 * first byte chooses. What is taken must make sense; what is not must be refused with a sentence. */
#include <math.h>
#include <stdlib.h>

#include "fettle/door.h"
#include "fettle/ident.h"
#include "fettle/stamp.h"
#include "fettle/supply.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static void door(struct ft_slice text, struct ft_arena *a, struct ft_findings *f)
{
	struct ft_door_event *list = NULL;
	struct ft_door_table about;
	struct ft_door_result r;
	struct ft_error e = { 0 };
	size_t n = 0;
	struct ft_door_options o = { 0 };

	if (ft_door_read(text, "table", 60, a, &list, &n, &about, &e) != FT_OK) {
		must(e.text[0]);
		return;
	}
	for (size_t i = 1; i < n; i++)
		must(list[i].at_us >= list[i - 1].at_us);
	/* a list beside itself misses nothing */
	if (n && n < 200 && ft_door_match(list, n, list, n, &o, a, f, &r, &e) == FT_OK)
		must(r.matched + r.missed == n && r.marks == n);
}

static void chain(struct ft_slice text, struct ft_arena *a, struct ft_findings *f)
{
	struct ft_supply_chain c;
	struct ft_supply_result r;
	struct ft_error e = { 0 };

	if (ft_supply_read(text, "table", a, &c, &e) != FT_OK) {
		must(e.text[0]);
		return;
	}
	for (size_t i = 0; i < c.count; i++)
		must(c.devices[i].area_mm2 > 0 && c.devices[i].load[FT_SUPPLY_CONTINUOUS] >= 0 && c.devices[i].name);
	if (c.count < 5 && ft_supply_judge(&c, "table", a, f, &r, &e) == FT_OK)
		for (size_t i = 0; i < c.count && !r.collapses[FT_SUPPLY_PEAK]; i++)
			must(r.volts[FT_SUPPLY_PEAK][i] <= c.volts && r.volts[FT_SUPPLY_PEAK][i] > 0);
}

static void times(struct ft_slice text)
{
	struct ft_stamp_form form = { 0 };
	struct ft_slice rest = text, line;
	struct ft_error e = { 0 };
	double figure = 0;
	int64_t us;

	while (ft_slice_split(&rest, '\n', &line)) {
		(void)ft_stamp_learn(&form, line, (struct ft_slice){ 0 });
		must(!ft_figure(line, &figure) || isfinite(figure));
	}
	if (ft_stamp_settle(&form, "column", &e) != FT_OK) {
		must(e.text[0]);
		return;
	}
	for (rest = text; ft_slice_split(&rest, '\n', &line);)
		(void)ft_stamp_read(&form, line, (struct ft_slice){ 0 }, &us, NULL);
}

static void number(struct ft_slice text, enum ft_ident_kind kind, struct ft_findings *f)
{
	struct ft_ident r;
	enum ft_ident_kind guess;

	ft_ident(kind, text, (struct ft_where){ 0 }, f, &r);
	must(r.valid ? r.form != NULL : f->count > 0);
	must(r.part_count <= FT_IDENT_PARTS);
	(void)ft_ident_guess(text, &guess);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_arena a = { 0 };
	struct ft_findings f = { .arena = &a };
	struct ft_slice text = { (const char *)data + 1, size ? size - 1 : 0 };

	if (!size)
		return 0;
	switch (data[0] % 4) {
	case 0:
		door(text, &a, &f);
		break;
	case 1:
		chain(text, &a, &f);
		break;
	case 2:
		times(text);
		break;
	default:
		number(text, (enum ft_ident_kind)(data[0] / 4 % FT_IDENT_KINDS), &f);
	}
	ft_arena_done(&a);
	return 0;
}
