/* SPDX-License-Identifier: Apache-2.0 */
/* Names of addresses, commands, codes and currencies, from the tables of data/. */
#include <stdio.h>

#include "meaning.h"

static const struct bus_device_row devices[] = {
#define ROW(ident, device, address, kind, name, poll, was_reset, source) \
	{ address, FT_BUS_##kind, name, poll, was_reset },
#include "bus-devices.inc"
#undef ROW
};

static const struct bus_command_row commands[] = {
#define ROW(ident, command, kind, offset, sub, name, least, most, level, trust, source) \
	{ FT_BUS_##kind, offset, sub, name, least, most },
#include "bus-commands.inc"
#undef ROW
};

static const struct bus_response_row responses[] = {
#define ROW(ident, response, kind, code, name, least, most, level, trust, source) \
	{ FT_BUS_##kind, code, name, least, most },
#include "bus-responses.inc"
#undef ROW
};

static const struct {
	enum ft_bus_device_kind kind;
	int code;
	const char *text;
} statuses[] = {
#define ROW(ident, status, kind, code, class, text, trust, source) { FT_BUS_##kind, code, text },
#include "bus-statuses.inc"
#undef ROW
};

#define COUNT(table) (sizeof(table) / sizeof *(table))

enum { ADDRESS_BITS = 0xF8, COMMAND_BITS = 0x07 };

const struct bus_device_row *bus_device_row(uint8_t address)
{
	for (size_t i = 0; i < COUNT(devices); i++)
		if (devices[i].address == (address & ADDRESS_BITS))
			return &devices[i];
	return NULL;
}

const char *ft_bus_device_word(uint8_t address)
{
	const struct bus_device_row *r = bus_device_row(address);

	return r                               ? r->name
		: (address & ADDRESS_BITS) >= 0xE0 ? "experimental or the maker's own device"
										   : "reserved address";
}

const char *bus_status_word(enum ft_bus_device_kind k, int code)
{
	for (size_t i = 0; i < COUNT(statuses); i++)
		if (statuses[i].kind == k && statuses[i].code == code)
			return statuses[i].text;
	return NULL;
}

bool bus_has_sub(enum ft_bus_device_kind k, unsigned offset)
{
	for (size_t i = 0; i < COUNT(commands); i++)
		if (commands[i].kind == k && commands[i].offset == (int)offset && commands[i].sub >= 0)
			return true;
	return false;
}

const struct bus_response_row *bus_response_row(enum ft_bus_device_kind k, uint8_t code)
{
	for (size_t i = 0; i < COUNT(responses); i++)
		if (responses[i].kind == k && responses[i].code == code)
			return &responses[i];
	return NULL;
}

const struct bus_command_row *bus_command_row(const uint8_t *bytes, size_t n)
{
	const struct bus_device_row *d = n ? bus_device_row(bytes[0]) : NULL;

	for (size_t i = 0; d && i < COUNT(commands); i++)
		if (commands[i].kind == d->kind && commands[i].offset == (bytes[0] & COMMAND_BITS) &&
		    (commands[i].sub < 0 || (n > 1 && bytes[1] == commands[i].sub)))
			return &commands[i];
	return NULL;
}

const char *ft_bus_command_word(const uint8_t *bytes, size_t n)
{
	const struct bus_command_row *r = bus_command_row(bytes, n);

	return r ? r->name : "unknown command";
}

const char *ft_bus_event_word(enum ft_bus_event_kind k)
{
	static const char *const words[FT_BUS_EVENT_KINDS] = {
		[FT_BUS_EV_BREAK] = "bus reset",
		[FT_BUS_EV_RESET_SENT] = "reset sent",
		[FT_BUS_EV_WAS_RESET] = "was reset",
		[FT_BUS_EV_SETUP] = "setup",
		[FT_BUS_EV_IDENTITY] = "identity",
		[FT_BUS_EV_ENABLED] = "enabled",
		[FT_BUS_EV_DISABLED] = "disabled",
		[FT_BUS_EV_COIN] = "coin",
		[FT_BUS_EV_COIN_BY_HAND] = "coin by hand",
		[FT_BUS_EV_SLUG] = "slug",
		[FT_BUS_EV_PAYOUT_ASKED] = "payout asked",
		[FT_BUS_EV_PAYOUT_DONE] = "payout done",
		[FT_BUS_EV_TUBES] = "tubes",
		[FT_BUS_EV_BILL] = "bill",
		[FT_BUS_EV_BILL_REFUSED] = "bill refused",
		[FT_BUS_EV_STATUS] = "status",
		[FT_BUS_EV_SESSION] = "session begins",
		[FT_BUS_EV_SESSION_CANCEL] = "session cancel asked",
		[FT_BUS_EV_VEND_ASKED] = "vend asked",
		[FT_BUS_EV_VEND_APPROVED] = "vend approved",
		[FT_BUS_EV_VEND_DENIED] = "vend denied",
		[FT_BUS_EV_VEND_CANCEL] = "vend cancelled",
		[FT_BUS_EV_VEND_SUCCESS] = "vend succeeded",
		[FT_BUS_EV_VEND_FAILURE] = "vend failed",
		[FT_BUS_EV_REFUND_LOST] = "refund lost",
		[FT_BUS_EV_SESSION_END] = "session ends",
		[FT_BUS_EV_SESSION_COMPLETE] = "session complete",
		[FT_BUS_EV_CASH_SALE] = "cash sale",
		[FT_BUS_EV_REVALUE_ASKED] = "revalue asked",
		[FT_BUS_EV_REVALUED] = "revalued",
		[FT_BUS_EV_REVALUE_DENIED] = "revalue denied",
		[FT_BUS_EV_OUT_OF_SEQUENCE] = "command out of sequence",
		[FT_BUS_EV_MALFUNCTION] = "malfunction",
		[FT_BUS_EV_UNKNOWN] = "unknown",
	};

	return (unsigned)k < FT_BUS_EVENT_KINDS ? words[k] : NULL;
}

/* Packed BCD; first digit 1: an ISO 4217 number follows, 0: an international telephone prefix (MDB/ICP 4.3). */
void ft_bus_currency(uint16_t code, char ret[24])
{
	const struct ft_currency *c;
	int number = (code >> 8 & 15) * 100 + (code >> 4 & 15) * 10 + (code & 15);

	ret[0] = '\0';
	for (unsigned i = 0; i < 16; i += 4)
		if ((code >> i & 15) > 9) /* FFFF is unknown; others with such a digit are no number at all */
			return;
	c = code >> 12 == 1 ? ft_currency_by_number(number) : NULL;
	if (code >> 12 == 0 && number)
		snprintf(ret, 24, "country prefix %03X", code & 0xFFFU);
	else if (c)
		snprintf(ret, 24, "%s", c->alpha);
}
