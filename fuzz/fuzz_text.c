/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers, amounts, times, JSON and wrapped lines from any bytes: what is accepted is written and read
 * again to the same value, and what JSON says a foreign reader (jansson) understands. */
#include <jansson.h>
#include <stdlib.h>

#include "fettle/finding.h"
#include "fettle/money.h"
#include "fettle/time.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool held)
{
	if (!held)
		abort();
}

static void amounts(struct ft_slice s)
{
	char text[FT_MONEY_TEXT];

	for (int decimals = 0; decimals <= 4; decimals++) {
		int64_t minor, again;
		if (!ft_money_parse(s, decimals, &minor))
			continue;
		must(ft_money_parse(ft_slice_of(ft_money_text(minor, decimals, text)), decimals, &again) && again == minor);
	}
}

static void times(struct ft_slice s)
{
	char text[FT_TIME_TEXT];
	int64_t t, again;

	if (!ft_time_parse(s, 60, &t) || ft_civil_of(t, 0).year < 0 || ft_civil_of(t, 0).year > 9999)
		return; /* an offset can carry the first and last day beyond four digits */
	must(ft_time_parse(ft_slice_of(ft_time_text(t, 0, text)), 60, &again));
	must(again <= t && t - again < FT_SECOND); /* texts have whole seconds */
}

/* A text goes through JSON unchanged unless it is no UTF-8, which JSON cannot carry. */
static void json(struct ft_slice s)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	json_t *plain = json_stringn(s.n ? s.p : "", s.n); /* NULL: not UTF-8 */
	json_t *read, *value;

	ft_json_object(&j, NULL);
	ft_json_slice(&j, "text", (struct ft_slice){ s.n ? s.p : "", s.n });
	ft_json_array(&j, "list");
	ft_json_i64(&j, NULL, (int64_t)s.n);
	ft_json_null(&j, NULL);
	ft_json_array_end(&j);
	ft_json_object_end(&j);
	must(out.status == FT_OK);
	read = json_loadb(out.p, out.n, JSON_ALLOW_NUL | JSON_REJECT_DUPLICATES, NULL);
	must(read != NULL);
	value = json_object_get(read, "text");
	must(json_is_string(value) && json_array_size(json_object_get(read, "list")) == 2);
	must(!plain || json_equal(plain, value));
	json_decref(plain);
	json_decref(read);
	ft_buf_done(&out);
}

static size_t letters(const char *p, size_t n)
{
	size_t count = 0;

	for (size_t i = 0; i < n; i++)
		count += p[i] != ' ' && p[i] != '\n';
	return count;
}

/* Wrapping moves blanks and line ends and nothing else. */
static void wrapped(struct ft_slice s)
{
	struct ft_buf out = { 0 };
	char *text = malloc(s.n + 1);

	must(text != NULL);
	if (s.n)
		memcpy(text, s.p, s.n);
	text[s.n] = 0;
	for (int indent = 0; indent < 40; indent += 13) {
		ft_buf_clear(&out);
		ft_wrap(&out, text, 40, indent);
		must(letters(text, strlen(text)) == letters(out.n ? out.p : "", out.n));
	}
	free(text);
	ft_buf_done(&out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct ft_slice s = { (const char *)data, size };
	int64_t v;

	if (ft_slice_i64(s, &v)) {
		struct ft_buf out = { 0 };
		int64_t again;
		ft_buf_i64(&out, v);
		must(ft_slice_i64(ft_buf_text(&out), &again) && again == v);
		ft_buf_done(&out);
	}
	amounts(s);
	times(s);
	json(s);
	wrapped(s);
	return 0;
}
