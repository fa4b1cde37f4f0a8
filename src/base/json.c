/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/json.h"

#include <math.h>

static void put_string(struct ft_buf *b, struct ft_slice s)
{
	const unsigned char *p = (const unsigned char *)s.p;
	size_t i = 0;

	ft_buf_byte(b, '"');
	while (i < s.n) {
		size_t plain = i;
		size_t len;
		while (plain < s.n && p[plain] >= 0x20 && p[plain] < 0x7f && p[plain] != '"' && p[plain] != '\\')
			plain++;
		ft_buf_put(b, p + i, plain - i);
		if ((i = plain) == s.n)
			break;
		len = ft_utf8_length(p + i, s.n - i);
		if (p[i] == '"' || p[i] == '\\') {
			ft_buf_byte(b, '\\');
			ft_buf_byte(b, p[i]);
		} else if (p[i] == '\n') {
			ft_buf_puts(b, "\\n");
		} else if (p[i] < 0x20 || p[i] == 0x7f) {
			ft_buf_printf(b, "\\u%04x", p[i]);
		} else if (len) {
			ft_buf_put(b, p + i, len);
		} else {
			ft_buf_puts(b, "\xef\xbf\xbd");
		}
		i += len ? len : 1;
	}
	ft_buf_byte(b, '"');
}

static void lead_in(struct ft_json *j, const char *key)
{
	if (j->comma)
		ft_buf_byte(j->out, ',');
	j->comma = true;
	if (key) {
		put_string(j->out, ft_slice_of(key));
		ft_buf_byte(j->out, ':');
	}
}

static void open_level(struct ft_json *j, const char *key, char mark)
{
	lead_in(j, key);
	ft_buf_byte(j->out, (uint8_t)mark);
	j->depth++;
	j->comma = false;
}

static void close_level(struct ft_json *j, char mark)
{
	ft_buf_byte(j->out, (uint8_t)mark);
	j->depth--;
	j->comma = true;
}

void ft_json_object(struct ft_json *j, const char *key)
{
	open_level(j, key, '{');
}

void ft_json_object_end(struct ft_json *j)
{
	close_level(j, '}');
}

void ft_json_array(struct ft_json *j, const char *key)
{
	open_level(j, key, '[');
}

void ft_json_array_end(struct ft_json *j)
{
	close_level(j, ']');
}

void ft_json_slice(struct ft_json *j, const char *key, struct ft_slice s)
{
	lead_in(j, key);
	if (s.p)
		put_string(j->out, s);
	else
		ft_buf_puts(j->out, "null");
}

void ft_json_text(struct ft_json *j, const char *key, const char *text)
{
	ft_json_slice(j, key, ft_slice_of(text));
}

void ft_json_i64(struct ft_json *j, const char *key, int64_t value)
{
	lead_in(j, key);
	ft_buf_i64(j->out, value);
}

void ft_json_count(struct ft_json *j, const char *key, int64_t value)
{
	if (value == FT_ABSENT)
		ft_json_null(j, key);
	else
		ft_json_i64(j, key, value);
}

void ft_json_real(struct ft_json *j, const char *key, double value, int decimals)
{
	if (!isfinite(value)) {
		ft_json_null(j, key);
		return;
	}
	lead_in(j, key);
	ft_buf_printf(j->out, "%.*f", decimals, value);
}

void ft_json_bool(struct ft_json *j, const char *key, bool value)
{
	lead_in(j, key);
	ft_buf_puts(j->out, value ? "true" : "false");
}

void ft_json_null(struct ft_json *j, const char *key)
{
	lead_in(j, key);
	ft_buf_puts(j->out, "null");
}
