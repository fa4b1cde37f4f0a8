/* SPDX-License-Identifier: Apache-2.0 */
#include "verbs.h"

#include "fettle/ident.h"

static void print(struct cli *c, const struct ft_ident *r, const struct ft_findings *f, struct ft_buf *out)
{
	if (r->form)
		ft_buf_printf(out, "%s  %s\n", r->form, r->text);
	for (size_t i = 0; i < r->part_count; i++) {
		char name[FT_IDENT_TEXT];
		snprintf(name, sizeof name, "%s", r->parts[i].name);
		for (char *p = name; *p; p++)
			if (*p == '_')
				*p = ' ';
		ft_buf_printf(out, "  %-24s %s\n", name, r->parts[i].value);
	}
	if (r->check >= 0)
		ft_buf_printf(out, "  %-24s %d, and the others demand %d\n", "check digit", r->check, r->check_expected);
	else if (r->check_expected >= 0)
		ft_buf_printf(out, "  %-24s missing; the others demand %d\n", "check digit", r->check_expected);
	if (!f->count && cli_flush(c, out))
		cli_say(c, r->check >= 0 ? "The number is whole." : "The form is right; such a number has no check digit.");
}

static void document(const struct ft_ident *r, struct ft_json *j)
{
	ft_json_text(j, "kind", ft_ident_word(r->kind));
	ft_json_bool(j, "valid", r->valid);
	ft_json_text(j, "form", r->form);
	ft_json_text(j, "value", r->text[0] ? r->text : NULL);
	ft_json_object(j, "parts");
	for (size_t i = 0; i < r->part_count; i++)
		ft_json_text(j, r->parts[i].name, r->parts[i].value);
	if (r->check >= 0)
		ft_json_i64(j, "check_digit", r->check);
	else
		ft_json_null(j, "check_digit");
	if (r->check_expected >= 0)
		ft_json_i64(j, "check_digit_expected", r->check_expected);
	else
		ft_json_null(j, "check_digit_expected");
	ft_json_object_end(j);
}

static int run(struct cli *c)
{
	struct ft_findings f = { .arena = &c->arena };
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	enum ft_ident_kind kind;
	enum ft_verdict verdict;
	struct ft_ident r;
	int code;

	if (!ft_ident_parse(ft_slice_of(c->arguments[0]), &kind))
		return cli_usage(c, "%s is no kind of number; the kinds are imei, iccid, gtin and eui.", c->arguments[0]),
			   cli_failed(c);
	ft_ident(kind, ft_slice_of(c->arguments[1]), (struct ft_where){ 0 }, &f, &r);
	verdict = ft_verdict_of(&f, false);
	if (c->json) {
		cli_document(c, &j, &out, verdict, &f);
		document(&r, &j);
		code = cli_document_end(c, &j);
		return code ? code : cli_exit(verdict);
	}
	print(c, &r, &f, &out);
	if (!cli_flush(c, &out))
		return cli_failed(c);
	ft_buf_done(&out);
	cli_print_findings(c, &f);
	return cli_exit(verdict);
}

const struct cli_verb verb_number = {
	.name = "number",
	.arguments = "KIND VALUE",
	.summary = "check digits of the numbers on units, SIMs and goods",
	.about =
		"Takes a number apart and says whether its check digit fits. KIND is imei (of a modem), iccid (of a SIM), gtin "
		"(of goods; also place and parcel numbers of the same family) or eui (of a network part). Blanks, dashes, "
		"points and colons between the digits are passed over.",
	.examples = "$ fettle number imei 490154203237518\n"
				"$ fettle number iccid 8949-1234-5678-9012-347\n",
	.least = 2,
	.most = 2,
	.run = run,
};
