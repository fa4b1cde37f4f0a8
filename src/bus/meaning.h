/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of the meaning layer share. */
#ifndef FETTLE_BUS_MEANING_H
#define FETTLE_BUS_MEANING_H

#include "room.h"

enum {
	MEANING_NONE16 = 0xFFFF,  /* unknown or undefined in two bytes */
	MEANING_TOKEN = 0xFF,     /* a coin or bill type that is a token */
	CASHLESS_LEVEL_MEDIA = 2, /* BEGIN SESSION carries the medium from this level on */
	OPTION_WIDE_MONEY = 1 << 1,
	OPTION_ALWAYS_IDLE = 1 << 5,
};

/* A sale with what it needs to be valued later, when the reader's scale is known. */
struct meaning_sale {
	struct ft_bus_sale s;
	uint32_t units, approved_units; /* UINT32_MAX: not told */
};

struct meaning_money {
	struct ft_bus_money m;
	int64_t units; /* times the device's scale is the value; negative: paid out */
	int kind;      /* 0: units are credits of `type`; 1: units are multiples of the scale */
};

struct meaning_device {
	uint8_t last[FT_BUS_BLOCK_MAX]; /* the last answer that the controller did not acknowledge */
	uint8_t last_count, last_command;
	bool accepted;     /* the command of the exchange before took place (for RET) */
	int64_t polled_ns; /* start of the last command; -1 none */
	int open_sale;     /* index; -1 none */
	bool approved;
	uint8_t columns, rows; /* of the controller's display, from 11 00 */
	bool value_polled;     /* a payout told its value by itself */
};

struct bus_meaning_inside {
	struct meaning_device devices[FT_BUS_ADDRESSES];
	struct meaning_sale *sales;
	size_t sale_count, sale_room;
	struct meaning_money *money;
	size_t money_count, money_room;
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
	bool repeated;         /* the answer was told before */
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

/* Maker, serial, model, software and options as every device lays them out; `options` false: none are sent. */
void meaning_identity(struct ft_bus_device *d, const uint8_t *p, unsigned n);

/* ---- tables (names.c) ---- */

struct bus_device_row {
	uint8_t address;
	enum ft_bus_device_kind kind;
	const char *name;
	int poll, was_reset; /* -1 not known */
};
const struct bus_device_row *bus_device_row(uint8_t address);     /* any byte of its range; NULL reserved */
const char *bus_status_word(enum ft_bus_device_kind k, int code); /* NULL unknown */
/* Does the command carry a sub-command in its second byte? */
bool bus_has_sub(enum ft_bus_device_kind k, unsigned offset);

#endif
