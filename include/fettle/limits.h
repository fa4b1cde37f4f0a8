/* SPDX-License-Identifier: Apache-2.0 */
/* Every limit on what others can feed us, each with its origin. */
#ifndef FETTLE_LIMITS_H
#define FETTLE_LIMITS_H

#define FT_AUDIT_BYTES_MAX    (16U << 20)  /* ours: largest audits seen are 70 kB; more is not an audit */
#define FT_AUDIT_SEGMENTS_MAX 200000U      /* ours: stops a looping sender; becomes an error, never a silent cut */
#define FT_AUDIT_DECIMALS_MAX 4            /* ours: ISO 4217 knows 0 to 4 */
#define FT_CSV_BYTES_MAX      (64U << 20)  /* ours: a year of a logger is 10 MB */
#define FT_CSV_COLUMNS_MAX    256U         /* ours: spreadsheets of people stay far below */
#define FT_FINDINGS_MAX       10000U       /* ours: more findings than a person reads */
#define FT_TEXT_MAX           480U         /* ours: one sentence of an error */
#define FT_EVIDENCE_BYTES_MAX (256U << 20) /* ours: one piece of evidence in the book */

#endif
