/* SPDX-License-Identifier: Apache-2.0 */
/* How the layers of the bus room meet. Each is a struct of its own that is fed from below and calls the
 * next one up; none looks past its neighbour.
 *
 *   capture.c session.c vcd.c raw.c         bytes -> edges
 *   table.c table_learn.c                   the same, of tables
 *   wordtext.c                              bytes -> words
 *   lines.c                                 which channel is which line, which way up
 *   uart.c                                  edges of one line -> words
 *   blocks.c                                words of both lines -> exchanges
 *   meaning.c changer.c validator.c cashless.c names.c   exchanges -> devices, events, money, sales
 *   judge*.c                                all of it -> findings
 *   bus.c                                   the whole, behind fettle/bus.h
 *   wave.c                                  the way back: words -> edges -> a capture file
 */
#ifndef FETTLE_BUS_ROOM_H
#define FETTLE_BUS_ROOM_H

#include "fettle/bus.h"

/* ---- timing (MDB/ICP sections 2 and 3; see docs/bus.md) ---- */

#define BUS_NS_PER_US     INT64_C(1000)
#define BUS_NS_PER_MS     INT64_C(1000000)
#define BUS_NS_PER_S      INT64_C(1000000000)
#define BUS_BIT_NS        INT64_C(104167) /* 9600 bit/s */
#define BUS_WORD_BITS     11              /* start, 8 data, mode, stop */
#define BUS_INTER_BYTE_NS (1 * BUS_NS_PER_MS)
#define BUS_RESPONSE_NS   (5 * BUS_NS_PER_MS)
#define BUS_BREAK_NS      (100 * BUS_NS_PER_MS) /* shortest break that resets the bus */
#define BUS_SETUP_NS      (200 * BUS_NS_PER_MS) /* from the break to the first block */

/* ---- capture: bytes to edges or words ---- */

/* Where a capture's content goes. `edges` are in order of time; the first one tells the levels at the
 * beginning. */
struct bus_sink {
	void *to;
	enum ft_status (*edges)(void *to, const struct ft_bus_edge *edges, size_t n, struct ft_error *e);
	enum ft_status (*words)(void *to, const struct ft_bus_word *words, size_t n, struct ft_error *e);
};

struct bus_channel {
	char name[64]; /* with its scope, cut off where longer */
	uint64_t changes;
};

struct bus_capture_info {
	enum ft_bus_format format;
	struct bus_channel channels[FT_BUS_CHANNELS_MAX];
	size_t channel_count;
	size_t channels_passed_over;
	int64_t resolution_ns; /* 0 not known */
	int64_t end_ns;        /* last time stamp or sample, also without a change */
	uint64_t bytes, unknown_levels;
	unsigned line; /* of text formats, for messages */
	bool cut;
	bool timing_unknown;
};

struct bus_capture; /* opaque, in an arena */

enum ft_status bus_capture_new(const struct ft_bus_options *o, struct bus_sink sink, struct ft_arena *a,
                               struct bus_capture **ret, struct ft_error *e);
enum ft_status bus_capture_feed(struct bus_capture *c, const void *bytes, size_t n, struct ft_error *e);
enum ft_status bus_capture_end(struct bus_capture *c, struct ft_error *e);
const struct bus_capture_info *bus_capture_info(const struct bus_capture *c);

/* ---- lines: which channel is which ---- */

struct bus_choice {
	int channel;   /* -1: there is none */
	bool inverted; /* idle is low */
};

struct bus_lines; /* opaque, in an arena: holds a bounded number of edges until it is sure, then hands them on */

/* What comes out of it: edges of one line, `active` true where the line is driven (space). */
struct bus_line_sink {
	void *to;
	void (*edge)(void *to, enum ft_bus_line line, int64_t at_ns, bool active);
};

enum ft_status bus_lines_new(const struct ft_bus_options *o, struct bus_line_sink sink, struct ft_arena *a,
                             struct bus_lines **ret, struct ft_error *e);
/* `info` is asked for names and counts when the choice is made. */
enum ft_status bus_lines_feed(struct bus_lines *l, const struct bus_capture_info *info, const struct ft_bus_edge *edges,
                              size_t n, struct ft_error *e);
enum ft_status bus_lines_end(struct bus_lines *l, const struct bus_capture_info *info, struct ft_error *e);
/* After the end: the lines that were given make more sense the other way round. */
bool bus_lines_swapped(const struct bus_lines *l);
struct bus_choice bus_lines_choice(const struct bus_lines *l, enum ft_bus_line line);

/* ---- uart: edges of one line to words ---- */

enum { BUS_UART_EDGES = 48 }; /* a word has at most 11; more is noise */

struct bus_uart {
	enum ft_bus_line line;
	void *to;
	void (*word)(void *to, const struct ft_bus_word *w);
	uint64_t glitches; /* false starts: active for less than half a bit */
	/* the rest is the engine's own */
	enum { BUS_UART_BLIND, BUS_UART_IDLE, BUS_UART_DOUBT, BUS_UART_WORD, BUS_UART_HELD } state;
	bool active;         /* level now */
	bool heard;          /* the level is known */
	bool bare;           /* held: nothing but active since start_ns */
	int64_t start_ns;    /* of the word going on */
	int64_t changed_ns;  /* last edge */
	int64_t deadline_ns; /* the word going on is over by then */
	int64_t edges[BUS_UART_EDGES];
	unsigned edge_count;
};

void bus_uart_init(struct bus_uart *u, enum ft_bus_line line, void *to,
                   void (*word)(void *to, const struct ft_bus_word *w));
void bus_uart_edge(struct bus_uart *u, int64_t at_ns, bool active);
/* Nothing changed up to `now_ns`: a word that is over by then comes out. */
static inline void bus_uart_idle(struct bus_uart *u, int64_t now_ns);
/* Words that come out later begin at this time or after it. */
int64_t bus_uart_horizon(const struct bus_uart *u, int64_t now_ns);
/* The capture is over: a break still going on comes out with the length it had. */
void bus_uart_end(struct bus_uart *u, int64_t now_ns);
void bus_uart_finish(struct bus_uart *u); /* for bus_uart_idle */

static inline void bus_uart_idle(struct bus_uart *u, int64_t now_ns)
{
	if (u->state == BUS_UART_WORD && now_ns >= u->deadline_ns)
		bus_uart_finish(u);
}

/* ---- blocks: words to exchanges ---- */

struct bus_blocks {
	void *to;
	void (*item)(void *to, const struct ft_bus_item *i);
	bool timing_known;
	/* the rest is the engine's own */
	enum {
		BUS_BLOCKS_NONE,
		BUS_BLOCKS_COMMAND, /* a command, so far without an answer */
		BUS_BLOCKS_ANSWER,  /* an answer without its last byte */
		BUS_BLOCKS_CLOSING, /* an answer that the controller must close */
		BUS_BLOCKS_DONE,    /* nothing more may come */
	} state;
	bool two_senders; /* bytes followed an answer that was whole */
	bool unsure;      /* the command's first byte had no mode bit: it is one only if its checksum closes */
	struct ft_bus_item now;
	struct ft_bus_item stray; /* block.count 0: there is none */
	uint64_t number;
};

void bus_blocks_init(struct bus_blocks *b, bool timing_known, void *to,
                     void (*item)(void *to, const struct ft_bus_item *i));
/* Words of both lines in the order of their start. */
void bus_blocks_word(struct bus_blocks *b, const struct ft_bus_word *w);
void bus_blocks_end(struct bus_blocks *b, int64_t now_ns);

/* ---- meaning ---- */

struct bus_meaning {
	struct ft_arena *arena;
	void *to;
	void (*event)(void *to, const struct ft_bus_event *e);
	struct ft_bus_report *report; /* devices, sales, money, decimals are written here */
	bool failed;                  /* without memory: sales or money are missing */
	/* the rest is the engine's own: last unacknowledged answers, sessions going on */
	struct bus_meaning_inside *in;
};

enum ft_status bus_meaning_init(struct bus_meaning *m, struct ft_bus_report *report, struct ft_arena *a, void *to,
                                void (*event)(void *to, const struct ft_bus_event *e), struct ft_error *e);
void bus_meaning_item(struct bus_meaning *m, const struct ft_bus_item *i);
void bus_meaning_end(struct bus_meaning *m, int64_t now_ns);
/* For ft_bus_tell. */
void bus_meaning_tell(const struct bus_meaning *m, const struct ft_bus_exchange *x, struct ft_buf *out);

/* ---- judge: everything to findings ---- */

struct bus_judge; /* opaque, in an arena; memory does not grow with the capture */

enum ft_status bus_judge_new(const struct ft_bus_options *o, struct ft_arena *a, struct bus_judge **ret,
                             struct ft_error *e);
void bus_judge_word(struct bus_judge *j, const struct ft_bus_word *w);
/* Before the meaning of the item is taken in, so `r` holds the devices as they were; events follow. */
void bus_judge_item(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_item *i);
void bus_judge_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e);
void bus_judge_end(struct bus_judge *j, const struct ft_bus_report *r, const char *name, struct ft_findings *f);

#endif
