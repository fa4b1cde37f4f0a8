/* SPDX-License-Identifier: Apache-2.0 */
/* Visits and what is added to them. */
#include "bench.h"

#define ABOUT                                                                                                 \
	{ "site", "--site", P_TEXT }, { "by", "--by", P_TEXT }, { "machine_serial", "--machine-serial", P_TEXT }, \
		{ "unit", "--unit", P_TEXT }, { "sim", "--sim", P_TEXT },                                             \
	{                                                                                                         \
		"without", "--without", P_TEXT                                                                        \
	}
#define END                \
	{                      \
		NULL, NULL, P_TEXT \
	}

static const struct parameter list[] = { { "judged", "--all", P_FLAG }, END };
static const struct parameter opens[] = { { "asset", NULL, P_TEXT }, ABOUT, END };
static const struct parameter sets[] = { ABOUT, END };
static const struct parameter says[] = {
	{ "claim", NULL, P_WORD }, { "text", NULL, P_TEXT }, { "by", "--by", P_TEXT }, END
};
static const struct parameter waives[] = {
	{ "claim", NULL, P_WORD }, { "because", "--because", P_TEXT }, { "by", "--by", P_TEXT }, END
};
static const struct parameter closes[] = { { "open_claims", "--open-claims", P_FLAG }, END };
static const struct parameter papers[] = { { "paper", "--paper", P_WORD }, END };
static const struct parameter adds[] = {
	{ "name", NULL, P_TEXT }, { "kind", "--kind", P_WORD }, { "stage", "--stage", P_WORD }, END
};

const struct route routes_visits[] = {
	{ "GET", "/api/visits", .answer = ANSWER_DOCUMENT, .words = { "visit", "show", "?" }, .parameters = list },
	{ "POST",
	  "/api/visits",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "visit", "open", "--again", "?", "--", "{asset}" },
	  opens,
	  .made = 201 },
	{ "GET", "/api/visits/{visit}", .answer = ANSWER_DOCUMENT, .words = { "visit", "show", "--", "{visit}" } },
	{ "POST", "/api/visits/{visit}/set", BODY_FIELDS, ANSWER_DOCUMENT, { "visit", "set", "?", "--", "{visit}" }, sets },
	{ "POST",
	  "/api/visits/{visit}/say",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "visit", "say", "?", "--", "{visit}", "{claim}", "{text}" },
	  says },
	{ "POST",
	  "/api/visits/{visit}/waive",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "visit", "waive", "?", "--", "{visit}", "{claim}" },
	  waives },
	{ "POST",
	  "/api/visits/{visit}/close",
	  BODY_FIELDS,
	  ANSWER_DOCUMENT,
	  { "visit", "close", "?", "--", "{visit}" },
	  closes },
	{ "POST",
	  "/api/visits/{visit}/evidence",
	  BODY_BYTES,
	  ANSWER_DOCUMENT,
	  { "visit", "add", "?", "--", "{visit}", "{body}" },
	  adds },
	{ "GET", "/api/visits/{visit}/evidence/{n}", .run = evidence_bytes },
	{ "GET",
	  "/api/visits/{visit}/sheet",
	  BODY_NONE,
	  ANSWER_DOCUMENT,
	  { "visit", "sheet", "?", "-o", "sheet.svg", "--", "{visit}" },
	  papers },
	{ "GET",
	  "/api/visits/{visit}/sheet.svg",
	  BODY_NONE,
	  ANSWER_FILE,
	  { "visit", "sheet", "?", "-o", "sheet.svg", "--", "{visit}" },
	  papers,
	  .out = "sheet.svg",
	  .type = "image/svg+xml" },
	{ "GET",
	  "/api/visits/{visit}/sheet.pdf",
	  BODY_NONE,
	  ANSWER_FILE,
	  { "visit", "sheet", "?", "-o", "sheet.pdf", "--", "{visit}" },
	  papers,
	  .out = "sheet.pdf",
	  .type = "application/pdf" },
	{ NULL },
};
