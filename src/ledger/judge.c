/* SPDX-License-Identifier: Apache-2.0 */
/* Are these two reads of one machine, in order, and do its clock, reads and tubes go on (B1, B4, B5, B9). */
#include "room.h"

static const struct ft_slice none = { NULL, 0 };

static struct ft_slice text_of(const struct pair *p, enum ft_element_id id, bool later)
{
	const struct joined *j = pair_find(p, id, none, NULL);

	return j ? cell_text(later ? j->after : j->before) : none;
}

static bool differs(const struct pair *p, enum ft_element_id id)
{
	struct ft_slice b = text_of(p, id, false), a = text_of(p, id, true);

	return b.n && a.n && !ft_slice_eq(b, a);
}

static bool agrees(const struct pair *p, enum ft_element_id id)
{
	struct ft_slice b = text_of(p, id, false), a = text_of(p, id, true);

	return b.n && a.n && ft_slice_eq(b, a);
}

/* Lifetime counters that rose and that fell. */
static void count_meters(const struct pair *p, size_t *ret_rose, size_t *ret_fell)
{
	*ret_rose = *ret_fell = 0;
	for (size_t i = 0; i < p->count; i++) {
		const struct joined *j = &p->list[i];
		int64_t b, a;
		if (!j->before || !j->after || j->after->element < 0 ||
		    ft_element_def(j->after->element)->span != FT_SPAN_INIT || j->after->segment == FT_SEG_EA2)
			continue;
		b = number_of(j->before);
		a = number_of(j->after);
		if (b == FT_ABSENT || a == FT_ABSENT)
			continue;
		*ret_rose += a > b;
		*ret_fell += a < b;
	}
}

/* Digits only; two-digit years are of this century. 0: never set or no date. */
static int64_t stamp(struct ft_slice date, struct ft_slice time)
{
	int64_t d, t = 0;

	if (!ft_slice_i64(date, &d) || d <= 0 || (date.n != 6 && date.n != 8))
		return 0;
	if (date.n == 6)
		d += 20000000;
	if (time.n >= 4 && ft_slice_i64((struct ft_slice){ time.p, 4 }, &t) && t >= 0)
		return d * 10000 + t; /* to the minute: seconds are added in one place only */
	return d * 10000;
}

static int64_t stamp_at(const struct pair *p, enum ft_element_id date, enum ft_element_id time, bool later)
{
	return stamp(text_of(p, date, later), text_of(p, time, later));
}

static bool is_swapped(const struct pair *p)
{
	size_t rose, fell;
	int64_t b = stamp_at(p, FT_EL_ID501, FT_EL_ID502, false), a = stamp_at(p, FT_EL_ID501, FT_EL_ID502, true);
	int64_t reads = p->reads != FT_ABSENT ? p->reads : p->resets;
	int64_t vends = p->before->value[FT_EL_VA102], later = p->after->value[FT_EL_VA102];

	count_meters(p, &rose, &fell);
	if (rose || !fell)
		return false;
	if (b && a)
		return a < b;
	if (reads != FT_ABSENT && reads >= 0)
		return false;
	/* without a clock: everything went back a little, nothing to near zero */
	return vends != FT_ABSENT && later != FT_ABSENT && later > vends / 2 && (reads == FT_ABSENT || reads > -100);
}

struct device {
	enum ft_element_id serial;
	const char *name;
	enum ft_weight weight; /* of another number: a payment device may be exchanged, a machine may not (rule B1) */
};

static void judge_devices(const struct pair *p, const struct ft_read *after, struct ft_findings *f)
{
	static const struct device devices[] = {
		{ FT_EL_ID101, "machine", FT_FAULT },       { FT_EL_ID106, "asset", FT_FAULT },
		{ FT_EL_CB101, "control board", FT_DOUBT }, { FT_EL_CA101, "coin mechanism", FT_NOTE },
		{ FT_EL_BA101, "bill validator", FT_NOTE }, { FT_EL_DA101, "cashless 1", FT_NOTE },
		{ FT_EL_DB101, "cashless 2", FT_NOTE },
	};

	for (size_t i = 0; i < sizeof devices / sizeof *devices; i++) {
		struct ft_slice b = text_of(p, devices[i].serial, false), a = text_of(p, devices[i].serial, true);
		struct ft_where where = { .file = after->name, .element = ft_element_def(devices[i].serial)->name };
		const char *seen = ft_arena_printf(f->arena, "%s %.*s", devices[i].name, FT_P(a));
		if (b.n && a.n && !ft_slice_eq(a, b))
			ft_finding_weigh(f, ft_find(f, FT_RULE_LEDGER_SERIAL_CHANGED, where, seen, ft_arena_text(f->arena, b)),
			                 devices[i].weight);
		else if (!b.n && a.n)
			ft_find(f, FT_RULE_LEDGER_DEVICE_APPEARED, where, seen, NULL);
		else if (b.n && !a.n) /* a part that fell silent reads like one that has not answered yet (rule B1) */
			ft_finding_weigh(f,
			                 ft_find(f, FT_RULE_LEDGER_SERIAL_CHANGED, where,
			                         ft_arena_printf(f->arena, "%s names none", devices[i].name),
			                         ft_arena_text(f->arena, b)),
			                 FT_DOUBT);
	}
}

enum ft_pair_stands pair_judge(const struct pair *p, const struct ft_read *before, const struct ft_read *after,
                               struct ft_findings *f)
{
	size_t rose, fell;
	bool machine = differs(p, FT_EL_ID101), asset = differs(p, FT_EL_ID106), board = differs(p, FT_EL_CB101);
	struct ft_where where = { .file = after->name };

	count_meters(p, &rose, &fell);
	/* One number may be exchanged with its board; a machine is another when all that names it differs
	 * and the counters do not go on either. */
	if ((machine || asset) && !agrees(p, FT_EL_ID101) && !agrees(p, FT_EL_ID106) && !agrees(p, FT_EL_CB101) &&
	    (fell || (machine && board) || (machine && asset))) {
		const char *seen = ft_arena_printf(f->arena, "%.*s %.*s", FT_P(text_of(p, FT_EL_ID101, true)),
		                                   FT_P(text_of(p, FT_EL_ID106, true)));
		const char *want = ft_arena_printf(f->arena, "%.*s %.*s", FT_P(text_of(p, FT_EL_ID101, false)),
		                                   FT_P(text_of(p, FT_EL_ID106, false)));
		ft_find(f, FT_RULE_LEDGER_OTHER_MACHINE, where, seen, want);
		return FT_PAIR_OTHER_MACHINE;
	}
	if (is_swapped(p)) {
		ft_find(f, FT_RULE_LEDGER_ORDER, where,
		        ft_arena_printf(f->arena, "%zu counters lower than in %s, none higher", fell,
		                        before->name ? before->name : "the first"),
		        NULL);
		return FT_PAIR_SWAPPED;
	}
	judge_devices(p, after, f);
	return machine || board ? FT_PAIR_EXCHANGED : FT_PAIR_SAME;
}

static int64_t moved(const struct pair *p, enum ft_element_id id)
{
	return movement(p, pair_find(p, id, none, NULL), false, 1);
}

/* Fill and hand payouts may be inside or outside: any exact form will do. */
void pair_tubes(const struct pair *p, const struct ft_read *after, struct ft_findings *f)
{
	int64_t tubes = moved(p, FT_EL_CA1501), in = moved(p, FT_EL_CA307), out = moved(p, FT_EL_CA403);
	int64_t fill = moved(p, FT_EL_CA1002), manual = moved(p, FT_EL_CA404), want;
	const struct joined *j = pair_find(p, FT_EL_CA1501, none, NULL);
	char seen[FT_MONEY_TEXT], expected[FT_MONEY_TEXT];

	if (tubes == FT_ABSENT || in == FT_ABSENT || out == FT_ABSENT || number_of(j->before) == FT_ABSENT)
		return;
	if (__builtin_sub_overflow(in, out, &want))
		return;
	fill = fill == FT_ABSENT ? 0 : fill;
	manual = manual == FT_ABSENT ? 0 : manual;
	for (int form = 0; form < 4; form++) {
		int64_t w = want;
		if ((!(form & 1) || add_checked(w, fill, &w)) && (!(form & 2) || !__builtin_sub_overflow(w, manual, &w)) &&
		    w == tubes)
			return;
	}
	ft_find(f, FT_RULE_LEDGER_TUBE_DRIFT, (struct ft_where){ .file = after->name, .element = "CA1501" },
	        ft_arena_printf(f->arena, "%s", ft_money_text(tubes, p->after->decimals, seen)),
	        ft_arena_printf(f->arena, "%s", ft_money_text(want, p->after->decimals, expected)));
}

void pair_clock(const struct pair *p, const struct ft_read *after, bool reads_too, struct ft_findings *f)
{
	static const enum ft_element_id clocks[][2] = { { FT_EL_ID501, FT_EL_ID502 }, { FT_EL_EA302, FT_EL_EA303 } };
	int64_t last, was;

	for (int i = 0; i < 2; i++) {
		int64_t b = stamp_at(p, clocks[i][0], clocks[i][1], false), a = stamp_at(p, clocks[i][0], clocks[i][1], true);
		if (!b || a >= b)
			continue;
		ft_find(f, FT_RULE_LEDGER_CLOCK_BACK,
		        (struct ft_where){ .file = after->name, .element = ft_element_def(clocks[i][0])->name },
		        a ? ft_arena_printf(f->arena, "%.*s %.*s", FT_P(text_of(p, clocks[i][0], true)),
		                            FT_P(text_of(p, clocks[i][1], true)))
		          : "no date",
		        ft_arena_printf(f->arena, "later than %.*s %.*s", FT_P(text_of(p, clocks[i][0], false)),
		                        FT_P(text_of(p, clocks[i][1], false))));
		break; /* one clock, said once */
	}
	if (!reads_too)
		return;
	if (p->reads != FT_ABSENT && p->reads != 1) {
		ft_find(f, FT_RULE_LEDGER_READ_COUNT, (struct ft_where){ .file = after->name, .element = "EA309" },
		        ft_arena_printf(f->arena, "%lld more", (long long)p->reads), "1 more");
		return;
	}
	was = stamp_at(p, FT_EL_EA302, FT_EL_EA303, false);
	last = stamp_at(p, FT_EL_EA305, FT_EL_EA306, true);
	if (was && last && was != last)
		ft_find(f, FT_RULE_LEDGER_READ_COUNT, (struct ft_where){ .file = after->name, .element = "EA305" },
		        ft_arena_printf(f->arena, "the read before this one was at %.*s %.*s",
		                        FT_P(text_of(p, FT_EL_EA305, true)), FT_P(text_of(p, FT_EL_EA306, true))),
		        ft_arena_printf(f->arena, "%.*s %.*s", FT_P(text_of(p, FT_EL_EA302, false)),
		                        FT_P(text_of(p, FT_EL_EA303, false))));
}
