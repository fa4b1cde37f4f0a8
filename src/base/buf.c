/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/buf.h"

#include <stdio.h>
#include <stdlib.h>

static bool make_room(struct ft_buf *b, size_t n)
{
	size_t room = b->room ? b->room : 256;
	char *p;

	if (b->status != FT_OK)
		return false;
	if (n > SIZE_MAX / 4 - b->n || (b->ceiling && n > b->ceiling - b->n)) {
		b->status = FT_E_INPUT; /* nothing half-written */
		return false;
	}
	if (b->n + n <= b->room)
		return true;
	while (room < b->n + n)
		room *= 2;
	p = realloc(b->p, room);
	if (!p) {
		b->status = FT_E_MEMORY;
		return false;
	}
	b->p = p;
	b->room = room;
	return true;
}

void ft_buf_put(struct ft_buf *b, const void *p, size_t n)
{
	if (n == 0 || !make_room(b, n))
		return;
	memcpy(b->p + b->n, p, n);
	b->n += n;
}

void ft_buf_puts(struct ft_buf *b, const char *text)
{
	ft_buf_put(b, text, strlen(text));
}

void ft_buf_slice(struct ft_buf *b, struct ft_slice s)
{
	ft_buf_put(b, s.p, s.n);
}

void ft_buf_byte(struct ft_buf *b, uint8_t byte)
{
	ft_buf_put(b, &byte, 1);
}

void ft_buf_i64(struct ft_buf *b, int64_t value)
{
	char digits[24];
	size_t i = sizeof digits;
	uint64_t v = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;

	do
		digits[--i] = (char)('0' + v % 10);
	while ((v /= 10) != 0);
	if (value < 0)
		digits[--i] = '-';
	ft_buf_put(b, digits + i, sizeof digits - i);
}

void ft_buf_vprintf(struct ft_buf *b, const char *format, va_list args)
{
	va_list again;
	int n;

	va_copy(again, args);
	n = vsnprintf(NULL, 0, format, args);
	if (n > 0 && make_room(b, (size_t)n + 1)) {
		vsnprintf(b->p + b->n, (size_t)n + 1, format, again);
		b->n += (size_t)n;
	}
	va_end(again);
}

void ft_buf_printf(struct ft_buf *b, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	ft_buf_vprintf(b, format, args);
	va_end(args);
}

void ft_buf_clear(struct ft_buf *b)
{
	b->n = 0;
	b->status = FT_OK;
}

void ft_buf_done(struct ft_buf *b)
{
	free(b->p);
	*b = (struct ft_buf){ .ceiling = b->ceiling };
}
