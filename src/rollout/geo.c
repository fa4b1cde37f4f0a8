/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "fettle/rollout.h"

double ft_great_circle(double lat1, double lon1, double lat2, double lon2, double radius)
{
	const double rad = 3.14159265358979323846 / 180;
	double a = sin((lat2 - lat1) * rad / 2), b = sin((lon2 - lon1) * rad / 2);
	double h = a * a + cos(lat1 * rad) * cos(lat2 * rad) * b * b;

	return 2 * radius * asin(sqrt(h < 0 ? 0 : h > 1 ? 1 : h));
}
