/* SPDX-License-Identifier: Apache-2.0 */
/* The trace of a line as text: written as it happens, read back by replay.c. */
#include "fettle/dataport.h"

enum { BYTES_A_LINE = 32 };

void ft_trace_head(struct ft_buf *out, const char *name, const char *origin, const char *line)
{
	ft_buf_printf(out, "# name:   %s\n# origin: %s\n# line:   %s\n", name, origin, line);
}

void ft_trace_bytes(struct ft_buf *out, int64_t at_us, bool sent, const uint8_t *p, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		if (i % BYTES_A_LINE == 0)
			ft_buf_printf(out, "%s%lld %c", i ? "\n" : "", (long long)at_us, sent ? '>' : '<');
		ft_buf_printf(out, " %02X", p[i]);
	}
	if (n)
		ft_buf_byte(out, '\n');
}

/* Text of others in one line: what is not printable becomes \xHH. */
static void put_plain(struct ft_buf *out, struct ft_slice text)
{
	for (size_t i = 0; i < text.n; i++) {
		uint8_t b = (uint8_t)text.p[i];
		if (b >= ' ' && b < 0x7F && b != '\\')
			ft_buf_byte(out, b);
		else
			ft_buf_printf(out, "\\x%02X", b);
	}
}

void ft_trace_remark(struct ft_buf *out, int64_t at_us, struct ft_slice text)
{
	ft_buf_printf(out, "%lld ! ", (long long)at_us);
	put_plain(out, text);
	ft_buf_byte(out, '\n');
}

void ft_trace_event(struct ft_buf *out, const struct ft_link_event *ev)
{
	static const char *const words[] = {
		[FT_LINK_EV_NONE] = "none",     [FT_LINK_EV_SPEAKS] = "speaks",       [FT_LINK_EV_PEER] = "peer",
		[FT_LINK_EV_BAUD] = "baud",     [FT_LINK_EV_WANT_FILE] = "want-file", [FT_LINK_EV_BLOCK] = "block",
		[FT_LINK_EV_ACKED] = "acked",   [FT_LINK_EV_RETRY] = "retry",         [FT_LINK_EV_DONE] = "done",
		[FT_LINK_EV_FAILED] = "failed",
	};

	ft_buf_printf(out, "%lld ! %s %lld", (long long)ev->at_us, words[ev->kind], (long long)ev->number);
	if (ev->kind == FT_LINK_EV_BLOCK) {
		ft_buf_printf(out, " %zu bytes", ev->text.n);
	} else if (ev->text.n) {
		ft_buf_byte(out, ' ');
		put_plain(out, ev->text);
	}
	ft_buf_byte(out, '\n');
}

static enum ft_status bytes_of(struct ft_slice text, struct ft_trace_line *ret, struct ft_error *e)
{
	struct ft_slice part;
	uint32_t value;

	ret->n = 0;
	while (ft_slice_split(&text, ' ', &part)) {
		if (!part.n)
			continue;
		if (part.n != 2 || !ft_slice_hex(part, &value))
			return ft_fail(e, FT_E_INPUT, "Line %u of the trace: \"%.*s\" is not a byte of two hexadecimal digits.",
			               ret->line, (int)(part.n < 20 ? part.n : 20), part.p);
		if (ret->n == FT_TRACE_BYTES)
			return ft_fail(e, FT_E_INPUT, "Line %u of the trace holds more than %d bytes; cut it in two.", ret->line,
			               FT_TRACE_BYTES);
		ret->bytes[ret->n++] = (uint8_t)value;
	}
	return FT_OK;
}

enum ft_status ft_trace_next(struct ft_slice *rest, unsigned *line, struct ft_trace_line *ret, bool *ret_more,
                             struct ft_error *e)
{
	struct ft_slice text, time;

	while (ft_slice_split(rest, '\n', &text)) {
		++*line;
		text = ft_slice_trim(text);
		if (text.n && text.p[text.n - 1] == '\r')
			text.n--;
		if (!text.n)
			continue;
		*ret = (struct ft_trace_line){ .line = *line };
		*ret_more = true;
		if (text.p[0] == '#') {
			ret->kind = FT_TRACE_HEAD;
			ret->text = ft_slice_trim((struct ft_slice){ text.p + 1, text.n - 1 });
			return FT_OK;
		}
		if (!ft_slice_split(&text, ' ', &time) || !ft_slice_i64(time, &ret->at_us) || ret->at_us < 0 || !text.n)
			return ft_fail(e, FT_E_INPUT,
			               "Line %u of the trace does not begin with a time in microseconds and a sign (> < or !).",
			               *line);
		text = ft_slice_trim(text);
		if (!text.n || !strchr("><!", text.p[0]))
			return ft_fail(e, FT_E_INPUT, "Line %u of the trace has none of the signs > < ! behind its time.", *line);
		ret->kind = text.p[0] == '>' ? FT_TRACE_SENT : text.p[0] == '<' ? FT_TRACE_RECEIVED : FT_TRACE_REMARK;
		text = ft_slice_trim((struct ft_slice){ text.p + 1, text.n - 1 });
		if (ret->kind != FT_TRACE_REMARK)
			return bytes_of(text, ret, e);
		ret->text = text;
		return FT_OK;
	}
	*ret_more = false;
	return FT_OK;
}
