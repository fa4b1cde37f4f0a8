/* SPDX-License-Identifier: Apache-2.0 */
/* One line of a modem. */
#include <math.h>

#include "fettle/signal.h"

#define NO_NUMBER (-1000) /* ours: quoted, empty, or beyond anything a modem reports */

/* Whole numbers behind the colon. */
static int numbers(struct ft_slice s, int *ret, int most)
{
	struct ft_slice part;
	int n = 0;

	while (n < most && ft_slice_split(&s, ',', &part)) {
		int64_t v;
		ret[n++] = ft_slice_i64(ft_slice_trim(part), &v) && v > NO_NUMBER && v < 1000 ? (int)v : NO_NUMBER;
	}
	return n;
}

static enum ft_signal_said index_of(struct ft_signal_line *ret, enum ft_signal_metric m, int index, int unknown,
                                    double quality)
{
	ret->sample = (struct ft_signal_sample){ .metric = m, .index = index, .quality = quality };
	ret->number = index;
	if (index == unknown)
		return FT_SIGNAL_SAYS_UNKNOWN;
	return ft_signal_level(m, index, &ret->sample.low, &ret->sample.high) ? FT_SIGNAL_SAYS_LEVEL : FT_SIGNAL_SAYS_WRONG;
}

static enum ft_signal_said cesq(struct ft_slice values, struct ft_signal_line *ret)
{
	int v[10] = { 99, 99, 255, 255, 255, 255, 255, 255, 255 };
	int n = numbers(values, v, 10);

	if (n != 6 && n != 9) {
		ret->counted = true;
		ret->number = n;
		return FT_SIGNAL_SAYS_WRONG;
	}
	if (n == 9 && v[7] != 255)
		return index_of(ret, FT_SIGNAL_NR, v[7], 255, ft_signal_nr_rsrq_low(v[6]));
	if (v[5] != 255)
		return index_of(ret, FT_SIGNAL_RSRP, v[5], 255, ft_signal_rsrq_low(v[4]));
	if (v[2] != 255)
		return index_of(ret, FT_SIGNAL_RSCP, v[2], 255, ft_signal_ecno_low(v[3]));
	return index_of(ret, FT_SIGNAL_RXLEV, v[0], 99, NAN);
}

static enum ft_signal_said csq(struct ft_slice values, struct ft_signal_line *ret)
{
	int v[2] = { NO_NUMBER, NO_NUMBER };

	numbers(values, v, 2);
	if (v[0] >= 100 && v[0] <= 191) { /* TD-SCDMA of some makers: 100 is -116 or less, 191 is -25 or more */
		ret->sample = (struct ft_signal_sample){ .metric = FT_SIGNAL_DBM,
			                                     .index = v[0],
			                                     .low = v[0] == 100 ? -INFINITY : -117.0 + v[0] - 100,
			                                     .high = v[0] == 191 ? INFINITY : -116.0 + v[0] - 100,
			                                     .quality = NAN };
		return FT_SIGNAL_SAYS_LEVEL;
	}
	return index_of(ret, FT_SIGNAL_RSSI, v[0], 99, NAN);
}

/* Read form "<n>,<stat>[,...]", unsolicited form "<stat>[,...]": two leading whole numbers, or one. <n> goes to 5. */
static enum ft_signal_said registration(struct ft_slice values, int net, struct ft_signal_line *ret)
{
	int v[3] = { NO_NUMBER, NO_NUMBER, NO_NUMBER };
	int n = numbers(values, v, 3);

	ret->net = net;
	ret->number = n >= 2 && v[0] >= 0 && v[0] <= 5 && v[1] >= 0 && v[1] < 100 ? v[1] : v[0];
	return ret->number >= 0 ? FT_SIGNAL_SAYS_NET : FT_SIGNAL_OTHER;
}

static bool begins(struct ft_slice *line, const char *word)
{
	struct ft_slice head = { line->p, strlen(word) };

	if (line->n < head.n || !ft_slice_eq_nocase(head, ft_slice_of(word)))
		return false;
	line->p += head.n;
	line->n -= head.n;
	return true;
}

enum ft_signal_said ft_signal_line(struct ft_slice line, struct ft_signal_line *ret)
{
	static const char *const nets[] = { "+CREG:", "+CGREG:", "+CEREG:" };
	size_t at = 0;

	*ret = (struct ft_signal_line){ .number = -1 };
	while (at < line.n && line.p[at] != '+') /* a log may begin its lines with a time or an arrow */
		at++;
	line = (struct ft_slice){ line.p + at, line.n - at };
	if (begins(&line, "+CSQ:"))
		return csq(line, ret);
	if (begins(&line, "+CESQ:"))
		return cesq(line, ret);
	for (int i = 0; i < 3; i++)
		if (begins(&line, nets[i]))
			return registration(line, i, ret);
	if (begins(&line, "+CPIN:")) {
		ret->number = ft_slice_eq_nocase(ft_slice_trim(line), FT_SLICE("READY"));
		return FT_SIGNAL_SAYS_SIM;
	}
	return FT_SIGNAL_OTHER;
}
