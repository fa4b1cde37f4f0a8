/* SPDX-License-Identifier: Apache-2.0 */
#include "verbs.h"

static int run(struct cli *c)
{
	struct ft_buf out = { 0 };

	for (int i = 0; i < FT_RULE_COUNT; i++) {
		const struct ft_rule *r = ft_rule((enum ft_rule_id)i);
		struct ft_json j = { .out = &out };
		if (c->json) {
			ft_json_object(&j, NULL);
			ft_json_text(&j, "command", "rules");
			ft_json_text(&j, "verdict", "shown");
			ft_json_array(&j, "findings");
			ft_json_array_end(&j);
			ft_json_text(&j, "rule", r->id);
			ft_json_text(&j, "weight", ft_weight_word(r->weight));
			ft_json_text(&j, "sentence", r->sentence);
			ft_json_text(&j, "why", r->why);
			ft_json_text(&j, "do", r->todo);
			ft_json_text(&j, "source", r->source);
			ft_json_object_end(&j);
			ft_buf_byte(&out, '\n');
		} else {
			ft_buf_printf(&out, "%s %-27s ", ft_weight_mark(r->weight), r->id);
			ft_wrap(&out, r->sentence, c->columns, 30);
			ft_buf_printf(&out, "\n%30s", "");
			ft_wrap(&out, r->source, c->columns, 30);
			ft_buf_byte(&out, '\n');
		}
	}
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	return FT_OK;
}

const struct cli_verb verb_rules = {
	.name = "rules",
	.arguments = "",
	.summary = "every rule with its weight and source",
	.about = "Lists all rules that any command can find against: the mark of its weight (\302\267 note, ? doubt, "
			 "! fault), its name, what it says, and where that is written.",
	.run = run,
};
