/* SPDX-License-Identifier: Apache-2.0 */
/* Two audits opened for compare and prove. */
#ifndef FETTLE_CLI_READS_H
#define FETTLE_CLI_READS_H

#include "cli.h"
#include "fettle/ledger.h"

/* Reads both files named on the command line into the arena; c->error says what is wrong. */
enum ft_status cli_two_reads(struct cli *c, struct ft_read *before, struct ft_read *after);

/* "SN4471203  CORNER-40  asset AST-2207" and "2025-03-17 08:09, read 11" of a read, in the arena. */
const char *cli_machine_line(struct cli *c, const struct ft_read *r);
const char *cli_read_line(struct cli *c, const struct ft_read *r);

/* The verdict word, in colour on a terminal, never by colour alone. */
const char *cli_verdict_text(const struct cli *c, enum ft_verdict v);

/* Text in a column: at most `width` letters, padded to it on the right. */
void cli_column(struct ft_buf *out, struct ft_slice s, int width);

/* The same of a table's text: a name keeps its letters, which a line of a machine has not. */
void cli_name(struct ft_buf *out, struct ft_slice s, int width);

/* A name as the last column, which begins at `indent`: wrapped between words, and the line ended. */
void cli_last(const struct cli *c, struct ft_slice name, int indent, struct ft_buf *out);

#endif
