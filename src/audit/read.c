/* SPDX-License-Identifier: Apache-2.0 */
/* Bytes to lines and elements. The inner loop finds the three delimiters sixty-four bytes at a time,
 * since a fleet's worth of audits goes through here every night. */
#include "room.h"

/* Bit i of each mask: byte i of the next 64 bytes is that delimiter. */
struct marks {
	uint64_t star, cr, lf;
};

/* What scan_lines is built of, once for any processor and once for wide instructions. */
typedef struct marks find_marks_fn(const char *p);
/* Puts a stop at every delimiter of the block that begins at `base`, and up to STOPS_AT_ONCE - 1 more in vain, which
 * the next are written over. Returns the next one to fill. */
typedef uint32_t *put_stops_fn(uint32_t *stop, uint64_t delimiters, uint32_t base);

#if defined(__SSE2__)
static inline uint64_t equal64(const __m128i v[4], char c)
{
	const __m128i want = _mm_set1_epi8(c);
	uint64_t m = 0;

	for (int i = 0; i < 4; i++)
		m |= (uint64_t)(uint32_t)_mm_movemask_epi8(_mm_cmpeq_epi8(v[i], want)) << (16 * i);
	return m;
}

static inline struct marks find_marks(const char *p)
{
	__m128i v[4];

	for (int i = 0; i < 4; i++)
		v[i] = _mm_loadu_si128((const __m128i *)(const void *)(p + (ptrdiff_t)16 * i));
	return (struct marks){ equal64(v, '*'), equal64(v, '\r'), equal64(v, '\n') };
}
#else
static inline struct marks find_marks(const char *p)
{
	struct marks m = { 0 };

	for (int i = 0; i < 64; i++) {
		m.star |= (uint64_t)(p[i] == '*') << i;
		m.cr |= (uint64_t)(p[i] == '\r') << i;
		m.lf |= (uint64_t)(p[i] == '\n') << i;
	}
	return m;
}
#endif

#if defined(AUDIT_WIDE)
AUDIT_WIDE static inline uint64_t equal32x2(__m256i low, __m256i high, char c)
{
	const __m256i want = _mm256_set1_epi8(c);

	return (uint32_t)_mm256_movemask_epi8(_mm256_cmpeq_epi8(low, want)) |
		(uint64_t)(uint32_t)_mm256_movemask_epi8(_mm256_cmpeq_epi8(high, want)) << 32;
}

AUDIT_WIDE static inline struct marks find_marks_wide(const char *p)
{
	__m256i low = _mm256_loadu_si256((const __m256i *)(const void *)p);
	__m256i high = _mm256_loadu_si256((const __m256i *)(const void *)(p + 32));

	return (struct marks){ equal32x2(low, high, '*'), equal32x2(low, high, '\r'), equal32x2(low, high, '\n') };
}
#endif

AUDIT_BOTH struct marks marks_at(struct ft_slice b, size_t at, find_marks_fn *find)
{
	char rest[64];

	if (b.n - at >= 64)
		return find(b.p + at);
	memset(rest, 0, sizeof rest);
	memcpy(rest, b.p + at, b.n - at);
	return find(rest);
}

enum { SMALL = 64 * 1024 }; /* ours: up to here room for the worst case is cheaper than counting */

/* Upper bounds of what the bytes hold, so that both arrays are taken once. */
static void count(struct ft_slice b, size_t *ret_stars, size_t *ret_ends)
{
	size_t stars = 0, ends = 0;

	if (b.n <= SMALL) { /* memory that is not written to costs nothing */
		*ret_stars = *ret_ends = b.n;
		return;
	}
	for (size_t at = 0; at < b.n; at += 64) {
		struct marks m = marks_at(b, at, find_marks);
		stars += (size_t)__builtin_popcountll(m.star);
		ends += (size_t)__builtin_popcountll(m.cr) + (size_t)__builtin_popcountll(m.lf & ~(m.cr << 1));
	}
	*ret_stars = stars;
	*ret_ends = ends;
}

static bool name_shaped(const char *p, size_t n)
{
	if (n < 2 || n > 4 || !ft_is_upper(p[0]) || !ft_is_upper(p[1]))
		return false;
	for (size_t i = 2; i < n; i++)
		if (!ft_is_digit(p[i]))
			return false;
	return true;
}

static int look_up(const char *p, size_t n)
{
	return (int)ft_segment_find((struct ft_slice){ p, n });
}

/* A line whose start is no segment name: noise may stand before DXS, ST or any known name. Finds
 * the name that ends where the first element begins, or makes the line foreign. */
static void slow_name(const struct ft_audit *d, struct ft_segment *s, struct ft_span name)
{
	const char *p = d->bytes.p + name.at;

	s->id = FT_SEG_FOREIGN;
	s->name = (struct ft_span){ name.at, 0 };
	if (name_shaped(p, name.n) && s->count) {
		s->id = FT_SEG_NONE;
		s->name = name;
		return;
	}
	if (!s->count)
		return;
	for (uint32_t n = 4; n >= 2; n--) {
		if (n >= name.n)
			continue;
		/* what stands before must not read on as one word with the name */
		if (look_up(p + name.n - n, n) < 0 || ft_is_upper(p[name.n - n - 1]) || p[name.n - n - 1] == '$')
			continue;
		s->id = (int16_t)look_up(p + name.n - n, n);
		s->name = (struct ft_span){ name.at + name.n - n, n };
		return;
	}
}

/* Decides what a finished line is; `name` is its first token. */
AUDIT_BOTH void name_line(const struct ft_audit *d, struct ft_segment *s, struct ft_span name)
{
	const char *p = d->bytes.p + name.at;
	uint32_t key;

	if (name.n >= 2 && name.n <= 4 && d->bytes.n - name.at >= 4) {
		memcpy(&key, p, sizeof key);
		key &= 0xffffffffU >> (8 * (4 - name.n));
		s->id = (int16_t)segment_by_key(key);
		s->name = name;
		if (s->id >= 0)
			return;
	} else {
		s->id = (int16_t)look_up(p, name.n);
		s->name = name;
		if (s->id >= 0)
			return;
	}
	slow_name(d, s, name);
}

/* How many delimiters a block holds cannot be foreseen, and a wrong guess of the processor costs more than
 * some stops in vain: so many are put without asking whether there are as many. */
enum { STOPS_AT_ONCE = 8 };

static inline uint32_t *put_stops(uint32_t *stop, uint64_t delimiters, uint32_t base)
{
	uint32_t *const behind = stop + __builtin_popcountll(delimiters);

	for (; stop < behind; stop += STOPS_AT_ONCE / 2)
		for (int i = 0; i < STOPS_AT_ONCE / 2; i++) {
			/* the topmost bit stands in where none is left */
			stop[i] = base + (uint32_t)__builtin_ctzll(delimiters | UINT64_C(1) << 63);
			delimiters &= delimiters - 1;
		}
	return behind;
}

#if defined(AUDIT_WIDE)
#include "bit-table.inc"

AUDIT_WIDE static inline uint32_t *put_stops_wide(uint32_t *stop, uint64_t delimiters, uint32_t base)
{
	__m256i at = _mm256_set1_epi32((int)base);

	for (int i = 0; i < 8; i++) {
		unsigned byte = delimiters >> 8 * i & 0xff;
		__m256i bits = _mm256_cvtepu8_epi32(_mm_loadl_epi64((const __m128i *)(const void *)set_bits[byte]));
		_mm256_storeu_si256((__m256i *)(void *)stop, _mm256_add_epi32(at, bits));
		stop += __builtin_popcount(byte);
		at = _mm256_add_epi32(at, _mm256_set1_epi32(8));
	}
	return stop;
}
#endif

struct scan {
	struct ft_audit *d;
	struct ft_segment *segment; /* the next one to fill */
	uint32_t token;             /* first one of the line under way */
	uint32_t at;                /* where that line begins */
};

/* The line's last token is the one before `behind`; `ended`: by a CR or LF. */
AUDIT_BOTH void end_line(struct scan *c, uint32_t behind, bool ended)
{
	const struct ft_audit *d = c->d;
	struct ft_segment *s = c->segment++;
	uint32_t at = d->stops[behind - 1];
	enum ft_eol eol = !ended ? FT_EOL_NONE : d->bytes.p[at] == '\n' ? FT_EOL_LF : FT_EOL_CR;

	if (eol == FT_EOL_CR && at + 1 < d->bytes.n && d->bytes.p[at + 1] == '\n')
		eol = FT_EOL_CRLF;
	s->at = c->at;
	s->first = c->token;
	s->count = behind - c->token - 1;
	s->eol = (uint8_t)eol;
	s->end = at + (eol == FT_EOL_CRLF ? 2 : eol != FT_EOL_NONE);
	name_line(d, s, (struct ft_span){ c->at, d->stops[c->token] - c->at });
	c->at = s->end;
	c->token = behind;
}

AUDIT_BOTH void scan_lines(struct ft_audit *d, find_marks_fn *find, put_stops_fn *put)
{
	const struct ft_slice b = d->bytes;
	struct scan c = { .d = d, .segment = d->segments };
	uint32_t *stop = d->stops;
	uint64_t after_cr = 0; /* the last byte of the block before was a CR */

	for (size_t base = 0; base < b.n; base += 64) {
		struct marks m = marks_at(b, base, find);
		uint64_t ends = m.cr | (m.lf & ~(m.cr << 1 | after_cr));
		uint64_t all = m.star | ends;
		uint32_t before = (uint32_t)(stop - d->stops);
		after_cr = m.cr >> 63;
		stop = put(stop, all, (uint32_t)base);
		for (; ends; ends &= ends - 1) {
			uint64_t through = ends ^ (ends - 1);
			end_line(&c, before + (uint32_t)__builtin_popcountll(all & through), true);
		}
	}
	if (c.at < b.n) {
		*stop++ = (uint32_t)b.n;
		end_line(&c, (uint32_t)(stop - d->stops), false);
	}
	d->segment_count = (size_t)(c.segment - d->segments);
	d->token_count = (size_t)(stop - d->stops);
}

#if defined(AUDIT_WIDE)
AUDIT_WIDE static void scan_lines_wide(struct ft_audit *d)
{
	scan_lines(d, find_marks_wide, put_stops_wide);
}
#endif

static void scan_lines_plain(struct ft_audit *d)
{
	scan_lines(d, find_marks, put_stops);
}

/* Which lines form which set. */
struct sorter {
	struct ft_audit *d;
	size_t room;
	struct ft_arena *arena;
	struct ft_set *open; /* the set under way, in sets[] */
	size_t transmission; /* first set of the transmission under way */
	int32_t dxs;
};

static bool open_set(struct sorter *o, size_t at)
{
	struct ft_audit *d = o->d;
	struct ft_set *sets = ft_arena_grow(o->arena, d->sets, d->set_count, &o->room, sizeof *sets);

	if (!sets)
		return false;
	d->sets = sets;
	o->open = &sets[d->set_count++];
	*o->open = (struct ft_set){ (int32_t)at, (int32_t)at, o->dxs, -1, -1, -1, -1 };
	return true;
}

static void end_transmission(struct sorter *o, int32_t dxe)
{
	for (size_t i = o->transmission; i < o->d->set_count; i++)
		o->d->sets[i].dxe = dxe;
	o->transmission = o->d->set_count;
	o->dxs = -1;
	o->open = NULL;
}

static bool sort_line(struct sorter *o, size_t at)
{
	const struct ft_segment *s = &o->d->segments[at];

	switch (s->id) {
	case FT_SEG_DXS:
		end_transmission(o, -1);
		o->dxs = (int32_t)at;
		if (!open_set(o, at))
			return false;
		break;
	case FT_SEG_ST:
		if (o->open && o->open->dxs >= 0 && o->open->st < 0 && o->open->last == (int32_t)at)
			; /* right behind its DXS */
		else if (!open_set(o, at))
			return false;
		o->open->st = (int32_t)at;
		break;
	case FT_SEG_DXE:
		if (o->d->set_count > o->transmission || o->open) {
			o->d->sets[o->d->set_count - 1].last = (int32_t)at + 1;
			end_transmission(o, (int32_t)at);
			return true;
		}
		return true; /* an end without a beginning belongs to nothing */
	default:
		if (o->open && o->open->se >= 0)
			o->open = NULL; /* something behind SE and before DXE */
		if (!o->open && !open_set(o, at))
			return false;
		if (s->id == FT_SEG_G85)
			o->open->g85 = (int32_t)at;
		else if (s->id == FT_SEG_SE)
			o->open->se = (int32_t)at;
	}
	o->open->last = (int32_t)at + 1;
	return true;
}

_Static_assert(FT_SEG_DXS < FT_SEG_G85 && FT_SEG_ST < FT_SEG_G85 && FT_SEG_SE < FT_SEG_G85 && FT_SEG_DXE < FT_SEG_G85,
               "the envelope's segments stand first in the dictionary");

/* From a line like any other to the last that follows it and is one too: no noise before its name, and nothing
 * of the envelope. */
static size_t last_ordinary(const struct ft_audit *d, size_t i)
{
	const struct ft_segment *s = &d->segments[i + 1], *end = d->segments + d->segment_count;

	while (s < end && s->id > FT_SEG_G85 && s->name.at == s->at)
		s++;
	return (size_t)(s - d->segments) - 1;
}

static bool sort_sets(struct ft_audit *d, struct ft_arena *a)
{
	struct sorter o = { .d = d, .arena = a, .dxs = -1 };

	for (size_t i = 0; i < d->segment_count; i++) {
		const struct ft_segment *s = &d->segments[i];
		if (s->id == FT_SEG_FOREIGN) {
			d->foreign += s->end - s->at > (s->eol == FT_EOL_CRLF ? 2U : s->eol != FT_EOL_NONE);
			/* noise inside an open set moves its end, so that ST still follows its DXS */
			if (o.open && o.open->last == (int32_t)i)
				o.open->last = (int32_t)i + 1;
			continue;
		}
		d->foreign += s->name.at > s->at;
		if (s->id > FT_SEG_G85 && o.open && o.open->se < 0) {
			i = last_ordinary(d, i);
			o.open->last = (int32_t)i + 1;
			continue;
		}
		/* a lone line of unknown name is noise that happens to look like a segment */
		if (s->id == FT_SEG_NONE && !o.open) {
			d->foreign++;
			continue;
		}
		if (!sort_line(&o, i))
			return false;
	}
	return true;
}

static bool binary(struct ft_slice b)
{
	size_t nuls = 0;

	for (size_t i = 0; i < b.n; i++)
		nuls += b.p[i] == 0;
	return nuls > b.n / 16; /* ours: programs and pictures are a third zeros, noisy audits have a handful */
}

/* Takes back what is no audit after all: a line or two that only look like segments, and names found
 * in the bytes of a program. */
static void drop_chance_hits(struct ft_audit *d)
{
	size_t kept = 0;
	int program = -1; /* looked at once and only where it matters: a hostile file may hold a set a line */

	for (size_t i = 0; i < d->set_count; i++) {
		const struct ft_set *s = &d->sets[i];
		bool whole = (s->st >= 0 && s->se >= 0) || (s->dxs >= 0 && s->dxe >= 0);
		int known = 0;
		for (int32_t k = s->first; k < s->last && known < 2 && !whole; k++)
			known += d->segments[k].id >= 0;
		if (!whole && program < 0)
			program = binary(d->bytes);
		if (!whole && ((s->st < 0 && s->dxs < 0 && known < 2) || program))
			d->foreign++;
		else
			d->sets[kept++] = *s;
	}
	d->set_count = kept;
}

static void scan_all_lines(struct ft_audit *d)
{
#if defined(AUDIT_WIDE)
	if (audit_wide()) {
		scan_lines_wide(d);
		return;
	}
#endif
	scan_lines_plain(d);
}

enum ft_status ft_audit_read(struct ft_slice bytes, struct ft_arena *a, struct ft_audit *ret, struct ft_error *e)
{
	struct ft_audit d = { .bytes = bytes };
	size_t room_segments, room_tokens;

	if (bytes.n > FT_AUDIT_BYTES_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "This is larger than %u MB and no audit; choose the file that was read from the machine.",
		               FT_AUDIT_BYTES_MAX >> 20);
	/* the head of every SQLite 3 database (its file format, 1.3); audits lie in a book, and none of them is meant */
	if (bytes.n >= 16 && memcmp(bytes.p, "SQLite format 3", 16) == 0)
		return ft_fail(
			e, FT_E_INPUT,
			"This is a database, such as a book of visits, and no audit; fettle visit get writes an audit of "
			"a visit into a file.");
	count(bytes, &room_tokens, &room_segments);
	room_segments++;
	room_tokens += room_segments;
	if (room_segments > FT_AUDIT_SEGMENTS_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "This has more than %u lines and no audit has; choose the file that was read from the machine.",
		               FT_AUDIT_SEGMENTS_MAX);
	d.segments = ft_arena_raw(a, room_segments * sizeof *d.segments);
	d.stops = ft_arena_raw(a, (room_tokens + STOPS_AT_ONCE) * sizeof *d.stops);
	if (!d.segments || !d.stops)
		return ft_fail_memory(e, "reading the audit");
	scan_all_lines(&d);
	if (!sort_sets(&d, a))
		return ft_fail_memory(e, "reading the audit");
	drop_chance_hits(&d);
	*ret = d;
	return FT_OK;
}

void ft_audit_write(const struct ft_audit *d, size_t first, size_t last, struct ft_buf *out)
{
	static const char *const ends[] = { "", "\r", "\n", "\r\n" };

	for (size_t i = first; i < last && i < d->segment_count; i++) {
		const struct ft_segment *s = &d->segments[i];
		ft_buf_put(out, d->bytes.p + s->at, d->stops[s->first] - s->at); /* lead and name */
		for (uint32_t k = 1; k <= s->count; k++) {
			struct ft_span element = audit_token(d, s->first + k);
			ft_buf_byte(out, '*');
			ft_buf_put(out, d->bytes.p + element.at, element.n);
		}
		ft_buf_puts(out, ends[s->eol]);
	}
}

struct ft_slice ft_audit_at(const struct ft_audit *d, const struct ft_segment *s, unsigned position)
{
	struct ft_span e;

	if (position < 1 || position > s->count)
		return (struct ft_slice){ NULL, 0 };
	e = audit_token(d, s->first + position);
	return (struct ft_slice){ d->bytes.p + e.at, e.n };
}

struct ft_slice ft_audit_name(const struct ft_audit *d, const struct ft_segment *s)
{
	return (struct ft_slice){ d->bytes.p + s->name.at, s->name.n };
}

unsigned ft_audit_line(const struct ft_audit *d, const struct ft_segment *s)
{
	return (unsigned)(s - d->segments) + 1;
}

uint16_t ft_audit_crc(const struct ft_audit *d, const struct ft_set *s, ft_crc16_fn *crc16)
{
	int32_t end = s->g85 >= 0 ? s->g85 : s->se >= 0 ? s->se : s->last;
	int32_t begin = s->st >= 0 ? s->st : s->first;
	size_t from = d->segments[begin].name.at;
	size_t to = end < (int32_t)d->segment_count ? d->segments[end].at : d->bytes.n;

	return to > from ? crc16(0, d->bytes.p + from, to - from) : 0;
}

uint16_t ft_audit_crc_crlf(const struct ft_audit *d, const struct ft_set *s, ft_crc16_fn *crc16, bool *converted)
{
	int32_t end = s->g85 >= 0 ? s->g85 : s->se >= 0 ? s->se : s->last;
	int32_t begin = s->st >= 0 ? s->st : s->first;
	uint16_t crc = 0;

	*converted = false;
	for (int32_t i = begin; i < end && i < (int32_t)d->segment_count; i++) {
		const struct ft_segment *x = &d->segments[i];
		size_t from = i == begin ? x->name.at : x->at;
		size_t text = x->end - (x->eol == FT_EOL_CRLF ? 2U : x->eol != FT_EOL_NONE);
		*converted |= x->eol == FT_EOL_CR || x->eol == FT_EOL_LF;
		crc = crc16(crc, d->bytes.p + from, text > from ? text - from : 0);
		crc = crc16(crc, "\r\n", 2);
	}
	return crc;
}
