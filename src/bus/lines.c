/* SPDX-License-Identifier: Apache-2.0 */
/* Which channel is the controller's line, which the peripherals', and which way up they are: found out by reading
 * every channel both ways as either line and counting the blocks that make sense. Edges are held back until then. */
#include <stdio.h>

#include "room.h"

enum {
	HELD = 1 << 16, /* edges held back at most */
	FIRST_ADDRESS = 0x08,
	BLOCK_QUIET_MS = 2, /* ours: a trial block is over after so much silence */
};

struct bus_lines {
	struct ft_bus_options o;
	struct bus_line_sink sink;
	struct bus_choice choice[FT_BUS_LINES];
	bool decided, swapped;
	uint32_t mask[FT_BUS_LINES]; /* of the chosen channel; 0: none */
	uint32_t flip[FT_BUS_LINES]; /* XORed to make active 1 */
	uint32_t state[FT_BUS_LINES];
	bool begun;
	uint32_t ignored; /* channels far too fast for this bus */
	struct ft_bus_edge *held;
	size_t count;
};

enum ft_status bus_lines_new(const struct ft_bus_options *o, struct bus_line_sink sink, struct ft_arena *a,
                             struct bus_lines **ret, struct ft_error *e)
{
	struct bus_lines *l = FT_NEW(a, struct bus_lines);

	if (l)
		l->held = ft_arena_raw(a, HELD * sizeof *l->held);
	if (!l || !l->held)
		return ft_fail_memory(e, "reading the capture");
	l->o = *o;
	l->sink = sink;
	l->choice[0].channel = l->choice[1].channel = -1;
	*ret = l;
	return FT_OK;
}

struct bus_choice bus_lines_choice(const struct bus_lines *l, enum ft_bus_line line)
{
	return l->choice[line];
}

/* ---- the trial ---- */

/* Blocks of one channel read as one of the lines: a command opens with a mode bit, an answer ends with one. */
struct trial {
	enum ft_bus_line as;
	unsigned sum, last, bytes; /* of the block so far; sum without the last byte */
	bool open, bad;
	int64_t end_ns;
	long good, wrong;
};

static void judge_block(struct trial *t)
{
	bool sums = t->bytes >= 2 && (t->sum & 0xFF) == t->last;

	if (!t->bytes)
		return;
	if (t->as == FT_BUS_PERIPHERAL && t->bytes == 1)
		sums = t->last == 0x00;
	if (t->as == FT_BUS_PERIPHERAL && t->bytes == 1 && t->last == 0xFF)
		; /* a NAK, or a byte of 0 read upside down: it speaks neither for nor against */
	else if (sums && !t->bad)
		t->good++;
	else
		t->wrong++;
	t->bytes = t->sum = t->last = 0;
	t->bad = t->open = false;
}

static void add(struct trial *t, const struct ft_bus_word *w)
{
	t->sum += t->bytes ? t->last : 0;
	t->last = w->byte;
	t->bytes++;
	t->bad |= w->kind != FT_BUS_WORD;
	t->end_ns = w->end_ns;
}

static void trial_word(void *to, const struct ft_bus_word *w)
{
	struct trial *t = to;

	if (w->kind == FT_BUS_BREAK)
		return;
	if (t->bytes && w->start_ns - t->end_ns > BLOCK_QUIET_MS * BUS_NS_PER_MS)
		judge_block(t);
	if (t->as == FT_BUS_PERIPHERAL) {
		add(t, w);
		if (w->mode)
			judge_block(t);
		return;
	}
	if (w->mode)
		judge_block(t);
	if (!w->mode && !t->bytes) {
		/* the controller's lone ACK, NAK and RET are no block; anything else is no controller's */
		t->wrong += w->byte != 0x00 && w->byte != 0xFF && w->byte != 0xAA;
		return;
	}
	add(t, w);
	t->bad |= w->mode && (w->byte < FIRST_ADDRESS);
}

static long score(const struct bus_lines *l, int channel, bool inverted, enum ft_bus_line as, long *ret_good)
{
	struct trial t = { .as = as };
	struct bus_uart u;
	uint32_t bit = UINT32_C(1) << channel;

	bus_uart_init(&u, as, &t, trial_word);
	for (size_t i = 0; i < l->count; i++) {
		bus_uart_idle(&u, l->held[i].at_ns);
		bus_uart_edge(&u, l->held[i].at_ns, !(l->held[i].levels & bit) != inverted);
	}
	if (l->count)
		bus_uart_end(&u, l->held[l->count - 1].at_ns + 2 * BUS_NS_PER_MS);
	judge_block(&t);
	*ret_good = t.good;
	return t.good - t.wrong;
}

/* The best reading of any channel that may be taken (`only` -1: any but `but`). */
static struct bus_choice best(const struct bus_lines *l, const struct bus_capture_info *info, enum ft_bus_line as,
                              int only, int but, long *ret_good)
{
	struct bus_choice found = { .channel = -1 };
	long most = 0;

	*ret_good = 0;
	for (int c = 0; c < (int)info->channel_count; c++) {
		if ((only >= 0 && c != only) || c == but || (l->ignored >> c & 1 && only < 0))
			continue;
		for (int inverted = 0; inverted < 2; inverted++) {
			long good, s;
			if (l->o.inverted[as] >= 0 && l->o.inverted[as] != inverted)
				continue;
			s = score(l, c, inverted, as, &good);
			if (s > most) {
				most = s;
				*ret_good = good;
				found = (struct bus_choice){ c, inverted };
			}
		}
	}
	return found;
}

/* ---- the choice ---- */

/* By number, or by name with or without its case. */
static enum ft_status named(const struct bus_lines *l, const struct bus_capture_info *info, const char *name, int *ret,
                            struct ft_error *e)
{
	char list[200] = "";
	size_t at = 0;
	int64_t number;

	for (size_t i = 0; i < info->channel_count; i++)
		if (ft_slice_eq_nocase(ft_slice_of(info->channels[i].name), ft_slice_of(name))) {
			*ret = (int)i;
			return FT_OK;
		}
	if (ft_slice_i64(ft_slice_of(name), &number) && number >= 0 && number < (int64_t)info->channel_count) {
		*ret = (int)number;
		return FT_OK;
	}
	for (size_t i = 0; i < info->channel_count && at + 1 < sizeof list; i++) {
		int n = snprintf(list + at, sizeof list - at, "%s%s", i ? ", " : "", info->channels[i].name);
		at += n > 0 ? (size_t)n : 0;
	}
	return ft_fail(e, FT_E_USAGE, "%s has no channel %s; it has %s.", l->o.name, name, list[0] ? list : "none");
}

/* A line without traffic is known by its name, or because nothing else is left. */
static bool bears_name(const struct bus_capture_info *info, int channel, enum ft_bus_line line)
{
	static const char *const names[FT_BUS_LINES][4] = { { "mtx", "controller", "master", "vmc" },
		                                                { "mrx", "peripheral", "slave", "answer" } };

	for (int n = 0; channel >= 0 && channel < (int)info->channel_count && n < 4; n++)
		if (ft_slice_holds(ft_slice_of(info->channels[channel].name), names[line][n]))
			return true;
	return false;
}

static int by_name(const struct bus_capture_info *info, enum ft_bus_line line, int other)
{
	int left = -1;

	for (int c = 0; c < (int)info->channel_count; c++) {
		if (c != other && bears_name(info, c, line))
			return c;
		if (c != other)
			left = c;
	}
	return other >= 0 && info->channel_count == 2 ? left : -1;
}

/* How long the channel lay high, of the time held. */
static bool rests_low(const struct bus_lines *l, int channel)
{
	int64_t high = 0, low = 0;

	for (size_t i = 0; i + 1 < l->count; i++)
		*(l->held[i].levels >> channel & 1 ? &high : &low) += l->held[i + 1].at_ns - l->held[i].at_ns;
	return low > high;
}

static bool moves(const struct bus_lines *l, int channel)
{
	for (size_t i = 1; i < l->count; i++)
		if ((l->held[i].levels ^ l->held[0].levels) >> channel & 1)
			return true;
	return false;
}

/* A flat line may be stuck at either level; only one that moves tells where it rests. */
static struct bus_choice without_traffic(const struct bus_lines *l, enum ft_bus_line line, int channel)
{
	struct bus_choice c = { .channel = channel };

	if (l->o.inverted[line] >= 0)
		c.inverted = l->o.inverted[line] == 1;
	else
		c.inverted = channel >= 0 && moves(l, channel) && rests_low(l, channel);
	return c;
}

/* Would the lines as they were given make more sense the other way round? */
static bool wrong_way(const struct bus_lines *l, const struct bus_capture_info *info)
{
	long as_given = 0, turned = 0;

	for (int line = 0; line < FT_BUS_LINES; line++) {
		long good;
		if (l->choice[line].channel < 0)
			continue;
		best(l, info, (enum ft_bus_line)line, l->choice[line].channel, -1, &good);
		as_given += good;
		best(l, info, (enum ft_bus_line) !line, l->choice[line].channel, -1, &good);
		turned += good;
	}
	return turned > 2 * as_given;
}

static void set_out(struct bus_lines *l)
{
	for (int line = 0; line < FT_BUS_LINES; line++) {
		struct bus_choice c = l->choice[line];
		l->mask[line] = c.channel < 0 ? 0 : UINT32_C(1) << c.channel;
		l->flip[line] = c.inverted ? 0 : l->mask[line];
	}
	l->decided = true;
}

static void pass(struct bus_lines *l, const struct ft_bus_edge *edges, size_t n)
{
	for (size_t i = 0; i < n; i++)
		for (int line = 0; line < FT_BUS_LINES; line++) {
			uint32_t now = (edges[i].levels ^ l->flip[line]) & l->mask[line];
			if (l->begun && now == l->state[line])
				continue;
			l->state[line] = now;
			if (l->mask[line])
				l->sink.edge(l->sink.to, (enum ft_bus_line)line, edges[i].at_ns, now != 0);
			l->begun = l->begun || line == FT_BUS_PERIPHERAL;
		}
}

static enum ft_status decide(struct bus_lines *l, const struct bus_capture_info *info, struct ft_error *e)
{
	const char *asked[FT_BUS_LINES] = { l->o.controller, l->o.peripheral };
	int given[FT_BUS_LINES] = { -1, -1 };
	bool by_traffic;
	long good;

	for (int line = 0; line < FT_BUS_LINES; line++) {
		enum ft_status s = asked[line] ? named(l, info, asked[line], &given[line], e) : FT_OK;
		if (s != FT_OK)
			return s;
	}
	if (given[0] >= 0 && given[0] == given[1])
		return ft_fail(e, FT_E_USAGE, "Controller and peripherals cannot be on the same channel %s.", asked[0]);
	for (int line = 0; line < FT_BUS_LINES; line++) {
		int other = line == FT_BUS_CONTROLLER ? given[FT_BUS_PERIPHERAL] : l->choice[FT_BUS_CONTROLLER].channel;
		l->choice[line] = best(l, info, (enum ft_bus_line)line, given[line], other, &good);
		if (l->choice[line].channel < 0 && given[line] >= 0)
			l->choice[line] = without_traffic(l, (enum ft_bus_line)line, given[line]);
	}
	by_traffic = l->choice[FT_BUS_CONTROLLER].channel >= 0;
	for (int line = 0; line < FT_BUS_LINES; line++) {
		int other = l->choice[!line].channel;
		if (l->choice[line].channel < 0)
			l->choice[line] = without_traffic(l, (enum ft_bus_line)line, by_name(info, (enum ft_bus_line)line, other));
	}
	if (given[0] >= 0 || given[1] >= 0)
		l->swapped = wrong_way(l, info);
	else /* whoever named the channels meant them the other way round */
		l->swapped = by_traffic && bears_name(info, l->choice[FT_BUS_CONTROLLER].channel, FT_BUS_PERIPHERAL) &&
			!bears_name(info, l->choice[FT_BUS_CONTROLLER].channel, FT_BUS_CONTROLLER);
	set_out(l);
	pass(l, l->held, l->count);
	l->count = 0;
	return FT_OK;
}

/* Channels on which most changes follow each other faster than any bit of this bus cannot be its lines; they are left
 * out so that they do not fill the room for those that are. */
static void leave_out_fast(struct bus_lines *l, const struct bus_capture_info *info)
{
	size_t kept = 0;

	for (size_t c = 0; c < info->channel_count; c++) {
		uint32_t bit = UINT32_C(1) << c;
		size_t changes = 0, quick = 0;
		int64_t last = INT64_MIN / 2;
		for (size_t i = 1; i < l->count; i++) {
			if (!((l->held[i].levels ^ l->held[i - 1].levels) & bit))
				continue;
			changes++;
			quick += l->held[i].at_ns - last < BUS_BIT_NS / 2;
			last = l->held[i].at_ns;
		}
		if (changes > 200 && quick > changes / 2)
			l->ignored |= bit;
	}
	for (size_t i = 0; i < l->count; i++) {
		struct ft_bus_edge x = { l->held[i].at_ns, l->held[i].levels & ~l->ignored };
		if (!kept || x.levels != l->held[kept - 1].levels)
			l->held[kept++] = x;
	}
	l->count = kept;
}

enum ft_status bus_lines_feed(struct bus_lines *l, const struct bus_capture_info *info, const struct ft_bus_edge *edges,
                              size_t n, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	while (n && !l->decided && s == FT_OK) {
		struct ft_bus_edge x = { edges->at_ns, edges->levels & ~l->ignored };
		if (!l->count || x.levels != l->held[l->count - 1].levels)
			l->held[l->count++] = x;
		edges++;
		n--;
		if (l->count < HELD)
			continue;
		leave_out_fast(l, info);
		if (l->count > HELD / 2)
			s = decide(l, info, e);
	}
	if (s == FT_OK && n)
		pass(l, edges, n);
	return s;
}

enum ft_status bus_lines_end(struct bus_lines *l, const struct bus_capture_info *info, struct ft_error *e)
{
	return l->decided ? FT_OK : decide(l, info, e);
}

bool bus_lines_swapped(const struct bus_lines *l)
{
	return l->swapped;
}
