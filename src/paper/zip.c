/* SPDX-License-Identifier: Apache-2.0 */
/* The archive: written so that the same members give the same bytes, read as if an enemy had made it. */
#include "fettle/paper.h"

#include <archive.h>
#include <archive_entry.h>

#include "fettle/time.h"

enum {
	LOCAL_TIME_AT = 10,
	CENTRAL_TIME_AT = 12,
	CENTRAL_FIXED = 46,   /* APPNOTE 4.3.7, 4.3.12: offsets in the headers */
	END_FIXED = 22,       /* APPNOTE 4.3.16: without a comment */
	RATIO_FREE = 1 << 20, /* ours: below a megabyte no ratio can hurt */
	READ_STEP = 64 << 10,
};

bool ft_member_name_good(struct ft_slice name)
{
	static const char *const fixed[] = { "handover.json", "handover.pdf", "machines.csv", "manifest.json",
		                                 "signature.json" };
	const size_t lead = sizeof "evidence/" - 1;

	for (size_t i = 0; i < sizeof fixed / sizeof *fixed; i++)
		if (ft_slice_is(name, fixed[i]))
			return true;
	if (name.n < lead + 64 + 2 || name.n > lead + 64 + 9 || memcmp(name.p, "evidence/", lead) != 0 ||
	    name.p[lead + 64] != '.')
		return false;
	for (size_t i = lead; i < name.n; i++) {
		char c = name.p[i];
		if (i == lead + 64)
			continue;
		if (!ft_is_digit(c) && !(c >= 'a' && c <= (i < lead + 64 ? 'f' : 'z')))
			return false;
	}
	return true;
}

/* ---- writing ---- */

static la_ssize_t take(struct archive *z, void *out, const void *p, size_t n)
{
	struct ft_buf *b = out;

	ft_buf_put(b, p, n);
	if (b->status != FT_OK) {
		archive_set_error(z, -1, "no room");
		return -1;
	}
	return (la_ssize_t)n;
}

static bool put_member(struct archive *z, const struct ft_member *m, int64_t unix_us)
{
	struct archive_entry *entry = archive_entry_new();
	bool good = false;

	if (entry) {
		archive_entry_set_pathname(entry, m->name);
		archive_entry_set_size(entry, (la_int64_t)m->bytes.n);
		archive_entry_set_filetype(entry, AE_IFREG);
		archive_entry_set_perm(entry, 0644);
		archive_entry_set_mtime(entry, (time_t)(unix_us / FT_SECOND), 0);
		good = archive_write_header(z, entry) == ARCHIVE_OK &&
			(m->bytes.n == 0 || archive_write_data(z, m->bytes.p, m->bytes.n) == (la_ssize_t)m->bytes.n) &&
			archive_write_finish_entry(z) == ARCHIVE_OK;
	}
	archive_entry_free(entry);
	return good;
}

static uint32_t le(const char *p, int bytes)
{
	uint32_t v = 0;

	for (int i = bytes; i-- > 0;)
		v = v << 8 | (unsigned char)p[i];
	return v;
}

/* libarchive writes the DOS time in the zone of whoever runs the program; the package must not depend
 * on that, so the wall time of the visit is set over it. Works on what was just written here. */
static bool set_dos_times(struct ft_buf *b, int64_t unix_us, int offset_minutes)
{
	struct ft_civil c = ft_civil_of(unix_us, offset_minutes);
	uint32_t date = c.year < 1980 ? 0x21 : (uint32_t)((c.year - 1980) << 9 | c.month << 5 | c.day);
	uint32_t dos = date << 16 | (uint32_t)(c.hour << 11 | c.minute << 5 | c.second / 2);
	char bytes[4] = { (char)dos, (char)(dos >> 8), (char)(dos >> 16), (char)(dos >> 24) };
	size_t end = b->n - END_FIXED;
	size_t at;

	if (b->n < END_FIXED || le(b->p + end, 4) != 0x06054b50)
		return false;
	at = le(b->p + end + 16, 4);
	for (uint32_t left = le(b->p + end + 10, 2); left > 0; left--) {
		size_t local;
		if (at + CENTRAL_FIXED > end || le(b->p + at, 4) != 0x02014b50)
			return false;
		local = le(b->p + at + 42, 4);
		if (local + LOCAL_TIME_AT + 4 > end || le(b->p + local, 4) != 0x04034b50)
			return false;
		memcpy(b->p + at + CENTRAL_TIME_AT, bytes, 4);
		memcpy(b->p + local + LOCAL_TIME_AT, bytes, 4);
		at += CENTRAL_FIXED + le(b->p + at + 28, 2) + le(b->p + at + 30, 2) + le(b->p + at + 32, 2);
	}
	return true;
}

static bool write_members(const struct ft_member *m, size_t count, int64_t unix_us, const char *compression,
                          struct ft_buf *out)
{
	struct archive *z = archive_write_new();
	bool good = z && archive_write_set_format_zip(z) == ARCHIVE_OK &&
		archive_write_set_format_option(z, "zip", "compression", compression) == ARCHIVE_OK &&
		archive_write_set_bytes_per_block(z, 0) == ARCHIVE_OK &&
		archive_write_open(z, out, NULL, take, NULL) == ARCHIVE_OK;

	for (size_t i = 0; i < count && good; i++)
		good = put_member(z, &m[i], unix_us);
	good = good && archive_write_close(z) == ARCHIVE_OK;
	archive_write_free(z);
	return good && out->status == FT_OK;
}

enum ft_status ft_zip_write(const struct ft_member *m, size_t count, int64_t unix_us, int offset_minutes,
                            struct ft_buf *out, struct ft_error *e)
{
	uint64_t total = 0;

	for (size_t i = 0; i < count; i++) {
		if (!ft_member_name_good(ft_slice_of(m[i].name)))
			return ft_fail(e, FT_E_INTERNAL, "A package has no place for a member named %s.", m[i].name);
		total += m[i].bytes.n;
	}
	if (count > FT_MEMBERS_MAX || total > FT_PACKAGE_BYTES_MAX)
		return ft_fail(e, FT_E_INPUT,
		               "The visit is too large for a package: %zu pieces of %llu MB; %d pieces and %u MB are the most.",
		               count, (unsigned long long)(total >> 20), FT_MEMBERS_MAX, FT_PACKAGE_BYTES_MAX >> 20);
	if (out->n)
		return ft_fail(e, FT_E_INTERNAL, "A package must be written into an empty buffer.");
	if (!write_members(m, count, unix_us, "deflate", out))
		return ft_fail_memory(e, "packing");
	/* What packs so well that a reader would take it for a trap is stored as it is. */
	if (total > RATIO_FREE && total / out->n > FT_PACKAGE_RATIO_MAX / 2) {
		ft_buf_clear(out);
		if (!write_members(m, count, unix_us, "store", out))
			return ft_fail_memory(e, "packing");
	}
	if (!set_dos_times(out, unix_us, offset_minutes))
		return ft_fail(e, FT_E_INTERNAL, "The archive that was just written has no directory.");
	return FT_OK;
}

/* ---- reading ---- */

struct reading {
	struct ft_arena *arena;
	struct ft_error *e;
	struct archive *z;
	size_t packed, total; /* bytes of the file, bytes unpacked so far */
	char *step;           /* READ_STEP bytes to unpack into */
	struct ft_member *members;
	size_t count, room;
};

static enum ft_status damaged(struct reading *r, const char *name)
{
	return ft_fail(r->e, FT_E_INPUT, "The package is damaged%s%s: it cannot be unpacked; ask for it again.",
	               name ? " at " : "", name ? name : "");
}

/* Unpacks the current entry, never holding more than the limits allow. */
static enum ft_status take_bytes(struct reading *r, struct ft_member *m)
{
	struct ft_buf b = { .ceiling = FT_PACKAGE_BYTES_MAX };
	enum ft_status s = FT_OK;
	la_ssize_t got;
	char *copy;

	while (s == FT_OK && (got = archive_read_data(r->z, r->step, READ_STEP)) != 0) {
		if (got < 0) {
			s = damaged(r, m->name);
			break;
		}
		r->total += (size_t)got;
		if (r->total > FT_PACKAGE_BYTES_MAX)
			s = ft_fail(r->e, FT_E_INPUT,
			            "The package unpacks to more than %u MB; it is not from fettle or it is a trap.",
			            FT_PACKAGE_BYTES_MAX >> 20);
		else if (r->total > RATIO_FREE && r->total / FT_PACKAGE_RATIO_MAX > r->packed)
			s = ft_fail(r->e, FT_E_INPUT,
			            "The package unpacks to more than %u times its size; it is not from fettle or it is a trap.",
			            FT_PACKAGE_RATIO_MAX);
		else
			ft_buf_put(&b, r->step, (size_t)got);
	}
	copy = s == FT_OK && b.status == FT_OK ? ft_arena_alloc(r->arena, b.n + 1) : NULL;
	if (s == FT_OK && !copy)
		s = ft_fail_memory(r->e, "opening the package");
	if (s == FT_OK) {
		if (b.n && copy)
			memcpy(copy, b.p, b.n);
		m->bytes = (struct ft_slice){ copy, b.n };
	}
	ft_buf_done(&b);
	return s;
}

/* A hostile name may hold anything: what is printed of it is plain ASCII and short. */
static const char *shown_name(struct reading *r, struct ft_slice name)
{
	char *text = ft_arena_text(r->arena, name);

	for (char *p = text; p && *p; p++) {
		if (*p < 0x20 || *p == 0x7f || (unsigned char)*p >= 0x80)
			*p = '?';
		if (p - text == 60)
			*p = 0;
	}
	return text ? text : "?";
}

static enum ft_status take_entry(struct reading *r, struct archive_entry *entry)
{
	struct ft_slice name = ft_slice_of(archive_entry_pathname(entry));
	struct ft_member *m;

	if (r->count >= FT_MEMBERS_MAX)
		return ft_fail(r->e, FT_E_INPUT, "The package has more than %d members; it is not from fettle.",
		               FT_MEMBERS_MAX);
	if (archive_entry_filetype(entry) != AE_IFREG || archive_entry_symlink(entry) || archive_entry_hardlink(entry))
		return ft_fail(r->e, FT_E_INPUT, "The package holds a link or folder, %s; it is not from fettle.",
		               shown_name(r, name));
	if (archive_entry_is_encrypted(entry))
		return ft_fail(r->e, FT_E_INPUT, "The package is locked with a password; fettle never does that.");
	if (!ft_member_name_good(name))
		return ft_fail(r->e, FT_E_INPUT, "The package has no place for a member named \"%s\"; it is not from fettle.",
		               shown_name(r, name));
	for (size_t i = 0; i < r->count; i++)
		if (ft_slice_is(name, r->members[i].name))
			return ft_fail(r->e, FT_E_INPUT, "The package has two members named %s; it is not from fettle.",
			               shown_name(r, name));
	r->members = ft_arena_grow(r->arena, r->members, r->count, &r->room, sizeof *r->members);
	if (!r->members)
		return ft_fail_memory(r->e, "opening the package");
	m = &r->members[r->count++];
	m->name = ft_arena_text(r->arena, name);
	if (!m->name)
		return ft_fail_memory(r->e, "opening the package");
	return take_bytes(r, m);
}

static enum ft_status read_entries(struct reading *r, struct ft_slice bytes)
{
	struct archive_entry *entry;
	enum ft_status s = FT_OK;
	int got;

	if (archive_read_support_format_zip_seekable(r->z) != ARCHIVE_OK ||
	    archive_read_open_memory(r->z, bytes.p, bytes.n) != ARCHIVE_OK)
		return ft_fail(
			r->e, FT_E_INPUT,
			"This is no package: it has no zip directory at its end, so it was cut off or is another kind of file.");
	while (s == FT_OK && (got = archive_read_next_header(r->z, &entry)) != ARCHIVE_EOF) {
		if (got != ARCHIVE_OK)
			return damaged(r, NULL);
		s = take_entry(r, entry);
	}
	return s;
}

enum ft_status ft_zip_read(struct ft_slice bytes, struct ft_arena *a, struct ft_member **ret, size_t *ret_count,
                           struct ft_error *e)
{
	struct reading r = { .arena = a, .e = e, .packed = bytes.n, .z = archive_read_new() };
	enum ft_status s;

	r.step = ft_arena_alloc(a, READ_STEP);
	if (!r.z || !r.step)
		s = ft_fail_memory(e, "opening the package");
	else if (bytes.n < END_FIXED || bytes.n > FT_PACKAGE_BYTES_MAX)
		s = ft_fail(e, FT_E_INPUT, "This is no package: a file of %zu bytes cannot be one.", bytes.n);
	else
		s = read_entries(&r, bytes);
	archive_read_free(r.z);
	if (s == FT_OK && r.count == 0)
		s = ft_fail(e, FT_E_INPUT, "This is no package: the archive is empty.");
	if (s != FT_OK)
		return s;
	*ret = r.members;
	*ret_count = r.count;
	return FT_OK;
}
