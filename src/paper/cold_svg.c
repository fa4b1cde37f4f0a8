/* SPDX-License-Identifier: Apache-2.0 */
/* The curve of a cabinet: one panel for the whole log, one for its pull-down. */
#include <math.h>

#include "bus_draw.h"

#include "fettle/cold_picture.h"
#include "fettle/time.h"

#define SHEET 960.0
#define LEFT  64.0  /* of a panel: figures of degrees stand before it */
#define RIGHT 130.0 /* after it: names of the lines */
#define TALL  260.0
#define LOW   180.0 /* of the second panel */

static const char style[] =
	"<style>\n"
	"text{font-family:\"DejaVu Sans Condensed\",\"Liberation Sans\",Arial,Helvetica,sans-serif}\n"
	".s{font-size:10px}.b{font-size:11.5px}.st{font-size:11.5px;font-weight:bold}.h{font-size:15px;font-weight:bold}\n"
	".t{font-size:22px;font-weight:bold}\n"
	"text.ink{fill:#1F2328}text.pencil{fill:#5F656A}text.accent{fill:#1D4F7C}\n"
	".ground{fill:#FAF8F3}.paper{fill:#FFFFFF;stroke:#DAD5C8;stroke-width:1}\n"
	"path{fill:none}.fine{stroke:#DAD5C8;stroke-width:.8}.curve{stroke:#1F2328;stroke-width:1.3;stroke-linejoin:round}\n"
	".limit{stroke:#1F2328;stroke-width:1.2;stroke-dasharray:7 4}.alarm{stroke:#1F2328;stroke-width:1.4;stroke-dasharray:1.5 3}\n"
	".fit{stroke:#1D4F7C;stroke-width:.9}.band{fill:#1D4F7C;fill-opacity:.16}.arrow{stroke:#1F2328;stroke-width:1.2}\n"
	"@media screen and (prefers-color-scheme:dark){\n"
	"text.ink{fill:#E9E5DB}text.pencil{fill:#9AA0A6}text.accent{fill:#8DB8DE}.ground{fill:#15181C}\n"
	".paper{fill:#1C2025;stroke:#343A41}.fine{stroke:#343A41}.curve,.limit,.arrow{stroke:#E9E5DB}.alarm{stroke:#E9E5DB}\n"
	".fit{stroke:#8DB8DE}.band{fill:#8DB8DE;fill-opacity:.25}}\n"
	"</style>\n";

struct panel {
	const struct ft_cold_picture *p;
	struct ft_arena *a;
	struct ft_buf *out;
	double y, height;
	double t0, t1; /* us */
	double c0, c1; /* C, below and above */
};

static double at_x(const struct panel *n, double us)
{
	return LEFT + (SHEET - LEFT - RIGHT) * (us - n->t0) / (n->t1 - n->t0);
}

static double at_y(const struct panel *n, double c)
{
	return n->y + n->height * (n->c1 - fmin(fmax(c, n->c0), n->c1)) / (n->c1 - n->c0);
}

static void words(const struct panel *n, double x, double y, enum face face, const char *ink, const char *anchor,
                  const char *text)
{
	svg_text(n->out, x, y, face, ink, anchor, ft_slice_of(text ? text : ""));
}

/* A step of 1, 2 or 5 that makes at most `most` lines. */
static double round_step(double range, int most)
{
	double step = pow(10, floor(log10(range / most)));

	while (range / step > most)
		step *= range / (2 * step) <= most ? 2 : range / (5 * step) <= most ? 5 : 10;
	return step;
}

static void grid(struct panel *n)
{
	static const int64_t steps_s[] = { 60,       300,       600,   1800,      3600,      3 * 3600,
		                               6 * 3600, 12 * 3600, 86400, 2 * 86400, 7 * 86400, 30 * 86400 };
	double step_c = round_step(n->c1 - n->c0, 7), last = -1e9;
	int64_t offset = n->p->log->elapsed ? 0 : (int64_t)n->p->offset_minutes * 60, step = 365 * INT64_C(86400), first;

	svg_box(n->out, LEFT, n->y, SHEET - LEFT - RIGHT, n->height, "paper");
	for (int k = (int)ceil(n->c0 / step_c); k * step_c <= n->c1 + 1e-9; k++) {
		double c = k * step_c;
		svg_line(n->out, LEFT, at_y(n, c), SHEET - RIGHT, at_y(n, c), "fine");
		words(n, LEFT - 6, at_y(n, c) + 4, FACE_BODY, "pencil", "end",
		      ft_arena_printf(n->a, step_c < 1 ? "%.1f" : "%.0f", fabs(c) < 1e-9 ? 0.0 : c));
	}
	words(n, LEFT - 6, n->y - 12, FACE_SMALL, /* clear of a figure at the very top */ "pencil", "end",
	      "\xc2\xb0"
	      "C");
	for (size_t i = sizeof steps_s / sizeof *steps_s; i-- > 0;)
		if ((n->t1 - n->t0) / 1e6 / (double)steps_s[i] <= 12)
			step = steps_s[i];
	first = (int64_t)(n->t0 / 1e6) + offset;
	first = (first / step + (first % step > 0)) * step - offset;
	for (int64_t s = first; (double)s * 1e6 <= n->t1; s += step) {
		double x = at_x(n, (double)s * 1e6);
		char t[FT_TIME_TEXT];
		bool midnight = (s + offset) % 86400 == 0;
		svg_line(n->out, x, n->y, x, n->y + n->height, "fine");
		ft_time_text(s * FT_SECOND, n->p->offset_minutes, t);
		if (x - last < 40)
			continue;
		last = x;
		words(n, x, n->y + n->height + 14, FACE_SMALL, "pencil", "middle",
		      n->p->log->elapsed ? ft_arena_printf(n->a, "%lld min", (long long)(s / 60))
		          : midnight     ? ft_arena_printf(n->a, "%.5s", t + 5)
		                         : ft_arena_printf(n->a, "%.5s", t + 11));
	}
}

static void point(struct ft_buf *out, bool move, double x, double y)
{
	ft_buf_byte(out, move ? 'M' : 'L');
	svg_number(out, x);
	ft_buf_byte(out, ' ');
	svg_number(out, y);
}

/* The readings: at most a lowest and a highest for each half point of width, so that a year is no larger than a day. */
static void curve(struct panel *n)
{
	const struct ft_cold_log *log = n->p->log;
	int64_t gap = log->step_us * 5 / 2;
	size_t i = 0;
	bool pen = false;

	while (i < log->count && (double)log->samples[i].at_us < n->t0)
		i++;
	ft_buf_puts(n->out, "<path class=\"curve\" d=\"");
	while (i < log->count && (double)log->samples[i].at_us <= n->t1) {
		double column = floor(at_x(n, (double)log->samples[i].at_us) * 2);
		size_t lo = i, hi = i, first = i;
		if (i && log->samples[i].at_us - log->samples[i - 1].at_us > gap)
			pen = false;
		for (; i < log->count && (double)log->samples[i].at_us <= n->t1 &&
		     floor(at_x(n, (double)log->samples[i].at_us) * 2) == column &&
		     (i == first || log->samples[i].at_us - log->samples[i - 1].at_us <= gap);
		     i++) {
			lo = log->samples[i].c < log->samples[lo].c ? i : lo;
			hi = log->samples[i].c > log->samples[hi].c ? i : hi;
		}
		for (int k = 0; k < (lo == hi ? 1 : 2); k++) {
			const struct ft_cold_sample *s = &log->samples[(k == 0) == (lo < hi) ? lo : hi];
			point(n->out, !pen, at_x(n, (double)s->at_us), at_y(n, s->c));
			pen = true;
		}
	}
	ft_buf_puts(n->out, "\"/>\n");
}

static void level(struct panel *n, double c, const char *kind, const char *name)
{
	if (c < n->c0 || c > n->c1)
		return;
	svg_line(n->out, LEFT, at_y(n, c), SHEET - RIGHT, at_y(n, c), kind);
	words(n, SHEET - RIGHT + 6, at_y(n, c) + 4, FACE_BODY, "ink", "start", name);
}

/* Below the panel: up where it opened, down where it closed, a stroke where it was served. */
static void marks(struct panel *n)
{
	const struct ft_cold_log *log = n->p->log;
	double y = n->y + n->height + 22, last = -1e9;

	for (size_t i = 0; i < log->mark_count; i++) {
		const struct ft_cold_mark *m = &log->marks[i];
		double x = at_x(n, (double)m->at_us), tip = m->kind == FT_COLD_OPENED ? y : y + 12,
			   way = m->kind == FT_COLD_OPENED ? 4 : -4;
		if ((double)m->at_us < n->t0 || (double)m->at_us > n->t1 || m->kind == FT_COLD_REFERENCE ||
		    m->kind == FT_COLD_ICE)
			continue;
		svg_line(n->out, x, y, x, y + 12, "arrow");
		if (m->kind == FT_COLD_OPENED || m->kind == FT_COLD_CLOSED) {
			svg_line(n->out, x - 3, tip + way, x, tip, "arrow");
			svg_line(n->out, x, tip, x + 3, tip + way, "arrow");
		}
		if (x - last > 90 && m->kind != FT_COLD_CLOSED) {
			words(n, x + 12, y + 10, FACE_SMALL, "pencil", "start",
			      m->kind == FT_COLD_OPENED        ? "door"
			          : m->kind == FT_COLD_DEFROST ? "defrost"
			                                       : "service");
			last = x;
		}
	}
}

enum { CURVE_STEPS = 80 };

static bool fit_within(const struct panel *n)
{
	const struct ft_cold_fit *f = &n->p->result->fit;

	return f->found && (double)f->from_us >= n->t0 && (double)f->to_us <= n->t1;
}

static double step_at(const struct ft_cold_fit *f, int k)
{
	return (double)f->from_us + (double)(f->to_us - f->from_us) * k / CURVE_STEPS;
}

static void band(struct panel *n)
{
	const struct ft_cold_fit *f = &n->p->result->fit;
	double lo, hi;

	ft_buf_puts(n->out, "<path class=\"band\" d=\"");
	for (int i = 0; i <= 2 * CURVE_STEPS + 1; i++) {
		double us = step_at(f, i <= CURVE_STEPS ? i : 2 * CURVE_STEPS + 1 - i);
		ft_cold_fit_at(f, (us - (double)f->from_us) / 1e6, &lo, &hi);
		point(n->out, i == 0, at_x(n, us), at_y(n, i <= CURVE_STEPS ? hi : lo));
	}
	ft_buf_puts(n->out, "Z\"/>\n");
}

static void fitted(struct panel *n)
{
	const struct ft_cold_fit *f = &n->p->result->fit;

	ft_buf_puts(n->out, "<path class=\"fit\" d=\"");
	for (int i = 0; i <= CURVE_STEPS; i++) {
		double us = step_at(f, i);
		point(n->out, i == 0, at_x(n, us), at_y(n, ft_cold_fit_at(f, (us - (double)f->from_us) / 1e6, NULL, NULL)));
	}
	ft_buf_puts(n->out, "\"/>\n");
}

/* From below to above all that is drawn, limit included. */
static void scale(struct panel *n)
{
	const struct ft_cold_log *log = n->p->log;

	n->c0 = n->c1 = n->p->result->limit_c;
	for (size_t i = 0; i < log->count; i++) {
		if ((double)log->samples[i].at_us < n->t0 || (double)log->samples[i].at_us > n->t1)
			continue;
		n->c0 = fmin(n->c0, log->samples[i].c);
		n->c1 = fmax(n->c1, log->samples[i].c);
	}
	n->c0 = floor(n->c0 - 0.5);
	n->c1 = ceil(n->c1 + 0.5);
}

static void draw_panel(struct panel *n, bool alarm)
{
	const struct ft_cold_result *r = n->p->result;
	double apart = alarm ? fabs(r->limit_c - r->alarm.threshold_c) : INFINITY;

	scale(n);
	grid(n);
	if (fit_within(n))
		band(n);
	curve(n);
	if (fit_within(n))
		fitted(n);
	level(n, r->limit_c, "limit",
	      ft_arena_printf(n->a,
	                      "limit %.1f \xc2\xb0"
	                      "C",
	                      r->limit_c));
	if (alarm && r->alarm.found && apart * n->height / (n->c1 - n->c0) > 14)
		level(n, r->alarm.threshold_c, "alarm",
		      ft_arena_printf(n->a,
		                      "alarm %.1f \xc2\xb0"
		                      "C, %.0f min",
		                      r->alarm.threshold_c, r->alarm.delay_s / 60));
	marks(n);
}

static const char *told(struct ft_arena *a, const struct ft_cold_fit *f, bool heats)
{
	const char *settles = f->settles_known ? ft_arena_printf(a,
	                                                         ", settles at %.1f \xc2\xb0"
	                                                         "C (%.1f to %.1f)",
	                                                         f->settles_c, f->settles_lo, f->settles_hi)
										   : "; seen for too short a time to say where it settles";

	return ft_arena_printf(a, "%s: time constant %.0f min%s", heats ? "Warm-up" : "Pull-down", f->tau_s / 60,
	                       settles ? settles : "");
}

enum ft_status ft_cold_svg(const struct ft_cold_picture *p, struct ft_arena *a, struct ft_buf *out, struct ft_error *e)
{
	const struct ft_cold_log *log = p->log;
	const struct ft_cold_fit *f = &p->result->fit;
	double t0 = (double)log->samples[0].at_us, t1 = (double)log->samples[log->count - 1].at_us, y;
	struct ft_buf body = { 0 };
	struct panel n = { p, a, &body, 96, TALL, t0, t1, 0, 0 };

	words(&n, MARGIN, 44, FACE_TITLE, "ink", "start", p->title);
	words(&n, MARGIN, 66, FACE_BODY, "pencil", "start", p->about);
	draw_panel(&n, true);
	y = n.y + n.height + 52;
	if (f->found) {
		double long_us = (double)(f->to_us - f->from_us), before = f->dead_s * 1e6 + 0.15 * long_us;
		words(&n, MARGIN, y + 12, FACE_HEAD, "ink", "start", told(a, f, p->result->rule.side == FT_COLD_BELOW));
		n = (struct panel){ p, a, &body, y + 40, LOW, (double)f->from_us - before, (double)f->to_us + 0.6 * long_us,
			                0, 0 };
		n.t0 = fmax(n.t0, t0);
		n.t1 = fmin(n.t1, t1);
		if (n.t1 - n.t0 < 0.7 * (t1 - t0)) { /* else it would be the same picture again */
			draw_panel(&n, false);
			y = n.y + n.height + 52;
		} else {
			y += 28;
		}
	}
	ft_buf_puts(
		out,
		"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"");
	svg_number(out, SHEET);
	ft_buf_puts(out, "\" height=\"");
	svg_number(out, y);
	ft_buf_puts(out, "\" viewBox=\"0 0 ");
	svg_number(out, SHEET);
	ft_buf_byte(out, ' ');
	svg_number(out, y);
	ft_buf_puts(out, "\">\n<title>");
	svg_escape(out, ft_slice_of(p->title));
	ft_buf_puts(out, "</title>\n");
	ft_buf_puts(out, style);
	svg_box(out, 0, 0, SHEET, y, "ground");
	ft_buf_slice(out, ft_buf_text(&body));
	ft_buf_puts(out, "</svg>\n");
	if (a->failed || body.status != FT_OK || out->status != FT_OK) {
		ft_buf_done(&body);
		return ft_fail_memory(e, "drawing the log");
	}
	ft_buf_done(&body);
	return FT_OK;
}
