/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the meaning layer share. */
#ifndef FETTLE_BUS_MEANING_H
#define FETTLE_BUS_MEANING_H

#include "room.h"

enum {
	MEANING_NONE16 = 0xFFFF,   /* unknown or undefined in two bytes */
	MEANING_TOKEN = 0xFF,      /* a coin or bill type that is a token */
	CASHLESS_LEVEL_MEDIA = 2,  /* BEGIN SESSION carries the medium from this level on */
	MEANING_FILE_FIRST = 0x1B, /* answers of the file transport layer, MDB/ICP 2.6 */
	MEANING_FILE_LAST = 0x1F,
	OPTION_WIDE_MONEY = 1 << 1,
	OPTION_ALWAYS_IDLE = 1 << 5,
};

/* A sale with what it needs to be valued: at once where the reader's scale is known, else at the end. */
struct meaning_sale {
	struct ft_bus_sale s;
	uint32_t units, approved_units; /* UINT32_MAX: not told */
	unsigned scale, decimals;       /* as they stood then; scale 0: not known */
};

struct meaning_money {
	struct ft_bus_money m; /* its value in `decimals` of its own, where it was known at once */
	int64_t units;         /* times the device's scale is the value; negative: paid out */
	bool by_type;          /* units are pieces of `type`, not multiples of the scale */
	bool known;            /* the device had told its setup */
	bool replaced;         /* a payout that was asked for; the device itself told what it paid */
};

/* An answer that the controller has not acknowledged and the device therefore tells again (L6, L7). */
struct meaning_pending {
	uint8_t bytes[FT_BUS_BLOCK_MAX];
	uint8_t count; /* without check byte; 0: nothing is pending */
	int sub;
};

/* How the money of a payout became known; two ways of asking must not count it twice. */
enum meaning_paid { PAID_UNTOLD, PAID_BY_VALUE, PAID_BY_TYPE, PAID_COUNTED };

struct meaning_device {
	struct meaning_pending pending[8]; /* by command; devices whose answers carry a code of their own use the first */
	struct ft_bus_block doubtful;      /* a command whose answer was damaged: it may be sent again; count 0: none */
	struct ft_bus_block unheard;       /* a VEND REQUEST that nobody answered; count 0: none */
	int64_t polled_ns;                 /* start of the last command; -1 none */
	int open_sale;                     /* index; -1 none */
	bool approved;
	uint8_t columns, rows; /* of the controller's display, from 11 00 */
	enum meaning_paid paid;
	int payout_row;          /* row of money of the payout asked for last; -1 none */
	uint16_t paid_types[16]; /* pieces counted since then */
};

/* A cash sale is told to each reader that wants to know: one sale all the same. */
struct meaning_cash_sale {
	int64_t at_ns; /* -1: there was none */
	int64_t value; /* in units where no scale is known */
	int item;
	uint32_t readers; /* bit a slot that was told */
};

struct meaning_step;

struct bus_meaning_inside {
	struct meaning_device devices[FT_BUS_ADDRESSES];
	struct meaning_sale *sales;
	size_t sale_count, sale_room;
	struct meaning_money *money;
	size_t money_count, money_room;
	struct meaning_cash_sale cash_sale;
	int decimals; /* the most of any row */
	/* For telling: a message of an answer that is no event. NULL: nobody asks. */
	void (*unsaid)(void *to, const struct meaning_step *s, const uint8_t *z, unsigned n);
};

/* One exchange on its way through a device's own rules. */
struct meaning_step {
	struct bus_meaning *m;
	const struct ft_bus_exchange *x;
	struct ft_bus_device *d;
	struct meaning_device *own;
	unsigned offset;     /* command within the address */
	int sub;             /* sub-command, -1 none */
	const uint8_t *data; /* of the command, behind its (sub-)command */
	unsigned data_count;
	const uint8_t *answer; /* without check byte */
	unsigned answer_count; /* 0: no data */
	bool accepted;         /* the command took place */
	unsigned told_before;  /* that many bytes of the answer were told before */
	bool repeated;         /* so what is told now is no news */
};

/* The meaning of one exchange on copies of a device, without counting traffic: for telling it. `s` is left as it was
 * taken apart. */
void bus_meaning_apply(struct bus_meaning *m, const struct ft_bus_exchange *x, struct ft_bus_device *d,
                       struct meaning_device *own, struct meaning_step *s);

void meaning_changer(struct meaning_step *s);
void meaning_validator(struct meaning_step *s);
void meaning_cashless(struct meaning_step *s);
void meaning_others(struct meaning_step *s);

/* A break or reset took the cashless device out of whatever it did. */
void meaning_cashless_dropped(struct bus_meaning *m, struct ft_bus_device *d, int64_t at_ns);

/* An event of this exchange with nothing told; `at_ns` from the answer where there is one. */
struct ft_bus_event meaning_event(const struct meaning_step *s, enum ft_bus_event_kind kind);
/* Hands it on; its value is computed from `units` when the scale is known: units times scale. */
void meaning_tell_value(const struct meaning_step *s, struct ft_bus_event *e, uint32_t units);
void meaning_send(const struct meaning_step *s, const struct ft_bus_event *e);
void meaning_simple(const struct meaning_step *s, enum ft_bus_event_kind kind);

/* Value of a coin or bill type in the device's own decimals; FT_ABSENT when not known or a token. */
int64_t meaning_type_value(const struct ft_bus_device *d, int type);
int64_t meaning_scaled(const struct ft_bus_device *d, int64_t units);

/* Rows of the report; `count` times the type's value, negative when paid out. */
void meaning_money_type(const struct meaning_step *s, int type, int64_t count, enum ft_bus_route route);
void meaning_money_units(const struct meaning_step *s, int64_t units, enum ft_bus_route route);
int meaning_new_sale(const struct meaning_step *s, bool card, uint32_t units, int item);

/* A message of several in one answer: what it tells is news unless it was told before. */
void meaning_message(struct meaning_step *s, const uint8_t *z);
void meaning_unsaid(const struct meaning_step *s, const uint8_t *z, unsigned n);

/* Payouts. What was asked for counts until the device itself says what it paid: by value since it was last asked, or
 * by pieces of each type since the payout began (`bytes` a count). */
void meaning_payout_asked(struct meaning_step *s, int type, uint32_t count);
void meaning_paid_value(struct meaning_step *s, uint32_t units);
void meaning_paid_types(struct meaning_step *s, unsigned bytes);

static inline unsigned meaning_16(const uint8_t *p)
{
	return (unsigned)p[0] << 8 | p[1];
}
static inline uint32_t meaning_32(const uint8_t *p)
{
	return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

/* COIN TYPE and BILL TYPE: which types are accepted. */
void meaning_types(struct meaning_step *s);
/* A status code of a changer or validator; one of them says that it was reset. */
void meaning_status(const struct meaning_step *s, uint8_t code, uint8_t was_reset);

/* Maker, serial, model, software and, where there are `n` enough bytes, options as every device lays them out. */
void meaning_identity(struct ft_bus_device *d, const uint8_t *p, unsigned n);

/* What changer and validator have in common: the identity told, the options that the controller enables, and a byte
 * that no table knows, behind which nothing can be told apart. */
void meaning_said_identity(struct meaning_step *s);
void meaning_features(struct meaning_step *s);
void meaning_unknown(const struct meaning_step *s, uint8_t code);

/* ---- tables (names.c) ---- */

struct bus_device_row {
	uint8_t address;
	enum ft_bus_device_kind kind;
	const char *name;
	int poll, was_reset; /* -1 not known */
};
const struct bus_device_row *bus_device_row(uint8_t address);     /* any byte of its range; NULL reserved */
const char *bus_status_word(enum ft_bus_device_kind k, int code); /* NULL unknown */

struct bus_command_row {
	enum ft_bus_device_kind kind;
	int offset, sub;
	const char *name;
	unsigned least, most; /* bytes of data behind it, without the sub-command */
};
const struct bus_command_row *bus_command_row(const uint8_t *bytes, size_t n); /* NULL unknown */

/* A message of a device that opens each with a code: bytes with the code. */
struct bus_response_row {
	enum ft_bus_device_kind kind;
	int code;
	const char *name;
	unsigned least, most;
};
const struct bus_response_row *bus_response_row(enum ft_bus_device_kind k, uint8_t code); /* NULL unknown */

/* Does the command carry a sub-command in its second byte? */
bool bus_has_sub(enum ft_bus_device_kind k, unsigned offset);

#endif
