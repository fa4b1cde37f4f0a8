/* SPDX-License-Identifier: Apache-2.0 */
/* What a command carries and an answer holds beside money and state: for people who read the traffic block by block. */
#include <stdio.h>

#include "tell.h"

static const struct {
	uint8_t first, second;
	const char *text;
} diagnostics[] = {
#define ROW(ident, pair, first, second, text, source) { first, second, text },
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

static void options(struct ft_buf *out, uint32_t bits, const char *const *names)
{
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
		options(out, meaning_32(s->data), changer_options);
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
		options(out, meaning_32(s->data), validator_options);
	else
		return false;
	return true;
}

static bool told_by_reader(const struct meaning_step *s, struct ft_buf *out)
{
	enum {
		DISPLAY = 0x02,
		CANCELLED = 0x08,
		LIMIT = 0x0F,
		TIME = 0x11,
		KEYS = 0x12,
		KEYS_CANCEL = 0x13,
		DIAGNOSTIC = 0xFF
	};
	const uint8_t *z = s->answer;

	if (!s->answer_count)
		return false;
	switch (z[0]) {
	case DISPLAY:
		ft_buf_puts(out, "show \"");
		for (unsigned i = 2; i < s->answer_count; i++)
			ft_buf_byte(out, z[i] >= 0x20 && z[i] < 0x7F ? z[i] : '.');
		ft_buf_printf(out, "\" for %d.%d s", s->answer_count > 1 ? z[1] / 10 : 0, s->answer_count > 1 ? z[1] % 10 : 0);
		return true;
	case CANCELLED:
		ft_buf_puts(out, "cancelled");
		return true;
	case LIMIT:
		if (s->answer_count >= 3)
			price(out, s->d, "revalue limit", s->answer_count >= 5 ? meaning_32(z + 1) : meaning_16(z + 1), true);
		return s->answer_count >= 3;
	case TIME:
		ft_buf_puts(out, "asks for time and date");
		return true;
	case KEYS:
		ft_buf_printf(out, "asks for %d keys", s->answer_count > 1 ? z[1] & 0x7F : 0);
		return true;
	case KEYS_CANCEL:
		ft_buf_puts(out, "asks for keys no longer");
		return true;
	case DIAGNOSTIC:
		ft_buf_puts(out, "diagnostics of the maker's own");
		return true;
	default:
		return false;
	}
}

static bool of_cashless(const struct meaning_step *s, struct ft_buf *out)
{
	enum { SETUP = 1, EXPANSION = 7, CONFIGURATION = 0, PRICES = 1, WRITE_TIME = 3, OPTIONS = 4 };

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
	if (s->offset == EXPANSION && s->sub == OPTIONS && s->data_count >= 4) {
		options(out, meaning_32(s->data), cashless_options);
		return true;
	}
	if (s->offset == EXPANSION && s->sub == WRITE_TIME && s->data_count >= 5) {
		ft_buf_printf(out, "20%02X-%02X-%02X %02X:%02X", s->data[0], s->data[1], s->data[2], s->data[3], s->data[4]);
		return true;
	}
	return told_by_reader(s, out);
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
