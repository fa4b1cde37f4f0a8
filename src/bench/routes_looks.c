/* SPDX-License-Identifier: Apache-2.0 */
/* Evidence looked at: every command that reads a file, on pieces of a visit or on bytes that are sent along. */
#include "bench.h"

#define END                \
	{                      \
		NULL, NULL, P_TEXT \
	}
#define CHANNELS                              \
	{ "controller", "--controller", P_TEXT }, \
	{                                         \
		"peripheral", "--peripheral", P_TEXT  \
	}
#define CAPTURE                                 \
	CHANNELS, { "invert", "--invert", P_WORD }, \
	{                                           \
		"raw", "--raw", P_WORD                  \
	}
#define WINDOW                               \
	CAPTURE, { "from", "--from", P_NUMBER }, \
	{                                        \
		"to", "--to", P_NUMBER               \
	}
#define CABINET                                                                                                 \
	{ "kind", "--kind", P_WORD }, { "limit", "--limit", P_NUMBER }, { "allow", "--allow", P_NUMBER },           \
		{ "food", "--food", P_FLAG }, { "probe_class", "--probe-class", P_WORD },                               \
		{ "reference", "--reference", P_NUMBER }, { "ice", "--ice", P_NUMBER }, { "room", "--room", P_NUMBER }, \
		{ "unit", "--unit", P_WORD },                                                                           \
	{                                                                                                           \
		"column", "--column", P_TEXT                                                                            \
	}
#define NAME                 \
	{                        \
		"name", NULL, P_TEXT \
	}

static const struct parameter sets[] = { { "set", "--set", P_NUMBER }, NAME, END };
static const struct parameter name[] = { NAME, END };
static const struct parameter nothing[] = { END };
static const struct parameter captures[] = { CAPTURE, { "traffic", "--traffic", P_FLAG }, NAME, END };
static const struct parameter windows[] = { WINDOW, NAME, END };
static const struct parameter cabinets[] = { CABINET, { "marks", "--marks", P_PIECE }, END };
static const struct parameter sent_cabinets[] = { CABINET, NAME, END };
static const struct parameter radios[] = { { "least", "--least", P_NUMBER },
	                                       { "lead", "--lead", P_REPEAT },
	                                       { "frequency", "--frequency", P_NUMBER },
	                                       NAME,
	                                       END };
static const struct parameter chains[] = {
	{ "volts", "--volts", P_NUMBER }, { "rating", "--rating", P_NUMBER }, NAME, END
};
static const struct parameter pairs[] = { { "before", NULL, P_PIECE }, { "after", NULL, P_PIECE }, END };
static const struct parameter proofs[] = { { "before", NULL, P_PIECE },
	                                       { "after", NULL, P_PIECE },
	                                       { "sales", "--sales", P_PIECE },
	                                       { "bus", "--bus", P_PIECE },
	                                       CHANNELS,
	                                       { "counted", "--counted", P_NUMBER },
	                                       END };
static const struct parameter doors[] = { { "marks", NULL, P_PIECE },
	                                      { "events", NULL, P_PIECE },
	                                      { "within", "--within", P_NUMBER },
	                                      { "late", "--late", P_NUMBER },
	                                      { "same_clock", "--same-clock", P_FLAG },
	                                      END };
static const struct parameter numbers[] = { { "kind", NULL, P_WORD }, { "value", NULL, P_TEXT }, END };

#define PIECE(what)   "/api/visits/{visit}/evidence/{n}/" what
#define LOOK(what)    "/api/look/" what
#define DOCUMENT      BODY_NONE, ANSWER_DOCUMENT
#define LINES         BODY_NONE, ANSWER_LINES
#define FILE_OF(n, t) .out = (n), .type = (t)
#define SVG(n)        FILE_OF(n, "image/svg+xml")

const struct route routes_looks[] = {
	{ "GET", PIECE("explain"), DOCUMENT, { "explain", "?", "--", "{n}" }, sets, .cached = true },
	{ "GET", PIECE("check"), LINES, { "check", "?", "--", "{n}" }, nothing, .cached = true },
	{ "GET", PIECE("bus"), DOCUMENT, { "bus", "?", "--", "{n}" }, captures, .cached = true },
	{ "GET", PIECE("words"), LINES, { "bus", "--words", "?", "--", "{n}" }, windows, .cached = true },
	{ "GET", PIECE("blocks"), LINES, { "bus", "--blocks", "?", "--", "{n}" }, windows, .cached = true },
	{ "GET",
	  PIECE("bus.svg"),
	  BODY_NONE,
	  ANSWER_FILE,
	  { "bus", "--svg=drawing.svg", "?", "--", "{n}" },
	  windows,
	  SVG("drawing.svg"),
	  .cached = true },
	{ "GET", PIECE("cold"), DOCUMENT, { "cold", "?", "--", "{n}" }, cabinets, .cached = true },
	{ "GET",
	  PIECE("cold.svg"),
	  BODY_NONE,
	  ANSWER_FILE,
	  { "cold", "--svg=drawing.svg", "?", "--", "{n}" },
	  cabinets,
	  SVG("drawing.svg"),
	  .cached = true },
	{ "GET", PIECE("signal"), DOCUMENT, { "signal", "?", "--log", "{n}" }, radios, .cached = true },
	{ "GET", PIECE("supply"), DOCUMENT, { "supply", "?", "--", "{n}" }, chains, .cached = true },
	{ "GET",
	  "/api/visits/{visit}/compare",
	  DOCUMENT,
	  { "compare", "?", "--", "{before}", "{after}" },
	  pairs,
	  .cached = true },
	{ "GET",
	  "/api/visits/{visit}/prove",
	  DOCUMENT,
	  { "prove", "?", "--", "{before}", "{after}" },
	  proofs,
	  .cached = true },
	{ "GET",
	  "/api/visits/{visit}/door",
	  DOCUMENT,
	  { "door", "?", "--", "{marks}", "{events}" },
	  doors,
	  .cached = true },

	{ "POST", LOOK("explain"), BODY_BYTES, ANSWER_DOCUMENT, { "explain", "?", "--", "{body}" }, sets },
	{ "POST", LOOK("check"), BODY_BYTES, ANSWER_LINES, { "check", "?", "--", "{body}" }, name },
	{ "POST", LOOK("bus"), BODY_BYTES, ANSWER_DOCUMENT, { "bus", "?", "--", "{body}" }, captures },
	{ "POST", LOOK("words"), BODY_BYTES, ANSWER_LINES, { "bus", "--words", "?", "--", "{body}" }, windows },
	{ "POST", LOOK("blocks"), BODY_BYTES, ANSWER_LINES, { "bus", "--blocks", "?", "--", "{body}" }, windows },
	{ "POST",
	  LOOK("bus.svg"),
	  BODY_BYTES,
	  ANSWER_FILE,
	  { "bus", "--svg=drawing.svg", "?", "--", "{body}" },
	  windows,
	  SVG("drawing.svg") },
	{ "POST", LOOK("cold"), BODY_BYTES, ANSWER_DOCUMENT, { "cold", "?", "--", "{body}" }, sent_cabinets },
	{ "POST",
	  LOOK("cold.svg"),
	  BODY_BYTES,
	  ANSWER_FILE,
	  { "cold", "--svg=drawing.svg", "?", "--", "{body}" },
	  sent_cabinets,
	  SVG("drawing.svg") },
	{ "POST", LOOK("signal"), BODY_BYTES, ANSWER_DOCUMENT, { "signal", "?", "--log", "{body}" }, radios },
	{ "POST", LOOK("supply"), BODY_BYTES, ANSWER_DOCUMENT, { "supply", "?", "--", "{body}" }, chains },
	{ "POST", LOOK("verify"), BODY_BYTES, ANSWER_DOCUMENT, { "handover", "verify", "?", "--", "{body}" }, name },

	{ "GET", "/api/number", DOCUMENT, { "number", "?", "--", "{kind}", "{value}" }, numbers },
	{ "GET", "/api/rules", LINES, { "rules" }, nothing },
	{ "GET", "/api/ports", DOCUMENT, { "ports" }, nothing },
	{ "GET",
	  "/api/supply/template",
	  BODY_NONE,
	  ANSWER_TEXT,
	  { "supply", "--template" },
	  nothing,
	  .type = "text/csv; charset=utf-8" },
	{ NULL },
};
