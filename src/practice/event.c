/* SPDX-License-Identifier: Apache-2.0 */
/* What the machine tells: the events of the simulation, and the events it notes itself (EA1, EA2). */
#include "machine.h"

#include <stdio.h>

#include "fettle/time.h"

static const char *const words[FT_PRACTICE_EVENT_KINDS] = {
	[FT_PRACTICE_SALE] = "sale",         [FT_PRACTICE_REFUSED] = "refused",   [FT_PRACTICE_FAILED] = "vend_failed",
	[FT_PRACTICE_TEST] = "test",         [FT_PRACTICE_FREE] = "free",         [FT_PRACTICE_MONEY] = "money",
	[FT_PRACTICE_RETURNED] = "returned", [FT_PRACTICE_TOPPED] = "topped_up",  [FT_PRACTICE_FILLED] = "filled",
	[FT_PRACTICE_PAID_OUT] = "paid_out", [FT_PRACTICE_PRICE] = "price",       [FT_PRACTICE_STOCK] = "stock",
	[FT_PRACTICE_MOTOR] = "motor",       [FT_PRACTICE_FIRMWARE] = "firmware", [FT_PRACTICE_POWER] = "power",
	[FT_PRACTICE_DOOR] = "door",         [FT_PRACTICE_CLOCK] = "clock",       [FT_PRACTICE_TEMPERATURE] = "temperature",
	[FT_PRACTICE_RESET] = "reset",       [FT_PRACTICE_READ] = "read",         [FT_PRACTICE_SAVED] = "saved",
	[FT_PRACTICE_FAULT] = "fault",       [FT_PRACTICE_TROUBLE] = "trouble",   [FT_PRACTICE_WAITED] = "waited",
	[FT_PRACTICE_QUIT] = "quit",         [FT_PRACTICE_MEASURED] = "measured", [FT_PRACTICE_ANTENNA] = "antenna",
};

const char *ft_practice_event_word(enum ft_practice_event_kind kind)
{
	return words[kind];
}

/* The oldest gives way when nobody fetches: a caller that looks after each command loses none. */
struct ft_practice_event *practice_tell(struct ft_practice *p, enum ft_practice_event_kind kind, const char *format,
                                        ...)
{
	struct ft_practice_event *ev;
	va_list args;

	if (p->queue_count == QUEUE_MAX) {
		p->queue_head = (p->queue_head + 1) % QUEUE_MAX;
		p->queue_count--;
	}
	ev = &p->queue[(p->queue_head + p->queue_count) % QUEUE_MAX];
	*ev = (struct ft_practice_event){ .kind = kind,
		                              .at_s = p->now_s,
		                              .price = FT_ABSENT,
		                              .tendered = FT_ABSENT,
		                              .change = FT_ABSENT,
		                              .amount = FT_ABSENT };
	p->queue_count += !p->quiet; /* while the past is lived the slot is only lent */
	if (p->quiet)
		return ev;
	va_start(args, format);
	vsnprintf(ev->text, sizeof ev->text, format, args);
	va_end(args);
	return ev;
}

bool ft_practice_next(struct ft_practice *p, struct ft_practice_event *ret)
{
	if (!p->queue_count)
		return false;
	*ret = p->queue[p->queue_head];
	p->queue_head = (p->queue_head + 1) % QUEUE_MAX;
	p->queue_count--;
	return true;
}

static void text_or_null(struct ft_json *j, const char *key, const char *text)
{
	ft_json_text(j, key, text && *text ? text : NULL);
}

void ft_practice_event_json(const struct ft_practice *p, const struct ft_practice_event *ev, struct ft_json *j)
{
	char at[FT_TIME_TEXT];

	ft_time_text(ev->at_s * FT_SECOND, 0, at);
	at[19] = 0; /* machine time has no offset: "2026-03-09T14:05:11" */
	ft_json_object(j, NULL);
	ft_json_text(j, "event", words[ev->kind]);
	ft_json_text(j, "at", at);
	text_or_null(j, "selection", ev->selection);
	text_or_null(j, "delivered", ev->delivered);
	text_or_null(j, "paid_with", ev->paid_with);
	ft_json_count(j, "price", ev->price);
	ft_json_count(j, "tendered", ev->tendered);
	ft_json_count(j, "change", ev->change);
	ft_json_count(j, "amount", ev->amount);
	ft_json_i64(j, "decimals", p->currency->digits);
	ft_json_text(j, "text", ev->text);
	ft_json_object_end(j);
}

const char *practice_money(const struct ft_practice *p, int64_t minor, char *out)
{
	return ft_money_text(minor, p->currency->digits, out);
}

/* ---- the machine's own log ---- */

static int code_of(struct ft_practice *p, const char *code, const char *selection, char full[ID_ROOM])
{
	snprintf(full, ID_ROOM, "%s%.7s", code, selection);
	for (size_t i = 0; i < p->code_count; i++)
		if (strcmp(p->codes[i].code, full) == 0)
			return (int)i;
	if (p->code_count == CODES_MAX)
		return -1; /* its memory for events is full, as a small machine's would be */
	memcpy(p->codes[p->code_count].code, full, ID_ROOM);
	return (int)p->code_count++;
}

static void log_it(struct ft_practice *p, const char *code, int64_t minutes)
{
	memmove(p->log + 1, p->log, (LOG_MAX - 1) * sizeof *p->log);
	p->log_count += p->log_count < LOG_MAX;
	p->log[0] = (struct log_row){ .at_s = p->now_s, .minutes = minutes, .dated = p->clock_known };
	memcpy(p->log[0].code, code, ID_ROOM);
}

void practice_marks(struct ft_practice *p, const char *code, const char *selection)
{
	char full[ID_ROOM];
	int i = code_of(p, code, selection, full);

	if (i < 0)
		return;
	p->meters.code[i]++;
	log_it(p, full, 0);
	practice_tell(p, FT_PRACTICE_TROUBLE, "The machine notes event %s.", full);
}

void practice_begins(struct ft_practice *p, const char *code, const char *selection)
{
	char full[ID_ROOM];
	int i = code_of(p, code, selection, full);

	if (i < 0 || p->codes[i].active)
		return;
	p->codes[i].active = true;
	p->meters.code[i]++;
	log_it(p, full, -1);
	practice_tell(p, FT_PRACTICE_TROUBLE, "The machine notes event %s, which lasts.", full);
}

void practice_ends(struct ft_practice *p, const char *code, const char *selection)
{
	char full[ID_ROOM];
	int i = code_of(p, code, selection, full);

	if (i < 0 || !p->codes[i].active)
		return;
	p->codes[i].active = false;
	for (size_t k = 0; k < p->log_count; k++)
		if (p->log[k].minutes < 0 && strcmp(p->log[k].code, full) == 0)
			p->log[k].minutes = p->now_s > p->log[k].at_s ? (p->now_s - p->log[k].at_s) / 60 : 0;
	practice_tell(p, FT_PRACTICE_TROUBLE, "Event %s is over.", full);
}
