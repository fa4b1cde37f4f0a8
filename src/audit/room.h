/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the audit room share. */
#ifndef FETTLE_AUDIT_ROOM_H
#define FETTLE_AUDIT_ROOM_H

#include "fettle/audit.h"

#if defined(__SSE2__)
#include <emmintrin.h>
#endif

/* The loops that every byte and every number goes through are built once more for processors with wider
 * instructions, and each file asks once which to take; sanitizers and clang see both. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(AUDIT_PLAIN)
#include <immintrin.h>
#define AUDIT_WIDE __attribute__((target("avx2,bmi,bmi2,popcnt")))
static inline bool audit_wide(void)
{
	return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi") && __builtin_cpu_supports("bmi2") &&
		__builtin_cpu_supports("popcnt");
}
#endif

/* Code that is taken into the plain and the wide form of a loop alike. */
#define AUDIT_BOTH static inline __attribute__((always_inline))

/* ours: further back than any machine has selections nobody looks for one; without an end a file of PA1 lines
 * only would take hours */
enum { SELECTIONS_MAX = 2000 };

struct segment_shape {
	/* Bit n: position n is of that type. Sixty-four bytes a shape make its place a shift of its index. */
	_Alignas(64) uint16_t numbers;
	uint16_t dates, times;
	uint8_t positions; /* the last one the dictionary knows */
	uint8_t pairs;     /* how many of twins[] */
	bool once;         /* belongs into a set once */
	bool marked;       /* may hold unset marks instead of numbers */
	bool row;          /* kept as a row of struct ft_facts */
	bool under_pa1;    /* belongs to the nearest PA1 above */
	int16_t element[FT_POSITIONS_MAX + 1];
	struct {
		uint8_t init, reset, reach; /* reach: the higher of the two positions; from pair to pair it rises */
	} twins[FT_POSITIONS_MAX / 2];
};
_Static_assert(sizeof(struct segment_shape) == 64, "see above");

struct segment_slot {
	uint32_t key;
	int16_t id;
};

#include "segment-shapes.inc"

extern const struct segment_slot segment_slots[SEGMENT_SLOTS];
extern const struct segment_shape segment_shapes[FT_SEG_COUNT];

/* Of a segment the dictionary knows. */
static inline const struct segment_shape *segment_shape(int id)
{
	return &segment_shapes[id];
}

/* The look-up behind ft_segment_find, for the reader's inner loop: `key` is the name's up to four
 * bytes, first byte lowest, zero-filled. */
static inline int segment_by_key(uint32_t key)
{
	const struct segment_slot *s = &segment_slots[(uint32_t)(key * SEGMENT_MULTIPLIER) >> SEGMENT_SHIFT];

	return s->key == key && key ? s->id : FT_SEG_NONE;
}

/* An element by the index of its token, which is never a line's first. */
static inline struct ft_span audit_token(const struct ft_audit *d, size_t k)
{
	uint32_t at = d->stops[k - 1] + 1;

	return (struct ft_span){ at, d->stops[k] - at };
}

/* Signs, blanks and long numbers. */
int64_t audit_slow_number(const char *p, size_t n, bool *ret_bad);

/* One to eight digits; FT_ABSENT for everything else. */
static inline int64_t audit_digits(const char *bytes, struct ft_span s)
{
	int64_t v = 0;

	if (s.n - 1 >= 8)
		return FT_ABSENT;
	for (uint32_t i = 0; i < s.n; i++) {
		unsigned digit = (unsigned char)bytes[s.at + i] - (unsigned)'0';
		if (digit > 9)
			return FT_ABSENT;
		v = v * 10 + digit;
	}
	return v;
}

/* audit_digits of the n tokens from `first` on, and a bit for each whether it is digits, lowest first. Of a
 * line's first token whatever comes. */
void audit_read_numbers(const struct ft_audit *d, size_t first, size_t n, int64_t *ret, uint8_t *ret_digits);

/* A whole number as EVA-DTS writes it; `s` lies inside `whole`. FT_ABSENT when empty or not a number;
 * *ret_bad tells the two apart. */
static inline int64_t audit_number(struct ft_slice whole, struct ft_span s, bool *ret_bad)
{
	int64_t v = audit_digits(whole.p, s);

	*ret_bad = false;
	return v != FT_ABSENT || s.n == 0 ? v : audit_slow_number(whole.p + s.at, s.n, ret_bad);
}

/* Whether `n` digits that read as `v` are a date or time, checked without taking them apart twice. What is
 * not so easily told is left to audit_date and audit_time: blanks around them, 29 February. */
static inline bool audit_date_ok(int64_t v, uint32_t n)
{
	static const uint8_t days[13] = { 0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
	unsigned day, month;

	if (v < 0 || (n != 6 && n != 8))
		return false;
	day = (unsigned)v % 100;
	month = (unsigned)v / 100 % 100;
	return v == 0 || (day >= 1 && month <= 12 && day <= days[month]);
}

static inline bool audit_time_ok(int64_t v, uint32_t n)
{
	unsigned t;

	if (v < 0 || (n != 6 && n != 4))
		return false;
	t = (unsigned)v * (n == 4 ? 100 : 1);
	return t < 240000 && t / 100 % 100 < 60 && t % 100 < 60;
}

/* Dates YYMMDD or YYYYMMDD, times HHMM or HHMMSS. All zero gives *ret_unset. */
bool audit_date(struct ft_slice s, int *ret_year, int *ret_month, int *ret_day, bool *ret_unset);
bool audit_time(struct ft_slice s, int *ret_hour, int *ret_minute, int *ret_second);

/* Sums that stop at the ends of int64_t instead of going round: foreign numbers are hostile. */
static inline int64_t sat_add(int64_t a, int64_t b)
{
	int64_t r;
	return __builtin_add_overflow(a, b, &r) ? (b < 0 ? -INT64_MAX : INT64_MAX) : r;
}

static inline int64_t sat_mul(int64_t a, int64_t b)
{
	int64_t r;
	return __builtin_mul_overflow(a, b, &r) ? ((a < 0) != (b < 0) ? -INT64_MAX : INT64_MAX) : r;
}

/* The two marks that stand for "not set" in PA7 and LA1 rows, seen in field files (docs/audit.md). */
static inline bool audit_unset(int64_t v)
{
	return v == UINT16_MAX || v == (int64_t)UINT32_MAX;
}

/* The numbers of a line of the set, by position. */
static inline int64_t *line_numbers(const struct ft_facts *f, const struct ft_segment *s)
{
	return f->numbers + (s->first - f->first_token);
}

/* Number at a position of a row, FT_ABSENT when there is none. */
static inline int64_t row_number(const struct ft_facts *f, uint32_t segment, unsigned position)
{
	const struct ft_segment *s = &f->audit->segments[segment];
	int64_t v;
	bool bad;

	if (position > s->count)
		return FT_ABSENT;
	v = line_numbers(f, s)[position];
	return v != FT_ABSENT ? v : audit_number(f->audit->bytes, audit_token(f->audit, s->first + position), &bad);
}

static inline int64_t or_zero(int64_t v)
{
	return v == FT_ABSENT ? 0 : v;
}

/* The row of data/audit-identities.csv that an identity belongs to, for its rule. */
enum ft_rule_id identity_rule(const struct ft_identity *i);

#endif
