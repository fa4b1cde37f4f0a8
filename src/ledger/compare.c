/* SPDX-License-Identifier: Apache-2.0 */
/* Every difference between two reads, what fell, and what to key back in. */
#include <stdlib.h>

#include "room.h"

enum per { PER_SELECTION, PER_LIST, PER_MACHINE };
struct setting {
	enum ft_element_id element;
	int rank;
	enum per per;
	const char *title;
};
static const struct setting settings[] = {
#define ROW(ident, element, rank, per, title, source) { FT_EL_##element, rank, PER_##per, title },
#include "settings.inc"
#undef ROW
};
enum { SETTING_COUNT = sizeof settings / sizeof *settings };

const char *ft_change_kind_word(enum ft_change_kind k)
{
	static const char *const words[] = { "identity", "setting", "meter", "state", "event" };

	return (unsigned)k < FT_CHANGE_KINDS ? words[k] : "unknown";
}

const char *ft_fall_word(enum ft_fall f)
{
	static const char *const words[] = { "fell", "wrapped", "cleared", "gone" };

	return (unsigned)f < sizeof words / sizeof *words ? words[f] : "unknown";
}

static int upper(int c)
{
	return c >= 'a' && c <= 'z' ? c - 32 : c;
}

int ft_selection_cmp(struct ft_slice a, struct ft_slice b)
{
	size_t i = 0, k = 0;

	while (i < a.n && k < b.n) {
		if (ft_is_digit(a.p[i]) && ft_is_digit(b.p[k])) {
			size_t from_i, from_k, n;
			int order;
			while (i < a.n && a.p[i] == '0')
				i++;
			while (k < b.n && b.p[k] == '0')
				k++;
			from_i = i;
			from_k = k;
			while (i < a.n && ft_is_digit(a.p[i]))
				i++;
			while (k < b.n && ft_is_digit(b.p[k]))
				k++;
			n = i - from_i;
			if (n != k - from_k)
				return n < k - from_k ? -1 : 1;
			order = n ? memcmp(a.p + from_i, b.p + from_k, n) : 0;
			if (order)
				return order < 0 ? -1 : 1;
			continue;
		}
		if (upper((unsigned char)a.p[i]) != upper((unsigned char)b.p[k]))
			return upper((unsigned char)a.p[i]) < upper((unsigned char)b.p[k]) ? -1 : 1;
		i++;
		k++;
	}
	if ((i < a.n) != (k < b.n))
		return i < a.n ? 1 : -1;
	return ft_slice_cmp(a, b);
}

struct comparer {
	struct pair pair;
	const struct ft_read *before, *after;
	struct ft_arena *arena;
	struct ft_findings *findings;
	struct ft_comparison *out;
	size_t change_room, lost_room, restore_room;
	size_t comparable; /* lifetime meters above zero before */
	bool failed;
};

static const struct setting *setting_of(enum ft_element_id id)
{
	for (int i = 0; i < SETTING_COUNT; i++)
		if (settings[i].element == id)
			return &settings[i];
	return NULL;
}

/* What belongs to the transmission and not to the machine differs in every read. */
static bool is_envelope(enum ft_segment_id id)
{
	return id == FT_SEG_DXS || id == FT_SEG_ST || id == FT_SEG_SE || id == FT_SEG_DXE || id == FT_SEG_G85;
}

static enum ft_change_kind kind_of(const struct ft_cell *c)
{
	const struct ft_element_def *d = ft_element_def(c->element);

	if (c->segment == FT_SEG_EA1 || c->segment == FT_SEG_EA2)
		return FT_CHANGE_EVENT;
	if (c->element == FT_EL_ID106 || !d)
		return d ? FT_CHANGE_IDENTITY : FT_CHANGE_STATE;
	if (setting_of(c->element))
		return FT_CHANGE_SETTING;
	if (d->span == FT_SPAN_INIT || d->span == FT_SPAN_RESET)
		return d->type == FT_TYPE_TEXT || d->type == FT_TYPE_DATE || d->type == FT_TYPE_TIME ? FT_CHANGE_STATE
																							 : FT_CHANGE_METER;
	/* who read it and when is a state of the log, not what the machine is */
	return d->span == FT_SPAN_IDENT && strncmp(d->name, "EA", 2) != 0 ? FT_CHANGE_IDENTITY : FT_CHANGE_STATE;
}

static struct ft_where where_of(const struct comparer *q, const struct ft_cell *c, const char *element)
{
	return (struct ft_where){ .file = q->after->name,
		                      .element = element,
		                      .selection = c->selection.p ? ft_arena_text(q->arena, c->selection) : NULL };
}

/* A value for people: money with its decimals. */
static struct ft_slice value_text(const struct comparer *q, const struct ft_cell *c, const struct ft_facts *f)
{
	char t[FT_MONEY_TEXT];
	const struct ft_element_def *d = c ? ft_element_def(c->element) : NULL;

	if (!c || c->value.n == 0)
		return (struct ft_slice){ NULL, 0 };
	if (d && d->type == FT_TYPE_MONEY && c->number != FT_ABSENT && number_of(c) == FT_ABSENT)
		return FT_SLICE("not set"); /* 65535 and the like */
	if (d && d->type == FT_TYPE_MONEY && c->number != FT_ABSENT)
		return ft_slice_of(ft_arena_printf(q->arena, "%s", ft_money_text(c->number, f->decimals, t)));
	return c->value;
}

static const char *setting_name(const struct comparer *q, const struct setting *s, const struct ft_cell *c)
{
	if (s->per != PER_LIST)
		return s->title;
	if (c->segment == FT_SEG_LA1)
		return ft_arena_printf(q->arena, "%s on list %.*s", s->title, FT_P(c->key[0]));
	return ft_arena_printf(q->arena, "%s for %.*s on list %.*s", s->title, FT_P(c->key[0]), FT_P(c->key[1]));
}

static void add_restore(struct comparer *q, const struct joined *j)
{
	const struct ft_cell *c = j->before;
	const struct setting *s = c ? setting_of(c->element) : NULL;
	struct ft_comparison *o = q->out;
	struct ft_restore *grown;

	if (!s || c->nth || c->value.n == 0 || (c->number != FT_ABSENT && number_of(c) == FT_ABSENT) ||
	    (c->segment == FT_SEG_LA1 && q->pair.before->segment[FT_SEG_PA7] >= 0))
		return; /* LA1 repeats the prices that PA7 tells by device */
	grown = ft_arena_grow(q->arena, o->restore, o->restore_count, &q->restore_room, sizeof *grown);
	if (!grown) {
		q->failed = true;
		return;
	}
	o->restore = grown;
	o->restore[o->restore_count++] =
		(struct ft_restore){ setting_name(q, s, c), s->per == PER_MACHINE ? (struct ft_slice){ NULL, 0 } : c->selection,
		                     value_text(q, c, q->before->facts), value_text(q, j->after, q->after->facts) };
}

static bool is_price(enum ft_element_id id)
{
	return id == FT_EL_PA102 || id == FT_EL_PA704 || id == FT_EL_LA103;
}

static void judge_setting(struct comparer *q, const struct joined *j)
{
	const struct setting *s;
	const struct ft_cell *c = j->before;
	struct ft_slice was, now;

	if (!c || !(s = setting_of(c->element)) || c->value.n == 0 || c->element == FT_EL_ID106 || !j->after)
		return; /* the asset has its own rule; a selection that is gone is said once */
	if (c->element == FT_EL_LA103 && q->pair.before->segment[FT_SEG_PA7] >= 0)
		return; /* PA7 says the same by device */
	was = value_text(q, c, q->before->facts);
	now = value_text(q, j->after, q->after->facts);
	ft_find(q->findings, is_price(c->element) ? FT_RULE_LEDGER_PRICE_CHANGED : FT_RULE_LEDGER_SETTING_CHANGED,
	        where_of(q, c, ft_element_def(c->element)->name),
	        ft_arena_printf(q->arena, "%s %.*s", setting_name(q, s, c), now.n ? (int)now.n : 7,
	                        now.n ? now.p : "not set"),
	        ft_arena_text(q->arena, was));
}

static void add_loss(struct comparer *q, const struct joined *j)
{
	const struct ft_cell *c = j->before;
	const struct ft_element_def *d = c ? ft_element_def(c->element) : NULL;
	struct ft_comparison *o = q->out;
	struct ft_loss loss, *grown;

	if (!d || d->span != FT_SPAN_INIT || number_of(c) == FT_ABSENT ||
	    (d->type != FT_TYPE_MONEY && d->type != FT_TYPE_INTEGER && d->type != FT_TYPE_EITHER))
		return;
	loss = (struct ft_loss){ d->name,
		                     c->selection,
		                     { c->key[0], c->key[1] },
		                     money_of(c->element) && money_factor(q->before->facts, c->element) == 1,
		                     number_of(c),
		                     number_of(j->after),
		                     FT_FELL_PLAIN,
		                     0 };
	q->comparable += loss.before > 0 && c->segment != FT_SEG_EA2;
	if (loss.after == FT_ABSENT ? loss.before == 0 : loss.after >= loss.before)
		return;
	if (c->segment == FT_SEG_EA2 || (loss.after == FT_ABSENT && j->after && j->after->value.n))
		return; /* event counts have an own reset; an unset mark is no loss */
	loss.modulus = loss.after == FT_ABSENT ? 0 : wrap_of(loss.before, loss.after);
	loss.how = loss.after == FT_ABSENT ? FT_FELL_GONE : loss.modulus ? FT_FELL_WRAPPED : FT_FELL_PLAIN;
	grown = ft_arena_grow(q->arena, o->lost, o->lost_count, &q->lost_room, sizeof *grown);
	if (!grown) {
		q->failed = true;
		return;
	}
	o->lost = grown;
	o->lost[o->lost_count++] = loss;
}

static void add_change(struct comparer *q, const struct joined *j)
{
	const struct ft_cell *c = j->after ? j->after : j->before;
	const struct ft_element_def *d = ft_element_def(c->element);
	struct ft_comparison *o = q->out;
	struct ft_change *grown = ft_arena_grow(q->arena, o->changes, o->change_count, &q->change_room, sizeof *grown);
	const char *name = d ? d->name : ft_arena_printf(q->arena, "%.*s position %u", FT_P(c->name), c->position);

	if (!grown || !name) {
		q->failed = true;
		return;
	}
	o->changes = grown;
	o->changes[o->change_count++] = (struct ft_change){ name,
		                                                c->selection,
		                                                { c->key[0], c->key[1] },
		                                                kind_of(c),
		                                                d && money_of(c->element),
		                                                cell_text(j->before),
		                                                cell_text(j->after),
		                                                j->before ? j->before->number : FT_ABSENT,
		                                                j->after ? j->after->number : FT_ABSENT,
		                                                d ? d->meaning : NULL };
	o->count_by_kind[kind_of(c)]++;
}

/* PA107 = 1: the machine does not detect it any more. */
static bool is_present(const struct pair *p, const struct ft_cell *c, bool later)
{
	const struct joined *s = pair_find(p, FT_EL_PA107, c->selection, NULL);
	const struct ft_cell *x = s ? later ? s->after : s->before : NULL;

	return !x || x->number != 1;
}

static void judge_selection(struct comparer *q, const struct joined *j)
{
	const struct ft_cell *c = j->after ? j->after : j->before;
	bool was, is;

	if (c->element != FT_EL_PA101 || c->nth)
		return;
	was = j->before && is_present(&q->pair, c, false);
	is = j->after && is_present(&q->pair, c, true);
	if (was && !is)
		ft_find(q->findings, FT_RULE_LEDGER_SELECTION_GONE, where_of(q, c, "PA101"),
		        j->after ? "marked as not present" : NULL, NULL);
	else if (!was && is)
		ft_find(q->findings, FT_RULE_LEDGER_SELECTION_NEW, where_of(q, c, "PA101"), NULL, NULL);
}

static bool cell_changed(const struct joined *j)
{
	struct ft_slice b = cell_text(j->before), a = cell_text(j->after);

	if (b.n == 0 && a.n == 0)
		return false; /* not sent and sent empty are the same to a person */
	return !ft_slice_eq(b, a);
}

static void judge_losses(struct comparer *q)
{
	struct ft_comparison *o = q->out;
	size_t fell = 0, told = 0;
	const size_t most = 12; /* ours: more are the same trouble told again */

	for (size_t i = 0; i < o->lost_count; i++)
		fell += o->lost[i].how == FT_FELL_PLAIN || o->lost[i].how == FT_FELL_WRAPPED;
	o->cleared = fell > 2 && 2 * fell > q->comparable;
	if (o->cleared) {
		const struct joined *init = pair_find(&q->pair, FT_EL_EA401, (struct ft_slice){ NULL, 0 }, NULL);
		struct ft_finding *f =
			ft_find(q->findings, FT_RULE_LEDGER_METER_FELL,
		            (struct ft_where){ .file = q->after->name, .element = init && cell_changed(init) ? "EA401" : NULL },
		            ft_arena_printf(q->arena, "%zu of %zu counters fell together%s", fell, q->comparable,
		                            init && cell_changed(init) ? " and the date of initialisation is another" : ""),
		            NULL);
		f->todo =
			"the meters were initialised: tell the office the old and new values and the time; then key back in what the restore sheet says";
		for (size_t i = 0; i < o->lost_count; i++)
			if (o->lost[i].how != FT_FELL_GONE) {
				o->lost[i].how = FT_FELL_CLEARED;
				o->lost[i].modulus = 0;
			}
		return;
	}
	for (size_t i = 0; i < o->lost_count; i++) {
		const struct ft_loss *l = &o->lost[i];
		struct ft_where where = { .file = q->after->name,
			                      .element = l->element,
			                      .selection = l->selection.p ? ft_arena_text(q->arena, l->selection) : NULL };
		if (l->how == FT_FELL_GONE || told++ >= most)
			continue;
		ft_find(q->findings, l->how == FT_FELL_WRAPPED ? FT_RULE_LEDGER_METER_WRAPPED : FT_RULE_LEDGER_METER_FELL,
		        where, ft_arena_printf(q->arena, "%lld", (long long)l->after),
		        ft_arena_printf(q->arena, "%lld or more", (long long)l->before));
	}
	if (told > most)
		ft_find(q->findings, FT_RULE_LEDGER_METER_FELL, (struct ft_where){ .file = q->after->name },
		        ft_arena_printf(q->arena, "%zu further counters", told - most), NULL);
}

static void judge_resets(struct comparer *q)
{
	if (q->pair.mode_against_count)
		ft_find(q->findings, FT_RULE_LEDGER_RESET_WITHOUT_COUNT,
		        (struct ft_where){ .file = q->after->name, .element = "EA310" },
		        ft_arena_printf(q->arena, "%lld resets counted, but the counters of the interval %s",
		                        (long long)q->pair.resets, q->pair.mode == RESET_ONCE ? "began again" : "went on"),
		        NULL);
}

static int restore_order(const void *x, const void *y)
{
	const struct ft_restore *a = x, *b = y;

	if (!a->selection.p != !b->selection.p)
		return a->selection.p ? -1 : 1;
	if (a->selection.p && ft_selection_cmp(a->selection, b->selection))
		return ft_selection_cmp(a->selection, b->selection);
	return 0;
}

static int rank_of(const char *what)
{
	for (int i = 0; i < SETTING_COUNT; i++)
		if (strcmp(what, settings[i].title) == 0)
			return settings[i].rank;
	return 2; /* a price on a list, behind the price */
}

static int restore_cmp(const void *x, const void *y)
{
	const struct ft_restore *a = x, *b = y;
	int order = restore_order(x, y);

	if (order)
		return order;
	if (rank_of(a->what) != rank_of(b->what))
		return rank_of(a->what) - rank_of(b->what);
	return strcmp(a->what, b->what);
}

static void restore_clock(struct comparer *q)
{
	struct ft_comparison *o = q->out;
	const struct joined *d = pair_find(&q->pair, FT_EL_ID501, (struct ft_slice){ NULL, 0 }, NULL);
	int64_t b, a = 0;
	struct ft_restore *grown;

	if (!d || !ft_slice_i64(cell_text(d->before), &b) || b <= 0 ||
	    (d->after && ft_slice_i64(d->after->value, &a) && a >= b))
		return;
	grown = ft_arena_grow(q->arena, o->restore, o->restore_count, &q->restore_room, sizeof *grown);
	if (!grown) {
		q->failed = true;
		return;
	}
	o->restore = grown;
	o->restore[o->restore_count++] =
		(struct ft_restore){ "clock", { NULL, 0 }, FT_SLICE("the time now"), cell_text(d->after) };
}

enum ft_status ft_compare(const struct ft_read *before, const struct ft_read *after, struct ft_arena *a,
                          struct ft_findings *findings, struct ft_comparison *ret, struct ft_error *e)
{
	struct comparer q = { .before = before, .after = after, .arena = a, .findings = findings, .out = ret };
	enum ft_status s;
	bool whole;

	*ret = (struct ft_comparison){ .reads = FT_ABSENT, .resets = FT_ABSENT };
	if ((s = pair_init(&q.pair, before->facts, after->facts, a, e)) != FT_OK)
		return s;
	ret->pair = pair_judge(&q.pair, before, after, findings);
	ret->reads = q.pair.reads;
	ret->resets = q.pair.resets;
	whole = ret->pair == FT_PAIR_SAME || ret->pair == FT_PAIR_EXCHANGED;
	for (size_t i = 0; i < q.pair.count; i++) {
		const struct joined *j = &q.pair.list[i];
		if (is_envelope((j->after ? j->after : j->before)->segment))
			continue;
		if (whole) {
			add_loss(&q, j);
			judge_selection(&q, j);
		}
		if (!cell_changed(j))
			continue;
		add_change(&q, j);
		if (whole) {
			judge_setting(&q, j);
			add_restore(&q, j);
		}
	}
	if (whole) {
		judge_losses(&q);
		judge_resets(&q);
		if (!ret->cleared)
			pair_tubes(&q.pair, after, findings);
		pair_clock(&q.pair, after, !ret->cleared, findings);
		restore_clock(&q);
	}
	if (ret->restore_count)
		qsort(ret->restore, ret->restore_count, sizeof *ret->restore, restore_cmp);
	return q.failed ? ft_fail_memory(e, "comparing the audits") : FT_OK;
}
