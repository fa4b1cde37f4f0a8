/* SPDX-License-Identifier: Apache-2.0 */
/* What a list of sales must do to every counter of one machine, as a vector over slots: a slot is one
 * counter (or a sum of which only the sum can be known) with its expected and observed movement. */
#ifndef FETTLE_SRC_LEDGER_PLAN_H
#define FETTLE_SRC_LEDGER_PLAN_H

#include "room.h"

enum { CARDS_ALWAYS, CARDS_APART, CARDS_TOGETHER };
enum { SCOPE_MACHINE, SCOPE_SELECTION, SCOPE_DEVICE_LIST, SCOPE_LIST };
enum { MEASURE_ONE, MEASURE_PRICE, MEASURE_TENDERED, MEASURE_CHANGE, MEASURE_NOTHING };
enum { LAYER_BOOK = 1, LAYER_CASH = 2, LAYER_ALL = 3 }; /* what the machine writes down; what its money does */
enum { NEED_MAY, NEED_SHOULD, NEED_MUST };

struct effect {
	const char *name;
	int cards;
	int paid[FT_PAID_FREE + 1];
	int scope, measure, layer;
	const char *init, *reset;
	int need;
	enum ft_weight weight;
	const char *shows, *also, *title, *source;
};
extern const struct effect effects[];
enum {
	EFFECT_COUNT = 0
#define ROW(...) +1
#include "effects.inc"
#undef ROW
};

enum { PLAN_SELECTIONS_MAX = 2000, PLAN_LISTS_MAX = 32, DEVICES = 4 }; /* ours: the tables stay below some MB */
enum { DEVICE_CA, DEVICE_DA, DEVICE_DB, DEVICE_TA };

/* Equal sales are one class. */
struct plan_sale {
	int selection; /* index; -1: the machine does not know it */
	int list;      /* index; -1: not known, then only the sum over lists is */
	enum ft_paid paid;
	int64_t price, tendered;
	int times;
};

struct slot {
	int effect, selection, device, list;
	bool reset;
	bool exact; /* a difference is a fault: stories must explain it */
	int64_t before, after, observed, expected;
	uint64_t key; /* weight in the linear hash of the story search */
};

struct plan {
	const struct pair *pair;
	struct ft_arena *arena;
	struct sum sums[EFFECT_COUNT][2];
	int *index[EFFECT_COUNT][2]; /* slot + 1 by place; 0: no such counter */
	struct ft_slice *selections;
	int64_t *prices; /* PA102 by selection, FT_ABSENT */
	int selection_count;
	struct ft_slice lists[PLAN_LISTS_MAX];
	int list_count;
	int64_t *list_prices; /* by selection, device and list; FT_ABSENT */
	bool *list_rows;      /* the machine sends that row */
	bool *merged;         /* by selection and device: only the sum over lists can be known */
	bool *merged_lists;   /* by selection, for LA1 */
	bool together;        /* both cashless devices, sales do not say which */
	bool card_2_only;
	bool tendered_known, split_known;
	unsigned unseen;     /* 1 << enum ft_paid: what the account of the sales cannot see */
	bool prices_unknown; /* only numbers of sales can be told, no money */
	bool places_unknown; /* the account does not name the machine's selections */
	int64_t top_ups;     /* cash put onto cards between the reads (DA4, DB4) */
	struct slot *slots;
	size_t slot_count, slot_room;
	struct plan_sale *sales;
	int sale_count;
};

/* Sparse change of the expected movements; room for every slot of the plan. */
struct delta {
	int *slots;
	int64_t *amounts;
	int *place; /* by slot: where it stands in the two above, + 1; 0: nowhere */
	int count;
	bool full; /* an amount did not fit: no use for a story */
};

bool delta_init(const struct plan *p, struct delta *d); /* false without memory */
void delta_clear(struct delta *d);
static inline int64_t delta_at(const struct delta *d, size_t slot)
{
	return d->place[slot] ? d->amounts[d->place[slot] - 1] : 0;
}

/* `account`: whose sales in->sales are; NULL: a list that names everything that was sold. */
enum ft_status plan_init(struct plan *p, const struct pair *pair, const struct ft_prove_input *in,
                         const struct ft_account *account, struct ft_arena *a, struct ft_error *e);
/* Can the account tell what the effect's counter must do? `device`: -1 where the counter belongs to none. */
bool plan_sees(const struct plan *p, const struct effect *x, int device);
/* Adds what `times` sales like `s` do. */
void plan_emit(const struct plan *p, const struct plan_sale *s, int64_t times, int layers, struct delta *d);
/* What a sale does to the cash in only, where it is counted at all. */
void plan_emit_cash_in(const struct plan *p, const struct plan_sale *s, int64_t times, bool change_too,
                       struct delta *d);
/* The cash of top-ups is not counted in either. */
void plan_emit_top_ups_lost(const struct plan *p, struct delta *d);
int device_of(const struct plan *p, enum ft_paid paid); /* -1: none */
int place_count(const struct plan *p, int scope);
int place_of(const struct plan *p, int scope, int selection, int device, int list);
static inline size_t list_at(const struct plan *p, int selection, int device, int list)
{
	return ((size_t)selection * DEVICES + (size_t)device) * (size_t)(p->list_count + 1) + (size_t)list;
}
int plan_list_for(const struct plan *p, int selection, int device, int64_t price, int wanted);

struct ft_proof;
enum ft_status stories_search(const struct plan *p, struct ft_proof *ret, struct ft_error *e);

#endif
