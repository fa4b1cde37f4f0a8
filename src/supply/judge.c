/* SPDX-License-Identifier: Apache-2.0 */
/* What the volts along the chain mean, how much more it carries, and what would help. */
#include <math.h>

#include "fettle/supply.h"

#include "limits.h"

enum { THICKER_BY = 2, HALVINGS = 24 }; /* of 20 A that is a microampere; closer to collapse no volts settle soon */

const char *ft_supply_case_word(enum ft_supply_case c)
{
	static const char *const words[] = { "idle", "continuous", "peak" };

	return (unsigned)c < FT_SUPPLY_CASES ? words[c] : NULL;
}

static double reserve(const struct ft_supply_chain *c)
{
	return c->rating_a * (1 - LIMIT_RESERVE / 1000.0);
}

/* Everything continuous, and the peak of one device on top (-1: none). */
static void loads(const struct ft_supply_chain *c, enum ft_supply_case which, int peaking, double *ret)
{
	for (size_t i = 0; i < c->count; i++) {
		const double *load = c->devices[i].load;
		ret[i] = which == FT_SUPPLY_IDLE ? load[FT_SUPPLY_IDLE]
			: (int)i == peaking          ? fmax(load[FT_SUPPLY_PEAK], load[FT_SUPPLY_CONTINUOUS])
										 : load[FT_SUPPLY_CONTINUOUS];
	}
}

/* The least margin of volts over all peaks; -INFINITY when one collapses. Amperes are the most of them. */
static double worst(const struct ft_supply_chain *c, int at, double extra_a, double *volts, double *amperes,
                    int *peaking, int *weakest)
{
	double least = INFINITY;

	*amperes = 0;
	*peaking = *weakest = -1;
	for (size_t i = 0; volts && i < c->count; i++)
		volts[i] = INFINITY;
	for (int p = -1; p < (int)c->count; p++) {
		double load[FT_SUPPLY_DEVICES_MAX], v[FT_SUPPLY_DEVICES_MAX], a = 0;
		loads(c, FT_SUPPLY_PEAK, p, load);
		if (!ft_supply_solve(c, load, at, extra_a, v, &a)) {
			*peaking = p;
			return -INFINITY;
		}
		*amperes = fmax(*amperes, a);
		for (size_t i = 0; i < c->count; i++) {
			double margin = v[i] - c->devices[i].least_v;
			if (volts)
				volts[i] = fmin(volts[i], v[i]);
			if (margin < least) {
				least = margin;
				*weakest = (int)i;
				*peaking = p;
			}
		}
	}
	return least;
}

static bool carries(const struct ft_supply_chain *c, int at, double extra_a)
{
	double amperes;
	int peaking, weakest;

	if (worst(c, at, extra_a, NULL, &amperes, &peaking, &weakest) < 0)
		return false;
	return isnan(c->rating_a) || amperes <= c->rating_a;
}

/* Would all be well if nothing were drawn at that place? */
static bool carries_without(const struct ft_supply_chain *c, int at)
{
	struct ft_supply_device own[FT_SUPPLY_DEVICES_MAX];
	struct ft_supply_chain other = *c;

	memcpy(own, c->devices, c->count * sizeof *own);
	other.devices = own;
	memset(own[at].load, 0, sizeof own[at].load);
	return carries(&other, -1, 0);
}

/* How much more, all the time, at that place; negative when it must be less: how much less. NAN: what hangs there is
 * not the reason, so less of it would not do. */
static double more(const struct ft_supply_chain *c, int at)
{
	bool good = carries(c, at, 0);
	double low = good ? 0 : -FT_SUPPLY_EXTRA_MOST_MA / 1000.0, high = good ? FT_SUPPLY_EXTRA_MOST_MA / 1000.0 : 0;

	if (!good && !carries_without(c, at))
		return NAN;
	for (int i = 0; i < HALVINGS; i++) {
		double middle = (low + high) / 2;
		*(carries(c, at, middle) ? &low : &high) = middle;
	}
	return low * 1000;
}

static void change(struct ft_supply_result *r, const struct ft_supply_chain *c, const char *what, int place)
{
	struct ft_supply_change *x = &r->changes[r->change_count++];
	double amperes;
	int peaking, weakest;

	x->what = what;
	x->margin_v = worst(c, -1, 0, NULL, &amperes, &peaking, &weakest);
	x->collapses = isinf(x->margin_v);
	x->margin_ma = more(c, place);
}

static int longest_drop(const struct ft_supply_chain *c)
{
	int found = -1;
	double most = 0;

	for (size_t i = 0; i < c->count; i++) {
		double ohm =
			c->devices[i].length_m > 0 ? c->devices[i].length_m * ft_supply_loop_ohm(c->devices[i].area_mm2, 20) : 0;
		if (ohm > most) {
			most = ohm;
			found = (int)i;
		}
	}
	return found;
}

static int unit_of(const struct ft_supply_chain *c)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->devices[i].unit)
			return (int)i;
	return (int)c->count - 1;
}

/* Each with the figure it gives: a shorter run, thicker wire, a supply of its own for the unit. */
static enum ft_status try_changes(const struct ft_supply_chain *c, struct ft_arena *a, struct ft_supply_result *r,
                                  struct ft_error *e)
{
	struct ft_supply_device *own = FT_NEW_ARRAY(a, c->count, struct ft_supply_device);
	struct ft_supply_chain other = *c;
	int run = longest_drop(c);

	if (!own)
		return ft_fail_memory(e, "judging the supply");
	other.devices = own;
	memcpy(own, c->devices, c->count * sizeof *own);
	if (run >= 0) {
		own[run].length_m /= 2;
		change(r, &other, ft_arena_printf(a, "half the run to %s", own[run].name), r->place);
		own[run].length_m *= 2;
	}
	for (size_t i = 0; i < c->count; i++) /* three numbers of AWG double the area; two are what plugs still take */
		own[i].area_mm2 *= pow(92, 2.0 * THICKER_BY / 39);
	change(r, &other, "wire two AWG numbers thicker everywhere", r->place);
	memcpy(own, c->devices, c->count * sizeof *own);
	for (int k = 0; k < FT_SUPPLY_CASES; k++)
		own[r->place].load[k] = 0;
	own[r->place].least_v = 0;
	change(r, &other, ft_arena_printf(a, "a supply of its own for %s", own[r->place].name), r->place);
	return FT_OK;
}

/* By how much a plug reads below the worst that was reckoned there; negative where it does not, or by no more than the
 * meter and the length of the cable may be wrong. Above that worst it may well lie: seldom do all draw their most. */
static double short_of(const struct ft_supply_chain *c, const struct ft_supply_result *r, size_t i)
{
	double reckoned = r->volts[FT_SUPPLY_PEAK][i], measured = c->devices[i].measured_v;
	double unsure = (c->volts + measured) * LIMIT_METER / 1000.0 + (c->volts - reckoned) * LIMIT_DROP_UNSURE / 1000.0;

	return reckoned - measured > unsure ? reckoned - measured : -1;
}

/* Something is on the way that no table knows: it sits where the step between two plugs is greatest. */
static int lost_at(const struct ft_supply_chain *c, const struct ft_supply_result *r)
{
	double lost = 0, most = 0;
	int place = -1;

	if (!c->measured || r->collapses[FT_SUPPLY_PEAK])
		return -1;
	for (size_t i = 0; i < c->count; i++) {
		double here = c->devices[i].measured_v > 0 ? short_of(c, r, i) : -1;
		if (here - lost > most) {
			most = here - lost;
			place = (int)i;
		}
		lost = fmax(lost, here);
	}
	return place;
}

static int lowest_measured(const struct ft_supply_chain *c)
{
	int low = -1;

	for (size_t i = 0; i < c->count; i++) {
		const struct ft_supply_device *d = &c->devices[i];
		if (d->measured_v > 0 && d->measured_v < d->least_v && (low < 0 || d->measured_v < c->devices[low].measured_v))
			low = (int)i;
	}
	return low;
}

static void tell_measured(const struct ft_supply_chain *c, const char *name, struct ft_arena *a, struct ft_findings *f,
                          struct ft_supply_result *r)
{
	int place = lost_at(c, r), low = lowest_measured(c);

	r->measured_less = place >= 0 || low >= 0;
	if (place >= 0) {
		const struct ft_supply_device *d = &c->devices[place];
		ft_find(f, FT_RULE_SUPPLY_DROP, (struct ft_where){ .file = name, .line = d->line },
		        ft_arena_printf(a, "%.2f V measured at %s", d->measured_v, d->name),
		        ft_arena_printf(a, "%.2f V or more by its copper and plugs", r->volts[FT_SUPPLY_PEAK][place]));
	}
	if (low >= 0 && (isnan(r->margin_v) || r->margin_v >= 0)) { /* else the reckoned chain tells it already */
		const struct ft_supply_device *d = &c->devices[low];
		ft_find(f, FT_RULE_SUPPLY_TOO_LOW, (struct ft_where){ .file = name, .line = d->line },
		        ft_arena_printf(a, "%.2f V measured at %s", d->measured_v, d->name),
		        ft_arena_printf(a, "at least %.2f V", d->least_v));
	}
}

/* What only a peak brings down, a capacitor may carry, if the peak is short as a modem's burst and no motor's start. */
static void offer_hold_up(const struct ft_supply_chain *c, const struct ft_supply_result *r, struct ft_arena *a,
                          struct ft_finding *f)
{
	const double seconds = LIMIT_PEAK_SHORT / 1000.0;
	const struct ft_supply_device *d;
	double spare, extra;
	const char *text;

	if (r->peaking < 0 || r->collapses[FT_SUPPLY_CONTINUOUS])
		return;
	d = &c->devices[r->peaking];
	spare = r->volts[FT_SUPPLY_CONTINUOUS][r->peaking] - d->least_v;
	extra = d->load[FT_SUPPLY_PEAK] - d->load[FT_SUPPLY_CONTINUOUS];
	if (d->power)
		extra /= d->least_v;
	if (spare < 1 || extra <= 0)
		return;
	text = ft_arena_printf(a,
	                       "%s; a peak that lasts no longer than %.0f ms may come out of %.0f uF at %s where its maker "
	                       "allows that",
	                       f->todo, seconds * 1000, 1e6 * ft_supply_hold_up(extra, seconds, spare), d->name);
	if (text)
		f->todo = text;
}

static void tell(const struct ft_supply_chain *c, const char *name, struct ft_arena *a, struct ft_findings *f,
                 const struct ft_supply_result *r)
{
	struct ft_where where = { .file = name };
	const struct ft_supply_device *no_run = NULL;
	bool assumed = false;

	for (size_t i = 0; i < c->count; i++) {
		assumed |= c->devices[i].assumed;
		no_run = !no_run && c->devices[i].unmeasured_run ? &c->devices[i] : no_run;
	}
	if (c->volts * 1000 > LIMIT_VOLTS_MOST)
		ft_find(f, FT_RULE_SUPPLY_TOO_HIGH, where, ft_arena_printf(a, "%.1f V", c->volts),
		        ft_arena_printf(a, "at most %.1f V", LIMIT_VOLTS_MOST / 1000.0));
	if (r->collapses[FT_SUPPLY_PEAK])
		offer_hold_up(c, r, a,
		              ft_find(f, FT_RULE_SUPPLY_COLLAPSES, where,
		                      r->peaking >= 0
		                          ? ft_arena_printf(a, "no state of the bus can last while %s draws its peak",
		                                            c->devices[r->peaking].name)
		                          : "no state of the bus can last",
		                      NULL));
	else if (r->margin_v < 0)
		offer_hold_up(c, r, a,
		              ft_find(f, FT_RULE_SUPPLY_TOO_LOW, where,
		                      ft_arena_printf(a, "%.2f V at %s%s%s", r->volts[FT_SUPPLY_PEAK][r->weakest],
		                                      c->devices[r->weakest].name,
		                                      r->peaking >= 0 ? " while the peak is drawn by " : "",
		                                      r->peaking >= 0 ? c->devices[r->peaking].name : ""),
		                      ft_arena_printf(a, "at least %.2f V", c->devices[r->weakest].least_v)));
	if (!isnan(c->rating_a) && r->amperes[FT_SUPPLY_PEAK] > c->rating_a)
		ft_find(f, FT_RULE_SUPPLY_OVER_RATING, where,
		        ft_arena_printf(a, "%.2f A at the worst", r->amperes[FT_SUPPLY_PEAK]),
		        ft_arena_printf(a, "at most %.2f A", c->rating_a));
	else if (!isnan(c->rating_a) && r->amperes[FT_SUPPLY_CONTINUOUS] > reserve(c))
		ft_find(f, FT_RULE_SUPPLY_NO_RESERVE, where,
		        ft_arena_printf(a, "%.2f A all the time", r->amperes[FT_SUPPLY_CONTINUOUS]),
		        ft_arena_printf(a, "at most %.2f A", reserve(c)));
	if (isnan(c->rating_a))
		ft_find(f, FT_RULE_SUPPLY_NO_RATING, where, NULL, NULL);
	if (assumed)
		ft_find(f, FT_RULE_SUPPLY_ASSUMED, where, NULL, NULL);
	if (no_run)
		ft_find(f, FT_RULE_SUPPLY_NO_LENGTH, (struct ft_where){ .file = name, .line = no_run->line },
		        ft_arena_printf(a, "no length of the run to %s", no_run->name), NULL);
	if (!c->measured && c->transformer_v > 0)
		ft_find(f, FT_RULE_SUPPLY_RECTIFIED, where,
		        ft_arena_printf(a, "%.1f V AC make %.1f V without load; reckoned with %.1f V", c->transformer_v,
		                        ft_supply_bridge(c->transformer_v), c->volts),
		        NULL);
	else if (!c->measured)
		ft_find(f, FT_RULE_SUPPLY_NOT_MEASURED, where, ft_arena_printf(a, "reckoned with %.1f V", c->volts), NULL);
}

enum ft_status ft_supply_judge(const struct ft_supply_chain *c, const char *name, struct ft_arena *a,
                               struct ft_findings *f, struct ft_supply_result *ret, struct ft_error *e)
{
	struct ft_supply_result *r = ret;

	*r = (struct ft_supply_result){ .peaking = -1, .weakest = -1, .place = unit_of(c) };
	if (!c->count || c->count > FT_SUPPLY_DEVICES_MAX)
		return ft_fail(e, FT_E_INPUT, "%s has %zu devices; one to %d can be reckoned with.", name, c->count,
		               FT_SUPPLY_DEVICES_MAX);
	for (int k = 0; k < FT_SUPPLY_PEAK; k++) {
		double load[FT_SUPPLY_DEVICES_MAX];
		loads(c, (enum ft_supply_case)k, -1, load);
		r->collapses[k] = !ft_supply_solve(c, load, -1, 0, r->volts[k], &r->amperes[k]);
	}
	r->margin_v = worst(c, -1, 0, r->volts[FT_SUPPLY_PEAK], &r->amperes[FT_SUPPLY_PEAK], &r->peaking, &r->weakest);
	if (isinf(r->margin_v)) {
		r->collapses[FT_SUPPLY_PEAK] = true;
		r->margin_v = NAN;
	}
	r->margin_ma = more(c, r->place);
	r->rating_fails = !isnan(c->rating_a) && r->margin_v >= 0 && r->amperes[FT_SUPPLY_PEAK] > c->rating_a;
	if (!c->as_it_is && try_changes(c, a, r, e) != FT_OK)
		return FT_E_MEMORY;
	tell_measured(c, name, a, f, r);
	tell(c, name, a, f, r);
	r->verdict = ft_verdict_of(f, false);
	return FT_OK;
}
