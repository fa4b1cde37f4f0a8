/* SPDX-License-Identifier: Apache-2.0 */
/* Captures of the practice machine's bus, written as it goes. */
#include "bus_tap.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <stdlib.h>

#include "fettle/bus_wave.h"

enum {
	FLUSH_AT = 64 << 10,
	SAMPLE_NS = 1000,      /* ours: 1 MHz, a hundredth of a bit */
	CHUNK = 4000000,       /* samples of one member; a logic analyser's tools read them one after the other */
	CHUNK_SLACK = 1000000, /* longer than any word or reset of the bus */
};

enum form { AS_VCD, AS_WORDS, AS_SESSION };

struct bus_tap {
	const char *path;
	enum form form;
	FILE *file;
	struct ft_buf out;
	struct ft_bus_wave *wave;
	struct archive *zip;
	uint8_t *samples; /* bit n: the level of line n, from chunk_from on */
	int64_t chunk_from;
	unsigned chunk;
	struct ft_error error;
};

static void failed(struct bus_tap *t, const char *why)
{
	ft_fail(&t->error, FT_E_STORE, "The capture %s cannot be written: %s. Look for room and permission there.", t->path,
	        why ? why : "unknown reason");
}

static void flush(struct bus_tap *t, bool all)
{
	if (!t->file || t->error.status != FT_OK || (t->out.n < FLUSH_AT && !all))
		return;
	if (t->out.status != FT_OK)
		ft_fail_memory(&t->error, "writing the capture");
	else if (t->out.n && fwrite(t->out.p, 1, t->out.n, t->file) != t->out.n)
		failed(t, strerror(errno));
	ft_buf_clear(&t->out);
}

/* ---- session files ---- */

static void member(struct bus_tap *t, const char *name, const void *bytes, size_t n)
{
	struct archive_entry *entry = archive_entry_new();
	bool good = false;

	if (entry) {
		archive_entry_set_pathname(entry, name);
		archive_entry_set_size(entry, (la_int64_t)n);
		archive_entry_set_filetype(entry, AE_IFREG);
		archive_entry_set_perm(entry, 0644);
		good = archive_write_header(t->zip, entry) == ARCHIVE_OK &&
			archive_write_data(t->zip, bytes, n) == (la_ssize_t)n && archive_write_finish_entry(t->zip) == ARCHIVE_OK;
	}
	archive_entry_free(entry);
	if (!good)
		failed(t, archive_error_string(t->zip));
}

/* The first `n` samples go out as one member, the rest moves to the front. */
static void chunk_out(struct bus_tap *t, size_t n)
{
	char name[32];

	snprintf(name, sizeof name, "logic-1-%u", ++t->chunk);
	if (t->error.status == FT_OK)
		member(t, name, t->samples, n);
	memmove(t->samples, t->samples + n, CHUNK + CHUNK_SLACK - n);
	memset(t->samples + CHUNK + CHUNK_SLACK - n, 3, n); /* both lines idle */
	t->chunk_from += (int64_t)n;
}

/* A line is active (low) from one time to another. */
static void draw(struct bus_tap *t, enum ft_bus_line line, int64_t from_ns, int64_t to_ns)
{
	int64_t from = (from_ns + SAMPLE_NS / 2) / SAMPLE_NS - t->chunk_from,
			to = (to_ns + SAMPLE_NS / 2) / SAMPLE_NS - t->chunk_from;

	for (int64_t i = from < 0 ? 0 : from; i < to && i < CHUNK + CHUNK_SLACK; i++)
		t->samples[i] &= (uint8_t) ~(1U << line);
}

static void session_word(struct bus_tap *t, const struct ft_bus_word *w)
{
	int64_t span = w->span_bits ? w->span_ns : w->end_ns - w->start_ns;
	int bits = w->span_bits ? w->span_bits : 11;
	/* start, eight data bits, mode, stop: a bit that is 0 is active */
	unsigned high = (unsigned)w->byte << 1 | (unsigned)w->mode << 9 | (w->kind == FT_BUS_FRAMING ? 0U : 1U << 10);

	while (w->start_ns / SAMPLE_NS >= t->chunk_from + CHUNK && t->error.status == FT_OK)
		chunk_out(t, CHUNK);
	if (w->kind == FT_BUS_BREAK) {
		draw(t, w->line, w->start_ns, w->end_ns);
		return;
	}
	for (int i = 0; i < 11; i++)
		if (!(high >> i & 1))
			draw(t, w->line, w->start_ns + span * i / bits, w->start_ns + span * (i + 1) / bits);
}

static void session_begin(struct bus_tap *t)
{
	static const char version[] = "2",
					  metadata[] = "[global]\n\n[device 1]\ncapturefile=logic-1\ntotal probes=2\nsamplerate=1 MHz\n"
								   "total analog=0\nprobe1=controller\nprobe2=peripheral\nunitsize=1\n";

	t->samples = malloc(CHUNK + CHUNK_SLACK); /* not the arena's: a long practice may tap many times */
	t->zip = archive_write_new();
	if (!t->samples || !t->zip) {
		ft_fail_memory(&t->error, "writing the capture");
		return;
	}
	memset(t->samples, 3, CHUNK + CHUNK_SLACK);
	if (archive_write_set_format_zip(t->zip) != ARCHIVE_OK ||
	    archive_write_open_filename(t->zip, t->path) != ARCHIVE_OK) {
		failed(t, archive_error_string(t->zip));
		return;
	}
	member(t, "version", version, sizeof version - 1);
	member(t, "metadata", metadata, sizeof metadata - 1);
}

static void session_end(struct bus_tap *t, int64_t end_ns)
{
	int64_t end = end_ns / SAMPLE_NS;

	if (!t->zip)
		return;
	while (t->error.status == FT_OK && end - t->chunk_from > CHUNK)
		chunk_out(t, CHUNK);
	if (t->error.status == FT_OK && end > t->chunk_from)
		chunk_out(t, (size_t)(end - t->chunk_from));
	if (archive_write_close(t->zip) != ARCHIVE_OK)
		failed(t, archive_error_string(t->zip));
	archive_write_free(t->zip);
	t->zip = NULL;
}

/* ---- any of them ---- */

static void take_word(void *to, const struct ft_bus_word *w)
{
	struct bus_tap *t = to;

	if (t->error.status != FT_OK)
		return;
	if (t->form == AS_VCD)
		ft_bus_wave_word(t->wave, w, &t->error);
	else if (t->form == AS_WORDS)
		ft_bus_words_line(w, &t->out);
	else
		session_word(t, w);
	flush(t, false);
}

static bool ends(const char *path, const char *with)
{
	size_t n = strlen(path), m = strlen(with);

	return n > m && strcmp(path + n - m, with) == 0;
}

enum ft_status bus_tap_open(struct cli *c, const char *path, struct bus_tap **ret)
{
	struct bus_tap *t = FT_NEW(&c->arena, struct bus_tap);
	struct ft_bus_wave_options options = { .resolution_ns = SAMPLE_NS };

	if (!t)
		return ft_fail_memory(&c->error, "writing the capture");
	t->path = path;
	t->form = ends(path, ".vcd") ? AS_VCD : ends(path, ".words") ? AS_WORDS : AS_SESSION;
	if (t->form == AS_SESSION && !ends(path, ".sr"))
		return ft_fail(&c->error, FT_E_USAGE, "A capture is written as .vcd, .words or .sr; %s ends with none of them.",
		               path);
	if (t->form == AS_SESSION) {
		session_begin(t);
	} else {
		t->file = fopen(path, "wbe");
		if (!t->file)
			failed(t, strerror(errno));
		else if (t->form == AS_WORDS)
			ft_bus_words_head(&t->out);
		else
			ft_bus_wave_begin(&options, &c->arena, &t->out, &t->wave, &t->error);
	}
	if (t->error.status != FT_OK) {
		c->error = t->error;
		bus_tap_close(t, 0, NULL);
		return c->error.status;
	}
	*ret = t;
	return FT_OK;
}

struct ft_practice_tap bus_tap_listener(struct bus_tap *t)
{
	return (struct ft_practice_tap){ t, take_word };
}

enum ft_status bus_tap_status(const struct bus_tap *t, struct ft_error *e)
{
	if (t->error.status != FT_OK && e)
		*e = t->error;
	return t->error.status;
}

enum ft_status bus_tap_close(struct bus_tap *t, int64_t end_ns, struct ft_error *e)
{
	if (!t)
		return FT_OK;
	if (t->wave && t->error.status == FT_OK)
		ft_bus_wave_end(t->wave, end_ns, &t->error);
	flush(t, true);
	if (t->file && fclose(t->file))
		failed(t, strerror(errno));
	t->file = NULL;
	session_end(t, end_ns);
	free(t->samples);
	t->samples = NULL;
	ft_buf_done(&t->out);
	return bus_tap_status(t, e);
}
