/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/ident.h"

#include <stdio.h>

/* Lengths in digits, check digit counted where the number has one. */
enum {
	IMEI_BODY = 14, /* TS 23.003 6.2.1: TAC 8, serial 6 */
	IMEI = 15,
	IMEISV = 16, /* 6.2.2: a software version in place of the check digit */
	TAC = 8,
	ICCID_LEAST = 18, /* E.118 speaks of 19 at most; cards of 20 exist */
	ICCID_MOST = 20,
	EUI_48 = 12, /* hexadecimal digits */
	EUI_64 = 16,
};

/* The first two digits of an ICCID: telecommunication cards (ITU-T E.118), and how they read when each byte of the
 * card's file is printed without swapping its halves. */
static const char iccid_head[] = "89", iccid_head_swapped[] = "98";

static const char *const kind_words[FT_IDENT_KINDS] = { "imei", "iccid", "gtin", "eui" };

static const struct {
	size_t digits;
	const char *form;
} gs1_forms[] = { { 8, "GTIN-8" }, { 12, "GTIN-12" }, { 13, "GTIN-13" }, { 14, "GTIN-14" }, { 18, "SSCC" } };

const char *ft_ident_word(enum ft_ident_kind k)
{
	return (unsigned)k < FT_IDENT_KINDS ? kind_words[k] : NULL;
}

bool ft_ident_parse(struct ft_slice word, enum ft_ident_kind *ret)
{
	for (int k = 0; k < FT_IDENT_KINDS; k++)
		if (ft_slice_eq_nocase(word, ft_slice_of(kind_words[k]))) {
			*ret = (enum ft_ident_kind)k;
			return true;
		}
	return false;
}

int ft_ident_luhn(struct ft_slice digits)
{
	int sum = 0;

	for (size_t i = 0; i < digits.n; i++) {
		int d = digits.p[digits.n - 1 - i] - '0';
		if (d < 0 || d > 9)
			return -1;
		if (i % 2 == 0) /* the one beside the check digit is doubled first */
			d = d > 4 ? 2 * d - 9 : 2 * d;
		sum += d;
	}
	return (10 - sum % 10) % 10;
}

int ft_ident_gs1(struct ft_slice digits)
{
	int sum = 0;

	for (size_t i = 0; i < digits.n; i++) {
		int d = digits.p[digits.n - 1 - i] - '0';
		if (d < 0 || d > 9)
			return -1;
		sum += i % 2 == 0 ? 3 * d : d;
	}
	return (10 - sum % 10) % 10;
}

/* Capitals, nothing between; false when a character belongs into no such number or it is too long. */
static bool squeeze(struct ft_slice s, bool hexadecimal, char ret[FT_IDENT_TEXT], char *ret_bad)
{
	size_t n = 0;

	for (size_t i = 0; i < s.n; i++) {
		char c = s.p[i];
		if (c == ' ' || c == '-' || c == '.' || c == ':' || c == '\t')
			continue;
		if (c >= 'a' && c <= 'f')
			c = (char)(c - 'a' + 'A');
		if (!ft_is_digit(c) && !(hexadecimal && c >= 'A' && c <= 'F')) {
			*ret_bad = s.p[i];
			return false;
		}
		if (n + 1 >= FT_IDENT_TEXT) {
			*ret_bad = '\0';
			return false;
		}
		ret[n++] = c;
	}
	ret[n] = '\0';
	*ret_bad = '\0';
	return true;
}

static void part(struct ft_ident *r, const char *name, const char *from, size_t n)
{
	r->parts[r->part_count].name = name;
	snprintf(r->parts[r->part_count++].value, FT_IDENT_TEXT, "%.*s", (int)n, from);
}

static const char *counted(struct ft_findings *f, size_t digits)
{
	return ft_arena_printf(f->arena, "%zu digits", digits);
}

/* Compares the last digit with the one the others demand. */
static void check_last(struct ft_ident *r, int (*demanded)(struct ft_slice))
{
	size_t n = strlen(r->text);

	r->check = r->text[n - 1] - '0';
	r->check_expected = demanded((struct ft_slice){ r->text, n - 1 });
	r->valid = r->check == r->check_expected;
}

static void wrong_digit(struct ft_ident *r, enum ft_rule_id rule, struct ft_where where, struct ft_findings *f)
{
	if (!r->valid)
		ft_find(f, rule, where, ft_arena_printf(f->arena, "%s ends with %d", r->text, r->check),
		        ft_arena_printf(f->arena, "%d as the last digit", r->check_expected));
}

static void imei(struct ft_ident *r, struct ft_where where, struct ft_findings *f)
{
	size_t n = strlen(r->text);

	if (n < IMEI_BODY || n > IMEISV) {
		ft_find(f, FT_RULE_NUMBER_LENGTH, where, counted(f, n), "15 digits, or 16 with a software version");
		return;
	}
	part(r, "type_allocation_code", r->text, TAC);
	part(r, "serial_number", r->text + TAC, IMEI_BODY - TAC);
	if (n == IMEISV) {
		r->form = "IMEISV";
		part(r, "software_version", r->text + IMEI_BODY, IMEISV - IMEI_BODY);
		r->valid = true;
		ft_find(f, FT_RULE_NUMBER_NO_CHECK_DIGIT, where, "16 digits: a software version stands last", NULL);
		return;
	}
	r->form = "IMEI";
	if (n == IMEI_BODY) {
		r->check_expected = ft_ident_luhn(ft_slice_of(r->text));
		ft_find(f, FT_RULE_NUMBER_CHECK_DIGIT_MISSING, where, counted(f, n),
		        ft_arena_printf(f->arena, "15 digits, the last one %d", r->check_expected));
		return;
	}
	check_last(r, ft_ident_luhn);
	/* Networks do not carry the check digit and tools that print what they carry put 0 in its place. */
	wrong_digit(r, r->check == 0 ? FT_RULE_NUMBER_CHECK_DIGIT_ZERO : FT_RULE_NUMBER_CHECK_DIGIT, where, f);
}

/* Two digits a byte, low half first, F where the last half is empty: EF_ICCID of TS 102 221 13.2, from memory. */
static void stored_form(const char *digits, char ret[FT_IDENT_TEXT])
{
	size_t n = strlen(digits), at = 0;

	for (size_t i = 0; i < ICCID_MOST; i += 2) {
		ret[at++] = i + 1 < n ? digits[i + 1] : 'F';
		ret[at++] = i < n ? digits[i] : 'F';
	}
	ret[at] = '\0';
}

static void unswap(char *digits)
{
	for (size_t i = 0; digits[i] && digits[i + 1]; i += 2) {
		char c = digits[i];
		digits[i] = digits[i + 1];
		digits[i + 1] = c;
	}
}

static void iccid(struct ft_ident *r, struct ft_where where, struct ft_findings *f)
{
	char stored[FT_IDENT_TEXT];
	size_t n = strlen(r->text);

	if (n && strncmp(r->text, iccid_head_swapped, 2) == 0) {
		ft_find(f, FT_RULE_NUMBER_SWAPPED, where, ft_arena_printf(f->arena, "%s", r->text),
		        "a number that begins with 89");
		unswap(r->text);
	}
	if (n && r->text[n - 1] == 'F')
		r->text[--n] = '\0';
	if (strchr(r->text, 'F') || strpbrk(r->text, "ABCDE")) {
		ft_find(f, FT_RULE_NUMBER_CHARACTERS, where, ft_arena_printf(f->arena, "%s", r->text),
		        "digits, at most an F at the end");
		return;
	}
	if (n < ICCID_LEAST || n > ICCID_MOST) {
		ft_find(f, FT_RULE_NUMBER_LENGTH, where, counted(f, n), "18 to 20 digits, usually 19");
		return;
	}
	if (strncmp(r->text, iccid_head, 2) != 0) {
		ft_find(f, FT_RULE_NUMBER_HEAD, where, ft_arena_printf(f->arena, "%.2s at the beginning", r->text), iccid_head);
		return;
	}
	r->form = "ICCID";
	check_last(r, ft_ident_luhn);
	part(r, "industry", r->text, 2);
	/* Where country and issuer end only their register tells: 1 to 3 and 1 to 4 digits. */
	part(r, "country_issuer_account", r->text + 2, n - 3);
	stored_form(r->text, stored);
	part(r, "as_stored", stored, ICCID_MOST);
	wrong_digit(r, FT_RULE_NUMBER_CHECK_DIGIT_CARD, where, f);
}

static void gtin(struct ft_ident *r, struct ft_where where, struct ft_findings *f)
{
	size_t n = strlen(r->text);

	for (size_t i = 0; i < sizeof gs1_forms / sizeof *gs1_forms; i++)
		if (gs1_forms[i].digits == n)
			r->form = gs1_forms[i].form;
	if (!r->form) {
		ft_find(f, FT_RULE_NUMBER_LENGTH, where, counted(f, n), "8, 12, 13, 14 or 18 digits");
		return;
	}
	check_last(r, ft_ident_gs1);
	part(r, "body", r->text, n - 1);
	wrong_digit(r, FT_RULE_NUMBER_CHECK_DIGIT, where, f);
}

/* RFC 4291 Appendix A: FF-FE in the middle of an EUI-48, the universal/local bit turned over. */
static void interface_id(const char *hex, size_t n, char ret[FT_IDENT_TEXT])
{
	uint32_t first = 0;

	ft_slice_hex((struct ft_slice){ hex, 2 }, &first);
	if (n == EUI_48)
		snprintf(ret, FT_IDENT_TEXT, "%02X%.4sFFFE%s", first ^ 2, hex + 2, hex + 6);
	else
		snprintf(ret, FT_IDENT_TEXT, "%02X%s", first ^ 2, hex + 2);
}

static void eui(struct ft_ident *r, struct ft_where where, struct ft_findings *f)
{
	size_t n = strlen(r->text);
	char id[FT_IDENT_TEXT];
	uint32_t first = 0;

	if (n != EUI_48 && n != EUI_64) {
		ft_find(f, FT_RULE_NUMBER_LENGTH, where, ft_arena_printf(f->arena, "%zu hexadecimal digits", n),
		        "12 or 16 hexadecimal digits");
		return;
	}
	r->form = n == EUI_48 ? "EUI-48" : "EUI-64";
	ft_slice_hex((struct ft_slice){ r->text, 2 }, &first);
	r->valid = !(first & 1);
	interface_id(r->text, n, id);
	part(r, "first_half", r->text, 6);
	part(r, "second_half", r->text + 6, n - 6);
	part(r, "reach", first & 1 ? "group" : "single", 6);
	part(r, "administered", first & 2 ? "local" : "universal", 9);
	part(r, "interface_id", id, EUI_64);
	if (first & 1)
		ft_find(f, FT_RULE_NUMBER_GROUP, where, ft_arena_printf(f->arena, "%.2s as the first octet", r->text),
		        "an even first octet");
	else if (first & 2)
		ft_find(f, FT_RULE_NUMBER_LOCAL, where, ft_arena_printf(f->arena, "%.2s as the first octet", r->text), NULL);
}

void ft_ident(enum ft_ident_kind k, struct ft_slice value, struct ft_where where, struct ft_findings *f,
              struct ft_ident *ret)
{
	static void (*const take[FT_IDENT_KINDS])(struct ft_ident *, struct ft_where, struct ft_findings *) = { imei, iccid,
		                                                                                                    gtin, eui };
	char bad;

	*ret = (struct ft_ident){ .kind = k, .check = -1, .check_expected = -1 };
	if (!squeeze(value, k == FT_IDENT_EUI || k == FT_IDENT_ICCID, ret->text, &bad)) {
		ret->text[0] = '\0';
		if (bad)
			ft_find(f, FT_RULE_NUMBER_CHARACTERS, where,
			        bad > ' ' && bad < 127 ? ft_arena_printf(f->arena, "the character %c", bad)
			                               : "a character that is no digit",
			        k == FT_IDENT_EUI ? "hexadecimal digits" : "digits");
		else
			ft_find(f, FT_RULE_NUMBER_LENGTH, where, "far too many digits", NULL);
		return;
	}
	take[k](ret, where, f);
	/* what a module answers that was never given its number; every check digit fits it */
	if (ret->form && strspn(ret->text, "0") == strlen(ret->text)) {
		ret->valid = false;
		ft_find(f, FT_RULE_NUMBER_ZEROS, where, counted(f, strlen(ret->text)), "a number that was given out");
	}
}

bool ft_ident_guess(struct ft_slice value, enum ft_ident_kind *ret)
{
	char text[FT_IDENT_TEXT], bad;
	size_t n;

	if (!squeeze(value, true, text, &bad))
		return false;
	n = strlen(text);
	if (strspn(text, "0123456789") == n && (n == IMEI || n == IMEISV))
		*ret = FT_IDENT_IMEI;
	else if ((n >= ICCID_LEAST && n <= ICCID_MOST) && strncmp(text, iccid_head, 2) == 0)
		*ret = FT_IDENT_ICCID;
	else if (n == EUI_48 && strspn(text, "0123456789") != n)
		*ret = FT_IDENT_EUI;
	else
		return false;
	return true;
}
