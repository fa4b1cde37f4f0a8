/* SPDX-License-Identifier: Apache-2.0 */
#include "reads.h"

static enum ft_status one_read(struct cli *c, const char *path, const char *what, struct ft_read *ret)
{
	struct ft_slice bytes;
	struct ft_audit *d = FT_NEW(&c->arena, struct ft_audit);
	struct ft_facts *f = FT_NEW(&c->arena, struct ft_facts);
	enum ft_status s = cli_read_file(c, path, what, FT_AUDIT_BYTES_MAX, &bytes);

	if (s != FT_OK)
		return s;
	if (!d || !f)
		return ft_fail_memory(&c->error, what);
	if ((s = ft_audit_read(bytes, &c->arena, d, &c->error)) != FT_OK)
		return s;
	if (d->set_count == 0)
		return ft_fail(&c->error, FT_E_INPUT,
		               "There is no audit in %s; choose the file that was read from the machine.", path);
	if ((s = ft_audit_facts(d, &d->sets[0], &c->arena, f, &c->error)) != FT_OK)
		return s;
	*ret = (struct ft_read){ path, f };
	return FT_OK;
}

enum ft_status cli_two_reads(struct cli *c, struct ft_read *before, struct ft_read *after)
{
	enum ft_status s = one_read(c, c->arguments[0], "the earlier audit", before);

	return s != FT_OK ? s : one_read(c, c->arguments[1], "the later audit", after);
}

static struct ft_slice at(const struct ft_read *r, enum ft_segment_id id, unsigned position)
{
	int32_t i = r->facts->segment[id];

	return i < 0 ? (struct ft_slice){ "", 0 }
				 : ft_slice_trim(ft_audit_at(r->facts->audit, &r->facts->audit->segments[i], position));
}

const char *cli_machine_line(struct cli *c, const struct ft_read *r)
{
	struct ft_slice serial = at(r, FT_SEG_ID1, 1), model = at(r, FT_SEG_ID1, 2), asset = at(r, FT_SEG_ID1, 6);

	if (!serial.n)
		serial = FT_SLICE("without a serial number");
	return ft_arena_printf(&c->arena, "%.*s%s%.*s%s%.*s", FT_P(serial), model.n ? ", " : "", FT_P(model),
	                       asset.n ? ", asset " : "", FT_P(asset));
}

const char *cli_read_line(struct cli *c, const struct ft_read *r)
{
	struct ft_slice d = at(r, FT_SEG_ID5, 1), t = at(r, FT_SEG_ID5, 2);
	int64_t reads = r->facts->value[FT_EL_EA309], date;
	const char *when = "clock not set";

	if (reads == FT_ABSENT)
		reads = r->facts->value[FT_EL_EA301];
	if ((d.n == 6 || d.n == 8) && ft_slice_i64(d, &date) && date > 0) {
		const char *y = d.n == 8 ? "" : "20";
		int n = (int)d.n - 4;
		when = t.n >= 4
			? ft_arena_printf(&c->arena, "%s%.*s-%.2s-%.2s %.2s:%.2s", y, n, d.p, d.p + n, d.p + n + 2, t.p, t.p + 2)
			: ft_arena_printf(&c->arena, "%s%.*s-%.2s-%.2s", y, n, d.p, d.p + n, d.p + n + 2);
	}
	return reads == FT_ABSENT ? when : ft_arena_printf(&c->arena, "%s, read %lld", when, (long long)reads);
}

const char *cli_verdict_text(const struct cli *c, enum ft_verdict v)
{
	static const char *const plain[] = { "Shown", "Open", "Contradicted" };
	static const char *const coloured[] = { "\033[1;32mShown\033[0m", "\033[1;33mOpen\033[0m",
		                                    "\033[1;31mContradicted\033[0m" };

	return c->colour ? coloured[v] : plain[v];
}

void cli_column(struct ft_buf *out, struct ft_slice s, int width)
{
	int n = 0;

	for (size_t i = 0; i < s.n && n < width; i++) {
		unsigned char b = (unsigned char)s.p[i];
		if ((b & 0xc0) == 0x80)
			continue;
		/* bytes of no known code page would disturb the terminal */
		ft_buf_byte(out, b >= 32 && b < 127 ? b : '?');
		n++;
	}
	for (; n < width; n++)
		ft_buf_byte(out, ' ');
}

void cli_name(struct ft_buf *out, struct ft_slice s, int width)
{
	int n = 0;

	for (size_t i = 0; i < s.n && n < width; n++) {
		const size_t takes = ft_utf8_length((const unsigned char *)s.p + i, s.n - i);
		const unsigned char c = (unsigned char)s.p[i];
		if (takes > 1 && !(takes == 2 && c == 0xc2 && (unsigned char)s.p[i + 1] < 0xa0))
			ft_buf_put(out, s.p + i, takes);
		else
			ft_buf_byte(out, c >= 0x20 && c < 0x7f ? c : '?');
		i += takes ? takes : 1;
	}
	for (; n < width; n++)
		ft_buf_byte(out, ' ');
}

void cli_last(const struct cli *c, struct ft_slice name, int indent, struct ft_buf *out)
{
	enum { LONGEST = 200 };
	struct ft_buf text = { 0 };

	cli_name(&text, name, name.n < LONGEST ? (int)name.n : LONGEST);
	ft_buf_byte(&text, 0);
	if (text.status == FT_OK)
		ft_wrap(out, text.p, c->columns, indent);
	ft_buf_done(&text);
	while (out->n && out->p[out->n - 1] == ' ')
		out->n--;
	ft_buf_byte(out, '\n');
}
