/* SPDX-License-Identifier: Apache-2.0 */
/* Who the machines of a fleet are, and which of them has a trouble when. */
#include <math.h>

#include "fleet.h"
#include "fettle/time.h"

static const struct {
	const char *kind, *rule;
} words[TROUBLES] = {
	[NO_TROUBLE] = { "none", "" },
	[READS_MISSING] = { "reads-missing", "watch.reads-missing" },
	[UNITS_SWAPPED] = { "units-swapped", "watch.units-swapped" },
	[SELECTION_STOPPED] = { "selection-stopped", "watch.selection-stopped" },
	[SOLD_OUT] = { "sold-out", "watch.sold-out" },
	[PRICE_CHANGED] = { "price-changed", "watch.price-differs" },
	[CASH_LOSING] = { "cash-losing", "watch.cash-losing" },
	[CASH_SHORT] = { "cash-short", "watch.cash-short" },
	[CLOCK_DRIFTS] = { "clock-drifts", "watch.clock-off" },
	[CLOCK_LOST] = { "clock-lost", "watch.clock-off" },
	[BOARD_EXCHANGED] = { "board-exchanged", "watch.board-exchanged" },
	[COUNTER_WRAPS] = { "counter-wraps", "watch.counter-wrapped" },
	[COUNTERS_ANEW] = { "counters-anew", "watch.counters-anew" },
	[POWER_CUTS] = { "power-cuts", "watch.power-cuts" },
	[MACHINE_STOPPED] = { "machine-stopped", "watch.machine-stopped" },
	[FRIDGE_FAILS] = { "fridge-fails", "watch.too-warm" },
	[DOOR_OPENED] = { "door-opened", "watch.door-unexplained" },
	[TUBES_EMPTIED] = { "tubes-emptied", "watch.tubes-differ" },
	[CARDS_UNSETTLED] = { "cards-unsettled", "watch.settlement-differs" },
	[BAG_LOST] = { "bag-lost", "watch.not-counted" },
};

const char *practice_trouble_kind(enum trouble t)
{
	return words[t].kind;
}

const char *practice_trouble_rule(enum trouble t)
{
	return words[t].rule;
}

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

static int below(struct life *l, int n)
{
	return (int)practice_chance(&l->random, n);
}

/* What a machine of this kind cannot have, or what nobody could see on it. */
static bool suits(const struct life *l, enum trouble t)
{
	bool old = l->dialect == OLD_COIN;

	switch (t) {
	case CLOCK_DRIFTS:
	case CLOCK_LOST:
	case BOARD_EXCHANGED:
	case TUBES_EMPTIED:
	case CARDS_UNSETTLED:
	case DOOR_OPENED:
	case BAG_LOST:
	case CASH_LOSING:
	case CASH_SHORT:
	case SOLD_OUT:
		return !old;
	case FRIDGE_FAILS:
		return l->logger;
	case UNITS_SWAPPED:
		return false; /* given to both neighbours elsewhere */
	default:
		return true;
	}
}

static void choose_trouble(struct life *l)
{
	/* the pair draws from one seed of its own, so that both know */
	uint64_t pair = l->plan->seed * 1000003 + l->index / 2;
	bool neighbour = (l->index ^ 1) < l->plan->machines;

	l->trouble = NO_TROUBLE;
	l->begins = 21 + below(l, l->plan->days > 40 ? l->plan->days - 30 : 4);
	if (l->plan->days < 24)
		return; /* nothing can be learned before it begins */
	if (neighbour && practice_chance(&pair, 50) == 0) {
		l->trouble = UNITS_SWAPPED;
		l->begins = 21 + (int)practice_chance(&pair, l->plan->days > 40 ? l->plan->days - 30 : 4);
	} else if (below(l, 100) < 30) {
		do
			l->trouble = (enum trouble)(1 + below(l, TROUBLES - 1));
		while (!suits(l, l->trouble));
	}
	l->until = l->begins + 4 + below(l, 6);
	if (l->trouble == SELECTION_STOPPED || l->trouble == SOLD_OUT) {
		l->begins = 21 + below(l, 7);
		l->until = l->plan->days;
	}
}

static void choose_shares(struct life *l, size_t n)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += l->share[i] = exp(0.6 * practice_normal(&l->random));
	for (size_t i = 0; i < n; i++)
		l->share[i] /= sum;
	/* a selection that sells too little cannot be seen to stop within weeks */
	l->selection = below(l, (int)n);
	for (size_t i = 0; i < n && l->share[l->selection] * l->rate < 0.9; i++)
		l->selection = (l->selection + 1) % (int)n;
}

void practice_fleet_plan(struct life *l)
{
	static const double sites[3][7] = { { 1.2, 1.2, 1.2, 1.2, 1.2, 0.5, 0.5 },
		                                { 1, 1, 1, 1, 1.1, 1, 0.9 },
		                                { 1.35, 1.35, 1.35, 1.35, 1.2, 0.25, 0.15 } };
	int kind = below(l, 10);

	l->dialect = kind < 5 ? US_SNACK : kind < 8 ? EURO_HOT : OLD_COIN;
	snprintf(l->asset, sizeof l->asset, "PF-%05zu", (l->index + 1) % 100000);
	snprintf(l->partner, sizeof l->partner, "PF-%05zu", ((l->index ^ 1) + 1) % 100000);
	snprintf(l->by, sizeof l->by, "P%02zu", l->index / 40 % 100);
	snprintf(l->route, sizeof l->route, "R%02zu", l->index / 80 % 100);
	l->logger = l->dialect == US_SNACK && below(l, 2) == 0;
	l->alarms = below(l, 2) == 0;
	l->rate = 14 + 26 * practice_even(&l->random);
	memcpy(l->days, sites[below(l, 3)], sizeof l->days);
	l->every = below(l, 2) ? 7 : 10;
	l->phase = below(l, l->every);
	l->temperature = 3;
	choose_trouble(l);
}

/* ---- descriptions, made up ---- */

static void selections(struct life *l, struct ft_buf *out, int n, int least, int spread, int lists)
{
	for (int i = 0; i < n; i++) {
		int price = least + 5 * below(l, spread / 5);
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
	int n = l->dialect == US_SNACK ? 16 + below(l, 17) : l->dialect == EURO_HOT ? 7 + below(l, 6) : 4 + below(l, 5);

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
	selections(l, &d, n, l->dialect == US_SNACK ? 125 : 55, l->dialect == US_SNACK ? 150 : 80,
	           l->dialect == EURO_HOT ? 2 : 1);
	ft_buf_printf(&d, "past from=2025-12-01T09:00 visits=4 sales=%d", 120 + below(l, 200));
	if (l->dialect != OLD_COIN)
		ft_buf_printf(&d, " cards=%d bills=20", 25 + below(l, 25));
	ft_buf_puts(&d, "\n");
	choose_shares(l, (size_t)n);
	s = d.status != FT_OK ? ft_fail_memory(e, "a machine of the fleet")
						  : ft_practice_new(ft_buf_text(&d), "a machine of the fleet", l->random, a, &l->p, e);
	ft_buf_done(&d);
	return s;
}
