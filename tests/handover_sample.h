/* SPDX-License-Identifier: Apache-2.0 */
/* A made-up handover with everything in it, built by hand so that the papers can be tried without a machine. */
#ifndef FETTLE_TESTS_HANDOVER_SAMPLE_H
#define FETTLE_TESTS_HANDOVER_SAMPLE_H

#include "fettle/paper.h"

enum { SAMPLE_SELECTIONS_MAX = 120 };

struct sample {
	struct ft_arena arena;
	struct ft_visit visit;
	struct ft_handover handover;
	struct ft_evidence evidence[6];
	struct ft_waiver waiver;
	struct ft_statement statements[2];
};

static inline struct ft_slice sample_text(struct sample *s, const char *format, int n)
{
	return ft_slice_of(ft_arena_printf(&s->arena, format, n));
}

static inline struct ft_total sample_total(int64_t value, int64_t count)
{
	return (struct ft_total){ value, count, value / 9, count / 9 };
}

static inline void sample_audit(struct sample *s, struct ft_audit_shown *r, int selections, int later)
{
	static const char *const names[] = {
		"Salted crisps",
		"Oat bar",
		"Mineral water still 0.5 l",
		"Caf\303\251 cr\303\250me",
		"\305\240ljivovica-free plum juice in a very tall bottle that nobody can abbreviate",
		"Nuts"
	};
	struct ft_summary *m = &r->summary;
	const struct ft_pair unknown = { FT_ABSENT, FT_ABSENT };

	r->there = true;
	r->evidence = &s->evidence[later];
	m->serial = FT_SLICE("QX-220719-004");
	m->model = FT_SLICE("Kestrel 40");
	m->revision = FT_SLICE("0312");
	m->asset = FT_SLICE("BD-0417");
	m->currency = ft_currency_by_alpha(FT_SLICE("EUR"));
	m->decimals = 2;
	m->paid = sample_total(1284350 + later * 800, 8213 + later * 4);
	m->cash = sample_total(904350 + later * 500, 6003 + later * 3);
	m->cashless_1 = sample_total(380000 + later * 300, 2210 + later);
	m->cashless_2 = m->tokens = m->free = (struct ft_total){ FT_ABSENT, FT_ABSENT, FT_ABSENT, FT_ABSENT };
	m->test = sample_total(4200, 31 + later);
	m->cash_in = (struct ft_pair){ 990150 + later * 600, 44000 };
	m->to_box = (struct ft_pair){ 701200 + later * 200, 31000 };
	m->to_tubes = (struct ft_pair){ 198950 + later * 400, 9000 };
	m->bills_in = (struct ft_pair){ 90000, 4000 };
	m->dispensed = (struct ft_pair){ 85800 + later * 100, 3900 };
	m->dispensed_by_hand = m->filled = m->overpaid = unknown;
	m->tubes_now = 11350 + later * 300;
	m->reads = 112 + later;
	m->resets = 9;
	m->power_outages = 17 + later;
	m->selections = ft_arena_array(&s->arena, SAMPLE_SELECTIONS_MAX, sizeof *m->selections);
	m->selection_count = (size_t)selections;
	for (int i = 0; i < selections; i++) {
		struct ft_selection *p = &m->selections[i];
		p->id = sample_text(s, "%d", 10 + i / 8 * 10 + i % 8);
		p->name = ft_slice_of(names[i % 6]);
		p->price = 100 + i % 7 * 25 + (later && i % 13 == 5 ? 20 : 0);
	}
}

/* The claim states go round shown, open, waived and, with `bad`, contradicted. */
static inline void sample_judgement(struct sample *s, bool bad)
{
	static const int rests[] = { 0, 2 };
	static const int found[] = { 0, 1 };
	struct ft_judgement *g = &s->handover.judgement;
	struct ft_finding *f;

	g->findings.arena = &s->arena;
	f = ft_find(&g->findings, FT_RULE_LEDGER_COUNTER_MISMATCH,
	            (struct ft_where){ .element = "PA201", .selection = "21" }, "2 sales", "1 sale");
	(void)f;
	ft_find(&g->findings, FT_RULE_LEDGER_SETTING_CHANGED, (struct ft_where){ .element = "ID106" }, "BD-0471",
	        "BD-0417");
	g->claims = ft_arena_array(&s->arena, FT_CLAIM_COUNT, sizeof *g->claims);
	for (int i = 0; i < FT_CLAIM_COUNT; i++) {
		struct ft_claim_state *c = &g->claims[g->claim_count++];
		c->claim = ft_claim((enum ft_claim_id)i);
		c->id = (enum ft_claim_id)i;
		c->stands = i >= FT_CLAIM_WATCH_READS ? FT_STANDS_OPEN : FT_STANDS_SHOWN;
		c->because = "The audit of before and that of after agree in all 1,204 elements that must not move.";
		c->evidence = rests;
		c->evidence_count = i % 3 == 2 ? 0 : 2;
		if (c->claim->words == FT_WORDS_YES) {
			c->said = &s->statements[i % 2];
			c->evidence_count = 0;
		}
		if (i == FT_CLAIM_FIT_LEVEL) {
			c->stands = FT_STANDS_WAIVED;
			c->waiver = &s->waiver;
		}
		if (bad && (i == FT_CLAIM_PROVE_SALES || i == FT_CLAIM_PROVE_PRICES)) {
			c->stands = FT_STANDS_CONTRADICTED;
			c->because = "Selections 21 and 23 count for each other: both sales moved the other's counter.";
			c->todo = "swap the two motor leads and sell one from each again";
			c->findings = found;
			c->finding_count = 2;
		}
		if (bad && i == FT_CLAIM_PROVE_SIGNAL) {
			c->stands = FT_STANDS_OPEN;
			c->todo = c->claim->ask;
		}
		g->stands[c->stands]++;
	}
	g->verdict = bad ? FT_CONTRADICTED : FT_SHOWN;
}

static inline void sample_ledger(struct sample *s, int sales, int restore)
{
	static const struct ft_counter counters[] = {
		{ .element = "PA201",
		  .title = "paid sales of the selection",
		  .selection = { "21", 2 },
		  .expected = 1,
		  .observed = 2 },
		{ .element = "PA201",
		  .title = "paid sales of the selection",
		  .selection = { "23", 2 },
		  .expected = 2,
		  .observed = 1 },
		{ .element = "VA101", .title = "value of paid sales", .money = true, .expected = 800, .observed = 800 },
		{ .element = "VA103",
		  .title = "value of paid sales",
		  .money = true,
		  .since_reset = true,
		  .expected = 800,
		  .observed = 800 },
		{ .element = "CA305-CA403-CA802",
		  .title = "cash kept of what was put in",
		  .money = true,
		  .expected = 500,
		  .observed = 500 },
		{ .element = "VA203", .title = "number of test sales" },
	};
	struct ft_handover *h = &s->handover;

	h->compared = h->proved = true;
	h->sales = ft_arena_array(&s->arena, (size_t)sales + 1, sizeof *h->sales);
	for (int i = 0; i < sales; i++)
		h->sales[h->sale_count++] = (struct ft_sale){ .time = sample_text(s, "14:%02d", i % 60),
			                                          .selection = sample_text(s, "%d", 21 + i % 5),
			                                          .price = 150,
			                                          .paid_with = i % 2 ? FT_PAID_CARD_1 : FT_PAID_COIN,
			                                          .tendered = i % 2 ? FT_ABSENT : 200 };
	h->proof.counters = ft_arena_array(&s->arena, 6, sizeof *counters);
	memcpy(h->proof.counters, counters, sizeof counters);
	h->proof.counter_count = 6;
	h->proof.wrong_count = 2;
	h->proof.witnesses[0] = (struct ft_witness){ "audit", "4 sales worth 8.00", 1 };
	h->proof.witnesses[1] = (struct ft_witness){ "fitter's list", "4 sales worth 8.00", 1 };
	h->proof.witness_count = 2;
	h->proof.story_count = 1;
	h->proof.stories[0].detail = "Selections 21 and 23 are crossed: each counts the sales of the other.";
	h->proof.stories[0].edit_count = 1;
	h->comparison.restore = ft_arena_array(&s->arena, (size_t)restore + 1, sizeof *h->comparison.restore);
	for (int i = 0; i < restore; i++)
		h->comparison.restore[h->comparison.restore_count++] =
			(struct ft_restore){ i % 3 == 2 ? "product" : "price", sample_text(s, "%d", 10 + i),
			                     i % 3 == 2 ? FT_SLICE("Caf\303\251 cr\303\250me") : FT_SLICE("1.50"),
			                     i % 4 ? FT_SLICE("0.00") : (struct ft_slice){ NULL, 0 } };
}

static inline void sample_make(struct sample *s, int selections, int sales, int restore, bool bad)
{
	static const struct {
		enum ft_evidence_kind kind;
		const char *name, *bytes;
	} pieces[6] = {
		{ FT_EVIDENCE_AUDIT, "before.dts", "DXS*AAA\r\n" },
		{ FT_EVIDENCE_AUDIT, "after.dts", "DXS*BBB\r\n" },
		{ FT_EVIDENCE_SALES, "sales.csv", "time,selection,price\n" },
		{ FT_EVIDENCE_PHOTOGRAPH,
		  "door open \342\200\223 left side, with the whole harness in one picture and the serial plate.jpg",
		  "\377\330\377\340" },
		{ FT_EVIDENCE_NOTE, "note.txt", "old unit taken out\n" },
		{ FT_EVIDENCE_SIGNAL, "signal.log", "+CESQ\n" },
	};
	const int64_t opened = INT64_C(1773058511000000);

	memset(s, 0, sizeof *s);
	s->visit = (struct ft_visit){ .id = "BD-0417-1",
		                          .key = "00112233445566778899aabbccddeeff",
		                          .asset = "BD-0417",
		                          .site = "Harbour canteen, east",
		                          .unit = "TU-5520117",
		                          .sim = "89310410106543789301",
		                          .technician = "Ada Fitter",
		                          .opened_us = opened,
		                          .opened_offset = 60,
		                          .closed_us = opened + 5400 * INT64_C(1000000),
		                          .closed_offset = 60,
		                          .changed_us = opened + 5400 * INT64_C(1000000) };
	for (int i = 0; i < 6; i++)
		s->evidence[i] = (struct ft_evidence){ .number = i + 1,
			                                   .kind = pieces[i].kind,
			                                   .stage = FT_STAGE_KEEP,
			                                   .name = pieces[i].name,
			                                   .hash = ft_hash_of(pieces[i].bytes, strlen(pieces[i].bytes)),
			                                   .size = (int64_t)strlen(pieces[i].bytes),
			                                   .bytes = ft_slice_of(pieces[i].bytes),
			                                   .added_us = opened + i * INT64_C(61000000),
			                                   .added_offset = 60 };
	s->statements[0] = (struct ft_statement){
		.text = "Looked from the front and from below", .by = "Ada Fitter", .at_us = opened, .at_offset = 60
	};
	s->statements[1] = (struct ft_statement){
		.text = "Mains plug out and in my pocket", .by = NULL, .at_us = opened, .at_offset = 60
	};
	s->waiver = (struct ft_waiver){ .claim = FT_CLAIM_FIT_LEVEL,
		                            .because = "the floor slopes; the site will shim it on Thursday",
		                            .by = "Ada Fitter",
		                            .at_us = opened,
		                            .at_offset = 60 };
	s->visit.evidence = s->evidence;
	s->visit.evidence_count = 6;
	s->visit.statements = s->statements;
	s->visit.statement_count = 2;
	s->visit.waivers = &s->waiver;
	s->visit.waiver_count = 1;
	s->handover.visit = &s->visit;
	s->handover.at_us = s->visit.closed_us;
	s->handover.at_offset = 60;
	sample_judgement(s, bad);
	sample_audit(s, &s->handover.before, selections, 0);
	sample_audit(s, &s->handover.after, selections, 1);
	s->handover.grid = ft_arena_array(&s->arena, (size_t)selections + 1, sizeof *s->handover.grid);
	for (int i = 0; i < selections; i++) {
		struct ft_grid_row *r = &s->handover.grid[s->handover.grid_count++];
		r->before = i == 3 ? NULL : &s->handover.before.summary.selections[i];
		r->after = i == 4 ? NULL : &s->handover.after.summary.selections[i];
		r->price_changed = r->before && r->after && r->before->price != r->after->price;
		r->name_changed = i == 6;
	}
	sample_ledger(s, sales, restore);
}

#endif
