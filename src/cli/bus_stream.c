/* SPDX-License-Identifier: Apache-2.0 */
/* The decoded traffic as it passes: --words and --blocks. */
#include "bus.h"

static const char *line_word(enum ft_bus_line l)
{
	return l == FT_BUS_CONTROLLER ? "controller" : "peripheral";
}

static void put_time(struct ft_buf *out, int64_t ns)
{
	ft_buf_printf(out, "%7lld.%06lld", (long long)(ns / 1000000000), (long long)(ns / 1000 % 1000000));
}

static void flush(struct bus_stream *s, size_t least)
{
	if (s->out.n >= least && !s->failed && !cli_flush(s->c, &s->out))
		s->failed = true;
	if (s->failed)
		ft_buf_clear(&s->out);
}

static void begin(struct bus_stream *s, struct ft_json *j)
{
	*j = (struct ft_json){ .out = &s->out };
	ft_json_object(j, NULL);
	ft_json_text(j, "command", s->c->verb->name);
	ft_json_text(j, "verdict", ft_verdict_word(FT_OPEN));
	ft_json_array(j, "findings");
	ft_json_array_end(j);
}

static void end(struct bus_stream *s, struct ft_json *j)
{
	ft_json_object_end(j);
	ft_buf_byte(&s->out, '\n');
}

void bus_stream_word(struct bus_stream *s, const struct ft_bus_word *w)
{
	static const char *const kinds[] = { "word", "framing-error", "break" };
	struct ft_json j;

	if (s->c->json) {
		begin(s, &j);
		ft_json_object(&j, "word");
		ft_json_i64(&j, "at_us", w->start_ns / 1000);
		ft_json_i64(&j, "until_us", w->end_ns / 1000);
		ft_json_text(&j, "line", line_word(w->line));
		ft_json_text(&j, "kind", kinds[w->kind]);
		if (w->kind == FT_BUS_BREAK) {
			ft_json_null(&j, "byte");
			ft_json_null(&j, "mode");
		} else {
			ft_json_i64(&j, "byte", w->byte);
			ft_json_bool(&j, "mode", w->mode);
		}
		ft_json_i64(&j, "glitches", w->glitches);
		ft_json_object_end(&j);
		end(s, &j);
	} else {
		put_time(&s->out, w->start_ns);
		ft_buf_printf(&s->out, "  %-10s  ", line_word(w->line));
		if (w->kind == FT_BUS_BREAK)
			ft_buf_printf(&s->out, "break of %lld us", (long long)((w->end_ns - w->start_ns) / 1000));
		else
			ft_buf_printf(&s->out, "%02X%s%s", w->byte, w->mode ? "*" : "",
			              w->kind == FT_BUS_FRAMING ? "  framing error" : "");
		ft_buf_puts(&s->out, w->glitches ? "  glitch\n" : "\n");
	}
	flush(s, 1 << 16);
}

static void put_hex(struct ft_buf *out, const struct ft_bus_block *b, bool command)
{
	for (int i = 0; i < b->count; i++)
		ft_buf_printf(out, "%s%02X%s", i ? " " : "", b->bytes[i], i == (command ? 0 : b->count - 1) ? "*" : "");
}

static void json_block(struct ft_json *j, const char *key, const struct ft_bus_block *b, bool times)
{
	struct ft_buf hex = { 0 };

	if (!b->count) {
		ft_json_null(j, key);
		return;
	}
	for (int i = 0; i < b->count; i++)
		ft_buf_printf(&hex, "%s%02X", i ? " " : "", b->bytes[i]);
	ft_json_object(j, key);
	if (times) {
		ft_json_i64(j, "at_us", b->start_ns / 1000);
		ft_json_i64(j, "until_us", b->end_ns / 1000);
	}
	ft_json_slice(j, "bytes", ft_buf_text(&hex));
	ft_json_bool(j, "checksum_ok", b->checksum_ok);
	ft_json_i64(j, "framing_errors", b->framing_errors);
	ft_json_object_end(j);
	ft_buf_done(&hex);
}

static const char *const answers[] = { "silence", "ack", "nak", "data", "garbled" };
static const char *const closings[] = { NULL, "ack", "nak", "ret" };

void bus_json_item(struct ft_json *j, const char *key, const struct ft_bus_item *i, struct ft_slice told, bool times)
{
	static const char *const kinds[] = { "exchange", "bus-reset", "stray" };
	static const struct ft_bus_block none = { 0 };
	const struct ft_bus_exchange *x = &i->exchange;
	bool exchange = i->kind == FT_BUS_EXCHANGE;

	ft_json_object(j, key);
	if (times)
		ft_json_i64(j, "at_us", (exchange ? x->command.start_ns : i->block.start_ns) / 1000);
	ft_json_text(j, "kind", kinds[i->kind]);
	ft_json_text(j, "line", exchange ? NULL : line_word(i->line));
	json_block(j, "command", exchange ? &x->command : &none, times);
	json_block(j, "answer", exchange ? &x->answer : &none, times);
	ft_json_text(j, "answered", exchange ? answers[x->kind] : NULL);
	if (times)
		ft_json_count(j, "response_us", exchange && x->response_ns >= 0 ? x->response_ns / 1000 : FT_ABSENT);
	ft_json_text(j, "closed", exchange ? closings[x->closing] : NULL);
	ft_json_bool(j, "again", exchange && x->again);
	json_block(j, "stray", exchange ? &none : &i->block, times);
	ft_json_slice(j, "means", exchange ? told : (struct ft_slice){ NULL, 0 });
	ft_json_object_end(j);
}

static void json_line(struct bus_stream *s, const struct ft_bus_item *i, struct ft_slice told)
{
	struct ft_json j;

	begin(s, &j);
	bus_json_item(&j, "block", i, told, true);
	end(s, &j);
}

/* A line for the bytes of each side and one for what they mean. */
static void text_item(struct bus_stream *s, const struct ft_bus_item *i, struct ft_buf *told)
{
	const struct ft_bus_exchange *x = &i->exchange;
	struct ft_buf *out = &s->out, line = { 0 };

	put_time(out, i->kind == FT_BUS_EXCHANGE ? x->command.start_ns : i->block.start_ns);
	if (i->kind == FT_BUS_BUS_RESET) {
		ft_buf_printf(out, "  bus reset: the controller holds the line active for %lld ms\n",
		              (long long)((i->block.end_ns - i->block.start_ns) / 1000000));
		return;
	}
	if (i->kind == FT_BUS_STRAY) {
		ft_buf_printf(out, "  on the %s's line, belonging to nothing: ", line_word(i->line));
		put_hex(out, &i->block, i->line == FT_BUS_CONTROLLER);
		ft_buf_byte(out, '\n');
		return;
	}
	ft_buf_byte(told, 0);
	ft_buf_puts(out, "  ");
	if (told->status == FT_OK)
		ft_wrap(out, told->p, s->c->columns, 16);
	if (x->again)
		ft_buf_puts(&line, "again, after RET");
	else
		put_hex(&line, &x->command, true);
	ft_buf_puts(&line, x->answer.count ? " > " : x->cut_off ? " > end of the capture" : " > silence");
	put_hex(&line, &x->answer, false);
	if (x->response_ns >= 0)
		ft_buf_printf(&line, " after %lld.%02lld ms", (long long)(x->response_ns / 1000000),
		              (long long)(x->response_ns / 10000 % 100));
	if (closings[x->closing])
		ft_buf_printf(&line, " > %s",
		              x->closing == FT_BUS_CLOSED_ACK       ? "00"
		                  : x->closing == FT_BUS_CLOSED_NAK ? "FF, NAK"
		                                                    : "AA, RET");
	if (!x->command.checksum_ok)
		ft_buf_puts(&line, "; checksum of the command is wrong");
	if (x->answer.count && !x->answer.checksum_ok)
		ft_buf_puts(&line, "; checksum of the answer is wrong");
	ft_buf_byte(&line, 0);
	ft_buf_puts(out, "\n                ");
	if (line.status == FT_OK)
		ft_wrap(out, line.p, s->c->columns, 16);
	ft_buf_byte(out, '\n');
	ft_buf_done(&line);
}

void bus_stream_item(struct bus_stream *s, const struct ft_bus_item *i)
{
	struct ft_buf told = { 0 };

	if (i->kind == FT_BUS_EXCHANGE)
		ft_bus_tell(s->bus, &i->exchange, &told);
	if (s->c->json)
		json_line(s, i, ft_buf_text(&told));
	else
		text_item(s, i, &told);
	ft_buf_done(&told);
	flush(s, 1 << 16);
}

bool bus_stream_end(struct bus_stream *s)
{
	flush(s, 1);
	ft_buf_done(&s->out);
	return !s->failed;
}
