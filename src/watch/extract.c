/* SPDX-License-Identifier: Apache-2.0 */
/* One audit to what is watched of it. */
#include "room.h"

static struct ft_slice text_at(const struct ft_facts *f, enum ft_segment_id id, unsigned position)
{
	int32_t i = f->segment[id];
	struct ft_slice s = { "", 0 };

	if (i >= 0)
		s = ft_slice_trim(ft_audit_at(f->audit, &f->audit->segments[i], position));
	if (!s.p)
		s = (struct ft_slice){ "", 0 };
	if (s.n > FT_WATCH_WORD_MAX)
		s.n = FT_WATCH_WORD_MAX;
	return s;
}

static int64_t row_at(const struct ft_facts *f, uint32_t segment, unsigned position)
{
	const struct ft_segment *s = &f->audit->segments[segment];
	int64_t v;

	if (position > s->count)
		return FT_ABSENT;
	v = f->numbers[s->first - f->first_token + position];
	if (v == FT_ABSENT && !ft_slice_i64(ft_slice_trim(ft_audit_at(f->audit, s, position)), &v))
		return FT_ABSENT;
	return v == UINT16_MAX || v == (int64_t)UINT32_MAX ? FT_ABSENT : v; /* the marks for "not set" */
}

static int64_t either(int64_t a, int64_t b)
{
	return a != FT_ABSENT ? a : b;
}

static int64_t both(int64_t a, int64_t b)
{
	return a == FT_ABSENT ? b : b == FT_ABSENT ? a : watch_add(a, b);
}

static int two(const char *p)
{
	return ft_is_digit(p[0]) && ft_is_digit(p[1]) ? (p[0] - '0') * 10 + p[1] - '0' : -1;
}

static int64_t clock_of(const struct ft_facts *f)
{
	struct ft_slice d = text_at(f, FT_SEG_ID5, 1), t = text_at(f, FT_SEG_ID5, 2);
	struct ft_civil c = { 0 };

	if (d.n == 0) { /* some tell the time of the read only */
		d = text_at(f, FT_SEG_EA3, 2);
		t = text_at(f, FT_SEG_EA3, 3);
	}
	if (d.n != 6 && d.n != 8)
		return FT_ABSENT;
	c.year = d.n == 8 ? two(d.p) * 100 + two(d.p + 2) : 2000 + two(d.p);
	c.month = two(d.p + d.n - 4);
	c.day = two(d.p + d.n - 2);
	if (t.n >= 4) {
		c.hour = two(t.p);
		c.minute = two(t.p + 2);
	}
	if (t.n >= 6)
		c.second = two(t.p + 4);
	if (c.year < 1970 || !ft_date_valid(c.year, c.month, c.day) || c.hour < 0 || c.hour > 23 || c.minute < 0 ||
	    c.minute > 59 || c.second < 0 || c.second > 59)
		return FT_ABSENT;
	return ft_unix_of(&c, 0);
}

static void take_numbers(const struct ft_facts *f, struct ft_watch_read *r)
{
	static const struct {
		enum ft_watch_number to;
		enum ft_element_id from;
	} plain[] = {
		{ FT_WATCH_OUTAGES, FT_EL_EA702 },    { FT_WATCH_PAID_VALUE, FT_EL_VA101 },
		{ FT_WATCH_PAID_COUNT, FT_EL_VA102 }, { FT_WATCH_CASH_VALUE, FT_EL_CA201 },
		{ FT_WATCH_CASH_IN, FT_EL_CA305 },    { FT_WATCH_TO_BOX, FT_EL_CA306 },
		{ FT_WATCH_BOX_SINCE, FT_EL_CA302 },  { FT_WATCH_TO_TUBES, FT_EL_CA307 },
		{ FT_WATCH_DISPENSED, FT_EL_CA403 },  { FT_WATCH_BY_HAND, FT_EL_CA404 },
		{ FT_WATCH_FILLED, FT_EL_CA1002 },    { FT_WATCH_TUBES_NOW, FT_EL_CA1501 },
		{ FT_WATCH_TESTS, FT_EL_VA202 },
	};

	for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
		r->number[plain[i].to] = f->value[plain[i].from];
	r->number[FT_WATCH_DECIMALS] = f->decimals;
	r->number[FT_WATCH_READS] = either(f->value[FT_EL_EA309], f->value[FT_EL_EA301]);
	r->number[FT_WATCH_RESETS] = either(f->value[FT_EL_EA310], f->value[FT_EL_EA301]);
	r->number[FT_WATCH_CARD_VALUE] = both(f->value[FT_EL_DA201], f->value[FT_EL_DB201]);
	r->number[FT_WATCH_CARD_COUNT] = both(f->value[FT_EL_DA202], f->value[FT_EL_DB202]);
	r->number[FT_WATCH_BILLS] = f->bills_in_init;
	r->number[FT_WATCH_BILLS_SINCE] = f->bills_in_reset;
	r->number[FT_WATCH_CLOCK] = clock_of(f);
}

/* PA2 where it is sent, else the sum of the lists in PA7. */
static void take_rows(const struct ft_facts *f, struct ft_watch_read *r)
{
	bool by_list = f->segment[FT_SEG_PA2] < 0;

	r->number[FT_WATCH_DOOR_COUNT] = FT_ABSENT;
	for (size_t i = 0; i < f->row_count; i++) {
		uint32_t at = f->rows[i].segment;
		int32_t s = f->rows[i].selection;
		int id = f->audit->segments[at].id;
		struct ft_slice code;
		if (id == FT_SEG_PA2 && s >= 0 && (size_t)s < r->cell_count) {
			r->cells[s].count = row_at(f, at, 1);
			r->cells[s].value = row_at(f, at, 2);
		} else if (id == FT_SEG_PA7 && by_list && s >= 0 && (size_t)s < r->cell_count) {
			r->cells[s].count = both(r->cells[s].count, row_at(f, at, 5));
			r->cells[s].value = both(r->cells[s].value, row_at(f, at, 6));
		} else if (id == FT_SEG_EA2) {
			code = ft_slice_trim(ft_audit_at(f->audit, &f->audit->segments[at], 1));
			if (code.n >= 3 && memcmp(code.p, "EGS", 3) == 0)
				r->number[FT_WATCH_DOOR_COUNT] = both(r->number[FT_WATCH_DOOR_COUNT], row_at(f, at, 3));
			if (code.n > 4 && memcmp(code.p, "OBC_", 4) == 0 && row_at(f, at, 5) == 1)
				for (size_t k = 0; k < r->cell_count; k++)
					r->cells[k].out |= ft_slice_eq(r->cells[k].id, (struct ft_slice){ code.p + 4, code.n - 4 });
		}
	}
}

static bool check_fits(const struct ft_facts *f, ft_crc16_fn *crc16)
{
	const struct ft_audit *d = f->audit;
	struct ft_slice stated;
	uint32_t v;
	uint16_t crc;
	bool converted;

	if (!crc16 || f->set->g85 < 0)
		return true;
	stated = ft_slice_trim(ft_audit_at(d, &d->segments[f->set->g85], 1));
	if (stated.n != 4 || !ft_slice_hex(stated, &v))
		return true; /* a placeholder, not a check value */
	crc = ft_audit_crc(d, f->set, crc16);
	if (v == crc || v == (uint16_t)(crc << 8 | crc >> 8))
		return true;
	crc = ft_audit_crc_crlf(d, f->set, crc16, &converted);
	return v == crc || v == (uint16_t)(crc << 8 | crc >> 8);
}

enum ft_status ft_watch_extract(const struct ft_facts *f, const char *file, int64_t arrived_us, ft_crc16_fn *crc16,
                                struct ft_arena *a, struct ft_watch_read *ret, struct ft_error *e)
{
	const struct ft_set *set = f->set;
	size_t n = f->selection_count < FT_WATCH_CELLS_MAX ? f->selection_count : FT_WATCH_CELLS_MAX;
	struct ft_hash h = ft_hash_of(f->audit->bytes.p, f->audit->bytes.n);

	memset(ret, 0, sizeof *ret);
	for (int i = 0; i < FT_WATCH_NUMBERS; i++)
		ret->number[i] = FT_ABSENT;
	ret->text[FT_WATCH_SERIAL] = text_at(f, FT_SEG_ID1, 1);
	ret->text[FT_WATCH_MODEL] = text_at(f, FT_SEG_ID1, 2);
	ret->text[FT_WATCH_ASSET] = text_at(f, FT_SEG_ID1, 6);
	ret->text[FT_WATCH_BOARD] = text_at(f, FT_SEG_CB1, 1);
	ret->text[FT_WATCH_CHANGER] = text_at(f, FT_SEG_CA1, 1);
	ret->text[FT_WATCH_READER] = text_at(f, FT_SEG_DA1, 1);
	ret->text[FT_WATCH_CURRENCY] = text_at(f, FT_SEG_ID4, 3);
	ret->text[FT_WATCH_FILE] = ft_slice_of(file);
	memcpy(&ret->content, h.b, sizeof ret->content);
	ret->cells = ft_arena_raw(a, (n + 1) * sizeof *ret->cells);
	if (!ret->cells)
		return ft_fail_memory(e, "watching an audit");
	ret->cell_count = n;
	for (size_t i = 0; i < n; i++) {
		const struct ft_segment *pa1 = &f->audit->segments[f->selections[i]];
		struct ft_slice id = ft_slice_trim(ft_audit_at(f->audit, pa1, 1));
		if (!id.p)
			id = (struct ft_slice){ "", 0 };
		if (id.n > FT_WATCH_WORD_MAX)
			id.n = FT_WATCH_WORD_MAX;
		ret->cells[i] = (struct ft_watch_cell){ id, row_at(f, f->selections[i], 2), FT_ABSENT, FT_ABSENT, false };
	}
	take_numbers(f, ret);
	take_rows(f, ret);
	ret->number[FT_WATCH_ARRIVED] = arrived_us;
	if (set->st < 0 || set->se < 0 || (set->dxs >= 0 && set->dxe < 0)) {
		/* a set that never had an envelope is whole when it ends where audits end */
		if (set->st >= 0 || set->dxs < 0 || set->dxe < 0)
			ret->flags |= FT_WATCH_PART;
	}
	if (!check_fits(f, crc16))
		ret->flags |= FT_WATCH_BAD_CHECK;
	return FT_OK;
}

/* ---- names ---- */

static struct ft_slice base_name(struct ft_slice file)
{
	size_t from = file.n;

	while (from && file.p[from - 1] != '/' && file.p[from - 1] != ':')
		from--;
	return (struct ft_slice){ file.p + from, file.n - from };
}

static bool digits(const char *p, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!ft_is_digit(p[i]))
			return false;
	return true;
}

/* A date at s.p[at]: its length, 0 when there is none. */
static size_t date_at(struct ft_slice s, size_t at, struct ft_civil *ret)
{
	const char *p = s.p + at;
	size_t left = s.n - at, n = 0;

	if (at && ft_is_digit(p[-1]))
		return 0;
	if (left >= 8 && digits(p, 8)) {
		*ret = (struct ft_civil){ two(p) * 100 + two(p + 2), two(p + 4), two(p + 6), 0, 0, 0 };
		n = 8;
	} else if (left >= 10 && digits(p, 4) && (p[4] == '-' || p[4] == '_') && digits(p + 5, 2) && p[7] == p[4] &&
	           digits(p + 8, 2)) {
		*ret = (struct ft_civil){ two(p) * 100 + two(p + 2), two(p + 5), two(p + 8), 0, 0, 0 };
		n = 10;
	}
	if (!n || ret->year < 1990 || ret->year > 2100 || !ft_date_valid(ret->year, ret->month, ret->day))
		return 0;
	return n;
}

static void time_at(struct ft_slice s, size_t at, struct ft_civil *c)
{
	int part[3] = { 0, 0, 0 };
	int n = 0;

	if (at < s.n && (s.p[at] == 'T' || s.p[at] == '-' || s.p[at] == '_' || s.p[at] == ' '))
		at++;
	while (n < 3 && at + 2 <= s.n && digits(s.p + at, 2)) {
		part[n++] = two(s.p + at);
		at += 2;
		if (at < s.n && (s.p[at] == '-' || s.p[at] == '.' || s.p[at] == '_') && at + 3 <= s.n &&
		    ft_is_digit(s.p[at + 1]))
			at++;
	}
	if (n < 2 || part[0] > 23 || part[1] > 59 || part[2] > 59)
		return;
	c->hour = part[0];
	c->minute = part[1];
	c->second = part[2];
}

/* The last date in the name. */
static bool find_date(struct ft_slice base, size_t *ret_at, size_t *ret_n, struct ft_civil *ret)
{
	for (size_t at = base.n; at-- > 0;) {
		size_t n = ft_is_digit(base.p[at]) ? date_at(base, at, ret) : 0;
		if (n) {
			*ret_at = at;
			*ret_n = n;
			return true;
		}
	}
	return false;
}

bool ft_watch_stamp(struct ft_slice file, int64_t *ret_us)
{
	struct ft_slice base = base_name(file);
	struct ft_civil c;
	size_t at, n;

	if (!find_date(base, &at, &n, &c))
		return false;
	time_at(base, at + n, &c);
	*ret_us = ft_unix_of(&c, 0);
	return true;
}

struct ft_slice ft_watch_name(struct ft_slice file)
{
	struct ft_slice base = base_name(file), rest;
	struct ft_civil c;
	size_t at, n, end = base.n;

	if (find_date(base, &at, &n, &c)) {
		for (end = at; end && strchr("-_. ", base.p[end - 1]); end--)
			;
		if (end)
			return (struct ft_slice){ base.p, end };
		/* nothing but a time: the folder says who it is */
		rest = (struct ft_slice){ file.p, file.n - base.n };
		while (rest.n && (rest.p[rest.n - 1] == '/' || rest.p[rest.n - 1] == ':'))
			rest.n--;
		return base_name(rest);
	}
	while (end > 1 && base.p[end - 1] != '.')
		end--;
	return (struct ft_slice){ base.p, end > 1 ? end - 1 : base.n };
}

const char *ft_watch_key(const struct ft_watch_read *r, struct ft_arena *a)
{
	struct ft_slice serial = r->text[FT_WATCH_SERIAL], asset = r->text[FT_WATCH_ASSET], name;

	if (serial.n)
		return ft_arena_printf(a, "%.*s %.*s", FT_P(serial), FT_P(r->text[FT_WATCH_MODEL]));
	if (asset.n)
		return ft_arena_printf(a, "asset %.*s", FT_P(asset));
	name = ft_watch_name(r->text[FT_WATCH_FILE]);
	return ft_arena_printf(a, "name %.*s", FT_P(name));
}
