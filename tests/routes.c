/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "fettle/csv.h"
#include "fettle/random.h"
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

struct ft_route_problem routes_berlin52(const char *tests, struct ft_arena *a)
{
	char path[512];
	static char bytes[8192];
	struct ft_csv t;
	struct ft_error e = { 0 };
	int32_t *m = must(FT_NEW_ARRAY(a, 52 * 52, int32_t));
	double x[52], y[52];
	FILE *f;
	size_t n;

	snprintf(path, sizeof path, "%s/routes/berlin52.csv", tests);
	f = must(fopen(path, "rb"));
	n = fread(bytes, 1, sizeof bytes, f);
	fclose(f);
	if (ft_csv_read((struct ft_slice){ bytes, n }, "berlin52", a, &t, &e) != FT_OK || t.count != 52)
		abort();
	for (int i = 0; i < 52; i++) {
		int64_t at[2];
		if (!ft_slice_i64(t.rows[i].fields[1], &at[0]) || !ft_slice_i64(t.rows[i].fields[2], &at[1]))
			abort();
		x[i] = (double)at[0];
		y[i] = (double)at[1];
	}
	for (int i = 0; i < 52; i++)
		for (int k = 0; k < 52; k++)
			m[i * 52 + k] = (int32_t)(sqrt((x[i] - x[k]) * (x[i] - x[k]) + (y[i] - y[k]) * (y[i] - y[k])) + 0.5);
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

struct ft_route_problem routes_solomon(char which, struct ft_arena *a)
{
	enum { N = 26, VANS = 12 };
	/* x, y, demand, ready, due, service; the depot first */
	static const int r101[N][6] = {
		{ 35, 35, 0, 0, 230, 0 },     { 41, 49, 10, 161, 171, 10 }, { 35, 17, 7, 50, 60, 10 },
		{ 55, 45, 13, 116, 126, 10 }, { 55, 20, 19, 149, 159, 10 }, { 15, 30, 26, 34, 44, 10 },
		{ 25, 30, 3, 99, 109, 10 },   { 20, 50, 5, 81, 91, 10 },    { 10, 43, 9, 95, 105, 10 },
		{ 55, 60, 16, 97, 107, 10 },  { 30, 60, 16, 124, 134, 10 }, { 20, 65, 12, 67, 77, 10 },
		{ 50, 35, 19, 63, 73, 10 },   { 30, 25, 23, 159, 169, 10 }, { 15, 10, 20, 32, 42, 10 },
		{ 30, 5, 8, 61, 71, 10 },     { 10, 20, 19, 75, 85, 10 },   { 5, 30, 2, 157, 167, 10 },
		{ 20, 40, 12, 87, 97, 10 },   { 15, 60, 17, 76, 86, 10 },   { 45, 65, 9, 126, 136, 10 },
		{ 45, 20, 11, 62, 72, 10 },   { 45, 10, 18, 97, 107, 10 },  { 55, 5, 29, 68, 78, 10 },
		{ 65, 35, 3, 153, 163, 10 },  { 65, 20, 6, 172, 182, 10 },
	};
	static const int c101[N][6] = {
		{ 40, 50, 0, 0, 1236, 0 },    { 45, 68, 10, 912, 967, 90 }, { 45, 70, 30, 825, 870, 90 },
		{ 42, 66, 10, 65, 146, 90 },  { 42, 68, 10, 727, 782, 90 }, { 42, 65, 10, 15, 67, 90 },
		{ 40, 69, 20, 621, 702, 90 }, { 40, 66, 20, 170, 225, 90 }, { 38, 68, 20, 255, 324, 90 },
		{ 38, 70, 10, 534, 605, 90 }, { 35, 66, 10, 357, 410, 90 }, { 35, 69, 10, 448, 505, 90 },
		{ 25, 85, 20, 652, 721, 90 }, { 22, 75, 30, 30, 92, 90 },   { 22, 85, 10, 567, 620, 90 },
		{ 20, 80, 40, 384, 429, 90 }, { 20, 85, 40, 475, 528, 90 }, { 18, 75, 20, 99, 148, 90 },
		{ 15, 75, 20, 179, 254, 90 }, { 15, 80, 10, 278, 345, 90 }, { 30, 50, 10, 10, 73, 90 },
		{ 30, 52, 20, 914, 965, 90 }, { 28, 52, 20, 812, 883, 90 }, { 28, 55, 10, 732, 777, 90 },
		{ 25, 50, 10, 65, 144, 90 },  { 25, 52, 40, 169, 224, 90 },
	};
	const int(*q)[6] = which == 'R' ? r101 : c101;
	int32_t *m = must(FT_NEW_ARRAY(a, N * N, int32_t));
	struct ft_route_stop *stops = must(FT_NEW_ARRAY(a, N - 1, struct ft_route_stop));
	struct ft_route_shift *shifts = must(FT_NEW_ARRAY(a, VANS, struct ft_route_shift));

	for (int i = 0; i < N; i++)
		for (int k = 0; k < N; k++)
			m[i * N + k] = (int32_t)(10 * hypot(q[i][0] - q[k][0], q[i][1] - q[k][1]) + 1e-9);
	for (int i = 1; i < N; i++)
		stops[i - 1] = (struct ft_route_stop){ .place = i,
			                                   .service_s = 10 * q[i][5],
			                                   .opens_s = 10 * q[i][3],
			                                   .closes_s = 10 * q[i][4],
			                                   .load = q[i][2],
			                                   .group = -1,
			                                   .weight = 1000000000 };
	for (int r = 0; r < VANS; r++)
		shifts[r] = (struct ft_route_shift){ .closes_s = 10 * q[0][4], .capacity = 200 };
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
