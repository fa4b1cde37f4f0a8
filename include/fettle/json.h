/* SPDX-License-Identifier: Apache-2.0 */
/* Writes one JSON document into a buffer, in order, without building a tree.
 * Reading foreign JSON is jansson's work. */
#ifndef FETTLE_JSON_H
#define FETTLE_JSON_H

#include "fettle/buf.h"

/* Zero-initialise with .out set. Keys are NULL inside arrays. */
struct ft_json {
	struct ft_buf *out;
	int depth;
	bool comma; /* something stands before the next value at this depth */
};

void ft_json_object(struct ft_json *j, const char *key);
void ft_json_object_end(struct ft_json *j);
void ft_json_array(struct ft_json *j, const char *key);
void ft_json_array_end(struct ft_json *j);

/* Bytes that are not UTF-8 are written as U+FFFD: JSON cannot carry them. A slice with p == NULL
 * and a NULL text are written as null. */
void ft_json_slice(struct ft_json *j, const char *key, struct ft_slice s);
void ft_json_text(struct ft_json *j, const char *key, const char *text);
void ft_json_i64(struct ft_json *j, const char *key, int64_t value);

/* As ft_json_i64, but null for FT_ABSENT. */
void ft_json_count(struct ft_json *j, const char *key, int64_t value);
void ft_json_real(struct ft_json *j, const char *key, double value, int decimals); /* NaN: null */
void ft_json_bool(struct ft_json *j, const char *key, bool value);
void ft_json_null(struct ft_json *j, const char *key);

/* A number that a document does not have. */
#define FT_ABSENT INT64_MIN

#endif
