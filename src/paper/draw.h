/* SPDX-License-Identifier: Apache-2.0 */
/* A sheet of paper: margins, text on a fixed pitch, marks, tables. All lengths are points (1/72 inch). */
#ifndef FETTLE_SRC_DRAW_H
#define FETTLE_SRC_DRAW_H

#include <cairo-pdf.h>
#include <pango/pangocairo.h>

#include "paper.h"

/* The page in steps of 8 points; the marks hang in the margin, left of the margin line. */
#define GRID        8.0
#define LEFT        72.0
#define RIGHT       48.0
#define TOP         56.0
#define BOTTOM      72.0
#define MARGIN_LINE 60.0
#define MARK_AT     46.0

enum style {
	STYLE_BODY, /* what is to be read */
	STYLE_STRONG,
	STYLE_SMALL, /* what backs it */
	STYLE_LABEL, /* a name in a drawing */
	STYLE_FINE,  /* feet, table heads */
	STYLE_MONO,  /* hashes */
	STYLE_HEAD,  /* of a section */
	STYLE_VERDICT,
	STYLE_TITLE,
	STYLE_COUNT
};

struct look {
	double size, pitch;
	bool bold, mono;
};

const struct look *look_of(enum style style);

enum ink { INK_BLACK, INK_PENCIL, INK_ACCENT, INK_WHITE };
enum side { SIDE_LEFT, SIDE_RIGHT };

struct ft_morning;

struct sheet {
	const struct ft_handover *h;      /* NULL: another paper, with `foot` */
	const struct ft_morning *morning; /* NULL: another paper */
	const char *foot;                 /* left at the foot of every page of another paper */
	const char *made;                 /* when it was drawn, ISO 8601 */
	const char *foot_small;           /* below it */
	const struct ft_seal_text *seal;
	struct ft_arena *arena;
	cairo_surface_t *surface;
	cairo_t *cr;
	PangoContext *context;
	double width, height;
	double y;        /* where the next thing goes */
	int page, pages; /* pages: 0 while they are counted */
	int claims_page; /* where "Every claim" begins, from the counting pass */
	bool outline;
};

/* Everything that depends on the machine it runs on is set: hints off, no rounding to pixels, 72 dpi. */
PangoContext *make_context(cairo_t *cr);
/* A cairo stream into a struct ft_buf. */
cairo_status_t take_bytes(void *closure, const unsigned char *p, unsigned n);

void use_ink(struct sheet *s, enum ink ink);

/* Valid UTF-8 on one line: foreign bytes become U+FFFD, control characters blanks. Never NULL. */
const char *text_of(struct sheet *s, struct ft_slice t);

/* Draws text into a column of width `w`, wrapped on the pitch of its style, and gives the height. With
 * `lines` above 0 the text ends there in an ellipsis. With cr_off only the height is found. */
double put_text(struct sheet *s, double x, double y, double w, enum style style, enum ink ink, enum side side,
                int lines, const char *text);
double height_of(struct sheet *s, double w, enum style style, const char *text);
double width_of(struct sheet *s, enum style style, const char *text);
double pitch_of(enum style style);

/* A hairline from x to x + w at y. */
void put_rule(struct sheet *s, double x, double y, double w, enum ink ink, double thick);

/* The mark of a claim, `size` across, centred. */
void put_mark(struct sheet *s, double x, double y, double size, enum ft_stands stands);

/* Room left on this page, a new page when less than `h` is left, and the page's foot. */
double room_left(const struct sheet *s);
void need(struct sheet *s, double h);
void new_page(struct sheet *s);
double text_width(const struct sheet *s);

/* The heading of a section with at least `h` behind it on the same page; goes into the outline. */
void put_heading(struct sheet *s, const char *text, double h);

/* A paragraph at the left edge, and the way down to the next. */
void put_paragraph(struct sheet *s, enum style style, enum ink ink, const char *text);

/* Snaps down to the grid and adds `steps` of it. */
void skip(struct sheet *s, int steps);

/* ---- tables ---- */

struct cell_column {
	double x, w; /* from the left edge of the text */
	enum side side;
	const char *head;
};

struct cells {
	const struct cell_column *columns;
	int count;
	double offset; /* of the table from the left edge */
};

void put_table_head(struct sheet *s, const struct cells *t);
/* One row; `bold` and `underline` are bits of columns. Texts may wrap. */
void put_row(struct sheet *s, const struct cells *t, const char *const *texts, unsigned bold, unsigned underline);

const char *time_text(struct sheet *s, int64_t us, int offset);
const char *money_text(struct sheet *s, int64_t v, int decimals); /* "" when absent */
const char *number_text(struct sheet *s, int64_t v);
const char *evidence_text(struct sheet *s, const struct ft_claim_state *c); /* "evidence 1, 4" */

/* ---- the sections, each in its own file ---- */

void page_one(struct sheet *s);
void section_claims(struct sheet *s);
void section_totals(struct sheet *s);
void section_settings(struct sheet *s);
void section_sales(struct sheet *s);
void section_bus(struct sheet *s);
void section_restore(struct sheet *s);
void section_cautions(struct sheet *s);
void section_evidence(struct sheet *s);

void section_morning(struct sheet *s, const struct ft_morning *m);
struct ft_rollout;
void section_days(struct sheet *s, const struct ft_rollout *r);

#endif
