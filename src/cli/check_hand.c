/* SPDX-License-Identifier: Apache-2.0 */
#include "check.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

enum { READ_STEP = 256 * 1024 }; /* ours: one read takes any audit whole */

void check_hand_init(struct check_hand *h, const struct cli *c, bool details, ft_crc16_fn *crc16)
{
	memset(h, 0, sizeof *h);
	h->json = c->json;
	h->columns = c->columns;
	h->details = details;
	h->crc16 = crc16;
	h->bytes.ceiling = FT_AUDIT_BYTES_MAX + READ_STEP;
	h->folder_fd = -1;
}

void check_hand_done(struct check_hand *h)
{
	ft_arena_done(&h->arena);
	ft_buf_done(&h->out);
	ft_buf_done(&h->bytes);
	ft_buf_done(&h->folder);
	if (h->folder_fd >= 0)
		close(h->folder_fd);
}

void check_tally_add(struct check_tally *sum, const struct check_tally *part)
{
	sum->shown += part->shown;
	sum->open += part->open;
	sum->contradicted += part->contradicted;
	sum->unreadable += part->unreadable;
	sum->bytes += part->bytes;
	if (part->exit_code > sum->exit_code)
		sum->exit_code = part->exit_code;
}

static void count(struct check_hand *h, enum ft_verdict v)
{
	h->tally.shown += v == FT_SHOWN;
	h->tally.open += v == FT_OPEN;
	h->tally.contradicted += v == FT_CONTRADICTED;
	if (v == FT_CONTRADICTED && h->tally.exit_code < 1)
		h->tally.exit_code = 1;
}

static void hex4(struct ft_json *j, const char *key, bool there, uint16_t v)
{
	static const char digits[] = "0123456789ABCDEF";
	char text[4] = { digits[v >> 12], digits[v >> 8 & 15], digits[v >> 4 & 15], digits[v & 15] };

	ft_json_slice(j, key, there ? (struct ft_slice){ text, 4 } : (struct ft_slice){ NULL, 0 });
}

static void put_document(struct check_hand *h, const char *name, size_t set, const struct ft_audit *d,
                         const struct ft_findings *f, const struct ft_audit_check *k, enum ft_verdict v)
{
	struct ft_json j = { .out = &h->out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "command", "check");
	ft_json_text(&j, "verdict", ft_verdict_word(v));
	ft_findings_json(&j, f);
	ft_json_text(&j, "file", name);
	if (d->set_count > 1)
		ft_json_i64(&j, "set", (int64_t)set + 1);
	ft_json_i64(&j, "segments",
	            k->count_computed != FT_ABSENT ? k->count_computed : d->sets[set].last - d->sets[set].first);
	ft_json_object(&j, "crc");
	hex4(&j, "stated", k->crc_stated && k->crc_sound, k->stated);
	hex4(&j, "computed", true, k->computed);
	ft_json_object_end(&j);
	ft_json_object(&j, "segment_count");
	ft_json_count(&j, "stated", k->count_stated);
	ft_json_count(&j, "computed", k->count_computed);
	ft_json_object_end(&j);
	ft_json_object_end(&j);
	ft_buf_byte(&h->out, '\n');
}

static const char *const verdict_marks[] = { "\xe2\x96\xa0", "\xe2\x97\x8b",
	                                         "\xe2\x97\x86" }; /* filled square, ring, diamond */

static void put_text(struct check_hand *h, const char *name, const struct ft_findings *f, enum ft_verdict v)
{
	if (v == FT_SHOWN && !h->details)
		return;
	ft_buf_printf(&h->out, "%s %-12s %s\n", verdict_marks[v], ft_verdict_word(v), name);
	for (int w = FT_FAULT; w >= (h->details ? FT_NOTE : FT_DOUBT); w--)
		for (size_t i = 0; i < f->count; i++)
			if ((int)f->list[i].weight == w)
				ft_finding_text(&h->out, &f->list[i], h->columns);
}

void check_unreadable(struct check_hand *h, const char *name, const char *sentence, int code)
{
	struct ft_json j = { .out = &h->out };

	h->tally.unreadable++;
	if (h->tally.exit_code < code)
		h->tally.exit_code = code;
	if (!h->json) {
		ft_buf_printf(&h->out, "%s %-12s %s\n    ", verdict_marks[FT_CONTRADICTED], "unreadable", name);
		ft_wrap(&h->out, sentence, h->columns, 4);
		ft_buf_byte(&h->out, '\n');
		return;
	}
	ft_json_object(&j, NULL);
	ft_json_text(&j, "command", "check");
	ft_json_text(&j, "verdict", "open");
	ft_json_array(&j, "findings");
	ft_json_array_end(&j);
	ft_json_text(&j, "file", name);
	ft_json_null(&j, "segments");
	ft_json_null(&j, "crc");
	ft_json_null(&j, "segment_count");
	ft_json_text(&j, "error", sentence);
	ft_json_object_end(&j);
	ft_buf_byte(&h->out, '\n');
}

void check_bytes(struct check_hand *h, const char *name, struct ft_slice bytes)
{
	struct ft_error e = { 0 };
	struct ft_audit d;

	ft_arena_reset(&h->arena);
	h->tally.bytes += bytes.n;
	if (ft_audit_read(bytes, &h->arena, &d, &e) != FT_OK) {
		check_unreadable(h, name, e.text, ft_exit_code(e.status));
		return;
	}
	if (d.set_count == 0) {
		check_unreadable(h, name,
		                 bytes.n ? "There is no audit in this: no line is one of the standard's segments."
		                         : "This file is empty; read the machine again.",
		                 FT_E_INPUT);
		return;
	}
	for (size_t i = 0; i < d.set_count; i++) {
		struct ft_findings f = { .arena = &h->arena };
		struct ft_audit_check k;
		enum ft_verdict v;
		if (ft_audit_facts(&d, &d.sets[i], &h->arena, &h->facts, &e) != FT_OK) {
			check_unreadable(h, name, e.text, ft_exit_code(e.status));
			return;
		}
		ft_audit_judge(&h->facts, name, h->crc16, &f, &k);
		v = ft_verdict_of(&f, false);
		count(h, v);
		if (h->json)
			put_document(h, name, i, &d, &f, &k, v);
		else
			put_text(h, name, &f, v);
	}
}

static const char *why_not(int err)
{
	return err == ENOENT || err == ENOTDIR ? "There is no such file; look at the name."
		: err == EACCES || err == EPERM    ? "You have no permission to read it; ask its owner or copy it."
		: err == EISDIR                    ? "It is a folder, not a file."
										   : strerror(err);
}

/* From the second file of a folder on the kernel is spared the way to that folder. */
static int open_file(struct check_hand *h, const char *path)
{
	const int flags = O_RDONLY | O_CLOEXEC | O_NOCTTY;
	const char *slash = strrchr(path, '/');
	size_t n = slash ? (size_t)(slash - path) + 1 : 0;

	if (h->folder.n != n || n == 0 || memcmp(h->folder.p, path, n) != 0) {
		if (h->folder_fd >= 0)
			close(h->folder_fd);
		h->folder_fd = -1;
		ft_buf_clear(&h->folder);
		ft_buf_put(&h->folder, path, n);
		return open(path, flags);
	}
	if (h->folder_fd < 0) {
		ft_buf_byte(&h->folder, 0);
		if (h->folder.status == FT_OK)
			h->folder_fd = open(h->folder.p, O_PATH | O_DIRECTORY | O_CLOEXEC);
		h->folder.n = n;
	}
	return h->folder_fd >= 0 ? openat(h->folder_fd, path + n, flags) : open(path, flags);
}

void check_file(struct check_hand *h, const char *path)
{
	int fd = open_file(h, path);
	ssize_t got = -1;

	if (fd >= 0) {
		ft_buf_clear(&h->bytes);
		do {
			/* room without copying: the buffer keeps its memory from file to file */
			if (h->bytes.room - h->bytes.n < READ_STEP) {
				size_t n = h->bytes.n;
				static const char zeros[4096];
				for (size_t k = 0; k < READ_STEP; k += sizeof zeros)
					ft_buf_put(&h->bytes, zeros, sizeof zeros);
				if (h->bytes.status != FT_OK)
					break;
				h->bytes.n = n;
			}
			got = read(fd, h->bytes.p + h->bytes.n, h->bytes.room - h->bytes.n);
			if (got > 0)
				h->bytes.n += (size_t)got;
		} while (got > 0 && h->bytes.n <= FT_AUDIT_BYTES_MAX);
	}
	if (fd >= 0 && h->bytes.status != FT_OK)
		check_unreadable(h, path, "It is larger than any audit; choose the file that was read from the machine.",
		                 FT_E_INPUT);
	else if (fd < 0 || got < 0)
		check_unreadable(h, path, why_not(errno), FT_E_INPUT);
	else
		check_bytes(h, path, ft_buf_text(&h->bytes));
	if (fd >= 0)
		close(fd);
}
