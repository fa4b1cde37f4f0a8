/* SPDX-License-Identifier: Apache-2.0 */
/* Who the machines of a fleet are. */
#include <math.h>

#include "fleet.h"
#include "fettle/time.h"

double practice_even(uint64_t *state)
{
	return (double)practice_chance(state, INT64_C(1) << 52) / 4503599627370496.0;
}

/* Box and Muller. */
double practice_normal(uint64_t *state)
{
	double a = practice_even(state), b = practice_even(state);

	return sqrt(-2 * log(1 - a)) * cos(6.283185307179586 * b);
}

int practice_below(struct life *l, int n)
{
	return (int)practice_chance(&l->random, n);
}

static void choose_shares(struct life *l, size_t n)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += l->share[i] = exp(0.6 * practice_normal(&l->random));
	for (size_t i = 0; i < n; i++)
		l->share[i] /= sum;
	/* a selection that sells too little cannot be seen to stop within weeks */
	l->selection = practice_below(l, (int)n);
	for (size_t i = 0; i < n && l->share[l->selection] * l->rate < 0.9; i++)
		l->selection = (l->selection + 1) % (int)n;
}

void practice_fleet_plan(struct life *l)
{
	static const double sites[3][7] = { { 1.2, 1.2, 1.2, 1.2, 1.2, 0.5, 0.5 },
		                                { 1, 1, 1, 1, 1.1, 1, 0.9 },
		                                { 1.35, 1.35, 1.35, 1.35, 1.2, 0.25, 0.15 } };
	int kind = practice_below(l, 10);

	l->dialect = kind < 5 ? US_SNACK : kind < 8 ? EURO_HOT : OLD_COIN;
	snprintf(l->asset, sizeof l->asset, "PF-%05zu", (l->index + 1) % 100000);
	snprintf(l->partner, sizeof l->partner, "PF-%05zu", ((l->index ^ 1) + 1) % 100000);
	snprintf(l->by, sizeof l->by, "P%02zu", l->index / 40 % 100);
	snprintf(l->route, sizeof l->route, "R%02zu", l->index / 80 % 100);
	l->logger = l->dialect == US_SNACK && practice_below(l, 2) == 0;
	l->alarms = practice_below(l, 2) == 0;
	l->rate = 14 + 26 * practice_even(&l->random);
	memcpy(l->days, sites[practice_below(l, 3)], sizeof l->days);
	l->every = practice_below(l, 2) ? 7 : 10;
	l->phase = practice_below(l, l->every);
	l->temperature = 3;
	l->selections = l->dialect == US_SNACK ? 16 + practice_below(l, 17)
		: l->dialect == EURO_HOT           ? 7 + practice_below(l, 6)
										   : 4 + practice_below(l, 5);
	choose_shares(l, (size_t)l->selections);
	practice_plant(l);
}

/* ---- descriptions, made up ---- */

static void selections(struct life *l, struct ft_buf *out, int n, int least, int spread, int lists)
{
	for (int i = 0; i < n; i++) {
		int price = least + 5 * practice_below(l, spread / 5);
		/* enough goods that no shelf runs empty between visits unless that is planted */
		ft_buf_printf(out, "selection %d price=%d", 11 + i / 8 * 10 + i % 8, price);
		for (int k = 1; k < lists; k++)
			ft_buf_printf(out, ",%d", price - 5);
		ft_buf_printf(out, " name=\"GOODS %d\" capacity=400\n", i + 1);
	}
}

static void cash(struct ft_buf *out, const char *bills)
{
	ft_buf_puts(out, "coin 5 tube=120 level=80\ncoin 10 tube=120 level=80\ncoin 25 tube=120 level=80\ncoin 100\n");
	ft_buf_puts(out, bills);
}

enum ft_status practice_fleet_machine(struct life *l, struct ft_arena *a, struct ft_error *e)
{
	static const char *const dialects[] = { "us-snack", "euro-hot", "old-coin" };
	struct ft_buf d = { 0 };
	unsigned id = (unsigned)(l->index + 1);
	enum ft_status s;

	ft_buf_printf(&d, "dialect %s\nsender QPF%07u\n", dialects[l->dialect], id);
	if (l->dialect == OLD_COIN)
		ft_buf_printf(
			&d, "machine serial=%07u model=\"DORMER 6\" revision=0002\nchanger serial=3%05u model=TC2 revision=14\n",
			1000000 + id, id);
	else
		ft_buf_printf(&d,
		              "machine serial=%s%06u model=\"%s\" revision=0309 asset=%s\nboard serial=PB%06u model=PB-6 "
		              "revision=0114\nchanger serial=TV%06u model=TRIVET revision=0208\nvalidator serial=FL%06u "
		              "model=FOLIO revision=0116\nreader serial=WK%06u model=WICKET revision=0305\n",
		              l->dialect == US_SNACK ? "PL" : "KR", id, l->dialect == US_SNACK ? "PLINTH 40" : "KESTREL 8",
		              l->asset, id, id, id, id);
	ft_buf_puts(&d, "currency USD\ndigits high-first\n");
	if (l->dialect == OLD_COIN)
		ft_buf_puts(&d, "clock none 2026-03-02T00:00\nreset at-read\nchange keep\n");
	else
		ft_buf_printf(&d, "clock 2026-03-02T00:00\nreset by-hand\nchange refuse\nstacker 5000\ntemperature 38.4 F\n");
	cash(&d, l->dialect == OLD_COIN ? "" : "bill 100\nbill 500\n");
	if (l->dialect == EURO_HOT)
		ft_buf_puts(&d, "list CA 0\nlist DA 1\n");
	selections(l, &d, l->selections, l->dialect == US_SNACK ? 125 : 55, l->dialect == US_SNACK ? 150 : 80,
	           l->dialect == EURO_HOT ? 2 : 1);
	ft_buf_printf(&d, "past from=2025-12-01T09:00 visits=4 sales=%d", 120 + practice_below(l, 200));
	if (l->dialect != OLD_COIN)
		ft_buf_printf(&d, " cards=%d bills=20", 25 + practice_below(l, 25));
	ft_buf_puts(&d, "\n");
	s = d.status != FT_OK ? ft_fail_memory(e, "a machine of the fleet")
						  : ft_practice_new(ft_buf_text(&d), "a machine of the fleet", l->random, a, &l->p, e);
	ft_buf_done(&d);
	return s;
}
