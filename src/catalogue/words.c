/* SPDX-License-Identifier: Apache-2.0 */
/* The words of the tables, how they may be spelt, and finding a row by its name. */
#include "room.h"

#define LIST(name, say, ...)                                                  \
	static const struct word name##_list[] = { { NULL, NULL }, __VA_ARGS__ }; \
	const struct word_list name = { name##_list, sizeof name##_list / sizeof *name##_list, say }

LIST(tri_words, "yes or no", { "no", "n|false|0" }, { "yes", "y|true|1|x" });
LIST(link_words, "dex, ddcmp or none", { "none", "no" }, { "dex", "dex/ucs|dexucs|ucs" }, { "ddcmp", "" });
LIST(risk_words, "none, low, middle or high", { "none", "no" }, { "low", "small" }, { "middle", "medium" },
     { "high", "great" });
LIST(front_words, "glass or metal", { "glass", "glass front" }, { "metal", "steel|closed" });
LIST(cabinet_words, "cold, frozen, hot or ambient", { "cold", "chilled|cooled|refrigerated" }, { "frozen", "freezer" },
     { "hot", "heated" }, { "ambient", "room|none" });
LIST(hinge_words, "left or right", { "left", "l" }, { "right", "r" });
LIST(antenna_words, "inside, top or outside", { "inside", "in" }, { "top", "roof|on top" }, { "outside", "out|wall" });
LIST(purpose_words,
     "harness, tee, door-switch, probe, adapter, antenna, mounting, chip, supply or other, perhaps with :what",
     { "harness", "audit harness|audit lead" }, { "tee", "bus tee|t" }, { "door-switch", "switch" },
     { "probe", "temperature probe" }, { "adapter", "antenna adapter" }, { "antenna", "aerial" },
     { "mounting", "bracket|mount" }, { "chip", "eprom|update" }, { "supply", "power supply" }, { "other", "" });

#define WORD_OF(function, type, list)                                    \
	const char *function(enum type v)                                    \
	{                                                                    \
		return (unsigned)v < (list).count ? (list).words[v].word : NULL; \
	}

WORD_OF(ft_tri_word, ft_tri, tri_words)
WORD_OF(ft_audit_link_word, ft_audit_link, link_words)
WORD_OF(ft_risk_word, ft_risk, risk_words)
WORD_OF(ft_front_word, ft_front, front_words)
WORD_OF(ft_cabinet_word, ft_cabinet, cabinet_words)
WORD_OF(ft_hinge_word, ft_hinge, hinge_words)
WORD_OF(ft_antenna_place_word, ft_antenna_place, antenna_words)
WORD_OF(ft_purpose_word, ft_purpose, purpose_words)

bool ft_words_hold(const struct ft_words *w, struct ft_slice word)
{
	for (size_t i = 0; i < w->count; i++)
		if (ft_slice_eq_nocase(w->list[i], word))
			return true;
	return false;
}

static bool letter(char c)
{
	return ft_is_digit(c) || (c >= 'a' && c <= 'z') || ft_is_upper(c) || (unsigned char)c >= 0x80;
}

/* The first letter or digit from `i` on; s.n: none. */
static size_t letter_from(struct ft_slice s, size_t i)
{
	while (i < s.n && !letter(s.p[i]))
		i++;
	return i;
}

bool same_heading(struct ft_slice a, struct ft_slice b)
{
	size_t i = 0, k = 0;

	for (;;) {
		i = letter_from(a, i);
		k = letter_from(b, k);
		if (i == a.n || k == b.n)
			return i == a.n && k == b.n;
		if (!ft_slice_eq_nocase((struct ft_slice){ a.p + i, 1 }, (struct ft_slice){ b.p + k, 1 }))
			return false;
		i++;
		k++;
	}
}

bool one_of(const char *list, struct ft_slice word)
{
	struct ft_slice rest = ft_slice_of(list), part;

	while (rest.n && ft_slice_split(&rest, '|', &part))
		if (same_heading(part, word))
			return true;
	return false;
}

/* The first column names the row. */
static const void *row_named(enum ft_table which, const struct ft_catalogue *c, struct ft_slice name)
{
	const struct table *t = table_of(which);
	const char *rows;
	size_t count;

	memcpy(&rows, (const char *)c + t->list_at, sizeof rows);
	memcpy(&count, (const char *)c + t->count_at, sizeof count);
	for (size_t i = 0; i < count; i++) {
		const void *row = rows + i * t->row_size;
		const struct ft_slice *own = (const void *)((const char *)row + t->columns[0].at);
		if (ft_slice_eq_nocase(*own, name))
			return row;
	}
	return NULL;
}

const struct ft_family *ft_family_of(const struct ft_catalogue *c, struct ft_slice name)
{
	return row_named(FT_TABLE_FAMILIES, c, name);
}

const struct ft_unit *ft_unit_of(const struct ft_catalogue *c, struct ft_slice name)
{
	return row_named(FT_TABLE_UNITS, c, name);
}

const struct ft_lead *ft_lead_of(const struct ft_catalogue *c, struct ft_slice id)
{
	return row_named(FT_TABLE_LEADS, c, id);
}

const struct ft_part_row *ft_part_of(const struct ft_catalogue *c, struct ft_slice id)
{
	return row_named(FT_TABLE_PARTS, c, id);
}

const struct ft_part_row *ft_part_exactly(const struct ft_catalogue *c, enum ft_purpose purpose, struct ft_slice of)
{
	for (size_t i = 0; of.p && i < c->part_count; i++)
		if (c->parts[i].purpose == purpose && ft_slice_eq_nocase(c->parts[i].of, of))
			return &c->parts[i];
	return NULL;
}

const struct ft_part_row *ft_part_for(const struct ft_catalogue *c, enum ft_purpose purpose, struct ft_slice of)
{
	const struct ft_part_row *exactly = ft_part_exactly(c, purpose, of);

	for (size_t i = 0; !exactly && i < c->part_count; i++)
		if (c->parts[i].purpose == purpose && (!of.p || !c->parts[i].of.p))
			return &c->parts[i];
	return exactly;
}

/* A run of digits without its leading noughts. */
static struct ft_slice digits(struct ft_slice s, size_t *at)
{
	size_t from;

	while (*at < s.n && s.p[*at] == '0')
		++*at;
	from = *at;
	while (*at < s.n && ft_is_digit(s.p[*at]))
		++*at;
	return (struct ft_slice){ s.p + from, *at - from };
}

int ft_revision_cmp(struct ft_slice a, struct ft_slice b)
{
	size_t i = 0, k = 0;

	for (;;) {
		i = letter_from(a, i);
		k = letter_from(b, k);
		if (i == a.n || k == b.n)
			return (i < a.n) - (k < b.n);
		if (ft_is_digit(a.p[i]) && ft_is_digit(b.p[k])) {
			struct ft_slice x = digits(a, &i), y = digits(b, &k);
			int c = x.n != y.n ? (x.n > y.n) - (x.n < y.n) : ft_slice_cmp(x, y);
			if (c)
				return c < 0 ? -1 : 1;
		} else {
			int x = ft_is_upper(a.p[i]) ? a.p[i] + 32 : (unsigned char)a.p[i];
			int y = ft_is_upper(b.p[k]) ? b.p[k] + 32 : (unsigned char)b.p[k];
			if (x != y)
				return x < y ? -1 : 1;
			i++;
			k++;
		}
	}
}
