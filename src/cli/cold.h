/* SPDX-License-Identifier: Apache-2.0 */
#ifndef FETTLE_CLI_COLD_H
#define FETTLE_CLI_COLD_H

#include "cli.h"
#include "fettle/cold.h"
#include "reads.h"

struct cold_run {
	struct cli *c;
	struct ft_cold_log log;
	struct ft_cold_options o;
	struct ft_cold_read_options read;
	struct ft_findings f;
	struct ft_cold_result r;
};

/* For people, and as a document; both return the exit code. */
int cold_print(struct cold_run *d);
int cold_document(struct cold_run *d);

/* --svg: writes the drawing. */
enum ft_status cold_draw(struct cold_run *d, const char *path);

/* --sensor: ohms to degrees or back. Returns the exit code. */
int cold_sensor(struct cli *c);

/* A figure with point or comma within bounds, NaN when the option was not given; false after telling what is wrong. */
bool cold_option(struct cli *c, const char *name, double least, double most, double *ret);

#endif
