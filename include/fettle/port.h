/* SPDX-License-Identifier: Apache-2.0 */
/* Serial lines: a real adapter or a pseudo-terminal, opened the same way; the loop that joins one
 * with an engine of dataport.h; and, for practising, a pseudo-terminal that behaves like a wire.
 *
 * Monotonic time in microseconds throughout, read here by ft_port_clock and nowhere below. */
#ifndef FETTLE_PORT_H
#define FETTLE_PORT_H

#include <poll.h>
#include <signal.h>

#include "fettle/bus.h"
#include "fettle/dataport.h"
#include "fettle/error.h"
#include "fettle/time.h"

/* ---- the wire: pure, time comes in as an argument ---- */

#define FT_WIRE_BITS          10    /* of a byte on the line: start, eight, stop (8N1) */
#define FT_WIRE_ROOM          8192U /* ours: bytes under way in one direction; seven of the longest frames */
#define FT_WIRE_RATE_PERMILLE 30    /* rates further apart than this garble: half a bit in ten, with the usual margin */

/* How a wire misbehaves. Zero-initialised means it does not. Rates are per million bytes. */
struct ft_wire_faults {
	uint64_t seed;        /* same seed, same bytes: same faults */
	unsigned damaged_ppm; /* one bit of the byte is turned over */
	unsigned lost_ppm;
	unsigned inserted_ppm; /* a byte of noise comes before this one */
	int64_t delay_us;      /* every byte arrives this much later */
	int64_t gap_us;        /* and the line rests this long after every byte: a slow sender */
	uint64_t dead_after;   /* bytes (both directions together) that pass before the wire is cut; 0: never */
	bool dead;             /* nothing passes */
	bool echo;             /* the peer gets back what it sends, as on one pair of wires */
};

struct ft_wire_lane {
	uint8_t bytes[FT_WIRE_ROOM];
	int64_t due_us[FT_WIRE_ROOM]; /* when each has arrived; rises */
	int from_baud[FT_WIRE_ROOM];  /* rate it was sent at */
	uint32_t head, count;
	int64_t free_ns; /* when the sender's last bit has left; nanoseconds: a byte is no whole number of us */
	int64_t busy_us; /* receiver at the wrong rate: takes no new byte before */
	uint64_t random; /* each lane has its own, so that faults do not hang on who spoke first */
};

/* One line between us and a peer. Large (about 210 kB): keep it on the heap. */
struct ft_wire {
	bool paced;   /* false: everything arrives at once, and rates are not compared */
	int our_baud; /* the peer's comes with each call */
	struct ft_wire_faults faults;
	struct ft_wire_lane in, out; /* seen from us */
	uint64_t passed;
	uint64_t damaged, lost, inserted; /* what was done, for tests and accounts */
};

void ft_wire_init(struct ft_wire *w, bool paced, int baud, const struct ft_wire_faults *faults);

/* How many more bytes a lane takes now. */
size_t ft_wire_room(const struct ft_wire_lane *lane);

/* The peer begins to send `n` bytes now, at its rate; those beyond the room are lost, as in a UART. */
void ft_wire_peer_sends(struct ft_wire *w, const uint8_t *p, size_t n, int peer_baud, int64_t now_us);

/* We begin to send `n` bytes now at our rate; returns when the last bit leaves. */
int64_t ft_wire_we_send(struct ft_wire *w, const uint8_t *p, size_t n, int64_t now_us);

/* Takes up to `room` bytes that have arrived by now at us (or at the peer, which listens at
 * `peer_baud`); returns how many. */
size_t ft_wire_at_us(struct ft_wire *w, uint8_t *ret, size_t room, int64_t now_us);
size_t ft_wire_at_peer(struct ft_wire *w, uint8_t *ret, size_t room, int peer_baud, int64_t now_us);

/* When the next byte arrives at either end; FT_NEVER when none is under way. */
int64_t ft_wire_due(const struct ft_wire *w);

/* ---- ports ---- */

struct ft_port;

/* Opens a serial device or pseudo-terminal for us alone: raw, 8N1, no flow control, DTR and RTS on,
 * at `baud`. Anything that lay in it is thrown away. No such port, no permission, in use, not a
 * serial port, rate not possible: one sentence, FT_E_LINE. */
enum ft_status ft_port_open(const char *path, int baud, struct ft_port **ret, struct ft_error *e);

struct ft_pty_settings {
	const char *link_name; /* a symbolic link to make beside the kernel's own name; NULL: none. Removed on close */
	bool paced;            /* bytes take their time at the line rate; false: as fast as it can */
	int baud;              /* our rate to start with; 0: 9600 */
	struct ft_wire_faults faults;
};

/* Makes a pseudo-terminal whose other end a reader opens like any port, with a wire in between. */
enum ft_status ft_port_serve(const struct ft_pty_settings *s, struct ft_port **ret, struct ft_error *e);

/* Waits for what was sent, puts the settings back as they were, gives the port free. NULL is fine. */
struct ft_port *ft_port_close(struct ft_port *p);

const char *ft_port_path(const struct ft_port *p); /* as given; of a served one: what a reader opens */
struct ft_wire *ft_port_wire(struct ft_port *p);   /* of a served port, to change its faults; else NULL */
int64_t ft_port_clock(void);

/* Changes the rate after everything sent has left (the caller waits for that: see the session). */
enum ft_status ft_port_rate(struct ft_port *p, int baud, struct ft_error *e);

/* ---- the loop ---- */

/* An engine on a port. Zero-initialise, set the first part, keep it until the engine has ended. One
 * session works alone with ft_port_run, or several in the caller's own poll with ft_port_step. */
struct ft_port_session {
	struct ft_port *port;
	struct ft_link *link;
	void *context; /* handed to both callbacks */
	/* Every byte that passed, with its time; may be NULL. */
	void (*trace)(void *context, bool sent, const uint8_t *p, size_t n, int64_t at_us);
	/* Every event of the engine; may be NULL. The machine's side calls ft_link_offer here. */
	void (*event)(void *context, const struct ft_link_event *ev);
	/* kept by the loop */
	int64_t free_us;     /* when the last bit of what was sent leaves the line */
	int rate_next;       /* to take once it has; 0: none */
	int64_t progress_us; /* last event that carried the session on */
	bool done;           /* the transfer ended whole */
};

/* Moves everything that can move at `now_us` without waiting and says when it wants to be called
 * again (also when ft_port_poll says readable). FT_E_LINE: the port failed, e.g. unplugged. The
 * engine's own end is seen by ft_link_ended. */
enum ft_status ft_port_step(struct ft_port_session *s, int64_t now_us, int64_t *ret_due_us, struct ft_error *e);

/* What to poll for. */
struct pollfd ft_port_poll(const struct ft_port *p);

/* ppoll until `due_us` or until one of `fds` wakes; exact to the timer slack of the system. Returns as
 * ppoll; -1 with EINTR when a signal that `mask` lets through came. mask may be NULL. */
int ft_port_wait(struct pollfd *fds, nfds_t n, int64_t due_us, const sigset_t *mask);

enum ft_port_end {
	FT_PORT_DONE,    /* the engine ended whole */
	FT_PORT_FAILED,  /* the engine ended otherwise */
	FT_PORT_QUIET,   /* nothing carried the session on for quiet_us */
	FT_PORT_STOPPED, /* *stop became true; the session was ended in the link's own way */
	FT_PORT_BROKEN,  /* the port failed */
};

struct ft_port_limits {
	int64_t quiet_us;                  /* 0: wait as long as the engine does */
	const volatile sig_atomic_t *stop; /* NULL: cannot be stopped */
	const sigset_t *mask;              /* signals while waiting; NULL: as they are */
	struct pollfd *also;               /* one more thing that may wake the loop; NULL: none */
	/* Called after each wake, at least every `beat_us`; may be NULL. */
	void (*beat)(void *context, const struct ft_link_stats *stats, int64_t now_us);
	int64_t beat_us; /* 0: no beat of its own */
};

/* Runs one session to its end and fills `e` with why, unless done. */
enum ft_port_end ft_port_run(struct ft_port_session *s, const struct ft_port_limits *limits, struct ft_error *e);

/* ---- engines of other kinds ---- */

/* An engine that is no link of dataport.h, as the loop sees it: a modem, or a survey through one. */
struct ft_port_engine {
	size_t (*feed)(void *engine, const uint8_t *p, size_t n, int64_t now_us); /* returns how many were taken */
	const uint8_t *(*out)(const void *engine, size_t *ret_n);                 /* what to send now, or NULL */
	void (*sent)(void *engine, size_t n, int64_t gone_us);
	int64_t (*due)(const void *engine); /* of the next tick; FT_NEVER */
	void (*tick)(void *engine, int64_t now_us);
};

/* One on a port. Zero-initialise and set the first part. */
struct ft_port_talk {
	struct ft_port *port;
	const struct ft_port_engine *kind;
	void *engine;
	void *context;
	/* Called whenever the engine may have something to tell: fetch its events; returns a rate to change to once
	 * everything sent has left, or 0. Where the port cannot run at it, it stays as it is. */
	int (*heard)(void *context);
	/* kept by the loop */
	int64_t free_us;
	int rate_next;
};

/* As ft_port_step. */
enum ft_status ft_port_talk(struct ft_port_talk *t, int64_t now_us, int64_t *ret_due_us, struct ft_error *e);

/* ---- listing ---- */

struct ft_port_info {
	const char *path;            /* "/dev/ttyUSB0" */
	const char *description;     /* for people; NULL when unknown */
	const char *kind;            /* "usb", "native" or "bluetooth" */
	const char *serial;          /* of the adapter; NULL when unknown */
	int usb_vendor, usb_product; /* -1 when none */
};

struct ft_arena;

/* Real ports of this computer, in the arena, in the order of their names. */
enum ft_status ft_port_list(struct ft_arena *a, struct ft_port_info **ret, size_t *ret_count, struct ft_error *e);

/* ---- the multi-drop bus through serial adapters ---- */

/* Takes the kernel's marks apart (PARMRK: FF 00 x is x with the wrong parity, FF FF is FF). Zero-initialise. Pure. */
struct ft_tap_marks {
	int seen; /* bytes of a mark so far */
};

/* True: *ret_byte is a word of the bus and *ret_mode its ninth bit. */
bool ft_tap_mark(struct ft_tap_marks *m, uint8_t byte, uint8_t *ret_byte, bool *ret_mode);

/* Listens on an adapter for each line (NULL: that line is not tapped) for so many seconds, or until *stop. Words come
 * in the order in which the computer had them, with its times, which say nothing of the bus: ft_bus_options must say
 * timing_unknown. FT_E_LINE where a port cannot be had or cannot check parity. */
enum ft_status ft_tap_run(const char *const paths[FT_BUS_LINES], int64_t seconds, const volatile sig_atomic_t *stop,
                          void *to,
                          enum ft_status (*words)(void *to, const struct ft_bus_word *w, size_t n, struct ft_error *e),
                          struct ft_error *e);

#endif
