/* SPDX-License-Identifier: Apache-2.0 */
/* Value change dumps (IEEE 1364): tokens between blanks. Nearly all of a large file is "#time" and "0!"; these are
 * read straight from the portion, everything else token by token. */
#include <stdio.h>

#include "capture.h"

enum {
	CODES = 64,     /* identifier codes that carry a channel: at most one a channel */
	WIDTH_MAX = 32, /* bits of a vector that can become channels */
	WORDS_MAX = 8,  /* parts of a declaration that mean something */
	WORD_MAX = 96,
	FAST_TOKEN = 40, /* no time or change is longer */
};

struct code {
	char text[16];
	uint8_t length;
	unsigned width;
	uint32_t bit[WIDTH_MAX]; /* channels of bit i, lowest first */
};

struct vcd {
	bool body;
	enum { PLAIN, DECLARING, COMMENT, WANTS_CODE } state;
	bool vector;               /* the value whose code is wanted is a vector's and means something */
	char value[WIDTH_MAX + 1]; /* of that vector, lowest bits */
	size_t value_count;
	char words[WORDS_MAX][WORD_MAX]; /* of a declaration */
	size_t word_count;
	struct code codes[CODES];
	size_t code_count;
	uint32_t single[128];     /* channels of scalar codes of one character */
	int64_t multiply, divide; /* ticks to ns */
	int64_t tick, tick_most, now_ns;
	bool timed;   /* a time was told */
	bool changed; /* a level was told */
	uint32_t levels, sent;
	char scope[2 * WORD_MAX];    /* "bench.probe." */
	const uint8_t *portion, *at; /* where the line of a message is counted from, and up to */
};

static bool blank(uint8_t c)
{
	return c <= ' ';
}

static bool looks_like(struct ft_slice head)
{
	static const char *const words[] = { "$date", "$version", "$comment", "$timescale", "$scope", "$var" };
	size_t at = 0;

	if (head.n >= 3 && memcmp(head.p, "\xef\xbb\xbf", 3) == 0)
		at = 3;
	while (at < head.n && blank((uint8_t)head.p[at]))
		at++;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		struct ft_slice w = ft_slice_of(words[i]);
		if (head.n - at >= w.n && memcmp(head.p + at, w.p, w.n) == 0)
			return true;
	}
	return false;
}

static enum ft_status begin(struct bus_capture *c, struct ft_error *e)
{
	struct vcd *v = c->reader;

	(void)e;
	v->tick_most = INT64_MAX / 2;
	v->multiply = v->divide = 1; /* 1 ns where no $timescale says otherwise */
	c->info.resolution_ns = 1;
	return FT_OK;
}

static enum ft_status wrong(struct bus_capture *c, const char *what, struct ft_error *e)
{
	const struct vcd *v = c->reader;
	unsigned line = c->info.line;

	/* a token that was carried over ends in this portion, so its line is told */
	for (const uint8_t *p = v->portion; p && p < v->at; p++)
		line += *p == '\n';
	return ft_fail(e, FT_E_INPUT, "%s, line %u: %s.", c->o.name, line, what);
}

/* "1 us", "1us", "100", "ps". */
static enum ft_status timescale(struct bus_capture *c, struct vcd *v, struct ft_error *e)
{
	static const struct {
		const char *unit;
		int64_t multiply, divide;
	} units[] = { { "s", BUS_NS_PER_S, 1 }, { "ms", BUS_NS_PER_MS, 1 }, { "us", BUS_NS_PER_US, 1 },
		          { "ns", 1, 1 },           { "ps", 1, 1000 },          { "fs", 1, 1000000 } };
	char text[2 * WORD_MAX];
	char *unit = text;
	int64_t count = 0;

	snprintf(text, sizeof text, "%s%s", v->word_count > 1 ? v->words[1] : "", v->word_count > 2 ? v->words[2] : "");
	for (; ft_is_digit(*unit) && count < 1000; unit++)
		count = count * 10 + (*unit - '0');
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strcmp(unit, units[i].unit) == 0 && (count == 1 || count == 10 || count == 100)) {
			v->multiply = units[i].multiply * count;
			v->divide = units[i].divide;
			if (v->divide > 1 && v->divide % count == 0) {
				v->divide /= count;
				v->multiply = 1;
			}
			v->tick_most = INT64_MAX / 2 / v->multiply;
			c->info.resolution_ns = v->multiply / v->divide ? v->multiply / v->divide : 1;
			if (!bus_capture_too_coarse(c->info.resolution_ns))
				return FT_OK;
			return wrong(c,
			             "the time scale is too coarse for a bus whose bits last 104 us; export it with 1 us or finer",
			             e);
		}
	return wrong(c, "the time scale is none of 1, 10 or 100 s, ms, us, ns, ps or fs", e);
}

static struct code *code_of(struct vcd *v, const char *text, size_t n)
{
	for (size_t i = 0; i < v->code_count; i++)
		if (v->codes[i].length == n && memcmp(v->codes[i].text, text, n) == 0)
			return &v->codes[i];
	return NULL;
}

/* "[7:0]" or "[3]" behind a name, also glued to it; false when there is none. */
static bool range(const char *text, long *ret_high, long *ret_low)
{
	long number[2] = { 0, 0 };
	int n = 0, digits = 0;

	if (*text++ != '[')
		return false;
	for (; *text && *text != ']'; text++) {
		if (*text == ':' && n == 0 && digits)
			n = 1, digits = 0;
		else if (ft_is_digit(*text) && ++digits < 6)
			number[n] = number[n] * 10 + (*text - '0');
		else
			return false;
	}
	*ret_high = number[0];
	*ret_low = n ? number[1] : number[0];
	return digits > 0;
}

/* A simulator's own numbers: no wire has their shape, and they would take the room of those that are. */
static bool no_wire(const char *type)
{
	static const char *const types[] = { "real", "realtime", "string", "integer", "parameter", "time", "event" };

	for (size_t i = 0; i < sizeof types / sizeof *types; i++)
		if (strcmp(type, types[i]) == 0)
			return true;
	return false;
}

/* $scope TYPE NAME $end */
static void enter(struct vcd *v)
{
	size_t n = strlen(v->scope);

	snprintf(v->scope + n, sizeof v->scope - n, "%s.", v->words[2]);
}

static void leave(struct vcd *v)
{
	size_t n = strlen(v->scope);

	if (n)
		n--; /* the point it ends with */
	while (n && v->scope[n - 1] != '.')
		n--;
	v->scope[n] = '\0';
}

static bool taken(const struct bus_capture *c, const char *name)
{
	for (size_t i = 0; i < c->info.channel_count; i++)
		if (strncmp(c->info.channels[i].name, name, sizeof c->info.channels[i].name - 1) == 0)
			return true;
	return false;
}

/* $var TYPE WIDTH CODE NAME [RANGE] $end: every bit becomes a channel; a code used before is an alias. A name that
 * stands in an outer scope already is told with its own. */
static void declare(struct bus_capture *c, struct vcd *v)
{
	const char *id = v->words[3];
	char *name = v->words[4], *glued = strrchr(name, '[');
	size_t n = strlen(id);
	struct code *code = code_of(v, id, n);
	unsigned width = 0;
	long high = -1, low = 0;

	if (v->word_count < 5 || no_wire(v->words[1]))
		return;
	for (const char *d = v->words[2]; ft_is_digit(*d) && width < 10000; d++)
		width = width * 10 + (unsigned)(*d - '0');
	if (!width || n == 0 || n >= sizeof code->text || width > WIDTH_MAX) {
		c->info.channels_passed_over++;
		return;
	}
	if (!code) {
		if (v->code_count == CODES) {
			c->info.channels_passed_over++;
			return;
		}
		code = &v->codes[v->code_count++];
		memcpy(code->text, id, n);
		code->length = (uint8_t)n;
		code->width = width;
	}
	if (v->word_count > 5)
		range(v->words[5], &high, &low);
	else if (glued && glued > name && range(glued, &high, &low))
		*glued = '\0';
	for (unsigned i = 0; i < width && i < code->width; i++) {
		char plain[2 * WORD_MAX], scoped[4 * WORD_MAX];
		if (width == 1 && high < 0)
			snprintf(plain, sizeof plain, "%s", name);
		else
			snprintf(plain, sizeof plain, "%s[%ld]", name, high >= low ? low + (long)i : low - (long)i);
		snprintf(scoped, sizeof scoped, "%s%s", v->scope, plain);
		if (!bus_capture_channel(c, ft_slice_of(taken(c, plain) ? scoped : plain)))
			return;
		code->bit[i] |= UINT32_C(1) << (c->info.channel_count - 1);
		if (code->width == 1 && n == 1)
			v->single[(unsigned char)id[0] & 127] |= UINT32_C(1) << (c->info.channel_count - 1);
	}
}

static enum ft_status declared(struct bus_capture *c, struct vcd *v, struct ft_error *e)
{
	v->state = PLAIN;
	if (strcmp(v->words[0], "$timescale") == 0)
		return timescale(c, v, e);
	if (strcmp(v->words[0], "$scope") == 0)
		enter(v);
	if (strcmp(v->words[0], "$upscope") == 0)
		leave(v);
	if (strcmp(v->words[0], "$var") == 0)
		declare(c, v);
	if (strcmp(v->words[0], "$enddefinitions") != 0)
		return FT_OK;
	v->body = true;
	if (!c->info.channel_count)
		return wrong(c, "the dump declares no signal that could be a line", e);
	return FT_OK;
}

/* The levels of the time that ends here. */
static inline enum ft_status settle(struct bus_capture *c, struct vcd *v, struct ft_error *e)
{
	if (v->levels == v->sent && c->begun)
		return FT_OK;
	c->begun = true;
	v->sent = v->levels;
	return bus_capture_edge(c, v->now_ns, v->levels, e);
}

static inline enum ft_status at_time(struct bus_capture *c, struct vcd *v, int64_t tick, struct ft_error *e)
{
	enum ft_status s = v->timed || v->changed ? settle(c, v, e) : FT_OK;

	v->timed = true;
	v->tick = tick;
	v->now_ns = v->divide == 1 ? tick * v->multiply : (tick * v->multiply + v->divide / 2) / v->divide;
	return s;
}

static inline void set(struct vcd *v, uint32_t channels, bool high)
{
	v->levels = high ? v->levels | channels : v->levels & ~channels;
	v->changed = true;
}

/* 1 high, 0 low, -1 unknown, -2 no value; H and L come from tools for VHDL. */
static int level_of(uint8_t c)
{
	switch (c) {
	case '0':
	case 'l':
	case 'L':
		return 0;
	case '1':
	case 'h':
	case 'H':
		return 1;
	case 'x':
	case 'X':
	case 'z':
	case 'Z':
	case 'u':
	case 'U':
	case 'w':
	case 'W':
	case '-':
		return -1;
	default:
		return -2;
	}
}

static void change(struct bus_capture *c, struct vcd *v, uint32_t channels, int level)
{
	if (!channels)
		return;
	if (level >= 0)
		set(v, channels, level);
	else
		c->info.unknown_levels++;
}

static void vector(struct bus_capture *c, struct vcd *v, const struct code *code)
{
	/* shorter values are extended to the left: x with x, z with z, else with 0 */
	int fill = v->value_count ? level_of((uint8_t)v->value[0]) : 0;

	if (fill >= 0)
		fill = 0;
	for (unsigned i = 0; i < code->width; i++)
		change(c, v, code->bit[i], i < v->value_count ? level_of((uint8_t)v->value[v->value_count - 1 - i]) : fill);
}

static enum ft_status body_token(struct bus_capture *c, struct vcd *v, const uint8_t *p, size_t n, struct ft_error *e)
{
	struct code *code;
	int level;

	if (v->state == WANTS_CODE) {
		v->state = PLAIN;
		code = v->vector ? code_of(v, (const char *)p, n) : NULL;
		if (code)
			vector(c, v, code);
		return FT_OK;
	}
	switch (p[0]) {
	case '#': {
		int64_t tick;
		if (!ft_slice_i64((struct ft_slice){ (const char *)p + 1, n - 1 }, &tick) || tick < 0)
			return wrong(c, "a time is no number", e);
		if (tick < v->tick)
			return wrong(c, "the time runs backwards", e);
		if (tick > v->tick_most)
			return wrong(c, "the time is beyond all bounds", e);
		return at_time(c, v, tick, e);
	}
	case '$':
		if (n == 8 && memcmp(p, "$comment", 8) == 0)
			v->state = COMMENT;
		return FT_OK; /* $dumpvars, $dumpoff and the like hold changes as any other */
	case 'b':
	case 'B':
		for (size_t i = 1; i < n; i++)
			if (level_of(p[i]) == -2)
				return wrong(c, "the value of a vector has something that is no level", e);
		v->value_count = n - 1 < WIDTH_MAX ? n - 1 : WIDTH_MAX;
		memcpy(v->value, p + n - v->value_count, v->value_count);
		v->vector = true;
		v->state = WANTS_CODE;
		return FT_OK;
	case 'r':
	case 'R':
	case 's':
	case 'S':
		v->vector = false;
		v->state = WANTS_CODE;
		return FT_OK;
	default:
		level = level_of(p[0]);
		if (level == -2 || n < 2)
			return wrong(c, "something stands there that is neither a time nor a change", e);
		code = code_of(v, (const char *)p + 1, n - 1);
		if (code)
			change(c, v, code->bit[0], level);
		return FT_OK;
	}
}

static enum ft_status head_token(struct bus_capture *c, struct vcd *v, const uint8_t *p, size_t n, struct ft_error *e)
{
	bool end = n == 4 && memcmp(p, "$end", 4) == 0;

	if (v->state == DECLARING && end)
		return declared(c, v, e);
	if (v->state != DECLARING) {
		if (p[0] != '$')
			return wrong(c, "something stands between the declarations that is none", e);
		v->state = DECLARING;
		v->word_count = 0;
		memset(v->words, 0, sizeof v->words);
	}
	if (v->word_count < WORDS_MAX) {
		memcpy(v->words[v->word_count], p, n < WORD_MAX - 1 ? n : WORD_MAX - 1);
		v->word_count++;
	}
	return FT_OK;
}

static enum ft_status token(struct bus_capture *c, struct vcd *v, const uint8_t *p, size_t n, struct ft_error *e)
{
	if (v->state == COMMENT) {
		if (n == 4 && memcmp(p, "$end", 4) == 0)
			v->state = PLAIN;
		return FT_OK;
	}
	return v->body ? body_token(c, v, p, n, e) : head_token(c, v, p, n, e);
}

/* Times and scalar changes with codes of one character, as long as nothing else comes and the portion is far from
 * its end. Returns where it stopped. */
static const uint8_t *fast(struct bus_capture *c, struct vcd *v, const uint8_t *p, const uint8_t *end,
                           enum ft_status *ret, struct ft_error *e)
{
	while (end - p > FAST_TOKEN) {
		if (*p == '#') {
			const uint8_t *q = p + 1;
			uint64_t tick = 0;
			while ((unsigned)*q - '0' < 10 && q < p + 18)
				tick = tick * 10 + (*q++ - '0');
			if (!blank(*q) || q == p + 1 || (int64_t)tick < v->tick || (int64_t)tick > v->tick_most)
				return p; /* the other way finds the words for it */
			*ret = at_time(c, v, (int64_t)tick, e);
			if (*ret != FT_OK)
				return p;
			p = q + 1;
		} else if ((*p == '0' || *p == '1') && blank(p[2]) && p[1] > ' ' && p[1] < 127) {
			set(v, v->single[p[1]], *p == '1');
			p += 3;
		} else if (blank(*p)) {
			p++;
		} else {
			return p;
		}
	}
	return p;
}

/* One token from `p`, or what there is of it into the carry. */
static const uint8_t *slow(struct bus_capture *c, struct vcd *v, const uint8_t *p, const uint8_t *end,
                           enum ft_status *ret, struct ft_error *e)
{
	const uint8_t *from = p;
	size_t n;

	v->at = p;
	while (p < end && !blank(*p))
		p++;
	n = (size_t)(p - from);
	if (p == end || c->carry_count) {
		size_t room = sizeof c->carry - c->carry_count;
		/* A longer token can only be a vector or a word of a comment; its beginning tells enough of both. */
		memcpy(c->carry + c->carry_count, from, n < room ? n : room);
		c->carry_count += n < room ? n : room;
		if (p == end)
			return p;
		*ret = c->carry_count ? token(c, v, c->carry, c->carry_count, e) : FT_OK;
		c->carry_count = 0;
	} else if (n) {
		*ret = token(c, v, from, n, e);
	}
	return p < end ? p + 1 : p;
}

static enum ft_status bytes(struct bus_capture *c, const uint8_t *p, size_t n, struct ft_error *e)
{
	struct vcd *v = c->reader;
	const uint8_t *end = p + n;
	enum ft_status s = FT_OK;
	unsigned lines = 0;

	v->portion = v->at = p;
	if (c->info.line == 1 && !v->body && !v->word_count && n >= 3 && memcmp(p, "\xef\xbb\xbf", 3) == 0)
		p += 3;
	for (const uint8_t *q = p; q < end; q++)
		lines += *q == '\n';
	while (p < end && s == FT_OK) {
		if (v->body && v->state == PLAIN && !c->carry_count)
			p = fast(c, v, p, end, &s, e);
		if (s == FT_OK && p < end)
			p = slow(c, v, p, end, &s, e);
	}
	if (s == FT_OK)
		c->info.line += lines;
	v->portion = v->at = NULL;
	c->info.end_ns = v->now_ns;
	return s;
}

/* Is the token that the file ends with one that can be trusted to be whole: a known code, or a change with one? */
static bool ends_by_itself(const struct bus_capture *c, struct vcd *v)
{
	const char *p = (const char *)c->carry;
	size_t n = c->carry_count;

	if (n == 4 && memcmp(p, "$end", 4) == 0)
		return true;
	if (!v->body || v->state == COMMENT)
		return false;
	if (v->state == WANTS_CODE)
		return code_of(v, p, n) != NULL;
	return n > 1 && level_of((uint8_t)p[0]) > -2 && code_of(v, p + 1, n - 1) != NULL;
}

static enum ft_status end(struct bus_capture *c, struct ft_error *e)
{
	struct vcd *v = c->reader;
	struct ft_error own = { 0 };
	enum ft_status s;

	/* A token that the file breaks off in cannot be trusted to be whole, unless it is one that ends by itself. */
	if (c->carry_count) {
		bool whole = ends_by_itself(c, v);
		if (whole)
			token(c, v, c->carry, c->carry_count, &own);
		else
			c->info.cut = true;
	}
	c->info.cut |= v->state != PLAIN || !v->body;
	if (!v->body)
		return wrong(c, "the dump breaks off among its declarations", e);
	s = settle(c, v, e);
	c->info.end_ns = v->now_ns;
	return s;
}

const struct bus_format bus_format_vcd = { .format = FT_BUS_VCD,
	                                       .reader_size = sizeof(struct vcd),
	                                       .looks_like = looks_like,
	                                       .begin = begin,
	                                       .bytes = bytes,
	                                       .end = end };
