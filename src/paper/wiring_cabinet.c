/* SPDX-License-Identifier: Apache-2.0 */
/* The cabinet from the front with its door open. Things stand in one column a compartment; between the columns and the
 * hinge run the harnesses, each on a lane of its own, so that no two ever lie on each other. All is laid out for a
 * hinge on the right and mirrored for one on the left. */
#include "plate.h"

#include <math.h>

#define GAP     14.0 /* between cabinet and door: the hinge */
#define THING   92.0 /* width of a box */
#define PORT    14.0 /* between two harnesses at a box */
#define LANE    7.0
#define STUB    24.0 /* from a box to the first lane: room for a tag */
#define BETWEEN 4.0  /* two boxes */
#define LOWEST  12.0 /* a box with one line of text */
#define TRAY    30.0 /* for what stands nowhere yet */

enum side_of { IN_CABINET, IN_DOOR, ON_ROOF, NOWHERE };

struct placed {
	enum side_of where;
	double x, y, w, h;
	int ports, used; /* harnesses that end here; those drawn */
};

struct end {
	double x, y;
	enum side_of where;
};

struct view {
	struct plate *p;
	const struct ft_wiring *w;
	double x, y, width, height;
	bool mirror;
	double top, bottom; /* of cabinet and door */
	double cabinet_w, door_x, door_w;
	double shelf; /* top of the tray below */
	struct placed at[FT_WIRING_THINGS_MAX];
	int lanes_cabinet, lanes_door, lanes_tray;
	int on_roof;
	struct end ends[FT_WIRING_RUNS_MAX]; /* where the tags hang */
};

static double mirror(const struct view *v, double x)
{
	return v->mirror ? 2 * v->x + v->width - x : x;
}

static void path(const struct view *v, struct point *points, int count, enum ft_wire wire, bool there)
{
	for (int i = 0; i < count; i++)
		points[i].x = mirror(v, points[i].x);
	wire_draw(v->p, points, count, wire, there);
}

static enum side_of side_of(enum ft_spot s)
{
	return s == FT_SPOT_UNKNOWN ? NOWHERE : s == FT_SPOT_ROOF ? ON_ROOF : s < FT_SPOT_DOOR_TOP ? IN_CABINET : IN_DOOR;
}

/* 0 top, 1 middle, 2 bottom. */
static int third_of(enum ft_spot s)
{
	return s < FT_SPOT_DOOR_TOP ? (int)s - FT_SPOT_CABINET_TOP : (int)s - FT_SPOT_DOOR_TOP;
}

/* ---- placing ---- */

/* Boxes higher than a line of text give way alike until the column fits. */
static void squeeze(struct view *v, const int *order, int n, double most)
{
	double all = 0, give = 0, k;

	for (int i = 0; i < n; i++) {
		all += v->at[order[i]].h + BETWEEN;
		give += fmax(v->at[order[i]].h - LOWEST, 0);
	}
	if (all <= most || give <= 0)
		return;
	k = fmax(0, 1 - (all - most) / give);
	for (int i = 0; i < n; i++)
		if (v->at[order[i]].h > LOWEST)
			v->at[order[i]].h = LOWEST + (v->at[order[i]].h - LOWEST) * k;
}

/* One column: each third has its anchor, nothing stands on anything. */
static void column(struct view *v, enum side_of where, double x)
{
	int order[FT_WIRING_THINGS_MAX], n = 0;
	double heights[3] = { 0 }, next[3];

	for (int third = 0; third < 3; third++)
		for (size_t i = 0; i < v->w->thing_count; i++)
			if (v->at[i].where == where && third_of(v->w->things[i].spot) == third)
				order[n++] = (int)i;
	squeeze(v, order, n, v->bottom - v->top - 10);
	for (int i = 0; i < n; i++)
		heights[third_of(v->w->things[order[i]].spot)] += v->at[order[i]].h + BETWEEN;
	next[0] = v->top + 7;
	next[2] = v->bottom - 3 - heights[2];
	next[1] = fmin((v->top + v->bottom - heights[1]) / 2, next[2] - heights[1]);
	next[1] = fmax(next[1], next[0] + heights[0]);
	next[2] = fmax(next[2], next[1] + heights[1]);
	for (int i = 0; i < n; i++) {
		struct placed *a = &v->at[order[i]];
		double *y = &next[third_of(v->w->things[order[i]].spot)];
		a->x = x;
		a->y = *y;
		*y += a->h + BETWEEN;
	}
}

static void place(struct view *v)
{
	double tray = 0, roof = 0;
	int nowhere = 0;

	for (size_t i = 0; i < v->w->thing_count; i++) {
		struct placed *a = &v->at[i];
		a->where = side_of(v->w->things[i].spot);
		for (size_t r = 0; r < v->w->run_count; r++)
			a->ports += v->w->runs[r].from == (int)i || v->w->runs[r].to == (int)i;
		a->w = THING;
		a->h = fmax(v->w->things[i].note ? 30 : 22, a->ports * PORT + 4);
		nowhere += a->where == NOWHERE;
		v->on_roof += a->where == ON_ROOF;
	}
	column(v, IN_CABINET, v->x + 8);
	column(v, IN_DOOR, v->door_x + v->door_w - THING - 8);
	for (size_t i = 0; i < v->w->thing_count; i++) {
		struct placed *a = &v->at[i];
		if (a->where == ON_ROOF) {
			a->w = fmin(76, v->cabinet_w / v->on_roof - 4);
			a->x = v->x + v->cabinet_w - a->w - roof;
			a->y = v->y;
			a->h = 18;
			roof += a->w + 4;
		} else if (a->where == NOWHERE) {
			a->w = fmin(THING, (v->width - 4) / nowhere - 6);
			a->x = v->x + 4 + tray;
			a->y = v->shelf;
			a->h = TRAY - 6;
			tray += a->w + 6;
		}
	}
}

/* ---- harnesses ---- */

static double cabinet_lane(struct view *v)
{
	double x = v->x + 8 + THING + STUB + LANE * v->lanes_cabinet++;

	return fmin(x, v->x + v->cabinet_w - 6);
}

static double door_lane(struct view *v)
{
	double x = v->door_x + v->door_w - THING - 8 - STUB - LANE * v->lanes_door++;

	return fmax(x, v->door_x + 5);
}

/* Where the next harness leaves a box. Heights in the door lie half a step beside those of the cabinet, so that a
 * harness that crosses the hinge never lies on one that does not. */
static struct end next_port(struct view *v, int thing)
{
	struct placed *a = &v->at[thing];
	struct end e = { .where = a->where };
	double step = fmin(PORT, a->h / (a->ports ? a->ports : 1));
	double off = (a->h - step * a->ports) / 2 + step * (a->used + 0.5);

	a->used++;
	if (a->where == IN_CABINET || a->where == IN_DOOR) {
		e.y = floor((a->y + off) / 6) * 6 + (a->where == IN_DOOR ? 3 : 0);
		e.x = a->where == IN_CABINET ? a->x + a->w : a->x;
	} else if (a->where == NOWHERE) {
		e.x = a->x + (a->ports ? a->w * a->used / (a->ports + 1.0) : a->w / 2);
		e.y = a->y;
	} else {
		/* Alone up there it stands over the lanes; among others each harness bends to its own. */
		e.x = v->on_roof == 1 ? cabinet_lane(v) : a->x + a->w * a->used / (a->ports + 1.0);
		e.y = a->y + a->h;
	}
	return e;
}

static void tag(struct view *v, struct end e, int number)
{
	bool right = e.where == IN_DOOR;
	double x = e.where == IN_CABINET ? e.x + 3 : e.where == IN_DOOR ? e.x - 3 - TAG_W : e.x - TAG_W / 2.0;
	double y = e.where == NOWHERE ? e.y - TAG_H - 2 : e.where == ON_ROOF ? e.y + 3 : e.y - TAG_H / 2.0;

	if (v->mirror)
		x = mirror(v, x + TAG_W);
	tag_draw(v->p, x, y, right != v->mirror, number, "tag");
}

static void route(struct view *v, const struct ft_wiring_run *r)
{
	struct end a = next_port(v, r->from), b = next_port(v, r->to);
	struct point points[8];
	int n = 0;
	bool swap = a.where > b.where;
	struct end s = swap ? b : a, t = swap ? a : b; /* in the order cabinet, door, roof, nowhere */

	points[n++] = (struct point){ s.x, s.y };
	if (t.where == NOWHERE) {
		double strip = v->shelf - TAG_H - 5 - 3 * v->lanes_tray++;
		if (s.where != NOWHERE) {
			double lane = s.where == IN_DOOR ? door_lane(v) : s.where == ON_ROOF ? s.x : cabinet_lane(v);
			points[n++] = (struct point){ lane, s.y };
			points[n++] = (struct point){ lane, strip };
		} else {
			points[n++] = (struct point){ s.x, strip };
		}
		points[n++] = (struct point){ t.x, strip };
	} else if (t.where == ON_ROOF && v->on_roof == 1) {
		points[n++] = (struct point){ t.x, s.y };
	} else if (t.where == ON_ROOF) {
		double lane = s.where == ON_ROOF ? s.x : cabinet_lane(v);
		points[n++] = (struct point){ lane, s.y };
		points[n++] = (struct point){ lane, v->top - 3 };
		points[n++] = (struct point){ t.x, v->top - 3 };
	} else if (t.where == IN_DOOR) { /* over the hinge, or within the door */
		double lane = door_lane(v);
		points[n++] = (struct point){ lane, s.y };
		points[n++] = (struct point){ lane, t.y };
	} else {
		double lane = cabinet_lane(v);
		points[n++] = (struct point){ lane, s.y };
		points[n++] = (struct point){ lane, t.y };
	}
	points[n++] = (struct point){ t.x, t.y };
	path(v, points, n, r->wire, r->step == 0);
	v->ends[r - v->w->runs] = b;
}

/* ---- outline ---- */

static void box(const struct view *v, double x, double y, double w, double h, double thick, enum dash dash, int fill)
{
	plate_box(v->p, v->mirror ? mirror(v, x + w) : x, y, w, h, thick, dash, fill);
}

static void line(const struct view *v, double x1, double y1, double x2, double y2, double thick, enum dash dash,
                 enum ink ink)
{
	plate_line(v->p, mirror(v, x1), y1, mirror(v, x2), y2, thick, dash, ink);
}

static void words(const struct view *v, double x, double y, double w, enum style style, enum at at, int lines,
                  const char *text)
{
	plate_words(v->p, v->mirror ? mirror(v, x + w) : x, y, w, style, INK_BLACK,
	            v->mirror && at != AT_MIDDLE ? (enum at)(AT_RIGHT - at) : at, lines, NULL, text);
}

/* The door, swung open towards the reader: its free edge stands taller. */
static void door(const struct view *v)
{
	double x = v->door_x, r = v->door_x + v->door_w;
	struct point around[] = { { x, v->top }, { r, v->top - 7 }, { r, v->bottom + 7 }, { x, v->bottom } };
	bool glass = v->w->front == FT_FRONT_GLASS;
	double in = 8;

	for (int i = 0; i < 4; i++)
		around[i].x = mirror(v, around[i].x);
	plate_shape(v->p, around, 4, 2, v->w->front == FT_FRONT_UNKNOWN ? DASH_SHORT : DASH_NONE, INK_WHITE);
	if (glass) { /* a pane within a frame; no hatches, which a fitter would take for something to be found there */
		box(v, x + in, v->top + in, v->door_w - 2 * in, v->bottom - v->top - 2 * in, 0.6, DASH_NONE, FILL_NONE);
	} else if (v->w->front == FT_FRONT_METAL) { /* folded sheet: edges close together */
		line(v, x + 4, v->top + 3, x + 4, v->bottom - 3, 0.6, DASH_NONE, INK_BLACK);
		line(v, r - 4, v->top - 2, r - 4, v->bottom + 2, 0.6, DASH_NONE, INK_BLACK);
	}
	line(v, r - 3, (v->top + v->bottom) / 2 - 12, r - 3, (v->top + v->bottom) / 2 + 12, 2.6, DASH_NONE, INK_BLACK);
}

static void cabinet(const struct view *v)
{
	double x = v->x, w = v->cabinet_w, tall = v->bottom - v->top;

	box(v, x, v->top, w, tall, 2.4, DASH_NONE, INK_WHITE);
	box(v, x + 10, v->bottom, 14, 5, 0, DASH_NONE, INK_BLACK);
	box(v, x + w - 24, v->bottom, 14, 5, 0, DASH_NONE, INK_BLACK);
	if (v->w->front == FT_FRONT_GLASS) /* trays behind glass; how many is not known, so they fade out */
		for (int k = 1; k < 6; k++) {
			line(v, x + 4, v->top + tall * k / 6, x + w - 4, v->top + tall * k / 6, 0.5, DASH_NONE, INK_PENCIL);
		}
	for (int k = 0; k < 2; k++) /* hinges */
		box(v, x + w, v->top + (k ? tall - 44 : 24), GAP, 20, 1, DASH_NONE, INK_WHITE);
}

static void thing(const struct view *v, const struct ft_thing *t, const struct placed *a)
{
	bool sure = t->there == FT_TRI_YES && a->where != NOWHERE, unit = t->kind == FT_THING_UNIT;
	double h, x = a->x + 3, w = a->w - 6, y;

	box(v, a->x, a->y, a->w, a->h, unit ? 2.4 : 1.1, sure ? DASH_NONE : DASH_SHORT, INK_WHITE);
	if (unit) { /* the new one: a second frame */
		box(v, a->x + 3, a->y + 3, a->w - 6, a->h - 6, 0.6, DASH_NONE, FILL_NONE);
		x += 2;
		w -= 4;
	}
	h = t->note && a->h >= 26 ? 20 : 10;
	y = a->y + (a->h - h) / 2;
	words(v, x, y, w, STYLE_LABEL, AT_MIDDLE, 1, t->name);
	if (h > 10)
		words(v, x, y + 10, w, STYLE_FINE, AT_MIDDLE, 1, t->note);
}

static void captions(const struct view *v)
{
	static const char *const fronts[] = { "door, open (front: look first)", "glass door, open", "metal door, open" };
	double y = v->bottom + 9;

	words(v, v->x + 26, y, v->cabinet_w - 52, STYLE_FINE, AT_MIDDLE, 1,
	      v->w->hinge == FT_HINGE_UNKNOWN ? "cabinet (hinge side: look first)" : "cabinet, from the front");
	words(v, v->door_x + 4, y, v->door_w - 8, STYLE_FINE, AT_MIDDLE, 1, fronts[v->w->front]);
}

/* Room above the cabinet for what stands on it, and below for what stands nowhere. */
static double above(const struct ft_wiring *w)
{
	for (size_t i = 0; i < w->thing_count; i++)
		if (w->things[i].spot == FT_SPOT_ROOF)
			return 34;
	return 8;
}

static double below(const struct ft_wiring *w)
{
	bool tray = false;
	int strips = 0;

	for (size_t i = 0; i < w->thing_count; i++)
		tray |= w->things[i].spot == FT_SPOT_UNKNOWN;
	for (size_t i = 0; i < w->run_count; i++)
		strips +=
			w->things[w->runs[i].from].spot == FT_SPOT_UNKNOWN || w->things[w->runs[i].to].spot == FT_SPOT_UNKNOWN;
	return tray ? TRAY + 5 + 24 + TAG_H + 3 * strips : 22;
}

double cabinet_least(const struct ft_wiring *w)
{
	int in[4] = { 0 };

	for (size_t i = 0; i < w->thing_count; i++)
		in[side_of(w->things[i].spot)]++;
	return above(w) + below(w) + 12 +
		(LOWEST + BETWEEN) * (in[IN_CABINET] > in[IN_DOOR] ? in[IN_CABINET] : in[IN_DOOR]);
}

void cabinet_draw(struct plate *p, const struct ft_wiring *w, double x, double y, double width, double height)
{
	struct view v = { .p = p, .w = w, .x = x, .y = y, .width = width, .height = height };

	v.mirror = w->hinge == FT_HINGE_LEFT;
	v.cabinet_w = floor((width - GAP) * 0.52);
	v.door_x = x + v.cabinet_w + GAP;
	v.door_w = width - GAP - v.cabinet_w;
	v.top = y + above(w);
	v.shelf = y + height - TRAY - 5;
	v.bottom = y + height - below(w);
	place(&v);
	cabinet(&v);
	door(&v);
	for (size_t i = 0; i < w->run_count; i++)
		route(&v, &w->runs[i]);
	for (size_t i = 0; i < w->run_count; i++)
		if (w->runs[i].step)
			tag(&v, v.ends[i], w->runs[i].step);
	for (size_t i = 0; i < w->thing_count; i++)
		thing(&v, &w->things[i], &v.at[i]);
	captions(&v);
	if (below(w) > 22)
		plate_words(p, x + 4, v.shelf + TRAY - 4, width - 8, STYLE_FINE, INK_BLACK, AT_LEFT, 1, NULL,
		            "Dashed: look first whether it is there and where it sits.");
}
