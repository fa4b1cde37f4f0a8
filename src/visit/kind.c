/* SPDX-License-Identifier: Apache-2.0 */
/* What kind of evidence some bytes are: by magic numbers, by the heading of a table, by the shape of
 * a text. Nothing is read beyond its first lines. */
#include "fettle/audit.h"
#include "fettle/csv.h"
#include "fettle/survey.h"
#include "fettle/visit.h"
#include "fettle/weeks.h"

#define HEAD_BYTES 4096 /* ours: a heading or a first segment stands within */

static bool magic(struct ft_slice b, size_t at, const char *m, size_t n)
{
	return b.n >= at + n && memcmp(b.p + at, m, n) == 0;
}

/* JPEG: ISO 10918-1 SOI and a marker. PNG: its signature. WebP: RIFF container. HEIC: ISO 14496-12 ftyp
 * box with one of the brands of ISO 23008-12. */
static bool is_photograph(struct ft_slice b)
{
	static const char brands[][5] = { "heic", "heix", "mif1", "msf1", "heif", "hevc" };

	if (magic(b, 0, "\xff\xd8\xff", 3) || magic(b, 0, "\x89PNG\r\n\x1a\n", 8))
		return true;
	if (magic(b, 0, "RIFF", 4) && magic(b, 8, "WEBP", 4))
		return true;
	for (size_t i = 0; i < sizeof brands / sizeof *brands; i++)
		if (magic(b, 4, "ftyp", 4) && magic(b, 8, brands[i], 4))
			return true;
	return false;
}

static bool contains(struct ft_slice b, const char *needle)
{
	struct ft_slice n = ft_slice_of(needle);

	return b.n >= n.n && ft_slice_find(b, n) < b.n;
}

/* A logic session is a ZIP whose members "version" and "metadata" stand in the clear in its headers. */
static bool is_bus(struct ft_slice b, struct ft_slice head)
{
	if (magic(b, 0, "PK\3\4", 4))
		return contains(b, "metadata") && contains(b, "logic-1");
	if (contains(head, "bus-words ")) /* our own text of words: docs/bus.md */
		return true;
	return (contains(head, "$timescale") || contains(head, "$var")) && contains(b, "$enddefinitions");
}

/* Lines that begin with a segment of the dictionary and a '*'; one such as ID1 or VA1 is enough. */
static bool is_audit(struct ft_slice head)
{
	size_t at = 0;

	if (magic(head, 0, "\xef\xbb\xbf", 3))
		at = 3;
	while (at < head.n) {
		size_t end = at, star;
		while (end < head.n && head.p[end] != '\r' && head.p[end] != '\n')
			end++;
		for (star = at; star < end && head.p[star] != '*'; star++)
			;
		for (size_t n = 2; star < end && n <= 4 && n <= star - at; n++) {
			enum ft_segment_id id = ft_segment_find((struct ft_slice){ head.p + star - n, n });
			if (id >= 0)
				return true;
		}
		at = end + 1;
	}
	return false;
}

static bool is_text(struct ft_slice b)
{
	for (size_t i = 0; i < b.n; i++) {
		unsigned char c = (unsigned char)b.p[i];
		if (c < 32 && c != '\n' && c != '\r' && c != '\t' && c != '\f')
			return false;
	}
	return b.n > 0;
}

static bool has_like(const struct ft_csv *c, const char *part)
{
	for (unsigned i = 0; i < c->head.count; i++)
		if (ft_slice_holds(c->head.fields[i], part))
			return true;
	return false;
}

/* Lists of events name the door in their rows. */
static bool rows_hold(const struct ft_csv *c, const char *part)
{
	for (size_t row = 0; row < c->count; row++)
		for (unsigned i = 0; i < c->rows[row].count; i++)
			if (ft_slice_holds(c->rows[row].fields[i], part))
				return true;
	return false;
}

static enum ft_evidence_kind table_kind(struct ft_slice head, struct ft_arena *a)
{
	struct ft_csv c = { 0 };
	struct ft_slice lines = head;

	while (lines.n && lines.n == HEAD_BYTES && lines.p[lines.n - 1] != '\n')
		lines.n--; /* a table cut in the middle of a line would look broken */
	if (ft_csv_read(lines.n ? lines : head, "the table", a, &c, NULL) != FT_OK || c.head.count < 2)
		return FT_EVIDENCE_UNKNOWN;
	if (ft_csv_column(&c, "selection") >= 0 && ft_csv_column(&c, "price") >= 0 && ft_csv_column(&c, "paid_with") >= 0)
		return FT_EVIDENCE_SALES;
	if (ft_csv_column(&c, "asset") >= 0 &&
	    (has_like(&c, "model") || has_like(&c, "controller") || has_like(&c, "serial")))
		return FT_EVIDENCE_SURVEY;
	if (ft_csv_column(&c, "kind") >= 0 && ft_csv_column(&c, "gauge") >= 0)
		return FT_EVIDENCE_SUPPLY;
	if (has_like(&c, "count") && has_like(&c, "amount"))
		return FT_EVIDENCE_COUNT_CASH;
	if (has_like(&c, "rsrp") || has_like(&c, "rssi") || has_like(&c, "dbm"))
		return FT_EVIDENCE_SIGNAL;
	if (!has_like(&c, "time"))
		return FT_EVIDENCE_UNKNOWN;
	if (has_like(&c, "temp") || has_like(&c, "celsius") || ft_csv_column(&c, "c") >= 0)
		return FT_EVIDENCE_TEMPERATURE;
	if (rows_hold(&c, "reference") || rows_hold(&c, "defrost")) /* checks of a probe: marks for a log */
		return FT_EVIDENCE_TEMPERATURE;
	if (has_like(&c, "door") || has_like(&c, "mark") || rows_hold(&c, "door"))
		return FT_EVIDENCE_DOOR;
	return FT_EVIDENCE_UNKNOWN;
}

static enum ft_evidence_kind text_kind(struct ft_slice head, struct ft_arena *a)
{
	enum ft_evidence_kind k;

	if (contains(head, "+CESQ:") || contains(head, "+CSQ:"))
		return FT_EVIDENCE_SIGNAL;
	if (contains(head, "fettle trace"))
		return FT_EVIDENCE_TRACE;
	if (ft_survey_is_record(head))
		return FT_EVIDENCE_SURVEY;
	if (ft_weeks_is(head))
		return FT_EVIDENCE_WEEKS;
	k = table_kind(head, a);
	return k != FT_EVIDENCE_UNKNOWN ? k : FT_EVIDENCE_NOTE;
}

enum ft_status ft_evidence_kind_of(struct ft_slice bytes, const char *name, struct ft_arena *a,
                                   enum ft_evidence_kind *ret, struct ft_error *e)
{
	struct ft_slice head = { bytes.p, bytes.n < HEAD_BYTES ? bytes.n : HEAD_BYTES };

	if (bytes.n == 0)
		return ft_fail(e, FT_E_INPUT, "%s is empty and shows nothing; look where it came from.", name);
	if (is_photograph(bytes))
		*ret = FT_EVIDENCE_PHOTOGRAPH;
	else if (is_bus(bytes, head))
		*ret = FT_EVIDENCE_BUS;
	else if (is_audit(head))
		*ret = FT_EVIDENCE_AUDIT;
	else if (is_text(head))
		*ret = text_kind(head, a);
	else
		return ft_fail(
			e, FT_E_INPUT,
			"%s is nothing this bench knows; it takes audits, lists of sales, photographs (JPEG, PNG, WebP, "
			"HEIC), bus captures (VCD, .sr), tables of temperature, signal, door marks, cash counts or survey rows, and plain text.",
			name);
	return FT_OK;
}

enum ft_status ft_evidence_accept(struct ft_slice bytes, const char *name, enum ft_evidence_kind kind,
                                  struct ft_arena *a, struct ft_error *e)
{
	enum ft_evidence_kind found = FT_EVIDENCE_UNKNOWN;
	enum ft_status s = ft_evidence_kind_of(bytes, name, a, &found, e);
	bool fixed = found == FT_EVIDENCE_PHOTOGRAPH || found == FT_EVIDENCE_BUS || found == FT_EVIDENCE_AUDIT;
	/* a table of time and levels looks like any other, so a text may be called a capture */
	bool demands = kind == FT_EVIDENCE_PHOTOGRAPH || kind == FT_EVIDENCE_AUDIT || kind == FT_EVIDENCE_SALES ||
		kind == FT_EVIDENCE_WEEKS || (kind == FT_EVIDENCE_BUS && !is_text(bytes));

	if (s == FT_OK && found != kind && (fixed || demands))
		return ft_fail(e, FT_E_INPUT, "%s looks like %s and cannot be filed as %s.", name, ft_evidence_title(found),
		               ft_evidence_title(kind));
	return s;
}
