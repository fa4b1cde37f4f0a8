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
	double quality;   /* RSRQ, Ec/Io or SS-RSRQ in dB, the lower edge; NAN none */
	int position;     /* into the list of positions */
	unsigned line;
};

/* Interval of an index; false when it means unknown or does not exist. RSRP takes the extended indices from -17 on. */
bool ft_signal_level(enum ft_signal_metric m, int index, double *ret_low, double *ret_high);
/* Lower edges in dB: -INFINITY below the first, NAN unknown. RSRQ takes the extended -30 to 46. */
double ft_signal_rsrq_low(int index);
double ft_signal_ecno_low(int index);
double ft_signal_nr_rsrq_low(int index);
double ft_signal_nr_sinr_low(int index);
/* RXQUAL: share of wrong bits, in percent; false when unknown. */
bool ft_signal_ber(int index, double *ret_low, double *ret_high);

/* What one line of a modem says. */
enum ft_signal_said {
	FT_SIGNAL_OTHER,        /* anything else */
	FT_SIGNAL_SAYS_LEVEL,   /* a reading */
	FT_SIGNAL_SAYS_UNKNOWN, /* a reading that is not known */
	FT_SIGNAL_SAYS_WRONG,   /* +CSQ or +CESQ as no modem answers it */
	FT_SIGNAL_SAYS_NET,     /* a state of registration */
	FT_SIGNAL_SAYS_SIM,     /* +CPIN */
};

struct ft_signal_line {
	struct ft_signal_sample sample; /* a level: all but position and line */
	int number;   /* registration: <stat>; wrong: the index, or how many values; SIM: 1 ready, else 0 */
	int net;      /* registration: 0 +CREG, 1 +CGREG, 2 +CEREG */
	bool counted; /* wrong: `number` counts the values of +CESQ */
};

/* Of +CESQ the newest kind of net that is measured: NR, else LTE, else UMTS, else GSM. */
enum ft_signal_said ft_signal_line(struct ft_slice line, struct ft_signal_line *ret);

/* "searching", of a <stat>; NULL when no standard knows it. `*ret_usable`: it carries data. */
const char *ft_signal_net_word(int stat, bool *ret_usable);

enum { FT_SIGNAL_POSITIONS_MAX = 16, FT_SIGNAL_NAME = 32 };

struct ft_signal_log {
	struct ft_signal_sample *samples;
	size_t count, unknown; /* readings that said "not known" */
	char positions[FT_SIGNAL_POSITIONS_MAX][FT_SIGNAL_NAME];
	int position_count;
	int registration; /* <stat>: of +CREG, +CGREG and +CEREG the one that carries data, else the last; -1 none */
	bool registered;  /* the last state of one of them is home or roaming */
	bool lte;         /* +CEREG's is */
	int sim;          /* 1 ready, 0 not; -1 nobody asked */
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
	double quality;                   /* median in dB; NAN none */
	size_t others; /* readings of another metric than most, left aside; not an RSSI beside its RSRP */
};

struct ft_signal_result {
	struct ft_signal_place places[FT_SIGNAL_POSITIONS_MAX];
	int best;   /* position with the highest mean, of those that measured the same as the judged; -1 none */
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

/* ---- what was not measured ---- */

/* RSRQ in dB of `blocks` resource blocks, and the RSRP of an RSSI when all carriers are alike (3GPP TS 36.214, from
 * memory). */
double ft_signal_rsrq(int blocks, double rsrp_dbm, double rssi_dbm);
double ft_signal_rsrp_of(double rssi_dbm, int blocks);

enum ft_signal_building { FT_SIGNAL_TRADITIONAL, FT_SIGNAL_INSULATED, FT_SIGNAL_BUILDINGS };

/* Median loss of the way into a building, dB; ITU-R P.2109, coefficients from memory. */
double ft_signal_building_loss(enum ft_signal_building b, double mhz);
/* Loss of a metal skin with one opening of this length, dB: 20 log (lambda / 2 L), none from half a wave on. */
double ft_signal_opening_loss(double mhz, double metres);

/* Finding signal.outside-only, where the place judged lies outside and none inside was measured. `opening_m` NAN: not
 * known, then by what fronts of glass and metal may take. */
void ft_signal_walls_judge(const struct ft_signal_log *log, const struct ft_signal_result *r, double mhz,
                           double opening_m, const char *name, struct ft_arena *a, struct ft_findings *f);

/* What becomes of a lead of the kit. */
enum ft_signal_fit {
	FT_SIGNAL_FITS,
	FT_SIGNAL_TOO_SHORT,
	FT_SIGNAL_TOO_MUCH_LOSS,
	FT_SIGNAL_UNMEASURED, /* long enough, but there is no margin to hold it against */
};

struct ft_signal_lead {
	const char *name;
	struct ft_signal_cable cable;
	double metres;
	int connectors;
	unsigned line; /* of the kit; 0 typed in */
	/* by ft_signal_leads_judge */
	double loss, loss_most;       /* dB; with the most that tables of its cable differ by */
	double margin, margin_least;  /* dB that either leaves; NAN unmeasured */
	double surplus, surplus_loss; /* m beyond the way, and dB in it; NAN without a way */
	enum ft_signal_fit fit;
	bool recommended;
	const char *why; /* a sentence, in the arena */
};

#define FT_SIGNAL_LEADS_MAX 200 /* ours: leads of one kit */

/* "CLASS:METRES[:CONNECTORS]", or "MHZ=DB,MHZ=DB:METRES" with two points of a data sheet in dB per 100 m. False when it
 * is neither. `text` is kept as its name. */
bool ft_signal_lead_of(const char *text, struct ft_signal_lead *ret);

/* A table with the columns name, length_m, and cable (a class) or f1_mhz, a1_db_100m, f2_mhz, a2_db_100m; perhaps
 * connectors, two where it is empty. FT_E_INPUT with the line. */
enum ft_status ft_signal_kit_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                  struct ft_signal_lead **ret, size_t *ret_count, struct ft_error *e);

struct ft_signal_way {
	double mhz;
	double margin; /* of the antenna's place, dB; NAN unmeasured */
	double metres; /* from the unit to it; NAN not asked */
	double ask;    /* margin that must be left, dB; NAN the default */
};

/* Judges each lead and recommends the shortest that reaches and leaves what is asked: its index, or -1. Findings
 * signal.no-lead and signal.lead-surplus where a way was named. */
int ft_signal_leads_judge(struct ft_signal_lead *leads, size_t n, const struct ft_signal_way *way, const char *name,
                          struct ft_arena *a, struct ft_findings *f);

#endif
