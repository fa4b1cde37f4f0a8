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

static const char *word_of(const struct word_list *l, unsigned v)
{
	return v < l->count ? l->words[v].word : NULL;
}

const char *ft_tri_word(enum ft_tri v)
{
	return word_of(&tri_words, v);
}

const char *ft_audit_link_word(enum ft_audit_link v)
{
	return word_of(&link_words, v);
}

const char *ft_risk_word(enum ft_risk v)
{
	return word_of(&risk_words, v);
}

const char *ft_front_word(enum ft_front v)
{
	return word_of(&front_words, v);
}

const char *ft_cabinet_word(enum ft_cabinet v)
{
	return word_of(&cabinet_words, v);
}

const char *ft_hinge_word(enum ft_hinge v)
{
	return word_of(&hinge_words, v);
}

const char *ft_antenna_place_word(enum ft_antenna_place v)
{
	return word_of(&antenna_words, v);
}

const char *ft_purpose_word(enum ft_purpose v)
{
	return word_of(&purpose_words, v);
}

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

bool same_heading(struct ft_slice a, struct ft_slice b)
{
	size_t i = 0, k = 0;

	for (;;) {
		while (i < a.n && !letter(a.p[i]))
			i++;
		while (k < b.n && !letter(b.p[k]))
			k++;
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

const struct ft_family *ft_family_of(const struct ft_catalogue *c, struct ft_slice name)
{
	for (size_t i = 0; i < c->family_count; i++)
		if (ft_slice_eq_nocase(c->families[i].family, name))
			return &c->families[i];
	return NULL;
}

const struct ft_unit *ft_unit_of(const struct ft_catalogue *c, struct ft_slice name)
{
	for (size_t i = 0; i < c->unit_count; i++)
		if (ft_slice_eq_nocase(c->units[i].unit, name))
			return &c->units[i];
	return NULL;
}

const struct ft_lead *ft_lead_of(const struct ft_catalogue *c, struct ft_slice id)
{
	for (size_t i = 0; i < c->lead_count; i++)
		if (ft_slice_eq_nocase(c->leads[i].lead, id))
			return &c->leads[i];
	return NULL;
}

const struct ft_part_row *ft_part_of(const struct ft_catalogue *c, struct ft_slice id)
{
	for (size_t i = 0; i < c->part_count; i++)
		if (ft_slice_eq_nocase(c->parts[i].part, id))
			return &c->parts[i];
	return NULL;
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
		while (i < a.n && !letter(a.p[i]))
			i++;
		while (k < b.n && !letter(b.p[k]))
			k++;
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
