/* SPDX-License-Identifier: Apache-2.0 */
/* A growing buffer with a ceiling that remembers its first failure, so a writer checks once. */
#ifndef FETTLE_BUF_H
#define FETTLE_BUF_H

#include <stdarg.h>
#include <stdint.h>

#include "fettle/error.h"
#include "fettle/slice.h"

struct ft_buf {
	char *p;               /* owned; NULL while empty */
	size_t n;              /* bytes used */
	size_t room;           /* bytes owned */
	size_t ceiling;        /* 0: none */
	enum ft_status status; /* FT_OK, or why everything since was dropped */
};

/* Zero-initialised is a valid empty buffer without a ceiling. */
void ft_buf_put(struct ft_buf *b, const void *p, size_t n);
void ft_buf_puts(struct ft_buf *b, const char *text);
void ft_buf_slice(struct ft_buf *b, struct ft_slice s);
void ft_buf_byte(struct ft_buf *b, uint8_t byte);
void ft_buf_i64(struct ft_buf *b, int64_t value);
void ft_buf_printf(struct ft_buf *b, const char *format, ...) __attribute__((format(printf, 2, 3)));
void ft_buf_vprintf(struct ft_buf *b, const char *format, va_list args) __attribute__((format(printf, 2, 0)));

/* What was written so far, borrowed until the next write. */
static inline struct ft_slice ft_buf_text(const struct ft_buf *b)
{
	return (struct ft_slice){ b->p, b->n };
}

/* Empties it and clears the status, keeping the memory. */
void ft_buf_clear(struct ft_buf *b);
void ft_buf_done(struct ft_buf *b);

#endif
