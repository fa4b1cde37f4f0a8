/* SPDX-License-Identifier: Apache-2.0 */
/* SQLite's way of writing a statement into PostgreSQL's. */
#ifndef FETTLE_STORE_DDL_H
#define FETTLE_STORE_DDL_H

/* The parameters ? and ?3 of a statement as $1 and $3; *ret_count is how many there are. The caller frees it; NULL
 * without memory. */
char *ddl_parameters(const char *sql, int *ret_count);

/* The types and clauses of a step of schema.c. The caller frees it; NULL without memory. */
char *ddl_for_server(const char *sql);

#endif
