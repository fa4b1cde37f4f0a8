/* SPDX-License-Identifier: Apache-2.0 */
/* The practice machine's bus read by the bus room: clean play gives no finding above a note and exactly the
 * true sales and money; each bus fault is found by the rule it is for; damage invents nothing. */
#include "unit.h"

#include <stdio.h>

#include "bus_play.h"
#include "fettle/bus_wave.h"
#include "fettle/finding.h"

/* One reading of a tap. */
struct reading {
	struct ft_arena arena;
	struct ft_findings findings;
	struct ft_bus *bus;
	const struct ft_bus_report *report;
	struct ft_error error;
	struct ft_bus_wave *wave; /* NULL: words are handed over as they are */
	struct ft_buf vcd;
	/* damage */
	unsigned damage_per_mille;
	uint32_t random;
	int64_t spare_until_ns; /* the setup stays whole: without it no sum has a scale */
	uint64_t words, damaged;
	/* the true exchange going on, and the true sales with what became of their own words */
	struct ft_bus_word command[40], answer[40];
	size_t command_n, answer_n;
	bool hurt, sale_hurt;
	struct witness_sale asked;
	struct {
		struct witness_sale sale;
		bool hurt;
	} sales[WITNESS_SALES];
	size_t sale_count;
	int64_t scale;
};

static uint32_t chance(struct reading *r, uint32_t below)
{
	r->random = r->random * 1664525 + 1013904223;
	return (r->random >> 8) % below;
}

static unsigned number(const struct ft_bus_word *w, size_t n)
{
	unsigned v = 0;

	while (n--)
		v = v << 8 | w++->byte;
	return v;
}

static void sale_seen(struct reading *r, bool card, bool hurt)
{
	if (r->sale_count < WITNESS_SALES) {
		r->asked.card = card;
		r->sales[r->sale_count].sale = r->asked;
		r->sales[r->sale_count++].hurt = hurt;
	}
}

/* What the true exchange that is over was: only requests, approvals, successes and cash sales matter here. */
static void exchange_over(struct reading *r)
{
	unsigned c = r->command_n ? r->command[0].byte : 0;
	size_t m = r->command_n >= 9 ? 4 : 2;

	if ((c & 0xF8) != 0x10 && (c & 0xF8) != 0x60)
		return;
	if ((c & 7) == 2 && r->answer_n && (r->answer[0].byte == 0x05 || r->answer[0].byte == 0x03))
		r->sale_hurt |= r->hurt;
	if ((c & 7) != 3 || r->command_n < 3)
		return;
	switch (r->command[1].byte) {
	case 0x00:
	case 0x05:
		r->asked.price = number(r->command + 2, m) * r->scale;
		r->asked.item = number(r->command + 2 + m, 2);
		r->sale_hurt = r->hurt || (r->command[1].byte == 0 && r->sale_hurt);
		if (r->command[1].byte == 0x05)
			sale_seen(r, false, r->hurt);
		break;
	case 0x02:
		sale_seen(r, true, r->sale_hurt || r->hurt);
		r->sale_hurt = false;
		break;
	case 0x04:
		r->sale_hurt = false;
		break;
	default:
		break;
	}
}

static void follow(struct reading *r, const struct ft_bus_word *w, bool hurt)
{
	if (w->line == FT_BUS_CONTROLLER && w->mode) {
		exchange_over(r);
		r->command_n = r->answer_n = 0;
		r->hurt = false;
	}
	if (w->line == FT_BUS_CONTROLLER && !r->answer_n && r->command_n < 40)
		r->command[r->command_n++] = *w;
	else if (w->line == FT_BUS_PERIPHERAL && r->answer_n < 40)
		r->answer[r->answer_n++] = *w;
	r->hurt |= hurt;
}

static void feed(struct reading *r)
{
	ft_bus_feed(r->bus, r->vcd.p, r->vcd.n, &r->error);
	ft_buf_clear(&r->vcd);
}

static void hear(void *to, const struct ft_bus_word *word)
{
	struct reading *r = to;
	struct ft_bus_word w = *word;
	bool begins = w.line == FT_BUS_CONTROLLER && w.mode, hurt;

	/* one word of an exchange at most: two may cancel each other in the sum, which no reader can see */
	hurt = w.start_ns > r->spare_until_ns && (begins || !r->hurt) && chance(r, 1000) < r->damage_per_mille;
	r->words += w.start_ns > r->spare_until_ns;
	follow(r, word, hurt);
	if (hurt) {
		r->damaged++;
		switch (chance(r, 4)) {
		case 0:
			w.byte ^= (uint8_t)(1U << chance(r, 8));
			break;
		case 1:
			w.mode = !w.mode;
			break;
		case 2:
			w.kind = FT_BUS_FRAMING;
			break;
		default:
			return; /* lost */
		}
	}
	if (r->wave)
		ft_bus_wave_word(r->wave, &w, &r->error);
	else
		ft_bus_feed_words(r->bus, &w, 1, &r->error);
	if (r->vcd.n > 60000)
		feed(r);
}

enum form { AS_WORDS, AS_LEVELS, AS_LEVELS_GIVEN }; /* GIVEN: the listener says which channel is which */

static void reading_begins(struct reading *r, enum form form, unsigned damage_per_mille, unsigned seed)
{
	struct ft_bus_options options = { .name = "practice",
		                              .format = form == AS_WORDS ? FT_BUS_WORDS : FT_BUS_VCD,
		                              .controller = form == AS_LEVELS_GIVEN ? "controller" : NULL,
		                              .peripheral = form == AS_LEVELS_GIVEN ? "peripheral" : NULL,
		                              .inverted = { -1, -1 } };
	struct ft_bus_wave_options wave = { 0 };

	*r = (struct reading){ .damage_per_mille = damage_per_mille, .random = seed, .spare_until_ns = 6000000000 };
	r->findings.arena = &r->arena;
	assert_int_equal(ft_bus_new(&options, NULL, &r->findings, &r->arena, &r->bus, &r->error), FT_OK);
	if (form != AS_WORDS)
		assert_int_equal(ft_bus_wave_begin(&wave, &r->arena, &r->vcd, &r->wave, &r->error), FT_OK);
}

static void reading_ends(struct reading *r, int64_t end_ns)
{
	exchange_over(r);
	if (r->wave) {
		ft_bus_wave_end(r->wave, end_ns, &r->error);
		feed(r);
	}
	if (ft_bus_end(r->bus, &r->report, &r->error) != FT_OK || r->error.status != FT_OK)
		fail_msg("%s", r->error.text);
}

static void reading_done(struct reading *r)
{
	ft_bus_done(r->bus);
	ft_buf_done(&r->vcd);
	ft_arena_done(&r->arena);
}

static const struct ft_finding *found(const struct reading *r, const char *rule)
{
	for (size_t i = 0; i < r->findings.count; i++)
		if (strcmp(ft_rule(r->findings.list[i].rule)->id, rule) == 0)
			return &r->findings.list[i];
	return NULL;
}

static void show_findings(const struct reading *r, enum ft_weight least)
{
	for (size_t i = 0; i < r->findings.count; i++)
		if (r->findings.list[i].weight >= least)
			print_message("  %s %s: %s\n", ft_weight_word(r->findings.list[i].weight),
			              ft_rule(r->findings.list[i].rule)->id, r->findings.list[i].seen);
}

/* ---- clean play ---- */

static void sales_agree(const struct play *y, const struct reading *r)
{
	size_t n = 0;

	for (size_t i = 0; i < r->report->sale_count; i++) {
		const struct ft_bus_sale *s = &r->report->sales[i];
		if (s->outcome != FT_BUS_SOLD)
			continue;
		assert_true(n < y->sold_count);
		assert_int_equal(s->item, y->sold[n].item);
		assert_int_equal(s->price, y->sold[n].price);
		assert_int_equal(s->card, y->sold[n].card);
		n++;
	}
	assert_int_equal(n, y->reader ? y->sold_count : 0);
}

/* Cash in less cash out; what is only held or given back by the validator does not count. */
static int64_t cash_of(const struct ft_bus_report *r)
{
	int64_t sum = 0;

	for (size_t i = 0; i < r->money_count; i++) {
		const struct ft_bus_money *m = &r->money[i];
		if (m->value != FT_ABSENT && m->source != FT_BUS_CASHLESS && m->route != FT_BUS_ROUTE_ESCROW &&
		    m->route != FT_BUS_ROUTE_REJECTED && m->route != FT_BUS_ROUTE_RETURNED)
			sum += m->value;
	}
	return sum;
}

static void clean_play_is_clean(void **state)
{
	(void)state;
	for (unsigned seed = 1; seed <= 100; seed++) {
		struct play y;
		struct reading r;
		bool cut = seed % 3 == 0;
		reading_begins(&r, seed % 2 ? AS_LEVELS : AS_WORDS, 0, seed);
		play_begin(&y, (int)(seed % MACHINES), seed, NULL, (struct ft_practice_tap){ &r, hear });
		play_random(&y, 12);
		if (cut) {
			play_say(&y, "power off");
			play_say(&y, "power on");
		}
		play_random(&y, 12);
		play_say(&y, "return");
		reading_ends(&r, play_end(&y));
		for (size_t i = 0; i < r.findings.count; i++)
			if (r.findings.list[i].weight > FT_NOTE) {
				print_message("seed %u\n", seed);
				show_findings(&r, FT_DOUBT);
				fail();
			}
		sales_agree(&y, &r);
		assert_int_equal(cash_of(r.report), y.net - y.by_hand);
		assert_int_equal(r.report->damaged, 0);
		reading_done(&r);
		play_done(&y);
	}
}

/* A tap in mid-life hears no setup: sales are found without their sums, which nothing on the bus tells, until the
 * power comes on anew. */
static void tapped_in_mid_life(void **state)
{
	(void)state;
	for (int m = 0; m < MACHINES; m++) {
		struct play y;
		struct reading r;
		struct ft_practice_tap tap = { &r, hear };
		size_t n = 0;
		reading_begins(&r, AS_LEVELS, 0, 1);
		play_begin(&y, m, 7, NULL, tap);
		play_end(&y);
		reading_done(&r);
		reading_begins(&r, AS_LEVELS, 0, 1);
		play_random(&y, 4); /* nobody listens */
		y.sold_count = 0;
		assert_int_equal(ft_practice_tap(y.p, &tap, false, &r.error), FT_OK);
		play_random(&y, 16);
		reading_ends(&r, play_end(&y));
		show_findings(&r, FT_DOUBT);
		assert_int_equal(r.findings.doubts + r.findings.faults, 0);
		for (size_t i = 0; y.reader && i < r.report->sale_count; i++) {
			const struct ft_bus_sale *s = &r.report->sales[i];
			if (s->outcome != FT_BUS_SOLD)
				continue;
			assert_true(n < y.sold_count);
			assert_int_equal(s->item, y.sold[n].item);
			assert_int_equal(s->card, y.sold[n].card);
			assert_int_equal(s->price, FT_ABSENT);
			n++;
		}
		assert_int_equal(n, y.reader ? y.sold_count : 0);
		assert_false(r.report->devices[1].setup.known);
		assert_true(r.report->devices[1].answered > 100);
		reading_done(&r);
		play_done(&y);
	}
}

/* ---- each fault ---- */

#define CASH  "sell 21 coins 100 50"
#define BILL  "sell 21 bill 500"
#define CARD  "sell 23 card"
#define FAILS "sell 23 card fail"
#define WAIT  "wait 15"
#define LONG  "wait 45"

static const struct {
	const char *fault; /* before the power comes on; NULL: a line of the play puts it in */
	int machine;
	const char *play[6];
	const char *rule;
	enum ft_weight least;
} rows[] = {
	{ NULL, 0, { CARD, "fault bus-silent reader", CARD, WAIT }, "bus.silent-peripheral", FT_FAULT },
	{ NULL, 0, { CASH, "fault bus-silent validator", WAIT }, "bus.silent-peripheral", FT_FAULT },
	{ NULL, 0, { CASH, "fault bus-silent changer", CARD, WAIT }, "bus.silent-peripheral", FT_FAULT },
	{ "bus-dead", 0, { CASH, CARD, WAIT }, "bus.nobody-answers", FT_FAULT },
	{ "bus-controller-silent", 0, { CASH, CARD, WAIT }, "bus.no-traffic", FT_FAULT },
	{ "bus-late reader", 0, { CASH, CARD, WAIT }, "bus.late-answer", FT_FAULT },
	{ "bus-late changer 12", 2, { "sell 1 coins 50 5", WAIT }, "bus.late-answer", FT_FAULT },
	{ "bus-late-overlap validator", 0, { CASH, WAIT }, "bus.late-overlap", FT_FAULT },
	{ "bus-gaps changer", 0, { CASH, WAIT }, "bus.inter-byte", FT_DOUBT },
	{ "bus-gaps controller 3", 0, { CASH, WAIT }, "bus.inter-byte", FT_DOUBT },
	{ "bus-checksum reader", 0, { CARD, CARD, CARD, CARD, CARD, CARD }, "bus.checksum", FT_FAULT },
	{ "bus-checksum controller", 0, { CASH, CARD, WAIT }, "bus.checksum", FT_FAULT },
	{ "bus-constant-checksum changer", 0, { CASH, CASH, CASH, WAIT }, "bus.constant-checksum", FT_FAULT },
	{ "bus-noise", 0, { CASH, CARD, WAIT }, "bus.framing", FT_DOUBT },
	{ "bus-capture-8n1", 0, { CASH, CARD, WAIT }, "bus.capture-8n1", FT_FAULT },
	{ "bus-clash", 0, { CASH, CARD, WAIT }, "bus.address-clash", FT_FAULT },
	{ "bus-swapped", 0, { CASH, CARD, WAIT }, "bus.lines-swapped", FT_FAULT },
	{ "bus-restarts validator", 0, { CASH, WAIT, WAIT }, "bus.reset-loop", FT_FAULT },
	{ "bus-controller-resets reader", 0, { CASH, WAIT }, "bus.reset-by-controller", FT_DOUBT },
	{ "bus-no-end-session", 0, { CARD, WAIT }, "bus.end-session-missing", FT_DOUBT },
	{ "bus-break-repeats", 0, { CASH, WAIT }, "bus.break", FT_FAULT },
	{ "bus-short-break", 0, { CASH, WAIT }, "bus.short-break", FT_DOUBT },
	{ "bus-nak changer", 0, { CASH, WAIT }, "bus.nak-storm", FT_DOUBT },
	{ "bus-ret reader", 0, { CARD, CARD, CARD, WAIT }, "bus.ret-storm", FT_DOUBT },
	{ "bus-baud reader -3", 0, { CASH, CARD, WAIT }, "bus.baud", FT_FAULT },
	{ "bus-baud controller 2.5", 0, { CASH, CARD, WAIT }, "bus.baud", FT_FAULT },
	{ "bus-slow-poll", 0, { CASH, WAIT }, "bus.poll-period", FT_DOUBT },
	{ "bus-fast-poll", 0, { CASH, WAIT }, "bus.poll-period", FT_DOUBT },
	{ "bus-reader-not-enabled", 0, { CASH, CARD, WAIT }, "bus.reader-not-enabled", FT_FAULT },
	{ "bus-reader-early", 0, { CASH, CARD, WAIT }, "bus.reader-enabled-early", FT_FAULT },
	{ "bus-no-price-limits", 0, { CASH, CARD, WAIT }, "bus.no-price-limits", FT_DOUBT },
	{ "bus-price-limits 150", 0, { CASH, CARD, WAIT }, "bus.price-limits", FT_DOUBT },
	{ "bus-decimals", 0, { CASH, CARD, WAIT }, "bus.decimals-differ", FT_DOUBT },
	{ "bus-scale", 0, { CASH, CARD, WAIT }, "bus.scale-misfit", FT_FAULT },
	{ "bus-currency", 0, { CASH, CARD, WAIT }, "bus.currency-differ", FT_DOUBT },
	{ "bus-reader-elsewhere", 0, { CASH, CARD, WAIT }, "bus.reader-elsewhere", FT_DOUBT },
	{ "bus-two-readers", 0, { CASH, CARD, WAIT }, "bus.two-readers", FT_NOTE },
	{ "bus-level", 0, { CASH, CARD, WAIT }, "bus.level-mismatch", FT_DOUBT },
	{ "bus-money-width", 0, { CARD, CARD, WAIT }, "bus.money-width", FT_DOUBT },
	{ "bus-money-width", 1, { "sell 3 card", WAIT }, "bus.money-width", FT_DOUBT },
	{ "bus-select-first", 0, { CARD, CARD, WAIT }, "bus.select-first", FT_FAULT },
	{ "bus-session-hangs", 0, { CARD, CARD, WAIT }, "bus.session-hangs", FT_DOUBT },
	{ "bus-not-closed", 0, { CARD, CARD, WAIT }, "bus.approved-not-closed", FT_FAULT },
	{ "bus-vend-fails", 0, { CARD, CARD, CARD, WAIT }, "bus.vend-failures", FT_DOUBT },
	{ "bus-refund-lost", 0, { FAILS, WAIT }, "bus.refund-lost", FT_FAULT },
	{ "bus-event-repeated changer", 0, { CASH, CASH, CASH, CASH, CASH, WAIT }, "bus.event-repeated", FT_NOTE },
	{ "bus-cash-not-enabled", 0, { BILL, WAIT, WAIT }, "bus.cash-not-enabled", FT_FAULT },
	{ "bus-tube-trouble", 0, { CASH, CASH, WAIT }, "bus.tube-trouble", FT_DOUBT },
	{ "bus-validator-out", 0, { CASH, BILL, WAIT }, "bus.validator-out", FT_FAULT },
	{ "bus-escrow", 0, { BILL, LONG }, "bus.escrow-unresolved", FT_FAULT },
	{ "bus-unacknowledged reader", 0, { CARD, CARD, WAIT }, "bus.unclosed-answer", FT_DOUBT },
	{ "bus-mode-bit changer", 0, { CASH, WAIT }, "bus.mode-bit", FT_FAULT },
	{ "bus-mode-bit controller", 0, { CASH, WAIT }, "bus.mode-bit", FT_FAULT },
	{ "bus-too-long changer", 0, { CASH, CASH, CASH, WAIT }, "bus.block-too-long", FT_FAULT },
	{ "bus-unknown", 0, { CARD, WAIT }, "bus.unknown-command", FT_NOTE },
};

/* Each once as words and once as levels. What an 8N1 tool writes down are words; levels know no such tool. */
static void each_fault_is_found(void **state)
{
	size_t missing = 0;

	(void)state;
	for (size_t k = 0; k < 2 * sizeof rows / sizeof *rows; k++) {
		size_t i = k / 2;
		bool vcd = k % 2;
		struct play y;
		struct reading r;
		const struct ft_finding *f;
		const char *name = rows[i].fault ? rows[i].fault : rows[i].play[1];
		char line[80];
		snprintf(line, sizeof line, "fault %s", rows[i].fault ? rows[i].fault : "");
		if ((vcd && strcmp(name, "bus-capture-8n1") == 0) || (!vcd && strcmp(name, "bus-controller-silent") == 0))
			continue; /* ... and without a word there is no time in words */
		/* crossed pins look like channels by another name, unless somebody says which is which */
		reading_begins(&r, !vcd ? AS_WORDS : strcmp(name, "bus-swapped") == 0 ? AS_LEVELS_GIVEN : AS_LEVELS, 0, 1);
		play_begin(&y, rows[i].machine, 1, rows[i].fault ? line : NULL, (struct ft_practice_tap){ &r, hear });
		for (size_t n = 0; n < 6 && rows[i].play[n]; n++)
			play_say(&y, rows[i].play[n]);
		reading_ends(&r, play_end(&y));
		f = found(&r, rows[i].rule);
		if (!f || f->weight < rows[i].least) {
			print_message("%s on %s, %s: %s is %s\n", name, play_machines[rows[i].machine], vcd ? "levels" : "words",
			              rows[i].rule, f ? "too light" : "missing");
			show_findings(&r, FT_NOTE);
			missing++;
		}
		reading_done(&r);
		play_done(&y);
	}
	assert_int_equal(missing, 0);
}

/* Every bus fault of the table stands in a row above. */
static void no_fault_is_forgotten(void **state)
{
	size_t n;
	const struct ft_practice_fault *faults = ft_practice_faults(&n);

	(void)state;
	for (size_t f = 0; f < n; f++) {
		size_t i = 0, k = strlen(faults[f].name);
		if (strncmp(faults[f].name, "bus-", strlen("bus-")) != 0)
			continue;
		while (i < sizeof rows / sizeof *rows && !(rows[i].fault == NULL && strstr(rows[i].play[1], faults[f].name)) &&
		       (!rows[i].fault || strncmp(rows[i].fault, faults[f].name, k) != 0 ||
		        (rows[i].fault[k] && rows[i].fault[k] != ' ')))
			i++;
		if (i == sizeof rows / sizeof *rows)
			fail_msg("%s is not tried", faults[f].name);
	}
}

/* ---- damage ---- */

static bool same_sale(const struct ft_bus_sale *s, const struct witness_sale *t)
{
	return s->item == (int)t->item && s->price == t->price && s->card == t->card;
}

/* From found sale i and true sale j on: every found one is a true one in its turn, and only hurt ones are passed
 * over. Two like sales of which one is hurt may be told either way, hence the search. */
static bool explained(const struct reading *r, size_t i, size_t j)
{
	while (i < r->report->sale_count && r->report->sales[i].outcome != FT_BUS_SOLD)
		i++;
	if (j == r->sale_count)
		return i == r->report->sale_count;
	if (i < r->report->sale_count && same_sale(&r->report->sales[i], &r->sales[j].sale) && explained(r, i + 1, j + 1))
		return true;
	return r->sales[j].hurt && explained(r, i, j + 1);
}

static void show_sales(const struct reading *r)
{
	for (size_t i = 0; i < r->sale_count; i++)
		print_message("  true: item %u, %lld, %s, %s\n", r->sales[i].sale.item, (long long)r->sales[i].sale.price,
		              r->sales[i].sale.card ? "card" : "cash", r->sales[i].hurt ? "hurt" : "whole");
	for (size_t i = 0; i < r->report->sale_count; i++)
		print_message("  found: item %d, %lld, %s, %s at %lld us\n", r->report->sales[i].item,
		              (long long)r->report->sales[i].price, r->report->sales[i].card ? "card" : "cash",
		              ft_bus_outcome_word(r->report->sales[i].outcome), (long long)r->report->sales[i].at_ns / 1000);
}

static void damage_invents_nothing(void **state)
{
	size_t whole = 0, all = 0;
	uint64_t words = 0, damaged = 0;

	(void)state;
	for (unsigned seed = 1; seed <= 100; seed++) {
		struct play y;
		struct reading r;
		reading_begins(&r, AS_WORDS, 22, seed);
		r.scale = seed % 2 ? 1 : 5; /* hotdrink, snack */
		play_begin(&y, (int)(seed % 2), seed, NULL, (struct ft_practice_tap){ &r, hear });
		play_say(&y, "wait 6");
		play_random(&y, 24);
		play_say(&y, "return");
		reading_ends(&r, play_end(&y));
		assert_int_equal(r.sale_count, y.sold_count);
		words += r.words;
		damaged += r.damaged;
		assert_true(r.report->damaged > 30);
		if (!explained(&r, 0, 0)) {
			show_sales(&r);
			fail_msg("seed %u: a whole sale was not found, or one was invented", seed);
		}
		for (size_t i = 0; i < r.sale_count; i++)
			whole += !r.sales[i].hurt;
		all += r.sale_count;
		reading_done(&r);
		play_done(&y);
	}
	assert_true(damaged * 50 >= words);          /* 2 % and more */
	assert_true(whole < all && whole > all / 2); /* else the damage or the test is not what it says */
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(clean_play_is_clean),    cmocka_unit_test(tapped_in_mid_life),
		cmocka_unit_test(each_fault_is_found),    cmocka_unit_test(no_fault_is_forgotten),
		cmocka_unit_test(damage_invents_nothing),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
