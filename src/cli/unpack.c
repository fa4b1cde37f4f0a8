/* SPDX-License-Identifier: Apache-2.0 */
#include "unpack.h"

#include <archive.h>
#include <archive_entry.h>
#include <unistd.h>

#include "fettle/audit.h"

static bool ends_with(const char *text, const char *end)
{
	size_t n = strlen(text), m = strlen(end);

	return n > m && strcmp(text + n - m, end) == 0;
}

bool cli_is_archive(const char *path)
{
	static const char *const ends[] = { ".tar", ".tar.gz", ".tgz", ".tar.zst", ".tar.xz", ".tar.bz2", ".zip" };

	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
		if (ends_with(path, ends[i]))
			return true;
	return false;
}

static struct cli_entry read_entry(struct archive *a, struct archive_entry *x, struct ft_buf *b)
{
	const char *inside = archive_entry_pathname(x);
	struct cli_entry e = { .inside = inside ? inside : "?",
		                   .mtime_ns =
		                       (int64_t)archive_entry_mtime(x) * INT64_C(1000000000) + archive_entry_mtime_nsec(x) };
	char step[65536];
	la_ssize_t got;

	ft_buf_clear(b);
	while ((got = archive_read_data(a, step, sizeof step)) > 0 && b->status == FT_OK)
		ft_buf_put(b, step, (size_t)got);
	if (b->status != FT_OK)
		e.wrong = "It is larger than any audit; choose the file that was read from the machine.";
	else if (got < 0)
		e.wrong = "The archive is damaged here; copy it again.";
	e.bytes = b->status == FT_OK && b->n ? ft_buf_text(b) : (struct ft_slice){ "", 0 };
	return e;
}

const char *cli_read_archive(const char *path, bool (*take)(void *to, const struct cli_entry *e), void *to)
{
	struct archive *a = archive_read_new();
	struct ft_buf b = { .ceiling = FT_AUDIT_BYTES_MAX };
	struct archive_entry *x;
	const char *wrong = NULL;
	bool more = true;
	int r = ARCHIVE_OK;

	if (!a)
		return "There is no memory to read this archive.";
	archive_read_support_filter_all(a);
	archive_read_support_format_tar(a);
	archive_read_support_format_zip(a);
	if (archive_read_open_filename(a, path, 65536) != ARCHIVE_OK) {
		wrong = access(path, R_OK) ? "There is no such archive, or you may not read it."
								   : "This is not an archive that can be read; copy it again.";
		more = false;
	}
	while (more && (r = archive_read_next_header(a, &x)) == ARCHIVE_OK)
		if (archive_entry_filetype(x) == AE_IFREG) {
			struct cli_entry e = read_entry(a, x, &b);
			more = take(to, &e);
		}
	if (more && r != ARCHIVE_EOF)
		wrong = "The archive ends in its middle or is damaged; copy it again.";
	ft_buf_done(&b);
	archive_read_free(a);
	return wrong;
}
