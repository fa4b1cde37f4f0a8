/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the audit room share. */
#ifndef FETTLE_AUDIT_ROOM_H
#define FETTLE_AUDIT_ROOM_H

#include "fettle/audit.h"

struct segment_shape {
	uint16_t numbers, dates, times; /* bit n: position n is of that type */
	uint8_t positions;              /* the last one the dictionary knows */
	uint8_t pairs;
	int16_t element[FT_POSITIONS_MAX + 1];
	struct { uint8_t init, reset; } twins[FT_POSITIONS_MAX / 2];
};

/* NULL for FT_SEG_NONE and FT_SEG_FOREIGN. */
const struct segment_shape *segment_shape(int id);

/* The look-up behind ft_segment_find, for the reader's inner loop: `key` is the name's up to four
 * bytes, first byte lowest, zero-filled. */
int segment_by_key(uint32_t key);

/* A whole number as EVA-DTS writes it; `n` bytes at `p` inside `whole`. FT_ABSENT when empty or not
 * a number; *ret_bad tells the two apart. */
int64_t audit_number(struct ft_slice whole, struct ft_span s, bool *ret_bad);

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

/* Number at a position of a row, FT_ABSENT when there is none. */
int64_t row_number(const struct ft_facts *f, uint32_t segment, unsigned position);

static inline int64_t or_zero(int64_t v)
{
	return v == FT_ABSENT ? 0 : v;
}

/* The row of data/audit-identities.csv that an identity belongs to, for its rule. */
enum ft_rule_id identity_rule(const struct ft_identity *i);

#endif
