/* SPDX-License-Identifier: Apache-2.0 */
#include "room.h"

#define SEGMENT_TABLES
#include "segment-shapes.inc"

static const struct ft_segment_def segments[] = {
#define ONCE                                                   true
#define MANY                                                   false
#define ROW(ident, name, repeats, parent, keys, title, source) { name, repeats, FT_SEG_##parent, keys, title },
#include "audit-segments.inc"
#undef ROW
};

static const struct ft_element_def elements[] = {
#define ROW(ident, name, segment, position, type, span, need, trust, meaning, source) \
	{ name,           FT_SEG_##segment, position, FT_TYPE_##type, FT_SPAN_##span,     \
	  FT_NEED_##need, FT_TRUST_##trust, meaning,  source },
#include "audit-elements.inc"
#undef ROW
};

static const struct {
	const char *code, *meaning;
} events[] = {
#define ROW(ident, code, meaning, source) { code, meaning },
#include "event-codes.inc"
#undef ROW
};

const struct ft_element_def *ft_element_def(enum ft_element_id id)
{
	return id >= 0 && id < FT_EL_COUNT ? &elements[id] : NULL;
}

const struct ft_segment_def *ft_segment_def(enum ft_segment_id id)
{
	return id >= 0 && id < FT_SEG_COUNT ? &segments[id] : NULL;
}

enum ft_segment_id ft_segment_find(struct ft_slice name)
{
	uint32_t key = 0;

	if (name.n < 2 || name.n > 4)
		return FT_SEG_NONE;
	for (size_t i = name.n; i-- > 0;)
		key = key << 8 | (uint8_t)name.p[i];
	return (enum ft_segment_id)segment_by_key(key);
}

enum ft_element_id ft_element_at(enum ft_segment_id id, unsigned position)
{
	if (id < 0 || id >= FT_SEG_COUNT || position < 1 || position > FT_POSITIONS_MAX)
		return FT_EL_NONE;
	return (enum ft_element_id)segment_shapes[id].element[position];
}

static const char *event_row(struct ft_slice code)
{
	for (size_t i = 0; i < sizeof events / sizeof *events; i++)
		if (ft_slice_is(code, events[i].code))
			return events[i].meaning;
	return NULL;
}

const char *ft_event_meaning(struct ft_slice code, bool *ret_listed)
{
	static const char group_mark[] = "GROUP: ";
	struct ft_slice stem;
	const char *text;
	bool listed;

	code = ft_slice_trim(code);
	stem = code;
	for (size_t i = 0; i < code.n; i++)
		if (code.p[i] == '_') {
			stem.n = i;
			break;
		}
	text = event_row(code);
	if (!text)
		text = event_row(stem);
	listed = text != NULL && strncmp(text, group_mark, sizeof group_mark - 1) != 0;
	if (!text && stem.n > 2)
		text = event_row((struct ft_slice){ stem.p, 2 });
	if (ret_listed)
		*ret_listed = listed;
	if (text && strncmp(text, group_mark, sizeof group_mark - 1) == 0)
		text += sizeof group_mark - 1;
	return text;
}
