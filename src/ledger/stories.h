/* SPDX-License-Identifier: Apache-2.0 */
/* One edit of the list of sales and the search for it; shared by the search and its words. */
#ifndef FETTLE_SRC_LEDGER_STORIES_H
#define FETTLE_SRC_LEDGER_STORIES_H

#include "plan.h"

enum { NEW_KEEP = -2, TOP_UPS_TOO = -3, ANY = -1, EDITS_MAX = 400000, FOUND_MAX = 256, CROSSINGS_MAX = 64 };
enum edit_mode { REPLACE, REMOVE, DOUBLE, ADD, CASH_LOST, CROSS };

struct edit {
	uint64_t hash;
	int64_t price;     /* of what is booked; FT_ABSENT: the sale's own */
	int64_t old_price; /* only sales at this price; FT_ABSENT: any */
	int32_t sale;      /* class it touches; ANY: all that fit */
	int32_t from, to;  /* selections; ANY, NEW_KEEP */
	int16_t list;      /* of what is booked; NEW_KEEP; TOP_UPS_TOO in CASH_LOST */
	int8_t kind, mode, layers;
	int8_t means; /* mask over enum ft_paid of the sales it touches */
	int8_t paid;  /* of what is booked; NEW_KEEP */
	uint8_t rank; /* lower first among equal costs */
};

struct search {
	const struct plan *plan;
	struct plan_sale *sales; /* the list, perhaps with selections crossed */
	int64_t *residual;       /* observed less expected, by slot */
	bool *wrong;             /* selection has a wrong counter of its own */
	bool by_selection;       /* the machine counts by selection */
	uint64_t want;
	struct edit *edits;
	size_t count, room;
	bool failed;
	struct found {
		struct edit e[2];
		int n;
		unsigned rank;
	} * found;
	size_t found_count, more;
	int rotate_a;  /* first selection of the crossing this search stands on; -1: none */
	int crossings; /* searched through so far */
	struct edit crossing;
	struct delta scratch[2];
};

enum {
	CASH_MASK = 1 << FT_PAID_COIN | 1 << FT_PAID_BILL,
	CARD_MASK = 1 << FT_PAID_CARD_1 | 1 << FT_PAID_CARD_2,
	TOKEN_MASK = 1 << FT_PAID_TOKEN,
	PAID_MASK = CASH_MASK | CARD_MASK | TOKEN_MASK,
	ALL_MASK = 127
};

static inline int mask_of(enum ft_paid p)
{
	return p == FT_PAID_CASH ? 1 << FT_PAID_COIN : 1 << p;
}

/* An edit as a sentence with the selections it is about. */
void story_tell(const struct search *q, const struct edit *e, struct ft_story_edit *ret);

#endif
