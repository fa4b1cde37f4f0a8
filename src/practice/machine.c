/* SPDX-License-Identifier: Apache-2.0 */
/* Making a machine, its chance and its time, and what it says about itself. */
#include "machine.h"

#include "fettle/time.h"

#define B(...)      \
	{               \
		__VA_ARGS__ \
	}
#define ROW(ident, name, summary, bytes, n) static const char text_##ident[] = bytes;
#include "practice-machines.inc"
#undef ROW
static const struct ft_practice_builtin builtins[] = {
#define ROW(ident, name, summary, bytes, n) { name, summary, { text_##ident, n } },
#include "practice-machines.inc"
#undef ROW
};
#undef B

const struct ft_practice_builtin *ft_practice_builtins(size_t *ret_count)
{
	*ret_count = sizeof builtins / sizeof *builtins;
	return builtins;
}

const struct ft_practice_builtin *ft_practice_builtin(struct ft_slice name)
{
	for (size_t i = 0; i < sizeof builtins / sizeof *builtins; i++)
		if (ft_slice_is(name, builtins[i].name))
			return &builtins[i];
	return NULL;
}

/* SplitMix64 (public domain, S. Vigna): one 64-bit state, every seed is good. */
int64_t practice_chance(uint64_t *state, int64_t below)
{
	uint64_t z = *state += UINT64_C(0x9E3779B97F4A7C15);

	z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
	z ^= z >> 31;
	return below > 1 ? (int64_t)(z % (uint64_t)below) : 0;
}

int64_t practice_random(struct ft_practice *p, int64_t below)
{
	return practice_chance(&p->random, below);
}

void practice_time(struct ft_practice *p, int64_t least_s, int64_t spread_s)
{
	p->now_s += least_s + practice_random(p, spread_s);
}

int practice_selection(const struct ft_practice *p, struct ft_slice id)
{
	for (size_t i = 0; i < p->selection_count; i++)
		if (ft_slice_is(id, p->selections[i].id))
			return (int)i;
	return -1;
}

int practice_list(const struct ft_practice *p, enum device device, int64_t number)
{
	if (p->list_count <= 1) /* no lists: everybody pays the one price */
		return number <= 0 ? 0 : -1;
	for (size_t i = 0; i < p->list_count; i++)
		if (p->lists[i].device == device && (number < 0 || p->lists[i].number == number))
			return (int)i;
	return number < 0 ? 0 : -1;
}

int64_t practice_dearest(const struct ft_practice *p)
{
	int64_t most = 0;

	for (size_t i = 0; i < p->selection_count; i++)
		if (p->selections[i].price[0] > most)
			most = p->selections[i].price[0];
	return most;
}

enum ft_status ft_practice_new(struct ft_slice description, const char *what, uint64_t seed, struct ft_arena *a,
                               struct ft_practice **ret, struct ft_error *e)
{
	struct ft_practice *p = FT_NEW(a, struct ft_practice);
	enum ft_status s;

	if (!p)
		return ft_fail_memory(e, "making the practice machine");
	p->arena = a;
	p->random = p->seed = seed;
	p->powered = true;
	p->stacker_room = 500;      /* ours, unless described */
	p->temperature_tenths = 40; /* ours: a chilled cabinet in order */
	p->warm_tenths = INT32_MAX;
	p->temperature_unit = 'C';
	if (!practice_modem_new(p))
		return ft_fail_memory(e, "making the practice machine");
	s = practice_describe(p, description, what, e);
	if (s != FT_OK)
		return s;
	practice_live(p);
	if (p->out.status == FT_E_MEMORY || a->failed) {
		ft_practice_done(p);
		return ft_fail_memory(e, "living the past of the practice machine");
	}
	*ret = p;
	return FT_OK;
}

void ft_practice_done(struct ft_practice *p)
{
	if (!p)
		return;
	ft_buf_done(&p->out);
	practice_cold_done(p);
	for (int i = 0; i < SLOTS; i++)
		ft_buf_done(&p->readings[i].bytes);
}

struct ft_practice_line ft_practice_line(const struct ft_practice *p)
{
	const struct fault_state *f = p->faults;
	bool refusing = f[FAULT_REFUSING_CODE].on;

	return (struct ft_practice_line){
		.powered = p->powered,
		.dead_dex = f[FAULT_DEAD_PORT].on && f[FAULT_DEAD_PORT].a != 1,
		.dead_ddcmp = f[FAULT_DEAD_PORT].on && f[FAULT_DEAD_PORT].a != 0,
		.noise_per_million = f[FAULT_NOISY_LINE].on ? (unsigned)f[FAULT_NOISY_LINE].a : 0,
		.extra_turn_round_us = f[FAULT_SLOW_LINE].on ? f[FAULT_SLOW_LINE].a * 1000 : 0,
		.refuses = refusing || p->security_code,
		.security_code = (uint16_t)(refusing ? f[FAULT_REFUSING_CODE].a : p->security_code),
	};
}

struct ft_practice_about ft_practice_about(const struct ft_practice *p)
{
	static const char *const dialects[DIALECTS] = { "us-snack", "euro-hot", "old-coin" };

	return (struct ft_practice_about){
		.name = dialects[p->dialect],
		.serial = p->machine.serial,
		.model = p->machine.model,
		.revision = p->machine.revision,
		.asset = p->asset,
		.location = p->location,
		.sender = p->sender,
		.currency = p->currency->alpha,
		.decimals = p->currency->digits,
		.selections = p->selection_count,
	};
}
