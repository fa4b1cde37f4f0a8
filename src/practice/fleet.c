/* SPDX-License-Identifier: Apache-2.0 */
/* A fleet of practice machines over weeks, one machine after the other, with troubles planted and a key to them. */
#include "fleet.h"

#include "fettle/time.h"

int64_t practice_fleet_start(void)
{
	return ft_days_of(2026, 3, 2) * 86400 * FT_SECOND; /* a Monday */
}

const char *ft_fleet_heading(enum ft_fleet_table t)
{
	static const char *const heads[FT_FLEET_TABLES] = {
		[FT_FLEET_COUNTS] = "date,asset,bills,coins,bag,by,route",
		[FT_FLEET_SETTLEMENTS] = "date,asset,amount",
		[FT_FLEET_DOORS] = "time,asset,door",
		[FT_FLEET_TEMPERATURES] = "time,asset,c,alarm",
		[FT_FLEET_KEY] = "kind,rule,asset,serial,selection,begins,visible",
	};

	return heads[t];
}

const char *ft_fleet_table_name(enum ft_fleet_table t)
{
	static const char *const names[FT_FLEET_TABLES] = { "counts", "settlements", "doors", "temperatures", "key" };

	return names[t];
}

enum ft_status ft_practice_fleet(const struct ft_fleet_plan *plan, const struct ft_fleet_sink *sink,
                                 struct ft_fleet_planted ret[FT_FLEET_KINDS_MAX], size_t *ret_count, struct ft_error *e)
{
	struct planting planting = { .pair = NO_TROUBLE };
	struct ft_arena a = { 0 };
	enum ft_status s = FT_OK;
	bool ok = true;

	for (size_t i = 0; ok && s == FT_OK && i < plan->machines; i++) {
		struct life l = { .plan = plan, .sink = sink, .planting = &planting, .index = i, .ok = true };
		l.random = plan->seed * UINT64_C(0x9E3779B97F4A7C15) + i * UINT64_C(0xD1B54A32D192ED03);
		ft_arena_reset(&a);
		practice_fleet_plan(&l);
		s = practice_fleet_machine(&l, &a, e);
		if (s != FT_OK)
			break;
		l.p->quiet = true;
		for (int day = 0; l.ok && day < plan->days; day++)
			practice_fleet_day(&l, day);
		ok = l.ok && l.audit.status == FT_OK;
		ft_practice_done(l.p);
		ft_buf_done(&l.audit);
	}
	ft_arena_done(&a);
	_Static_assert((int)TROUBLES <= (int)FT_FLEET_KINDS_MAX, "every kind has its row");
	practice_planted(&planting, plan->days, ret);
	*ret_count = TROUBLES;
	if (s == FT_OK && !ok)
		return ft_fail(e, FT_E_STORE, "The fleet could not be written to its end.");
	return s;
}
