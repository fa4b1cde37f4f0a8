/* SPDX-License-Identifier: Apache-2.0 */
/* Finds out what a capture is and feeds its reader. */
#include <stdio.h>

#include "capture.h"

enum { FORMATS = 3 };

static const struct bus_format *const formats[FORMATS] = { &bus_format_vcd, &bus_format_words, &bus_format_table };

static enum ft_status begin(struct bus_capture *c, const struct bus_format *f, struct ft_error *e)
{
	c->format = f;
	c->info.format = f->format;
	c->reader = ft_arena_alloc(c->arena, f->reader_size);
	if (!c->reader)
		return ft_fail_memory(e, "reading the capture");
	return f->begin ? f->begin(c, e) : FT_OK;
}

enum ft_status bus_capture_new(const struct ft_bus_options *o, struct bus_sink sink, struct ft_arena *a,
                               struct bus_capture **ret, struct ft_error *e)
{
	struct bus_capture *c = FT_NEW(a, struct bus_capture);
	enum ft_status s = FT_OK;

	if (!c)
		return ft_fail_memory(e, "reading the capture");
	c->o = *o;
	c->sink = sink;
	c->arena = a;
	c->info.line = 1;
	c->info.timing_unknown = o->timing_unknown;
	if (o->format == FT_BUS_RAW)
		s = begin(c, &bus_format_raw, e);
	for (size_t i = 0; i < FORMATS; i++)
		if (formats[i]->format == o->format)
			s = begin(c, formats[i], e);
	*ret = c;
	return s;
}

enum ft_status bus_capture_begin_raw(struct bus_capture *c, char names[][64], struct ft_error *e)
{
	enum ft_status s;

	if (c->format)
		return ft_fail(e, FT_E_USAGE, "%s is a session file and says itself what its samples are.", c->o.name);
	s = begin(c, &bus_format_raw, e);
	for (size_t i = 0; s == FT_OK && i < c->info.channel_count; i++)
		if (names[i][0])
			snprintf(c->info.channels[i].name, sizeof c->info.channels[i].name, "%s", names[i]);
	return s;
}

const struct bus_capture_info *bus_capture_info(const struct bus_capture *c)
{
	return &c->info;
}

struct bus_channel *bus_capture_channel(struct bus_capture *c, struct ft_slice name)
{
	struct bus_channel *channel;
	size_t most = sizeof channel->name - 1;

	if (c->info.channel_count == FT_BUS_CHANNELS_MAX) {
		c->info.channels_passed_over++;
		return NULL;
	}
	channel = &c->info.channels[c->info.channel_count++];
	if (name.n)
		memcpy(channel->name, name.p, name.n < most ? name.n : most);
	return channel;
}

enum ft_status bus_capture_flush(struct bus_capture *c, struct ft_error *e)
{
	size_t n = c->batch_count;

	c->batch_count = 0;
	return n ? c->sink.edges(c->sink.to, c->batch, n, e) : FT_OK;
}

static enum ft_status whole_line(struct bus_capture *c, struct ft_slice line, struct ft_error *e)
{
	enum ft_status s;

	if (line.n && line.p[line.n - 1] == '\r')
		line.n--;
	s = c->format->line(c, line, e);
	c->info.line++;
	return s;
}

/* Cuts portions into lines; a line that a portion ends in waits for the next. */
static enum ft_status by_lines(struct bus_capture *c, const uint8_t *p, size_t n, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	while (n && s == FT_OK) {
		const uint8_t *end = memchr(p, '\n', n);
		size_t length = end ? (size_t)(end - p) : n;
		if (c->carry_count + length > sizeof c->carry)
			return ft_fail(e, FT_E_INPUT, "%s, line %u, is longer than any line of a capture.", c->o.name,
			               c->info.line);
		if (c->carry_count || !end) {
			memcpy(c->carry + c->carry_count, p, length);
			c->carry_count += length;
		}
		if (end && c->carry_count) {
			s = whole_line(c, (struct ft_slice){ (const char *)c->carry, c->carry_count }, e);
			c->carry_count = 0;
		} else if (end) {
			s = whole_line(c, (struct ft_slice){ (const char *)p, length }, e);
		}
		n -= length + (end != NULL);
		p += length + (end != NULL);
	}
	return s;
}

static enum ft_status take(struct bus_capture *c, const uint8_t *p, size_t n, struct ft_error *e)
{
	return c->format->bytes ? c->format->bytes(c, p, n, e) : by_lines(c, p, n, e);
}

static enum ft_status find_out(struct bus_capture *c, struct ft_error *e)
{
	struct ft_slice head = { (const char *)c->head, c->head_count };
	enum ft_status s;

	if (!head.n)
		return ft_fail(e, FT_E_INPUT, "%s is empty; it holds no capture.", c->o.name);
	for (size_t i = 0; i < FORMATS; i++)
		if (formats[i]->looks_like(head)) {
			s = begin(c, formats[i], e);
			return s == FT_OK ? take(c, c->head, c->head_count, e) : s;
		}
	return ft_fail(
		e, FT_E_INPUT,
		"%s is no capture that is known here: a value change dump, a table of time and levels, a session file or "
		"our own words text; raw samples need --raw RATE:CHANNELS.",
		c->o.name);
}

enum ft_status bus_capture_feed(struct bus_capture *c, const void *bytes, size_t n, struct ft_error *e)
{
	const uint8_t *p = bytes;
	enum ft_status s;

	c->info.bytes += n;
	if (!c->format) {
		size_t more = sizeof c->head - c->head_count;
		more = n < more ? n : more;
		memcpy(c->head + c->head_count, p, more);
		c->head_count += more;
		p += more;
		n -= more;
		if (c->head_count < sizeof c->head)
			return FT_OK;
		s = find_out(c, e);
		if (s != FT_OK)
			return s;
	}
	return n ? take(c, p, n, e) : FT_OK;
}

enum ft_status bus_capture_end(struct bus_capture *c, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	if (!c->format)
		s = find_out(c, e);
	if (s == FT_OK && c->format && c->format->line && c->carry_count) {
		/* a last line without its end: whole or broken off, nobody can tell; it is taken when it can be read */
		struct ft_error own = { 0 };
		s = whole_line(c, (struct ft_slice){ (const char *)c->carry, c->carry_count }, &own);
		if (s == FT_E_INPUT) {
			c->info.cut = true;
			s = FT_OK;
		} else if (s != FT_OK) {
			ft_fail(e, s, "%s", own.text);
		}
	}
	if (s == FT_OK && c->format && c->format->end)
		s = c->format->end(c, e);
	return s == FT_OK ? bus_capture_flush(c, e) : s;
}
