/* SPDX-License-Identifier: Apache-2.0 */
/* First and second stage: can the capture be trusted, is the bus alive, and what its wires do. */
#include "judge.h"

typedef unsigned long long llu;

static uint64_t all_answers(const struct bus_judge *j)
{
	uint64_t n = 0;

	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++)
		n += j->at[i].answered;
	return n;
}

static int64_t span_of(const struct bus_judge *j)
{
	return j->report->end_ns - j->report->start_ns;
}

static bool from_levels(const struct bus_judge *j)
{
	return j->report->format != FT_BUS_WORDS && j->report->format != FT_BUS_UNKNOWN;
}

/* ---- capture tool ---- */

/* An 8N1 receiver takes the mode bit for the stop bit, so exactly the words with mode bit 0 are wrong, and
 * no word is both sound and without the bit. One that drops the bit shows none at all. */
static void ninth_bit(struct bus_judge *j)
{
	const struct bus_line_count *c = &j->lines[FT_BUS_CONTROLLER], *p = &j->lines[FT_BUS_PERIPHERAL];
	uint64_t words = c->words + p->words, bad0 = c->kinds[1][0] + p->kinds[1][0],
			 bad1 = c->kinds[1][1] + p->kinds[1][1];
	uint64_t good0 = c->kinds[0][0] + p->kinds[0][0], good1 = c->kinds[0][1] + p->kinds[0][1];
	bool one_kind = bus_judge_share(good0 < good1 ? good0 : good1, words) <= 2 * BUS_LIM_RATE_PER_10000;

	if (words < BUS_LIM_STORM_EXCHANGES)
		return;
	if (one_kind && bus_judge_share(bad1, words) <= BUS_LIM_RATE_PER_10000 && c->kinds[1][0] * 10 >= c->words * 4 &&
	    good0 + good1)
		bus_hit(j, FT_RULE_BUS_CAPTURE_8N1, BUS_WHOLE, c->first_ns,
		        bus_judge_text(j,
		                       "%llu of %llu words have a wrong stop bit, all of them where the mode bit is 0; %llu "
		                       "are sound, and they are the ones that carry a mode bit",
		                       (llu)bad0, (llu)words, (llu)(good0 + good1)))
			->expected = "nine data bits, and sound words with and without the mode bit";
	else if (good1 == 0 && bus_judge_share(bad0, words) <= BUS_LIM_RATE_PER_10000 * 5)
		bus_hit(j, FT_RULE_BUS_NO_NINTH_BIT, BUS_WHOLE, c->first_ns,
		        bus_judge_text(j, "none of %llu words carries a mode bit", (llu)words))
			->expected = "a mode bit on the first byte of each command";
}

static void swapped(struct bus_judge *j)
{
	const struct bus_line_count *c = &j->lines[FT_BUS_CONTROLLER], *p = &j->lines[FT_BUS_PERIPHERAL];
	struct bus_hit *h;

	if (j->report->swapped || (p->like_command >= BUS_LIM_FEW + 2 && c->like_command * 20 < p->like_command)) {
		bool mirrored = p->like_command > c->like_command; /* read as they were given; else they were turned */
		bool answers = mirrored ? c->words > 0 : all_answers(j) > 0;
		h = bus_hit(
			j, FT_RULE_BUS_LINES_SWAPPED, BUS_WHOLE, p->first_ns,
			mirrored
				? bus_judge_text(j, "%llu polls on the line of the answers, %llu on that of the commands",
		                         (llu)p->like_command, (llu)c->like_command)
				: bus_judge_text(
					  j, "the commands come on the channel that is named for the answers; %llu answers on the other",
					  (llu)all_answers(j)));
		h->expected = "commands on the controller's line only";
		if (answers) {
			h->weight = mirrored ? FT_DOUBT : FT_NOTE; /* the tap only: the bus works */
			h->todo = "swap the two channels of the tap, or name them the other way round";
		} else {
			h->todo = "see whether the two channels of the tap are swapped; if they are not, pins 4 and 5 are crossed "
					  "in the harness: put them right";
		}
	} else if (p->like_command >= BUS_LIM_FEW + 2 &&
	           bus_judge_share(p->like_command, c->like_command) > 10 * BUS_LIM_RATE_PER_10000) {
		bus_hit(j, FT_RULE_BUS_TWO_CONTROLLERS, BUS_WHOLE, p->first_ns,
		        bus_judge_text(j, "%llu polls on the line of the answers besides %llu on that of the commands",
		                       (llu)p->like_command, (llu)c->like_command));
	}
}

static void cannot_show(struct bus_judge *j)
{
	const struct ft_bus_report *r = j->report;
	const char *what = NULL;

	if (!j->timed)
		what = "answer times, gaps and bit rates, as its times are those of a computer and not of the bus; only "
			   "what the order of words proves is judged";
	else if (r->resolution_ns > BUS_LIM_STAMP_US * BUS_NS_PER_US)
		what = bus_judge_text(j, "answer times and gaps, as its time stamps are %s apart",
		                      bus_judge_ms(j, r->resolution_ns));
	if (r->cut)
		what = bus_judge_text(j, "%s%swhat came after its end, as the file breaks off", what ? what : "",
		                      what ? "; " : "");
	if (what)
		bus_hit(j, FT_RULE_BUS_CANNOT_SHOW, BUS_WHOLE, -1, what);
}

void bus_judge_tool(struct bus_judge *j)
{
	const struct ft_bus_report *r = j->report;
	struct bus_hit *h;

	j->one_line = from_levels(j) && !r->lines[FT_BUS_CONTROLLER].channel != !r->lines[FT_BUS_PERIPHERAL].channel;
	if (j->lines[FT_BUS_CONTROLLER].words + j->lines[FT_BUS_PERIPHERAL].words == 0) {
		h = bus_hit(j, FT_RULE_BUS_NO_TRAFFIC, BUS_WHOLE, r->start_ns,
		            bus_judge_text(j, "no word in %s", bus_judge_seconds(j, span_of(j))));
		if (!j->timed || span_of(j) < BUS_LIM_IDLE_S * BUS_NS_PER_S)
			h->weight = FT_DOUBT;
		cannot_show(j);
		return;
	}
	ninth_bit(j);
	swapped(j);
	if (j->one_line)
		bus_hit(j, FT_RULE_BUS_ONE_LINE_ONLY, BUS_WHOLE, -1,
		        r->lines[FT_BUS_PERIPHERAL].channel == NULL
		            ? "commands only: who answers, how fast and what it says cannot be shown"
		            : "answers only: what was asked cannot be shown");
	cannot_show(j);
}

/* ---- bus alive ---- */

static void controller_silent(struct bus_judge *j)
{
	const struct bus_line_count *c = &j->lines[FT_BUS_CONTROLLER];
	int64_t limit = BUS_LIM_IDLE_S * BUS_NS_PER_S, end = j->report->end_ns;
	struct bus_hit *h;

	if (j->one_line && j->report->lines[FT_BUS_CONTROLLER].channel == NULL)
		return;
	if (c->words == 0) {
		h = bus_hit(j, FT_RULE_BUS_CONTROLLER_SILENT, BUS_WHOLE, j->report->start_ns,
		            bus_judge_text(j, "no command in %s", bus_judge_seconds(j, span_of(j))));
		if (!j->timed || span_of(j) < limit)
			h->weight = FT_DOUBT;
	} else if (j->timed && end - c->last_ns > limit) {
		bus_hit(j, FT_RULE_BUS_CONTROLLER_SILENT, BUS_WHOLE, c->last_ns,
		        bus_judge_text(j, "no command any more for the last %s", bus_judge_seconds(j, end - c->last_ns)));
	} else if (j->timed && c->gap_ns > limit && !c->gap_broken) {
		bus_hit(j, FT_RULE_BUS_CONTROLLER_SILENT, BUS_WHOLE, c->gap_from_ns,
		        bus_judge_text(j, "no command for %s, then it went on", bus_judge_seconds(j, c->gap_ns)))
			->weight = FT_DOUBT;
	}
}

static void stuck(struct bus_judge *j, enum ft_bus_line line, int64_t limit_ns)
{
	const struct ft_bus_line_report *l = &j->report->lines[line];
	const struct bus_line_count *c = &j->lines[line];
	const char *which =
		line == FT_BUS_CONTROLLER ? "the line of the commands (pin 5)" : "the line of the answers (pin 4)";

	if (l->flat && l->flat_low)
		bus_hit(j, FT_RULE_BUS_LINE_STUCK, BUS_WHOLE, j->report->start_ns,
		        bus_judge_text(j, "%s lies at its active level through the whole capture", which));
	else if (j->timed && c->active_ns >= limit_ns)
		bus_hit(j, FT_RULE_BUS_LINE_STUCK, BUS_WHOLE, c->active_from_ns,
		        bus_judge_text(j, "%s lay at its active level for %s without end", which,
		                       bus_judge_seconds(j, c->active_ns)));
}

static void nobody(struct bus_judge *j)
{
	uint64_t asked = 0;
	unsigned addresses = 0;
	int64_t first = INT64_MAX;
	struct bus_hit *h;
	bool lasts;

	if (j->one_line || all_answers(j))
		return;
	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++) {
		const struct bus_at *at = &j->at[i];
		asked += at->exchanges;
		addresses += at->exchanges > 0;
		if (at->exchanges && at->first_ns < first)
			first = at->first_ns;
	}
	if (asked < BUS_LIM_ALIVE_COMMANDS)
		return;
	/* After a reset of the bus all may be silent within their non-response times. */
	lasts = j->timed ? j->report->end_ns - first >= BUS_LIM_OTHER_SILENT_MS * BUS_NS_PER_MS
					 : asked >= BUS_LIM_UNTIMED_COMMANDS;
	h = bus_hit(j, FT_RULE_BUS_NOBODY_ANSWERS, BUS_WHOLE, first,
	            bus_judge_text(j, "%llu commands to %u address%s and no answer", (llu)asked, addresses,
	                           addresses == 1 ? "" : "es"));
	h->expected = "an answer of each device that is fitted";
	h->grade = "sure that nobody answers; open why";
	if (!lasts) {
		h->weight = FT_NOTE;
		h->grade = "a hint: the capture is shorter than the time devices may need to start";
	}
}

void bus_judge_alive(struct bus_judge *j)
{
	controller_silent(j);
	stuck(j, FT_BUS_PERIPHERAL, BUS_LIM_BREAK_US * BUS_NS_PER_US);
	stuck(j, FT_BUS_CONTROLLER, BUS_LIM_IDLE_S * BUS_NS_PER_S);
	nobody(j);
}

/* ---- electrical ---- */

static int64_t rate_of(const struct bus_at *at)
{
	return at->span_bits >= BUS_LIM_BAUD_BITS ? ft_bus_baud(at->span_ns, at->span_bits) : 0;
}

static struct bus_hit *baud_hit(struct bus_judge *j, uint8_t address, int64_t rate, const char *more)
{
	int64_t off = (rate - 9600) * 1000 / 96, /* thousandths of a per cent */
		tenths = ((off < 0 ? -off : off) + 50) / 100;
	struct bus_hit *h =
		bus_hit(j, FT_RULE_BUS_BAUD, address, -1,
	            bus_judge_text(j, "%lld bit/s, %lld.%lld %% too %s%s", (long long)rate, (long long)(tenths / 10),
	                           (long long)(tenths % 10), off < 0 ? "slow" : "fast", more));
	h->expected = "9408 to 9696 bit/s";
	return h;
}

static void baud(struct bus_judge *j)
{
	int64_t low = INT64_MAX, high = 0, own = rate_of(&j->at[BUS_CONTROLLER_AT]);
	unsigned senders = 0, off = 0;

	if (!j->timed || j->report->resolution_ns > BUS_LIM_BAUD_STAMP_US * BUS_NS_PER_US)
		return;
	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		int64_t rate = rate_of(&j->at[i]);
		if (rate == 0)
			continue;
		senders++;
		off += rate < BUS_LIM_BAUD_LOW || rate > BUS_LIM_BAUD_HIGH;
		low = rate < low ? rate : low;
		high = rate > high ? rate : high;
	}
	if (off == senders && senders >= 3 && (high - low) * 200 < high) {
		struct bus_hit *h = baud_hit(j, BUS_WHOLE, (low + high) / 2, ", the same for all senders");
		h->weight = FT_DOUBT;
		h->grade = "a hint";
		h->todo = "suspect the logic analyser's own clock first: record with another one";
		return;
	}
	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		int64_t rate = rate_of(&j->at[i]);
		uint8_t address = (uint8_t)(i << 3);
		if (rate && (rate < BUS_LIM_BAUD_LOW || rate > BUS_LIM_BAUD_HIGH))
			baud_hit(j, address, rate, "");
		if (rate && own && i && (rate > own ? rate - own : own - rate) * 1000000 > own * BUS_LIM_BAUD_APART_PPM)
			bus_hit(j, FT_RULE_BUS_BAUD_APART, address, -1,
			        bus_judge_text(j, "%lld bit/s against the controller's %lld", (long long)rate, (long long)own))
				->because = FT_RULE_BUS_BAUD;
	}
}

static bool constant(const struct bus_slot *s)
{
	return s->wrong >= BUS_LIM_FEW && s->same * 10 >= s->wrong * 9 && (s->right == 0 || s->same >= BUS_LIM_FEW + 2);
}

/* What a sender does that counts the command's first byte into its sum, or leaves it out. */
static uint8_t by_first_byte(uint8_t address, unsigned command, bool answer)
{
	uint8_t first = (uint8_t)(address + command);

	return answer ? first : (uint8_t)(0x100 - first);
}

/* Blocks that are wrong by that; 0 where others are wrong otherwise. */
static uint64_t first_byte_errors(const struct bus_at *at, uint8_t address, bool answer)
{
	uint64_t n = 0;

	for (unsigned k = 0; k < 8; k++) {
		const struct bus_slot *s = &at->slots[answer][k];
		if (s->wrong && (s->delta != by_first_byte(address, k, answer) || s->same != s->wrong))
			return 0;
		n += s->wrong;
	}
	return n;
}

/* One amount for all of a device's long answers is software; two devices over each other give several. */
static bool all_constant(const struct bus_at *at, uint8_t address)
{
	int delta = -1;

	if (at->framing.n)
		return false;
	if (first_byte_errors(at, address, true) >= BUS_LIM_FEW)
		return true;
	for (size_t i = 0; i < 8; i++) {
		const struct bus_slot *s = &at->slots[1][i];
		if (s->wrong && (!constant(s) || (delta >= 0 && delta != s->delta)))
			return false;
		if (s->wrong)
			delta = s->delta;
	}
	return delta >= 0;
}

static void clash(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	struct bus_hit *h = NULL;

	if (at->identity_changes >= 1) {
		h = bus_hit(j, FT_RULE_BUS_ADDRESS_CLASH, address, at->identity_changed_ns,
		            bus_judge_text(j, "two identities in turn, %.3s %.12s and %.3s %.12s, %u change%s",
		                           (const char *)at->identity_other, (const char *)at->identity_other + 3,
		                           (const char *)at->identity, (const char *)at->identity + 3, at->identity_changes,
		                           at->identity_changes == 1 ? "" : "s"));
		h->grade = at->identity_changes >= 2 ? "nearly sure" : "likely";
		h->weight = at->identity_changes >= 2 ? FT_FAULT : FT_DOUBT;
		h->alike = at->identity_changes >= 2 ? NULL : "a device that was exchanged while it was recorded";
	} else if (at->past_last.n >= BUS_LIM_FEW - 1 &&
	           bus_judge_share(at->past_last.n, at->answers) > BUS_LIM_RATE_PER_10000) {
		h = bus_hit(j, FT_RULE_BUS_ADDRESS_CLASH, address, at->past_last.first_ns,
		            bus_judge_text(j, "%llu answers go on after their last byte, the first: %s", (llu)at->past_last.n,
		                           bus_judge_bytes(j, at->past_last_block.bytes, at->past_last_block.count, SIZE_MAX)));
		h->grade = "nearly sure";
		h->alike = "a tool that loses mode bits or adds them";
	} else if (at->long_wrong >= BUS_LIM_FEW && at->long_right * 9 <= at->long_wrong &&
	           at->short_right >= BUS_LIM_ALIVE_COMMANDS && !all_constant(at, address) &&
	           rate_of(at) <= BUS_LIM_BAUD_HIGH && (rate_of(at) == 0 || rate_of(at) >= BUS_LIM_BAUD_LOW)) {
		h = bus_hit(j, FT_RULE_BUS_ADDRESS_CLASH, address, at->checksum.first_ns,
		            bus_judge_text(j, "%llu of %llu long answers are wrong while %llu short ones are right",
		                           (llu)at->long_wrong, (llu)(at->long_wrong + at->long_right), (llu)at->short_right));
		h->alike = "noise or a bad driver";
		h->weight = FT_DOUBT;
	}
	if (h)
		h->expected = "one device at one address";
}

static void constants(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);

	for (unsigned answer = 0; answer < 2; answer++) {
		uint64_t n = first_byte_errors(at, address, answer);
		if (n >= BUS_LIM_FEW) {
			bus_hit(j, FT_RULE_BUS_CONSTANT_CHECKSUM, address, at->checksum.n ? at->checksum.first_ns : -1,
			        bus_judge_text(j, "the check byte of %llu %s is wrong as if the command's first byte were %s",
			                       (llu)n, answer ? "answers" : "commands",
			                       answer ? "counted in" : "left out of the sum"));
			continue;
		}
		for (unsigned k = 0; k < 8; k++) {
			const struct bus_slot *s = &at->slots[answer][k];
			if (constant(s))
				bus_hit(j, FT_RULE_BUS_CONSTANT_CHECKSUM, address, at->checksum.n ? at->checksum.first_ns : -1,
				        bus_judge_text(j, "the check byte of %llu of %llu %s %02XH is %02XH too high", (llu)s->same,
				                       (llu)(s->right + s->wrong), answer ? "answers to" : "commands", address + k,
				                       s->delta));
		}
	}
}

static const char *share_text(struct bus_judge *j, uint64_t n, uint64_t of, const char *what)
{
	uint64_t per = bus_judge_share(n, of);

	return bus_judge_text(j, "%llu of %llu %s (%llu.%02llu %%)", (llu)n, (llu)of, what, (llu)(per / 100),
	                      (llu)(per % 100));
}

/* A share of blocks: above one in a hundred, and more than chance, it weighs; below it is a note. */
static struct bus_hit *by_share(struct bus_judge *j, enum ft_rule_id rule, uint8_t address, const struct bus_tally *t,
                                uint64_t of, const char *what)
{
	struct bus_hit *h;
	uint64_t per = bus_judge_share(t->n, of > t->n ? of : t->n);

	if (t->n == 0 || (t->n < BUS_LIM_FEW && per < BUS_LIM_IGNORE_PER_10000))
		return NULL;
	h = bus_hit(j, rule, address, t->first_ns, share_text(j, t->n, of > t->n ? of : t->n, what));
	if (t->n < BUS_LIM_FEW || per < BUS_LIM_RATE_PER_10000)
		h->weight = FT_NOTE;
	return h;
}

static void with_block(struct bus_judge *j, struct bus_hit *h, const struct bus_proof *p)
{
	if (h && p->count)
		h->seen = bus_judge_text(j, "%s, the first: %s", h->seen, bus_judge_bytes(j, p->bytes, p->count, SIZE_MAX));
}

static bool much(const struct bus_tally *t, uint64_t of)
{
	return t->n >= BUS_LIM_FEW && bus_judge_share(t->n, of) >= BUS_LIM_RATE_PER_10000;
}

/* Errors of one kind by sender; where several senders have them, one finding for the whole bus stands above:
 * noise, the common or the tap. */
static void errors(struct bus_judge *j, enum ft_rule_id rule, const struct bus_tally *(*tally)(const struct bus_at *),
                   uint64_t (*of)(const struct bus_at *))
{
	uint64_t bad = 0, blocks = 0;
	int64_t first = INT64_MAX;
	unsigned over = 0;
	struct bus_hit *h;

	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct bus_at *at = &j->at[i];
		if (!much(tally(at), of(at)))
			continue;
		over += i == BUS_CONTROLLER_AT ? 2 : 1;
		bad += tally(at)->n;
		blocks += of(at);
		first = tally(at)->first_ns < first ? tally(at)->first_ns : first;
	}
	if (over >= 3) {
		h = bus_hit(j, rule, BUS_WHOLE, first,
		            bus_judge_text(j, "%s, of more than one sender: noise, the common or the tap",
		                           share_text(j, bad, blocks, "blocks")));
		h->grade = "sure that they are wrong; likely as to the cause";
	}
	for (size_t i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct bus_at *at = &j->at[i];
		h = by_share(j, rule, (uint8_t)(i << 3), tally(at), of(at), i == BUS_CONTROLLER_AT ? "commands" : "answers");
		if (h && rule == FT_RULE_BUS_CHECKSUM)
			with_block(j, h, &at->checksum_block);
		if (h && over >= 3 && much(tally(at), of(at)))
			h->because = rule;
	}
}

static const struct bus_tally *checksum_of(const struct bus_at *at)
{
	return &at->checksum;
}

static uint64_t checked_of(const struct bus_at *at)
{
	return at->checked;
}

static const struct bus_tally *framing_of(const struct bus_at *at)
{
	return &at->framing;
}

static uint64_t blocks_of(const struct bus_at *at)
{
	return at->blocks;
}

/* The controller's wrong commands are all to a device for which it is always wrong by the same. */
static void explain_commands(struct bus_judge *j)
{
	uint64_t explained = 0;

	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++)
		for (size_t k = 0; k < 8; k++)
			explained += constant(&j->at[i].slots[0][k]) ? j->at[i].slots[0][k].same : 0;
	for (size_t i = 0; i < j->hit_count; i++)
		if (j->hits[i].rule == FT_RULE_BUS_CHECKSUM && j->hits[i].address == BUS_CONTROLLER_AT && explained &&
		    explained + BUS_LIM_FEW > j->at[BUS_CONTROLLER_AT].checksum.n)
			j->hits[i].because = FT_RULE_BUS_CONSTANT_CHECKSUM;
}

static void refusals(struct bus_judge *j, uint8_t address, enum ft_rule_id rule, const struct bus_tally *t, uint64_t of,
                     unsigned most, const char *what, uint64_t sound)
{
	uint64_t share = bus_judge_share(t->n, of);
	bool often = t->n >= BUS_LIM_FEW &&
		(of >= BUS_LIM_STORM_EXCHANGES ? share >= BUS_LIM_RATE_PER_10000 : share >= 10 * BUS_LIM_RATE_PER_10000);

	if (often || most >= BUS_LIM_STORM_ROW)
		bus_hit(j, rule, address, t->first_ns,
		        bus_judge_text(j, "%s, %u in a row at most; %llu of them sound at the tap",
		                       share_text(j, t->n, of, what), most, (llu)sound));
}

void bus_judge_electrical(struct bus_judge *j)
{
	struct bus_hit *h;

	baud(j);
	errors(j, FT_RULE_BUS_FRAMING, framing_of, blocks_of);
	errors(j, FT_RULE_BUS_CHECKSUM, checksum_of, checked_of);
	explain_commands(j);
	if (j->one_line)
		return; /* what belongs together cannot be told from one line */
	for (unsigned a = 0; a < 0x100; a += 8) {
		const struct bus_at *at = bus_at(j, (uint8_t)a);
		const char *what = a == BUS_CONTROLLER_AT ? "commands" : "answers";
		with_block(j, by_share(j, FT_RULE_BUS_MODE_BIT, (uint8_t)a, &at->mode, at->blocks, what), &at->mode_block);
		h = by_share(j, FT_RULE_BUS_BLOCK_TOO_LONG, (uint8_t)a, &at->too_long, at->blocks, what);
		if (h)
			h->expected = "36 bytes at most";
		if (a == BUS_CONTROLLER_AT)
			continue;
		clash(j, (uint8_t)a);
		constants(j, (uint8_t)a);
		refusals(j, (uint8_t)a, FT_RULE_BUS_NAK_STORM, &at->nak, at->exchanges, at->nak_row_max,
		         "commands refused by the device", at->nak_heard);
		refusals(j, (uint8_t)a, FT_RULE_BUS_NAK_STORM, &at->closed_nak, at->data, at->closed_nak_row_max,
		         "answers refused by the controller", at->closed_nak_heard);
		refusals(j, (uint8_t)a, FT_RULE_BUS_RET_STORM, &at->ret, at->data, at->ret_row_max, "answers asked for again",
		         at->ret_heard);
	}
}
