/* SPDX-License-Identifier: Apache-2.0 */
/* The audit as the machine sends it: envelope, check value, and the readings that count themselves. */
#include "writer.h"

#include <stdio.h>

#include "fettle/crc.h"
#include "fettle/time.h"

void put(struct writer *w, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	ft_buf_vprintf(w->out, format, args);
	va_end(args);
	ft_buf_puts(w->out, "\r\n");
	w->segments++;
}

const char *put_date(const struct writer *w, int64_t at_s, bool known, char to[DATE_ROOM])
{
	struct ft_civil c = ft_civil_of(at_s * FT_SECOND, 0);
	bool wide = w->p->dialect == EURO_HOT;

	if (!known)
		snprintf(to, DATE_ROOM, "%s", wide ? "00000000" : "000000");
	else if (wide)
		snprintf(to, DATE_ROOM, "%04u%02u%02u", (unsigned)c.year % 10000U, (unsigned)c.month % 100U,
		         (unsigned)c.day % 100U);
	else
		snprintf(to, DATE_ROOM, "%02u%02u%02u", (unsigned)c.year % 100U, (unsigned)c.month % 100U,
		         (unsigned)c.day % 100U);
	return to;
}

const char *put_time(const struct writer *w, int64_t at_s, bool known, char to[DATE_ROOM])
{
	struct ft_civil c = ft_civil_of(at_s * FT_SECOND, 0);
	bool wide = w->p->dialect == EURO_HOT;

	if (!known)
		snprintf(to, DATE_ROOM, "%s", wide ? "000000" : "0000");
	else if (wide)
		snprintf(to, DATE_ROOM, "%02u%02u%02u", (unsigned)c.hour % 100U, (unsigned)c.minute % 100U,
		         (unsigned)c.second % 100U);
	else
		snprintf(to, DATE_ROOM, "%02u%02u", (unsigned)c.hour % 100U, (unsigned)c.minute % 100U);
	return to;
}

/* Meters hold nothing but int64_t: the difference is taken member by member. */
static void difference(const struct meters *a, const struct meters *b, struct meters *ret)
{
	const int64_t *x = (const int64_t *)a, *y = (const int64_t *)b;
	int64_t *d = (int64_t *)ret;

	_Static_assert(sizeof(struct meters) % sizeof(int64_t) == 0, "meters are int64_t throughout");
	for (size_t i = 0; i < sizeof *a / sizeof *x; i++)
		d[i] = x[i] - y[i];
}

static void envelope(struct writer *w, size_t from)
{
	static const char *const versions[DIALECTS] = { "V0/6", "V1/0", "V0/6" };
	struct ft_practice *p = w->p;
	size_t set, end;
	uint16_t crc;

	put(w, "DXS*%s*VA*%s*1", p->sender, versions[p->dialect]);
	set = w->out->n;
	w->segments = 0;
	put(w, "ST*001*0001");
	practice_dialects[p->dialect](w);
	crc = ft_crc16(0, w->out->p + set, w->out->n - set);
	if (faulty(p, FAULT_WRONG_CHECKSUM)) {
		uint16_t right = crc;
		do /* a value that fits in neither order of its digits */
			crc = (uint16_t)(crc * 5U + 0x1357U);
		while (crc == right || crc == (uint16_t)(right << 8 | right >> 8));
	}
	if (p->low_digit_first)
		crc = (uint16_t)(crc << 8 | crc >> 8);
	put(w, "G85*%04X", (unsigned)crc);
	put(w, "SE*%d*0001", w->segments + 1);
	put(w, "DXE*1*1");
	end = w->out->n - from;
	if (faulty(p, FAULT_CUT_SHORT) && w->out->status == FT_OK) {
		const struct fault_state *f = &p->faults[FAULT_CUT_SHORT];
		size_t keep = f->a > 0 ? (size_t)f->a : end * (size_t)f->b / 1000;
		w->out->n = from + (keep < end ? keep : end);
	}
}

void practice_write(struct ft_practice *p, const struct meters *m, struct ft_slice reader, struct ft_buf *out)
{
	struct writer w = { .p = p, .m = m, .reader = reader, .out = out };

	difference(m, &p->base, &w.r);
	envelope(&w, out->n);
}

/* What a foreign identity may put into an element: plain text, cut to what the machine remembers. */
static void tame(struct ft_slice reader, char to[ID_ROOM])
{
	size_t n = 0;

	for (size_t i = 0; i < reader.n && n + 1 < ID_ROOM; i++)
		if (reader.p[i] > 0x20 && reader.p[i] < 0x7f && reader.p[i] != '*')
			to[n++] = reader.p[i];
	to[n] = 0;
}

enum ft_status ft_practice_audit(struct ft_practice *p, struct ft_slice reader, struct ft_buf *out, struct ft_error *e)
{
	char who[ID_ROOM];

	tame(reader, who);
	practice_write(p, &p->meters, ft_slice_of(who), out);
	return out->status == FT_OK ? FT_OK : ft_fail_memory(e, "writing the practice machine's audit");
}

enum ft_status ft_practice_read_begin(struct ft_practice *p, unsigned slot, struct ft_slice reader,
                                      struct ft_slice *ret_bytes, struct ft_error *e)
{
	struct reading *r = &p->readings[slot % SLOTS];

	tame(reader, r->reader);
	ft_buf_clear(&r->bytes);
	r->meters = p->meters;
	r->at_s = p->now_s;
	practice_write(p, &r->meters, ft_slice_of(r->reader), &r->bytes);
	if (r->bytes.status != FT_OK)
		return ft_fail_memory(e, "writing the practice machine's audit");
	r->open = true;
	*ret_bytes = ft_buf_text(&r->bytes);
	return FT_OK;
}

void ft_practice_read_end(struct ft_practice *p, unsigned slot, bool whole)
{
	struct reading *r = &p->readings[slot % SLOTS];

	if (!r->open)
		return;
	r->open = false;
	if (!whole) {
		practice_tell(p, FT_PRACTICE_READ, "A read was broken off; the machine does not count it.");
		return;
	}
	p->reads++;
	if (p->reset_at_read) { /* to what was sent, so that a sale made meanwhile stays in the new interval */
		p->base = r->meters;
		p->resets++;
		p->reads_with_reset++;
	}
	p->read_at_s = r->at_s;
	p->read_dated = p->clock_known;
	memcpy(p->read_by, r->reader, sizeof p->read_by);
	practice_tell(p, FT_PRACTICE_READ, "The audit was read%s%s; %lld reads so far%s.", *r->reader ? " by " : "",
	              r->reader, (long long)p->reads, p->reset_at_read ? ", the interval meters are reset" : "")
		->amount = (int64_t)r->bytes.n;
	practice_time(p, 10, 1);
}
