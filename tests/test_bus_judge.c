/* SPDX-License-Identifier: Apache-2.0 */
/* Every rule of the bus against a capture that must trigger it and one close to it that must not
 * (tests/bus/rules, made by tests/bus/make_rules.py, whose comments say what else is to be expected). */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>

#include "unit.h"

#include "fettle/bus.h"

static const char *folder; /* tests/ of the source tree */

enum { NAMES_MAX = 400, WISHES_MAX = 8 };

struct wish {
	struct ft_slice rule, cause; /* cause.n 0: on its own, or anyhow for `allow` */
};

struct capture {
	char *text;
	size_t n;
	struct wish expects[WISHES_MAX], allows[WISHES_MAX];
	size_t expect_count, allow_count;
	bool timing_unknown;
};

struct outcome {
	struct ft_arena arena;
	struct ft_findings findings;
	const struct ft_bus_report *report;
	struct ft_bus *bus;
};

static char names[NAMES_MAX][80];
static size_t name_count;

static void list_names(void)
{
	char path[512];
	DIR *d;
	struct dirent *x;

	snprintf(path, sizeof path, "%s/bus/rules", folder);
	d = opendir(path);
	assert_non_null(d);
	while ((x = readdir(d)) != NULL)
		if (x->d_name[0] != '.') {
			assert_true(name_count < NAMES_MAX && strlen(x->d_name) < sizeof *names);
			memcpy(names[name_count++], x->d_name, strlen(x->d_name) + 1);
		}
	closedir(d);
}

/* "expect RULE under CAUSE", "allow RULE", "option timing-unknown" of one comment. */
static void comment(struct capture *c, struct ft_slice s)
{
	struct ft_slice rest = s, word, rule, under;

	ft_slice_split(&rest, ' ', &word);
	if (ft_slice_is(word, "option") && ft_slice_is(rest, "timing-unknown"))
		c->timing_unknown = true;
	if (!ft_slice_is(word, "expect") && !ft_slice_is(word, "allow"))
		return;
	assert_true(ft_slice_split(&rest, ' ', &rule));
	assert_non_null(ft_rule_by_name(rule));
	if (rest.n && ft_slice_split(&rest, ' ', &under))
		assert_non_null(ft_rule_by_name(rest));
	assert_true(c->expect_count < WISHES_MAX && c->allow_count < WISHES_MAX);
	if (ft_slice_is(word, "expect"))
		c->expects[c->expect_count++] = (struct wish){ rule, rest };
	else
		c->allows[c->allow_count++] = (struct wish){ rule, rest };
}

static void load(struct capture *c, const char *name)
{
	char path[512];
	struct ft_slice rest, line;
	FILE *f;

	*c = (struct capture){ .text = malloc(1 << 18) };
	snprintf(path, sizeof path, "%s/bus/rules/%s", folder, name);
	f = fopen(path, "rb");
	assert_non_null(f);
	assert_non_null(c->text);
	c->n = fread(c->text, 1, 1 << 18, f);
	assert_true(c->n < 1 << 18);
	fclose(f);
	rest = (struct ft_slice){ c->text, c->n };
	while (ft_slice_split(&rest, '\n', &line)) {
		if (line.n > 2 && line.p[0] == '#' && line.p[1] == ' ')
			comment(c, (struct ft_slice){ line.p + 2, line.n - 2 });
		else if (line.n > 14 && memcmp(line.p, "$comment ", 9) == 0)
			comment(c, (struct ft_slice){ line.p + 9, line.n - 9 - 5 });
	}
}

static void judge(struct outcome *o, const struct capture *c)
{
	struct ft_bus_options options = { .name = "capture", .inverted = { -1, -1 }, .timing_unknown = c->timing_unknown };
	struct ft_error e = { 0 };

	*o = (struct outcome){ 0 };
	o->findings.arena = &o->arena;
	assert_int_equal(ft_bus_new(&options, NULL, &o->findings, &o->arena, &o->bus, &e), FT_OK);
	assert_int_equal(ft_bus_feed(o->bus, c->text, c->n, &e), FT_OK);
	assert_int_equal(ft_bus_end(o->bus, &o->report, &e), FT_OK);
	assert_int_equal(o->findings.dropped, 0);
}

static void done(struct outcome *o, struct capture *c)
{
	ft_bus_done(o->bus);
	ft_arena_done(&o->arena);
	free(c->text);
}

/* The rule a file is about: the longest id that its name begins with. */
static const struct ft_rule *rule_of(const char *name)
{
	const struct ft_rule *best = NULL;

	for (int i = 0; i < FT_RULE_COUNT; i++) {
		const struct ft_rule *r = ft_rule((enum ft_rule_id)i);
		size_t n = strlen(r->id);
		if (strncmp(r->id, "bus.", 4) != 0 || strncmp(name, r->id + 4, n - 4) != 0 ||
		    (name[n - 4] != '.' && name[n - 4] != '-'))
			continue;
		if (best == NULL || n > strlen(best->id))
			best = r;
	}
	return best;
}

static bool wished(const struct wish *list, size_t n, const char *rule)
{
	for (size_t i = 0; i < n; i++)
		if (ft_slice_is(list[i].rule, rule))
			return true;
	return false;
}

static const struct ft_finding *found(const struct outcome *o, struct ft_slice rule, struct ft_slice cause)
{
	for (size_t i = 0; i < o->findings.count; i++) {
		const struct ft_finding *f = &o->findings.list[i];
		const struct ft_rule *follows = ft_rule(f->follows);
		if (ft_slice_is(rule, ft_rule(f->rule)->id) && (cause.n == 0 || (follows && ft_slice_is(cause, follows->id))))
			return f;
	}
	return NULL;
}

static void tell(const struct outcome *o)
{
	struct ft_buf text = { 0 };

	for (size_t i = 0; i < o->findings.count; i++)
		ft_finding_text(&text, &o->findings.list[i], 100);
	fwrite(text.p ? text.p : "", 1, text.n, stdout);
	ft_buf_done(&text);
}

/* The complaint about one file, or NULL. */
static const char *complaint(const char *name, const struct ft_rule *rule, const struct capture *c,
                             const struct outcome *o)
{
	bool yes = strstr(name, ".yes.") != NULL;
	const struct ft_finding *f = rule ? found(o, ft_slice_of(rule->id), FT_SLICE("")) : NULL;

	for (size_t i = 0; i < c->expect_count; i++)
		if (found(o, c->expects[i].rule, c->expects[i].cause) == NULL)
			return "what its comments expect is missing";
	for (size_t i = 0; i < o->findings.count; i++) {
		const struct ft_finding *x = &o->findings.list[i];
		if (x->weight != FT_NOTE && x->follows != FT_RULE_NONE)
			return "a folded finding weighs more than a note";
		if (x->weight != FT_NOTE && !(yes && ft_rule(x->rule) == rule) &&
		    !wished(c->expects, c->expect_count, ft_rule(x->rule)->id) &&
		    !wished(c->allows, c->allow_count, ft_rule(x->rule)->id))
			return "another rule accuses it";
	}
	if (!yes)
		return f && (f->weight != FT_NOTE || rule->weight == FT_NOTE) ? "the rule speaks and must not" : NULL;
	if (f == NULL)
		return "the rule is silent";
	if (wished(c->expects, c->expect_count, rule->id))
		return NULL; /* its comments say how */
	return (rule->weight != FT_NOTE && f->weight == FT_NOTE) || f->follows != FT_RULE_NONE ? "the rule only notes it"
																						   : NULL;
}

static void each_rule_speaks_where_it_must_and_nowhere_else(void **state)
{
	unsigned wrong = 0;

	(void)state;
	for (size_t i = 0; i < name_count; i++) {
		struct capture c;
		struct outcome o;
		const char *why;
		load(&c, names[i]);
		judge(&o, &c);
		why = complaint(names[i], rule_of(names[i]), &c, &o);
		if (why) {
			print_message("%s: %s\n", names[i], why);
			tell(&o);
			wrong++;
		}
		done(&o, &c);
	}
	assert_int_equal(wrong, 0);
}

/* A serial adapter's times say nothing: then no rule that measures may speak, whatever the capture holds. */
static void without_times_nothing_is_measured(void **state)
{
	static const enum ft_rule_id measuring[] = {
		FT_RULE_BUS_LATE_ANSWER, FT_RULE_BUS_INTER_BYTE, FT_RULE_BUS_POLL_PERIOD,      FT_RULE_BUS_SHORT_BREAK,
		FT_RULE_BUS_BAUD,        FT_RULE_BUS_BAUD_APART, FT_RULE_BUS_ESCROW_UNRESOLVED
	};

	(void)state;
	for (size_t i = 0; i < name_count; i++) {
		struct capture c;
		struct outcome o;
		load(&c, names[i]);
		c.timing_unknown = true;
		judge(&o, &c);
		for (size_t k = 0; k < sizeof measuring / sizeof *measuring; k++)
			if (found(&o, ft_slice_of(ft_rule(measuring[k])->id), FT_SLICE(""))) {
				print_message("%s\n", names[i]);
				fail();
			}
		assert_non_null(found(&o, FT_SLICE("bus.cannot-show"), FT_SLICE("")));
		done(&o, &c);
	}
}

static void each_rule_has_its_pair(void **state)
{
	unsigned missing = 0;

	(void)state;
	for (int i = 0; i < FT_RULE_COUNT; i++) {
		const struct ft_rule *r = ft_rule((enum ft_rule_id)i);
		bool yes = false, no = false;
		if (strncmp(r->id, "bus.", 4) != 0)
			continue;
		for (size_t k = 0; k < name_count; k++) {
			yes = yes || (rule_of(names[k]) == r && strstr(names[k], ".yes."));
			no = no || (rule_of(names[k]) == r && strstr(names[k], ".no."));
		}
		if (!yes || !no) {
			print_message("%s has no capture that %s it\n", r->id, yes ? "must not trigger" : "triggers");
			missing++;
		}
	}
	assert_int_equal(missing, 0);
}

/* A rule alone with a number, a time and its neighbours tells a fitter nothing: each says what was seen and
 * how sure that is. */
static void each_finding_says_how_sure_it_is(void **state)
{
	(void)state;
	for (size_t i = 0; i < name_count; i++) {
		struct capture c;
		struct outcome o;
		load(&c, names[i]);
		judge(&o, &c);
		for (size_t k = 0; k < o.findings.count; k++) {
			const struct ft_finding *f = &o.findings.list[k];
			assert_non_null(f->seen);
			assert_true(strstr(f->seen, "sure") || strstr(f->seen, "likely") || strstr(f->seen, "hint"));
			assert_true(f->todo && *f->todo);
		}
		done(&o, &c);
	}
}

/* ---- data/bus-diagnosis.csv ---- */

static const struct {
	enum ft_rule_id rule;
	const char *stage, *grade, *causes, *alike;
} diagnosis[] = {
#define ROW(ident, rule, stage, grade, causes, alike, source) { FT_RULE_##ident, stage, grade, causes, alike },
#include "bus-diagnosis.inc"
#undef ROW
};

enum { DIAGNOSES = sizeof diagnosis / sizeof *diagnosis };

static int row_of(const struct ft_rule *r)
{
	for (int i = 0; i < DIAGNOSES; i++)
		if (ft_rule(diagnosis[i].rule) == r)
			return i;
	return -1;
}

static unsigned depth(int row, unsigned so_far)
{
	struct ft_slice rest = ft_slice_of(diagnosis[row].causes), name;
	unsigned most = so_far;

	assert_true(so_far <= DIAGNOSES); /* more steps than rules: a rule explains itself */
	while (rest.n && ft_slice_split(&rest, ' ', &name)) {
		int cause = row_of(ft_rule_by_name(name));
		unsigned d;
		assert_true(cause >= 0);
		d = depth(cause, so_far + 1);
		most = d > most ? d : most;
	}
	return most;
}

static void causes_never_go_in_a_circle(void **state)
{
	(void)state;
	for (int i = 0; i < FT_RULE_COUNT; i++)
		if (strncmp(ft_rule((enum ft_rule_id)i)->id, "bus.", 4) == 0)
			assert_true(row_of(ft_rule((enum ft_rule_id)i)) >= 0);
	for (int i = 0; i < DIAGNOSES; i++)
		assert_true(depth(i, 0) < DIAGNOSES);
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_rule_has_its_pair),
		cmocka_unit_test(each_rule_speaks_where_it_must_and_nowhere_else),
		cmocka_unit_test(each_finding_says_how_sure_it_is),
		cmocka_unit_test(without_times_nothing_is_measured),
		cmocka_unit_test(causes_never_go_in_a_circle),
	};

	if (argc != 2)
		return 2;
	folder = argv[1];
	list_names();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
