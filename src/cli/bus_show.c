/* SPDX-License-Identifier: Apache-2.0 */
/* What a capture holds, for people. */
#include "bus.h"
#include "reads.h"

enum { RESPONSE_LIMIT_NS = 5000000 }; /* MDB/ICP section 3 */

static void wrapped(struct ft_buf *out, int indent, struct ft_buf *text)
{
	ft_buf_byte(text, 0);
	ft_buf_printf(out, "%*s", indent, "");
	if (text->status == FT_OK)
		ft_wrap(out, text->p, 80, indent);
	ft_buf_byte(out, '\n');
	ft_buf_done(text);
}

static const char *headline(struct cli *c, const struct ft_bus_report *r, const struct ft_findings *f,
                            enum ft_verdict v)
{
	if (v == FT_SHOWN)
		return "every peripheral on the bus answers in time.";
	for (size_t i = 0; v == FT_CONTRADICTED && i < f->count; i++)
		if (f->list[i].weight == FT_FAULT)
			return ft_arena_printf(&c->arena, "%s.", ft_rule(f->list[i].rule)->sentence);
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		if (r->devices[i].late && !f->doubts)
			return "now and then an answer is late.";
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		if (r->timing_known && !f->doubts && r->devices[i].answered && r->devices[i].answered < FT_BUS_ANSWERS_LEAST)
			return "it is too short to speak for every peripheral; record half a minute and more.";
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		if (r->devices[i].answered)
			return r->timing_known ? "not all of it can be told for sure."
								   : "the bus is alive, but this capture tells no times.";
	return "nothing that answers is on this bus, as far as the capture shows.";
}

static void put_one_line(struct ft_buf *t, const char *name, const struct ft_bus_line_report *l)
{
	int64_t baud = ft_bus_baud(l->span_ns, l->span_bits);

	ft_buf_puts(t, name);
	if (!l->channel) {
		ft_buf_puts(t, " on no channel");
		return;
	}
	ft_buf_printf(t, " on channel %s", l->channel);
	if (l->flat)
		ft_buf_printf(t, ", which stands still%s", l->flat_low ? " at the active level" : "");
	if (baud > 0)
		ft_buf_printf(t, ", %lld bit/s", (long long)baud);
	if (l->inverted)
		ft_buf_puts(t, ", idle low");
	if (l->framing_errors)
		ft_buf_printf(t, ", %llu framing error%s", (unsigned long long)l->framing_errors,
		              l->framing_errors == 1 ? "" : "s");
}

static void put_capture(struct ft_buf *out, const char *path, const struct ft_bus_report *r)
{
	int64_t ms = (r->end_ns - r->start_ns) / 1000000;
	struct ft_buf t = { 0 };

	ft_buf_printf(&t, "%s (%s): %lld.%lld s, %llu exchange%s", path, ft_bus_format_word(r->format),
	              (long long)(ms / 1000), (long long)(ms / 100 % 10), (unsigned long long)r->exchanges,
	              r->exchanges == 1 ? "" : "s");
	if (r->damaged)
		ft_buf_printf(&t, ", %llu damaged", (unsigned long long)r->damaged);
	if (r->strays)
		ft_buf_printf(&t, ", %llu time%s bytes that belong to nothing", (unsigned long long)r->strays,
		              r->strays == 1 ? "" : "s");
	ft_buf_puts(&t, r->cut ? "; it breaks off in its middle. " : ". ");
	put_one_line(&t, "Controller", &r->lines[FT_BUS_CONTROLLER]);
	ft_buf_puts(&t, "; ");
	put_one_line(&t, "peripherals", &r->lines[FT_BUS_PERIPHERAL]);
	ft_buf_byte(&t, '.');
	wrapped(out, 2, &t);
}

/* ---- who is on the bus ---- */

static void put_ms(struct ft_buf *out, int64_t ns)
{
	if (ns < 0)
		ft_buf_printf(out, " %6s", "-");
	else
		ft_buf_printf(out, " %3lld.%02lld", (long long)(ns / 1000000), (long long)(ns / 10000 % 100));
}

/* How many in the column, of what kinds in a line below it. */
static uint64_t errors_of(const struct ft_bus_device *d, struct ft_buf *kinds)
{
	const struct {
		uint64_t n;
		const char *word;
	} all[] = {
		{ d->checksum_errors, "wrong checksum" }, { d->framing_errors, "framing" }, { d->naks, "refused by it (NAK)" },
		{ d->controller_naks, "refused (NAK)" },  { d->rets, "asked again (RET)" },
	};
	uint64_t sum = 0;

	for (size_t i = 0; i < sizeof all / sizeof *all; i++)
		if (all[i].n) {
			ft_buf_printf(kinds, "%s%llu %s", sum ? ", " : "", (unsigned long long)all[i].n, all[i].word);
			sum += all[i].n;
		}
	return sum;
}

static void put_device(struct ft_buf *out, const struct ft_bus_device *d, bool timing_known)
{
	const struct ft_bus_times *t = &d->response;
	struct ft_buf kinds = { 0 };
	uint64_t errors = errors_of(d, &kinds);
	char share[32], count[24] = "-";

	snprintf(share, sizeof share, "%llu of %llu", (unsigned long long)d->answered, (unsigned long long)d->addressed);
	if (errors)
		snprintf(count, sizeof count, "%llu", (unsigned long long)errors);
	ft_buf_printf(out, "  %02X  %-22.22s %15s ", d->address, ft_bus_device_word(d->address), share);
	if (!d->answered) {
		ft_buf_puts(out, "  never answered");
	} else if (!timing_known || !t->count) {
		ft_buf_printf(out, "   not known           %7s", count);
	} else {
		put_ms(out, ft_bus_times_at(t, 500));
		put_ms(out, ft_bus_times_at(t, 990));
		put_ms(out, t->max_ns);
		ft_buf_puts(out, t->max_ns > RESPONSE_LIMIT_NS ? " !" : "  ");
		ft_buf_printf(out, "%7s", count);
	}
	ft_buf_byte(out, '\n');
	if (errors && d->answered)
		wrapped(out, 6, &kinds);
	ft_buf_done(&kinds);
}

static void put_devices(struct ft_buf *out, const struct ft_bus_report *r)
{
	bool any = false, late = false;

	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		if (!d->addressed)
			continue;
		if (!any)
			ft_buf_puts(out,
			            "\n  who is on the bus            answered of   answer time, ms\n"
			            "                               addressed     median  99 %    max    errors\n");
		any = true;
		late |= r->timing_known && d->response.count && d->response.max_ns > RESPONSE_LIMIT_NS;
		put_device(out, d, r->timing_known);
	}
	if (late)
		ft_buf_puts(out, "      ! over the 5 ms in which an answer must begin\n");
}

/* ---- what they said of themselves ---- */

static void put_setup(struct ft_buf *t, const struct ft_bus_device *d)
{
	const struct ft_bus_setup *s = &d->setup;
	char currency[24];
	int types = 0;

	ft_bus_currency(s->currency, currency);
	ft_buf_printf(t, " level %d, %s, scale %d, %d decimal place%s", s->level,
	              *currency ? currency : "currency not told", s->scale, s->decimals, s->decimals == 1 ? "" : "s");
	for (int i = 0; i < 16 && (d->kind == FT_BUS_CHANGER || d->kind == FT_BUS_VALIDATOR); i++) {
		char money[FT_MONEY_TEXT];
		if (!s->types[i] || s->types[i] == 0xff)
			continue;
		ft_buf_printf(t, "%s%s",
		              types++                         ? " "
		                  : d->kind == FT_BUS_CHANGER ? "; coins "
		                                              : "; bills ",
		              s->decimals <= 4 ? ft_money_text((int64_t)s->types[i] * s->scale, s->decimals, money) : "?");
	}
	if (d->kind == FT_BUS_CASHLESS && s->max_response_s)
		ft_buf_printf(t, "; answers within %d s", s->max_response_s);
	if (d->kind == FT_BUS_VALIDATOR)
		ft_buf_printf(t, "; stacker of %d%s", s->capacity, s->escrow ? ", escrow" : "");
}

static void put_selves(struct ft_buf *out, const struct ft_bus_report *r)
{
	bool any = false;

	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		const struct ft_bus_device *d = &r->devices[i];
		const struct ft_bus_identity *id = &d->identity;
		struct ft_buf t = { 0 };
		if (!d->answered || (!d->setup.known && !id->known))
			continue;
		if (!any)
			ft_buf_puts(out, "\n  what they said of themselves\n");
		any = true;
		ft_buf_printf(&t, "%02X ", d->address);
		if (d->setup.known)
			put_setup(&t, d);
		if (id->known)
			ft_buf_printf(&t, "%s %s %s, serial %s, software %x.%02x", d->setup.known ? ";" : "", id->maker, id->model,
			              id->serial, id->software >> 8, id->software & 0xff);
		wrapped(out, 6, &t);
	}
}

/* ---- money and sales ---- */

static void put_line(struct ft_buf *out, int64_t at_ns, const char *what, int64_t value, int decimals)
{
	char money[FT_MONEY_TEXT] = "-";

	if (value != FT_ABSENT && decimals >= 0 && decimals <= 4)
		ft_money_text(value, decimals, money);
	ft_buf_printf(out, "  %8lld.%03lld  %-46.46s %10s\n", (long long)(at_ns / 1000000000),
	              (long long)(at_ns / 1000000 % 1000), what, money);
}

static void put_money(struct ft_buf *out, const struct ft_bus_money *m)
{
	const char *route = ft_bus_route_word(m->route);
	char what[96];

	if (m->route == FT_BUS_ROUTE_OUT)
		snprintf(what, sizeof what, "%s pays out", ft_bus_device_word(m->address));
	else
		snprintf(what, sizeof what, "%s%s%s%s",
		         m->source == FT_BUS_VALIDATOR      ? "bill"
		             : m->source == FT_BUS_CASHLESS ? "card"
		                                            : "coin",
		         route ? ", " : "", m->route == FT_BUS_ROUTE_TUBE || m->route == FT_BUS_ROUTE_BOX ? "to the " : "",
		         route ? route : "");
	put_line(out, m->at_ns, what, m->value, m->decimals);
}

static void put_sale(struct ft_buf *out, const struct ft_bus_sale *s)
{
	char item[24] = "", what[96];

	if (s->item >= 0)
		snprintf(item, sizeof item, " %d", s->item);
	snprintf(what, sizeof what, "%s %s%s by %s", s->outcome == FT_BUS_SOLD ? "sold:" : "sale of",
	         s->item >= 0 ? "item" : "an item", item, s->card ? "card" : "cash");
	if (s->outcome != FT_BUS_SOLD)
		snprintf(what + strlen(what), sizeof what - strlen(what), ": %s", ft_bus_outcome_word(s->outcome));
	put_line(out, s->at_ns, what, s->price, s->decimals);
}

static void put_timeline(struct ft_buf *out, const struct ft_bus_report *r)
{
	const size_t most = 60; /* ours: more is for --json or --sales */
	size_t m = 0, s = 0, told = 0, all = r->money_count + r->sale_count;

	if (!all)
		return;
	ft_buf_puts(out, "\n    time, s    money and sales                                    amount\n");
	while (told < most && told < all) {
		bool money = s == r->sale_count || (m < r->money_count && r->money[m].at_ns <= r->sales[s].at_ns);
		if (money)
			put_money(out, &r->money[m++]);
		else
			put_sale(out, &r->sales[s++]);
		told++;
	}
	if (told < all)
		ft_buf_printf(out, "               and %zu more (--json lists them, --sales writes the sales)\n", all - told);
}

/* ---- findings ---- */

static void put_finding(struct ft_buf *out, const struct ft_finding *x, int columns, int indent)
{
	struct ft_buf one = { 0 };
	size_t at = 0;

	ft_finding_text(&one, x, columns - indent);
	while (at < one.n) { /* every line of it moves to the right */
		const char *end = memchr(one.p + at, '\n', one.n - at);
		size_t n = end ? (size_t)(end - one.p) - at + 1 : one.n - at;
		ft_buf_printf(out, "%*s", indent, "");
		ft_buf_put(out, one.p + at, n);
		at += n;
	}
	ft_buf_done(&one);
}

static bool is_cause(const struct ft_findings *f, enum ft_rule_id rule)
{
	for (size_t i = 0; i < f->count; i++)
		if (f->list[i].rule == rule && !ft_rule(f->list[i].follows))
			return true;
	return false;
}

/* In the order of diagnosis; what merely follows from another stands under the first of its cause. */
void bus_show_findings(const struct cli *c, const struct ft_findings *f, struct ft_buf *out)
{
	for (size_t i = 0; i < f->count; i++) {
		const struct ft_finding *x = &f->list[i];
		bool told = false;
		if (ft_rule(x->follows) && is_cause(f, x->follows))
			continue;
		put_finding(out, x, c->columns, 0);
		for (size_t k = 0; k < i && !told; k++)
			told = f->list[k].rule == x->rule && !ft_rule(f->list[k].follows);
		for (size_t k = 0; k < f->count && !told; k++)
			if (f->list[k].follows == x->rule)
				put_finding(out, &f->list[k], c->columns, 6);
	}
	if (f->dropped)
		ft_buf_printf(out, "  and %zu more that are not listed.\n", f->dropped);
}

void bus_show(struct cli *c, const char *path, const struct ft_bus_report *r, const struct ft_findings *f,
              enum ft_verdict v, struct ft_buf *out)
{
	const char *head = headline(c, r, f, v);
	struct ft_buf t = { 0 };

	ft_buf_printf(&t, "%s: %s", cli_verdict_text(c, v), head ? head : "");
	wrapped(out, 0, &t);
	ft_buf_byte(out, '\n');
	put_capture(out, path, r);
	put_devices(out, r);
	put_selves(out, r);
	put_timeline(out, r);
	if (f->count)
		ft_buf_byte(out, '\n');
	bus_show_findings(c, f, out);
}
