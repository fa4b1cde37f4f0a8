/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of this room share: two reads joined cell by cell, and sums of elements written down
 * as data ("CA305-CA403?": CA305 less CA403 where that is sent). */
#ifndef FETTLE_SRC_LEDGER_ROOM_H
#define FETTLE_SRC_LEDGER_ROOM_H

#include "fettle/ledger.h"

/* The same element of both reads; NULL on the side that does not send it. */
struct joined {
	const struct ft_cell *before, *after;
};

/* How counters since the last reset can be followed (rule B3). */
enum reset_mode {
	RESET_NONE,    /* no reset between: their movement is later less earlier */
	RESET_ONCE,    /* reset by the first read: the later value is the movement */
	RESET_UNCLEAR, /* neither: they are left out */
};

struct pair {
	const struct ft_facts *before, *after;
	struct joined *list; /* order of the later read, then what only the earlier one has */
	size_t count;
	struct joined **slots; /* open hash over list */
	size_t slot_mask;
	enum reset_mode mode;
	bool mode_against_count; /* the counters were reset although the machine counts none, or the reverse */
	int64_t resets, reads;   /* counted between; FT_ABSENT */
	bool fill_apart;         /* hand-filled coins are not inside CA3 on this machine (identity A3) */
	bool manual_apart;       /* hand payouts are not inside CA4 */
};

enum ft_status pair_init(struct pair *p, const struct ft_facts *before, const struct ft_facts *after,
                         struct ft_arena *a, struct ft_error *e);

/* The cell of an element, of a selection where one is named, with the two keys of its row where it has
 * some (else NULL). NULL: in neither read. */
const struct joined *pair_find(const struct pair *p, enum ft_element_id id, struct ft_slice selection,
                               const struct ft_slice *keys);

int64_t number_of(const struct ft_cell *c); /* FT_ABSENT also for the marks of "not set" */
bool money_of(enum ft_element_id id);
int64_t movement(const struct pair *p, const struct joined *j, bool since_reset, int64_t factor); /* FT_ABSENT */
bool counts_from_init(const struct ft_cell *c);
/* The width of a counter that fell by nearly all of it, else 0. */
int64_t wrap_of(int64_t before, int64_t after);
int64_t money_factor(const struct ft_facts *f, enum ft_element_id id); /* CA304, CA308 in whole units */

bool add_checked(int64_t a, int64_t b, int64_t *ret); /* false: does not fit */
struct ft_slice cell_text(const struct ft_cell *c);   /* p == NULL: not there */
bool selection_same(struct ft_slice a, struct ft_slice b);

/* ---- sums as data ---- */

enum { TERMS_MAX = 10 };
struct term {
	int sign;
	enum ft_element_id id, times; /* times: another element of the same row, FT_EL_NONE: none */
	bool maybe;                   /* counts nothing where it is not sent */
	bool all;                     /* over all rows ("#PA201", "CA1101*CA1105", "PA706@CA") */
	bool bills;                   /* "BILLS": CA310 or CA308, as the facts settled it */
	struct ft_slice device;       /* "PA706@CA" */
};
struct sum {
	struct term terms[TERMS_MAX];
	int count;
};

bool sum_parse(const char *text, struct sum *ret);

/* Movement of a sum of the whole machine. False when a term that must be there is not, or when none is. */
bool sum_movement(const struct pair *p, const struct sum *s, bool since_reset, int64_t *ret);
/* Its name with only the terms that are there, in the arena. */
const char *sum_label(const struct pair *p, const struct sum *s, bool since_reset, struct ft_arena *a);

/* ---- findings about the pair that both compare and prove need ---- */
enum ft_pair_stands pair_judge(const struct pair *p, const struct ft_read *before, const struct ft_read *after,
                               struct ft_findings *f);
void pair_tubes(const struct pair *p, const struct ft_read *after, struct ft_findings *f); /* rule B5 */
/* Rules B9 and, where the meters were not cleared, B4. */
void pair_clock(const struct pair *p, const struct ft_read *after, bool reads_too, struct ft_findings *f);

#endif
