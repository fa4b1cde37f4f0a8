/* SPDX-License-Identifier: Apache-2.0 */
/* What a capture holds, as a document. */
#include "bus.h"

static void json_line(struct ft_json *j, const char *key, const struct ft_bus_line_report *l)
{
	int64_t baud = ft_bus_baud(l->span_ns, l->span_bits);

	ft_json_object(j, key);
	ft_json_text(j, "channel", l->channel);
	ft_json_count(j, "baud", baud > 0 ? baud : FT_ABSENT);
	ft_json_i64(j, "words", (int64_t)l->words);
	ft_json_i64(j, "framing_errors", (int64_t)l->framing_errors);
	ft_json_bool(j, "inverted", l->inverted);
	ft_json_i64(j, "glitches", (int64_t)l->glitches);
	ft_json_i64(j, "breaks", (int64_t)l->breaks);
	ft_json_bool(j, "flat", l->flat);
	ft_json_object_end(j);
}

static int64_t us_of(int64_t ns)
{
	return ns < 0 ? FT_ABSENT : ns / 1000;
}

static void json_times(struct ft_json *j, const struct ft_bus_times *t, bool known)
{
	if (!t->count || !known) {
		ft_json_null(j, "response_us");
		return;
	}
	ft_json_object(j, "response_us");
	ft_json_count(j, "min", us_of(t->min_ns));
	ft_json_count(j, "median", us_of(ft_bus_times_at(t, 500)));
	ft_json_count(j, "p99", us_of(ft_bus_times_at(t, 990)));
	ft_json_count(j, "max", us_of(t->max_ns));
	ft_json_object_end(j);
}

static void json_currency(struct ft_json *j, const char *key, uint16_t code)
{
	char text[24];

	ft_bus_currency(code, text);
	ft_json_text(j, key, *text ? text : NULL);
}

static void json_setup(struct ft_json *j, const struct ft_bus_device *d)
{
	const struct ft_bus_setup *s = &d->setup;
	int types = 16;

	if (!s->known) {
		ft_json_null(j, "setup");
		return;
	}
	ft_json_object(j, "setup");
	ft_json_i64(j, "level", s->level);
	json_currency(j, "currency", s->currency);
	ft_json_i64(j, "scale", s->scale);
	ft_json_i64(j, "decimals", s->decimals);
	ft_json_array(j, "types");
	while (types && !s->types[types - 1])
		types--;
	for (int i = 0; i < types && d->kind != FT_BUS_CASHLESS; i++)
		ft_json_i64(j, NULL, s->types[i]);
	ft_json_array_end(j);
	ft_json_count(j, "routing", d->kind == FT_BUS_CHANGER ? s->routing : FT_ABSENT);
	ft_json_count(j, "capacity", d->kind == FT_BUS_VALIDATOR ? s->capacity : FT_ABSENT);
	if (d->kind == FT_BUS_VALIDATOR)
		ft_json_bool(j, "escrow", s->escrow);
	else
		ft_json_null(j, "escrow");
	ft_json_count(j, "max_response_s", d->kind == FT_BUS_CASHLESS && s->max_response_s ? s->max_response_s : FT_ABSENT);
	ft_json_count(j, "options", d->kind == FT_BUS_CASHLESS ? s->options : FT_ABSENT);
	ft_json_count(j, "controller_level", d->controller_level ? d->controller_level : FT_ABSENT);
	ft_json_bool(j, "prices_sent", d->prices_sent);
	ft_json_bool(j, "wide_money", d->wide_money);
	ft_json_object_end(j);
}

static void json_identity(struct ft_json *j, const struct ft_bus_identity *i)
{
	char software[8];

	if (!i->known) {
		ft_json_null(j, "identity");
		return;
	}
	snprintf(software, sizeof software, "%x.%02x", i->software >> 8, i->software & 0xff);
	ft_json_object(j, "identity");
	ft_json_text(j, "maker", i->maker);
	ft_json_text(j, "serial", i->serial);
	ft_json_text(j, "model", i->model);
	ft_json_text(j, "software", software);
	ft_json_count(j, "options", i->options_known ? (int64_t)i->options : FT_ABSENT);
	ft_json_object_end(j);
}

static const char *state_of(const struct ft_bus_device *d)
{
	if (!d->answered)
		return NULL;
	if (d->kind == FT_BUS_CASHLESS)
		return d->state == FT_BUS_STATE_UNKNOWN ? NULL : ft_bus_state_word(d->state);
	if (d->kind == FT_BUS_CHANGER || d->kind == FT_BUS_VALIDATOR)
		return d->enabled ? "enabled" : d->enabled_ever ? "disabled" : NULL;
	return NULL;
}

static void json_device(struct ft_json *j, const struct ft_bus_device *d, bool timing_known)
{
	char address[4];

	snprintf(address, sizeof address, "%02X", d->address);
	ft_json_object(j, NULL);
	ft_json_text(j, "address", address);
	ft_json_text(j, "name", ft_bus_device_word(d->address));
	ft_json_i64(j, "addressed", (int64_t)d->addressed);
	ft_json_i64(j, "answered", (int64_t)d->answered);
	ft_json_i64(j, "silent", (int64_t)d->silent);
	json_times(j, &d->response, timing_known);
	if (timing_known)
		ft_json_i64(j, "late", (int64_t)d->late);
	else
		ft_json_null(j, "late");
	ft_json_i64(j, "checksum_errors", (int64_t)d->checksum_errors);
	ft_json_i64(j, "framing_errors", (int64_t)d->framing_errors);
	ft_json_i64(j, "command_errors", (int64_t)d->command_errors);
	ft_json_i64(j, "naks", (int64_t)d->naks);
	ft_json_i64(j, "controller_naks", (int64_t)d->controller_naks);
	ft_json_i64(j, "rets", (int64_t)d->rets);
	ft_json_i64(j, "unclosed", (int64_t)d->unclosed);
	ft_json_i64(j, "resets", (int64_t)d->was_reset);
	ft_json_i64(j, "resets_sent", (int64_t)d->resets_sent);
	ft_json_count(j, "baud", d->span_bits > 0 ? ft_bus_baud(d->span_ns, d->span_bits) : FT_ABSENT);
	json_setup(j, d);
	json_identity(j, &d->identity);
	ft_json_text(j, "state", state_of(d));
	ft_json_object_end(j);
}

static void json_sales(struct ft_json *j, const struct ft_bus_report *r)
{
	char item[16], address[4];

	ft_json_array(j, "sales");
	for (size_t i = 0; i < r->sale_count; i++) {
		const struct ft_bus_sale *s = &r->sales[i];
		snprintf(item, sizeof item, "%d", s->item);
		snprintf(address, sizeof address, "%02X", s->address);
		ft_json_object(j, NULL);
		ft_json_i64(j, "at_us", s->at_ns / 1000);
		ft_json_text(j, "selection", s->item < 0 ? NULL : item);
		ft_json_count(j, "price", s->price);
		ft_json_text(j, "paid_with", s->card ? "card" : "cash");
		ft_json_text(j, "outcome", ft_bus_outcome_word(s->outcome));
		ft_json_text(j, "address", address);
		ft_json_count(j, "approved", s->approved);
		ft_json_count(j, "closed_us", us_of(s->closed_ns));
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

static void json_money(struct ft_json *j, const struct ft_bus_report *r)
{
	ft_json_array(j, "money");
	for (size_t i = 0; i < r->money_count; i++) {
		const struct ft_bus_money *m = &r->money[i];
		ft_json_object(j, NULL);
		ft_json_i64(j, "at_us", m->at_ns / 1000);
		ft_json_text(j, "source", ft_bus_device_word(m->address));
		ft_json_count(j, "value", m->value);
		ft_json_text(j, "route", ft_bus_route_word(m->route));
		ft_json_count(j, "type", m->type < 0 ? FT_ABSENT : m->type);
		ft_json_object_end(j);
	}
	ft_json_array_end(j);
}

/* The one currency that the devices name; null where they name none or do not agree. */
static void json_one_currency(struct ft_json *j, const struct ft_bus_report *r)
{
	char one[24] = "", next[24];
	bool agree = true;

	for (int i = 0; i < FT_BUS_ADDRESSES; i++) {
		if (!r->devices[i].setup.known)
			continue;
		ft_bus_currency(r->devices[i].setup.currency, next);
		if (*next && *one && strcmp(one, next) != 0)
			agree = false;
		if (*next)
			memcpy(one, next, sizeof one);
	}
	ft_json_text(j, "currency", *one && agree ? one : NULL);
}

int bus_document(struct cli *c, const char *path, const struct ft_bus_report *r, const struct ft_findings *f,
                 enum ft_verdict v, struct bus_traffic *t)
{
	struct ft_buf out = { 0 };
	struct ft_json j;
	int code;

	cli_document(c, &j, &out, v, f);
	ft_json_text(&j, "file", path);
	ft_json_text(&j, "format", ft_bus_format_word(r->format));
	ft_json_bool(&j, "timing_known", r->timing_known);
	ft_json_bool(&j, "cut", r->cut);
	ft_json_i64(&j, "from_us", r->start_ns / 1000);
	ft_json_i64(&j, "until_us", r->end_ns / 1000);
	ft_json_i64(&j, "bytes", (int64_t)r->bytes_read);
	ft_json_i64(&j, "exchanges", (int64_t)r->exchanges);
	ft_json_i64(&j, "damaged", (int64_t)r->damaged);
	ft_json_i64(&j, "strays", (int64_t)r->strays);
	ft_json_object(&j, "lines");
	json_line(&j, "controller", &r->lines[FT_BUS_CONTROLLER]);
	json_line(&j, "peripheral", &r->lines[FT_BUS_PERIPHERAL]);
	ft_json_object_end(&j);
	ft_json_count(&j, "decimals", r->decimals < 0 ? FT_ABSENT : r->decimals);
	json_one_currency(&j, r);
	ft_json_array(&j, "peripherals");
	for (int i = 0; i < FT_BUS_ADDRESSES; i++)
		if (r->devices[i].addressed)
			json_device(&j, &r->devices[i], r->timing_known);
	ft_json_array_end(&j);
	json_sales(&j, r);
	json_money(&j, r);
	if (t)
		bus_traffic_write(t, &j);
	code = cli_document_end(c, &j);
	return code ? code : cli_exit(v);
}
