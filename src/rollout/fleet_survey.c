/* SPDX-License-Identifier: Apache-2.0 */
/* A fleet out of a survey that was judged: kits, minutes and hours from there, people and stock from its catalogue. */
#include <math.h>

#include "fettle/rollout_fleet.h"

/* Words with a blank between; a word may itself hold none. */
static bool join(const struct ft_words *w, struct ft_arena *a, struct ft_slice *ret)
{
	size_t n = 1;
	char *p;

	*ret = (struct ft_slice){ NULL, 0 };
	for (size_t i = 0; i < w->count; i++)
		n += w->list[i].n + 1;
	p = ft_arena_alloc(a, n);
	if (!p)
		return false;
	ret->p = p;
	for (size_t i = 0; i < w->count; i++) {
		if (ret->n)
			p[ret->n++] = ' ';
		memcpy(p + ret->n, w->list[i].p, w->list[i].n);
		ret->n += w->list[i].n;
	}
	return true;
}

/* A part of the fleet from an item of a kit: what it costs and weighs stands in the row it came from. */
static int part_of(struct ft_fleet *f, const struct ft_catalogue *c, const struct ft_survey_item *x, struct ft_arena *a)
{
	int n = ft_fleet_part_of(f, x->part, a);
	struct ft_fleet_part *p = n < 0 ? NULL : &f->parts[n];
	double weight = NAN, stock = NAN;

	if (!p || p->line)
		return n;
	if (x->kind == FT_KIT_UNIT) {
		weight = c->units[x->index].weight_g;
		stock = c->units[x->index].stock;
		p->line = c->units[x->index].line;
	} else if (x->kind == FT_KIT_LEAD) {
		weight = c->leads[x->index].weight_g;
		stock = c->leads[x->index].stock;
		p->line = c->leads[x->index].line;
	} else {
		weight = c->parts[x->index].weight_g;
		stock = c->parts[x->index].stock;
		p->line = c->parts[x->index].line;
	}
	p->name = x->name.n ? x->name : x->part;
	p->price = x->price == FT_ABSENT ? 0 : (double)x->price / 100;
	p->weight_g = isnan(weight) ? 0 : weight;
	p->stock = isnan(stock) || stock > INT32_MAX ? -1 : (int)stock;
	return n;
}

static enum ft_status add_machine(struct ft_fleet *f, const struct ft_catalogue *c, const struct ft_survey_machine *s,
                                  struct ft_arena *a, struct ft_error *e)
{
	const struct ft_survey_row *row = s->row;
	struct ft_fleet_machine *m = &f->machines[f->machine_count];
	struct ft_van_need *kit = FT_NEW_ARRAY(a, s->item_count + 1, struct ft_van_need);

	*m = (struct ft_fleet_machine){ .asset = row->asset,
		                            .site = row->site,
		                            .latitude = row->latitude,
		                            .longitude = row->longitude,
		                            .minutes = fmin(fmax(s->minutes, 1), 1440),
		                            .spread = isnan(s->spread_min) ? 0 : fmin(s->spread_min, 600),
		                            .opens = row->opens < 0 ? 0 : row->opens,
		                            .closes = row->closes < 0 ? 1440 : row->closes,
		                            .days = FT_DAYS_ALL,
		                            .priority = isnan(row->priority) ? 0 : fmin(fmax(row->priority, 0), 9),
		                            .together = row->group,
		                            .kit = kit,
		                            .line = row->line };
	if (!kit || !join(&row->skills, a, &m->skills))
		return ft_fail_memory(e, "reading the survey");
	if (ft_fleet_machine_of(f, row->asset) >= 0)
		return ft_fail(e, FT_E_INPUT, "Machine \"%.*s\" stands twice in the survey, again in line %u.",
		               FT_P(row->asset), row->line);
	if (m->closes <= m->opens)
		return ft_fail(
			e, FT_E_INPUT,
			"The hours of machine \"%.*s\" (survey, line %u) end before they begin; of hours across midnight "
			"give those before it.",
			FT_P(m->asset), m->line);
	for (size_t i = 0; i < s->item_count; i++) {
		const struct ft_survey_item *x = &s->kit[i];
		const int part = part_of(f, c, x, a);
		if (part < 0)
			return ft_fail_memory(e, "reading the survey");
		if (x->chance > 0 && x->count > 0)
			kit[m->kit_count++] = (struct ft_van_need){ part, fmin(x->chance, 1), x->count };
	}
	f->machine_count++;
	return FT_OK;
}

static enum ft_status add_technician(struct ft_fleet *f, const struct ft_technician *t, struct ft_arena *a,
                                     struct ft_error *e)
{
	const int64_t day_us = INT64_C(86400000000);
	struct ft_fleet_technician *p = &f->technicians[f->technician_count];

	*p = (struct ft_fleet_technician){ .name = t->technician,
		                               .latitude = t->latitude,
		                               .longitude = t->longitude,
		                               .opens = t->opens < 0 ? 480 : t->opens,
		                               .closes = t->closes < 0 ? 1020 : t->closes,
		                               .days = t->days ? t->days : 31,
		                               .from = t->from_us == FT_ABSENT ? INT64_MIN : t->from_us / day_us,
		                               .until = t->until_us == FT_ABSENT ? INT64_MAX : t->until_us / day_us,
		                               .line = t->line };
	if (!join(&t->skills, a, &p->skills))
		return ft_fail_memory(e, "reading the technicians");
	if (p->closes <= p->opens)
		return ft_fail(e, FT_E_INPUT,
		               "The hours of \"%.*s\" (technicians, line %u) end before they begin; of hours across midnight "
		               "give those before it.",
		               FT_P(p->name), p->line);
	f->technician_count++;
	return FT_OK;
}

enum ft_status ft_fleet_survey(const struct ft_catalogue *c, const struct ft_survey_machine *judged, size_t count,
                               struct ft_arena *a, struct ft_fleet *f, struct ft_error *e)
{
	enum ft_status s = FT_OK;

	f->machines = FT_NEW_ARRAY(a, count + 1, struct ft_fleet_machine);
	f->technicians = FT_NEW_ARRAY(a, c->technician_count + 1, struct ft_fleet_technician);
	if (!f->machines || !f->technicians)
		return ft_fail_memory(e, "reading the survey");
	for (size_t i = 0; s == FT_OK && i < count; i++) {
		if (judged[i].fit == FT_FIT_CANNOT || judged[i].fit == FT_FIT_LOOK_FIRST)
			continue;
		if (f->machine_count == FT_ROUTE_STOPS_MAX)
			return ft_fail(e, FT_E_INPUT,
			               "The survey has more than %d machines that can be fitted; plan them in parts.",
			               FT_ROUTE_STOPS_MAX);
		s = add_machine(f, c, &judged[i], a, e);
	}
	for (size_t i = 0; s == FT_OK && i < c->technician_count; i++)
		s = add_technician(f, &c->technicians[i], a, e);
	if (s == FT_OK && !f->machine_count)
		return ft_fail(e, FT_E_INPUT, "No machine of the survey can be fitted as it stands; fettle survey tells why.");
	return s;
}
