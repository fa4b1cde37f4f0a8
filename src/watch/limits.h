/* SPDX-License-Identifier: Apache-2.0 */
/* Every threshold of the watch. All are our own choice, made on fleets of practice machines so that no more than one
 * exception in two hundred machine-weeks is false (docs/watch.md); none is from a standard. */
#ifndef FETTLE_WATCH_LIMITS_H
#define FETTLE_WATCH_LIMITS_H

#define WATCH_MISSING_PERIODS 2.6 /* silence of more than this many of its own periods: two reads are missing */
#define WATCH_PERIOD_READS    5   /* reads before a rhythm is spoken of */
#define WATCH_LATE_US         (12 * INT64_C(3600000000)) /* a clock this far behind its neighbours: a late copy */
#define WATCH_LATE_MOST       (7 * FT_DAY) /* a copy of more than a week before the first audit is no late one */
#define WATCH_CLOCK_US        (15 * INT64_C(60000000)) /* a clock off by more, three reads in a row */
#define WATCH_CLOCK_READS     3
#define WATCH_STOP_CHANCE     1e-4          /* of a selection's silence by chance, times the selections watched */
#define WATCH_OUT_CHANCE      0.05          /* the same where the machine says that it is sold out */
#define WATCH_WEEKS_US        (21 * FT_DAY) /* before that a silence must outlast any weekend: */
#define WATCH_WEEKEND_US      (4 * FT_DAY)
#define WATCH_MACHINE_CHANCE  1e-6 /* of a whole machine's silence */
#define WATCH_NEVER_CHANCE    1e-3 /* of no sale at all since the fit, times the selections */
#define WATCH_NEVER_SHAPE     4.0  /* selections differ by half of what they sell on average, whatever few days show */
#define WATCH_NEVER_WORSE     3.0  /* after a fit a selection may sell so many times less than before it */
#define WATCH_FORGET_DAYS     56.0 /* how far back a rate is remembered */
#define WATCH_PRIOR_HOURS     84.0 /* half a week of an even rhythm are mixed into the hours of the week */
#define WATCH_CUTS_LEAST      3    /* power cuts in a week worth a word */
#define WATCH_CUTS_CHANCE     1e-4
#define WATCH_CUTS_PRIOR      0.15 /* power cuts a week that any place has */
#define WATCH_SHORT_SHARE     0.05 /* of a collection */
#define WATCH_SHORT_LEAST     500  /* minor units of a currency of two places */
#define WATCH_SHORT_SIGMA     5.0
#define WATCH_USUAL           2.0 /* spreads that a variance may be off and still be called usual */
#define WATCH_CUSUM_K         0.5 /* NIST/SEMATECH 6.3.2.3: half a standard deviation */
#define WATCH_CUSUM_H         6.0
#define WATCH_SIGMA_LEAST     0.003 /* nobody counts better than to three in a thousand */
#define WATCH_COUNT_DAYS      4     /* a collection not counted after so many days is asked for */
#define WATCH_TUBES_LEAST     200
#define WATCH_SETTLE_SHARE    0.10
#define WATCH_SETTLE_LEAST    1000
#define WATCH_POINT_DAYS      14 /* what happened once is listed for so long */

#endif
