/* SPDX-License-Identifier: Apache-2.0 */
/* Memory for one operation: taken piece by piece, given back all at once. */
#ifndef FETTLE_ARENA_H
#define FETTLE_ARENA_H

#include <stdarg.h>
#include <stddef.h>

#include "fettle/slice.h"

struct ft_arena_block;

/* Zero-initialised means empty and ready. Not shared between threads. */
struct ft_arena {
	struct ft_arena_block *head;
	bool failed; /* an allocation failed since the last reset */
};

/* `n` zeroed bytes aligned for any object, or NULL without memory. Lives until reset or done. */
void *ft_arena_alloc(struct ft_arena *a, size_t n);

/* As ft_arena_alloc, but the bytes hold anything: for arrays that are filled at once. */
void *ft_arena_raw(struct ft_arena *a, size_t n);

/* `count` zeroed objects; NULL without memory or when the product overflows. */
void *ft_arena_array(struct ft_arena *a, size_t count, size_t size);

#define FT_NEW(arena, type)              ((type *)ft_arena_alloc((arena), sizeof(type)))
#define FT_NEW_ARRAY(arena, count, type) ((type *)ft_arena_array((arena), (count), sizeof(type)))

/* A NUL-terminated copy, or NULL. */
char *ft_arena_text(struct ft_arena *a, struct ft_slice s);

/* A formatted NUL-terminated text, or NULL. */
char *ft_arena_printf(struct ft_arena *a, const char *format, ...) __attribute__((format(printf, 2, 3)));
char *ft_arena_vprintf(struct ft_arena *a, const char *format, va_list args) __attribute__((format(printf, 2, 0)));

/* Makes room for one more object in a growing array kept in the arena: returns the array (moved
 * perhaps) or NULL. `*capacity` counts objects. */
void *ft_arena_grow(struct ft_arena *a, void *array, size_t count, size_t *capacity, size_t size);

/* Forgets all that was taken and keeps the largest block for the next operation. */
void ft_arena_reset(struct ft_arena *a);

/* Gives everything back. Safe on an empty arena and twice. */
void ft_arena_done(struct ft_arena *a);

#endif
