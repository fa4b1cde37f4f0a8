/* SPDX-License-Identifier: Apache-2.0 */
/* What both links share inside this room: the engine struct, sending, waiting, events, failing. */
#ifndef FETTLE_SRC_DATAPORT_LINK_H
#define FETTLE_SRC_DATAPORT_LINK_H

#include "fettle/crc.h"
#include "fettle/dataport.h"

#define LINK_EVENTS    8   /* ours: bytes are taken only while none waits, so few can pile up */
#define LINK_NOTE_MAX  120 /* ours: one remark of FT_LINK_EV_RETRY or an identity */
#define LINK_BITS      10  /* a byte on the line, 8N1 (both links, docs/dataport.md) */
#define LINK_ECHO_FIRM 16  /* ours: an echo at least this long may carry damage and still be known as one */

/* Control characters and pairs of DEX/UCS (docs/dataport.md; WACK from memory). */
enum {
	DEX_SOH = 0x01,
	DEX_STX = 0x02,
	DEX_ETX = 0x03,
	DEX_EOT = 0x04,
	DEX_ENQ = 0x05,
	DEX_DLE = 0x10,
	DEX_NAK = 0x15,
	DEX_ETB = 0x17,
	DEX_ACK0 = 0x30,
	DEX_ACK1 = 0x31,
	DEX_WACK = 0x3B,
};

/* Where the parser of DEX/UCS bytes stands. */
enum dex_rx_state { DEX_RX_HUNT, DEX_RX_DLE, DEX_RX_TEXT, DEX_RX_TEXT_DLE, DEX_RX_CRC_LOW, DEX_RX_CRC_HIGH };

enum dex_state { DEX_AWAIT, DEX_LINKED, DEX_CLOSED, DEX_HOLD, DEX_BID, DEX_SENT, DEX_LEAVE, DEX_OVER, DEX_STATES };

struct dex {
	enum dex_rx_state rx;
	enum dex_state state;
	int64_t frame_us; /* when the frame's first byte came */
	uint16_t text_n, raw_n, crc, crc_got;
	bool soh, etx, spoilt;    /* of the frame being received */
	unsigned garbage;         /* bytes in this burst that fitted nothing */
	uint8_t leg;              /* 1 first handshake, 2 second, 3 the file */
	uint8_t expect, last_ack; /* parity of the next and the last acknowledgement */
	bool ack_owed;            /* accepted while held: the acknowledgement is still to be given */
	bool have_last, last_soh, asked, peer_busy;
	bool paused; /* a repeat waits, the right answer may still come */
	uint16_t last_crc;
	unsigned same, enqs, wacks;
	uint8_t response;  /* second handshake: 0 accepted */
	bool sent_etx;     /* the frame in flight is the last of its leg */
	size_t cut;        /* text bytes in flight */
	size_t cut_before; /* and of the block before, to keep two equal blocks apart */
};

enum ddcmp_state {
	DDCMP_IDLE,
	DDCMP_START,
	DDCMP_WHO,
	DDCMP_READ,
	DDCMP_DATA,
	DDCMP_FINIS, /* carrier */
	DDCMP_LINKED,
	DDCMP_KNOWN,
	DDCMP_PREPARE,
	DDCMP_ANSWER,
	DDCMP_SEND,
	DDCMP_ALL_SENT,
	DDCMP_CLOSING, /* machine */
	DDCMP_REFUSED,
	DDCMP_OVER,
	DDCMP_STATES,
};

struct ddcmp {
	enum ddcmp_state state;
	/* the parser */
	uint8_t head[8];
	unsigned head_n;
	unsigned data_n, data_want; /* data_want counts the two check bytes; 0 while in a header */
	unsigned garbage;           /* bytes that fitted nothing since the last good message or silence */
	int64_t frame_us;
	/* numbering */
	uint8_t rx_num;                         /* last good number of the peer */
	uint8_t tx_num;                         /* last number of ours */
	bool waiting;                           /* tx_num is not acknowledged yet */
	uint8_t flags;                          /* of the message in flight */
	uint8_t message[FT_LINK_BLOCK_MAX + 2]; /* in flight, kept for repeats */
	uint16_t message_n;
	size_t cut; /* file bytes in flight */
	/* the rate */
	int start_baud, next_baud; /* next_baud: to be taken when the STACK has gone; 0 none */
	bool proven;               /* a good message came at the rate in use */
	bool fell_back, restarted;
	unsigned spoilt; /* damaged messages since the rate changed */
	/* the application */
	bool block_seen, last_was_block, accepted, all_sent;
	uint8_t block_number; /* of the last block */
	bool end_select, end_dxe, end_length;
	uint16_t length_low, length_high; /* announced length, read low byte first and high byte first; 0 unknown */
	uint16_t told_code;               /* machine: the code that was refused */
	uint8_t list;
	bool ack_kept; /* held: acknowledgement kept back */
	char tail[24]; /* last text bytes, to see the DXE segment pass */
	unsigned tail_n;
};

struct link_slot {
	enum ft_link_event_kind kind;
	int64_t at_us, number;
	uint16_t n;
	char text[LINK_NOTE_MAX];
};

struct link_echo {
	bool active; /* an echo is still to come */
	uint16_t want_n, at, held_n, held_at;
	uint8_t misses;
	bool release; /* the held bytes are no echo: they are the peer's */
	uint8_t want[FT_LINK_OUT_MAX], held[FT_LINK_OUT_MAX];
};

struct link_ops {
	const char *name; /* for sentences */
	void (*start)(struct ft_link *k, int64_t now_us);
	void (*byte)(struct ft_link *k, uint8_t b, int64_t now_us);
	bool (*in_frame)(const struct ft_link *k);          /* a frame has begun, or rubbish wants an answer */
	void (*gap)(struct ft_link *k, int64_t now_us);     /* silence of inter_byte_us inside it */
	void (*timeout)(struct ft_link *k, int64_t now_us); /* the wait is over */
	void (*sent)(struct ft_link *k, int64_t gone_us);   /* all of out has been handed to the line */
	void (*offered)(struct ft_link *k);
	void (*held)(struct ft_link *k); /* ft_link_hold changed */
	void (*abort)(struct ft_link *k, int64_t now_us);
	const char *(*state)(const struct ft_link *k);
};

extern const struct link_ops dex_ops, ddcmp_ops;

struct ft_link {
	struct ft_link_settings s;
	enum ft_link_kind kind, speaks; /* asked for; being spoken or tried */
	enum ft_link_role role;
	const struct link_ops *ops;
	struct ft_link_stats stats;
	int64_t now_us, last_rx_us, gone_us;

	uint8_t out[FT_LINK_OUT_MAX];
	size_t out_n, out_at_byte;
	int64_t out_due_us, out_latest_us; /* bytes coming in push out_due_us, never beyond out_latest_us */
	unsigned out_ack, out_block;       /* how many of its bytes are acknowledgement, block */
	int64_t wait_us;                   /* how long to wait for an answer once it has gone */

	int64_t wait_until_us;

	struct link_slot events[LINK_EVENTS];
	unsigned event_first, event_n;

	struct link_echo echo;
	struct ft_slice file;
	size_t file_at;
	bool offered, hold;

	unsigned tries; /* of the present bid, block or message */
	unsigned naks;  /* of the present block or message */
	unsigned stall; /* answers given since something new was accepted */
	bool found;     /* AUTO has found its link, or was never asked to look */
	uint8_t turn, turn_bids;

	uint8_t block[FT_LINK_BLOCK_MAX]; /* the last accepted block */
	size_t block_n;
	uint8_t rx[FT_LINK_BLOCK_MAX + 4]; /* the frame being received */

	enum ft_link_event_kind ending; /* NONE while it goes on; DONE or FAILED once decided */
	bool ended;
	char why[FT_TEXT_MAX];
	union {
		struct dex dex;
		struct ddcmp ddcmp;
	} u;
};

/* Empties out and starts a new transmission, due a turn-round from now. */
void link_begin(struct ft_link *k, int64_t now_us, int64_t wait_us);
void link_put(struct ft_link *k, const void *p, size_t n);
void link_wait(struct ft_link *k, int64_t now_us, int64_t wait_us); /* FT_NEVER: no end */
bool link_sending(const struct ft_link *k);

void link_event(struct ft_link *k, enum ft_link_event_kind kind, int64_t number, struct ft_slice text);
void link_retry(struct ft_link *k, const char *format, ...) __attribute__((format(printf, 2, 3)));
void link_baud(struct ft_link *k, int baud);

/* A block was accepted: copies it to k->block, counts it and tells. */
void link_accept(struct ft_link *k, const uint8_t *p, size_t n);

/* The next wait of an answer counts: false when patience is at its end. */
bool link_stalled(struct ft_link *k);

/* Decides the end. The event comes once everything in out has gone. `what` says what happened,
 * `todo` what to try; how far it came is put before. */
void link_fail(struct ft_link *k, const char *todo, const char *what, ...) __attribute__((format(printf, 3, 4)));
void link_done(struct ft_link *k);

/* AUTO: a bid or START stayed without answer; true when it took the next turn. */
bool link_next_turn(struct ft_link *k, int64_t now_us);
void link_found(struct ft_link *k);

/* Echo of a half-duplex adapter. */
void echo_sent(struct ft_link *k, const uint8_t *p, size_t n, bool first);
/* True when the byte was taken (echo, or held until it is clear). */
bool echo_take(struct ft_link *k, uint8_t b);
/* A byte that was held and turned out to be the peer's. */
bool echo_give(struct ft_link *k, uint8_t *ret);
void echo_release(struct ft_link *k);

static inline int64_t link_time(const struct ft_link *k, size_t bytes)
{
	return k->stats.baud > 0 ? (int64_t)bytes * LINK_BITS * FT_SECOND / k->stats.baud : 0;
}

#endif
