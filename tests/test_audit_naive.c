/* SPDX-License-Identifier: Apache-2.0 */
/* The reader and the sums beside a naive reading, byte by byte, of the same bytes: samples, invented lines of all
 * segments, and noise. Built against the audit room as it is and once more without its wide loops. */
#include "unit.h"

#include <stdio.h>
#include <stdlib.h>

#include "fettle/audit.h"

enum { BYTES_MAX = 1 << 16, ROUNDS = 400 };

/* A generator of its own, for the same bytes everywhere. */
static uint32_t chance(uint64_t *state, uint32_t below)
{
	*state = *state * 6364136223846793005U + 1442695040888963407U;
	return (uint32_t)(*state >> 33) % below;
}

static void put_element(struct ft_buf *b, uint64_t *state)
{
	static const char *const odd[] = {
		"",      "",    "65535",      "4294967295",         "999999999999999999", "-999999999999999999",
		"-5",    " 12", "7 ",         "12345678",           "123456789",          "9999999999999999999",
		"1x345", "0",   "2147483648", "888888888888888888", "\xff\xff",           "0:",
	};
	uint32_t n = chance(state, 10);

	ft_buf_byte(b, '*');
	if (chance(state, 8) == 0)
		ft_buf_puts(b, odd[chance(state, sizeof odd / sizeof *odd)]);
	else
		for (uint32_t i = 0; i < n; i++)
			ft_buf_byte(b, (char)('0' + chance(state, 10)));
}

/* Lines of the dictionary's segments with whatever numbers; `tame`: none that is not plain digits. */
static void put_lines(struct ft_buf *b, uint64_t *state, bool tame)
{
	static const char *const ends[] = { "\r\n", "\r\n", "\r\n", "\n", "\r", "\r\r\n", "\n\r" };
	const char *end = ends[chance(state, 3)];

	ft_buf_puts(b, "ST*001*0001\r\n");
	for (uint32_t lines = chance(state, 120); lines; lines--) {
		/* a few kinds over and over, for sums to come about */
		uint32_t kind = chance(state, 3) ? chance(state, 12) * 7 % FT_SEG_COUNT : chance(state, FT_SEG_COUNT);
		uint32_t n = chance(state, 4) ? 4 + chance(state, 6) : chance(state, 15);
		ft_buf_puts(b, ft_segment_def((enum ft_segment_id)kind)->name);
		for (uint32_t i = 0; i < n; i++) {
			if (tame)
				ft_buf_printf(b, "*%u", chance(state, 1000));
			else
				put_element(b, state);
		}
		ft_buf_puts(b, chance(state, 30) ? end : ends[chance(state, sizeof ends / sizeof *ends)]);
	}
	ft_buf_puts(b, "SE*3*0001");
}

static void put_noise(struct ft_buf *b, uint64_t *state)
{
	static const char likely[] = "**\r\n\r\n0123456789 -STPA1VA";

	for (uint32_t n = chance(state, 700); n; n--)
		ft_buf_byte(b, chance(state, 6) ? likely[chance(state, sizeof likely - 1)] : (char)chance(state, 256));
}

/* Goes through the lines with one eye on the reader's. */
static void compare_lines(struct ft_slice b, const struct ft_audit *d)
{
	size_t line = 0;

	for (size_t at = 0; at < b.n; line++) {
		const struct ft_segment *s = &d->segments[line];
		unsigned position = 0;
		size_t begin = at;
		assert_true(line < d->segment_count && s->at == at);
		for (;; at++) {
			if (at < b.n && b.p[at] != '*' && b.p[at] != '\r' && b.p[at] != '\n')
				continue;
			if (position) {
				struct ft_slice v = ft_audit_at(d, s, position);
				assert_true(v.p == b.p + begin && v.n == at - begin);
			}
			if (at == b.n || b.p[at] != '*')
				break;
			position++;
			begin = at + 1;
		}
		assert_int_equal(s->count, position);
		if (at < b.n)
			at += b.p[at] == '\r' && at + 1 < b.n && b.p[at + 1] == '\n' ? 2 : 1;
		assert_int_equal(s->end, at);
	}
	assert_int_equal(line, d->segment_count);
}

/* A whole number of up to eighteen digits, blanks around it left out. */
static int64_t naive_number(struct ft_slice s)
{
	int64_t v;

	s = ft_slice_trim(s);
	return s.n && s.n <= 18 && ft_slice_i64(s, &v) ? v : FT_ABSENT;
}

static bool is_number(const struct ft_element_def *e)
{
	return e->type == FT_TYPE_INTEGER || e->type == FT_TYPE_MONEY || e->type == FT_TYPE_EITHER;
}

static void compare_sums(const struct ft_audit *d, const struct ft_facts *f)
{
	static int64_t value[FT_EL_COUNT], sum[FT_EL_COUNT];
	uint32_t bad = 0;

	for (int i = 0; i < FT_EL_COUNT; i++) {
		value[i] = FT_ABSENT;
		sum[i] = 0;
	}
	for (int32_t i = f->set->first; i < f->set->last; i++) {
		const struct ft_segment *s = &d->segments[i];
		for (unsigned p = 1; s->id >= 0 && p <= s->count && p <= FT_POSITIONS_MAX; p++) {
			enum ft_element_id el = ft_element_at((enum ft_segment_id)s->id, p);
			int64_t v = naive_number(ft_audit_at(d, s, p));
			if (el == FT_EL_NONE || !is_number(ft_element_def(el)))
				continue;
			bad += v == FT_ABSENT && ft_slice_trim(ft_audit_at(d, s, p)).n > 0;
			assert_true(f->numbers[s->first + p - f->first_token] == v);
			if (v == FT_ABSENT || ((s->id == FT_SEG_PA7 || s->id == FT_SEG_LA1) && (v == 65535 || v == 4294967295)))
				continue;
			if (value[el] == FT_ABSENT)
				value[el] = v;
			if (__builtin_add_overflow(sum[el], v, &sum[el]))
				sum[el] = INT64_MAX;
		}
	}
	assert_memory_equal(f->value, value, sizeof value);
	assert_memory_equal(f->sum, sum, sizeof sum);
	assert_int_equal(f->bad_numbers, bad);
}

static void compare(struct ft_slice bytes)
{
	struct ft_arena a = { 0 };
	struct ft_error e = { 0 };
	/* of exactly its length, for a sanitizer to see who reads beyond */
	char *exact = malloc(bytes.n + 1);
	struct ft_slice b = { exact, bytes.n };
	struct ft_facts *f = FT_NEW(&a, struct ft_facts);
	struct ft_audit d;

	assert_true(exact && f);
	memcpy(exact, bytes.p, bytes.n);
	exact = realloc(exact, bytes.n ? bytes.n : 1);
	b.p = exact;
	assert_int_equal(ft_audit_read(b, &a, &d, &e), FT_OK);
	compare_lines(b, &d);
	for (size_t i = 0; i < d.set_count; i++) {
		assert_int_equal(ft_audit_facts(&d, &d.sets[i], &a, f, &e), FT_OK);
		compare_sums(&d, f);
	}
	ft_arena_done(&a);
	free(exact);
}

static void samples(void **state)
{
	static const char *const names[] = { "1", "1b", "2", "2b", "3", "3b" };
	static char bytes[BYTES_MAX];

	(void)state;
	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		char path[512];
		size_t n;
		FILE *f;
		snprintf(path, sizeof path, "%s/samples/sample-%s.dts", getenv("TESTS_DIR"), names[i]);
		f = fopen(path, "rb");
		assert_non_null(f);
		n = fread(bytes, 1, sizeof bytes, f);
		fclose(f);
		assert_true(n > 100 && n < sizeof bytes);
		/* from every beginning and to every end nearby, for every place in a block and in a word */
		for (size_t skip = 0; skip < 70; skip++) {
			compare((struct ft_slice){ bytes + skip, n - skip });
			compare((struct ft_slice){ bytes, n - skip });
		}
	}
}

static void invented(void **state)
{
	uint64_t seed = 1;
	struct ft_buf b = { 0 };

	(void)state;
	for (int i = 0; i < ROUNDS; i++) {
		ft_buf_clear(&b);
		put_lines(&b, &seed, i % 2);
		if (i % 5 == 0)
			put_lines(&b, &seed, false);
		compare(ft_buf_text(&b));
		ft_buf_clear(&b);
		put_noise(&b, &seed);
		compare(ft_buf_text(&b));
	}
	ft_buf_done(&b);
}

/* Sums beyond all numbers, which small ones follow. */
static void sums_stop(void **state)
{
	struct ft_buf b = { 0 };

	(void)state;
	ft_buf_puts(&b, "ST*001*0001\r\n");
	for (int i = 0; i < 12; i++)
		ft_buf_puts(&b, "PA2*999999999999999999*-999999999999999999*1*1\r\n");
	for (int i = 0; i < 5; i++)
		ft_buf_puts(&b, "PA2*7*8*9*10\r\n");
	ft_buf_puts(&b, "SE*3*0001");
	compare(ft_buf_text(&b));
	ft_buf_done(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(samples),
		cmocka_unit_test(invented),
		cmocka_unit_test(sums_stop),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
