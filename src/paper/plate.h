/* SPDX-License-Identifier: Apache-2.0 */
/* A drawing as a list of lines and texts, measured before it is placed: written as PDF or as SVG from the same list,
 * so that both say the same, and so that a text that stands on another is found and not printed unseen. */
#ifndef FETTLE_SRC_PAPER_PLATE_H
#define FETTLE_SRC_PAPER_PLATE_H

#include "draw.h"

#include "fettle/wiring.h"

enum dash { DASH_NONE, DASH_LONG, DASH_DOTS, DASH_BOTH, DASH_SHORT };
enum at { AT_LEFT, AT_MIDDLE, AT_RIGHT };

struct point {
	double x, y;
};

enum { PLATE_POINTS = 10, FILL_NONE = -1 };

struct plate_item {
	const char *text; /* NULL: a shape */
	const char *role; /* what the text is, for those who read the SVG: "pin", "step"; NULL */
	enum style style;
	enum ink ink;
	double x, y, w; /* of a text: its left edge, the top of its line, its width; of a disc: centre and radius */
	struct point points[PLATE_POINTS];
	int count; /* points; 0: a disc */
	bool closed;
	double thick; /* 0: no stroke */
	enum dash dash;
	int fill; /* enum ink or FILL_NONE */
};

struct plate {
	struct sheet s; /* for measuring, and for writing PDF */
	struct plate_item *items;
	size_t count, room;
	size_t cut; /* texts that end in an ellipsis */
	bool small; /* the order of work is set smaller */
	bool tight; /* the room is short: words that can be missed are left out */
};

void plate_path(struct plate *p, const struct point *points, int count, double thick, enum dash dash, enum ink ink);
void plate_line(struct plate *p, double x1, double y1, double x2, double y2, double thick, enum dash dash,
                enum ink ink);
void plate_shape(struct plate *p, const struct point *points, int count, double thick, enum dash dash, int fill);
void plate_box(struct plate *p, double x, double y, double w, double h, double thick, enum dash dash, int fill);
void plate_disc(struct plate *p, double x, double y, double r, double thick, int fill);

/* Words broken at `w` into at most `lines` (0: as many as it takes), anchored within x to x + w; gives the height. */
double plate_words(struct plate *p, double x, double y, double w, enum style style, enum ink ink, enum at at, int lines,
                   const char *role, const char *text);
double plate_width(struct plate *p, enum style style, const char *text);

/* The chain within x to x + w, top at y; gives the height. */
double chain_draw(struct plate *p, const struct ft_chain *c, double x, double y, double w);
/* The cabinet with its door open and all that is in it. */
double cabinet_least(const struct ft_wiring *w); /* height below which its texts would touch */
void cabinet_draw(struct plate *p, const struct ft_wiring *w, double x, double y, double width, double height);
/* A harness as it is drawn everywhere. */
void wire_draw(struct plate *p, const struct point *points, int count, enum ft_wire wire, bool there);
/* The number of a step as the tag on a cable, its point to the right or the left. */
enum { TAG_W = 17, TAG_H = 12 };
void tag_draw(struct plate *p, double x, double y, bool right, int number, const char *role);

enum ft_status wiring_page(const struct ft_wiring *w, enum ft_sheet sheet, enum ft_wiring_format format,
                           const char *program, struct ft_arena *a, struct ft_buf *out, struct ft_wiring_drawn *ret,
                           struct ft_error *e);
enum ft_status chain_page(const struct ft_chain *c, const char *title, const char *about, struct ft_arena *a,
                          struct ft_buf *out, struct ft_error *e);

/* ---- the frame of a page ---- */

enum ft_status plate_begin(struct plate *p, double width, double height, struct ft_arena *a, struct ft_error *e);
void plate_done(struct plate *p);
void plate_check(const struct plate *p, struct ft_wiring_drawn *ret);
enum ft_status plate_svg(struct plate *p, const char *title, struct ft_buf *out, struct ft_error *e);
enum ft_status plate_pdf(struct plate *p, const char *title, const char *program, const char *date, struct ft_buf *out,
                         struct ft_error *e);

#endif
