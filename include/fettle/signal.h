/* SPDX-License-Identifier: Apache-2.0 */
/* Is the radio path good enough, and with which lead? Answers of a modem with a standard command set, or a table, in;
 * what the level is, how sure it stays above what the unit needs, and what a lead costs, out.
 *
 * Sources: 3GPP TS 27.007 (+CSQ, +CESQ, +CREG and kin), TS 36.133 and 45.008 (index to level); the section numbers are
 * from memory. Cable attenuation k1 sqrt f + k2 f by data/cable.csv. Words such as good are common practice, no
 * standard. */
#ifndef FETTLE_SIGNAL_H
#define FETTLE_SIGNAL_H

#include "fettle/finding.h"

enum ft_signal_metric {
	FT_SIGNAL_RSSI,
	FT_SIGNAL_RXLEV,
	FT_SIGNAL_RSCP,
	FT_SIGNAL_RSRP,
	FT_SIGNAL_NR,
	FT_SIGNAL_DBM,
	FT_SIGNAL_METRICS
};

const char *ft_signal_metric_word(enum ft_signal_metric m); /* "RSSI" ... */

/* One reading: a raw index and the interval of levels it stands for, low <= level < high. */
struct ft_signal_sample {
	enum ft_signal_metric metric;
	int index;        /* as reported; -1: a level was given and no index */
	double low, high; /* dBm; an open end is -INFINITY or INFINITY */
	double quality;   /* RSRQ or Ec/Io in dB, the lower edge; NAN none */
	int position;     /* into the list of positions */
	unsigned line;
};

/* Interval of an index; false when it means unknown or does not exist. */
bool ft_signal_level(enum ft_signal_metric m, int index, double *ret_low, double *ret_high);
double ft_signal_rsrq_low(int index); /* dB; NAN unknown */

enum { FT_SIGNAL_POSITIONS_MAX = 16, FT_SIGNAL_NAME = 32 };

struct ft_signal_log {
	struct ft_signal_sample *samples;
	size_t count, unknown; /* readings that said "not known" */
	char positions[FT_SIGNAL_POSITIONS_MAX][FT_SIGNAL_NAME];
	int position_count;
	int registration; /* last <stat> of +CREG, +CGREG or +CEREG; -1 none */
	bool registered;  /* home or roaming */
};

/* Modem answers line by line ("+CSQ: 15,99", "+CESQ: 99,99,255,255,20,45", "+CEREG: 2,1,..."), a line "position NAME"
 * before those taken there; or a table with the columns rsrp, rssi or dbm and perhaps position. FT_E_INPUT with
 * the line. */
enum ft_status ft_signal_read(struct ft_slice bytes, const char *what, struct ft_arena *a, struct ft_signal_log *ret,
                              struct ft_error *e);

struct ft_signal_place {
	size_t count;
	enum ft_signal_metric metric;
	double median, p10, mean, spread; /* dBm, dB; of the middles of the intervals */
	double margin;                    /* mean less what the unit needs */
	double share_above;               /* of the time, 0 to 1 */
};

struct ft_signal_result {
	struct ft_signal_place places[FT_SIGNAL_POSITIONS_MAX];
	int best;   /* position with the highest mean; -1 none */
	int judged; /* the one the verdict is about: "closed" or "inside" where there is one, else the best */
	double least_dbm;
	enum ft_verdict verdict;
};

/* `least_dbm` NAN: by the metric's default. Findings signal.* go into `f`. */
enum ft_status ft_signal_judge(const struct ft_signal_log *log, const char *name, double least_dbm, struct ft_arena *a,
                               struct ft_findings *f, struct ft_signal_result *ret, struct ft_error *e);

/* Share of the time that a level with this mean margin stays above: known spread (n 0), or estimated from n
 * readings. */
double ft_signal_share(double margin_db, double spread_db, size_t n);

/* ---- leads ---- */

struct ft_signal_cable {
	const char *name;
	double k1, k2; /* dB/100 m = k1 sqrt(f MHz) + k2 f MHz */
	double spread; /* 0.15: what tables differ by */
};

const struct ft_signal_cable *ft_signal_cables(size_t *ret_count);
/* From two points of a data sheet: dB/100 m at two frequencies in MHz. False when they make no cable. */
bool ft_signal_fit(double f1, double a1, double f2, double a2, struct ft_signal_cable *ret);
double ft_signal_loss(const struct ft_signal_cable *c, double mhz, double metres, int connectors); /* dB */
double ft_signal_free_space(double mhz, double km); /* dB, ITU-R P.525 with its rounded constant */

#endif
