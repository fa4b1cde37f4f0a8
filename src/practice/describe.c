/* SPDX-License-Identifier: Apache-2.0 */
/* Reads the description of a machine: one thing a line, "WORD value key=value key="two words"". */
#include "machine.h"

#include "fettle/time.h"

enum { WORDS_MAX = 16 };

struct line {
	struct ft_practice *p;
	struct ft_slice words[WORDS_MAX];
	size_t n;
	unsigned number;
	const char *what;
	struct ft_error *e;
};

size_t practice_words(struct ft_slice line, struct ft_slice *ret, size_t room, bool *ret_whole)
{
	size_t n = 0, i = 0;

	*ret_whole = true;
	while (i < line.n) {
		size_t start;
		bool quoted = false;
		while (i < line.n && (line.p[i] == ' ' || line.p[i] == '\t' || line.p[i] == '\r'))
			i++;
		if (i == line.n)
			break;
		for (start = i; i < line.n && (quoted || (line.p[i] != ' ' && line.p[i] != '\t' && line.p[i] != '\r')); i++)
			quoted ^= line.p[i] == '"';
		if (n == room || quoted) {
			*ret_whole = false;
			break;
		}
		ret[n++] = (struct ft_slice){ line.p + start, i - start };
	}
	return n;
}

bool practice_time_of(struct ft_slice s, int64_t *ret_s)
{
	int64_t us;

	/* ID5 of the dialects has two digits of the year; what is before 2000 cannot be written */
	if (s.n < 16 || !ft_time_parse(s, 0, &us) || us < ft_days_of(2000, 1, 1) * 86400 * FT_SECOND ||
	    us >= ft_days_of(2100, 1, 1) * 86400 * FT_SECOND)
		return false;
	*ret_s = us / FT_SECOND;
	return true;
}

bool practice_plain(struct ft_slice s, char *to, size_t room)
{
	if (s.n >= room)
		return false;
	for (size_t i = 0; i < s.n; i++)
		if (s.p[i] < 0x20 || s.p[i] > 0x7e || s.p[i] == '*')
			return false;
	if (s.n)
		memcpy(to, s.p, s.n);
	to[s.n] = 0;
	return true;
}

static enum ft_status bad(const struct line *l, const char *format, ...) __attribute__((format(printf, 2, 3)));
static enum ft_status bad(const struct line *l, const char *format, ...)
{
	char text[FT_TEXT_MAX];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	return ft_fail(l->e, FT_E_INPUT, "%s, line %u: %s", l->what, l->number, text);
}

/* Value of "key=value" without its quotes; p == NULL when it is not there. A bare "key" gives "". */
static struct ft_slice given(const struct line *l, const char *key)
{
	size_t n = strlen(key);

	for (size_t i = 1; i < l->n; i++) {
		struct ft_slice w = l->words[i];
		if (w.n < n || memcmp(w.p, key, n) != 0 || (w.n > n && w.p[n] != '='))
			continue;
		if (w.n == n)
			return (struct ft_slice){ w.p + n, 0 };
		w = (struct ft_slice){ w.p + n + 1, w.n - n - 1 };
		if (w.n >= 2 && w.p[0] == '"' && w.p[w.n - 1] == '"')
			w = (struct ft_slice){ w.p + 1, w.n - 2 };
		return w;
	}
	return (struct ft_slice){ NULL, 0 };
}

static enum ft_status text_of(const struct line *l, const char *key, char *to, size_t room)
{
	struct ft_slice s = given(l, key);

	if (s.p && !practice_plain(s, to, room))
		return bad(l, "%s=%.*s must be plain text without * and shorter than %zu characters.", key, FT_P(s), room);
	return FT_OK;
}

static enum ft_status number_of(const struct line *l, const char *key, int64_t most, int64_t *ret)
{
	struct ft_slice s = given(l, key);

	if (s.p && (!ft_slice_i64(s, ret) || *ret < 0 || *ret > most))
		return bad(l, "%s=%.*s must be a whole number from 0 to %lld.", key, FT_P(s), (long long)most);
	return FT_OK;
}

static enum ft_status read_dialect(struct line *l)
{
	static const char *const names[DIALECTS] = { "us-snack", "euro-hot", "old-coin" };

	for (int i = 0; i < DIALECTS; i++)
		if (ft_slice_is(l->words[1], names[i])) {
			l->p->dialect = (enum dialect)i;
			return FT_OK;
		}
	return bad(l, "the dialects are us-snack, euro-hot and old-coin, not %.*s.", FT_P(l->words[1]));
}

static enum ft_status read_sender(struct line *l)
{
	/* 3-character maker code and 7 digits (EVA-DTS DXS01) */
	if (l->words[1].n != 10 || !practice_plain(l->words[1], l->p->sender, sizeof l->p->sender))
		return bad(l, "the sender is ten characters, three of the maker and seven digits.");
	return FT_OK;
}

static enum ft_status read_unit(const struct line *l, struct unit *u)
{
	enum ft_status s = text_of(l, "serial", u->serial, sizeof u->serial);

	if (!s)
		s = text_of(l, "model", u->model, sizeof u->model);
	if (!s)
		s = text_of(l, "revision", u->revision, sizeof u->revision);
	if (!s && !u->serial[0])
		s = bad(l, "%.*s needs a serial=.", FT_P(l->words[0]));
	return s;
}

static enum ft_status read_machine(struct line *l)
{
	enum ft_status s = read_unit(l, &l->p->machine);

	if (!s)
		s = text_of(l, "asset", l->p->asset, sizeof l->p->asset);
	return s ? s : text_of(l, "location", l->p->location, sizeof l->p->location);
}

static enum ft_status read_board(struct line *l)
{
	return read_unit(l, &l->p->board);
}
static enum ft_status read_changer(struct line *l)
{
	return read_unit(l, &l->p->changer);
}
static enum ft_status read_validator(struct line *l)
{
	return read_unit(l, &l->p->validator);
}
static enum ft_status read_reader(struct line *l)
{
	return read_unit(l, &l->p->reader);
}

static enum ft_status read_bus(struct line *l)
{
	struct bus_plan *b = &l->p->bus_plan;
	int64_t address = 10, money = 16, gateway = 0, by_value = 0;
	const struct {
		const char *key;
		int64_t least, most, *to;
	} keys[] = {
		{ "changer-level", 2, 3, &b->changer_level },
		{ "validator-level", 1, 2, &b->validator_level },
		{ "reader-level", 1, 3, &b->reader_level },
		{ "reader", 10, 60, &address },
		{ "scale", 1, 100, &b->scale },
		{ "money", 16, 32, &money },
		{ "gateway", 0, 1, &gateway },
		{ "pay-by-value", 0, 1, &by_value },
	};

	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
		enum ft_status s = number_of(l, keys[i].key, keys[i].most, keys[i].to);
		if (s)
			return s;
		if (*keys[i].to < keys[i].least)
			return bad(l, "%s= is %lld at least.", keys[i].key, (long long)keys[i].least);
	}
	if ((address != 10 && address != 60) || (money != 16 && money != 32) || (money == 32 && b->reader_level < 3))
		return bad(l, "reader= is 10 or 60, money= is 16 or, on reader-level=3, 32.");
	b->second_reader_address = address == 60;
	b->wide = money == 32;
	b->gateway = gateway;
	b->pays_by_value = by_value && b->changer_level >= 3;
	return FT_OK;
}

static enum ft_status read_currency(struct line *l)
{
	l->p->currency = ft_currency_by_alpha(l->words[1]);
	if (!l->p->currency || l->p->currency->digits < 0)
		return bad(l, "%.*s is no currency of ISO 4217.", FT_P(l->words[1]));
	return FT_OK;
}

static enum ft_status read_clock(struct line *l)
{
	bool none = ft_slice_is(l->words[1], "none");

	if ((none && l->n < 3) || !practice_time_of(l->words[none ? 2 : 1], &l->p->now_s))
		return bad(
			l, "clock takes the machine's date and time, 2026-03-02T08:10, after the word none if it shows no time.");
	l->p->has_clock = l->p->clock_known = !none;
	return FT_OK;
}

static enum ft_status one_of(const struct line *l, const char *no, const char *yes, bool *ret)
{
	*ret = ft_slice_is(l->words[1], yes);
	if (!*ret && !ft_slice_is(l->words[1], no))
		return bad(l, "%.*s is %s or %s, not %.*s.", FT_P(l->words[0]), no, yes, FT_P(l->words[1]));
	return FT_OK;
}

static enum ft_status read_digits(struct line *l)
{
	return one_of(l, "high-first", "low-first", &l->p->low_digit_first);
}
static enum ft_status read_reset(struct line *l)
{
	return one_of(l, "by-hand", "at-read", &l->p->reset_at_read);
}
static enum ft_status read_change(struct line *l)
{
	return one_of(l, "refuse", "keep", &l->p->keeps_change);
}
static enum ft_status read_tokens(struct line *l)
{
	return one_of(l, "no", "yes", &l->p->tokens);
}

static enum ft_status read_security(struct line *l)
{
	uint32_t code;

	if (l->words[1].n != 4 || !ft_slice_hex(l->words[1], &code))
		return bad(l, "security takes four hexadecimal digits, 0000 for none.");
	l->p->security_code = code;
	return FT_OK;
}

static enum ft_status read_temperature(struct line *l)
{
	struct ft_slice alarm = given(l, "alarm");
	bool unit = l->n > 2 && l->words[2].n == 1 && (l->words[2].p[0] == 'C' || l->words[2].p[0] == 'F');

	if (!unit || !ft_money_parse(l->words[1], 1, &l->p->temperature_tenths) ||
	    (alarm.p && !ft_money_parse(alarm, 1, &l->p->warm_tenths)))
		return bad(
			l,
			"temperature takes degrees with one decimal, C or F, and alarm= with the degrees above which it complains.");
	l->p->temperature_unit = l->words[2].p[0];
	return FT_OK;
}

static enum ft_status read_stacker(struct line *l)
{
	if (!ft_slice_i64(l->words[1], &l->p->stacker_room) || l->p->stacker_room < 0 || l->p->stacker_room > 100000)
		return bad(l, "stacker takes the number of bills it holds.");
	return FT_OK;
}

/* Money below a million units keeps every sum of a long life far from the end of int64_t. */
#define PRICE_MAX 100000000

static enum ft_status read_coin(struct line *l)
{
	struct coin *c = &l->p->coins[l->p->coin_count];
	enum ft_status s;

	if (l->p->coin_count == COINS_MAX)
		return bad(l, "a changer knows %d coins at most.", COINS_MAX);
	if (!ft_slice_i64(l->words[1], &c->value) || c->value < 1 || c->value > PRICE_MAX)
		return bad(l, "a coin needs its value in minor units.");
	if (l->p->coin_count && c->value <= c[-1].value)
		return bad(l, "coins stand in rising order of value.");
	s = number_of(l, "tube", 1000, &c->room);
	if (!s)
		s = number_of(l, "level", c->room, &c->in_tube);
	l->p->coin_count += !s;
	return s;
}

static enum ft_status read_bill(struct line *l)
{
	int64_t *b = &l->p->bills[l->p->bill_count];

	if (l->p->bill_count == BILLS_MAX)
		return bad(l, "a validator knows %d bills here at most.", BILLS_MAX);
	if (!ft_slice_i64(l->words[1], b) || *b < 1 || *b > PRICE_MAX || (l->p->bill_count && *b <= b[-1]))
		return bad(l, "bills stand with their value in minor units, in rising order.");
	l->p->bill_count++;
	return FT_OK;
}

static enum ft_status read_list(struct line *l)
{
	struct price_list *list = &l->p->lists[l->p->list_count];
	bool cash = ft_slice_is(l->words[1], "CA");

	if (l->p->list_count == LISTS_MAX || l->p->selection_count)
		return bad(l, "lists stand before the selections, %d at most.", LISTS_MAX);
	if (l->n < 3 || (!cash && !ft_slice_is(l->words[1], "DA")) || !ft_slice_i64(l->words[2], &list->number) ||
	    list->number < 0 || list->number > 99 || cash != (l->p->list_count == 0))
		return bad(l, "a list is CA or DA and a number from 0 to 99; the one cash list comes first.");
	list->device = cash ? BY_CASH : BY_CARD;
	l->p->list_count++;
	return FT_OK;
}

static enum ft_status read_prices(const struct line *l, struct selection *s)
{
	struct ft_slice rest = given(l, "price"), one;
	size_t lists = l->p->list_count ? l->p->list_count : 1, n = 0;

	while (ft_slice_split(&rest, ',', &one)) {
		if (n == lists || !ft_slice_i64(one, &s->price[n]) || s->price[n] < 0 || s->price[n] > PRICE_MAX)
			return bad(l, "price= takes one price in minor units for each list, separated by commas.");
		n++;
	}
	if (!n)
		return bad(l, "selection %s needs a price=.", s->id);
	for (; n < lists; n++)
		s->price[n] = s->price[0];
	return FT_OK;
}

static enum ft_status read_selection(struct line *l)
{
	struct ft_practice *p = l->p;
	struct selection *s = &p->selections[p->selection_count];
	enum ft_status status;

	if (p->selection_count == SELECTIONS_MAX)
		return bad(l, "a machine has %d selections here at most.", SELECTIONS_MAX);
	if (!practice_plain(l->words[1], s->id, sizeof s->id) || practice_selection(p, l->words[1]) >= 0)
		return bad(l, "%.*s is no good name of a selection or stands twice.", FT_P(l->words[1]));
	s->capacity = s->stock = 1000; /* hot drinks: not counted in pieces */
	s->motor = (int64_t)p->selection_count + 1;
	status = read_prices(l, s);
	if (!status)
		status = text_of(l, "name", s->name, sizeof s->name);
	if (!status)
		status = number_of(l, "capacity", 10000, &s->capacity);
	s->stock = s->capacity;
	if (!status)
		status = number_of(l, "stock", s->capacity, &s->stock);
	if (!status)
		status = number_of(l, "motor", 999, &s->motor);
	s->motor_here = s->motor;
	p->selection_count += !status;
	return status;
}

static enum ft_status read_firmware(struct line *l)
{
	struct wipe *w = &l->p->wipe;
	struct ft_slice rest = given(l, "prices"), one;

	w->motors = given(l, "motors").p;
	w->interval = given(l, "interval").p;
	w->meters = given(l, "meters").p;
	w->clock = given(l, "clock").p;
	w->events = given(l, "events").p;
	while (ft_slice_split(&rest, ',', &one)) {
		int s = practice_selection(l->p, one);
		if (s < 0 && !ft_slice_is(one, "all"))
			return bad(l, "prices= names selections that stand above, separated by commas, or all; there is no %.*s.",
			           FT_P(one));
		for (int i = 0; i < SELECTIONS_MAX; i++)
			w->price[i] |= s < 0 || s == i;
	}
	return FT_OK;
}

static enum ft_status read_past(struct line *l)
{
	struct ft_practice *p = l->p;
	enum ft_status s = FT_OK;
	const struct {
		const char *key;
		int64_t most, *to;
	} keys[] = {
		{ "visits", 1000, &p->past.visits }, { "sales", 200000, &p->past.sales }, { "cards", 100, &p->past.cards },
		{ "bills", 100, &p->past.bills },    { "tokens", 100, &p->past.tokens },
	};

	for (size_t i = 0; i < sizeof keys / sizeof *keys && !s; i++)
		s = number_of(l, keys[i].key, keys[i].most, keys[i].to);
	if (!s && !practice_time_of(given(l, "from"), &p->past.from_s))
		s = bad(l, "past needs from= with the date and time of its first day, 2025-09-01T09:00.");
	return s;
}

static const struct {
	const char *word;
	enum ft_status (*read)(struct line *l);
} keywords[] = {
	{ "dialect", read_dialect },
	{ "sender", read_sender },
	{ "machine", read_machine },
	{ "board", read_board },
	{ "changer", read_changer },
	{ "validator", read_validator },
	{ "reader", read_reader },
	{ "currency", read_currency },
	{ "clock", read_clock },
	{ "digits", read_digits },
	{ "reset", read_reset },
	{ "change", read_change },
	{ "tokens", read_tokens },
	{ "security", read_security },
	{ "temperature", read_temperature },
	{ "stacker", read_stacker },
	{ "coin", read_coin },
	{ "bill", read_bill },
	{ "list", read_list },
	{ "selection", read_selection },
	{ "firmware", read_firmware },
	{ "past", read_past },
	{ "bus", read_bus },
};

static enum ft_status read_line(struct line *l)
{
	for (size_t i = 0; i < sizeof keywords / sizeof *keywords; i++) {
		if (!ft_slice_is(l->words[0], keywords[i].word))
			continue;
		return l->n < 2 ? bad(l, "%s needs something behind it.", keywords[i].word) : keywords[i].read(l);
	}
	return bad(l, "%.*s is no word of a machine description; docs/practice.md lists them.", FT_P(l->words[0]));
}

/* What only shows when all lines are read. */
static enum ft_status whole(struct ft_practice *p, const char *what, struct ft_error *e)
{
	const char *lacks = !p->sender[0]              ? "sender"
		: !p->machine.serial[0]                    ? "machine"
		: !p->currency                             ? "currency"
		: !p->now_s                                ? "clock"
		: !p->coin_count                           ? "coin"
		: !p->selection_count                      ? "selection"
		: p->bill_count && !p->validator.serial[0] ? "validator"
												   : NULL;
	if (lacks)
		return ft_fail(e, FT_E_INPUT, "%s has no line %s; a machine needs one.", what, lacks);
	if (p->past.from_s >= p->now_s)
		return ft_fail(e, FT_E_INPUT, "In %s the past begins after the clock's date; set from= earlier.", what);
	if (p->dialect == OLD_COIN && (p->bill_count || p->reader.serial[0] || p->tokens))
		return ft_fail(e, FT_E_INPUT, "%s: the dialect old-coin has no bills, no card reader and no tokens.", what);
	if (p->dialect != US_SNACK && p->tokens)
		return ft_fail(e, FT_E_INPUT, "%s: only the dialect us-snack reports tokens.", what);
	if (!p->list_count)
		p->list_count = 1; /* CA 0 for everybody */
	return FT_OK;
}

enum ft_status practice_describe(struct ft_practice *p, struct ft_slice text, const char *what, struct ft_error *e)
{
	struct line l = { .p = p, .what = what, .e = e };
	struct ft_slice rest = text, one;

	p->bus_plan = (struct bus_plan){ .changer_level = 3, .validator_level = 1, .reader_level = 3, .scale = 1 };
	while (ft_slice_split(&rest, '\n', &one)) {
		bool good;
		enum ft_status s;
		l.number++;
		l.n = practice_words(one, l.words, WORDS_MAX, &good);
		if (l.n && l.words[0].p[0] == '#')
			continue;
		if (!good)
			return bad(&l, "an odd number of quotation marks, or more than %d words.", WORDS_MAX);
		if (l.n && (s = read_line(&l)) != FT_OK)
			return s;
	}
	return whole(p, what, e);
}
