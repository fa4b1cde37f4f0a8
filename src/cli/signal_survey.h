/* SPDX-License-Identifier: Apache-2.0 */
/* One survey of the radio path, from wherever its readings come. */
#ifndef FETTLE_CLI_SIGNAL_SURVEY_H
#define FETTLE_CLI_SIGNAL_SURVEY_H

#include "cli.h"
#include "fettle/signal.h"

struct survey {
	struct cli *c;
	const char *name; /* of the readings, in findings */
	struct ft_signal_log log;
	struct ft_signal_result r;
	struct ft_findings f;
	struct ft_signal_way way;
	int at; /* the antenna's place, for the leads; -1 none */
	struct ft_signal_lead *leads;
	size_t lead_count;
	int lead; /* the recommended one, -1 none */
	int baud; /* of the modem that was asked; 0 none was */
};

/* Asks the modem on --port and adds its answers to `text`, in the form that --log reads. False with c->error. */
bool signal_ask(struct survey *s, struct ft_buf *text);

int signal_print(struct survey *s);
int signal_document(struct survey *s);

#endif
