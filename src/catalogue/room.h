/* SPDX-License-Identifier: Apache-2.0 */
/* What the files of this room share: how a column is kept and how its cells are read. */
#ifndef CATALOGUE_ROOM_H
#define CATALOGUE_ROOM_H

#include "fettle/catalogue.h"

enum cell_kind {
	CELL_TEXT,    /* struct ft_slice */
	CELL_LIST,    /* struct ft_words */
	CELL_FIGURE,  /* double */
	CELL_LOAD,    /* double, and whether it is watts */
	CELL_WORD,    /* enum, by a list of words */
	CELL_HOUR,    /* int, minutes of the day */
	CELL_DAYS,    /* unsigned, bits */
	CELL_DATE,    /* int64_t, microseconds; read when the whole column is known */
	CELL_MONEY,   /* int64_t, two decimals */
	CELL_CHAIN,   /* the peripherals of a survey row */
	CELL_PURPOSE, /* enum ft_purpose and what stands behind its colon */
};

enum quantity { PLAIN, METRES, VOLTS, AMPERES, WATTS, BYTES, MINUTES, GRAMS, DBM, DEGREES, MEGAHERTZ, DECIBELS };

struct word {
	const char *word, *also; /* other spellings, with | between */
};

struct word_list {
	const struct word *words; /* the first is what is unknown */
	size_t count;
	const char *like; /* "yes or no", for messages */
};

struct column {
	struct ft_table_column face;
	enum cell_kind kind;
	size_t at; /* offset in the row */
	enum quantity quantity;
	double least, most;
	const struct word_list *words;
	const char *example;
};

struct table {
	const char *word;
	const struct column *columns;
	size_t count;
	size_t row_size, line_at, raw_at;
	size_t list_at, count_at; /* in struct ft_catalogue */
};

extern const struct word_list tri_words, link_words, risk_words, front_words, cabinet_words, hinge_words, antenna_words,
	purpose_words;

const struct table *table_of(enum ft_table t);

/* Empty, "?" and other ways to say that one does not know. */
bool cell_unknown(struct ft_slice s);

/* Into the row at `row`. NULL, or what is wrong with the cell, as the end of a sentence. *ret_memory on failure of the
 * arena only. */
const char *cell_read(const struct column *c, struct ft_slice s, struct ft_arena *a, void *row, bool *ret_memory);

/* A row of which nothing is known yet. */
void row_blank(const struct table *t, void *row);

/* Is `word` one of those with | between, blanks, dashes and case apart? */
bool one_of(const char *list, struct ft_slice word);

/* The same, letters and digits only: "Audit link" is "audit_link". */
bool same_heading(struct ft_slice a, struct ft_slice b);

#endif
