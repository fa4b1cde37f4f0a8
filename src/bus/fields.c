/* SPDX-License-Identifier: Apache-2.0 */
/* What a command carries and an answer holds beside money and state: for people who read the traffic block by block. */
#include <stdio.h>

#include "tell.h"

static const struct {
	uint8_t first, second;
	const char *text;
} diagnostics[] = {
#define ROW(ident, pair, first, second, text, trust, source) { first, second, text },
#include "bus-diagnostics.inc"
#undef ROW
};

/* Option bits by device, MDB/ICP 4.6, 5.4 and 6.5; the lowest first. */
static const char *const changer_options[] = { "alternative payout", "extended diagnostics", "manual fill and payout",
	                                           "file transport", NULL };
static const char *const validator_options[] = { "file transport", "recycling", NULL };
static const char *const cashless_options[] = {
	"file transport", "32-bit money", "several currencies", "negative vend", "data entry", "always idle", NULL
};

void bus_tell_options(enum ft_bus_device_kind k, uint32_t bits, struct ft_buf *out)
{
	static const char *const none[] = { NULL };
	const char *const *names = k == FT_BUS_CHANGER ? changer_options
		: k == FT_BUS_VALIDATOR                    ? validator_options
		: k == FT_BUS_CASHLESS                     ? cashless_options
												   : none;
	int said = 0;

	for (int i = 0; names[i]; i++)
		if (bits >> i & 1)
			ft_buf_printf(out, "%s%s", said++ ? ", " : "", names[i]);
	if (!said)
		ft_buf_puts(out, "none");
}

static void price(struct ft_buf *out, const struct ft_bus_device *d, const char *what, uint32_t units, bool known)
{
	int64_t value = meaning_scaled(d, units);
	char m[FT_MONEY_TEXT];

	if (!known)
		ft_buf_printf(out, "%s not told", what);
	else if (value != FT_ABSENT && d->setup.decimals <= 4)
		ft_buf_printf(out, "%s %s", what, ft_money_text(value, d->setup.decimals, m));
	else
		ft_buf_printf(out, "%s %lu units", what, (unsigned long)units);
}

static bool of_changer(const struct meaning_step *s, struct ft_buf *out)
{
	enum { EXPANSION = 7, FEATURES = 1, DIAGNOSTIC = 5 };

	if (s->offset != EXPANSION)
		return false;
	if (s->sub == FEATURES && s->data_count >= 4) {
		bus_tell_options(FT_BUS_CHANGER, meaning_32(s->data), out);
		return true;
	}
	if (s->sub != DIAGNOSTIC || s->answer_count < 2)
		return false;
	for (unsigned i = 0; i + 1 < s->answer_count; i += 2) {
		const char *text = NULL;
		for (size_t k = 0; k < sizeof diagnostics / sizeof *diagnostics; k++)
			if (diagnostics[k].first == s->answer[i] && diagnostics[k].second == s->answer[i + 1])
				text = diagnostics[k].text;
		ft_buf_puts(out, i ? ", " : "");
		if (text)
			ft_buf_puts(out, text);
		else
			ft_buf_printf(out, "%02X %02X, which no table knows", s->answer[i], s->answer[i + 1]);
	}
	return true;
}

static bool of_validator(const struct meaning_step *s, struct ft_buf *out)
{
	enum { SECURITY = 2, ESCROW = 5, STACKER = 6, EXPANSION = 7, FEATURES = 1, FULL = 0x8000 };

	if (s->offset == ESCROW && s->data_count)
		ft_buf_puts(out, s->data[0] & 1 ? "stack the bill" : "give the bill back");
	else if (s->offset == STACKER && s->answer_count >= 2)
		ft_buf_printf(out, "%u bills in the stacker%s", meaning_16(s->answer) & 0x7FFFU,
		              meaning_16(s->answer) & FULL ? ", full" : "");
	else if (s->offset == SECURITY && s->data_count >= 2)
		ft_buf_printf(out, "high security for types %04X", meaning_16(s->data));
	else if (s->offset == EXPANSION && s->sub == FEATURES && s->data_count >= 4)
		bus_tell_options(FT_BUS_VALIDATOR, meaning_32(s->data), out);
	else
		return false;
	return true;
}

void bus_tell_message(const struct meaning_step *s, const uint8_t *z, unsigned n, struct ft_buf *out)
{
	enum { DISPLAY = 0x02, LIMIT = 0x0F, KEYS = 0x12, KEYS_MASK = 0x7F };
	const struct bus_response_row *row = bus_response_row(s->d->kind, z[0]);
	bool reader = s->d->kind == FT_BUS_CASHLESS;

	if (reader && z[0] == DISPLAY && n >= 2) {
		ft_buf_puts(out, "show \"");
		for (unsigned i = 2; i < n; i++)
			ft_buf_byte(out, z[i] >= 0x20 && z[i] < 0x7F ? z[i] : '.');
		ft_buf_printf(out, "\" for %d.%d s", z[1] / 10, z[1] % 10);
	} else if (reader && z[0] == LIMIT && n >= 3) {
		price(out, s->d, "revalue limit", n >= 5 ? meaning_32(z + 1) : meaning_16(z + 1), true);
	} else if (reader && z[0] == KEYS && n >= 2) {
		ft_buf_printf(out, "asks for %d keys", z[1] & KEYS_MASK);
	} else if (row) {
		for (const char *c = row->name; *c; c++)
			ft_buf_byte(out, (uint8_t)(*c >= 'A' && *c <= 'Z' ? *c + ('a' - 'A') : *c));
	} else {
		ft_buf_printf(out, "%02X, which no table knows", z[0]);
	}
}

static bool of_cashless(const struct meaning_step *s, struct ft_buf *out)
{
	enum { SETUP = 1, EXPANSION = 7, CONFIGURATION = 0, IDENTITY = 0, PRICES = 1, WRITE_TIME = 3, OPTIONS = 4 };

	if (s->offset == SETUP && s->sub == CONFIGURATION && s->data_count && !s->answer_count) {
		ft_buf_printf(out, "controller of level %d", s->data[0]);
		if (s->data_count >= 3 && s->data[1] && s->data[2])
			ft_buf_printf(out, ", display %d x %d", s->data[1], s->data[2]);
		return true;
	}
	if (s->offset == SETUP && s->sub == PRICES && s->data_count >= 4) {
		bool wide = s->data_count >= 8;
		uint32_t most = wide ? meaning_32(s->data) : meaning_16(s->data);
		uint32_t least = wide ? meaning_32(s->data + 4) : meaning_16(s->data + 2);
		price(out, s->d, "at most", most, most != (wide ? UINT32_MAX : (uint32_t)MEANING_NONE16));
		price(out, s->d, ", at least", least, least != 0);
		return true;
	}
	if (s->offset == EXPANSION && s->sub == IDENTITY && s->data_count && !s->answer_count) {
		struct ft_bus_device controller = { 0 };
		meaning_identity(&controller, s->data, s->data_count);
		if (controller.identity.known)
			ft_buf_printf(out, "controller made by %s, serial %s, model %s, software %04X", controller.identity.maker,
			              controller.identity.serial, controller.identity.model, controller.identity.software);
		return controller.identity.known;
	}
	if (s->offset == EXPANSION && s->sub == OPTIONS && s->data_count >= 4) {
		bus_tell_options(FT_BUS_CASHLESS, meaning_32(s->data), out);
		return true;
	}
	if (s->offset == EXPANSION && s->sub == WRITE_TIME && s->data_count >= 5) {
		ft_buf_printf(out, "20%02X-%02X-%02X %02X:%02X", s->data[0], s->data[1], s->data[2], s->data[3], s->data[4]);
		return true;
	}
	return false;
}

bool bus_tell_fields(const struct meaning_step *s, struct ft_buf *out)
{
	switch (s->d->kind) {
	case FT_BUS_CHANGER:
		return of_changer(s, out);
	case FT_BUS_VALIDATOR:
		return of_validator(s, out);
	case FT_BUS_CASHLESS:
		return of_cashless(s, out);
	default:
		return false;
	}
}
