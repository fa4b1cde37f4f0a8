/* SPDX-License-Identifier: Apache-2.0 */
/* The ground of a drawing in SVG: measured text, safe text, lines and boxes. */
#include "bus_draw.h"

#include <math.h>

/* Advance widths of DejaVu Sans in hundredths of its size, from blank to tilde: the widest of the faces that a
 * sans-serif text is set in on common systems. Bold is up to an eighth wider. */
static const unsigned char advance[95] = {
	32, 40, 46, 84, 64, 95, 78, 27, 39,  39, 50, 84, 32, 36, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64,
	64, 64, 34, 34, 84, 84, 84, 53, 100, 68, 69, 70, 77, 63, 58, 77, 75, 29, 29, 66, 56, 86, 75, 79,
	60, 79, 69, 63, 61, 73, 68, 99, 69,  61, 69, 39, 34, 39, 84, 50, 50, 61, 63, 55, 63, 62, 35, 63,
	63, 28, 28, 58, 28, 97, 63, 61, 63,  63, 41, 52, 39, 63, 59, 82, 59, 59, 52, 64, 34, 64, 84,
};

static const struct {
	const char *name;
	double size, stretch;
} faces[FACES] = {
	[FACE_SMALL] = { "s", 10, 1 },    [FACE_BODY] = { "b", 11.5, 1 },    [FACE_STRONG] = { "st", 11.5, 1.125 },
	[FACE_HEAD] = { "h", 15, 1.125 }, [FACE_TITLE] = { "t", 22, 1.125 }, [FACE_HEX] = { "x", 9.5, 1 },
};

double svg_width(enum face face, struct ft_slice t)
{
	double w = 0;

	for (size_t i = 0; i < t.n; i++) {
		unsigned char c = (unsigned char)t.p[i];
		if (c >= 32 && c < 127)
			w += advance[c - 32];
		else if ((c & 0xc0) != 0x80) /* a letter of another alphabet: as wide as the widest of this */
			w += 100;
	}
	return w * faces[face].size * faces[face].stretch / 100;
}

static struct ft_slice shortened(struct ft_arena *a, enum face face, struct ft_slice t, double width)
{
	static const struct ft_slice dots = { "\342\200\246", 3 };
	char *text;

	while (t.n && svg_width(face, t) + svg_width(face, dots) > width) {
		do
			t.n--;
		while (t.n && ((unsigned char)t.p[t.n] & 0xc0) == 0x80);
	}
	text = ft_arena_printf(a, "%.*s%s", FT_P(t), dots.p);
	return text ? ft_slice_of(text) : t;
}

struct lines svg_break(struct ft_arena *a, enum face face, const char *text, double width, int most)
{
	struct lines r = { 0 };
	struct ft_slice rest = ft_slice_trim(ft_slice_of(text ? text : ""));

	while (rest.n && r.count < most) {
		size_t end = 0, next;
		for (;;) { /* word by word while they fit; a word that never fits stands alone */
			for (next = end; next < rest.n && rest.p[next] == ' '; next++)
				;
			for (; next < rest.n && rest.p[next] != ' '; next++)
				;
			if (next == end || (end && svg_width(face, (struct ft_slice){ rest.p, next }) > width))
				break;
			end = next;
		}
		if (r.count == most - 1)
			end = rest.n;
		r.list[r.count] = (struct ft_slice){ rest.p, end };
		if (svg_width(face, r.list[r.count]) > width)
			r.list[r.count] = shortened(a, face, r.list[r.count], width);
		r.count++;
		rest = ft_slice_trim((struct ft_slice){ rest.p + end, rest.n - end });
	}
	return r;
}

void svg_number(struct ft_buf *out, double v)
{
	long long tenths = llround(v * 10);

	ft_buf_printf(out, "%s%lld", tenths < 0 ? "-" : "", (tenths < 0 ? -tenths : tenths) / 10);
	if (tenths % 10)
		ft_buf_printf(out, ".%lld", (tenths < 0 ? -tenths : tenths) % 10);
}

/* Bytes of a well-formed UTF-8 letter at `p`; 0 where it is none that XML takes. */
static size_t letter(const unsigned char *p, size_t n)
{
	size_t len = p[0] < 0x80 ? 1 : p[0] >= 0xc2 && p[0] < 0xe0 ? 2 : p[0] >= 0xe0 && p[0] < 0xf0 ? 3 : 0;

	if (p[0] >= 0xf0 && p[0] < 0xf5)
		len = 4;
	if (!len || len > n || p[0] < 32 || p[0] == 127)
		return 0;
	for (size_t i = 1; i < len; i++)
		if ((p[i] & 0xc0) != 0x80)
			return 0;
	if ((p[0] == 0xe0 && p[1] < 0xa0) || (p[0] == 0xed && p[1] > 0x9f) || (p[0] == 0xf0 && p[1] < 0x90) ||
	    (p[0] == 0xf4 && p[1] > 0x8f) || (p[0] == 0xef && p[1] == 0xbf && p[2] > 0xbd))
		return 0;
	return len;
}

void svg_escape(struct ft_buf *out, struct ft_slice t)
{
	for (size_t i = 0; i < t.n;) {
		const unsigned char *p = (const unsigned char *)t.p + i;
		size_t len = letter(p, t.n - i);
		if (!len)
			ft_buf_byte(out, *p == '\n' ? '\n' : '?');
		else if (*p == '&')
			ft_buf_puts(out, "&amp;");
		else if (*p == '<')
			ft_buf_puts(out, "&lt;");
		else if (*p == '>')
			ft_buf_puts(out, "&gt;");
		else if (*p == '"')
			ft_buf_puts(out, "&quot;");
		else
			ft_buf_put(out, p, len);
		i += len ? len : 1;
	}
}

void svg_text(struct ft_buf *out, double x, double y, enum face face, const char *ink, const char *anchor,
              struct ft_slice t)
{
	ft_buf_puts(out, "<text x=\"");
	svg_number(out, x);
	ft_buf_puts(out, "\" y=\"");
	svg_number(out, y);
	ft_buf_printf(out, "\" class=\"%s %s\"", faces[face].name, ink);
	if (strcmp(anchor, "start") != 0)
		ft_buf_printf(out, " text-anchor=\"%s\"", anchor);
	ft_buf_byte(out, '>');
	svg_escape(out, t);
	ft_buf_puts(out, "</text>\n");
}

void svg_line(struct ft_buf *out, double x1, double y1, double x2, double y2, const char *kind)
{
	ft_buf_puts(out, "<path d=\"M");
	svg_number(out, x1);
	ft_buf_byte(out, ' ');
	svg_number(out, y1);
	ft_buf_byte(out, 'L');
	svg_number(out, x2);
	ft_buf_byte(out, ' ');
	svg_number(out, y2);
	ft_buf_printf(out, "\" class=\"%s\"/>\n", kind);
}

void svg_box(struct ft_buf *out, double x, double y, double w, double h, const char *kind)
{
	ft_buf_puts(out, "<rect x=\"");
	svg_number(out, x);
	ft_buf_puts(out, "\" y=\"");
	svg_number(out, y);
	ft_buf_puts(out, "\" width=\"");
	svg_number(out, w);
	ft_buf_puts(out, "\" height=\"");
	svg_number(out, h);
	ft_buf_printf(out, "\" class=\"%s\"/>\n", kind);
}
