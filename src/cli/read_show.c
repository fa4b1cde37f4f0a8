/* SPDX-License-Identifier: Apache-2.0 */
/* What a person sees of a reading: progress while it goes on, the account at its end. */
#include <math.h>

#include "read.h"

#define BAR_CELLS    24
#define BAR_BEAT_US  INT64_C(100000)  /* a bar that moves ten times a second */
#define LINE_BEAT_US INT64_C(5000000) /* a log that gets a line every five */
#define DOC_BEAT_US  INT64_C(200000)  /* a page that follows it */
#define SHARE_GOOD   0.97             /* above this, waiting is not worth a word */

/* Bytes on the line of one block and its acknowledgement were counted by the engine; ten bits each. The
 * first byte is stamped when it has arrived, so its own time on the line is added. */
double read_line_share(const struct reading *r)
{
	int64_t took;

	if (r->stats.first_block_us == FT_NEVER || r->stats.last_ack_us <= r->stats.first_block_us || r->stats.baud <= 0)
		return NAN;
	took = r->stats.last_ack_us - r->stats.first_block_us + FT_WIRE_BITS * FT_SECOND / r->stats.baud;
	return (double)r->stats.counted_bytes * FT_WIRE_BITS * 1e6 / r->stats.baud / (double)took;
}

int64_t read_show_beat_us(const struct reading *r)
{
	return r->documents ? DOC_BEAT_US : r->terminal ? BAR_BEAT_US : LINE_BEAT_US;
}

void read_show_clear(struct reading *r)
{
	if (r->drawn)
		fputs("\r\033[K", stderr);
	r->drawn = false;
}

static void say(struct reading *r, const char *text)
{
	read_show_clear(r);
	fprintf(stderr, "%s\n", text);
}

static const char *link_name(enum ft_link_kind kind)
{
	return kind == FT_LINK_DEX ? "DEX/UCS" : kind == FT_LINK_DDCMP ? "DDCMP" : "the link";
}

static void document(const struct reading *r, const struct ft_link_stats *st, int64_t now_us)
{
	enum ft_link_kind spoke = ft_link_kind_of(r->link);
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	ft_json_object(&j, "progress");
	ft_json_text(&j, "phase", st->blocks ? "reading" : "waiting");
	ft_json_text(&j, "link", spoke == FT_LINK_AUTO ? NULL : ft_link_kind_word(spoke));
	ft_json_i64(&j, "baud", st->baud);
	ft_json_i64(&j, "bytes", (int64_t)st->text_bytes);
	ft_json_i64(&j, "blocks", st->blocks);
	ft_json_i64(&j, "retries", st->retries);
	ft_json_real(&j, "seconds", (double)(now_us - r->started_us) / 1e6, 1);
	ft_json_object_end(&j);
	ft_json_object_end(&j);
	ft_buf_byte(&out, '\n');
	if (out.status == FT_OK)
		fwrite(out.p, 1, out.n, stderr);
	ft_buf_done(&out);
}

void read_show_event(struct reading *r, const struct ft_link_event *ev)
{
	if (r->documents)
		return;
	if (ev->kind == FT_LINK_EV_SPEAKS)
		say(r, ev->number == FT_LINK_DEX ? "The machine speaks DEX/UCS." : "The machine speaks DDCMP.");
	else if (ev->kind == FT_LINK_EV_PEER && !r->peer_known)
		say(r, "The machine has answered and makes up its audit.");
	if (ev->kind == FT_LINK_EV_PEER)
		r->peer_known = true;
}

/* The length of an audit is not known before its end, so the bar does not pretend to: it fills by one
 * cell a block and begins again. */
static void draw(struct reading *r, const struct ft_link_stats *st, int64_t now_us)
{
	unsigned full = st->blocks % (BAR_CELLS + 1);

	fputs("\r\033[K[", stderr);
	for (unsigned i = 0; i < BAR_CELLS; i++)
		fputc(i < full ? '=' : ' ', stderr);
	fprintf(stderr, "] %.1f kB, %u %s, %u again, %lld s", (double)st->text_bytes / 1000, st->blocks,
	        st->blocks == 1 ? "block" : "blocks", st->retries, (long long)((now_us - r->started_us) / FT_SECOND));
	fflush(stderr);
	r->drawn = true;
}

void read_show_beat(struct reading *r, const struct ft_link_stats *st, int64_t now_us)
{
	long long seconds = (now_us - r->started_us) / FT_SECOND;

	if (r->documents)
		document(r, st, now_us);
	else if (r->terminal)
		draw(r, st, now_us);
	else if (st->blocks && now_us > r->started_us + LINE_BEAT_US / 2)
		fprintf(stderr, "%.1f kB in %u blocks, %u sent again, %lld s\n", (double)st->text_bytes / 1000, st->blocks,
		        st->retries, seconds);
	else if (now_us > r->started_us + LINE_BEAT_US / 2)
		fprintf(stderr, "waiting for the machine, %lld s\n", seconds);
}

/* "1", "12", "1 234 567" */
static void number(struct ft_buf *b, uint64_t v)
{
	if (v >= 1000) {
		number(b, v / 1000);
		ft_buf_printf(b, " %03u", (unsigned)(v % 1000));
	} else {
		ft_buf_printf(b, "%u", (unsigned)v);
	}
}

static void paragraph(const struct reading *r, struct ft_buf *out, struct ft_buf *text)
{
	ft_buf_byte(text, 0);
	if (text->status == FT_OK)
		ft_wrap(out, text->p, r->c->columns, 0);
	ft_buf_byte(out, '\n');
	ft_buf_clear(text);
}

/* What waiting costs: our own turn-round is known, the rest is the machine's and the adapter's. */
static void say_cost(const struct reading *r, struct ft_buf *t)
{
	double share = read_line_share(r);
	double took = (double)(r->stats.last_ack_us - r->stats.first_block_us) / 1e6;
	double ours = (double)r->settings.turn_round_us / 1e6 * r->stats.blocks;
	double waited = took * (1 - share);

	ft_buf_printf(
		t, "The line was in use %.1f %% of the %.1f s from the first block to the last; %.1f s went into waiting.",
		share * 100, took, waited);
	if (ours > waited)
		ours = waited;
	if (ours >= 0.1)
		ft_buf_printf(
			t,
			" The %.3g ms that we keep before each answer cost %.1f s of it: machines that do not need them are "
			"read faster with --turn-round 1.",
			(double)r->settings.turn_round_us / 1e3, ours);
	if (waited - ours >= 0.1)
		ft_buf_printf(t, " The machine and what was sent again took %.1f s.", waited - ours);
}

static void say_check(const struct reading *r, struct ft_buf *t)
{
	if (!r->check.crc_stated)
		ft_buf_puts(t, "It carries no check value of its own (G85); every block was checked on the line.");
	else if (r->check.crc_sound && r->check.stated == r->check.computed)
		ft_buf_printf(t, "Its check value G85 fits%s.", r->check.swapped ? ", written low byte first" : "");
	else
		ft_buf_puts(t, "Its check value G85 is a mere placeholder; every block was checked on the line.");
}

void read_show_account(const struct reading *r, struct ft_buf *out)
{
	struct ft_buf t = { 0 };
	double share = read_line_share(r);

	ft_buf_puts(&t, "Read whole: ");
	number(&t, r->text.n);
	ft_buf_printf(&t, " bytes in %u %s over %s at ", r->stats.blocks, r->stats.blocks == 1 ? "block" : "blocks",
	              link_name(r->spoke));
	number(&t, r->stats.baud > 0 ? (uint64_t)r->stats.baud : 0);
	ft_buf_printf(&t, " bit/s, %.1f s. ", (double)(r->ended_us - r->started_us) / 1e6);
	if (r->stats.retries)
		ft_buf_printf(&t, "%u %s to be sent again; what is kept was checked. ", r->stats.retries,
		              r->stats.retries == 1 ? "message had" : "messages had");
	say_check(r, &t);
	paragraph(r, out, &t);
	if (!isnan(share) && share < SHARE_GOOD) {
		say_cost(r, &t);
		paragraph(r, out, &t);
	}
	ft_buf_done(&t);
}

int read_show_document(struct reading *r, const char *hash, int code)
{
	enum ft_verdict v =
		code == FT_OK || code == cli_exit(FT_CONTRADICTED) ? ft_verdict_of(&r->findings, true) : FT_OPEN;
	struct ft_buf out = { 0 };
	struct ft_json j;
	int ended;

	cli_document(r->c, &j, &out, v, &r->findings);
	ft_json_text(&j, "link", r->spoke == FT_LINK_AUTO ? NULL : ft_link_kind_word(r->spoke));
	ft_json_i64(&j, "bytes", (int64_t)r->text.n);
	ft_json_i64(&j, "blocks", r->stats.blocks);
	ft_json_i64(&j, "retries", r->stats.retries);
	ft_json_i64(&j, "baud", r->stats.baud);
	ft_json_real(&j, "seconds", (double)(r->ended_us - r->started_us) / 1e6, 3);
	ft_json_real(&j, "line_share", read_line_share(r), 4);
	ft_json_text(&j, "file", hash ? r->out : NULL);
	ft_json_text(&j, "hash", hash);
	ft_json_text(&j, "part", r->part_written);
	if (r->c->error.status != FT_OK) {
		ft_json_text(&j, "error", r->c->error.text);
		ft_json_i64(&j, "exit", code);
	}
	ended = cli_document_end(r->c, &j);
	return ended == FT_OK ? code : ended;
}
