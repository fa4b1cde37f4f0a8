/* SPDX-License-Identifier: Apache-2.0 */
/* Session files of logic analysers, version 2: a ZIP with "version", "metadata" and the samples in "logic-1" or in
 * chunks "logic-1-1", "logic-1-2" ..., to be joined in the order of their numbers. The layout is that of the source of
 * the library that defines it; unpacking is libarchive's, bytes come from the caller. Any other capture packed with
 * gzip comes the same way. */
#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <stdio.h>

#include "capture.h"

#include "fettle/stamp.h"

enum {
	METADATA_MAX = 1 << 16,
	CHUNKS_MAX = 100000, /* ours: sessions have a chunk every few seconds */
	VERSION_READ = 2,
	UNIT_MAX = 4, /* bytes a sample: FT_BUS_CHANNELS_MAX bits */
};

#define RATE_MAX 1e10 /* samples a second: nothing samples faster */

struct session {
	struct bus_capture *c;
	const struct ft_bus_source *from;
	const char *name;
	char metadata[METADATA_MAX + 1];
	bool described; /* the metadata was read */
	char file[64];  /* the stem of the members with samples */
	double rate;
	struct ft_slice unit_text; /* as it stands in the metadata; p NULL: not there, which means one byte */
	long unit, probes;
	char names[FT_BUS_CHANNELS_MAX][64];
	long first, last; /* numbers of the chunks; 0: a member without a number; last -1: there is none */
	bool ordered;     /* they lie in the order of their numbers */
	bool packed;      /* no ZIP: one file packed with gzip */
};

static la_ssize_t more(struct archive *zip, void *to, const void **ret)
{
	const struct ft_bus_source *s = to;
	ptrdiff_t n = s->read(s->from, ret);

	if (n < 0)
		archive_set_error(zip, EIO, "the file cannot be read on");
	return (la_ssize_t)n;
}

static struct archive *open_zip(struct session *s, struct ft_error *e)
{
	struct archive *zip = archive_read_new();

	if (!zip || !s->from->rewind(s->from->from)) {
		archive_read_free(zip);
		ft_fail(e, FT_E_INPUT, "%s cannot be read from its beginning.", s->name);
		return NULL;
	}
	archive_read_support_format_zip_streamable(zip);
	archive_read_support_filter_gzip(zip);
	archive_read_support_format_raw(zip); /* what gzip packed, if it is no ZIP */
	if (archive_read_open(zip, (void *)(uintptr_t)s->from, NULL, more, NULL) == ARCHIVE_OK)
		return zip;
	ft_fail(e, FT_E_INPUT, "%s is no session file: %s.", s->name, archive_error_string(zip));
	archive_read_free(zip);
	return NULL;
}

static enum ft_status damaged(struct session *s, struct archive *zip, struct ft_error *e)
{
	const char *why = archive_error_string(zip);

	return ft_fail(e, FT_E_INPUT, "The %s file %s is cut off or damaged: %s.", s->packed ? "packed" : "session",
	               s->name, why ? why : "it ends too early");
}

/* Number of the chunk of this member: 0 for the one without a number, -1 for any other member. */
static long chunk_of(const struct session *s, const char *member)
{
	size_t n = strlen(s->file);
	int64_t number;

	if (strncmp(member, s->file, n) != 0)
		return -1;
	if (!member[n])
		return 0;
	if (member[n] != '-' || !ft_slice_i64(ft_slice_of(member + n + 1), &number) || number < 1 || number > CHUNKS_MAX)
		return -1;
	return (long)number;
}

/* ---- metadata ---- */

/* "1 MHz", "24000000". */
static double rate_of(struct ft_slice text)
{
	static const struct {
		const char *unit;
		double factor;
	} units[] = { { "", 1 }, { "Hz", 1 }, { "kHz", 1e3 }, { "MHz", 1e6 }, { "GHz", 1e9 } };
	size_t n = 0;
	double value;

	while (n < text.n && (ft_is_digit(text.p[n]) || text.p[n] == '.'))
		n++;
	if (!ft_figure((struct ft_slice){ text.p, n }, &value))
		return 0;
	text = ft_slice_trim((struct ft_slice){ text.p + n, text.n - n });
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (ft_slice_eq_nocase(text, ft_slice_of(units[i].unit)))
			return value * units[i].factor;
	return 0;
}

static void setting(struct session *s, struct ft_slice key, struct ft_slice value)
{
	int64_t n;

	if (ft_slice_is(key, "samplerate"))
		s->rate = rate_of(value);
	else if (ft_slice_is(key, "capturefile"))
		snprintf(s->file, sizeof s->file, "%.*s", FT_P(value));
	else if (ft_slice_is(key, "unitsize"))
		s->unit_text = value;
	else if (ft_slice_is(key, "total probes") && ft_slice_i64(value, &n) && n >= 1 && n <= 512)
		s->probes = (long)n;
	else if (key.n > 5 && memcmp(key.p, "probe", 5) == 0 &&
	         ft_slice_i64((struct ft_slice){ key.p + 5, key.n - 5 }, &n) && n >= 1 && n <= FT_BUS_CHANNELS_MAX)
		snprintf(s->names[n - 1], sizeof s->names[0], "%.*s", FT_P(value));
}

static enum ft_status describe(struct session *s, struct ft_slice text, struct ft_error *e)
{
	struct ft_slice line, key, value;
	bool first = false;
	int64_t unit = 1;

	while (ft_slice_split(&text, '\n', &line)) {
		line = ft_slice_trim(line);
		if (line.n && line.p[line.n - 1] == '\r')
			line.n--;
		if (line.n && line.p[0] == '[') {
			first = ft_slice_is(line, "[device 1]");
			continue;
		}
		value = line;
		if (first && ft_slice_split(&value, '=', &key) && value.p)
			setting(s, ft_slice_trim(key), ft_slice_trim(value));
	}
	if (s->rate < 1)
		return ft_fail(e, FT_E_INPUT, "The session file %s does not say at what rate its samples were taken.", s->name);
	if (s->rate > RATE_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "The session file %s says that it has %.3g samples a second, which nothing can take.", s->name,
		               s->rate);
	if (s->unit_text.p && (!ft_slice_i64(s->unit_text, &unit) || unit < 1 || unit > UNIT_MAX))
		return ft_fail(e, FT_E_INPUT, "The session file %s has \"%.*s\" bytes a sample; one to four are read.", s->name,
		               FT_P(s->unit_text));
	s->unit = (long)unit;
	if (!s->file[0])
		return ft_fail(e, FT_E_INPUT, "The session file %s holds no logic samples.", s->name);
	if (!s->probes || s->probes > 8 * s->unit)
		s->probes = 8 * s->unit;
	s->described = true;
	return FT_OK;
}

static enum ft_status read_text(struct session *s, struct archive *zip, bool version, struct ft_error *e)
{
	size_t n = 0;
	int64_t number;

	for (;;) {
		la_ssize_t got = archive_read_data(zip, s->metadata + n, METADATA_MAX - n);
		if (got < 0)
			return damaged(s, zip, e);
		if (got == 0)
			break;
		n += (size_t)got;
	}
	if (!version)
		return describe(s, (struct ft_slice){ s->metadata, n }, e);
	while (n && (s->metadata[n - 1] == '\n' || s->metadata[n - 1] == '\r'))
		n--;
	if (!ft_slice_i64((struct ft_slice){ s->metadata, n }, &number) || number < 1 || number > VERSION_READ)
		return ft_fail(e, FT_E_INPUT, "%s is a session file of a version that is not known here; version 2 is.",
		               s->name);
	return FT_OK;
}

/* ---- samples ---- */

static enum ft_status samples(struct session *s, struct archive *zip, struct ft_error *e)
{
	const void *block;
	size_t n;
	la_int64_t at;
	int got;
	enum ft_status status = FT_OK;

	while (status == FT_OK && (got = archive_read_data_block(zip, &block, &n, &at)) != ARCHIVE_EOF) {
		if (got != ARCHIVE_OK) /* a wrong checksum of the member is but a warning there */
			return damaged(s, zip, e);
		status = bus_capture_feed(s->c, block, n, e);
	}
	return status;
}

static enum ft_status begin_samples(struct session *s, struct ft_error *e)
{
	struct ft_bus_options *o = &s->c->o;

	o->raw_rate = (int64_t)(s->rate + 0.5);
	o->raw_unit = (unsigned)s->unit;
	o->raw_channels = (unsigned)s->probes;
	return bus_capture_begin_raw(s->c, s->names, e);
}

typedef enum ft_status member_fn(struct session *s, struct archive *zip, const char *member, long wanted,
                                 struct ft_error *e);

/* Shows every member to `look`, once from the beginning. */
static enum ft_status go_through(struct session *s, member_fn *look, long wanted, struct ft_error *e)
{
	struct archive *zip = open_zip(s, e);
	struct archive_entry *entry;
	enum ft_status status = FT_OK;
	int got;

	if (!zip)
		return FT_E_INPUT;
	while (status == FT_OK && (got = archive_read_next_header(zip, &entry)) != ARCHIVE_EOF) {
		const char *member = got < ARCHIVE_WARN ? NULL : archive_entry_pathname(entry);
		if (got < ARCHIVE_WARN)
			status = damaged(s, zip, e);
		s->packed = got >= ARCHIVE_WARN && archive_format(zip) == ARCHIVE_FORMAT_RAW;
		if (status == FT_OK && member)
			status = look(s, zip, member, wanted, e);
	}
	archive_read_free(zip);
	return status;
}

static enum ft_status read_description(struct session *s, struct archive *zip, const char *member, long wanted,
                                       struct ft_error *e)
{
	(void)wanted;
	if (strcmp(member, "version") == 0 || strcmp(member, "metadata") == 0)
		return read_text(s, zip, member[0] == 'v', e);
	return FT_OK;
}

static enum ft_status list_chunk(struct session *s, struct archive *zip, const char *member, long wanted,
                                 struct ft_error *e)
{
	long chunk = chunk_of(s, member);

	(void)zip;
	(void)wanted;
	(void)e;
	if (chunk < 0)
		return FT_OK;
	s->ordered &= chunk > s->last;
	s->first = s->last < 0 || chunk < s->first ? chunk : s->first;
	s->last = chunk > s->last ? chunk : s->last;
	return FT_OK;
}

/* The samples of chunk `wanted`, or of all in the order they lie (-1). */
static enum ft_status read_chunk(struct session *s, struct archive *zip, const char *member, long wanted,
                                 struct ft_error *e)
{
	long chunk = chunk_of(s, member);

	return chunk >= 0 && (wanted < 0 || chunk == wanted) ? samples(s, zip, e) : FT_OK;
}

static enum ft_status read_packed(struct session *s, struct archive *zip, const char *member, long wanted,
                                  struct ft_error *e)
{
	(void)member;
	(void)wanted;
	return samples(s, zip, e);
}

enum ft_status bus_session(struct bus_capture *c, const char *name, const struct ft_bus_source *from,
                           struct ft_error *e)
{
	struct session *s = FT_NEW(c->arena, struct session);
	enum ft_status status;

	if (!s)
		return ft_fail_memory(e, "reading the session file");
	*s = (struct session){ .c = c, .from = from, .name = name, .unit = 1, .ordered = true, .last = -1 };
	status = go_through(s, read_description, -1, e);
	if (status == FT_OK && s->packed)
		return go_through(s, read_packed, -1, e);
	if (status == FT_OK && !s->described)
		status = ft_fail(e, FT_E_INPUT, "%s is a ZIP file but no session: it has no member called metadata.", name);
	if (status == FT_OK)
		status = go_through(s, list_chunk, -1, e);
	if (status == FT_OK && s->last < 0)
		status = ft_fail(e, FT_E_INPUT, "The session file %s holds no samples called %s.", name, s->file);
	if (status == FT_OK)
		status = begin_samples(s, e);
	if (status == FT_OK && s->ordered)
		return go_through(s, read_chunk, -1, e);
	for (long chunk = s->first; status == FT_OK && chunk <= s->last; chunk++)
		status = go_through(s, read_chunk, chunk, e);
	return status;
}
