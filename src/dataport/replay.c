/* SPDX-License-Identifier: Apache-2.0 */
/* A trace played to an engine: the same bytes at the same times must bring the same answers. */
#include <stdio.h>

#include "link.h"

#define LATE_US (20 * FT_SECOND) /* ours: an engine may send later than the trace says, with other turn-rounds */

struct replay {
	struct ft_link *k;
	const struct ft_link_replay *how;
	int64_t now_us;
};

static void fetch(struct replay *r)
{
	struct ft_link_event ev;

	while (ft_link_next(r->k, &ev)) {
		if (r->how->events)
			ft_trace_event(r->how->events, &ev);
		if (ev.kind == FT_LINK_EV_BLOCK && r->how->text)
			ft_buf_slice(r->how->text, ev.text);
		if (ev.kind == FT_LINK_EV_DONE && r->how->done)
			*r->how->done = true;
		if (ev.kind == FT_LINK_EV_WANT_FILE)
			ft_link_offer(r->k, r->how->file);
	}
}

/* Lets the engine reach `until_us`, or stops before it where it has something to send. */
static bool reach(struct replay *r, int64_t until_us)
{
	size_t n;

	for (;;) {
		ft_link_tick(r->k, r->now_us);
		fetch(r);
		if (ft_link_out(r->k, &n, r->now_us))
			return true;
		int64_t due = ft_link_due(r->k);
		if (due > until_us)
			break;
		r->now_us = due > r->now_us ? due : r->now_us + 1;
	}
	if (until_us > r->now_us)
		r->now_us = until_us;
	return false;
}

static enum ft_status sent(struct replay *r, const struct ft_trace_line *line, struct ft_error *e)
{
	for (size_t i = 0; i < line->n;) {
		size_t n, m;
		const uint8_t *out;

		if (!reach(r, line->at_us > r->now_us ? line->at_us : r->now_us) && !reach(r, line->at_us + LATE_US))
			return ft_fail(e, FT_E_INPUT,
			               "Line %u of the trace: %02X was sent here, but the engine (%s) sends nothing.", line->line,
			               line->bytes[i], ft_link_state(r->k));
		out = ft_link_out(r->k, &n, r->now_us);
		m = n < line->n - i ? n : line->n - i;
		for (size_t j = 0; j < m; j++)
			if (out[j] != line->bytes[i + j])
				return ft_fail(e, FT_E_INPUT,
				               "Line %u of the trace, byte %zu: %02X was sent here, but the engine (%s) sends %02X.",
				               line->line, i + j + 1, line->bytes[i + j], ft_link_state(r->k), out[j]);
		i += m;
		ft_link_sent(r->k, m, r->now_us);
		fetch(r);
	}
	return FT_OK;
}

static enum ft_status received(struct replay *r, const struct ft_trace_line *line, struct ft_error *e)
{
	size_t n, step = r->how->step ? r->how->step : line->n;

	if (line->at_us > r->now_us && reach(r, line->at_us)) {
		const uint8_t *out = ft_link_out(r->k, &n, r->now_us);
		return ft_fail(e, FT_E_INPUT,
		               "Line %u of the trace: the engine (%s) sends %02X before it, which the trace does not.",
		               line->line, ft_link_state(r->k), out ? out[0] : 0);
	}
	for (size_t i = 0; i < line->n;) {
		n = line->n - i < step ? line->n - i : step;
		i += ft_link_feed(r->k, line->bytes + i, n, r->now_us);
		fetch(r);
	}
	return FT_OK;
}

enum ft_status ft_link_replay(struct ft_link *k, const struct ft_link_replay *how, struct ft_slice trace,
                              struct ft_error *e)
{
	struct replay r = { .k = k, .how = how };
	struct ft_trace_line line;
	unsigned number = 0;
	bool more, begun = false;
	enum ft_status status;
	size_t n;

	ft_link_init(k, how->kind, how->role, how->settings, 0);
	for (;;) {
		status = ft_trace_next(&trace, &number, &line, &more, e);
		if (status != FT_OK || !more)
			break;
		if (line.kind == FT_TRACE_HEAD || (line.kind == FT_TRACE_REMARK && begun))
			continue;
		begun = true;
		if (line.kind == FT_TRACE_SENT)
			status = sent(&r, &line, e);
		else if (line.kind == FT_TRACE_RECEIVED)
			status = received(&r, &line, e);
		if (status != FT_OK)
			return status;
	}
	if (status == FT_OK) {
		ft_link_tick(k, r.now_us);
		fetch(&r);
		if (ft_link_out(k, &n, r.now_us) && n)
			return ft_fail(e, FT_E_INPUT, "The trace ends, but the engine (%s) has more to send.", ft_link_state(k));
	}
	return status;
}
