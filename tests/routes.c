/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "fettle/csv.h"
#include "fettle/random.h"
#include "fettle/stamp.h"
#include "routes.h"

static void *must(void *p)
{
	if (!p)
		abort();
	return p;
}

/* ---- TSPLIB95 ---- */

/* One technician who begins and ends at place 0 and has no hours. */
static struct ft_route_problem one_tour(int places, int32_t *metres, struct ft_arena *a)
{
	struct ft_route_stop *stops = must(FT_NEW_ARRAY(a, (size_t)places - 1, struct ft_route_stop));
	struct ft_route_shift *shift = must(FT_NEW(a, struct ft_route_shift));

	for (int i = 1; i < places; i++)
		stops[i - 1] = (struct ft_route_stop){ .place = i, .closes_s = 50000000, .group = -1, .weight = 1000000000 };
	*shift = (struct ft_route_shift){ .closes_s = 100000000, .capacity = INT32_MAX };
	return (struct ft_route_problem){ .stops = stops,
		                              .stop_count = (size_t)places - 1,
		                              .shifts = shift,
		                              .shift_count = 1,
		                              .place_count = (size_t)places,
		                              .metres = metres,
		                              .seconds = metres };
}

/* The figures behind the first column of tests/routes/NAME.csv, whose rows and columns are as many as said. */
static double *figures(const char *tests, const char *name, size_t rows, int columns, struct ft_arena *a)
{
	char path[512];
	char *bytes = must(ft_arena_raw(a, 8192));
	double *ret = must(FT_NEW_ARRAY(a, rows * (size_t)columns, double));
	struct ft_csv t;
	struct ft_error e = { 0 };
	FILE *f;
	size_t n;

	snprintf(path, sizeof path, "%s/routes/%s.csv", tests, name);
	f = must(fopen(path, "rb"));
	n = fread(bytes, 1, 8192, f);
	fclose(f);
	if (ft_csv_read((struct ft_slice){ bytes, n }, name, a, &t, &e) != FT_OK || t.count != rows)
		abort();
	for (size_t i = 0; i < rows; i++)
		for (int k = 0; k < columns; k++)
			if (!ft_figure(ft_csv_field(&t.rows[i], k + 1), &ret[i * (size_t)columns + (size_t)k]))
				abort();
	return ret;
}

struct ft_route_problem routes_berlin52(const char *tests, struct ft_arena *a)
{
	int32_t *m = must(FT_NEW_ARRAY(a, 52 * 52, int32_t));
	const double *at = figures(tests, "berlin52", 52, 2, a);

	for (int i = 0; i < 52; i++)
		for (int k = 0; k < 52; k++)
			m[i * 52 + k] = (int32_t)(hypot(at[2 * i] - at[2 * k], at[2 * i + 1] - at[2 * k + 1]) + 0.5);
	return one_tour(52, m, a);
}

/* Degrees and minutes to radians as TSPLIB95 says, with its own value of pi. */
static double geo(double x)
{
	double degrees = trunc(x);

	return 3.141592 * (degrees + 5 * (x - degrees) / 3) / 180;
}

struct ft_route_problem routes_ulysses22(struct ft_arena *a)
{
	static const double at[22][2] = {
		{ 38.24, 20.42 }, { 39.57, 26.15 }, { 40.56, 25.32 }, { 36.26, 23.12 }, { 33.48, 10.54 }, { 37.56, 12.19 },
		{ 38.42, 13.11 }, { 37.52, 20.44 }, { 41.23, 9.10 },  { 41.17, 13.05 }, { 36.08, -5.21 }, { 38.47, 15.13 },
		{ 38.15, 15.35 }, { 37.51, 15.17 }, { 35.49, 14.32 }, { 39.36, 19.56 }, { 38.09, 24.36 }, { 36.09, 23.00 },
		{ 40.44, 13.57 }, { 40.33, 14.15 }, { 40.37, 14.23 }, { 37.57, 22.56 },
	};
	int32_t *m = must(FT_NEW_ARRAY(a, 22 * 22, int32_t));

	for (int i = 0; i < 22; i++) {
		for (int k = 0; k < 22; k++) {
			double q1 = cos(geo(at[i][1]) - geo(at[k][1])), q2 = cos(geo(at[i][0]) - geo(at[k][0]));
			double q3 = cos(geo(at[i][0]) + geo(at[k][0]));
			m[i * 22 + k] = i == k ? 0 : (int32_t)(6378.388 * acos(0.5 * ((1 + q1) * q2 - (1 - q1) * q3)) + 1);
		}
	}
	return one_tour(22, m, a);
}

/* ---- Solomon 1987, the first 25 customers ---- */

struct ft_route_problem routes_solomon(const char *tests, const char *name, struct ft_arena *a)
{
	enum { N = 26, VANS = 12, X = 0, Y, DEMAND, READY, DUE, SERVICE, COLUMNS };
	const double *q = figures(tests, name, N, COLUMNS, a), *depot = q;
	int32_t *m = must(FT_NEW_ARRAY(a, N * N, int32_t));
	struct ft_route_stop *stops = must(FT_NEW_ARRAY(a, N - 1, struct ft_route_stop));
	struct ft_route_shift *shifts = must(FT_NEW_ARRAY(a, VANS, struct ft_route_shift));

	for (int i = 0; i < N; i++)
		for (int k = 0; k < N; k++)
			m[i * N + k] =
				(int32_t)(10 * hypot(q[i * COLUMNS + X] - q[k * COLUMNS + X], q[i * COLUMNS + Y] - q[k * COLUMNS + Y]) +
			              1e-9);
	for (int i = 1; i < N; i++) {
		const double *row = &q[(ptrdiff_t)i * COLUMNS];
		stops[i - 1] = (struct ft_route_stop){ .place = i,
			                                   .service_s = (int32_t)(10 * row[SERVICE]),
			                                   .opens_s = (int32_t)(10 * row[READY]),
			                                   .closes_s = (int32_t)(10 * row[DUE]),
			                                   .load = (int32_t)row[DEMAND],
			                                   .group = -1,
			                                   .weight = 1000000000 };
	}
	for (int r = 0; r < VANS; r++)
		shifts[r] = (struct ft_route_shift){ .closes_s = (int32_t)(10 * depot[DUE]), .capacity = 200 };
	return (struct ft_route_problem){ .stops = stops,
		                              .stop_count = N - 1,
		                              .shifts = shifts,
		                              .shift_count = VANS,
		                              .place_count = N,
		                              .metres = m,
		                              .seconds = m };
}

/* ---- made ---- */

struct ft_route_problem routes_made(uint64_t seed, int stops, int technicians, int days, struct ft_arena *a)
{
	struct ft_random r = { seed };
	int places = stops + technicians, shifts = technicians * days;
	int32_t *metres = must(FT_NEW_ARRAY(a, (size_t)(places * places), int32_t));
	int32_t *seconds = must(FT_NEW_ARRAY(a, (size_t)(places * places), int32_t));
	int32_t *costs = must(FT_NEW_ARRAY(a, (size_t)(stops * shifts), int32_t));
	uint8_t *bars = must(FT_NEW_ARRAY(a, (size_t)(stops * shifts), uint8_t));
	struct ft_route_stop *s = must(FT_NEW_ARRAY(a, (size_t)stops, struct ft_route_stop));
	struct ft_route_shift *h = must(FT_NEW_ARRAY(a, (size_t)shifts, struct ft_route_shift));
	double *x = must(FT_NEW_ARRAY(a, (size_t)places, double)), *y = must(FT_NEW_ARRAY(a, (size_t)places, double));

	for (int i = 0; i < places; i++) {
		x[i] = 60000 * ft_random_share(&r);
		y[i] = 60000 * ft_random_share(&r);
	}
	for (int i = 0; i < places; i++) {
		for (int k = 0; k < places; k++) {
			metres[i * places + k] = (int32_t)(1.3 * hypot(x[i] - x[k], y[i] - y[k]));
			seconds[i * places + k] = (int32_t)(metres[i * places + k] / 12.5) + (i == k ? 0 : 120);
		}
	}
	for (int i = 0; i < stops; i++) {
		int opens = 6 + (int)ft_random_below(&r, 5);
		s[i] = (struct ft_route_stop){ .place = technicians + i,
			                           .service_s = 60 * (15 + (int32_t)ft_random_below(&r, 45)),
			                           .spread_s = 60 * (int32_t)ft_random_below(&r, 12),
			                           .opens_s = 3600 * opens,
			                           .closes_s = 3600 * (opens + 3 + (int)ft_random_below(&r, 9)),
			                           .done_by_close = ft_random_below(&r, 2) == 0,
			                           .load = 1 + (int32_t)ft_random_below(&r, 4),
			                           .group = ft_random_below(&r, 8) == 0
			                               ? (int)ft_random_below(&r, 1 + (uint32_t)stops / 20)
			                               : -1,
			                           .weight = 100000000 };
		int skilled = ft_random_below(&r, 6) == 0 ? (int)ft_random_below(&r, (uint32_t)technicians) : -1;
		int shut = ft_random_below(&r, 4) == 0 ? (int)ft_random_below(&r, (uint32_t)days) : -1;
		for (int k = 0; k < shifts; k++) {
			bars[i * shifts + k] = skilled >= 0 && k / days != skilled && s[i].group < 0 ? FT_BAR_SKILL
				: k % days == shut                                                       ? FT_BAR_CLOSED
																						 : FT_BAR_NONE;
			costs[i * shifts + k] = i % 7 == 0 ? 2000 * (k % days) : 0;
		}
	}
	for (int k = 0; k < shifts; k++)
		h[k] = (struct ft_route_shift){
			.from = k / days, .to = k / days, .opens_s = 7 * 3600, .closes_s = 16 * 3600, .capacity = 30, .use_m = 5000
		};
	return (struct ft_route_problem){ s,      (size_t)stops, h,    (size_t)shifts, (size_t)places,
		                              metres, seconds,       bars, costs,          1 };
}
