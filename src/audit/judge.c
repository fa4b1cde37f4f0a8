/* SPDX-License-Identifier: Apache-2.0 */
/* The audit rules over one set. On a clean file this allocates nothing: a fleet's night of audits
 * goes through here. */
#include "room.h"

struct judge {
	const struct ft_facts *f;
	const char *file;
	struct ft_findings *out;
};

static struct ft_where at_segment(const struct judge *j, const struct ft_segment *s, const char *element)
{
	return (struct ft_where){ .file = j->file, .line = s ? ft_audit_line(j->f->audit, s) : 0, .element = element };
}

static const char *text(const struct judge *j, struct ft_slice s)
{
	return s.p ? ft_arena_text(j->out->arena, s) : NULL;
}

static const char *number(const struct judge *j, int64_t v)
{
	return v == FT_ABSENT ? "nothing" : ft_arena_printf(j->out->arena, "%lld", (long long)v);
}

static const struct ft_segment *line(const struct judge *j, int32_t index)
{
	return index >= 0 ? &j->f->audit->segments[index] : NULL;
}

/* ---- envelope ---- */

static bool placeholder(uint32_t v)
{
	return v == 0x1234 || v == 0x0000 || v == 0xffff; /* 1234 seen in field files; the others are our own choice */
}

static void judge_crc(struct judge *j, ft_crc16_fn *crc16, struct ft_audit_check *c)
{
	const struct ft_set *s = j->f->set;
	const struct ft_segment *g85 = line(j, s->g85);
	struct ft_slice stated;
	struct ft_finding *x;
	uint32_t v = 0;
	uint16_t swapped;
	bool converted = false;

	c->computed = ft_audit_crc(j->f->audit, s, crc16);
	c->stated = 0;
	c->crc_stated = g85 != NULL;
	if (!g85)
		return;
	stated = ft_slice_trim(ft_audit_at(j->f->audit, g85, 1));
	c->crc_sound = stated.n == 4 && ft_slice_hex(stated, &v);
	if (c->crc_sound && v != c->computed && v != (uint16_t)(c->computed << 8 | c->computed >> 8)) {
		/* a copy with other line ends was converted; what the machine summed had CR LF (section 1.1) */
		uint16_t as_sent = ft_audit_crc_crlf(j->f->audit, s, crc16, &converted);
		if (converted)
			c->computed = as_sent;
	}
	swapped = (uint16_t)(c->computed << 8 | c->computed >> 8);
	if (c->crc_sound) {
		c->swapped = v != c->computed && v == swapped;
		c->stated = c->swapped ? c->computed : (uint16_t)v;
		if (c->stated == c->computed)
			return;
	}
	x = ft_find(j->out, FT_RULE_AUDIT_CRC, at_segment(j, g85, "G8501"), text(j, stated),
	            ft_arena_printf(j->out->arena, "%04X or %04X", c->computed, swapped));
	if (converted) {
		ft_finding_weigh(j->out, x, FT_DOUBT);
		x->why = "the line ends of this copy were converted, so only a try with CR LF put back was possible";
	}
	if (!c->crc_sound || placeholder(v)) {
		c->crc_sound = false;
		ft_finding_weigh(j->out, x, FT_DOUBT);
		x->why = "some machines send a placeholder here, so this cannot show anything either way";
	}
}

static void judge_count(struct judge *j, struct ft_audit_check *c)
{
	const struct ft_set *s = j->f->set;

	c->count_computed = c->count_stated = FT_ABSENT;
	if (s->se < 0)
		return;
	c->count_stated = j->f->value[FT_EL_SE01];
	c->count_computed = 0;
	for (int32_t i = s->st >= 0 ? s->st : s->first; i <= s->se; i++)
		c->count_computed += j->f->audit->segments[i].id != FT_SEG_FOREIGN;
	if (c->count_stated != c->count_computed)
		ft_find(j->out, FT_RULE_AUDIT_SEGMENT_COUNT, at_segment(j, line(j, s->se), "SE01"), number(j, c->count_stated),
		        number(j, c->count_computed));
}

static struct ft_slice element(const struct judge *j, int32_t segment, unsigned position)
{
	const struct ft_segment *s = line(j, segment);

	return s ? ft_slice_trim(ft_audit_at(j->f->audit, s, position)) : (struct ft_slice){ NULL, 0 };
}

static void judge_pair(struct judge *j, int32_t a, unsigned a_at, int32_t b, unsigned b_at, const char *name)
{
	struct ft_slice first = element(j, a, a_at), second = element(j, b, b_at);

	if (first.n && second.n && !ft_slice_eq(first, second))
		ft_find(j->out, FT_RULE_AUDIT_CONTROL_NUMBER, at_segment(j, line(j, b), name), text(j, second), text(j, first));
}

static void judge_envelope(struct judge *j, struct ft_audit_check *c)
{
	const struct ft_set *s = j->f->set;
	const struct ft_audit *d = j->f->audit;
	bool closed = s->st < 0 || s->se >= 0;

	c->whole = (s->st >= 0 || (s->dxs >= 0 && s->dxe >= 0)) && closed && (s->dxs < 0 || s->dxe >= 0);
	if (!c->whole) {
		const struct ft_segment *last = line(j, s->last - 1);
		ft_find(j->out, FT_RULE_AUDIT_TRUNCATED, at_segment(j, last, NULL),
		        ft_arena_printf(j->out->arena, "%d segments, the last %.*s", (int)(s->last - s->first),
		                        FT_P(ft_audit_name(d, last))),
		        s->st >= 0 && s->se < 0 ? "SE after the last segment"
		            : s->dxs >= 0       ? "DXE at the end"
		                                : "ST at the beginning");
	}
	if (s == d->sets && d->set_count > 1)
		ft_find(j->out, FT_RULE_AUDIT_SEVERAL, at_segment(j, NULL, NULL), number(j, (int64_t)d->set_count), NULL);
	if (s == d->sets && d->foreign)
		ft_find(j->out, FT_RULE_AUDIT_NOISE, at_segment(j, NULL, NULL),
		        ft_arena_printf(j->out->arena, "%zu pieces", d->foreign), NULL);
	if (s->dxs < 0 && s->dxe < 0 && s->st >= 0)
		ft_find(j->out, FT_RULE_AUDIT_NO_ENVELOPE, at_segment(j, line(j, s->st), NULL), NULL, NULL);
	judge_pair(j, s->st, 2, s->se, 2, "SE02");
	judge_pair(j, s->dxs, 4, s->dxe, 1, "DXE01");
	if (s->dxe >= 0) {
		int64_t stated = j->f->value[FT_EL_DXE02], sets = 0;
		/* only the last set holds the line: to count for each would take hours where a file holds a set a line */
		for (size_t i = 0; i < d->set_count && stated != FT_ABSENT; i++)
			sets += d->sets[i].dxe == s->dxe && d->sets[i].st >= 0;
		if (stated != FT_ABSENT && sets && stated != sets)
			ft_find(j->out, FT_RULE_AUDIT_CONTROL_NUMBER, at_segment(j, line(j, s->dxe), "DXE02"), number(j, stated),
			        number(j, sets));
	}
}

/* ---- elements ---- */

bool audit_date(struct ft_slice s, int *ret_year, int *ret_month, int *ret_day, bool *ret_unset)
{
	int64_t v;

	*ret_unset = false;
	if ((s.n != 6 && s.n != 8) || !ft_is_digit(s.p[0]) || !ft_slice_i64(s, &v))
		return false;
	*ret_unset = v == 0;
	*ret_day = (int)(v % 100);
	*ret_month = (int)(v / 100 % 100);
	*ret_year = (int)(v / 10000) + (s.n == 6 ? 2000 : 0); /* two digits mean 2000 and later (docs/audit.md) */
	return *ret_unset || ft_date_valid(*ret_year, *ret_month, *ret_day);
}

bool audit_time(struct ft_slice s, int *ret_hour, int *ret_minute, int *ret_second)
{
	int64_t v;

	if ((s.n != 4 && s.n != 6) || !ft_is_digit(s.p[0]) || !ft_slice_i64(s, &v))
		return false;
	if (s.n == 4)
		v *= 100;
	*ret_hour = (int)(v / 10000);
	*ret_minute = (int)(v / 100 % 100);
	*ret_second = (int)(v % 100);
	return *ret_hour < 24 && *ret_minute < 60 && *ret_second < 60;
}

static void judge_dates(struct judge *j, const struct ft_segment *s, const struct segment_shape *shape)
{
	unsigned mask = (unsigned)(shape->dates | shape->times) &
		((2U << (s->count < FT_POSITIONS_MAX ? s->count : FT_POSITIONS_MAX)) - 1U);

	for (; mask; mask &= mask - 1) {
		unsigned position = (unsigned)__builtin_ctz(mask);
		struct ft_slice v = ft_slice_trim(ft_audit_at(j->f->audit, s, position));
		bool is_date = shape->dates >> position & 1;
		bool unset;
		int a, b, c;
		if (v.n == 0 || (is_date ? audit_date(v, &a, &b, &c, &unset) : audit_time(v, &a, &b, &c)))
			continue;
		ft_find(j->out, FT_RULE_AUDIT_BAD_DATE,
		        at_segment(j, s, ft_element_def(ft_element_at((enum ft_segment_id)s->id, position))->name), text(j, v),
		        is_date ? "YYMMDD or YYYYMMDD" : "HHMM or HHMMSS");
	}
}

static void judge_numbers(struct judge *j, const struct ft_segment *s, const struct segment_shape *shape)
{
	for (unsigned p = 1; p <= s->count && p <= shape->positions; p++) {
		bool bad;
		if (!(shape->numbers >> p & 1))
			continue;
		(void)audit_number(j->f->audit->bytes, audit_token(j->f->audit, s->first + p), &bad);
		/* G85-like text in doubtful elements is no offence */
		if (bad && ft_element_def(ft_element_at((enum ft_segment_id)s->id, p))->trust != FT_TRUST_DOUBTFUL)
			ft_find(j->out, FT_RULE_AUDIT_BAD_NUMBER,
			        at_segment(j, s, ft_element_def(ft_element_at((enum ft_segment_id)s->id, p))->name),
			        text(j, ft_audit_at(j->f->audit, s, p)), "a whole number");
	}
}

/* Something behind the last position the dictionary knows. */
static bool unknown_tail(const struct judge *j, const struct ft_segment *s, const struct segment_shape *shape)
{
	for (unsigned p = shape->positions + 1U; p <= s->count; p++)
		if (audit_token(j->f->audit, s->first + p).n)
			return true;
	return false;
}

enum { UNKNOWN_NAMES_MAX = 16 }; /* ours: after so many different names one more says nothing new */

static void judge_unknown(struct judge *j, const struct ft_segment *s, struct ft_slice names[UNKNOWN_NAMES_MAX], int *n)
{
	struct ft_slice name = ft_audit_name(j->f->audit, s);

	for (int i = 0; i < *n; i++)
		if (ft_slice_eq(names[i], name))
			return;
	if (*n == UNKNOWN_NAMES_MAX)
		return;
	names[(*n)++] = name;
	ft_find(j->out, FT_RULE_AUDIT_UNKNOWN_ELEMENT, at_segment(j, s, NULL), text(j, name), NULL);
}

static void judge_elements(struct judge *j)
{
	struct ft_slice names[UNKNOWN_NAMES_MAX];
	uint8_t told[FT_SEG_COUNT] = { 0 };
	int name_count = 0;

	if (!j->f->odd && !j->f->bad_numbers)
		return;
	for (int32_t i = j->f->set->first; i < j->f->set->last; i++) {
		const struct ft_segment *s = &j->f->audit->segments[i];
		const struct segment_shape *shape;
		if (s->id == FT_SEG_NONE)
			judge_unknown(j, s, names, &name_count);
		if (s->id < 0)
			continue;
		shape = segment_shape(s->id);
		if (j->f->bad_numbers)
			judge_numbers(j, s, shape);
		if (shape->dates | shape->times)
			judge_dates(j, s, shape);
		if (s->count > shape->positions && !(told[s->id] & 1) && unknown_tail(j, s, shape)) {
			told[s->id] |= 1;
			ft_find(j->out, FT_RULE_AUDIT_UNKNOWN_ELEMENT,
			        at_segment(j, s, ft_segment_def((enum ft_segment_id)s->id)->name),
			        ft_arena_printf(j->out->arena, "element %u", shape->positions + 1U), NULL);
		}
		if (j->f->segment[s->id] != i && ft_segment_def((enum ft_segment_id)s->id)->once && !(told[s->id] & 2)) {
			told[s->id] |= 2;
			ft_find(j->out, FT_RULE_AUDIT_REPEATED_SEGMENT,
			        at_segment(j, s, ft_segment_def((enum ft_segment_id)s->id)->name), NULL, NULL);
		}
	}
}

/* Elements marked mandatory that are not there at all. What belongs only to configuration or to
 * commands sent to the machine (PC, IC, SD) is nobody's duty in an audit; PA107 and EA205 are blank
 * when all is well. */
static void judge_missing(struct judge *j)
{
	static const int16_t wanted[] = { FT_EL_ID106, FT_EL_VA101, FT_EL_VA102, FT_EL_VA301, FT_EL_VA302,
		                              FT_EL_PA101, FT_EL_EA309, FT_EL_EA310, FT_EL_G8501 };

	for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++) {
		const struct ft_element_def *def = ft_element_def((enum ft_element_id)wanted[i]);
		int32_t at = j->f->segment[def->segment];
		if (element(j, at, (unsigned)def->position).n)
			continue;
		ft_find(j->out, FT_RULE_AUDIT_MISSING_ELEMENT, at_segment(j, line(j, at), def->name), NULL, def->meaning);
	}
}

/* Says which selection of the same name stands before the one at index i. */
static void find_duplicate(struct judge *j, size_t i, struct ft_slice name)
{
	const struct ft_facts *f = j->f;
	const struct ft_segment *s = &f->audit->segments[f->selections[i]];

	for (size_t k = i > SELECTIONS_MAX ? i - SELECTIONS_MAX : 0; k < i; k++) {
		const struct ft_segment *other = &f->audit->segments[f->selections[k]];
		struct ft_where where = at_segment(j, s, "PA101");
		if (!ft_slice_eq(ft_slice_trim(ft_audit_at(f->audit, other, 1)), name))
			continue;
		where.selection = text(j, name);
		ft_find(j->out, FT_RULE_AUDIT_DUPLICATE_SELECTION, where,
		        ft_arena_printf(j->out->arena, "again in line %u", ft_audit_line(f->audit, s)),
		        ft_arena_printf(j->out->arena, "only in line %u", ft_audit_line(f->audit, other)));
		return;
	}
}

/* Names that are plain numbers and rise, as nearly all do, cannot meet twice. */
static bool names_rise(const struct ft_facts *f)
{
	int64_t before = -1;

	for (size_t i = 0; i < f->selection_count; i++) {
		const struct ft_segment *s = &f->audit->segments[f->selections[i]];
		int64_t name = s->count ? line_numbers(f, s)[1] : FT_ABSENT;
		if (name <= before)
			return false;
		before = name;
	}
	return true;
}

static void judge_selections(struct judge *j)
{
	const struct ft_facts *f = j->f;
	struct ft_slice before = { NULL, 0 };

	if (names_rise(f))
		return;
	for (size_t i = 0; i < f->selection_count && j->out->count < FT_FINDINGS_MAX; i++) {
		const struct ft_segment *s = &f->audit->segments[f->selections[i]];
		struct ft_slice name = ft_slice_trim(ft_audit_at(f->audit, s, 1));
		bool rising = name.n > before.n || (name.n == before.n && ft_slice_cmp(name, before) > 0);
		before = name;
		if (!rising && i > 0)
			find_duplicate(j, i, name); /* out of order: look back */
	}
}

static void judge_currency(struct judge *j)
{
	const struct ft_facts *f = j->f;
	int32_t at = f->segment[FT_SEG_ID4];
	const struct ft_currency *c = NULL;
	int64_t places = f->value[FT_EL_ID401], numeric = f->value[FT_EL_ID402];

	if (at < 0)
		return;
	if (element(j, at, 3).n)
		c = ft_currency_by_alpha(element(j, at, 3));
	if (!c && numeric > 0 && numeric < 3000) /* the field also knows 1 + the ISO number */
		c = ft_currency_by_number((int)(numeric >= 1000 ? numeric - 1000 : numeric));
	if (places != FT_ABSENT &&
	    (places < 0 || places > FT_AUDIT_DECIMALS_MAX || (c && c->digits >= 0 && places != c->digits)))
		ft_find(j->out, FT_RULE_AUDIT_DECIMALS, at_segment(j, line(j, at), "ID401"), number(j, places),
		        c && c->digits >= 0 ? ft_arena_printf(j->out->arena, "%d for %s", c->digits, c->alpha) : "0 to 4");
}

static void judge_clock(struct judge *j)
{
	int32_t at = j->f->segment[FT_SEG_ID5];
	int year, month, day;
	bool unset = false;

	if (at >= 0 && audit_date(element(j, at, 1), &year, &month, &day, &unset) && !unset)
		return;
	if (at >= 0 && element(j, at, 1).n && !unset)
		return; /* a bad date has its own finding */
	ft_find(j->out, FT_RULE_AUDIT_NO_CLOCK, at_segment(j, line(j, at), "ID501"), unset ? "all zero" : NULL, NULL);
}

/* Counters in pairs of value and number: one zero and the other not. */
static void judge_values_and_counts(struct judge *j)
{
	static const int16_t pairs[][2] = {
		{ FT_EL_VA101, FT_EL_VA102 }, { FT_EL_CA201, FT_EL_CA202 }, { FT_EL_DA201, FT_EL_DA202 },
		{ FT_EL_DB201, FT_EL_DB202 }, { FT_EL_TA201, FT_EL_TA202 },
	};

	for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
		int64_t value = j->f->value[pairs[i][0]], count = j->f->value[pairs[i][1]];
		if (value == FT_ABSENT || count == FT_ABSENT || (value == 0) == (count == 0))
			continue;
		ft_find(j->out, FT_RULE_AUDIT_COUNT_WITHOUT_VALUE,
		        at_segment(j, line(j, j->f->segment[ft_element_def((enum ft_element_id)pairs[i][0])->segment]),
		                   ft_element_def((enum ft_element_id)pairs[i][0])->name),
		        ft_arena_printf(j->out->arena, "value %lld, number %lld", (long long)value, (long long)count), NULL);
	}
}

static void judge_identities(struct judge *j)
{
	struct ft_identity all[FT_IDENTITIES_MAX];
	size_t n = ft_audit_identities(j->f, all);

	for (size_t i = 0; i < n; i++) {
		struct ft_finding *x;
		enum ft_rule_id rule;
		if (all[i].stands != FT_BROKEN || (rule = identity_rule(&all[i])) == FT_RULE_NONE)
			continue;
		x = ft_find(j->out, rule,
		            at_segment(j, rule == FT_RULE_AUDIT_PART_ABOVE_WHOLE ? line(j, j->f->above_at) : NULL, NULL),
		            number(j, all[i].left), number(j, all[i].right));
		x->why = ft_arena_printf(j->out->arena, "identity %s: %s (%s); may be broken without fault by %s", all[i].id,
		                         all[i].sentence, all[i].trust, all[i].breakers);
		if (!x->why)
			x->why = all[i].sentence;
	}
}

void ft_audit_judge(const struct ft_facts *f, const char *file, ft_crc16_fn *crc16, struct ft_findings *findings,
                    struct ft_audit_check *ret)
{
	struct judge j = { f, file, findings };

	*ret = (struct ft_audit_check){ 0 };
	judge_envelope(&j, ret);
	judge_crc(&j, crc16, ret);
	judge_count(&j, ret);
	judge_elements(&j);
	judge_missing(&j);
	judge_selections(&j);
	judge_currency(&j);
	judge_clock(&j);
	judge_values_and_counts(&j);
	judge_identities(&j);
}
