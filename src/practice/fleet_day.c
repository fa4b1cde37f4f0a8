/* SPDX-License-Identifier: Apache-2.0 */
/* One day of one machine: who buys, who comes by, what is read, and what is planted. */
#include <math.h>

#include "fleet.h"
#include "fettle/time.h"

#define DAY (86400 * FT_SECOND)

static int64_t at(int day, int hour, int minute)
{
	return practice_fleet_start() + day * DAY + (hour * 60 + minute) * 60 * FT_SECOND;
}

static const char *stamp(int64_t us, char out[FT_TIME_TEXT])
{
	ft_time_text(us, 0, out);
	out[19] = 0;
	return out;
}

void practice_fleet_row(struct life *l, enum ft_fleet_table t, const char *format, ...)
{
	char text[256];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	l->ok = l->ok && l->sink->row(l->sink->to, t, text);
}

/* ---- customers ---- */

static int poisson(uint64_t *state, double mean)
{
	double limit = exp(-mean), product = practice_even(state);
	int n = 0;

	for (; product > limit && n < 1000; n++)
		product *= practice_even(state);
	return n;
}

static int whom(struct life *l)
{
	double x = practice_even(&l->random);
	size_t n = l->p->selection_count;

	for (size_t i = 0; i < n; i++)
		if ((x -= l->share[i]) < 0)
			return (int)i;
	return (int)n - 1;
}

static bool closed(const struct life *l, int day)
{
	return l->trouble == MACHINE_STOPPED && day >= l->begins && day < l->until;
}

static void sell(struct life *l, int day)
{
	double mood = exp(0.08 * practice_normal(&l->random));
	int n = poisson(&l->random, l->rate * l->days[day % 7] * mood);

	for (int i = 0; i < n; i++) {
		int s = whom(l);
		l->p->now_s = at(day, 7, 0) / FT_SECOND + l->drift_s + i * INT64_C(57600) / (n + 1);
		if (!closed(l, day))
			practice_customer(l->p, s, practice_random(l->p, 100), practice_random(l->p, 400) == 0);
	}
}

/* ---- visits ---- */

static void fill(struct life *l)
{
	struct ft_practice *p = l->p;

	for (size_t i = 0; i < p->selection_count; i++) {
		bool left = l->trouble == SOLD_OUT && (int)i == l->selection && l->stopped_selling;
		if (!left)
			p->selections[i].stock = p->selections[i].capacity;
	}
	for (size_t i = 0; i < p->coin_count; i++)
		if (p->coins[i].in_tube < p->coins[i].room / 2)
			practice_fill(p, i, p->coins[i].room * 2 / 3 - p->coins[i].in_tube);
	p->stacked = 0;
}

static int64_t boxed(const struct life *l)
{
	return l->p->meters.to_box + l->p->meters.bills_in;
}

/* Counted as people count: mostly to the cent, some coins lost or doubled; by day and person. */
static void count_box(struct life *l, int day)
{
	int64_t box = boxed(l) - l->box_before, bills = l->p->meters.bills_in;
	double factor = 1 + 0.006 * practice_normal(&l->random);
	char date[FT_TIME_TEXT], a[FT_MONEY_TEXT], b[FT_MONEY_TEXT];
	bool first = !l->counted, begun = day >= l->begins;
	int64_t counted;

	l->box_before = boxed(l);
	l->counted = true;
	if ((l->trouble == CASH_SHORT || l->trouble == CASH_OVER) && begun && !l->told && box > 2000) {
		double off = 0.15 + 0.25 * practice_even(&l->random);
		factor += l->trouble == CASH_OVER ? off : -off;
		practice_key(l, at(day, 23, 0));
	}
	/* less than seven standard deviations at a time: over the limit at the second collection */
	if (l->trouble == CASH_LOSING && begun) {
		factor -= 0.04;
		practice_key(l, at(day + l->every, 23, 0));
	}
	if (l->trouble == BAG_LOST && begun && !l->told) {
		practice_key(l, at(day + 4, 0, 0));
		return;
	}
	counted = (int64_t)((double)box * factor);
	if (first || counted < 0)
		return; /* what lay in the box before the first day nobody knows */
	stamp(at(day, 0, 0), date);
	bills = bills < counted ? bills % (counted + 1) / 100 * 100 : 0;
	practice_fleet_row(l, FT_FLEET_COUNTS, "%.10s,%s,%s,%s,B%05zu%03d,%s,%s", date, l->asset,
	                   ft_money_text(bills, 2, a), ft_money_text(counted - bills, 2, b), l->index % 100000, day % 1000,
	                   l->by, l->route);
}

static void door(struct life *l, int64_t opened, int minutes)
{
	char text[FT_TIME_TEXT];

	practice_fleet_row(l, FT_FLEET_DOORS, "%s,%s,open", stamp(opened, text), l->asset);
	practice_fleet_row(l, FT_FLEET_DOORS, "%s,%s,closed", stamp(opened + minutes * 60 * FT_SECOND, text), l->asset);
}

static bool visits(const struct life *l, int day)
{
	return day % l->every == l->phase;
}

static void visit(struct life *l, int day)
{
	struct ft_practice *p = l->p;
	int minutes = 8 + (int)practice_chance(&l->random, 15);

	p->now_s = at(day, 10, 30) / FT_SECOND + l->drift_s;
	if (l->trouble == DOOR_DEAD && day >= l->begins && !l->told)
		practice_key(l, at(day + 1, 6, 0));
	else
		door(l, at(day, 10, 30), minutes);
	fill(l);
	if (l->dialect != OLD_COIN) {
		int s = (int)practice_random(p, (int64_t)p->selection_count);
		practice_vend_unpaid(p, s,
		                     true); /* a shelf that is planted empty refuses and nothing is counted: try another */
		practice_vend_unpaid(p, (s + 1) % (int)p->selection_count, true);
		practice_reset(p);
	}
	count_box(l, day);
}

/* ---- what is planted ---- */

static void plant_lasting(struct life *l, int day)
{
	struct ft_practice *p = l->p;
	int64_t visible_us = at(l->begins + practice_shows(l), 6, 0);

	switch (l->trouble) {
	case SELECTION_STOPPED:
		p->selections[l->selection].jammed = true;
		practice_key(l, visible_us);
		break;
	case NEVER_SOLD:
	case MACHINE_STOPPED:
		practice_key(l, visible_us);
		break;
	case SOLD_OUT:
		if (!l->stopped_selling) {
			l->stopped_selling = true;
			p->selections[l->selection].stock = 0;
			practice_begins(p, "OBC_", p->selections[l->selection].id);
			practice_key(l, visible_us);
		}
		break;
	case CLOCK_DRIFTS:
		l->drift_s += 300;
		practice_key(l, at(l->begins + 5, 6, 0)); /* three reads beyond fifteen minutes */
		break;
	case POWER_CUTS:
		if (day < l->begins + 4) {
			p->meters.outages += 2;
			practice_key(l, at(l->begins + 2, 6, 0));
		}
		break;
	default:
		break;
	}
}

/* The meters begin anew; what lies in the box stays there. */
static void forget(struct life *l)
{
	int64_t in_box = boxed(l) - l->box_before;

	practice_forget_meters(l->p);
	l->box_before = -in_box;
	l->carded_before = 0;
}

static void plant_once(struct life *l, int day)
{
	struct ft_practice *p = l->p;
	char name[TEXT_ROOM];
	int64_t lost;

	switch (l->trouble) {
	case PRICE_CHANGED:
		for (size_t i = 0; i < LISTS_MAX; i++)
			if (p->selections[l->selection].price[i])
				p->selections[l->selection].price[i] += practice_chance(&l->random, 2) ? 25 : -25;
		break;
	case CLOCK_LOST:
		l->drift_s -= INT64_C(86400) * 900;
		practice_key(l, at(day + 3, 6, 0));
		return;
	case BOARD_EXCHANGED:
		snprintf(name, sizeof name, "PX%06zu", l->index % 1000000);
		memcpy(p->board.serial, name, sizeof name);
		door(l, at(day, 9, 15), 40);
		if (practice_chance(&l->random, 2))
			forget(l);
		break;
	case COUNTERS_ANEW:
		forget(l);
		break;
	case COUNTER_FELL:
		lost = p->meters.by[BY_CARD].value / 3;
		p->meters.by[BY_CARD].value -= lost;
		l->carded_before -= lost; /* what was settled stays settled */
		break;
	case DOOR_OPENED:
		if (visits(l, day)) {
			l->begins++;
			return;
		}
		door(l, at(day, 23, 20), 6);
		practice_key(l, at(day + 1, 6, 0));
		return;
	case TUBES_EMPTIED:
		if (practice_tubes(p) < 500) { /* nothing worth taking today */
			l->begins++;
			return;
		}
		for (size_t i = 0; i < p->coin_count; i++)
			p->coins[i].in_tube -= p->coins[i].in_tube * 2 / 3;
		break;
	default:
		return;
	}
	practice_key(l, at(day + 1, 6, 0));
}

/* A display of six places whose number goes round on its way. */
static void wrap(struct life *l, int day)
{
	struct ft_practice *p = l->p;

	if (l->trouble != COUNTER_WRAPS || p->meters.paid.value < 1000000)
		return;
	p->meters.paid.value -= 1000000;
	p->base.paid.value -= 1000000;
	l->begins = day;
	l->wrapped = true;
}

static void settle(struct life *l, int day)
{
	int64_t sold = l->p->meters.by[BY_CARD].value - l->carded_before;
	char date[FT_TIME_TEXT], text[FT_MONEY_TEXT];

	if (l->dialect == OLD_COIN)
		return;
	l->carded_before = l->p->meters.by[BY_CARD].value;
	if (l->trouble == CARDS_UNSETTLED && day >= l->begins) {
		sold = sold * 3 / 10;
		practice_key(l, at(l->begins + 5, 6, 0));
	}
	stamp(at(day, 0, 0), date);
	practice_fleet_row(l, FT_FLEET_SETTLEMENTS, "%.10s,%s,%s", date, l->asset, ft_money_text(sold, 2, text));
}

/* Hourly; the door's hour is a little warmer, a failing compressor lets it rise by half a degree an hour. */
static void cabinet(struct life *l, int day)
{
	bool fails = (l->trouble == FRIDGE_FAILS || l->trouble == ALARM_MISSED) && day >= l->begins && day < l->begins + 3;
	char text[FT_TIME_TEXT];

	for (int h = 0; l->logger && h < 24; h++) {
		if (fails)
			l->temperature += 0.6;
		else
			l->temperature += (3 - l->temperature) * 0.5;
		bool alarm = fails && l->alarms && l->temperature > 6.5;
		if (fails && l->temperature > 6.5)
			practice_key(l, at(day, h, 0));
		if (l->trouble == ALARM_WRONG && day == l->begins && h == 14) {
			practice_key(l, at(day, h, 0));
			alarm = true;
		}
		practice_fleet_row(l, FT_FLEET_TEMPERATURES, "%s,%s,%.1f,%d", stamp(at(day, h, 0), text), l->asset,
		                   fmin(l->temperature, 22) + 0.15 * practice_normal(&l->random) +
		                       (visits(l, day) && h == 11 ? 1.2 : 0),
		                   alarm);
	}
}

/* ---- reading ---- */

static void deliver(struct life *l, int64_t arrived, const char *suffix)
{
	bool swapped = (l->trouble == UNITS_SWAPPED || l->trouble == UNIT_MOVED) && arrived >= at(l->begins, 0, 0);
	struct ft_civil c = ft_civil_of(arrived, 0);
	char path[96];

	snprintf(path, sizeof path, "audits/%04d-%02d-%02d/%s_%04d%02d%02dT%02d%02d%02d%s.dts", c.year, c.month, c.day,
	         swapped ? l->partner : l->asset, c.year, c.month, c.day, c.hour, c.minute, c.second, suffix);
	l->ok = l->ok && l->sink->file(l->sink->to, path, ft_buf_text(&l->audit), arrived);
}

static bool silent(const struct life *l, int day)
{
	return l->trouble == READS_MISSING && day >= l->begins && day < l->until;
}

static void read_out(struct life *l, int day)
{
	int64_t arrived =
		at(day, 4, 0) + (int64_t)(l->index % 90) * 60 * FT_SECOND + practice_chance(&l->random, 180) * FT_SECOND;
	int64_t fate = practice_chance(&l->random, 1000);
	struct ft_slice bytes;

	l->p->now_s = (arrived / FT_SECOND) - 20 + l->drift_s;
	wrap(l, day);
	if (silent(l, day)) {
		practice_key(l, at(l->begins + 2, 6, 0));
		return;
	}
	if (fate < 7 || ft_practice_read_begin(l->p, 0, FT_SLICE("OFFICE"), &bytes, NULL) != FT_OK)
		return; /* no radio that night */
	ft_buf_clear(&l->audit);
	ft_buf_slice(&l->audit, fate == 7 ? (struct ft_slice){ bytes.p, bytes.n * 2 / 3 } : bytes);
	ft_practice_read_end(l->p, 0, true);
	if (fate >= 8 && fate < 11) { /* comes days after it was read */
		arrived += 2 * DAY + practice_chance(&l->random, 36000) * FT_SECOND;
		if (arrived >= at(l->plan->days, 0, 0))
			return;
	}
	deliver(l, arrived, "");
	if (fate >= 11 && fate < 14 && day + 1 < l->plan->days)
		deliver(l, arrived + DAY, "-again");
	if ((l->trouble == UNITS_SWAPPED || l->trouble == UNIT_MOVED) && day >= l->begins)
		practice_key(l, at(l->begins, 8, 0));
	if (l->wrapped)
		practice_key(l, arrived);
}

void practice_fleet_day(struct life *l, int day)
{
	if (day == 0 && l->trouble == COUNTER_WRAPS) {
		int64_t shift = 1000000 - (int64_t)(l->rate * (double)(l->dialect == US_SNACK ? 190 : 90)) * l->begins -
			l->p->meters.paid.value;
		l->p->meters.paid.value += shift;
		l->p->base.paid.value += shift;
	}
	if (day == 0) {
		l->carded_before = l->p->meters.by[BY_CARD].value;
		l->box_before = 0;
	}
	read_out(l, day);
	if (day >= l->begins)
		plant_lasting(l, day);
	if (day == l->begins)
		plant_once(l, day);
	if (visits(l, day))
		visit(l, day);
	sell(l, day);
	if (practice_random(l->p, 90) == 0)
		l->p->meters.outages++;
	settle(l, day);
	cabinet(l, day);
}
