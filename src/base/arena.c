/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/arena.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

enum { BLOCK_FIRST = 64 * 1024 }; /* ours: holds what one audit needs without a second block */

struct ft_arena_block {
	struct ft_arena_block *next;
	size_t size, used;
	_Alignas(max_align_t) char bytes[];
};

static struct ft_arena_block *block_new(struct ft_arena *a, size_t need)
{
	size_t size = a->head ? a->head->size * 2 : BLOCK_FIRST;
	struct ft_arena_block *b;

	if (size < need)
		size = need;
	if (size > SIZE_MAX - sizeof *b)
		return NULL;
	b = malloc(sizeof *b + size);
	if (!b)
		return NULL;
	b->next = a->head;
	b->size = size;
	b->used = 0;
	a->head = b;
	return b;
}

void *ft_arena_raw(struct ft_arena *a, size_t n)
{
	const size_t mask = _Alignof(max_align_t) - 1;
	struct ft_arena_block *b = a->head;
	void *p;

	if (n > SIZE_MAX / 4) {
		a->failed = true;
		return NULL;
	}
	n = (n + mask) & ~mask;
	if (!b || b->size - b->used < n)
		b = block_new(a, n);
	if (!b) {
		a->failed = true;
		return NULL;
	}
	p = b->bytes + b->used;
	b->used += n;
	return p;
}

void *ft_arena_alloc(struct ft_arena *a, size_t n)
{
	void *p = ft_arena_raw(a, n);

	return p ? memset(p, 0, n) : NULL;
}

void *ft_arena_array(struct ft_arena *a, size_t count, size_t size)
{
	if (size && count > SIZE_MAX / 4 / size) {
		a->failed = true;
		return NULL;
	}
	return ft_arena_alloc(a, count * size);
}

char *ft_arena_text(struct ft_arena *a, struct ft_slice s)
{
	char *t = ft_arena_alloc(a, s.n + 1);

	if (t && s.n)
		memcpy(t, s.p, s.n);
	return t;
}

char *ft_arena_vprintf(struct ft_arena *a, const char *format, va_list args)
{
	va_list again;
	char *t = NULL;
	int n;

	va_copy(again, args);
	n = vsnprintf(NULL, 0, format, args);
	if (n >= 0 && (t = ft_arena_alloc(a, (size_t)n + 1)) != NULL)
		vsnprintf(t, (size_t)n + 1, format, again);
	va_end(again);
	return t;
}

char *ft_arena_printf(struct ft_arena *a, const char *format, ...)
{
	va_list args;
	char *t;

	va_start(args, format);
	t = ft_arena_vprintf(a, format, args);
	va_end(args);
	return t;
}

void *ft_arena_grow(struct ft_arena *a, void *array, size_t count, size_t *capacity, size_t size)
{
	size_t room = *capacity ? *capacity * 2 : 16;
	void *bigger;

	if (count < *capacity)
		return array;
	bigger = ft_arena_array(a, room, size);
	if (!bigger)
		return NULL;
	if (count)
		memcpy(bigger, array, count * size);
	*capacity = room;
	return bigger;
}

void ft_arena_reset(struct ft_arena *a)
{
	struct ft_arena_block *keep = a->head; /* the newest block is the largest but for odd single needs */

	if (keep) {
		for (struct ft_arena_block *b = keep->next, *next; b; b = next) {
			next = b->next;
			free(b);
		}
		keep->next = NULL;
		keep->used = 0;
	}
	a->failed = false;
}

void ft_arena_done(struct ft_arena *a)
{
	ft_arena_reset(a);
	free(a->head);
	a->head = NULL;
}
