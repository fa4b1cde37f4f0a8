/* SPDX-License-Identifier: Apache-2.0 */
/* Facts, ways to ask for them, and the chances of what nobody knows. */
#include "fettle/csv.h"
#include "fettle/stamp.h"

#include "survey_room.h"

enum {
	ASK_CALL = FT_WAY_CALL,
	ASK_PHOTOGRAPH = FT_WAY_PHOTOGRAPH,
	ASK_VISIT = FT_WAY_VISIT,
	ASK_DESK = FT_WAY_DESK,
};

static const struct {
	const char *word, *title, *ask;
	int way;
} facts[] = {
#define ROW(ident, fact, way, title, ask, source) { fact, title, ask, ASK_##way },
#include "survey-facts.inc"
#undef ROW
};

static const struct {
	const char *word, *what;
	double chance, weight;
} priors[] = {
#define ROW(ident, prior, chance, weight, what, ...) { prior, what, (chance) / 1000.0, weight },
#include "survey-priors.inc"
#undef ROW
};

const char *ft_fit_word(enum ft_fit f)
{
	static const char *const words[] = { "ready", "with-parts", "with-update", "look-first", "cannot" };

	return (unsigned)f < FT_FIT_COUNT ? words[f] : NULL;
}

const char *ft_fact_word(enum ft_fact f)
{
	return facts[f].word;
}

const char *ft_fact_title(enum ft_fact f)
{
	return facts[f].title;
}

const char *ft_fact_ask(enum ft_fact f)
{
	return facts[f].ask;
}

enum ft_ask_way ft_fact_way(enum ft_fact f)
{
	return (enum ft_ask_way)facts[f].way;
}

const char *ft_ask_way_word(enum ft_ask_way w)
{
	static const char *const words[] = { "call", "photograph", "visit", "desk" };

	return words[w];
}

void ft_survey_priors(struct ft_survey_priors *ret)
{
	for (int i = 0; i < FT_PRIOR_COUNT; i++) {
		ret->chance[i] = priors[i].chance;
		ret->weight[i] = priors[i].weight;
	}
	ret->learn = true;
}

static int prior_named(struct ft_slice word)
{
	for (int i = 0; i < FT_PRIOR_COUNT; i++)
		if (ft_slice_eq_nocase(word, ft_slice_of(priors[i].word)))
			return i;
	return -1;
}

enum ft_status ft_survey_priors_read(struct ft_slice bytes, const char *what, struct ft_arena *a,
                                     struct ft_survey_priors *p, struct ft_error *e)
{
	struct ft_csv t = { 0 };
	enum ft_status s = ft_csv_read(bytes, what, a, &t, e);
	int name, chance, weight;

	if (s != FT_OK)
		return s;
	name = ft_csv_column(&t, "prior");
	chance = ft_csv_column(&t, "per_mille");
	weight = ft_csv_column(&t, "weight");
	if (name < 0 || chance < 0)
		return ft_fail(e, FT_E_INPUT,
		               "%s needs the columns prior and per_mille; fettle survey --template priors prints it.", what);
	for (size_t i = 0; i < t.count; i++) {
		struct ft_slice word = ft_csv_field(&t.rows[i], name), w = ft_csv_field(&t.rows[i], weight);
		int id = prior_named(word);
		double v, held;
		if (id < 0)
			return ft_fail(e, FT_E_INPUT, "%s, line %u: \"%.*s\" is no prior that is known here.", what, t.rows[i].line,
			               (int)(word.n < 40 ? word.n : 40), word.p ? word.p : "");
		if (!ft_figure(ft_csv_field(&t.rows[i], chance), &v) || !(v >= 0 && v <= 1000))
			return ft_fail(e, FT_E_INPUT, "%s, line %u: the chance of %s is a figure from 0 to 1000.", what,
			               t.rows[i].line, priors[id].word);
		held = p->weight[id];
		if (w.n && (!ft_figure(w, &held) || !(held >= 0 && held <= 1e6)))
			return ft_fail(e, FT_E_INPUT, "%s, line %u: the weight of %s is a number of rows.", what, t.rows[i].line,
			               priors[id].word);
		p->chance[id] = v / 1000;
		p->weight[id] = held;
	}
	return FT_OK;
}

void ft_survey_priors_write(const struct ft_survey_priors *p, struct ft_buf *out)
{
	ft_buf_puts(out,
	            "prior,per_mille,weight,what\n"
	            "# per_mille: chance in 1000 of what nobody knows. weight, of the first six rows alone: as how many\n"
	            "# machines of the same family it counts beside those that the survey knows\n");
	for (int i = 0; i < FT_PRIOR_COUNT; i++) { /* seventeen places bring the same number back */
		ft_buf_printf(out, "%s,%.17g,%.17g,", priors[i].word, p->chance[i] * 1000, p->weight[i]);
		ft_csv_put(out, ft_slice_of(priors[i].what));
		ft_buf_byte(out, '\n');
	}
}
