/* SPDX-License-Identifier: Apache-2.0 */
/* Archives of audits: tar, plain or packed, and zip. */
#ifndef FETTLE_CLI_UNPACK_H
#define FETTLE_CLI_UNPACK_H

#include "cli.h"

/* By its name. */
bool cli_is_archive(const char *path);

struct cli_entry {
	const char *inside; /* its name in the archive */
	int64_t mtime_ns;
	struct ft_slice bytes; /* never without p */
	const char *wrong;     /* a sentence when it could not be read, else NULL */
};

/* Hands every file of an archive on, in its order, until `take` says false; each is FT_AUDIT_BYTES_MAX at most. Returns
 * a sentence when the archive cannot be read or ends in its middle, else NULL. */
const char *cli_read_archive(const char *path, bool (*take)(void *to, const struct cli_entry *e), void *to);

#endif
