/* SPDX-License-Identifier: Apache-2.0 */
/* One reading of a machine, shared by its two files: read.c does it, read_show.c tells of it. */
#ifndef FETTLE_CLI_READ_H
#define FETTLE_CLI_READ_H

#include "cli.h"
#include "fettle/audit.h"
#include "fettle/dataport.h"
#include "fettle/hash.h"
#include "fettle/port.h"

struct reading {
	struct cli *c;
	const char *port_path;
	const char *out;  /* -o; "-": standard output */
	const char *part; /* --keep-part, or NULL */
	bool replay;

	/* how it goes */
	struct ft_link *link;
	struct ft_link_settings settings;
	FILE *trace;
	bool trace_failed;
	int64_t trace_start_us;
	int64_t started_us, ended_us;
	struct ft_buf text; /* what has come of the audit */
	bool peer_known;    /* the machine has named itself */
	bool terminal;      /* standard error is one: draw a bar */
	bool documents;     /* --progress json: a document a line instead of words */
	bool drawn;         /* and it stands there now */

	/* how it ended */
	struct ft_link_stats stats;
	enum ft_link_kind spoke;
	struct ft_findings findings;
	struct ft_audit_check check; /* of the last set */
	bool checked;
	const char *part_written; /* NULL: nothing kept */
};

/* Progress, on standard error. */
void read_show_event(struct reading *r, const struct ft_link_event *ev);
void read_show_beat(struct reading *r, const struct ft_link_stats *st, int64_t now_us);
void read_show_clear(struct reading *r);
int64_t read_show_beat_us(const struct reading *r);

/* The account of a reading that ended whole, and the document of one that did or did not. */
void read_show_account(const struct reading *r, struct ft_buf *out);
int read_show_document(struct reading *r, const char *hash, int code);

double read_line_share(const struct reading *r); /* NaN when no block came */

#endif
