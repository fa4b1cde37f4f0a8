/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/error.h"

#include <stdarg.h>
#include <stdio.h>

enum ft_status ft_fail(struct ft_error *e, enum ft_status status, const char *format, ...)
{
	va_list args;

	if (!e || e->status != FT_OK)
		return status;
	e->status = status;
	va_start(args, format);
	vsnprintf(e->text, sizeof e->text, format, args);
	va_end(args);
	return status;
}

enum ft_status ft_fail_memory(struct ft_error *e, const char *what)
{
	return ft_fail(e, FT_E_MEMORY, "There is not enough memory for %s; close other programs and try again.", what);
}

int ft_exit_code(enum ft_status status)
{
	return status >= FT_E_MEMORY ? FT_E_STORE : (int)status;
}
