/* SPDX-License-Identifier: Apache-2.0 */
/* Drawing the bus as SVG: text that is measured before it is placed, and rows of squared paper. */
#ifndef FETTLE_SRC_PAPER_BUS_DRAW_H
#define FETTLE_SRC_PAPER_BUS_DRAW_H

#include "paper.h"

/* Everything sits on squares: one is 1 ms across, or a fifth of that where bits are drawn. */
#define SQUARE  16.0
#define LANES_X 120.0 /* where time begins */
#define WIDTH   1200.0
#define MARGIN  24.0
#define LINE    14.0 /* pitch of text */

enum face { FACE_SMALL, FACE_BODY, FACE_STRONG, FACE_HEAD, FACE_TITLE, FACE_HEX, FACES };

struct lines {
	struct ft_slice list[6];
	int count;
};

/* Width on the widest of the usual sans faces, so that no other one runs into its neighbour. */
double svg_width(enum face face, struct ft_slice t);
/* Words broken at `width` into at most `most` lines, the last one cut off with an ellipsis where it must be. */
struct lines svg_break(struct ft_arena *a, enum face face, const char *text, double width, int most);

/* A number with one decimal place, whatever the locale. */
void svg_number(struct ft_buf *out, double v);
/* Text made safe for XML: valid UTF-8, no control characters. */
void svg_escape(struct ft_buf *out, struct ft_slice t);
/* `anchor`: "start", "middle", "end"; `ink`: a class of the sheet such as "ink" or "pencil". */
void svg_text(struct ft_buf *out, double x, double y, enum face face, const char *ink, const char *anchor,
              struct ft_slice t);
void svg_line(struct ft_buf *out, double x1, double y1, double x2, double y2, const char *kind);
void svg_box(struct ft_buf *out, double x, double y, double w, double h, const char *kind);

/* One figure with its place in a row: positions from the left edge of the cell. */
struct cell {
	const struct ft_bus_figure *f;
	double x, w;      /* of the cell, in the row */
	double lead;      /* room before it for a cut */
	int64_t lead_ns;  /* the time that the room stands for; -1: none */
	double asked[2];  /* the controller's block; equal: none */
	double answer[2]; /* the peripheral's */
	double closing;   /* the closing byte's left edge; -1: none */
	bool squeezed;    /* a gap inside is drawn shorter than it is */
	struct lines above, below;
	int pins[4]; /* indices of pins that belong here */
	int pin_count;
};

enum { CELLS_MAX = 64 };

struct row {
	struct cell cells[CELLS_MAX];
	int count;
	double width; /* used */
};

struct drawing {
	const struct ft_bus_picture *p;
	struct ft_arena *arena;
	struct ft_buf *out;
	double per_ms; /* points a millisecond */
	double width;  /* of the sheet */
	double y;      /* where the next thing goes */
	bool *pinned;  /* by pin: drawn at its figure */
};

void cell_lay(struct drawing *d, const struct ft_bus_figure *f, struct cell *c);
void row_draw(struct drawing *d, const struct row *r, bool first);

#endif
