/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers with check digits: what is printed on units, SIMs and goods, typed by cold hands.
 *
 * Sources: ISO/IEC 7812-1 Annex B (Luhn); 3GPP TS 23.003 clause 6 and Annex B (IMEI); ITU-T E.118 (ICCID);
 * GS1 General Specifications, check digit (GTIN, GLN, SSCC); IEEE 802 and RFC 4291 Appendix A (EUI).
 * What is from memory stands so in data/rules.csv. */
#ifndef FETTLE_IDENT_H
#define FETTLE_IDENT_H

#include "fettle/finding.h"

enum ft_ident_kind { FT_IDENT_IMEI, FT_IDENT_ICCID, FT_IDENT_GTIN, FT_IDENT_EUI, FT_IDENT_KINDS };

const char *ft_ident_word(enum ft_ident_kind k); /* imei iccid gtin eui */
bool ft_ident_parse(struct ft_slice word, enum ft_ident_kind *ret);

enum { FT_IDENT_TEXT = 40, FT_IDENT_PARTS = 6 };

struct ft_ident {
	enum ft_ident_kind kind;
	bool valid;                /* form and check digit are right; where there is no check digit, the form alone */
	const char *form;          /* "IMEI", "IMEISV", "ICCID", "GTIN-13", "SSCC", "EUI-48"; NULL: none fits */
	char text[FT_IDENT_TEXT];  /* without blanks and dashes, capitals, an ICCID without its filler */
	int check, check_expected; /* digits; -1: there is none */
	struct {
		const char *name; /* "type allocation code" */
		char value[FT_IDENT_TEXT];
	} parts[FT_IDENT_PARTS];
	size_t part_count;
};

/* Takes a number apart and reports number.* findings; `where` goes into each. Blanks, dashes, points and colons
 * between digits are passed over. Never fails: what is no such number is a finding. */
void ft_ident(enum ft_ident_kind k, struct ft_slice value, struct ft_where where, struct ft_findings *f,
              struct ft_ident *ret);

/* Could a person have meant this kind by `value`? By length and characters only, no check digit: for numbers
 * whose kind nobody says. False where none fits. */
bool ft_ident_guess(struct ft_slice value, enum ft_ident_kind *ret);

/* The digit that makes `digits` (digits only) right, 0 to 9; -1 on anything but digits. */
int ft_ident_luhn(struct ft_slice digits);
int ft_ident_gs1(struct ft_slice digits);

#endif
