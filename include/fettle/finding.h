/* SPDX-License-Identifier: Apache-2.0 */
/* What a rule found. One struct, made in one place; every screen, page and command prints it. */
#ifndef FETTLE_FINDING_H
#define FETTLE_FINDING_H

#include "fettle/arena.h"
#include "fettle/json.h"

enum ft_weight { FT_NOTE, FT_DOUBT, FT_FAULT };

enum ft_verdict { FT_SHOWN, FT_OPEN, FT_CONTRADICTED };

/* A rule from data/rules.csv. */
struct ft_rule {
	const char *id;        /* "room.what", stable once released */
	enum ft_weight weight; /* unless the finding says otherwise */
	const char *sentence;  /* what is wrong, in general */
	const char *why;
	const char *todo;
	const char *source;
};

/* Every rule, in the order of the table. */
enum ft_rule_id {
	FT_RULE_NONE = -1,
#define ROW(ident, ...) FT_RULE_##ident,
#include "rules.inc"
#undef ROW
	FT_RULE_COUNT
};

const struct ft_rule *ft_rule(enum ft_rule_id id);
const struct ft_rule *ft_rule_by_name(struct ft_slice name); /* NULL when unknown */

/* Where a finding is. All parts optional; 0 and NULL mean not given. */
struct ft_where {
	const char *file;
	unsigned line;         /* 1-based */
	const char *element;   /* "CA305" */
	const char *selection; /* "21" */
	bool timed;            /* at_us holds */
	int64_t at_us;
};

struct ft_finding {
	enum ft_rule_id rule;
	enum ft_weight weight;
	struct ft_where where;
	const char *seen;     /* what was there; NULL when nothing was */
	const char *expected; /* what should have been; NULL when nothing can be named */
	const char *why;      /* the standard and section, or "common practice" */
	const char *todo;     /* what to do about it */
	/* The rule of an earlier finding that this one merely follows from: cure that and this is gone.
	 * FT_RULE_NONE: it stands for itself. */
	enum ft_rule_id follows;
};

/* A growing list in an arena. Zero-initialise with .arena set. */
struct ft_findings {
	struct ft_arena *arena;
	struct ft_finding *list;
	size_t count, room;
	size_t dropped; /* beyond FT_FINDINGS_MAX or without memory; never silent: see ft_verdict_of */
	size_t faults, doubts;
	struct ft_finding spare; /* lent out when there is no room */
};

/* Adds a finding with the rule's own weight, why and todo, and returns it for the caller to
 * sharpen before the next call; never NULL (a spare is lent when there is no room). `seen` and
 * `expected` are kept as they are: literals or texts in the same arena. */
struct ft_finding *ft_find(struct ft_findings *f, enum ft_rule_id rule, struct ft_where where, const char *seen,
                           const char *expected);

/* Sets the weight of the finding just added, keeping the counts right. */
void ft_finding_weigh(struct ft_findings *f, struct ft_finding *finding, enum ft_weight weight);

/* A fault contradicts; a doubt or a dropped finding leaves it open unless `shown_otherwise`. */
enum ft_verdict ft_verdict_of(const struct ft_findings *f, bool shown_otherwise);

/* Says that the finding just added merely follows from one of `cause`: it weighs a note from now on, so
 * that one cause does not count twice. */
void ft_finding_follow(struct ft_findings *f, struct ft_finding *finding, enum ft_rule_id cause);

const char *ft_weight_word(enum ft_weight w);   /* note doubt fault */
const char *ft_weight_mark(enum ft_weight w);   /* · ? ! */
const char *ft_verdict_word(enum ft_verdict v); /* shown open contradicted */

/* {rule, weight, where, seen, expected, why, do, follows} and the list under the key "findings". */
void ft_findings_json(struct ft_json *j, const struct ft_findings *f);

/* One finding for people, wrapped at `columns`: mark, where, sentence, seen, expected, what to do. */
void ft_finding_text(struct ft_buf *out, const struct ft_finding *finding, int columns);

/* Words of `text` wrapped at `columns`, every line after the first indented by `indent`. */
void ft_wrap(struct ft_buf *out, const char *text, int columns, int indent);

#endif
