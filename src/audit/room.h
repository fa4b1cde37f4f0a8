/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the audit room share. */
#ifndef FETTLE_AUDIT_ROOM_H
#define FETTLE_AUDIT_ROOM_H

#include "fettle/audit.h"

/* The two loops that every byte and every number goes through are built once more for processors
 * with wider instructions; the dynamic linker picks when the program starts. Sanitizers run too late
 * for that. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define AUDIT_HOT __attribute__((target_clones("default", "arch=x86-64-v3")))
#else
#define AUDIT_HOT
#endif

/* ours: further back than any machine has selections nobody looks for one; without an end a file of PA1 lines
 * only would take hours */
enum { SELECTIONS_MAX = 2000 };

struct segment_shape {
	uint16_t numbers, dates, times; /* bit n: position n is of that type */
	uint8_t positions;              /* the last one the dictionary knows */
	uint8_t pairs;
	bool once;      /* belongs into a set once */
	bool marked;    /* may hold unset marks instead of numbers */
	bool row;       /* kept as a row of struct ft_facts */
	bool under_pa1; /* belongs to the nearest PA1 above */
	int16_t element[FT_POSITIONS_MAX + 1];
	struct {
		uint8_t init, reset;
	} twins[FT_POSITIONS_MAX / 2];
};

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

/* Signs, blanks and long numbers. */
int64_t audit_slow_number(const char *p, size_t n, bool *ret_bad);

/* One to eight digits, read at once: the last byte of the number is the highest of the word, what stands
 * before it is shifted out and reads as leading zeros. Most counters have four digits at most, for which
 * half a word does. FT_ABSENT for everything else. */
static inline __attribute__((always_inline)) int64_t audit_digits(const char *bytes, struct ft_span s)
{
	if (s.n == 1) { /* half of all counters are a lone digit */
		unsigned digit = (unsigned char)bytes[s.at] - (unsigned)'0';
		return digit < 10 ? (int64_t)digit : FT_ABSENT;
	}
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
	if (s.n - 1 < 4 && s.at >= 4) {
		uint32_t v;
		memcpy(&v, bytes + s.at + s.n - 4, sizeof v);
		v = (v ^ UINT32_C(0x30303030)) >> (32 - 8 * s.n) << (32 - 8 * s.n);
		if (__builtin_expect((v | (v + UINT32_C(0x76767676))) & UINT32_C(0x80808080), 0))
			return FT_ABSENT;
		v = (v * 10 + (v >> 8)) & UINT32_C(0x00FF00FF);
		return (uint32_t)(v * (100U << 16 | 1U)) >> 16;
	}
	if (s.n - 1 < 8 && s.at >= 8) {
		unsigned shift = 8 * (8 - s.n);
		uint64_t v;
		memcpy(&v, bytes + s.at + s.n - 8, sizeof v);
		v ^= UINT64_C(0x3030303030303030);
		v = v >> shift << shift;
		if (__builtin_expect(!((v | (v + UINT64_C(0x7676767676767676))) & UINT64_C(0x8080808080808080)), 1)) {
			v = v * 10 + (v >> 8);
			v = ((v & UINT64_C(0x000000FF000000FF)) * UINT64_C(0x000F424000000064) +
			     (v >> 16 & UINT64_C(0x000000FF000000FF)) * UINT64_C(0x0000271000000001)) >>
				32;
			return (int64_t)v;
		}
	}
#endif
	return FT_ABSENT;
}

/* A whole number as EVA-DTS writes it; `s` lies inside `whole`. FT_ABSENT when empty or not a number;
 * *ret_bad tells the two apart. */
static inline int64_t audit_number(struct ft_slice whole, struct ft_span s, bool *ret_bad)
{
	int64_t v = audit_digits(whole.p, s);

	*ret_bad = false;
	return v != FT_ABSENT || s.n == 0 ? v : audit_slow_number(whole.p + s.at, s.n, ret_bad);
}

/* The forms of dates and times by length, checked without taking them apart twice: false when `s`, not
 * empty, is not one. Blanks around them and other oddities go the slow way. */
static inline bool audit_date_ok(struct ft_slice whole, struct ft_span s)
{
	static const uint8_t days[13] = { 0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
	bool bad;
	int64_t v;
	unsigned day, month;

	if (s.n != 6 && s.n != 8)
		return false;
	v = audit_number(whole, s, &bad);
	day = (unsigned)v % 100;
	month = (unsigned)v / 100 % 100;
	/* 29 February is left to the slow way */
	return !bad && v >= 0 && (v == 0 || (day >= 1 && month <= 12 && day <= days[month]));
}

static inline bool audit_time_ok(struct ft_slice whole, struct ft_span s)
{
	bool bad;
	int64_t v;
	unsigned t;

	if (s.n != 6 && s.n != 4)
		return false;
	v = audit_number(whole, s, &bad);
	t = (unsigned)v * (s.n == 4 ? 100 : 1);
	return !bad && v >= 0 && t < 240000 && t / 100 % 100 < 60 && t % 100 < 60;
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

/* Number at a position of a row, FT_ABSENT when there is none. */
static inline int64_t row_number(const struct ft_facts *f, uint32_t segment, unsigned position)
{
	const struct ft_segment *s = &f->audit->segments[segment];
	bool bad;

	if (position > s->count)
		return FT_ABSENT;
	return audit_number(f->audit->bytes, f->audit->elements[s->first + position], &bad);
}

static inline int64_t or_zero(int64_t v)
{
	return v == FT_ABSENT ? 0 : v;
}

/* The row of data/audit-identities.csv that an identity belongs to, for its rule. */
enum ft_rule_id identity_rule(const struct ft_identity *i);

#endif
