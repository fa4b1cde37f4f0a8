/* SPDX-License-Identifier: Apache-2.0 */
/* The office's package: what is in it, who signed it, whether it is whole. Bytes in memory only;
 * files, folders and the clock belong to the caller. docs/handover.md describes the format. */
#ifndef FETTLE_PAPER_H
#define FETTLE_PAPER_H

#include "fettle/arena.h"
#include "fettle/buf.h"
#include "fettle/bus.h"
#include "fettle/error.h"
#include "fettle/finding.h"
#include "fettle/hash.h"
#include "fettle/ledger.h"
#include "fettle/visit.h"

/* ---- cautions (data/cautions.csv) ---- */

struct ft_caution {
	const char *id;    /* "tip-over" */
	const char *title; /* a word or two */
	const char *sentence;
	const char *trust; /* "statute", "from memory", "common practice" */
	const char *source;
};

/* All cautions in the order of the table; the first is the heading that stands above the others. */
size_t ft_cautions(const struct ft_caution **ret);

/* ---- keys: Ed25519 (RFC 8032) through libsodium ---- */

enum { FT_SEED_BYTES = 32, FT_PUBLIC_BYTES = 32, FT_SIGNATURE_BYTES = 64, FT_SIGNER_MAX = 80 };

struct ft_key {
	char name[FT_SIGNER_MAX + 1]; /* whom it belongs to, UTF-8 without control characters */
	uint8_t public_key[FT_PUBLIC_BYTES];
	uint8_t seed[FT_SEED_BYTES]; /* the secret; wiped by ft_key_done */
	bool secret;                 /* seed holds; false for a key of somebody else */
};

/* A key from 32 random bytes of the caller. FT_E_USAGE when the name is empty, too long or no text. */
enum ft_status ft_key_make(const uint8_t seed[FT_SEED_BYTES], struct ft_slice name, struct ft_key *ret,
                           struct ft_error *e);
void ft_key_done(struct ft_key *k); /* wipes it */

/* The file of a key: three lines of text, with "secret:" only where `with_secret`. */
void ft_key_write(const struct ft_key *k, bool with_secret, struct ft_buf *out);

/* Reads a key file, or every key of a file with several (trusted signers). FT_E_INPUT with the line. */
enum ft_status ft_keys_read(struct ft_slice text, const char *what, struct ft_arena *a, struct ft_key **ret,
                            size_t *ret_count, struct ft_error *e);

#define FT_FINGERPRINT_TEXT 20
/* "3f2a 9c1e 07d4 b811": the first 8 bytes of the BLAKE2b-256 of the public key, for reading aloud. */
char *ft_key_fingerprint(const uint8_t public_key[FT_PUBLIC_BYTES], char out[FT_FINGERPRINT_TEXT]);

void ft_sign(const struct ft_key *k, struct ft_slice message, uint8_t ret[FT_SIGNATURE_BYTES]);
bool ft_sign_check(const uint8_t public_key[FT_PUBLIC_BYTES], struct ft_slice message,
                   const uint8_t signature[FT_SIGNATURE_BYTES]);

/* ---- the archive ---- */

enum {
	FT_MEMBERS_MAX = 2000,   /* ours: a visit has some tens of pieces of evidence */
	FT_MEMBER_NAME_MAX = 96, /* "evidence/" + 64 + an ending */
};
#define FT_PACKAGE_BYTES_MAX (512U << 20) /* ours: packed and unpacked, a visit with photographs is some 50 MB */
#define FT_PACKAGE_RATIO_MAX 200U         /* ours: unpacked over packed; above it is a trap, text packs 3 to 20 times */

struct ft_member {
	const char *name;
	struct ft_slice bytes;
};

/* Writes a .zip: the members in this order, every time `unix_us`. The same members give the same bytes. */
enum ft_status ft_zip_write(const struct ft_member *m, size_t count, int64_t unix_us, int offset_minutes,
                            struct ft_buf *out, struct ft_error *e);

/* Reads a .zip from anybody into the arena. FT_E_INPUT, one sentence, for what is no zip, is cut off,
 * too large, packed beyond reason, has a name that ft_member_name_good refuses or a name twice. */
enum ft_status ft_zip_read(struct ft_slice bytes, struct ft_arena *a, struct ft_member **ret, size_t *ret_count,
                           struct ft_error *e);

/* handover.json, handover.pdf, machines.csv, manifest.json, signature.json, evidence/<64 hex>.<ext>. */
bool ft_member_name_good(struct ft_slice name);

/* ---- manifest and signature ---- */

/* The package's own name: BLAKE2b-256 over the lines "hash size name" of handover.json and the evidence.
 * The papers made from those (PDF and the office's line) are left out, so that they can carry it. */
struct ft_hash ft_content_id(const struct ft_member *m, size_t count);

/* Names every member with size and hash, and the signer. */
void ft_manifest_write(const struct ft_member *m, size_t count, const struct ft_key *signer, struct ft_buf *out);
void ft_signature_write(const struct ft_key *signer, struct ft_slice manifest, struct ft_buf *out);

/* What a package says of itself, once its seals have been tried. */
struct ft_opened {
	struct ft_member *members;
	size_t member_count;
	char content[FT_HASH_TEXT]; /* recomputed */
	char signed_by[FT_SIGNER_MAX + 1];
	uint8_t public_key[FT_PUBLIC_BYTES];
	bool sealed; /* every hash, the list of members and the signature hold */
	bool known;  /* the signer is among the trusted */
};

/* Opens a package and tries its seals. What is wrong with an honest-looking package is a finding
 * (handover.*); what is no package at all is FT_E_INPUT. Findings live in findings->arena. `only`:
 * nothing but these keys may have signed (a fault otherwise); else an unknown signer is a doubt. */
enum ft_status ft_package_open(struct ft_slice zip, const struct ft_key *trusted, size_t trusted_count, bool only,
                               struct ft_arena *a, struct ft_findings *findings, struct ft_opened *ret,
                               struct ft_error *e);

/* The member of this name, or an empty slice with p == NULL. */
struct ft_slice ft_package_member(const struct ft_opened *p, const char *name);

/* ---- the office's line ---- */

struct ft_column {
	const char *column, *from, *format;
};

/* A mapping file (column,from,format). FT_E_INPUT names the line. Default: data/handover-columns.csv. */
enum ft_status ft_mapping_read(struct ft_slice csv, struct ft_arena *a, struct ft_column **ret, size_t *ret_count,
                               struct ft_error *e);
size_t ft_mapping_default(const struct ft_column **ret);

/* ---- what a handover says ---- */

/* One audit of the visit as the papers show it. */
struct ft_audit_shown {
	bool there;                         /* read, and the rest holds */
	const struct ft_evidence *evidence; /* NULL: the visit has none */
	struct ft_audit audit;
	struct ft_facts *facts;
	struct ft_summary summary;
};

/* A selection in the settings grid; NULL where that audit does not have it. */
struct ft_grid_row {
	const struct ft_selection *before, *after;
	bool name_changed, price_changed;
};

struct ft_handover {
	const struct ft_visit *visit;
	struct ft_judgement judgement;
	struct ft_audit_shown before, after;
	struct ft_grid_row *grid; /* natural order of selections */
	size_t grid_count;
	bool compared; /* comparison holds */
	struct ft_comparison comparison;
	struct ft_sale *sales; /* all lists of the visit together, in order */
	size_t sale_count;
	bool proved;            /* proof holds */
	bool proved_anew;       /* it begins at an audit read after mending; see ft_judgement.proved_from */
	const char *proof_from; /* name of the audit it begins at */
	struct ft_proof proof;
	int64_t at_us; /* the time of the package: when the visit was closed, else last changed */
	int at_offset;
};

/* Judges and reads a visit whose evidence has its bytes. Pure: the same visit gives the same handover.
 * Fails without memory only. */
enum ft_status ft_handover_prepare(const struct ft_visit *v, struct ft_arena *a, struct ft_handover *ret,
                                   struct ft_error *e);

/* The package's name for a piece of evidence: "evidence/<hash>.<ending>"; NULL without memory. */
const char *ft_evidence_member(const struct ft_evidence *ev, struct ft_arena *a);

/* handover.json. `program` is "fettle 0.1.0" and the like. */
void ft_handover_json(const struct ft_handover *h, const char *program, struct ft_arena *a, struct ft_buf *out);

/* Reads the record (identity, evidence, statements, waivers) back out of a handover.json, taking the bytes
 * of the evidence from the package. FT_E_INPUT with one sentence. */
enum ft_status ft_record_read(const struct ft_opened *p, struct ft_arena *a, struct ft_visit *ret,
                              const char **ret_program, struct ft_error *e);

/* Reads the record, judges it anew and compares handover.json byte for byte (handover.verdict,
 * handover.other-version). `h` and `v` are filled from the record. */
enum ft_status ft_handover_check(const struct ft_opened *p, const char *program, struct ft_arena *a,
                                 struct ft_findings *findings, struct ft_visit *v, struct ft_handover *h,
                                 struct ft_error *e);

/* What stands in the margin of every sheet. */
struct ft_seal_text {
	const char *program;
	const char *content; /* 64 hex digits */
	const char *signed_by;
	const char *fingerprint;
};

enum ft_sheet { FT_SHEET_A4, FT_SHEET_LETTER };

/* machines.csv: the heading and one line. */
void ft_handover_line(const struct ft_handover *h, const struct ft_seal_text *seal, const struct ft_column *columns,
                      size_t count, struct ft_buf *out);

/* handover.pdf. `ret_pages` may be NULL. */
enum ft_status ft_handover_pdf(const struct ft_handover *h, const struct ft_seal_text *seal, enum ft_sheet sheet,
                               struct ft_arena *a, struct ft_buf *out, int *ret_pages, struct ft_error *e);

/* ---- the bus as a drawing ---- */

enum ft_bus_figure_kind {
	FT_BUS_FIGURE_EXCHANGE,
	FT_BUS_FIGURE_RESET, /* a break of the controller */
	FT_BUS_FIGURE_STRAY, /* words that belong to nothing */
	FT_BUS_FIGURE_IDLE,  /* many rounds of polling with nothing to report, as one band */
};

/* One thing as it is drawn. Texts NULL: none; they live as long as the picture. */
struct ft_bus_figure {
	enum ft_bus_figure_kind kind;
	int64_t start_ns, end_ns;
	struct ft_bus_exchange exchange; /* of an exchange */
	struct ft_bus_block block;       /* of a stray */
	enum ft_bus_line line;           /* of a stray */
	const char *who;                 /* "coin changer" */
	const char *asked, *told;        /* what the controller wants, what came back, in words */
	uint64_t exchanges, rounds;      /* of an idle band */
	uint64_t odd;                    /* of its exchanges: late, damaged or unanswered */
};

/* What was found, drawn at its time where it has one, with its mark and word. */
struct ft_bus_pin {
	int64_t at_ns; /* -1: of the whole capture */
	enum ft_weight weight;
	const char *word;     /* "late answer" */
	const char *sentence; /* for the list at the foot */
};

/* A part of the time that is drawn; between two of them is a cut. In order of time, apart from each other. */
struct ft_bus_stretch {
	int64_t from_ns, to_ns;
	const char *title; /* "Power-up" */
};

struct ft_bus_picture {
	const char *title, *about;           /* a name and a line under it */
	const struct ft_bus_figure *figures; /* in order of time */
	size_t figure_count;
	const struct ft_bus_stretch *stretches;
	size_t stretch_count;
	const struct ft_bus_pin *pins; /* in the order of diagnosis */
	size_t pin_count;
	size_t left_out; /* further exchanges inside the stretches that are not among the figures; said at the foot */
	/* The bits of every byte are drawn where the words are given: for a window of a few blocks. In order of time. */
	const struct ft_bus_word *words;
	size_t word_count;
};

enum { FT_BUS_FIGURES_MAX = 3000 }; /* ours: some ten metres of paper; nobody reads more */

/* An SVG of the picture. Text is text: it can be searched, and every block tells more when pointed at. The same
 * picture gives the same bytes. Fails without memory only. */
enum ft_status ft_bus_svg(const struct ft_bus_picture *p, struct ft_arena *a, struct ft_buf *out, struct ft_error *e);

struct ft_pack_options {
	const struct ft_key *signer;     /* with its secret */
	const struct ft_column *columns; /* NULL: the default */
	size_t column_count;
	enum ft_sheet sheet;
	const char *program;
};

/* The whole package as one .zip, opened and checked again before it is given out. `ret_content` has
 * FT_HASH_TEXT bytes. */
enum ft_status ft_handover_pack(const struct ft_handover *h, const struct ft_pack_options *o, struct ft_arena *a,
                                struct ft_buf *out, char *ret_content, struct ft_error *e);

#endif
