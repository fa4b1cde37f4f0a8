/* SPDX-License-Identifier: Apache-2.0 */
/* What the readers of the single capture formats share. */
#ifndef FETTLE_BUS_CAPTURE_H
#define FETTLE_BUS_CAPTURE_H

#include "room.h"

enum {
	BUS_BATCH = 4096,       /* edges handed on at once */
	BUS_LINE_MAX = 4096,    /* ours: a line of a text format, or a token of a VCD */
	BUS_SNIFF_BYTES = 4096, /* the format is found out from so much */
};

struct bus_capture {
	struct ft_bus_options o;
	struct bus_sink sink;
	struct bus_capture_info info;
	struct ft_arena *arena;
	const struct bus_format *format; /* NULL: not found out yet */
	void *reader;                    /* of the format */
	uint8_t head[BUS_SNIFF_BYTES];
	size_t head_count;
	uint8_t carry[BUS_LINE_MAX]; /* the line or token that the last portion broke off in */
	size_t carry_count;
	struct ft_bus_edge batch[BUS_BATCH];
	size_t batch_count;
	bool begun; /* the first edge was handed on */
};

/* One reader. `lines` takes whole lines (without their end) and `bytes` takes portions; one of them is NULL. */
struct bus_format {
	enum ft_bus_format format;
	size_t reader_size;
	bool (*looks_like)(struct ft_slice head);
	enum ft_status (*begin)(struct bus_capture *c, struct ft_error *e);
	enum ft_status (*line)(struct bus_capture *c, struct ft_slice line, struct ft_error *e);
	enum ft_status (*bytes)(struct bus_capture *c, const uint8_t *p, size_t n, struct ft_error *e);
	enum ft_status (*end)(struct bus_capture *c, struct ft_error *e);
};

extern const struct bus_format bus_format_vcd, bus_format_raw, bus_format_table, bus_format_words;

enum ft_status bus_capture_flush(struct bus_capture *c, struct ft_error *e);

/* One more edge; the batch goes on when it is full. */
static inline enum ft_status bus_capture_edge(struct bus_capture *c, int64_t at_ns, uint32_t levels, struct ft_error *e)
{
	c->batch[c->batch_count++] = (struct ft_bus_edge){ at_ns, levels };
	return c->batch_count == BUS_BATCH ? bus_capture_flush(c, e) : FT_OK;
}

/* A tick of more than a quarter of a bit draws no word; unsaid, a whole capture would pass for a dead bus. */
static inline bool bus_capture_too_coarse(int64_t tick_ns)
{
	return tick_ns > BUS_BIT_NS / 4;
}

/* Raw samples with the options' rate, unit and channels, once these are known; names of no length become numbers. */
enum ft_status bus_capture_begin_raw(struct bus_capture *c, char names[][64], struct ft_error *e);

/* Reads a session file into it. */
enum ft_status bus_session(struct bus_capture *c, const char *name, const struct ft_bus_source *from,
                           struct ft_error *e);

/* A new channel; NULL (and counted) when there are too many. `name` is cut off where longer than its room. */
struct bus_channel *bus_capture_channel(struct bus_capture *c, struct ft_slice name);

#endif
