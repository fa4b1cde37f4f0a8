/* SPDX-License-Identifier: Apache-2.0 */
/* A body of fields: one flat JSON object. Reading it is jansson's work. */
#include "bench.h"

#include <jansson.h>
#include <string.h>

static const char *text_of(struct request *r, const json_t *v)
{
	if (json_is_string(v))
		return strlen(json_string_value(v)) == json_string_length(v)
			? ft_arena_text(&r->arena, ft_slice_of(json_string_value(v)))
			: NULL;
	if (json_is_integer(v))
		return ft_arena_printf(&r->arena, "%lld", (long long)json_integer_value(v));
	if (json_is_real(v))
		return ft_arena_printf(&r->arena, "%.9g", json_real_value(v));
	if (json_is_boolean(v))
		return json_is_true(v) ? "1" : "";
	return NULL;
}

static bool take_list(struct request *r, const json_t *list)
{
	for (size_t i = 0; i < json_array_size(list); i++) {
		const json_t *v = json_array_get(list, i);
		if (r->list_count == FIELDS_MAX || !json_is_string(v))
			return false;
		r->list[r->list_count] = text_of(r, v);
		if (!r->list[r->list_count++])
			return false;
	}
	return true;
}

static bool take_fields(struct request *r, json_t *object)
{
	const char *name;
	json_t *v;

	json_object_foreach(object, name, v)
	{
		const struct parameter *p = parameter_of(r->route, name);
		const char *value;
		if (!p) {
			answer_error(r, 400, "This request knows no field \"%.40s\".", name);
			return false;
		}
		if (json_is_null(v))
			continue;
		if (p->kind == P_LIST ? !json_is_array(v) || !take_list(r, v) : json_is_array(v) || json_is_object(v)) {
			answer_error(r, 400, "The field %s does not hold what it must.", p->name);
			return false;
		}
		if (p->kind == P_LIST)
			continue;
		value = text_of(r, v);
		if (!value || !parameter_good(p, value) || r->body_count == FIELDS_MAX) {
			answer_error(r, 400, "The field %s does not hold what it must.", p->name);
			return false;
		}
		r->body[r->body_count++] = (struct field){ p->name, value };
	}
	return true;
}

bool body_fields(struct request *r)
{
	json_error_t why;
	json_t *object;
	bool good;

	if (r->text.n == 0) /* no fields are no fault where none must be given */
		return true;
	object = json_loadb(r->text.p, r->text.n, JSON_REJECT_DUPLICATES, &why);
	if (!json_is_object(object)) {
		answer_error(r, 400, "The body is no JSON object: %.100s.", object ? "something else" : why.text);
		json_decref(object);
		return false;
	}
	good = take_fields(r, object);
	json_decref(object);
	return good;
}
