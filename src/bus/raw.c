/* SPDX-License-Identifier: Apache-2.0 */
/* Samples at a fixed rate, one bit a channel. */
#include <stdio.h>

#include "capture.h"

struct raw {
	uint64_t samples;
	uint32_t levels, mask;
	uint8_t part[4]; /* of a sample that a portion broke off in */
	unsigned part_count;
};

/* Without overflow for any count: whole seconds first. */
static int64_t time_of(uint64_t sample, int64_t rate)
{
	uint64_t r = (uint64_t)rate;

	return (int64_t)(sample / r * (uint64_t)BUS_NS_PER_S + (sample % r * (uint64_t)BUS_NS_PER_S + r / 2) / r);
}

static enum ft_status begin(struct bus_capture *c, struct ft_error *e)
{
	struct raw *r = c->reader;

	if (c->o.raw_rate < 1 || c->o.raw_rate > INT64_C(10000000000)) /* above 10 GHz nothing samples */
		return ft_fail(e, FT_E_USAGE, "Raw samples need their rate in samples a second, at most 10000000000.");
	if (c->o.raw_unit < 1 || c->o.raw_unit > 4 || c->o.raw_channels < 1 || c->o.raw_channels > 8 * c->o.raw_unit)
		return ft_fail(e, FT_E_USAGE, "Raw samples have 1 to 4 bytes and at most eight channels a byte.");
	for (unsigned i = 0; i < c->o.raw_channels; i++) {
		char name[16];
		snprintf(name, sizeof name, "%u", i);
		bus_capture_channel(c, ft_slice_of(name));
	}
	r->mask = c->o.raw_channels == 32 ? UINT32_MAX : (1U << c->o.raw_channels) - 1;
	c->info.resolution_ns = (BUS_NS_PER_S + c->o.raw_rate - 1) / c->o.raw_rate;
	if (bus_capture_too_coarse(c->info.resolution_ns))
		return ft_fail(e, FT_E_INPUT,
		               "%s has %lld samples a second, too few for a bus of 9600 bit/s; take 100000 or more.", c->o.name,
		               (long long)c->o.raw_rate);
	return FT_OK;
}

static enum ft_status sample(struct bus_capture *c, struct raw *r, uint32_t levels, struct ft_error *e)
{
	uint64_t at = r->samples++;

	levels &= r->mask;
	if (levels == r->levels && c->begun)
		return FT_OK;
	c->begun = true;
	r->levels = levels;
	return bus_capture_edge(c, time_of(at, c->o.raw_rate), levels, e);
}

static uint32_t join(const uint8_t *p, unsigned unit)
{
	uint32_t v = 0;

	for (unsigned i = 0; i < unit; i++)
		v |= (uint32_t)p[i] << (8 * i);
	return v;
}

/* How many of the next samples equal the one before: most do, and most lie in long runs. */
static size_t same(const uint8_t *p, size_t n, unsigned unit)
{
	size_t i = 0;

	while (i + unit + 8 <= n && memcmp(p + i, p + i + unit, 8) == 0)
		i += 8;
	return i / unit;
}

static enum ft_status bytes(struct bus_capture *c, const uint8_t *p, size_t n, struct ft_error *e)
{
	struct raw *r = c->reader;
	unsigned unit = c->o.raw_unit > 0 ? c->o.raw_unit : 1; /* begin saw to it; the lint cannot know */
	enum ft_status s = FT_OK;

	while (n && r->part_count && s == FT_OK) {
		r->part[r->part_count++] = *p++;
		n--;
		if (r->part_count == unit) {
			r->part_count = 0;
			s = sample(c, r, join(r->part, unit), e);
		}
	}
	while (n >= unit && s == FT_OK) {
		size_t run;
		s = sample(c, r, join(p, unit), e);
		run = same(p, n, unit);
		r->samples += run;
		p += (run + 1) * unit;
		n -= (run + 1) * unit;
	}
	if (s == FT_OK && n) {
		memcpy(r->part, p, n);
		r->part_count = (unsigned)n;
	}
	return s;
}

static enum ft_status end(struct bus_capture *c, struct ft_error *e)
{
	struct raw *r = c->reader;

	(void)e;
	c->info.cut = r->part_count != 0;
	c->info.end_ns = time_of(r->samples, c->o.raw_rate);
	return FT_OK;
}

const struct bus_format bus_format_raw = {
	.format = FT_BUS_RAW, .reader_size = sizeof(struct raw), .begin = begin, .bytes = bytes, .end = end
};
