/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine is believed by other tests, so its books are checked here by a reader of their
 * own, written from the identities of the EVA-DTS fact list (A1..A15 in one file, B2..B5 between two),
 * not by the audit room. */
#include "unit.h"

#include <stdio.h>

#include "fettle/money.h"
#include "fettle/practice.h"

/* ---- a small reader ---- */

enum { LINES = 400, ELEMENTS = 14 };
struct line {
	char name[5];
	struct ft_slice e[ELEMENTS];
	size_t n;
};
struct file {
	struct line lines[LINES];
	size_t n;
	struct ft_slice bytes;
};

static void parse(struct ft_slice bytes, struct file *f)
{
	struct ft_slice rest = bytes, one, part;

	f->n = 0;
	f->bytes = bytes;
	while (ft_slice_split(&rest, '\n', &one)) {
		struct line *l = &f->lines[f->n];
		if (!one.n)
			continue;
		assert_true(f->n < LINES);
		if (one.p[one.n - 1] == '\r')
			one.n--;
		l->n = 0;
		ft_slice_split(&one, '*', &part);
		assert_true(part.n < sizeof l->name);
		memcpy(l->name, part.p, part.n);
		l->name[part.n] = 0;
		while (ft_slice_split(&one, '*', &part)) {
			assert_true(l->n < ELEMENTS);
			l->e[l->n++] = part;
		}
		f->n++;
	}
}

static const struct line *line(const struct file *f, const char *name)
{
	for (size_t i = 0; i < f->n; i++)
		if (strcmp(f->lines[i].name, name) == 0)
			return &f->lines[i];
	return NULL;
}

static int64_t at(const struct line *l, unsigned position)
{
	int64_t v = 0;

	if (l && position <= l->n && l->e[position - 1].n)
		assert_true(ft_slice_i64(l->e[position - 1], &v));
	return v;
}

static int64_t get(const struct file *f, const char *name, unsigned position)
{
	return at(line(f, name), position);
}

/* Sum over rows of a * b (b 0: of a alone), of those whose element `key` is `is` (key 0: all). */
static int64_t sum(const struct file *f, const char *name, unsigned a, unsigned b, unsigned key, const char *is)
{
	int64_t s = 0;

	for (size_t i = 0; i < f->n; i++) {
		const struct line *l = &f->lines[i];
		if (strcmp(l->name, name) == 0 && (!key || ft_slice_is(l->e[key - 1], is)))
			s += at(l, a) * (b ? at(l, b) : 1);
	}
	return s;
}

/* A row of the selection: the PA2 (PA3...) that follows its PA1. */
static int64_t product(const struct file *f, const char *selection, const char *name, unsigned position)
{
	bool here = false;

	for (size_t i = 0; i < f->n; i++) {
		const struct line *l = &f->lines[i];
		if (strcmp(l->name, "PA1") == 0)
			here = ft_slice_is(l->e[0], selection);
		if (here && strcmp(l->name, name) == 0)
			return at(l, position);
	}
	return -1;
}

static uint16_t crc_bitwise(struct ft_slice s)
{
	unsigned crc = 0;

	for (size_t i = 0; i < s.n; i++) {
		crc ^= (uint8_t)s.p[i];
		for (int bit = 0; bit < 8; bit++)
			crc = crc >> 1 ^ (crc & 1 ? 0xA001 : 0);
	}
	return (uint16_t)crc;
}

/* Does G85, over ST up to the line end before it, stand there with the high digit first (order 1) or
 * the low byte first (order 2)? A value whose bytes are equal stands in both orders. */
static bool crc_stands(const struct file *f, int order)
{
	size_t from = ft_slice_find(f->bytes, FT_SLICE("ST*")), to = ft_slice_find(f->bytes, FT_SLICE("G85*"));
	uint16_t crc = crc_bitwise((struct ft_slice){ f->bytes.p + from, to - from });
	uint32_t stated;

	assert_true(ft_slice_hex(line(f, "G85")->e[0], &stated));
	return stated == (order == 1 ? crc : (uint16_t)(crc << 8 | crc >> 8));
}

static void check_envelope(const struct file *f, int order)
{
	assert_string_equal(f->lines[0].name, "DXS");
	assert_string_equal(f->lines[1].name, "ST");
	assert_string_equal(f->lines[f->n - 1].name, "DXE");
	assert_int_equal(get(f, "SE", 1), f->n - 2); /* ST and SE counted, DXS and DXE not */
	assert_true(crc_stands(f, order));
	assert_true(ft_slice_eq((struct ft_slice){ f->bytes.p + f->bytes.n - 2, 2 }, FT_SLICE("\r\n")));
}

static void check_sales(const struct file *f)
{
	for (unsigned p = 1; p <= 4; p++) /* A1 */
		assert_int_equal(get(f, "VA1", p), get(f, "CA2", p) + get(f, "DA2", p) + get(f, "TA2", p));
	assert_int_equal(sum(f, "PA2", 1, 0, 0, NULL), get(f, "VA1", 2)); /* A5 */
	assert_int_equal(sum(f, "PA2", 2, 0, 0, NULL), get(f, "VA1", 1));
	if (line(f, "PA2")->n > 2) { /* A6 */
		assert_int_equal(sum(f, "PA2", 3, 0, 0, NULL), get(f, "VA1", 4));
		assert_int_equal(sum(f, "PA2", 4, 0, 0, NULL), get(f, "VA1", 3));
	}
	for (unsigned p = 1; p <= 4 && line(f, "VA2"); p++) { /* A7: number and value change places */
		static const unsigned there[] = { 2, 1, 4, 3 };
		assert_int_equal(sum(f, "PA3", p, 0, 0, NULL), get(f, "VA2", there[p - 1]));
		assert_int_equal(sum(f, "PA4", p, 0, 0, NULL), get(f, "VA3", there[p - 1]));
	}
	if (!line(f, "PA7"))
		return;
	for (size_t i = 0; i < f->n; i++) { /* A8 */
		char id[12];
		if (strcmp(f->lines[i].name, "PA1") != 0)
			continue;
		snprintf(id, sizeof id, "%.*s", FT_P(f->lines[i].e[0]));
		for (unsigned p = 1; p <= 4; p++)
			assert_int_equal(sum(f, "PA7", 4 + p, 0, 1, id), product(f, id, "PA2", p));
		assert_int_equal(sum(f, "LA1", 5, 0, 2, id), product(f, id, "PA2", 1));
		assert_int_equal(sum(f, "LA1", 4, 0, 2, id), product(f, id, "PA2", 3));
	}
	assert_int_equal(sum(f, "PA7", 6, 0, 2, "CA"), get(f, "CA2", 1)); /* A9 */
	assert_int_equal(sum(f, "PA7", 6, 0, 2, "DA"), get(f, "DA2", 1));
}

static void check_cash(const struct file *f)
{
	bool minor = line(f, "CA3")->n >= 10;
	int64_t b = minor ? get(f, "CA3", 10) : get(f, "CA3", 8), br = minor ? get(f, "CA3", 9) : get(f, "CA3", 4);

	assert_int_equal(get(f, "CA3", 5), get(f, "CA3", 6) + get(f, "CA3", 7) + b); /* A2 */
	assert_int_equal(get(f, "CA3", 1), get(f, "CA3", 2) + get(f, "CA3", 3) + br);
	assert_int_equal(get(f, "CA3", 5) - get(f, "CA10", 2) - (get(f, "CA4", 3) - get(f, "CA4", 4)) - get(f, "CA8", 2),
	                 get(f, "CA2", 1) + get(f, "DA4", 1)); /* A3 */
	assert_int_equal(get(f, "CA3", 1) - get(f, "CA10", 1) - (get(f, "CA4", 1) - get(f, "CA4", 2)) - get(f, "CA8", 1),
	                 get(f, "CA2", 3) + get(f, "DA4", 2)); /* A4 */
	if (line(f, "CA15"))                                   /* A12 */
		assert_int_equal(get(f, "CA15", 1), sum(f, "CA17", 2, 3, 0, NULL));
	if (line(f, "CA11")) {
		for (unsigned p = 0; p < 2; p++) { /* A13, both spans */
			assert_int_equal(sum(f, "CA11", 1, p ? 2 : 5, 0, NULL), get(f, "CA3", p ? 1 : 5) - (p ? br : b));
			assert_int_equal(sum(f, "CA11", 1, p ? 3 : 6, 0, NULL), get(f, "CA3", p ? 2 : 6));
			assert_int_equal(sum(f, "CA11", 1, p ? 4 : 7, 0, NULL), get(f, "CA3", p ? 3 : 7));
		}
		assert_int_equal(sum(f, "CA13", 1, 3, 0, NULL), get(f, "CA10", 2)); /* A14 */
		assert_int_equal(sum(f, "CA13", 1, 2, 0, NULL), get(f, "CA10", 1));
		assert_int_equal(sum(f, "CA14", 1, 5, 0, NULL), b);
		assert_int_equal(sum(f, "CA12", 1, 4, 0, NULL), get(f, "CA4", 3)); /* A15 */
		assert_int_equal(sum(f, "CA12", 1, 5, 0, NULL), get(f, "CA4", 4));
	}
	for (unsigned p = 1; p <= 3; p++) /* A16 */
		assert_true(get(f, "CA3", p) <= get(f, "CA3", p + 4) && get(f, "CA3", p) >= 0);
}

/* B2..B5; `read` and `reset`: the earlier file was a read that counted (and reset). */
static void check_between(const struct file *a, const struct file *b, bool read, bool reset)
{
	static const struct {
		const char *name;
		unsigned init, since;
	} pairs[] = {
		{ "VA1", 1, 3 }, { "VA1", 2, 4 }, { "CA2", 1, 3 }, { "CA3", 5, 1 },
		{ "CA3", 7, 3 }, { "CA4", 3, 1 }, { "CA8", 2, 1 },
	};

	for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
		int64_t d = get(b, pairs[i].name, pairs[i].init) - get(a, pairs[i].name, pairs[i].init);
		assert_true(d >= 0); /* B2 */
		assert_int_equal(get(b, pairs[i].name, pairs[i].since),
		                 reset ? d : d + get(a, pairs[i].name, pairs[i].since)); /* B3 */
	}
	if (line(a, "EA3")->n > 8) { /* B4 */
		assert_int_equal(get(b, "EA3", 9) - get(a, "EA3", 9), read);
		assert_int_equal(get(b, "EA3", 10) - get(a, "EA3", 10), reset);
		if (read)
			for (unsigned p = 1; p <= 3; p++)
				assert_true(ft_slice_eq(line(b, "EA3")->e[3 + p], line(a, "EA3")->e[p]));
	} else {
		assert_int_equal(get(b, "EA3", 1) - get(a, "EA3", 1), reset);
	}
	if (line(a, "CA15")) /* B5; tubes take fills and hand payouts along */
		assert_int_equal(get(b, "CA15", 1) - get(a, "CA15", 1),
		                 get(b, "CA3", 7) - get(a, "CA3", 7) - (get(b, "CA4", 3) - get(a, "CA4", 3)));
}

/* ---- driving one ---- */

static const char *const names[] = { "snack", "hotdrink", "coinbox" };
static const int orders[] = { 1, 2, 1 };

static struct ft_practice *fresh(struct ft_arena *a, const char *name, uint64_t seed)
{
	const struct ft_practice_builtin *b = ft_practice_builtin(ft_slice_of(name));
	struct ft_error e = { 0 };
	struct ft_practice *p = NULL;

	assert_non_null(b);
	if (ft_practice_new(b->description, name, seed, a, &p, &e) != FT_OK)
		fail_msg("%s", e.text);
	return p;
}

static void drain(struct ft_practice *p)
{
	struct ft_practice_event ev;

	while (ft_practice_next(p, &ev))
		assert_true(ev.text[0] != 0);
}

static void say(struct ft_practice *p, const char *command)
{
	struct ft_practice_wish w;
	struct ft_error e = { 0 };

	if (ft_practice_do(p, ft_slice_of(command), 0, &w, &e) != FT_OK)
		fail_msg("%s: %s", command, e.text);
	drain(p);
}

/* The last event of a command. */
static struct ft_practice_event after(struct ft_practice *p, const char *command, enum ft_practice_event_kind kind)
{
	struct ft_practice_wish w;
	struct ft_error e = { 0 };
	struct ft_practice_event ev, found = { .kind = FT_PRACTICE_EVENT_KINDS };

	drain(p);
	if (ft_practice_do(p, ft_slice_of(command), 0, &w, &e) != FT_OK)
		fail_msg("%s: %s", command, e.text);
	while (ft_practice_next(p, &ev))
		if (ev.kind == kind)
			found = ev;
	if (found.kind != kind)
		fail_msg("%s gave no event %s", command, ft_practice_event_word(kind));
	return found;
}

static void look(struct ft_practice *p, struct ft_buf *b, struct file *f)
{
	struct ft_error e = { 0 };

	ft_buf_clear(b);
	assert_int_equal(ft_practice_audit(p, FT_SLICE("TEST"), b, &e), FT_OK);
	parse(ft_buf_text(b), f);
}

static uint32_t dice(uint32_t *r, uint32_t below)
{
	*r = *r * 1664525U + 1013904223U;
	return (*r >> 8) % below;
}

static const char *const selections[3][7] = { { "11", "15", "21", "23", "24", "31", "35" },
	                                          { "1", "2", "3", "4", "5", "6", "7" },
	                                          { "1", "2", "3", "4", "1", "2", "3" } };
static const char *const coins[3][6] = { { "5", "10", "25", "100", "25", "25" },
	                                     { "5", "10", "20", "50", "100", "200" },
	                                     { "5", "10", "20", "50", "100", "1" } };

static void random_command(uint32_t *r, int m, char *to, size_t room)
{
	const char *s = selections[m][dice(r, 7)];
	int n = 0;

	switch (dice(r, m == 2 ? 10 : 17)) {
	case 0:
	case 1:
	case 2:
	case 3:
		n = snprintf(to, room, "sell %s coins", s);
		for (uint32_t k = 1 + dice(r, 8); k--;)
			n += snprintf(to + n, room - (size_t)n, " %s", coins[m][dice(r, 6)]);
		break;
	case 4:
		snprintf(to, room, "fill %s %u", m == 0 ? "25" : "10", 1 + dice(r, 40));
		break;
	case 5:
		snprintf(to, room, "payout 10 %u", 1 + dice(r, 12));
		break;
	case 6:
		snprintf(to, room, "insert coin %s", coins[m][dice(r, 6)]);
		break;
	case 7:
		snprintf(to, room, "press %s", s);
		break;
	case 8:
		snprintf(to, room, dice(r, 2) ? "power off" : "jam %s", s);
		break;
	case 9:
		snprintf(to, room, dice(r, 2) ? "refill" : "sell %s coins 50 50 50 fail", s);
		break;
	case 10:
		snprintf(to, room, "test %s", s);
		break;
	case 11:
		snprintf(to, room, "free %s", s);
		break;
	case 12:
		snprintf(to, room, "sell %s bill %s", s, m == 0 ? (dice(r, 2) ? "100" : "500") : dice(r, 2) ? "500" : "1000");
		break;
	case 13:
		snprintf(to, room, "price %s %u", s, 50 + 5 * dice(r, 40));
		break;
	case 14:
		snprintf(to, room, "topup coins %s %s", coins[m][dice(r, 6)], coins[m][dice(r, 6)]);
		break;
	case 15:
		snprintf(to, room, "sell %s card %s", s, dice(r, 4) ? "" : dice(r, 2) ? "deny" : "timeout");
		break;
	default:
		snprintf(to, room, m == 1 ? "sell %s card list 2" : "sell %s token", s);
		break;
	}
}

/* Hundreds of random lives; between any two looks everything closes exactly. */
static void books_close(void **state)
{
	static struct file f[2];
	struct ft_buf b[2] = { { 0 }, { 0 } };
	struct ft_error e = { 0 };

	(void)state;
	for (uint32_t round = 0; round < 360; round++) {
		int m = (int)(round % 3);
		uint32_t r = round + 1;
		struct ft_arena a = { 0 };
		struct ft_practice *p = fresh(&a, names[m], round / 3 % 4);
		look(p, &b[0], &f[0]);
		check_envelope(&f[0], orders[m]);
		check_sales(&f[0]);
		check_cash(&f[0]);
		for (int n = 0; n < 4; n++) {
			struct ft_slice bytes;
			bool read = dice(&r, 3) == 0, reset = read && m != 0;
			if (read) {
				assert_int_equal(ft_practice_read_begin(p, 0, FT_SLICE("TEST"), &bytes, &e), FT_OK);
				ft_buf_clear(&b[0]);
				ft_buf_slice(&b[0], bytes);
				parse(ft_buf_text(&b[0]), &f[0]);
				if (dice(&r, 2)) /* a sale while the read is under way falls into the new interval */
					say(p, m == 2 ? "sell 1 coins 50 5" : m == 1 ? "sell 1 card" : "sell 11 card");
				ft_practice_read_end(p, 0, true);
			}
			for (int k = 0; k < 12; k++) {
				char text[200];
				random_command(&r, m, text, sizeof text);
				say(p, text);
				if (strcmp(text, "power off") == 0)
					say(p, "power on");
			}
			say(p, "return");
			look(p, &b[1], &f[1]);
			check_envelope(&f[1], orders[m]);
			check_sales(&f[1]);
			check_cash(&f[1]);
			check_between(&f[0], &f[1], read, reset);
			look(p, &b[0], &f[0]);
		}
		ft_practice_done(p);
		ft_arena_done(&a);
	}
	ft_buf_done(&b[0]);
	ft_buf_done(&b[1]);
}

/* The past, with one price all along: value is price times number (A10, A11), and it is a past. */
static void past_is_lived(void **state)
{
	static struct file f;
	struct ft_buf b = { 0 };

	(void)state;
	for (int m = 0; m < 3; m++) {
		struct ft_arena a = { 0 };
		struct ft_practice *p = fresh(&a, names[m], 9);
		look(p, &b, &f);
		assert_true(get(&f, "VA1", 2) > 1000);
		assert_true(get(&f, "VA1", 4) < get(&f, "VA1", 2));
		assert_true(get(&f, "CA4", 3) > 0 && get(&f, "EA7", 2) > 0);
		if (m == 1) {
			for (int s = 0; s < 7; s++)
				assert_int_equal(sum(&f, "LA1", 3, 5, 2, selections[1][s]), product(&f, selections[1][s], "PA2", 2));
			assert_true(get(&f, "DA4", 1) > 0 && get(&f, "CA3", 10) > 0);
			assert_int_equal(line(&f, "ID5")->e[0].n, 8);
		}
		if (m == 0) { /* whole dollars beside minor units */
			assert_int_equal(get(&f, "CA3", 8) * 100, get(&f, "CA3", 10));
			assert_true(get(&f, "CA3", 10) > 0);
			assert_true(get(&f, "EA3", 10) < get(&f, "EA3", 9));
		}
		if (m == 2) {
			assert_null(line(&f, "ID4"));
			assert_null(line(&f, "ID5"));
			assert_null(line(&f, "CA15"));
			assert_int_equal(line(&f, "PA2")->n, 2);
			assert_int_equal(line(&f, "EA3")->n, 1);
		}
		ft_practice_done(p);
		ft_arena_done(&a);
	}
	ft_buf_done(&b);
}

static void same_seed_same_bytes(void **state)
{
	static const char *const commands[] = { "sell 11 coins 100 25 25 25",
		                                    "fault price-lost",
		                                    "sell 13 bill 500",
		                                    "test 21",
		                                    "door open",
		                                    "door close",
		                                    "fault cut-short",
		                                    "sell 35 card" };
	struct ft_buf b[3] = { { 0 }, { 0 }, { 0 } };
	struct ft_error e = { 0 };

	(void)state;
	for (int i = 0; i < 3; i++) {
		struct ft_arena a = { 0 };
		struct ft_practice *p = fresh(&a, "snack", i == 2 ? 8 : 7);
		for (size_t k = 0; k < sizeof commands / sizeof *commands; k++)
			say(p, commands[k]);
		assert_int_equal(ft_practice_audit(p, FT_SLICE("X"), &b[i], &e), FT_OK);
		ft_practice_done(p);
		ft_arena_done(&a);
	}
	assert_true(ft_slice_eq(ft_buf_text(&b[0]), ft_buf_text(&b[1])));
	assert_false(ft_slice_eq(ft_buf_text(&b[0]), ft_buf_text(&b[2])));
	for (int i = 0; i < 3; i++)
		ft_buf_done(&b[i]);
}

/* ---- faults ---- */

struct change {
	const char *selection, *name;
	unsigned position;
	int64_t by;
};
struct fault_case {
	const char *machine, *fault, *sale[2];
	struct change want[7];
};

/* selection NULL: a total. Deltas after the sales named, with the fault in. */
static const struct fault_case fault_cases[] = {
	{ "snack",
	  NULL,
	  { "sell 11 coins 100 25 25" },
	  { { "11", "PA2", 1, 1 },
	    { "11", "PA2", 2, 150 },
	    { NULL, "VA1", 1, 150 },
	    { NULL, "CA2", 1, 150 },
	    { NULL, "CA3", 5, 150 },
	    { NULL, "DA2", 1, 0 } } },
	{ "snack",
	  "fault crossed-selections 11 21",
	  { "sell 11 card", "sell 11 card" },
	  { { "11", "PA2", 1, 0 }, { "21", "PA2", 1, 2 }, { "21", "PA2", 2, 300 }, { NULL, "VA1", 2, 2 } } },
	{ "snack",
	  "fault crossed-selections 11 21",
	  { "sell 21 card" },
	  { { "21", "PA2", 1, 0 }, { "11", "PA2", 1, 1 }, { "11", "PA2", 2, 125 } } },
	{ "snack",
	  "fault counted-elsewhere 11 21",
	  { "sell 11 card", "sell 21 card" },
	  { { "11", "PA2", 1, 0 }, { "21", "PA2", 1, 2 } } },
	{ "snack",
	  "fault price-lost 11",
	  { "sell 11 card" },
	  { { "11", "PA1", 2, -150 }, { "11", "PA2", 1, 0 }, { NULL, "VA1", 2, 0 } } },
	{ "snack",
	  "fault other-price 11 90",
	  { "sell 11 card" },
	  { { "11", "PA1", 2, 0 }, { "11", "PA2", 1, 1 }, { "11", "PA2", 2, 90 } } },
	{ "snack",
	  "fault cash-in-lost",
	  { "sell 11 coins 100 25 25", "sell 21 bill 100" },
	  { { NULL, "CA2", 1, 150 },
	    { NULL, "CA3", 5, 0 },
	    { NULL, "CA3", 6, 0 },
	    { NULL, "CA3", 10, 0 },
	    { NULL, "CA15", 1, 50 } } },
	{ "snack",
	  "fault cashless-as-cash",
	  { "sell 11 card" },
	  { { NULL, "CA2", 1, 150 },
	    { NULL, "CA2", 2, 1 },
	    { NULL, "DA2", 1, 0 },
	    { NULL, "CA3", 5, 0 },
	    { "11", "PA2", 1, 1 } } },
	{ "hotdrink",
	  "fault cashless-as-cash",
	  { "sell 1 card" },
	  { { NULL, "CA2", 1, 80 }, { NULL, "DA2", 1, 0 }, { "1", "PA7", 5, 1 } } },
	{ "snack",
	  "fault cash-as-cashless",
	  { "sell 11 coins 100 25 25" },
	  { { NULL, "DA2", 1, 150 }, { NULL, "CA2", 1, 0 }, { NULL, "CA3", 5, 150 } } },
	{ "snack",
	  "fault counted-twice 11",
	  { "sell 11 card", "sell 21 card" },
	  { { "11", "PA2", 1, 2 }, { "11", "PA2", 2, 300 }, { "21", "PA2", 1, 1 }, { NULL, "VA1", 2, 3 } } },
	{ "snack",
	  "fault counted-twice",
	  { "sell 11 coins 100 25 25" },
	  { { "11", "PA2", 1, 2 }, { NULL, "CA3", 5, 150 } } },
	{ "snack",
	  "fault not-counted 11",
	  { "sell 11 coins 100 25 25", "sell 21 card" },
	  { { "11", "PA2", 1, 0 }, { "21", "PA2", 1, 1 }, { NULL, "VA1", 2, 1 }, { NULL, "CA3", 5, 150 } } },
	{ "hotdrink", "fault other-list", { "sell 1 card list 1" }, { { "1", "PA2", 2, 60 }, { NULL, "DA2", 1, 60 } } },
	{ "hotdrink", "fault other-list 1", { "sell 1 card list 2" }, { { "1", "PA2", 2, 80 }, { NULL, "DA2", 1, 80 } } },
	{ "coinbox",
	  "fault crossed-selections 1 4",
	  { "sell 1 coins 50 5" },
	  { { "1", "PA2", 1, 0 }, { "4", "PA2", 1, 1 }, { "4", "PA2", 2, 55 } } },
};

static void faults_of_the_books(void **state)
{
	static struct file f[2];
	struct ft_buf b[2] = { { 0 }, { 0 } };

	(void)state;
	for (size_t i = 0; i < sizeof fault_cases / sizeof *fault_cases; i++) {
		const struct fault_case *c = &fault_cases[i];
		struct ft_arena a = { 0 };
		struct ft_practice *p = fresh(&a, c->machine, 3);
		look(p, &b[0], &f[0]);
		if (c->fault)
			say(p, c->fault);
		for (int k = 0; k < 2 && c->sale[k]; k++)
			say(p, c->sale[k]);
		look(p, &b[1], &f[1]);
		for (const struct change *w = c->want; w->name; w++) {
			int64_t d = w->selection ? strcmp(w->name, "PA1") == 0
					? product(&f[1], w->selection, "PA1", 2) - product(&f[0], w->selection, "PA1", 2)
					: product(&f[1], w->selection, w->name, w->position) -
						product(&f[0], w->selection, w->name, w->position)
									 : get(&f[1], w->name, w->position) - get(&f[0], w->name, w->position);
			if (d != w->by)
				fail_msg("%s on %s: %s%s%u moved by %lld, not %lld", c->fault ? c->fault : "no fault", c->machine,
				         w->selection ? w->selection : "", w->name, w->position, (long long)d, (long long)w->by);
		}
		ft_practice_done(p);
		ft_arena_done(&a);
	}
	ft_buf_done(&b[0]);
	ft_buf_done(&b[1]);
}

static void faults_of_the_file(void **state)
{
	static struct file f[2];
	struct ft_buf b[2] = { { 0 }, { 0 } };
	struct ft_arena a = { 0 };
	struct ft_practice *p = fresh(&a, "snack", 5);

	(void)state;
	look(p, &b[0], &f[0]);
	say(p, "fault wrong-checksum");
	look(p, &b[1], &f[1]);
	assert_true(!crc_stands(&f[1], 1) && !crc_stands(&f[1], 2));
	assert_int_equal(f[1].n, f[0].n);
	say(p, "fault off wrong-checksum");
	say(p, "fault cut-short 500");
	look(p, &b[1], &f[1]);
	assert_int_equal(b[1].n, 500);
	assert_null(line(&f[1], "SE"));
	say(p, "fault cut-short");
	look(p, &b[1], &f[1]);
	assert_true(b[1].n < b[0].n && b[1].n > b[0].n / 4);
	assert_memory_equal(b[0].p, b[1].p, b[1].n);
	say(p, "fault off cut-short");
	say(p, "fault clock-unset");
	look(p, &b[1], &f[1]);
	assert_true(ft_slice_is(line(&f[1], "ID5")->e[0], "000000"));
	assert_true(ft_slice_is(line(&f[1], "EA3")->e[1], "000000"));
	say(p, "clock 2026-03-09T14:05");
	look(p, &b[1], &f[1]);
	assert_true(ft_slice_is(line(&f[1], "ID5")->e[0], "260309"));
	assert_true(ft_slice_is(line(&f[1], "ID5")->e[1], "1405"));
	say(p, "fault meters-lost 11");
	look(p, &b[1], &f[1]);
	assert_int_equal(product(&f[1], "11", "PA2", 1), 0);
	assert_int_equal(product(&f[1], "13", "PA2", 1), product(&f[0], "13", "PA2", 1));
	say(p, "fault meters-lost");
	look(p, &b[1], &f[1]);
	assert_int_equal(get(&f[1], "VA1", 1) + get(&f[1], "CA3", 5) + get(&f[1], "VA1", 3), 0);
	assert_int_equal(get(&f[1], "CA15", 1), get(&f[0], "CA15", 1));
	check_cash(&f[1]);
	ft_practice_done(p);
	ft_arena_done(&a);
	ft_buf_done(&b[0]);
	ft_buf_done(&b[1]);
}

static void faults_of_the_line(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_practice *p = fresh(&a, "snack", 5);
	struct ft_practice_line l = ft_practice_line(p);

	(void)state;
	assert_true(l.powered && !l.dead_dex && !l.dead_ddcmp && !l.refuses && !l.noise_per_million &&
	            !l.extra_turn_round_us);
	say(p, "fault noisy-line 3000");
	say(p, "fault slow-line 250");
	say(p, "fault dead-port ddcmp");
	say(p, "fault refusing-code 12AF");
	l = ft_practice_line(p);
	assert_int_equal(l.noise_per_million, 3000);
	assert_int_equal(l.extra_turn_round_us, 250000);
	assert_true(l.dead_ddcmp && !l.dead_dex && l.refuses);
	assert_int_equal(l.security_code, 0x12AF);
	say(p, "fault off dead-port");
	say(p, "fault off refusing-code");
	say(p, "power off");
	l = ft_practice_line(p);
	assert_true(!l.dead_ddcmp && !l.refuses && !l.powered);
	ft_practice_done(p);
	ft_arena_done(&a);
}

/* Each fault of the table can be put in on at least one machine and taken out again. */
static void every_fault_works(void **state)
{
	size_t n;
	const struct ft_practice_fault *faults = ft_practice_faults(&n);
	struct ft_arena a = { 0 };
	struct ft_practice *p = fresh(&a, "hotdrink", 5);

	(void)state;
	assert_true(n >= 15);
	for (size_t i = 0; i < n; i++) {
		char text[100];
		const char *takes = faults[i].arguments;
		const char *behind = !*takes || *takes == '['         ? ""
			: strstr(takes, "PERCENT")                        ? " changer 2"
			: strncmp(takes, "DEVICE", strlen("DEVICE")) == 0 ? " changer"
															  : " 1 3";
		assert_true(strlen(faults[i].does) > 20 && strlen(faults[i].seen) > 20);
		snprintf(text, sizeof text, "fault %s%s", faults[i].name, behind);
		after(p, text, FT_PRACTICE_FAULT);
		snprintf(text, sizeof text, "fault off %s", faults[i].name);
		after(p, text, FT_PRACTICE_FAULT);
	}
	ft_practice_done(p);
	ft_arena_done(&a);
}

/* ---- what happens at the machine ---- */

static void sales_and_refusals(void **state)
{
	struct ft_arena a = { 0 };
	struct ft_practice *p = fresh(&a, "snack", 2);
	struct ft_practice_event ev;

	(void)state;
	say(p, "fill 25 30");
	ev = after(p, "sell 11 coins 100 100", FT_PRACTICE_SALE);
	assert_int_equal(ev.change, 50);
	assert_int_equal(ev.tendered, 200);
	assert_string_equal(ev.paid_with, "coin");
	ev = after(p, "sell 21 bill 500", FT_PRACTICE_SALE);
	assert_int_equal(ev.change, 375);
	assert_string_equal(ev.paid_with, "bill");
	after(p, "sell 21 coins 100", FT_PRACTICE_REFUSED);
	ev = after(p, "sell 21 coins 100", FT_PRACTICE_RETURNED);
	assert_int_equal(ev.amount, 100);
	after(p, "sell 11 card deny", FT_PRACTICE_REFUSED);
	after(p, "sell 11 card timeout", FT_PRACTICE_REFUSED);
	after(p, "sell 11 card fail", FT_PRACTICE_FAILED);
	after(p, "sell 11 token", FT_PRACTICE_SALE);
	after(p, "sell 11 coin 7", FT_PRACTICE_MONEY);
	say(p, "jam 13");
	after(p, "sell 13 card", FT_PRACTICE_FAILED);
	say(p, "clear 13");
	after(p, "sell 13 card", FT_PRACTICE_SALE);
	say(p, "motor 13 11");
	assert_string_equal(after(p, "sell 13 card", FT_PRACTICE_SALE).delivered, "11");
	for (int i = 0; i < 15; i++)
		say(p, "test 31");
	after(p, "sell 31 card", FT_PRACTICE_REFUSED);
	say(p, "payout 25 1000");
	say(p, "payout 10 1000");
	say(p, "payout 5 1000");
	after(p, "sell 21 bill 500", FT_PRACTICE_MONEY); /* no change: the bill comes back */
	after(p, "sell 21 coins 100 100", FT_PRACTICE_REFUSED);
	after(p, "sell 21 coins 100 25", FT_PRACTICE_SALE); /* exact money still sells */
	assert_string_equal(ft_practice_about(p).revision, "0309");
	after(p, "firmware 0313", FT_PRACTICE_PRICE);
	after(p, "sell 23 card", FT_PRACTICE_REFUSED);
	say(p, "price 23 200");
	after(p, "sell 23 card", FT_PRACTICE_SALE);
	ft_practice_done(p);
	ft_arena_done(&a);
}

static void wrong_lines_are_told(void **state)
{
	static const char *const lines[] = { "sel 11 coin 5",
		                                 "sell",
		                                 "sell 99 coin 5",
		                                 "sell 11",
		                                 "sell 11 coin",
		                                 "sell 11 coin -5",
		                                 "sell 11 coin 5 card",
		                                 "sell 11 cheque",
		                                 "price 11",
		                                 "price 11 x",
		                                 "fill 100 5",
		                                 "fill 25",
		                                 "power",
		                                 "door ajar",
		                                 "clock yesterday",
		                                 "temperature warm",
		                                 "fault",
		                                 "fault nonsense",
		                                 "fault crossed-selections 11 11",
		                                 "fault crossed-selections 11",
		                                 "fault other-list",
		                                 "save",
		                                 "wait -1",
		                                 "quit now",
		                                 "motor 11",
		                                 "press 11 fail 3",
		                                 "firmware new",
		                                 "sell 11 card list 7",
		                                 "fault refusing-code 0000",
		                                 "fault cut-short 1 2",
		                                 "sell 11 \"coin" };
	struct ft_arena a = { 0 };
	struct ft_practice *p = fresh(&a, "snack", 2);
	struct ft_buf b[2] = { { 0 }, { 0 } };

	(void)state;
	assert_int_equal(ft_practice_audit(p, FT_SLICE(""), &b[0], NULL), FT_OK);
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		struct ft_practice_wish w;
		struct ft_error e = { 0 };
		if (ft_practice_do(p, ft_slice_of(lines[i]), 12, &w, &e) != FT_E_USAGE)
			fail_msg("\"%s\" was taken", lines[i]);
		assert_true(e.text[strlen(e.text) - 1] == '.');
	}
	assert_int_equal(ft_practice_audit(p, FT_SLICE(""), &b[1], NULL), FT_OK);
	assert_true(ft_slice_eq(ft_buf_text(&b[0]), ft_buf_text(&b[1])));
	ft_buf_done(&b[0]);
	ft_buf_done(&b[1]);
	ft_practice_done(p);
	ft_arena_done(&a);
}

static void bad_descriptions_are_told(void **state)
{
	static const struct {
		const char *text, *says;
	} cases[] = {
		{ "", "no line sender" },
		{ "dialect martian\n", "line 1" },
		{ "sender QPS0004417\ncoin x\n", "line 2" },
		{ "sender QPS0004417\nmachine model=X\n", "serial" },
		{ "coin 10\ncoin 5\n", "rising" },
		{ "selection 1 price=5,6\n", "price=" },
		{ "selection 1 name=\"A*B\" price=5\n", "plain text" },
		{ "machine serial=\"X\n", "quotation" },
		{ "nonsense 5\n", "no word" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ft_arena a = { 0 };
		struct ft_practice *p = NULL;
		struct ft_error e = { 0 };
		assert_int_equal(ft_practice_new(ft_slice_of(cases[i].text), "the description", 1, &a, &p, &e), FT_E_INPUT);
		if (!strstr(e.text, cases[i].says))
			fail_msg("\"%s\" lacks \"%s\"", e.text, cases[i].says);
		ft_arena_done(&a);
	}
}

/* Whatever stands in a line or a description, it is taken or told, never worse (run under ASan too). */
static void nonsense_does_no_harm(void **state)
{
	static const char *const words[] = { "sell",
		                                 "11",
		                                 "coins",
		                                 "100",
		                                 "-1",
		                                 "99999999999999999999",
		                                 "bill",
		                                 "500",
		                                 "card",
		                                 "list",
		                                 "fault",
		                                 "off",
		                                 "crossed-selections",
		                                 "price",
		                                 "insert",
		                                 "press",
		                                 "return",
		                                 "topup",
		                                 "test",
		                                 "free",
		                                 "fill",
		                                 "25",
		                                 "payout",
		                                 "firmware",
		                                 "power",
		                                 "on",
		                                 "door",
		                                 "open",
		                                 "clock",
		                                 "2026-02-30T10:00",
		                                 "0000-00-00T00:00",
		                                 "temperature",
		                                 "-",
		                                 "4.5",
		                                 "reset",
		                                 "jam",
		                                 "clear",
		                                 "motor",
		                                 "refill",
		                                 "collect",
		                                 "wait",
		                                 "0",
		                                 "\"",
		                                 "*",
		                                 "\xff\xfe",
		                                 "",
		                                 "=",
		                                 "fail",
		                                 "price-lost",
		                                 "meters-lost",
		                                 "cut-short",
		                                 "2",
		                                 "noisy-line",
		                                 "token",
		                                 "deny" };
	const struct ft_practice_builtin *own = ft_practice_builtin(FT_SLICE("hotdrink"));
	struct ft_buf b = { 0 };
	uint32_t r = 77;

	(void)state;
	for (int round = 0; round < 300; round++) {
		struct ft_arena a = { 0 };
		struct ft_practice *p = round % 60 ? NULL : fresh(&a, "snack", 1);
		for (int k = 0; p && k < 2000; k++) {
			struct ft_practice_wish w;
			struct ft_error e = { 0 };
			ft_buf_clear(&b);
			for (uint32_t n = 1 + dice(&r, 7); n--;)
				ft_buf_printf(&b, "%s%s", words[dice(&r, sizeof words / sizeof *words)], dice(&r, 9) ? " " : "");
			if (ft_practice_do(p, ft_buf_text(&b), 1, &w, &e) != FT_OK)
				assert_true(e.text[0] != 0);
			drain(p);
		}
		ft_practice_done(p);
		ft_buf_clear(&b);
		ft_buf_slice(&b, own->description);
		for (uint32_t n = 1 + dice(&r, 5); n--;) {
			uint32_t where = dice(&r, (uint32_t)b.n);
			b.p[where] = dice(&r, 2) ? (char)dice(&r, 256) : own->description.p[dice(&r, (uint32_t)b.n)];
		}
		struct ft_error e = { 0 };
		p = NULL;
		if (ft_practice_new(ft_buf_text(&b), "a damaged description", 1, &a, &p, &e) != FT_OK)
			assert_true(e.text[0] != 0);
		ft_practice_done(p);
		ft_arena_done(&a);
	}
	ft_buf_done(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(past_is_lived),         cmocka_unit_test(books_close),
		cmocka_unit_test(same_seed_same_bytes),  cmocka_unit_test(faults_of_the_books),
		cmocka_unit_test(faults_of_the_file),    cmocka_unit_test(faults_of_the_line),
		cmocka_unit_test(every_fault_works),     cmocka_unit_test(sales_and_refusals),
		cmocka_unit_test(wrong_lines_are_told),  cmocka_unit_test(bad_descriptions_are_told),
		cmocka_unit_test(nonsense_does_no_harm),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
