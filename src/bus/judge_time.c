/* SPDX-License-Identifier: Apache-2.0 */
/* Third to fifth stage: when answers come, who is there, and who starts anew. */
#include "judge.h"

typedef unsigned long long llu;

/* ---- timing ---- */

static void late(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	const struct ft_bus_times *t = &j->report->devices[address >> 3].response;
	const char *spread = "";
	struct bus_hit *h;

	if (at->overlap.n) {
		h = bus_hit(j, FT_RULE_BUS_LATE_OVERLAP, address, at->overlap.first_ns,
		            bus_judge_text(j, "%llu of %llu answers begin after the next command has begun, first at %s",
		                           (llu)at->overlap.n, (llu)(at->answers > at->overlap.n ? at->answers : at->overlap.n),
		                           bus_judge_seconds(j, at->overlap.first_ns)));
		if (at->overlap.n < BUS_LIM_FEW)
			h->weight = FT_DOUBT;
	}
	if (at->late.n == 0)
		return;
	if (t->count)
		spread =
			bus_judge_text(j, ", median %s, 95th percentile %s, longest %s", bus_judge_ms(j, ft_bus_times_at(t, 500)),
		                   bus_judge_ms(j, ft_bus_times_at(t, 950)), bus_judge_ms(j, t->max_ns));
	h = bus_hit(j, FT_RULE_BUS_LATE_ANSWER, address, at->late.first_ns,
	            bus_judge_text(j, "late %llu of %llu answers%s, first at %s", (llu)at->late.n, (llu)at->answers, spread,
	                           bus_judge_seconds(j, at->late.first_ns)));
	h->expected = "5.0 ms at most";
	if (at->late.n < BUS_LIM_FEW)
		h->weight = bus_judge_share(at->late.n, at->answers) >= BUS_LIM_RATE_PER_10000 ? FT_DOUBT : FT_NOTE;
	else if (bus_judge_share(at->late.n, at->answers) < BUS_LIM_RATE_PER_10000 / 10)
		h->weight = FT_DOUBT;
}

static void gaps(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	uint64_t n = at->gap.n + at->gap_lost.n;
	struct bus_hit *h;

	if (!j->timed || n == 0)
		return;
	h = bus_hit(j, FT_RULE_BUS_INTER_BYTE, address,
	            at->gap_lost.n && (at->gap.n == 0 || at->gap_lost.first_ns < at->gap.first_ns) ? at->gap_lost.first_ns
	                                                                                           : at->gap.first_ns,
	            bus_judge_text(j, "gaps in %llu of %llu blocks, the longest %s; %llu lost by it", (llu)n,
	                           (llu)at->blocks, bus_judge_ms(j, at->longest_gap_ns), (llu)at->gap_lost.n));
	h->expected = "1.0 ms at most; receivers give up at 5 ms";
	if (n < BUS_LIM_FEW)
		h->weight = FT_NOTE;
	else if (at->gap_lost.n >= BUS_LIM_FEW)
		h->weight = FT_FAULT;
}

static void unclosed(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	uint64_t n = at->unclosed.n + at->unclosed_late.n, data = 0;
	struct bus_hit *h;

	for (size_t k = 0; k < 8; k++)
		data += at->slots[1][k].right;
	if (n == 0)
		return;
	h = bus_hit(j, FT_RULE_BUS_UNCLOSED_ANSWER, address,
	            at->unclosed.n ? at->unclosed.first_ns : at->unclosed_late.first_ns,
	            bus_judge_text(j,
	                           "%llu of %llu data answers without ACK, NAK or RET of the controller, %llu with one "
	                           "after more than 5 ms",
	                           (llu)at->unclosed.n, (llu)(data > n ? data : n), (llu)at->unclosed_late.n));
	h->expected = "ACK within 5 ms";
	if (n < BUS_LIM_FEW || bus_judge_share(n, data) < BUS_LIM_RATE_PER_10000)
		h->weight = FT_NOTE;
}

static void pace(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	struct bus_hit *h = NULL;

	if (!j->timed || at->paces == 0)
		return;
	if (at->slow.n >= BUS_LIM_SLOW || at->slower.n || (at->slow.n >= BUS_LIM_FEW + 2 && at->slow.n * 2 > at->paces)) {
		h = bus_hit(j, FT_RULE_BUS_POLL_PERIOD, address, at->slower.n ? at->slowest_at_ns : at->slow.first_ns,
		            bus_judge_text(j,
		                           "%llu of %llu times longer than 200 ms without a command, %llu longer than the "
		                           "device may be silent itself, the longest %s",
		                           (llu)at->slow.n, (llu)at->paces, (llu)at->slower.n,
		                           bus_judge_ms(j, at->slowest_ns)));
		if (at->slower.n)
			h->weight = FT_FAULT;
		else if (at->slow.n * 100 < at->paces * BUS_LIM_SLOW_PER_100)
			h->weight = FT_NOTE;
	} else if (at->fast.n >= BUS_LIM_STORM_EXCHANGES && at->fast.n * 2 > at->poll_paces) {
		h = bus_hit(j, FT_RULE_BUS_POLL_PERIOD, address, at->fast.first_ns,
		            bus_judge_text(j, "%llu of %llu polls sooner than 25 ms after the one before", (llu)at->fast.n,
		                           (llu)at->poll_paces));
		h->todo = "nothing while all devices keep up; it is the controller's software";
	}
	if (h)
		h->expected = "25 to 200 ms from command to command";
}

static void short_break(struct bus_judge *j)
{
	struct bus_hit *h;

	if (!j->timed)
		return;
	if (j->short_breaks.n) {
		h = bus_hit(
			j, FT_RULE_BUS_SHORT_BREAK, BUS_WHOLE, j->short_breaks.first_ns,
			bus_judge_text(
				j,
				"the controller held its line active for %s, %s; some devices may take it for a reset and others not",
				bus_judge_ms(j, j->short_break_ns), bus_judge_times(j, j->short_breaks.n)));
		h->expected = "100 ms at least, or none";
	}
	if (j->short_rests.n) {
		h = bus_hit(j, FT_RULE_BUS_SHORT_BREAK, BUS_WHOLE, j->short_rests.first_ns,
		            bus_judge_text(j, "the first command %s after a reset of the bus",
		                           bus_judge_ms(j, j->short_rest_ns)));
		h->expected = "200 ms at least";
	}
}

void bus_judge_timing(struct bus_judge *j)
{
	short_break(j);
	if (j->one_line)
		return; /* what belongs together cannot be told from one line */
	gaps(j, BUS_CONTROLLER_AT);
	for (unsigned a = 0x08; a < 0x100; a += 8) {
		late(j, (uint8_t)a);
		gaps(j, (uint8_t)a);
		unclosed(j, (uint8_t)a);
		pace(j, (uint8_t)a);
	}
}

/* ---- presence ---- */

static bool long_enough(const struct bus_judge *j, uint8_t address, int64_t ns, uint64_t commands)
{
	return j->timed ? ns >= bus_judge_patience(j, j->report, address) : commands >= BUS_LIM_UNTIMED_COMMANDS;
}

/* A probe is three RESETs now and then. Who sends them without end knows that something should be there. */
static bool insists(const struct bus_judge *j, const struct bus_at *at)
{
	return j->timed && at->resets >= BUS_LIM_PROBE_RESETS &&
		at->last_ns - at->first_ns >= BUS_LIM_PROBE_S * BUS_NS_PER_S &&
		at->last_ns - at->first_ns < (int64_t)at->resets * BUS_LIM_PROBE_EACH_S * BUS_NS_PER_S;
}

static void silent(struct bus_judge *j, uint8_t address, bool others)
{
	const struct bus_at *at = bus_at(j, address);
	int64_t silence = at->last_ns - at->silent_from_ns;
	struct bus_hit *h;

	if (at->silent_run == 0)
		return;
	if (at->answered == 0 && address >= BUS_RESERVED_FROM)
		return;
	if (at->answered == 0 && at->commands == 0 && !insists(j, at))
		return; /* a probe: see probes() */
	if (at->answered == 0) {
		h = bus_hit(j, FT_RULE_BUS_SILENT_PERIPHERAL, address, at->first_ns,
		            bus_judge_text(j, "%s%s%s and no answer%s",
		                           at->commands ? bus_judge_text(j, "%llu commands", (llu)at->commands) : "",
		                           at->commands && at->resets ? " and " : "",
		                           at->resets ? bus_judge_text(j, "%llu RESETs", (llu)at->resets) : "",
		                           others ? ", while other addresses do answer" : ""));
		h->expected = "an answer within 5 ms";
		h->grade = "sure that it is silent to this controller; open why";
		if (at->commands == 0)
			h->weight = FT_DOUBT; /* some controllers look for what was never fitted as eagerly */
		if (!long_enough(j, address, at->last_ns - at->first_ns, at->exchanges)) {
			h->weight = FT_NOTE; /* it may still be starting */
			h->grade = "a hint: the capture is shorter than the time it may be silent";
		}
		return;
	}
	if (at->silent_run < BUS_LIM_FEW || !long_enough(j, address, silence, at->silent_run))
		return;
	h = bus_hit(j, FT_RULE_BUS_SILENT_PERIPHERAL, address, at->silent_from_ns,
	            bus_judge_text(j, "it answered %llu times, then not to the last %llu commands", (llu)at->answered,
	                           (llu)at->silent_run));
	h->expected = "an answer within 5 ms";
	h->alike = "a plug that was pulled while it was recorded";
}

static void missed(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);

	if (at->missed.n < BUS_LIM_FEW)
		return;
	bus_hit(j, FT_RULE_BUS_MISSED_ANSWERS, address, at->missed.first_ns,
	        bus_judge_text(j, "%llu of %llu commands without an answer", (llu)at->missed.n, (llu)at->exchanges));
}

/* Said once for all addresses. RESET alone does not tell whether anything should be there. */
static void probes(struct bus_judge *j)
{
	const char *list = NULL;
	int64_t first = INT64_MAX;
	uint64_t n = 0;

	for (unsigned a = 0x08; a < 0x100; a += 8) {
		const struct bus_at *at = bus_at(j, (uint8_t)a);
		if (at->exchanges == 0 || at->answered || at->commands || insists(j, at))
			continue;
		list = bus_judge_text(j, "%s%s%s", list ? list : "", list ? ", " : "", bus_judge_who(j, (uint8_t)a));
		first = at->first_ns < first ? at->first_ns : first;
		n += at->resets;
	}
	if (list)
		bus_hit(j, FT_RULE_BUS_PROBE_UNANSWERED, BUS_WHOLE, first,
		        bus_judge_text(j, "%llu RESETs to %s", (llu)n, list));
}

static void elsewhere(struct bus_judge *j)
{
	const struct bus_at *one = bus_at(j, BUS_READER_AT), *two = bus_at(j, BUS_READER_2_AT);
	const struct bus_hit *quiet = bus_hit_of(j, FT_RULE_BUS_SILENT_PERIPHERAL, BUS_READER_AT);
	struct bus_hit *h;

	if (one->exchanges && one->answered == 0 && two->answered && two->set.enables == 0 && !two->set.on &&
	    !two->set.set_up) {
		bus_hit(j, FT_RULE_BUS_READER_ELSEWHERE, BUS_READER_AT, one->first_ns,
		        bus_judge_text(j, "10H is called %llu times and silent; 60H answers and is not put to use",
		                       (llu)one->exchanges));
	} else if (quiet && quiet->weight > FT_NOTE && two->answered == 0) {
		h = bus_hit(j, FT_RULE_BUS_READER_ELSEWHERE, BUS_READER_AT, one->first_ns,
		            two->exchanges
		                ? "10H is silent and so is 60H: the reader may be set to device 2, with device 2 off "
		                  "in the controller"
		                : "10H is silent and 60H is never called: the reader may be set to device 2, with "
		                  "device 2 off in the controller");
		h->weight = FT_NOTE;
		h->grade = "a hint";
		h->because = FT_RULE_BUS_SILENT_PERIPHERAL;
	}
	if (one->set.enables && two->set.enables)
		bus_hit(j, FT_RULE_BUS_TWO_READERS, BUS_WHOLE, -1,
		        bus_judge_text(j, "both are enabled; %llu sales asked of 10H, %llu of 60H", (llu)one->set.asked.n,
		                       (llu)two->set.asked.n));
}

void bus_judge_presence(struct bus_judge *j)
{
	uint64_t answered = 0;

	if (j->one_line)
		return;
	for (size_t i = 1; i < FT_BUS_ADDRESSES; i++)
		answered += j->at[i].answered;
	for (unsigned a = 0x08; a < 0x100; a += 8) {
		silent(j, (uint8_t)a, answered > bus_at(j, (uint8_t)a)->answered);
		missed(j, (uint8_t)a);
	}
	probes(j);
	elsewhere(j);
}

/* ---- restarts ---- */

/* Which step of the setup was reached counts between two RESETs of the controller that nothing explains. */
static void reset_sent(struct bus_judge *j, const struct ft_bus_exchange *x)
{
	struct bus_at *at = bus_at(j, x->command.bytes[0]);

	(void)j;
	if (at->reset_once && !at->reset_excused && x->kind != FT_BUS_SILENCE) {
		bus_count(&at->resets_again, x->command.start_ns);
		if (memcmp(at->step, at->step_before, sizeof at->step) == 0 || at->resets_again.n == 1)
			at->same_step++;
		else
			at->same_step = 1;
		memcpy(at->step_before, at->step, sizeof at->step);
	}
	at->provoked = true;
	at->since_provoked = 0;
	at->reset_once = x->kind != FT_BUS_SILENCE;
	at->reset_excused = false;
	memset(at->step, 0, sizeof at->step);
}

void bus_judge_restart_exchange(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_exchange *x)
{
	const struct ft_bus_block *c = &x->command;
	uint8_t address = c->bytes[0] & 0xf8, command = c->bytes[0] & 7;
	struct bus_at *at = bus_at(j, address);

	if (address == BUS_CONTROLLER_AT || x->cut_off)
		return;
	at->worked = at->worked || at->worked_now;
	at->worked_now = x->kind == FT_BUS_ACK || x->kind == FT_BUS_DATA;
	if (at->provoked && at->worked_now && command != 0 && ++at->since_provoked > BUS_LIM_ENABLE_POLLS)
		at->provoked = false; /* it took the reset without a word: the next "was reset" is its own */
	if (command == 0) {
		reset_sent(j, x);
	} else if (command != bus_judge_poll(address) && x->kind != FT_BUS_SILENCE) {
		at->step[0] = c->bytes[0];
		at->step[1] = c->count > 2 ? c->bytes[1] : 0;
	}
	/* After a device's whole non-response time the controller has to try RESET. */
	if (at->silent_run && c->start_ns - at->silent_from_ns >= bus_judge_patience(j, r, address))
		at->reset_excused = true;
	if ((address == BUS_CHANGER_AT && (command == 5 || (command == 7 && c->count > 2 && c->bytes[1] == 2))) ||
	    (address == BUS_VALIDATOR_AT && command == 5)) {
		j->load_ns = c->start_ns;
		j->load_address = address;
	}
}

void bus_judge_restart_event(struct bus_judge *j, const struct ft_bus_report *r, const struct ft_bus_event *e)
{
	struct bus_at *at = bus_at(j, e->address);

	(void)r;
	if (e->kind == FT_BUS_EV_WAS_RESET) {
		/* The first word of a device may tell of a start before the capture. */
		if (!at->provoked && at->worked) {
			bus_count(&at->restarts, e->at_ns);
			at->restarts_loaded.n += j->load_ns >= 0 && e->at_ns - j->load_ns <= BUS_LIM_LOAD_MS * BUS_NS_PER_MS;
			at->reset_excused = true; /* the controller starts it anew for that */
		}
		at->provoked = at->worked = at->worked_now = false;
		at->missed_pending = 0;
	} else if (e->kind == FT_BUS_EV_OUT_OF_SEQUENCE || e->kind == FT_BUS_EV_SESSION_COMPLETE) {
		at->reset_excused = true; /* rows of their own */
	} else if (e->kind == FT_BUS_EV_BILL || e->kind == FT_BUS_EV_PAYOUT_DONE) {
		j->load_ns = e->at_ns;
		j->load_address = e->address;
	} else if (e->kind == FT_BUS_EV_UNKNOWN) {
		bus_count(&at->unknown, e->at_ns);
		if (at->unknown.n == 1)
			at->unknown_byte = (uint8_t)e->type;
	}
}

static void restarts(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	const char *with = "";
	struct bus_hit *h;

	if (at->restarts.n == 0)
		return;
	if (at->restarts_loaded.n * 2 > at->restarts.n)
		with = bus_judge_text(j, ", %llu of them within 2 s of payout or transport: a hint at the supply",
		                      (llu)at->restarts_loaded.n);
	h = bus_hit(j, FT_RULE_BUS_RESET_LOOP, address, at->restarts.first_ns,
	            bus_judge_text(j, "it said %s that it was reset, with neither RESET nor a reset of the bus before%s",
	                           bus_judge_times(j, at->restarts.n), with));
	h->expected = "only after a reset by the controller";
	if (at->restarts.n < BUS_LIM_RESTARTS)
		h->weight = FT_NOTE;
}

static void resets(struct bus_judge *j, uint8_t address)
{
	const struct bus_at *at = bus_at(j, address);
	const char *name;

	if (at->resets_again.n + 1 < BUS_LIM_SAME_STEP || at->same_step + 1 < BUS_LIM_SAME_STEP)
		return;
	name = at->step_before[0] ? ft_bus_command_word(at->step_before, 2) : "RESET";
	bus_hit(j, FT_RULE_BUS_RESET_BY_CONTROLLER, address, at->resets_again.first_ns,
	        bus_judge_text(j, "%llu RESETs that it acknowledged; the last step each time: %s",
	                       (llu)(at->resets_again.n + 1), name ? name : "RESET"));
}

void bus_judge_restarts(struct bus_judge *j)
{
	struct bus_hit *h;

	if (j->breaks.n + 1 >= BUS_LIM_BREAKS && j->timed) {
		h = bus_hit(j, FT_RULE_BUS_BREAK, BUS_WHOLE, j->breaks.first_ns,
		            bus_judge_text(j, "%llu resets of the bus", (llu)j->breaks.n));
		h->expected = "one, at power-up";
		if (j->breaks.n < BUS_LIM_BREAKS)
			h->weight = j->switched ? FT_NOTE : FT_DOUBT; /* off and on again by hand */
	}
	for (unsigned a = 0x08; a < 0x100; a += 8) {
		const struct bus_setting *s = &bus_at(j, (uint8_t)a)->set;
		restarts(j, (uint8_t)a);
		resets(j, (uint8_t)a);
		if (s->sequence.n) {
			const char *state = ft_bus_state_word((enum ft_bus_state)(s->sequence_state > 0 ? s->sequence_state : 0));
			bus_hit(j, FT_RULE_BUS_OUT_OF_SEQUENCE, (uint8_t)a, s->sequence.first_ns,
			        bus_judge_text(j, "it answered 0B %s, the first after %s%s%s", bus_judge_times(j, s->sequence.n),
			                       s->sequence_command[0] ? ft_bus_command_word(s->sequence_command, 2) : "a poll",
			                       state ? ", in state " : "", state ? state : ""));
		}
		if (s->end_missing.n)
			bus_hit(j, FT_RULE_BUS_END_SESSION_MISSING, (uint8_t)a, s->end_missing.first_ns,
			        bus_judge_text(j, "no END SESSION after SESSION COMPLETE, %s",
			                       bus_judge_times(j, s->end_missing.n)));
	}
}
